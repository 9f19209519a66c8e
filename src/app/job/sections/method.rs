//! `[response]`: which method sets rates, and the parameters of every method but the yield response, whose own stand in [`super::crop`].

use crate::app::job::sections::crop::Curve;
use crate::app::job::sections::image::falls_with_canopy;
use crate::app::job::sections::rate::as_nitrogen;
use crate::app::job::sections::{crop, economic, share};
use crate::app::job::tables;
use crate::job::keys::Key;
use crate::job::problem::Problem;
use crate::job::reader::{Item, Section};
use crate::job::settings::{Crop, EconomicOptimum, Fitted, MethodSettings, Prices, Response};
use crate::job::{amount, keys};
use crate::science::crop::Certainty;
use crate::science::index::find_entry;
use crate::science::methods::about::About;
use crate::science::methods::chlorophyll::ChlorophyllRoot;
use crate::science::methods::class_table::{Class, ClassTable};
use crate::science::methods::linear_ramp::LinearRamp;
use crate::science::methods::quadratic::Quadratic;
use crate::science::methods::square_root::{BackOff, SquareRoot};
use crate::science::methods::visible::VisibleLine;
use crate::science::methods::{Method, ReadBy, about, visible};
use crate::units::{NRate, Product};

/// The method that the job names, the yield response without one. `None` when its name is not known.
pub(crate) fn chosen(section: &mut Section<'_>) -> Option<&'static About> {
    let words: Vec<(&str, &'static About)> = about::METHODS
        .iter()
        .map(|method| (method.name, method))
        .collect();
    let found = match section.take("method") {
        None => section
            .row("method")
            .and_then(Key::default_value)
            .and_then(|name| about::about(name.trim_matches('"'))),
        Some(entry) => {
            let found = section.choice_of(&entry, "method", &words);
            if found.is_none() {
                // Keys of a method that is not known cannot be judged.
                section.rest();
            }
            found
        }
    };
    if let Some(method) = found {
        section.set_method(method.name);
    }
    found
}

/// Whether a method works with a yield curve and growing days.
pub(crate) fn foretells_yield(method: Option<&About>) -> bool {
    method.is_some_and(|method| method.name == about::YIELD_RESPONSE)
}

/// `[response]` with its method. `curve` is that of the yield response, read before; `applied_before` is the job's nitrogen before sensing, `prices`
/// count only where the economic optimum is asked for.
pub(crate) fn response(
    section: &mut Section<'_>,
    chosen: Option<&'static About>,
    crop: Option<&Crop>,
    curve: Option<Curve>,
    product: Option<&Product>,
    applied_before: NRate,
    prices: Option<&Prices>,
) -> Option<Response> {
    let chosen = chosen?;
    let nitrogen_share = share::nitrogen_share(section);
    let maximum_ratio = crop::maximum_ratio(section);
    let applied = nitrogen(section, "applied_since_sensing", product).unwrap_or(NRate::ZERO);
    let owns = |key: &str| owns(key, chosen);
    let curve_spread = if owns("curve_spread") {
        section.number("curve_spread")
    } else {
        None
    };
    let wanted = owns("economic") && economic::wanted(section);
    let own = if chosen.name == about::FLAT {
        "rate"
    } else {
        "optimum"
    };
    let economic = if owns("economic") {
        economic::economic(section, wanted, own, prices)
    } else {
        None
    };
    let optimum = Optimum {
        wanted,
        found: economic.as_ref(),
    };
    let method = if foretells_yield(Some(chosen)) {
        crop::response(section, crop, curve).map(MethodSettings::YieldResponse)
    } else {
        other(section, chosen, crop, product, applied_before, optimum)
    };
    for key in keys::known_in("response") {
        let of = keys::methods_of(key);
        if !of.is_empty() && !of.contains(&chosen.name) && section.has(key) {
            section.take(key);
            section.refuse(
                key,
                Problem::OtherMethod {
                    method: chosen.name,
                    of,
                },
            );
        }
    }
    if let Some(method) = &method {
        share::needs_reference(section, nitrogen_share, method);
    }
    Some(Response {
        method: method?,
        nitrogen_share,
        maximum_ratio,
        applied_since_sensing: applied,
        curve_spread,
        economic,
    })
}

/// Whether a key of `[response]` is one of this method's own.
fn owns(key: &str, method: &About) -> bool {
    keys::methods_of(key).contains(&method.name)
}

/// A nitrogen amount of `[response]`, up to what any crop gets.
fn nitrogen(
    section: &mut Section<'_>,
    key: &'static str,
    product: Option<&Product>,
) -> Option<NRate> {
    let rate = section
        .amount(key, |text| amount::nitrogen(text, product, false))?
        .rate;
    if !section.is_within(key, &rate, as_nitrogen) {
        section.outside(key, format!("{:.1} kg N/ha", rate.get()));
        return None;
    }
    Some(rate)
}

fn other(
    section: &mut Section<'_>,
    chosen: &'static About,
    crop: Option<&Crop>,
    product: Option<&Product>,
    applied_before: NRate,
    economic: Optimum<'_>,
) -> Option<MethodSettings> {
    let region = section.text("region");
    let sensor = section.text("sensor");
    let source = section.text("source");
    let index = if owns("index", chosen) {
        section.text("index")
    } else {
        None
    };
    let index = index.map(|name| tables::index_name(&name));
    let mut own_numbers = None;
    let method = match chosen.name {
        about::SQUARE_ROOT => square_root(section, product, applied_before, economic),
        about::QUADRATIC => quadratic(section, &mut own_numbers),
        about::CHLOROPHYLL => Some(Method::Chlorophyll(ChlorophyllRoot::PUBLISHED)),
        about::VISIBLE => visible_line(section, product, &mut own_numbers),
        about::LINEAR_RAMP => linear_ramp(section, product),
        about::CLASS_TABLE => class_table(section, product),
        _ => {
            // The optimum is the season's; what the crop got before is no longer to be given.
            let rate = economic
                .found
                .map(|economic| (economic.optimum - applied_before).max(NRate::ZERO))
                .or_else(|| nitrogen(section, "rate", product));
            if !economic.wanted {
                section.require("rate");
            }
            rate.map(Method::Flat)
        }
    };
    if matches!(
        chosen.name,
        about::SQUARE_ROOT | about::LINEAR_RAMP | about::CLASS_TABLE
    ) {
        section.require("index");
    }
    // Numbers that were published for one crop are no numbers for another; the user's own are the user's.
    if let (Some(made_for), Some(crop), None) = (chosen.crop, crop, &own_numbers)
        && !crop.name.eq_ignore_ascii_case(made_for)
    {
        section.refuse(
            "method",
            Problem::MethodCrop {
                method: chosen.name,
                made_for,
                crop: crop.name.clone(),
            },
        );
    }
    let method = method?;
    let source = own_numbers
        .clone()
        .or(source)
        .unwrap_or_else(|| format!("{} ({})", chosen.source, chosen.certainty.label()));
    let from_memory = chosen.certainty == Certainty::FromMemory && own_numbers.is_none();
    Some(MethodSettings::Other {
        method,
        fitted: Fitted {
            index,
            region,
            sensor,
            source,
            from_memory,
        },
    })
}

/// The economic optimum. When it is wanted and cannot be had, that is the fault, and no rate is missing on top.
#[derive(Clone, Copy)]
struct Optimum<'a> {
    wanted: bool,
    found: Option<&'a EconomicOptimum>,
}

/// Turns a method's own refusal into a fault of a key.
fn checked(section: &Section<'_>, key: &str, method: Method) -> Option<Method> {
    match method.check() {
        Ok(()) => Some(method),
        Err(error) => {
            section.refuse(
                key,
                Problem::Method {
                    reason: error.to_string(),
                },
            );
            None
        }
    }
}

fn square_root(
    section: &mut Section<'_>,
    product: Option<&Product>,
    applied_before: NRate,
    economic: Optimum<'_>,
) -> Option<Method> {
    let optimum = economic
        .found
        .map(|economic| economic.optimum)
        .or_else(|| nitrogen(section, "optimum", product));
    if !economic.wanted {
        section.require("optimum");
    }
    let credits = nitrogen(section, "credits", product).unwrap_or(NRate::ZERO);
    let extra = nitrogen(section, "extra", product).unwrap_or(NRate::ZERO);
    let zone_scalar = section.number_or("zone_scalar");
    let delta = section.number("delta_si");
    section.require("delta_si");
    let dead_band = section.number_or("dead_band");
    let back_off = section.take("back_off").and_then(|entry| {
        let mut table = section.sub(&entry, "back_off")?;
        let steepness = table.number("steepness");
        let below = table.number("below");
        table.require("steepness");
        table.require("below");
        table.finish();
        steepness
            .zip(below)
            .map(|(steepness, below)| BackOff { steepness, below })
    });
    let root = SquareRoot {
        optimum: optimum?,
        applied_before,
        credits,
        extra,
        zone_scalar,
        delta: delta?,
        dead_band,
        back_off,
    };
    checked(
        section,
        if dead_band >= root.delta {
            "dead_band"
        } else {
            "optimum"
        },
        Method::SquareRoot(root),
    )
}

fn quadratic(section: &mut Section<'_>, own: &mut Option<String>) -> Option<Method> {
    let dead_band = section.number_or("dead_band");
    let mut curve = Quadratic::published(dead_band);
    if let Some(entry) = section.take("meter_curve") {
        let mut table = section.sub(&entry, "meter_curve")?;
        let intercept = table.number("intercept");
        let linear = table.number("linear");
        let quadratic = table.number("quadratic");
        let source = table.text("source");
        table.require("intercept");
        table.require("linear");
        table.require("quadratic");
        table.require("source");
        table.finish();
        curve = Quadratic {
            intercept: intercept?,
            linear: linear?,
            quadratic: quadratic?,
            ..curve
        };
        *own = Some(source?);
    }
    checked(section, "meter_curve", Method::Quadratic(curve))
}

fn visible_line(
    section: &mut Section<'_>,
    product: Option<&Product>,
    own: &mut Option<String>,
) -> Option<Method> {
    if section.has("line") {
        for key in ["light", "stages"] {
            if section.has(key) {
                section.take(key);
                section.refuse(
                    key,
                    Problem::Together {
                        keys: vec!["response.line", "response.light and response.stages"],
                    },
                );
            }
        }
        let entry = section.take("line")?;
        let mut table = section.sub(&entry, "line")?;
        let slope = nitrogen(&mut table, "slope", product);
        let less = nitrogen(&mut table, "less", product);
        let source = table.text("source");
        table.require("slope");
        table.require("less");
        table.require("source");
        table.finish();
        let line = VisibleLine {
            slope: slope?,
            less: less?,
        };
        *own = Some(source?);
        return checked(section, "line", Method::Visible(line));
    }
    let light = section.choice(
        "light",
        &[("green", "green"), ("amber", "amber"), ("red", "red")],
    );
    let stages = section.choice("stages", &[("V6-V7", "V6-V7"), ("V8-V10", "V8-V10")]);
    section.require("light");
    section.require("stages");
    visible::published(light?, stages?).map(|line| Method::Visible(line.line()))
}

/// What a ramp or a table is read by.
fn by(section: &mut Section<'_>) -> Option<ReadBy> {
    let by = section.choice(
        "by",
        &[
            ("index", ReadBy::Index),
            ("sufficiency", ReadBy::Sufficiency),
        ],
    );
    section.require("by");
    by
}

fn linear_ramp(section: &mut Section<'_>, product: Option<&Product>) -> Option<Method> {
    let by = by(section);
    let (low, high) = (section.number("low"), section.number("high"));
    let (at_low, at_high) = (
        nitrogen(section, "at_low", product),
        nitrogen(section, "at_high", product),
    );
    section.require("low");
    section.require("high");
    section.require("at_low");
    section.require("at_high");
    let ramp = LinearRamp {
        by: by?,
        low: low?,
        high: high?,
        at_low: at_low?,
        at_high: at_high?,
    };
    checked(section, "low", Method::LinearRamp(ramp))
}

fn class_table(section: &mut Section<'_>, product: Option<&Product>) -> Option<Method> {
    let by = by(section);
    section.require("classes");
    let rows = section.tables("classes");
    let mut classes = Vec::new();
    let mut whole = !rows.is_empty();
    for mut row in rows {
        let below = row.number("below");
        let faulty = row.given("below") && below.is_none();
        let rate = nitrogen(&mut row, "rate", product);
        row.require("rate");
        let back_off = row.boolean_or("back_off");
        row.finish();
        match rate {
            Some(rate) if !faulty => classes.push(Class {
                below,
                rate,
                back_off,
            }),
            _ => whole = false,
        }
    }
    let table = ClassTable { by: by?, classes };
    if !whole {
        return None;
    }
    checked(section, "classes", Method::ClassTable(table))
}

/// Refuses an index that falls as canopy grows, or that is no ratio of near infrared to visible light, where the visible line is to be read.
pub(crate) fn visible_index(section: &Section<'_>, index: &str, light: Option<&str>) {
    let named = find_entry(index);
    let simple_ratio =
        named.is_some_and(|entry| entry.name == "SR") && light.is_none_or(|light| light == "red");
    if (named.is_some() && !simple_ratio) || (named.is_none() && falls_with_canopy(index)) {
        section.refuse(
            "index",
            Problem::VisibleIndex {
                index: index.to_owned(),
                light: light.unwrap_or("red").to_owned(),
            },
        );
    }
}

/// The light of `response.light`, looked at without consuming it.
pub(crate) fn light(section: &Section<'_>) -> Option<&'static str> {
    match section.peek("light") {
        Some(Item::Text(text)) => ["green", "amber", "red"]
            .into_iter()
            .find(|light| text.trim().eq_ignore_ascii_case(light)),
        _ => None,
    }
}
