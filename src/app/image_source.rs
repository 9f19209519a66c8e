//! Where an image's bands come from: a file, a file a band, or a product of a satellite programme with its own scale, offset and masks.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::app::below::below;
use crate::app::error::AppError;
use crate::app::open::{facts_of, refuse_network};
use crate::finding::{Finding, codes};
use crate::format::raster::product::{
    Found, Product, ProductBand, ProductError, find, into_archive, lone_file, out_of_archive,
};
use crate::format::raster::{BandFacts, MaskRule, MaskSpec, RasterFacts, Shelf, facts};
use crate::job::settings::{ImageSource, Imagery, Mask, MaskRule as MaskSetting};
use crate::science::index::{Index, Scratch, canonical_band_name};
use crate::units::{Area, Length};

/// Pixels as large as this are coarse for zones of a small field. \[m\]
const COARSE_PIXEL_M: f64 = 30.0;
/// A field below this is small for them (common practice, no source). \[m²\]
const SMALL_FIELD_M2: f64 = 50_000.0;

impl From<ProductError> for AppError {
    fn from(error: ProductError) -> Self {
        let (code, hint) = match &error {
            ProductError::Listing { .. } | ProductError::Text { .. } => (
                "image.unreadable",
                "copy the product again: it may be cut off",
            ),
            ProductError::Unknown { .. } => (
                "image.product",
                "give the raster file itself, the product's folder (.SAFE) or its zip or tar",
            ),
            ProductError::Several { .. } => (
                "image.product",
                "name the one: its folder, or its file as \"archive.zip/mosaic.tif\"",
            ),
            ProductError::Level { .. } => ("image.level", "fetch the same scene at that level"),
            ProductError::Contradicts { .. } => (
                "image.product",
                "put each scene with its own metadata into a folder of its own, under the names that it came with",
            ),
            ProductError::Baseline { .. } => (
                "image.baseline",
                "keep the product's own name with its Nxxxx, or give one file a band in imagery.path with scale and offset",
            ),
            ProductError::Twice { .. } => (
                "image.product",
                "give one file a band in imagery.path: { red = \"...\", nir = \"...\" }",
            ),
            ProductError::Mask { .. } => (
                "image.product",
                "fetch the product whole, or give one file a band in imagery.path with scale and offset",
            ),
        };
        Self::refused(code, error.to_string()).with_hint(hint)
    }
}

/// What `imagery.path` leads to.
pub(crate) enum Source {
    /// One raster with all bands.
    One(PathBuf),
    /// One raster a band.
    PerBand(Vec<(String, PathBuf)>),
    /// A product.
    Product(Box<Product>),
}

/// One band that an index needs.
pub(crate) struct Requirement {
    /// Its file.
    pub(crate) path: PathBuf,
    /// Its number, when that is known without the file's descriptions.
    pub(crate) number: Option<usize>,
    /// What a product says of it.
    pub(crate) own: Option<ProductBand>,
}

impl Source {
    /// Looks what the job's path leads to.
    pub(crate) fn of(imagery: &Imagery, network: bool) -> Result<Self, AppError> {
        let raster = |path: &Path| -> Result<PathBuf, AppError> {
            refuse_network(path, network)?;
            Ok(into_archive(path))
        };
        match &imagery.source {
            ImageSource::One(path) => {
                refuse_network(path, network)?;
                Ok(match find(path)? {
                    Found::Raster(path) => Self::One(path),
                    Found::Product(product) => Self::Product(product),
                })
            }
            // Readings are opened elsewhere; their file is all that there is.
            ImageSource::Points(rule) => Ok(Self::One(rule.source.path.clone())),
            ImageSource::PerBand(list) => Ok(Self::PerBand(
                list.iter()
                    .map(|(band, path)| Ok((band.clone(), raster(path)?)))
                    .collect::<Result<_, AppError>>()?,
            )),
        }
    }

    /// The product, if it is one.
    pub(crate) fn product(&self) -> Option<&Product> {
        if let Self::Product(product) = self {
            Some(product)
        } else {
            None
        }
    }

    /// Where a band of the index lies.
    pub(crate) fn band(
        &self,
        imagery: &Imagery,
        index: &Index,
        name: &str,
    ) -> Result<Requirement, AppError> {
        match self {
            Self::One(path) => Ok(Requirement {
                path: path.clone(),
                number: index.ready_band(),
                own: None,
            }),
            Self::PerBand(list) => {
                let found = list
                    .iter()
                    .find(|(band, _)| canonical_band_name(band) == *name);
                let (_, path) = found.ok_or_else(|| {
                    crate::app::open::unnamed(
                        imagery,
                        name,
                        &list
                            .iter()
                            .map(|(band, _)| band.clone())
                            .collect::<Vec<_>>(),
                    )
                })?;
                Ok(Requirement {
                    path: path.clone(),
                    number: Some(1),
                    own: None,
                })
            }
            Self::Product(product) => {
                let known = || {
                    product
                        .bands
                        .iter()
                        .map(|band| band.band.clone())
                        .collect::<Vec<_>>()
                        .join(", ")
                };
                if !imagery.bands.is_empty() || index.ready_band().is_some() {
                    return Err(AppError::refused(
                        "imagery.bands",
                        format!(
                            "a {} product names its own bands, and none has a number",
                            product.kind
                        ),
                    )
                    .with_fact(product.name.clone(), known())
                    .with_hint("leave imagery.bands out, and give an index by name or formula"));
                }
                let Some(band) = product.bands.iter().find(|band| band.band == name) else {
                    return Err(AppError::refused(
                        "imagery.bands",
                        format!(
                            "the index {} needs the band {name}, and the product has none",
                            imagery.index
                        ),
                    )
                    .with_fact(format!("{} ({})", product.name, product.kind), known())
                    .with_hint("choose an index of the bands that are there, or another sensor"));
                };
                Ok(Requirement {
                    path: band.path.clone(),
                    number: Some(1),
                    own: Some(band.clone()),
                })
            }
        }
    }

    /// Adds to a file's facts what job and product know better: the number that stands for no data, and the day.
    pub(crate) fn completed(&self, imagery: &Imagery, mut facts: RasterFacts) -> RasterFacts {
        if let Some(product) = self.product() {
            facts.acquired = facts.acquired.or(product.acquired);
            // Factors of the job's own say that the stored numbers are others than the product's.
            let valid =
                Some(product.valid).filter(|_| imagery.scale.is_none() && imagery.offset.is_none());
            for band in &mut facts.bands {
                band.valid = valid;
            }
        }
        if let Some(nodata) = imagery
            .nodata
            .or(self.product().map(|product| product.nodata))
        {
            for band in &mut facts.bands {
                band.nodata = Some(nodata);
            }
        }
        facts
    }
}

/// Scale and offset of a band: by the job, else by its product, else by its file, else 1 and 0.
pub(crate) fn scaling(
    imagery: &Imagery,
    index: &Index,
    requirement: &Requirement,
    file: &RasterFacts,
    band: usize,
) -> Result<(f64, f64), AppError> {
    let fact = &file.bands[band - 1];
    if let Some(own) = &requirement.own {
        let offset = match (imagery.offset, &own.offset) {
            (Some(given), _) => given,
            (None, Ok(own)) => *own,
            (None, Err(reason)) => {
                return Err(AppError::refused("imagery.offset", format!("nobody can say which offset band {} has", own.band))
                    .with_fact(requirement.path.display().to_string(), reason.clone())
                    .with_hint("ask where the files come from, and write imagery.offset (Sentinel-2: 0 if it was removed, -0.1 if it is still in the pixels), and imagery.scale where that is unclear too"));
            }
        };
        return Ok((imagery.scale.unwrap_or(own.scale), offset));
    }
    let (scale, offset) = (
        imagery.scale.or(fact.scale).unwrap_or(1.0),
        imagery.offset.or(fact.offset),
    );
    if offset.is_none_or(|offset| offset == 0.0 && imagery.offset.is_none())
        && index.offset_free() != Some(true)
        && index.ready_band().is_none()
        && let Some(hint) = lone_file(&requirement.path)
    {
        return Err(AppError::refused(
            "imagery.offset",
            "a single file of a satellite product does not say which offset its numbers have",
        )
        .with_fact(
            requirement.path.display().to_string(),
            "its name is that of a product's band",
        )
        .with_hint(hint));
    }
    Ok((scale, offset.unwrap_or(0.0)))
}

/// Whether another unit of reflectance would change an index: as its catalogue says, else by trying it.
pub(crate) fn depends_on_scale(index: &Index) -> bool {
    if index.ready_band().is_some() {
        return false;
    }
    if let Some(free) = index.scale_free() {
        return !free;
    }
    let value = |factor: f64| {
        let rows: Vec<[f64; 1]> = (0..index.bands().len())
            .map(|k| [factor * (0.05 + 0.11 * k as f64)])
            .collect();
        let rows: Vec<&[f64]> = rows.iter().map(<[f64; 1]>::as_slice).collect();
        let mut out = [f64::NAN];
        index.evaluate_row(&rows, &mut Scratch::default(), &mut out);
        out[0]
    };
    let (one, other) = (value(1.0), value(1.7));
    // A formula without a value there cannot be told: on the safe side.
    one.is_nan() || other.is_nan() || (one - other).abs() > 1e-9 * one.abs().max(1.0)
}

/// Why the numbers of a band are no measurement, if they are none.
pub(crate) fn no_measurement(band: &BandFacts) -> Option<&'static str> {
    if band.alpha {
        return Some("is the alpha band, no measurement");
    }
    if band.palette {
        return Some("holds places in a palette of colours, no measurement");
    }
    // GDAL's complex types have no name in its Rust interface; reading them as real numbers would drop half of each without a word.
    (band.kind == "Unknown")
        .then_some("holds numbers of no real type (complex ones?), whose meaning is unknown")
}

/// Says where the numbers of a file are not those that a sensor gave.
pub(crate) fn as_stored(files: &[RasterFacts], findings: &mut Vec<Finding>) {
    for file in files {
        if file.lossy {
            findings.push(Finding::caution(
                codes::IMAGE_LOSSY,
                format!("{} is stored with loss, as pictures are: its numbers lie near what was measured, and the index with them; export it with DEFLATE, LZW or ZSTD", file.path.display()),
            ));
        }
        if file.resampled {
            findings.push(Finding::caution(
                codes::IMAGE_RESAMPLED,
                format!("{} makes its pixels out of others (it warps its sources or gives them another pixel size): they are mixtures, so edges of strips and field are less sharp than the pixel size says; give the sources themselves", file.path.display()),
            ));
        }
    }
}

/// What should give pause about the bands of a product that are used.
pub(crate) fn product_cautions(
    imagery: &Imagery,
    source: &Source,
    used: &[String],
    findings: &mut Vec<Finding>,
) {
    if imagery.scale.is_some() && imagery.offset.is_some() {
        return;
    }
    let cautions = source
        .product()
        .into_iter()
        .flat_map(|product| &product.cautions)
        .filter(|(band, _)| used.contains(band));
    findings
        .extend(cautions.map(|(_, notice)| Finding::caution(codes::IMAGE_FACTORS, notice.clone())));
}

/// What an image says of itself, and whether it is a product: that one as if it were one file, with its finest lattice, its day and the names of its bands.
pub(crate) fn described(path: &Path, folder: &Path) -> Result<(RasterFacts, bool), AppError> {
    let product = match find(path)? {
        Found::Raster(path) => return Ok((facts(&path, folder)?, false)),
        Found::Product(product) => product,
    };
    let mut bands = Vec::new();
    let mut finest: Option<RasterFacts> = None;
    for band in &product.bands {
        let one = facts(&band.path, folder)?;
        bands.extend(one.bands.first().map(|fact| BandFacts {
            description: band.band.clone(),
            ..fact.clone()
        }));
        let size = |facts: &RasterFacts| facts.lattice.affine.determinant().abs();
        if finest.as_ref().is_none_or(|known| size(&one) < size(known)) {
            finest = Some(one);
        }
    }
    let finest = finest.ok_or_else(|| {
        AppError::refused("image.product", "the product has no bands")
            .with_fact(path.display().to_string(), product.name.clone())
            .with_hint("fetch it whole")
    })?;
    Ok((
        RasterFacts {
            path: path.to_owned(),
            acquired: product.acquired,
            bands,
            ..finest
        },
        true,
    ))
}

/// The mask in force: the job's, else the product's own. With it, what was read.
pub(crate) fn mask(
    imagery: &Imagery,
    source: &Source,
    folder: &Path,
    (network, shelf): (bool, Option<&Arc<Shelf>>),
    findings: &mut Vec<Finding>,
) -> Result<Option<MaskSpec>, AppError> {
    let product = source.product();
    let wording = match (product, &imagery.mask) {
        (None, None) => return Ok(None),
        (Some(product), None) => Some(format!(
            "{}: {}; masked by {}",
            product.name, product.note, product.mask_note
        )),
        (Some(product), Some(_)) => Some(format!(
            "{}: {}; masked as the job says",
            product.name, product.note
        )),
        (None, Some(_)) => None,
    };
    findings.extend(wording.map(|wording| Finding::note(codes::IMAGE_PRODUCT, wording)));
    let mut specs = Vec::new();
    match &imagery.mask {
        Some(mask) => {
            for mask in std::iter::once(mask).chain(&mask.and) {
                specs.push(own_mask(mask, product, folder, (network, shelf))?);
            }
        }
        None => {
            for mask in product.into_iter().flat_map(|product| &product.masks) {
                let facts = facts_of(&mask.path, folder, shelf)?;
                specs.push(MaskSpec {
                    path: mask.path.clone(),
                    facts,
                    band: 1,
                    rule: mask.rule.clone(),
                    grow: f64::from(mask.grow_m),
                    and: Vec::new(),
                });
            }
        }
    }
    let mut specs = specs.into_iter();
    Ok(specs.next().map(|first| MaskSpec {
        and: specs.collect(),
        ..first
    }))
}

fn own_mask(
    mask: &Mask,
    product: Option<&Product>,
    folder: &Path,
    (network, shelf): (bool, Option<&Arc<Shelf>>),
) -> Result<MaskSpec, AppError> {
    let path = match (
        &mask.path,
        product.and_then(|product| product.masks.first()),
    ) {
        (Some(path), _) => {
            refuse_network(path, network)?;
            into_archive(path)
        }
        (None, Some(own)) => own.path.clone(),
        (None, None) => {
            return Err(AppError::refused(
                "imagery.mask",
                "a mask without a path is the product's own, and the image is no product",
            )
            .with_hint("write mask = { path = \"classes.tif\", keep = [4, 5] }"));
        }
    };
    let facts = facts_of(&path, folder, shelf)?;
    if mask.band > facts.bands.len() {
        return Err(AppError::refused(
            "imagery.mask",
            format!(
                "band {} of the mask was asked for, but it has {}",
                mask.band,
                facts.bands.len()
            ),
        )
        .with_fact(path.display().to_string(), "mask")
        .with_hint("count bands from 1 in imagery.mask"));
    }
    let rule = match &mask.rule {
        MaskSetting::Keep(classes) => MaskRule::Keep(classes.clone()),
        MaskSetting::Bits(bits) => MaskRule::Bits(bits.clone()),
    };
    Ok(MaskSpec {
        path,
        facts,
        band: mask.band,
        rule,
        grow: mask.grow.get(),
        and: Vec::new(),
    })
}

/// The files on disk behind opened rasters: archives for what lies in them, sources of virtual ones, files beside them that change what is read.
pub(crate) fn on_disk(
    files: &[RasterFacts],
    mask: Option<&MaskSpec>,
    product: Option<&Product>,
) -> Vec<PathBuf> {
    let masks = mask
        .into_iter()
        .flat_map(|mask| std::iter::once(mask).chain(&mask.and))
        .map(|mask| &mask.facts);
    let rasters = files
        .iter()
        .chain(masks)
        .flat_map(|facts| std::iter::once(&facts.path).chain(&facts.beside));
    let product = product
        .into_iter()
        .flat_map(|product| product.read.iter().cloned());
    rasters
        .map(|path| out_of_archive(path).map_or_else(|| path.clone(), |(archive, _)| archive))
        .chain(product)
        .collect()
}

/// A path as the record shows it: below the job's folder relative to it, with an archive's entry after the archive.
pub(crate) fn shown(path: &Path, folder: &Path) -> String {
    out_of_archive(path).map_or_else(
        || below(path, folder),
        |(archive, entry)| format!("{}/{entry}", below(&archive, folder)),
    )
}

/// Says when pixels are too coarse for the zones of a small field.
pub(crate) fn coarse(pixel_m: f64, area_m2: f64, findings: &mut Vec<Finding>) {
    // Square pixels of a projection differ from their nominal size by its scale.
    if pixel_m > 0.99 * COARSE_PIXEL_M && area_m2 < SMALL_FIELD_M2 {
        findings.push(Finding::caution(
            codes::IMAGE_COARSE,
            format!(
                "pixels of {} are coarse for zones of a field of {}, below {}: most of them mix the crop with what lies beside the field",
                Length::m(pixel_m).both(),
                Area::m2(area_m2).both(),
                Area::m2(SMALL_FIELD_M2).both()
            ),
        ));
    }
}
