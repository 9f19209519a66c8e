//! The picture of the study: what each way of comparing earns over the best flat rate, by how much of the index deficit is nitrogen.

use std::fmt::Write as _;

/// Colours that differ for colour-blind readers too (Okabe and Ito 2008, from memory), a dash each, a name each.
const WAYS: [(&str, &str, &str); 3] = [
    ("#D55E00", "none", "each cell with the strip"),
    ("#0072B2", "8 5", "the field's response index"),
    ("#009E73", "2 4", "by the share as measured"),
];
const SIZE: (f64, f64) = (760.0, 430.0);
/// Left, right, top, bottom of the plot.
const PLOT: (f64, f64, f64, f64) = (80.0, 730.0, 60.0, 350.0);

/// An SVG: `points` are nitrogen share and gains \[EUR/ha\] by each way.
pub(crate) fn picture(points: &[(f64, [f64; 3])]) -> String {
    let values = || points.iter().flat_map(|point| point.1);
    let low = 5.0 * libm::floor(values().fold(0.0, f64::min) / 5.0);
    let high = 5.0 * libm::ceil(values().fold(0.0, f64::max) / 5.0);
    let x = |share: f64| PLOT.0 + (PLOT.1 - PLOT.0) * share;
    let y = |gain: f64| PLOT.3 - (PLOT.3 - PLOT.2) * (gain - low) / (high - low);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" font-family=\"sans-serif\" font-size=\"15\" fill=\"#222\">\n\
         <title>Gain over the best flat rate by the share of the index deficit that is nitrogen</title>\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n\
         <text x=\"{}\" y=\"30\" font-size=\"18\">Does a variable rate pay? Gain over the best flat rate, made fields</text>\n",
        SIZE.0, SIZE.1, PLOT.0
    );
    let mut gain = low;
    while gain <= high + 1e-9 {
        let weight = if gain.abs() < 1e-9 { 2.0 } else { 0.5 };
        let _ = writeln!(
            svg,
            "<line x1=\"{:.1}\" x2=\"{:.1}\" y1=\"{:.1}\" y2=\"{:.1}\" stroke=\"#777\" stroke-width=\"{weight}\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{gain:+.0}</text>",
            PLOT.0,
            PLOT.1,
            y(gain),
            y(gain),
            PLOT.0 - 8.0,
            y(gain) + 5.0
        );
        gain += 5.0;
    }
    for share in [0.0, 0.25, 0.5, 0.75, 1.0] {
        let _ = writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{:.0} %</text>",
            x(share),
            PLOT.3 + 22.0,
            100.0 * share
        );
    }
    let _ = writeln!(
        svg,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">how much of the index deficit is nitrogen (true share)</text>\n<text x=\"20\" y=\"50\" font-size=\"14\">EUR/ha</text>",
        f64::midpoint(PLOT.0, PLOT.1),
        PLOT.3 + 45.0
    );
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (way, (colour, dash, name)) in WAYS.iter().enumerate() {
        let path: Vec<String> = sorted
            .iter()
            .map(|(share, gains)| format!("{:.1},{:.1}", x(*share), y(gains[way])))
            .collect();
        let _ = writeln!(
            svg,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"3\" stroke-dasharray=\"{dash}\"/>",
            path.join(" ")
        );
        for (share, gains) in &sorted {
            let _ = writeln!(
                svg,
                "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"4\" fill=\"{colour}\"/>",
                x(*share),
                y(gains[way])
            );
        }
        let row = PLOT.3 + 70.0;
        let at = PLOT.0 - 40.0 + 235.0 * way as f64;
        let _ = writeln!(
            svg,
            "<line x1=\"{at:.1}\" x2=\"{:.1}\" y1=\"{row:.1}\" y2=\"{row:.1}\" stroke=\"{colour}\" stroke-width=\"3\" stroke-dasharray=\"{dash}\"/><text x=\"{:.1}\" y=\"{:.1}\" font-size=\"13\">{name}</text>",
            at + 30.0,
            at + 36.0,
            row + 5.0
        );
    }
    svg.push_str("</svg>\n");
    svg
}
