//! What a job file is refused for: each refusal with its code, its key, its line, what stands there and the way out.

use std::path::Path;

use haulm::app::error::AppError;
use haulm::app::job::weather::daily_record;
use haulm::app::job::{map_job, read_map_job};
use haulm::job::fault::{Fault, JobError};
use haulm::job::settings::GrowingDays;
use haulm::science::growing_days::{MissingDays, SeasonSpan, count_growing_days};
use proptest::prelude::*;

use crate::job_file::{FULL, SHORT, changed};

pub(crate) fn faults(text: &str) -> Vec<Fault> {
    match map_job(text.as_bytes(), Path::new("job.toml")) {
        Err(JobError::Refused { faults, .. }) => faults,
        Err(other) => panic!("{other}"),
        Ok(_) => panic!("taken, though it should be refused:\n{text}"),
    }
}

/// Section, line that is put in place of the key's own (or added), code, and parts that message or hint must have.
type Case = (
    &'static str,
    &'static str,
    &'static str,
    &'static [&'static str],
);

/// Puts a line into a section of the full job, in place of the line with the same key.
pub(crate) fn with_line(section: &str, line: &str) -> String {
    let key = line.split(['=', ' ']).next().unwrap_or("");
    let header = format!("[{section}]");
    let mut inside = false;
    let mut out = Vec::new();
    for old in FULL.lines() {
        if old.starts_with('[') {
            inside = old == header;
        }
        let same = inside && old.split(['=', ' ']).next() == Some(key);
        if !same {
            out.push(old.to_owned());
        }
        if inside && old == header {
            out.push(line.to_owned());
        }
    }
    assert!(FULL.lines().any(|old| old == header), "no section {header}");
    out.join("\n")
}

fn check(cases: &[Case]) {
    for (section, line, code, parts) in cases {
        let text = with_line(section, line);
        let found = faults(&text);
        let notice: Vec<String> = found.iter().map(ToString::to_string).collect();
        assert_eq!(
            found.len(),
            1,
            "{line}: one fault is due:\n{}",
            notice.join("\n")
        );
        let fault = &found[0];
        assert_eq!(fault.code(), *code, "{line}: {}", notice[0]);
        assert!(fault.key.starts_with(section), "{line}: {}", fault.key);
        assert!(
            fault.line > 1
                && fault.column >= 1
                && notice[0].starts_with(&format!("job.toml:{}:{}: ", fault.line, fault.column))
        );
        for part in *parts {
            assert!(
                notice[0].contains(part),
                "{line}: \"{part}\" is not in:\n{}",
                notice[0]
            );
        }
        assert!(!fault.hint().is_empty());
    }
}

#[test]
#[expect(clippy::too_many_lines, reason = "one table, a row a refusal")]
fn amounts() {
    check(&[
        (
            "rate",
            "maximum = 150",
            "job.bare_number",
            &["150 of what?", "\"150 kg N/ha\"", "\"150 lb N/ac\""],
        ),
        (
            "rate",
            "maximum = \"150\"",
            "job.bare_number",
            &["\"150 kg N/ha\""],
        ),
        (
            "rate",
            "maximum = -150",
            "job.negative",
            &["-150 is below zero"],
        ),
        (
            "rate",
            "maximum = 150.5",
            "job.bare_number",
            &["\"150.5 kg N/ha\""],
        ),
        (
            "machine",
            "working_width = 24",
            "job.bare_number",
            &["\"24 m\" or \"24 ft\""],
        ),
        (
            "response",
            "maximum_yield = 6.7",
            "job.bare_number",
            &["\"6.7 t/ha\" or \"6.7 bu/ac\""],
        ),
        (
            "zones",
            "minimum_area = 1152",
            "job.bare_number",
            &["\"1152 ha\""],
        ),
        ("prices", "grain = 6", "job.bare_number", &["\"6 USD/bu\""]),
        (
            "prices",
            "application = \"7\"",
            "job.bare_number",
            &["\"7 USD/ac\""],
        ),
        (
            "response",
            "maximum_yield = \"9.5 ton/ha\"",
            "job.bare_ton",
            &[
                "9.5 t (1000 kg)",
                "9.5 short ton (907.18 kg, US)",
                "9.5 long ton (1016.05 kg)",
            ],
        ),
        (
            "response",
            "maximum_yield = \"3 tons/ac\"",
            "job.bare_ton",
            &["3 short ton"],
        ),
        (
            "prices",
            "grain = \"210 USD/ton\"",
            "job.bare_ton",
            &["1000 kg"],
        ),
        (
            "response",
            "applied_since_sensing = \"150 kg/ha\"",
            "job.nitrogen_or_product",
            &["\"150 kg N/ha\", or 150 kg/ha of UAN 28 = 42 kg N/ha?"],
        ),
        (
            "rate",
            "maximum = \"150 m\"",
            "job.wrong_quantity",
            &["150 m is a length, but a nitrogen rate is due"],
        ),
        (
            "rate",
            "maximum = \"100 bu/ac\"",
            "job.wrong_quantity",
            &["a grain yield", "kg N/ha"],
        ),
        (
            "machine",
            "working_width = \"24 ha\"",
            "job.wrong_quantity",
            &["24 ha is an area, but a length"],
        ),
        (
            "machine",
            "overrun = \"12 km/h\"",
            "job.wrong_quantity",
            &["12 km/h is a speed, but a length"],
        ),
        (
            "response",
            "maximum_yield = \"120 kg N/ha\"",
            "job.wrong_quantity",
            &["a nitrogen rate, but a grain yield"],
        ),
        (
            "zones",
            "minimum_area = \"50 m\"",
            "job.wrong_quantity",
            &["50 m is a length, but an area"],
        ),
        (
            "prices",
            "nitrogen = \"0.60 USD/lb\"",
            "job.wrong_quantity",
            &["no substance", "USD/lb N"],
        ),
        (
            "prices",
            "application = \"7 USD/bu\"",
            "job.wrong_quantity",
            &["price of grain", "a price per area"],
        ),
        (
            "rate",
            "maximum = \"150 kg N/hc\"",
            "job.unknown_unit",
            &["\"kg N/hc\"", "did you mean \"kg N/ha\"?"],
        ),
        (
            "machine",
            "working_width = \"24 furlongs\"",
            "job.unknown_unit",
            &["\"furlongs\"", "known: m, km"],
        ),
        (
            "machine",
            "working_width = \"24 m wide\"",
            "job.unknown_unit",
            &["\"m wide\""],
        ),
        (
            "machine",
            "cell_length = \"24,5 m\"",
            "job.decimal_comma",
            &["24,5 m", "\"24.5 m\""],
        ),
        (
            "response",
            "maximum_yield = \"9,5 t/ha\"",
            "job.decimal_comma",
            &["\"9.5 t/ha\""],
        ),
        (
            "rate",
            "minimum = \"-5 kg N/ha\"",
            "job.negative",
            &["-5 kg N/ha is below zero"],
        ),
        ("machine", "overrun = \"−3 m\"", "job.negative", &["−3 m"]),
        (
            "prices",
            "grain = \"-6 USD/bu\"",
            "job.negative",
            &["-6 USD/bu"],
        ),
        (
            "rate",
            "maximum = \"nan kg N/ha\"",
            "job.not_finite",
            &["nan kg N/ha"],
        ),
        ("rate", "maximum = inf", "job.not_finite", &["inf"]),
        (
            "machine",
            "overrun = \"1e999 m\"",
            "job.not_finite",
            &["1e999 m"],
        ),
        ("imagery", "scale = nan", "job.not_finite", &["nan"]),
        (
            "machine",
            "working_width = \"wide\"",
            "job.not_a_number",
            &["\"wide\"", "\"10 m\""],
        ),
        (
            "machine",
            "working_width = \"1 000 m\"",
            "job.not_a_number",
            &["1 000 m"],
        ),
        (
            "machine",
            "working_width = \"0 m\"",
            "job.zero",
            &["the working width must be above zero"],
        ),
        ("rate", "step = \"0 kg N/ha\"", "job.zero", &["the step"]),
        (
            "machine",
            "minimum_rate = \"40 kg N/ha\"",
            "job.product_due",
            &["nitrogen, but product", "142.86 kg/ha of UAN 28"],
        ),
        (
            "prices",
            "grain = \"6 EUR/bu\"",
            "job.currency",
            &["EUR", "currency is USD"],
        ),
        (
            "prices",
            "grain = \"6 /bu\"",
            "job.no_currency",
            &["6 /bu", "6 USD/bu"],
        ),
        (
            "prices",
            "nitrogen = \"0.60 USD\"",
            "job.unknown_unit",
            &["USD/kg N"],
        ),
        (
            "prices",
            "nitrogen = \"0.60 USD/pond N\"",
            "job.unknown_unit",
            &["pond N"],
        ),
    ]);
}

#[test]
#[expect(clippy::too_many_lines, reason = "one table, a row a refusal")]
fn keys_types_and_words() {
    check(&[
        (
            "rate",
            "max = \"150 kg N/ha\"",
            "job.unknown_key",
            &["unknown key \"max\"", "did you mean \"maximum\"?"],
        ),
        (
            "machine",
            "step = \"5 kg N/ha\"",
            "job.unknown_key",
            &["belongs to [rate]"],
        ),
        (
            "zones",
            "colour = \"red\"",
            "job.unknown_key",
            &["known here: by, classes"],
        ),
        (
            "field",
            "name = 12",
            "job.wrong_type",
            &["a number, but text in quotes"],
        ),
        (
            "field",
            "boundary = [\"a.geojson\"]",
            "job.wrong_type",
            &["a list"],
        ),
        (
            "imagery",
            "date = \"14.04.2026\"",
            "job.not_a_date",
            &["date = 2026-04-14"],
        ),
        (
            "imagery",
            "date = 2026-04-14T10:00:00",
            "job.not_a_date",
            &["2026-04-14T10:00:00"],
        ),
        (
            "imagery",
            "pixel_inside = \"0.9\"",
            "job.wrong_type",
            &["a number without quotes"],
        ),
        (
            "imagery",
            "pixel_inside = 90",
            "job.out_of_range",
            &["90 lies outside 0 to 1"],
        ),
        (
            "imagery",
            "bands = { red = 0, nir = 5 }",
            "job.out_of_range",
            &["counted from 1"],
        ),
        (
            "imagery",
            "bands = { red = 3, nir = 3 }",
            "job.twice",
            &["band 3, already named red"],
        ),
        (
            "imagery",
            "mask = { path = \"scl.tif\" }",
            "job.none_of",
            &["keep, bits"],
        ),
        (
            "imagery",
            "mask = { path = \"scl.tif\", keep = [4], bits = [1] }",
            "job.together",
            &["keep and bits"],
        ),
        (
            "imagery",
            "index = \"NDRE\"",
            "job.curve_index",
            &["fitted with NDVI", "gives NDRE"],
        ),
        (
            "imagery",
            "index = \"(nir - red) / (nir + red\"",
            "job.index",
            &["cannot be read"],
        ),
        (
            "imagery",
            "index = \"band 0\"",
            "job.index",
            &["counted from 1"],
        ),
        (
            "imagery",
            "bands = { red = 3, Red = 4, nir = 5 }",
            "job.twice",
            &["the band red"],
        ),
        (
            "season",
            "crop = \"quinoa\"",
            "job.unknown_name",
            &["\"quinoa\" is not a known crop", "known: winter wheat"],
        ),
        (
            "product",
            "name = \"compost\"",
            "job.unknown_name",
            &["not a known product", "UAN 28"],
        ),
        (
            "product",
            "density = \"11 kg/L\"",
            "job.product",
            &["0.3 to 3 kg/L"],
        ),
        (
            "response",
            "yield_curve = \"corn, common practice\"",
            "job.curve_crop",
            &["fitted for corn", "the crop is winter wheat"],
        ),
        (
            "reference",
            "percentile = 95",
            "job.together",
            &["strips and percentile"],
        ),
        (
            "reference",
            "segments = 2.5",
            "job.wrong_type",
            &["a whole number"],
        ),
        (
            "season",
            "growing_days = 94.5e9",
            "job.out_of_range",
            &["1 to 400"],
        ),
        (
            "season",
            "growing_days = 300",
            "job.growing_days",
            &["300 growing days", "195 days", "2025-10-01"],
        ),
        (
            "season",
            "weather = \"station.csv\"",
            "job.together",
            &["growing_days and weather"],
        ),
        (
            "season",
            "planted = 2026-10-01",
            "job.date_order",
            &["sensing (2026-04-14) must come after planting (2026-10-01)"],
        ),
        (
            "season",
            "count_sensing_day = \"yes\"",
            "job.wrong_type",
            &["true or false"],
        ),
        (
            "season",
            "sensed = 2026-04-13",
            "job.disagree",
            &["2026-04-13", "2026-04-14"],
        ),
        (
            "response",
            "maximum_ratio = 3.5",
            "job.out_of_range",
            &["3.5 lies outside just above 1 to 3"],
        ),
        (
            "response",
            "maximum_ratio = 1.0",
            "job.out_of_range",
            &["1 lies outside just above 1"],
        ),
        (
            "response",
            "use_efficiency = 50",
            "job.out_of_range",
            &["50 lies outside 0.05 to 1"],
        ),
        (
            "response",
            "grain_nitrogen = 2.39",
            "job.out_of_range",
            &["share of grain mass"],
        ),
        (
            "response",
            "maximum_yield = \"100 t/ha\"",
            "job.out_of_range",
            &[
                "100 t/ha lies outside 100 kg/ha to 40000 kg/ha",
                "check the unit",
            ],
        ),
        (
            "response",
            "yield_curve = { a = \"590 kg/ha\", b = 258.2, index = \"NDVI\" }",
            "job.missing",
            &["where the curve comes from"],
        ),
        (
            "response",
            "yield_curve = { a = 590, b = 258.2, index = \"NDVI\", source = \"x\" }",
            "job.bare_number",
            &["590 of what?"],
        ),
        (
            "rate",
            "maximum = \"2000 kg N/ha\"",
            "job.out_of_range",
            &["1784.36 lb N/ac"],
        ),
        (
            "rate",
            "minimum = \"200 kg N/ha\"",
            "job.order",
            &["rate.minimum (178.44 lb N/ac) must not exceed rate.maximum (133.83 lb N/ac)"],
        ),
        (
            "rate",
            "step = \"200 kg N/ha\"",
            "job.step",
            &[
                "step 178.44 lb N/ac",
                "between 0 lb N/ac and 133.83 lb N/ac",
            ],
        ),
        (
            "rate",
            "maximum = \"TODO\"",
            "job.open",
            &["still to be filled in", "replace TODO"],
        ),
        (
            "rate",
            "unseen = \"own\"",
            "job.unknown_name",
            &["\"own\" is not a known rate without image"],
        ),
        (
            "machine",
            "working_width = \"10 km\"",
            "job.out_of_range",
            &["10 km lies outside 0.8 ft to 492 ft"],
        ),
        (
            "machine",
            "heading = 400",
            "job.out_of_range",
            &["400°", "clockwise from north"],
        ),
        ("machine", "heading = -10", "job.out_of_range", &["-10°"]),
        (
            "machine",
            "maximum_rate = \"10 L/ha\"",
            "job.order",
            &["machine.minimum_rate", "machine.maximum_rate"],
        ),
        (
            "machine",
            "line = \"ab.geojson\"",
            "job.together",
            &["heading and line"],
        ),
        (
            "zones",
            "classes = 5",
            "job.disagree",
            &["by = \"classes\""],
        ),
        (
            "prices",
            "currency = \"US1\"",
            "job.unknown_name",
            &["currency"],
        ),
        (
            "prices",
            "product = \"450 USD/t\"",
            "job.together",
            &["prices.nitrogen and prices.product"],
        ),
        (
            "application",
            "date = 2026-04-01",
            "job.date_order",
            &["application.date (2026-04-01) must come after sensing (2026-04-14)"],
        ),
        ("output", "formats = []", "job.empty", &["geopackage"]),
        (
            "output",
            "unit = \"t/ha\"",
            "job.unknown_name",
            &["unit of a product rate"],
        ),
    ]);
}

#[test]
fn what_has_no_default_is_asked_for() {
    for (line, key, example) in [
        (
            "maximum_yield = \"6.7 t/ha\"\n",
            "response.maximum_yield",
            "maximum_yield = \"6.7 t/ha\"",
        ),
        (
            "yield_curve = { a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"common practice\" }\n",
            "response.yield_curve",
            "yield_curve = ",
        ),
        (
            "maximum = \"150 kg N/ha\"\n",
            "rate.maximum",
            "maximum = \"150 kg N/ha\"",
        ),
        (
            "working_width = \"24 m\"\n",
            "machine.working_width",
            "working_width = \"24 m\"",
        ),
        ("date = 2026-04-14\n", "imagery.date", "date = 2026-04-14"),
        (
            "boundary = \"long_ley.geojson\"\n",
            "field.boundary",
            "boundary = ",
        ),
        (
            "crop = \"winter wheat\"\n",
            "season.crop",
            "crop = \"winter wheat\"",
        ),
        (
            "growing_days = 94\n",
            "season.growing_days",
            "growing_days = 94",
        ),
    ] {
        let found = faults(&changed(SHORT, line, ""));
        assert_eq!(found.len(), 1, "{line}: {found:?}");
        assert_eq!(
            (found[0].code(), found[0].key.as_str()),
            ("job.missing", key)
        );
        assert!(found[0].hint().contains(example), "{}", found[0].hint());
    }
    // A section that is wholly absent is named with its line.
    let found = faults(&changed(SHORT, "[machine]\nworking_width = \"24 m\"\n", ""));
    assert!(
        found[0]
            .hint()
            .contains("[machine] working_width = \"24 m\""),
        "{}",
        found[0].hint()
    );
    // Speed, delay and transition need one another.
    let found = faults(&changed(
        SHORT,
        "working_width",
        "speed = \"12 km/h\"\nworking_width",
    ));
    assert_eq!(
        found
            .iter()
            .map(|fault| fault.key.as_str())
            .collect::<Vec<_>>(),
        ["machine.delay", "machine.transition"]
    );
    // A mistyped key is one fault, not two.
    let found = faults(&changed(SHORT, "maximum = ", "maximun = "));
    assert_eq!(
        found.iter().map(Fault::code).collect::<Vec<_>>(),
        ["job.unknown_key"]
    );
}

#[test]
fn nitrogen_and_product_without_a_product() {
    let bare = faults(&changed(SHORT, "\"150 kg N/ha\"", "\"150 kg/ha\""));
    assert_eq!(bare[0].code(), "job.nitrogen_or_product");
    assert!(
        bare[0]
            .to_string()
            .contains("\"150 kg N/ha\", or 150 kg/ha of urea = 69 kg N/ha?"),
        "{}",
        bare[0]
    );
    let pounds = faults(&changed(SHORT, "\"150 kg N/ha\"", "\"100 lb/ac\""));
    assert!(
        pounds[0]
            .to_string()
            .contains("\"100 lb N/ac\", or 100 lb/ac of urea = 46 lb N/ac?"),
        "{}",
        pounds[0]
    );
    let volume = faults(&changed(SHORT, "\"150 kg N/ha\"", "\"11 gal/ac\""));
    assert_eq!(volume[0].code(), "job.no_product");
    let solid = changed(SHORT, "\"150 kg N/ha\"", "\"100 L/ha\"");
    assert_eq!(
        faults(&format!("{solid}[product]\nname = \"urea\"\n"))[0].code(),
        "job.no_density"
    );
    let unit = faults(&format!("{SHORT}[output]\nunit = \"L/ha\"\n"));
    assert_eq!(unit[0].code(), "job.no_product");
    let limit = faults(&changed(
        SHORT,
        "working_width",
        "minimum_rate = \"40 kg/ha\"\nworking_width",
    ));
    assert_eq!(limit[0].code(), "job.no_product");
    let price = faults(&format!(
        "{SHORT}[prices]\ngrain = \"210 EUR/t\"\nproduct = \"450 EUR/t\"\n"
    ));
    assert_eq!(price[0].code(), "job.no_product");
    let other = faults(&format!(
        "{SHORT}[prices]\ngrain = \"210 EUR/t\"\nnitrogen = \"1 USD/kg N\"\n"
    ));
    assert_eq!(other[0].code(), "job.currency");
}

#[test]
fn all_faults_are_told_together_in_file_order() {
    let text = changed(
        &changed(
            &changed(SHORT, "\"150 kg N/ha\"", "150"),
            "\"24 m\"",
            "\"24 ha\"",
        ),
        "growing_days",
        "growin_days",
    );
    let found = faults(&text);
    assert_eq!(
        found.iter().map(Fault::code).collect::<Vec<_>>(),
        ["job.unknown_key", "job.bare_number", "job.wrong_quantity"]
    );
    assert!(found.windows(2).all(|pair| pair[0].line < pair[1].line));
    let place = text
        .lines()
        .position(|line| line == "maximum = 150")
        .unwrap()
        + 1;
    assert_eq!(
        (found[1].line, found[1].column, found[1].found.as_str()),
        (place, 11, "150")
    );
    let notice = map_job(text.as_bytes(), Path::new("job.toml"))
        .unwrap_err()
        .to_string();
    assert!(notice.starts_with("3 faults in the job file"), "{notice}");
}

#[test]
fn files_that_are_no_job() {
    for (text, line) in [
        ("[rate\nmaximum = 1", 1),
        ("[rate]\nmaximum = 150 kg N/ha\n", 2),
        ("[rate]\nstep = \"5 kg N/ha\nx = 1", 2),
        ("a = 1\na = 2", 2),
    ] {
        let found = faults(text);
        assert_eq!(found[0].code(), "job.syntax", "{text}");
        assert_eq!(found[0].line, line, "{text}: {}", found[0]);
    }
    let JobError::Refused { faults, .. } =
        map_job(b"[field]\nname = \"\xff\"", Path::new("job.toml")).unwrap_err()
    else {
        panic!("not refused")
    };
    assert_eq!(
        (faults[0].code(), faults[0].line, faults[0].column),
        ("job.not_text", 2, 9)
    );
    let error = read_map_job(Path::new("no/such/job.toml")).unwrap_err();
    assert!(
        matches!(error, JobError::Read { .. }) && error.to_string().contains("no/such/job.toml"),
        "{error}"
    );
}

#[test]
fn valid_toml_that_is_no_job_is_refused() {
    for text in [
        "",
        "title = \"x\"",
        "[a.b.c]\nd = 1",
        "rate = 5",
        "field = []",
        "[[rate]]\nmaximum = \"1 kg N/ha\"",
        "accept = 1",
        "[field]\nexclude = 3",
        "x = 2026-02-28",
    ] {
        assert!(!faults(text).is_empty(), "{text}");
    }
}

proptest! {
    /// Any text is either taken, or refused with at least one fault; nothing panics.
    #[test]
    fn never_panics_and_always_says_why(start in 0usize..2000, cut in 0usize..60, bytes in proptest::collection::vec(any::<u8>(), 0..12)) {
        let mut text = FULL.as_bytes().to_vec();
        let start = start.min(text.len());
        let end = (start + cut).min(text.len());
        text.splice(start..end, bytes);
        if let Err(JobError::Refused { faults, .. }) = map_job(&text, Path::new("job.toml")) {
            prop_assert!(!faults.is_empty());
        }
    }

    /// Any amount text is either taken, or refused with one fault at its key.
    #[test]
    fn amounts_never_panic(amount in "[-0-9.,eE ]{0,8}[a-zA-Z/ N²⁻¹-]{0,10}") {
        let text = with_line("rate", &format!("maximum = {}", toml::Value::String(amount)));
        if let Err(JobError::Refused { faults, .. }) = map_job(text.as_bytes(), Path::new("job.toml")) {
            prop_assert!(!faults.is_empty());
        }
    }
}

#[test]
fn refusals_reach_people_in_the_common_shape() {
    let refusal =
        |text: &str| AppError::from(map_job(text.as_bytes(), Path::new("job.toml")).unwrap_err());
    let one = refusal(&changed(SHORT, "\"150 kg N/ha\"", "150"));
    assert_eq!((one.code, one.exit_status()), ("job.bare_number", 1));
    assert!(
        one.headline.starts_with("rate.maximum: 150 of what?"),
        "{}",
        one.headline
    );
    assert_eq!(
        (one.facts[0].place.as_str(), one.facts[0].text.as_str()),
        ("job.toml:16:11", "maximum = 150")
    );
    assert!(
        one.hint
            .is_some_and(|hint| hint.contains("\"150 kg N/ha\""))
    );
    let two = refusal(&changed(
        &changed(SHORT, "\"150 kg N/ha\"", "150"),
        "\"24 m\"",
        "24",
    ));
    assert_eq!((two.code, two.facts.len()), ("job.faults", 2));
    assert!(
        two.facts[1].text.contains("job.bare_number") && two.facts[1].text.contains("\"24 m\""),
        "{}",
        two.facts[1].text
    );
}

#[test]
fn the_demo_is_a_job() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/job.toml");
    let settings = read_map_job(&demo)
        .unwrap_or_else(|error| panic!("{error}"))
        .value;
    assert_eq!(settings.field.name, "Long Ley");
    let GrowingDays::Weather(weather) = &settings.season.growing_days else {
        panic!("the demo has a weather file")
    };
    let record = daily_record(
        &haulm::format::weather::read(weather)
            .unwrap_or_else(|error| panic!("{error}"))
            .value,
    );
    let (planted, sensed) = (
        settings.season.planted.unwrap(),
        settings.season.sensed.unwrap(),
    );
    let span = SeasonSpan {
        planted,
        sensed,
        count_sensing_day: false,
    };
    let count =
        count_growing_days(&[record], &settings.season.rule, span, MissingDays::Refuse).unwrap();
    assert!((60..=150).contains(&count.growing_days), "{count:?}");
}
