//! Lays cells over a field that is driven in several ways: each part by its own frame, all together one planar partition.
//!
//! Every part is cut on its own. Its cells are then put on the plane, where the parts' seams are the same to the last bit; only the places where the lines of one part's grid meet a seam are
//! unknown to the part beyond. Such places are made one where they are all but the same, and put into the cells on both sides.

use std::collections::BTreeMap;

use geo::MultiPolygon;
use rstar::primitives::Line;
use rstar::{AABB, RTree};

use crate::space::cells::{Border, Cell, CellFrame, CellGrid, CellShape, Part, Piece, Way};
use crate::space::curve::CurveFrame;
use crate::space::cut::{CutError, MINIMUM_BORDER, borders, cut, cut_strip, nested};
use crate::space::junctions::{Junctions, folded};
use crate::space::regions::{
    EdgeKey, Places, SeamError, bits, off_and_along, on_edge, open_rings, split, tidied,
};

/// Places on a seam that are nearer than this are one; numbers of a plane are good to 0.000 000 01 m, and crumbs of this width are dropped when cells are cut. \[m\]
const SAME: f64 = 1e-6;

/// A ring, open or closed as said.
type Ring = Vec<[f64; 2]>;

/// An edge that a cell walks.
struct Walk {
    edge: EdgeKey,
    cell: usize,
    /// \[m\]
    length: f64,
}

impl Walk {
    fn of(cell: usize, a: [f64; 2], b: [f64; 2]) -> Self {
        let (low, high) = (bits(a).min(bits(b)), bits(a).max(bits(b)));
        Self {
            edge: (low, high),
            cell,
            length: libm::hypot(b[0] - a[0], b[1] - a[1]),
        }
    }
}

/// Why cells cannot be laid.
#[derive(Debug, thiserror::Error, PartialEq)]
#[non_exhaustive]
pub enum LayError {
    /// Too many cells.
    #[error(transparent)]
    Cut(#[from] CutError),
    /// Parts that do not fit together, or ground that a curve does not reach.
    #[error(transparent)]
    Seam(#[from] SeamError),
}

/// Cuts `shapes`, which share their seams bit for bit as [`split`] gives them, each along its way, whose origin is set.
///
/// Answers the grid and which of its cells share more than 1 mm of border, across seams too, in the order of the first cell, then the second.
///
/// # Errors
/// [`LayError`].
pub fn lay(
    shapes: &[MultiPolygon<f64>],
    ways: &[Way],
) -> Result<(CellGrid, Vec<Border>), LayError> {
    let (length, width) = ways
        .first()
        .map_or((1.0, 1.0), |way| (way.frame().length, way.frame().width));
    let mut grid = CellGrid {
        frame: CellFrame::of_plane(length, width),
        cells: Vec::new(),
        parts: Vec::new(),
    };
    let mut shared = Vec::new();
    for (shape, way) in shapes.iter().zip(ways) {
        let first = grid.cells.len();
        let (cells, inner) = match way {
            Way::Straight(frame) => {
                let part = cut(shape, *frame)?;
                (on_plane(&part, shape), borders(&part))
            }
            Way::Curve(curve) => {
                let cells = along_curve(shape, curve)?;
                let inner = side_by_side(&cells);
                (cells, inner)
            }
        };
        let moved = first as u32;
        shared.extend(inner.into_iter().map(|border| Border {
            a: border.a + moved,
            b: border.b + moved,
            length: border.length,
        }));
        grid.parts.push(Part {
            way: way.clone(),
            first,
        });
        grid.cells.extend(cells);
    }
    let seams = Seams::between(shapes);
    if !seams.lines.is_empty() {
        shared.extend(seams.stitch(&mut grid));
    }
    shared.sort_unstable_by_key(|border| (border.a, border.b));
    without_lines(&mut grid, &mut shared);
    Ok((grid, shared))
}

/// Whether anything is left of a cell.
fn has_ground(cell: &Cell) -> bool {
    cell.shape == CellShape::Whole || !pieces_of(cell).is_empty()
}

/// Takes out cells that were all but a line along a seam.
fn without_lines(grid: &mut CellGrid, shared: &mut Vec<Border>) {
    let mut before = Vec::with_capacity(grid.cells.len() + 1);
    let mut kept = 0;
    for cell in &grid.cells {
        before.push(kept);
        kept += usize::from(has_ground(cell));
    }
    before.push(kept);
    if kept == grid.cells.len() {
        return;
    }
    shared.retain(|border| {
        [border.a, border.b]
            .iter()
            .all(|&cell| has_ground(&grid.cells[cell as usize]))
    });
    for border in shared {
        (border.a, border.b) = (
            before[border.a as usize] as u32,
            before[border.b as usize] as u32,
        );
    }
    for part in &mut grid.parts {
        part.first = before[part.first];
    }
    grid.cells.retain(has_ground);
}

/// The cells of one shape along one way, to be found by row and column in part 0.
///
/// # Errors
/// [`LayError`].
pub fn cells_along(shape: &MultiPolygon<f64>, way: &Way) -> Result<CellGrid, LayError> {
    match way {
        Way::Straight(frame) => Ok(cut(shape, *frame)?),
        Way::Curve(_) => Ok(lay(std::slice::from_ref(shape), std::slice::from_ref(way))?.0),
    }
}

/// The cells of a shape along a curve, on the plane, in row, column order.
fn along_curve(shape: &MultiPolygon<f64>, curve: &CurveFrame) -> Result<Vec<Cell>, LayError> {
    let strips = split(shape, &curve.strip_shapes())?;
    if let Some(beyond) = open_rings(&strips[0]).first().and_then(|ring| ring.first()) {
        return Err(SeamError {
            x: beyond[0],
            y: beyond[1],
        }
        .into());
    }
    let strips = &strips[1..];
    let mut grid = CellGrid {
        frame: CellFrame::of_plane(1.0, 1.0),
        cells: Vec::new(),
        parts: Vec::new(),
    };
    for (strip, ground) in curve.strips().iter().zip(strips) {
        let part = cut_strip(ground, strip, curve)?;
        grid.parts.push(Part {
            way: Way::Straight(strip.frame),
            first: grid.cells.len(),
        });
        grid.cells.extend(on_plane(&part, ground));
    }
    Seams::between(strips).stitch(&mut grid);
    grid.cells.retain(has_ground);
    Ok(merged(grid.cells))
}

/// Cells of one row and column, from strips side by side, as one.
fn merged(mut cells: Vec<Cell>) -> Vec<Cell> {
    cells.sort_by_key(|cell| (cell.row, cell.col));
    let one = |group: &[Cell]| {
        if let [cell] = group {
            return cell.clone();
        }
        // Edges that two of them walk in opposite directions lie inside.
        let mut edges: BTreeMap<EdgeKey, ([f64; 2], [f64; 2])> = BTreeMap::new();
        for ring in group.iter().flat_map(pieces_of).flat_map(rings_of_piece) {
            for edge in ring.windows(2) {
                let (a, b) = (bits(edge[0]), bits(edge[1]));
                if edges.remove(&(b, a)).is_none() {
                    edges.insert((a, b), (edge[0], edge[1]));
                }
            }
        }
        let mut rings = Vec::new();
        while let Some((_, (start, mut to))) = edges.pop_first() {
            let mut ring = vec![start];
            while let Some(key) = edges
                .range((bits(to), [0, 0])..)
                .next()
                .map(|(key, _)| *key)
                .filter(|key| key.0 == bits(to))
            {
                ring.push(to);
                if let Some((_, next)) = edges.remove(&key) {
                    to = next;
                }
            }
            rings.push(ring);
        }
        Cell {
            row: group[0].row,
            col: group[0].col,
            area: group.iter().map(|cell| cell.area).sum(),
            shape: CellShape::Cut(simple(rings)),
        }
    };
    cells
        .chunk_by(|a, b| (a.row, a.col) == (b.row, b.col))
        .map(one)
        .collect()
}

fn pieces_of(cell: &Cell) -> &[Piece] {
    match &cell.shape {
        CellShape::Whole => &[],
        CellShape::Cut(pieces) => pieces,
    }
}

/// Borders between cells whose every vertex stands in both.
fn side_by_side(cells: &[Cell]) -> Vec<Border> {
    let mut walks = Vec::new();
    for (k, cell) in cells.iter().enumerate() {
        for ring in pieces_of(cell).iter().flat_map(rings_of_piece) {
            walks.extend(ring.windows(2).map(|edge| Walk::of(k, edge[0], edge[1])));
        }
    }
    shared_lengths(walks, |a, b| a != b)
}

/// The cells of one part with their rings on the plane, every vertex that lies on one of their edges put in.
fn on_plane(part: &CellGrid, shape: &MultiPolygon<f64>) -> Vec<Cell> {
    let frame = &part.frame;
    // There and back a vertex would change by a hair: its own numbers are looked up.
    let given: BTreeMap<[u64; 2], [f64; 2]> = open_rings(shape)
        .into_iter()
        .flatten()
        .map(|p| (bits(frame.to_uv(p[0], p[1]).into()), p))
        .collect();
    let is_corner = |p: [f64; 2], cell: &Cell| {
        [cell.row, cell.row + 1]
            .iter()
            .any(|&row| frame.row_start(row) == p[0])
            && [cell.col, cell.col + 1]
                .iter()
                .any(|&col| frame.col_start(col) == p[1])
    };
    let mut others = Vec::new();
    for cell in &part.cells {
        if let CellShape::Cut(pieces) = &cell.shape {
            others.extend(
                pieces
                    .iter()
                    .flat_map(rings_of_piece)
                    .flatten()
                    .map(|&p| folded(p))
                    .filter(|&p| !is_corner(p, cell)),
            );
        }
    }
    let junctions = Junctions::new(others);
    let place = |p: [f64; 2]| {
        given
            .get(&bits(p))
            .copied()
            .unwrap_or_else(|| frame.to_xy(p[0], p[1]).into())
    };
    let mut on = Vec::new();
    let mut carried = |ring: &[[f64; 2]]| -> Ring {
        let mut out = Vec::with_capacity(ring.len());
        for edge in ring.windows(2) {
            out.push(place(edge[0]));
            junctions.on_edge(folded(edge[0]), folded(edge[1]), &mut on);
            out.extend(on.iter().map(|&k| place(junctions.points()[k as usize])));
        }
        out.extend(out.first().copied());
        out
    };
    let one = |(k, cell): (usize, &Cell)| {
        let shape = match &cell.shape {
            CellShape::Whole => {
                let ring = part.rings(k).remove(0).0;
                let exterior = carried(&ring);
                let plain =
                    exterior.len() == 5 && !ring.iter().any(|&p| given.contains_key(&bits(p)));
                if plain {
                    CellShape::Whole
                } else {
                    CellShape::Cut(vec![Piece {
                        exterior,
                        holes: Vec::new(),
                    }])
                }
            }
            CellShape::Cut(pieces) => {
                let mut open = |ring: &Ring| {
                    let mut ring = carried(ring);
                    ring.pop();
                    ring
                };
                CellShape::Cut(
                    pieces
                        .iter()
                        .flat_map(|piece| simple(rings_of_piece(piece).map(&mut open).collect()))
                        .collect(),
                )
            }
        };
        Cell {
            row: cell.row,
            col: cell.col,
            area: cell.area,
            shape,
        }
    };
    part.cells.iter().enumerate().map(one).collect()
}

/// Open rings as pieces whose rings do not touch themselves: one that comes back to a vertex is two that touch there.
fn simple(rings: Vec<Ring>) -> Vec<Piece> {
    let closed = |ring: Ring| -> Ring { ring.iter().chain(ring.first()).copied().collect() };
    let apart = rings.into_iter().flat_map(split_at_repeats);
    nested(apart, f64::MIN_POSITIVE)
        .into_iter()
        .map(|(_, exterior, holes)| Piece {
            exterior: closed(exterior),
            holes: holes.into_iter().map(closed).collect(),
        })
        .collect()
}

fn split_at_repeats(ring: Ring) -> Vec<Ring> {
    let mut rings = Vec::new();
    let mut open: Vec<[f64; 2]> = Vec::with_capacity(ring.len());
    let mut place: BTreeMap<[u64; 2], usize> = BTreeMap::new();
    for p in ring {
        if let Some(&at) = place.get(&bits(p)) {
            let part = open.split_off(at);
            for q in &part {
                place.remove(&bits(*q));
            }
            rings.push(part);
        }
        place.insert(bits(p), open.len());
        open.push(p);
    }
    rings.push(open);
    rings.retain(|ring| ring.len() >= 3);
    rings
}

fn rings_of_piece(piece: &Piece) -> impl Iterator<Item = &Ring> {
    std::iter::once(&piece.exterior).chain(&piece.holes)
}

/// Edges that two parts share.
struct Seams {
    lines: Vec<Line<[f64; 2]>>,
    tree: RTree<Line<[f64; 2]>>,
}

impl Seams {
    fn between(shapes: &[MultiPolygon<f64>]) -> Self {
        let mut edges: BTreeMap<EdgeKey, u32> = BTreeMap::new();
        for ring in shapes.iter().flat_map(open_rings) {
            for (&a, &b) in ring.iter().zip(ring.iter().cycle().skip(1)) {
                let (a, b) = (bits(a), bits(b));
                *edges.entry((a.min(b), a.max(b))).or_default() += 1;
            }
        }
        let back = |p: [u64; 2]| p.map(f64::from_bits);
        let lines: Vec<_> = edges
            .into_iter()
            .filter(|(_, count)| *count > 1)
            .map(|((a, b), _)| Line::new(back(a), back(b)))
            .collect();
        Self {
            tree: RTree::bulk_load(lines.clone()),
            lines,
        }
    }

    fn is_near(&self, p: [f64; 2]) -> bool {
        let around = AABB::from_corners([p[0] - SAME, p[1] - SAME], [p[0] + SAME, p[1] + SAME]);
        self.tree
            .locate_in_envelope_intersecting(around)
            .any(|line| off_and_along(p, line.from, line.to).0 <= SAME)
    }

    /// Puts the places of both sides into the cells along the seams; answers borders across them.
    fn stitch(&self, grid: &mut CellGrid) -> Vec<Border> {
        let mut places = Places::new(Vec::new(), SAME);
        for p in self.lines.iter().flat_map(|line| [line.from, line.to]) {
            if places.known(p).is_none_or(|known| bits(known) != bits(p)) {
                places.add(p);
            }
        }
        let mut at_seam: Vec<(usize, Vec<Ring>)> = Vec::new();
        for cell in 0..grid.cells.len() {
            if !self.may_touch(grid, cell) {
                continue;
            }
            let mut rings: Vec<Ring> = grid.rings(cell).into_iter().map(|(ring, _)| ring).collect();
            let mut touches = false;
            for p in rings.iter_mut().flatten() {
                if self.is_near(*p) {
                    touches = true;
                    *p = places.known(*p).unwrap_or_else(|| {
                        places.add(*p);
                        *p
                    });
                }
            }
            if touches {
                at_seam.push((cell, rings));
            }
        }
        let mut walks: Vec<Walk> = Vec::new();
        for (cell, rings) in at_seam {
            let rings: Vec<Ring> = rings.iter().map(|ring| self.noded(ring, &places)).collect();
            for ring in &rings {
                walks.extend(
                    ring.iter()
                        .zip(ring.iter().cycle().skip(1))
                        .map(|(&a, &b)| Walk::of(cell, a, b)),
                );
            }
            let pieces = simple(rings);
            // Of a cell that is all but a line along the seam nothing is left: it is taken out afterwards.
            grid.cells[cell].shape = CellShape::Cut(pieces);
        }
        shared_lengths(walks, |a, b| grid.part_of(a) != grid.part_of(b))
    }

    /// Whether a cell lies so that a seam could run along it.
    fn may_touch(&self, grid: &CellGrid, cell: usize) -> bool {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in grid.rings(cell).iter().flat_map(|(ring, _)| ring) {
            low = [low[0].min(p[0]), low[1].min(p[1])];
            high = [high[0].max(p[0]), high[1].max(p[1])];
        }
        let around = AABB::from_corners(
            [low[0] - SAME, low[1] - SAME],
            [high[0] + SAME, high[1] + SAME],
        );
        self.tree
            .locate_in_envelope_intersecting(around)
            .next()
            .is_some()
    }

    /// An open ring with the places that lie on those of its edges that run along a seam.
    fn noded(&self, ring: &[[f64; 2]], places: &Places) -> Ring {
        let mut out = Vec::with_capacity(ring.len());
        for edge in ring.windows(2) {
            out.push(edge[0]);
            let middle = [
                f64::midpoint(edge[0][0], edge[1][0]),
                f64::midpoint(edge[0][1], edge[1][1]),
            ];
            if self.is_near(edge[0]) && self.is_near(edge[1]) && self.is_near(middle) {
                out.extend(on_edge(places.tree(), edge[0], edge[1], SAME));
            }
        }
        tidied(out)
    }
}

/// Borders between cells that count, from the edges that both walk.
fn shared_lengths(mut walks: Vec<Walk>, counts: impl Fn(usize, usize) -> bool) -> Vec<Border> {
    walks.sort_unstable_by_key(|walk| (walk.edge, walk.cell));
    let mut lengths: BTreeMap<(usize, usize), f64> = BTreeMap::new();
    for group in walks.chunk_by(|a, b| a.edge == b.edge) {
        for (k, first) in group.iter().enumerate() {
            for second in &group[k + 1..] {
                if counts(first.cell, second.cell) {
                    *lengths.entry((first.cell, second.cell)).or_default() += first.length;
                }
            }
        }
    }
    let long = lengths
        .into_iter()
        .filter(|(_, length)| *length > MINIMUM_BORDER);
    long.map(|((a, b), length)| Border {
        a: a as u32,
        b: b as u32,
        length,
    })
    .collect()
}

#[cfg(test)]
mod tests;
