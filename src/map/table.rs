//! Tables of a map: which named columns each has, and how a record fills them. Names are a contract with scripts: add, never rename. Maps in US units have columns in
//! pounds and acres besides (`us_columns`).

use std::borrow::Cow;

use geo::{Area, MultiPolygon};

use crate::map::prescription::{CellRecord, Prescription, StripRecord, ZoneRecord};
use crate::map::rate_map::{RateMap, RateZone};
use crate::map::us_columns;
use crate::units::{NRate, Yield, half_up_to_hundredth};

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Whole numbers.
    Whole,
    /// Numbers.
    Real,
    /// Words.
    Text,
}

/// One value of a row; `None` is null.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A whole number.
    Whole(i64),
    /// A number.
    Real(Option<f64>),
    /// A word.
    Text(Option<Cow<'static, str>>),
}

/// A row: ground and its values, one a column.
#[derive(Clone, Debug)]
pub struct Row<'a> {
    /// The ground.
    pub outline: Cow<'a, MultiPolygon<f64>>,
    /// Values in the order of the columns.
    pub values: Vec<Value>,
}

/// Name, kind, and what a column holds with the unit.
pub type Column = (&'static str, Kind, &'static str);

/// A kind of table: name, what it is in a sentence, columns.
#[derive(Clone, Copy, Debug)]
pub struct Table {
    /// Table name.
    pub name: &'static str,
    /// For people.
    pub description: &'static str,
    /// Whether places are found by an index. It costs two thirds of a row's time, and cells come in row and column order as it is;
    /// a layer of a few shapes is read as a whole.
    pub indexed: bool,
    /// Whether there may be a hundred thousand rows.
    pub is_large: bool,
    /// Columns in their order.
    pub columns: &'static [Column],
}

/// Zones.
pub const ZONES: Table = Table {
    name: "zones",
    description: "Nitrogen zones: one rate each. Product rate as decided, before the machine's least and greatest rate",
    indexed: true,
    is_large: false,
    columns: &[
        ("zone", Kind::Whole, "Number of the zone, from 1"),
        (
            "product_rate",
            Kind::Real,
            "Product per area as decided, in the unit of product_unit; null without a product",
        ),
        (
            "product_unit",
            Kind::Text,
            "Unit of product_rate: kg/ha, L/ha, lb/ac or gal/ac",
        ),
        ("n_kg_ha", Kind::Real, "Nitrogen as the element [kg N/ha]"),
        (
            "area_m2",
            Kind::Real,
            "Area inside the field on the working plane [m2]",
        ),
        (
            "index",
            Kind::Real,
            "Mean canopy index of what was seen as crop [no unit]",
        ),
        ("cells", Kind::Whole, "How many machine cells [count]"),
        (
            "state",
            Kind::Text,
            "What it is: canopy, thin, bare, unseen or sliver",
        ),
        (
            "n_p10_kg_ha",
            Kind::Real,
            "P10 of the Monte Carlo draws, the low end of the 80 % range; null where there is no value [kg N/ha]",
        ),
        (
            "n_p90_kg_ha",
            Kind::Real,
            "P90 of the Monte Carlo draws, the high end of the 80 % range; null where there is no value [kg N/ha]",
        ),
    ],
};

/// Cells.
pub const CELLS: Table = Table {
    name: "cells",
    description: "Machine cells: what was measured and computed for each, before zones were made",
    indexed: false,
    is_large: true,
    columns: &[
        (
            "row",
            Kind::Whole,
            "Row of the machine grid along the heading, from 0",
        ),
        (
            "col",
            Kind::Whole,
            "Column of the machine grid to the left of the heading, from 0",
        ),
        (
            "area_m2",
            Kind::Real,
            "Area inside the field on the working plane [m2]",
        ),
        ("seen", Kind::Real, "Share that the image shows [0 to 1]"),
        (
            "bare",
            Kind::Real,
            "Share that was seen and is bare [0 to 1]",
        ),
        (
            "index",
            Kind::Real,
            "Mean canopy index of what was seen as crop [no unit]",
        ),
        (
            "index_se",
            Kind::Real,
            "Standard error of a kriged index; null for images and means [no unit]",
        ),
        (
            "ratio_raw",
            Kind::Real,
            "Reference over cell as measured [no unit]",
        ),
        (
            "ratio",
            Kind::Real,
            "The ratio used, adjusted and held [no unit]",
        ),
        (
            "yield_without_n_kg_ha",
            Kind::Real,
            "Yield in reach with no nitrogen added now [kg/ha]",
        ),
        (
            "yield_with_n_kg_ha",
            Kind::Real,
            "Yield in reach with nitrogen [kg/ha]",
        ),
        (
            "n_raw_kg_ha",
            Kind::Real,
            "Nitrogen before limits [kg N/ha]",
        ),
        (
            "n_exact_kg_ha",
            Kind::Real,
            "Nitrogen within limits, not rounded [kg N/ha]",
        ),
        ("n_kg_ha", Kind::Real, "Nitrogen as the element [kg N/ha]"),
        (
            "capped",
            Kind::Text,
            "Where the maximum yield bound: none, without or with",
        ),
        (
            "beyond",
            Kind::Whole,
            "1 if it asks for more than the strip ever showed, else 0",
        ),
        (
            "state",
            Kind::Text,
            "What it is: canopy, thin, bare, unseen or sliver",
        ),
        ("zone", Kind::Whole, "Number of the zone, from 1"),
        (
            "n_p10_kg_ha",
            Kind::Real,
            "P10 of the Monte Carlo draws, the low end of the 80 % range; null where there is no value [kg N/ha]",
        ),
        (
            "n_p90_kg_ha",
            Kind::Real,
            "P90 of the Monte Carlo draws, the high end of the 80 % range; null where there is no value [kg N/ha]",
        ),
        (
            "area",
            Kind::Whole,
            "Part of the field that is driven one way: 0 along machine.heading, from 1 the areas of the job in their order",
        ),
    ],
};

/// Zones of a map that came in another format.
pub const CONVERTED: Table = Table {
    name: "zones",
    description: "Zones of a map turned from another format: one rate each",
    indexed: true,
    is_large: false,
    columns: &[
        ("zone", Kind::Whole, "Number of the zone, from 1"),
        (
            "product_rate",
            Kind::Real,
            "Product per area, in the unit of product_unit; null where only nitrogen is known",
        ),
        (
            "product_unit",
            Kind::Text,
            "Unit of product_rate: kg/ha, L/ha, lb/ac or gal/ac",
        ),
        (
            "n_kg_ha",
            Kind::Real,
            "Nitrogen as the element; null where the product's nitrogen is not known [kg N/ha]",
        ),
        ("area_m2", Kind::Real, "Area on the ellipsoid [m2]"),
    ],
};

/// Reference strips.
pub const STRIPS: Table = Table {
    name: "strips",
    description: "Reference strips as drawn, with the index of strip and comparison swaths",
    indexed: false,
    is_large: false,
    columns: &[
        ("strip", Kind::Whole, "Number of the strip, from 1"),
        (
            "index",
            Kind::Real,
            "Mean canopy index of what was seen as crop [no unit]",
        ),
        (
            "beside",
            Kind::Real,
            "Mean canopy index of the ground beside the strip [no unit]",
        ),
        (
            "estimator",
            Kind::Text,
            "How the strip was measured: fine or coarse",
        ),
        ("pixels", Kind::Whole, "Pixels used [count]"),
        (
            "segments_dropped",
            Kind::Whole,
            "Segments dropped as unlike the rest [count]",
        ),
        (
            "left_out",
            Kind::Whole,
            "1 if the strip is left out of the reference, else 0",
        ),
    ],
};

/// The field.
pub const FIELD: Table = Table {
    name: "field",
    description: "The field: boundary less exclusions with their buffers",
    indexed: false,
    is_large: false,
    columns: &[
        ("name", Kind::Text, "Name of the field"),
        (
            "map_id",
            Kind::Text,
            "Id of the map, first six characters of its hash",
        ),
        (
            "area_m2",
            Kind::Real,
            "Area inside the field on the working plane [m2]",
        ),
        ("n_kg", Kind::Real, "Nitrogen in total, from zones [kg N]"),
    ],
};

pub(super) fn zone(prescription: &Prescription, zone: &ZoneRecord) -> Vec<Value> {
    let product = prescription.product.as_ref();
    let values = vec![
        Value::Whole(zone.zone.into()),
        Value::Real(product.map(|_| half_up_to_hundredth(prescription.shown(zone.n)))),
        Value::Text(product.map(|_| prescription.rate_label().into())),
        Value::Real(Some(zone.n.get())),
        Value::Real(Some(zone.area.get())),
        Value::Real(zone.index),
        Value::Whole(zone.cells.into()),
        Value::Text(Some(zone.state.word().into())),
        Value::Real(zone.n_low.map(NRate::get)),
        Value::Real(zone.n_high.map(NRate::get)),
    ];
    us_columns::values(&ZONES, values, prescription.unit.is_us())
}

pub(super) fn cell(cell: &CellRecord, area: usize, us: bool) -> Vec<Value> {
    let values = vec![
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
        Value::Text(Some(cell.capped.word().into())),
        Value::Whole(cell.beyond.into()),
        Value::Text(Some(cell.state.word().into())),
        Value::Whole(cell.zone.into()),
        Value::Real(cell.n_low.map(NRate::get)),
        Value::Real(cell.n_high.map(NRate::get)),
        Value::Whole(i64::try_from(area).unwrap_or(i64::MAX)),
    ];
    us_columns::values(&CELLS, values, us)
}

pub(super) fn strip(strip: &StripRecord) -> Vec<Value> {
    vec![
        Value::Whole(strip.strip.into()),
        Value::Real(strip.index),
        Value::Real(strip.beside),
        Value::Text(strip.estimator.map(Cow::from)),
        Value::Whole(i64::try_from(strip.pixels).unwrap_or(i64::MAX)),
        Value::Whole(strip.segments_dropped.into()),
        Value::Whole(strip.left_out.into()),
    ]
}

pub(super) fn field(prescription: &Prescription) -> Vec<Value> {
    let values = vec![
        Value::Text(Some(prescription.field_name.clone().into())),
        Value::Text(Some(prescription.map_id.clone().into())),
        Value::Real(Some(prescription.field.unsigned_area())),
        Value::Real(Some(prescription.total_n_kg)),
    ];
    us_columns::values(&FIELD, values, prescription.unit.is_us())
}

pub(super) fn converted(map: &RateMap, zone: &RateZone) -> Vec<Value> {
    let product = map.product_rate(zone);
    let values = vec![
        Value::Whole(zone.zone.into()),
        Value::Real(product),
        Value::Text(product.map(|_| map.measure.label().into())),
        Value::Real(map.nitrogen(zone).map(half_up_to_hundredth)),
        // To 0.1 m².
        Value::Real(Some(libm::round(zone.area_m2 * 10.0) / 10.0)),
    ];
    us_columns::values(&CONVERTED, values, map.measure.unit.is_us())
}
