//! The lists that ship with haulm: indices, methods, crops with their yield curves, products.

use crate::app::error::AppError;
use crate::app::requests::List;
use crate::report::model::{Block, Column, Report, Table};
use crate::science::crop::{crops, curves, find_crop};
use crate::science::index::catalogue;
use crate::science::methods::{About, METHODS};
use crate::science::product::{ProductEntry, ProductKind, products};
use crate::units::{KG_PER_LB, L_PER_GAL};
use serde_json::{Value, json};

/// Stands where a table has no figure.
const NONE: &str = "–";

/// A list that ships with haulm.
///
/// # Errors
/// None today; a list that cannot be read would be a fault of the program.
pub fn list(list: List) -> Result<Report, AppError> {
    let (title, blocks, json) = match list {
        List::Indices => indices(),
        List::Methods => methods(),
        List::Crops => crops_and_curves(),
        List::Products => fertilisers(),
    };
    Ok(Report {
        title: title.to_owned(),
        blocks,
        json,
        ..Report::default()
    })
}

type Judged = (&'static str, Vec<Block>, Value);

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| NONE.to_owned(), |value| format!("{value:.digits$}"))
}

fn span(range: Option<(f64, f64)>, digits: usize) -> String {
    range.map_or_else(
        || NONE.to_owned(),
        |(low, high)| format!("{low:.digits$}–{high:.digits$}"),
    )
}

fn indices() -> Judged {
    let rows = catalogue()
        .iter()
        .map(|entry| {
            let divides = if entry.zero_means_no_canopy {
                "yes"
            } else {
                "no"
            };
            vec![
                entry.name.clone(),
                divides.to_owned(),
                number(entry.bare_below, 2),
                entry.formula.clone(),
            ]
        })
        .collect();
    let table = Table {
        columns: vec![
            Column::left("index"),
            Column::left("rates"),
            Column::right("bare below"),
            Column::left("formula"),
        ],
        rows,
    };
    let about = catalogue()
        .iter()
        .map(|entry| {
            let aliases = if entry.aliases.is_empty() {
                String::new()
            } else {
                format!(" (also {})", entry.aliases.join(", "))
            };
            vec![
                entry.name.clone(),
                format!(
                    "{}{aliases}. {}. Weak point: {}.",
                    entry.title, entry.source, entry.note
                ),
            ]
        })
        .collect();
    let sources = Table {
        columns: vec![Column::left("index"), Column::left("source and weak point")],
        rows: about,
    };
    let hints = vec![
        "rates: whether a value of 0 means no canopy, so that the yield-response method may divide by the index. A job may also give \"band 1\" for a raster that holds an index ready, or a formula of its own.".to_owned(),
        "Formulas agree with the public catalogue of Montero et al. 2023, Scientific Data 10:197; authors and years are from memory against their DOIs.".to_owned(),
    ];
    let json = catalogue()
        .iter()
        .map(|entry| {
            json!({
                "name": entry.name, "title": entry.title, "aliases": entry.aliases, "formula": entry.formula, "range": entry.range, "scale_free": entry.scale_free,
                "offset_free": entry.offset_free, "zero_means_no_canopy": entry.zero_means_no_canopy, "bare_below": entry.bare_below, "source": entry.source, "note": entry.note,
            })
        })
        .collect::<Vec<_>>();
    (
        "Canopy indices",
        vec![
            Block::table("", table),
            Block::table("Sources", sources),
            Block::text("", hints),
        ],
        json!({ "indices": json }),
    )
}

fn methods() -> Judged {
    let blocks = METHODS
        .iter()
        .map(|method| {
            let rows = [
                ("gives", method.gives),
                ("formula", method.formula),
                ("units", method.units),
                ("range", method.range),
                ("needs", method.needs),
                ("source", method.source),
                ("certainty", method.certainty.label()),
            ];
            let crop = method.crop.map(|crop| ("crop", crop));
            let rows = rows.into_iter().chain(crop).map(|(key, text)| vec![key.to_owned(), text.to_owned()]).collect();
            Block::table("", Table { columns: vec![Column::left("method"), Column::left(method.name)], rows })
        })
        .chain([Block::text(
            "Symbols",
            vec![
                "I canopy index, I_ref that of the reference strip, D growing days, a and b of the yield curve, YPmax maximum yield, g nitrogen in the grain (share of its mass), e share of applied nitrogen that reaches the grain, SI sufficiency index I / I_ref, ΔSI 1 − SI without nitrogen, V the value that is read.".to_owned(),
                "Every method: response.method = its name; less what was applied since sensing; limited to rate.minimum … rate.maximum and to what rate.season_limit leaves; rounded to rate.step; thin, bare and unseen ground by the rules of [rate]. haulm map gives one rate a cell, haulm rate one rate from hand readings, I_ref in the strip and I beside it.".to_owned(),
            ],
        )])
        .collect();
    let json = METHODS
        .iter()
        .map(|m| {
            json!({
                "name": m.name, "commands": ["haulm map", "haulm rate"], "gives": m.gives, "formula": m.formula, "units": m.units, "range": m.range, "needs": m.needs,
                "source": m.source, "certainty": m.certainty.label(), "crop": m.crop,
            })
        })
        .collect::<Vec<_>>();
    ("Methods that set rates", blocks, json!({ "methods": json }))
}

/// The methods side by side for one crop: which fit it, and what each needs.
///
/// # Errors
/// When the crop is not known.
pub fn compare_methods(crop: &str) -> Result<Report, AppError> {
    let entry = find_crop(crop).map_err(|unknown| {
        AppError::refused("crop.unknown", unknown.to_string())
            .with_hint("choose one of: haulm crops")
    })?;
    let curves: Vec<&str> = curves()
        .iter()
        .filter(|curve| curve.crop.eq_ignore_ascii_case(&entry.name))
        .map(|curve| curve.name.as_str())
        .collect();
    let fit = |method: &About| match method.crop {
        Some(made_for) if made_for.eq_ignore_ascii_case(&entry.name) => "made for it",
        Some(_) => "no",
        None if method.predicts_yield() && curves.is_empty() => "own curve",
        None if method.predicts_yield() => "by a curve",
        None => "own numbers",
    };
    let mut sorted: Vec<&About> = METHODS.to_vec();
    sorted.sort_by_key(|method| fit(method) == "no");
    let rows = sorted
        .iter()
        .map(|method| {
            vec![
                method.name.to_owned(),
                fit(method).to_owned(),
                format!("needs {}; {}", method.needs, method.range),
            ]
        })
        .collect();
    let table = Table {
        columns: vec![
            Column::left("method"),
            Column::left(format!("for {}", entry.name)),
            Column::left("needs; stage and sensor that it is for"),
        ],
        rows,
    };
    let curve_text = if curves.is_empty() {
        format!(
            "No yield curve is shipped for {}: yield response needs one of your own, with its source.",
            entry.name
        )
    } else {
        format!("Yield curves for {}: {}.", entry.name, curves.join(", "))
    };
    let hints = vec![
        curve_text,
        "Without a curve or numbers of your own: a ramp strip gives one flat rate (haulm rate with a ramp in the job); linear ramp and class table take an adviser's rates for two or more values of the index.".to_owned(),
        format!("First job with one of them: haulm new BOUNDARY IMAGE --crop \"{}\" --method NAME", entry.name),
    ];
    let json = sorted
        .iter()
        .map(|method| json!({ "name": method.name, "fit": fit(method), "needs": method.needs, "range": method.range, "certainty": method.certainty.label() }))
        .collect::<Vec<_>>();
    Ok(Report {
        title: format!("Methods for {}", entry.name),
        blocks: vec![Block::table("", table), Block::text("", hints)],
        json: json!({ "crop": entry.name, "methods": json, "curves": curves }),
        ..Report::default()
    })
}

fn crops_and_curves() -> Judged {
    let rows = crops()
        .iter()
        .map(|crop| {
            vec![
                crop.name.clone(),
                number(Some(crop.base_celsius()), 1),
                number(crop.grain_nitrogen.map(|share| 100.0 * share), 2),
                number(Some(crop.lb_per_bu), 0),
                span(crop.window_days, 0),
                number(Some(100.0 * crop.stand_cv), 0),
                crop.certainty.label().to_owned(),
            ]
        })
        .collect();
    let columns = vec![
        Column::left("crop"),
        Column::right("base °C"),
        Column::right("grain N %"),
        Column::right("lb/bu"),
        Column::right("window d"),
        Column::right("CV %"),
        Column::left("certainty"),
    ];
    let about = crops()
        .iter()
        .map(|crop| {
            let aliases = if crop.aliases.is_empty() {
                String::new()
            } else {
                format!("also {}; ", crop.aliases.join(", "))
            };
            let ceiling = crop.ceiling_celsius().map_or_else(String::new, |ceiling| {
                format!(
                    "ceiling {ceiling:.1} °C, growing days by {}; ",
                    crop.growing_day_rule.word()
                )
            });
            let moisture = crop.grain_moisture.map_or_else(String::new, |share| {
                format!("grain at {:.1} % moisture; ", 100.0 * share)
            });
            let sensing = crop
                .sensing
                .as_ref()
                .map_or_else(String::new, |when| format!("sense at {when}; "));
            vec![
                crop.name.clone(),
                format!("{aliases}{ceiling}{moisture}{sensing}{}", crop.source),
            ]
        })
        .collect();
    let curve_rows = curves()
        .iter()
        .map(|curve| {
            let numbers = curve.curve();
            vec![
                curve.name.clone(),
                number(Some(numbers.a.get()), 0),
                number(Some(numbers.b), 1),
                curve.index.clone(),
                curve.certainty.label().to_owned(),
            ]
        })
        .collect();
    let curve_columns = vec![
        Column::left("yield curve"),
        Column::right("a kg/ha"),
        Column::right("b d"),
        Column::left("index"),
        Column::left("certainty"),
    ];
    let curve_about = curves()
        .iter()
        .map(|curve| {
            let range = match (curve.estimate_range, curve.growing_days_range) {
                (None, None) => "no stated range".to_owned(),
                (estimates, days) => format!(
                    "for I / D {} a day and D {} days",
                    span(estimates, 3),
                    span(days, 0)
                ),
            };
            let fitted: Vec<&str> = [&curve.region, &curve.sensor]
                .into_iter()
                .flatten()
                .map(String::as_str)
                .collect();
            let fitted = if fitted.is_empty() {
                "fitted where and with what: not said".to_owned()
            } else {
                fitted.join("; ")
            };
            vec![
                curve.name.clone(),
                format!("{}; {range}; {fitted}; {}", curve.crop, curve.source),
            ]
        })
        .collect();
    let json_crops = crops()
        .iter()
        .map(|crop| {
            json!({
                "name": crop.name, "aliases": crop.aliases, "base_temperature_c": crop.base_celsius(), "ceiling_temperature_c": crop.ceiling_celsius(),
                "growing_day_rule": crop.growing_day_rule.word(), "grain_nitrogen_share": crop.grain_nitrogen, "grain_moisture_share": crop.grain_moisture, "sensing": crop.sensing, "bushel_lb": crop.lb_per_bu,
                "window_days": crop.window_days.map(|(first, last)| [first, last]), "stand_cv_share": crop.stand_cv, "certainty": crop.certainty.label(), "source": crop.source,
            })
        })
        .collect::<Vec<_>>();
    let json_curves = curves()
        .iter()
        .map(|curve| {
            let numbers = curve.curve();
            json!({
                "name": curve.name, "crop": curve.crop, "a_kg_ha": numbers.a.get(), "b_d": numbers.b, "index": curve.index, "region": curve.region, "sensor": curve.sensor,
                "estimate_range_per_d": curve.estimate_range.map(|(low, high)| [low, high]), "growing_days_range": curve.growing_days_range.map(|(low, high)| [low, high]),
                "certainty": curve.certainty.label(), "source": curve.source,
            })
        })
        .collect::<Vec<_>>();
    let blocks = vec![
        Block::table("", Table { columns, rows }),
        Block::table(
            "Sources",
            Table {
                columns: vec![Column::left("crop"), Column::left("source")],
                rows: about,
            },
        ),
        Block::table(
            "Yield curves: YP0 = a · exp(b · I / D)",
            Table {
                columns: curve_columns,
                rows: curve_rows,
            },
        ),
        Block::table(
            "",
            Table {
                columns: vec![
                    Column::left("yield curve"),
                    Column::left("range and source"),
                ],
                rows: curve_about,
            },
        ),
        Block::text(
            "",
            vec![format!(
                "Nothing here is advice: a job names its curve and its maximum yield itself. {NONE} = no confirmed figure; a job must give grain nitrogen then. CV: largest variation of a stand that counts as even. A job may bring a crop and a curve of its own, with their source, or name a file of them (season.crops)."
            )],
        ),
    ];
    (
        "Crops and yield curves",
        blocks,
        json!({ "crops": json_crops, "curves": json_curves }),
    )
}

const fn kind(kind: ProductKind) -> &'static str {
    match kind {
        ProductKind::Solid => "solid",
        ProductKind::Liquid => "liquid",
        ProductKind::LiquidUnderPressure => "pressure",
    }
}

/// Temperatures, bulk, source and cautions of a product, in one paragraph.
fn about_product(row: &ProductEntry, aliases: &str) -> String {
    let mut facts = Vec::new();
    if let Some(celsius) = row.density_at_c {
        let change = row.change_per_c.map_or_else(
            || "change with temperature not known".to_owned(),
            |change| format!("{change:+.5} kg/L a °C more"),
        );
        facts.push(format!("density at {celsius:.1} °C, {change}"));
    }
    facts.extend(row.salt_out_c.map(|celsius| {
        format!(
            "salts out at about {celsius:.0} °C ({:.0} °F)",
            (celsius * 1.8 + 32.0).round() + 0.0
        )
    }));
    facts.extend(
        row.bulk_kg_m3
            .map(|(low, high)| format!("loose {low:.0} to {high:.0} kg/m3")),
    );
    let facts = if facts.is_empty() {
        String::new()
    } else {
        format!("Facts: {}. ", facts.join("; "))
    };
    let cautions: Vec<&str> = row
        .cautions
        .iter()
        .map(|caution| caution.text.as_str())
        .collect();
    format!(
        "{aliases}{facts}Source: {}. Precautions: {}.",
        row.source,
        cautions.join("; ")
    )
}

fn fertilisers() -> Judged {
    let rows = products()
        .iter()
        .map(|row| {
            vec![
                row.name.clone(),
                format!("{:.1}", 100.0 * row.nitrogen),
                number(row.kg_per_l, 4),
                number(
                    row.kg_per_l.map(|density| density * L_PER_GAL / KG_PER_LB),
                    2,
                ),
                kind(row.kind).to_owned(),
                row.certainty.label().to_owned(),
            ]
        })
        .collect();
    let columns = vec![
        Column::left("product"),
        Column::right("N %"),
        Column::right("kg/L"),
        Column::right("lb/gal"),
        Column::left("kind"),
        Column::left("certainty"),
    ];
    let about = products()
        .iter()
        .map(|row| {
            let aliases = if row.aliases.is_empty() {
                String::new()
            } else {
                format!("Also {}. ", row.aliases.join(", "))
            };
            vec![row.name.clone(), about_product(row, &aliases)]
        })
        .collect();
    let json = products()
        .iter()
        .map(|row| {
            json!({
                "name": row.name, "aliases": row.aliases, "nitrogen_share": row.nitrogen, "density_kg_l": row.kg_per_l, "density_at_c": row.density_at_c, "density_change_kg_l_per_c": row.change_per_c, "salt_out_c": row.salt_out_c, "bulk_density_kg_m3": row.bulk_kg_m3.map(|(low, high)| [low, high]), "kind": if row.kind == ProductKind::LiquidUnderPressure { "liquid under pressure" } else { kind(row.kind) }, "certainty": row.certainty.label(),
                "source": row.source, "cautions": row.cautions.iter().map(|caution| caution.text.as_str()).collect::<Vec<_>>(),
            })
        })
        .collect::<Vec<_>>();
    let blocks = vec![
        Block::table("", Table { columns, rows }),
        Block::table("Sources and precautions", Table { columns: vec![Column::left("product"), Column::left("source and cautions")], rows: about }),
        Block::text("", vec!["The label of the load, or a hydrometer at working temperature, wins over every number here.".to_owned()]),
    ];
    ("Fertiliser products", blocks, json!({ "products": json }))
}
