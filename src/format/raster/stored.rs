//! Stored numbers to values: read in the file's own type, so that GDAL only copies, and turned into values in one go.

use gdal::errors::GdalError;
use gdal::raster::{GdalDataType, GdalType, RasterBand};

/// How a band's stored numbers become values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Conversion {
    /// The stored number that stands for "no value".
    pub(super) nodata: Option<f64>,
    /// Least and greatest stored number that is a measurement.
    pub(super) valid: Option<(f64, f64)>,
    /// Value = stored × scale + offset.
    pub(super) scale: f64,
    /// Value = stored × scale + offset.
    pub(super) offset: f64,
}

impl Conversion {
    /// Stored numbers as they stand; what is no finite number becomes NaN.
    pub(super) const AS_STORED: Self = Self {
        nodata: None,
        valid: None,
        scale: 1.0,
        offset: 0.0,
    };

    /// Values of a run of stored numbers; what is no data or no number becomes NaN.
    #[expect(
        clippy::needless_bitwise_bool,
        reason = "without branches the loop works on several pixels at once"
    )]
    pub(super) fn apply<T: Copy + Into<f64>>(&self, stored: &[T], values: &mut [f64]) {
        // A nodata value of a 32-bit file is stated in 64 bits: compare both.
        let (wide, narrow) = self.nodata.map_or((f64::NAN, f64::NAN), |value| {
            (value, f64::from(value as f32))
        });
        let (minimum, maximum) = self.valid.unwrap_or((f64::MIN, f64::MAX));
        // Infinite numbers lie outside the widest bounds, and what is no number within none.
        let keep = |number: f64| {
            (number >= minimum) & (number <= maximum) & (number != wide) & (number != narrow)
        };
        if self.scale == 1.0 && self.offset == 0.0 {
            for (value, stored) in values.iter_mut().zip(stored) {
                let number = (*stored).into();
                *value = if keep(number) { number } else { f64::NAN };
            }
        } else {
            for (value, stored) in values.iter_mut().zip(stored) {
                let number = (*stored).into();
                *value = if keep(number) {
                    number * self.scale + self.offset
                } else {
                    f64::NAN
                };
            }
        }
    }
}

/// Room for stored numbers, one of each type that images come in; used again and again.
#[derive(Debug, Default)]
pub(super) struct Stored {
    bytes: Vec<u8>,
    words: Vec<u16>,
    signed: Vec<i16>,
    single: Vec<f32>,
    double: Vec<f64>,
}

impl Stored {
    /// Reads `size` pixels from `place` on into `values`.
    pub(super) fn read(
        &mut self,
        band: &RasterBand<'_>,
        place: (isize, isize),
        size: (usize, usize),
        conversion: &Conversion,
        values: &mut [f64],
    ) -> Result<(), GdalError> {
        match band.band_type() {
            GdalDataType::UInt8 => read_as(&mut self.bytes, band, place, size, conversion, values),
            GdalDataType::UInt16 => read_as(&mut self.words, band, place, size, conversion, values),
            GdalDataType::Int16 => read_as(&mut self.signed, band, place, size, conversion, values),
            GdalDataType::Float32 => {
                read_as(&mut self.single, band, place, size, conversion, values)
            }
            // Rarer types are turned into doubles by GDAL; every one of them fits, but for 64-bit integers beyond 2⁵³, which no index is made of.
            _ => read_as(&mut self.double, band, place, size, conversion, values),
        }
    }
}

fn read_as<T: Copy + Default + GdalType + Into<f64>>(
    room: &mut Vec<T>,
    band: &RasterBand<'_>,
    place: (isize, isize),
    size: (usize, usize),
    conversion: &Conversion,
    values: &mut [f64],
) -> Result<(), GdalError> {
    room.resize(size.0 * size.1, T::default());
    band.read_into_slice(place, size, size, room, None)?;
    conversion.apply(room, values);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nodata_and_what_is_no_number_are_missing() {
        let mut values = [0.0; 4];
        let plain = Conversion {
            nodata: Some(-9999.0),
            valid: None,
            scale: 1.0,
            offset: 0.0,
        };
        plain.apply(&[0.5_f32, -9999.0, f32::NAN, f32::INFINITY], &mut values);
        assert_eq!(values[0], 0.5);
        assert!(values[1..].iter().all(|value| value.is_nan()));
        // 1e20 is no 32-bit number: the nearest one is what the file holds.
        Conversion {
            nodata: Some(1e20),
            ..plain
        }
        .apply(&[1e20_f32, 1.0], &mut values[..2]);
        assert!(values[0].is_nan() && values[1] == 1.0);
        Conversion {
            nodata: Some(0.0),
            scale: 0.5,
            offset: -1.0,
            ..plain
        }
        .apply(&[0_u16, 1, 8], &mut values[..3]);
        assert!(values[0].is_nan());
        assert_eq!(values[1..3], [-0.5, 3.0]);
        Conversion {
            nodata: Some(0.0),
            valid: Some((7.0, 9.0)),
            ..plain
        }
        .apply(&[0_u16, 6, 9, 10], &mut values);
        assert!(values[0].is_nan() && values[1].is_nan() && values[2] == 9.0 && values[3].is_nan());
    }
}
