//! The maps: rates by zone, index as taken, index by cell; each with strips, exclusions, scale bar, north and legend.

use std::collections::HashSet;

use geo::{Area, InteriorPoint, MultiPolygon};

use crate::map::palette::{Colour, INK, Legend, PAPER, ramp};
use crate::map::prescription::Prescription;
use crate::report::draw::drawing::{
    Anchor, Drawing, Item, Stroke, Style, THIN, TextStyle, rough_width,
};
use crate::report::draw::frame::{MapFrame, north_arrow, scale_bar};
use crate::report::draw::hatch::Hatch;
use crate::report::draw::legend;
use crate::report::draw::legend::Entry;
use crate::report::draw::raster::IndexOverview;
use crate::report::text::Text;
use crate::zones::outline::outlines;

/// Width of a full drawing.
pub const WIDTH: f64 = 720.0;
/// Width kept for the legend.
const LEGEND: f64 = 168.0;
/// Most height of a map.
const MOST_HEIGHT: f64 = 384.0;
/// Least height: the legend's.
const LEAST_HEIGHT: f64 = 300.0;
/// White under a dark line: seen on pale and on dark ground.
const CASING: Stroke = Stroke::new(PAPER, 2.6);
const ZONE_LINE: Stroke = Stroke::new(INK, 0.9);
const FIELD_LINE: Stroke = Stroke::new(INK, 2.0);
const STRIP_LINE: Stroke = Stroke::dashed(INK, 1.6, &[6.0, 3.0]);
const EDGE_LINE: Stroke = Stroke::dashed(INK, 4.0, &[2.0, 2.0]);

/// What a map of a field needs.
pub struct Plan<'a> {
    /// The prescription.
    pub prescription: &'a Prescription,
    /// True azimuth less grid azimuth. \[°\]
    pub convergence_deg: f64,
    /// The rate of each zone as exported, in the order of the zones.
    pub exported: &'a [f64],
    /// Words.
    pub text: &'a Text,
    /// Check points on the plane, numbered from 1.
    pub marks: &'a [(f64, f64)],
}

/// A rate as a label: no decimals where they say nothing.
fn short(rate: f64) -> String {
    if rate >= 20.0 || rate == libm::round(rate) {
        format!("{rate:.0}")
    } else {
        format!("{rate:.1}")
    }
}

impl Plan<'_> {
    /// The map of rates.
    pub fn rates(&self) -> Drawing {
        let prescription = self.prescription;
        let (mut drawing, frame) = self.begin("rates");
        let scale = Legend::new("", prescription.rate_label(), self.exported.iter().copied());
        for (zone, rate) in prescription.zones.iter().zip(self.exported) {
            drawing.shape(
                frame.rings(&zone.outline),
                Style::filled(colour_of(&scale, *rate)),
            );
        }
        let hatched = self.hatched(&mut drawing, &frame);
        self.zone_lines(&mut drawing, &frame);
        self.over(&mut drawing, &frame);
        self.zone_labels(&mut drawing, &frame);
        self.check_marks(&mut drawing, &frame);
        let mut entries = vec![Entry::Heading(
            self.text
                .with("legend-rate", &[("unit", prescription.rate_label())]),
        )];
        entries.extend(self.rate_entries(&scale));
        self.end(
            drawing,
            &frame,
            entries,
            &hatched,
            &self
                .text
                .with("map-rates-title", &[("field", &prescription.field_name)]),
        )
    }

    /// The map of the index: pixels as taken where there is an overview, else the mean of each cell.
    pub fn index(&self, index_name: &str, overview: Option<&IndexOverview>) -> Drawing {
        let prescription = self.prescription;
        let (mut drawing, frame) = self.begin("index");
        let cells: Vec<f64> = prescription
            .cells
            .iter()
            .map(|cell| cell.index.unwrap_or(f64::NAN))
            .collect();
        let by_cell = IndexOverview {
            corner: (0.0, 0.0),
            step: 1.0,
            cols: cells.len(),
            rows: 1,
            values: cells,
        };
        let range = overview
            .and_then(IndexOverview::range)
            .or_else(|| by_cell.range())
            .unwrap_or((0.0, 1.0));
        if let Some(overview) = overview {
            overview.draw(&mut drawing, &frame, range);
        } else {
            self.cells(&mut drawing, &frame, &|cell| by_cell.values[cell], range);
        }
        let hatched = self.hatched(&mut drawing, &frame);
        self.over(&mut drawing, &frame);
        let mut entries = vec![Entry::Heading(
            self.text.with("legend-index", &[("index", index_name)]),
        )];
        entries.push(Entry::Ramp(
            (0..5)
                .map(|k| f64::from(k) / 4.0)
                .map(|share| {
                    (
                        share,
                        format!("{:.3}", range.0 + share * (range.1 - range.0)),
                    )
                })
                .collect(),
        ));
        self.end(
            drawing,
            &frame,
            entries,
            &hatched,
            &self.text.with(
                "map-index-title",
                &[("field", &prescription.field_name), ("index", index_name)],
            ),
        )
    }

    /// A small map in black and white for the cab: rates by label and grey.
    pub fn thumbnail(&self) -> Drawing {
        let mut drawing = Drawing::new(
            "card",
            360.0,
            MapFrame::height_for(&self.prescription.boundary, 360.0, 10.0, 260.0),
        );
        drawing.title = self.text.with(
            "map-rates-title",
            &[("field", &self.prescription.field_name)],
        );
        let window = (0.0, 0.0, drawing.width, drawing.height);
        let Some(frame) = MapFrame::fit(&self.prescription.boundary, window, 10.0) else {
            return drawing;
        };
        let greatest = self
            .exported
            .iter()
            .copied()
            .fold(0.0, f64::max)
            .max(f64::MIN_POSITIVE);
        for (zone, rate) in self.prescription.zones.iter().zip(self.exported) {
            let grey = libm::round(255.0 - 110.0 * rate / greatest) as u8;
            drawing.shape(
                frame.rings(&zone.outline),
                Style::filled(Colour::new(grey, grey, grey)),
            );
        }
        self.zone_lines(&mut drawing, &frame);
        drawing.shape(
            frame.rings(&self.prescription.kept_clear()),
            Style::hatched(Hatch::LeftOut).with(THIN),
        );
        drawing.shape(
            frame.rings(&self.prescription.boundary),
            Style::line(FIELD_LINE),
        );
        self.zone_labels(&mut drawing, &frame);
        self.check_marks(&mut drawing, &frame);
        let right = drawing.width - 20.0;
        north_arrow(&mut drawing, (right, 20.0), self.convergence_deg);
        drawing
    }

    fn begin(&self, name: &'static str) -> (Drawing, MapFrame) {
        let boundary = &self.prescription.boundary;
        let room = WIDTH - LEGEND;
        let height = MapFrame::height_for(boundary, room, 14.0, MOST_HEIGHT).max(LEAST_HEIGHT);
        let mut drawing = Drawing::new(name, WIDTH, height);
        let frame =
            MapFrame::fit(boundary, (0.0, 0.0, room, height), 14.0).unwrap_or(MapFrame::EMPTY);
        drawing.items.push(Item::Clip(0.0, 0.0, room, height));
        (drawing, frame)
    }

    fn end(
        &self,
        mut drawing: Drawing,
        frame: &MapFrame,
        mut entries: Vec<Entry>,
        hatched: &[Hatch],
        title: &str,
    ) -> Drawing {
        let prescription = self.prescription;
        let text = self.text;
        drawing.items.push(Item::End);
        entries.push(Entry::Heading(text.say("legend-ground")));
        entries.extend(
            hatched
                .iter()
                .map(|hatch| Entry::Hatch(*hatch, text.say(hatch_key(*hatch)))),
        );
        if !prescription.kept_clear().0.is_empty() {
            entries.push(Entry::Hatch(Hatch::LeftOut, text.say("legend-left-out")));
        }
        if !prescription.strips.is_empty() {
            entries.push(Entry::Line(STRIP_LINE, text.say("legend-strip")));
        }
        if !prescription.hard_edges.is_empty() {
            entries.push(Entry::Line(EDGE_LINE, text.say("legend-hard-edge")));
        }
        entries.push(Entry::Line(FIELD_LINE, text.say("legend-boundary")));
        let left = WIDTH - LEGEND + 10.0;
        legend::draw(&mut drawing, (left, 42.0), &entries);
        north_arrow(&mut drawing, (left + 16.0, 20.0), self.convergence_deg);
        drawing.text(
            (left + 40.0, 24.0),
            &text.say("legend-north"),
            TextStyle {
                size: 10.0,
                ..TextStyle::default()
            },
        );
        let bottom = drawing.height;
        scale_bar(
            &mut drawing,
            frame,
            (12.0, bottom - 12.0),
            150.0,
            prescription.unit.is_us(),
        );
        title.clone_into(&mut drawing.title);
        drawing
    }

    /// Fills cells by a value, all cells of one shade as one path.
    fn cells(
        &self,
        drawing: &mut Drawing,
        frame: &MapFrame,
        value: &dyn Fn(usize) -> f64,
        range: (f64, f64),
    ) {
        const SHADES: u32 = 32;
        let grid = &self.prescription.grid;
        let shade = |cell: usize| {
            let v = value(cell);
            if v.is_finite() {
                (((v - range.0) / (range.1 - range.0)).clamp(0.0, 1.0) * f64::from(SHADES - 1))
                    as u32
                    + 1
            } else {
                0
            }
        };
        let labels: Vec<u32> = (0..grid.cells.len()).map(shade).collect();
        for (k, outline) in outlines(grid, &labels, SHADES).iter().enumerate() {
            let colour = ramp(k as f64 / f64::from(SHADES - 1));
            // A hair of border in its own colour, so that no light shows between cells.
            drawing.shape(
                frame.rings(outline),
                Style::filled(colour).with(Stroke::new(colour, 0.3)),
            );
        }
    }

    /// Hatches cells by state; says which states there are.
    fn hatched(&self, drawing: &mut Drawing, frame: &MapFrame) -> Vec<Hatch> {
        let states = [Hatch::Thin, Hatch::Bare, Hatch::Unseen];
        let label = |state| {
            Hatch::of(state)
                .and_then(|hatch| states.iter().position(|known| *known == hatch))
                .map_or(0, |k| k as u32 + 1)
        };
        let labels: Vec<u32> = self
            .prescription
            .cells
            .iter()
            .map(|cell| label(cell.state))
            .collect();
        let mut found = Vec::new();
        for (hatch, outline) in
            states
                .into_iter()
                .zip(outlines(&self.prescription.grid, &labels, 3))
        {
            if !outline.0.is_empty() {
                drawing.shape(frame.rings(&outline), Style::hatched(hatch));
                found.push(hatch);
            }
        }
        found
    }

    /// Borders of zones. A border that two zones share is one line, so that it takes half of the room.
    fn zone_lines(&self, drawing: &mut Drawing, frame: &MapFrame) {
        let mut drawn = HashSet::new();
        let mut chains: Vec<Vec<(f64, f64)>> = Vec::new();
        let rings = self
            .prescription
            .zones
            .iter()
            .flat_map(|zone| &zone.outline)
            .flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()));
        for ring in rings {
            let mut open = false;
            for line in ring.lines() {
                let [from, to] = [line.start, line.end].map(|c| (c.x.to_bits(), c.y.to_bits()));
                if drawn.contains(&(to, from)) || !drawn.insert((from, to)) {
                    open = false;
                    continue;
                }
                let [from, to] = [line.start, line.end].map(|c| frame.place(c.x, c.y));
                match chains.last_mut().filter(|_| open) {
                    Some(chain) => chain.push(to),
                    None => chains.push(vec![from, to]),
                }
                open = true;
            }
        }
        for stroke in [CASING, ZONE_LINE] {
            drawing.chains(chains.clone(), stroke);
        }
    }

    /// Exclusions, boundary, strips and hard edges.
    fn over(&self, drawing: &mut Drawing, frame: &MapFrame) {
        let prescription = self.prescription;
        drawing.shape(
            frame.rings(&prescription.kept_clear()),
            Style::hatched(Hatch::LeftOut).with(Stroke::new(INK, 1.0)),
        );
        let boundary = frame.rings(&prescription.boundary);
        drawing.shape(boundary.clone(), Style::line(Stroke::new(PAPER, 4.0)));
        drawing.shape(boundary, Style::line(FIELD_LINE));
        for edge in &prescription.hard_edges {
            drawing.chain(
                edge.coords().map(|c| frame.place(c.x, c.y)).collect(),
                EDGE_LINE,
            );
        }
        for strip in &prescription.strips {
            let outline = frame.rings(&strip.outline);
            drawing.shape(outline.clone(), Style::line(Stroke::new(PAPER, 3.4)));
            drawing.shape(outline, Style::line(STRIP_LINE));
            if let Some((x, y)) = label_place(&strip.outline, frame) {
                let style = TextStyle {
                    size: 10.5,
                    anchor: Anchor::Middle,
                    bold: true,
                    halo: true,
                };
                drawing.text(
                    (x, y + 4.0),
                    &self
                        .text
                        .with("map-strip", &[("number", &strip.strip.to_string())]),
                    style,
                );
            }
        }
    }

    /// The rate of each zone that has room for it.
    fn zone_labels(&self, drawing: &mut Drawing, frame: &MapFrame) {
        let mut taken: Vec<(f64, f64, f64)> = self
            .prescription
            .strips
            .iter()
            .filter_map(|strip| label_place(&strip.outline, frame).map(|(x, y)| (x, y, 30.0)))
            .collect();
        let mut zones: Vec<(usize, f64)> = self
            .prescription
            .zones
            .iter()
            .enumerate()
            .map(|(k, zone)| (k, zone.area.get()))
            .collect();
        zones.sort_by(|a, b| b.1.total_cmp(&a.1));
        for (k, area) in zones {
            let label = short(self.exported[k]);
            let width = rough_width(&label, 11.0);
            // A zone smaller than twice its label would vanish under it.
            if area * frame.scale * frame.scale < 2.0 * width * 13.0 {
                continue;
            }
            let Some((x, y)) = label_place(&self.prescription.zones[k].outline, frame) else {
                continue;
            };
            if taken.iter().any(|(tx, ty, w)| {
                (tx - x).abs() < f64::midpoint(*w, width) + 3.0 && (ty - y).abs() < 13.0
            }) {
                continue;
            }
            taken.push((x, y, width));
            let style = TextStyle {
                anchor: Anchor::Middle,
                bold: true,
                halo: true,
                ..TextStyle::default()
            };
            drawing.text((x, y + 4.0), &label, style);
        }
    }

    fn check_marks(&self, drawing: &mut Drawing, frame: &MapFrame) {
        for (number, (x, y)) in (1..).zip(self.marks) {
            let at = frame.place(*x, *y);
            drawing.circle(at, 7.5, Style::filled(PAPER).with(Stroke::new(INK, 1.4)));
            drawing.text(
                (at.0, at.1 + 3.6),
                &number.to_string(),
                TextStyle {
                    size: 10.0,
                    anchor: Anchor::Middle,
                    bold: true,
                    ..TextStyle::default()
                },
            );
        }
    }

    /// The classes of rates, greatest on top, each with its area.
    fn rate_entries(&self, scale: &Legend) -> Vec<Entry> {
        let prescription = self.prescription;
        let area = |from: f64, to: f64| {
            let zones = prescription
                .zones
                .iter()
                .zip(self.exported)
                .filter(|(_, rate)| (from..=to).contains(*rate));
            let area = crate::units::Area::m2(zones.map(|(zone, _)| zone.area.get()).sum());
            if prescription.unit.is_us() {
                format!("{:.1} ac", area.as_ac())
            } else {
                format!("{:.1} ha", area.as_ha())
            }
        };
        scale
            .classes
            .iter()
            .rev()
            .map(|class| {
                let range = if class.least == class.greatest {
                    short(class.least)
                } else {
                    format!("{} – {}", short(class.least), short(class.greatest))
                };
                Entry::Colour(
                    class.colour,
                    format!("{range} · {}", area(class.least, class.greatest)),
                )
            })
            .collect()
    }
}

/// The colour of a rate.
pub fn colour_of(scale: &Legend, rate: f64) -> Colour {
    scale
        .class_of(rate)
        .map_or_else(|| ramp(0.5), |class| class.colour)
}

fn hatch_key(hatch: Hatch) -> &'static str {
    match hatch {
        Hatch::Bare => "legend-bare",
        Hatch::Unseen => "legend-unseen",
        Hatch::Thin => "legend-thin",
        Hatch::LeftOut => "legend-left-out",
    }
}

/// Where a shape's label stands: well inside its largest part.
fn label_place(shape: &MultiPolygon<f64>, frame: &MapFrame) -> Option<(f64, f64)> {
    let largest = shape
        .iter()
        .max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()))?;
    let point = largest.interior_point()?;
    Some(frame.place(point.x(), point.y()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;

    #[test]
    fn a_border_of_two_zones_is_drawn_once() {
        let prescription = fixture::prescription();
        let exported = vec![0.0; prescription.zones.len()];
        let text = Text::english();
        let plan = Plan {
            prescription: &prescription,
            convergence_deg: 0.0,
            exported: &exported,
            text: &text,
            marks: &[],
        };
        let (mut drawing, frame) = plan.begin("test");
        let before = drawing.items.len();
        plan.zone_lines(&mut drawing, &frame);
        let near = |p: (f64, f64)| (libm::round(p.0 * 1e6) as i64, libm::round(p.1 * 1e6) as i64);
        let mut drawn = Vec::new();
        for item in &drawing.items[before..] {
            let Item::Path {
                rings,
                closed: false,
                ..
            } = item
            else {
                panic!("only open lines: {item:?}")
            };
            drawn.push(
                rings
                    .iter()
                    .flat_map(|chain| {
                        chain
                            .windows(2)
                            .map(|w| (near(w[0]).min(near(w[1])), near(w[0]).max(near(w[1]))))
                    })
                    .collect::<Vec<_>>(),
            );
        }
        // Casing and line are the same chains.
        assert_eq!(drawn.len(), 2);
        assert_eq!(drawn[0], drawn[1]);
        let mut wanted: Vec<_> = prescription
            .zones
            .iter()
            .flat_map(|zone| &zone.outline)
            .flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()))
            .flat_map(geo::LineString::lines)
            .map(|line| [line.start, line.end].map(|c| near(frame.place(c.x, c.y))))
            .map(|[a, b]| (a.min(b), a.max(b)))
            .collect();
        let walked = wanted.len();
        wanted.sort_unstable();
        wanted.dedup();
        drawn[0].sort_unstable();
        assert_eq!(drawn[0], wanted);
        assert!(walked > wanted.len(), "zones of the fixture share borders");
    }
}
