//! A made ground with known truth: canopy that differs by soil at a stated correlation length, a lack of nitrogen of its own, strips that lack none, and a
//! camera that sees all of it in pixels. Shares no code with the method that it tries.

pub(crate) mod run;

/// Canopy index of the crop with nitrogen, on the mean.
const CANOPY: f64 = 0.68;
/// Distance of nodes of the ground. \[m\]
const NODE: f64 = 2.5;
/// Share of the soil's variance that lies at a quarter of the correlation length.
const SHORT: f64 = 0.2;
/// Correlation length of the lack of nitrogen. \[m\]
const DEFICIT_LENGTH: f64 = 60.0;
/// Distance from a strip's end to the headland. \[m\]
const END: f64 = 30.0;

/// What is made.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Plan {
    /// Along the drilling direction and across. \[m\]
    pub(crate) size: (f64, f64),
    /// \[m\]
    pub(crate) pixel: f64,
    /// How many strips, their length and width. \[m\]
    pub(crate) strips: (usize, f64, f64),
    /// Distance at which two places of the soil are alike by 1/e. \[m\]
    pub(crate) correlation: f64,
    /// How much longer along the drilling direction.
    pub(crate) stretch: f64,
    /// Standard deviation of the canopy by soil, as a share.
    pub(crate) soil: f64,
    /// Mean lack of nitrogen and its standard deviation, shares of the canopy.
    pub(crate) deficit: (f64, f64),
}

/// Numbers by chance: xorshift64* (Vigna 2016, ACM Transactions on Mathematical Software 42:30, from memory).
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        let mut chance = Self(seed.wrapping_mul(0x2545_F491_4F6C_DD1D) ^ 0x9E6C_63D0_876A_3F35);
        for _ in 0..16 {
            chance.next();
        }
        chance
    }
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }
    /// Between 0 and 1.
    pub(crate) fn even(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }
    /// Normal, SD 1 (polar form of Box and Muller).
    pub(crate) fn normal(&mut self) -> f64 {
        loop {
            let (x, y) = (2.0 * self.even() - 1.0, 2.0 * self.even() - 1.0);
            let s = x * x + y * y;
            if s > 0.0 && s < 1.0 {
                return x * libm::sqrt(-2.0 * libm::log(s) / s);
            }
        }
    }
}

/// A stationary field of mean 0 and SD 1 on nodes: white noise smoothed by three running means along each axis, which is a Gaussian to the eye.
struct Nodes {
    counts: (usize, usize),
    margin: f64,
    values: Vec<f32>,
}

impl Nodes {
    fn new(size: (f64, f64), correlation: (f64, f64), chance: &mut Chance) -> Self {
        let margin = 4.0 * NODE;
        let count = |extent: f64| ((extent + 2.0 * margin) / NODE) as usize + 2;
        let counts = (count(size.0), count(size.1));
        // A Gaussian of SD σ gives a correlation of exp(−h²/4σ²): 1/e at 2σ. Three running means of w nodes have a variance of (w² − 1)/4.
        let width = |correlation: f64| {
            let sigma = correlation / 2.0 / NODE;
            (libm::sqrt(4.0 * sigma * sigma + 1.0) / 2.0).round() as usize
        };
        let (half_a, half_b) = (width(correlation.0), width(correlation.1));
        // A wide rim, so that sums at the edge are as long as elsewhere.
        let (rim_a, rim_b) = (3 * half_a, 3 * half_b);
        let (rows, cols) = (counts.0 + 2 * rim_a, counts.1 + 2 * rim_b);
        let mut values: Vec<f64> = (0..rows * cols).map(|_| chance.normal()).collect();
        let mut line = Vec::new();
        for _ in 0..3 {
            for row in values.chunks_mut(cols) {
                running(row.iter_mut(), half_b, &mut line);
            }
            for col in 0..cols {
                running(values[col..].iter_mut().step_by(cols), half_a, &mut line);
            }
        }
        let mut kept: Vec<f64> = Vec::with_capacity(counts.0 * counts.1);
        for row in rim_a..rim_a + counts.0 {
            kept.extend(&values[row * cols + rim_b..row * cols + rim_b + counts.1]);
        }
        let scale = 1.0 / smoothed_sd(half_a, half_b);
        Self {
            counts,
            margin,
            values: kept
                .into_iter()
                .map(|value| (value * scale) as f32)
                .collect(),
        }
    }
    /// On the line between nodes.
    fn at(&self, along: f64, across: f64) -> f64 {
        let place = |x: f64, count: usize| {
            let at = ((x + self.margin) / NODE).clamp(0.0, (count - 2) as f64);
            (at as usize, at - libm::floor(at))
        };
        let (a, s) = place(along, self.counts.0);
        let (b, t) = place(across, self.counts.1);
        let value = |a: usize, b: usize| f64::from(self.values[a * self.counts.1 + b]);
        (1.0 - s) * ((1.0 - t) * value(a, b) + t * value(a, b + 1))
            + s * ((1.0 - t) * value(a + 1, b) + t * value(a + 1, b + 1))
    }
}

/// Replaces each value by the mean of the `2 · half + 1` around it; beyond the ends, of those there are.
fn running<'a>(values: impl Iterator<Item = &'a mut f64>, half: usize, line: &mut Vec<f64>) {
    line.clear();
    line.push(0.0);
    let kept: Vec<&mut f64> = values.collect();
    for value in &kept {
        let last = line[line.len() - 1];
        line.push(last + **value);
    }
    let n = kept.len();
    for (k, value) in kept.into_iter().enumerate() {
        let (low, high) = (k.saturating_sub(half), (k + half + 1).min(n));
        *value = (line[high] - line[low]) / (high - low) as f64;
    }
}

/// Standard deviation that smoothing leaves of white noise of SD 1.
fn smoothed_sd(half_a: usize, half_b: usize) -> f64 {
    let one = |half: usize| {
        let width = 2 * half + 1;
        let mut kernel = vec![1.0];
        for _ in 0..3 {
            let mut next = vec![0.0; kernel.len() + width - 1];
            for (k, weight) in kernel.iter().enumerate() {
                for value in &mut next[k..k + width] {
                    *value += weight / width as f64;
                }
            }
            kernel = next;
        }
        kernel.iter().map(|weight| weight * weight).sum::<f64>()
    };
    libm::sqrt(one(half_a) * one(half_b))
}

/// A strip: along from, to, across from, to. \[m\]
pub(crate) type Strip = [f64; 4];

/// A made ground.
pub(crate) struct Ground {
    pub(crate) plan: Plan,
    pub(crate) strips: Vec<Strip>,
    /// Azimuth of the drilling direction on the plane. \[°\]
    pub(crate) heading: f64,
    long: Nodes,
    short: Nodes,
    lack: Nodes,
    chance: Chance,
}

impl Ground {
    pub(crate) fn new(plan: Plan, seed: u64) -> Self {
        let mut chance = Chance::new(seed);
        let nodes = |length: f64, stretch: f64, chance: &mut Chance| {
            Nodes::new(plan.size, (length * stretch, length), chance)
        };
        let long = nodes(plan.correlation, plan.stretch, &mut chance);
        let short = nodes(0.25 * plan.correlation, plan.stretch, &mut chance);
        let lack = nodes(DEFICIT_LENGTH, 1.0, &mut chance);
        let (count, length, width) = plan.strips;
        // Each strip somewhere in its own share of the field, room for its swaths left on either side.
        let share = plan.size.1 / count as f64;
        let room = width + 10.0;
        let strips = (0..count)
            .map(|k| {
                let across =
                    share * k as f64 + room + chance.even() * (share - 2.0 * room - width).max(0.0);
                let along = END + chance.even() * (plan.size.0 - 2.0 * END - length).max(0.0);
                [along, along + length, across, across + width]
            })
            .collect();
        let heading = 180.0 * chance.even();
        Self {
            plan,
            strips,
            heading,
            long,
            short,
            lack,
            chance,
        }
    }
    /// Canopy of a place with nitrogen ample, and as it is outside strips.
    pub(crate) fn truth(&self, along: f64, across: f64) -> (f64, f64) {
        let soil = libm::sqrt(1.0 - SHORT) * self.long.at(along, across)
            + libm::sqrt(SHORT) * self.short.at(along, across);
        let ample = CANOPY * (1.0 + self.plan.soil * soil);
        let (mean, sd) = self.plan.deficit;
        let lack = (mean + sd * self.lack.at(along, across)).clamp(0.0, 0.9);
        (ample, ample * (1.0 - lack))
    }
    /// What the ground shows at a place: strips lack nothing.
    pub(crate) fn shown(&self, along: f64, across: f64) -> f64 {
        let (ample, is) = self.truth(along, across);
        let inside = |s: &Strip| along >= s[0] && along < s[1] && across >= s[2] && across < s[3];
        if self.strips.iter().any(inside) {
            ample
        } else {
            is
        }
    }
    /// Noise of a pixel, less in larger ones.
    pub(crate) fn noise(&mut self) -> f64 {
        0.012 / libm::sqrt(self.plan.pixel) * self.chance.normal()
    }
    /// A number between 0 and 1, and a normal one, for what the truth is not sure of.
    pub(crate) fn fate(&mut self) -> (f64, f64) {
        (self.chance.even(), self.chance.normal())
    }
    /// Mean of canopy with nitrogen over the mean of canopy as it is, where the strips lie: their true response index.
    pub(crate) fn true_ratio(&self) -> f64 {
        let (mut with, mut without) = (0.0, 0.0);
        for [a0, a1, b0, b1] in &self.strips {
            let (steps_a, steps_b) = (((a1 - a0) / 3.0) as usize, ((b1 - b0) / 3.0) as usize);
            for a in 0..steps_a {
                for b in 0..steps_b {
                    let (ample, is) =
                        self.truth(a0 + 3.0 * a as f64 + 1.5, b0 + 3.0 * b as f64 + 1.5);
                    with += ample;
                    without += is;
                }
            }
        }
        with / without
    }
}
