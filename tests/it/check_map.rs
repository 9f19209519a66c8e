//! `haulm check MAP`: spoiled maps of polygons, one fault each, each found with its place; what is not spoiled has no error.

use std::path::PathBuf;

use haulm::app::api::{CheckMapRequest, check_map};
use serde_json::{Value, json};
use tempfile::TempDir;

/// South-west corner of the invented field and sides of its four zones. \[°\] About 100 m each.
pub(crate) const WEST: f64 = 15.84;
pub(crate) const SOUTH: f64 = 50.188;
const DX: f64 = 0.0014;
const DY: f64 = 0.0009;

/// A point of the field, in sides of a zone.
pub(crate) fn at(x: f64, y: f64) -> [f64; 2] {
    [WEST + x * DX, SOUTH + y * DY]
}

/// A ring through points of the field, closed.
pub(crate) fn ring(points: &[(f64, f64)]) -> Value {
    let mut ring: Vec<Value> = points.iter().map(|&(x, y)| json!(at(x, y))).collect();
    ring.push(ring[0].clone());
    Value::Array(ring)
}

/// A rectangle, counter-clockwise.
pub(crate) fn block(x0: f64, y0: f64, x1: f64, y1: f64) -> Value {
    ring(&[(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
}

fn zone(rings: &[Value], properties: &Value) -> Value {
    json!({ "type": "Feature", "properties": properties, "geometry": { "type": "Polygon", "coordinates": rings } })
}

fn rated(rings: &[Value], rate: f64) -> Value {
    zone(rings, &json!({ "KG_HA": rate }))
}

/// Four zones of 100, 120, 140 and 160 kg/ha.
fn four() -> Vec<Value> {
    let corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)];
    corners
        .iter()
        .zip([100.0, 120.0, 140.0, 160.0])
        .map(|(&(x, y), rate)| rated(&[block(x, y, x + 1.0, y + 1.0)], rate))
        .collect()
}

pub(crate) fn collection(features: &[Value]) -> Value {
    json!({ "type": "FeatureCollection", "features": features })
}

/// A folder with files in it.
pub(crate) struct Bench {
    folder: TempDir,
}

impl Bench {
    pub(crate) fn new() -> Self {
        let bench = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        bench.put(
            "field.geojson",
            collection(&[zone(&[block(0.0, 0.0, 2.0, 2.0)], &json!({}))])
                .to_string()
                .as_bytes(),
        );
        bench
    }
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
    pub(crate) fn put(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path(name);
        fs_err::create_dir_all(path.parent().unwrap()).unwrap();
        fs_err::write(&path, bytes).unwrap();
        path
    }
    /// A request for a map that is held against the field.
    pub(crate) fn ask(&self, map: PathBuf) -> CheckMapRequest {
        CheckMapRequest {
            map,
            boundary: Some(self.path("field.geojson")),
            ..CheckMapRequest::default()
        }
    }
}

/// Faults of a map.
pub(crate) fn faults(request: &CheckMapRequest) -> Vec<Value> {
    let report = check_map(request).unwrap_or_else(|error| panic!("{error:?}"));
    report.json["faults"].as_array().unwrap().clone()
}

/// The one fault of a code, if the list of codes has no other error.
pub(crate) fn only<'a>(name: &str, faults: &'a [Value], code: &str) -> &'a Value {
    let found: Vec<&Value> = faults
        .iter()
        .filter(|fault| fault["code"] == code)
        .collect();
    let others: Vec<&Value> = faults
        .iter()
        .filter(|fault| fault["severity"] == "stop" && fault["code"] != code)
        .collect();
    assert!(!found.is_empty(), "{name}: no {code} in {faults:#?}");
    assert!(others.is_empty(), "{name}: {others:#?}");
    found[0]
}

/// What a spoiled map must be found guilty of.
struct Spoiled {
    name: &'static str,
    map: Vec<Value>,
    code: &'static str,
    /// Number of the feature; 0 for the map as a whole.
    feature: u64,
    /// Where, in sides of a zone, and how near. \[sides\]
    place: Option<(f64, f64, f64)>,
    /// Whether it is an error.
    error: bool,
}

fn spoil(
    name: &'static str,
    code: &'static str,
    feature: u64,
    place: Option<(f64, f64, f64)>,
    error: bool,
    change: impl FnOnce(&mut Vec<Value>),
) -> Spoiled {
    let mut map = four();
    change(&mut map);
    Spoiled {
        name,
        map,
        code,
        feature,
        place,
        error,
    }
}

fn rings(map: &mut [Value], k: usize) -> &mut Vec<Value> {
    map[k]["geometry"]["coordinates"].as_array_mut().unwrap()
}

fn points(map: &mut [Value], k: usize) -> &mut Vec<Value> {
    rings(map, k)[0].as_array_mut().unwrap()
}

fn set(map: &mut [Value], k: usize, rings: &[Value]) {
    map[k]["geometry"]["coordinates"] = json!(rings);
}

/// Maps with one fault of geometry each.
fn spoiled() -> Vec<Spoiled> {
    let exact = |x: f64, y: f64| Some((x, y, 1e-6));
    let near = |x: f64, y: f64| Some((x, y, 0.5));
    vec![
        spoil("bow tie", "ring.crosses", 5, exact(0.5, 0.5), true, |m| {
            // Beside the field, so that it is no overlap as well: the field is widened by it below.
            m.push(rated(
                &[ring(&[(0.0, 0.0), (1.0, 1.0), (1.0, 0.0), (0.0, 1.0)])],
                100.0,
            ));
            m.remove(0);
        }),
        spoil(
            "open ring",
            "ring.unclosed",
            1,
            exact(0.0, 1.0),
            true,
            |m| drop(points(m, 0).pop()),
        ),
        spoil("spike", "ring.spike", 1, exact(0.5, 0.8), true, |m| {
            set(
                m,
                0,
                &[ring(&[
                    (0.0, 0.0),
                    (0.5, 0.0),
                    (0.5, 0.8),
                    (0.5, 0.0),
                    (1.0, 0.0),
                    (1.0, 1.0),
                    (0.0, 1.0),
                ])],
            );
        }),
        spoil(
            "point twice",
            "ring.duplicate_points",
            1,
            exact(1.0, 0.0),
            false,
            |m| {
                let twice = points(m, 0)[1].clone();
                points(m, 0).insert(1, twice);
            },
        ),
        spoil(
            "clockwise",
            "ring.direction",
            2,
            exact(1.0, 0.0),
            false,
            |m| points(m, 1).reverse(),
        ),
        spoil("overlap", "patch.overlap", 2, near(0.95, 0.5), true, |m| {
            set(m, 1, &[block(0.9, 0.0, 2.0, 1.0)]);
        }),
        spoil("gap", "field.gap", 0, near(1.05, 0.5), true, |m| {
            set(m, 1, &[block(1.1, 0.0, 2.0, 1.0)]);
        }),
        spoil(
            "hole in a zone",
            "field.gap",
            0,
            near(0.5, 0.5),
            true,
            |m| {
                rings(m, 0).push(ring(&[(0.4, 0.4), (0.4, 0.6), (0.6, 0.6), (0.6, 0.4)]));
            },
        ),
        spoil("sliver", "patch.sliver", 5, near(1.0, 1.0), false, |m| {
            set(
                m,
                3,
                &[ring(&[
                    (1.0, 1.0),
                    (1.005, 1.0),
                    (2.0, 1.0),
                    (2.0, 2.0),
                    (1.0, 2.0),
                    (1.0, 1.005),
                ])],
            );
            set(
                m,
                3,
                &[ring(&[
                    (1.005, 1.0),
                    (2.0, 1.0),
                    (2.0, 2.0),
                    (1.0, 2.0),
                    (1.0, 1.005),
                    (1.005, 1.005),
                ])],
            );
            m.push(rated(&[block(1.0, 1.0, 1.005, 1.005)], 10.0));
        }),
        spoil("narrow", "patch.narrow", 5, near(1.95, 0.5), false, |m| {
            set(m, 1, &[block(1.0, 0.0, 1.9, 1.0)]);
            m.push(rated(&[block(1.9, 0.0, 2.0, 1.0)], 50.0));
        }),
        spoil(
            "neck",
            "patch.neck",
            1,
            Some((0.5, 0.5, 0.01)),
            false,
            |m| {
                // Two halves, joined by 10 m of 10 m; what the neck leaves free is zones of its own.
                let around = [
                    (0.0, 0.0),
                    (0.45, 0.0),
                    (0.45, 0.45),
                    (0.55, 0.45),
                    (0.55, 0.0),
                    (1.0, 0.0),
                ];
                let back = around.iter().rev().map(|&(x, y)| (x, 1.0 - y));
                let points: Vec<(f64, f64)> = around.iter().copied().chain(back).collect();
                set(m, 0, &[ring(&points)]);
                m.extend([
                    rated(&[block(0.45, 0.0, 0.55, 0.45)], 50.0),
                    rated(&[block(0.45, 0.55, 0.55, 1.0)], 50.0),
                ]);
            },
        ),
        spoil(
            "beside the field",
            "patch.outside",
            5,
            near(4.5, 0.5),
            true,
            |m| m.push(rated(&[block(4.0, 0.0, 5.0, 1.0)], 90.0)),
        ),
        spoil(
            "far over the edge",
            "field.outside",
            2,
            near(2.5, 0.5),
            true,
            |m| set(m, 1, &[block(1.0, 0.0, 3.0, 1.0)]),
        ),
        spoil(
            "the same twice",
            "patch.duplicate",
            5,
            near(0.5, 0.5),
            true,
            |m| m.push(m[0].clone()),
        ),
        spoil("null shape", "shape.null", 5, None, true, |m| {
            m.push(json!({ "type": "Feature", "properties": { "KG_HA": 1 }, "geometry": null }));
        }),
        spoil("a line", "shape.kind", 5, None, true, |m| {
            m.push(
                json!({ "type": "Feature", "properties": { "KG_HA": 1 }, "geometry": { "type": "LineString", "coordinates": [at(0.0, 0.0), at(1.0, 1.0)] } }),
            );
        }),
        spoil(
            "a position that is no number",
            "point.not_finite",
            1,
            None,
            true,
            |m| points(m, 0).insert(1, json!(["a", 3])),
        ),
    ]
}

/// Maps with one fault of rate, unit or count each.
fn spoiled_rates() -> Vec<Spoiled> {
    let exact = |x: f64, y: f64| Some((x, y, 1e-6));
    vec![
        spoil("no rate", "rate.missing", 3, exact(0.0, 1.0), true, |m| {
            m[2]["properties"]["KG_HA"] = Value::Null;
        }),
        spoil(
            "rate as text",
            "rate.text",
            3,
            exact(0.0, 1.0),
            false,
            |m| m[2]["properties"]["KG_HA"] = json!("140,0"),
        ),
        spoil(
            "words for a rate",
            "rate.text",
            3,
            exact(0.0, 1.0),
            true,
            |m| m[2]["properties"]["KG_HA"] = json!("high"),
        ),
        spoil("NaN", "rate.not_finite", 3, exact(0.0, 1.0), true, |m| {
            m[2]["properties"]["KG_HA"] = json!("NaN");
        }),
        spoil("negative", "rate.negative", 3, exact(0.0, 1.0), true, |m| {
            m[2]["properties"]["KG_HA"] = json!(-5.0);
        }),
        spoil(
            "above the greatest",
            "rate.above",
            4,
            exact(1.0, 1.0),
            true,
            |m| m[3]["properties"]["KG_HA"] = json!(260.0),
        ),
        spoil(
            "below the least",
            "rate.below",
            4,
            exact(1.0, 1.0),
            false,
            |m| m[3]["properties"]["KG_HA"] = json!(5.0),
        ),
        spoil(
            "hole outside",
            "hole.outside",
            1,
            exact(-0.4, 0.2),
            true,
            |m| rings(m, 0).push(ring(&[(-0.4, 0.2), (-0.4, 0.4), (-0.2, 0.4)])),
        ),
        spoil("twin columns", "column.twins", 0, None, false, |m| {
            m[0]["properties"]["measured_a"] = json!("x");
            m[0]["properties"]["measured_a2"] = json!("x");
        }),
        spoil("kg/ac", "unit.doubtful", 0, None, false, |m| {
            for feature in m {
                feature["properties"] = json!({ "KG_AC": feature["properties"]["KG_HA"] });
            }
        }),
        spoil("no unit", "unit.unknown", 0, None, false, |m| {
            for feature in m {
                feature["properties"] = json!({ "dose": feature["properties"]["KG_HA"] });
            }
        }),
        spoil("two units", "unit.mixed", 4, None, true, |m| {
            for (k, feature) in m.iter_mut().enumerate() {
                feature["properties"] =
                    json!({ "rate": 100, "unit": if k == 3 { "lb/ac" } else { "kg/ha" } });
            }
        }),
        spoil(
            "product under the name of nitrogen",
            "unit.doubtful",
            0,
            None,
            true,
            |m| {
                for feature in m {
                    feature["properties"] = json!({ "KG_N_HA": 320 });
                }
            },
        ),
        spoil(
            "more nitrogen than any product has",
            "unit.doubtful",
            0,
            None,
            true,
            |m| {
                for feature in m {
                    feature["properties"] = json!({ "KG_HA": 100, "n_kg_ha": 120 });
                }
            },
        ),
        spoil(
            "no column for the rate",
            "rate.column",
            0,
            None,
            true,
            |m| {
                for feature in m {
                    feature["properties"] = json!({ "a": 1, "b": 2 });
                }
            },
        ),
        spoil(
            "many points",
            "count.points",
            1,
            exact(0.0, 0.0),
            false,
            |m| {
                // A southern edge of 6 000 points, which stays where it was.
                let edge = (0..6_000).map(|k| (f64::from(k) / 6_000.0, 0.0));
                let points: Vec<(f64, f64)> =
                    edge.chain([(1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]).collect();
                set(m, 0, &[ring(&points)]);
            },
        ),
        spoil("many zones", "count.zones", 0, None, false, |m| {
            m.clear();
            for k in 0..2_500 {
                let (x, y) = (f64::from(k % 50) / 25.0, f64::from(k / 50) / 25.0);
                m.push(rated(&[block(x, y, x + 0.04, y + 0.04)], 50.0));
            }
        }),
    ]
}

#[test]
fn each_spoiled_map_is_found_guilty_at_the_right_place() {
    let bench = Bench::new();
    for case in spoiled().into_iter().chain(spoiled_rates()) {
        let map = bench.put("map.geojson", collection(&case.map).to_string().as_bytes());
        let mut request = bench.ask(map);
        if ![
            "kg/ac",
            "no unit",
            "two units",
            "product under the name of nitrogen",
            "no column for the rate",
        ]
        .contains(&case.name)
        {
            (request.minimum, request.maximum) =
                (Some("10 kg/ha".to_owned()), Some("250 kg/ha".to_owned()));
        }
        if ["narrow", "neck"].contains(&case.name) {
            request.machine_width = Some("24 m".to_owned());
        }
        let found = faults(&request);
        // The bow tie leaves the ground beside it bare; open rings and the like have no second fault.
        let fault = if case.name == "bow tie" {
            found.iter().find(|f| f["code"] == case.code).unwrap()
        } else {
            only(case.name, &found, case.code)
        };
        assert_eq!(
            fault["severity"] == "stop",
            case.error,
            "{}: {fault}",
            case.name
        );
        let feature = if case.name == "bow tie" {
            4
        } else {
            case.feature
        };
        if feature > 0 {
            assert_eq!(fault["place"]["number"], feature, "{}: {fault}", case.name);
        }
        if let Some((x, y, reach)) = case.place {
            let requirement = at(x, y);
            let place = fault["at"]
                .as_array()
                .unwrap_or_else(|| panic!("{}: no place in {fault}", case.name));
            for axis in 0..2 {
                let off = (place[axis].as_f64().unwrap() - requirement[axis]).abs();
                assert!(
                    off <= reach * DX,
                    "{}: {fault}, wanted {requirement:?}",
                    case.name
                );
            }
        }
    }
}

#[test]
fn a_clean_map_has_no_fault() {
    let bench = Bench::new();
    let map = bench.put("map.geojson", collection(&four()).to_string().as_bytes());
    let mut request = bench.ask(map);
    request.machine_width = Some("24 m".to_owned());
    let report = check_map(&request).unwrap();
    assert_eq!(report.json["faults"], json!([]), "{:#}", report.json);
    assert!(!report.stopped);
    // Four zones of about one hectare: 0.0014° by 0.0009° at 50.19° N are 99.97 m by 100.1 m (WGS 84 radii, arithmetic).
    assert!(
        (report.json["map"]["area_m2"].as_f64().unwrap() - 40_030.0).abs() < 60.0,
        "{}",
        report.json["map"]
    );
    assert!(
        (report.json["map"]["total"].as_f64().unwrap() - 130.0 * 4.003).abs() < 1.0,
        "{}",
        report.json["map"]
    );
}

#[test]
fn sizes_are_those_of_the_ground() {
    let bench = Bench::new();
    let mut map = four();
    set(&mut map, 1, &[block(0.9, 0.0, 2.0, 1.0)]);
    let path = bench.put("map.geojson", collection(&map).to_string().as_bytes());
    let found = faults(&bench.ask(path));
    let size = &only("overlap", &found, "patch.overlap")["sizes"][0];
    // A tenth of a hectare.
    assert_eq!(size["unit"], "m²");
    assert!(
        (size["value"].as_f64().unwrap() - 1_000.7).abs() < 3.0,
        "{size}"
    );
}

#[test]
fn necks_have_a_width_and_a_length() {
    // 0.1 of a side is 10.0 m; the neck lies in the middle of the zone, or along the field's southern edge.
    for (low, high, severity) in [(0.45, 0.55, "caution"), (0.0, 0.1, "note")] {
        let bench = Bench::new();
        let mut map = four();
        let above = [
            (1.0, 0.0),
            (1.0, 1.0),
            (0.6, 1.0),
            (0.6, high),
            (0.4, high),
            (0.4, 1.0),
            (0.0, 1.0),
            (0.0, 0.0),
        ];
        let below = [(0.4, 0.0), (0.4, low), (0.6, low), (0.6, 0.0)];
        set(
            &mut map,
            0,
            &[ring(
                &above
                    .iter()
                    .chain(if low > 0.0 { &below[..] } else { &[] })
                    .copied()
                    .collect::<Vec<_>>(),
            )],
        );
        map.push(rated(&[block(0.4, high, 0.6, 1.0)], 50.0));
        if low > 0.0 {
            map.push(rated(&[block(0.4, 0.0, 0.6, low)], 50.0));
        }
        let path = bench.put("map.geojson", collection(&map).to_string().as_bytes());
        let mut request = CheckMapRequest {
            machine_width: Some("18 m".to_owned()),
            ..bench.ask(path)
        };
        let found = faults(&request);
        let neck = only("neck", &found, "patch.neck");
        assert_eq!(neck["severity"], severity, "{neck}");
        let sizes: Vec<f64> = neck["sizes"]
            .as_array()
            .unwrap()
            .iter()
            .map(|size| size["value"].as_f64().unwrap())
            .collect();
        assert!(
            (sizes[0] - 10.0).abs() < 0.1 && (sizes[1] - 20.0).abs() < 1.0,
            "{neck}"
        );
        assert!(
            (neck["at"][1].as_f64().unwrap() - at(0.5, f64::midpoint(low, high))[1]).abs()
                < 0.02 * DY,
            "{neck}"
        );
        // A machine of that width passes.
        request.machine_width = Some("10 m".to_owned());
        assert!(
            faults(&request)
                .iter()
                .all(|fault| fault["code"] != "patch.neck")
        );
    }
}

#[test]
fn holes_and_exclusions_are_kept_free() {
    let bench = Bench::new();
    let map = bench.put("map.geojson", collection(&four()).to_string().as_bytes());
    let pond = ring(&[(0.4, 0.4), (0.4, 0.6), (0.6, 0.6), (0.6, 0.4)]);
    bench.put(
        "field.geojson",
        collection(&[zone(&[block(0.0, 0.0, 2.0, 2.0), pond], &json!({}))])
            .to_string()
            .as_bytes(),
    );
    let found = faults(&bench.ask(map.clone()));
    let lost = only("pond", &found, "hole.lost");
    assert_eq!(lost["place"]["number"], 1);
    let place = [
        lost["at"][0].as_f64().unwrap(),
        lost["at"][1].as_f64().unwrap(),
    ];
    assert!(
        (place[0] - at(0.5, 0.5)[0]).abs() < 0.1 * DX
            && (place[1] - at(0.5, 0.5)[1]).abs() < 0.1 * DY,
        "{lost}"
    );

    let bench = Bench::new();
    let map = bench.put("map.geojson", collection(&four()).to_string().as_bytes());
    bench.put(
        "wet.geojson",
        collection(&[zone(&[block(1.2, 1.2, 1.4, 1.4)], &json!({}))])
            .to_string()
            .as_bytes(),
    );
    let request = CheckMapRequest {
        exclude: vec![bench.path("wet.geojson")],
        ..bench.ask(map)
    };
    let found = faults(&request);
    let wet = only("wet corner", &found, "exclusion.rate");
    assert_eq!(wet["place"]["number"], 4);
    // 0.04 of a hectare at 160 kg/ha.
    assert!(
        (wet["sizes"][0]["value"].as_f64().unwrap() - 400.3).abs() < 2.0
            && (wet["sizes"][1]["value"].as_f64().unwrap() - 6.4).abs() < 0.05,
        "{wet}"
    );
}

#[test]
fn limits_of_nitrogen_count_through_the_product() {
    let bench = Bench::new();
    let map = bench.put("map.geojson", collection(&four()).to_string().as_bytes());
    let mut request = CheckMapRequest {
        product: Some("urea".to_owned()),
        nitrogen_limit: Some("70 kg N/ha".to_owned()),
        ..bench.ask(map)
    };
    // 160 kg/ha of urea are 73.6 kg N/ha (46 %).
    let found = faults(&request);
    assert_eq!(
        only("limit", &found, "rate.nitrogen_limit")["place"]["number"],
        4
    );
    request.nitrogen_limit = Some("75 kg N/ha".to_owned());
    assert!(faults(&request).is_empty());
    request.product = None;
    assert_eq!(
        check_map(&request).unwrap_err().code,
        "check.nitrogen_limit"
    );
}

#[test]
fn pounds_under_the_name_of_kilograms() {
    let bench = Bench::new();
    let mut map = four();
    for feature in &mut map {
        // 100 lb/ac of urea, 46 % of it nitrogen, is 51.56 kg N/ha; the column says kg/ha.
        feature["properties"] = json!({ "KG_HA": 100.0, "n_kg_ha": 51.56 });
    }
    let path = bench.put("map.geojson", collection(&map).to_string().as_bytes());
    let found = faults(&CheckMapRequest {
        product: Some("urea".to_owned()),
        ..bench.ask(path)
    });
    let fault = only("pounds", &found, "unit.doubtful");
    assert!(
        fault["message"].as_str().unwrap().contains("lb/ac"),
        "{fault}"
    );
}

#[test]
fn where_a_map_lies() {
    let bench = Bench::new();
    let swapped: Vec<Value> = four()
        .into_iter()
        .map(|mut feature| {
            for point in feature["geometry"]["coordinates"][0]
                .as_array_mut()
                .unwrap()
            {
                point.as_array_mut().unwrap().swap(0, 1);
            }
            feature
        })
        .collect();
    let path = bench.put("map.geojson", collection(&swapped).to_string().as_bytes());
    let found = faults(&bench.ask(path));
    let middle = only("swapped", &found, "axes.swapped")["at"][1]
        .as_f64()
        .unwrap();
    assert!((middle - at(1.0, 1.0)[0]).abs() < 1e-9);

    let text = collection(&four()).to_string();
    let path = bench.put("map.geojson", text.replace("15.84", "16.84").as_bytes());
    assert_eq!(
        only("elsewhere", &faults(&bench.ask(path)), "system.elsewhere")["severity"],
        "stop"
    );

    let path = bench.put("map.geojson", text.replace("15.84", "515.84").as_bytes());
    assert_eq!(
        only("metres", &faults(&bench.ask(path)), "system.wrong")["severity"],
        "stop"
    );

    let mut old = collection(&four());
    old["crs"] = json!({ "type": "name", "properties": { "name": "urn:ogc:def:crs:EPSG::32633" } });
    let path = bench.put("map.geojson", old.to_string().as_bytes());
    assert_eq!(
        only(
            "degrees said to be metres",
            &faults(&bench.ask(path)),
            "system.wrong"
        )["severity"],
        "stop"
    );
}

#[test]
fn what_is_safe_is_mended() {
    let bench = Bench::new();
    let mut map = four();
    points(&mut map, 0).pop();
    points(&mut map, 1).reverse();
    let twice = points(&mut map, 2)[1].clone();
    points(&mut map, 2).insert(1, twice);
    map[3]["properties"]["KG_HA"] = json!("160,0");
    map.push(map[1].clone());
    map.push(json!({ "type": "Feature", "properties": { "KG_HA": 1 }, "geometry": null }));
    let path = bench.put("map.geojson", collection(&map).to_string().as_bytes());
    for name in ["mended.geojson", "mended.gpkg", "mended.shp"] {
        let request = CheckMapRequest {
            repair: Some(bench.path(name)),
            faults: Some(bench.path("faults.gpkg")),
            overwrite: true,
            ..bench.ask(path.clone())
        };
        let report = check_map(&request).unwrap();
        assert!(
            report.stopped && report.json["repair"]["done"].as_array().unwrap().len() >= 5,
            "{:#}",
            report.json["repair"]
        );
        assert_eq!(report.json["repair"]["left"], json!([]));
        let again = check_map(&bench.ask(bench.path(name))).unwrap();
        assert!(!again.stopped, "{name}: {:#}", again.json["faults"]);
        assert_eq!(again.json["map"]["zones"], 4);
        assert!(
            (again.json["map"]["total"].as_f64().unwrap() - 130.0 * 4.003).abs() < 1.0,
            "{name}: {}",
            again.json["map"]
        );
        // The same again, byte for byte; and no second time without leave.
        let first = fs_err::read(bench.path(name)).unwrap();
        check_map(&request).unwrap();
        assert!(fs_err::read(bench.path(name)).unwrap() == first, "{name}");
        assert_eq!(
            check_map(&CheckMapRequest {
                overwrite: false,
                ..request
            })
            .unwrap_err()
            .code,
            "output.exists"
        );
    }
    let dataset = gdal::Dataset::open(bench.path("faults.gpkg")).unwrap();
    let mut layer = gdal::vector::LayerAccess::defn(&dataset.layer_by_name("faults").unwrap())
        .fields()
        .map(|field| field.name())
        .collect::<Vec<_>>();
    layer.sort();
    assert_eq!(
        layer,
        [
            "code",
            "place",
            "record",
            "severity",
            "size",
            "size_unit",
            "text"
        ]
    );
    assert!(
        gdal::vector::LayerAccess::feature_count(&dataset.layer_by_name("faults").unwrap()) >= 4
    );
}

#[test]
fn from_the_command_line() {
    let bench = Bench::new();
    let mut map = four();
    set(&mut map, 1, &[block(0.9, 0.0, 2.0, 1.0)]);
    let bad = bench.put("bad.geojson", collection(&map).to_string().as_bytes());
    let good = bench.put("good.geojson", collection(&four()).to_string().as_bytes());
    let run = |map: &PathBuf, more: &[&str]| {
        let boundary = bench.path("field.geojson");
        std::process::Command::new(env!("CARGO_BIN_EXE_haulm"))
            .arg("check")
            .arg(map)
            .arg("--boundary")
            .arg(boundary)
            .args(more)
            .output()
            .unwrap()
    };
    let notice = run(&good, &[]);
    assert_eq!(
        notice.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&notice.stderr)
    );
    let notice = run(&bad, &["--json"]);
    assert_eq!(notice.status.code(), Some(1));
    let value: Value = serde_json::from_slice(&notice.stdout).unwrap();
    assert_eq!(
        (&value["status"], &value["result"]["errors"]),
        (&json!("stopped"), &json!(1))
    );
    assert!(
        String::from_utf8_lossy(&notice.stderr)
            .contains("stopped[patch.overlap]: the map is not fit for a machine")
    );
    let notice = std::process::Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(["check", "job.toml", "--unit", "kg/ha"])
        .output()
        .unwrap();
    assert_eq!(notice.status.code(), Some(2));
}
