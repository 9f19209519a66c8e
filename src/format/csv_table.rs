//! A table as comma separated values (RFC 4180), without its ground: for spreadsheets and scripts.

use crate::map::table::{Row, Table, Value};

/// The rows with a line of names. Missing values are empty, numbers have a decimal point and as many digits as they need; text that a spreadsheet would take for a
/// formula begins with an apostrophe.
pub(crate) fn csv<'r>(table: &Table, rows: impl Iterator<Item = Row<'r>>) -> Vec<u8> {
    let mut out = csv::Writer::from_writer(Vec::new());
    // Writing to memory does not fail.
    let _ = out.write_record(table.columns.iter().map(|(name, _, _)| *name));
    for row in rows {
        let _ = out.write_record(row.values.iter().map(text));
    }
    out.into_inner().unwrap_or_default()
}

fn text(value: &Value) -> String {
    match value {
        Value::Whole(number) => number.to_string(),
        Value::Real(Some(number)) => number.to_string(),
        // A spreadsheet takes what begins so for a formula and works it out, whoever wrote the name.
        Value::Text(Some(text)) if text.starts_with(['=', '+', '-', '@', '\t', '\r']) => {
            format!("'{text}")
        }
        Value::Text(Some(text)) => text.clone().into_owned(),
        Value::Real(None) | Value::Text(None) => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::table::Kind;
    use geo::MultiPolygon;
    use std::borrow::Cow;

    const TABLE: Table = Table {
        name: "t",
        description: "",
        indexed: false,
        is_large: false,
        columns: &[
            ("a", Kind::Text, ""),
            ("b", Kind::Real, ""),
            ("c", Kind::Whole, ""),
        ],
    };

    fn row(a: &'static str, b: Option<f64>) -> Row<'static> {
        Row {
            outline: Cow::Owned(MultiPolygon::new(Vec::new())),
            values: vec![Value::Text(Some(a.into())), Value::Real(b), Value::Whole(3)],
        }
    }

    #[test]
    fn names_that_begin_like_a_formula_stay_text() {
        let rows = ["=1+1", "+1", "-1", "@SUM(A1)", "A-1"].map(|name| row(name, Some(-0.5)));
        let text = String::from_utf8(csv(&TABLE, rows.into_iter())).unwrap();
        let names: Vec<&str> = text
            .lines()
            .filter_map(|line| line.split(',').next())
            .collect();
        assert_eq!(names, ["a", "'=1+1", "'+1", "'-1", "'@SUM(A1)", "A-1"]);
        assert!(text.lines().skip(1).all(|line| line.ends_with(",-0.5,3")));
    }

    #[test]
    fn quotes_and_missing_values() {
        let rows = [row("Mill, \"old\"", Some(0.5)), row("x", None)];
        assert_eq!(
            csv(&TABLE, rows.into_iter()),
            b"a,b,c\n\"Mill, \"\"old\"\"\",0.5,3\nx,,3\n"
        );
    }
}
