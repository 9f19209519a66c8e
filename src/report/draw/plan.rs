//! The maps: rates by zone, index as taken, index by cell; each with surroundings, graticule, strips, left-out ground, scale bar, north and legend.

use geo::{Area as _, MultiPolygon};

use crate::map::palette::{Colour, INK, Legend, PAPER, ramp};
use crate::map::prescription::Prescription;
use crate::report::draw::borders::Borders;
use crate::report::draw::drawing::{
    Anchor, Drawing, Item, Stroke, Style, THIN, TextStyle, rough_width,
};
use crate::report::draw::frame::{Graticule, MapFrame, Window, north_arrow, scale_bar};
use crate::report::draw::hatch::Hatch;
use crate::report::draw::labels::{Outline, Patch, Placer};
use crate::report::draw::legend;
use crate::report::draw::legend::Entry;
use crate::report::draw::raster::{IndexOverview, Part};
use crate::report::text::Text;
use crate::zones::outline::outlines;

/// Width of a drawing for a page.
pub(crate) const WIDTH: f64 = 720.0;
/// Width of a drawing for a phone.
pub(crate) const PHONE: f64 = 360.0;
/// Height of a map that takes half a page.
pub(crate) const HALF_PAGE: f64 = 504.0;
/// Width kept for the legend of a page's map.
const LEGEND: f64 = 178.0;
/// Kept beside a map for the numbers of its graticule.
const RIM: f64 = 15.0;
/// Room between field and rim.
const MARGIN: f64 = 32.0;
/// Size of a rate's label: 8.6 pt on A4.
const RATE_SIZE: f64 = 12.0;
/// Size of other words on a map: 7.5 pt on A4.
const WORD_SIZE: f64 = 10.5;
/// Most lines that lead to labels.
const MAXIMUM_LINES: usize = 10;
/// The same of a small map, where lines would hide more than they tell.
const MAXIMUM_LINES_SMALL: usize = 4;
/// Zones that are labelled, the largest first.
const MAXIMUM_LABELS: usize = 300;
const ZONE_LINE: Stroke = Stroke::new(INK, 0.8);
const FIELD_LINE: Stroke = Stroke::new(INK, 2.0);
const STRIP_LINE: Stroke = Stroke::dashed(INK, 1.6, &[6.0, 3.0]);
const SET_LINE: Stroke = Stroke::dashed(INK, 2.4, &[2.4, 3.0]);
const EDGE_LINE: Stroke = Stroke::dashed(INK, 4.0, &[2.0, 2.0]);
const GRATICULE_LINE: Stroke = Stroke::new(Colour::new(0x9a, 0x9a, 0x9a), 0.4);

/// Ground that gets nothing, and what it is called on the map.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct LeftOut {
    /// The ground.
    pub shape: MultiPolygon<f64>,
    /// `standing water`, `not field`.
    pub name: String,
}

/// What a map of a field needs.
pub(crate) struct Plan<'a> {
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
    /// The image of field and surroundings, where it is at hand.
    pub overview: Option<&'a IndexOverview>,
    /// Lines of latitude and longitude.
    pub graticule: &'a Graticule,
    /// Ground that gets nothing.
    pub left_out: &'a [LeftOut],
    /// Ground whose rate is set by hand.
    pub set: &'a [MultiPolygon<f64>],
    /// Borders of the zones.
    pub borders: &'a Borders,
}

/// For what a map is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Size {
    /// As wide as a page and so high, the legend beside the map.
    Page(f64),
    /// As wide as a phone, the legend under the map.
    Phone,
}

/// A label at its place.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Label {
    /// What it says.
    pub text: String,
    /// The paper that it takes.
    pub patch: Patch,
    /// Size of its letters.
    pub size: f64,
    /// The line that leads to it, when it stands outside its ground.
    pub line: Option<((f64, f64), (f64, f64))>,
    /// The zone that it tells the rate of, by its place in the list.
    pub zone: Option<usize>,
}

/// Paper of a map: where the map lies and where its legend.
struct Sheet {
    drawing: Drawing,
    frame: MapFrame,
    phone: bool,
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
    pub(crate) fn rates(&self, size: Size) -> Drawing {
        let prescription = self.prescription;
        let scale = Legend::new("", prescription.rate_label(), self.exported.iter().copied());
        let hatched = self.hatched();
        let mut entries = vec![Entry::Heading(
            self.text
                .with("legend-rate", &[("unit", prescription.rate_label())]),
        )];
        entries.extend(self.rate_entries(&scale));
        // Its place is kept, and taken once it is known how many zones have no room for their number.
        let notice = entries.len();
        entries.push(Entry::Note(String::new()));
        entries.extend(self.ground_entries(&hatched, true));
        let mut sheet = self.begin("rates", size, &entries);
        self.surroundings(&mut sheet, Part::Around, None);
        let Sheet { drawing, frame, .. } = &mut sheet;
        for (zone, rate) in prescription.zones.iter().zip(self.exported) {
            drawing.shape(
                frame.rings(&zone.outline),
                Style::filled(colour_of(&scale, *rate)),
            );
        }
        for (hatch, outline) in &hatched {
            drawing.shape(frame.rings(outline), Style::hatched(*hatch));
        }
        self.zone_lines(drawing, frame);
        self.over(drawing, frame);
        drawing.items.push(Item::End);
        let labels = self.labels(frame, true);
        draw_labels(drawing, &labels);
        self.check_marks(drawing, frame);
        let labelled = labels.iter().filter(|label| label.zone.is_some()).count();
        match prescription.zones.len() - labelled {
            0 => drop(entries.remove(notice)),
            without => {
                let zones = without.to_string();
                entries[notice] =
                    Entry::Note(self.text.with("map-by-colour", &[("zones", &zones)]));
            }
        }
        let title = self
            .text
            .with("map-rates-title", &[("field", &prescription.field_name)]);
        self.end(sheet, &entries, &title)
    }

    /// The map of the index: pixels as taken where there is an overview, else the mean of each cell.
    pub(crate) fn index(&self, index_name: &str, size: Size) -> Drawing {
        let prescription = self.prescription;
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
            inside: vec![true; cells.len()],
            values: cells,
        };
        let range = self
            .overview
            .and_then(IndexOverview::range)
            .or_else(|| by_cell.range())
            .unwrap_or((0.0, 1.0));
        let hatched = self.hatched();
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
        entries.extend(self.ground_entries(&hatched, false));
        let mut sheet = self.begin("index", size, &entries);
        self.surroundings(&mut sheet, Part::All, Some(range));
        let Sheet { drawing, frame, .. } = &mut sheet;
        if self.overview.is_none() {
            self.cells(drawing, frame, &|cell| by_cell.values[cell], range);
        }
        for (hatch, outline) in &hatched {
            drawing.shape(frame.rings(outline), Style::hatched(*hatch));
        }
        self.over(drawing, frame);
        drawing.items.push(Item::End);
        draw_labels(drawing, &self.labels(frame, false));
        let title = self.text.with(
            "map-index-title",
            &[("field", &prescription.field_name), ("index", index_name)],
        );
        self.end(sheet, &entries, &title)
    }

    /// A small map in black and white for the cab: rates by label and grey.
    pub(crate) fn thumbnail(&self) -> Drawing {
        let boundary = &self.prescription.boundary;
        let mut drawing = Drawing::new(
            "card",
            PHONE,
            MapFrame::height_for(boundary, PHONE, 14.0, 290.0),
        );
        drawing.title = self.text.with(
            "map-rates-title",
            &[("field", &self.prescription.field_name)],
        );
        let window = (0.0, 0.0, drawing.width, drawing.height);
        let Some(frame) = MapFrame::fit(boundary, window, 14.0) else {
            return drawing;
        };
        let maximum = self
            .exported
            .iter()
            .copied()
            .fold(0.0, f64::max)
            .max(f64::MIN_POSITIVE);
        for (zone, rate) in self.prescription.zones.iter().zip(self.exported) {
            let grey = libm::round(255.0 - 110.0 * rate / maximum) as u8;
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
        drawing.shape(frame.rings(boundary), Style::line(FIELD_LINE));
        draw_labels(&mut drawing, &self.labels(&frame, true));
        self.check_marks(&mut drawing, &frame);
        north_arrow(&mut drawing, NORTH_OF_CARD, self.convergence_deg);
        drawing
    }

    fn begin(&self, name: &'static str, size: Size, entries: &[Entry]) -> Sheet {
        let boundary = &self.prescription.boundary;
        let (width, height, panel): (f64, f64, Window) = match size {
            Size::Page(height) => {
                let high = legend::height(entries) + FURNITURE;
                let height = height.max(high);
                let panel = (RIM, RIM, WIDTH - LEGEND - RIM, height - RIM - 1.0);
                (WIDTH, height, panel)
            }
            Size::Phone => {
                let panel_height = if self.overview.is_some() {
                    PHONE - RIM - 1.0
                } else {
                    MapFrame::height_for(boundary, PHONE - RIM, MARGIN, PHONE)
                };
                let panel = (RIM, RIM, PHONE - RIM - 1.0, panel_height);
                let below = legend::columns_height(entries) + FURNITURE_BELOW;
                (PHONE, RIM + panel_height + below, panel)
            }
        };
        let phone = size == Size::Phone;
        let mut drawing = Drawing::new(phone_name(name, phone), width, height);
        let frame = MapFrame::fit(boundary, panel, MARGIN).unwrap_or(MapFrame::EMPTY);
        drawing
            .items
            .push(Item::Clip(panel.0, panel.1, panel.2, panel.3));
        Sheet {
            drawing,
            frame,
            phone,
        }
    }

    /// The image around the field, and the graticule over it.
    fn surroundings(&self, sheet: &mut Sheet, part: Part, range: Option<(f64, f64)>) {
        let Sheet {
            drawing,
            frame,
            phone,
        } = sheet;
        if let Some(overview) = self.overview {
            let range = range.or_else(|| overview.range()).unwrap_or((0.0, 1.0));
            if *phone {
                overview.halved().draw(drawing, frame, range, part);
            } else {
                overview.draw(drawing, frame, range, part);
            }
        }
        for line in self.graticule.lines() {
            drawing.chain(
                line.points.iter().map(|p| frame.place(p.0, p.1)).collect(),
                GRATICULE_LINE,
            );
        }
    }

    /// Frame, numbers of the graticule, legend, north and scale bar.
    fn end(&self, sheet: Sheet, entries: &[Entry], title: &str) -> Drawing {
        let Sheet {
            mut drawing,
            frame,
            phone,
        } = sheet;
        let (x, y, w, h) = frame.window;
        drawing.rect(x, y, w, h, Style::line(Stroke::new(INK, 0.9)));
        self.graticule.number(&mut drawing, &frame);
        let us = self.prescription.unit.is_us();
        let north = self.text.say("legend-north");
        let style = TextStyle {
            size: 11.0,
            ..TextStyle::default()
        };
        if phone {
            let top = y + h + 24.0;
            north_arrow(&mut drawing, (x + 16.0, top), self.convergence_deg);
            drawing.text((x + 38.0, top + 4.0), &north, style);
            scale_bar(&mut drawing, &frame, (x + 150.0, top + 2.0), 150.0, us);
            legend::columns(&mut drawing, (x, top + 24.0), w, entries);
        } else {
            let left = x + w + 14.0;
            north_arrow(&mut drawing, (left + 16.0, y + 18.0), self.convergence_deg);
            drawing.text((left + 40.0, y + 22.0), &north, style);
            let under = legend::draw(&mut drawing, (left, y + 44.0), entries);
            scale_bar(&mut drawing, &frame, (left + 4.0, under + 26.0), 140.0, us);
        }
        title.clone_into(&mut drawing.title);
        drawing
    }

    /// What the legend says of the ground; of driving direction and boundary where `all`.
    fn ground_entries(&self, hatched: &[(Hatch, MultiPolygon<f64>)], all: bool) -> Vec<Entry> {
        let (prescription, text) = (self.prescription, self.text);
        let mut entries = vec![Entry::Heading(text.say("legend-ground"))];
        entries.extend(
            hatched
                .iter()
                .map(|(hatch, _)| Entry::Hatch(*hatch, text.say(hatch_key(*hatch)))),
        );
        if !prescription.kept_clear().0.is_empty() {
            entries.push(Entry::Hatch(Hatch::LeftOut, text.say("legend-left-out")));
        }
        if !prescription.strips.is_empty() {
            entries.push(Entry::Line(STRIP_LINE, text.say("legend-strip")));
        }
        if !self.set.is_empty() {
            entries.push(Entry::Line(SET_LINE, text.say("legend-set")));
        }
        if !prescription.hard_edges.is_empty() {
            entries.push(Entry::Line(EDGE_LINE, text.say("legend-hard-edge")));
        }
        if all {
            entries.push(Entry::Line(FIELD_LINE, text.say("legend-boundary")));
            // More than three would push all else off the page; the report's last page names each.
            for (ground, degrees) in prescription.headings.iter().take(3) {
                let degrees_text = format!("{degrees:.0}°");
                let label = if prescription.headings.len() == 1 {
                    text.with("legend-heading", &[("degrees", &degrees_text)])
                } else {
                    text.with(
                        "legend-heading-of",
                        &[("degrees", &degrees_text), ("ground", ground)],
                    )
                };
                entries.push(Entry::Arrow(degrees - self.convergence_deg, label));
            }
        }
        if self.overview.is_some() {
            entries.push(Entry::Colour(
                Colour::new(0xe4, 0xe4, 0xe4),
                text.say("legend-around"),
            ));
        }
        entries
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

    /// Outlines of ground that is hatched, by state; only of states that there are.
    fn hatched(&self) -> Vec<(Hatch, MultiPolygon<f64>)> {
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
        if labels.iter().all(|label| *label == 0) {
            return Vec::new();
        }
        states
            .into_iter()
            .zip(outlines(&self.prescription.grid, &labels, 3))
            .filter(|(_, outline)| !outline.0.is_empty())
            .collect()
    }

    /// Borders of zones.
    fn zone_lines(&self, drawing: &mut Drawing, frame: &MapFrame) {
        drawing.chains(self.borders.on(frame), ZONE_LINE);
    }

    /// Left-out ground, boundary, strips and hard edges: each one clean line.
    fn over(&self, drawing: &mut Drawing, frame: &MapFrame) {
        let prescription = self.prescription;
        drawing.shape(
            frame.rings(&prescription.kept_clear()),
            Style::hatched(Hatch::LeftOut).with(Stroke::new(INK, 1.0)),
        );
        drawing.shape(frame.rings(&prescription.boundary), Style::line(FIELD_LINE));
        for edge in &prescription.hard_edges {
            drawing.chain(
                edge.coords().map(|c| frame.place(c.x, c.y)).collect(),
                EDGE_LINE,
            );
        }
        for strip in &prescription.strips {
            drawing.shape(frame.rings(&strip.outline), Style::line(STRIP_LINE));
        }
        for shape in self.set {
            drawing.shape(frame.rings(shape), Style::line(SET_LINE));
        }
    }

    /// Labels of strips, of zones where `rates`, and of left-out ground: each inside its ground, or outside the field with a line that leads there; none over
    /// another, none over a check point.
    pub(crate) fn labels(&self, frame: &MapFrame, rates: bool) -> Vec<Label> {
        let (x, y, w, h) = frame.window;
        let mut placer = Placer::new(Patch {
            left: x + 3.0,
            top: y + 3.0,
            right: x + w - 3.0,
            bottom: y + h - 3.0,
        });
        for (px, py) in self.marks {
            placer.take(Patch::around(frame.place(*px, *py), (19.0, 19.0)));
        }
        if !self.marks.is_empty() {
            placer.take(Patch::around(NORTH_OF_CARD, (38.0, 38.0)));
        }
        let field = Outline::of(&frame.rings(&self.prescription.boundary));
        let clear = Outline::of(&frame.rings(&self.prescription.kept_clear()));
        let strips: Vec<Outline> = self
            .prescription
            .strips
            .iter()
            .map(|strip| Outline::of(&frame.rings(&strip.outline)))
            .collect();
        let mut found = Vec::new();
        let mut put = |text: String, size: f64, at: (f64, f64), zone, line| {
            let room = (rough_width(&text, size) + 4.0, size + 2.0);
            found.push(Label {
                text,
                patch: Patch::around(at, room),
                size,
                line,
                zone,
            });
        };
        let room = |text: &str, size: f64| (rough_width(text, size) + 4.0, size + 2.0);
        for (strip, shape) in self.prescription.strips.iter().zip(&strips) {
            let text = self
                .text
                .with("map-strip", &[("number", &strip.strip.to_string())]);
            if let Some(at) = placer.inside(shape, room(&text, WORD_SIZE), &[&clear]) {
                put(text, WORD_SIZE, at, None, None);
            } else if let Some(at) = placer.beside(shape, room(&text, WORD_SIZE)) {
                put(text, WORD_SIZE, at, None, None);
            }
        }
        let mut left: Vec<(usize, Outline, String)> = Vec::new();
        if rates {
            let avoid: Vec<&Outline> = strips.iter().chain([&clear]).collect();
            let mut zones: Vec<usize> = (0..self.prescription.zones.len()).collect();
            let area = |k: usize| self.prescription.zones[k].area.get();
            zones.sort_by(|a, b| area(*b).total_cmp(&area(*a)));
            for k in zones.into_iter().take(MAXIMUM_LABELS) {
                let shape = Outline::of(&frame.rings(&self.prescription.zones[k].outline));
                let text = short(self.exported[k]);
                let size = room(&text, RATE_SIZE);
                let at = placer
                    .inside(&shape, size, &avoid)
                    .or_else(|| placer.inside(&shape, size, &[&clear]));
                match at {
                    Some(at) => put(text, RATE_SIZE, at, Some(k), None),
                    None => left.push((k, shape, text)),
                }
            }
        }
        for ground in self.named() {
            let shape = Outline::of(&frame.rings(&ground.shape));
            let size = room(&ground.name, WORD_SIZE);
            if let Some(at) = placer.inside(&shape, size, &[]) {
                put(ground.name.clone(), WORD_SIZE, at, None, None);
            } else if let Some(led) = placer.led(&shape, size, &field) {
                put(ground.name.clone(), WORD_SIZE, led.at, None, Some(led.line));
            }
        }
        let most = if w > PHONE {
            MAXIMUM_LINES
        } else {
            MAXIMUM_LINES_SMALL
        };
        let mut lines = 0;
        // The largest first; those without room are counted in the legend.
        for (k, shape, text) in left {
            if lines == most {
                break;
            }
            if let Some(led) = placer.led(&shape, room(&text, RATE_SIZE), &field) {
                put(text, RATE_SIZE, led.at, Some(k), Some(led.line));
                lines += 1;
            }
        }
        found
    }

    /// Left-out ground that has room for a name: of very many pieces the largest.
    fn named(&self) -> Vec<&LeftOut> {
        let mut named: Vec<&LeftOut> = self.left_out.iter().collect();
        if named.len() > MAXIMUM_LABELS {
            let area = |ground: &LeftOut| ground.shape.unsigned_area();
            named.sort_by(|a, b| area(b).total_cmp(&area(a)));
            named.truncate(MAXIMUM_LABELS);
        }
        named
    }

    fn check_marks(&self, drawing: &mut Drawing, frame: &MapFrame) {
        for (number, (x, y)) in (1..).zip(self.marks) {
            let at = frame.place(*x, *y);
            drawing.circle(at, 8.5, Style::filled(PAPER).with(Stroke::new(INK, 1.5)));
            drawing.text(
                (at.0, at.1 + 4.2),
                &number.to_string(),
                TextStyle {
                    size: 11.5,
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
                let range = if class.minimum == class.maximum {
                    short(class.minimum)
                } else {
                    format!("{} – {}", short(class.minimum), short(class.maximum))
                };
                Entry::Colour(
                    class.colour,
                    format!("{range} · {}", area(class.minimum, class.maximum)),
                )
            })
            .collect()
    }
}

/// Where the card's north arrow stands.
const NORTH_OF_CARD: (f64, f64) = (PHONE - 21.0, 21.0);
/// Height that north arrow and scale bar take beside or under a legend.
const FURNITURE: f64 = 96.0;
/// Height that both take under a map.
const FURNITURE_BELOW: f64 = 54.0;

/// Drawings of one page need names of their own.
fn phone_name(name: &'static str, phone: bool) -> &'static str {
    match (name, phone) {
        ("rates", true) => "rates-phone",
        (_, true) => "index-phone",
        (name, false) => name,
    }
}

fn draw_labels(drawing: &mut Drawing, labels: &[Label]) {
    for (a, b) in labels.iter().filter_map(|label| label.line) {
        drawing.line(a, b, Stroke::new(INK, 0.7));
        drawing.circle(a, 1.8, Style::filled(INK));
    }
    for label in labels {
        let patch = &label.patch;
        if label.line.is_some() {
            let (w, h) = (patch.right - patch.left, patch.bottom - patch.top);
            drawing.rect(
                patch.left,
                patch.top,
                w,
                h,
                Style::filled(PAPER).with(Stroke::new(INK, 0.5)),
            );
        }
        let style = TextStyle {
            size: label.size,
            anchor: Anchor::Middle,
            bold: label.size > WORD_SIZE || label.zone.is_some(),
            halo: label.line.is_none(),
        };
        let middle = (
            f64::midpoint(patch.left, patch.right),
            f64::midpoint(patch.top, patch.bottom),
        );
        // Figures are 0.72 of their size high.
        drawing.text((middle.0, middle.1 + 0.36 * label.size), &label.text, style);
    }
}

pub(crate) fn colour_of(scale: &Legend, rate: f64) -> Colour {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;

    fn plan<'a>(
        prescription: &'a Prescription,
        exported: &'a [f64],
        (text, borders): (&'a Text, &'a Borders),
        marks: &'a [(f64, f64)],
    ) -> Plan<'a> {
        const NONE: &Graticule = &Graticule {
            meridians: Vec::new(),
            parallels: Vec::new(),
        };
        Plan {
            prescription,
            convergence_deg: 0.0,
            exported,
            text,
            marks,
            overview: None,
            graticule: NONE,
            left_out: &[],
            set: &[],
            borders,
        }
    }

    /// Zones and rates of the fixture; its rates as a terminal shows them.
    const EXPORTED: [f64; 3] = [167.41, 251.12, 0.0];

    #[test]
    fn a_border_of_two_zones_is_drawn_once() {
        let prescription = fixture::prescription();
        let exported = vec![0.0; prescription.zones.len()];
        let text = Text::english();
        let borders = Borders::of(&prescription.zones);
        let plan = plan(&prescription, &exported, (&text, &borders), &[]);
        let Sheet {
            mut drawing, frame, ..
        } = plan.begin("rates", Size::Page(400.0), &[]);
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
        // One line, no casing.
        assert_eq!(drawn.len(), 1);
        let mut requirement: Vec<_> = prescription
            .zones
            .iter()
            .flat_map(|zone| &zone.outline)
            .flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()))
            .flat_map(geo::LineString::lines)
            .map(|line| [line.start, line.end].map(|c| near(frame.place(c.x, c.y))))
            .map(|[a, b]| (a.min(b), a.max(b)))
            .collect();
        let walked = requirement.len();
        requirement.sort_unstable();
        requirement.dedup();
        drawn[0].sort_unstable();
        assert_eq!(drawn[0], requirement);
        assert!(
            walked > requirement.len(),
            "zones of the fixture share borders"
        );
    }

    /// Size of letters on A4 \[pt\]: 516 pt of 720 units.
    const POINTS: f64 = 515.9 / WIDTH;

    #[test]
    fn labels_stand_in_their_zones_apart_and_large_enough() {
        let prescription = fixture::prescription();
        let exported: Vec<f64> = (0..prescription.zones.len())
            .map(|k| EXPORTED[k % 3])
            .collect();
        let text = Text::english();
        let marks: Vec<(f64, f64)> = prescription
            .zones
            .iter()
            .filter_map(|zone| geo::InteriorPoint::interior_point(&zone.outline))
            .map(|p| (p.x(), p.y()))
            .collect();
        for size in [Size::Page(400.0), Size::Phone] {
            let borders = Borders::of(&prescription.zones);
            let plan = plan(&prescription, &exported, (&text, &borders), &marks);
            let sheet = plan.begin("rates", size, &[]);
            let labels = plan.labels(&sheet.frame, true);
            assert!(
                labels.iter().filter(|label| label.zone.is_some()).count() >= 2,
                "{labels:?}"
            );
            for (k, label) in labels.iter().enumerate() {
                assert!(label.size * POINTS >= 7.0, "{label:?}");
                for other in &labels[k + 1..] {
                    assert!(!label.patch.meets(&other.patch), "{label:?} {other:?}");
                }
                for mark in &marks {
                    let circle = Patch::around(sheet.frame.place(mark.0, mark.1), (17.0, 17.0));
                    assert!(!label.patch.meets(&circle), "{label:?} under a check point");
                }
                let (Some(zone), None) = (label.zone, label.line) else {
                    continue;
                };
                let rings = sheet.frame.rings(&prescription.zones[zone].outline);
                assert!(
                    Outline::of(&rings).holds(&label.patch),
                    "{label:?} leaves its zone"
                );
            }
        }
    }

    #[test]
    fn no_word_of_a_map_is_below_seven_points() {
        let prescription = fixture::prescription();
        let exported: Vec<f64> = (0..prescription.zones.len())
            .map(|k| EXPORTED[k % 3])
            .collect();
        let text = Text::english();
        let borders = Borders::of(&prescription.zones);
        let plan = plan(&prescription, &exported, (&text, &borders), &[]);
        for drawing in [
            plan.rates(Size::Page(HALF_PAGE)),
            plan.index("NDVI", Size::Page(300.0)),
        ] {
            for item in &drawing.items {
                if let Item::Text { text, style, .. } = item {
                    assert!(style.size * POINTS >= 7.0, "{text}: {}", style.size);
                }
            }
        }
        let phone = plan.rates(Size::Phone);
        assert_eq!((phone.width, phone.name), (PHONE, "rates-phone"));
    }
}
