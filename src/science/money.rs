//! What a map of rates earns and costs, against no nitrogen, one flat rate, and the grower's usual rate.

use crate::units::Area;
use crate::units::NMass;
use crate::units::NRate;
use crate::units::Yield;

/// Prices, one currency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PriceInputs {
    /// Grain. \[currency/kg\]
    pub grain: f64,
    /// Nitrogen. \[currency/kg N\]
    pub nitrogen: f64,
    /// One pass over the field. \[currency/ha\]
    pub application: f64,
}

/// How nitrogen turns into grain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GrainResponse {
    /// Grain nitrogen, share of grain mass, g.
    pub grain_nitrogen: f64,
    /// Share of applied nitrogen that reaches the grain, e.
    pub use_efficiency: f64,
    /// Nitrogen that went on after sensing.
    pub applied_since_sensing: NRate,
}

/// Yield at any rate: `min(YP0 + (N + applied) · e / g, YPN)`.
///
/// A straight line up to a ceiling makes the map's gain over a flat rate an upper bound; reports must say so.
pub fn yield_at_rate(without: Yield, with: Yield, rate: NRate, response: &GrainResponse) -> Yield {
    let nitrogen = rate + response.applied_since_sensing;
    (without + Yield::kg_per_ha(nitrogen.get() * response.use_efficiency / response.grain_nitrogen)).min(with)
}

/// Money per area. \[currency/ha\]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Margin {
    /// Yield × price of grain.
    pub gross: f64,
    /// Nitrogen × its price, and the pass if one is made.
    pub cost: f64,
}

impl Margin {
    /// `gross − cost`.
    pub fn net(&self) -> f64 {
        self.gross - self.cost
    }
}

/// Gross and cost of one rate on one cell; `pass` tells whether the field is driven at all.
pub fn margin(without: Yield, with: Yield, rate: NRate, pass: bool, response: &GrainResponse, prices: &PriceInputs) -> Margin {
    Margin {
        gross: yield_at_rate(without, with, rate, response).get() * prices.grain,
        cost: rate.get() * prices.nitrogen + if pass { prices.application } else { 0.0 },
    }
}

/// One cell with a yield.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MoneyCell {
    /// Its area.
    pub area: Area,
    /// Its rate on the map.
    pub rate: NRate,
    /// YP0.
    pub yield_without: Yield,
    /// YPN.
    pub yield_with: Yield,
}

/// One way to fertilise the field.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StrategyTotals {
    /// Nitrogen.
    pub nitrogen: NMass,
    /// Grain. \[kg\]
    pub grain_kg: f64,
    /// Grain × price. \[currency\]
    pub gross: f64,
    /// Nitrogen and pass. \[currency\]
    pub cost: f64,
}

impl StrategyTotals {
    /// `gross − cost`. \[currency\]
    pub fn net(&self) -> f64 {
        self.gross - self.cost
    }
}

/// Money of a field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldMoney {
    /// Area of the cells that were counted: those with a yield.
    pub area: Area,
    /// The map.
    pub map: StrategyTotals,
    /// No nitrogen, no pass.
    pub none: StrategyTotals,
    /// The map's mean rate everywhere.
    pub flat: StrategyTotals,
    /// That mean rate.
    pub flat_rate: NRate,
    /// The grower's usual rate everywhere, when it is given.
    pub usual: Option<StrategyTotals>,
}

/// Adds up the cells that have a yield: the map against no nitrogen, against one flat rate at the map's area mean, against the usual rate.
///
/// A pass is charged for the whole area wherever any nitrogen is spread, cells with rate 0 included, because the machine drives over them; no nitrogen
/// costs no pass. `None` without area.
pub fn field_money(cells: &[MoneyCell], usual: Option<NRate>, response: &GrainResponse, prices: &PriceInputs) -> Option<FieldMoney> {
    let area: Area = cells.iter().map(|cell| cell.area).sum();
    if area <= Area::ZERO || !area.is_finite() {
        return None;
    }
    let total: NMass = cells.iter().map(|cell| cell.rate * cell.area).sum();
    let flat_rate = NRate::kg_per_ha(total.get() / area.as_ha());
    let everywhere = |rate: NRate| strategy(cells, |_| rate, response, prices);
    Some(FieldMoney {
        area,
        map: strategy(cells, |cell| cell.rate, response, prices),
        none: everywhere(NRate::ZERO),
        flat: everywhere(flat_rate),
        flat_rate,
        usual: usual.map(everywhere),
    })
}

fn strategy(cells: &[MoneyCell], rate_of: impl Fn(&MoneyCell) -> NRate, response: &GrainResponse, prices: &PriceInputs) -> StrategyTotals {
    let pass = cells.iter().any(|cell| rate_of(cell) > NRate::ZERO);
    let mut totals = StrategyTotals::default();
    for cell in cells {
        let (rate, hectares) = (rate_of(cell), cell.area.as_ha());
        let money = margin(cell.yield_without, cell.yield_with, rate, pass, response, prices);
        totals.nitrogen = totals.nitrogen + rate * cell.area;
        totals.grain_kg += yield_at_rate(cell.yield_without, cell.yield_with, rate, response).get() * hectares;
        totals.gross += money.gross * hectares;
        totals.cost += money.cost * hectares;
    }
    totals
}

/// Gain in grain that pays for a rate and its pass: `(N · p_N + pass) / p_grain`. `None` when grain has no price.
pub fn break_even_gain(rate: NRate, prices: &PriceInputs) -> Option<Yield> {
    (prices.grain > 0.0).then(|| Yield::kg_per_ha((rate.get() * prices.nitrogen + prices.application) / prices.grain))
}

/// Response index from which a pass pays: `1 + (pass / p_grain) / (YP0 · (1 − p_N · g / (e · p_grain)))`.
///
/// `None` when nitrogen costs as much as the grain that it makes, so that no response pays, or when grain has no price.
pub fn break_even_ratio(without: Yield, response: &GrainResponse, prices: &PriceInputs) -> Option<f64> {
    let kept = 1.0 - prices.nitrogen * response.grain_nitrogen / (response.use_efficiency * prices.grain);
    (prices.grain > 0.0 && kept > 0.0 && without > Yield::ZERO).then(|| 1.0 + prices.application / prices.grain / (without.get() * kept))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn response() -> GrainResponse {
        GrainResponse { grain_nitrogen: 0.02, use_efficiency: 0.5, applied_since_sensing: NRate::ZERO }
    }

    fn cell(area_ha: f64, rate: f64, without: f64, with: f64) -> MoneyCell {
        MoneyCell { area: Area::ha(area_ha), rate: NRate::kg_per_ha(rate), yield_without: Yield::kg_per_ha(without), yield_with: Yield::kg_per_ha(with) }
    }

    const PRICES: PriceInputs = PriceInputs { grain: 0.2, nitrogen: 1.0, application: 10.0 };

    #[test]
    fn yield_rises_in_a_line_to_its_ceiling() {
        let (without, with) = (Yield::kg_per_ha(3_000.0), Yield::kg_per_ha(4_000.0));
        let at = |rate: f64| yield_at_rate(without, with, NRate::kg_per_ha(rate), &response()).get();
        assert_eq!((at(0.0), at(20.0), at(40.0), at(80.0)), (3_000.0, 3_500.0, 4_000.0, 4_000.0));
        let applied = GrainResponse { applied_since_sensing: NRate::kg_per_ha(10.0), ..response() };
        assert_eq!(yield_at_rate(without, with, NRate::kg_per_ha(20.0), &applied).get(), 3_750.0);
    }

    #[test]
    fn the_map_against_other_ways() {
        let cells = [cell(1.0, 40.0, 3_000.0, 4_000.0), cell(3.0, 0.0, 4_000.0, 4_000.0)];
        let money = field_money(&cells, Some(NRate::kg_per_ha(60.0)), &response(), &PRICES).unwrap();
        assert_eq!(money.flat_rate.get(), 10.0);
        // By hand: map 16 000 kg for 40 kg N and 4 passes-ha; flat 10 kg/ha makes 3250 kg on the first hectare.
        assert_eq!((money.map.grain_kg, money.map.gross, money.map.cost), (16_000.0, 3_200.0, 80.0));
        assert_eq!((money.none.grain_kg, money.none.cost), (15_000.0, 0.0));
        assert_eq!((money.flat.grain_kg, money.flat.cost), (15_250.0, 80.0));
        let usual = money.usual.unwrap();
        assert_eq!((usual.grain_kg, usual.cost, usual.nitrogen.get()), (16_000.0, 280.0, 240.0));
        assert_eq!(money.map.net() - money.none.net(), 120.0);
        assert_eq!(field_money(&[], None, &response(), &PRICES), None);
    }

    #[test]
    fn no_nitrogen_no_pass() {
        let money = field_money(&[cell(2.0, 0.0, 3_000.0, 3_000.0)], None, &response(), &PRICES).unwrap();
        assert_eq!((money.map.cost, money.usual), (0.0, None));
    }

    #[test]
    fn break_even() {
        // 40 kg N at 1 and a pass of 10 cost as much as 250 kg of grain at 0.20.
        assert_eq!(break_even_gain(NRate::kg_per_ha(40.0), &PRICES).unwrap().get(), 250.0);
        // Of each kg of grain gained 0.2 is left after its nitrogen: 50 kg for the pass take 62.5 kg more on 3000 at kept 0.8.
        let ratio = break_even_ratio(Yield::kg_per_ha(3_000.0), &response(), &PRICES).unwrap();
        assert!((ratio - (1.0 + 50.0 / (3_000.0 * 0.8))).abs() < 1e-12);
        assert_eq!(break_even_ratio(Yield::kg_per_ha(3_000.0), &response(), &PriceInputs { nitrogen: 5.0, ..PRICES }), None);
        assert_eq!(break_even_gain(NRate::ZERO, &PriceInputs { grain: 0.0, ..PRICES }), None);
    }
}
