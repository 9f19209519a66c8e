//! Sheets to print and to fill in: the card for the cab, the walk, what is planned, what was applied.

use serde_json::Value;

use crate::finding::Severity;
use crate::map::scouting::{ScoutKind, ScoutPoint};
use crate::report::document::{Block, Check, Document, Fact, Part, Table};
use crate::report::paper::page_one::noticed;
use crate::report::paper::shown::{Shown, ratio};
use crate::report::paper::{Paper, cautions, figures};
use crate::report::text::Text;
use crate::units::Area;

/// Short name of a place, as a receiver shows it.
pub fn scout_name(text: &Text, point: &ScoutPoint) -> String {
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
pub fn scout_words(text: &Text, point: &ScoutPoint, us: bool) -> String {
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

/// The walk before anything is spread.
pub(super) fn scouting(paper: &Paper<'_>) -> Part {
    let text = paper.text;
    let rows = (1..)
        .zip(paper.scouts)
        .map(|(number, point): (u32, &ScoutPoint)| {
            vec![
                number.to_string(),
                scout_name(text, point),
                format!("{:.6}", point.latitude),
                format!("{:.6}", point.longitude),
                scout_words(text, point, paper.shown().us()),
                String::new(),
            ]
        })
        .collect();
    let columns = vec![
        (text.say("scout-number"), true),
        (text.say("scout-place"), false),
        (text.say("scout-latitude"), true),
        (text.say("scout-longitude"), true),
        (text.say("scout-look"), false),
        (text.say("scout-seen"), false),
    ];
    let blocks = vec![
        Block::Text(text.say("scout-text")),
        Block::Table(Table {
            caption: text.say("scout-caption"),
            columns,
            rows,
            summed: false,
        }),
        Block::Blanks(vec![
            text.say("blank-date"),
            text.say("blank-who"),
            text.say("scout-decision"),
        ]),
    ];
    Part {
        id: "scouting",
        heading: text.say("scout-heading"),
        blocks,
        one_page: false,
    }
}

fn done(label: String, value: impl Into<String>) -> Check {
    Check {
        label,
        value: Some(value.into()),
    }
}

fn open(label: String) -> Check {
    Check { label, value: None }
}

/// What is planned, as a nutrient-management file asks for it: what the run knows is filled in, the rest are lines.
pub(super) fn planned(paper: &Paper<'_>) -> Part {
    let (text, shown, outcome) = (paper.text, paper.shown(), paper.outcome);
    let prescription = &outcome.prescription;
    let (least, mean, greatest) = paper.rates.least_mean_greatest(prescription);
    let product = prescription.product.as_ref().map_or_else(
        || text.say("one-nitrogen-itself"),
        |product| product.name().to_owned(),
    );
    let source = prescription.product.as_ref().map_or_else(
        || text.say("plan-no-product"),
        |found| {
            text.with(
                "plan-source-value",
                &[
                    ("product", &product),
                    ("nitrogen", &format!("{:.1}", found.nitrogen() * 100.0)),
                ],
            )
        },
    );
    let range = text.with(
        "plan-rate-value",
        &[
            ("least", &Shown::screen_number(least)),
            ("greatest", &Shown::screen_number(greatest)),
            ("mean", &Shown::screen_number(mean)),
            ("unit", shown.screen_unit()),
            ("n_mean", &shown.rate(prescription.nitrogen_of(mean))),
            (
                "total",
                &format!("{:.1} {}", paper.rates.total, shown.total_unit()),
            ),
        ],
    );
    let mut when = text.with(
        "plan-time-value",
        &[
            ("image", &prescription.image_date.to_string()),
            ("days", &paper.days()),
        ],
    );
    if let Some(date) = paper.settings.application.date {
        when = format!(
            "{}; {when}",
            text.with("plan-time-date", &[("date", &date.to_string())])
        );
    }
    let place = text.with(
        "plan-place-value",
        &[
            ("area", &shown.area(paper.rates.area)),
            ("zones", &prescription.zones.len().to_string()),
            ("plane", &prescription.plane.to_string()),
        ],
    );
    let four = vec![
        done(text.say("plan-source"), source),
        done(text.say("plan-rate"), range),
        done(text.say("plan-time"), when),
        done(text.say("plan-place"), place),
    ];

    let plane = &paper.ground.plane;
    let centre = format!("{:.5}, {:.5}", plane.latitude, plane.longitude);
    let strips = paper
        .record(&["reference", "strips"])
        .and_then(Value::as_array)
        .map_or(0, Vec::len);
    let crop = &paper.settings.season.crop.name;
    let mut checks = vec![
        done(
            text.say("plan-field"),
            format!("{} ({centre})", prescription.field_name),
        ),
        done(
            text.say("plan-boundary"),
            text.with(
                "plan-boundary-value",
                &[
                    ("area", &shown.area(Area::m2(paper.ground.area))),
                    ("map", &prescription.map_id),
                ],
            ),
        ),
        done(
            text.say("plan-sensitive"),
            cautions::chosen(paper)
                .into_iter()
                .nth(2)
                .unwrap_or_default(),
        ),
        done(
            text.say("plan-crop"),
            paper.settings.season.planted.map_or_else(
                || crop.clone(),
                |date| {
                    text.with(
                        "plan-crop-value",
                        &[("crop", crop), ("date", &date.to_string())],
                    )
                },
            ),
        ),
        match outcome.totals.yields {
            Some((without, with)) => done(
                text.say("plan-yield"),
                text.with(
                    "plan-yield-value",
                    &[
                        ("without", &shown.grain(without)),
                        ("with", &shown.grain(with)),
                    ],
                ),
            ),
            None => open(text.say("plan-yield")),
        },
        done(
            text.say("plan-layers"),
            text.with(
                "plan-layers-value",
                &[
                    ("index", &paper.image.index_name),
                    ("image", &paper.image.files.join(", ")),
                    ("date", &prescription.image_date.to_string()),
                    ("strips", &strips.to_string()),
                ],
            ),
        ),
        done(text.say("plan-equations"), text.say("plan-equations-value")),
        done(
            text.say("plan-variable"),
            text.with(
                "plan-variable-value",
                &[("zones", &prescription.zones.len().to_string())],
            ),
        ),
        done(
            text.say("plan-nitrogen"),
            shown.mass((prescription.nitrogen_of(mean) * paper.rates.area).get()),
        ),
        done(
            text.say("plan-hashes"),
            text.with(
                "plan-hashes-value",
                &[("version", env!("CARGO_PKG_VERSION"))],
            ),
        ),
    ];
    for key in [
        "plan-soil-test",
        "plan-manure",
        "plan-sequence",
        "plan-budget",
        "plan-risk",
        "plan-soil-survey",
        "plan-method",
        "plan-water",
        "plan-local",
        "plan-licence",
        "plan-calibration",
    ] {
        checks.push(open(text.say(key)));
    }
    let blocks = vec![
        Block::Text(text.say("plan-text")),
        Block::Heading(text.say("plan-four")),
        Block::Checks(four),
        Block::Heading(text.say("plan-items")),
        Block::Checks(checks),
        Block::Signatures(vec![text.say("sign-grower"), text.say("sign-adviser")]),
    ];
    Part {
        id: "planned",
        heading: text.say("plan-heading"),
        blocks,
        one_page: true,
    }
}

/// What each file puts on the field, after other words.
pub(super) fn by_file(paper: &Paper<'_>, first: String) -> String {
    let told = paper.file_totals.iter().map(|total| {
        paper.text.with(
            "card-by-file",
            &[
                ("file", total.file.short()),
                ("total", &format!("{:.1}", total.in_field)),
                ("unit", paper.outcome.prescription.total_label()),
            ],
        )
    });
    std::iter::once(first)
        .chain(told)
        .collect::<Vec<_>>()
        .join("; ")
}

/// What was applied: lines to fill in, beside what was planned.
pub(super) fn applied(paper: &Paper<'_>) -> Part {
    let (text, shown, prescription) = (paper.text, paper.shown(), &paper.outcome.prescription);
    let (_, mean, _) = paper.rates.least_mean_greatest(prescription);
    let facts = vec![
        Fact::new(text.say("applied-map"), &prescription.map_id),
        Fact::new(text.say("applied-planned-mean"), shown.screen(mean)),
        Fact::new(
            text.say("applied-planned-total"),
            format!("{:.1} {}", paper.rates.total, shown.total_unit()),
        ),
    ];
    let lines = [
        "blank-date",
        "applied-times",
        "blank-who",
        "applied-machine",
        "applied-product",
        "applied-density",
        "applied-weather",
        "applied-ground",
        "applied-area",
        "applied-total",
        "applied-weights",
        "applied-stops",
        "applied-changes",
        "applied-log",
    ];
    let blocks = vec![
        Block::Text(text.say("applied-text")),
        Block::Facts(facts),
        Block::Blanks(lines.into_iter().map(|key| text.say(key)).collect()),
        Block::Signatures(vec![text.say("sign-operator"), text.say("sign-grower")]),
    ];
    Part {
        id: "applied",
        heading: text.say("applied-heading"),
        blocks,
        one_page: true,
    }
}

/// The card for the cab as a file of its own: half a page in black and white, or a phone.
pub fn card_document(paper: &Paper<'_>) -> Document {
    let title = paper.text.with(
        "card-title",
        &[("field", &paper.outcome.prescription.field_name)],
    );
    paper.document(title, vec![card(paper)])
}

/// The card for the cab.
pub(super) fn card(paper: &Paper<'_>) -> Part {
    let (text, shown, prescription) = (paper.text, paper.shown(), &paper.outcome.prescription);
    let (least, mean, greatest) = paper.rates.least_mean_greatest(prescription);
    let product = prescription.product.as_ref().map_or_else(
        || text.say("plan-no-product"),
        |product| {
            let nitrogen = format!("{}, {:.1} % N", product.name(), product.nitrogen() * 100.0);
            product.kg_per_l().map_or_else(
                || nitrogen.clone(),
                |density| format!("{nitrogen}, {density:.3} kg/L"),
            )
        },
    );
    let mut load = vec![
        Fact::new(text.say("card-field"), &prescription.field_name)
            .note(text.with("card-map-id", &[("map", &prescription.map_id)])),
        Fact::new(text.say("card-load"), text.say("card-load-value")),
        Fact::new(text.say("card-product"), product),
        Fact::new(text.say("card-column"), prescription.rate_column())
            .note(text.with("card-unit", &[("unit", shown.screen_unit())])),
        Fact::new(
            text.say("card-rates"),
            format!(
                "{} – {}",
                Shown::screen_number(least),
                shown.screen(greatest)
            ),
        )
        .note(text.with("card-mean", &[("mean", &shown.screen(mean))])),
        Fact::new(
            text.say("card-total"),
            format!("{:.1} {}", paper.rates.total, shown.total_unit()),
        )
        .note(by_file(paper, shown.area(paper.rates.area))),
        Fact::new(text.say("card-start"), shown.screen(paper.rates.on_start)),
        Fact::new(text.say("card-outside"), shown.screen(paper.rates.outside)),
        Fact::new(
            text.say("card-lost"),
            shown.screen(paper.rates.position_lost),
        )
        .note(text.say("card-lost-note")),
    ];
    if prescription.headings.len() > 1 {
        load.extend(prescription.headings.iter().map(|(ground, degrees)| {
            Fact::new(text.say("card-heading-of"), format!("{degrees:.1}°")).note(ground)
        }));
    }
    let marks: Vec<(f64, f64)> = paper.points.iter().map(|point| point.plane).collect();
    let rows = (1..)
        .zip(paper.points)
        .map(|(number, point): (u32, _)| {
            vec![
                number.to_string(),
                format!("geo:{:.6},{:.6}", point.latitude, point.longitude),
                shown.screen(point.rate),
            ]
        })
        .collect();
    let mut right = vec![Block::Figure(figures::thumbnail(paper, &marks))];
    right.push(if paper.points.is_empty() {
        Block::Text(text.say("card-no-points"))
    } else {
        Block::Table(Table {
            caption: text.say("card-points"),
            columns: vec![
                (text.say("scout-number"), true),
                (text.say("card-place"), false),
                (text.say("card-must-show"), true),
            ],
            rows,
            summed: false,
        })
    });
    let mut minded = vec![
        text.say("mind-law"),
        text.say("mind-adviser"),
        text.say("card-stop-if"),
    ];
    minded.push(match prescription.look_ahead {
        Some(ahead) => text.with("card-looks-ahead", &[("by", &format!("{ahead:.1}"))]),
        None => text.say("card-shut-off"),
    });
    minded.extend(cautions::chosen(paper).into_iter().skip(2).take(1));
    let mut blocks = vec![
        Block::Beside(vec![Block::Facts(load)], right),
        Block::Heading(text.say("one-mind")),
        Block::List(minded),
    ];
    let machine: Vec<_> = paper
        .findings
        .iter()
        .filter(|finding| {
            finding.accepted.is_some()
                || (finding.severity == Severity::Caution && finding.code.group() == "machine")
        })
        .map(|finding| noticed(paper, finding))
        .collect();
    if !machine.is_empty() {
        blocks.push(Block::Findings(machine));
    }
    blocks.push(Block::Heading(text.say("card-fill-in")));
    blocks.push(Block::Blanks(
        [
            "card-blank-time",
            "card-blank-wind",
            "card-blank-product",
            "card-blank-weights",
            "card-blank-operator",
        ]
        .map(|key| text.say(key))
        .to_vec(),
    ));
    Part {
        id: "card",
        heading: text.say("card-heading"),
        blocks,
        one_page: true,
    }
}
