//! Every key of the job file: one row a key, by section.

pub(crate) mod farm;
pub(crate) mod field;
pub(crate) mod imagery;
pub(crate) mod machine;
pub(crate) mod office;
pub(crate) mod points;
pub(crate) mod rate;
pub(crate) mod reference;
pub(crate) mod response;
pub(crate) mod season;
pub(crate) mod zones;

use std::sync::LazyLock;

use crate::job::suggest::{nearest, nearness};
use crate::key::{Any, Key, Kind, Table, key, keys};

pub(crate) use field::FIELD;
pub(crate) use imagery::IMAGERY;
pub(crate) use machine::MACHINE;
pub(crate) use office::{APPLICATION, OUTPUT, PRICES, UNCERTAINTY};
pub(crate) use points::POINTS;
pub(crate) use rate::{PRODUCT, RATE};
pub(crate) use reference::REFERENCE;
pub(crate) use response::RESPONSE;
pub(crate) use season::{CROP, SEASON};
pub(crate) use zones::ZONES;

keys! {
    /// The file itself: its sections.
    ROOT: RootKeys = "", "", "One TOML file: one field, one decision.",
    {
        field: Any = section("field"),
        imagery: Any = section("imagery"),
        points: Any = section("points"),
        reference: Any = section("reference"),
        season: Any = section("season"),
        crop: Any = section("crop"),
        response: Any = section("response"),
        rate: Any = section("rate"),
        product: Any = section("product"),
        machine: Any = section("machine"),
        zones: Any = section("zones"),
        prices: Any = section("prices"),
        uncertainty: Any = section("uncertainty"),
        application: Any = section("application"),
        accept: Any = key(Kind::Tables("accept"), "the accepted findings", "", ""),
        record: Any = section("record"),
        report: Any = section("report"),
        output: Any = section("output"),
    }
}

const fn section(name: &'static str) -> Key {
    key(Kind::Table(name), "the section", "", "")
}

/// Sections and the tables within them, in the order of the page.
pub static TABLES: LazyLock<Vec<Table>> = LazyLock::new(|| {
    let before = [
        RootKeys::TABLE,
        field::FieldKeys::TABLE,
        field::BoundaryKeys::TABLE,
        field::ExcludeKeys::TABLE,
        field::EdgeKeys::TABLE,
        imagery::ImageryKeys::TABLE,
        imagery::MaskKeys::TABLE,
        points::PointsKeys::TABLE,
        reference::ReferenceKeys::TABLE,
        reference::StripsKeys::TABLE,
        reference::ZonesKeys::TABLE,
        reference::ReadingsKeys::TABLE,
        reference::RampKeys::TABLE,
        reference::RampStepsKeys::TABLE,
        season::SeasonKeys::TABLE,
        season::CropKeys::TABLE,
        response::table(),
    ];
    let after = [
        rate::RateKeys::TABLE,
        rate::SetKeys::TABLE,
        rate::ProductKeys::TABLE,
        machine::MachineKeys::TABLE,
        machine::HeadingKeys::TABLE,
        machine::LineKeys::TABLE,
        machine::AreaKeys::TABLE,
        machine::HeadlandKeys::TABLE,
        zones::ZonesKeys::TABLE,
        zones::MinimumAreaKeys::TABLE,
        office::PricesKeys::TABLE,
        office::UncertaintyKeys::TABLE,
        office::ApplicationKeys::TABLE,
        office::AcceptKeys::TABLE,
        office::RecordKeys::TABLE,
        office::ReportKeys::TABLE,
        office::OutputKeys::TABLE,
        office::TaskDataKeys::TABLE,
    ];
    before
        .into_iter()
        .chain(response::inner())
        .chain(after)
        .collect()
});

/// Tables of the farm file: its own, since a job of one field has none of them.
pub static FARM_TABLES: LazyLock<Vec<Table>> = LazyLock::new(|| {
    vec![
        farm::FarmKeys::TABLE,
        farm::FarmFieldsKeys::TABLE,
        farm::FarmColumnKeys::TABLE,
        farm::FarmStripsKeys::TABLE,
        farm::FarmCatalogueKeys::TABLE,
        farm::FarmExceptionKeys::TABLE,
    ]
});

/// Keys that an option of `haulm rate` stands for, each with the option.
pub fn by_option() -> impl Iterator<Item = (&'static Key, &'static str)> {
    TABLES
        .iter()
        .flat_map(|table| table.keys)
        .filter_map(|key| Some((key, key.option?)))
}

/// The section of this dotted name, of the job or of the farm file.
pub fn table(name: &str) -> Option<&'static Table> {
    TABLES
        .iter()
        .chain(FARM_TABLES.iter())
        .find(|table| table.name == name)
}

/// The row of a key. Where methods have rows of their own, that of `method` is it.
pub(crate) fn row(section: &str, key: &Key, method: Option<&str>) -> Option<&'static Key> {
    let rows = || {
        table(section)
            .map_or(&[][..], |table| table.keys)
            .iter()
            .filter(|row| row.name == key.name)
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
    for key in table(RESPONSE.method.section).map_or(&[][..], |table| table.keys) {
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
                assert!(
                    key.of.is_empty() || table.name == RESPONSE.method.section,
                    "{name}"
                );
            }
        }
    }

    #[test]
    fn a_key_has_one_row_a_method() {
        for table in TABLES.iter() {
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
