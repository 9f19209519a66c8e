//! Colours measured by published formulas, none of which the palette itself uses.

use super::*;

type Lab = [f64; 3];

/// Colour difference of CIE 142-2001 (CIEDE2000), written from Sharma, Wu and Dalal (2005), Color Research and Application 30:21-30 (formula from memory;
/// checked against their table below).
fn difference(first: Lab, second: Lab) -> f64 {
    let radians = |degrees: f64| degrees.to_radians();
    let pow7 = |c: f64| libm::pow(c, 7.0);
    let mean = f64::midpoint(
        libm::hypot(first[1], first[2]),
        libm::hypot(second[1], second[2]),
    );
    let stretch = 1.0 + 0.5 * (1.0 - libm::sqrt(pow7(mean) / (pow7(mean) + pow7(25.0))));
    let polar = |lab: Lab| {
        let a = lab[1] * stretch;
        let hue = libm::atan2(lab[2], a).to_degrees();
        (
            libm::hypot(a, lab[2]),
            if hue < 0.0 { hue + 360.0 } else { hue },
        )
    };
    let ((c1, h1), (c2, h2)) = (polar(first), polar(second));
    let mut turn = h2 - h1;
    if turn > 180.0 {
        turn -= 360.0;
    } else if turn < -180.0 {
        turn += 360.0;
    }
    let gray = c1 * c2 == 0.0;
    let turn = if gray { 0.0 } else { turn };
    let hue = if gray {
        h1 + h2
    } else if (h1 - h2).abs() <= 180.0 {
        f64::midpoint(h1, h2)
    } else if h1 + h2 < 360.0 {
        f64::midpoint(h1, h2) + 180.0
    } else {
        f64::midpoint(h1, h2) - 180.0
    };
    let (lightness, chroma) = (f64::midpoint(first[0], second[0]), f64::midpoint(c1, c2));
    let cos = |degrees: f64| libm::cos(radians(degrees));
    let t = 1.0 - 0.17 * cos(hue - 30.0) + 0.24 * cos(2.0 * hue) + 0.32 * cos(3.0 * hue + 6.0)
        - 0.20 * cos(4.0 * hue - 63.0);
    let off = (lightness - 50.0) * (lightness - 50.0);
    let (sl, sc, sh) = (
        1.0 + 0.015 * off / libm::sqrt(20.0 + off),
        1.0 + 0.045 * chroma,
        1.0 + 0.015 * chroma * t,
    );
    let spread = (hue - 275.0) / 25.0;
    let rt = -2.0
        * libm::sqrt(pow7(chroma) / (pow7(chroma) + pow7(25.0)))
        * libm::sin(radians(60.0 * libm::exp(-spread * spread)));
    let (dl, dc) = ((second[0] - first[0]) / sl, (c2 - c1) / sc);
    let dh = 2.0 * libm::sqrt(c1 * c2) * libm::sin(radians(turn / 2.0)) / sh;
    libm::sqrt(dl * dl + dc * dc + dh * dh + rt * dc * dh)
}

/// How dichromats see: Machado, Oliveira and Fernandes (2009), IEEE Transactions on Visualization and Computer Graphics 15:1291-1298, severity 1.0, on linear
/// sRGB (matrices from memory; each row sums to 1, which is checked).
const SIGHTS: [(&str, [[f64; 3]; 3]); 3] = [
    (
        "protan",
        [
            [0.152_286, 1.052_583, -0.204_868],
            [0.114_503, 0.786_281, 0.099_216],
            [-0.003_882, -0.048_116, 1.051_998],
        ],
    ),
    (
        "deutan",
        [
            [0.367_322, 0.860_646, -0.227_968],
            [0.280_085, 0.672_501, 0.047_413],
            [-0.011_820, 0.042_940, 0.968_881],
        ],
    ),
    (
        "tritan",
        [
            [1.255_528, -0.076_749, -0.178_779],
            [-0.078_411, 0.930_809, 0.147_602],
            [0.004_733, 0.691_367, 0.303_900],
        ],
    ),
];

fn seen(colour: Colour, sight: &[[f64; 3]; 3]) -> Lab {
    let light = colour.linear();
    let channel = sight.map(|row| {
        let c = (row[0] * light[0] + row[1] * light[1] + row[2] * light[2]).clamp(0.0, 1.0);
        let c = if c <= 0.003_130_8 {
            c * 12.92
        } else {
            1.055 * libm::pow(c, 1.0 / 2.4) - 0.055
        };
        libm::round(c * 255.0) as u8
    });
    Colour::new(channel[0], channel[1], channel[2]).lab()
}

/// Pairs 1 to 3 and 17 to 20 of the table of Sharma, Wu and Dalal (2005) (values from memory).
#[test]
fn the_measure_agrees_with_its_published_table() {
    let grey = [50.0, 2.5, 0.0];
    for (first, second, expected) in [
        ([50.0, 2.677_2, -79.775_1], [50.0, 0.0, -82.748_5], 2.042_5),
        ([50.0, 3.157_1, -77.280_3], [50.0, 0.0, -82.748_5], 2.861_5),
        ([50.0, 2.836_1, -74.020_0], [50.0, 0.0, -82.748_5], 3.441_2),
        (grey, [50.0, 0.0, -2.5], 4.306_5),
        (grey, [73.0, 25.0, -18.0], 27.149_2),
        (grey, [61.0, -5.0, 29.0], 22.897_7),
        (grey, [56.0, -27.0, -3.0], 31.903_0),
        (grey, [58.0, 24.0, 15.0], 19.453_5),
    ] {
        approx::assert_abs_diff_eq!(difference(first, second), expected, epsilon = 5e-5);
        approx::assert_abs_diff_eq!(difference(second, first), expected, epsilon = 5e-5);
    }
    for (sight, rows) in SIGHTS {
        assert!(
            rows.iter()
                .all(|row| (row[0] + row[1] + row[2] - 1.0).abs() < 2e-6),
            "{sight}"
        );
    }
}

/// CSS Color Module Level 4 (W3C): sRGB red is L* 53.24, a* 80.09, b* 67.20 under D65 (from memory).
#[test]
fn lab_of_known_colours() {
    let red = Colour::new(255, 0, 0).lab();
    for (got, expected) in red.into_iter().zip([53.24, 80.09, 67.20]) {
        approx::assert_abs_diff_eq!(got, expected, epsilon = 0.02);
    }
    approx::assert_abs_diff_eq!(PAPER.lab()[0], 100.0, epsilon = 1e-4);
    assert_eq!((INK.lab()[0], PAPER.contrast(INK)), (0.0, 21.0));
    for colour in RAMP {
        assert_eq!(Colour::from_lab(colour.lab()), colour);
    }
}

#[test]
fn lightness_falls_in_even_steps() {
    for classes in 2..=MAXIMUM_CLASSES {
        let lightness: Vec<f64> = class_colours(classes)
            .unwrap()
            .iter()
            .map(|colour| colour.lab()[0])
            .collect();
        let steps: Vec<f64> = lightness.windows(2).map(|pair| pair[0] - pair[1]).collect();
        let even = (lightness[0] - lightness[classes - 1]) / (classes - 1) as f64;
        assert!(
            steps
                .iter()
                .all(|step| *step > 0.0 && (step / even - 1.0).abs() <= 0.25),
            "{classes}: {steps:?}"
        );
    }
}

#[test]
fn neighbours_stay_apart_for_every_eye() {
    for classes in 2..=MAXIMUM_CLASSES {
        for pair in class_colours(classes).unwrap().windows(2) {
            let apart = difference(pair[0].lab(), pair[1].lab());
            assert!(
                apart >= 10.0,
                "{classes}: {} and {}: {apart}",
                pair[0].hex(),
                pair[1].hex()
            );
            for (sight, rows) in &SIGHTS {
                let apart = difference(seen(pair[0], rows), seen(pair[1], rows));
                assert!(
                    apart >= 7.0,
                    "{classes}, {sight}: {} and {}: {apart}",
                    pair[0].hex(),
                    pair[1].hex()
                );
            }
        }
    }
    assert_eq!(
        (class_colours(0).map(|none| none.len()), class_colours(8)),
        (Some(0), None)
    );
}

#[test]
fn borders_and_text_can_be_read() {
    let grounds = Ground::ALL.map(Ground::colour);
    for colour in (0..=100)
        .map(|i| ramp(f64::from(i) / 100.0))
        .chain(grounds)
        .chain([PAPER])
    {
        assert!(colour.contrast(INK) >= 3.0, "{}", colour.hex());
        assert!(colour.contrast(colour.text()) >= 4.5, "{}", colour.hex());
    }
    for (i, a) in Ground::ALL.iter().enumerate() {
        for b in &Ground::ALL[i + 1..] {
            assert!(
                a.hatch() != b.hatch()
                    && a.label() != b.label()
                    && difference(a.colour().lab(), b.colour().lab()) >= 10.0,
                "{a:?} {b:?}"
            );
        }
    }
}

#[test]
fn few_values_are_a_class_each() {
    let legend = Legend::new("Rate", "L/ha", [120.0, 0.0, 60.5, 120.0, f64::NAN]);
    let labels: Vec<_> = legend
        .classes
        .iter()
        .map(|class| class.label.as_str())
        .collect();
    assert_eq!(labels, ["0 L/ha", "60.5 L/ha", "120 L/ha"]);
    let breaks: Vec<_> = legend
        .classes
        .iter()
        .map(|class| (class.from, class.to))
        .collect();
    assert_eq!(breaks, [(0.0, 30.25), (30.25, 90.25), (90.25, 120.0)]);
    assert_eq!(legend.class_of(60.5).unwrap().colour, ramp(0.5));
    assert_eq!(
        (
            legend.class_of(0.0).unwrap().colour,
            legend.class_of(120.0).unwrap().colour
        ),
        (RAMP[0], RAMP[6])
    );
    assert!(
        legend.class_of(-1.0).is_none()
            && legend.class_of(120.1).is_none()
            && legend.class_of(f64::NAN).is_none()
    );
    assert!(Legend::new("Rate", "L/ha", []).classes.is_empty());
}

#[test]
fn many_values_are_parted_evenly_and_nothing_stays_apart() {
    // 0, then 5 to 150 by 5: six classes of 145 / 6 = 24.17 above the class of nothing.
    let rates = || (0..=30).map(|i| f64::from(i) * 5.0);
    let legend = Legend::new("Rate", "kg N/ha", rates());
    let labels: Vec<_> = legend
        .classes
        .iter()
        .map(|class| class.label.as_str())
        .collect();
    assert_eq!(
        labels,
        [
            "0 kg N/ha",
            "5 to 25 kg N/ha",
            "30 to 50 kg N/ha",
            "55 to 75 kg N/ha",
            "80 to 100 kg N/ha",
            "105 to 125 kg N/ha",
            "130 to 150 kg N/ha"
        ]
    );
    for rate in rates() {
        let class = legend.class_of(rate).unwrap();
        assert!(
            class.minimum <= rate
                && rate <= class.maximum
                && class.from <= rate
                && rate <= class.to
        );
    }
    assert!(
        legend
            .classes
            .windows(2)
            .all(|pair| pair[0].to == pair[1].from)
    );
    // The same map as product, 28 % N and 1.28 kg/L: the same classes.
    let product = Legend::new("Rate", "L/ha", rates().map(|rate| rate / 0.28 / 1.28));
    for rate in rates() {
        assert_eq!(
            legend.class_of(rate).unwrap().colour,
            product.class_of(rate / 0.28 / 1.28).unwrap().colour,
            "{rate}"
        );
    }
    // A gap leaves no empty class.
    let gap = Legend::new(
        "Rate",
        "kg/ha",
        [10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0, 100.0],
    );
    assert_eq!(
        gap.classes
            .iter()
            .map(|class| class.label.as_str())
            .collect::<Vec<_>>(),
        ["10 to 16 kg/ha", "100 kg/ha"]
    );
}
