//! Checks anybody's prescription map against the field and the machine, and repairs what is safe to repair.

mod ask;
mod repair;
mod report;
mod several;

use std::io::Write as _;
use std::path::{Path, PathBuf};

use geo::MultiPolygon;
use serde_json::json;

use crate::app::error::AppError;
use crate::app::open;
use crate::app::requests::Common;
use crate::app::rights::Rights;
use crate::format::maps;
use crate::format::maps::MapError;
use crate::map::faults;
use crate::map::faults::repair::{Asked, Keeps};
use crate::report::model::Report;
use crate::space::crs::{Crs, Projector};
use crate::space::polygon::joined;
use crate::space::repair::{Repaired, repaired, widest};

/// What to check, and against what; amounts as the user wrote them.
#[derive(Clone, Debug, Default)]
pub struct CheckMapRequest {
    /// The map.
    pub map: PathBuf,
    /// Layer of it, of files with several; of task data the task, by id or name. Without it every task with a map is checked.
    pub layer: Option<String>,
    /// Column of the rates.
    pub rate_column: Option<String>,
    /// What the rates are: `kg N/ha`, `L/ha`.
    pub unit: Option<String>,
    /// Product of the shipped table.
    pub product: Option<String>,
    /// The field.
    pub boundary: Option<PathBuf>,
    /// Ground that must get nothing.
    pub exclude: Vec<PathBuf>,
    /// By how much it grows.
    pub exclude_buffer: Option<String>,
    /// Working width.
    pub machine_width: Option<String>,
    /// Least rate that the machine holds.
    pub minimum: Option<String>,
    /// Greatest rate that it holds.
    pub maximum: Option<String>,
    /// Most nitrogen that may be spread.
    pub nitrogen_limit: Option<String>,
    /// Where a layer of faults goes.
    pub faults: Option<PathBuf>,
    /// Where a repaired copy goes.
    pub repair: Option<PathBuf>,
    /// Gaps narrower than this go to a neighbour in the repaired copy.
    pub close_gaps: Option<String>,
    /// Which zone keeps the ground of an overlap in the repaired copy; overlaps stay when not given.
    pub cut_overlaps: Option<Keeps>,
    /// Whether a polygon that crosses itself is split into its loops in the repaired copy.
    pub split_bowties: bool,
    /// Whether files that are there may be replaced.
    pub overwrite: bool,
    /// What every command may be told.
    pub common: Common,
}

impl CheckMapRequest {
    /// What a check may read and write: the map, what it is held against, and the files that were asked for.
    fn rights(&self) -> Rights {
        let read: Vec<PathBuf> = std::iter::once(&self.map)
            .chain(&self.boundary)
            .chain(&self.exclude)
            .cloned()
            .collect();
        let written: Vec<PathBuf> = self.faults.iter().chain(&self.repair).cloned().collect();
        Rights::of(&read, &written, Path::new(""))
    }
}

impl From<MapError> for AppError {
    fn from(error: MapError) -> Self {
        let (code, hint) = match &error {
            MapError::Missing { .. } => ("file.missing", "check the name"),
            MapError::TooLarge { .. } => (
                "map.size",
                "a prescription map is far smaller: check that it is one",
            ),
            MapError::Ending { .. } => (
                "map.ending",
                "give a .shp, .geojson, .gpkg, .fgb, .kml, .kmz or .tif, or task data as folder, TASKDATA.XML or .zip",
            ),
            MapError::Unreadable { .. } => (
                "map.unreadable",
                "copy or export it again: it may be cut off, or not be what its ending says",
            ),
            MapError::Layer { .. } | MapError::Task { .. } => {
                ("map.layer", "choose one with --layer, a task by its id")
            }
            MapError::Archive { .. } => (
                "map.archive",
                "unpack it by other means if you trust it, and give the folder",
            ),
            MapError::Place { .. } => (
                "map.place",
                "move or delete that vertex in a GIS, or state the system that the coordinates are in",
            ),
            MapError::Changed { .. } => (
                "file.changed",
                "let the program that writes it finish, and run again",
            ),
            MapError::Write { .. } => ("map.write", "try another format"),
        };
        Self::refused(code, error.to_string()).with_hint(hint)
    }
}

/// Checks a map.
///
/// # Errors
/// When map, boundary or exclusions cannot be read at all, an amount is refused, or a file that was asked for cannot be written. Faults of the map are no errors.
pub fn check_map(request: &CheckMapRequest) -> Result<Report, AppError> {
    for path in [&request.faults, &request.repair].into_iter().flatten() {
        repair::writable(path, request.overwrite)?;
    }
    let options = maps::ReadOptions {
        layer: request.layer.clone(),
        rate_column: request.rate_column.clone(),
        meaning: ask::meaning(request)?,
        explained: true,
    };
    let rights = request.rights();
    rights.give_up_others(&request.common)?;
    let reading = rights.reading();
    let mut set = reading.apart(&request.common, || maps::read_all(&request.map, &options))?;
    let map = match set.maps.pop() {
        Some(map) if set.maps.is_empty() => map,
        last => {
            set.maps.extend(last);
            return several::check(request, set, &reading);
        }
    };
    let boundary = match &request.boundary {
        Some(path) => Some(reading.apart(&request.common, || ground(path, repaired))?),
        None => map.boundary.clone(),
    };
    let exclusions = reading.apart(&request.common, || exclusions(request))?;
    let against = ask::against(request, &map, boundary, exclusions)?;
    let verdict = faults::check(&map, &against);
    let mut files = Vec::new();
    if let Some(path) = &request.faults {
        files.extend(repair::write_faults(
            path,
            &map.system,
            &verdict.faults,
            request.overwrite,
        )?);
    }
    let mut repair = None;
    let asked = Asked {
        gaps: ask::length("--close-gaps", request.close_gaps.as_ref())?,
        overlaps: request.cut_overlaps,
        bowties: request.split_bowties,
    };
    if let Some(path) = &request.repair {
        let (repaired, written) = repair::write_repair(
            path,
            &map,
            &request.map,
            against.boundary.as_ref(),
            &asked,
            request.overwrite,
        )?;
        files.extend(written);
        repair = Some(repaired);
    }
    Ok(report::report(
        request,
        &map,
        &against,
        &verdict,
        repair.as_ref(),
        files,
    ))
}

/// Ground that must get nothing, in WGS 84.
fn exclusions(request: &CheckMapRequest) -> Result<Vec<MultiPolygon<f64>>, AppError> {
    request
        .exclude
        .iter()
        .map(|path| ground(path, widest))
        .collect()
}

/// Polygons of a file as one, in WGS 84: a boundary read narrowly, exclusions widely.
pub(crate) fn ground(
    path: &Path,
    read: fn(&MultiPolygon<f64>) -> Repaired,
) -> Result<MultiPolygon<f64>, AppError> {
    let layer = open::areas(path, None, None)?;
    let failed = |error: crate::space::crs::CrsError| {
        AppError::refused(
            "plane.transformation",
            "the ground cannot be transformed to longitude and latitude",
        )
        .with_fact(path.display().to_string(), error.to_string())
        .with_hint("check its reference system")
    };
    let shapes: Vec<MultiPolygon<f64>> = layer
        .shapes
        .iter()
        .map(|shape| read(&shape.geometry).polygon)
        .collect();
    let whole = joined(&shapes);
    Projector::new(&layer.crs, &Crs::wgs84())
        .and_then(|way| way.geometry(&whole))
        .map_err(failed)
}

/// Writes a file whole or not at all: beside its place, then renamed.
fn write(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(String, u64), AppError> {
    let unwritable = |error: &std::io::Error| {
        AppError::refused("output.unwritable", "the file cannot be written")
            .with_fact(path.display().to_string(), error.to_string())
            .with_hint("check that its folder exists and may be written to; --overwrite replaces a file that is there")
    };
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or_else(|| Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".haulm-check-");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder
        .tempfile_in(folder)
        .map_err(|error| unwritable(&error))?;
    file.write_all(bytes)
        .and_then(|()| file.as_file().sync_all())
        .map_err(|error| unwritable(&error))?;
    let done = if overwrite {
        file.persist(path)
    } else {
        file.persist_noclobber(path)
    };
    done.map_err(|error| unwritable(&error.error))?;
    Ok((path.display().to_string(), bytes.len() as u64))
}

/// The value of a fault in JSON.
fn fault_json(fault: &faults::fault::Fault, lonlat: Option<&Projector>) -> serde_json::Value {
    let sizes: Vec<_> = fault
        .sizes
        .iter()
        .map(|size| json!({ "value": size.value, "unit": size.unit }))
        .collect();
    let place = fault.at.and_then(|at| lonlat?.point(at.x, at.y).ok());
    json!({
        "code": fault.code,
        "severity": fault.severity.word(),
        "place": { "what": fault.place.what, "number": fault.place.number, "name": fault.place.name },
        "at": fault.at.map(|at| [at.x, at.y]),
        "lonlat": place.map(|(x, y)| [x, y]),
        "sizes": sizes,
        "message": fault.message,
    })
}
