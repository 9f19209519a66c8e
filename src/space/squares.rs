//! Ground cut into small rectangles along a heading, found by arithmetic: which rectangle a pixel lies in needs no polygon.
//!
//! The cuts repeat along both axes, so that any shape that is moved by whole periods covers the same pattern of rectangles everywhere.

use crate::space::coverage::{Scratch, Span, cover};

/// Cuts nearer to one another than this are one cut. \[m\]
const CUT_TOLERANCE: f64 = 1e-6;
/// Pixels that advance less than this along an axis do not advance. \[m a pixel\]
const STEP_TOLERANCE: f64 = 1e-9;

/// Cuts along one axis that repeat with a period. Cut 0 lies at 0.
#[derive(Clone, Debug, PartialEq)]
pub struct Cuts {
    period: f64,
    edges: Vec<f64>,
}

impl Cuts {
    /// Cuts at 0 and at `places`, each repeated with the period, and evenly between them so that no piece is longer than `maximum`. \[m\]
    pub fn new(period: f64, places: &[f64], maximum: f64) -> Self {
        let mut fixed: Vec<f64> = places
            .iter()
            .map(|place| place.rem_euclid(period))
            .chain([0.0, period])
            .collect();
        fixed.sort_by(f64::total_cmp);
        fixed.dedup_by(|later, earlier| *later - *earlier < CUT_TOLERANCE);
        // The period itself stays, whatever lay just before it.
        if let Some(last) = fixed.last_mut() {
            *last = period;
        }
        let mut edges = Vec::new();
        for pair in fixed.windows(2) {
            let width = pair[1] - pair[0];
            let pieces = libm::ceil(width / maximum - 1e-9).max(1.0);
            edges.extend((0..pieces as usize).map(|k| pair[0] + width * k as f64 / pieces));
        }
        Self { period, edges }
    }
    /// Pieces in a period.
    pub fn each_period(&self) -> i64 {
        self.edges.len() as i64
    }
    /// Where piece `k` begins.
    pub fn edge(&self, k: i64) -> f64 {
        let n = self.each_period();
        k.div_euclid(n) as f64 * self.period + self.edges[k.rem_euclid(n) as usize]
    }
    /// The piece that holds a place: `edge(k) ≤ x < edge(k + 1)`.
    pub fn find(&self, x: f64) -> i64 {
        let n = self.each_period();
        let turn = libm::floor(x / self.period);
        let rest = x - turn * self.period;
        let within = self.edges.partition_point(|edge| *edge <= rest).max(1) as i64 - 1;
        let mut k = turn as i64 * n + within;
        while self.edge(k) > x {
            k -= 1;
        }
        while self.edge(k + 1) <= x {
            k += 1;
        }
        k
    }
    /// The place on an axis on which every piece is 1 long.
    fn stretched(&self, x: f64) -> f64 {
        let k = self.find(x);
        let (low, high) = (self.edge(k), self.edge(k + 1));
        k as f64 + (x - low) / (high - low)
    }
    /// The shares of `from … to` of a straight line at which cuts are crossed.
    fn crossings(&self, from: f64, to: f64, shares: &mut Vec<f64>) {
        let (low, high) = (from.min(to), from.max(to));
        for k in self.find(low) + 1..=self.find(high) {
            let edge = self.edge(k);
            if edge > low && edge < high {
                shares.push((edge - from) / (to - from));
            }
        }
    }
}

/// Rectangles over a piece of an image. u runs along the heading, v to its left. \[m\]
#[derive(Clone, Debug, PartialEq)]
pub struct SquareGrid {
    /// `u = t0 + t1 · col + t2 · row`, `v = t3 + t4 · col + t5 · row`, from pixel coordinates.
    to_uv: [f64; 6],
    along: Cuts,
    across: Cuts,
    first: (i64, i64),
    count: (i64, i64),
    edges: (Vec<f64>, Vec<f64>),
}

impl SquareGrid {
    /// The rectangles that a box in u and v needs, as `((u0, u1), (v0, v1))`. \[m\]
    pub fn new(
        to_uv: [f64; 6],
        along: Cuts,
        across: Cuts,
        (us, vs): ((f64, f64), (f64, f64)),
    ) -> Self {
        let reach = |cuts: &Cuts, (low, high): (f64, f64)| {
            let first = cuts.find(low) - 1;
            (first, cuts.find(high) + 2 - first)
        };
        let (u, v) = (reach(&along, us), reach(&across, vs));
        let edges = |cuts: &Cuts, (first, count): (i64, i64)| {
            (first..=first + count).map(|k| cuts.edge(k)).collect()
        };
        Self {
            to_uv,
            first: (u.0, v.0),
            count: (u.1, v.1),
            edges: (edges(&along, u), edges(&across, v)),
            along,
            across,
        }
    }
    /// How many rectangles there are.
    pub const fn len(&self) -> usize {
        (self.count.0 * self.count.1) as usize
    }
    /// Whether there is none.
    pub const fn is_empty(&self) -> bool {
        self.len() == 0
    }
    /// Cuts along the heading.
    pub const fn along(&self) -> &Cuts {
        &self.along
    }
    /// Cuts across it.
    pub const fn across(&self) -> &Cuts {
        &self.across
    }
    /// First rectangle and number of them, along and across.
    pub const fn reach(&self) -> ((i64, i64), (i64, i64)) {
        (self.first, self.count)
    }
    /// Position of a rectangle in lists; `None` outside.
    pub const fn position(&self, u: i64, v: i64) -> Option<usize> {
        let (u, v) = (u - self.first.0, v - self.first.1);
        if u < 0 || v < 0 || u >= self.count.0 || v >= self.count.1 {
            None
        } else {
            Some((u * self.count.1 + v) as usize)
        }
    }
    /// Area of a rectangle. \[m²\]
    pub fn area(&self, u: i64, v: i64) -> f64 {
        (self.along.edge(u + 1) - self.along.edge(u))
            * (self.across.edge(v + 1) - self.across.edge(v))
    }
    /// u and v of a place in pixel coordinates.
    pub fn uv(&self, col: f64, row: f64) -> (f64, f64) {
        let t = &self.to_uv;
        (
            t[0] + t[1] * col + t[2] * row,
            t[3] + t[4] * col + t[5] * row,
        )
    }
    /// The pixel coordinates of a place in u and v.
    pub fn pixel(&self, u: f64, v: f64) -> (f64, f64) {
        let t = &self.to_uv;
        let (du, dv) = (u - t[0], v - t[3]);
        let determinant = t[1] * t[5] - t[2] * t[4];
        (
            (du * t[5] - dv * t[2]) / determinant,
            (dv * t[1] - du * t[4]) / determinant,
        )
    }
    /// Positions, along and across and counted from [`reach`](Self::reach)'s first, that pixels of a window can have: `(low, high)`, both included.
    pub fn within(&self, cols: (i64, i64), rows: (i64, i64)) -> ((i64, i64), (i64, i64)) {
        let (mut low, mut high) = ((i64::MAX, i64::MAX), (i64::MIN, i64::MIN));
        for col in [cols.0, cols.1] {
            for row in [rows.0, rows.1] {
                let (u, v) = self.uv(col as f64, row as f64);
                let at = (
                    place_of(&self.edges.0, u) as i64,
                    place_of(&self.edges.1, v) as i64,
                );
                low = (low.0.min(at.0), low.1.min(at.1));
                high = (high.0.max(at.0), high.1.max(at.1));
            }
        }
        // One more on each side: a centre on a cut may fall to either.
        let last = (self.count.0 - 1, self.count.1 - 1);
        (
            ((low.0 - 1).max(0), (low.1 - 1).max(0)),
            ((high.0 + 1).min(last.0), (high.1 + 1).min(last.1)),
        )
    }
    /// Cuts a run of pixels of one row where their centres pass from one rectangle to the next: calls `take` with the rectangle's position along and across,
    /// counted as in [`within`](Self::within), and first column and number of pixels.
    ///
    /// A pixel's rectangle depends on its own centre alone, never on where the run begins.
    pub fn runs(
        &self,
        row: i64,
        col: i64,
        len: i64,
        mut take: impl FnMut((usize, usize), i64, i64),
    ) {
        let t = &self.to_uv;
        let middle = row as f64 + 0.5;
        let mut u = Axis::new(&self.edges.0, t[0] + t[2] * middle, t[1], col);
        let mut v = Axis::new(&self.edges.1, t[3] + t[5] * middle, t[4], col);
        let (mut at, end) = (col, col + len);
        while at < end {
            let next = u.next.min(v.next).min(end);
            take((u.place, v.place), at, next - at);
            at = next;
            if at >= end {
                break;
            }
            if u.next <= at {
                u.go_to(at);
            }
            if v.next <= at {
                v.go_to(at);
            }
        }
    }
    /// Share of each rectangle's area that rings in u and v cover, exactly; in the order of [`position`](Self::position).
    pub fn shares(&self, rings: &[Vec<[f64; 2]>]) -> Vec<f64> {
        let mut out = vec![0.0; self.len()];
        let mut stretched = Vec::with_capacity(rings.len());
        for ring in rings {
            let mut points: Vec<[f64; 2]> = Vec::with_capacity(ring.len());
            for edge in ring.windows(2) {
                // Between two cuts the stretched edge is straight.
                let mut shares = vec![0.0];
                self.along.crossings(edge[0][0], edge[1][0], &mut shares);
                self.across.crossings(edge[0][1], edge[1][1], &mut shares);
                shares.sort_by(f64::total_cmp);
                for share in shares {
                    let u = edge[0][0] + share * (edge[1][0] - edge[0][0]);
                    let v = edge[0][1] + share * (edge[1][1] - edge[0][1]);
                    points.push([self.across.stretched(v), self.along.stretched(u)]);
                }
            }
            if let Some(first) = points.first().copied() {
                points.push(first);
            }
            stretched.push(points);
        }
        let mut spans: Vec<Span> = Vec::new();
        let rows = (self.first.0, self.first.0 + self.count.0);
        cover(&stretched, rows, &mut Scratch::default(), &mut spans);
        for span in &spans {
            for v in span.col..span.col + span.len {
                if let Some(at) = self.position(span.row, v) {
                    out[at] = span.share.min(1.0);
                }
            }
        }
        out
    }
}

/// The piece between rising edges that holds a place, the first or last piece outside them.
fn place_of(edges: &[f64], x: f64) -> usize {
    edges
        .partition_point(|edge| *edge <= x)
        .clamp(1, edges.len() - 1)
        - 1
}

/// Where a row of pixels is on one axis.
struct Axis<'a> {
    edges: &'a [f64],
    base: f64,
    step: f64,
    place: usize,
    /// First column that lies in another piece.
    next: i64,
}

impl<'a> Axis<'a> {
    fn new(edges: &'a [f64], base: f64, step: f64, col: i64) -> Self {
        // A step so small that a whole row stays where it begins: rounding of a heading along the pixels.
        let step = if step.abs() < STEP_TOLERANCE {
            0.0
        } else {
            step
        };
        let mut axis = Self {
            edges,
            base,
            step,
            place: 0,
            next: 0,
        };
        axis.place = place_of(edges, axis.at(col));
        axis.look_ahead(col);
        axis
    }
    fn at(&self, col: i64) -> f64 {
        self.base + self.step * (col as f64 + 0.5)
    }
    fn go_to(&mut self, col: i64) {
        let (x, last) = (self.at(col), self.edges.len() - 2);
        while self.place < last && x >= self.edges[self.place + 1] {
            self.place += 1;
        }
        while self.place > 0 && x < self.edges[self.place] {
            self.place -= 1;
        }
        self.look_ahead(col);
    }
    fn look_ahead(&mut self, col: i64) {
        let rising = self.step > 0.0;
        let last = self.edges.len() - 2;
        if self.step == 0.0 || (rising && self.place == last) || (!rising && self.place == 0) {
            self.next = i64::MAX;
            return;
        }
        let edge = self.edges[self.place + usize::from(rising)];
        let passed = |x: f64| if rising { x >= edge } else { x < edge };
        let far = ((edge - self.base) / self.step - 0.5).clamp(-9e15, 9e15);
        let mut next = (libm::ceil(far) as i64).max(col + 1);
        while next > col + 1 && passed(self.at(next - 1)) {
            next -= 1;
        }
        while !passed(self.at(next)) {
            next += 1;
        }
        self.next = next;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn cuts() -> (Cuts, Cuts) {
        (
            Cuts::new(75.0, &[294.0], 6.0),
            Cuts::new(12.0, &[18.0, 26.0, -8.0], 6.0),
        )
    }

    #[test]
    fn cuts_hold_the_places_asked_for_and_repeat() {
        let (along, across) = cuts();
        // 294 = 3 · 75 + 69; 69 m in twelve pieces, 6 m in one.
        assert_eq!(along.each_period(), 13);
        assert_eq!(along.edge(12), 69.0);
        assert_eq!(along.edge(13), 75.0);
        assert_eq!(along.edge(-1), -6.0);
        // 0, 2 (26), 4 (−8), 6 (18), 12.
        assert_eq!(
            (0..5).map(|k| across.edge(k)).collect::<Vec<_>>(),
            [0.0, 2.0, 4.0, 6.0, 12.0]
        );
        for k in -40..40 {
            let (low, high) = (along.edge(k), along.edge(k + 1));
            assert!(low < high && high - low <= 6.0 + 1e-9);
            assert_eq!(along.find(low), k);
            assert_eq!(along.find(0.5 * (low + high)), k);
        }
    }

    #[test]
    fn shares_add_up_to_the_area() {
        let (along, across) = cuts();
        let grid = SquareGrid::new(
            [0.0, 1.0, 0.0, 0.0, 0.0, 1.0],
            along,
            across,
            ((-100.0, 400.0), (-60.0, 80.0)),
        );
        // A triangle with a hole, area 0.5 · 300 · 60 − 10 · 10.
        let rings = vec![
            vec![[3.3, -7.1], [303.3, -7.1], [3.3, 52.9], [3.3, -7.1]],
            vec![
                [20.0, 0.0],
                [20.0, 10.0],
                [30.0, 10.0],
                [30.0, 0.0],
                [20.0, 0.0],
            ],
        ];
        let shares = grid.shares(&rings);
        let ((u0, v0), (nu, nv)) = grid.reach();
        let mut area = 0.0;
        for u in u0..u0 + nu {
            for v in v0..v0 + nv {
                area += grid.area(u, v) * shares[grid.position(u, v).unwrap()];
            }
        }
        assert!((area - 8_900.0).abs() < 1e-6, "{area}");
    }

    proptest! {
        #[test]
        fn runs_are_those_of_single_pixels_wherever_they_begin(
            angle in 0.0..core::f64::consts::TAU, pixel in 0.1..9.0_f64, row in -50..50_i64, start in -80..0_i64, cut in 1..160_i64,
        ) {
            let (sin, cos) = (libm::sin(angle), libm::cos(angle));
            let (along, across) = cuts();
            let grid = SquareGrid::new(
                [3.0, pixel * sin, pixel * cos, -5.0, -pixel * cos, pixel * sin],
                along, across, ((-2000.0, 2000.0), (-2000.0, 2000.0)),
            );
            let mut all = Vec::new();
            grid.runs(row, start, 160, |at, col, len| all.extend((col..col + len).map(|col| (col, at))));
            let mut parts = Vec::new();
            grid.runs(row, start, cut, |at, col, len| parts.extend((col..col + len).map(|col| (col, at))));
            grid.runs(row, start + cut, 160 - cut, |at, col, len| parts.extend((col..col + len).map(|col| (col, at))));
            prop_assert_eq!(&all, &parts);
            prop_assert_eq!(all.len(), 160);
            let ((u0, v0), _) = grid.reach();
            for (col, (u, v)) in all {
                // By hand, but for centres on a cut, which rounding may put on either side.
                let (x, y) = grid.uv(col as f64 + 0.5, row as f64 + 0.5);
                let (u, v) = (u as i64 + u0, v as i64 + v0);
                prop_assert!(grid.along().edge(u) <= x + 1e-9 && x < grid.along().edge(u + 1) + 1e-9);
                prop_assert!(grid.across().edge(v) <= y + 1e-9 && y < grid.across().edge(v + 1) + 1e-9);
            }
        }
    }
}
