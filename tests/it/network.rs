//! Images over the network, from a small server on this machine: what it says of them stands in the record.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use crate::batch::Farm;
use crate::field::Field;

/// What a server does.
#[derive(Clone, Debug, Default)]
struct Manners {
    /// Its mark of the state of each file; `None` says nothing of it.
    etag: Option<String>,
    habit: Habit,
    /// Whether the image has been read from.
    read_from: bool,
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Habit {
    #[default]
    Plain,
    /// The mark changes once the image has been read from.
    Changes,
    /// It answers nobody who asks without reading.
    NoHead,
    /// It says what it has, and gives nothing.
    GivesNothing,
    /// Once the image has been read from, it no longer says anything of it.
    FallsSilent,
}

/// Serves a folder until the test ends.
struct Server {
    port: u16,
    manners: Arc<Mutex<Manners>>,
}

impl Server {
    fn of(folder: PathBuf, manners: Manners) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let manners = Arc::new(Mutex::new(manners));
        let shared = Arc::clone(&manners);
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let (folder, manners) = (folder.clone(), Arc::clone(&shared));
                std::thread::spawn(move || serve(stream, &folder, &manners));
            }
        });
        Self { port, manners }
    }
    fn image(&self) -> String {
        format!("/vsicurl/http://127.0.0.1:{}/image.tif", self.port)
    }
    fn set(&self, manners: Manners) {
        *self.manners.lock().unwrap() = manners;
    }
}

/// Answers one connection, which may ask many times.
fn serve(mut stream: TcpStream, folder: &Path, manners: &Mutex<Manners>) {
    let mut lines = BufReader::new(stream.try_clone().unwrap()).lines();
    while let Some(Ok(first)) = lines.next() {
        let mut words = first.split(' ');
        let (method, path) = (words.next().unwrap(), words.next().unwrap());
        let mut range = None;
        for line in lines.by_ref().map_while(Result::ok) {
            if line.is_empty() {
                break;
            }
            if let Some(value) = line.to_lowercase().strip_prefix("range: bytes=") {
                let (from, to) = value.split_once('-').unwrap();
                range = Some((from.parse::<usize>().unwrap(), to.parse::<usize>().ok()));
            }
        }
        let bytes = fs_err::read(folder.join(path.trim_start_matches('/')));
        let mut manners = manners.lock().unwrap();
        let quiet = match (manners.habit, method) {
            (Habit::FallsSilent, "HEAD") => manners.read_from && path.ends_with("image.tif"),
            (Habit::GivesNothing, "GET") => true,
            _ => false,
        };
        if quiet {
            return;
        }
        manners.read_from |= method == "GET" && path.ends_with("image.tif");
        let silent = manners.habit == Habit::NoHead && method == "HEAD";
        let refused = silent || bytes.is_err();
        let bytes = bytes.unwrap_or_default();
        let etag = manners.etag.as_ref();
        let etag = etag.map_or_else(String::new, |etag| format!("ETag: \"{etag}\"\r\n"));
        let (head, part) = match range {
            _ if silent => ("405 Method Not Allowed\r\n".to_owned(), &bytes[..0]),
            _ if refused => ("404 Not Found\r\n".to_owned(), &bytes[..0]),
            None => (format!("200 OK\r\n{etag}"), &bytes[..]),
            Some((from, to)) => {
                let to = to.unwrap_or(usize::MAX).min(bytes.len() - 1);
                let whole = bytes.len();
                let head = format!(
                    "206 Partial Content\r\n{etag}Content-Range: bytes {from}-{to}/{whole}\r\n"
                );
                (head, &bytes[from..=to])
            }
        };
        let length = part.len();
        let head =
            format!("HTTP/1.1 {head}Content-Length: {length}\r\nAccept-Ranges: bytes\r\n\r\n");
        if stream.write_all(head.as_bytes()).is_err() {
            return;
        }
        if method == "GET" {
            if stream.write_all(part).is_err() {
                return;
            }
            if manners.habit == Habit::Changes && !refused {
                manners.etag = Some("another".to_owned());
            }
        }
    }
}

/// The field with its image on a server.
fn field(manners: Manners) -> (Field, Server) {
    let field = Field::new();
    let server = Server::of(field.path(""), manners);
    field.job("\"image.tif\"", &format!("\"{}\"", server.image()));
    (field, server)
}

/// A farm with its image on a server.
fn farm(manners: Manners) -> (Farm, Server) {
    let farm = Farm::new();
    let server = Server::of(farm.path(""), manners);
    let address = server.image().replace("image.tif", "tile.tif");
    farm.change("farm.toml", "\"tile.tif\"", &format!("\"{address}\""));
    (farm, server)
}

fn marked(etag: &str) -> Manners {
    Manners {
        etag: Some(etag.to_owned()),
        ..Manners::default()
    }
}

fn entry(field: &Field, image: &str) -> serde_json::Value {
    let record = field.record();
    let inputs = record["inputs"].as_array().unwrap();
    inputs
        .iter()
        .find(|input| input["path"] == image)
        .unwrap_or_else(|| panic!("{inputs:#?}"))
        .clone()
}

#[test]
fn an_image_over_the_network_stands_in_the_record_with_size_and_etag() {
    let near = Field::new();
    assert_eq!(near.run(&["map"]).status, Some(0));
    for habit in [Habit::Plain, Habit::NoHead] {
        let (field, server) = field(Manners {
            habit,
            ..marked("first")
        });
        let refused = field.run(&["map"]);
        assert_eq!(refused.status, Some(1), "{}", refused.err);
        assert!(refused.err.contains("file.network"), "{}", refused.err);
        let wording = field.run(&["map", "--network"]);
        assert_eq!(wording.status, Some(0), "{}", wording.err);
        let entry = entry(&field, &server.image());
        assert_eq!(entry["etag"], "\"first\"");
        let size = fs_err::metadata(field.path("image.tif")).unwrap().len();
        assert_eq!(entry["bytes"], size);
        assert!(
            !wording.out.contains("image.state_unknown"),
            "{}",
            wording.out
        );
        // The rates are those of the same image beside the job.
        assert_eq!(field.record()["totals"], near.record()["totals"]);
        let report = fs_err::read_to_string(field.path("out/office/report.html")).unwrap();
        assert!(report.contains("ETag"), "the report lists it");
    }
}

#[test]
fn an_image_that_changes_or_goes_while_it_is_read_makes_no_map() {
    for (habit, parts) in [
        (Habit::Changes, &["file.changed", "first", "another"][..]),
        // Nobody knows whether it changed.
        (Habit::FallsSilent, &["file.unreachable", "image.tif"]),
    ] {
        let (field, _server) = field(Manners {
            habit,
            ..marked("first")
        });
        let wording = field.run(&["map", "--network"]);
        assert_eq!(wording.status, Some(1), "{}", wording.out);
        for part in parts {
            assert!(wording.err.contains(part), "{part}: {}", wording.err);
        }
        assert!(!field.path("out/machine").exists());
    }
}

#[test]
fn a_server_that_says_nothing_of_the_state_is_a_caution() {
    let (field, server) = field(Manners::default());
    let wording = field.run(&["map", "--network"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    assert!(
        wording.out.contains("image.state_unknown"),
        "{}",
        wording.out
    );
    assert!(entry(&field, &server.image())["etag"].is_null());
}

#[test]
fn the_fields_of_a_farm_are_made_again_when_their_image_on_the_network_changes() {
    let (farm, server) = farm(marked("first"));
    let (_, rows, sums) = farm.run(&["--network"]);
    assert_eq!(
        (sums["done"].as_u64(), sums["made"].as_u64()),
        (Some(3), Some(4)),
        "{rows:#?}"
    );
    let (_, _, sums) = farm.run(&["--network"]);
    assert_eq!(sums["skipped"], 4, "nothing has changed");
    server.set(marked("second"));
    let (_, rows, _) = farm.run(&["--network"]);
    let why = rows[1]["why"].as_str().unwrap();
    assert!(why.contains("tile.tif changed"), "{why}");
    server.set(Manners::default());
    let (_, _, sums) = farm.run(&["--network"]);
    assert_eq!(sums["made"], 4);
    let (_, rows, sums) = farm.run(&["--network"]);
    assert_eq!(sums["made"], 4, "nobody knows whether it has changed");
    let why = rows[1]["why"].as_str().unwrap();
    assert!(why.contains("is as it was is unknown"), "{why}");
}

#[test]
fn a_map_of_an_image_over_the_network_goes_on_a_stick() {
    let (field, _server) = field(marked("first"));
    let wording = field.run(&["map", "--network"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    let wording = field.command(&["stick", "job.toml", "--to", "stick"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    assert!(field.path("stick/haulm.json").is_file());
}

#[test]
fn fields_whose_image_could_not_be_read_over_the_network_are_tried_again() {
    let (farm, server) = farm(Manners {
        habit: Habit::GivesNothing,
        ..marked("first")
    });
    let (_, rows, sums) = farm.run(&["--network"]);
    assert_eq!(sums["done"].as_u64(), Some(0), "{rows:#?}");
    server.set(marked("first"));
    let (_, rows, sums) = farm.run(&["--network"]);
    assert_eq!(sums["done"].as_u64(), Some(3), "{rows:#?}");
}
