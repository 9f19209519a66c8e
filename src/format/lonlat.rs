//! Zones reprojected to WGS 84 for files that know no other system, cleaned so that they stay valid there.

use crate::map::export::ExportMap;
use crate::space::crs::{Crs, CrsError, Projector};
use crate::space::valid::{is_valid, why_not};
use geo::orient::Direction;
use geo::{Area, BoundingRect, LineString, MultiPolygon, Orient, Polygon};

/// Why zones cannot be written in longitude and latitude.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LonLatError {
    /// The working plane has no way to WGS 84.
    #[error("no way from the working plane to WGS 84")]
    NoWay {
        /// What PROJ said.
        #[source]
        source: CrsError,
    },
    /// A vertex of a zone has no longitude and latitude.
    #[error("zone {zone}: a point of its outline has no longitude and latitude")]
    Project {
        /// The zone.
        zone: u32,
        /// What PROJ said.
        #[source]
        source: CrsError,
    },
    /// The field lies on both sides of the 180° meridian.
    #[error(
        "zone {zone} runs from longitude {west}° to {east}°: a field across the 180° meridian cannot be written; split it there and run each part"
    )]
    Antimeridian {
        /// The zone.
        zone: u32,
        /// Least longitude.
        west: f64,
        /// Greatest longitude.
        east: f64,
    },
    /// Nothing of a zone is left, or it crosses itself.
    #[error(
        "zone {zone} cannot be written: {reason}; look at its outline in office/prescription.gpkg"
    )]
    Invalid {
        /// The zone.
        zone: u32,
        /// What is wrong, in the words of the polygon check.
        reason: String,
    },
}

/// Decimals of a degree: 7 are about a centimetre; 9 where 7 would make a zone invalid.
const DIGITS: [u32; 2] = [7, 9];

/// Outlines of a map's zones in longitude and latitude with few decimals, valid, exteriors counter-clockwise.
///
/// # Errors
/// [`LonLatError`].
pub(crate) fn rounded_zones(map: &ExportMap<'_>) -> Result<Vec<MultiPolygon<f64>>, LonLatError> {
    let grounds: Vec<_> = map.grounds().collect();
    let outlines = project(
        grounds.iter().map(|(zone, outline)| (*zone, &**outline)),
        map.system,
    )?;
    rounded(grounds.iter().map(|(zone, _)| *zone), &outlines, &DIGITS)
}

/// Outlines in longitude and latitude with their zones' numbers, in the order given, to full precision.
///
/// Only vertices are projected. Zones share theirs bit for bit, so no gap opens between them; over an edge of 1 km the straight line and the projected one
/// part by a few centimetres at most, alike on both sides.
///
/// # Errors
/// [`LonLatError::NoWay`], [`LonLatError::Project`] and [`LonLatError::Antimeridian`].
pub(crate) fn project<'a>(
    outlines: impl Iterator<Item = (u32, &'a MultiPolygon<f64>)>,
    plane: &Crs,
) -> Result<Vec<MultiPolygon<f64>>, LonLatError> {
    let way =
        Projector::new(plane, &Crs::wgs84()).map_err(|source| LonLatError::NoWay { source })?;
    outlines
        .map(|(zone, outline)| {
            let projected: MultiPolygon<f64> = way
                .geometry(outline)
                .map_err(|source| LonLatError::Project { zone, source })?;
            match projected.bounding_rect() {
                Some(bounds) if bounds.width() > 180.0 => Err(LonLatError::Antimeridian {
                    zone,
                    west: bounds.min().x,
                    east: bounds.max().x,
                }),
                _ => Ok(projected),
            }
        })
        .collect()
}

/// Every zone's outline rounded to a power of ten, valid, exteriors counter-clockwise and holes clockwise.
///
/// All zones are rounded alike so that they go on sharing their vertices. `digits` are tried in turn, the first at which every zone is valid wins; then, at the
/// last of them, zones that are not are repaired by a union with themselves, if that leaves their area as it was. Points that fall together are dropped, and so are rings that fall flat.
///
/// # Errors
/// [`LonLatError::Invalid`] for a zone that stays empty or invalid even so.
pub(crate) fn rounded(
    zones: impl Iterator<Item = u32>,
    outlines: &[MultiPolygon<f64>],
    digits: &[u32],
) -> Result<Vec<MultiPolygon<f64>>, LonLatError> {
    for &digits in digits {
        let tried: Option<Vec<_>> = outlines
            .iter()
            .map(|outline| sound(round(outline, Some(digits))))
            .collect();
        if let Some(good) = tried {
            return Ok(good);
        }
    }
    let last = digits.last().copied();
    zones
        .zip(outlines)
        .map(|(zone, outline)| sound_or_repaired(zone, outline, last))
        .collect()
}

/// The outline unrounded but otherwise as [`rounded`] leaves it.
///
/// # Errors
/// [`LonLatError::Invalid`] for a zone that stays empty or invalid even so.
pub(crate) fn cleaned(
    zone: u32,
    outline: &MultiPolygon<f64>,
) -> Result<MultiPolygon<f64>, LonLatError> {
    sound_or_repaired(zone, outline, None)
}

fn sound_or_repaired(
    zone: u32,
    outline: &MultiPolygon<f64>,
    digits: Option<u32>,
) -> Result<MultiPolygon<f64>, LonLatError> {
    let tried = round(outline, digits);
    if !tried.0.is_empty() && is_valid(&tried) {
        return Ok(tried);
    }
    // What is wrong is only looked for where it has to be told.
    repaired(outline, digits).ok_or_else(|| LonLatError::Invalid {
        zone,
        reason: if tried.0.is_empty() {
            "nothing of it is left after rounding".to_owned()
        } else {
            why_not(&tried)
        },
    })
}

/// The outline, if anything is left of it and it is valid.
fn sound(outline: MultiPolygon<f64>) -> Option<MultiPolygon<f64>> {
    (!outline.0.is_empty() && is_valid(&outline)).then_some(outline)
}

/// The union of an outline with itself, unless that is invalid too or changes its area: rounding noise is repaired, a real fault is not hidden.
///
/// The outline is united as it is, and where that is not enough once it is rounded: sides of a needle that lie closer than the last digit touch only then.
fn repaired(outline: &MultiPolygon<f64>, digits: Option<u32>) -> Option<MultiPolygon<f64>> {
    let area = |shape: &MultiPolygon<f64>| shape.iter().map(Area::unsigned_area).sum::<f64>();
    let united = |shape: &MultiPolygon<f64>| {
        let (union, before) = (geo::unary_union(shape), area(shape));
        let is_kept = (area(&union) - before).abs() <= 1e-6 * before;
        is_kept.then(|| round(&union, digits)).and_then(sound)
    };
    united(outline).or_else(|| united(&round(outline, digits)))
}

fn round(outline: &MultiPolygon<f64>, digits: Option<u32>) -> MultiPolygon<f64> {
    let polygons = outline.iter().filter_map(|polygon| {
        let exterior = round_ring(polygon.exterior(), digits)?;
        Some(Polygon::new(
            exterior,
            polygon
                .interiors()
                .iter()
                .filter_map(|hole| round_ring(hole, digits))
                .collect(),
        ))
    });
    MultiPolygon::new(polygons.collect()).orient(Direction::Default)
}

/// A ring without repeated points; `None` when it encloses nothing.
fn round_ring(ring: &LineString<f64>, digits: Option<u32>) -> Option<LineString<f64>> {
    let scale = digits.map(|digits| (0..digits).fold(1.0, |scale, _| scale * 10.0));
    // Adding zero turns −0 into 0.
    let at = |value: f64| scale.map_or(value, |scale| libm::round(value * scale) / scale + 0.0);
    let mut points: Vec<_> = ring
        .coords()
        .map(|c| geo::coord! { x: at(c.x), y: at(c.y) })
        .collect();
    points.dedup();
    let ring = LineString::new(points);
    let polygon = Polygon::new(ring, Vec::new());
    (polygon.exterior().0.len() >= 4 && polygon.unsigned_area() > 0.0)
        .then(|| polygon.into_inner().0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Winding, polygon};

    fn one(outline: Polygon<f64>) -> Vec<MultiPolygon<f64>> {
        vec![MultiPolygon::new(vec![outline])]
    }

    #[test]
    fn a_needle_narrower_than_the_last_digit_is_repaired() {
        // Two sides of a bay that lie 4e-11 degrees apart: apart as they are, one point at nine digits.
        let bay = polygon![
            (x: 15.0, y: 50.0), (x: 15.001, y: 50.0), (x: 15.001, y: 50.001), (x: 15.000_5, y: 50.000_500_000_04),
            (x: 15.000_5, y: 50.000_9), (x: 15.000_2, y: 50.000_9), (x: 15.000_5, y: 50.000_5), (x: 15.0, y: 50.000_4),
        ];
        let outlines = one(bay);
        assert!(sound(outlines[0].clone()).is_some());
        assert!(sound(round(&outlines[0], Some(9))).is_none());
        let repaired = rounded(1.., &outlines, &[9]).unwrap();
        assert!(
            (repaired[0].unsigned_area() - outlines[0].unsigned_area()).abs()
                < 1e-6 * outlines[0].unsigned_area()
        );
        assert!(is_valid(&repaired[0]));
    }

    #[test]
    fn rings_that_fall_flat_are_dropped_and_repeated_points_too() {
        let outline = polygon!(
            exterior: [(x: 0.0, y: 0.0), (x: 0.0, y: 1.0), (x: 0.000_000_01, y: 1.0), (x: 1.0, y: 1.0), (x: 1.0, y: 0.0)],
            interiors: [[(x: 0.5, y: 0.5), (x: 0.500_000_01, y: 0.5), (x: 0.5, y: 0.500_000_01)]]
        );
        let outlines = one(outline);
        let good = rounded(1.., &outlines, &[7, 9]).unwrap();
        assert_eq!(good[0].0[0].exterior().0.len(), 5);
        assert!(good[0].0[0].interiors().is_empty());
        assert!(good[0].0[0].exterior().is_ccw());
    }

    #[test]
    fn more_digits_where_seven_would_cross() {
        // A notch 4e-8 wide closes at seven digits, so that the ring would touch itself along a line; at nine it stays open.
        let outline = polygon![
            (x: 0.0, y: 0.0), (x: 1.0, y: 0.0), (x: 1.0, y: 1.0), (x: 0.500_000_04, y: 1.0), (x: 0.500_000_04, y: 0.5), (x: 0.5, y: 0.5), (x: 0.5, y: 1.0),
            (x: 0.0, y: 1.0)
        ];
        let outlines = one(outline);
        assert!(
            rounded(1.., &outlines, &[7, 9]).unwrap()[0].0[0]
                .exterior()
                .0
                .iter()
                .any(|c| c.x == 0.500_000_04)
        );
    }

    #[test]
    fn noise_is_repaired_and_a_real_fault_refused() {
        // A spike of no width.
        let spike = polygon![(x: 0.0, y: 0.0), (x: 1.0, y: 0.0), (x: 1.0, y: 1.0), (x: 0.5, y: 1.0), (x: 0.5, y: 1.5), (x: 0.5, y: 1.0), (x: 0.0, y: 1.0)];
        let outlines = one(spike);
        let good = rounded(1.., &outlines, &[7, 9]).unwrap();
        assert!(is_valid(&good[0]) && (good[0].unsigned_area() - 1.0).abs() < 1e-6);
        assert!(is_valid(&cleaned(1, &outlines[0]).unwrap()));
        for fault in [
            polygon![(x: 0.0, y: 0.0), (x: 1.0, y: 1.0), (x: 1.0, y: 0.0), (x: 0.0, y: 2.0)],
            polygon![(x: 0.0, y: 0.0), (x: 1.0, y: 1.0), (x: 2.0, y: 2.0)],
        ] {
            let outlines = one(fault);
            assert!(matches!(
                rounded(1.., &outlines, &[7, 9]),
                Err(LonLatError::Invalid { zone: 1, .. })
            ));
            assert!(cleaned(1, &outlines[0]).is_err());
        }
    }

    #[test]
    fn both_sides_of_the_date_line_are_refused() {
        let across = MultiPolygon::new(vec![
            polygon![(x: 179.99, y: 1.0), (x: -179.99, y: 1.0), (x: -179.99, y: 1.01)],
        ]);
        assert!(matches!(
            project(std::iter::once((1, &across)), &Crs::wgs84()),
            Err(LonLatError::Antimeridian { zone: 1, .. })
        ));
    }
}
