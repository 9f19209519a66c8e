//! Sentinel-2 Level-2A products: `…MSIL2A…` with processing baseline `Nxxxx` in the name, `MTD_MSIL2A.xml`, one JPEG 2000 file a band and pixel size.
//!
//! Reflectance = (stored + `BOA_ADD_OFFSET`) / `BOA_QUANTIFICATION_VALUE`. The offset came with baseline 04.00 and stands band by band in the metadata; older
//! products have none. The baseline decides, never the date: old scenes were processed again. Source: ESA, Sentinel-2 products specification, as quoted
//! on the programme's forum; the layout of names from the same.

use super::error::ProductError;
use super::{Container, Product, ProductBand, ProductMask, day, file_name, shortened};
use crate::format::raster::mask::MaskRule;

/// Bands in the order of the metadata's numbers (from memory), with their canonical names.
const BANDS: [(&str, &str); 13] = [
    ("B01", "b01"),
    ("B02", "blue"),
    ("B03", "green"),
    ("B04", "red"),
    ("B05", "red_edge"),
    ("B06", "red_edge_2"),
    ("B07", "red_edge_3"),
    ("B08", "nir"),
    ("B8A", "nir_2"),
    ("B09", "b09"),
    ("B10", "b10"),
    ("B11", "b11"),
    ("B12", "b12"),
];
/// First baseline with an offset, in hundredths.
const FIRST_WITH_OFFSET: u32 = 400;
/// Stored numbers of reflectance 1.
const QUANTIFICATION: f64 = 10_000.0;
/// Offset of all bands since then, for products without metadata. \[stored numbers\]
const OFFSET: f64 = -1000.0;
/// Stored numbers that are measurements (the same specification); what lies above is saturated or no data.
const VALID: (f64, f64) = (1.0, 32_767.0);
/// Classes of the scene classification that show the ground: vegetation and ground without it.
const USABLE: [i64; 2] = [4, 5];
/// Two pixels of the scene classification: edges of clouds and shadows are not in their class (common practice, no source). \[m\]
const GROW_M: u32 = 40;

/// What the metadata says.
#[derive(Clone, Debug, Default, PartialEq)]
struct Metadata {
    baseline: Option<u32>,
    quantification: Option<f64>,
    /// By number of the band.
    offsets: Vec<(usize, f64)>,
    taken: Option<String>,
}

/// Band and pixel size in metres of a file's name, such as `T33UWR_20260414T101031_B04_10m.jp2`.
pub(super) fn band_of(name: &str) -> Option<(&str, u32)> {
    let (stem, ending) = name.rsplit_once('.')?;
    if !["jp2", "tif", "tiff"]
        .iter()
        .any(|known| ending.eq_ignore_ascii_case(known))
    {
        return None;
    }
    let mut parts = stem.rsplit('_');
    let size = parts
        .next()?
        .strip_suffix('m')?
        .parse()
        .ok()
        .filter(|size| [10, 20, 60].contains(size))?;
    let band = parts.next()?;
    (band == "SCL" || BANDS.iter().any(|(known, _)| *known == band)).then_some((band, size))
}

/// `N0511` in a product's name, in hundredths.
fn baseline_of(name: &str) -> Option<u32> {
    name.split('_').find_map(|part| {
        part.strip_prefix('N')
            .filter(|digits| digits.len() == 4)
            .and_then(|digits| digits.parse().ok())
    })
}

/// The product in a folder or archive; `None` when there is none of this kind.
pub(super) fn recognise(container: &Container) -> Result<Option<Product>, ProductError> {
    let path = container.path().to_owned();
    let metadata: Vec<&String> = container
        .entries()
        .iter()
        .filter(|entry| file_name(entry) == "MTD_MSIL2A.xml")
        .collect();
    let name = product_name(container, metadata.first().map(|entry| entry.as_str()));
    let refused = |stated| {
        Err(ProductError::Level {
            path: path.clone(),
            name: name.clone(),
            stated,
            requirement: "Level-2A (surface reflectance)",
        })
    };
    if container
        .entries()
        .iter()
        .any(|entry| file_name(entry) == "MTD_MSIL1C.xml")
        || name.contains("_MSIL1C_")
    {
        return refused("Level-1C (top of the atmosphere)");
    }
    let (entry, wording) = match metadata.as_slice() {
        [] if name.contains("_MSIL2A_") => (None, Metadata::default()),
        [] => return Ok(None),
        [one] => {
            let wording = read(&container.text(one)?).map_err(|reason| ProductError::Text {
                path: path.clone(),
                entry: (*one).clone(),
                reason,
            })?;
            (Some((*one).clone()), wording)
        }
        many => {
            return Err(ProductError::Several {
                path,
                found: shortened(many.iter().map(|name| name.as_str())),
            });
        }
    };
    let named = baseline_of(&name);
    let Some(baseline) = wording.baseline.or(named) else {
        return Err(ProductError::Baseline { path });
    };
    let quantification = wording.quantification.unwrap_or(QUANTIFICATION);
    let offset = |number: usize| -> Result<f64, String> {
        if let Some((_, offset)) = wording.offsets.iter().find(|(band, _)| *band == number) {
            return Ok(offset / quantification);
        }
        if baseline < FIRST_WITH_OFFSET {
            return Ok(0.0);
        }
        // Without metadata the rule of the baseline is all there is; metadata that lacks what its baseline promises was changed by somebody.
        if wording.baseline.is_none() && wording.offsets.is_empty() {
            return Ok(OFFSET / QUANTIFICATION);
        }
        Err(format!(
            "processing baseline {} has offsets, but the metadata states none for this band: was it changed, and the offset removed from the pixels?",
            shown(baseline)
        ))
    };
    let mut finest: Vec<(&str, u32, &String)> = Vec::new();
    for file in container.entries() {
        // Quality layers of the same names lie in other folders.
        let Some((band, size)) = band_of(file_name(file)).filter(|_| !file.contains("/QI_DATA/"))
        else {
            continue;
        };
        match finest.iter_mut().find(|(known, _, _)| *known == band) {
            None => finest.push((band, size, file)),
            Some(known) if known.1 == size => {
                return Err(ProductError::Twice {
                    path,
                    band: band.to_owned(),
                    one: known.2.clone(),
                    other: file.clone(),
                });
            }
            Some(known) => {
                if size < known.1 {
                    *known = (band, size, file);
                }
            }
        }
    }
    let bands = finest
        .iter()
        .filter_map(|(band, _, file)| {
            BANDS
                .iter()
                .position(|(known, _)| known == band)
                .map(|number| (number, *file))
        })
        .map(|(number, file)| ProductBand {
            band: BANDS[number].1.to_owned(),
            path: container.inside(file),
            scale: 1.0 / quantification,
            offset: offset(number),
        })
        .collect();
    let classes = finest.iter().find(|(band, _, _)| *band == "SCL");
    let Some((_, _, classes)) = classes else {
        return Err(ProductError::Mask {
            path,
            mask: "SCL (scene classification)",
        });
    };
    let masks = vec![ProductMask {
        path: container.inside(classes),
        rule: MaskRule::Keep(USABLE.to_vec()),
        grow_m: GROW_M,
    }];
    // The first date of the name is that of taking, the last that of making.
    let acquired = wording
        .taken
        .as_deref()
        .map(|text| text.replace('-', ""))
        .as_deref()
        .and_then(day)
        .or_else(|| name.split('_').find_map(day));
    let note = format!(
        "Sentinel-2 Level-2A, processing baseline {}{}",
        shown(baseline),
        match (wording.baseline, named) {
            (Some(inside), Some(outside)) if inside != outside =>
                format!(" by its metadata (its name says {})", shown(outside)),
            (None, _) => " by its name (it has no metadata)".to_owned(),
            _ => String::new(),
        }
    );
    let mask_note = format!(
        "its scene classification: classes 4 and 5 are kept, all others are grown by {GROW_M} m"
    );
    let read = if container.is_archive() {
        vec![path]
    } else {
        entry.iter().map(|entry| container.inside(entry)).collect()
    };
    Ok(Some(Product {
        kind: "Sentinel-2 Level-2A",
        name,
        acquired,
        bands,
        masks,
        nodata: 0.0,
        valid: VALID,
        read,
        note,
        mask_note,
        cautions: Vec::new(),
    }))
}

fn shown(baseline: u32) -> String {
    format!("{:02}.{:02}", baseline / 100, baseline % 100)
}

/// The name: of the folder with the metadata, else of the container.
fn product_name(container: &Container, metadata: Option<&str>) -> String {
    let own = container
        .path()
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let parent = metadata
        .and_then(|entry| entry.rsplit('/').nth(1))
        .map(str::to_owned);
    let inner = container
        .entries()
        .iter()
        .filter_map(|entry| entry.split('/').next())
        .find(|part| part.contains("_MSIL2A_") || part.contains("_MSIL1C_"));
    let name = parent
        .or_else(|| inner.map(str::to_owned))
        .filter(|name| name.contains("_MSIL"))
        .unwrap_or(own);
    [".SAFE", ".zip", ".tar", ".tgz"]
        .iter()
        .fold(name, |name, end| {
            name.strip_suffix(end).map_or(name.clone(), str::to_owned)
        })
}

/// Reads what is needed of `MTD_MSIL2A.xml`.
fn read(text: &str) -> Result<Metadata, String> {
    use quick_xml::events::Event;
    let mut reader = quick_xml::Reader::from_str(text);
    let mut wording = Metadata::default();
    let (mut tag, mut band) = (String::new(), None);
    let number = |text: &str, what: &str| {
        text.trim()
            .parse::<f64>()
            .ok()
            .filter(|v| v.is_finite())
            .ok_or_else(|| format!("{what} is no number: {text:?}"))
    };
    loop {
        match reader.read_event() {
            Ok(Event::Start(start)) => {
                start.local_name().as_ref().clone_into(&mut tag);
                band = None;
                for attribute in start.attributes().flatten() {
                    if attribute.key.as_ref() == "band_id" {
                        band = attribute.value.parse::<usize>().ok();
                    }
                }
            }
            Ok(Event::Text(inner)) => {
                let inner = inner.as_ref();
                match tag.as_str() {
                    "PROCESSING_BASELINE" => {
                        wording.baseline = Some(libm::round(number(inner, &tag)? * 100.0) as u32);
                    }
                    "BOA_QUANTIFICATION_VALUE" => {
                        wording.quantification =
                            Some(number(inner, &tag)?).filter(|value| *value > 0.0);
                        if wording.quantification.is_none() {
                            return Err(format!(
                                "BOA_QUANTIFICATION_VALUE is not above 0: {inner:?}"
                            ));
                        }
                    }
                    "BOA_ADD_OFFSET" => {
                        let band = band
                            .filter(|band| *band < BANDS.len())
                            .ok_or("a BOA_ADD_OFFSET has no band_id from 0 to 12")?;
                        wording.offsets.push((band, number(inner, &tag)?));
                    }
                    "PRODUCT_START_TIME" => {
                        wording.taken = inner.trim().get(..10).map(str::to_owned);
                    }
                    _ => {}
                }
            }
            Ok(Event::End(_)) => tag.clear(),
            Ok(Event::Eof) => return Ok(wording),
            Err(error) => return Err(error.to_string()),
            Ok(_) => {}
        }
    }
}
