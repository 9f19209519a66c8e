//! Page four: the walk, and the two sheets of what is planned and what was applied.

use crate::report::document::{Block, Check, Fact, Part};
use crate::report::paper::page_three::MAXIMUM_ROWS;
use crate::report::paper::shown::Shown;
use crate::report::paper::{Paper, cautions, walk};
use crate::units::Area;

/// The page.
pub(super) fn part(paper: &Paper<'_>) -> Part {
    let text = paper.text;
    let mut blocks = vec![Block::Heading(text.say("scout-heading"))];
    if paper.scouts.is_empty() {
        blocks.push(Block::Text(text.say("scout-none")));
    } else {
        // Two short tables side by side take half of the height of one.
        let shown = paper.scouts.len().min(MAXIMUM_ROWS);
        let left = shown.div_ceil(2);
        blocks.push(Block::Small(text.say("scout-caption")));
        blocks.push(Block::Beside(
            vec![Block::Table(walk::table(paper, 0, left))],
            if shown > left {
                vec![Block::Table(walk::table(paper, left, shown - left))]
            } else {
                Vec::new()
            },
        ));
        blocks.push(walk::look_for(paper));
    }
    blocks.push(Block::Beside(planned(paper), applied(paper)));
    Part {
        id: "sheets",
        heading: text.say("four-heading"),
        blocks,
        one_page: true,
    }
}

fn done(label: String, value: impl Into<String>) -> Check {
    Check {
        label,
        value: Some(value.into()),
    }
}

/// What is planned, as a nutrient-management file asks for it: what the run knows is filled in, the rest are lines.
fn planned(paper: &Paper<'_>) -> Vec<Block> {
    let (text, shown, outcome) = (paper.text, paper.shown(), paper.outcome);
    let prescription = &outcome.prescription;
    let (minimum, mean, maximum) = paper.rates.minimum_mean_maximum(prescription);
    let source = prescription.product.as_ref().map_or_else(
        || text.say("plan-no-product"),
        |found| {
            text.with(
                "plan-source-value",
                &[
                    ("product", found.name()),
                    ("nitrogen", &format!("{:.1}", found.nitrogen() * 100.0)),
                ],
            )
        },
    );
    let range = text.with(
        "plan-rate-value",
        &[
            ("least", &Shown::screen_number(minimum)),
            ("greatest", &Shown::screen_number(maximum)),
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
    let plane = &paper.ground.plane;
    let place = text.with(
        "plan-place-value",
        &[
            ("field", &prescription.field_name),
            ("latitude", &format!("{:.5}", plane.latitude)),
            ("longitude", &format!("{:.5}", plane.longitude)),
            ("area", &shown.area(Area::m2(paper.ground.area))),
            ("zones", &prescription.zones.len().to_string()),
        ],
    );
    let crop = &paper.settings.season.crop.name;
    let crop = paper.settings.season.planted.map_or_else(
        || crop.clone(),
        |date| {
            text.with(
                "plan-crop-value",
                &[("crop", crop), ("date", &date.to_string())],
            )
        },
    );
    let mut checks = vec![
        done(text.say("plan-source"), source),
        done(text.say("plan-rate"), range),
        done(text.say("plan-time"), when),
        done(text.say("plan-place"), place),
        done(text.say("plan-sensitive"), cautions::water_short(paper)),
        done(text.say("plan-crop"), crop),
    ];
    if let Some((without, with)) = outcome.totals.yields {
        checks.push(done(
            text.say("plan-yield"),
            text.with(
                "plan-yield-value",
                &[
                    ("without", &shown.grain(without)),
                    ("with", &shown.grain(with)),
                ],
            ),
        ));
    }
    checks.push(done(
        text.say("plan-layers"),
        text.with(
            "plan-layers-value",
            &[("version", env!("CARGO_PKG_VERSION"))],
        ),
    ));
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
        checks.push(Check {
            label: text.say(key),
            value: None,
        });
    }
    vec![
        Block::Heading(text.say("plan-heading")),
        Block::Small(text.say("plan-text")),
        Block::Checks(checks),
        Block::Signatures(vec![text.say("sign-grower"), text.say("sign-adviser")]),
    ]
}

/// What was applied: lines to fill in, beside what was planned.
fn applied(paper: &Paper<'_>) -> Vec<Block> {
    let (text, shown, prescription) = (paper.text, paper.shown(), &paper.outcome.prescription);
    let (_, mean, _) = paper.rates.minimum_mean_maximum(prescription);
    let facts = vec![
        Fact::new(text.say("applied-map"), &prescription.map_id),
        Fact::new(text.say("applied-planned-mean"), shown.screen(mean)),
        Fact::new(
            text.say("applied-planned-total"),
            format!("{:.1} {}", paper.rates.total, shown.total_unit()),
        ),
    ];
    let lines = [
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
        "scout-decision",
    ];
    vec![
        Block::Heading(text.say("applied-heading")),
        Block::Small(text.say("applied-text")),
        Block::Facts(facts),
        Block::Blanks(lines.into_iter().map(|key| text.say(key)).collect()),
        Block::Signatures(vec![text.say("sign-operator"), text.say("sign-grower")]),
    ]
}
