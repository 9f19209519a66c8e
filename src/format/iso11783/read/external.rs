//! External files of task data: the elements of `CTR00001.XML` and the like, put in the place of the references (XFR) to them.
//!
//! A file is opened only by a plain name of the standard's form, in the folder of the main file; files refer to no further files.
//!
//! # Source
//! Public XML schemas of task data 3.3 and 4.3; ISO 11783-10:2015 as retold in an unofficial study summary: three capitals and five digits, one kind of element a file,
//! root XFC, referred to by the main file alone.

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::path::Path;

use crate::finding::{Code, codes};
use crate::format::iso11783::read::{Set, children};
use crate::format::maps::MapError;
use crate::format::maps::unpack::{xml_text, xml_tree};
use crate::map::faults::fault::Fault;
use crate::map::imported::Place;

/// Letters of a name, which are those of the element in the file.
const LETTERS: usize = 3;
/// Digits of a name.
const DIGITS: usize = 5;

/// Whether a name without ending is of the standard's form: `CTR00001`.
fn is_name(name: &str) -> bool {
    let bytes = name.as_bytes();
    bytes.len() == LETTERS + DIGITS
        && bytes[..LETTERS].iter().all(u8::is_ascii_uppercase)
        && bytes[LETTERS..].iter().all(u8::is_ascii_digit)
}

/// Whether a file may be an external one, by its name alone: `CTR00001.XML`.
pub(super) fn is_file(name: &str) -> bool {
    name.to_ascii_uppercase()
        .strip_suffix(".XML")
        .is_some_and(is_name)
}

/// The main text with the elements of external files in it.
///
/// # Errors
/// When the main text is no XML. What is wrong with an external file is a fault, and its elements stay away.
pub(super) fn whole<'a>(
    path: &Path,
    text: &'a str,
    set: &Set,
    faults: &mut Vec<Fault>,
) -> Result<Cow<'a, str>, MapError> {
    let tree = xml_tree(path, text)?;
    let references: Vec<_> = children(tree.root_element(), "XFR")
        .map(|node| (node.range(), node.attribute("A").unwrap_or("").to_owned()))
        .collect();
    if references.is_empty() {
        return Ok(Cow::Borrowed(text));
    }
    let mut named = BTreeSet::new();
    let mut out = String::with_capacity(text.len());
    let (mut at, mut read) = (0, Vec::new());
    for (range, name) in references {
        out.push_str(&text[at..range.start]);
        at = range.end;
        let place = Place::named(if name.is_empty() {
            "XFR"
        } else {
            name.as_str()
        });
        if !is_name(&name) {
            let message = format!(
                "the reference (XFR) names the file {name:?}: three capitals and five digits are due, in the same folder; it is not opened"
            );
            faults.push(Fault::stop(codes::TASK_EXTERNAL_NAME, place, message));
        } else if !named.insert(name.clone()) {
            faults.push(Fault::stop(
                codes::TASK_EXTERNAL_TWICE,
                place,
                format!("{name}.XML is referred to twice (XFR); it is read once"),
            ));
        } else if let Some(elements) = elements(path, &name, set, &place, faults) {
            out.push_str(&elements);
            read.push(name);
        }
    }
    out.push_str(&text[at..]);
    if !read.is_empty() {
        let message = format!(
            "parts of the task stand in other files ({}), which are read; one file is what every terminal reads",
            read.join(", ")
        );
        faults.push(Fault::note(
            codes::TASK_EXTERNAL,
            Place::named(read.swap_remove(0)),
            message,
        ));
    }
    Ok(Cow::Owned(out))
}

/// The text of the elements in an external file.
fn elements(
    path: &Path,
    name: &str,
    set: &Set,
    place: &Place,
    faults: &mut Vec<Fault>,
) -> Option<String> {
    let requirement = format!("{name}.XML");
    let mut stop = |code: Code, message: String| {
        faults.push(Fault::stop(code, place.clone(), message));
        None
    };
    let Some((bytes, exact, found)) = set.file(&requirement) else {
        return stop(
            codes::TASK_EXTERNAL_MISSING,
            format!(
                "the file {requirement}, in which parts of the task stand (XFR), is not there: copy the whole folder"
            ),
        );
    };
    let read = xml_text(path, bytes).and_then(|(text, _)| Ok((text, xml_tree(path, text)?)));
    let (text, tree) = match read {
        Ok(read) => read,
        Err(MapError::Unreadable { reason, .. }) => {
            return stop(
                codes::TASK_EXTERNAL_UNREADABLE,
                format!("{found} cannot be read: {reason}"),
            );
        }
        Err(error) => {
            return stop(
                codes::TASK_EXTERNAL_UNREADABLE,
                format!("{found} cannot be read: {error}"),
            );
        }
    };
    let root = tree.root_element().tag_name().name();
    if root != "XFC" {
        return stop(
            codes::TASK_EXTERNAL_ROOT,
            format!("the root of {found} is {root:?}, not XFC; nothing of it is taken"),
        );
    }
    let kind = &name[..LETTERS];
    let mut out = String::new();
    let mut others = BTreeSet::new();
    for child in tree
        .root_element()
        .children()
        .filter(roxmltree::Node::is_element)
    {
        if child.tag_name().name() == kind {
            out.push_str(&text[child.range()]);
        } else {
            others.insert(child.tag_name().name());
        }
    }
    if !others.is_empty() {
        let others: Vec<_> = others.into_iter().collect();
        let message = format!(
            "{found} holds {} besides {kind}; a file holds one kind, and refers to no further files: they are not taken",
            others.join(", ")
        );
        faults.push(Fault::stop(
            codes::TASK_EXTERNAL_KIND,
            place.clone(),
            message,
        ));
    }
    if !exact {
        faults.push(Fault::caution(
            codes::TASK_EXTERNAL_NAME,
            place.clone(),
            format!("the file is called {found}, not {requirement}: some terminals do not find it"),
        ));
    }
    Some(out)
}
