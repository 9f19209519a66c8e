//! Amounts of product for a rate of nitrogen, from the densities of a supplier-type table (10.67 and 11.06 lb/US gal) and the nitrogen shares of the
//! trade; reckoned apart from the crate.

use approx::assert_abs_diff_eq;
use haulm::science::product::find_product;
use haulm::units::NRate;
use haulm::units::Product;
use haulm::units::RateUnit;

fn amount(name: &str, nitrogen: NRate, unit: RateUnit) -> f64 {
    let product = find_product(name).unwrap().product().unwrap();
    product.in_unit(product.rate_for(nitrogen), unit).unwrap()
}

#[test]
fn liquids_for_thirty_three_pounds_an_acre() {
    let rate = NRate::lb_per_ac(33.0);
    assert_abs_diff_eq!(amount("UAN 28", rate, RateUnit::GalPerAc), 11.046, epsilon = 0.001);
    assert_abs_diff_eq!(amount("UAN 28", rate, RateUnit::LPerHa), 103.32, epsilon = 0.01);
    assert_abs_diff_eq!(amount("UAN 32", rate, RateUnit::GalPerAc), 9.324, epsilon = 0.001);
    assert_abs_diff_eq!(amount("UAN 32", rate, RateUnit::LPerHa), 87.22, epsilon = 0.01);
}

#[test]
fn solids_by_mass() {
    let rate = NRate::lb_per_ac(32.787);
    for (name, lb) in [("urea", 71.277), ("ammonium nitrate", 96.43), ("ammonium sulfate", 156.13)] {
        assert_abs_diff_eq!(amount(name, rate, RateUnit::LbPerAc), lb, epsilon = 0.005);
    }
    let hundred = NRate::kg_per_ha(100.0);
    for (name, kg) in [("urea", 217.39), ("AN 34", 294.12), ("AS", 476.19), ("CAN 27", 370.37)] {
        assert_abs_diff_eq!(amount(name, hundred, RateUnit::KgPerHa), kg, epsilon = 0.005);
    }
}

#[test]
fn shares_follow_from_formulas() {
    // Atomic weights H 1.008, C 12.011, N 14.007, O 15.999, S 32.06 (IUPAC): what is sold is never purer than the substance.
    let (h, c, n, o, s) = (1.008, 12.011, 14.007, 15.999, 32.06);
    let pure = [
        ("anhydrous ammonia", n / (n + 3.0 * h), 0.82245),
        ("urea", 2.0 * n / (c + o + 2.0 * (n + 2.0 * h)), 0.4665),
        ("ammonium sulfate", 2.0 * n / (2.0 * (n + 4.0 * h) + s + 4.0 * o), 0.212),
        ("ammonium nitrate", 2.0 * n / (2.0 * n + 4.0 * h + 3.0 * o), 0.35),
    ];
    for (name, share, printed) in pure {
        assert_abs_diff_eq!(share, printed, epsilon = 0.0005);
        let sold = find_product(name).unwrap().nitrogen;
        assert!(sold <= share && sold > 0.95 * share, "{name}");
    }
    let pure = Product::new("ammonia", 0.82245, None).unwrap();
    let lb = pure.in_unit(pure.rate_for(NRate::lb_per_ac(32.787)), RateUnit::LbPerAc).unwrap();
    assert_abs_diff_eq!(lb, 39.87, epsilon = 0.01);
}
