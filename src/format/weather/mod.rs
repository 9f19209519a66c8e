//! Daily weather as separated values: date, least and greatest temperature, the unit in the header.
//!
//! Temperatures are read digit by digit into whole thousandths; no binary fraction comes between the file and the comparison with a base temperature.

pub(crate) mod error;
mod header;
pub mod stations;

use std::collections::BTreeMap;
use std::path::Path;

use crate::finding::{Checked, Finding, codes};
use crate::format::bounds;
pub use crate::format::weather::error::WeatherError;
use crate::format::weather::header::Columns;
use jiff::civil::Date;

/// The unit of a file's temperatures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TemperatureScale {
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
}

impl TemperatureScale {
    /// As people write it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Celsius => "°C",
            Self::Fahrenheit => "°F",
        }
    }
    /// Air temperatures that the earth has seen, with room to spare: −89.2 and 56.7 °C are the records (World Meteorological Organization, from memory).
    const fn possible(self) -> (i64, i64) {
        match self {
            Self::Celsius => (-95, 60),
            Self::Fahrenheit => (-139, 140),
        }
    }
}

/// One day of a weather file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WeatherDay {
    /// The day.
    pub date: Date,
    /// Least temperature. \[thousandths of the file's unit\]
    pub tmin_thousandths: i64,
    /// Greatest temperature. \[thousandths of the file's unit\]
    pub tmax_thousandths: i64,
}

/// A weather file: its unit, and its days by date. A day with a missing value is not among them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WeatherTable {
    /// The unit of its temperatures.
    pub scale: TemperatureScale,
    /// Days by date, each once.
    pub days: Vec<WeatherDay>,
}

/// Reads a weather file.
///
/// # Errors
/// See [`parse`]; also when the file cannot be read.
pub fn read(path: &Path) -> Result<Checked<WeatherTable>, WeatherError> {
    let bytes = fs_err::read(path).map_err(|source| WeatherError::Read {
        path: path.to_owned(),
        source,
    })?;
    parse(&bytes, path)
}

/// Reads the bytes of a weather file; `path` is for messages.
///
/// Comma, semicolon or tab separated; decimal commas where the separator is no comma; a byte order mark is passed over. A day without a value is left out
/// and named in a note: whether it is needed is for the count of growing days to say.
///
/// # Errors
/// A missing or doubtful column, no or two units, a date that is not ISO 8601, a value that is no temperature of the earth, tmin above tmax, a date that
/// stands twice, no day at all; each with file, line and date.
pub fn parse(bytes: &[u8], path: &Path) -> Result<Checked<WeatherTable>, WeatherError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let line = bytes
            .iter()
            .take(error.valid_up_to())
            .filter(|byte| **byte == b'\n')
            .count() as u64
            + 1;
        WeatherError::NotText {
            path: path.to_owned(),
            line,
        }
    })?;
    bounds::lines(text).map_err(|error| table_error(error.into(), path))?;
    let delimiter = delimiter(text);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let header = reader
        .headers()
        .map_err(|source| table_error(source, path))?
        .clone();
    let columns = header::columns(&header, path)?;
    let mut days: BTreeMap<Date, (u64, Option<WeatherDay>)> = BTreeMap::new();
    for row in reader.records() {
        let row = row.map_err(|source| table_error(source, path))?;
        let line = row.position().map_or(0, csv::Position::line);
        if row.iter().all(str::is_empty) {
            continue;
        }
        let place = Row {
            path,
            line,
            columns: &columns,
            decimal_comma: delimiter != b',',
        };
        let (date, day) = place.read(&row)?;
        if let Some((first, _)) = days.insert(date, (line, day)) {
            return Err(WeatherError::Twice {
                path: path.to_owned(),
                line,
                first,
                date,
            });
        }
    }
    let missing: Vec<String> = days
        .iter()
        .filter(|(_, (_, day))| day.is_none())
        .map(|(date, _)| date.to_string())
        .collect();
    let days: Vec<WeatherDay> = days.into_values().filter_map(|(_, day)| day).collect();
    if days.is_empty() {
        return Err(WeatherError::Empty {
            path: path.to_owned(),
        });
    }
    let findings = if missing.is_empty() {
        Vec::new()
    } else {
        vec![missing_note(&missing, path)]
    };
    Ok(Checked::new(
        WeatherTable {
            scale: columns.scale,
            days,
        },
        findings,
    ))
}

fn missing_note(missing: &[String], path: &Path) -> Finding {
    let shown = missing
        .iter()
        .take(5)
        .cloned()
        .collect::<Vec<_>>()
        .join(", ");
    let more = if missing.len() > 5 {
        format!(" and {} more", missing.len() - 5)
    } else {
        String::new()
    };
    Finding::note(
        codes::WEATHER_MISSING,
        format!(
            "{}: no least or greatest temperature on {shown}{more}; these days are not in the record",
            path.display()
        ),
    )
}

/// The separator that the header uses most; a comma when it uses none.
pub(super) fn delimiter(text: &str) -> u8 {
    let header = text
        .lines()
        .find(|line| !line.trim().is_empty())
        .unwrap_or("");
    let count = |requirement: u8| header.bytes().filter(|byte| *byte == requirement).count();
    [b',', b';', b'\t']
        .into_iter()
        .rev()
        .max_by_key(|separator| count(*separator))
        .filter(|separator| count(*separator) > 0)
        .unwrap_or(b',')
}

fn table_error(source: csv::Error, path: &Path) -> WeatherError {
    match source.kind() {
        csv::ErrorKind::UnequalLengths {
            pos,
            expected_len,
            len,
        } => WeatherError::Columns {
            path: path.to_owned(),
            line: pos.as_ref().map_or(0, csv::Position::line),
            found: *len,
            expected: *expected_len,
        },
        _ => WeatherError::Table {
            path: path.to_owned(),
            source,
        },
    }
}

/// Where a row stands, and how it is read.
struct Row<'a> {
    path: &'a Path,
    line: u64,
    columns: &'a Columns,
    decimal_comma: bool,
}

impl Row<'_> {
    fn read(&self, row: &csv::StringRecord) -> Result<(Date, Option<WeatherDay>), WeatherError> {
        let text = row.get(self.columns.date).unwrap_or("");
        let date = iso_date(text).ok_or_else(|| WeatherError::NotADate {
            path: self.path.to_owned(),
            line: self.line,
            text: text.to_owned(),
        })?;
        let tmin = self.temperature(row, self.columns.tmin, &self.columns.tmin_name, date)?;
        let tmax = self.temperature(row, self.columns.tmax, &self.columns.tmax_name, date)?;
        let (Some(tmin_thousandths), Some(tmax_thousandths)) = (tmin, tmax) else {
            return Ok((date, None));
        };
        if tmin_thousandths > tmax_thousandths {
            let written = |at: usize| row.get(at).unwrap_or("").to_owned();
            return Err(WeatherError::MinAboveMax {
                path: self.path.to_owned(),
                line: self.line,
                date,
                tmin: written(self.columns.tmin),
                tmax: written(self.columns.tmax),
                unit: self.columns.scale.label(),
            });
        }
        Ok((
            date,
            Some(WeatherDay {
                date,
                tmin_thousandths,
                tmax_thousandths,
            }),
        ))
    }

    /// A temperature in thousandths; `None` for a missing one.
    fn temperature(
        &self,
        row: &csv::StringRecord,
        at: usize,
        column: &str,
        date: Date,
    ) -> Result<Option<i64>, WeatherError> {
        let text = row.get(at).unwrap_or("");
        if ["", "na", "n/a", "nan", "null", "-", "--", "m"].contains(&text.to_lowercase().as_str())
        {
            return Ok(None);
        }
        let value =
            thousandths(text, self.decimal_comma).ok_or_else(|| WeatherError::NotATemperature {
                path: self.path.to_owned(),
                line: self.line,
                date,
                column: column.to_owned(),
                text: text.to_owned(),
                hint: if text.contains(',') {
                    "write a decimal point, or part the columns with semicolons"
                } else {
                    "write a plain number such as 12.5; leave missing values empty"
                },
            })?;
        let (low, high) = self.columns.scale.possible();
        if !(low * 1000..=high * 1000).contains(&value) {
            return Err(WeatherError::Impossible {
                path: self.path.to_owned(),
                line: self.line,
                date,
                column: column.to_owned(),
                text: text.to_owned(),
                unit: self.columns.scale.label(),
                low,
                high,
            });
        }
        Ok(Some(value))
    }
}

/// A date as `YYYY-MM-DD`, alone or followed by a time of day.
fn iso_date(text: &str) -> Option<Date> {
    let (day, rest) = text.split_at_checked(10)?;
    let plain = rest.is_empty()
        || rest
            .strip_prefix(['T', ' '])
            .is_some_and(|time| time.len() >= 5 && time.starts_with(|c: char| c.is_ascii_digit()));
    let digits = day.bytes().enumerate().all(|(at, byte)| {
        if at == 4 || at == 7 {
            byte == b'-'
        } else {
            byte.is_ascii_digit()
        }
    });
    (plain && digits).then(|| day.parse().ok()).flatten()
}

/// A decimal number in whole thousandths, exactly; digits beyond the third decimal must be 0.
fn thousandths(text: &str, decimal_comma: bool) -> Option<i64> {
    let (negative, body) = match text.strip_prefix(['-', '−']) {
        Some(body) => (true, body),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let point = if decimal_comma && !body.contains('.') {
        ','
    } else {
        '.'
    };
    let (whole, fraction) = body.split_once(point).unwrap_or((body, ""));
    let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(whole)
        || !digits(fraction)
        || whole.len() > 9
        || (whole.is_empty() && fraction.is_empty())
    {
        return None;
    }
    let (kept, beyond) = fraction.split_at_checked(3).unwrap_or((fraction, ""));
    if beyond.bytes().any(|byte| byte != b'0') {
        return None;
    }
    let whole: i64 = if whole.is_empty() {
        0
    } else {
        whole.parse().ok()?
    };
    let fraction: i64 = format!("{kept:0<3}").parse().ok()?;
    let value = whole * 1000 + fraction;
    Some(if negative { -value } else { value })
}

#[cfg(test)]
mod tests;
