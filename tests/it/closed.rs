//! No input reaches a network or a file that the job does not name, and no environment variable decides a rate: a listener on this machine counts who calls.

use std::io::ErrorKind;
use std::net::TcpListener;
use std::process::Command;

use crate::field::{CORNER, EXTENT, Field, Image, Wording, carry, rectangle, way};

/// A listener that nobody may call.
struct Listener(TcpListener);

impl Listener {
    fn new() -> Self {
        let socket = TcpListener::bind("127.0.0.1:0").unwrap();
        socket.set_nonblocking(true).unwrap();
        Self(socket)
    }
    fn address(&self) -> String {
        format!("http://{}", self.0.local_addr().unwrap())
    }
    /// A call waits in the queue of the socket, whether or not the caller has gone.
    fn nobody_called(&self, what: &str) {
        let called = self.0.accept();
        assert!(
            matches!(&called, Err(error) if error.kind() == ErrorKind::WouldBlock),
            "{what}: {called:?}"
        );
    }
}

/// Runs a command on the job with more in the environment.
fn run_under(field: &Field, arguments: &[&str], variables: &[(&str, &str)]) -> Wording {
    Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(arguments)
        .arg(field.path("job.toml"))
        .envs(variables.iter().copied())
        .output()
        .unwrap()
        .into()
}

fn notice(wording: &Wording) -> String {
    wording.err.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Puts a member before the features of the boundary.
fn with_member(field: &Field, member: &str) {
    let text = fs_err::read_to_string(field.path("boundary.geojson")).unwrap();
    assert!(text.contains("\"features\":"));
    field.write(
        "boundary.geojson",
        text.replacen("\"features\":", &format!("{member},\"features\":"), 1),
    );
}

#[test]
fn a_reference_system_is_a_code_or_a_text_never_an_address_or_a_file() {
    let listener = Listener::new();
    let address = listener.address();
    let field = Field::new();
    // A true system in a file: nobody may look into it.
    let file = field.path("system.prj").display().to_string();
    field.write(
        "system.prj",
        gdal::spatial_ref::SpatialRef::from_epsg(32_633)
            .unwrap()
            .to_wkt()
            .unwrap(),
    );
    let whole = fs_err::read(field.path("boundary.geojson")).unwrap();
    let crs = |kind: &str, key: &str, value: &str| {
        format!(r#""crs":{{"type":"{kind}","properties":{{"{key}":"{value}"}}}}"#)
    };
    for member in [
        crs("link", "href", &format!("{address}/a.wkt")),
        crs("LINK", "href", &format!("{address}/a.wkt")),
        crs("url", "url", &format!("{address}/a.wkt")),
        crs("URL", "url", &format!("{address}/a.wkt")),
        crs("name", "name", &format!("{address}/a.wkt")),
        crs("name", "name", &format!("/vsicurl/{address}/a.wkt")),
        crs("name", "name", &file),
        crs("name", "name", "system.prj"),
        crs(
            "name",
            "name",
            &format!("+proj=utm +zone=33 +nadgrids={address}/a.gsb"),
        ),
        crs("name", "name", &format!("+init={file}:1")),
        crs("OGC", "urn", &format!("{address}/a.wkt")),
    ] {
        field.write("boundary.geojson", &whole);
        with_member(&field, &member);
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(1), "{member}: {}", wording.err);
        assert!(
            notice(&wording).contains("error[vector.system]"),
            "{member}: {}",
            wording.err
        );
        // As a member by another case, and as one of a geometry.
        field.write("boundary.geojson", &whole);
        with_member(&field, &member.replacen("\"crs\"", "\"CRS\"", 1));
        assert_eq!(field.run(&["map"]).status, Some(1), "{member} in capitals");
        field.write(
            "boundary.geojson",
            String::from_utf8(whole.clone()).unwrap().replacen(
                "\"geometry\":{",
                &format!("\"geometry\":{{{member},"),
                1,
            ),
        );
        assert_eq!(
            field.run(&["map"]).status,
            Some(1),
            "{member} of a geometry"
        );
        let wording = field.command(&["check", "strips.geojson", "--boundary", "boundary.geojson"]);
        assert_eq!(wording.status, Some(1), "check: {member}: {}", wording.err);
        listener.nobody_called(&member);
    }
    // One that is a code is what it was.
    field.write("boundary.geojson", &whole);
    with_member(
        &field,
        &crs("name", "name", "urn:ogc:def:crs:OGC:1.3:CRS84"),
    );
    assert_eq!(field.run(&["map"]).status, Some(0));
    let boundary = fs_err::read(field.path("boundary.geojson")).unwrap();
    // A key of the job.
    for text in [
        format!("{address}/a.wkt"),
        file.clone(),
        "system.prj".to_owned(),
    ] {
        let field = Field::new();
        field.write("system.prj", fs_err::read(&file).unwrap());
        field.write("boundary.geojson", &boundary);
        field.job("[imagery]", &format!("crs = \"{text}\"\n\n[imagery]"));
        let wording = field.run(&["map"]);
        assert!(
            notice(&wording).contains("error[plane.unknown]"),
            "{text}: {}",
            wording.err
        );
        listener.nobody_called(&text);
    }
}

#[test]
fn proj_asks_no_server_for_grids() {
    let listener = Listener::new();
    let field = Field::new();
    // DHDN has grids that PROJ would fetch.
    let there = way("EPSG:32633", "EPSG:31468");
    let corners: Vec<[f64; 2]> = rectangle([0.0, 0.0, EXTENT.0, EXTENT.1])
        .iter()
        .chain(&[(0.0, 0.0)])
        .map(|(x, y)| carry(&there, CORNER.0 + x, CORNER.1 + y).into())
        .collect();
    field.write("boundary.geojson", serde_json::json!({ "type": "Feature", "crs": { "type": "name", "properties": { "name": "EPSG:31468" } }, "properties": {}, "geometry": { "type": "Polygon", "coordinates": [corners] } }).to_string());
    let wording = run_under(
        &field,
        &["map"],
        &[
            ("PROJ_NETWORK", "ON"),
            ("PROJ_NETWORK_ENDPOINT", &listener.address()),
        ],
    );
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    listener.nobody_called("PROJ_NETWORK");
}

#[test]
fn the_environment_decides_no_rate() {
    let field = Field::new();
    let bytes = fs_err::read(field.path("image.tif")).unwrap();
    let hostile = [
        ("GTIFF_IGNORE_READ_ERRORS", "YES"),
        ("GTIFF_POINT_GEO_IGNORE", "YES"),
        ("CPL_VSIL_CURL_ALLOWED_FILENAME", ""),
        ("GDAL_SKIP", "GTiff,GeoJSON"),
        ("OGR_SKIP", "GeoJSON"),
        ("OGR_GEOMETRY_ACCEPT_UNCLOSED_RING", "YES"),
        ("GDAL_PAM_ENABLED", "NO"),
        ("GDAL_GEOREF_SOURCES", "NONE"),
        ("OGR_ENABLE_PARTIAL_REPROJECTION", "YES"),
        ("PROJ_DATA", "nowhere"),
        ("PROJ_LIB", "nowhere"),
        ("GDAL_DATA", "nowhere"),
    ];
    // Pixels as points: half a pixel lies between the two readings of the tag.
    let pixel_is_point = Image::default();
    field.image(&pixel_is_point);
    {
        let mut dataset = gdal::Dataset::open_ex(
            field.path("image.tif"),
            gdal::DatasetOptions {
                open_flags: gdal::GdalOpenFlags::GDAL_OF_UPDATE,
                ..gdal::DatasetOptions::default()
            },
        )
        .unwrap();
        gdal::Metadata::set_metadata_item(&mut dataset, "AREA_OR_POINT", "Point", "").unwrap();
    }
    let wording = run_under(&field, &["map"], &[]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    let plain = field.outputs();
    let id = field.record()["map_id"].clone();
    for (name, value) in hostile {
        let wording = run_under(&field, &["map"], &[(name, value)]);
        assert_eq!(wording.status, Some(0), "{name}: {}", wording.err);
        assert_eq!(field.record()["map_id"], id, "{name}");
        for (file, bytes) in field.outputs() {
            assert!(
                file.ends_with("record.json") || plain[&file] == bytes,
                "{name}: {file}"
            );
        }
    }
    field.write("image.tif", &bytes[..bytes.len() / 2]);
    let wording = run_under(&field, &["map"], &hostile);
    assert!(
        notice(&wording).contains("error[image.unreadable]"),
        "{}",
        wording.err
    );
}

/// A virtual raster of the image's two bands; each source is an element as a whole.
fn virtual_raster(field: &Field, source: &str) {
    let (cols, rows) = Image::default().size;
    let transform = Image::default()
        .transform
        .unwrap()
        .map(|v| v.to_string())
        .join(",");
    let band = |number: usize, name: &str| {
        format!(
            "<VRTRasterBand dataType=\"Float32\" band=\"{number}\"><Description>{name}</Description><NoDataValue>-9999</NoDataValue><SimpleSource>{source}<SourceBand>{number}</SourceBand></SimpleSource></VRTRasterBand>"
        )
    };
    field.write(
        "image.vrt",
        format!(
            "<VRTDataset rasterXSize=\"{cols}\" rasterYSize=\"{rows}\"><SRS>EPSG:32633</SRS><GeoTransform>{transform}</GeoTransform>{}{}</VRTDataset>",
            band(1, "red"),
            band(2, "nir")
        ),
    );
}

#[test]
fn a_virtual_raster_reads_no_file_that_is_not_looked_at() {
    let listener = Listener::new();
    let outside = Field::new();
    let away = outside.path("image.tif").display().to_string();
    let field = Field::new();
    field.job("image.tif", "image.vrt");
    virtual_raster(
        &field,
        "<SourceFilename relativeToVRT=\"1\">image.tif</SourceFilename>",
    );
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}", wording.err);
    for source in [
        format!("<sourcefilename>{away}</sourcefilename>"),
        format!("<SOURCEFILENAME>{away}</SOURCEFILENAME>"),
        format!("<SourceFilename relativeToVRT=\"0\">{away}</SourceFilename>"),
        format!("<SourceFilename relativetovrt=\"1\">{away}</SourceFilename>"),
        format!(
            "<sourcefilename>/vsicurl/{}/a.tif</sourcefilename>",
            listener.address()
        ),
    ] {
        virtual_raster(&field, &source);
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(1), "{source}: {}", wording.out);
        listener.nobody_called(&source);
    }
    // As an attribute of the element above.
    virtual_raster(&field, "@");
    let text = fs_err::read_to_string(field.path("image.vrt")).unwrap();
    for name in ["SourceFilename", "sourcefilename"] {
        field.write(
            "image.vrt",
            text.replace(
                "<SimpleSource>@",
                &format!("<SimpleSource {name}=\"{away}\">"),
            ),
        );
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(1), "attribute {name}: {}", wording.out);
    }
    // Its own system is a code or a text, too.
    virtual_raster(
        &field,
        "<SourceFilename relativeToVRT=\"1\">image.tif</SourceFilename>",
    );
    let text = fs_err::read_to_string(field.path("image.vrt")).unwrap();
    for system in [format!("{}/a.wkt", listener.address()), away] {
        field.write("image.vrt", text.replace("EPSG:32633", &system));
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(1), "{system}: {}", wording.out);
        listener.nobody_called(&system);
    }
}

#[test]
fn a_source_is_opened_by_no_driver_that_is_not_on_the_list() {
    let listener = Listener::new();
    let field = Field::new();
    field.job("image.tif", "image.vrt");
    virtual_raster(
        &field,
        "<SourceFilename relativeToVRT=\"1\">raw.img</SourceFilename>",
    );
    // Raw pixels with a header, whose first bytes are the description of a service.
    let (cols, rows) = Image::default().size;
    let service = format!(
        "<GDAL_WMS><Service name=\"TMS\"><ServerUrl>{}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service><DataWindow><UpperLeftX>0</UpperLeftX><UpperLeftY>10</UpperLeftY><LowerRightX>10</LowerRightX><LowerRightY>0</LowerRightY><SizeX>{cols}</SizeX><SizeY>{rows}</SizeY></DataWindow><BandsCount>2</BandsCount></GDAL_WMS>",
        listener.address()
    );
    let mut bytes = service.into_bytes();
    bytes.resize(cols * rows * 2 * 4, b' ');
    field.write("raw.img", bytes);
    field.write(
        "raw.hdr",
        format!("ENVI\nsamples = {cols}\nlines = {rows}\nbands = 2\nheader offset = 0\ndata type = 4\ninterleave = bsq\nbyte order = 0\n"),
    );
    let _ = field.run(&["map"]);
    listener.nobody_called("a service in raw pixels");
}
