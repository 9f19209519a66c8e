//! What the pixels of a field hold: values by band, and how many have no index.

use crate::space::fixed::Fixed;

/// What the pixels of the field hold in one band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandRange {
    /// Least value.
    pub minimum: f64,
    /// Greatest value.
    pub maximum: f64,
    /// Sum of values.
    pub sum: Fixed,
    /// Pixels with a value.
    pub pixels: u64,
}

impl Default for BandRange {
    fn default() -> Self {
        Self {
            minimum: f64::INFINITY,
            maximum: f64::NEG_INFINITY,
            sum: Fixed::default(),
            pixels: 0,
        }
    }
}

impl BandRange {
    pub(super) fn take(&mut self, values: &[f64]) {
        for &value in values.iter().filter(|value| value.is_finite()) {
            self.minimum = self.minimum.min(value);
            self.maximum = self.maximum.max(value);
            self.sum.add(Fixed::of(value));
            self.pixels += 1;
        }
    }
    pub(super) fn add(&mut self, other: Self) {
        self.minimum = self.minimum.min(other.minimum);
        self.maximum = self.maximum.max(other.maximum);
        self.sum.add(other.sum);
        self.pixels += other.pixels;
    }
    /// Mean value; `None` without a pixel.
    pub fn mean(&self) -> Option<f64> {
        (self.pixels > 0).then(|| self.sum.get() / self.pixels as f64)
    }
}

/// Why pixels of the field were not seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PixelCounts {
    /// Pixels of the windows that lie in the field, wholly by the rule.
    pub in_field: u64,
    /// Of those: a band without a value.
    pub missing: u64,
    /// Of those: a denominator that is not positive, a root of a negative number.
    pub undefined: u64,
    /// Of those: an index outside its range.
    pub out_of_range: u64,
    /// Row and column of the first pixel that has every band and yet no index, in the image's own order.
    pub first_odd: Option<(i64, i64)>,
}

impl PixelCounts {
    pub(super) fn add(&mut self, other: Self) {
        self.in_field += other.in_field;
        self.missing += other.missing;
        self.undefined += other.undefined;
        self.out_of_range += other.out_of_range;
        self.first_odd = self.first_odd.into_iter().chain(other.first_odd).min();
    }
}
