//! Several sets made one: ids renumbered from 1, what is equal stands once, grids are taken byte for byte.

use std::collections::BTreeMap;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, Event};
use roxmltree::{Document, Node};

use crate::format::payload::Payload;
use crate::format::task_set::error::TaskSetError;
use crate::format::task_set::tasks::{Ids, TaskSet, has_id, requirement, tasks_of, tree};

/// Elements of the set, in the order in which they are written: what is named stands before who names it.
const KINDS: [&str; 10] = [
    "CLD", "CTP", "CTR", "FRM", "PFD", "PGP", "VPN", "WKR", "PDT", "TSK",
];
/// Elements of one kind that a controller must be able to take; points of outlines do not count. Source: ISO 11783-10 as retold.
pub const MAXIMUM_OF_A_KIND: usize = 2_000;
/// Elements in all that it must be able to take. Source: as before.
pub const MAXIMUM_ELEMENTS: usize = 20_000;

/// Several sets as one.
#[derive(Debug)]
pub struct Merged {
    /// `TASKDATA/TASKDATA.XML` and the grids.
    pub files: Vec<Payload>,
    /// Ids of the tasks of each set, in the order given.
    pub tasks: Vec<Vec<String>>,
    /// How many elements of each kind it holds, points of outlines left out.
    pub elements: BTreeMap<String, usize>,
}

/// Makes several sets one.
///
/// Customers, farms, fields, crops, products and units that are equal in all that they say stand once. Tasks stay apart, each with its grid under a new name.
/// Values, units and positions are the texts of the sets; zone codes belong to their task and stay.
///
/// # Errors
/// [`TaskSetError`]: a set that haulm's office did not make, of another version than the first, damaged, without a task, or with a grid whose file is missing or of
/// another length than the set says; the number is that of the set.
pub fn merged(sets: &[TaskSet]) -> Result<Merged, (usize, TaskSetError)> {
    let mut trees = Vec::new();
    for (place, set) in sets.iter().enumerate() {
        trees.push(tree(&set.main).map_err(|error| (place, error))?);
    }
    let version = same_version(&trees)?;
    let mut numbers = Numbers::default();
    for (place, (set, tree)) in sets.iter().zip(&trees).enumerate() {
        numbers
            .add(place, set, tree)
            .map_err(|error| (place, error))?;
    }
    let last = sets.len().saturating_sub(1);
    numbers.files(sets, &version).map_err(|error| (last, error))
}

/// The version that all sets have, each of haulm's office.
fn same_version(trees: &[Document<'_>]) -> Result<(String, String), (usize, TaskSetError)> {
    let mut first: Option<(String, String)> = None;
    for (place, tree) in trees.iter().enumerate() {
        let root = tree.root_element();
        let text = |name: &str| root.attribute(name).unwrap_or_default().to_owned();
        let (maker, origin) = (
            text("ManagementSoftwareManufacturer"),
            text("DataTransferOrigin"),
        );
        if maker != "haulm" || origin != "1" {
            return Err((place, TaskSetError::Origin { maker, origin }));
        }
        let own = (text("VersionMajor"), text("VersionMinor"));
        match &first {
            None => first = Some(own),
            Some(first) if *first != own => {
                let error = TaskSetError::Versions {
                    first: format!("{}.{}", first.0, first.1),
                    other: format!("{}.{}", own.0, own.1),
                };
                return Err((place, error));
            }
            Some(_) => {}
        }
    }
    first.ok_or((0, TaskSetError::NoTask))
}

/// What stands in the new file, and under which ids.
#[derive(Default)]
struct Numbers<'a, 'i> {
    /// Elements by kind: set and node.
    elements: BTreeMap<&'static str, Vec<(usize, Node<'a, 'i>)>>,
    /// New id by kind and by what the element says.
    spelled: BTreeMap<(&'static str, String), String>,
    /// New id by set and old id.
    ids: BTreeMap<(usize, &'a str), String>,
    /// Grid files: set, old name, new name, without ending.
    grids: Vec<(usize, String, String)>,
    tasks: Vec<Vec<String>>,
}

impl<'a, 'i: 'a> Numbers<'a, 'i> {
    fn add(
        &mut self,
        place: usize,
        set: &TaskSet,
        tree: &'a Document<'i>,
    ) -> Result<(), TaskSetError> {
        let facts = tasks_of(set)?;
        if facts.is_empty() {
            return Err(TaskSetError::NoTask);
        }
        let root = tree.root_element();
        let ids = Ids::of(root)?;
        for node in root.children().filter(Node::is_element) {
            let element = node.tag_name().name();
            if !KINDS.contains(&element) {
                return Err(TaskSetError::Element {
                    element: element.to_owned(),
                });
            }
        }
        let mut tasks = Vec::new();
        for kind in KINDS {
            for node in root
                .children()
                .filter(|node| node.tag_name().name() == kind)
            {
                let old = node.attribute("A").unwrap_or_default();
                let same = if kind == "TSK" {
                    None
                } else {
                    Some((kind, ids.spelled(node)?))
                };
                let known = same.as_ref().and_then(|same| self.spelled.get(same));
                let new = if let Some(id) = known {
                    id.clone()
                } else {
                    let all = self.elements.entry(kind).or_default();
                    all.push((place, node));
                    format!("{kind}{}", all.len())
                };
                if let Some(same) = same {
                    self.spelled.insert(same, new.clone());
                }
                if kind == "TSK" {
                    tasks.push(new.clone());
                }
                self.ids.insert((place, old), new);
            }
        }
        self.tasks.push(tasks);
        for task in facts {
            let Some(grid) = task.grid else { continue };
            let found = set.files.get(&grid.file).map(Vec::len);
            if found != Some(grid.bytes()) {
                let reason = match found {
                    None => format!("its file {} is not there", grid.file),
                    Some(found) => format!(
                        "{} holds {found} bytes, {} are due for {} rows and {} columns",
                        grid.file,
                        grid.bytes(),
                        grid.rows,
                        grid.cols
                    ),
                };
                return Err(TaskSetError::Grid {
                    task: task.id,
                    reason,
                });
            }
            let new = format!("GRD{:05}", self.grids.len());
            let old = grid.file.trim_end_matches(".bin").to_owned();
            self.grids.push((place, old, new));
        }
        Ok(())
    }

    fn files(self, sets: &[TaskSet], version: &(String, String)) -> Result<Merged, TaskSetError> {
        let mut xml = Writer::new_with_indent(Vec::new(), b' ', 1);
        xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        let root = "ISO11783_TaskData";
        xml.write_event(Event::Start(BytesStart::new(root).with_attributes([
            ("VersionMajor", version.0.as_str()),
            ("VersionMinor", version.1.as_str()),
            ("ManagementSoftwareManufacturer", "haulm"),
            ("ManagementSoftwareVersion", env!("CARGO_PKG_VERSION")),
            ("DataTransferOrigin", "1"),
        ])))?;
        let mut elements = BTreeMap::new();
        for kind in KINDS {
            for (place, node) in self.elements.get(kind).into_iter().flatten() {
                self.element(&mut xml, *place, *node)?;
                for below in node.descendants().filter(Node::is_element) {
                    let name = below.tag_name().name();
                    if name != "PNT" {
                        *elements.entry(name.to_owned()).or_insert(0) += 1;
                    }
                }
            }
        }
        xml.write_event(Event::End(BytesEnd::new(root)))?;
        let mut main = xml.into_inner();
        main.push(b'\n');
        let mut files = vec![Payload::new("TASKDATA/TASKDATA.XML", main)];
        for (place, old, new) in &self.grids {
            let bytes = sets
                .get(*place)
                .and_then(|set| set.files.get(&format!("{old}.bin")))
                .cloned()
                .unwrap_or_default();
            files.push(Payload::new(format!("TASKDATA/{new}.bin"), bytes));
        }
        Ok(Merged {
            files,
            tasks: self.tasks,
            elements,
        })
    }

    fn element(
        &self,
        xml: &mut Writer<Vec<u8>>,
        place: usize,
        node: Node<'_, '_>,
    ) -> Result<(), TaskSetError> {
        let element = node.tag_name().name();
        let mut start = BytesStart::new(element);
        for attribute in node.attributes() {
            let (name, value) = (attribute.name(), attribute.value());
            let reference =
                requirement(element, name).is_some() || (name == "A" && has_id(element));
            let new = if reference {
                self.ids.get(&(place, value)).map(String::as_str)
            } else if element == "GRD" && name == "G" {
                self.grids
                    .iter()
                    .find(|(of, old, _)| *of == place && old == value)
                    .map(|(_, _, new)| new.as_str())
            } else {
                Some(value)
            };
            let new = new.ok_or_else(|| TaskSetError::Dangling {
                element: element.to_owned(),
                target: value.to_owned(),
            })?;
            start.push_attribute((name, new));
        }
        let below: Vec<_> = node.children().filter(Node::is_element).collect();
        if below.is_empty() {
            xml.write_event(Event::Empty(start))?;
            return Ok(());
        }
        xml.write_event(Event::Start(start))?;
        for child in below {
            self.element(xml, place, child)?;
        }
        xml.write_event(Event::End(BytesEnd::new(element)))?;
        Ok(())
    }
}
