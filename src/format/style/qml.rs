//! Styles as `.qml`.

use super::StyleError;
use super::rules::{LINE, Mark, Style, Which};
use super::xml::Xml;
use crate::map::palette::{Colour, Hatch, Legend};

/// Version of the program whose style files these are: an old one, since newer ones read older files.
const VERSION: &str = "3.10.0";
/// Document type of the style files.
const DOCTYPE: &str = "qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'";
/// Border of a zone. \[mm\]
const BORDER_MM: &str = "0.26";

/// A style of polygons.
///
/// # Errors
/// [`StyleError`] when the writer fails.
pub fn vector(style: &Style) -> Result<Vec<u8>, StyleError> {
    let mut xml = Xml::new(false)?;
    xml.doctype(DOCTYPE)?;
    xml.open(
        "qgis",
        &[("version", VERSION), ("styleCategories", "Symbology")],
    )?;
    xml.open(
        "renderer-v2",
        &[
            ("type", "RuleRenderer"),
            ("symbollevels", "0"),
            ("enableorderby", "0"),
            ("forceraster", "0"),
        ],
    )?;
    xml.open("rules", &[("key", "root")])?;
    // A heading over the classes; a single rule is its own.
    let headed = style.rules.len() > 1;
    if headed {
        xml.open(
            "rule",
            &[
                ("key", "legend"),
                ("label", &super::xml::plain(&style.title)),
            ],
        )?;
    }
    for (i, rule) in style.rules.iter().enumerate() {
        let (key, symbol, filter, label) = (
            format!("rule-{i}"),
            i.to_string(),
            filter(style, &rule.which),
            super::xml::plain(&rule.label),
        );
        let mut attributes = vec![
            ("key", key.as_str()),
            ("symbol", symbol.as_str()),
            ("label", label.as_str()),
        ];
        attributes.extend(filter.as_deref().map(|filter| ("filter", filter)));
        xml.leaf("rule", &attributes)?;
    }
    if headed {
        xml.close("rule")?;
    }
    xml.close("rules")?;
    xml.open("symbols", &[])?;
    for (i, rule) in style.rules.iter().enumerate() {
        symbol(&mut xml, &i.to_string(), rule.mark)?;
    }
    xml.close("symbols")?;
    xml.close("renderer-v2")?;
    xml.text("blendMode", &[], "0")?;
    xml.text("layerGeometryType", &[], "2")?;
    xml.close("qgis")?;
    Ok(xml.finish())
}

/// The filter in the program's expression language.
fn filter(style: &Style, which: &Which) -> Option<String> {
    match which {
        Which::All => None,
        Which::Between { from, to, closed } => {
            let column = style.column;
            Some(format!(
                "\"{column}\" >= {from} AND \"{column}\" {} {to}",
                if *closed { "<=" } else { "<" }
            ))
        }
        Which::State(word) => Some(format!("\"{}\" = '{word}'", style.state_column)),
    }
}

fn symbol(xml: &mut Xml, name: &str, mark: Mark) -> std::io::Result<()> {
    let channels = |colour: Colour| format!("{},{},{},255", colour.red, colour.green, colour.blue);
    let (colour, fill, outline) = match mark {
        Mark::Fill(colour) => (channels(colour), "solid", "solid"),
        Mark::Hatch(hatch) => (channels(LINE), brush(hatch), "no"),
        Mark::Outline { dashed } => (channels(LINE), "no", if dashed { "dash" } else { "solid" }),
    };
    let line = channels(LINE);
    let properties = [
        ("color", colour.as_str()),
        ("style", fill),
        ("outline_color", line.as_str()),
        ("outline_style", outline),
        ("outline_width", BORDER_MM),
        ("outline_width_unit", "MM"),
        ("joinstyle", "bevel"),
    ];
    xml.open(
        "symbol",
        &[
            ("type", "fill"),
            ("name", name),
            ("alpha", "1"),
            ("clip_to_extent", "1"),
            ("force_rhr", "0"),
        ],
    )?;
    xml.open(
        "layer",
        &[
            ("class", "SimpleFill"),
            ("enabled", "1"),
            ("locked", "0"),
            ("pass", "0"),
        ],
    )?;
    // Newer releases read options, older ones properties.
    xml.open("Option", &[("type", "Map")])?;
    for (key, value) in properties {
        xml.leaf(
            "Option",
            &[("type", "QString"), ("name", key), ("value", value)],
        )?;
    }
    xml.close("Option")?;
    for (key, value) in properties {
        xml.leaf("prop", &[("k", key), ("v", value)])?;
    }
    xml.close("layer")?;
    xml.close("symbol")
}

/// The program's word for a hatch.
const fn brush(hatch: Hatch) -> &'static str {
    match hatch {
        Hatch::Rising => "b_diagonal",
        Hatch::Crossed => "diagonal_x",
        Hatch::Dotted => "dense6",
    }
}

/// A style of a raster's only band: a colour for all values up to each class's upper break.
///
/// # Errors
/// [`StyleError`] when the writer fails.
pub fn raster(legend: &Legend) -> Result<Vec<u8>, StyleError> {
    let ends = legend
        .classes
        .first()
        .zip(legend.classes.last())
        .map_or((0.0, 0.0), |(first, last)| (first.from, last.to));
    let (minimum, maximum) = (ends.0.to_string(), ends.1.to_string());
    let mut xml = Xml::new(false)?;
    xml.doctype(DOCTYPE)?;
    xml.open(
        "qgis",
        &[("version", VERSION), ("styleCategories", "Symbology")],
    )?;
    xml.open("pipe", &[])?;
    xml.open(
        "rasterrenderer",
        &[
            ("type", "singlebandpseudocolor"),
            ("band", "1"),
            ("opacity", "1"),
            ("alphaBand", "-1"),
            ("classificationMin", &minimum),
            ("classificationMax", &maximum),
        ],
    )?;
    xml.leaf("rasterTransparency", &[])?;
    xml.open("rastershader", &[])?;
    xml.open(
        "colorrampshader",
        &[
            ("colorRampType", "DISCRETE"),
            ("classificationMode", "1"),
            ("clip", "0"),
            ("minimumValue", &minimum),
            ("maximumValue", &maximum),
        ],
    )?;
    let last = legend.classes.len().saturating_sub(1);
    for (i, class) in legend.classes.iter().enumerate() {
        // The last colour is for everything above, as this kind of shader wants it.
        let value = if i == last {
            "inf".to_owned()
        } else {
            class.to.to_string()
        };
        let label = super::xml::plain(&class.label);
        xml.leaf(
            "item",
            &[
                ("value", value.as_str()),
                ("color", class.colour.hex().as_str()),
                ("alpha", "255"),
                ("label", label.as_str()),
            ],
        )?;
    }
    xml.close("colorrampshader")?;
    xml.close("rastershader")?;
    xml.close("rasterrenderer")?;
    xml.close("pipe")?;
    xml.text("blendMode", &[], "0")?;
    xml.close("qgis")?;
    Ok(xml.finish())
}
