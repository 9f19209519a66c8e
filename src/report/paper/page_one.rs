//! Page one: the decision, the map, how sure it is, and what to look at before anybody drives.

use crate::finding::Severity;
use crate::pipeline::gain::ExpectedNet;
use crate::pipeline::set_rates::{SetFound, words_of};
use crate::pipeline::share::per_hundred;
use crate::report::card::sentence;
use crate::report::document::{Block, Fact, Noticed, Part};
use crate::report::paper::shown::signed;
use crate::report::paper::{Paper, cautions, figures};
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
    blocks.push(Block::Big(big(paper)));
    blocks.push(Block::Text(uncertainty(paper)));
    blocks.extend(set_by_hand(paper));
    blocks.push(Block::Figure(figures::rates(paper)));
    let mut left = brings(paper);
    left.extend(look_at(paper));
    blocks.push(Block::Beside(left, mind(paper)));
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

/// The decision in one or two sentences.
fn decision(paper: &Paper<'_>) -> String {
    let (text, shown, prescription) = (paper.text, paper.shown(), &paper.outcome.prescription);
    if paper.stopped {
        return text.say("one-stopped");
    }
    let (minimum, mean, maximum) = paper.rates.minimum_mean_maximum(prescription);
    let area = shown.area(paper.rates.area);
    if maximum <= 0.0 {
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
        ("least", &format!("{minimum:.0}")),
        ("greatest", &format!("{maximum:.0}")),
        ("mean", &format!("{mean:.1}")),
        ("n_least", &nitrogen(minimum)),
        ("n_greatest", &nitrogen(maximum)),
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
        if (maximum - minimum).abs() < 0.005 {
            "one-decision-flat"
        } else {
            "one-decision"
        },
        &rates,
    )
}

/// Three figures: product in all, mean rate, range of rates.
fn big(paper: &Paper<'_>) -> Vec<Fact> {
    let (text, shown, outcome) = (paper.text, paper.shown(), paper.outcome);
    let prescription = &outcome.prescription;
    let (minimum, mean, maximum) = paper.rates.minimum_mean_maximum(prescription);
    let nitrogen = |value: f64| prescription.nitrogen_of(value);
    let spread = nitrogen(mean) * paper.rates.area;
    let area = shown.area(paper.rates.area);
    let total = format!("{:.1} {}", paper.rates.total, shown.total_unit());
    let mut on = text.with("big-on", &[("area", &area)]);
    if (outcome.totals.n_kg - spread.get()).abs() > 0.05 {
        on.push_str(&text.with(
            "big-limited",
            &[("asked", &shown.mass(outcome.totals.n_kg))],
        ));
    }
    let zones = prescription.zones.len().to_string();
    let range = |low: String, high: String, unit: &str| {
        if low == high {
            format!("{low} {unit}")
        } else {
            text.with(
                "big-range",
                &[("low", &low), ("high", &high), ("unit", unit)],
            )
        }
    };
    let in_zones = text.with("big-zones", &[("zones", &zones)]);
    match &prescription.product {
        Some(product) => vec![
            Fact::new(
                text.with("big-product", &[("product", product.name())]),
                total,
            )
            .note(format!("{} {on}", shown.mass(spread.get()))),
            Fact::new(
                text.say("big-mean"),
                format!("{mean:.1} {}", shown.screen_unit()),
            )
            .note(shown.rate(nitrogen(mean))),
            Fact::new(
                text.say("big-rates"),
                range(
                    format!("{minimum:.0}"),
                    format!("{maximum:.0}"),
                    shown.screen_unit(),
                ),
            )
            .note(format!(
                "{}{in_zones}",
                range(
                    shown.rate_number(nitrogen(minimum)),
                    shown.rate_number(nitrogen(maximum)),
                    shown.rate_unit()
                )
            )),
        ],
        None => vec![
            Fact::new(text.say("fact-nitrogen"), total).note(on),
            Fact::new(text.say("big-mean"), shown.rate(nitrogen(mean)))
                .note(text.say("plan-no-product")),
            Fact::new(
                text.say("big-rates"),
                range(
                    shown.rate_number(nitrogen(minimum)),
                    shown.rate_number(nitrogen(maximum)),
                    shown.rate_unit(),
                ),
            )
            .note(in_zones.trim_start_matches([',', ' ']).to_owned()),
        ],
    }
}

/// How sure the total is, in one line.
fn uncertainty(paper: &Paper<'_>) -> String {
    let (text, shown, outcome) = (paper.text, paper.shown(), paper.outcome);
    if let Some(uncertainty) = &outcome.uncertainty {
        let band = &uncertainty.field;
        let widest = uncertainty
            .parts
            .first()
            .map_or("–", |part| part.cause.word());
        return text.with(
            "one-range",
            &[
                ("low", &shown.mass_number(band.low)),
                ("high", &shown.mass(band.high)),
                ("draws", &uncertainty.draws.to_string()),
                ("widest", widest),
            ],
        );
    }
    let bounds = outcome.totals.n_kg_by_bounds;
    match bounds.or(outcome.totals.n_kg_by_efficiency) {
        Some((a, b)) => text.with(
            if bounds.is_some() {
                "one-range-limits"
            } else {
                "one-range-efficiency"
            },
            &[("low", &shown.mass_number(a)), ("high", &shown.mass(b))],
        ),
        None => text.say("one-range-none"),
    }
}

/// Rates that page one has room for, when they are set by hand.
const MAXIMUM_SET: usize = 4;

/// What was set by hand, each with its reason.
fn set_by_hand(paper: &Paper<'_>) -> Vec<Block> {
    let (text, shown) = (paper.text, paper.shown());
    let set = &paper.outcome.set;
    let one = |found: &SetFound| {
        let what = words_of(found.to, paper.settings.output.us_units);
        Block::Text(text.with(
            "one-set",
            &[
                ("set", &what),
                ("area", &shown.area(found.area)),
                ("after", &shown.mass(found.after.get())),
                ("before", &shown.mass(found.before.get())),
                ("reason", &found.reason),
            ],
        ))
    };
    let mut blocks: Vec<Block> = set.iter().take(MAXIMUM_SET).map(one).collect();
    if let Some(more) = set.len().checked_sub(MAXIMUM_SET).filter(|more| *more > 0) {
        blocks.push(Block::Text(
            text.with("one-set-more", &[("more", &more.to_string())]),
        ));
    }
    blocks
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
        return Fact::new(text.say("fact-loads"), text.say("fact-loads-blank"));
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

/// What it brings, and what to have ready.
fn brings(paper: &Paper<'_>) -> Vec<Block> {
    let (text, shown, outcome) = (paper.text, paper.shown(), paper.outcome);
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
                let expected = |key: &str, (rate, flat): &(NRate, ExpectedNet)| {
                    Fact::new(
                        text.with(key, &[("rate", &shown.rate(*rate))]),
                        signed(gain.over(flat), currency),
                    )
                    .note(text.say("fact-gain-expected"))
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
    facts.push(loads(paper));
    let planned = paper
        .settings
        .application
        .date
        .map_or_else(|| text.say("fact-planned-open"), |date| date.to_string());
    facts.push(Fact::new(text.say("fact-planned"), planned).note(text.with(
        "fact-image",
        &[("date", &outcome.prescription.image_date.to_string())],
    )));
    let expected = outcome
        .money
        .as_ref()
        .and_then(|money| money.expected.as_ref());
    let heading = expected.map_or_else(
        || text.say("one-brings"),
        |gain| {
            text.with(
                "one-brings-expected",
                &[("share", &per_hundred(gain.share))],
            )
        },
    );
    vec![Block::Heading(heading), Block::Facts(facts)]
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

/// Precautions.
fn mind(paper: &Paper<'_>) -> Vec<Block> {
    vec![
        Block::Heading(paper.text.say("one-mind")),
        Block::List(cautions::chosen(paper)),
    ]
}
