//! The card for the cab: half a page in black and white, or a phone.

use crate::map::file_totals::MachineFile;
use crate::report::card::{
    by_file, density, for_the_driver, is_of_the_machine, product_cautions, sentence,
};
use crate::report::document::{Block, Document, Fact, Noticed, Part, Table};
use crate::report::paper::page_one::noticed;
use crate::report::paper::shown::Shown;
use crate::report::paper::{Paper, cautions, figures};

/// The card for the cab as a file of its own.
pub(crate) fn card_document(paper: &Paper<'_>) -> Document {
    let title = paper.text.with(
        "card-title",
        &[("field", &paper.outcome.prescription.field_name)],
    );
    paper.document(title, vec![card(paper)])
}

/// The card for the cab.
fn card(paper: &Paper<'_>) -> Part {
    let (text, shown, prescription) = (paper.text, paper.shown(), &paper.outcome.prescription);
    let (minimum, mean, maximum) = paper.rates.minimum_mean_maximum(prescription);
    let product = prescription.product.as_ref().map_or_else(
        || text.say("plan-no-product"),
        |product| {
            let nitrogen = format!("{}, {:.1} % N", product.name(), product.nitrogen() * 100.0);
            product.kg_per_l().map_or_else(
                || nitrogen.clone(),
                |kg_per_l| {
                    format!(
                        "{nitrogen}, {}",
                        density(kg_per_l, prescription.unit.is_us())
                    )
                },
            )
        },
    );
    let mut load = vec![
        Fact::new(text.say("card-field"), &prescription.field_name)
            .note(text.with("card-map-id", &[("map", &prescription.map_id)])),
    ];
    for (key, name) in [
        ("card-client", &prescription.client),
        ("card-farm", &prescription.farm),
    ] {
        load.extend(name.as_ref().map(|name| Fact::new(text.say(key), name)));
    }
    load.push(Fact::new(text.say("card-product"), product));
    load.extend(paper.file_totals.iter().map(|total| {
        let by_file = by_file(prescription, total);
        if total.file == MachineFile::Shapefile {
            let name = paper.file_names.shapefile.as_deref().unwrap_or("–");
            let chosen = text.with(
                "card-column",
                &[
                    ("column", prescription.rate_column()),
                    ("unit", shown.screen_unit()),
                ],
            );
            Fact::new(text.say("card-shapefile"), name).note(format!("{chosen}; {by_file}"))
        } else {
            let name = paper.file_names.task.as_deref().unwrap_or("–");
            Fact::new(text.say("card-task"), name).note(by_file)
        }
    }));
    load.extend([
        Fact::new(
            text.say("card-rates"),
            text.with(
                "big-range",
                &[
                    ("low", &Shown::screen_number(minimum)),
                    ("high", &Shown::screen_number(maximum)),
                    ("unit", shown.screen_unit()),
                ],
            ),
        )
        .note(text.with("card-mean", &[("mean", &shown.screen(mean))])),
        Fact::new(
            text.say("card-total"),
            format!("{:.1} {}", paper.rates.total, shown.total_unit()),
        )
        .note(shown.area(paper.rates.area)),
        Fact::new(text.say("card-start"), shown.screen(paper.rates.on_start)),
        Fact::new(text.say("card-outside"), shown.screen(paper.rates.outside)),
        Fact::new(
            text.say("card-lost"),
            shown.screen(paper.rates.position_lost),
        )
        .note(text.say("card-lost-note")),
    ]);
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
    let mut minded = vec![text.say("mind-law"), text.say("card-stop-if")];
    minded.push(match prescription.look_ahead {
        Some(ahead) => text.with("card-looks-ahead", &[("by", &shown.length(ahead))]),
        None => text.say("card-shut-off"),
    });
    minded.push(cautions::water(paper));
    minded.extend(product_cautions(prescription, paper.card_cautions));
    minded.extend(
        paper
            .findings
            .iter()
            .filter(|finding| is_of_the_machine(finding))
            .map(|finding| sentence(&for_the_driver(finding))),
    );
    let accepted: Vec<Noticed> = paper
        .findings
        .iter()
        .filter(|finding| finding.accepted.is_some())
        .map(|finding| {
            let mut notice = noticed(paper, finding);
            notice.code.clear();
            notice
        })
        .collect();
    // What an adviser let pass comes before anything else.
    let mut blocks = Vec::new();
    if !accepted.is_empty() {
        blocks.push(Block::Findings(accepted));
    }
    blocks.extend([
        Block::Text(text.say("card-load-value")),
        Block::Beside(vec![Block::Facts(load)], right),
        Block::Heading(text.say("one-mind")),
        Block::List(minded),
    ]);
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
