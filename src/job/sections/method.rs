//! `[response]`: which method sets rates, and the way of each method's own keys to it.

use crate::job::keys::RESPONSE;
use crate::job::keys::response::{Measured, Seen};
use crate::job::problem::{Problem, rate_told};
use crate::job::reader::{Item, Section};
use crate::job::sections::economic::economic_record;
use crate::job::sections::image::falls_with_canopy;
use crate::job::sections::rate::as_nitrogen;
use crate::job::sections::yields::{Curve, yields_record};
use crate::job::sections::{economic, share, yields};
use crate::job::settings::{
    Crop, EconomicOptimum, MaximumRatio, NitrogenShare, Prices, YieldSettings,
};
use crate::job::{amount, keys, tables};
use crate::key::{Key, Record, Typed, Word};
use crate::science::certainty::Certainty;
use crate::science::index::find_entry;
use crate::science::methods::given::{Economic, Given, Read};
use crate::science::methods::shared::SHARED;
use crate::science::methods::visible::{KEYS as VISIBLE, Light};
use crate::science::methods::{About, METHODS, Method, MethodError, about, yield_response};
use crate::units::{NRate, Product};
use serde_json::json;

/// `[response]`: the method that sets rates, and what holds for every method.
#[derive(Clone, Debug)]
pub struct Response {
    /// The method with its own parameters.
    pub method: MethodSettings,
    /// How much of a cell's index deficit counts as nitrogen.
    pub nitrogen_share: NitrogenShare,
    /// The greatest response index that counts.
    pub maximum_ratio: MaximumRatio,
    /// Nitrogen that went on after sensing.
    pub applied_since_sensing: NRate,
    /// Standard deviation of the method's curve, as a share, when stated.
    pub curve_spread: Option<f64>,
    /// The economic optimum, when the job asks for it.
    pub economic: Option<EconomicOptimum>,
}

/// The method of a job.
#[derive(Clone, Debug)]
pub enum MethodSettings {
    /// Yield in reach without and with nitrogen; it still wants growing days and reference.
    YieldResponse(YieldSettings),
    /// Any other: its parameters are complete.
    Other {
        /// The method.
        method: Method,
        /// What its numbers were made for.
        fitted: Fitted,
    },
}

/// What a method's numbers were made for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fitted {
    /// Canopy index, where the numbers hold for one.
    pub index: Option<String>,
    /// Region, when it is stated.
    pub region: Option<String>,
    /// Kind of sensor, when it is stated.
    pub sensor: Option<String>,
    /// Source and certainty.
    pub source: String,
    /// Whether the formula is from memory and was not compared with its paper.
    pub from_memory: bool,
}

impl Response {
    /// The method's name in jobs and records.
    pub fn name(&self) -> &'static str {
        match &self.method {
            MethodSettings::YieldResponse(_) => yield_response::ABOUT.name,
            MethodSettings::Other { method, .. } => method.name(),
        }
    }
    /// Settings of the yield-response method; `None` with any other: it foretells no yield.
    pub const fn yields(&self) -> Option<&YieldSettings> {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Some(yields),
            MethodSettings::Other { .. } => None,
        }
    }
    /// The index that the method's numbers hold for.
    pub fn index(&self) -> Option<&str> {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Some(&yields.curve.index),
            MethodSettings::Other { fitted, .. } => fitted.index.as_deref(),
        }
    }
    /// What the method's numbers were made for.
    pub fn fitted(&self) -> Fitted {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Fitted {
                index: Some(yields.curve.index.clone()),
                region: yields.curve.region.clone(),
                sensor: yields.curve.sensor.clone(),
                source: yields.curve.source.clone(),
                from_memory: false,
            },
            MethodSettings::Other { fitted, .. } => fitted.clone(),
        }
    }
    /// The method, once growing days are known.
    pub fn method(&self, growing_days: f64) -> Method {
        match &self.method {
            MethodSettings::YieldResponse(yields) => Method::new(yield_response::YieldResponse {
                curve: yield_response::YieldCurve {
                    a: yields.curve.a,
                    b: yields.curve.b,
                },
                growing_days,
                maximum_yield: yields.maximum_yield,
                ratio_adjustment: yields.ratio_adjustment,
                dead_band: yields.dead_band,
                grain_nitrogen: yields.grain_nitrogen,
                use_efficiency: yields.use_efficiency,
            }),
            MethodSettings::Other { method, .. } => method.clone(),
        }
    }
}

/// The method that the job names, the yield response without one. `None` when its name is not known.
pub(crate) fn chosen(section: &mut Section<'_>) -> Option<&'static About> {
    let names: Vec<&str> = METHODS.iter().map(|method| method.name).collect();
    let found = match section.take(&RESPONSE.method) {
        None => about(&section.default_of(&RESPONSE.method)),
        Some(entry) => {
            let at = section.place_of(&entry, &RESPONSE.method, &names);
            if at.is_none() {
                // Keys of a method that is not known cannot be judged.
                section.rest();
            }
            at.and_then(|at| METHODS.get(at)).copied()
        }
    };
    if let Some(method) = found {
        section.set_method(method.name);
    }
    found
}

/// Whether a method works with a yield curve and growing days.
pub(crate) fn predicts_yield(method: Option<&About>) -> bool {
    method.is_some_and(About::predicts_yield)
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
    let maximum_ratio = yields::maximum_ratio(section);
    let applied =
        nitrogen(section, &RESPONSE.applied_since_sensing, product).unwrap_or(NRate::ZERO);
    let curve_spread = if chosen.owns(&SHARED.curve_spread) {
        section.find(&SHARED.curve_spread)
    } else {
        None
    };
    let mut optimum = Economic::NotAsked;
    let mut economic = None;
    if chosen.owns(&SHARED.economic) {
        let requirement = section.get(&SHARED.economic);
        // The key that the optimum takes the place of is the method's own first one.
        let own = chosen.keys.first()?;
        economic = economic::economic(section, requirement, own, prices);
        if requirement {
            optimum = economic
                .as_ref()
                .map_or(Economic::Missing, |found| Economic::Optimum(found.optimum));
        }
    }
    let method = match chosen.read {
        None => yields::response(section, crop, curve).map(MethodSettings::YieldResponse),
        Some(read) => {
            let mut parameters = Parameters {
                section,
                product,
                applied_before,
                optimum,
            };
            other(&mut parameters, chosen, read, crop)
        }
    };
    for row in keys::table(RESPONSE.method.section).map_or(&[][..], |table| table.keys) {
        if !row.of.is_empty() && !chosen.owns(row) && section.has(row) {
            section.take(row);
            section.refuse(
                row,
                Problem::OtherMethod {
                    method: chosen.name,
                    of: keys::methods_of(row.name),
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

/// A nitrogen amount, up to what any crop gets.
pub(crate) fn nitrogen(
    section: &mut Section<'_>,
    key: &Typed<NRate>,
    product: Option<&Product>,
) -> Option<NRate> {
    let rate = section
        .amount(key, |text| amount::nitrogen(text, product, false))?
        .rate;
    if !section.is_within(key, &rate, as_nitrogen) {
        section.outside(key, rate_told(rate, section.log().us()));
        return None;
    }
    Some(rate)
}

fn other(
    parameters: &mut Parameters<'_, '_>,
    chosen: &'static About,
    read: fn(&mut dyn Given) -> Option<Read>,
    crop: Option<&Crop>,
) -> Option<MethodSettings> {
    let section = &mut *parameters.section;
    let region = section.find(&SHARED.region);
    let sensor = section.find(&SHARED.sensor);
    let source = section.find(&SHARED.source);
    let index = if chosen.owns(&SHARED.index) {
        section.find(&SHARED.index)
    } else {
        None
    };
    let index = index.map(|name| tables::index_name(&name));
    let read = read(parameters);
    let own_numbers = read.as_ref().and_then(|read| read.source.clone());
    // Numbers that were published for one crop are no numbers for another; the user's own are the user's.
    if let (Some(made_for), Some(crop), None) = (chosen.crop, crop, &own_numbers)
        && !crop.name.eq_ignore_ascii_case(made_for)
    {
        parameters.section.refuse(
            &RESPONSE.method,
            Problem::MethodCrop {
                method: chosen.name,
                made_for,
                crop: crop.name.clone(),
            },
        );
    }
    let from_memory = chosen.certainty == Certainty::FromMemory && own_numbers.is_none();
    let source = own_numbers
        .or(source)
        .unwrap_or_else(|| format!("{} ({})", chosen.source, chosen.certainty.label()));
    Some(MethodSettings::Other {
        method: read?.method,
        fitted: Fitted {
            index,
            region,
            sensor,
            source,
            from_memory,
        },
    })
}

/// `[response]`, or a table within it, as a method reads it.
struct Parameters<'s, 'a> {
    section: &'s mut Section<'a>,
    product: Option<&'s Product>,
    applied_before: NRate,
    optimum: Economic,
}

impl Parameters<'_, '_> {
    /// Hands a table to `read`, and refuses what is left of it.
    fn within(&self, mut table: Section<'_>, read: &mut dyn FnMut(&mut dyn Given)) {
        read(&mut Parameters {
            section: &mut table,
            product: self.product,
            applied_before: self.applied_before,
            optimum: self.optimum,
        });
        table.finish();
    }
}

impl Given for Parameters<'_, '_> {
    fn has(&self, key: &Key) -> bool {
        self.section.has(key)
    }
    fn number(&mut self, key: &Typed<f64>) -> Option<f64> {
        let default = self
            .section
            .row(key)
            .is_some_and(|row| row.default_value().is_some());
        if default {
            Some(self.section.get(key))
        } else {
            self.section.find(key)
        }
    }
    fn nitrogen(&mut self, key: &Typed<NRate>) -> Option<NRate> {
        nitrogen(self.section, key, self.product)
    }
    fn flag(&mut self, key: &Typed<bool>) -> bool {
        self.section.get(key)
    }
    fn text(&mut self, key: &Typed<String>) -> Option<String> {
        self.section.find(key)
    }
    fn word(&mut self, key: &Key) -> Option<usize> {
        let entry = self.section.take(key)?;
        let words = self.section.row(key)?.kind.words()?;
        self.section.place_of(&entry, key, words)
    }
    fn table(&mut self, key: &Key, read: &mut dyn FnMut(&mut dyn Given)) -> bool {
        let stands = self.section.has(key);
        if let Some(table) = self.section.sub_at(key) {
            self.within(table, read);
        }
        stands
    }
    fn tables(&mut self, key: &Key, read: &mut dyn FnMut(&mut dyn Given)) {
        for table in self.section.tables(key) {
            self.within(table, read);
        }
    }
    fn require(&mut self, key: &Key) {
        self.section.require(key);
    }
    fn refuse_beside(&mut self, key: &Key, with: &[&Key]) {
        let keys = with.iter().map(|key| key.full()).collect();
        self.section.refuse_together(key, keys);
    }
    fn refuse(&mut self, key: &Key, error: &MethodError) {
        self.section.refuse(
            key,
            Problem::Method {
                reason: error.to_string(),
            },
        );
    }
    fn economic(&self) -> Economic {
        self.optimum
    }
    fn applied_before(&self) -> NRate {
        self.applied_before
    }
}

/// Refuses an index that falls as canopy grows, or that is no ratio of near infrared to visible light, where the visible line is to be read.
pub(crate) fn visible_index(section: &Section<'_>, key: &Key, index: &str, light: Option<Light>) {
    let named = find_entry(index);
    let simple_ratio = named.is_some_and(|entry| entry.name == "SR")
        && light.is_none_or(|light| light == Light::Red);
    if (named.is_some() && !simple_ratio) || (named.is_none() && falls_with_canopy(index)) {
        section.refuse(
            key,
            Problem::VisibleIndex {
                index: index.to_owned(),
                light: light.unwrap_or(Light::Red).word().to_owned(),
            },
        );
    }
}

/// The light of `response.light`, looked at without consuming it.
pub(crate) fn light(section: &Section<'_>) -> Option<Light> {
    match section.peek(&VISIBLE.light) {
        Some(Item::Text(text)) => Light::of_word(text),
        _ => None,
    }
}

/// As the record has it.
pub(crate) fn response_record(response: &Response) -> Record {
    let value = Record::new().put(&RESPONSE.method, response.name());
    let value = match &response.method {
        MethodSettings::YieldResponse(yields) => yields_record(value, yields),
        MethodSettings::Other { method, fitted } => value
            .add("parameters", method.parameters().value())
            .put(&SHARED.index, fitted.index.clone())
            .put(&SHARED.region, fitted.region.clone())
            .put(&SHARED.sensor, fitted.sensor.clone())
            .put(&SHARED.source, fitted.source.clone())
            .add("formula_from_memory", fitted.from_memory),
    };
    let value = value
        .add("formula", about(response.name()).map(|about| about.formula))
        .add(
            RESPONSE.nitrogen_share.name,
            match response.nitrogen_share {
                NitrogenShare::Stated(share) => json!(share),
                NitrogenShare::Measured => json!(Measured::Measured.word()),
            },
        )
        .put(
            &RESPONSE.maximum_ratio,
            match response.maximum_ratio {
                MaximumRatio::Value(value) => json!(value),
                MaximumRatio::Seen => json!(Seen::Seen.word()),
                MaximumRatio::ByAnswer => json!("by the strip's answer"),
            },
        )
        .put(
            &RESPONSE.applied_since_sensing,
            response.applied_since_sensing.get(),
        )
        .put(&SHARED.curve_spread, response.curve_spread);
    match &response.economic {
        Some(own) => value.put(&SHARED.economic, economic_record(own)),
        None => value,
    }
}
