//! The reference index at every cell: one for the field, the nearest strip's, a mean weighted by distance, or that of the cell's own zone.

use geo::{
    Area as _, BooleanOps as _, Contains as _, Distance as _, Euclidean, MultiPolygon, Point,
};

use crate::finding::{Checked, Finding, codes};
use crate::job::settings::StripsUse;
use crate::pipeline::ground::Ground;
use crate::pipeline::rate_error::RateError;
use crate::pipeline::reference::Reference;
use crate::units::Area;

/// Strips nearer than this count as this near. \[m\]
const MINIMUM_DISTANCE: f64 = 1.0;
/// Zones that overlap by more than this are refused. \[m²\]
const MINIMUM_OVERLAP: f64 = 1.0;

/// The reference index at each centre, in their order.
///
/// "Inverse distance" weighs each usable strip by 1/d², d being the distance from the cell's centroid to the strip itself, never below 1 m. Zones take the
/// strips of which the larger part lies in them, weighted by area; ground in no zone takes the pooled reference, with a caution.
///
/// # Errors
/// [`RateError::ZoneWithoutStrip`] unless the job lets such a zone take the pooled reference, [`RateError::ZonesOverlap`].
pub(crate) fn reference_of(
    ground: &Ground,
    rule: &StripsUse,
    reference: &Reference,
    centres: &[Option<Point<f64>>],
) -> Result<Checked<Vec<f64>>, RateError> {
    over_cells(ground, rule, (reference.index, &reference.each), centres)
}

/// The response index `RI_field` at each centre, by the same strips and weights as the reference index; a strip that has none takes that of all strips.
/// `None` where nothing was measured beside any strip.
///
/// # Errors
/// As [`reference_of`].
pub(crate) fn field_ratio_of(
    ground: &Ground,
    rule: &StripsUse,
    reference: &Reference,
    centres: &[Option<Point<f64>>],
) -> Result<Option<Vec<f64>>, RateError> {
    let Some(pooled) = reference.ratio else {
        return Ok(None);
    };
    let each: Vec<(usize, f64)> = reference
        .each
        .iter()
        .map(|(number, _)| {
            let own = reference
                .each_ratio
                .iter()
                .find(|(other, _)| other == number);
            (*number, own.map_or(pooled, |(_, ratio)| *ratio))
        })
        .collect();
    // What is to be said of zones was said with the reference index.
    Ok(Some(
        over_cells(ground, rule, (pooled, &each), centres)?.value,
    ))
}

/// A value of all strips and of each, at each centre.
fn over_cells(
    ground: &Ground,
    rule: &StripsUse,
    (pooled_value, each): (f64, &[(usize, f64)]),
    centres: &[Option<Point<f64>>],
) -> Result<Checked<Vec<f64>>, RateError> {
    let strips: Vec<(&MultiPolygon<f64>, f64)> = each
        .iter()
        .filter_map(|(number, index)| {
            ground
                .strips
                .get(number.wrapping_sub(1))
                .map(|strip| (strip, *index))
        })
        .collect();
    let pooled = |_: &Option<Point<f64>>| pooled_value;
    if strips.is_empty() {
        return Ok(Checked::clean(centres.iter().map(pooled).collect()));
    }
    let by = |at: &dyn Fn(&Point<f64>) -> f64| {
        Ok(Checked::clean(
            centres
                .iter()
                .map(|centre| centre.as_ref().map_or(pooled_value, at))
                .collect(),
        ))
    };
    match rule {
        StripsUse::Pooled => Ok(Checked::clean(centres.iter().map(pooled).collect())),
        StripsUse::Nearest => by(&|centre| nearest(&strips, centre).unwrap_or(pooled_value)),
        StripsUse::InverseDistance => by(&|centre| inverse_distance(&strips, centre)),
        StripsUse::Zones { pooled_without, .. } => {
            let Checked {
                value: zones,
                mut findings,
            } = zone_references(ground, &strips, pooled_value, *pooled_without)?;
            let zone_at = |centre: &Point<f64>| {
                ground
                    .reference_zones
                    .iter()
                    .position(|zone| zone.contains(centre))
            };
            let mut outside = 0_usize;
            let all = centres
                .iter()
                .map(|centre| {
                    centre.as_ref().and_then(zone_at).map_or_else(
                        || {
                            outside += 1;
                            pooled_value
                        },
                        |zone| zones[zone],
                    )
                })
                .collect();
            if outside > 0 {
                findings.push(Finding::caution(
                    codes::REFERENCE_NO_ZONE,
                    format!(
                        "{outside} of {} cells lie in no zone of reference.zones: they take the reference of all strips, {:.4}",
                        centres.len(),
                        pooled_value
                    ),
                ));
            }
            Ok(Checked::new(all, findings))
        }
    }
}

/// That of the nearest strip (ties: the lower number).
fn nearest(strips: &[(&MultiPolygon<f64>, f64)], centre: &Point<f64>) -> Option<f64> {
    let mut best: Option<(f64, f64)> = None;
    for (strip, index) in strips {
        let distance = Euclidean.distance(centre, *strip);
        if best.is_none_or(|(minimum, _)| distance < minimum - 1e-9) {
            best = Some((distance, *index));
        }
    }
    best.map(|(_, index)| index)
}

fn inverse_distance(strips: &[(&MultiPolygon<f64>, f64)], centre: &Point<f64>) -> f64 {
    let (mut sum, mut weights) = (0.0, 0.0);
    for (strip, index) in strips {
        let distance = Euclidean.distance(centre, *strip).max(MINIMUM_DISTANCE);
        let weight = 1.0 / (distance * distance);
        sum += weight * index;
        weights += weight;
    }
    sum / weights
}

/// The reference of each zone.
fn zone_references(
    ground: &Ground,
    strips: &[(&MultiPolygon<f64>, f64)],
    pooled: f64,
    pooled_without: bool,
) -> Result<Checked<Vec<f64>>, RateError> {
    let mut findings = Vec::new();
    let zones = &ground.reference_zones;
    for (second, zone) in zones.iter().enumerate() {
        for (first, before) in zones.iter().enumerate().take(second) {
            let area = zone.intersection(before).unsigned_area();
            if area > MINIMUM_OVERLAP {
                return Err(RateError::ZonesOverlap {
                    first: first + 1,
                    second: second + 1,
                    area,
                });
            }
        }
    }
    // Area of the strip in the field, as the pooled reference weighs it, and the zone that holds most of it.
    let homes: Vec<(f64, Option<usize>)> = strips
        .iter()
        .map(|(strip, _)| {
            let mut home: (f64, Option<usize>) = (0.0, None);
            for (k, zone) in zones.iter().enumerate() {
                let area = strip.intersection(zone).unsigned_area();
                if area > home.0 {
                    home = (area, Some(k));
                }
            }
            (strip.intersection(&ground.field).unsigned_area(), home.1)
        })
        .collect();
    let mut all = Vec::with_capacity(zones.len());
    for (k, zone) in zones.iter().enumerate() {
        let (mut sum, mut weight) = (0.0, 0.0);
        for ((_, index), (area, home)) in strips.iter().zip(&homes) {
            if *home == Some(k) {
                sum += index * area;
                weight += area;
            }
        }
        let area_ha = zone.intersection(&ground.mapped).unsigned_area() / 10_000.0;
        if weight > 0.0 {
            all.push(sum / weight);
        } else if pooled_without || area_ha <= 0.0 {
            if area_ha > 0.0 {
                findings.push(Finding::caution(
                    codes::REFERENCE_ZONE_WITHOUT_STRIP,
                    format!("zone {} of reference.zones ({} of the field) holds no usable strip: it takes the reference of all strips, {pooled:.4}, which other ground gave", k + 1, Area::ha(area_ha).both()),
                ));
            }
            all.push(pooled);
        } else {
            return Err(RateError::ZoneWithoutStrip {
                zone: k + 1,
                zones: zones.len(),
                area_ha,
            });
        }
    }
    Ok(Checked::new(all, findings))
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Rect, coord};

    fn strip(west: f64) -> MultiPolygon<f64> {
        MultiPolygon::new(vec![
            Rect::new(
                coord! { x: west, y: 0.0 },
                coord! { x: west + 10.0, y: 300.0 },
            )
            .to_polygon(),
        ])
    }

    #[test]
    fn near_strips_count_for_more() {
        let (a, b) = (strip(0.0), strip(110.0));
        let strips = [(&a, 0.70), (&b, 0.80)];
        // 20 m from one and 80 m from the other: weights 1/400 and 1/6400, so 16 to 1.
        let mixed = inverse_distance(&strips, &Point::new(30.0, 150.0));
        assert!(
            (mixed - (16.0 * 0.70 + 0.80) / 17.0).abs() < 1e-12,
            "{mixed}"
        );
        // Halfway they count alike; in a strip, 1 m against 100 m, the other hardly counts.
        assert!((inverse_distance(&strips, &Point::new(60.0, 150.0)) - 0.75).abs() < 1e-12);
        assert!((inverse_distance(&strips, &Point::new(10.0, 150.0)) - 0.70).abs() < 2e-5);
        assert_eq!(nearest(&strips, &Point::new(59.0, 0.0)), Some(0.70));
        assert_eq!(
            nearest(&strips, &Point::new(60.0, 0.0)),
            Some(0.70),
            "ties: the lower number"
        );
        assert_eq!(nearest(&[], &Point::new(60.0, 0.0)), None);
    }
}
