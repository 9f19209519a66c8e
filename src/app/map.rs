//! `map`, `check` and `inspect`: the whole job, the whole job but for writing, and what is there before any rate.

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::SystemTime;

use crate::app::api::{Common, MapOptions};
use crate::app::below::without_folder;
use crate::app::commit::{CommitOptions, OutputFolder};
use crate::app::error::AppError;
use crate::app::formats::{Failed, refused_format};
use crate::app::job::resolve::read_map_job;
use crate::app::open::{Canopy, Image};
use crate::app::progress::Progress;
use crate::app::rights::{Rights, of_season};
use crate::app::season::{OpenedSeason, growing_season};
use crate::app::unchanged::Unchanged;
use crate::app::{commit, formats, image_source, memory, open, paper, points, record};
use crate::finding::{Acceptance, Finding, codes};
use crate::format::iso11783;
use crate::format::iso11783::{Iso11783Error, RateGrid};
use crate::format::payload::Payload;
use crate::format::raster::RasterFacts;
use crate::job::settings::{Format, ImageSource, Imagery, ReferenceSource, Settings};
use crate::pipeline::ground::{Ground, prepare};
use crate::pipeline::money::money_findings;
use crate::pipeline::product::product_findings;
use crate::pipeline::run::{Outcome, RunError, Sources, look, run};
use crate::pipeline::scan::ScanError;
use crate::report::card::card;
use crate::report::draw::drawing::Drawing;
use crate::report::model::Report;
use crate::report::paper::Subject;
use crate::report::summary;
use crate::space::crs::{CrsError, Projector};
use crate::zones::check_points::{CheckPoint, check_points};
use crate::zones::file_totals::{FileTotal, MachineFile, of_polygons};
use crate::zones::flavour::TaskKind;
use crate::zones::machine::{MachineRates, machine_rates};
use crate::zones::prescription::Prescription;
use geo::CoordsIter as _;
use jiff::Timestamp;

/// A job with everything opened.
struct Opened {
    settings: Settings,
    folder: std::path::PathBuf,
    image: Image,
    ground: Ground,
    season: OpenedSeason,
    findings: Vec<Finding>,
    unchanged: Unchanged,
}

/// Tells GDAL how to behave: quiet, on this machine unless told otherwise, with a cache of blocks that does not grow with the image.
pub(crate) fn set_up(common: &Common) {
    crate::format::library::ready();
    crate::format::library::network(common.network);
    let cache = memory::cache_mib(common.memory_mib);
    let _ = gdal::config::set_config_option("GDAL_CACHEMAX", &cache.to_string());
}

fn open_job(
    job: &Path,
    writes: Option<&Path>,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Opened, AppError> {
    progress.start("reading the job", 0);
    let mut findings = Vec::new();
    let mut unchanged = Unchanged::default();
    unchanged.keep([&job.to_owned()]);
    let settings = read_map_job(job)?.into_log(&mut findings);
    let folder = job.parent().unwrap_or_else(|| Path::new("")).to_owned();
    let imagery = imagery(&settings)?;
    let mut read = open::inputs(job, &settings, &open::named(imagery), &[]);
    read.extend(of_season(&settings.season));
    let mut written = vec![settings.output.folder.clone()];
    written.extend(writes.map(Path::to_owned));
    Rights::of(&read, &written, &folder).give_up_others(common);
    set_up(common);
    unchanged.keep(&open::inputs(job, &settings, &open::named(imagery), &[]));
    let image = open::image(
        imagery,
        settings.response.index().unwrap_or_default(),
        &folder,
        common.network,
        &mut findings,
    )?;
    memory::blocks(&image, threads(common), common)?;
    // Sources and sidecars are known by now, and no pixel of them is read yet.
    unchanged.keep(&image.inputs);
    check_curve(&settings, &image)?;
    if let Some(bytes) = memory::cache_of_pass(&image, threads(common)) {
        let least = bytes.min(memory::cache_mib(common.memory_mib) << 20);
        let _ = gdal::config::set_config_option("GDAL_CACHEMAX", &least.to_string());
    }
    let inputs = open::ground(&settings, common.network)?;
    let prepared = prepare(
        &inputs,
        &settings,
        image.stack.source().lattice(),
        &mut findings,
    );
    let ground = match (&imagery.source, prepared) {
        (ImageSource::Points(rule), Err(error)) => {
            return Err(points::of_readings(error.into(), rule));
        }
        (_, prepared) => prepared?,
    };
    masks_reach(&image, &ground)?;
    memory::enough(ground.grid.cells.len(), common)?;
    if image.stack.points().is_none() {
        image_source::coarse(ground.pixel, ground.area, &mut findings);
    }
    let season = growing_season(
        &settings.season,
        Some((ground.plane.longitude, ground.plane.latitude)),
        &mut findings,
    )?;
    Ok(Opened {
        settings,
        folder,
        image,
        ground,
        season,
        findings,
        unchanged,
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
                "the field cannot be carried into the system of the mask",
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
fn check_curve(settings: &Settings, image: &Image) -> Result<(), AppError> {
    let (index, response) = (&image.index.0, &settings.response);
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
        && index.zero_meaning() == crate::science::index::ZeroMeaning::SomethingElse
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

fn threads(common: &Common) -> usize {
    common
        .threads
        .unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from))
        .max(1)
}

/// Calls `work` with sources whose progress goes to the front end and which stop when asked to.
fn with_sources<T>(
    opened: &Opened,
    common: &Common,
    look_at_bands: bool,
    progress: &dyn Progress,
    work: impl FnOnce(&Sources<'_>) -> Result<T, RunError>,
) -> Result<T, AppError> {
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
    let result = work(&Sources {
        image: image.stack.source(),
        points: image.stack.points(),
        index: &image.index,
        index_name: image.index.0.name(),
        bare_below: image.bare_below,
        growing_days: opened.season.season.growing_days,
        look_at_bands,
        threads: threads(common),
        memory: memory::of_windows(common.memory_mib),
        progress: &report,
    });
    if let (Err(RunError::Scan(ScanError::Cancelled)), Some(signal)) =
        (&result, common.cancel.signal())
    {
        return Err(AppError::cancelled(signal));
    }
    // What the bands hold is nearer to the fault than what followed from it.
    if let Some(refusal) = image
        .index
        .2
        .refusal()
        .filter(|_| !matches!(result, Err(RunError::Scan(_))))
    {
        return Err(image_files(image)
            .into_iter()
            .fold(refusal, |refusal, (path, facts)| {
                refusal.with_fact(path, facts)
            }));
    }
    result.map_err(|error| {
        let told = with_files(opened, error);
        image
            .index
            .2
            .swapped()
            .into_iter()
            .fold(told, |told, swapped| told.with_fact("bands", swapped))
    })
}

/// A refusal of image or strips with the files that it speaks of.
fn with_files(opened: &Opened, error: RunError) -> AppError {
    let images = |refusal: AppError| {
        image_files(&opened.image)
            .into_iter()
            .fold(refusal, |refusal, (path, facts)| {
                refusal.with_fact(path, facts)
            })
    };
    let strips = match &opened.settings.reference.source {
        ReferenceSource::Strips(source) => Some(source.path.display().to_string()),
        ReferenceSource::Readings(_) | ReferenceSource::Percentile(_) => None,
    };
    let of_reference = matches!(error, RunError::Reference(_));
    let of_image = of_reference
        || matches!(
            error,
            RunError::Points(_)
                | RunError::NothingSeen { .. }
                | RunError::OutOfRange { .. }
                | RunError::Scan(ScanError::Raster(_))
        );
    let mut refusal = AppError::from(error);
    if let Some(strips) = strips.filter(|_| of_reference) {
        refusal = refusal.with_fact(strips, "reference strips");
    }
    let refusal = if of_image { images(refusal) } else { refusal };
    match opened
        .settings
        .imagery
        .as_ref()
        .map(|imagery| &imagery.source)
    {
        Some(ImageSource::Points(rule)) if of_image => points::of_readings(refusal, rule)
            .with_fact(rule.source.path.display().to_string(), "readings"),
        _ => refusal,
    }
}

/// The files of an image, each with its size and the bands that are used.
fn image_files(image: &Image) -> Vec<(String, String)> {
    let used = |file: &RasterFacts| {
        let slots = image.slots.iter().filter(|slot| slot.1 == file.path);
        slots
            .map(|slot| format!("{} = band {} × {} + {}", slot.0, slot.2, slot.3, slot.4))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let files = image.files.iter();
    files
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

/// Marks stops that the job accepts; says which acceptances found nothing to accept.
pub(crate) fn accept(accepted: &[(String, Acceptance)], findings: &mut Vec<Finding>) {
    for (code, acceptance) in accepted {
        let mut any = false;
        for finding in findings.iter_mut().filter(|finding| finding.code == *code) {
            finding.accepted = Some(acceptance.clone());
            any = true;
        }
        if !any {
            findings.push(Finding::note(
                codes::ACCEPT_UNUSED,
                format!("the job accepts {code:?}, but nothing of that code was found"),
            ));
        }
    }
}

/// The true time as the record says it; `None` where a clock says what no calendar holds.
fn made_at(clock: SystemTime) -> Option<String> {
    Timestamp::try_from(clock).ok().map(|now| now.to_string())
}

/// The instant that stands in files which demand one.
fn instant(image_date: jiff::civil::Date) -> Timestamp {
    let epoch = std::env::var("SOURCE_DATE_EPOCH")
        .ok()
        .and_then(|text| text.parse::<i64>().ok())
        .and_then(|s| Timestamp::from_second(s).ok());
    epoch
        .or_else(|| {
            jiff::tz::Offset::UTC
                .to_timestamp(image_date.at(0, 0, 0, 0))
                .ok()
        })
        .unwrap_or(Timestamp::UNIX_EPOCH)
}

/// A finished computation and its files, not yet written.
struct Made {
    opened: Opened,
    outcome: Outcome,
    files: Vec<Payload>,
    map_id: String,
    stopped: bool,
    core: serde_json::Map<String, serde_json::Value>,
    rates: MachineRates,
    points: Vec<CheckPoint>,
    file_totals: Vec<FileTotal>,
}

impl Made {
    /// What the paper needs.
    fn paper<'a>(&'a self, job: &'a Path) -> paper::Context<'a> {
        paper::Context {
            job,
            settings: &self.opened.settings,
            ground: &self.opened.ground,
            image: &self.opened.image,
            season: &self.opened.season.season,
            weather: self
                .opened
                .season
                .files
                .last()
                .map(std::path::PathBuf::as_path),
            findings: &self.opened.findings,
            core: &self.core,
            rates: &self.rates,
            points: &self.points,
            file_totals: &self.file_totals,
            stopped: self.stopped,
            instant: instant(self.outcome.prescription.image_date),
        }
    }
}

fn make(
    job: &Path,
    writes: Option<&Path>,
    common: &Common,
    progress: &dyn Progress,
) -> Result<Made, AppError> {
    let mut opened = open_job(job, writes, common, progress)?;
    let mut findings = std::mem::take(&mut opened.findings);
    let read = open::inputs(
        job,
        &opened.settings,
        &opened.image.inputs,
        &opened.season.files,
    );
    // The image is large, and its hash needs one core for as long as a fifth of the decoding: it goes beside it when there is more than one.
    let (outcome, inputs) = std::thread::scope(|scope| {
        let hashes =
            (threads(common) > 1).then(|| scope.spawn(|| record::inputs(&read, &opened.folder)));
        let outcome = with_sources(&opened, common, false, progress, |sources| {
            run(&opened.settings, &opened.ground, sources, &mut findings)
        });
        (outcome, hashes.and_then(|thread| thread.join().ok()))
    });
    let mut outcome = outcome?;
    if let Some(product) = &opened.settings.product {
        findings.extend(product_findings(product, &opened.settings.product_facts));
    }
    findings.extend(
        outcome
            .money
            .iter()
            .flat_map(|money| money_findings(&opened.settings, money)),
    );
    findings.extend(opened.image.index.2.findings());
    progress.start("making the files", 0);
    let rates = machine_rates(&outcome.prescription)
        .map_err(|error| refused_format(&error))?
        .into_log(&mut findings);
    // Findings of the machine's grid are part of the record, so the grid is made before the record's hash; the map id does not enter it.
    let mut failed = Vec::new();
    let grid = match grid_of(
        &opened.settings,
        &outcome.prescription,
        &rates,
        &mut findings,
    ) {
        Ok(grid) => grid,
        Err(error) => {
            failed.push(Failed::new(Format::Iso11783, &error));
            None
        }
    };
    let file_totals = totals_by_file(
        &opened.settings,
        &outcome.prescription,
        &rates,
        grid.as_ref(),
    );
    accept(&opened.settings.accept, &mut findings);
    for finding in &mut findings {
        finding.message = without_folder(&finding.message, &opened.folder);
    }
    opened.unchanged.still()?;
    let inputs = match inputs {
        Some(inputs) => inputs?,
        None => record::inputs(&read, &opened.folder)?,
    };
    let even = |longitude: f64, latitude: f64, rate: f64| {
        grid.as_ref()
            .is_none_or(|grid| grid.is_even(longitude, latitude, rate))
    };
    let points = check_points(&outcome.prescription, &rates, 3, &even)
        .map_err(|error| refused_format(&error))?;
    let unfit = findings.iter().any(Finding::stops);
    // What cannot be written is part of the record, and the map id, which the files hold, is the record's: so a format that fails sends all of it round once more.
    let (core, map_id, mut files) = loop {
        let told = failed.len();
        let mut all = findings.clone();
        all.extend(failed.iter().map(Failed::finding));
        let context = record::Context {
            settings: &opened.settings,
            folder: &opened.folder,
            ground: &opened.ground,
            image: &opened.image,
            season: &opened.season.season,
            inputs: inputs.clone(),
            findings: &all,
            file_totals: &file_totals,
            stopped: all.iter().any(Finding::stops),
        };
        let core = record::core(&outcome, &context);
        let bytes =
            serde_json::to_vec(&serde_json::Value::Object(core.clone())).unwrap_or_default();
        let map_id = commit::sha256_hex(&bytes)[..6].to_owned();
        outcome.prescription.map_id.clone_from(&map_id);
        let files = if unfit {
            Vec::new()
        } else {
            let source = formats::Source {
                settings: &opened.settings,
                prescription: &outcome.prescription,
                rates: &rates,
                grid: grid.as_ref(),
                instant: instant(outcome.prescription.image_date),
            };
            formats::files_of(&source, &mut failed)
        };
        if failed.len() == told {
            findings = all;
            break (core, map_id, files);
        }
    };
    let stopped = findings.iter().any(Finding::stops);
    if !stopped {
        files.push(Payload::new(
            "machine/CARD.txt",
            card(
                &outcome.prescription,
                &rates,
                &points,
                &file_totals,
                &findings,
            )
            .into_bytes(),
        ));
    }
    opened.findings = findings;
    let mut made = Made {
        opened,
        outcome,
        files: Vec::new(),
        map_id,
        stopped,
        core,
        rates,
        points,
        file_totals,
    };
    files.extend(paper::files(&made.outcome, &made.paper(job))?);
    made.files = files;
    Ok(made)
}

/// The task's grid, unless the job wants no task data or polygons in them.
fn grid_of(
    settings: &Settings,
    prescription: &Prescription,
    rates: &MachineRates,
    findings: &mut Vec<Finding>,
) -> Result<Option<RateGrid>, Iso11783Error> {
    if !settings.output.formats.contains(&Format::Iso11783) {
        return Ok(None);
    }
    let kind = settings.output.task_data.kind;
    if kind == TaskKind::Polygons {
        findings.push(Finding::caution(
            codes::MACHINE_TASK_POLYGONS,
            "the task data hold polygons, which controllers need not take: try them on yours before the day; kind = \"grid\" in output.task_data is what each must take",
        ));
        return Ok(None);
    }
    let said = iso11783::rate_grid(prescription, rates, kind)?;
    Ok(Some(said.into_log(findings)))
}

/// What each file for machines puts on the field.
fn totals_by_file(
    settings: &Settings,
    prescription: &Prescription,
    rates: &MachineRates,
    grid: Option<&RateGrid>,
) -> Vec<FileTotal> {
    let polygons = settings.output.task_data.kind == TaskKind::Polygons;
    let of = |format: &Format| match (format, grid) {
        (Format::Iso11783, Some(grid)) => Some(FileTotal {
            file: MachineFile::TaskGrid,
            in_field: grid.total,
            with_run_out: grid.total_with_run_out,
        }),
        (Format::Iso11783, None) if polygons => {
            Some(of_polygons(MachineFile::TaskPolygons, prescription, rates))
        }
        (Format::Shapefile, _) => Some(of_polygons(MachineFile::Shapefile, prescription, rates)),
        _ => None,
    };
    settings.output.formats.iter().filter_map(of).collect()
}

/// What a finished run has to say.
fn report(made: &Made, files: Vec<(String, u64)>) -> Report {
    let opened = &made.opened;
    let facts = summary::Facts {
        settings: &opened.settings,
        ground: &opened.ground,
        index_name: opened.image.index.0.name(),
        season: &opened.season.season,
        map_id: &made.map_id,
    };
    let mut json = made.core.clone();
    json.insert("map_id".to_owned(), serde_json::json!(made.map_id));
    Report {
        title: format!(
            "{}, map {}{}",
            opened.settings.field.name,
            made.map_id,
            if made.stopped { ": NOT FOR USE" } else { "" }
        ),
        blocks: summary::blocks(&facts, &made.outcome, &made.file_totals),
        json: serde_json::Value::Object(json),
        findings: opened.findings.clone(),
        files,
        stopped: made.stopped,
    }
}

/// Computes a job and writes its map.
///
/// # Errors
/// When the input is refused or the outputs cannot be written.
pub fn map(job: &Path, options: &MapOptions, progress: &dyn Progress) -> Result<Report, AppError> {
    let common = &options.common;
    progress.start("reading the job", 0);
    let folder = match &options.output {
        Some(folder) => folder.clone(),
        None => read_map_job(job)?.value.output.folder,
    };
    let commit_options = CommitOptions {
        overwrite: options.overwrite,
        cancel: common.cancel.clone(),
    };
    let mut before = Vec::new();
    let claimed = if options.dry_run {
        commit::check_writable(&folder, &commit_options)?;
        None
    } else {
        Some(OutputFolder::claim(&folder, commit_options.clone())?.into_log(&mut before))
    };
    let mut made = make(job, Some(&folder), common, progress)?;
    let mut files = std::mem::take(&mut made.files);
    let now = if options.dry_run {
        None
    } else {
        made_at(SystemTime::now())
    };
    files.push(record::finished(
        &made.map_id,
        made.core.clone(),
        &files,
        now.as_deref(),
    ));
    progress.start("writing", 0);
    let done = match claimed {
        Some(folder) => folder
            .commit(&files)
            .map_err(|error| AppError::of_commit(error, &common.cancel))?,
        None => commit::dry_run(&folder, &files, &commit_options)?,
    };
    made.opened.findings.splice(0..0, before);
    made.opened.findings.extend(done.findings);
    Ok(report(&made, done.written))
}

/// Does everything that [`map`] does but write.
///
/// # Errors
/// As [`map`].
pub fn check(job: &Path, common: &Common, progress: &dyn Progress) -> Result<Report, AppError> {
    let made = make(job, None, common, progress)?;
    Ok(report(&made, Vec::new()))
}

/// A figure of a job's paper, computed anew, for a file that the caller writes: the figure, the map id, what was noticed, and whether a finding stops the map.
///
/// # Errors
/// As [`map`].
pub(crate) fn drawn(
    job: &Path,
    subject: Subject,
    output: &Path,
    common: &Common,
    progress: &dyn Progress,
) -> Result<(Option<Drawing>, String, Vec<Finding>, bool), AppError> {
    let made = make(job, Some(output), common, progress)?;
    let drawing = paper::with_paper(&made.outcome, &made.paper(job), |paper| {
        Ok(paper.picture(subject))
    })?;
    Ok((drawing, made.map_id, made.opened.findings, made.stopped))
}

/// Shows what is there before any rate.
///
/// # Errors
/// When an input cannot be read.
pub fn inspect(job: &Path, common: &Common, progress: &dyn Progress) -> Result<Report, AppError> {
    let mut opened = open_job(job, None, common, progress)?;
    let mut findings = std::mem::take(&mut opened.findings);
    let looked = with_sources(&opened, common, true, progress, |sources| {
        look(&opened.settings, &opened.ground, sources, &mut findings)
    })?;
    findings.extend(opened.image.index.2.findings());
    accept(&opened.settings.accept, &mut findings);
    opened.unchanged.still()?;
    let facts = summary::Facts {
        settings: &opened.settings,
        ground: &opened.ground,
        index_name: opened.image.index.0.name(),
        season: &opened.season.season,
        map_id: "",
    };
    let files: Vec<summary::FileFacts> = opened
        .image
        .files
        .iter()
        .map(|file| summary::FileFacts {
            path: file.path.display().to_string(),
            driver: file.driver.clone(),
            system: format!("{} ({})", file.lattice.crs, file.lattice.crs.name()),
            cols: file.lattice.cols,
            rows: file.lattice.rows,
            bands: file
                .bands
                .iter()
                .enumerate()
                .map(|(k, band)| {
                    let used = opened
                        .image
                        .slots
                        .iter()
                        .find(|slot| slot.1 == file.path && slot.2 == k + 1);
                    [
                        (k + 1).to_string(),
                        band.description.clone(),
                        band.kind.clone(),
                        band.nodata
                            .map_or_else(|| "none".to_owned(), |v| v.to_string()),
                        used.map_or_else(String::new, |slot| {
                            format!("{} = stored × {} + {}", slot.0, slot.3, slot.4)
                        }),
                    ]
                })
                .collect(),
        })
        .collect();
    let names: Vec<String> = opened
        .image
        .slots
        .iter()
        .map(|slot| slot.0.clone())
        .collect();
    let (blocks, json) = summary::inspected(&facts, &looked, &files, &names);
    let stopped = findings.iter().any(Finding::stops);
    Ok(Report {
        title: format!("{}, before any rate", opened.settings.field.name),
        blocks,
        json,
        findings,
        files: Vec::new(),
        stopped,
    })
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    #[test]
    fn a_clock_far_in_the_future_or_the_past_is_no_fault() {
        let day = SystemTime::UNIX_EPOCH + Duration::from_secs(1_775_952_001);
        assert_eq!(made_at(day).as_deref(), Some("2026-04-12T00:00:01Z"));
        for far in [
            SystemTime::UNIX_EPOCH + Duration::from_secs(300_000_000_001),
            SystemTime::UNIX_EPOCH + Duration::from_secs(9_000_000_000_000_001),
            SystemTime::UNIX_EPOCH - Duration::from_secs(400_000_000_001),
        ] {
            assert_eq!(made_at(far), None);
        }
    }
}
