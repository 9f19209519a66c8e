//! Where the map lies: its system against its numbers and the field, and the plane that it is measured on.

use geo::{BoundingRect, Coord, MapCoords, MultiPolygon};

use crate::finding::codes;
use crate::map::faults::Against;
use crate::map::faults::fault::Fault;
use crate::map::imported::{ImportedMap, Place, System};
use crate::space::crs::{Crs, Projector};

/// From the map's coordinates to metres and back.
pub(super) struct Frame {
    there: Option<Projector>,
    back: Option<Projector>,
    ground: Option<Projector>,
    /// Whether longitude and latitude stand in the wrong order.
    pub(super) swapped: bool,
    /// Whether lengths and areas can be measured.
    pub(super) measured: bool,
    /// Whether map and field can be laid over one another.
    pub(super) placed: bool,
}

fn like_degrees(low: Coord<f64>, high: Coord<f64>) -> bool {
    low.x >= -180.0 && high.x <= 180.0 && low.y >= -90.0 && high.y <= 90.0
}

/// Whether two boxes meet.
fn meet(a: (Coord<f64>, Coord<f64>), b: (Coord<f64>, Coord<f64>)) -> bool {
    a.0.x <= b.1.x && b.0.x <= a.1.x && a.0.y <= b.1.y && b.0.y <= a.1.y
}

const fn flip(c: Coord<f64>) -> Coord<f64> {
    Coord { x: c.y, y: c.x }
}

impl Frame {
    const fn unmeasured() -> Self {
        Self {
            there: None,
            back: None,
            ground: None,
            swapped: false,
            measured: false,
            placed: false,
        }
    }

    pub(super) fn of(map: &ImportedMap, against: &Against, faults: &mut Vec<Fault>) -> Self {
        let Some((low, high)) = map.bounds() else {
            if map.patches.is_empty() && map.lattice.is_none() {
                faults.push(Fault::stop(
                    codes::MAP_EMPTY,
                    Place::whole(),
                    "the map holds no shape with a rate",
                ));
            }
            return Self::unmeasured();
        };
        let middle = Coord {
            x: f64::midpoint(low.x, high.x),
            y: f64::midpoint(low.y, high.y),
        };
        let system = Place::named("reference system");
        let crs = match &map.system {
            System::Known(crs) => crs.clone(),
            System::Missing(why) => {
                let guess = if like_degrees(low, high) {
                    "; its numbers look like longitude and latitude and are read as WGS 84 here"
                } else {
                    ""
                };
                let message = format!(
                    "no reference system: {why}{guess}. State one: without it nobody knows where the map lies"
                );
                faults.push(Fault::stop(codes::SYSTEM_MISSING, system, message).at(middle));
                if !like_degrees(low, high) {
                    return Self {
                        measured: true,
                        ..Self::unmeasured()
                    };
                }
                Crs::wgs84()
            }
        };
        if crs.is_geographic() && !like_degrees(low, high) {
            if low.y >= -180.0 && high.y <= 180.0 && low.x >= -90.0 && high.x <= 90.0 {
                let message = format!(
                    "the numbers run to y = {}, which is no latitude: longitude and latitude stand in the wrong order",
                    high.y
                );
                faults.push(Fault::stop(codes::AXES_SWAPPED, Place::whole(), message).at(middle));
                return Self::on(&crs, middle, true, faults);
            }
            let message = format!(
                "it states {crs} (degrees), but its numbers ({}, {}) are no degrees: state the system they are in",
                low.x, low.y
            );
            faults.push(
                Fault::stop(
                    codes::SYSTEM_WRONG,
                    Place::named("reference system"),
                    message,
                )
                .at(middle),
            );
            return Self::unmeasured();
        }
        if !crs.is_geographic() && like_degrees(low, high) {
            let message = format!(
                "it states {crs} (metres), but its numbers ({}, {}) look like degrees: state EPSG:4326 if they are",
                low.x, low.y
            );
            faults.push(
                Fault::stop(
                    codes::SYSTEM_WRONG,
                    Place::named("reference system"),
                    message,
                )
                .at(middle),
            );
            let mut frame = Self::on(&Crs::wgs84(), middle, false, faults);
            frame.placed = Self::meets(&Crs::wgs84(), (low, high), against);
            return frame;
        }
        let mut frame = Self::on(&crs, middle, false, faults);
        if !frame.measured || against.boundary.is_none() {
            return frame;
        }
        if Self::meets(&crs, (low, high), against) {
            return frame;
        }
        let turned = (flip(low), flip(high));
        if crs.is_geographic() && Self::meets(&crs, turned, against) {
            let message = format!(
                "the map lies at longitude {:.4}°, latitude {:.4}°; with the two exchanged it lies on the field",
                middle.x, middle.y
            );
            faults.push(Fault::stop(codes::AXES_SWAPPED, Place::whole(), message).at(middle));
            return Self::on(&crs, middle, true, faults);
        }
        let there =
            Projector::new(&crs, &Crs::wgs84()).and_then(|way| way.point(middle.x, middle.y));
        let place = there.map_or_else(
            |_| "an unknown place".to_owned(),
            |(x, y)| format!("longitude {x:.4}°, latitude {y:.4}°"),
        );
        let field = against
            .boundary
            .as_ref()
            .and_then(BoundingRect::bounding_rect)
            .map(geo::Rect::center);
        let field = field.map_or_else(String::new, |c| {
            format!("; the field lies at {:.4}°, {:.4}°", c.x, c.y)
        });
        let message = format!(
            "the map lies at {place} and does not meet the field{field}: another field, or a wrong reference system ({crs})"
        );
        faults.push(Fault::stop(codes::SYSTEM_ELSEWHERE, Place::whole(), message).at(middle));
        frame.placed = false;
        frame
    }

    /// The UTM plane at a place of the map.
    fn on(crs: &Crs, middle: Coord<f64>, swapped: bool, faults: &mut Vec<Fault>) -> Self {
        let at = if swapped { flip(middle) } else { middle };
        let made = Projector::new(crs, &Crs::wgs84())
            .and_then(|way| way.point(at.x, at.y))
            .and_then(|(longitude, latitude)| {
                let plane = Crs::utm(longitude, latitude);
                Ok((
                    Projector::new(crs, &plane)?,
                    Projector::new(&plane, crs)?,
                    Projector::new(&Crs::wgs84(), &plane)?,
                ))
            });
        match made {
            Ok((there, back, ground)) => Self {
                there: Some(there),
                back: Some(back),
                ground: Some(ground),
                swapped,
                measured: true,
                placed: true,
            },
            Err(error) => {
                let message = format!("the numbers cannot be transformed from {crs}: {error}");
                faults.push(
                    Fault::stop(
                        codes::SYSTEM_WRONG,
                        Place::named("reference system"),
                        message,
                    )
                    .at(middle),
                );
                Self::unmeasured()
            }
        }
    }

    fn meets(crs: &Crs, bounds: (Coord<f64>, Coord<f64>), against: &Against) -> bool {
        let Some(field) = against
            .boundary
            .as_ref()
            .and_then(BoundingRect::bounding_rect)
        else {
            return true;
        };
        let Ok(way) = Projector::new(crs, &Crs::wgs84()) else {
            return false;
        };
        let corners = [
            (bounds.0.x, bounds.0.y),
            (bounds.1.x, bounds.0.y),
            (bounds.0.x, bounds.1.y),
            (bounds.1.x, bounds.1.y),
        ];
        let carried: Vec<_> = corners
            .iter()
            .filter_map(|c| way.point(c.0, c.1).ok())
            .collect();
        let range = |pick: fn(&(f64, f64)) -> f64| {
            carried
                .iter()
                .map(pick)
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
                    (l.min(v), h.max(v))
                })
        };
        let (x, y) = (range(|c| c.0), range(|c| c.1));
        carried.len() == 4
            && meet(
                (Coord { x: x.0, y: y.0 }, Coord { x: x.1, y: y.1 }),
                (field.min(), field.max()),
            )
    }

    fn carry(way: Option<&Projector>, c: Coord<f64>) -> Option<Coord<f64>> {
        match way {
            None => Some(c),
            Some(way) => way.point(c.x, c.y).ok().map(|(x, y)| Coord { x, y }),
        }
    }

    /// A point of the map on the plane.
    pub(super) fn point(&self, c: Coord<f64>) -> Option<Coord<f64>> {
        Self::carry(self.there.as_ref(), if self.swapped { flip(c) } else { c })
    }

    /// A point of the plane in the map's own numbers.
    pub(super) fn point_back(&self, c: Coord<f64>) -> Option<Coord<f64>> {
        Self::carry(self.back.as_ref(), c).map(|c| if self.swapped { flip(c) } else { c })
    }

    /// A polygon of the map on the plane.
    pub(super) fn polygon(&self, polygon: &MultiPolygon<f64>) -> Option<MultiPolygon<f64>> {
        polygon.try_map_coords(|c| self.point(c).ok_or(())).ok()
    }

    /// A polygon of the plane in the map's own numbers.
    pub(super) fn polygon_back(&self, polygon: &MultiPolygon<f64>) -> Option<MultiPolygon<f64>> {
        polygon
            .try_map_coords(|c| self.point_back(c).ok_or(()))
            .ok()
    }

    /// Ground in WGS 84 on the plane.
    pub(super) fn ground(&self, polygon: &MultiPolygon<f64>) -> Option<MultiPolygon<f64>> {
        let way = self.ground.as_ref()?;
        way.geometry(polygon).ok()
    }
}
