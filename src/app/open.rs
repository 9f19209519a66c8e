//! Opens what a job names: vectors, image, mask, weather. Everything that a run reads passes here, and is listed for the record.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::app::error::AppError;
use crate::app::held::Held;
use crate::app::image_source;
use crate::app::image_source::Source;
use crate::app::image_watch::{REFLECTANCES, Watch, Watched};
use crate::finding::{Finding, codes};
use crate::format::network::lies_there;
use crate::format::raster::{RasterFacts, RasterFileError, RasterStack, Shelf, Slot, facts};
use crate::format::systems::system_named;
use crate::format::vector::{VectorLayer, read_lines, read_polygons};
use crate::job::settings::{
    FieldSettings, Heading, ImageSource, Imagery, ReferenceSource, Settings, StripsUse,
    VectorSource,
};
use crate::pipeline::ground::{AreaInput, GroundInputs, Layer};
use crate::pipeline::points::PointLayer;
use crate::pipeline::scan::IndexRows;
use crate::science::index::{Index, canonical_band_name};
use crate::space::crs::Crs;
use crate::space::polygon::roughness;
use crate::space::raster::RasterSource;
use geo::MultiPolygon;

/// Where the canopy is read: pixels, or single readings.
#[derive(Debug)]
pub enum Canopy {
    /// The bands of the index, as one image.
    Raster(Box<RasterStack>),
    /// Single readings.
    Points(PointLayer),
}

impl Canopy {
    /// As the walk sees it.
    pub fn source(&self) -> &dyn RasterSource {
        match self {
            Self::Raster(stack) => stack.as_ref(),
            Self::Points(layer) => layer,
        }
    }
    /// The readings, if it is made of readings.
    pub const fn points(&self) -> Option<&PointLayer> {
        match self {
            Self::Raster(_) => None,
            Self::Points(layer) => Some(layer),
        }
    }
}

/// Band name, file, band number, scale and offset of a band that the index uses.
pub type UsedBand = (String, PathBuf, usize, f64, f64);

/// An opened image, or the readings in its place.
#[derive(Debug)]
pub struct Image {
    /// Its files.
    pub files: Vec<RasterFacts>,
    /// What is read.
    pub stack: Canopy,
    /// The index over its bands.
    pub rows: IndexRows<Watch>,
    /// Band name, file, band number, scale and offset of each slot.
    pub slots: Vec<UsedBand>,
    /// The bare limit in force.
    pub bare_below: Option<f64>,
    /// Files on disk that were opened for it, masks and metadata among them.
    pub inputs: Vec<PathBuf>,
}

/// What is kept of an image once its pixels are read.
#[derive(Clone, Debug)]
pub struct ImageFacts {
    /// Its files.
    pub files: Vec<RasterFacts>,
    /// The index.
    pub index: Index,
    /// Band name, file, band number, scale and offset of each slot.
    pub slots: Vec<UsedBand>,
    /// The bare limit in force.
    pub bare_below: Option<f64>,
}

impl From<Image> for ImageFacts {
    fn from(image: Image) -> Self {
        Self {
            files: image.files,
            index: image.rows.index,
            slots: image.slots,
            bare_below: image.bare_below,
        }
    }
}

/// Refuses what is neither file nor folder: a pipe or a device is waited for, or read, without end.
pub(crate) fn refuse_special(path: &Path) -> Result<(), AppError> {
    match fs_err::metadata(path) {
        Ok(found) if !found.is_file() && !found.is_dir() => Err(AppError::refused(
            "file.kind",
            format!("{}: this is no file", path.display()),
        )
        .with_fact(path.display().to_string(), "a pipe, socket or device")
        .with_hint("give a file; copy what comes through a pipe into one first")),
        // What is not there, or not to be looked at, is told by whoever opens it.
        _ => Ok(()),
    }
}

/// Refuses an output that is one of the inputs, or holds one: even leave to replace files is no leave to lose what was read.
pub(crate) fn refuse_onto<'a>(
    inputs: impl IntoIterator<Item = &'a PathBuf>,
    output: &Path,
) -> Result<(), AppError> {
    // What is not there cannot be lost.
    let Ok(place) = fs_err::canonicalize(output) else {
        return Ok(());
    };
    let lost = inputs.into_iter().find(|input| {
        fs_err::canonicalize(input.as_path()).is_ok_and(|input| input.starts_with(&place))
    });
    lost.map_or(Ok(()), |input| {
        Err(AppError::refused(
            "output.input",
            "the output would take the place of an input",
        )
        .with_fact(
            output.display().to_string(),
            format!("is read as {}", input.display()),
        )
        .with_hint("give the output another name"))
    })
}

/// Refuses a file that lies on a network, unless the network is allowed, and what is no file.
pub(crate) fn refuse_network(path: &Path, network: bool) -> Result<(), AppError> {
    refuse_special(path)?;
    if lies_there(path) && !network {
        return Err(AppError::refused(
            "file.network",
            "the file lies on a network, and haulm works offline unless told otherwise",
        )
        .with_fact(path.display().to_string(), "needs the network")
        .with_hint("copy it beside the job, or run again with --network"));
    }
    Ok(())
}

/// Reads a file, a layer of it and a filter.
type ReadLayer<'a, G> =
    &'a dyn Fn(&Path, Option<&str>, Option<&str>) -> Result<VectorLayer<G>, AppError>;

/// What a raster says of itself, asked once where many fields share it.
pub(crate) fn facts_of(
    path: &Path,
    folder: &Path,
    shelf: Option<&Arc<Shelf>>,
) -> Result<RasterFacts, RasterFileError> {
    match shelf {
        Some(shelf) => shelf.facts(path, folder),
        None => facts(path, folder),
    }
}

fn layer<G>(
    source: &VectorSource,
    read: ReadLayer<'_, G>,
    network: bool,
) -> Result<Layer<G>, AppError> {
    refuse_network(&source.path, network)?;
    let layer = read(
        &source.path,
        source.layer.as_deref(),
        source.filter.as_deref(),
    )?;
    Ok(Layer {
        crs: layer.crs,
        shapes: layer
            .shapes
            .into_iter()
            .map(|shape| shape.geometry)
            .collect(),
        file: source.path.display().to_string(),
    })
}

/// Polygons of a source, as a layer.
pub(crate) fn polygons(
    source: &VectorSource,
    network: bool,
) -> Result<Layer<MultiPolygon<f64>>, AppError> {
    layer(source, &areas, network)
}

/// Polygons of a file, none of them a saw or a comb. Whatever reads ground for a computation reads it here.
///
/// # Errors
/// As [`read_polygons`]; an outline that goes to and fro beyond any field's.
pub(crate) fn areas(
    path: &Path,
    layer: Option<&str>,
    filter: Option<&str>,
) -> Result<VectorLayer<MultiPolygon<f64>>, AppError> {
    let read = read_polygons(path, layer, filter)?;
    for (number, shape) in read.shapes.iter().enumerate() {
        smooth_enough(path, number, &shape.geometry)?;
    }
    Ok(read)
}

/// An outline that is longer than the way around it by more than this is no field's: a saw that takes memory with the square of its teeth.
const ROUGHEST: f64 = 50.0;

fn smooth_enough(path: &Path, number: usize, polygon: &MultiPolygon<f64>) -> Result<(), AppError> {
    let mut all = polygon.iter().map(|part| roughness(part.exterior()));
    all.find(|rough| *rough > ROUGHEST).map_or(Ok(()), |rough| {
        Err(AppError::refused(
            "vector.rough",
            "an outline goes to and fro so often that it is no outline of ground",
        )
        .with_fact(
            format!("{}, feature {}", path.display(), number + 1),
            format!(
                "it is {rough:.0} times as long as the way around it; at most {ROUGHEST} is read"
            ),
        )
        .with_hint("simplify it, by a metre for instance, or draw it anew"))
    })
}

/// The working plane that a job asks for.
pub(crate) fn plane(field: &FieldSettings) -> Result<Option<Crs>, AppError> {
    Ok(match &field.crs {
        None => None,
        Some(text) => Some(system_named(text).map_err(|reason| {
            AppError::refused("plane.unknown", "the working plane that the job names is not known")
                // GDAL's own words for an unknown code are a number.
                .with_fact(
                    "field.crs",
                    if reason.starts_with("OGR") { format!("{text:?}: no such reference system is known") } else { format!("{text:?}: {reason}") },
                )
                .with_hint("write an EPSG code of a projected system in metres, such as \"EPSG:32633\", or leave it out")
        })?),
    })
}

/// Reads boundary, exclusions, strips and lines.
///
/// # Errors
/// When one of them cannot be read, or the plane asked for is unknown.
pub(crate) fn ground(
    settings: &Settings,
    network: bool,
    held: Option<&Held>,
) -> Result<GroundInputs, AppError> {
    let lines = |path: &Path, name: Option<&str>, filter: Option<&str>| {
        read_lines(path, name, filter).map_err(AppError::from)
    };
    let guidance = |heading: &Heading| match heading {
        Heading::Line(source) => layer(source, &lines, network).map(Some),
        Heading::True(_) | Heading::Grid(_) | Heading::Auto => Ok(None),
    };
    // What stands in a layer of many fields was read with all of it.
    let shared = |source: &VectorSource| {
        let held = held.and_then(|held| held.layer(source));
        held.map_or_else(
            || layer(source, &areas, network),
            |held| {
                for (number, shape) in held.shapes.iter().enumerate() {
                    smooth_enough(&source.path, number, &shape.geometry)?;
                }
                Ok(Layer {
                    crs: held.crs.clone(),
                    shapes: held
                        .shapes
                        .iter()
                        .map(|shape| shape.geometry.clone())
                        .collect(),
                    file: source.path.display().to_string(),
                })
            },
        )
    };
    let field = &settings.field;
    let plane = plane(field)?;
    Ok(GroundInputs {
        boundary: shared(&field.boundary)?,
        exclusions: field
            .exclusions
            .iter()
            .map(|exclusion| layer(&exclusion.source, &areas, network))
            .collect::<Result<_, _>>()?,
        set: settings
            .rate
            .set
            .iter()
            .map(|set| layer(&set.source, &areas, network))
            .collect::<Result<_, _>>()?,
        strips: match &settings.reference.source {
            ReferenceSource::Strips(source) => Some(shared(source)?),
            ReferenceSource::Readings(_) | ReferenceSource::Percentile(_) => None,
        },
        reference_zones: match &settings.reference.strips_use {
            StripsUse::Zones { source, .. } => Some(layer(source, &areas, network)?),
            StripsUse::Pooled | StripsUse::Nearest | StripsUse::InverseDistance => None,
        },
        edges: field
            .edges
            .iter()
            .map(|source| layer(source, &lines, network))
            .collect::<Result<_, _>>()?,
        guidance: guidance(&settings.machine.heading)?,
        areas: settings
            .machine
            .areas
            .iter()
            .map(|area| {
                Ok(AreaInput {
                    shapes: layer(&area.source, &areas, network)?,
                    guidance: guidance(&area.heading)?,
                })
            })
            .collect::<Result<_, AppError>>()?,
        plane,
    })
}

/// The index of a job, and whether the method can use it.
///
/// # Errors
/// An unknown index or a formula that cannot be read.
pub fn index(imagery: &Imagery) -> Result<Index, AppError> {
    Index::parse(&imagery.index).map_err(|error| {
        AppError::refused("imagery.index", "the index cannot be used")
            .with_fact("imagery.index", format!("{:?}: {error}", imagery.index))
            .with_hint("haulm indices lists the names; a ready index raster is \"band 1\", a formula \"(nir - red) / (nir + red)\"")
    })
}

/// Opens the image of a job. `fitted_with`: the index of the yield curve.
///
/// # Errors
/// When a file cannot be opened, a band is not named, or bands do not nest.
pub fn image(
    imagery: &Imagery,
    fitted_with: &str,
    folder: &Path,
    (network, shelf): (bool, Option<&Arc<Shelf>>),
    findings: &mut Vec<Finding>,
) -> Result<Image, AppError> {
    if let ImageSource::Points(rule) = &imagery.source {
        return crate::app::points::image(imagery, rule, network, findings);
    }
    let index = index(imagery)?;
    let source = Source::of(imagery, network)?;
    let mut files: Vec<RasterFacts> = Vec::new();
    let mut slots: Vec<Slot> = Vec::new();
    let mut named = Vec::new();
    for name in index.bands() {
        let requirement = source.band(imagery, &index, name)?;
        let path = &requirement.path;
        if !files.iter().any(|file| file.path == *path) {
            files.push(source.completed(imagery, facts_of(path, folder, shelf)?));
        }
        let Some(file) = files.iter().find(|file| file.path == *path) else {
            continue;
        };
        let band = match requirement.number {
            Some(number) => number,
            None => band_number(imagery, file, name)?,
        };
        let Some(fact) = file.bands.get(band.wrapping_sub(1)) else {
            return Err(AppError::refused(
                "imagery.band",
                format!(
                    "band {band} was asked for, but the file has {} band(s)",
                    file.bands.len()
                ),
            )
            .with_fact(path.display().to_string(), described(file))
            .with_hint("count bands from 1 in imagery.bands"));
        };
        if let Some(what) = image_source::no_measurement(fact) {
            return Err(AppError::refused("imagery.band", format!("band {band} {what}"))
                .with_fact(path.display().to_string(), described(file))
                .with_hint("count bands from 1 in imagery.bands, and give the file that holds what was measured"));
        }
        if requirement.own.is_none() {
            findings.extend(another_band(imagery, file, name, band));
        }
        let (scale, offset) = image_source::scaling(imagery, &index, &requirement, file, band)?;
        named.push((name.clone(), path.clone(), band, scale, offset));
        slots.push(Slot {
            facts: file.clone(),
            band,
            scale,
            offset,
        });
    }
    // A scale of 1 that is written beside a formula of one's own says that its numbers are meant as they stand.
    let meant = index.entry().is_none() && imagery.scale == Some(1.0);
    let needs_scale = image_source::depends_on_scale(&index) && !meant;
    if needs_scale
        && slots.iter().any(|slot| {
            slot.scale == 1.0
                && slot.offset == 0.0
                && slot.facts.bands[slot.band - 1].kind.contains("nt")
        })
    {
        return Err(AppError::refused(
            "imagery.scale",
            format!("{} needs reflectance between 0 and 1, but the file holds whole numbers without a scale", index.name()),
        )
        .with_hint("write the scale, such as imagery.scale = 0.0001 for reflectance times 10 000"));
    }
    image_source::product_cautions(imagery, &source, index.bands(), findings);
    let mask = image_source::mask(imagery, &source, folder, (network, shelf), findings)?;
    let inputs = image_source::on_disk(&files, mask.as_ref(), source.product());
    let watched =
        |((name, _, _, scale, offset), slot): (&(String, PathBuf, usize, f64, f64), &Slot)| {
            let full = maximum_stored(&slot.facts.bands[slot.band - 1].kind)
                .map(|full| full * scale + offset);
            Watched {
                name: name.clone(),
                offset: *offset,
                full,
            }
        };
    let watch = Watch::new(named.iter().zip(&slots).map(watched).collect(), needs_scale);
    image_source::as_stored(&files, findings);
    for file in &files {
        // The day alone: the time of a pass needs a time zone that no job states.
        if let Some(day) = file.acquired.filter(|day| *day != imagery.date) {
            findings.push(Finding::stop(
                codes::IMAGE_DATE,
                format!("{} says it was taken on {day}, but the job says {}: give the image's own date, or the right image", file.path.display(), imagery.date),
            ).with_figure(day.to_string()));
        }
    }
    let stack = RasterStack::new(slots, mask)?.on_shelf(shelf.cloned());
    for (path, band, factor) in stack.coarser() {
        findings.push(Finding::note(
            codes::IMAGE_COARSER,
            format!(
                "{}: band {band} has pixels {factor} times as large as the finest band; each fine pixel takes the value of the one around it",
                path.display()
            ),
        ));
    }
    let bare_below = match imagery.bare_below {
        crate::job::settings::BareBelow::OfIndex => index.bare_below(),
        crate::job::settings::BareBelow::Value(value) => Some(value),
    };
    Ok(Image {
        files,
        stack: Canopy::Raster(Box::new(stack)),
        rows: IndexRows::new(index, fitted_with, watch),
        slots: named,
        bare_below,
        inputs,
    })
}

/// The greatest number of a whole-number type.
fn maximum_stored(kind: &str) -> Option<f64> {
    match kind {
        "Byte" => Some(f64::from(u8::MAX)),
        "UInt16" => Some(f64::from(u16::MAX)),
        "Int16" => Some(f64::from(i16::MAX)),
        _ => None,
    }
}

fn described(file: &RasterFacts) -> String {
    let each: Vec<String> = file
        .bands
        .iter()
        .enumerate()
        .map(|(k, band)| format!("{} {:?} ({})", k + 1, band.description, band.kind))
        .collect();
    format!("bands {}", each.join(", "))
}

pub(crate) fn unnamed(imagery: &Imagery, name: &str, known: &[String]) -> AppError {
    AppError::refused("imagery.bands", format!("the index {} needs the band {name}, and nothing says which it is", imagery.index))
        .with_fact("named bands", if known.is_empty() { "none".to_owned() } else { known.join(", ") })
        .with_hint(format!("name it in the job, such as bands = {{ {name} = 3 }}, after looking it up; a wrong band makes wrong rates"))
}

/// A stop where the file itself gives the band another of the known names than the job does: taking green for red moves a field's nitrogen by a third.
fn another_band(imagery: &Imagery, file: &RasterFacts, name: &str, band: usize) -> Option<Finding> {
    let own = canonical_band_name(&file.bands.get(band.wrapping_sub(1))?.description);
    let job_says = imagery
        .bands
        .iter()
        .any(|(given, number)| *number == band && canonical_band_name(given) == name);
    (job_says && own != name && REFLECTANCES.contains(&own.as_str())).then(|| {
        Finding::stop(
            codes::IMAGE_BAND_NAME,
            format!("the job takes band {band} of {} for {name}, but the file calls it {own}: correct imagery.bands, or take it out, since the file names its bands", file.path.display()),
        )
        .with_figure(own)
    })
}

/// Which band of a file has a name: by the job, else by the file's own descriptions. Never guessed.
fn band_number(imagery: &Imagery, file: &RasterFacts, name: &str) -> Result<usize, AppError> {
    if let Some((_, number)) = imagery
        .bands
        .iter()
        .find(|(band, _)| canonical_band_name(band) == name)
    {
        return Ok(*number);
    }
    let described_so: Vec<usize> = (1..=file.bands.len())
        .filter(|k| {
            !file.bands[k - 1].description.is_empty()
                && canonical_band_name(&file.bands[k - 1].description) == name
        })
        .collect();
    match described_so.as_slice() {
        [one] => Ok(*one),
        _ => Err(unnamed(
            imagery,
            name,
            &file
                .bands
                .iter()
                .map(|band| band.description.clone())
                .filter(|d| !d.is_empty())
                .collect::<Vec<_>>(),
        )
        .with_fact(file.path.display().to_string(), described(file))),
    }
}

/// The files that a job names for its image, masks among them.
pub(crate) fn named(imagery: &Imagery) -> Vec<PathBuf> {
    let mut list: Vec<PathBuf> = match &imagery.source {
        ImageSource::One(path) => vec![path.clone()],
        ImageSource::PerBand(files) => files.iter().map(|(_, path)| path.clone()).collect(),
        ImageSource::Points(rule) => vec![rule.source.path.clone()],
    };
    let masks = imagery.mask.iter();
    list.extend(masks.flat_map(|mask| {
        std::iter::once(mask)
            .chain(&mask.and)
            .filter_map(|mask| mask.path.clone())
    }));
    list
}

/// Every file of this machine that a job reads, with sidecars that belong to it, in the order of reading; `image` are those of the image, `weather` those that growing
/// days were counted from.
pub fn inputs(
    job: &Path,
    settings: &Settings,
    image: &[PathBuf],
    weather: &[PathBuf],
) -> Vec<PathBuf> {
    let mut seen: Vec<PathBuf> = Vec::new();
    for path in all_inputs(job, settings, image, weather) {
        if path.exists() && !seen.contains(&path) {
            seen.push(path);
        }
    }
    seen
}

/// Everything that a job reads, on this machine or elsewhere, whether it is there or not.
pub(crate) fn all_inputs(
    job: &Path,
    settings: &Settings,
    image: &[PathBuf],
    weather: &[PathBuf],
) -> Vec<PathBuf> {
    let mut list = vec![job.to_owned()];
    let mut vector = |source: &VectorSource| {
        list.push(source.path.clone());
        if source
            .path
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("shp"))
        {
            for side in ["shx", "dbf", "prj", "cpg"] {
                list.push(source.path.with_extension(side));
            }
        }
    };
    vector(&settings.field.boundary);
    for exclusion in &settings.field.exclusions {
        vector(&exclusion.source);
    }
    for edge in &settings.field.edges {
        vector(edge);
    }
    for set in &settings.rate.set {
        vector(&set.source);
    }
    if let ReferenceSource::Strips(source) = &settings.reference.source {
        vector(source);
    }
    if let StripsUse::Zones { source, .. } = &settings.reference.strips_use {
        vector(source);
    }
    for area in &settings.machine.areas {
        vector(&area.source);
    }
    for heading in std::iter::once(&settings.machine.heading)
        .chain(settings.machine.areas.iter().map(|area| &area.heading))
    {
        if let Heading::Line(source) = heading {
            vector(source);
        }
    }
    list.extend_from_slice(image);
    list.extend_from_slice(weather);
    list.extend(settings.season.crops.clone());
    list
}
