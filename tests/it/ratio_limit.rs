//! What a limit of the response index means for methods by sufficiency: it only ever withholds, and only where it says something of this field.

use haulm::science::methods::chlorophyll::ChlorophyllRoot;
use haulm::science::methods::flat::Flat;
use haulm::science::methods::linear_ramp::LinearRamp;
use haulm::science::methods::quadratic::Quadratic;
use haulm::science::methods::square_root::{BackOff, SquareRoot};
use haulm::science::methods::{Limits, Method, RateModel, ReadBy};
use haulm::units::NRate;

fn kg(n: f64) -> NRate {
    NRate::kg_per_ha(n)
}

fn model(method: Method, maximum_ratio: f64, limits_sufficiency: bool) -> RateModel {
    RateModel {
        method,
        limits: Limits {
            maximum_ratio,
            limits_sufficiency,
            applied_since_sensing: NRate::ZERO,
            minimum: NRate::ZERO,
            maximum: kg(300.0),
        },
        blend: None,
    }
}

fn root(back_off: Option<BackOff>) -> Method {
    Method::new(SquareRoot {
        optimum: kg(200.0),
        applied_before: NRate::ZERO,
        credits: NRate::ZERO,
        extra: NRate::ZERO,
        zone_scalar: 1.0,
        delta: 0.3,
        dead_band: 0.03,
        back_off,
    })
}

fn ramp(by: ReadBy, at_low: f64, at_high: f64) -> Method {
    Method::new(LinearRamp {
        by,
        low: 0.35,
        high: 0.80,
        at_low: kg(at_low),
        at_high: kg(at_high),
    })
}

#[test]
fn a_limit_of_this_field_withholds_and_never_adds() {
    let back_off = BackOff {
        steepness: 20.0,
        below: 0.7,
    };
    let methods = [
        root(None),
        root(Some(back_off)),
        Method::new(Quadratic::published(0.03)),
        Method::new(ChlorophyllRoot::PUBLISHED),
        ramp(ReadBy::Sufficiency, 120.0, 20.0),
        ramp(ReadBy::Sufficiency, 20.0, 120.0),
    ];
    let reference = 0.80;
    for method in methods {
        let free = model(method.clone(), 2.0, false);
        let limited = model(method.clone(), 1.1, true);
        let at_limit = free.exact(reference / 1.1, reference).unwrap();
        for step in 0..60 {
            let index = 0.30 + 0.01 * f64::from(step);
            let (own, held) = (
                free.rate(index, reference).unwrap(),
                limited.rate(index, reference).unwrap(),
            );
            assert!(held.n_exact <= own.n_exact, "{method:?} {index}");
            if reference / index <= 1.1 {
                assert_eq!(held.n_exact, own.n_exact, "{method:?} {index}");
                assert!(!held.beyond);
            } else {
                assert!(
                    held.n_exact.get() <= at_limit.get() + 1e-9,
                    "{method:?} {index}"
                );
            }
        }
    }
}

#[test]
fn the_default_is_no_limit_of_published_methods_and_the_index_alone_knows_none() {
    let pale = 0.35;
    let free = model(root(None), 2.0, false);
    assert!(!free.rate(pale, 0.80).unwrap().beyond);
    assert!(free.exact(pale, 0.80) > model(root(None), 1.1, true).exact(pale, 0.80));
    for method in [
        ramp(ReadBy::Index, 120.0, 20.0),
        Method::new(Flat(kg(60.0))),
    ] {
        let (free, limited) = (model(method.clone(), 2.0, false), model(method, 1.1, true));
        assert_eq!(limited.rate(pale, 0.80), free.rate(pale, 0.80));
        assert!(!limited.rate(pale, 0.80).unwrap().beyond);
    }
}
