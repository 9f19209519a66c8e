//! Reference systems and the transformations between them, by PROJ.
//!
//! Coordinates are always (x, y) = (easting, northing) or (longitude, latitude) in degrees, whatever order an authority prefers.

use std::cell::RefCell;
use std::fmt;
use std::rc::Rc;

use geo::{Coord, MapCoords};
use proj::Proj;

/// What can go wrong with reference systems.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CrsError {
    /// PROJ knows no way between two systems.
    #[error("no transformation from {from} to {to}: {reason}")]
    NoWay {
        /// The system to leave.
        from: String,
        /// The system to reach.
        to: String,
        /// What PROJ said.
        reason: String,
    },
    /// A point cannot be transformed.
    #[error("the point {x}, {y} in {from} cannot be transformed to {to}: {reason}")]
    Point {
        /// First coordinate.
        x: f64,
        /// Second coordinate.
        y: f64,
        /// The system to leave.
        from: String,
        /// The system to reach.
        to: String,
        /// What PROJ said.
        reason: String,
    },
}

/// A reference system: what PROJ understands of it, and what people call it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Crs {
    definition: String,
    name: String,
    epsg: Option<u32>,
    geographic: bool,
}

impl Crs {
    /// WGS 84 longitude and latitude in degrees.
    pub fn wgs84() -> Self {
        Self {
            definition: "EPSG:4326".to_owned(),
            name: "WGS 84".to_owned(),
            epsg: Some(4326),
            geographic: true,
        }
    }
    /// A system by its EPSG code and name.
    pub fn epsg(code: u32, name: &str) -> Self {
        Self {
            definition: format!("EPSG:{code}"),
            name: name.to_owned(),
            epsg: Some(code),
            geographic: code == 4326,
        }
    }
    /// A system by its WKT (or anything that PROJ reads) and name.
    pub fn other(definition: String, name: String) -> Self {
        Self {
            definition,
            name,
            epsg: None,
            geographic: false,
        }
    }
    /// The same system, told whether its coordinates are longitude and latitude.
    #[must_use]
    pub fn geographic(self, geographic: bool) -> Self {
        Self { geographic, ..self }
    }
    /// Whether its coordinates are longitude and latitude.
    pub const fn is_geographic(&self) -> bool {
        self.geographic
    }
    /// The UTM zone of a longitude and latitude: zone ⌊(lon + 180)/6⌋ + 1, north where the latitude is 0 or more.
    pub fn utm(longitude: f64, latitude: f64) -> Self {
        let zone = (libm::floor((longitude + 180.0) / 6.0) as i64 + 1).clamp(1, 60) as u32;
        let (base, side) = if latitude >= 0.0 {
            (32_600, 'N')
        } else {
            (32_700, 'S')
        };
        Self::epsg(base + zone, &format!("WGS 84 / UTM zone {zone}{side}"))
    }
    /// What PROJ and GDAL read: `EPSG:n` or WKT.
    pub fn definition(&self) -> &str {
        &self.definition
    }
    /// What people call it.
    pub fn name(&self) -> &str {
        &self.name
    }
    /// Its EPSG code, if it has one.
    pub const fn code(&self) -> Option<u32> {
        self.epsg
    }
}

impl fmt::Display for Crs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.epsg {
            Some(code) => write!(f, "EPSG:{code}"),
            None => f.write_str(&self.name),
        }
    }
}

/// Ways that a thread remembers. A job has some six; a program that meets more forgets the oldest.
const REMEMBERED: usize = 16;

/// A way by the definitions of its two systems.
type Way = ((String, String), Rc<Proj>);

thread_local! {
    /// PROJ looks a way up in its database, 1 to 2 ms each time, and every writer of a format asks for the same few.
    static WAYS: RefCell<Vec<Way>> = const { RefCell::new(Vec::new()) };
}

/// The way between two definitions: remembered, or PROJ's.
fn way(from: &Crs, to: &Crs) -> Result<Rc<Proj>, CrsError> {
    let ends = (from.definition.clone(), to.definition.clone());
    let known = WAYS.with_borrow(|ways| {
        ways.iter()
            .find(|(known, _)| *known == ends)
            .map(|(_, way)| Rc::clone(way))
    });
    if let Some(way) = known {
        return Ok(way);
    }
    let way = Proj::new_known_crs(&from.definition, &to.definition, None).map_err(|error| {
        CrsError::NoWay {
            from: from.to_string(),
            to: to.to_string(),
            reason: error.to_string(),
        }
    })?;
    let way = Rc::new(way);
    WAYS.with_borrow_mut(|ways| {
        if ways.len() == REMEMBERED {
            ways.remove(0);
        }
        ways.push((ends, Rc::clone(&way)));
    });
    Ok(way)
}

/// A way from one system to another. Not shared between threads: make one each; a thread remembers those that it made.
pub struct Projector {
    inner: Option<Rc<Proj>>,
    from: Crs,
    to: Crs,
}

impl fmt::Debug for Projector {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Projector({} → {})", self.from, self.to)
    }
}

impl Projector {
    /// The way between two systems; nothing to do when they are written alike.
    ///
    /// # Errors
    /// [`CrsError::NoWay`] when PROJ does not know one of them or no way between them.
    pub fn new(from: &Crs, to: &Crs) -> Result<Self, CrsError> {
        let inner = if from.definition == to.definition {
            None
        } else {
            Some(way(from, to)?)
        };
        Ok(Self {
            inner,
            from: from.clone(),
            to: to.clone(),
        })
    }

    /// Whether it leaves coordinates as they are.
    pub const fn is_identity(&self) -> bool {
        self.inner.is_none()
    }

    /// Carries one point over.
    ///
    /// # Errors
    /// [`CrsError::Point`] when PROJ refuses it or gives a number that is not finite.
    pub fn point(&self, x: f64, y: f64) -> Result<(f64, f64), CrsError> {
        let Some(proj) = &self.inner else {
            return Ok((x, y));
        };
        let fail = |reason: String| CrsError::Point {
            x,
            y,
            from: self.from.to_string(),
            to: self.to.to_string(),
            reason,
        };
        let (a, b) = proj
            .convert((x, y))
            .map_err(|error| fail(error.to_string()))?;
        if a.is_finite() && b.is_finite() {
            Ok((a, b))
        } else {
            Err(fail("the result is not a number".to_owned()))
        }
    }

    /// Carries every vertex of a geometry over. Edges stay straight between vertices: densify first where that matters.
    ///
    /// # Errors
    /// [`CrsError::Point`] for the first vertex that cannot be carried.
    pub fn geometry<G: MapCoords<f64, f64>>(&self, geometry: &G) -> Result<G::Output, CrsError> {
        geometry.try_map_coords(|c| self.point(c.x, c.y).map(|(x, y)| Coord { x, y }))
    }

    /// What PROJ does, and how well, in a sentence; call it after a point has been carried. `None` for the identity.
    pub fn describe(&self) -> Option<Operation> {
        let info = self.inner.as_ref()?.proj_info();
        Some(Operation {
            from: self.from.to_string(),
            to: self.to.to_string(),
            name: info
                .description
                .unwrap_or_else(|| "unnamed operation".to_owned()),
            accuracy_m: (info.accuracy >= 0.0).then_some(info.accuracy),
        })
    }
}

/// A transformation as the record names it.
#[derive(Clone, Debug, PartialEq)]
pub struct Operation {
    /// The system left.
    pub from: String,
    /// The system reached.
    pub to: String,
    /// PROJ's name of the operation.
    pub name: String,
    /// Its stated accuracy, when PROJ states one. \[m\]
    pub accuracy_m: Option<f64>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_are_always_x_y() {
        // EPSG:4326 prefers latitude first; we do not. UTM 33N: the central meridian 15° E has easting 500 000.
        let way = Projector::new(&Crs::wgs84(), &Crs::utm(15.0, 48.0)).unwrap();
        let (x, y) = way.point(15.0, 48.0).unwrap();
        assert!(
            (x - 500_000.0).abs() < 1e-6 && (y - 5_316_300.0).abs() < 300.0,
            "{x} {y}"
        );
    }

    #[test]
    fn a_remembered_way_is_the_same_way() {
        for zone in (1..=60).cycle().take(90) {
            let middle = f64::from(zone) * 6.0 - 183.0;
            let (x, _) = Projector::new(&Crs::wgs84(), &Crs::utm(middle, 48.0))
                .unwrap()
                .point(middle, 48.0)
                .unwrap();
            assert!((x - 500_000.0).abs() < 1e-6, "{zone}: {x}");
        }
        assert_eq!(WAYS.with_borrow(Vec::len), REMEMBERED);
    }

    #[test]
    fn utm_zones() {
        assert_eq!(Crs::utm(-180.0, 1.0).code(), Some(32_601));
        assert_eq!(Crs::utm(179.999, -1.0).code(), Some(32_760));
        assert_eq!(Crs::utm(15.0, 0.0).code(), Some(32_633));
    }

    #[test]
    fn unknown_systems_are_refused() {
        let error = Projector::new(&Crs::epsg(999_999, "none"), &Crs::wgs84()).unwrap_err();
        assert!(matches!(error, CrsError::NoWay { .. }));
    }
}
