//! `TASKDATA.XML`: what the terminal shows and what the grid's numbers mean.

use crate::format::iso11783::channel::Channel;
use crate::format::iso11783::error::Iso11783Error;
use crate::format::iso11783::lattice::Lattice;
use crate::format::iso11783::write::Body;
use crate::map::ascii::{ascii, designator};
use crate::map::machine::MachineRates;
use crate::map::plain::area_on_ellipsoid;
use crate::map::prescription::Prescription;
use crate::map::task_options::TaskVersion;
use crate::space::crs::{Crs, Projector};
use crate::units::Product;
use geo::{Area, LineString, MultiPolygon, Polygon};
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, Event};

/// Name of the grid's file, without its extension.
pub(super) const GRID_NAME: &str = "GRD00000";
/// Texts hold so many characters at most. Source: schema of task data, version 3.3.
pub(super) const LONGEST_TEXT: usize = 32;
/// Codes of the zones that every task has: on start, with position lost, outside the field.
const FALLBACK_ZONES: [&str; 3] = ["2", "3", "4"];
/// Zone code of the template of a grid of rates.
const TEMPLATE_ZONE: &str = "1";
/// Identifier that stands for a machine's default log, with every method of logging: it brings the as-applied log back.
const DEFAULT_LOG: [(&str, &str); 2] = [("A", "DFFF"), ("B", "31")];

/// Texts and numbers for a prescription.
pub(super) fn parts(
    prescription: &Prescription,
    rates: &MachineRates,
    channel: &Channel,
    version: TaskVersion,
) -> Result<Parts, Iso11783Error> {
    let way = Projector::new(&prescription.plane, &Crs::wgs84())?;
    Ok(Parts {
        version,
        field: designator(&prescription.field_name, LONGEST_TEXT, "Field"),
        task: task_name(&prescription.field_name, &prescription.map_id),
        client: prescription
            .client
            .as_deref()
            .map(|client| designator(client, LONGEST_TEXT, "Grower")),
        farm: prescription
            .farm
            .as_deref()
            .map(|farm| designator(farm, LONGEST_TEXT, "Farm")),
        crop: Some(designator(&prescription.crop, LONGEST_TEXT, "Crop")),
        product: product_name(prescription.product.as_ref()),
        boundary: polygon_rings(&way, &prescription.boundary)?,
        on_start: channel
            .integer(rates.on_start, || "on start".to_owned())?
            .to_string(),
        position_lost: channel
            .integer(rates.position_lost, || "with position lost".to_owned())?
            .to_string(),
        outside: channel
            .integer(rates.outside, || "outside the field".to_owned())?
            .to_string(),
    })
}

/// Field name and map id; the name is cut so that the id always shows.
pub fn task_name(field: &str, map_id: &str) -> String {
    let id = ascii(map_id);
    let room = LONGEST_TEXT.saturating_sub(id.len() + 1);
    let mut name = format!("{} {id}", designator(field, room, "Field"));
    name.truncate(LONGEST_TEXT);
    name
}

/// The product's name with its nitrogen by mass and, for a liquid, its density; the name is cut so that both always show.
pub(super) fn product_name(product: Option<&Product>) -> String {
    let Some(product) = product else {
        return "Nitrogen as N, no product".to_owned();
    };
    let mut note = format!(" {}%N", (product.nitrogen() * 10_000.0).round() / 100.0);
    if let Some(density) = product.kg_per_l() {
        note = format!("{note} {}kg/L", (density * 10_000.0).round() / 10_000.0);
    }
    designator(
        product.name(),
        LONGEST_TEXT.saturating_sub(note.len()),
        "Product",
    ) + &note
}

/// A point as the file holds it: latitude and longitude with at most 9 decimals.
type Point = (String, String);

/// One polygon: area \[m²\], and rings with the exterior first (`true`).
#[derive(Clone, Debug, PartialEq)]
pub(super) struct PolygonRings {
    area_m2: f64,
    rings: Vec<(bool, Vec<Point>)>,
}

/// The polygons of a shape; those that enclose nothing are dropped.
pub(super) fn polygon_rings(
    way: &Projector,
    shape: &MultiPolygon<f64>,
) -> Result<Vec<PolygonRings>, Iso11783Error> {
    let mut out = Vec::new();
    for polygon in shape {
        let mut rings = vec![(true, ring(way, polygon.exterior())?)];
        for hole in polygon.interiors() {
            rings.push((false, ring(way, hole)?));
        }
        // Fewer than three distinct points enclose nothing.
        if rings[0].1.len() >= 4 {
            rings.retain(|(_, points)| points.len() >= 4);
            out.push(PolygonRings {
                area_m2: area_m2(way, polygon),
                rings,
            });
        }
    }
    Ok(out)
}

/// Area on the plane, or on the ellipsoid for a shape in degrees. \[m²\]
fn area_m2(way: &Projector, polygon: &Polygon<f64>) -> f64 {
    if way.is_identity() {
        area_on_ellipsoid(&MultiPolygon::new(vec![polygon.clone()]))
    } else {
        polygon.unsigned_area()
    }
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
    if short == "-0" {
        "0".to_owned()
    } else {
        short.to_owned()
    }
}

/// Texts and numbers of the file, ready to be written.
pub(super) struct Parts {
    pub(super) version: TaskVersion,
    pub(super) field: String,
    pub(super) task: String,
    pub(super) client: Option<String>,
    pub(super) farm: Option<String>,
    pub(super) crop: Option<String>,
    pub(super) product: String,
    pub(super) boundary: Vec<PolygonRings>,
    pub(super) on_start: String,
    pub(super) position_lost: String,
    pub(super) outside: String,
}

impl Parts {
    /// The main file.
    pub(super) fn main_file(
        &self,
        body: &Body,
        channel: &Channel,
    ) -> Result<Vec<u8>, Iso11783Error> {
        self.write(body, channel)
            .map_err(|source| Iso11783Error::Xml { source })
    }

    fn write(&self, body: &Body, channel: &Channel) -> std::io::Result<Vec<u8>> {
        let mut file = File {
            xml: Writer::new_with_indent(Vec::new(), b' ', 1),
        };
        file.xml
            .write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        file.open(
            "ISO11783_TaskData",
            &[
                (
                    "VersionMajor",
                    if self.version == TaskVersion::V4 {
                        "4"
                    } else {
                        "3"
                    },
                ),
                ("VersionMinor", "3"),
                ("ManagementSoftwareManufacturer", "haulm"),
                ("ManagementSoftwareVersion", env!("CARGO_PKG_VERSION")),
                ("DataTransferOrigin", "1"),
            ],
        )?;
        // Some terminals list tasks only below a customer and a farm: where the job names none, a word stands in.
        let client = self.client.as_deref().unwrap_or("Grower");
        let farm = self.farm.as_deref().unwrap_or("Farm");
        if let Some(crop) = &self.crop {
            file.leaf("CTP", &[("A", "CTP1"), ("B", crop)])?;
        }
        file.leaf("CTR", &[("A", "CTR1"), ("B", client)])?;
        file.leaf("FRM", &[("A", "FRM1"), ("B", farm), ("I", "CTR1")])?;
        self.field(&mut file)?;
        file.leaf(
            "VPN",
            &[
                ("A", "VPN1"),
                ("B", "0"),
                ("C", &scale(channel)),
                ("D", "2"),
                ("E", channel.unit),
            ],
        )?;
        file.leaf(
            "PDT",
            &[
                ("A", "PDT1"),
                ("B", &self.product),
                ("D", "VPN1"),
                ("E", channel.quantity),
            ],
        )?;
        self.task(&mut file, body, channel)?;
        file.close("ISO11783_TaskData")?;
        let mut bytes = file.xml.into_inner();
        bytes.push(b'\n');
        Ok(bytes)
    }

    fn field(&self, file: &mut File) -> std::io::Result<()> {
        let area = total_area(&self.boundary);
        let mut attributes = vec![
            ("A", "PFD1"),
            ("C", self.field.as_str()),
            ("D", area.as_str()),
            ("E", "CTR1"),
            ("F", "FRM1"),
        ];
        if self.crop.is_some() {
            attributes.push(("G", "CTP1"));
        }
        file.open("PFD", &attributes)?;
        self.polygons(file, "1", &self.boundary)?;
        file.close("PFD")
    }

    /// Version 3 holds one polygon a field or zone, with as many outer rings as there are parts; version 4 one polygon a part.
    fn polygons(
        &self,
        file: &mut File,
        kind: &str,
        polygons: &[PolygonRings],
    ) -> std::io::Result<()> {
        let groups = if self.version == TaskVersion::V4 {
            polygons.chunks(1).collect()
        } else {
            vec![polygons]
        };
        for group in groups.into_iter().filter(|group| !group.is_empty()) {
            file.open("PLN", &[("A", kind), ("C", &total_area(group))])?;
            for (exterior, points) in group.iter().flat_map(|polygon| &polygon.rings) {
                file.open("LSG", &[("A", if *exterior { "1" } else { "2" })])?;
                for (north, east) in points {
                    file.leaf("PNT", &[("A", "2"), ("C", north), ("D", east)])?;
                }
                file.close("LSG")?;
            }
            file.close("PLN")?;
        }
        Ok(())
    }

    fn zone(
        &self,
        file: &mut File,
        code: &str,
        name: &str,
        value: &str,
        polygons: &[PolygonRings],
        channel: &Channel,
    ) -> std::io::Result<()> {
        file.open("TZN", &[("A", code), ("B", name)])?;
        file.leaf(
            "PDV",
            &[
                ("A", channel.ddi),
                ("B", value),
                ("C", "PDT1"),
                ("E", "VPN1"),
            ],
        )?;
        self.polygons(file, "2", polygons)?;
        file.close("TZN")
    }

    fn task(&self, file: &mut File, body: &Body, channel: &Channel) -> std::io::Result<()> {
        let [on_start, lost, outside] = FALLBACK_ZONES;
        file.open(
            "TSK",
            &[
                ("A", "TSK1"),
                ("B", &self.task),
                ("C", "CTR1"),
                ("D", "FRM1"),
                ("E", "PFD1"),
                ("G", "1"),
                ("H", on_start),
                ("I", lost),
                ("J", outside),
            ],
        )?;
        if let Body::Rates { .. } = body {
            // The grid's template names the value of its cells; its own number means nothing.
            self.zone(file, TEMPLATE_ZONE, "Grid", "0", &[], channel)?;
        }
        self.zone(file, on_start, "On start", &self.on_start, &[], channel)?;
        self.zone(
            file,
            lost,
            "Position lost",
            &self.position_lost,
            &[],
            channel,
        )?;
        self.zone(
            file,
            outside,
            "Outside the field",
            &self.outside,
            &[],
            channel,
        )?;
        match body {
            Body::Rates { lattice, values } => {
                grid(file, lattice, values.len() * 4, "2", Some(TEMPLATE_ZONE))?;
            }
            Body::Codes {
                lattice,
                zones,
                codes,
            } => {
                for zone in zones {
                    self.zone(
                        file,
                        &zone.code.to_string(),
                        &zone.name,
                        &zone.value.to_string(),
                        &[],
                        channel,
                    )?;
                }
                grid(file, lattice, codes.len(), "1", None)?;
            }
            Body::Polygons(zones) => {
                for zone in zones {
                    self.zone(
                        file,
                        &zone.code.to_string(),
                        &zone.name,
                        &zone.value.to_string(),
                        &zone.polygons,
                        channel,
                    )?;
                }
            }
        }
        file.leaf("DLT", &DEFAULT_LOG)?;
        file.close("TSK")
    }
}

fn grid(
    file: &mut File,
    lattice: &Lattice,
    bytes: usize,
    kind: &str,
    template: Option<&str>,
) -> std::io::Result<()> {
    let texts = [
        ("A", lattice.south.to_string()),
        ("B", lattice.west.to_string()),
        ("C", lattice.cell_north.to_string()),
        ("D", lattice.cell_east.to_string()),
        ("E", lattice.cols.to_string()),
        ("F", lattice.rows.to_string()),
        ("G", GRID_NAME.to_owned()),
        ("H", bytes.to_string()),
        ("I", kind.to_owned()),
    ];
    let mut attributes: Vec<_> = texts
        .iter()
        .map(|(name, text)| (*name, text.as_str()))
        .collect();
    attributes.extend(template.map(|template| ("J", template)));
    file.leaf("GRD", &attributes)
}

/// Whole square metres of several polygons.
fn total_area(polygons: &[PolygonRings]) -> String {
    format!(
        "{:.0}",
        polygons.iter().map(|polygon| polygon.area_m2).sum::<f64>()
    )
}

/// The scale as a plain decimal of 12 significant digits; the schema allows no exponent.
fn scale(channel: &Channel) -> String {
    format!("{:.11e}", channel.scale())
        .parse::<f64>()
        .unwrap_or_else(|_| channel.scale())
        .to_string()
}

struct File {
    xml: Writer<Vec<u8>>,
}

impl File {
    fn open(&mut self, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
        self.xml.write_event(Event::Start(
            BytesStart::new(name).with_attributes(attributes.iter().copied()),
        ))
    }
    fn leaf(&mut self, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
        self.xml.write_event(Event::Empty(
            BytesStart::new(name).with_attributes(attributes.iter().copied()),
        ))
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
        assert_eq!(
            product_name(crate::map::fixture::prescription().product.as_ref()),
            "UAN 28 28%N 1.28kg/L"
        );
    }

    #[test]
    fn degrees_are_plain_and_short() {
        assert_eq!(degrees(48.0), "48");
        assert_eq!(degrees(-0.000_000_000_01), "0");
        assert_eq!(degrees(14.123_456_789_9), "14.12345679");
    }
}
