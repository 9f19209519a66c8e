//! The index page of a farm: what became of every field, what to see to, and where its files are. Self-contained; it opens no address.

use std::fmt::Write as _;

use crate::map::palette::{Colour, class_colours};
use crate::report::counted::counted;
use crate::report::draw::svg::escaped;
use geo::{Area as _, MultiPolygon};

/// kg in a pound (from memory).
const POUND_KG: f64 = 0.453_592_37;
/// ha in an acre (from memory).
const ACRE_HA: f64 = 0.404_685_642_24;
/// More fields than this are drawn as dots.
const MAXIMUM_OUTLINES: usize = 2_000;
/// Corners of an outline that are drawn.
const MAXIMUM_CORNERS: usize = 40;

/// Something noticed in a field.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Noticed {
    /// `stop` or `caution`.
    pub severity: String,
    /// Its code.
    pub code: String,
    /// What it says.
    pub message: String,
}

/// Where a field lies: its outer ring, thinned. \[°\]
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Place(Vec<[f64; 2]>);

impl Place {
    /// Of a boundary in longitude and latitude: its largest part.
    pub(crate) fn of(boundary: &MultiPolygon<f64>) -> Self {
        let largest = boundary
            .0
            .iter()
            .max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()));
        let Some(ring) = largest.map(|polygon| &polygon.exterior().0) else {
            return Self::default();
        };
        let step = ring.len().div_ceil(MAXIMUM_CORNERS).max(1);
        Self(ring.iter().step_by(step).map(|c| [c.x, c.y]).collect())
    }
}

/// A field on the page. Numbers are metric; the page turns them.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct FieldLine {
    /// Its name.
    pub field: String,
    /// Its folder beside the page.
    pub folder: String,
    /// What became of it.
    pub state: &'static str,
    /// What was refused.
    pub reason: Option<String>,
    /// Code of the refusal.
    pub code: Option<String>,
    /// Where, with numbers.
    pub facts: Vec<String>,
    /// What to do.
    pub hint: Option<String>,
    /// The map's id.
    pub map_id: Option<String>,
    /// Crop.
    pub crop: Option<String>,
    /// The image and its day.
    pub image: Option<(String, String)>,
    /// Newer images and why they were passed over.
    pub passed_over: Vec<(String, String)>,
    /// Area. \[ha\]
    pub area_ha: Option<f64>,
    /// Nitrogen. \[kg N\]
    pub n_kg: Option<f64>,
    /// Its mean. \[kg N/ha\]
    pub mean_n_kg_ha: Option<f64>,
    /// Its 80 % range. \[kg N\]
    pub range_n_kg: Option<(f64, f64)>,
    /// Product and its unit.
    pub product: Option<(f64, String)>,
    /// Response index.
    pub ratio: Option<f64>,
    /// Its 95 % interval.
    pub interval: Option<(f64, f64)>,
    /// Number of zones.
    pub zones: Option<u64>,
    /// Why it is otherwise.
    pub exceptions: Vec<String>,
    /// Stops and cautions.
    pub noticed: Vec<Noticed>,
    /// Files in its folder.
    pub files: Vec<String>,
    /// Where it lies.
    pub place: Place,
}

/// All that the page shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct FarmPage {
    /// Name of the farm.
    pub farm: String,
    /// Whether maps were made, or the tables alone.
    pub with_maps: bool,
    /// Whether people read US units.
    pub us_units: bool,
    /// The fields, in the order of the layer.
    pub fields: Vec<FieldLine>,
}

impl FarmPage {
    /// What a field has when all is well.
    const fn thing(&self) -> &'static str {
        if self.with_maps { "map" } else { "rate" }
    }
    /// Whether a column has nothing to show.
    fn is_empty(&self, heading: &str) -> bool {
        heading == MAP_ID && !self.with_maps
    }
}

const STYLE: &str = "\
:root { color-scheme: light dark; --paper: #fff; --ground: #f4f5f5; --ink: #1a1a1a; --soft: #55595c; --line: #d4d7d9; --tint: #eef1f2; --act: #0b4f8a; --stop: #8f1414; --caution: #6b4400; --good: #1c5c32; --map: #e9ebec; }
@media (prefers-color-scheme: dark) { :root { --paper: #16181a; --ground: #0f1112; --ink: #f0f0f0; --soft: #b4b9bc; --line: #34393c; --tint: #212528; --act: #9ccbff; --stop: #ff9d94; --caution: #f2c26b; --good: #8fd3a4; --map: #25292b; } }
*, *::before, *::after { box-sizing: border-box; }
html { font: 100%/1.45 system-ui, -apple-system, \"Segoe UI\", Roboto, \"Noto Sans\", sans-serif; background: var(--ground); color: var(--ink); font-variant-numeric: tabular-nums; }
body { margin: 0; font-size: .9375rem; overflow-wrap: anywhere; }
main { max-width: 76rem; margin: 0 auto; padding: 1rem; }
h1 { font-size: 1.5rem; line-height: 1.2; margin: .2rem 0 .2rem; }
h2 { font-size: 1.125rem; margin: 0 0 .6rem; }
p { margin: 0 0 .6rem; }
a { color: var(--act); }
section { background: var(--paper); border: 1px solid var(--line); border-radius: 8px; padding: 1rem; margin: 1rem 0 0; }
.soft { color: var(--soft); font-size: .8125rem; }
.sums { display: grid; grid-template-columns: repeat(auto-fit, minmax(8.5rem, 1fr)); gap: .8rem 1.2rem; margin: 0; }
.sums dt { color: var(--soft); font-size: .8125rem; }
.sums dd { margin: 0; font-size: 1.25rem; font-weight: 650; line-height: 1.3; }
.sums dd small { font-size: .8125rem; font-weight: 400; color: var(--soft); }
.map svg { display: block; width: 100%; height: auto; max-height: 26rem; background: var(--map); border-radius: 6px; }
.map a:focus-visible path, .map a:hover path, .map a:hover circle { stroke: var(--act); stroke-width: 3; }
.legend { display: flex; flex-wrap: wrap; gap: .3rem 1rem; margin: .6rem 0 0; padding: 0; list-style: none; font-size: .8125rem; }
.legend i { display: inline-block; width: 1.1em; height: 1.1em; border: 1px solid #0006; border-radius: 3px; margin-right: .4em; vertical-align: -.2em; }
.see { list-style: none; margin: 0; padding: 0; }
.see > li { border-top: 1px solid var(--line); padding: .7rem 0; }
.see > li:first-child { border-top: 0; padding-top: 0; }
.see ul { margin: .2rem 0 .2rem; padding-left: 1.2rem; }
.state { font-weight: 650; white-space: nowrap; }
.refused, .crashed, .stopped, .stop { color: var(--stop); }
.waiting, .caution { color: var(--caution); }
.done { color: var(--good); }
code { font-family: ui-monospace, \"DejaVu Sans Mono\", Consolas, monospace; font-size: .92em; }
table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: .45rem .6rem; border-bottom: 1px solid var(--line); }
th { font-size: .8125rem; color: var(--soft); font-weight: 650; }
td.n, th.n { text-align: right; white-space: nowrap; }
td small { color: var(--soft); overflow-wrap: anywhere; }
table { overflow-wrap: normal; }
.whole, td code { white-space: nowrap; }
td.more code { white-space: normal; overflow-wrap: anywhere; }
tr:target { background: var(--tint); }
details summary { cursor: pointer; }
details ul { margin: .3rem 0 0; padding-left: 1.1rem; }
:focus-visible { outline: 3px solid var(--act); outline-offset: 2px; }
@media (max-width: 52rem) {
  main { padding: .6rem; }
  thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  tr { display: block; border: 1px solid var(--line); border-radius: 6px; margin: 0 0 .7rem; padding: .3rem 0; }
  td, td.n { display: flex; justify-content: space-between; gap: 1rem; text-align: right; border: 0; padding: .2rem .7rem; white-space: normal; }
  td::before { content: attr(data-name); color: var(--soft); text-align: left; flex: none; }
  td.name { font-size: 1.0625rem; font-weight: 650; text-align: left; }
  td.name::before { content: none; }
  td.more { display: block; text-align: left; }
  td.more::before { content: none; }
}
@media print { section { break-inside: avoid; border: 0; padding: 0; } }
";

/// What holds for every map.
const CAUTIONS: [&str; 3] = [
    "The product's label and local law come first, whatever these maps say.",
    "A licensed adviser decides. These maps are a help, not a recommendation.",
    "Wells and surface water: keep the distance that law and label ask. Each card says what its map leaves out.",
];

/// Numbers as people read them.
struct Units {
    us: bool,
}

impl Units {
    fn rate(&self, kg_ha: f64) -> f64 {
        if self.us {
            kg_ha / POUND_KG * ACRE_HA
        } else {
            kg_ha
        }
    }
    fn mass(&self, kg: f64) -> f64 {
        if self.us { kg / POUND_KG } else { kg }
    }
    fn area(&self, ha: f64) -> f64 {
        if self.us { ha / ACRE_HA } else { ha }
    }
    const fn rate_unit(&self) -> &'static str {
        if self.us { "lb N/ac" } else { "kg N/ha" }
    }
    const fn mass_unit(&self) -> &'static str {
        if self.us { "lb N" } else { "kg N" }
    }
    const fn area_unit(&self) -> &'static str {
        if self.us { "ac" } else { "ha" }
    }
}

/// A whole number with thin spaces between thousands.
fn whole(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut out = String::new();
    for (k, c) in digits.chars().enumerate() {
        if k > 0 && (digits.len() - k).is_multiple_of(3) {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    if value < -0.5 {
        format!("−{out}")
    } else {
        out
    }
}

pub(crate) fn index(page: &FarmPage) -> Vec<u8> {
    let units = Units { us: page.us_units };
    let title = escaped(&page.farm);
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n<title>{title}: {what}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n\
         <main>\n<h1>{title}</h1>\n<p class=\"soft\">{} of {}, by haulm {}. Tables: <a href=\"fields.csv\">fields.csv</a>, <a href=\"farm.gpkg\">farm.gpkg</a> with every zone.</p>\n",
        if page.with_maps {
            "Nitrogen maps"
        } else {
            "Nitrogen rates, without maps,"
        },
        counted(page.fields.len(), "field"),
        env!("CARGO_PKG_VERSION"),
        what = if page.with_maps {
            "nitrogen maps"
        } else {
            "nitrogen rates, no maps"
        },
    );
    sums(page, &units, &mut out);
    map(page, &units, &mut out);
    to_see_to(page, &mut out);
    table(page, &units, &mut out);
    out.push_str("<section aria-labelledby=\"before\">\n<h2 id=\"before\">Before the first pass</h2>\n<ul>\n");
    let before = if page.with_maps {
        "Look at each field's report before its map goes to the machine; its card tells the driver what to compare on the screen."
    } else {
        "Nothing here goes to a machine. Make the maps, and look at each field's report, before anything is spread."
    };
    for line in CAUTIONS.into_iter().chain([before]) {
        let _ = writeln!(out, "<li>{line}</li>");
    }
    out.push_str("</ul>\n</section>\n</main>\n</body>\n</html>\n");
    out.into_bytes()
}

fn sums(page: &FarmPage, units: &Units, out: &mut String) {
    let count = |state: &str| {
        page.fields
            .iter()
            .filter(|field| field.state == state)
            .count()
    };
    let done = || page.fields.iter().filter(|field| field.state == "done");
    let area: f64 = done().filter_map(|field| field.area_ha).sum();
    let n_kg: f64 = done().filter_map(|field| field.n_kg).sum();
    out.push_str("<section aria-label=\"Sums\">\n<dl class=\"sums\">\n");
    let mut pair = |label: &str, value: String, unit: &str| {
        let _ = writeln!(
            out,
            "<div><dt>{label}</dt><dd>{value} <small>{unit}</small></dd></div>"
        );
    };
    pair(
        if page.with_maps {
            "Maps written"
        } else {
            "Fields with rates"
        },
        whole(count("done") as f64),
        &format!("of {}", page.fields.len()),
    );
    if count("done") > 0 {
        pair(
            "Area of them",
            format!("{:.1}", units.area(area)),
            units.area_unit(),
        );
        pair("Nitrogen", whole(units.mass(n_kg)), units.mass_unit());
        pair(
            "Mean rate",
            format!("{:.0}", units.rate(n_kg / area.max(1e-9))),
            units.rate_unit(),
        );
    }
    for (state, label) in [
        ("stopped", "Stopped by a finding"),
        ("refused", "Refused"),
        ("crashed", "Failed in haulm"),
        ("waiting", "Not made yet"),
    ] {
        if count(state) > 0 {
            pair(label, whole(count(state) as f64), "");
        }
    }
    out.push_str("</dl>\n</section>\n");
}

/// Classes of mean rates: equal steps between the least and the greatest, five at most.
fn classes(page: &FarmPage, units: &Units) -> Vec<(f64, f64, Colour)> {
    let rates: Vec<f64> = page
        .fields
        .iter()
        .filter(|field| field.state == "done")
        .filter_map(|field| field.mean_n_kg_ha)
        .map(|rate| units.rate(rate))
        .collect();
    let low = rates.iter().copied().fold(f64::INFINITY, f64::min);
    let high = rates.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !low.is_finite() {
        return Vec::new();
    }
    let step = [5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0]
        .into_iter()
        .find(|step| libm::floor(high / step) - libm::floor(low / step) < 5.0)
        .unwrap_or(500.0);
    let first = libm::floor(low / step) * step;
    let count = (libm::floor(high / step) - libm::floor(low / step)) as usize + 1;
    let colours = class_colours(count.max(2)).unwrap_or_default();
    (0..count)
        .zip(colours)
        .map(|(k, colour)| {
            let from = first + k as f64 * step;
            (from, from + step, colour)
        })
        .collect()
}

/// A map of all fields, coloured by their mean rates; each leads to its row.
fn map(page: &FarmPage, units: &Units, out: &mut String) {
    let points = || page.fields.iter().flat_map(|field| &field.place.0);
    let span = |of: fn(&[f64; 2]) -> f64| {
        points()
            .map(of)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                (low.min(v), high.max(v))
            })
    };
    let ((west, east), (south, north)) = (span(|p| p[0]), span(|p| p[1]));
    if !west.is_finite() {
        return;
    }
    // Degrees of longitude are as long as the middle latitude has them: good enough to find a field by.
    let across = libm::cos(f64::midpoint(south, north).to_radians());
    let (wide, high) = (
        ((east - west) * across).max(1e-6),
        (north - south).max(1e-6),
    );
    let scale = 960.0 / wide.max(high * 2.0);
    let margin = 20.0;
    let (width, height) = (wide * scale + 2.0 * margin, high * scale + 2.0 * margin);
    let at = |p: &[f64; 2]| {
        (
            margin + (p[0] - west) * across * scale,
            margin + (north - p[1]) * scale,
        )
    };
    let classes = classes(page, units);
    let colour = |field: &FieldLine| {
        let rate = units.rate(field.mean_n_kg_ha.filter(|_| field.state == "done")?);
        let found = classes
            .iter()
            .find(|(from, to, _)| rate >= *from && rate < *to);
        found.or(classes.last()).map(|(_, _, colour)| colour.hex())
    };
    let _ = write!(
        out,
        "<section class=\"map\" aria-labelledby=\"map\">\n<h2 id=\"map\">Where they lie</h2>\n<svg viewBox=\"0 0 {width:.0} {height:.0}\" role=\"group\" aria-label=\"Map of the fields by mean rate\">\n\
         <defs><pattern id=\"none\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><rect width=\"6\" height=\"6\" fill=\"#fff\"/><rect width=\"2\" height=\"6\" fill=\"#8f1414\"/></pattern></defs>\n"
    );
    let dots = page.fields.len() > MAXIMUM_OUTLINES;
    for (k, field) in page.fields.iter().enumerate() {
        let fill = colour(field).unwrap_or_else(|| "url(#none)".to_owned());
        let notice = told_on_map(field, units);
        if field.place.0.is_empty() {
            continue;
        }
        let _ = write!(out, "<a href=\"#f{k}\"><title>{}</title>", escaped(&notice));
        if dots {
            let n = field.place.0.len() as f64;
            let (x, y) = field
                .place
                .0
                .iter()
                .map(at)
                .fold((0.0, 0.0), |(a, b), (x, y)| (a + x / n, b + y / n));
            let _ = write!(
                out,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3\" fill=\"{fill}\" stroke=\"#000\" stroke-width=\".3\"/>"
            );
        } else {
            let corners: Vec<String> = field
                .place
                .0
                .iter()
                .map(|p| {
                    let (x, y) = at(p);
                    format!("{x:.1} {y:.1}")
                })
                .collect();
            let _ = write!(
                out,
                "<path d=\"M{}Z\" fill=\"{fill}\" stroke=\"#000\" stroke-width=\"1\"/>",
                corners.join("L")
            );
        }
        out.push_str("</a>\n");
    }
    out.push_str("</svg>\n<ul class=\"legend\">\n");
    for (from, to, colour) in &classes {
        let _ = writeln!(
            out,
            "<li><i style=\"background:{}\"></i>{from:.0} to {to:.0} {}</li>",
            colour.hex(),
            units.rate_unit()
        );
    }
    if page.fields.iter().any(|field| field.state != "done") {
        let _ = writeln!(
            out,
            "<li><i style=\"background:repeating-linear-gradient(45deg,#8f1414 0 2px,#fff 2px 6px)\"></i>no {}</li>",
            page.thing()
        );
    }
    out.push_str("</ul>\n</section>\n");
}

fn told_on_map(field: &FieldLine, units: &Units) -> String {
    match field.mean_n_kg_ha.filter(|_| field.state == "done") {
        Some(rate) => format!(
            "{}: mean {:.0} {}",
            field.field,
            units.rate(rate),
            units.rate_unit()
        ),
        None => format!("{}: {}", field.field, field.state),
    }
}

/// Fields without a map, with the reason and the way out.
fn to_see_to(page: &FarmPage, out: &mut String) {
    let fields: Vec<(usize, &FieldLine)> = page
        .fields
        .iter()
        .enumerate()
        .filter(|(_, field)| !["done", "waiting"].contains(&field.state))
        .collect();
    if fields.is_empty() {
        return;
    }
    let _ = write!(
        out,
        "<section aria-labelledby=\"see\">\n<h2 id=\"see\">To see to: {} without a {}</h2>\n<ul class=\"see\">\n",
        counted(fields.len(), "field"),
        page.thing()
    );
    for (k, field) in fields {
        let _ = write!(
            out,
            "<li><a href=\"#f{k}\"><strong>{}</strong></a> <span class=\"state {}\">{}</span>",
            escaped(&field.field),
            field.state,
            field.state
        );
        if let Some(reason) = &field.reason {
            let code = field.code.as_deref().unwrap_or_default();
            let _ = write!(out, ": {} <code>{}</code>", escaped(reason), escaped(code));
        }
        let stops: Vec<&Noticed> = field
            .noticed
            .iter()
            .filter(|one| one.severity == "stop")
            .collect();
        if !field.facts.is_empty() || !stops.is_empty() {
            out.push_str("<ul>");
            for fact in field.facts.iter().take(6) {
                let _ = write!(out, "<li>{}</li>", escaped(fact));
            }
            for stop in stops {
                let _ = write!(
                    out,
                    "<li>{} <code>{}</code></li>",
                    escaped(&stop.message),
                    escaped(&stop.code)
                );
            }
            out.push_str("</ul>");
        }
        if let Some(hint) = &field.hint {
            let _ = write!(out, "<span class=\"soft\">{}</span>", escaped(hint));
        }
        out.push_str("</li>\n");
    }
    out.push_str("</ul>\n</section>\n");
}

/// Heading of the maps' short names.
const MAP_ID: &str = "Map id";

const HEADINGS: [(&str, bool); 9] = [
    ("Field", false),
    ("State", false),
    ("Area", true),
    ("Mean rate", true),
    ("Total", true),
    ("Response index", true),
    ("Image", false),
    (MAP_ID, false),
    ("What to know, and files", false),
];

fn table(page: &FarmPage, units: &Units, out: &mut String) {
    out.push_str(
        "<section aria-labelledby=\"all\">\n<h2 id=\"all\">All fields</h2>\n<table>\n<thead><tr>",
    );
    for (heading, number) in HEADINGS {
        if page.is_empty(heading) {
            continue;
        }
        let class = if number { " class=\"n\"" } else { "" };
        let _ = write!(out, "<th scope=\"col\"{class}>{heading}</th>");
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for (k, field) in page.fields.iter().enumerate() {
        let _ = write!(out, "<tr id=\"f{k}\">");
        for ((heading, number), (class, cell)) in HEADINGS.iter().zip(cells(field, units)) {
            if page.is_empty(heading) {
                continue;
            }
            let class = match (number, class) {
                (true, _) => "n",
                (false, class) => class,
            };
            let class = if class.is_empty() {
                String::new()
            } else {
                format!(" class=\"{class}\"")
            };
            if cell.is_empty() {
                let _ = write!(
                    out,
                    "<td{class} data-name=\"{heading}\"><span aria-label=\"none\">–</span></td>"
                );
            } else {
                let _ = write!(
                    out,
                    "<td{class} data-name=\"{heading}\"><span>{cell}</span></td>"
                );
            }
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table>\n</section>\n");
}

fn cells(field: &FieldLine, units: &Units) -> [(&'static str, String); 9] {
    let shown =
        |value: Option<f64>, text: &dyn Fn(f64) -> String| value.map_or_else(String::new, text);
    let crop = field.crop.as_deref().map_or_else(String::new, |crop| {
        format!("<br><small>{}</small>", escaped(crop))
    });
    let total = || {
        let n = field
            .n_kg
            .map(|kg| format!("{} {}", whole(units.mass(kg)), units.mass_unit()))?;
        let product = field
            .product
            .as_ref()
            .map_or_else(String::new, |(amount, unit)| {
                format!("<br><small>{} {}</small>", whole(*amount), escaped(unit))
            });
        let range = field.range_n_kg.map_or_else(String::new, |(low, high)| {
            format!(
                "<br><small>80 % range {} to {}</small>",
                whole(units.mass(low)),
                whole(units.mass(high))
            )
        });
        Some(n + &product + &range)
    };
    let ratio = shown(field.ratio, &|ratio| {
        let interval = field.interval.map_or_else(String::new, |(low, high)| {
            format!("<br><small>{low:.2} to {high:.2}</small>")
        });
        format!("{ratio:.2}{interval}")
    });
    let image = field
        .image
        .as_ref()
        .map_or_else(String::new, |(path, date)| {
            format!(
                "<span class=\"whole\">{}</span><br><small>{}</small>",
                escaped(date),
                escaped(path)
            )
        });
    [
        ("name", format!("{}{crop}", escaped(&field.field))),
        (
            "",
            format!("<span class=\"state {0}\">{0}</span>", field.state),
        ),
        (
            "",
            shown(field.area_ha, &|ha| {
                format!("{:.1} {}", units.area(ha), units.area_unit())
            }),
        ),
        (
            "",
            shown(field.mean_n_kg_ha, &|rate| {
                format!("{:.0} {}", units.rate(rate), units.rate_unit())
            }),
        ),
        ("", total().unwrap_or_default()),
        ("", ratio),
        ("", image),
        (
            "",
            field
                .map_id
                .as_deref()
                .map_or_else(String::new, |id| format!("<code>{}</code>", escaped(id))),
        ),
        ("more", more(field)),
    ]
}

/// Findings folded away, and links to the files of the field.
fn more(field: &FieldLine) -> String {
    let mut out = String::new();
    let link = |path: &str, name: &str| {
        field.files.iter().any(|file| file == path).then(|| {
            format!(
                "<a href=\"{}/{}\">{name}</a>",
                escaped(&field.folder),
                escaped(path)
            )
        })
    };
    let links: Vec<String> = [
        link("office/report.html", "report"),
        link("office/report.pdf", "PDF"),
        link("machine/CARD.html", "card"),
    ]
    .into_iter()
    .flatten()
    .collect();
    out.push_str(&links.join(" · "));
    for reason in &field.exceptions {
        let _ = write!(out, "<br><small>Otherwise: {}</small>", escaped(reason));
    }
    for (image, why) in &field.passed_over {
        let _ = write!(
            out,
            "<br><small>Not {}: {}</small>",
            escaped(image),
            escaped(why)
        );
    }
    if field.noticed.is_empty() {
        return out;
    }
    let count = |severity: &str| {
        field
            .noticed
            .iter()
            .filter(|one| one.severity == severity)
            .count()
    };
    let mut counts = Vec::new();
    for severity in ["stop", "caution"] {
        if count(severity) > 0 {
            counts.push(format!(
                "<span class=\"{severity}\">{}</span>",
                counted(count(severity), severity)
            ));
        }
    }
    let _ = write!(out, "<details><summary>{}</summary><ul>", counts.join(", "));
    for one in &field.noticed {
        let _ = write!(
            out,
            "<li><code>{}</code> {}</li>",
            escaped(&one.code),
            escaped(&one.message)
        );
    }
    out.push_str("</ul></details>");
    out
}
