//! Look-ahead: machine files shifted against the direction of travel, for a terminal that does not look ahead itself.
//!
//! A rate that is asked for where it is due comes late by what the machine needs to change it. Shifted by that much it comes in time; but only against the direction of travel, and passes that lie side
//! by side are driven in turn one way and the other. So every pass is shifted by itself, as its number from the rightmost pass says. Nothing is shifted across the drive, into another part of the
//! field, or over an exclusion; where the ground ahead lies outside the field, a place keeps the rate of its own ground. On a headland with a rule of its own the machine drives around the field, in
//! a direction that nobody states: that ground stays as it is.

use geo::{BooleanOps, Centroid, MultiPolygon, Polygon};
use rstar::RTree;
use rstar::primitives::GeomWithData;

use crate::finding::{Finding, codes};
use crate::job::settings::{FirstPass, LookAhead, Machine};
use crate::pipeline::ground::Ground;
use crate::pipeline::overrun::filled;
use crate::space::cells::Way;
use crate::space::lay::{LayError, lay};
use crate::space::polygon::{grown, joined, less, oriented, rings_of, without_narrow_gaps};
use crate::space::regions::split;
use crate::zones::outline::outlines;

/// A cell smaller than this share of a whole one takes the zone of the cell beside it. \[–\]
const CRUMB_TOLERANCE: f64 = 1e-3;

/// Slits between ground and margin are no wider than this. \[m\]
const SLIT_TOLERANCE: f64 = 1e-3;

/// Ground of one part that is shifted alike.
struct Band {
    part: usize,
    /// +1 where the drive goes along the heading, −1 where it goes against it, 0 where nothing is shifted.
    way: f64,
    ground: MultiPolygon<f64>,
}

/// The zones as a machine that looks ahead must see them, zone by zone: over `whole` \[plane\], the mapped ground or the same with the margin outside the field.
///
/// `zone_of` is the zone of each cell, from 1.
///
/// # Errors
/// [`LayError`] when the shifted grid would have too many cells, or its bands do not fit together.
pub(crate) fn shifted(
    ground: &Ground,
    machine: &Machine,
    look_ahead: &LookAhead,
    zone_of: &[u32],
    zones: usize,
    whole: &MultiPolygon<f64>,
) -> Result<Vec<MultiPolygon<f64>>, LayError> {
    let over = |whole: &MultiPolygon<f64>| {
        shifted_over(ground, machine, look_ahead, zone_of, zones, whole)
    };
    // Overlay can leave slits of some micrometres between ground and margin, along which bands do not fit.
    over(whole).or_else(|error| {
        over(&oriented(&without_narrow_gaps(whole, SLIT_TOLERANCE))).map_err(|_| error)
    })
}

fn shifted_over(
    ground: &Ground,
    machine: &Machine,
    look_ahead: &LookAhead,
    zone_of: &[u32],
    zones: usize,
    whole: &MultiPolygon<f64>,
) -> Result<Vec<MultiPolygon<f64>>, LayError> {
    let bands = bands(ground, machine, look_ahead, whole);
    let shapes: Vec<MultiPolygon<f64>> = bands.iter().map(|band| band.ground.clone()).collect();
    // Whatever the bands leave, by rounding, is nobody's: it stays where it is.
    let regions = split(whole, &shapes)?;
    let mut ways = vec![ground.grid.way(0)];
    ways.extend(bands.iter().map(|band| {
        ground
            .grid
            .way(band.part)
            .moved_along(-band.way * look_ahead.distance.get())
    }));
    let (grid, borders) = lay(&regions, &ways)?;
    let centres = (0..ground.grid.cells.len()).filter_map(|k| {
        ground
            .grid
            .outline(k)
            .centroid()
            .map(|c| GeomWithData::new([c.x(), c.y()], k))
    });
    let tree = RTree::bulk_load(centres.collect());
    let label = |k: usize| -> u32 {
        let part = grid
            .part_of(k)
            .checked_sub(1)
            .map_or(0, |band| bands[band].part);
        let cell = &grid.cells[k];
        let ahead = ground.grid.find(part, cell.row, cell.col);
        let own = || {
            tree.nearest_neighbor(grid.outline(k).centroid().map(|c| [c.x(), c.y()])?)
                .map(|found| found.data)
        };
        ahead.or_else(own).map_or(0, |host| zone_of[host])
    };
    let own: Vec<u32> = (0..grid.cells.len()).map(label).collect();
    // A band ends where a column does, give or take a rounding: what that leaves of the next column is the band's.
    let is_negligible =
        |k: usize| grid.cells[k].area < CRUMB_TOLERANCE * grid.frame.length * grid.frame.width;
    let mut hosts: Vec<(f64, Option<usize>)> = vec![(0.0, None); grid.cells.len()];
    for border in &borders {
        let (a, b) = (border.a as usize, border.b as usize);
        for (crumb, host) in [(a, b), (b, a)] {
            if is_negligible(crumb)
                && !is_negligible(host)
                && grid.part_of(a) == grid.part_of(b)
                && border.length > hosts[crumb].0
            {
                hosts[crumb] = (border.length, Some(host));
            }
        }
    }
    let labels: Vec<u32> = hosts
        .iter()
        .enumerate()
        .map(|(k, (_, host))| own[host.unwrap_or(k)])
        .collect();
    Ok(outlines(&grid, &labels, zones as u32))
}

/// The bands, so that those that come first have the ground.
fn bands(
    ground: &Ground,
    machine: &Machine,
    look_ahead: &LookAhead,
    whole: &MultiPolygon<f64>,
) -> Vec<Band> {
    let width = machine.working_width.get();
    let reach = machine.overrun.get() + width;
    let areas = ground.areas_reaching(reach);
    // The part that no area covers comes last and takes what is left.
    let order = (1..ground.driven.len()).chain(std::iter::once(0));
    let mut bands = Vec::new();
    for part in order {
        let own = if part == 0 { whole } else { &areas[part - 1] };
        if let Some(headland) = machine.headland {
            let inner = grown(
                &filled(&ground.boundary),
                -width * f64::from(headland.passes),
            );
            bands.push(Band {
                part,
                way: 0.0,
                ground: less(own, &inner),
            });
        }
        let (first, next) = match look_ahead.first_pass {
            FirstPass::Along => (1.0, -1.0),
            FirstPass::Against => (-1.0, 1.0),
            FirstPass::EveryAlong => (1.0, 1.0),
        };
        if first != next {
            let every_other = every_other_pass(
                &ground.grid.way(part),
                ground.driven[part].first_pass_v,
                width,
                own,
            );
            bands.push(Band {
                part,
                way: first,
                ground: own.intersection(&every_other),
            });
        }
        bands.push(Band {
            part,
            way: next,
            ground: own.clone(),
        });
    }
    bands
}

/// The first pass, the third, and so on, over a shape; to the right of the first it goes on in the same way.
fn every_other_pass(
    way: &Way,
    first_v: f64,
    width: f64,
    shape: &MultiPolygon<f64>,
) -> MultiPolygon<f64> {
    let frame = match way {
        Way::Straight(frame) => frame,
        Way::Curve(curve) => {
            let (right, left) = curve.reach();
            let start = libm::floor((right - first_v) / (2.0 * width)) as i64;
            let end = libm::ceil((left - first_v) / (2.0 * width)) as i64;
            let edges = (start..=end)
                .map(|k| first_v + 2.0 * k as f64 * width)
                .map(|edge| (edge.max(right), (edge + width).min(left)));
            return edges
                .filter(|edges| edges.0 < edges.1)
                .map(|edges| curve.between(edges.0, edges.1))
                .collect();
        }
    };
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for p in rings_of(shape).iter().flatten() {
        let (u, v) = frame.to_uv(p[0], p[1]);
        low = [low[0].min(u), low[1].min(v)];
        high = [high[0].max(u), high[1].max(v)];
    }
    if low[0] > high[0] {
        return MultiPolygon::new(Vec::new());
    }
    let (from, to) = (low[0] - width, high[0] + width);
    let start = libm::floor((low[1] - first_v) / (2.0 * width)) as i64;
    let end = libm::ceil((high[1] - first_v) / (2.0 * width)) as i64;
    let pass = |k: i64| {
        let (right, left) = (
            first_v + 2.0 * k as f64 * width,
            first_v + (2.0 * k as f64 + 1.0) * width,
        );
        let corners =
            [(from, right), (to, right), (to, left), (from, left)].map(|(u, v)| frame.to_xy(u, v));
        Polygon::new(corners.to_vec().into(), Vec::new())
    };
    (start..=end).map(pass).collect()
}

/// The mapped ground together with what lies outside the field and gets a rate in machine files.
pub(crate) fn with_margins(ground: &Ground, margins: &[MultiPolygon<f64>]) -> MultiPolygon<f64> {
    let mut all = vec![ground.mapped.clone()];
    all.extend(
        margins
            .iter()
            .filter(|margin| !margin.0.is_empty())
            .cloned(),
    );
    oriented(&joined(&all))
}

/// What must be said whenever machine files look ahead.
pub(crate) fn finding(look_ahead: &LookAhead, machine: &Machine, ground: &Ground) -> Finding {
    let passes = match look_ahead.first_pass {
        FirstPass::Along => {
            "the rightmost pass is driven along the heading and each pass next to it the other way"
        }
        FirstPass::Against => {
            "the rightmost pass is driven against the heading and each pass next to it the other way"
        }
        FirstPass::EveryAlong => "every pass is driven along the heading",
    };
    let headings: Vec<String> = ground
        .driven
        .iter()
        .map(|driven| format!("{:.1}°", ground.plane.true_azimuth(driven.azimuth_deg)))
        .collect();
    let headland = if machine.headland.is_some() {
        "; the headland is not shifted"
    } else {
        ""
    };
    Finding::caution(
        codes::MACHINE_LOOK_AHEAD,
        format!(
            "machine files are shifted by {:.1} against the direction of travel (heading {} true): {passes}{headland}. Set the terminal's own look-ahead to 0, or rates shift twice; \
             most terminals look ahead themselves, and then the map must not. Driven otherwise, or with passes left out, rates come late by twice that",
            look_ahead.distance,
            headings.join(", ")
        ),
    )
}
