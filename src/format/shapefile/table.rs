//! The parts of a shapefile, in memory.

use std::io::Cursor;

use crate::format::WriteError;
use crate::format::payload::Payload;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use shapefile::dbase::{FieldName, FieldValue, Record, TableWriterBuilder};
use shapefile::{Point, Polygon, PolygonRing, ShapeWriter};

/// WGS 84 longitude and latitude as ESRI writes it.
const PRJ: &str = r#"GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]"#;
/// Column of the zone's number.
const ZONE_COLUMN: &str = "ZONE";

/// Polygons with a zone number and a rate, in WGS 84.
pub(super) struct Table {
    column: &'static str,
    records: Vec<(u32, f64, Polygon)>,
}

impl Table {
    /// No record yet; `column` names the rate by its unit, in 10 letters at most.
    pub(super) const fn new(column: &'static str) -> Self {
        Self {
            column,
            records: Vec::new(),
        }
    }
    /// One more: zone N(6,0), rate N(10,2), so both must fit.
    pub(super) fn add(&mut self, zone: u32, rate: f64, part: &geo::Polygon<f64>) {
        self.records.push((zone, rate, shape_of(part)));
    }
    /// `NAME.shp`, `.shx`, `.dbf`, `.prj` and `.cpg`; `instant` is the date in the .dbf (its UTC day).
    ///
    /// # Errors
    /// When the library refuses.
    pub(super) fn write(&self, name: &str, instant: Timestamp) -> Result<Vec<Payload>, WriteError> {
        let (mut shp, mut shx, mut dbf) = (
            Cursor::new(Vec::new()),
            Cursor::new(Vec::new()),
            Cursor::new(Vec::new()),
        );
        let named = |name: &'static str| {
            FieldName::try_from(name).map_err(|_| WriteError::Column { column: name })
        };
        let table = TableWriterBuilder::new()
            .add_numeric_field(named(ZONE_COLUMN)?, 6, 0)
            .add_numeric_field(named(self.column)?, 10, 2);
        {
            let mut shapes = ShapeWriter::with_shx(&mut shp, &mut shx);
            let mut rows = table.build_with_dest(&mut dbf);
            for (zone, rate, shape) in &self.records {
                let mut record = Record::default();
                record.insert(
                    ZONE_COLUMN.to_owned(),
                    FieldValue::Numeric(Some(f64::from(*zone))),
                );
                record.insert(self.column.to_owned(), FieldValue::Numeric(Some(*rate)));
                shapes.write_shape(shape)?;
                rows.write_record(&record).map_err(shapefile::Error::from)?;
            }
            shapes.finalize()?;
            rows.finalize().map_err(shapefile::Error::from)?;
        }
        let mut dbf = dbf.into_inner();
        pin_date(&mut dbf, instant);
        let part =
            |extension: &str, bytes: Vec<u8>| Payload::new(format!("{name}.{extension}"), bytes);
        Ok(vec![
            part("shp", shp.into_inner()),
            part("shx", shx.into_inner()),
            part("dbf", dbf),
            part("prj", PRJ.as_bytes().to_vec()),
            part("cpg", b"UTF-8".to_vec()),
        ])
    }
}

/// The library turns the rings: exteriors clockwise, holes counter-clockwise.
fn shape_of(part: &geo::Polygon<f64>) -> Polygon {
    let points = |ring: &geo::LineString<f64>| {
        ring.coords()
            .map(|c| Point::new(c.x, c.y))
            .collect::<Vec<_>>()
    };
    let holes = part
        .interiors()
        .iter()
        .map(|hole| PolygonRing::Inner(points(hole)));
    Polygon::with_rings(
        std::iter::once(PolygonRing::Outer(points(part.exterior())))
            .chain(holes)
            .collect(),
    )
}

/// The library writes today's date; the same job must give the same bytes tomorrow.
fn pin_date(dbf: &mut [u8], instant: Timestamp) {
    let date = TimeZone::UTC.to_datetime(instant).date();
    let bytes = [
        (date.year() - 1900).clamp(0, 255) as u8,
        date.month() as u8,
        date.day() as u8,
    ];
    if let Some(header) = dbf.get_mut(1..4) {
        header.copy_from_slice(&bytes);
    }
}
