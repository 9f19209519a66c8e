//! What a conversion loses or changes, in sentences.

use crate::app::convert::ConvertRequest;
use crate::format::{Rounding, Written};
use crate::map::imported::ImportedMap;
use crate::map::rate_map::Converted;
use crate::map::task_options::TaskKind;

/// Everything that the new file does not say as the old one did.
pub(super) fn lost(
    imported: &ImportedMap,
    converted: &Converted,
    written: &Written,
    request: &ConvertRequest,
) -> Vec<String> {
    let map = &converted.map;
    let keeps = request.to.row().keeps;
    let is_raster = keeps.rates == Rounding::Float32;
    let is_task = keeps.rates == Rounding::Dictionary;
    let mut out = Vec::new();
    let stays = |column: &String| match column.to_ascii_lowercase().as_str() {
        "zone" => true,
        "product_unit" | "n_kg_ha" | "area_m2" => keeps.columns,
        // They stand again where the new map is in US units.
        "n_lb_ac" | "area_ac" => keeps.columns && map.measure.unit.is_us(),
        _ => false,
    };
    let columns: Vec<_> = imported
        .columns
        .iter()
        .filter(|column| imported.rate_column.as_ref() != Some(column) && !stays(column))
        .map(String::as_str)
        .collect();
    if !columns.is_empty() {
        out.push(format!("columns besides the rate: {}", columns.join(", ")));
    }
    for (label, value) in &imported.stated {
        out.push(format!("{label}: {value}"));
    }
    if !keeps.system && map.system.code() != Some(4326) {
        out.push(format!("coordinates are reprojected from {} to WGS 84; edges stay straight between the same corners", map.system));
    }
    if !keeps.coordinates {
        out.push("coordinates are rounded to 7 decimals, about 1 cm".to_owned());
    }
    let stays_grid =
        keeps.grid && written.pixel_m.is_none() && (is_raster || map.system.code() == Some(4326));
    match map.lattice.as_ref() {
        Some(lattice) if stays_grid => {
            out.extend(is_raster.then(|| {
                format!(
                    "rates of {} × {} cells stand as 32-bit numbers",
                    lattice.cols, lattice.rows
                )
            }));
        }
        Some(lattice) => {
            out.push(format!(
                "a grid of {} × {} cells became {} zones with borders along its cells",
                lattice.cols,
                lattice.rows,
                map.zones.len()
            ));
        }
        None if is_raster => out.push(format!(
            "borders follow square pixels of {} m",
            written.pixel_m.unwrap_or(1.0)
        )),
        None if is_task && request.task.kind == TaskKind::Grid => {
            out.push("borders follow the cells of the task grid; a cell across a border has the mean of its ground".to_owned());
        }
        None if is_task && request.task.kind == TaskKind::Zones => {
            out.push("borders follow the cells of the task grid; a cell has the rate of which it holds most".to_owned());
        }
        _ => {}
    }
    match keeps.rates {
        Rounding::Float32 => {}
        Rounding::Dictionary => out.push("rates are rounded to the whole numbers of the data dictionary, 0.01 kg/ha or 0.0001 L/ha".to_owned()),
        Rounding::Hundredths => out.push("rates are rounded to 0.01".to_owned()),
    }
    if !keeps.fallbacks {
        let fallbacks = [
            map.fallbacks.on_start,
            map.fallbacks.position_lost,
            map.fallbacks.outside,
        ];
        if fallbacks.iter().any(Option::is_some) {
            out.push("rates on start, with position lost and outside the field: the format has no place for them".to_owned());
        }
        if map.boundary.is_some() {
            out.push("the field's boundary: the format holds zones alone".to_owned());
        }
    }
    if written.slivers.0 > 0 {
        out.push(format!(
            "{} parts below 1 m², {:.2} m² together",
            written.slivers.0, written.slivers.1
        ));
    }
    if map.zones.iter().any(|zone| map.nitrogen(zone).is_none()) && keeps.columns {
        out.push(
            "nitrogen stays empty: the nitrogen of the product is not known; --product says it"
                .to_owned(),
        );
    }
    out
}
