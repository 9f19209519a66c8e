//! Landsat Collection 2 Level-2 products: one TIFF a band, named by the scene, `_SR_B4.TIF`, with `_QA_PIXEL.TIF` and `_QA_RADSAT.TIF`.
//!
//! Reflectance = stored × 0.0000275 − 0.2, 0 is fill (USGS, "How do I use a scale factor with Landsat Level-2 science products?"). Collection 1 had other
//! factors and other bits, so the collection in the name decides.

use super::Container;
use super::Product;
use super::ProductBand;
use super::ProductMask;
use super::day;
use super::error::ProductError;
use super::file_name;
use super::shortened;
use crate::format::raster::mask::MaskRule;

/// Reflectance of one stored number.
const SCALE: f64 = 0.000_027_5;
/// Reflectance of a stored 0, were it not fill.
const OFFSET: f64 = -0.2;
/// Bits of `QA_PIXEL` of which none may be set: fill, dilated cloud, cirrus, cloud, cloud shadow (USGS), snow (from memory).
const BITS: [u8; 6] = [0, 1, 2, 3, 4, 5];
/// Canonical names by number of the band: of the operational imagers (8 and 9), and of the mappers before them (4, 5, 7).
const NEW: [(&str, &str); 7] = [("B1", "b1"), ("B2", "blue"), ("B3", "green"), ("B4", "red"), ("B5", "nir"), ("B6", "b6"), ("B7", "b7")];
const OLD: [(&str, &str); 6] = [("B1", "blue"), ("B2", "green"), ("B3", "red"), ("B4", "nir"), ("B5", "b5"), ("B7", "b7")];

/// A scene's name and what follows it: `LC08_L2SP_193025_20260414_20260420_02_T1`, `SR_B4`.
fn parts_of(name: &str) -> Option<(&str, &str)> {
    let (stem, ending) = name.rsplit_once('.')?;
    if !["tif", "tiff", "txt", "xml", "json"].iter().any(|known| ending.eq_ignore_ascii_case(known)) {
        return None;
    }
    let cut = stem.match_indices('_').nth(6)?.0;
    let scene = &stem[..cut];
    let parts: Vec<&str> = scene.split('_').collect();
    let sensor = parts[0].len() == 4 && parts[0].starts_with('L') && parts[0].get(2..).is_some_and(|digits| digits.parse::<u8>().is_ok());
    (sensor && parts[1].starts_with('L') && day(parts[3]).is_some()).then(|| (scene, &stem[cut + 1..]))
}

/// Whether a file's name is that of a band.
pub(super) fn is_band(name: &str) -> bool {
    parts_of(name).is_some_and(|(_, rest)| rest.starts_with("SR_B"))
}

/// The product in a folder or archive; `None` when there is none of this kind.
pub(super) fn recognise(container: &Container) -> Result<Option<Product>, ProductError> {
    let path = container.path().to_owned();
    let mut scenes: Vec<&str> = container.entries().iter().filter_map(|entry| parts_of(file_name(entry))).map(|(scene, _)| scene).collect();
    scenes.dedup();
    scenes.sort_unstable();
    scenes.dedup();
    let scene = match scenes.as_slice() {
        [] => return Ok(None),
        [one] => (*one).to_owned(),
        many => return Err(ProductError::Several { path, found: shortened(many.iter().copied()) }),
    };
    let parts: Vec<&str> = scene.split('_').collect();
    let refused = |stated, wanted| Err(ProductError::Level { path: path.clone(), name: scene.clone(), stated, wanted });
    if !parts[1].starts_with("L2") {
        return refused("a Level-1 product (top of the atmosphere)", "Level-2 (surface reflectance)");
    }
    if parts[5] != "02" {
        return refused("not of Collection 2, so its scale and its quality bits are others", "Collection 2");
    }
    let names: &[(&str, &str)] = if ["08", "09"].contains(&&parts[0][2..]) { &NEW } else { &OLD };
    let file_of = |rest: &str| -> Result<Option<&String>, ProductError> {
        let mut files = container.entries().iter().filter(|entry| {
            let name = file_name(entry);
            parts_of(name).is_some_and(|(_, own)| own == rest) && name.to_lowercase().contains(".tif")
        });
        match (files.next(), files.next()) {
            (Some(one), Some(other)) => Err(ProductError::Twice { path: path.clone(), band: rest.to_owned(), one: one.clone(), other: other.clone() }),
            (one, _) => Ok(one),
        }
    };
    let mut bands = Vec::new();
    for (number, name) in names {
        if let Some(file) = file_of(&format!("SR_{number}"))? {
            bands.push(ProductBand { band: (*name).to_owned(), path: container.inside(file), scale: SCALE, offset: Ok(OFFSET) });
        }
    }
    let mut masks = Vec::new();
    for (mask, rule) in [("QA_PIXEL", MaskRule::Bits(BITS.to_vec())), ("QA_RADSAT", MaskRule::Keep(vec![0]))] {
        let Some(file) = file_of(mask)? else { return Err(ProductError::Mask { path, mask }) };
        masks.push(ProductMask { path: container.inside(file), rule, grow_m: 0 });
    }
    let note = format!("Landsat Collection 2 Level-2 of 30 m, reflectance = stored × {SCALE} − {}", -OFFSET);
    let mask_note = "its quality bands: bits 0 to 5 of QA_PIXEL not set, QA_RADSAT 0".to_owned();
    let read = if container.is_archive() { vec![path] } else { Vec::new() };
    let acquired = day(parts[3]);
    Ok(Some(Product { kind: "Landsat Collection 2 Level-2", name: scene, acquired, bands, masks, nodata: 0.0, read, note, mask_note }))
}
