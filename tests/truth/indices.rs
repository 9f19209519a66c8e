//! Canopy indices against the public catalogue of spectral indices `spyndex` 0.12.0 (Montero et al. 2023, Scientific Data 10:197), computed with it for
//! one set of reflectances: B .04 G .08 R .05 RE1 .12 RE2 .30 RE3 .40 N .45 N2 .46; SAVI with L = 0.5, EVI and EVI2 with L = 1, WDRVI with alpha = 0.1.

use haulm::science::index::{Index, Scratch, catalogue};

const EXPECTED: [(&str, f64); 27] = [
    ("NDVI", 0.8),
    ("GNDVI", 0.698_113_207_5),
    ("NDRE", 0.578_947_368_4),
    ("NDRE740", 0.2),
    ("RENDVI", 0.428_571_428_6),
    ("RDVI", 0.565_685_424_9),
    ("SAVI", 0.6),
    ("OSAVI", 0.606_060_606_1),
    ("MSAVI", 0.629_843_788_1),
    ("EVI", 0.689_655_172_4),
    ("EVI2", 0.636_942_675_2),
    ("CIrededge", 2.75),
    ("CIgreen", 4.625),
    ("MCARI", 0.1488),
    ("MCARI1", 0.6228),
    ("MCARI2", 0.629_784_705_7),
    ("TCARI", 0.1524),
    ("TCARI/OSAVI", 0.216_775_862_1),
    ("MCARI/OSAVI", 0.211_655_172_4),
    ("MTCI", 2.571_428_571_4),
    ("WDRVI", -0.052_631_578_9),
    ("MSR", 2.529_822_128_1),
    ("GOSAVI", 0.536_231_884_1),
    ("SR", 9.0),
    ("IRECI", 0.875),
    ("S2REP", 725.416_666_666_7),
    ("NDYI", 0.333_333_333_3),
];

fn leaf(band: &str) -> f64 {
    match band {
        "blue" => 0.04,
        "green" => 0.08,
        "red" => 0.05,
        "red_edge" => 0.12,
        "red_edge_2" => 0.30,
        "red_edge_3" => 0.40,
        "nir" => 0.45,
        "nir_2" => 0.46,
        other => panic!("no reflectance for band {other}"),
    }
}

fn value(name: &str) -> f64 {
    let index = Index::parse(name).unwrap();
    let rows: Vec<[f64; 1]> = index.bands().iter().map(|band| [leaf(band)]).collect();
    let rows: Vec<&[f64]> = rows.iter().map(<[f64; 1]>::as_slice).collect();
    let mut out = [f64::NAN];
    index.evaluate_row(&rows, &mut Scratch::default(), &mut out);
    out[0]
}

#[test]
fn indices_of_the_public_catalogue() {
    for (name, expected) in EXPECTED.into_iter().chain([("CVI", 3.515_625)]) {
        assert!(
            (value(name) - expected).abs() < 1e-9,
            "{name}: {} instead of {expected}",
            value(name)
        );
    }
}

#[test]
fn no_index_of_ours_goes_unchecked() {
    // The inverse ratio follows from SR; SeLI from its definition, (N2 − RE1) / (N2 + RE1) = 0.34 / 0.58.
    assert!((value("ISR") - 1.0 / 9.0).abs() < 1e-12);
    assert!((value("SeLI") - 0.34 / 0.58).abs() < 1e-12);
    let checked = |name: &str| {
        EXPECTED.iter().any(|(known, _)| *known == name) || ["CVI", "ISR", "SeLI"].contains(&name)
    };
    let missing: Vec<&str> = catalogue()
        .iter()
        .map(|entry| entry.name.as_str())
        .filter(|name| !checked(name))
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
}
