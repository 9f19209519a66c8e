//! How many zones and points an old terminal takes: common practice, no source.

use crate::finding::codes;
use crate::map::faults::fault::Fault;
use crate::map::imported::{ImportedMap, Place};

/// Zones beyond which old terminals grow slow or refuse.
const MANY_ZONES: usize = 2_000;
/// Points of one ring beyond which some cut it.
const MANY_POINTS: usize = 5_000;
/// Points of the whole map.
const MANY_IN_ALL: usize = 200_000;

pub(super) fn check(map: &ImportedMap, faults: &mut Vec<Fault>) {
    if map.patches.len() > MANY_ZONES {
        let message = format!(
            "the map has {} zones; old terminals take up to about {MANY_ZONES}: join small ones",
            map.patches.len()
        );
        faults.push(
            Fault::caution(codes::COUNT_ZONES, Place::whole(), message)
                .sized(map.patches.len() as f64, "zones"),
        );
    }
    let mut all = 0;
    for patch in &map.patches {
        for ring in patch.parts.iter().flat_map(|part| &part.rings) {
            all += ring.points.len();
            if ring.points.len() > MANY_POINTS {
                let message = format!(
                    "a ring has {} points; old terminals take up to about {MANY_POINTS}: simplify it",
                    ring.points.len()
                );
                let fault = Fault::caution(codes::COUNT_POINTS, patch.place.clone(), message)
                    .sized(ring.points.len() as f64, "points");
                faults.push(match ring.points.first() {
                    Some(&at) => fault.at(at),
                    None => fault,
                });
            }
        }
    }
    if all > MANY_IN_ALL {
        let message = format!(
            "the map has {all} points in all; old terminals take up to about {MANY_IN_ALL}"
        );
        faults.push(
            Fault::caution(codes::COUNT_POINTS, Place::whole(), message)
                .sized(all as f64, "points"),
        );
    }
}
