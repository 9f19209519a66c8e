//! The files of a task set.

use std::io::Write as _;

use crate::finding::Checked;
use crate::format::iso11783::channel::Channel;
use crate::format::iso11783::error::Iso11783Error;
use crate::format::iso11783::grid::{RateGrid, rate_grid};
use crate::format::iso11783::lattice::Lattice;
use crate::format::iso11783::zone_list::ZoneOnGround;
use crate::format::iso11783::{xml, zone_list};
use crate::format::payload::Payload;
use crate::map::excluded::excluded;
use crate::map::machine::{MachineRates, machine_rates};
use crate::map::prescription::Prescription;
use crate::map::task_options::{TaskKind, TaskOptions};
use crate::space::crs::{Crs, Projector};
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
    pub(super) fn of_grid(
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
pub(super) struct TaskSet {
    pub(super) parts: xml::Parts,
    pub(super) body: Body,
}

/// The files of a task set below the folder that holds `TASKDATA`.
pub(super) fn files(set: &TaskSet, channel: &Channel) -> Result<Vec<Payload>, Iso11783Error> {
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

/// Writes `machine/TASKDATA/TASKDATA.XML`, `machine/TASKDATA/GRD00000.bin` (not for polygons) and, the same for sending, `office/TASKDATA.zip`.
///
/// `instant` is the pinned time of the archive's entries, in UTC; times before 1980 or after 2107, which an archive cannot hold, become the nearest it can.
///
/// # Findings
/// Those of [`rate_grid`], for grids. What [`machine_rates`] notices is left to whoever shows the rates.
///
/// # Errors
/// [`Iso11783Error`]: rates that cannot be stated or do not fit 32 bits, a field that no grid can hold, more rates than there are zone codes.
pub fn write(
    prescription: &Prescription,
    flavour: TaskOptions,
    instant: Timestamp,
) -> Result<Checked<Vec<Payload>>, Iso11783Error> {
    let rates = machine_rates(prescription)?.value;
    if flavour.kind == TaskKind::Polygons {
        return Ok(Checked::new(
            write_made(prescription, flavour, &rates, None, instant)?,
            Vec::new(),
        ));
    }
    let Checked {
        value: grid,
        findings,
    } = rate_grid(prescription, &rates, flavour.kind)?;
    Ok(Checked::new(
        write_made(prescription, flavour, &rates, Some(grid), instant)?,
        findings,
    ))
}

/// As [`write()`], with the machine's rates and, for grids, the grid of [`rate_grid`] at hand; without one, polygons.
///
/// # Errors
/// As [`write()`].
pub fn write_made(
    prescription: &Prescription,
    flavour: TaskOptions,
    rates: &MachineRates,
    grid: Option<RateGrid>,
    instant: Timestamp,
) -> Result<Vec<Payload>, Iso11783Error> {
    let channel = Channel::of(prescription);
    let body = if let Some(grid) = grid {
        Body::of_grid(grid.lattice, &grid.rates, flavour.kind, &channel)?
    } else {
        let way = Projector::new(&prescription.plane, &Crs::wgs84())?;
        let ground = prescription.zones.iter().zip(&rates.zones);
        let mut ground = ground
            .map(|(zone, rate)| Ok((rate.shown, xml::polygon_rings(&way, &zone.machine_outline)?)))
            .collect::<Result<Vec<_>, Iso11783Error>>()?;
        ground.push((0.0, xml::polygon_rings(&way, &excluded(prescription))?));
        Body::Polygons(zone_list::of_polygons(ground, &channel)?)
    };
    let set = TaskSet {
        parts: xml::parts(prescription, rates, &channel, flavour.version)?,
        body,
    };
    let mut out: Vec<Payload> = files(&set, &channel)?;
    let zip = archive(&out, instant)?;
    for file in &mut out {
        file.path.insert_str(0, "machine/");
    }
    out.push(Payload::new("office/TASKDATA.zip", zip));
    Ok(out)
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
