//! Amounts of product for a rate of nitrogen, from the densities of a supplier-type table (10.67 and 11.06 lb/US gal) and the nitrogen shares of the
//! trade; reckoned apart from the crate.

use approx::assert_abs_diff_eq;
use haulm::job::amount::product_price;
use haulm::science::product::find_product;
use haulm::units::{KG_PER_LB, L_PER_GAL, NRate, Product, RateUnit};

fn amount(name: &str, nitrogen: NRate, unit: RateUnit) -> f64 {
    let product = find_product(name).unwrap().product().unwrap();
    product.in_unit(product.rate_for(nitrogen), unit).unwrap()
}

#[test]
fn liquids_for_thirty_three_pounds_an_acre() {
    let rate = NRate::lb_per_ac(33.0);
    assert_abs_diff_eq!(
        amount("UAN 28", rate, RateUnit::GalPerAc),
        11.046,
        epsilon = 0.001
    );
    assert_abs_diff_eq!(
        amount("UAN 28", rate, RateUnit::LPerHa),
        103.32,
        epsilon = 0.01
    );
    assert_abs_diff_eq!(
        amount("UAN 32", rate, RateUnit::GalPerAc),
        9.324,
        epsilon = 0.001
    );
    assert_abs_diff_eq!(
        amount("UAN 32", rate, RateUnit::LPerHa),
        87.22,
        epsilon = 0.01
    );
}

#[test]
fn solids_by_mass() {
    let rate = NRate::lb_per_ac(32.787);
    for (name, lb) in [
        ("urea", 71.277),
        ("ammonium nitrate", 96.43),
        ("ammonium sulfate", 156.13),
    ] {
        assert_abs_diff_eq!(amount(name, rate, RateUnit::LbPerAc), lb, epsilon = 0.005);
    }
    let hundred = NRate::kg_per_ha(100.0);
    for (name, kg) in [
        ("urea", 217.39),
        ("AN 34", 294.12),
        ("AS", 476.19),
        ("CAN 27", 370.37),
    ] {
        assert_abs_diff_eq!(
            amount(name, hundred, RateUnit::KgPerHa),
            kg,
            epsilon = 0.005
        );
    }
}

#[test]
fn shares_follow_from_formulas() {
    // Atomic weights H 1.008, C 12.011, N 14.007, O 15.999, S 32.06 (IUPAC): what is sold is never purer than the substance.
    let (h, c, n, o, s) = (1.008, 12.011, 14.007, 15.999, 32.06);
    let pure = [
        ("anhydrous ammonia", n / (n + 3.0 * h), 0.82245),
        ("urea", 2.0 * n / (c + o + 2.0 * (n + 2.0 * h)), 0.4665),
        (
            "ammonium sulfate",
            2.0 * n / (2.0 * (n + 4.0 * h) + s + 4.0 * o),
            0.212,
        ),
        (
            "ammonium nitrate",
            2.0 * n / (2.0 * n + 4.0 * h + 3.0 * o),
            0.35,
        ),
    ];
    for (name, share, printed) in pure {
        assert_abs_diff_eq!(share, printed, epsilon = 0.0005);
        let sold = find_product(name).unwrap().nitrogen;
        assert!(sold <= share && sold > 0.95 * share, "{name}");
    }
    let pure = Product::new("ammonia", 0.82245, None).unwrap();
    let lb = pure
        .in_unit(pure.rate_for(NRate::lb_per_ac(32.787)), RateUnit::LbPerAc)
        .unwrap();
    assert_abs_diff_eq!(lb, 39.87, epsilon = 0.01);
}

#[test]
fn pounds_of_nitrogen_in_a_gallon() {
    // Handbooks and the supplier-type table: UAN 28 at 10.67 lb/gal, UAN 30 at a specific gravity of 1.303, UAN 32 at 11.06 and thiosulfate at 11.04 lb/gal
    // hold this much (reckoned apart from the crate); 4.22 for anhydrous ammonia and 1.52 for aqua ammonia are from memory.
    for (name, lb) in [
        ("UAN 28", 2.988),
        ("UAN 30", 3.262),
        ("UAN 32", 3.539),
        ("ATS", 1.325),
        ("NH3", 4.22),
        ("aqua ammonia", 1.52),
    ] {
        let product = find_product(name).unwrap().product().unwrap();
        let per_gallon = product.kg_per_l().unwrap() * L_PER_GAL / KG_PER_LB * product.nitrogen();
        assert_abs_diff_eq!(per_gallon, lb, epsilon = 0.004);
    }
}

#[test]
fn densities_fall_with_temperature() {
    // Supplier-type table of estimated physical characteristics: lb/US gal at °F. A straight line is good to 0.4 %.
    let table = [
        (
            "UAN 28",
            vec![(20.0, 10.78), (30.0, 10.76), (40.0, 10.74), (80.0, 10.6)],
        ),
        ("UAN 30", vec![(20.0, 10.98), (30.0, 10.95)]),
        ("UAN 32", vec![(20.0, 11.17), (30.0, 11.14), (60.0, 11.08)]),
        // Appendix of Wisconsin's SPS 343 (specific gravity 0.6819 at -28 °F); lesson of the University of Nebraska (5.15 lb/gal at 60 °F).
        ("anhydrous ammonia", vec![(-28.0, 5.69), (60.0, 5.15)]),
    ];
    for (name, points) in table {
        for (fahrenheit, lb_gal) in points {
            let density = find_product(name)
                .unwrap()
                .density_at((fahrenheit - 32.0) / 1.8)
                .unwrap();
            let found = density * L_PER_GAL / KG_PER_LB;
            assert!(
                (found / lb_gal - 1.0).abs() < 0.004,
                "{name} at {fahrenheit} °F: {found:.3}, the table has {lb_gal}"
            );
        }
    }
    for name in ["urea", "aqua ammonia", "ATS"] {
        assert_eq!(find_product(name).unwrap().density_at(10.0), None, "{name}");
    }
}

#[test]
fn salt_out_temperatures_and_bulk_densities() {
    // Fertilizer manual of UNIDO and IFDC 1998: -18, -10 and -2 °C; the supplier-type table says -1 and 28 °F for 28 and 32 %.
    for (name, celsius) in [("UAN 28", -18.0), ("UAN 30", -10.0), ("UAN 32", -2.0)] {
        assert_eq!(find_product(name).unwrap().salt_out_c, Some(celsius));
    }
    assert!(
        (-18.0_f64 * 1.8 + 32.0 - -1.0).abs() < 1.0 && (-2.0_f64 * 1.8 + 32.0 - 28.0).abs() < 1.0
    );
    // lb/ft³ of the same table.
    for (name, low, high) in [
        ("urea", 44.0, 48.0),
        ("ammonium nitrate", 54.0, 58.0),
        ("ammonium sulfate", 47.0, 53.0),
    ] {
        let (minimum, maximum) = find_product(name).unwrap().bulk_kg_m3.unwrap();
        assert_abs_diff_eq!(minimum, low * 16.018_46, epsilon = 0.6);
        assert_abs_diff_eq!(maximum, high * 16.018_46, epsilon = 0.6);
    }
}

#[test]
fn price_of_a_pound_of_nitrogen() {
    // Arithmetic of the trade, reckoned apart from the crate: 46 % urea at 500 a short ton, and so on.
    for (name, price, per_lb) in [
        ("urea", 500.0, 0.543_48),
        ("UAN 28", 350.0, 0.625),
        ("UAN 32", 400.0, 0.625),
        ("NH3", 800.0, 0.487_80),
    ] {
        let product = find_product(name).unwrap().product().unwrap();
        let (per_kg, currency) =
            product_price(&format!("{price} USD/short ton"), None, &product).unwrap();
        assert_abs_diff_eq!(per_kg * KG_PER_LB, per_lb, epsilon = 5e-6);
        assert_eq!(currency, "USD");
    }
}
