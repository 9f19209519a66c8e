//! Vertices that lie on the straight edge of somebody else: where a grid line meets a vertex that the cell beyond it does not know of.

use std::cmp::Ordering;

/// Vertices of a grid that are no corners of cells, to be asked for those on an edge along a grid line.
#[derive(Clone, Debug, Default)]
pub(crate) struct Junctions {
    /// By `u`, then `v`.
    points: Vec<[f64; 2]>,
    /// Their positions by `v`, then `u`.
    across: Vec<u32>,
}

impl Junctions {
    /// From points in any order, equal ones more than once.
    pub(crate) fn new(mut points: Vec<[f64; 2]>) -> Self {
        points.sort_unstable_by(by_uv);
        points.dedup();
        let mut across: Vec<u32> = (0..points.len() as u32).collect();
        across.sort_unstable_by(|&a, &b| by_vu(&points[a as usize], &points[b as usize]));
        Self { points, across }
    }
    /// The points by `u`, then `v`.
    pub(crate) fn points(&self) -> &[[f64; 2]] {
        &self.points
    }
    /// Position of a point that is one of them.
    pub(crate) fn position(&self, p: [f64; 2]) -> usize {
        self.points.partition_point(|q| by_uv(q, &p).is_lt())
    }
    /// Positions of those that lie strictly on an edge along a grid line, from `a` to `b`; none on any other edge.
    pub(crate) fn on_edge(&self, a: [f64; 2], b: [f64; 2], found: &mut Vec<u32>) {
        found.clear();
        if self.points.is_empty() {
            return;
        }
        let between = |x: f64, y: f64| (x.min(y), x.max(y));
        if a[0] == b[0] {
            let (low, high) = between(a[1], b[1]);
            let from = self
                .points
                .partition_point(|q| by_uv(q, &[a[0], low]).is_le());
            found.extend(
                (from..self.points.len())
                    .take_while(|&i| self.points[i][0] == a[0] && self.points[i][1] < high)
                    .map(|i| i as u32),
            );
            if a[1] > b[1] {
                found.reverse();
            }
        } else if a[1] == b[1] {
            let (low, high) = between(a[0], b[0]);
            let other = |&i: &u32| self.points[i as usize];
            let from = self
                .across
                .partition_point(|i| by_vu(&other(i), &[low, a[1]]).is_le());
            found.extend(
                self.across[from..]
                    .iter()
                    .take_while(|i| other(i)[1] == a[1] && other(i)[0] < high),
            );
            if a[0] > b[0] {
                found.reverse();
            }
        }
    }
}

/// One zero instead of two.
pub(crate) fn folded(p: [f64; 2]) -> [f64; 2] {
    [p[0] + 0.0, p[1] + 0.0]
}

fn by_uv(a: &[f64; 2], b: &[f64; 2]) -> Ordering {
    a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1]))
}

fn by_vu(a: &[f64; 2], b: &[f64; 2]) -> Ordering {
    a[1].total_cmp(&b[1]).then(a[0].total_cmp(&b[0]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_on_an_edge_come_in_its_direction() {
        let junctions = Junctions::new(vec![
            [2.0, 5.0],
            [2.0, 1.0],
            [2.0, 3.0],
            [4.0, 3.0],
            [2.0, 3.0],
            [-0.0 + 0.0, 3.0],
        ]);
        let on = |a, b| {
            let mut found = Vec::new();
            junctions.on_edge(a, b, &mut found);
            found
                .iter()
                .map(|&i| junctions.points()[i as usize])
                .collect::<Vec<_>>()
        };
        assert_eq!(
            on([2.0, 0.0], [2.0, 5.0]),
            [[2.0, 1.0], [2.0, 3.0]],
            "ends do not count"
        );
        assert_eq!(on([2.0, 5.0], [2.0, 0.0]), [[2.0, 3.0], [2.0, 1.0]]);
        assert_eq!(on([9.0, 3.0], [0.0, 3.0]), [[4.0, 3.0], [2.0, 3.0]]);
        assert!(on([0.0, 0.0], [4.0, 6.0]).is_empty(), "no grid line");
        assert_eq!(junctions.position([4.0, 3.0]), 4);
    }
}
