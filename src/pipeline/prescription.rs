//! The map that exporters write, put together of what the steps before it found.

use crate::job::settings::{Filed, Machine, StateRate};
use crate::map::machine::default_fallbacks;
use crate::map::prescription::{Fallbacks, MachineLimits, Prescription, StripRecord, ZoneRecord};
use crate::pipeline::ground::Ground;
use crate::pipeline::rates::Rated;
use crate::pipeline::strips::StripFound;
use crate::pipeline::survey::Survey;
use crate::units::{NMass, NRate, Product, RateUnit};
use jiff::civil::Date;

/// What stands on the map besides its ground.
pub struct Title<'a> {
    /// Name of the field.
    pub field_name: &'a str,
    /// Name of the crop.
    pub crop: &'a str,
    /// Day of the image.
    pub image_date: Date,
    /// Under which names field and task are filed.
    pub filed: &'a Filed,
    /// What is spread.
    pub product: Option<&'a Product>,
    /// Unit that it is shown in.
    pub unit: RateUnit,
}

/// Puts the map together. Its id is still empty: the record sets it.
///
/// `step` is that of rates, `total` the nitrogen of the whole map.
pub fn prescription(
    title: &Title<'_>,
    machine: &Machine,
    (ground, survey): (&Ground, &Survey),
    (rated, step): (&Rated, NRate),
    (zones, total): (Vec<ZoneRecord>, NMass),
) -> Prescription {
    let field_rate = step * rated.field_q as f64;
    let usual = default_fallbacks(field_rate, !ground.kept_clear.0.is_empty());
    let stated = |rule: StateRate, default: NRate| match rule {
        StateRate::Amount(amount) => amount,
        StateRate::Own | StateRate::FieldRate => default,
    };
    let strips = ground
        .strips
        .iter()
        .zip(&survey.strips)
        .enumerate()
        .map(|(k, (outline, strip))| {
            let found = strip.found.as_ref().ok();
            StripRecord {
                strip: k as u32 + 1,
                index: found.map(StripFound::index),
                beside: found.and_then(StripFound::beside),
                estimator: found.map(StripFound::estimator),
                pixels: found.map_or(0, StripFound::pixels),
                segments_dropped: found.map_or(0, |found| found.dropped() as u32),
                left_out: found.is_none(),
                outline: outline.clone(),
            }
        })
        .collect();
    Prescription {
        map_id: String::new(),
        field_name: title.field_name.to_owned(),
        client: title.filed.client.clone(),
        farm: title.filed.farm.clone(),
        crop: title.crop.to_owned(),
        image_date: title.image_date,
        plane: ground.plane.crs.clone(),
        product: title.product.cloned(),
        unit: title.unit,
        grid: ground.grid.clone(),
        cells: rated.cells.clone(),
        zones,
        strips,
        boundary: ground.boundary.clone(),
        field: ground.mapped.clone(),
        exclusions: ground.exclusions.clone(),
        hard_edges: ground.hard_edges.clone(),
        field_rate,
        fallbacks: Fallbacks {
            on_start: stated(machine.on_start, usual.on_start),
            position_lost: match machine.position_lost {
                StateRate::FieldRate => field_rate,
                other => stated(other, usual.position_lost),
            },
            outside: match machine.outside {
                StateRate::FieldRate => field_rate,
                other => stated(other, usual.outside),
            },
        },
        machine: MachineLimits {
            minimum: machine.minimum_rate,
            maximum: machine.maximum_rate,
            overrun: machine.overrun,
            working_width: machine.working_width,
            grid: machine.grid,
        },
        total_n_kg: total.get(),
        headings: ground
            .driven
            .iter()
            .map(|driven| {
                (
                    driven.name.clone(),
                    ground.plane.true_azimuth(driven.azimuth_deg),
                )
            })
            .collect(),
        look_ahead: machine.look_ahead.map(|look_ahead| look_ahead.distance),
    }
}
