//! From the working plane into an image's pixels.

use crate::space::cells::CellGrid;
use crate::space::crs::{Crs, CrsError, Projector};
use crate::space::polygon::{densified, densified_ring, rings_of};
use crate::space::raster::{Affine, Lattice};
use geo::MultiPolygon;

/// Chord error of densified edges. \[pixel\]
const CHORD_ERROR: f64 = 1e-4;

/// Carries plane coordinates into an image's pixel coordinates. One a thread.
pub struct PixelMap {
    way: Projector,
    affine: Affine,
}

impl PixelMap {
    /// The way from `plane` into the image.
    ///
    /// # Errors
    /// [`CrsError`] when there is none.
    pub fn new(plane: &Crs, lattice: &Lattice) -> Result<Self, CrsError> {
        Ok(Self {
            way: Projector::new(plane, &lattice.crs)?,
            affine: lattice.affine,
        })
    }
    /// One point.
    ///
    /// # Errors
    /// [`CrsError::Point`].
    pub fn pixel(&self, x: f64, y: f64) -> Result<(f64, f64), CrsError> {
        let (x, y) = self.way.point(x, y)?;
        Ok(self.affine.to_pixel(x, y))
    }
    /// A polygon's rings.
    ///
    /// # Errors
    /// [`CrsError::Point`].
    pub fn rings(&self, polygon: &MultiPolygon<f64>) -> Result<Vec<Vec<[f64; 2]>>, CrsError> {
        if self.way.is_identity() {
            let place = |p: &[f64; 2]| {
                let (col, row) = self.affine.to_pixel(p[0], p[1]);
                [col, row]
            };
            return Ok(rings_of(polygon)
                .iter()
                .map(|ring| ring.iter().map(place).collect())
                .collect());
        }
        densified(polygon, CHORD_ERROR, &|x, y| self.pixel(x, y))
    }
    /// A cell's rings.
    pub(super) fn cell(
        &self,
        grid: &CellGrid,
        cell: usize,
    ) -> Result<Vec<Vec<[f64; 2]>>, CrsError> {
        let mut rings = Vec::new();
        for (ring, _) in grid.rings(cell) {
            let ground: Vec<[f64; 2]> = ring
                .iter()
                .map(|p| {
                    let (x, y) = grid.frame.to_xy(p[0], p[1]);
                    [x, y]
                })
                .collect();
            rings.push(if self.way.is_identity() {
                ground
                    .iter()
                    .map(|p| {
                        let (col, row) = self.affine.to_pixel(p[0], p[1]);
                        [col, row]
                    })
                    .collect()
            } else {
                densified_ring(&ground, CHORD_ERROR, &|x, y| self.pixel(x, y))?
            });
        }
        Ok(rings)
    }
}
