//! How far field, zones and cells may lie from their rates: every uncertainty drawn at once, and each alone.
//!
//! A cell's rate depends on its index and its reference index alone, and every uncertainty moves all cells together. So rates are drawn for a table of places of
//! index and reference, not for every cell: the table holds each value itself where there are few, else evenly spaced ones, and a cell lies on the line
//! between its neighbours (steps of a class table: on the nearer one). Field and zones are weighted sums of the table, draw by draw.

mod between;

use std::collections::BTreeMap;

use self::between::{CellErrors, Drawn};
use crate::finding::{Finding, codes};
use crate::job::settings::{Output, RateRules, Response, StateRate, UncertaintySettings};
use crate::map::prescription::{CellState, ZoneRecord};
use crate::pipeline::change::Change;
use crate::pipeline::ground::Ground;
use crate::pipeline::rates::Rated;
use crate::pipeline::ratio_limit::SetBy;
use crate::pipeline::reference::Reference;
use crate::science::monte_carlo::{
    Band, Draw, Factor, Moved, Spreads, USUAL_CURVE_SPREAD, Z_95, band_of, place_spread,
};
use crate::units::NRate;
use crate::zones::build::Kind;
use ndarray::Array2;

/// Places of the index that are drawn, when there is one reference: over half the range of an index, a cell's band is then within 0.3 kg N/ha of its own draws
/// (see the tests).
const PLACES: usize = 256;
/// Places of index and reference when the reference varies over the field, when errors of kriging reach beyond what was measured, and of rates that go in steps, where a place stands for its neighbourhood.
const MORE_PLACES: usize = 512;
/// Places of the reference, when it varies over the field.
const REFERENCES: usize = 9;
/// Numbers that the table may hold: 32 MB.
const MAXIMUM_NUMBERS: usize = 4_000_000;
/// Totals below this have no share that means anything. \[kg N\]
const MINIMUM_TOTAL: f64 = 1.0;

/// A plain total further than this share from the median is explained.
const FAR_FROM_MIDDLE: f64 = 0.10;

/// What a part of the uncertainty comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// What moves all cells together.
    Shared(Factor),
    /// What lies between readings: the standard errors of kriged cells.
    Between,
}

impl Cause {
    /// The word of it in records.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Shared(factor) => factor.word(),
            Self::Between => "ground between readings",
        }
    }
}

/// What one uncertainty alone does to the field's nitrogen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// What it comes from.
    pub cause: Cause,
    /// Standard deviation of the field's nitrogen. \[kg\]
    pub sd_kg: f64,
    /// Share of the sum of all variances.
    pub share: f64,
    /// Nitrogen at its lower and upper end (see [`Spreads::ends`]; one standard deviation of the ground between readings). \[kg\]
    pub ends_kg: (f64, f64),
}

/// The band of field, zones and cells. P10, P50 and P90 of many draws; rates within limits, not rounded.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Uncertainty {
    /// How many draws.
    pub draws: u32,
    /// What they were begun with.
    pub seed: u64,
    /// How wide each uncertainty is, without what does not move the method.
    pub spreads: Spreads,
    /// Whether the job states the curve's spread.
    pub curve_stated: bool,
    /// Whether the job states the spread of the strip's place.
    pub place_stated: bool,
    /// Whether placebo strips show the spread of the strip's place.
    pub place_measured: bool,
    /// Strips that count for the place.
    pub strips: usize,
    /// The field's nitrogen as computed, not rounded, unseen ground at the exact field rate. \[kg\]
    pub plain_kg: f64,
    /// The field's nitrogen. \[kg\]
    pub field: Band,
    /// Mean rate of each zone, in their order; `None` where the zone has no value of its own. \[kg N/ha\]
    pub zones: Vec<Option<Band>>,
    /// P10 and P90 of each cell; `None` where it has no value of its own. \[kg N/ha\]
    pub cells: Vec<Option<(f64, f64)>>,
    /// Side of the squares in which the errors of kriged cells were drawn alike; `None` for an image and for means. \[m\]
    pub alike: Option<f64>,
    /// Each uncertainty alone, widest first; those that do not move the field are left out.
    pub parts: Vec<Part>,
}

/// How wide the uncertainties of a run are.
///
/// Place and ratio are one error of the reference index: the standard deviation of strip-sized means over the placebo places, over √strips. Without placebo
/// places a usual one and the ratio's own, from the paired interval, in quadrature. `uncertainty.place_spread` states it instead.
pub fn spreads_of(
    settings: &UncertaintySettings,
    curve: Option<f64>,
    reference: &Reference,
    rated: &Rated,
) -> Spreads {
    let strips = reference.each.len();
    let root = libm::sqrt(strips.max(1) as f64);
    let (ratio, place) = match (&reference.placebo, reference.ratio, reference.paired) {
        (Some(placebo), ..) => (
            placebo.spread / if placebo.agree { root } else { 1.0 },
            placebo.level_spread / root,
        ),
        (None, Some(ratio), Some((low, high))) if ratio > 0.0 => {
            let measured = (high - low) / (2.0 * Z_95 * ratio);
            (measured, libm::hypot(place_spread(strips), measured))
        }
        _ => (0.0, place_spread(strips)),
    };
    let limit = match rated.limit.by {
        // Below 1 it is limited to 1, but moves from where it is.
        SetBy::NoResponse => reference.ratio,
        SetBy::Doubtful | SetBy::Seen => Some(rated.limit.value),
        SetBy::Usual | SetBy::Stated => None,
    };
    Spreads {
        ratio,
        limit,
        use_efficiency: settings.use_efficiency_spread,
        curve: curve.unwrap_or(USUAL_CURVE_SPREAD),
        place: settings.place_spread.unwrap_or(place),
    }
    .of_model(&rated.model)
}

/// Where on a rising axis a value lies: two places and their weights.
fn located(axis: &[f64], value: f64, nearest: bool) -> [(usize, f64); 2] {
    let above = axis
        .partition_point(|place| *place < value)
        .min(axis.len() - 1);
    let below = above.saturating_sub(1);
    let width = axis[above] - axis[below];
    if above == below || width <= 0.0 || value >= axis[above] {
        return [(above, 1.0), (above, 0.0)];
    }
    let up = ((value - axis[below]) / width).clamp(0.0, 1.0);
    if nearest {
        [(if up < 0.5 { below } else { above }, 1.0), (above, 0.0)]
    } else {
        [(below, 1.0 - up), (above, up)]
    }
}

/// Every value, when there are few, else evenly spaced places from the least to the greatest.
fn axis(mut values: Vec<f64>, most: usize) -> Vec<f64> {
    values.sort_unstable_by(f64::total_cmp);
    values.dedup();
    match (values.first().copied(), values.last().copied()) {
        (Some(low), Some(high)) if values.len() > most => (0..most)
            .map(|k| low + (high - low) * k as f64 / (most - 1) as f64)
            .collect(),
        _ => values,
    }
}

/// Where cells lie in the table of drawn rates.
struct Places {
    references: Vec<f64>,
    /// `RI_field` at each of them, where not all of the index deficit counts as nitrogen and strips count by their place.
    ratios: Option<Vec<f64>>,
    indices: Vec<f64>,
    nearest: bool,
}

impl Places {
    fn of(cells: impl Iterator<Item = (f64, f64)>, most: usize, nearest: bool, wide: bool) -> Self {
        let (indices, references): (Vec<f64>, Vec<f64>) = cells.unzip();
        let references = axis(references, REFERENCES);
        let most = most.min(if nearest || wide || references.len() > 1 {
            MORE_PLACES
        } else {
            PLACES
        });
        let indices = axis(indices, (most / references.len().max(1)).max(16));
        Self {
            references,
            ratios: None,
            indices,
            nearest,
        }
    }
    /// Gives each place of the reference the mean response index of the cells around it, area by area; `all` where there are none.
    fn with_ratios(&mut self, cells: impl Iterator<Item = (f64, f64, f64)>, all: f64) {
        let mut sums = vec![(0.0, 0.0); self.references.len()];
        for (area, reference, ratio) in cells {
            for (place, weight) in located(&self.references, reference, self.nearest) {
                sums[place].0 += weight * area * ratio;
                sums[place].1 += weight * area;
            }
        }
        let mean = |(sum, area): (f64, f64)| if area > 0.0 { sum / area } else { all };
        self.ratios = Some(sums.into_iter().map(mean).collect());
    }
    /// `RI_field` of the strips that this reference comes from; `None`: the model's own.
    fn ratio_near(&self, reference: f64) -> Option<f64> {
        let ratios = self.ratios.as_ref()?;
        let around = located(&self.references, reference, self.nearest);
        Some(
            around
                .into_iter()
                .map(|(place, weight)| weight * ratios[place])
                .sum(),
        )
    }
    fn len(&self) -> usize {
        self.references.len() * self.indices.len()
    }
    /// Index and reference of a place.
    fn at(&self, place: usize) -> (f64, f64) {
        (
            self.indices[place % self.indices.len()],
            self.references[place / self.indices.len()],
        )
    }
    /// Up to four places and their weights, which add up to 1.
    fn around(&self, index: f64, reference: f64) -> impl Iterator<Item = (usize, f64)> {
        let (i, r) = (
            located(&self.indices, index, self.nearest),
            located(&self.references, reference, self.nearest),
        );
        let wide = self.indices.len();
        r.into_iter()
            .flat_map(move |(r, share)| {
                i.into_iter()
                    .map(move |(i, own)| (r * wide + i, own * share))
            })
            .filter(|(_, weight)| *weight > 0.0)
    }
}

/// What a cell gets in a draw.
#[derive(Clone, Copy)]
enum Gets {
    /// Its own rate.
    Own(f64, f64),
    /// Its own, at most the field rate.
    Held(f64, f64),
    /// The field rate.
    Field,
    /// A stated amount.
    Stated(f64),
    /// What was set by hand of one of these.
    Set(Base, Change),
}

/// What a change by hand is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Base {
    /// A cell's own rate, by index and reference; at most the field rate where the last says so.
    Own(f64, f64, bool),
    /// The field rate.
    Field,
}

/// What gives the field's or a zone's nitrogen in a draw: rates changed by hand, with areas. \[ha\]
#[derive(Default)]
struct Changed {
    /// By place in the table, and whether at most the field rate; each with its change.
    own: BTreeMap<(usize, bool, [u64; 3]), (Change, f64)>,
    field: BTreeMap<[u64; 3], (Change, f64)>,
}

impl Changed {
    const fn key(change: &Change) -> [u64; 3] {
        [
            change.add.to_bits(),
            change.minimum.to_bits(),
            change.most.to_bits(),
        ]
    }
    fn add(&mut self, places: &Places, base: Base, change: Change, area: f64) {
        let key = Self::key(&change);
        match base {
            Base::Own(index, reference, held) => {
                for (place, weight) in places.around(index, reference) {
                    let sum = self.own.entry((place, held, key)).or_insert((change, 0.0));
                    sum.1 += weight * area;
                }
            }
            Base::Field => self.field.entry(key).or_insert((change, 0.0)).1 += area,
        }
    }
    /// Nitrogen for these rates of the table and this field rate. \[kg\]
    fn kg(&self, rate: impl Fn(usize) -> f64, field: f64) -> f64 {
        let own = self.own.iter().map(|((place, held, _), (change, area))| {
            let rate = rate(*place);
            area * change.of(if *held { rate.min(field) } else { rate })
        });
        let of_field = self
            .field
            .values()
            .map(|(change, area)| area * change.of(field));
        own.chain(of_field).sum()
    }
}

/// Nitrogen as a sum over the table. Weights are areas. \[ha\]
#[derive(Default)]
struct Sum {
    own: BTreeMap<usize, f64>,
    held: BTreeMap<usize, f64>,
    field: f64,
    stated_kg: f64,
    changed: Changed,
    area: f64,
}

impl Sum {
    fn add(&mut self, places: &Places, gets: Gets, area: f64) {
        self.area += area;
        let (map, index, reference) = match gets {
            Gets::Own(index, reference) => (&mut self.own, index, reference),
            Gets::Held(index, reference) => (&mut self.held, index, reference),
            Gets::Field => {
                self.field += area;
                return;
            }
            Gets::Stated(rate) => {
                self.stated_kg += rate * area;
                return;
            }
            Gets::Set(base, change) => {
                self.changed.add(places, base, change, area);
                return;
            }
        };
        for (place, weight) in places.around(index, reference) {
            *map.entry(place).or_default() += weight * area;
        }
    }
    /// Nitrogen for these rates of the table and this field rate. \[kg\]
    fn kg(&self, rate: impl Fn(usize) -> f64, field: f64) -> f64 {
        let changed = self.changed.kg(&rate, field);
        let own: f64 = self
            .own
            .iter()
            .map(|(place, area)| area * rate(*place))
            .sum();
        let held: f64 = self
            .held
            .iter()
            .map(|(place, area)| area * rate(*place).min(field))
            .sum();
        own + held + self.field * field + self.stated_kg + changed
    }
    /// The same for every draw of a table.
    fn all(&self, table: &Array2<f64>, fields: &[f64]) -> Vec<f64> {
        let mut kg: Vec<f64> = fields
            .iter()
            .map(|field| self.field * field + self.stated_kg)
            .collect();
        for (place, area) in &self.own {
            for (kg, rate) in kg.iter_mut().zip(table.row(*place)) {
                *kg += area * rate;
            }
        }
        for (place, area) in &self.held {
            for ((kg, rate), field) in kg.iter_mut().zip(table.row(*place)).zip(fields) {
                *kg += area * rate.min(*field);
            }
        }
        if !self.changed.own.is_empty() || !self.changed.field.is_empty() {
            for (draw, (kg, field)) in kg.iter_mut().zip(fields).enumerate() {
                *kg += self.changed.kg(|place| table[(place, draw)], *field);
            }
        }
        kg
    }
    /// Places of the table that it reads.
    fn places(&self) -> impl Iterator<Item = usize> {
        let changed = self.changed.own.keys().map(|(place, ..)| *place);
        self.own
            .keys()
            .chain(self.held.keys())
            .copied()
            .chain(changed)
    }
    /// Whether anything of it has a value of its own.
    fn has_value(&self) -> bool {
        !self.own.is_empty() || !self.held.is_empty() || !self.changed.own.is_empty()
    }
}

impl Gets {
    /// The same, changed by hand.
    fn changed(self, change: Change) -> Self {
        match self {
            Self::Stated(rate) => Self::Stated(change.of(rate)),
            // One rate whatever is drawn.
            _ if change.minimum >= change.most => Self::Stated(change.most),
            Self::Own(index, reference) => Self::Set(Base::Own(index, reference, false), change),
            Self::Held(index, reference) => Self::Set(Base::Own(index, reference, true), change),
            Self::Field => Self::Set(Base::Field, change),
            Self::Set(..) => self,
        }
    }
}

/// What each cell gets, slivers as their hosts.
fn gets_of(rule: &RateRules, rated: &Rated) -> Vec<Gets> {
    let stated = |rate: StateRate| {
        if let StateRate::Amount(amount) = rate {
            Gets::Stated(amount.get())
        } else {
            Gets::Field
        }
    };
    (0..rated.cells.len())
        .map(|k| {
            let host = rated.follows[k].map_or(k, |host| host as usize);
            let (cell, reference) = (&rated.cells[host], rated.reference_of[host]);
            let own = match (rated.due[host].kind, cell.index) {
                (Kind::Canopy, Some(index)) if cell.state == CellState::Thin => match rule.thin {
                    StateRate::Own => Gets::Own(index, reference),
                    StateRate::FieldRate => Gets::Held(index, reference),
                    StateRate::Amount(amount) => Gets::Stated(amount.get()),
                },
                (Kind::Canopy, Some(index)) => Gets::Own(index, reference),
                (Kind::Bare, _) => stated(rule.bare),
                _ => stated(rule.unseen),
            };
            rated.due[host]
                .set
                .map_or(own, |change| own.changed(change))
        })
        .collect()
}

/// Draws everything. `alike`: the area over which errors of kriged cells are alike \[m²\], where cells are kriged. `None` when the job wants no draws.
pub fn uncertainty_of(
    requirement: &UncertaintySettings,
    (curve_spread, rule): (Option<f64>, &RateRules),
    ground: &Ground,
    reference: &Reference,
    rated: &Rated,
    zones: &[ZoneRecord],
    alike: Option<f64>,
) -> Option<Uncertainty> {
    if requirement.draws == 0 {
        return None;
    }
    let model = &rated.model;
    let spreads = spreads_of(requirement, curve_spread, reference, rated);
    let areas: Vec<f64> = ground
        .grid
        .cells
        .iter()
        .map(|cell| cell.area / 10_000.0)
        .collect();
    let gets = gets_of(rule, rated);
    let draws = requirement.draws as usize;
    let steps = model.method.has_steps();
    // The field rate is the mean over canopy outside strips, or over all canopy when there is none outside.
    let outside = rated.outside_strips.iter().any(|outside| *outside);
    let counts = |k: usize| {
        if outside {
            rated.outside_strips[k]
        } else {
            rated.cells[k].state == CellState::Canopy
        }
    };
    let errors = CellErrors::of(ground, rated, alike);
    let used = (0..gets.len()).filter_map(|k| {
        rated.cells[k]
            .index
            .map(|index| (index, rated.reference_of[k]))
    });
    let used = used.chain(errors.iter().flat_map(|errors| errors.reached(&gets)));
    let mut places = Places::of(used, MAXIMUM_NUMBERS / draws, steps, errors.is_some());
    if let Some(blend) = model.blend.filter(|_| places.references.len() > 1) {
        let cells = (0..gets.len())
            .filter_map(|k| Some((areas[k], rated.reference_of[k], rated.field_ratio_of[k]?)));
        places.with_ratios(cells, blend.field_ratio);
    }
    if places.len() == 0 {
        return None;
    }
    let mut mean = Sum::default();
    let mut whole = Sum::default();
    let mut by_zone: Vec<Sum> = zones.iter().map(|_| Sum::default()).collect();
    for (k, cell) in rated.cells.iter().enumerate() {
        if let Some(index) = cell.index.filter(|_| counts(k)) {
            mean.add(&places, Gets::Own(index, rated.reference_of[k]), areas[k]);
        }
        whole.add(&places, gets[k], areas[k]);
        if let Some(zone) = by_zone.get_mut((cell.zone as usize).wrapping_sub(1)) {
            zone.add(&places, gets[k], areas[k]);
        }
    }
    // Places lie between values that have a rate, so that each has one.
    let cells: Vec<_> = (0..places.len())
        .map(|place| {
            let (index, reference) = places.at(place);
            let own = (index, model.method.kept(index));
            (own, reference, places.ratio_near(reference))
        })
        .collect();
    let rate = |moved: &Moved, (own, reference, ratio): &((f64, f64), f64, Option<f64>)| {
        moved.exact_kept(*own, *reference, *ratio).unwrap_or(0.0)
    };
    // A place that no cell lies beside is read by nothing but errors of kriging, which reach further.
    let mut is_read = vec![errors.is_some(); cells.len()];
    for place in mean.places().chain(whole.places()) {
        is_read[place] = true;
    }
    let one = |draw: &Draw| {
        let moved = draw.moved(model);
        let rates: Vec<f64> = cells
            .iter()
            .zip(&is_read)
            .map(|(cell, is_read)| if *is_read { rate(&moved, cell) } else { 0.0 })
            .collect();
        let field = mean.kg(|place| rates[place], 0.0) / mean.area.max(f64::MIN_POSITIVE);
        whole.kg(|place| rates[place], field)
    };
    // Places outermost, so that a place's draws lie side by side.
    let moved: Vec<_> = (0..u64::from(requirement.draws))
        .map(|number| spreads.draw(requirement.seed, number).moved(model))
        .collect();
    let mut table = Array2::zeros((places.len(), draws));
    let read = cells.iter().zip(table.rows_mut()).zip(&is_read);
    for ((cell, mut row), _) in read.filter(|(_, is_read)| **is_read) {
        for (drawn, moved) in row.iter_mut().zip(&moved) {
            *drawn = rate(moved, cell);
        }
    }
    let field_rates: Vec<f64> = mean
        .all(&table, &vec![0.0; draws])
        .into_iter()
        .map(|kg| kg / mean.area.max(f64::MIN_POSITIVE))
        .collect();
    let field = band_of(&mut whole.all(&table, &field_rates))?;
    let zone_bands = by_zone.iter().map(|zone| {
        if !zone.has_value() {
            return None;
        }
        let mut rates: Vec<f64> = zone
            .all(&table, &field_rates)
            .into_iter()
            .map(|kg| kg / zone.area)
            .collect();
        band_of(&mut rates)
    });
    let cells = cell_bands(&places, &gets, &table, &field_rates);
    let parts = parts_of(&spreads, &one);
    let mut uncertainty = Uncertainty {
        draws: requirement.draws,
        seed: requirement.seed,
        spreads,
        curve_stated: curve_spread.is_some(),
        place_stated: requirement.place_spread.is_some(),
        place_measured: reference.placebo.is_some(),
        strips: reference.each.len(),
        plain_kg: one(&Draw::PLAIN),
        field,
        zones: zone_bands.collect(),
        cells,
        alike: errors.as_ref().map(CellErrors::side),
        parts,
    };
    if let Some(errors) = &errors {
        let drawn = Drawn {
            places: &places,
            table: &table,
            gets: &gets,
            areas: &areas,
            counts: &counts,
            rated,
        };
        errors.add_to(&mut uncertainty, &drawn);
    }
    Some(uncertainty)
}

/// P10 and P90 of each cell, on the line between those of its places.
fn cell_bands(
    places: &Places,
    gets: &[Gets],
    table: &Array2<f64>,
    fields: &[f64],
) -> Vec<Option<(f64, f64)>> {
    let mut known: [Vec<Option<Band>>; 2] = [vec![None; places.len()], vec![None; places.len()]];
    let mut at_place = |place: usize, held: bool| -> Option<Band> {
        let known = &mut known[usize::from(held)][place];
        if known.is_none() {
            let row = table.row(place);
            let mut rates: Vec<f64> = if held {
                row.iter()
                    .zip(fields)
                    .map(|(rate, field)| rate.min(*field))
                    .collect()
            } else {
                row.to_vec()
            };
            *known = band_of(&mut rates);
        }
        *known
    };
    let mut cell = |gets: &Gets| {
        let (index, reference, held, change) = match *gets {
            Gets::Own(index, reference) => (index, reference, false, None),
            Gets::Held(index, reference) => (index, reference, true, None),
            Gets::Set(Base::Own(index, reference, held), change) => {
                (index, reference, held, Some(change))
            }
            Gets::Field | Gets::Stated(_) | Gets::Set(Base::Field, _) => return None,
        };
        let mut bounds = (0.0, 0.0);
        for (place, weight) in places.around(index, reference) {
            let band = at_place(place, held)?;
            // A change never turns the order of rates, so that it may be done to the bounds.
            let of = |rate: f64| change.map_or(rate, |change: Change| change.of(rate));
            bounds = (
                bounds.0 + weight * of(band.low),
                bounds.1 + weight * of(band.high),
            );
        }
        Some(bounds)
    };
    gets.iter().map(&mut cell).collect()
}

/// Each uncertainty alone, widest first.
fn parts_of(spreads: &Spreads, total: &dyn Fn(&Draw) -> f64) -> Vec<Part> {
    let mut parts = Vec::new();
    for factor in Factor::ALL {
        let Some((low, high)) = spreads.ends(factor) else {
            continue;
        };
        let nodes: Vec<(f64, f64)> = spreads
            .alone(factor)
            .iter()
            .map(|(draw, weight)| (total(draw), *weight))
            .collect();
        let mean: f64 = nodes.iter().map(|(kg, weight)| kg * weight).sum();
        let variance: f64 = nodes
            .iter()
            .map(|(kg, weight)| weight * (kg - mean) * (kg - mean))
            .sum();
        parts.push(Part {
            cause: Cause::Shared(factor),
            sd_kg: libm::sqrt(variance.max(0.0)),
            share: 0.0,
            ends_kg: (total(&low), total(&high)),
        });
    }
    parts.retain(|part| part.sd_kg > 0.0);
    in_order(parts)
}

/// Parts with their shares, widest first.
fn in_order(mut parts: Vec<Part>) -> Vec<Part> {
    let all: f64 = parts.iter().map(|part| part.sd_kg * part.sd_kg).sum();
    for part in &mut parts {
        part.share = if all > 0.0 {
            part.sd_kg * part.sd_kg / all
        } else {
            0.0
        };
    }
    parts.sort_by(|a, b| b.sd_kg.total_cmp(&a.sd_kg).then(a.cause.cmp(&b.cause)));
    parts
}

/// Says how wide the band is, what makes it, and what it leaves out.
pub fn findings_of(
    response: &Response,
    output: &Output,
    reference: &Reference,
    uncertainty: &Uncertainty,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    let band = &uncertainty.field;
    let lb = |kg: f64| output.nitrogen(kg);
    if uncertainty.parts.is_empty() || band.high - band.low <= 0.0 {
        findings.push(Finding::note(
            codes::UNCERTAINTY_FIELD,
            format!("none of the uncertainties in the draws moves the field's {}: the rates are the job's own decision, or held at a limit", lb(uncertainty.plain_kg)),
        ));
    } else {
        let wording: Vec<String> = uncertainty
            .parts
            .iter()
            .map(|part| format!("{} {:.0} %", part.cause.word(), 100.0 * part.share))
            .collect();
        let against = if uncertainty.plain_kg > MINIMUM_TOTAL {
            format!(
                " ({:+.0} to {:+.0} %)",
                100.0 * (band.low / uncertainty.plain_kg - 1.0),
                100.0 * (band.high / uncertainty.plain_kg - 1.0)
            )
        } else {
            String::new()
        };
        findings.push(Finding::note(
            codes::UNCERTAINTY_FIELD,
            format!(
                "the field's nitrogen, {} as computed, has an 80 % range of {} to {}{against} (P10 to P90, Monte Carlo, {} draws); shares of the variance: {}",
                lb(uncertainty.plain_kg),
                lb(band.low),
                lb(band.high),
                uncertainty.draws,
                wording.join(", ")
            ),
        ));
    }
    findings.extend(far_from_middle(output, uncertainty));
    let mut assumed = Vec::new();
    if uncertainty.spreads.curve > 0.0 && !uncertainty.curve_stated {
        assumed
            .push(format!("the curve's spread of {:.0} % is a judgement without source (response.curve_spread states your own)", 100.0 * uncertainty.spreads.curve));
    }
    if uncertainty.spreads.place > 0.0 && !uncertainty.place_stated && !uncertainty.place_measured {
        assumed.push(format!(
            "the {:.1} % of the reference index for the place of {} are a judgement, since no placebo strips show it (uncertainty.place_spread states your own)",
            100.0 * uncertainty.spreads.place,
            if uncertainty.strips == 1 { "one strip".to_owned() } else { format!("{} strips", uncertainty.strips) }
        ));
    }
    if !assumed.is_empty() {
        findings.push(Finding::note(
            codes::UNCERTAINTY_ASSUMED,
            format!("in that band {}", assumed.join("; ")),
        ));
    }
    let uses = crate::science::monte_carlo::uses_reference(&response.method(f64::NAN));
    if uses && reference.placebo.is_none() && reference.paired.is_none() {
        findings.push(Finding::caution(
            codes::UNCERTAINTY_PART,
            format!(
                "the reference itself is not in the band: {}; the true one is wider",
                reference
                    .no_interval
                    .as_deref()
                    .unwrap_or("the response index has no interval")
            ),
        ));
    }
    if uses && uncertainty.strips == 0 && !uncertainty.place_stated {
        findings.push(Finding::caution(
            codes::UNCERTAINTY_PLACE,
            "where the readings were taken, or what the percentile stands for, is not in the band: nothing says how far it moves the field's nitrogen (uncertainty.place_spread states it)".to_owned(),
        ));
    }
    findings
}

/// Why the plain total lies far from the median of the draws, where it does: one part bends it, the same way whichever way it errs.
fn far_from_middle(output: &Output, uncertainty: &Uncertainty) -> Option<Finding> {
    let moved = uncertainty.field.middle - uncertainty.plain_kg;
    if moved.abs()
        < (FAR_FROM_MIDDLE * uncertainty.plain_kg.max(uncertainty.field.middle)).max(MINIMUM_TOTAL)
    {
        return None;
    }
    let bend = |part: &Part| f64::midpoint(part.ends_kg.0, part.ends_kg.1) - uncertainty.plain_kg;
    let part = uncertainty
        .parts
        .iter()
        .max_by(|a, b| (bend(a) * moved.signum()).total_cmp(&(bend(b) * moved.signum())))
        .filter(|part| bend(part) * moved > 0.0);
    let lower = moved < 0.0;
    let both = part.is_some_and(|part| {
        let (low, high) = part.ends_kg;
        (low - uncertainty.plain_kg) * moved > 0.0 && (high - uncertainty.plain_kg) * moved > 0.0
    });
    let why = match (part.map(|part| part.cause), lower) {
        (Some(Cause::Shared(Factor::Curve)), true) if both => {
            "the maximum yield makes the total lower whichever way the curve errs"
        }
        (Some(Cause::Shared(Factor::Curve)), true) => {
            "the maximum yield takes more when the curve errs one way than it gives the other way"
        }
        (Some(Cause::Shared(Factor::Place | Factor::Ratio) | Cause::Between), false) => {
            "no rate falls below the minimum, so that a strip on better crop adds more than one on poorer crop takes away"
        }
        (Some(Cause::Shared(Factor::UseEfficiency)), false) => {
            "a use efficiency too low by as much adds more than one too high takes away"
        }
        (_, false) => {
            "no rate falls below the minimum, so that errors up count for more than errors down"
        }
        (_, true) => {
            "yields, ratios and rates are limited from above, so that errors down count for more than errors up"
        }
    };
    Some(Finding::note(
        codes::UNCERTAINTY_SKEWED,
        format!(
            "half of the draws lie below {}, {} as computed: {why}",
            output.nitrogen(uncertainty.field.middle),
            output.nitrogen(uncertainty.plain_kg)
        ),
    ))
}

/// P10 and P90 of a band as rates.
pub fn bounds_of(band: &Band) -> (NRate, NRate) {
    (NRate::kg_per_ha(band.low), NRate::kg_per_ha(band.high))
}

#[cfg(test)]
mod tests;
