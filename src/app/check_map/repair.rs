//! Files that a check leaves when asked: the layer of faults, and the repaired copy.

use std::path::Path;

use geo::{Geometry, MultiPolygon, Point};
use jiff::Timestamp;

use crate::app::check_map::write;
use crate::app::error::AppError;
use crate::format::Format;
use crate::format::iso11783::{Iso11783Error, archive, repair_task};
use crate::format::maps::{Table, TableKind, TableRow, write_table};
use crate::map::faults::fault::Fault;
use crate::map::faults::repair::{Asked, Repair, repair};
use crate::map::imported::{Attribute, ImportedMap, MapKind, System};
use crate::space::crs::{Crs, Projector};

/// Path and size of files. (bytes)
type Files = Vec<(String, u64)>;

/// Refuses a place that is taken, before anything is computed.
pub(super) fn writable(path: &Path, overwrite: bool) -> Result<(), AppError> {
    if path.exists() && !overwrite {
        return Err(
            AppError::refused("output.exists", "the file is there already")
                .with_fact(path.display().to_string(), "would be replaced")
                .with_hint("give another name, or --overwrite"),
        );
    }
    Ok(())
}

fn ending(path: &Path) -> String {
    path.extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase())
        .unwrap_or_default()
}

/// Writes faults as points and, where they take ground, as polygons.
pub(super) fn write_faults(
    path: &Path,
    system: &System,
    faults: &[Fault],
    overwrite: bool,
) -> Result<Files, AppError> {
    if ending(path) != Format::GeoPackage.ending() {
        return Err(
            AppError::refused("output.ending", "a layer of faults is a GeoPackage")
                .with_fact("--faults", path.display().to_string())
                .with_hint("end its name in .gpkg"),
        );
    }
    let columns: Vec<String> = [
        "code",
        "severity",
        "place",
        "record",
        "size",
        "size_unit",
        "text",
    ]
    .map(str::to_owned)
    .to_vec();
    let values = |fault: &Fault| {
        let size = fault.sizes.first();
        vec![
            Attribute::Text(fault.code.word().to_owned()),
            Attribute::Text(fault.severity.word().to_owned()),
            Attribute::Text(fault.place.to_string()),
            if fault.place.number > 0 {
                Attribute::Whole(i64::try_from(fault.place.number).unwrap_or(i64::MAX))
            } else {
                Attribute::Null
            },
            size.map_or(Attribute::Null, |size| Attribute::Real(size.value)),
            size.map_or(Attribute::Null, |size| {
                Attribute::Text(size.unit.to_owned())
            }),
            Attribute::Text(fault.message.clone()),
        ]
    };
    let points = faults
        .iter()
        .filter_map(|fault| {
            fault.at.map(|at| TableRow {
                shape: Some(Geometry::Point(Point(at))),
                values: values(fault),
            })
        })
        .collect();
    let ground = faults
        .iter()
        .filter_map(|fault| {
            fault.ground.clone().map(|ground| TableRow {
                shape: Some(Geometry::MultiPolygon(ground)),
                values: values(fault),
            })
        })
        .collect();
    let tables = [
        Table {
            name: "faults".to_owned(),
            columns: columns.clone(),
            rows: points,
        },
        Table {
            name: "fault_ground".to_owned(),
            columns,
            rows: ground,
        },
    ];
    let crs = system.known().cloned().unwrap_or_else(Crs::wgs84);
    let mut files = Vec::new();
    for (_, bytes) in write_table(&tables, TableKind::GeoPackage, &crs)? {
        files.push(write(path, &bytes, overwrite)?);
    }
    Ok(files)
}

/// Whether a repaired copy is to be task data again.
fn is_task_copy(path: &Path, map: &ImportedMap) -> bool {
    matches!(map.kind, MapKind::TaskData(_)) && matches!(ending(path).as_str(), "" | "zip")
}

/// Writes a repaired copy of task data: a folder, or a zip.
fn write_task(
    path: &Path,
    from: &Path,
    task: Option<&str>,
    field: Option<&MultiPolygon<f64>>,
    overwrite: bool,
) -> Result<(Repair, Files), AppError> {
    let repaired = repair_task(from, task, field)?;
    let mut files = Vec::new();
    if ending(path) == "zip" {
        let refused = |error: Iso11783Error| {
            AppError::refused("map.write", error.to_string())
                .with_hint("give a folder instead of a .zip")
        };
        // The earliest date that an archive can hold: the same copy on any day.
        let instant = Timestamp::from_second(315_532_800).unwrap_or(Timestamp::UNIX_EPOCH);
        files.push(write(
            path,
            &archive(&repaired.files, instant).map_err(refused)?,
            overwrite,
        )?);
    } else {
        for file in &repaired.files {
            let place = path.join(&file.path);
            let folder = place.parent().unwrap_or(path);
            fs_err::create_dir_all(folder).map_err(|error| {
                let notice = AppError::refused("output.unwritable", "the folder cannot be made")
                    .with_fact(folder.display().to_string(), error.to_string());
                notice.with_hint("check that its parent may be written to")
            })?;
            files.push(write(&place, &file.bytes, overwrite)?);
        }
    }
    Ok((
        Repair {
            done: repaired.done,
            left: repaired.left,
            ..Repair::default()
        },
        files,
    ))
}

/// Writes a repaired copy, and says what was done. Task data are repaired from their own files, `from`, and against the field, when it is known.
pub(super) fn write_repair(
    path: &Path,
    map: &ImportedMap,
    from: &Path,
    field: Option<&MultiPolygon<f64>>,
    asked: &Asked,
    overwrite: bool,
) -> Result<(Repair, Files), AppError> {
    if is_task_copy(path, map) {
        return write_task(path, from, map.part.as_deref(), field, overwrite);
    }
    let kind = match Format::of_ending(&ending(path)) {
        Some(Format::GeoPackage) => TableKind::GeoPackage,
        Some(Format::GeoJson) => TableKind::GeoJson,
        Some(Format::Shapefile) => TableKind::Shapefile,
        _ => {
            let notice = AppError::refused(
                "output.ending",
                "repaired copies are written as GeoPackage, GeoJSON or shapefile, those of task data as a folder or zip",
            );
            return Err(notice
                .with_fact("--repair", path.display().to_string())
                .with_hint(
                    "end its name in .gpkg, .geojson or .shp; for task data in .zip or nothing",
                ));
        }
    };
    if map.lattice.is_some() || map.patches.is_empty() {
        return Err(AppError::refused("repair.grid", "only maps of polygons, and task data, are repaired; this is a grid")
            .with_hint("give task data a folder or a .zip; a raster has nothing to repair but its rates, which are yours to say"));
    }
    let System::Known(crs) = &map.system else {
        let notice = AppError::refused(
            "repair.system",
            "the map states no reference system, so a copy would be as lost as it is",
        );
        return Err(notice
            .with_hint("state its reference system first (a .prj file, or an export from a GIS)"));
    };
    let repaired = repair(map, asked, field);
    let target = if kind == TableKind::GeoPackage {
        crs.clone()
    } else {
        Crs::wgs84()
    };
    let failed = |error: crate::space::crs::CrsError| {
        AppError::refused(
            "plane.transformation",
            "a point cannot be transformed to WGS 84",
        )
        .with_fact("the map", error.to_string())
    };
    let way = Projector::new(crs, &target).map_err(failed)?;
    let mut columns = map.columns.clone();
    if kind == TableKind::Shapefile {
        columns = columns
            .iter()
            .map(|name| name.chars().take(10).collect())
            .collect();
    }
    let mut rows = Vec::new();
    for row in &repaired.rows {
        let carried = way.geometry(&row.polygon).map_err(failed)?;
        let shape = if kind == TableKind::GeoPackage {
            Geometry::MultiPolygon(MultiPolygon::new(vec![carried]))
        } else {
            Geometry::Polygon(carried)
        };
        let value = |name: &String| {
            row.attributes
                .iter()
                .find(|(own, _)| own == name)
                .map_or(Attribute::Null, |(_, value)| value.clone())
        };
        rows.push(TableRow {
            shape: Some(shape),
            values: map.columns.iter().map(value).collect(),
        });
    }
    let name = path.file_stem().map_or_else(
        || "zones".to_owned(),
        |stem| stem.to_string_lossy().into_owned(),
    );
    let name = if kind == TableKind::GeoPackage {
        "zones".to_owned()
    } else {
        name
    };
    let mut files = Vec::new();
    for (side, bytes) in write_table(
        &[Table {
            name,
            columns,
            rows,
        }],
        kind,
        &target,
    )? {
        let file = if kind == TableKind::Shapefile {
            path.with_extension(side)
        } else {
            path.to_owned()
        };
        files.push(write(&file, &bytes, overwrite)?);
    }
    Ok((repaired, files))
}
