//! The first job file of a field: commented, valid, and open only where nobody but the user can know.
//!
//! A value that is not known is written as `TODO`, with a comment saying what and why, and is refused until it is filled in. Nothing that decides a rate is
//! guessed. Two values may be assumed instead when too many are open, on the safe side and marked `ASSUMED`: a low greatest rate, and the working width,
//! which shapes cells but moves no total.

use std::fmt::Write as _;
use std::path::Path;

use crate::app::new_fields::slug;
use crate::job::amount;
use crate::job::keys::{IMAGERY, MACHINE, RATE, REFERENCE, RESPONSE, SEASON, TABLES};
use crate::job::tables::curve_names;
use crate::key::{Key, Need};
use crate::science::index::{Index, canonical_band_name};
use crate::science::methods;
use crate::science::methods::METHODS;
use crate::science::methods::shared::SHARED;
use crate::science::methods::yield_response::{ABOUT as YIELD_RESPONSE, KEYS as YIELD};
use jiff::civil::Date;

/// The JSON Schema that stands beside a first job, where editors look for it.
pub const SCHEMA_FILE: &str = "haulm.schema.json";

/// How many values a first job leaves open before it begins to assume.
const MAXIMUM_OPEN: usize = 3;

/// What is known when a job file is begun. Paths as they shall stand in the file, relative to it; amounts as people write them.
#[derive(Clone, Debug, Default)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is one thing that is known of the inputs or not"
)]
pub struct Known {
    /// The boundary file.
    pub boundary: String,
    /// The raster.
    pub raster: String,
    /// The raster's band descriptions in file order, as the file gives them.
    pub descriptions: Vec<Option<String>>,
    /// The strips file.
    pub strips: Option<String>,
    /// Filter that picks the field's own strips out of that file.
    pub strips_filter: Option<String>,
    /// Field name; the boundary's file stem when not given.
    pub name: Option<String>,
    /// Index: a name, `band N` or a formula; NDVI when not given.
    pub index: Option<String>,
    /// Product, a name of the shipped table.
    pub product: Option<String>,
    /// Sensing date.
    pub image_date: Option<Date>,
    /// Planting date.
    pub planted: Option<Date>,
    /// Weather file; counts only with a planting date.
    pub weather: Option<String>,
    /// Growing days.
    pub growing_days: Option<f64>,
    /// Crop, a name of the shipped table.
    pub crop: Option<String>,
    /// Yield curve, a name of the shipped table.
    pub curve: Option<String>,
    /// Maximum yield.
    pub maximum_yield: Option<String>,
    /// Greatest rate.
    pub maximum: Option<String>,
    /// Working width.
    pub working_width: Option<String>,
    /// Filter that picks the field out of the boundary file.
    pub boundary_filter: Option<String>,
    /// Method; the yield response when not given.
    pub method: Option<String>,
    /// Whether the image's day was guessed from its file name.
    pub date_guessed: bool,
    /// Whether bands are named by the file's colour interpretation, not by descriptions.
    pub by_colour: bool,
    /// Whether assumed amounts are written in US units.
    pub us_units: bool,
    /// Whether the image is a satellite product, whose bands have names and no numbers.
    pub product_bands: bool,
}

/// A first job file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FirstJob {
    /// Its text.
    pub text: String,
    /// Keys left open, in file order: three at most, unless the image names neither its date nor its bands, or no strips are given.
    pub open: Vec<String>,
    /// Keys whose values were assumed, on the safe side.
    pub assumed: Vec<String>,
}

/// Band names that say their colour. Sensors' own band numbers are not among them: number 5 is red edge on one and near infrared on another.
const BANDS: [&str; 8] = [
    "blue",
    "green",
    "red",
    "red_edge",
    "red_edge_2",
    "red_edge_3",
    "nir",
    "nir_2",
];

/// Bands whose description names them without doubt, each name once; `None` when a name stands twice or none stands at all.
///
/// Numbers count from 1, in file order.
pub fn bands_of(descriptions: &[Option<String>]) -> Option<Vec<(&'static str, usize)>> {
    let mut bands: Vec<(&'static str, usize)> = Vec::new();
    for (at, description) in descriptions.iter().enumerate() {
        let description = description.as_deref().unwrap_or("").trim();
        // A lone letter or number is no description.
        let canonical = canonical_band_name(description);
        if let Some(name) = BANDS
            .iter()
            .find(|name| **name == canonical && description.chars().count() > 2)
        {
            if bands.iter().any(|(other, _)| other == name) {
                return None;
            }
            bands.push((name, at + 1));
        }
    }
    (!bands.is_empty()).then_some(bands)
}

/// Names of the bands that an index needs; none for a ready index, or for one that cannot be read (which is refused when the job runs).
fn bands_needed(index: &str) -> Vec<String> {
    Index::parse(index)
        .ok()
        .filter(|index| index.ready_band().is_none())
        .map_or_else(Vec::new, |index| index.bands().to_vec())
}

/// The method by its name, as it stands in jobs; the yield response when none, or none that is known, is given.
fn method_of(known: &Known) -> &'static str {
    let requirement = known.method.as_deref().unwrap_or(YIELD_RESPONSE.name);
    METHODS
        .iter()
        .map(|method| method.name)
        .find(|name| name.eq_ignore_ascii_case(requirement.trim()))
        .unwrap_or(YIELD_RESPONSE.name)
}

/// Keys of `[response]` that a method cannot do without. Its index is the image's, and is no question.
fn required_of(method: &'static str) -> impl Iterator<Item = &'static Key> {
    let keys = TABLES
        .iter()
        .filter(|table| table.name == RESPONSE.method.section)
        .flat_map(|table| table.keys);
    keys.filter(move |key| {
        let needed = match key.need {
            Need::Always => true,
            Need::When(words) => words.starts_with("unless"),
            Need::Never | Need::Map => false,
        };
        needed && !key.of.is_empty() && key.belongs_to(method) && key.name != SHARED.index.name
    })
}

/// Writes the first job file.
pub fn first_job(known: &Known) -> FirstJob {
    let needed = bands_needed(known.index.as_deref().unwrap_or("NDVI"));
    let bands = bands_of(&known.descriptions).filter(|bands| {
        needed
            .iter()
            .all(|name| bands.iter().any(|(band, _)| band == name))
    });
    let season_known =
        known.growing_days.is_some() || (known.weather.is_some() && known.planted.is_some());
    let method = method_of(known);
    let by_yield = method == YIELD_RESPONSE.name;
    let mut open: Vec<String> = Vec::new();
    for (is_open, key) in [
        (known.image_date.is_none(), "imagery.date"),
        (
            bands.is_none() && !needed.is_empty() && !known.product_bands,
            "imagery.bands",
        ),
        (known.strips.is_none(), "reference.strips"),
        (by_yield && !season_known, "season.growing_days"),
        (
            by_yield && known.maximum_yield.is_none(),
            "response.maximum_yield",
        ),
        (by_yield && known.curve.is_none(), "response.yield_curve"),
    ] {
        if is_open {
            open.push(key.to_owned());
        }
    }
    open.extend(
        required_of(method)
            .filter(|_| !by_yield)
            .map(|key| format!("response.{}", key.name)),
    );
    let mut assumed: Vec<String> = Vec::new();
    if known.date_guessed {
        assumed.push("imagery.date".to_owned());
    }
    for (unknown, key) in [
        (known.maximum.is_none(), "rate.maximum"),
        (known.working_width.is_none(), "machine.working_width"),
    ] {
        if unknown {
            if open.len() < MAXIMUM_OPEN {
                &mut open
            } else {
                &mut assumed
            }
            .push(key.to_owned());
        }
    }
    let page = Page {
        known,
        needed,
        bands,
        open: &open,
        assumed: &assumed,
        method,
    };
    FirstJob {
        text: page.text(),
        open: open.clone(),
        assumed,
    }
}

struct Page<'a> {
    known: &'a Known,
    needed: Vec<String>,
    bands: Option<Vec<(&'static str, usize)>>,
    open: &'a [String],
    assumed: &'a [String],
    method: &'static str,
}

impl Page<'_> {
    fn assumes(&self, key: &str) -> bool {
        self.assumed.iter().any(|assumed| assumed == key)
    }

    fn text(&self) -> String {
        let known = self.known;
        let mut page = format!(
            "#:schema ./{SCHEMA_FILE}\n# One field, one decision. Paths are relative to this file.\n"
        );
        page.push_str("# Amounts carry their unit; nitrogen is written as nitrogen (\"120 kg N/ha\"), product as product (\"300 kg/ha\", \"11 gal/ac\").\n");
        if !self.open.is_empty() {
            let _ = writeln!(
                page,
                "# Still to be filled in, marked TODO: {}.",
                self.open.join(", ")
            );
        }
        if !self.assumed.is_empty() {
            let _ = writeln!(
                page,
                "# Assumed, to be checked, marked ASSUMED: {}.",
                self.assumed.join(", ")
            );
        }
        let stem = Path::new(&known.boundary).file_stem().map_or_else(
            || "field".to_owned(),
            |stem| stem.to_string_lossy().into_owned(),
        );
        let name: String = known
            .name
            .clone()
            .unwrap_or(stem)
            .chars()
            .filter(|c| !c.is_control())
            .take(100)
            .collect();
        let _ = writeln!(
            page,
            "\n[field]\nname     = {}\nboundary = {}",
            quoted(&name),
            match &known.boundary_filter {
                Some(filter) => format!(
                    "{{ path = {}, where = {} }}",
                    quoted(&known.boundary),
                    quoted(filter)
                ),
                None => quoted(&known.boundary),
            }
        );
        page.push_str("# Ground that must get nothing, as often as needed:\n# [[field.exclude]]\n# path   = \"wet_corner.geojson\"\n# buffer = \"10 m\"\n");
        page.push_str("# reason = \"open water\"\n");
        self.imagery(&mut page);
        self.reference(&mut page);
        self.season(&mut page);
        self.response(&mut page);
        self.rate(&mut page);
        self.machine(&mut page);
        let day = known
            .image_date
            .map_or_else(String::new, |date| format!("-{date}"));
        let _ = writeln!(
            page,
            "\n[output]\nfolder = {}     # field and day of the image: maps of other days stay beside it",
            quoted(&format!("{}{day}", slug(&name)))
        );
        page
    }

    fn imagery(&self, page: &mut String) {
        let _ = writeln!(page, "\n[imagery]\npath  = {}", quoted(&self.known.raster));
        match self.known.image_date {
            Some(date) => {
                let _ = writeln!(
                    page,
                    "date  = {date}                   # {}{}; check it",
                    if self.known.date_guessed {
                        "ASSUMED: a guess, out of the file's name. "
                    } else {
                        ""
                    },
                    about(&IMAGERY.date)
                );
            }
            None => todo(
                page,
                &IMAGERY.date,
                ": the file does not say it",
                self.known.us_units,
            ),
        }
        let index = self.known.index.as_deref().unwrap_or("NDVI");
        let _ = writeln!(
            page,
            "index = {}  # must be the index of the yield curve; of a raster that holds a ready index: \"band 1\"",
            quoted(index)
        );
        if self.needed.is_empty() || self.known.product_bands {
            return;
        }
        if let Some(bands) = &self.bands {
            let each: Vec<String> = bands
                .iter()
                .map(|(name, number)| format!("{name} = {number}"))
                .collect();
            let _ = writeln!(
                page,
                "bands = {{ {} }}     # {}",
                each.join(", "),
                if self.known.by_colour {
                    "by the file's colour interpretation: check it"
                } else {
                    "as the file itself describes them"
                }
            );
            return;
        }
        let found: Vec<String> = self
            .known
            .descriptions
            .iter()
            .enumerate()
            .map(|(at, description)| {
                let text: String = description
                    .as_deref()
                    .unwrap_or("")
                    .chars()
                    .filter(|c| !c.is_control())
                    .take(40)
                    .collect();
                format!(
                    "{} {}",
                    at + 1,
                    if text.is_empty() {
                        "(no description)".to_owned()
                    } else {
                        format!("\"{text}\"")
                    }
                )
            })
            .take(16)
            .collect();
        let found = if found.is_empty() {
            "not known".to_owned()
        } else {
            found.join(", ")
        };
        let names = self.needed.join(", ");
        let _ = writeln!(
            page,
            "# The file does not name {names} clearly, and a wrong order gives a wrong rate. Its bands: {found}."
        );
        let each: Vec<String> = self
            .needed
            .iter()
            .map(|name| format!("{name} = \"TODO\""))
            .collect();
        let _ = writeln!(
            page,
            "bands = {{ {} }}  # TODO which band is which, in numbers from 1: see the camera's manual",
            each.join(", ")
        );
    }

    fn reference(&self, page: &mut String) {
        page.push_str("\n[reference]\n");
        match &self.known.strips {
            Some(strips) => {
                let source = match &self.known.strips_filter {
                    Some(filter) => format!(
                        "{{ path = {}, where = {} }}",
                        quoted(strips),
                        quoted(filter)
                    ),
                    None => quoted(strips),
                };
                let _ = writeln!(page, "strips = {source}     # {}", about(&REFERENCE.strips));
            }
            None => todo(
                page,
                &REFERENCE.strips,
                ": the map compares every patch with them",
                self.known.us_units,
            ),
        }
    }

    fn season(&self, page: &mut String) {
        let known = self.known;
        page.push_str("\n[season]\n");
        match &known.crop {
            Some(crop) => {
                let _ = writeln!(page, "crop = {}", quoted(crop));
            }
            None => page.push_str("# crop = \"winter wheat\"              # the crop of the yield curve, unless you name another\n"),
        }
        if let Some(planted) = known.planted {
            let _ = writeln!(page, "planted = {planted}");
        }
        match (known.growing_days, known.planted, &known.weather) {
            (Some(days), ..) => {
                let _ = writeln!(
                    page,
                    "growing_days = {days}                # {}",
                    about(&SEASON.growing_days)
                );
            }
            (None, Some(_), Some(weather)) => {
                let _ = writeln!(
                    page,
                    "weather = {}     # {}",
                    quoted(weather),
                    about(&SEASON.weather)
                );
            }
            _ if self.method != YIELD_RESPONSE.name => {}
            _ => {
                todo(
                    page,
                    &SEASON.growing_days,
                    ": the yield potential depends on them",
                    self.known.us_units,
                );
                page.push_str("# planted = 2025-10-01               # or, instead of growing_days, planting date and\n");
                let _ = writeln!(
                    page,
                    "# weather = \"station.csv\"            # {}",
                    about(&SEASON.weather)
                );
            }
        }
    }

    fn response(&self, page: &mut String) {
        page.push_str("\n[response]\n");
        if self.method != YIELD_RESPONSE.name {
            let _ = writeln!(page, "method = {}", quoted(self.method));
            for key in required_of(self.method) {
                let more = match key.need {
                    Need::When(words) => format!(", {words}"),
                    _ => String::new(),
                };
                todo(page, key, &more, self.known.us_units);
            }
            if methods::about(self.method).is_some_and(|method| method.owns(&SHARED.index)) {
                let index = self.known.index.as_deref().unwrap_or("NDVI");
                let _ = writeln!(
                    page,
                    "index = {}     # the numbers above must hold for it",
                    quoted(index)
                );
            }
            return;
        }
        match &self.known.maximum_yield {
            Some(amount) => {
                let _ = writeln!(
                    page,
                    "maximum_yield = {}         # {}",
                    quoted(amount),
                    about(&YIELD.maximum_yield)
                );
            }
            None => todo(
                page,
                &YIELD.maximum_yield,
                " or \"100 bu/ac\"",
                self.known.us_units,
            ),
        }
        if let Some(curve) = &self.known.curve {
            let _ = writeln!(page, "yield_curve   = {}", quoted(curve));
            return;
        }
        let _ = writeln!(
            page,
            "yield_curve = \"TODO\"  # TODO {}, for your crop and region: one of these",
            about(&YIELD.yield_curve)
        );
        for name in curve_names() {
            let _ = writeln!(page, "#               {}", quoted(&name));
        }
        page.push_str(
            "#               { a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"own trials\" } for your own figures; then name the crop above\n",
        );
    }

    fn rate(&self, page: &mut String) {
        let unit = if self.known.us_units {
            "lb N/ac"
        } else {
            "kg N/ha"
        };
        let _ = writeln!(page, "\n[rate]\nminimum = \"0 {unit}\"");
        match &self.known.maximum {
            Some(amount) => {
                let _ = writeln!(
                    page,
                    "maximum = {}            # {}",
                    quoted(amount),
                    about(&RATE.maximum)
                );
            }
            None if self.assumes("rate.maximum") => {
                let amount = if self.known.us_units {
                    "50 lb N/ac"
                } else {
                    "60 kg N/ha"
                };
                let _ = writeln!(
                    page,
                    "maximum = \"{amount}\"            # ASSUMED, and low on purpose: set what law, label and adviser allow"
                );
            }
            None => todo(
                page,
                &RATE.maximum,
                " or \"120 lb N/ac\"",
                self.known.us_units,
            ),
        }
        let _ = writeln!(
            page,
            "step    = \"5 {unit}\"\n# usual = \"60 {unit}\"                # {}",
            about(&RATE.usual)
        );
        match &self.known.product {
            Some(product) => {
                let _ = writeln!(page, "\n[product]\nname = {}", quoted(product));
            }
            None => page.push_str("\n# [product]                          # without it the map is in nitrogen\n# name = \"UAN 28\"\n"),
        }
    }

    fn machine(&self, page: &mut String) {
        page.push_str("\n[machine]\n");
        match &self.known.working_width {
            Some(amount) => {
                let _ = writeln!(page, "working_width = {}", quoted(amount));
            }
            None if self.assumes("machine.working_width") => {
                let amount = if self.known.us_units { "80 ft" } else { "24 m" };
                let _ = writeln!(
                    page,
                    "working_width = \"{amount}\"               # ASSUMED: {}",
                    about(&MACHINE.working_width)
                );
            }
            None => todo(
                page,
                &MACHINE.working_width,
                " or \"80 ft\"",
                self.known.us_units,
            ),
        }
        let _ = writeln!(
            page,
            "heading = \"auto\"                     # {}",
            about(&MACHINE.heading)
        );
    }
}

/// What a key does, as the rest of a comment: the sentence of its row without its full stop.
fn about(key: &Key) -> &'static str {
    key.about.trim_end_matches('.')
}

/// A value left open, with what it is, an example, and `more`.
fn todo(page: &mut String, key: &Key, more: &str, us: bool) {
    // An example in the reader's own units: the US one that follows with "or", or the same number of lb N/ac.
    let (example, more) = match more.strip_prefix(" or ").filter(|_| us) {
        Some(example) => (example.to_owned(), ""),
        None => (amount::example_in_units(key.example, us), more),
    };
    let _ = writeln!(
        page,
        "{} = \"TODO\"  # TODO {}, such as {example}{more}",
        key.name,
        about(key),
    );
}

/// A TOML string.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
