//! File names that every terminal can read.

/// Longest base name of an 8.3 file.
const LONGEST: usize = 8;

/// The field's name as an 8.3-safe base name: upper-case ASCII letters, digits and underscores, 1 to 8 of them, none of the names that Windows keeps for
/// devices.
///
/// Letters with marks lose them (German ones are spelled out), anything else becomes an underscore. Where nothing is left, as from a script without Latin
/// letters, the name is `F` and the map id.
///
/// # Source
/// 8.3 names and the device names CON, PRN, AUX, NUL, COM0 to COM9, LPT0 to LPT9: Windows naming rules, from memory.
pub fn safe_name(field: &str, map_id: &str) -> String {
    let name = upper_ascii(field);
    if name.is_empty() {
        let fallback = upper_ascii(&format!("F{map_id}"));
        return fallback;
    }
    if is_device(&name) {
        format!("F_{name}")
    } else {
        name
    }
}

fn upper_ascii(text: &str) -> String {
    let mut name = String::new();
    for letter in text.chars() {
        let plain = latin(letter);
        if !plain.is_empty() {
            name.push_str(plain);
        } else if letter.is_ascii_alphanumeric() {
            name.push(letter.to_ascii_uppercase());
        } else if !name.is_empty() && !name.ends_with('_') {
            name.push('_');
        }
    }
    name.truncate(LONGEST);
    name.trim_end_matches('_').to_owned()
}

/// Latin letters with marks, in capitals without; empty for others.
const fn latin(letter: char) -> &'static str {
    match letter {
        'Ä' | 'ä' | 'Æ' | 'æ' => "AE",
        'Ö' | 'ö' | 'Œ' | 'œ' => "OE",
        'Ü' | 'ü' => "UE",
        'ß' | 'ẞ' => "SS",
        'Þ' | 'þ' => "TH",
        'À'..='Ã' | 'Å' | 'à'..='ã' | 'å' | 'Ā'..='ą' => "A",
        'Ç' | 'ç' | 'Ć'..='č' => "C",
        'Ð' | 'ð' | 'Ď'..='đ' => "D",
        'È'..='Ë' | 'è'..='ë' | 'Ē'..='ě' => "E",
        'Ĝ'..='ģ' => "G",
        'Ĥ'..='ħ' => "H",
        'Ì'..='Ï' | 'ì'..='ï' | 'Ĩ'..='ı' => "I",
        'Ĵ' | 'ĵ' => "J",
        'Ķ'..='ĸ' => "K",
        'Ĺ'..='ł' => "L",
        'Ñ' | 'ñ' | 'Ń'..='ŋ' => "N",
        'Ò'..='Õ' | 'Ø' | 'ò'..='õ' | 'ø' | 'Ō'..='ő' => "O",
        'Ŕ'..='ř' => "R",
        'Ś'..='š' | 'Ș' | 'ș' => "S",
        'Ţ'..='ŧ' | 'Ț' | 'ț' => "T",
        'Ù'..='Û' | 'ù'..='û' | 'Ũ'..='ų' => "U",
        'Ŵ' | 'ŵ' => "W",
        'Ý' | 'ý' | 'ÿ' | 'Ŷ'..='Ÿ' => "Y",
        'Ź'..='ž' => "Z",
        _ => "",
    }
}

/// Whether a base name in capitals is one that Windows keeps for a device.
pub fn is_device(name: &str) -> bool {
    let numbered = |stem: &str| {
        name.strip_prefix(stem)
            .is_some_and(|rest| rest.len() == 1 && rest.bytes().all(|byte| byte.is_ascii_digit()))
    };
    matches!(name, "CON" | "PRN" | "AUX" | "NUL") || numbered("COM") || numbered("LPT")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_short_plain_and_never_devices() {
        for (field, expected) in [
            ("Long Ley", "LONG_LEY"),
            ("Große Wiese", "GROSSE_W"),
            ("Žďár 12/3", "ZDAR_12"),
            ("Ågård", "AGARD"),
            ("con", "F_CON"),
            ("Lpt 1", "LPT_1"),
            ("lpt1", "F_LPT1"),
            ("Łąka", "LAKA"),
            ("  ..\\..//x  ", "X"),
            ("поле", "F0A1B2C"),
            ("", "F0A1B2C"),
        ] {
            assert_eq!(safe_name(field, "0a1b2c"), expected, "{field}");
        }
        assert_eq!(safe_name("", ""), "F");
    }
}
