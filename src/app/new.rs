//! `new`: a commented first job file from what boundary and image say themselves.

use std::io;
use std::io::Write as _;
use std::path::{Component, Path, PathBuf};

use crate::app::date_guess::date_in_name;
use crate::app::error::AppError;
use crate::app::image_source::described;
use crate::app::job::map_job;
use crate::app::keys::schema;
use crate::app::new_fields::{NamedField, fields_of, slugs};
use crate::app::new_job::{FirstJob, Known, SCHEMA_FILE, bands_of, first_job};
use crate::app::new_strips;
use crate::app::new_strips::{Source, Strip};
use crate::app::open::{areas, refuse_network, refuse_onto};
use crate::app::requests::{Common, NewRequest};
use crate::app::rights::Rights;
use crate::app::setup::set_up;
use crate::finding::{Finding, by_weight, codes};
use crate::format::raster::RasterFacts;
use crate::format::raster::product::into_archive;
use crate::format::vector::{VectorLayer, read_columns};
use crate::format::weather;
use crate::job::amount;
use crate::job::fault::{Fault, JobError};
use crate::report::counted::counted;
use crate::report::model::{Block, Report, Row};
use crate::science::methods::{METHODS, about};
use geo::MultiPolygon;
use serde_json::json;

/// Keys of the job and the options that fill them.
const OPTIONS: &[(&str, &str)] = &[
    ("imagery.date", "--date"),
    ("imagery.index", "--index"),
    ("reference.strips", "--strips"),
    ("season.crop", "--crop"),
    ("season.planted", "--planted"),
    ("season.weather", "--weather"),
    (
        "season.growing_days",
        "--growing-days, or --weather and --planted",
    ),
    ("response.maximum_yield", "--max-yield"),
    ("response.yield_curve", "--curve"),
    ("response.method", "--method"),
    ("rate.maximum", "--maximum"),
    ("machine.working_width", "--width"),
    ("product.name", "--product"),
    ("field.name", "--name"),
];

/// Writes a commented first job file, or one for each field of the boundary; nothing that decides a rate is guessed.
///
/// # Errors
/// When an input cannot be read, an option is refused, or a job file is there already.
pub fn new_job(request: &NewRequest) -> Result<Report, AppError> {
    let network = request.common.network;
    for path in inputs(request) {
        refuse_network(path, network)?;
        readable(path)?;
    }
    let named: Vec<PathBuf> = inputs(request).cloned().collect();
    let rights = Rights::of(
        &named,
        std::slice::from_ref(&request.job),
        folder_of(&request.job),
    );
    rights.give_up_others(&request.common)?;
    let reading = &Reading {
        rights: rights.reading(),
        common: &request.common,
    };
    reading.apart(|| swapped(request))?;
    if request.all {
        return new_jobs(request, reading);
    }
    let fields = reading.apart(|| several(request))?;
    let all = reading.apart(|| strips_of(request))?;
    let mut findings = Vec::new();
    let mut own = OwnStrips {
        all: &all,
        numbers: (0..all.len()).collect(),
    };
    // Of one field of several, the strips of the others are none of it.
    if let (Some(path), Some(filter)) = (&request.strips, request.filter.as_deref()) {
        let ground = reading.apart(|| new_strips::ground(&request.boundary, Some(filter)))?;
        let shared = new_strips::by_field(&all, &[ground], path)?;
        findings = new_strips::noticed(&all, &shared, &[filter]);
        own.numbers = shared.of_fields.concat();
    }
    let prepared = prepare(request, request.filter.as_deref(), &own, reading)?;
    write(&request.job, &prepared.first.text, request.overwrite)?;
    findings.extend(prepared.findings.iter().cloned());
    let schema = write_schema(folder_of(&request.job), &mut findings)?;
    let mut notice = report(request, &prepared, schema, findings);
    if !fields.is_empty() && request.filter.is_none() {
        notice.blocks.insert(0, list_of(&fields));
        notice.json["fields"] = fields
            .iter()
            .map(|field| json!({ "name": field.name, "where": field.filter }))
            .collect();
    }
    Ok(notice)
}

/// Reads what others have made with the right to read it and no other: this thread alone writes.
struct Reading<'a> {
    rights: Rights,
    common: &'a Common,
}

impl Reading<'_> {
    fn apart<T: Send>(&self, work: impl FnOnce() -> T + Send) -> T {
        self.rights.apart(self.common, work)
    }
}

/// Refuses boundary and image in each other's place: what GDAL says of either would not tell it.
fn swapped(request: &NewRequest) -> Result<(), AppError> {
    set_up(&request.common);
    let is_product = into_archive(&request.boundary) != request.boundary;
    let shapes = |path: &Path| read_columns(path, None).is_ok();
    let pixels = |path: &Path| !is_product && described(path, folder_of(&request.job)).is_ok();
    if !shapes(&request.boundary) && shapes(&request.raster) && pixels(&request.boundary) {
        return Err(AppError::misuse(
            "new.swapped",
            "boundary and image are swapped: the boundary comes first",
        )
        .with_fact(
            request.boundary.display().to_string(),
            "BOUNDARY: holds pixels, no shapes",
        )
        .with_fact(
            request.raster.display().to_string(),
            "IMAGE: holds shapes, no pixels",
        )
        .with_hint(format!(
            "haulm new {} {}",
            request.raster.display(),
            request.boundary.display()
        )));
    }
    Ok(())
}

/// Every file that the request names.
fn inputs(request: &NewRequest) -> impl Iterator<Item = &PathBuf> {
    [&request.boundary, &request.raster]
        .into_iter()
        .chain(&request.strips)
        .chain(&request.weather)
}

/// The fields of a boundary that holds more than one feature.
fn several(request: &NewRequest) -> Result<Vec<NamedField>, AppError> {
    set_up(&request.common);
    let fields = fields_of(&request.boundary, request.name_column.as_deref())?;
    Ok(if fields.len() > 1 { fields } else { Vec::new() })
}

/// Names of the fields, and the line of the job that picks each.
fn list_of(fields: &[NamedField]) -> Block {
    let mut rows: Vec<Row> = fields
        .iter()
        .take(LISTED)
        .map(|field| Row::new(field.name.clone(), format!("--where \"{}\"", field.filter)))
        .collect();
    if fields.len() > LISTED {
        rows.push(Row::new(
            "…",
            format!("and {} more; --json lists all", fields.len() - LISTED),
        ));
    }
    Block::rows(
        format!(
            "{} fields in the boundary: pick one, or --all for a job each",
            fields.len()
        ),
        rows,
    )
}

/// Fields that are listed one by one.
const LISTED: usize = 40;

fn folder_of(job: &Path) -> &Path {
    job.parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or_else(|| Path::new("."))
}

/// One job for each field of the boundary; all of them or none.
fn new_jobs(request: &NewRequest, reading: &Reading<'_>) -> Result<Report, AppError> {
    let folder = &request.job;
    if folder
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
    {
        return Err(
            AppError::misuse("job.folder", "--all writes a folder of jobs")
                .with_fact("--output", folder.display().to_string())
                .with_hint("give a folder: --output jobs"),
        );
    }
    let fields = reading.apart(|| {
        set_up(&request.common);
        fields_of(&request.boundary, request.name_column.as_deref())
    })?;
    // Paths in the jobs are relative to it, so it has to be there; it goes again when nothing comes of it.
    let made = !folder.exists();
    fs_err::create_dir_all(folder).map_err(|error| {
        AppError::refused("job.unwritable", "the folder of the jobs cannot be made")
            .with_fact(folder.display().to_string(), error.to_string())
            .with_hint("give another with --output")
    })?;
    let written = jobs_in(request, folder, &fields, reading);
    if written.is_err() && made {
        let _ = fs_err::remove_dir(folder);
    }
    written
}

fn jobs_in(
    request: &NewRequest,
    folder: &Path,
    fields: &[NamedField],
    reading: &Reading<'_>,
) -> Result<Report, AppError> {
    let all = reading.apart(|| strips_of(request))?;
    let mut findings: Vec<Finding> = Vec::new();
    let mut of_fields = vec![Vec::new(); fields.len()];
    if let Some(path) = &request.strips {
        let grounds = reading.apart(|| {
            let filters = fields.iter().map(|field| Some(field.filter.as_str()));
            filters
                .map(|filter| new_strips::ground(&request.boundary, filter))
                .collect::<Result<Vec<_>, _>>()
        })?;
        let shared = new_strips::by_field(&all, &grounds, path)?;
        let names: Vec<&str> = fields.iter().map(|field| field.name.as_str()).collect();
        findings.extend(new_strips::noticed(&all, &shared, &names));
        of_fields = shared.of_fields;
    }
    let mut jobs = Vec::new();
    for ((field, slug), numbers) in fields.iter().zip(slugs(fields)).zip(of_fields) {
        let own = OwnStrips { all: &all, numbers };
        let one = NewRequest {
            job: folder.join(format!("{slug}.toml")),
            name: Some(field.name.clone()),
            ..request.clone()
        };
        let prepared = prepare(&one, Some(&field.filter), &own, reading)?;
        jobs.push((one, prepared, field));
    }
    let mut files = Vec::new();
    let mut rows = Vec::new();
    for (one, prepared, field) in &jobs {
        write(&one.job, &prepared.first.text, request.overwrite)?;
        let shown = one.job.display().to_string();
        files.push((shown.clone(), prepared.first.text.len() as u64));
        rows.push(Row::new(field.name.clone(), shown).with_note(format!(
                    "{}{} open",
                    prepared
                        .strips
                        .map_or_else(String::new, |count| counted(count, "strip") + ", "),
                    counted(prepared.first.open.len(), "value"),
                )));
        for finding in &prepared.findings {
            if !findings.contains(finding) {
                findings.push(finding.clone());
            }
        }
    }
    files.extend(write_schema(folder, &mut findings)?);
    by_weight(&mut findings);
    if jobs.is_empty() {
        return Err(
            AppError::refused("boundary.empty", "the boundary file holds no field")
                .with_fact(request.boundary.display().to_string(), "no feature")
                .with_hint("check the file"),
        );
    }
    let mut open: Vec<&str> = Vec::new();
    for key in jobs
        .iter()
        .flat_map(|(_, prepared, _)| &prepared.first.open)
    {
        if !open.contains(&key.as_str()) {
            open.push(key);
        }
    }
    let list: Vec<_> = jobs
        .iter()
        .map(|(one, prepared, field)| json!({ "job": one.job.display().to_string(), "name": field.name, "where": field.filter, "strips": prepared.strips, "open": prepared.first.open, "assumed": prepared.first.assumed }))
        .collect();
    Ok(Report {
        title: format!("{} job files written in {}", jobs.len(), folder.display()),
        blocks: vec![
            Block::rows("Fields", rows),
            Block::text(
                "Next",
                vec![if open.is_empty() {
                    format!("haulm map {}", folder.display())
                } else {
                    format!(
                        "fill in what is marked TODO in each ({}), then: haulm map {}",
                        open.join(", "),
                        folder.display()
                    )
                }],
            ),
        ],
        json: json!({ "jobs": list }),
        findings,
        files,
        ..Report::default()
    })
}

/// A first job and what was noticed while making it; nothing of it is written yet, drawn strips excepted.
struct Prepared {
    first: FirstJob,
    raster: RasterFacts,
    is_product: bool,
    strips: Option<usize>,
    findings: Vec<Finding>,
}

/// The strips of a file, and which of them are a job's own.
#[derive(Clone, Debug, Default)]
struct OwnStrips<'a> {
    all: &'a [Strip],
    numbers: Vec<usize>,
}

impl OwnStrips<'_> {
    fn source(&self) -> Option<Source> {
        new_strips::source(self.all, &self.numbers)
    }
}

/// The strips of the file that the request names.
fn strips_of(request: &NewRequest) -> Result<Vec<Strip>, AppError> {
    request.strips.as_deref().map_or(Ok(Vec::new()), |path| {
        new_strips::read(path, request.strip_width.as_deref())
    })
}

fn prepare(
    request: &NewRequest,
    filter: Option<&str>,
    own: &OwnStrips<'_>,
    reading: &Reading<'_>,
) -> Result<Prepared, AppError> {
    refuse_onto(inputs(request), &request.job)?;
    // A job is told from a map by its ending; and whatever else is there, no leave to replace a job is meant for it.
    if !request
        .job
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
    {
        return Err(AppError::refused("job.ending", "a job file ends in .toml")
            .with_fact(request.job.display().to_string(), "does not")
            .with_hint(format!(
                "write --output {}",
                request.job.with_extension("toml").display()
            )));
    }
    if request.job.exists() && !request.overwrite {
        return Err(
            AppError::refused("job.exists", "the job file is there already")
                .with_fact(request.job.display().to_string(), "exists")
                .with_hint("give another name with --output, or replace it with --overwrite"),
        );
    }
    if let Some(name) = &request.method
        && about(name).is_none()
    {
        let known: Vec<&str> = METHODS.iter().map(|method| method.name).collect();
        return Err(AppError::refused(
            "response.method",
            format!("--method: {name:?} is no method"),
        )
        .with_fact("known", known.join(", "))
        .with_hint("compare them: haulm methods --crop CROP"));
    }
    let folder = folder_of(&request.job);
    let Said {
        raster,
        is_product,
        boundary,
        mut findings,
    } = reading.apart(|| said(request, filter))?;
    let own_date = raster.acquired;
    if let (Some(given), Some(own)) = (request.date, own_date)
        && given != own
    {
        findings.push(Finding::caution(
            codes::IMAGE_DATE,
            format!("the image says that it was taken on {own}, not on {given}: check --date"),
        ));
    }
    let guessed = if request.date.is_none() && own_date.is_none() {
        request
            .raster
            .file_name()
            .and_then(|name| date_in_name(&name.to_string_lossy()))
    } else {
        None
    };
    if let Some(guess) = guessed {
        findings.push(Finding::caution(
            codes::IMAGE_DATE_GUESSED,
            format!("{guess} is a guess, out of the image's file name: check it, or give --date"),
        ));
    }
    let mut known = known(
        request,
        &raster,
        folder,
        request.date.or(own_date).or(guessed),
    )?;
    known.product_bands = is_product;
    known.date_guessed = guessed.is_some();
    known.boundary_filter = filter.map(str::to_owned);
    if let ([only], None) = (boundary.shapes.as_slice(), &request.name) {
        known.name = only.name.clone().filter(|name| !name.trim().is_empty());
    }
    if let ([band], None) = (raster.bands.as_slice(), &request.index) {
        findings.push(Finding::note(
            codes::IMAGE_ONE_BAND,
            format!("the image has a single band ({:?}): if it holds a ready index, run again with --index \"band 1\"", band.description),
        ));
    }
    match own.source() {
        Some(Source::Drawn(text)) => {
            let stem = request
                .job
                .file_stem()
                .map_or_else(|| "job".into(), |stem| stem.to_string_lossy());
            let place = folder.join(format!("{stem}-strips.geojson"));
            refuse_onto(inputs(request), &place)?;
            // Without leave to replace, drawn strips of before stay as well.
            write(&place, &text, request.overwrite)?;
            known.strips = Some(relative(&place, folder)?);
        }
        Some(Source::Some(filter)) => known.strips_filter = Some(filter),
        Some(Source::Whole) => {}
        None => known.strips = None,
    }
    let first = first_job(&known);
    check(&first, request)?;
    by_weight(&mut findings);
    Ok(Prepared {
        first,
        raster,
        is_product,
        strips: request.strips.is_some().then_some(own.numbers.len()),
        findings,
    })
}

/// What the inputs of a job say of themselves.
struct Said {
    raster: RasterFacts,
    is_product: bool,
    boundary: VectorLayer<MultiPolygon<f64>>,
    findings: Vec<Finding>,
}

fn said(request: &NewRequest, filter: Option<&str>) -> Result<Said, AppError> {
    set_up(&request.common);
    let mut findings = Vec::new();
    let (raster, is_product) = described(&request.raster, folder_of(&request.job))?;
    let boundary = areas(&request.boundary, None, filter)?;
    if boundary.shapes.len() > 1 {
        findings.push(Finding::caution(
            codes::BOUNDARY_SEVERAL,
            format!(
                "the boundary file holds {} features, and a field is one: choose it with --where \"...\", make a job each with --all, or join them with merge = true in field.boundary",
                boundary.shapes.len()
            ),
        ));
    }
    if let Some(path) = &request.weather {
        let _ = weather::read(path)?.into_log(&mut findings);
        if request.planted.is_none() {
            findings.push(Finding::caution(
                codes::SEASON_PLANTED,
                "the weather record is left out of the job: growing days are counted from planting, so give --planted too",
            ));
        }
    }
    Ok(Said {
        raster,
        is_product,
        boundary,
        findings,
    })
}

fn readable(path: &Path) -> Result<(), AppError> {
    if into_archive(path).to_string_lossy().starts_with("/vsi") {
        return Ok(());
    }
    fs_err::File::open(path).map(|_| ()).map_err(|error| {
        AppError::refused(
            "file.unreadable",
            "a file that the command names cannot be read",
        )
        .with_fact(path.display().to_string(), error.to_string())
        .with_hint("check the name and the working folder")
    })
}

fn known(
    request: &NewRequest,
    raster: &RasterFacts,
    folder: &Path,
    image_date: Option<jiff::civil::Date>,
) -> Result<Known, AppError> {
    let place = |path: &Path| relative(path, folder);
    Ok(Known {
        boundary: place(&request.boundary)?,
        raster: place(&request.raster)?,
        descriptions: descriptions(raster),
        by_colour: is_by_colour(raster),
        boundary_filter: None,
        method: request.method.clone(),
        date_guessed: false,
        strips: request.strips.as_deref().map(place).transpose()?,
        name: request.name.clone(),
        index: request.index.clone(),
        product: request.product.clone(),
        image_date,
        planted: request.planted,
        weather: request.weather.as_deref().map(place).transpose()?,
        strips_filter: None,
        growing_days: request.growing_days,
        crop: request.crop.clone(),
        curve: request.curve.clone(),
        maximum_yield: request.max_yield.clone(),
        maximum: request.maximum.clone(),
        working_width: request.working_width.clone(),
        product_bands: false,
        us_units: request.common.us_units.unwrap_or_else(|| {
            [
                &request.max_yield,
                &request.maximum,
                &request.working_width,
                &request.strip_width,
            ]
            .into_iter()
            .flatten()
            .any(|text| amount::is_us(text))
        }),
    })
}

/// Whether no band has a description, so that the file's colour interpretation says what is red, green and blue.
fn is_by_colour(raster: &RasterFacts) -> bool {
    raster.bands.iter().any(|band| band.colour.is_some())
        && raster.bands.iter().all(|band| band.description.is_empty())
}

/// What the file says of each band: its description, or the colour that it shows; nothing of an alpha band.
fn descriptions(raster: &RasterFacts) -> Vec<Option<String>> {
    let by_colour = is_by_colour(raster);
    let bands = raster.bands.iter();
    bands
        .map(|band| {
            let text = match band.colour.filter(|_| by_colour) {
                Some(colour) => colour.to_owned(),
                None => band.description.clone(),
            };
            Some(text).filter(|text| !text.is_empty() && !band.alpha)
        })
        .collect()
}

/// A path as it stands in a job file of `folder`: relative where both lie on one root, with forward slashes.
fn relative(path: &Path, folder: &Path) -> Result<String, AppError> {
    if path.to_string_lossy().starts_with("/vsi") {
        return Ok(path.to_string_lossy().into_owned());
    }
    let unreadable = |place: &Path| {
        let place = place.display().to_string();
        move |error: io::Error| {
            AppError::refused(
                "file.unreadable",
                "a folder that the command names cannot be found",
            )
            .with_fact(place, error.to_string())
            .with_hint("make it first")
        }
    };
    // The file itself may be a link: its folder counts, its own name stays.
    let name = path.file_name().map(PathBuf::from).unwrap_or_default();
    let parent = path
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty())
        .unwrap_or_else(|| Path::new("."));
    let from = fs_err::canonicalize(folder).map_err(unreadable(folder))?;
    let to = fs_err::canonicalize(parent)
        .map_err(unreadable(parent))?
        .join(name);
    let (from, parts): (Vec<Component<'_>>, Vec<Component<'_>>) =
        (from.components().collect(), to.components().collect());
    let shared = from.iter().zip(&parts).take_while(|(a, b)| a == b).count();
    if shared == 0 {
        return Ok(to.to_string_lossy().replace('\\', "/"));
    }
    let up = std::iter::repeat_n("..".to_owned(), from.len() - shared);
    Ok(up
        .chain(
            parts[shared..]
                .iter()
                .map(|part| part.as_os_str().to_string_lossy().into_owned()),
        )
        .collect::<Vec<_>>()
        .join("/"))
}

/// Reads the made job as `haulm map` would: only values that are open may be refused.
fn check(first: &FirstJob, request: &NewRequest) -> Result<(), AppError> {
    let faults = match map_job(first.text.as_bytes(), &request.job) {
        Err(JobError::Refused { faults, .. }) => faults,
        Err(other) => return Err(other.into()),
        Ok(_) => return Ok(()),
    };
    let option = |key: &str| {
        OPTIONS
            .iter()
            .find(|(name, _)| *name == key)
            .map_or_else(|| key.to_owned(), |(_, option)| (*option).to_owned())
    };
    // The hint names the key's last word; the user typed the option.
    let hint = |fault: &Fault| {
        let leaf = fault.key.rsplit('.').next().unwrap_or_default();
        fault
            .hint()
            .replace(&format!("{leaf} = "), &format!("{} ", option(&fault.key)))
    };
    let mut wrong = faults.iter().filter(|fault| fault.code() != "job.open");
    let Some(chief) = wrong.next() else {
        return Ok(());
    };
    let notice = AppError::refused(
        chief.code(),
        format!("{}: {}", option(&chief.key), chief.problem),
    );
    let notice = notice
        .with_fact(
            option(&chief.key),
            if chief.found.is_empty() {
                "not given".to_owned()
            } else {
                chief.found.clone()
            },
        )
        .with_hint(hint(chief));
    Err(wrong.fold(notice, |notice, fault| {
        notice.with_fact(
            option(&fault.key),
            format!("{} [{}]; {}", fault.problem, fault.code(), hint(fault)),
        )
    }))
}

/// Writes the JSON Schema that the job names, so that an editor checks it without a network. One of another haulm is renewed; a file that haulm did not
/// make is left alone.
fn write_schema(
    folder: &Path,
    findings: &mut Vec<Finding>,
) -> Result<Option<(String, u64)>, AppError> {
    let place = folder.join(SCHEMA_FILE);
    let text = schema()?;
    let there = fs_err::read_to_string(&place).ok();
    if there.as_ref() == Some(&text) {
        return Ok(None);
    }
    let is_ours = there.is_some_and(|there| there.contains("\"title\": \"haulm "));
    if !is_ours && place.exists() {
        findings.push(Finding::note(
            codes::NEW_SCHEMA,
            format!("{SCHEMA_FILE} is there and not haulm's: it stays, and an editor checks the job by it; haulm keys --schema prints haulm's own"),
        ));
        return Ok(None);
    }
    write(&place, &text, is_ours)?;
    Ok(Some((place.display().to_string(), text.len() as u64)))
}

/// Writes the file whole or not at all: beside its place, then renamed.
fn write(job: &Path, text: &str, overwrite: bool) -> Result<(), AppError> {
    let unwritable = |error: &io::Error| {
        AppError::refused("job.unwritable", "the job file cannot be written")
            .with_fact(job.display().to_string(), error.to_string())
            .with_hint("check that its folder exists and may be written to")
    };
    let folder = job
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or_else(|| Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".haulm-new-");
    // As any file of the user, not closed to everybody else as temporary files are; the process's mask still holds.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder
        .tempfile_in(folder)
        .map_err(|error| unwritable(&error))?;
    file.write_all(text.as_bytes())
        .and_then(|()| file.as_file().sync_all())
        .map_err(|error| unwritable(&error))?;
    // Without leave to replace, a file that came meanwhile is left alone.
    let done = if overwrite {
        file.persist(job)
    } else {
        file.persist_noclobber(job)
    };
    done.map(|_| ()).map_err(|error| unwritable(&error.error))
}

fn report(
    request: &NewRequest,
    prepared: &Prepared,
    schema: Option<(String, u64)>,
    findings: Vec<Finding>,
) -> Report {
    let Prepared {
        first,
        raster,
        is_product,
        strips,
        ..
    } = prepared;
    let is_product = *is_product;
    let named = bands_of(&descriptions(raster)).unwrap_or_default();
    let bands: Vec<String> = named
        .iter()
        .map(|(name, number)| {
            if is_product {
                (*name).to_owned()
            } else {
                format!("{name} {number}")
            }
        })
        .collect();
    let lattice = &raster.lattice;
    let mut rows = vec![
        Row::new("boundary", request.boundary.display().to_string()),
        Row::new("image", request.raster.display().to_string()).with_note(format!(
            "{} × {} pixels, {} bands, {}",
            lattice.cols,
            lattice.rows,
            raster.bands.len(),
            lattice.crs
        )),
        Row::new(
            "bands",
            if bands.is_empty() {
                "not named".to_owned()
            } else {
                bands.join(", ")
            },
        )
        .with_note(if is_product {
            "by the product's own names"
        } else if is_by_colour(raster) {
            "by the file's colour interpretation: check them"
        } else {
            "as the file describes them; none is guessed"
        }),
    ];
    if let (Some(path), Some(count)) = (&request.strips, strips) {
        rows.push(
            Row::new("strips", path.display().to_string()).with_note(format!("{count} feature(s)")),
        );
    }
    let mut blocks = vec![Block::rows("Read", rows)];
    let option = |key: &str| {
        OPTIONS
            .iter()
            .find(|(name, _)| *name == key)
            .map_or_else(String::new, |(_, option)| {
                format!("or run again with {option}")
            })
    };
    if !first.open.is_empty() {
        let rows = first
            .open
            .iter()
            .map(|key| Row::new(key.clone(), "TODO").with_note(option(key)))
            .collect();
        blocks.push(Block::rows(
            "Still to be filled in; the comment beside each says what and why",
            rows,
        ));
    }
    if !first.assumed.is_empty() {
        let rows = first
            .assumed
            .iter()
            .map(|key| Row::new(key.clone(), "ASSUMED").with_note(option(key)))
            .collect();
        blocks.push(Block::rows("Assumed on the safe side, to be checked", rows));
    }
    let shown = request.job.display().to_string();
    let next = if first.open.is_empty() {
        format!("haulm check {shown}")
    } else {
        format!("fill in the values marked TODO, then: haulm check {shown}")
    };
    let mut next = vec![next];
    if first.open.iter().any(|key| key == "response.yield_curve") {
        let crop = request.crop.as_deref().unwrap_or("CROP");
        next.push(format!(
            "without a curve of your own, compare the methods: haulm methods --crop \"{crop}\"; then haulm new again with --method"
        ));
    }
    blocks.push(Block::text("Next", next));
    Report {
        title: format!("First job file written: {shown}"),
        brief: None,
        blocks,
        json: json!({ "job": shown, "open": first.open, "assumed": first.assumed, "bands": named.iter().map(|(name, number)| json!({ "name": name, "band": number })).collect::<Vec<_>>() }),
        findings,
        files: std::iter::once((shown, first.text.len() as u64))
            .chain(schema)
            .collect(),
        stopped: false,
    }
}
