//! `convert`: anybody's prescription map in another format, product or unit; with a statement of what was lost, measured on the file that was written.

mod lost;
mod place;
pub(crate) mod words;

use std::path::{Path, PathBuf};

use crate::app::check_map::ground;
use crate::app::convert::lost::lost;
use crate::app::convert::place::Target;
use crate::app::error::AppError;
use crate::app::open::{refuse_network, refuse_onto};
use crate::app::requests::Common;
use crate::app::rights::Rights;
use crate::app::setup::set_up;
use crate::finding::{Finding, codes};
use crate::format::maps::{MapError, ReadOptions};
use crate::format::{Archive, Format, WriteOptions, Written, iso11783, maps};
use crate::map::export::ExportMap;
use crate::map::imported::{ImportedMap, Meaning};
use crate::map::rate_map::{Converted, RateMap, Requirements, Tally, of_imported};
use crate::map::task_options::TaskOptions;
use crate::report::model::{Block, Column, Report, Row, Table};
use crate::space::crs::{Crs, Projector};
use crate::space::repair::repaired;
use jiff::Timestamp;
use serde_json::json;

/// How far total and area may move before it is a caution. \[share\]
const TOLERANCE: f64 = 0.005;

/// What to convert, and into what; amounts and names as the user wrote them.
#[derive(Clone, Debug)]
pub struct ConvertRequest {
    /// The map.
    pub map: PathBuf,
    /// The format.
    pub to: Format,
    /// File (or, for task data, folder or `.zip`) to write; named after the map in the working folder when not given.
    pub output: Option<PathBuf>,
    /// Layer of a file with several.
    pub layer: Option<String>,
    /// Column that holds the rates.
    pub rate_column: Option<String>,
    /// What the map's rates are, over what the file says: `kg N/ha`, `L/ha`, …
    pub unit: Option<String>,
    /// Product that the map holds.
    pub product: Option<String>,
    /// Unit to turn the rates into.
    pub to_unit: Option<String>,
    /// Product to turn them into.
    pub to_product: Option<String>,
    /// Field boundary to write, instead of the map's own.
    pub boundary: Option<PathBuf>,
    /// What the machine spreads before it knows where it is, as an amount.
    pub on_start: Option<String>,
    /// What it spreads when it has lost its position.
    pub position_lost: Option<String>,
    /// What it spreads outside the field.
    pub outside: Option<String>,
    /// How task data hold the map.
    pub task: TaskOptions,
    /// Side of a cell or pixel, with unit.
    pub cell: Option<String>,
    /// Whether files that are there may be replaced.
    pub overwrite: bool,
    /// What every command may be told.
    pub common: Common,
}

/// Converts a map.
///
/// The file is written beside its place, read back by the reader that any map goes through, measured against the source, and only then moved into place.
///
/// # Errors
/// When the map cannot be read or says too little, the format cannot hold it, or the files cannot be written.
pub fn convert(request: &ConvertRequest) -> Result<Report, AppError> {
    refuse_network(&request.map, request.common.network)?;
    let target = Target::of(request)?;
    let main = target.main(request.to);
    refuse_onto([&request.map], &main)?;
    let named: Vec<PathBuf> = std::iter::once(&request.map)
        .chain(&request.boundary)
        .cloned()
        .collect();
    let rights = Rights::of(&named, &[main], Path::new(""));
    rights.give_up_others(&request.common)?;
    let reading = rights.reading();
    set_up(&request.common);
    let stated_measure = request
        .unit
        .as_deref()
        .map(|word| words::measure(word, "--unit"))
        .transpose()?;
    let requirements = Requirements {
        stated: stated_measure,
        measure: request
            .to_unit
            .as_deref()
            .map(|word| words::measure(word, "--to-unit"))
            .transpose()?,
        holds: request
            .product
            .as_deref()
            .map(|name| words::product(name, "--product"))
            .transpose()?,
        gets: request
            .to_product
            .as_deref()
            .map(|name| words::product(name, "--to-product"))
            .transpose()?,
    };
    let cell = request.cell.as_deref().map(words::cell).transpose()?;
    let meaning = stated_measure.map(|stated| Meaning {
        quantity: stated.quantity,
        unit: Some(stated.unit),
        wording_by: "--unit".to_owned(),
    });
    let options = ReadOptions {
        layer: request.layer.clone(),
        rate_column: request.rate_column.clone(),
        meaning,
        explained: false,
    };
    let imported = reading.apart(&request.common, || maps::read(&request.map, &options));
    let imported = imported.map_err(|error| {
        if matches!(error, MapError::Place { .. } | MapError::Changed { .. }) {
            return AppError::from(error);
        }
        AppError::refused("map.unreadable", error.to_string())
            .with_causes(&error)
            .with_hint("give a shapefile, GeoJSON, GeoPackage, FlatGeobuf, KML, raster of rates or task data")
    })?;
    let mut findings: Vec<Finding> = imported
        .oddities
        .iter()
        .filter(|fault| fault.code == codes::TASK_SEVERAL && request.layer.is_none())
        .map(|fault| {
            let text = format!("{} alone; --layer names another", fault.message);
            Finding::caution(codes::TASK_SEVERAL, text)
        })
        .collect();
    let converted = of_imported(&imported, &requirements)
        .map_err(|error| words::refused(&error, &request.map))?
        .into_log(&mut findings);
    let mut map = converted.map.clone();
    if map.name.trim().is_empty() {
        map.name.clone_from(&target.name);
    }
    reading.apart(&request.common, || stated(request, &mut map))?;
    let written = files(&map, request, &target, cell, &mut findings)?;
    let staged = target.stage(&written.files, request.overwrite)?;
    let back = read_back(&staged.main, &map)?;
    let before = map.tally();
    let after = measured(&back, &map)?;
    judge(&before, &after, &map, &mut findings);
    let file_sizes = staged.commit(request.overwrite)?;
    let lost = lost(&imported, &converted, &written, request);
    Ok(report(
        request, &imported, &converted, &before, &after, lost, findings, file_sizes,
    ))
}

/// Puts what the user states beside the zones: boundary, and rates that a terminal falls back to.
fn stated(request: &ConvertRequest, map: &mut RateMap) -> Result<(), AppError> {
    if let Some(path) = &request.boundary {
        refuse_network(path, request.common.network)?;
        let lonlat = ground(path, repaired)?;
        let way = Projector::new(&Crs::wgs84(), &map.system);
        let boundary = way.and_then(|way| way.geometry(&lonlat)).map_err(|error| {
            AppError::refused("plane.transformation", "the boundary cannot be reprojected")
                .with_fact(path.display().to_string(), error.to_string())
                .with_hint("check its reference system")
        })?;
        map.boundary = Some(boundary);
    }
    let measure = map.measure;
    let rate = |option: &'static str, text: &Option<String>| {
        text.as_deref()
            .map(|text| words::amount_in(text, option, measure, map.product.as_ref()))
            .transpose()
    };
    let (on_start, position_lost, outside) = (
        rate("--on-start", &request.on_start)?,
        rate("--position-lost", &request.position_lost)?,
        rate("--outside", &request.outside)?,
    );
    let fallbacks = &mut map.fallbacks;
    fallbacks.on_start = on_start.or(fallbacks.on_start);
    fallbacks.position_lost = position_lost.or(fallbacks.position_lost);
    fallbacks.outside = outside.or(fallbacks.outside);
    Ok(())
}

/// Date in files that demand one: the source has none that could be trusted.
fn instant() -> Timestamp {
    let epoch = std::env::var("SOURCE_DATE_EPOCH")
        .ok()
        .and_then(|text| text.parse::<i64>().ok())
        .and_then(|s| Timestamp::from_second(s).ok());
    // 1980-01-01, the earliest that an archive can hold.
    epoch
        .or_else(|| Timestamp::from_second(315_532_800).ok())
        .unwrap_or(Timestamp::UNIX_EPOCH)
}

fn files(
    map: &RateMap,
    request: &ConvertRequest,
    target: &Target,
    cell_m: Option<f64>,
    findings: &mut Vec<Finding>,
) -> Result<Written, AppError> {
    let (folder, archive) = (String::new(), format!("{}.zip", target.name));
    let options = WriteOptions {
        name: if request.to == Format::Iso11783 {
            &folder
        } else {
            &target.name
        },
        instant: instant(),
        cell_m,
        task: request.task,
        grid: None,
        archive: target.zipped.then_some(Archive {
            path: &archive,
            beside_files: false,
        }),
    };
    let written = request
        .to
        .rules()
        .write(&ExportMap::of_rate_map(map), &options);
    let written = written.map_err(|error| {
        AppError::refused("convert.format", error.to_string())
            .with_causes(&error)
            .with_hint("look at the map with haulm check, or take another format with --to")
    })?;
    Ok(written.into_log(findings))
}

/// The written map as any reader gets it; a fault of haulm if it cannot be read.
fn read_back(main: &std::path::Path, map: &RateMap) -> Result<RateMap, AppError> {
    let fault = |error: &dyn std::error::Error| {
        AppError::fault(
            "convert.read_back",
            "the file that was made cannot be read back; nothing was written",
        )
        .with_fact("made file", error.to_string())
    };
    let imported = maps::read(main, &ReadOptions::default()).map_err(|error| fault(&error))?;
    let requirements = Requirements {
        holds: map.product.clone(),
        ..Requirements::default()
    };
    Ok(of_imported(&imported, &requirements)
        .map_err(|error| fault(&error))?
        .value
        .map)
}

/// Size of the written map in the measure of the plain one; a grid is measured on the ground that the source's zones cover.
fn measured(back: &RateMap, map: &RateMap) -> Result<Tally, AppError> {
    let factor = back
        .measure
        .factor(map.measure, map.product.as_ref(), map.product.as_ref());
    let factor = factor.map_err(|error| {
        AppError::fault(
            "convert.read_back",
            "the file that was made says another measure; nothing was written",
        )
        .with_fact("made file", error.to_string())
    })?;
    let own = back.tally();
    let mut tally = Tally {
        total: own.total * factor * map.measure.areas_of(own.area_m2)
            / back.measure.areas_of(own.area_m2),
        minimum: own.minimum * factor,
        maximum: own.maximum * factor,
        ..own
    };
    if let Some(lattice) = &back.lattice {
        let ground = iso11783::on_ground(map, lattice, &back.system).map_err(|error| {
            AppError::fault(
                "convert.read_back",
                "the grid that was made cannot be measured",
            )
            .with_fact("made file", error.to_string())
        })?;
        (tally.area_m2, tally.total) = (ground.0, map.measure.areas_of(ground.1 * factor));
    }
    Ok(tally)
}

fn judge(before: &Tally, after: &Tally, map: &RateMap, findings: &mut Vec<Finding>) {
    let off = |a: f64, b: f64| if a == b { 0.0 } else { b / a - 1.0 };
    let (area, total) = (
        off(before.area_m2, after.area_m2),
        off(before.total, after.total),
    );
    if area.abs() > TOLERANCE {
        let unit = map.measure.area_label();
        let message = format!(
            "the written map covers {:.4} {unit}, the source {:.4} {unit} ({:+.2} %)",
            map.measure.areas_of(after.area_m2),
            map.measure.areas_of(before.area_m2),
            100.0 * area
        );
        findings.push(Finding::caution(codes::CONVERT_AREA, message));
    }
    if total.is_nan() || total.abs() > TOLERANCE {
        let unit = map.measure.total_label();
        let message = format!(
            "the written map puts out {:.2} {unit}, the source {:.2} {unit} ({:+.2} %): order by what the machine is given",
            after.total,
            before.total,
            100.0 * total
        );
        findings.push(Finding::caution(codes::CONVERT_TOTAL, message));
    }
}

#[expect(
    clippy::too_many_arguments,
    reason = "the parts of one report, put together in one place"
)]
fn report(
    request: &ConvertRequest,
    imported: &ImportedMap,
    converted: &Converted,
    before: &Tally,
    after: &Tally,
    lost: Vec<String>,
    findings: Vec<Finding>,
    files: Vec<(String, u64)>,
) -> Report {
    let measure = converted.map.measure;
    let (unit, total) = (measure.label(), measure.total_label());
    let mut rows = vec![
        Row::new("from", imported.kind.name()).with_note(request.map.display().to_string()),
        Row::new("to", request.to.word()).with_note(if request.to == Format::Iso11783 {
            format!(
                "version {}, {}",
                request.task.version.word(),
                request.task.kind.word()
            )
        } else {
            String::new()
        }),
        Row::new("rates", unit).with_note(
            if converted.factor == 1.0 && converted.source == measure {
                format!("as in the source: {}", imported.meaning.wording_by)
            } else {
                format!("{} × {:.6}", converted.source.label(), converted.factor)
            },
        ),
    ];
    if let Some(product) = &converted.map.product {
        let density = product
            .kg_per_l()
            .map_or_else(String::new, |density| format!(", {density} kg/L"));
        rows.push(Row::new("product", product.name()).with_note(format!(
            "{} % N{density}",
            (product.nitrogen() * 10_000.0).round() / 100.0
        )));
    }
    let line = |what: &str, a: f64, b: f64, digits: usize| {
        let share = if a == 0.0 {
            String::new()
        } else {
            format!("{:+.3} %", 100.0 * (b / a - 1.0))
        };
        vec![
            what.to_owned(),
            format!("{a:.digits$}"),
            format!("{b:.digits$}"),
            share,
        ]
    };
    let table = Table {
        columns: vec![
            Column::left(""),
            Column::right("source"),
            Column::right("written"),
            Column::right("change"),
        ],
        rows: vec![
            vec![
                "zones".to_owned(),
                before.zones.to_string(),
                after.zones.to_string(),
                String::new(),
            ],
            line(
                &format!("area, {}", measure.area_label()),
                measure.areas_of(before.area_m2),
                measure.areas_of(after.area_m2),
                4,
            ),
            line(&format!("total, {total}"), before.total, after.total, 2),
            line(
                &format!("minimum rate, {unit}"),
                before.minimum,
                after.minimum,
                2,
            ),
            line(
                &format!("maximum rate, {unit}"),
                before.maximum,
                after.maximum,
                2,
            ),
        ],
    };
    let tally = |tally: &Tally| json!({ "zones": tally.zones, "area_m2": tally.area_m2, "total": tally.total, "least": tally.minimum, "greatest": tally.maximum });
    let json = json!({
        "map": request.map.display().to_string(),
        "from": imported.kind.name(),
        "to": request.to.word(),
        "task_data": (request.to == Format::Iso11783).then(|| json!({ "version": request.task.version.word(), "kind": request.task.kind.word() })),
        "unit": unit,
        "total_unit": total,
        "factor": converted.factor,
        "product": converted.map.product_name,
        "source": tally(before),
        "written": tally(after),
        "lost": lost,
    });
    let lost = if lost.is_empty() {
        vec!["nothing".to_owned()]
    } else {
        lost
    };
    Report {
        title: format!("{} converted", converted.map.name),
        brief: None,
        blocks: vec![
            Block::rows("Map", rows),
            Block::table("Measured on the file that was written", table),
            Block::text("Lost or changed on the way", lost),
        ],
        json,
        findings,
        files,
        stopped: false,
    }
}
