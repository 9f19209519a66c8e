//! `new`: a commented first job file from what boundary and image say themselves.

use std::io;
use std::io::Write as _;
use std::path::{Component, Path, PathBuf};

use crate::app::api::NewRequest;
use crate::app::error::AppError;
use crate::app::image_source::described;
use crate::app::job::resolve::map_job;
use crate::app::keys::schema;
use crate::app::map::set_up;
use crate::app::new_job::{FirstJob, Known, SCHEMA_FILE, bands_of, first_job};
use crate::app::open::{refuse_network, refuse_onto};
use crate::app::rights::Rights;
use crate::finding::{Finding, codes};
use crate::format::raster::RasterFacts;
use crate::format::raster::product::into_archive;
use crate::format::vector::read_polygons;
use crate::format::weather;
use crate::job::fault::{Fault, JobError};
use crate::report::model::{Block, Report, Row};
use serde_json::json;

/// Keys of the job and the options that fill them.
const OPTIONS: &[(&str, &str)] = &[
    ("imagery.date", "--date"),
    ("imagery.index", "--index"),
    ("reference.strips", "--strips"),
    ("season.crop", "--crop"),
    ("season.planted", "--planted"),
    ("season.weather", "--weather"),
    ("season.growing_days", "--weather and --planted"),
    ("response.maximum_yield", "--max-yield"),
    ("rate.maximum", "--maximum"),
    ("machine.working_width", "--working-width"),
    ("product.name", "--product"),
    ("field.name", "--name"),
];

/// Writes a commented first job file; nothing that decides a rate is guessed.
///
/// # Errors
/// When an input cannot be read, an option is refused, or the job file is there already.
pub fn new_job(request: &NewRequest) -> Result<Report, AppError> {
    let network = request.common.network;
    for path in [
        Some(&request.boundary),
        Some(&request.raster),
        request.strips.as_ref(),
        request.weather.as_ref(),
    ]
    .into_iter()
    .flatten()
    {
        refuse_network(path, network)?;
        readable(path)?;
    }
    refuse_onto(
        [&request.boundary, &request.raster]
            .into_iter()
            .chain(&request.strips)
            .chain(&request.weather),
        &request.job,
    )?;
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
    let mut findings = Vec::new();
    let folder = request
        .job
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or_else(|| Path::new("."));
    let inputs: Vec<PathBuf> = [&request.boundary, &request.raster]
        .into_iter()
        .chain(&request.strips)
        .chain(&request.weather)
        .cloned()
        .collect();
    Rights::of(&inputs, &[request.job.clone()], folder).give_up_others(&request.common);
    set_up(&request.common);
    let (raster, is_product) = described(&request.raster, folder)?;
    let boundary = read_polygons(&request.boundary, None, None)?;
    if boundary.shapes.len() > 1 {
        findings.push(Finding::caution(
            codes::BOUNDARY_SEVERAL,
            format!(
                "the boundary file holds {} features, and a field is one: choose it with where = \"...\" in field.boundary, or join them with merge = true",
                boundary.shapes.len()
            ),
        ));
    }
    let strips = request
        .strips
        .as_ref()
        .map(|path| read_polygons(path, None, None))
        .transpose()?;
    if let Some(path) = &request.weather {
        let _ = weather::read(path)?.into_log(&mut findings);
        if request.planted.is_none() {
            findings.push(Finding::caution(
                codes::SEASON_PLANTED,
                "the weather record is left out of the job: growing days are counted from planting, so give --planted too",
            ));
        }
    }
    let own_date = raster.acquired;
    if let (Some(given), Some(own)) = (request.date, own_date)
        && given != own
    {
        findings.push(Finding::caution(
            codes::IMAGE_DATE,
            format!("the image says that it was taken on {own}, not on {given}: check --date"),
        ));
    }
    let mut known = known(request, &raster, folder, request.date.or(own_date))?;
    known.product_bands = is_product;
    if let ([only], None) = (boundary.shapes.as_slice(), &request.name) {
        known.name = only.name.clone().filter(|name| !name.trim().is_empty());
    }
    if let ([band], None) = (raster.bands.as_slice(), &request.index) {
        findings.push(Finding::note(
            codes::IMAGE_ONE_BAND,
            format!("the image has a single band ({:?}): if it holds a ready index, run again with --index \"band 1\"", band.description),
        ));
    }
    let first = first_job(&known);
    check(&first, request)?;
    write(&request.job, &first.text, request.overwrite)?;
    let schema = write_schema(folder, &mut findings)?;
    Ok(report(
        request,
        &raster,
        is_product,
        &first,
        strips.map(|layer| layer.shapes.len()),
        schema,
        findings,
    ))
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
        descriptions: raster
            .bands
            .iter()
            .map(|band| {
                Some(band.description.clone()).filter(|text| !text.is_empty() && !band.alpha)
            })
            .collect(),
        strips: request.strips.as_deref().map(place).transpose()?,
        name: request.name.clone(),
        index: request.index.clone(),
        product: request.product.clone(),
        image_date,
        planted: request.planted,
        weather: request.weather.as_deref().map(place).transpose()?,
        growing_days: None,
        crop: request.crop.clone(),
        curve: None,
        maximum_yield: request.max_yield.clone(),
        maximum: request.maximum.clone(),
        working_width: request.working_width.clone(),
        product_bands: false,
        us_units: [&request.max_yield, &request.maximum, &request.working_width]
            .into_iter()
            .flatten()
            .any(|text| is_us(text)),
    })
}

/// Whether an amount is written in US units.
fn is_us(text: &str) -> bool {
    text.to_lowercase()
        .split(|c: char| !c.is_alphabetic())
        .any(|word| matches!(word, "ac" | "acre" | "acres" | "ft" | "feet" | "lb" | "bu"))
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
    let told = AppError::refused(
        chief.code(),
        format!("{}: {}", option(&chief.key), chief.problem),
    );
    let told = told
        .with_fact(
            option(&chief.key),
            if chief.found.is_empty() {
                "not given".to_owned()
            } else {
                chief.found.clone()
            },
        )
        .with_hint(hint(chief));
    Err(wrong.fold(told, |told, fault| {
        told.with_fact(
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
    raster: &RasterFacts,
    is_product: bool,
    first: &FirstJob,
    strips: Option<usize>,
    schema: Option<(String, u64)>,
    findings: Vec<Finding>,
) -> Report {
    let descriptions: Vec<Option<String>> = raster
        .bands
        .iter()
        .map(|band| Some(band.description.clone()).filter(|text| !text.is_empty()))
        .collect();
    let named = bands_of(&descriptions).unwrap_or_default();
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
            .map(|key| Row::new(*key, "TODO").with_note(option(key)))
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
            .map(|key| Row::new(*key, "ASSUMED").with_note(option(key)))
            .collect();
        blocks.push(Block::rows("Assumed on the safe side, to be checked", rows));
    }
    let shown = request.job.display().to_string();
    let next = if first.open.is_empty() {
        format!("haulm check {shown}")
    } else {
        format!("fill in the values marked TODO, then: haulm check {shown}")
    };
    blocks.push(Block::text("Next", vec![next]));
    Report {
        title: format!("First job file written: {shown}"),
        blocks,
        json: json!({ "job": shown, "open": first.open, "assumed": first.assumed, "bands": named.iter().map(|(name, number)| json!({ "name": name, "band": number })).collect::<Vec<_>>() }),
        findings,
        files: std::iter::once((shown, first.text.len() as u64))
            .chain(schema)
            .collect(),
        stopped: false,
    }
}
