//! The day in a file's name: a guess, said as one.

use jiff::civil::Date;

/// The one day that a name holds: `20260702`, `2026-07-02`, `2026_07_02`, with a time behind it or without. `None` where there is none, or more than one.
pub(crate) fn date_in_name(name: &str) -> Option<Date> {
    let mut found: Vec<Date> = Vec::new();
    let bytes = name.as_bytes();
    let mut at = 0;
    while at < bytes.len() {
        let starts = bytes[at].is_ascii_digit() && (at == 0 || !bytes[at - 1].is_ascii_digit());
        if let Some((date, long)) = starts.then(|| day_at(bytes.get(at..)?)).flatten() {
            if !found.contains(&date) {
                found.push(date);
            }
            at += long;
        } else {
            at += 1;
        }
    }
    match found.as_slice() {
        [date] => Some(*date),
        _ => None,
    }
}

/// A day at the beginning of a text, and the bytes that it takes.
fn day_at(text: &[u8]) -> Option<(Date, usize)> {
    let number = |from: usize, to: usize| -> Option<i16> {
        let digits = text.get(from..to)?;
        digits
            .iter()
            .all(u8::is_ascii_digit)
            .then(|| std::str::from_utf8(digits).ok()?.parse().ok())?
    };
    let (month, day, long) = match (text.get(4)?, text.get(7)) {
        (b'-', Some(b'-')) | (b'_', Some(b'_')) => (number(5, 7)?, number(8, 10)?, 10),
        _ => (number(4, 6)?, number(6, 8)?, 8),
    };
    // A longer number is something else: a serial number, or a time without its T.
    if text.get(long).is_some_and(u8::is_ascii_digit) {
        return None;
    }
    let year = number(0, 4)?;
    (1990..2100).contains(&year).then_some(())?;
    let date = Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()?;
    Some((date, long))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_as_people_and_products_write_them() {
        let day = Some(Date::constant(2026, 7, 2));
        for name in [
            "20260702.tif",
            "ndvi_2026-07-02.tif",
            "field 2026_07_02 b.tif",
            "T14TPL_20260702T170849_B04.jp2",
            "S2A_20260702T1_N0500_20260702T2.zip",
        ] {
            assert_eq!(date_in_name(name), day, "{name}");
        }
    }

    #[test]
    fn what_is_no_day_or_more_than_one_is_left_alone() {
        for name in [
            "mosaic.tif",
            "20261302.tif",
            "20260230.tif",
            "120260702.tif",
            "202607021.tif",
            "02072026.tif",
            "17760704.tif",
            "20260702_20260709.tif",
            "",
        ] {
            assert_eq!(date_in_name(name), None, "{name}");
        }
    }
}
