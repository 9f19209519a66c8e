//! Validity of polygons and overlap of pairs, as the test suite of the JTS Topology Suite has them (general/TestValid.xml and general/TestOverlayAA.xml of its
//! repository, read on 25 November 2026; GEOS runs the same cases): figures typed in as well-known text, each with that suite's verdict or answer.

use geo::{Area, Coord, MultiPolygon};
use haulm::map::faults::fault::Fault;
use haulm::map::faults::{Against, check};
use haulm::map::imported::{
    ImportedMap, MapKind, Part, Patch, Place, Rate, Ring, RingRole, System,
};
use haulm::space::crs::Crs;

/// What kind of thing is seen, the shape, and whether the suite calls it valid.
const VALIDITY: [(&str, &str, bool); 38] = [
    (
        "no area at all",
        "POLYGON ((0 0, 0 0, 0 0, 0 0, 0 0))",
        false,
    ),
    ("flat", "POLYGON ((0 0, 10 0, 20 0, 0 0, 0 0))", false),
    (
        "point twice",
        "POLYGON ((107 246, 107 246, 250 285, 294 137, 151 90, 15 125, 157 174, 107 246))",
        true,
    ),
    (
        "hole that runs back on itself",
        "POLYGON ((0 0, 0 240, 260 240, 260 0, 0 0), (220 200, 40 200, 40 20, 40 200, 220 200, 220 200))",
        false,
    ),
    (
        "one part of too few points",
        "MULTIPOLYGON (((100 20, 180 20, 180 100, 100 100, 100 20)), ((20 100, 100 100, 100 180, 20 180, 20 100)), ((100 180, 180 180, 180 260, 100 260, 100 180)), \
         ((180 100, 180 180, 180 180, 180 100)))",
        false,
    ),
    (
        "crosses between vertices",
        "POLYGON ((0 40, 0 0, 40 40, 40 0, 0 40))",
        false,
    ),
    (
        "crosses at a vertex",
        "POLYGON ((0 40, 20 20, 40 0, 40 40, 20 20, 0 0, 0 40))",
        false,
    ),
    (
        "crosses at a vertex of one leg",
        "POLYGON ((0 40, 20 20, 40 0, 40 40, 0 0, 0 40))",
        false,
    ),
    (
        "hole crosses itself",
        "POLYGON ((-10 50, 50 50, 50 -10, -10 -10, -10 50), (0 40, 0 0, 40 40, 40 0, 0 40))",
        false,
    ),
    (
        "hole crosses itself at a vertex",
        "POLYGON ((-10 50, 50 50, 50 -10, -10 -10, -10 50), (0 40, 20 20, 40 0, 40 40, 20 20, 0 0, 0 40))",
        false,
    ),
    (
        "hole crosses itself at a vertex of one leg",
        "POLYGON ((-10 50, 50 50, 50 -10, -10 -10, -10 50), (0 40, 20 20, 40 0, 40 40, 0 0, 0 40))",
        false,
    ),
    (
        "hole",
        "POLYGON ((0 60, 0 0, 60 0, 60 60, 0 60), (20 40, 20 20, 40 20, 40 40, 20 40))",
        true,
    ),
    (
        "point twice, and a hole",
        "POLYGON ((0 60, 0 0, 0 0, 60 0, 60 60, 0 60), (20 40, 20 20, 40 20, 40 40, 20 40))",
        true,
    ),
    (
        "hole touches the exterior once",
        "POLYGON ((0 60, 0 0, 60 0, 60 60, 0 60), (20 40, 20 20, 60 20, 20 40))",
        true,
    ),
    (
        "hole touches the exterior twice",
        "POLYGON ((0 60, 0 0, 60 0, 60 60, 0 60), (0 40, 20 20, 60 20, 0 40))",
        false,
    ),
    (
        "hole touches hole once",
        "POLYGON ((0 120, 0 0, 140 0, 140 120, 0 120), (100 100, 100 20, 120 20, 120 100, 100 100), (20 100, 20 40, 100 40, 20 100))",
        true,
    ),
    (
        "hole touches hole twice",
        "POLYGON ((0 120, 0 0, 140 0, 140 120, 0 120), (100 100, 100 20, 120 20, 120 100, 100 100), (20 100, 20 40, 100 40, 80 60, 100 80, 20 100))",
        false,
    ),
    (
        "hole lies along a hole",
        "POLYGON ((0 120, 0 0, 140 0, 140 120, 0 120), (100 100, 100 20, 120 20, 120 100, 100 100), (20 100, 20 40, 100 40, 100 80, 20 100))",
        false,
    ),
    (
        "spike",
        "POLYGON ((0 60, 0 0, 60 0, 60 20, 100 20, 60 20, 60 60, 0 60))",
        false,
    ),
    (
        "spike inwards",
        "POLYGON ((0 60, 0 0, 60 0, 60 20, 20 20, 60 20, 60 60, 0 60))",
        false,
    ),
    (
        "hole in a hole",
        "POLYGON ((0 140, 0 0, 180 0, 180 140, 0 140), (20 20, 160 20, 160 120, 20 120, 20 20), (40 100, 40 40, 140 40, 140 100, 40 100))",
        false,
    ),
    (
        "hole over the edge",
        "POLYGON ((60 280, 260 180, 60 80, 60 280), (140 80, 120 180, 200 180, 140 80))",
        false,
    ),
    (
        "exterior lies on itself",
        "POLYGON ((60 340, 60 100, 340 100, 340 280, 340 200, 340 340, 60 340))",
        false,
    ),
    (
        "hole with a point twice",
        "POLYGON ((40 260, 40 60, 120 60, 180 160, 240 60, 300 60, 300 260, 40 260), (70 230, 80 230, 80 220, 80 220, 70 230))",
        true,
    ),
    (
        "hole in a bay",
        "POLYGON ((40 260, 40 60, 120 60, 180 160, 240 60, 300 60, 300 260, 40 260), (180 160, 240 60, 120 60, 180 160))",
        false,
    ),
    (
        "hole touches two sides",
        "POLYGON ((240 260, 40 260, 40 80, 240 80, 240 260), (140 180, 40 180, 140 260, 140 180))",
        false,
    ),
    (
        "hole touches one side",
        "POLYGON ((240 260, 40 260, 40 80, 240 80, 240 260), (140 180, 40 180, 140 240, 140 180))",
        true,
    ),
    (
        "hole touches a corner",
        "POLYGON ((240 260, 40 260, 40 80, 240 80, 240 260), (140 180, 40 260, 140 240, 140 180))",
        true,
    ),
    (
        "hole outside",
        "POLYGON ((20 180, 20 20, 140 20, 140 180, 20 180), (160 120, 180 100, 160 80, 160 120))",
        false,
    ),
    (
        "hole as large as the exterior",
        "POLYGON ((20 180, 20 20, 140 20, 140 180, 20 180), (20 180, 20 20, 140 20, 140 180, 20 180))",
        false,
    ),
    (
        "tangled hole",
        "POLYGON ((380 340, 40 340, 40 20, 380 20, 380 340), (120 300, 300 280, 320 200, 160 140, 200 80, 320 120, 320 200, 360 60, 120 40, 120 300))",
        false,
    ),
    (
        "holes over one another",
        "POLYGON ((20 320, 260 320, 260 20, 20 20, 20 320), (140 280, 80 100, 200 100, 140 280), (140 280, 40 80, 240 80, 140 280))",
        false,
    ),
    (
        "holes that meet in a point",
        "POLYGON ((20 320, 240 320, 240 40, 20 40, 20 320), (140 180, 60 120, 60 240, 140 180), (140 180, 200 120, 200 240, 140 180))",
        true,
    ),
    (
        "exterior touches itself at a vertex",
        "POLYGON ((340 320, 340 200, 200 280, 200 80, 340 200, 340 20, 60 20, 60 340, 340 320))",
        false,
    ),
    (
        "exterior touches itself between vertices",
        "POLYGON ((300 320, 300 220, 260 260, 180 220, 360 220, 360 140, 120 140, 120 320, 300 320))",
        false,
    ),
    (
        "holes that fence an island in",
        "POLYGON ((40 300, 40 20, 280 20, 280 300, 40 300), (120 240, 80 180, 160 220, 120 240), (220 240, 160 220, 220 160, 220 240), \
         (160 100, 80 180, 100 80, 160 100), (160 100, 220 160, 240 100, 160 100))",
        false,
    ),
    (
        "holes that cut it in two",
        "POLYGON ((40 320, 340 320, 340 20, 40 20, 40 320), (100 120, 40 20, 180 100, 100 120), (200 200, 180 100, 240 160, 200 200), \
         (260 260, 240 160, 300 200, 260 260), (300 300, 300 200, 340 320, 300 300))",
        false,
    ),
    (
        "hole touches hole at all its vertices",
        "POLYGON ((0 0, 0 5, 6 5, 6 0, 0 0), (2 1, 4 1, 3 2, 2 1), (2 1, 1 4, 5 4, 4 1, 4 3, 3 2, 2 3, 2 1))",
        false,
    ),
];

/// Two shapes, and what the suite says they share; empty when that is no ground.
const OVERLAYS: [(&str, &str, &str, &str); 8] = [
    (
        "squares",
        "POLYGON ((10 10, 100 10, 100 100, 10 100, 10 10))",
        "POLYGON ((50 50, 200 50, 200 200, 50 200, 50 50))",
        "POLYGON ((50 50, 50 100, 100 100, 100 50, 50 50))",
    ),
    (
        "over a hole",
        "POLYGON ((20 20, 20 160, 160 160, 160 20, 20 20), (140 140, 40 140, 40 40, 140 40, 140 140))",
        "POLYGON ((80 100, 220 100, 220 240, 80 240, 80 100))",
        "POLYGON ((80 140, 80 160, 160 160, 160 100, 140 100, 140 140, 80 140))",
    ),
    (
        "share a point, a line and ground",
        "POLYGON ((0 0, 110 0, 110 60, 40 60, 180 140, 40 220, 110 260, 0 260, 0 0))",
        "POLYGON ((220 0, 110 0, 110 60, 180 60, 40 140, 180 220, 110 260, 220 260, 220 0))",
        "POLYGON ((110 100, 40 140, 110 180, 180 140, 110 100))",
    ),
    (
        "parts that touch a corner",
        "POLYGON ((0 0, 340 0, 340 300, 0 300, 0 0))",
        "MULTIPOLYGON (((40 20, 0 0, 20 40, 60 60, 40 20)), ((60 100, 60 60, 100 60, 100 100, 60 100)))",
        "MULTIPOLYGON (((40 20, 0 0, 20 40, 60 60, 40 20)), ((60 60, 60 100, 100 100, 100 60, 60 60)))",
    ),
    (
        "parts that touch an edge",
        "POLYGON ((0 0, 120 0, 120 120, 0 120, 0 0))",
        "MULTIPOLYGON (((60 20, 0 20, 60 60, 60 20)), ((60 100, 60 60, 100 60, 100 100, 60 100)))",
        "MULTIPOLYGON (((60 20, 0 20, 60 60, 60 20)), ((60 60, 60 100, 100 100, 100 60, 60 60)))",
    ),
    (
        "hole that touches the edge",
        "POLYGON ((20 0, 20 160, 200 160, 200 0, 20 0))",
        "POLYGON ((220 80, 0 80, 0 240, 220 240, 220 80), (100 80, 120 120, 80 120, 100 80))",
        "POLYGON ((20 80, 20 160, 200 160, 200 80, 100 80, 20 80), (100 80, 120 120, 80 120, 100 80))",
    ),
    (
        "many parts, touching and overlapping",
        "MULTIPOLYGON (((120 340, 120 200, 140 200, 140 280, 160 280, 160 200, 180 200, 180 280, 200 280, 200 200, 220 200, 220 340, 120 340)), \
         ((360 200, 220 200, 220 180, 300 180, 300 160, 220 160, 220 140, 300 140, 300 120, 220 120, 220 100, 360 100, 360 200)))",
        "MULTIPOLYGON (((100 220, 100 200, 300 200, 300 220, 100 220)), ((280 180, 280 160, 300 160, 300 180, 280 180)), \
         ((220 140, 220 120, 240 120, 240 140, 220 140)), ((180 220, 160 240, 200 240, 180 220)))",
        "MULTIPOLYGON (((120 200, 120 220, 140 220, 140 200, 120 200)), ((160 200, 160 220, 180 220, 180 200, 160 200)), ((180 240, 180 220, 160 240, 180 240)), \
         ((200 200, 200 220, 220 220, 220 200, 200 200)))",
    ),
    (
        "touch along lines alone",
        "MULTIPOLYGON (((100 200, 100 180, 120 180, 120 200, 100 200)), ((60 240, 60 140, 220 140, 220 160, 160 160, 160 180, 200 180, 200 200, 160 200, 160 220, \
         220 220, 220 240, 60 240), (80 220, 80 160, 140 160, 140 220, 80 220)), ((280 220, 240 180, 260 160, 300 200, 280 220)))",
        "MULTIPOLYGON (((80 220, 80 160, 140 160, 140 220, 80 220), (100 200, 100 180, 120 180, 120 200, 100 200)), ((220 240, 220 220, 160 220, 160 200, 220 200, \
         220 180, 160 180, 160 160, 220 160, 220 140, 320 140, 320 240, 220 240), (240 220, 240 160, 300 160, 300 220, 240 220)))",
        "",
    ),
];

/// Parts, rings, points of well-known text, in metres around a place in zone 33 north of UTM, as integers that lose nothing there.
fn parts(text: &str) -> Vec<Vec<Vec<Coord<f64>>>> {
    let many = text.starts_with("MULTIPOLYGON");
    let body = text[text.find('(').unwrap_or(text.len())..].trim();
    let inner = |text: &str| {
        text.trim()
            .strip_prefix('(')
            .and_then(|text| text.strip_suffix(')'))
            .unwrap()
            .to_owned()
    };
    let groups = |text: &str| -> Vec<String> {
        let (mut depth, mut found, mut current) = (0, Vec::new(), String::new());
        for c in text.chars() {
            depth += i32::from(c == '(') - i32::from(c == ')');
            if c == ',' && depth == 0 {
                found.push(std::mem::take(&mut current));
            } else {
                current.push(c);
            }
        }
        found.push(current);
        found
    };
    if body.is_empty() {
        return Vec::new();
    }
    let polygons = if many {
        groups(&inner(body))
    } else {
        vec![body.to_owned()]
    };
    let point = |text: &str| {
        let (x, y) = text.trim().split_once(' ').unwrap();
        Coord {
            x: 560_000.0 + x.trim().parse::<f64>().unwrap(),
            y: 5_560_000.0 + y.trim().parse::<f64>().unwrap(),
        }
    };
    polygons
        .iter()
        .map(|polygon| {
            groups(&inner(polygon))
                .iter()
                .map(|ring| inner(ring).split(',').map(point).collect())
                .collect()
        })
        .collect()
}

fn patch(number: u64, text: &str) -> Patch {
    let rings = |rings: Vec<Vec<Coord<f64>>>| Part {
        rings: rings
            .into_iter()
            .enumerate()
            .map(|(k, points)| Ring {
                role: if k == 0 {
                    RingRole::Outer
                } else {
                    RingRole::Inner
                },
                points,
            })
            .collect(),
    };
    Patch {
        place: Place::at("record", number),
        parts: parts(text).into_iter().map(rings).collect(),
        rate: Rate::Number(1.0),
        attributes: Vec::new(),
    }
}

fn faults(shapes: &[&str]) -> Vec<Fault> {
    let mut map = ImportedMap::empty("cases", MapKind::GeoPackage);
    map.system = System::Known(Crs::utm(15.84, 50.19));
    map.patches = (1..)
        .zip(shapes)
        .map(|(number, text)| patch(number, text))
        .collect();
    check(&map, &Against::default()).faults
}

/// Whether a fault says that a shape is not valid: those of rings, less the ones that validity does not ask for.
fn is_invalid(fault: &Fault) -> bool {
    let ring = ["ring.", "rings.", "hole.", "polygon."]
        .iter()
        .any(|kind| fault.code.word().starts_with(kind));
    ring && !["ring.direction", "ring.duplicate_points"].contains(&fault.code.word())
}

#[test]
fn validity_is_that_of_the_suite() {
    for (name, text, valid) in VALIDITY {
        let found = faults(&[text]);
        let guilty: Vec<_> = found
            .iter()
            .filter(|fault| is_invalid(fault))
            .map(|fault| (fault.code, fault.at))
            .collect();
        assert_eq!(guilty.is_empty(), valid, "{name}: {guilty:?}");
        assert!(
            guilty.iter().all(|(_, at)| at.is_some()),
            "{name}: a fault without its place in {guilty:?}"
        );
    }
}

#[test]
fn overlaps_are_those_of_the_suite() {
    for (name, one, other, shared) in OVERLAYS {
        let ground = |text: &str| patch(1, text).outline().0;
        let expected = MultiPolygon::new(ground(shared)).unsigned_area();
        for pair in [[one, other], [other, one]] {
            let found = faults(&pair);
            let overlaps: f64 = found
                .iter()
                .filter(|fault| fault.code == "patch.overlap")
                .map(|fault| fault.sizes[0].value)
                .sum();
            // The plane of the check is that of the map, so lengths stay what they are.
            assert!(
                (overlaps - expected).abs() <= 1e-6 * expected.max(1.0),
                "{name}: {overlaps} m² overlap, {expected} m² are due"
            );
            let drawn: f64 = found
                .iter()
                .filter(|fault| fault.code == "patch.overlap")
                .filter_map(|f| f.ground.as_ref())
                .map(Area::unsigned_area)
                .sum();
            assert!(
                (drawn - expected).abs() <= 1e-6 * expected.max(1.0),
                "{name}: {drawn} m² drawn"
            );
        }
    }
}
