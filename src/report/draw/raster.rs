//! A picture made of pixels inside a drawing: the index as it was taken, sampled on the plane.

use crate::map::palette::ramp;
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
    /// Row by row; NaN where there is no value or no field.
    pub values: Vec<f64>,
}

impl IndexOverview {
    /// Least and greatest value between the 2nd and the 98th percentile, so that a few odd pixels do not flatten the picture.
    pub fn range(&self) -> Option<(f64, f64)> {
        let mut values: Vec<f64> = self
            .values
            .iter()
            .copied()
            .filter(|v| v.is_finite())
            .collect();
        values.sort_by(f64::total_cmp);
        let at = |share: f64| {
            values
                .get(((values.len() as f64 - 1.0) * share) as usize)
                .copied()
        };
        Some((at(0.02)?, at(0.98)?))
            .filter(|(low, high)| low < high)
            .or_else(|| at(0.5).map(|v| (v - 0.01, v + 0.01)))
    }

    /// As pixels of 255 colours and nothing, the ramp spread over `range`.
    pub fn pixels(&self, range: (f64, f64)) -> Pixels {
        let shade = |value: &f64| {
            if value.is_finite() {
                libm::round(((value - range.0) / (range.1 - range.0)).clamp(0.0, 1.0) * 254.0) as u8
            } else {
                Pixels::CLEAR
            }
        };
        Pixels {
            cols: self.cols,
            rows: self.rows,
            indices: self.values.iter().map(shade).collect(),
            palette: (0..255).map(|k| ramp(f64::from(k) / 254.0)).collect(),
        }
    }

    /// Draws it under what follows.
    pub fn draw(&self, drawing: &mut Drawing, frame: &MapFrame, range: (f64, f64)) {
        let (x, y) = frame.place(self.corner.0, self.corner.1);
        let window = (
            x,
            y,
            self.cols as f64 * self.step * frame.scale,
            self.rows as f64 * self.step * frame.scale,
        );
        drawing.items.push(Item::Image {
            window,
            pixels: self.pixels(range),
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
        };
        assert_eq!(overview.range(), Some((0.49, 0.51)));
        let bytes = png(&overview.pixels((0.0, 1.0))).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes))
            .read_info()
            .unwrap();
        let mut pixels = [0; 2];
        reader.next_frame(&mut pixels).unwrap();
        assert_eq!(pixels, [Pixels::CLEAR, 127]);
        assert_eq!(reader.info().trns.as_ref().unwrap()[255], 0);
    }
}
