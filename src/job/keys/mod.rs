//! Every key of the job file: one row a key, by section.

mod field;
mod imagery;
mod machine;
mod office;
mod points;
mod rate;
mod reference;
mod response;
mod response_tables;
mod row;
mod season;
mod zones;

use crate::job::suggest::{nearest, nearness};
use row::key;

pub use row::{Bounds, Key, Kind, Need, Standard, Table};

/// The file itself: its sections.
const ROOT: Table = Table {
    name: "",
    heading: "",
    about: "One TOML file: one field, one decision.",
    keys: &[
        section("field"),
        section("imagery"),
        section("points"),
        section("reference"),
        section("season"),
        section("crop"),
        section("response"),
        section("rate"),
        section("product"),
        section("machine"),
        section("zones"),
        section("prices"),
        section("uncertainty"),
        section("application"),
        key(
            "accept",
            Kind::Tables("accept"),
            "the accepted findings",
            "",
            "",
        ),
        section("record"),
        section("report"),
        section("output"),
    ],
};

const fn section(name: &'static str) -> Key {
    key(name, Kind::Table(name), "the section", "", "")
}

/// Sections and the tables within them, in the order of the page.
pub const TABLES: &[Table] = &[
    ROOT,
    field::FIELD,
    field::BOUNDARY,
    field::EXCLUDE,
    field::EDGE,
    imagery::IMAGERY,
    imagery::MASK,
    points::POINTS,
    reference::REFERENCE,
    reference::STRIPS,
    reference::ZONES,
    reference::READINGS,
    reference::RAMP,
    reference::RAMP_STEPS,
    season::SEASON,
    season::CROP,
    response::RESPONSE,
    response_tables::YIELD_CURVE,
    response_tables::RATIO_ADJUSTMENT,
    response_tables::BACK_OFF,
    response_tables::METER_CURVE,
    response_tables::LINE,
    response_tables::CLASSES,
    response_tables::CURVE,
    rate::RATE,
    rate::PRODUCT,
    machine::MACHINE,
    machine::HEADING,
    machine::LINE,
    machine::AREA,
    machine::HEADLAND,
    zones::ZONES,
    zones::MINIMUM_AREA,
    office::PRICES,
    office::UNCERTAINTY,
    office::APPLICATION,
    office::ACCEPT,
    office::RECORD,
    office::REPORT,
    office::OUTPUT,
    office::TASK_DATA,
];

/// The section of this dotted name.
pub fn table(name: &str) -> Option<&'static Table> {
    TABLES.iter().find(|table| table.name == name)
}

/// The row of a key. Where methods have rows of their own, that of `method` is it.
pub(crate) fn row(section: &str, name: &str, method: Option<&str>) -> Option<&'static Key> {
    let rows = || {
        table(section)
            .map_or(&[][..], |table| table.keys)
            .iter()
            .filter(|key| key.name == name)
    };
    let own = method.and_then(|method| rows().find(|key| key.belongs_to(method)));
    own.or_else(|| rows().next())
}

/// The keys of a section, each name once; none for one whose keys are the user's own.
pub(crate) fn known_in(section: &str) -> Vec<&'static str> {
    let mut names = Vec::new();
    for key in table(section).map_or(&[][..], |table| table.keys) {
        if !names.contains(&key.name) {
            names.push(key.name);
        }
    }
    names
}

/// Sections that know a key; tables within sections only where no section does.
pub(crate) fn sections_with(key: &str) -> Vec<&'static str> {
    let with = |inner: bool| -> Vec<&'static str> {
        TABLES
            .iter()
            .filter(|table| !table.name.is_empty() && table.name.contains('.') == inner)
            .filter(|table| table.keys.iter().any(|row| row.name == key))
            .map(|table| table.name)
            .collect()
    };
    let top = with(false);
    if top.is_empty() { with(true) } else { top }
}

/// What a key that `section` does not know was meant to be: one of `free`, which are not yet given there, one of its others, or, with its section,
/// one that another section knows.
pub(crate) fn meant(section: &str, name: &str, free: &[&'static str]) -> Option<String> {
    /// A key that is given already is meant only where it is this much nearer than any other.
    const GIVEN: f64 = 0.15;
    let known = known_in(section);
    let unused = nearest(name, free.iter().copied());
    let here = match (unused, nearest(name, known)) {
        (Some(unused), Some(any)) if nearness(name, any) < nearness(name, unused) + GIVEN => {
            Some(unused)
        }
        (_, any) => any,
    };
    let home = here.map_or(0.0, |here| nearness(name, here));
    // Another section's key is named only when what was typed is as near to it as a slip of the finger.
    let far = if here.is_some() { 0.9 } else { 0.8 };
    if home >= 0.68 {
        return here.map(str::to_owned);
    }
    let mut best: Option<(f64, String)> = None;
    for table in TABLES.iter().filter(|table| {
        !table.name.is_empty() && !table.name.contains('.') && table.name != section
    }) {
        for key in table.keys {
            let near = nearness(name, key.name);
            if near > best.as_ref().map_or(far, |(best, _)| *best) {
                best = Some((near, format!("{}.{}", table.name, key.name)));
            }
        }
    }
    best.map(|(_, key)| key).or_else(|| here.map(str::to_owned))
}

/// Keys of `[response]` and the methods that each belongs to; none for keys of every method.
pub(crate) fn methods_of(name: &str) -> Vec<&'static str> {
    let mut methods = Vec::new();
    for key in table("response").map_or(&[][..], |table| table.keys) {
        if key.name == name {
            methods.extend(
                key.of
                    .iter()
                    .copied()
                    .filter(|of| !methods.contains(of))
                    .collect::<Vec<_>>(),
            );
        }
    }
    methods
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_sought_in_its_own_section_first() {
        let free = ["maximum", "minimum"];
        assert_eq!(meant("rate", "max_rate", &free).as_deref(), Some("maximum"));
        assert_eq!(
            meant("season", "growingdays", &["growing_day_rule"]).as_deref(),
            Some("growing_days")
        );
        assert_eq!(meant("zones", "colour", &["by", "classes"]), None);
    }

    #[test]
    fn a_slip_of_another_sections_key_names_it_with_its_section() {
        for (section, slip, key) in [
            ("zones", "working_widht", "machine.working_width"),
            ("machine", "use_efficency", "response.use_efficiency"),
            ("rate", "pixels_inside", "imagery.pixel_inside"),
            ("", "boundry", "field.boundary"),
        ] {
            assert_eq!(
                meant(section, slip, &known_in(section)).as_deref(),
                Some(key),
                "{slip} in [{section}]"
            );
        }
    }

    #[test]
    fn rows_are_whole() {
        for table in TABLES.iter().filter(|table| !table.name.is_empty()) {
            assert!(
                !table.about.is_empty() && table.about.ends_with('.'),
                "{}",
                table.name
            );
            for key in table.keys {
                let name = format!("{}.{}", table.name, key.name);
                assert!(!key.noun.is_empty() && !key.example.is_empty(), "{name}");
                assert!(
                    key.about.ends_with('.') && key.about.chars().count() <= 160,
                    "{name}: {}",
                    key.about
                );
                assert!(
                    !key.about.contains("  ")
                        && key.about.chars().next().is_some_and(char::is_uppercase),
                    "{name}"
                );
                for section in [key.kind.table(), key.kind.tables()].into_iter().flatten() {
                    assert!(
                        self::table(section).is_some(),
                        "{name}: no section {section}"
                    );
                }
                for value in [Some(key.example), key.default_value()]
                    .into_iter()
                    .flatten()
                {
                    let line = format!("key = {value}");
                    assert!(line.parse::<toml::Table>().is_ok(), "{name}: {line}");
                }
                assert!(key.of.is_empty() || table.name == "response", "{name}");
            }
        }
    }

    #[test]
    fn a_key_has_one_row_a_method() {
        for table in TABLES {
            for (at, one) in table.keys.iter().enumerate() {
                for other in &table.keys[at + 1..] {
                    let both = one.name == other.name
                        && (one.of.is_empty()
                            || other.of.is_empty()
                            || one.of.iter().any(|of| other.of.contains(of)));
                    assert!(!both, "{}.{} has two rows", table.name, one.name);
                }
            }
        }
    }
}
