//! `[prices]`: one currency, named by the user.

use crate::finding::{Finding, codes};
use crate::job::amount;
use crate::job::keys::PRICES;
use crate::job::problem::Problem;
use crate::job::reader::Section;
use crate::job::settings::Crop;
use crate::key::Record;
use crate::units::Product;
use serde_json::Value;

/// `[prices]`, one currency.
#[derive(Clone, Debug, PartialEq)]
pub struct Prices {
    /// As the user names it.
    pub currency: String,
    /// Grain. \[currency/kg\]
    pub grain: f64,
    /// Nitrogen. \[currency/kg N\]
    pub nitrogen: f64,
    /// One pass. \[currency/ha\]
    pub application: f64,
    /// What image and map cost. \[currency/ha\]
    pub mapping: f64,
}

/// Price ratios beyond these are slips of a unit rather than a market. \[kg of grain a kg N\] Common practice, no source.
const MINIMUM_RATIO: f64 = 0.5;
/// The other end.
const MAXIMUM_RATIO: f64 = 60.0;

/// `[prices]`; absent when the job has none.
pub(crate) fn prices(
    section: &mut Section<'_>,
    crop: Option<&Crop>,
    product: Option<&Product>,
) -> Option<Prices> {
    if !section.is_present() {
        return None;
    }
    let mut currency = section.find(&PRICES.currency);
    if let Some(named) = currency.as_ref().filter(|named| {
        named.chars().count() > 8 || named.chars().any(|c| c.is_ascii_digit() || c == '/')
    }) {
        let known = ["USD", "EUR", "GBP"].map(str::to_owned).to_vec();
        section.refuse(
            &PRICES.currency,
            Problem::Choice {
                got: named.clone(),
                what: "currency word",
                near: None,
                known,
            },
        );
        currency = None;
    }
    if let Some(currency) = &currency {
        section.log().set_currency(currency);
    }
    let (name, lb) = crop.map_or(("this crop", None), |crop| {
        (crop.name.as_str(), crop.lb_per_bu)
    });
    // Without prices.currency the first price names it for the others.
    let grain = section.amount(&PRICES.grain, |text| {
        match amount::grain_price(text, currency.as_deref(), name, lb) {
            // Bushels of a crop that could not be read are no second fault.
            Err(Problem::NoBushel { .. }) if crop.is_none() => Ok(None),
            Err(problem) => Err(problem),
            Ok(price) => Ok(Some(price)),
        }
    });
    let grain = settle(&mut currency, grain.flatten());
    if section.has(&PRICES.nitrogen) && section.has(&PRICES.product) {
        let keys = vec![PRICES.nitrogen.full(), PRICES.product.full()];
        section.refuse_together(&PRICES.product, keys);
    }
    let product_price = if section.has(&PRICES.product) {
        section.amount(&PRICES.product, |text| match product {
            Some(product) => amount::product_price(text, currency.as_deref(), product),
            None => Err(Problem::NoProduct {
                amount: text.trim().to_owned(),
            }),
        })
    } else {
        section.require(&PRICES.nitrogen);
        section.amount(&PRICES.nitrogen, |text| {
            amount::nitrogen_price(text, currency.as_deref())
        })
    };
    let nitrogen = settle(&mut currency, product_price);
    if !section.given(&PRICES.application) {
        section.log().note(Finding::note(
            codes::PRICES_APPLICATION,
            "prices.application is not given: the pass itself is counted as costing nothing",
        ));
    }
    let pass = section.amount(&PRICES.application, |text| {
        amount::area_price(text, currency.as_deref())
    });
    let application = settle(&mut currency, pass).unwrap_or(0.0);
    let mapping = section.amount(&PRICES.mapping, |text| {
        amount::area_price(text, currency.as_deref())
    });
    let mapping = settle(&mut currency, mapping).unwrap_or(0.0);
    if let (Some(grain), Some(nitrogen)) = (grain, nitrogen) {
        ratio(section, grain, nitrogen);
    }
    if let Some(currency) = &currency {
        section.log().set_currency(currency);
    }
    Some(Prices {
        currency: currency?,
        grain: grain?,
        nitrogen: nitrogen?,
        application,
        mapping,
    })
}

/// Says where a kilogram of nitrogen costs as much grain as it never does: prices move no rate, but what the map earns hangs on them.
fn ratio(section: &Section<'_>, grain: f64, nitrogen: f64) {
    // Of grain that costs nothing, and of nitrogen that does, no ratio can be told.
    if grain <= 0.0 || nitrogen <= 0.0 {
        return;
    }
    let ratio = nitrogen / grain;
    if !(MINIMUM_RATIO..=MAXIMUM_RATIO).contains(&ratio) {
        section.log().note(Finding::caution(
            codes::PRICES_RATIO,
            format!("by these prices a kg of nitrogen costs {ratio:.3} kg of grain, 2 to 15 is usual: check both prices and their units"),
        ));
    }
}

/// Takes the currency of the first price when the job names none.
fn settle(currency: &mut Option<String>, price: Option<(f64, String)>) -> Option<f64> {
    let (value, named) = price?;
    currency.get_or_insert(named);
    Some(value)
}

/// As the record has it.
pub(crate) fn prices_record(prices: &Prices) -> Value {
    Record::new()
        .put(&PRICES.currency, prices.currency.clone())
        .put(&PRICES.grain, prices.grain)
        .put(&PRICES.nitrogen, prices.nitrogen)
        .put(&PRICES.application, prices.application)
        .put(&PRICES.mapping, prices.mapping)
        .value()
}
