//! A picture made of pixels inside a drawing: the index as it was taken, sampled on the plane.

use std::sync::LazyLock;

use crate::map::palette::{Colour, ramp};
use crate::report::draw::drawing::{Drawing, Item, Pixels};
use crate::report::draw::frame::MapFrame;

/// The index on an upright lattice of the plane, thinned to what a page can show.
#[derive(Clone, Debug, PartialEq)]
pub struct IndexOverview {
    /// Plane coordinates of the upper left corner.
    pub corner: (f64, f64),
    /// Side of a sample. \[m\]
    pub step: f64,
    /// Columns.
    pub cols: usize,
    /// Rows, from north to south.
    pub rows: usize,
    /// Row by row; NaN where there is no value.
    pub values: Vec<f64>,
    /// Which samples lie in the field; the others are its surroundings.
    pub inside: Vec<bool>,
}

/// Which part of an overview is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The field in colours, its surroundings pale.
    All,
    /// The surroundings alone, pale.
    Around,
}

/// Colours of the field.
const COLOURS: u8 = 200;
/// Greys of the surroundings: few, so that they mean nothing, and pale, so that nobody takes them for rates.
const GREYS: u8 = 12;

/// Colours of the field, then those of its surroundings; the same in every picture.
static PALETTE: LazyLock<Vec<Colour>> = LazyLock::new(|| {
    let grey = |k: u8| {
        let tone = 0xf6 - 3 * k;
        Colour::new(tone, tone, tone)
    };
    (0..COLOURS)
        .map(|k| ramp(f64::from(k) / f64::from(COLOURS - 1)))
        .chain((0..GREYS).map(grey))
        .collect()
});

impl IndexOverview {
    /// Least and greatest value between the 2nd and the 98th percentile, so that a few odd pixels do not flatten the picture.
    pub fn range(&self) -> Option<(f64, f64)> {
        let mut values: Vec<f64> = self
            .values
            .iter()
            .zip(&self.inside)
            .filter(|(v, inside)| **inside && v.is_finite())
            .map(|(v, _)| *v)
            .collect();
        let mut at = |share: f64| {
            let place = ((values.len() as f64 - 1.0) * share) as usize;
            (place < values.len()).then(|| *values.select_nth_unstable_by(place, f64::total_cmp).1)
        };
        let (low, high) = (at(0.02)?, at(0.98)?);
        if low < high {
            return Some((low, high));
        }
        at(0.5).map(|v| (v - 0.01, v + 0.01))
    }

    /// As pixels: the ramp spread over `range` in the field, pale greys around it.
    pub fn pixels(&self, range: (f64, f64), part: Part) -> Pixels {
        let shade = |(value, inside): (&f64, &bool)| {
            if !value.is_finite() || (*inside && part == Part::Around) {
                return Pixels::CLEAR;
            }
            let share = ((value - range.0) / (range.1 - range.0)).clamp(0.0, 1.0);
            if *inside {
                libm::round(share * f64::from(COLOURS - 1)) as u8
            } else {
                COLOURS + libm::round(share * f64::from(GREYS - 1)) as u8
            }
        };
        Pixels {
            cols: self.cols,
            rows: self.rows,
            indices: self.values.iter().zip(&self.inside).map(shade).collect(),
            palette: PALETTE.clone(),
        }
    }

    /// Every second sample of it, for a small picture.
    #[must_use]
    pub fn halved(&self) -> Self {
        let (cols, rows) = (self.cols.div_ceil(2), self.rows.div_ceil(2));
        let picked = || {
            (0..rows).flat_map(move |row| (0..cols).map(move |col| 2 * row * self.cols + 2 * col))
        };
        Self {
            corner: self.corner,
            step: 2.0 * self.step,
            cols,
            rows,
            values: picked().map(|at| self.values[at]).collect(),
            inside: picked().map(|at| self.inside[at]).collect(),
        }
    }

    /// Draws it under what follows.
    pub fn draw(&self, drawing: &mut Drawing, frame: &MapFrame, range: (f64, f64), part: Part) {
        let (x, y) = frame.place(self.corner.0, self.corner.1);
        let window = (
            x,
            y,
            self.cols as f64 * self.step * frame.scale,
            self.rows as f64 * self.step * frame.scale,
        );
        drawing.items.push(Item::Image {
            window,
            pixels: self.pixels(range, part),
        });
    }
}

/// Pixels as a PNG with a palette; `None` when they cannot be encoded.
pub fn png(pixels: &Pixels) -> Option<Vec<u8>> {
    let mut palette: Vec<u8> = pixels
        .palette
        .iter()
        .flat_map(|colour| [colour.red, colour.green, colour.blue])
        .collect();
    palette.resize(768, 255);
    let mut clear = vec![255_u8; 256];
    clear[usize::from(Pixels::CLEAR)] = 0;
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(
        &mut bytes,
        u32::try_from(pixels.cols).ok()?,
        u32::try_from(pixels.rows).ok()?,
    );
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(palette);
    encoder.set_trns(clear);
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(&pixels.indices).ok()?;
    writer.finish().ok()?;
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn missing_pixels_are_clear() {
        let overview = IndexOverview {
            corner: (0.0, 0.0),
            step: 1.0,
            cols: 2,
            rows: 1,
            values: vec![f64::NAN, 0.5],
            inside: vec![true, true],
        };
        assert_eq!(overview.range(), Some((0.49, 0.51)));
        let bytes = png(&overview.pixels((0.0, 1.0), Part::All)).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes))
            .read_info()
            .unwrap();
        let mut pixels = [0; 2];
        reader.next_frame(&mut pixels).unwrap();
        assert_eq!(pixels, [Pixels::CLEAR, 100]);
        assert_eq!(reader.info().trns.as_ref().unwrap()[255], 0);
    }

    #[test]
    fn surroundings_are_pale_grey_and_leave_the_field_to_rates() {
        let overview = IndexOverview {
            corner: (0.0, 0.0),
            step: 1.0,
            cols: 3,
            rows: 1,
            values: vec![0.2, 0.5, 0.8],
            inside: vec![false, true, false],
        };
        let pixels = overview.pixels((0.2, 0.8), Part::Around);
        assert_eq!(pixels.indices[1], Pixels::CLEAR);
        for k in [0, 2] {
            let colour = pixels.palette[usize::from(pixels.indices[k])];
            assert!(colour.red == colour.blue && colour.red > 0xd0, "{colour:?}");
        }
        assert_eq!(overview.halved().values, [0.2, 0.8]);
    }
}
