//! `TASKDATA.XML`: what the terminal shows and what the grid's numbers mean.

use crate::format::iso11783::channel::Channel;
use crate::format::iso11783::error::Iso11783Error;
use crate::format::iso11783::grid::RateGrid;
use crate::space::crs::Crs;
use crate::space::crs::Projector;
use crate::zones::ascii::ascii;
use crate::zones::ascii::designator;
use crate::zones::machine::MachineRates;
use crate::zones::prescription::Prescription;
use geo::Area;
use geo::LineString;
use quick_xml::Writer;
use quick_xml::events::BytesDecl;
use quick_xml::events::BytesEnd;
use quick_xml::events::BytesStart;
use quick_xml::events::Event;

/// Name of the grid's file, without its extension.
pub(super) const GRID_NAME: &str = "GRD00000";
/// Texts hold so many characters at most. Source: schema of task data, version 3.3.
const LONGEST_TEXT: usize = 32;
/// Zone code of the grid's template.
const GRID_ZONE: &str = "1";
/// Zone code of the rate on start.
const START_ZONE: &str = "2";
/// Zone code of the rate with position lost.
const LOST_ZONE: &str = "3";
/// Zone code of the rate outside the field.
const OUTSIDE_ZONE: &str = "4";
/// Identifier that stands for a machine's default log, with every method of logging: it brings the as-applied log back.
const DEFAULT_LOG: [(&str, &str); 2] = [("A", "DFFF"), ("B", "31")];

/// The main file.
pub(super) fn task_data(prescription: &Prescription, rates: &MachineRates, grid: &RateGrid, channel: &Channel) -> Result<Vec<u8>, Iso11783Error> {
    let boundary = boundary_rings(prescription)?;
    let parts = Parts {
        field: designator(&prescription.field_name, LONGEST_TEXT, "Field"),
        task: task_name(&prescription.field_name, &prescription.map_id),
        crop: designator(&prescription.crop, LONGEST_TEXT, "Crop"),
        product: product_name(prescription),
        area: format!("{:.0}", prescription.boundary.unsigned_area()),
        boundary,
        on_start: channel.integer(rates.on_start, || "on start".to_owned())?.to_string(),
        position_lost: channel.integer(rates.position_lost, || "with position lost".to_owned())?.to_string(),
        outside: channel.integer(rates.outside, || "outside the field".to_owned())?.to_string(),
    };
    parts.write(grid, channel).map_err(|source| Iso11783Error::Xml { source })
}

/// Field name and map id; the name is cut so that the id always shows.
fn task_name(field: &str, map_id: &str) -> String {
    let id = ascii(map_id);
    let room = LONGEST_TEXT.saturating_sub(id.len() + 1);
    let mut name = format!("{} {id}", designator(field, room, "Field"));
    name.truncate(LONGEST_TEXT);
    name
}

/// The product's name with its nitrogen by mass and, for a liquid, its density; the name is cut so that both always show.
fn product_name(prescription: &Prescription) -> String {
    let Some(product) = &prescription.product else { return "Nitrogen as N, no product".to_owned() };
    let mut note = format!(" {}%N", (product.nitrogen() * 10_000.0).round() / 100.0);
    if let Some(density) = product.kg_per_l() {
        note = format!("{note} {}kg/L", (density * 1_000.0).round() / 1_000.0);
    }
    designator(product.name(), LONGEST_TEXT.saturating_sub(note.len()), "Product") + &note
}

/// A point as the file holds it: latitude and longitude with at most 9 decimals.
type Point = (String, String);

/// Rings of the boundary, exteriors first within each part: `true` for an exterior.
fn boundary_rings(prescription: &Prescription) -> Result<Vec<(bool, Vec<Point>)>, Iso11783Error> {
    let way = Projector::new(&prescription.plane, &Crs::wgs84())?;
    let mut out = Vec::new();
    for polygon in &prescription.boundary {
        out.push((true, ring(&way, polygon.exterior())?));
        for hole in polygon.interiors() {
            out.push((false, ring(&way, hole)?));
        }
    }
    // Fewer than three distinct points enclose nothing.
    out.retain(|(_, points)| points.len() >= 4);
    Ok(out)
}

/// A closed ring; points that fall together at 9 decimals (0.1 mm) are written once.
fn ring(way: &Projector, line: &LineString<f64>) -> Result<Vec<Point>, Iso11783Error> {
    let mut points: Vec<Point> = Vec::with_capacity(line.0.len());
    for c in &line.0 {
        let (longitude, latitude) = way.point(c.x, c.y)?;
        let point = (degrees(latitude), degrees(longitude));
        if points.last() != Some(&point) {
            points.push(point);
        }
    }
    if let Some(first) = points.first().cloned()
        && points.last() != Some(&first)
    {
        points.push(first);
    }
    Ok(points)
}

/// Degrees with 9 decimals at most.
fn degrees(value: f64) -> String {
    let text = format!("{value:.9}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

/// Texts and numbers of the file, ready to be written.
struct Parts {
    field: String,
    task: String,
    crop: String,
    product: String,
    area: String,
    boundary: Vec<(bool, Vec<Point>)>,
    on_start: String,
    position_lost: String,
    outside: String,
}

impl Parts {
    fn write(&self, grid: &RateGrid, channel: &Channel) -> std::io::Result<Vec<u8>> {
        let mut file = File { xml: Writer::new_with_indent(Vec::new(), b' ', 1) };
        file.xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        file.open(
            "ISO11783_TaskData",
            &[
                ("VersionMajor", "3"),
                ("VersionMinor", "3"),
                ("ManagementSoftwareManufacturer", "haulm"),
                ("ManagementSoftwareVersion", env!("CARGO_PKG_VERSION")),
                ("DataTransferOrigin", "1"),
            ],
        )?;
        // Some terminals list tasks only below a customer and a farm; the job names neither.
        file.leaf("CTP", &[("A", "CTP1"), ("B", &self.crop)])?;
        file.leaf("CTR", &[("A", "CTR1"), ("B", "Grower")])?;
        file.leaf("FRM", &[("A", "FRM1"), ("B", "Farm"), ("I", "CTR1")])?;
        self.field(&mut file)?;
        file.leaf("VPN", &[("A", "VPN1"), ("B", "0"), ("C", &scale(channel)), ("D", "2"), ("E", channel.unit)])?;
        file.leaf("PDT", &[("A", "PDT1"), ("B", &self.product), ("D", "VPN1"), ("E", channel.quantity)])?;
        self.task(&mut file, grid, channel)?;
        file.close("ISO11783_TaskData")?;
        let mut bytes = file.xml.into_inner();
        bytes.push(b'\n');
        Ok(bytes)
    }

    fn field(&self, file: &mut File) -> std::io::Result<()> {
        file.open("PFD", &[("A", "PFD1"), ("C", &self.field), ("D", &self.area), ("E", "CTR1"), ("F", "FRM1"), ("G", "CTP1")])?;
        // Version 3 holds one polygon a field, with as many outer rings as the field has parts.
        file.open("PLN", &[("A", "1"), ("C", &self.area)])?;
        for (exterior, points) in &self.boundary {
            file.open("LSG", &[("A", if *exterior { "1" } else { "2" })])?;
            for (north, east) in points {
                file.leaf("PNT", &[("A", "2"), ("C", north), ("D", east)])?;
            }
            file.close("LSG")?;
        }
        file.close("PLN")?;
        file.close("PFD")
    }

    fn task(&self, file: &mut File, grid: &RateGrid, channel: &Channel) -> std::io::Result<()> {
        file.open(
            "TSK",
            &[
                ("A", "TSK1"),
                ("B", &self.task),
                ("C", "CTR1"),
                ("D", "FRM1"),
                ("E", "PFD1"),
                ("G", "1"),
                ("H", START_ZONE),
                ("I", LOST_ZONE),
                ("J", OUTSIDE_ZONE),
            ],
        )?;
        // The grid's template names the value of its cells; its own number means nothing.
        let zones = [
            (GRID_ZONE, "Grid", "0"),
            (START_ZONE, "On start", &self.on_start),
            (LOST_ZONE, "Position lost", &self.position_lost),
            (OUTSIDE_ZONE, "Outside the field", &self.outside),
        ];
        for (code, name, value) in zones {
            file.open("TZN", &[("A", code), ("B", name)])?;
            file.leaf("PDV", &[("A", channel.ddi), ("B", value), ("C", "PDT1"), ("E", "VPN1")])?;
            file.close("TZN")?;
        }
        let lattice = &grid.lattice;
        file.leaf(
            "GRD",
            &[
                ("A", &lattice.south.to_string()),
                ("B", &lattice.west.to_string()),
                ("C", &lattice.cell_north.to_string()),
                ("D", &lattice.cell_east.to_string()),
                ("E", &lattice.cols.to_string()),
                ("F", &lattice.rows.to_string()),
                ("G", GRID_NAME),
                ("H", &(grid.rates.len() * 4).to_string()),
                ("I", "2"),
                ("J", GRID_ZONE),
            ],
        )?;
        file.leaf("DLT", &DEFAULT_LOG)?;
        file.close("TSK")
    }
}

/// The scale as a plain decimal of 12 significant digits; the schema allows no exponent.
fn scale(channel: &Channel) -> String {
    format!("{:.11e}", channel.scale()).parse::<f64>().unwrap_or_else(|_| channel.scale()).to_string()
}

struct File {
    xml: Writer<Vec<u8>>,
}

impl File {
    fn open(&mut self, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
        self.xml.write_event(Event::Start(BytesStart::new(name).with_attributes(attributes.iter().copied())))
    }
    fn leaf(&mut self, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
        self.xml.write_event(Event::Empty(BytesStart::new(name).with_attributes(attributes.iter().copied())))
    }
    fn close(&mut self, name: &str) -> std::io::Result<()> {
        self.xml.write_event(Event::End(BytesEnd::new(name)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_cut_before_what_must_show() {
        assert_eq!(task_name("Long Ley", "0a1b2c"), "Long Ley 0a1b2c");
        let long = task_name("The very long field beyond the mill brook", "0a1b2c");
        assert!(long.len() <= 32 && long.ends_with(" 0a1b2c"), "{long}");
        assert_eq!(product_name(&crate::zones::fixture::prescription()), "UAN 28 28%N 1.28kg/L");
    }

    #[test]
    fn degrees_are_plain_and_short() {
        assert_eq!(degrees(48.0), "48");
        assert_eq!(degrees(-0.000_000_000_01), "0");
        assert_eq!(degrees(14.123_456_789_9), "14.12345679");
    }
}
