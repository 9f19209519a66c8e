//! Page one: the decision, the map, how sure it is, and what to look at before anybody drives.

use crate::finding::Severity;
use crate::pipeline::gain::ExpectedNet;
use crate::pipeline::reference::Answer;
use crate::pipeline::share::per_hundred;
use crate::report::document::{Block, Fact, Noticed, Part};
use crate::report::paper::shown::{percent, ratio, signed};
use crate::report::paper::{Paper, cautions, figures, sheets};
use crate::units::NRate;

/// The page.
pub(super) fn part(paper: &Paper<'_>) -> Part {
    let text = paper.text;
    let mut blocks = Vec::new();
    let stops: Vec<Noticed> = paper
        .findings
        .iter()
        .filter(|finding| finding.severity == Severity::Stop)
        .map(|finding| noticed(paper, finding))
        .collect();
    if !stops.is_empty() {
        blocks.push(Block::Findings(stops));
    }
    blocks.push(Block::Lead(decision(paper)));
    blocks.push(Block::Beside(put_on(paper), brings(paper)));
    blocks.push(Block::Figure(figures::rates(paper)));
    blocks.push(Block::Beside(look_at(paper), mind(paper)));
    blocks.push(Block::Small(text.say("one-limits")));
    Part {
        id: "decision",
        heading: text.say("one-heading"),
        blocks,
        one_page: true,
    }
}

/// A finding as the paper tells it: an accepted stop says who accepted it, and why.
pub(super) fn noticed(paper: &Paper<'_>, finding: &crate::finding::Finding) -> Noticed {
    let text = paper.text;
    let word = text.say(match (finding.severity, &finding.accepted) {
        (Severity::Stop, Some(_)) => "word-accepted",
        (Severity::Stop, None) => "word-stop",
        (Severity::Caution, _) => "word-caution",
        (Severity::Note, _) => "word-note",
    });
    let mut message = sentence(&finding.message);
    if let Some(accepted) = &finding.accepted {
        message.push(' ');
        message.push_str(&text.with(
            "finding-accepted",
            &[("by", &accepted.by), ("reason", &accepted.reason)],
        ));
    }
    Noticed {
        severity: finding.severity,
        word,
        message,
        code: finding.code.word().to_owned(),
    }
}

/// With a capital and a full stop.
fn sentence(message: &str) -> String {
    let mut chars = message.chars();
    let mut out: String = chars
        .next()
        .map(|first| first.to_uppercase().chain(chars).collect())
        .unwrap_or_default();
    if !out.ends_with(['.', '!', '?', ':']) {
        out.push('.');
    }
    out
}

/// The decision in one or two sentences.
fn decision(paper: &Paper<'_>) -> String {
    let (text, shown, prescription) = (paper.text, paper.shown(), &paper.outcome.prescription);
    if paper.stopped {
        return text.say("one-stopped");
    }
    let (least, mean, greatest) = paper.rates.least_mean_greatest(prescription);
    let area = shown.area(paper.rates.area);
    if greatest <= 0.0 {
        return text.with("one-nothing", &[("area", &area)]);
    }
    let product = prescription.product.as_ref().map_or_else(
        || text.say("one-nitrogen-itself"),
        |product| product.name().to_owned(),
    );
    let nitrogen = |value: f64| shown.rate_number(prescription.nitrogen_of(value));
    let rates = [
        ("product", product.as_str()),
        ("area", &area),
        ("unit", shown.screen_unit()),
        ("least", &format!("{least:.1}")),
        ("greatest", &format!("{greatest:.1}")),
        ("mean", &format!("{mean:.1}")),
        ("n_least", &nitrogen(least)),
        ("n_greatest", &nitrogen(greatest)),
        ("n_mean", &nitrogen(mean)),
        ("n_unit", shown.rate_unit()),
        (
            "total",
            &format!("{:.1} {}", paper.rates.total, shown.total_unit()),
        ),
    ];
    if prescription.product.is_none() {
        return text.with("one-decision-nitrogen", &rates);
    }
    text.with(
        if (greatest - least).abs() < 0.005 {
            "one-decision-flat"
        } else {
            "one-decision"
        },
        &rates,
    )
}

/// What to put on.
fn put_on(paper: &Paper<'_>) -> Vec<Block> {
    let (text, shown, outcome) = (paper.text, paper.shown(), paper.outcome);
    let prescription = &outcome.prescription;
    let (_, mean, _) = paper.rates.least_mean_greatest(prescription);
    let spread = prescription.nitrogen_of(mean) * paper.rates.area;
    let zones = prescription.zones.len().to_string();
    let mut facts = vec![
        Fact::new(text.say("fact-field"), shown.area(paper.rates.area)).note(text.with(
            "fact-field-note",
            &[
                ("zones", &zones),
                ("cells", &prescription.cells.len().to_string()),
            ],
        )),
        Fact::new(text.say("fact-mean"), shown.screen(mean))
            .note(shown.rate(prescription.nitrogen_of(mean))),
    ];
    let total = format!("{:.1} {}", paper.rates.total, shown.total_unit());
    let held = (outcome.totals.n_kg - spread.get()).abs() > 0.05;
    let note = if held {
        text.with(
            "fact-total-held",
            &[("asked", &shown.mass(outcome.totals.n_kg))],
        )
    } else {
        String::new()
    };
    if prescription.product.is_some() {
        facts.push(
            Fact::new(text.say("fact-product"), total)
                .note(sheets::by_file(paper, text.say("fact-product-note"))),
        );
        facts.push(Fact::new(text.say("fact-nitrogen"), shown.mass(spread.get())).note(note));
    } else {
        facts.push(Fact::new(text.say("fact-nitrogen"), total).note(note));
    }
    facts.push(loads(paper));
    let planned = paper
        .settings
        .application
        .date
        .map_or_else(|| text.say("fact-planned-open"), |date| date.to_string());
    facts.push(Fact::new(text.say("fact-planned"), planned).note(text.with(
        "fact-image",
        &[("date", &prescription.image_date.to_string())],
    )));
    facts.push(
        Fact::new(text.say("fact-made"), text.say("fact-made-blank"))
            .note(text.say("fact-made-note")),
    );
    vec![Block::Heading(text.say("one-put-on")), Block::Facts(facts)]
}

/// Fills of tank or hopper, as the record has them; a line to fill in where the job does not say what it holds.
fn loads(paper: &Paper<'_>) -> Fact {
    let text = paper.text;
    let number = |key: &str| {
        paper
            .record(&["loads", key])
            .and_then(serde_json::Value::as_f64)
    };
    let found = number("fills")
        .zip(number("capacity"))
        .zip(number("last_fill").zip(number("even_fill")));
    let Some(((fills, capacity), (last, even))) = found else {
        return Fact::new(text.say("fact-loads"), text.say("fact-loads-blank"))
            .note(text.say("fact-loads-note"));
    };
    let unit = paper.shown().total_unit();
    let amount = |value: f64| format!("{value:.0} {unit}");
    let of = text.with(
        "fact-loads-value",
        &[
            ("fills", &format!("{fills:.0}")),
            ("capacity", &amount(capacity)),
        ],
    );
    Fact::new(text.say("fact-loads"), of).note(text.with(
        "fact-loads-split",
        &[("last", &amount(last)), ("even", &amount(even))],
    ))
}

/// What it brings, and how sure that is.
fn brings(paper: &Paper<'_>) -> Vec<Block> {
    let (text, shown, outcome) = (paper.text, paper.shown(), paper.outcome);
    let totals = &outcome.totals;
    let mut facts = Vec::new();
    match &outcome.money {
        Some(money) => {
            let (field, currency) = (&money.field, money.currency.as_str());
            facts.push(
                Fact::new(
                    text.say("fact-gain-none"),
                    signed(field.map.net() - field.none.net(), currency),
                )
                .note(text.say("fact-gain-note")),
            );
            if let Some(gain) = &money.expected {
                let share = per_hundred(gain.share);
                let expected = |key: &str, (rate, flat): &(NRate, ExpectedNet)| {
                    Fact::new(
                        text.with(key, &[("rate", &shown.rate(*rate))]),
                        signed(gain.over(flat), currency),
                    )
                    .note(text.with("fact-gain-expected", &[("share", &share)]))
                };
                facts.push(expected("fact-gain-flat", &gain.mean_flat));
                facts.push(expected("fact-gain-best-flat", &gain.best_flat));
                facts.extend(
                    gain.usual
                        .iter()
                        .map(|usual| expected("fact-gain-usual", usual)),
                );
            } else {
                facts.push(
                    Fact::new(
                        text.with("fact-gain-flat", &[("rate", &shown.rate(field.flat_rate))]),
                        signed(field.map.net() - field.flat.net(), currency),
                    )
                    .note(text.say("fact-gain-note")),
                );
            }
            if let (Some(usual), Some(rate), None) =
                (&field.usual, paper.settings.rate.usual, &money.expected)
            {
                facts.push(Fact::new(
                    text.with("fact-gain-usual", &[("rate", &shown.rate(rate))]),
                    signed(field.map.net() - usual.net(), currency),
                ));
            }
            facts.push(Fact::new(
                text.say("fact-cost"),
                format!("{:.0} {currency}", field.map.cost),
            ));
        }
        None => facts.push(Fact::new(
            text.say("fact-money"),
            text.say("fact-money-none"),
        )),
    }
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
    vec![Block::Heading(text.say("one-brings")), Block::Facts(facts)]
}

/// What to look at in the field first.
fn look_at(paper: &Paper<'_>) -> Vec<Block> {
    let (text, totals, prescription) = (
        paper.text,
        &paper.outcome.totals,
        &paper.outcome.prescription,
    );
    let mut items = Vec::new();
    if !prescription.strips.is_empty() {
        items.push(text.say("look-strip"));
    }
    items.push(text.say("look-palest"));
    if totals.thin_share + totals.bare_share > 0.0 {
        items.push(text.say("look-thin"));
    }
    if totals.unseen_share > 0.0 {
        items.push(text.say("look-unseen"));
    }
    if !paper.ground.kept_clear.0.is_empty() {
        items.push(text.say("look-exclusions"));
    }
    let cautions = paper
        .findings
        .iter()
        .filter(|finding| finding.severity == Severity::Caution)
        .count();
    if cautions > 0 {
        items.push(text.with("look-cautions", &[("cautions", &cautions.to_string())]));
    }
    vec![Block::Heading(text.say("one-look")), Block::List(items)]
}

/// What to mind.
fn mind(paper: &Paper<'_>) -> Vec<Block> {
    vec![
        Block::Heading(paper.text.say("one-mind")),
        Block::List(cautions::chosen(paper)),
    ]
}
