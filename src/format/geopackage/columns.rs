//! Which columns each layer has, and how a record fills them. Names are a contract with scripts: add, never rename.

use crate::units::NRate;
use crate::units::Yield;
use crate::units::half_up_to_hundredth;
use crate::zones::prescription::CellRecord;
use crate::zones::prescription::Prescription;
use crate::zones::prescription::StripRecord;
use crate::zones::prescription::ZoneRecord;
use geo::Area;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Whole numbers.
    Whole,
    /// Numbers.
    Real,
    /// Words.
    Text,
}

/// One value of a row; `None` is null.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Value {
    /// A whole number.
    Whole(i64),
    /// A number.
    Real(Option<f64>),
    /// A word.
    Text(Option<String>),
}

/// A layer: name, what it is in a sentence, columns.
#[derive(Clone, Copy, Debug)]
pub(super) struct Layer {
    /// Table name.
    pub(super) name: &'static str,
    /// For people.
    pub(super) description: &'static str,
    /// Whether places are found by an index. It costs two thirds of a row's time, and cells come in row and column order as it is.
    pub(super) indexed: bool,
    /// Names and kinds.
    pub(super) columns: &'static [(&'static str, Kind)],
}

/// Zones.
pub(super) const ZONES: Layer = Layer {
    name: "zones",
    description: "Nitrogen zones: one rate each. Product rate as decided, before the machine's least and greatest rate",
    indexed: true,
    columns: &[
        ("zone", Kind::Whole),
        ("product_rate", Kind::Real),
        ("product_unit", Kind::Text),
        ("n_kg_ha", Kind::Real),
        ("area_m2", Kind::Real),
        ("index", Kind::Real),
        ("cells", Kind::Whole),
        ("state", Kind::Text),
    ],
};

/// Cells.
pub(super) const CELLS: Layer = Layer {
    name: "cells",
    description: "Machine cells: what was measured and computed for each, before zones were made",
    indexed: false,
    columns: &[
        ("row", Kind::Whole),
        ("col", Kind::Whole),
        ("area_m2", Kind::Real),
        ("seen", Kind::Real),
        ("bare", Kind::Real),
        ("index", Kind::Real),
        ("index_se", Kind::Real),
        ("ratio_raw", Kind::Real),
        ("ratio", Kind::Real),
        ("yield_without_n_kg_ha", Kind::Real),
        ("yield_with_n_kg_ha", Kind::Real),
        ("n_raw_kg_ha", Kind::Real),
        ("n_exact_kg_ha", Kind::Real),
        ("n_kg_ha", Kind::Real),
        ("capped", Kind::Text),
        ("beyond", Kind::Whole),
        ("state", Kind::Text),
        ("zone", Kind::Whole),
    ],
};

/// Reference strips.
pub(super) const STRIPS: Layer = Layer {
    name: "strips",
    description: "Reference strips as drawn, with the index of strip and comparison swaths",
    indexed: true,
    columns: &[
        ("strip", Kind::Whole),
        ("index", Kind::Real),
        ("beside", Kind::Real),
        ("estimator", Kind::Text),
        ("pixels", Kind::Whole),
        ("segments_dropped", Kind::Whole),
        ("left_out", Kind::Whole),
    ],
};

/// The field.
pub(super) const FIELD: Layer = Layer {
    name: "field",
    description: "The field: boundary less exclusions with their buffers",
    indexed: true,
    columns: &[("name", Kind::Text), ("map_id", Kind::Text), ("area_m2", Kind::Real), ("n_kg", Kind::Real)],
};

pub(super) fn zone(prescription: &Prescription, zone: &ZoneRecord) -> Vec<Value> {
    let product = prescription.product.as_ref();
    vec![
        Value::Whole(zone.zone.into()),
        Value::Real(product.map(|_| half_up_to_hundredth(prescription.shown(zone.n)))),
        Value::Text(product.map(|_| prescription.rate_label().to_owned())),
        Value::Real(Some(zone.n.get())),
        Value::Real(Some(zone.area.get())),
        Value::Real(zone.index),
        Value::Whole(zone.cells.into()),
        Value::Text(Some(zone.state.word().to_owned())),
    ]
}

pub(super) fn cell(cell: &CellRecord) -> Vec<Value> {
    vec![
        Value::Whole(cell.row.into()),
        Value::Whole(cell.col.into()),
        Value::Real(Some(cell.area.get())),
        Value::Real(Some(cell.seen.get())),
        Value::Real(Some(cell.bare.get())),
        Value::Real(cell.index),
        Value::Real(cell.index_se),
        Value::Real(cell.ratio_raw),
        Value::Real(cell.ratio),
        Value::Real(cell.yield_without.map(Yield::get)),
        Value::Real(cell.yield_with.map(Yield::get)),
        Value::Real(cell.n_raw.map(NRate::get)),
        Value::Real(cell.n_exact.map(NRate::get)),
        Value::Real(Some(cell.n.get())),
        Value::Text(Some(cell.capped.word().to_owned())),
        Value::Whole(cell.beyond.into()),
        Value::Text(Some(cell.state.word().to_owned())),
        Value::Whole(cell.zone.into()),
    ]
}

pub(super) fn strip(strip: &StripRecord) -> Vec<Value> {
    vec![
        Value::Whole(strip.strip.into()),
        Value::Real(strip.index),
        Value::Real(strip.beside),
        Value::Text(strip.estimator.map(str::to_owned)),
        Value::Whole(i64::try_from(strip.pixels).unwrap_or(i64::MAX)),
        Value::Whole(strip.segments_dropped.into()),
        Value::Whole(strip.left_out.into()),
    ]
}

pub(super) fn field(prescription: &Prescription) -> Vec<Value> {
    vec![
        Value::Text(Some(prescription.field_name.clone())),
        Value::Text(Some(prescription.map_id.clone())),
        Value::Real(Some(prescription.field.unsigned_area())),
        Value::Real(Some(prescription.total_n_kg)),
    ]
}
