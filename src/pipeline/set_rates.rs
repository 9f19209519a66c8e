//! Rates that the user sets by hand, after the method and its zones and before the machine's limits.
//!
//! Zones are formed as if nothing were set; then cells are taken out of them. So nothing outside the ground that was drawn moves, not by a bit.

use crate::finding::{Checked, Finding, codes};
use crate::job::settings::{Output, RateRules, SetTo};
use crate::map::prescription::CellState;
use crate::pipeline::cell_facts::CellFacts;
use crate::pipeline::change::Change;
use crate::pipeline::ground::Ground;
use crate::pipeline::rates::Rated;
use crate::science::yield_response::round_to_step;
use crate::units::{Area, NMass, NRate};
use crate::zones::build::{Rate, ZoneCell, Zoning};
use crate::zones::carve::{Given, carved};

/// Letters of a reason that a finding has room for; the report has the whole.
const MAXIMUM_LETTERS: usize = 60;

/// The change of a cell that has `own` \[kg N/ha\] at least, `None` where there is none: ground without a full stand, whose own rate nothing measured, is lowered only.
fn change_of(to: SetTo, full_stand: bool, own: f64, rule: &RateRules) -> Option<Change> {
    let (minimum, maximum) = (rule.minimum.get(), rule.maximum.get());
    // The minimum is that of a canopy; ground that has less by a rule of its own is not raised to it.
    let minimum = if full_stand { minimum.min(own) } else { 0.0 };
    let lowered = |add: f64, most: f64| Change {
        add,
        minimum: minimum.min(most),
        most,
    };
    match to {
        SetTo::Rate(rate) if full_stand => Some(Change {
            add: 0.0,
            minimum: rate.get(),
            most: rate.get(),
        }),
        SetTo::Rate(rate) | SetTo::AtMost(rate) => Some(lowered(0.0, rate.get())),
        SetTo::Add(more) if more.get() < 0.0 => Some(lowered(more.get(), maximum)),
        SetTo::Add(more) => full_stand.then_some(Change {
            add: more.get(),
            minimum,
            most: maximum,
        }),
    }
}

/// What a rate becomes, in steps within the limits; `None` where it stays as it is. A limit is rounded down, a rate to the nearest step.
fn in_steps(change: Change, before: Rate, to: SetTo, rule: &RateRules) -> Option<(f64, Rate)> {
    let step = rule.step.get();
    let old = before.n(step);
    let exact = change.of(old);
    if (exact - old).abs() < 1e-9 {
        return None;
    }
    let down = matches!(to, SetTo::AtMost(_));
    let requirement = if down {
        step * libm::floor(exact / step + 1e-9)
    } else {
        exact
    };
    let steps = round_to_step(
        NRate::kg_per_ha(requirement),
        rule.minimum,
        rule.maximum,
        rule.step,
    )?;
    let rate = Rate::Steps(steps);
    // Rounding, or the minimum, must not turn less into more.
    let raised = change.add <= 0.0 && exact < old && rate.n(step) > old;
    (!raised && (rate.n(step) - old).abs() > 1e-9).then_some((exact, rate))
}

/// What one table of `rate.set` did.
#[derive(Clone, Debug, PartialEq)]
pub struct SetFound {
    /// What becomes of the map's rate.
    pub to: SetTo,
    /// Why, in the user's words.
    pub reason: String,
    /// Cells that lie in its ground.
    pub cells: usize,
    /// Their area.
    pub area: Area,
    /// Cells of them that keep their rate, since nothing was seen of a full stand there.
    pub kept: usize,
    /// Cells of them at the greatest rate, which gave them less than was asked for.
    pub limited: usize,
    /// Nitrogen of the map there without it.
    pub before: NMass,
    /// Nitrogen of the map there.
    pub after: NMass,
}

/// Zones and cells with the rates that were set by hand.
#[derive(Clone, Debug)]
pub struct SetRates {
    /// Cells with their rates.
    pub rated: Rated,
    /// Zones.
    pub zoning: Zoning,
    /// What each table did, in the order of the job.
    pub found: Vec<SetFound>,
}

/// Sets the job's rates by hand. Cells that are not in their ground, and zones there, stay bit for bit.
///
/// # Findings
/// `rate.by_hand` (note, or caution where it adds nitrogen): cells, area, nitrogen before and after, reason. `rate.by_hand_apart` (caution): no cell lies in it.
/// `rate.by_hand_overlap` (caution): cells lie in several.
pub fn set_rates(
    (rule, output): (&RateRules, &Output),
    (ground, facts): (&Ground, &CellFacts),
    rated: Rated,
    zoning: Zoning,
) -> Checked<SetRates> {
    if rule.set.is_empty() {
        return Checked::clean(SetRates {
            rated,
            zoning,
            found: Vec::new(),
        });
    }
    let (mut rated, step) = (rated, rule.step.get());
    let mut found: Vec<SetFound> = rule
        .set
        .iter()
        .map(|set| SetFound {
            to: set.to,
            reason: set.reason.clone(),
            cells: 0,
            area: Area::ZERO,
            kept: 0,
            limited: 0,
            before: NMass::ZERO,
            after: NMass::ZERO,
        })
        .collect();
    // A sliver goes by its cell as that was before anything was set.
    let exact: Vec<f64> = rated.due.iter().map(|due| due.exact.get()).collect();
    let mut given = vec![None; rated.cells.len()];
    for (k, given) in given.iter_mut().enumerate() {
        let host = rated.follows[k].map_or(k, |host| host as usize);
        let Some(table) = facts.set[host] else {
            continue;
        };
        let to = rule.set[table as usize].to;
        let notice = &mut found[table as usize];
        let area = rated.cells[k].area;
        let full_stand = rated.cells[host].state == CellState::Canopy;
        let zone = zoning.zones[zoning.zone_of[host] as usize - 1].rate;
        let own = zone.n(step).min(exact[host]);
        let change = change_of(to, full_stand, own, rule);
        let new = change.and_then(|change| in_steps(change, zone, to, rule));
        let rate = new.map_or(zone, |(_, rate)| rate);
        notice.cells += 1;
        notice.area = notice.area + area;
        notice.before = notice.before + NRate::kg_per_ha(zone.n(step)) * area;
        notice.after = notice.after + NRate::kg_per_ha(rate.n(step)) * area;
        notice.kept += usize::from(!full_stand && wants_more(to, zone.n(step)));
        notice.limited += usize::from(
            full_stand
                && matches!(to, SetTo::Add(more) if zone.n(step) + more.get() > rule.maximum.get() + 1e-9),
        );
        if host != k {
            continue;
        }
        *given = new.map(|(_, rate)| Given { by: table, rate });
        let due = &mut rated.due[k];
        if let Some(change) = change {
            if let Some((_, rate)) = in_steps(change, due.rate, to, rule) {
                due.rate = rate;
            }
            due.exact = NRate::kg_per_ha(change.of(due.exact.get()));
            due.set = Some(change);
        }
    }
    let cells: Vec<ZoneCell> = rated
        .cells
        .iter()
        .zip(&rated.due)
        .zip(&rated.follows)
        .map(|((cell, due), follows)| ZoneCell {
            area: cell.area.get(),
            kind: due.kind,
            n_exact: due.exact.get(),
            rate: due.rate,
            index: cell.index,
            class: None,
            follows: *follows,
        })
        .collect();
    let zoning = carved(&cells, &ground.borders, &zoning, &given, step);
    let findings = wording_of((rule, output), facts, &found);
    Checked::new(
        SetRates {
            rated: rated.with_own_rates(rule.step),
            zoning,
            found,
        },
        findings,
    )
}

fn ground_told(area: Area, us: bool) -> String {
    if us {
        format!("{:.2} ac", area.as_ac())
    } else {
        format!("{:.2} ha", area.as_ha())
    }
}

/// Whether more is asked for than the ground has.
fn wants_more(to: SetTo, rate: f64) -> bool {
    match to {
        SetTo::Rate(requirement) => requirement.get() > rate + 1e-9,
        SetTo::Add(more) => more.get() > 0.0,
        SetTo::AtMost(_) => false,
    }
}

/// What is set, in words: `40.0 kg N/ha instead of the map's rate`.
pub fn words_of(to: SetTo, us: bool) -> String {
    match to {
        SetTo::Rate(rate) => format!("set to {}", rate.text(us)),
        SetTo::Add(more) if more.get() < 0.0 => {
            format!("lowered by {}", (NRate::ZERO - more).text(us))
        }
        SetTo::Add(more) => format!("raised by {}", more.text(us)),
        SetTo::AtMost(rate) => format!("limited to {}", rate.text(us)),
    }
}

fn wording_of(
    (rule, output): (&RateRules, &Output),
    facts: &CellFacts,
    found: &[SetFound],
) -> Vec<Finding> {
    let us = output.us_units;
    let mut findings = Vec::new();
    for (k, (notice, set)) in found.iter().zip(&rule.set).enumerate() {
        let what = words_of(notice.to, us);
        if notice.cells == 0 {
            let file = set.source.path.display();
            findings.push(Finding::caution(
                codes::RATE_BY_HAND_APART,
                format!("{file}: no cell of the field lies in the ground of rate.set {}, {what}, so that nothing is set: look at the shape, its reference system and the tables after it", k + 1),
            ));
            continue;
        }
        let text = format!(
            "by hand {what}: {} cells, {}, {} instead of {}",
            notice.cells,
            ground_told(notice.area, us),
            output.nitrogen(notice.after.get()),
            output.nitrogen(notice.before.get()),
        );
        let mut more = Vec::new();
        if notice.kept > 0 {
            more.push(format!(
                "; {} cells without a full stand keep theirs, which nothing set raises",
                notice.kept
            ));
        }
        if notice.limited > 0 {
            more.push(format!(
                "; {} cells reach the maximum rate first",
                notice.limited
            ));
        }
        let reason: String = notice.reason.chars().take(MAXIMUM_LETTERS).collect();
        let cut = if reason.len() < notice.reason.len() {
            "…"
        } else {
            ""
        };
        more.push(format!(" (\"{reason}{cut}\")"));
        let text = text + &more.concat();
        findings.push(if notice.after > notice.before {
            Finding::caution(codes::RATE_BY_HAND, text)
        } else {
            Finding::note(codes::RATE_BY_HAND, text)
        });
    }
    if facts.set_twice > 0 {
        findings.push(Finding::caution(
            codes::RATE_BY_HAND_OVERLAP,
            format!(
                "{} cells lie in the ground of more than one rate.set: the last in the job counts there; draw them apart if that is not meant",
                facts.set_twice
            ),
        ));
    }
    findings
}
