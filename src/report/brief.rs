//! The short answer of a run: product, range, gain, map id, and what to do next. Findings are the printer's.

use crate::finding::{Finding, codes};
use crate::pipeline::run::Outcome;
use crate::report::model::{Brief, Row};
use crate::report::summary::{Facts, FileFacts, Units};
use crate::units::{Area, NRate};

/// What every short answer ends with.
pub(crate) const LABEL: &str =
    "The product's label and local law come first; a licensed adviser decides.";

/// The rows of a map: product and total, mean, range, area; nitrogen; 80 % range; gain; map id.
pub(crate) fn rows_of_map(facts: &Facts<'_>, outcome: &Outcome) -> Vec<Row> {
    let units = Units::of(facts);
    let prescription = &outcome.prescription;
    let totals = &outcome.totals;
    let rates = prescription.zones.iter().map(|zone| zone.n);
    let (low, high) = rates.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), n| {
        (low.min(n.get()), high.max(n.get()))
    });
    let (low, high) = (NRate::kg_per_ha(low), NRate::kg_per_ha(high));
    let area = units.area(Area::m2(facts.ground.area));
    let mut rows = Vec::new();
    if let (Some(product), Some(total)) = (&facts.settings.product, totals.product) {
        rows.push(Row::new(
            product.name(),
            format!(
                "{total:.0} {} on {area}: mean {:.1}, range {:.1} to {:.1} {}",
                facts.settings.output.unit.total_label(),
                prescription.shown(totals.mean_rate),
                prescription.shown(low),
                prescription.shown(high),
                prescription.rate_label()
            ),
        ));
    }
    let ground = if rows.is_empty() {
        format!(" on {area}")
    } else {
        String::new()
    };
    rows.push(Row::new(
        "nitrogen",
        format!(
            "{}{ground}: mean {}, range {} to {}",
            units.mass(totals.n_kg),
            units.number(totals.mean_rate),
            units.number(low),
            units.rate(high)
        ),
    ));
    rows.push(match &outcome.uncertainty {
        Some(uncertainty) => Row::new(
            "80 % range",
            format!(
                "{} to {} (P10 to P90, Monte Carlo, {} draws)",
                units.mass_number(uncertainty.field.low),
                units.mass(uncertainty.field.high),
                uncertainty.draws
            ),
        ),
        None => Row::new("80 % range", "not computed"),
    });
    if let (Some(ratio), Some(low), Some(high)) = (
        outcome.reference.ratio,
        outcome.reference.low,
        outcome.reference.high,
    ) {
        let answer = outcome
            .reference
            .answer
            .map_or("", |answer| match answer.word() {
                "responds" => ", responds",
                "doubtful" => ", a response is doubtful",
                _ => ", no response",
            });
        rows.push(Row::new(
            "response index",
            format!("{ratio:.2}{answer} (95 % limits {low:.2} to {high:.2})"),
        ));
    }
    rows.push(Row::new("gain", gain(facts, outcome, &units)));
    rows.push(Row::new("map id", facts.map_id));
    rows
}

/// What the map earns over one flat rate: expected, or at most.
fn gain(facts: &Facts<'_>, outcome: &Outcome, units: &Units<'_>) -> String {
    let Some(money) = &outcome.money else {
        return if facts.settings.prices.is_some() {
            "not computed: the method gives no yield".to_owned()
        } else {
            "not computed: the job gives no [prices]".to_owned()
        };
    };
    let currency = &money.currency;
    match &money.expected {
        Some(gain) => format!(
            "{:+.0} {currency} expected over the best flat rate, {}",
            gain.over(&gain.best_flat.1),
            units.rate(gain.best_flat.0)
        ),
        None => format!(
            "at most {:+.0} {currency} over a flat rate of {}",
            money.against_flat.gain,
            units.rate(money.field.flat_rate)
        ),
    }
}

/// What to do with a map that may be used.
pub(crate) fn next_of_map(
    outcome: &Outcome,
    findings: &[Finding],
    formats: (bool, bool),
) -> Vec<String> {
    let mut next = Vec::new();
    if findings
        .iter()
        .any(|finding| finding.code == codes::RATE_BESIDE_EXCLUSION)
    {
        next.push("Walk the highest rates first: office/scouting.gpx.".to_owned());
    } else if !outcome.prescription.zones.is_empty() {
        next.push("Walk before you apply: office/scouting.gpx.".to_owned());
    }
    let load = match formats {
        (true, true) => "Load machine/TASKDATA or the shapefile, never both",
        (true, false) => "Load machine/TASKDATA",
        (false, true) => "Load the shapefile in machine",
        (false, false) => "No file for a terminal was asked for",
    };
    next.push(if formats == (false, false) {
        format!("{load}: see output.formats.")
    } else {
        format!("{load}; compare the check points of machine/CARD.txt first.")
    });
    next.push(LABEL.to_owned());
    next
}

/// The short answer of an inspection.
pub(crate) fn of_inspection(
    facts: &Facts<'_>,
    survey: &crate::pipeline::survey::Survey,
    files: &[FileFacts],
    job: &str,
) -> Brief {
    let units = Units::of(facts);
    let ground = facts.ground;
    let mut rows = Vec::new();
    for file in files.iter().take(3) {
        rows.push(Row::new(
            "image",
            format!(
                "{}: {} × {} pixels, {} bands",
                file.path,
                file.cols,
                file.rows,
                file.bands.len()
            ),
        ));
    }
    if files.len() > 3 {
        rows.push(Row::new("", format!("and {} files more", files.len() - 3)));
    }
    let counts = survey.scanned.counts;
    let unseen = counts.missing + counts.undefined + counts.out_of_range;
    rows.push(Row::new(
        "field",
        format!(
            "{} in {} cells along {:.1}° true",
            units.area(Area::m2(ground.area)),
            ground.grid.cells.len(),
            ground.heading_true_deg()
        ),
    ));
    rows.push(Row::new(
        "with image",
        match &survey.points {
            Some(points) => format!("{} readings that count", points.kept),
            None => format!(
                "{:.1} % of the field's pixels, {} wide",
                100.0 * (1.0 - unseen as f64 / counts.in_field.max(1) as f64),
                units.length(ground.pixel)
            ),
        },
    ));
    rows.push(Row::new(
        "canopy",
        format!("mean {} {:.4}", facts.index_name, survey.field_mean),
    ));
    if facts.season.growing_days.is_finite() {
        rows.push(Row::new(
            "GDD > 0",
            format!("{:.0} days", facts.season.growing_days),
        ));
    }
    for (k, strip) in survey.strips.iter().enumerate().take(4) {
        let found = match &strip.found {
            Ok(found) => {
                let beside = found.beside().map_or_else(
                    || "no comparison ground".to_owned(),
                    |beside| {
                        format!(
                            "comparison ground {beside:.4}, ratio {:.3}",
                            found.index() / beside
                        )
                    },
                );
                format!("{:.4}, {beside}, {} pixels", found.index(), found.pixels())
            }
            Err(error) => format!("left out: {error}"),
        };
        rows.push(Row::new(format!("strip {}", k + 1), found));
    }
    if survey.strips.len() > 4 {
        rows.push(Row::new(
            "",
            format!("and {} strips more", survey.strips.len() - 4),
        ));
    }
    Brief {
        rows,
        next: vec![format!(
            "Check the whole job without writing: haulm check {job}"
        )],
        ..Brief::default()
    }
}
