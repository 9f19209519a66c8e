//! Readings as separated values: comma, semicolon or tab; decimal commas where the separator is no comma; a byte order mark is passed over.

use std::path::Path;

use super::error::PointFileError;
use super::{Columns, Gathered, PointTable, Raw, Requirement, column, text};
use crate::format::bounds;
use crate::space::crs::Crs;

/// Usual names of a longitude column, signs and case aside.
const LONGITUDE: &[&str] = &[
    "lon",
    "long",
    "lng",
    "longitude",
    "gpslon",
    "gpslong",
    "gpslongitude",
    "longitudedeg",
    "londeg",
];
/// Usual names of a latitude column.
const LATITUDE: &[&str] = &[
    "lat",
    "latitude",
    "gpslat",
    "gpslatitude",
    "latitudedeg",
    "latdeg",
];
/// Usual names of an easting.
const EASTING: &[&str] = &["x", "easting", "east", "utmx", "utmeasting"];
/// Usual names of a northing.
const NORTHING: &[&str] = &["y", "northing", "north", "utmy", "utmnorthing"];

/// Reads the bytes of a file; `path` is for messages.
pub(super) fn parse(
    bytes: &[u8],
    path: &Path,
    requirement: &Requirement<'_>,
) -> Result<PointTable, PointFileError> {
    if let Some(name) = requirement.layer {
        return Err(PointFileError::Layer {
            path: path.to_owned(),
            problem: format!("there is no layer {name:?} in a text file"),
            layers: Vec::new(),
        });
    }
    if let Some(filter) = requirement.filter {
        let reason =
            "a text file cannot be filtered: take the rows out, or give a vector file".to_owned();
        return Err(PointFileError::Filter {
            path: path.to_owned(),
            filter: filter.to_owned(),
            reason,
        });
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let content = std::str::from_utf8(bytes).map_err(|error| {
        let line = bytes
            .iter()
            .take(error.valid_up_to())
            .filter(|byte| **byte == b'\n')
            .count() as u64
            + 1;
        PointFileError::NotText {
            path: path.to_owned(),
            line,
        }
    })?;
    let unreadable = |error: &csv::Error| PointFileError::Unreadable {
        path: path.to_owned(),
        reason: error.to_string(),
    };
    bounds::lines(content).map_err(|error| unreadable(&error.into()))?;
    let delimiter = text::delimiter(content);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .from_reader(content.as_bytes());
    let names: Vec<String> = reader
        .headers()
        .map_err(|error| unreadable(&error))?
        .iter()
        .map(str::to_owned)
        .collect();
    let mut columns = Columns::find(names, path, requirement, delimiter != b',')?;
    let (place, degrees) = place(&columns.names, path, requirement)?;
    columns.place = Some(place);
    let crs = match (requirement.crs, degrees) {
        (Some(crs), _) => crs.clone(),
        (None, true) => Crs::wgs84(),
        (None, false) => {
            let what = format!(
                "the columns {:?} and {:?} are in",
                columns.names[place.0], columns.names[place.1]
            );
            return Err(PointFileError::NoSystem {
                path: path.to_owned(),
                what,
            });
        }
    };
    let mut gathered = Gathered::new(path, columns, crs);
    for row in reader.records() {
        let row = row.map_err(|error| unreadable(&error))?;
        if row.iter().all(str::is_empty) {
            continue;
        }
        let line = row.position().map_or(0, csv::Position::line);
        gathered.take(&Raw {
            place: format!("line {line}"),
            at: None,
            cells: &|at| row.get(at).unwrap_or("").to_owned(),
        })?;
    }
    gathered.finish()
}

/// Columns of the coordinates, and whether their names say that they are degrees.
fn place(
    names: &[String],
    path: &Path,
    requirement: &Requirement<'_>,
) -> Result<((usize, usize), bool), PointFileError> {
    if let Some((x, y)) = requirement.place {
        let (x, y) = (
            column(names, path, "longitude or easting", Some(x), &[])?,
            column(names, path, "latitude or northing", Some(y), &[])?,
        );
        let usual = |at: usize, list: &[&str]| list.contains(&text::split(&names[at]).0.as_str());
        return Ok(((x, y), usual(x, LONGITUDE) && usual(y, LATITUDE)));
    }
    match (
        column(names, path, "longitude", None, LONGITUDE),
        column(names, path, "latitude", None, LATITUDE),
    ) {
        (Ok(x), Ok(y)) => Ok(((x, y), true)),
        (Err(twice @ PointFileError::TwoColumns { .. }), _)
        | (_, Err(twice @ PointFileError::TwoColumns { .. })) => Err(twice),
        (longitude, _) => match (
            column(names, path, "easting", None, EASTING),
            column(names, path, "northing", None, NORTHING),
        ) {
            (Ok(x), Ok(y)) => Ok(((x, y), false)),
            _ => Err(longitude.err().unwrap_or(PointFileError::NoColumn {
                path: path.to_owned(),
                requirement: "latitude",
                named: None,
                found: names.to_vec(),
            })),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(crate) const PLAIN: Requirement<'static> = Requirement {
        layer: None,
        filter: None,
        column: None,
        index: "NDVI",
        place: None,
        crs: None,
        time: None,
        pass: None,
        speed: None,
        speed_unit: None,
        scaled: false,
    };

    fn parsed(text: &str, requirement: &Requirement<'_>) -> Result<PointTable, PointFileError> {
        parse(text.as_bytes(), Path::new("log.csv"), requirement)
    }

    #[test]
    fn a_plain_log() {
        let table = parsed("Lat,Lon,NDVI,note\n50.1,15.2,0.61,a\n50.2,15.3,,b\n0,0,0.5,no fix\n,15.3,0.5,\n\n50.3,15.4,-9999,\n", &PLAIN).unwrap();
        assert_eq!(table.crs.code(), Some(4326));
        assert_eq!(
            (table.rows.len(), table.no_place, table.column.as_str()),
            (3, 2, "NDVI")
        );
        assert_eq!(
            table.rows[0],
            PointRow {
                x: 15.2,
                y: 50.1,
                value: Some(0.61),
                pass: 0,
                speed: None
            }
        );
        assert_eq!((table.rows[1].value, table.rows[2].value), (None, None));
    }
    use super::super::PointRow;

    #[test]
    fn semicolons_decimal_commas_a_mark_units_passes_and_times() {
        let text = "\u{feff}Zeit;Bahn;Rechts;Hoch;Wert (%);Tempo (km/h)\n10:00:02;2;500010,5;5540000;62,5;7,2\n10:00:01;1;500000,5;5540000;61;3,6\n";
        let crs = Crs::epsg(32_633, "WGS 84 / UTM zone 33N");
        let requirement = Requirement {
            column: Some("wert (%)"),
            place: Some(("Rechts", "Hoch")),
            crs: Some(&crs),
            time: Some("Zeit"),
            pass: Some("Bahn"),
            speed: Some("Tempo (km/h)"),
            scaled: true,
            ..PLAIN
        };
        let table = parsed(text, &requirement).unwrap();
        assert_eq!(
            table.rows[0],
            PointRow {
                x: 500_000.5,
                y: 5_540_000.0,
                value: Some(61.0),
                pass: 1,
                speed: Some(1.0)
            }
        );
        assert_eq!((table.rows[1].pass, table.rows[1].value), (0, Some(62.5)));
        assert!(matches!(
            parsed(
                text,
                &Requirement {
                    scaled: false,
                    ..requirement
                }
            ),
            Err(PointFileError::Unit { .. })
        ));
        assert!(matches!(
            parsed(
                text,
                &Requirement {
                    speed_unit: Some(1.0),
                    ..requirement
                }
            ),
            Err(PointFileError::Unit { .. })
        ));
        assert!(matches!(
            parsed(
                &text.replace(" (km/h)", ""),
                &Requirement {
                    speed: Some("Tempo"),
                    ..requirement
                }
            ),
            Err(PointFileError::Unit { .. })
        ));
        assert!(matches!(
            parsed(
                text,
                &Requirement {
                    crs: None,
                    ..requirement
                }
            ),
            Err(PointFileError::NoSystem { .. })
        ));
        assert!(matches!(
            parsed(&text.replace("10:00:01", "soon"), &requirement),
            Err(PointFileError::NotATime { .. })
        ));
    }

    #[test]
    fn what_is_refused() {
        let minutes = parsed("lat,lon,ndvi\n5012.345,1512.5,0.6\n", &PLAIN).unwrap_err();
        assert!(
            matches!(minutes, PointFileError::DegreesMinutes { .. }),
            "{minutes}"
        );
        assert!(minutes.to_string().contains("line 2"), "{minutes}");
        assert!(matches!(
            parsed("lat,lon,ndvi\n5540000,500000,0.6\n", &PLAIN),
            Err(PointFileError::Place { .. })
        ));
        assert!(matches!(
            parsed("lat,lon,ndvi\n50,15,green\n", &PLAIN),
            Err(PointFileError::NotANumber { .. })
        ));
        assert!(matches!(
            parsed("lat,lon,ndre\n50,15,0.6\n", &PLAIN),
            Err(PointFileError::NoColumn { .. })
        ));
        assert!(matches!(
            parsed("lat,latitude,lon,ndvi\n50,50,15,0.6\n", &PLAIN),
            Err(PointFileError::TwoColumns { .. })
        ));
        assert!(matches!(
            parsed("x,y,ndvi\n500000,5540000,0.6\n", &PLAIN),
            Err(PointFileError::NoSystem { .. })
        ));
        assert!(matches!(
            parsed("lat,lon,ndvi\n50,15,\n", &PLAIN),
            Err(PointFileError::Empty { rows: 1, .. })
        ));
        assert!(matches!(
            parse(
                b"lat,lon,ndvi\n50,15,0.6\n\xff",
                Path::new("log.csv"),
                &PLAIN
            ),
            Err(PointFileError::NotText { line: 3, .. })
        ));
        assert!(matches!(
            parsed(
                "lat,lon,ndvi\n50,15,0.6\n",
                &Requirement {
                    filter: Some("a = 1"),
                    ..PLAIN
                }
            ),
            Err(PointFileError::Filter { .. })
        ));
        assert!(matches!(
            parsed("lat,lon,ndvi\n50,15\n", &PLAIN),
            Err(PointFileError::Unreadable { .. })
        ));
    }
}
