use std::collections::BTreeMap;

use super::{GridFacts, GridFault, TaskSet, TaskSetError, compare, merged, tasks_of};

/// One task with a grid of two rows and three columns, as the office writes it.
fn set(field: &str, map_id: &str, client: &str, values: [i32; 6]) -> TaskSet {
    let main = format!(
        r#"<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="3" VersionMinor="3" ManagementSoftwareManufacturer="haulm" ManagementSoftwareVersion="0" DataTransferOrigin="1">
 <CTP A="CTP1" B="winter wheat"/>
 <CTR A="CTR1" B="{client}"/>
 <FRM A="FRM1" B="Home &amp; Hill" I="CTR1"/>
 <PFD A="PFD1" C="{field}" D="100" E="CTR1" F="FRM1" G="CTP1"><PLN A="1" C="100"><LSG A="1"><PNT A="2" C="50.1" D="15.8"/></LSG></PLN></PFD>
 <VPN A="VPN1" B="0" C="0.0001" D="2" E="L/ha"/>
 <PDT A="PDT1" B="UAN 28" D="VPN1" E="0048"/>
 <TSK A="TSK1" B="{field} {map_id}" C="CTR1" D="FRM1" E="PFD1" G="1" H="1" I="1" J="1">
  <TZN A="1" B="Grid"><PDV A="0001" B="0" C="PDT1" E="VPN1"/></TZN>
  <GRD A="50.1" B="15.8" C="0.0001" D="0.0001" E="3" F="2" G="GRD00000" H="24" I="2" J="1"/>
  <DLT A="DFFF" B="31"/>
 </TSK>
</ISO11783_TaskData>
"#
    );
    let bytes = values
        .iter()
        .flat_map(|value| value.to_le_bytes())
        .collect();
    TaskSet {
        main: main.into_bytes(),
        files: BTreeMap::from([("GRD00000.bin".to_owned(), bytes)]),
    }
}

fn sets() -> [TaskSet; 3] {
    [
        set("Long Ley", "aaaaaa", "Grower", [1, 2, 3, 4, 5, 6]),
        set("Große Wiese", "bbbbbb", "Other", [7, 8, 9, 10, 11, 12]),
        set("Mill Piece", "cccccc", "Grower", [13; 6]),
    ]
}

/// A merged set as it would lie in its folder.
fn as_set(files: &[crate::format::payload::Payload]) -> TaskSet {
    let mut set = TaskSet::default();
    for file in files {
        let name = file.path.strip_prefix("TASKDATA/").unwrap();
        if name == "TASKDATA.XML" {
            set.main.clone_from(&file.bytes);
        } else {
            set.files.insert(name.to_owned(), file.bytes.clone());
        }
    }
    set
}

#[test]
fn three_sets_become_one_and_nothing_changes_but_ids() {
    let sets = sets();
    let merged = merged(&sets).unwrap();
    assert_eq!(merged.tasks, [["TSK1"], ["TSK2"], ["TSK3"]]);
    let text = std::str::from_utf8(&merged.files[0].bytes).unwrap();
    // Two customers, and a farm of each; crop, product and unit once; a field and a task a set.
    for (start, count) in [
        ("<CTR ", 2),
        ("<FRM ", 2),
        ("<CTP ", 1),
        ("<VPN ", 1),
        ("<PDT ", 1),
        ("<PFD ", 3),
        ("<TSK ", 3),
        ("<GRD ", 3),
    ] {
        assert_eq!(text.matches(start).count(), count, "{start}: {text}");
    }
    assert!(
        text.contains("Home &amp; Hill") && text.contains("Große Wiese"),
        "{text}"
    );
    let whole = as_set(&merged.files);
    let tasks = tasks_of(&whole).unwrap();
    for (own, task) in sets.iter().zip(&tasks) {
        let due = tasks_of(own).unwrap().remove(0);
        assert_eq!(task.parts, due.parts);
        let (grid, own_grid) = (task.grid.as_ref().unwrap(), due.grid.as_ref().unwrap());
        assert_eq!(whole.files[&grid.file], own.files[&own_grid.file]);
    }
    assert_eq!(tasks[2].client, "Grower");
    // Points of outlines are not counted.
    assert!(!merged.elements.contains_key("PNT"));
    assert_eq!(merged.elements["TZN"], 3);
}

#[test]
fn the_same_field_of_two_maps_stands_once() {
    let two = [
        set("Long Ley", "aaaaaa", "Grower", [1; 6]),
        set("Long Ley", "bbbbbb", "Grower", [2; 6]),
    ];
    let merged = merged(&two).unwrap();
    let text = std::str::from_utf8(&merged.files[0].bytes).unwrap();
    assert_eq!(text.matches("<PFD ").count(), 1, "{text}");
    assert_eq!(text.matches("E=\"PFD1\"").count(), 2, "{text}");
}

#[test]
fn sets_that_do_not_fit_are_refused_with_their_place() {
    type Case = (&'static str, &'static str, fn(&TaskSetError) -> bool);
    let cases: [Case; 6] = [
        ("VersionMajor=\"3\"", "VersionMajor=\"4\"", |error| {
            matches!(error, TaskSetError::Versions { .. })
        }),
        (
            "Manufacturer=\"haulm\"",
            "Manufacturer=\"other\"",
            |error| matches!(error, TaskSetError::Origin { .. }),
        ),
        ("Origin=\"1\"", "Origin=\"2\"", |error| {
            matches!(error, TaskSetError::Origin { .. })
        }),
        ("E=\"PFD1\"", "E=\"PFD9\"", |error| {
            matches!(error, TaskSetError::Dangling { .. })
        }),
        (" <CTP ", " <DVC A=\"DVC1\"/> <CTP ", |error| {
            matches!(error, TaskSetError::Element { .. })
        }),
        ("F=\"2\"", "F=\"3\"", |error| {
            matches!(error, TaskSetError::Grid { .. })
        }),
    ];
    for (old, new, is) in cases {
        let mut sets = sets();
        let text = String::from_utf8(sets[1].main.clone()).unwrap();
        assert!(text.contains(old), "{old}");
        sets[1].main = text.replacen(old, new, 1).into_bytes();
        let (place, error) = merged(&sets).unwrap_err();
        assert_eq!(place, 1, "{old}: {error}");
        assert!(is(&error), "{old}: {error:?}");
    }
    // A field that lies in itself, and entities, end nobody's program.
    let mut round = sets();
    let text = String::from_utf8(round[0].main.clone()).unwrap();
    round[0].main = text
        .replacen("G=\"CTP1\"", "G=\"CTP1\" I=\"PFD1\"", 1)
        .into_bytes();
    assert!(matches!(merged(&round), Err((0, TaskSetError::Circle))));
    round[0].main = b"<!DOCTYPE a [<!ENTITY b \"c\">]><ISO11783_TaskData/>".to_vec();
    assert!(matches!(
        merged(&round),
        Err((0, TaskSetError::Unreadable { .. }))
    ));
}

#[test]
fn a_grid_that_was_turned_or_cut_is_named_so() {
    let grid = GridFacts {
        file: "GRD00000.bin".to_owned(),
        rows: 2,
        cols: 3,
        bytes_a_cell: 4,
        scale: 0.5,
        unit: "L/ha".to_owned(),
    };
    let bytes = |values: [i32; 6]| -> Vec<u8> {
        values
            .iter()
            .flat_map(|value| value.to_le_bytes())
            .collect()
    };
    let due = bytes([1, 2, 3, 4, 5, 6]);
    assert_eq!(compare(&grid, &due, &due), None);
    for (values, fault) in [
        ([3, 2, 1, 6, 5, 4], GridFault::EastWest),
        ([4, 5, 6, 1, 2, 3], GridFault::NorthSouth),
        ([6, 5, 4, 3, 2, 1], GridFault::HalfTurn),
        ([1, 4, 2, 5, 3, 6], GridFault::Transposed),
    ] {
        assert_eq!(compare(&grid, &due, &bytes(values)), Some(fault));
    }
    let turned: Vec<u8> = due
        .chunks(4)
        .flat_map(|cell| cell.iter().rev().copied())
        .collect();
    assert_eq!(compare(&grid, &due, &turned), Some(GridFault::ByteOrder));
    let cut = compare(&grid, &due, &due[..20]).unwrap().to_string();
    assert_eq!(cut, "the grid is cut: 20 of 24 bytes, 4 bytes are missing");
    let fine = GridFacts {
        scale: 0.0001,
        ..grid.clone()
    };
    let little = compare(&fine, &due, &bytes([1, 2, 3, 4, 9, 6]))
        .unwrap()
        .to_string();
    assert!(
        little.ends_with("0.000900 L/ha, 0.000500 L/ha is due"),
        "{little}"
    );
    let cell = compare(&grid, &due, &bytes([1, 2, 3, 4, 9, 6]))
        .unwrap()
        .to_string();
    assert_eq!(
        cell,
        "1 of 6 cells differ, the first in row 2 from the south, column 2 from the west: 4.50 L/ha, 2.50 L/ha is due"
    );
}
