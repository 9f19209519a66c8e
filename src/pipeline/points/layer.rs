//! Readings as the walk sees them, and the frame that stands in for an image's lattice.

use crate::space::crs::{Crs, CrsError, Projector};
use crate::space::raster::{Affine, Lattice, RasterError, RasterReader, RasterSource};

/// A reading with its place in the layer's system.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Easting. \[m\]
    pub x: f64,
    /// Northing. \[m\]
    pub y: f64,
    /// Index, scaled.
    pub index: f64,
    /// Number of its pass, from 0.
    pub pass: u32,
    /// Speed. \[m/s\]
    pub speed: Option<f64>,
}

/// Rows of the file that are no readings, by reason.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Unusable {
    /// Without coordinates, or with both 0 (no fix).
    pub no_place: usize,
    /// Without an index.
    pub no_index: usize,
    /// Index outside its possible range.
    pub out_of_range: usize,
}

/// Readings of a field in a system of metres.
#[derive(Clone, Debug)]
pub struct PointLayer {
    readings: Vec<Reading>,
    unusable: Unusable,
    lattice: Lattice,
}

impl PointLayer {
    /// Puts readings whose places are in `crs` into a system of metres: their own, or the UTM zone of their middle when they are longitude and latitude.
    /// Needs at least one reading.
    ///
    /// # Errors
    /// [`CrsError`] when a place cannot be carried over.
    pub fn new(
        crs: &Crs,
        mut readings: Vec<Reading>,
        unusable: Unusable,
    ) -> Result<Self, CrsError> {
        let middle = |pick: fn(&Reading) -> f64| {
            readings.iter().map(pick).sum::<f64>() / readings.len().max(1) as f64
        };
        let plane = if crs.is_geographic() {
            let (x, y) = (middle(|r| r.x), middle(|r| r.y));
            let (longitude, latitude) = Projector::new(crs, &Crs::wgs84())?.point(x, y)?;
            Crs::utm(longitude, latitude)
        } else {
            crs.clone()
        };
        let way = Projector::new(crs, &plane)?;
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for reading in &mut readings {
            (reading.x, reading.y) = way.point(reading.x, reading.y)?;
            low = [low[0].min(reading.x), low[1].min(reading.y)];
            high = [high[0].max(reading.x), high[1].max(reading.y)];
        }
        if readings.is_empty() {
            (low, high) = ([0.0; 2], [0.0; 2]);
        }
        // Metre by metre: only its extent and its system are ever asked for.
        let (cols, rows) = (
            (libm::ceil(high[0] - low[0]) as i64).max(1),
            (libm::ceil(high[1] - low[1]) as i64).max(1),
        );
        let lattice = Lattice {
            cols,
            rows,
            affine: Affine([low[0], 1.0, 0.0, high[1], 0.0, -1.0]),
            crs: plane,
            block: (cols, 1),
        };
        Ok(Self {
            readings,
            unusable,
            lattice,
        })
    }
    /// The readings, in the order in which they were taken.
    pub fn readings(&self) -> &[Reading] {
        &self.readings
    }
    /// Rows that were none.
    pub const fn unusable(&self) -> Unusable {
        self.unusable
    }
}

impl RasterSource for PointLayer {
    fn lattice(&self) -> &Lattice {
        &self.lattice
    }
    fn slots(&self) -> usize {
        0
    }
    fn reader(&self) -> Result<Box<dyn RasterReader + '_>, RasterError> {
        Err(RasterError::Open {
            file: "readings".to_owned(),
            reason: "single readings have no pixels".to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn degrees_become_metres_of_their_zone() {
        let at = |x: f64, y: f64| Reading {
            x,
            y,
            index: 0.5,
            pass: 0,
            speed: None,
        };
        let layer = PointLayer::new(
            &Crs::wgs84(),
            vec![at(15.0, 50.0), at(15.001, 50.0)],
            Unusable::default(),
        )
        .unwrap();
        assert_eq!(layer.lattice().crs.code(), Some(32_633));
        // A thousandth of a degree at 50° north: 111.32 m · cos 50° = 71.6 m (WGS 84: 71.7).
        let (a, b) = (layer.readings()[0], layer.readings()[1]);
        assert!((b.x - a.x - 71.67).abs() < 0.1 && layer.lattice().cols == 72);
        let metres = Crs::epsg(32_633, "WGS 84 / UTM zone 33N");
        let layer = PointLayer::new(
            &metres,
            vec![at(500_000.0, 5_540_000.0)],
            Unusable::default(),
        )
        .unwrap();
        assert_eq!(
            (layer.readings()[0].x, layer.lattice().cols),
            (500_000.0, 1)
        );
    }
}
