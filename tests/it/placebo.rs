//! Placebo strips on made grounds of known truth: every place against sums over its pixels one by one, and a small version of
//! `examples/placebo_study.rs` with bounds as loose as so few grounds ask for.

use haulm::pipeline::placebo::{Place, StripPlacebo};
use haulm::pipeline::run;
use haulm::pipeline::strips::{How, StripPlan};
use haulm::pipeline::survey::Survey;
use haulm::science::reference::Answer;
use haulm::space::raster::{Lattice, RasterError, RasterReader, RasterSource, Window};

use crate::ground::Plan;
use crate::ground::run::{Opened, Wording, open, percent, wording};

const FIELD: Plan = Plan {
    size: (400.0, 360.0),
    pixel: 2.0,
    strips: (1, 200.0, 24.0),
    correlation: 35.0,
    stretch: 1.0,
    soil: 0.04,
    deficit: (0.12, 0.03),
};

fn survey(opened: &Opened) -> Survey {
    run::survey(&opened.settings, &opened.ground, &opened.sources())
        .unwrap()
        .value
}

/// What pixel by pixel makes of a strip moved to a place: mean in it, mean in its swaths, and how many pixels each should and does have.
struct ByHand {
    strip: (f64, f64),
    swaths: (f64, f64),
}

fn by_hand(opened: &Opened, plan: &StripPlan, gap: f64, place: Place) -> ByHand {
    let How::Fine { core, .. } = &plan.how else {
        panic!("a strip of pure pixels")
    };
    let inset = 0.5 * (plan.outer.width - core.width);
    let (mut strip, mut swaths) = ((0.0, 0.0), (0.0, 0.0));
    for (x, y, value) in pixels(opened) {
        let (u, v) = core.along_across(x, y);
        let u = u - 0.25 * plan.outer.length * place.along as f64;
        let v = v - 0.5 * plan.outer.width * place.across as f64;
        if !(0.0..core.length).contains(&u) || value.is_nan() {
            continue;
        }
        let beyond = f64::max(-inset - v, v - core.width - inset);
        if (0.0..core.width).contains(&v) {
            strip = (strip.0 + value, strip.1 + 1.0);
        } else if beyond >= gap && beyond < gap + plan.outer.width {
            swaths = (swaths.0 + value, swaths.1 + 1.0);
        }
    }
    ByHand { strip, swaths }
}

/// Centre and value of every pixel.
fn pixels(opened: &Opened) -> impl Iterator<Item = (f64, f64, f64)> {
    let sources = opened.sources();
    let lattice = sources.image.lattice().clone();
    let window = Window {
        col: 0,
        row: 0,
        cols: lattice.cols,
        rows: lattice.rows,
    };
    let mut bands = vec![Vec::new()];
    let mut reader = sources.image.reader().unwrap();
    reader.read(window, &mut bands).unwrap();
    bands
        .remove(0)
        .into_iter()
        .enumerate()
        .map(move |(k, value)| {
            let (row, col) = (k as i64 / lattice.cols, k as i64 % lattice.cols);
            let (x, y) = lattice.affine.to_ground(col as f64 + 0.5, row as f64 + 0.5);
            (x, y, value)
        })
}

/// The same image in blocks of another shape.
struct Blocks<'a>(&'a dyn RasterSource, Lattice);

impl RasterSource for Blocks<'_> {
    fn lattice(&self) -> &Lattice {
        &self.1
    }
    fn slots(&self) -> usize {
        self.0.slots()
    }
    fn reader(&self) -> Result<Box<dyn RasterReader + '_>, RasterError> {
        self.0.reader()
    }
}

fn only(survey: &Survey) -> &StripPlacebo {
    survey.placebos[0].as_ref().unwrap()
}

#[test]
fn every_place_is_the_mean_of_its_pixels() {
    let opened = open(FIELD, 11).unwrap();
    let survey = survey(&opened);
    let placebo = only(&survey);
    let plan = &survey.strips[0].plan;
    assert!(placebo.places.len() >= 20, "{}", placebo.places.len());
    for (place, ratio) in placebo.places.iter().zip(&placebo.measured.ratios) {
        let hand = by_hand(&opened, plan, 5.0, *place);
        let full = plan.outer.width * 2.0 * 192.0 / 4.0;
        assert!(hand.swaths.1 > 0.94 * full, "{place:?}: {}", hand.swaths.1);
        let requirement = hand.strip.0 / hand.strip.1 / (hand.swaths.0 / hand.swaths.1);
        // Only pixels across the field's edge, the strip's or its gap are read otherwise: at most one in twenty of a place.
        assert!(
            (ratio - requirement).abs() < 2e-3,
            "{place:?}: {ratio} for {requirement}"
        );
    }
    let inner: Vec<f64> = placebo
        .places
        .iter()
        .zip(&placebo.measured.ratios)
        .map(|(place, ratio)| {
            let hand = by_hand(&opened, plan, 5.0, *place);
            (ratio - hand.strip.0 / hand.strip.1 / (hand.swaths.0 / hand.swaths.1)).abs()
        })
        .collect();
    // Well inside the field they are the same sums.
    let same = inner.iter().filter(|off| **off < 1e-9).count();
    assert!(2 * same > inner.len(), "{same} of {}", inner.len());
    // The strip itself is no placebo, and lies at the place of no move.
    assert!(!placebo.places.contains(&Place::STRIP));
    let own = placebo.pieces(Place::STRIP, 1)[0].unwrap();
    let index = survey.strips[0].found.as_ref().unwrap().index();
    assert!((own - index).abs() < 2e-3, "{own} for {index}");
}

#[test]
fn pieces_add_up_to_the_strip() {
    let opened = open(FIELD, 12).unwrap();
    let survey = survey(&opened);
    let placebo = only(&survey);
    for (place, level) in placebo.strip_places.iter().zip(&placebo.measured.levels) {
        let pieces = placebo.pieces(*place, 8);
        assert_eq!(pieces.len(), 8);
        let known: Vec<f64> = pieces.into_iter().flatten().collect();
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        assert!((mean - level).abs() < 4e-3, "{mean} for {level}");
    }
}

#[test]
fn threads_and_windows_change_no_bit() {
    let opened = open(FIELD, 13).unwrap();
    let first = survey(&opened);
    let mut sources = opened.sources();
    let mut lattice = sources.image.lattice().clone();
    lattice.block = (32, 16);
    let blocks = Blocks(sources.image, lattice);
    sources.image = &blocks;
    sources.threads = 3;
    sources.memory = 1 << 20;
    let second = run::survey(&opened.settings, &opened.ground, &sources)
        .unwrap()
        .value;
    assert_eq!(only(&first).measured, only(&second).measured);
    assert_eq!(only(&first).places, only(&second).places);
}

#[test]
fn a_coarse_image_has_places_too_and_a_small_field_none() {
    let coarse = Plan {
        size: (600.0, 500.0),
        pixel: 10.0,
        strips: (1, 250.0, 36.0),
        ..FIELD
    };
    let opened = open(coarse, 14).unwrap();
    let looked_at = survey(&opened);
    let placebo = only(&looked_at);
    assert!(placebo.is_mixture() && placebo.places.len() >= 20);
    let mean = placebo.measured.ratios.iter().sum::<f64>() / placebo.places.len() as f64;
    assert!((mean - 1.0).abs() < 0.03, "{mean}");
    let pieces = placebo.pieces(placebo.strip_places[0], 8);
    assert!(pieces.iter().flatten().count() >= 6, "{pieces:?}");

    let small = wording(
        Plan {
            size: (240.0, 130.0),
            strips: (1, 180.0, 24.0),
            ..FIELD
        },
        15,
    )
    .unwrap();
    assert_eq!(small.places, 0);
    assert_eq!(small.interval, small.paired);
}

fn forty(deficit: (f64, f64), seed: u64) -> Vec<Wording> {
    let plan = Plan {
        size: (400.0, 400.0),
        pixel: 4.0,
        strips: (1, 250.0, 36.0),
        deficit,
        ..FIELD
    };
    (0..40).map(|k| wording(plan, seed + k).unwrap()).collect()
}

#[test]
fn forty_short_and_forty_ample_fields() {
    let short = forty((0.12, 0.0), 4_000);
    let holds = percent(&short, |s| {
        s.interval
            .is_some_and(|(low, high)| low <= s.true_ratio && s.true_ratio <= high)
    });
    // 95 % of 40: 34 or fewer have a probability of 0.014 (binomial).
    assert!(holds >= 87.5, "{holds} %");
    let none = percent(&short, |s| s.answer == Some(Answer::None));
    assert!(none <= 15.0, "{none} % of short fields have no response");
    let error = short
        .iter()
        .map(|s| (s.ratio / s.true_ratio - 1.0) * (s.ratio / s.true_ratio - 1.0))
        .sum::<f64>();
    assert!(libm::sqrt(error / 40.0) < 0.03, "{error}");
    let range = percent(&short, |s| {
        s.range.0 <= s.true_rate && s.true_rate <= s.range.1
    });
    // 80 % of 40: 25 or fewer have a probability of 0.008.
    assert!(range >= 65.0, "80 % ranges hold {range} %");
    let ample = forty((0.0, 0.0), 5_000);
    let responds = percent(&ample, |s| s.answer == Some(Answer::Responds));
    // 4 % of 40: 5 or more have a probability of 0.02.
    assert!(responds <= 10.0, "{responds} % of ample fields respond");
    let mean = ample.iter().map(|s| s.rate).sum::<f64>() / 40.0;
    assert!(mean < 4.0, "{mean} kg N/ha on ample fields");
}
