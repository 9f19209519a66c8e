//! Satellite products, masks and the traps of images, each rule with what goes wrong without it.
//!
//! | rule | test |
//! | --- | --- |
//! | boundaries: formats, systems, faults of drawing | `boundaries.rs`, `bad_input.rs` |
//! | axis order of EPSG codes: longitude first inside | `bad_input.rs`, `a_geographic_image_works` |
//! | areas never in Web Mercator | `bad_input.rs`, `web_mercator_as_plane`; `boundaries.rs`, `every_system_is_the_same_field` |
//! | layouts, types, compressions, BigTIFF, cloud-optimised, JPEG 2000, archives | `rasters.rs` |
//! | overviews never read, wrong ones inside, beside and cloud-optimised | `rasters.rs`, `overviews_are_never_read` |
//! | scale of mosaics: refused above 1.5 | `mosaics_of_whole_numbers_are_refused_where_scale_matters` |
//! | scale and offset of the file | `format/raster/tests.rs`, `nodata_scale_and_offset` |
//! | band order: by description, never guessed | `bad_input.rs`, `bands_without_names` |
//! | near infrared above red edge above red | `swapped_bands_are_told` |
//! | missing where any band is; nodata, NaN, alpha, masks inside and beside, all at once in any number of bands | `format/raster/tests.rs`, `nodata_alpha_and_masks_hide_together_whatever_the_number_of_bands`; `odd_images.rs` |
//! | undeclared nodata: -9999, 65535 | `undeclared_nodata_is_noticed` |
//! | alpha is no band; nor palettes and complex numbers | `an_alpha_band_is_no_measurement`; `odd_images.rs` |
//! | local, vertical, compound systems; tie points alone | `local_and_vertical_systems_are_refused_and_compound_ones_cut_to_their_plane`; `format/raster/tests.rs` |
//! | feet, systems without a code, south-up, turned | `odd_images.rs`; `bad_input.rs`, `an_image_in_feet_works`, `a_rotated_image_works` |
//! | virtual rasters stay below the job's folder, at any depth; no network behind archives | `format/raster/sources.rs`; `archives_are_no_way_to_the_network`; `odd_images.rs` |
//! | every file that was read stands in the record | `odd_images.rs` |
//! | Sentinel-2: names, baseline, offsets, levels | `format/raster/product/tests.rs` |
//! | Sentinel-2: pixels, 20 m in 10 m, nodata 0, scene classification grown by 40 m | `a_sentinel_2_product_is_its_bands_with_offset_and_mask`, `bands_of_20_m_lie_in_those_of_10_m` |
//! | Sentinel-2: an index without the offset is another | `an_index_is_wrong_without_the_offset` |
//! | Sentinel-2: offset removed already | `an_offset_that_was_removed_already_is_refused` |
//! | a pixel across the edge of the field does not count | `truth/coverage.rs`; the key `pixel_inside` |
//! | lone band files | `a_lone_band_file_wants_its_offset` |
//! | usable-data masks of 8 bands | `usable_data_masks_of_eight_bands` |
//! | Landsat Collection 2: scale, fill, quality bits, 30 m, below 5 ha | `a_landsat_product_is_scaled_and_masked_by_its_bits` |
//! | Landsat: factors, scene, day and satellite by its metadata | `landsat_metadata_is_read_out_of_folders_and_archives_and_must_agree`; `format/raster/product/tests.rs` |
//! | valid stored numbers: 1 to 32767, 7273 to 43636 | `numbers_outside_what_a_product_holds_valid_are_no_data` |

use std::io::Write as _;
use std::path::{Path, PathBuf};

use gdal::raster::{Buffer, ColorInterpretation};
use gdal::spatial_ref::SpatialRef;
use gdal::{DriverManager, Metadata as _};
use haulm::app::job::map_job;
use haulm::app::open::{Image, image};
use haulm::finding::Finding;
use haulm::space::raster::Window;

use crate::field::{CLOUD, CORNER, EXTENT, Field, Image as FieldImage, ndvi, rectangle};

const SCENE: &str = "S2A_MSIL2A_20260414T101031_N0511_R022_T33UWR_20260414T161234.SAFE";
const LANDSAT: &str = "LC08_L2SP_193025_20260414_20260420_02_T1";
/// West and north edge of the scenes: on multiples of 60 m from the field's corner. [m]
const EDGE: (f64, f64) = (CORNER.0 - 60.0, CORNER.1 + 360.0);
/// Width and height of the scenes. [m]
const SPREAD: f64 = 420.0;

/// Writes one band of whole numbers.
fn band(
    path: &Path,
    pixel: f64,
    system: &SpatialRef,
    driver: &str,
    value: &dyn Fn(f64, f64) -> u16,
) {
    let size = ((SPREAD / pixel) as usize, (SPREAD / pixel) as usize);
    let mut values = Vec::new();
    for row in 0..size.1 {
        for col in 0..size.0 {
            values.push(value(
                EDGE.0 - CORNER.0 + (col as f64 + 0.5) * pixel,
                EDGE.1 - CORNER.1 - (row as f64 + 0.5) * pixel,
            ));
        }
    }
    fs_err::create_dir_all(path.parent().unwrap()).unwrap();
    let memory = DriverManager::get_driver_by_name("MEM").unwrap();
    let mut dataset = memory
        .create_with_band_type::<u16, _>("", size.0, size.1, 1)
        .unwrap();
    dataset.set_spatial_ref(system).unwrap();
    dataset
        .set_geo_transform(&[EDGE.0, pixel, 0.0, EDGE.1, 0.0, -pixel])
        .unwrap();
    dataset
        .rasterband(1)
        .unwrap()
        .write((0, 0), size, &mut Buffer::new(size, values))
        .unwrap();
    let mut options = gdal::cpl::CslStringList::new();
    if driver == "JP2OpenJPEG" {
        options.add_string("QUALITY=100").unwrap();
        options.add_string("REVERSIBLE=YES").unwrap();
    }
    dataset
        .create_copy(
            &DriverManager::get_driver_by_name(driver).unwrap(),
            path,
            &options,
        )
        .unwrap()
        .close()
        .unwrap();
}

fn utm() -> SpatialRef {
    SpatialRef::from_epsg(32_633).unwrap()
}

/// Reflectance of a pixel: the mean over 5 × 5 points of it, so that edges mix as in a sensor.
fn reflectance(x: f64, y: f64, pixel: f64, sign: f64) -> f64 {
    let step = pixel / 5.0;
    let at = |k: i32| (f64::from(k) - 2.0) * step;
    let mut sum = 0.0;
    for (dx, dy) in (0..5).flat_map(|i| (0..5).map(move |j| (i, j))) {
        let (px, py) = (x + at(dx), y + at(dy));
        // Under the cloud, which the mask hides, everything is bright.
        sum += ndvi(0.74, px, py).map_or(0.9, |ndvi| 0.225 * (1.0 + sign * ndvi));
    }
    sum / 25.0
}

fn classes(x: f64, y: f64) -> u16 {
    if (CLOUD[0]..CLOUD[2]).contains(&x) && (CLOUD[1]..CLOUD[3]).contains(&y) {
        9
    } else {
        4
    }
}

/// Writes a product; `added`: what was added to the pixels, `wording`: what the metadata says.
fn sentinel(folder: &Path, added: f64, wording: i32) -> PathBuf {
    let root = folder.join(SCENE);
    let images = root.join("GRANULE/L2A_T33UWR_A012345_20260414T101031/IMG_DATA");
    let file = |rest: &str| {
        images
            .join(format!("R{}", rest.rsplit('_').next().unwrap()))
            .join(format!("T33UWR_20260414T101031_{rest}.jp2"))
    };
    for (name, pixel, sign) in [
        ("B04_10m", 10.0, -1.0),
        ("B08_10m", 10.0, 1.0),
        ("B05_20m", 20.0, -0.4),
        ("B04_20m", 20.0, 0.0),
    ] {
        let stored = |x: f64, y: f64| {
            if x < -50.0 {
                0
            } else {
                (reflectance(x, y, pixel, sign) * 10_000.0 + added).round() as u16
            }
        };
        band(&file(name), pixel, &utm(), "JP2OpenJPEG", &stored);
    }
    band(&file("SCL_20m"), 20.0, &utm(), "JP2OpenJPEG", &classes);
    let offsets: Vec<String> = (0..13)
        .map(|k| format!("<BOA_ADD_OFFSET band_id=\"{k}\">{wording}</BOA_ADD_OFFSET>"))
        .collect();
    let text = format!(
        "<a><PRODUCT_START_TIME>2026-04-14T10:10:31.024Z</PRODUCT_START_TIME><PROCESSING_BASELINE>05.11</PROCESSING_BASELINE><BOA_QUANTIFICATION_VALUE>10000</BOA_QUANTIFICATION_VALUE>{}</a>",
        offsets.concat()
    );
    fs_err::write(root.join("MTD_MSIL2A.xml"), text).unwrap();
    root
}

/// Packs a folder, its own name included.
fn zipped(folder: &Path, to: &Path) {
    let mut archive = zip::ZipWriter::new(fs_err::File::create(to).unwrap());
    for (name, bytes) in crate::field::files(folder) {
        archive
            .start_file(
                format!("{SCENE}/{name}"),
                zip::write::SimpleFileOptions::default(),
            )
            .unwrap();
        archive.write_all(&bytes).unwrap();
    }
    archive.finish().unwrap();
}

/// Opens the image of a field's job, without its curve; the findings beside it.
fn opened(field: &Field, index: &str) -> (Image, Vec<Finding>) {
    let job = field.path("job.toml");
    let settings = map_job(&fs_err::read(&job).unwrap(), &job).unwrap().value;
    let mut imagery = settings.imagery.unwrap();
    index.clone_into(&mut imagery.index);
    let mut findings = Vec::new();
    let folder = job.parent().unwrap();
    (
        image(&imagery, "NDVI", folder, (false, None), &mut findings).unwrap(),
        findings,
    )
}

/// Band values at a place from the field's corner.
fn at(image: &Image, x: f64, y: f64) -> Vec<f64> {
    let stack = image.stack.source();
    let lattice = stack.lattice();
    let (col, row) = lattice.affine.to_pixel(CORNER.0 + x, CORNER.1 + y);
    let mut bands = vec![Vec::new(); stack.slots()];
    let window = Window {
        col: col.floor() as i64,
        row: row.floor() as i64,
        cols: 1,
        rows: 1,
    };
    stack.reader().unwrap().read(window, &mut bands).unwrap();
    bands.iter().map(|band| band[0]).collect()
}

/// The zones of a field's last map, without its id, which hangs on the settings too.
fn zones(field: &Field) -> String {
    let id = field.record()["map_id"].as_str().unwrap().to_owned();
    String::from_utf8(
        field
            .outputs()
            .remove("office/prescription.geojson")
            .unwrap(),
    )
    .unwrap()
    .replace(&id, "")
}

fn close(a: f64, b: f64) {
    assert!((a - b).abs() < 6e-5, "{a} and {b}");
}

fn notice(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Runs a field that must be refused with these parts.
fn refused(field: &Field, parts: &[&str]) {
    let wording = field.run(&["check"]);
    let notice = notice(&wording.err);
    assert_eq!(wording.status, Some(1), "{notice}{}", wording.out);
    for part in parts.iter().chain(&["hint: "]) {
        assert!(notice.contains(part), "{part:?} is not in: {notice}");
    }
}

/// Runs a field that must work, with these parts on the terminal.
fn works(field: &Field, parts: &[&str]) {
    let wording = field.run(&["map"]);
    let out = notice(&wording.out);
    assert_eq!(wording.status, Some(0), "{}{out}", wording.err);
    for part in parts {
        assert!(out.contains(part), "{part:?} is not in: {out}");
    }
}

#[test]
fn a_sentinel_2_product_is_its_bands_with_offset_and_mask() {
    let field = Field::new();
    let root = sentinel(&field.path(""), 1000.0, -1000);
    field.job("image.tif", SCENE);
    works(&field, &["[image.product]", "05.11", "classes 4 and 5"]);
    let whole = zones(&field);
    let record = field.record();
    assert_eq!(
        record["image"]["bands"][0]["path"],
        format!(
            "{SCENE}/GRANULE/L2A_T33UWR_A012345_20260414T101031/IMG_DATA/R10m/T33UWR_20260414T101031_B08_10m.jp2"
        )
    );
    let read: Vec<&str> = record["inputs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|input| input["path"].as_str().unwrap())
        .collect();
    for part in [
        "B04_10m.jp2",
        "B08_10m.jp2",
        "SCL_20m.jp2",
        "MTD_MSIL2A.xml",
    ] {
        assert!(
            read.iter().any(|path| path.ends_with(part)),
            "{part} is not among {read:?}"
        );
    }
    // 9216 / 69120 m² are two cells by two of cloud; grown by 40 m it takes more.
    let unseen = record["totals"]["unseen_share"].as_f64().unwrap();
    assert!(unseen > 0.06 && unseen < 0.2, "{unseen}");

    // The same, said by hand, file by file.
    let images = format!("{SCENE}/GRANULE/L2A_T33UWR_A012345_20260414T101031/IMG_DATA");
    field.job(
        &format!("path = \"{SCENE}\""),
        &format!(
            "path = {{ red = \"{images}/R10m/T33UWR_20260414T101031_B04_10m.jp2\", nir = \"{images}/R10m/T33UWR_20260414T101031_B08_10m.jp2\" }}\nscale = 0.0001\noffset = -0.1\nnodata = 0\nmask = {{ path = \"{images}/R20m/T33UWR_20260414T101031_SCL_20m.jp2\", keep = [4, 5], grow = \"40 m\" }}"
        ),
    );
    works(&field, &[]);
    assert!(whole == zones(&field), "the same map by hand");
    // And out of a zip.
    let zip = Field::new();
    zipped(&root, &zip.path("scene.zip"));
    zip.job("image.tif", "scene.zip");
    works(&zip, &["[image.product]"]);
    assert!(whole == zones(&zip), "the same map out of a zip");
    let record = zip.record();
    assert!(
        record["image"]["bands"][0]["path"]
            .as_str()
            .unwrap()
            .starts_with("scene.zip/S2A_MSIL2A_"),
        "{}",
        record["image"]["bands"]
    );
    assert!(
        record["inputs"]
            .as_array()
            .unwrap()
            .iter()
            .any(|input| input["path"] == "scene.zip" && input["bytes"].as_u64() > Some(1000))
    );
    // The day of the product is not that of the job.
    zip.job("date = 2026-04-14", "date = 2026-04-15");
    let wording = zip.run(&["check"]);
    assert!(
        wording.status == Some(1) && wording.out.contains("image.date"),
        "{}",
        wording.out
    );
}

#[test]
fn bands_of_20_m_lie_in_those_of_10_m() {
    let field = Field::new();
    sentinel(&field.path(""), 1000.0, -1000);
    field.job("image.tif", SCENE);
    let (image, findings) = opened(&field, "NDRE");
    assert!(
        findings
            .iter()
            .any(|finding| finding.code == "image.coarser" && finding.message.contains("2 times")),
        "{findings:?}"
    );
    let names: Vec<&str> = image.slots.iter().map(|slot| slot.0.as_str()).collect();
    assert_eq!(names, ["nir", "red_edge"]);
    // The four pixels of 10 m in one of 20 m have one red edge.
    for (x, y) in [(85.0, 145.0), (95.0, 145.0), (85.0, 155.0), (95.0, 155.0)] {
        let values = at(&image, x, y);
        close(values[0], reflectance(x, y, 10.0, 1.0));
        close(values[1], reflectance(90.0, 150.0, 20.0, -0.4));
    }
    // Stored 0 is no data, and not −0.1; the cloud and 40 m around it are gone.
    assert!(at(&image, -55.0, 145.0)[0].is_nan());
    assert!(at(&image, 200.0 + 5.0, 105.0)[0].is_nan() && !at(&image, 205.0, 125.0)[0].is_nan());
    // Classes and growth of one's own, of the product's own classes.
    field.job(
        SCENE,
        &format!("{SCENE}\"\nmask = {{ keep = [4, 5, 9], grow = \"0 m\" }}\n# \""),
    );
    assert!(!at(&opened(&field, "NDRE").0, 205.0, 45.0)[0].is_nan());
}

#[test]
fn a_first_job_of_a_product_names_no_bands_and_has_its_day() {
    let field = Field::new();
    sentinel(&field.path(""), 1000.0, -1000);
    fs_err::remove_file(field.path("job.toml")).unwrap();
    let arguments = [
        "new",
        "boundary.geojson",
        SCENE,
        "--strips",
        "strips.geojson",
    ];
    let wording = std::process::Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(arguments)
        .current_dir(field.path(""))
        .output()
        .unwrap();
    assert_eq!(
        wording.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&wording.stderr)
    );
    let text = fs_err::read_to_string(field.path("job.toml")).unwrap();
    assert!(
        text.contains(&format!("path  = \"{SCENE}\""))
            && text.contains("date  = 2026-04-14")
            && !text.contains("bands ="),
        "{text}"
    );
}

#[test]
fn an_offset_that_was_removed_already_is_refused() {
    // The pixels are reflectance times 10 000 already; the metadata was left as it was.
    let field = Field::new();
    sentinel(&field.path(""), 0.0, -1000);
    field.job("image.tif", SCENE);
    refused(
        &field,
        &[
            "error[image.negative]",
            "% of the field's pixels are negative in red",
            "imagery.offset = 0",
        ],
    );
    field.job("index = \"NDVI\"\n", "index = \"NDVI\"\noffset = 0\n");
    works(&field, &[]);
}

#[test]
fn an_index_is_wrong_without_the_offset() {
    // Red 1400, near infrared 4000: 0.76 with, 0.48 without.
    let ndvi = |red: f64, nir: f64| (nir - red) / (nir + red);
    assert!((ndvi(0.04, 0.30) - 0.765).abs() < 1e-3 && (ndvi(0.14, 0.40) - 0.481).abs() < 1e-3);
    let field = Field::new();
    let system = utm();
    let file = |name: &str| field.path(&format!("{SCENE}/GRANULE/G/IMG_DATA/{name}.tif"));
    band(
        &file("T33UWR_20260414T101031_B04_10m"),
        10.0,
        &system,
        "GTiff",
        &|_, _| 1400,
    );
    band(
        &file("T33UWR_20260414T101031_B08_10m"),
        10.0,
        &system,
        "GTiff",
        &|_, _| 4000,
    );
    band(
        &file("T33UWR_20260414T101031_SCL_20m"),
        20.0,
        &system,
        "GTiff",
        &|_, _| 5,
    );
    field.job("image.tif", SCENE);
    let (image, _) = opened(&field, "NDVI");
    let values = at(&image, 100.0, 100.0);
    assert!(
        (ndvi(values[1], values[0]) - 0.764_705_882_352_941).abs() < 1e-12,
        "{values:?}"
    );
}

#[test]
fn a_lone_band_file_wants_its_offset() {
    let field = Field::new();
    sentinel(&field.path(""), 1000.0, -1000);
    let images = field
        .path(SCENE)
        .join("GRANULE/L2A_T33UWR_A012345_20260414T101031/IMG_DATA/R10m");
    for name in [
        "T33UWR_20260414T101031_B04_10m.jp2",
        "T33UWR_20260414T101031_B08_10m.jp2",
    ] {
        fs_err::copy(images.join(name), field.path(name)).unwrap();
    }
    field.job("path = \"image.tif\"", "path = { red = \"T33UWR_20260414T101031_B04_10m.jp2\", nir = \"T33UWR_20260414T101031_B08_10m.jp2\" }");
    refused(
        &field,
        &[
            "error[imagery.offset]",
            "B08_10m.jp2",
            "offset = -0.1",
            "04.00",
        ],
    );
}

#[test]
fn folders_and_archives_that_are_no_image() {
    let field = Field::new();
    fs_err::create_dir(field.path("notes")).unwrap();
    field.job("image.tif", "notes");
    refused(&field, &["error[image.product]", "notes", "it is empty"]);
    let field = Field::new();
    let mut archive = zip::ZipWriter::new(fs_err::File::create(field.path("flights.zip")).unwrap());
    for name in ["a.tif", "b.tif"] {
        archive
            .start_file(name, zip::write::SimpleFileOptions::default())
            .unwrap();
        archive
            .write_all(&fs_err::read(field.path("image.tif")).unwrap())
            .unwrap();
    }
    archive.finish().unwrap();
    field.job("image.tif", "flights.zip");
    refused(
        &field,
        &["error[image.product]", "a.tif, b.tif", "flights.zip"],
    );
    field.job("flights.zip", "flights.zip/b.tif");
    works(&field, &[]);
    let other = Field::mapped();
    assert!(zones(&field) == zones(&other));
}

#[test]
fn archives_are_no_way_to_the_network() {
    for path in [
        "/vsizip//vsis3/bucket/a.zip/a.tif",
        "/vsitar//vsicurl/host/a.tar/a.tif",
    ] {
        let field = Field::new();
        field.job("image.tif", path);
        refused(&field, &["error[file.network]"]);
    }
}

fn landsat(folder: &Path, cloud: u16) -> PathBuf {
    let root = folder.join("scene");
    let file = |rest: &str| root.join(format!("{LANDSAT}_{rest}.TIF"));
    for (rest, sign) in [("SR_B4", -1.0), ("SR_B5", 1.0)] {
        let stored =
            |x: f64, y: f64| ((reflectance(x, y, 30.0, sign) + 0.2) / 0.000_027_5).round() as u16;
        band(&file(rest), 30.0, &utm(), "GTiff", &|x, y| {
            if y > 320.0 { 0 } else { stored(x, y) }
        });
    }
    // Clear land: bits 6, 8, 10, 12, 14 (from memory).
    let clear = 0b0101_0101_0100_0000;
    band(&file("QA_PIXEL"), 30.0, &utm(), "GTiff", &|x, y| {
        if x > 180.0 && y < 90.0 {
            clear | cloud
        } else {
            clear
        }
    });
    band(&file("QA_RADSAT"), 30.0, &utm(), "GTiff", &|x, _| {
        if x < 0.0 { 8 } else { 0 }
    });
    fs_err::write(
        root.join(format!("{LANDSAT}_MTL.txt")),
        mtl("2.75e-05", "-0.2"),
    )
    .unwrap();
    root
}

/// Factors of two bands, of this level and under the same names of Level-1.
fn mtl(scale: &str, offset: &str) -> String {
    let factors = |group: &str, scale: &str, offset: &str| {
        let band = |k: u8| {
            format!(
                "    REFLECTANCE_MULT_BAND_{k} = {scale}\n    REFLECTANCE_ADD_BAND_{k} = {offset}\n"
            )
        };
        format!(
            "  GROUP = {group}\n{}{}  END_GROUP = {group}\n",
            band(4),
            band(5)
        )
    };
    format!(
        "GROUP = LANDSAT_METADATA_FILE\n  GROUP = IMAGE_ATTRIBUTES\n    SPACECRAFT_ID = \"LANDSAT_8\"\n    SENSOR_ID = \"OLI_TIRS\"\n    CLOUD_COVER_LAND = 12.34\n  END_GROUP = IMAGE_ATTRIBUTES\n{}{}END_GROUP = LANDSAT_METADATA_FILE\nEND\n",
        factors("LEVEL1_RADIOMETRIC_RESCALING", "2.0000E-05", "-0.100000"),
        factors("LEVEL2_SURFACE_REFLECTANCE_PARAMETERS", scale, offset)
    )
}

#[test]
fn landsat_metadata_is_read_out_of_folders_and_archives_and_must_agree() {
    let field = Field::new();
    field.polygons(
        "boundary.geojson",
        &[rectangle([0.0, 0.0, EXTENT.0, 192.0])],
    );
    let root = landsat(&field.path(""), 8);
    field.job("image.tif", "scene");
    field.job(
        "strips = \"strips.geojson\"",
        "readings = [{ strip = 0.74, beside = 0.60 }]",
    );
    works(
        &field,
        &[
            "LANDSAT_8 OLI_TIRS",
            "12.34 % of the scene's land",
            "_MTL.txt says too",
        ],
    );
    let read = field.record()["inputs"].to_string();
    assert!(read.contains("_MTL.txt"), "{read}");
    // Level-1 factors in its place would make another map, so they are refused until somebody says what holds.
    fs_err::write(
        root.join(format!("{LANDSAT}_MTL.txt")),
        mtl("2.0000E-05", "-0.100000"),
    )
    .unwrap();
    refused(
        &field,
        &[
            "error[imagery.offset]",
            "0.00002",
            "0.0000275",
            "_MTL",
            "imagery.scale",
        ],
    );
    let whole = zones(&field);
    for (archive, arguments) in [("scene.tar", &["-cf"][..]), ("scene.tar.gz", &["-czf"])] {
        let other = Field::new();
        other.polygons(
            "boundary.geojson",
            &[rectangle([0.0, 0.0, EXTENT.0, 192.0])],
        );
        let packed = std::process::Command::new("tar")
            .args(arguments)
            .arg(other.path(archive))
            .arg("-C")
            .arg(&root)
            .arg(".")
            .status()
            .unwrap();
        assert!(packed.success());
        other.job("image.tif", archive);
        other.job(
            "strips = \"strips.geojson\"",
            "readings = [{ strip = 0.74, beside = 0.60 }]",
        );
        refused(&other, &["error[imagery.offset]", "0.00002", "0.0000275"]);
        other.job(
            "index = \"NDVI\"\n",
            "index = \"NDVI\"\nscale = 0.0000275\noffset = -0.2\n",
        );
        works(&other, &[]);
        assert!(whole == zones(&other), "{archive}");
    }
    // A band that the metadata passes over has the collection's factors, and it is said so.
    fs_err::write(
        root.join(format!("{LANDSAT}_MTL.txt")),
        mtl("2.75e-05", "-0.2").replace("BAND_5", "BAND_6"),
    )
    .unwrap();
    works(&field, &["[image.factors]", "no factors for band B5"]);
    assert!(whole == zones(&field));
}

#[test]
fn numbers_outside_what_a_product_holds_valid_are_no_data() {
    // Landsat: 7273 to 43636; Sentinel-2: 1 to 32767.
    let field = Field::new();
    let root = landsat(&field.path(""), 8);
    let red = |x: f64, _: f64| {
        if x < 60.0 {
            7_272
        } else if x < 90.0 {
            7_273
        } else if x < 120.0 {
            43_636
        } else {
            43_637
        }
    };
    band(
        &root.join(format!("{LANDSAT}_SR_B4.TIF")),
        30.0,
        &utm(),
        "GTiff",
        &red,
    );
    field.job("image.tif", "scene");
    let seen = |field: &Field, x: f64| !at(&opened(field, "NDVI").0, x, 105.0)[1].is_nan();
    assert_eq!(
        [45.0, 75.0, 105.0, 135.0].map(|x| seen(&field, x)),
        [false, true, true, false]
    );
    // Factors of the job's own say that the stored numbers are others.
    field.job(
        "index = \"NDVI\"\n",
        "index = \"NDVI\"\nscale = 0.0001\noffset = 0\n",
    );
    assert!(seen(&field, 45.0) && seen(&field, 135.0));
    let field = Field::new();
    let file = |name: &str| field.path(&format!("{SCENE}/GRANULE/G/IMG_DATA/{name}.tif"));
    let red = |x: f64, _: f64| {
        if x < 60.0 {
            0
        } else if x < 90.0 {
            1
        } else if x < 120.0 {
            32_767
        } else {
            65_535
        }
    };
    band(
        &file("T33UWR_20260414T101031_B04_10m"),
        10.0,
        &utm(),
        "GTiff",
        &red,
    );
    band(
        &file("T33UWR_20260414T101031_B08_10m"),
        10.0,
        &utm(),
        "GTiff",
        &|_, _| 4000,
    );
    band(
        &file("T33UWR_20260414T101031_SCL_20m"),
        20.0,
        &utm(),
        "GTiff",
        &|_, _| 5,
    );
    field.job("image.tif", SCENE);
    assert_eq!(
        [45.0, 75.0, 105.0, 135.0].map(|x| seen(&field, x)),
        [false, true, true, false]
    );
}

#[test]
fn a_narrow_strip_says_what_a_blur_would_do() {
    let field = Field::new();
    sentinel(&field.path(""), 1000.0, -1000);
    field.job("image.tif", SCENE);
    works(
        &field,
        &[
            "[reference.blur]",
            "pixels wide",
            "published figures are 0.8 to 1.0 pixels",
            "\"Sentinel-2 10 m\"",
            "\"fit\"",
        ],
    );
    let found = field.record()["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|one| one["code"] == "reference.blur")
        .unwrap()["message"]
        .to_string();
    // `its index would be A instead of B`: with a blur the same pixels speak for a greener strip, and the job with that blur finds that very number.
    let words: Vec<&str> = found.split_whitespace().collect();
    let at = words
        .windows(3)
        .position(|three| three == ["index", "would", "be"])
        .unwrap();
    let number = |k: usize| {
        words[at + k]
            .trim_end_matches([',', ':'])
            .parse::<f64>()
            .unwrap()
    };
    let (blurred, plain) = (number(3), number(6));
    let index = |field: &Field| field.record()["reference"]["index"].as_f64().unwrap();
    assert!(
        blurred > plain && (index(&field) - plain).abs() < 1e-4,
        "{found}"
    );
    field.job(
        "index = \"NDVI\"\n",
        "index = \"NDVI\"\npoint_spread = 1.0\n",
    );
    works(&field, &[]);
    assert!((index(&field) - blurred).abs() < 1e-4);
    assert!(
        !field.record()["findings"]
            .to_string()
            .contains("reference.blur")
    );
    // A strip of pure pixels has nothing to say of it.
    let fine = Field::mapped();
    assert!(
        !fine.record()["findings"]
            .to_string()
            .contains("reference.blur")
    );
}

#[test]
fn a_landsat_product_is_scaled_and_masked_by_its_bits() {
    for (bit, hidden) in [
        (0, true),
        (1, true),
        (2, true),
        (3, true),
        (4, true),
        (5, true),
        (7, false),
    ] {
        let field = Field::new();
        landsat(&field.path(""), 1 << bit);
        field.job("image.tif", "scene");
        let (image, _) = opened(&field, "NDVI");
        let values = at(&image, 105.0, 105.0);
        close(values[0], reflectance(105.0, 105.0, 30.0, 1.0));
        close(values[1], reflectance(105.0, 105.0, 30.0, -1.0));
        assert_eq!(at(&image, 225.0, 15.0)[0].is_nan(), hidden, "bit {bit}");
        assert!(at(&image, -15.0, 105.0)[0].is_nan(), "saturated");
        assert!(at(&image, 105.0, 345.0)[0].is_nan(), "fill is not -0.2");
    }
    // A whole run, on a field below 5 ha, with hand readings for the strip that is too narrow for 30 m.
    let field = Field::new();
    landsat(&field.path(""), 8);
    field.polygons(
        "boundary.geojson",
        &[rectangle([0.0, 0.0, EXTENT.0, 192.0])],
    );
    field.job("image.tif", "scene");
    field.job(
        "strips = \"strips.geojson\"",
        "readings = [{ strip = 0.74, beside = 0.60 }]",
    );
    works(
        &field,
        &["[image.coarse]", "30 m", "4.61 ha", "[image.product]"],
    );
    // The same out of a tar, as the programme hands it out.
    let tarred = Field::new();
    let packed = std::process::Command::new("tar")
        .arg("-cf")
        .arg(tarred.path("scene.tar"))
        .arg("-C")
        .arg(field.path("scene"))
        .arg(".")
        .status()
        .unwrap();
    assert!(packed.success());
    tarred.polygons(
        "boundary.geojson",
        &[rectangle([0.0, 0.0, EXTENT.0, 192.0])],
    );
    tarred.job("image.tif", "scene.tar");
    tarred.job(
        "strips = \"strips.geojson\"",
        "readings = [{ strip = 0.74, beside = 0.60 }]",
    );
    works(&tarred, &["[image.product]"]);
    assert!(zones(&field) == zones(&tarred));
}

#[test]
fn usable_data_masks_of_eight_bands() {
    let field = Field::new();
    let (cols, rows) = (42, 42);
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    let mut dataset = driver
        .create_with_band_type::<u8, _>(field.path("usable.tif"), cols, rows, 8)
        .unwrap();
    dataset.set_spatial_ref(&utm()).unwrap();
    dataset
        .set_geo_transform(&[EDGE.0, 10.0, 0.0, EDGE.1, 0.0, -10.0])
        .unwrap();
    // Clear everywhere but in the west; bits of the last band set in the south.
    let place = |k: usize| {
        (
            EDGE.0 - CORNER.0 + ((k % cols) as f64 + 0.5) * 10.0,
            EDGE.1 - CORNER.1 - ((k / cols) as f64 + 0.5) * 10.0,
        )
    };
    for (band, value) in [
        (
            1,
            &(|x: f64, _: f64| u8::from(x > 40.0)) as &dyn Fn(f64, f64) -> u8,
        ),
        (8, &|_, y| if y < 30.0 { 4 } else { 0 }),
    ] {
        let values = (0..cols * rows)
            .map(|k| value(place(k).0, place(k).1))
            .collect();
        // Such files declare 0, which in the last band means that nothing is wrong.
        dataset
            .rasterband(band)
            .unwrap()
            .set_no_data_value(Some(0.0))
            .unwrap();
        dataset
            .rasterband(band)
            .unwrap()
            .write((0, 0), (cols, rows), &mut Buffer::new((cols, rows), values))
            .unwrap();
    }
    dataset.close().unwrap();
    let job = |mask: &str| {
        field.job(
            "index = \"NDVI\"\n",
            &format!("index = \"NDVI\"\nmask = {mask}\n"),
        );
    };
    job("[{ path = \"usable.tif\", keep = [1] }, { path = \"usable.tif\", band = 8, keep = [0] }]");
    let (image, _) = opened(&field, "NDVI");
    let seen = |x: f64, y: f64| !at(&image, x, y)[0].is_nan();
    assert!(seen(100.0, 100.0) && !seen(30.0, 100.0) && !seen(100.0, 20.0));
    works(&field, &[]);
    let echoed = &field.record()["settings"]["imagery"]["mask"];
    assert_eq!(
        (
            echoed[0]["band"].as_u64(),
            echoed[1]["band"].as_u64(),
            echoed[1]["keep"][0].as_u64()
        ),
        (Some(1), Some(8), Some(0)),
        "{echoed}"
    );
    field.job("band = 8", "band = 9");
    refused(&field, &["error[imagery.mask]", "band 9", "it has 8"]);
    field.job("path = \"usable.tif\", band = 9, ", "");
    refused(&field, &["error[imagery.mask]", "no product"]);
}

#[test]
fn mosaics_of_whole_numbers_are_refused_where_scale_matters() {
    // Reflectance times 10 000 in floating numbers: nothing in the file says so.
    let field = Field::new();
    field.image(&FieldImage {
        factor: 10_000.0,
        ..FieldImage::default()
    });
    works(&field, &[]);
    let curve = |field: &Field, index: &str| {
        field.job(
            "index = \"NDVI\", source",
            &format!("index = \"{index}\", source"),
        );
        field.job("index = \"NDVI\"\n", &format!("index = \"{index}\"\n"));
    };
    curve(&field, "SAVI");
    refused(
        &field,
        &[
            "error[imagery.scale]",
            "98th percentile",
            "above 1.5 in nir",
            "imagery.scale = 0.0001",
            "pixels, ",
        ],
    );
    field.job("index = \"SAVI\"\n", "index = \"SAVI\"\nscale = 0.0001\n");
    works(&field, &[]);
}

#[test]
fn undeclared_nodata_is_noticed() {
    // −9999 in both bands where nothing was pictured.
    let field = Field::new();
    let path = field.path("image.tif");
    let undeclared = |path: &Path| {
        let update = gdal::DatasetOptions {
            open_flags: gdal::GdalOpenFlags::GDAL_OF_UPDATE,
            ..Default::default()
        };
        let dataset = gdal::Dataset::open_ex(path, update).unwrap();
        for band in 1..=2 {
            dataset
                .rasterband(band)
                .unwrap()
                .set_no_data_value(None)
                .unwrap();
        }
        dataset.close().unwrap();
    };
    undeclared(&path);
    refused(
        &field,
        &["error[image.negative]", "-9999", "imagery.nodata"],
    );
    field.job("index = \"NDVI\"\n", "index = \"NDVI\"\nnodata = -9999\n");
    works(&field, &[]);
    let good = Field::mapped();
    assert!(
        zones(&field) == zones(&good),
        "as if the file had declared it"
    );
    // 65535 in both bands would be an index of 0, which is bare ground and no crop.
    let field = Field::new();
    let (cols, rows) = (144, 168);
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    let mut dataset = driver
        .create_with_band_type::<u16, _>(field.path("image.tif"), cols, rows, 2)
        .unwrap();
    dataset.set_spatial_ref(&utm()).unwrap();
    dataset
        .set_geo_transform(&FieldImage::default().transform.unwrap())
        .unwrap();
    for (k, name) in ["red", "nir"].iter().enumerate() {
        let value = |at: usize| {
            let (x, y) = (
                (at % cols) as f64 * 2.0 - 23.0,
                EXTENT.1 + 23.0 - (at / cols) as f64 * 2.0,
            );
            ndvi(0.74, x, y).map_or(65_535, |ndvi| {
                (2_250.0 * (1.0 + if k == 0 { -ndvi } else { ndvi })) as u16
            })
        };
        let mut band = dataset.rasterband(k + 1).unwrap();
        band.set_description(name).unwrap();
        band.write(
            (0, 0),
            (cols, rows),
            &mut Buffer::new((cols, rows), (0..cols * rows).map(value).collect()),
        )
        .unwrap();
    }
    dataset.close().unwrap();
    let wording = field.run(&["check"]);
    assert!(
        wording.status == Some(1)
            && wording.out.contains("[image.full]")
            && wording.out.contains("65535"),
        "{}{}",
        wording.out,
        wording.err
    );
    field.job("index = \"NDVI\"\n", "index = \"NDVI\"\nnodata = 65535\n");
    works(&field, &[]);
}

#[test]
fn swapped_bands_are_told() {
    let field = Field::new();
    field.image(&FieldImage {
        names: ["nir", "red"],
        ..FieldImage::default()
    });
    refused(
        &field,
        &[
            "nir lies above red in only 0.0 %",
            "are the bands named right?",
        ],
    );
}

#[test]
fn an_alpha_band_is_no_measurement() {
    let field = Field::new();
    let update = gdal::DatasetOptions {
        open_flags: gdal::GdalOpenFlags::GDAL_OF_UPDATE,
        ..Default::default()
    };
    let dataset = gdal::Dataset::open_ex(field.path("image.tif"), update).unwrap();
    dataset
        .rasterband(2)
        .unwrap()
        .set_color_interpretation(ColorInterpretation::AlphaBand)
        .unwrap();
    dataset.close().unwrap();
    field.job(
        "index = \"NDVI\"\n",
        "index = \"NDVI\"\nbands = { red = 1, nir = 2 }\n",
    );
    refused(&field, &["error[imagery.band]", "alpha"]);
}

#[test]
fn local_and_vertical_systems_are_refused_and_compound_ones_cut_to_their_plane() {
    use haulm::format::systems::system_of;
    let of = |text: &str| system_of(&SpatialRef::from_definition(text).unwrap());
    assert!(of("LOCAL_CS[\"drone\",UNIT[\"metre\",1]]").is_none());
    assert!(of("EPSG:5773").is_none(), "a height alone");
    assert!(of("EPSG:4978").is_none(), "from the Earth's centre");
    let compound = of("EPSG:32633+5773").unwrap();
    assert_eq!(
        (compound.code(), compound.is_geographic()),
        (Some(32_633), false)
    );
    let field = Field::new();
    field.image(&FieldImage {
        system: Some("EPSG:32633+5773".to_owned()),
        ..FieldImage::default()
    });
    works(&field, &[]);
    let good = Field::mapped();
    assert!(zones(&field) == zones(&good), "heights change nothing");
}
