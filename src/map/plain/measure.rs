//! What rates mean, and the way from one meaning to another.

use crate::map::imported::Quantity;
use crate::units::{Area, KG_HA_PER_LB_AC, L_HA_PER_GAL_AC, NRate, Product, RateUnit};

/// Quantity and unit of a map's rates, both known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Measure {
    /// What is metered; never unknown.
    pub quantity: Quantity,
    /// In what unit; for nitrogen kg/ha or lb/ac.
    pub unit: RateUnit,
}

/// Why rates cannot be turned from one meaning into another.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[non_exhaustive]
pub enum MeasureError {
    /// The nitrogen of the product is needed.
    #[error(
        "rates in {from} cannot be turned into {to}: the nitrogen of the product that the map holds is not known"
    )]
    Nitrogen {
        /// Unit of the map.
        from: &'static str,
        /// Unit asked for.
        to: &'static str,
    },
    /// The density of the product is needed.
    #[error("rates in {from} cannot be turned into {to}: the density of {product} is not known")]
    Density {
        /// Unit of the map.
        from: &'static str,
        /// Unit asked for.
        to: &'static str,
        /// The product.
        product: String,
    },
    /// A product is needed.
    #[error("rates of nitrogen in {from} cannot be turned into {to} without a product")]
    Product {
        /// Unit of the map.
        from: &'static str,
        /// Unit asked for.
        to: &'static str,
    },
}

/// All measures with their words.
const WORDS: [(&str, Measure); 6] = [
    (
        "kg N/ha",
        Measure {
            quantity: Quantity::Nitrogen,
            unit: RateUnit::KgPerHa,
        },
    ),
    (
        "lb N/ac",
        Measure {
            quantity: Quantity::Nitrogen,
            unit: RateUnit::LbPerAc,
        },
    ),
    (
        "kg/ha",
        Measure {
            quantity: Quantity::ProductMass,
            unit: RateUnit::KgPerHa,
        },
    ),
    (
        "lb/ac",
        Measure {
            quantity: Quantity::ProductMass,
            unit: RateUnit::LbPerAc,
        },
    ),
    (
        "L/ha",
        Measure {
            quantity: Quantity::ProductVolume,
            unit: RateUnit::LPerHa,
        },
    ),
    (
        "gal/ac",
        Measure {
            quantity: Quantity::ProductVolume,
            unit: RateUnit::GalPerAc,
        },
    ),
];

impl Measure {
    /// All words that [`Self::named`] knows.
    pub const ALL: [&'static str; 6] = ["kg N/ha", "lb N/ac", "kg/ha", "lb/ac", "L/ha", "gal/ac"];

    /// Nitrogen in kg/ha or lb/ac, product in any unit.
    pub const fn of(nitrogen: bool, unit: RateUnit) -> Self {
        match (nitrogen, unit) {
            (true, unit) => Self {
                quantity: Quantity::Nitrogen,
                unit: if unit.is_us() {
                    RateUnit::LbPerAc
                } else {
                    RateUnit::KgPerHa
                },
            },
            (false, unit) => Self {
                quantity: if unit.is_volume() {
                    Quantity::ProductVolume
                } else {
                    Quantity::ProductMass
                },
                unit,
            },
        }
    }

    /// The measure of this word: `kg N/ha`, `L/ha`, …; letter case and blanks do not matter.
    pub fn named(word: &str) -> Option<Self> {
        let folded = |text: &str| {
            text.chars()
                .filter(|c| !c.is_whitespace())
                .flat_map(char::to_lowercase)
                .collect::<String>()
        };
        WORDS
            .iter()
            .find(|(name, _)| folded(name) == folded(word))
            .map(|(_, measure)| *measure)
    }

    /// Its word.
    pub fn label(self) -> &'static str {
        WORDS
            .iter()
            .find(|(_, measure)| *measure == self)
            .map_or(self.unit.label(), |(word, _)| word)
    }

    /// Unit of a total in it: `kg N`, `L`.
    pub const fn total_label(self) -> &'static str {
        match (self.quantity, self.unit.is_us()) {
            (Quantity::Nitrogen, false) => "kg N",
            (Quantity::Nitrogen, true) => "lb N",
            _ => self.unit.total_label(),
        }
    }

    /// Column name in a controller's shapefile.
    pub const fn column(self) -> &'static str {
        match (self.quantity, self.unit.is_us()) {
            (Quantity::Nitrogen, false) => "KG_N_HA",
            (Quantity::Nitrogen, true) => "LB_N_AC",
            _ => self.unit.column(),
        }
    }

    /// Unit of areas: ha or ac.
    pub const fn area_label(self) -> &'static str {
        if self.unit.is_us() { "ac" } else { "ha" }
    }
    /// An area in hectares or acres, as the unit counts.
    pub const fn areas_of(self, area_m2: f64) -> f64 {
        self.unit.area_of(Area::m2(area_m2))
    }

    /// A rate as nitrogen; `None` when the product's nitrogen or a density that is needed is not known.
    pub fn to_nitrogen(self, rate: f64, product: Option<&Product>) -> Option<NRate> {
        match self.quantity {
            Quantity::Nitrogen if self.unit.is_us() => Some(NRate::lb_per_ac(rate)),
            Quantity::Nitrogen => Some(NRate::kg_per_ha(rate)),
            _ => product
                .and_then(|product| Some(product.nitrogen_in(product.from_unit(rate, self.unit)?))),
        }
    }

    /// What a rate in this measure is multiplied by to stand in another.
    ///
    /// `holds` is the product that the map is in, `gets` the one it is to be in. Two names of one product: give it twice.
    ///
    /// # Errors
    /// [`MeasureError`] when nitrogen or density is needed and not known.
    pub fn factor(
        self,
        to: Self,
        holds: Option<&Product>,
        gets: Option<&Product>,
    ) -> Result<f64, MeasureError> {
        let (from_label, to_label) = (self.label(), to.label());
        let same_product = match (holds, gets) {
            (Some(a), Some(b)) => a.nitrogen() == b.nitrogen() && a.kg_per_l() == b.kg_per_l(),
            (None, None) => true,
            _ => false,
        };
        if self.quantity == to.quantity && (self.quantity == Quantity::Nitrogen || same_product) {
            return Ok(self.own_unit() / to.own_unit());
        }
        let density = |product: Option<&Product>| {
            let missing = || MeasureError::Density {
                from: from_label,
                to: to_label,
                product: product.map_or("the product", Product::name).to_owned(),
            };
            product.and_then(Product::kg_per_l).ok_or_else(missing)
        };
        // Everything in kilograms of the product held, or of nitrogen.
        let mut factor = self.own_unit();
        if self.quantity == Quantity::ProductVolume {
            factor *= density(holds)?;
        }
        let through_nitrogen = self.quantity == Quantity::Nitrogen
            || to.quantity == Quantity::Nitrogen
            || !same_product;
        if through_nitrogen && self.quantity != Quantity::Nitrogen {
            factor *= holds
                .ok_or(MeasureError::Nitrogen {
                    from: from_label,
                    to: to_label,
                })?
                .nitrogen();
        }
        if through_nitrogen && to.quantity != Quantity::Nitrogen {
            factor /= gets
                .ok_or(MeasureError::Product {
                    from: from_label,
                    to: to_label,
                })?
                .nitrogen();
        }
        if to.quantity == Quantity::ProductVolume {
            factor /= density(gets)?;
        }
        Ok(factor / to.own_unit())
    }

    /// Kilograms or litres per hectare in one of its unit.
    const fn own_unit(self) -> f64 {
        match self.unit {
            RateUnit::KgPerHa | RateUnit::LPerHa => 1.0,
            RateUnit::LbPerAc => KG_HA_PER_LB_AC,
            RateUnit::GalPerAc => L_HA_PER_GAL_AC,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn named(word: &str) -> Measure {
        Measure::named(word).unwrap()
    }

    #[test]
    fn words_lead_there_and_back() {
        for word in Measure::ALL {
            assert_eq!(named(word).label(), word);
        }
        assert_eq!(named(" KG n / HA ").column(), "KG_N_HA");
        assert_eq!(
            (
                Measure::of(true, RateUnit::GalPerAc).label(),
                Measure::of(false, RateUnit::GalPerAc).label()
            ),
            ("lb N/ac", "gal/ac")
        );
        assert!(Measure::named("kg").is_none());
    }

    #[test]
    fn factors_by_hand() {
        let (urea, solution) = (
            Product::new("urea", 0.46, None).unwrap(),
            Product::new("solution", 0.28, Some(1.28)).unwrap(),
        );
        let factor = |from: &str, to: &str, holds: Option<&Product>, gets: Option<&Product>| {
            named(from).factor(named(to), holds, gets)
        };
        // 120 kg N/ha as urea 46 % is 260.87 kg/ha, as a 28 % solution of 1.28 kg/L 334.82 L/ha: arithmetic.
        assert_relative_eq!(
            120.0 * factor("kg N/ha", "kg/ha", None, Some(&urea)).unwrap(),
            260.869_565,
            max_relative = 1e-8
        );
        assert_relative_eq!(
            120.0 * factor("kg N/ha", "L/ha", None, Some(&solution)).unwrap(),
            334.821_429,
            max_relative = 1e-8
        );
        // One pound an acre is 1.120851 kg/ha, one US gallon an acre 9.353956 L/ha (handbook figures 1.12 and 9.35).
        assert_relative_eq!(
            factor("lb N/ac", "kg N/ha", None, None).unwrap(),
            1.120_851_156,
            max_relative = 1e-9
        );
        assert_relative_eq!(
            factor("gal/ac", "L/ha", None, None).unwrap(),
            9.353_956_228,
            max_relative = 1e-9
        );
        assert_relative_eq!(
            factor("L/ha", "kg/ha", Some(&solution), Some(&solution)).unwrap(),
            1.28,
            max_relative = 1e-12
        );
        // The same nitrogen in another product.
        assert_relative_eq!(
            334.821_429 * factor("L/ha", "kg/ha", Some(&solution), Some(&urea)).unwrap(),
            260.869_565,
            max_relative = 1e-8
        );
        assert_relative_eq!(
            factor("L/ha", "kg N/ha", Some(&solution), Some(&solution)).unwrap(),
            0.358_4,
            max_relative = 1e-12
        );
    }

    #[test]
    fn what_is_not_known_is_not_guessed() {
        let urea = Product::new("urea", 0.46, None).unwrap();
        let error = |from: &str, to: &str, holds: Option<&Product>, gets: Option<&Product>| {
            named(from)
                .factor(named(to), holds, gets)
                .unwrap_err()
                .to_string()
        };
        assert!(error("kg N/ha", "kg/ha", None, None).contains("without a product"));
        assert!(
            error("kg/ha", "kg N/ha", None, None)
                .contains("nitrogen of the product that the map holds")
        );
        assert!(
            error("kg/ha", "kg/ha", None, Some(&urea))
                .contains("nitrogen of the product that the map holds")
        );
        assert!(error("kg/ha", "L/ha", Some(&urea), Some(&urea)).contains("density of urea"));
        assert!(error("kg/ha", "L/ha", None, None).contains("density of the product"));
        assert_eq!(named("kg/ha").to_nitrogen(100.0, None), None);
    }
}
