//! What reaches the machine: zone rates held to what it can hold, and the rates that a terminal falls back to.
//!
//! Every number here is what a machine file shows: product in the job's unit, or nitrogen itself without a product (see [`Prescription::shown`]).

use crate::finding::{Checked, Finding, codes};
use crate::map::prescription::{Fallbacks, Prescription};
use crate::units::{Area, NRate, ProductRate, half_up_to_hundredth};

/// Liquids whose greatest rate is more than this many times the least ask for more than one nozzle gives: flow goes with the square root of pressure.
pub const LIQUID_SPAN: f64 = 2.0;

/// Why no machine rate can be stated.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MachineError {
    /// A volume is asked of a product whose density is not known.
    #[error(
        "rates are asked for in {unit}, but the density of {product} is not known; give product.density, or a unit of mass in output.unit"
    )]
    NoDensity {
        /// The unit asked for.
        unit: &'static str,
        /// The product.
        product: String,
    },
    /// A rate is negative or not a number.
    #[error("the rate of {what} is {value} {unit}; a rate must be a number of 0 or more")]
    Rate {
        /// `zone 7`, `on start`.
        what: String,
        /// The number.
        value: f64,
        /// Its unit.
        unit: &'static str,
    },
}

/// What the machine's own limits did to a rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Held {
    /// Nothing.
    No,
    /// Below the least rate and nearer to 0: nothing is applied.
    ToZero,
    /// Below the least rate and not nearer to 0: the least rate.
    ToMinimum,
    /// Above the greatest rate: the greatest rate.
    ToMaximum,
}

/// The rate of one zone as the machine gets it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ZoneRate {
    /// Number of the zone.
    pub zone: u32,
    /// The rate in the unit of the machine file, within the machine's limits, not rounded.
    pub shown: f64,
    /// What the limits did to it.
    pub held: Held,
}

impl ZoneRate {
    /// The rate as exported: rounded half up to 0.01, once.
    pub fn exported(&self) -> f64 {
        half_up_to_hundredth(self.shown)
    }
}

/// How much one rule changed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Changed {
    /// Zones that it changed.
    pub zones: u32,
    /// Their area.
    pub area: Area,
    /// What it added to the total; below 0 when it took away. \[unit of the total: kg, L, lb, gal\]
    pub amount: f64,
}

impl Changed {
    fn add(&mut self, area: Area, amount: f64) {
        self.zones += 1;
        self.area = self.area + area;
        self.amount += amount;
    }
}

/// Everything that machine files and the card say about rates, in the unit of the machine file.
#[derive(Clone, Debug, PartialEq)]
pub struct MachineRates {
    /// One a zone, in the order of [`Prescription::zones`].
    pub zones: Vec<ZoneRate>,
    /// On start. Not rounded.
    pub on_start: f64,
    /// When position is lost. Not rounded.
    pub position_lost: f64,
    /// Outside the field. Not rounded.
    pub outside: f64,
    /// The machine's least rate, if any.
    pub minimum: Option<f64>,
    /// The machine's greatest rate, if any.
    pub maximum: Option<f64>,
    /// Zones set to 0 because the least rate was further away.
    pub to_zero: Changed,
    /// Zones raised to the least rate.
    pub to_minimum: Changed,
    /// Zones lowered to the greatest rate.
    pub to_maximum: Changed,
    /// Area of all zones.
    pub area: Area,
    /// Total over the field. \[kg, L, lb, gal; of nitrogen without a product\]
    pub total: f64,
}

impl MachineRates {
    /// A rate held to what the machine can hold: below the least, the nearer of 0 and least (the least on a tie); above the greatest, the greatest.
    pub fn hold(&self, rate: f64) -> (f64, Held) {
        hold(rate, self.minimum, self.maximum)
    }

    /// Least, area mean and greatest rate over the field; zeros count. All 0 when there is no zone.
    pub fn minimum_mean_maximum(&self, prescription: &Prescription) -> (f64, f64, f64) {
        let minimum = self
            .zones
            .iter()
            .map(|zone| zone.shown)
            .reduce(f64::min)
            .unwrap_or(0.0);
        let maximum = self.zones.iter().map(|zone| zone.shown).fold(0.0, f64::max);
        let area = prescription.unit.area_of(self.area);
        (
            minimum,
            if area > 0.0 { self.total / area } else { 0.0 },
            maximum,
        )
    }
}

/// The rates that a terminal falls back to when the job says nothing: on start the field rate, outside nothing, and with position lost the field rate, but nothing as
/// soon as any ground is `kept_clear`, an exclusion or a hole of the boundary, since a machine that does not know where it is cannot keep off it.
pub const fn default_fallbacks(field_rate: NRate, kept_clear: bool) -> Fallbacks {
    Fallbacks {
        on_start: field_rate,
        position_lost: if kept_clear { NRate::ZERO } else { field_rate },
        outside: NRate::ZERO,
    }
}

/// Rates of zones and fallbacks as the machine gets them, and what its limits changed.
///
/// # Findings
/// `machine.product` (caution) without a product; `machine.minimum` and `machine.maximum` (cautions) when a limit changed a zone, with zones, area and amount;
/// `machine.pressure` (caution) for a liquid whose rates above 0 span more than 2 : 1; `machine.position_lost` (caution) when a rate would run on near
/// ground that is kept clear.
///
/// # Errors
/// [`MachineError::NoDensity`] when the unit is a volume and the product has no density; [`MachineError::Rate`] for a rate that is negative or not a number.
pub fn machine_rates(prescription: &Prescription) -> Result<Checked<MachineRates>, MachineError> {
    let unit = prescription.unit;
    if let Some(product) = &prescription.product
        && unit.is_volume()
        && product.kg_per_l().is_none()
    {
        return Err(MachineError::NoDensity {
            unit: unit.label(),
            product: product.name().to_owned(),
        });
    }
    let limit = |rate: Option<ProductRate>| prescription.product.as_ref()?.in_unit(rate?, unit);
    let (minimum, maximum) = (
        limit(prescription.machine.minimum),
        limit(prescription.machine.maximum),
    );
    let requirement = |what: String, n: NRate| {
        let value = prescription.shown(n);
        if value.is_finite() && value >= 0.0 {
            Ok(value)
        } else {
            Err(MachineError::Rate {
                what,
                value,
                unit: prescription.rate_label(),
            })
        }
    };
    let fallback = |what: &str, n: NRate| {
        requirement(what.to_owned(), n).map(|rate| hold(rate, minimum, maximum).0)
    };

    let mut rates = MachineRates {
        zones: Vec::with_capacity(prescription.zones.len()),
        on_start: fallback("on start", prescription.fallbacks.on_start)?,
        position_lost: fallback("position lost", prescription.fallbacks.position_lost)?,
        outside: fallback("outside the field", prescription.fallbacks.outside)?,
        minimum,
        maximum,
        to_zero: Changed::default(),
        to_minimum: Changed::default(),
        to_maximum: Changed::default(),
        area: Area::ZERO,
        total: 0.0,
    };
    for zone in &prescription.zones {
        let rate = requirement(format!("zone {}", zone.zone), zone.n)?;
        let (shown, held) = rates.hold(rate);
        let amount = (shown - rate) * unit.area_of(zone.area);
        match held {
            Held::No => {}
            Held::ToZero => rates.to_zero.add(zone.area, amount),
            Held::ToMinimum => rates.to_minimum.add(zone.area, amount),
            Held::ToMaximum => rates.to_maximum.add(zone.area, amount),
        }
        rates.area = rates.area + zone.area;
        rates.total += shown * unit.area_of(zone.area);
        rates.zones.push(ZoneRate {
            zone: zone.zone,
            shown,
            held,
        });
    }
    let findings = findings(prescription, &rates);
    Ok(Checked::new(rates, findings))
}

fn hold(rate: f64, minimum: Option<f64>, maximum: Option<f64>) -> (f64, Held) {
    if let Some(minimum) = minimum
        && rate > 0.0
        && rate < minimum
    {
        return if rate < minimum - rate {
            (0.0, Held::ToZero)
        } else {
            (minimum, Held::ToMinimum)
        };
    }
    match maximum {
        Some(maximum) if rate > maximum => (maximum, Held::ToMaximum),
        _ => (rate, Held::No),
    }
}

fn findings(prescription: &Prescription, rates: &MachineRates) -> Vec<Finding> {
    let mut found = Vec::new();
    let (label, total_label) = (prescription.rate_label(), prescription.unit.total_label());
    let area = |area: Area| {
        if prescription.unit.is_us() {
            format!("{:.2} ac", area.as_ac())
        } else {
            format!("{:.2} ha", area.as_ha())
        }
    };
    let zones = |count: u32| {
        if count == 1 {
            "1 zone".to_owned()
        } else {
            format!("{count} zones")
        }
    };

    if prescription.product.is_none() {
        let limits =
            if prescription.machine.minimum.is_some() || prescription.machine.maximum.is_some() {
                "; the machine's least and greatest product rate were not applied"
            } else {
                ""
            };
        found.push(Finding::caution(
            codes::MACHINE_PRODUCT,
            format!("no product is given: machine files hold nitrogen in {label}, not what the machine meters{limits}; give [product] before spreading"),
        ));
    }
    if let Some(minimum) = rates.minimum
        && rates.to_zero.zones + rates.to_minimum.zones > 0
    {
        let (zero, raised) = (rates.to_zero, rates.to_minimum);
        found.push(Finding::caution(
            codes::MACHINE_LEAST,
            format!(
                "the machine holds {minimum:.2} {label} at least: {} below it ({}) get nothing ({:+.1} {total_label}), {} ({}) get the least rate ({:+.1} {total_label})",
                zones(zero.zones),
                area(zero.area),
                zero.amount,
                zones(raised.zones),
                area(raised.area),
                raised.amount,
            ),
        ));
    }
    if let Some(maximum) = rates.maximum
        && rates.to_maximum.zones > 0
    {
        let lowered = rates.to_maximum;
        found.push(Finding::caution(
            codes::MACHINE_GREATEST,
            format!(
                "the machine holds {maximum:.2} {label} at most: {} above it ({}) get the greatest rate ({:+.1} {total_label})",
                zones(lowered.zones),
                area(lowered.area),
                lowered.amount,
            ),
        ));
    }
    let spread = rates
        .zones
        .iter()
        .map(|zone| zone.shown)
        .filter(|rate| *rate > 0.0);
    let (low, high) = (
        spread.clone().fold(f64::INFINITY, f64::min),
        spread.fold(0.0, f64::max),
    );
    // A hair above 2 : 1 by rounding alone is no wider span than 2 : 1.
    if prescription
        .product
        .as_ref()
        .is_some_and(crate::units::Product::is_liquid)
        && high > low * LIQUID_SPAN * (1.0 + 1e-9)
    {
        found.push(Finding::caution(
            codes::MACHINE_PRESSURE,
            format!(
                "rates of the liquid span {low:.2} to {high:.2} {label}, {:.1} : 1; flow goes with the square root of pressure, so one set of nozzles covers about 2 : 1: check \
                 nozzles and pressure, or narrow rate.minimum and rate.maximum",
                high / low
            ),
        ));
    }
    if rates.position_lost > 0.0 && !prescription.kept_clear().0.is_empty() {
        found.push(Finding::caution(
            codes::MACHINE_POSITION_LOST,
            format!(
                "with position lost the machine runs on at {:.2} {label} although there are exclusions or holes in the field: it cannot keep off them; leave machine.position_lost out to get 0",
                rates.position_lost
            ),
        ));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::prescription::{CellState, MachineLimits, ZoneRecord};
    use crate::map::task_options::GridRates;
    use crate::space::cells::{CellFrame, CellGrid};
    use crate::space::crs::Crs;
    use crate::units::{Length, Product, RateUnit};
    use approx::assert_relative_eq;
    use geo::MultiPolygon;

    /// Zones of one hectare each with these nitrogen rates; nothing else that the rules look at.
    fn prescription(rates: &[f64], product: Option<Product>, unit: RateUnit) -> Prescription {
        let none = || MultiPolygon::new(Vec::new());
        let zones = rates.iter().zip(1..).map(|(n, zone)| ZoneRecord {
            zone,
            n: NRate::kg_per_ha(*n),
            n_low: None,
            n_high: None,
            product: None,
            area: Area::ha(1.0),
            index: None,
            cells: 1,
            state: CellState::Canopy,
            outline: none(),
            machine_outline: none(),
            machine_inside: None,
        });
        Prescription {
            map_id: "a1b2c3".to_owned(),
            field_name: "Test".to_owned(),
            client: None,
            farm: None,
            crop: "winter wheat".to_owned(),
            image_date: jiff::civil::date(2026, 4, 14),
            plane: Crs::utm(15.0, 48.0),
            product,
            unit,
            grid: CellGrid::new(CellFrame::new(0.0, 24.0, 24.0), Vec::new()),
            cells: Vec::new(),
            zones: zones.collect(),
            strips: Vec::new(),
            boundary: none(),
            field: none(),
            exclusions: none(),
            hard_edges: Vec::new(),
            field_rate: NRate::kg_per_ha(60.0),
            fallbacks: default_fallbacks(NRate::kg_per_ha(60.0), false),
            machine: MachineLimits {
                minimum: None,
                maximum: None,
                overrun: Length::m(12.0),
                working_width: Length::m(24.0),
                grid: GridRates::Zone,
            },
            total_n_kg: rates.iter().sum(),
            headings: vec![("the field".to_owned(), 30.0)],
            look_ahead: None,
        }
    }

    fn none_at_all() -> MultiPolygon<f64> {
        MultiPolygon::new(Vec::new())
    }

    fn solution() -> Option<Product> {
        Product::new("solution 28", 0.28, Some(1.28))
    }

    fn codes(checked: &Checked<MachineRates>) -> Vec<&'static str> {
        checked
            .findings
            .iter()
            .map(|finding| finding.code.word())
            .collect()
    }

    #[test]
    fn product_in_the_unit_of_the_job() {
        // 120 kg N/ha as urea of 46 % is 260.87 kg/ha; as a 28 % solution of 1.28 kg/L it is 334.82 L/ha (arithmetic; contents common practice, no source).
        let urea = machine_rates(&prescription(
            &[120.0],
            Product::new("urea", 0.46, None),
            RateUnit::KgPerHa,
        ))
        .unwrap();
        assert_eq!(urea.value.zones[0].exported(), 260.87);
        assert_relative_eq!(urea.value.total, 120.0 / 0.46, max_relative = 1e-12);
        let liquid = machine_rates(&prescription(&[120.0], solution(), RateUnit::LPerHa)).unwrap();
        assert_eq!(liquid.value.zones[0].exported(), 334.82);
        assert!(codes(&urea).is_empty() && codes(&liquid).is_empty());
    }

    #[test]
    fn below_the_least_the_nearer_of_nothing_and_least() {
        let mut field = prescription(
            &[0.0, 9.0, 10.0, 11.0, 20.0, 90.0],
            Product::new("half", 0.5, None),
            RateUnit::KgPerHa,
        );
        field.machine.minimum = Some(ProductRate::kg_per_ha(40.0));
        field.machine.maximum = Some(ProductRate::kg_per_ha(150.0));
        let checked = machine_rates(&field).unwrap();
        let shown: Vec<f64> = checked.value.zones.iter().map(|zone| zone.shown).collect();
        // Products 0, 18, 20, 22, 40, 180: below 20 is nearer to 0, the tie at 20 goes up, 0 and 40 stay, 180 is lowered.
        assert_eq!(shown, [0.0, 0.0, 40.0, 40.0, 40.0, 150.0]);
        assert_eq!(
            (checked.value.to_zero.zones, checked.value.to_zero.amount),
            (1, -18.0)
        );
        assert_eq!(
            (
                checked.value.to_minimum.zones,
                checked.value.to_minimum.amount
            ),
            (2, 38.0)
        );
        assert_eq!(
            (
                checked.value.to_maximum.zones,
                checked.value.to_maximum.amount
            ),
            (1, -30.0)
        );
        assert_eq!(checked.value.total, 270.0);
        assert_eq!(
            checked.value.minimum_mean_maximum(&field),
            (0.0, 45.0, 150.0)
        );
        assert_eq!(codes(&checked), ["machine.least", "machine.greatest"]);
        assert!(
            checked.findings[0]
                .message
                .contains("40.00 kg/ha at least: 1 zone below it (1.00 ha)"),
            "{}",
            checked.findings[0].message
        );
    }

    #[test]
    fn fallbacks_by_default() {
        let rate = NRate::kg_per_ha(60.0);
        assert_eq!(
            default_fallbacks(rate, false),
            Fallbacks {
                on_start: rate,
                position_lost: rate,
                outside: NRate::ZERO
            }
        );
        assert_eq!(
            default_fallbacks(rate, true),
            Fallbacks {
                on_start: rate,
                position_lost: NRate::ZERO,
                outside: NRate::ZERO
            }
        );
    }

    #[test]
    fn liquids_beyond_two_to_one_are_a_caution() {
        let code = |rates: &[f64], product, unit| {
            codes(&machine_rates(&prescription(rates, product, unit)).unwrap())
                .contains(&"machine.pressure")
        };
        assert!(
            !code(&[0.0, 30.0, 60.0], solution(), RateUnit::LPerHa),
            "zeros do not count, 2 : 1 is allowed"
        );
        assert!(code(&[30.0, 61.0], solution(), RateUnit::GalPerAc));
        assert!(
            !code(
                &[30.0, 90.0],
                Product::new("urea", 0.46, None),
                RateUnit::KgPerHa
            ),
            "solids have no nozzle"
        );
    }

    #[test]
    fn no_product_is_a_caution_and_shows_nitrogen() {
        let checked = machine_rates(&prescription(&[60.0], None, RateUnit::LbPerAc)).unwrap();
        assert_eq!(codes(&checked), ["machine.product"]);
        // 60 kg/ha is 53.53 lb/ac (NIST SP 811 factors).
        assert_eq!(checked.value.zones[0].exported(), 53.53);
    }

    #[test]
    fn running_on_beside_what_is_kept_clear_is_a_caution() {
        let mut field = prescription(&[60.0], solution(), RateUnit::LPerHa);
        let square = |x0: f64, y0: f64, side: f64| {
            let low = geo::coord! { x: x0, y: y0 };
            geo::Rect::new(low, low + geo::coord! { x: side, y: side }).to_polygon()
        };
        field.exclusions = MultiPolygon::new(vec![square(0.0, 0.0, 10.0)]);
        assert_eq!(
            codes(&machine_rates(&field).unwrap()),
            ["machine.position_lost"]
        );
        // A hole of the boundary is as much a reason.
        let hole = square(20.0, 20.0, 10.0).into_inner().0;
        field.exclusions = none_at_all();
        field.boundary = MultiPolygon::new(vec![geo::Polygon::new(
            square(0.0, 0.0, 100.0).into_inner().0,
            vec![hole],
        )]);
        assert_eq!(
            codes(&machine_rates(&field).unwrap()),
            ["machine.position_lost"]
        );
        field.fallbacks = default_fallbacks(field.field_rate, true);
        assert!(codes(&machine_rates(&field).unwrap()).is_empty());
    }

    #[test]
    fn volumes_need_a_density() {
        let error = machine_rates(&prescription(
            &[60.0],
            Product::new("urea", 0.46, None),
            RateUnit::LPerHa,
        ))
        .unwrap_err();
        assert!(
            error
                .to_string()
                .contains("the density of urea is not known"),
            "{error}"
        );
        let error =
            machine_rates(&prescription(&[f64::NAN], solution(), RateUnit::LPerHa)).unwrap_err();
        assert!(error.to_string().contains("zone 1"), "{error}");
    }
}
