//! Fills polygons into pixels, row by row: a pixel belongs to the polygon that its centre lies in (even-odd rule).
//!
//! Two polygons that share their vertices share no pixel and leave none between them: a crossing is worked out from the edge's lower end whichever way the
//! edge runs, and each span holds its first crossing but not its last.

use geo::{Coord, MultiPolygon, Rect};

/// Square pixels on whole multiples of their own size, north up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PixelGrid {
    /// West edge. \[m\]
    pub(super) west: f64,
    /// North edge. \[m\]
    pub(super) north: f64,
    /// Pixel size. \[m\]
    pub(super) pixel: f64,
    /// Pixels across; whole.
    pub(super) columns: f64,
    /// Pixels down; whole.
    pub(super) rows: f64,
}

impl PixelGrid {
    /// The least grid that holds a rectangle. `pixel` must be positive.
    pub(super) fn around(bounds: Rect<f64>, pixel: f64) -> Self {
        let (west, south) = (
            libm::floor(bounds.min().x / pixel),
            libm::floor(bounds.min().y / pixel),
        );
        let (east, north) = (
            libm::ceil(bounds.max().x / pixel),
            libm::ceil(bounds.max().y / pixel),
        );
        Self {
            west: west * pixel,
            north: north * pixel,
            pixel,
            columns: (east - west).max(1.0),
            rows: (north - south).max(1.0),
        }
    }

    /// Columns and rows.
    pub(super) const fn size(&self) -> (usize, usize) {
        (self.columns as usize, self.rows as usize)
    }

    /// GDAL's six numbers: west, step east, 0, north, 0, step south.
    pub(super) const fn transform(&self) -> [f64; 6] {
        [self.west, self.pixel, 0.0, self.north, 0.0, -self.pixel]
    }

    fn centre_y(&self, row: usize) -> f64 {
        self.north - (row as f64 + 0.5) * self.pixel
    }

    /// The first column whose centre does not lie west of `x`.
    fn first_column(&self, x: f64) -> usize {
        libm::ceil((x - self.west) / self.pixel - 0.5).clamp(0.0, self.columns) as usize
    }
}

/// An edge from its lower end to its upper.
#[derive(Clone, Copy, Debug)]
struct Edge {
    low: Coord<f64>,
    high: Coord<f64>,
    first_row: usize,
    shape: u32,
}

/// Shapes on their way into pixels. Memory grows with their vertices, not with the pixels.
#[derive(Debug)]
pub(super) struct Filler {
    grid: PixelGrid,
    values: Vec<f32>,
    edges: Vec<Edge>,
    next_edge: usize,
    active: Vec<Edge>,
    crossings: Vec<(u32, f64)>,
    row: usize,
}

impl Filler {
    /// Shapes with their values; where they overlap, the later wins.
    pub(super) fn new<'a>(
        grid: PixelGrid,
        shapes: impl Iterator<Item = (&'a MultiPolygon<f64>, f32)>,
    ) -> Self {
        let (mut values, mut edges) = (Vec::new(), Vec::new());
        for (shape, (outline, value)) in (0..).zip(shapes) {
            values.push(value);
            let rings = outline
                .iter()
                .flat_map(|polygon| std::iter::once(polygon.exterior()).chain(polygon.interiors()));
            for line in rings
                .flat_map(geo::LineString::lines)
                .filter(|line| line.start.y != line.end.y)
            {
                let (low, high) = if line.start.y < line.end.y {
                    (line.start, line.end)
                } else {
                    (line.end, line.start)
                };
                // One row early to be safe from rounding: the exact test is made row by row.
                let first_row =
                    (libm::floor((grid.north - high.y) / grid.pixel - 0.5) - 1.0).max(0.0) as usize;
                edges.push(Edge {
                    low,
                    high,
                    first_row,
                    shape,
                });
            }
        }
        edges.sort_by_key(|edge| edge.first_row);
        Self {
            grid,
            values,
            edges,
            next_edge: 0,
            active: Vec::new(),
            crossings: Vec::new(),
            row: 0,
        }
    }

    /// The next row from the north; `row` holds one number a column, and pixels outside all shapes get `outside`.
    pub(super) fn next_row(&mut self, row: &mut [f32], outside: f32) {
        row.fill(outside);
        while let Some(edge) = self
            .edges
            .get(self.next_edge)
            .filter(|edge| edge.first_row <= self.row)
        {
            self.active.push(*edge);
            self.next_edge += 1;
        }
        let y = self.grid.centre_y(self.row);
        // Rows go south: what ends above this row crosses none of the rows to come.
        self.active.retain(|edge| edge.low.y <= y);
        self.crossings.clear();
        for edge in self.active.iter().filter(|edge| y < edge.high.y) {
            let x = edge.low.x
                + (y - edge.low.y) * (edge.high.x - edge.low.x) / (edge.high.y - edge.low.y);
            self.crossings.push((edge.shape, x));
        }
        self.crossings
            .sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        // A closed ring crosses a line an even number of times, so pairs never mix two shapes.
        for pair in self.crossings.chunks_exact(2) {
            let (first, last) = (
                self.grid.first_column(pair[0].1),
                self.grid.first_column(pair[1].1),
            );
            if let (Some(span), Some(value)) = (
                row.get_mut(first..last),
                self.values.get(pair[0].0 as usize),
            ) {
                span.fill(*value);
            }
        }
        self.row += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    fn picture(grid: PixelGrid, shapes: &[(MultiPolygon<f64>, f32)]) -> Vec<Vec<f32>> {
        let mut filler = Filler::new(grid, shapes.iter().map(|(shape, value)| (shape, *value)));
        let mut row = vec![0.0; grid.columns as usize];
        (0..grid.rows as usize)
            .map(|_| {
                filler.next_row(&mut row, -1.0);
                row.clone()
            })
            .collect()
    }

    #[test]
    fn grids_lie_on_multiples() {
        let grid = PixelGrid::around(Rect::new((10.0, -7.0), (21.0, 12.0)), 6.0);
        assert_eq!(
            (grid.west, grid.north, grid.columns, grid.rows),
            (6.0, 12.0, 3.0, 4.0)
        );
    }

    #[test]
    fn centres_decide_and_holes_stay_empty() {
        let grid = PixelGrid::around(Rect::new((0.0, 0.0), (4.0, 4.0)), 1.0);
        let ring = polygon!(
            exterior: [(x: 0.4, y: 0.4), (x: 4.0, y: 0.4), (x: 4.0, y: 4.0), (x: 0.4, y: 4.0)],
            interiors: [[(x: 1.0, y: 1.0), (x: 1.0, y: 3.0), (x: 3.0, y: 3.0), (x: 3.0, y: 1.0)]]
        );
        assert_eq!(
            picture(grid, &[(MultiPolygon::new(vec![ring]), 5.0)]),
            [
                [5.0, 5.0, 5.0, 5.0],
                [5.0, -1.0, -1.0, 5.0],
                [5.0, -1.0, -1.0, 5.0],
                [5.0, 5.0, 5.0, 5.0]
            ]
        );
        // A centre exactly on the west or south edge is in, on the east or north edge out.
        let square =
            polygon![(x: 0.5, y: 0.5), (x: 2.5, y: 0.5), (x: 2.5, y: 2.5), (x: 0.5, y: 2.5)];
        assert_eq!(
            picture(grid, &[(MultiPolygon::new(vec![square]), 5.0)]),
            [
                [-1.0, -1.0, -1.0, -1.0],
                [-1.0, -1.0, -1.0, -1.0],
                [5.0, 5.0, -1.0, -1.0],
                [5.0, 5.0, -1.0, -1.0]
            ]
        );
    }

    #[test]
    fn neighbours_leave_no_pixel_and_share_none() {
        // A fan of triangles around a point on a pixel centre: together a square of 8 × 8, each pixel once.
        let grid = PixelGrid::around(Rect::new((0.0, 0.0), (8.0, 8.0)), 1.0);
        let centre = (3.5, 4.5);
        let rim = [
            (0.0, 0.0),
            (3.3, 0.0),
            (8.0, 0.0),
            (8.0, 5.1),
            (8.0, 8.0),
            (1.7, 8.0),
            (0.0, 8.0),
            (0.0, 2.9),
        ];
        let triangles: Vec<_> = (0..rim.len())
            .map(|i| {
                MultiPolygon::new(vec![geo::Polygon::new(
                    geo::LineString::from(vec![centre, rim[i], rim[(i + 1) % rim.len()]]),
                    Vec::new(),
                )])
            })
            .collect();
        let mut seen = vec![vec![0; 8]; 8];
        for triangle in &triangles {
            for (row, line) in picture(grid, &[(triangle.clone(), 1.0)]).iter().enumerate() {
                for (column, value) in line.iter().enumerate() {
                    seen[row][column] += i32::from(*value == 1.0);
                }
            }
        }
        assert_eq!(seen, vec![vec![1; 8]; 8]);
    }
}
