//! Growing days out of weather: the nearest station, its distance, missing days by name, rules and ceilings, all in the record.

use std::fmt::Write as _;

use jiff::ToSpan;
use jiff::civil::{Date, date};

use crate::field::{CORNER, Field, carry, way};

/// A daily record of `tmin`, `tmax` in °C from planting to the day before the image, without some days.
fn record(field: &Field, name: &str, tmin: f64, tmax: f64, without: &[Date]) {
    let mut text = "date,tmin_c,tmax_c\n".to_owned();
    for day in date(2025, 10, 6)
        .series(1.day())
        .take_while(|day| *day < date(2026, 4, 14))
        .filter(|day| !without.contains(day))
    {
        // From December to the middle of January too cold to grow; 100 of 190 days are warm.
        let warm = day < date(2025, 11, 25) || day >= date(2026, 2, 23);
        let shift = if warm { 0.0 } else { -20.0 };
        writeln!(text, "{day},{},{}", tmin + shift, tmax + shift).unwrap();
    }
    field.write(name, text);
}

/// Three stations north of the field's corner: 11, 22 and 111 km and a bit.
fn stations(field: &Field) {
    let (longitude, latitude) = carry(&way("EPSG:32633", "EPSG:4326"), CORNER.0, CORNER.1);
    let at = |north: f64, name: &str, file: &str| {
        format!("{name},{longitude},{},{file}\n", latitude + north)
    };
    let rows = [
        at(1.0, "High Moor", "high.csv"),
        at(0.1, "Mill Barn", "weather/mill.csv"),
        at(0.2, "Ford End", "ford.csv"),
    ]
    .concat();
    field.write(
        "stations.csv",
        format!("name,longitude,latitude,path\n{rows}"),
    );
    fs_err::create_dir(field.path("weather")).unwrap();
}

fn with_stations(more: &str) -> Field {
    let field = Field::new();
    field.job(
        "growing_days = 100\n",
        &format!("stations = \"stations.csv\"\n{more}"),
    );
    stations(&field);
    record(&field, "high.csv", 5.0, 15.0, &[]);
    record(&field, "ford.csv", 4.0, 14.0, &[]);
    field
}

fn finding<'a>(record: &'a serde_json::Value, code: &str) -> &'a serde_json::Value {
    record["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|finding| finding["code"] == code)
        .unwrap_or_else(|| panic!("no {code} in {}", record["findings"]))
}

#[test]
fn the_nearest_station_is_taken_and_told() {
    let field = with_stations("");
    record(&field, "weather/mill.csv", 5.0, 15.0, &[]);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let notice = field.record();
    let season = &notice["season"];
    assert_eq!(
        (season["growing_days"].as_f64(), season["days"].as_u64()),
        (Some(100.0), Some(190))
    );
    assert_eq!(
        (season["first_day"].as_str(), season["last_day"].as_str()),
        (Some("2025-10-06"), Some("2026-04-13"))
    );
    assert_eq!(
        (
            season["rule"].as_str(),
            season["base_temperature"].as_str(),
            season["ceiling"].as_str()
        ),
        (Some("mean"), Some("4.4 °C"), None)
    );
    // A mean of 10 °C on each of 100 days, 5.6 above the base.
    assert!(
        (season["degree_sum_c_d"].as_f64().unwrap() - 560.0).abs() < 1e-9,
        "{season}"
    );
    assert_eq!(season["station"]["name"], "Mill Barn");
    let km = season["station"]["distance_km"].as_f64().unwrap();
    assert!((10.0..12.0).contains(&km), "{km}");
    assert_eq!(season["missing_days"], serde_json::json!([]));
    assert_eq!(finding(&notice, "weather.station")["severity"], "note");
    let words = wording.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("Mill Barn, 11.0 km away"), "{}", wording.out);
    let inputs: Vec<&str> = notice["inputs"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|input| input["path"].as_str())
        .collect();
    assert!(
        inputs.contains(&"stations.csv")
            && inputs.contains(&"weather/mill.csv")
            && !inputs.contains(&"ford.csv"),
        "{inputs:?}"
    );
}

#[test]
fn a_station_far_away_is_a_caution() {
    let field = with_stations("station = \"high moor\"\n");
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let notice = field.record();
    let far = finding(&notice, "weather.far");
    assert_eq!(far["severity"], "caution");
    assert!(
        far["message"].as_str().unwrap().contains("High Moor, 111."),
        "{far}"
    );
}

#[test]
fn missing_days_are_named_filled_or_left_out() {
    let gap = [date(2026, 3, 4), date(2026, 3, 5), date(2026, 3, 9)];
    let field = with_stations("");
    record(&field, "weather/mill.csv", 5.0, 15.0, &gap);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1));
    for part in [
        "lacks 3 day(s)",
        "2026-03-04 to 2026-03-05, 2026-03-09",
        "mill.csv",
        "season.stations",
    ] {
        assert!(
            wording.err.contains(part),
            "{part} is not in: {}",
            wording.err
        );
    }

    field.job(
        "stations = \"stations.csv\"\n",
        "stations = \"stations.csv\"\nmissing_days = \"next station\"\n",
    );
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let notice = field.record();
    assert_eq!(notice["season"]["growing_days"].as_f64(), Some(100.0));
    assert_eq!(
        notice["season"]["filled_days"][2],
        serde_json::json!({ "date": "2026-03-09", "station": "Ford End" })
    );
    assert_eq!(notice["season"]["further_stations"][0]["name"], "Ford End");
    assert!(
        finding(&notice, "weather.filled")["message"]
            .as_str()
            .unwrap()
            .contains("2026-03-04 to 2026-03-05, 2026-03-09 from Ford End")
    );

    field.job(
        "missing_days = \"next station\"",
        "missing_days = \"leave out\"",
    );
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let notice = field.record();
    assert_eq!(notice["season"]["growing_days"].as_f64(), Some(97.0));
    assert_eq!(
        notice["season"]["missing_days"],
        serde_json::json!(["2026-03-04", "2026-03-05", "2026-03-09"])
    );
    assert!(
        finding(&notice, "weather.left_out")["message"]
            .as_str()
            .unwrap()
            .contains("97 to 100 growing days")
    );
}

#[test]
fn more_than_a_tenth_left_out_stops() {
    let gap: Vec<Date> = date(2026, 3, 1).series(1.day()).take(20).collect();
    let field = with_stations("missing_days = \"leave out\"\n");
    record(&field, "weather/mill.csv", 5.0, 15.0, &gap);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1), "{}{}", wording.out, wording.err);
    assert!(
        format!("{}{}", wording.out, wording.err)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .contains("20 of 190 days"),
        "{}{}",
        wording.out,
        wording.err
    );
    assert!(
        wording.err.contains("stopped[weather.left_out]"),
        "{}",
        wording.err
    );
}

#[test]
fn rule_and_ceiling_reach_the_count() {
    // Nights of -8 and days of 14 °C: a mean of 3 is no growing day, but the day alone lies above the base.
    let field = with_stations("growing_day_rule = \"extremes\"\nceiling = \"10 °C\"\n");
    record(&field, "weather/mill.csv", -8.0, 14.0, &[]);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let notice = field.record();
    let season = &notice["season"];
    assert_eq!(
        (
            season["growing_days"].as_f64(),
            season["rule"].as_str(),
            season["ceiling"].as_str()
        ),
        (Some(100.0), Some("extremes"), Some("10 °C"))
    );
    // (10 + 4.4) / 2 − 4.4 on each of 100 days.
    assert!(
        (season["degree_sum_c_d"].as_f64().unwrap() - 280.0).abs() < 1e-9,
        "{season}"
    );
    assert_eq!(notice["settings"]["season"]["growing_day_rule"], "extremes");
}

#[test]
fn what_cannot_be_meant_is_refused() {
    for (lines, parts) in [
        (
            "growing_days = 100\nceiling = \"30 °C\"\n",
            vec!["growing_days and ceiling cannot stand together"],
        ),
        (
            "weather = \"a.csv\"\nstations = \"b.csv\"\n",
            vec!["weather and stations cannot stand together"],
        ),
        (
            "weather = \"a.csv\"\nstation = \"Mill Barn\"\n",
            vec!["season.stations", "is missing"],
        ),
        (
            "weather = \"a.csv\"\nmissing_days = \"next station\"\n",
            vec!["season.stations", "is missing"],
        ),
        (
            "weather = \"a.csv\"\nmissing_days = \"fill\"\n",
            vec!["\"fill\" is not a known way with missing days", "leave out"],
        ),
        (
            "weather = \"a.csv\"\nceiling = \"4 °C\"\n",
            vec!["season.ceiling"],
        ),
        (
            "weather = \"a.csv\"\nceiling = \"30\"\n",
            vec!["30 of what?"],
        ),
        (
            "weather = \"a.csv\"\nceiling_on = \"mean\"\n",
            vec!["season.ceiling", "is missing"],
        ),
        (
            "weather = \"a.csv\"\ngrowing_day_rule = \"extremes\"\nceiling = \"30 °C\"\nceiling_on = \"mean\"\n",
            vec!["take ceiling_on out"],
        ),
        (
            "weather = \"a.csv\"\ngrowing_day_rule = \"average\"\n",
            vec!["mean", "extremes"],
        ),
    ] {
        let field = Field::new();
        field.job("growing_days = 100\n", lines);
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(1), "{lines}");
        for part in parts {
            assert!(
                wording.err.contains(part),
                "{part} is not in: {}",
                wording.err
            );
        }
    }
}

#[test]
fn a_list_of_stations_without_the_named_one_is_refused() {
    let field = with_stations("station = \"Mill Bern\"\n");
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1));
    assert!(
        wording.err.contains("no station called \"Mill Bern\"")
            && wording.err.contains("High Moor, Mill Barn, Ford End"),
        "{}",
        wording.err
    );
}
