//! What is wrong with a prescription map, ours or anybody's: pure checks on [`ImportedMap`].
//!
//! Topology is judged on the numbers of the file itself, by robust predicates; lengths and areas are measured on the UTM plane of the map's middle.

mod columns;
mod counts;
mod cover;
pub mod fault;
mod frame;
mod lattice;
mod necks;
mod rates;
pub mod repair;
mod rings;

use geo::MultiPolygon;

use crate::map::faults::fault::Fault;
use crate::map::faults::frame::Frame;
use crate::map::imported::ImportedMap;
use crate::units::{Length, NRate, Product};

/// What a map is held against.
#[derive(Clone, Debug, Default)]
pub struct Against {
    /// The field, in WGS 84.
    pub boundary: Option<MultiPolygon<f64>>,
    /// Ground that must get nothing, in WGS 84; empty when there is none.
    pub exclusions: Vec<MultiPolygon<f64>>,
    /// By how much exclusions grow. \[m\]
    pub exclusion_buffer: Length,
    /// Working width of the machine.
    pub machine_width: Option<Length>,
    /// Least rate that it holds, in the map's unit.
    pub minimum: Option<f64>,
    /// Greatest rate that it holds, in the map's unit.
    pub maximum: Option<f64>,
    /// Most nitrogen that may be spread.
    pub nitrogen_limit: Option<NRate>,
    /// The product, when the user names it.
    pub product: Option<Product>,
}

/// What a map comes to.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sums {
    /// Ground with a rate. \[m²\]
    pub area_m2: f64,
    /// Rate times ground, in the unit of the map's totals (kg, L, lb, gal).
    pub total: f64,
    /// Least and greatest rate.
    pub range: Option<(f64, f64)>,
    /// Area of the field less exclusions, when a boundary is given. \[m²\]
    pub field_m2: Option<f64>,
}

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Verdict {
    /// Faults: those of the reader first, then by kind of check, in file order.
    pub faults: Vec<Fault>,
    /// Sums.
    pub sums: Sums,
}

/// Checks a map.
pub fn check(map: &ImportedMap, against: &Against) -> Verdict {
    let mut faults = map.oddities.clone();
    let frame = Frame::of(map, against, &mut faults);
    columns::check(map, &mut faults);
    rings::check(map, &frame, &mut faults);
    rates::check(map, against, &mut faults);
    counts::check(map, &mut faults);
    let mut sums = cover::check(map, against, &frame, &mut faults);
    if map.lattice.is_some() {
        sums = lattice::check(map, against, &frame, &mut faults);
    }
    let numbers = || {
        let patches = map.patches.iter().filter_map(|patch| patch.rate.number());
        patches.chain(
            map.lattice
                .iter()
                .flat_map(|lattice| lattice.rates.iter().copied().flatten()),
        )
    };
    sums.range = numbers().fold(None, |range: Option<(f64, f64)>, rate| {
        Some(range.map_or((rate, rate), |(low, high)| (low.min(rate), high.max(rate))))
    });
    Verdict { faults, sums }
}
