//! Images as people have them: with three masks at once, upside down, in feet, behind virtual rasters, stored as pictures; and what of them stands in the
//! record.

use std::path::Path;

use gdal::raster::{Buffer, ColorInterpretation, RasterCreationOptions};
use gdal::spatial_ref::SpatialRef;
use gdal::{Dataset, DatasetOptions, DriverManager, GdalOpenFlags, Metadata as _};
use sha2::Digest as _;

use crate::field::{CORNER, EXTENT, Field, Image, carry, ndvi, refused, way};

const SIZE: (usize, usize) = (144, 168);

/// Red (negative sign) or near infrared of a pixel of the usual image, times 10 000; 0 under the cloud.
fn stored(at: usize, sign: f64) -> u16 {
    let (x, y) = (
        (at % SIZE.0) as f64 * 2.0 - 23.0,
        EXTENT.1 + 23.0 - (at / SIZE.0) as f64 * 2.0,
    );
    ndvi(0.74, x, y).map_or(0, |ndvi| (2_250.0 * (1.0 + sign * ndvi)).round() as u16)
}

/// Writes bands of names and numbers over the usual ground.
fn write(path: &Path, options: &[&str], bands: &[(&str, Vec<u16>)]) -> Dataset {
    let options: RasterCreationOptions = options.iter().copied().collect();
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    let mut dataset = driver
        .create_with_band_type_with_options::<u16, _>(path, SIZE.0, SIZE.1, bands.len(), &options)
        .unwrap();
    dataset
        .set_spatial_ref(&SpatialRef::from_epsg(32_633).unwrap())
        .unwrap();
    dataset
        .set_geo_transform(&Image::default().transform.unwrap())
        .unwrap();
    for (k, (name, values)) in bands.iter().enumerate() {
        let mut band = dataset.rasterband(k + 1).unwrap();
        band.set_description(name).unwrap();
        if *name == "alpha" {
            band.set_color_interpretation(ColorInterpretation::AlphaBand)
                .unwrap();
        }
        band.write((0, 0), SIZE, &mut Buffer::new(SIZE, values.clone()))
            .unwrap();
    }
    dataset
}

fn all(sign: f64) -> Vec<u16> {
    (0..SIZE.0 * SIZE.1).map(|at| stored(at, sign)).collect()
}

fn mapped(field: &Field) -> serde_json::Value {
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    field.record()
}

fn missing(record: &serde_json::Value) -> u64 {
    record["image"]["pixels_missing"].as_u64().unwrap()
}

fn nitrogen(record: &serde_json::Value) -> f64 {
    record["totals"]["n_kg_exact"].as_f64().unwrap()
}

fn finding<'a>(record: &'a serde_json::Value, code: &str) -> Option<&'a str> {
    record["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|finding| finding["code"] == code)
        .and_then(|finding| finding["message"].as_str())
}

/// Path, size and hash of the inputs with this in their path.
fn inputs(record: &serde_json::Value, part: &str) -> Vec<(String, u64, String)> {
    let listed = record["inputs"].as_array().unwrap().iter();
    let all = listed.map(|input| {
        (
            input["path"].as_str().unwrap().to_owned(),
            input["bytes"].as_u64().unwrap(),
            input["sha256"].as_str().unwrap().to_owned(),
        )
    });
    all.filter(|(path, ..)| path.contains(part)).collect()
}

fn hash(path: &Path) -> String {
    sha2::Sha256::digest(fs_err::read(path).unwrap())
        .iter()
        .fold(String::new(), |text, byte| text + &format!("{byte:02x}"))
}

#[test]
fn five_bands_with_alpha_nodata_and_mask() {
    // A mosaic as flights make them. GDAL by itself sees no alpha here: nodata comes first, and six bands are too many.
    let field = Field::new();
    let alpha: Vec<u16> = (0..SIZE.0 * SIZE.1)
        .map(|at| if (at % SIZE.0) < 40 { 0 } else { 65_535 })
        .collect();
    let bands = |alpha: Vec<u16>| {
        [
            ("blue", all(-0.9)),
            ("green", all(-0.8)),
            ("red", all(-1.0)),
            ("red_edge", all(0.2)),
            ("nir", all(1.0)),
            ("alpha", alpha),
        ]
    };
    let clear = vec![65_535; SIZE.0 * SIZE.1];
    let path = field.path("image.tif");
    let nodata = |dataset: &Dataset| {
        (1..=5).for_each(|band| {
            dataset
                .rasterband(band)
                .unwrap()
                .set_no_data_value(Some(0.0))
                .unwrap();
        });
    };
    let dataset = write(
        &path,
        &["INTERLEAVE=PIXEL", "COMPRESS=DEFLATE"],
        &bands(clear),
    );
    nodata(&dataset);
    dataset.close().unwrap();
    let cloud = missing(&mapped(&field));
    // 48 m by 48 m of cloud in pixels of 2 m.
    assert_eq!(cloud, 576);
    let dataset = write(
        &path,
        &["INTERLEAVE=PIXEL", "COMPRESS=DEFLATE"],
        &bands(alpha),
    );
    nodata(&dataset);
    dataset.close().unwrap();
    // Of the 40 columns seen through, 12 lie west of the field.
    let seen_through = 28 * 144;
    assert_eq!(missing(&mapped(&field)), cloud + seen_through);
    // A mask beside it hides one of its own: the northernmost 20 rows, of which 12 lie north of the field.
    let dataset = Dataset::open_ex(
        &path,
        DatasetOptions {
            open_flags: GdalOpenFlags::GDAL_OF_UPDATE,
            ..DatasetOptions::default()
        },
    )
    .unwrap();
    let mask: Vec<u8> = (0..SIZE.0 * SIZE.1)
        .map(|at| if at / SIZE.0 < 20 { 0 } else { 255 })
        .collect();
    {
        let mut band = dataset.rasterband(1).unwrap();
        band.create_mask_band(true).unwrap();
        band.open_mask_band()
            .unwrap()
            .write((0, 0), SIZE, &mut Buffer::new(SIZE, mask))
            .unwrap();
    }
    dataset.close().unwrap();
    let record = mapped(&field);
    assert_eq!(missing(&record), cloud + seen_through + 8 * (120 - 28));
    assert_eq!(
        inputs(&record, "image.tif")
            .iter()
            .map(|input| input.0.as_str())
            .collect::<Vec<_>>(),
        ["image.tif", "image.tif.msk"]
    );
}

#[test]
fn south_up_and_transposed_images_are_the_same_image() {
    let field = Field::new();
    let [west, size, _, north, ..] = Image::default().transform.unwrap();
    let good = nitrogen(&mapped(&field));
    for (transform, pixels) in [
        (
            [west, size, 0.0, north - size * SIZE.1 as f64, 0.0, size],
            SIZE,
        ),
        (
            [west + size * SIZE.0 as f64, -size, 0.0, north, 0.0, -size],
            SIZE,
        ),
        ([west, 0.0, size, north, -size, 0.0], (SIZE.1, SIZE.0)),
    ] {
        field.image(&Image {
            transform: Some(transform),
            size: pixels,
            ..Image::default()
        });
        let other = nitrogen(&mapped(&field));
        assert!(
            (other / good - 1.0).abs() < 1e-6,
            "{transform:?}: {other} and {good}"
        );
    }
}

#[test]
fn a_zone_of_utm_in_feet_is_not_the_zone_in_metres() {
    let field = Field::new();
    let good = nitrogen(&mapped(&field));
    let system = "+proj=utm +zone=33 +datum=WGS84 +units=ft +no_defs";
    let (west, north) = carry(
        &way("EPSG:32633", system),
        CORNER.0 - 24.0,
        CORNER.1 + EXTENT.1 + 24.0,
    );
    let size = 2.0 / 0.3048;
    field.image(&Image {
        system: Some(system.to_owned()),
        transform: Some([west, size, 0.0, north, 0.0, -size]),
        ..Image::default()
    });
    let record = mapped(&field);
    assert!(
        (nitrogen(&record) / good - 1.0).abs() < 1e-3,
        "{} and {good}",
        nitrogen(&record)
    );
    assert!(finding(&record, "plane.utm").is_some());
}

#[test]
fn virtual_rasters_with_all_that_is_behind_them_in_the_record() {
    let field = Field::new();
    let plain = mapped(&field);
    fs_err::create_dir(field.path("tiles")).unwrap();
    fs_err::rename(field.path("image.tif"), field.path("tiles/image.tif")).unwrap();
    let virtual_raster = |from: &str, to: &str| {
        let driver = DriverManager::get_driver_by_name("VRT").unwrap();
        Dataset::open(field.path(from))
            .unwrap()
            .create_copy(&driver, field.path(to), &gdal::cpl::CslStringList::new())
            .unwrap()
            .close()
            .unwrap();
    };
    virtual_raster("tiles/image.tif", "tiles/inner.vrt");
    let inner = fs_err::read_to_string(field.path("tiles/inner.vrt")).unwrap();
    field.write(
        "outer.vrt",
        inner.replace(">image.tif<", ">tiles/inner.vrt<"),
    );
    field.job("image.tif", "outer.vrt");
    let record = mapped(&field);
    assert_eq!(nitrogen(&record), nitrogen(&plain));
    let read: Vec<String> = inputs(&record, "outer")
        .into_iter()
        .chain(inputs(&record, "tiles"))
        .map(|input| input.0)
        .collect();
    assert_eq!(read, ["outer.vrt", "tiles/inner.vrt", "tiles/image.tif"]);
    for (path, bytes, sha256) in inputs(&record, "tiles") {
        assert_eq!(
            (bytes, sha256),
            (
                fs_err::metadata(field.path(&path)).unwrap().len(),
                hash(&field.path(&path))
            ),
            "{path}"
        );
    }
    // Another source is another map, even where the virtual raster stays as it was.
    let before = record["map_id"].clone();
    let text = fs_err::read_to_string(field.path("outer.vrt")).unwrap();
    field.image(&Image {
        strip: 0.75,
        ..Image::default()
    });
    fs_err::rename(field.path("image.tif"), field.path("tiles/image.tif")).unwrap();
    let record = mapped(&field);
    assert_ne!(before, record["map_id"]);
    assert_eq!(
        text,
        fs_err::read_to_string(field.path("outer.vrt")).unwrap()
    );
    // Out of the folder there is no way, and where a source is missing it is said which.
    fs_err::rename(field.path("tiles/image.tif"), field.path("tiles/away.tif")).unwrap();
    refused(
        &field,
        &[
            "error[image.source]",
            "inner.vrt",
            "its source image.tif is not there",
        ],
    );
    let inner = fs_err::read_to_string(field.path("tiles/inner.vrt")).unwrap();
    let away = Field::new();
    field.write(
        "tiles/inner.vrt",
        inner.replace(
            "relativeToVRT=\"1\">image.tif",
            &format!("relativeToVRT=\"0\">{}", away.path("image.tif").display()),
        ),
    );
    refused(
        &field,
        &[
            "error[image.outside]",
            "inner.vrt",
            "outside the job's folder",
        ],
    );
}

#[test]
fn a_file_beside_that_changes_what_is_read_changes_the_map_id() {
    let field = Field::new();
    let before = mapped(&field)["map_id"].clone();
    // A sidecar that says what is known already: nothing moves, and yet it was read.
    field.write("image.tif.aux.xml", "<PAMDataset><PAMRasterBand band=\"1\"><Description>red</Description></PAMRasterBand></PAMDataset>");
    let record = mapped(&field);
    assert_ne!(before, record["map_id"]);
    let [(path, _, sha256)] = &inputs(&record, ".aux.xml")[..] else {
        panic!("{}", record["inputs"])
    };
    assert_eq!(
        (path.as_str(), sha256),
        ("image.tif.aux.xml", &hash(&field.path("image.tif.aux.xml")))
    );
    // Reduced copies are never read, so they are no input.
    field.write("image.tif.ovr", "");
    assert!(inputs(&mapped(&field), ".ovr").is_empty());
}

#[test]
fn pixels_that_were_made_out_of_others_are_told() {
    let field = Field::new();
    let text = |size: u32| {
        format!(
            "<VRTDataset rasterXSize=\"{0}\" rasterYSize=\"{1}\"><SRS>EPSG:32633</SRS><GeoTransform>{2},{3},0,{4},0,-{3}</GeoTransform>{5}</VRTDataset>",
            SIZE.0 as u32 / size,
            SIZE.1 as u32 / size,
            CORNER.0 - 24.0,
            2 * size,
            CORNER.1 + EXTENT.1 + 24.0,
            [(1, "red"), (2, "nir")].map(|(band, name)| format!(
                "<VRTRasterBand dataType=\"Float32\" band=\"{band}\"><Description>{name}</Description><NoDataValue>-9999</NoDataValue><ComplexSource resampling=\"average\"><SourceFilename relativeToVRT=\"1\">image.tif</SourceFilename><SourceBand>{band}</SourceBand><SrcRect xOff=\"0\" yOff=\"0\" xSize=\"{}\" ySize=\"{}\"/><DstRect xOff=\"0\" yOff=\"0\" xSize=\"{}\" ySize=\"{}\"/><NODATA>-9999</NODATA></ComplexSource></VRTRasterBand>",
                SIZE.0,
                SIZE.1,
                SIZE.0 as u32 / size,
                SIZE.1 as u32 / size
            )).concat()
        )
    };
    field.job("image.tif", "half.vrt");
    field.write("half.vrt", text(2));
    assert!(
        finding(&mapped(&field), "image.resampled")
            .is_some_and(|notice| notice.contains("half.vrt"))
    );
    field.write("half.vrt", text(1));
    assert!(finding(&mapped(&field), "image.resampled").is_none());
}

#[test]
fn pictures_and_numbers_that_are_no_measurement() {
    let field = Field::new();
    write(
        &field.path("image.tif"),
        &[],
        &[("red", all(-1.0)), ("nir", all(1.0))],
    )
    .close()
    .unwrap();
    // Complex numbers: GDAL would give their real parts without a word. Only a band that is used matters.
    let complex = "<VRTDataset rasterXSize=\"144\" rasterYSize=\"168\"><SRS>EPSG:32633</SRS><GeoTransform>559976,2,0,5560312,0,-2</GeoTransform><VRTRasterBand dataType=\"CFloat32\" band=\"1\"><Description>red</Description><SimpleSource><SourceFilename relativeToVRT=\"1\">image.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand><VRTRasterBand dataType=\"Float32\" band=\"2\"><Description>nir</Description><SimpleSource><SourceFilename relativeToVRT=\"1\">image.tif</SourceFilename><SourceBand>2</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>";
    field.write("complex.vrt", complex);
    field.job("image.tif", "complex.vrt");
    refused(&field, &["error[imagery.band]", "band 1", "complex"]);
    field.write("complex.vrt", complex.replace("CFloat32", "Float32"));
    mapped(&field);
    // Codes of a palette.
    let palette = complex.replace("CFloat32", "Float32").replace(
        "<Description>nir</Description>",
        "<Description>nir</Description><ColorInterp>Palette</ColorInterp>",
    );
    field.write("complex.vrt", palette);
    refused(&field, &["error[imagery.band]", "band 2", "palette"]);
    // Loss.
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    let options: RasterCreationOptions = ["COMPRESS=JPEG", "JPEG_QUALITY=90"].into_iter().collect();
    let mut lossy = driver
        .create_with_band_type_with_options::<u8, _>(
            field.path("lossy.tif"),
            SIZE.0,
            SIZE.1,
            2,
            &options,
        )
        .unwrap();
    lossy
        .set_spatial_ref(&SpatialRef::from_epsg(32_633).unwrap())
        .unwrap();
    lossy
        .set_geo_transform(&Image::default().transform.unwrap())
        .unwrap();
    for (k, (name, sign)) in [("red", -1.0), ("nir", 1.0)].into_iter().enumerate() {
        let mut band = lossy.rasterband(k + 1).unwrap();
        band.set_description(name).unwrap();
        band.write(
            (0, 0),
            SIZE,
            &mut Buffer::new(
                SIZE,
                all(sign)
                    .into_iter()
                    .map(|value| (value / 20) as u8)
                    .collect(),
            ),
        )
        .unwrap();
    }
    lossy.close().unwrap();
    field.job("complex.vrt", "lossy.tif");
    assert!(
        finding(&mapped(&field), "image.lossy")
            .is_some_and(|notice| notice.contains("lossy.tif") && notice.contains("DEFLATE"))
    );
}

#[test]
fn no_virtual_path_leads_to_a_network() {
    for path in [
        "/vsiadls/store/a.tif",
        "/VSICURL/http:/host.invalid/a.tif",
        "/vsizip//vsiwebhdfs/host/a.zip/a.tif",
        "/vsicurl_streaming/host/a.tif",
        "/vsistdin/",
    ] {
        let field = Field::new();
        field.job("image.tif", path);
        refused(&field, &["error[file.network]"]);
    }
}
