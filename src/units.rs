//! Quantities of the trade as types, so that nitrogen is never added to product and acres never to hectares.
//!
//! Each type holds one inside unit, named at its definition; people read and write the unit they chose. Only the products that make sense are
//! written down: `NRate * Area -> NMass`. Anything else does not compile.
//!
//! # Source
//! Pound 0.453 592 37 kg, international acre 4046.856 422 4 m², US gallon 3.785 411 784 L, short ton 907.184 74 kg, foot 0.3048 m: international
//! yard and pound agreement of 1959 and NIST SP 811 (values from memory, exact by definition).

use std::fmt;
use std::ops::Mul;

/// Kilograms in an avoirdupois pound. \[kg/lb\] Exact by definition.
pub const KG_PER_LB: f64 = 0.453_592_37;
/// Square metres in an international acre. \[m²/ac\] Exact by definition.
pub const M2_PER_AC: f64 = 4_046.856_422_4;
/// Square metres in a hectare. \[m²/ha\]
pub const M2_PER_HA: f64 = 10_000.0;
/// Litres in a US gallon. \[L/gal\] Exact by definition.
pub const L_PER_GAL: f64 = 3.785_411_784;
/// Litres in an imperial gallon. \[L/imp gal\] Exact by definition.
pub const L_PER_IMP_GAL: f64 = 4.546_09;
/// Kilograms in a short (US) ton. \[kg\] Exact by definition.
pub const KG_PER_SHORT_TON: f64 = 907.184_74;
/// Metres in an international foot. \[m/ft\] Exact by definition.
pub const M_PER_FT: f64 = 0.304_8;
/// Metres per second in a mile per hour. \[(m/s)/mph\] Exact by definition.
pub const M_S_PER_MPH: f64 = 0.447_04;
/// Kilograms per hectare in a pound per acre. \[(kg/ha)/(lb/ac)\]
pub const KG_HA_PER_LB_AC: f64 = KG_PER_LB * M2_PER_HA / M2_PER_AC;
/// Litres per hectare in a US gallon per acre. \[(L/ha)/(gal/ac)\]
pub const L_HA_PER_GAL_AC: f64 = L_PER_GAL * M2_PER_HA / M2_PER_AC;

/// What a tank or hopper holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Capacity {
    /// By mass. \[kg\]
    Kg(f64),
    /// By volume. \[L\]
    Litres(f64),
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $make:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);
            #[doc = concat!("Built from a number in ", $unit, ", the inside unit.")]
            pub const fn $make(value: f64) -> Self {
                Self(value)
            }
            #[doc = concat!("The number in ", $unit, ", the inside unit.")]
            pub const fn get(self) -> f64 {
                self.0
            }
            /// The smaller of two.
            #[must_use]
            pub const fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }
            /// The larger of two.
            #[must_use]
            pub const fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }
            /// Whether the number is finite.
            pub const fn is_finite(self) -> bool {
                self.0.is_finite()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                if let Some(digits) = f.precision() {
                    write!(f, "{:.*} {}", digits, self.0, $unit)
                } else {
                    write!(f, "{} {}", self.0, $unit)
                }
            }
        }
    };
}

macro_rules! additive {
    ($name:ident) => {
        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl std::ops::Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
        impl std::iter::Sum for $name {
            fn sum<I: Iterator<Item = Self>>(items: I) -> Self {
                Self(items.map(|item| item.0).sum())
            }
        }
    };
}

quantity!(
    /// Nitrogen per area, as the element. Inside unit kg N/ha.
    NRate, kg_per_ha, "kg N/ha"
);
quantity!(
    /// Grain yield at market moisture. Inside unit kg/ha.
    Yield, kg_per_ha, "kg/ha"
);
quantity!(
    /// Area on the working plane. Inside unit m².
    Area, m2, "m2"
);
quantity!(
    /// Mass of nitrogen, as the element. Inside unit kg N.
    NMass, kg, "kg N"
);
quantity!(
    /// Fertiliser as bought, by mass per area. Inside unit kg/ha.
    ProductRate, kg_per_ha, "kg/ha"
);
quantity!(
    /// Length. Inside unit m.
    Length, m, "m"
);
quantity!(
    /// Speed. Inside unit m/s.
    Speed, m_per_s, "m/s"
);
quantity!(
    /// Time span. Inside unit s.
    Seconds, s, "s"
);
additive!(NRate);
additive!(Yield);
additive!(Area);
additive!(NMass);
additive!(ProductRate);
additive!(Length);

impl NRate {
    /// Built from pounds of nitrogen per acre.
    pub const fn lb_per_ac(value: f64) -> Self {
        Self(value * KG_HA_PER_LB_AC)
    }
    /// The number in pounds of nitrogen per acre.
    pub const fn as_lb_per_ac(self) -> f64 {
        self.0 / KG_HA_PER_LB_AC
    }
    /// Held to `low..=high`; `low` must not exceed `high`.
    #[must_use]
    pub const fn clamp(self, low: Self, high: Self) -> Self {
        Self(self.0.max(low.0).min(high.0))
    }
}

impl NRate {
    /// As people read it: `41.0 lb N/ac` or `46.0 kg N/ha`.
    pub fn text(self, us: bool) -> String {
        if us {
            format!("{:.1} lb N/ac", self.as_lb_per_ac())
        } else {
            format!("{:.1} kg N/ha", self.get())
        }
    }
}

impl Yield {
    /// As people read it: bushels where the crop has them, else pounds or tonnes.
    pub fn text(self, us: bool, lb_per_bu: Option<f64>) -> String {
        match (us, lb_per_bu) {
            (true, Some(lb)) => format!("{:.1} bu/ac", self.as_bu_per_ac(lb)),
            (true, None) => format!("{:.0} lb/ac", self.get() / KG_HA_PER_LB_AC),
            (false, _) => format!("{:.2} t/ha", self.get() / 1000.0),
        }
    }
    /// Built from bushels per acre of a grain that weighs `lb_per_bu` pounds a bushel.
    pub const fn bu_per_ac(value: f64, lb_per_bu: f64) -> Self {
        Self(value * lb_per_bu * KG_HA_PER_LB_AC)
    }
    /// The number in bushels per acre of a grain that weighs `lb_per_bu` pounds a bushel.
    pub const fn as_bu_per_ac(self, lb_per_bu: f64) -> f64 {
        self.0 / (lb_per_bu * KG_HA_PER_LB_AC)
    }
}

impl Area {
    /// Built from hectares.
    pub const fn ha(value: f64) -> Self {
        Self(value * M2_PER_HA)
    }
    /// The number in hectares.
    pub const fn as_ha(self) -> f64 {
        self.0 / M2_PER_HA
    }
    /// The number in international acres.
    pub const fn as_ac(self) -> f64 {
        self.0 / M2_PER_AC
    }
    /// As people read it: acres or hectares.
    pub fn text(self, us: bool) -> String {
        if us {
            format!("{:.2} ac", self.as_ac())
        } else {
            format!("{:.2} ha", self.as_ha())
        }
    }
    /// In both systems, where nobody knows who reads: hectares and acres, of patches square metres and square feet.
    pub fn both(self) -> String {
        if self.0 < SMALL_M2 {
            format!(
                "{:.1} m² ({:.0} sq ft)",
                self.0,
                self.0 / (M_PER_FT * M_PER_FT)
            )
        } else {
            format!("{} ({})", self.text(false), self.text(true))
        }
    }
}

impl Length {
    /// As people read it: feet or metres.
    pub fn text(self, us: bool) -> String {
        if us {
            let feet = self.0 / M_PER_FT;
            let digits = usize::from(feet < 10.0);
            format!("{feet:.digits$} ft")
        } else {
            format!("{:.1} m", self.0)
        }
    }
    /// In both systems, where nobody knows who reads.
    pub fn both(self) -> String {
        format!("{} ({})", self.text(false), self.text(true))
    }
}

/// Below this an area is a patch, and told in square metres. \[m²\]
const SMALL_M2: f64 = 500.0;

impl NMass {
    /// The number in pounds of nitrogen.
    pub const fn as_lb(self) -> f64 {
        self.0 / KG_PER_LB
    }
}

impl Mul<Area> for NRate {
    type Output = NMass;
    fn mul(self, area: Area) -> NMass {
        NMass(self.0 * area.as_ha())
    }
}

impl Mul<Seconds> for Speed {
    type Output = Length;
    fn mul(self, time: Seconds) -> Length {
        Length(self.0 * time.0)
    }
}

/// A share of something, in 0..=1.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Share(f64);

impl Share {
    /// None of it.
    pub const NONE: Self = Self(0.0);
    /// All of it.
    pub const ALL: Self = Self(1.0);

    /// Built from a number; `None` outside 0..=1 or when not a number.
    pub fn new(value: f64) -> Option<Self> {
        (0.0..=1.0).contains(&value).then_some(Self(value))
    }
    /// Built from a quotient of sums that may stray from 0..=1 by rounding only.
    #[must_use]
    pub fn held(value: f64) -> Self {
        Self(value.clamp(0.0, 1.0))
    }
    /// The number, 0..=1.
    pub const fn get(self) -> f64 {
        self.0
    }
}

/// What a product rate is written in. The column of a machine file is named by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RateUnit {
    /// Kilograms of product per hectare.
    KgPerHa,
    /// Litres of product per hectare.
    LPerHa,
    /// Pounds of product per acre.
    LbPerAc,
    /// US gallons of product per acre.
    GalPerAc,
}

impl RateUnit {
    /// As people write it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::KgPerHa => "kg/ha",
            Self::LPerHa => "L/ha",
            Self::LbPerAc => "lb/ac",
            Self::GalPerAc => "gal/ac",
        }
    }
    /// The unit of a total in it.
    pub const fn total_label(self) -> &'static str {
        match self {
            Self::KgPerHa => "kg",
            Self::LPerHa => "L",
            Self::LbPerAc => "lb",
            Self::GalPerAc => "gal",
        }
    }
    /// Column name in a machine's shapefile; 10 characters at most.
    pub const fn column(self) -> &'static str {
        match self {
            Self::KgPerHa => "KG_HA",
            Self::LPerHa => "L_HA",
            Self::LbPerAc => "LB_AC",
            Self::GalPerAc => "GAL_AC",
        }
    }
    /// Whether it measures volume.
    pub const fn is_volume(self) -> bool {
        matches!(self, Self::LPerHa | Self::GalPerAc)
    }
    /// Whether its area is the acre.
    pub const fn is_us(self) -> bool {
        matches!(self, Self::LbPerAc | Self::GalPerAc)
    }
    /// The area in this unit's own area measure: hectares or acres.
    pub const fn area_of(self, area: Area) -> f64 {
        if self.is_us() {
            area.as_ac()
        } else {
            area.as_ha()
        }
    }
}

/// Fertiliser as bought: what share of its mass is nitrogen and, for liquids, how heavy a litre is.
#[derive(Clone, Debug, PartialEq)]
pub struct Product {
    name: String,
    nitrogen: f64,
    kg_per_l: Option<f64>,
}

impl Product {
    /// A product whose nitrogen is `nitrogen` of its mass (0 < share ≤ 1) and whose litre weighs `kg_per_l`, if it is a liquid.
    ///
    /// `None` when the share or the density is not possible: a share outside 0 … 1, a density outside 0.3 … 3 kg/L.
    pub fn new(name: &str, nitrogen: f64, kg_per_l: Option<f64>) -> Option<Self> {
        let share = nitrogen > 0.0 && nitrogen <= 1.0;
        let density = kg_per_l.is_none_or(|d| (0.3..=3.0).contains(&d));
        (share && density).then(|| Self {
            name: name.to_owned(),
            nitrogen,
            kg_per_l,
        })
    }
    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }
    /// Share of its mass that is nitrogen. \[0..1\]
    pub const fn nitrogen(&self) -> f64 {
        self.nitrogen
    }
    /// Density of a liquid. \[kg/L\]
    pub const fn kg_per_l(&self) -> Option<f64> {
        self.kg_per_l
    }
    /// Whether it is spread as a liquid.
    pub const fn is_liquid(&self) -> bool {
        self.kg_per_l.is_some()
    }
    /// How much of it brings this much nitrogen.
    pub const fn rate_for(&self, nitrogen: NRate) -> ProductRate {
        ProductRate(nitrogen.0 / self.nitrogen)
    }
    /// How much nitrogen this much of it brings.
    pub const fn nitrogen_in(&self, rate: ProductRate) -> NRate {
        NRate(rate.0 * self.nitrogen)
    }
    /// The rate as a number in `unit`; `None` for a volume when the density is not known.
    pub fn in_unit(&self, rate: ProductRate, unit: RateUnit) -> Option<f64> {
        Some(match unit {
            RateUnit::KgPerHa => rate.0,
            RateUnit::LbPerAc => rate.0 / KG_HA_PER_LB_AC,
            RateUnit::LPerHa => rate.0 / self.kg_per_l?,
            RateUnit::GalPerAc => rate.0 / self.kg_per_l? / L_HA_PER_GAL_AC,
        })
    }
    /// A mass of it \[kg\] as a number in the total of `unit`; `None` for a volume when the density is not known.
    pub fn in_total(&self, kg: f64, unit: RateUnit) -> Option<f64> {
        Some(match unit {
            RateUnit::KgPerHa => kg,
            RateUnit::LbPerAc => kg / KG_PER_LB,
            RateUnit::LPerHa => kg / self.kg_per_l?,
            RateUnit::GalPerAc => kg / self.kg_per_l? / L_PER_GAL,
        })
    }
    /// The rate that a number in `unit` means; `None` for a volume when the density is not known.
    pub fn from_unit(&self, value: f64, unit: RateUnit) -> Option<ProductRate> {
        Some(ProductRate(match unit {
            RateUnit::KgPerHa => value,
            RateUnit::LbPerAc => value * KG_HA_PER_LB_AC,
            RateUnit::LPerHa => value * self.kg_per_l?,
            RateUnit::GalPerAc => value * L_HA_PER_GAL_AC * self.kg_per_l?,
        }))
    }
}

/// Rounds half up to hundredths: what a product rate becomes on export, once.
#[must_use]
pub fn half_up_to_hundredth(value: f64) -> f64 {
    libm::floor(value * 100.0 + 0.5) / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn factors_of_the_trade() {
        // Handbook factors (agronomy handbooks print 1.12 and 9.35); the digits follow from the definitions above.
        assert_relative_eq!(
            NRate::lb_per_ac(1.0).get(),
            1.120_851_156,
            max_relative = 1e-9
        );
        assert_relative_eq!(L_HA_PER_GAL_AC, 9.353_956_228, max_relative = 1e-9);
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
        assert_relative_eq!(
            NRate::lb_per_ac(80.0).as_lb_per_ac(),
            80.0,
            max_relative = 1e-15
        );
    }

    #[test]
    fn nitrogen_times_area_is_mass() {
        assert_eq!((NRate::kg_per_ha(40.0) * Area::ha(2.5)).get(), 100.0);
    }

    #[test]
    fn product_carries_its_nitrogen() {
        let urea = Product::new("urea", 0.46, None).unwrap();
        assert_relative_eq!(
            urea.rate_for(NRate::kg_per_ha(100.0)).get(),
            217.391_304,
            max_relative = 1e-8
        );
        assert_eq!(
            urea.in_unit(ProductRate::kg_per_ha(10.0), RateUnit::LPerHa),
            None
        );
        let uan = Product::new("UAN 28", 0.28, Some(1.28)).unwrap();
        let rate = uan.rate_for(NRate::kg_per_ha(120.0));
        assert_relative_eq!(
            uan.in_unit(rate, RateUnit::LPerHa).unwrap(),
            334.821_428,
            max_relative = 1e-8
        );
        assert!(
            Product::new("water", 0.0, None).is_none()
                && Product::new("lead", 0.1, Some(11.0)).is_none()
        );
    }

    #[test]
    fn rounding_is_half_up() {
        assert_eq!(half_up_to_hundredth(0.125), 0.13);
        assert_eq!(half_up_to_hundredth(2.0), 2.0);
    }
}
