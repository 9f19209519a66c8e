//! What a map earns and costs: against nothing, one flat rate and the usual rate, for the field and zone by zone.

use crate::finding::{Finding, codes};
use crate::job::settings::{Output, Prices, RateRules, Response};
use crate::map::prescription::ZoneRecord;
use crate::pipeline::gain::Gain;
use crate::pipeline::rates::Rated;
use crate::pipeline::share::per_hundred;
pub use crate::science::money::Comparison;
use crate::science::money::{
    FieldMoney, GrainResponse, MoneyCell, PriceInputs, break_even_gain, break_even_ratio,
    field_money, highest_price_ratio, part_money,
};
use crate::units::Yield;

/// Money of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Money {
    /// As the user names it.
    pub currency: String,
    /// The map against nothing, a flat rate and the usual rate.
    pub field: FieldMoney,
    /// The map instead of nothing.
    pub against_none: Comparison,
    /// The map instead of one flat rate at its mean.
    pub against_flat: Comparison,
    /// The map instead of the grower's usual rate.
    pub against_usual: Option<Comparison>,
    /// Gain in grain that pays for the map's nitrogen and pass, mean of the ground counted.
    pub break_even_gain: Option<Yield>,
    /// Response index at which the pass pays for itself, at the mean yield.
    pub break_even_ratio: Option<f64>,
    /// Price of nitrogen over price of grain. \[kg grain/kg N\]
    pub price_ratio: Option<f64>,
    /// The same, from which no nitrogen pays however well the crop responds.
    pub highest_price_ratio: f64,
    /// Gain over no nitrogen, the map as it is, should the crop use 0.4 and 0.6 of the nitrogen.
    pub gain_by_efficiency: [f64; 2],
    /// Zone by zone, those that have cells with a yield.
    pub zones: Vec<ZoneMoney>,
    /// What may be expected of the map over flat rates, once it is drawn; `None` where the nitrogen share is not known.
    pub expected: Option<Gain>,
}

/// Money of a zone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ZoneMoney {
    /// Its number.
    pub zone: u32,
    /// As for the field, whose passes and flat rate hold here too.
    pub money: FieldMoney,
}

/// The prices of a job as formulas take them.
pub const fn prices_of(prices: &Prices) -> PriceInputs {
    PriceInputs {
        grain: prices.grain,
        nitrogen: prices.nitrogen,
        application: prices.application,
        mapping: prices.mapping,
    }
}

/// The map's money; `None` without canopy, or by a method that predicts no yield. What may be expected of it over flat rates is drawn later.
pub fn money_of(
    prices: &Prices,
    (response, rule): (&Response, &RateRules),
    rated: &Rated,
    zones: &[ZoneRecord],
) -> Option<Money> {
    let inputs = prices_of(prices);
    // Without a yield in reach there is no gain to put a price on.
    let yields = response.yields()?;
    let grain = GrainResponse {
        grain_nitrogen: yields.grain_nitrogen,
        use_efficiency: yields.use_efficiency,
        applied_since_sensing: response.applied_since_sensing,
    };
    let mut by_zone: Vec<Vec<MoneyCell>> = vec![Vec::new(); zones.len()];
    let mut cells = Vec::new();
    let (mut sum, mut area) = (0.0, 0.0);
    for cell in &rated.cells {
        let (Some(yield_without), Some(yield_with)) = (cell.yield_without, cell.yield_with) else {
            continue;
        };
        let at = cell.zone as usize - 1;
        let rate = zones.get(at).map_or(cell.n, |zone| zone.n);
        let counted = MoneyCell {
            area: cell.area,
            rate,
            yield_without,
            yield_with,
        };
        cells.push(counted);
        if let Some(zone) = by_zone.get_mut(at) {
            zone.push(counted);
        }
        sum += yield_without.get() * cell.area.get();
        area += cell.area.get();
    }
    let field = field_money(&cells, rule.usual, &grain, &inputs)?;
    let mean = Yield::kg_per_ha(sum / area);
    let gain_at = |use_efficiency: f64| {
        let other = GrainResponse {
            use_efficiency,
            ..grain
        };
        field_money(&cells, None, &other, &inputs)
            .map_or(0.0, |money| money.map.net() - money.none.net())
    };
    let zone_money = |(zone, cells): (&ZoneRecord, &Vec<MoneyCell>)| {
        (!cells.is_empty()).then(|| ZoneMoney {
            zone: zone.zone,
            money: part_money(cells, &field, &grain, &inputs),
        })
    };
    Some(Money {
        currency: prices.currency.clone(),
        against_none: field.map.instead_of(&field.none, &inputs),
        against_flat: field.map.instead_of(&field.flat, &inputs),
        against_usual: field
            .usual
            .as_ref()
            .map(|usual| field.map.instead_of(usual, &inputs)),
        break_even_gain: break_even_gain(field.flat_rate, &inputs),
        break_even_ratio: break_even_ratio(mean, &grain, &inputs),
        price_ratio: (inputs.grain > 0.0).then(|| inputs.nitrogen / inputs.grain),
        highest_price_ratio: highest_price_ratio(&grain),
        gain_by_efficiency: [gain_at(0.4), gain_at(0.6)],
        zones: zones.iter().zip(&by_zone).filter_map(zone_money).collect(),
        expected: None,
        field,
    })
}

/// Says when the map does not pay at the job's own prices. Prices never move a rate.
///
/// `nitrogen_price`: what nitrogen costs. \[currency/kg N\]
pub fn money_findings(nitrogen_price: f64, output: &Output, money: &Money) -> Vec<Finding> {
    let currency = &money.currency;
    let mut findings = Vec::new();
    let gain = money.against_none.gain;
    if gain < 0.0 {
        findings.push(Finding::caution(
            codes::MONEY_LOSS,
            format!(
                "at these prices the map costs {:.0} {currency} more than its grain brings: nothing spread would be cheaper; prices do not move the rates",
                -gain
            ),
        ));
    }
    for (other, comparison) in [
        (
            "one flat rate at its mean",
            Some(money.against_flat).filter(|_| money.expected.is_none()),
        ),
        ("the usual rate", money.against_usual),
    ] {
        if let Some(comparison) = comparison.filter(|comparison| comparison.gain < 0.0) {
            findings.push(Finding::note(
                codes::MONEY_FLAT,
                format!("at these prices the map earns {:.0} {currency} less than {other}, image and map included", -comparison.gain),
            ));
        }
    }
    findings.extend(
        money
            .expected
            .as_ref()
            .and_then(|gain| flat_better(nitrogen_price, output, currency, gain)),
    );
    findings
}

/// Says which flat rate may be expected to earn more than the map, and by how much: when it is more than a kilogram of nitrogen a hectare costs.
fn flat_better(worth: f64, output: &Output, currency: &str, gain: &Gain) -> Option<Finding> {
    let (rate, flat) = &gain.best_flat;
    let less = -gain.over_per_ha(flat);
    (less > worth).then(|| {
        Finding::caution(
            codes::RATE_FLAT_BETTER,
            format!(
                "a flat {} may be expected to earn {:.0} {currency} more than this map ({}): {} of the index deficit is nitrogen; think of the flat rate, or go and see what makes the pale patches pale",
                output.nitrogen_rate(rate.get()),
                -gain.over(flat),
                output.money_per_area(less, currency),
                per_hundred(gain.share)
            ),
        )
    })
}
