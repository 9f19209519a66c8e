//! Products by their names and texts alone; their pixels are read in the tests from outside.

use super::{Found, Product, ProductError, find, into_archive, lone_file, out_of_archive};
use std::path::{Path, PathBuf};

struct Folder(tempfile::TempDir);

impl Folder {
    fn new(files: &[(&str, &str)]) -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        for (name, text) in files {
            let path = folder.0.path().join(name);
            fs_err::create_dir_all(path.parent().unwrap()).unwrap();
            fs_err::write(path, text).unwrap();
        }
        folder
    }
    fn find(&self, name: &str) -> Result<Found, ProductError> {
        find(&self.0.path().join(name))
    }
    fn product(&self, name: &str) -> Product {
        match self.find(name) {
            Ok(Found::Product(product)) => *product,
            other => panic!("{other:?}"),
        }
    }
}

/// A name of the programme's pattern; the tile and the orbit are of our own choosing.
fn scene(baseline: &str) -> String {
    format!("S2A_MSIL2A_20260414T101031_{baseline}_R022_T33UWR_20260414T161234.SAFE")
}

fn metadata(baseline: &str, offsets: &[(usize, i32)]) -> String {
    let offsets: Vec<String> = offsets
        .iter()
        .map(|(band, offset)| {
            format!("<BOA_ADD_OFFSET band_id=\"{band}\">{offset}</BOA_ADD_OFFSET>")
        })
        .collect();
    format!(
        "<?xml version=\"1.0\"?><n1:Level-2A_User_Product xmlns:n1=\"urn:x\"><n1:General_Info><Product_Info><PRODUCT_START_TIME>2026-04-14T10:10:31.024Z</PRODUCT_START_TIME><PROCESSING_BASELINE>{baseline}</PROCESSING_BASELINE></Product_Info><Product_Image_Characteristics><QUANTIFICATION_VALUES_LIST><BOA_QUANTIFICATION_VALUE unit=\"none\">10000</BOA_QUANTIFICATION_VALUE></QUANTIFICATION_VALUES_LIST><BOA_ADD_OFFSET_VALUES_LIST>{}</BOA_ADD_OFFSET_VALUES_LIST></Product_Image_Characteristics></n1:General_Info></n1:Level-2A_User_Product>",
        offsets.concat()
    )
}

fn sentinel(name: &str, metadata: Option<&str>) -> Folder {
    let image = format!("{name}/GRANULE/L2A_T33UWR_A012345_20260414T101031/IMG_DATA");
    let band =
        |folder: &str, rest: &str| format!("{image}/{folder}/T33UWR_20260414T101031_{rest}.jp2");
    let mut files = vec![
        (band("R10m", "B04_10m"), ""),
        (band("R20m", "B04_20m"), ""),
        (band("R20m", "B05_20m"), ""),
        (band("R20m", "SCL_20m"), ""),
        (band("R10m", "B08_10m"), ""),
        (band("R60m", "SCL_60m"), ""),
        (
            format!("{name}/GRANULE/L2A_T33UWR_A012345_20260414T101031/QI_DATA/MSK_CLASSI_B00.jp2"),
            "",
        ),
    ];
    if let Some(text) = metadata {
        files.push((format!("{name}/MTD_MSIL2A.xml"), text));
    }
    Folder::new(
        &files
            .iter()
            .map(|(name, text)| (name.as_str(), *text))
            .collect::<Vec<_>>(),
    )
}

fn offset(product: &Product, band: &str) -> Result<f64, String> {
    product
        .bands
        .iter()
        .find(|known| known.band == band)
        .unwrap()
        .offset
        .clone()
}

#[test]
fn the_finest_file_of_each_band_and_the_offset_of_the_metadata() {
    let name = scene("N0511");
    let folder = sentinel(
        &name,
        Some(&metadata("05.11", &[(3, -1000), (4, -900), (7, -1000)])),
    );
    let product = folder.product(&name);
    assert_eq!(product.name, name.trim_end_matches(".SAFE"));
    assert_eq!(product.acquired, Some(jiff::civil::date(2026, 4, 14)));
    let named: Vec<&str> = product
        .bands
        .iter()
        .map(|band| band.band.as_str())
        .collect();
    assert_eq!(named, ["red", "nir", "red_edge"]);
    assert!(
        product.bands[0]
            .path
            .ends_with("T33UWR_20260414T101031_B04_10m.jp2"),
        "the finest: {:?}",
        product.bands[0].path
    );
    assert!(product.bands.iter().all(|band| band.scale == 0.0001));
    assert_eq!(
        (offset(&product, "red"), offset(&product, "red_edge")),
        (Ok(-0.1), Ok(-0.09))
    );
    assert!(
        product.masks[0]
            .path
            .ends_with("T33UWR_20260414T101031_SCL_20m.jp2")
            && product.masks[0].grow_m == 40
    );
    assert_eq!(product.nodata, 0.0);
}

#[test]
fn the_baseline_decides_about_the_offset_and_never_the_date() {
    // Of April 2026 but of an old baseline: no offset. The other way round too.
    let old = scene("N0301");
    assert_eq!(offset(&sentinel(&old, None).product(&old), "red"), Ok(0.0));
    let again = "S2A_MSIL2A_20180414T101031_N0500_R022_T33UWR_20230414T161234.SAFE";
    assert_eq!(
        offset(&sentinel(again, None).product(again), "red"),
        Ok(-0.1)
    );
    // Metadata without offsets: right for an old baseline, a contradiction for a new one.
    assert_eq!(
        offset(
            &sentinel(&old, Some(&metadata("03.01", &[]))).product(&old),
            "red"
        ),
        Ok(0.0)
    );
    let new = scene("N0511");
    let reason = offset(
        &sentinel(&new, Some(&metadata("05.11", &[]))).product(&new),
        "red",
    )
    .unwrap_err();
    assert!(
        reason.contains("05.11") && reason.contains("offset"),
        "{reason}"
    );
    // One band without its offset is as bad.
    assert!(
        offset(
            &sentinel(&new, Some(&metadata("05.11", &[(3, -1000)]))).product(&new),
            "nir"
        )
        .is_err()
    );
    // Metadata is nearer to the pixels than the name of the folder.
    let product = sentinel(&new, Some(&metadata("03.01", &[]))).product(&new);
    assert_eq!(offset(&product, "red"), Ok(0.0));
    assert!(
        product.note.contains("03.01") && product.note.contains("05.11"),
        "{}",
        product.note
    );
    // Neither says it.
    let nameless = sentinel(
        "scene",
        Some(
            &metadata("05.11", &[]).replace("<PROCESSING_BASELINE>05.11</PROCESSING_BASELINE>", ""),
        ),
    );
    assert!(matches!(
        nameless.find("scene"),
        Err(ProductError::Baseline { .. })
    ));
}

#[test]
fn other_levels_several_products_and_missing_masks_are_refused() {
    let level1 = Folder::new(&[(
        "S2A_MSIL1C_20260414T101031_N0511_R022_T33UWR_20260414T161234.SAFE/MTD_MSIL1C.xml",
        "",
    )]);
    assert!(matches!(level1.find(""), Err(ProductError::Level { .. })));
    let text = metadata("05.11", &[]);
    let two = Folder::new(&[("a/MTD_MSIL2A.xml", &text), ("b/MTD_MSIL2A.xml", &text)]);
    assert!(matches!(two.find(""), Err(ProductError::Several { .. })));
    let unmasked = Folder::new(&[
        ("MTD_MSIL2A.xml", &text),
        ("T33UWR_20260414T101031_B04_10m.jp2", ""),
    ]);
    assert!(matches!(
        unmasked.find(""),
        Err(ProductError::Mask {
            mask: "SCL (scene classification)",
            ..
        })
    ));
    let broken = Folder::new(&[(
        "MTD_MSIL2A.xml",
        "<a><PROCESSING_BASELINE>five</PROCESSING_BASELINE></a>",
    )]);
    assert!(matches!(broken.find(""), Err(ProductError::Text { .. })));
    assert!(matches!(
        Folder::new(&[("notes.txt", "")]).find(""),
        Err(ProductError::Unknown { .. })
    ));
}

#[test]
fn landsat_by_its_names() {
    let named = |scene: &str| {
        let files: Vec<String> = [
            "SR_B2.TIF",
            "SR_B3.TIF",
            "SR_B4.TIF",
            "SR_B5.TIF",
            "QA_PIXEL.TIF",
            "QA_RADSAT.TIF",
            "ANG.txt",
        ]
        .iter()
        .map(|rest| format!("{scene}_{rest}"))
        .collect();
        Folder::new(
            &files
                .iter()
                .map(|file| (file.as_str(), ""))
                .collect::<Vec<_>>(),
        )
    };
    let product = named("LC08_L2SP_193025_20260414_20260420_02_T1").product("");
    let file = |band: &str| {
        product
            .bands
            .iter()
            .find(|known| known.band == band)
            .unwrap()
            .path
            .file_name()
            .unwrap()
            .to_string_lossy()
            .into_owned()
    };
    assert!(file("red").ends_with("SR_B4.TIF") && file("nir").ends_with("SR_B5.TIF"));
    assert_eq!(
        (
            product.bands[0].scale,
            product.bands[0].offset.clone(),
            product.nodata
        ),
        (0.000_027_5, Ok(-0.2), 0.0)
    );
    assert_eq!(product.acquired, Some(jiff::civil::date(2026, 4, 14)));
    assert_eq!(product.masks.len(), 2);
    // The mappers before number 8 count bands otherwise: their band 4 is near infrared.
    let older = named("LE07_L2SP_193025_20120414_20200905_02_T1").product("");
    assert!(
        older
            .bands
            .iter()
            .any(|band| band.band == "nir" && band.path.to_string_lossy().ends_with("SR_B4.TIF"))
    );
    assert!(
        matches!(
            named("LC08_L2SP_193025_20260414_20260420_01_T1").find(""),
            Err(ProductError::Level { .. })
        ),
        "Collection 1"
    );
    assert!(
        matches!(
            named("LC08_L1TP_193025_20260414_20260420_02_T1").find(""),
            Err(ProductError::Level { .. })
        ),
        "Level-1"
    );
}

const SCENE: &str = "LC08_L2SP_193025_20260414_20260420_02_T1";

/// The factors as the programme writes them: of this level first, then of Level-1 under the same names.
fn mtl(scale: &str, offset: &str) -> String {
    format!(
        "GROUP = LANDSAT_METADATA_FILE\n  GROUP = PRODUCT_CONTENTS\n    LANDSAT_PRODUCT_ID = \"{SCENE}\"\n    PROCESSING_LEVEL = \"L2SP\"\n    COLLECTION_NUMBER = 02\n  END_GROUP = PRODUCT_CONTENTS\n  GROUP = IMAGE_ATTRIBUTES\n    SPACECRAFT_ID = \"LANDSAT_8\"\n    SENSOR_ID = \"OLI_TIRS\"\n    DATE_ACQUIRED = 2026-04-14\n    CLOUD_COVER = 11.90\n    CLOUD_COVER_LAND = 12.34\n  END_GROUP = IMAGE_ATTRIBUTES\n  GROUP = LEVEL1_RADIOMETRIC_RESCALING\n    REFLECTANCE_MULT_BAND_4 = 2.0000E-05\n    REFLECTANCE_ADD_BAND_4 = -0.100000\n  END_GROUP = LEVEL1_RADIOMETRIC_RESCALING\n  GROUP = LEVEL2_SURFACE_REFLECTANCE_PARAMETERS\n    REFLECTANCE_MULT_BAND_4 = {scale}\n    REFLECTANCE_ADD_BAND_4 = {offset}\n  END_GROUP = LEVEL2_SURFACE_REFLECTANCE_PARAMETERS\nEND_GROUP = LANDSAT_METADATA_FILE\nEND\n"
    )
}

fn landsat(metadata: &[(&str, &str)]) -> Folder {
    let bands = ["SR_B4.TIF", "SR_B5.TIF", "QA_PIXEL.TIF", "QA_RADSAT.TIF"]
        .map(|rest| (format!("{SCENE}_{rest}"), String::new()));
    let metadata = metadata
        .iter()
        .map(|(ending, text)| (format!("{SCENE}_MTL.{ending}"), (*text).to_owned()));
    let files: Vec<(String, String)> = bands.into_iter().chain(metadata).collect();
    Folder::new(
        &files
            .iter()
            .map(|(name, text)| (name.as_str(), text.as_str()))
            .collect::<Vec<_>>(),
    )
}

#[test]
fn landsat_factors_are_those_of_its_metadata_and_of_this_level() {
    let product = landsat(&[("txt", &mtl("2.75e-05", "-0.2"))]).product("");
    let red = product
        .bands
        .iter()
        .find(|band| band.band == "red")
        .unwrap();
    assert_eq!(
        (red.scale, red.offset.clone()),
        (0.000_027_5, Ok(-0.2)),
        "not the Level-1 factors of the same name"
    );
    for part in [
        "LANDSAT_8 OLI_TIRS",
        "12.34 % of the scene's land",
        "_MTL.txt says too",
    ] {
        assert!(product.note.contains(part), "{}", product.note);
    }
    assert!(
        product
            .read
            .iter()
            .any(|path| path.ends_with(format!("{SCENE}_MTL.txt"))),
        "{:?}",
        product.read
    );
    // Band 5 has no factors: told when it is used, and those of the collection hold.
    assert!(
        matches!(product.cautions.as_slice(), [(band, notice)] if band == "nir" && notice.contains("band B5")),
        "{:?}",
        product.cautions
    );
    assert_eq!(offset(&product, "nir"), Ok(-0.2));
    assert_eq!(product.valid, (7_273.0, 43_636.0));
    // The other spellings.
    let json = format!(
        "{{\"LANDSAT_METADATA_FILE\": {{\"PRODUCT_CONTENTS\": {{\"LANDSAT_PRODUCT_ID\": \"{SCENE}\"}}, \"LEVEL2_SURFACE_REFLECTANCE_PARAMETERS\": {{\"REFLECTANCE_MULT_BAND_4\": \"3e-05\", \"REFLECTANCE_ADD_BAND_4\": \"-0.2\"}}}}}}"
    );
    let xml = "<LANDSAT_METADATA_FILE><LEVEL2_SURFACE_REFLECTANCE_PARAMETERS><REFLECTANCE_MULT_BAND_4>3e-05</REFLECTANCE_MULT_BAND_4><REFLECTANCE_ADD_BAND_4>-0.2</REFLECTANCE_ADD_BAND_4></LEVEL2_SURFACE_REFLECTANCE_PARAMETERS></LANDSAT_METADATA_FILE>";
    for (ending, text) in [("json", json.as_str()), ("xml", xml)] {
        let product = landsat(&[(ending, text)]).product("");
        let reason = offset(&product, "red").unwrap_err();
        assert!(
            reason.contains("0.00003") && reason.contains("0.0000275") && reason.contains("B4"),
            "{reason}"
        );
        assert!(
            product
                .cautions
                .iter()
                .any(|(band, notice)| band == "red" && notice.contains("0.00003")),
            "{:?}",
            product.cautions
        );
    }
    // Without any, the collection's, and it is said so.
    let product = landsat(&[]).product("");
    assert_eq!(offset(&product, "red"), Ok(-0.2));
    assert!(
        product.note.contains("no metadata file"),
        "{}",
        product.note
    );
}

#[test]
fn landsat_metadata_that_differs_or_cannot_be_read_is_refused() {
    for (scale, add, part) in [
        ("2.0000E-05", "-0.100000", "0.00002"),
        ("2.75e-05", "-0.100000", "-0.1"),
    ] {
        let reason = offset(&landsat(&[("txt", &mtl(scale, add))]).product(""), "red").unwrap_err();
        assert!(
            reason.contains(part) && reason.contains("Collection 2 has"),
            "{reason}"
        );
    }
    let good = mtl("2.75e-05", "-0.2");
    for (from, to, key) in [
        (
            SCENE,
            "LC08_L2SP_193025_20260430_20260506_02_T1",
            "LANDSAT_PRODUCT_ID",
        ),
        ("\"L2SP\"", "\"L1TP\"", "PROCESSING_LEVEL"),
        (
            "COLLECTION_NUMBER = 02",
            "COLLECTION_NUMBER = 01",
            "COLLECTION_NUMBER",
        ),
        ("LANDSAT_8", "LANDSAT_7", "SPACECRAFT_ID"),
        ("2026-04-14", "2026-04-15", "DATE_ACQUIRED"),
    ] {
        let error = landsat(&[("txt", &good.replace(from, to))])
            .find("")
            .unwrap_err();
        assert!(
            matches!(&error, ProductError::Contradicts { key: own, .. } if *own == key),
            "{error}"
        );
    }
    for text in [
        "",
        "no key and no value",
        &good.replace("-0.2\n", "minus\n"),
        &good.replace("    REFLECTANCE_ADD_BAND_4 = -0.2\n", ""),
    ] {
        assert!(
            matches!(
                landsat(&[("txt", text)]).find(""),
                Err(ProductError::Text { .. })
            ),
            "{text}"
        );
    }
}

#[test]
fn a_lone_band_of_a_product_is_known_by_its_name() {
    for (name, known) in [
        ("T33UWR_20260414T101031_B04_10m.jp2", true),
        ("LC08_L2SP_193025_20260414_20260420_02_T1_SR_B4.TIF", true),
        ("T33UWR_20260414T101031_SCL_20m.jp2", false),
        ("B04.jp2", false),
        ("mosaic_B04_10cm.tif", false),
        (
            "LC08_L2SP_193025_20260414_20260420_02_T1_QA_PIXEL.TIF",
            false,
        ),
    ] {
        assert_eq!(lone_file(Path::new(name)).is_some(), known, "{name}");
    }
}

#[test]
fn paths_into_archives() {
    let folder = Folder::new(&[("flight.zip", ""), ("field.tif", "")]);
    let root = folder.0.path();
    let inner = into_archive(&root.join("flight.zip/north/mosaic.tif"));
    assert_eq!(
        inner,
        PathBuf::from(format!(
            "/vsizip/{{{}}}/north/mosaic.tif",
            root.join("flight.zip").display()
        ))
    );
    assert_eq!(
        out_of_archive(&inner),
        Some((root.join("flight.zip"), "north/mosaic.tif".to_owned()))
    );
    assert_eq!(
        into_archive(&root.join("field.tif")),
        root.join("field.tif")
    );
    assert_eq!(
        into_archive(&root.join("none.zip/a.tif")),
        root.join("none.zip/a.tif")
    );
    assert_eq!(out_of_archive(&root.join("field.tif")), None);
}
