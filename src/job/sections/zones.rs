//! `[zones]`: how cells become zones.

use crate::job::amount;
use crate::job::keys::ZONES;
use crate::job::keys::zones::{BreaksWord, MINIMUM_AREA, Total, Zoning};
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section};
use crate::job::sections::ground;
use crate::job::sections::rate::nitrogen;
use crate::job::settings::Machine;
use crate::key::{Key, Record};
use crate::units::{Area, Length, NRate, Product};
use serde_json::{Value, json};

/// `[zones]`.
#[derive(Clone, Debug)]
pub struct ZoneRules {
    /// How cells become zones.
    pub by: ZonesBy,
    /// Smaller zones join a neighbour.
    pub minimum_area: Area,
    /// How far borders may move.
    pub simplify: Length,
    /// How far from a corner borders may be cut off to round it.
    pub round_corners: Length,
    /// By which share drawing may change a zone's area.
    pub area_within: f64,
    /// Neighbouring zones whose rates are this near to their union's are joined.
    pub tolerance: NRate,
    /// Whether zones are rounded so that the total is kept.
    pub keep_total: bool,
}

/// `zones.by`.
#[derive(Clone, Debug, PartialEq)]
pub enum ZonesBy {
    /// Neighbouring cells of equal rate.
    Cells,
    /// Classes of the canopy index.
    Classes(ClassBreaks),
}

/// How classes are cut.
#[derive(Clone, Debug, PartialEq)]
pub enum ClassBreaks {
    /// Fisher–Jenks with this many classes.
    Natural(usize),
    /// Equal areas, this many classes.
    Quantile(usize),
    /// Upper bounds as given.
    Given(Vec<f64>),
}

/// `[zones]`; `machine` gives the default of the least area.
pub(crate) fn zones(
    section: &mut Section<'_>,
    machine: Option<&Machine>,
    product: Option<&Product>,
) -> Option<ZoneRules> {
    let by_classes = section.get(&ZONES.by) == Zoning::Classes;
    let (has_classes, has_breaks) = (section.has(&ZONES.classes), section.has(&ZONES.breaks));
    let classes = section
        .find(&ZONES.classes)
        .map(|n| n.unsigned_abs() as usize);
    let breaks = section
        .take(&ZONES.breaks)
        .and_then(|entry| breaks(section, &entry));
    if !by_classes && (has_classes || has_breaks) {
        let problem = Problem::Disagree {
            one: format!("{} (\"{}\")", ZONES.by.full(), Zoning::Cells.word()),
            other: "zones.classes or zones.breaks".to_owned(),
            way_out: "write by = \"classes\", or take classes and breaks out",
        };
        let key: &Key = if has_classes {
            &ZONES.classes
        } else {
            &ZONES.breaks
        };
        section.refuse(key, problem);
    }
    let by = if by_classes {
        match breaks {
            Some(Breaks::Given(bounds)) => {
                if let Some(classes) = classes.filter(|classes| *classes != bounds.len() + 1) {
                    let problem = Problem::Disagree {
                        one: format!("zones.classes ({classes})"),
                        other: format!(
                            "zones.breaks ({} bounds make {} classes)",
                            bounds.len(),
                            bounds.len() + 1
                        ),
                        way_out: "take classes out",
                    };
                    section.refuse(&ZONES.classes, problem);
                }
                ZonesBy::Classes(ClassBreaks::Given(bounds))
            }
            Some(Breaks::Quantile) => ZonesBy::Classes(ClassBreaks::Quantile(classes.unwrap_or(5))),
            Some(Breaks::Natural) | None => {
                ZonesBy::Classes(ClassBreaks::Natural(classes.unwrap_or(5)))
            }
        }
    } else {
        ZonesBy::Cells
    };

    let minimum_area = if let Some(Item::Table(_)) = section.peek(&ZONES.minimum_area) {
        section
            .take(&ZONES.minimum_area)
            .and_then(|entry| by_passes(section, &entry, machine))
    } else {
        section.amount_within(&ZONES.minimum_area, amount::area)
    };
    let simplify = section.get(&ZONES.simplify);
    let round_corners = section.get(&ZONES.round_corners);
    let area_within = section.get(&ZONES.area_within);
    let tolerance = section
        .take(&ZONES.tolerance)
        .and_then(|entry| nitrogen(section, &entry, &ZONES.tolerance, product))
        .map_or(NRate::ZERO, |(rate, _)| rate);

    let keep_total = section.get(&ZONES.total) == Total::Kept;
    let two_cells =
        |machine: &Machine| Area::m2(2.0 * machine.cell_width().get() * machine.cell_length.get());
    let minimum_area = minimum_area.or_else(|| machine.map(two_cells))?;
    Some(ZoneRules {
        by,
        minimum_area,
        simplify,
        round_corners,
        area_within,
        tolerance,
        keep_total,
    })
}

/// `zones.minimum_area = { passes = 2, responses = 4 }`: so many working widths by so many of the distances in which the machine changes its rate.
fn by_passes(section: &Section<'_>, entry: &Entry, machine: Option<&Machine>) -> Option<Area> {
    let mut table = section.sub(entry, &ZONES.minimum_area)?;
    let passes = table.find(&MINIMUM_AREA.passes);
    let responses = table.find(&MINIMUM_AREA.responses);
    let machine = machine?;
    let Some(response) = machine.response() else {
        table.refuse(
            &MINIMUM_AREA.responses,
            Problem::NoneOf {
                keys: vec!["machine.speed, machine.delay and machine.transition".to_owned()],
                example: "speed = \"12 km/h\"",
            },
        );
        table.finish();
        return None;
    };
    table.finish();
    Some(Area::m2(
        passes? * machine.working_width.get() * responses? * response.get(),
    ))
}

enum Breaks {
    Natural,
    Quantile,
    Given(Vec<f64>),
}

fn breaks(section: &Section<'_>, entry: &Entry) -> Option<Breaks> {
    let Item::List(list) = &entry.item else {
        return Some(match section.word_of(entry, &ZONES.breaks)? {
            BreaksWord::Quantile => Breaks::Quantile,
            BreaksWord::Natural => Breaks::Natural,
        });
    };
    let bounds: Vec<f64> = list
        .iter()
        .map(|entry| section.number_of(entry, &ZONES.breaks))
        .collect::<Option<_>>()?;
    if bounds.is_empty() || bounds.len() > 19 {
        section.at(
            entry,
            &ZONES.breaks,
            ground::range(
                &format!("{} bounds", bounds.len()),
                "1",
                "19",
                "bounds between classes",
            ),
        );
        return None;
    }
    if let Some(pair) = bounds.windows(2).find(|pair| pair[0] >= pair[1]) {
        let problem = Problem::Order {
            low_key: "each bound",
            low: pair[0].to_string(),
            high_key: "the next",
            high: pair[1].to_string(),
        };
        section.at(entry, &ZONES.breaks, problem);
        return None;
    }
    Some(Breaks::Given(bounds))
}

/// As the record has it.
pub(crate) fn zones_record(zones: &ZoneRules) -> Record {
    let total = if zones.keep_total {
        Total::Kept
    } else {
        Total::Free
    };
    Record::new()
        .put(&ZONES.by, by_record(&zones.by))
        .put(&ZONES.minimum_area, zones.minimum_area.get())
        .put(&ZONES.simplify, zones.simplify.get())
        .put(&ZONES.round_corners, zones.round_corners.get())
        .put(&ZONES.area_within, zones.area_within)
        .put(&ZONES.tolerance, zones.tolerance.get())
        .put(&ZONES.total, total.word())
}

/// As the record has it.
pub(crate) fn by_record(by: &ZonesBy) -> Value {
    let classes = |classes: usize, breaks: Value| {
        Record::new()
            .put(&ZONES.classes, classes)
            .put(&ZONES.breaks, breaks)
            .value()
    };
    match by {
        ZonesBy::Cells => json!(Zoning::Cells.word()),
        ZonesBy::Classes(ClassBreaks::Natural(count)) => {
            classes(*count, json!(BreaksWord::Natural.word()))
        }
        ZonesBy::Classes(ClassBreaks::Quantile(count)) => {
            classes(*count, json!(BreaksWord::Quantile.word()))
        }
        ZonesBy::Classes(ClassBreaks::Given(bounds)) => classes(bounds.len() + 1, json!(bounds)),
    }
}
