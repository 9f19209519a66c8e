use super::*;
use crate::format::weather::error::WeatherError;

fn table(text: &str) -> WeatherTable {
    parse(text.as_bytes(), Path::new("station.csv"))
        .unwrap_or_else(|error| panic!("{text}: {error}"))
        .value
}

fn refusal(text: &str) -> WeatherError {
    parse(text.as_bytes(), Path::new("station.csv")).expect_err(text)
}

#[test]
fn headers_in_usual_spellings() {
    for (header, scale) in [
        ("date,tmin_c,tmax_c", TemperatureScale::Celsius),
        ("Date,tmin (°C),tmax (°C)", TemperatureScale::Celsius),
        ("DATE,Tmin [F],Tmax [F]", TemperatureScale::Fahrenheit),
        ("day,TMIN C,TMAX C", TemperatureScale::Celsius),
        ("date,t_min_degF,t_max_degF", TemperatureScale::Fahrenheit),
        (
            "date,min temp (degrees C),max temp (degrees C)",
            TemperatureScale::Celsius,
        ),
        (
            "date,Temp Min (Fahrenheit),Temp Max (Fahrenheit)",
            TemperatureScale::Fahrenheit,
        ),
        ("date,tmin.c,tmax.c", TemperatureScale::Celsius),
        ("date,TMIN °F,TMAX °F", TemperatureScale::Fahrenheit),
    ] {
        let read = table(&format!("{header}\n2026-04-01,3.5,12.25\n"));
        assert_eq!(read.scale, scale, "{header}");
        assert_eq!(
            read.days,
            [WeatherDay {
                date: Date::constant(2026, 4, 1),
                tmin_thousandths: 3500,
                tmax_thousandths: 12_250
            }],
            "{header}"
        );
    }
}

#[test]
fn separators_and_decimal_commas() {
    let expected = table("date,tmin_c,tmax_c\n2026-04-01,-0.5,12.3\n");
    for text in [
        "date;tmin_c;tmax_c\n2026-04-01;-0,5;12,3\n",
        "\u{feff}date;tmin_c;tmax_c\r\n2026-04-01;-0.5;12.3\r\n",
        "date\ttmin_c\ttmax_c\n2026-04-01\t−0,5\t+12.30\n",
        "tmax_c , rain_mm , date , tmin_c\n12.300,4.0, 2026-04-01 , -.5\n\n",
        "date,tmin_c,tmax_c\n\"2026-04-01\",\"-0.5\",\"12.3\"\n",
        "date,tmin_c,tmax_c\n2026-04-01T00:00:00,-0.5,12.3\n",
    ] {
        assert_eq!(table(text), expected, "{text}");
    }
}

#[test]
fn days_are_sorted_and_gaps_are_noted() {
    let text = "date,tmin_c,tmax_c\n2026-04-03,1,9\n2026-04-01,1,9\n2026-04-02,,9\n";
    let read = parse(text.as_bytes(), Path::new("station.csv")).unwrap();
    assert_eq!(
        read.value
            .days
            .iter()
            .map(|day| day.date.day())
            .collect::<Vec<_>>(),
        [1, 3]
    );
    assert!(
        read.findings[0].message.contains("2026-04-02"),
        "{:?}",
        read.findings
    );
}

#[test]
fn refusals_name_file_line_date_and_numbers() {
    let head = "date,tmin_c,tmax_c\n2026-04-01,1,9\n";
    for (text, code, parts) in [
        (
            "date,tmin,tmax\n2026-04-01,1,9\n".to_owned(),
            "weather.unit",
            vec!["station.csv:1", "\"tmin\"", "tmin_c"],
        ),
        (
            "date,tmin_k,tmax_k\n2026-04-01,1,9\n".to_owned(),
            "weather.unit",
            vec!["\"k\"", "°C and °F"],
        ),
        (
            "date,tmin_c,tmax_f\n2026-04-01,1,9\n".to_owned(),
            "weather.unit",
            vec!["tmin_c", "tmax_f", "different units"],
        ),
        (
            "date,tmin_c\n2026-04-01,1\n".to_owned(),
            "weather.columns",
            vec!["tmax", "date, tmin_c"],
        ),
        (
            "date,tmin_c,tmax_c,Tmax [C]\n2026-04-01,1,2,2\n".to_owned(),
            "weather.columns",
            vec!["tmax_c", "Tmax [C]"],
        ),
        (
            format!("{head}02.04.2026,1,9\n"),
            "weather.date",
            vec!["station.csv:3", "02.04.2026", "2026-04-14"],
        ),
        (
            format!("{head}2026-02-30,1,9\n"),
            "weather.date",
            vec!["station.csv:3", "2026-02-30"],
        ),
        (
            format!("{head}2026-04-02,mild,9\n"),
            "weather.temperature",
            vec!["station.csv:3", "2026-04-02", "mild", "tmin_c"],
        ),
        (
            format!("{head}2026-04-02,1.0005,9\n"),
            "weather.temperature",
            vec!["1.0005"],
        ),
        (
            format!("{head}2026-04-02,\"1,5\",9\n"),
            "weather.temperature",
            vec!["1,5", "semicolons"],
        ),
        (
            format!("{head}2026-04-02,-9999,9\n"),
            "weather.temperature",
            vec!["2026-04-02", "-9999 °C", "-95 to 60"],
        ),
        (
            format!("{head}2026-04-02,9,1\n"),
            "weather.swapped",
            vec!["station.csv:3", "2026-04-02", "tmin 9 °C", "tmax 1 °C"],
        ),
        (
            format!("{head}2026-04-01,1,9\n"),
            "weather.twice",
            vec!["station.csv:3", "2026-04-01", "line 2"],
        ),
        (
            format!("{head}2026-04-02,1\n"),
            "weather.table",
            vec!["station.csv:3", "2 columns", "has 3"],
        ),
        (
            "date,tmin_c,tmax_c\n".to_owned(),
            "weather.empty",
            vec!["station.csv"],
        ),
        (String::new(), "weather.columns", vec!["date"]),
    ] {
        let error = refusal(&text);
        assert_eq!(error.code(), code, "{text}: {error}");
        for part in parts {
            assert!(
                error.to_string().contains(part),
                "{part} is not in: {error}"
            );
        }
    }
    let error = parse(
        b"date,tmin_c,tmax_c\n2026-04-01,\xff,9\n",
        Path::new("station.csv"),
    )
    .unwrap_err();
    assert!(error.to_string().contains("station.csv:2"), "{error}");
    assert_eq!(
        read(Path::new("no-such-file.csv")).unwrap_err().code(),
        "weather.unreadable"
    );
}

#[test]
fn thousandths_are_exact() {
    for (text, expected) in [
        ("4.4", Some(4400)),
        ("-0.001", Some(-1)),
        ("40", Some(40_000)),
        (".5", Some(500)),
        ("5.", Some(5000)),
        ("1.2340", Some(1234)),
    ] {
        assert_eq!(thousandths(text, false), expected, "{text}");
    }
    for text in [
        "",
        ".",
        "-",
        "1e3",
        "1 2",
        "0x1",
        "1.2345",
        "1,5",
        "99999999999",
        "--1",
        "１",
    ] {
        assert_eq!(thousandths(text, false), None, "{text}");
    }
    assert_eq!(thousandths("1,5", true), Some(1500));
}

proptest::proptest! {
    #[test]
    fn never_panics(bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..200), rows in "[0-9,;.\\-\n\t ]{0,80}") {
        let path = Path::new("station.csv");
        let _ = parse(&bytes, path);
        let _ = parse(format!("date,tmin_c,tmax_c\n{rows}").as_bytes(), path);
        let _ = parse(format!("date;tmin_c;tmax_c\n{rows}").as_bytes(), path);
    }
}
