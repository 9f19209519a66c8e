//! Columns of a map in US units: beside each column whose name says kilograms or square metres the same in pounds or acres, and before it, for people who read tables.
//!
//! The metric columns stay under their names, by which scripts find them. Nothing is spelled twice: the names are made from theirs.

use std::sync::LazyLock;

use crate::map::table::{CELLS, CONVERTED, Column, FIELD, Kind, Table, Value, ZONES};
use crate::units::{KG_HA_PER_LB_AC, KG_PER_LB, M2_PER_AC, NRate};

/// End of a metric column's name, the US one, metric amount in one US amount, and the units as descriptions have them.
type Rule = (
    &'static str,
    &'static str,
    f64,
    &'static [(&'static str, &'static str)],
);

/// What is turned into what.
const RULES: [Rule; 3] = [
    (
        "_kg_ha",
        "_lb_ac",
        KG_HA_PER_LB_AC,
        &[("[kg N/ha]", "[lb N/ac]"), ("[kg/ha]", "[lb/ac]")],
    ),
    ("_m2", "_ac", M2_PER_AC, &[("[m2]", "[ac]")]),
    ("_kg", "_lb", KG_PER_LB, &[("[kg N]", "[lb N]")]),
];

/// Digits that a US column keeps: a hundredth of the step that anybody spreads.
const DIGITS: f64 = 1e4;

/// The tables with US columns.
static TABLES: LazyLock<[Table; 4]> =
    LazyLock::new(|| [&ZONES, &CELLS, &FIELD, &CONVERTED].map(with_us));

/// Zones of a job; `us`: whether its people read US units.
pub(super) fn zones(us: bool) -> Table {
    if us { TABLES[0] } else { ZONES }
}

/// Cells of a job.
pub(super) fn cells(us: bool) -> Table {
    if us { TABLES[1] } else { CELLS }
}

/// The field of a job.
pub(super) fn field(us: bool) -> Table {
    if us { TABLES[2] } else { FIELD }
}

/// Zones of a map in another format.
pub(super) fn converted(us: bool) -> Table {
    if us { TABLES[3] } else { CONVERTED }
}

fn rounded(value: f64) -> f64 {
    libm::round(value * DIGITS) / DIGITS
}

/// Nitrogen as the US column has it. \[lb N/ac\]
pub(super) fn pounds(rate: NRate) -> f64 {
    rounded(rate.as_lb_per_ac())
}

/// The US column of a metric one, and how many of its amount make one.
fn us_of(column: &Column) -> Option<(Column, f64)> {
    let (name, kind, about) = column;
    if *kind != Kind::Real {
        return None;
    }
    let (stem, (_, end, factor, units)) = RULES
        .iter()
        .find_map(|rule| Some((name.strip_suffix(rule.0)?, rule)))?;
    let about = units.iter().fold((*about).to_owned(), |text, (from, to)| {
        text.replace(from, to)
    });
    // Once for the life of the program, for each column of four tables.
    let column: Column = (
        Box::leak(format!("{stem}{end}").into_boxed_str()),
        Kind::Real,
        Box::leak(about.into_boxed_str()),
    );
    Some((column, *factor))
}

/// Where the US columns stand: before the first that they say in other units.
fn place(columns: &[Column]) -> usize {
    let metric = |column: &Column| RULES.iter().any(|rule| column.0.ends_with(rule.0));
    columns.iter().position(metric).unwrap_or(columns.len())
}

fn with_us(table: &Table) -> Table {
    let us = table
        .columns
        .iter()
        .filter_map(|column| Some(us_of(column)?.0));
    let mut columns = table.columns.to_vec();
    let at = place(table.columns);
    columns.splice(at..at, us.collect::<Vec<_>>());
    Table {
        columns: Vec::leak(columns),
        ..*table
    }
}

/// The values of a row with those of its US columns, where `us` says so.
pub(super) fn values(table: &Table, metric: Vec<Value>, us: bool) -> Vec<Value> {
    if !us {
        return metric;
    }
    let factor = |name: &str| {
        let rule = RULES.iter().find(|rule| name.ends_with(rule.0));
        rule.map(|rule| rule.2)
    };
    let pounds: Vec<Value> = table
        .columns
        .iter()
        .zip(&metric)
        .filter_map(|((name, ..), value)| match value {
            Value::Real(number) => {
                let factor = factor(name)?;
                Some(Value::Real(number.map(|number| rounded(number / factor))))
            }
            Value::Whole(_) | Value::Text(_) => None,
        })
        .collect();
    let mut all = metric;
    let at = place(table.columns);
    all.splice(at..at, pounds);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_metric_column_stands_in_us_units_before_it() {
        let names = |table: Table| {
            let names: Vec<&str> = table.columns.iter().map(|column| column.0).collect();
            names.join(" ")
        };
        assert_eq!(
            names(zones(true)),
            "zone product_rate product_unit n_lb_ac area_ac n_p10_lb_ac n_p90_lb_ac n_kg_ha area_m2 index cells state n_p10_kg_ha n_p90_kg_ha"
        );
        assert_eq!(names(field(true)), "name map_id area_ac n_lb area_m2 n_kg");
        assert!(names(cells(true)).contains("yield_with_n_lb_ac"));
        assert_eq!(names(converted(false)), names(CONVERTED));
        for table in [zones(true), cells(true), field(true), converted(true)] {
            for (name, _, about) in table.columns {
                let us = name.ends_with("_lb_ac") || name.ends_with("_ac") || name.ends_with("_lb");
                assert!(
                    !us || about.contains("lb") || about.contains("ac]"),
                    "{name}: {about}"
                );
            }
        }
    }

    #[test]
    fn values_stand_under_their_columns() {
        // 120 lb N/ac = 134.50 kg N/ha; 10 acres = 40468.56 m² (definitions of pound and acre).
        let row = vec![
            Value::Text(Some("Ley".into())),
            Value::Text(Some("a1b2c3".into())),
            Value::Real(Some(40_468.564_224)),
            Value::Real(None),
        ];
        let all = values(&FIELD, row.clone(), true);
        assert_eq!(all.len(), field(true).columns.len());
        assert_eq!(all[2..4], [Value::Real(Some(10.0)), Value::Real(None)]);
        assert_eq!(all[4..], row[2..]);
        assert_eq!(values(&FIELD, row.clone(), false), row);
        assert_eq!(pounds(NRate::lb_per_ac(120.0)), 120.0);
    }
}
