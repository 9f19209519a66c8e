//! Readings into the segments of strips and comparison swaths.

use super::clean::{Kept, inside};
use crate::pipeline::scan::{Found, Probe, Tally};
use crate::space::fixed::Fixed;

/// What each probe finds among the readings: a reading counts whole, by its place.
pub(super) fn found(probes: &[Probe], kept: &[Kept]) -> Vec<Found> {
    let one = |probe: &Probe| match probe {
        Probe::Segments {
            area,
            along,
            segments,
            blocks,
        } => {
            let mut tallies = vec![Tally::default(); segments * blocks];
            for at in inside(kept, area) {
                let Kept { sample, bare, .. } = kept[at];
                let t = along.along_across(sample.x, sample.y).0 / along.length;
                let step = |n: usize| ((t * n as f64).max(0.0) as usize).min(n - 1);
                let tally = &mut tallies[step(*segments) * blocks + step(*blocks)];
                if bare {
                    tally.bare += 1;
                } else {
                    tally.weight.add(Fixed::whole(1));
                    tally.weighted.add(Fixed::of(sample.value));
                    tally.squares.add(Fixed::of(sample.value * sample.value));
                    tally.pixels += 1;
                }
            }
            Found::Segments(tallies)
        }
        Probe::Pixels { .. } | Probe::Squares { .. } => Found::Pixels(Vec::new()),
    };
    probes.iter().map(one).collect()
}
