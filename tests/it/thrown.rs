//! Bytes thrown at every parser of haulm's own: valid files, mutated by a seeded generator, at the parser's own door. No panic, whatever comes.
//!
//! `HAULM_INPUTS` says how many inputs each parser gets (400), `HAULM_SEED` with which seed they begin (1), `HAULM_CORPUS` names a folder whose files are thrown
//! as well and mutated with the rest. What made a parser panic is kept below the system's temporary folder, named in the failure.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use haulm::app::job::{map_job, rate_job};
use haulm::format::raster::{facts, listed};
use haulm::format::vector::{read_lines, read_polygons};
use haulm::format::weather::stations;
use haulm::format::{maps, weather};
use haulm::science::index::Index;

use crate::field::Field;

/// A generator of numbers without pattern that says the same everywhere (`SplitMix64`, Steele, Lea and Flood 2014; constants from memory).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    fn below(&mut self, end: usize) -> usize {
        (self.next() % end.max(1) as u64) as usize
    }
}

/// Pieces that mean something to one parser or another.
const PIECES: [&[u8]; 30] = [
    b"",
    b"\0",
    b"\xff\xff\xff\xff",
    b"\x7f\xff\xff\xff",
    b"-1",
    b"0",
    b"1e999",
    b"NaN",
    b"99999999999999999999",
    b"-0.0",
    b"\"",
    b"'",
    b"<",
    b"</",
    b"/>",
    b"<!--",
    b"<![CDATA[",
    b"&#0;",
    b"&amp;",
    b"{",
    b"[[",
    b"]",
    b",",
    b";",
    b"\r\n",
    b"=",
    b"\xc3",
    b"\xef\xbb\xbf",
    b"(((((((((",
    b"9999-12-31",
];

fn mutated(dice: &mut Dice, seeds: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = seeds[dice.below(seeds.len())].clone();
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len() + 1);
        let until = (at + dice.below(40)).min(bytes.len());
        match dice.below(8) {
            0 if !bytes.is_empty() => {
                let at = at.min(bytes.len() - 1);
                bytes[at] ^= 1 << dice.below(8);
            }
            1 if !bytes.is_empty() => {
                let at = at.min(bytes.len() - 1);
                bytes[at] = dice.next() as u8;
            }
            2 => bytes.truncate(at),
            3 => drop(bytes.drain(at..until)),
            4 => {
                let piece = bytes[at..until].to_vec();
                for _ in 0..=dice.below(20) {
                    bytes.splice(at..at, piece.iter().copied());
                }
            }
            5 => {
                let other = &seeds[dice.below(seeds.len())];
                let from = dice.below(other.len() + 1);
                let to = (from + dice.below(200)).min(other.len());
                bytes.splice(at..until, other[from..to].iter().copied());
            }
            _ => {
                let piece = PIECES[dice.below(PIECES.len())];
                bytes.splice(at..at, piece.iter().copied());
            }
        }
    }
    bytes
}

fn asked(name: &str, usual: u64) -> u64 {
    std::env::var(name)
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(usual)
}

/// Files of a folder of the system's, if one is named, with one of these endings.
fn corpus(endings: &[&str]) -> Vec<Vec<u8>> {
    let Some(folder) = std::env::var_os("HAULM_CORPUS") else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut folders = vec![PathBuf::from(folder)];
    while let Some(folder) = folders.pop() {
        let mut entries: Vec<PathBuf> = fs_err::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        entries.sort();
        for path in entries {
            if path.is_dir() {
                folders.push(path);
            } else if path
                .extension()
                .and_then(|end| end.to_str())
                .is_some_and(|end| endings.contains(&end))
            {
                found.push(fs_err::read(path).unwrap());
            }
        }
    }
    found
}

/// As [`throw_all`]; the parser must refuse some of it, or the mutations are too tame to tell anything.
fn throw(name: &str, endings: &[&str], own: Vec<Vec<u8>>, parser: &dyn Fn(&[u8]) -> bool) {
    let refused = throw_all(name, endings, own, parser);
    assert!(refused > 0, "{name}: nothing was refused");
}

/// Throws seeds and their mutations at a parser, which says whether it takes them; returns how many it refused.
fn throw_all(
    name: &str,
    endings: &[&str],
    own: Vec<Vec<u8>>,
    parser: &dyn Fn(&[u8]) -> bool,
) -> u64 {
    let taken = own.iter().filter(|seed| parser(seed)).count();
    assert!(
        taken > 0,
        "{name}: no seed is valid, so that no mutation gets far"
    );
    let mut seeds = own;
    seeds.extend(corpus(endings));
    let mut dice = Dice(asked("HAULM_SEED", 1));
    let inputs = asked("HAULM_INPUTS", 400);
    let mut refused = 0;
    let whole = seeds.clone();
    let mutations = std::iter::repeat_with(|| mutated(&mut dice, &seeds)).take(inputs as usize);
    for bytes in whole.into_iter().chain(mutations) {
        let Ok(taken) = catch_unwind(AssertUnwindSafe(|| parser(&bytes))) else {
            let kept = std::env::temp_dir().join(format!("haulm-thrown-{name}"));
            fs_err::write(&kept, &bytes).unwrap();
            panic!("{name} panicked; the input is {}", kept.display());
        };
        refused += u64::from(!taken);
    }
    refused
}

/// A parser that wants a file: each input is written to the same one.
fn as_file(folder: &Path, name: &str, read: impl Fn(&Path) -> bool) -> impl Fn(&[u8]) -> bool {
    let path = folder.join(name);
    move |bytes| {
        fs_err::write(&path, bytes).unwrap();
        read(&path)
    }
}

fn texts(texts: &[&str]) -> Vec<Vec<u8>> {
    texts.iter().map(|text| text.as_bytes().to_vec()).collect()
}

#[test]
fn jobs() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/jobs/good");
    let mut seeds: Vec<(PathBuf, Vec<u8>)> = fs_err::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .map(|path| (path.clone(), fs_err::read(path).unwrap()))
        .collect();
    seeds.sort();
    let seeds: Vec<Vec<u8>> = seeds.into_iter().map(|(_, bytes)| bytes).collect();
    throw("job", &["toml"], seeds, &|bytes| {
        let path = Path::new("job.toml");
        let rate = rate_job(bytes, path).is_ok();
        map_job(bytes, path).is_ok() || rate
    });
}

#[test]
fn formulas() {
    let seeds = texts(&[
        "NDVI",
        "band 3",
        "(nir - red) / (nir + red)",
        "1.5 * (nir - red) / (nir + 6 * red - 7.5 * blue + 1)",
        "sqrt(nir * red) - abs(green) + min(1, red_edge)",
    ]);
    throw("formula", &["txt"], seeds, &|bytes| {
        std::str::from_utf8(bytes).is_ok_and(|text| Index::parse(text).is_ok())
    });
}

#[test]
fn weather_records_and_lists_of_stations() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/field/weather.csv");
    let short: Vec<u8> = fs_err::read_to_string(demo)
        .unwrap()
        .lines()
        .take(12)
        .flat_map(|line| [line.as_bytes(), b"\n"].concat())
        .collect();
    let records = vec![
        short,
        b"date;tmin;tmax\n2026-01-01;-1,5;4,25\n2026-01-02;0;5\n".to_vec(),
    ];
    throw("weather", &["csv"], records, &|bytes| {
        weather::parse(bytes, Path::new("w.csv")).is_ok()
    });
    let lists = texts(&[
        "name,longitude,latitude,file\nHill,15.5,50.1,hill.csv\nMill,15.6,50.2,mill.csv\n",
    ]);
    throw("stations", &["csv"], lists, &|bytes| {
        stations::parse(bytes, Path::new("s.csv")).is_ok()
    });
}

#[test]
fn layers_of_vectors() {
    let field = Field::new();
    let folder = tempfile::tempdir().unwrap();
    let layers =
        ["boundary.geojson", "strips.geojson"].map(|name| fs_err::read(field.path(name)).unwrap());
    throw(
        "geojson",
        &["geojson", "json"],
        layers.to_vec(),
        &as_file(folder.path(), "a.geojson", |path| {
            let lines = read_lines(path, None, None).is_ok();
            read_polygons(path, None, None).is_ok() || lines
        }),
    );
    let places = "15.5,50.1 15.51,50.1 15.51,50.11 15.5,50.11 15.5,50.1";
    let kml = format!(
        "<kml xmlns=\"http://www.opengis.net/kml/2.2\"><Document><Placemark><name>a</name><Polygon><outerBoundaryIs><LinearRing><coordinates>{places}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
    );
    throw(
        "kml",
        &["kml"],
        texts(&[&kml]),
        &as_file(folder.path(), "a.kml", |path| {
            read_polygons(path, None, None).is_ok()
        }),
    );
}

#[test]
fn virtual_rasters_and_what_lies_beside_rasters() {
    let field = Field::new();
    let home = field.path("");
    let image = fs_err::read(field.path("image.tif")).unwrap();
    let vrt = "<VRTDataset rasterXSize=\"144\" rasterYSize=\"168\"><SRS>EPSG:32633</SRS><GeoTransform>559976,2,0,5560312,0,-2</GeoTransform><VRTRasterBand dataType=\"Float32\" band=\"1\"><NoDataValue>-9999</NoDataValue><SimpleSource><SourceFilename relativeToVRT=\"1\">image.tif</SourceFilename><SourceBand>1</SourceBand><SrcRect xOff=\"0\" yOff=\"0\" xSize=\"144\" ySize=\"168\"/><DstRect xOff=\"0\" yOff=\"0\" xSize=\"144\" ySize=\"168\"/></SimpleSource></VRTRasterBand></VRTDataset>";
    let read = |path: &Path| {
        let _ = listed(path, &home);
        facts(path, &home).is_ok()
    };
    throw(
        "vrt",
        &["vrt"],
        texts(&[vrt]),
        &as_file(&home, "a.vrt", read),
    );
    let beside = |name: &'static str, seeds: &[&str]| {
        field.write("b.tif", &image);
        let with = as_file(&home, name, |_| facts(&home.join("b.tif"), &home).is_ok());
        throw(name, &["xml", "tab", "tfw"], texts(seeds), &with);
        fs_err::remove_file(home.join(name)).unwrap();
    };
    beside(
        "b.tif.aux.xml",
        &[
            "<PAMDataset><SRS>EPSG:32633</SRS><Metadata domain=\"IMAGERY\"><MDI key=\"A\">b</MDI></Metadata><PAMRasterBand band=\"1\"><Description>red</Description><NoDataValue>0</NoDataValue></PAMRasterBand></PAMDataset>",
        ],
    );
    beside(
        "b.tab",
        &[
            "!table\n!version 300\nDefinition Table\n  File \"b.tif\"\n  Type \"RASTER\"\n  (500000,5400000) (0,0) Label \"Pt 1\",\n  CoordSys Earth Projection 8, 104, \"m\", 15, 0, 0.9996, 500000, 0\n  Units \"m\"\n",
        ],
    );
    beside("b.tfw", &["2\n0\n0\n-2\n559977\n5560311\n"]);
}

#[test]
fn maps_of_others() {
    let field = Field::mapped();
    let options = maps::ReadOptions::default();
    let read = |path: &Path| maps::read(path, &options).is_ok();
    let machine = field.path("out/machine");
    let task = machine.join("TASKDATA");
    for (file, map) in [("TASKDATA.XML", ""), ("GRD00000.bin", "")] {
        let whole = fs_err::read(task.join(file)).unwrap();
        let with = as_file(&task, file, |_| read(&task.join(map)));
        // A grid of other numbers is another map, and no refusal.
        throw_all(file, &["xml", "XML", "bin"], vec![whole.clone()], &with);
        fs_err::write(task.join(file), whole).unwrap();
    }
    let mut parts: Vec<PathBuf> = fs_err::read_dir(&machine)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    parts.sort();
    let shape = parts
        .iter()
        .find(|path| path.extension().is_some_and(|end| end == "shp"))
        .unwrap();
    for end in ["shp", "dbf", "prj", "cpg"] {
        let part = shape.with_extension(end);
        let whole = fs_err::read(&part).unwrap();
        let name = part.file_name().unwrap().to_str().unwrap();
        let with = as_file(&machine, name, |_| read(shape));
        // A table or a code page that is spoilt is a fault of the map, and no refusal.
        throw_all(end, &[end], vec![whole.clone()], &with);
        fs_err::write(&part, whole).unwrap();
    }
}

/// The validity suites of JTS (github.com/locationtech/jts, `testxml`, commit 07833d3), which `HAULM_CORPUS` points to: every polygon of theirs with a verdict.
#[test]
#[ignore = "needs a collection that is not kept here: HAULM_CORPUS names its folder"]
fn validity_as_another_library_sees_it() {
    use haulm::space::connected::inside_is_connected;
    use haulm::space::valid::is_valid;

    let (mut alike, mut others) = (0_u32, Vec::new());
    for bytes in corpus(&["xml"]) {
        let Ok(text) = String::from_utf8(bytes) else {
            continue;
        };
        let Ok(tree) = roxmltree::Document::parse(&text) else {
            continue;
        };
        for case in tree.descendants().filter(|node| node.has_tag_name("case")) {
            let child = |name: &str| case.children().find(|node| node.has_tag_name(name));
            let verdict = case
                .descendants()
                .find(|node| node.has_tag_name("op") && node.attribute("name") == Some("isValid"));
            let (Some(shape), Some(verdict)) = (child("a"), verdict) else {
                continue;
            };
            let Some(Ok(shape)) = shape.text().map(gdal::vector::Geometry::from_wkt) else {
                continue;
            };
            let polygons = match shape.to_geo() {
                Ok(geo::Geometry::Polygon(polygon)) => geo::MultiPolygon::new(vec![polygon]),
                Ok(geo::Geometry::MultiPolygon(polygons)) => polygons,
                _ => continue,
            };
            let due = verdict.text().unwrap_or_default().trim() == "true";
            let own = is_valid(&polygons) && polygons.iter().all(inside_is_connected);
            if own == due {
                alike += 1;
            } else {
                others.push(format!("due {due}: {polygons:?}"));
            }
        }
    }
    eprintln!("{alike} alike, {} not", others.len());
    for other in &others {
        eprintln!("{}", other.chars().take(300).collect::<String>());
    }
    assert!(alike > 300, "{alike} polygons with a verdict");
    assert!(others.is_empty(), "{} not alike", others.len());
}
