//! A job file with every section resolves to the values that it states, and a short one to the stated defaults.

use std::path::{Path, PathBuf};

use approx::assert_relative_eq;
use haulm::app::job::{map_job, rate_job, rate_record, settings_record};
use haulm::finding::Checked;
use haulm::job::fault::JobError;
use haulm::job::settings::{
    BareBelow, ClassBreaks, Format, GrowingDays, Heading, ImageSource, MaskRule, MaximumRatio,
    NitrogenShare, PointSpread, ReferenceLevel, ReferenceSource, Settings, StateRate, StripsUse,
    ZonesBy,
};
use haulm::map::task_options::GridRates;
use haulm::units::{NRate, RateUnit};
use jiff::civil::Date;

/// Every section and nearly every key.
pub(crate) const FULL: &str = r#"
[field]
name     = "Long Ley"
boundary = "boundary.geojson"
crs      = "EPSG:32633"
strips   = "map"

[[field.exclude]]
path = "wet_corner.geojson"
buffer = "10 m"
reason = "open water"

[[field.edge]]
path = "road.gpkg"
layer = "roads"
where = "KIND = 'lane'"

[imagery]
path  = "mosaic.tif"
date  = 2026-04-14
index = "NDVI"
bands = { red = 3, red_edge = 4, nir = 5 }
scale = 0.0001
bare_below = 0.25
pixel_inside = 0.9
minimum_seen = 0.3
point_spread = 0.0
mask  = { path = "scl.tif", keep = [4, 5], grow = "20 m" }

[reference]
strips  = "strips.geojson"
inset   = "3 m"
gap     = "5 m"
segments = 20
drop    = 3.5
strips_use = "pooled"
level = "strip"

[season]
crop    = "winter wheat"
planted = 2025-10-01
growing_days = 94
count_sensing_day = false

[response]
method         = "yield response"
maximum_yield  = "100 bu/ac"
yield_curve    = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "common practice" }
nitrogen_share = 1.0
maximum_ratio  = 2.0
ratio_adjustment = { slope = 1.0, intercept = 0.0 }
dead_band      = 0.0
grain_nitrogen = 0.0239
use_efficiency = 0.5
applied_since_sensing = "0 kg N/ha"

[rate]
minimum = "0 kg N/ha"
maximum = "150 kg N/ha"
step    = "5 kg N/ha"
maximum_step = "1000 kg N/ha"
usual   = "60 kg N/ha"
thin    = "field rate"
unseen  = "field rate"
bare    = "0 kg N/ha"

[product]
name = "UAN 28"

[machine]
working_width = "24 m"
heading = 63.0
cell_length = "24 m"
sections = 1
headland = { passes = 2, rate = "own" }
overrun = "12 m"
minimum_rate = "40 L/ha"
on_start = "field rate"

[zones]
by       = "cells"
minimum_area = "1152 m2"
simplify = "0 m"
round_corners = "0 m"
area_within = 0.05
tolerance = "0 kg N/ha"
total    = "kept"

[prices]
currency = "USD"
grain    = "6 USD/bu"
nitrogen = "0.60 USD/lb N"
application = "7 USD/ac"

[application]
date = 2026-04-18
maximum_image_age = 14

[[accept]]
code = "image.age"
reason = "cold spell, no growth"
by = "A. Adviser"

[output]
folder  = "out"
unit    = "L/ha"
formats = ["geopackage", "geojson", "shapefile", "geotiff", "iso11783"]
"#;

/// As little as a map needs.
pub(crate) const SHORT: &str = r#"
[field]
boundary = "long_ley.geojson"
[imagery]
path = "mosaic.tif"
date = 2026-04-14
[reference]
strips = "strips.geojson"
[season]
crop = "winter wheat"
growing_days = 94
[response]
maximum_yield = "6.7 t/ha"
yield_curve = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "common practice" }
[rate]
maximum = "150 kg N/ha"
[machine]
working_width = "24 m"
"#;

pub(crate) fn job(text: &str) -> Checked<Settings> {
    match map_job(text.as_bytes(), Path::new("farm/job.toml")) {
        Ok(settings) => settings,
        Err(error) => panic!("{error}"),
    }
}

fn day(year: i16, month: i8, day: i8) -> Date {
    Date::constant(year, month, day)
}

#[test]
fn ground_and_image_of_the_full_job() {
    let settings = job(FULL).value;
    let field = &settings.field;
    assert_eq!(
        (field.name.as_str(), field.crs.as_deref(), field.map_strips),
        ("Long Ley", Some("EPSG:32633"), true)
    );
    assert_eq!(field.boundary.path, PathBuf::from("farm/boundary.geojson"));
    assert_eq!(
        (field.exclusions.len(), field.exclusions[0].buffer.get()),
        (1, 10.0)
    );
    assert_eq!(field.exclusions[0].reason.as_deref(), Some("open water"));
    assert_eq!(
        (
            field.edges[0].layer.as_deref(),
            field.edges[0].filter.as_deref()
        ),
        (Some("roads"), Some("KIND = 'lane'"))
    );
    let imagery = settings.imagery.unwrap();
    assert_eq!(imagery.source, ImageSource::One("farm/mosaic.tif".into()));
    assert_eq!(
        (imagery.date, imagery.index.as_str()),
        (day(2026, 4, 14), "NDVI")
    );
    assert_eq!(
        imagery.bands,
        [
            ("red".to_owned(), 3),
            ("red_edge".to_owned(), 4),
            ("nir".to_owned(), 5)
        ]
    );
    assert_eq!(
        (imagery.scale, imagery.offset, imagery.bare_below),
        (Some(0.0001), None, BareBelow::Value(0.25))
    );
    assert_eq!(
        (
            imagery.pixel_inside,
            imagery.minimum_seen,
            &imagery.point_spread
        ),
        (0.9, 0.3, &PointSpread::Given(0.0))
    );
    let mask = imagery.mask.unwrap();
    assert_eq!(
        (mask.rule, mask.grow.get()),
        (MaskRule::Keep(vec![4, 5]), 20.0)
    );
    let reference = settings.reference;
    assert_eq!(reference.level, ReferenceLevel::Strip);
    assert!(
        matches!(reference.source, ReferenceSource::Strips(strips) if strips.path == Path::new("farm/strips.geojson"))
    );
    assert_eq!(
        (
            reference.inset.get(),
            reference.gap.get(),
            reference.segments,
            reference.drop,
            reference.strips_use == StripsUse::Pooled
        ),
        (3.0, 5.0, 20, 3.5, true)
    );
}

#[test]
fn crop_and_rate_of_the_full_job() {
    let settings = job(FULL).value;
    let season = &settings.season;
    assert_eq!(
        (
            season.crop.name.as_str(),
            season.crop.base_c,
            season.crop.lb_per_bu
        ),
        ("winter wheat", 4.4, Some(60.0))
    );
    assert_eq!(
        (season.planted, season.sensed),
        (Some(day(2025, 10, 1)), Some(day(2026, 4, 14)))
    );
    assert_eq!(
        (&season.growing_days, season.count_sensing_day),
        (&GrowingDays::Given(94.0), false)
    );
    let response = settings.response.yields().unwrap();
    // 100 bu/ac of 60 lb: 67.251069 kg/ha a bushel per acre, handbook factor.
    assert_relative_eq!(
        response.maximum_yield.get(),
        6_725.106_9,
        max_relative = 1e-8
    );
    assert_eq!(
        (
            response.curve.a.get(),
            response.curve.b,
            response.curve.index.as_str()
        ),
        (590.0, 258.2, "NDVI")
    );
    assert_eq!(
        (
            settings.response.nitrogen_share,
            settings.response.maximum_ratio,
            response.ratio_adjustment
        ),
        (NitrogenShare::Stated(1.0), MaximumRatio::Value(2.0), None)
    );
    assert_eq!(
        (
            response.dead_band,
            response.grain_nitrogen,
            response.use_efficiency
        ),
        (0.0, 0.0239, 0.5)
    );
    let rate = &settings.rate;
    assert_eq!(
        (rate.minimum.get(), rate.maximum.get(), rate.step.get()),
        (0.0, 150.0, 5.0)
    );
    assert_eq!(rate.usual, Some(NRate::kg_per_ha(60.0)));
    assert_eq!(
        (rate.thin, rate.unseen, rate.bare),
        (
            StateRate::FieldRate,
            StateRate::FieldRate,
            StateRate::Amount(NRate::ZERO)
        )
    );
    let product = settings.product.as_ref().unwrap();
    assert_eq!((product.name(), product.nitrogen()), ("UAN 28", 0.28));
}

#[test]
fn machine_money_and_output_of_the_full_job() {
    let settings = job(FULL).value;
    let density = settings.product.as_ref().unwrap().kg_per_l().unwrap();
    let machine = &settings.machine;
    assert_eq!(
        (
            machine.working_width.get(),
            machine.cell_length.get(),
            machine.overrun.get()
        ),
        (24.0, 24.0, 12.0)
    );
    assert_eq!(machine.heading, Heading::True(63.0));
    assert_relative_eq!(
        machine.minimum_rate.unwrap().get(),
        40.0 * density,
        max_relative = 1e-12
    );
    assert_eq!(
        (machine.on_start, machine.outside),
        (StateRate::FieldRate, StateRate::Amount(NRate::ZERO))
    );
    // An exclusion has a buffer, so nothing is applied while the position is lost.
    assert_eq!(machine.position_lost, StateRate::Amount(NRate::ZERO));
    assert_eq!(
        (
            &settings.zones.by,
            settings.zones.minimum_area.get(),
            settings.zones.keep_total
        ),
        (&ZonesBy::Cells, 1152.0, true)
    );
    let prices = settings.prices.as_ref().unwrap();
    // 6 USD for 60 lb = 27.2155 kg; 0.60 USD for 0.453 592 37 kg; 7 USD for 0.404 685 642 ha.
    assert_relative_eq!(prices.grain, 6.0 / 27.215_542_2, max_relative = 1e-9);
    assert_relative_eq!(prices.nitrogen, 0.60 / 0.453_592_37, max_relative = 1e-12);
    assert_relative_eq!(
        prices.application,
        7.0 / 0.404_685_642_24,
        max_relative = 1e-12
    );
    assert_eq!(prices.currency, "USD");
    assert_eq!(
        (
            settings.application.date,
            settings.application.maximum_image_age
        ),
        (Some(day(2026, 4, 18)), 14)
    );
    assert_eq!(
        (
            settings.accept[0].0.as_str(),
            settings.accept[0].1.by.as_str()
        ),
        ("image.age", "A. Adviser")
    );
    let output = &settings.output;
    assert_eq!(
        (output.folder.as_path(), output.unit, output.us_units),
        (Path::new("farm/out"), RateUnit::LPerHa, false)
    );
    assert_eq!(
        output.formats,
        [
            Format::GeoPackage,
            Format::GeoJson,
            Format::Shapefile,
            Format::GeoTiff,
            Format::Iso11783
        ]
    );
}

#[test]
fn defaults_of_a_short_job() {
    let checked = job(SHORT);
    let notes: Vec<_> = checked
        .findings
        .iter()
        .map(|finding| finding.code)
        .collect();
    assert_eq!(notes, ["field.name", "machine.heading"]);
    let settings = checked.value;
    assert_eq!(settings.field.name, "long_ley");
    let imagery = settings.imagery.unwrap();
    assert_eq!(
        (
            imagery.index.as_str(),
            imagery.bare_below,
            imagery.pixel_inside,
            imagery.minimum_seen
        ),
        ("NDVI", BareBelow::OfIndex, 0.9, 0.3)
    );
    assert_eq!(
        (
            settings.reference.inset.get(),
            settings.reference.gap.get(),
            settings.reference.segments
        ),
        (3.0, 5.0, 20)
    );
    assert_eq!(
        (
            settings.response.maximum_ratio,
            settings.response.yields().unwrap().use_efficiency
        ),
        (MaximumRatio::ByAnswer, 0.5)
    );
    assert_eq!(settings.response.yields().unwrap().grain_nitrogen, 0.0239);
    assert_eq!(
        (
            settings.rate.minimum.get(),
            settings.rate.step.get(),
            settings.rate.usual
        ),
        (0.0, 5.0, None)
    );
    assert_eq!(settings.machine.heading, Heading::Auto);
    assert_eq!(
        (
            settings.machine.cell_length.get(),
            settings.machine.overrun.get()
        ),
        (24.0, 12.0)
    );
    // Whether the boundary has holes shows later.
    assert_eq!(settings.machine.position_lost, StateRate::Own);
    assert_eq!(settings.machine.grid, GridRates::Zone);
    assert_eq!(settings.zones.minimum_area.get(), 2.0 * 24.0 * 24.0);
    assert_eq!(
        (settings.output.unit, settings.output.us_units),
        (RateUnit::KgPerHa, false)
    );
    assert!(settings.prices.is_none() && settings.product.is_none());
    assert_eq!(settings.application.maximum_image_age, 14);
    assert_eq!(settings.output.formats.len(), 5);
}

/// The short job with one line in place of another.
pub(crate) fn changed(base: &str, from: &str, to: &str) -> String {
    assert!(base.contains(from), "{from} is not in the job");
    base.replacen(from, to, 1)
}

#[test]
fn us_units_follow_the_greatest_rate() {
    let us = changed(SHORT, "\"150 kg N/ha\"", "\"120 lb N/ac\"");
    let settings = job(&us).value;
    assert_eq!(
        (settings.output.unit, settings.output.us_units),
        (RateUnit::LbPerAc, true)
    );
    assert_eq!(settings.rate.maximum, NRate::lb_per_ac(120.0));
    let liquid = format!("{us}[product]\nname = \"UAN 28\"\n");
    assert_eq!(job(&liquid).value.output.unit, RateUnit::GalPerAc);
    let stated = format!("{us}[output]\nunit = \"kg/ha\"\n");
    assert_eq!(
        (
            job(&stated).value.output.unit,
            job(&stated).value.output.us_units
        ),
        (RateUnit::KgPerHa, false)
    );
}

#[test]
fn product_amounts_are_taken_and_echoed() {
    // 11 gal/ac of a liquid of 1.28 kg/L with 28 %: 11 · 9.353956228 · 1.28 · 0.28 kg N/ha.
    let liquid = changed(SHORT, "\"150 kg N/ha\"", "\"11 gal/ac\"");
    let checked = job(&format!(
        "{liquid}[product]\nname = \"my mix\"\nnitrogen = 0.28\ndensity = \"1.28 kg/L\"\n"
    ));
    let note = checked
        .findings
        .iter()
        .find(|finding| finding.code == "rate.product_amount")
        .unwrap();
    assert_eq!(
        note.message,
        "rate.maximum: 11 gal/ac of my mix = 32.9 lb N/ac"
    );
    let settings = checked.value;
    assert_relative_eq!(
        settings.rate.maximum.get(),
        11.0 * 9.353_956_228 * 1.28 * 0.28,
        max_relative = 1e-9
    );
    assert_eq!(settings.output.unit, RateUnit::GalPerAc);
}

#[test]
fn other_ways_of_saying_it() {
    let with = |from: &str, to: &str| job(&changed(SHORT, from, to)).value;
    let width = "working_width = \"24 m\"";
    for (text, heading) in [
        ("heading = \"63.0\"", Heading::True(63.0)),
        ("heading = \"63.0 grid\"", Heading::Grid(63.0)),
        ("heading = \"auto\"", Heading::Auto),
        ("heading = 360", Heading::True(0.0)),
    ] {
        assert_eq!(
            with(width, &format!("{width}\n{text}")).machine.heading,
            heading,
            "{text}"
        );
    }
    for text in [
        "heading = { line = \"ab.geojson\" }",
        "line = \"ab.geojson\"",
    ] {
        let heading = with(width, &format!("{width}\n{text}")).machine.heading;
        assert!(
            matches!(&heading, Heading::Line(line) if line.path == Path::new("farm/ab.geojson")),
            "{text}"
        );
    }
    // 2 · 12 km/h · (2 s + 3 s) = 33.33 m; the response distance is 16.67 m.
    let machine = with(
        width,
        &format!("{width}\nspeed = \"12 km/h\"\ndelay = \"2 s\"\ntransition = \"3 s\""),
    )
    .machine;
    assert_relative_eq!(machine.cell_length.get(), 100.0 / 3.0, max_relative = 1e-12);
    assert_relative_eq!(machine.overrun.get(), 50.0 / 3.0, max_relative = 1e-12);

    let boundary = "boundary = \"long_ley.geojson\"";
    let field = with(boundary, "boundary = { path = \"farm.gpkg\", layer = \"fields\", where = \"FIELD_ID = '12'\" }\nmerge = true").field;
    assert_eq!(
        (
            field.boundary.layer.as_deref(),
            field.boundary.filter.as_deref(),
            field.boundary.merge
        ),
        (Some("fields"), Some("FIELD_ID = '12'"), true)
    );
    let inside = with(
        boundary,
        "boundary = { path = \"farm.gpkg\", merge = true }\nname = \"x\"",
    )
    .field;
    assert!(inside.boundary.merge);

    let imagery =
        with("path = \"mosaic.tif\"", "path = { red = \"B04.jp2\", nir = \"B08.jp2\" }\nmask = { path = \"qa.tif\", bits = \"3,4\" }").imagery.unwrap();
    assert_eq!(
        imagery.source,
        ImageSource::PerBand(vec![
            ("red".into(), "farm/B04.jp2".into()),
            ("nir".into(), "farm/B08.jp2".into())
        ])
    );
    assert_eq!(imagery.mask.unwrap().rule, MaskRule::Bits(vec![3, 4]));

    let strips = "strips = \"strips.geojson\"";
    assert!(
        matches!(with(strips, "percentile = 95").reference.source, ReferenceSource::Percentile(p) if p == 95.0)
    );
    assert!(
        matches!(with(strips, "readings = [{ strip = 0.66, beside = 0.50 }]").reference.source, ReferenceSource::Readings(r) if r[0].strip == 0.66)
    );

    let days = "growing_days = 94";
    let season = with(days, "planted = \"2025-10-01\"\nweather = \"station.csv\"").season;
    assert_eq!(
        season.growing_days,
        GrowingDays::Weather("farm/station.csv".into())
    );

    for (text, by) in [
        (
            "by = \"classes\"\nclasses = 4",
            ZonesBy::Classes(ClassBreaks::Natural(4)),
        ),
        (
            "by = \"classes\"\nclasses = 3\nbreaks = \"quantile\"",
            ZonesBy::Classes(ClassBreaks::Quantile(3)),
        ),
        (
            "by = \"classes\"\nbreaks = [0.5, 0.6]",
            ZonesBy::Classes(ClassBreaks::Given(vec![0.5, 0.6])),
        ),
    ] {
        assert_eq!(
            job(&format!("{SHORT}[zones]\n{text}\n")).value.zones.by,
            by,
            "{text}"
        );
    }
    let states = with(
        "maximum = \"150 kg N/ha\"",
        "maximum = \"150 kg N/ha\"\nthin = \"own\"\nunseen = \"20 kg N/ha\"\nbare = \"field rate\"",
    )
    .rate;
    assert_eq!(
        (states.thin, states.unseen, states.bare),
        (
            StateRate::Own,
            StateRate::Amount(NRate::kg_per_ha(20.0)),
            StateRate::FieldRate
        )
    );
    assert_eq!(
        with("crop = \"winter wheat\"", "crop = \"Winter Wheat\"")
            .season
            .crop
            .name,
        "winter wheat"
    );
}

#[test]
fn own_crop_and_prices() {
    let own = "[crop]\nname = \"spelt\"\nbase_temperature = \"40 °F\"\ngrain_nitrogen = 0.022\nbushel = \"48 lb\"\nwindow = [80, 110]\nsource = \"own trials\"\n";
    let prices = "[prices]\ngrain = \"€0.20/kg\"\nproduct = \"450 €/t\"\napplication = \"8 € / ha\"\n[product]\nname = \"urea\"\n";
    let text = changed(SHORT, "crop = \"winter wheat\"\n", "");
    let settings = job(&format!(
        "{}{own}{prices}",
        changed(&text, "\"6.7 t/ha\"", "\"100 bu/ac\"")
    ))
    .value;
    let crop = &settings.season.crop;
    assert_eq!(
        (crop.name.as_str(), crop.lb_per_bu, crop.window_days),
        ("spelt", Some(48.0), Some((80.0, 110.0)))
    );
    assert_relative_eq!(crop.base_c, 4.444_444, max_relative = 1e-6);
    assert_eq!(settings.response.yields().unwrap().grain_nitrogen, 0.022);
    // Handbook factor for a 48 lb bushel: 53.800855 kg/ha a bushel per acre.
    assert_relative_eq!(
        settings.response.yields().unwrap().maximum_yield.get(),
        5_380.085_5,
        max_relative = 1e-8
    );
    let prices = settings.prices.unwrap();
    assert_eq!(
        (prices.currency.as_str(), prices.grain, prices.application),
        ("€", 0.20, 8.0)
    );
    assert_relative_eq!(prices.nitrogen, 0.45 / 0.46, max_relative = 1e-12);
}

#[test]
fn one_flat_rate_needs_no_ground_and_no_machine() {
    let text = r#"
[reference]
readings = [{ strip = 0.665, beside = 0.50 }, { strip = 0.70, beside = 0.55 }]
[season]
crop = "winter wheat"
growing_days = 94
sensed = 2026-04-14
[response]
maximum_yield = "100 bu/ac"
yield_curve = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "common practice" }
[rate]
maximum = "120 lb N/ac"
"#;
    let settings = rate_job(text.as_bytes(), Path::new("job.toml"))
        .unwrap()
        .value;
    assert_eq!(
        (settings.readings.len(), settings.us_units, settings.unit),
        (2, true, RateUnit::LbPerAc)
    );
    assert_eq!(settings.season.sensed, Some(day(2026, 4, 14)));
    let echoed = rate_record(&settings, Path::new(""));
    assert_eq!(echoed["season"]["growing_days"], 94.0);
    // A map's job serves too, once it has readings.
    let map = changed(
        FULL,
        "strips  = \"strips.geojson\"",
        "readings = [{ strip = 0.66, beside = 0.50 }]",
    );
    let settings = rate_job(map.as_bytes(), Path::new("job.toml"))
        .unwrap()
        .value;
    assert_eq!(
        (settings.name.as_deref(), settings.unit),
        (Some("Long Ley"), RateUnit::LPerHa)
    );
    let JobError::Refused { faults, .. } =
        rate_job(FULL.as_bytes(), Path::new("job.toml")).unwrap_err()
    else {
        panic!("not refused")
    };
    assert_eq!(
        (faults.len(), faults[0].key.as_str(), faults[0].code()),
        (1, "reference.readings", "job.missing")
    );
}

#[test]
fn the_record_carries_every_setting_and_no_folder() {
    let settings = job(FULL).value;
    let echoed = settings_record(&settings, Path::new("farm"));
    assert_eq!(echoed["field"]["boundary"]["path"], "boundary.geojson");
    assert_eq!(echoed["field"]["exclude"][0]["buffer_m"], 10.0);
    assert_eq!(echoed["machine"]["working_width_m"], 24.0);
    assert_eq!(echoed["machine"]["heading"]["true_deg"], 63.0);
    assert_eq!(echoed["rate"]["maximum_kg_n_ha"], 150.0);
    assert_eq!(echoed["rate"]["bare"]["kg_n_ha"], 0.0);
    assert_eq!(echoed["output"]["folder"], "out");
    assert_eq!(echoed["season"]["planted"], "2025-10-01");
    assert!(!echoed.to_string().contains("farm/"), "{echoed}");
    // The same job from another folder gives the same record.
    let elsewhere = map_job(FULL.as_bytes(), Path::new("other/place/job.toml"))
        .unwrap()
        .value;
    assert_eq!(
        settings_record(&elsewhere, Path::new("other/place")),
        echoed
    );
}

#[test]
fn byte_order_mark_and_line_ends() {
    let text = format!("\u{feff}{}", SHORT.replace('\n', "\r\n"));
    assert_eq!(job(&text).value.rate.maximum.get(), 150.0);
}

#[test]
fn shipped_names_and_aliases() {
    let curve = "yield_curve = { a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"common practice\" }";
    // A named curve brings its crop along; a crop alone brings no curve.
    let text = changed(
        &changed(SHORT, "crop = \"winter wheat\"\n", ""),
        curve,
        "yield_curve = \"corn, common practice\"",
    );
    let settings = job(&text).value;
    assert_eq!(
        (
            settings.season.crop.name.as_str(),
            settings.response.yields().unwrap().curve.a.get(),
            settings.response.yields().unwrap().grain_nitrogen
        ),
        ("corn", 1565.0, 0.0125)
    );
    assert_eq!(
        job(&changed(SHORT, "\"winter wheat\"", "\"Wheat\""))
            .value
            .season
            .crop
            .name,
        "winter wheat"
    );
    assert_eq!(
        job(&format!("{SHORT}[product]\nname = \"46-0-0\"\n"))
            .value
            .product
            .unwrap()
            .name(),
        "urea"
    );
    // No grain nitrogen is confirmed for barley: the job must give one.
    let barley = changed(SHORT, "\"winter wheat\"", "\"barley\"");
    let JobError::Refused { faults, .. } =
        map_job(barley.as_bytes(), Path::new("job.toml")).unwrap_err()
    else {
        panic!("not refused")
    };
    assert_eq!(
        (faults.len(), faults[0].key.as_str(), faults[0].code()),
        (1, "response.grain_nitrogen", "job.missing")
    );
    let stated = changed(&barley, "[response]", "[response]\ngrain_nitrogen = 0.018");
    assert_eq!(
        job(&stated).value.response.yields().unwrap().grain_nitrogen,
        0.018
    );
    // Spellings of an index and of bands are one name inside.
    let spelt = changed(
        SHORT,
        "[reference]",
        "index = \"ndvi\"\nbands = { Red = 3, \"Near-Infrared\" = 5 }\n[reference]",
    );
    let imagery = job(&spelt).value.imagery.unwrap();
    assert_eq!(
        (imagery.index.as_str(), imagery.bands),
        ("NDVI", vec![("red".to_owned(), 3), ("nir".to_owned(), 5)])
    );
}
