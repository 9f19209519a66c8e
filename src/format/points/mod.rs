//! Files of single readings: separated values, or any point layer of a vector file.
//!
//! A row without a place or without an index is counted and left out; a value that is there and cannot be read is refused, with line and column.

pub mod error;
mod table;
mod text;
mod vector;

use std::path::Path;

use crate::format::extent::Extent;
use crate::format::points::error::PointFileError;
use crate::space::crs::Crs;

/// What to look for.
#[derive(Clone, Copy, Debug)]
pub struct Requirement<'a> {
    /// Layer of a vector file.
    pub layer: Option<&'a str>,
    /// Attribute filter of a vector file.
    pub filter: Option<&'a str>,
    /// Column of the index; absent means one called like it.
    pub column: Option<&'a str>,
    /// Name of the index.
    pub index: &'a str,
    /// Columns of the coordinates, x or longitude first.
    pub place: Option<(&'a str, &'a str)>,
    /// System of the coordinates.
    pub crs: Option<&'a Crs>,
    /// Column of the time.
    pub time: Option<&'a str>,
    /// Column that tells passes apart.
    pub pass: Option<&'a str>,
    /// Column of the speed.
    pub speed: Option<&'a str>,
    /// Metres a second in one of the speed's unit, when the job states it.
    pub speed_unit: Option<f64>,
    /// Whether the job states a scale of the index.
    pub scaled: bool,
}

/// One reading as it stands in the file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PointRow {
    /// Easting or longitude.
    pub x: f64,
    /// Northing or latitude.
    pub y: f64,
    /// The index as stored; `None` is missing.
    pub value: Option<f64>,
    /// Number of its pass, from 0, in order of appearance.
    pub pass: u32,
    /// Speed. \[m/s\]
    pub speed: Option<f64>,
}

/// The readings of a file, in the order in which they were taken.
#[derive(Clone, Debug)]
pub struct PointTable {
    /// The system of their places.
    pub crs: Crs,
    /// Readings that have a place.
    pub rows: Vec<PointRow>,
    /// Rows without one.
    pub no_place: usize,
    /// Column of the index.
    pub column: String,
    /// Rows without a time, when times were to put the readings in order: then the order of the file stands.
    pub no_time: usize,
}

/// Reads a file of readings.
///
/// # Errors
/// [`PointFileError`]: a file that cannot be read, columns that are missing or doubtful, values that are no numbers, coordinates that cannot belong to
/// their system, no reading at all.
pub fn read(path: &Path, requirement: &Requirement<'_>) -> Result<PointTable, PointFileError> {
    if !path.exists() {
        return Err(PointFileError::Missing {
            path: path.to_owned(),
        });
    }
    let is_text = path.extension().is_some_and(|e| {
        ["csv", "txt", "tsv", "asc", "dat"]
            .iter()
            .any(|known| e.eq_ignore_ascii_case(known))
    });
    if is_text {
        let bytes = fs_err::read(path).map_err(|error| PointFileError::Unreadable {
            path: path.to_owned(),
            reason: error.to_string(),
        })?;
        table::parse(&bytes, path, requirement)
    } else {
        vector::read(path, requirement)
    }
}

/// Raw cells of a row, before they are numbers.
struct Raw<'a> {
    /// Line or feature, for messages.
    place: String,
    /// Coordinates where a geometry gives them.
    at: Option<(f64, f64)>,
    /// Cells by column.
    cells: &'a dyn Fn(usize) -> String,
}

/// Where the columns are.
struct Columns {
    names: Vec<String>,
    value: usize,
    place: Option<(usize, usize)>,
    time: Option<usize>,
    pass: Option<usize>,
    speed: Option<(usize, f64)>,
    decimal_comma: bool,
}

/// Finds a column by the name asked for, or by usual names.
fn column(
    names: &[String],
    path: &Path,
    requirement: &'static str,
    named: Option<&str>,
    usual: &[&str],
) -> Result<usize, PointFileError> {
    let found = || names.to_vec();
    if let Some(name) = named {
        let exact = names
            .iter()
            .position(|n| n == name)
            .or_else(|| names.iter().position(|n| n.eq_ignore_ascii_case(name)));
        return exact.ok_or_else(|| PointFileError::NoColumn {
            path: path.to_owned(),
            requirement,
            named: Some(name.to_owned()),
            found: found(),
        });
    }
    let mut hits = names
        .iter()
        .enumerate()
        .filter(|(_, name)| usual.contains(&text::split(name).0.as_str()));
    match (hits.next(), hits.next()) {
        (Some((at, _)), None) => Ok(at),
        (Some((_, one)), Some((_, other))) => Err(PointFileError::TwoColumns {
            path: path.to_owned(),
            requirement,
            one: one.clone(),
            other: other.clone(),
        }),
        (None, _) => Err(PointFileError::NoColumn {
            path: path.to_owned(),
            requirement,
            named: None,
            found: found(),
        }),
    }
}

impl Columns {
    /// Finds them all but the coordinates.
    fn find(
        names: Vec<String>,
        path: &Path,
        requirement: &Requirement<'_>,
        decimal_comma: bool,
    ) -> Result<Self, PointFileError> {
        let index: String = requirement
            .index
            .to_lowercase()
            .chars()
            .filter(|c| c.is_alphanumeric())
            .collect();
        let value = column(&names, path, "index", requirement.column, &[&index])?;
        let unit = |problem| PointFileError::Unit {
            path: path.to_owned(),
            column: names[value].clone(),
            problem,
        };
        if !requirement.scaled && text::split(&names[value]).1.contains('%') {
            return Err(unit("is in per cent, and the job states no scale"));
        }
        let optional = |what, name: Option<&str>| {
            name.map(|name| column(&names, path, what, Some(name), &[]))
                .transpose()
        };
        let (time, pass) = (
            optional("time", requirement.time)?,
            optional("pass", requirement.pass)?,
        );
        let speed = match optional("speed", requirement.speed)? {
            None => None,
            Some(at) => {
                let written = text::split(&names[at]).1;
                let unit = |problem| PointFileError::Unit {
                    path: path.to_owned(),
                    column: names[at].clone(),
                    problem,
                };
                let known = if written.is_empty() {
                    None
                } else {
                    Some(
                        text::speed_unit(&written)
                            .ok_or_else(|| unit("has a unit of speed that is not known"))?,
                    )
                };
                match (known, requirement.speed_unit) {
                    (Some(a), Some(b)) if (a - b).abs() > 1e-9 => {
                        return Err(unit("has another unit than the job states"));
                    }
                    (Some(metres), _) | (None, Some(metres)) => Some((at, metres)),
                    (None, None) => {
                        return Err(unit(
                            "does not say its unit, such as (km/h), and the job does not either",
                        ));
                    }
                }
            }
        };
        Ok(Self {
            names,
            value,
            place: None,
            time,
            pass,
            speed,
            decimal_comma,
        })
    }
}

/// Gathers rows into a table.
struct Gathered<'a> {
    path: &'a Path,
    columns: Columns,
    crs: Crs,
    extent: Extent,
    rows: Vec<(Option<f64>, PointRow)>,
    passes: Vec<String>,
    read: usize,
    no_place: usize,
    values: usize,
}

impl<'a> Gathered<'a> {
    fn new(path: &'a Path, columns: Columns, crs: Crs) -> Self {
        Self {
            path,
            columns,
            extent: Extent::of(&crs),
            crs,
            rows: Vec::new(),
            passes: Vec::new(),
            read: 0,
            no_place: 0,
            values: 0,
        }
    }
    fn take(&mut self, raw: &Raw<'_>) -> Result<(), PointFileError> {
        self.read += 1;
        let columns = &self.columns;
        let number = |at: usize| {
            let text = (raw.cells)(at);
            text::number(&text, columns.decimal_comma).map_err(|()| PointFileError::NotANumber {
                path: self.path.to_owned(),
                place: raw.place.clone(),
                column: columns.names[at].clone(),
                text,
            })
        };
        let value = number(columns.value)?;
        let at = match (raw.at, columns.place) {
            (Some(at), _) => Some(at),
            (None, Some((x, y))) => number(x)?.zip(number(y)?),
            (None, None) => None,
        };
        // Loggers write 0, 0 while they have no fix (common practice).
        let Some((x, y)) = at.filter(|(x, y)| *x != 0.0 || *y != 0.0) else {
            self.no_place += 1;
            return Ok(());
        };
        self.check(raw, x, y)?;
        let speed = match columns.speed {
            Some((at, metres)) => number(at)?.map(|speed| speed * metres),
            None => None,
        };
        let time = match columns.time {
            Some(at) => {
                let text = (raw.cells)(at);
                text::seconds(&text, columns.decimal_comma).map_err(|()| {
                    PointFileError::NotATime {
                        path: self.path.to_owned(),
                        place: raw.place.clone(),
                        column: columns.names[at].clone(),
                        text,
                    }
                })?
            }
            None => None,
        };
        let pass = match columns.pass {
            Some(at) => {
                let name = (raw.cells)(at).trim().to_owned();
                let known = self.passes.iter().rposition(|pass| *pass == name);
                known.unwrap_or_else(|| {
                    self.passes.push(name);
                    self.passes.len() - 1
                }) as u32
            }
            None => 0,
        };
        self.values += usize::from(value.is_some());
        self.rows.push((
            time,
            PointRow {
                x,
                y,
                value,
                pass,
                speed,
            },
        ));
        Ok(())
    }
    /// Refuses coordinates that cannot belong to the system.
    fn check(&self, raw: &Raw<'_>, x: f64, y: f64) -> Result<(), PointFileError> {
        let (path, place) = (self.path.to_owned(), raw.place.clone());
        let like_degrees = x.abs() <= 180.0 && y.abs() <= 90.0;
        match (self.crs.is_geographic(), like_degrees) {
            (true, true) | (false, false) if self.extent.problem(x, y).is_none() => Ok(()),
            (true, true) | (false, false) => Err(PointFileError::Place {
                path,
                place,
                x,
                y,
                problem: "lie far outside where their reference system is used",
            }),
            (true, false) => {
                let minutes = |v: f64, most: f64| {
                    v.abs() % 100.0 < 60.0 && libm::floor(v.abs() / 100.0) <= most
                };
                if minutes(x, 180.0) && minutes(y, 90.0) && y.abs() > 90.0 {
                    Err(PointFileError::DegreesMinutes { path, place, x, y })
                } else {
                    Err(PointFileError::Place {
                        path,
                        place,
                        x,
                        y,
                        problem: "are no longitude and latitude in degrees",
                    })
                }
            }
            (false, true) => Err(PointFileError::Place {
                path,
                place,
                x,
                y,
                problem: "look like degrees, but the system is one of metres",
            }),
        }
    }
    fn finish(self) -> Result<PointTable, PointFileError> {
        let column = self.columns.names[self.columns.value].clone();
        if self.values == 0 {
            return Err(PointFileError::Empty {
                path: self.path.to_owned(),
                rows: self.read,
                column,
            });
        }
        let mut rows = self.rows;
        let no_time = if self.columns.time.is_some() {
            rows.iter().filter(|(time, _)| time.is_none()).count()
        } else {
            0
        };
        if self.columns.time.is_some() && no_time == 0 {
            // Stable: readings of one instant keep the order of the file.
            rows.sort_by(|a, b| a.0.unwrap_or(0.0).total_cmp(&b.0.unwrap_or(0.0)));
        }
        Ok(PointTable {
            crs: self.crs,
            rows: rows.into_iter().map(|(_, row)| row).collect(),
            no_place: self.no_place,
            column,
            no_time,
        })
    }
}
