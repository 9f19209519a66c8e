//! What a field gets from layers: values of columns, and its reference strips.

use std::collections::BTreeMap;
use std::path::Path;

use crate::app::error::AppError;
use crate::app::held::Held;
use crate::app::new_fields::{NamedField, identifier};
use crate::format::vector::{Features, VectorLayer};
use crate::job::farm::FarmLayer;
use crate::job::settings::VectorSource;
use crate::job::suggest::nearest;
use crate::pipeline::error::StepError;
use crate::space::crs::Projector;
use geo::{Area as _, BooleanOps as _, BoundingRect as _, MultiPolygon};
use rstar::{AABB, RTree, primitives::GeomWithData, primitives::Rectangle};

/// Share of a strip that must lie in a field, or it is the neighbour's that reaches over. Own rule.
const MINIMUM_SHARE: f64 = 0.05;

/// The place of a column.
///
/// # Errors
/// When the layer has no such column; `what` is for the message.
pub(super) fn column(
    features: &Features,
    name: &str,
    path: &Path,
    what: &str,
) -> Result<usize, AppError> {
    let names = || features.columns.iter().map(|(name, _)| name.as_str());
    if let Some(at) = names().position(|known| known.eq_ignore_ascii_case(name)) {
        return Ok(at);
    }
    let notice = AppError::refused(
        "farm.column",
        format!("there is no column {name:?} for {what}"),
    )
    .with_fact(
        path.display().to_string(),
        format!("columns: {}", names().collect::<Vec<_>>().join(", ")),
    );
    Err(match nearest(name, names()) {
        Some(near) => notice.with_hint(format!("did you mean {near:?}?")),
        None => notice.with_hint("name one of them"),
    })
}

/// Which rows of the layer of strips belong to each field, in file order.
///
/// # Errors
/// When the column of field names is not there, or the strips cannot be carried into the system of the fields.
pub(super) fn strips(
    layer: &FarmLayer,
    (path, strips): (&Path, &Features),
    fields: &Features,
    named: &[NamedField],
) -> Result<Vec<Vec<usize>>, AppError> {
    match &layer.column {
        Some(name) => {
            let at = column(strips, name, path, "the strips' fields")?;
            Ok(by_name(strips, at, named))
        }
        None => by_place(path, strips, fields),
    }
}

fn by_name(strips: &Features, at: usize, named: &[NamedField]) -> Vec<Vec<usize>> {
    let mut of: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (k, row) in strips.rows.iter().enumerate() {
        if let Some(Some(name)) = row.values.get(at) {
            of.entry(name.as_str()).or_default().push(k);
        }
    }
    named
        .iter()
        .map(|field| of.remove(field.name.as_str()).unwrap_or_default())
        .collect()
}

fn by_place(
    path: &Path,
    strips: &Features,
    fields: &Features,
) -> Result<Vec<Vec<usize>>, AppError> {
    let way = Projector::new(&strips.crs, &fields.crs).map_err(StepError::from)?;
    let mut carried: Vec<Option<MultiPolygon<f64>>> = Vec::new();
    for row in &strips.rows {
        let shape = row
            .shape
            .as_ref()
            .map(|shape| way.geometry(&shape.geometry));
        carried.push(shape.transpose().map_err(|error| {
            AppError::from(StepError::from(error))
                .with_fact(path.display().to_string(), "reference strips")
        })?);
    }
    let boxed = |(k, shape): (usize, &Option<MultiPolygon<f64>>)| {
        let bounds = shape.as_ref()?.bounding_rect()?;
        let corners = Rectangle::from_corners(
            [bounds.min().x, bounds.min().y],
            [bounds.max().x, bounds.max().y],
        );
        Some(GeomWithData::new(corners, k))
    };
    let tree = RTree::bulk_load(carried.iter().enumerate().filter_map(boxed).collect());
    let of_field = |shape: &MultiPolygon<f64>| {
        let Some(bounds) = shape.bounding_rect() else {
            return Vec::new();
        };
        let around = AABB::from_corners(
            [bounds.min().x, bounds.min().y],
            [bounds.max().x, bounds.max().y],
        );
        let mut found: Vec<usize> = tree
            .locate_in_envelope_intersecting(around)
            .map(|near| near.data)
            .filter(|k| {
                carried[*k].as_ref().is_some_and(|strip| {
                    let inside = strip.intersection(shape).unsigned_area();
                    inside >= MINIMUM_SHARE * strip.unsigned_area() && inside > 0.0
                })
            })
            .collect();
        found.sort_unstable();
        found
    };
    Ok(fields
        .rows
        .iter()
        .map(|row| {
            let shape = row.shape.as_ref();
            shape.map_or_else(Vec::new, |shape| of_field(&shape.geometry))
        })
        .collect())
}

/// The filter that picks these strips; `None` for none.
pub(super) fn filter_of(layer: &FarmLayer, strips: &Features, rows: &[usize]) -> Option<String> {
    let numbers: Vec<String> = rows
        .iter()
        .map(|k| strips.rows[*k].number.to_string())
        .collect();
    let own = format!(
        "{} IN ({})",
        identifier(strips.number_column),
        numbers.join(", ")
    );
    (!numbers.is_empty()).then(|| match &layer.filter {
        Some(filter) => format!("({filter}) AND {own}"),
        None => own,
    })
}

/// Keeps these strips under the filter that a field's job has, if each of them is sound.
pub(super) fn keep_strips(
    held: &Held,
    (layer, path, filter): (&FarmLayer, &Path, &str),
    strips: &Features,
    rows: &[usize],
) {
    let shapes: Option<Vec<_>> = rows.iter().map(|k| strips.rows[*k].shape.clone()).collect();
    if let Some(shapes) = shapes {
        let source = VectorSource {
            path: path.to_owned(),
            layer: layer.layer.clone(),
            filter: Some(filter.to_owned()),
            merge: false,
        };
        let kept = VectorLayer {
            crs: strips.crs.clone(),
            shapes,
        };
        held.keep_layer(&source, kept);
    }
}
