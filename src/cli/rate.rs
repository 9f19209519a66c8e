//! `haulm rate`.

use crate::app::api;
use crate::app::api::{Common, RateRequest};
use crate::app::error::AppError;
use crate::cli::args::{RateArgs, RateFlags};
use crate::report::model::Report;

pub(crate) fn run(args: RateArgs, common: Common) -> Result<Report, AppError> {
    let RateArgs { job, flags, .. } = args;
    if flags.strip.len() != flags.beside.len() {
        return Err(AppError::misuse(
            "readings.pairs",
            "readings come in pairs: one in the strip, one beside it",
        )
        .with_fact("--strip", format!("given {} times", flags.strip.len()))
        .with_fact("--beside", format!("given {} times", flags.beside.len()))
        .with_hint(
            "give both for each pair: --strip 0.66 --beside 0.50 --strip 0.68 --beside 0.52",
        ));
    }
    let RateFlags {
        strip,
        beside,
        index,
        crop,
        growing_days,
        planted,
        sensed,
        weather,
        count_sensing_day,
        max_yield,
        curve,
        curve_a,
        curve_b,
        grain_nitrogen,
        use_efficiency,
        maximum_ratio,
        applied_since_sensing,
        minimum,
        maximum,
        step,
        usual,
        product,
        grain_price,
        nitrogen_price,
        product_price,
        application_price,
    } = flags;
    api::rate(&RateRequest {
        job,
        strip,
        beside,
        index,
        crop,
        growing_days,
        planted,
        sensed,
        weather,
        count_sensing_day,
        max_yield,
        curve,
        curve_a,
        curve_b,
        grain_nitrogen,
        use_efficiency,
        maximum_ratio,
        applied_since_sensing,
        minimum,
        maximum,
        step,
        usual,
        product,
        grain_price,
        nitrogen_price,
        product_price,
        application_price,
        common,
    })
}
