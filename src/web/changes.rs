//! What the page may change in a job, and how drawn shapes get into it.

use std::collections::BTreeMap;

use cap_std::fs::Dir;
use serde::Deserialize;
use serde_json::{Value, json};
use toml_edit::DocumentMut;
use utoipa::ToSchema;

use crate::app::api::{List, list};
use crate::app::error::AppError;
use crate::app::keys as app_keys;
use crate::app::prepare::Prepared;
use crate::job::keys::rate::SET;
use crate::job::keys::{FIELD, table};
use crate::space::crs::{Crs, Projector};
use crate::space::polygon::carried;
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
    /// The list, dotted: `field.exclude`, `accept`, `rate.set`.
    list: String,
    /// Position in it, from 0.
    position: usize,
}

/// Keys of a table in a list of tables, or a table that joins it.
#[derive(Clone, Debug, Deserialize, ToSchema)]
pub(crate) struct Entry {
    /// The list, dotted: `field.exclude`, `accept`, `rate.set`.
    list: String,
    /// Position in it, from 0; none for a table that joins it.
    position: Option<usize>,
    /// Its keys with their values as they would stand in the job; a key without one goes.
    values: Vec<EntryValue>,
}

/// A key of a table in a list.
#[derive(Clone, Debug, Deserialize, ToSchema)]
pub(crate) struct EntryValue {
    key: String,
    value: Option<String>,
}

/// The path of a list of tables that the job knows.
fn list_path(list: &str) -> Result<Vec<&str>, AppError> {
    let known = crate::job::keys::TABLES
        .iter()
        .flat_map(|table| table.keys)
        .any(|key| key.kind.tables() == Some(list));
    if known {
        Ok(list.split('.').collect())
    } else {
        Err(AppError::misuse(
            "page.list",
            format!("{list:?} is no list of the job"),
        ))
    }
}

/// Takes an entry out of a list of the job.
///
/// # Errors
/// When there is no such entry.
pub(crate) fn remove(document: &mut DocumentMut, asked: &Remove) -> Result<(), AppError> {
    edit::take(document, &list_path(&asked.list)?, asked.position)
}

/// The changes of an entry, each with its section, to be looked at like any other.
pub(crate) fn changes_of(asked: &Entry) -> Vec<Change> {
    asked
        .values
        .iter()
        .map(|each| Change {
            section: asked.list.clone(),
            key: each.key.clone(),
            value: each.value.clone(),
        })
        .collect()
}

/// Changes an entry of a list, or adds one.
///
/// # Errors
/// When there is no such list or entry, or a value is none that a form can write.
pub(crate) fn entry(document: &mut DocumentMut, asked: &Entry) -> Result<(), AppError> {
    let path = list_path(&asked.list)?;
    let position = if let Some(position) = asked.position {
        position
    } else {
        edit::add(document, &path, &[])?;
        edit::length(document, &path) - 1
    };
    changes_of(asked)
        .iter()
        .try_for_each(|change| edit::put(document, &path, position, change))
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
    edit::add(document, &["accept"], &entries)
}

/// Shapes that were drawn or typed on the page, on the working plane.
#[derive(Clone, Debug, Deserialize, ToSchema)]
pub(crate) struct Drawn {
    /// `strips`, `boundary`, `exclude`, `set` or `line`.
    layer: String,
    /// Polygons as rings of x and y, or lines as points, in metres of the working plane.
    shapes: Vec<Vec<[f64; 2]>>,
    /// Polygons with holes, in place of `shapes`: rings of each, the outer one first.
    #[serde(default)]
    polygons: Vec<Vec<Vec<[f64; 2]>>>,
    /// The entry of `field.exclude` or `rate.set` whose shape it becomes, from 0; none for ground that joins them.
    position: Option<usize>,
    /// Of an exclusion: how far it is grown, as `10 m`.
    buffer: Option<String>,
    /// Of an exclusion, and of a rate that is set by hand: why.
    reason: Option<String>,
    /// Of ground whose rate is set by hand: the key of `rate.set` that says how.
    set: Option<String>,
    /// And how much, as `40 kg N/ha`.
    amount: Option<String>,
    /// A zone of the map that is shown, whose outline is taken instead of drawn shapes: its number changes with any setting, the ground does not.
    zone: Option<u32>,
    /// The decision that the zone's number is of.
    decided: Option<u64>,
}

/// Points of all shapes together.
const MAXIMUM_POINTS: usize = 20_000;

/// The shapes in longitude and latitude.
///
/// # Errors
/// When they are no shapes, or lie where the plane does not reach.
pub(crate) fn geojson(shown: &Shown, drawn: &Drawn) -> Result<String, AppError> {
    let wrong = |what: &str| AppError::refused("page.shape", what.to_owned());
    let Some(prepared) = &shown.prepared else {
        return Err(wrong("there is no image and no boundary to draw on yet"));
    };
    if let Some(zone) = drawn.zone {
        return of_zone(shown, prepared, zone, drawn.decided);
    }
    let line = drawn.layer == "line";
    let minimum = if line { 2 } else { 3 };
    let polygons: Vec<Vec<Vec<[f64; 2]>>> = if drawn.polygons.is_empty() || line {
        drawn
            .shapes
            .iter()
            .map(|shape| vec![shape.clone()])
            .collect()
    } else {
        drawn.polygons.clone()
    };
    let rings = || polygons.iter().flatten();
    let points: usize = rings().map(Vec::len).sum();
    if polygons.is_empty()
        || points > MAXIMUM_POINTS
        || polygons.iter().any(Vec::is_empty)
        || rings().any(|shape| shape.len() < minimum)
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
    // RFC 7946: an exterior runs counter-clockwise, a hole the other way.
    let ring = |(k, shape): (usize, &Vec<[f64; 2]>)| -> Result<Vec<Value>, AppError> {
        let mut ring = shape.iter().map(place).collect::<Result<Vec<_>, _>>()?;
        if ring.first() != ring.last() {
            ring.push(ring[0].clone());
        }
        if (signed_area(shape) < 0.0) == (k == 0) {
            ring.reverse();
        }
        Ok(ring)
    };
    let mut features = Vec::new();
    for polygon in &polygons {
        let geometry = if line {
            let points = polygon[0]
                .iter()
                .map(place)
                .collect::<Result<Vec<_>, _>>()?;
            json!({ "type": "LineString", "coordinates": points })
        } else {
            let rings = polygon
                .iter()
                .enumerate()
                .map(ring)
                .collect::<Result<Vec<_>, _>>()?;
            json!({ "type": "Polygon", "coordinates": rings })
        };
        features.push(json!({ "type": "Feature", "properties": {}, "geometry": geometry }));
    }
    Ok(format!(
        "{:#}\n",
        json!({ "type": "FeatureCollection", "features": features })
    ))
}

/// The outline of a zone of the map that is shown, in longitude and latitude.
fn of_zone(
    shown: &Shown,
    prepared: &Prepared,
    zone: u32,
    decided: Option<u64>,
) -> Result<String, AppError> {
    let wrong = |what: &str| AppError::refused("page.zone", what.to_owned());
    if decided.is_some_and(|decided| decided != shown.decided) {
        return Err(wrong("the map has changed since the zone was chosen")
            .with_hint("choose it again: zones are numbered anew with every change"));
    }
    let decision = shown
        .decision
        .as_ref()
        .ok_or_else(|| wrong("there is no map yet"))?;
    let zones = &decision.outcome().prescription.zones;
    let found = zones
        .iter()
        .find(|each| each.zone == zone)
        .ok_or_else(|| wrong("the map has no such zone"))?;
    let plane = &prepared.ground().plane.crs;
    let way = Projector::new(plane, &Crs::wgs84()).map_err(|error| wrong(&error.to_string()))?;
    let shape = carried(&found.outline, &way).map_err(|error| wrong(&error.to_string()))?;
    let ring = |line: &geo::LineString<f64>| -> Value {
        let round = |v: f64| libm::round(v * 1e9) / 1e9;
        line.coords()
            .map(|c| json!([round(c.x), round(c.y)]))
            .collect()
    };
    let polygons: Value = shape
        .iter()
        .map(|polygon| -> Value {
            std::iter::once(polygon.exterior())
                .chain(polygon.interiors())
                .map(ring)
                .collect()
        })
        .collect();
    Ok(format!(
        "{:#}\n",
        json!({ "type": "FeatureCollection", "features": [{ "type": "Feature", "properties": {}, "geometry": { "type": "MultiPolygon", "coordinates": polygons } }] })
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

/// A numbered name that no file has yet, here or in an undone step.
fn free(
    shapes: &BTreeMap<String, String>,
    place: &impl Fn(&str) -> String,
    folder: &Dir,
    name: &str,
) -> String {
    let file = |number: usize| format!("{name}_{number}.geojson");
    (1..=10_000)
        .map(file)
        .find(|file| {
            !shapes.contains_key(&place(file)) && folder.symlink_metadata(place(file)).is_err()
        })
        .unwrap_or_else(|| file(1))
}

/// The page's own name for a layer, if nobody else's file has it: what another session drew stays, so that going back finds it.
fn own(
    shapes: &BTreeMap<String, String>,
    place: &impl Fn(&str) -> String,
    folder: &Dir,
    name: &str,
) -> String {
    let file = format!("{name}.geojson");
    if shapes.contains_key(&place(&file)) || folder.symlink_metadata(place(&file)).is_err() {
        file
    } else {
        free(shapes, place, folder, name)
    }
}

/// Puts a value into the job.
fn set_value(
    document: &mut DocumentMut,
    section: &str,
    key: &str,
    value: &str,
) -> Result<(), AppError> {
    edit::apply(
        document,
        &Change {
            section: section.to_owned(),
            key: key.to_owned(),
            value: Some(value.to_owned()),
        },
    )
}

/// Has an entry of a list read another file, whole.
fn point_to(
    document: &mut DocumentMut,
    path: &[&str],
    position: usize,
    file: &str,
) -> Result<(), AppError> {
    let text = toml_edit::Value::from(file).to_string();
    for (key, value) in [
        (SET.layer.name, None),
        (SET.r#where.name, None),
        (SET.path.name, Some(text)),
    ] {
        let change = Change {
            section: path.join("."),
            key: key.to_owned(),
            value,
        };
        edit::put(document, path, position, &change)?;
    }
    Ok(())
}

/// Puts shapes into a file of the page's own beside the job, and its name into the job. Files that others made stay as they are.
///
/// # Errors
/// When the layer is none that can be drawn.
pub(crate) fn draw(
    document: &mut DocumentMut,
    shapes: &mut BTreeMap<String, String>,
    (job, folder): (&str, &Dir),
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
        set_value(
            document,
            section,
            key,
            &toml_edit::Value::from(file).to_string(),
        )
    };
    let file = match drawn.layer.as_str() {
        "strips" => {
            let file = own(shapes, &place, folder, &format!("{stem}_drawn_strips"));
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
            let file = own(shapes, &place, folder, &format!("{stem}_drawn_boundary"));
            if drawn.polygons.len() > 1 {
                // A boundary of several pieces is one field: that is what was drawn.
                set_value(document, FIELD.merge.section, FIELD.merge.name, "true")?;
            }
            set(document, "field", "boundary", &file)?;
            file
        }
        "line" => {
            let file = own(shapes, &place, folder, &format!("{stem}_drawn_line"));
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
            let file = free(shapes, &place, folder, &format!("{stem}_drawn_exclusion"));
            if let Some(position) = drawn.position {
                point_to(document, &["field", "exclude"], position, &file)?;
                shapes.insert(place(&file), text);
                return Ok(());
            }
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
            edit::add(document, &["field", "exclude"], &entries)?;
            file
        }
        "set" => {
            let file = free(shapes, &place, folder, &format!("{stem}_drawn_set"));
            if let Some(position) = drawn.position {
                point_to(document, &["rate", "set"], position, &file)?;
                shapes.insert(place(&file), text);
                return Ok(());
            }
            let ways = [SET.rate.name, SET.add.name, SET.at_most.name];
            let way = ways
                .into_iter()
                .find(|way| drawn.set.as_deref() == Some(*way))
                .ok_or_else(|| {
                    AppError::misuse(
                        "page.set",
                        format!("a rate is set by one of {}", ways.join(", ")),
                    )
                })?;
            let text =
                |text: &Option<String>| text.as_deref().unwrap_or_default().trim().to_owned();
            let (amount, reason) = (text(&drawn.amount), text(&drawn.reason));
            if amount.is_empty() || reason.is_empty() {
                return Err(AppError::refused(
                    "page.set",
                    "a rate that is set by hand needs its amount and a reason",
                )
                .with_hint("write the amount with its unit, as 40 kg N/ha, and why"));
            }
            let entries = [
                (SET.path.name, file.as_str().into()),
                (way, amount.into()),
                (SET.reason.name, reason.into()),
            ];
            edit::add(document, &["rate", "set"], &entries)?;
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
