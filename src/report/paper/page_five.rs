//! Page five: how the map was made, and how to make it again.

use serde_json::Value;

use crate::report::document::{Block, Part, Table};
use crate::report::paper::Paper;
use crate::report::paper::shown::{percent, ratio};

/// The page.
pub(super) fn part(paper: &Paper<'_>) -> Part {
    let text = paper.text;
    let mut blocks = vec![
        Block::Text(text.with(
            "five-repeat-text",
            &[
                ("version", env!("CARGO_PKG_VERSION")),
                ("map", &paper.outcome.prescription.map_id),
            ],
        )),
        Block::Code(paper.command.to_owned()),
        Block::Heading(text.say("five-formulas")),
    ];
    blocks.extend(formulas(paper));
    blocks.push(Block::Heading(text.say("five-strips")));
    blocks.extend(strips(paper));
    blocks.push(Block::Heading(text.say("five-days")));
    blocks.extend(growing_days(paper));
    blocks.push(Block::Heading(text.say("five-inputs")));
    blocks.push(Block::Table(inputs(paper)));
    blocks.extend(transformations(paper));
    blocks.push(Block::Small(text.say("five-settings")));
    Part {
        id: "made",
        heading: text.say("five-heading"),
        blocks,
        one_page: true,
    }
}

/// A value of the record as text; numbers as the record writes them, rounded where more digits say nothing.
fn notice(value: &Value) -> String {
    match value {
        Value::Null => "–".to_owned(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::String(text) => text.clone(),
        Value::Number(number) => number
            .as_f64()
            .filter(|value| value.is_finite() && libm::floor(*value) != *value)
            .map_or_else(
                || number.to_string().trim_end_matches(".0").to_owned(),
                |value| {
                    let text = format!("{value:.6}");
                    text.trim_end_matches('0').trim_end_matches('.').to_owned()
                },
            ),
        Value::Array(items) => items.iter().map(notice).collect::<Vec<_>>().join(", "),
        Value::Object(map) => map
            .iter()
            .map(|(key, value)| format!("{key} {}", notice(value)))
            .collect::<Vec<_>>()
            .join(", "),
    }
}

/// The formulas, with the numbers that were put in and where they come from.
fn formulas(paper: &Paper<'_>) -> Vec<Block> {
    let text = paper.text;
    let at = |path: &[&str]| paper.record(path).map_or_else(|| "–".to_owned(), notice);
    let response = |key: &str| at(&["settings", "response", key]);
    let curve = |key: &str| at(&["settings", "response", "yield_curve", key]);
    let mut items = vec![
        text.with(
            "formula-index",
            &[
                ("index", &paper.image.index_name),
                ("formula", &paper.image.formula),
                (
                    "source",
                    if paper.image.index_source.is_empty() {
                        "–"
                    } else {
                        &paper.image.index_source
                    },
                ),
            ],
        ),
        text.say("formula-cell"),
        text.with(
            "formula-reference",
            &[
                ("index", &ratio(paper.outcome.reference.index)),
                ("kind", paper.outcome.reference.kind),
            ],
        ),
        text.say("formula-interval"),
    ];
    let reference = &paper.outcome.reference;
    if let Some(placebo) = &reference.placebo {
        let paired = reference.paired.map_or_else(
            || "–".to_owned(),
            |(low, high)| format!("{} – {}", ratio(low), ratio(high)),
        );
        items.push(text.with(
            "formula-placebo",
            &[
                ("places", &placebo.places.to_string()),
                ("spread", &percent(placebo.spread)),
                ("level", &percent(placebo.level_spread)),
                ("effective", &format!("{:.1}", placebo.effective)),
                ("paired", &paired),
            ],
        ));
    }
    if paper.outcome.rated.model.method.yields().is_some() {
        items.push(text.with(
            "formula-ratio",
            &[
                ("largest", &ratio(paper.outcome.rated.limit.value)),
                ("adjusted", &response("ratio_adjustment")),
                ("share", &response("nitrogen_share")),
            ],
        ));
        items.push(text.with(
            "formula-without",
            &[
                ("a", &curve("a_kg_ha")),
                ("b", &curve("b_d")),
                ("days", &paper.days()),
                ("most", &response("maximum_yield_kg_ha")),
                ("source", &curve("source")),
            ],
        ));
        items.push(text.say("formula-with"));
        items.push(text.with(
            "formula-rate",
            &[
                ("g", &response("grain_nitrogen_share")),
                ("e", &response("use_efficiency_share")),
                ("applied", &response("applied_since_sensing_kg_n_ha")),
            ],
        ));
    } else {
        let fitted = paper.settings.response.fitted();
        items.push(text.with(
            "formula-method",
            &[
                ("method", &at(&["settings", "response"])),
                ("source", &fitted.source),
            ],
        ));
        if fitted.from_memory {
            items.push(text.say("formula-from-memory"));
        }
    }
    let (shown, rate) = (paper.shown(), &paper.settings.rate);
    items.push(text.with(
        "formula-limits",
        &[
            ("minimum", &shown.rate_number(rate.minimum)),
            ("maximum", &shown.rate(rate.maximum)),
            ("step", &shown.rate(rate.step)),
        ],
    ));
    if paper.outcome.prescription.product.is_some() {
        items.push(text.with(
            "formula-product",
            &[
                ("nitrogen", &at(&["settings", "product", "nitrogen_share"])),
                ("density", &at(&["settings", "product", "density_kg_l"])),
            ],
        ));
    }
    if paper.outcome.money.is_some() {
        items.push(text.say("formula-money"));
    }
    vec![
        Block::List(items),
        Block::Small(text.say("formula-sources")),
    ]
}

fn strips(paper: &Paper<'_>) -> Vec<Block> {
    let text = paper.text;
    let Some(list) = paper
        .record(&["reference", "strips"])
        .and_then(Value::as_array)
        .filter(|list| !list.is_empty())
    else {
        return vec![Block::Text(
            text.with("five-no-strips", &[("kind", paper.outcome.reference.kind)]),
        )];
    };
    let number = |value: Option<&Value>| {
        value
            .and_then(Value::as_f64)
            .map_or_else(|| "–".to_owned(), |value| format!("{value:.4}"))
    };
    let shown = paper.shown();
    let rows = list
        .iter()
        .map(|strip| {
            let get = |key: &str| strip.get(key);
            vec![
                get("strip").map_or_else(String::new, notice),
                shown.area_number(crate::units::Area::m2(
                    get("area_m2").and_then(Value::as_f64).unwrap_or(f64::NAN),
                )),
                get("estimator").map_or_else(String::new, notice),
                number(get("index")),
                number(get("beside")),
                get("pixels").map_or_else(String::new, notice),
                get("segments_dropped").map_or_else(String::new, notice),
                number(get("index_less_inset")),
                number(get("index_more_inset")),
                get("reason")
                    .filter(|reason| !reason.is_null())
                    .map_or_else(String::new, notice),
            ]
        })
        .collect();
    let columns = vec![
        (text.say("strips-strip"), true),
        (
            text.with("table-area", &[("unit", shown.area_unit())]),
            true,
        ),
        (text.say("strips-estimator"), false),
        (text.say("strips-index"), true),
        (text.say("strips-beside"), true),
        (text.say("strips-pixels"), true),
        (text.say("strips-dropped"), true),
        (text.say("strips-less"), true),
        (text.say("strips-more"), true),
        (text.say("strips-reason"), false),
    ];
    let mut blocks = vec![Block::Table(Table {
        caption: text.say("strips-caption"),
        columns,
        rows,
        summed: false,
    })];
    if let Some(place) = paper.outcome.reference.place {
        blocks.push(Block::Text(text.with(
            "five-place",
            &[
                ("place", &ratio(place)),
                ("mean", &ratio(paper.outcome.survey.field_mean)),
            ],
        )));
    }
    blocks
}

fn growing_days(paper: &Paper<'_>) -> Vec<Block> {
    let text = paper.text;
    let counted = paper
        .season
        .text()
        .unwrap_or_else(|| text.say("days-stated"));
    let mut blocks = vec![Block::Text(text.with(
        "days-text",
        &[("days", &paper.days()), ("counted", &counted)],
    ))];
    let Some(weather) = paper.weather else {
        return blocks;
    };
    let columns = vec![
        (text.say("days-month"), false),
        (text.say("days-days"), true),
        (text.with("days-least", &[("unit", weather.unit)]), true),
        (text.with("days-greatest", &[("unit", weather.unit)]), true),
        (text.say("days-growing"), true),
        (text.say("days-so-far"), true),
    ];
    let mut so_far = 0;
    let rows = weather
        .months
        .iter()
        .map(|month| {
            so_far += month.growing_days;
            vec![
                month.month.clone(),
                month.days.to_string(),
                format!("{:.1}", month.tmin),
                format!("{:.1}", month.tmax),
                month.growing_days.to_string(),
                so_far.to_string(),
            ]
        })
        .collect();
    blocks.push(Block::Table(Table {
        caption: text.say("days-caption"),
        columns,
        rows,
        summed: false,
    }));
    blocks
}

fn inputs(paper: &Paper<'_>) -> Table {
    let text = paper.text;
    let list = paper
        .record(&["inputs"])
        .and_then(Value::as_array)
        .cloned()
        .unwrap_or_default();
    let rows = list
        .iter()
        .map(|file| {
            let shown = |key| file.get(key).filter(|value| !value.is_null()).map(notice);
            // Of a file on a network what its server calls this state of it.
            let state = shown("sha256")
                .or_else(|| Some(format!("ETag {}", shown("etag")?)))
                .or_else(|| shown("last_modified"));
            [shown("path"), shown("bytes"), state]
                .map(Option::unwrap_or_default)
                .to_vec()
        })
        .collect();
    Table {
        caption: text.say("inputs-caption"),
        columns: vec![
            (text.say("inputs-file"), false),
            (text.say("inputs-bytes"), true),
            (text.say("inputs-hash"), false),
        ],
        rows,
        summed: false,
    }
}

fn transformations(paper: &Paper<'_>) -> Vec<Block> {
    let text = paper.text;
    let list = paper
        .record(&["transformations"])
        .and_then(Value::as_array)
        .cloned()
        .unwrap_or_default();
    let plane = &paper.ground.plane;
    let mut items = vec![text.with(
        "plane-text",
        &[
            ("plane", &plane.crs.to_string()),
            ("name", plane.crs.name()),
            ("scale", &format!("{:.6}", plane.areal_scale)),
            ("convergence", &format!("{:.3}", plane.convergence_deg)),
            (
                "heading",
                &format!("{:.2}", paper.ground.heading_true_deg()),
            ),
        ],
    )];
    items.extend(paper.ground.driven.iter().skip(1).map(|driven| {
        let heading = format!("{:.2}", plane.true_azimuth(driven.azimuth_deg));
        text.with(
            "plane-area",
            &[("name", &driven.name), ("heading", &heading)],
        )
    }));
    items.extend(list.iter().map(|operation| {
        let get = |key: &str| operation.get(key).map_or_else(String::new, notice);
        text.with(
            "plane-transformed",
            &[
                ("from", &get("from")),
                ("to", &get("to")),
                ("name", &get("name")),
                ("accuracy", &get("accuracy_m")),
            ],
        )
    }));
    vec![Block::List(items)]
}
