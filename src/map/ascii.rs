//! Names as every terminal shows them: printable ASCII, since many show boxes for anything else.

/// The text in printable ASCII: letters with marks lose them, German umlauts and ligatures become two letters, blanks and control characters become one space,
/// and what has no near letter becomes `?`.
pub(crate) fn ascii(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_control() || c.is_whitespace() {
            if !out.is_empty() && !out.ends_with(' ') {
                out.push(' ');
            }
        } else if c.is_ascii() {
            out.push(c);
        } else {
            out.push_str(near(c));
        }
    }
    out.truncate(out.trim_end().len());
    out
}

/// The text in printable ASCII, cut to so many characters, never empty: `otherwise` stands in for nothing.
pub(crate) fn designator(text: &str, longest: usize, otherwise: &str) -> String {
    let mut out = ascii(text);
    out.truncate(longest);
    out.truncate(out.trim_end().len());
    if out.is_empty() {
        otherwise.to_owned()
    } else {
        out
    }
}

/// What stands for one character in ASCII.
const fn near(c: char) -> &'static str {
    match c {
        'À'..='Ã' | 'Å' | 'Ā' | 'Ă' | 'Ą' => "A",
        'à'..='ã' | 'å' | 'ā' | 'ă' | 'ą' | 'ª' => "a",
        'Ä' | 'Æ' => "Ae",
        'ä' | 'æ' => "ae",
        'Ç' | 'Ć' | 'Ĉ' | 'Ċ' | 'Č' => "C",
        'ç' | 'ć' | 'ĉ' | 'ċ' | 'č' => "c",
        'Ď' | 'Đ' | 'Ð' => "D",
        'ď' | 'đ' | 'ð' => "d",
        'È'..='Ë' | 'Ē' | 'Ĕ' | 'Ė' | 'Ę' | 'Ě' => "E",
        'è'..='ë' | 'ē' | 'ĕ' | 'ė' | 'ę' | 'ě' => "e",
        'Ĝ' | 'Ğ' | 'Ġ' | 'Ģ' => "G",
        'ĝ' | 'ğ' | 'ġ' | 'ģ' => "g",
        'Ĥ' | 'Ħ' => "H",
        'ĥ' | 'ħ' => "h",
        'Ì'..='Ï' | 'Ĩ' | 'Ī' | 'Ĭ' | 'Į' | 'İ' => "I",
        'ì'..='ï' | 'ĩ' | 'ī' | 'ĭ' | 'į' | 'ı' => "i",
        'Ĵ' => "J",
        'ĵ' => "j",
        'Ķ' => "K",
        'ķ' => "k",
        'Ĺ' | 'Ļ' | 'Ľ' | 'Ł' => "L",
        'ĺ' | 'ļ' | 'ľ' | 'ł' => "l",
        'Ñ' | 'Ń' | 'Ņ' | 'Ň' => "N",
        'ñ' | 'ń' | 'ņ' | 'ň' => "n",
        'Ò'..='Õ' | 'Ø' | 'Ō' | 'Ŏ' | 'Ő' => "O",
        'ò'..='õ' | 'ø' | 'ō' | 'ŏ' | 'ő' | 'º' => "o",
        'Ö' | 'Œ' => "Oe",
        'ö' | 'œ' => "oe",
        'Ŕ' | 'Ŗ' | 'Ř' => "R",
        'ŕ' | 'ŗ' | 'ř' => "r",
        'Ś' | 'Ŝ' | 'Ş' | 'Š' | 'Ș' => "S",
        'ś' | 'ŝ' | 'ş' | 'š' | 'ș' => "s",
        'ß' => "ss",
        'Ţ' | 'Ť' | 'Ț' => "T",
        'ţ' | 'ť' | 'ț' => "t",
        'Ù'..='Û' | 'Ũ' | 'Ū' | 'Ŭ' | 'Ů' | 'Ű' | 'Ų' => "U",
        'ù'..='û' | 'ũ' | 'ū' | 'ŭ' | 'ů' | 'ű' | 'ų' | 'µ' | 'μ' => "u",
        'Ü' => "Ue",
        'ü' => "ue",
        'Ŵ' => "W",
        'ŵ' => "w",
        'Ý' | 'Ÿ' | 'Ŷ' => "Y",
        'ý' | 'ÿ' | 'ŷ' => "y",
        'Ź' | 'Ż' | 'Ž' => "Z",
        'ź' | 'ż' | 'ž' => "z",
        'Þ' => "Th",
        'þ' => "th",
        '–' | '—' | '−' | '‐' | '‑' => "-",
        '‘' | '’' | '′' => "'",
        '“' | '”' | '″' | '«' | '»' => "\"",
        '²' => "2",
        '³' => "3",
        '°' => " deg",
        '×' => "x",
        '·' => ".",
        '…' => "...",
        '≤' => "<=",
        '≥' => ">=",
        '±' => "+-",
        '→' => "->",
        _ => "?",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_become_ascii() {
        assert_eq!(
            ascii("Große Öd – Süd\u{7}\n№ 7"),
            "Grosse Oed - Sued ?  7".replace("  ", " ")
        );
        assert_eq!(ascii("Łąka Žďár Ærø"), "Laka Zdar Aero");
        assert!(ascii("поле <b>\u{202e}").is_ascii());
    }

    #[test]
    fn designators_are_cut_and_never_empty() {
        assert_eq!(
            designator("Long Ley beyond the brook", 9, "Field"),
            "Long Ley"
        );
        assert_eq!(designator("Straße", 5, "Field"), "Stras");
        assert_eq!(designator(" \t", 32, "Field"), "Field");
    }
}
