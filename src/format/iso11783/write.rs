//! The files of a task set.

use std::borrow::Cow;
use std::io::Write as _;

use crate::finding::{Checked, Finding, codes};
use crate::format::WriteOptions;
use crate::format::iso11783::channel::Channel;
use crate::format::iso11783::error::Iso11783Error;
use crate::format::iso11783::grid::grid_of;
use crate::format::iso11783::lattice::Lattice;
use crate::format::iso11783::zone_list::ZoneOnGround;
use crate::format::iso11783::{xml, zone_list};
use crate::format::payload::Payload;
use crate::map::export::ExportMap;
use crate::map::imported::Quantity;
use crate::map::task_options::TaskKind;
use crate::space::crs::{Crs, Projector};
use crate::space::polygon::joined;
use geo::MultiPolygon;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

/// Folder and main file as the standard spells them, case and all.
const MAIN_FILE: &str = "TASKDATA/TASKDATA.XML";

/// What a task holds besides its head.
pub(super) enum Body {
    /// Grid of type 2: a value a cell.
    Rates {
        /// The grid.
        lattice: Lattice,
        /// Values, row by row from the south.
        values: Vec<i32>,
    },
    /// Grid of type 1: a zone code a cell.
    Codes {
        /// The grid.
        lattice: Lattice,
        /// The zones that the codes name.
        zones: Vec<ZoneOnGround>,
        /// Codes, row by row from the south.
        codes: Vec<u8>,
    },
    /// Zones with polygons.
    Polygons(Vec<ZoneOnGround>),
}

impl Body {
    /// A grid of rates, as one type or the other.
    fn of_grid(
        lattice: Lattice,
        rates: &[f64],
        kind: TaskKind,
        channel: &Channel,
    ) -> Result<Self, Iso11783Error> {
        if kind == TaskKind::Zones {
            let (zones, codes) = zone_list::of_cells(rates, lattice.cols, channel)?;
            return Ok(Self::Codes {
                lattice,
                zones,
                codes,
            });
        }
        let what = |cell: usize| {
            format!(
                "of grid row {}, column {}",
                cell / lattice.cols,
                cell % lattice.cols
            )
        };
        let values = rates
            .iter()
            .enumerate()
            .map(|(cell, rate)| channel.integer(*rate, || what(cell)))
            .collect::<Result<_, _>>()?;
        Ok(Self::Rates { lattice, values })
    }

    /// The grid's file: signed 32-bit little-endian integers or bytes, west to east, rows from the south.
    fn binary(&self) -> Option<Vec<u8>> {
        match self {
            Self::Rates { values, .. } => Some(
                values
                    .iter()
                    .flat_map(|value| value.to_le_bytes())
                    .collect(),
            ),
            Self::Codes { codes, .. } => Some(codes.clone()),
            Self::Polygons(_) => None,
        }
    }
}

/// Head and body of a task.
struct TaskSet {
    parts: xml::Parts,
    body: Body,
}

/// The files of a task set below the folder that holds `TASKDATA`.
fn files(set: &TaskSet, channel: &Channel) -> Result<Vec<Payload>, Iso11783Error> {
    let mut out = vec![Payload::new(
        MAIN_FILE,
        set.parts.main_file(&set.body, channel)?,
    )];
    out.extend(
        set.body
            .binary()
            .map(|bytes| Payload::new(format!("TASKDATA/{}.bin", xml::GRID_NAME), bytes)),
    );
    Ok(out)
}

/// Cell size of a grid for a machine that nobody describes. \[m\]
const USUAL_CELL_M: f64 = 10.0;

/// `TASKDATA/TASKDATA.XML` and, for grids, `TASKDATA/GRD00000.bin`, below the options' name; and the same as one archive, where one is asked for.
///
/// The grid is that of the options. Without one, a map that came as a grid in longitude and latitude of 350 rows and columns at most keeps its cells and their rates;
/// any other is laid on a grid with cells of the options' size (10 m when not given), each cell with the area mean of the ground in it (in kind `zones`: with the rate
/// of which it holds most). Times of an archive before 1980 or after 2107, which it cannot hold, become the nearest that it can.
///
/// # Findings
/// `convert.fallbacks` when the map states no rates for start, lost position or outside; `convert.boundary` when it has none and the union of its zones stands in;
/// `convert.nitrogen` when the rates are nitrogen and not product; `convert.polygons` since controllers need not take polygons; `machine.grid_coarsened`.
///
/// # Errors
/// [`Iso11783Error`]: rates that do not fit 32 bits, a field that no grid can hold, more rates than there are zone codes.
pub(super) fn write(
    map: &ExportMap<'_>,
    options: &WriteOptions<'_>,
) -> Result<Checked<Vec<Payload>>, Iso11783Error> {
    let mut findings = Vec::new();
    let channel = Channel::new(map.measure);
    let boundary = boundary(map, &mut findings);
    let fallbacks = fallbacks(map, &mut findings);
    if map.measure.quantity == Quantity::Nitrogen {
        findings.push(Finding::caution(
            codes::CONVERT_NITROGEN,
            "the task data hold nitrogen, not product: a machine meters product, so state it with --to-product, or the rates do not fit what is in the tank",
        ));
    }
    let way = Projector::new(map.system, &Crs::wgs84())?;
    let kind = options.task.kind;
    let body = if let Some(grid) = options.grid {
        Body::of_grid(grid.lattice, &grid.rates, kind, &channel)?
    } else if kind == TaskKind::Polygons {
        findings.push(Finding::caution(
            codes::CONVERT_POLYGONS,
            "controllers need not take polygons: try it on yours before the day, and keep a grid (--task-kind grid) at hand",
        ));
        let ground = map
            .machine
            .iter()
            .map(|zone| Ok((zone.rate, xml::polygon_rings(&way, &zone.outline)?)))
            .collect::<Result<Vec<_>, Iso11783Error>>()?;
        Body::Polygons(zone_list::of_polygons(ground, &channel)?)
    } else {
        let cell_m = options.cell_m.unwrap_or(USUAL_CELL_M);
        let (lattice, rates) = grid_of(map, kind, cell_m, &mut findings)?;
        Body::of_grid(lattice, &rates, kind, &channel)?
    };
    let parts = xml::Parts::of(map, options.task.version, &channel, &boundary, fallbacks)?;
    let set = files(&TaskSet { parts, body }, &channel)?;
    let mut out = Vec::new();
    let packed = match options.archive {
        Some(to) => Some((to, archive(&set, options.instant)?)),
        None => None,
    };
    if packed.as_ref().is_none_or(|(to, _)| to.beside_files) {
        out.extend(set.into_iter().map(|mut file| {
            file.path.insert_str(0, options.name);
            file
        }));
    }
    out.extend(packed.map(|(to, bytes)| Payload::new(to.path, bytes)));
    Ok(Checked::new(out, findings))
}

fn boundary<'a>(map: &ExportMap<'a>, findings: &mut Vec<Finding>) -> Cow<'a, MultiPolygon<f64>> {
    if let Some(boundary) = map.boundary {
        return Cow::Borrowed(boundary);
    }
    findings.push(Finding::note(codes::CONVERT_BOUNDARY, "the map has no boundary: the union of its zones stands in, and beyond it the rate for outside holds"));
    let outlines: Vec<_> = map
        .machine
        .iter()
        .map(|zone| zone.outline.clone().into_owned())
        .collect();
    Cow::Owned(joined(&outlines))
}

fn fallbacks(map: &ExportMap<'_>, findings: &mut Vec<Finding>) -> [f64; 3] {
    let stated = [
        ("on start", map.fallbacks.on_start),
        ("with position lost", map.fallbacks.position_lost),
        ("outside the field", map.fallbacks.outside),
    ];
    let missing: Vec<_> = stated
        .iter()
        .filter(|(_, rate)| rate.is_none())
        .map(|(what, _)| *what)
        .collect();
    if !missing.is_empty() {
        let message = format!(
            "the map states no rate {}: task data must, and 0 is written, which spreads nothing",
            missing.join(", ")
        );
        findings.push(Finding::caution(codes::CONVERT_FALLBACKS, message));
    }
    stated.map(|(_, rate)| rate.unwrap_or(0.0))
}

/// The files of a task set as one for sending.
///
/// # Errors
/// [`Iso11783Error`] when the archive cannot be put together.
pub fn archive(files: &[Payload], instant: Timestamp) -> Result<Vec<u8>, Iso11783Error> {
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(entry_time(instant))
        .unix_permissions(0o644);
    let mut zip = ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for file in files {
        zip.start_file(file.path.as_str(), options)?;
        zip.write_all(&file.bytes)
            .map_err(|source| Iso11783Error::Archive { source })?;
    }
    Ok(zip.finish()?.into_inner())
}

fn entry_time(instant: Timestamp) -> DateTime {
    let t = TimeZone::UTC.to_datetime(instant);
    let part = |value: i8| value.unsigned_abs();
    let earliest = DateTime::default();
    let latest = || DateTime::from_date_and_time(2107, 12, 31, 23, 59, 58).unwrap_or(earliest);
    match u16::try_from(t.year()) {
        Ok(2108..) => latest(),
        Ok(year) => DateTime::from_date_and_time(
            year,
            part(t.month()),
            part(t.day()),
            part(t.hour()),
            part(t.minute()),
            part(t.second()),
        )
        .unwrap_or(earliest),
        Err(_) => earliest,
    }
}
