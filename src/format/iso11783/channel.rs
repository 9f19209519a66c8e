//! The one value of a task: which data dictionary entry it is, and how rates become its integers.
//!
//! # Source
//! Data dictionary of ISO 11783-11 (export of 2019): 0001 setpoint volume per area, 0.01 mm³/m² a unit; 0006 setpoint mass per area, 1 mg/m² a unit; 01B0
//! setpoint nitrogen per area, 1 mg/m² a unit; 0048 and 004B quantities of a product by volume and mass.

use crate::format::iso11783::error::Iso11783Error;
use crate::map::imported::Quantity;
use crate::map::rate_map::Measure;
use crate::units::{KG_HA_PER_LB_AC, L_HA_PER_GAL_AC, RateUnit};

/// Milligrams per square metre in a kilogram per hectare.
const MG_M2_PER_KG_HA: f64 = 100.0;
/// Hundredths of a cubic millimetre per square metre in a litre per hectare.
const CENTI_MM3_M2_PER_L_HA: f64 = 10_000.0;

/// A task's value: data dictionary identifier, scale and unit on the screen.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Channel {
    /// Identifier in four hex digits.
    pub(super) ddi: &'static str,
    /// Identifier of the product's quantity.
    pub(super) quantity: &'static str,
    /// File units in one unit of the screen.
    per_shown: f64,
    /// Unit on the screen.
    pub(super) unit: &'static str,
}

impl Channel {
    /// The value for rates of this measure: mass or volume of product, as its unit says.
    ///
    /// Nitrogen is the setpoint of nitrogen (01B0), not of product mass: a machine that does not know it sends no setpoint, which is seen at once,
    /// while nitrogen sent as product would be applied at the wrong rate in silence.
    pub(super) fn new(measure: Measure) -> Self {
        let per_shown = match measure.unit {
            RateUnit::KgPerHa => MG_M2_PER_KG_HA,
            RateUnit::LbPerAc => MG_M2_PER_KG_HA * KG_HA_PER_LB_AC,
            RateUnit::LPerHa => CENTI_MM3_M2_PER_L_HA,
            RateUnit::GalPerAc => CENTI_MM3_M2_PER_L_HA * L_HA_PER_GAL_AC,
        };
        let (ddi, quantity) = match measure.quantity {
            Quantity::Nitrogen => ("01B0", "004B"),
            Quantity::ProductVolume => ("0001", "0048"),
            Quantity::ProductMass | Quantity::Unknown => ("0006", "004B"),
        };
        Self {
            ddi,
            quantity,
            per_shown,
            unit: measure.label(),
        }
    }

    /// What a terminal multiplies the file's integer by to show it.
    pub(super) fn scale(&self) -> f64 {
        1.0 / self.per_shown
    }

    /// The integer in the file: rounded half up, once.
    ///
    /// # Errors
    /// [`Iso11783Error::Rate`] for what is negative, not a number, or above 2 147 483 647.
    pub(super) fn integer(
        &self,
        shown: f64,
        what: impl FnOnce() -> String,
    ) -> Result<i32, Iso11783Error> {
        let value = libm::floor(shown * self.per_shown + 0.5);
        if shown >= 0.0 && value <= f64::from(i32::MAX) {
            Ok(value as i32)
        } else {
            Err(Iso11783Error::Rate {
                what: what(),
                value: shown,
                unit: self.unit,
                maximum: f64::from(i32::MAX) / self.per_shown,
            })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;
    use crate::map::prescription::Prescription;
    use crate::units::Product;

    fn of(p: &Prescription) -> Channel {
        Channel::new(Measure::of(p.product.is_none(), p.unit))
    }

    fn integer(product: Option<Product>, unit: RateUnit, n: f64) -> (&'static str, i32) {
        let mut field = fixture::prescription();
        (field.product, field.unit) = (product, unit);
        let channel = of(&field);
        (
            channel.ddi,
            channel
                .integer(field.shown(crate::units::NRate::kg_per_ha(n)), String::new)
                .unwrap(),
        )
    }

    #[test]
    fn product_by_mass_and_volume() {
        // Worked example of ISO 11783-10 (as retold): 15 000 mg/m² is 150 kg/ha. 120 kg N/ha as urea 46 % and as a 28 % solution of 1.28 kg/L: arithmetic.
        assert_eq!(
            integer(
                Product::new("all nitrogen", 1.0, None),
                RateUnit::KgPerHa,
                150.0
            ),
            ("0006", 15_000)
        );
        assert_eq!(
            integer(Product::new("urea", 0.46, None), RateUnit::KgPerHa, 120.0),
            ("0006", 26_087)
        );
        assert_eq!(
            integer(
                Product::new("solution", 0.28, Some(1.28)),
                RateUnit::LPerHa,
                120.0
            ),
            ("0001", 3_348_214)
        );
    }

    #[test]
    fn us_units_change_the_screen_not_the_file() {
        assert_eq!(
            integer(Product::new("urea", 0.46, None), RateUnit::LbPerAc, 120.0),
            ("0006", 26_087)
        );
        assert_eq!(
            integer(
                Product::new("solution", 0.28, Some(1.28)),
                RateUnit::GalPerAc,
                120.0
            ),
            ("0001", 3_348_214)
        );
        assert_eq!(integer(None, RateUnit::LbPerAc, 120.0), ("01B0", 12_000));
    }

    #[test]
    fn half_up_and_within_32_bits() {
        let channel = of(&fixture::prescription());
        assert_eq!(channel.integer(0.000_05, String::new).unwrap(), 1);
        assert_eq!(channel.integer(0.000_049, String::new).unwrap(), 0);
        let error = channel
            .integer(300_000.0, || "on start".to_owned())
            .unwrap_err()
            .to_string();
        assert!(
            error.contains("on start is 300000 L/ha; task data hold 0 to 214748 L/ha"),
            "{error}"
        );
        assert!(
            channel.integer(-1.0, String::new).is_err()
                && channel.integer(f64::NAN, String::new).is_err()
        );
    }
}
