//! A list of weather stations as separated values: name, place, and the file of each one's daily record.

use std::path::{Path, PathBuf};

use crate::format::bounds;

/// One station.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    /// Its name.
    pub name: String,
    /// Longitude, WGS 84. \[°\]
    pub longitude: f64,
    /// Latitude, WGS 84. \[°\]
    pub latitude: f64,
    /// Its daily record; a path that is not absolute starts from the list's own folder.
    pub record: PathBuf,
    /// The line of the list, from 1.
    pub line: u64,
}

/// Why a list of stations was refused; lines are counted from 1, the header's included.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StationsError {
    /// The file cannot be read.
    #[error("the list of stations {path} cannot be read: {source}", path = path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// Not UTF-8.
    #[error("{path} is not UTF-8 text; save the list as UTF-8", path = path.display())]
    NotText {
        /// The file.
        path: PathBuf,
    },
    /// The table cannot be taken apart.
    #[error("{path}: this is no table of comma, semicolon or tab separated values: {source}", path = path.display())]
    Table {
        /// The file.
        path: PathBuf,
        /// What the parser said.
        #[source]
        source: csv::Error,
    },
    /// A column is missing, or two could be it.
    #[error("{path}:1: {count} columns could be {requirement}, one is due; the header has {found}. Write name,latitude,longitude,path", path = path.display())]
    Column {
        /// The file.
        path: PathBuf,
        /// What is due.
        requirement: &'static str,
        /// How many could be it.
        count: usize,
        /// The header's names.
        found: String,
    },
    /// A name or path is not there.
    #[error("{path}:{line}: this station has no {requirement}", path = path.display())]
    Empty {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
        /// What is missing.
        requirement: &'static str,
    },
    /// Not a place in degrees.
    #[error("{path}:{line}: \"{text}\" is no {requirement}: write decimal degrees from -{limit} to {limit}, south and west negative", path = path.display())]
    NotAPlace {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
        /// Latitude or longitude.
        requirement: &'static str,
        /// What stands there.
        text: String,
        /// The greatest that it can be. \[°\]
        limit: f64,
    },
    /// Two stations of one name.
    #[error("{path}:{line}: a station called \"{name}\" stands already in line {first}; give each its own name", path = path.display())]
    Twice {
        /// The file.
        path: PathBuf,
        /// The line.
        line: u64,
        /// Where it stood first.
        first: u64,
        /// The name.
        name: String,
    },
    /// No station.
    #[error("{path} holds no station below its header", path = path.display())]
    None {
        /// The file.
        path: PathBuf,
    },
}

const NAME: &[&str] = &["name", "station", "stationname", "id", "stationid"];
const LATITUDE: &[&str] = &["latitude", "lat", "latitudedeg", "latdeg"];
const LONGITUDE: &[&str] = &["longitude", "lon", "long", "lng", "longitudedeg", "londeg"];
const RECORD: &[&str] = &["path", "file", "record", "filename"];

/// Reads a list of stations.
///
/// # Errors
/// See [`parse`]; also when the file cannot be read.
pub fn read(path: &Path) -> Result<Vec<Station>, StationsError> {
    let bytes = fs_err::read(path).map_err(|source| StationsError::Read {
        path: path.to_owned(),
        source,
    })?;
    parse(&bytes, path)
}

/// Reads the bytes of a list of stations; `path` is for messages and for the folder that records are looked for in.
///
/// Comma, semicolon or tab separated; decimal commas where the separator is no comma. Columns, in any order: name, latitude, longitude, path.
///
/// # Errors
/// A missing or doubtful column, a place that is none on the earth, a station without name or path, two of one name, no station at all.
pub fn parse(bytes: &[u8], path: &Path) -> Result<Vec<Station>, StationsError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|_| StationsError::NotText {
        path: path.to_owned(),
    })?;
    bounds::lines(text).map_err(|error| StationsError::Table {
        path: path.to_owned(),
        source: error.into(),
    })?;
    let delimiter = super::delimiter(text);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let table = |source| StationsError::Table {
        path: path.to_owned(),
        source,
    };
    let header = reader.headers().map_err(table)?.clone();
    let at = |requirement, names| column(&header, path, requirement, names);
    let columns = [
        at("the name", NAME)?,
        at("the latitude", LATITUDE)?,
        at("the longitude", LONGITUDE)?,
        at("the path of the record", RECORD)?,
    ];
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut stations: Vec<Station> = Vec::new();
    for row in reader.records() {
        let row = row.map_err(table)?;
        let line = row.position().map_or(0, csv::Position::line);
        if row.iter().all(str::is_empty) {
            continue;
        }
        let [name, latitude, longitude, record] = columns.map(|at| row.get(at).unwrap_or(""));
        for (requirement, text) in [("name", name), ("path of a record", record)] {
            if text.is_empty() {
                return Err(StationsError::Empty {
                    path: path.to_owned(),
                    line,
                    requirement,
                });
            }
        }
        let degrees = |text: &str, requirement, limit: f64| {
            let point = if delimiter == b',' {
                text.to_owned()
            } else {
                text.replace(',', ".")
            };
            let value = point
                .parse::<f64>()
                .ok()
                .filter(|value| value.abs() <= limit);
            value.ok_or_else(|| StationsError::NotAPlace {
                path: path.to_owned(),
                line,
                requirement,
                text: text.to_owned(),
                limit,
            })
        };
        let station = Station {
            name: name.to_owned(),
            longitude: degrees(longitude, "longitude", 180.0)?,
            latitude: degrees(latitude, "latitude", 90.0)?,
            record: folder.join(record),
            line,
        };
        if let Some(first) = stations
            .iter()
            .find(|other| other.name.eq_ignore_ascii_case(&station.name))
        {
            return Err(StationsError::Twice {
                path: path.to_owned(),
                line,
                first: first.line,
                name: station.name,
            });
        }
        stations.push(station);
    }
    if stations.is_empty() {
        Err(StationsError::None {
            path: path.to_owned(),
        })
    } else {
        Ok(stations)
    }
}

/// The one column whose folded name is one of `names`.
fn column(
    header: &csv::StringRecord,
    path: &Path,
    requirement: &'static str,
    names: &[&str],
) -> Result<usize, StationsError> {
    let folded = |name: &str| {
        name.to_lowercase()
            .chars()
            .filter(|c| c.is_alphanumeric())
            .collect::<String>()
    };
    let hits: Vec<usize> = header
        .iter()
        .enumerate()
        .filter(|(_, name)| names.contains(&folded(name).as_str()))
        .map(|(at, _)| at)
        .collect();
    match hits.as_slice() {
        [one] => Ok(*one),
        _ => Err(StationsError::Column {
            path: path.to_owned(),
            requirement,
            count: hits.len(),
            found: header.iter().collect::<Vec<_>>().join(", "),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn list(text: &str) -> Result<Vec<Station>, StationsError> {
        parse(text.as_bytes(), Path::new("weather/stations.csv"))
    }

    #[test]
    fn columns_in_any_order_and_either_decimal_mark() {
        let one = list("name,lat,lon,file\nMill Barn,50.25,15.5,mill.csv\n").unwrap();
        assert_eq!(
            one,
            [Station {
                name: "Mill Barn".to_owned(),
                longitude: 15.5,
                latitude: 50.25,
                record: PathBuf::from("weather/mill.csv"),
                line: 2
            }]
        );
        assert_eq!(list("\u{feff}Path;Longitude (deg);Latitude (deg);Station\nmill.csv;15,5;50,25;Mill Barn\n").unwrap(), one);
    }

    #[test]
    fn refusals_name_line_and_way_out() {
        let head = "name,latitude,longitude,path\n";
        for (rows, parts) in [
            (
                "A,95,15,a.csv\n",
                vec!["stations.csv:2", "\"95\" is no latitude", "-90 to 90"],
            ),
            (
                "A,50,east,a.csv\n",
                vec!["\"east\" is no longitude", "-180 to 180"],
            ),
            ("A,nan,15,a.csv\n", vec!["no latitude"]),
            (",50,15,a.csv\n", vec!["stations.csv:2", "no name"]),
            ("A,50,15,\n", vec!["no path of a record"]),
            (
                "A,50,15,a.csv\na,51,15,b.csv\n",
                vec!["stations.csv:3", "\"a\"", "line 2"],
            ),
            ("A,50,15\n", vec!["no table"]),
            ("", vec!["no station"]),
        ] {
            let error = list(&format!("{head}{rows}")).unwrap_err().to_string();
            for part in parts {
                assert!(error.contains(part), "{part} is not in: {error}");
            }
        }
        let error = list("name,lat,latitude,lon,path\n")
            .unwrap_err()
            .to_string();
        assert!(
            error.contains("2 columns could be the latitude")
                && error.contains("name, lat, latitude, lon, path"),
            "{error}"
        );
    }

    proptest::proptest! {
        #[test]
        fn never_panics(bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..200), rows in "[A-C0-9,;.\\-\n\t ]{0,80}") {
            let _ = parse(&bytes, Path::new("stations.csv"));
            let _ = parse(format!("name,lat,lon,path\n{rows}").as_bytes(), Path::new("stations.csv"));
        }
    }
}
