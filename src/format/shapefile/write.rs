//! Writes the machine's zones as a set of shapefile parts, in memory.
//!
//! # Source
//! ESRI Shapefile Technical Description (July 1998) and the dBase III header (date of last update in bytes 1 to 3: year − 1900, month, day), both from memory;
//! the text of the .prj is what GDAL 3.6.2 writes for WGS 84. Single parts, no slivers, 8.3 names: common practice, no source.

use super::error::ShapefileError;
use super::name::safe_name;
use super::table::Table;
use crate::format::lonlat;
use crate::format::payload::Payload;
use crate::map::excluded::excluded;
use crate::map::prescription::{Prescription, ZoneRecord};
use crate::units::half_up_to_hundredth;
use geo::{Area, MultiPolygon};
use jiff::Timestamp;

/// Smaller parts are left out: some controllers stumble over them. \[m²\] Common practice, no source.
const SLIVER_M2: f64 = 1.0;
/// Largest number that N(10,2) holds without a sign.
const LARGEST: f64 = 9_999_999.99;
/// Writes `machine/NAME.shp`, `.shx`, `.dbf`, `.prj` and `.cpg`, NAME being the field's name made 8.3-safe by [`safe_name`].
///
/// One record a part of a zone's machine outline and, with a rate of 0 and the number after the last zone's, of ground that gets nothing ([`excluded`]), in WGS 84, exteriors clockwise, holes counter-clockwise; parts below 1 m² are left out. Columns: `ZONE`
/// N(6,0) and [`Prescription::rate_column`] N(10,2), the latter `rate_of` the zone rounded half up to 0.01.
///
/// `rate_of` gives the rate of a zone in the job's unit within the machine's limits; `instant` is the date in the .dbf (its UTC day).
///
/// # Errors
/// [`ShapefileError`] when there is no zone, a rate is negative, not finite or too large for the column, or a zone has no valid outline in WGS 84.
pub fn write(
    prescription: &Prescription,
    instant: Timestamp,
    rate_of: impl Fn(&ZoneRecord) -> f64,
) -> Result<Vec<Payload>, ShapefileError> {
    let mut table = Table::new(prescription.rate_column());
    let outlines = lonlat::carry(&prescription.zones, &prescription.plane, |zone| {
        &zone.machine_outline
    })?;
    for (zone, outline) in prescription.zones.iter().zip(&outlines) {
        let rate = checked_rate(prescription, zone, rate_of(zone))?;
        // A square degree measures differently in either direction, but by the same factor everywhere in a field.
        let m2_per_square_degree = zone.machine_outline.unsigned_area() / outline.unsigned_area();
        for part in lonlat::cleaned(zone.zone, outline)?
            .iter()
            .filter(|part| part.unsigned_area() * m2_per_square_degree >= SLIVER_M2)
        {
            table.add(zone.zone, rate, part);
        }
    }
    if table.is_empty() {
        return Err(ShapefileError::NoZones);
    }
    let kept_clear = excluded(prescription);
    let number = (prescription.zones.len() as u32 + 1).min(999_999);
    for outline in lonlat::carry_all(
        kept_clear
            .iter()
            .filter(|part| part.unsigned_area() >= SLIVER_M2)
            .map(|part| MultiPolygon::new(vec![part.clone()]))
            .collect::<Vec<_>>()
            .iter()
            .map(|part| (number, part)),
        &prescription.plane,
    )? {
        for part in &lonlat::cleaned(number, &outline)? {
            table.add(number, 0.0, part);
        }
    }
    let name = safe_name(&prescription.field_name, &prescription.map_id);
    table.write(&format!("machine/{name}"), instant)
}

fn checked_rate(
    prescription: &Prescription,
    zone: &ZoneRecord,
    rate: f64,
) -> Result<f64, ShapefileError> {
    let shown = half_up_to_hundredth(rate);
    if !(0.0..=LARGEST).contains(&shown) {
        return Err(ShapefileError::Rate {
            zone: zone.zone,
            rate,
            unit: prescription.rate_label(),
        });
    }
    if zone.zone > 999_999 {
        return Err(ShapefileError::ZoneNumber { zone: zone.zone });
    }
    Ok(shown)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;
    use crate::space::crs::{Crs, Projector};
    use crate::units::RateUnit;
    use geo::{Contains, Validation};
    use shapefile::dbase::FieldValue;
    use shapefile::{Point, Polygon, PolygonRing, Shape, dbase};
    use std::io::Cursor;

    fn instant() -> Timestamp {
        "2026-04-14T00:00:00Z".parse().unwrap()
    }

    fn written(p: &Prescription) -> Vec<Payload> {
        write(p, instant(), |zone| p.shown(zone.n)).unwrap()
    }

    fn read(payloads: &[Payload]) -> Vec<(MultiPolygon<f64>, Polygon, dbase::Record)> {
        let bytes = |extension: &str| {
            Cursor::new(
                payloads
                    .iter()
                    .find(|payload| payload.path.ends_with(extension))
                    .unwrap()
                    .bytes
                    .clone(),
            )
        };
        let shapes = shapefile::ShapeReader::with_shx(bytes(".shp"), bytes(".shx")).unwrap();
        let mut reader = shapefile::Reader::new(shapes, dbase::Reader::new(bytes(".dbf")).unwrap());
        let records: Vec<_> = reader
            .iter_shapes_and_records()
            .map(Result::unwrap)
            .collect();
        records
            .into_iter()
            .map(|(shape, record)| {
                let Shape::Polygon(polygon) = shape else {
                    panic!("not a polygon")
                };
                let mut parts: Vec<geo::Polygon<f64>> = Vec::new();
                for ring in polygon.rings() {
                    let line: geo::LineString<f64> =
                        ring.points().iter().map(|p| (p.x, p.y)).collect();
                    match ring {
                        PolygonRing::Outer(_) => parts.push(geo::Polygon::new(line, Vec::new())),
                        PolygonRing::Inner(_) => parts.last_mut().unwrap().interiors_push(line),
                    }
                }
                (MultiPolygon::new(parts), polygon, record)
            })
            .collect()
    }

    fn number(record: &dbase::Record, column: &str) -> f64 {
        match record.get(column) {
            Some(FieldValue::Numeric(Some(value))) => *value,
            other => panic!("{column}: {other:?}"),
        }
    }

    #[test]
    fn the_set_is_complete_and_named_8_3() {
        let paths: Vec<_> = written(&fixture::prescription())
            .into_iter()
            .map(|payload| payload.path)
            .collect();
        let expected = ["shp", "shx", "dbf", "prj", "cpg"]
            .map(|extension| format!("machine/LONG_LEY.{extension}"));
        assert_eq!(paths, expected);
    }

    #[test]
    fn rates_stand_where_they_belong_and_run_over_the_edge() {
        let p = fixture::prescription();
        let records = read(&written(&p));
        let way = Projector::new(&p.plane, &Crs::wgs84()).unwrap();
        let cases = [
            (10.0, 10.0, Some((1.0, 167.41))),
            (72.0, 84.0, Some((2.0, 0.0))),
            (306.0, 206.0, Some((3.0, 251.12))),
            // The exclusion is a zone of nothing, not a gap.
            (210.0, 90.0, Some((4.0, 0.0))),
            (320.0, 10.0, None),
        ];
        for (along, left, expected) in cases {
            let (x, y) = fixture::point(along, left);
            let point = geo::Point::from(way.point(x, y).unwrap());
            let hits: Vec<_> = records
                .iter()
                .filter(|(outline, _, _)| outline.contains(&point))
                .collect();
            assert_eq!(
                hits.len(),
                usize::from(expected.is_some()),
                "{along} {left}"
            );
            assert_eq!(
                hits.first()
                    .map(|(_, _, record)| (number(record, "ZONE"), number(record, "L_HA"))),
                expected
            );
        }
    }

    #[test]
    fn rings_turn_clockwise_and_holes_the_other_way() {
        let signed = |points: &[Point]| {
            points
                .windows(2)
                .map(|w| w[0].x * w[1].y - w[1].x * w[0].y)
                .sum::<f64>()
                / 2.0
        };
        let payloads = written(&fixture::prescription());
        let records = read(&payloads);
        assert_eq!(
            records
                .iter()
                .map(|(_, polygon, _)| polygon.rings().len())
                .collect::<Vec<_>>(),
            [2, 1, 2, 1]
        );
        for (outline, polygon, _) in &records {
            assert!(outline.is_valid());
            // Sums over degrees lose digits: measure from the first point.
            for ring in polygon.rings() {
                let origin = ring.points()[0];
                let points: Vec<_> = ring
                    .points()
                    .iter()
                    .map(|p| Point::new(p.x - origin.x, p.y - origin.y))
                    .collect();
                assert_eq!(matches!(ring, PolygonRing::Outer(_)), signed(&points) < 0.0);
                assert_eq!(ring.points().first(), ring.points().last());
            }
        }
        // File header: code 9994 big-endian, version 1000 and type 5 (polygon) little-endian; the box holds all points.
        let shp = &payloads[0].bytes;
        assert_eq!(
            (&shp[0..4], &shp[28..32], &shp[32..36]),
            (
                &9994_i32.to_be_bytes()[..],
                &1000_i32.to_le_bytes()[..],
                &5_i32.to_le_bytes()[..]
            )
        );
        assert_eq!(
            i32::from_be_bytes(shp[24..28].try_into().unwrap()) as usize * 2,
            shp.len()
        );
        let west = f64::from_le_bytes(shp[36..44].try_into().unwrap());
        assert!((14.0..14.1).contains(&west), "{west}");
    }

    #[test]
    fn columns_date_and_width_are_as_promised() {
        let mut p = fixture::prescription();
        for (unit, column) in [
            (RateUnit::LPerHa, "L_HA"),
            (RateUnit::KgPerHa, "KG_HA"),
            (RateUnit::LbPerAc, "LB_AC"),
            (RateUnit::GalPerAc, "GAL_AC"),
        ] {
            p.unit = unit;
            let dbf = written(&p).remove(2).bytes;
            assert_eq!(&dbf[1..4], &[126, 4, 14]);
            let field = |i: usize| {
                let at = 32 + 32 * i;
                let name: String = dbf[at..at + 11]
                    .iter()
                    .take_while(|byte| **byte != 0)
                    .map(|byte| char::from(*byte))
                    .collect();
                (name, char::from(dbf[at + 11]), dbf[at + 16], dbf[at + 17])
            };
            assert_eq!(field(0), ("ZONE".to_owned(), 'N', 6, 0));
            assert_eq!(field(1), (column.to_owned(), 'N', 10, 2));
            assert_eq!(dbf[32 + 64], 0x0D, "two columns only");
        }
        p.product = None;
        p.unit = RateUnit::KgPerHa;
        assert_eq!(number(&read(&written(&p))[0].2, "KG_N_HA"), 60.0);
    }

    #[test]
    fn parts_become_records_and_slivers_go() {
        let mut p = fixture::prescription();
        let square = |x: f64, side: f64| {
            geo::Rect::new(
                (430_500.0 + x, 5_500_000.0),
                (430_500.0 + x + side, 5_500_000.0 + side),
            )
            .to_polygon()
        };
        p.zones[2].machine_outline = MultiPolygon::new(vec![
            square(0.0, 20.0),
            square(50.0, 0.9),
            square(100.0, 1.1),
        ]);
        let zones: Vec<_> = read(&written(&p))
            .iter()
            .map(|(_, _, record)| number(record, "ZONE"))
            .collect();
        // The exclusion is the zone after the last.
        assert_eq!(zones, [1.0, 2.0, 3.0, 3.0, 4.0]);
        for zone in &mut p.zones {
            zone.machine_outline = MultiPolygon::new(vec![square(0.0, 0.9)]);
        }
        assert!(matches!(
            write(&p, instant(), |_| 1.0),
            Err(ShapefileError::NoZones)
        ));
    }

    #[test]
    fn rounds_half_up_once_refuses_what_does_not_fit_and_repeats_itself() {
        let p = fixture::prescription();
        assert_eq!(written(&p), written(&p));
        // 12.125 is exact in binary: half up gives 12.13 where half to even would give 12.12.
        assert_eq!(
            number(
                &read(&write(&p, instant(), |_| 12.125).unwrap())[0].2,
                "L_HA"
            ),
            12.13
        );
        for rate in [-1.0, f64::NAN, f64::INFINITY, 1e7] {
            assert!(
                matches!(
                    write(&p, instant(), |_| rate),
                    Err(ShapefileError::Rate { zone: 1, .. })
                ),
                "{rate}"
            );
        }
        let mut none = p;
        none.zones.clear();
        assert!(matches!(
            write(&none, instant(), |_| 0.0),
            Err(ShapefileError::NoZones)
        ));
    }
}
