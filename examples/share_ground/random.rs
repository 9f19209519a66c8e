//! Random numbers and random ground of our own.

/// Numbers by O'Neill's permuted congruential generator, 64 bits to 32 (PCG-XSH-RR; constants from memory).
pub(crate) struct Random(u64);

impl Random {
    /// A sequence for a seed.
    pub(crate) fn new(seed: u64) -> Self {
        let mut random = Self(seed.wrapping_mul(0x5851_f42d_4c95_7f2d) ^ 0x1405_7b7e_f767_814f);
        for _ in 0..4 {
            random.word();
        }
        random
    }
    fn word(&mut self) -> u32 {
        let old = self.0;
        self.0 = old
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let word = ((old >> 18) ^ old) >> 27;
        (word as u32).rotate_right((old >> 59) as u32)
    }
    /// From 0 to 1, neither of them.
    pub(crate) fn uniform(&mut self) -> f64 {
        (f64::from(self.word()) + 0.5) / 4_294_967_296.0
    }
    /// From a number to another.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }
    /// Standard normal, by the polar method (Marsaglia and Bray 1964, from memory).
    pub(crate) fn normal(&mut self) -> f64 {
        loop {
            let (x, y) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let s = x * x + y * y;
            if s > 0.0 && s < 1.0 {
                return x * libm::sqrt(-2.0 * libm::log(s) / s);
            }
        }
    }
}

/// Waves of a random ground.
const WAVES: usize = 90;

/// A smooth random ground of mean 0 and variance 1 with Whittle's covariance `(r / ℓ) K₁(r / ℓ)`, longer along the drilling direction: a sum of waves whose
/// wave numbers have its spectral density, `(1 + k² ℓ²)⁻²` in the plane (Whittle 1954, from memory).
pub(crate) struct Waves {
    waves: Vec<[f64; 3]>,
    stretch: f64,
}

impl Waves {
    /// `range` ℓ \[m\]; `stretch` times as long along the drilling direction.
    pub(crate) fn new(range: f64, stretch: f64, random: &mut Random) -> Self {
        let waves = (0..WAVES)
            .map(|_| {
                // The share of the spectrum below k is 1 − 1 / (1 + k² ℓ²).
                let k = libm::sqrt(1.0 / (1.0 - 0.985 * random.uniform()) - 1.0) / range;
                let turn = core::f64::consts::TAU * random.uniform();
                [
                    k * libm::cos(turn),
                    k * libm::sin(turn),
                    core::f64::consts::TAU * random.uniform(),
                ]
            })
            .collect();
        Self { waves, stretch }
    }
    /// Its value at a place: along, across. \[m\]
    pub(crate) fn at(&self, along: f64, across: f64) -> f64 {
        let u = along / self.stretch;
        let sum: f64 = self
            .waves
            .iter()
            .map(|[x, y, phase]| libm::cos(x * u + y * across + phase))
            .sum();
        sum * libm::sqrt(2.0 / WAVES as f64)
    }
}

/// Soil zones with sharp borders: the nearest of some seeds decides, stretched along the drilling direction.
pub(crate) struct Patches {
    seeds: Vec<(f64, f64, f64)>,
    stretch: f64,
}

impl Patches {
    /// So many zones on ground of this size, levels of mean 0 and variance 1.
    pub(crate) fn new(
        count: usize,
        (length, width): (f64, f64),
        stretch: f64,
        random: &mut Random,
    ) -> Self {
        let seeds = (0..count)
            .map(|_| {
                (
                    random.between(0.0, length) / stretch,
                    random.between(0.0, width),
                    random.normal(),
                )
            })
            .collect();
        Self { seeds, stretch }
    }
    /// Its level at a place.
    pub(crate) fn at(&self, along: f64, across: f64) -> f64 {
        let u = along / self.stretch;
        let mut best = (f64::INFINITY, 0.0);
        for (x, y, level) in &self.seeds {
            let far = (u - x) * (u - x) + (across - y) * (across - y);
            if far < best.0 {
                best = (far, *level);
            }
        }
        best.1
    }
}

/// Values on a lattice of nodes, on the line between them; stated mean and standard deviation over the lattice.
pub(crate) struct Nodes {
    values: Vec<f64>,
    cols: usize,
    rows: usize,
    spacing: f64,
}

impl Nodes {
    /// A ground at nodes of so many metres.
    pub(crate) fn of(
        (length, width): (f64, f64),
        spacing: f64,
        at: impl Fn(f64, f64) -> f64,
    ) -> Self {
        let cols = (length / spacing) as usize + 2;
        let rows = (width / spacing) as usize + 2;
        let values = (0..rows * cols)
            .map(|k| at((k % cols) as f64 * spacing, (k / cols) as f64 * spacing))
            .collect();
        Self {
            values,
            cols,
            rows,
            spacing,
        }
    }
    /// The same with mean 0 and standard deviation 1.
    pub(crate) fn standard(mut self) -> Self {
        let n = self.values.len() as f64;
        let mean = self.values.iter().sum::<f64>() / n;
        let sd = libm::sqrt(
            self.values
                .iter()
                .map(|value| (value - mean) * (value - mean))
                .sum::<f64>()
                / n,
        );
        for value in &mut self.values {
            *value = (*value - mean) / sd.max(1e-12);
        }
        self
    }
    /// The value of the nearest node, for ground with sharp borders, or on the line between four.
    pub(crate) fn at(&self, along: f64, across: f64) -> f64 {
        let place = |value: f64, most: usize| {
            let value = (value / self.spacing).clamp(0.0, (most - 1) as f64 - 1e-9);
            (value as usize, value - libm::floor(value))
        };
        let ((col, right), (row, up)) = (place(along, self.cols), place(across, self.rows));
        let value = |c: usize, r: usize| {
            self.values[r.min(self.rows - 1) * self.cols + c.min(self.cols - 1)]
        };
        (1.0 - up) * ((1.0 - right) * value(col, row) + right * value(col + 1, row))
            + up * ((1.0 - right) * value(col, row + 1) + right * value(col + 1, row + 1))
    }
}
