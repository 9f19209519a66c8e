//! `[product]` and `[rate]`: what is spread and between which limits.

use crate::app::job::sections::ground;
use crate::app::job::tables;
use crate::finding::{Finding, codes};
use crate::job::amount;
use crate::job::amount::Temperature;
use crate::job::fault::Wanted;
use crate::job::keys::Key;
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section};
use crate::job::settings::{ProductFacts, RateRules, StateRate};
use crate::job::suggest::nearest;
use crate::science::product::find_product;
use crate::units::{NRate, Product};

/// `[product]`: a shipped product, or the job's own figures, and what more is known of it.
pub(crate) fn product(section: &mut Section<'_>) -> Option<(Product, ProductFacts)> {
    if !section.is_present() {
        return None;
    }
    let name = section.text("name");
    let nitrogen = section.number("nitrogen");
    let density = section.amount("density", amount::density);
    let temperature = section
        .amount("temperature", amount::temperature)
        .map(Temperature::as_celsius);
    section.hold("temperature", temperature.as_ref(), |text| {
        amount::temperature(text).map(Temperature::as_celsius)
    });
    if section.given("temperature") && section.given("density") {
        section.refuse(
            "temperature",
            Problem::Together {
                keys: vec!["product.density", "product.temperature"],
            },
        );
    }
    let bulk = section.amount_within("bulk_density", amount::bulk_density);
    let shipped = name.as_deref().map(tables::find_product);
    if !section.given("name") && !section.given("nitrogen") {
        section.refuse(
            "name",
            Problem::NoneOf {
                keys: vec!["product.name", "product.nitrogen"],
                example: "name = \"urea\"",
            },
        );
        return None;
    }
    if let (Some(Err(unknown)), false) = (&shipped, section.given("nitrogen")) {
        let known = tables::product_names();
        let near = unknown.nearest.clone().or_else(|| {
            nearest(&unknown.name, known.iter().map(String::as_str)).map(str::to_owned)
        });
        section.refuse(
            "name",
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
    if section.given("temperature")
        && temperature.is_some()
        && !section.given("density")
        && at_temperature.is_none()
    {
        let product = shipped
            .as_ref()
            .map_or("this product", Product::name)
            .to_owned();
        section.refuse("temperature", Problem::NoDensityChange { product });
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
            "density",
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
    key: &str,
    product: Option<&Product>,
) -> Option<(NRate, bool)> {
    let amount = section.amount_of(entry, key, Wanted::Nitrogen, |text| {
        amount::nitrogen(text, product, true)
    })?;
    if !section.is_within(key, &amount.rate, as_nitrogen) {
        section.outside(key, format!("{:.1} kg N/ha", amount.rate.get()));
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

/// Words for a rate; which of them a key takes stands in its row.
const STATES: &[(&str, StateRate)] = &[
    ("field rate", StateRate::FieldRate),
    ("own", StateRate::Own),
];

/// Nitrogen of a bound or a default, which name no product.
pub(crate) fn as_nitrogen(text: &str) -> Result<NRate, Problem> {
    amount::nitrogen(text, None, false).map(|amount| amount.rate)
}

/// `"field rate"`, `"own"` where the row knows it, or an amount; the row's default without either.
pub(crate) fn state_rate(
    section: &mut Section<'_>,
    key: &'static str,
    product: Option<&Product>,
) -> StateRate {
    let default = section
        .row(key)
        .and_then(Key::default_value)
        .unwrap_or_default()
        .trim_matches('"');
    let word = STATES.iter().find(|(word, _)| *word == default);
    let default = word.map_or_else(
        || StateRate::Amount(as_nitrogen(default).unwrap_or(NRate::ZERO)),
        |(_, rate)| *rate,
    );
    state_rate_or(section, key, product, default)
}

/// As [`state_rate`], with a default that depends on the job.
pub(crate) fn state_rate_or(
    section: &mut Section<'_>,
    key: &'static str,
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
            let known = section.row(key).and_then(|row| row.kind.words());
            let words: Vec<(&str, StateRate)> = STATES
                .iter()
                .filter(|(word, _)| known.is_some_and(|known| known.contains(word)))
                .copied()
                .collect();
            return section.choice_of(&entry, key, &words).unwrap_or(default);
        }
    }
    nitrogen(section, &entry, key, product).map_or(default, |(rate, _)| StateRate::Amount(rate))
}

/// Refuses an amount for a kind of ground, or for the machine left to itself, above the greatest rate.
pub(crate) fn within(
    section: &Section<'_>,
    key: &'static str,
    rule: StateRate,
    most: NRate,
    why: &'static str,
) {
    if let StateRate::Amount(amount) = rule
        && amount > most
    {
        let greatest = format!("{:.1} kg N/ha", most.get());
        section.refuse(
            key,
            ground::range(
                &format!("{:.1} kg N/ha", amount.get()),
                "0 kg N/ha",
                &greatest,
                why,
            ),
        );
    }
}

/// `rate.applied_before`: nitrogen that the crop got this season before sensing; none by default.
pub(crate) fn applied_before(section: &mut Section<'_>, product: Option<&Product>) -> NRate {
    section
        .take("applied_before")
        .and_then(|entry| nitrogen(section, &entry, "applied_before", product))
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
    let shown = |rate: NRate| crate::job::problem::short(rate.get());
    if left.get() <= 0.0 || left < minimum {
        let least = if left < minimum {
            shown(minimum)
        } else {
            "0.01".to_owned()
        };
        let problem = Problem::SeasonLimit {
            limit: shown(limit),
            left: shown(left.max(NRate::ZERO)),
            before: shown(before),
            since: shown(since),
            least,
        };
        section.refuse("season_limit", problem);
        return maximum;
    }
    if left < maximum {
        let us = section.log().us();
        section.log().note(Finding::note(
            codes::RATE_SEASON,
            format!(
                "the season's limit of {} leaves {} after {} before and {} since sensing: that is the maximum rate, not {}",
                limit.told(us),
                left.told(us),
                before.told(us),
                since.told(us),
                maximum.told(us)
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
) -> Option<(RateRules, bool)> {
    let read = |section: &mut Section<'_>, key| {
        section
            .take(key)
            .and_then(|entry| nitrogen(section, &entry, key, product))
    };
    let default = |section: &Section<'_>, key| {
        let value = section.row(key).and_then(Key::default_value);
        value.map_or(NRate::ZERO, |text| {
            as_nitrogen(text.trim_matches('"')).unwrap_or(NRate::ZERO)
        })
    };
    let minimum =
        read(section, "minimum").map_or_else(|| default(section, "minimum"), |(rate, _)| rate);
    let maximum = read(section, "maximum");
    // A round number in the units that people read.
    let usual_step = if section.log().us() {
        NRate::lb_per_ac(US_STEP_LB_AC)
    } else {
        default(section, "step")
    };
    let step = read(section, "step").map_or(usual_step, |(rate, _)| rate);
    let maximum_step = read(section, "maximum_step").map(|(rate, _)| rate);
    let usual = read(section, "usual").map(|(rate, _)| rate);
    let usual_is_this_pass = section.boolean_or("usual_is_this_pass");
    section.require("maximum");
    let thin = state_rate(section, "thin", product);
    let unseen = state_rate(section, "unseen", product);
    let bare = state_rate(section, "bare", product);
    let season_limit = read(section, "season_limit").map(|(rate, _)| rate);
    if step.get() <= 0.0 {
        section.refuse(
            "step",
            Problem::Zero {
                text: step.to_string(),
                what: "the step",
            },
        );
    }
    if let Some(largest) = maximum_step.filter(|largest| *largest < step * (1.0 - 1e-9)) {
        let least = format!("{:.1} kg N/ha", step.get());
        section.refuse(
            "maximum_step",
            ground::range(
                &format!("{:.1} kg N/ha", largest.get()),
                &least,
                "1000 kg N/ha",
                "rates are multiples of rate.step",
            ),
        );
    }
    let (written, us) = maximum?;
    let maximum = season_limit.map_or(written, |limit| {
        within_season(section, limit, before, since, minimum, written)
    });
    // Label, law and adviser set the greatest rate for all ground, not for the ground alone that an index tells of.
    let why = if maximum < written {
        "more than the season's limit leaves"
    } else {
        "more than rate.maximum"
    };
    for (key, rule) in [("thin", thin), ("unseen", unseen), ("bare", bare)] {
        within(section, key, rule, maximum, why);
    }
    let (low, high, width) = (minimum.get(), maximum.get(), step.get());
    if high <= 0.0 {
        section.refuse(
            "maximum",
            Problem::Zero {
                text: maximum.to_string(),
                what: "the greatest rate",
            },
        );
    } else if low > high {
        let shown = |rate: NRate| format!("{} kg N/ha", crate::job::problem::short(rate.get()));
        let problem = Problem::Order {
            low_key: "rate.minimum",
            low: shown(minimum),
            high_key: "rate.maximum",
            high: shown(maximum),
        };
        section.refuse("maximum", problem);
    } else if width > 0.0 {
        let empty = libm::ceil(low / width) > libm::floor(high / width);
        if empty || (high > low && width > high - low) {
            section.refuse(
                "step",
                Problem::Step {
                    step: width,
                    minimum: low,
                    maximum: high,
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
        },
        us,
    ))
}
