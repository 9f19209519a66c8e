//! The maps: rates by zone, index as taken, index by cell; each with strips, exclusions, scale bar, north and legend.

use std::collections::BTreeMap;

use geo::Area;
use geo::InteriorPoint;
use geo::MultiPolygon;

use crate::report::draw::frame::MapFrame;
use crate::report::draw::frame::north_arrow;
use crate::report::draw::frame::scale_bar;
use crate::report::draw::hatch;
use crate::report::draw::hatch::Hatch;
use crate::report::draw::legend;
use crate::report::draw::legend::Entry;
use crate::report::draw::legend::MOST_CLASSES;
use crate::report::draw::raster::IndexOverview;
use crate::report::draw::shade::Rgb;
use crate::report::draw::shade::hex;
use crate::report::draw::shade::ramp;
use crate::report::draw::svg::Anchor;
use crate::report::draw::svg::INK;
use crate::report::draw::svg::Svg;
use crate::report::draw::svg::TextStyle;
use crate::report::draw::svg::rough_width;
use crate::report::text::Text;
use crate::zones::outline::outlines;
use crate::zones::prescription::Prescription;

/// Width of a full drawing.
pub const WIDTH: f64 = 720.0;
/// Width kept for the legend.
const LEGEND: f64 = 168.0;
/// Most height of a map.
const MOST_HEIGHT: f64 = 400.0;
/// White under a dark line: seen on pale and on dark ground.
const CASING: &str = "fill=\"none\" stroke=\"#fff\" stroke-width=\"2.6\" stroke-linejoin=\"round\"";
const ZONE_LINE: &str = "fill=\"none\" stroke=\"#1a1a1a\" stroke-width=\"0.9\" stroke-linejoin=\"round\"";
const FIELD_LINE: &str = "fill=\"none\" stroke=\"#1a1a1a\" stroke-width=\"2\" stroke-linejoin=\"round\"";
const STRIP_LINE: &str = "fill=\"none\" stroke=\"#1a1a1a\" stroke-width=\"1.6\" stroke-dasharray=\"6 3\"";
const EDGE_LINE: &str = "fill=\"none\" stroke=\"#1a1a1a\" stroke-width=\"4\" stroke-dasharray=\"2 2\"";

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
    if rate >= 20.0 || rate == libm::round(rate) { format!("{rate:.0}") } else { format!("{rate:.1}") }
}

impl Plan<'_> {
    /// The map of rates.
    pub fn rates(&self, drawing: &str) -> String {
        let prescription = self.prescription;
        let (mut svg, frame) = self.begin(drawing);
        let scale = RateScale::of(self.exported);
        for (zone, rate) in prescription.zones.iter().zip(self.exported) {
            svg.path(&frame.path(&zone.outline), &format!("fill=\"{}\"", hex(scale.colour(*rate))));
        }
        let hatched = self.hatched(&mut svg, &frame, drawing);
        self.zone_lines(&mut svg, &frame);
        self.over(&mut svg, &frame, drawing);
        self.zone_labels(&mut svg, &frame);
        self.check_marks(&mut svg, &frame);
        let mut entries = vec![Entry::Heading(self.text.with("legend-rate", &[("unit", prescription.rate_label())]))];
        entries.extend(self.rate_entries(&scale));
        self.end(svg, &frame, drawing, entries, &hatched, &self.text.with("map-rates-title", &[("field", &prescription.field_name)]))
    }

    /// The map of the index: pixels as taken where there is an overview, else the mean of each cell.
    pub fn index(&self, drawing: &str, index_name: &str, overview: Option<&IndexOverview>) -> String {
        let prescription = self.prescription;
        let (mut svg, frame) = self.begin(drawing);
        let cells: Vec<f64> = prescription.cells.iter().map(|cell| cell.index.unwrap_or(f64::NAN)).collect();
        let by_cell = IndexOverview { corner: (0.0, 0.0), step: 1.0, cols: cells.len(), rows: 1, values: cells };
        let range = overview.and_then(IndexOverview::range).or_else(|| by_cell.range()).unwrap_or((0.0, 1.0));
        if let Some(overview) = overview {
            overview.draw(&mut svg, &frame, range);
        } else {
            self.cells(&mut svg, &frame, &|cell| by_cell.values[cell], range);
        }
        let hatched = self.hatched(&mut svg, &frame, drawing);
        self.over(&mut svg, &frame, drawing);
        let mut entries = vec![Entry::Heading(self.text.with("legend-index", &[("index", index_name)]))];
        entries.push(Entry::Ramp((0..5).map(|k| f64::from(k) / 4.0).map(|share| (share, format!("{:.3}", range.0 + share * (range.1 - range.0)))).collect()));
        self.end(svg, &frame, drawing, entries, &hatched, &self.text.with("map-index-title", &[("field", &prescription.field_name), ("index", index_name)]))
    }

    /// A small map in black and white for the cab: rates by label and grey.
    pub fn thumbnail(&self, drawing: &str) -> String {
        let mut svg = Svg::new(360.0, MapFrame::height_for(&self.prescription.boundary, 360.0, 10.0, 260.0));
        hatch::define(&mut svg, drawing);
        let window = (0.0, 0.0, svg.width(), svg.height());
        let Some(frame) = MapFrame::fit(&self.prescription.boundary, window, 10.0) else { return svg.finish("") };
        let greatest = self.exported.iter().copied().fold(0.0, f64::max).max(f64::MIN_POSITIVE);
        for (zone, rate) in self.prescription.zones.iter().zip(self.exported) {
            let grey = libm::round(255.0 - 110.0 * rate / greatest) as u8;
            svg.path(&frame.path(&zone.outline), &format!("fill=\"{}\"", hex([grey; 3])));
        }
        self.zone_lines(&mut svg, &frame);
        let exclusions = frame.path(&self.prescription.exclusions);
        svg.path(&exclusions, &format!("fill=\"{}\" stroke=\"{INK}\" stroke-width=\"0.8\"", Hatch::LeftOut.fill(drawing)));
        svg.path(&frame.path(&self.prescription.boundary), FIELD_LINE);
        self.zone_labels(&mut svg, &frame);
        self.check_marks(&mut svg, &frame);
        north_arrow(&mut svg, (svg.width() - 20.0, 20.0), self.convergence_deg);
        svg.finish(&self.text.with("map-rates-title", &[("field", &self.prescription.field_name)]))
    }

    fn begin(&self, drawing: &str) -> (Svg, MapFrame) {
        let boundary = &self.prescription.boundary;
        let room = WIDTH - LEGEND;
        let height = MapFrame::height_for(boundary, room, 14.0, MOST_HEIGHT).max(300.0);
        let mut svg = Svg::new(WIDTH, height);
        hatch::define(&mut svg, drawing);
        svg.define(&format!("<clipPath id=\"{drawing}-window\"><rect width=\"{room}\" height=\"{height:.2}\"/></clipPath>"));
        let frame = MapFrame::fit(boundary, (0.0, 0.0, room, height), 14.0).unwrap_or(MapFrame::EMPTY);
        svg.raw(&format!("<g clip-path=\"url(#{drawing}-window)\">"));
        (svg, frame)
    }

    fn end(&self, mut svg: Svg, frame: &MapFrame, drawing: &str, mut entries: Vec<Entry>, hatched: &[Hatch], title: &str) -> String {
        let prescription = self.prescription;
        let text = self.text;
        svg.raw("</g>");
        entries.push(Entry::Heading(text.say("legend-ground")));
        entries.extend(hatched.iter().map(|hatch| Entry::Hatch(*hatch, text.say(hatch_key(*hatch)))));
        if !prescription.exclusions.0.is_empty() {
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
        legend::draw(&mut svg, drawing, (left, 42.0), &entries);
        north_arrow(&mut svg, (left + 16.0, 20.0), self.convergence_deg);
        svg.text((left + 40.0, 24.0), &text.say("legend-north"), &TextStyle { size: 10.0, ..TextStyle::default() });
        let bottom = svg.height();
        scale_bar(&mut svg, frame, (12.0, bottom - 12.0), 150.0, prescription.unit.is_us());
        svg.finish(title)
    }

    /// Fills cells by a value, all cells of one shade as one path.
    fn cells(&self, svg: &mut Svg, frame: &MapFrame, value: &dyn Fn(usize) -> f64, range: (f64, f64)) {
        const SHADES: u32 = 32;
        let grid = &self.prescription.grid;
        let shade = |cell: usize| {
            let v = value(cell);
            if v.is_finite() { (((v - range.0) / (range.1 - range.0)).clamp(0.0, 1.0) * f64::from(SHADES - 1)) as u32 + 1 } else { 0 }
        };
        let labels: Vec<u32> = (0..grid.cells.len()).map(shade).collect();
        for (k, outline) in outlines(grid, &labels, SHADES).iter().enumerate() {
            let colour = hex(ramp(k as f64 / f64::from(SHADES - 1)));
            svg.path(&frame.path(outline), &format!("fill=\"{colour}\" stroke=\"{colour}\" stroke-width=\"0.3\""));
        }
    }

    /// Hatches cells by state; says which states there are.
    fn hatched(&self, svg: &mut Svg, frame: &MapFrame, drawing: &str) -> Vec<Hatch> {
        let states = [Hatch::Thin, Hatch::Bare, Hatch::Unseen];
        let label = |state| Hatch::of(state).and_then(|hatch| states.iter().position(|known| *known == hatch)).map_or(0, |k| k as u32 + 1);
        let labels: Vec<u32> = self.prescription.cells.iter().map(|cell| label(cell.state)).collect();
        let mut found = Vec::new();
        for (hatch, outline) in states.into_iter().zip(outlines(&self.prescription.grid, &labels, 3)) {
            if !outline.0.is_empty() {
                svg.path(&frame.path(&outline), &format!("fill=\"{}\"", hatch.fill(drawing)));
                found.push(hatch);
            }
        }
        found
    }

    fn zone_lines(&self, svg: &mut Svg, frame: &MapFrame) {
        let data: String = self.prescription.zones.iter().map(|zone| frame.path(&zone.outline)).collect();
        svg.path(&data, CASING);
        svg.path(&data, ZONE_LINE);
    }

    /// Exclusions, boundary, strips and hard edges.
    fn over(&self, svg: &mut Svg, frame: &MapFrame, drawing: &str) {
        let prescription = self.prescription;
        let exclusions = frame.path(&prescription.exclusions);
        svg.path(&exclusions, &format!("fill=\"{}\" stroke=\"{INK}\" stroke-width=\"1\"", Hatch::LeftOut.fill(drawing)));
        let boundary = frame.path(&prescription.boundary);
        svg.path(&boundary, "fill=\"none\" stroke=\"#fff\" stroke-width=\"4\"");
        svg.path(&boundary, FIELD_LINE);
        for edge in &prescription.hard_edges {
            svg.path(&crate::report::draw::svg::path_of(edge.coords().map(|c| frame.place(c.x, c.y)), false), EDGE_LINE);
        }
        for strip in &prescription.strips {
            let outline = frame.path(&strip.outline);
            svg.path(&outline, "fill=\"none\" stroke=\"#fff\" stroke-width=\"3.4\"");
            svg.path(&outline, STRIP_LINE);
            if let Some((x, y)) = label_place(&strip.outline, frame) {
                let style = TextStyle { size: 10.5, anchor: Anchor::Middle, bold: true, halo: Some("#fff"), ..TextStyle::default() };
                svg.text((x, y + 4.0), &self.text.with("map-strip", &[("number", &strip.strip.to_string())]), &style);
            }
        }
    }

    /// The rate of each zone that has room for it.
    fn zone_labels(&self, svg: &mut Svg, frame: &MapFrame) {
        let mut taken: Vec<(f64, f64, f64)> = self
            .prescription
            .strips
            .iter()
            .filter_map(|strip| label_place(&strip.outline, frame).map(|(x, y)| (x, y, 30.0)))
            .collect();
        let mut zones: Vec<(usize, f64)> = self.prescription.zones.iter().enumerate().map(|(k, zone)| (k, zone.area.get())).collect();
        zones.sort_by(|a, b| b.1.total_cmp(&a.1));
        for (k, area) in zones {
            let label = short(self.exported[k]);
            let width = rough_width(&label, 11.0);
            // A zone smaller than twice its label would vanish under it.
            if area * frame.scale * frame.scale < 2.0 * width * 13.0 {
                continue;
            }
            let Some((x, y)) = label_place(&self.prescription.zones[k].outline, frame) else { continue };
            if taken.iter().any(|(tx, ty, w)| (tx - x).abs() < f64::midpoint(*w, width) + 3.0 && (ty - y).abs() < 13.0) {
                continue;
            }
            taken.push((x, y, width));
            let style = TextStyle { anchor: Anchor::Middle, bold: true, halo: Some("#fff"), ..TextStyle::default() };
            svg.text((x, y + 4.0), &label, &style);
        }
    }

    fn check_marks(&self, svg: &mut Svg, frame: &MapFrame) {
        for (number, (x, y)) in (1..).zip(self.marks) {
            let at = frame.place(*x, *y);
            svg.circle(at, 7.5, &format!("fill=\"#fff\" stroke=\"{INK}\" stroke-width=\"1.4\""));
            svg.text((at.0, at.1 + 3.6), &number.to_string(), &TextStyle { size: 10.0, anchor: Anchor::Middle, bold: true, ..TextStyle::default() });
        }
    }

    fn rate_entries(&self, scale: &RateScale) -> Vec<Entry> {
        let prescription = self.prescription;
        let mut areas: BTreeMap<i64, f64> = BTreeMap::new();
        for (zone, rate) in prescription.zones.iter().zip(self.exported) {
            *areas.entry(hundredths(*rate)).or_default() += zone.area.get();
        }
        let area = |m2: f64| {
            let area = crate::units::Area::m2(m2);
            if prescription.unit.is_us() { format!("{:.1} ac", area.as_ac()) } else { format!("{:.1} ha", area.as_ha()) }
        };
        if areas.len() <= MOST_CLASSES {
            areas.iter().rev().map(|(rate, m2)| Entry::Colour(scale.colour(*rate as f64 / 100.0), format!("{} · {}", short(*rate as f64 / 100.0), area(*m2)))).collect()
        } else {
            let (low, high) = scale.range();
            let all: Vec<f64> = areas.keys().map(|rate| *rate as f64 / 100.0).collect();
            let shown: Vec<f64> = if all.len() <= 12 { all } else { (0..=6).map(|k| low + (high - low) * f64::from(k) / 6.0).collect() };
            vec![Entry::Ramp(shown.iter().map(|rate| ((rate - low) / (high - low), short(*rate))).collect())]
        }
    }
}

fn hatch_key(hatch: Hatch) -> &'static str {
    match hatch {
        Hatch::Bare => "legend-bare",
        Hatch::Unseen => "legend-unseen",
        Hatch::Thin => "legend-thin",
        Hatch::LeftOut => "legend-left-out",
    }
}

fn hundredths(rate: f64) -> i64 {
    libm::round(rate * 100.0) as i64
}

/// Where a shape's label stands: well inside its largest part.
fn label_place(shape: &MultiPolygon<f64>, frame: &MapFrame) -> Option<(f64, f64)> {
    let largest = shape.iter().max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()))?;
    let point = largest.interior_point()?;
    Some(frame.place(point.x(), point.y()))
}

/// Colours of rates: classes while a legend can tell them apart, a ramp beyond.
pub struct RateScale {
    /// Distinct rates in hundredths, rising.
    rates: Vec<i64>,
}

impl RateScale {
    /// From the rates of all zones.
    pub fn of(rates: &[f64]) -> Self {
        let mut rates: Vec<i64> = rates.iter().map(|rate| hundredths(*rate)).collect();
        rates.sort_unstable();
        rates.dedup();
        Self { rates }
    }
    fn range(&self) -> (f64, f64) {
        let (low, high) = (self.rates.first().copied().unwrap_or(0) as f64 / 100.0, self.rates.last().copied().unwrap_or(0) as f64 / 100.0);
        if low < high { (low, high) } else { (low - 1.0, high + 1.0) }
    }
    /// The colour of a rate.
    pub fn colour(&self, rate: f64) -> Rgb {
        let count = self.rates.len();
        if (2..=MOST_CLASSES).contains(&count) {
            let k = self.rates.partition_point(|known| *known < hundredths(rate)).min(count - 1);
            return ramp(k as f64 / (count - 1) as f64);
        }
        let (low, high) = self.range();
        ramp((rate - low) / (high - low))
    }
}
