//! Page two: the evidence. The index as taken, strips, placebo strips, rates and response.

use crate::pipeline::reference::Answer;
use crate::pipeline::share::per_hundred;
use crate::report::document::{Block, Fact, Part};
use crate::report::paper::shown::{percent, ratio};
use crate::report::paper::{Paper, figures};

/// Strips whose profiles stand on the page; the others stand in the appendix.
pub(super) const PROFILES: usize = 2;

/// The page.
pub(super) fn part(paper: &Paper<'_>) -> Part {
    let text = paper.text;
    let mut charts: Vec<Vec<Block>> = (1..)
        .zip(&paper.outcome.survey.strips)
        .take(PROFILES)
        .filter_map(|(number, strip)| figures::profile(paper, number, strip))
        .map(|figure| vec![Block::Figure(figure)])
        .collect();
    let mut below = None;
    match (figures::placebo(paper), &paper.outcome.reference.no_placebo) {
        (Some(figure), _) => charts.push(vec![Block::Figure(figure)]),
        (None, Some(reason)) => {
            below = Some(Block::Small(
                text.with("placebo-none", &[("reason", reason)]),
            ));
        }
        (None, None) => {}
    }
    charts.push(vec![Block::Figure(figures::histogram(paper))]);
    charts.extend(figures::response(paper).map(|figure| vec![Block::Figure(figure)]));
    charts.push(vec![Block::Facts(facts(paper))]);
    let mut blocks = vec![Block::Figure(figures::index(paper))];
    let mut charts = charts.into_iter();
    while let Some(left) = charts.next() {
        blocks.push(Block::Beside(left, charts.next().unwrap_or_default()));
    }
    blocks.extend(below);
    if paper.outcome.survey.strips.len() > PROFILES && !paper.settings.report.appendix {
        blocks.push(Block::Small(text.with(
            "two-strips-elsewhere",
            &[("strips", &paper.outcome.survey.strips.len().to_string())],
        )));
    }
    Part {
        id: "evidence",
        heading: text.say("two-heading"),
        blocks,
        one_page: true,
    }
}

/// What strips and image say, in numbers.
fn facts(paper: &Paper<'_>) -> Vec<Fact> {
    let (text, shown, outcome) = (paper.text, paper.shown(), paper.outcome);
    let totals = &outcome.totals;
    let mut facts = Vec::new();
    let reference = &outcome.reference;
    if let Some(value) = reference.ratio {
        let note = match (reference.low, reference.high) {
            (Some(low), Some(high)) => {
                let answer = reference
                    .answer
                    .map_or_else(String::new, |answer| match answer {
                        Answer::Responds => text.say("fact-answer-responds"),
                        Answer::Doubtful => text.say("fact-answer-doubtful"),
                        Answer::None => text.say("fact-answer-none"),
                    });
                let (low, high) = (ratio(low), ratio(high));
                match &reference.placebo {
                    Some(placebo) => text.with(
                        "fact-ratio-placebo",
                        &[
                            ("answer", &answer),
                            ("low", &low),
                            ("high", &high),
                            ("places", &placebo.places.to_string()),
                            ("probability", &percent(placebo.answer.probability)),
                        ],
                    ),
                    None => text.with(
                        "fact-ratio-interval",
                        &[("answer", &answer), ("low", &low), ("high", &high)],
                    ),
                }
            }
            _ => text.with(
                "fact-ratio-no-interval",
                &[("reason", reference.no_interval.as_deref().unwrap_or("–"))],
            ),
        };
        facts.push(Fact::new(text.say("fact-ratio"), ratio(value)).note(note));
    }
    if let Ok(share) = &outcome.share {
        let range = text.with(
            "fact-share-range",
            &[
                ("low", &per_hundred(share.low)),
                ("high", &per_hundred(share.high)),
            ],
        );
        facts.push(Fact::new(text.say("fact-share"), per_hundred(share.share)).note(range));
    }
    if let Some((low, high)) = totals.n_kg_by_bounds {
        facts.push(
            Fact::new(
                text.say("fact-by-interval"),
                format!("{} – {}", shown.mass_number(low), shown.mass(high)),
            )
            .note(text.say("fact-seen-ground")),
        );
    }
    if let Some(uncertainty) = &outcome.uncertainty {
        let band = &uncertainty.field;
        let widest = uncertainty
            .parts
            .first()
            .map_or("–", |part| part.cause.word());
        let note = text.with(
            "fact-drawn-note",
            &[
                ("middle", &shown.mass(band.middle)),
                ("draws", &uncertainty.draws.to_string()),
                ("widest", widest),
            ],
        );
        facts.push(
            Fact::new(
                text.say("fact-drawn"),
                format!(
                    "{} – {}",
                    shown.mass_number(band.low),
                    shown.mass(band.high)
                ),
            )
            .note(note),
        );
    } else if let Some((a, b)) = totals.n_kg_by_efficiency {
        facts.push(
            Fact::new(
                text.say("fact-by-efficiency"),
                format!("{} – {}", shown.mass_number(a), shown.mass(b)),
            )
            .note(text.say("fact-by-efficiency-note")),
        );
    }
    facts.push(Fact::new(
        text.say("fact-shares"),
        text.with(
            "fact-shares-value",
            &[
                ("unseen", &percent(totals.unseen_share)),
                ("bare", &percent(totals.bare_share)),
                ("thin", &percent(totals.thin_share)),
            ],
        ),
    ));
    facts
}
