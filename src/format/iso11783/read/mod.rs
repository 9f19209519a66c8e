//! ISO 11783-10 task data: the set of files, the task, and what it says of field, zones and grid.
//!
//! # Source
//! Public XML schemas of task data 2.1, 3.3 and 4.3; ISO 11783-10:2015 as retold in an unofficial study summary. What terminals stumble over: common practice.

mod external;
mod grid;
pub(in crate::format) mod ids;
mod repair;
mod repair_grid;
mod zones;

use std::collections::BTreeMap;
use std::path::Path;

use geo::{Coord, LineString, MultiPolygon, Polygon};
use roxmltree::Node;

use crate::finding::codes;
use crate::format::iso11783::read::zones::Zones;
use crate::format::maps::unpack::{unzipped, xml_text, xml_tree};
use crate::format::maps::{MAXIMUM_BYTES, MapError, MapSet, bytes_of};
use crate::map::faults::fault::Fault;
use crate::map::imported::{
    ImportedMap, MapKind, Part, Patch, Place, Rate, Ring, RingRole, System, TaskForm,
};
use crate::space::crs::Crs;

pub use repair::{TaskRepair, repair_task};

/// Name of the main file, by the standard in capitals.
pub(super) const MAIN: &str = "TASKDATA.XML";
/// Folder that it stands in.
pub(super) const FOLDER: &str = "TASKDATA";

/// The files of a set by name, in the folder of the main file.
pub(super) struct Set {
    pub(super) files: BTreeMap<String, Vec<u8>>,
}

impl Set {
    /// A file by its exact name, else by its name in another letter case; the flag says which.
    pub(super) fn file(&self, name: &str) -> Option<(&[u8], bool, &str)> {
        if let Some((key, bytes)) = self.files.get_key_value(name) {
            return Some((bytes, true, key));
        }
        self.files
            .iter()
            .find(|(key, _)| key.eq_ignore_ascii_case(name))
            .map(|(key, bytes)| (bytes.as_slice(), false, key.as_str()))
    }
}

fn is_main(name: &str) -> bool {
    name.eq_ignore_ascii_case(MAIN)
}

/// A set of files as it lies there.
pub(super) struct Loaded {
    /// The main file.
    pub(super) main: Vec<u8>,
    /// Its name.
    pub(super) name: String,
    /// Name of the folder that it stands in.
    pub(super) folder: String,
    /// The files beside it.
    pub(super) set: Set,
}

/// Reads one task of a folder that holds the set (or the folder TASKDATA), of its main file, or of a zip of it.
pub(super) fn read(path: &Path, requirement: Option<&str>) -> Result<ImportedMap, MapError> {
    read_set(path, &load(path)?, requirement)
}

/// Reads every task with a map; where none has one, the first.
pub(super) fn read_all(path: &Path) -> Result<MapSet, MapError> {
    read_tasks(path, &load(path)?, |root| {
        let with_map: Vec<_> = children(root, "TSK").filter(has_map).collect();
        Ok(if with_map.len() > 1 {
            with_map
        } else {
            chosen(root).into_iter().collect()
        })
    })
}

/// Loads a set without looking into it.
pub(super) fn load(path: &Path) -> Result<Loaded, MapError> {
    if path.is_dir() {
        return load_file(&main_file(path)?);
    }
    if path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("zip"))
    {
        load_zip(path)
    } else {
        load_file(path)
    }
}

/// The main file of a folder.
fn main_file(path: &Path) -> Result<std::path::PathBuf, MapError> {
    let list = |folder: &Path| -> Result<Vec<std::path::PathBuf>, MapError> {
        let unreadable = |error: std::io::Error| MapError::Unreadable {
            path: folder.to_owned(),
            reason: error.to_string(),
        };
        let mut found: Vec<_> = fs_err::read_dir(folder)
            .map_err(unreadable)?
            .filter_map(|entry| entry.ok().map(|entry| entry.path()))
            .collect();
        found.sort();
        Ok(found)
    };
    let name = |path: &Path| {
        path.file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default()
    };
    let here = list(path)?;
    let main = match here.iter().find(|file| is_main(&name(file))) {
        Some(main) => Some(main.clone()),
        None => here
            .iter()
            .filter(|below| name(below).eq_ignore_ascii_case(FOLDER) && below.is_dir())
            .find_map(|below| {
                list(below)
                    .ok()?
                    .into_iter()
                    .find(|file| is_main(&name(file)))
            }),
    };
    main.ok_or_else(|| MapError::Unreadable {
        path: path.to_owned(),
        reason: format!("the folder holds no {MAIN}, nor a folder {FOLDER} with one"),
    })
}

/// The main file and, of those beside it, grids and external files.
fn load_file(path: &Path) -> Result<Loaded, MapError> {
    let name = |path: &Path| {
        path.file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default()
    };
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or_else(|| Path::new("."));
    let mut files = BTreeMap::new();
    let beside: Vec<_> = fs_err::read_dir(folder)
        .map(|entries| {
            entries
                .filter_map(|entry| entry.ok().map(|e| e.path()))
                .collect()
        })
        .unwrap_or_default();
    for file in beside {
        let small =
            fs_err::metadata(&file).is_ok_and(|data| data.is_file() && data.len() <= MAXIMUM_BYTES);
        // A link could lead out of the folder; no stick can hold one.
        let external = || {
            external::is_file(&name(&file))
                && fs_err::symlink_metadata(&file).is_ok_and(|data| data.is_file())
        };
        if small
            && (file
                .extension()
                .is_some_and(|ending| ending.eq_ignore_ascii_case("bin"))
                || external())
        {
            files.insert(name(&file), bytes_of(&file)?);
        }
    }
    let main = bytes_of(path)?;
    let whole = fs_err::canonicalize(folder).unwrap_or_else(|_| folder.to_owned());
    Ok(Loaded {
        main,
        name: name(path),
        folder: name(&whole),
        set: Set { files },
    })
}

/// Whether a file holds what a machine logged: of a season it is more than all the rest, and none of it is read here.
fn is_log(name: &str) -> bool {
    let ends = Path::new(name)
        .extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("bin"));
    ends && name.to_ascii_uppercase().starts_with("TLG")
}

/// A zipped set.
fn load_zip(path: &Path) -> Result<Loaded, MapError> {
    let mut files = unzipped(path, &bytes_of(path)?, |name| !is_log(name))?;
    let last = |name: &str| name.rsplit('/').next().unwrap_or_default().to_owned();
    let main = files.keys().find(|name| is_main(&last(name))).cloned();
    let main = main.ok_or_else(|| MapError::Unreadable {
        path: path.to_owned(),
        reason: format!("the archive holds no {MAIN}"),
    })?;
    let folder = main
        .strip_suffix(&last(&main))
        .unwrap_or_default()
        .to_owned();
    let bytes = files.remove(&main).unwrap_or_default();
    let beside = files
        .into_iter()
        .filter_map(|(name, bytes)| Some((name.strip_prefix(&folder)?.to_owned(), bytes)))
        .collect();
    Ok(Loaded {
        main: bytes,
        name: last(&main),
        folder: last(folder.trim_end_matches('/')),
        set: Set { files: beside },
    })
}

/// Whether a task says where which rate is due.
fn has_map(task: &Node<'_, '_>) -> bool {
    children(*task, "GRD").next().is_some()
        || children(*task, "TZN").any(|zone| children(zone, "PLN").next().is_some())
}

/// The task with a map, if any has one, else the first.
pub(super) fn chosen<'a, 'd: 'a>(root: Node<'a, 'd>) -> Option<Node<'a, 'd>> {
    let tasks: Vec<_> = children(root, "TSK").collect();
    tasks
        .iter()
        .find(|task| has_map(task))
        .or_else(|| tasks.first())
        .copied()
}

/// The task of this id or name, else [`chosen`].
pub(super) fn task_of<'a, 'd: 'a>(
    path: &Path,
    root: Node<'a, 'd>,
    requirement: Option<&str>,
) -> Result<Option<Node<'a, 'd>>, MapError> {
    let Some(requirement) = requirement else {
        return Ok(chosen(root));
    };
    let is_it = |task: &Node<'_, '_>| {
        id(*task).eq_ignore_ascii_case(requirement) || task.attribute("B") == Some(requirement)
    };
    let found: Vec<_> = children(root, "TSK").filter(is_it).collect();
    if let [task] = found.as_slice() {
        return Ok(Some(*task));
    }
    let notice = |task: Node<'_, '_>| match task.attribute("B") {
        Some(name) => format!("{} ({name})", id(task)),
        None => id(task).to_owned(),
    };
    Err(MapError::Task {
        path: path.to_owned(),
        requirement: requirement.to_owned(),
        count: found.len(),
        tasks: children(root, "TSK").map(notice).collect(),
    })
}

/// Reads one task of a loaded set.
pub(super) fn read_set(
    path: &Path,
    loaded: &Loaded,
    requirement: Option<&str>,
) -> Result<ImportedMap, MapError> {
    let MapSet { oddities, maps } = read_tasks(path, loaded, |root| {
        Ok(task_of(path, root, requirement)?.into_iter().collect())
    })?;
    let mut map = maps.into_iter().next().unwrap_or_else(nothing_known);
    map.oddities.splice(0..0, oddities);
    Ok(map)
}

/// A set of which nothing is known but its system.
fn nothing_known() -> ImportedMap {
    let mut map = ImportedMap::empty("task data", MapKind::TaskData(TaskForm::Flat));
    map.system = System::Known(Crs::wgs84());
    map
}

/// Reads some tasks of a loaded set; what is odd about the set as a whole stands beside them.
fn read_tasks<F>(path: &Path, loaded: &Loaded, choose: F) -> Result<MapSet, MapError>
where
    F: for<'a, 'd> Fn(Node<'a, 'd>) -> Result<Vec<Node<'a, 'd>>, MapError>,
{
    let Loaded {
        main,
        name,
        folder,
        set,
    } = loaded;
    let (text, marked) = xml_text(path, main)?;
    let mut oddities = Vec::new();
    let whole = external::whole(path, text, set, &mut oddities)?;
    let tree = xml_tree(path, &whole)?;
    let root = tree.root_element();
    if root.tag_name().name() != "ISO11783_TaskData" {
        let reason = format!(
            "its root is {:?}, not ISO11783_TaskData",
            root.tag_name().name()
        );
        return Err(MapError::Unreadable {
            path: path.to_owned(),
            reason,
        });
    }
    if name != MAIN || folder != FOLDER {
        let message = format!(
            "it stands as {folder}/{name}; terminals look for {FOLDER}/{MAIN}, capitals and all"
        );
        oddities.push(Fault::caution(
            codes::TASK_FILE_NAME,
            Place::named(name),
            message,
        ));
    }
    if marked || !text.trim_start().starts_with("<?xml") {
        oddities.push(Fault::caution(
            codes::TASK_DECLARATION,
            Place::named(name),
            "the file must begin with <?xml version=\"1.0\" encoding=\"UTF-8\"?> and nothing before it",
        ));
    }
    // What the set as a whole says holds for each of its tasks.
    let mut of_set = nothing_known();
    let version = ids::check(root, &mut of_set);
    oddities.append(&mut of_set.oddities);
    let chosen = choose(root)?;
    let tasks = children(root, "TSK").count();
    if chosen.is_empty() {
        oddities.push(Fault::stop(
            codes::TASK_NONE,
            Place::named(name),
            "the file holds no task (TSK), so no rates",
        ));
    } else if tasks > chosen.len() {
        let about = if let [task] = chosen.as_slice() {
            id(*task).to_owned()
        } else {
            format!("{} of them, the others have no map", chosen.len())
        };
        oddities.push(Fault::note(
            codes::TASK_SEVERAL,
            Place::named(name),
            format!("the file holds {tasks} tasks; this is about {about}"),
        ));
    }
    let maps = chosen
        .into_iter()
        .map(|task| read_task(root, task, version, set, of_set.clone()))
        .collect();
    Ok(MapSet { oddities, maps })
}

/// Reads a task into a map that knows what the whole set says.
fn read_task(
    root: Node<'_, '_>,
    task: Node<'_, '_>,
    version: u32,
    set: &Set,
    mut map: ImportedMap,
) -> ImportedMap {
    task.attribute("B")
        .unwrap_or(id(task))
        .clone_into(&mut map.name);
    map.part = Some(id(task).to_owned());
    field(root, task, &mut map);
    let zones = zones::read(root, task, &mut map);
    let grids: Vec<_> = children(task, "GRD").collect();
    if let Some(&grid) = grids.first() {
        if grids.len() > 1 {
            map.oddities.push(Fault::stop(
                codes::TASK_GRIDS,
                Place::named(id(task)),
                format!("the task has {} grids; one is the rule", grids.len()),
            ));
        }
        grid::read(grid, &zones, set, &mut map);
    }
    polygons(task, &zones, version, &mut map);
    zones::fallbacks(task, &zones, &mut map);
    map
}

/// Children of a name.
pub(super) fn children<'a, 'd: 'a>(
    node: Node<'a, 'd>,
    name: &'static str,
) -> impl Iterator<Item = Node<'a, 'd>> {
    node.children()
        .filter(move |child| child.is_element() && child.tag_name().name() == name)
}

/// What an element calls itself: `TSK1`, else its name.
pub(super) fn id<'a>(node: Node<'a, '_>) -> &'a str {
    node.attribute("A")
        .filter(|_| node.tag_name().name() != "PDV" && node.tag_name().name() != "PLN")
        .unwrap_or("element")
}

/// The task's field, its boundary, and what of it is missing.
fn field(root: Node<'_, '_>, task: Node<'_, '_>, map: &mut ImportedMap) {
    let place = Place::named(id(task));
    match task.attribute("G") {
        Some("1") => {}
        other => {
            let message = format!(
                "the task's status (G) is {}; a plan has status 1, others count as begun or done",
                other.unwrap_or("missing")
            );
            map.oddities
                .push(Fault::caution(codes::TASK_STATUS, place.clone(), message));
        }
    }
    for (attribute, what) in [("C", "customer"), ("D", "farm")] {
        if task.attribute(attribute).is_none() {
            let message = format!(
                "the task names no {what} ({attribute}); some terminals list tasks only below one"
            );
            map.oddities
                .push(Fault::caution(codes::TASK_OWNER, place.clone(), message));
        }
    }
    if children(task, "DLT").next().is_none() {
        map.oddities.push(Fault::note(
            codes::TASK_NO_LOG,
            place.clone(),
            "the task asks for no log (DLT), so the machine may write none",
        ));
    }
    let field = task.attribute("E").and_then(|requirement| {
        children(root, "PFD").find(|field| field.attribute("A") == Some(requirement))
    });
    let Some(field) = field else {
        map.oddities.push(Fault::caution(
            codes::TASK_FIELD,
            place,
            "the task names no field (E), so the terminal knows no boundary",
        ));
        return;
    };
    if let Some(name) = field.attribute("C") {
        map.stated.push(("field".to_owned(), name.to_owned()));
    }
    let mut polygons = Vec::new();
    for border in children(field, "PLN").filter(|border| border.attribute("A") == Some("1")) {
        let rings = rings(border, &Place::named(id(field)), 3, map);
        for part in parts(rings) {
            polygons.extend(part.polygon());
        }
    }
    map.boundary = (!polygons.is_empty()).then(|| MultiPolygon::new(polygons));
}

/// Rings of a PLN with their kind: 1 exterior, 2 hole. North stands before east.
fn rings(polygon: Node<'_, '_>, place: &Place, version: u32, map: &mut ImportedMap) -> Vec<Ring> {
    let mut rings = Vec::new();
    for line in children(polygon, "LSG") {
        let role = match line.attribute("A") {
            Some("1") => RingRole::Outer,
            Some("2") => RingRole::Inner,
            _ => continue,
        };
        let all: Vec<_> = children(line, "PNT").collect();
        let number = |text: Option<&str>| {
            text.and_then(|text| text.trim().parse::<f64>().ok())
                .filter(|value| value.is_finite())
        };
        let mut points: Vec<Coord<f64>> = all
            .iter()
            .filter_map(|point| {
                Some(Coord {
                    x: number(point.attribute("D"))?,
                    y: number(point.attribute("C"))?,
                })
            })
            .collect();
        if points.len() < all.len() {
            let message = format!(
                "{} points (PNT) have no north (C) and east (D) that are numbers",
                all.len() - points.len()
            );
            map.oddities
                .push(Fault::stop(codes::POINT_NOT_FINITE, place.clone(), message));
        }
        // Before version 4 a ring need not repeat its first point.
        if version < 4 && points.first() != points.last() {
            points.extend(points.first().copied());
        }
        rings.push(Ring { role, points });
    }
    rings
}

/// Exteriors, each with the holes that lie in it; a hole in none stays with the first.
fn parts(rings: Vec<Ring>) -> Vec<Part> {
    use geo::Contains as _;
    let (outer, inner): (Vec<Ring>, Vec<Ring>) = rings
        .into_iter()
        .partition(|ring| ring.role == RingRole::Outer);
    let shells: Vec<Polygon<f64>> = outer
        .iter()
        .map(|ring| Polygon::new(LineString::new(ring.points.clone()), Vec::new()))
        .collect();
    let mut parts: Vec<Part> = outer
        .into_iter()
        .map(|ring| Part { rings: vec![ring] })
        .collect();
    for hole in inner {
        let inside = |shell: &Polygon<f64>| {
            hole.points
                .iter()
                .filter(|c| shell.contains(&geo::Point(**c)))
                .count()
                * 2
                > hole.points.len()
        };
        let at = shells.iter().position(inside).unwrap_or(0);
        match parts.get_mut(at) {
            Some(part) => part.rings.push(hole),
            None => parts.push(Part { rings: vec![hole] }),
        }
    }
    parts
}

/// Treatment zones that are polygons.
fn polygons(task: Node<'_, '_>, zones: &Zones, version: u32, map: &mut ImportedMap) {
    let mut number = 0;
    for zone in children(task, "TZN") {
        let code = zone.attribute("A").unwrap_or("none");
        let lines: Vec<_> = children(zone, "PLN").collect();
        if version < 4 && lines.len() > 1 {
            let message = format!(
                "the zone has {} polygons; before version 4 it may have one",
                lines.len()
            );
            map.oddities.push(Fault::caution(
                codes::TASK_ZONE_POLYGONS,
                Place::named(format!("TZN {code}")),
                message,
            ));
        }
        for line in lines {
            number += 1;
            let place = Place::at("polygon", number).with_name(format!("TZN {code}"));
            let rings = rings(line, &place, version, map);
            let exteriors = rings
                .iter()
                .filter(|ring| ring.role == RingRole::Outer)
                .count();
            if version >= 4 && exteriors != 1 {
                let message = format!(
                    "the polygon has {exteriors} exteriors; from version 4 on it has exactly one"
                );
                map.oddities
                    .push(Fault::stop(codes::TASK_EXTERIORS, place.clone(), message));
            }
            let rate = code
                .parse::<u16>()
                .ok()
                .and_then(|code| zones.rate(code))
                .map_or(Rate::Missing, Rate::Number);
            map.patches.push(Patch {
                place,
                parts: parts(rings),
                rate,
                attributes: vec![(
                    "zone".to_owned(),
                    crate::map::imported::Attribute::Text(code.to_owned()),
                )],
            });
        }
    }
    if number > 0 && map.lattice.is_none() {
        map.kind = MapKind::TaskData(TaskForm::Polygons);
        map.oddities.push(Fault::note(
            codes::TASK_POLYGONS,
            Place::named(id(task)),
            "rates stand as polygons, which a controller need not take; a grid is what each of them must take",
        ));
    } else if number > 0 {
        map.oddities.push(Fault::stop(
            codes::TASK_BOTH,
            Place::named(id(task)),
            "the task holds a grid and polygons of zones: which counts is not said",
        ));
        map.patches.clear();
    }
}
