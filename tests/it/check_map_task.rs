//! Task data in more than one file, and what of task data is mended.

use std::path::{Path, PathBuf};

use haulm::app::api::{CheckMapRequest, check_map};
use serde_json::Value;

use crate::check_map::{Bench, at, faults};
use crate::check_map_files::{SIDE, Task, of, zipped};

const OWNERS: &str = r#"<CTR A="CTR1" B="Ambermere"/><FRM A="FRM1" B="Ambermere Farm" I="CTR1"/>"#;
const CUSTOMER: &str =
    r#"<?xml version="1.0" encoding="UTF-8"?><XFC><CTR A="CTR1" B="Ambermere"/></XFC>"#;
const FARM: &str = r#"<?xml version="1.0" encoding="UTF-8"?><XFC><FRM A="FRM1" B="Ambermere Farm" I="CTR1"/></XFC>"#;
const REFERENCES: &str = r#"<XFR A="CTR00000" B="1"/><XFR A="FRM00000" B="1"/>"#;

fn codes(faults: &[Value]) -> Vec<String> {
    faults
        .iter()
        .map(|fault| {
            format!(
                "{} {}",
                fault["severity"].as_str().unwrap(),
                fault["code"].as_str().unwrap()
            )
        })
        .collect()
}

#[test]
fn external_files_are_read_by_plain_names_alone() {
    let bench = Bench::new();
    let mut task = Task::new();
    task.put(OWNERS, REFERENCES);
    task.write(&bench);
    bench.put("TASKDATA/CTR00000.XML", CUSTOMER.as_bytes());
    bench.put("TASKDATA/FRM00000.XML", FARM.as_bytes());
    assert_eq!(
        codes(&faults(&of(bench.path("TASKDATA")))),
        ["note task.external"]
    );
    // The same in an archive, and the whole task in a file of its own.
    let archive = zipped(&[
        ("TASKDATA/TASKDATA.XML", task.xml.as_bytes()),
        ("TASKDATA/GRD00000.bin", &task.grid),
        ("TASKDATA/CTR00000.XML", CUSTOMER.as_bytes()),
        ("TASKDATA/FRM00000.XML", FARM.as_bytes()),
    ]);
    assert_eq!(
        codes(&faults(&of(bench.put("map.zip", &archive)))),
        ["note task.external"]
    );
    let (from, to) = (
        task.xml.find("<TSK").unwrap(),
        task.xml.find("</TSK>").unwrap() + 6,
    );
    let own = format!("<XFC>{}</XFC>", &task.xml[from..to]);
    task.xml
        .replace_range(from..to, r#"<XFR A="TSK00012" B="1"/>"#);
    task.write(&bench);
    bench.put("TASKDATA/TSK00012.XML", own.as_bytes());
    let report = check_map(&of(bench.path("TASKDATA"))).unwrap();
    assert_eq!(
        codes(report.json["faults"].as_array().unwrap()),
        ["note task.external"]
    );
    assert!(
        (report.json["map"]["total"].as_f64().unwrap() - 525.0).abs() < 10.0,
        "{}",
        report.json["map"]
    );
}

#[test]
fn nasty_references_are_told_and_not_followed() {
    // The file beside the folder would make the set whole, if anybody opened it.
    let nasty = [
        ("../CTR00000", "task.external_name"),
        ("..\\CTR00000", "task.external_name"),
        ("/etc/passwd", "task.external_name"),
        ("C:CTR00000", "task.external_name"),
        ("CTR0000", "task.external_name"),
        ("ctr00000", "task.external_name"),
        ("CTR00000.XML", "task.external_name"),
        ("CTR0000٠", "task.external_name"),
        ("TASKDATA", "task.external_name"),
        ("&#x2e;&#x2e;/CTR00000", "task.external_name"),
        ("", "task.external_name"),
        ("CTR00009", "task.external_missing"),
    ];
    for (name, code) in nasty {
        let bench = Bench::new();
        let mut task = Task::new();
        task.put(
            OWNERS,
            &format!(r#"<XFR A="{name}" B="1"/><FRM A="FRM1" B="Ambermere Farm"/>"#),
        );
        task.write(&bench);
        bench.put("CTR00000.XML", CUSTOMER.as_bytes());
        let found = codes(&faults(&of(bench.path("TASKDATA"))));
        assert!(found.contains(&format!("stop {code}")), "{name}: {found:?}");
        assert!(
            found.contains(&"stop task.dangling".to_owned()),
            "{name} was read: {found:?}"
        );
    }
    let files: [(&str, &str, &str); 7] = [
        (
            "loop",
            r#"<XFC><XFR A="CTR00000" B="1"/><CTR A="CTR1" B="a"/></XFC>"#,
            "task.external_kind",
        ),
        (
            "another kind",
            r#"<XFC><CTR A="CTR1" B="a"/><FRM A="FRM2" B="b"/></XFC>"#,
            "task.external_kind",
        ),
        (
            "root",
            r#"<ISO11783_TaskData><CTR A="CTR1" B="a"/></ISO11783_TaskData>"#,
            "task.external_root",
        ),
        ("cut", "<XFC><CTR A=", "task.external_unreadable"),
        (
            "entity",
            r#"<!DOCTYPE XFC [<!ENTITY a SYSTEM "field.geojson">]><XFC><CTR A="CTR1" B="&a;"/></XFC>"#,
            "task.external_unreadable",
        ),
        ("no text", "\u{0}", "task.external_unreadable"),
        (
            "closes the main file",
            "</ISO11783_TaskData><XFC/>",
            "task.external_unreadable",
        ),
    ];
    for (name, text, code) in files {
        let bench = Bench::new();
        let mut task = Task::new();
        task.put(
            OWNERS,
            r#"<XFR A="CTR00000" B="1"/><FRM A="FRM1" B="Ambermere Farm"/>"#,
        );
        task.write(&bench);
        bench.put("TASKDATA/CTR00000.XML", text.as_bytes());
        let found = codes(&faults(&of(bench.path("TASKDATA"))));
        assert!(found.contains(&format!("stop {code}")), "{name}: {found:?}");
    }
    // Twice the same is read once; another letter case is read and told.
    let bench = Bench::new();
    let mut task = Task::new();
    task.put(
        OWNERS,
        r#"<XFR A="CTR00000" B="1"/><XFR A="CTR00000" B="1"/><FRM A="FRM1" B="Ambermere Farm"/>"#,
    );
    task.write(&bench);
    bench.put("TASKDATA/ctr00000.xml", CUSTOMER.as_bytes());
    let found = codes(&faults(&of(bench.path("TASKDATA"))));
    assert_eq!(
        found,
        [
            "caution task.external_name",
            "stop task.external_twice",
            "note task.external"
        ]
    );
}

#[cfg(unix)]
#[test]
fn a_link_out_of_the_folder_is_not_followed() {
    let bench = Bench::new();
    let mut task = Task::new();
    task.put(OWNERS, REFERENCES);
    task.write(&bench);
    bench.put("TASKDATA/FRM00000.XML", FARM.as_bytes());
    let outside = bench.put("elsewhere.xml", CUSTOMER.as_bytes());
    std::os::unix::fs::symlink(outside, bench.path("TASKDATA/CTR00000.XML")).unwrap();
    assert!(
        codes(&faults(&of(bench.path("TASKDATA"))))
            .contains(&"stop task.external_missing".to_owned())
    );
}

/// Checks a spoilt set, mends it, and returns what was done, what was left, and the faults of the copy.
fn repaired(bench: &Bench, task: &Task, copy: &str) -> (Vec<String>, Vec<String>, Vec<String>) {
    task.write(bench);
    let request = CheckMapRequest {
        repair: Some(bench.path(copy)),
        ..of(bench.path("TASKDATA"))
    };
    let report = check_map(&request).unwrap_or_else(|error| panic!("{error:?}"));
    let notice = |key: &str| {
        report.json["repair"][key]
            .as_array()
            .unwrap()
            .iter()
            .map(|line| line.as_str().unwrap().to_owned())
            .collect()
    };
    (
        notice("done"),
        notice("left"),
        codes(&faults(&of(bench.path(copy)))),
    )
}

/// All files below a folder.
fn below(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs_err::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    files
}

#[test]
fn task_data_are_mended_where_that_is_safe() {
    type Case = (&'static str, &'static str, fn(&mut Task));
    // Each spoilt copy has an error or a caution, and its mended copy has none; the grid holds the same rates as before.
    let cases: [Case; 12] = [
        ("no J of the task", "outside the field (J) zone 1", |t| {
            t.put(r#" J="1">"#, ">");
        }),
        (
            "dangling J of the task",
            "outside the field (J) zone 1",
            |t| t.put(r#" J="1">"#, r#" J="9">"#),
        ),
        (
            "no J of the grid",
            "its zone (J) was missing and is 0 now",
            |t| t.put(r#" I="2" J="0""#, r#" I="2""#),
        ),
        (
            "dangling J of the grid",
            "its zone (J) was 77 and is 0 now",
            |t| t.put(r#" I="2" J="0""#, r#" I="2" J="77""#),
        ),
        ("wrong H", "stated length (H) 12 made 2304", |t| {
            t.put(r#"G="GRD00000""#, r#"G="GRD00000" H="12""#);
        }),
        (
            "three bytes too many",
            "3 bytes beyond its last cell",
            |t| t.grid.extend([1, 2, 3]),
        ),
        (
            "a row of nothing too many",
            "96 bytes beyond its last cell",
            |t| t.grid.extend([0; 4 * SIDE]),
        ),
        (
            "five cells too few",
            "5 cells missing at its end, all outside the field",
            |t| t.grid.truncate(t.grid.len() - 20),
        ),
        (
            "two rows and a byte too few",
            "49 cells missing at its end, all outside",
            |t| t.grid.truncate(t.grid.len() - 8 * SIDE - 1),
        ),
        (
            "a mark before the declaration",
            "begins with its declaration",
            |t| t.xml.insert(0, '\u{feff}'),
        ),
        ("no declaration", "begins with its declaration", |t| {
            t.xml = t
                .xml
                .replacen("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n", "", 1);
        }),
        ("two faults at once", "stated length (H) 7 made 2304", |t| {
            t.put(r#"G="GRD00000""#, r#"G="GRD00000" H="7""#);
            t.put(r#" J="1">"#, ">");
            t.grid.truncate(t.grid.len() - 4);
        }),
    ];
    let whole = Task::new();
    for (name, done, spoil) in cases {
        let bench = Bench::new();
        let mut task = Task::new();
        spoil(&mut task);
        let (did, left, faults) = repaired(&bench, &task, "copy");
        assert!(
            did.iter().any(|line| line.contains(done)),
            "{name}: {did:?}"
        );
        assert_eq!((left, faults), (Vec::new(), Vec::new()), "{name}");
        assert_eq!(
            below(&bench.path("copy/TASKDATA")),
            ["GRD00000.bin", "TASKDATA.XML"].map(|file| bench.path("copy/TASKDATA").join(file)),
            "{name}"
        );
        assert!(
            fs_err::read(bench.path("copy/TASKDATA/GRD00000.bin")).unwrap() == whole.grid,
            "{name}: other rates"
        );
    }
}

#[test]
fn what_only_its_maker_can_say_is_left_and_told() {
    type Case = (&'static str, &'static str, fn(&mut Task));
    let cases: [Case; 8] = [
        (
            "cells of the field missing",
            "some of them lie in the field",
            |t| t.grid.truncate(t.grid.len() / 2),
        ),
        (
            "without a boundary",
            "without a boundary nobody knows",
            |t| {
                t.put("<PLN A=\"1\">", "<PLN A=\"3\">");
                t.grid.truncate(t.grid.len() - 4);
            },
        ),
        (
            "columns miscounted",
            "its bytes make 23 columns, not 24",
            |t| {
                t.grid = t
                    .grid
                    .chunks(4 * SIDE)
                    .flat_map(|row| row[..4 * (SIDE - 1)].to_vec())
                    .collect();
                t.grid.extend([0; 4 * (SIDE - 1)]);
                t.put(r#"F="24""#, r#"F="25""#);
            },
        ),
        ("rates beyond the end", "hold rates", |t| {
            t.grid.extend(15_000_i32.to_le_bytes());
        }),
        ("rows from the north", "grid.order", |t| {
            let rows: Vec<Vec<u8>> = t.grid.chunks(4 * SIDE).rev().map(<[u8]>::to_vec).collect();
            t.grid = rows.concat();
        }),
        (
            "zones of two kinds",
            "which of them is meant nobody can say",
            |t| {
                t.put(r#" I="2" J="0""#, r#" I="2""#);
                t.put(r#"<TZN A="1"><PDV A="0006""#, r#"<TZN A="1"><PDV A="0001""#);
            },
        ),
        ("no zone of nothing", "no zone of 0 is there", |t| {
            t.put(r#" J="1">"#, ">");
            t.put(r#"B="0" C="PDT1""#, r#"B="5" C="PDT1""#);
        }),
        ("dangling product", "task.dangling", |t| {
            t.put(r#"<PDT A="PDT1""#, r#"<PDT A="PDT2""#);
        }),
    ];
    for (name, requirement, spoil) in cases {
        let bench = Bench::new();
        let mut task = Task::new();
        spoil(&mut task);
        let grid = task.grid.clone();
        let (_, left, _) = repaired(&bench, &task, "copy");
        assert!(
            left.iter().any(|line| line.contains(requirement)),
            "{name}: {left:?}"
        );
        assert!(
            fs_err::read(bench.path("copy/TASKDATA/GRD00000.bin")).unwrap() == grid,
            "{name}: the grid was changed"
        );
    }
}

#[test]
fn codes_without_a_zone_are_mended_outside_the_field_alone() {
    let bench = Bench::new();
    let mut task = Task::new();
    task.put(r#"I="2" J="0""#, r#"I="1""#);
    task.put(
        r#"<TZN A="0"><PDV A="0006" B="0""#,
        r#"<TZN A="0"><PDV A="0006" B="15000""#,
    );
    task.grid = task
        .grid
        .chunks(4)
        .map(|cell| if cell == [0; 4] { 255 } else { 0 })
        .collect();
    let (done, left, faults) = repaired(&bench, &task, "copy");
    assert!(
        done.iter().any(|line| line
            .contains("cells outside the field held codes without a zone and hold 1 now")),
        "{done:?}"
    );
    // Cells that the edge of the field crosses are not outside it.
    let grid = fs_err::read(bench.path("copy/TASKDATA/GRD00000.bin")).unwrap();
    let count = |code: u8| {
        grid.iter()
            .copied()
            .map(u32::from)
            .filter(|found| *found == u32::from(code))
            .count()
    };
    let crossed = count(255);
    assert_eq!(
        crossed > 0,
        left.iter()
            .any(|line| line.contains("that lie in the field")),
        "{crossed} of {left:?}, {faults:?}"
    );
    assert!(count(1) > 150, "{left:?}");

    // One in the field stays, and the copy says so.
    task.grid[12 * SIDE + 12] = 77;
    let bench = Bench::new();
    let (_, left, faults) = repaired(&bench, &task, "copy.zip");
    assert!(
        left.iter()
            .any(|line| line.contains("that lie in the field hold codes without a zone")),
        "{left:?}"
    );
    assert!(
        faults.contains(&"stop task.code_unknown".to_owned()),
        "{faults:?}"
    );
}

#[test]
fn a_mended_set_is_one_file_in_its_place() {
    let bench = Bench::new();
    let mut task = Task::new();
    task.put(OWNERS, REFERENCES);
    bench.put("stick/CTR00000.XML", CUSTOMER.as_bytes());
    bench.put("stick/FRM00000.XML", FARM.as_bytes());
    bench.put("stick/grd00000.BIN", &task.grid);
    let main = bench.put("stick/taskdata.xml", task.xml.as_bytes());
    for copy in ["copy", "copy.zip"] {
        let request = CheckMapRequest {
            repair: Some(bench.path(copy)),
            ..of(main.clone())
        };
        let report = check_map(&request).unwrap();
        let done = report.json["repair"]["done"].to_string();
        for what in [
            "stick/taskdata.xml stands as TASKDATA/TASKDATA.XML",
            "stands in the main file now",
            "grd00000.BIN is called GRD00000.bin",
        ] {
            assert!(done.contains(what), "{done}");
        }
        assert_eq!(faults(&of(bench.path(copy))), Vec::<Value>::new());
        // The same bytes again; nothing is replaced without leave; the source is as it was.
        let once = fs_err::read(bench.path("copy/TASKDATA/TASKDATA.XML")).unwrap();
        assert_eq!(check_map(&request).unwrap_err().code, "output.exists");
        check_map(&CheckMapRequest {
            overwrite: true,
            ..request
        })
        .unwrap();
        assert!(fs_err::read(bench.path("copy/TASKDATA/TASKDATA.XML")).unwrap() == once);
        assert_eq!(fs_err::read(&main).unwrap(), task.xml.as_bytes());
    }
    let refused = check_map(&CheckMapRequest {
        repair: Some(bench.path("copy.gpkg")),
        ..of(main)
    })
    .unwrap_err();
    assert_eq!(refused.code, "repair.grid");
}

#[test]
fn rings_of_version_4_are_closed() {
    let bench = Bench::new();
    let mut task = Task::new();
    task.put(r#"VersionMajor="3""#, r#"VersionMajor="4""#);
    let [east, north] = at(0.0, 0.0);
    // The boundary's last point, which repeats its first, is taken away.
    let last = format!(r#"<PNT A="2" C="{north:.9}" D="{east:.9}"/></LSG>"#);
    task.put(&last, "</LSG>");
    task.write(&bench);
    let (done, left, faults) = repaired(&bench, &task, "copy");
    assert!(done.contains(&"1 rings closed".to_owned()), "{done:?}");
    assert_eq!(
        (left, faults),
        (Vec::new(), vec!["note task.version".to_owned()])
    );
    assert!(
        fs_err::read_to_string(bench.path("copy/TASKDATA/TASKDATA.XML"))
            .unwrap()
            .contains(&last)
    );
}
