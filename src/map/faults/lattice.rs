//! Grids of rates against the field: order of rows, ground without a rate, ground outside, judged at the middles of cells; ground to be left out, by the part of each cell that lies there.

use geo::{Area, BooleanOps, Contains, Coord, Distance, Euclidean, MultiPolygon, Point, Polygon};

use crate::finding::codes;
use crate::map::faults::cover::{Field, SMALL_M2, USUAL_RUN_OUT_M, area_in_unit, pin, total_unit};
use crate::map::faults::fault::Fault;
use crate::map::faults::frame::Frame;
use crate::map::faults::{Against, Sums};
use crate::map::imported::{ImportedMap, MapKind, Place, RateLattice};
use crate::space::coverage::{Scratch, Span, cover};
use crate::space::polygon::{oriented, rings_of};

/// Cells whose ground is drawn in the layer of faults.
const DRAWN: usize = 2_000;
/// A share of a cell that is no ground but rounding. \[–\]
const SLIT: f64 = 1e-6;
/// Share of cells that may lie on the wrong side of the boundary before another order of rows is thought of.
const MISFIT: f64 = 0.02;

struct Cells<'a> {
    lattice: &'a RateLattice,
    frame: &'a Frame,
    /// Middles on the plane.
    middles: Vec<Option<Coord<f64>>>,
    /// Area of a cell. \[m²\]
    area: f64,
    /// Half a cell's diagonal. \[m\]
    half: f64,
}

impl Cells<'_> {
    fn place(&self, k: usize) -> Place {
        Place::named(format!(
            "row {} from the south, column {}",
            k / self.lattice.cols + 1,
            k % self.lattice.cols + 1
        ))
    }

    /// A fault about many cells: pinned on the first, drawn with as many as fit.
    fn fault(&self, fault: Fault, cells: &[usize]) -> Fault {
        let cols = self.lattice.cols;
        let ground = MultiPolygon::new(
            cells
                .iter()
                .take(DRAWN)
                .map(|k| self.lattice.cell_polygon(k % cols, k / cols))
                .collect(),
        );
        let fault = fault
            .over(ground)
            .sized(cells.len() as f64, "cells")
            .sized(cells.len() as f64 * self.area, "m²");
        match cells.first() {
            Some(k) => fault.at(self.lattice.centre(k % cols, k / cols)),
            None => fault,
        }
    }

    /// Cells that ground covers something of, with the share of each.
    fn shares(&self, ground: &MultiPolygon<f64>) -> Vec<(usize, f64)> {
        let Some(ground) = self.frame.polygon_back(ground) else {
            return Vec::new();
        };
        let lattice = self.lattice;
        let rings: Vec<Vec<[f64; 2]>> = rings_of(&oriented(&ground))
            .into_iter()
            .map(|ring| {
                ring.into_iter()
                    .map(|[x, y]| {
                        [
                            (x - lattice.west) / lattice.cell_x,
                            (y - lattice.south) / lattice.cell_y,
                        ]
                    })
                    .collect()
            })
            .collect();
        let mut spans = Vec::new();
        cover(
            &rings,
            (0, lattice.rows as i64),
            &mut Scratch::default(),
            &mut spans,
        );
        let cols = lattice.cols as i64;
        let of_span = |span: &Span| {
            let (row, share) = (span.row, span.share);
            (span.col.max(0)..(span.col + span.len).min(cols))
                .map(move |col| ((row * cols + col) as usize, share))
        };
        spans.iter().flat_map(of_span).collect()
    }

    fn inside(&self, ground: &MultiPolygon<f64>) -> Vec<bool> {
        self.middles
            .iter()
            .map(|c| c.is_some_and(|c| ground.contains(&Point(c))))
            .collect()
    }
}

pub(super) fn check(
    map: &ImportedMap,
    against: &Against,
    frame: &Frame,
    faults: &mut Vec<Fault>,
) -> Sums {
    let Some(lattice) = map
        .lattice
        .as_ref()
        .filter(|lattice| frame.measured && lattice.cols > 0 && lattice.rows > 0)
    else {
        return Sums::default();
    };
    let (cols, rows) = (lattice.cols, lattice.rows);
    let middle = MultiPolygon::new(vec![lattice.cell_polygon(cols / 2, rows / 2)]);
    let area = frame
        .polygon(&middle)
        .map_or(0.0, |cell| cell.unsigned_area());
    let middles: Vec<_> = (0..cols * rows)
        .map(|k| frame.point(lattice.centre(k % cols, k / cols)))
        .collect();
    let (low, high) = lattice.cell(cols / 2, rows / 2);
    let half = frame
        .point(low)
        .zip(frame.point(high))
        .map_or(0.0, |(a, b)| libm::hypot(a.x - b.x, a.y - b.y) / 2.0);
    let cells = Cells {
        lattice,
        frame,
        middles,
        area,
        half,
    };
    let field = Field::of(against, frame);
    let mut sums = Sums {
        field_m2: field.inner.as_ref().map(Area::unsigned_area),
        ..Sums::default()
    };
    let Some(inner) = &field.inner else {
        let rated: Vec<f64> = lattice.rates.iter().copied().flatten().collect();
        sums.area_m2 = rated.len() as f64 * area;
        sums.total = rated.iter().sum::<f64>() * area_in_unit(map, area);
        exclusions(map, &cells, &field, faults);
        return sums;
    };
    let within = cells.inside(inner);
    let of_field: Vec<f64> = within
        .iter()
        .zip(&lattice.rates)
        .filter(|(within, _)| **within)
        .filter_map(|(_, rate)| *rate)
        .collect();
    sums.area_m2 = of_field.len() as f64 * area;
    sums.total = of_field.iter().sum::<f64>() * area_in_unit(map, area);
    if order(map, &cells, &field, faults) {
        return sums;
    }
    gaps(&cells, inner, &within, faults);
    exclusions(map, &cells, &field, faults);
    outside(&cells, &field, against, faults);
    sums
}

/// Whether the rates would fit the field better with rows or columns the other way round.
fn order(map: &ImportedMap, cells: &Cells<'_>, field: &Field, faults: &mut Vec<Fault>) -> bool {
    let Some(boundary) = &field.boundary else {
        return false;
    };
    let (cols, rows) = (cells.lattice.cols, cells.lattice.rows);
    let inside = cells.inside(boundary);
    let spread: Vec<bool> = cells
        .lattice
        .rates
        .iter()
        .map(|rate| rate.is_some_and(|rate| rate > 0.0))
        .collect();
    let misfit = |up: bool, across: bool| {
        let at = |k: usize| {
            let (col, row) = (k % cols, k / cols);
            (if up { rows - 1 - row } else { row }) * cols
                + if across { cols - 1 - col } else { col }
        };
        (0..cols * rows)
            .filter(|&k| inside[k] != spread[at(k)])
            .count()
    };
    let own = misfit(false, false);
    let turned = [
        (true, false, "rows run from north to south"),
        (false, true, "columns run from east to west"),
        (true, true, "rows and columns run backwards"),
    ];
    let Some((best, why)) = turned
        .iter()
        .map(|&(up, across, why)| (misfit(up, across), why))
        .min_by_key(|(misfit, _)| *misfit)
    else {
        return false;
    };
    if (own as f64) < MISFIT * (cols * rows) as f64 || 2 * best > own {
        return false;
    }
    let message = format!(
        "{own} of {} cells lie on the wrong side of the boundary as the grid stands, {best} if its {why}: {} hold the south row first",
        cols * rows,
        if matches!(map.kind, MapKind::TaskData(_)) {
            "task data"
        } else {
            "grids"
        }
    );
    let wrong: Vec<usize> = (0..cols * rows)
        .filter(|&k| inside[k] != spread[k])
        .collect();
    faults.push(cells.fault(
        Fault::stop(codes::GRID_ORDER, Place::named("grid"), message),
        &wrong,
    ));
    true
}

fn gaps(cells: &Cells<'_>, inner: &MultiPolygon<f64>, within: &[bool], faults: &mut Vec<Fault>) {
    let bare: Vec<usize> = within
        .iter()
        .zip(&cells.lattice.rates)
        .enumerate()
        .filter(|(_, (within, rate))| **within && rate.is_none())
        .map(|(k, _)| k)
        .collect();
    if let Some(&first) = bare.first() {
        let message = format!(
            "{} cells of the field hold no rate ({:.0} m²)",
            bare.len(),
            bare.len() as f64 * cells.area
        );
        faults.push(cells.fault(
            Fault::stop(codes::FIELD_GAP, cells.place(first), message),
            &bare,
        ));
    }
    let (cols, rows) = (cells.lattice.cols, cells.lattice.rows);
    let corner = |col: f64, row: f64| Coord {
        x: cells.lattice.west + col * cells.lattice.cell_x,
        y: cells.lattice.south + row * cells.lattice.cell_y,
    };
    // Points along each side, so that the grid's edge bends on the plane as it does on the ground.
    let side = |from: (f64, f64), to: (f64, f64)| {
        (0..16).map(move |k| {
            (
                from.0 + (to.0 - from.0) * f64::from(k) / 16.0,
                from.1 + (to.1 - from.1) * f64::from(k) / 16.0,
            )
        })
    };
    let (c, r) = (cols as f64, rows as f64);
    let around = side((0.0, 0.0), (c, 0.0))
        .chain(side((c, 0.0), (c, r)))
        .chain(side((c, r), (0.0, r)))
        .chain(side((0.0, r), (0.0, 0.0)));
    let ring: Vec<Coord<f64>> = around.map(|(col, row)| corner(col, row)).collect();
    let whole = MultiPolygon::new(vec![geo::Polygon::new(
        geo::LineString::new(ring),
        Vec::new(),
    )]);
    let Some(whole) = cells.frame.polygon(&whole) else {
        return;
    };
    let short = inner.difference(&whole);
    let area = short.unsigned_area();
    if area >= SMALL_M2 {
        let fault = Fault::stop(
            codes::FIELD_GAP,
            Place::named("grid"),
            format!(
                "{area:.1} m² of the field lie outside the grid and get the terminal's fallback"
            ),
        )
        .sized(area, "m²");
        let fault = match cells.frame.polygon_back(&short) {
            Some(ground) => fault.over(ground),
            None => fault,
        };
        faults.push(match pin(&short).and_then(|c| cells.frame.point_back(c)) {
            Some(at) => fault.at(at),
            None => fault,
        });
    }
}

/// Rates above 0 on ground that must get none: each cell by the part of it that lies there.
fn exclusions(map: &ImportedMap, cells: &Cells<'_>, field: &Field, faults: &mut Vec<Fault>) {
    let kinds = [
        (
            &field.holes,
            codes::HOLE_RATE,
            "in a hole of the field would get a rate",
        ),
        (
            &field.exclusions,
            codes::EXCLUSION_RATE,
            "on ground to be left out would get a rate",
        ),
    ];
    for (grounds, code, does) in kinds {
        for ground in grounds {
            let mut fed: Vec<(usize, f64)> = cells
                .shares(ground)
                .into_iter()
                .filter(|(cell, share)| {
                    *share > SLIT && cells.lattice.rates[*cell].is_some_and(|rate| rate > 0.0)
                })
                .collect();
            let area = fed.iter().map(|(_, share)| share).sum::<f64>() * cells.area;
            if area < SMALL_M2 {
                continue;
            }
            let total: f64 = fed
                .iter()
                .filter_map(|(cell, share)| Some(cells.lattice.rates[*cell]? * share))
                .sum::<f64>()
                * area_in_unit(map, cells.area);
            // Told where most of a cell lies there.
            fed.sort_by(|a, b| b.1.total_cmp(&a.1));
            let fed: Vec<usize> = fed.into_iter().map(|(cell, _)| cell).collect();
            let message = format!(
                "{area:.1} m² {does}, by {} cells, {total:.2} {} in all",
                fed.len(),
                total_unit(map)
            );
            faults.push(
                cells.fault(
                    Fault::stop(code, cells.place(fed[0]), message)
                        .sized(area, "m²")
                        .sized(total, total_unit(map)),
                    &fed,
                ),
            );
        }
    }
}

fn outside(cells: &Cells<'_>, field: &Field, against: &Against, faults: &mut Vec<Fault>) {
    let Some(boundary) = &field.boundary else {
        return;
    };
    // Ground in a hole is told as such, and does not lie outside.
    let filled = MultiPolygon::new(
        boundary
            .iter()
            .map(|part| Polygon::new(part.exterior().clone(), Vec::new()))
            .collect(),
    );
    let inside = cells.inside(&filled);
    let allowed = against
        .machine_width
        .map_or(USUAL_RUN_OUT_M, crate::units::Length::get)
        + cells.half;
    let edges = field.edges();
    let (mut far, mut near) = (Vec::new(), Vec::new());
    let (mut reach, mut near_reach) = (0.0_f64, 0.0_f64);
    for (k, middle) in cells.middles.iter().enumerate() {
        let Some(middle) =
            middle.filter(|_| !inside[k] && cells.lattice.rates[k].is_some_and(|rate| rate > 0.0))
        else {
            continue;
        };
        let distance = edges
            .iter()
            .map(|edge| Euclidean.distance(&Point(middle), *edge))
            .fold(f64::INFINITY, f64::min);
        if distance > allowed {
            far.push(k);
            reach = reach.max(distance);
        } else if distance > cells.half {
            near.push(k);
            near_reach = near_reach.max(distance);
        }
    }
    if let Some(&first) = near.first() {
        let fault = if against.machine_width.is_some() {
            let message = format!(
                "{} cells wholly outside the field hold a rate, up to {near_reach:.1} m from its edge, within the machine's width",
                near.len()
            );
            Fault::note(codes::FIELD_RUN_OUT, cells.place(first), message)
        } else {
            let message = format!(
                "{} cells wholly outside the field hold a rate, up to {near_reach:.1} m from its edge: fine if meant for the machine's width",
                near.len()
            );
            Fault::caution(codes::FIELD_OUTSIDE, cells.place(first), message)
        };
        faults.push(cells.fault(fault.sized(near_reach, "m"), &near));
    }
    if let Some(&first) = far.first() {
        let message = format!(
            "{} cells with a rate lie outside the field, up to {reach:.1} m from its edge",
            far.len()
        );
        faults.push(cells.fault(
            Fault::stop(codes::FIELD_OUTSIDE, cells.place(first), message).sized(reach, "m"),
            &far,
        ));
    }
}
