//! `[response]`: which method sets rates, and the way of each method's own keys to it.

use crate::job::amount;
use crate::job::keys;
use crate::job::keys::RESPONSE;
use crate::job::problem::Problem;
use crate::job::reader::{Item, Section};
use crate::job::sections::crop::Curve;
use crate::job::sections::image::falls_with_canopy;
use crate::job::sections::rate::as_nitrogen;
use crate::job::sections::{crop, economic, share};
use crate::job::settings::{Crop, Fitted, MethodSettings, Prices, Response};
use crate::job::tables;
use crate::key::{Key, Typed, Word};
use crate::science::certainty::Certainty;
use crate::science::index::find_entry;
use crate::science::methods::given::{Given, Read};
use crate::science::methods::shared::SHARED;
use crate::science::methods::visible::{KEYS as VISIBLE, Light};
use crate::science::methods::{About, METHODS, MethodError, about};
use crate::units::{NRate, Product};

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
pub(crate) fn foretells_yield(method: Option<&About>) -> bool {
    method.is_some_and(About::foretells_yield)
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
    let applied =
        nitrogen(section, &RESPONSE.applied_since_sensing, product).unwrap_or(NRate::ZERO);
    let curve_spread = if chosen.owns(&SHARED.curve_spread) {
        section.find(&SHARED.curve_spread)
    } else {
        None
    };
    let mut optimum = None;
    let mut economic = None;
    if chosen.owns(&SHARED.economic) {
        let wanted = section.get(&SHARED.economic);
        // The key that the optimum takes the place of is the method's own first one.
        let own = chosen.keys.first()?;
        economic = economic::economic(section, wanted, own, prices);
        optimum = wanted.then(|| economic.as_ref().map(|economic| economic.optimum));
    }
    let method = match chosen.read {
        None => crop::response(section, crop, curve).map(MethodSettings::YieldResponse),
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
        section.outside(key, format!("{:.1} kg N/ha", rate.get()));
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
    /// When the job asks for the economic optimum: what it is, if it can be had.
    optimum: Option<Option<NRate>>,
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
    fn economic(&self) -> Option<Option<NRate>> {
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
