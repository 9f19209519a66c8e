//! Amounts with unit and substance: `"9.5 t/ha"`, `"120 kg N/ha"`, `"11 gal/ac"`, `"0.60 USD/lb N"`.

use crate::job::problem::{Problem, rate_told, short};
use crate::job::suggest::nearest;
use crate::job::unit;
use crate::job::unit::{Measure, Unit, UnitFault};
use crate::key::Requirement;
use crate::units::{Area, Capacity, Length, NRate, Product, ProductRate, Seconds, Speed, Yield};

/// A number and its unit.
#[derive(Clone, Debug, PartialEq)]
struct Amount {
    number: f64,
    written: String,
    unit: Unit,
}

impl Amount {
    fn value(&self) -> f64 {
        self.number * self.unit.factor
    }
}

/// Splits a leading number off: `(number, as written, rest)`.
fn leading_number(text: &str, requirement: Requirement) -> Result<(f64, String, &str), Problem> {
    let trimmed = text.trim();
    let none = || Problem::NotANumber {
        text: trimmed.to_owned(),
        requirement,
    };
    let unsigned = trimmed
        .strip_prefix(['-', '+', '−'])
        .unwrap_or(trimmed)
        .trim_start();
    let negative = trimmed.starts_with(['-', '−']);
    let lower = unsigned.to_lowercase();
    if ["nan", "inf"]
        .iter()
        .any(|word| lower.starts_with(word) && !lower.starts_with("inch"))
    {
        return Err(Problem::NotFinite {
            text: trimmed.to_owned(),
        });
    }
    let digits = unsigned
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ',' || c == '_'))
        .unwrap_or(unsigned.len());
    let (mut number, mut rest) = unsigned.split_at(digits);
    // An exponent belongs to the number only when digits follow: `1e3 m`.
    if let Some(tail) = rest.strip_prefix(['e', 'E']) {
        let sign = usize::from(tail.starts_with(['-', '+']));
        let exponent = tail
            .get(sign..)
            .unwrap_or("")
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(tail.len() - sign);
        if exponent > 0 {
            (number, rest) = unsigned.split_at(digits + 1 + sign + exponent);
        }
    }
    if number.is_empty() {
        return Err(none());
    }
    if number.contains(',') {
        return Err(Problem::DecimalComma {
            text: trimmed.to_owned(),
            point: trimmed.replace(',', "."),
        });
    }
    let value: f64 = number.replace('_', "").parse().map_err(|_| none())?;
    if !value.is_finite() {
        return Err(Problem::NotFinite {
            text: trimmed.to_owned(),
        });
    }
    if rest.trim_start().starts_with(|c: char| c.is_ascii_digit()) {
        return Err(none());
    }
    let value = if negative && value != 0.0 {
        -value
    } else {
        value
    };
    Ok((value, number.to_owned(), rest.trim()))
}

/// Turns unit text into a unit, or says what is wrong with it.
fn read_unit(
    text: &str,
    unit: &str,
    number: &str,
    requirement: Requirement,
) -> Result<Unit, Problem> {
    unit::read(unit).map_err(|fault| match fault {
        UnitFault::Ton => Problem::Ton {
            text: text.trim().to_owned(),
            number: number.to_owned(),
        },
        UnitFault::Unknown => {
            let near = nearest(unit, requirement.units().iter().copied())
                .map(str::to_owned)
                .or_else(|| unit::put_right(unit, requirement.units()));
            Problem::UnknownUnit {
                unit: unit.to_owned(),
                near,
                requirement,
            }
        }
    })
}

fn amount(text: &str, requirement: Requirement) -> Result<Amount, Problem> {
    let (number, written, rest) = leading_number(text, requirement)?;
    if rest.is_empty() {
        return Err(Problem::BareNumber {
            number: written,
            requirement,
        });
    }
    let unit = read_unit(text, rest, &written, requirement)?;
    if number < 0.0 && requirement != Requirement::Temperature {
        return Err(Problem::Negative {
            text: text.trim().to_owned(),
        });
    }
    Ok(Amount {
        number,
        written,
        unit,
    })
}

/// A bound or a default of a row in the units of whoever reads the job; what is no rate of nitrogen and no length stays as it is.
pub(crate) fn in_units(text: &str, us: bool) -> String {
    if !us {
        return text.to_owned();
    }
    let rate = || Some(rate_told(nitrogen(text, None, false).ok()?.rate, true));
    let length = || Some(length(text).ok()?.text(true));
    rate().or_else(length).unwrap_or_else(|| text.to_owned())
}

/// An example of a row likewise: what somebody would type, in round numbers.
pub(crate) fn example_in_units(example: &str, us: bool) -> String {
    const EXAMPLES: [(&str, &str); 5] = [
        ("kg N/ha", "lb N/ac"),
        ("\"24 m\"", "\"80 ft\""),
        ("\"6.7 t/ha\"", "\"100 bu/ac\""),
        ("\"100 L/ha\"", "\"11 gal/ac\""),
        ("12 km/h", "8 mph"),
    ];
    if !us {
        return example.to_owned();
    }
    EXAMPLES
        .iter()
        .fold(example.to_owned(), |text, (metric, us)| {
            text.replace(metric, us)
        })
}

/// Whether a text is an amount, or a price, in US units: `80 ft`, `120 lb N/ac`, `6 USD/bu`.
pub(crate) fn is_us(text: &str) -> bool {
    let Ok((_, _, rest)) = leading_number(text, Requirement::Length) else {
        return false;
    };
    // A thermometer in Fahrenheit says nothing of the units of land.
    let is_us = |unit: &str| {
        unit::read(unit).is_ok_and(|unit| unit.us && unit.measure != Measure::Fahrenheit)
    };
    let is_currency = |word: &str| word.len() == 3 && word.chars().all(|c| c.is_ascii_uppercase());
    is_us(rest)
        || rest
            .split_once('/')
            .is_some_and(|(above, per)| is_currency(above.trim()) && is_us(per))
}

fn of_measure(text: &str, requirement: Requirement, measure: Measure) -> Result<f64, Problem> {
    let amount = amount(text, requirement)?;
    if amount.unit.measure == measure {
        Ok(amount.value())
    } else {
        Err(wrong(text, amount.unit, requirement))
    }
}

fn wrong(text: &str, unit: Unit, requirement: Requirement) -> Problem {
    Problem::WrongQuantity {
        text: text.trim().to_owned(),
        got: unit.measure.name(),
        requirement,
    }
}

/// A value that must be above zero.
pub(crate) fn above_zero<T>(
    read: Result<T, Problem>,
    text: &str,
    what: &'static str,
    number: impl FnOnce(&T) -> f64,
) -> Result<T, Problem> {
    let value = read?;
    if number(&value) > 0.0 {
        Ok(value)
    } else {
        Err(Problem::Zero {
            text: text.trim().to_owned(),
            what,
        })
    }
}

/// A length: m, km, cm, mm, ft, in, yd.
///
/// # Errors
/// No number, no unit, an unknown unit, a unit of something else, a decimal comma, a negative or not finite number; so for every reader here.
pub fn length(text: &str) -> Result<Length, Problem> {
    of_measure(text, Requirement::Length, Measure::Length).map(Length::m)
}

/// An area: m2, ha, ac, ft2.
///
/// # Errors
/// As [`length`].
pub fn area(text: &str) -> Result<Area, Problem> {
    of_measure(text, Requirement::Area, Measure::Area).map(Area::m2)
}

/// A speed: km/h, m/s, mph.
///
/// # Errors
/// As [`length`].
pub fn speed(text: &str) -> Result<Speed, Problem> {
    of_measure(text, Requirement::Speed, Measure::Speed).map(Speed::m_per_s)
}

/// A time span: s, min.
///
/// # Errors
/// As [`length`].
pub fn time(text: &str) -> Result<Seconds, Problem> {
    of_measure(text, Requirement::Time, Measure::Time).map(Seconds::s)
}

/// Density of a liquid [kg/L]: kg/L, lb/gal.
///
/// # Errors
/// As [`length`].
pub fn density(text: &str) -> Result<f64, Problem> {
    of_measure(text, Requirement::Density, Measure::Density)
}

/// Loose density of a solid [kg/m³]: kg/m3, lb/ft3.
///
/// # Errors
/// As [`length`].
pub fn bulk_density(text: &str) -> Result<f64, Problem> {
    of_measure(text, Requirement::BulkDensity, Measure::Density).map(|kg_per_l| kg_per_l * 1000.0)
}

/// What a tank or hopper holds, by mass or by volume: t, kg, L, m3, gal, lb, short ton.
///
/// # Errors
/// As [`length`].
pub fn capacity(text: &str) -> Result<Capacity, Problem> {
    let amount = amount(text, Requirement::Capacity)?;
    match amount.unit.measure {
        Measure::Mass => Ok(Capacity::Kg(amount.value())),
        Measure::Volume => Ok(Capacity::Litres(amount.value())),
        _ => Err(wrong(text, amount.unit, Requirement::Capacity)),
    }
}

/// Pounds in a bushel: lb, kg.
///
/// # Errors
/// As [`length`].
pub fn bushel(text: &str) -> Result<f64, Problem> {
    let amount = amount(text, Requirement::BushelMass)?;
    match (amount.unit.measure, amount.unit.above) {
        (Measure::Mass, "lb") => Ok(amount.number),
        (Measure::Mass, _) => Ok(amount.value() / crate::units::KG_PER_LB),
        _ => Err(wrong(text, amount.unit, Requirement::BushelMass)),
    }
}

/// A temperature as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Temperature {
    /// Degrees Celsius.
    Celsius(f64),
    /// Degrees Fahrenheit.
    Fahrenheit(f64),
}

impl Temperature {
    /// In degrees Celsius. \[°C\]
    pub fn as_celsius(self) -> f64 {
        match self {
            Self::Celsius(degrees) => degrees,
            Self::Fahrenheit(degrees) => (degrees - 32.0) / 1.8,
        }
    }
}

/// A temperature: °C, °F.
///
/// # Errors
/// As [`length`], but below zero is possible.
pub fn temperature(text: &str) -> Result<Temperature, Problem> {
    let amount = amount(text, Requirement::Temperature)?;
    match amount.unit.measure {
        Measure::Celsius => Ok(Temperature::Celsius(amount.number)),
        Measure::Fahrenheit => Ok(Temperature::Fahrenheit(amount.number)),
        _ => Err(wrong(text, amount.unit, Requirement::Temperature)),
    }
}

/// A grain yield: t/ha, kg/ha, dt/ha, lb/ac, and bu/ac when the crop's bushel is known.
///
/// # Errors
/// As [`length`]; bushels of a crop without a bushel mass.
pub fn grain_yield(text: &str, crop: &str, lb_per_bu: Option<f64>) -> Result<Yield, Problem> {
    let amount = amount(text, Requirement::Yield)?;
    match (amount.unit.measure, lb_per_bu) {
        (Measure::MassRate, _) => Ok(Yield::kg_per_ha(amount.value())),
        (Measure::BushelRate, Some(lb)) => Ok(Yield::bu_per_ac(amount.value(), lb)),
        (Measure::BushelRate, None) => Err(Problem::NoBushel {
            crop: crop.to_owned(),
        }),
        _ => Err(wrong(text, amount.unit, Requirement::Yield)),
    }
}

/// Nitrogen per area as it was written.
#[derive(Clone, Debug, PartialEq)]
pub struct NitrogenAmount {
    /// The nitrogen.
    pub rate: NRate,
    /// Whether it was written in US units.
    pub us: bool,
    /// Both readings, when it was written as product: `300 kg/ha of urea = 138 kg N/ha`.
    pub echo: Option<String>,
}

/// Nitrogen per area. A volume of product is taken when `product` names it and `product_allowed` says so; a mass without N may be either, and is refused with both readings.
///
/// # Errors
/// As [`length`]; mass or volume per area where nitrogen is due, with both readings.
pub fn nitrogen(
    text: &str,
    product: Option<&Product>,
    product_allowed: bool,
) -> Result<NitrogenAmount, Problem> {
    let amount = amount(text, Requirement::Nitrogen)?;
    let us = amount.unit.us;
    let written = || {
        format!(
            "{} {}/{}",
            amount.written, amount.unit.above, amount.unit.below
        )
    };
    match amount.unit.measure {
        Measure::NitrogenRate => Ok(NitrogenAmount {
            rate: NRate::kg_per_ha(amount.value()),
            us,
            echo: None,
        }),
        Measure::MassRate | Measure::VolumeRate => {
            let mass_rate = |product: &Product| match amount.unit.measure {
                Measure::MassRate => Some(amount.value()),
                _ => product.kg_per_l().map(|density| amount.value() * density),
            };
            // A mass per area without N may be either: 120 lb/ac of nitrogen, or of product. A volume can only be product.
            let is_plain = amount.unit.measure == Measure::VolumeRate;
            match product.filter(|_| product_allowed && is_plain) {
                Some(product) => {
                    let kg = mass_rate(product).ok_or_else(|| Problem::NoDensity {
                        amount: written(),
                        product: product.name().to_owned(),
                    })?;
                    let rate = product.nitrogen_in(ProductRate::kg_per_ha(kg));
                    let shown = if us {
                        format!("{} lb N/ac", short(rate.as_lb_per_ac()))
                    } else {
                        format!("{} kg N/ha", short(rate.get()))
                    };
                    Ok(NitrogenAmount {
                        rate,
                        us,
                        echo: Some(format!("{} of {} = {shown}", written(), product.name())),
                    })
                }
                None if amount.unit.measure == Measure::VolumeRate => Err(match product {
                    Some(_) => wrong(text, amount.unit, Requirement::Nitrogen),
                    None => Problem::NoProduct { amount: written() },
                }),
                None => {
                    // Urea serves as the example where no product is named: 46 % nitrogen, common practice.
                    let urea = Product::new("urea", 0.46, None);
                    let example = product.or(urea.as_ref());
                    Err(match example {
                        Some(product) => Problem::nitrogen_or_product(
                            &amount.written,
                            amount.unit.above,
                            amount.unit.below,
                            amount.value(),
                            product,
                            us,
                        ),
                        None => wrong(text, amount.unit, Requirement::Nitrogen),
                    })
                }
            }
        }
        _ => Err(wrong(text, amount.unit, Requirement::Nitrogen)),
    }
}

/// By how much nitrogen per area changes: as [`nitrogen`], product allowed, with a sign before it.
///
/// # Errors
/// As [`nitrogen`].
pub fn nitrogen_change(text: &str, product: Option<&Product>) -> Result<NitrogenAmount, Problem> {
    let trimmed = text.trim_start();
    match trimmed.strip_prefix(['-', '−']) {
        Some(less) => nitrogen(less, product, true).map(|amount| NitrogenAmount {
            rate: NRate::ZERO - amount.rate,
            ..amount
        }),
        None => nitrogen(trimmed.strip_prefix('+').unwrap_or(trimmed), product, true),
    }
}

/// Product per area: kg/ha, L/ha, lb/ac, gal/ac, imp gal/ac.
///
/// # Errors
/// As [`length`]; no product, a volume without a density, nitrogen where product is due.
pub fn product_rate(text: &str, product: Option<&Product>) -> Result<ProductRate, Problem> {
    let amount = amount(text, Requirement::Product)?;
    let written = || text.trim().to_owned();
    let Some(product) = product else {
        return Err(match amount.unit.measure {
            Measure::NitrogenRate => Problem::ProductDue {
                amount: written(),
                reading: String::new(),
            },
            Measure::MassRate | Measure::VolumeRate => Problem::NoProduct { amount: written() },
            _ => wrong(text, amount.unit, Requirement::Product),
        });
    };
    match amount.unit.measure {
        Measure::MassRate => Ok(ProductRate::kg_per_ha(amount.value())),
        Measure::VolumeRate => match product.kg_per_l() {
            Some(density) => Ok(ProductRate::kg_per_ha(amount.value() * density)),
            None => Err(Problem::NoDensity {
                amount: written(),
                product: product.name().to_owned(),
            }),
        },
        Measure::NitrogenRate => {
            let rate = product.rate_for(NRate::kg_per_ha(amount.value()));
            Err(Problem::ProductDue {
                amount: written(),
                reading: format!(
                    " (it would be {} kg/ha of {})",
                    short(rate.get()),
                    product.name()
                ),
            })
        }
        _ => Err(wrong(text, amount.unit, Requirement::Product)),
    }
}

/// A price per something.
#[derive(Clone, Debug, PartialEq)]
pub struct Price {
    /// As written.
    pub currency: String,
    /// Money per `per`.
    number: f64,
    per: Unit,
}

/// Splits `6 USD/bu`, `USD 6/bu` or `$6/bu`.
fn price(text: &str, requirement: Requirement, currency: Option<&str>) -> Result<Price, Problem> {
    let trimmed = text.trim().replace(" per ", "/");
    let lead = trimmed
        .find(|c: char| c.is_ascii_digit() || c == '-' || c == '−' || c == '.')
        .unwrap_or(0);
    let (before, tail) = trimmed.split_at(lead);
    let (number, written, rest) =
        leading_number(tail, requirement).map_err(|problem| match problem {
            Problem::NotANumber { requirement, .. } => Problem::NotANumber {
                text: text.trim().to_owned(),
                requirement,
            },
            other => other,
        })?;
    if rest.is_empty() && before.trim().is_empty() {
        return Err(Problem::BareNumber {
            number: written,
            requirement,
        });
    }
    let (after, unit) = rest.split_once('/').unwrap_or((rest, ""));
    let named = [before.trim(), after.trim()].join(" ").trim().to_owned();
    let full = || text.trim().to_owned();
    if named.is_empty() {
        return Err(Problem::NoCurrency {
            text: full(),
            requirement,
        });
    }
    match currency {
        Some(currency) if !named.eq_ignore_ascii_case(currency) => {
            return Err(if is_currency(&named) {
                Problem::Currency {
                    text: full(),
                    got: named,
                    requirement: currency.to_owned(),
                }
            } else {
                Problem::NoCurrency {
                    text: full(),
                    requirement,
                }
            });
        }
        None if !is_currency(&named) => {
            return Err(Problem::NoCurrency {
                text: full(),
                requirement,
            });
        }
        _ => {}
    }
    if number < 0.0 {
        return Err(Problem::Negative { text: full() });
    }
    if unit.trim().is_empty() {
        return Err(Problem::UnknownUnit {
            unit: named,
            near: None,
            requirement,
        });
    }
    let per = unit::read(unit).map_err(|fault| match fault {
        UnitFault::Ton => Problem::Ton {
            text: full(),
            number: "1".to_owned(),
        },
        UnitFault::Unknown => {
            let typed = format!("USD/{}", unit.trim());
            Problem::UnknownUnit {
                unit: unit.trim().to_owned(),
                near: nearest(&typed, requirement.units().iter().copied())
                    .map(|near| near.trim_start_matches("USD/").to_owned()),
                requirement,
            }
        }
    })?;
    Ok(Price {
        currency: named,
        number,
        per,
    })
}

/// Three letters, or a sign.
pub(crate) fn is_currency(text: &str) -> bool {
    let letters = text.chars().filter(|c| c.is_alphabetic()).count();
    let count = text.chars().count();
    let digits = text
        .chars()
        .any(|c| c.is_ascii_digit() || c.is_whitespace() || c == '/');
    !digits && count > 0 && count <= 3 && (letters == 3 || letters < count)
}

/// Price of grain. \[currency/kg\]
///
/// # Errors
/// As [`length`]; no or another currency; bushels of a crop without a bushel mass.
pub fn grain_price(
    text: &str,
    currency: Option<&str>,
    crop: &str,
    lb_per_bu: Option<f64>,
) -> Result<(f64, String), Problem> {
    let price = price(text, Requirement::GrainPrice, currency)?;
    let kg = match (price.per.measure, lb_per_bu) {
        (Measure::Mass, _) => price.per.factor,
        (Measure::Bushels, Some(lb)) => lb * crate::units::KG_PER_LB,
        (Measure::Bushels, None) => {
            return Err(Problem::NoBushel {
                crop: crop.to_owned(),
            });
        }
        _ => return Err(wrong_price(text, price.per, Requirement::GrainPrice)),
    };
    Ok((price.number / kg, price.currency))
}

/// Price of nitrogen. \[currency/kg N\]
///
/// # Errors
/// As [`length`]; no or another currency; no substance.
pub fn nitrogen_price(text: &str, currency: Option<&str>) -> Result<(f64, String), Problem> {
    let price = price(text, Requirement::NitrogenPrice, currency)?;
    match price.per.measure {
        Measure::NitrogenMass => Ok((price.number / price.per.factor, price.currency)),
        _ => Err(wrong_price(text, price.per, Requirement::NitrogenPrice)),
    }
}

/// Price of the nitrogen in a product. \[currency/kg N\]
///
/// # Errors
/// As [`length`]; no or another currency; a volume without a density.
pub fn product_price(
    text: &str,
    currency: Option<&str>,
    product: &Product,
) -> Result<(f64, String), Problem> {
    let price = price(text, Requirement::ProductPrice, currency)?;
    let kg = match (price.per.measure, product.kg_per_l()) {
        (Measure::Mass, _) => price.per.factor,
        (Measure::Volume, Some(density)) => price.per.factor * density,
        (Measure::Volume, None) => {
            return Err(Problem::NoDensity {
                amount: text.trim().to_owned(),
                product: product.name().to_owned(),
            });
        }
        _ => return Err(wrong_price(text, price.per, Requirement::ProductPrice)),
    };
    Ok((price.number / kg / product.nitrogen(), price.currency))
}

/// Price of a pass. \[currency/ha\]
///
/// # Errors
/// As [`length`]; no or another currency.
pub fn area_price(text: &str, currency: Option<&str>) -> Result<(f64, String), Problem> {
    let price = price(text, Requirement::AreaPrice, currency)?;
    match price.per.measure {
        Measure::Area => Ok((
            price.number / (price.per.factor / crate::units::M2_PER_HA),
            price.currency,
        )),
        _ => Err(wrong_price(text, price.per, Requirement::AreaPrice)),
    }
}

fn wrong_price(text: &str, per: Unit, requirement: Requirement) -> Problem {
    let got = match per.measure {
        Measure::Mass => "a price by mass with no substance",
        Measure::NitrogenMass => "a price of nitrogen",
        Measure::Area => "a price per area",
        Measure::Volume => "a price by volume",
        Measure::Bushels => "a price of grain",
        _ => "a price of something else",
    };
    Problem::WrongQuantity {
        text: text.trim().to_owned(),
        got,
        requirement,
    }
}
