//! Carries rates outwards over the field's edge, for machine files only.
//!
//! A terminal that looks ahead must not starve the end of a pass, so the ground just outside the boundary carries the rate of the nearest cell. Not into holes of the
//! boundary, not onto exclusions, and not across a hard edge. Totals stay in the field.

use geo::Area as _;
use geo::Centroid;
use geo::Intersects;
use geo::Line;
use geo::MultiPolygon;
use geo::Point;
use geo::Polygon;
use rstar::RTree;
use rstar::primitives::GeomWithData;

use crate::pipeline::ground::Ground;
use crate::space::cut::CutError;
use crate::space::cut::cut;
use crate::space::polygon::grown;
use crate::space::polygon::less;
use crate::space::polygon::oriented;
use crate::zones::outline::outlines;

/// The boundary without its holes.
pub(crate) fn filled(boundary: &MultiPolygon<f64>) -> MultiPolygon<f64> {
    MultiPolygon::new(boundary.0.iter().map(|part| Polygon::new(part.exterior().clone(), Vec::new())).collect())
}

/// What each zone gets outside the field, zone by zone: parts to be added to its outline in machine files.
///
/// `zone_of` is the zone of each cell, from 1; `distance` how far rates are carried \[m\].
///
/// # Errors
/// [`CutError`] when the margin would have too many cells.
pub fn carried_outwards(ground: &Ground, zone_of: &[u32], zones: usize, distance: f64) -> Result<Vec<MultiPolygon<f64>>, CutError> {
    let none = vec![MultiPolygon::new(Vec::new()); zones];
    let inner = filled(&ground.boundary);
    if distance <= 0.0 || zone_of.is_empty() {
        return Ok(none);
    }
    let margin = oriented(&less(&less(&grown(&inner, distance), &inner), &ground.exclusions));
    let margin_grid = cut(&margin, ground.grid.frame)?;
    // Only cells that the field's edge cuts can be nearest; a field of whole cells alone offers them all.
    let at_edge = |k: usize| ground.grid.outline(k).centroid().map(|c| GeomWithData::new([c.x(), c.y()], k));
    let tree = RTree::bulk_load((0..ground.grid.cells.len()).filter_map(at_edge).collect());
    let mut label = vec![0_u32; margin_grid.cells.len()];
    for (k, cell) in margin_grid.cells.iter().enumerate() {
        let Some(centre) = margin_grid.outline(k).centroid() else { continue };
        let same = ground.grid.cells.binary_search_by_key(&(cell.row, cell.col), |c| (c.row, c.col)).ok();
        let nearest = same.or_else(|| tree.nearest_neighbor([centre.x(), centre.y()]).map(|found| found.data));
        let Some(host) = nearest else { continue };
        let Some(home) = ground.grid.outline(host).centroid() else { continue };
        // Beyond an exclusion at the edge the nearest cell may be far: nothing is carried over it.
        let reach = distance + ground.grid.frame.length.max(ground.grid.frame.width) * 1.5;
        if distance_between(home, centre) > reach {
            continue;
        }
        let way = Line::new(home.0, centre.0);
        if ground.hard_edges.iter().any(|edge| edge.intersects(&way)) || ground.exclusions.intersects(&way) {
            continue;
        }
        label[k] = zone_of[host];
    }
    Ok(outlines(&margin_grid, &label, zones as u32))
}

fn distance_between(a: Point<f64>, b: Point<f64>) -> f64 {
    libm::hypot(a.x() - b.x(), a.y() - b.y())
}

/// Adds the parts that are carried outwards to an outline.
pub fn with_margin(outline: &MultiPolygon<f64>, margin: MultiPolygon<f64>) -> MultiPolygon<f64> {
    let mut parts = outline.0.clone();
    parts.extend(margin.0.into_iter().filter(|part| part.unsigned_area() > 1.0));
    MultiPolygon::new(parts)
}
