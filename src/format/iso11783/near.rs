//! Which rate runs on over the field's edge: plane distances in lattice coordinates, one unit a cell.

use crate::format::iso11783::lattice::Ring;

/// The field's nearest edge seen from a cell outside it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Near {
    /// From the cell's centre, squared.
    centre_2: f64,
    /// From the cell's nearest point.
    pub(super) gap: f64,
    /// The nearest point seen from the centre.
    pub(super) at: [f64; 2],
    /// Position of the zone that it belongs to.
    pub(super) zone: usize,
}

/// Cells of a row, side by side, that hold none of the field.
#[derive(Clone, Debug)]
struct Run {
    cols: std::ops::Range<usize>,
    /// Position of the first among all that was found.
    at: usize,
}

/// Nearest zones of cells that lie within reach of the field but hold none of it.
pub(super) struct Neighbours {
    cols: usize,
    reach: f64,
    /// Cells outside the field, row by row: most edges lie between zones, and reach none.
    rows: Vec<Vec<Run>>,
    found: Vec<Option<Near>>,
}

impl Neighbours {
    /// Looks as far as `reach` cells. `is_outside` tells which cells hold nothing of the field.
    pub(super) fn new(
        (rows, cols): (usize, usize),
        reach: f64,
        is_outside: impl Fn(usize) -> bool,
    ) -> Self {
        let mut count = 0;
        let runs_of = |row: usize| {
            let mut runs: Vec<Run> = Vec::new();
            for col in (0..cols).filter(|col| is_outside(row * cols + col)) {
                match runs.last_mut() {
                    Some(run) if run.cols.end == col => run.cols.end += 1,
                    _ => runs.push(Run {
                        cols: col..col + 1,
                        at: count,
                    }),
                }
                count += 1;
            }
            runs
        };
        let rows = (0..rows).map(runs_of).collect();
        Self {
            cols,
            reach,
            rows,
            found: vec![None; count],
        }
    }

    /// Takes note of a zone's edges. Ties keep the earlier zone.
    pub(super) fn add(&mut self, zone: usize, rings: &[Ring]) {
        // A centre lies up to half a diagonal beyond the cell's nearest point.
        let far = self.reach + 0.75;
        for edge in rings.iter().flat_map(|ring| ring.windows(2)) {
            let (a, b) = (edge[0], edge[1]);
            let window = |axis: usize, count: usize| {
                let low = libm::floor(a[axis].min(b[axis]) - far).max(0.0) as usize;
                low..(libm::ceil(a[axis].max(b[axis]) + far).max(0.0) as usize).min(count)
            };
            let (rows, cols) = (window(1, self.rows.len()), window(0, self.cols));
            for row in rows {
                for run in &self.rows[row] {
                    let met = run.cols.start.max(cols.start)..run.cols.end.min(cols.end);
                    for col in met {
                        let here = &mut self.found[run.at + col - run.cols.start];
                        look(here, (col as f64, row as f64), zone, a, b);
                    }
                }
            }
        }
    }

    /// Each cell that lies within reach, with its nearest edge; row by row.
    pub(super) fn within_reach(&self) -> impl Iterator<Item = (usize, Near)> + '_ {
        let (cols, reach) = (self.cols, self.reach);
        let cells = self.rows.iter().enumerate().flat_map(move |(row, runs)| {
            let cell = move |col| row * cols + col;
            runs.iter().flat_map(move |run| run.cols.clone().map(cell))
        });
        cells.zip(&self.found).filter_map(move |(cell, near)| {
            near.filter(|near| near.gap <= reach + 1e-9)
                .map(|near| (cell, near))
        })
    }
}

/// Whether an edge's box lies so far from a cell that the edge can be neither the nearest to it nor to its centre.
fn is_beaten(near: &Near, (x, y): (f64, f64), a: [f64; 2], b: [f64; 2]) -> bool {
    let beyond = |axis: usize, low: f64, high: f64| {
        let (least, most) = (a[axis].min(b[axis]), a[axis].max(b[axis]));
        (least - high).max(low - most).max(0.0)
    };
    let square = |u: f64, v: f64| u * u + v * v;
    let gap_2 = square(beyond(0, x, x + 1.0), beyond(1, y, y + 1.0));
    let centre_2 = square(beyond(0, x + 0.5, x + 0.5), beyond(1, y + 0.5, y + 0.5));
    // A hair more than what was found, so that rounding of the box decides nothing.
    gap_2 > near.gap * near.gap + 1e-9 && centre_2 > near.centre_2 + 1e-9
}

/// Takes an edge for the cell with this least corner, where it is nearer than what was found.
fn look(here: &mut Option<Near>, (x, y): (f64, f64), zone: usize, a: [f64; 2], b: [f64; 2]) {
    if here.is_some_and(|near| is_beaten(&near, (x, y), a, b)) {
        return;
    }
    let at = nearest([x + 0.5, y + 0.5], a, b);
    let centre_2 = distance_2([x + 0.5, y + 0.5], at);
    let corners = [[x, y], [x + 1.0, y], [x, y + 1.0], [x + 1.0, y + 1.0]];
    let to_box = |p: [f64; 2]| distance_2(p, [p[0].clamp(x, x + 1.0), p[1].clamp(y, y + 1.0)]);
    let gap = corners
        .iter()
        .map(|corner| distance_2(*corner, nearest(*corner, a, b)))
        .fold(to_box(a).min(to_box(b)), f64::min);
    let gap = libm::sqrt(gap);
    match here {
        None => {
            *here = Some(Near {
                centre_2,
                gap,
                at,
                zone,
            });
        }
        Some(near) => {
            near.gap = near.gap.min(gap);
            // Rounding must not decide between zones that share a vertex.
            if centre_2 < near.centre_2 - 1e-9 {
                (near.centre_2, near.at, near.zone) = (centre_2, at, zone);
            }
        }
    }
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

/// Whether two segments meet.
pub(super) fn meet(a: [f64; 2], b: [f64; 2], c: [f64; 2], d: [f64; 2]) -> bool {
    let apart = |axis: usize| {
        a[axis].max(b[axis]) < c[axis].min(d[axis]) || c[axis].max(d[axis]) < a[axis].min(b[axis])
    };
    if apart(0) || apart(1) {
        return false;
    }
    let side = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| {
        (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
    };
    side(a, b, c) * side(a, b, d) <= 0.0 && side(c, d, a) * side(c, d, b) <= 0.0
}

fn nearest(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    let d = [b[0] - a[0], b[1] - a[1]];
    let length_2 = d[0] * d[0] + d[1] * d[1];
    if length_2 == 0.0 {
        return a;
    }
    let t = (((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / length_2).clamp(0.0, 1.0);
    [a[0] + t * d[0], a[1] + t * d[1]]
}

fn distance_2(p: [f64; 2], q: [f64; 2]) -> f64 {
    (p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1])
}

#[cfg(test)]
mod tests {
    use super::*;

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

    #[test]
    fn nearest_zone_within_reach() {
        let mut near = Neighbours::new((1, 5), 1.5, |cell| cell > 0);
        near.add(0, &[vec![[1.0, -9.0], [1.0, 9.0]]]);
        near.add(1, &[vec![[4.75, -9.0], [4.75, 9.0]]]);
        let found: Vec<_> = near.within_reach().collect();
        let cells: Vec<usize> = found.iter().map(|(cell, _)| *cell).collect();
        assert_eq!(cells, [1, 2, 3, 4], "not the field's own cell");
        let told = |k: usize| (found[k].1.zone, found[k].1.gap);
        assert_eq!((told(0), told(1)), ((0, 0.0), (0, 1.0)));
        assert_eq!((told(2), found[2].1.at), ((1, 0.75), [4.75, 0.5]));
    }

    #[test]
    fn cells_outside_are_found_in_all_rows() {
        // A field of two cells in the middle of twelve.
        let field = [5, 6];
        let mut near = Neighbours::new((3, 4), 0.5, |cell| !field.contains(&cell));
        near.add(
            7,
            &[vec![
                [1.0, 1.0],
                [3.0, 1.0],
                [3.0, 2.0],
                [1.0, 2.0],
                [1.0, 1.0],
            ]],
        );
        let cells: Vec<usize> = near.within_reach().map(|(cell, _)| cell).collect();
        assert_eq!(cells, [0, 1, 2, 3, 4, 7, 8, 9, 10, 11]);
    }

    #[test]
    fn edges_that_are_passed_over_change_nothing() {
        let mut seed = 7_u64;
        let mut dice = move |size: f64| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 40) as f64 / 16_777_216.0 * size
        };
        let edges: Vec<Ring> = (0..300)
            .map(|_| {
                let from = [dice(12.0), dice(9.0)];
                vec![from, [from[0] + dice(1.0) - 0.5, from[1] + dice(1.0) - 0.5]]
            })
            .collect();
        let mut near = Neighbours::new((9, 12), 2.0, |_| true);
        for (zone, edge) in edges.iter().enumerate() {
            near.add(zone, std::slice::from_ref(edge));
        }
        for (cell, found) in near.found.iter().enumerate() {
            let place = ((cell % 12) as f64, (cell / 12) as f64);
            let (mut gap, mut centre_2) = (f64::INFINITY, f64::INFINITY);
            for edge in &edges {
                let mut one = None;
                look(&mut one, place, 0, edge[0], edge[1]);
                let one = one.unwrap();
                gap = gap.min(one.gap);
                centre_2 = centre_2.min(one.centre_2);
            }
            let found = found.unwrap();
            assert_eq!(found.gap, gap);
            assert!(found.centre_2 <= centre_2 + 1e-9);
        }
    }

    #[test]
    fn segments_meet() {
        assert!(meet([0.0, 0.0], [2.0, 2.0], [0.0, 2.0], [2.0, 0.0]));
        assert!(
            meet([0.0, 0.0], [2.0, 0.0], [1.0, 0.0], [1.0, 1.0]),
            "touching counts"
        );
        assert!(!meet([0.0, 0.0], [2.0, 2.0], [3.0, 0.0], [3.0, 9.0]));
        assert!(!meet([0.0, 0.0], [4.0, 4.0], [1.0, 0.0], [4.0, 2.0]));
    }
}
