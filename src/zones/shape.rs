//! Borders as they are drawn: simplified, rounded, and with each zone's area kept within a bound.
//!
//! A zone whose area would change by more than the bound keeps its borders as they were traced; then the others are drawn again, since what they gave to it or took from it
//! is theirs again. This ends after as many rounds as there are zones, and as a rule after two; zones that are still beyond after the last round that is tried are counted, not hidden.

use crate::zones::simplify::round::{Rounded, round_corners};
use crate::zones::simplify::{Simplified, simplify};
use geo::{Area, Coord, LineString, MultiPolygon};

/// So often the others are drawn again.
const ROUNDS: usize = 6;

/// How borders are drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShapeRule {
    /// How far simplification may move a border; 0 keeps every vertex. \[m\]
    pub simplify: f64,
    /// How far from a corner a border may be cut off to round it; 0 cuts none. \[m\]
    pub round: f64,
    /// By which share a zone's area may change. \[–\]
    pub area_within: f64,
}

/// Outlines as drawn, and what that did.
#[derive(Clone, Debug)]
pub struct Shaped {
    /// Outlines, label by label.
    pub outlines: Vec<MultiPolygon<f64>>,
    /// Simplification.
    pub simplified: Simplified,
    /// Rounding.
    pub rounded: Rounded,
    /// Zones that keep their borders so that their area stays within the bound.
    pub held: usize,
    /// Zones that are beyond the bound all the same.
    pub beyond: usize,
    /// The greatest change of a zone's area, as a share of it. \[–\]
    pub maximum_change: f64,
}

/// An edge by the bits of its ends, the lesser first.
type Key = [u64; 4];

fn key(a: Coord<f64>, b: Coord<f64>) -> Key {
    // Adding zero folds the two zeros into one.
    let bits = |p: Coord<f64>| [(p.x + 0.0).to_bits(), (p.y + 0.0).to_bits()];
    let (a, b) = (bits(a), bits(b));
    let (low, high) = (a.min(b), a.max(b));
    [low[0], low[1], high[0], high[1]]
}

/// Draws traced outlines, which share their vertices bit for bit, by a rule.
pub fn shape(traced: Vec<MultiPolygon<f64>>, rule: &ShapeRule) -> Shaped {
    let moves = |length: f64| length.is_finite() && length > 0.0;
    let areas: Vec<f64> = traced.iter().map(Area::unsigned_area).collect();
    let mut shaped = Shaped {
        outlines: Vec::new(),
        simplified: Simplified::default(),
        rounded: Rounded::default(),
        held: 0,
        beyond: 0,
        maximum_change: 0.0,
    };
    if !moves(rule.simplify) && !moves(rule.round) {
        shaped.outlines = traced;
        return shaped;
    }
    let mut held = vec![false; traced.len()];
    for round in 0..=ROUNDS {
        let edges = edges_of(&traced, &held);
        let keep = |a: Coord<f64>, b: Coord<f64>| {
            !edges.is_empty() && edges.binary_search(&key(a, b)).is_ok()
        };
        let mut drawn = traced.clone();
        shaped.simplified = simplify(&mut drawn, rule.simplify, keep);
        shaped.rounded = round_corners(&mut drawn, rule.round, keep);
        let changes = drawn.iter().zip(&areas).map(|(outline, &area)| {
            if area > 0.0 {
                (outline.unsigned_area() - area).abs() / area
            } else {
                0.0
            }
        });
        let changes: Vec<f64> = changes.collect();
        shaped.beyond = changes
            .iter()
            .filter(|&&change| change > rule.area_within)
            .count();
        shaped.maximum_change = changes.iter().copied().fold(0.0, f64::max);
        shaped.held = held.iter().filter(|&&held| held).count();
        if shaped.beyond == 0 || round == ROUNDS {
            shaped.outlines = drawn;
            break;
        }
        for (held, change) in held.iter_mut().zip(changes) {
            *held |= change > rule.area_within;
        }
    }
    shaped
}

/// The edges of those outlines, sorted.
fn edges_of(outlines: &[MultiPolygon<f64>], of: &[bool]) -> Vec<Key> {
    let rings = |outline: &MultiPolygon<f64>| -> Vec<LineString<f64>> {
        outline
            .iter()
            .flat_map(|polygon| std::iter::once(polygon.exterior()).chain(polygon.interiors()))
            .cloned()
            .collect()
    };
    let chosen = outlines
        .iter()
        .zip(of)
        .filter(|(_, of)| **of)
        .map(|(outline, _)| outline);
    let mut edges: Vec<Key> = chosen
        .flat_map(rings)
        .flat_map(|ring| {
            ring.lines()
                .map(|line| key(line.start, line.end))
                .collect::<Vec<_>>()
        })
        .collect();
    edges.sort_unstable();
    edges.dedup();
    edges
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::cells::{CellFrame, CellGrid};
    use crate::zones::laws::cell;
    use crate::zones::outline::outlines;
    use approx::assert_relative_eq;
    use geo::Validation;

    /// Outlines of letters in rows, in cells of 10 m.
    fn drawn(rows: &[&str], labels: u32) -> Vec<MultiPolygon<f64>> {
        let frame = CellFrame::new(90.0, 10.0, 10.0);
        let (mut cells, mut label_of) = (Vec::new(), Vec::new());
        for (r, row) in (0..).zip(rows) {
            for (c, letter) in (0..).zip(row.bytes()) {
                cells.push(cell(&frame, r, c, 0));
                label_of.push(u32::from(letter - b'a' + 1));
            }
        }
        outlines(&CellGrid::new(frame, cells), &label_of, labels)
    }

    const NONE: ShapeRule = ShapeRule {
        simplify: 0.0,
        round: 0.0,
        area_within: 0.05,
    };

    #[test]
    fn nothing_asked_nothing_moved() {
        let traced = drawn(&["aab", "abb", "abb"], 2);
        assert_eq!(shape(traced.clone(), &NONE).outlines, traced);
        assert_eq!(
            shape(
                traced.clone(),
                &ShapeRule {
                    simplify: f64::NAN,
                    round: -1.0,
                    ..NONE
                }
            )
            .outlines,
            traced
        );
    }

    #[test]
    fn one_corner_is_cut_for_both_sides() {
        // One corner with edges of 20 m between two zones: cut at 2.5 m, less 2.5² / 2 = 3.125 m² for a; the later rounds cut the two new corners of 135°.
        let traced = drawn(&["aab", "aab", "bbb"], 2);
        let done = shape(
            traced.clone(),
            &ShapeRule {
                round: 2.5,
                area_within: 1.0,
                ..NONE
            },
        );
        let (before, after) = (traced[0].unsigned_area(), done.outlines[0].unsigned_area());
        assert_eq!(before, 400.0);
        // First cut: a triangle of legs 2.5. Second: two corners of 135°, with cuts of 2.5 and of a quarter of 2.5 √2.
        let second =
            2.0 * (0.5 * 2.5 * (2.5 * 2.0_f64.sqrt() / 4.0) * std::f64::consts::FRAC_1_SQRT_2);
        assert!(
            after < before - 3.125 - second && after > before - 3.125 - 1.6 * second,
            "{after} {second}"
        );
        assert_relative_eq!(
            done.outlines[1].unsigned_area() + after,
            900.0,
            max_relative = 1e-12
        );
        assert!(done.outlines.iter().all(Validation::is_valid) && done.rounded.kept == 0);
    }

    #[test]
    fn islands_become_round_and_ends_stay() {
        let traced = drawn(&["aaaaa", "abbba", "abbba", "abbba", "aaaaa"], 2);
        let done = shape(
            traced,
            &ShapeRule {
                round: 10.0,
                area_within: 1.0,
                ..NONE
            },
        );
        // Four corners, twice as many in every round.
        assert_eq!(
            done.rounded,
            Rounded {
                cut: 4 + 8 + 16,
                kept: 0
            }
        );
        assert_eq!(done.outlines[1].0[0].exterior().0.len(), 33);
        assert_eq!(done.outlines[0].0[0].interiors()[0].0.len(), 33);
        assert_relative_eq!(
            done.outlines.iter().map(Area::unsigned_area).sum::<f64>(),
            2500.0,
            max_relative = 1e-12
        );
    }

    #[test]
    fn a_zone_that_would_lose_too_much_keeps_its_borders() {
        // The single cell b would lose 4 × 2.5² / 2 and more of its 100 m²: beyond 5 %. The large bay does not.
        let rows = [
            "aaaaaaaaaa",
            "aaaaaaabaa",
            "aaaaaaaaaa",
            "cccccaaaaa",
            "cccccaaaaa",
            "cccccaaaaa",
            "cccccaaaaa",
        ];
        let traced = drawn(&rows, 3);
        let done = shape(traced.clone(), &ShapeRule { round: 2.5, ..NONE });
        assert_eq!((done.held, done.beyond), (1, 0));
        assert_eq!(done.outlines[1], traced[1]);
        assert_ne!(done.outlines[2], traced[2]);
        assert!(done.maximum_change > 0.0 && done.maximum_change <= 0.05);
        let free = shape(
            traced,
            &ShapeRule {
                round: 2.5,
                area_within: 1.0,
                ..NONE
            },
        );
        assert!(free.outlines[1].unsigned_area() < 88.0 && free.held == 0);
    }
}
