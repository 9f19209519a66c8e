//! The walk: places that somebody should see before anything is applied.

use crate::map::scouting::{ScoutKind, ScoutPoint};
use crate::report::document::{Block, Table};
use crate::report::paper::Paper;
use crate::report::paper::shown::ratio;
use crate::report::text::Text;
use crate::units::Area;

/// Short name of a place, as a receiver shows it.
pub(crate) fn scout_name(text: &Text, point: &ScoutPoint) -> String {
    match point.kind {
        ScoutKind::StripEnd { strip, end } => text.with(
            "scout-strip-name",
            &[("strip", &strip.to_string()), ("end", &end.to_string())],
        ),
        ScoutKind::Palest { zone, .. } => {
            text.with("scout-palest-name", &[("zone", &zone.to_string())])
        }
        ScoutKind::Thin { .. } => text.say("scout-thin-name"),
        ScoutKind::Unseen { .. } => text.say("scout-unseen-name"),
        ScoutKind::Bare { .. } => text.say("scout-bare-name"),
        ScoutKind::ExclusionCorner { exclusion, corner } => text.with(
            "scout-exclusion-name",
            &[
                ("number", &exclusion.to_string()),
                ("corner", &corner.to_string()),
            ],
        ),
    }
}

/// What to look for at a place.
pub(crate) fn scout_words(text: &Text, point: &ScoutPoint, us: bool) -> String {
    let size = |area: f64| {
        let area = Area::m2(area);
        if us {
            format!("{:.2} ac", area.as_ac())
        } else {
            format!("{:.2} ha", area.as_ha())
        }
    };
    match point.kind {
        ScoutKind::StripEnd { .. } => text.say("scout-strip"),
        ScoutKind::Palest { index, .. } => text.with("scout-palest", &[("index", &ratio(index))]),
        ScoutKind::Thin { area } => text.with("scout-thin", &[("area", &size(area))]),
        ScoutKind::Unseen { area } => text.with("scout-unseen", &[("area", &size(area))]),
        ScoutKind::Bare { area } => text.with("scout-bare", &[("area", &size(area))]),
        ScoutKind::ExclusionCorner { .. } => text.say("scout-exclusion"),
    }
}

/// What a list says once of all places of a kind.
fn kind_words(text: &Text, kind: &ScoutKind) -> (String, String) {
    let (name, look) = match kind {
        ScoutKind::StripEnd { .. } => ("kind-strip", "scout-strip"),
        ScoutKind::Palest { .. } => ("kind-palest", "kind-palest-look"),
        ScoutKind::Thin { .. } => ("kind-thin", "kind-thin-look"),
        ScoutKind::Unseen { .. } => ("kind-unseen", "kind-unseen-look"),
        ScoutKind::Bare { .. } => ("kind-bare", "kind-bare-look"),
        ScoutKind::ExclusionCorner { .. } => ("kind-exclusion", "scout-exclusion"),
    };
    (text.say(name), text.say(look))
}

/// Places by number, `skip` of them left out, at most `most`: where they are, and a blank for what is there.
pub(super) fn table(paper: &Paper<'_>, skip: usize, most: usize) -> Table {
    let text = paper.text;
    let rows = (1..)
        .zip(paper.scouts)
        .skip(skip)
        .take(most)
        .map(|(number, point): (u32, &ScoutPoint)| {
            vec![
                number.to_string(),
                scout_name(text, point),
                format!("{:.6}", point.latitude),
                format!("{:.6}", point.longitude),
                String::new(),
            ]
        })
        .collect();
    Table {
        caption: text.say(if skip == 0 {
            "scout-heading"
        } else {
            "scout-further"
        }),
        columns: vec![
            (text.say("scout-number"), true),
            (text.say("scout-place"), false),
            (text.say("scout-latitude"), true),
            (text.say("scout-longitude"), true),
            (text.say("scout-seen"), false),
        ],
        rows,
        summed: false,
    }
}

/// What to look for, once a kind.
pub(super) fn look_for(paper: &Paper<'_>) -> Block {
    let mut items: Vec<String> = Vec::new();
    for point in paper.scouts {
        let (name, look) = kind_words(paper.text, &point.kind);
        let item = format!("{name}: {look}");
        if !items.contains(&item) {
            items.push(item);
        }
    }
    Block::List(items)
}
