//! Which share of each pixel a polygon covers, exactly.
//!
//! Every edge adds, to each pixel that it crosses, the signed area between itself and the pixel's right side; a sum along the row then gives the share. No pixel is
//! clipped, holes and several parts come out by themselves, and a row's shares depend on nothing but the polygon: not on windows, tiles or threads. Coordinates are whole-raster pixel
//! coordinates (x = column, y = row, a pixel's own corner at whole numbers).
//!
//! # Source
//! Exact area accumulation as used for anti-aliasing glyph outlines (common practice in computer graphics); own derivation.

use std::cell::RefCell;

/// Shares closer than this to 0 or 1 are taken as 0 or 1: rounding noise of the running sum.
const SNAP: f64 = 1e-12;

/// Marks for which memory is kept from one shape to the next.
const KEPT_MARKS: usize = 4096;

/// Neighbouring pixels of one row with one share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Row.
    pub row: i64,
    /// First column.
    pub col: i64,
    /// How many columns.
    pub len: i64,
    /// Share of each pixel that is covered, in (0, 1].
    pub share: f64,
}

/// What an edge adds to a pixel: area within it, and height that goes on to the right.
#[derive(Clone, Copy, Debug)]
struct Mark {
    row: i64,
    col: i64,
    area: f64,
    cover: f64,
}

/// Reusable memory of [`cover`].
#[derive(Debug, Default)]
pub struct Scratch {
    marks: Vec<Mark>,
    /// The same in the order of rows and columns.
    sorted: Vec<Mark>,
    /// Where each row begins among them.
    rows: Vec<usize>,
}

impl Scratch {
    /// Puts the marks in order. Marks of one pixel stay in the order of the rings, so that sums are the same in every window.
    fn sort(&mut self) {
        let Self {
            marks,
            sorted,
            rows,
        } = self;
        sorted.clear();
        let least = marks.iter().map(|mark| mark.row).min().unwrap_or(0);
        let most = marks.iter().map(|mark| mark.row).max().unwrap_or(0);
        // An edge marks each of its rows, so there are hardly more rows than marks: they are counted, and each is sorted by itself.
        rows.clear();
        rows.resize((most - least) as usize + 2, 0);
        for mark in marks.iter() {
            rows[(mark.row - least) as usize + 1] += 1;
        }
        for row in 1..rows.len() {
            rows[row] += rows[row - 1];
        }
        sorted.extend_from_slice(marks);
        for mark in marks.iter() {
            let next = &mut rows[(mark.row - least) as usize];
            sorted[*next] = *mark;
            *next += 1;
        }
        let mut begin = 0;
        for end in rows.iter().take((most - least) as usize + 1) {
            sorted[begin..*end].sort_by_key(|mark| mark.col);
            begin = *end;
        }
    }
    /// Gives memory back that small shapes do not need.
    fn shrink(&mut self) {
        for marks in [&mut self.marks, &mut self.sorted] {
            marks.clear();
            marks.shrink_to(KEPT_MARKS);
        }
        self.rows.clear();
        self.rows.shrink_to(KEPT_MARKS);
    }
}

/// Appends the spans of a polygon in rows `rows.0 .. rows.1` to `out`, in row and column order.
///
/// `rings` are closed (first point repeated), exteriors one way round and holes the other.
pub fn cover(
    rings: &[Vec<[f64; 2]>],
    rows: (i64, i64),
    scratch: &mut Scratch,
    out: &mut Vec<Span>,
) {
    scratch.marks.clear();
    let mut doubled = 0.0;
    for ring in rings {
        let Some(origin) = ring.first() else { continue };
        for edge in ring.windows(2) {
            doubled += (edge[0][0] - origin[0]) * (edge[1][1] - origin[1])
                - (edge[1][0] - origin[0]) * (edge[0][1] - origin[1]);
            mark_edge(edge[0], edge[1], rows, &mut scratch.marks);
        }
    }
    let sign = if doubled < 0.0 { 1.0 } else { -1.0 };
    scratch.sort();
    let marks = &scratch.sorted;
    let mut at = 0;
    let mut running = 0.0;
    while at < marks.len() {
        let (row, col) = (marks[at].row, marks[at].col);
        let (mut area, mut cover) = (0.0, 0.0);
        while at < marks.len() && marks[at].row == row && marks[at].col == col {
            area += marks[at].area;
            cover += marks[at].cover;
            at += 1;
        }
        push(out, row, col, 1, sign * (running + area));
        running += cover;
        let next = if at < marks.len() && marks[at].row == row {
            Some(marks[at].col)
        } else {
            None
        };
        match next {
            Some(next) if next > col + 1 => push(out, row, col + 1, next - col - 1, sign * running),
            Some(_) => {}
            None => running = 0.0,
        }
    }
}

thread_local! {
    /// Thousands of small shapes are covered one after another.
    static SCRATCH: RefCell<Scratch> = RefCell::default();
}

/// [`cover`] in the thread's own memory, of which no more is kept than small shapes need.
fn covered(rings: &[Vec<[f64; 2]>], rows: (i64, i64)) -> Vec<Span> {
    let mut spans = Vec::new();
    SCRATCH.with_borrow_mut(|scratch| {
        cover(rings, rows, scratch, &mut spans);
        scratch.shrink();
    });
    spans
}

/// The spans of a polygon in all rows that it touches, in row and column order; `rings` as for [`cover`].
pub(crate) fn spans_of(rings: &[Vec<[f64; 2]>]) -> Vec<Span> {
    let rows = || rings.iter().flatten().map(|p| p[1]);
    let low = libm::floor(rows().fold(f64::INFINITY, f64::min)) as i64;
    let high = libm::ceil(rows().fold(f64::NEG_INFINITY, f64::max)) as i64;
    covered(rings, (low, high))
}

/// Cells of a grid of `rows` × `cols` that the rings cover something of: the place of each, row by row, and its share in (0, 1]. What lies off the grid is left out.
///
/// `rings` are as for [`cover`], in units of cells.
pub fn shares(rings: &[Vec<[f64; 2]>], rows: usize, cols: usize) -> Vec<(usize, f64)> {
    let spans = covered(rings, (0, rows as i64));
    let cells = |span: &Span| {
        let (row, share) = (span.row as usize, span.share);
        let inside = span.col.max(0)..(span.col + span.len).min(cols as i64);
        inside.map(move |col| (row * cols + col as usize, share))
    };
    spans.iter().flat_map(cells).collect()
}

/// Twice the signed area of a closed ring: above 0 when it runs counter-clockwise. Relative to the first point, so that large coordinates cost no digits.
pub fn doubled_area(ring: &[[f64; 2]]) -> f64 {
    let Some(origin) = ring.first() else {
        return 0.0;
    };
    ring.windows(2)
        .map(|edge| {
            (edge[0][0] - origin[0]) * (edge[1][1] - origin[1])
                - (edge[1][0] - origin[0]) * (edge[0][1] - origin[1])
        })
        .sum()
}

fn push(out: &mut Vec<Span>, row: i64, col: i64, len: i64, share: f64) {
    if share <= SNAP {
        return;
    }
    let share = if share >= 1.0 - SNAP { 1.0 } else { share };
    if share == 1.0
        && let Some(last) = out.last_mut()
        && last.row == row
        && last.share == 1.0
        && last.col + last.len == col
    {
        last.len += len;
        return;
    }
    out.push(Span {
        row,
        col,
        len,
        share,
    });
}

/// Marks what one edge adds in the rows asked for. The height is counted upwards in y; the area is what lies to the right of the edge.
fn mark_edge(a: [f64; 2], b: [f64; 2], rows: (i64, i64), marks: &mut Vec<Mark>) {
    if a[1] == b[1] {
        return;
    }
    // One direction for both neighbours of a shared edge: the same cuts, the opposite sign.
    let (low, high, sign) = if a[1] < b[1] {
        (a, b, 1.0)
    } else {
        (b, a, -1.0)
    };
    let first = (libm::floor(low[1]) as i64).max(rows.0);
    let last = (libm::ceil(high[1]) as i64).min(rows.1);
    let slope = (high[0] - low[0]) / (high[1] - low[1]);
    let x_at = |y: f64| {
        if y <= low[1] {
            low[0]
        } else if y >= high[1] {
            high[0]
        } else {
            low[0] + (y - low[1]) * slope
        }
    };
    for row in first..last {
        let (top, bottom) = (low[1].max(row as f64), high[1].min((row + 1) as f64));
        if bottom <= top {
            continue;
        }
        mark_row(row, x_at(top), x_at(bottom), bottom - top, sign, marks);
    }
}

/// Marks a piece of an edge inside one row, from `x0` to `x1` over the height `height`.
fn mark_row(row: i64, x0: f64, x1: f64, height: f64, sign: f64, marks: &mut Vec<Mark>) {
    let (left, right) = if x0 <= x1 { (x0, x1) } else { (x1, x0) };
    let (first, last) = (libm::floor(left) as i64, libm::floor(right) as i64);
    let mut put = |col: i64, part: f64, middle: f64| {
        let cover = sign * part;
        marks.push(Mark {
            row,
            col,
            area: cover * (1.0 - (middle - col as f64)),
            cover,
        });
    };
    if first == last {
        put(first, height, f64::midpoint(left, right));
        return;
    }
    let per_x = height / (right - left);
    let mut given = 0.0;
    for col in first..last {
        let (from, to) = (left.max(col as f64), (col + 1) as f64);
        let part = (to - from) * per_x;
        put(col, part, f64::midpoint(from, to));
        given += part;
    }
    // The rest goes to the last pixel, so that the heights of a row add up without a remainder.
    put(last, height - given, f64::midpoint(last as f64, right));
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use geo::{Area, BooleanOps, Coord, LineString, Polygon, Rect};
    use proptest::prelude::*;

    fn spans(rings: &[Vec<[f64; 2]>], rows: (i64, i64)) -> Vec<Span> {
        let mut out = Vec::new();
        cover(rings, rows, &mut Scratch::default(), &mut out);
        out
    }

    fn dense(rings: &[Vec<[f64; 2]>], size: usize) -> Vec<f64> {
        let mut grid = vec![0.0; size * size];
        for span in spans(rings, (0, size as i64)) {
            for col in span.col..span.col + span.len {
                grid[span.row as usize * size + col as usize] += span.share;
            }
        }
        grid
    }

    fn ring(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
        let mut ring = points.to_vec();
        ring.push(points[0]);
        ring
    }

    fn all_shares(rings: &[Vec<[f64; 2]>], rows: usize, cols: usize) -> Vec<f64> {
        let mut out = vec![0.0; rows * cols];
        for (cell, share) in shares(rings, rows, cols) {
            out[cell] = share;
        }
        out
    }

    fn square(x0: f64, y0: f64, x1: f64, y1: f64) -> Vec<[f64; 2]> {
        vec![[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]]
    }

    #[test]
    fn shares_of_a_triangle() {
        // Right triangle 0,0 2,0 0,2: the cell at the corner whole, its neighbours half, the far one nothing.
        let found = all_shares(
            &[vec![[0.0, 0.0], [2.0, 0.0], [0.0, 2.0], [0.0, 0.0]]],
            2,
            2,
        );
        assert_eq!(found, [1.0, 0.5, 0.5, 0.0]);
    }

    #[test]
    fn holes_and_the_rim() {
        let mut hole = square(1.0, 1.0, 2.0, 2.5);
        hole.reverse();
        let found = all_shares(&[square(-5.0, -1.0, 2.25, 9.0), hole], 3, 3);
        assert_eq!(found, [1.0, 1.0, 0.25, 1.0, 0.0, 0.25, 1.0, 0.5, 0.25]);
    }

    #[test]
    fn quarter_pixels_of_a_shifted_square() {
        let grid = dense(
            &[ring(&[[0.5, 0.5], [2.5, 0.5], [2.5, 2.5], [0.5, 2.5]])],
            3,
        );
        assert_eq!(grid, [0.25, 0.5, 0.25, 0.5, 1.0, 0.5, 0.25, 0.5, 0.25]);
    }

    #[test]
    fn a_triangle_cuts_pixels_in_halves() {
        let grid = dense(&[ring(&[[0.0, 0.0], [3.0, 0.0], [0.0, 3.0]])], 3);
        assert_eq!(grid, [1.0, 1.0, 0.5, 1.0, 0.5, 0.0, 0.5, 0.0, 0.0]);
    }

    #[test]
    fn holes_and_direction() {
        let outer = ring(&[[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]]);
        let hole = ring(&[[1.0, 1.0], [1.0, 2.5], [2.5, 2.5], [2.5, 1.0]]);
        let forward = dense(&[outer.clone(), hole.clone()], 4);
        let backward = dense(
            &[
                outer.into_iter().rev().collect(),
                hole.into_iter().rev().collect(),
            ],
            4,
        );
        assert_eq!(forward, backward);
        assert_eq!(forward[5], 0.0);
        assert_eq!(forward[10], 0.75);
    }

    #[test]
    fn outside_columns_are_named_too() {
        let all = spans(
            &[ring(&[[-2.5, 0.0], [1.0, 0.0], [1.0, 1.0], [-2.5, 1.0]])],
            (0, 1),
        );
        assert_eq!(
            all[0],
            Span {
                row: 0,
                col: -3,
                len: 1,
                share: 0.5
            }
        );
        assert_eq!(
            all[1],
            Span {
                row: 0,
                col: -2,
                len: 3,
                share: 1.0
            }
        );
    }

    proptest! {
        #[test]
        fn shares_agree_with_clipping(points in prop::collection::vec((-1.0_f64..5.0, -1.0_f64..5.0), 3)) {
            let mut ring: Vec<[f64; 2]> = points.iter().map(|p| [p.0, p.1]).collect();
            ring.push(ring[0]);
            if doubled_area(&ring) < 0.0 {
                ring.reverse();
            }
            prop_assume!(doubled_area(&ring) > 1e-3);
            let triangle = Polygon::new(ring.iter().map(|p| Coord { x: p[0], y: p[1] }).collect::<LineString<f64>>(), Vec::new());
            let found = all_shares(&[ring], 4, 4);
            for row in 0..4_u8 {
                for col in 0..4_u8 {
                    let (x, y) = (f64::from(col), f64::from(row));
                    let cell = Rect::new(Coord { x, y }, Coord { x: x + 1.0, y: y + 1.0 }).to_polygon();
                    let expected = cell.intersection(&triangle).unsigned_area();
                    prop_assert!((found[usize::from(row) * 4 + usize::from(col)] - expected).abs() < 1e-6);
                }
            }
        }

        #[test]
        fn shares_add_up_to_the_area_and_rows_stand_alone(
            cx in 5.0..25.0_f64, cy in 5.0..25.0_f64, turn in 0.0..6.3_f64, radii in prop::collection::vec(1.0..5.0_f64, 5..12), split in 1..29_i64,
        ) {
            let n = radii.len();
            let points: Vec<[f64; 2]> = radii.iter().enumerate().map(|(i, r)| {
                let angle = turn + std::f64::consts::TAU * i as f64 / n as f64;
                [cx + r * libm::cos(angle), cy + r * libm::sin(angle)]
            }).collect();
            let star = ring(&points);
            let area: f64 = star.windows(2).map(|e| (e[0][0] - cx) * (e[1][1] - cy) - (e[1][0] - cx) * (e[0][1] - cy)).sum::<f64>() / 2.0;
            let rings = [star];
            let whole = spans(&rings, (0, 30));
            let sum: f64 = whole.iter().map(|s| s.share * s.len as f64).sum();
            assert_relative_eq!(sum, area.abs(), max_relative = 1e-12);
            prop_assert!(whole.iter().all(|s| s.share > 0.0 && s.share <= 1.0));
            let mut parts = spans(&rings, (0, split));
            parts.extend(spans(&rings, (split, 30)));
            prop_assert_eq!(whole, parts);
        }
    }
}
