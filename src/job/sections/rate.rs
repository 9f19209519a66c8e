//! `[product]` and `[rate]`: what is spread and between which limits.

use crate::finding::{Finding, codes};
use crate::job::amount::Temperature;
use crate::job::keys::rate::StateWord;
use crate::job::keys::{PRODUCT, RATE};
use crate::job::problem::{Problem, rate_told};
use crate::job::reader::{Entry, Item, Section};
use crate::job::record::Shown;
use crate::job::sections::rate_set::{Limits, SetRate};
use crate::job::sections::{ground, rate_set};
use crate::job::suggest::nearest;
use crate::job::{amount, tables};
use crate::key::{Key, Record, Requirement, Word};
use crate::science::product::find_product;
use crate::units::{NRate, Product};
use serde_json::{Value, json};
use std::path::Path;

/// `[rate]`.
#[derive(Clone, Debug)]
pub struct RateRules {
    /// Least rate of a canopy cell.
    pub minimum: NRate,
    /// Greatest rate: as written, or what the season's limit leaves if that is less.
    pub maximum: NRate,
    /// Greatest rate as written.
    pub maximum_written: NRate,
    /// Limit of the season's total nitrogen, if there is one.
    pub season_limit: Option<NRate>,
    /// Nitrogen that the crop got this season before sensing.
    pub applied_before: NRate,
    /// Rates are multiples of it.
    pub step: NRate,
    /// Largest step from cell to cell along the drive, if there is one.
    pub maximum_step: Option<NRate>,
    /// The grower's flat rate, for comparison.
    pub usual: Option<NRate>,
    /// Whether that is the rate of this very pass.
    pub usual_is_this_pass: bool,
    /// Rule for thin cells.
    pub thin: StateRate,
    /// Rule for unseen cells.
    pub unseen: StateRate,
    /// Rule for bare cells.
    pub bare: StateRate,
    /// Ground whose rate is set by hand.
    pub set: Vec<SetRate>,
}

/// What a state of ground gets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StateRate {
    /// Its own computed rate.
    Own,
    /// The field rate (for thin cells: at most).
    FieldRate,
    /// As written, not rounded.
    Amount(NRate),
}

/// What is known of the product besides its nitrogen and its working density.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ProductFacts {
    /// Name of its row in the shipped table; `None` for a product of the job's own.
    pub shipped: Option<String>,
    /// Working temperature, when given. \[°C\]
    pub temperature_c: Option<f64>,
    /// Loose bulk density of a solid, least and greatest. \[kg/m³\]
    pub bulk_kg_m3: Option<(f64, f64)>,
}

/// `[product]`: a shipped product, or the job's own figures, and what more is known of it.
pub(crate) fn product(section: &mut Section<'_>) -> Option<(Product, ProductFacts)> {
    if !section.is_present() {
        return None;
    }
    let name = section.find(&PRODUCT.name);
    let nitrogen = section.find(&PRODUCT.nitrogen);
    let density = section.amount(&PRODUCT.density, amount::density);
    let temperature = section
        .amount(&PRODUCT.temperature, amount::temperature)
        .map(Temperature::as_celsius);
    section.hold(&PRODUCT.temperature, temperature.as_ref(), |text| {
        amount::temperature(text).map(Temperature::as_celsius)
    });
    if section.given(&PRODUCT.temperature) && section.given(&PRODUCT.density) {
        section.refuse(
            &PRODUCT.temperature,
            Problem::Together {
                keys: vec![PRODUCT.density.full(), PRODUCT.temperature.full()],
            },
        );
    }
    let bulk = section.amount_within(&PRODUCT.bulk_density, amount::bulk_density);
    let shipped = name.as_deref().map(tables::find_product);
    if !section.given(&PRODUCT.name) && !section.given(&PRODUCT.nitrogen) {
        section.refuse(
            &PRODUCT.name,
            Problem::NoneOf {
                keys: vec![PRODUCT.name.full(), PRODUCT.nitrogen.full()],
                example: "name = \"urea\"",
            },
        );
        return None;
    }
    if let (Some(Err(unknown)), false) = (&shipped, section.given(&PRODUCT.nitrogen)) {
        let known = tables::product_names();
        let near = unknown.nearest.clone().or_else(|| {
            nearest(&unknown.name, known.iter().map(String::as_str)).map(str::to_owned)
        });
        section.refuse(
            &PRODUCT.name,
            Problem::Choice {
                got: unknown.name.clone(),
                what: "product, and its nitrogen share is not given",
                near,
                known,
            },
        );
        return None;
    }
    let shipped = shipped.and_then(Result::ok);
    let share = nitrogen.or_else(|| shipped.as_ref().map(Product::nitrogen))?;
    // The job's own label or hydrometer value wins over the table's.
    let entry = shipped
        .as_ref()
        .and_then(|shipped| find_product(shipped.name()).ok());
    let at_temperature = temperature
        .zip(entry)
        .and_then(|(celsius, entry)| entry.density_at(celsius));
    if section.given(&PRODUCT.temperature)
        && temperature.is_some()
        && !section.given(&PRODUCT.density)
        && at_temperature.is_none()
    {
        let product = shipped
            .as_ref()
            .map_or("this product", Product::name)
            .to_owned();
        section.refuse(&PRODUCT.temperature, Problem::NoDensityChange { product });
    }
    let kg_per_l = density
        .or(at_temperature)
        .or_else(|| shipped.as_ref().and_then(Product::kg_per_l));
    let shown = shipped
        .as_ref()
        .map(|shipped| shipped.name().to_owned())
        .or(name)
        .unwrap_or_else(|| {
            format!(
                "product with {} % N",
                crate::job::problem::short(share * 100.0)
            )
        });
    let product = Product::new(&shown, share, kg_per_l);
    if product.is_none() {
        let density = kg_per_l.map_or_else(|| "none".to_owned(), |d| format!("{d} kg/L"));
        section.refuse(
            &PRODUCT.density,
            Problem::Product {
                nitrogen: share,
                density,
            },
        );
    }
    let facts = ProductFacts {
        shipped: shipped.as_ref().map(|shipped| shipped.name().to_owned()),
        temperature_c: temperature,
        bulk_kg_m3: bulk
            .map(|bulk| (bulk, bulk))
            .or_else(|| entry.and_then(|entry| entry.bulk_kg_m3)),
    };
    product.map(|product| (product, facts))
}

/// A nitrogen amount of a section in which product amounts are taken; both readings become a note.
pub(crate) fn nitrogen(
    section: &Section<'_>,
    entry: &Entry,
    key: &Key,
    product: Option<&Product>,
) -> Option<(NRate, bool)> {
    let amount = section.amount_of(entry, key, Requirement::Nitrogen, |text| {
        amount::nitrogen(text, product, true)
    })?;
    if !section.is_within(key, &amount.rate, as_nitrogen) {
        section.outside(key, rate_told(amount.rate, section.log().us()));
        return None;
    }
    if let Some(echo) = amount.echo {
        section.log().note(Finding::note(
            codes::RATE_PRODUCT_AMOUNT,
            format!("{}: {echo}", section.key(key)),
        ));
    }
    Some((amount.rate, amount.us))
}

impl From<StateWord> for StateRate {
    fn from(word: StateWord) -> Self {
        match word {
            StateWord::FieldRate => Self::FieldRate,
            StateWord::Own => Self::Own,
        }
    }
}

/// Nitrogen of a bound or a default, which name no product.
pub(crate) fn as_nitrogen(text: &str) -> Result<NRate, Problem> {
    amount::nitrogen(text, None, false).map(|amount| amount.rate)
}

/// `"field rate"`, `"own"` where the row knows it, or an amount; the row's default without either.
pub(crate) fn state_rate(
    section: &mut Section<'_>,
    key: &Key,
    product: Option<&Product>,
) -> StateRate {
    let default = section
        .row(key)
        .and_then(Key::default_value)
        .unwrap_or_default()
        .trim_matches('"');
    let default = StateWord::of_word(default).map_or_else(
        || StateRate::Amount(as_nitrogen(default).unwrap_or(NRate::ZERO)),
        StateRate::from,
    );
    state_rate_or(section, key, product, default)
}

/// As [`state_rate`], with a default that depends on the job.
pub(crate) fn state_rate_or(
    section: &mut Section<'_>,
    key: &Key,
    product: Option<&Product>,
    default: StateRate,
) -> StateRate {
    let Some(entry) = section.take(key) else {
        return default;
    };
    if let Item::Text(text) = &entry.item {
        let text = text.trim();
        let begins_with_letter = text.starts_with(|c: char| c.is_alphabetic())
            && !text.starts_with("TODO")
            && !text.to_lowercase().starts_with("nan");
        if begins_with_letter {
            return section
                .word_of::<StateWord>(&entry, key)
                .map_or(default, StateRate::from);
        }
    }
    nitrogen(section, &entry, key, product).map_or(default, |(rate, _)| StateRate::Amount(rate))
}

/// Refuses an amount for a kind of ground, or for the machine left to itself, above the greatest rate.
pub(crate) fn within(
    section: &Section<'_>,
    key: &Key,
    rule: StateRate,
    most: NRate,
    why: &'static str,
) {
    if let StateRate::Amount(amount) = rule
        && amount > most
    {
        let us = section.log().us();
        let (got, minimum) = (rate_told(amount, us), rate_told(NRate::ZERO, us));
        section.refuse(
            key,
            ground::range(&got, &minimum, &rate_told(most, us), why),
        );
    }
}

/// `rate.applied_before`: nitrogen that the crop got this season before sensing; none by default.
pub(crate) fn applied_before(section: &mut Section<'_>, product: Option<&Product>) -> NRate {
    section
        .take(&RATE.applied_before)
        .and_then(|entry| nitrogen(section, &entry, &RATE.applied_before, product))
        .map_or(NRate::ZERO, |(rate, _)| rate)
}

/// What a limit of the season's total leaves of the greatest rate; refused when that is less than the least rate, or nothing.
fn within_season(
    section: &Section<'_>,
    limit: NRate,
    before: NRate,
    since: NRate,
    minimum: NRate,
    maximum: NRate,
) -> NRate {
    let left = limit - before - since;
    let us = section.log().us();
    let shown = |rate: NRate| rate_told(rate, us);
    if left.get() <= 0.0 || left < minimum {
        let needed = if left < minimum {
            shown(minimum)
        } else {
            rate_told(NRate::kg_per_ha(0.01), us)
        };
        let problem = Problem::SeasonLimit {
            limit: shown(limit),
            left: shown(left.max(NRate::ZERO)),
            before: shown(before),
            since: shown(since),
            minimum: needed,
        };
        section.refuse(&RATE.season_limit, problem);
        return maximum;
    }
    if left < maximum {
        section.log().note(Finding::note(
            codes::RATE_SEASON,
            format!(
                "the season's limit of {} leaves {} after {} before and {} since sensing: that is the maximum rate, not {}",
                limit.text(us),
                left.text(us),
                before.text(us),
                since.text(us),
                maximum.text(us)
            ),
        ));
    }
    left.min(maximum)
}

/// Step of rates where people read US units and the job names none: the 5 kg N/ha of the key's row, in round numbers. \[lb N/ac\] Common practice, no source.
const US_STEP_LB_AC: f64 = 5.0;

/// `[rate]`, and whether its maximum was written in US units. `before` and `since` are what went on before sensing and since.
pub(crate) fn rate(
    section: &mut Section<'_>,
    product: Option<&Product>,
    before: NRate,
    since: NRate,
    folder: &Path,
) -> Option<(RateRules, bool)> {
    let read = |section: &mut Section<'_>, key: &Key| {
        section
            .take(key)
            .and_then(|entry| nitrogen(section, &entry, key, product))
    };
    let default = |section: &Section<'_>, key: &Key| {
        let value = section.row(key).and_then(Key::default_value);
        value.map_or(NRate::ZERO, |text| {
            as_nitrogen(text.trim_matches('"')).unwrap_or(NRate::ZERO)
        })
    };
    let minimum = read(section, &RATE.minimum)
        .map_or_else(|| default(section, &RATE.minimum), |(rate, _)| rate);
    let maximum = read(section, &RATE.maximum);
    // A round number in the units that people read.
    let usual_step = if section.log().us() {
        NRate::lb_per_ac(US_STEP_LB_AC)
    } else {
        default(section, &RATE.step)
    };
    let step = read(section, &RATE.step).map_or(usual_step, |(rate, _)| rate);
    let maximum_step = read(section, &RATE.maximum_step).map(|(rate, _)| rate);
    let usual = read(section, &RATE.usual).map(|(rate, _)| rate);
    let usual_is_this_pass = section.get(&RATE.usual_is_this_pass);
    let thin = state_rate(section, &RATE.thin, product);
    let unseen = state_rate(section, &RATE.unseen, product);
    let bare = state_rate(section, &RATE.bare, product);
    let season_limit = read(section, &RATE.season_limit).map(|(rate, _)| rate);
    if step.get() <= 0.0 {
        section.refuse(
            &RATE.step,
            Problem::Zero {
                text: rate_told(step, section.log().us()),
                what: "the step",
            },
        );
    }
    if let Some(largest) = maximum_step.filter(|largest| *largest < step * (1.0 - 1e-9)) {
        let us = section.log().us();
        section.refuse(
            &RATE.maximum_step,
            ground::range(
                &rate_told(largest, us),
                &rate_told(step, us),
                &rate_told(NRate::kg_per_ha(1000.0), us),
                "rates are multiples of rate.step",
            ),
        );
    }
    let Some((written, us)) = maximum else {
        // Without a maximum there is nothing to hold them to; the file is refused for that.
        section.tables(&RATE.set).into_iter().for_each(|mut table| {
            table.rest();
        });
        return None;
    };
    let maximum = season_limit.map_or(written, |limit| {
        within_season(section, limit, before, since, minimum, written)
    });
    // Label, law and adviser set the greatest rate for all ground, not for the ground alone that an index tells of.
    let why = if maximum < written {
        "more than the season's limit leaves"
    } else {
        "more than rate.maximum"
    };
    for (key, rule) in [
        (&RATE.thin, thin),
        (&RATE.unseen, unseen),
        (&RATE.bare, bare),
    ] {
        within(section, key, rule, maximum, why);
    }
    let limits = Limits {
        minimum,
        maximum,
        step,
        why,
    };
    let set = rate_set::set(section, product, &limits, folder);
    let (low, high, width) = (minimum.get(), maximum.get(), step.get());
    if high <= 0.0 {
        section.refuse(
            &RATE.maximum,
            Problem::Zero {
                text: rate_told(maximum, section.log().us()),
                what: "the greatest rate",
            },
        );
    } else if low > high {
        let shown = |rate: NRate| rate_told(rate, section.log().us());
        let problem = Problem::Order {
            low_key: "rate.minimum",
            low: shown(minimum),
            high_key: "rate.maximum",
            high: shown(maximum),
        };
        section.refuse(&RATE.maximum, problem);
    } else if width > 0.0 {
        let empty = libm::ceil(low / width) > libm::floor(high / width);
        if empty || (high > low && width > high - low) {
            section.refuse(
                &RATE.step,
                Problem::Step {
                    step: rate_told(step, section.log().us()),
                    minimum: rate_told(minimum, section.log().us()),
                    maximum: rate_told(maximum, section.log().us()),
                },
            );
        }
    }
    Some((
        RateRules {
            minimum,
            maximum,
            maximum_written: written,
            season_limit,
            applied_before: before,
            step,
            maximum_step,
            usual,
            usual_is_this_pass,
            thin,
            unseen,
            bare,
            set,
        },
        us,
    ))
}

/// As the record has it.
pub(crate) fn rate_record(rate: &RateRules, shown: Shown<'_>) -> Record {
    let record = Record::new()
        .put(&RATE.minimum, rate.minimum.get())
        .put(&RATE.maximum, rate.maximum.get())
        .add("maximum_written_kg_n_ha", rate.maximum_written.get())
        .put(&RATE.season_limit, rate.season_limit.map(NRate::get))
        .put(&RATE.applied_before, rate.applied_before.get())
        .put(&RATE.step, rate.step.get())
        .put(&RATE.maximum_step, rate.maximum_step.map(NRate::get))
        .put(&RATE.usual, rate.usual.map(NRate::get))
        .put(&RATE.usual_is_this_pass, rate.usual_is_this_pass)
        .put(&RATE.thin, state_record(rate.thin))
        .put(&RATE.unseen, state_record(rate.unseen))
        .put(&RATE.bare, state_record(rate.bare));
    if rate.set.is_empty() {
        return record;
    }
    record.put(&RATE.set, rate_set::record(&rate.set, shown))
}

/// As the record has it.
pub(crate) fn product_record(product: &Product, facts: &ProductFacts) -> Value {
    Record::new()
        .put(&PRODUCT.name, product.name())
        .put(&PRODUCT.nitrogen, product.nitrogen())
        .put(&PRODUCT.density, product.kg_per_l())
        .put(&PRODUCT.temperature, facts.temperature_c)
        .put(
            &PRODUCT.bulk_density,
            facts.bulk_kg_m3.map(|(low, high)| vec![low, high]),
        )
        .add("shipped", facts.shipped.is_some())
        .value()
}

/// As the record has it.
pub(crate) fn state_record(rate: StateRate) -> Value {
    match rate {
        StateRate::Own => json!(StateWord::Own.word()),
        StateRate::FieldRate => json!(StateWord::FieldRate.word()),
        StateRate::Amount(amount) => json!({ "kg_n_ha": amount.get() }),
    }
}
