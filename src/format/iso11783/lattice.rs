//! Where the grid lies: cells along meridians and parallels, square in metres at the field's middle latitude.

use crate::format::iso11783::error::Iso11783Error;
use crate::space::coverage::doubled_area;
use crate::space::crs::{Crs, Projector};
use geo::{LineString, MultiPolygon};

/// A closed ring in lattice coordinates: x counts columns from the west, y rows from the south; first and last point equal.
pub(super) type Ring = Vec<[f64; 2]>;

/// Rows and columns that every position-based controller takes. Source: ISO 11783-10:2015, conformance of position-based control, as retold.
pub(super) const MAXIMUM_ROWS_OR_COLUMNS: usize = 350;
/// Smaller cells only load the controller: no machine changes its rate within less. \[m\] Common practice, no source.
const FINEST_CELL_M: f64 = 3.0;
/// How far an edge carried over may stray from a straight line in longitude and latitude, at its middle. \[m\]
const CHORD_M: f64 = 0.000_5;
/// Edges up to this length are straight enough on any plane of the method. \[m\]
const SHORT_M: f64 = 20.0;
/// Semi-major axis of WGS 84. \[m\] Exact by definition (NIMA TR 8350.2; from memory).
const SEMI_MAJOR_M: f64 = 6_378_137.0;
/// First eccentricity squared of WGS 84. (NIMA TR 8350.2; from memory)
const ECCENTRICITY_2: f64 = 0.006_694_379_990_14;

/// Metres in a degree of latitude and of longitude on WGS 84, from the radii of curvature M and N cos φ.
pub(super) fn metres_per_degree(latitude: f64) -> (f64, f64) {
    let phi = latitude.to_radians();
    let sin = libm::sin(phi);
    let w2 = 1.0 - ECCENTRICITY_2 * sin * sin;
    let n = SEMI_MAJOR_M / libm::sqrt(w2);
    let m = n * (1.0 - ECCENTRICITY_2) / w2;
    (m.to_radians(), (n * libm::cos(phi)).to_radians())
}

/// The way from the working plane into degrees, edges kept straight to half a millimetre.
pub(super) struct Reprojection {
    projector: Projector,
    metres: (f64, f64),
}

impl Reprojection {
    /// The way from `plane`; `somewhere` is any point of the field.
    pub(super) fn new(plane: &Crs, somewhere: (f64, f64)) -> Result<Self, Iso11783Error> {
        let projector = Projector::new(plane, &Crs::wgs84())?;
        let (_, latitude) = projector.point(somewhere.0, somewhere.1)?;
        Ok(Self {
            projector,
            metres: metres_per_degree(latitude),
        })
    }

    /// A line in longitude and latitude. \[°\]
    pub(super) fn line(&self, line: &LineString<f64>) -> Result<Vec<[f64; 2]>, Iso11783Error> {
        let mut out: Vec<[f64; 2]> = Vec::with_capacity(line.0.len());
        let mut last: Option<([f64; 2], [f64; 2])> = None;
        for c in &line.0 {
            let plane = [c.x, c.y];
            let degrees = self.point(plane)?;
            if let Some((before, before_degrees)) = last {
                self.densify(before, plane, before_degrees, degrees, 24, &mut out)?;
            }
            out.push(degrees);
            last = Some((plane, degrees));
        }
        Ok(out)
    }

    fn point(&self, p: [f64; 2]) -> Result<[f64; 2], Iso11783Error> {
        let (x, y) = self.projector.point(p[0], p[1])?;
        Ok([x, y])
    }

    fn densify(
        &self,
        a: [f64; 2],
        b: [f64; 2],
        da: [f64; 2],
        db: [f64; 2],
        depth: u8,
        out: &mut Vec<[f64; 2]>,
    ) -> Result<(), Iso11783Error> {
        if depth == 0 || libm::hypot(b[0] - a[0], b[1] - a[1]) <= SHORT_M {
            return Ok(());
        }
        let middle = [f64::midpoint(a[0], b[0]), f64::midpoint(a[1], b[1])];
        let degrees = self.point(middle)?;
        let off = [
            degrees[0] - f64::midpoint(da[0], db[0]),
            degrees[1] - f64::midpoint(da[1], db[1]),
        ];
        if libm::hypot(off[0] * self.metres.1, off[1] * self.metres.0) <= CHORD_M {
            return Ok(());
        }
        self.densify(a, middle, da, degrees, depth - 1, out)?;
        out.push(degrees);
        self.densify(middle, b, degrees, db, depth - 1, out)
    }
}

/// The grid of a task: where its south-west corner lies, how large its cells are, how many.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lattice {
    /// Latitude of the south-west corner of the south-west cell. \[°\] At most 9 decimals.
    pub south: f64,
    /// Longitude of it. \[°\] At most 9 decimals.
    pub west: f64,
    /// Cell size along the meridian. \[°\] 12 significant digits.
    pub cell_north: f64,
    /// Cell size along the parallel. \[°\] 12 significant digits.
    pub cell_east: f64,
    /// Cell size. \[m\]
    pub cell_m: f64,
    /// Rows, from the south.
    pub rows: usize,
    /// Columns, from the west.
    pub cols: usize,
    /// Cell size that it should not exceed, and does only to keep within 350 rows and columns. \[m\]
    pub requested_m: f64,
}

impl Lattice {
    /// Sizes between which cells of a task's grid should lie, given the sides of the machine's cells: 3 m, and a quarter of the shorter side or 3 m.
    pub fn cell_sizes(cell_length: f64, cell_width: f64) -> (f64, f64) {
        let quarter = cell_length.min(cell_width) / 4.0;
        (FINEST_CELL_M, quarter.max(FINEST_CELL_M))
    }

    /// The grid that covers these outlines (degrees), the overrun and one cell more. Cells have the finest size, and grow until it has at most 350 rows and columns;
    /// past the coarsest size it counts as coarsened.
    ///
    /// # Errors
    /// [`Iso11783Error::NoBoundary`] without a point; [`Iso11783Error::Place`] across the 180th meridian or near a pole.
    pub(super) fn new(
        outlines: &[Vec<[f64; 2]>],
        (finest, coarsest): (f64, f64),
        overrun: f64,
    ) -> Result<Self, Iso11783Error> {
        let points = || outlines.iter().flatten();
        if points().next().is_none() {
            return Err(Iso11783Error::NoBoundary);
        }
        let minimum = |axis: usize| points().map(|p| p[axis]).fold(f64::INFINITY, f64::min);
        let maximum = |axis: usize| points().map(|p| p[axis]).fold(f64::NEG_INFINITY, f64::max);
        let (west, east, south, north) = (minimum(0), maximum(0), minimum(1), maximum(1));
        let (per_north, per_east) = metres_per_degree(f64::midpoint(south, north));
        let mut size = finest;
        loop {
            let margin = overrun + size;
            let corner = |minimum: f64, per_degree: f64| {
                libm::floor((minimum - margin / per_degree) * 1e9) / 1e9
            };
            let (corner_south, corner_west) = (corner(south, per_north), corner(west, per_east));
            let (cell_north, cell_east) = (
                twelve_digits(size / per_north),
                twelve_digits(size / per_east),
            );
            let count = |maximum: f64, corner: f64, cell: f64, per_degree: f64| {
                libm::ceil((maximum + margin / per_degree - corner) / cell).max(1.0) as usize
            };
            let (rows, cols) = (
                count(north, corner_south, cell_north, per_north),
                count(east, corner_west, cell_east, per_east),
            );
            let inside = corner_west >= -180.0
                && east + margin / per_east <= 180.0
                && east - west < 180.0
                && south >= -85.0
                && north <= 85.0;
            if !inside {
                return Err(Iso11783Error::Place {
                    west,
                    east,
                    south,
                    north,
                });
            }
            let most = rows.max(cols);
            if most <= MAXIMUM_ROWS_OR_COLUMNS {
                return Ok(Self {
                    south: corner_south,
                    west: corner_west,
                    cell_north,
                    cell_east,
                    cell_m: size,
                    rows,
                    cols,
                    requested_m: coarsest,
                });
            }
            // To the next decimetre, so that the size reads well; the count falls at each turn.
            size = (libm::ceil(size * most as f64 / MAXIMUM_ROWS_OR_COLUMNS as f64 * 10.0 - 1e-9)
                / 10.0)
                .max(size + 0.1);
        }
    }

    /// Whether cells had to grow.
    pub fn is_coarsened(&self) -> bool {
        self.cell_m > self.requested_m
    }

    /// Degrees to lattice coordinates: columns from the west, rows from the south.
    pub(super) fn in_cells(&self, line: &[[f64; 2]]) -> Ring {
        line.iter()
            .map(|p| {
                [
                    (p[0] - self.west) / self.cell_east,
                    (p[1] - self.south) / self.cell_north,
                ]
            })
            .collect()
    }

    /// Longitude and latitude of a cell's centre. \[°\]
    pub fn centre(&self, row: usize, col: usize) -> (f64, f64) {
        (
            self.west + (col as f64 + 0.5) * self.cell_east,
            self.south + (row as f64 + 0.5) * self.cell_north,
        )
    }

    /// Row and column of a longitude and latitude, when it lies on the grid.
    pub fn cell_at(&self, longitude: f64, latitude: f64) -> Option<(usize, usize)> {
        let (row, col) = (
            libm::floor((latitude - self.south) / self.cell_north),
            libm::floor((longitude - self.west) / self.cell_east),
        );
        (row >= 0.0 && col >= 0.0 && row < self.rows as f64 && col < self.cols as f64)
            .then_some((row as usize, col as usize))
    }
}

/// Rings of polygons in lattice coordinates: exteriors counter-clockwise, holes clockwise.
pub(super) fn rings(
    reprojection: &Reprojection,
    lattice: &Lattice,
    polygons: &MultiPolygon<f64>,
) -> Result<Vec<Ring>, Iso11783Error> {
    let mut out = Vec::new();
    for polygon in polygons {
        let sides = std::iter::once((polygon.exterior(), true))
            .chain(polygon.interiors().iter().map(|hole| (hole, false)));
        for (line, exterior) in sides {
            let mut ring = lattice.in_cells(&reprojection.line(line)?);
            if (doubled_area(&ring) > 0.0) != exterior {
                ring.reverse();
            }
            out.push(ring);
        }
    }
    Ok(out)
}

/// Rounded to 12 significant digits, so that the file's decimal number and the one computed with are the same.
pub(super) fn twelve_digits(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn degrees_on_the_ellipsoid() {
        // Length of a degree at latitude 45 by the usual tables: 111.132 km of meridian, 78.847 km of parallel (from memory); at the equator 110.574 and 111.320.
        let (north, east) = metres_per_degree(45.0);
        assert_relative_eq!(north, 111_132.0, epsilon = 1.0);
        assert_relative_eq!(east, 78_847.0, epsilon = 1.0);
        let (north, east) = metres_per_degree(0.0);
        assert_relative_eq!(north, 110_574.0, epsilon = 1.0);
        assert_relative_eq!(east, 111_320.0, epsilon = 1.0);
    }

    #[test]
    fn cell_size_rule() {
        assert_eq!(Lattice::cell_sizes(24.0, 24.0), (3.0, 6.0));
        assert_eq!(Lattice::cell_sizes(30.0, 3.0), (3.0, 3.0));
        // A field of 1400 by 700 m: 350 cells of 4.1 m with the overrun and a cell around it.
        let field = [vec![[15.0, 48.0], [15.018_78, 48.006_3]]];
        let lattice = Lattice::new(&field, Lattice::cell_sizes(24.0, 24.0), 12.0).unwrap();
        assert!(
            (4.0..4.3).contains(&lattice.cell_m) && lattice.cols > 340 && !lattice.is_coarsened(),
            "{lattice:?}"
        );
    }

    #[test]
    fn covers_the_field_and_is_square_in_metres() {
        let field = vec![vec![[15.0, 48.0], [15.01, 48.005]]];
        let lattice = Lattice::new(&field, (12.0, 12.0), 18.0).unwrap();
        let (per_north, per_east) = metres_per_degree(48.002_5);
        assert_relative_eq!(lattice.cell_north * per_north, 12.0, max_relative = 1e-9);
        assert_relative_eq!(lattice.cell_east * per_east, 12.0, max_relative = 1e-9);
        let room = |degrees: f64, per_degree: f64| degrees * per_degree;
        assert!(
            room(48.0 - lattice.south, per_north) >= 30.0
                && room(15.0 - lattice.west, per_east) >= 30.0
        );
        assert!(
            lattice.south + lattice.rows as f64 * lattice.cell_north - 48.005 >= 30.0 / per_north
        );
        assert!(lattice.west + lattice.cols as f64 * lattice.cell_east - 15.01 >= 30.0 / per_east);
        assert!(!lattice.is_coarsened());
        for text in [lattice.south.to_string(), lattice.west.to_string()] {
            assert!(text.split('.').nth(1).unwrap().len() <= 9, "{text}");
        }
    }

    #[test]
    fn large_fields_get_larger_cells() {
        let lattice =
            Lattice::new(&[vec![[15.0, 48.0], [15.1, 48.02]]], (12.0, 12.0), 12.0).unwrap();
        assert!(
            lattice.is_coarsened() && lattice.cols <= 350 && lattice.cols > 340,
            "{lattice:?}"
        );
        assert_relative_eq!(lattice.cell_m, 21.5, epsilon = 0.3);
    }

    #[test]
    fn no_grid_across_the_date_line() {
        let error = Lattice::new(
            &[vec![[179.99, -16.0], [-179.99, -16.01]]],
            (12.0, 12.0),
            12.0,
        )
        .unwrap_err();
        assert!(matches!(error, Iso11783Error::Place { .. }));
        assert!(matches!(
            Lattice::new(&[], (12.0, 12.0), 12.0).unwrap_err(),
            Iso11783Error::NoBoundary
        ));
    }

    #[test]
    fn long_edges_are_bent_as_the_ellipsoid_bends_them() {
        // A line of 4 km on the plane, far from the central meridian: its middle must be in the carried line to a millimetre.
        let plane = Crs::utm(15.0, 60.0);
        let (a, b) = ([320_000.0, 6_650_000.0], [324_000.0, 6_650_500.0]);
        let reprojection = Reprojection::new(&plane, (a[0], a[1])).unwrap();
        let line = reprojection
            .line(&LineString::from(vec![(a[0], a[1]), (b[0], b[1])]))
            .unwrap();
        assert!(line.len() > 4);
        let exact = Projector::new(&plane, &Crs::wgs84()).unwrap();
        let (per_north, per_east) = metres_per_degree(60.0);
        for t in [0.1, 0.37, 0.5, 0.81] {
            let (x, y) = exact
                .point(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))
                .unwrap();
            let nearest = line
                .windows(2)
                .map(|edge| {
                    let (p, q) = (
                        [(edge[0][0] - x) * per_east, (edge[0][1] - y) * per_north],
                        [(edge[1][0] - x) * per_east, (edge[1][1] - y) * per_north],
                    );
                    let d = [q[0] - p[0], q[1] - p[1]];
                    let s = (-(p[0] * d[0] + p[1] * d[1]) / (d[0] * d[0] + d[1] * d[1]))
                        .clamp(0.0, 1.0);
                    libm::hypot(p[0] + s * d[0], p[1] + s * d[1])
                })
                .fold(f64::INFINITY, f64::min);
            assert!(nearest < 1e-3, "{nearest}");
        }
    }
}
