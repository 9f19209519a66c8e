//! Misspellings of keys, units, crops, products and formats, and the word that was meant.

use crate::job_refusals::{faults, with_line};

/// Section, line, and the word that was meant.
const SLIPS: &[(&str, &str, &str)] = &[
    ("rate", "maximun = \"1 kg N/ha\"", "maximum"),
    ("rate", "maxium = \"1 kg N/ha\"", "maximum"),
    ("rate", "max = \"1 kg N/ha\"", "maximum"),
    ("rate", "max_rate = \"1 kg N/ha\"", "maximum"),
    ("rate", "minimun = \"1 kg N/ha\"", "minimum"),
    ("rate", "Step = \"1 kg N/ha\"", "step"),
    ("rate", "usal = \"1 kg N/ha\"", "usual"),
    ("rate", "un_seen = \"1 kg N/ha\"", "unseen"),
    ("machine", "width = \"24 m\"", "working_width"),
    ("machine", "workingwidth = \"24 m\"", "working_width"),
    ("machine", "working-width = \"24 m\"", "working_width"),
    ("machine", "headding = 63", "heading"),
    ("machine", "celllength = \"24 m\"", "cell_length"),
    ("machine", "over_run = \"24 m\"", "overrun"),
    ("machine", "min_rate = \"24 L/ha\"", "minimum_rate"),
    ("machine", "position_loss = \"field rate\"", "position_lost"),
    ("response", "max_yield = \"6 t/ha\"", "maximum_yield"),
    ("response", "yield_maximum = \"6 t/ha\"", "maximum_yield"),
    ("response", "yieldcurve = \"x\"", "yield_curve"),
    ("response", "efficiency = 0.5", "use_efficiency"),
    ("response", "grain_n = 0.02", "grain_nitrogen"),
    ("season", "planted_on = 2025-10-01", "planted"),
    ("season", "growingdays = 94", "growing_days"),
    ("season", "wether = \"a.csv\"", "weather"),
    ("imagery", "bare_bellow = 0.2", "bare_below"),
    ("imagery", "pixels_inside = 0.2", "pixel_inside"),
    ("field", "bondary = \"a\"", "boundary"),
    ("zones", "min_aera = \"1 ha\"", "minimum_area"),
    ("season", "crop = \"winter weat\"", "winter wheat"),
    ("season", "crop = \"wintre wheat\"", "winter wheat"),
    ("season", "crop = \"barly\"", "barley"),
    ("season", "crop = \"maiz\"", "corn"),
    ("product", "name = \"UNA 28\"", "UAN 28"),
    ("imagery", "index = \"NVDI\"", "NDVI"),
    (
        "response",
        "yield_curve = \"winter wheat, comon practise\"",
        "winter wheat, common practice",
    ),
    ("product", "name = \"uera\"", "urea"),
    ("output", "formats = [\"gpkg\"]", "geopackage"),
    ("output", "formats = [\"geo package\"]", "geopackage"),
    ("output", "formats = [\"shapfile\"]", "shapefile"),
    ("output", "formats = [\"isoxml\"]", "iso11783"),
    ("output", "formats = [\"ISO 11783\"]", "iso11783"),
    ("output", "formats = [\"geo-tif\"]", "geotiff"),
    ("output", "unit = \"L/hr\"", "L/ha"),
    ("rate", "maximum = \"150 kg N/hc\"", "kg N/ha"),
    ("rate", "maximum = \"150 gk N/ha\"", "kg N/ha"),
    ("rate", "maximum = \"150 lb N/acer\"", "lb N/ac"),
    ("rate", "maximum = \"150 kg M/ha\"", "kg N/ha"),
    ("response", "maximum_yield = \"100 bs/ac\"", "bu/ac"),
    ("response", "maximum_yield = \"6 t/h\"", "t/ha"),
    ("machine", "speed = \"12 kmp\"", "km/h"),
    ("machine", "working_width = \"24 mters\"", "m"),
    ("rate", "thin = \"fieldrate\"", "field rate"),
    ("response", "nitrogen_share = \"mesured\"", "measured"),
    ("reference", "level = \"balancd\"", "balanced"),
];

#[test]
fn nearly_every_slip_is_understood() {
    let mut wrong = Vec::new();
    for (section, line, meant) in SLIPS {
        let found = faults(&with_line(section, line));
        let suggestions: Vec<&str> = found
            .iter()
            .filter_map(|fault| fault.problem.suggestion())
            .collect();
        if !suggestions.contains(meant) {
            wrong.push(format!("{line}: meant {meant}, got {suggestions:?}"));
        }
    }
    let right = SLIPS.len() - wrong.len();
    assert!(
        SLIPS.len() >= 40 && right * 40 >= 38 * SLIPS.len(),
        "{right} of {}:\n{}",
        SLIPS.len(),
        wrong.join("\n")
    );
}

#[test]
fn a_known_key_of_another_section_is_sent_there() {
    for (section, line, home) in [
        ("zones", "working_width = \"24 m\"", "[machine]"),
        ("rate", "maximum_yield = \"6 t/ha\"", "[response]"),
    ] {
        let found = faults(&with_line(section, line));
        assert!(found[0].hint().contains(home), "{}", found[0]);
    }
}
