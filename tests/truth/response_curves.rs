//! Response curves against published nitrogen trials.
//!
//! The three tables are those of the R package agridat (K. Wright, licence MIT), which credits the papers named at each; the expected figures are those that
//! its help pages print, or that the papers give, unless marked otherwise.

use approx::assert_abs_diff_eq;
use haulm::science::ramp::{RampAnswer, fit_ramp};
use haulm::science::response_curve::{
    NoOptimum, OptimumSet, PlateauShape, Point, ResponseCurve, fit_plateau, fit_quadratic,
};

/// Winter wheat, four blocks a rate. kg N/ha, Mg/ha. Bachmaier 2009, Statistical Papers 50:649-660.
const TWO_ZONES: [(f64, [f64; 4], [f64; 4]); 11] = [
    (
        0.0,
        [4.488_763_87, 3.355_364_237, 3.305_731_167, 2.712_563_372],
        [4.082, 5.864, 5.176, 6.267],
    ),
    (
        80.0,
        [6.841_725_364, 6.111_208_128, 5.768_645_303, 6.375_016_539],
        [7.639, 7.933, 7.377, 8.989],
    ),
    (
        100.0,
        [6.624_095_165, 7.896_593_235, 6.961_770_665, 6.165_494_958],
        [7.96, 8.445, 9.475, 8.848],
    ),
    (
        120.0,
        [7.689_454_897, 7.614_876_383, 6.661_574_671, 7.508_774_333],
        [7.807, 7.823, 9.414, 8.445],
    ),
    (
        140.0,
        [7.132_783_839, 7.42, 6.571_642_15, 6.612_152_002],
        [9.341, 8.035, 9.775, 10.553],
    ),
    (
        160.0,
        [8.181_272_899, 7.413_001_665, 8.412_458_279, 7.236_706_095],
        [9.346, 9.274, 9.756, 9.623],
    ),
    (
        180.0,
        [7.897_085_682, 7.582_404_537, 6.482_321_259, 6.550_496_939],
        [10.256, 9.253, 10.339, 10.215],
    ),
    (
        200.0,
        [9.050_257_538, 7.879_623_834, 7.743_023_674, 7.572_008_427],
        [9.643, 10.199, 10.213, 10.837],
    ),
    (
        220.0,
        [9.484_428_15, 7.917_897_118, 7.934_471_264, 6.328_491_236],
        [10.395, 10.266, 10.456, 10.505],
    ),
    (
        240.0,
        [10.112_957_9, 7.856_617_67, 6.944_666_419, 8.198_742_463],
        [9.771, 10.223, 10.469, 10.154],
    ),
    (
        260.0,
        [8.648_879_504, 7.747_580_198, 8.521_849_519, 7.320_017_291],
        [10.326, 10.645, 10.812, 10.996],
    ),
];

/// Maize at the fifth of five places, four blocks a rate. kg N/ha, Mg/ha. Hernandez and Mulla 2008, Agronomy Journal 100:1221-1229.
const FIFTH_SITE: [(f64, [f64; 4]); 6] = [
    (0.0, [8.916_34, 8.176_85, 9.245, 8.824_9]),
    (33.6, [10.981_47, 9.847_63, 10.058_61, 9.810_29]),
    (67.2, [12.484_81, 10.778_39, 13.425_1, 10.519_68]),
    (100.8, [14.242_89, 14.395_09, 12.921_64, 13.269_23]),
    (134.4, [15.426_49, 13.567_48, 15.075_75, 14.175_12]),
    (168.0, [14.961_35, 14.578_67, 14.408_76, 14.742_5]),
];

/// Rates of a maize trial of five years at two places; yields are means of nine plots. kg N/ha, quintals/ha. Engelstad and Parks 1971, Agronomy Journal
/// 63:21-23.
const SIX_RATES: [f64; 6] = [0.0, 67.0, 134.0, 201.0, 268.0, 335.0];
/// The first place in 1962.
const FIRST_1962: [f64; 6] = [46.5, 59.0, 71.9, 73.1, 74.5, 75.5];
/// The second place in 1965 and 1966: the paper leaves both out because there was hardly a response in the one and none in the other.
const SECOND_1966: [f64; 6] = [63.0, 61.3, 63.4, 59.4, 57.8, 58.3];
const SECOND_1965: [f64; 6] = [59.4, 67.4, 69.6, 62.9, 67.0, 61.2];
/// The second place in 1962: a response by anybody's reckoning.
const SECOND_1962: [f64; 6] = [44.6, 73.0, 75.2, 83.3, 78.4, 80.9];

fn blocks(rate: f64, values: &[f64]) -> Vec<Point> {
    values
        .iter()
        .map(|value| Point::new(rate, *value))
        .collect()
}

fn six(values: &[f64; 6]) -> Vec<Point> {
    SIX_RATES
        .iter()
        .zip(values)
        .map(|(rate, value)| Point::new(*rate, *value))
        .collect()
}

fn between(set: OptimumSet) -> (f64, f64) {
    match set {
        OptimumSet::Between(Some(low), Some(high)) => (low, high),
        other => panic!("{other:?}"),
    }
}

#[test]
fn optimum_and_set_of_the_two_zones() {
    // Nitrogen at 0.60 a kg and wheat at 110 a tonne, as the help page rounds it.
    const RATIO: f64 = 0.005_454;
    let low: Vec<Point> = TWO_ZONES
        .iter()
        .flat_map(|(rate, low, _)| blocks(*rate, low))
        .collect();
    let optimum = fit_quadratic(&low).unwrap().optimum(RATIO, 0.95).unwrap();
    assert_abs_diff_eq!(optimum.rate, 199.0806, epsilon = 0.01);
    let (from, to) = between(optimum.set);
    // The paper's own figures are the whole numbers.
    assert_eq!((from.round(), to.round()), (173.0, 260.0));
    // The digits: worked out apart from this program, in Python.
    assert_abs_diff_eq!(from, 173.0961, epsilon = 0.01);
    assert_abs_diff_eq!(to, 260.0565, epsilon = 0.01);
    let high: Vec<Point> = TWO_ZONES
        .iter()
        .flat_map(|(rate, _, high)| blocks(*rate, high))
        .collect();
    let optimum = fit_quadratic(&high).unwrap().optimum(RATIO, 0.95).unwrap();
    assert_abs_diff_eq!(optimum.rate, 239.7590, epsilon = 0.01);
    let (from, to) = between(optimum.set);
    assert_abs_diff_eq!(from, 203.969, epsilon = 0.01);
    assert_abs_diff_eq!(to, 328.290, epsilon = 0.01);
}

#[test]
fn two_intervals_of_the_fifth_site() {
    // Maize at 118.1 a tonne, nitrogen at 0.6615 a kg; 90 %.
    let points: Vec<Point> = FIFTH_SITE
        .iter()
        .flat_map(|(rate, values)| blocks(*rate, values))
        .collect();
    let optimum = fit_quadratic(&points)
        .unwrap()
        .optimum(0.6615 / 118.1, 0.90)
        .unwrap();
    assert_abs_diff_eq!(optimum.rate, 191.7198, epsilon = 1e-3);
    let (low, high) = optimum.symmetric.unwrap();
    assert_abs_diff_eq!(low, 118.9329, epsilon = 0.01);
    assert_abs_diff_eq!(high, 264.5067, epsilon = 0.01);
    // Profile of the residual sum of squares in the optimum, worked out apart from this program, in Python.
    let (low, high) = between(optimum.set);
    assert_abs_diff_eq!(low, 147.109_308, epsilon = 1e-4);
    assert_abs_diff_eq!(high, 401.563_046, epsilon = 1e-3);
    // The help page prints 147.96 to 401.65: the same interval, interpolated between the few places at which its nonlinear fit was made.
    assert_abs_diff_eq!(low, 147.96, epsilon = 1.0);
    assert_abs_diff_eq!(high, 401.65, epsilon = 0.1);
}

#[test]
fn two_plateaus_on_the_same_six_points() {
    let points = six(&FIRST_1962);
    let curve = fit_plateau(&points, PlateauShape::Quadratic, 0.95).unwrap();
    assert_abs_diff_eq!(curve.join.get(), 225.34, epsilon = 0.05);
    // Worked out apart from this program: greatest yield, curvature k = 2 s, SSE.
    assert_abs_diff_eq!(curve.plateau, 74.742_57, epsilon = 1e-3);
    assert_abs_diff_eq!(2.0 * curve.steepness, 0.001_131_222, epsilon = 1e-7);
    assert_abs_diff_eq!(curve.quality.sse, 8.530_49, epsilon = 1e-4);
    let line = fit_plateau(&points, PlateauShape::Linear, 0.95).unwrap();
    assert_abs_diff_eq!(line.join.get(), 147.364_83, epsilon = 1e-3);
    assert_abs_diff_eq!(line.steepness, 0.189_552_2, epsilon = 1e-6);
    assert_abs_diff_eq!(
        line.plateau - line.steepness * line.join.get(),
        46.433_33,
        epsilon = 1e-4
    );
    assert_abs_diff_eq!(line.quality.sse, 2.933_33, epsilon = 1e-4);
    assert!(line.responds && curve.responds && !line.at_top && !curve.at_top);
    // Nitrogen at 0.11 and grain at 1.15: the help page's 140.
    let ratio = 0.11 / 1.15;
    let optimum = curve.optimum(&points, ratio, 0.95).unwrap();
    assert_abs_diff_eq!(optimum.rate, 140.78, epsilon = 0.05);
    let given = ResponseCurve::QuadraticPlateau {
        plateau: curve.plateau,
        join: curve.join.get(),
        k: 2.0 * curve.steepness,
    };
    assert_abs_diff_eq!(given.optimum(ratio).unwrap(), optimum.rate, epsilon = 1e-9);
}

#[test]
fn a_place_and_year_without_response() {
    for shape in [PlateauShape::Linear, PlateauShape::Quadratic] {
        for level in [SECOND_1965, SECOND_1966] {
            let answer = fit_ramp(&six(&level)).unwrap().answer(shape);
            assert!(
                matches!(answer, RampAnswer::NoResponse | RampAnswer::Falls),
                "{answer:?}"
            );
        }
        assert!(matches!(
            fit_ramp(&six(&SECOND_1962)).unwrap().answer(shape),
            RampAnswer::Plateau(_)
        ));
    }
}

#[test]
fn a_curve_without_a_top_is_refused() {
    // Maize on low ground in 2001 of the variable-rate trial of Anselin, Bongiovanni and Lowenberg-DeBoer 2004, American Journal of Agricultural Economics
    // 86:675-687, bends upwards; its thousands of readings are not kept here. Any table that does so has to be refused alike.
    let points: Vec<Point> = SIX_RATES
        .iter()
        .map(|n| Point::new(*n, 60.0 + 0.02 * n + 1e-4 * n * n))
        .collect();
    assert!(
        matches!(fit_quadratic(&points).unwrap().optimum(0.063_474, 0.95), Err(NoOptimum::CurvesUp { c }) if (c - 1e-4).abs() < 1e-9)
    );
}
