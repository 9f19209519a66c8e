//! Kriging and semivariances against `PyKrige` 1.7.3 and `GSTools` 1.7.0: `points.json`, made by `python tests/truth/make_points.py > tests/truth/points.json`.
//! The fit of a variogram is checked beside its code, against the figures that the R package gstat publishes.

use haulm::science::points::{Model, Sample, Variogram, krige, semivariances};
use serde::Deserialize;

#[derive(Deserialize)]
struct File {
    readings: Vec<[f64; 3]>,
    targets: Vec<[f64; 2]>,
    cases: Vec<Case>,
    semivariances: Semivariances,
}

#[derive(Deserialize)]
struct Case {
    model: String,
    nugget: f64,
    sill: f64,
    range: f64,
    value: Vec<f64>,
    variance: Vec<f64>,
}

#[derive(Deserialize)]
struct Semivariances {
    longest: f64,
    gamma: Vec<f64>,
    pairs: Vec<u64>,
}

fn file() -> (File, Vec<Sample>) {
    let file: File = serde_json::from_str(include_str!("points.json")).unwrap();
    let samples = file
        .readings
        .iter()
        .map(|r| Sample {
            x: r[0],
            y: r[1],
            value: r[2],
        })
        .collect();
    (file, samples)
}

#[test]
fn kriging_as_pykrige() {
    let (file, samples) = file();
    assert_eq!(file.cases.len(), 2);
    for case in &file.cases {
        let model = if case.model == "spherical" {
            Model::Spherical
        } else {
            Model::Exponential
        };
        let variogram = Variogram {
            model,
            nugget: case.nugget,
            sill: case.sill,
            range: case.range,
        };
        for (k, target) in file.targets.iter().enumerate() {
            let kriged = krige(&samples, &[*target], &variogram).unwrap();
            assert!(
                (kriged.value - case.value[k]).abs() < 1e-9,
                "{} {k}: {kriged:?}, {}",
                case.model,
                case.value[k]
            );
            let variance = kriged.standard_error * kriged.standard_error + case.nugget;
            assert!(
                (variance - case.variance[k]).abs() < 1e-9,
                "{} {k}: {variance}, {}",
                case.model,
                case.variance[k]
            );
        }
    }
}

#[test]
fn semivariances_as_gstools() {
    let (file, samples) = file();
    let expected = &file.semivariances;
    let bins = semivariances(&samples, expected.longest, expected.gamma.len());
    assert_eq!(
        bins.iter().map(|bin| bin.pairs).collect::<Vec<_>>(),
        expected.pairs
    );
    for (bin, gamma) in bins.iter().zip(&expected.gamma) {
        assert!((bin.semivariance - gamma).abs() < 1e-12, "{bin:?} {gamma}");
    }
}
