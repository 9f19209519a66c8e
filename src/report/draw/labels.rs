//! Where labels stand: inside their shape where they fit, else outside the field with a line that leads there; never over one another.

use std::cell::OnceCell;

use rstar::{AABB, PointDistance, RTree, RTreeObject};

use crate::report::draw::drawing::Rings;

/// A box of paper: left, top, right, bottom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Patch {
    /// Left.
    pub left: f64,
    /// Top.
    pub top: f64,
    /// Right.
    pub right: f64,
    /// Bottom.
    pub bottom: f64,
}

impl Patch {
    /// A box of this size around a point.
    pub(crate) const fn around(at: (f64, f64), size: (f64, f64)) -> Self {
        Self {
            left: at.0 - size.0 / 2.0,
            top: at.1 - size.1 / 2.0,
            right: at.0 + size.0 / 2.0,
            bottom: at.1 + size.1 / 2.0,
        }
    }
    /// Whether two boxes share ground.
    pub(crate) fn meets(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }
    /// Whether another box lies wholly in this one.
    pub(crate) fn holds(&self, other: &Self) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && self.right >= other.right
            && self.bottom >= other.bottom
    }
    fn has(&self, p: (f64, f64)) -> bool {
        (self.left..=self.right).contains(&p.0) && (self.top..=self.bottom).contains(&p.1)
    }
    /// Whether a straight line touches the box.
    fn is_crossed(&self, a: (f64, f64), b: (f64, f64)) -> bool {
        if a.0.max(b.0) < self.left
            || a.0.min(b.0) > self.right
            || a.1.max(b.1) < self.top
            || a.1.min(b.1) > self.bottom
        {
            return false;
        }
        if self.has(a) || self.has(b) {
            return true;
        }
        let corners = [
            (self.left, self.top),
            (self.right, self.top),
            (self.right, self.bottom),
            (self.left, self.bottom),
        ];
        (0..4).any(|k| crosses(a, b, corners[k], corners[(k + 1) % 4]))
    }
}

fn side(a: (f64, f64), b: (f64, f64), p: (f64, f64)) -> f64 {
    (b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0)
}

/// Whether two straight lines cross.
fn crosses(a: (f64, f64), b: (f64, f64), c: (f64, f64), d: (f64, f64)) -> bool {
    side(a, b, c) * side(a, b, d) <= 0.0 && side(c, d, a) * side(c, d, b) <= 0.0
}

/// Square of the distance of a point from a straight line between two others.
fn square_distance(p: (f64, f64), a: (f64, f64), b: (f64, f64)) -> f64 {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let length = dx * dx + dy * dy;
    let share = if length > 0.0 {
        (((p.0 - a.0) * dx + (p.1 - a.1) * dy) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let (x, y) = (p.0 - a.0 - share * dx, p.1 - a.1 - share * dy);
    x * x + y * y
}

/// A straight piece of an outline.
#[derive(Clone, Copy, Debug)]
struct Edge {
    a: (f64, f64),
    b: (f64, f64),
    around: AABB<[f64; 2]>,
}

impl RTreeObject for Edge {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        self.around
    }
}

impl PointDistance for Edge {
    fn distance_2(&self, point: &[f64; 2]) -> f64 {
        square_distance((point[0], point[1]), self.a, self.b)
    }
}

/// Rings whose edges are found by their place: of a field with a hundred thousand holes a label looks at a few.
#[derive(Clone, Debug)]
pub(crate) struct Outline {
    edges: RTree<Edge>,
    /// The same, where they are few.
    few: Vec<Edge>,
    bounds: Option<Patch>,
    first: Vec<(f64, f64)>,
    /// Places for a label, which are asked for more than once.
    candidates: OnceCell<Vec<((f64, f64), f64)>>,
}

impl Outline {
    /// The outline that rings make, by the even-odd rule.
    pub(crate) fn of(rings: &Rings) -> Self {
        let is_seen = |ring: &&Vec<(f64, f64)>| rings.len() <= MANY_RINGS || !is_speck(ring);
        let edges = rings.iter().filter(is_seen).flat_map(|ring| {
            let next = ring.iter().skip(1).chain(ring.first());
            ring.iter().zip(next).map(|(a, b)| Edge {
                a: *a,
                b: *b,
                around: AABB::from_corners([a.0, a.1], [b.0, b.1]),
            })
        });
        let edges: Vec<Edge> = edges.collect();
        let few = if edges.len() <= MANY_EDGES {
            edges.clone()
        } else {
            Vec::new()
        };
        Self {
            edges: RTree::bulk_load(edges),
            few,
            bounds: bounds(rings),
            first: rings.iter().flatten().take(CORNERS).copied().collect(),
            candidates: OnceCell::new(),
        }
    }
    /// Where edges cross a row of the paper, right of a place.
    fn crossings(&self, from: f64, row: f64) -> impl Iterator<Item = f64> {
        let ray = AABB::from_corners([from, row], [f64::MAX, row]);
        self.edges
            .locate_in_envelope_intersecting(ray)
            .filter(move |edge| (edge.a.1 > row) != (edge.b.1 > row))
            .map(move |Edge { a, b, .. }| a.0 + (b.0 - a.0) * (row - a.1) / (b.1 - a.1))
    }
    /// Whether a point lies inside.
    fn has(&self, p: (f64, f64)) -> bool {
        self.crossings(p.0, p.1).filter(|x| p.0 < *x).count() % 2 == 1
    }
    /// Whether an edge touches a box.
    fn crosses(&self, patch: &Patch) -> bool {
        let around = AABB::from_corners([patch.left, patch.top], [patch.right, patch.bottom]);
        self.edges
            .locate_in_envelope_intersecting(around)
            .any(|edge| patch.is_crossed(edge.a, edge.b))
    }
    /// Whether a box lies wholly inside.
    pub(crate) fn holds(&self, patch: &Patch) -> bool {
        let middle = (
            f64::midpoint(patch.left, patch.right),
            f64::midpoint(patch.top, patch.bottom),
        );
        self.has(middle) && !self.crosses(patch)
    }
    /// Square of the distance of a point from the nearest edge, which is known to be at most `bound`. Of few edges all are looked at, which is quicker than to
    /// search.
    fn square_distance(&self, p: (f64, f64), bound: f64) -> f64 {
        let at = [p.0, p.1];
        if self.few.is_empty() {
            let nearest = self.edges.nearest_neighbor(at);
            return nearest.map_or(f64::INFINITY, |edge| edge.distance_2(&at));
        }
        let mut least = bound;
        for edge in &self.few {
            let (low, high) = (edge.around.lower(), edge.around.upper());
            let x = (low[0] - p.0).max(p.0 - high[0]).max(0.0);
            let y = (low[1] - p.1).max(p.1 - high[1]).max(0.0);
            if x * x + y * y < least {
                least = least.min(square_distance(p, edge.a, edge.b));
            }
        }
        least
    }
    fn candidates(&self) -> &[((f64, f64), f64)] {
        self.candidates.get_or_init(|| self.tried())
    }
    /// Places that are tried inside, the farthest from its edges first, each with the square of that distance.
    fn tried(&self) -> Vec<((f64, f64), f64)> {
        let Some(around) = self.bounds else {
            return Vec::new();
        };
        let (w, h) = (around.right - around.left, around.bottom - around.top);
        let step = (w.max(h) / TRIED as f64).max(1.5);
        let (cols, rows) = ((w / step) as usize + 1, (h / step) as usize + 1);
        let mut found = Vec::new();
        for row in 0..rows {
            let y = around.top + (row as f64 + 0.5) * h / rows as f64;
            let crossed: Vec<f64> = self.crossings(around.left, y).collect();
            // From one place to the next the distance grows by the step at most; a hair more for rounding.
            let apart = w / cols as f64;
            let mut bound = f64::INFINITY;
            for col in 0..cols {
                let p = (around.left + (col as f64 + 0.5) * w / cols as f64, y);
                if crossed.iter().filter(|x| p.0 < **x).count() % 2 == 1 {
                    let clear = self.square_distance(p, bound);
                    let reach = libm::sqrt(clear) + apart;
                    bound = 1.000_001 * reach * reach;
                    found.push((p, clear));
                } else {
                    bound = f64::INFINITY;
                }
            }
        }
        found.sort_by(|a, b| b.1.total_cmp(&a.1));
        found
    }
}

/// Whether a ring is no larger than a unit: of very many such a label may cover one.
fn is_speck(ring: &[(f64, f64)]) -> bool {
    let first = ring.first().copied().unwrap_or_default();
    ring.iter()
        .all(|p| (p.0 - first.0).abs().max((p.1 - first.1).abs()) < 1.0)
}

fn bounds(rings: &Rings) -> Option<Patch> {
    let first = rings.first()?.first()?;
    let mut patch = Patch {
        left: first.0,
        top: first.1,
        right: first.0,
        bottom: first.1,
    };
    for (x, y) in rings.iter().flatten() {
        patch.left = patch.left.min(*x);
        patch.right = patch.right.max(*x);
        patch.top = patch.top.min(*y);
        patch.bottom = patch.bottom.max(*y);
    }
    Some(patch)
}

/// A label that stands outside its shape.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Led {
    /// The label's middle.
    pub at: (f64, f64),
    /// From the shape to the label's box.
    pub line: ((f64, f64), (f64, f64)),
}

/// Keeps account of the paper that is taken.
#[derive(Clone, Debug)]
pub(crate) struct Placer {
    window: Patch,
    taken: Vec<Patch>,
    lines: Vec<((f64, f64), (f64, f64))>,
}

/// Places that are tried along each side of a shape.
const TRIED: usize = 22;
/// Edges from which a search is quicker than a look at all of them.
const MANY_EDGES: usize = 500;
/// Rings of a shape of which none is passed over.
const MANY_RINGS: usize = 64;
/// Corners of a shape beside which a place is tried.
const CORNERS: usize = 2000;

impl Placer {
    /// All of a window is free.
    pub(crate) const fn new(window: Patch) -> Self {
        Self {
            window,
            taken: Vec::new(),
            lines: Vec::new(),
        }
    }
    /// Takes paper.
    pub(crate) fn take(&mut self, patch: Patch) {
        self.taken.push(patch);
    }
    fn is_free(&self, patch: &Patch) -> bool {
        self.window.holds(patch)
            && !self.taken.iter().any(|taken| taken.meets(patch))
            && !self.lines.iter().any(|(a, b)| patch.is_crossed(*a, *b))
    }

    /// The middle of a label of this size inside a shape, as far from its edges as can be and clear of the lines in `avoid`; takes the paper.
    pub(crate) fn inside(
        &mut self,
        shape: &Outline,
        size: (f64, f64),
        avoid: &[&Outline],
    ) -> Option<(f64, f64)> {
        let around = shape.bounds?;
        if around.right - around.left < size.0 || around.bottom - around.top < size.1 {
            return None;
        }
        // A box reaches at least half its smaller side away from its middle; the places come by their distance from the edges.
        let least = size.0.min(size.1) / 2.0;
        let at = shape
            .candidates()
            .iter()
            .take_while(|(_, clear)| *clear >= 0.999 * least * least)
            .map(|(p, _)| *p)
            .find(|p| {
                let patch = Patch::around(*p, size);
                self.is_free(&patch)
                    && shape.holds(&patch)
                    && !avoid.iter().any(|other| other.crosses(&patch))
            })?;
        self.take(Patch::around(at, size));
        Some(at)
    }

    /// The middle of a label of this size right beside a shape, clear of its edges; takes the paper. For names that nobody takes for a rate of the ground below.
    pub(crate) fn beside(&mut self, shape: &Outline, size: (f64, f64)) -> Option<(f64, f64)> {
        const DIRECTIONS: usize = 16;
        let at = (4..=9)
            .map(|k| f64::from(k) * 3.5)
            .flat_map(|far| shape.first.iter().map(move |corner| (far, *corner)))
            .flat_map(|(far, corner)| {
                (0..DIRECTIONS).map(move |k| {
                    let angle = k as f64 / DIRECTIONS as f64 * std::f64::consts::TAU;
                    (
                        corner.0 + far * libm::cos(angle),
                        corner.1 + far * libm::sin(angle),
                    )
                })
            })
            .find(|at| {
                let patch = Patch::around(*at, size);
                self.is_free(&patch) && !shape.has(*at) && !shape.crosses(&patch)
            })?;
        self.take(Patch::around(at, size));
        Some(at)
    }

    /// A label of this size outside `field`, with a line from the shape; takes the paper of both. `None` where the line would be long or cross another.
    pub(crate) fn led(
        &mut self,
        shape: &Outline,
        size: (f64, f64),
        field: &Outline,
    ) -> Option<Led> {
        const DIRECTIONS: usize = 24;
        let from = shape.candidates().first()?.0;
        for far in (2..=11).map(|k| f64::from(k) * 10.0) {
            for k in 0..DIRECTIONS {
                let angle = k as f64 / DIRECTIONS as f64 * std::f64::consts::TAU;
                let at = (
                    from.0 + far * libm::cos(angle),
                    from.1 + far * libm::sin(angle),
                );
                let patch = Patch::around(at, size);
                let to = (
                    from.0.clamp(patch.left, patch.right),
                    from.1.clamp(patch.top, patch.bottom),
                );
                let is_clear = self.is_free(&patch)
                    && !field.has(at)
                    && !field.crosses(&patch)
                    && !self.taken.iter().any(|taken| taken.is_crossed(from, to))
                    && !self.lines.iter().any(|(a, b)| crosses(from, to, *a, *b));
                if is_clear {
                    self.take(patch);
                    self.lines.push((from, to));
                    return Some(Led {
                        at,
                        line: (from, to),
                    });
                }
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rings(left: f64, top: f64, side: f64) -> Rings {
        vec![vec![
            (left, top),
            (left + side, top),
            (left + side, top + side),
            (left, top + side),
        ]]
    }
    fn square(left: f64, top: f64, side: f64) -> Outline {
        Outline::of(&rings(left, top, side))
    }
    fn placer() -> Placer {
        Placer::new(Patch {
            left: 0.0,
            top: 0.0,
            right: 300.0,
            bottom: 300.0,
        })
    }

    #[test]
    fn a_label_stands_inside_or_is_led_outside() {
        let field = square(50.0, 50.0, 200.0);
        let mut placer = placer();
        let roomy = square(60.0, 60.0, 60.0);
        let at = placer.inside(&roomy, (30.0, 12.0), &[]).unwrap();
        assert!(roomy.holds(&Patch::around(at, (30.0, 12.0))));
        // Too small for it: led out of the field.
        let small = square(230.0, 100.0, 12.0);
        assert!(placer.inside(&small, (30.0, 12.0), &[]).is_none());
        let led = placer.led(&small, (30.0, 12.0), &field).unwrap();
        assert!(!field.has(led.at) && small.has(led.line.0));
        // In the middle of the field no line may reach outside: no label, rather than one that another zone seems to own.
        assert!(
            placer
                .led(
                    &square(148.0, 148.0, 4.0),
                    (30.0, 12.0),
                    &square(-400.0, -400.0, 1200.0)
                )
                .is_none()
        );
    }

    #[test]
    fn labels_never_overlap_nor_hide_marks() {
        let mut placer = placer();
        let shape = square(50.0, 50.0, 60.0);
        let mark = Patch::around((80.0, 80.0), (15.0, 15.0));
        placer.take(mark);
        let mut boxes = vec![mark];
        while let Some(at) = placer.inside(&shape, (20.0, 10.0), &[]) {
            let patch = Patch::around(at, (20.0, 10.0));
            assert!(boxes.iter().all(|other| !other.meets(&patch)));
            boxes.push(patch);
        }
        assert!(boxes.len() > 3);
    }

    #[test]
    fn a_hole_is_no_room() {
        let mut both = rings(0.0, 0.0, 100.0);
        both.extend(rings(20.0, 20.0, 60.0));
        let shape = Outline::of(&both);
        assert!(!shape.has((50.0, 50.0)) && shape.has((10.0, 50.0)));
        assert!(!shape.holds(&Patch::around((10.0, 50.0), (30.0, 10.0))));
    }

    #[test]
    fn places_and_distances_are_those_of_all_edges() {
        let ring: Vec<(f64, f64)> = (0..60)
            .map(|k| {
                let angle = f64::from(k) / 60.0 * std::f64::consts::TAU;
                let reach = 60.0 + 25.0 * libm::sin(7.0 * angle);
                (
                    100.0 + reach * libm::cos(angle),
                    90.0 + reach * libm::sin(angle),
                )
            })
            .collect();
        let mut both = vec![ring];
        both.extend(rings(90.0, 80.0, 15.0));
        few_and_many(&both, 64);
        // Enough edges for a search.
        let small = (0..60).map(|k| rings(f64::from(k % 10) * 9.0, f64::from(k / 10) * 8.0, 4.0));
        both.extend(small.flatten());
        few_and_many(&both, 304);
        let more = (0..60).map(|k| rings(f64::from(k % 10) * 9.0, 60.0 + f64::from(k / 10), 0.5));
        both.extend(more.flatten());
        few_and_many(&both, 544);
    }

    fn few_and_many(rings: &Rings, count: usize) {
        // As of an outline of few rings: none is a speck.
        let shape = Outline::of(rings);
        let edges: Vec<Edge> = shape.edges.iter().copied().collect();
        let nearest = |p: (f64, f64)| {
            let all = edges.iter().map(|edge| square_distance(p, edge.a, edge.b));
            all.fold(f64::INFINITY, f64::min)
        };
        assert!(
            edges.len() == count || rings.len() > MANY_RINGS,
            "{}",
            edges.len()
        );
        for k in 0..400 {
            let p = (f64::from(k % 20) * 9.7, f64::from(k / 20) * 9.3);
            let odd = edges.iter().filter(|Edge { a, b, .. }| {
                (a.1 > p.1) != (b.1 > p.1) && p.0 < a.0 + (b.0 - a.0) * (p.1 - a.1) / (b.1 - a.1)
            });
            assert_eq!(shape.has(p), odd.count() % 2 == 1, "{p:?}");
            let found = shape.square_distance(p, f64::INFINITY);
            assert_eq!(found.to_bits(), nearest(p).to_bits());
        }
        assert!(shape.candidates().len() > 50);
        for (p, clear) in shape.candidates() {
            assert_eq!(clear.to_bits(), nearest(*p).to_bits(), "{p:?}");
        }
    }
}
