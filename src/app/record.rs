//! `office/record.json`: everything needed to repeat a run and to audit it.

use std::path::{Path, PathBuf};

use crate::app::below::below;
use crate::app::change::Change;
use crate::app::commit;
use crate::app::error::AppError;
use crate::app::held::Held;
use crate::app::image_source::shown;
use crate::app::job::settings_record;
use crate::app::open::ImageFacts;
use crate::finding::Finding;
use crate::format::payload::Payload;
use crate::job::settings::Settings;
use crate::map::file_totals::FileTotal;
use crate::map::prescription::Prescription;
use crate::pipeline::driven::Driven;
use crate::pipeline::gain::Gain;
use crate::pipeline::ground::Ground;
use crate::pipeline::money::ZoneMoney;
use crate::pipeline::run::Outcome;
use crate::pipeline::season::{GrowingSeason, UsedStation};
use crate::pipeline::set_rates::{SetFound, words_of};
use crate::pipeline::share::Measured;
use crate::pipeline::uncertainty::Uncertainty;
use crate::science::loads::Loads;
use crate::science::money::{Comparison, StrategyTotals};
use crate::science::reference::{Answer, Placebo};
use crate::units::{Product, RateUnit};
use geo::Area as _;
use serde_json::{Map, Value, json};

/// Size and SHA-256 of every input.
///
/// # Errors
/// When an input cannot be read again.
pub(crate) fn inputs(paths: &[PathBuf], folder: &Path) -> Result<Value, AppError> {
    let mut list = Vec::new();
    for path in paths {
        let unreadable = |error: &std::io::Error| {
            AppError::refused("file.unreadable", "an input cannot be read")
                .with_fact(path.display().to_string(), error.to_string())
        };
        let size = fs_err::metadata(path)
            .map_err(|error| unreadable(&error))?
            .len();
        let sha256 = commit::sha256_of_file(path).map_err(|error| unreadable(&error))?;
        let shown = below(path, folder);
        list.push(json!({ "path": shown, "bytes": size, "sha256": sha256 }));
    }
    Ok(Value::Array(list))
}

/// As [`inputs`], of a job that is held in memory, with files that many fields share hashed once.
///
/// # Errors
/// As [`inputs`], and when a file is no longer what it was.
pub(crate) fn inputs_held(
    (job, text): (&Path, &str),
    paths: &[PathBuf],
    folder: &Path,
    held: &Held,
) -> Result<Value, AppError> {
    let mut list = vec![
        json!({ "path": below(job, folder), "bytes": text.len(), "sha256": commit::sha256_hex(text.as_bytes()) }),
    ];
    for path in paths.iter().filter(|path| *path != job) {
        let hashed = held.hashed(path)?;
        let shown = below(path, folder);
        list.push(json!({ "path": shown, "bytes": hashed.bytes, "sha256": hashed.sha256 }));
    }
    Ok(Value::Array(list))
}

/// The block bootstrap's bounds of a strip's ratio: a check on its interval, no more.
fn bootstrap(strip: &crate::pipeline::strips::Strip) -> Value {
    let bounds = match &strip.found {
        Ok(crate::pipeline::strips::StripFound::Fine(fine)) => fine.bootstrap,
        Ok(crate::pipeline::strips::StripFound::Coarse(coarse)) => coarse.bootstrap,
        Err(_) => None,
    };
    json!(bounds.map(|(low, high)| [low, high]))
}

/// The findings of a run.
pub(crate) fn findings(findings: &[Finding]) -> Value {
    let one = |finding: &Finding| {
        let mut value = json!({ "code": finding.code, "severity": finding.severity.word(), "message": finding.message });
        if let (Some(figure), Some(map)) = (&finding.figure, value.as_object_mut()) {
            map.insert("figure".to_owned(), json!(figure));
        }
        if let (Some(accepted), Some(map)) = (&finding.accepted, value.as_object_mut()) {
            map.insert(
                "accepted".to_owned(),
                json!({ "reason": accepted.reason, "by": accepted.by }),
            );
        }
        value
    };
    Value::Array(findings.iter().map(one).collect())
}

/// Growing days, and for counted ones rule, station, and every day that is not from its record.
pub(crate) fn season(season: &GrowingSeason, crop: &str) -> Value {
    let mut value =
        json!({ "growing_days": season.growing_days, "counted": season.text(), "crop": crop });
    if let (Some(counted), Some(map)) = (&season.counted, value.as_object_mut()) {
        let (count, rule) = (&counted.count, &counted.rule);
        let station = |station: &UsedStation| json!({ "name": station.name, "distance_km": station.distance_km });
        let more = json!({
            "degree_sum_c_d": count.degree_days.celsius(), "degree_sum_f_d": count.degree_days.fahrenheit(), "days": count.days,
            "first_day": count.first.to_string(), "last_day": count.last.to_string(), "sensing_day_counted": counted.sensing_day,
            "rule": rule.rule().word(), "base_temperature": rule.base().to_string(),
            "ceiling": rule.ceiling().map(|(ceiling, _)| ceiling.to_string()), "ceiling_on": rule.ceiling().map(|(_, on)| on.word()),
            "station": counted.stations.first().map(station), "further_stations": counted.stations.iter().skip(1).map(station).collect::<Vec<_>>(),
            "filled_days": counted.filled().map(|(date, from)| json!({ "date": date.to_string(), "station": from })).collect::<Vec<_>>(),
            "missing_days": count.left_out.iter().map(ToString::to_string).collect::<Vec<_>>(),
        });
        if let Value::Object(more) = more {
            map.extend(more);
        }
    }
    value
}

/// A partial budget.
pub(crate) fn comparison(found: &Comparison) -> Value {
    json!({
        "added_n_kg": found.added_nitrogen.get(), "added_grain_kg": found.added_grain_kg, "added_gross": found.added_gross, "added_cost": found.added_cost,
        "gain": found.gain, "marginal_return": found.marginal_return, "break_even_nitrogen_price_per_kg_n": found.break_even_nitrogen,
        "break_even_price_ratio": found.break_even_price_ratio,
    })
}

fn zone_money(zone: &ZoneMoney) -> Value {
    let money = &zone.money;
    json!({
        "zone": zone.zone, "area_m2": money.area.get(), "n_kg": money.map.nitrogen.get(), "gross": money.map.gross, "cost": money.map.cost, "net": money.map.net(),
        "gain_over_none": money.map.net() - money.none.net(), "gain_over_flat": money.map.net() - money.flat.net(),
        "gain_over_usual": money.usual.as_ref().map(|usual| money.map.net() - usual.net()),
    })
}

/// What a file for machines puts on the field, in the unit of its totals.
fn file_total(total: &FileTotal, prescription: &Prescription) -> Value {
    json!({
        "file": total.file.word(), "in_field": total.in_field, "with_run_out": total.with_run_out,
        "unit": prescription.total_label(),
    })
}

/// The nitrogen share as measured, or why it is not known.
fn share_value(measured: &Measured) -> Value {
    match measured {
        Ok(found) => json!({
            "share": found.share, "low": found.low, "high": found.high, "within_strip_variance": found.within_strip, "elsewhere_variance": found.elsewhere,
            "strips": found.strips, "places": found.places,
        }),
        Err(reason) => json!({ "unknown": reason.to_string() }),
    }
}

/// What may be expected of the map over flat rates. Gains in the job's currency for the whole field, except those by area.
fn expected_value(gain: &Gain) -> Value {
    let by_share = &gain.by_share;
    json!({
        "nitrogen_share": gain.share, "draws": gain.draws, "area_m2": gain.area.get(), "flat_n_kg_ha": gain.mean_flat.0.get(),
        "gain_over_flat": gain.over(&gain.mean_flat.1), "gain_over_flat_per_ha": gain.over_per_ha(&gain.mean_flat.1),
        "best_flat_n_kg_ha": gain.best_flat.0.get(), "gain_over_best_flat": gain.over(&gain.best_flat.1), "gain_over_best_flat_per_ha": gain.over_per_ha(&gain.best_flat.1),
        "gain_over_usual": gain.usual.as_ref().map(|(_, usual)| gain.over(usual)),
        "cells_gain_over_best_flat": { "each_cell": by_share.each_cell, "whole_field": by_share.whole_field, "measured_share": by_share.measured },
    })
}

/// Fills of tank or hopper, in the unit of the product's total.
fn loads_value(loads: &Loads, product: &Product, unit: RateUnit) -> Value {
    let shown = |kg: f64| product.in_total(kg, unit);
    json!({
        "unit": unit.total_label(), "capacity": shown(loads.capacity_kg), "fills": loads.fills, "last_fill": shown(loads.last_kg), "even_fill": shown(loads.even_kg),
        "leftover_of_full_fills": shown(loads.leftover_kg),
    })
}

/// The band of the field and what makes it. Zones and cells stand in the layers.
fn drawn_value(uncertainty: &Uncertainty) -> Value {
    let spreads = &uncertainty.spreads;
    let parts: Vec<Value> = uncertainty
        .parts
        .iter()
        .map(
            |part| json!({ "uncertainty": part.cause.word(), "sd_n_kg": part.sd_kg, "variance_share": part.share, "n_kg_at_ends": [part.ends_kg.0, part.ends_kg.1] }),
        )
        .collect();
    json!({
        "draws": uncertainty.draws, "seed": uncertainty.seed, "n_kg_plain": uncertainty.plain_kg, "n_kg_p10": uncertainty.field.low, "n_kg_p50": uncertainty.field.middle, "n_kg_p90": uncertainty.field.high,
        "n_kg_mean": uncertainty.field.mean, "n_kg_sd": uncertainty.field.sd, "alone": parts,
        "ratio_spread": spreads.ratio, "ratio_limit": spreads.limit, "use_efficiency_spread": spreads.use_efficiency,
        "curve_spread": spreads.curve, "curve_spread_stated": uncertainty.curve_stated, "place_spread": spreads.place, "place_spread_stated": uncertainty.place_stated, "place_spread_measured": uncertainty.place_measured,
        "strips": uncertainty.strips, "errors_alike_side_m": uncertainty.alike,
    })
}

/// How the field's nitrogen moves with every uncertainty.
fn uncertainty_value(outcome: &Outcome) -> Value {
    let totals = &outcome.totals;
    let by_strip: Vec<Value> = totals
        .n_kg_by_strip
        .iter()
        .map(|(strip, n)| json!({ "strip": strip, "n_kg": n }))
        .collect();
    let mut uncertainty = json!({
            "n_kg_base": totals.n_kg_base, "n_kg_without_dropping": totals.n_kg_without_dropping, "n_kg_by_strip": by_strip, "n_kg_by_inset": totals.n_kg_by_inset,
            "n_kg_by_ratio_bounds": totals.n_kg_by_bounds.map(|b| [b.0, b.1]), "n_kg_by_use_efficiency": totals.n_kg_by_efficiency.map(|b| [b.0, b.1]),
            "n_kg_each_cell": totals.n_kg_by_share.each_cell, "n_kg_whole_field": totals.n_kg_by_share.whole_field, "n_kg_measured_share": totals.n_kg_by_share.measured,
            "noise_sd": totals.noise.map(|n| n.0), "noise_n_kg": totals.noise.map(|n| n.1.made_kg), "noise_n_kg_signed": totals.noise.map(|n| n.1.signed_kg),
    });
    if let (Some(drawn), Some(map)) = (&outcome.uncertainty, uncertainty.as_object_mut()) {
        map.insert("drawn".to_owned(), drawn_value(drawn));
    }
    uncertainty
}

/// What placebo strips say of the reference.
fn placebo(placebo: &Placebo) -> Value {
    json!({
        "places": placebo.places, "strips": placebo.strips, "strips_agree": placebo.agree, "ratio_spread": placebo.spread, "index_spread": placebo.level_spread,
        "independent_places": placebo.effective, "ratio_low": placebo.answer.interval.0, "ratio_high": placebo.answer.interval.1, "probability": placebo.answer.probability,
    })
}

/// What one table of `rate.set` did to the map.
fn set_value(found: &SetFound) -> Value {
    json!({
        "set": words_of(found.to, false), "reason": found.reason, "cells": found.cells, "area_m2": found.area.get(), "cells_kept": found.kept, "cells_limited": found.limited,
        "n_kg_before": found.before.get(), "n_kg": found.after.get(),
    })
}

/// What a record needs besides the outcome.
pub(crate) struct Context<'a> {
    /// The settings.
    pub settings: &'a Settings,
    /// The job's folder.
    pub folder: &'a Path,
    /// The ground.
    pub ground: &'a Ground,
    /// The image.
    pub image: &'a ImageFacts,
    /// Growing days and how they were counted.
    pub season: &'a GrowingSeason,
    /// Inputs, from [`inputs`].
    pub inputs: &'a Value,
    /// Findings.
    pub findings: &'a [Finding],
    /// Settings that do not stand in the job file.
    pub changes: &'a [Change],
    /// What each file for machines puts on the field.
    pub file_totals: &'a [FileTotal],
    /// Whether nothing is written for the machine.
    pub stopped: bool,
}

/// Ways between reference systems.
fn transformations(ground: &Ground) -> Value {
    ground
        .operations
        .iter()
        .map(|o| json!({ "from": o.from, "to": o.to, "name": o.name, "accuracy_m": o.accuracy_m }))
        .collect()
}

/// The record without outputs and time: what the map id hashes.
pub(crate) fn core(outcome: &Outcome, context: &Context<'_>) -> Map<String, Value> {
    let (ground, totals, reference) = (context.ground, &outcome.totals, &outcome.reference);
    let strips: Vec<Value> = outcome
        .prescription
        .strips
        .iter()
        .zip(&outcome.survey.strips)
        .map(|(strip, measured)| {
            json!({
                "strip": strip.strip, "index": strip.index, "beside": strip.beside, "estimator": strip.estimator, "pixels": strip.pixels,
                "segments_dropped": strip.segments_dropped, "left_out": strip.left_out, "reason": measured.found.as_ref().err().map(ToString::to_string),
                "area_m2": measured.plan.area, "bootstrap": bootstrap(measured), "index_less_inset": measured.variants[0], "index_more_inset": measured.variants[1],
            })
        })
        .collect();
    let counts = outcome.survey.scanned.counts;
    let mut map = Map::new();
    let mut put = |key: &str, value: Value| {
        map.insert(key.to_owned(), value);
    };
    put("version", json!(env!("CARGO_PKG_VERSION")));
    put("not_for_use", json!(context.stopped));
    put(
        "settings",
        settings_record(context.settings, context.folder),
    );
    put("inputs", context.inputs.clone());
    if !context.changes.is_empty() {
        let change = |change: &Change| json!({ "key": change.key(), "value": change.value });
        put("changed", context.changes.iter().map(change).collect());
    }
    put(
        "field",
        json!({
            "name": context.settings.field.name, "area_m2": ground.area, "boundary_m2": ground.boundary.unsigned_area(), "exclusions_m2": ground.boundary.unsigned_area() - ground.area - ground.slivers,
            "holes_m2": ground.holes.unsigned_area(), "slivers_m2": ground.slivers, "plane": ground.plane.crs.to_string(), "plane_name": ground.plane.crs.name(),
            "longitude": ground.plane.longitude, "latitude": ground.plane.latitude, "areal_scale": ground.plane.areal_scale,
            "scale_low": ground.plane.scale_low, "scale_high": ground.plane.scale_high, "convergence_deg": ground.plane.convergence_deg,
            "heading_grid_deg": ground.heading_grid_deg(), "heading_true_deg": ground.heading_true_deg(), "cells": ground.grid.cells.len(),
        }),
    );
    if ground.driven.len() > 1 {
        let driven = ground.driven.iter().enumerate();
        let part = |(part, driven): (usize, &Driven)| json!({ "name": driven.name, "area_m2": driven.area, "cells": ground.grid.cells_of(part).len(), "heading_grid_deg": driven.azimuth_deg, "heading_true_deg": ground.plane.true_azimuth(driven.azimuth_deg) });
        put("driven", driven.map(part).collect());
    }
    put("transformations", transformations(ground));
    let slots: Vec<Value> = context
        .image
        .slots
        .iter()
        .map(|(name, path, band, scale, offset)| json!({ "name": name, "path": shown(path, context.folder), "band": band, "scale": scale, "offset": offset }))
        .collect();
    put(
        "image",
        json!({
            "index": context.image.index.name(), "formula": context.image.index.formula().text(), "bands": slots, "bare_below": context.image.bare_below, "pixel_m": outcome.survey.points.is_none().then_some(ground.pixel),
            "pixels_in_field": counts.in_field, "pixels_missing": counts.missing, "pixels_undefined": counts.undefined, "pixels_out_of_range": counts.out_of_range,
            "mean_index": outcome.survey.field_mean,
        }),
    );
    put(
        "points",
        json!(
            outcome
                .survey
                .points
                .as_ref()
                .map(crate::app::points::recorded)
        ),
    );
    put(
        "season",
        season(context.season, &context.settings.season.crop.name),
    );
    put(
        "reference",
        json!({
            "kind": reference.kind, "index": reference.index, "strip_index": reference.measured, "beside": reference.beside, "ratio": reference.ratio, "ratio_low": reference.low, "ratio_high": reference.high,
            "answer": reference.answer.map(Answer::word), "maximum_ratio": outcome.rated.limit.value, "maximum_ratio_by": outcome.rated.limit.by.word(),
            "paired_low": reference.paired.map(|bounds| bounds.0), "paired_high": reference.paired.map(|bounds| bounds.1),
            "placebo": reference.placebo.as_ref().map(placebo), "no_placebo": reference.no_placebo,
            "random_effects": reference.random_effects.map(random_effects), "disagree": reference.disagree, "no_interval": reference.no_interval, "place": reference.place, "between_strips_sd": reference.between_strips,
            "index_without_dropping": reference.index_without_dropping, "nitrogen_share": share_value(&outcome.share), "strips": strips, "point_spread_fit": outcome.survey.spread.map(|fit| json!({ "px": fit.full_width, "low": fit.low, "high": fit.high, "pixels": fit.pixels })),
        }),
    );
    put(
        "totals",
        json!({
            "n_kg": totals.n_kg, "n_kg_from_cells": totals.n_kg_from_cells, "n_kg_exact": totals.n_kg_exact, "n_kg_seen": totals.n_kg_seen, "n_kg_by_ratio": totals.n_kg_by_ratio,
            "product": totals.product, "product_unit": context.settings.product.as_ref().map(|_| context.settings.output.unit.total_label()),
            "capped_share": totals.capped_share, "capped_without_share": totals.capped_without_share, "held_share": totals.held_share, "unseen_share": totals.unseen_share, "bare_share": totals.bare_share,
            "thin_share": totals.thin_share, "beyond_share": totals.beyond_share, "withheld_by_ratio_n_kg": totals.withheld_kg, "mean_n_kg_ha": totals.mean_rate.get(), "field_rate_n_kg_ha": outcome.prescription.field_rate.get(),
            "field_rate_exact_n_kg_ha": outcome.rated.field_exact.get(), "zones": outcome.prescription.zones.len(),
            "yield_without_n_kg_ha": totals.yields.map(|y| y.0.get()), "yield_with_n_kg_ha": totals.yields.map(|y| y.1.get()),
            "product_by_file": context.file_totals.iter().map(|total| file_total(total, &outcome.prescription)).collect::<Vec<_>>(),
        }),
    );
    if !outcome.set.is_empty() {
        put("set_by_hand", outcome.set.iter().map(set_value).collect());
    }
    if let (Some(loads), Some(product)) = (&totals.loads, &context.settings.product) {
        put(
            "loads",
            loads_value(loads, product, context.settings.output.unit),
        );
    }
    put("uncertainty", uncertainty_value(outcome));
    if let Some(money) = &outcome.money {
        let strategy = |s: &StrategyTotals| json!({ "n_kg": s.nitrogen.get(), "grain_kg": s.grain_kg, "gross": s.gross, "cost": s.cost, "net": s.net() });
        let field = &money.field;
        put(
            "money",
            json!({
                "currency": money.currency, "area_m2": field.area.get(), "map": strategy(&field.map), "none": strategy(&field.none), "flat": strategy(&field.flat),
                "flat_n_kg_ha": field.flat_rate.get(), "usual": field.usual.as_ref().map(strategy), "break_even_ratio": money.break_even_ratio,
                "gain_over_none": field.map.net() - field.none.net(), "gain_over_flat": field.map.net() - field.flat.net(),
                "gain_over_usual": field.usual.as_ref().map(|usual| field.map.net() - usual.net()), "upper_bound": true,
                "against_none": comparison(&money.against_none), "against_flat": comparison(&money.against_flat),
                "against_usual": money.against_usual.as_ref().map(comparison), "break_even_gain_kg_ha": money.break_even_gain.map(crate::units::Yield::get),
                "price_ratio": money.price_ratio, "highest_price_ratio": money.highest_price_ratio,
                "gain_over_none_by_use_efficiency": money.gain_by_efficiency, "expected": money.expected.as_ref().map(expected_value), "zones": money.zones.iter().map(zone_money).collect::<Vec<_>>(),
            }),
        );
    }
    put("findings", findings(context.findings));
    map
}

/// The record as it is written: map id first, outputs and true time last.
pub(crate) fn finished(
    map_id: &str,
    core: Map<String, Value>,
    files: &[Payload],
    made_at: Option<&str>,
) -> Payload {
    let mut map = Map::new();
    map.insert("map_id".to_owned(), json!(map_id));
    map.insert("made_by".to_owned(), commit::made_by());
    map.extend(core);
    map.insert("outputs".to_owned(), commit::outputs(files));
    map.insert("made_at".to_owned(), json!(made_at));
    let mut bytes = serde_json::to_vec_pretty(&Value::Object(map)).unwrap_or_default();
    bytes.push(b'\n');
    Payload::new(commit::RECORD_PATH, bytes)
}

/// How the strips' ratios were pooled.
fn random_effects(pooled: crate::science::reference::RandomEffects) -> Value {
    json!({
        "ratio": pooled.mean, "low": pooled.low, "high": pooled.high, "between_variance": pooled.between, "q": pooled.q, "probability": pooled.probability,
        "degrees_of_freedom": pooled.degrees_of_freedom,
    })
}
