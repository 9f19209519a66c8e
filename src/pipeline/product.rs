//! What is to be minded of a product, and how often the machine is filled with it.

use crate::finding::{Finding, codes};
use crate::job::settings::{Capacity, ProductFacts};
pub(crate) use crate::science::loads::Loads;
use crate::science::loads::loads;
use crate::science::product::{Caution, Concern, find_product};
use crate::units::{KG_PER_LB, L_PER_GAL, NRate, Product};

/// Above the salt-out temperature by less than this, a pipe in the shade may already hold salt. \[°C\] Ours.
const SALT_MARGIN_C: f64 = 3.0;

/// Whole degrees Fahrenheit, without a negative zero.
fn fahrenheit(celsius: f64) -> f64 {
    libm::round(celsius * 1.8 + 32.0) + 0.0
}

fn lb_per_gal(kg_per_l: f64) -> f64 {
    kg_per_l * L_PER_GAL / KG_PER_LB
}

/// Findings about the product: never law, never complete; the label comes first.
pub(crate) fn product_findings(product: &Product, facts: &ProductFacts) -> Vec<Finding> {
    let name = product.name();
    let Some(entry) = facts
        .shipped
        .as_deref()
        .and_then(|shipped| find_product(shipped).ok())
    else {
        return vec![Finding::note(
            codes::PRODUCT_OWN,
            format!(
                "{name} is no product of the shipped table: nothing is known here of what it must not meet or do; its label says it"
            ),
        )];
    };
    let of_caution = |caution: &Caution| {
        let message = format!("{name}: {}; the label comes first", caution.text);
        match caution.about {
            Concern::Safety => Finding::caution(codes::PRODUCT_SAFETY, message),
            Concern::Leaves => Finding::caution(codes::PRODUCT_LEAVES, message),
            Concern::Mixing => Finding::note(codes::PRODUCT_MIXING, message),
            Concern::Loss => Finding::note(codes::PRODUCT_LOSS, message),
            Concern::Handling => Finding::note(codes::PRODUCT_HANDLING, message),
        }
    };
    let mut findings: Vec<Finding> = entry.cautions.iter().map(of_caution).collect();
    if let Some(limit) = entry.salt_out_c {
        let salts = format!(
            "{name} salts out at about {limit:.0} °C ({:.0} °F)",
            fahrenheit(limit)
        );
        findings.push(match facts.temperature_c {
            Some(celsius) if celsius <= limit => Finding::caution(
                codes::PRODUCT_SALT_OUT,
                format!("{salts}, and the job gives {celsius:.1} °C ({:.0} °F): salt plugs pipes and nozzles, and what is left is weaker", fahrenheit(celsius)),
            ),
            Some(celsius) if celsius <= limit + SALT_MARGIN_C => Finding::caution(
                codes::PRODUCT_SALT_OUT,
                format!("{salts}, and the job gives {celsius:.1} °C ({:.0} °F), within {SALT_MARGIN_C:.0} °C ({:.0} °F) of it: look at filters and nozzles", fahrenheit(celsius), SALT_MARGIN_C * 1.8),
            ),
            _ => Finding::note(codes::PRODUCT_SALT_OUT, salts),
        });
    }
    if let (Some(celsius), Some(density)) = (facts.temperature_c, product.kg_per_l()) {
        findings.push(Finding::note(
            codes::PRODUCT_DENSITY,
            format!(
                "volumes are reckoned with {density:.4} kg/L ({:.2} lb/gal), the density of {name} at {celsius:.1} °C ({:.0} °F) by the shipped table; a hydrometer reading of the load wins",
                lb_per_gal(density),
                fahrenheit(celsius)
            ),
        ));
    }
    // Handbooks differ by 0.7 % and a load by its temperature by 2 % or so; what is further off is another product, or another unit.
    if let (Some(own), Some(shipped), None) =
        (product.kg_per_l(), entry.kg_per_l, facts.temperature_c)
        && (own / shipped - 1.0).abs() > 0.05
        && (product.nitrogen() - entry.nitrogen).abs() <= 1e-9
    {
        findings.push(Finding::caution(
            codes::PRODUCT_DENSITY,
            format!(
                "volumes are reckoned with {own:.3} kg/L ({:.2} lb/gal) as the job says, the table's {name} has {shipped:.3} kg/L ({:.2} lb/gal), {:+.0} %: volumes move by as much; check number and unit of product.density",
                lb_per_gal(own),
                lb_per_gal(shipped),
                100.0 * (own / shipped - 1.0)
            ),
        ));
    }
    // Another grade than the table's: the table's density is that of its own grade.
    if (product.nitrogen() - entry.nitrogen).abs() > 1e-9 {
        let density = match (product.kg_per_l(), entry.kg_per_l) {
            (Some(own), Some(shipped)) if own == shipped => {
                " and its density is still the table's: give density too"
            }
            _ => "",
        };
        let text = format!(
            "{name} is reckoned with {:.2} % nitrogen as the job says, not the table's {:.2} %{density}",
            100.0 * product.nitrogen(),
            100.0 * entry.nitrogen
        );
        // A tenth more or less is no load of that name any more: the name or the share is wrong, and every rate moves with it.
        let far = (product.nitrogen() / entry.nitrogen - 1.0).abs() > 0.1;
        findings.push(if far {
            Finding::caution(codes::PRODUCT_GRADE, text)
        } else {
            Finding::note(codes::PRODUCT_GRADE, text)
        });
    }
    findings
}

/// What a tank or hopper holds of a product. \[kg\] A volume of a solid by its least bulk density, so that no fill is promised that does not fit.
pub(crate) fn capacity_kg(
    capacity: Capacity,
    product: &Product,
    facts: &ProductFacts,
) -> Option<f64> {
    match capacity {
        Capacity::Kg(kg) => Some(kg),
        Capacity::Litres(litres) => match product.kg_per_l() {
            Some(density) => Some(litres * density),
            None => facts
                .bulk_kg_m3
                .map(|(minimum, _)| litres / 1000.0 * minimum),
        },
    }
}

/// Fills of the machine for a field that gets `n_kg` kilograms of nitrogen; `None` without a product, a capacity, or anything to spread.
pub(crate) fn loads_of(
    product: Option<&Product>,
    facts: &ProductFacts,
    capacity: Option<Capacity>,
    n_kg: f64,
) -> Option<Loads> {
    let product = product?;
    let capacity = capacity_kg(capacity?, product, facts)?;
    // Kilograms, not kilograms a hectare: the nitrogen share is the same.
    loads(product.rate_for(NRate::kg_per_ha(n_kg)).get(), capacity)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(facts: &ProductFacts) -> Vec<(&'static str, String)> {
        let product = Product::new("UAN 32", 0.32, Some(1.3253)).unwrap();
        product_findings(&product, facts)
            .into_iter()
            .map(|finding| (finding.code.word(), finding.severity.to_string()))
            .collect()
    }

    #[test]
    fn salt_is_a_caution_near_its_temperature_only() {
        let at = |temperature_c| ProductFacts {
            shipped: Some("UAN 32".to_owned()),
            temperature_c,
            bulk_kg_m3: None,
        };
        for (celsius, severity) in [
            (None, "note"),
            (Some(15.0), "note"),
            (Some(0.5), "caution"),
            (Some(-2.0), "caution"),
            (Some(-5.0), "caution"),
        ] {
            assert!(
                codes(&at(celsius)).contains(&("product.salt_out", severity.to_owned())),
                "{celsius:?}"
            );
        }
        assert_eq!(
            codes(&ProductFacts::default()),
            [("product.own", "note".to_owned())]
        );
    }

    #[test]
    fn what_a_hopper_holds() {
        let urea = Product::new("urea", 0.46, None).unwrap();
        let facts = ProductFacts {
            bulk_kg_m3: Some((705.0, 769.0)),
            ..ProductFacts::default()
        };
        assert_eq!(
            capacity_kg(Capacity::Litres(4_000.0), &urea, &facts),
            Some(2_820.0)
        );
        assert_eq!(
            capacity_kg(Capacity::Litres(4_000.0), &urea, &ProductFacts::default()),
            None
        );
        let liquid = Product::new("UAN 28", 0.28, Some(1.25)).unwrap();
        assert_eq!(
            capacity_kg(Capacity::Litres(4_000.0), &liquid, &facts),
            Some(5_000.0)
        );
        assert_eq!(
            capacity_kg(Capacity::Kg(3_000.0), &liquid, &facts),
            Some(3_000.0)
        );
    }
}
