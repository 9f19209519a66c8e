//! What stands in for PROJ where haulm is built without it: there is no way, and whoever asks for one is told so.

use crate::space::crs::{Crs, CrsError};

/// A way from one system to another, of which there is none.
pub(super) enum Way {}

impl Way {
    /// Refuses.
    pub(super) fn between(from: &Crs, to: &Crs) -> Result<Self, CrsError> {
        Err(CrsError::NoWay {
            from: from.to_string(),
            to: to.to_string(),
            reason: "haulm is built without PROJ (feature \"system\")".to_owned(),
        })
    }

    pub(super) fn point(&self, _x: f64, _y: f64) -> Result<(f64, f64), String> {
        match *self {}
    }

    pub(super) fn describe(&self) -> (String, Option<f64>) {
        match *self {}
    }
}
