//! The resolved settings as JSON for the record: every setting that was used, with its unit in its key's name.
//!
//! Paths below the job's folder are written relative to it with forward slashes, so that the same job gives the same record in any folder.

use std::path::Path;

use crate::app::below::below;
use crate::finding::Acceptance;
use crate::job::settings::points::{Estimate, Points};
use crate::job::settings::{
    Application, BareBelow, Capacity, ClassBreaks, EconomicOptimum, Format, GrowingDays, Heading,
    ImageSource, Imagery, Machine, Mask, MaskRule, MaximumRatio, MethodSettings, MissingDayRule,
    NitrogenShare, PointSpread, Prices, ProductFacts, RateRules, RateSettings, Reading,
    ReferenceLevel, ReferenceSource, Response, Season, Settings, StateRate, StripsUse,
    VectorSource, YieldSettings, ZonesBy,
};
use crate::pipeline::ramp::RampSettings;
use crate::science::methods::Method;
use crate::science::methods::about::about;
use crate::science::response_curve::ResponseCurve;
use crate::units::{NRate, Product};
use serde_json::{Map, Value, json};

/// The settings of a map, section by section in the order of the job file. `folder` is the job's.
pub fn settings(settings: &Settings, folder: &Path) -> Value {
    let field = &settings.field;
    let reference = &settings.reference;
    let zones = &settings.zones;
    let exclusions: Vec<Value> = field
        .exclusions
        .iter()
        .map(|exclusion| {
            let mut value = vector(&exclusion.source, folder);
            put(&mut value, "buffer_m", json!(exclusion.buffer.get()));
            put(&mut value, "reason", json!(exclusion.reason));
            value
        })
        .collect();
    let source = match &reference.source {
        ReferenceSource::Strips(strips) => json!({ "strips": vector(strips, folder) }),
        ReferenceSource::Readings(readings) => json!({ "readings": readings_of(readings) }),
        ReferenceSource::Percentile(percentile) => json!({ "percentile": percentile }),
    };
    json!({
        "field": {
            "name": field.name,
            "region": field.region,
            "boundary": vector(&field.boundary, folder),
            "crs": field.crs,
            "strips": if field.map_strips { "map" } else { "leave" },
            "exclude": exclusions,
            "edge": field.edges.iter().map(|edge| vector(edge, folder)).collect::<Vec<_>>(),
        },
        "imagery": settings.imagery.as_ref().filter(|imagery| readings_rule(imagery).is_none()).map(|imagery| image(imagery, folder)),
        "points": settings.imagery.as_ref().and_then(|imagery| readings_rule(imagery).map(|rule| points(imagery, rule, folder))),
        "reference": {
            "source": source,
            "inset_m": reference.inset.get(),
            "gap_m": reference.gap.get(),
            "segments": reference.segments,
            "drop_mad": reference.drop,
            "strips_use": strips_use(&reference.strips_use, folder),
            "level": match reference.level {
                ReferenceLevel::Strip => "strip",
                ReferenceLevel::Balanced => "balanced",
            },
        },
        "season": season(&settings.season, folder),
        "response": response(&settings.response),
        "rate": rate(&settings.rate),
        "product": settings.product.as_ref().map(|own| product(own, &settings.product_facts)),
        "machine": machine(&settings.machine, folder),
        "zones": {
            "by": by(&zones.by),
            "minimum_area_m2": zones.minimum_area.get(),
            "simplify_m": zones.simplify.get(),
            "round_corners_m": zones.round_corners.get(),
            "area_within_share": zones.area_within,
            "tolerance_kg_n_ha": zones.tolerance.get(),
            "total": if zones.keep_total { "kept" } else { "free" },
        },
        "prices": settings.prices.as_ref().map(prices),
        "uncertainty": {
            "draws": settings.uncertainty.draws,
            "seed": settings.uncertainty.seed,
            "use_efficiency_spread": settings.uncertainty.use_efficiency_spread,
            "place_spread": settings.uncertainty.place_spread,
        },
        "application": application(&settings.application),
        "accept": accepted(&settings.accept),
        "output": {
            "folder": path(&settings.output.folder, folder),
            "unit": settings.output.unit.label(),
            "us_units": settings.output.us_units,
            "formats": settings.output.formats.iter().map(|format| format_word(*format)).collect::<Vec<_>>(),
            "task_data": { "version": settings.output.task_data.version.word(), "kind": settings.output.task_data.kind.word() },
        },
    })
}

/// The settings of one flat rate. `folder` is the job's.
pub fn rate_settings(settings: &RateSettings, folder: &Path) -> Value {
    json!({
        "field": { "name": settings.name, "region": settings.region },
        "imagery": { "sensor": settings.sensor },
        "reference": { "source": { "readings": readings_of(&settings.readings) } },
        "season": season(&settings.season, folder),
        "response": response(&settings.response),
        "rate": rate(&settings.rate),
        "product": settings.product.as_ref().map(|own| product(own, &settings.product_facts)),
        "prices": settings.prices.as_ref().map(prices),
        "application": application(&settings.application),
        "accept": accepted(&settings.accept),
        "output": { "unit": settings.unit.label(), "us_units": settings.us_units },
    })
}

/// The settings of one flat rate from a ramp.
pub fn ramp_settings(settings: &RampSettings, folder: &Path) -> Value {
    let source = match &settings.image {
        None => settings
            .readings
            .iter()
            .map(|step| json!({ "rate_kg_n_ha": step.rate.get(), "index": step.value }))
            .collect(),
        Some(ramp) => {
            json!({ "steps": vector(&ramp.steps, folder), "rate": ramp.column, "unit_kg_n_ha": ramp.unit.get(), "inset_m": ramp.inset.get() })
        }
    };
    let ground = settings.image.as_ref().map(|ramp| {
        let exclusion =
            |one: &crate::job::settings::Exclusion| json!({ "source": vector(&one.source, folder), "buffer_m": one.buffer.get(), "reason": one.reason });
        json!({
            "boundary": vector(&ramp.field.boundary, folder), "crs": ramp.field.crs, "exclude": ramp.field.exclusions.iter().map(exclusion).collect::<Vec<_>>(),
        })
    });
    json!({
        "field": { "name": settings.name, "ground": ground },
        "imagery": settings.image.as_ref().map(|ramp| image(&ramp.imagery, folder)),
        "reference": {
            "source": { "ramp": source },
            "ramp_model": settings.model.name(),
            "ramp_index": settings.index,
        },
        "season": { "sensed": settings.sensed.map(|date| date.to_string()) },
        "response": { "applied_since_sensing_kg_n_ha": settings.applied_since_sensing.get() },
        "rate": rate(&settings.rate),
        "product": settings.product.as_ref().map(|own| product(own, &settings.product_facts)),
        "application": application(&settings.application),
        "accept": accepted(&settings.accept),
        "output": { "unit": settings.unit.label(), "us_units": settings.us_units },
    })
}

/// The word of a format in job files.
pub const fn format_word(format: Format) -> &'static str {
    match format {
        Format::GeoPackage => "geopackage",
        Format::GeoJson => "geojson",
        Format::Shapefile => "shapefile",
        Format::GeoTiff => "geotiff",
        Format::Iso11783 => "iso11783",
        Format::Kml => "kml",
        Format::FlatGeobuf => "flatgeobuf",
    }
}

fn put(value: &mut Value, key: &str, item: Value) {
    if let Value::Object(map) = value {
        map.insert(key.to_owned(), item);
    }
}

fn path(path: &Path, folder: &Path) -> String {
    below(path, folder)
}

fn vector(source: &VectorSource, folder: &Path) -> Value {
    json!({ "path": path(&source.path, folder), "layer": source.layer, "where": source.filter, "merge": source.merge })
}

fn image(imagery: &Imagery, folder: &Path) -> Value {
    let source = match &imagery.source {
        ImageSource::One(file) => json!(path(file, folder)),
        ImageSource::Points(rule) => json!(path(&rule.source.path, folder)),
        ImageSource::PerBand(files) => Value::Object(
            files
                .iter()
                .map(|(band, file)| (band.clone(), json!(path(file, folder))))
                .collect::<Map<_, _>>(),
        ),
    };
    let bands: Map<String, Value> = imagery
        .bands
        .iter()
        .map(|(name, number)| (name.clone(), json!(number)))
        .collect();
    json!({
        "path": source,
        "date": imagery.date.to_string(),
        "index": imagery.index,
        "bands": bands,
        "scale": imagery.scale,
        "offset": imagery.offset,
        "nodata": imagery.nodata,
        "bare_below": match imagery.bare_below {
            BareBelow::OfIndex => json!("of the index"),
            BareBelow::Value(value) => json!(value),
        },
        "pixel_inside_share": imagery.pixel_inside,
        "minimum_seen_share": imagery.minimum_seen,
        "point_spread_px": match &imagery.point_spread {
            PointSpread::Given(width) => json!(width),
            PointSpread::Sensor(name, width) => json!({ "sensor": name, "px": width }),
            PointSpread::Fit => json!("fit"),
        },
        "sensor": imagery.sensor,
        "mask": imagery.mask.as_ref().map(|mask| std::iter::once(mask).chain(&mask.and).map(|mask| mask_of(mask, folder)).collect::<Vec<_>>()),
    })
}

fn readings_rule(imagery: &Imagery) -> Option<&Points> {
    if let ImageSource::Points(rule) = &imagery.source {
        Some(rule)
    } else {
        None
    }
}

fn points(imagery: &Imagery, rule: &Points, folder: &Path) -> Value {
    let mut value = json!({
        "path": path(&rule.source.path, folder),
        "layer": rule.source.layer,
        "where": rule.source.filter,
        "date": imagery.date.to_string(),
        "index": imagery.index,
        "column": rule.column,
        "x": rule.place.as_ref().map(|place| &place.0),
        "y": rule.place.as_ref().map(|place| &place.1),
        "crs": rule.crs,
        "time": rule.time,
        "pass": rule.pass,
        "speed": rule.speed,
        "speed_unit_m_s": rule.speed_unit,
        "minimum_speed_m_s": rule.minimum_speed.map(crate::units::Speed::get),
        "maximum_speed_m_s": rule.maximum_speed.map(crate::units::Speed::get),
        "scale": imagery.scale,
        "offset": imagery.offset,
        "bare_below": match imagery.bare_below {
            BareBelow::OfIndex => json!("of the index"),
            BareBelow::Value(value) => json!(value),
        },
        "sensor": imagery.sensor,
        "outliers_mad": rule.outliers,
        "join_m": rule.join.get(),
        "minimum_readings": rule.minimum_readings,
    });
    match &rule.estimate {
        Estimate::Mean => put(&mut value, "estimate", json!("mean")),
        Estimate::Kriging {
            models,
            neighbours,
            reach,
        } => {
            put(&mut value, "estimate", json!("kriging"));
            put(
                &mut value,
                "variogram",
                json!(models.iter().map(|model| model.word()).collect::<Vec<_>>()),
            );
            put(&mut value, "neighbours", json!(neighbours));
            put(
                &mut value,
                "reach_m",
                reach.map_or_else(
                    || json!("range of the variogram"),
                    |reach| json!(reach.get()),
                ),
            );
        }
    }
    value
}

fn mask_of(mask: &Mask, folder: &Path) -> Value {
    let (key, rule) = match &mask.rule {
        MaskRule::Keep(classes) => ("keep", json!(classes)),
        MaskRule::Bits(bits) => ("bits", json!(bits)),
    };
    json!({ "path": mask.path.as_ref().map(|file| path(file, folder)), "band": mask.band, key: rule, "grow_m": mask.grow.get() })
}

fn readings_of(readings: &[Reading]) -> Vec<Value> {
    readings
        .iter()
        .map(|reading| json!({ "strip": reading.strip, "beside": reading.beside }))
        .collect()
}

fn season(season: &Season, folder: &Path) -> Value {
    let crop = &season.crop;
    let mut value = json!({
        "crop": {
            "name": crop.name,
            "base_temperature_c": crop.base_c,
            "grain_nitrogen_share": crop.grain_nitrogen,
            "bushel_lb": crop.lb_per_bu,
            "grain_moisture_share": crop.grain_moisture,
            "window_days": crop.window_days.map(|(first, last)| [first, last]),
            "stand_cv_share": crop.stand_cv,
            "source": crop.source,
        },
        "crops": season.crops.as_ref().map(|file| path(file, folder)),
        "planted": season.planted.map(|date| date.to_string()),
        "sensed": season.sensed.map(|date| date.to_string()),
        "count_sensing_day": season.count_sensing_day,
        "growing_day_rule": season.rule.rule().word(),
        "base_temperature": season.rule.base().to_string(),
        "ceiling": season.rule.ceiling().map(|(ceiling, _)| ceiling.to_string()),
        "ceiling_on": season.rule.ceiling().map(|(_, on)| on.word()),
        "missing_days": match season.missing_days {
            MissingDayRule::Refuse => "refuse",
            MissingDayRule::NextStation => "next station",
            MissingDayRule::LeaveOut => "leave out",
        },
    });
    match &season.growing_days {
        GrowingDays::Given(days) => put(&mut value, "growing_days", json!(days)),
        GrowingDays::Weather(file) => put(&mut value, "weather", json!(path(file, folder))),
        GrowingDays::Stations { list, station } => {
            put(&mut value, "stations", json!(path(list, folder)));
            put(&mut value, "station", json!(station));
        }
        GrowingDays::NotStated => put(&mut value, "growing_days", Value::Null),
    }
    value
}

fn response(response: &Response) -> Value {
    let mut value = json!({ "method": response.name() });
    match &response.method {
        MethodSettings::YieldResponse(yields) => yield_response(&mut value, yields),
        MethodSettings::Other { method, fitted } => {
            put(&mut value, "parameters", parameters(method));
            put(&mut value, "index", json!(fitted.index));
            put(&mut value, "region", json!(fitted.region));
            put(&mut value, "sensor", json!(fitted.sensor));
            put(&mut value, "source", json!(fitted.source));
            put(&mut value, "formula_from_memory", json!(fitted.from_memory));
        }
    }
    put(
        &mut value,
        "formula",
        json!(about(response.name()).map(|about| about.formula)),
    );
    put(
        &mut value,
        "nitrogen_share",
        match response.nitrogen_share {
            NitrogenShare::Stated(share) => json!(share),
            NitrogenShare::Measured => json!("measured"),
        },
    );
    put(
        &mut value,
        "maximum_ratio",
        match response.maximum_ratio {
            MaximumRatio::Value(value) => json!(value),
            MaximumRatio::Seen => json!("seen"),
            MaximumRatio::ByAnswer => json!("by the strip's answer"),
        },
    );
    put(
        &mut value,
        "applied_since_sensing_kg_n_ha",
        json!(response.applied_since_sensing.get()),
    );
    put(&mut value, "curve_spread", json!(response.curve_spread));
    if let Some(economic) = &response.economic {
        put(&mut value, "economic", economic_value(economic));
    }
    value
}

/// The economic optimum and what it comes from.
fn economic_value(economic: &EconomicOptimum) -> Value {
    let curve = match economic.curve {
        ResponseCurve::Quadratic { a, b, c } => {
            json!({ "shape": "quadratic", "a_kg_ha": a, "b": b, "c": c })
        }
        ResponseCurve::QuadraticPlateau { plateau, join, k } => {
            json!({ "shape": "quadratic plateau", "plateau_kg_ha": plateau, "join_kg_n_ha": join, "curvature": k })
        }
        ResponseCurve::LinearPlateau {
            plateau,
            join,
            slope,
        } => {
            json!({ "shape": "linear plateau", "plateau_kg_ha": plateau, "join_kg_n_ha": join, "slope": slope })
        }
    };
    json!({
        "curve": curve,
        "source": economic.source,
        "price_ratio": economic.price_ratio,
        "optimum_kg_n_ha": economic.optimum.get(),
        "maximum_rate_kg_n_ha": economic.maximum_rate.map(NRate::get),
    })
}

/// A word, or the layer of zones.
fn strips_use(rule: &StripsUse, folder: &Path) -> Value {
    match rule {
        StripsUse::Pooled => json!("pooled"),
        StripsUse::Nearest => json!("nearest"),
        StripsUse::InverseDistance => json!("inverse distance"),
        StripsUse::Zones {
            source,
            pooled_without,
        } => {
            json!({ "zones": vector(source, folder), "without_strip": if *pooled_without { "pooled" } else { "refuse" } })
        }
    }
}

fn yield_response(value: &mut Value, yields: &YieldSettings) {
    let curve = &yields.curve;
    put(
        value,
        "maximum_yield_kg_ha",
        json!(yields.maximum_yield.get()),
    );
    let fitted = json!({
        "a_kg_ha": curve.a.get(),
        "b_d": curve.b,
        "index": curve.index,
        "region": curve.region,
        "sensor": curve.sensor,
        "source": curve.source,
    });
    put(value, "yield_curve", fitted);
    put(
        value,
        "ratio_adjustment",
        json!(
            yields
                .ratio_adjustment
                .map(|(slope, intercept)| json!({ "slope": slope, "intercept": intercept }))
        ),
    );
    put(value, "dead_band", json!(yields.dead_band));
    put(value, "grain_nitrogen_share", json!(yields.grain_nitrogen));
    put(value, "use_efficiency_share", json!(yields.use_efficiency));
}

/// A method's own parameters.
fn parameters(method: &Method) -> Value {
    match method {
        // Its settings are written key by key.
        Method::YieldResponse(_) => Value::Null,
        Method::SquareRoot(root) => json!({
            "optimum_kg_n_ha": root.optimum.get(),
            "applied_before_kg_n_ha": root.applied_before.get(),
            "credits_kg_n_ha": root.credits.get(),
            "extra_kg_n_ha": root.extra.get(),
            "zone_scalar": root.zone_scalar,
            "delta_si": root.delta,
            "dead_band": root.dead_band,
            "back_off": root.back_off.map(|back| json!({ "steepness": back.steepness, "below": back.below })),
        }),
        Method::Quadratic(curve) => json!({
            "intercept": curve.intercept,
            "linear_ha_kg_n": curve.linear,
            "quadratic_ha2_kg2_n": curve.quadratic,
            "dead_band": curve.dead_band,
        }),
        Method::Chlorophyll(root) => {
            json!({ "scale_kg_n_ha": root.scale.get(), "enough": root.enough })
        }
        Method::Visible(line) => {
            json!({ "slope_kg_n_ha": line.slope.get(), "less_kg_n_ha": line.less.get() })
        }
        Method::LinearRamp(ramp) => json!({
            "by": ramp.by.word(),
            "low": ramp.low,
            "high": ramp.high,
            "at_low_kg_n_ha": ramp.at_low.get(),
            "at_high_kg_n_ha": ramp.at_high.get(),
        }),
        Method::ClassTable(table) => json!({
            "by": table.by.word(),
            "classes": table.classes.iter().map(|class| json!({ "below": class.below, "n_kg_ha": class.rate.get(), "back_off": class.back_off })).collect::<Vec<_>>(),
        }),
        Method::Flat(rate) => json!({ "rate_kg_n_ha": rate.get() }),
    }
}

fn state(rate: StateRate) -> Value {
    match rate {
        StateRate::Own => json!("own"),
        StateRate::FieldRate => json!("field rate"),
        StateRate::Amount(amount) => json!({ "kg_n_ha": amount.get() }),
    }
}

fn rate(rate: &RateRules) -> Value {
    json!({
        "minimum_kg_n_ha": rate.minimum.get(),
        "maximum_kg_n_ha": rate.maximum.get(),
        "maximum_written_kg_n_ha": rate.maximum_written.get(),
        "season_limit_kg_n_ha": rate.season_limit.map(crate::units::NRate::get),
        "applied_before_kg_n_ha": rate.applied_before.get(),
        "step_kg_n_ha": rate.step.get(),
        "maximum_step_kg_n_ha": rate.maximum_step.map(crate::units::NRate::get),
        "usual_kg_n_ha": rate.usual.map(crate::units::NRate::get),
        "usual_is_this_pass": rate.usual_is_this_pass,
        "thin": state(rate.thin),
        "unseen": state(rate.unseen),
        "bare": state(rate.bare),
    })
}

fn product(product: &Product, facts: &ProductFacts) -> Value {
    json!({
        "name": product.name(), "nitrogen_share": product.nitrogen(), "density_kg_l": product.kg_per_l(), "temperature_c": facts.temperature_c,
        "bulk_density_kg_m3": facts.bulk_kg_m3.map(|(low, high)| [low, high]), "shipped": facts.shipped.is_some(),
    })
}

fn heading(heading: &Heading, folder: &Path) -> Value {
    match heading {
        Heading::True(degrees) => json!({ "true_deg": degrees }),
        Heading::Grid(degrees) => json!({ "grid_deg": degrees }),
        Heading::Auto => json!("auto"),
        Heading::Line(line) => json!({ "line": vector(line, folder) }),
    }
}

fn machine(machine: &Machine, folder: &Path) -> Value {
    let mut value = json!({
        "working_width_m": machine.working_width.get(),
        "sections": machine.sections,
        "headland": machine.headland.map(|headland| json!({ "passes": headland.passes, "rate": state(headland.rate) })),
        "heading": heading(&machine.heading, folder),
        "cell_length_m": machine.cell_length.get(),
        "speed_m_s": machine.speed.map(crate::units::Speed::get),
        "delay_s": machine.delay.map(crate::units::Seconds::get),
        "transition_s": machine.transition.map(crate::units::Seconds::get),
        "overrun_m": machine.overrun.get(),
        "minimum_rate_kg_ha": machine.minimum_rate.map(crate::units::ProductRate::get),
        "maximum_rate_kg_ha": machine.maximum_rate.map(crate::units::ProductRate::get),
        "capacity": match machine.capacity {
            None => Value::Null,
            Some(Capacity::Kg(kg)) => json!({ "kg": kg }),
            Some(Capacity::Litres(litres)) => json!({ "l": litres }),
        },
        "grid": machine.grid.word(),
        "on_start": state(machine.on_start),
        "position_lost": match machine.position_lost {
            StateRate::Own => json!("field rate, or 0 with a hole of the boundary"),
            stated => state(stated),
        },
        "outside": state(machine.outside),
    });
    // Only where the job has them, so that the record of any other job stays what it was.
    if !machine.areas.is_empty() {
        value["areas"] = machine.areas.iter().map(|area| json!({ "path": vector(&area.source, folder), "heading": heading(&area.heading, folder) })).collect();
    }
    if let Some(look_ahead) = &machine.look_ahead {
        value["look_ahead"] = json!({ "distance_m": look_ahead.distance.get(), "first_pass": look_ahead.first_pass.word() });
    }
    value
}

fn by(by: &ZonesBy) -> Value {
    match by {
        ZonesBy::Cells => json!("cells"),
        ZonesBy::Classes(ClassBreaks::Natural(classes)) => {
            json!({ "classes": classes, "breaks": "natural" })
        }
        ZonesBy::Classes(ClassBreaks::Quantile(classes)) => {
            json!({ "classes": classes, "breaks": "quantile" })
        }
        ZonesBy::Classes(ClassBreaks::Given(bounds)) => {
            json!({ "classes": bounds.len() + 1, "breaks": bounds })
        }
    }
}

fn prices(prices: &Prices) -> Value {
    json!({
        "currency": prices.currency,
        "grain_per_kg": prices.grain,
        "nitrogen_per_kg_n": prices.nitrogen,
        "application_per_ha": prices.application,
        "mapping_per_ha": prices.mapping,
    })
}

fn application(application: &Application) -> Value {
    json!({ "date": application.date.map(|date| date.to_string()), "maximum_image_age_d": application.maximum_image_age })
}

fn accepted(accept: &[(String, Acceptance)]) -> Vec<Value> {
    accept.iter().map(|(code, acceptance)| json!({ "code": code, "figure": acceptance.figure, "reason": acceptance.reason, "by": acceptance.by })).collect()
}
