//! Which readings count: in the field, at a sound speed, like their neighbours, and not many times at one place.

use geo::{Contains, MultiPolygon, Point};

use super::layer::Reading;
use crate::job::settings::points::Points;
use crate::pipeline::ground::Ground;
use crate::science::points::{Neighbours, Sample, outliers};
use crate::science::reference::median;
use crate::space::polygon::rings_of;

/// What was dropped, by reason.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dropped {
    /// Outside the field.
    pub outside: usize,
    /// Slower or faster than the job allows.
    pub speed: usize,
    /// Without a speed, although the job limits it.
    pub no_speed: usize,
    /// Unlike their neighbours.
    pub outliers: usize,
    /// Joined with the one before.
    pub joined: usize,
}

/// A reading that counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Kept {
    /// Place and index.
    pub(super) sample: Sample,
    /// 0 for open field, else the number of the strip that it lies in.
    pub(super) class: usize,
    /// Whether it shows bare ground.
    pub(super) bare: bool,
    pass: u32,
}

/// Readings that count, on the working plane.
#[derive(Clone, Debug)]
pub(super) struct Cleaned {
    /// In the order in which they were taken.
    pub(super) kept: Vec<Kept>,
    /// What was dropped.
    pub(super) dropped: Dropped,
    /// How many would have been outliers, when that were too many to be any.
    pub(super) too_many_outliers: Option<usize>,
    /// Median distance to the nearest other reading. \[m\]
    pub(super) spacing: f64,
}

/// A polygon with its box, for many questions.
struct Area<'a> {
    polygon: &'a MultiPolygon<f64>,
    low: [f64; 2],
    high: [f64; 2],
}

impl<'a> Area<'a> {
    fn of(polygon: &'a MultiPolygon<f64>) -> Self {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in rings_of(polygon).iter().flatten() {
            low = [low[0].min(p[0]), low[1].min(p[1])];
            high = [high[0].max(p[0]), high[1].max(p[1])];
        }
        Self { polygon, low, high }
    }
    fn holds(&self, x: f64, y: f64) -> bool {
        x >= self.low[0]
            && x <= self.high[0]
            && y >= self.low[1]
            && y <= self.high[1]
            && self.polygon.contains(&Point::new(x, y))
    }
}

/// Readings inside an area, as positions.
pub(super) fn inside(kept: &[Kept], area: &MultiPolygon<f64>) -> Vec<usize> {
    let area = Area::of(area);
    (0..kept.len())
        .filter(|at| area.holds(kept[*at].sample.x, kept[*at].sample.y))
        .collect()
}

/// Cleans readings whose places are on the working plane.
pub(super) fn clean(
    readings: &[Reading],
    settings: &Points,
    ground: &Ground,
    bare_below: Option<f64>,
) -> Cleaned {
    let mut dropped = Dropped::default();
    let field = Area::of(&ground.field);
    let strips: Vec<Area<'_>> = ground.strips.iter().map(Area::of).collect();
    let limited = settings.minimum_speed.is_some() || settings.maximum_speed.is_some();
    let mut kept = Vec::new();
    for reading in readings {
        if !field.holds(reading.x, reading.y) {
            dropped.outside += 1;
            continue;
        }
        if limited {
            let Some(speed) = reading.speed else {
                dropped.no_speed += 1;
                continue;
            };
            if settings
                .minimum_speed
                .is_some_and(|minimum| speed < minimum.get())
                || settings
                    .maximum_speed
                    .is_some_and(|maximum| speed > maximum.get())
            {
                dropped.speed += 1;
                continue;
            }
        }
        let class = strips
            .iter()
            .position(|strip| strip.holds(reading.x, reading.y))
            .map_or(0, |strip| strip + 1);
        let bare = reading.index <= 0.0
            || bare_below
                .is_some_and(|limit| reading.index < limit - crate::pipeline::scan::TIE_TOLERANCE);
        kept.push(Kept {
            sample: Sample {
                x: reading.x,
                y: reading.y,
                value: reading.index,
            },
            class,
            bare,
            pass: reading.pass,
        });
    }
    let samples: Vec<Sample> = kept.iter().map(|kept| kept.sample).collect();
    let classes: Vec<usize> = kept.iter().map(|kept| kept.class).collect();
    let found = outliers(&samples, &classes, settings.outliers);
    let mut gone = found.dropped.iter();
    kept.retain(|_| !gone.next().copied().unwrap_or(false));
    dropped.outliers = samples.len() - kept.len();
    let before = kept.len();
    let kept = joined(&kept, settings.join.get());
    dropped.joined = before - kept.len();
    let spacing = spacing(&kept);
    Cleaned {
        kept,
        dropped,
        too_many_outliers: found.too_many,
        spacing,
    }
}

/// Joins readings of one pass, ground and kind that follow each other within a distance of the first of them, to their mean place and mean index.
///
/// A machine that stands logs on, and a hand takes ten readings at a stop; neither shall count ten times, and none of them is thrown away.
fn joined(kept: &[Kept], within: f64) -> Vec<Kept> {
    let mut out: Vec<Kept> = Vec::new();
    let mut group: Vec<Kept> = Vec::new();
    let mut close = |group: &mut Vec<Kept>| {
        if let Some(first) = group.first().copied() {
            let n = group.len() as f64;
            let (x0, y0) = (first.sample.x, first.sample.y);
            let mean = |of: &dyn Fn(&Sample) -> f64| {
                group.iter().map(|kept| of(&kept.sample)).sum::<f64>() / n
            };
            // Differences from the first place: an easting has seven digits before the point.
            let sample = Sample {
                x: x0 + mean(&|s| s.x - x0),
                y: y0 + mean(&|s| s.y - y0),
                value: mean(&|s| s.value),
            };
            out.push(Kept { sample, ..first });
        }
        group.clear();
    };
    for one in kept {
        let same = group.first().is_some_and(|first| {
            first.pass == one.pass
                && first.class == one.class
                && first.bare == one.bare
                && first.sample.distance(one.sample.x, one.sample.y) < within
        });
        if !same {
            close(&mut group);
        }
        group.push(*one);
    }
    close(&mut group);
    out
}

/// Median distance to the nearest other reading; 0 without two.
fn spacing(kept: &[Kept]) -> f64 {
    let samples: Vec<Sample> = kept.iter().map(|kept| kept.sample).collect();
    let tree = Neighbours::of(&samples, |_| true);
    // Some thousand of them tell the median.
    let step = kept.len().div_ceil(4000).max(1);
    let nearest = |at: usize| {
        let s = samples[at];
        tree.nearest(s.x, s.y, 1, f64::INFINITY, Some(at))
            .first()
            .map(|other| s.distance(samples[*other].x, samples[*other].y))
    };
    median(
        &(0..samples.len())
            .step_by(step)
            .filter_map(nearest)
            .collect::<Vec<_>>(),
    )
    .unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(x: f64, value: f64, class: usize, bare: bool, pass: u32) -> Kept {
        Kept {
            sample: Sample { x, y: 0.0, value },
            class,
            bare,
            pass,
        }
    }

    #[test]
    fn a_standing_machine_counts_once_and_nothing_else_is_mixed() {
        let log = [
            kept(0.0, 0.5, 0, false, 0),
            kept(0.2, 0.6, 0, false, 0),
            kept(0.4, 0.7, 0, false, 0),
            kept(3.0, 0.5, 0, false, 0),
        ];
        let out = joined(&log, 1.0);
        assert_eq!(out.len(), 2);
        assert!((out[0].sample.value - 0.6).abs() < 1e-12 && (out[0].sample.x - 0.2).abs() < 1e-12);
        assert_eq!(joined(&log, 0.0).len(), 4);
        // Another pass, another ground, bare and green: never joined.
        let log = [
            kept(0.0, 0.5, 0, false, 0),
            kept(0.2, 0.6, 0, false, 1),
            kept(0.4, 0.7, 1, false, 1),
            kept(0.5, 0.1, 1, true, 1),
        ];
        assert_eq!(joined(&log, 1.0).len(), 4);
    }

    #[test]
    fn spacing_is_that_of_the_track() {
        let log: Vec<Kept> = (0..50)
            .map(|k| kept(2.5 * f64::from(k), 0.5, 0, false, 0))
            .collect();
        assert!((spacing(&log) - 2.5).abs() < 1e-12);
        assert_eq!(spacing(&log[..1]), 0.0);
    }
}
