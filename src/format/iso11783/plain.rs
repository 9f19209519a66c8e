//! Task data of a plain map: somebody's map turned, with a grid of its own if it has one that a controller takes.

use crate::finding::{Checked, Finding, codes};
use crate::format::iso11783::channel::Channel;
use crate::format::iso11783::cover::{Ring, doubled_area};
use crate::format::iso11783::error::Iso11783Error;
use crate::format::iso11783::grid::Window;
use crate::format::iso11783::lattice::{
    Carrier, Lattice, MOST_ROWS_OR_COLUMNS, metres_per_degree, rings, twelve_digits,
};
use crate::format::iso11783::write::{Body, TaskSet, files};
use crate::format::iso11783::xml::Parts;
use crate::format::iso11783::{xml, zone_list};
use crate::format::payload::Payload;
use crate::map::ascii::designator;
use crate::map::imported::{Quantity, RateLattice};
use crate::map::plain::PlainMap;
use crate::map::task_options::{TaskKind, TaskOptions};
use crate::space::crs::{Crs, Projector};
use crate::space::polygon::{carried, joined};
use geo::MultiPolygon;

/// Cell size of a grid for a machine that nobody describes. \[m\]
pub const USUAL_CELL_M: f64 = 10.0;

/// `TASKDATA/TASKDATA.XML` and, for grids, `TASKDATA/GRD00000.bin`.
///
/// A map that came as a grid in longitude and latitude of 350 rows and columns at most keeps its cells and their rates; any other is laid on a grid with cells of
/// `cell_m` (10 m when not given), each cell with the area mean of the ground in it (in kind `zones`: with the rate of which it holds most).
///
/// # Findings
/// `convert.fallbacks` when the map states no rates for start, lost position or outside; `convert.boundary` when it has none and the union of its zones stands in;
/// `convert.nitrogen` when the rates are nitrogen and not product; `convert.polygons` since controllers need not take polygons; `machine.grid_coarsened` as for our own.
///
/// # Errors
/// [`Iso11783Error`].
pub fn write_plain(
    map: &PlainMap,
    flavour: TaskOptions,
    cell_m: Option<f64>,
) -> Result<Checked<Vec<Payload>>, Iso11783Error> {
    let mut findings = Vec::new();
    let channel = Channel::new(map.measure);
    let boundary = boundary(map, &mut findings);
    let fallbacks = fallbacks(map, &mut findings);
    if map.measure.quantity == Quantity::Nitrogen {
        findings.push(Finding::caution(
            codes::CONVERT_NITROGEN,
            "the task data hold nitrogen, not product: a machine meters product, so state it with --to-product, or the rates do not fit what is in the tank",
        ));
    }
    let way = Projector::new(&map.system, &Crs::wgs84())?;
    let body = if flavour.kind == TaskKind::Polygons {
        findings.push(Finding::caution(
            codes::CONVERT_POLYGONS,
            "controllers need not take polygons: try it on yours before the day, and keep a grid (--task-kind grid) at hand",
        ));
        let ground = map
            .zones
            .iter()
            .map(|zone| Ok((zone.rate, xml::polygon_rings(&way, &zone.outline)?)))
            .collect::<Result<Vec<_>, Iso11783Error>>()?;
        Body::Polygons(zone_list::of_polygons(ground, &channel)?)
    } else {
        let (lattice, rates) = grid(
            map,
            flavour.kind,
            cell_m.unwrap_or(USUAL_CELL_M),
            &mut findings,
        )?;
        Body::of_grid(lattice, &rates, flavour.kind, &channel)?
    };
    let integer = |rate: f64, what: &str| {
        channel
            .integer(rate, || what.to_owned())
            .map(|value| value.to_string())
    };
    let parts = Parts {
        version: flavour.version,
        field: designator(&map.name, xml::LONGEST_TEXT, "Field"),
        task: designator(&map.name, xml::LONGEST_TEXT, "Task"),
        client: None,
        farm: None,
        crop: map
            .crop
            .as_ref()
            .map(|crop| designator(crop, xml::LONGEST_TEXT, "Crop")),
        product: match (&map.product, map.measure.quantity) {
            (_, Quantity::Nitrogen) => "Nitrogen as N, no product".to_owned(),
            (Some(product), _) => xml::product_name(Some(product)),
            (None, _) => designator(map.product_shown(), xml::LONGEST_TEXT, "Product"),
        },
        boundary: xml::polygon_rings(&way, &boundary)?,
        on_start: integer(fallbacks[0], "on start")?,
        position_lost: integer(fallbacks[1], "with position lost")?,
        outside: integer(fallbacks[2], "outside the field")?,
    };
    Ok(Checked::new(
        files(&TaskSet { parts, body }, &channel)?,
        findings,
    ))
}

fn boundary(map: &PlainMap, findings: &mut Vec<Finding>) -> MultiPolygon<f64> {
    if let Some(boundary) = &map.boundary {
        return boundary.clone();
    }
    findings.push(Finding::note(codes::CONVERT_BOUNDARY, "the map has no boundary: the union of its zones stands in, and beyond it the rate for outside holds"));
    let outlines: Vec<_> = map.zones.iter().map(|zone| zone.outline.clone()).collect();
    joined(&outlines)
}

fn fallbacks(map: &PlainMap, findings: &mut Vec<Finding>) -> [f64; 3] {
    let stated = [
        ("on start", map.fallbacks.on_start),
        ("with position lost", map.fallbacks.position_lost),
        ("outside the field", map.fallbacks.outside),
    ];
    let missing: Vec<_> = stated
        .iter()
        .filter(|(_, rate)| rate.is_none())
        .map(|(what, _)| *what)
        .collect();
    if !missing.is_empty() {
        let message = format!(
            "the map states no rate {}: task data must, and 0 is written, which spreads nothing",
            missing.join(", ")
        );
        findings.push(Finding::caution(codes::CONVERT_FALLBACKS, message));
    }
    stated.map(|(_, rate)| rate.unwrap_or(0.0))
}

/// The grid of a task and its rates, row by row from the south.
fn grid(
    map: &PlainMap,
    kind: TaskKind,
    cell_m: f64,
    findings: &mut Vec<Finding>,
) -> Result<(Lattice, Vec<f64>), Iso11783Error> {
    if let Some(own) = map.lattice.as_ref().filter(|own| {
        map.system.code() == Some(4326) && own.rows.max(own.cols) <= MOST_ROWS_OR_COLUMNS
    }) {
        let nine = |degrees: f64| libm::round(degrees * 1e9) / 1e9;
        let (per_north, _) = metres_per_degree(own.south);
        let size = own.cell_y * per_north;
        let lattice = Lattice {
            south: nine(own.south),
            west: nine(own.west),
            cell_north: twelve_digits(own.cell_y),
            cell_east: twelve_digits(own.cell_x),
            cell_m: size,
            rows: own.rows,
            cols: own.cols,
            wanted_m: size,
        };
        return Ok((
            lattice,
            own.rates.iter().map(|rate| rate.unwrap_or(0.0)).collect(),
        ));
    }
    let somewhere = map
        .zones
        .iter()
        .find_map(|zone| zone.outline.0.first()?.exterior().0.first().copied())
        .ok_or(Iso11783Error::NoBoundary)?;
    let carrier = Carrier::new(&map.system, (somewhere.x, somewhere.y))?;
    let exteriors = map
        .zones
        .iter()
        .flat_map(|zone| &zone.outline)
        .map(|polygon| carrier.line(polygon.exterior()))
        .collect::<Result<Vec<_>, _>>()?;
    let lattice = Lattice::new(&exteriors, (cell_m, cell_m), 0.0)?;
    if lattice.is_coarsened() {
        let message = format!(
            "cells of the task grid had to grow from {:.1} m to {:.1} m, since a controller need not take more than 350 rows or columns",
            lattice.wanted_m, lattice.cell_m
        );
        findings.push(Finding::caution(codes::MACHINE_GRID_COARSENED, message));
    }
    let cells = lattice.rows * lattice.cols;
    let (mut share, mut weighted, mut most) =
        (vec![0.0; cells], vec![0.0; cells], vec![(0.0, 0.0); cells]);
    for zone in &map.zones {
        let rings = rings(&carrier, &lattice, &zone.outline)?;
        let Some(window) = Window::around(&rings, lattice.rows, lattice.cols) else {
            continue;
        };
        for (cell, covered) in window.shares(&rings, lattice.cols) {
            share[cell] += covered;
            weighted[cell] += covered * zone.rate;
            if covered > most[cell].0 {
                most[cell] = (covered, zone.rate);
            }
        }
    }
    let rate = |cell: usize| match kind {
        _ if share[cell] <= 1e-9 => 0.0,
        TaskKind::Zones => most[cell].1,
        TaskKind::Grid | TaskKind::Polygons => weighted[cell] / share[cell],
    };
    Ok((lattice, (0..cells).map(rate).collect()))
}

/// Area \[m²\] of the map's zones that cells of a grid cover, and the sum of area × rate over it: what the grid puts on the ground that the map means. Cells stick out
/// over the field's edge, and that does not count.
///
/// # Errors
/// [`Iso11783Error`] when a point cannot be carried into the grid's system.
pub fn on_ground(
    map: &PlainMap,
    grid: &RateLattice,
    system: &Crs,
) -> Result<(f64, f64), Iso11783Error> {
    let way = Projector::new(&map.system, system)?;
    let (mut area_m2, mut sum) = (0.0, 0.0);
    for zone in &map.zones {
        let carried = carried(&zone.outline, &way)?;
        let rings: Vec<Ring> =
            crate::space::polygon::rings_of(&crate::space::polygon::oriented(&carried))
                .into_iter()
                .map(|ring| {
                    ring.iter()
                        .map(|p| {
                            [
                                (p[0] - grid.west) / grid.cell_x,
                                (p[1] - grid.south) / grid.cell_y,
                            ]
                        })
                        .collect()
                })
                .collect();
        let whole: f64 = rings.iter().map(|ring| doubled_area(ring)).sum::<f64>() / 2.0;
        let Some(window) = Window::around(&rings, grid.rows, grid.cols) else {
            continue;
        };
        for (cell, share) in window.shares(&rings, grid.cols) {
            if let Some(rate) = grid.rate(cell % grid.cols, cell / grid.cols) {
                let ground = zone.area_m2 * share / whole;
                area_m2 += ground;
                sum += ground * rate;
            }
        }
    }
    Ok((area_m2, sum))
}
