//! A plain map as KML: coloured by the palette, rates in the extended data. For looking, not for a machine.
//!
//! # Source
//! OGC 12-007r2 (KML 2.3) and OGC 07-147r2 (KML 2.2), from memory: longitude before latitude, colours as aabbggrr, exteriors counter-clockwise.

use super::error::CarriedOutError;
use super::rows::{legend, outlines, row};
use crate::format::payload::Payload;
use crate::format::style::Xml;
use crate::map::palette::{Colour, INK, Legend};
use crate::map::plain::PlainMap;
use geo::{LineString, MultiPolygon};

/// `NAME.kml`: one placemark a zone, named by its rate, with `zone`, `product_rate`, `product_unit`, `n_kg_ha` and `area_m2`; what is not known is left out.
///
/// # Errors
/// [`CarriedOutError`].
pub fn write(map: &PlainMap, name: &str) -> Result<Vec<Payload>, CarriedOutError> {
    let outlines = outlines(map)?;
    if outlines.is_empty() {
        return Err(CarriedOutError::NoZones);
    }
    let (legend, column) = legend(map);
    let mut xml = Xml::new(true)?;
    xml.open("kml", &[("xmlns", "http://www.opengis.net/kml/2.2")])?;
    xml.open("Document", &[])?;
    xml.text("name", &[], &map.name)?;
    xml.text("description", &[], &about(&legend))?;
    for (i, class) in legend.classes.iter().enumerate() {
        style(&mut xml, i, class.colour)?;
    }
    // Types of the values, so that readers need not guess that a rate is a number.
    let types = [
        ("zone", "int"),
        ("product_rate", "double"),
        ("product_unit", "string"),
        ("n_kg_ha", "double"),
        ("area_m2", "double"),
    ];
    xml.open("Schema", &[("name", "zones"), ("id", "zones")])?;
    for (name, kind) in types {
        xml.leaf("SimpleField", &[("type", kind), ("name", name)])?;
    }
    xml.close("Schema")?;
    for (zone, outline) in map.zones.iter().zip(&outlines) {
        let row = row(map, zone);
        let value = if column == "product_rate" {
            row.product_rate
        } else {
            row.n_kg_ha
        };
        let class = value.and_then(|value| {
            legend.classes.iter().position(|class| {
                class.from <= value && value <= class.to && value <= class.greatest
            })
        });
        xml.open("Placemark", &[])?;
        xml.text(
            "name",
            &[],
            &value.map_or_else(
                || format!("zone {}", row.zone),
                |value| format!("{value} {}", legend.unit),
            ),
        )?;
        if let Some(class) = class {
            xml.text("styleUrl", &[], &format!("#class-{class}"))?;
        }
        xml.open("ExtendedData", &[])?;
        xml.open("SchemaData", &[("schemaUrl", "#zones")])?;
        let values = [
            ("zone", Some(row.zone.to_string())),
            (
                "product_rate",
                row.product_rate.map(|value| value.to_string()),
            ),
            ("product_unit", row.product_unit.map(str::to_owned)),
            ("n_kg_ha", row.n_kg_ha.map(|value| value.to_string())),
            ("area_m2", Some(row.area_m2.to_string())),
        ];
        for (name, value) in values {
            if let Some(value) = value {
                xml.text("SimpleData", &[("name", name)], &value)?;
            }
        }
        xml.close("SchemaData")?;
        xml.close("ExtendedData")?;
        shape(&mut xml, outline)?;
        xml.close("Placemark")?;
    }
    xml.close("Document")?;
    xml.close("kml")?;
    Ok(vec![Payload::new(format!("{name}.kml"), xml.finish())])
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
