//! One fault: a stable code, its weight, where it lies and how large it is.

use geo::{Coord, MultiPolygon};

use crate::finding::{Code, Severity, shortened};
use crate::map::imported::Place;

/// How large a fault is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// The number.
    pub value: f64,
    /// `m²`, `m`, `kg`, `cells`, `points` ...
    pub unit: &'static str,
}

/// One thing wrong, or doubtful, in a map. `Stop` is an error: the map must not go to a machine like that.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// Stable, dotted, lower case: `ring.crosses`.
    pub code: Code,
    /// How much it weighs.
    pub severity: Severity,
    /// Where it stands in the file.
    pub place: Place,
    /// Where it lies on the ground, in the map's system.
    pub at: Option<Coord<f64>>,
    /// The ground that it takes, in the map's system.
    pub ground: Option<MultiPolygon<f64>>,
    /// How large it is.
    pub sizes: Vec<Size>,
    /// What, with numbers and units, and what to do.
    pub message: String,
}

impl Fault {
    /// A fault of this weight.
    pub fn new(code: Code, severity: Severity, place: Place, message: impl Into<String>) -> Self {
        Self {
            code,
            severity,
            place,
            at: None,
            ground: None,
            sizes: Vec::new(),
            message: shortened(message),
        }
    }
    /// An error.
    pub fn stop(code: Code, place: Place, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Stop, place, message)
    }
    /// A uncertainty.
    pub fn caution(code: Code, place: Place, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Caution, place, message)
    }
    /// Worth knowing.
    pub fn note(code: Code, place: Place, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Note, place, message)
    }
    /// With its point on the ground.
    #[must_use]
    pub fn at(self, point: Coord<f64>) -> Self {
        Self {
            at: Some(point),
            ..self
        }
    }
    /// With the ground that it takes.
    #[must_use]
    pub fn over(self, ground: MultiPolygon<f64>) -> Self {
        Self {
            ground: Some(ground),
            ..self
        }
    }
    /// With a size.
    #[must_use]
    pub fn sized(mut self, value: f64, unit: &'static str) -> Self {
        self.sizes.push(Size { value, unit });
        self
    }
}
