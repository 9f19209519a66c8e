//! Products by their names and texts alone; their pixels are read in the tests from outside.

use super::Found;
use super::Product;
use super::ProductError;
use super::find;
use super::into_archive;
use super::lone_file;
use super::out_of_archive;
use std::path::Path;
use std::path::PathBuf;

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
    let offsets: Vec<String> = offsets.iter().map(|(band, offset)| format!("<BOA_ADD_OFFSET band_id=\"{band}\">{offset}</BOA_ADD_OFFSET>")).collect();
    format!(
        "<?xml version=\"1.0\"?><n1:Level-2A_User_Product xmlns:n1=\"urn:x\"><n1:General_Info><Product_Info><PRODUCT_START_TIME>2026-04-14T10:10:31.024Z</PRODUCT_START_TIME><PROCESSING_BASELINE>{baseline}</PROCESSING_BASELINE></Product_Info><Product_Image_Characteristics><QUANTIFICATION_VALUES_LIST><BOA_QUANTIFICATION_VALUE unit=\"none\">10000</BOA_QUANTIFICATION_VALUE></QUANTIFICATION_VALUES_LIST><BOA_ADD_OFFSET_VALUES_LIST>{}</BOA_ADD_OFFSET_VALUES_LIST></Product_Image_Characteristics></n1:General_Info></n1:Level-2A_User_Product>",
        offsets.concat()
    )
}

fn sentinel(name: &str, metadata: Option<&str>) -> Folder {
    let image = format!("{name}/GRANULE/L2A_T33UWR_A012345_20260414T101031/IMG_DATA");
    let band = |folder: &str, rest: &str| format!("{image}/{folder}/T33UWR_20260414T101031_{rest}.jp2");
    let mut files = vec![
        (band("R10m", "B04_10m"), ""),
        (band("R20m", "B04_20m"), ""),
        (band("R20m", "B05_20m"), ""),
        (band("R20m", "SCL_20m"), ""),
        (band("R10m", "B08_10m"), ""),
        (band("R60m", "SCL_60m"), ""),
        (format!("{name}/GRANULE/L2A_T33UWR_A012345_20260414T101031/QI_DATA/MSK_CLASSI_B00.jp2"), ""),
    ];
    if let Some(text) = metadata {
        files.push((format!("{name}/MTD_MSIL2A.xml"), text));
    }
    Folder::new(&files.iter().map(|(name, text)| (name.as_str(), *text)).collect::<Vec<_>>())
}

fn offset(product: &Product, band: &str) -> Result<f64, String> {
    product.bands.iter().find(|known| known.band == band).unwrap().offset.clone()
}

#[test]
fn the_finest_file_of_each_band_and_the_offset_of_the_metadata() {
    let name = scene("N0511");
    let folder = sentinel(&name, Some(&metadata("05.11", &[(3, -1000), (4, -900), (7, -1000)])));
    let product = folder.product(&name);
    assert_eq!(product.name, name.trim_end_matches(".SAFE"));
    assert_eq!(product.acquired, Some(jiff::civil::date(2026, 4, 14)));
    let named: Vec<&str> = product.bands.iter().map(|band| band.band.as_str()).collect();
    assert_eq!(named, ["red", "nir", "red_edge"]);
    assert!(product.bands[0].path.ends_with("T33UWR_20260414T101031_B04_10m.jp2"), "the finest: {:?}", product.bands[0].path);
    assert!(product.bands.iter().all(|band| band.scale == 0.0001));
    assert_eq!((offset(&product, "red"), offset(&product, "red_edge")), (Ok(-0.1), Ok(-0.09)));
    assert!(product.masks[0].path.ends_with("T33UWR_20260414T101031_SCL_20m.jp2") && product.masks[0].grow_m == 40);
    assert_eq!(product.nodata, 0.0);
}

#[test]
fn the_baseline_decides_about_the_offset_and_never_the_date() {
    // Of April 2026 but of an old baseline: no offset. The other way round too.
    let old = scene("N0301");
    assert_eq!(offset(&sentinel(&old, None).product(&old), "red"), Ok(0.0));
    let again = "S2A_MSIL2A_20180414T101031_N0500_R022_T33UWR_20230414T161234.SAFE";
    assert_eq!(offset(&sentinel(again, None).product(again), "red"), Ok(-0.1));
    // Metadata without offsets: right for an old baseline, a contradiction for a new one.
    assert_eq!(offset(&sentinel(&old, Some(&metadata("03.01", &[]))).product(&old), "red"), Ok(0.0));
    let new = scene("N0511");
    let reason = offset(&sentinel(&new, Some(&metadata("05.11", &[]))).product(&new), "red").unwrap_err();
    assert!(reason.contains("05.11") && reason.contains("offset"), "{reason}");
    // One band without its offset is as bad.
    assert!(offset(&sentinel(&new, Some(&metadata("05.11", &[(3, -1000)]))).product(&new), "nir").is_err());
    // Metadata is nearer to the pixels than the name of the folder.
    let product = sentinel(&new, Some(&metadata("03.01", &[]))).product(&new);
    assert_eq!(offset(&product, "red"), Ok(0.0));
    assert!(product.note.contains("03.01") && product.note.contains("05.11"), "{}", product.note);
    // Neither says it.
    let nameless = sentinel("scene", Some(&metadata("05.11", &[]).replace("<PROCESSING_BASELINE>05.11</PROCESSING_BASELINE>", "")));
    assert!(matches!(nameless.find("scene"), Err(ProductError::Baseline { .. })));
}

#[test]
fn other_levels_several_products_and_missing_masks_are_refused() {
    let level1 = Folder::new(&[("S2A_MSIL1C_20260414T101031_N0511_R022_T33UWR_20260414T161234.SAFE/MTD_MSIL1C.xml", "")]);
    assert!(matches!(level1.find(""), Err(ProductError::Level { .. })));
    let text = metadata("05.11", &[]);
    let two = Folder::new(&[("a/MTD_MSIL2A.xml", &text), ("b/MTD_MSIL2A.xml", &text)]);
    assert!(matches!(two.find(""), Err(ProductError::Several { .. })));
    let unmasked = Folder::new(&[("MTD_MSIL2A.xml", &text), ("T33UWR_20260414T101031_B04_10m.jp2", "")]);
    assert!(matches!(unmasked.find(""), Err(ProductError::Mask { mask: "SCL (scene classification)", .. })));
    let broken = Folder::new(&[("MTD_MSIL2A.xml", "<a><PROCESSING_BASELINE>five</PROCESSING_BASELINE></a>")]);
    assert!(matches!(broken.find(""), Err(ProductError::Text { .. })));
    assert!(matches!(Folder::new(&[("notes.txt", "")]).find(""), Err(ProductError::Unknown { .. })));
}

#[test]
fn landsat_by_its_names() {
    let named = |scene: &str| {
        let files: Vec<String> = ["SR_B2.TIF", "SR_B3.TIF", "SR_B4.TIF", "SR_B5.TIF", "QA_PIXEL.TIF", "QA_RADSAT.TIF", "MTL.txt"]
            .iter()
            .map(|rest| format!("{scene}_{rest}"))
            .collect();
        Folder::new(&files.iter().map(|file| (file.as_str(), "")).collect::<Vec<_>>())
    };
    let product = named("LC08_L2SP_193025_20260414_20260420_02_T1").product("");
    let file = |band: &str| product.bands.iter().find(|known| known.band == band).unwrap().path.file_name().unwrap().to_string_lossy().into_owned();
    assert!(file("red").ends_with("SR_B4.TIF") && file("nir").ends_with("SR_B5.TIF"));
    assert_eq!((product.bands[0].scale, product.bands[0].offset.clone(), product.nodata), (0.000_027_5, Ok(-0.2), 0.0));
    assert_eq!(product.acquired, Some(jiff::civil::date(2026, 4, 14)));
    assert_eq!(product.masks.len(), 2);
    // The mappers before number 8 count bands otherwise: their band 4 is near infrared.
    let older = named("LE07_L2SP_193025_20120414_20200905_02_T1").product("");
    assert!(older.bands.iter().any(|band| band.band == "nir" && band.path.to_string_lossy().ends_with("SR_B4.TIF")));
    assert!(matches!(named("LC08_L2SP_193025_20260414_20260420_01_T1").find(""), Err(ProductError::Level { .. })), "Collection 1");
    assert!(matches!(named("LC08_L1TP_193025_20260414_20260420_02_T1").find(""), Err(ProductError::Level { .. })), "Level-1");
}

#[test]
fn a_lone_band_of_a_product_is_known_by_its_name() {
    for (name, known) in [
        ("T33UWR_20260414T101031_B04_10m.jp2", true),
        ("LC08_L2SP_193025_20260414_20260420_02_T1_SR_B4.TIF", true),
        ("T33UWR_20260414T101031_SCL_20m.jp2", false),
        ("B04.jp2", false),
        ("mosaic_B04_10cm.tif", false),
        ("LC08_L2SP_193025_20260414_20260420_02_T1_QA_PIXEL.TIF", false),
    ] {
        assert_eq!(lone_file(Path::new(name)).is_some(), known, "{name}");
    }
}

#[test]
fn paths_into_archives() {
    let folder = Folder::new(&[("flight.zip", ""), ("field.tif", "")]);
    let root = folder.0.path();
    let inner = into_archive(&root.join("flight.zip/north/mosaic.tif"));
    assert_eq!(inner, PathBuf::from(format!("/vsizip/{{{}}}/north/mosaic.tif", root.join("flight.zip").display())));
    assert_eq!(out_of_archive(&inner), Some((root.join("flight.zip"), "north/mosaic.tif".to_owned())));
    assert_eq!(into_archive(&root.join("field.tif")), root.join("field.tif"));
    assert_eq!(into_archive(&root.join("none.zip/a.tif")), root.join("none.zip/a.tif"));
    assert_eq!(out_of_archive(&root.join("field.tif")), None);
}
