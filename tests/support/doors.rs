//! The doors of haulm's own parsers: what comes in as bytes from others, with good seeds. Bytes are thrown at them by `tests/it/thrown.rs`, and with the eye on
//! the code that they reach by `tests/fuzz`.

use std::path::{Path, PathBuf};

use axum::body::Body;
use axum::http::Request;
use haulm::app::job::{map_job, rate_job};
use haulm::format::raster::{facts, listed};
use haulm::format::vector::{read_lines, read_polygons};
use haulm::format::weather::stations;
use haulm::format::{maps, weather};
use haulm::job::amount;
use haulm::science::index::Index;
use haulm::web::testing::{HOST, Page};

/// A parser: whether it takes what it is given.
type Parse = Box<dyn Fn(&[u8]) -> bool>;
/// Endings of files of a kind.
type Endings = &'static [&'static str];

/// A parser's own door.
pub(crate) struct Door {
    /// Endings of files of the kind.
    pub(crate) endings: Endings,
    /// Good inputs.
    pub(crate) seeds: Vec<Vec<u8>>,
    /// Whether every spoilt input may be taken: a grid of other numbers is another map, and no refusal.
    pub(crate) takes_all: bool,
    /// Gives bytes to the parser, and says whether it takes them.
    pub(crate) parse: Parse,
}

/// Doors that take a text.
pub(crate) const TEXTS: [&str; 5] = ["job", "formula", "amount", "weather", "stations"];
/// Doors of layers of vectors.
pub(crate) const LAYERS: [&str; 3] = ["geojson", "kml", "gml"];
/// Doors of virtual rasters, headers, and of what lies beside a raster.
pub(crate) const RASTERS: [&str; 5] = ["vrt", "aux", "tab", "world", "ers"];
/// Doors of maps of others.
pub(crate) const MAPS: [&str; 7] = ["task", "grid", "shp", "shx", "dbf", "prj", "cpg"];
/// The door of the page.
pub(crate) const REQUESTS: [&str; 1] = ["request"];

pub(crate) fn repository(path: &str) -> PathBuf {
    let own = Path::new(env!("CARGO_MANIFEST_DIR"));
    let root = own.ancestors().find(|above| above.join("demo").is_dir());
    root.unwrap().join(path)
}

fn texts(texts: &[&str]) -> Vec<Vec<u8>> {
    texts.iter().map(|text| text.as_bytes().to_vec()).collect()
}

/// A door by its name. `scratch` is a folder of its own that stays as long as the door; `mapped` makes the files of a map below `machine` and gives their folder.
pub(crate) fn door(name: &str, scratch: &Path, mapped: &dyn Fn() -> PathBuf) -> Door {
    if TEXTS.contains(&name) {
        of_text(name)
    } else if LAYERS.contains(&name) {
        of_layer(name, scratch)
    } else if RASTERS.contains(&name) {
        of_raster(name, scratch)
    } else if MAPS.contains(&name) {
        of_map(name, &mapped())
    } else {
        assert!(REQUESTS.contains(&name), "there is no door {name}");
        of_request(scratch)
    }
}

fn of_text(name: &str) -> Door {
    let (endings, seeds, parse): (Endings, _, fn(&[u8]) -> bool) = match name {
        "job" => (&["toml"], jobs(), |bytes| {
            let path = Path::new("job.toml");
            let rate = rate_job(bytes, path).is_ok();
            map_job(bytes, path).is_ok() || rate
        }),
        "formula" => {
            let formulas = [
                "NDVI",
                "band 3",
                "(nir - red) / (nir + red)",
                "1.5 * (nir - red) / (nir + 6 * red - 7.5 * blue + 1)",
                "sqrt(nir * red) - abs(green) + min(1, red_edge)",
            ];
            (&["txt"], texts(&formulas), |bytes| {
                std::str::from_utf8(bytes).is_ok_and(|text| Index::parse(text).is_ok())
            })
        }
        "amount" => {
            let amounts = [
                "24 m",
                "60'",
                "7 t/ha",
                "100 bu/ac",
                "150 kg N/ha",
                "120 lbs N per acre",
                "30 imp gal/ac",
                "0.42 EUR/kg N",
                "1,5 kg ha-1",
                "12 km/h",
                "1.28 kg/L",
                "6 ft 6 in",
                "-2 °C",
                "56 lb/bu",
            ];
            (&["txt"], texts(&amounts), |bytes| {
                std::str::from_utf8(bytes).is_ok_and(an_amount)
            })
        }
        "weather" => {
            let demo = fs_err::read_to_string(repository("demo/field/weather.csv")).unwrap();
            let short: Vec<&str> = demo.lines().take(12).collect();
            let other = "date;tmin;tmax\n2026-01-01;-1,5;4,25\n2026-01-02;0;5\n";
            (&["csv"], texts(&[&short.join("\n"), other]), |bytes| {
                weather::parse(bytes, Path::new("w.csv")).is_ok()
            })
        }
        _ => {
            let list =
                "name,longitude,latitude,file\nHill,15.5,50.1,hill.csv\nMill,15.6,50.2,mill.csv\n";
            (&["csv"], texts(&[list]), |bytes| {
                stations::parse(bytes, Path::new("s.csv")).is_ok()
            })
        }
    };
    Door {
        endings,
        seeds,
        takes_all: false,
        parse: Box::new(parse),
    }
}

fn jobs() -> Vec<Vec<u8>> {
    let mut paths: Vec<PathBuf> = fs_err::read_dir(repository("tests/jobs/good"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| fs_err::read(path).unwrap())
        .collect()
}

/// Whether a text is an amount of any kind.
fn an_amount(text: &str) -> bool {
    // All of them, so that each is tried.
    let taken = [
        amount::length(text).is_ok(),
        amount::area(text).is_ok(),
        amount::speed(text).is_ok(),
        amount::time(text).is_ok(),
        amount::density(text).is_ok(),
        amount::bulk_density(text).is_ok(),
        amount::capacity(text).is_ok(),
        amount::bushel(text).is_ok(),
        amount::temperature(text).is_ok(),
        amount::grain_yield(text, "winter wheat", Some(60.0)).is_ok(),
        amount::product_rate(text, None).is_ok(),
        amount::nitrogen_price(text, None).is_ok(),
        amount::area_price(text, Some("EUR")).is_ok(),
    ];
    taken.contains(&true)
}

/// A parser that wants a file: each input is written to the same one.
fn as_file(path: PathBuf, read: impl Fn(&Path) -> bool + 'static) -> Parse {
    Box::new(move |bytes| {
        fs_err::write(&path, bytes).unwrap();
        read(&path)
    })
}

fn of_layer(name: &str, scratch: &Path) -> Door {
    let places = "15.5,50.1 15.51,50.1 15.51,50.11 15.5,50.11 15.5,50.1";
    let (endings, seeds): (Endings, _) = match name {
        "geojson" => {
            let files = ["boundary", "strips", "wet_corner"];
            let read = |name| fs_err::read(repository(&format!("demo/field/{name}.geojson")));
            (
                &["geojson", "json"],
                files.map(|name| read(name).unwrap()).to_vec(),
            )
        }
        "kml" => {
            let kml = format!(
                "<kml xmlns=\"http://www.opengis.net/kml/2.2\"><Document><Placemark><name>a</name><Polygon><outerBoundaryIs><LinearRing><coordinates>{places}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
            );
            (&["kml"], texts(&[&kml]))
        }
        _ => {
            let gml = format!(
                "<?xml version=\"1.0\"?><a:FeatureCollection xmlns:a=\"http://a.invalid/a\" xmlns:gml=\"http://www.opengis.net/gml\"><gml:featureMember><a:b><a:g><gml:Polygon srsName=\"EPSG:4326\"><gml:outerBoundaryIs><gml:LinearRing><gml:coordinates>{places}</gml:coordinates></gml:LinearRing></gml:outerBoundaryIs></gml:Polygon></a:g></a:b></gml:featureMember></a:FeatureCollection>"
            );
            (&["gml"], texts(&[&gml]))
        }
    };
    let read = |path: &Path| {
        let lines = read_lines(path, None, None).is_ok();
        read_polygons(path, None, None).is_ok() || lines
    };
    Door {
        endings,
        seeds,
        takes_all: false,
        parse: as_file(scratch.join(format!("a.{name}")), read),
    }
}

fn of_raster(name: &str, scratch: &Path) -> Door {
    let image = scratch.join("b.tif");
    fs_err::copy(repository("demo/field/mosaic.tif"), &image).unwrap();
    let (file, seed) = match name {
        "vrt" => (
            "a.vrt",
            "<VRTDataset rasterXSize=\"830\" rasterYSize=\"750\"><SRS>EPSG:32633</SRS><GeoTransform>559585,1,0,5560375,0,-1</GeoTransform><VRTRasterBand dataType=\"UInt16\" band=\"1\"><NoDataValue>0</NoDataValue><SimpleSource><SourceFilename relativeToVRT=\"1\">b.tif</SourceFilename><SourceBand>1</SourceBand><SrcRect xOff=\"0\" yOff=\"0\" xSize=\"830\" ySize=\"750\"/><DstRect xOff=\"0\" yOff=\"0\" xSize=\"830\" ySize=\"750\"/></SimpleSource></VRTRasterBand></VRTDataset>",
        ),
        "aux" => (
            "b.tif.aux.xml",
            "<PAMDataset><SRS>EPSG:32633</SRS><Metadata domain=\"IMAGERY\"><MDI key=\"A\">b</MDI></Metadata><PAMRasterBand band=\"1\"><Description>red</Description><NoDataValue>0</NoDataValue></PAMRasterBand></PAMDataset>",
        ),
        "tab" => (
            "b.tab",
            "!table\n!version 300\nDefinition Table\n  File \"b.tif\"\n  Type \"RASTER\"\n  (500000,5400000) (0,0) Label \"Pt 1\",\n  CoordSys Earth Projection 8, 104, \"m\", 15, 0, 0.9996, 500000, 0\n  Units \"m\"\n",
        ),
        "world" => ("b.tfw", "2\n0\n0\n-2\n559977\n5560311\n"),
        _ => {
            fs_err::write(scratch.join("c"), vec![0_u8; 4 * 6 * 5]).unwrap();
            (
                "c.ers",
                "DatasetHeader Begin\n\tVersion = \"6.0\"\n\tDataSetType = ERStorage\n\tDataType = Raster\n\tByteOrder = LSBFirst\n\tCoordinateSpace Begin\n\t\tDatum = \"WGS84\"\n\t\tProjection = \"EPSG:32633\"\n\t\tCoordinateType = EN\n\t\tRotation = 0:0:0.0\n\tCoordinateSpace End\n\tRasterInfo Begin\n\t\tCellType = IEEE4ByteReal\n\t\tNrOfLines = 5\n\t\tNrOfCellsPerLine = 6\n\t\tNrOfBands = 1\n\t\tCellInfo Begin\n\t\t\tXdimension = 2\n\t\t\tYdimension = 2\n\t\tCellInfo End\n\t\tRegistrationCoord Begin\n\t\t\tEastings = 559976\n\t\t\tNorthings = 5560312\n\t\tRegistrationCoord End\n\tRasterInfo End\nDatasetHeader End\n",
            )
        }
    };
    let home = scratch.to_owned();
    let stands_alone = file.ends_with("vrt") || file.ends_with("ers");
    Door {
        endings: &["vrt", "xml", "tab", "tfw", "ers"],
        seeds: texts(&[seed]),
        takes_all: false,
        parse: as_file(scratch.join(file), move |path| {
            let opened = if stands_alone { path } else { &image };
            let _ = listed(opened, &home);
            facts(opened, &home).is_ok()
        }),
    }
}

fn of_map(name: &str, folder: &Path) -> Door {
    let machine = folder.join("machine");
    let task = machine.join("TASKDATA");
    let (file, map) = match name {
        "task" => (task.join("TASKDATA.XML"), task),
        "grid" => (task.join("GRD00000.bin"), task),
        part => {
            let shape = fs_err::read_dir(&machine)
                .unwrap()
                .map(|entry| entry.unwrap().path())
                .find(|path| path.extension().is_some_and(|end| end == "shp"))
                .unwrap();
            (shape.with_extension(part), shape)
        }
    };
    let endings: Endings = match name {
        "task" => &["xml", "XML"],
        "grid" => &["bin"],
        "shp" => &["shp"],
        "shx" => &["shx"],
        "dbf" => &["dbf"],
        "prj" => &["prj"],
        _ => &["cpg"],
    };
    Door {
        endings,
        seeds: vec![fs_err::read(&file).unwrap()],
        takes_all: true,
        parse: as_file(file, move |_| {
            maps::read(&map, &maps::ReadOptions::default()).is_ok()
        }),
    }
}

/// Requests to the page of a job that is not there: the guard, the addresses and the bodies are read, nothing is computed.
fn of_request(scratch: &Path) -> Door {
    let job = scratch.join("job.toml");
    fs_err::copy(repository("demo/job.toml"), job).unwrap();
    let page = Page::open(scratch, true).unwrap();
    let enter = Request::post("/api/v1/enter")
        .header("host", HOST)
        .header("content-type", "application/json")
        .body(Body::from(format!("{{\"token\":\"{}\"}}", page.token())))
        .unwrap();
    let (head, _) = page.ask(enter);
    let cookie = head.headers()["set-cookie"].to_str().unwrap().to_owned();
    let session = Request::get("/api/v1/session")
        .header("host", HOST)
        .header("cookie", &cookie)
        .body(Body::empty())
        .unwrap();
    let (_, session) = page.ask(session);
    let session: serde_json::Value = serde_json::from_slice(&session).unwrap();
    let token = session["token"].as_str().unwrap().to_owned();
    Door {
        endings: &["json"],
        seeds: texts(&[
            "GET /api/v1/jobs/9/cells HTTP/1.1\nhost: 127.0.0.1:4321\n\n",
            "POST /api/v1/jobs/9/change HTTP/1.1\norigin: http://127.0.0.1:4321\ncontent-type: application/json\n\n{\"key\":\"rate.maximum\",\"value\":\"150 kg N/ha\"}",
            "POST /api/v1/jobs/9/shapes HTTP/1.1\ncontent-type: application/json\nsec-fetch-site: same-origin\n\n{\"kind\":\"strips\",\"shapes\":[[[15.1,50.1],[15.2,50.2]]]}",
            "GET /page.js HTTP/1.1\n\n",
        ]),
        takes_all: true,
        parse: Box::new(move |bytes| {
            as_request(bytes, &cookie, &token).is_some_and(|request| {
                let (head, _) = page.ask(request);
                assert!(
                    head.status().as_u16() < 500,
                    "an answer of {}",
                    head.status()
                );
                head.status().is_success()
            })
        }),
    }
}

/// Bytes as a request of a browser that was let in: a line, headers, an empty line, a body.
fn as_request(bytes: &[u8], cookie: &str, token: &str) -> Option<Request<Body>> {
    let (head, body) = bytes
        .windows(2)
        .position(|two| two == b"\n\n")
        .map_or((bytes, &[][..]), |at| (&bytes[..at], &bytes[at + 2..]));
    let mut lines = head.split(|byte| *byte == b'\n');
    let mut words = lines.next()?.split(|byte| *byte == b' ');
    let mut request = Request::builder()
        .method(words.next()?)
        .uri(words.next()?)
        .header("cookie", cookie)
        .header("x-haulm-token", token);
    let mut named = false;
    for line in lines {
        let at = line.iter().position(|byte| *byte == b':')?;
        named |= line[..at].eq_ignore_ascii_case(b"host");
        request = request.header(&line[..at], line[at + 1..].trim_ascii());
    }
    if !named {
        request = request.header("host", HOST);
    }
    request.body(Body::from(body.to_vec())).ok()
}
