//! What the page changes in a job beyond single keys: shapes, zones whose rate is set, entries of lists.

use serde_json::{Value, json};

use crate::page::{Browser, demo};

const SHAPES: &str = "/api/v1/jobs/0/shapes";
const ENTRY: &str = "/api/v1/jobs/0/entry";

/// A triangle of the demo field, on its plane. [m]
fn triangle(shift: f64) -> Value {
    json!([[
        [560_100.0 + shift, 5_559_900.0],
        [560_140.0 + shift, 5_559_900.0],
        [560_120.0 + shift, 5_559_940.0]
    ]])
}

#[test]
fn a_zone_gets_a_rate_with_its_reason_and_undo_takes_it_away() {
    let (_folder, job) = demo();
    let original = fs_err::read_to_string(&job).unwrap();
    let browser = Browser::open(&job, true);
    let (_, view) = browser.get("/api/v1/jobs/0");
    let zones = view["zones"].as_array().unwrap();
    let zone = zones
        .iter()
        .max_by(|a, b| {
            a["n_kg_ha"]
                .as_f64()
                .unwrap()
                .total_cmp(&b["n_kg_ha"].as_f64().unwrap())
        })
        .unwrap();
    let order = |more: &Value| {
        let mut order = json!({ "layer": "set", "shapes": [], "zone": zone["zone"], "decided": view["decided"], "set": "at_most", "amount": "20 kg N/ha", "reason": "steep bank" });
        for (key, value) in more.as_object().unwrap() {
            order[key] = value.clone();
        }
        order
    };
    for (more, part) in [
        (json!({ "decided": 0 }), "the map has changed"),
        (json!({ "zone": 10_000 }), "no such zone"),
        (json!({ "reason": " " }), "needs its amount and a reason"),
        (json!({ "amount": "" }), "needs its amount and a reason"),
        (json!({ "set": "rates" }), "rate, add, at_most"),
    ] {
        let (status, refused) = browser.post(SHAPES, &order(&more));
        assert!(matches!(status, 400 | 422), "{status} {refused}");
        assert!(refused.to_string().contains(part), "{refused}");
    }
    // An amount without its unit is refused by the job itself.
    let (status, refused) = browser.post(SHAPES, &order(&json!({ "amount": "20" })));
    assert_eq!(status, 422);
    assert!(refused.to_string().contains("needs its unit"), "{refused}");
    assert_eq!(fs_err::read_to_string(&job).unwrap(), original);

    let (status, after) = browser.post(SHAPES, &order(&json!({})));
    assert_eq!(status, 200, "{after}");
    let notice = &after["record"]["set_by_hand"][0];
    // The zone's own cells, no more and no fewer.
    assert_eq!(notice["cells"], zone["cells"], "{notice}");
    assert_eq!(
        notice["area_m2"].as_f64().unwrap().round(),
        zone["area_m2"].as_f64().unwrap().round()
    );
    let text = fs_err::read_to_string(&job).unwrap();
    assert!(
        text.contains("[[rate.set]]") && text.contains("reason = \"steep bank\""),
        "{text}"
    );
    let file = job.with_file_name("job_drawn_set_1.geojson");
    assert!(file.is_file());
    let (_, ground) = browser.get("/api/v1/jobs/0/ground");
    assert_eq!(ground["set"].as_array().unwrap().len(), 1);
    // A cell of it says what was set.
    let (_, cells) = browser.read("/api/v1/jobs/0/cells?columns=zone");
    let set_zone = after["zones"]
        .as_array()
        .unwrap()
        .iter()
        .find(|each| each["area_m2"] == zone["area_m2"])
        .unwrap();
    let number = set_zone["zone"].as_f64().unwrap() as f32;
    let at = cells
        .chunks_exact(4)
        .position(|bytes| f32::from_le_bytes(bytes.try_into().unwrap()) == number)
        .unwrap();
    let (_, cell) = browser.get(&format!("/api/v1/jobs/0/cells/{at}"));
    assert_eq!(cell["set"]["reason"], "steep bank", "{cell}");
    assert_eq!(cell["zone_n"], 20.0);
    // Its amount changes without reading anything anew.
    let reading = after["reading"].clone();
    let (status, less) = browser.post(
        ENTRY,
        &json!({ "list": "rate.set", "position": 0, "values": [{ "key": "at_most", "value": "\"10 kg N/ha\"" }] }),
    );
    assert_eq!(status, 200, "{less}");
    assert_eq!(less["reading"], reading);
    assert!(less["record"]["totals"]["n_kg"].as_f64() < after["record"]["totals"]["n_kg"].as_f64());
    for _ in 0..2 {
        browser.post("/api/v1/jobs/0/undo", &json!({}));
    }
    assert_eq!(fs_err::read_to_string(&job).unwrap(), original);
    assert!(!file.exists());
}

#[test]
fn corners_of_a_shape_that_stands_in_the_job_are_moved_into_a_file_of_the_pages_own() {
    let (_folder, job) = demo();
    let original = fs_err::read_to_string(&job).unwrap();
    let browser = Browser::open(&job, true);
    browser.get("/api/v1/jobs/0");
    let (_, ground) = browser.get("/api/v1/jobs/0/ground");
    let pond = &ground["excluded"][0][0];
    let shifted: Vec<Vec<[f64; 2]>> = pond
        .as_array()
        .unwrap()
        .iter()
        .map(|ring| {
            let points = ring.as_array().unwrap();
            points[..points.len() - 1]
                .iter()
                .map(|point| {
                    [
                        point[0].as_f64().unwrap() + 20.0,
                        point[1].as_f64().unwrap(),
                    ]
                })
                .collect()
        })
        .collect();
    let exclusion = original.find("[[field.exclude]]").unwrap();
    assert!(original[exclusion..].contains("reason"));
    let order = json!({ "layer": "exclude", "shapes": [], "polygons": [shifted], "position": 0 });
    let (status, view) = browser.post(SHAPES, &order);
    assert_eq!(status, 200, "{view}");
    let (_, moved) = browser.get("/api/v1/jobs/0/ground");
    let x = |ground: &Value| ground["excluded"][0][0][0][0][0].as_f64().unwrap();
    let minimum = |ground: &Value| {
        let ring = ground["excluded"][0][0][0].as_array().unwrap().clone();
        ring.iter()
            .map(|point| point[0].as_f64().unwrap())
            .fold(f64::INFINITY, f64::min)
    };
    assert!(
        (minimum(&moved) - minimum(&ground) - 20.0).abs() < 0.002,
        "{} {}",
        x(&moved),
        x(&ground)
    );
    // Buffer and reason stay; the file that others made too.
    let before = &view["record"]["settings"]["field"]["exclude"][0];
    assert!(before["reason"].is_string() && before["buffer_m"].as_f64().unwrap() > 0.0);
    assert!(
        job.with_file_name("job_drawn_exclusion_1.geojson")
            .is_file()
    );
    let order = json!({ "layer": "exclude", "shapes": [], "polygons": [[[[0.0, 0.0], [1.0, 1.0]]]], "position": 0 });
    assert_eq!(browser.post(SHAPES, &order).0, 422);
    let order =
        json!({ "layer": "exclude", "shapes": [], "polygons": [triangle(0.0)], "position": 9 });
    assert_eq!(browser.post(SHAPES, &order).0, 422);
    browser.post("/api/v1/jobs/0/undo", &json!({}));
    assert_eq!(fs_err::read_to_string(&job).unwrap(), original);
    // A hole stays a hole.
    let square = |low: f64, high: f64| {
        json!([
            [560_000.0 + low, 5_559_900.0 + low],
            [560_000.0 + high, 5_559_900.0 + low],
            [560_000.0 + high, 5_559_900.0 + high],
            [560_000.0 + low, 5_559_900.0 + high]
        ])
    };
    let order = json!({ "layer": "exclude", "shapes": [], "polygons": [[square(0.0, 60.0), square(20.0, 40.0)]] });
    let (status, view) = browser.post(SHAPES, &order);
    assert_eq!(status, 200, "{view}");
    let (_, holed) = browser.get("/api/v1/jobs/0/ground");
    assert_eq!(holed["excluded"][1][0].as_array().unwrap().len(), 2);
}

#[test]
fn what_another_session_drew_is_never_written_over() {
    let (_folder, job) = demo();
    let drawn = json!({ "layer": "exclude", "shapes": triangle(0.0), "reason": "mast" });
    let strips = json!({ "layer": "strips", "shapes": [[[559_890.0, 5_559_935.0], [560_070.0, 5_560_029.0], [560_081.0, 5_560_008.0], [559_901.0, 5_559_914.0]]] });
    {
        let browser = Browser::open(&job, true);
        browser.get("/api/v1/jobs/0");
        assert_eq!(browser.post(SHAPES, &drawn).0, 200);
        assert_eq!(browser.post(SHAPES, &strips).0, 200);
    }
    let file = |name: &str| job.with_file_name(name);
    let read = |name: &str| fs_err::read(file(name)).unwrap();
    let (first, first_strips) = (
        read("job_drawn_exclusion_1.geojson"),
        read("job_drawn_strips.geojson"),
    );
    let between = fs_err::read_to_string(&job).unwrap();
    let browser = Browser::open(&job, true);
    browser.get("/api/v1/jobs/0");
    let other = json!({ "layer": "exclude", "shapes": triangle(60.0), "reason": "second mast" });
    assert_eq!(browser.post(SHAPES, &other).0, 200);
    let mut longer = strips.clone();
    longer["shapes"][0][1] = json!([560_090.0, 5_560_040.0]);
    assert_eq!(browser.post(SHAPES, &longer).0, 200);
    assert_eq!(read("job_drawn_exclusion_1.geojson"), first);
    assert_eq!(read("job_drawn_strips.geojson"), first_strips);
    assert!(file("job_drawn_exclusion_2.geojson").is_file());
    for _ in 0..2 {
        assert_eq!(browser.post("/api/v1/jobs/0/undo", &json!({})).0, 200);
    }
    // The way back leads to the files that the job names again.
    assert_eq!(fs_err::read_to_string(&job).unwrap(), between);
    assert_eq!(read("job_drawn_exclusion_1.geojson"), first);
    assert_eq!(read("job_drawn_strips.geojson"), first_strips);
}

#[test]
fn entries_of_lists_are_changed_added_and_taken_out() {
    let (folder, job) = demo();
    let original = fs_err::read_to_string(&job).unwrap();
    let browser = Browser::open(&job, true);
    browser.get("/api/v1/jobs/0");
    let post = |list: &str, position: Option<usize>, values: &[(&str, Option<&str>)]| {
        let values: Vec<Value> = values
            .iter()
            .map(|(key, value)| json!({ "key": key, "value": value }))
            .collect();
        browser.post(
            ENTRY,
            &json!({ "list": list, "position": position, "values": values }),
        )
    };
    let (status, view) = post("field.exclude", Some(0), &[("buffer", Some("\"25 m\""))]);
    assert_eq!(status, 200, "{view}");
    assert_eq!(
        view["record"]["settings"]["field"]["exclude"][0]["buffer_m"],
        25.0
    );
    let text = fs_err::read_to_string(&job).unwrap();
    assert!(text.contains("25 m") && text.contains("[[field.exclude]]"));
    let boundary = "\"field/boundary.geojson\"";
    let (status, view) = post(
        "rate.set",
        None,
        &[
            ("path", Some(boundary)),
            ("add", Some("\"-5 kg N/ha\"")),
            ("reason", Some("\"manure\"")),
        ],
    );
    assert_eq!(status, 200, "{view}");
    assert_eq!(view["record"]["set_by_hand"][0]["reason"], "manure");
    // What would make a good job refused is not done, and no way leads out of the folder.
    let standing = fs_err::read_to_string(&job).unwrap();
    fs_err::write(
        folder.path().parent().unwrap().join("outside.geojson"),
        "{}",
    )
    .unwrap();
    for (list, position, values) in [
        ("rate.set", None, &[("path", Some(boundary))][..]),
        ("rate.set", Some(0), &[("reason", None)]),
        ("rate.set", Some(7), &[("reason", Some("\"x\""))]),
        (
            "rate.set",
            Some(0),
            &[("path", Some("\"../outside.geojson\""))],
        ),
        ("rate.set", Some(0), &[("path", Some("\"/etc/hostname\""))]),
        ("rate.set", Some(0), &[("no_key", Some("1"))]),
        ("rate", Some(0), &[("maximum", Some("\"1 kg N/ha\""))]),
        ("no.list", None, &[("path", Some(boundary))]),
    ] {
        let (status, refused) = post(list, position, values);
        assert!(
            matches!(status, 400 | 422),
            "{list} {position:?} {values:?}: {status} {refused}"
        );
        assert_eq!(fs_err::read_to_string(&job).unwrap(), standing);
    }
    browser.post(
        "/api/v1/jobs/0/remove",
        &json!({ "list": "rate.set", "position": 0 }),
    );
    for _ in 0..3 {
        browser.post("/api/v1/jobs/0/undo", &json!({}));
    }
    assert_eq!(fs_err::read_to_string(&job).unwrap(), original);
}
