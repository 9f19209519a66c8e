//! Laws of every method, and values of the published formulas.

use super::chlorophyll::ChlorophyllRoot;
use super::class_table::{Class, ClassTable};
use super::flat::Flat;
use super::linear_ramp::LinearRamp;
use super::quadratic::Quadratic;
use super::square_root::{BackOff, SquareRoot};
use super::visible::{VisibleLine, published};
use super::yield_response::YieldCurve;
use super::*;
use proptest::{prop_assert, prop_assert_eq};

fn kg(n: f64) -> NRate {
    NRate::kg_per_ha(n)
}

fn root() -> SquareRoot {
    SquareRoot {
        optimum: kg(200.0),
        applied_before: kg(40.0),
        credits: kg(20.0),
        extra: NRate::ZERO,
        zone_scalar: 1.0,
        delta: 0.3,
        dead_band: 0.0,
        back_off: None,
    }
}

fn table(by: ReadBy) -> ClassTable {
    let class = |below, rate, back_off| Class {
        below,
        rate: kg(rate),
        back_off,
    };
    ClassTable {
        by,
        classes: vec![
            class(Some(0.6), 110.0, false),
            class(Some(0.85), 70.0, false),
            class(Some(0.95), 30.0, false),
            class(None, 0.0, false),
        ],
    }
}

fn ramp(by: ReadBy) -> LinearRamp {
    LinearRamp {
        by,
        low: 0.35,
        high: 0.80,
        at_low: kg(120.0),
        at_high: kg(20.0),
    }
}

/// One of each method.
fn every() -> Vec<Method> {
    let yields = YieldResponse {
        curve: YieldCurve {
            a: Yield::kg_per_ha(590.0),
            b: 258.2,
        },
        growing_days: 94.0,
        maximum_yield: Yield::kg_per_ha(6_700.0),
        ratio_adjustment: None,
        dead_band: 0.0,
        grain_nitrogen: 0.0239,
        use_efficiency: 0.5,
    };
    let backed = SquareRoot {
        back_off: Some(BackOff {
            steepness: 20.0,
            below: 0.7,
        }),
        ..root()
    };
    vec![
        Method::new(yields),
        Method::new(root()),
        Method::new(backed),
        Method::new(Quadratic::published(0.03)),
        Method::new(ChlorophyllRoot::PUBLISHED),
        Method::new(published("amber", "V8-V10").unwrap().line()),
        Method::new(ramp(ReadBy::Index)),
        Method::new(ramp(ReadBy::Sufficiency)),
        Method::new(table(ReadBy::Index)),
        Method::new(table(ReadBy::Sufficiency)),
        Method::new(Flat(kg(60.0))),
    ]
}

fn model(method: Method) -> RateModel {
    RateModel {
        method,
        limits: Limits {
            maximum_ratio: 2.0,
            limits_sufficiency: false,
            applied_since_sensing: NRate::ZERO,
            minimum: NRate::ZERO,
            maximum: kg(150.0),
        },
        blend: None,
    }
}

#[test]
fn every_method_is_told_of_and_passes_its_check() {
    for method in every() {
        assert!(about(method.name()).is_some(), "{}", method.name());
        assert_eq!(model(method).check(), Ok(()));
    }
    for about in METHODS {
        assert!(
            every().iter().any(|method| method.name() == about.name),
            "{}",
            about.name
        );
    }
}

#[test]
fn no_response_needs_nothing_where_the_method_says_so() {
    for method in every() {
        let rate = model(method.clone()).rate(0.70, 0.70).unwrap();
        let by_index = !method.divides_by_index();
        match method.name() {
            // Fifty pounds where crop and strip look alike: the line of these stages.
            "visible line" => assert!((rate.n_raw.as_lb_per_ac() - 50.0).abs() < 1e-9),
            "linear ramp" if by_index => {
                assert!((rate.n_raw.get() - 42.222_222).abs() < 1e-6);
            }
            "linear ramp" => assert_eq!(rate.n_raw, kg(20.0)),
            "class table" if by_index => assert_eq!(rate.n_raw, kg(70.0)),
            "flat" => assert_eq!(rate.n_raw, kg(60.0)),
            _ => assert_eq!((rate.n_raw, rate.ratio), (NRate::ZERO, Some(1.0))),
        }
    }
}

#[test]
fn a_missing_value_has_no_rate_in_any_method() {
    for method in every() {
        let model = model(method);
        for (index, reference) in [
            (f64::NAN, 0.7),
            (0.5, f64::NAN),
            (0.0, 0.7),
            (-0.1, 0.7),
            (0.5, 0.0),
            (f64::INFINITY, 0.7),
        ] {
            assert_eq!(model.rate(index, reference), None);
        }
    }
}

#[test]
fn what_went_on_since_sensing_is_taken_off_everywhere() {
    for method in every() {
        let (plain, mut later) = (model(method.clone()), model(method));
        later.limits.applied_since_sensing = kg(10.0);
        let (a, b) = (
            plain.rate(0.55, 0.70).unwrap(),
            later.rate(0.55, 0.70).unwrap(),
        );
        assert!(
            (a.n_raw.get() - b.n_raw.get() - 10.0).abs() < 1e-9,
            "{}",
            later.method.name()
        );
    }
}

#[test]
fn a_dead_band_silences_noise() {
    let quiet = SquareRoot {
        dead_band: 0.03,
        ..root()
    };
    assert_eq!(
        (quiet.needed(0.98), quiet.needed(0.97)),
        (NRate::ZERO, NRate::ZERO)
    );
    assert_eq!(quiet.needed(0.96), root().needed(0.96));
    let meter = Quadratic::published(0.05);
    assert_eq!(meter.needed(0.95), NRate::ZERO);
    assert!(meter.needed(0.949) > kg(80.0));
}

#[test]
fn nothing_is_asked_beyond_what_a_method_can_know() {
    // A crop below the foot of the parabola had nothing: the top is all that it can lack.
    let meter = Quadratic::published(0.0);
    assert_eq!(meter.needed(0.5), meter.top());
    assert_eq!(root().needed(0.2), root().maximum());
    let gone = SquareRoot {
        applied_before: kg(300.0),
        ..root()
    };
    assert_eq!(gone.needed(0.7), NRate::ZERO);
}

#[test]
fn classes_are_half_open_without_gaps() {
    let table = table(ReadBy::Sufficiency);
    for (value, rate) in [
        (-1.0, 110.0),
        (0.599_999, 110.0),
        (0.6, 70.0),
        (0.85, 30.0),
        (0.95, 0.0),
        (1.4, 0.0),
    ] {
        assert_eq!(table.needed(value), kg(rate), "{value}");
    }
}

#[test]
fn parameters_that_mean_nothing_are_refused() {
    let refused = |method: Method| model(method).check().unwrap_err().to_string();
    assert!(
        refused(Method::new(SquareRoot {
            delta: 1.0,
            ..root()
        }))
        .contains("delta_si is 1")
    );
    assert!(
        refused(Method::new(SquareRoot {
            zone_scalar: 2.5,
            ..root()
        }))
        .contains("between 0 and 2")
    );
    assert!(
        refused(Method::new(SquareRoot {
            dead_band: 0.3,
            ..root()
        }))
        .contains("dead band")
    );
    assert!(
        refused(Method::new(Quadratic {
            quadratic: 0.000_005_6,
            ..Quadratic::published(0.0)
        }))
        .contains("without a top")
    );
    assert!(
        refused(Method::new(LinearRamp {
            low: 0.8,
            ..ramp(ReadBy::Index)
        }))
        .contains("0.8 and 0.8")
    );
    assert!(refused(Method::new(Flat(kg(-1.0)))).contains("0 or more"));
    let mut rising = table(ReadBy::Index);
    rising.classes[0].rate = kg(40.0);
    assert!(refused(Method::new(rising.clone())).contains("back_off"));
    rising.classes[0].back_off = true;
    assert_eq!(model(Method::new(rising)).check(), Ok(()));
    let mut open = table(ReadBy::Index);
    open.classes[3].below = Some(1.0);
    assert!(refused(Method::new(open)).contains("every value has a rate"));
    let mut crossed = table(ReadBy::Index);
    crossed.classes[1].below = Some(0.5);
    assert!(refused(Method::new(crossed)).contains("rise"));
    assert!(
        refused(Method::new(VisibleLine {
            slope: NRate::ZERO,
            less: NRate::ZERO
        }))
        .contains("slope")
    );
    let range = RateModel {
        limits: Limits {
            minimum: kg(200.0),
            ..model(every()[0].clone()).limits
        },
        ..model(Method::new(Flat(kg(1.0))))
    };
    assert!(
        range
            .check()
            .unwrap_err()
            .to_string()
            .contains("least rate is 200")
    );
}

#[test]
fn what_is_kept_of_an_index_changes_no_rate() {
    let blend = Some(Blend {
        share: 0.6,
        field_ratio: 1.2,
    });
    for method in every() {
        for model in [
            model(method.clone()),
            model(method.clone()).with_blend(blend),
        ] {
            for index in [0.0, 1e-9, 0.31, 0.5, 0.664, 0.9, 7.0] {
                for (reference, ratio) in [(0.665, None), (0.72, Some(1.3)), (f64::NAN, None)] {
                    let kept = model.method.kept(index);
                    assert_eq!(
                        model.rate_kept((index, kept), reference, ratio),
                        model.rate_against(index, reference, ratio),
                        "{} at {index}",
                        model.method.name()
                    );
                }
            }
        }
    }
}

#[test]
fn a_simulation_may_turn_every_screw() {
    for method in every() {
        let plain = model(method);
        let base = plain.exact(0.62, 0.70).unwrap();
        if let Some(e) = plain.use_efficiency() {
            assert!(
                plain
                    .with_use_efficiency(e * 0.8)
                    .unwrap()
                    .exact(0.62, 0.70)
                    .unwrap()
                    > base
            );
        }
        if let Some(steeper) = plain.with_curve_factor(1.1) {
            assert!(
                steeper.exact(0.62, 0.70).unwrap() > base,
                "{}",
                plain.method.name()
            );
        }
        assert_eq!(
            plain.with_use_efficiency(0.5).is_some(),
            plain.use_efficiency().is_some()
        );
    }
}

proptest::proptest! {
    #[test]
    fn laws_of_every_method(
        index in 0.05_f64..0.95, more in 0.0_f64..0.3, reference in 0.05_f64..0.95, minimum in 0.0_f64..50.0, width in 0.0_f64..200.0, applied in 0.0_f64..40.0
    ) {
        for method in every() {
            let limits = Limits { maximum_ratio: 2.0, limits_sufficiency: false, applied_since_sensing: kg(applied), minimum: kg(minimum), maximum: kg(minimum + width) };
            let model = RateModel { method, limits, blend: None };
            let rate = model.rate(index, reference).unwrap();
            prop_assert!(limits.minimum <= rate.n_exact && rate.n_exact <= limits.maximum);
            prop_assert!(rate.n_raw.get() >= -applied - 1e-12, "{} asks for less than nothing", model.method.name());
            prop_assert_eq!(rate.yields.is_some(), model.method.yields().is_some());
            let greener = model.rate(index + more, reference).unwrap();
            if model.method.falls_with_index() {
                prop_assert!(greener.n_exact <= rate.n_exact + kg(1e-9), "{} rises with the index", model.method.name());
            }
            if index >= reference && model.method.divides_by_index() && !matches!(model.method.name(), "linear ramp" | "class table") {
                prop_assert_eq!(rate.n_exact, limits.minimum);
            }
        }
    }
}
