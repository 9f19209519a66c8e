//! Borders of zones as lines, found once for all drawings of a map.

use std::collections::HashSet;

use geo::Coord;

use crate::map::prescription::ZoneRecord;
use crate::report::draw::drawing::Rings;
use crate::report::draw::frame::{MapFrame, is_apart};

/// Borders of zones on the plane, as chains. A border that two zones share is one line, so that it takes half of the room.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Borders(Vec<Vec<Coord<f64>>>);

impl Borders {
    /// The borders of these zones.
    pub(crate) fn of(zones: &[ZoneRecord]) -> Self {
        let mut drawn = HashSet::new();
        let mut chains: Vec<Vec<Coord<f64>>> = Vec::new();
        let rings = zones
            .iter()
            .flat_map(|zone| &zone.outline)
            .flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()));
        for ring in rings {
            let mut open = false;
            for line in ring.lines() {
                let [from, to] = [line.start, line.end].map(|c| (c.x.to_bits(), c.y.to_bits()));
                if !drawn.insert((from.min(to), from.max(to))) {
                    open = false;
                    continue;
                }
                match chains.last_mut().filter(|_| open) {
                    Some(chain) => chain.push(line.end),
                    None => chains.push(vec![line.start, line.end]),
                }
                open = true;
            }
        }
        Self(chains)
    }

    /// The same on a drawing, without points that no eye can tell apart.
    pub(crate) fn on(&self, frame: &MapFrame) -> Rings {
        let chain = |border: &Vec<Coord<f64>>| {
            let mut chain = Vec::new();
            for place in border {
                lengthen(&mut chain, frame.place(place.x, place.y));
            }
            chain
        };
        self.0.iter().map(chain).collect()
    }
}

/// A chain with one more point. A point that no eye can tell from the one before it gives way; both ends stay.
fn lengthen(chain: &mut Vec<(f64, f64)>, to: (f64, f64)) {
    let is_near = match chain.as_slice() {
        [.., before, last] => !is_apart(*before, *last),
        _ => false,
    };
    if is_near {
        chain.pop();
    }
    chain.push(to);
}
