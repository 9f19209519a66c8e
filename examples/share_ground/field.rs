//! A made field: what its canopy would be with nitrogen, what it is, and what a camera sees of it.

use super::random::{Nodes, Patches, Random, Waves};

/// Canopy index of the crop with nitrogen, on the mean.
const CANOPY: f64 = 0.68;
/// What a wheel leaves of the canopy, and the ground that wheels take: two of 0.5 m every 24 m.
const WHEEL: (f64, f64) = (0.6, 0.5);
/// Distance of tramlines, the working width. \[m\]
pub(crate) const TRAMLINE: f64 = 24.0;
/// Distance between the wheels of a pass. \[m\]
const TRACK: f64 = 1.8;
/// Width of the drill and what its rows do to the canopy.
const DRILL: (f64, f64) = (3.0, 0.012);
/// Nodes of the ground. \[m\]
const NODE: f64 = 4.0;

/// How lack of nitrogen lies to the soil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Lies {
    /// It knows nothing of it.
    Free,
    /// Poor ground lacks nitrogen.
    WithSoil,
    /// Rich ground lacks nitrogen: it feeds a thick crop.
    AgainstSoil,
    /// It rises across the field from one side to the other, so that no strip crosses it.
    Gradient,
    /// Nitrogen is ample everywhere, and one half of the field is dry.
    DryHalf,
}

/// What is made.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Plan {
    /// Along and across. \[m\]
    pub(crate) size: (f64, f64),
    /// Pixel. \[m\]
    pub(crate) pixel: f64,
    /// Strips and their length. \[m\]
    pub(crate) strips: (usize, f64),
    /// Standard deviation of the canopy by soil, as a share.
    pub(crate) soil: f64,
    /// Mean deficit and its standard deviation, shares of the canopy.
    pub(crate) deficit: (f64, f64),
    /// How they lie to each other.
    pub(crate) lies: Lies,
    /// Share of soil zones with sharp borders in the soil's variance.
    pub(crate) sharp: f64,
    /// How much longer along the drilling direction.
    pub(crate) stretch: f64,
    /// Range of soil and deficit. \[m\]
    pub(crate) range: f64,
}

impl Plan {
    /// A plain one: 3 m pixels, a strip of 200 m, nitrogen of its own.
    pub(crate) const PLAIN: Self = Self {
        size: (480.0, 312.0),
        pixel: 3.0,
        strips: (1, 200.0),
        soil: 0.05,
        deficit: (0.12, 0.044),
        lies: Lies::Free,
        sharp: 0.3,
        stretch: 1.6,
        range: 30.0,
    };
}

/// A strip in the field: along from, to, across from, to. \[m\]
pub(crate) type Strip = [f64; 4];

/// A made field.
pub(crate) struct Made {
    /// What was asked for.
    pub(crate) plan: Plan,
    /// Its strips.
    pub(crate) strips: Vec<Strip>,
    /// Azimuth of the drilling direction on the plane. \[°\]
    pub(crate) heading: f64,
    soil: Nodes,
    lack: Nodes,
    random: Random,
}

impl Made {
    /// The field of a seed.
    pub(crate) fn new(plan: Plan, seed: u64) -> Self {
        let mut random = Random::new(seed);
        let r = &mut random;
        let smooth = Waves::new(plan.range * r.between(0.6, 1.6), plan.stretch, r);
        let patches = Patches::new(9, plan.size, plan.stretch, r);
        let (a, b) = (libm::sqrt(1.0 - plan.sharp), libm::sqrt(plan.sharp));
        let lack = Waves::new(plan.range * r.between(0.6, 1.6), plan.stretch, r);
        let (length, width) = plan.size;
        let soil = Nodes::of(plan.size, NODE, |u, v| match plan.lies {
            Lies::DryHalf => 0.25 * smooth.at(u, v) - if u > length / 2.0 { 2.0 } else { 0.0 },
            _ => a * smooth.at(u, v) + b * patches.at(u, v),
        })
        .standard();
        let lack = Nodes::of(plan.size, NODE, |u, v| match plan.lies {
            Lies::Gradient => v / width + 0.05 * lack.at(u, v),
            _ => lack.at(u, v),
        })
        .standard();
        let (count, long) = plan.strips;
        let passes = (width / TRAMLINE) as usize;
        // Passes that lie apart, neither of them the first or the last.
        let start = 1 + (r.uniform() * 2.0) as usize;
        let strips = (0..count)
            .map(|k| {
                let apart = (passes - 3) as f64 / count as f64;
                // Of many strips none shall be another's neighbour.
                let room = if count > 2 {
                    (apart - 2.2).max(0.0)
                } else {
                    0.9 * apart
                };
                let pass = start + (apart * k as f64 + room * r.uniform()) as usize;
                let from = r.between(12.0, length - long - 12.0);
                let across = pass as f64 * TRAMLINE;
                [from, from + long, across, across + TRAMLINE]
            })
            .collect();
        let heading = r.between(5.0, 85.0);
        Self {
            plan,
            strips,
            heading,
            soil,
            lack,
            random,
        }
    }

    /// Canopy with nitrogen and as it is, without rows and tracks.
    fn ground(&self, along: f64, across: f64) -> (f64, f64) {
        let soil = self.soil.at(along, across);
        let with = CANOPY * (1.0 + self.plan.soil * soil);
        let inside = |strip: &Strip| {
            along >= strip[0] && along < strip[1] && across >= strip[2] && across < strip[3]
        };
        if self.strips.iter().any(inside) {
            return (with, with);
        }
        let (mean, sd) = self.plan.deficit;
        let lack = match self.plan.lies {
            Lies::WithSoil => -0.8 * soil + 0.6 * self.lack.at(along, across),
            Lies::AgainstSoil => 0.8 * soil + 0.6 * self.lack.at(along, across),
            _ => self.lack.at(along, across),
        };
        (with, with * (1.0 - (mean + sd * lack).clamp(0.0, 0.6)))
    }

    /// The same on the mean of ground with its tracks: what a cell truly is.
    pub(crate) fn truth(&self, along: f64, across: f64) -> (f64, f64) {
        let (with, is) = self.ground(along, across);
        let tracks = 1.0 - (1.0 - WHEEL.0) * 2.0 * WHEEL.1 / TRAMLINE;
        (with * tracks, is * tracks)
    }

    /// What a camera sees at a place: rows of the drill, and wheels.
    fn seen(&self, along: f64, across: f64) -> f64 {
        let rows = 1.0 + DRILL.1 * libm::cos(core::f64::consts::TAU * across / DRILL.0);
        let middle = across - TRAMLINE * libm::floor(across / TRAMLINE) - TRAMLINE / 2.0;
        let wheel = (middle.abs() - TRACK / 2.0).abs() < WHEEL.1 / 2.0;
        self.ground(along, across).1 * rows * if wheel { WHEEL.0 } else { 1.0 }
    }

    /// A pixel: the mean of places in it, with the camera's noise. `to_field` turns a place of the plane into along and across.
    pub(crate) fn pixel(
        &mut self,
        west: f64,
        north: f64,
        to_field: &dyn Fn(f64, f64) -> (f64, f64),
    ) -> f64 {
        let size = self.plan.pixel;
        let (parts, noise) = if size < 1.0 {
            (1, 0.02)
        } else if size < 5.0 {
            (4, 0.008)
        } else {
            (7, 0.004)
        };
        let mut sum = 0.0;
        for k in 0..parts * parts {
            let part = |k: i32| size * (f64::from(k) + 0.5) / f64::from(parts);
            let (u, v) = to_field(west + part(k % parts), north - part(k / parts));
            sum += self.seen(u, v);
        }
        sum / f64::from(parts * parts) + noise * self.random.normal()
    }
}
