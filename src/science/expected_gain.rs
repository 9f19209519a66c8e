//! What a map of rates may be expected to earn over one flat rate.
//!
//! The plain difference takes every cell's own response as certain: whatever is pale lacks nitrogen, and by just so much. Where half of the index deficit is soil,
//! that is far too much. Here a cell with nitrogen is what the nitrogen share makes of it, and not certain: `λ · I_ref + (1 − λ) · RI_field · I` plus normal
//! noise of variance `λ · v_strip · I_ref²`. The first part is the strip, the second the cell's own ground with the field's response; the noise is what
//! ground does inside the strip, as far as the cell itself does not show it.

use crate::science::money::{GrainResponse, PriceInputs};
use crate::science::monte_carlo::ground_deviate;
use crate::units::{Area, NRate, Yield};
use rayon::prelude::*;

/// Draws of each cell.
pub(crate) const DRAWS: u32 = 200;
/// Numbers that are drawn at the most; a field of many cells needs fewer of each.
const MAXIMUM_NUMBERS: usize = 4_000_000;
/// Draws of each cell at the least.
const MINIMUM_DRAWS: u32 = 8;

/// One cell with a yield.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct GainCell {
    /// Its area.
    pub area: Area,
    /// Its canopy index.
    pub index: f64,
    /// `I_ref` of the strips that it is compared with.
    pub reference: f64,
    /// `RI_field` of these strips.
    pub field_ratio: f64,
    /// YP0.
    pub yield_without: Yield,
}

/// What the truth is taken to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct GainInputs {
    /// Nitrogen share, λ. \[0..1\]
    pub share: f64,
    /// Relative variance of pieces of the strip, `v_strip`. \[–\]
    pub within_strip: f64,
    /// Largest response index that counts. \[–\]
    pub maximum_ratio: f64,
    /// Linear adjustment of the response index: slope and intercept.
    pub ratio_adjustment: Option<(f64, f64)>,
    /// What the site can never exceed, `YPmax`.
    pub maximum_yield: Yield,
    /// How nitrogen turns into grain.
    pub response: GrainResponse,
    /// Prices.
    pub prices: PriceInputs,
    /// Begins the draws.
    pub seed: u64,
}

/// One way to fertilise the field, by what may be expected. \[currency\] Grain above that without nitrogen, less nitrogen, pass and map.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ExpectedNet {
    /// In all. \[currency\]
    pub net: f64,
    /// A hectare. \[currency/ha\]
    pub per_ha: f64,
}

/// Every cell's nitrogen that would be used, drawn, and what rates make of it.
#[derive(Clone, Debug)]
pub(crate) struct Expectation {
    /// Draws of each cell.
    pub draws: u32,
    /// Area of the cells. \[ha\]
    hectares: f64,
    /// Nitrogen that each cell can use, draw by draw, cell after cell. \[kg N/ha\]
    usable: Vec<f32>,
    /// Area of each cell. \[ha\]
    areas: Vec<f64>,
    inputs: GainInputs,
}

impl Expectation {
    /// Draws what each cell would be with nitrogen. `None` without area.
    pub(crate) fn of(cells: &[GainCell], inputs: &GainInputs) -> Option<Self> {
        let hectares: f64 = cells.iter().map(|cell| cell.area.as_ha()).sum();
        if !(hectares > 0.0 && hectares.is_finite()) {
            return None;
        }
        let noise = libm::sqrt((inputs.share * inputs.within_strip).max(0.0));
        let most = MAXIMUM_NUMBERS.div_ceil(cells.len());
        let draws = if noise > 0.0 {
            DRAWS.min(u32::try_from(most).unwrap_or(DRAWS).max(MINIMUM_DRAWS))
        } else {
            1
        };
        let mut usable = vec![0.0_f32; cells.len() * draws as usize];
        // Every number hangs on its cell and draw alone, so threads change nothing.
        usable
            .par_chunks_exact_mut(draws as usize)
            .zip(cells)
            .enumerate()
            .for_each(|(k, (row, cell))| {
                let middle = inputs.share * cell.reference
                    + (1.0 - inputs.share) * cell.field_ratio * cell.index;
                for (place, draw) in row.iter_mut().zip(0_u64..) {
                    let at = if noise > 0.0 {
                        ground_deviate(inputs.seed, draw, k as u64)
                    } else {
                        0.0
                    };
                    let with = middle + at * noise * cell.reference;
                    *place = inputs.usable(cell, with) as f32;
                }
            });
        Some(Self {
            draws,
            hectares,
            usable,
            areas: cells.iter().map(|cell| cell.area.as_ha()).collect(),
            inputs: *inputs,
        })
    }

    /// What a rate on each cell may be expected to earn, in the order of the cells; `pass` tells whether the field is driven, `mapping` whether image and map
    /// are paid.
    pub(crate) fn of_map(&self, rates: impl Iterator<Item = NRate>, mapping: bool) -> ExpectedNet {
        let applied = self.inputs.response.applied_since_sensing.get();
        let draws = self.draws as usize;
        let (mut used, mut spread) = (0.0, 0.0);
        for ((rate, hectares), row) in rates.zip(&self.areas).zip(self.usable.chunks_exact(draws)) {
            let given = rate.get() + applied;
            let mean: f64 = row
                .iter()
                .map(|usable| f64::from(*usable).min(given))
                .sum::<f64>()
                / draws as f64;
            used += mean * hectares;
            spread += rate.get() * hectares;
        }
        let prices = &self.inputs.prices;
        let fixed = if spread > 0.0 {
            prices.application
        } else {
            0.0
        } + if mapping { prices.mapping } else { 0.0 };
        self.net(used, spread, fixed)
    }

    /// What one flat rate may be expected to earn.
    pub(crate) fn of_flat(&self, rate: NRate) -> ExpectedNet {
        self.of_map(self.areas.iter().map(|_| rate), false)
    }

    /// Which of these flat rates may be expected to earn most, and how much; the lowest of several. `None` of none.
    pub(crate) fn best_flat(&self, rates: &[NRate]) -> Option<(NRate, ExpectedNet)> {
        let mut sorted: Vec<f64> = rates
            .iter()
            .map(|rate| rate.get())
            .filter(|rate| rate.is_finite())
            .collect();
        sorted.sort_unstable_by(f64::total_cmp);
        let applied = self.inputs.response.applied_since_sensing.get();
        let draws = self.draws as usize;
        // What is used below each rate, and the ground that could use more, so that every rate is known after one pass.
        let mut below = vec![(0.0, 0.0); sorted.len() + 1];
        for (hectares, row) in self.areas.iter().zip(self.usable.chunks_exact(draws)) {
            let weight = hectares / draws as f64;
            for usable in row {
                let usable = f64::from(*usable);
                let place = sorted.partition_point(|rate| rate + applied < usable);
                below[place].0 += weight * usable;
                below[place].1 += weight;
            }
        }
        let (mut used_up, mut ground) = (0.0, 0.0);
        let mut best: Option<(NRate, ExpectedNet)> = None;
        for (rate, (kg, hectares)) in sorted.iter().zip(&below) {
            used_up += kg;
            ground += hectares;
            let used = used_up + (rate + applied) * (self.hectares - ground).max(0.0);
            let pass = if *rate > 0.0 {
                self.inputs.prices.application
            } else {
                0.0
            };
            let found = self.net(used, rate * self.hectares, pass);
            if best.is_none_or(|(_, other)| found.net > other.net + 1e-9 * self.hectares) {
                best = Some((NRate::kg_per_ha(*rate), found));
            }
        }
        best
    }

    /// Grain of so much used nitrogen, less what so much spread costs and what a hectare costs besides.
    fn net(&self, used_kg: f64, spread_kg: f64, per_ha: f64) -> ExpectedNet {
        let GainInputs {
            response, prices, ..
        } = &self.inputs;
        let grain_kg = used_kg * response.use_efficiency / response.grain_nitrogen;
        let net = grain_kg * prices.grain - spread_kg * prices.nitrogen - per_ha * self.hectares;
        ExpectedNet {
            net,
            per_ha: net / self.hectares,
        }
    }

    /// Area that was counted.
    pub(crate) fn area(&self) -> Area {
        Area::ha(self.hectares)
    }
}

impl GainInputs {
    /// Nitrogen that a cell can use if its index with nitrogen were so much: up to the yield in reach, applied nitrogen included. \[kg N/ha\]
    pub(crate) fn usable(&self, cell: &GainCell, with_nitrogen: f64) -> f64 {
        let raw = with_nitrogen / cell.index;
        let adjusted = self
            .ratio_adjustment
            .map_or(raw, |(slope, intercept)| slope * raw + intercept);
        let ratio = adjusted.clamp(1.0, self.maximum_ratio.max(1.0));
        let without = cell.yield_without.min(self.maximum_yield);
        let with = (without * ratio).min(self.maximum_yield);
        (with - without).get() * self.response.grain_nitrogen / self.response.use_efficiency
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::science::money::{MoneyCell, field_money};

    fn inputs(share: f64, within_strip: f64) -> GainInputs {
        GainInputs {
            share,
            within_strip,
            maximum_ratio: 2.0,
            ratio_adjustment: None,
            maximum_yield: Yield::kg_per_ha(9_000.0),
            response: GrainResponse {
                grain_nitrogen: 0.02,
                use_efficiency: 0.5,
                applied_since_sensing: NRate::ZERO,
            },
            prices: PriceInputs {
                grain: 0.2,
                nitrogen: 1.0,
                application: 10.0,
                mapping: 3.0,
            },
            seed: 1,
        }
    }

    fn cell(index: f64) -> GainCell {
        GainCell {
            area: Area::ha(1.0),
            index,
            reference: 0.72,
            field_ratio: 1.2,
            yield_without: Yield::kg_per_ha(10_000.0 * index),
        }
    }

    const FLATS: [f64; 7] = [0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0];

    fn flats() -> Vec<NRate> {
        FLATS.map(NRate::kg_per_ha).to_vec()
    }

    #[test]
    fn where_all_is_nitrogen_and_nothing_varies_it_is_the_plain_difference() {
        let cells = [cell(0.5), cell(0.6), cell(0.66)];
        // Yields of the strip's 0.72: 2200, 1200 and 600 kg more, 88, 48 and 24 kg N.
        let rates = [88.0, 48.0, 24.0].map(NRate::kg_per_ha);
        let inputs = inputs(1.0, 0.0);
        let expected = Expectation::of(&cells, &inputs).unwrap();
        let money: Vec<MoneyCell> = cells
            .iter()
            .zip(rates)
            .map(|(cell, rate)| MoneyCell {
                area: cell.area,
                rate,
                yield_without: cell.yield_without,
                yield_with: Yield::kg_per_ha(7_200.0),
            })
            .collect();
        let plain = field_money(&money, None, &inputs.response, &inputs.prices).unwrap();
        let (map, flat) = (
            expected.of_map(rates.into_iter(), true),
            expected.of_flat(plain.flat_rate),
        );
        assert!(
            (map.net - flat.net - (plain.map.net() - plain.flat.net())).abs() < 1e-3,
            "{map:?} {flat:?} {plain:?}"
        );
        assert!((map.net - (plain.map.net() - plain.none.net())).abs() < 1e-3);
    }

    #[test]
    fn where_nothing_is_nitrogen_each_cell_keeps_its_own_ground() {
        // With nitrogen 1.2 times its own index: 1000, 1200 and 1320 kg, 40, 48 and 52.8 kg N.
        let cells = [cell(0.5), cell(0.6), cell(0.66)];
        let expected = Expectation::of(&cells, &inputs(0.0, 0.01)).unwrap();
        assert_eq!(expected.draws, 1);
        let right = expected.of_map([40.0, 48.0, 52.8].map(NRate::kg_per_ha).into_iter(), false);
        // 140.8 kg used at 5 EUR of grain less 1 EUR, less three passes.
        assert!((right.net - (140.8 * 4.0 - 30.0)).abs() < 1e-4, "{right:?}");
        // The map that takes all of the index deficit for nitrogen starves the green and wastes on the pale.
        let wrong = expected.of_map([88.0, 48.0, 24.0].map(NRate::kg_per_ha).into_iter(), false);
        assert!(
            (wrong.net - ((40.0 + 48.0 + 24.0) * 5.0 - 160.0 - 30.0)).abs() < 1e-4,
            "{wrong:?}"
        );
        let (rate, flat) = expected.best_flat(&flats()).unwrap();
        assert_eq!(rate.get(), 60.0);
        assert!(flat.net > wrong.net && flat.net < right.net);
        assert!((flat.net - (140.8 * 5.0 - 180.0 - 30.0)).abs() < 1e-4);
    }

    #[test]
    fn every_flat_rate_in_one_pass_is_each_by_itself() {
        let cells: Vec<GainCell> = (0..40).map(|k| cell(0.5 + 0.005 * f64::from(k))).collect();
        let expected = Expectation::of(&cells, &inputs(0.6, 0.002)).unwrap();
        assert_eq!(expected.draws, DRAWS);
        let (rate, best) = expected.best_flat(&flats()).unwrap();
        let by_hand = flats()
            .into_iter()
            .map(|rate| (rate, expected.of_flat(rate)))
            .max_by(|a, b| a.1.net.total_cmp(&b.1.net))
            .unwrap();
        assert_eq!(rate, by_hand.0);
        assert!((best.net - by_hand.1.net).abs() < 1e-6 * best.net.abs());
        // The same again with the same seed.
        assert_eq!(
            Expectation::of(&cells, &inputs(0.6, 0.002)).unwrap().usable,
            expected.usable
        );
    }

    #[test]
    fn noise_has_the_variance_that_is_stated() {
        // RI is limited nowhere and the yield nowhere, so that usable nitrogen is a straight line in the index with nitrogen.
        let mut open = inputs(0.5, 0.0016);
        open.maximum_yield = Yield::kg_per_ha(90_000.0);
        let one = cell(0.5);
        let cells = vec![one; 400];
        let expected = Expectation::of(&cells, &open).unwrap();
        let n = expected.usable.len() as f64;
        let mean = expected.usable.iter().map(|x| f64::from(*x)).sum::<f64>() / n;
        let sd = libm::sqrt(
            expected
                .usable
                .iter()
                .map(|x| (f64::from(*x) - mean) * (f64::from(*x) - mean))
                .sum::<f64>()
                / n,
        );
        // 0.5 · 0.72 + 0.5 · 1.2 · 0.5 = 0.66 with nitrogen; 10 000 kg an index unit, 0.04 kg N a kg.
        assert!((mean - 64.0).abs() < 0.2, "{mean}");
        // √(0.5 · 0.0016) · 0.72 · 400.
        assert!((sd - 8.146).abs() < 0.1, "{sd}");
    }
}
