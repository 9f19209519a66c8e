//! Exact shares: how much of each cell of a lattice lies inside rings.
//!
//! Each edge is cut at the rows and columns it crosses; every piece adds, to its own cell, the area between itself and the cell's right side and, to all cells
//! right of it, its height. A running sum along each row then gives the signed area inside the rings. No sampling, no clipping of polygons.

/// A closed ring in lattice coordinates: x counts columns from the west, y rows from the south; first and last point equal.
pub(super) type Ring = Vec<[f64; 2]>;

/// Twice the signed area of a ring, above 0 when it runs counter-clockwise.
pub(super) fn doubled_area(ring: &[[f64; 2]]) -> f64 {
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

/// Share of each cell inside the rings, row by row from the south. Exteriors must run counter-clockwise and holes clockwise; what lies off the lattice is cut away.
pub(super) fn coverage(rings: &[Ring], rows: usize, cols: usize) -> Vec<f64> {
    let mut sums = vec![0.0; rows * cols];
    for edge in rings.iter().flat_map(|ring| ring.windows(2)) {
        add_edge(&mut sums, rows, cols, edge[0], edge[1]);
    }
    if cols > 0 {
        for row in sums.chunks_exact_mut(cols) {
            let mut inside = 0.0;
            for cell in row {
                inside += *cell;
                *cell = inside;
            }
        }
    }
    // The sums come back to 0 and 1 up to rounding; a share of 1e-12 of a cell is no ground.
    for share in &mut sums {
        *share = if *share < 1e-12 { 0.0 } else { share.min(1.0) };
    }
    sums
}

/// Cells that the rings' edges pass through or touch.
pub(super) fn touched(lines: &[Ring], rows: usize, cols: usize) -> Vec<bool> {
    let mut out = vec![false; rows * cols];
    for edge in lines.iter().flat_map(|line| line.windows(2)) {
        let (low, high) = if edge[0][1] <= edge[1][1] {
            (edge[0], edge[1])
        } else {
            (edge[1], edge[0])
        };
        for row in span(low[1], high[1], rows) {
            let (x0, x1) = (
                at(low, high, (row as f64).max(low[1])),
                at(low, high, ((row + 1) as f64).min(high[1])),
            );
            let (x0, x1) = if low[1] == high[1] {
                (low[0], high[0])
            } else {
                (x0, x1)
            };
            for col in span(x0.min(x1), x0.max(x1), cols) {
                out[row * cols + col] = true;
            }
        }
    }
    out
}

/// Whole numbers whose unit interval, counted from each of them, meets `low..=high`, within `0..count`.
fn span(low: f64, high: f64, count: usize) -> std::ops::Range<usize> {
    if high < 0.0 || low >= count as f64 || high.is_nan() || low.is_nan() {
        return 0..0;
    }
    libm::floor(low).max(0.0) as usize..(libm::floor(high) as usize + 1).min(count)
}

/// The x of an edge at a height; the ends exactly.
fn at(low: [f64; 2], high: [f64; 2], y: f64) -> f64 {
    if y <= low[1] {
        low[0]
    } else if y >= high[1] {
        high[0]
    } else {
        low[0] + (high[0] - low[0]) * ((y - low[1]) / (high[1] - low[1]))
    }
}

fn add_edge(sums: &mut [f64], rows: usize, cols: usize, a: [f64; 2], b: [f64; 2]) {
    if a[1] == b[1] {
        return;
    }
    // An edge that goes down has the inside of a counter-clockwise ring on its right.
    let (low, high, sign) = if a[1] < b[1] {
        (a, b, -1.0)
    } else {
        (b, a, 1.0)
    };
    for row in span(low[1], high[1], rows) {
        let (y0, y1) = ((row as f64).max(low[1]), ((row + 1) as f64).min(high[1]));
        if y1 <= y0 {
            continue;
        }
        let (x0, x1) = (at(low, high, y0), at(low, high, y1));
        add_piece(
            &mut sums[row * cols..(row + 1) * cols],
            x0.min(x1),
            x0.max(x1),
            sign * (y1 - y0),
        );
    }
}

/// Adds a piece of an edge within one row: it spans `west..=east` and stands for `height`.
fn add_piece(row: &mut [f64], west: f64, east: f64, height: f64) {
    let count = row.len();
    if west >= count as f64 {
        return;
    }
    if east <= 0.0 {
        row[0] += height;
        return;
    }
    let mut put = |col: usize, low: f64, high: f64| {
        let part = if east > west {
            height * ((high - low) / (east - west))
        } else {
            height
        };
        let beyond = f64::midpoint(low, high) - col as f64;
        row[col] += part * (1.0 - beyond);
        if col + 1 < count {
            row[col + 1] += part * beyond;
        }
    };
    let first = libm::floor(west);
    if first >= 0.0 && first == libm::floor(east) {
        put(first as usize, west, east);
        return;
    }
    for col in span(west, east, count) {
        put(col, west.max(col as f64), east.min((col + 1) as f64));
    }
    if west < 0.0 {
        row[0] += height * (-west / (east - west));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Area, BooleanOps, Coord, LineString, Polygon, Rect};
    use proptest::prelude::*;

    fn square(x0: f64, y0: f64, x1: f64, y1: f64) -> Ring {
        vec![[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]]
    }

    #[test]
    fn shares_of_a_triangle() {
        // Right triangle 0,0 2,0 0,2: the cell at the corner whole, its neighbours half, the far one nothing.
        let shares = coverage(
            &[vec![[0.0, 0.0], [2.0, 0.0], [0.0, 2.0], [0.0, 0.0]]],
            2,
            2,
        );
        assert_eq!(shares, [1.0, 0.5, 0.5, 0.0]);
    }

    #[test]
    fn holes_and_the_rim() {
        let mut hole = square(1.0, 1.0, 2.0, 2.5);
        hole.reverse();
        let shares = coverage(&[square(-5.0, -1.0, 2.25, 9.0), hole], 3, 3);
        assert_eq!(shares, [1.0, 1.0, 0.25, 1.0, 0.0, 0.25, 1.0, 0.5, 0.25]);
    }

    #[test]
    fn touching_counts_edges_alone() {
        let hit = touched(
            &[vec![[0.5, 0.5], [2.5, 0.5]], vec![[0.2, 2.0], [0.2, 2.9]]],
            3,
            3,
        );
        assert_eq!(
            hit,
            [true, true, true, false, false, false, true, false, false]
        );
    }

    proptest! {
        #[test]
        fn agrees_with_clipping(points in prop::collection::vec((-1.0_f64..5.0, -1.0_f64..5.0), 3)) {
            let mut ring: Ring = points.iter().map(|p| [p.0, p.1]).collect();
            ring.push(ring[0]);
            if doubled_area(&ring) < 0.0 {
                ring.reverse();
            }
            prop_assume!(doubled_area(&ring) > 1e-3);
            let triangle = Polygon::new(ring.iter().map(|p| Coord { x: p[0], y: p[1] }).collect::<LineString<f64>>(), Vec::new());
            let shares = coverage(&[ring], 4, 4);
            for row in 0..4_u8 {
                for col in 0..4_u8 {
                    let (x, y) = (f64::from(col), f64::from(row));
                    let cell = Rect::new(Coord { x, y }, Coord { x: x + 1.0, y: y + 1.0 }).to_polygon();
                    let expected = cell.intersection(&triangle).unsigned_area();
                    prop_assert!((shares[usize::from(row) * 4 + usize::from(col)] - expected).abs() < 1e-6);
                }
            }
        }
    }
}
