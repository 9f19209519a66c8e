//! The grid of a task: codes of zones (type 1) or rates (type 2), the south row first.
//!
//! # Source
//! ISO 11783-10:2015, 6.8 and 8.6.2, as retold in an unofficial study summary: unsigned bytes, or signed 32-bit little-endian integers for each value of the zone in
//! attribute J; at least 350 rows and columns must be taken.

use roxmltree::Node;

use crate::finding::{Code, codes};
use crate::format::iso11783::read::Set;
use crate::format::iso11783::read::zones::Zones;
use crate::map::faults::fault::Fault;
use crate::map::imported::{ImportedMap, MapKind, Place, RateLattice, TaskForm};

/// Rows and columns that each controller must take.
const SURE: usize = 350;
/// Cells beyond this are no task: some eighty times what each controller must take, and half a gibibyte while they are judged.
pub(super) const CELLS: usize = 10_000_000;

pub(super) fn read(grid: Node<'_, '_>, zones: &Zones, set: &Set, map: &mut ImportedMap) {
    let name = grid.attribute("G").unwrap_or("");
    let place = Place::named(if name.is_empty() { "GRD" } else { name });
    let stop = |map: &mut ImportedMap, code: Code, message: String| {
        map.oddities.push(Fault::stop(code, place.clone(), message));
    };
    let number = |key: &str| {
        grid.attribute(key)
            .and_then(|text| text.trim().parse::<f64>().ok())
            .filter(|value| value.is_finite())
    };
    let whole = |key: &str| {
        grid.attribute(key)
            .and_then(|text| text.trim().parse::<usize>().ok())
    };
    let kind = grid.attribute("I");
    map.kind = MapKind::TaskData(if kind == Some("1") {
        TaskForm::GridOfZones
    } else {
        TaskForm::GridOfRates
    });
    for key in ["A", "B"] {
        if grid
            .attribute(key)
            .is_some_and(|text| text.contains(['e', 'E', ',']))
        {
            stop(
                map,
                codes::TASK_EXPONENT,
                format!(
                    "the corner ({key}) {:?} is no plain decimal number",
                    grid.attribute(key).unwrap_or("")
                ),
            );
        }
    }
    let (Some(south), Some(west), Some(cell_y), Some(cell_x), Some(cols), Some(rows)) = (
        number("A"),
        number("B"),
        number("C"),
        number("D"),
        whole("E"),
        whole("F"),
    ) else {
        return stop(
            map,
            codes::TASK_GRID,
            "corner (A, B), cell (C, D) or counts (E, F) of the grid are missing or no numbers"
                .to_owned(),
        );
    };
    let fits =
        cell_x > 0.0 && cell_y > 0.0 && cell_x <= 1.0 && cell_y <= 1.0 && cols > 0 && rows > 0;
    let cells = cols.saturating_mul(rows);
    if !fits {
        return stop(
            map,
            codes::TASK_GRID,
            format!(
                "{cols} × {rows} cells of {cell_x}° × {cell_y}° make no grid: sides are above 0 and at most 1°"
            ),
        );
    }
    if cells > CELLS {
        return stop(
            map,
            codes::TASK_GRID,
            format!("{name} is stated to have {cols} × {rows} cells; at most {CELLS} are read"),
        );
    }
    if cols > SURE || rows > SURE {
        let message = format!(
            "the grid has {cols} columns and {rows} rows; {SURE} of each are what every controller must take"
        );
        map.oddities.push(
            Fault::caution(codes::TASK_GRID_SIZE, place.clone(), message)
                .sized(cells as f64, "cells"),
        );
    }
    let requirement = format!("{name}.bin");
    let Some((bytes, exact, found)) = set.file(&requirement) else {
        return stop(
            map,
            codes::TASK_GRID_FILE,
            format!("the grid's file {requirement} is not there: copy the whole folder"),
        );
    };
    if !exact {
        map.oddities.push(Fault::note(
            codes::TASK_GRID_NAME,
            place.clone(),
            format!("the grid's file is called {found}, not {requirement}"),
        ));
    }
    let template = grid
        .attribute("J")
        .and_then(|text| text.parse::<u16>().ok());
    let values = match kind {
        Some("1") => 0,
        Some("2") => {
            if let Some(value) = template.and_then(|code| zones.values.get(&code)) {
                value.as_ref().map_or(1, |value| value.values)
            } else {
                let named = grid.attribute("J").unwrap_or("missing");
                stop(
                    map,
                    codes::TASK_GRID_ZONE,
                    format!(
                        "the grid's zone (J) is {named}, and there is no such treatment zone: its numbers mean nothing"
                    ),
                );
                1
            }
        }
        other => {
            return stop(
                map,
                codes::TASK_GRID_KIND,
                format!(
                    "the grid is of type {}; 1 and 2 are known",
                    other.unwrap_or("(none)")
                ),
            );
        }
    };
    let each = if values == 0 { 1 } else { 4 * values };
    if bytes.len() != cells.saturating_mul(each) {
        let message = format!(
            "{found} holds {} bytes; {cols} × {rows} cells of {each} bytes are {}",
            bytes.len(),
            cells.saturating_mul(each)
        );
        stop(map, codes::TASK_GRID_LENGTH, message);
    }
    if let Some(wording) = whole("H").filter(|&wording| wording != bytes.len()) {
        map.oddities.push(Fault::caution(
            codes::TASK_GRID_STATED,
            place.clone(),
            format!(
                "the grid's length (H) is {wording}, its file has {} bytes",
                bytes.len()
            ),
        ));
    }
    let mut lattice = RateLattice {
        west,
        south,
        cell_x,
        cell_y,
        cols,
        rows,
        rates: Vec::new(),
        codes: None,
        north_first_in_file: false,
    };
    if values == 0 {
        let mut unknown: Vec<(u8, usize, u64)> = Vec::new();
        for (k, &code) in bytes.iter().take(cells).enumerate() {
            let known = zones.values.contains_key(&u16::from(code));
            lattice.rates.push(zones.rate(u16::from(code)));
            if !known {
                match unknown.iter_mut().find(|(seen, ..)| *seen == code) {
                    Some((.., count)) => *count += 1,
                    None => unknown.push((code, k, 1)),
                }
            }
        }
        for (code, first, count) in unknown {
            let (col, row) = (first % cols, first / cols);
            let message = format!(
                "{count} cells hold zone code {code}, and there is no such treatment zone; the first is row {} from the south, column {}",
                row + 1,
                col + 1
            );
            map.oddities.push(
                Fault::stop(codes::TASK_CODE_UNKNOWN, place.clone(), message)
                    .at(lattice.centre(col, row))
                    .sized(count as f64, "cells"),
            );
        }
        lattice.codes = Some(bytes.iter().take(cells).copied().collect());
    } else {
        let per = zones.channel.as_ref().map_or(1.0, |(_, per)| *per);
        let first = |cell: &[u8]| Some(i32::from_le_bytes(cell.get(..4)?.try_into().ok()?));
        lattice.rates.extend(
            bytes
                .chunks_exact(each)
                .take(cells)
                .map(|cell| first(cell).map(|stored| f64::from(stored) / per)),
        );
    }
    lattice.rates.resize(cells, None);
    map.lattice = Some(lattice);
}
