//! Ground that files of polygons for machines hold as a zone of nothing. A gap would be ground without a rate, where a terminal may keep the last one.

use geo::{Area as _, BooleanOps as _, MultiPolygon, Polygon};

use crate::map::prescription::Prescription;
use crate::space::polygon::{grown, joined, less, oriented};

/// Smaller pieces came from overlay, or no terminal can show them. \[m²\]
const SMALL: f64 = 0.1;

/// Exclusions with their buffers, holes of the boundary, and strips that are left without a rate: within the boundary's outline, and beyond it as far as rates run on.
pub(crate) fn excluded(prescription: &Prescription) -> MultiPolygon<f64> {
    let filled = MultiPolygon::new(
        prescription
            .boundary
            .iter()
            .map(|part| Polygon::new(part.exterior().clone(), Vec::new()))
            .collect(),
    );
    let kept_clear = prescription.kept_clear();
    let strips: Vec<MultiPolygon<f64>> = prescription
        .strips
        .iter()
        .map(|strip| strip.outline.clone())
        .collect();
    let mut parts = Vec::new();
    if !kept_clear.0.is_empty() {
        let reach = grown(&filled, prescription.machine.overrun.get().max(0.0));
        parts.push(kept_clear.intersection(&reach));
    }
    if !strips.is_empty() {
        let left = joined(&strips).intersection(&prescription.boundary);
        parts.push(less(&less(&left, &kept_clear), &prescription.field));
    }
    let ground = match parts.len() {
        0 => return MultiPolygon::new(Vec::new()),
        1 => oriented(&parts[0]),
        _ => oriented(&joined(&parts)),
    };
    ground
        .into_iter()
        .filter(|part| part.unsigned_area() >= SMALL)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture::{self, EXCLUSION, LENGTH, OVERRUN, WIDTH};
    use geo::{Contains as _, LineString, Point};

    fn rectangle(a0: f64, b0: f64, a1: f64, b1: f64) -> LineString<f64> {
        [(a0, b0), (a1, b0), (a1, b1), (a0, b1), (a0, b0)]
            .into_iter()
            .map(|(a, b)| fixture::point(a, b))
            .collect()
    }

    #[test]
    fn exclusions_and_holes_as_far_as_rates_run_on() {
        let mut field = fixture::prescription();
        let [a0, b0, a1, b1] = EXCLUSION;
        let own = (a1 - a0) * (b1 - b0);
        assert!((excluded(&field).unsigned_area() - own).abs() < 1e-3);
        // A pond in the boundary, and an exclusion across the edge that goes on further than rates do.
        let exterior = field.boundary.0[0].exterior().clone();
        let mut pond = rectangle(20.0, 20.0, 40.0, 30.0);
        pond.0.reverse();
        field.boundary = MultiPolygon::new(vec![Polygon::new(exterior, vec![pond])]);
        field.exclusions.0.push(Polygon::new(
            rectangle(LENGTH - 10.0, 50.0, LENGTH + 90.0, 60.0),
            Vec::new(),
        ));
        let ground = excluded(&field);
        let due = own + 200.0 + (10.0 + OVERRUN) * 10.0;
        assert!((ground.unsigned_area() - due).abs() < 1e-2, "{ground:?}");
        assert!(ground.contains(&Point::from(fixture::point(30.0, 25.0))));
    }

    #[test]
    fn a_strip_that_is_left_is_one_and_a_mapped_one_is_none() {
        let mut field = fixture::prescription();
        field.exclusions = MultiPolygon::new(Vec::new());
        field.field = field.boundary.clone();
        assert!(excluded(&field).0.is_empty());
        field.field = less(&field.boundary, &field.strips[0].outline);
        let strip = LENGTH * 24.0_f64.min(WIDTH);
        assert!((excluded(&field).unsigned_area() - strip).abs() < 1e-2);
    }
}
