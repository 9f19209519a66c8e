//! A plain map as a shapefile for controllers, with its style.

use super::error::CarriedOutError;
use crate::format::lonlat;
use crate::format::payload::Payload;
use crate::format::shapefile::Table;
use crate::format::style::{Style, qml_vector};
use crate::map::palette::Legend;
use crate::map::plain::PlainMap;
use crate::units::half_up_to_hundredth;
use geo::Area;
use jiff::Timestamp;

/// Smaller parts are left out: some controllers stumble over them. \[m²\] Common practice, no source.
const SLIVER_M2: f64 = 1.0;
/// Largest number that N(10,2) holds without a sign.
const LARGEST: f64 = 9_999_999.99;

/// `NAME.shp`, `.shx`, `.dbf`, `.prj`, `.cpg` and `.qml`: WGS 84, one record a part of a zone, columns `ZONE` N(6,0) and one rate N(10,2) named by its unit. Also how
/// many parts below 1 m² were left out, and their area.
///
/// # Errors
/// [`CarriedOutError`].
pub fn write(
    map: &PlainMap,
    name: &str,
    instant: Timestamp,
) -> Result<(Vec<Payload>, usize, f64), CarriedOutError> {
    if map.zones.len() > 999_999 {
        return Err(CarriedOutError::TooMany {
            zones: map.zones.len(),
        });
    }
    let outlines = lonlat::carry_all(
        map.zones.iter().map(|zone| (zone.zone, &zone.outline)),
        &map.system,
    )?;
    let mut table = Table::new(map.measure.column());
    let (mut dropped, mut dropped_m2) = (0, 0.0);
    for (zone, outline) in map.zones.iter().zip(&outlines) {
        let rate = half_up_to_hundredth(zone.rate);
        if !(0.0..=LARGEST).contains(&rate) {
            return Err(CarriedOutError::Rate {
                zone: zone.zone,
                rate: zone.rate,
                unit: map.measure.label(),
            });
        }
        let m2_per_square_degree = zone.area_m2 / outline.unsigned_area();
        for part in &lonlat::cleaned(zone.zone, outline)? {
            let area = part.unsigned_area() * m2_per_square_degree;
            if area >= SLIVER_M2 {
                table.add(zone.zone, rate, part);
            } else {
                dropped += 1;
                dropped_m2 += area;
            }
        }
    }
    if table.is_empty() {
        return Err(CarriedOutError::NoZones);
    }
    let rates = map.zones.iter().map(|zone| half_up_to_hundredth(zone.rate));
    let legend = Legend::new(
        format!("Rate of {}", map.product_shown()),
        map.measure.label(),
        rates,
    );
    let mut files = table.write(name, instant)?;
    files.push(Payload::new(
        format!("{name}.qml"),
        qml_vector(&Style::rates(&legend, map.measure.column(), None))?,
    ));
    Ok((files, dropped, dropped_m2))
}
