//! The images of a farm: those that its file lists, and the scenes of its catalogue.

use std::path::{Path, PathBuf};

use crate::app::error::AppError;
use crate::app::open::refuse_network;
use crate::app::requests::Common;
use crate::format::stac;
use crate::format::stac::Scene;
use crate::job::farm::{Catalogue, FarmSettings, SceneImage, scene_image};
use toml::Table;

/// An image that a field may take.
#[derive(Clone, Debug)]
pub(super) struct FarmImage {
    /// Its keys of `[imagery]`.
    pub(super) keys: Table,
    /// Its first file or its scene, for people.
    pub(super) name: String,
    /// Its day, as text.
    pub(super) date: String,
    /// Its one file, if it is one.
    pub(super) file: Option<PathBuf>,
    /// West, south, east, north in longitude and latitude, where a catalogue says so. \[°\]
    pub(super) bounds: Option<[f64; 4]>,
}

/// Every image, the newest first; of one day in the order of the file.
///
/// # Errors
/// A catalogue that cannot be read or names what it must not.
pub(super) fn images(
    folder: &Path,
    settings: &FarmSettings,
    common: &Common,
) -> Result<Vec<FarmImage>, AppError> {
    let mut all: Vec<FarmImage> = settings
        .images()
        .iter()
        .map(|keys| FarmImage {
            name: FarmSettings::file(keys).unwrap_or_default().to_owned(),
            date: settings.day(keys).unwrap_or_default(),
            file: FarmSettings::file(keys).map(|file| folder.join(file)),
            bounds: None,
            keys: keys.clone(),
        })
        .collect();
    if let Some(catalogue) = &settings.catalogue {
        let path = folder.join(&catalogue.path);
        refuse_network(&path, common.network)?;
        let scenes = stac::read(&path).map_err(|error| {
            AppError::refused("farm.catalogue", error.to_string())
                .with_fact(path.display().to_string(), "catalogue of scenes")
                .with_hint("give a static STAC catalogue whose items and assets lie in its folder")
        })?;
        let before = all.len();
        for scene in &scenes {
            all.extend(image_of(folder, catalogue, scene));
        }
        if all.len() == before {
            return Err(no_scene(&path, catalogue, &scenes));
        }
    }
    all.sort_by(|a, b| b.date.cmp(&a.date));
    Ok(all)
}

/// The image of a scene; `None` where a band is missing, or the scene is under cloud.
fn image_of(folder: &Path, catalogue: &Catalogue, scene: &Scene) -> Option<FarmImage> {
    if scene
        .cloud
        .is_some_and(|cloud| cloud > catalogue.maximum_cloud)
    {
        return None;
    }
    let below = |path: &Path| {
        let path = path.strip_prefix(folder).unwrap_or(path);
        path.to_string_lossy().into_owned()
    };
    let mut bands = Vec::new();
    let mut stated = Vec::new();
    for (band, asset) in &catalogue.bands {
        let (file, numbers) = scene.assets.get(asset)?;
        bands.push((band.clone(), below(file)));
        stated.push(*numbers);
    }
    let mask = match &catalogue.mask {
        Some(asset) => Some(below(&scene.assets.get(asset)?.0)),
        None => None,
    };
    // Numbers that differ between bands are left to the files themselves, which say them too as a rule.
    let first = *stated.first()?;
    let same = stated.iter().all(|other| *other == first);
    let keys = scene_image(&SceneImage {
        bands: &bands,
        date: scene.date,
        mask: mask.as_deref(),
        stated: if same {
            [first.scale, first.offset, first.nodata]
        } else {
            [None; 3]
        },
    });
    Some(FarmImage {
        keys,
        name: scene.id.clone(),
        date: scene.date.to_string(),
        file: None,
        bounds: scene.bounds,
    })
}

fn no_scene(path: &Path, catalogue: &Catalogue, scenes: &[Scene]) -> AppError {
    let requirement: Vec<&str> = catalogue
        .bands
        .iter()
        .map(|(_, asset)| asset.as_str())
        .chain(catalogue.mask.as_deref())
        .collect();
    let notice = AppError::refused("farm.catalogue", "the catalogue has no scene that serves")
        .with_fact(
            path.display().to_string(),
            format!(
                "{} scenes; assets asked for: {}",
                scenes.len(),
                requirement.join(", ")
            ),
        );
    let notice = match scenes.first() {
        Some(scene) => notice.with_fact(
            format!("scene {}", scene.id),
            format!(
                "assets on disk: {}",
                scene.assets.keys().cloned().collect::<Vec<_>>().join(", ")
            ),
        ),
        None => notice,
    };
    notice.with_hint("name the assets in catalogue.bands and catalogue.mask as the items do, and look at maximum_cloud")
}

/// Files of scenes, which a run may read.
pub(super) fn files(folder: &Path, images: &[FarmImage]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for image in images.iter().filter(|image| image.file.is_none()) {
        found.extend(
            FarmSettings::files_of_image(&image.keys)
                .into_iter()
                .map(|file| folder.join(file)),
        );
    }
    found
}
