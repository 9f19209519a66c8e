//! A map as KML: coloured by the palette, rates in the extended data. For looking, not for a machine.
//!
//! # Source
//! OGC 12-007r2 (KML 2.3) and OGC 07-147r2 (KML 2.2), from memory: longitude before latitude, colours as aabbggrr, exteriors counter-clockwise.

use crate::format::payload::Payload;
use crate::format::style::Xml;
use crate::format::{Format, WriteError, lonlat};
use crate::map::export::{Drawn, ExportMap};
use crate::map::palette::{Colour, INK, Legend};
use crate::map::table::{Kind, Value};
use geo::{LineString, MultiPolygon};

/// The element around all: called as the format is.
const ROOT: &str = Format::Kml.row().word;

/// `NAME.kml`: one placemark a zone, named by its rate, with the columns of the map's table; what is not known is left out.
///
/// # Errors
/// [`WriteError`].
pub(super) fn write(map: &ExportMap<'_>, name: &str) -> Result<Vec<Payload>, WriteError> {
    let outlines = lonlat::rounded_zones(map)?;
    let Drawn::Rates { legend, column, .. } = &map.zones.drawn else {
        return Err(WriteError::NoZones);
    };
    if outlines.is_empty() {
        return Err(WriteError::NoZones);
    }
    let columns = map.zones.table.columns;
    let mut xml = Xml::new(true)?;
    xml.open(ROOT, &[("xmlns", "http://www.opengis.net/kml/2.2")])?;
    xml.open("Document", &[])?;
    xml.text("name", &[], map.name)?;
    xml.text("description", &[], &about(legend))?;
    for (i, class) in legend.classes.iter().enumerate() {
        style(&mut xml, i, class.colour)?;
    }
    // Types of the values, so that readers need not guess that a rate is a number.
    xml.open("Schema", &[("name", "zones"), ("id", "zones")])?;
    for (name, kind, _) in columns {
        let kind = match kind {
            Kind::Whole => "int",
            Kind::Real => "double",
            Kind::Text => "string",
        };
        xml.leaf("SimpleField", &[("type", kind), ("name", name)])?;
    }
    xml.close("Schema")?;
    for ((zone, row), outline) in (1..).zip(map.zones.rows()).zip(&outlines) {
        let named = || columns.iter().map(|(name, _, _)| *name).zip(&row.values);
        let rate = named().find_map(|(name, value)| match value {
            Value::Real(rate) if name == *column => *rate,
            _ => None,
        });
        let label = rate.map_or_else(
            || format!("zone {zone}"),
            |rate| format!("{rate} {}", legend.unit),
        );
        xml.open("Placemark", &[])?;
        xml.text("name", &[], &label)?;
        let class = rate.and_then(|rate| {
            legend
                .classes
                .iter()
                .position(|class| class.from <= rate && rate <= class.to && rate <= class.maximum)
        });
        if let Some(class) = class {
            xml.text("styleUrl", &[], &format!("#class-{class}"))?;
        }
        xml.open("ExtendedData", &[])?;
        xml.open("SchemaData", &[("schemaUrl", "#zones")])?;
        for (name, value) in named() {
            if let Some(text) = text(value) {
                xml.text("SimpleData", &[("name", name)], &text)?;
            }
        }
        xml.close("SchemaData")?;
        xml.close("ExtendedData")?;
        shape(&mut xml, outline)?;
        xml.close("Placemark")?;
    }
    xml.close("Document")?;
    xml.close(ROOT)?;
    Ok(vec![Payload::new(format!("{name}.kml"), xml.finish())])
}

fn text(value: &Value) -> Option<String> {
    match value {
        Value::Whole(value) => Some(value.to_string()),
        Value::Real(value) => value.map(|value| value.to_string()),
        Value::Text(value) => value.as_ref().map(ToString::to_string),
    }
}

fn about(legend: &Legend) -> String {
    let classes: Vec<_> = legend
        .classes
        .iter()
        .map(|class| class.label.as_str())
        .collect();
    format!(
        "{}, pale to dark: {}. For looking at, not for a machine.",
        legend.title,
        classes.join("; ")
    )
}

fn style(xml: &mut Xml, class: usize, colour: Colour) -> std::io::Result<()> {
    // Three quarters opaque, so that the ground shows through.
    let text = |alpha: &str, colour: Colour| {
        format!(
            "{alpha}{:02x}{:02x}{:02x}",
            colour.blue, colour.green, colour.red
        )
    };
    xml.open("Style", &[("id", &format!("class-{class}"))])?;
    xml.open("LineStyle", &[])?;
    xml.text("color", &[], &text("ff", INK))?;
    xml.text("width", &[], "1")?;
    xml.close("LineStyle")?;
    xml.open("PolyStyle", &[])?;
    xml.text("color", &[], &text("bf", colour))?;
    xml.close("PolyStyle")?;
    xml.close("Style")
}

fn shape(xml: &mut Xml, outline: &MultiPolygon<f64>) -> std::io::Result<()> {
    if outline.0.len() > 1 {
        xml.open("MultiGeometry", &[])?;
    }
    for polygon in outline {
        xml.open("Polygon", &[])?;
        ring(xml, "outerBoundaryIs", polygon.exterior())?;
        for hole in polygon.interiors() {
            ring(xml, "innerBoundaryIs", hole)?;
        }
        xml.close("Polygon")?;
    }
    if outline.0.len() > 1 {
        xml.close("MultiGeometry")?;
    }
    Ok(())
}

fn ring(xml: &mut Xml, element: &str, line: &LineString<f64>) -> std::io::Result<()> {
    let points: Vec<_> = line.coords().map(|c| format!("{},{}", c.x, c.y)).collect();
    xml.open(element, &[])?;
    xml.open("LinearRing", &[])?;
    xml.text("coordinates", &[], &points.join(" "))?;
    xml.close("LinearRing")?;
    xml.close(element)
}
