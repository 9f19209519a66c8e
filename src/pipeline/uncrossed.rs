//! Differences of the canopy that no strip crosses: ground paler than any that a strip was compared with may lack nitrogen, or water, and no strip tells.

use geo::Contains;

use crate::finding::{Finding, codes};
use crate::map::prescription::CellState;
use crate::pipeline::cell_facts::CellFacts;
use crate::pipeline::ground::Ground;
use crate::pipeline::rates::Rated;
use crate::pipeline::share::per_hundred;
use crate::pipeline::strips::Strip;
use crate::pipeline::survey::Survey;
use crate::space::crs::{Crs, Projector};
use crate::space::polygon::grown;
use crate::units::{M2_PER_AC, M2_PER_HA};

/// Canopy that may lie beyond what strips were compared with. \[share\]
const MAXIMUM_SHARE: f64 = 0.20;
/// Offsets of a patch's centre below this share of the field's half extent name no side.
const SIDE: f64 = 0.2;
/// Pixels beside a strip of mixtures that hold some of the strip.
const MIXED_PIXELS: f64 = 1.5;

/// Says how much ground is paler than the palest that any strip was compared with, by more than one standard deviation of such pieces, where it lies, and where
/// the next strip would lie. `None` where it is 20 % of the canopy or less, and where the pieces' standard deviation is not known.
pub(crate) fn finding_of(
    us_units: bool,
    (ground, facts): (&Ground, &CellFacts),
    survey: &Survey,
    rated: &Rated,
) -> Option<Finding> {
    let found = facts.share.as_ref().ok()?;
    let palest = survey
        .strips
        .iter()
        .enumerate()
        .filter(|(_, strip)| strip.found.is_ok())
        .filter_map(|(k, strip)| palest_beside((ground, facts), rated, k, strip))
        .min_by(f64::total_cmp)?;
    let limit = palest - libm::sqrt(found.elsewhere) * survey.field_mean;
    let (mut canopy, mut pale) = (Spot::default(), Spot::default());
    let (mut west, mut east, mut south, mut north) = (
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::INFINITY,
        f64::NEG_INFINITY,
    );
    for (k, cell) in rated.cells.iter().enumerate() {
        let (Some(index), CellState::Canopy) = (cell.index, cell.state) else {
            continue;
        };
        let Some(centre) = facts.centres[k] else {
            continue;
        };
        let area = cell.area.get();
        (west, east) = (west.min(centre.x()), east.max(centre.x()));
        (south, north) = (south.min(centre.y()), north.max(centre.y()));
        canopy.add(area, centre.x(), centre.y());
        if index < limit {
            pale.add(area, centre.x(), centre.y());
        }
    }
    let share = pale.area / canopy.area.max(f64::MIN_POSITIVE);
    if share <= MAXIMUM_SHARE + 1e-6 {
        return None;
    }
    let side = side_of(
        (pale.x() - canopy.x()) / ((east - west) / 2.0).max(1.0),
        (pale.y() - canopy.y()) / ((north - south) / 2.0).max(1.0),
    );
    let next = next_strip(ground, survey).map_or_else(String::new, |(longitude, latitude)| {
        format!(", best near {latitude:.5}, {longitude:.5}")
    });
    Some(Finding::caution(
        codes::REFERENCE_UNCROSSED,
        format!(
            "{} of the canopy ({}, {side}) is paler than any ground that a strip was compared with: it may lack nitrogen or water, and no strip tells; go and look, and lay the next strip there{next}",
            per_hundred(share),
            area_in_words(us_units, pale.area)
        ),
    ))
}

/// Area and its centre.
#[derive(Default)]
struct Spot {
    area: f64,
    east: f64,
    north: f64,
}

impl Spot {
    fn add(&mut self, area: f64, x: f64, y: f64) {
        self.area += area;
        self.east += area * x;
        self.north += area * y;
    }
    fn x(&self) -> f64 {
        self.east / self.area.max(f64::MIN_POSITIVE)
    }
    fn y(&self) -> f64 {
        self.north / self.area.max(f64::MIN_POSITIVE)
    }
}

/// The palest ground that a strip was compared with: the palest segment of its swaths, or where mixtures were solved the palest cell beside it.
fn palest_beside(
    (ground, facts): (&Ground, &CellFacts),
    rated: &Rated,
    number: usize,
    strip: &Strip,
) -> Option<f64> {
    let segments = strip
        .profile
        .iter()
        .filter(|segment| !segment.beside_dropped)
        .filter_map(|segment| segment.beside);
    segments.min_by(f64::total_cmp).or_else(|| {
        let outline = ground.strips.get(number)?;
        let clear = MIXED_PIXELS * strip.plan.pixel;
        let near = grown(outline, clear);
        let around = grown(outline, clear + strip.plan.outer.width);
        rated
            .cells
            .iter()
            .enumerate()
            .filter(|(_, cell)| cell.state == CellState::Canopy)
            .filter(|(k, _)| {
                facts.centres[*k]
                    .is_some_and(|centre| around.contains(&centre) && !near.contains(&centre))
            })
            .filter_map(|(_, cell)| cell.index)
            .min_by(f64::total_cmp)
    })
}

/// An area in the unit of the job.
fn area_in_words(us_units: bool, m2: f64) -> String {
    if us_units {
        format!("{:.1} ac", m2 / M2_PER_AC)
    } else {
        format!("{:.1} ha", m2 / M2_PER_HA)
    }
}

/// In words where a patch lies whose centre is off the field's by these shares of its half extent.
fn side_of(east: f64, north: f64) -> String {
    let word = |value: f64, low, high| {
        if value < -SIDE {
            low
        } else if value > SIDE {
            high
        } else {
            ""
        }
    };
    match (word(north, "south", "north"), word(east, "west", "east")) {
        ("", "") => "here and there in the field".to_owned(),
        (north, "") => format!("mostly in the {north}"),
        ("", east) => format!("mostly in the {east}"),
        (north, east) => format!("mostly in the {north}-{east}"),
    }
}

/// Longitude and latitude of the middle of the palest place for a strip like these. \[°\]
fn next_strip(ground: &Ground, survey: &Survey) -> Option<(f64, f64)> {
    let (mut palest, mut at) = (f64::INFINITY, None);
    for (placebo, strip) in survey.placebos.iter().zip(&survey.strips) {
        let Ok(placebo) = placebo else { continue };
        for (place, level) in placebo.strip_places.iter().zip(&placebo.measured.levels) {
            if *level < palest {
                (palest, at) = (*level, Some((place, strip)));
            }
        }
    }
    let (place, strip) = at?;
    let outer = &strip.plan.outer;
    let middle = outer.point(
        outer.length * (0.5 + 0.25 * place.along as f64),
        outer.width * (0.5 + 0.5 * place.across as f64),
    );
    let way = Projector::new(&ground.plane.crs, &Crs::wgs84()).ok()?;
    way.point(middle.x, middle.y).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sides_in_words() {
        assert_eq!(side_of(0.1, -0.1), "here and there in the field");
        assert_eq!(side_of(0.5, 0.0), "mostly in the east");
        assert_eq!(side_of(-0.5, 0.5), "mostly in the north-west");
        assert_eq!(side_of(0.0, -0.3), "mostly in the south");
    }
}
