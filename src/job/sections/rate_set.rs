//! `[[rate.set]]`: ground whose rate is set by hand.

use std::path::Path;

use crate::finding::{Finding, codes};
use crate::job::amount;
use crate::job::keys::RATE;
use crate::job::keys::rate::SET;
use crate::job::problem::{Problem, short};
use crate::job::reader::{Item, Section};
use crate::job::record::Shown;
use crate::job::sections::ground;
use crate::job::sections::ground::{VectorSource, vector_record};
use crate::job::sections::rate::{nitrogen, within};
use crate::job::settings::StateRate;
use crate::key::{Key, Requirement};
use crate::units::{NRate, Product};
use serde_json::Value;

/// One table of `[[rate.set]]`.
#[derive(Clone, Debug, PartialEq)]
pub struct SetRate {
    /// Where the polygons stand.
    pub source: VectorSource,
    /// What becomes of the map's rate.
    pub to: SetTo,
    /// Why, in the user's words.
    pub reason: String,
}

/// What becomes of the map's rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SetTo {
    /// This rate.
    Rate(NRate),
    /// So much more, or less where it is below zero.
    Add(NRate),
    /// This rate where it was more.
    AtMost(NRate),
}

/// Limits of rates that set ones must keep.
pub(super) struct Limits {
    pub(super) minimum: NRate,
    pub(super) maximum: NRate,
    pub(super) step: NRate,
    /// Why nothing above the maximum goes.
    pub(super) why: &'static str,
}

/// `rate.set`, within the limits of `[rate]`.
pub(super) fn set(
    section: &mut Section<'_>,
    product: Option<&Product>,
    limits: &Limits,
    folder: &Path,
) -> Vec<SetRate> {
    let mut all = Vec::new();
    for mut table in section.tables(&RATE.set) {
        let source = ground::vector_table(&mut table, &SET.path, folder, false);
        let to = to(&mut table, product, limits);
        let reason = table.find(&SET.reason);
        table.finish();
        if let (Some(source), Some(to), Some(reason)) = (source, to, reason) {
            all.push(SetRate { source, to, reason });
        }
    }
    all
}

fn to(table: &mut Section<'_>, product: Option<&Product>, limits: &Limits) -> Option<SetTo> {
    let given: Vec<&Key> = [&*SET.rate, &*SET.add, &*SET.at_most]
        .into_iter()
        .filter(|key| table.has(key))
        .collect();
    let [key] = given[..] else {
        if let [_, second, ..] = given[..] {
            let keys = given.iter().map(|key| key.name.to_owned()).collect();
            for key in &given {
                table.take(key);
            }
            table.refuse(second, Problem::Together { keys });
        } else {
            table.require_as(&SET.rate, "the rate (or add, or at_most)");
        }
        return None;
    };
    if key.name == SET.add.name {
        return change(table, product).map(SetTo::Add);
    }
    let entry = table.take(key)?;
    let (rate, _) = nitrogen(table, &entry, key, product)?;
    within(
        table,
        key,
        StateRate::Amount(rate),
        limits.maximum,
        limits.why,
    );
    let step = limits.step.get();
    // A limit is rounded down, so that it holds; then a multiple of the step must be left.
    let minimum = step * libm::ceil(limits.minimum.get() / step - 1e-9);
    let too_low = if key.name == SET.at_most.name {
        step * libm::floor(rate.get() / step + 1e-9) < minimum - 1e-9
    } else {
        rate < limits.minimum
    };
    if too_low {
        table.refuse(
            key,
            ground::range(
                &format!("{} kg N/ha", short(rate.get())),
                &format!("{} kg N/ha", short(minimum)),
                &format!("{} kg N/ha", short(limits.maximum.get())),
                "less than rate.minimum and rate.step allow; ground that must get nothing stands in field.exclude",
            ),
        );
        return None;
    }
    Some(if key.name == SET.at_most.name {
        SetTo::AtMost(rate)
    } else {
        SetTo::Rate(rate)
    })
}

/// `add`, which may lie below zero.
fn change(table: &mut Section<'_>, product: Option<&Product>) -> Option<NRate> {
    let key: &Key = &SET.add;
    let entry = table.take(key)?;
    if let Item::Number(number) = &entry.item {
        let problem = Problem::BareNumber {
            number: number.clone(),
            requirement: Requirement::Nitrogen,
        };
        table.at(&entry, key, problem);
        return None;
    }
    let amount = table.amount_of(&entry, key, Requirement::Nitrogen, |text| {
        amount::nitrogen_change(text, product)
    })?;
    let as_change = |text: &str| amount::nitrogen_change(text, None).map(|amount| amount.rate);
    if !table.is_within(key, &amount.rate, as_change) {
        table.outside(key, format!("{:.1} kg N/ha", amount.rate.get()));
        return None;
    }
    if amount.rate == NRate::ZERO {
        table.refuse(
            key,
            Problem::Zero {
                text: amount.rate.to_string(),
                what: "the change (or below it)",
            },
        );
        return None;
    }
    if let Some(echo) = amount.echo {
        table.log().note(Finding::note(
            codes::RATE_PRODUCT_AMOUNT,
            format!("{}: {echo}", table.key(key)),
        ));
    }
    Some(amount.rate)
}

/// As the record has it.
pub(super) fn record(set: &[SetRate], shown: Shown<'_>) -> Vec<Value> {
    let one = |set: &SetRate| {
        let of = |to: Option<NRate>| to.map(NRate::get);
        let (rate, add, at_most) = match set.to {
            SetTo::Rate(rate) => (Some(rate), None, None),
            SetTo::Add(change) => (None, Some(change), None),
            SetTo::AtMost(limit) => (None, None, Some(limit)),
        };
        vector_record(&set.source, shown)
            .put(&SET.rate, of(rate))
            .put(&SET.add, of(add))
            .put(&SET.at_most, of(at_most))
            .put(&SET.reason, set.reason.clone())
            .value()
    };
    set.iter().map(one).collect()
}
