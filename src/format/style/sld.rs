//! Styles as Styled Layer Descriptor.

use super::StyleError;
use super::rules::{LINE, Mark, Rule, Style, Which};
use super::xml::Xml;
use crate::map::palette::Hatch;

/// Border of a zone. \[pixels of 0.28 mm, the standard's own\]
const BORDER: &str = "1";

/// A style of polygons for the layer of this name.
///
/// # Errors
/// [`StyleError`] when the writer fails.
pub fn vector(layer: &str, style: &Style) -> Result<Vec<u8>, StyleError> {
    let mut xml = Xml::new(true)?;
    xml.open(
        "StyledLayerDescriptor",
        &[
            ("xmlns", "http://www.opengis.net/sld"),
            ("xmlns:ogc", "http://www.opengis.net/ogc"),
            ("xmlns:se", "http://www.opengis.net/se"),
            ("version", "1.1.0"),
        ],
    )?;
    xml.open("NamedLayer", &[])?;
    xml.text("se:Name", &[], layer)?;
    xml.open("UserStyle", &[])?;
    xml.text("se:Name", &[], layer)?;
    xml.open("se:Description", &[])?;
    xml.text("se:Title", &[], &style.title)?;
    xml.close("se:Description")?;
    xml.open("se:FeatureTypeStyle", &[])?;
    for rule in &style.rules {
        write_rule(&mut xml, style, rule)?;
    }
    for name in [
        "se:FeatureTypeStyle",
        "UserStyle",
        "NamedLayer",
        "StyledLayerDescriptor",
    ] {
        xml.close(name)?;
    }
    Ok(xml.finish())
}

fn write_rule(xml: &mut Xml, style: &Style, rule: &Rule) -> std::io::Result<()> {
    xml.open("se:Rule", &[])?;
    xml.text("se:Name", &[], &rule.label)?;
    xml.open("se:Description", &[])?;
    xml.text("se:Title", &[], &rule.label)?;
    xml.close("se:Description")?;
    match &rule.which {
        Which::All => {}
        Which::Between { from, to, closed } => {
            xml.open("ogc:Filter", &[])?;
            xml.open("ogc:And", &[])?;
            comparison(
                xml,
                "ogc:PropertyIsGreaterThanOrEqualTo",
                style.column,
                &from.to_string(),
            )?;
            let upper = if *closed {
                "ogc:PropertyIsLessThanOrEqualTo"
            } else {
                "ogc:PropertyIsLessThan"
            };
            comparison(xml, upper, style.column, &to.to_string())?;
            xml.close("ogc:And")?;
            xml.close("ogc:Filter")?;
        }
        Which::State(word) => {
            xml.open("ogc:Filter", &[])?;
            comparison(xml, "ogc:PropertyIsEqualTo", style.state_column, word)?;
            xml.close("ogc:Filter")?;
        }
    }
    xml.open("se:PolygonSymbolizer", &[])?;
    match rule.mark {
        Mark::Fill(colour) => {
            xml.open("se:Fill", &[])?;
            xml.text("se:SvgParameter", &[("name", "fill")], &colour.hex())?;
            xml.close("se:Fill")?;
            stroke(xml, false)?;
        }
        Mark::Hatch(hatch) => pattern(xml, hatch)?,
        Mark::Outline { dashed } => stroke(xml, dashed)?,
    }
    xml.close("se:PolygonSymbolizer")?;
    xml.close("se:Rule")
}

fn comparison(xml: &mut Xml, operator: &str, column: &str, value: &str) -> std::io::Result<()> {
    xml.open(operator, &[])?;
    xml.text("ogc:PropertyName", &[], column)?;
    xml.text("ogc:Literal", &[], value)?;
    xml.close(operator)
}

fn stroke(xml: &mut Xml, dashed: bool) -> std::io::Result<()> {
    xml.open("se:Stroke", &[])?;
    xml.text("se:SvgParameter", &[("name", "stroke")], &LINE.hex())?;
    xml.text("se:SvgParameter", &[("name", "stroke-width")], BORDER)?;
    if dashed {
        xml.text("se:SvgParameter", &[("name", "stroke-dasharray")], "4 2")?;
    }
    xml.close("se:Stroke")
}

fn pattern(xml: &mut Xml, hatch: Hatch) -> std::io::Result<()> {
    // Of the standard's own six marks the two that QGIS draws as hatches too; there is none for a single slash, so a name in wide use stands for that.
    let name = match hatch {
        Hatch::Rising => "shape://slash",
        Hatch::Crossed => "x",
        Hatch::Dotted => "cross",
    };
    for element in ["se:Fill", "se:GraphicFill", "se:Graphic", "se:Mark"] {
        xml.open(element, &[])?;
    }
    xml.text("se:WellKnownName", &[], name)?;
    stroke(xml, false)?;
    xml.close("se:Mark")?;
    xml.text("se:Size", &[], "8")?;
    for element in ["se:Graphic", "se:GraphicFill", "se:Fill"] {
        xml.close(element)?;
    }
    Ok(())
}
