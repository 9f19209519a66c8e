//! All reading of a job, once: what comes back holds nothing that a changed rate depends on.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::app::error::AppError;
use crate::app::held::Reading;
use crate::app::job::{JobText, read_map_job_in};
use crate::app::network_inputs::NetworkInputs;
use crate::app::open::{Canopy, Image, ImageFacts, UsedBand};
use crate::app::overview::index_overview;
use crate::app::paper::weather_months;
use crate::app::progress::Progress;
use crate::app::requests::Common;
use crate::app::reread::keys_to_reread;
use crate::app::rights::{Rights, of_season};
use crate::app::season::{OpenedSeason, growing_season};
use crate::app::setup::{set_up, threads};
use crate::app::unchanged::Unchanged;
use crate::app::{image_source, memory, open, points, record};
use crate::finding::{Checked, Finding};
use crate::format::raster::RasterFacts;
use crate::job::fault::JobError;
use crate::job::settings::{ImageSource, Imagery, ReferenceSource, Response, Settings};
use crate::pipeline::cell_facts::CellFacts;
use crate::pipeline::error::StepError;
use crate::pipeline::ground::{Ground, lay_out};
use crate::pipeline::run::{Basis, survey};
use crate::pipeline::scan::ScanError;
use crate::pipeline::season::GrowingSeason;
use crate::pipeline::survey::{Sources, Survey};
use crate::report::draw::raster::IndexOverview;
use crate::report::paper::WeatherMonths;
use crate::science::index::{Index, ZeroMeaning};
use crate::space::crs::{CrsError, Projector};
use geo::CoordsIter as _;
use serde_json::Value;

/// A job with everything read: settings, cells with their sums, strips, placebo strips, weather, hashes of the inputs.
///
/// No file is open any more. A decision needs nothing else, and one `Prepared` serves any number of them, from any thread; a copy is cheap, since copies share what was
/// read.
#[derive(Clone, Debug)]
pub struct Prepared(Arc<Inner>);

/// What a [`Prepared`] holds.
#[derive(Debug)]
pub(crate) struct Inner {
    /// The job file.
    pub(crate) job: PathBuf,
    pub(crate) folder: PathBuf,
    /// The job's own settings.
    pub(crate) settings: Settings,
    /// The image, without its pixels.
    pub(crate) image: ImageFacts,
    /// Bands that look swapped, in words.
    pub(crate) swapped: Option<String>,
    /// Field and cells.
    pub(crate) ground: Ground,
    /// Pixels and strips.
    pub(crate) survey: Arc<Survey>,
    /// What is known of cells whatever the rates.
    pub(crate) facts: CellFacts,
    /// Growing days and how they were counted.
    pub(crate) season: GrowingSeason,
    /// The weather record by month, when growing days come from one.
    pub(crate) weather: Option<WeatherMonths>,
    /// The index as it was taken, for pictures.
    pub(crate) overview: Option<IndexOverview>,
    /// Inputs with their hashes, as the record has them.
    pub(crate) inputs: Value,
    /// What reading and the pass over the pixels noticed.
    pub(crate) findings: Vec<Finding>,
    /// How many of them, from the first on, were noticed in the job's text alone.
    pub(crate) of_job: usize,
    /// What the bands hold that is worth saying.
    pub(crate) of_bands: Vec<Finding>,
}

impl Prepared {
    /// The job's own settings: what [`Prepared::decide`] is given unless something is to be tried.
    pub fn settings(&self) -> &Settings {
        &self.0.settings
    }
    /// Field and cells.
    pub fn ground(&self) -> &Ground {
        &self.0.ground
    }
    /// Pixels and strips, as they were measured.
    pub fn survey(&self) -> &Survey {
        &self.0.survey
    }
    /// What reading and the pass over the pixels noticed.
    pub fn findings(&self) -> &[Finding] {
        &self.0.findings
    }
    /// The index as it was taken, thinned to what a page can show, upright on the working plane; `None` for single readings, and for an image so large that cells
    /// show it as well.
    pub fn index_overview(&self) -> Option<&IndexOverview> {
        self.0.overview.as_ref()
    }
    /// Whether these settings can be decided on without reading anything again.
    pub fn serves(&self, settings: &Settings) -> bool {
        let ready_band = self.0.image.index.ready_band().is_some();
        keys_to_reread(&self.0.settings, settings, ready_band).is_empty()
    }
    pub(crate) fn inner(&self) -> &Inner {
        &self.0
    }
}

impl Inner {
    /// What decisions stand on.
    pub(crate) fn basis(&self) -> Basis<'_> {
        Basis {
            ground: &self.ground,
            facts: &self.facts,
            survey: &self.survey,
            growing_days: self.season.growing_days,
            bare_below: self.image.bare_below,
        }
    }
    /// A refusal of a step, with the files that it speaks of.
    pub(crate) fn refused(&self, settings: &Settings, error: StepError) -> AppError {
        let notice = with_files(settings, (&self.image.files, &self.image.slots), error);
        self.swapped
            .iter()
            .fold(notice, |notice, swapped| notice.with_fact("bands", swapped))
    }
}

/// What the reading is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// A map: inputs are hashed, and what pictures need is read.
    Map,
    /// Rates alone, without files: no record, no picture.
    Rates,
    /// A look at what is there: bands are looked at one by one.
    Inspect,
}

/// Reads all that a job names, passes over the pixels once, and lets go of every file.
///
/// # Errors
/// When an input is refused, cannot be read or changes while it is read, when the image does not show the field, or when the run is to stop.
///
/// # Examples
/// ```
/// use haulm::{Common, Silent, prepare};
///
/// let prepared = prepare("demo/job.toml".as_ref(), &Common::default(), &Silent)?;
/// assert_eq!(prepared.settings().field.name, "Long Ley");
/// assert_eq!(prepared.survey().strips.len(), 2);
/// # Ok::<(), haulm::AppError>(())
/// ```
pub fn prepare(
    job: &Path,
    options: &Common,
    progress: &dyn Progress,
) -> Result<Prepared, AppError> {
    prepare_for(Purpose::Map, job, options, progress)
}

pub(crate) fn prepare_for(
    purpose: Purpose,
    job: &Path,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Prepared, AppError> {
    let settings = || read_map_job_in(job, common.us_units);
    prepared(purpose, job, &settings, common, progress)
}

/// As [`prepare`], of a job that is held in memory and shares its inputs with others.
///
/// # Errors
/// As [`prepare`].
pub(crate) fn prepare_held(
    purpose: Purpose,
    job: &Path,
    settings: &Checked<Settings>,
    reading: Reading<'_>,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Prepared, AppError> {
    let begun = (settings.clone(), Unchanged::default());
    read_all(purpose, (job, Some(reading)), begun, common, progress)
}

/// As [`prepare`], by settings that need not stand in the job file yet: what is being tried on a page or in a program.
///
/// # Errors
/// As [`prepare`].
pub(crate) fn prepare_with(
    job: &Path,
    settings: &Checked<Settings>,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Prepared, AppError> {
    let settings = || Ok(settings.clone());
    prepared(Purpose::Map, job, &settings, common, progress)
}

/// As [`prepare`], of a job in memory.
///
/// # Errors
/// As [`prepare`].
pub fn prepare_job(
    job: &JobText,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Prepared, AppError> {
    prepare_with(job.path(), &job.settings()?, common, progress)
}

/// Where the settings of a job come from.
type ReadSettings<'a> = &'a dyn Fn() -> Result<Checked<Settings>, JobError>;

fn prepared(
    purpose: Purpose,
    job: &Path,
    read_settings: ReadSettings<'_>,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Prepared, AppError> {
    progress.start("reading the job", 0);
    let mut unchanged = Unchanged::default();
    unchanged.keep([&job.to_owned()]);
    let settings = read_settings()?;
    let rights = rights_of(job, &settings.value, common);
    rights.give_up_others(common)?;
    rights.reading().apart(common, || {
        read_all(
            purpose,
            (job, None),
            (settings, unchanged),
            common,
            progress,
        )
    })
}

/// What a job needs: its inputs, and the place of its outputs.
pub(crate) fn rights_of(job: &Path, settings: &Settings, common: &Common) -> Rights {
    let named = settings.imagery.as_ref().map(open::named);
    let mut read = open::inputs(job, settings, &named.unwrap_or_default(), &[]);
    read.extend(of_season(&settings.season));
    let mut written = vec![settings.output.folder.clone()];
    written.extend(common.confined.iter().flatten().cloned());
    Rights::of(&read, &written, folder_of(job))
}

fn folder_of(job: &Path) -> &Path {
    job.parent().unwrap_or_else(|| Path::new(""))
}

/// What a job holds, and the eye on it that notices a change.
type Begun = (Checked<Settings>, Unchanged);

fn read_all(
    purpose: Purpose,
    (job, reading): (&Path, Option<Reading<'_>>),
    begun: Begun,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Prepared, AppError> {
    let for_map = purpose == Purpose::Map;
    let opened = open_job((job, reading), begun, common)?;
    let (settings, image, season) = (&opened.settings, &opened.image, &opened.season);
    let read = open::inputs(job, settings, &image.inputs, &season.files);
    // The image is large, and its hash needs one core for as long as a fifth of the decoding: it goes beside it when there is more than one.
    let (passed, inputs) = std::thread::scope(|scope| {
        let hashes = (for_map && threads(common) > 1 && reading.is_none())
            .then(|| scope.spawn(|| record::inputs(&read, &opened.folder)));
        let passed = pass(&opened, common, purpose == Purpose::Inspect, progress);
        (passed, hashes.and_then(|thread| thread.join().ok()))
    });
    let mut findings = opened.findings.clone();
    let survey = passed?.into_log(&mut findings);
    // A picture is read through the same index, and its samples are no pixels of the field.
    let (swapped, of_bands) = (image.rows.watch.swapped(), image.rows.watch.findings());
    let (overview, weather) = if for_map {
        let record = season.files.last().map(PathBuf::as_path);
        (
            index_overview(image, &opened.ground)?,
            weather_months(
                &settings.season,
                &season.season,
                record,
                reading.map(|reading| reading.held),
            )?,
        )
    } else {
        (None, None)
    };
    let facts = CellFacts::of(&opened.ground, &survey, &settings.machine)
        .map_err(|error| with_files(settings, (&image.files, &image.slots), error.into()))?;
    opened.unchanged.still()?;
    opened.network.still()?;
    let inputs = match (inputs, reading) {
        (_, Some(reading)) if !for_map => {
            reading.held.still(&read)?;
            Value::Null
        }
        (_, Some(reading)) => {
            reading.held.still(&read)?;
            record::inputs_held((job, reading.text), &read, &opened.folder, reading.held)?
        }
        (Some(inputs), None) => inputs?,
        (None, None) if for_map => record::inputs(&read, &opened.folder)?,
        (None, None) => Value::Null,
    };
    let inputs = match inputs {
        Value::Array(mut list) => {
            list.extend(opened.network.entries(&opened.folder));
            Value::Array(list)
        }
        none => none,
    };
    Ok(Prepared(Arc::new(Inner {
        job: job.to_owned(),
        swapped,
        of_bands,
        folder: opened.folder,
        settings: opened.settings,
        image: opened.image.into(),
        ground: opened.ground,
        survey: Arc::new(survey),
        facts,
        season: opened.season.season,
        weather,
        overview,
        inputs,
        findings,
        of_job: opened.of_job,
    })))
}

/// A job with everything opened.
struct Opened {
    settings: Settings,
    folder: PathBuf,
    image: Image,
    ground: Ground,
    season: OpenedSeason,
    findings: Vec<Finding>,
    /// How many of them were noticed in the job's text.
    of_job: usize,
    unchanged: Unchanged,
    network: NetworkInputs,
}

fn open_job(
    (job, reading): (&Path, Option<Reading<'_>>),
    (settings, mut unchanged): Begun,
    common: &Common,
) -> Result<Opened, AppError> {
    let mut findings = Vec::new();
    let settings = settings.into_log(&mut findings);
    let of_job = findings.len();
    let folder = folder_of(job).to_owned();
    let imagery = imagery(&settings)?;
    // A run over many fields has done this once for all of them.
    if reading.is_none() {
        set_up(common);
        unchanged.keep(&open::inputs(job, &settings, &open::named(imagery), &[]));
    }
    let held = reading.map(|reading| reading.held);
    // Asked before the first byte is read, and again after the last.
    let network = if common.network {
        let named = open::named(imagery);
        NetworkInputs::of(&open::all_inputs(job, &settings, &named, &[]), held)
    } else {
        NetworkInputs::default()
    };
    findings.extend(network.findings());
    let image = open::image(
        imagery,
        settings.response.index().unwrap_or_default(),
        &folder,
        (common.network, held.map(|held| &held.shelf)),
        &mut findings,
    )?;
    memory::blocks(&image, threads(common), common)?;
    // Sources and sidecars are known by now, and no pixel of them is read yet.
    if reading.is_none() {
        unchanged.keep(&image.inputs);
    }
    check_curve(&settings.response, &image.rows.index)?;
    if let Some(bytes) =
        memory::cache_of_pass(&image, threads(common)).filter(|_| reading.is_none())
    {
        let minimum = bytes.min(memory::cache_mib(common.memory_mib) << 20);
        let _ = gdal::config::set_config_option("GDAL_CACHEMAX", &minimum.to_string());
    }
    let inputs = open::ground(&settings, common.network, held)?;
    let laid_out = lay_out(
        &inputs,
        (&settings.field, &settings.machine),
        image.stack.source().lattice(),
    );
    let ground = match (&imagery.source, laid_out) {
        (ImageSource::Points(rule), Err(error)) => {
            return Err(points::of_readings(error.into(), rule));
        }
        (_, laid_out) => laid_out?.into_log(&mut findings),
    };
    masks_reach(&image, &ground)?;
    let outlines = (&ground.boundary, &ground.exclusions);
    memory::enough(ground.grid.cells.len(), outlines, common)?;
    if image.stack.points().is_none() {
        image_source::coarse(ground.pixel, ground.area, &mut findings);
    }
    let season = growing_season(
        &settings.season,
        Some((ground.plane.longitude, ground.plane.latitude)),
        held,
        &mut findings,
    )?;
    Ok(Opened {
        settings,
        folder,
        image,
        ground,
        season,
        findings,
        of_job,
        unchanged,
        network,
    })
}

/// Refuses a mask that lies elsewhere: nothing of the field would be usable, and the image be blamed.
fn masks_reach(image: &Image, ground: &Ground) -> Result<(), AppError> {
    let Canopy::Raster(stack) = &image.stack else {
        return Ok(());
    };
    for mask in stack.masks() {
        let lattice = &mask.facts.lattice;
        let failed = |error: CrsError| {
            AppError::refused(
                "plane.transformation",
                "the field cannot be transformed to the reference system of the mask",
            )
            .with_fact(mask.path.display().to_string(), error.to_string())
            .with_hint("check the reference system of the mask")
        };
        let way = Projector::new(&ground.plane.crs, &lattice.crs).map_err(failed)?;
        let (mut low, mut high) = ((f64::MAX, f64::MAX), (f64::MIN, f64::MIN));
        for c in ground.field.coords_iter() {
            let (x, y) = way.point(c.x, c.y).map_err(failed)?;
            let (col, row) = lattice.affine.to_pixel(x, y);
            low = (low.0.min(col), low.1.min(row));
            high = (high.0.max(col), high.1.max(row));
        }
        let (cols, rows) = (lattice.cols as f64, lattice.rows as f64);
        if low.0 >= cols || low.1 >= rows || high.0 <= 0.0 || high.1 <= 0.0 {
            return Err(AppError::refused("mask.apart", "the mask does not show the field")
                .with_fact(
                    mask.path.display().to_string(),
                    format!(
                        "{} × {} pixels; the field would be at its columns {:.0} to {:.0}, rows {:.0} to {:.0}",
                        lattice.cols, lattice.rows, low.0, high.0, low.1, high.1
                    ),
                )
                .with_hint("give the mask of this image, in its right reference system"));
        }
    }
    Ok(())
}

fn imagery(settings: &Settings) -> Result<&Imagery, AppError> {
    settings.imagery.as_ref().ok_or_else(|| {
        AppError::refused("imagery.missing", "a map needs an image")
            .with_hint("give [imagery], or use haulm rate for one flat rate from hand readings")
    })
}

/// Refuses numbers that hold for another index, and an index whose zero means something else than no canopy where the method divides by it.
pub(crate) fn check_curve(response: &Response, index: &Index) -> Result<(), AppError> {
    let ready = index.ready_band().is_some();
    if let Some(curve) = response
        .yields()
        .map(|yields| &yields.curve)
        .filter(|curve| !ready && !curve.index.eq_ignore_ascii_case(index.name()))
    {
        return Err(AppError::refused("response.index", format!("the yield curve was fitted with {}, but the image gives {}", curve.index, index.name()))
            .with_fact("response.yield_curve", format!("a = {}, b = {}, source: {}", curve.a, curve.b, curve.source))
            .with_hint(format!(
                "write index = {:?} if that is what the formula is; else use the index of the curve, or a curve that was fitted with this one",
                curve.index
            )));
    }
    // Whatever growing days are, the method's kind is the same.
    if response.method(f64::NAN).divides_by_index()
        && index.zero_meaning() == ZeroMeaning::SomethingElse
    {
        return Err(AppError::refused(
            "response.zero",
            format!(
                "{} is not 0 where there is no canopy, so a ratio of it means nothing",
                index.name()
            ),
        )
        .with_hint("use an index such as NDVI or NDRE"));
    }
    Ok(())
}

/// The pass over the pixels, with progress for the front end and an ear for its stop.
fn pass(
    opened: &Opened,
    common: &Common,
    look_at_bands: bool,
    progress: &dyn Progress,
) -> Result<Checked<Survey>, AppError> {
    let last = AtomicUsize::new(0);
    let report = |done: usize, total: usize| {
        if done == 1 {
            progress.start("reading the image", total as u64);
        }
        let before = last.fetch_max(done, Ordering::Relaxed);
        progress.advance(done.saturating_sub(before) as u64);
        common.cancel.signal().is_none()
    };
    let image = &opened.image;
    let sources = Sources {
        image: image.stack.source(),
        points: image.stack.points(),
        index: &image.rows,
        index_name: image.rows.index.name(),
        bare_below: image.bare_below,
        look_at_bands,
        threads: threads(common),
        memory: memory::of_windows(common.memory_mib),
        progress: &report,
    };
    let result = survey(&opened.settings, &opened.ground, &sources);
    if let (Err(StepError::Scan(ScanError::Cancelled)), Some(signal)) =
        (&result, common.cancel.signal())
    {
        return Err(AppError::cancelled(signal));
    }
    let watch = &image.rows.watch;
    let used = (image.files.as_slice(), image.slots.as_slice());
    // What the bands hold is nearer to the fault than what followed from it.
    if let Some(refusal) = watch
        .refusal()
        .filter(|_| !matches!(result, Err(StepError::Scan(_))))
    {
        return Err(image_files(used.0, used.1)
            .into_iter()
            .fold(refusal, |refusal, (path, facts)| {
                refusal.with_fact(path, facts)
            }));
    }
    result.map_err(|error| {
        let notice = with_files(&opened.settings, used, error);
        watch
            .swapped()
            .into_iter()
            .fold(notice, |notice, swapped| notice.with_fact("bands", swapped))
    })
}

/// A refusal of image or strips with the files that it speaks of.
pub(crate) fn with_files(
    settings: &Settings,
    (files, slots): (&[RasterFacts], &[UsedBand]),
    error: StepError,
) -> AppError {
    let images = |refusal: AppError| {
        image_files(files, slots)
            .into_iter()
            .fold(refusal, |refusal, (path, facts)| {
                refusal.with_fact(path, facts)
            })
    };
    let strips = match &settings.reference.source {
        ReferenceSource::Strips(source) => Some(source.path.display().to_string()),
        ReferenceSource::Readings(_) | ReferenceSource::Percentile(_) => None,
    };
    let of_reference = matches!(error, StepError::Reference(_));
    let of_image = of_reference
        || matches!(
            error,
            StepError::Points(_)
                | StepError::NothingSeen { .. }
                | StepError::OutOfRange { .. }
                | StepError::Scan(ScanError::Raster(_))
        );
    let mut refusal = AppError::from(error);
    if let Some(strips) = strips.filter(|_| of_reference) {
        refusal = refusal.with_fact(strips, "reference strips");
    }
    let refusal = if of_image { images(refusal) } else { refusal };
    match settings.imagery.as_ref().map(|imagery| &imagery.source) {
        Some(ImageSource::Points(rule)) if of_image => points::of_readings(refusal, rule)
            .with_fact(rule.source.path.display().to_string(), "readings"),
        _ => refusal,
    }
}

/// The files of an image, each with its size and the bands that are used.
fn image_files(files: &[RasterFacts], slots: &[UsedBand]) -> Vec<(String, String)> {
    let used = |file: &RasterFacts| {
        let slots = slots.iter().filter(|slot| slot.1 == file.path);
        slots
            .map(|slot| format!("{} = band {} × {} + {}", slot.0, slot.2, slot.3, slot.4))
            .collect::<Vec<_>>()
            .join(", ")
    };
    files
        .iter()
        .map(|file| {
            (
                file.path.display().to_string(),
                format!(
                    "{} × {} pixels; {}",
                    file.lattice.cols,
                    file.lattice.rows,
                    used(file)
                ),
            )
        })
        .collect()
}
