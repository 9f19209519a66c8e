//! `[machine]` and `[zones]`: how the field is driven and how cells become zones.

use std::path::Path;

use crate::finding::{Finding, codes};
use crate::job::amount;
use crate::job::keys::MACHINE;
use crate::job::keys::machine::{AREA, HEADING, HEADLAND};
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section};
use crate::job::record::Shown;
use crate::job::sections::ground;
use crate::job::sections::ground::vector_record;
use crate::job::sections::rate::{state_rate, state_rate_or, state_record, within};
use crate::job::settings::{Capacity, ProductFacts, StateRate, VectorSource};
use crate::key::{Key, Record, words};
use crate::map::task_options::GridRates;
use crate::units::{KG_HA_PER_LB_AC, Length, NRate, Product, ProductRate, Seconds, Speed};
use serde_json::{Value, json};

/// `[machine]`.
#[derive(Clone, Debug)]
pub struct Machine {
    /// Working width.
    pub working_width: Length,
    /// Sections of equal width that take a rate of their own; a cell is as wide as one.
    pub sections: u32,
    /// The headland, when it has a rule of its own.
    pub headland: Option<Headland>,
    /// Driving direction.
    pub heading: Heading,
    /// Parts of the field that are driven their own way, in the job's order.
    pub areas: Vec<DriveArea>,
    /// By how much machine files look ahead, when they do.
    pub look_ahead: Option<LookAhead>,
    /// Cell length along the drive.
    pub cell_length: Length,
    /// Driving speed, when given.
    pub speed: Option<Speed>,
    /// Delay before the rate begins to change.
    pub delay: Option<Seconds>,
    /// Time that the change takes.
    pub transition: Option<Seconds>,
    /// How far rates are carried beyond the field in machine files.
    pub overrun: Length,
    /// Least product rate that the machine holds.
    pub minimum_rate: Option<ProductRate>,
    /// Greatest product rate.
    pub maximum_rate: Option<ProductRate>,
    /// What its tank or hopper holds, when given.
    pub capacity: Option<Capacity>,
    /// What cells of a task's grid hold.
    pub grid: GridRates,
    /// Rate on start.
    pub on_start: StateRate,
    /// Rate when position is lost; `Own` when the job does not say: the field rate, or 0 as soon as the field has an exclusion or a hole.
    pub position_lost: StateRate,
    /// Rate outside the field.
    pub outside: StateRate,
}

impl Machine {
    /// Width of a cell: of one section.
    pub fn cell_width(&self) -> Length {
        self.working_width * (1.0 / f64::from(self.sections))
    }
    /// How far the machine drives until a change of rate is done, where that is known.
    pub fn response(&self) -> Option<Length> {
        let (speed, delay, transition) = (self.speed?, self.delay?, self.transition?);
        Some(speed * delay + speed * transition)
    }
}

/// `machine.headland`: what lies within some passes of the boundary.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Headland {
    /// Passes around the field.
    pub passes: u32,
    /// What its canopy gets.
    pub rate: StateRate,
}

/// `[[machine.area]]`: ground that is driven its own way.
#[derive(Clone, Debug, PartialEq)]
pub struct DriveArea {
    /// The ground.
    pub source: VectorSource,
    /// Its driving direction.
    pub heading: Heading,
}

/// `machine.look_ahead`, with `machine.first_pass`: machine files are shifted against the direction of travel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LookAhead {
    /// By how much.
    pub distance: Length,
    /// The direction of the rightmost pass, as seen along the heading, and of those beside it.
    pub first_pass: FirstPass,
}

words! {
    /// `machine.first_pass`.
    pub enum FirstPass {
        /// Along the heading; the next against it, and so on.
        Along = "along",
        /// Against the heading; the next along it, and so on.
        Against = "against",
        /// Every pass along the heading.
        EveryAlong = "every along",
    }
}

/// `machine.heading`.
#[derive(Clone, Debug, PartialEq)]
pub enum Heading {
    /// Degrees clockwise from true north.
    True(f64),
    /// Degrees clockwise from the plane's north.
    Grid(f64),
    /// The boundary's axis.
    Auto,
    /// A guidance line; columns fall on its passes.
    Line(VectorSource),
}

/// Why an amount is refused that is above the greatest rate.
const ABOVE: &str = "more than rate.maximum";
/// Least width of a section, as of a machine. \[m\]
const MINIMUM_WIDTH: f64 = 0.25;

/// `[machine]`. `excluded` says whether the job excludes ground, `most` what the greatest rate is.
pub(crate) fn machine(
    section: &mut Section<'_>,
    product: Option<&Product>,
    facts: &ProductFacts,
    excluded: bool,
    most: Option<NRate>,
    folder: &Path,
) -> Option<Machine> {
    let width = section.find(&MACHINE.working_width);

    let sections = section.get(&MACHINE.sections) as u32;
    if let Some(narrow) = width
        .map(|width| width * (1.0 / f64::from(sections)))
        .filter(|narrow| sections > 1 && narrow.get() < MINIMUM_WIDTH)
    {
        section.refuse(
            &MACHINE.sections,
            ground::range(
                &format!("{:.3} m a section", narrow.get()),
                "0.25 m",
                "150 m",
                "cells are as wide as a section",
            ),
        );
    }
    let areas = areas(section, folder);
    let headland = section
        .take(&MACHINE.headland)
        .and_then(|entry| headland(section, &entry, product, most));
    let heading = heading(section, folder);
    let length = section.find(&MACHINE.cell_length);
    let speed = section.find(&MACHINE.speed);
    let delay = section.find(&MACHINE.delay);
    let transition = section.find(&MACHINE.transition);
    if [&*MACHINE.speed, &*MACHINE.delay, &*MACHINE.transition]
        .into_iter()
        .any(|key| section.given(key))
    {
        section.require(&MACHINE.speed);
        section.require(&MACHINE.delay);
        section.require(&MACHINE.transition);
    }
    let response = speed
        .zip(delay.zip(transition))
        .map(|(speed, (delay, transition))| speed * delay + speed * transition);
    let overrun = section.find(&MACHINE.overrun);
    let look_ahead = look_ahead(section, speed);
    let limit = |section: &mut Section<'_>, key: &Key| {
        section.amount_within(key, |text| amount::product_rate(text, product))
    };
    let minimum_rate = limit(section, &MACHINE.minimum_rate);
    let maximum_rate = limit(section, &MACHINE.maximum_rate);
    if let (Some(minimum), Some(maximum)) = (minimum_rate, maximum_rate)
        && minimum > maximum
    {
        let us = section.log().us();
        let shown = |rate: ProductRate| {
            if us {
                format!("{:.2} lb/ac", rate.get() / KG_HA_PER_LB_AC)
            } else {
                format!("{:.2} kg/ha", rate.get())
            }
        };
        let problem = Problem::Order {
            low_key: "machine.minimum_rate",
            low: shown(minimum),
            high_key: "machine.maximum_rate",
            high: shown(maximum),
        };
        section.refuse(&MACHINE.minimum_rate, problem);
    }

    let capacity = capacity(section, product, facts);
    let grid = grid(section);
    let on_start = state_rate(section, &MACHINE.on_start, product);
    // With position lost the machine cannot keep off what is excluded. Whether the boundary has holes shows later.
    let lost = if excluded {
        StateRate::Amount(NRate::ZERO)
    } else {
        StateRate::Own
    };
    let position_lost = state_rate_or(section, &MACHINE.position_lost, product, lost);
    let outside = state_rate(section, &MACHINE.outside, product);
    left_to_itself(section, on_start, position_lost, outside, most);
    let width = width?;
    let needed = response.map(|distance| distance * 2.0);
    if let (Some(length), Some(needed)) = (length, needed)
        && length < needed
    {
        section.log().note(Finding::caution(
            codes::MACHINE_CELL_LENGTH,
            format!("machine.cell_length is {length}, but at this speed the machine needs {needed:.1} to change its rate: rates will lag behind the map"),
        ));
    }
    Some(Machine {
        working_width: width,
        sections,
        headland,
        heading,
        areas,
        look_ahead,
        cell_length: length.or(needed).unwrap_or(width),
        speed,
        delay,
        transition,
        overrun: overrun.unwrap_or_else(|| (width * 0.5).max(response.unwrap_or(Length::ZERO))),
        minimum_rate,
        maximum_rate,
        capacity,
        grid,
        on_start,
        position_lost,
        outside,
    })
}

/// `machine.grid = "zone"` or `"mean"`.
fn grid(section: &mut Section<'_>) -> GridRates {
    section.get(&MACHINE.grid)
}

/// `[[machine.area]]`: ground with a heading of its own.
fn areas(section: &mut Section<'_>, folder: &Path) -> Vec<DriveArea> {
    let mut areas = Vec::new();
    for mut table in section.tables(&MACHINE.area) {
        let source = ground::vector_table(&mut table, &AREA.path, folder, false);
        let heading = table
            .take(&AREA.heading)
            .and_then(|entry| heading_of(&table, &entry, folder));
        table.finish();
        areas.extend(
            source
                .zip(heading)
                .map(|(source, heading)| DriveArea { source, heading }),
        );
    }
    areas
}

/// What `machine.look_ahead` may be.
enum Ahead {
    Distance(Length),
    Time(Seconds),
}

/// `machine.look_ahead = "12 m"`, or `"2 s"` at `machine.speed`, and `machine.first_pass`.
fn look_ahead(section: &mut Section<'_>, speed: Option<Speed>) -> Option<LookAhead> {
    let first_pass = section.find(&MACHINE.first_pass);
    let ahead = section.amount(&MACHINE.look_ahead, |text| match amount::time(text) {
        Ok(time) => Ok(Ahead::Time(time)),
        Err(_) => amount::length(text).map(Ahead::Distance),
    });
    if section.given(&MACHINE.first_pass) {
        section.require(&MACHINE.look_ahead);
    }
    if section.given(&MACHINE.look_ahead) {
        section.require(&MACHINE.first_pass);
    }
    let distance = match ahead? {
        Ahead::Distance(distance) => distance,
        Ahead::Time(time) => {
            let Some(speed) = speed else {
                section.refuse(
                    &MACHINE.look_ahead,
                    Problem::NoneOf {
                        keys: vec![MACHINE.speed.full()],
                        example: "speed = \"12 km/h\"",
                    },
                );
                return None;
            };
            speed * time
        }
    };
    if !section.is_within(&MACHINE.look_ahead, &distance, amount::length) {
        section.outside(&MACHINE.look_ahead, distance.text(section.log().us()));
        return None;
    }
    Some(LookAhead {
        distance,
        first_pass: first_pass?,
    })
}

/// Refuses rates of the machine left to itself above the greatest, and says where it spreads outside the field.
fn left_to_itself(
    section: &Section<'_>,
    on_start: StateRate,
    position_lost: StateRate,
    outside: StateRate,
    most: Option<NRate>,
) {
    if let Some(most) = most {
        for (key, rule) in [
            (&MACHINE.on_start, on_start),
            (&MACHINE.position_lost, position_lost),
            (&MACHINE.outside, outside),
        ] {
            within(section, key, rule, most, ABOVE);
        }
    }
    if !matches!(outside, StateRate::Amount(amount) if amount == NRate::ZERO) {
        section.log().note(Finding::caution(
            codes::MACHINE_OUTSIDE,
            "the machine would spread outside the field too (machine.outside): water, ways and neighbours lie there; leave it out to get 0",
        ));
    }
}

/// `machine.headland = { passes = 2, rate = "field rate" }`.
fn headland(
    section: &Section<'_>,
    entry: &Entry,
    product: Option<&Product>,
    most: Option<NRate>,
) -> Option<Headland> {
    let mut table = section.sub(entry, &MACHINE.headland)?;
    let passes = table.find(&HEADLAND.passes);
    let rate = state_rate(&mut table, &HEADLAND.rate, product);
    if let Some(most) = most {
        within(&table, &HEADLAND.rate, rate, most, ABOVE);
    }
    table.finish();
    Some(Headland {
        passes: passes? as u32,
        rate,
    })
}

/// `machine.tank` or `machine.hopper`: a volume needs the density that turns it into mass.
fn capacity(
    section: &mut Section<'_>,
    product: Option<&Product>,
    facts: &ProductFacts,
) -> Option<Capacity> {
    if section.has(&MACHINE.tank) && section.has(&MACHINE.hopper) {
        section.refuse_together(
            &MACHINE.hopper,
            vec![MACHINE.tank.full(), MACHINE.hopper.full()],
        );
    }
    let (key, liquid) = if section.has(&MACHINE.hopper) {
        (&MACHINE.hopper, false)
    } else {
        (&MACHINE.tank, true)
    };
    let capacity = section.amount(key, |text| {
        let size = |capacity: &Capacity| match capacity {
            Capacity::Kg(size) | Capacity::Litres(size) => *size,
        };
        let capacity = amount::above_zero(amount::capacity(text), text, "what it holds", size)?;
        let Some(product) = product else {
            return Err(Problem::NoProduct {
                amount: text.trim().to_owned(),
            });
        };
        let dense = if product.is_liquid() {
            product.kg_per_l().is_some()
        } else {
            facts.bulk_kg_m3.is_some()
        };
        match capacity {
            Capacity::Litres(_) if !dense => Err(Problem::NoBulkDensity {
                amount: text.trim().to_owned(),
                product: product.name().to_owned(),
            }),
            capacity => Ok(capacity),
        }
    })?;
    if let Some(product) = product.filter(|product| product.is_liquid() != liquid) {
        let kind = if product.is_liquid() {
            "a liquid"
        } else {
            "a solid"
        };
        let problem = Problem::Disagree {
            one: key.full(),
            other: format!("product.name (\"{}\", {kind})", product.name()),
            way_out: "a liquid goes into a tank, a solid into a hopper",
        };
        section.refuse(key, problem);
    }
    Some(capacity)
}

/// `machine.heading`, or `machine.line`.
fn heading(section: &mut Section<'_>, folder: &Path) -> Heading {
    let line = section
        .take(&MACHINE.line)
        .and_then(|entry| ground::vector(section, &entry, &MACHINE.line, folder))
        .map(Heading::Line);
    let Some(entry) = section.take(&MACHINE.heading) else {
        return line.unwrap_or_else(|| {
            if !section.given(&MACHINE.line) {
                let text = "machine.heading is not given: cells follow the boundary's longer axis, as with heading = \"auto\"";
                section.log().note(Finding::note(codes::MACHINE_HEADING, text));
            }
            Heading::Auto
        });
    };
    if section.given(&MACHINE.line) {
        section.refuse(
            &MACHINE.heading,
            Problem::Together {
                keys: vec![
                    MACHINE.heading.name.to_owned(),
                    MACHINE.line.name.to_owned(),
                ],
            },
        );
    }
    heading_of(section, &entry, folder).unwrap_or(Heading::Auto)
}

fn heading_of(section: &Section<'_>, entry: &Entry, folder: &Path) -> Option<Heading> {
    let held = |degrees: f64| {
        let read = |text: &str| text.parse().map_err(|_| Problem::Open);
        if section.is_within(&MACHINE.heading, &degrees, read) {
            return Some(if degrees == 360.0 { 0.0 } else { degrees });
        }
        section.outside(&MACHINE.heading, format!("{degrees}°"));
        None
    };
    match &entry.item {
        Item::Number(_) => held(section.number_of(entry, &MACHINE.heading)?).map(Heading::True),
        Item::Table(_) => {
            let mut table = section.sub(entry, &MACHINE.heading)?;
            let source: Option<VectorSource> =
                ground::vector_table(&mut table, &HEADING.line, folder, false);
            table.finish();
            source.map(Heading::Line)
        }
        _ => {
            let text = section.text_of(entry, &MACHINE.heading)?;
            let lower = text.to_lowercase();
            let (body, grid) = lower
                .strip_suffix("grid")
                .map_or((lower.trim_end_matches("true"), false), |body| (body, true));
            match body
                .trim()
                .trim_end_matches(['°', ' '])
                .trim_end_matches("deg")
                .trim()
                .parse::<f64>()
            {
                Ok(degrees) if degrees.is_finite() => {
                    held(degrees).map(if grid { Heading::Grid } else { Heading::True })
                }
                _ => {
                    if let Some(heading) = (lower == "auto").then_some(Heading::Auto) {
                        return Some(heading);
                    }
                    let known = vec![
                        "auto".to_owned(),
                        "63.0".to_owned(),
                        "63.0 grid".to_owned(),
                        "{ line = \"ab.geojson\" }".to_owned(),
                    ];
                    let near = crate::job::suggest::nearest(&text, ["auto"]).map(str::to_owned);
                    section.at(
                        entry,
                        &MACHINE.heading,
                        Problem::Choice {
                            got: text,
                            what: "heading",
                            near,
                            known,
                        },
                    );
                    None
                }
            }
        }
    }
}

/// As the record has it.
pub(crate) fn machine_record(machine: &Machine, shown: Shown<'_>) -> Record {
    let headland = machine.headland.map(|headland| {
        Record::new()
            .put(&HEADLAND.passes, headland.passes)
            .put(&HEADLAND.rate, state_record(headland.rate))
            .value()
    });
    let capacity = match machine.capacity {
        None => Value::Null,
        Some(Capacity::Kg(kg)) => json!({ "kg": kg }),
        Some(Capacity::Litres(litres)) => json!({ "l": litres }),
    };
    let position_lost = match machine.position_lost {
        StateRate::Own => json!("field rate, or 0 with a hole of the boundary"),
        stated => state_record(stated),
    };
    let mut value = Record::new()
        .put(&MACHINE.working_width, machine.working_width.get())
        .put(&MACHINE.sections, machine.sections)
        .put(&MACHINE.headland, headland)
        .put(&MACHINE.heading, heading_record(&machine.heading, shown))
        .put(&MACHINE.cell_length, machine.cell_length.get())
        .put(&MACHINE.speed, machine.speed.map(Speed::get))
        .put(&MACHINE.delay, machine.delay.map(Seconds::get))
        .put(&MACHINE.transition, machine.transition.map(Seconds::get))
        .put(&MACHINE.overrun, machine.overrun.get())
        .put(
            &MACHINE.minimum_rate,
            machine.minimum_rate.map(ProductRate::get),
        )
        .put(
            &MACHINE.maximum_rate,
            machine.maximum_rate.map(ProductRate::get),
        )
        .add("capacity", capacity)
        .put(&MACHINE.grid, machine.grid.word())
        .put(&MACHINE.on_start, state_record(machine.on_start))
        .put(&MACHINE.position_lost, position_lost)
        .put(&MACHINE.outside, state_record(machine.outside));
    // Only where the job has them, so that the record of any other job stays what it was.
    if !machine.areas.is_empty() {
        let areas = machine.areas.iter().map(|area| {
            Record::new()
                .table(&AREA.path, vector_record(&area.source, shown))
                .put(&AREA.heading, heading_record(&area.heading, shown))
                .value()
        });
        value = value.add("areas", areas.collect::<Vec<_>>());
    }
    if let Some(look_ahead) = &machine.look_ahead {
        value = value.table(
            &MACHINE.look_ahead,
            Record::new()
                .add("distance_m", Length::get(look_ahead.distance))
                .put(&MACHINE.first_pass, look_ahead.first_pass.word()),
        );
    }
    value
}

/// As the record has it.
pub(crate) fn heading_record(heading: &Heading, shown: Shown<'_>) -> Value {
    match heading {
        Heading::True(degrees) => json!({ "true_deg": degrees }),
        Heading::Grid(degrees) => json!({ "grid_deg": degrees }),
        Heading::Auto => json!("auto"),
        Heading::Line(line) => Record::new()
            .table(&HEADING.line, vector_record(line, shown))
            .value(),
    }
}
