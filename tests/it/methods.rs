//! Every method from outside: maps that differ as the papers say, one flat rate each, wrong combinations refused, limits of the season held.

use std::path::Path;
use std::process::Command;

use haulm::app::job::{map_job, rate_job, rate_record, settings_record};
use serde_json::Value;

use crate::field::Field;

/// `[response]` of each method, for the made field's NDVI, and the crop that it is for.
const METHODS: &[(&str, &str, &str)] = &[
    (
        "square root",
        "winter wheat",
        "optimum = \"150 kg N/ha\"\ndelta_si = 0.4\nindex = \"NDVI\"\n",
    ),
    ("quadratic", "corn", ""),
    ("chlorophyll root", "corn", ""),
    (
        "linear ramp",
        "winter wheat",
        "by = \"index\"\nindex = \"NDVI\"\nlow = 0.35\nhigh = 0.80\nat_low = \"120 kg N/ha\"\nat_high = \"20 kg N/ha\"\n",
    ),
    (
        "class table",
        "winter wheat",
        "by = \"sufficiency\"\nindex = \"NDVI\"\nclasses = [{ below = 0.75, rate = \"90 kg N/ha\" }, { below = 0.95, rate = \"50 kg N/ha\" }, { rate = \"0 kg N/ha\" }]\n",
    ),
    ("flat", "winter wheat", "rate = \"60 kg N/ha\"\n"),
];

/// A job's text with another crop and method, without growing days.
fn with_method(job: &str, name: &str, crop: &str, keys: &str) -> String {
    let (before, rest) = job.split_once("[response]\n").unwrap();
    let (_, after) = rest.split_once("[rate]\n").unwrap();
    let before = before
        .replace("crop = \"winter wheat\"", &format!("crop = \"{crop}\""))
        .replace("growing_days = 100\n", "");
    format!("{before}[response]\nmethod = \"{name}\"\n{keys}\n[rate]\n{after}")
}

struct Mapped {
    record: Value,
    /// Index and nitrogen of canopy cells, from the palest up.
    cells: Vec<(f64, f64)>,
    thin: Vec<f64>,
    bare: Vec<f64>,
    yields: usize,
}

fn mapped(name: &str, crop: &str, keys: &str, index: &str) -> Mapped {
    use gdal::vector::LayerAccess as _;
    let field = Field::new();
    let job = fs_err::read_to_string(field.path("job.toml")).unwrap();
    let text = with_method(&job, name, crop, keys).replace(
        "index = \"NDVI\"\n\n[reference]",
        &format!("index = \"{index}\"\n\n[reference]"),
    );
    field.write(
        "job.toml",
        text.replace(
            "folder = \"out\"\n",
            "folder = \"out\"\nformats = [\"geopackage\"]\n",
        ),
    );
    let wording = field.run(&["map"]);
    assert_eq!(
        wording.status,
        Some(0),
        "{name}: {}{}",
        wording.out,
        wording.err
    );
    let file = gdal::Dataset::open_ex(
        field.path("out/office/prescription.gpkg"),
        gdal::DatasetOptions {
            open_flags: gdal::GdalOpenFlags::GDAL_OF_VECTOR,
            ..gdal::DatasetOptions::default()
        },
    )
    .unwrap();
    let mut layer = file.layer_by_name("cells").unwrap();
    let column = |name: &str| layer.defn().field_index(name).unwrap();
    let (state, index, exact, rate) = (
        column("state"),
        column("index"),
        column("n_exact_kg_ha"),
        column("n_kg_ha"),
    );
    let (without, with) = (
        column("yield_without_n_kg_ha"),
        column("yield_with_n_kg_ha"),
    );
    let (mut cells, mut thin, mut bare, mut yields) = (Vec::new(), Vec::new(), Vec::new(), 0);
    for feature in layer.features() {
        let rate = feature.field_as_double(rate).unwrap().unwrap();
        assert!(
            (rate / 5.0 - libm::round(rate / 5.0)).abs() < 1e-9 && (0.0..=150.0).contains(&rate),
            "{name}: {rate} is no multiple of the step"
        );
        match feature.field_as_string(state).unwrap().unwrap().as_str() {
            "canopy" => cells.push((
                feature.field_as_double(index).unwrap().unwrap(),
                feature.field_as_double(exact).unwrap().unwrap(),
            )),
            "thin" => thin.push(rate),
            "bare" => bare.push(rate),
            _ => {}
        }
        yields += usize::from(feature.field_as_double(without).unwrap().is_some())
            + usize::from(feature.field_as_double(with).unwrap().is_some());
    }
    cells.sort_by(|a, b| a.0.total_cmp(&b.0));
    Mapped {
        record: field.record(),
        cells,
        thin,
        bare,
        yields,
    }
}

fn codes(record: &Value) -> Vec<&str> {
    record["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|finding| finding["code"].as_str().unwrap())
        .collect()
}

#[test]
fn each_method_maps_the_field() {
    for (name, crop, keys) in METHODS {
        let map = mapped(name, crop, keys, "NDVI");
        assert_eq!(map.record["settings"]["response"]["method"], *name);
        assert!(
            map.record["settings"]["response"]["formula"]
                .as_str()
                .is_some_and(|formula| formula.contains("N =")),
            "{name}"
        );
        // The palest canopy gets no less than the greenest, and no yield is predicted.
        assert!(
            map.cells
                .windows(2)
                .all(|pair| pair[0].1 >= pair[1].1 - 1e-9),
            "{name} falls with the index"
        );
        assert_eq!(
            (map.yields, map.record["money"].is_null()),
            (0, true),
            "{name}"
        );
        // Poor ground never draws the top rate.
        let top = map.cells.iter().map(|cell| cell.1).fold(0.0, f64::max);
        let field_rate = map.record["totals"]["field_rate_n_kg_ha"].as_f64().unwrap();
        assert!(
            !map.thin.is_empty()
                && map
                    .thin
                    .iter()
                    .all(|rate| *rate <= field_rate && (*rate < top || field_rate >= top)),
            "{name}: {:?}",
            map.thin
        );
        assert!(
            !map.bare.is_empty() && map.bare.iter().all(|rate| *rate == 0.0),
            "{name}"
        );
        let memory = matches!(*name, "square root" | "quadratic" | "chlorophyll root");
        assert_eq!(
            codes(&map.record).contains(&"method.memory"),
            memory,
            "{name}"
        );
        assert_eq!(
            codes(&map.record).contains(&"method.index"),
            matches!(*name, "quadratic" | "chlorophyll root"),
            "{name}"
        );
        assert!(map.record["uncertainty"]["n_kg_by_use_efficiency"].is_null());
    }
}

/// Mean exact rate of canopy cells whose index lies between two shares of the strip's.
fn mean_near(map: &Mapped, low: f64, high: f64) -> f64 {
    let reference = map.record["reference"]["index"].as_f64().unwrap();
    let near: Vec<f64> = map
        .cells
        .iter()
        .filter(|cell| (low..high).contains(&(cell.0 / reference)))
        .map(|cell| cell.1)
        .collect();
    assert!(!near.is_empty());
    near.iter().sum::<f64>() / near.len() as f64
}

#[test]
fn maps_differ_as_the_papers_say() {
    // Most of the field stands at 0.62 / 0.74 = 0.84 of the strip. There the square root has already spent √(0.16 / 0.4) = 63 % of its bracket, a straight
    // line between nothing at SI 1 and the same bracket at SI 0.6 only 40 %.
    let root = mapped(
        "square root",
        "winter wheat",
        "optimum = \"150 kg N/ha\"\ndelta_si = 0.4\nindex = \"NDVI\"\n",
        "NDVI",
    );
    let line = mapped(
        "linear ramp",
        "winter wheat",
        "by = \"sufficiency\"\nindex = \"NDVI\"\nlow = 0.6\nhigh = 1.0\nat_low = \"150 kg N/ha\"\nat_high = \"0 kg N/ha\"\n",
        "NDVI",
    );
    let (by_root, by_line) = (mean_near(&root, 0.80, 0.90), mean_near(&line, 0.80, 0.90));
    assert!(
        by_root > by_line + 20.0 && (by_root - 150.0 * libm::sqrt(0.16 / 0.4)).abs() < 6.0,
        "{by_root} and {by_line}"
    );
    // The strip's own cells: nothing by sufficiency, 50 lb N/ac by the visible line of these stages.
    let visible = mapped(
        "visible line",
        "corn",
        "light = \"red\"\nstages = \"V8-V10\"\n",
        "SR",
    );
    let (at_strip, nothing) = (
        mean_near(&visible, 0.985, 1.015),
        mean_near(&root, 0.985, 1.015),
    );
    assert!(
        (at_strip - 50.0 * 1.120_851_156).abs() < 3.0 && nothing < 1e-9,
        "{at_strip} and {nothing}"
    );
    assert!(
        visible.record["settings"]["response"]["source"]
            .as_str()
            .unwrap()
            .contains("published")
    );
}

#[test]
fn a_back_off_gives_the_palest_less_again() {
    let keys = "optimum = \"150 kg N/ha\"\ndelta_si = 0.3\nindex = \"NDVI\"\nback_off = { steepness = 60, below = 0.75 }\n";
    let map = mapped("square root", "winter wheat", keys, "NDVI");
    let (palest, middle) = (mean_near(&map, 0.60, 0.73), mean_near(&map, 0.80, 0.90));
    assert!(palest < middle, "{palest} and {middle}");
    assert!(map.record["findings"].to_string().contains("backs off"));
}

/// `haulm rate` on a job of readings.
fn rate(response: &str, rate: &str, crop: &str) -> Result<Value, String> {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job.toml");
    let text = format!(
        "[reference]\nreadings = [{{ strip = 0.70, beside = 0.595 }}]\n[season]\ncrop = \"{crop}\"\n[response]\n{response}\n[rate]\nmaximum = \"200 kg N/ha\"\nstep = \"1 kg N/ha\"\n{rate}"
    );
    fs_err::write(&job, text).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(["rate", job.to_str().unwrap(), "--json"])
        .output()
        .unwrap();
    match output.status.code() {
        Some(0) => Ok(serde_json::from_slice(&output.stdout).unwrap()),
        _ => Err(String::from_utf8(output.stderr).unwrap()),
    }
}

#[test]
fn one_flat_rate_by_every_method() {
    // SI = 0.85. Values by hand from the formulas.
    for (response, crop, requirement) in [
        (
            "method = \"square root\"\noptimum = \"200 kg N/ha\"\ncredits = \"20 kg N/ha\"\ndelta_si = 0.3\nindex = \"NDRE\"",
            "corn",
            98.995,
        ),
        ("method = \"quadratic\"", "corn", 155.765),
        ("method = \"chlorophyll root\"", "corn", 109.812),
        (
            "method = \"visible line\"\nlight = \"amber\"\nstages = \"V6-V7\"",
            "corn",
            (330.0 / 0.85 - 270.0) * 1.120_851_156,
        ),
        (
            "method = \"linear ramp\"\nby = \"index\"\nindex = \"NDVI\"\nlow = 0.35\nhigh = 0.8\nat_low = \"120 kg N/ha\"\nat_high = \"20 kg N/ha\"",
            "oats",
            65.556,
        ),
        (
            "method = \"class table\"\nby = \"sufficiency\"\nindex = \"NDVI\"\nclasses = [{ below = 0.9, rate = \"70 kg N/ha\" }, { rate = \"0 kg N/ha\" }]",
            "oats",
            70.0,
        ),
        ("method = \"flat\"\nrate = \"60 kg N/ha\"", "oats", 60.0),
    ] {
        let value = rate(response, "applied_before = \"40 kg N/ha\"\n", crop).unwrap();
        let exact = value["result"]["rate"]["n_exact_kg_ha"].as_f64().unwrap();
        assert!((exact - requirement).abs() < 1e-3, "{response}: {exact}");
        assert!(
            value["result"]["rate"]["yield_with_n_kg_ha"].is_null()
                && value["result"]["season"]["growing_days"].is_null(),
            "{value}"
        );
        let memory = ["square root", "quadratic", "chlorophyll"]
            .iter()
            .any(|name| response.contains(name));
        assert_eq!(
            value
                .to_string()
                .contains("from memory and was not compared"),
            memory,
            "{response}"
        );
    }
}

#[test]
fn prices_without_a_yield_are_told_and_not_used() {
    let prices = "[prices]\ncurrency = \"USD\"\ngrain = \"6 USD/bu\"\nnitrogen = \"0.60 USD/lb N\"\napplication = \"7 USD/ac\"\n";
    let value = rate("method = \"flat\"\nrate = \"60 kg N/ha\"", prices, "oats").unwrap();
    assert!(value["result"]["money"].is_null() && value.to_string().contains("money.none"));
}

#[test]
fn a_limit_of_the_season_holds_every_method() {
    let flat = "method = \"flat\"\nrate = \"90 kg N/ha\"\napplied_since_sensing = \"10 kg N/ha\"";
    let value = rate(
        flat,
        "season_limit = \"120 kg N/ha\"\napplied_before = \"50 kg N/ha\"\n",
        "oats",
    )
    .unwrap();
    // 120 − 50 − 10 leaves 60; the method asks for 90 − 10.
    assert_eq!(
        (
            value["result"]["rate"]["n_raw_kg_ha"].as_f64(),
            value["result"]["rate"]["n_kg_ha"].as_f64()
        ),
        (Some(80.0), Some(60.0))
    );
    let notice = value.to_string();
    assert!(
        notice.contains("rate.season_held") && notice.contains("rate.season\""),
        "{notice}"
    );
    let used_up = rate(
        flat,
        "season_limit = \"60 kg N/ha\"\napplied_before = \"50 kg N/ha\"\n",
        "oats",
    )
    .unwrap_err();
    assert!(
        used_up.contains("job.season_limit") && used_up.contains("leaves 0 kg N/ha"),
        "{used_up}"
    );
    let stated = rate(flat, "season_limit = \"120 kg N/ha\"\napplied_before = \"50 kg N/ha\"\nunseen = \"80 kg N/ha\"\n", "oats").unwrap_err();
    assert!(
        stated.contains("rate.unseen") && stated.contains("more than the season's limit leaves"),
        "{stated}"
    );
}

#[test]
fn wrong_combinations_are_refused() {
    let job = fs_err::read_to_string(Field::new().path("job.toml")).unwrap();
    let refused = |name: &str, crop: &str, keys: &str, index: &str| {
        let text = with_method(&job, name, crop, keys).replace(
            "index = \"NDVI\"\n\n[reference]",
            &format!("index = \"{index}\"\n\n[reference]"),
        );
        map_job(text.as_bytes(), Path::new("job.toml"))
            .unwrap_err()
            .to_string()
    };
    let ramp = METHODS[3].2;
    let notice = refused(
        "linear ramp",
        "winter wheat",
        &ramp.replace("NDVI", "NDRE"),
        "NDVI",
    );
    assert!(
        notice.contains("hold for NDRE, but the image gives NDVI")
            && notice.contains("imagery.index = \"NDRE\""),
        "{notice}"
    );
    let notice = refused("quadratic", "winter wheat", "", "NDVI");
    assert!(
        notice.contains("published for corn, but the crop is winter wheat"),
        "{notice}"
    );
    let line = "light = \"red\"\nstages = \"V6-V7\"\n";
    for index in ["NDVI", "ISR", "red / nir"] {
        let notice = refused("visible line", "corn", line, index);
        assert!(notice.contains("imagery.index = \"SR\""), "{notice}");
    }
    let notice = refused("visible line", "corn", &line.replace("red", "amber"), "SR");
    assert!(notice.contains("nir / amber"), "{notice}");
    let notice = refused(
        "flat",
        "winter wheat",
        "rate = \"60 kg N/ha\"\nmaximum_yield = \"7 t/ha\"\nlow = 0.3\n",
        "NDVI",
    );
    assert!(
        notice.contains("belongs to the method yield response, but the method is flat")
            && notice.contains("linear ramp"),
        "{notice}"
    );
    let notice = refused("square root", "corn", "", "NDVI");
    assert!(
        ["response.optimum", "response.delta_si", "response.index"]
            .iter()
            .all(|key| notice.contains(key)),
        "{notice}"
    );
    let notice = refused("square roots", "corn", "optimum = 3\n", "NDVI");
    assert!(
        notice.contains("did you mean \"square root\"?") && !notice.contains("optimum"),
        "{notice}"
    );
    let poorer = "by = \"index\"\nindex = \"NDVI\"\nclasses = [{ below = 0.5, rate = \"20 kg N/ha\" }, { rate = \"50 kg N/ha\" }]\n";
    let notice = refused("class table", "corn", poorer, "NDVI");
    assert!(notice.contains("only with back_off = true"), "{notice}");
    // Days that no curve was made for stop the yield response alone.
    let own = "meter_curve = { intercept = 0.8, linear = 0.002, quadratic = -0.000006, source = \"own trials\" }\n";
    let text = with_method(&job, "quadratic", "winter wheat", own);
    let settings = map_job(text.as_bytes(), Path::new("job.toml"))
        .unwrap()
        .value;
    assert_eq!(
        settings_record(&settings, Path::new(""))["response"]["source"],
        "own trials"
    );
}

#[test]
fn another_region_or_sensor_is_a_caution() {
    let curve = "yield_curve = { a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", region = \"dry plains\", sensor = \"active\", source = \"common practice\" }";
    let run = |field_region: &str, sensor: &str| {
        let field = Field::new();
        field.job("yield_curve = { a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"common practice\" }", curve);
        field.job(
            "boundary = \"boundary.geojson\"\n",
            &format!("boundary = \"boundary.geojson\"\n{field_region}"),
        );
        field.job(
            "path = \"image.tif\"\n",
            &format!("path = \"image.tif\"\n{sensor}"),
        );
        assert_eq!(field.run(&["map"]).status, Some(0));
        let of = |code: &str| {
            let record = field.record();
            let found = record["findings"]
                .as_array()
                .unwrap()
                .iter()
                .find(|finding| finding["code"] == code)
                .map(|finding| finding["severity"].clone());
            found.map(|severity| severity.as_str().unwrap().to_owned())
        };
        (of("response.region"), of("response.sensor"), of("rate.raw"))
    };
    let word = |text: &str| Some(text.to_owned());
    assert_eq!(
        run("region = \"river valley\"\n", "sensor = \"drone camera\"\n"),
        (word("caution"), word("caution"), word("note"))
    );
    assert_eq!(
        run("region = \"Dry plains\"\n", "sensor = \"active\"\n"),
        (None, None, word("note"))
    );
    assert_eq!(run("", ""), (word("note"), word("note"), word("note")));
}

#[test]
fn a_file_of_ones_own_brings_crops_and_curves() {
    let folder = tempfile::tempdir().unwrap();
    let own = "[[crop]]\nname = \"spelt\"\naliases = []\nbase_temperature = { celsius = 4.4 }\ngrain_nitrogen = 0.022\nlb_per_bu = 48.0\nstand_cv = 0.4\n\
        certainty = \"published\"\nsource = \"own trials\"\n[[curve]]\nname = \"spelt 2025\"\ncrop = \"spelt\"\na_kg_per_ha = 600.0\nb_days = 250.0\nindex = \"NDVI\"\n\
        region = \"hills\"\nsensor = \"active\"\ncertainty = \"published\"\nsource = \"own trials\"\n";
    fs_err::write(folder.path().join("my_crops.toml"), own).unwrap();
    let text = "[reference]\nreadings = [{ strip = 0.66, beside = 0.5 }]\n[season]\ncrops = \"my_crops.toml\"\ngrowing_days = 94\n[response]\nmaximum_yield = \"100 bu/ac\"\n\
        yield_curve = \"spelt 2025\"\n[rate]\nmaximum = \"150 kg N/ha\"\n";
    let path = folder.path().join("job.toml");
    let settings = rate_job(text.as_bytes(), &path).unwrap().value;
    let yields = settings.response.yields().unwrap();
    assert_eq!(
        (
            settings.season.crop.name.as_str(),
            yields.curve.b,
            yields.grain_nitrogen
        ),
        ("spelt", 250.0, 0.022)
    );
    assert!(yields.curve.source.contains("own trials (published)"));
    assert_eq!(
        rate_record(&settings, folder.path())["season"]["crops"],
        "my_crops.toml"
    );
    fs_err::write(
        folder.path().join("my_crops.toml"),
        own.replace("a_kg_per_ha = 600.0", "a_kg_per_ha = -1.0"),
    )
    .unwrap();
    let notice = rate_job(text.as_bytes(), &path).unwrap_err().to_string();
    assert!(
        notice.contains("job.toml:4:9: season.crops")
            && notice.contains("curve \"spelt 2025\": a_kg_per_ha"),
        "{notice}"
    );
}

#[test]
fn hints_on_prices_speak_of_the_jobs_currency() {
    let text = "[reference]\nreadings = [{ strip = 0.66, beside = 0.5 }]\n[season]\ncrop = \"winter wheat\"\ngrowing_days = 94\n[response]\nmaximum_yield = \"7 t/ha\"\n\
        yield_curve = \"winter wheat, common practice\"\n[rate]\nmaximum = \"150 kg N/ha\"\n[prices]\ncurrency = \"GBP\"\ngrain = 180\nnitrogen = \"1 GBP/kg N\"\n";
    let notice = rate_job(text.as_bytes(), Path::new("job.toml"))
        .unwrap_err()
        .to_string();
    assert!(
        notice.contains("\"180 GBP/t\" or \"180 GBP/bu\"") && !notice.contains("USD"),
        "{notice}"
    );
}
