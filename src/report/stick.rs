//! What lies on a stick besides the maps: the index page, and the head of each card.

use std::fmt::Write as _;

use crate::report::counted::counted;
use crate::report::draw::svg::escaped;

/// A map as it lies on a stick, in words and numbers for people.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct MapOnStick {
    /// Name of the field.
    pub field: String,
    /// Whose it is; empty when nobody says.
    pub client: String,
    /// Of which farm.
    pub farm: String,
    /// Crop.
    pub crop: String,
    /// Product, or nitrogen.
    pub product: String,
    /// What goes on the field, with unit.
    pub total: String,
    /// Area, with unit.
    pub area: String,
    /// Day of the image.
    pub image_date: String,
    /// Day of the application; empty when the job does not say.
    pub application_date: String,
    /// Six characters that no other map has.
    pub map_id: String,
    /// The task's name, as terminals list it; empty without task data.
    pub task: String,
    /// Base name of its files on the stick.
    pub name: String,
    /// Base name of its shapefile in the office; empty without one.
    pub office_name: String,
    /// Its cards, by name in their folder.
    pub cards: Vec<String>,
}

impl MapOnStick {
    /// Its shapefile on the stick, if it has one.
    pub(crate) fn shapefile(&self) -> Option<String> {
        (!self.office_name.is_empty()).then(|| format!("SHAPES/{}.shp", self.name))
    }
}

const STYLE: &str = "\
:root { color-scheme: light dark; --paper: #fff; --ink: #1a1a1a; --line: #767676; --tint: #f2f4f5; --link: #0b4f8a; }
@media (prefers-color-scheme: dark) { :root { --paper: #16181a; --ink: #f0f0f0; --line: #8e8e8e; --tint: #24282b; --link: #9ccbff; } }
* { box-sizing: border-box; }
html { font: 100%/1.45 \"Noto Sans\", \"Segoe UI\", Helvetica, Arial, sans-serif; background: var(--paper); color: var(--ink); }
body { margin: 0 auto; padding: 1rem; max-width: 70rem; }
h1 { font-size: 1.6rem; margin: 0 0 .3rem; }
h2 { font-size: 1.2rem; margin: 1.8rem 0 .4rem; }
a { color: var(--link); }
table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: .4rem .6rem; border-bottom: 1px solid var(--line); }
th { background: var(--tint); }
td.n { text-align: right; white-space: nowrap; }
code { font-family: ui-monospace, Menlo, Consolas, monospace; white-space: nowrap; }
@media (max-width: 46rem) {
  thead { display: none; }
  tr { display: block; border: 1px solid var(--line); margin: 0 0 .8rem; }
  td, td.n { display: flex; justify-content: space-between; gap: 1rem; text-align: right; border: 0; padding: .25rem .6rem; white-space: normal; }
  td::before { content: attr(data-name); font-weight: bold; text-align: left; }
}
@media print { body { max-width: none; } }
";

/// The index page of a stick: one row a map, what to load, and the usual cautions. Self-contained; it opens no address.
pub(crate) fn index(maps: &[MapOnStick]) -> Vec<u8> {
    let title = format!("{} on this stick", counted(maps.len(), "map"));
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n<title>{title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n\
         <main>\n<h1>{title}</h1>\n<p>Load the task data or the shapefile of a field, never both. The task's name ends in the map id.</p>\n<table>\n<thead><tr>"
    );
    let headings = [
        "Field",
        "Product",
        "Total",
        "Area",
        "Image",
        "Apply on",
        "Map id",
        "Task",
        "Shapefile",
        "Card",
    ];
    for heading in headings {
        let _ = write!(out, "<th scope=\"col\">{heading}</th>");
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for map in maps {
        let owner = [map.client.as_str(), map.farm.as_str()]
            .into_iter()
            .filter(|text| !text.is_empty())
            .collect::<Vec<_>>()
            .join(", ");
        let field = if owner.is_empty() {
            escaped(&map.field)
        } else {
            format!(
                "{}<br><small>{}</small>",
                escaped(&map.field),
                escaped(&owner)
            )
        };
        let shapefile = map.shapefile().map_or_else(
            || "none".to_owned(),
            |path| format!("<code>{}</code>", escaped(&path)),
        );
        let task = if map.task.is_empty() {
            "none".to_owned()
        } else {
            escaped(&map.task)
        };
        let cards = map
            .cards
            .iter()
            .map(|card| {
                let kind = card.rsplit('.').next().unwrap_or_default();
                format!("<a href=\"CARDS/{}\">{}</a>", escaped(card), escaped(kind))
            })
            .collect::<Vec<_>>()
            .join(" ");
        let cells = [
            ("", field),
            ("", escaped(&map.product)),
            (" class=\"n\"", escaped(&map.total)),
            (" class=\"n\"", escaped(&map.area)),
            ("", escaped(&map.image_date)),
            ("", escaped(&map.application_date)),
            ("", format!("<code>{}</code>", escaped(&map.map_id))),
            ("", task),
            ("", shapefile),
            ("", cards),
        ];
        out.push_str("<tr>");
        for (heading, (class, cell)) in headings.iter().zip(cells) {
            let _ = write!(
                out,
                "<td{class} data-name=\"{heading}\"><span>{cell}</span></td>"
            );
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table>\n<h2>Before the first pass</h2>\n<ul>\n");
    for line in CAUTIONS {
        let _ = writeln!(out, "<li>{line}</li>");
    }
    out.push_str("</ul>\n</main>\n</body>\n</html>\n");
    out.into_bytes()
}

/// What holds for every map.
const CAUTIONS: [&str; 5] = [
    "The product's label and local law come first, whatever these maps say.",
    "A licensed adviser decides. These maps are a help, not a recommendation.",
    "Compare field, product, unit and total on the screen with the card, and the check points of the card, before you start. If one differs, do not start.",
    "Wells and surface water: keep the distance that law and label ask. The card says what a map leaves out.",
    "Take the stick back to the office after the work: what the machine wrote on it is copied there before new maps are put on it.",
];

/// The head that a card gets on a stick: its names there. Lines end by CR LF, as the card's.
pub(crate) fn card_head(map: &MapOnStick) -> String {
    let mut head = String::from("ON THIS STICK\r\n-------------\r\n");
    let mut pair = |label: &str, text: &str| {
        let _ = write!(head, "{label:<18}{text}\r\n");
    };
    if !map.task.is_empty() {
        pair("Task", &map.task);
    }
    if let Some(shapefile) = map.shapefile() {
        pair("Shapefile", &shapefile);
        if map.name != map.office_name {
            pair(
                "",
                &format!("(in the office and below: {})", map.office_name),
            );
        }
    }
    head.push_str("\r\n");
    head
}

/// The same for the card as a page: a line that goes before its first heading.
pub(crate) fn card_line(map: &MapOnStick) -> String {
    let mut names = Vec::new();
    if !map.task.is_empty() {
        names.push(format!("task {}", escaped(&map.task)));
    }
    if let Some(shapefile) = map.shapefile() {
        let was = if map.name == map.office_name {
            String::new()
        } else {
            format!(" (in the office and below: {})", escaped(&map.office_name))
        };
        names.push(format!("shapefile {}{was}", escaped(&shapefile)));
    }
    format!("<p>On this stick: {}.</p>\n", names.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map() -> MapOnStick {
        MapOnStick {
            field: "Miller <North> 40".into(),
            product: "UAN 28".into(),
            total: "380 gal".into(),
            area: "53.7 ac".into(),
            map_id: "0a1b2c".into(),
            task: "Miller North 40 0a1b2c".into(),
            name: "MILLER40".into(),
            office_name: "MILLER_N".into(),
            cards: vec!["MILLER40.txt".into(), "MILLER40.html".into()],
            ..MapOnStick::default()
        }
    }

    #[test]
    fn the_index_names_every_map_with_its_files() {
        let page = String::from_utf8(index(&[map()])).unwrap();
        for text in [
            "1 map on this stick",
            "Miller &lt;North&gt; 40",
            "380 gal",
            "53.7 ac",
            "0a1b2c",
            "SHAPES/MILLER40.shp",
            "href=\"CARDS/MILLER40.txt\"",
            "label and local law come first",
        ] {
            assert!(page.contains(text), "{text}");
        }
        assert!(!page.contains("http:") && !page.contains("https:"));
    }

    #[test]
    fn a_card_says_its_names_on_the_stick() {
        let head = card_head(&map());
        assert!(
            head.contains("SHAPES/MILLER40.shp") && head.contains("below: MILLER_N)"),
            "{head}"
        );
        assert!(head.lines().all(|line| line.len() <= 72), "{head}");
        let same = MapOnStick {
            office_name: "MILLER40".into(),
            ..map()
        };
        assert!(!card_head(&same).contains("below"), "{}", card_head(&same));
    }
}
