//! The farm's tables: all zones, and a row a field. Names are a contract with scripts: add, never rename.

use std::borrow::Cow;

use crate::app::batch::row::{FieldRow, RowZone};
use crate::finding::Severity;
use crate::map::export::Drawn;
use crate::map::palette::Legend;
use crate::map::table::{Kind, Row, Table, Value};
use geo::{Coord, LineString, MultiPolygon, Polygon};

/// Every zone of every field whose map is written.
pub(super) const ZONES: Table = Table {
    name: "zones",
    description: "Nitrogen zones of all fields: one rate each, as decided, before the machine's least and greatest rate. Not for machines: each field has files of its own",
    indexed: false,
    is_large: true,
    columns: &[
        ("field", Kind::Text, "Name of the field"),
        ("map_id", Kind::Text, "Id of the field's map"),
        (
            "zone",
            Kind::Whole,
            "Number of the zone in its field, from 1",
        ),
        ("n_kg_ha", Kind::Real, "Nitrogen as the element [kg N/ha]"),
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
        (
            "area_m2",
            Kind::Real,
            "Area inside the field on the working plane [m2]",
        ),
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

/// A row a field.
pub(super) const FIELDS: Table = Table {
    name: "fields",
    description: "A row a field: what became of it, totals, response index, findings",
    indexed: false,
    is_large: true,
    columns: &[
        ("field", Kind::Text, "Name of the field"),
        (
            "state",
            Kind::Text,
            "done, stopped (report alone), refused, crashed, or waiting",
        ),
        ("code", Kind::Text, "Code of the refusal; null without one"),
        (
            "reason",
            Kind::Text,
            "What was refused, in a line; null without a refusal",
        ),
        ("map_id", Kind::Text, "Id of the map; null without one"),
        ("crop", Kind::Text, "Crop"),
        ("image", Kind::Text, "Image that was taken"),
        ("image_date", Kind::Text, "Day on which it was taken"),
        ("area_ha", Kind::Real, "Area of the field [ha]"),
        ("n_kg", Kind::Real, "Nitrogen in all [kg N]"),
        (
            "mean_n_kg_ha",
            Kind::Real,
            "Its mean over the field [kg N/ha]",
        ),
        (
            "n_p10_kg",
            Kind::Real,
            "P10 of the Monte Carlo draws, the low end of the 80 % range [kg N]",
        ),
        (
            "n_p90_kg",
            Kind::Real,
            "P90 of the Monte Carlo draws, the high end of the 80 % range [kg N]",
        ),
        (
            "product",
            Kind::Real,
            "Product in all, in the unit of product_unit; null without a product",
        ),
        ("product_unit", Kind::Text, "Unit of product"),
        (
            "ratio",
            Kind::Real,
            "Response index of the strips [no unit]",
        ),
        ("ratio_low", Kind::Real, "Lower end of its 95 % interval"),
        ("ratio_high", Kind::Real, "Upper end of its 95 % interval"),
        ("zones", Kind::Whole, "How many zones [count]"),
        (
            "stops",
            Kind::Whole,
            "Findings that stop the map, not accepted [count]",
        ),
        ("cautions", Kind::Whole, "Cautions [count]"),
        (
            "findings",
            Kind::Text,
            "Codes of all findings, heaviest first",
        ),
        (
            "exceptions",
            Kind::Text,
            "Why the field is otherwise than the common settings",
        ),
        ("folder", Kind::Text, "Its folder below the output folder"),
    ],
};

/// Zones by their nitrogen, as in the map of one field without a product: fields may get different products.
pub(super) fn zones_drawn(n_kg_ha: impl Iterator<Item = f64>) -> Drawn {
    Drawn::Rates {
        legend: Legend::new("Nitrogen", "kg N/ha", n_kg_ha),
        column: "n_kg_ha",
        by_state: true,
    }
}

/// Fields as their outlines, above the zones.
pub(super) fn fields_drawn() -> Drawn {
    Drawn::Outline {
        title: "Fields",
        dashed: false,
    }
}

fn text(text: &str) -> Value {
    Value::Text(Some(Cow::Owned(text.to_owned())))
}

fn maybe(text: Option<&String>) -> Value {
    Value::Text(text.cloned().map(Cow::Owned))
}

fn joined(parts: impl Iterator<Item = String>) -> Value {
    let all: Vec<String> = parts.collect();
    Value::Text((!all.is_empty()).then(|| Cow::Owned(all.join("; "))))
}

/// A zone as a row.
pub(super) fn zone_row(row: &FieldRow, zone: &RowZone) -> Row<'static> {
    Row {
        outline: Cow::Owned(outline(&zone.outline)),
        values: vec![
            text(&row.field),
            maybe(row.map_id.as_ref()),
            Value::Whole(i64::from(zone.zone)),
            Value::Real(Some(zone.n_kg_ha)),
            Value::Real(zone.product_rate),
            maybe(zone.product_unit.as_ref()),
            Value::Real(Some(zone.area_m2)),
            text(&zone.state),
            Value::Real(zone.n_p10_kg_ha),
            Value::Real(zone.n_p90_kg_ha),
        ],
    }
}

/// A field as a row, on this ground.
pub(super) fn field_row(row: &FieldRow, ground: MultiPolygon<f64>) -> Row<'static> {
    let count = |severity| Value::Whole(row.count(severity) as i64);
    let image = row.image.as_ref();
    Row {
        outline: Cow::Owned(ground),
        values: vec![
            text(&row.field),
            text(state(row)),
            maybe(row.code.as_ref()),
            maybe(row.reason.as_ref()),
            maybe(row.map_id.as_ref()),
            maybe(row.crop.as_ref()),
            maybe(image.map(|image| &image.path)),
            maybe(image.map(|image| &image.date)),
            Value::Real(row.area_ha),
            Value::Real(row.n_kg),
            Value::Real(row.mean_n_kg_ha),
            Value::Real(row.n_kg_p10),
            Value::Real(row.n_kg_p90),
            Value::Real(row.product),
            maybe(row.product_unit.as_ref()),
            Value::Real(row.ratio),
            Value::Real(row.ratio_low),
            Value::Real(row.ratio_high),
            Value::Whole(row.zone_count.unwrap_or(0) as i64),
            count(Severity::Stop),
            count(Severity::Caution),
            joined(row.findings.iter().map(|finding| finding.code.clone())),
            joined(row.exceptions.iter().cloned()),
            text(&row.folder),
        ],
    }
}

/// The word of a row's state; of a field that has no row yet, that it waits.
pub(super) fn state(row: &FieldRow) -> &'static str {
    if row.state.is_kept() {
        row.state.word()
    } else {
        "waiting"
    }
}

fn outline(polygons: &[Vec<Vec<[f64; 2]>>]) -> MultiPolygon<f64> {
    let ring = |points: &Vec<[f64; 2]>| -> LineString<f64> {
        points.iter().map(|[x, y]| Coord { x: *x, y: *y }).collect()
    };
    polygons
        .iter()
        .filter_map(|rings| {
            let (exterior, interiors) = rings.split_first()?;
            Some(Polygon::new(
                ring(exterior),
                interiors.iter().map(ring).collect(),
            ))
        })
        .collect()
}
