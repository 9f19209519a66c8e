//! Rules on the whole task file: version, origin, ids and what refers to them, lengths of texts.
//!
//! # Source
//! Schemas 2.1, 3.3 and 4.3: three capitals and a number, at most 14 characters, texts of 32. Numbers above 0 are the office's, below 0 the machine's; some terminals
//! refuse the latter in plans (study summary; notes of the makers of an open reader).

use std::collections::BTreeMap;

use roxmltree::Node;

use crate::finding::codes;
use crate::map::faults::fault::Fault;
use crate::map::imported::{ImportedMap, Place};

/// Elements whose attribute A is an id.
pub(in crate::format) const WITH_ID: [&str; 15] = [
    "CTR", "FRM", "PFD", "PDT", "PGP", "VPN", "TSK", "WKR", "CTP", "CPC", "DVC", "CLD", "CLT",
    "OTQ", "CCT",
];
/// Element, attribute, and what it must name.
pub(in crate::format) const REFERENCES: [(&str, &str, &str); 14] = [
    ("TSK", "C", "CTR"),
    ("TSK", "D", "FRM"),
    ("TSK", "E", "PFD"),
    ("TSK", "F", "WKR"),
    ("PFD", "E", "CTR"),
    ("PFD", "F", "FRM"),
    ("PFD", "G", "CTP"),
    ("FRM", "I", "CTR"),
    ("PDT", "C", "PGP"),
    ("PDT", "D", "VPN"),
    ("PDV", "C", "PDT"),
    ("PDV", "E", "VPN"),
    ("VPN", "F", "CLD"),
    ("PFD", "I", "PFD"),
];
/// Longest text. (characters)
const TEXT: usize = 32;

/// Checks the file as a whole and returns its major version (3 when it does not say).
pub(super) fn check(root: Node<'_, '_>, map: &mut ImportedMap) -> u32 {
    let major = root
        .attribute("VersionMajor")
        .and_then(|text| text.parse::<u32>().ok());
    let minor = root.attribute("VersionMinor").unwrap_or("?");
    let place = Place::named("ISO11783_TaskData");
    match major {
        Some(2 | 3) => {}
        Some(4) => map.oddities.push(Fault::note(
            codes::TASK_VERSION,
            place.clone(),
            format!("the file is of version 4.{minor}; controllers of the first position-based class publish version 3"),
        )),
        other => {
            let shown = other.map_or_else(|| "none".to_owned(), |v| v.to_string());
            map.oddities.push(Fault::stop(codes::TASK_VERSION, place.clone(), format!("VersionMajor is {shown}; 2, 3 and 4 are known")));
        }
    }
    if let Some(major) = major {
        map.stated
            .push(("version".to_owned(), format!("{major}.{minor}")));
    }
    let office = root.attribute("DataTransferOrigin");
    if office != Some("1") {
        let message = format!(
            "DataTransferOrigin is {}; a plan comes from the office, 1",
            office.unwrap_or("missing")
        );
        map.oddities
            .push(Fault::caution(codes::TASK_ORIGIN, place, message));
    }
    ids(root, office == Some("1"), map);
    texts(root, map);
    major.unwrap_or(3)
}

fn ids(root: Node<'_, '_>, office: bool, map: &mut ImportedMap) {
    let mut seen: BTreeMap<&str, u32> = BTreeMap::new();
    for node in root
        .descendants()
        .filter(|node| node.is_element() && WITH_ID.contains(&node.tag_name().name()))
    {
        let kind = node.tag_name().name();
        let Some(id) = node.attribute("A") else {
            map.oddities.push(Fault::stop(
                codes::TASK_ID,
                Place::named(kind),
                format!("an element {kind} has no id (A)"),
            ));
            continue;
        };
        let place = || Place::named(id);
        *seen.entry(id).or_default() += 1;
        let number = id.strip_prefix(kind).unwrap_or_default();
        let digits = number.strip_prefix('-').unwrap_or(number);
        if digits.is_empty() || !digits.chars().all(|c| c.is_ascii_digit()) || id.len() > 14 {
            map.oddities.push(Fault::stop(
                codes::TASK_ID,
                place(),
                format!(
                    "{id:?} is no id of a {kind}: write {kind} and a number, 14 characters at most"
                ),
            ));
        } else if digits.starts_with('0') {
            map.oddities.push(Fault::caution(
                codes::TASK_ID,
                place(),
                format!(
                    "{id:?} begins with a zero; 0 is reserved and leading zeros are not allowed"
                ),
            ));
        } else if number.starts_with('-') && office {
            map.oddities.push(Fault::caution(
                codes::TASK_ID,
                place(),
                format!("{id:?} has a minus, as ids made on a machine have; some terminals refuse it in a plan"),
            ));
        }
    }
    for (id, count) in &seen {
        if *count > 1 {
            map.oddities.push(Fault::stop(
                codes::TASK_ID_TWICE,
                Place::named(*id),
                format!("the id {id} is given {count} times; ids must be unique"),
            ));
        }
    }
    for (element, attribute, requirement) in REFERENCES {
        for node in root
            .descendants()
            .filter(|node| node.is_element() && node.tag_name().name() == element)
        {
            let Some(target) = node.attribute(attribute) else {
                continue;
            };
            if !seen.contains_key(target) || !target.starts_with(requirement) {
                let owner = if element == "PDV" {
                    "a PDV"
                } else {
                    node.attribute("A").unwrap_or(element)
                };
                let message = format!(
                    "{owner} names {target:?} ({attribute}), and there is no such {requirement}"
                );
                map.oddities.push(Fault::stop(
                    codes::TASK_DANGLING,
                    Place::named(owner),
                    message,
                ));
            }
        }
    }
}

fn texts(root: Node<'_, '_>, map: &mut ImportedMap) {
    let named = [
        ("CTR", "B"),
        ("FRM", "B"),
        ("PFD", "C"),
        ("PDT", "B"),
        ("TSK", "B"),
        ("TZN", "B"),
        ("PLN", "B"),
    ];
    for (element, attribute) in named {
        for node in root
            .descendants()
            .filter(|node| node.is_element() && node.tag_name().name() == element)
        {
            let Some(text) = node.attribute(attribute) else {
                continue;
            };
            let place = || {
                Place::named(if element == "TZN" || element == "PLN" {
                    element
                } else {
                    node.attribute("A").unwrap_or(element)
                })
            };
            let count = text.chars().count();
            if count > TEXT {
                map.oddities.push(Fault::caution(
                    codes::TASK_TEXT,
                    place(),
                    format!("the name {text:?} has {count} characters, {TEXT} are allowed"),
                ));
            } else if !text.is_ascii() {
                map.oddities.push(Fault::note(
                    codes::TASK_TEXT,
                    place(),
                    format!("the name {text:?} has letters that some terminals show as boxes"),
                ));
            }
        }
    }
}
