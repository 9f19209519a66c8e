//! A flat rate for people, in both systems of units, and for scripts.

use std::path::Path;

use super::{Flat, Money};
use crate::app::job::rate_record;
use crate::app::record;
use crate::finding::Finding;
use crate::job::settings::RateSettings;
use crate::report::brief::LABEL;
use crate::report::model::{Block, Brief, Report, Row};
use crate::science::methods::about;
use crate::science::money::StrategyTotals;
use crate::science::yield_response::{Capped, in_season_estimate};
use crate::units::{
    KG_PER_LB, M2_PER_AC, M2_PER_HA, NRate, Product, RateUnit, Yield, half_up_to_hundredth,
};
use serde_json::{Value, json};

/// Writes a quantity in both systems, the user's own first.
#[derive(Clone, Copy)]
pub(super) struct Both {
    pub(super) us: bool,
    pub(super) lb_per_bu: Option<f64>,
}

impl Both {
    fn order(self, metric: String, us: String) -> (String, String) {
        if self.us { (us, metric) } else { (metric, us) }
    }
    pub(super) fn rate(self, n: NRate) -> (String, String) {
        self.order(
            format!("{:.1} kg N/ha", n.get()),
            format!("{:.1} lb N/ac", n.as_lb_per_ac()),
        )
    }
    fn grain(self, grain: Yield) -> (String, String) {
        let us = match self.lb_per_bu {
            Some(lb) => format!("{:.1} bu/ac", grain.as_bu_per_ac(lb)),
            None => format!("{:.0} lb/ac", grain.get() / crate::units::KG_HA_PER_LB_AC),
        };
        self.order(format!("{:.2} t/ha", grain.get() / 1000.0), us)
    }
    fn money(self, per_ha: f64, currency: &str) -> (String, String) {
        let per_ac = per_ha * M2_PER_AC / M2_PER_HA;
        self.order(
            format!("{per_ha:+.2} {currency}/ha"),
            format!("{per_ac:+.2} {currency}/ac"),
        )
    }
}

pub(super) fn row(label: impl Into<String>, (first, second): (String, String)) -> Row {
    Row::new(label, first).with_note(second)
}

/// The whole report.
pub(super) fn report(
    settings: &RateSettings,
    folder: &Path,
    flat: &Flat,
    findings: Vec<Finding>,
    stopped: bool,
) -> Report {
    let both = Both {
        us: settings.us_units,
        lb_per_bu: settings.season.crop.lb_per_bu,
    };
    let (first, second) = both.rate(flat.rate);
    let name = settings
        .name
        .as_ref()
        .map_or_else(String::new, |name| format!("{name}: "));
    let mut blocks = vec![
        rate_block(settings, flat, both),
        reference_block(settings, flat),
        method_block(settings, flat, both),
        uncertainty_block(flat, both),
    ];
    blocks.extend(
        flat.money
            .as_ref()
            .map(|money| money_block(settings, money, both)),
    );
    blocks.push(Block::text(
        "Before you spread",
        vec![
            "One rate for the whole field: it is right where the readings were taken, and a map would move it from place to place.".to_owned(),
            "The product's label and the law where you are come first; a licensed adviser decides.".to_owned(),
        ],
    ));
    Report {
        title: format!(
            "{name}{first} ({second}){}",
            if stopped { ": NOT FOR USE" } else { "" }
        ),
        brief: Some(brief(settings, flat, both, stopped)),
        blocks,
        json: value(settings, folder, flat, &findings, stopped),
        findings,
        files: Vec::new(),
        stopped,
    }
}

/// What to do with a flat rate.
pub(super) fn next_of_rate(stopped: bool) -> Vec<String> {
    if stopped {
        return Vec::new();
    }
    vec![
        "One rate for the whole field: right where the readings were taken.".to_owned(),
        LABEL.to_owned(),
    ]
}

fn brief(settings: &RateSettings, flat: &Flat, both: Both, stopped: bool) -> Brief {
    let mut rows = vec![row("nitrogen", both.rate(flat.rate))];
    if let Some(product) = &settings.product {
        rows.push(product_row(product, flat.rate, settings.unit));
    }
    let found = &flat.readings;
    let interval = match &found.interval {
        Ok(interval) => format!("95 % limits {:.2} to {:.2}", interval.low, interval.high),
        Err(_) => "no interval".to_owned(),
    };
    rows.push(Row::new("response index", format!("{:.3}", found.ratio)).with_note(interval));
    let span =
        |(low, high): (NRate, NRate)| format!("{} to {}", both.rate(low).0, both.rate(high).0);
    rows.extend(flat.by_curve.map(|(spread, low, high)| {
        Row::new("curve", span((low, high))).with_note(format!(
            "with the curve {:.0} % lower and higher",
            100.0 * spread
        ))
    }));
    rows.push(Row::new(
        "allowed",
        span((settings.rate.minimum, settings.rate.maximum)),
    ));
    if let Some(money) = &flat.money {
        let gain = money.hectare.map.net() - money.hectare.none.net();
        let (first, _) = both.money(gain, &money.currency);
        rows.push(Row::new(
            "gain",
            format!("at most {first} over no nitrogen"),
        ));
    }
    Brief {
        rows,
        next: next_of_rate(stopped),
        ..Brief::default()
    }
}

fn rate_block(settings: &RateSettings, flat: &Flat, both: Both) -> Block {
    let (rules, cell) = (&settings.rate, &flat.cell);
    let mut rows = vec![row("nitrogen", both.rate(flat.rate))];
    if let Some(economic) = &settings.response.economic {
        rows.push(row(
            "economic optimum of the season",
            both.rate(economic.optimum),
        ));
    }
    if let Some(product) = &settings.product {
        rows.push(product_row(product, flat.rate, settings.unit));
    }
    rows.push(row("before rounding", both.rate(cell.n_exact)));
    if (cell.n_raw - cell.n_exact).get().abs() > 1e-9 {
        rows.push(row("before it is held", both.rate(cell.n_raw)));
    }
    let pair = |pick: fn(&(String, String)) -> &String| {
        let [minimum, maximum] = [both.rate(rules.minimum), both.rate(rules.maximum)];
        format!("{} to {}", pick(&minimum), pick(&maximum))
    };
    rows.push(row("allowed", (pair(|p| &p.0), pair(|p| &p.1))));
    rows.push(row("step", both.rate(rules.step)));
    Block::rows("Rate", rows)
}

/// A product's rate in every unit that it may be set in.
pub(super) fn product_row(product: &Product, rate: NRate, unit: RateUnit) -> Row {
    let units = units_of(product, unit);
    let shown = |unit: RateUnit| {
        product_rate(product, rate, unit)
            .map_or_else(String::new, |value| format!("{value:.1} {}", unit.label()))
    };
    row(
        product.name(),
        (
            shown(units[0]),
            units[1..]
                .iter()
                .map(|unit| shown(*unit))
                .collect::<Vec<_>>()
                .join(", "),
        ),
    )
}

/// Units of a product's rate: the chosen one, then its kin in the other system, then the ones of the other kind where the density is known.
fn units_of(product: &Product, chosen: RateUnit) -> Vec<RateUnit> {
    let kin = match chosen {
        RateUnit::KgPerHa => RateUnit::LbPerAc,
        RateUnit::LbPerAc => RateUnit::KgPerHa,
        RateUnit::LPerHa => RateUnit::GalPerAc,
        RateUnit::GalPerAc => RateUnit::LPerHa,
    };
    let mut units = vec![chosen, kin];
    if product.is_liquid() {
        units.extend(
            [
                RateUnit::KgPerHa,
                RateUnit::LbPerAc,
                RateUnit::LPerHa,
                RateUnit::GalPerAc,
            ]
            .into_iter()
            .filter(|unit| !matches!(unit, u if *u == chosen || *u == kin)),
        );
    }
    units
}

pub(super) fn product_rate(product: &Product, rate: NRate, unit: RateUnit) -> Option<f64> {
    product.in_unit(product.rate_for(rate), unit)
}

fn reference_block(settings: &RateSettings, flat: &Flat) -> Block {
    let found = &flat.readings;
    let count = settings.readings.len();
    let of = if count == 1 {
        "one pair of readings".to_owned()
    } else {
        format!("mean of {count} pairs")
    };
    let interval = match &found.interval {
        Ok(interval) => format!("95 %: {:.3} to {:.3}", interval.low, interval.high),
        Err(_) if count < 5 => format!("no interval: {count} of at least 5 pairs"),
        Err(reason) => format!("no interval: {reason}"),
    };
    let mut rows = vec![
        Row::new("in the strip", format!("{:.4}", found.strip)).with_note(
            match settings.response.index() {
                Some(index) => format!("{index}, {of}"),
                None => of,
            },
        ),
        Row::new("beside it", format!("{:.4}", found.beside)),
        Row::new("response index", format!("{:.3}", found.ratio)).with_note(interval),
    ];
    if let Some(used) = flat
        .cell
        .ratio
        .filter(|used| (used - found.ratio).abs() > 1e-12)
    {
        rows.push(
            Row::new("as used", format!("{used:.3}")).with_note(
                "limited to 1 and the largest response index, adjusted if the job says so",
            ),
        );
    }
    Block::rows("Reference", rows)
}

fn method_block(settings: &RateSettings, flat: &Flat, both: Both) -> Block {
    let (response, cell) = (&settings.response, &flat.cell);
    let days = flat.season.growing_days;
    let mut rows = vec![Row::new("crop", settings.season.crop.name.clone())];
    if days.is_finite() {
        rows.push(
            Row::new("growing days", format!("{days}"))
                .with_note(flat.season.text().unwrap_or_else(|| "as stated".to_owned())),
        );
    }
    rows.push(
        Row::new("method", response.name())
            .with_note(format!("source: {}", response.fitted().source)),
    );
    if let (Some(yields), Some((without, with))) = (response.yields(), cell.yields) {
        let curve = &yields.curve;
        rows.extend([
            Row::new(
                "in-season estimate",
                format!("{:.5}", in_season_estimate(flat.readings.beside, days)),
            )
            .with_note("index a growing day"),
            row("yield without more nitrogen", both.grain(without)),
            row("yield with it", both.grain(with)),
            row("the site's maximum", both.grain(yields.maximum_yield)),
            Row::new(
                "yield curve",
                format!("a {:.0} kg/ha, b {} d", curve.a.get(), curve.b),
            )
            .with_note(format!("{}; {}", curve.index, curve.source)),
            Row::new(
                "grain nitrogen",
                format!("{:.2} %", 100.0 * yields.grain_nitrogen),
            )
            .with_note("of grain mass at market moisture"),
            Row::new("use efficiency", format!("{:.2}", yields.use_efficiency))
                .with_note("share of applied nitrogen that reaches the grain"),
        ]);
    } else {
        rows.push(Row::new(
            "formula",
            about(response.name()).map_or("", |about| about.formula),
        ));
    }
    rows.push(row(
        "applied since sensing",
        both.rate(response.applied_since_sensing),
    ));
    Block::rows(
        if response.yields().is_some() {
            "Season and yield"
        } else {
            "Season and method"
        },
        rows,
    )
}

fn uncertainty_block(flat: &Flat, both: Both) -> Block {
    let span = |(low, high): (NRate, NRate)| {
        let (low, high) = (both.rate(low), both.rate(high));
        (
            format!("{} to {}", low.0, high.0),
            format!("{} to {}", low.1, high.1),
        )
    };
    let mut rows = Vec::new();
    match flat.by_bounds {
        Some(bounds) => rows.push(row("at the interval's bounds", span(bounds))),
        None => rows.push(
            Row::new("at the interval's bounds", "not known").with_note("there is no interval"),
        ),
    }
    rows.extend(
        flat.by_efficiency
            .map(|bounds| row("at use efficiency 0.6 and 0.4", span(bounds))),
    );
    rows.extend(flat.by_curve.map(|(spread, low, high)| {
        row(
            format!("with the curve {:.0} % lower and higher", 100.0 * spread),
            span((low, high)),
        )
    }));
    Block::rows("How the rate would change", rows)
}

fn money_block(settings: &RateSettings, money: &Money, both: Both) -> Block {
    let (hectare, currency) = (&money.hectare, money.currency.as_str());
    let amount = |value: f64| both.money(value, currency);
    let mut rows = vec![
        row("nitrogen and pass", amount(-hectare.map.cost)),
        row(
            "gain over no nitrogen",
            amount(hectare.map.net() - hectare.none.net()),
        ),
    ];
    if let (Some(usual), Some(rate)) = (&hectare.usual, settings.rate.usual) {
        rows.push(row(
            format!("gain over {}", both.rate(rate).0),
            amount(hectare.map.net() - usual.net()),
        ));
    }
    if let Some(share) = money.against_none.marginal_return {
        rows.push(
            Row::new("marginal return", format!("{:.0} %", 100.0 * share))
                .with_note("gain for what nitrogen and pass cost, against no nitrogen"),
        );
    }
    if let Some(price) = money.against_none.break_even_nitrogen {
        let each = both.order(
            format!("{price:.2} {currency}/kg N"),
            format!("{:.2} {currency}/lb N", price * KG_PER_LB),
        );
        rows.push(row("pays below", each));
    }
    rows.extend(
        money
            .break_even_gain
            .map(|gain| row("pays from a gain of", both.grain(gain))),
    );
    rows.push(match money.break_even_ratio {
        Some(ratio) => Row::new("pays above a response of", format!("{ratio:.3}"))
            .with_note("response index at which a dressing pays for its pass"),
        None => Row::new("pays above a response of", "none")
            .with_note("nitrogen costs as much as the grain that it makes"),
    });
    rows.push(
        Row::new("mind", "upper bounds")
            .with_note("what is applied is taken to work fully, up to the yield in reach"),
    );
    Block::rows("Money", rows)
}

fn value(
    settings: &RateSettings,
    folder: &Path,
    flat: &Flat,
    findings: &[Finding],
    stopped: bool,
) -> Value {
    let (found, cell) = (&flat.readings, &flat.cell);
    let bounds = found.interval.as_ref().ok();
    let bushels = |grain: Yield| {
        settings
            .season
            .crop
            .lb_per_bu
            .map(|lb| grain.as_bu_per_ac(lb))
    };
    let product = settings.product.as_ref().map(|product| {
        let exact = product_rate(product, flat.rate, settings.unit);
        json!({ "name": product.name(), "rate": exact.map(half_up_to_hundredth), "rate_exact": exact, "unit": settings.unit.label() })
    });
    let mut season = record::season(&flat.season, &settings.season.crop.name);
    season["in_season_estimate_per_d"] = json!(
        settings
            .response
            .yields()
            .map(|_| in_season_estimate(found.beside, flat.season.growing_days))
    );
    json!({
        "version": env!("CARGO_PKG_VERSION"),
        "not_for_use": stopped,
        "settings": rate_record(settings, folder),
        "reference": {
            "kind": "readings", "pairs": settings.readings.len(), "index": found.strip, "beside": found.beside, "ratio": found.ratio,
            "ratio_low": bounds.map(|b| b.low), "ratio_high": bounds.map(|b| b.high), "no_interval": found.interval.as_ref().err().map(ToString::to_string),
        },
        "season": season,
        "rate": {
            "ratio_raw": cell.ratio_raw, "ratio": cell.ratio,
            "yield_without_n_kg_ha": cell.yields.map(|yields| yields.0.get()), "yield_with_n_kg_ha": cell.yields.map(|yields| yields.1.get()),
            "yield_without_n_bu_ac": cell.yields.and_then(|yields| bushels(yields.0)), "yield_with_n_bu_ac": cell.yields.and_then(|yields| bushels(yields.1)),
            "n_raw_kg_ha": cell.n_raw.get(), "n_exact_kg_ha": cell.n_exact.get(), "n_kg_ha": flat.rate.get(),
            "n_raw_lb_ac": cell.n_raw.as_lb_per_ac(), "n_exact_lb_ac": cell.n_exact.as_lb_per_ac(), "n_lb_ac": flat.rate.as_lb_per_ac(),
            "capped": match cell.capped { Capped::None => "none", Capped::Without => "without", Capped::With => "with" },
        },
        "product": product,
        "uncertainty": {
            "n_kg_ha_by_ratio_bounds": flat.by_bounds.map(|(low, high)| [low.get(), high.get()]),
            "n_kg_ha_by_use_efficiency": flat.by_efficiency.map(|(low, high)| [low.get(), high.get()]),
            "n_kg_ha_by_curve": flat.by_curve.map(|(_, low, high)| [low.get(), high.get()]), "curve_spread": flat.by_curve.map(|(spread, ..)| spread),
        },
        "money": flat.money.as_ref().map(money_value),
        "findings": record::findings(findings),
    })
}

fn money_value(money: &Money) -> Value {
    let strategy = |s: &StrategyTotals| json!({ "n_kg_ha": s.nitrogen.get(), "grain_kg_ha": s.grain_kg, "gross_per_ha": s.gross, "cost_per_ha": s.cost, "net_per_ha": s.net() });
    let hectare = &money.hectare;
    json!({
        "currency": money.currency, "rate": strategy(&hectare.map), "none": strategy(&hectare.none), "usual": hectare.usual.as_ref().map(strategy),
        "gain_over_none_per_ha": hectare.map.net() - hectare.none.net(),
        "gain_over_usual_per_ha": hectare.usual.as_ref().map(|usual| hectare.map.net() - usual.net()),
        "break_even_ratio": money.break_even_ratio, "break_even_gain_kg_ha": money.break_even_gain.map(Yield::get),
        "against_none_per_ha": record::comparison(&money.against_none), "against_usual_per_ha": money.against_usual.as_ref().map(record::comparison), "upper_bound": true,
    })
}
