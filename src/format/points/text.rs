//! Names of columns and numbers as loggers write them.

/// What stands for "no value" besides nothing at all.
const MISSING: [&str; 9] = [
    "-9999", "-9999.0", "-9999.00", "-99999", "na", "n/a", "nan", "null", "none",
];

/// A column's name without case, unit and signs; and the unit in brackets at its end.
pub(super) fn split(name: &str) -> (String, String) {
    let lower = name.trim().to_lowercase();
    let (stem, unit) = match lower.find(['(', '[']) {
        Some(at) => (
            lower[..at].to_owned(),
            lower[at..]
                .trim_matches(['(', ')', '[', ']', ' '])
                .to_owned(),
        ),
        None => (lower, String::new()),
    };
    (stem.chars().filter(|c| c.is_alphanumeric()).collect(), unit)
}

/// A value that may be missing: blank, -9999, NA and their kin. `Err` is text that is no number.
///
/// A comma is read as the decimal sign where it cannot part columns and no point stands beside it.
pub(super) fn number(text: &str, decimal_comma: bool) -> Result<Option<f64>, ()> {
    let trimmed = text.trim();
    if trimmed.is_empty() || MISSING.contains(&trimmed.to_lowercase().as_str()) {
        return Ok(None);
    }
    let written = if decimal_comma && trimmed.matches(',').count() == 1 && !trimmed.contains('.') {
        trimmed.replace(',', ".")
    } else {
        trimmed.to_owned()
    };
    match written.parse::<f64>() {
        Ok(-9999.0 | -99999.0) => Ok(None),
        Ok(value) if value.is_finite() => Ok(Some(value)),
        _ => Err(()),
    }
}

/// A time as seconds from some instant that is the same for one way of writing: plain seconds, a clock time, or date and time (ISO 8601).
pub(super) fn seconds(text: &str, decimal_comma: bool) -> Result<Option<f64>, ()> {
    if let Ok(number) = number(text, decimal_comma) {
        return Ok(number);
    }
    let text = text.trim();
    if let Ok(instant) = text.parse::<jiff::Timestamp>() {
        return Ok(Some(instant.as_nanosecond() as f64 / 1e9));
    }
    let from_midnight = |time: jiff::civil::Time| {
        f64::from(time.hour()) * 3600.0
            + f64::from(time.minute()) * 60.0
            + f64::from(time.second())
            + f64::from(time.subsec_nanosecond()) / 1e9
    };
    if let Ok(moment) = text.parse::<jiff::civil::DateTime>() {
        let days = jiff::civil::date(1970, 1, 1)
            .until(moment.date())
            .map_err(|_| ())?
            .get_days();
        return Ok(Some(
            f64::from(days) * 86_400.0 + from_midnight(moment.time()),
        ));
    }
    text.parse::<jiff::civil::Time>()
        .map(|time| Some(from_midnight(time)))
        .map_err(|_| ())
}

/// Metres a second in one of a speed's unit.
pub(super) fn speed_unit(unit: &str) -> Option<f64> {
    match unit.replace(' ', "").as_str() {
        "m/s" | "ms-1" | "mps" => Some(1.0),
        "km/h" | "kmh" | "kph" => Some(1.0 / 3.6),
        // The international mile, exact; the nautical mile, exact.
        "mph" | "mi/h" => Some(0.447_04),
        "kn" | "kt" | "knots" => Some(1852.0 / 3600.0),
        _ => None,
    }
}

/// The separator that the header uses most; a comma when it uses none.
pub(super) fn delimiter(text: &str) -> u8 {
    let header = text
        .lines()
        .find(|line| !line.trim().is_empty())
        .unwrap_or("");
    let count = |sign: char| header.matches(sign).count();
    let best = [(';', b';'), ('\t', b'\t'), (',', b',')]
        .into_iter()
        .max_by_key(|(sign, byte)| (count(*sign), *byte == b','));
    best.filter(|(sign, _)| count(*sign) > 0)
        .map_or(b',', |(_, byte)| byte)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_loggers() {
        assert_eq!(number(" 0.62 ", false), Ok(Some(0.62)));
        assert_eq!(number("0,62", true), Ok(Some(0.62)));
        assert_eq!(number("0,62", false), Err(()));
        assert_eq!(number("1,234.5", true), Err(()));
        for missing in ["", "  ", "-9999", "-9999.0000", "NA", "NaN", "null"] {
            assert_eq!(number(missing, false), Ok(None), "{missing:?}");
        }
        assert_eq!(number("inf", false), Err(()));
        assert_eq!(number("high", false), Err(()));
    }

    #[test]
    fn times_of_loggers() {
        assert_eq!(seconds("412.5", false), Ok(Some(412.5)));
        assert_eq!(seconds("00:01:02.5", false), Ok(Some(62.5)));
        let a = seconds("2026-04-14T23:59:59", false).unwrap().unwrap();
        let b = seconds("2026-04-15 00:00:01", false).unwrap().unwrap();
        assert!((b - a - 2.0).abs() < 1e-6);
        let zoned = seconds("1970-01-02T00:00:00Z", false).unwrap().unwrap();
        assert!((zoned - 86_400.0).abs() < 1e-9);
        assert_eq!(seconds("half past nine", false), Err(()));
    }

    #[test]
    fn names_units_and_separators() {
        assert_eq!(
            split("Speed [km/h]"),
            ("speed".to_owned(), "km/h".to_owned())
        );
        assert_eq!(split("GPS_Lat"), ("gpslat".to_owned(), String::new()));
        assert!(
            (speed_unit("km/h").unwrap() - 0.277_777_8).abs() < 1e-6
                && speed_unit("furlongs").is_none()
        );
        assert_eq!(
            (
                delimiter("a;b;c\n1,5;2;3"),
                delimiter("a,b"),
                delimiter("a\tb"),
                delimiter("a")
            ),
            (b';', b',', b'\t', b',')
        );
    }
}
