//! Outlines of labelled cells: one planar partition, in which neighbours share every vertex bit for bit.
//!
//! Every ring of every cell is a walk of directed edges with the cell to its left. Edges that two cells of one label walk in opposite directions cancel; what is left are
//! the borders. Cells joined across a cancelled edge are one piece of ground: exactly one exterior and its holes, found without any search for what lies in what. Cells that touch
//! at a corner only are not joined. The borders of each ground are chained to walks, and a walk that comes back to a vertex is split there, so that every ring is simple.
//!
//! Corners of the grid are known by row and column, other vertices by their coordinates' bits. Where a vertex of one cell lies on the straight edge of another (a field edge that
//! runs along a grid line, or touches it), that edge is split there. A vertex is dropped only where it means nothing to anybody: exactly two border edges meet in
//! it, on one grid line.

use crate::space::cells::{Cell, CellFrame, CellGrid, CellShape};
use crate::space::junctions::{Junctions, folded};
use crate::space::regions::off_and_along;
use geo::{Coord, LineString, MultiPolygon, Polygon};

/// A vertex that lies no further than this off the line between its neighbours bends nothing. \[m\]
const STRAIGHT: f64 = 2e-8;

/// Outlines of the labels 1 … `labels` on the working plane, in that order; exteriors counter-clockwise, holes clockwise.
///
/// `label_of` gives the label of each cell of the grid; cells of label 0 (or above `labels`) are left out, and so is a cell without an entry. A label that no cell has gets an empty
/// outline. Polygons of one label come in the order of their first cell; they may touch at points, never along a line.
///
/// The rings of a cell must lie within its rectangle and share their vertices with their neighbours' as [`CellGrid`] says.
pub fn outlines(grid: &CellGrid, label_of: &[u32], labels: u32) -> Vec<MultiPolygon<f64>> {
    let label = |cell: usize| {
        label_of
            .get(cell)
            .copied()
            .filter(|&l| l <= labels)
            .unwrap_or(0)
    };
    let vertices = Vertices::of(grid);
    let found = cell_edges(grid, &vertices, label);
    let borders = Borders::of(found.edges, &found.joined, &found.piece_label);
    let piece_label = found.piece_label;
    let mut found = vec![MultiPolygon::new(Vec::new()); labels as usize];
    let mut tracer = Tracer::new(&borders, &vertices);
    let mut rest = borders.edges.as_slice();
    let mut offset = 0;
    while let Some(first) = rest.first() {
        let count = rest.partition_point(|edge| edge.ground == first.ground);
        let polygons = tracer.ground(offset..offset + count);
        found[piece_label[first.ground as usize] as usize - 1]
            .0
            .extend(polygons);
        rest = &rest[count..];
        offset += count;
    }
    found
}

/// All vertices of a grid: corners by row and column, then the others in the order of their coordinates.
///
/// A grid that is laid in parts has no rows and columns of its own: all its vertices are others, and its cells have those on their edges already.
struct Vertices {
    frame: CellFrame,
    in_parts: bool,
    row: i32,
    col: i32,
    columns: u64,
    corners: u64,
    /// Vertices that are no corners.
    others: Junctions,
}

impl Vertices {
    fn of(grid: &CellGrid) -> Self {
        let in_parts = !grid.parts.is_empty();
        let minimum = |of: fn(&Cell) -> i32| grid.cells.iter().map(of).min().unwrap_or(0);
        let most = |of: fn(&Cell) -> i32| grid.cells.iter().map(of).max().unwrap_or(0);
        let (row, col) = (minimum(|c| c.row), minimum(|c| c.col));
        let columns = (i64::from(most(|c| c.col)) - i64::from(col) + 2) as u64;
        let rows = (i64::from(most(|c| c.row)) - i64::from(row) + 2) as u64;
        let corners = if in_parts { 0 } else { rows * columns };
        let mut vertices = Self {
            frame: grid.frame,
            in_parts,
            row,
            col,
            columns,
            corners,
            others: Junctions::default(),
        };
        let mut others = Vec::new();
        for (k, cell) in grid.cells.iter().enumerate() {
            if in_parts {
                others.extend(
                    grid.rings(k)
                        .iter()
                        .flat_map(|(ring, _)| ring)
                        .map(|&p| folded(p)),
                );
            } else if let CellShape::Cut(pieces) = &cell.shape {
                let rings = pieces
                    .iter()
                    .flat_map(|piece| std::iter::once(&piece.exterior).chain(&piece.holes));
                others.extend(
                    rings
                        .flatten()
                        .map(|&p| folded(p))
                        .filter(|&p| vertices.corner(p, cell.row, cell.col).is_none()),
                );
            }
        }
        vertices.others = Junctions::new(others);
        vertices
    }
    fn corner_key(&self, row: i32, col: i32) -> u64 {
        (i64::from(row) - i64::from(self.row)) as u64 * self.columns
            + (i64::from(col) - i64::from(self.col)) as u64
    }
    /// Key of a point that is a corner of the cell at `row`, `col`.
    fn corner(&self, p: [f64; 2], row: i32, col: i32) -> Option<u64> {
        if self.in_parts {
            return None;
        }
        let row = [row, row + 1]
            .into_iter()
            .find(|&r| self.frame.row_start(r) == p[0])?;
        let col = [col, col + 1]
            .into_iter()
            .find(|&c| self.frame.col_start(c) == p[1])?;
        Some(self.corner_key(row, col))
    }
    /// Key of a vertex of the cell at `row`, `col`.
    fn key(&self, p: [f64; 2], row: i32, col: i32) -> u64 {
        self.corner(p, row, col)
            .unwrap_or_else(|| self.corners + self.others.position(p) as u64)
    }
    fn at(&self, key: u64) -> [f64; 2] {
        if key >= self.corners {
            return self.others.points()[(key - self.corners) as usize];
        }
        let (row, col) = (
            (key / self.columns).cast_signed() + i64::from(self.row),
            (key % self.columns).cast_signed() + i64::from(self.col),
        );
        folded([
            self.frame.row_start(row as i32),
            self.frame.col_start(col as i32),
        ])
    }
    /// Vertices that lie strictly on an edge along a grid line, from `a` to `b`.
    fn on_edge(&self, a: u64, b: u64, found: &mut Vec<u32>) {
        if self.in_parts {
            found.clear();
        } else {
            self.others.on_edge(self.at(a), self.at(b), found);
        }
    }
    /// Whether a vertex between two others lies on the line through them: in a grid, on one of its lines; in one laid in parts, as near as numbers of a plane go.
    fn is_straight(&self, before: [f64; 2], here: [f64; 2], after: [f64; 2]) -> bool {
        if !self.in_parts {
            return (0..2).any(|axis| before[axis] == here[axis] && here[axis] == after[axis]);
        }
        let (off, along) = off_and_along(here, before, after);
        off <= STRAIGHT
            && along > 0.0
            && along < libm::hypot(after[0] - before[0], after[1] - before[1])
    }
}

/// One edge of a cell's ring, with the cell to its left when walked from `low` to `high` (`up`) or back.
struct CellEdge {
    low: u64,
    high: u64,
    /// The piece of ground that it bounds.
    piece: u32,
    up: bool,
}

/// The edges of labelled cells as far as they may be borders.
struct CellEdges {
    edges: Vec<CellEdge>,
    /// The label of each piece of ground.
    piece_label: Vec<u32>,
    /// Pieces that an edge within their label joins, and that is not among `edges`.
    joined: Vec<(u32, u32)>,
}

/// The edges of all labelled cells, less those between two whole cells of one label: most of all edges, and nothing can lie on them.
fn cell_edges(grid: &CellGrid, vertices: &Vertices, label: impl Fn(usize) -> u32) -> CellEdges {
    let mut edges = Vec::new();
    let mut joined = Vec::new();
    let mut piece_label = Vec::with_capacity(grid.cells.len());
    let mut first_piece = Vec::with_capacity(grid.cells.len());
    let mut pieces = 0_u32;
    for (i, cell) in grid.cells.iter().enumerate() {
        first_piece.push(pieces);
        if label(i) > 0 {
            pieces += match &cell.shape {
                CellShape::Whole => 1,
                CellShape::Cut(pieces) => pieces.len() as u32,
            };
        }
    }
    let places = grid.places();
    let like = |own: u32, row: i32, col: i32| {
        places
            .find((0, row, col))
            .filter(|&other| grid.cells[other].shape == CellShape::Whole && label(other) == own)
    };
    let mut between = Vec::new();
    let mut put = |a: u64, b: u64, piece: u32| {
        vertices.on_edge(a, b, &mut between);
        let mut from = a;
        for to in between
            .iter()
            .map(|&k| vertices.corners + u64::from(k))
            .chain(std::iter::once(b))
        {
            if from != to {
                edges.push(CellEdge {
                    low: from.min(to),
                    high: from.max(to),
                    piece,
                    up: from < to,
                });
            }
            from = to;
        }
    };
    for (i, cell) in grid.cells.iter().enumerate() {
        let own = label(i);
        if own == 0 {
            continue;
        }
        match &cell.shape {
            CellShape::Whole if vertices.in_parts => {
                for (ring, _) in grid.rings(i) {
                    for pair in ring.windows(2) {
                        let [a, b] =
                            [pair[0], pair[1]].map(|p| vertices.key(folded(p), cell.row, cell.col));
                        put(a, b, piece_label.len() as u32);
                    }
                }
                piece_label.push(own);
            }
            CellShape::Whole => {
                let corner = |r: i32, c: i32| vertices.corner_key(cell.row + r, cell.col + c);
                let ring = [corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)];
                // The edge from each of these corners to the next has this neighbour beyond it.
                let beyond = [(0, -1), (1, 0), (0, 1), (-1, 0)];
                for (k, (row, col)) in beyond.into_iter().enumerate() {
                    match like(own, cell.row + row, cell.col + col) {
                        Some(other) if other > i => {
                            joined.push((first_piece[i], first_piece[other]));
                        }
                        Some(_) => {}
                        None => put(ring[k], ring[(k + 1) % 4], piece_label.len() as u32),
                    }
                }
                piece_label.push(own);
            }
            CellShape::Cut(pieces) => {
                for piece in pieces {
                    for ring in std::iter::once(&piece.exterior).chain(&piece.holes) {
                        for pair in ring.windows(2) {
                            let [a, b] = [pair[0], pair[1]]
                                .map(|p| vertices.key(folded(p), cell.row, cell.col));
                            put(a, b, piece_label.len() as u32);
                        }
                    }
                    piece_label.push(own);
                }
            }
        }
    }
    CellEdges {
        edges,
        piece_label,
        joined,
    }
}

/// A border edge, walked with its ground to the left. Vertices are positions in [`Borders::vertex`].
#[derive(Clone, Copy)]
struct BorderEdge {
    /// First piece of the connected ground of one label that it bounds.
    ground: u32,
    from: u32,
    to: u32,
}

/// What is left when edges within a label are cancelled.
struct Borders {
    /// By ground, then start, then end.
    edges: Vec<BorderEdge>,
    /// Keys of the vertices in use, rising.
    vertex: Vec<u64>,
    /// How many border edges meet in each; an edge between two labels counts once.
    degree: Vec<u32>,
}

impl Borders {
    fn of(mut edges: Vec<CellEdge>, joined: &[(u32, u32)], piece_label: &[u32]) -> Self {
        edges.sort_unstable_by_key(|edge| (edge.low, edge.high, edge.up, edge.piece));
        let mut up: Vec<u32> = (0..piece_label.len() as u32).collect();
        let mut root = |mut at: u32, join: Option<u32>| {
            let mut top = |at: &mut u32| {
                while up[*at as usize] != *at {
                    up[*at as usize] = up[up[*at as usize] as usize];
                    *at = up[*at as usize];
                }
                *at
            };
            let a = top(&mut at);
            if let Some(mut other) = join {
                let b = top(&mut other);
                up[a.max(b) as usize] = a.min(b);
            }
            a
        };
        for &(piece, other) in joined {
            root(piece, Some(other));
        }
        let (mut left, mut ends) = (Vec::new(), Vec::new());
        for group in edges.chunk_by(|a, b| a.low == b.low && a.high == b.high) {
            let before = left.len();
            let (down, upward) = group.split_at(group.partition_point(|edge| !edge.up));
            // As a rule there is one of each at most; more of one kind only where cells overlap.
            let mut open: Vec<&CellEdge> = upward.iter().collect();
            for edge in down {
                match open.iter().position(|other| {
                    piece_label[other.piece as usize] == piece_label[edge.piece as usize]
                }) {
                    Some(at) => {
                        root(edge.piece, Some(open.remove(at).piece));
                    }
                    None => left.push((edge.piece, edge.high, edge.low)),
                }
            }
            left.extend(
                open.into_iter()
                    .map(|edge| (edge.piece, edge.low, edge.high)),
            );
            if left.len() > before {
                ends.extend([group[0].low, group[0].high]);
            }
        }
        drop(edges);
        ends.sort_unstable();
        let (vertex, degree): (Vec<u64>, Vec<u32>) = ends
            .chunk_by(|a, b| a == b)
            .map(|run| (run[0], run.len() as u32))
            .unzip();
        let place = |key: u64| vertex.partition_point(|&v| v < key) as u32;
        let mut edges: Vec<BorderEdge> = left
            .into_iter()
            .map(|(piece, from, to)| BorderEdge {
                ground: root(piece, None),
                from: place(from),
                to: place(to),
            })
            .collect();
        edges.sort_unstable_by_key(|edge| (edge.ground, edge.from, edge.to));
        Self {
            edges,
            vertex,
            degree,
        }
    }
}

/// Chains border edges into rings.
struct Tracer<'a> {
    borders: &'a Borders,
    vertices: &'a Vertices,
    /// Coordinates of the vertices in use, in the machine frame.
    uv: Vec<[f64; 2]>,
    used: Vec<bool>,
    /// Place of each vertex on the walk under way, from 1; 0 if it is not on it.
    place: Vec<u32>,
}

impl<'a> Tracer<'a> {
    fn new(borders: &'a Borders, vertices: &'a Vertices) -> Self {
        let uv = borders.vertex.iter().map(|&key| vertices.at(key)).collect();
        Self {
            borders,
            vertices,
            uv,
            used: vec![false; borders.edges.len()],
            place: vec![0; borders.vertex.len()],
        }
    }

    /// The polygons of one connected ground, whose edges are `span`: one, where the cells do not overlap.
    fn ground(&mut self, span: std::ops::Range<usize>) -> Vec<Polygon<f64>> {
        let (mut exteriors, mut holes) = (Vec::new(), Vec::new());
        for start in span.clone() {
            if self.used[start] {
                continue;
            }
            let walk = self.walk(start, &span);
            for ring in self.split(&walk) {
                let area = self.signed_area(&ring);
                let line = self.line(&ring);
                if area > 0.0 {
                    exteriors.push((area, line));
                } else {
                    holes.push(line);
                }
            }
        }
        let largest = (0..exteriors.len())
            .max_by(|&a, &b| exteriors[a].0.total_cmp(&exteriors[b].0).then(b.cmp(&a)));
        let mut polygon = |(i, (_, line)): (usize, (f64, LineString<f64>))| {
            let own = if Some(i) == largest {
                std::mem::take(&mut holes)
            } else {
                Vec::new()
            };
            Polygon::new(line, own)
        };
        exteriors
            .into_iter()
            .enumerate()
            .map(&mut polygon)
            .collect()
    }

    /// A walk along unused edges from the start of one back to where no edge is left, as vertices.
    ///
    /// Which way it takes where its ground touches itself does not matter: two rings of one connected ground share one vertex at most (two would cut it apart), so that
    /// splitting the walk at its repeated vertices gives the same rings whatever the way.
    fn walk(&mut self, start: usize, span: &std::ops::Range<usize>) -> Vec<u32> {
        let edges = &self.borders.edges[span.clone()];
        let mut walk = Vec::new();
        let mut next = Some(start);
        while let Some(at) = next {
            self.used[at] = true;
            let BorderEdge { from, to, .. } = self.borders.edges[at];
            walk.push(from);
            let first = span.start + edges.partition_point(|edge| edge.from < to);
            next = (first..span.end)
                .take_while(|&i| self.borders.edges[i].from == to)
                .find(|&i| !self.used[i]);
        }
        walk
    }

    /// Splits a walk where it comes back to a vertex; the parts are simple.
    fn split(&mut self, walk: &[u32]) -> Vec<Vec<u32>> {
        let mut rings = Vec::new();
        let mut open: Vec<u32> = Vec::with_capacity(walk.len());
        for &vertex in walk {
            let place = self.place[vertex as usize] as usize;
            if place > 0 {
                let ring = open.split_off(place - 1);
                for &v in &ring {
                    self.place[v as usize] = 0;
                }
                rings.push(ring);
            }
            open.push(vertex);
            self.place[vertex as usize] = open.len() as u32;
        }
        for &v in &open {
            self.place[v as usize] = 0;
        }
        rings.push(open);
        rings
    }

    fn signed_area(&self, ring: &[u32]) -> f64 {
        let origin = self.uv[ring[0] as usize];
        let about = |v: u32| {
            [
                self.uv[v as usize][0] - origin[0],
                self.uv[v as usize][1] - origin[1],
            ]
        };
        let next = ring.iter().skip(1).chain(ring.first());
        ring.iter()
            .zip(next)
            .map(|(&a, &b)| (about(a), about(b)))
            .map(|(a, b)| a[0] * b[1] - b[0] * a[1])
            .sum::<f64>()
            / 2.0
    }

    /// The ring on the working plane, closed, without the vertices that mean nothing to anybody.
    fn line(&self, ring: &[u32]) -> LineString<f64> {
        let n = ring.len();
        let uv = |i: usize| self.uv[ring[i % n] as usize];
        let meant = |&i: &usize| {
            let (before, here, after) = (uv(i + n - 1), uv(i), uv(i + 1));
            !self.vertices.is_straight(before, here, after)
                || self.borders.degree[ring[i] as usize] != 2
        };
        let point = |i: usize| Coord::from(self.vertices.frame.to_xy(uv(i)[0], uv(i)[1]));
        let mut line: Vec<Coord<f64>> = (0..n).filter(meant).map(point).collect();
        if let Some(&first) = line.first() {
            line.push(first);
        }
        LineString::new(line)
    }
}
