//! The three files of a task set.

use std::io::Write as _;

use crate::finding::Checked;
use crate::format::iso11783::channel::Channel;
use crate::format::iso11783::error::Iso11783Error;
use crate::format::iso11783::grid::RateGrid;
use crate::format::iso11783::grid::rate_grid;
use crate::format::iso11783::xml;
use crate::format::payload::Payload;
use crate::zones::machine::machine_rates;
use crate::zones::prescription::Prescription;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use zip::CompressionMethod;
use zip::DateTime;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// Folder and main file as the standard spells them, case and all.
const MAIN_FILE: &str = "TASKDATA/TASKDATA.XML";

/// Writes `machine/TASKDATA/TASKDATA.XML`, `machine/TASKDATA/GRD00000.bin` and, the same for sending, `office/TASKDATA.zip`.
///
/// `instant` is the pinned time of the archive's entries, in UTC; times before 1980 or after 2107, which an archive cannot hold, become the nearest it can.
///
/// # Findings
/// Those of [`rate_grid`]. What [`machine_rates`] notices is left to whoever shows the rates.
///
/// # Errors
/// [`Iso11783Error`]: rates that cannot be stated or do not fit 32 bits, a field that no grid can hold.
pub fn write(prescription: &Prescription, instant: Timestamp) -> Result<Checked<Vec<Payload>>, Iso11783Error> {
    let rates = machine_rates(prescription)?.value;
    let Checked { value: grid, findings } = rate_grid(prescription, &rates)?;
    let channel = Channel::of(prescription);
    let main = xml::task_data(prescription, &rates, &grid, &channel)?;
    let values = binary(&grid, &channel)?;
    let grid_file = format!("TASKDATA/{}.bin", xml::GRID_NAME);
    let archive = archive(&[(MAIN_FILE, &main), (&grid_file, &values)], instant)?;
    let files = vec![
        Payload::new(format!("machine/{MAIN_FILE}"), main),
        Payload::new(format!("machine/{grid_file}"), values),
        Payload::new("office/TASKDATA.zip", archive),
    ];
    Ok(Checked::new(files, findings))
}

/// Grid of type 2: one signed 32-bit little-endian integer a cell, west to east, rows from the south.
fn binary(grid: &RateGrid, channel: &Channel) -> Result<Vec<u8>, Iso11783Error> {
    let mut out = Vec::with_capacity(grid.rates.len() * 4);
    for (cell, rate) in grid.rates.iter().enumerate() {
        let what = || format!("of grid row {}, column {}", cell / grid.lattice.cols, cell % grid.lattice.cols);
        out.extend(channel.integer(*rate, what)?.to_le_bytes());
    }
    Ok(out)
}

fn archive(files: &[(&str, &[u8])], instant: Timestamp) -> Result<Vec<u8>, Iso11783Error> {
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated).last_modified_time(entry_time(instant)).unix_permissions(0o644);
    let mut zip = ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in files {
        zip.start_file(*name, options)?;
        zip.write_all(bytes).map_err(|source| Iso11783Error::Archive { source })?;
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
        Ok(year) => DateTime::from_date_and_time(year, part(t.month()), part(t.day()), part(t.hour()), part(t.minute()), part(t.second())).unwrap_or(earliest),
        Err(_) => earliest,
    }
}
