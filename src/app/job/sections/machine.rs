//! `[machine]` and `[zones]`: how the field is driven and how cells become zones.

use std::path::Path;

use crate::app::job::sections::ground;
use crate::app::job::sections::rate::{nitrogen, state_rate, state_rate_or, within};
use crate::finding::{Finding, codes};
use crate::job::amount;
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section};
use crate::job::settings::{
    Capacity, ClassBreaks, DriveArea, FirstPass, Heading, Headland, LookAhead, Machine,
    ProductFacts, StateRate, VectorSource, ZoneRules, ZonesBy,
};
use crate::map::task_options::GridRates;
use crate::units::{Area, Length, NRate, Product, Seconds, Speed};

/// Why an amount is refused that is above the greatest rate.
const ABOVE: &str = "more than rate.maximum";
/// Least width of a section, as of a machine. \[m\]
const LEAST_WIDTH: f64 = 0.25;

/// `[machine]`. `excluded` says whether the job excludes ground, `most` what the greatest rate is.
pub(crate) fn machine(
    section: &mut Section<'_>,
    product: Option<&Product>,
    facts: &ProductFacts,
    excluded: bool,
    most: Option<NRate>,
    folder: &Path,
) -> Option<Machine> {
    let width = section.amount_within("working_width", amount::length);
    section.require("working_width");

    let sections = section.whole_or("sections") as u32;
    if let Some(narrow) = width
        .map(|width| width * (1.0 / f64::from(sections)))
        .filter(|narrow| sections > 1 && narrow.get() < LEAST_WIDTH)
    {
        section.refuse(
            "sections",
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
        .take("headland")
        .and_then(|entry| headland(section, &entry, product, most));
    let heading = heading(section, folder);
    let length = section.amount_within("cell_length", amount::length);
    let speed = section.amount_within("speed", amount::speed);
    let delay = section.amount_within("delay", amount::time);
    let transition = section.amount_within("transition", amount::time);
    if ["speed", "delay", "transition"]
        .iter()
        .any(|key| section.given(key))
    {
        section.require("speed");
        section.require("delay");
        section.require("transition");
    }
    let response = speed
        .zip(delay.zip(transition))
        .map(|(speed, (delay, transition))| speed * delay + speed * transition);
    let overrun = section.amount_within("overrun", amount::length);
    let look_ahead = look_ahead(section, speed);
    let limit = |section: &mut Section<'_>, key| {
        section.amount_within(key, |text| amount::product_rate(text, product))
    };
    let minimum_rate = limit(section, "minimum_rate");
    let maximum_rate = limit(section, "maximum_rate");
    if let (Some(least), Some(greatest)) = (minimum_rate, maximum_rate)
        && least > greatest
    {
        let problem = Problem::Order {
            low_key: "machine.minimum_rate",
            low: format!("{:.2} kg/ha", least.get()),
            high_key: "machine.maximum_rate",
            high: format!("{:.2} kg/ha", greatest.get()),
        };
        section.refuse("minimum_rate", problem);
    }

    let capacity = capacity(section, product, facts);
    let grid = grid(section);
    let on_start = state_rate(section, "on_start", product);
    // With position lost the machine cannot keep off what is excluded. Whether the boundary has holes shows later.
    let lost = if excluded {
        StateRate::Amount(NRate::ZERO)
    } else {
        StateRate::Own
    };
    let position_lost = state_rate_or(section, "position_lost", product, lost);
    let outside = state_rate(section, "outside", product);
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
    section
        .choice(
            "grid",
            &[("zone", GridRates::Zone), ("mean", GridRates::Mean)],
        )
        .unwrap_or_default()
}

/// `[[machine.area]]`: ground with a heading of its own.
fn areas(section: &mut Section<'_>, folder: &Path) -> Vec<DriveArea> {
    let mut areas = Vec::new();
    for mut table in section.tables("area") {
        let source = ground::vector_table(&mut table, "path", folder, false);
        let heading = table
            .take("heading")
            .and_then(|entry| heading_of(&table, &entry, folder));
        table.require("heading");
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
    let words = [
        ("along", FirstPass::Along),
        ("against", FirstPass::Against),
        ("every along", FirstPass::EveryAlong),
    ];
    let first_pass = section.choice("first_pass", &words);
    let ahead = section.amount("look_ahead", |text| match amount::time(text) {
        Ok(time) => Ok(Ahead::Time(time)),
        Err(_) => amount::length(text).map(Ahead::Distance),
    });
    if section.given("first_pass") {
        section.require("look_ahead");
    }
    if section.given("look_ahead") {
        section.require("first_pass");
    }
    let distance = match ahead? {
        Ahead::Distance(distance) => distance,
        Ahead::Time(time) => {
            let Some(speed) = speed else {
                section.refuse(
                    "look_ahead",
                    Problem::NoneOf {
                        keys: vec!["machine.speed"],
                        example: "speed = \"12 km/h\"",
                    },
                );
                return None;
            };
            speed * time
        }
    };
    if !section.is_within("look_ahead", &distance, amount::length) {
        section.outside("look_ahead", format!("{:.2} m", distance.get()));
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
            ("on_start", on_start),
            ("position_lost", position_lost),
            ("outside", outside),
        ] {
            within(section, key, rule, most, ABOVE);
        }
    }
    if !matches!(outside, StateRate::Amount(amount) if amount == NRate::ZERO) {
        section.log().note(Finding::caution(
            codes::MACHINE_OUTSIDE,
            "the machine is told to spread outside the field too (machine.outside): water, ways and neighbours lie there; leave it out to get 0",
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
    let mut table = section.sub(entry, "headland")?;
    let passes = table.whole("passes");
    table.require("passes");
    let rate = state_rate(&mut table, "rate", product);
    if let Some(most) = most {
        within(&table, "rate", rate, most, ABOVE);
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
    if section.has("tank") && section.has("hopper") {
        section.take("hopper");
        section.refuse(
            "hopper",
            Problem::Together {
                keys: vec!["machine.tank", "machine.hopper"],
            },
        );
    }
    let (key, liquid) = if section.has("hopper") {
        ("hopper", false)
    } else {
        ("tank", true)
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
            one: format!("machine.{key}"),
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
        .take("line")
        .and_then(|entry| ground::vector(section, &entry, "line", folder))
        .map(Heading::Line);
    let Some(entry) = section.take("heading") else {
        return line.unwrap_or_else(|| {
            if !section.given("line") {
                let text = "machine.heading is not given: cells follow the boundary's longer axis, as with heading = \"auto\"";
                section.log().note(Finding::note(codes::MACHINE_HEADING, text));
            }
            Heading::Auto
        });
    };
    if section.given("line") {
        section.refuse(
            "heading",
            Problem::Together {
                keys: vec!["heading", "line"],
            },
        );
    }
    heading_of(section, &entry, folder).unwrap_or(Heading::Auto)
}

fn heading_of(section: &Section<'_>, entry: &Entry, folder: &Path) -> Option<Heading> {
    let held = |degrees: f64| {
        let read = |text: &str| text.parse().map_err(|_| Problem::Open);
        if section.is_within("heading", &degrees, read) {
            return Some(if degrees == 360.0 { 0.0 } else { degrees });
        }
        section.outside("heading", format!("{degrees}°"));
        None
    };
    match &entry.item {
        Item::Number(_) => held(section.number_of(entry, "heading")?).map(Heading::True),
        Item::Table(_) => {
            let mut table = section.sub(entry, "heading")?;
            let source: Option<VectorSource> =
                ground::vector_table(&mut table, "line", folder, false);
            table.finish();
            source.map(Heading::Line)
        }
        _ => {
            let text = section.text_of(entry, "heading", "\"auto\"")?;
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
                        "heading",
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

/// `[zones]`; `machine` gives the default of the least area.
pub(crate) fn zones(
    section: &mut Section<'_>,
    machine: Option<&Machine>,
    product: Option<&Product>,
) -> Option<ZoneRules> {
    let by_classes = section.choice("by", &[("cells", false), ("classes", true)])?;
    let (has_classes, has_breaks) = (section.has("classes"), section.has("breaks"));
    let classes = section.whole("classes").map(|n| n.unsigned_abs() as usize);
    let breaks = section
        .take("breaks")
        .and_then(|entry| breaks(section, &entry));
    if !by_classes && (has_classes || has_breaks) {
        let problem = Problem::Disagree {
            one: "zones.by (\"cells\")".to_owned(),
            other: "zones.classes or zones.breaks".to_owned(),
            way_out: "write by = \"classes\", or take classes and breaks out",
        };
        section.refuse(if has_classes { "classes" } else { "breaks" }, problem);
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
                    section.refuse("classes", problem);
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

    let minimum_area = if let Some(Item::Table(_)) = section.peek("minimum_area") {
        section
            .take("minimum_area")
            .and_then(|entry| by_passes(section, &entry, machine))
    } else {
        section.amount_within("minimum_area", amount::area)
    };
    let simplify = section.amount_or("simplify", amount::length);
    let round_corners = section.amount_or("round_corners", amount::length);
    let area_within = section.number_or("area_within");
    let tolerance = section
        .take("tolerance")
        .and_then(|entry| nitrogen(section, &entry, "tolerance", product))
        .map_or(NRate::ZERO, |(rate, _)| rate);

    let keep_total = section.choice("total", &[("kept", true), ("free", false)])?;
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
    let mut table = section.sub(entry, "minimum_area")?;
    let passes = table.number("passes");
    let responses = table.number("responses");
    table.require("passes");
    table.require("responses");
    let machine = machine?;
    let Some(response) = machine.response() else {
        table.refuse(
            "responses",
            Problem::NoneOf {
                keys: vec!["machine.speed, machine.delay and machine.transition"],
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
        let quantile =
            section.choice_of(entry, "breaks", &[("natural", false), ("quantile", true)])?;
        return Some(if quantile {
            Breaks::Quantile
        } else {
            Breaks::Natural
        });
    };
    let bounds: Vec<f64> = list
        .iter()
        .map(|entry| section.number_of(entry, "breaks"))
        .collect::<Option<_>>()?;
    if bounds.is_empty() || bounds.len() > 19 {
        section.at(
            entry,
            "breaks",
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
        section.at(entry, "breaks", problem);
        return None;
    }
    Some(Breaks::Given(bounds))
}
