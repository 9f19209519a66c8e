//! Places worth a walk before anything is spread: what the image cannot tell, somebody must look at.

use geo::{Area, Contains, MultiPolygon, Point};

use crate::map::prescription::{CellState, Prescription};
use crate::space::crs::{Crs, CrsError, Projector};
use crate::space::interior::interior_point_of;
use crate::space::polygon::minimum_rectangle;
use crate::zones::outline::outlines;

/// Most places of one kind, so that the walk can be walked.
const MAXIMUM: usize = 3;
/// How far inside a strip's end the place lies. \[m\]
const INSIDE: f64 = 10.0;

/// Why a place is worth a walk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum ScoutKind {
    /// An end of a reference strip.
    StripEnd {
        /// Number of the strip.
        strip: u32,
        /// First or second end.
        end: u8,
    },
    /// A zone of the palest crop.
    Palest {
        /// Number of the zone.
        zone: u32,
        /// Its mean index.
        index: f64,
    },
    /// Thin crop.
    Thin {
        /// Area of the patch. \[m²\]
        area: f64,
    },
    /// Ground that the image does not show.
    Unseen {
        /// Area of the patch. \[m²\]
        area: f64,
    },
    /// Bare ground.
    Bare {
        /// Area of the patch. \[m²\]
        area: f64,
    },
    /// A corner of ground that is left out.
    ExclusionCorner {
        /// Number of the piece that is left out.
        exclusion: u32,
        /// Which corner.
        corner: u8,
    },
}

/// A place to look at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct ScoutPoint {
    /// Why.
    pub kind: ScoutKind,
    /// Longitude on WGS 84. \[°\]
    pub longitude: f64,
    /// Latitude on WGS 84. \[°\]
    pub latitude: f64,
    /// On the working plane. \[m\]
    pub plane: (f64, f64),
}

/// The walk: both ends of every usable strip, the palest zones, the largest thin, unseen and bare patches, the corners of what is left out.
///
/// # Errors
/// [`CrsError`] when the working plane cannot be transformed to longitude and latitude.
pub(crate) fn scout_points(prescription: &Prescription) -> Result<Vec<ScoutPoint>, CrsError> {
    let mut places: Vec<(ScoutKind, (f64, f64))> = Vec::new();
    for strip in &prescription.strips {
        let Some(rectangle) = minimum_rectangle(&strip.outline) else {
            continue;
        };
        let inside = INSIDE.min(rectangle.length / 4.0);
        for (end, along) in [(1, inside), (2, rectangle.length - inside)] {
            let point = rectangle.point(along, rectangle.width / 2.0);
            places.push((
                ScoutKind::StripEnd {
                    strip: strip.strip,
                    end,
                },
                (point.x, point.y),
            ));
        }
    }
    let mut pale: Vec<_> = prescription
        .zones
        .iter()
        .filter_map(|zone| zone.index.map(|index| (zone, index)))
        .collect();
    pale.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.zone.cmp(&b.0.zone)));
    for (zone, index) in pale.into_iter().take(MAXIMUM) {
        if let Some(place) = inside_of(&zone.outline) {
            places.push((
                ScoutKind::Palest {
                    zone: zone.zone,
                    index,
                },
                place,
            ));
        }
    }
    let states = [CellState::Thin, CellState::Unseen, CellState::Bare];
    let labels: Vec<u32> = prescription
        .cells
        .iter()
        .map(|cell| {
            states
                .iter()
                .position(|state| *state == cell.state)
                .map_or(0, |k| k as u32 + 1)
        })
        .collect();
    for (state, patches) in states
        .into_iter()
        .zip(outlines(&prescription.grid, &labels, 3))
    {
        let mut patches: Vec<(f64, MultiPolygon<f64>)> = patches
            .into_iter()
            .map(|patch| (patch.unsigned_area(), MultiPolygon::new(vec![patch])))
            .collect();
        patches.sort_by(|a, b| b.0.total_cmp(&a.0));
        for (area, patch) in patches.into_iter().take(MAXIMUM) {
            let kind = match state {
                CellState::Thin => ScoutKind::Thin { area },
                CellState::Bare => ScoutKind::Bare { area },
                CellState::Canopy | CellState::Unseen | CellState::Sliver => {
                    ScoutKind::Unseen { area }
                }
            };
            if let Some(place) = inside_of(&patch) {
                places.push((kind, place));
            }
        }
    }
    places.extend(exclusion_corners(prescription));
    let way = Projector::new(&prescription.plane, &Crs::wgs84())?;
    places
        .into_iter()
        .map(|(kind, plane)| {
            let (longitude, latitude) = way.point(plane.0, plane.1)?;
            Ok(ScoutPoint {
                kind,
                longitude,
                latitude,
                plane,
            })
        })
        .collect()
}

/// A point well inside the largest part.
fn inside_of(shape: &MultiPolygon<f64>) -> Option<(f64, f64)> {
    let largest = shape
        .iter()
        .max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()))?;
    interior_point_of(largest).map(|place| (place.x, place.y))
}

/// The vertices nearest to the corners of each excluded piece's rectangle, of those that lie inside the boundary.
fn exclusion_corners(prescription: &Prescription) -> Vec<(ScoutKind, (f64, f64))> {
    let mut found = Vec::new();
    for (number, piece) in (1..).zip(&prescription.exclusions) {
        let Some(rectangle) = minimum_rectangle(&MultiPolygon::new(vec![piece.clone()])) else {
            continue;
        };
        let mut taken: Vec<(f64, f64)> = Vec::new();
        for (along, across) in [
            (0.0, 0.0),
            (rectangle.length, 0.0),
            (rectangle.length, rectangle.width),
            (0.0, rectangle.width),
        ] {
            let corner = rectangle.point(along, across);
            let reach = |c: &geo::Coord<f64>| libm::hypot(c.x - corner.x, c.y - corner.y);
            let inside = piece
                .exterior()
                .coords()
                .filter(|c| prescription.boundary.contains(&Point::from(**c)));
            let Some(nearest) = inside.min_by(|a, b| reach(a).total_cmp(&reach(b))) else {
                continue;
            };
            if !taken.contains(&(nearest.x, nearest.y)) {
                taken.push((nearest.x, nearest.y));
                found.push((
                    ScoutKind::ExclusionCorner {
                        exclusion: number,
                        corner: taken.len() as u8,
                    },
                    (nearest.x, nearest.y),
                ));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;

    #[test]
    fn the_walk_of_the_fixture() {
        let field = fixture::prescription();
        let points = scout_points(&field).unwrap();
        let count = |requirement: fn(&ScoutKind) -> bool| {
            points
                .iter()
                .filter(|point| requirement(&point.kind))
                .count()
        };
        assert_eq!(
            count(|kind| matches!(kind, ScoutKind::StripEnd { .. })),
            2 * field.strips.len()
        );
        assert_eq!(
            count(|kind| matches!(kind, ScoutKind::ExclusionCorner { .. })),
            4
        );
        for point in &points {
            assert!(
                field
                    .boundary
                    .contains(&Point::new(point.plane.0, point.plane.1)),
                "{point:?}"
            );
            // The fixture lies in UTM zone 33 north near easting 430 000, northing 5 500 000: 14° E, 49.6° N.
            assert!(
                (14.0..14.1).contains(&point.longitude) && (49.6..49.7).contains(&point.latitude),
                "{point:?}"
            );
        }
    }

    #[test]
    fn patches_lie_on_cells_of_their_state() {
        let mut field = fixture::prescription();
        field.cells[5].state = CellState::Unseen;
        let points = scout_points(&field).unwrap();
        let patch = points
            .iter()
            .find(|point| matches!(point.kind, ScoutKind::Unseen { .. }))
            .unwrap();
        assert!(
            field
                .grid
                .outline(5)
                .contains(&Point::new(patch.plane.0, patch.plane.1))
        );
    }
}
