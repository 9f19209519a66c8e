//! A drawing as a PNG. Painted on one core without vector instructions, so that every machine gives the same bytes.

use tiny_skia::{
    Color, FillRule, FilterQuality, LineJoin, Mask, Paint as Brush, PathBuilder, Pattern, Pixmap,
    PixmapPaint, Rect, Shader, SpreadMode, Stroke as Pen, StrokeDash, Transform,
};
use ttf_parser::Face;

use crate::map::palette::{Colour, INK, PAPER};
use crate::report::draw::drawing::{
    Anchor, Drawing, Item, Paint, Pixels, Rings, Stroke, Style, TextStyle,
};
use crate::report::draw::hatch;
use crate::report::draw::svg::plain;
use crate::report::pdf::fonts;

/// The bytes of a PNG as wide as this; `None` when that is no size. \[pixels\]
pub(crate) fn picture(drawing: &Drawing, width: u32) -> Option<Vec<u8>> {
    let scale = width as f32 / drawing.width as f32;
    let map = Pixmap::new(width, (drawing.height as f32 * scale).ceil() as u32)?;
    let faces = [
        Face::parse(fonts::REGULAR, 0).ok()?,
        Face::parse(fonts::BOLD, 0).ok()?,
    ];
    let mut painter = Painter {
        map,
        faces,
        at: vec![Transform::from_scale(scale, scale)],
        clip: Vec::new(),
        scale,
    };
    for item in &drawing.items {
        painter.item(item);
    }
    let mut rgb = Vec::with_capacity(painter.map.pixels().len() * 3);
    for pixel in painter.map.pixels() {
        let colour = pixel.demultiply();
        rgb.extend([colour.red(), colour.green(), colour.blue()]);
    }
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, painter.map.width(), painter.map.height());
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(&rgb).ok()?;
    writer.finish().ok()?;
    Some(bytes)
}

struct Painter<'a> {
    map: Pixmap,
    faces: [Face<'a>; 2],
    at: Vec<Transform>,
    /// Whether each entry of `at` came with a clip, and the clip.
    clip: Vec<Option<Mask>>,
    scale: f32,
}

fn colour(of: Colour) -> Color {
    Color::from_rgba8(of.red, of.green, of.blue, 255)
}

fn pen(stroke: &Stroke) -> Pen {
    Pen {
        width: stroke.width as f32,
        line_join: LineJoin::Round,
        dash: if stroke.dash.is_empty() {
            None
        } else {
            StrokeDash::new(stroke.dash.iter().map(|part| *part as f32).collect(), 0.0)
        },
        ..Pen::default()
    }
}

fn outline(rings: &Rings, closed: bool) -> Option<tiny_skia::Path> {
    let mut builder = PathBuilder::new();
    for ring in rings {
        for (k, (x, y)) in ring.iter().enumerate() {
            if k == 0 {
                builder.move_to(*x as f32, *y as f32);
            } else {
                builder.line_to(*x as f32, *y as f32);
            }
        }
        if closed {
            builder.close();
        }
    }
    builder.finish()
}

impl Painter<'_> {
    fn transform(&self) -> Transform {
        self.at.last().copied().unwrap_or_default()
    }
    fn mask(&self) -> Option<&Mask> {
        self.clip.iter().rev().find_map(Option::as_ref)
    }

    fn item(&mut self, item: &Item) {
        match item {
            Item::Path {
                rings,
                closed,
                style,
            } => {
                if let Some(path) = outline(rings, *closed) {
                    self.paint(&path, style);
                }
            }
            Item::Circle { at, radius, style } => {
                if let Some(path) =
                    PathBuilder::from_circle(at.0 as f32, at.1 as f32, *radius as f32)
                {
                    self.paint(&path, style);
                }
            }
            Item::Text { at, text, style } => self.text(*at, text, style),
            Item::Image { window, pixels } => self.image(*window, pixels),
            Item::Clip(x, y, width, height) => {
                let mask = Rect::from_xywh(*x as f32, *y as f32, *width as f32, *height as f32)
                    .and_then(|rect| {
                        let mut mask = Mask::new(self.map.width(), self.map.height())?;
                        mask.fill_path(
                            &PathBuilder::from_rect(rect),
                            FillRule::Winding,
                            true,
                            self.transform(),
                        );
                        Some(mask)
                    });
                self.at.push(self.transform());
                self.clip.push(mask);
            }
            Item::Turned(at, degrees) => {
                let angle = degrees.to_radians();
                let (sin, cos) = (libm::sin(angle) as f32, libm::cos(angle) as f32);
                self.at
                    .push(self.transform().pre_concat(Transform::from_row(
                        cos,
                        sin,
                        -sin,
                        cos,
                        at.0 as f32,
                        at.1 as f32,
                    )));
                self.clip.push(None);
            }
            Item::End => {
                if self.at.len() > 1 {
                    self.at.pop();
                    self.clip.pop();
                }
            }
        }
    }

    fn paint(&mut self, path: &tiny_skia::Path, style: &Style) {
        let transform = self.transform();
        let mask = self.mask().cloned();
        let tile = match style.fill {
            Some(Paint::Hatch(of)) => self.tile(of),
            _ => None,
        };
        let mut brush = Brush {
            anti_alias: true,
            ..Brush::default()
        };
        let filled = match style.fill {
            Some(Paint::Colour(of)) => {
                brush.set_color(colour(of));
                true
            }
            Some(Paint::Veil) => {
                brush.set_color(Color::from_rgba8(PAPER.red, PAPER.green, PAPER.blue, 217));
                true
            }
            Some(Paint::Hatch(_)) => tile.as_ref().is_some_and(|tile| {
                brush.shader = Pattern::new(
                    tile.as_ref(),
                    SpreadMode::Repeat,
                    FilterQuality::Nearest,
                    1.0,
                    Transform::from_scale(1.0 / self.scale, 1.0 / self.scale),
                );
                true
            }),
            None => false,
        };
        if filled {
            self.map
                .fill_path(path, &brush, FillRule::EvenOdd, transform, mask.as_ref());
        }
        if let Some(stroke) = &style.stroke {
            let mut brush = Brush {
                anti_alias: true,
                ..Brush::default()
            };
            brush.shader = Shader::SolidColor(colour(stroke.colour));
            self.map
                .stroke_path(path, &brush, &pen(stroke), transform, mask.as_ref());
        }
    }

    /// A tile of a hatch in pixels.
    fn tile(&self, of: hatch::Hatch) -> Option<Pixmap> {
        let side = (hatch::TILE as f32 * self.scale).round().max(4.0);
        let map = Pixmap::new(side as u32, side as u32)?;
        let scale = side / hatch::TILE as f32;
        let faces = [self.faces[0].clone(), self.faces[1].clone()];
        let mut painter = Painter {
            map,
            faces,
            at: vec![Transform::from_scale(scale, scale)],
            clip: Vec::new(),
            scale,
        };
        for item in hatch::tile(of) {
            painter.item(&item);
        }
        Some(painter.map)
    }

    fn text(&mut self, at: (f64, f64), text: &str, style: &TextStyle) {
        let face = &self.faces[usize::from(style.bold)];
        let scale = style.size as f32 / f32::from(face.units_per_em());
        let mut glyphs = Vec::new();
        let mut width = 0.0;
        for c in plain(text).chars() {
            let Some(glyph) = face.glyph_index(c).or_else(|| face.glyph_index('?')) else {
                continue;
            };
            let mut shape = Outline::default();
            face.outline_glyph(glyph, &mut shape);
            glyphs.push((width, shape.builder.finish()));
            width += f32::from(face.glyph_hor_advance(glyph).unwrap_or(0)) * scale;
        }
        let left = at.0 as f32
            - match style.anchor {
                Anchor::Start => 0.0,
                Anchor::Middle => width / 2.0,
                Anchor::End => width,
            };
        let place = |x: f32| Transform::from_row(scale, 0.0, 0.0, -scale, left + x, at.1 as f32);
        let shapes: Vec<tiny_skia::Path> = glyphs
            .into_iter()
            .filter_map(|(x, path)| path?.transform(place(x)))
            .collect();
        if style.halo {
            let halo = Style::line(Stroke::new(PAPER, style.size * 0.3));
            for shape in &shapes {
                self.paint(shape, &halo);
            }
        }
        let (transform, mask) = (self.transform(), self.mask().cloned());
        let mut brush = Brush {
            anti_alias: true,
            ..Brush::default()
        };
        brush.set_color(colour(INK));
        for shape in &shapes {
            // Letters are filled by their winding, as fonts are drawn.
            self.map
                .fill_path(shape, &brush, FillRule::Winding, transform, mask.as_ref());
        }
    }

    fn image(&mut self, window: (f64, f64, f64, f64), pixels: &Pixels) {
        let (Ok(cols), Ok(rows)) = (u32::try_from(pixels.cols), u32::try_from(pixels.rows)) else {
            return;
        };
        let Some(mut source) = Pixmap::new(cols, rows) else {
            return;
        };
        for (target, index) in source.pixels_mut().iter_mut().zip(&pixels.indices) {
            if let Some(of) = pixels
                .palette
                .get(usize::from(*index))
                .filter(|_| *index != Pixels::CLEAR)
            {
                *target =
                    tiny_skia::ColorU8::from_rgba(of.red, of.green, of.blue, 255).premultiply();
            }
        }
        let stretch = Transform::from_row(
            window.2 as f32 / cols as f32,
            0.0,
            0.0,
            window.3 as f32 / rows as f32,
            window.0 as f32,
            window.1 as f32,
        );
        let (transform, mask) = (self.transform().pre_concat(stretch), self.mask().cloned());
        self.map.draw_pixmap(
            0,
            0,
            source.as_ref(),
            &PixmapPaint::default(),
            transform,
            mask.as_ref(),
        );
    }
}

/// The outline of a letter.
#[derive(Default)]
struct Outline {
    builder: PathBuilder,
}

impl ttf_parser::OutlineBuilder for Outline {
    fn move_to(&mut self, x: f32, y: f32) {
        self.builder.move_to(x, y);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.builder.line_to(x, y);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.builder.quad_to(x1, y1, x, y);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.builder.cubic_to(x1, y1, x2, y2, x, y);
    }
    fn close(&mut self) {
        self.builder.close();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pixels(drawing: &Drawing, width: u32) -> (u32, u32, Vec<u8>) {
        let bytes = picture(drawing, width).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes))
            .read_info()
            .unwrap();
        let (w, h) = (reader.info().width, reader.info().height);
        let mut data = vec![0; (w * h * 3) as usize];
        reader.next_frame(&mut data).unwrap();
        (w, h, data)
    }

    #[test]
    fn shapes_stand_where_they_were_drawn() {
        let mut drawing = Drawing::new("test", 20.0, 10.0);
        drawing.rect(10.0, 0.0, 10.0, 10.0, Style::filled(Colour::new(200, 0, 0)));
        drawing.items.push(Item::Clip(0.0, 0.0, 5.0, 10.0));
        drawing.rect(0.0, 0.0, 20.0, 5.0, Style::filled(Colour::new(0, 0, 200)));
        drawing.items.push(Item::End);
        let (w, h, data) = pixels(&drawing, 40);
        assert_eq!((w, h), (40, 20));
        let at = |x: usize, y: usize| &data[(y * 40 + x) * 3..][..3];
        assert_eq!(
            (at(5, 15), at(30, 10), at(5, 5), at(30, 5)),
            (
                &[255, 255, 255][..],
                &[200, 0, 0][..],
                &[0, 0, 200][..],
                &[200, 0, 0][..]
            )
        );
    }

    #[test]
    fn text_leaves_ink_and_hatches_leave_signs() {
        let ink = |draw: &dyn Fn(&mut Drawing)| {
            let mut drawing = Drawing::new("test", 60.0, 20.0);
            draw(&mut drawing);
            pixels(&drawing, 240)
                .2
                .iter()
                .filter(|value| **value < 64)
                .count()
        };
        assert_eq!(ink(&|_| {}), 0);
        let plain = ink(&|drawing| drawing.text((5.0, 15.0), "Rate", TextStyle::default()));
        let bold = ink(&|drawing| {
            drawing.text(
                (5.0, 15.0),
                "Rate",
                TextStyle {
                    bold: true,
                    ..TextStyle::default()
                },
            );
        });
        assert!(plain > 100 && bold > plain, "{plain} {bold}");
        for hatch in hatch::Hatch::ALL {
            let count = ink(&|drawing| drawing.rect(0.0, 0.0, 60.0, 20.0, Style::hatched(hatch)));
            assert!(count > 500, "{hatch:?} {count}");
        }
    }
}
