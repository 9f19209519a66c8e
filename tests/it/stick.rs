//! `haulm stick` and `haulm check STICK --against`: many maps on one stick, sticks that came back, sticks that somebody changed.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use haulm::app::commit::sha256_hex;
use haulm::format::shapefile::safe_name;
use haulm::format::task_set::{TaskFacts, TaskSet, tasks_of};
use serde_json::{Value, json};

use crate::field::{Field, JOB, Wording, files};

/// Finished maps, and a place for sticks.
struct Bench {
    field: Field,
}

impl Bench {
    /// One map made by haulm, from which others are drawn.
    fn new() -> Self {
        let field = Field::new();
        field.job(
            "[output]\nfolder = \"out\"",
            "[output]\nfolder = \"out\"\nformats = [\"shapefile\", \"iso11783\"]",
        );
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
        fs_err::create_dir(field.path("maps")).unwrap();
        Self { field }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.field.path(name)
    }

    /// A finished map of another field: names, map id, customer and rates are its own; the rest, and what the record says of files, is as haulm makes it.
    fn office(&self, number: i32, field: &str, map_id: &str, client: &str) -> PathBuf {
        let to = self.path(&format!("maps/{number:02}"));
        let record_path = self.path("out/office/record.json");
        let mut record: Value =
            serde_json::from_slice(&fs_err::read(record_path).unwrap()).unwrap();
        let own_id = record["map_id"].as_str().unwrap().to_owned();
        record["map_id"] = json!(map_id);
        record["field"]["name"] = json!(field);
        let base = safe_name(field, map_id);
        let mut outputs = Vec::new();
        for (name, bytes) in files(&self.path("out/machine")) {
            let bytes = if name.ends_with("TASKDATA.XML") {
                let text = String::from_utf8(bytes).unwrap();
                let cut: String = field.chars().take(25).collect();
                let text = text
                    .replace(
                        &format!("Middle Piece {own_id}"),
                        &format!("{cut} {map_id}"),
                    )
                    .replace("\"Middle Piece\"", &format!("\"{cut}\""));
                // Whatever the customer is called by default.
                let (before, rest) = text.split_once("<CTR A=\"CTR1\" B=\"").unwrap();
                let (_, after) = rest.split_once('"').unwrap();
                format!("{before}<CTR A=\"CTR1\" B=\"{client}\"{after}").into_bytes()
            } else if Path::new(&name).extension().is_some_and(|end| end == "bin") {
                bytes
                    .chunks_exact(4)
                    .map(|cell| i32::from_le_bytes(cell.try_into().unwrap()))
                    .flat_map(|value| {
                        let more = if value > 0 { 100 * number } else { 0 };
                        (value + more).to_le_bytes()
                    })
                    .collect()
            } else {
                bytes
            };
            let name = match name.split_once('.') {
                Some((stem, end)) if !stem.contains('/') && stem != "CARD" => {
                    format!("machine/{base}.{end}")
                }
                _ => format!("machine/{name}"),
            };
            let place = to.join(&name);
            fs_err::create_dir_all(place.parent().unwrap()).unwrap();
            fs_err::write(&place, &bytes).unwrap();
            outputs
                .push(json!({ "path": name, "bytes": bytes.len(), "sha256": sha256_hex(&bytes) }));
        }
        record["outputs"] = json!(outputs);
        fs_err::create_dir_all(to.join("office")).unwrap();
        fs_err::write(to.join("office/record.json"), record.to_string()).unwrap();
        to
    }

    /// Two maps, put on a stick.
    fn with_stick() -> Self {
        let bench = Self::new();
        bench.office(1, "Long Ley", "aaaaa1", "Grower");
        bench.office(2, "Mill Piece", "aaaaa2", "Grower");
        bench.write().done();
        bench
    }

    fn haulm(&self, arguments: &[&str]) -> Judged {
        let wording: Wording = Command::new(env!("CARGO_BIN_EXE_haulm"))
            .args(arguments)
            .arg("--json")
            .current_dir(self.path(""))
            .output()
            .unwrap()
            .into();
        let value = serde_json::from_str(&wording.out).unwrap_or(Value::Null);
        Judged { wording, value }
    }

    /// All maps onto the stick.
    fn write(&self) -> Judged {
        self.haulm(&["stick", "maps", "--to", "stick"])
    }

    /// The stick against all maps.
    fn prove(&self) -> Judged {
        self.haulm(&["check", "stick", "--against", "maps"])
    }

    fn stick(&self) -> BTreeMap<String, Vec<u8>> {
        files(&self.path("stick"))
    }

    fn change(&self, name: &str, change: impl FnOnce(Vec<u8>) -> Vec<u8>) {
        let path = self.path("stick").join(name);
        let bytes = fs_err::read(&path).unwrap();
        let changed = change(bytes.clone());
        assert_ne!(bytes, changed, "nothing changed in {name}");
        fs_err::write(path, changed).unwrap();
    }
}

struct Judged {
    wording: Wording,
    value: Value,
}

impl Judged {
    fn done(self) -> Value {
        assert_eq!(
            self.wording.status,
            Some(0),
            "{}{}",
            self.wording.out,
            self.wording.err
        );
        self.value
    }

    /// Refused or stopped, with these words on standard error or in a finding.
    fn refused(&self, code: &str, parts: &[&str]) {
        let all = format!("{}{}", self.wording.err, self.wording.out);
        let all = all.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(self.wording.status, Some(1), "{all}");
        for part in parts.iter().chain(&[code]) {
            assert!(all.contains(part), "{part:?} is not in: {all}");
        }
    }

    fn codes(&self) -> Vec<String> {
        let findings = self.value["findings"].as_array().unwrap();
        findings
            .iter()
            .map(|finding| {
                assert!(finding["message"].as_str().unwrap().chars().count() <= 300);
                format!(
                    "{} {}",
                    finding["severity"].as_str().unwrap(),
                    finding["code"].as_str().unwrap()
                )
            })
            .collect()
    }
}

/// The task data of a folder as the library reads them.
fn task_data(folder: &Path) -> (TaskSet, Vec<TaskFacts>) {
    let mut set = TaskSet::default();
    for (name, bytes) in files(&folder.join("TASKDATA")) {
        if name == "TASKDATA.XML" {
            set.main = bytes;
        } else {
            set.files.insert(name, bytes);
        }
    }
    let tasks = tasks_of(&set).unwrap();
    (set, tasks)
}

/// Forty names: umlauts, other scripts, names that are the same in eight capitals, and names that are the same.
fn forty() -> Vec<String> {
    let mut names: Vec<String> = [
        "Große Wiese",
        "Grosse Wiese",
        "Überfahrt",
        "Žďár 12/3",
        "Ågård",
        "поле",
        "Miller North 40",
        "Miller North 80",
        "Miller South",
        "Long Piece",
        "Long Piece",
        "Long Piece",
        "con",
        "L'Éperon & \"Sud\"",
    ]
    .map(str::to_owned)
    .to_vec();
    names.extend((names.len()..40).map(|number| format!("Ambermere Field {number}")));
    names
}

#[test]
fn a_plain_check_looks_at_every_task() {
    let bench = Bench::with_stick();
    let notice = bench.haulm(&["check", "stick"]).done();
    let tasks = notice["result"]["tasks"].as_array().unwrap();
    assert_eq!(tasks.len(), 2);
    assert!(
        tasks
            .iter()
            .all(|task| task["map"]["total"].as_f64().unwrap() > 0.0)
    );
    // The second alone, by its id.
    let notice = bench.haulm(&["check", "stick", "--layer", "TSK2"]).done();
    assert_eq!(notice["result"]["map"]["task"], "TSK2");
    assert!(
        bench
            .haulm(&["check", "stick", "--layer", "TSK3"])
            .wording
            .err
            .contains("TSK2 (Mill Piece aaaaa2)")
    );
    // Its grid is cut off: a stop, and it is told whose.
    let second = bench
        .stick()
        .into_keys()
        .filter(|name| name.starts_with("TASKDATA/GRD"))
        .nth(1)
        .unwrap();
    bench.change(&second, |mut bytes| {
        bytes.truncate(bytes.len() - 4);
        bytes
    });
    let notice = bench.haulm(&["check", "stick"]);
    notice.refused("task.grid_length", &["TSK2: "]);
    assert_eq!(notice.value["result"]["tasks"][0]["errors"], 0);
}

#[test]
fn forty_maps_go_on_one_stick_and_nothing_is_lost() {
    let bench = Bench::new();
    let mut due = BTreeMap::new();
    for (number, field) in (1..).zip(forty()) {
        let map_id = format!("a{number:05}");
        // XML holds quotes and ampersands as entities, which the maps' own writer sees to; here they are left out of the task data.
        let client = if number % 2 == 0 {
            "Grower"
        } else {
            "Hill Farm"
        };
        let plain = field.replace(['&', '"', '\''], "");
        let folder = bench.office(number, &plain, &map_id, client);
        due.insert(map_id, (plain, folder));
    }
    let written = bench.write();
    assert!(written.codes().contains(&"note stick.renamed".to_owned()));
    assert!(
        written
            .codes()
            .contains(&"caution stick.same_field".to_owned())
    );
    let written = written.done();
    let maps = written["result"]["maps"].as_array().unwrap();
    assert_eq!(maps.len(), 40);
    assert_eq!(written["result"]["read_back"], true);

    let (set, tasks) = task_data(&bench.path("stick"));
    assert_eq!(tasks.len(), 40);
    let ids: BTreeSet<_> = tasks.iter().map(|task| &task.id).collect();
    assert_eq!(ids.len(), 40);
    let text = std::str::from_utf8(&set.main).unwrap();
    for (start, count) in [("<CTR ", 2), ("<FRM ", 2), ("<PDT ", 1), ("<VPN ", 1)] {
        assert_eq!(text.matches(start).count(), count, "{start}");
    }
    for (map_id, (field, folder)) in &due {
        let task = tasks
            .iter()
            .find(|task| task.name.ends_with(map_id))
            .unwrap();
        assert_eq!(task.field, *field);
        let (own, own_tasks) = task_data(&folder.join("machine"));
        assert_eq!(task.parts, own_tasks[0].parts, "{field}");
        let (grid, own_grid) = (
            task.grid.as_ref().unwrap(),
            own_tasks[0].grid.as_ref().unwrap(),
        );
        assert_eq!(set.files[&grid.file], own.files[&own_grid.file], "{field}");
    }

    // Shapefiles lie flat, with names of 8 capitals at most, none twice.
    let stick = bench.stick();
    let names: BTreeSet<_> = maps
        .iter()
        .map(|map| map["name"].as_str().unwrap())
        .collect();
    assert_eq!(names.len(), 40);
    assert!(
        names.contains("MILLER40") && names.contains("MILLER80"),
        "{names:?}"
    );
    for name in names {
        assert!(
            name.len() <= 8
                && name
                    .chars()
                    .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '_'),
            "{name}"
        );
        for end in ["shp", "shx", "dbf", "prj"] {
            assert!(
                stick.contains_key(&format!("SHAPES/{name}.{end}")),
                "{name}.{end}"
            );
        }
        for end in ["txt", "html"] {
            assert!(
                stick.contains_key(&format!("CARDS/{name}.{end}")),
                "{name}.{end}"
            );
        }
    }
    let index = std::str::from_utf8(&stick["index.html"]).unwrap();
    for map_id in due.keys() {
        assert_eq!(
            index.matches(&format!("<code>{map_id}</code>")).count(),
            1,
            "{map_id}"
        );
    }
    let card = String::from_utf8(stick["CARDS/MILLER40.txt"].clone()).unwrap();
    assert!(
        card.contains("SHAPES/MILLER40.shp") && card.contains("MILLER_N"),
        "{card}"
    );

    // Our own check of task data takes it, and the proof compares every cell.
    let checked = bench.haulm(&["check", "stick"]);
    assert!(checked.value["status"] == "done", "{}", checked.wording.err);
    assert_eq!(
        checked.value["result"]["tasks"].as_array().unwrap().len(),
        40
    );
    let proof = bench.prove();
    assert_eq!(proof.codes(), [""; 0]);
    let proof = proof.done();
    let cells: usize = set.files.values().map(|grid| grid.len() / 4).sum();
    assert_eq!(proof["result"]["cells"], cells);

    // The same again changes nothing but the time in the record.
    bench.write().done();
    let again = bench.stick();
    assert_eq!(
        stick.keys().collect::<Vec<_>>(),
        again.keys().collect::<Vec<_>>()
    );
    assert!(
        stick
            .iter()
            .all(|(name, bytes)| name == "haulm.json" || again[name] == *bytes)
    );
}

/// Three fields of one folder, US units, in two commands: the maps, and one stick from the folder of jobs.
#[test]
fn three_jobs_of_a_folder_become_one_stick() {
    let field = Field::new();
    fs_err::remove_file(field.path("job.toml")).unwrap();
    for (name, folder) in [
        ("Miller North 40", "north40"),
        ("Miller North 80", "north80"),
        ("Müller Süd", "sued"),
    ] {
        let job = JOB
            .replace("Middle Piece", name)
            .replace(
                "folder = \"out\"",
                &format!("folder = \"{folder}-map\"\nunit = \"gal/ac\"\nformats = [\"shapefile\", \"iso11783\"]"),
            );
        field.write(&format!("{folder}.toml"), job);
    }
    let wording = field.command(&["stick", ".", "--to", "stick"]);
    assert_eq!(wording.status, Some(1));
    let notice = wording.err.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "3 of 3 maps are not ready",
        "north40.toml",
        "no finished map in",
        "run haulm map ./north40.toml",
        "hint: ",
    ] {
        assert!(notice.contains(part), "{part:?} is not in: {notice}");
    }
    assert!(!field.path("stick").exists(), "nothing is half done");
    for job in ["north40.toml", "north80.toml", "sued.toml"] {
        let wording = field.command(&["map", job]);
        assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    }
    let wording = field.command(&["stick", ".", "--to", "stick"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    for part in [
        "3 maps on the stick stick",
        "MILLER40",
        "MILLER80",
        "MUELLER",
        " gal",
        " ac",
    ] {
        assert!(
            wording.out.contains(part),
            "{part:?} is not in: {}",
            wording.out
        );
    }
    assert!(
        wording.out.lines().all(|line| line.chars().count() <= 80),
        "{}",
        wording.out
    );
    let wording = field.command(&[
        "check",
        "stick",
        "--against",
        "north40.toml",
        "north80-map",
        "sued.toml",
    ]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    assert!(
        wording.out.contains("is what the office made"),
        "{}",
        wording.out
    );

    // An input that changes makes the map stale; a folder that is given stands for itself.
    let boundary = fs_err::read_to_string(field.path("boundary.geojson")).unwrap();
    field.write("boundary.geojson", format!("{boundary}\n"));
    let before = files(&field.path("stick"));
    let wording = field.command(&["stick", "sued.toml", "--to", "stick"]);
    let notice = wording.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(wording.status, Some(1), "{notice}");
    for part in [
        "sued.toml",
        "older than its input boundary.geojson",
        "run haulm map sued.toml",
    ] {
        assert!(notice.contains(part), "{part:?} is not in: {notice}");
    }
    assert_eq!(files(&field.path("stick")), before);
}

#[test]
fn maps_that_are_not_ready_are_all_named() {
    let bench = Bench::new();
    bench.office(1, "Long Ley", "aaaaa1", "Grower");
    let stopped = bench.office(2, "Mill Piece", "aaaaa2", "Grower");
    let edited = bench.office(3, "Far Piece", "aaaaa3", "Grower");
    let text = fs_err::read_to_string(stopped.join("office/record.json")).unwrap();
    fs_err::write(
        stopped.join("office/record.json"),
        text.replace("\"not_for_use\":false", "\"not_for_use\":true"),
    )
    .unwrap();
    fs_err::write(edited.join("machine/FAR_PIEC.dbf"), "drawn by hand").unwrap();
    bench.write().refused(
        "stick.unready",
        &[
            "2 of 3 maps are not ready",
            "NOT FOR USE",
            "machine/FAR_PIEC.dbf is not as haulm wrote it",
        ],
    );
    assert!(!bench.path("stick").exists());
    bench
        .haulm(&["stick", "no-such.toml", "--to", "stick"])
        .refused("stick.input", &["no such file", "no-such.toml"]);
    bench
        .haulm(&["stick", "image.tif", "--to", "stick"])
        .refused("stick.input", &["no job file"]);
}

#[test]
fn a_stick_that_came_back_is_kept_until_it_is_in_the_office() {
    let bench = Bench::with_stick();
    // A machine sets the task to done, adds its log, and leaves a file beside ours.
    bench.change("TASKDATA/TASKDATA.XML", |bytes| {
        String::from_utf8(bytes)
            .unwrap()
            .replacen("G=\"1\"", "G=\"4\"", 1)
            .replacen("<DLT", "<TLG A=\"TLG00001\"/><DLT", 1)
            .into_bytes()
    });
    for name in ["TASKDATA/TLG00001.bin", "TASKDATA/TLG00001.xml"] {
        fs_err::write(bench.path("stick").join(name), "work done").unwrap();
    }
    fs_err::write(bench.path("stick/holiday.jpg"), "mine").unwrap();
    let before = bench.stick();
    let notice = bench.prove();
    assert!(
        notice
            .codes()
            .contains(&"caution stick.returned".to_owned()),
        "{:?}",
        notice.codes()
    );
    let refused = bench.write();
    refused.refused(
        "stick.came_back",
        &[
            "logs of work",
            "TASKDATA/TLG00001.bin",
            "new on the stick",
            "changed since",
            "--bring-back",
        ],
    );
    assert_eq!(
        bench.stick(),
        before,
        "nothing is lost, nothing is half written"
    );

    bench.office(3, "Far Piece", "aaaaa3", "Grower");
    let with = [
        "stick",
        "maps",
        "--to",
        "stick",
        "--bring-back",
        "returned/first",
    ];
    // Told first, then done.
    bench.haulm(&[&with[..], &["--dry-run"]].concat()).done();
    assert_eq!(bench.stick(), before);
    assert!(!bench.path("returned").exists());
    let done = bench.haulm(&with).done();
    assert_eq!(
        done["result"]["brought_back"]["files"]
            .as_array()
            .unwrap()
            .len(),
        6
    );
    let copies = files(&bench.path("returned/first"));
    for (name, bytes) in before
        .iter()
        .filter(|(name, _)| name.starts_with("TASKDATA/"))
    {
        assert_eq!(copies[name], *bytes, "{name}");
    }
    let after = bench.stick();
    assert!(
        after.keys().all(|name| !name.contains("TLG")),
        "{:?}",
        after.keys()
    );
    assert_eq!(after["holiday.jpg"], b"mine");
    assert_eq!(task_data(&bench.path("stick")).1.len(), 3);
    assert_eq!(bench.prove().codes(), [""; 0]);

    // Nothing more came back; and what lies in the folder is never replaced.
    let again = bench.haulm(&with);
    assert!(again.codes().contains(&"note stick.returned".to_owned()));
    again.done();
    bench.change("TASKDATA/TASKDATA.XML", |bytes| {
        [bytes, b"\n".to_vec()].concat()
    });
    bench.haulm(&with).refused(
        "stick.bring_back",
        &["another file of this name", "GRD00000.bin"],
    );
    bench
        .haulm(&[
            "stick",
            "maps",
            "--to",
            "stick",
            "--bring-back",
            "stick/returned",
        ])
        .refused("stick.bring_back", &["on the stick itself"]);
    // Without a map it only copies.
    let only = bench
        .haulm(&["stick", "--to", "stick", "--bring-back", "returned/second"])
        .done();
    assert!(only["result"]["maps"].as_array().unwrap().is_empty());
    assert!(
        bench
            .path("returned/second/TASKDATA/TASKDATA.XML")
            .is_file()
    );
}

#[test]
fn task_data_of_others_stay() {
    for name in ["TASKDATA", "taskdata"] {
        let bench = Bench::new();
        bench.office(1, "Long Ley", "aaaaa1", "Grower");
        fs_err::create_dir_all(bench.path("stick").join(name)).unwrap();
        fs_err::write(bench.path("stick").join(name).join("TLG00001.bin"), "work").unwrap();
        let before = bench.stick();
        bench.write().refused(
            "stick.foreign",
            &["haulm did not put there", "1 of them logs of work"],
        );
        // Nor are they brought back and removed: nobody knows whose they are.
        bench
            .haulm(&["stick", "maps", "--to", "stick", "--bring-back", "returned"])
            .refused("stick.foreign", &["nothing was changed"]);
        assert_eq!(bench.stick(), before);
    }
    // Other files of the stick are in nobody's way, unless they stand where ours go.
    let bench = Bench::new();
    bench.office(1, "Long Ley", "aaaaa1", "Grower");
    fs_err::create_dir(bench.path("stick")).unwrap();
    fs_err::write(bench.path("stick/index.html"), "mine").unwrap();
    bench
        .write()
        .refused("output.changed", &["index.html", "take them off the stick"]);
    fs_err::rename(
        bench.path("stick/index.html"),
        bench.path("stick/mine.html"),
    )
    .unwrap();
    bench.write().done();
    assert_eq!(bench.stick()["mine.html"], b"mine");
    // And neither a map's folder nor a stick is taken for the other.
    bench.haulm(&["stick", "maps", "--to", "out"]).done();
    let wording = bench
        .field
        .command(&["map", "job.toml", "--output", "stick"]);
    assert!(wording.err.contains("output.foreign"), "{}", wording.err);
    bench
        .haulm(&["stick", "stick", "--to", "other"])
        .refused("stick.input", &["is a stick"]);
}

/// Cells of a grid file in another order; each number stays one.
fn turned(bytes: &[u8], cols: usize, from: impl Fn(usize, usize, usize) -> usize) -> Vec<u8> {
    (0..bytes.len() / 4)
        .flat_map(|at| {
            let place = from(at / cols, at % cols, at) * 4;
            bytes[place..place + 4].to_vec()
        })
        .collect()
}

/// What is said of a grid, and how the grid is changed.
type Change<'a> = (&'a str, Box<dyn Fn(Vec<u8>) -> Vec<u8>>);

#[test]
fn a_changed_stick_is_found_and_named() {
    let bench = Bench::with_stick();
    assert_eq!(bench.prove().codes(), [""; 0]);
    let good = bench.stick();
    let (_, tasks) = task_data(&bench.path("stick"));
    let grid = tasks[0].grid.clone().unwrap();
    let (rows, cols) = (grid.rows, grid.cols);
    let file = format!("TASKDATA/{}", grid.file);
    let restore = |name: &str| fs_err::write(bench.path("stick").join(name), &good[name]).unwrap();

    let grids: [Change<'_>; 6] = [
        (
            "east and west are exchanged",
            Box::new(move |b| turned(&b, cols, |r, c, _| r * cols + cols - 1 - c)),
        ),
        (
            "north and south are exchanged",
            Box::new(move |b| turned(&b, cols, |r, c, _| (rows - 1 - r) * cols + c)),
        ),
        (
            "rows and columns are exchanged",
            Box::new(move |b| turned(&b, cols, |_, _, at| (at % rows) * cols + at / rows)),
        ),
        (
            "4 bytes are missing",
            Box::new(|b| b[..b.len() - 4].to_vec()),
        ),
        (
            "the other way round",
            Box::new(|b| b.chunks(4).flat_map(|c| c.iter().rev().copied()).collect()),
        ),
        (
            "1 of",
            Box::new(|mut b| {
                let at = b.chunks(4).position(|cell| cell != [0; 4]).unwrap() * 4;
                b[at] ^= 1;
                b
            }),
        ),
    ];
    for (words, change) in grids {
        bench.change(&file, change);
        let notice = bench.prove();
        notice.refused("stick.grid", &[words, "map aaaaa1 of Long Ley"]);
        assert_eq!(notice.codes(), ["stop stick.grid"], "{words}");
        restore(&file);
    }

    let xml = "TASKDATA/TASKDATA.XML";
    for (old, new, what) in [
        (
            "B=\"On start\"",
            "B=\"On Start\"",
            "the zones with their rates",
        ),
        (
            " D=\"2\" E=\"",
            " D=\"3\" E=\"",
            "the zones with their rates",
        ),
        ("<GRD A=\"", "<GRD A=\"1", "the grid's position"),
        (
            "C=\"Long Ley\"",
            "C=\"Long Lea\"",
            "the field and its boundary",
        ),
        ("B=\"Grower\"", "B=\"Other\"", "the customer"),
    ] {
        bench.change(xml, |bytes| {
            String::from_utf8(bytes)
                .unwrap()
                .replacen(old, new, 1)
                .into_bytes()
        });
        bench.prove().refused("stick.task", &[what, "aaaaa1"]);
        restore(xml);
    }
    for (name, code, part) in [
        (
            "SHAPES/LONG_LEY.dbf",
            "stick.shapefile",
            "SHAPES/LONG_LEY.dbf",
        ),
        (file.as_str(), "stick.grid", "is not on the stick"),
        (xml, "stick.missing", "the task of map aaaaa1"),
    ] {
        fs_err::remove_file(bench.path("stick").join(name)).unwrap();
        bench.prove().refused(code, &[part]);
        restore(name);
    }
    bench.change("SHAPES/LONG_LEY.shp", |mut bytes| {
        let last = bytes.len() - 1;
        bytes[last] ^= 1;
        bytes
    });
    bench
        .prove()
        .refused("stick.shapefile", &["SHAPES/LONG_LEY.shp"]);
    restore("SHAPES/LONG_LEY.shp");
    // Cards, pages and files of others are cautions.
    bench.change("CARDS/LONG_LEY.txt", |bytes| {
        [bytes, b"1".to_vec()].concat()
    });
    bench.change("index.html", |bytes| [bytes, b" ".to_vec()].concat());
    fs_err::write(bench.path("stick/SHAPES/OLD.shp"), "x").unwrap();
    fs_err::write(bench.path("stick/TASKDATA/GRD00099.bin"), "x").unwrap();
    let notice = bench.prove();
    assert_eq!(
        notice.codes(),
        [
            "caution stick.card",
            "caution stick.stranger",
            "caution stick.card"
        ],
        "{}",
        notice.wording.out
    );
    notice.done();
    for name in ["CARDS/LONG_LEY.txt", "index.html"] {
        restore(name);
    }
    for name in ["stick/SHAPES/OLD.shp", "stick/TASKDATA/GRD00099.bin"] {
        fs_err::remove_file(bench.path(name)).unwrap();
    }
    // A map too many, a map too few.
    bench
        .haulm(&["check", "stick", "--against", "maps/01"])
        .refused(
            "stick.extra",
            &["1 map that is none of the maps given", "Mill Piece aaaaa2"],
        );
    bench.office(3, "Far Piece", "aaaaa3", "Grower");
    bench.prove().refused(
        "stick.missing",
        &["map aaaaa3 of Far Piece is not on the stick"],
    );
    fs_err::remove_dir_all(bench.path("maps/03")).unwrap();
    // Without the record the task data are still proved.
    fs_err::remove_file(bench.path("stick/haulm.json")).unwrap();
    let notice = bench.prove();
    assert_eq!(notice.codes(), ["caution stick.record"]);
    notice.done();
    bench
        .haulm(&["check", "nowhere", "--against", "maps"])
        .refused("stick.input", &["no such stick"]);
}

#[test]
fn maps_with_one_format_and_maps_given_twice() {
    let bench = Bench::new();
    let one = bench.office(1, "Long Ley", "aaaaa1", "Grower");
    let two = bench.office(2, "Mill Piece", "aaaaa2", "Grower");
    let keep = |folder: &Path, keep: &dyn Fn(&str) -> bool| {
        let path = folder.join("office/record.json");
        let mut record: Value = serde_json::from_slice(&fs_err::read(&path).unwrap()).unwrap();
        let outputs: Vec<Value> = record["outputs"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|item| keep(item["path"].as_str().unwrap()))
            .cloned()
            .collect();
        record["outputs"] = json!(outputs);
        fs_err::write(path, record.to_string()).unwrap();
    };
    keep(&one, &|path| !path.contains("TASKDATA"));
    keep(&two, &|path| {
        path.contains("TASKDATA") || path.contains("CARD")
    });
    // The same folder by two names is one map; a copy of it is the same map.
    bench.office(3, "Mill Piece", "aaaaa2", "Grower");
    let record = fs_err::read(two.join("office/record.json")).unwrap();
    for (name, bytes) in files(&two) {
        fs_err::write(bench.path("maps/03").join(name), bytes).unwrap();
    }
    fs_err::write(bench.path("maps/03/office/record.json"), record).unwrap();
    let notice = bench.haulm(&["stick", "maps", "maps/01", "--to", "stick"]);
    assert_eq!(
        notice.codes(),
        [
            "caution stick.formats",
            "note stick.twice",
            "note stick.folder"
        ],
        "{}",
        notice.wording.out
    );
    let done = notice.done();
    assert_eq!(done["result"]["maps"].as_array().unwrap().len(), 2);
    let stick = bench.stick();
    assert!(
        stick.contains_key("SHAPES/LONG_LEY.shp") && !stick.contains_key("SHAPES/MILL_PIE.shp")
    );
    assert_eq!(task_data(&bench.path("stick")).1.len(), 1);
    assert_eq!(bench.prove().codes(), ["note stick.twice"]);
    // Another map under the same id is refused.
    bench.office(4, "Mill Piece", "aaaaa2", "Grower");
    bench
        .write()
        .refused("stick.map_id", &["aaaaa2", "maps/02"]);
}
