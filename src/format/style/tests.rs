//! One legend in every style: breaks, colours and labels read back from the XML and compared.

use super::*;
use crate::map::palette::Legend;
use crate::map::{fixture, legend};
use quick_xml::Reader;
use quick_xml::events::Event;
use std::collections::BTreeMap;

/// Name, attributes and, where it holds that alone, text.
type Element = (String, BTreeMap<String, String>, String);

/// Every element of a document.
fn elements(bytes: &[u8]) -> Vec<Element> {
    let text = std::str::from_utf8(bytes).unwrap();
    let mut reader = Reader::from_str(text);
    let mut out: Vec<Element> = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    loop {
        let event = reader.read_event().unwrap();
        match &event {
            Event::Start(start) | Event::Empty(start) => {
                let attributes = start.attributes().map(|a| a.unwrap());
                let attributes = attributes
                    .map(|a| (a.key.0.to_owned(), unescaped(&a.value)))
                    .collect();
                if matches!(event, Event::Start(_)) {
                    open.push(out.len());
                }
                out.push((start.name().0.to_owned(), attributes, String::new()));
            }
            Event::Text(text) => {
                if let Some(at) = open.last() {
                    out[*at].2.push_str(text.trim());
                }
            }
            Event::End(_) => drop(open.pop()),
            Event::Eof => break,
            _ => {}
        }
    }
    assert!(open.is_empty(), "well formed");
    out
}

fn unescaped(text: &str) -> String {
    text.replace("&gt;", ">")
        .replace("&lt;", "<")
        .replace("&quot;", "\"")
        .replace("&apos;", "'")
        .replace("&amp;", "&")
}

/// From, to, colour, label.
type Class = (f64, f64, String, String);

fn of_legend(legend: &Legend) -> Vec<Class> {
    legend
        .classes
        .iter()
        .map(|class| {
            (
                class.from,
                class.to,
                class.colour.hex(),
                class.label.clone(),
            )
        })
        .collect()
}

fn of_qml(bytes: &[u8]) -> Vec<Class> {
    let all = elements(bytes);
    let mut colours = BTreeMap::new();
    let mut symbol = String::new();
    for (name, attributes, _) in &all {
        match name.as_str() {
            "symbol" => symbol.clone_from(&attributes["name"]),
            "prop" if attributes["k"] == "color" => {
                let channels: Vec<u8> = attributes["v"]
                    .split(',')
                    .map(|channel| channel.parse().unwrap())
                    .collect();
                colours.insert(
                    symbol.clone(),
                    format!("#{:02x}{:02x}{:02x}", channels[0], channels[1], channels[2]),
                );
            }
            _ => {}
        }
    }
    let rules = all.iter().filter(|(name, attributes, _)| {
        name == "rule"
            && attributes
                .get("filter")
                .is_some_and(|filter| filter.contains(" AND "))
    });
    rules
        .map(|(_, attributes, _)| {
            let numbers: Vec<f64> = attributes["filter"]
                .split(' ')
                .filter_map(|word| word.parse().ok())
                .collect();
            (
                numbers[0],
                numbers[1],
                colours[&attributes["symbol"]].clone(),
                attributes["label"].clone(),
            )
        })
        .collect()
}

fn of_sld(bytes: &[u8]) -> Vec<Class> {
    let all = elements(bytes);
    let mut out = Vec::new();
    for rule in all
        .split(|(name, _, _)| name == "se:Rule")
        .skip(1)
        .filter(|rule| rule.iter().any(|(name, _, _)| name == "ogc:And"))
    {
        let numbers: Vec<f64> = rule
            .iter()
            .filter(|(name, _, _)| name == "ogc:Literal")
            .map(|(_, _, text)| text.parse().unwrap())
            .collect();
        let fill = rule
            .iter()
            .find(|(name, attributes, _)| name == "se:SvgParameter" && attributes["name"] == "fill")
            .unwrap();
        let title = rule.iter().find(|(name, _, _)| name == "se:Title").unwrap();
        out.push((numbers[0], numbers[1], fill.2.clone(), title.2.clone()));
    }
    out
}

fn many() -> Legend {
    Legend::new(
        "Rate of <\"A&B'\">",
        "kg/ha",
        (0..40).map(|i| f64::from(i) * 3.7),
    )
}

#[test]
fn every_style_says_what_the_legend_says() {
    for legend in [legend::zones(&fixture::prescription()), many()] {
        let style = Style::rates(&legend, "product_rate", Some("state"));
        assert!(legend.classes.len() >= 3);
        assert_eq!(of_qml(&qml_vector(&style).unwrap()), of_legend(&legend));
        assert_eq!(
            of_sld(&sld_vector("zones", &style).unwrap()),
            of_legend(&legend)
        );
        let raster = elements(&qml_raster(&legend).unwrap());
        let items: Vec<_> = raster
            .iter()
            .filter(|(name, _, _)| name == "item")
            .map(|(_, a, _)| (a["value"].clone(), a["color"].clone(), a["label"].clone()))
            .collect();
        let last = legend.classes.len() - 1;
        let upper = |i: usize, to: f64| {
            if i == last {
                "inf".to_owned()
            } else {
                to.to_string()
            }
        };
        let expected: Vec<_> = of_legend(&legend)
            .into_iter()
            .enumerate()
            .map(|(i, (_, to, colour, label))| (upper(i, to), colour, label))
            .collect();
        assert_eq!(items, expected);
    }
}

#[test]
fn unseen_and_bare_ground_is_hatched_where_there_are_states() {
    let hatches = |column| {
        Style::rates(&many(), "n_kg_ha", column)
            .rules
            .iter()
            .filter(|rule| matches!(rule.mark, Mark::Hatch(_)))
            .count()
    };
    assert_eq!((hatches(Some("state")), hatches(None)), (2, 0));
    let qml =
        String::from_utf8(qml_vector(&Style::rates(&many(), "n_kg_ha", Some("state"))).unwrap())
            .unwrap();
    assert!(
        qml.contains("diagonal_x")
            && qml.contains("dense6")
            && qml.contains("&quot;state&quot; = &apos;unseen&apos;"),
        "{qml}"
    );
    let outline =
        String::from_utf8(sld_vector("field", &Style::outline("Field", true)).unwrap()).unwrap();
    assert!(outline.contains("stroke-dasharray") && !outline.contains("ogc:Filter"));
}

#[test]
fn sidecars_lie_beside_their_files() {
    let p = fixture::prescription();
    assert_eq!(beside_geojson(&p).unwrap().path, "office/prescription.qml");
    assert_eq!(beside_geotiff(&p).unwrap().path, "office/nitrogen.qml");
    let shapefile = beside_shapefile(&p, [167.410_7, 0.0, 251.116]).unwrap();
    assert_eq!(
        shapefile.path,
        format!(
            "machine/{}.qml",
            crate::format::shapefile::safe_name(&p.field_name, &p.map_id)
        )
    );
    assert_eq!(
        of_qml(&shapefile.bytes),
        of_legend(&legend::machine(&p, [167.410_7, 0.0, 251.116]))
    );
    assert!(
        String::from_utf8(shapefile.bytes)
            .unwrap()
            .contains("&quot;L_HA&quot;")
    );
}
