//! Bounds of files in markup, looked at before a tree is made of them: readers of XML compare every attribute of an element with every other, carry names of
//! spaces from element to element, and go down by calling themselves.

/// Elements within elements. Task data have 10, KML with folders some 20.
const DEEPEST: usize = 200;
/// Attributes of one element; the richest known has some 40.
const MAXIMUM_ATTRIBUTES: usize = 1_000;
/// Declared name spaces in a whole file.
const MAXIMUM_SPACES: usize = 10_000;
/// Elements, their ends, and remarks. A million vertices of task data are 2 million.
const MAXIMUM_TAGS: usize = 20_000_000;

/// A line of a table; a hundred columns of a station's record have some thousand. (bytes)
const LONGEST_LINE: usize = 1 << 16;

/// Refuses a table with a line that is built to take memory: its reader keeps a place for every value of a line.
///
/// # Errors
/// The line and its length.
pub(crate) fn lines(text: &str) -> std::io::Result<()> {
    // Older programs end a line with a carriage return alone.
    let mut lines = text.split(['\n', '\r']);
    let long = lines.find(|line| line.len() > LONGEST_LINE);
    long.map_or(Ok(()), |line| {
        let before = &text[..line.as_ptr() as usize - text.as_ptr() as usize];
        let number = 1 + before.replace("\r\n", "\n").matches(['\n', '\r']).count();
        let reason = format!(
            "line {number} has {} bytes, at most {LONGEST_LINE} are read: end each row of the table with a line end",
            line.len()
        );
        Err(std::io::Error::other(reason))
    })
}

/// Refuses a text in markup that is built to take a reader's time or memory, naming the part that is too large.
///
/// # Errors
/// As above.
pub(crate) fn markup(text: &str) -> Result<(), String> {
    let bytes = text.as_bytes();
    let (mut depth, mut deepest, mut tags, mut spaces) = (0_usize, 0_usize, 0_usize, 0_usize);
    let mut at = 0;
    while let Some(next) = bytes[at..].iter().position(|byte| *byte == b'<') {
        at += next + 1;
        tags += 1;
        if tags > MAXIMUM_TAGS {
            return Err(format!("it has more than {MAXIMUM_TAGS} elements"));
        }
        let rest = &text[at..];
        // What is in remarks and in marked text is no element.
        let skipped = [("!--", "-->"), ("![CDATA[", "]]>"), ("?", "?>")]
            .iter()
            .find(|(start, _)| rest.starts_with(start));
        if let Some((start, end)) = skipped {
            let length = rest.find(end).unwrap_or(rest.len());
            if *start == "?" {
                instruction(&rest[1..length.max(1)])?;
            }
            at += length;
            continue;
        }
        let (mut quote, mut equals, mut length) = (None, 0_usize, rest.len());
        for (k, byte) in rest.bytes().enumerate() {
            match quote {
                Some(open) if byte == open => quote = None,
                None if byte == b'"' || byte == b'\'' => quote = Some(byte),
                None if byte == b'=' => equals += 1,
                None if byte == b'>' => {
                    length = k;
                    break;
                }
                _ => {}
            }
        }
        let tag = &rest[..length];
        if equals > MAXIMUM_ATTRIBUTES {
            return Err(format!(
                "its {tags}th element has {equals} attributes, at most {MAXIMUM_ATTRIBUTES} are read"
            ));
        }
        spaces += tag.matches("xmlns").count();
        if spaces > MAXIMUM_SPACES {
            return Err(format!(
                "it declares more than {MAXIMUM_SPACES} name spaces"
            ));
        }
        if tag.starts_with('/') {
            depth = depth.saturating_sub(1);
        } else if !tag.ends_with('/') && !tag.starts_with('!') {
            depth += 1;
            deepest = deepest.max(depth);
        }
        if deepest > DEEPEST {
            return Err(format!(
                "its elements lie more than {DEEPEST} deep in each other"
            ));
        }
        at += length;
    }
    Ok(())
}

/// Refuses an instruction that strict readers refuse, though the one at hand passes over it: what a controller cannot read must not be taken here.
fn instruction(text: &str) -> Result<(), String> {
    let (name, rest) = text.split_at(text.find(char::is_whitespace).unwrap_or(text.len()));
    let is_name = name.starts_with(|first: char| first.is_alphabetic() || first == '_')
        && name
            .chars()
            .all(|letter| letter.is_alphanumeric() || "._-:".contains(letter));
    if !is_name {
        return Err(format!("its instruction <?{name} … has no name of XML"));
    }
    if name != "xml" {
        return Ok(());
    }
    let value = |key: &str| -> Option<&str> {
        let after = rest.split_once(key)?.1.trim_start().strip_prefix('=')?;
        let after = after.trim_start();
        let quote = after
            .chars()
            .next()
            .filter(|quote| "'\"".contains(*quote))?;
        after[1..].split(quote).next()
    };
    let version = value("version").unwrap_or_default();
    let is_version = version
        .strip_prefix("1.")
        .is_some_and(|minor| !minor.is_empty() && minor.bytes().all(|byte| byte.is_ascii_digit()));
    if !is_version {
        return Err(format!(
            "its declaration names the version {version:?} of XML"
        ));
    }
    let encoding = value("encoding").unwrap_or("utf-8").to_ascii_lowercase();
    let known = ["utf-8", "utf8", "us-ascii", "ascii"].contains(&encoding.as_str())
        || encoding.starts_with("iso-8859-")
        || encoding.starts_with("windows-125");
    if known {
        Ok(())
    } else {
        Err(format!(
            "its declaration names the encoding {encoding:?}, which is none for text of single bytes or UTF-8"
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instructions_that_strict_readers_refuse_are_refused() {
        for (text, word) in [
            ("<?xm| version=\"1.0\"?><a/>", "xm|"),
            ("<? version=\"1.0\"?><a/>", "no name"),
            ("<?xml version=\"1.0\" encoding=\"UT&-8\"?><a/>", "ut&-8"),
            ("<?xml version=\"1.0\" encoding=\"UTF-16\"?><a/>", "utf-16"),
            ("<?xml version=\"1&0\"?><a/>", "1&0"),
            ("<?xml encoding=\"UTF-8\"?><a/>", "version"),
        ] {
            let wording = markup(text).unwrap_err();
            assert!(wording.contains(word), "{wording}");
        }
        for text in [
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?><a/>",
            "<?xml version='1.1' encoding='iso-8859-1' standalone=\"yes\"?><a/>",
            "\u{feff}<?xml version = \"1.0\"?>\n<?xml-stylesheet href=\"a.xsl\"?><a/>",
        ] {
            assert_eq!(markup(text), Ok(()), "{text}");
        }
    }

    #[test]
    fn lines_end_in_any_way() {
        let row = "2026-04-01,8.5,0.0\r".repeat(9_000);
        assert!(lines(&row).is_ok(), "as older programs write them");
        let long = format!("a\r\nb\n{}\n", "x".repeat(LONGEST_LINE + 1));
        let wording = lines(&long).unwrap_err().to_string();
        assert!(wording.starts_with("line 3 has 65537 bytes"), "{wording}");
    }

    #[test]
    fn what_is_built_to_take_time_is_refused_with_its_number() {
        let deep = "<a>".repeat(201) + &"</a>".repeat(201);
        let wide = format!(
            "<a {}/>",
            (0..1001)
                .map(|k| format!("b{k}='='"))
                .collect::<Vec<_>>()
                .join(" ")
        );
        let spaces = "<a xmlns:b='c'/>".repeat(10_001);
        for (text, word) in [
            (&deep, "200 deep"),
            (&wide, "1001 attributes"),
            (&spaces, "name spaces"),
        ] {
            let wording = markup(text).unwrap_err();
            assert!(wording.contains(word), "{wording}");
        }
    }

    #[test]
    fn a_table_with_a_line_without_end_is_refused_with_its_number() {
        let wording = lines(&format!("a,b\n{}\n1,2\n", "1,".repeat(40_000))).unwrap_err();
        assert!(
            wording.to_string().contains("line 2 has 80000 bytes"),
            "{wording}"
        );
        assert!(lines(&"1,2\n".repeat(100_000)).is_ok());
    }

    #[test]
    fn what_is_ordinary_passes() {
        for text in [
            "",
            "<",
            "<a",
            "no markup",
            "<?xml version='1.0'?><!-- <a><a> --><a b='>'><![CDATA[<a><a>]]></a>",
            &("<a/>".repeat(1000)),
            &("<a></a>".repeat(1000)),
        ] {
            assert_eq!(markup(text), Ok(()), "{text}");
        }
    }
}
