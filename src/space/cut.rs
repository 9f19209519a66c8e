//! Cuts a field into machine cells.
//!
//! The field is sliced by the grid's lines, one after the other: rows first, then columns. A vertex on a line counts as above it, so that there is no third case. A crossing is computed once
//! for an edge, from its lower to its upper end, and handed to both sides; grid nodes get the line's own numbers. So neighbours share their vertices bit for bit.

use geo::{Area as _, MultiPolygon};

use crate::space::cells::{Border, Cell, CellFrame, CellGrid, CellShape, Piece};
use crate::space::curve::{CurveFrame, Strip};
use crate::space::polygon::rings_of;

/// Pieces smaller than this are dropped. \[m²\]
const MINIMUM_PIECE: f64 = 1e-6;
/// Two cells are neighbours if they share more than this. \[m\]
pub(crate) const MINIMUM_BORDER: f64 = 1e-3;
/// More cells than this in one field are refused.
pub const MAXIMUM_CELLS: f64 = 2e7;

/// A ring without its closing point.
type Ring = Vec<[f64; 2]>;

/// Why a field cannot be cut.
#[derive(Debug, thiserror::Error, PartialEq)]
#[non_exhaustive]
pub enum CutError {
    /// The grid would have more cells than any machine can use.
    #[error(
        "the field would have about {cells:.0} cells of {length} m × {width} m, more than {most:.0}"
    )]
    TooMany {
        /// Cells that the grid would have.
        cells: f64,
        /// Cell length. \[m\]
        length: f64,
        /// Cell width. \[m\]
        width: f64,
        /// The limit.
        most: f64,
    },
}

/// The part of a cut ring between two crossings of a line.
struct Chain {
    points: Ring,
    /// Crossing where it begins and where it ends.
    ends: (usize, usize),
    above: bool,
}

/// A line that rings are cut at. A vertex on it counts as above it.
#[derive(Clone, Copy)]
enum Cutting {
    /// Where a coordinate has this value.
    Grid { axis: usize, at: f64 },
    /// Where `u = a + b v`.
    Slanted { a: f64, b: f64 },
}

impl Cutting {
    fn is_up(self, p: [f64; 2]) -> bool {
        match self {
            Self::Grid { axis, at } => p[axis] >= at,
            Self::Slanted { a, b } => p[0] - (a + b * p[1]) >= 0.0,
        }
    }
    /// Position along the line.
    const fn along(self, p: [f64; 2]) -> f64 {
        match self {
            Self::Grid { axis, .. } => p[1 - axis],
            Self::Slanted { .. } => p[1],
        }
    }
    /// Whether a walk round the inside enters the line, in the direction of its positions, where it crosses upwards.
    const fn begins_upwards(self) -> bool {
        !matches!(self, Self::Grid { axis: 1, .. })
    }
    /// Where an edge meets the line; the same bits whichever way the edge runs.
    fn crossing(self, a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
        match self {
            Self::Grid { axis, at } => crossing_point(a, b, axis, at),
            Self::Slanted { a: from, b: lean } => {
                let off = |p: [f64; 2]| p[0] - (from + lean * p[1]);
                let (low, high) = if off(a) < off(b) { (a, b) } else { (b, a) };
                let (below, above) = (off(low), off(high));
                if above == 0.0 {
                    return high;
                }
                let t = below / (below - above);
                [
                    low[0] + t * (high[0] - low[0]),
                    low[1] + t * (high[1] - low[1]),
                ]
            }
        }
    }
}

/// A crossing of the line.
#[derive(Clone, Copy)]
struct Crossing {
    at: f64,
    upwards: bool,
    id: usize,
}

/// Cuts `field` (working plane) into the cells of `frame`, whose origin is set.
///
/// # Errors
/// [`CutError::TooMany`].
pub fn cut(field: &MultiPolygon<f64>, frame: CellFrame) -> Result<CellGrid, CutError> {
    let rings = open_rings(field, &frame);
    let extent = |axis: usize| {
        rings
            .iter()
            .flatten()
            .map(|p| p[axis])
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t| {
                (low.min(t), high.max(t))
            })
    };
    let (u, v) = (extent(0), extent(1));
    let mut grid = CellGrid::new(frame, Vec::new());
    if rings.is_empty() {
        return Ok(grid);
    }
    let cells = (u.1 - u.0) / frame.length * ((v.1 - v.0) / frame.width);
    if cells > MAXIMUM_CELLS {
        return Err(CutError::TooMany {
            cells,
            length: frame.length,
            width: frame.width,
            most: MAXIMUM_CELLS,
        });
    }
    let first = libm::floor((u.0 - frame.u0) / frame.length) as i32;
    let last = libm::floor((u.1 - frame.u0) / frame.length) as i32 + 1;
    let (_, mut rest) = slice(
        rings,
        Cutting::Grid {
            axis: 0,
            at: frame.row_start(first),
        },
    );
    for row in first..=last {
        let (strip, above) = slice(
            rest,
            Cutting::Grid {
                axis: 0,
                at: frame.row_start(row + 1),
            },
        );
        rest = above;
        cut_row(strip, row, true, &mut grid);
    }
    Ok(grid)
}

/// The rings of a shape in a frame, without their closing points.
fn open_rings(shape: &MultiPolygon<f64>, frame: &CellFrame) -> Vec<Ring> {
    let ring = |ring: Vec<[f64; 2]>| {
        let mut ring: Ring = ring
            .iter()
            .map(|p| frame.to_uv(p[0], p[1]))
            .map(|(u, v)| [u, v])
            .collect();
        ring.pop();
        ring
    };
    rings_of(shape).into_iter().map(ring).collect()
}

/// Cuts what lies in one strip of a curve: columns along its segment, rows across as the curve has them. No cell counts as whole: it is no rectangle.
///
/// # Errors
/// [`CutError::TooMany`].
pub(crate) fn cut_strip(
    shape: &MultiPolygon<f64>,
    strip: &Strip,
    curve: &CurveFrame,
) -> Result<CellGrid, CutError> {
    let frame = strip.frame;
    let mut grid = CellGrid::new(frame, Vec::new());
    let cells = shape.unsigned_area() / (frame.length * frame.width);
    if cells > MAXIMUM_CELLS {
        return Err(CutError::TooMany {
            cells,
            length: frame.length,
            width: frame.width,
            most: MAXIMUM_CELLS,
        });
    }
    let mut rest = open_rings(shape, &frame);
    let (start, end) = strip.span();
    let mut row = libm::floor((start - curve.s0) / frame.length) as i32;
    while !rest.is_empty() {
        let next = curve.row_start(row + 1);
        let strip_rings = if next < end {
            let (a, b) = strip.across(next);
            let (below, above) = slice(rest, Cutting::Slanted { a, b });
            rest = above;
            below
        } else {
            std::mem::take(&mut rest)
        };
        cut_row(strip_rings, row, false, &mut grid);
        row += 1;
    }
    Ok(grid)
}

fn cut_row(strip: Vec<Ring>, row: i32, may_be_whole: bool, grid: &mut CellGrid) {
    let frame = grid.frame;
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for point in strip.iter().flatten() {
        low = low.min(point[1]);
        high = high.max(point[1]);
    }
    if low > high {
        return;
    }
    let first = libm::floor((low - frame.v0) / frame.width) as i32;
    let last = libm::floor((high - frame.v0) / frame.width) as i32 + 1;
    let (_, mut rest) = slice(
        strip,
        Cutting::Grid {
            axis: 1,
            at: frame.col_start(first),
        },
    );
    for col in first..=last {
        let (rings, above) = slice(
            rest,
            Cutting::Grid {
                axis: 1,
                at: frame.col_start(col + 1),
            },
        );
        rest = above;
        grid.cells
            .extend(cell_of(rings, (row, col), may_be_whole, &frame));
    }
}

/// Splits rings at a line: what lies below it, what lies on or above it.
fn slice(rings: Vec<Ring>, line: Cutting) -> (Vec<Ring>, Vec<Ring>) {
    let (mut below, mut above) = (Vec::new(), Vec::new());
    let mut chains: Vec<Chain> = Vec::new();
    let mut crossings: Vec<Crossing> = Vec::new();
    for ring in rings {
        let ups = ring.iter().filter(|p| line.is_up(**p)).count();
        if ups == ring.len() {
            above.push(ring);
        } else if ups == 0 {
            below.push(ring);
        } else {
            chains_of(&ring, line, &mut chains, &mut crossings);
        }
    }
    if !crossings.is_empty() {
        let partner = paired(&mut crossings, line.begins_upwards());
        for upper in [true, false] {
            let side = joined(&chains, &partner, upper);
            if upper {
                above.extend(side);
            } else {
                below.extend(side);
            }
        }
    }
    (below, above)
}

/// Cuts one ring into chains at the line.
fn chains_of(
    ring: &[[f64; 2]],
    line: Cutting,
    chains: &mut Vec<Chain>,
    crossings: &mut Vec<Crossing>,
) {
    let n = ring.len();
    let up = |i: usize| line.is_up(ring[i % n]);
    let Some(start) = (0..n).find(|&i| up(i) != up(i + 1)) else {
        return;
    };
    let base = crossings.len();
    let mut count = 0;
    let mut points: Ring = Vec::new();
    for k in 0..n {
        let (i, j) = ((start + k) % n, (start + k + 1) % n);
        if k > 0 {
            points.push(ring[i]);
        }
        if up(i) == up(j) {
            continue;
        }
        let cross = line.crossing(ring[i], ring[j]);
        if k > 0 {
            push_distinct(&mut points, cross);
            chains.push(Chain {
                points: std::mem::take(&mut points),
                ends: (base + count - 1, base + count),
                above: up(i),
            });
        }
        crossings.push(Crossing {
            at: line.along(cross),
            upwards: up(j),
            id: base + count,
        });
        count += 1;
        points.push(cross);
        if up(j) && ring[j] == cross {
            // The vertex itself lies on the line: it is pushed as the next vertex.
            points.clear();
        }
    }
    points.push(ring[start]);
    let first = line.crossing(ring[start], ring[(start + 1) % n]);
    push_distinct(&mut points, first);
    chains.push(Chain {
        points,
        ends: (base + count - 1, base),
        above: up(start),
    });
}

fn push_distinct(points: &mut Ring, point: [f64; 2]) {
    if points.last() != Some(&point) {
        points.push(point);
    }
}

/// Where an edge meets the line; the same bits whichever way the edge runs.
fn crossing_point(a: [f64; 2], b: [f64; 2], axis: usize, at: f64) -> [f64; 2] {
    let (low, high) = if a[axis] < b[axis] { (a, b) } else { (b, a) };
    if high[axis] == at {
        return high;
    }
    let t = (at - low[axis]) / (high[axis] - low[axis]);
    let other = low[1 - axis] + t * (high[1 - axis] - low[1 - axis]);
    if axis == 0 { [at, other] } else { [other, at] }
}

/// Pairs crossings along the line: inside begins at one and ends at the next. Answers the partner of each crossing.
fn paired(crossings: &mut [Crossing], begins_upwards: bool) -> Vec<usize> {
    let mut partner = vec![0; crossings.len()];
    crossings.sort_by(|a, b| a.at.total_cmp(&b.at).then(a.id.cmp(&b.id)));
    let mut i = 0;
    while i + 1 < crossings.len() {
        for (slot, upwards) in [(i, begins_upwards), (i + 1, !begins_upwards)] {
            // Rings that touch on the line give crossings at one place: take the kind that is due.
            if let Some(found) = (slot..crossings.len()).find(|&k| crossings[k].upwards == upwards)
            {
                crossings[slot..=found].rotate_right(1);
            }
        }
        partner[crossings[i].id] = crossings[i + 1].id;
        partner[crossings[i + 1].id] = crossings[i].id;
        i += 2;
    }
    partner
}

/// Joins the chains of one side into rings along the line.
fn joined(chains: &[Chain], partner: &[usize], above: bool) -> Vec<Ring> {
    let mut starting = vec![usize::MAX; partner.len()];
    for (k, chain) in chains
        .iter()
        .enumerate()
        .filter(|(_, chain)| chain.above == above)
    {
        starting[chain.ends.0] = k;
    }
    let mut used = vec![false; chains.len()];
    let mut rings = Vec::new();
    for first in 0..chains.len() {
        if used[first] || chains[first].above != above {
            continue;
        }
        let mut ring: Ring = Vec::new();
        let mut at = first;
        loop {
            used[at] = true;
            for &point in &chains[at].points {
                push_distinct(&mut ring, point);
            }
            let next = starting[partner[chains[at].ends.1]];
            if next == usize::MAX || used[next] {
                break;
            }
            at = next;
        }
        while ring.len() > 1 && ring.first() == ring.last() {
            ring.pop();
        }
        if ring.len() >= 3 {
            rings.push(ring);
        }
    }
    rings
}

/// Takes out points where a ring turns back on itself along a grid line, and points that repeat.
fn without_spikes(mut ring: Ring) -> Ring {
    let mut i = 0;
    let mut calm = 0;
    while ring.len() >= 3 && calm < ring.len() {
        let n = ring.len();
        i %= n;
        let (a, b, c) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
        let on_line = |axis: usize| {
            a[axis] == b[axis]
                && b[axis] == c[axis]
                && (b[1 - axis] - a[1 - axis]) * (c[1 - axis] - b[1 - axis]) <= 0.0
        };
        if b == c || on_line(0) || on_line(1) {
            ring.remove(i);
            i = (i + n - 1).saturating_sub(1);
            calm = 0;
        } else {
            i += 1;
            calm += 1;
        }
    }
    ring
}

fn signed_area(ring: &[[f64; 2]]) -> f64 {
    let Some(origin) = ring.first() else {
        return 0.0;
    };
    let at = |p: &[f64; 2]| [p[0] - origin[0], p[1] - origin[1]];
    let mut doubled = 0.0;
    for k in 0..ring.len() {
        let (a, b) = (at(&ring[k]), at(&ring[(k + 1) % ring.len()]));
        doubled += a[0] * b[1] - b[0] * a[1];
    }
    doubled / 2.0
}

/// Whether a point lies inside a ring (even–odd).
fn inside(ring: &[[f64; 2]], p: [f64; 2]) -> bool {
    let mut odd = false;
    for k in 0..ring.len() {
        let (a, b) = (ring[k], ring[(k + 1) % ring.len()]);
        if (a[1] > p[1]) != (b[1] > p[1])
            && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
        {
            odd = !odd;
        }
    }
    odd
}

/// Rings put together: each exterior with its area less its holes' and with its holes. Rings of an area below `minimum` are dropped. \[m²\]
pub(crate) fn nested(
    rings: impl IntoIterator<Item = Ring>,
    minimum: f64,
) -> Vec<(f64, Ring, Vec<Ring>)> {
    let mut exteriors: Vec<(f64, Ring, Vec<Ring>)> = Vec::new();
    let mut holes: Vec<(f64, Ring)> = Vec::new();
    for ring in rings {
        let area = signed_area(&ring);
        if area >= minimum {
            exteriors.push((area, ring, Vec::new()));
        } else if area <= -minimum {
            holes.push((area, ring));
        }
    }
    for (area, hole) in holes {
        // A hole belongs to the smallest piece around it; a vertex may touch the piece, so ask for the middle of each edge until one lies inside.
        let home = (0..exteriors.len())
            .filter(|&k| {
                hole.iter().zip(hole.iter().cycle().skip(1)).any(|(a, b)| {
                    inside(
                        &exteriors[k].1,
                        [f64::midpoint(a[0], b[0]), f64::midpoint(a[1], b[1])],
                    )
                })
            })
            .min_by(|&a, &b| exteriors[a].0.total_cmp(&exteriors[b].0));
        if let Some(k) = home {
            exteriors[k].0 += area;
            exteriors[k].2.push(hole);
        }
    }
    exteriors
}

fn cell_of(
    rings: Vec<Ring>,
    (row, col): (i32, i32),
    may_be_whole: bool,
    frame: &CellFrame,
) -> Option<Cell> {
    let exteriors = nested(rings.into_iter().map(without_spikes), MINIMUM_PIECE);
    let area: f64 = exteriors.iter().map(|piece| piece.0).sum();
    if exteriors.is_empty() || area < MINIMUM_PIECE {
        return None;
    }
    let (u, v) = (
        (frame.row_start(row), frame.row_start(row + 1)),
        (frame.col_start(col), frame.col_start(col + 1)),
    );
    let is_corner = |p: &[f64; 2]| (p[0] == u.0 || p[0] == u.1) && (p[1] == v.0 || p[1] == v.1);
    if may_be_whole
        && let [(_, ring, inner)] = exteriors.as_slice()
        && inner.is_empty()
        && ring.len() == 4
        && ring.iter().all(is_corner)
    {
        return Some(Cell {
            row,
            col,
            area: (u.1 - u.0) * (v.1 - v.0),
            shape: CellShape::Whole,
        });
    }
    let close = |mut ring: Ring| {
        ring.push(ring[0]);
        ring
    };
    let pieces = exteriors
        .into_iter()
        .map(|(_, exterior, inner)| Piece {
            exterior: close(exterior),
            holes: inner.into_iter().map(close).collect(),
        })
        .collect();
    Some(Cell {
        row,
        col,
        area,
        shape: CellShape::Cut(pieces),
    })
}

/// Which cells share more than 1 mm of border, and how much, in the order of the first cell.
pub fn borders(grid: &CellGrid) -> Vec<Border> {
    let find = |row: i32, col: i32| {
        grid.cells
            .binary_search_by_key(&(row, col), |cell| (cell.row, cell.col))
            .ok()
    };
    let mut out = Vec::new();
    for (a, cell) in grid.cells.iter().enumerate() {
        let right = grid
            .cells
            .get(a + 1)
            .filter(|next| next.row == cell.row && next.col == cell.col + 1)
            .map(|_| a + 1);
        let pairs = [
            (right, 1, grid.frame.col_start(cell.col + 1)),
            (
                find(cell.row + 1, cell.col),
                0,
                grid.frame.row_start(cell.row + 1),
            ),
        ];
        for (b, axis, at) in pairs {
            let Some(b) = b else { continue };
            let length = shared(grid, a, b, axis, at);
            if length > MINIMUM_BORDER {
                out.push(Border {
                    a: a as u32,
                    b: b as u32,
                    length,
                });
            }
        }
    }
    out
}

/// Length of the line `axis = at` that both cells border.
fn shared(grid: &CellGrid, a: usize, b: usize, axis: usize, at: f64) -> f64 {
    let full = if axis == 0 {
        grid.frame.width
    } else {
        grid.frame.length
    };
    if grid.cells[a].shape == CellShape::Whole && grid.cells[b].shape == CellShape::Whole {
        return full;
    }
    let edges = |cell: usize| {
        let mut edges: Vec<(f64, f64)> = Vec::new();
        for (ring, _) in grid.rings(cell) {
            for edge in ring
                .windows(2)
                .filter(|edge| edge[0][axis] == at && edge[1][axis] == at)
            {
                let (p, q) = (edge[0][1 - axis], edge[1][1 - axis]);
                edges.push((p.min(q), p.max(q)));
            }
        }
        edges
    };
    let (first, second) = (edges(a), edges(b));
    first
        .iter()
        .flat_map(|p| {
            second
                .iter()
                .map(move |q| (p.1.min(q.1) - p.0.max(q.0)).max(0.0))
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use geo::{Coord, LineString, Polygon, Validation};
    use proptest::prelude::*;

    fn framed(field: &MultiPolygon<f64>, azimuth: f64, length: f64, width: f64) -> CellFrame {
        let mut frame = CellFrame::new(azimuth, length, width);
        let uv: Vec<(f64, f64)> = rings_of(field)
            .iter()
            .flatten()
            .map(|p| frame.to_uv(p[0], p[1]))
            .collect();
        frame.u0 = uv.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
        frame.v0 = uv.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        frame
    }

    fn polygon(points: &[(f64, f64)]) -> Polygon<f64> {
        Polygon::new(LineString::from(points.to_vec()), Vec::new())
    }

    fn check(field: &MultiPolygon<f64>, grid: &CellGrid) {
        let sum: f64 = grid.cells.iter().map(|cell| cell.area).sum();
        assert_relative_eq!(sum, field.unsigned_area(), max_relative = 1e-9);
        for k in 0..grid.cells.len() {
            let outline = grid.outline(k);
            assert_relative_eq!(
                outline.unsigned_area(),
                grid.cells[k].area,
                max_relative = 1e-6,
                epsilon = 1e-6
            );
            if grid.cells[k].area > 1e-3 {
                assert!(outline.is_valid(), "{:?}", grid.cells[k]);
            }
        }
        assert!(
            grid.cells
                .windows(2)
                .all(|w| (w[0].row, w[0].col) < (w[1].row, w[1].col))
        );
    }

    #[test]
    fn a_rectangle_along_the_grid_gives_whole_cells_and_a_rest() {
        let field = MultiPolygon::new(vec![polygon(&[
            (0.0, 0.0),
            (100.0, 0.0),
            (100.0, 50.0),
            (0.0, 50.0),
        ])]);
        let grid = cut(&field, framed(&field, 0.0, 25.0, 24.0)).unwrap();
        check(&field, &grid);
        assert_eq!(grid.cells.len(), 2 * 5);
        assert_eq!(
            grid.cells
                .iter()
                .filter(|cell| cell.shape == CellShape::Whole)
                .count(),
            8
        );
        let all = borders(&grid);
        assert_eq!(all.len(), 2 * 4 + 5);
        assert_relative_eq!(
            all.iter().map(|b| b.length).sum::<f64>(),
            8.0 * 25.0 + 100.0,
            max_relative = 1e-12
        );
    }

    #[test]
    fn steps_on_grid_lines_make_no_spikes() {
        // An L whose inner corner lies on grid lines.
        let field = MultiPolygon::new(vec![polygon(&[
            (0.0, 0.0),
            (60.0, 0.0),
            (60.0, 20.0),
            (20.0, 20.0),
            (20.0, 60.0),
            (0.0, 60.0),
        ])]);
        let grid = cut(&field, framed(&field, 0.0, 20.0, 20.0)).unwrap();
        check(&field, &grid);
        assert_eq!(grid.cells.len(), 5);
        assert!(grid.cells.iter().all(|cell| cell.shape == CellShape::Whole));
    }

    #[test]
    fn holes_inside_one_cell_and_across_many() {
        let ring = |x: f64, y: f64, r: f64| {
            LineString::from(
                (0..40)
                    .map(|i| {
                        let a = -std::f64::consts::TAU * f64::from(i) / 40.0;
                        (x + r * libm::cos(a), y + r * libm::sin(a))
                    })
                    .collect::<Vec<_>>(),
            )
        };
        let outer = LineString::from(vec![
            (0.0, 0.0),
            (200.0, 10.0),
            (190.0, 150.0),
            (-5.0, 140.0),
        ]);
        let field = MultiPolygon::new(vec![Polygon::new(
            outer,
            vec![ring(60.0, 60.0, 30.0), ring(150.0, 90.0, 2.0)],
        )]);
        for azimuth in [0.0, 33.0, 90.0, 143.8] {
            let grid = cut(&field, framed(&field, azimuth, 24.0, 24.0)).unwrap();
            check(&field, &grid);
            assert!(grid.cells.iter().any(|cell| matches!(&cell.shape, CellShape::Cut(p) if p.iter().any(|q| !q.holes.is_empty()))));
        }
    }

    #[test]
    fn too_many_cells_are_refused() {
        let field = MultiPolygon::new(vec![polygon(&[
            (0.0, 0.0),
            (1e5, 0.0),
            (1e5, 1e5),
            (0.0, 1e5),
        ])]);
        assert!(matches!(
            cut(&field, framed(&field, 0.0, 1.0, 1.0)),
            Err(CutError::TooMany { .. })
        ));
    }

    proptest! {
        #[test]
        fn cells_partition_any_star(radii in prop::collection::vec(30.0..120.0_f64, 5..40), azimuth in 0.0..180.0_f64, length in 5.0..40.0_f64, width in 5.0..40.0_f64) {
            let n = radii.len() as f64;
            let star: Vec<Coord<f64>> = radii.iter().enumerate().map(|(i, r)| {
                let a = std::f64::consts::TAU * i as f64 / n;
                Coord { x: 5e5 + r * libm::cos(a), y: 5.4e6 + r * libm::sin(a) }
            }).collect();
            let field = MultiPolygon::new(vec![Polygon::new(LineString::new(star), Vec::new())]);
            let grid = cut(&field, framed(&field, azimuth, length, width)).unwrap();
            let sum: f64 = grid.cells.iter().map(|cell| cell.area).sum();
            assert_relative_eq!(sum, field.unsigned_area(), max_relative = 2e-9);
            // Every inner grid edge is met from both sides: what the cells border along grid lines, twice over.
            let all = borders(&grid);
            prop_assert!(all.iter().all(|b| b.a < b.b && b.length > 0.0));
        }
    }
}
