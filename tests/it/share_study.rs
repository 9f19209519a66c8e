//! The nitrogen share, the expected gain and what no strip crosses, on made fields whose truth is known: a small version of the study, with loose bounds.
//!
//! The fields come from a generator that shares no code with what is checked, and go through the whole program in memory.

#[path = "../../examples/share_ground/mod.rs"]
#[expect(dead_code, reason = "the study draws a picture, too")]
mod share_ground;

use haulm::job::settings::{NitrogenShare, ReferenceLevel};
use share_ground::field::{Lies, Plan};
use share_ground::run::{Asked, Found, found};

/// Grounds of a line.
const GROUNDS: u64 = 16;

fn line(plan: Plan) -> Vec<Found> {
    (0..GROUNDS)
        .map(|seed| found(plan, 4_200 + seed, Asked::default()).unwrap())
        .collect()
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    sum / count
}

/// Mean share as measured, and how often its range holds the truth.
fn share(line: &[Found]) -> (f64, f64) {
    let known: Vec<(f64, f64, f64, f64)> = line
        .iter()
        .map(|one| {
            let (share, low, high) = one.share.unwrap();
            (one.true_share, share, low, high)
        })
        .collect();
    let held = known
        .iter()
        .filter(|(truth, _, low, high)| low <= truth && truth <= high)
        .count();
    (
        mean(known.iter().map(|one| one.1)),
        held as f64 / known.len() as f64,
    )
}

#[test]
fn the_share_and_the_gain_follow_the_truth() {
    let plain = Plan::PLAIN;
    let all = line(Plan {
        soil: 0.006,
        deficit: (0.12, 0.062),
        ..plain
    });
    let half = line(plain);
    let none = line(Plan {
        soil: 0.065,
        deficit: (0.12, 0.0),
        ..plain
    });
    assert!(share(&all).0 > 0.9, "{:?}", share(&all));
    assert!((0.25..0.75).contains(&share(&half).0), "{:?}", share(&half));
    // A third on the mean of many: errors of a share that is none go upwards only.
    assert!(share(&none).0 < 0.6, "{:?}", share(&none));
    for line in [&all, &half, &none] {
        assert!(share(line).1 >= 0.35, "{:?}", share(line));
        let gain = |pick: fn(&Found) -> f64| mean(line.iter().map(pick));
        let (plain, expected, truth) = (
            gain(|one| one.decided.0),
            gain(|one| one.decided.1.unwrap()),
            gain(|one| one.decided.2),
        );
        // 7 EUR/ha or half of the truth, loose for so few grounds; and never farther from it than the plain difference.
        assert!(
            (expected - truth).abs() <= (0.5 * truth.abs()).max(7.0),
            "{plain} {expected} {truth}"
        );
        assert!(
            (expected - truth).abs() <= (plain - truth).abs() + 1.0,
            "{plain} {expected} {truth}"
        );
    }
    // A flat rate is better where nothing of the index deficit is nitrogen, and mostly not where all of it is.
    let flat = |line: &[Found]| line.iter().filter(|one| one.flat_better).count();
    assert!(
        flat(&none) >= 7 && flat(&all) <= 5,
        "{} {}",
        flat(&none),
        flat(&all)
    );
    // Without a difference that no strip crosses nothing is said of one.
    assert!(half.iter().filter(|one| one.uncrossed).count() <= 6);
}

#[test]
fn a_difference_that_no_strip_crosses_is_told() {
    let gradient = line(Plan {
        lies: Lies::Gradient,
        soil: 0.02,
        deficit: (0.15, 0.08),
        ..Plan::PLAIN
    });
    let notice = gradient.iter().filter(|one| one.uncrossed).count();
    assert!(notice >= 4, "{notice} of {GROUNDS}");
}

#[test]
fn rates_by_the_measured_share_use_it() {
    for seed in 0..3 {
        let asked = Asked {
            share: NitrogenShare::Measured,
            ..Asked::default()
        };
        let one = found(Plan::PLAIN, 300 + seed, asked).unwrap();
        assert_eq!(one.used_share, one.share.unwrap().0);
        let plain = found(Plan::PLAIN, 300 + seed, Asked::default()).unwrap();
        assert_eq!((plain.used_share, plain.share), (1.0, one.share));
        assert!(one.total != plain.total);
    }
}

#[test]
fn a_balanced_level_varies_less() {
    let totals = |level| -> f64 {
        let asked = Asked {
            level,
            ..Asked::default()
        };
        let plan = Plan {
            range: 60.0,
            ..Plan::PLAIN
        };
        let all: Vec<f64> = (0..GROUNDS)
            .map(|seed| found(plan, 900 + seed, asked).unwrap().total)
            .collect();
        let middle = mean(all.iter().copied());
        mean(all.iter().map(|total| (total - middle) * (total - middle))).sqrt()
    };
    let (strip, balanced) = (
        totals(ReferenceLevel::Strip),
        totals(ReferenceLevel::Balanced),
    );
    assert!(balanced < strip, "{balanced} {strip}");
}
