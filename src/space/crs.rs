//! Reference systems and the transformations between them, by PROJ.
//!
//! Without the feature `system` there is no PROJ: ways from a system to itself are all that there is, and any other is refused.
//! Coordinates are always (x, y) = (easting, northing) or (longitude, latitude) in degrees, whatever order an authority prefers.

#[cfg(feature = "system")]
mod by_proj;
#[cfg(not(feature = "system"))]
#[path = "crs/without_proj.rs"]
mod by_proj;

use std::fmt;

use geo::{Coord, MapCoords};

use by_proj::Way;

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

/// A way from one system to another. Not shared between threads: make one each; a thread remembers those that it made.
pub struct Projector {
    inner: Option<Way>,
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
            Some(Way::between(from, to)?)
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
        let Some(way) = &self.inner else {
            return Ok((x, y));
        };
        let fail = |reason: String| CrsError::Point {
            x,
            y,
            from: self.from.to_string(),
            to: self.to.to_string(),
            reason,
        };
        let (a, b) = way.point(x, y).map_err(&fail)?;
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
        let (name, accuracy_m) = self.inner.as_ref()?.describe();
        Some(Operation {
            from: self.from.to_string(),
            to: self.to.to_string(),
            name,
            accuracy_m,
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

#[cfg(all(test, feature = "system"))]
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
