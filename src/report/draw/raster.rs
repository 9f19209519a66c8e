//! A picture made of pixels inside a drawing: the index as it was taken, sampled on the plane.

use crate::report::draw::frame::MapFrame;
use crate::report::draw::shade::ramp;
use crate::report::draw::svg::Svg;
use crate::report::draw::svg::num;

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
        let mut values: Vec<f64> = self.values.iter().copied().filter(|v| v.is_finite()).collect();
        values.sort_by(f64::total_cmp);
        let at = |share: f64| values.get(((values.len() as f64 - 1.0) * share) as usize).copied();
        Some((at(0.02)?, at(0.98)?)).filter(|(low, high)| low < high).or_else(|| at(0.5).map(|v| (v - 0.01, v + 0.01)))
    }

    /// As a PNG of 255 colours and nothing, the ramp spread over `range`.
    pub fn png(&self, range: (f64, f64)) -> Option<Vec<u8>> {
        let mut palette = Vec::with_capacity(768);
        let mut clear = vec![255_u8; 256];
        clear[255] = 0;
        for k in 0..255 {
            palette.extend(ramp(f64::from(k) / 254.0));
        }
        palette.extend([255, 255, 255]);
        let shade = |value: &f64| {
            if value.is_finite() { libm::round(((value - range.0) / (range.1 - range.0)).clamp(0.0, 1.0) * 254.0) as u8 } else { 255 }
        };
        let pixels: Vec<u8> = self.values.iter().map(shade).collect();
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, u32::try_from(self.cols).ok()?, u32::try_from(self.rows).ok()?);
        encoder.set_color(png::ColorType::Indexed);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_palette(palette);
        encoder.set_trns(clear);
        encoder.set_compression(png::Compression::Balanced);
        let mut writer = encoder.write_header().ok()?;
        writer.write_image_data(&pixels).ok()?;
        writer.finish().ok()?;
        Some(bytes)
    }

    /// Draws it under what follows.
    pub fn draw(&self, svg: &mut Svg, frame: &MapFrame, range: (f64, f64)) {
        let Some(png) = self.png(range) else { return };
        let (x, y) = frame.place(self.corner.0, self.corner.1);
        let (w, h) = (self.cols as f64 * self.step * frame.scale, self.rows as f64 * self.step * frame.scale);
        svg.raw(&format!(
            "<image x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" preserveAspectRatio=\"none\" style=\"image-rendering:pixelated\" xlink:href=\"data:image/png;base64,{}\"/>",
            num(x),
            num(y),
            num(w),
            num(h),
            base64(&png)
        ));
    }
}

/// Base 64 as RFC 4648 writes it.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let word = three.iter().fold(0_u32, |word, byte| word << 8 | u32::from(*byte)) << (8 * (3 - three.len()));
        for k in 0..4 {
            let letter = LETTERS[(word >> (18 - 6 * k) & 63) as usize];
            text.push(if k <= three.len() { char::from(letter) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base_64_of_the_standard() {
        // Test vectors of RFC 4648, section 10.
        for (plain, coded) in [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("foobar", "Zm9vYmFy")] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn missing_pixels_are_clear() {
        let overview = IndexOverview { corner: (0.0, 0.0), step: 1.0, cols: 2, rows: 1, values: vec![f64::NAN, 0.5] };
        assert_eq!(overview.range(), Some((0.49, 0.51)));
        let bytes = overview.png((0.0, 1.0)).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes)).read_info().unwrap();
        let mut pixels = [0; 2];
        reader.next_frame(&mut pixels).unwrap();
        assert_eq!(pixels, [255, 127]);
        assert_eq!(reader.info().trns.as_ref().unwrap()[255], 0);
    }
}
