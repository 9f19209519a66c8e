//! Paints rows and drawings on a page.

use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Size, Transform};
use krilla::image::Image;
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, FillRule, LineJoin, Pattern, Stroke as Pen, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag};

use super::fonts::Fonts;
use super::rows::{Mark, RULE, Row, SOFT};
use super::setting::Look;
use super::tree::Tree;
use crate::map::palette::{Colour, INK, PAPER};
use crate::report::draw::drawing::{Anchor, Drawing, Item, Paint, Pixels, Rings, Stroke, Style};
use crate::report::draw::hatch;

fn colour(colour: Colour) -> rgb::Color {
    rgb::Color::new(colour.red, colour.green, colour.blue)
}

fn fill(of: Colour) -> Fill {
    Fill {
        paint: colour(of).into(),
        opacity: NormalizedF32::ONE,
        rule: FillRule::EvenOdd,
    }
}

fn pen(stroke: &Stroke) -> Pen {
    Pen {
        paint: colour(stroke.colour).into(),
        width: stroke.width as f32,
        line_join: LineJoin::Round,
        dash: (!stroke.dash.is_empty()).then(|| StrokeDash {
            array: stroke.dash.iter().map(|part| *part as f32).collect(),
            offset: 0.0,
        }),
        ..Pen::default()
    }
}

/// A row at a place. Marks without a branch are decoration.
pub(super) fn row(
    surface: &mut Surface<'_>,
    fonts: &Fonts,
    row: &Row,
    at: (f64, f64),
    tree: &mut Tree,
) {
    for (mark, node) in &row.marks {
        let is_text = matches!(mark, Mark::Text { .. });
        let tag = match node {
            Some(_) if is_text => ContentTag::Span(SpanTag::empty()),
            Some(_) => ContentTag::Other,
            None => ContentTag::Artifact(Artifact::with_kind(ArtifactType::Layout)),
        };
        let content = surface.start_tagged(tag);
        match mark {
            Mark::Text { x, y, text, look } => {
                text_at(surface, fonts, (at.0 + x, at.1 + y), text, *look);
            }
            Mark::Rule {
                from,
                to,
                width,
                colour,
            } => {
                let place = |p: &(f64, f64)| (at.0 + p.0, at.1 + p.1);
                path(
                    surface,
                    &vec![vec![place(from), place(to)]],
                    false,
                    &Style::line(Stroke::new(*colour, *width)),
                );
            }
            Mark::Drawing {
                at: inside,
                scale,
                drawing,
            } => {
                let (x, y, scale) = (
                    (at.0 + inside.0) as f32,
                    (at.1 + inside.1) as f32,
                    *scale as f32,
                );
                surface.push_transform(&Transform::from_row(scale, 0.0, 0.0, scale, x, y));
                draw(surface, fonts, drawing);
                surface.pop();
            }
        }
        surface.end_tagged();
        if let Some(node) = node {
            tree.painted(*node, content);
        }
    }
}

/// The foot of a page.
pub(super) fn foot(
    surface: &mut Surface<'_>,
    fonts: &Fonts,
    text: &str,
    at: (f64, f64),
    width: f64,
) {
    surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(
        ArtifactType::Footer,
    )));
    path(
        surface,
        &vec![vec![(at.0, at.1 - 9.0), (at.0 + width, at.1 - 9.0)]],
        false,
        &Style::line(Stroke::new(RULE, 0.5)),
    );
    let look = Look {
        size: 6.8,
        bold: false,
        colour: SOFT,
    };
    text_at(surface, fonts, (at.0, at.1), &fonts.shown(text), look);
    surface.end_tagged();
}

fn text_at(surface: &mut Surface<'_>, fonts: &Fonts, at: (f64, f64), text: &str, look: Look) {
    surface.set_stroke(None);
    surface.set_fill(Some(fill(look.colour)));
    let place = Point::from_xy(at.0 as f32, at.1 as f32);
    let face = fonts.of(look.bold);
    surface.draw_glyphs(
        place,
        &face.letters(text),
        face.font(),
        text,
        look.size as f32,
        false,
    );
}

/// A coordinate on whole hundredths of a point, finer than any printer: a third of a map's bytes are digits that nobody sees.
fn near(value: f64) -> f32 {
    (libm::round(value * 100.0) / 100.0) as f32
}

fn path(surface: &mut Surface<'_>, rings: &Rings, closed: bool, style: &Style) {
    let mut builder = PathBuilder::new();
    for ring in rings {
        for (k, (x, y)) in ring.iter().enumerate() {
            if k == 0 {
                builder.move_to(near(*x), near(*y));
            } else {
                builder.line_to(near(*x), near(*y));
            }
        }
        if closed {
            builder.close();
        }
    }
    if let Some(path) = builder.finish() {
        painted(surface, &path, style);
    }
}

fn painted(surface: &mut Surface<'_>, path: &krilla::geom::Path, style: &Style) {
    let paint = match style.fill {
        None => None,
        Some(Paint::Colour(of)) => Some(fill(of)),
        Some(Paint::Veil) => Some(Fill {
            opacity: NormalizedF32::new(0.85).unwrap_or(NormalizedF32::ONE),
            ..fill(PAPER)
        }),
        Some(Paint::Hatch(of)) => Some(Fill {
            paint: hatched(surface, of).into(),
            opacity: NormalizedF32::ONE,
            rule: FillRule::EvenOdd,
        }),
    };
    surface.set_fill(paint);
    surface.set_stroke(style.stroke.as_ref().map(pen));
    surface.draw_path(path);
}

/// A tile as a pattern.
fn hatched(surface: &mut Surface<'_>, of: hatch::Hatch) -> Pattern {
    let mut builder = surface.stream_builder();
    let mut tile = builder.surface();
    for item in hatch::tile(of) {
        match item {
            Item::Path {
                rings,
                closed,
                style,
            } => path(&mut tile, &rings, closed, &style),
            Item::Circle { at, radius, style } => circle(&mut tile, at, radius, &style),
            _ => {}
        }
    }
    tile.finish();
    let side = hatch::TILE as f32;
    Pattern {
        stream: builder.finish(),
        transform: Transform::default(),
        width: side,
        height: side,
    }
}

fn circle(surface: &mut Surface<'_>, at: (f64, f64), radius: f64, style: &Style) {
    // Four curves; the factor makes them a circle to 0.03 %.
    let (x, y, r, k) = (
        at.0 as f32,
        at.1 as f32,
        radius as f32,
        (radius * 0.552_284_75) as f32,
    );
    let mut builder = PathBuilder::new();
    builder.move_to(x + r, y);
    builder.cubic_to(x + r, y + k, x + k, y + r, x, y + r);
    builder.cubic_to(x - k, y + r, x - r, y + k, x - r, y);
    builder.cubic_to(x - r, y - k, x - k, y - r, x, y - r);
    builder.cubic_to(x + k, y - r, x + r, y - k, x + r, y);
    builder.close();
    if let Some(path) = builder.finish() {
        painted(surface, &path, style);
    }
}

/// A drawing, in its own units.
fn draw(surface: &mut Surface<'_>, fonts: &Fonts, drawing: &Drawing) {
    for item in &drawing.items {
        match item {
            Item::Path {
                rings,
                closed,
                style,
            } => path(surface, rings, *closed, style),
            Item::Circle { at, radius, style } => circle(surface, *at, *radius, style),
            Item::Text { at, text, style } => {
                let text = fonts.shown(text);
                let face = fonts.of(style.bold);
                let width = face.width(&text, style.size);
                let left = match style.anchor {
                    Anchor::Start => at.0,
                    Anchor::Middle => at.0 - width / 2.0,
                    Anchor::End => at.0 - width,
                };
                if style.halo {
                    // As an outline, so that searching does not find the text twice.
                    surface.set_fill(None);
                    surface.set_stroke(Some(pen(&Stroke::new(PAPER, style.size * 0.3))));
                    let place = Point::from_xy(left as f32, at.1 as f32);
                    surface.draw_glyphs(
                        place,
                        &face.letters(&text),
                        face.font(),
                        &text,
                        style.size as f32,
                        true,
                    );
                }
                text_at(
                    surface,
                    fonts,
                    (left, at.1),
                    &text,
                    Look {
                        size: style.size,
                        bold: style.bold,
                        colour: INK,
                    },
                );
            }
            Item::Image { window, pixels } => {
                let Some(size) = Size::from_wh(window.2 as f32, window.3 as f32) else {
                    continue;
                };
                surface
                    .push_transform(&Transform::from_translate(window.0 as f32, window.1 as f32));
                surface.draw_image(image(pixels), size);
                surface.pop();
            }
            Item::Clip(x, y, width, height) => {
                let mut builder = PathBuilder::new();
                for (k, (px, py)) in [
                    (*x, *y),
                    (x + width, *y),
                    (x + width, y + height),
                    (*x, y + height),
                ]
                .into_iter()
                .enumerate()
                {
                    if k == 0 {
                        builder.move_to(px as f32, py as f32);
                    } else {
                        builder.line_to(px as f32, py as f32);
                    }
                }
                builder.close();
                match builder.finish() {
                    Some(window) => surface.push_clip_path(&window, &FillRule::NonZero),
                    // Every end needs its beginning.
                    None => surface.push_transform(&Transform::default()),
                }
            }
            Item::Turned(at, degrees) => {
                let angle = degrees.to_radians();
                let (sin, cos) = (libm::sin(angle) as f32, libm::cos(angle) as f32);
                surface.push_transform(&Transform::from_row(
                    cos,
                    sin,
                    -sin,
                    cos,
                    at.0 as f32,
                    at.1 as f32,
                ));
            }
            Item::End => surface.pop(),
        }
    }
}

fn image(pixels: &Pixels) -> Image {
    let mut bytes = Vec::with_capacity(pixels.indices.len() * 4);
    for index in &pixels.indices {
        match pixels.palette.get(usize::from(*index)) {
            Some(colour) if *index != Pixels::CLEAR => {
                bytes.extend([colour.red, colour.green, colour.blue, 255]);
            }
            _ => bytes.extend([255, 255, 255, 0]),
        }
    }
    Image::from_rgba8(
        bytes,
        u32::try_from(pixels.cols).unwrap_or(0),
        u32::try_from(pixels.rows).unwrap_or(0),
    )
}
