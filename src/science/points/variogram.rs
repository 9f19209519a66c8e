//! How alike readings are at which distance: semivariances by classes of distance, and a model fitted to them.

use super::Sample;

/// Pairs looked at before centres are thinned: about a tenth of a second.
const MAXIMUM_PAIRS: usize = 30_000_000;
/// Ranges tried before the best one is refined.
const TRIES: usize = 80;
/// Steps of the refinement; each shrinks the bracket by the golden ratio.
const REFINEMENTS: usize = 60;

/// Pairs of readings of about one distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// Their mean distance. \[m\]
    pub distance: f64,
    /// Half of the mean squared difference.
    pub semivariance: f64,
    /// Pairs.
    pub pairs: u64,
}

/// The shape of a variogram.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Model {
    /// Rises as `1.5 r − 0.5 r³`, r = distance / range, and is flat from the range on.
    Spherical,
    /// Rises as `1 − exp(−distance / range)`; 95 % are reached at three times the range.
    Exponential,
}

impl Model {
    /// The word of it in job and record.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Spherical => "spherical",
            Self::Exponential => "exponential",
        }
    }
    /// Share of the partial sill that is reached at a distance.
    fn shape(self, distance: f64, range: f64) -> f64 {
        let r = distance / range;
        match self {
            Self::Spherical if r >= 1.0 => 1.0,
            Self::Spherical => 1.5 * r - 0.5 * r * r * r,
            Self::Exponential => 1.0 - libm::exp(-r),
        }
    }
}

/// A fitted variogram: `nugget + sill · shape(distance / range)` above distance 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Variogram {
    /// Its shape.
    pub model: Model,
    /// Variance that no distance explains: reading error, and variation nearer than readings lie.
    pub nugget: f64,
    /// Variance that distance explains.
    pub sill: f64,
    /// Range parameter. \[m\]
    pub range: f64,
}

impl Variogram {
    /// Semivariance at a distance above 0.
    pub fn at(&self, distance: f64) -> f64 {
        self.nugget + self.sill * self.model.shape(distance, self.range)
    }
    /// Covariance of the structured part at a distance.
    pub(super) fn covariance(&self, distance: f64) -> f64 {
        self.sill * (1.0 - self.model.shape(distance, self.range))
    }
    /// Distance from which readings tell (nearly) nothing of each other. \[m\]
    pub fn practical_range(&self) -> f64 {
        match self.model {
            Model::Spherical => self.range,
            Model::Exponential => 3.0 * self.range,
        }
    }
    /// Share of the whole variance that is nugget; 1 where there is no structure at all.
    pub fn nugget_share(&self) -> f64 {
        let all = self.nugget + self.sill;
        if all > 0.0 { self.nugget / all } else { 1.0 }
    }
}

/// A variogram and how well it fits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// The variogram.
    pub variogram: Variogram,
    /// Weighted sum of squares that is left.
    pub left: f64,
    /// 1 − what is left / what a flat line would leave, both weighted: 1 fits perfectly, 0 as badly as no structure.
    pub explained: f64,
}

/// Semivariances in `bins` classes of distance of equal width up to `longest` \[m\]; classes without a pair are left out.
///
/// With very many readings each k-th is paired with all the others, so that short distances keep their pairs.
///
/// # Source
/// The classical estimator, Matheron 1963, Economic Geology 58:1246-1266 (from memory).
pub fn semivariances(samples: &[Sample], longest: f64, bins: usize) -> Vec<Bin> {
    let stride = (samples.len() * samples.len() / 2)
        .div_ceil(MAXIMUM_PAIRS)
        .max(1);
    let mut sums = vec![(0.0, 0.0, 0_u64); bins];
    for (at, one) in samples.iter().enumerate().step_by(stride) {
        // Without a stride each pair is met once; with one, from the side of the chosen centres.
        for (other_at, other) in
            samples
                .iter()
                .enumerate()
                .skip(if stride == 1 { at + 1 } else { 0 })
        {
            if other_at == at {
                continue;
            }
            let (dx, dy) = (one.x - other.x, one.y - other.y);
            if dx.abs() > longest || dy.abs() > longest {
                continue;
            }
            let distance = libm::sqrt(dx * dx + dy * dy);
            if distance > longest {
                continue;
            }
            let bin = ((distance / longest * bins as f64) as usize).min(bins - 1);
            let difference = one.value - other.value;
            let sum = &mut sums[bin];
            *sum = (sum.0 + distance, sum.1 + difference * difference, sum.2 + 1);
        }
    }
    let bin = |(distance, squares, pairs): (f64, f64, u64)| Bin {
        distance: distance / pairs as f64,
        semivariance: squares / (2.0 * pairs as f64),
        pairs,
    };
    sums.into_iter()
        .filter(|sum| sum.2 > 0 && sum.0 > 0.0)
        .map(bin)
        .collect()
}

/// Fits a variogram by weighted least squares, weights pairs / distance². `None` with fewer than 4 classes of distance.
///
/// For each range, nugget and sill are the linear solution with neither below 0; the range is searched from a quarter of the shortest to five times
/// the longest distance, then refined. So the best of all fits is found, whatever one starts with, and no starting values are needed. Of several
/// models the one that leaves least is taken.
///
/// # Source
/// Least squares with weights by pairs and model: Cressie 1985, Mathematical Geology 17:563-586; `pairs / distance²` as the R package gstat has it by
/// default (Pebesma 2004, Computers & Geosciences 30:683-691; both from memory, the weights read in gstat's manual).
pub fn fit(bins: &[Bin], models: &[Model]) -> Option<Fit> {
    if bins.len() < 4 {
        return None;
    }
    let shortest = bins
        .iter()
        .map(|bin| bin.distance)
        .fold(f64::INFINITY, f64::min);
    let longest = bins.iter().map(|bin| bin.distance).fold(0.0, f64::max);
    let (low, high) = (libm::log(shortest / 4.0), libm::log(5.0 * longest));
    let mut best: Option<Fit> = None;
    for model in models {
        let left = |log_range: f64| linear(bins, *model, libm::exp(log_range));
        let step = (high - low) / (TRIES - 1) as f64;
        let first = (0..TRIES)
            .map(|k| low + k as f64 * step)
            .min_by(|a, b| left(*a).left.total_cmp(&left(*b).left))?;
        let refined = left(golden(first - step, first + step, |at| left(at).left));
        let found = if refined.left <= left(first).left {
            refined
        } else {
            left(first)
        };
        if best.is_none_or(|best| found.left < best.left) {
            best = Some(found);
        }
    }
    best
}

/// Where a function with one valley is least.
fn golden(mut low: f64, mut high: f64, of: impl Fn(f64) -> f64) -> f64 {
    let ratio = (libm::sqrt(5.0) - 1.0) / 2.0;
    let (mut a, mut b) = (high - ratio * (high - low), low + ratio * (high - low));
    let (mut at_a, mut at_b) = (of(a), of(b));
    for _ in 0..REFINEMENTS {
        if at_a <= at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - ratio * (high - low);
            at_a = of(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + ratio * (high - low);
            at_b = of(b);
        }
    }
    f64::midpoint(low, high)
}

/// Nugget and sill of one range.
fn linear(bins: &[Bin], model: Model, range: f64) -> Fit {
    let (mut w1, mut wf, mut wff, mut wg, mut wfg) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let weight = |bin: &Bin| bin.pairs as f64 / (bin.distance * bin.distance);
    for bin in bins {
        let (w, f, g) = (
            weight(bin),
            model.shape(bin.distance, range),
            bin.semivariance,
        );
        w1 += w;
        wf += w * f;
        wff += w * f * f;
        wg += w * g;
        wfg += w * f * g;
    }
    let determinant = w1 * wff - wf * wf;
    let (mut nugget, mut sill) = (wg / w1, 0.0);
    let flat = nugget;
    if determinant > 1e-12 * w1 * wff {
        (nugget, sill) = (
            (wff * wg - wf * wfg) / determinant,
            (w1 * wfg - wf * wg) / determinant,
        );
        if sill < 0.0 {
            (nugget, sill) = (flat, 0.0);
        } else if nugget < 0.0 {
            (nugget, sill) = (0.0, wfg / wff);
        }
    }
    let variogram = Variogram {
        model,
        nugget,
        sill,
        range,
    };
    let squares = |of: &dyn Fn(f64) -> f64| {
        bins.iter()
            .map(|bin| {
                let d = bin.semivariance - of(bin.distance);
                weight(bin) * d * d
            })
            .sum::<f64>()
    };
    let left = squares(&|distance| variogram.at(distance));
    let all = squares(&|_| flat);
    Fit {
        variogram,
        left,
        explained: if all > 0.0 { 1.0 - left / all } else { 0.0 },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Semivariances of log(zinc) of the Meuse data, as `variogram(log(zinc) ~ 1, meuse)` of the R package gstat prints them (from memory of its
    /// manual; that the published fit comes out of them confirms the digits).
    const MEUSE: [(u64, f64, f64); 15] = [
        (57, 79.292_44, 0.123_447_9),
        (299, 163.973_67, 0.216_218_5),
        (419, 267.364_83, 0.302_785_9),
        (457, 372.735_42, 0.412_144_8),
        (547, 478.476_70, 0.463_412_8),
        (533, 585.340_58, 0.564_693_3),
        (574, 693.145_26, 0.568_968_3),
        (564, 796.183_65, 0.618_676_9),
        (589, 903.146_50, 0.647_147_9),
        (543, 1_011.291_77, 0.691_570_5),
        (500, 1_117.862_35, 0.703_398_4),
        (477, 1_221.328_10, 0.603_877_0),
        (452, 1_329.164_07, 0.651_715_8),
        (457, 1_437.256_20, 0.566_531_8),
        (415, 1_543.202_48, 0.574_822_7),
    ];

    #[test]
    fn the_published_fit_of_the_meuse_zinc() {
        // Published: nugget 0.05066243, sill 0.59060780, range 897.0209 from one start, 0.05065971, 0.59060511, 897.0011 from another
        // (r-spatial.org, "Fitting variogram models in gstat", 14 February 2016, read); of spherical and exponential it takes the spherical.
        let bins: Vec<Bin> = MEUSE
            .iter()
            .map(|(pairs, distance, semivariance)| Bin {
                distance: *distance,
                semivariance: *semivariance,
                pairs: *pairs,
            })
            .collect();
        let found = fit(&bins, &[Model::Exponential, Model::Spherical]).unwrap();
        let variogram = found.variogram;
        assert_eq!(variogram.model, Model::Spherical);
        assert!((variogram.nugget - 0.05066).abs() < 2e-5, "{found:?}");
        assert!((variogram.sill - 0.59061).abs() < 2e-5, "{found:?}");
        assert!((variogram.range - 897.01).abs() < 0.1, "{found:?}");
        assert!(found.explained > 0.95);
    }

    #[test]
    fn what_made_the_semivariances_is_found_again() {
        for (model, nugget, sill, range) in [
            (Model::Spherical, 0.0, 0.004, 60.0),
            (Model::Exponential, 0.001, 0.003, 25.0),
        ] {
            let truth = Variogram {
                model,
                nugget,
                sill,
                range,
            };
            let bins: Vec<Bin> = (1..=15)
                .map(|k| Bin {
                    distance: 8.0 * f64::from(k),
                    semivariance: truth.at(8.0 * f64::from(k)),
                    pairs: 1000,
                })
                .collect();
            let found = fit(&bins, &[Model::Spherical, Model::Exponential])
                .unwrap()
                .variogram;
            assert_eq!(found.model, model);
            assert!(
                (found.range - range).abs() < 1e-3 * range
                    && (found.sill - sill).abs() < 1e-3 * sill
                    && (found.nugget - nugget).abs() < 1e-5,
                "{found:?}"
            );
        }
    }

    #[test]
    fn no_structure_is_told_as_none() {
        let bins: Vec<Bin> = (1..=10)
            .map(|k| Bin {
                distance: 10.0 * f64::from(k),
                semivariance: 0.002,
                pairs: 500,
            })
            .collect();
        let found = fit(&bins, &[Model::Spherical]).unwrap();
        assert!(
            found.variogram.nugget_share() > 0.999 && found.explained < 1e-6,
            "{found:?}"
        );
        let falling: Vec<Bin> = (1..=10)
            .map(|k| Bin {
                distance: 10.0 * f64::from(k),
                semivariance: 0.004 - 0.0002 * f64::from(k),
                pairs: 500,
            })
            .collect();
        assert_eq!(
            fit(&falling, &[Model::Spherical]).unwrap().variogram.sill,
            0.0
        );
        assert_eq!(fit(&bins[..3], &[Model::Spherical]), None);
    }

    #[test]
    fn semivariances_by_hand() {
        // Three readings on a line at 0, 1 and 2 m: two pairs at 1 m, one at 2 m.
        let samples = [0.0, 1.0, 2.0].map(|x| Sample {
            x,
            y: 0.0,
            value: [0.5, 0.7, 0.4][x as usize],
        });
        let bins = semivariances(&samples, 2.0, 2);
        // Distance 1 falls on the border to the second class: all three pairs are there.
        assert_eq!(bins.len(), 1);
        assert_eq!(bins[0].pairs, 3);
        assert!((bins[0].semivariance - (0.04 + 0.09 + 0.01) / 6.0).abs() < 1e-15);
        let bins = semivariances(&samples, 3.0, 3);
        assert_eq!((bins[0].pairs, bins[0].distance), (2, 1.0));
        assert!(
            (bins[0].semivariance - (0.04 + 0.09) / 4.0).abs() < 1e-15
                && (bins[1].semivariance - 0.005).abs() < 1e-15
        );
    }
}
