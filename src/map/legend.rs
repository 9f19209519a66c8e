//! Legends of a prescription's maps, made once so that styles, page, report and pictures agree.

use crate::map::palette::Legend;
use crate::map::prescription::Prescription;
use crate::map::us_columns;
use crate::units::{NRate, half_up_to_hundredth};

/// What zones get, in the number and unit of the column `product_rate` (without a product: nitrogen as its column for people has it).
pub(crate) fn zones(prescription: &Prescription) -> Legend {
    match &prescription.product {
        Some(product) => {
            let rates = prescription
                .zones
                .iter()
                .map(|zone| half_up_to_hundredth(prescription.shown(zone.n)));
            Legend::new(
                format!("Rate of {}", product.name()),
                prescription.rate_label(),
                rates,
            )
        }
        None => of_nitrogen(
            prescription,
            "Nitrogen",
            prescription.zones.iter().map(|zone| zone.n),
        ),
    }
}

/// Rates of nitrogen as their column for people has them: in lb N/ac where the map is in US units.
fn of_nitrogen(
    prescription: &Prescription,
    title: &str,
    rates: impl Iterator<Item = NRate>,
) -> Legend {
    if prescription.unit.is_us() {
        Legend::new(title, "lb N/ac", rates.map(us_columns::pounds))
    } else {
        Legend::new(title, "kg N/ha", rates.map(NRate::get))
    }
}

/// What zones get of nitrogen, whatever the units of the job: the raster's. \[kg N/ha\]
pub(crate) fn nitrogen(prescription: &Prescription) -> Legend {
    Legend::new(
        "Nitrogen",
        "kg N/ha",
        prescription.zones.iter().map(|zone| zone.n.get()),
    )
}

/// What cells ask for before zones are made, as its column for people has it.
pub(crate) fn cells(prescription: &Prescription) -> Legend {
    of_nitrogen(
        prescription,
        "Nitrogen of each cell",
        prescription.cells.iter().map(|cell| cell.n),
    )
}

/// What the machine's file holds: rates within the machine's limits, `rates` zone by zone in the job's unit.
pub(crate) fn machine(prescription: &Prescription, rates: impl IntoIterator<Item = f64>) -> Legend {
    let what = prescription
        .product
        .as_ref()
        .map_or("nitrogen", |product| product.name());
    Legend::new(
        format!("Rate of {what}"),
        prescription.rate_label(),
        rates.into_iter().map(half_up_to_hundredth),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;

    #[test]
    fn product_and_nitrogen_have_the_same_classes() {
        let p = fixture::prescription();
        let (product, nitrogen) = (zones(&p), nitrogen(&p));
        // 60 and 90 kg N/ha = 167.410714… and 251.116071… L/ha of UAN 28 at 1.28 kg/L.
        assert_eq!(
            product
                .classes
                .iter()
                .map(|class| class.label.as_str())
                .collect::<Vec<_>>(),
            ["0 L/ha", "167.41 L/ha", "251.12 L/ha"]
        );
        assert_eq!(
            nitrogen
                .classes
                .iter()
                .map(|class| class.label.as_str())
                .collect::<Vec<_>>(),
            ["0 kg N/ha", "60 kg N/ha", "90 kg N/ha"]
        );
        assert!(
            product
                .classes
                .iter()
                .zip(&nitrogen.classes)
                .all(|(a, b)| a.colour == b.colour)
        );
        assert_eq!(product.title, "Rate of UAN 28");
        assert_eq!(machine(&p, [12.125]).classes[0].label, "12.13 L/ha");
        let mut without = p;
        without.product = None;
        assert_eq!(zones(&without).unit, "kg N/ha");
    }
}
