//! Machine cells: the grid along the drive, cut by the field.
//!
//! Everything here is in the machine frame: `u` along the heading, `v` to its left, both in metres of the working plane. Two cells that share a border
//! share its vertices bit for bit, so that zones can be traced from them without gaps.

use geo::{LineString, MultiPolygon, Polygon};

use crate::space::curve::CurveFrame;

/// The machine frame and the size of its cells.
///
/// `u = x sin A + y cos A`, `v = −x cos A + y sin A`, with A the heading as azimuth clockwise from the plane's north.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CellFrame {
    azimuth_deg: f64,
    sin: f64,
    cos: f64,
    /// Least `u` of the grid. \[m\]
    pub u0: f64,
    /// Least `v` of the grid. \[m\]
    pub v0: f64,
    /// Cell length along `u`. \[m\]
    pub length: f64,
    /// Cell width along `v`. \[m\]
    pub width: f64,
}

impl CellFrame {
    /// The working plane itself as a frame: `u` is x and `v` is y, to the last bit. Cells of a grid that is laid in parts are kept in it.
    pub const fn of_plane(length: f64, width: f64) -> Self {
        Self {
            azimuth_deg: 90.0,
            sin: 1.0,
            cos: 0.0,
            u0: 0.0,
            v0: 0.0,
            length,
            width,
        }
    }
    /// A frame with its origin still at 0, 0; `length` and `width` must be positive.
    pub fn new(azimuth_deg: f64, length: f64, width: f64) -> Self {
        let a = azimuth_deg.to_radians();
        Self {
            azimuth_deg,
            sin: libm::sin(a),
            cos: libm::cos(a),
            u0: 0.0,
            v0: 0.0,
            length,
            width,
        }
    }
    /// Heading as grid azimuth. \[°\]
    pub const fn azimuth_deg(&self) -> f64 {
        self.azimuth_deg
    }
    /// Plane to frame.
    pub fn to_uv(&self, x: f64, y: f64) -> (f64, f64) {
        (x * self.sin + y * self.cos, -x * self.cos + y * self.sin)
    }
    /// Frame to plane.
    pub fn to_xy(&self, u: f64, v: f64) -> (f64, f64) {
        (u * self.sin - v * self.cos, u * self.cos + v * self.sin)
    }
    /// The `u` of the lower border of a row.
    pub fn row_start(&self, row: i32) -> f64 {
        self.u0 + f64::from(row) * self.length
    }
    /// The `v` of the lower border of a column.
    pub fn col_start(&self, col: i32) -> f64 {
        self.v0 + f64::from(col) * self.width
    }
}

/// One piece of a cut cell in `(u, v)`: closed rings, exterior counter-clockwise in `(u, v)` taken as `(x, y)`, holes clockwise.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// The exterior ring; first and last point equal.
    pub exterior: Vec<[f64; 2]>,
    /// Holes; first and last point equal.
    pub holes: Vec<Vec<[f64; 2]>>,
}

/// A cell's shape.
#[derive(Clone, Debug, PartialEq)]
pub enum CellShape {
    /// The whole rectangle lies in the field.
    Whole,
    /// What the field leaves of the rectangle.
    Cut(Vec<Piece>),
}

/// One cell: a rectangle of the grid ∩ field, possibly in several pieces.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// Row along the heading, from 0.
    pub row: i32,
    /// Column to the left, from 0.
    pub col: i32,
    /// Area inside the field. \[m²\]
    pub area: f64,
    /// Its shape.
    pub shape: CellShape,
}

/// Two cells and how much border they share. `a < b`, both positions in [`CellGrid::cells`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Border {
    /// The earlier cell.
    pub a: u32,
    /// The later cell.
    pub b: u32,
    /// Shared length. \[m\]
    pub length: f64,
}

/// How ground is driven.
#[derive(Clone, Debug, PartialEq)]
pub enum Way {
    /// Straight on.
    Straight(CellFrame),
    /// Along a bent guidance line.
    Curve(Box<CurveFrame>),
}

impl Way {
    /// The frame; of a curve, its mean heading with length and width of cells.
    pub const fn frame(&self) -> &CellFrame {
        match self {
            Self::Straight(frame) => frame,
            Self::Curve(curve) => curve.mean(),
        }
    }
    /// Row and column of a place of the plane; `None` where a curve's frame does not reach.
    pub fn row_and_column(&self, x: f64, y: f64) -> Option<(i32, i32)> {
        match self {
            Self::Straight(frame) => {
                let (u, v) = frame.to_uv(x, y);
                Some((
                    libm::floor((u - frame.u0) / frame.length) as i32,
                    libm::floor((v - frame.v0) / frame.width) as i32,
                ))
            }
            Self::Curve(curve) => curve.row_and_column(x, y),
        }
    }
    /// The same with rows that begin `by` further along. \[m\]
    #[must_use]
    pub fn moved_along(mut self, by: f64) -> Self {
        match &mut self {
            Self::Straight(frame) => frame.u0 += by,
            Self::Curve(curve) => curve.s0 += by,
        }
        self
    }
}

/// A part of a grid that is laid by a frame of its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// How it is driven: rows and columns of its cells count along it.
    pub way: Way,
    /// Position of its first cell; its last is the one before the next part's first.
    pub first: usize,
}

/// The grid of a field: frame, and cells in row, column order.
///
/// As a rule the whole field is driven one way: `parts` is empty, and `frame` is both the frame in which shapes stand and the one that rows and columns count in. A field that is driven in several ways
/// has parts; shapes then stand on the plane, `frame` is [`CellFrame::of_plane`], and rows and columns count in the frame of the cell's part.
#[derive(Clone, Debug, PartialEq)]
pub struct CellGrid {
    /// The frame in which the rings stand.
    pub frame: CellFrame,
    /// Cells in part, row, column order.
    pub cells: Vec<Cell>,
    /// Parts, or none when the field is driven one way.
    pub parts: Vec<Part>,
}

/// Finds cells by part, row and column: at once where a row has no gaps, else by halving the row.
#[derive(Clone, Debug)]
pub struct Places<'a> {
    cells: &'a [Cell],
    /// Of each part its first row, and the position where each row begins; the last is the part's end.
    parts: Vec<(i32, Vec<usize>)>,
}

impl Places<'_> {
    /// The cell at a part, row and column.
    pub fn find(&self, (part, row, col): (usize, i32, i32)) -> Option<usize> {
        let (first, begins) = self.parts.get(part)?;
        let at = usize::try_from(row - first).ok()?;
        let (start, end) = (*begins.get(at)?, *begins.get(at + 1)?);
        let cells = &self.cells[start..end];
        let ahead = usize::try_from(col - cells.first()?.col).ok()?;
        if cells.get(ahead).is_some_and(|cell| cell.col == col) {
            return Some(start + ahead);
        }
        cells
            .binary_search_by_key(&col, |cell| cell.col)
            .ok()
            .map(|at| start + at)
    }
}

impl CellGrid {
    /// A grid that is driven one way.
    pub const fn new(frame: CellFrame, cells: Vec<Cell>) -> Self {
        Self {
            frame,
            cells,
            parts: Vec::new(),
        }
    }

    /// How many ways the field is driven.
    pub fn ways(&self) -> usize {
        self.parts.len().max(1)
    }

    /// The part that a cell belongs to, from 0; 0 where there are no parts.
    pub fn part_of(&self, cell: usize) -> usize {
        // Empty parts begin where the next one does: the last that begins there holds the cell.
        self.parts
            .partition_point(|part| part.first <= cell)
            .saturating_sub(1)
    }

    /// The frame of a part: what its rows and columns count in, and the way that it is driven.
    pub fn drive(&self, part: usize) -> &CellFrame {
        self.parts
            .get(part)
            .map_or(&self.frame, |part| part.way.frame())
    }

    /// How a part is driven.
    pub fn way(&self, part: usize) -> Way {
        self.parts
            .get(part)
            .map_or(Way::Straight(self.frame), |part| part.way.clone())
    }

    /// Whether a part is driven along a curve.
    pub fn is_curved(&self, part: usize) -> bool {
        self.parts
            .get(part)
            .is_some_and(|part| matches!(part.way, Way::Curve(_)))
    }

    /// The cell of a part in whose row and column a place of the plane lies.
    pub fn locate(&self, part: usize, x: f64, y: f64) -> Option<usize> {
        let (row, col) = match self.parts.get(part) {
            Some(part) => part.way.row_and_column(x, y)?,
            None => Way::Straight(self.frame).row_and_column(x, y)?,
        };
        self.find(part, row, col)
    }

    /// Positions of the cells of a part.
    pub fn cells_of(&self, part: usize) -> std::ops::Range<usize> {
        let first = self.parts.get(part).map_or(0, |part| part.first);
        first
            ..self
                .parts
                .get(part + 1)
                .map_or(self.cells.len(), |next| next.first)
    }

    /// The cell at a row and column of a part.
    pub fn find(&self, part: usize, row: i32, col: i32) -> Option<usize> {
        let range = self.cells_of(part);
        self.cells[range.clone()]
            .binary_search_by_key(&(row, col), |cell| (cell.row, cell.col))
            .ok()
            .map(|at| range.start + at)
    }

    /// Where the rows of every part begin, so that many places are found at once.
    pub fn places(&self) -> Places<'_> {
        let parts = (0..self.ways()).map(|part| {
            let range = self.cells_of(part);
            let cells = &self.cells[range.clone()];
            let first = cells.first().map_or(0, |cell| cell.row);
            let mut begins = Vec::new();
            for (at, cell) in cells.iter().enumerate() {
                while first + (begins.len() as i32) <= cell.row {
                    begins.push(range.start + at);
                }
            }
            begins.push(range.end);
            (first, begins)
        });
        Places {
            cells: &self.cells,
            parts: parts.collect(),
        }
    }

    /// The closed rings of a cell in [`Self::frame`]: `(ring, is_exterior)`, exterior counter-clockwise, holes clockwise.
    ///
    /// Vertices are shared bit for bit by neighbours, except that a whole cell's rectangle does not repeat the extra points of cut neighbours: there are none, since
    /// a neighbour across a full border has only the two corners on it.
    pub fn rings(&self, cell: usize) -> Vec<(Vec<[f64; 2]>, bool)> {
        let part = self.part_of(cell);
        let cell = &self.cells[cell];
        match &cell.shape {
            CellShape::Whole => {
                let frame = self.drive(part);
                let (u0, u1) = (frame.row_start(cell.row), frame.row_start(cell.row + 1));
                let (v0, v1) = (frame.col_start(cell.col), frame.col_start(cell.col + 1));
                let mut ring = vec![[u0, v0], [u1, v0], [u1, v1], [u0, v1], [u0, v0]];
                if !self.parts.is_empty() {
                    for point in &mut ring {
                        *point = frame.to_xy(point[0], point[1]).into();
                    }
                }
                vec![(ring, true)]
            }
            CellShape::Cut(pieces) => pieces
                .iter()
                .flat_map(|piece| {
                    std::iter::once((piece.exterior.clone(), true))
                        .chain(piece.holes.iter().map(|hole| (hole.clone(), false)))
                })
                .collect(),
        }
    }

    /// The outline of a cell on the working plane.
    pub fn outline(&self, cell: usize) -> MultiPolygon<f64> {
        let ring = |points: &[[f64; 2]]| {
            LineString::from(
                points
                    .iter()
                    .map(|p| self.frame.to_xy(p[0], p[1]))
                    .collect::<Vec<_>>(),
            )
        };
        match &self.cells[cell].shape {
            CellShape::Whole => MultiPolygon::new(
                self.rings(cell)
                    .iter()
                    .map(|(points, _)| Polygon::new(ring(points), Vec::new()))
                    .collect(),
            ),
            CellShape::Cut(pieces) => MultiPolygon::new(
                pieces
                    .iter()
                    .map(|piece| {
                        Polygon::new(
                            ring(&piece.exterior),
                            piece.holes.iter().map(|hole| ring(hole)).collect(),
                        )
                    })
                    .collect(),
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(row: i32, col: i32) -> Cell {
        Cell {
            row,
            col,
            area: 1.0,
            shape: CellShape::Whole,
        }
    }

    #[test]
    fn places_are_found_as_one_by_one() {
        // A part with gaps within a row, a row that is missing and negative numbers; an empty part; a part of one cell.
        let places = [(-2, 3), (-2, 4), (-2, 9), (0, -1), (0, 0), (1, 5), (7, 7)];
        let mut grid = CellGrid::new(
            CellFrame::new(90.0, 10.0, 10.0),
            places.map(|(row, col)| cell(row, col)).to_vec(),
        );
        let part = |first| Part {
            way: Way::Straight(CellFrame::new(90.0, 10.0, 10.0)),
            first,
        };
        for parts in [vec![], vec![part(0), part(6), part(6)]] {
            grid.parts = parts;
            let found = grid.places();
            let mut some = 0;
            for part in 0..grid.ways() {
                for row in -4..9 {
                    for col in -3..11 {
                        let one = grid.find(part, row, col);
                        some += usize::from(one.is_some());
                        assert_eq!(found.find((part, row, col)), one, "{part} {row} {col}");
                    }
                }
            }
            assert_eq!(some, places.len());
            assert_eq!(found.find((9, 0, 0)), None);
        }
    }
}
