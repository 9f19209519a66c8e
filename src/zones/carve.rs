//! Cells taken out of their zones because somebody set their rate: the zones around them keep what they had.

use crate::space::cells::Border;
use crate::zones::build::{Kind, Merged, Rate, Zone, ZoneCell, Zoning, leaders, summed};

/// What a cell is given instead of its zone's rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// By which order: cells of different orders are no one zone.
    pub by: u32,
    /// The rate.
    pub rate: Rate,
}

/// Zones with some cells at rates of their own. `given` goes by cell, and a sliver follows its cell; `step` is that of rates.
///
/// Cells without one keep kind and rate of their zone, bit for bit; what is left of a zone is as many zones as it has parts. Cells with one are zones of
/// their own: connected, of one order, one kind and one rate, however small. Numbers go by first cell again.
///
/// # Examples
/// Three cells in a row are one zone; the middle one is given another rate, and three zones are left:
/// ```
/// use haulm::space::cells::Border;
/// use haulm::zones::build::{GroupBy, Kind, Rate, ZoneCell, ZoneRule, build};
/// use haulm::zones::carve::{Given, carved};
///
/// let cell = ZoneCell { area: 100.0, kind: Kind::Canopy, n_exact: 40.0, rate: Rate::Steps(4), index: None, class: None, follows: None };
/// let (cells, rule) = (vec![cell; 3], ZoneRule { step: 10.0, minimum_q: 0, maximum_q: 20, minimum_area: 0.0, keep_total: false, tolerance: 0.0 });
/// let borders = [(0, 1), (1, 2)].map(|(a, b)| Border { a, b, length: 10.0 });
/// let zoning = build(&cells, &borders, GroupBy::Rate, &rule)?;
/// let given = [None, Some(Given { by: 0, rate: Rate::Steps(2) }), None];
/// let carved = carved(&cells, &borders, &zoning, &given, 10.0);
/// assert_eq!(carved.zones.iter().map(|zone| zone.n).collect::<Vec<_>>(), [40.0, 20.0, 40.0]);
/// # Ok::<(), haulm::zones::build::BuildError>(())
/// ```
#[must_use]
pub fn carved(
    cells: &[ZoneCell],
    borders: &[Border],
    zoning: &Zoning,
    given: &[Option<Given>],
    step: f64,
) -> Zoning {
    let leader = leaders(cells);
    let zone = |cell: u32| &zoning.zones[zoning.zone_of[cell as usize] as usize - 1];
    let gets = |cell: u32| given[leader[cell as usize] as usize];
    let alike = |a: u32, b: u32| match (gets(a), gets(b)) {
        (None, None) => zoning.zone_of[a as usize] == zoning.zone_of[b as usize],
        (Some(one), Some(other)) => {
            one.by == other.by && one.rate.same(other.rate) && zone(a).kind == zone(b).kind
        }
        _ => false,
    };
    let mut group = Merged::new(cells.len());
    for (cell, &lead) in (0..).zip(&leader) {
        group.join(cell, lead);
    }
    for border in borders {
        if alike(border.a, border.b) {
            group.join(border.a, border.b);
        }
    }
    let (zone_of, count) = group.numbered();
    let mut rates: Vec<Option<(Kind, Rate)>> = vec![None; count];
    for (cell, &number) in (0..).zip(&zone_of) {
        let Zone { kind, rate, .. } = *zone(cell);
        let rate = gets(cell).map_or(rate, |given| given.rate);
        rates[number as usize].get_or_insert((kind, rate));
    }
    let rates: Vec<(Kind, Rate)> = rates.into_iter().flatten().collect();
    let zones = summed(cells, &leader, &zone_of, &rates, step);
    Zoning {
        zones,
        zone_of: zone_of.into_iter().map(|zone| zone + 1).collect(),
        ..*zoning
    }
}
