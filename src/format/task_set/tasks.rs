//! The tasks of a set, each with all that it names: two tasks are the same when these texts are, whatever their ids.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use roxmltree::{Document, Node};

use crate::format::iso11783::read::ids::{REFERENCES, WITH_ID};
use crate::format::task_set::error::TaskSetError;

/// Elements are nested, and references followed, no deeper than this: a boundary's point is the fourth below the root, a value's unit the fifth.
const DEEPEST: usize = 32;
/// Elements that a machine adds to a task: times and logs of work done.
const WORK: [&str; 2] = ["TIM", "TLG"];

/// A set of files as it lies in its folder.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TaskSet {
    /// The main file.
    pub main: Vec<u8>,
    /// The others, by name.
    pub files: BTreeMap<String, Vec<u8>>,
}

/// One aspect of a task, spelled out so that it can be compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// What it is, for people: `the boundary of the field`.
    pub what: &'static str,
    /// Its elements and attributes, references replaced by what they name, without ids.
    pub text: String,
}

/// A task's grid.
#[derive(Clone, Debug, PartialEq)]
pub struct GridFacts {
    /// Its file, with the ending.
    pub file: String,
    /// Rows, from the south.
    pub rows: usize,
    /// Columns, from the west.
    pub cols: usize,
    /// Bytes of a cell: 1 for a zone code, 4 for a rate.
    pub bytes_a_cell: usize,
    /// What the screen multiplies the file's whole numbers by.
    pub scale: f64,
    /// Unit on the screen; empty when it has none.
    pub unit: String,
}

/// A task and what it names.
#[derive(Clone, Debug, PartialEq)]
pub struct TaskFacts {
    /// Its id.
    pub id: String,
    /// Its name, as terminals list it.
    pub name: String,
    /// Name of the customer; empty when it names none.
    pub client: String,
    /// Name of the farm.
    pub farm: String,
    /// Name of the field.
    pub field: String,
    /// Name of the product.
    pub product: String,
    /// All that it says, but for its status and the work done, by aspect.
    pub parts: Vec<Part>,
    /// Its grid.
    pub grid: Option<GridFacts>,
    /// Elements that a machine added: times and logs of work.
    pub work: usize,
    /// Whether its status is that of a plan.
    pub planned: bool,
}

/// A main file as a tree. Document types, and entities with them, are refused; nothing outside the text is read.
pub(super) fn tree(main: &[u8]) -> Result<Document<'_>, TaskSetError> {
    let plain = main.strip_prefix(b"\xef\xbb\xbf").unwrap_or(main);
    let unreadable = |reason: String| TaskSetError::Unreadable { reason };
    let text = std::str::from_utf8(plain)
        .map_err(|error| unreadable(format!("it is no UTF-8: {error}")))?;
    let tree = Document::parse(text).map_err(|error| unreadable(error.to_string()))?;
    let root = tree.root_element().tag_name().name();
    if root == "ISO11783_TaskData" {
        Ok(tree)
    } else {
        Err(unreadable(format!(
            "its root is {root:?}, not ISO11783_TaskData"
        )))
    }
}

/// What an attribute must name, if it is a reference.
pub(super) fn requirement(element: &str, attribute: &str) -> Option<&'static str> {
    REFERENCES
        .iter()
        .find(|(of, name, _)| *of == element && *name == attribute)
        .map(|(_, _, requirement)| *requirement)
}

/// Whether the attribute A of an element is its id.
pub(super) fn has_id(element: &str) -> bool {
    WITH_ID.contains(&element)
}

/// Elements with ids by their id.
pub(super) struct Ids<'a, 'i>(BTreeMap<&'a str, Node<'a, 'i>>);

impl<'a, 'i> Ids<'a, 'i> {
    pub(super) fn of(root: Node<'a, 'i>) -> Result<Self, TaskSetError> {
        let mut ids = BTreeMap::new();
        for node in root
            .children()
            .filter(|node| has_id(node.tag_name().name()))
        {
            let element = node.tag_name().name();
            let id = node
                .attribute("A")
                .filter(|id| id.strip_prefix(element).is_some_and(is_number));
            let taken = id.is_none_or(|id| ids.insert(id, node).is_some());
            if taken {
                return Err(TaskSetError::Id {
                    element: element.to_owned(),
                });
            }
        }
        Ok(Self(ids))
    }

    /// The element of an id, of the kind that is due there.
    pub(super) fn target(
        &self,
        element: &str,
        id: &str,
        kind: &str,
    ) -> Result<Node<'a, 'i>, TaskSetError> {
        self.0
            .get(id)
            .copied()
            .filter(|node| node.tag_name().name() == kind)
            .ok_or_else(|| TaskSetError::Dangling {
                element: element.to_owned(),
                target: id.to_owned(),
            })
    }

    /// An element spelled out: name, attributes in the order of their names, children; what it names in the place of each reference; no ids, no name of a grid's file.
    pub(super) fn spelled(&self, node: Node<'_, '_>) -> Result<String, TaskSetError> {
        let mut out = String::new();
        self.spell(node, 0, &mut out)?;
        Ok(out)
    }

    fn spell(
        &self,
        node: Node<'_, '_>,
        depth: usize,
        out: &mut String,
    ) -> Result<(), TaskSetError> {
        if depth > DEEPEST {
            return Err(TaskSetError::Circle);
        }
        let element = node.tag_name().name();
        out.push('<');
        out.push_str(element);
        let mut attributes: Vec<_> = node
            .attributes()
            .filter(|of| !(of.name() == "A" && has_id(element)))
            .filter(|of| !(of.name() == "G" && element == "GRD"))
            .collect();
        attributes.sort_by_key(roxmltree::Attribute::name);
        for attribute in attributes {
            let (name, value) = (attribute.name(), attribute.value());
            match requirement(element, name) {
                Some(kind) => {
                    // Writing to a String does not fail, here and below.
                    let _ = write!(out, " {name}=");
                    let target = self.target(element, value, kind)?;
                    self.spell(target, depth + 1, out)?;
                }
                None => {
                    let _ = write!(out, " {name}={value:?}");
                }
            }
        }
        out.push('>');
        for below in node.children().filter(Node::is_element) {
            self.spell(below, depth + 1, out)?;
        }
        out.push('/');
        Ok(())
    }
}

fn is_number(text: &str) -> bool {
    !text.is_empty()
        && !text.starts_with('0')
        && text.len() <= 11
        && text.bytes().all(|byte| byte.is_ascii_digit())
}

/// The tasks of a set, in its order.
///
/// # Errors
/// [`TaskSetError`] when the main file is damaged, an element has no id, a reference leads nowhere, or a grid's numbers are none.
pub fn tasks_of(set: &TaskSet) -> Result<Vec<TaskFacts>, TaskSetError> {
    let tree = tree(&set.main)?;
    let root = tree.root_element();
    let ids = Ids::of(root)?;
    root.children()
        .filter(|node| node.tag_name().name() == "TSK")
        .map(|task| facts(&ids, task))
        .collect()
}

fn facts(ids: &Ids<'_, '_>, task: Node<'_, '_>) -> Result<TaskFacts, TaskSetError> {
    let text = |node: Node<'_, '_>, name: &str| node.attribute(name).unwrap_or_default().to_owned();
    let named = |attribute: &str| -> Result<Option<Node<'_, '_>>, TaskSetError> {
        let Some(id) = task.attribute(attribute) else {
            return Ok(None);
        };
        let kind = requirement("TSK", attribute).unwrap_or_default();
        ids.target("TSK", id, kind).map(Some)
    };
    let owners = [
        ("the customer", named("C")?, "B"),
        ("the farm", named("D")?, "B"),
        ("the field and its boundary", named("E")?, "C"),
    ];
    let mut parts = vec![Part {
        what: "the task's name",
        text: text(task, "B"),
    }];
    let mut names = Vec::new();
    for (what, node, name) in owners {
        names.push(node.map(|node| text(node, name)).unwrap_or_default());
        let spelled = node.map_or_else(|| Ok(String::new()), |node| ids.spelled(node))?;
        parts.push(Part {
            what,
            text: spelled,
        });
    }
    let below = |name: &'static str| {
        task.children()
            .filter(move |node| node.tag_name().name() == name)
    };
    let mut zones = String::new();
    for zone in below("TZN") {
        ids.spell(zone, 0, &mut zones)?;
    }
    parts.push(Part {
        what: "the zones with their rates, product and unit",
        text: zones,
    });
    let mut place = String::new();
    for grid in below("GRD") {
        ids.spell(grid, 0, &mut place)?;
    }
    parts.push(Part {
        what: "the grid's position, cell size, rows or columns",
        text: place,
    });
    let mut rest = String::new();
    for attribute in ["F", "H", "I", "J"] {
        let _ = write!(rest, "{attribute}={:?} ", task.attribute(attribute));
    }
    let others = task.children().filter(|node| {
        let name = node.tag_name().name();
        node.is_element() && !WORK.contains(&name) && name != "TZN" && name != "GRD"
    });
    for other in others {
        ids.spell(other, 0, &mut rest)?;
    }
    parts.push(Part {
        what: "the zones for start, lost position and outside, or the log asked for",
        text: rest,
    });
    // The value's product and unit: those of the first zone that names any.
    let value = task
        .descendants()
        .find(|node| node.tag_name().name() == "PDV");
    let of_value = |attribute: &str| -> Result<Option<Node<'_, '_>>, TaskSetError> {
        let kind = requirement("PDV", attribute).unwrap_or_default();
        value
            .and_then(|value| value.attribute(attribute))
            .map(|id| ids.target("PDV", id, kind))
            .transpose()
    };
    let shown = of_value("E")?;
    let [client, farm, field] = <[String; 3]>::try_from(names).unwrap_or_default();
    Ok(TaskFacts {
        id: text(task, "A"),
        name: text(task, "B"),
        client,
        farm,
        field,
        product: of_value("C")?
            .map(|node| text(node, "B"))
            .unwrap_or_default(),
        parts,
        grid: below("GRD")
            .next()
            .map(|grid| grid_facts(task, grid, shown))
            .transpose()?,
        work: task
            .children()
            .filter(|node| WORK.contains(&node.tag_name().name()))
            .count(),
        planned: task.attribute("G") == Some("1"),
    })
}

fn grid_facts(
    task: Node<'_, '_>,
    grid: Node<'_, '_>,
    shown: Option<Node<'_, '_>>,
) -> Result<GridFacts, TaskSetError> {
    let wrong = |reason: String| TaskSetError::Grid {
        task: task.attribute("A").unwrap_or("a task").to_owned(),
        reason,
    };
    let count = |attribute: &str, what: &str| -> Result<usize, TaskSetError> {
        let text = grid.attribute(attribute).unwrap_or_default();
        // More than this is no field, and its product would not be counted.
        match text.parse::<usize>() {
            Ok(count) if (1..=1_000_000).contains(&count) => Ok(count),
            _ => Err(wrong(format!("its {what} ({attribute}) are {text:?}"))),
        }
    };
    let template = grid.attribute("J");
    let bytes_a_cell = match grid.attribute("I") {
        Some("1") => 1,
        Some("2") => {
            let zone = task
                .children()
                .find(|node| node.tag_name().name() == "TZN" && node.attribute("A") == template);
            let values = zone.map_or(0, |zone| {
                zone.children()
                    .filter(|node| node.tag_name().name() == "PDV")
                    .count()
            });
            if values == 0 {
                return Err(wrong(format!(
                    "the zone {template:?} that says what its numbers are is not there"
                )));
            }
            4 * values
        }
        other => {
            return Err(wrong(format!(
                "its type (I) is {other:?}; 1 and 2 are known"
            )));
        }
    };
    let name = grid.attribute("G").unwrap_or_default();
    if !name
        .strip_prefix("GRD")
        .is_some_and(|digits| digits.len() == 5 && digits.bytes().all(|byte| byte.is_ascii_digit()))
    {
        return Err(wrong(format!(
            "its file (G) is {name:?}, not GRD and five digits"
        )));
    }
    let scale = shown
        .and_then(|shown| shown.attribute("C"))
        .and_then(|text| text.parse::<f64>().ok())
        .filter(|scale| scale.is_finite() && *scale > 0.0);
    Ok(GridFacts {
        file: format!("{name}.bin"),
        rows: count("F", "rows")?,
        cols: count("E", "columns")?,
        bytes_a_cell,
        scale: scale.unwrap_or(1.0),
        unit: shown
            .and_then(|shown| shown.attribute("E"))
            .unwrap_or_default()
            .to_owned(),
    })
}

impl GridFacts {
    /// Length that its file must have. (bytes)
    pub fn bytes(&self) -> usize {
        self.rows * self.cols * self.bytes_a_cell
    }
}
