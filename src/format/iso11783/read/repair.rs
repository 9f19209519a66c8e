//! Repairs task data where that is safe: nothing that is spread within the field changes; what only its maker can know is left, and told.

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;

use geo::{Intersects, MultiPolygon};
use roxmltree::Node;

use crate::finding::{Code, Severity, codes};
use crate::format::iso11783::read::repair_grid::Raster;
use crate::format::iso11783::read::{
    FOLDER, Loaded, MAIN, Set, children, external, id, load, read_set, repair_grid, task_of,
};
use crate::format::maps::MapError;
use crate::format::maps::unpack::{xml_text, xml_tree};
use crate::format::payload::Payload;
use crate::map::faults;
use crate::map::faults::Against;

/// First line of a main file.
const DECLARATION: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>";

/// A repaired set, and what was done and left.
#[derive(Clone, Debug, Default)]
pub struct TaskRepair {
    /// The files, below the folder `TASKDATA`.
    pub files: Vec<Payload>,
    /// What was done, a sentence each.
    pub done: Vec<String>,
    /// What could not be repaired safely, a sentence each.
    pub left: Vec<String>,
}

/// A change of the main text.
pub(super) struct Edit {
    at: Range<usize>,
    text: String,
}

/// What is known of the zones of a task.
pub(super) struct Codes {
    /// Entry, product and presentation of each value, by code.
    pub(super) kinds: BTreeMap<u16, Vec<[String; 3]>>,
    /// Codes of zones that spread nothing.
    pub(super) nothing: Vec<u16>,
}

impl Codes {
    fn of(task: Node<'_, '_>) -> Self {
        let (mut kinds, mut nothing) = (BTreeMap::new(), Vec::new());
        for zone in children(task, "TZN") {
            let Some(code) = zone
                .attribute("A")
                .and_then(|text| text.parse::<u16>().ok())
                .filter(|code| *code < 255)
            else {
                continue;
            };
            let kind: Vec<[String; 3]> = children(zone, "PDV")
                .map(|value| {
                    ["A", "C", "E"].map(|key| value.attribute(key).unwrap_or("").to_owned())
                })
                .collect();
            if kind.is_empty() {
                continue;
            }
            if children(zone, "PDV").all(|value| value.attribute("B") == Some("0")) {
                nothing.push(code);
            }
            kinds.insert(code, kind);
        }
        Self { kinds, nothing }
    }

    /// The kind of all zones, when they have one.
    pub(super) fn one_kind(&self) -> Option<&Vec<[String; 3]>> {
        let first = self.kinds.values().next()?;
        self.kinds
            .values()
            .all(|kind| kind == first)
            .then_some(first)
    }

    /// A zone that spreads nothing of what the map spreads: one that the task names already, else the lowest.
    pub(super) fn nothing(&self, task: Node<'_, '_>) -> Option<u16> {
        self.one_kind()?;
        let named = ["J", "I", "H"]
            .iter()
            .filter_map(|key| task.attribute(*key)?.parse::<u16>().ok())
            .find(|code| self.nothing.contains(code));
        named.or_else(|| self.nothing.iter().min().copied())
    }
}

/// Repairs one task of a set of task data: folder, main file or zip. `field` is its ground in WGS 84, when the user names one; else the task's own boundary counts.
/// `task` is its id or name; else the first with a map.
///
/// # Errors
/// [`MapError`] when the set cannot be read at all.
pub fn repair_task(
    path: &Path,
    task: Option<&str>,
    field: Option<&MultiPolygon<f64>>,
) -> Result<TaskRepair, MapError> {
    let loaded = load(path)?;
    let before = read_set(path, &loaded, task)?;
    let field = field.or(before.boundary.as_ref());
    let (repaired, set, changed) = repaired(path, &loaded, task, field, true)?;
    let fits = |set: &Loaded| -> Result<bool, MapError> {
        Ok(!stops(path, set, task, field)?
            .iter()
            .any(|(code, _)| matches!(*code, codes::GRID_ORDER | codes::FIELD_OUTSIDE)))
    };
    // A grid of a length made to fit must lie on its field: else its columns were miscounted, and what was cut or filled is not the end of it.
    let (mut repaired, set) = if !changed || fits(&set)? {
        (repaired, set)
    } else {
        let (mut again, set, _) = self::repaired(path, &loaded, task, field, false)?;
        again.left.push("the grid's bytes are left as they are: as the grid stands it does not lie on its field".to_owned());
        (again, set)
    };
    repaired.left.extend(
        stops(path, &set, task, field)?
            .into_iter()
            .map(|(code, text)| format!("[{code}] {text}")),
    );
    repaired.files = files(&set);
    Ok(repaired)
}

/// Faults that keep a set from a machine.
fn stops(
    path: &Path,
    set: &Loaded,
    task: Option<&str>,
    field: Option<&MultiPolygon<f64>>,
) -> Result<Vec<(Code, String)>, MapError> {
    let map = read_set(path, set, task)?;
    let verdict = faults::check(
        &map,
        &Against {
            boundary: field.cloned(),
            ..Against::default()
        },
    );
    let stops = verdict
        .faults
        .into_iter()
        .filter(|fault| fault.severity == Severity::Stop);
    Ok(stops
        .map(|fault| (fault.code, format!("{}: {}", fault.place, fault.message)))
        .collect())
}

fn files(set: &Loaded) -> Vec<Payload> {
    let beside = set
        .set
        .files
        .iter()
        .map(|(name, bytes)| Payload::new(format!("{FOLDER}/{name}"), bytes.clone()));
    std::iter::once(Payload::new(format!("{FOLDER}/{MAIN}"), set.main.clone()))
        .chain(beside)
        .collect()
}

/// The set with its repairs, of grids' bytes only if told; and whether such were changed.
fn repaired(
    path: &Path,
    loaded: &Loaded,
    task: Option<&str>,
    field: Option<&MultiPolygon<f64>>,
    bytes: bool,
) -> Result<(TaskRepair, Loaded, bool), MapError> {
    let mut repair = TaskRepair::default();
    let (text, marked) = xml_text(path, &loaded.main)?;
    if loaded.name != MAIN || loaded.folder != FOLDER {
        repair.done.push(format!(
            "{}/{} stands as {FOLDER}/{MAIN} now",
            loaded.folder, loaded.name
        ));
    }
    let whole = external::whole(path, text, &loaded.set, &mut Vec::new())?;
    let mut set: BTreeMap<String, Vec<u8>> = loaded.set.files.clone();
    if whole != text {
        repair
            .done
            .push("what stood in external files (XFC) stands in the main file now".to_owned());
        set.retain(|name, _| !external::is_file(name));
    }
    for name in set
        .keys()
        .filter(|name| name.contains('/'))
        .cloned()
        .collect::<Vec<_>>()
    {
        set.remove(&name);
        repair
            .left
            .push(format!("{name} is not copied: task data have no folders"));
    }
    let tree = xml_tree(path, &whole)?;
    let root = tree.root_element();
    let mut edits = Vec::new();
    let mut changed = false;
    if let Some(task) = task_of(path, root, task)? {
        let codes = Codes::of(task);
        let grids: Vec<_> = children(task, "GRD").collect();
        if let [grid] = grids.as_slice()
            && let Some(raster) = Raster::of(*grid)
        {
            let outside =
                |cell: geo::Polygon<f64>| field.is_some_and(|field| !field.intersects(&cell));
            let mut look = repair_grid::Look {
                task,
                grid: *grid,
                raster,
                codes: &codes,
                bounded: field.is_some(),
                repair: &mut repair,
                edits: &mut edits,
            };
            changed = look.all(&mut set, &outside, bytes);
        }
        fallback(root, task, &codes, &mut repair, &mut edits);
    }
    let major = root
        .attribute("VersionMajor")
        .and_then(|text| text.parse::<u32>().ok())
        .unwrap_or(3);
    if major >= 4 {
        rings(root, &whole, &mut repair, &mut edits);
    }
    let mut main = apply(&whole, edits);
    if marked || !main.trim_start().starts_with("<?xml") {
        let rest = main.trim_start();
        main = if rest.starts_with("<?xml") {
            rest.to_owned()
        } else {
            format!("{DECLARATION}\n{rest}")
        };
        repair
            .done
            .push("the main file begins with its declaration, and nothing before it".to_owned());
    }
    let made = Loaded {
        main: main.into_bytes(),
        name: MAIN.to_owned(),
        folder: FOLDER.to_owned(),
        set: Set { files: set },
    };
    Ok((repair, made, changed))
}

/// Where the field ends nothing is spread: a zone of 0 is named for it when there is one.
fn fallback(
    root: Node<'_, '_>,
    task: Node<'_, '_>,
    codes: &Codes,
    repair: &mut TaskRepair,
    edits: &mut Vec<Edit>,
) {
    let known = task.attribute("J").is_some_and(|text| {
        text.parse::<u16>()
            .is_ok_and(|code| codes.kinds.contains_key(&code))
    });
    if known {
        return;
    }
    let field = task.attribute("E").and_then(|requirement| {
        children(root, "PFD").find(|field| field.attribute("A") == Some(requirement))
    });
    let bounded = field.is_some_and(|field| {
        children(field, "PLN").any(|border| border.attribute("A") == Some("1"))
    });
    match codes.nothing(task).filter(|_| bounded) {
        Some(code) => {
            edits.push(set_attribute(task, "J", &code.to_string()));
            repair.done.push(format!(
                "{}: outside the field (J) zone {code} counts, which spreads nothing",
                id(task)
            ));
        }
        None if bounded => repair.left.push(format!(
            "{}: no zone of 0 is there that could count outside the field (J)",
            id(task)
        )),
        None => repair.left.push(format!(
            "{}: the field has no boundary, so nothing can count outside it (J)",
            id(task)
        )),
    }
}

/// Rings of version 4 that do not repeat their first point.
fn rings(root: Node<'_, '_>, text: &str, repair: &mut TaskRepair, edits: &mut Vec<Edit>) {
    let mut closed = 0;
    for line in root
        .descendants()
        .filter(|node| node.has_tag_name("LSG") && matches!(node.attribute("A"), Some("1" | "2")))
    {
        let points: Vec<_> = children(line, "PNT").collect();
        let place = |point: &Node<'_, '_>| {
            (
                point.attribute("C").map(str::to_owned),
                point.attribute("D").map(str::to_owned),
            )
        };
        if let [first, _, _, ..] = points.as_slice()
            && let Some(last) = points.last()
            && place(first) != place(last)
        {
            edits.push(Edit {
                at: last.range().end..last.range().end,
                text: text[first.range()].to_owned(),
            });
            closed += 1;
        }
    }
    if closed > 0 {
        repair.done.push(format!("{closed} rings closed"));
    }
}

/// An attribute set, in its place or as the first one.
pub(super) fn set_attribute(node: Node<'_, '_>, key: &str, value: &str) -> Edit {
    if let Some(there) = node.attribute_node(key) {
        return Edit {
            at: there.range(),
            text: format!("{key}=\"{value}\""),
        };
    }
    let at = node.range().start + 1 + node.tag_name().name().len();
    Edit {
        at: at..at,
        text: format!(" {key}=\"{value}\""),
    }
}

/// The text with all changes; they do not overlap.
fn apply(text: &str, mut edits: Vec<Edit>) -> String {
    edits.sort_by_key(|edit| edit.at.start);
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    for edit in edits {
        out.push_str(&text[at..edit.at.start]);
        out.push_str(&edit.text);
        at = edit.at.end;
    }
    out.push_str(&text[at..]);
    out
}
