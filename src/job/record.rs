//! The resolved settings for the record: every setting that was used, under its key's name and unit.
//!
//! The caller shows paths: below the job's folder relative to it with forward slashes, so that the same job gives the same record in any folder.

use std::path::Path;

use crate::finding::Acceptance;
use crate::job::keys::field::{BOUNDARY, EXCLUDE, StripsMapped};
use crate::job::keys::imagery::MASK;
use crate::job::keys::machine::{AREA, HEADING, HEADLAND};
use crate::job::keys::office::{ACCEPT, TASK_DATA};
use crate::job::keys::points::EstimateWord;
use crate::job::keys::rate::StateWord;
use crate::job::keys::reference::{
    RAMP, RAMP_STEPS, READINGS, StripsWord, WithoutStrip, ZONES as STRIP_ZONES,
};
use crate::job::keys::response::{Measured, Seen};
use crate::job::keys::zones::{BreaksWord, Total, Zoning};
use crate::job::keys::{
    APPLICATION, CROP, FIELD, IMAGERY, MACHINE, OUTPUT, POINTS, PRICES, PRODUCT, RATE, REFERENCE,
    RESPONSE, ROOT, SEASON, UNCERTAINTY, ZONES,
};
use crate::job::settings::points::{Estimate, Points};
use crate::job::settings::ramp::RampSettings;
use crate::job::settings::{
    Application, BareBelow, Capacity, ClassBreaks, EconomicOptimum, Exclusion, FieldSettings,
    GrowingDays, Heading, ImageSource, Imagery, Machine, Mask, MaskRule, MaximumRatio,
    MethodSettings, NitrogenShare, PointSpread, Prices, ProductFacts, RateRules, RateSettings,
    Reading, ReferenceSettings, ReferenceSource, Response, Season, Settings, StateRate, StripsUse,
    UncertaintySettings, VectorSource, YieldSettings, ZoneRules, ZonesBy,
};
use crate::key::Record;
use crate::science::methods::about;
use crate::science::methods::shared::{CURVE, SHARED, Shape};
use crate::science::methods::yield_response::{KEYS as YIELD, RATIO_ADJUSTMENT, YIELD_CURVE};
use crate::science::response_curve::ResponseCurve;
use crate::units::{Length, NRate, Product, ProductRate, Seconds, Speed};
use jiff::civil::Date;
use serde_json::{Map, Value, json};

/// How a path stands in the record.
pub type Shown<'a> = &'a dyn Fn(&Path) -> String;

/// The settings of a map, section by section in the order of the job file. `shown` says how a path is written.
pub fn settings(settings: &Settings, shown: Shown<'_>) -> Value {
    let of_points = |imagery: &Imagery| readings_rule(imagery).is_some();
    let (points_of, image_of) = match &settings.imagery {
        Some(imagery) if of_points(imagery) => (Some(imagery), None),
        imagery => (None, imagery.as_ref()),
    };
    Record::new()
        .table(&ROOT.field, field(&settings.field, shown))
        .put(&ROOT.imagery, image_of.map(|own| image(own, shown)))
        .put(
            &ROOT.points,
            points_of.and_then(|own| Some(points(own, readings_rule(own)?, shown))),
        )
        .table(&ROOT.reference, reference(&settings.reference, shown))
        .table(&ROOT.season, season(&settings.season, shown))
        .table(&ROOT.response, response(&settings.response))
        .table(&ROOT.rate, rate(&settings.rate))
        .put(
            &ROOT.product,
            settings
                .product
                .as_ref()
                .map(|own| product(own, &settings.product_facts)),
        )
        .table(&ROOT.machine, machine(&settings.machine, shown))
        .table(&ROOT.zones, zones(&settings.zones))
        .put(&ROOT.prices, settings.prices.as_ref().map(prices))
        .table(&ROOT.uncertainty, uncertainty(&settings.uncertainty))
        .table(&ROOT.application, application(&settings.application))
        .put(&ROOT.accept, accepted(&settings.accept))
        .table(
            &ROOT.output,
            Record::new()
                .put(&OUTPUT.folder, shown(&settings.output.folder))
                .put(&OUTPUT.unit, settings.output.unit.label())
                .add("us_units", settings.output.us_units)
                .put(
                    &OUTPUT.formats,
                    settings
                        .output
                        .formats
                        .iter()
                        .map(|format| format.word())
                        .collect::<Vec<_>>(),
                )
                .table(
                    &OUTPUT.task_data,
                    Record::new()
                        .put(&TASK_DATA.version, settings.output.task_data.version.word())
                        .put(&TASK_DATA.kind, settings.output.task_data.kind.word()),
                ),
        )
        .value()
}

/// The settings of one flat rate.
pub fn rate_settings(settings: &RateSettings, shown: Shown<'_>) -> Value {
    let source = Record::new().put(&REFERENCE.readings, readings_of(&settings.readings));
    Record::new()
        .table(
            &ROOT.field,
            Record::new()
                .put(&FIELD.name, settings.name.clone())
                .put(&FIELD.region, settings.region.clone()),
        )
        .table(
            &ROOT.imagery,
            Record::new().put(&IMAGERY.sensor, settings.sensor.clone()),
        )
        .table(&ROOT.reference, Record::new().add("source", source.value()))
        .table(&ROOT.season, season(&settings.season, shown))
        .table(&ROOT.response, response(&settings.response))
        .table(&ROOT.rate, rate(&settings.rate))
        .put(
            &ROOT.product,
            settings
                .product
                .as_ref()
                .map(|own| product(own, &settings.product_facts)),
        )
        .put(&ROOT.prices, settings.prices.as_ref().map(prices))
        .table(&ROOT.application, application(&settings.application))
        .put(&ROOT.accept, accepted(&settings.accept))
        .table(
            &ROOT.output,
            Record::new()
                .put(&OUTPUT.unit, settings.unit.label())
                .add("us_units", settings.us_units),
        )
        .value()
}

/// The settings of one flat rate from a ramp.
pub fn ramp_settings(settings: &RampSettings, shown: Shown<'_>) -> Value {
    let source: Value = match &settings.image {
        None => settings
            .readings
            .iter()
            .map(|step| {
                Record::new()
                    .put(&RAMP.rate, step.rate.get())
                    .put(&RAMP.index, step.value)
                    .value()
            })
            .collect(),
        Some(ramp) => Record::new()
            .add("steps", vector(&ramp.steps, shown).value())
            .put(&RAMP_STEPS.rate, ramp.column.clone())
            .add("unit_kg_n_ha", ramp.unit.get())
            .put(&REFERENCE.inset, ramp.inset.get())
            .value(),
    };
    let ground = settings.image.as_ref().map(|ramp| {
        let excluded = |one: &Exclusion| {
            Record::new()
                .add("source", vector(&one.source, shown).value())
                .put(&EXCLUDE.buffer, one.buffer.get())
                .put(&EXCLUDE.reason, one.reason.clone())
                .value()
        };
        Record::new()
            .table(&FIELD.boundary, vector(&ramp.field.boundary, shown))
            .put(&FIELD.crs, ramp.field.crs.clone())
            .put(
                &FIELD.exclude,
                ramp.field
                    .exclusions
                    .iter()
                    .map(excluded)
                    .collect::<Vec<_>>(),
            )
            .value()
    });
    Record::new()
        .table(
            &ROOT.field,
            Record::new()
                .put(&FIELD.name, settings.name.clone())
                .add("ground", ground),
        )
        .put(
            &ROOT.imagery,
            settings
                .image
                .as_ref()
                .map(|ramp| image(&ramp.imagery, shown)),
        )
        .table(
            &ROOT.reference,
            Record::new()
                .add("source", Record::new().put(&REFERENCE.ramp, source).value())
                .put(&REFERENCE.ramp_model, settings.model.name())
                .put(&REFERENCE.ramp_index, settings.index.clone()),
        )
        .table(
            &ROOT.season,
            Record::new().put(&SEASON.sensed, day(settings.sensed)),
        )
        .table(
            &ROOT.response,
            Record::new().put(
                &RESPONSE.applied_since_sensing,
                settings.applied_since_sensing.get(),
            ),
        )
        .table(&ROOT.rate, rate(&settings.rate))
        .put(
            &ROOT.product,
            settings
                .product
                .as_ref()
                .map(|own| product(own, &settings.product_facts)),
        )
        .table(&ROOT.application, application(&settings.application))
        .put(&ROOT.accept, accepted(&settings.accept))
        .table(
            &ROOT.output,
            Record::new()
                .put(&OUTPUT.unit, settings.unit.label())
                .add("us_units", settings.us_units),
        )
        .value()
}

fn day(date: Option<Date>) -> Option<String> {
    date.map(|date| date.to_string())
}

fn vector(source: &VectorSource, shown: Shown<'_>) -> Record {
    Record::new()
        .put(&BOUNDARY.path, shown(&source.path))
        .put(&BOUNDARY.layer, source.layer.clone())
        .put(&BOUNDARY.r#where, source.filter.clone())
        .put(&BOUNDARY.merge, source.merge)
}

fn field(field: &FieldSettings, shown: Shown<'_>) -> Record {
    let strips = if field.map_strips {
        StripsMapped::Map
    } else {
        StripsMapped::Leave
    };
    let excluded = |exclusion: &Exclusion| {
        vector(&exclusion.source, shown)
            .put(&EXCLUDE.buffer, exclusion.buffer.get())
            .put(&EXCLUDE.reason, exclusion.reason.clone())
            .value()
    };
    let edge = |edge: &VectorSource| vector(edge, shown).value();
    Record::new()
        .put(&FIELD.name, field.name.clone())
        .put(&FIELD.region, field.region.clone())
        .table(&FIELD.boundary, vector(&field.boundary, shown))
        .put(&FIELD.crs, field.crs.clone())
        .put(&FIELD.strips, strips.word())
        .put(
            &FIELD.exclude,
            field.exclusions.iter().map(excluded).collect::<Vec<_>>(),
        )
        .put(
            &FIELD.edge,
            field.edges.iter().map(edge).collect::<Vec<_>>(),
        )
}

fn bare_below(rule: BareBelow) -> Value {
    match rule {
        BareBelow::OfIndex => json!("of the index"),
        BareBelow::Value(value) => json!(value),
    }
}

fn image(imagery: &Imagery, shown: Shown<'_>) -> Value {
    let source = match &imagery.source {
        ImageSource::One(file) => json!(shown(file)),
        ImageSource::Points(rule) => json!(shown(&rule.source.path)),
        ImageSource::PerBand(files) => Value::Object(
            files
                .iter()
                .map(|(band, file)| (band.clone(), json!(shown(file))))
                .collect::<Map<_, _>>(),
        ),
    };
    let bands: Map<String, Value> = imagery
        .bands
        .iter()
        .map(|(name, number)| (name.clone(), json!(number)))
        .collect();
    let point_spread = match &imagery.point_spread {
        PointSpread::Given(width) => json!(width),
        PointSpread::Sensor(name, width) => json!({ "sensor": name, "px": width }),
        PointSpread::Fit => json!("fit"),
    };
    let masks = imagery.mask.as_ref().map(|mask| {
        std::iter::once(mask)
            .chain(&mask.and)
            .map(|mask| mask_of(mask, shown))
            .collect::<Vec<_>>()
    });
    Record::new()
        .put(&IMAGERY.path, source)
        .put(&IMAGERY.date, imagery.date.to_string())
        .put(&IMAGERY.index, imagery.index.clone())
        .put(&IMAGERY.bands, bands)
        .put(&IMAGERY.scale, imagery.scale)
        .put(&IMAGERY.offset, imagery.offset)
        .put(&IMAGERY.nodata, imagery.nodata)
        .put(&IMAGERY.bare_below, bare_below(imagery.bare_below))
        .put(&IMAGERY.pixel_inside, imagery.pixel_inside)
        .put(&IMAGERY.minimum_seen, imagery.minimum_seen)
        .put(&IMAGERY.point_spread, point_spread)
        .put(&IMAGERY.sensor, imagery.sensor.clone())
        .put(&IMAGERY.mask, masks)
        .value()
}

fn readings_rule(imagery: &Imagery) -> Option<&Points> {
    if let ImageSource::Points(rule) = &imagery.source {
        Some(rule)
    } else {
        None
    }
}

fn points(imagery: &Imagery, rule: &Points, shown: Shown<'_>) -> Value {
    let place = rule.place.clone().unzip();
    let value = Record::new()
        .put(&POINTS.path, shown(&rule.source.path))
        .put(&POINTS.layer, rule.source.layer.clone())
        .put(&POINTS.r#where, rule.source.filter.clone())
        .put(&POINTS.date, imagery.date.to_string())
        .put(&POINTS.index, imagery.index.clone())
        .put(&POINTS.column, rule.column.clone())
        .put(&POINTS.x, place.0)
        .put(&POINTS.y, place.1)
        .put(&POINTS.crs, rule.crs.clone())
        .put(&POINTS.time, rule.time.clone())
        .put(&POINTS.pass, rule.pass.clone())
        .put(&POINTS.speed, rule.speed.clone())
        .put(&POINTS.speed_unit, rule.speed_unit)
        .put(&POINTS.minimum_speed, rule.minimum_speed.map(Speed::get))
        .put(&POINTS.maximum_speed, rule.maximum_speed.map(Speed::get))
        .put(&POINTS.scale, imagery.scale)
        .put(&POINTS.offset, imagery.offset)
        .put(&POINTS.bare_below, bare_below(imagery.bare_below))
        .put(&POINTS.sensor, imagery.sensor.clone())
        .put(&POINTS.outliers, rule.outliers)
        .put(&POINTS.join, rule.join.get())
        .put(&POINTS.minimum_readings, rule.minimum_readings);
    match &rule.estimate {
        Estimate::Mean => value.put(&POINTS.estimate, EstimateWord::Mean.word()),
        Estimate::Kriging {
            models,
            neighbours,
            reach,
        } => value
            .put(&POINTS.estimate, EstimateWord::Kriging.word())
            .put(
                &POINTS.variogram,
                models.iter().map(|model| model.word()).collect::<Vec<_>>(),
            )
            .put(&POINTS.neighbours, *neighbours)
            .put(
                &POINTS.reach,
                reach.map_or_else(
                    || json!("range of the variogram"),
                    |reach| json!(reach.get()),
                ),
            ),
    }
    .value()
}

fn mask_of(mask: &Mask, shown: Shown<'_>) -> Value {
    let value = Record::new()
        .put(&MASK.path, mask.path.as_deref().map(shown))
        .put(&MASK.band, mask.band);
    match &mask.rule {
        MaskRule::Keep(classes) => value.put(&MASK.keep, classes.clone()),
        MaskRule::Bits(bits) => value.put(&MASK.bits, json!(bits)),
    }
    .put(&MASK.grow, mask.grow.get())
    .value()
}

fn readings_of(readings: &[Reading]) -> Vec<Value> {
    let pair = |reading: &Reading| {
        Record::new()
            .put(&READINGS.strip, reading.strip)
            .put(&READINGS.beside, reading.beside)
            .value()
    };
    readings.iter().map(pair).collect()
}

fn reference(reference: &ReferenceSettings, shown: Shown<'_>) -> Record {
    let source = match &reference.source {
        ReferenceSource::Strips(strips) => {
            Record::new().table(&REFERENCE.strips, vector(strips, shown))
        }
        ReferenceSource::Readings(readings) => {
            Record::new().put(&REFERENCE.readings, readings_of(readings))
        }
        ReferenceSource::Percentile(percentile) => {
            Record::new().put(&REFERENCE.percentile, *percentile)
        }
    };
    let strips_use = match &reference.strips_use {
        StripsUse::Pooled => json!(StripsWord::Pooled.word()),
        StripsUse::Nearest => json!(StripsWord::Nearest.word()),
        StripsUse::InverseDistance => json!(StripsWord::InverseDistance.word()),
        StripsUse::Zones {
            source,
            pooled_without,
        } => {
            let without = if *pooled_without {
                WithoutStrip::Pooled
            } else {
                WithoutStrip::Refuse
            };
            Record::new()
                .table(&REFERENCE.zones, vector(source, shown))
                .put(&STRIP_ZONES.without_strip, without.word())
                .value()
        }
    };
    Record::new()
        .add("source", source.value())
        .put(&REFERENCE.inset, reference.inset.get())
        .put(&REFERENCE.gap, reference.gap.get())
        .put(&REFERENCE.segments, reference.segments)
        .put(&REFERENCE.drop, reference.drop)
        .put(&REFERENCE.strips_use, strips_use)
        .put(&REFERENCE.level, reference.level.word())
}

fn season(season: &Season, shown: Shown<'_>) -> Record {
    let crop = &season.crop;
    let ceiling = season.rule.ceiling();
    let value = Record::new()
        .table(
            &ROOT.crop,
            Record::new()
                .put(&CROP.name, crop.name.clone())
                .put(&CROP.base_temperature, crop.base_c)
                .put(&CROP.grain_nitrogen, crop.grain_nitrogen)
                .put(&CROP.bushel, crop.lb_per_bu)
                .put(&CROP.grain_moisture, crop.grain_moisture)
                .put(
                    &CROP.window,
                    crop.window_days.map(|(first, last)| vec![first, last]),
                )
                .put(&CROP.stand_cv, crop.stand_cv)
                .put(&CROP.source, crop.source.clone()),
        )
        .put(&SEASON.crops, season.crops.as_deref().map(shown))
        .put(&SEASON.planted, day(season.planted))
        .put(&SEASON.sensed, day(season.sensed))
        .put(&SEASON.count_sensing_day, season.count_sensing_day)
        .put(&SEASON.growing_day_rule, season.rule.rule().word())
        .add(CROP.base_temperature.name, season.rule.base().to_string())
        .put(
            &SEASON.ceiling,
            ceiling.map(|(ceiling, _)| ceiling.to_string()),
        )
        .put(&SEASON.ceiling_on, ceiling.map(|(_, on)| on.word()))
        .put(&SEASON.missing_days, season.missing_days.word());
    match &season.growing_days {
        GrowingDays::Given(days) => value.put(&SEASON.growing_days, *days),
        GrowingDays::Weather(file) => value.put(&SEASON.weather, shown(file)),
        GrowingDays::Stations { list, station } => value
            .put(&SEASON.stations, shown(list))
            .put(&SEASON.station, station.clone()),
        GrowingDays::NotStated => value.put(&SEASON.growing_days, Value::Null),
    }
}

fn response(response: &Response) -> Record {
    let value = Record::new().put(&RESPONSE.method, response.name());
    let value = match &response.method {
        MethodSettings::YieldResponse(yields) => yield_response(value, yields),
        MethodSettings::Other { method, fitted } => value
            .add("parameters", method.parameters().value())
            .put(&SHARED.index, fitted.index.clone())
            .put(&SHARED.region, fitted.region.clone())
            .put(&SHARED.sensor, fitted.sensor.clone())
            .put(&SHARED.source, fitted.source.clone())
            .add("formula_from_memory", fitted.from_memory),
    };
    let value = value
        .add("formula", about(response.name()).map(|about| about.formula))
        .add(
            RESPONSE.nitrogen_share.name,
            match response.nitrogen_share {
                NitrogenShare::Stated(share) => json!(share),
                NitrogenShare::Measured => json!(Measured::Measured.word()),
            },
        )
        .put(
            &RESPONSE.maximum_ratio,
            match response.maximum_ratio {
                MaximumRatio::Value(value) => json!(value),
                MaximumRatio::Seen => json!(Seen::Seen.word()),
                MaximumRatio::ByAnswer => json!("by the strip's answer"),
            },
        )
        .put(
            &RESPONSE.applied_since_sensing,
            response.applied_since_sensing.get(),
        )
        .put(&SHARED.curve_spread, response.curve_spread);
    match &response.economic {
        Some(own) => value.put(&SHARED.economic, economic(own)),
        None => value,
    }
}

/// The economic optimum and what it comes from.
fn economic(economic: &EconomicOptimum) -> Value {
    let shape = |shape: Shape| Record::new().put(&CURVE.shape, shape.word());
    let curve = match economic.curve {
        ResponseCurve::Quadratic { a, b, c } => shape(Shape::Quadratic)
            .put(&CURVE.a, a)
            .put(&CURVE.b, b)
            .put(&CURVE.c, c),
        ResponseCurve::QuadraticPlateau { plateau, join, k } => shape(Shape::QuadraticPlateau)
            .put(&CURVE.plateau, plateau)
            .put(&CURVE.join, join)
            .put(&CURVE.curvature, k),
        ResponseCurve::LinearPlateau {
            plateau,
            join,
            slope,
        } => shape(Shape::LinearPlateau)
            .put(&CURVE.plateau, plateau)
            .put(&CURVE.join, join)
            .put(&CURVE.slope, slope),
    };
    Record::new()
        .table(&SHARED.curve, curve)
        .put(&CURVE.source, economic.source.clone())
        .add("price_ratio", economic.price_ratio)
        .add("optimum_kg_n_ha", economic.optimum.get())
        .put(&CURVE.maximum_rate, economic.maximum_rate.map(NRate::get))
        .value()
}

fn yield_response(value: Record, yields: &YieldSettings) -> Record {
    let curve = &yields.curve;
    let fitted = Record::new()
        .put(&YIELD_CURVE.a, curve.a.get())
        .put(&YIELD_CURVE.b, curve.b)
        .put(&YIELD_CURVE.index, curve.index.clone())
        .put(&YIELD_CURVE.region, curve.region.clone())
        .put(&YIELD_CURVE.sensor, curve.sensor.clone())
        .put(&YIELD_CURVE.source, curve.source.clone());
    let adjusted = yields.ratio_adjustment.map(|(slope, intercept)| {
        Record::new()
            .put(&RATIO_ADJUSTMENT.slope, slope)
            .put(&RATIO_ADJUSTMENT.intercept, intercept)
            .value()
    });
    value
        .put(&YIELD.maximum_yield, yields.maximum_yield.get())
        .table(&YIELD.yield_curve, fitted)
        .put(&YIELD.ratio_adjustment, adjusted)
        .put(&YIELD.dead_band, yields.dead_band)
        .put(&YIELD.grain_nitrogen, yields.grain_nitrogen)
        .put(&YIELD.use_efficiency, yields.use_efficiency)
}

fn state(rate: StateRate) -> Value {
    match rate {
        StateRate::Own => json!(StateWord::Own.word()),
        StateRate::FieldRate => json!(StateWord::FieldRate.word()),
        StateRate::Amount(amount) => json!({ "kg_n_ha": amount.get() }),
    }
}

fn rate(rate: &RateRules) -> Record {
    Record::new()
        .put(&RATE.minimum, rate.minimum.get())
        .put(&RATE.maximum, rate.maximum.get())
        .add("maximum_written_kg_n_ha", rate.maximum_written.get())
        .put(&RATE.season_limit, rate.season_limit.map(NRate::get))
        .put(&RATE.applied_before, rate.applied_before.get())
        .put(&RATE.step, rate.step.get())
        .put(&RATE.maximum_step, rate.maximum_step.map(NRate::get))
        .put(&RATE.usual, rate.usual.map(NRate::get))
        .put(&RATE.thin, state(rate.thin))
        .put(&RATE.unseen, state(rate.unseen))
        .put(&RATE.bare, state(rate.bare))
}

fn product(product: &Product, facts: &ProductFacts) -> Value {
    Record::new()
        .put(&PRODUCT.name, product.name())
        .put(&PRODUCT.nitrogen, product.nitrogen())
        .put(&PRODUCT.density, product.kg_per_l())
        .put(&PRODUCT.temperature, facts.temperature_c)
        .put(
            &PRODUCT.bulk_density,
            facts.bulk_kg_m3.map(|(low, high)| vec![low, high]),
        )
        .add("shipped", facts.shipped.is_some())
        .value()
}

fn heading(heading: &Heading, shown: Shown<'_>) -> Value {
    match heading {
        Heading::True(degrees) => json!({ "true_deg": degrees }),
        Heading::Grid(degrees) => json!({ "grid_deg": degrees }),
        Heading::Auto => json!("auto"),
        Heading::Line(line) => Record::new()
            .table(&HEADING.line, vector(line, shown))
            .value(),
    }
}

fn machine(machine: &Machine, shown: Shown<'_>) -> Record {
    let headland = machine.headland.map(|headland| {
        Record::new()
            .put(&HEADLAND.passes, headland.passes)
            .put(&HEADLAND.rate, state(headland.rate))
            .value()
    });
    let capacity = match machine.capacity {
        None => Value::Null,
        Some(Capacity::Kg(kg)) => json!({ "kg": kg }),
        Some(Capacity::Litres(litres)) => json!({ "l": litres }),
    };
    let position_lost = match machine.position_lost {
        StateRate::Own => json!("field rate, or 0 with a hole of the boundary"),
        stated => state(stated),
    };
    let mut value = Record::new()
        .put(&MACHINE.working_width, machine.working_width.get())
        .put(&MACHINE.sections, machine.sections)
        .put(&MACHINE.headland, headland)
        .put(&MACHINE.heading, heading(&machine.heading, shown))
        .put(&MACHINE.cell_length, machine.cell_length.get())
        .put(&MACHINE.speed, machine.speed.map(Speed::get))
        .put(&MACHINE.delay, machine.delay.map(Seconds::get))
        .put(&MACHINE.transition, machine.transition.map(Seconds::get))
        .put(&MACHINE.overrun, machine.overrun.get())
        .put(
            &MACHINE.minimum_rate,
            machine.minimum_rate.map(ProductRate::get),
        )
        .put(
            &MACHINE.maximum_rate,
            machine.maximum_rate.map(ProductRate::get),
        )
        .add("capacity", capacity)
        .put(&MACHINE.grid, machine.grid.word())
        .put(&MACHINE.on_start, state(machine.on_start))
        .put(&MACHINE.position_lost, position_lost)
        .put(&MACHINE.outside, state(machine.outside));
    // Only where the job has them, so that the record of any other job stays what it was.
    if !machine.areas.is_empty() {
        let areas = machine.areas.iter().map(|area| {
            Record::new()
                .table(&AREA.path, vector(&area.source, shown))
                .put(&AREA.heading, heading(&area.heading, shown))
                .value()
        });
        value = value.add("areas", areas.collect::<Vec<_>>());
    }
    if let Some(look_ahead) = &machine.look_ahead {
        value = value.table(
            &MACHINE.look_ahead,
            Record::new()
                .add("distance_m", Length::get(look_ahead.distance))
                .put(&MACHINE.first_pass, look_ahead.first_pass.word()),
        );
    }
    value
}

fn zones(zones: &ZoneRules) -> Record {
    let total = if zones.keep_total {
        Total::Kept
    } else {
        Total::Free
    };
    Record::new()
        .put(&ZONES.by, by(&zones.by))
        .put(&ZONES.minimum_area, zones.minimum_area.get())
        .put(&ZONES.simplify, zones.simplify.get())
        .put(&ZONES.round_corners, zones.round_corners.get())
        .put(&ZONES.area_within, zones.area_within)
        .put(&ZONES.tolerance, zones.tolerance.get())
        .put(&ZONES.total, total.word())
}

fn by(by: &ZonesBy) -> Value {
    let classes = |classes: usize, breaks: Value| {
        Record::new()
            .put(&ZONES.classes, classes)
            .put(&ZONES.breaks, breaks)
            .value()
    };
    match by {
        ZonesBy::Cells => json!(Zoning::Cells.word()),
        ZonesBy::Classes(ClassBreaks::Natural(count)) => {
            classes(*count, json!(BreaksWord::Natural.word()))
        }
        ZonesBy::Classes(ClassBreaks::Quantile(count)) => {
            classes(*count, json!(BreaksWord::Quantile.word()))
        }
        ZonesBy::Classes(ClassBreaks::Given(bounds)) => classes(bounds.len() + 1, json!(bounds)),
    }
}

fn prices(prices: &Prices) -> Value {
    Record::new()
        .put(&PRICES.currency, prices.currency.clone())
        .put(&PRICES.grain, prices.grain)
        .put(&PRICES.nitrogen, prices.nitrogen)
        .put(&PRICES.application, prices.application)
        .put(&PRICES.mapping, prices.mapping)
        .value()
}

fn uncertainty(settings: &UncertaintySettings) -> Record {
    Record::new()
        .put(&UNCERTAINTY.draws, settings.draws)
        .put(&UNCERTAINTY.seed, settings.seed)
        .put(
            &UNCERTAINTY.use_efficiency_spread,
            settings.use_efficiency_spread,
        )
        .put(&UNCERTAINTY.place_spread, settings.place_spread)
}

fn application(application: &Application) -> Record {
    Record::new()
        .put(&APPLICATION.date, day(application.date))
        .put(
            &APPLICATION.maximum_image_age,
            application.maximum_image_age,
        )
}

fn accepted(accept: &[(String, Acceptance)]) -> Vec<Value> {
    let one = |(code, acceptance): &(String, Acceptance)| {
        Record::new()
            .put(&ACCEPT.code, code.clone())
            .put(&ACCEPT.reason, acceptance.reason.clone())
            .put(&ACCEPT.by, acceptance.by.clone())
            .value()
    };
    accept.iter().map(one).collect()
}
