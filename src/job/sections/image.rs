//! `[imagery]`: the raster, its bands, and what of it may be used.

use std::path::{Path, PathBuf};

use crate::job::keys::IMAGERY;
use crate::job::keys::imagery::MASK;
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section};
use crate::job::record::Shown;
use crate::job::sections::ground;
use crate::job::settings::points::Points;
use crate::key::Record;
use crate::science::crop::SENSORS;
use crate::science::index::{Index, IndexError, Scratch, canonical_band_name, catalogue};
use crate::science::reference::{SENSORS as BLURRING, SpreadFit};
use crate::units::Length;
use jiff::civil::Date;
use serde_json::{Map, Value, json};

/// `[imagery]`.
#[derive(Clone, Debug)]
pub struct Imagery {
    /// One file, or one a band.
    pub source: ImageSource,
    /// Sensing date.
    pub date: Date,
    /// Catalogue name, `band N`, or formula, as written.
    pub index: String,
    /// Band numbers (from 1) by band name; only for one file.
    pub bands: Vec<(String, usize)>,
    /// Overrides the file's own scale.
    pub scale: Option<f64>,
    /// Overrides the file's own offset.
    pub offset: Option<f64>,
    /// The stored number that stands for no data; overrides the file's own.
    pub nodata: Option<f64>,
    /// Index below which ground counts as bare; `None` is off, and absent means the catalogue's own.
    pub bare_below: BareBelow,
    /// Share of a pixel that must lie in the field.
    pub pixel_inside: f64,
    /// Share of a cell that must be seen.
    pub minimum_seen: f64,
    /// The sensor's blur beyond the pixel itself.
    pub point_spread: PointSpread,
    /// Class or bit mask.
    pub mask: Option<Mask>,
    /// Kind of sensor, in the words of `haulm crops`; compared with that of the method's numbers.
    pub sensor: Option<String>,
}

/// `imagery.point_spread`: full width at half maximum of the sensor's blur beyond the pixel. \[pixels\]
#[derive(Clone, Debug, PartialEq)]
pub enum PointSpread {
    /// As stated.
    Given(f64),
    /// The published figure of a sensor: its name, the width.
    Sensor(String, f64),
    /// Fitted from the pixels of coarse strips.
    Fit,
}

impl PointSpread {
    /// Whether any blur is reckoned with.
    pub fn is_any(&self) -> bool {
        *self != Self::Given(0.0)
    }
    /// The width that coarse strips are solved with: as given, or as fitted (none where it could not be). \[pixels\]
    pub fn width(&self, fitted: Option<&SpreadFit>) -> f64 {
        match self {
            Self::Given(width) | Self::Sensor(_, width) => *width,
            Self::Fit => fitted.map_or(0.0, |fit| fit.full_width),
        }
    }
}

/// `imagery.path`.
#[derive(Clone, Debug, PartialEq)]
pub enum ImageSource {
    /// One raster with all bands.
    One(PathBuf),
    /// One raster a band, by band name.
    PerBand(Vec<(String, PathBuf)>),
    /// Single readings: `[points]` instead of an image.
    Points(Box<Points>),
}

/// `imagery.bare_below`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BareBelow {
    /// The catalogue's default for the index (NDVI 0.25; others off).
    OfIndex,
    /// As given.
    Value(f64),
}

/// `imagery.mask`.
#[derive(Clone, Debug, PartialEq)]
pub struct Mask {
    /// The class raster; absent means the first mask of the satellite product that the image is.
    pub path: Option<PathBuf>,
    /// The band that holds it, from 1.
    pub band: usize,
    /// What makes a pixel usable.
    pub rule: MaskRule,
    /// How far unusable classes are grown, between pixel centres.
    pub grow: Length,
    /// Further masks: a pixel must be usable by each of them.
    pub and: Vec<Mask>,
}

/// Which mask values are usable.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MaskRule {
    /// Classes that are kept; all else is dropped.
    Keep(Vec<i64>),
    /// Bits of which none may be set.
    Bits(Vec<u8>),
}

/// `imagery.point_spread`, where it is to be found from coarse strips.
const FIT: &str = "fit";

/// `[imagery]`.
pub(crate) fn imagery(section: &mut Section<'_>, folder: &Path) -> Option<Imagery> {
    let source = section
        .take(&IMAGERY.path)
        .map(|entry| source(section, &entry, folder));
    let date = section.find(&IMAGERY.date);
    let index = index(section);
    let bands = section
        .take(&IMAGERY.bands)
        .and_then(|entry| bands(section, &entry))
        .unwrap_or_default();
    if !bands.is_empty() && matches!(source, Some(Some(ImageSource::PerBand(_)))) {
        section.refuse(
            &IMAGERY.bands,
            Problem::Together {
                keys: vec![
                    "path with one file a band".to_owned(),
                    IMAGERY.bands.name.to_owned(),
                ],
            },
        );
    }
    let scale = section.find(&IMAGERY.scale);
    if let Some(scale) = scale.filter(|scale| *scale <= 0.0) {
        let problem = if scale < 0.0 {
            Problem::Negative {
                text: scale.to_string(),
            }
        } else {
            Problem::Zero {
                text: "0".to_owned(),
                what: "the scale",
            }
        };
        section.refuse(&IMAGERY.scale, problem);
    }
    let offset = section.find(&IMAGERY.offset);
    let nodata = section.find(&IMAGERY.nodata);
    let bare_below = section
        .find(&IMAGERY.bare_below)
        .map_or(BareBelow::OfIndex, BareBelow::Value);

    let pixel_inside = section.get(&IMAGERY.pixel_inside);
    let minimum_seen = section.get(&IMAGERY.minimum_seen);
    let point_spread = point_spread(section);
    let mask = section
        .take(&IMAGERY.mask)
        .and_then(|entry| masks(section, &entry, folder));
    let sensor = sensor(section);
    Some(Imagery {
        source: source??,
        date: date?,
        index,
        bands,
        scale,
        offset,
        nodata,
        bare_below,
        pixel_inside,
        minimum_seen,
        point_spread,
        mask,
        sensor,
    })
}

/// `imagery.sensor`: the kind of sensor, one of those that the crop table tells apart.
pub(crate) fn sensor(section: &mut Section<'_>) -> Option<String> {
    let entry = section.take(&IMAGERY.sensor)?;
    let at = section.place_of(&entry, &IMAGERY.sensor, SENSORS)?;
    SENSORS.get(at).map(|kind| (*kind).to_owned())
}

/// Whether a formula gives less over dense canopy than over thin: near infrared 0.45 beside 0.05 of every other band, against 0.25 beside 0.20.
pub(crate) fn falls_with_canopy(index: &str) -> bool {
    let Ok(parsed) = Index::parse(index) else {
        return false;
    };
    if parsed.ready_band().is_some() {
        return false;
    }
    let value = |nir: f64, other: f64| {
        let bands: Vec<Vec<f64>> = parsed
            .bands()
            .iter()
            .map(|band| vec![if band.starts_with("nir") { nir } else { other }])
            .collect();
        let rows: Vec<&[f64]> = bands.iter().map(Vec::as_slice).collect();
        let mut out = [f64::NAN];
        parsed.evaluate_row(&rows, &mut Scratch::default(), &mut out);
        out[0]
    };
    value(0.45, 0.05) < value(0.25, 0.20)
}

/// `imagery.point_spread`: a number of pixels, `fit`, or the name of a sensor with a published figure.
fn point_spread(section: &mut Section<'_>) -> PointSpread {
    let key = &IMAGERY.point_spread;
    let Some(entry) = section.take(key) else {
        return PointSpread::Given(0.0);
    };
    if matches!(entry.item, Item::Text(_)) {
        let mut words = vec![FIT];
        words.extend(BLURRING.iter().map(|sensor| sensor.name));
        let Some(at) = section.place_of(&entry, key, &words) else {
            return PointSpread::Given(0.0);
        };
        return match at.checked_sub(1).and_then(|at| BLURRING.get(at)) {
            Some(sensor) => PointSpread::Sensor(sensor.name.to_owned(), sensor.full_width()),
            None => PointSpread::Fit,
        };
    }
    let width = section.number_of(&entry, key).unwrap_or(0.0);
    let read = |text: &str| text.parse().map_err(|_| Problem::Open);
    section.hold(key, Some(&width), read);
    PointSpread::Given(width)
}

/// `index` of `[imagery]` or `[points]` in the catalogue's spelling; a name or formula that cannot be read is refused.
pub(crate) fn index(section: &mut Section<'_>) -> String {
    let text = section.get(&IMAGERY.index);
    match Index::parse(&text) {
        Ok(index) => return index.name().to_owned(),
        Err(IndexError::UnknownName { name, nearest }) => {
            let known = catalogue().iter().map(|entry| entry.name.clone()).collect();
            section.refuse(
                &IMAGERY.index,
                Problem::Choice {
                    got: name,
                    what: "index",
                    near: nearest,
                    known,
                },
            );
        }
        Err(error) => section.refuse(
            &IMAGERY.index,
            Problem::Index {
                reason: error.to_string(),
            },
        ),
    }
    text
}

fn source(section: &Section<'_>, entry: &Entry, folder: &Path) -> Option<ImageSource> {
    match &entry.item {
        Item::Text(_) => section
            .text_of(entry, &IMAGERY.path)
            .map(|text| ImageSource::One(folder.join(text))),
        Item::Table(_) => {
            let mut table = section.sub(entry, &IMAGERY.path)?;
            let mut files = Vec::new();
            for (name, file) in table.rest() {
                files.push((
                    canonical_band_name(&name),
                    folder.join(table.text_like(&file, &name, "\"B04.jp2\"")?),
                ));
            }
            if files.is_empty() {
                section.at(
                    entry,
                    &IMAGERY.path,
                    Problem::Empty {
                        example: "{ red = \"B04.jp2\", nir = \"B08.jp2\" }",
                    },
                );
                return None;
            }
            Some(ImageSource::PerBand(files))
        }
        other => {
            section.at(
                entry,
                &IMAGERY.path,
                Problem::WrongType {
                    got: other.kind(),
                    requirement: "a path in quotes, or { red = \"B04.jp2\", nir = \"B08.jp2\" }"
                        .into(),
                },
            );
            None
        }
    }
}

fn bands(section: &Section<'_>, entry: &Entry) -> Option<Vec<(String, usize)>> {
    let mut table = section.sub(entry, &IMAGERY.bands)?;
    let bounds = section.row(&IMAGERY.bands)?.bounds;
    let mut bands: Vec<(String, usize)> = Vec::new();
    for (written, value) in table.rest() {
        let name = canonical_band_name(&written);
        if bands.iter().any(|(other, _)| *other == name) {
            table.at_name(
                &value,
                &written,
                Problem::Twice {
                    what: format!("the band {name}"),
                },
            );
        }
        let number = table.whole_named(&value, &name, bounds)?.unsigned_abs() as usize;
        if let Some((other, _)) = bands.iter().find(|(_, taken)| *taken == number) {
            table.at_name(
                &value,
                &name,
                Problem::Twice {
                    what: format!("band {number}, already named {other},"),
                },
            );
        }
        bands.push((name, number));
    }
    Some(bands)
}

/// One mask, or a list of them of which each must be met.
fn masks(section: &Section<'_>, entry: &Entry, folder: &Path) -> Option<Mask> {
    let Item::List(list) = &entry.item else {
        return mask(section, entry, folder);
    };
    if list.is_empty() {
        section.at(
            entry,
            &IMAGERY.mask,
            Problem::Empty {
                example: "{ path = \"scl.tif\", keep = [4, 5] }",
            },
        );
    }
    let all: Option<Vec<Mask>> = list
        .iter()
        .map(|entry| mask(section, entry, folder))
        .collect();
    let mut all = all?.into_iter();
    let first = all.next()?;
    Some(Mask {
        and: all.collect(),
        ..first
    })
}

fn mask(section: &Section<'_>, entry: &Entry, folder: &Path) -> Option<Mask> {
    let mut table = section.sub(entry, &IMAGERY.mask)?;
    let path = ground::path(&mut table, &MASK.path, folder);
    let band = table.get(&MASK.band).unsigned_abs() as usize;
    let (has_keep, has_bits) = (table.has(&MASK.keep), table.has(&MASK.bits));
    let keep = table.list(&MASK.keep);
    let bits = table.take(&MASK.bits);
    let rule = match (has_keep, has_bits) {
        (true, true) => {
            table.refuse(
                &MASK.bits,
                Problem::Together {
                    keys: vec![MASK.keep.name.to_owned(), MASK.bits.name.to_owned()],
                },
            );
            None
        }
        (false, false) => {
            table.refuse(
                &MASK.keep,
                Problem::NoneOf {
                    keys: vec![MASK.keep.name.to_owned(), MASK.bits.name.to_owned()],
                    example: "keep = [4, 5]",
                },
            );
            None
        }
        (true, false) => keep
            .and_then(|list| {
                let classes: Option<Vec<i64>> = list
                    .iter()
                    .map(|entry| table.whole_of(entry, &MASK.keep, table.row(&MASK.keep)?.bounds))
                    .collect();
                classes.filter(|classes| {
                    if classes.is_empty() {
                        table.refuse(&MASK.keep, Problem::Empty { example: "[4, 5]" });
                    }
                    !classes.is_empty()
                })
            })
            .map(MaskRule::Keep),
        (false, true) => bits
            .and_then(|entry| mask_bits(&table, &entry))
            .map(MaskRule::Bits),
    };
    let grow = table.get(&MASK.grow);

    table.finish();
    Some(Mask {
        path,
        band,
        rule: rule?,
        grow,
        and: Vec::new(),
    })
}

/// `bits = "3,4"` or `[3, 4]`.
fn mask_bits(table: &Section<'_>, entry: &Entry) -> Option<Vec<u8>> {
    let bounds = table.row(&MASK.bits)?.bounds;
    match &entry.item {
        Item::List(list) => list
            .iter()
            .map(|entry| {
                table
                    .whole_of(entry, &MASK.bits, bounds)
                    .map(|bit| bit as u8)
            })
            .collect(),
        Item::Text(text) => {
            let bits: Option<Vec<u8>> = text
                .split(',')
                .map(|bit| bit.trim().parse().ok().filter(|bit| *bit < 32))
                .collect();
            if bits.is_none() {
                table.at(
                    entry,
                    &MASK.bits,
                    ground::range(text, "0", "31", "bit numbers parted by commas"),
                );
            }
            bits
        }
        other => {
            table.at(
                entry,
                &MASK.bits,
                Problem::WrongType {
                    got: other.kind(),
                    requirement: "bit numbers: \"3,4\" or [3, 4]".into(),
                },
            );
            None
        }
    }
}

/// As the record has it.
pub(crate) fn image_record(imagery: &Imagery, shown: Shown<'_>) -> Value {
    let source = match &imagery.source {
        ImageSource::One(file) => json!(shown(file)),
        ImageSource::Points(rule) => json!(shown(&rule.source.path)),
        ImageSource::PerBand(files) => Value::Object(
            files
                .iter()
                .map(|(band, file)| (band.clone(), json!(shown(file))))
                .collect::<Map<_, _>>(),
        ),
    };
    let bands: Map<String, Value> = imagery
        .bands
        .iter()
        .map(|(name, number)| (name.clone(), json!(number)))
        .collect();
    let point_spread = match &imagery.point_spread {
        PointSpread::Given(width) => json!(width),
        PointSpread::Sensor(name, width) => json!({ "sensor": name, "px": width }),
        PointSpread::Fit => json!(FIT),
    };
    let masks = imagery.mask.as_ref().map(|mask| {
        std::iter::once(mask)
            .chain(&mask.and)
            .map(|mask| mask_record(mask, shown))
            .collect::<Vec<_>>()
    });
    Record::new()
        .put(&IMAGERY.path, source)
        .put(&IMAGERY.date, imagery.date.to_string())
        .put(&IMAGERY.index, imagery.index.clone())
        .put(&IMAGERY.bands, bands)
        .put(&IMAGERY.scale, imagery.scale)
        .put(&IMAGERY.offset, imagery.offset)
        .put(&IMAGERY.nodata, imagery.nodata)
        .put(&IMAGERY.bare_below, bare_below_record(imagery.bare_below))
        .put(&IMAGERY.pixel_inside, imagery.pixel_inside)
        .put(&IMAGERY.minimum_seen, imagery.minimum_seen)
        .put(&IMAGERY.point_spread, point_spread)
        .put(&IMAGERY.sensor, imagery.sensor.clone())
        .put(&IMAGERY.mask, masks)
        .value()
}

/// As the record has it.
pub(crate) fn mask_record(mask: &Mask, shown: Shown<'_>) -> Value {
    let value = Record::new()
        .put(&MASK.path, mask.path.as_deref().map(shown))
        .put(&MASK.band, mask.band);
    match &mask.rule {
        MaskRule::Keep(classes) => value.put(&MASK.keep, classes.clone()),
        MaskRule::Bits(bits) => value.put(&MASK.bits, json!(bits)),
    }
    .put(&MASK.grow, mask.grow.get())
    .value()
}

/// As the record has it.
pub(crate) fn bare_below_record(rule: BareBelow) -> Value {
    match rule {
        BareBelow::OfIndex => json!("of the index"),
        BareBelow::Value(value) => json!(value),
    }
}
