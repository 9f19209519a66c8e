//! From GDAL's reference systems to ours.

use gdal::spatial_ref::SpatialRef;

use crate::format::systems_text::{needs_file, system};
use crate::format::{WriteError, gdal_layer, library};
use crate::space::crs::Crs;

/// The system that a file states; `None` when it states none, a local one that lies nowhere, or one that needs a file of its own.
pub fn system_of(stated: &SpatialRef) -> Option<Crs> {
    let name = stated.name().unwrap_or_else(|| "unnamed system".to_owned());
    if stated.is_local()
        || stated.is_geocentric()
        || (stated.is_vertical() && !stated.is_compound())
    {
        return None;
    }
    if stated.is_compound() {
        // Heights play no part here: the plane of it is what counts.
        return system_of(&SpatialRef::from_wkt(horizontal_part(&stated.to_wkt().ok()?)?).ok()?);
    }
    let geographic = stated.is_geographic();
    let code = |system: &SpatialRef| {
        let epsg = system
            .auth_name()
            .is_some_and(|authority| authority == "EPSG");
        epsg.then(|| system.auth_code().ok())
            .flatten()
            .and_then(|code| u32::try_from(code).ok())
    };
    let mut known = code(stated);
    if known.is_none() {
        let mut copy = stated.clone();
        if copy.auto_identify_epsg().is_ok() {
            // It looks at the projection alone: a UTM zone in feet would become the zone in metres.
            known = code(&copy).filter(|code| {
                SpatialRef::from_epsg(*code).is_ok_and(|system| {
                    (system.linear_units() - stated.linear_units()).abs() < 1e-9
                })
            });
        }
    }
    match known {
        Some(code) => Some(Crs::epsg(code, &name).geographic(geographic)),
        None => stated
            .to_wkt()
            .ok()
            .filter(|wkt| !wkt.is_empty() && !needs_file(wkt))
            .map(|wkt| Crs::other(wkt, name).geographic(geographic)),
    }
}

/// A system as PROJJSON, the form of it that tables in memory carry.
///
/// # Errors
/// When GDAL does not understand it.
pub fn projjson(system: &Crs) -> Result<String, WriteError> {
    library::ready();
    gdal_layer::system(system)?
        .to_projjson()
        .map_err(WriteError::gdal("saying the reference system"))
}

/// The projected or geographic part of a compound system's WKT.
fn horizontal_part(wkt: &str) -> Option<&str> {
    let start = ["PROJCS[", "GEOGCS["]
        .iter()
        .filter_map(|word| wkt.find(word))
        .min()?;
    let (mut depth, mut quoted) = (0_usize, false);
    for (at, c) in wkt[start..].char_indices() {
        match c {
            '"' => quoted = !quoted,
            '[' if !quoted => depth += 1,
            ']' if !quoted => {
                depth = depth.checked_sub(1)?;
                if depth == 0 {
                    return wkt.get(start..=start + at);
                }
            }
            _ => {}
        }
    }
    None
}

/// The system that a text names: a code such as `EPSG:32633`, WKT, PROJJSON or a PROJ string. Addresses and files are not looked at.
///
/// # Errors
/// Why no such system is known.
pub fn system_named(text: &str) -> Result<Crs, String> {
    library::ready();
    on_a_map(&system(text)?)
}

/// The system of a shapefile's `.prj`: WKT, in the words of its first makers where need be.
///
/// # Errors
/// Why no such system is known.
pub(crate) fn system_of_prj(text: &str) -> Result<Crs, String> {
    system_named(text).or_else(|reason| {
        if needs_file(text) {
            return Err(reason);
        }
        on_a_map(&SpatialRef::from_esri(text).map_err(|error| error.to_string())?)
    })
}

fn on_a_map(system: &SpatialRef) -> Result<Crs, String> {
    system_of(system)
        .ok_or_else(|| "it is local, vertical or geocentric, and says no place on a map".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_projection_in_another_unit_is_another_system() {
        let of = |easting: f64, unit: &str| {
            let wkt = format!(
                "PROJCS[\"unknown\",GEOGCS[\"WGS 84\",DATUM[\"WGS_1984\",SPHEROID[\"WGS 84\",6378137,298.257223563,AUTHORITY[\"EPSG\",\"7030\"]],AUTHORITY[\"EPSG\",\"6326\"]],PRIMEM[\"Greenwich\",0],UNIT[\"degree\",0.0174532925199433],AUTHORITY[\"EPSG\",\"4326\"]],PROJECTION[\"Transverse_Mercator\"],PARAMETER[\"latitude_of_origin\",0],PARAMETER[\"central_meridian\",15],PARAMETER[\"scale_factor\",0.9996],PARAMETER[\"false_easting\",{easting}],PARAMETER[\"false_northing\",0],UNIT[{unit}]]"
            );
            system_of(&SpatialRef::from_wkt(&wkt).unwrap()).unwrap()
        };
        let (metres, feet) = (
            of(500_000.0, "\"metre\",1"),
            of(500_000.0 / 0.3048, "\"foot\",0.3048"),
        );
        assert_eq!((metres.code(), feet.code()), (Some(32_633), None));
        // 500 000 m of false easting, whatever the unit of the coordinates.
        let place = |system: &Crs, unit: f64| {
            let way = crate::space::crs::Projector::new(system, &Crs::wgs84()).unwrap();
            way.point(560_000.0 / unit, 5_560_000.0 / unit).unwrap()
        };
        let (by_metres, by_feet) = (place(&metres, 1.0), place(&feet, 0.3048));
        assert!(
            (by_feet.0 - by_metres.0).abs() < 1e-9 && (by_feet.1 - by_metres.1).abs() < 1e-9,
            "{by_feet:?} {by_metres:?}"
        );
    }
}
