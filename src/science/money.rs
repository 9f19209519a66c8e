//! What a map of rates earns and costs, against no nitrogen, one flat rate, and the grower's usual rate.

use crate::units::{Area, NMass, NRate, Yield};

/// Prices, one currency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PriceInputs {
    /// Grain. \[currency/kg\]
    pub grain: f64,
    /// Nitrogen. \[currency/kg N\]
    pub nitrogen: f64,
    /// One pass over the field. \[currency/ha\]
    pub application: f64,
    /// What image and map cost, over and above a flat rate. \[currency/ha\]
    pub mapping: f64,
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
    (without + Yield::kg_per_ha(nitrogen.get() * response.use_efficiency / response.grain_nitrogen))
        .min(with)
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
pub fn margin(
    without: Yield,
    with: Yield,
    rate: NRate,
    pass: bool,
    response: &GrainResponse,
    prices: &PriceInputs,
) -> Margin {
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
    /// That usual rate.
    pub usual_rate: Option<NRate>,
}

/// A partial budget: what changes when one way to fertilise takes the place of another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Comparison {
    /// More nitrogen. \[kg N\] Negative when it is less.
    pub added_nitrogen: NMass,
    /// More grain. \[kg\]
    pub added_grain_kg: f64,
    /// More gross. \[currency\]
    pub added_gross: f64,
    /// More cost. \[currency\]
    pub added_cost: f64,
    /// `added gross − added cost`. \[currency\]
    pub gain: f64,
    /// Gain over added cost: 1.85 is 185 %. `None` unless cost is added.
    pub marginal_return: Option<f64>,
    /// Price of nitrogen at which the gain is nothing, all else as it is. \[currency/kg N\] `None` when no price above zero does it.
    pub break_even_nitrogen: Option<f64>,
    /// That price over the price of grain. \[kg grain/kg N\]
    pub break_even_price_ratio: Option<f64>,
}

impl StrategyTotals {
    /// What changes when this takes the place of `other`.
    ///
    /// The gain is a straight line in the price of nitrogen, `ΔG · p_grain − ΔN · p_N − Δrest`; it is nothing at `(ΔG · p_grain − Δrest) / ΔN`. With more
    /// nitrogen this way pays below that price, with less of it above. Nitrogen that differs by less than a billionth does not differ.
    ///
    /// # Source
    /// Partial budgets and the marginal rate of return: From agronomic data to farmer recommendations, CIMMYT 1988 (manual, from memory).
    pub fn instead_of(&self, other: &Self, prices: &PriceInputs) -> Comparison {
        let added_nitrogen = self.nitrogen - other.nitrogen;
        let (added_gross, added_cost) = (self.gross - other.gross, self.cost - other.cost);
        let gain = added_gross - added_cost;
        let differs = added_nitrogen.get().abs() > 1e-9 * self.nitrogen.max(other.nitrogen).get();
        let rest = added_cost - added_nitrogen.get() * prices.nitrogen;
        let break_even_nitrogen = differs
            .then(|| (added_gross - rest) / added_nitrogen.get())
            .filter(|price| *price > 0.0);
        Comparison {
            added_nitrogen,
            added_grain_kg: self.grain_kg - other.grain_kg,
            added_gross,
            added_cost,
            gain,
            marginal_return: (added_cost > 1e-9 * self.cost.abs().max(other.cost.abs()))
                .then(|| gain / added_cost),
            break_even_nitrogen,
            break_even_price_ratio: break_even_nitrogen
                .filter(|_| prices.grain > 0.0)
                .map(|price| price / prices.grain),
        }
    }
}

/// Adds up the cells that have a yield: the map against no nitrogen, against one flat rate at the map's area mean, against the usual rate.
///
/// A pass is charged for the whole area wherever any nitrogen is spread, cells with rate 0 included, because the machine drives over them; no nitrogen
/// costs no pass. `None` without area.
pub fn field_money(
    cells: &[MoneyCell],
    usual: Option<NRate>,
    response: &GrainResponse,
    prices: &PriceInputs,
) -> Option<FieldMoney> {
    let area: Area = cells.iter().map(|cell| cell.area).sum();
    if area <= Area::ZERO || !area.is_finite() {
        return None;
    }
    let total: NMass = cells.iter().map(|cell| cell.rate * cell.area).sum();
    let flat_rate = NRate::kg_per_ha(total.get() / area.as_ha());
    let pass = total > NMass::ZERO;
    let everywhere = |rate: NRate| strategy(cells, |_| rate, rate > NRate::ZERO, response, prices);
    Some(FieldMoney {
        area,
        map: mapped(
            strategy(cells, |cell| cell.rate, pass, response, prices),
            area,
            prices,
        ),
        none: everywhere(NRate::ZERO),
        flat: everywhere(flat_rate),
        flat_rate,
        usual: usual.map(everywhere),
        usual_rate: usual,
    })
}

/// The same for a part of that field, such as one zone: passes and flat rate are the whole field's, so the parts add up to it.
pub fn part_money(
    cells: &[MoneyCell],
    field: &FieldMoney,
    response: &GrainResponse,
    prices: &PriceInputs,
) -> FieldMoney {
    let area: Area = cells.iter().map(|cell| cell.area).sum();
    let everywhere = |rate: NRate| strategy(cells, |_| rate, rate > NRate::ZERO, response, prices);
    let pass = field.map.nitrogen > NMass::ZERO;
    FieldMoney {
        area,
        map: mapped(
            strategy(cells, |cell| cell.rate, pass, response, prices),
            area,
            prices,
        ),
        none: everywhere(NRate::ZERO),
        flat: everywhere(field.flat_rate),
        flat_rate: field.flat_rate,
        usual: field.usual_rate.map(everywhere),
        usual_rate: field.usual_rate,
    }
}

/// The map's own totals: image and map are paid whatever it spreads.
fn mapped(totals: StrategyTotals, area: Area, prices: &PriceInputs) -> StrategyTotals {
    StrategyTotals {
        cost: totals.cost + prices.mapping * area.as_ha(),
        ..totals
    }
}

fn strategy(
    cells: &[MoneyCell],
    rate_of: impl Fn(&MoneyCell) -> NRate,
    pass: bool,
    response: &GrainResponse,
    prices: &PriceInputs,
) -> StrategyTotals {
    let mut totals = StrategyTotals::default();
    for cell in cells {
        let (rate, hectares) = (rate_of(cell), cell.area.as_ha());
        let money = margin(
            cell.yield_without,
            cell.yield_with,
            rate,
            pass,
            response,
            prices,
        );
        totals.nitrogen = totals.nitrogen + rate * cell.area;
        totals.grain_kg +=
            yield_at_rate(cell.yield_without, cell.yield_with, rate, response).get() * hectares;
        totals.gross += money.gross * hectares;
        totals.cost += money.cost * hectares;
    }
    totals
}

/// Gain in grain that pays for a rate and its pass: `(N · p_N + pass) / p_grain`. `None` when grain has no price.
pub fn break_even_gain(rate: NRate, prices: &PriceInputs) -> Option<Yield> {
    (prices.grain > 0.0).then(|| {
        Yield::kg_per_ha((rate.get() * prices.nitrogen + prices.application) / prices.grain)
    })
}

/// Price ratio of nitrogen to grain from which no kilogram of nitrogen pays for itself, however well the crop responds: `e / g`. \[kg grain/kg N\]
pub fn highest_price_ratio(response: &GrainResponse) -> f64 {
    response.use_efficiency / response.grain_nitrogen
}

/// Response index from which a pass pays: `1 + (pass / p_grain) / (YP0 · (1 − p_N · g / (e · p_grain)))`.
///
/// `None` when nitrogen costs as much as the grain that it makes, so that no response pays, or when grain has no price.
pub fn break_even_ratio(
    without: Yield,
    response: &GrainResponse,
    prices: &PriceInputs,
) -> Option<f64> {
    let kept =
        1.0 - prices.nitrogen * response.grain_nitrogen / (response.use_efficiency * prices.grain);
    (prices.grain > 0.0 && kept > 0.0 && without > Yield::ZERO)
        .then(|| 1.0 + prices.application / prices.grain / (without.get() * kept))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn response() -> GrainResponse {
        GrainResponse {
            grain_nitrogen: 0.02,
            use_efficiency: 0.5,
            applied_since_sensing: NRate::ZERO,
        }
    }

    fn cell(area_ha: f64, rate: f64, without: f64, with: f64) -> MoneyCell {
        MoneyCell {
            area: Area::ha(area_ha),
            rate: NRate::kg_per_ha(rate),
            yield_without: Yield::kg_per_ha(without),
            yield_with: Yield::kg_per_ha(with),
        }
    }

    const PRICES: PriceInputs = PriceInputs {
        grain: 0.2,
        nitrogen: 1.0,
        application: 10.0,
        mapping: 0.0,
    };

    #[test]
    fn yield_rises_in_a_line_to_its_ceiling() {
        let (without, with) = (Yield::kg_per_ha(3_000.0), Yield::kg_per_ha(4_000.0));
        let at =
            |rate: f64| yield_at_rate(without, with, NRate::kg_per_ha(rate), &response()).get();
        assert_eq!(
            (at(0.0), at(20.0), at(40.0), at(80.0)),
            (3_000.0, 3_500.0, 4_000.0, 4_000.0)
        );
        let applied = GrainResponse {
            applied_since_sensing: NRate::kg_per_ha(10.0),
            ..response()
        };
        assert_eq!(
            yield_at_rate(without, with, NRate::kg_per_ha(20.0), &applied).get(),
            3_750.0
        );
    }

    #[test]
    fn the_map_against_other_ways() {
        let cells = [
            cell(1.0, 40.0, 3_000.0, 4_000.0),
            cell(3.0, 0.0, 4_000.0, 4_000.0),
        ];
        let money =
            field_money(&cells, Some(NRate::kg_per_ha(60.0)), &response(), &PRICES).unwrap();
        assert_eq!(money.flat_rate.get(), 10.0);
        // By hand: map 16 000 kg for 40 kg N and 4 passes-ha; flat 10 kg/ha makes 3250 kg on the first hectare.
        assert_eq!(
            (money.map.grain_kg, money.map.gross, money.map.cost),
            (16_000.0, 3_200.0, 80.0)
        );
        assert_eq!((money.none.grain_kg, money.none.cost), (15_000.0, 0.0));
        assert_eq!((money.flat.grain_kg, money.flat.cost), (15_250.0, 80.0));
        let usual = money.usual.unwrap();
        assert_eq!(
            (usual.grain_kg, usual.cost, usual.nitrogen.get()),
            (16_000.0, 280.0, 240.0)
        );
        assert_eq!(money.map.net() - money.none.net(), 120.0);
        assert_eq!(field_money(&[], None, &response(), &PRICES), None);
    }

    #[test]
    fn a_partial_budget_by_hand() {
        let cells = [
            cell(1.0, 40.0, 3_000.0, 4_000.0),
            cell(3.0, 0.0, 4_000.0, 4_000.0),
        ];
        let prices = PriceInputs {
            mapping: 5.0,
            ..PRICES
        };
        let money =
            field_money(&cells, Some(NRate::kg_per_ha(60.0)), &response(), &prices).unwrap();
        // Against nothing: 1000 kg of grain for 40 kg N, a pass and a map on 4 ha: 200 − (40 + 40 + 20).
        let none = money.map.instead_of(&money.none, &prices);
        assert_eq!(
            (
                none.added_gross,
                none.added_cost,
                none.gain,
                none.marginal_return
            ),
            (200.0, 100.0, 100.0, Some(1.0))
        );
        // Pays until nitrogen costs (200 − 60) / 40 a kilogram, 17.5 kg of grain.
        assert_eq!(
            (none.break_even_nitrogen, none.break_even_price_ratio),
            (Some(3.5), Some(17.5))
        );
        // Against the usual rate: no grain lost, 200 kg N saved, the map paid; dearer nitrogen favours the map, from 0.10 on.
        let usual = money.map.instead_of(money.usual.as_ref().unwrap(), &prices);
        assert_eq!(
            (
                usual.added_nitrogen.get(),
                usual.added_gross,
                usual.gain,
                usual.marginal_return
            ),
            (-200.0, 0.0, 180.0, None)
        );
        assert_eq!(usual.break_even_nitrogen, Some(0.1));
        // The flat rate spends as much nitrogen, so no price of it decides.
        let flat = money.map.instead_of(&money.flat, &prices);
        assert_eq!(
            (
                flat.added_nitrogen.get(),
                flat.gain,
                flat.break_even_nitrogen
            ),
            (0.0, 130.0, None)
        );
        // Zones add up to the field.
        let parts: Vec<FieldMoney> = cells
            .iter()
            .map(|cell| part_money(std::slice::from_ref(cell), &money, &response(), &prices))
            .collect();
        let sum = |pick: fn(&FieldMoney) -> f64| parts.iter().map(pick).sum::<f64>();
        assert_eq!(
            (sum(|part| part.map.net()), sum(|part| part.flat.net())),
            (money.map.net(), money.flat.net())
        );
        assert_eq!(highest_price_ratio(&response()), 25.0);
    }

    #[test]
    fn no_nitrogen_no_pass() {
        let money = field_money(
            &[cell(2.0, 0.0, 3_000.0, 3_000.0)],
            None,
            &response(),
            &PRICES,
        )
        .unwrap();
        assert_eq!((money.map.cost, money.usual), (0.0, None));
    }

    #[test]
    fn break_even() {
        // 40 kg N at 1 and a pass of 10 cost as much as 250 kg of grain at 0.20.
        assert_eq!(
            break_even_gain(NRate::kg_per_ha(40.0), &PRICES)
                .unwrap()
                .get(),
            250.0
        );
        // Of each kg of grain gained 0.2 is left after its nitrogen: 50 kg for the pass take 62.5 kg more on 3000 at kept 0.8.
        let ratio = break_even_ratio(Yield::kg_per_ha(3_000.0), &response(), &PRICES).unwrap();
        assert!((ratio - (1.0 + 50.0 / (3_000.0 * 0.8))).abs() < 1e-12);
        assert_eq!(
            break_even_ratio(
                Yield::kg_per_ha(3_000.0),
                &response(),
                &PriceInputs {
                    nitrogen: 5.0,
                    ..PRICES
                }
            ),
            None
        );
        assert_eq!(
            break_even_gain(
                NRate::ZERO,
                &PriceInputs {
                    grain: 0.0,
                    ..PRICES
                }
            ),
            None
        );
    }
}
