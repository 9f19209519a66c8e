//! Numbers as people read them, in the units that the job chose.

use crate::job::settings::Settings;
use crate::map::prescription::Prescription;
use crate::units::{Area, KG_PER_LB, Length, M_PER_FT, NRate, Yield};

/// Writes quantities in the user's units.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shown<'a> {
    us: bool,
    lb_per_bu: Option<f64>,
    prescription: &'a Prescription,
}

impl<'a> Shown<'a> {
    /// The units of these settings.
    pub(super) const fn new(settings: &Settings, prescription: &'a Prescription) -> Self {
        Self {
            us: settings.output.us_units,
            lb_per_bu: settings.season.crop.lb_per_bu,
            prescription,
        }
    }
    /// Unit of a nitrogen rate.
    pub(super) const fn rate_unit(&self) -> &'static str {
        if self.us { "lb N/ac" } else { "kg N/ha" }
    }
    /// A nitrogen rate without its unit.
    pub(super) fn rate_number(&self, n: NRate) -> String {
        format!("{:.1}", self.rate_value(n))
    }
    /// A nitrogen rate as a number.
    pub(super) const fn rate_value(&self, n: NRate) -> f64 {
        if self.us { n.as_lb_per_ac() } else { n.get() }
    }
    /// A nitrogen rate.
    pub(super) fn rate(&self, n: NRate) -> String {
        format!("{} {}", self.rate_number(n), self.rate_unit())
    }
    /// A mass of nitrogen. `kg`: \[kg\]
    pub(super) fn mass(&self, kg: f64) -> String {
        if self.us {
            format!("{:.1} lb N", kg / KG_PER_LB)
        } else {
            format!("{kg:.1} kg N")
        }
    }
    /// A mass of nitrogen without its unit. `kg`: \[kg\]
    pub(super) fn mass_number(&self, kg: f64) -> String {
        format!("{:.1}", if self.us { kg / KG_PER_LB } else { kg })
    }
    /// Unit of a mass of nitrogen.
    pub(super) const fn mass_unit(&self) -> &'static str {
        if self.us { "lb N" } else { "kg N" }
    }
    /// Unit of an area.
    pub(super) const fn area_unit(&self) -> &'static str {
        if self.us { "ac" } else { "ha" }
    }
    /// An area as a number.
    pub(super) const fn area_value(&self, area: Area) -> f64 {
        if self.us { area.as_ac() } else { area.as_ha() }
    }
    /// An area without its unit.
    pub(super) fn area_number(&self, area: Area) -> String {
        format!("{:.2}", self.area_value(area))
    }
    /// An area.
    pub(super) fn area(&self, area: Area) -> String {
        format!("{} {}", self.area_number(area), self.area_unit())
    }
    /// Unit of a yield.
    pub(super) const fn yield_unit(&self) -> &'static str {
        if self.us && self.lb_per_bu.is_some() {
            "bu/ac"
        } else {
            "t/ha"
        }
    }
    /// A yield as a number.
    pub(super) fn yield_value(&self, grain: Yield) -> f64 {
        self.lb_per_bu
            .filter(|_| self.us)
            .map_or_else(|| grain.get() / 1000.0, |lb| grain.as_bu_per_ac(lb))
    }
    /// A yield without its unit.
    pub(super) fn yield_number(&self, grain: Yield) -> String {
        if self.yield_unit() == "bu/ac" {
            format!("{:.1}", self.yield_value(grain))
        } else {
            format!("{:.2}", self.yield_value(grain))
        }
    }
    /// A yield.
    pub(super) fn grain(&self, grain: Yield) -> String {
        format!("{} {}", self.yield_number(grain), self.yield_unit())
    }
    /// A length on the ground.
    pub(super) fn length(&self, length: Length) -> String {
        if self.us {
            format!("{:.0} ft", length.get() / M_PER_FT)
        } else {
            format!("{:.1} m", length.get())
        }
    }
    /// Unit of a length.
    pub(super) const fn length_unit(&self) -> &'static str {
        if self.us { "ft" } else { "m" }
    }
    /// A length as a number. `metres`: \[m\]
    pub(super) const fn length_value(&self, metres: f64) -> f64 {
        if self.us { metres / M_PER_FT } else { metres }
    }
    /// Unit of the number that a terminal shows.
    pub(super) const fn screen_unit(&self) -> &'static str {
        self.prescription.rate_label()
    }
    /// The number that a terminal shows, without its unit.
    pub(super) fn screen_number(value: f64) -> String {
        format!("{value:.2}")
    }
    /// The number that a terminal shows.
    pub(super) fn screen(&self, value: f64) -> String {
        format!("{} {}", Self::screen_number(value), self.screen_unit())
    }
    /// Unit of the total that goes into the tank or the hopper.
    pub(super) const fn total_unit(&self) -> &'static str {
        if self.prescription.product.is_some() {
            self.prescription.unit.total_label()
        } else {
            self.mass_unit()
        }
    }
}

/// A share in per cent.
pub(super) fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

/// An index or a ratio.
pub(super) fn ratio(value: f64) -> String {
    format!("{value:.3}")
}

/// Money with its sign.
pub(super) fn signed(value: f64, currency: &str) -> String {
    // No minus zero: nobody loses nothing.
    let rounded = libm::round(value);
    format!(
        "{:+.0} {currency}",
        if rounded == 0.0 { 0.0 } else { rounded }
    )
}
