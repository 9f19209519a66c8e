//! Landsat Collection 2 Level-2 products: one TIFF a band, named by the scene, `_SR_B4.TIF`, with `_QA_PIXEL.TIF` and `_QA_RADSAT.TIF`.
//!
//! Reflectance = stored × 0.0000275 − 0.2, 0 is fill (USGS, "How do I use a scale factor with Landsat Level-2 science products?"). Collection 1 had other
//! factors and other bits, so the collection in the name decides. The metadata file, where there is one, is read and must agree with name and factors.

use super::error::ProductError;
use super::mtl::{ENDINGS, Metadata};
use super::{Container, Product, ProductBand, ProductMask, day, file_name, shortened};
use crate::format::raster::mask::MaskRule;

/// Reflectance of one stored number.
const SCALE: f64 = 0.000_027_5;
/// Reflectance of a stored 0, were it not fill.
const OFFSET: f64 = -0.2;
/// Stored numbers that are measurements (USGS, the same page): reflectance 0 to 1.
const VALID: (f64, f64) = (7_273.0, 43_636.0);
/// Group of the metadata with the factors of this level; the Level-1 record repeats the keys with other numbers.
const FACTORS: &str = "LEVEL2_SURFACE_REFLECTANCE_PARAMETERS";
/// Bits of `QA_PIXEL` of which none may be set: fill, dilated cloud, cirrus, cloud, cloud shadow (USGS), snow (from memory).
const BITS: [u8; 6] = [0, 1, 2, 3, 4, 5];
/// Canonical names by number of the band: of the operational imagers (8 and 9), and of the mappers before them (4, 5, 7).
const NEW: [(&str, &str); 7] = [
    ("B1", "b1"),
    ("B2", "blue"),
    ("B3", "green"),
    ("B4", "red"),
    ("B5", "nir"),
    ("B6", "b6"),
    ("B7", "b7"),
];
const OLD: [(&str, &str); 6] = [
    ("B1", "blue"),
    ("B2", "green"),
    ("B3", "red"),
    ("B4", "nir"),
    ("B5", "b5"),
    ("B7", "b7"),
];

/// A scene's name and what follows it: `LC08_L2SP_193025_20260414_20260420_02_T1`, `SR_B4`.
fn parts_of(name: &str) -> Option<(&str, &str)> {
    let (stem, ending) = name.rsplit_once('.')?;
    if !["tif", "tiff", "txt", "xml", "json"]
        .iter()
        .any(|known| ending.eq_ignore_ascii_case(known))
    {
        return None;
    }
    let cut = stem.match_indices('_').nth(6)?.0;
    let scene = &stem[..cut];
    let parts: Vec<&str> = scene.split('_').collect();
    let sensor = parts[0].len() == 4
        && parts[0].starts_with('L')
        && parts[0]
            .get(2..)
            .is_some_and(|digits| digits.parse::<u8>().is_ok());
    (sensor && parts[1].starts_with('L') && day(parts[3]).is_some())
        .then(|| (scene, &stem[cut + 1..]))
}

/// Whether a file's name is that of a band.
pub(super) fn is_band(name: &str) -> bool {
    parts_of(name).is_some_and(|(_, rest)| rest.starts_with("SR_B"))
}

/// The product in a folder or archive; `None` when there is none of this kind.
pub(super) fn recognise(container: &Container) -> Result<Option<Product>, ProductError> {
    let path = container.path().to_owned();
    let mut scenes: Vec<&str> = container
        .entries()
        .iter()
        .filter_map(|entry| parts_of(file_name(entry)))
        .map(|(scene, _)| scene)
        .collect();
    scenes.dedup();
    scenes.sort_unstable();
    scenes.dedup();
    let scene = match scenes.as_slice() {
        [] => return Ok(None),
        [one] => (*one).to_owned(),
        many => {
            return Err(ProductError::Several {
                path,
                found: shortened(many.iter().copied()),
            });
        }
    };
    let parts: Vec<&str> = scene.split('_').collect();
    let refused = |stated, requirement| {
        Err(ProductError::Level {
            path: path.clone(),
            name: scene.clone(),
            stated,
            requirement,
        })
    };
    if !parts[1].starts_with("L2") {
        return refused(
            "a Level-1 product (top of the atmosphere)",
            "Level-2 (surface reflectance)",
        );
    }
    if parts[5] != "02" {
        return refused(
            "not of Collection 2, so its scale and its quality bits are others",
            "Collection 2",
        );
    }
    let names: &[(&str, &str)] = if ["08", "09"].contains(&&parts[0][2..]) {
        &NEW
    } else {
        &OLD
    };
    let file_of = |rest: &str| -> Result<Option<&String>, ProductError> {
        let mut files = container.entries().iter().filter(|entry| {
            let name = file_name(entry);
            parts_of(name).is_some_and(|(_, own)| own == rest)
                && name.to_lowercase().contains(".tif")
        });
        match (files.next(), files.next()) {
            (Some(one), Some(other)) => Err(ProductError::Twice {
                path: path.clone(),
                band: rest.to_owned(),
                one: one.clone(),
                other: other.clone(),
            }),
            (one, _) => Ok(one),
        }
    };
    let metadata = metadata(container, &scene)?;
    let mut bands = Vec::new();
    let mut cautions = Vec::new();
    for (number, name) in names {
        let Some(file) = file_of(&format!("SR_{number}"))? else {
            continue;
        };
        let (scale, offset) = match &metadata {
            Some((entry, wording)) => factors(wording, number.trim_start_matches('B'))
                .map_err(|reason| ProductError::Text { path: path.clone(), entry: entry.clone(), reason })?
                .unwrap_or_else(|| {
                    cautions.push(((*name).to_owned(), format!("{entry} states no factors for band {number}: those of Collection 2 are used")));
                    (SCALE, OFFSET)
                }),
            None => (SCALE, OFFSET),
        };
        if !near(scale, SCALE) {
            cautions.push(((*name).to_owned(), format!("band {number} is scaled by {scale}, as its metadata says; Collection 2 has {SCALE}")));
        }
        bands.push(ProductBand {
            band: (*name).to_owned(),
            path: container.inside(file),
            scale,
            offset: agreed(metadata.as_ref(), number, scale, offset),
        });
    }
    let mut masks = Vec::new();
    for (mask, rule) in [
        ("QA_PIXEL", MaskRule::Bits(BITS.to_vec())),
        ("QA_RADSAT", MaskRule::Keep(vec![0])),
    ] {
        let Some(file) = file_of(mask)? else {
            return Err(ProductError::Mask { path, mask });
        };
        masks.push(ProductMask {
            path: container.inside(file),
            rule,
            grow_m: 0,
        });
    }
    let notice = match &metadata {
        Some((entry, wording)) => format!(", as {} says too{}", file_name(entry), about(wording)),
        None => "; no metadata file (_MTL) lies beside the bands".to_owned(),
    };
    let note = format!(
        "Landsat Collection 2 Level-2 of 30 m, reflectance = stored × {SCALE} − {}{notice}",
        -OFFSET
    );
    let mask_note = "its quality bands: bits 0 to 5 of QA_PIXEL not set, QA_RADSAT 0".to_owned();
    let read = if container.is_archive() {
        vec![path]
    } else {
        metadata
            .iter()
            .map(|(entry, _)| container.inside(entry))
            .collect()
    };
    let acquired = day(parts[3]);
    Ok(Some(Product {
        kind: "Landsat Collection 2 Level-2",
        name: scene,
        acquired,
        bands,
        masks,
        nodata: 0.0,
        valid: VALID,
        read,
        note,
        mask_note,
        cautions,
    }))
}

/// The scene's metadata, with its entry, if it is there; refused when it speaks of another scene.
fn metadata(
    container: &Container,
    scene: &str,
) -> Result<Option<(String, Metadata)>, ProductError> {
    let named = |ending: &str| {
        container.entries().iter().find(|entry| {
            let name = file_name(entry);
            name.rsplit_once('.')
                .is_some_and(|(_, own)| own.eq_ignore_ascii_case(ending))
                && parts_of(name).is_some_and(|(own, rest)| own == scene && rest == "MTL")
        })
    };
    let Some((ending, entry)) = ENDINGS
        .iter()
        .find_map(|ending| named(ending).map(|entry| (ending, entry)))
    else {
        return Ok(None);
    };
    let path = container.path().to_owned();
    let wording =
        Metadata::read(&container.text(entry)?, ending).map_err(|reason| ProductError::Text {
            path: path.clone(),
            entry: entry.clone(),
            reason,
        })?;
    let parts: Vec<&str> = scene.split('_').collect();
    // `08` is the satellite, `20260414` its day.
    let satellite = format!("LANDSAT_{}", parts[0][2..].trim_start_matches('0'));
    let day = format!("{}-{}-{}", &parts[3][..4], &parts[3][4..6], &parts[3][6..]);
    for (group, key, requirement) in [
        ("PRODUCT_CONTENTS", "LANDSAT_PRODUCT_ID", scene),
        ("PRODUCT_CONTENTS", "PROCESSING_LEVEL", parts[1]),
        ("PRODUCT_CONTENTS", "COLLECTION_NUMBER", parts[5]),
        ("IMAGE_ATTRIBUTES", "SPACECRAFT_ID", satellite.as_str()),
        ("IMAGE_ATTRIBUTES", "DATE_ACQUIRED", day.as_str()),
    ] {
        // A number may have lost its leading 0 on its way through a table.
        let alike = |a: &str, b: &str| a.trim_start_matches('0') == b.trim_start_matches('0');
        if let Some(found) = wording
            .text(group, key)
            .filter(|found| !alike(found, requirement))
        {
            return Err(ProductError::Contradicts {
                path,
                entry: entry.clone(),
                key,
                found: found.to_owned(),
                requirement: requirement.to_owned(),
            });
        }
    }
    Ok(Some((entry.clone(), wording)))
}

/// Scale and offset of a band by the metadata; `None` when it states neither, an error when it states one of them.
fn factors(wording: &Metadata, band: &str) -> Result<Option<(f64, f64)>, String> {
    let (scale, offset) = (
        format!("REFLECTANCE_MULT_BAND_{band}"),
        format!("REFLECTANCE_ADD_BAND_{band}"),
    );
    match (
        wording.number(FACTORS, &scale)?,
        wording.number(FACTORS, &offset)?,
    ) {
        (Some(scale), Some(offset)) => Ok(Some((scale, offset))),
        (None, None) => Ok(None),
        (Some(_), None) => Err(format!("{FACTORS} has {scale} but no {offset}")),
        (None, Some(_)) => Err(format!("{FACTORS} has {offset} but no {scale}")),
    }
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-6 * b.abs()
}

/// The offset, when both factors are those of the collection; else why they cannot be relied on.
fn agreed(
    metadata: Option<&(String, Metadata)>,
    band: &str,
    scale: f64,
    offset: f64,
) -> Result<f64, String> {
    if near(scale, SCALE) && near(offset, OFFSET) {
        return Ok(offset);
    }
    let entry = metadata.map_or("the metadata", |(entry, _)| file_name(entry));
    Err(format!(
        "{entry} says × {scale} {offset:+} for {band}, and Collection 2 has × {SCALE} {OFFSET:+} for every band: is it another product's, or was it changed?"
    ))
}

/// Satellite, sensor and clouds of a scene, for people.
fn about(wording: &Metadata) -> String {
    let text = |key: &str| wording.text("IMAGE_ATTRIBUTES", key);
    let sensor = [text("SPACECRAFT_ID"), text("SENSOR_ID")]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(" ");
    // −1 stands for "not worked out" (from memory).
    let cloud = |key: &str| {
        wording
            .number("IMAGE_ATTRIBUTES", key)
            .ok()
            .flatten()
            .filter(|share| (0.0..=100.0).contains(share))
    };
    let clouds = match (cloud("CLOUD_COVER_LAND"), cloud("CLOUD_COVER")) {
        (Some(land), _) => format!("clouds over {land} % of the scene's land"),
        (None, Some(all)) => format!("clouds over {all} % of the scene"),
        (None, None) => String::new(),
    };
    [String::new(), sensor, clouds]
        .iter()
        .enumerate()
        .filter(|(k, part)| *k == 0 || !part.is_empty())
        .map(|(_, part)| part.as_str())
        .collect::<Vec<_>>()
        .join("; ")
}
