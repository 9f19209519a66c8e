//! The page without a socket: who is let in, what may be read and changed, and that its numbers are those of `haulm map`.

use std::path::{Path, PathBuf};
use std::time::Duration;

use axum::body::Body;
use axum::http::{Method, Request, Response};
use haulm::web::testing::{HOST, Page};
use serde_json::{Value, json};

/// A page with the cookie and token that a browser would have.
pub(crate) struct Browser {
    page: Page,
    cookie: String,
    token: String,
}

fn request(method: Method, path: &str) -> axum::http::request::Builder {
    Request::builder()
        .method(method)
        .uri(path)
        .header("host", HOST)
}

fn value(body: &[u8]) -> Value {
    serde_json::from_slice(body).unwrap_or(Value::Null)
}

impl Browser {
    pub(crate) fn open(path: &Path, write: bool) -> Self {
        let page = Page::open(path, write).unwrap();
        let asked = request(Method::POST, "/api/v1/enter")
            .header("content-type", "application/json")
            .body(Body::from(json!({ "token": page.token() }).to_string()))
            .unwrap();
        let (head, _) = page.ask(asked);
        assert_eq!(head.status(), 204);
        let line = head.headers()["set-cookie"].to_str().unwrap();
        for part in ["HttpOnly", "SameSite=Strict", "Path=/"] {
            assert!(line.contains(part), "{line}");
        }
        let cookie = line.split(';').next().unwrap().to_owned();
        let mut browser = Self {
            page,
            cookie,
            token: String::new(),
        };
        let (_, session) = browser.get("/api/v1/session");
        session["token"]
            .as_str()
            .unwrap()
            .clone_into(&mut browser.token);
        browser
    }
    pub(crate) fn read(&self, path: &str) -> (Response<()>, Vec<u8>) {
        let asked = request(Method::GET, path)
            .header("cookie", &self.cookie)
            .body(Body::empty())
            .unwrap();
        self.page.ask(asked)
    }
    pub(crate) fn get(&self, path: &str) -> (u16, Value) {
        let (head, body) = self.read(path);
        (head.status().as_u16(), value(&body))
    }
    fn posting(&self, path: &str, body: &Value) -> Request<Body> {
        request(Method::POST, path)
            .header("cookie", &self.cookie)
            .header("x-haulm-token", &self.token)
            .header("content-type", "application/json")
            .body(Body::from(body.to_string()))
            .unwrap()
    }
    pub(crate) fn post(&self, path: &str, body: &Value) -> (u16, Value) {
        let (head, body) = self.page.ask(self.posting(path, body));
        (head.status().as_u16(), value(&body))
    }
    fn change(&self, section: &str, key: &str, text: Option<&str>) -> (u16, Value) {
        self.post(
            "/api/v1/jobs/0/change",
            &json!({ "changes": [{ "section": section, "key": key, "value": text }] }),
        )
    }
}

/// A copy of the demo, and its job file.
pub(crate) fn demo() -> (tempfile::TempDir, PathBuf) {
    let (folder, from) = (
        tempfile::tempdir().unwrap(),
        Path::new(env!("CARGO_MANIFEST_DIR")).join("demo"),
    );
    fs_err::create_dir(folder.path().join("field")).unwrap();
    for entry in fs_err::read_dir(from.join("field")).unwrap() {
        let path = entry.unwrap().path();
        fs_err::copy(
            &path,
            folder.path().join("field").join(path.file_name().unwrap()),
        )
        .unwrap();
    }
    let job = folder.path().join("job.toml");
    fs_err::copy(from.join("job.toml"), &job).unwrap();
    (folder, job)
}

#[test]
fn numbers_and_files_of_the_page_are_those_of_haulm_map() {
    let (folder, job) = demo();
    let browser = Browser::open(&job, true);
    let (status, before) = browser.get("/api/v1/jobs/0");
    assert_eq!(
        (status, before["state"].as_str()),
        (200, Some("ready")),
        "{before}"
    );
    let (status, after) = browser.change("response", "maximum_yield", Some("\"3.6 t/ha\""));
    assert_eq!(status, 200, "{after}");
    assert_ne!(
        before["record"]["totals"]["n_kg"],
        after["record"]["totals"]["n_kg"]
    );
    // The job file holds the change, and every other byte is as it was.
    let original =
        fs_err::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/job.toml"))
            .unwrap();
    let changed = fs_err::read_to_string(&job).unwrap();
    assert_eq!(changed, original.replace("\"4.0 t/ha\"", "\"3.6 t/ha\""));
    let (status, made) = browser.post("/api/v1/jobs/0/map", &json!({}));
    assert_eq!(status, 200, "{made}");
    assert_eq!(made["totals"]["n_kg"], after["record"]["totals"]["n_kg"]);
    let beside = folder.path().join("beside");
    let options = haulm::app::api::MapOptions {
        output: Some(beside.clone()),
        ..Default::default()
    };
    let report = haulm::app::api::map(&job, &options, &haulm::Silent).unwrap();
    assert_eq!(report.json["map_id"], made["map_id"]);
    let mut compared = 0;
    for (path, _) in &report.files {
        let (a, b) = (
            fs_err::read(folder.path().join("out").join(path)).unwrap(),
            fs_err::read(beside.join(path)).unwrap(),
        );
        // The record alone holds the true time of its making.
        assert!(a == b || path.ends_with("record.json"), "{path} differs");
        compared += 1;
    }
    assert!(compared > 10, "{compared} files");
    // The list that the page gives is the list that it sends from.
    let mut names: Vec<&str> = made["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|file| file["path"].as_str().unwrap())
        .collect();
    names.sort_unstable();
    for (k, name) in names.iter().enumerate() {
        let (head, bytes) = browser.read(&format!("/api/v1/jobs/0/written/{k}"));
        assert_eq!(head.status(), 200);
        assert_eq!(
            bytes,
            fs_err::read(folder.path().join("out").join(name)).unwrap(),
            "{name}"
        );
    }
    assert_eq!(
        browser
            .get(&format!("/api/v1/jobs/0/written/{}", names.len()))
            .0,
        404
    );
    let (head, zip) = browser.read("/api/v1/jobs/0/written/all.zip");
    assert!(head.status() == 200 && zip.starts_with(b"PK"));
}

#[test]
fn a_refused_change_changes_nothing_and_undo_brings_all_back() {
    let (_folder, job) = demo();
    let original = fs_err::read_to_string(&job).unwrap();
    let browser = Browser::open(&job, true);
    browser.get("/api/v1/jobs/0");
    for (section, key, text) in [
        ("rate", "maximum", "\"80\""),
        ("rate", "maximum", "80 kg"),
        ("rate", "maximum", "\"-5 kg N/ha\""),
        ("response", "maximum_yield", "\"4 t/ac N\""),
        ("machine", "working_width", "\"0 m\""),
        ("rate", "no_such_key", "1"),
        ("no.such.section", "x", "1"),
        ("output", "folder", "\"../elsewhere\""),
    ] {
        let (status, refused) = browser.change(section, key, Some(text));
        assert_eq!(status, 422, "{section}.{key} = {text}: {refused}");
        assert!(refused["error"]["headline"].is_string());
        assert_eq!(fs_err::read_to_string(&job).unwrap(), original);
    }
    let (_, view) = browser.change("rate", "maximum", Some("\"60 kg N/ha\""));
    assert_eq!(view["can_undo"], true);
    let (_, drawn) = browser.post(
        "/api/v1/jobs/0/shapes",
        &json!({ "layer": "exclude", "shapes": [[[560_100.0, 5_559_900.0], [560_140.0, 5_559_900.0], [560_120.0, 5_559_940.0]]], "reason": "mast" }),
    );
    assert_eq!(
        drawn["record"]["settings"]["field"]["exclude"][1]["reason"], "mast",
        "{drawn}"
    );
    let shape = job.with_file_name("job_drawn_exclusion_1.geojson");
    assert!(shape.is_file());
    browser.post("/api/v1/jobs/0/undo", &json!({}));
    assert!(!shape.exists());
    let (_, less) = browser.post(
        "/api/v1/jobs/0/remove",
        &json!({ "list": "field.exclude", "position": 0 }),
    );
    assert_eq!(
        less["record"]["settings"]["field"]["exclude"],
        json!([]),
        "{less}"
    );
    assert_eq!(
        browser
            .post(
                "/api/v1/jobs/0/remove",
                &json!({ "list": "field.exclude", "position": 0 })
            )
            .0,
        422
    );
    browser.post("/api/v1/jobs/0/undo", &json!({}));
    let (_, back) = browser.post("/api/v1/jobs/0/undo", &json!({}));
    assert_eq!(back["can_undo"], false);
    assert_eq!(fs_err::read_to_string(&job).unwrap(), original);
    let (_, forth) = browser.post("/api/v1/jobs/0/redo", &json!({}));
    assert_eq!(forth["record"]["settings"]["rate"]["maximum_kg_n_ha"], 60.0);
    // A value that is dragged is one step.
    for at in ["3.9", "3.8", "3.7"] {
        let changes = json!([{ "section": "response", "key": "maximum_yield", "value": format!("\"{at} t/ha\"") }]);
        browser.post(
            "/api/v1/jobs/0/change",
            &json!({ "changes": changes, "joined": at != "3.9" }),
        );
    }
    let (_, back) = browser.post("/api/v1/jobs/0/undo", &json!({}));
    assert_eq!(
        back["record"]["settings"]["response"]["maximum_yield_kg_ha"],
        4000.0
    );
}

#[test]
fn a_job_that_another_program_changed_is_not_overwritten() {
    let (_folder, job) = demo();
    let browser = Browser::open(&job, true);
    browser.get("/api/v1/jobs/0");
    let other = fs_err::read_to_string(&job)
        .unwrap()
        .replace("10 kg N/ha", "5 kg N/ha");
    fs_err::write(&job, &other).unwrap();
    let (status, refused) = browser.change("rate", "maximum", Some("\"60 kg N/ha\""));
    assert_eq!(
        (status, refused["error"]["code"].as_str()),
        (422, Some("page.changed"))
    );
    assert_eq!(fs_err::read_to_string(&job).unwrap(), other);
    let (_, view) = browser.post("/api/v1/jobs/0/reload", &json!({}));
    assert_eq!(view["record"]["settings"]["rate"]["step_kg_n_ha"], 5.0);
}

#[test]
fn a_page_for_looking_tries_values_and_writes_nothing() {
    let (folder, job) = demo();
    let original = fs_err::read_to_string(&job).unwrap();
    let browser = Browser::open(&job, false);
    browser.get("/api/v1/jobs/0");
    let (status, view) = browser.change("rate", "maximum", Some("\"40 kg N/ha\""));
    assert_eq!((status, view["saved"].as_bool()), (200, Some(false)));
    assert_eq!(browser.post("/api/v1/jobs/0/map", &json!({})).0, 403);
    let triangle = json!({ "layer": "strips", "shapes": [[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]] });
    assert_eq!(browser.post("/api/v1/jobs/0/shapes", &triangle).0, 403);
    assert_eq!(
        browser.post("/api/v1/start", &json!({ "demo": true })).0,
        403
    );
    assert_eq!(fs_err::read_to_string(&job).unwrap(), original);
    assert!(!folder.path().join("out").exists());
}

#[test]
fn a_job_that_is_not_finished_shows_field_and_what_is_missing() {
    let (_folder, job) = demo();
    let text = fs_err::read_to_string(&job).unwrap();
    let open: String = text
        .lines()
        .filter(|line| !line.starts_with("maximum") && !line.starts_with("strips = \"field"))
        .fold(String::new(), |all, line| all + line + "\n");
    fs_err::write(&job, open).unwrap();
    let browser = Browser::open(&job, true);
    let (_, view) = browser.get("/api/v1/jobs/0");
    assert_eq!(view["state"], "unfinished", "{view}");
    assert_eq!(view["answers"][0]["figure"], "21.7 ha");
    let keys: Vec<&str> = view["faults"]
        .as_array()
        .unwrap()
        .iter()
        .map(|fault| fault["key"].as_str().unwrap())
        .collect();
    assert!(
        keys.contains(&"response.maximum_yield") && keys.contains(&"rate.maximum"),
        "{keys:?}"
    );
    let (_, ground) = browser.get("/api/v1/jobs/0/ground");
    assert!(
        ground["boundary"]
            .as_array()
            .is_some_and(|rings| !rings.is_empty())
    );
    // One missing value after the other is taken, although the job is refused until the last one.
    browser.change("response", "maximum_yield", Some("\"4.0 t/ha\""));
    browser.change("rate", "maximum", Some("\"80 kg N/ha\""));
    let strips = json!({ "layer": "strips", "shapes": [[[559_890.0, 5_559_935.0], [560_070.0, 5_560_029.0], [560_081.0, 5_560_008.0], [559_901.0, 5_559_914.0]]] });
    let (status, view) = browser.post("/api/v1/jobs/0/shapes", &strips);
    assert_eq!(status, 200, "{view}");
    assert!(
        matches!(view["state"].as_str(), Some("ready" | "stopped")),
        "{}",
        view["error"]
    );
}

#[test]
fn only_the_page_itself_gets_in() {
    let (_folder, job) = demo();
    let browser = Browser::open(&job, true);
    let page = &browser.page;
    let plain = |builder: axum::http::request::Builder| {
        page.ask(builder.body(Body::empty()).unwrap())
            .0
            .status()
            .as_u16()
    };
    // Without the cookie nothing but the empty shell.
    assert_eq!(plain(request(Method::GET, "/")), 200);
    for path in [
        "/api/v1/session",
        "/api/v1/jobs",
        "/api/v1/jobs/0",
        "/api/v1/keys",
        "/api/v1/events",
        "/api/v1/jobs/0/cells?columns=n",
        "/api/v1/openapi.json",
    ] {
        assert_eq!(plain(request(Method::GET, path)), 401, "{path}");
    }
    // Hosts that are not ours, absent, twice, or in the target.
    for host in [
        "example.org:4321",
        "127.0.0.1.evil.example:4321",
        "127.0.0.1:4322",
        "localhost",
        "2130706433:4321",
        "user@127.0.0.1:4321",
    ] {
        assert_eq!(
            plain(Request::builder().uri("/").header("host", host)),
            403,
            "{host}"
        );
    }
    assert_eq!(plain(Request::builder().uri("/")), 403);
    assert_eq!(plain(request(Method::GET, "/").header("host", HOST)), 403);
    assert_eq!(plain(request(Method::GET, "http://127.0.0.1:4321/")), 403);
    assert_eq!(plain(request(Method::GET, "http://evil.example/")), 403);
    // What other sites could send from a browser that has the cookie.
    let change = json!({ "changes": [] }).to_string();
    let send = |headers: &[(&str, &str)], drop: &str| {
        let ours = [
            ("cookie", browser.cookie.as_str()),
            ("x-haulm-token", &browser.token),
            ("content-type", "application/json"),
        ];
        let mut builder = request(Method::POST, "/api/v1/jobs/0/change");
        for (name, text) in ours
            .iter()
            .filter(|(name, _)| *name != drop && !headers.iter().any(|(other, _)| other == name))
            .chain(headers)
        {
            builder = builder.header(*name, *text);
        }
        page.ask(builder.body(Body::from(change.clone())).unwrap())
            .0
            .status()
            .as_u16()
    };
    assert_eq!(
        send(
            &[
                ("origin", "http://127.0.0.1:4321"),
                ("sec-fetch-site", "same-origin")
            ],
            ""
        ),
        200
    );
    for (headers, drop, status) in [
        (&[("origin", "http://evil.example")][..], "", 403),
        (&[("origin", "null")], "", 403),
        (&[("origin", "http://127.0.0.1:9999")], "", 403),
        (&[("origin", "https://127.0.0.1:4321")], "", 403),
        (&[("sec-fetch-site", "cross-site")], "", 403),
        (&[("sec-fetch-site", "same-site")], "", 403),
        (&[("content-type", "text/plain")], "", 415),
        (
            &[("content-type", "application/x-www-form-urlencoded")],
            "",
            415,
        ),
        (
            &[("content-type", "multipart/form-data; boundary=x")],
            "",
            415,
        ),
        (&[], "content-type", 415),
        (&[], "x-haulm-token", 403),
        (&[("x-haulm-token", "0000")], "", 403),
        (&[], "cookie", 401),
        (&[("cookie", "haulm-4321=0000")], "", 401),
    ] {
        assert_eq!(send(headers, drop), status, "{headers:?} without {drop:?}");
    }
    // A wrong token opens nothing.
    let wrong = request(Method::POST, "/api/v1/enter")
        .header("content-type", "application/json")
        .body(Body::from("{\"token\":\"0123\"}"))
        .unwrap();
    assert_eq!(page.ask(wrong).0.status(), 401);
}

#[test]
fn every_answer_carries_the_same_headers_and_none_lets_others_in() {
    let (_folder, job) = demo();
    let browser = Browser::open(&job, true);
    browser.get("/api/v1/jobs/0");
    for path in [
        "/",
        "/page.js",
        "/page.css",
        "/icon.svg",
        "/nothing",
        "/api/v1/session",
        "/api/v1/jobs/0",
        "/api/v1/jobs/0/cells?columns=n",
        "/api/v1/jobs/9",
        "/api/v1/openapi.json",
    ] {
        let (head, _) = browser.read(path);
        let header = |name: &str| {
            head.headers()
                .get(name)
                .and_then(|text| text.to_str().ok())
                .unwrap_or_default()
        };
        let policy = header("content-security-policy");
        for part in [
            "default-src 'self'",
            "object-src 'none'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
            "script-src 'self'",
        ] {
            assert!(policy.contains(part), "{path}: {policy}");
        }
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(header("referrer-policy"), "no-referrer", "{path}");
        assert_eq!(
            header("cross-origin-resource-policy"),
            "same-origin",
            "{path}"
        );
        assert_eq!(
            header("cross-origin-opener-policy"),
            "same-origin",
            "{path}"
        );
        assert!(
            matches!(header("cache-control"), "no-store" | "no-cache"),
            "{path}"
        );
        assert!(
            path.starts_with("/api") == (header("cache-control") == "no-store")
                || path == "/nothing",
            "{path}"
        );
        assert!(
            head.headers()
                .keys()
                .all(|name| !name.as_str().starts_with("access-control")),
            "{path}"
        );
    }
}

#[test]
fn no_address_and_no_value_leads_out_of_the_folder() {
    let (folder, job) = demo();
    let browser = Browser::open(&job, true);
    browser.get("/api/v1/jobs/0");
    for path in [
        "/../Cargo.toml",
        "/..%2fCargo.toml",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/%252e%252e%252fetc/passwd",
        "/..%5c..%5cetc",
        "//etc/passwd",
        "/page.js/../../job.toml",
        "/page.js%00",
        "/api/v1/jobs/..",
        "/api/v1/jobs/0%2f..%2f..",
        "/api/v1/jobs/-1",
        "/api/v1/jobs/+0",
        "/api/v1/jobs/00000000000",
        "/api/v1/jobs/0x0",
        "/api/v1/jobs/job.toml",
        "/api/v1/jobs/0/written/..%2f..%2fjob.toml",
        "/api/v1/jobs/0/written/record.json",
        "/api/v1/jobs/0/written/%2fetc%2fpasswd",
        "/api/v1/jobs/0/cells/..%2f0",
        "/api/v1/jobs/0/cells?columns=../n",
        "/api/v1/jobs/0/cells?columns=",
        "/api/v1/jobs/0/cells",
        "/.haulm-page",
        "/field/mosaic.tif",
        "/api/v1/../../x",
    ] {
        let (head, body) = browser.read(path);
        assert!(
            matches!(head.status().as_u16(), 404 | 400 | 405),
            "{path}: {}",
            head.status()
        );
        assert!(!String::from_utf8_lossy(&body).contains("root:"), "{path}");
    }
    #[cfg(unix)]
    std::os::unix::fs::symlink("/etc/passwd", folder.path().join("field/link.csv")).unwrap();
    for text in [
        "../x.tif",
        "/etc/passwd",
        "field/../../x.tif",
        "field/link.csv",
        "/vsizip/field/x.zip",
        "/proc/self/environ",
        "field\\\\..\\\\x",
        "C:/x.tif",
        "//host/share/x.tif",
        "field/mosaic.tif\\u0000",
        "GTIFF_DIR:1:/etc/x.tif",
        "/dev/zero",
        "field/absent.tif",
        "http://127.0.0.1/x.tif",
    ] {
        for (section, key) in [
            ("imagery", "path"),
            ("season", "weather"),
            ("field", "boundary"),
            ("reference", "strips"),
        ] {
            let (status, refused) = browser.change(section, key, Some(&format!("\"{text}\"")));
            assert_eq!(status, 422, "{section}.{key} = {text}: {refused}");
        }
    }
}

#[test]
fn what_is_too_large_or_no_request_is_refused_in_words() {
    let (_folder, job) = demo();
    let browser = Browser::open(&job, true);
    let big = Value::String("x".repeat(3 << 20));
    let (status, refused) = browser.post("/api/v1/jobs/0/change", &big);
    assert_eq!(status, 413);
    assert!(
        refused["error"]["headline"]
            .as_str()
            .unwrap()
            .contains("2 MiB"),
        "{refused}"
    );
    let deep = "[".repeat(5_000);
    for body in [
        "",
        "{",
        "null",
        "[]",
        "{\"changes\":3}",
        "{\"changes\":[{}]}",
        "\u{0}",
        deep.as_str(),
    ] {
        let asked = request(Method::POST, "/api/v1/jobs/0/change")
            .header("cookie", &browser.cookie)
            .header("x-haulm-token", &browser.token)
            .header("content-type", "application/json")
            .body(Body::from(body.to_owned()))
            .unwrap();
        let (head, answer) = browser.page.ask(asked);
        assert!(
            head.status().is_client_error(),
            "{body:?}: {}",
            head.status()
        );
        assert!(value(&answer)["error"]["headline"].is_string(), "{body:?}");
    }
}

#[test]
fn many_at_once_and_one_that_goes_away_leave_a_sound_job() {
    let (_folder, job) = demo();
    let browser = Browser::open(&job, true);
    browser.get("/api/v1/jobs/0");
    let asked = (0..50)
        .map(|k| {
            let body = json!({ "changes": [{ "section": "rate", "key": "maximum", "value": format!("\"{} kg N/ha\"", 40 + 10 * (k % 5)) }] });
            browser.posting("/api/v1/jobs/0/change", &body)
        })
        .collect();
    let statuses = browser.page.ask_all(asked);
    assert!(
        statuses.iter().all(|status| matches!(status, 200 | 503)),
        "{statuses:?}"
    );
    assert!(
        statuses.iter().filter(|status| **status == 200).count() >= 10,
        "{statuses:?}"
    );
    // A change that needs a new reading, and whoever asked is gone before it is done.
    let body = json!({ "changes": [{ "section": "machine", "key": "heading", "value": "10" }] });
    browser.page.ask_and_leave(
        browser.posting("/api/v1/jobs/0/change", &body),
        Duration::from_millis(5),
    );
    let (status, view) = browser.post("/api/v1/jobs/0/reload", &json!({}));
    assert_eq!(status, 200, "{view}");
    let text = fs_err::read_to_string(&job).unwrap();
    let on_disk = toml::from_str::<toml::Table>(&text).unwrap();
    assert_eq!(view["text"], text);
    assert!(
        on_disk["rate"]["maximum"]
            .as_str()
            .unwrap()
            .ends_with("kg N/ha")
    );
}

#[test]
fn an_empty_page_takes_files_under_its_own_names_and_begins_a_job() {
    let folder = tempfile::tempdir().unwrap();
    let own = folder.path().join("page");
    let browser = Browser::open(&own, false);
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/field");
    let send = |kind: &str, name: &str, bytes: Vec<u8>| {
        let asked = request(
            Method::POST,
            &format!("/api/v1/files?kind={kind}&set=7&name={name}"),
        )
        .header("cookie", &browser.cookie)
        .header("x-haulm-token", &browser.token)
        .header("content-type", "application/octet-stream")
        .body(Body::from(bytes))
        .unwrap();
        let (head, body) = browser.page.ask(asked);
        (head.status().as_u16(), value(&body))
    };
    for (kind, name) in [
        ("image", "x.exe"),
        ("image", "tif"),
        ("program", "x.tif"),
        ("..", "x.tif"),
        ("image", "x.tif%2f..%2f..%2fy.sh"),
    ] {
        let (status, _) = send(kind, name, b"x".to_vec());
        assert!(matches!(status, 404 | 422), "{kind} {name}: {status}");
    }
    let image = send(
        "image",
        "..%2f..%2fmy%20mosaic.TIF",
        fs_err::read(demo.join("mosaic.tif")).unwrap(),
    );
    assert_eq!(
        (image.0, image.1["file"].as_str()),
        (200, Some("inputs/7/image.tif"))
    );
    let boundary = send(
        "boundary",
        "b.geojson",
        fs_err::read(demo.join("boundary.geojson")).unwrap(),
    );
    assert_eq!(boundary.1["file"], "inputs/7/boundary.geojson");
    for bad in [
        json!({}),
        json!({ "image": "inputs/7/image.tif" }),
        json!({ "image": "../x.tif", "boundary": "inputs/7/boundary.geojson" }),
        json!({ "image": "inputs/7/image.tif", "boundary": "/etc/passwd" }),
    ] {
        assert_eq!(browser.post("/api/v1/start", &bad).0, 422, "{bad}");
    }
    let (status, view) = browser.post(
        "/api/v1/start",
        &json!({ "image": "inputs/7/image.tif", "boundary": "inputs/7/boundary.geojson", "name": "New <b>Ley</b>", "date": "2026-04-14" }),
    );
    assert_eq!(
        (status, view["state"].as_str()),
        (200, Some("unfinished")),
        "{view}"
    );
    assert_eq!(view["job"]["field"]["name"], "New <b>Ley</b>");
    assert!(own.join("job.toml").is_file());
    let (_, demo) = browser.post("/api/v1/start", &json!({ "demo": true }));
    assert_eq!(
        (demo["state"].as_str(), demo["id"].as_u64()),
        (Some("ready"), Some(1))
    );
    assert_eq!(browser.get("/api/v1/jobs").1.as_array().unwrap().len(), 2);
}

#[test]
fn a_folder_that_is_no_page_of_ours_is_not_taken_over() {
    let folder = tempfile::tempdir().unwrap();
    let error = Page::open(folder.path(), false).unwrap_err();
    assert_eq!(error.code, "page.open");
    assert_eq!(fs_err::read_dir(folder.path()).unwrap().count(), 0);
    assert!(Page::open(&folder.path().join("absent.toml"), false).is_err());
}

#[test]
fn an_adviser_accepts_a_stop_by_name_and_reason() {
    let (_folder, job) = demo();
    let text = fs_err::read_to_string(&job)
        .unwrap()
        .replace("date = 2026-04-18", "date = 2026-06-18");
    fs_err::write(&job, text).unwrap();
    let browser = Browser::open(&job, true);
    let (_, view) = browser.get("/api/v1/jobs/0");
    assert_eq!(view["state"], "stopped");
    let (code, figure) = (
        view["findings"][0]["code"].clone(),
        view["findings"][0]["figure"].clone(),
    );
    assert_eq!(view["findings"][0]["severity"], "stop");
    assert_eq!(
        browser
            .post(
                "/api/v1/jobs/0/accept",
                &json!({ "code": code, "reason": " ", "by": "A. Adviser" })
            )
            .0,
        422
    );
    let (status, view) = browser.post(
        "/api/v1/jobs/0/accept",
        &json!({ "code": code, "figure": figure, "reason": "cold spell, no growth", "by": "A. Adviser" }),
    );
    assert_eq!(
        (status, view["state"].as_str()),
        (200, Some("ready")),
        "{view}"
    );
    assert!(fs_err::read_to_string(&job).unwrap().contains("[[accept]]"));
}

#[test]
fn the_page_is_small_and_its_api_described() {
    const { assert!(haulm::web::SENT_BYTES < 400_000) };
    let api = haulm::web::openapi();
    let paths = api["paths"].as_object().unwrap();
    assert!(paths.len() >= 20, "{}", paths.len());
    assert!(paths.keys().all(|path| path.starts_with("/api/v1/")));
}
