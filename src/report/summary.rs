//! The summary of a run as an adviser would tell it: reference, season, yields, rates, totals, money.

use crate::job::settings::Settings;
use crate::map::file_totals::FileTotal;
use crate::map::prescription::CellState;
use crate::pipeline::gain::ExpectedNet;
use crate::pipeline::ground::Ground;
use crate::pipeline::money::{Comparison, Money};
use crate::pipeline::product::Loads;
use crate::pipeline::run::Outcome;
use crate::pipeline::season::GrowingSeason;
use crate::pipeline::share::per_hundred;
use crate::pipeline::strips::StripFound;
use crate::pipeline::survey::Survey;
use crate::report::model::{Block, Column, Row, Table};
use crate::units::{Area, KG_PER_LB, M_PER_FT, NRate, Yield};
use serde_json::{Value, json};

/// What a summary needs besides the outcome.
pub(crate) struct Facts<'a> {
    /// The settings.
    pub settings: &'a Settings,
    /// The ground.
    pub ground: &'a Ground,
    /// The index's name.
    pub index_name: &'a str,
    /// Growing days and how they were counted.
    pub season: &'a GrowingSeason,
    /// The map id.
    pub map_id: &'a str,
}

/// What an image file says of itself.
#[derive(Clone, Debug)]
pub(crate) struct FileFacts {
    /// The file.
    pub path: String,
    /// Its driver.
    pub driver: String,
    /// Its reference system.
    pub system: String,
    /// Columns.
    pub cols: i64,
    /// Rows.
    pub rows: i64,
    /// Number, description, type, nodata, use of each band.
    pub bands: Vec<[String; 5]>,
}

/// Writes quantities in the units that the job chose.
pub(in crate::report) struct Units<'a> {
    us: bool,
    settings: &'a Settings,
}

impl<'a> Units<'a> {
    /// As the job says.
    pub(in crate::report) const fn of(facts: &Facts<'a>) -> Self {
        Self {
            us: facts.settings.output.us_units,
            settings: facts.settings,
        }
    }
}

impl Units<'_> {
    /// A rate of nitrogen without its unit.
    pub(in crate::report) fn number(&self, n: NRate) -> String {
        if self.us {
            format!("{:.1}", n.as_lb_per_ac())
        } else {
            format!("{:.1}", n.get())
        }
    }
    /// A short length.
    pub(in crate::report) fn length(&self, m: f64) -> String {
        if self.us {
            format!("{:.2} ft", m / M_PER_FT)
        } else {
            format!("{m:.3} m")
        }
    }
    pub(in crate::report) fn rate(&self, n: NRate) -> String {
        if self.us {
            format!("{:.1} lb N/ac", n.as_lb_per_ac())
        } else {
            format!("{:.1} kg N/ha", n.get())
        }
    }
    /// A mass of nitrogen without its unit.
    pub(in crate::report) fn mass_number(&self, kg: f64) -> String {
        format!("{:.0}", if self.us { kg / KG_PER_LB } else { kg })
    }
    pub(in crate::report) fn mass(&self, kg: f64) -> String {
        if self.us {
            format!("{:.0} lb N", kg / KG_PER_LB)
        } else {
            format!("{kg:.0} kg N")
        }
    }
    pub(in crate::report) fn area(&self, area: Area) -> String {
        if self.us {
            format!("{:.2} ac", area.as_ac())
        } else {
            format!("{:.2} ha", area.as_ha())
        }
    }
    fn grain(&self, grain: Yield) -> String {
        match self.settings.season.crop.lb_per_bu.filter(|_| self.us) {
            Some(lb) => format!("{:.1} bu/ac", grain.as_bu_per_ac(lb)),
            None => format!("{:.2} t/ha", grain.get() / 1000.0),
        }
    }
    fn shown(outcome: &Outcome, n: NRate) -> String {
        format!(
            "{:.1} {}",
            outcome.prescription.shown(n),
            outcome.prescription.rate_label()
        )
    }
}

fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

/// The blocks of a map's summary.
pub(crate) fn blocks(facts: &Facts<'_>, outcome: &Outcome, files: &[FileTotal]) -> Vec<Block> {
    let units = Units::of(facts);
    let mut blocks = vec![
        reference_block(facts, outcome),
        season_block(facts, outcome, &units),
        ground_block(facts, outcome, &units),
        nitrogen_block(facts, outcome, &units, files),
        zones_block(outcome, &units),
    ];
    blocks.extend(
        outcome
            .money
            .as_ref()
            .map(|money| money_block(facts, money, &units)),
    );
    blocks.push(Block::text(
        "Before you spread",
        vec![
            "The product's label and the law where you are come first; a licensed adviser decides. Keep the distances to wells and surface water that your local code asks for: haulm knows only those that the job names.".to_owned(),
            "Check unit and product on the terminal against CARD.txt, and the rate at its check points, before the first pass.".to_owned(),
        ],
    ));
    blocks
}

fn reference_block(facts: &Facts<'_>, outcome: &Outcome) -> Block {
    let reference = &outcome.reference;
    let mut rows = vec![
        Row::new("reference index", format!("{:.4}", reference.index)).with_note(format!(
            "{} of the {}",
            facts.index_name,
            match reference.kind {
                "strips" => "reference strips",
                "readings" => "hand readings, on the image's level",
                _ => "field's own percentile",
            }
        )),
    ];
    if let Some(beside) = reference.beside {
        rows.push(
            Row::new("comparison ground", format!("{beside:.4}")).with_note("beside the strips"),
        );
    }
    if let Some(ratio) = reference.ratio {
        let interval = match (reference.low, reference.high) {
            (Some(low), Some(high)) => {
                let answer = reference
                    .answer
                    .map_or_else(String::new, |answer| format!("{}; ", answer.word()));
                let by = reference.placebo.map_or_else(String::new, |placebo| {
                    format!(", {} placebo strips", placebo.places)
                });
                format!("{answer}95 %: {low:.3} to {high:.3}{by}")
            }
            _ => format!(
                "no interval: {}",
                reference.no_interval.as_deref().unwrap_or("not known")
            ),
        };
        rows.push(Row::new("response index", format!("{ratio:.3}")).with_note(interval));
    }
    if let Ok(share) = &outcome.share {
        rows.push(
            Row::new("nitrogen share", per_hundred(share.share)).with_note(format!(
                "of the index deficit is nitrogen; 80 % range {:.0} to {:.0} %",
                100.0 * share.low,
                100.0 * share.high
            )),
        );
    }
    rows.push(
        Row::new(
            "field mean index",
            format!("{:.4}", outcome.survey.field_mean),
        )
        .with_note(reference.place.map_or_else(String::new, |place| {
            format!("the comparison ground is at {place:.3} of it")
        })),
    );
    Block::rows("Reference", rows)
}

fn season_block(facts: &Facts<'_>, outcome: &Outcome, units: &Units<'_>) -> Block {
    let response = &facts.settings.response;
    let mut rows = Vec::new();
    if facts.season.growing_days.is_finite() {
        rows.push(
            Row::new(
                "days with GDD > 0",
                format!("{:.0}", facts.season.growing_days),
            )
            .with_note(
                facts
                    .season
                    .text()
                    .unwrap_or_else(|| "as stated in the job".to_owned()),
            ),
        );
    }
    rows.push(
        Row::new("method", response.name())
            .with_note(format!("source: {}", response.fitted().source)),
    );
    if let (Some((without, with)), Some(yields)) = (outcome.totals.yields, response.yields()) {
        rows.push(
            Row::new("yield without more nitrogen", units.grain(without))
                .with_note("mean of canopy cells"),
        );
        rows.push(
            Row::new("yield with it", units.grain(with)).with_note(format!(
                "the site's maximum is {}",
                units.grain(yields.maximum_yield)
            )),
        );
        let capped = &outcome.totals;
        rows.push(
            Row::new("limited by the maximum", percent(capped.capped_share)).with_note(format!(
                "of the canopy; {} of it already without nitrogen",
                percent(capped.capped_without_share)
            )),
        );
    }
    Block::rows(
        if response.yields().is_some() {
            "Season and yield"
        } else {
            "Season and method"
        },
        rows,
    )
}

/// The heading on the plane, and where the field is driven otherwise.
fn headings_note(ground: &Ground) -> String {
    let areas = ground.driven.iter().skip(1).map(|driven| {
        format!(
            "{} along {:.2}° true",
            driven.name,
            ground.plane.true_azimuth(driven.azimuth_deg)
        )
    });
    std::iter::once(format!("{:.2}° on the plane", ground.heading_grid_deg()))
        .chain(areas)
        .collect::<Vec<_>>()
        .join("; ")
}

fn ground_block(facts: &Facts<'_>, outcome: &Outcome, units: &Units<'_>) -> Block {
    let totals = &outcome.totals;
    Block::rows(
        "Ground",
        vec![
            Row::new("field", units.area(Area::m2(facts.ground.area))).with_note(format!(
                "in {} cells along {:.1}° true",
                facts.ground.grid.cells.len(),
                facts.ground.heading_true_deg()
            )),
            Row::new("no image", percent(totals.unseen_share)),
            Row::new("bare soil", percent(totals.bare_share)),
            Row::new("poor stand", percent(totals.thin_share))
                .with_note("crop too thin for nitrogen to be the likely reason"),
        ],
    )
}

fn nitrogen_block(
    facts: &Facts<'_>,
    outcome: &Outcome,
    units: &Units<'_>,
    files: &[FileTotal],
) -> Block {
    let totals = &outcome.totals;
    let mut rows = vec![
        Row::new("nitrogen in all", units.mass(totals.n_kg)).with_note(format!(
            "before rounding and zones {}",
            units.mass(totals.n_kg_exact)
        )),
        Row::new("mean rate", units.rate(totals.mean_rate)).with_note(format!(
            "field rate {} ({} before rounding)",
            units.rate(outcome.prescription.field_rate),
            units.rate(outcome.rated.field_exact)
        )),
    ];
    if let (Some(product), Some(total)) = (&facts.settings.product, totals.product) {
        rows.push(
            Row::new(
                format!("{} in all", product.name()),
                format!("{total:.0} {}", facts.settings.output.unit.total_label()),
            )
            .with_note(format!("mean {}", Units::shown(outcome, totals.mean_rate))),
        );
    }
    let unit = outcome.prescription.total_label();
    rows.extend(files.iter().map(|total| {
        Row::new(
            format!("by the {}", total.file.word()),
            format!("{:.1} {unit}", total.in_field),
        )
        .with_note(format!(
            "in the field; {:.1} {unit} with what runs out over its edge",
            total.with_run_out
        ))
    }));
    rows.extend(
        facts
            .settings
            .product
            .as_ref()
            .zip(totals.loads.as_ref())
            .and_then(|(product, loads)| loads_row(facts, product, loads)),
    );
    if let Some((low, high)) = totals.n_kg_by_bounds {
        rows.push(
            Row::new(
                "at the 95 % limits",
                format!("{} to {}", units.mass(low), units.mass(high)),
            )
            .with_note("ground with image, at the 95 % limits of the response index"),
        );
    }
    if let Some((low, high)) = totals.n_kg_by_efficiency {
        rows.push(
            Row::new(
                "by use efficiency",
                format!("{} to {}", units.mass(low), units.mass(high)),
            )
            .with_note("ground with image, at 0.6 and 0.4"),
        );
    }
    if let Some(uncertainty) = &outcome.uncertainty {
        let band = &uncertainty.field;
        let widest = uncertainty.parts.first().map_or_else(String::new, |part| {
            format!(
                "; most by the {} ({:.0} % of the variance)",
                part.cause.word(),
                100.0 * part.share
            )
        });
        rows.push(
            Row::new(
                "80 % range",
                format!("{} to {}", units.mass(band.low), units.mass(band.high)),
            )
            .with_note(format!(
                "P10 to P90, Monte Carlo, {1} draws; P50 {0}{widest}",
                units.mass(band.middle),
                uncertainty.draws
            )),
        );
    }
    if totals.held_share > 0.0 {
        rows.push(
            Row::new("limited by the maximum rate", percent(totals.held_share)).with_note(format!(
                "of the canopy asks for more than {}",
                units.rate(facts.settings.rate.maximum)
            )),
        );
    }
    Block::rows("Nitrogen", rows)
}

/// How often the machine is filled; amounts in the unit of the product's total.
fn loads_row(facts: &Facts<'_>, product: &crate::units::Product, loads: &Loads) -> Option<Row> {
    let unit = facts.settings.output.unit;
    let shown = |kg: f64| {
        product
            .in_total(kg, unit)
            .map(|value| format!("{value:.0} {}", unit.total_label()))
    };
    let (full, last, even, left) = (
        shown(loads.capacity_kg)?,
        shown(loads.last_kg)?,
        shown(loads.even_kg)?,
        shown(loads.leftover_kg)?,
    );
    let note = match loads.fills {
        1 => format!("of {last}; a full one ({full}) would leave {left}"),
        fills => format!(
            "{} of {full} and one of {last}, or {fills} of {even}; {left} would be left of full ones",
            fills - 1
        ),
    };
    Some(Row::new("fills", loads.fills.to_string()).with_note(note))
}

/// What the map earns and costs.
fn money_block(facts: &Facts<'_>, money: &Money, units: &Units<'_>) -> Block {
    let (field, currency) = (&money.field, &money.currency);
    let amount = |value: f64| format!("{value:+.0} {currency}");
    let mapped = facts
        .settings
        .prices
        .as_ref()
        .is_some_and(|prices| prices.mapping > 0.0);
    let mut rows = vec![
        Row::new(
            "nitrogen and pass",
            format!("{:.0} {currency}", field.map.cost),
        )
        .with_note(if mapped { "image and map included" } else { "" }),
    ];
    let per_n = |price: f64| {
        if units.us {
            format!("{:.2} {currency}/lb N", price * KG_PER_LB)
        } else {
            format!("{price:.2} {currency}/kg N")
        }
    };
    let flip = |comparison: &Comparison| match comparison.break_even_nitrogen {
        Some(price) if comparison.added_nitrogen.get() > 0.0 => {
            format!(", pays below {}", per_n(price))
        }
        Some(price) => format!(", pays above {}", per_n(price)),
        None => String::new(),
    };
    rows.push(
        Row::new("gain over no nitrogen", amount(money.against_none.gain)).with_note(format!(
            "upper bound: what is applied is taken to work fully{}",
            flip(&money.against_none)
        )),
    );
    if let Some(gain) = &money.expected {
        let expected = |(rate, flat): &(NRate, ExpectedNet), what: &str| {
            Row::new(what, amount(gain.over(flat))).with_note(format!(
                "of {}; expected, {} of the index deficit is nitrogen",
                units.rate(*rate),
                per_hundred(gain.share)
            ))
        };
        rows.push(expected(&gain.mean_flat, "gain over a flat rate"));
        rows.push(expected(&gain.best_flat, "gain over the best flat rate"));
        rows.extend(
            gain.usual
                .iter()
                .map(|usual| expected(usual, "gain over the usual rate")),
        );
    } else {
        rows.push(
            Row::new("gain over a flat rate", amount(money.against_flat.gain)).with_note(format!(
                "of {}; upper bound, all of the index deficit taken for nitrogen",
                units.rate(field.flat_rate)
            )),
        );
    }
    if let (Some(usual), Some(rate), None) = (
        &money.against_usual,
        facts.settings.rate.usual,
        &money.expected,
    ) {
        rows.push(
            Row::new("gain over the usual rate", amount(usual.gain)).with_note(format!(
                "of {}{}",
                units.rate(rate),
                flip(usual)
            )),
        );
    }
    if let Some(share) = money.against_none.marginal_return {
        rows.push(
            Row::new("marginal return", format!("{:.0} %", 100.0 * share))
                .with_note("gain per cost of nitrogen and pass, against no nitrogen"),
        );
    }
    let [low, high] = money.gain_by_efficiency;
    rows.push(
        Row::new(
            "by use efficiency",
            format!("{} to {}", amount(low), amount(high)),
        )
        .with_note("gain over no nitrogen, should the crop use 0.4 or 0.6"),
    );
    if let Some(gain) = money.break_even_gain {
        rows.push(
            Row::new("pays from a gain of", units.grain(gain))
                .with_note("grain that pays for the mean rate and its pass"),
        );
    }
    if let Some(ratio) = money.break_even_ratio {
        rows.push(
            Row::new("pays above a response of", format!("{ratio:.3}"))
                .with_note("response index at which a dressing pays for its pass"),
        );
    }
    if let Some(ratio) = money.price_ratio {
        rows.push(
            Row::new("price ratio", format!("{ratio:.1}")).with_note(format!(
                "kg of grain that a kg of nitrogen costs; from {:.1} on none pays",
                money.highest_price_ratio
            )),
        );
    }
    Block::rows("Money", rows)
}

fn zones_block(outcome: &Outcome, units: &Units<'_>) -> Block {
    let mut by_rate: std::collections::BTreeMap<i64, (NRate, f64, u32)> =
        std::collections::BTreeMap::new();
    for zone in &outcome.prescription.zones {
        let entry = by_rate
            .entry((zone.n.get() * 1000.0) as i64)
            .or_insert((zone.n, 0.0, 0));
        entry.1 += zone.area.get();
        entry.2 += 1;
    }
    let mut columns = vec![Column::right(if units.us { "lb N/ac" } else { "kg N/ha" })];
    if outcome.prescription.product.is_some() {
        columns.push(Column::right(outcome.prescription.rate_label()));
    }
    columns.push(Column::right(if units.us { "ac" } else { "ha" }));
    columns.push(Column::right("zones"));
    let rows = by_rate
        .values()
        .map(|(n, area, zones)| {
            let mut row = vec![format!(
                "{:.1}",
                if units.us { n.as_lb_per_ac() } else { n.get() }
            )];
            if outcome.prescription.product.is_some() {
                row.push(format!("{:.1}", outcome.prescription.shown(*n)));
            }
            let area = Area::m2(*area);
            row.push(format!(
                "{:.2}",
                if units.us { area.as_ac() } else { area.as_ha() }
            ));
            row.push(zones.to_string());
            row
        })
        .collect();
    let cells = |requirement: CellState| {
        outcome
            .prescription
            .cells
            .iter()
            .filter(|cell| cell.state == requirement)
            .count()
    };
    let heading = format!(
        "{} zones of {} cells ({} canopy, {} poor stand, {} bare soil, {} no image)",
        outcome.prescription.zones.len(),
        outcome.prescription.cells.len(),
        cells(CellState::Canopy),
        cells(CellState::Thin),
        cells(CellState::Bare),
        cells(CellState::Unseen)
    );
    Block::table(heading, Table { columns, rows })
}

/// The blocks and the value of an inspection.
pub(crate) fn inspected(
    facts: &Facts<'_>,
    survey: &Survey,
    files: &[FileFacts],
    bands: &[String],
) -> (Vec<Block>, Value) {
    let units = Units::of(facts);
    let ground = facts.ground;
    let plane = &ground.plane;
    let mut blocks = Vec::new();
    for file in files {
        blocks.push(Block::rows(
            file.path.clone(),
            vec![
                Row::new("driver", file.driver.clone()),
                Row::new("reference system", file.system.clone()),
                Row::new("size", format!("{} × {} pixels", file.cols, file.rows)),
            ],
        ));
        let columns = vec![
            Column::right("band"),
            Column::left("description"),
            Column::left("type"),
            Column::right("nodata"),
            Column::left("use"),
        ];
        blocks.push(Block::table(
            "",
            Table {
                columns,
                rows: file.bands.iter().map(|band| band.to_vec()).collect(),
            },
        ));
    }
    let value = |v: f64| {
        if v.is_finite() {
            format!("{v:.4}")
        } else {
            "none".to_owned()
        }
    };
    let of_band = |(name, range): (&String, &crate::pipeline::scan::BandRange)| {
        vec![
            name.clone(),
            value(range.minimum),
            value(range.mean().unwrap_or(f64::NAN)),
            value(range.maximum),
            range.pixels.to_string(),
        ]
    };
    let columns = vec![
        Column::left("band"),
        Column::right("minimum"),
        Column::right("mean"),
        Column::right("maximum"),
        Column::right("pixels"),
    ];
    blocks.push(Block::table(
        "Bands over the field, scaled",
        Table {
            columns,
            rows: bands
                .iter()
                .zip(&survey.scanned.bands)
                .map(of_band)
                .collect(),
        },
    ));
    let band_json: Vec<Value> = bands
        .iter()
        .zip(&survey.scanned.bands)
        .map(|(name, range)| {
            let number = |v: f64| v.is_finite().then_some(v);
            json!({ "name": name, "least": number(range.minimum), "mean": range.mean(), "greatest": number(range.maximum), "pixels": range.pixels })
        })
        .collect();
    let counts = survey.scanned.counts;
    let unseen = counts.missing + counts.undefined + counts.out_of_range;
    let seen = 1.0 - unseen as f64 / counts.in_field.max(1) as f64;
    let (spacing, of_what) = match &survey.points {
        Some(points) => (
            Row::new("readings", points.kept.to_string()).with_note(format!(
                "that count, {} apart by the median",
                units.length(points.spacing)
            )),
            format!("{} cells have too few readings", points.cells_unseen),
        ),
        None => (
            Row::new("pixel", units.length(ground.pixel)),
            format!(
                "of {} whole pixels: {} without value, {} undefined, {} out of range",
                counts.in_field, counts.missing, counts.undefined, counts.out_of_range
            ),
        ),
    };
    blocks.push(Block::rows(
        "Ground",
        vec![
            Row::new(
                "working plane",
                format!("{} ({})", plane.crs, plane.crs.name()),
            )
            .with_note(format!(
                "areal scale {:.6}, convergence {:.3}°",
                plane.areal_scale, plane.convergence_deg
            )),
            Row::new("field", units.area(Area::m2(ground.area))).with_note(format!(
                "{} cells of {} × {}",
                ground.grid.cells.len(),
                units.length(ground.grid.frame.length),
                units.length(ground.grid.frame.width)
            )),
            Row::new("heading", format!("{:.2}° true", ground.heading_true_deg()))
                .with_note(headings_note(ground)),
            spacing,
            match facts.season.growing_days {
                days if days.is_finite() => Row::new("days with GDD > 0", format!("{days:.0}"))
                    .with_note(facts.season.text().unwrap_or_default()),
                _ => Row::new("days with GDD > 0", "unknown").with_note("the method needs none"),
            },
            Row::new("with image", percent(seen)).with_note(of_what),
            Row::new("mean index", format!("{:.4}", survey.field_mean))
                .with_note(format!("{} of canopy", facts.index_name)),
        ],
    ));
    let number =
        |value: Option<f64>| value.map_or_else(|| "none".to_owned(), |v| format!("{v:.4}"));
    let mut rows = Vec::new();
    let mut list = Vec::new();
    for (k, strip) in survey.strips.iter().enumerate() {
        let found = strip.found.as_ref().ok();
        let ratio = found.and_then(|f| f.beside().map(|beside| f.index() / beside));
        rows.push(vec![
            (k + 1).to_string(),
            found.map_or("left out", StripFound::estimator).to_owned(),
            number(found.map(StripFound::index)),
            number(found.and_then(StripFound::beside)),
            ratio.map_or_else(|| "none".to_owned(), |r| format!("{r:.3}")),
            found.map_or(0, StripFound::pixels).to_string(),
            found.map_or(0, StripFound::dropped).to_string(),
            units.area(Area::m2(strip.plan.area)),
        ]);
        list.push(json!({ "strip": k + 1, "estimator": found.map(StripFound::estimator), "index": found.map(StripFound::index), "beside": found.and_then(StripFound::beside), "ratio": ratio, "pixels": found.map(StripFound::pixels), "segments_dropped": found.map(StripFound::dropped), "area_m2": strip.plan.area, "reason": strip.found.as_ref().err().map(ToString::to_string) }));
    }
    if !rows.is_empty() {
        let columns = [
            "strip",
            "estimator",
            "index",
            "comparison",
            "ratio",
            "pixels",
            "dropped",
            "area",
        ]
        .map(Column::right)
        .to_vec();
        blocks.push(Block::table("Reference strips", Table { columns, rows }));
    }
    let json = json!({
        "field": { "name": facts.settings.field.name, "area_m2": ground.area, "plane": plane.crs.to_string(), "convergence_deg": plane.convergence_deg, "areal_scale": plane.areal_scale, "cells": ground.grid.cells.len() },
        "image": { "files": files.iter().map(|f| json!({ "path": f.path, "driver": f.driver, "system": f.system, "cols": f.cols, "rows": f.rows, "bands": f.bands })).collect::<Vec<_>>(), "pixel_m": survey.points.is_none().then_some(ground.pixel), "pixels_in_field": counts.in_field, "pixels_missing": counts.missing, "pixels_undefined": counts.undefined, "pixels_out_of_range": counts.out_of_range, "seen_share": seen, "mean_index": survey.field_mean },
        "bands": band_json,
        "season": { "growing_days": facts.season.growing_days },
        "strips": list,
    });
    (blocks, json)
}
