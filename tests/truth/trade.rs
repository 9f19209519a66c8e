//! The worked example that the trade passes on (common practice, no source; coefficients 590 and 258.2), unit factors of the handbooks, and a partial
//! budget reckoned by hand from them.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use haulm::science::crop::{find_crop, find_curve};
use haulm::science::money::{
    GrainResponse, MoneyCell, PriceInputs, break_even_gain, break_even_ratio, field_money,
    highest_price_ratio, margin,
};
use haulm::science::yield_response::{RateInputs, rate_of};
use haulm::units::{
    Area, KG_HA_PER_LB_AC, KG_PER_LB, L_HA_PER_GAL_AC, M2_PER_AC, M2_PER_HA, NRate, Yield,
};

fn inputs() -> RateInputs {
    RateInputs {
        curve: find_curve("winter wheat, common practice").unwrap().curve(),
        growing_days: 94.0,
        maximum_yield: Yield::bu_per_ac(100.0, 60.0),
        maximum_ratio: 2.0,
        ratio_adjustment: None,
        dead_band: 0.0,
        blend: None,
        grain_nitrogen: find_crop("winter wheat").unwrap().grain_nitrogen.unwrap(),
        use_efficiency: 0.5,
        applied_since_sensing: NRate::ZERO,
        minimum: NRate::ZERO,
        maximum: NRate::kg_per_ha(150.0),
    }
}

#[test]
fn the_worked_example_to_the_digit() {
    let rate = rate_of(0.50, 0.665, &inputs()).unwrap();
    assert_abs_diff_eq!(rate.yield_without.get(), 2_329.774_573, epsilon = 1e-5);
    assert_abs_diff_eq!(
        rate.yield_without.as_bu_per_ac(60.0),
        34.642_937,
        epsilon = 1e-5
    );
    assert_abs_diff_eq!(
        rate.yield_with.as_bu_per_ac(60.0),
        46.075_107,
        epsilon = 1e-5
    );
    assert_abs_diff_eq!(rate.n_exact.as_lb_per_ac(), 32.787_462, epsilon = 1e-5);
    assert_abs_diff_eq!(rate.n_exact.get(), 36.749_864, epsilon = 1e-5);
    let whole = |value: f64| format!("{value:.0}");
    assert_eq!(whole(rate.yield_without.as_bu_per_ac(60.0)), "35");
    assert_eq!(whole(rate.yield_with.as_bu_per_ac(60.0)), "46");
    assert_eq!(whole(rate.n_exact.as_lb_per_ac()), "33");
}

#[test]
fn use_efficiency_and_adjustment_of_the_worked_example() {
    for (use_efficiency, lb) in [(0.4, 40.98), (0.6, 27.32)] {
        let rate = rate_of(
            0.50,
            0.665,
            &RateInputs {
                use_efficiency,
                ..inputs()
            },
        )
        .unwrap();
        assert_abs_diff_eq!(rate.n_exact.as_lb_per_ac(), lb, epsilon = 0.005);
    }
    // Adjusted by 1.69 RI − 0.70 (common practice): from 1.20 to 1.328, and from 1.33 to 1.5477, two thirds more nitrogen.
    let adjusted = RateInputs {
        ratio_adjustment: Some((1.69, -0.70)),
        ..inputs()
    };
    assert_abs_diff_eq!(
        rate_of(0.50, 0.60, &adjusted)
            .unwrap()
            .n_exact
            .as_lb_per_ac(),
        32.59,
        epsilon = 0.005
    );
    let twice = rate_of(0.50, 0.665, &adjusted).unwrap();
    assert_abs_diff_eq!(twice.ratio, 1.5477, epsilon = 1e-9);
    assert_abs_diff_eq!(twice.yield_with.as_bu_per_ac(60.0), 53.617, epsilon = 0.001);
    assert_abs_diff_eq!(twice.n_exact.as_lb_per_ac(), 54.417, epsilon = 0.001);
}

#[test]
fn factors_of_the_handbooks() {
    // International yard and pound agreement of 1959; extension tables print 1.12, 9.35, 67.25, 62.77.
    assert_relative_eq!(KG_HA_PER_LB_AC, 1.120_851_156, max_relative = 1e-8);
    assert_relative_eq!(L_HA_PER_GAL_AC, 9.353_956_228, max_relative = 1e-8);
    assert_relative_eq!(
        Yield::bu_per_ac(1.0, 60.0).get(),
        67.251_069,
        max_relative = 1e-8
    );
    assert_relative_eq!(
        Yield::bu_per_ac(1.0, 56.0).get(),
        62.767_665,
        max_relative = 1e-8
    );
    for (crop, kg_per_ha) in [
        ("barley", 53.800_855),
        ("oats", 35.867_237),
        ("canola", 56.042_558),
        ("rice", 50.438_302),
    ] {
        assert_relative_eq!(
            Yield::bu_per_ac(1.0, find_crop(crop).unwrap().lb_per_bu).get(),
            kg_per_ha,
            max_relative = 2e-8
        );
    }
}

#[test]
fn partial_budget_of_the_worked_example() {
    // Wheat at 6.00 a bushel, nitrogen at 0.55 a pound, a pass at 6.00 an acre.
    let per_ha = M2_PER_HA / M2_PER_AC;
    let prices = PriceInputs {
        grain: 6.0 / (60.0 * KG_PER_LB),
        nitrogen: 0.55 / KG_PER_LB,
        application: 6.0 * per_ha,
        mapping: 0.0,
    };
    let response = GrainResponse {
        grain_nitrogen: 0.0239,
        use_efficiency: 0.5,
        applied_since_sensing: NRate::ZERO,
    };
    let rate = rate_of(0.50, 0.665, &inputs()).unwrap();
    let with = margin(
        rate.yield_without,
        rate.yield_with,
        rate.n_exact,
        true,
        &response,
        &prices,
    );
    let none = margin(
        rate.yield_without,
        rate.yield_with,
        NRate::ZERO,
        false,
        &response,
        &prices,
    );
    let gain = (with.gross - none.gross) / per_ha;
    assert_abs_diff_eq!(gain, 68.593, epsilon = 0.0005);
    assert_abs_diff_eq!(with.cost / per_ha, 24.033, epsilon = 0.0005);
    let net = (with.net() - none.net()) / per_ha;
    assert_abs_diff_eq!(net, 44.560, epsilon = 0.0005);
    assert_abs_diff_eq!(100.0 * net / (with.cost / per_ha), 185.0, epsilon = 0.5);
    // The same as one cell of a field, with its prices turned: 62.593 of grain less the pass pay 32.787 lb of nitrogen up to 1.909 a pound.
    let cell = MoneyCell {
        area: Area::ha(1.0),
        rate: rate.n_exact,
        yield_without: rate.yield_without,
        yield_with: rate.yield_with,
    };
    let field = field_money(&[cell], None, &response, &prices).unwrap();
    let budget = field.map.instead_of(&field.none, &prices);
    assert_abs_diff_eq!(budget.gain / per_ha, 44.560, epsilon = 0.0005);
    assert_abs_diff_eq!(budget.marginal_return.unwrap(), 1.854, epsilon = 0.0005);
    assert_abs_diff_eq!(
        budget.break_even_nitrogen.unwrap() * KG_PER_LB,
        (68.593 - 6.0) / 32.787,
        epsilon = 0.0005
    );
    // Pounds of nitrogen a responding bushel (60 · 0.0239 / 0.5 = 2.868) give the price above which none pays: 6.00 / 2.868 a pound.
    assert_abs_diff_eq!(
        highest_price_ratio(&response) * prices.grain * KG_PER_LB,
        6.0 / 2.868,
        epsilon = 1e-9
    );
    assert_abs_diff_eq!(
        break_even_gain(rate.n_exact, &prices)
            .unwrap()
            .as_bu_per_ac(60.0),
        4.005,
        epsilon = 0.001
    );
    assert_abs_diff_eq!(
        break_even_ratio(rate.yield_without, &response, &prices).unwrap(),
        1.0392,
        epsilon = 0.000_05
    );
}
