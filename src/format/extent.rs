//! Where coordinates of a reference system can lie. One vertex far away, a common fill value for instance, makes overlays lose what lies beside it.

use gdal::spatial_ref::SpatialRef;

use crate::format::library;
use crate::space::crs::{Crs, Projector};

/// No metre grid reaches farther from its origin: half the equator of WGS 84 is 20 037 508 m. \[m\]
const MAXIMUM_DISTANCE_M: f64 = 2.004e7;
/// An area of use is widened on each side by its own size, by so much at least: fields are mapped in the next zone, too. \[°\]
const MARGIN_DEG: f64 = 10.0;
/// Points along a side of the area that are carried into the system.
const SAMPLES: usize = 13;
/// Radians in a degree.
const DEGREE: f64 = std::f64::consts::PI / 180.0;

/// The coordinates that a system can have.
#[derive(Clone, Debug)]
pub(crate) struct Extent {
    name: String,
    geographic: bool,
    /// Metres in one of its units.
    unit_m: f64,
    /// West, south, east, north in its own coordinates; `None` when it states no area of use.
    bounds: Option<[f64; 4]>,
}

/// A coordinate as messages show it: without forty digits.
pub(crate) fn shown(value: f64) -> String {
    if value.abs() >= 1e12 {
        format!("{value:e}")
    } else {
        value.to_string()
    }
}

impl Extent {
    /// Of a system, by its own area of use where it states one.
    pub(crate) fn of(crs: &Crs) -> Self {
        library::ready();
        let system = match crs.code() {
            Some(code) => SpatialRef::from_epsg(code).ok(),
            None => SpatialRef::from_wkt(crs.definition()).ok(),
        };
        let unit_m = system
            .as_ref()
            .filter(|system| !system.is_geographic())
            .map_or(1.0, SpatialRef::linear_units);
        Self {
            name: crs.to_string(),
            geographic: crs.is_geographic(),
            unit_m,
            bounds: system.and_then(|system| bounds(&system, crs)),
        }
    }

    /// Of a map whose system nobody states.
    pub(crate) fn unknown() -> Self {
        Self {
            name: "any system".to_owned(),
            geographic: false,
            unit_m: 1.0,
            bounds: None,
        }
    }

    /// Why no place can have these coordinates; `None` when one can.
    pub(crate) fn problem(&self, x: f64, y: f64) -> Option<String> {
        if !x.is_finite() || !y.is_finite() {
            return Some("is no finite number".to_owned());
        }
        if self.geographic {
            if x.abs() > 180.0 || y.abs() > 90.0 {
                return Some("is no longitude and latitude in degrees".to_owned());
            }
        } else if x.abs().max(y.abs()) * self.unit_m > MAXIMUM_DISTANCE_M {
            return Some("lies farther away than the Earth is wide".to_owned());
        }
        let [west, south, east, north] = self.bounds?;
        let inside = x >= west && x <= east && y >= south && y <= north;
        (!inside).then(|| {
            let unit = if self.geographic { 2 } else { 0 };
            format!(
                "lies far outside where {} is used (x {west:.unit$} to {east:.unit$}, y {south:.unit$} to {north:.unit$}, margin included)",
                self.name
            )
        })
    }

    /// Whether its coordinates are longitude and latitude.
    pub(crate) const fn is_geographic(&self) -> bool {
        self.geographic
    }

    /// Whether a pair of numbers could be longitude and latitude.
    pub(crate) fn like_degrees(x: f64, y: f64) -> bool {
        x.abs() <= 180.0 && y.abs() <= 90.0
    }
}

/// Degrees of an area of use with its margin: from, size, up to 360 and within ±90.
fn widened(system: &SpatialRef) -> Option<[f64; 4]> {
    let area = system.area_of_use()?;
    let (west, south, mut east, north) = (
        area.west_lon_degree,
        area.south_lat_degree,
        area.east_lon_degree,
        area.north_lat_degree,
    );
    if ![west, south, east, north].iter().all(|v| v.abs() <= 180.0) || south >= north {
        return None;
    }
    if east <= west {
        east += 360.0;
    }
    let (wide, high) = (
        (east - west).max(MARGIN_DEG),
        (north - south).max(MARGIN_DEG),
    );
    Some([
        west - wide,
        (south - high).max(-90.0),
        (east + wide).min(west - wide + 360.0),
        (north + high).min(90.0),
    ])
}

fn bounds(system: &SpatialRef, crs: &Crs) -> Option<[f64; 4]> {
    let [west, south, east, north] = widened(system)?;
    if crs.is_geographic() {
        // Of another meridian or in another unit, the numbers are not those of the area.
        let plain = (system.angular_units() - DEGREE).abs() < 1e-9
            && system
                .get_attr_value("PRIMEM", 1)
                .ok()
                .flatten()
                .and_then(|text| text.parse::<f64>().ok())
                .is_some_and(|meridian| meridian == 0.0);
        if !plain {
            return None;
        }
        // Across the meridian of 180° any longitude may do.
        let (west, east) = if west < -180.0 || east > 180.0 {
            (-180.0, 180.0)
        } else {
            (west, east)
        };
        return Some([west, south, east, north]);
    }
    let way = Projector::new(&Crs::wgs84(), crs).ok()?;
    let farthest = MAXIMUM_DISTANCE_M / system.linear_units();
    let mut found: Option<[f64; 4]> = None;
    let mut carried = 0;
    let steps = (SAMPLES - 1) as f64;
    for row in 0..SAMPLES {
        for col in 0..SAMPLES {
            let mut longitude = west + (east - west) * col as f64 / steps;
            if longitude < -180.0 {
                longitude += 360.0;
            } else if longitude > 180.0 {
                longitude -= 360.0;
            }
            let latitude = south + (north - south) * row as f64 / steps;
            let Ok((x, y)) = way.point(longitude, latitude) else {
                continue;
            };
            if x.abs().max(y.abs()) > farthest {
                continue;
            }
            carried += 1;
            found = Some(found.map_or([x, y, x, y], |[w, s, e, n]| {
                [w.min(x), s.min(y), e.max(x), n.max(y)]
            }));
        }
    }
    // Where most of the area cannot be carried, nobody knows its bounds.
    let [west, south, east, north] = found.filter(|_| 2 * carried > SAMPLES * SAMPLES)?;
    let (wide, high) = (0.1 * (east - west), 0.1 * (north - south));
    Some([west - wide, south - high, east + wide, north + high])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format::systems::system_named;

    #[test]
    fn fill_values_lie_nowhere_and_fields_lie_somewhere() {
        let of = |code: &str| Extent::of(&system_named(code).unwrap());
        // Corners of areas of use as EPSG states them (dataset 10.074, from memory), in each system's own coordinates, and far beyond.
        for (code, x, y) in [
            ("EPSG:4326", 15.0, 50.0),
            ("EPSG:4326", -180.0, -89.0),
            ("EPSG:32633", 560_000.0, 5_560_000.0),
            ("EPSG:32633", -100_000.0, 7_000_000.0),
            ("EPSG:32760", 500_000.0, 5_000_000.0),
            ("EPSG:3857", 20_037_508.0, -4_500_000.0),
            ("EPSG:27700", 400_000.0, 300_000.0),
            ("EPSG:31468", 4_500_000.0, 5_500_000.0),
            ("EPSG:2154", 700_000.0, 6_600_000.0),
            ("EPSG:3035", 4_321_000.0, 3_210_000.0),
            ("EPSG:6350", 0.0, 2_000_000.0),
            ("EPSG:26915", 500_000.0, 4_650_000.0),
            ("EPSG:2264", 2_000_000.0, 600_000.0),
            ("EPSG:4269", -95.0, 42.0),
        ] {
            assert_eq!(of(code).problem(x, y), None, "{code} {x} {y}");
        }
        for (code, x, y) in [
            ("EPSG:4326", 15.0, 330.0),
            ("EPSG:4326", -9.97e36, 50.0),
            ("EPSG:32633", -9.97e36, 5_560_000.0),
            ("EPSG:32633", -5e11, 5_560_000.0),
            ("EPSG:32633", 560_000.0, 1.9e7),
            ("EPSG:32633", f64::NAN, 5_560_000.0),
            ("EPSG:3857", 2.1e7, 0.0),
            ("EPSG:27700", 9_000_000.0, 300_000.0),
            ("EPSG:4269", 100.0, -60.0),
        ] {
            assert!(of(code).problem(x, y).is_some(), "{code} {x} {y}");
        }
    }

    #[test]
    fn a_system_without_an_area_has_the_rule_of_all() {
        let own = Extent::of(
            &system_named("+proj=tmerc +lat_0=50 +lon_0=15 +datum=WGS84 +units=m").unwrap(),
        );
        assert_eq!(own.problem(1e6, -1.9e7), None);
        assert!(own.problem(2.1e7, 0.0).is_some());
    }
}
