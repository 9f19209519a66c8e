//! What the page may change in a job, and how drawn shapes get into it.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde_json::{Value, json};
use toml_edit::DocumentMut;
use utoipa::ToSchema;

use crate::app::api::{List, list};
use crate::app::error::AppError;
use crate::app::keys as app_keys;
use crate::job::keys::table;
use crate::space::crs::{Crs, Projector};
use crate::web::edit;
use crate::web::edit::Change;
use crate::web::job::{Job, Shown};
use crate::web::refusal::Refusal;
use crate::web::state::Shared;
use crate::web::view::question_of;

/// The key table as the form needs it, with the lists that names are chosen from.
///
/// # Errors
/// None today; the table is part of the program.
pub(crate) fn keys() -> Result<Value, AppError> {
    let mut listed = app_keys::keys(None)?.json;
    if let Some(rows) = listed["keys"].as_array_mut() {
        for row in rows {
            let section = row["section"].as_str().unwrap_or_default().to_owned();
            row["question"] = question_of(&section).into();
            let name = row["name"].as_str().unwrap_or_default().to_owned();
            let known =
                table(&section).and_then(|table| table.keys.iter().find(|key| key.name == name));
            row["noun"] = known.map_or("", |key| key.noun).into();
        }
    }
    listed["sections"] = crate::job::keys::TABLES
        .iter()
        .filter(|table| !table.name.is_empty())
        .map(|table| json!({ "section": table.name, "heading": table.heading, "about": table.about, "question": question_of(table.name) }))
        .collect();
    let names = |which: List| list(which).map(|report| report.json);
    listed["lists"] = json!({
        "indices": names(List::Indices)?, "methods": names(List::Methods)?, "crops": names(List::Crops)?, "products": names(List::Products)?,
    });
    Ok(listed)
}

/// Whether the page may make a change: a key that exists, and no way out of the page's folder.
pub(crate) fn allowed(shared: &Shared, job: &Job, change: &Change) -> Result<(), Refusal> {
    let row = table(&change.section)
        .and_then(|table| table.keys.iter().find(|key| key.name == change.key));
    let Some(row) = row else {
        return Err(AppError::refused("page.key", "the job has no such key")
            .with_fact("key", format!("{}.{}", change.section, change.key))
            .into());
    };
    if (change.section.as_str(), change.key.as_str()) == ("output", "folder") {
        return Err(AppError::refused(
            "page.folder",
            "the output folder is chosen in the job file, not on the page",
        )
        .into());
    }
    let Some(text) = change
        .value
        .as_deref()
        .filter(|_| row.kind.text().contains("path"))
    else {
        return Ok(());
    };
    let Ok(value) = text.trim().parse::<toml_edit::Value>() else {
        // What is no value is refused where it is put in.
        return Ok(());
    };
    let texts: Vec<&str> = match &value {
        toml_edit::Value::Array(list) => list.iter().filter_map(toml_edit::Value::as_str).collect(),
        other => other.as_str().into_iter().collect(),
    };
    // A key that is a path or a word: words are no paths.
    let words = row.kind.text();
    for path in texts {
        if words.contains(&format!("\"{path}\"")) {
            continue;
        }
        let below = match job.file.rsplit_once('/') {
            Some((under, _)) => format!("{under}/{path}"),
            None => path.to_owned(),
        };
        if path.contains('\0') || path.contains('\\') || shared.folder().metadata(&below).is_err() {
            return Err(AppError::refused(
                "page.path",
                "the page reads only what lies in its own folder",
            )
            .with_fact(format!("{}.{}", change.section, change.key), path)
            .with_hint("put the file beside the job, or name it in the job file with an editor")
            .into());
        }
    }
    Ok(())
}

/// A stop that an adviser goes past.
#[derive(Clone, Debug, Deserialize, ToSchema)]
pub(crate) struct Accept {
    code: String,
    /// The finding's figure, as it was shown.
    figure: Option<String>,
    reason: String,
    by: String,
}

/// An entry of a list that goes.
#[derive(Clone, Debug, Deserialize, ToSchema)]
pub(crate) struct Remove {
    /// `exclude` of the field, or `accept`.
    list: String,
    /// Position in it, from 0.
    position: usize,
}

/// Takes ground that is left out, or an acceptance, out of the job.
///
/// # Errors
/// When there is no such entry.
pub(crate) fn remove(document: &mut DocumentMut, asked: &Remove) -> Result<(), AppError> {
    let path: &[&str] = match asked.list.as_str() {
        "exclude" => &["field", "exclude"],
        "accept" => &["accept"],
        other => {
            return Err(AppError::misuse(
                "page.list",
                format!("{other:?} is no list that the page changes"),
            ));
        }
    };
    edit::take(document, path, asked.position)
}

/// Puts an acceptance into the job, in place of an earlier one of the same code.
///
/// # Errors
/// Without a reason or a name.
pub(crate) fn accept(document: &mut DocumentMut, asked: &Accept) -> Result<(), AppError> {
    let (reason, by) = (asked.reason.trim(), asked.by.trim());
    if reason.is_empty() || by.is_empty() {
        return Err(AppError::refused(
            "page.accept",
            "who accepts a stop says why, and who it is",
        ));
    }
    let code = |table: &toml_edit::Table| {
        table
            .get("code")
            .and_then(toml_edit::Item::as_str)
            .map(str::to_owned)
    };
    if let Some(list) = document
        .get_mut("accept")
        .and_then(toml_edit::Item::as_array_of_tables_mut)
    {
        list.retain(|table| code(table).as_deref() != Some(asked.code.as_str()));
    }
    let figure = asked
        .figure
        .as_deref()
        .map(|figure| ("figure", figure.into()));
    let entries: Vec<(&str, toml_edit::Value)> = [("code", asked.code.as_str().into())]
        .into_iter()
        .chain(figure)
        .chain([("reason", reason.into()), ("by", by.into())])
        .collect();
    edit::add(document, &["accept"], &entries);
    Ok(())
}

/// Shapes that were drawn or typed on the page, on the working plane.
#[derive(Clone, Debug, Deserialize, ToSchema)]
pub(crate) struct Drawn {
    /// `strips`, `boundary`, `exclude` or `line`.
    layer: String,
    /// Polygons as rings of x and y, or lines as points, in metres of the working plane.
    shapes: Vec<Vec<[f64; 2]>>,
    /// Of an exclusion: how far it is grown, as `10 m`.
    buffer: Option<String>,
    /// Of an exclusion: why.
    reason: Option<String>,
}

/// Points of all shapes together.
const MOST_POINTS: usize = 20_000;

/// The shapes in longitude and latitude.
///
/// # Errors
/// When they are no shapes, or lie where the plane does not reach.
pub(crate) fn geojson(shown: &Shown, drawn: &Drawn) -> Result<String, AppError> {
    let wrong = |what: &str| AppError::refused("page.shape", what.to_owned());
    let Some(prepared) = &shown.prepared else {
        return Err(wrong("there is no image and no boundary to draw on yet"));
    };
    let line = drawn.layer == "line";
    let least = if line { 2 } else { 3 };
    let points: usize = drawn.shapes.iter().map(Vec::len).sum();
    if drawn.shapes.is_empty()
        || points > MOST_POINTS
        || drawn.shapes.iter().any(|shape| shape.len() < least)
    {
        return Err(wrong(
            "a line has two points at least, any other shape three",
        ));
    }
    let plane = &prepared.ground().plane.crs;
    let way = Projector::new(plane, &Crs::wgs84()).map_err(|error| wrong(&error.to_string()))?;
    let place = |point: &[f64; 2]| -> Result<Value, AppError> {
        if !point.iter().all(|c| c.is_finite()) {
            return Err(wrong("a point is no number"));
        }
        let (x, y) = way
            .point(point[0], point[1])
            .map_err(|error| wrong(&error.to_string()))?;
        // Nine decimals of a degree are a tenth of a millimetre.
        let round = |v: f64| libm::round(v * 1e9) / 1e9;
        Ok(json!([round(x), round(y)]))
    };
    let mut features = Vec::new();
    for shape in &drawn.shapes {
        let mut ring = shape.iter().map(place).collect::<Result<Vec<_>, _>>()?;
        let geometry = if line {
            json!({ "type": "LineString", "coordinates": ring })
        } else {
            if ring.first() != ring.last() {
                ring.push(ring[0].clone());
            }
            // RFC 7946: an exterior runs counter-clockwise.
            if signed_area(shape) < 0.0 {
                ring.reverse();
            }
            json!({ "type": "Polygon", "coordinates": [ring] })
        };
        features.push(json!({ "type": "Feature", "properties": {}, "geometry": geometry }));
    }
    Ok(format!(
        "{:#}\n",
        json!({ "type": "FeatureCollection", "features": features })
    ))
}

/// Twice the area, above 0 when the points run counter-clockwise.
fn signed_area(shape: &[[f64; 2]]) -> f64 {
    let next = shape.iter().skip(1).chain(shape.first());
    shape
        .iter()
        .zip(next)
        .map(|(a, b)| {
            (a[0] - shape[0][0]) * (b[1] - shape[0][1])
                - (b[0] - shape[0][0]) * (a[1] - shape[0][1])
        })
        .sum()
}

/// Puts shapes into a file of the page's own beside the job, and its name into the job. Files that others made stay as they are.
///
/// # Errors
/// When the layer is none that can be drawn.
pub(crate) fn draw(
    document: &mut DocumentMut,
    shapes: &mut BTreeMap<String, String>,
    job: &str,
    drawn: &Drawn,
    text: String,
) -> Result<(), AppError> {
    let (under, name) = job
        .rsplit_once('/')
        .map_or(("", job), |(under, name)| (under, name));
    let stem = name.strip_suffix(".toml").unwrap_or(name);
    let place = |file: &str| {
        if under.is_empty() {
            file.to_owned()
        } else {
            format!("{under}/{file}")
        }
    };
    let set = |document: &mut DocumentMut, section: &str, key: &str, file: &str| {
        edit::apply(
            document,
            &Change {
                section: section.to_owned(),
                key: key.to_owned(),
                value: Some(toml_edit::Value::from(file).to_string()),
            },
        )
    };
    let file = match drawn.layer.as_str() {
        "strips" => {
            let file = format!("{stem}_drawn_strips.geojson");
            for other in ["readings", "percentile"] {
                if let Some(reference) = document
                    .get_mut("reference")
                    .and_then(toml_edit::Item::as_table_like_mut)
                {
                    reference.remove(other);
                }
            }
            set(document, "reference", "strips", &file)?;
            file
        }
        "boundary" => {
            let file = format!("{stem}_drawn_boundary.geojson");
            set(document, "field", "boundary", &file)?;
            file
        }
        "line" => {
            let file = format!("{stem}_drawn_line.geojson");
            if let Some(machine) = document
                .get_mut("machine")
                .and_then(toml_edit::Item::as_table_like_mut)
            {
                machine.remove("heading");
            }
            set(document, "machine.heading", "line", &file)?;
            file
        }
        "exclude" => {
            let number = (1..=10_000)
                .find(|n| {
                    !shapes.contains_key(&place(&format!("{stem}_drawn_exclusion_{n}.geojson")))
                })
                .unwrap_or(1);
            let file = format!("{stem}_drawn_exclusion_{number}.geojson");
            let mut entries = vec![("path", toml_edit::Value::from(file.as_str()))];
            if let Some(buffer) = drawn
                .buffer
                .as_deref()
                .filter(|text| !text.trim().is_empty())
            {
                entries.push(("buffer", buffer.trim().into()));
            }
            if let Some(reason) = drawn
                .reason
                .as_deref()
                .filter(|text| !text.trim().is_empty())
            {
                entries.push(("reason", reason.trim().into()));
            }
            edit::add(document, &["field", "exclude"], &entries);
            file
        }
        other => {
            return Err(AppError::misuse(
                "page.layer",
                format!("{other:?} cannot be drawn"),
            ));
        }
    };
    shapes.insert(place(&file), text);
    Ok(())
}
