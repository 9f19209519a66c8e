//! The reference page of the job file, out of the rows of its keys.

use std::fmt::Write as _;

use crate::job::keys::{FARM_TABLES, TABLES};
use crate::job::schema::sentence;
use crate::key::{Key, Table};

/// `docs/reference/job.md`.
pub fn page() -> String {
    let mut page = String::from(
        "# Keys of the job file\n\n\
         Made by `haulm keys --markdown` from the table that the reader itself uses; do not edit it by hand.\n\n\
         One TOML file is one field and one decision. Paths are relative to it. An amount carries its unit, in quotes; nitrogen is written as nitrogen \
         (`\"120 kg N/ha\"`), product as product (`\"300 kg/ha\"`, `\"11 gal/ac\"`). A key that is not listed here is refused. `haulm keys KEY` shows one key, \
         and `haulm keys --schema` prints a JSON Schema for editors.\n",
    );
    let top = |table: &&Table| !table.name.is_empty();
    for table in TABLES.iter().filter(top) {
        chapter(table, &mut page);
    }
    page.push_str(
        "\n# Keys of the farm file\n\n\
         `haulm batch` reads one TOML file for many fields. Every key above can stand in it too: in `[common]` (`[common.rate]`), in a column of the fields \
         (`[fields.columns]`), in an image of `[[images]]` (keys of `[imagery]`) or in an `[[exception]]` (`job.rate.maximum = …`). What stands later in this list counts.\n",
    );
    for table in FARM_TABLES.iter() {
        chapter(table, &mut page);
    }
    page
}

fn chapter(table: &Table, page: &mut String) {
    let mark = if table.name.contains('.') {
        "###"
    } else {
        "##"
    };
    let _ = write!(page, "\n{mark} `{}`", table.heading);
    if table.name.contains('.') && !table.heading.starts_with('[') {
        let _ = write!(page, " of {}", table.name);
    }
    let _ = write!(
        page,
        "\n\n{}\n\n| key | value | default | what it does |\n| --- | --- | --- | --- |\n",
        table.about
    );
    for key in table.keys {
        let _ = writeln!(
            page,
            "| `{}` | {} | {} | {} |",
            key.name,
            cell(&key.kind.text()),
            default_cell(key),
            cell(&what(key))
        );
    }
}

fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}

fn default_cell(key: &Key) -> String {
    match key.default_value() {
        Some(value) => format!("`{value}`"),
        None => cell(&key.default_text()),
    }
}

/// Everything that the other columns do not say.
fn what(key: &Key) -> String {
    let mut text = key.about.to_owned();
    let need = key.need_text();
    if !need.is_empty() {
        let _ = write!(text, " **{}.**", sentence(&need));
    }
    if let Some(methods) = methods(key) {
        let _ = write!(text, " Of {methods}.");
    }
    let bounds = key.bounds_text();
    if !bounds.is_empty() {
        let _ = write!(text, " {}.", sentence(&bounds));
    }
    let _ = write!(text, " Example: `{} = {}`", key.name, key.example);
    text
}

/// The methods that a key belongs to; `None` when it belongs to all.
pub(crate) fn methods(key: &Key) -> Option<String> {
    (!key.of.is_empty()).then(|| key.of.join(", "))
}
