//! Page three: everything that was noticed, and the zones.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::map::prescription::CellRecord;
use crate::report::document::{Block, Part, Table};
use crate::report::paper::Paper;
use crate::report::paper::page_one::noticed;
use crate::report::paper::shown::{Shown, ratio};
use crate::units::{Area, NMass, Yield};

/// Rows of a list of zones or places; longer lists stand in the appendix.
pub(super) const MAXIMUM_ROWS: usize = 20;

/// The page.
pub(super) fn part(paper: &Paper<'_>) -> Part {
    let text = paper.text;
    let mut blocks = vec![Block::Heading(text.say("three-findings"))];
    blocks.push(if paper.findings.is_empty() {
        Block::Text(text.say("three-no-findings"))
    } else {
        let mut findings: Vec<&Finding> = paper.findings.iter().collect();
        findings.sort_by_key(|finding| finding.rank());
        Block::Findings(
            findings
                .into_iter()
                .map(|finding| noticed(paper, finding))
                .collect(),
        )
    });
    blocks.push(Block::Heading(text.say("three-zones")));
    let zones = paper.outcome.prescription.zones.len();
    if zones <= MAXIMUM_ROWS {
        blocks.push(Block::Table(zone_table(paper)));
    } else {
        blocks.push(Block::Table(rate_table(paper)));
        let key = if paper.settings.report.appendix {
            "three-zones-appendix"
        } else {
            "three-zones-elsewhere"
        };
        blocks.push(Block::Small(
            text.with(key, &[("zones", &zones.to_string())]),
        ));
    }
    Part {
        id: "zones",
        heading: text.say("three-heading"),
        blocks,
        one_page: true,
    }
}

/// Means of a zone's canopy cells, weighted by area.
#[derive(Default)]
struct Means {
    ratio: (f64, f64),
    without: (f64, f64),
    with: (f64, f64),
}

impl Means {
    fn add(&mut self, cell: &CellRecord) {
        let area = cell.area.get();
        let each = [
            (&mut self.ratio, cell.ratio),
            (&mut self.without, cell.yield_without.map(Yield::get)),
            (&mut self.with, cell.yield_with.map(Yield::get)),
        ];
        for (sum, value) in each {
            if let Some(value) = value {
                sum.0 += value * area;
                sum.1 += area;
            }
        }
    }
}

fn mean(sum: (f64, f64)) -> Option<f64> {
    (sum.1 > 0.0).then(|| sum.0 / sum.1)
}

/// Every zone.
pub(super) fn zone_table(paper: &Paper<'_>) -> Table {
    let (text, shown, prescription) = (paper.text, paper.shown(), &paper.outcome.prescription);
    let mut means: BTreeMap<u32, Means> = BTreeMap::new();
    for cell in &prescription.cells {
        means.entry(cell.zone).or_default().add(cell);
    }
    let none = || text.say("table-none");
    let has_product = prescription.product.is_some();
    let mut columns = vec![
        (text.say("table-zone"), true),
        (
            text.with("table-area", &[("unit", shown.area_unit())]),
            true,
        ),
        (text.say("table-ground"), false),
        (paper.image.index_name.clone(), true),
        (text.say("table-ratio"), true),
        (
            text.with("table-without", &[("unit", shown.yield_unit())]),
            true,
        ),
        (
            text.with("table-with", &[("unit", shown.yield_unit())]),
            true,
        ),
        (shown.rate_unit().to_owned(), true),
    ];
    if has_product {
        columns.push((shown.screen_unit().to_owned(), true));
    }
    columns.push((
        text.with("table-total", &[("unit", shown.total_unit())]),
        true,
    ));
    let mut rows = Vec::new();
    let (mut area, mut nitrogen, mut total) = (0.0, NMass::ZERO, 0.0);
    for (zone, rate) in prescription.zones.iter().zip(&paper.rates.zones) {
        let found = means.remove(&zone.zone).unwrap_or_default();
        let amount = rate.shown * prescription.unit.area_of(zone.area);
        area += zone.area.get();
        nitrogen = nitrogen + zone.n * zone.area;
        total += amount;
        let grain = |sum: (f64, f64)| {
            mean(sum).map_or_else(none, |value| shown.yield_number(Yield::kg_per_ha(value)))
        };
        let mut row = vec![
            zone.zone.to_string(),
            shown.area_number(zone.area),
            text.say(state_key(zone.state)),
            zone.index.map_or_else(none, ratio),
            mean(found.ratio).map_or_else(none, ratio),
            grain(found.without),
            grain(found.with),
            shown.rate_number(zone.n),
        ];
        if has_product {
            row.push(Shown::screen_number(rate.exported()));
        }
        row.push(format!("{amount:.1}"));
        rows.push(row);
    }
    let area = Area::m2(area);
    let mean_rate =
        crate::units::NRate::kg_per_ha(nitrogen.get() / area.as_ha().max(f64::MIN_POSITIVE));
    let mut sum = vec![
        text.say("table-sum"),
        shown.area_number(area),
        String::new(),
        String::new(),
        String::new(),
        String::new(),
        String::new(),
        shown.rate_number(mean_rate),
    ];
    if has_product {
        sum.push(Shown::screen_number(
            total / prescription.unit.area_of(area).max(f64::MIN_POSITIVE),
        ));
    }
    sum.push(format!("{total:.1}"));
    rows.push(sum);
    Table {
        caption: text.say("table-zones"),
        columns,
        rows,
        summed: true,
    }
}

/// Zones of equal rate together.
fn rate_table(paper: &Paper<'_>) -> Table {
    let (text, shown, prescription) = (paper.text, paper.shown(), &paper.outcome.prescription);
    let mut by_rate: BTreeMap<i64, (f64, f64, f64, u32)> = BTreeMap::new();
    for (zone, rate) in prescription.zones.iter().zip(&paper.rates.zones) {
        let entry = by_rate
            .entry(libm::round(rate.exported() * 100.0) as i64)
            .or_insert((rate.shown, 0.0, 0.0, 0));
        entry.1 += zone.area.get();
        entry.2 += rate.shown * prescription.unit.area_of(zone.area);
        entry.3 += 1;
    }
    let columns = vec![
        (shown.screen_unit().to_owned(), true),
        (shown.rate_unit().to_owned(), true),
        (text.say("table-zone-count"), true),
        (
            text.with("table-area", &[("unit", shown.area_unit())]),
            true,
        ),
        (
            text.with("table-total", &[("unit", shown.total_unit())]),
            true,
        ),
    ];
    let mut rows: Vec<Vec<String>> = by_rate
        .iter()
        .map(|(hundredths, (rate, area, amount, zones))| {
            vec![
                Shown::screen_number(*hundredths as f64 / 100.0),
                shown.rate_number(prescription.nitrogen_of(*rate)),
                zones.to_string(),
                shown.area_number(Area::m2(*area)),
                format!("{amount:.1}"),
            ]
        })
        .collect();
    let area: f64 = by_rate.values().map(|rate| rate.1).sum();
    let total: f64 = by_rate.values().map(|rate| rate.2).sum();
    rows.push(vec![
        text.say("table-sum"),
        String::new(),
        prescription.zones.len().to_string(),
        shown.area_number(Area::m2(area)),
        format!("{total:.1}"),
    ]);
    Table {
        caption: text.say("table-rates"),
        columns,
        rows,
        summed: true,
    }
}

fn state_key(state: crate::map::prescription::CellState) -> &'static str {
    use crate::map::prescription::CellState;
    match state {
        CellState::Canopy | CellState::Sliver => "state-canopy",
        CellState::Thin => "state-thin",
        CellState::Bare => "state-bare",
        CellState::Unseen => "state-unseen",
    }
}
