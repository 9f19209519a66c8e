//! How far a rate may lie from what it should be: every uncertainty drawn at once, many times over.
//!
//! Four uncertainties move all cells of a field together: the reference index, which is another at every place of the strip; the response index, where it limits
//! rates or counts for every cell; the use efficiency; and the curve. A [`Draw`] holds one factor for each of them; the same seed gives the same draws on
//! every machine, in whatever order they are asked for. Everything is limited inside each draw, as it is in the map.

use crate::science::methods::{Method, RateModel};
use crate::science::noise::HERMITE;

/// Standard deviations between the middle of a normal distribution and its 97.5th percentile.
pub const Z_95: f64 = 1.959_963_984_540_054;
/// Least factor that a draw may reach: a normal distribution knows no zero.
const MINIMUM: f64 = 0.05;
/// Spread of a curve where nothing states one, as a share. A judgement, no source.
pub const USUAL_CURVE_SPREAD: f64 = 0.2;
/// Half of the range of use efficiency, as a share of it: 0.4 to 0.6 around 0.5.
pub const USUAL_EFFICIENCY_SPREAD: f64 = 0.2;

/// Spread of a strip's index by where it lies, as a share, where no placebo strips show it: one strip. A judgement, no source.
pub const USUAL_PLACE_SPREAD: f64 = 0.04;

/// What is in doubt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Factor {
    /// The response index of the field, where it counts for every cell or limits them.
    Ratio,
    /// The share of applied nitrogen that reaches the grain.
    UseEfficiency,
    /// The curve of the method.
    Curve,
    /// The reference index: where the strip lies, and how surely it was measured.
    Place,
}

impl Factor {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Ratio, Self::UseEfficiency, Self::Curve, Self::Place];
    /// The word of it in records.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ratio => "response index",
            Self::UseEfficiency => "use efficiency",
            Self::Curve => "curve",
            Self::Place => "place of the strip",
        }
    }
}

/// How wide each uncertainty is. Shares; 0 is certain.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spreads {
    /// Standard deviation of the response index.
    pub ratio: f64,
    /// The greatest ratio that counts, where the strip sets it: it moves with the response index. Not a share.
    pub limit: Option<f64>,
    /// Half of the range of use efficiency, over its middle; every value in the range is as likely.
    pub use_efficiency: f64,
    /// Standard deviation of the curve's factor.
    pub curve: f64,
    /// Standard deviation of the reference index.
    pub place: f64,
}

/// One set of factors; 1 is as computed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draw {
    /// On the field's response index where it counts everywhere, and on the greatest ratio that counts where the strip sets it.
    pub ratio: f64,
    /// The greatest ratio that counts, before `ratio` moves it; `None` where it stays.
    pub limit: Option<f64>,
    /// On the use efficiency.
    pub use_efficiency: f64,
    /// On the curve.
    pub curve: f64,
    /// On the reference index.
    pub place: f64,
}

/// A model under one draw.
#[derive(Clone, Debug)]
pub struct Moved {
    model: RateModel,
    reference: f64,
    ratio: f64,
}

/// Standard deviation of the reference index, as a share, by how many strips there are, where no placebo strips show it. 0 without strips.
///
/// # Source
/// A judgement: canopy of made fields differs by some 4 % from one strip-sized place to the next. No field data.
pub fn place_spread(strips: usize) -> f64 {
    if strips == 0 {
        0.0
    } else {
        USUAL_PLACE_SPREAD / libm::sqrt(strips as f64)
    }
}

/// A number out of a seed and a place in its sequence, so that draws need no order.
///
/// # Source
/// Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators", OOPSLA 2014 (constants from memory; outputs compared in the tests).
fn number_at(seed: u64, place: u64) -> u64 {
    let mut z = seed.wrapping_add(place.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15));
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Above 0 and below 1, each of 2⁵³ values as likely.
fn uniform(seed: u64, place: u64) -> f64 {
    ((number_at(seed, place) >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
}

/// Standard normal, out of two places (Box and Muller 1958, Annals of Mathematical Statistics 29:610-611, from memory).
fn normal(seed: u64, place: u64) -> f64 {
    let angle = core::f64::consts::TAU * uniform(seed, place + 1);
    libm::sqrt(-2.0 * libm::log(uniform(seed, place))) * libm::cos(angle)
}

/// A standard normal deviate of one piece of ground in one draw, of its own and free of every other; held to ±4.
pub fn ground_deviate(seed: u64, draw: u64, piece: u64) -> f64 {
    // A sequence of its own for each piece, none of them that of the uncertainties that move all cells.
    normal(number_at(!seed, piece), draw.wrapping_mul(2)).clamp(-4.0, 4.0)
}

impl Spreads {
    /// The same without what does not move this model: use efficiency and curve of methods that have none, reference and place where none is used.
    #[must_use]
    pub fn of_model(self, model: &RateModel) -> Self {
        let reference = uses_reference(&model.method);
        Self {
            ratio: if reference && (self.limit.is_some() || model.blend.is_some()) {
                self.ratio
            } else {
                0.0
            },
            limit: self.limit.filter(|_| reference),
            use_efficiency: if model.use_efficiency().is_some() {
                self.use_efficiency
            } else {
                0.0
            },
            curve: if model.with_curve_factor(1.0).is_some() {
                self.curve
            } else {
                0.0
            },
            place: if reference { self.place } else { 0.0 },
        }
    }

    /// Whether an uncertainty has any width.
    pub fn moves(&self, factor: Factor) -> bool {
        match factor {
            Factor::Ratio => self.ratio > 0.0,
            Factor::UseEfficiency => self.use_efficiency > 0.0,
            Factor::Curve => self.curve > 0.0,
            Factor::Place => self.place > 0.0,
        }
    }

    /// The factor of one uncertainty at a standard normal deviate, or for use efficiency at a place from −1 to 1 of its range.
    fn factor(&self, factor: Factor, at: f64) -> f64 {
        let value = match factor {
            Factor::Ratio => 1.0 + at * self.ratio,
            Factor::UseEfficiency => 1.0 + at * self.use_efficiency,
            Factor::Curve => 1.0 + at * self.curve,
            Factor::Place => 1.0 + at * self.place,
        };
        value.max(MINIMUM)
    }

    fn only(&self, factor: Factor, at: f64) -> Draw {
        let mut draw = Draw {
            limit: self.limit,
            ..Draw::PLAIN
        };
        *draw.of(factor) = self.factor(factor, at);
        draw
    }

    /// The draw of this number: all uncertainties at once, none knowing of another.
    pub fn draw(&self, seed: u64, number: u64) -> Draw {
        let place = number.wrapping_mul(8);
        Draw {
            ratio: self.factor(Factor::Ratio, normal(seed, place)),
            limit: self.limit,
            use_efficiency: self
                .factor(Factor::UseEfficiency, 2.0 * uniform(seed, place + 2) - 1.0),
            curve: self.factor(Factor::Curve, normal(seed, place + 4)),
            place: self.factor(Factor::Place, normal(seed, place + 6)),
        }
    }

    /// One uncertainty alone: draws and their weights, which add up to 1. Nine points each, of Gauss and Hermite for what is normal, else evenly spread.
    pub fn alone(&self, factor: Factor) -> Vec<(Draw, f64)> {
        if factor == Factor::UseEfficiency {
            return (0..9)
                .map(|k| (self.only(factor, (f64::from(k) - 4.0) / 4.5), 1.0 / 9.0))
                .collect();
        }
        let whole = libm::sqrt(core::f64::consts::PI);
        let mut all = Vec::with_capacity(9);
        for (x, weight) in HERMITE {
            let at = core::f64::consts::SQRT_2 * x;
            all.push((self.only(factor, at), weight / whole));
            if x > 0.0 {
                all.push((self.only(factor, -at), weight / whole));
            }
        }
        all
    }

    /// The ends of one uncertainty alone: ends of the range of use efficiency, one standard deviation of the others.
    pub fn ends(&self, factor: Factor) -> Option<(Draw, Draw)> {
        self.moves(factor)
            .then(|| (self.only(factor, -1.0), self.only(factor, 1.0)))
    }
}

/// Whether a rate depends on the reference at all.
pub fn uses_reference(method: &Method) -> bool {
    method.uses_response_index()
}

impl Draw {
    /// Everything as computed.
    pub const PLAIN: Self = Self {
        ratio: 1.0,
        limit: None,
        use_efficiency: 1.0,
        curve: 1.0,
        place: 1.0,
    };

    const fn of(&mut self, factor: Factor) -> &mut f64 {
        match factor {
            Factor::Ratio => &mut self.ratio,
            Factor::UseEfficiency => &mut self.use_efficiency,
            Factor::Curve => &mut self.curve,
            Factor::Place => &mut self.place,
        }
    }

    /// A model under this draw. Use efficiency is held to 1 from above.
    pub fn moved(&self, model: &RateModel) -> Moved {
        let mut moved = model.clone();
        if let Some(other) = model
            .use_efficiency()
            .and_then(|e| moved.with_use_efficiency((e * self.use_efficiency).min(1.0)))
        {
            moved = other;
        }
        if let Some(other) = moved.with_curve_factor(self.curve) {
            moved = other;
        }
        moved.blend = model
            .blend
            .map(|blend| blend.with_field_ratio(blend.field_ratio * self.ratio));
        if let Some(limit) = self.limit {
            moved = moved.with_maximum_ratio((limit * self.ratio).max(1.0));
        }
        Moved {
            model: moved,
            reference: self.place,
            ratio: self.ratio,
        }
    }
}

impl Moved {
    /// The rate of a cell, held to the range, not rounded. \[kg N/ha\]
    ///
    /// `None` where the model itself has none.
    pub fn exact(&self, index: f64, reference: f64) -> Option<f64> {
        self.exact_against(index, reference, None)
    }

    /// The same where the strips that the cell is compared with have a response index of their own; see [`RateModel::rate_against`].
    pub fn exact_against(
        &self,
        index: f64,
        reference: f64,
        field_ratio: Option<f64>,
    ) -> Option<f64> {
        self.exact_kept(
            (index, self.model.method.kept(index)),
            reference,
            field_ratio,
        )
    }

    /// The same with what the method keeps of the index ([`RateModel::rate_kept`]): one of a cell serves every draw.
    pub fn exact_kept(
        &self,
        own: (f64, f64),
        reference: f64,
        field_ratio: Option<f64>,
    ) -> Option<f64> {
        self.model
            .rate_kept(
                own,
                reference * self.reference,
                field_ratio.map(|ratio| ratio * self.ratio),
            )
            .map(|rate| rate.n_exact.get())
    }
}

/// What many draws make of one number, in the unit of the number.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Band {
    /// One in ten lies below (P10).
    pub low: f64,
    /// Half lie below (P50).
    pub middle: f64,
    /// One in ten lies above (P90).
    pub high: f64,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
}

/// The band of a list of numbers, whose order it changes. `None` of an empty list.
pub fn band_of(values: &mut [f64]) -> Option<Band> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values
        .iter()
        .map(|value| (value - mean) * (value - mean))
        .sum();
    // What lies below one quantile is of no use to the next.
    let last = values.len().checked_sub(1)? as f64;
    let (mut rest, mut passed) = (values, 0);
    let mut at = |share: f64| {
        let place = share * last;
        let below = libm::floor(place) as usize;
        let taken = std::mem::take(&mut rest);
        let (_, low, above) = taken.select_nth_unstable_by(below - passed, f64::total_cmp);
        let low = *low;
        let high = above.iter().copied().min_by(f64::total_cmp).unwrap_or(low);
        (rest, passed) = (&mut taken[below - passed..], below);
        low + (high - low) * (place - below as f64)
    };
    let (low, middle, high) = (at(0.1), at(0.5), at(0.9));
    Some(Band {
        low,
        middle,
        high,
        mean,
        sd: libm::sqrt(squares / (n - 1.0).max(1.0)),
    })
}

/// A quantile, on the line between its two neighbours (type 7 of Hyndman and Fan 1996, The American Statistician 50:361-365). Puts as little in order as it must.
pub fn quantile(values: &mut [f64], share: f64) -> Option<f64> {
    let last = values.len().checked_sub(1)?;
    let at = share.clamp(0.0, 1.0) * last as f64;
    let below = libm::floor(at) as usize;
    let (_, low, above) = values.select_nth_unstable_by(below, f64::total_cmp);
    let low = *low;
    let high = above.iter().copied().min_by(f64::total_cmp).unwrap_or(low);
    Some(low + (high - low) * (at - below as f64))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::science::blend::Blend;
    use crate::science::methods::Limits;
    use crate::science::methods::flat::Flat;
    use crate::science::methods::square_root::SquareRoot;
    use crate::science::methods::yield_response::{YieldCurve, YieldResponse};
    use crate::units::{NRate, Yield};
    use proptest::prelude::*;

    fn limits(maximum: f64) -> Limits {
        Limits {
            maximum_ratio: 2.0,
            limits_sufficiency: false,
            applied_since_sensing: NRate::ZERO,
            minimum: NRate::ZERO,
            maximum: NRate::kg_per_ha(maximum),
        }
    }

    fn yields() -> RateModel {
        let method = YieldResponse {
            curve: YieldCurve {
                a: Yield::kg_per_ha(590.0),
                b: 258.2,
            },
            growing_days: 94.0,
            maximum_yield: Yield::kg_per_ha(6_700.0),
            ratio_adjustment: None,
            dead_band: 0.0,
            grain_nitrogen: 0.0239,
            use_efficiency: 0.5,
        };
        RateModel {
            method: Method::new(method),
            limits: limits(200.0),
            blend: None,
        }
    }

    const ALL: Spreads = Spreads {
        ratio: 0.05,
        limit: Some(1.3),
        use_efficiency: 0.2,
        curve: 0.2,
        place: 0.04,
    };

    #[test]
    fn numbers_are_those_of_the_published_generator() {
        // Outputs for the seed 1234567 as printed on the page "Pseudo-random numbers/Splitmix64" of Rosetta Code (from memory).
        let expected = [
            6_457_827_717_110_365_317_u64,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
        ];
        for (place, expected) in (0..).zip(expected) {
            assert_eq!(number_at(1_234_567, place), expected);
        }
    }

    #[test]
    fn deviates_are_standard_normal_and_of_one_another_free() {
        let n = 20_000_u64;
        let draws: Vec<(f64, f64)> = (0..n)
            .map(|k| (normal(7, 8 * k), normal(7, 8 * k + 4)))
            .collect();
        let mean = draws.iter().map(|d| d.0).sum::<f64>() / n as f64;
        let square = draws.iter().map(|d| d.0 * d.0).sum::<f64>() / n as f64;
        let fourth = draws.iter().map(|d| d.0 * d.0 * d.0 * d.0).sum::<f64>() / n as f64;
        let cross = draws.iter().map(|d| d.0 * d.1).sum::<f64>() / n as f64;
        // Standard errors: 1/√n, √(2/n), √(96/n), 1/√n. Four of each.
        let error = 4.0 / libm::sqrt(n as f64);
        assert!(
            mean.abs() < error
                && (square - 1.0).abs() < error * libm::sqrt(2.0)
                && (fourth - 3.0).abs() < error * libm::sqrt(96.0),
            "{mean} {square} {fourth}"
        );
        assert!(cross.abs() < error, "{cross}");
    }

    #[test]
    fn pieces_of_ground_are_free_of_one_another_and_of_what_moves_all() {
        let n = 5_000_u64;
        let error = 4.0 / libm::sqrt(n as f64);
        let list = |piece: u64| {
            (0..n)
                .map(|draw| ground_deviate(7, draw, piece))
                .collect::<Vec<f64>>()
        };
        let (one, other, all) = (
            list(0),
            list(1),
            (0..n).map(|draw| normal(7, 8 * draw)).collect::<Vec<f64>>(),
        );
        let cross =
            |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>() / n as f64;
        assert!(
            (cross(&one, &one) - 1.0).abs() < error * libm::sqrt(2.0)
                && one.iter().sum::<f64>().abs() / (n as f64) < error
        );
        assert!(cross(&one, &other).abs() < error && cross(&one, &all).abs() < error);
        assert_eq!(ground_deviate(7, 3, 1), other[3]);
    }

    #[test]
    fn what_is_certain_stays_as_computed() {
        for model in [
            yields(),
            RateModel {
                method: Method::new(Flat(NRate::kg_per_ha(60.0))),
                limits: limits(100.0),
                blend: None,
            },
        ] {
            for number in 0..50 {
                let moved = Spreads::default().draw(3, number).moved(&model);
                for index in [0.3, 0.5, 0.62, 0.8] {
                    assert_eq!(
                        moved.exact(index, 0.66),
                        model.exact(index, 0.66).map(NRate::get)
                    );
                }
            }
        }
        assert_eq!(yields().exact(0.0, 0.66), None);
        assert_eq!(ALL.draw(1, 1).moved(&yields()).exact(f64::NAN, 0.66), None);
    }

    #[test]
    fn a_method_is_moved_only_by_what_it_has() {
        let flat = RateModel {
            method: Method::new(Flat(NRate::kg_per_ha(60.0))),
            limits: limits(100.0),
            blend: None,
        };
        assert_eq!(ALL.of_model(&flat), Spreads::default());
        assert_eq!(ALL.of_model(&yields()), ALL);
        let root = SquareRoot {
            optimum: NRate::kg_per_ha(200.0),
            applied_before: NRate::ZERO,
            credits: NRate::ZERO,
            extra: NRate::ZERO,
            zone_scalar: 1.0,
            delta: 0.3,
            dead_band: 0.0,
            back_off: None,
        };
        let of_root = ALL.of_model(&RateModel {
            method: Method::new(root),
            limits: limits(300.0),
            blend: None,
        });
        assert_eq!(
            of_root,
            Spreads {
                use_efficiency: 0.0,
                ..ALL
            }
        );
        assert!(
            !of_root.moves(Factor::UseEfficiency) && of_root.ends(Factor::UseEfficiency).is_none()
        );
        // One ratio for every cell moves with the ratio too.
        let whole = yields().with_blend(Some(Blend {
            share: 0.0,
            field_ratio: 1.2,
        }));
        let (low, high) = ALL.ends(Factor::Ratio).unwrap();
        assert!(
            low.moved(&whole).exact(0.5, 0.66).unwrap()
                < high.moved(&whole).exact(0.5, 0.66).unwrap()
        );
    }

    #[test]
    fn weights_of_one_doubt_alone_know_its_mean_and_variance() {
        let even = Spreads { ratio: 0.1, ..ALL };
        for (factor, variance) in [(Factor::Ratio, 0.01), (Factor::Curve, 0.04)] {
            let nodes = even.alone(factor);
            let mean: f64 = nodes
                .iter()
                .map(|&(mut draw, w)| w * *draw.of(factor))
                .sum();
            let second: f64 = nodes
                .iter()
                .map(|&(mut draw, w)| w * (*draw.of(factor) - 1.0) * (*draw.of(factor) - 1.0))
                .sum();
            assert!(
                (mean - 1.0).abs() < 1e-12 && (second - variance).abs() < 1e-9,
                "{factor:?}: {mean} {second}"
            );
        }
        // A uniform distribution has a variance of a third of its half width squared; nine points know 80/81 of it.
        let second: f64 = even
            .alone(Factor::UseEfficiency)
            .iter()
            .map(|(d, w)| w * (d.use_efficiency - 1.0) * (d.use_efficiency - 1.0))
            .sum();
        assert!(
            (second - 0.04 / 3.0 * 80.0 / 81.0).abs() < 1e-12,
            "{second}"
        );
        let (low, high) = ALL.ends(Factor::Ratio).unwrap();
        assert!((low.ratio - 0.95).abs() < 1e-12 && (high.ratio - 1.05).abs() < 1e-12);
    }

    #[test]
    fn strips_share_out_the_doubt_of_their_place() {
        let all: Vec<f64> = (0..7).map(place_spread).collect();
        assert_eq!((all[0], all[1], all[4]), (0.0, 0.04, 0.02));
        assert!(all[3] < all[2] && all[3] > all[4], "{}", all[3]);
    }

    #[test]
    fn the_limit_moves_with_the_response_index_and_the_reference_with_the_place() {
        let model = yields();
        let draw = Draw {
            ratio: 1.1,
            limit: Some(1.2),
            ..Draw::PLAIN
        };
        // 0.66 / 0.4 asks for 1.65; 1.1 · 1.2 = 1.32 counts.
        let by_limit = model.with_maximum_ratio(1.32).exact(0.4, 0.66);
        let moved = draw.moved(&model).exact(0.4, 0.66).unwrap();
        assert!((moved - by_limit.unwrap().get()).abs() < 1e-9);
        // A limit never falls below 1: then nothing is asked for.
        let low = Draw {
            ratio: 0.9,
            limit: Some(1.05),
            ..Draw::PLAIN
        };
        assert_eq!(low.moved(&model).exact(0.4, 0.66), Some(0.0));
        let placed = Draw {
            place: 1.05,
            ..Draw::PLAIN
        };
        assert_eq!(
            placed.moved(&model).exact(0.5, 0.66),
            model.exact(0.5, 0.66 * 1.05).map(NRate::get)
        );
    }

    #[test]
    fn quantiles_on_the_line_between_neighbours() {
        // Hyndman and Fan's type 7 of 1 … 5, as R's quantile() has it by default.
        let mut values = [5.0, 1.0, 4.0, 2.0, 3.0];
        let band = band_of(&mut values).unwrap();
        assert!((band.low - 1.4).abs() < 1e-12 && (band.high - 4.6).abs() < 1e-12);
        assert_eq!((band.middle, band.mean), (3.0, 3.0));
        assert!((band.sd - libm::sqrt(2.5)).abs() < 1e-12);
        assert_eq!(band_of(&mut []), None);
    }

    proptest! {
        #[test]
        fn no_draw_leaves_the_range(seed in any::<u64>(), number in 0_u64..1000, index in 0.1_f64..0.95, reference in 0.3_f64..0.95) {
            let model = yields();
            let draw = ALL.draw(seed, number);
            prop_assert_eq!(draw, ALL.draw(seed, number));
            let n = draw.moved(&model).exact(index, reference).unwrap();
            prop_assert!((0.0..=200.0).contains(&n));
            prop_assert!(draw.ratio >= MINIMUM && draw.curve >= MINIMUM && draw.place >= MINIMUM && (0.8..=1.2).contains(&draw.use_efficiency));
        }

        #[test]
        fn bands_are_in_order(mut values in proptest::collection::vec(-1e3_f64..1e3, 1..200)) {
            let band = band_of(&mut values).unwrap();
            prop_assert!(band.low <= band.middle && band.middle <= band.high && band.sd >= 0.0);
        }
    }
}
