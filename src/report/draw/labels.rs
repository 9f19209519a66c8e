//! Where labels stand: inside their shape where they fit, else outside the field with a line that leads there; never over one another.

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

fn edges(rings: &Rings) -> impl Iterator<Item = ((f64, f64), (f64, f64))> + '_ {
    rings.iter().flat_map(|ring| {
        let next = ring.iter().skip(1).chain(ring.first());
        ring.iter().copied().zip(next.copied())
    })
}

/// Whether a point lies inside rings, by the even-odd rule.
fn is_inside(rings: &Rings, p: (f64, f64)) -> bool {
    crossings(edges(rings), p.1).filter(|x| p.0 < *x).count() % 2 == 1
}

/// Where edges cross a row of the paper.
fn crossings(
    edges: impl Iterator<Item = ((f64, f64), (f64, f64))>,
    row: f64,
) -> impl Iterator<Item = f64> {
    edges
        .filter(move |(a, b)| (a.1 > row) != (b.1 > row))
        .map(move |(a, b)| a.0 + (b.0 - a.0) * (row - a.1) / (b.1 - a.1))
}

/// Whether a box lies wholly inside rings.
pub(crate) fn is_box_inside(rings: &Rings, patch: &Patch) -> bool {
    let middle = (
        f64::midpoint(patch.left, patch.right),
        f64::midpoint(patch.top, patch.bottom),
    );
    is_inside(rings, middle) && !edges(rings).any(|(a, b)| patch.is_crossed(a, b))
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

    /// Places that are tried inside a shape, the farthest from its edges first, each with the square of that distance.
    fn candidates(rings: &Rings) -> Vec<((f64, f64), f64)> {
        let Some(around) = bounds(rings) else {
            return Vec::new();
        };
        let (w, h) = (around.right - around.left, around.bottom - around.top);
        let step = (w.max(h) / TRIED as f64).max(1.5);
        let (cols, rows) = ((w / step) as usize + 1, (h / step) as usize + 1);
        let mut found = Vec::new();
        let edges: Vec<_> = edges(rings).collect();
        for row in 0..rows {
            let y = around.top + (row as f64 + 0.5) * h / rows as f64;
            let crossed: Vec<f64> = crossings(edges.iter().copied(), y).collect();
            for col in 0..cols {
                let p = (around.left + (col as f64 + 0.5) * w / cols as f64, y);
                if crossed.iter().filter(|x| p.0 < **x).count() % 2 == 1 {
                    let clear = edges
                        .iter()
                        .map(|(a, b)| square_distance(p, *a, *b))
                        .fold(f64::INFINITY, f64::min);
                    found.push((p, clear));
                }
            }
        }
        found.sort_by(|a, b| b.1.total_cmp(&a.1));
        found
    }

    /// The middle of a label of this size inside a shape, as far from its edges as can be and clear of the lines in `avoid`; takes the paper.
    pub(crate) fn inside(
        &mut self,
        rings: &Rings,
        size: (f64, f64),
        avoid: &Rings,
    ) -> Option<(f64, f64)> {
        let around = bounds(rings)?;
        if around.right - around.left < size.0 || around.bottom - around.top < size.1 {
            return None;
        }
        // A box reaches at least half its smaller side away from its middle; the places come by their distance from the edges.
        let least = size.0.min(size.1) / 2.0;
        let at = Self::candidates(rings)
            .into_iter()
            .take_while(|(_, clear)| *clear >= 0.999 * least * least)
            .map(|(p, _)| p)
            .find(|p| {
                let patch = Patch::around(*p, size);
                self.is_free(&patch)
                    && is_box_inside(rings, &patch)
                    && !edges(avoid).any(|(a, b)| patch.is_crossed(a, b))
            })?;
        self.take(Patch::around(at, size));
        Some(at)
    }

    /// The middle of a label of this size right beside a shape, clear of its edges; takes the paper. For names that nobody takes for a rate of the ground below.
    pub(crate) fn beside(&mut self, rings: &Rings, size: (f64, f64)) -> Option<(f64, f64)> {
        const DIRECTIONS: usize = 16;
        let corners: Vec<(f64, f64)> = rings.iter().flatten().copied().collect();
        let at = (4..=9)
            .map(|k| f64::from(k) * 3.5)
            .flat_map(|far| corners.iter().map(move |corner| (far, *corner)))
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
                self.is_free(&patch)
                    && !is_inside(rings, *at)
                    && !edges(rings).any(|(a, b)| patch.is_crossed(a, b))
            })?;
        self.take(Patch::around(at, size));
        Some(at)
    }

    /// A label of this size outside `field`, with a line from the shape; takes the paper of both. `None` where the line would be long or cross another.
    pub(crate) fn led(&mut self, rings: &Rings, size: (f64, f64), field: &Rings) -> Option<Led> {
        const DIRECTIONS: usize = 24;
        let from = Self::candidates(rings).first()?.0;
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
                    && !is_inside(field, at)
                    && !edges(field).any(|(a, b)| patch.is_crossed(a, b))
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

    fn square(left: f64, top: f64, side: f64) -> Rings {
        vec![vec![
            (left, top),
            (left + side, top),
            (left + side, top + side),
            (left, top + side),
        ]]
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
        let at = placer.inside(&roomy, (30.0, 12.0), &Rings::new()).unwrap();
        assert!(is_box_inside(&roomy, &Patch::around(at, (30.0, 12.0))));
        // Too small for it: led out of the field.
        let small = square(230.0, 100.0, 12.0);
        assert!(placer.inside(&small, (30.0, 12.0), &Rings::new()).is_none());
        let led = placer.led(&small, (30.0, 12.0), &field).unwrap();
        assert!(!is_inside(&field, led.at) && is_inside(&small, led.line.0));
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
        while let Some(at) = placer.inside(&shape, (20.0, 10.0), &Rings::new()) {
            let patch = Patch::around(at, (20.0, 10.0));
            assert!(boxes.iter().all(|other| !other.meets(&patch)));
            boxes.push(patch);
        }
        assert!(boxes.len() > 3);
    }

    #[test]
    fn a_hole_is_no_room() {
        let mut ring = square(0.0, 0.0, 100.0);
        ring.extend(square(20.0, 20.0, 60.0));
        assert!(!is_inside(&ring, (50.0, 50.0)) && is_inside(&ring, (10.0, 50.0)));
        assert!(!is_box_inside(
            &ring,
            &Patch::around((10.0, 50.0), (30.0, 10.0))
        ));
    }
}
