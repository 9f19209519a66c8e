//! A static catalogue of scenes on disk: items with their day, bounds, cloud and assets, found from a catalogue, a collection, or a collection of items.
//!
//! # Source
//! `SpatioTemporal Asset Catalog` specification 1.0.0 (item, catalog, collection; extensions eo: `eo:cloud_cover` in per cent; raster: `raster:bands` with scale,
//! offset and nodata), from memory.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use serde_json::Value;

/// More than this is no catalogue file. (bytes)
const MAXIMUM_LENGTH: u64 = 64 << 20;
/// Scenes that are looked at.
const MAXIMUM_SCENES: usize = 100_000;

/// Why a catalogue cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum StacError {
    /// A file of it cannot be read.
    #[error("{path} cannot be read: {reason}", path = path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// A link or an asset leads out of the catalogue's folder.
    #[error("{path} names {href}, which lies outside of the catalogue's folder", path = path.display())]
    Outside {
        /// The file that names it.
        path: PathBuf,
        /// What it names.
        href: String,
    },
    /// It holds more scenes than are looked at.
    #[error("{path} holds more than {MAXIMUM_SCENES} scenes", path = path.display())]
    Many {
        /// The catalogue.
        path: PathBuf,
    },
}

/// How stored numbers of an asset become values, as the item says.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Stated {
    /// Reflectance in one stored count.
    pub scale: Option<f64>,
    /// Added after the scale.
    pub offset: Option<f64>,
    /// Stored number that stands for no data.
    pub nodata: Option<f64>,
}

/// One scene.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Scene {
    /// Its id.
    pub id: String,
    /// The day on which it was taken.
    pub date: Date,
    /// West, south, east, north in longitude and latitude. \[°\]
    pub bounds: Option<[f64; 4]>,
    /// Share of it under cloud.
    pub cloud: Option<f64>,
    /// Files by the names of the assets.
    pub assets: BTreeMap<String, (PathBuf, Stated)>,
}

/// Reads every scene of a catalogue, in no order that matters. Files and assets must lie in its folder; those on a network are left out.
///
/// # Errors
/// [`StacError`].
pub(crate) fn read(path: &Path) -> Result<Vec<Scene>, StacError> {
    let home = path.parent().unwrap_or_else(|| Path::new(""));
    let mut catalogue = Catalogue {
        home: really(home).map_err(|error| unreadable(path, &error))?,
        root: path.to_owned(),
        seen: BTreeSet::new(),
        scenes: Vec::new(),
    };
    catalogue.follow(path)?;
    Ok(catalogue.scenes)
}

fn unreadable(path: &Path, reason: &dyn std::fmt::Display) -> StacError {
    StacError::Read {
        path: path.to_owned(),
        reason: reason.to_string(),
    }
}

fn really(folder: &Path) -> std::io::Result<PathBuf> {
    fs_err::canonicalize(if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    })
}

struct Catalogue {
    home: PathBuf,
    root: PathBuf,
    seen: BTreeSet<PathBuf>,
    scenes: Vec<Scene>,
}

impl Catalogue {
    /// Reads a file and those that it leads to, one after the other: catalogues may be deep.
    fn follow(&mut self, first: &Path) -> Result<(), StacError> {
        let mut due = vec![first.to_owned()];
        while let Some(path) = due.pop() {
            let real = fs_err::canonicalize(&path).map_err(|error| unreadable(&path, &error))?;
            if !self.seen.insert(real) {
                continue;
            }
            if self.seen.len() > 2 * MAXIMUM_SCENES {
                return Err(StacError::Many {
                    path: self.root.clone(),
                });
            }
            let value = json(&path)?;
            match value["type"].as_str() {
                Some("Feature") => self.item(&path, &value)?,
                Some("FeatureCollection") => {
                    for item in value["features"].as_array().into_iter().flatten() {
                        self.item(&path, item)?;
                    }
                }
                _ => {
                    for link in value["links"].as_array().into_iter().flatten() {
                        let leads = matches!(link["rel"].as_str(), Some("child" | "item"));
                        if let Some(href) = link["href"].as_str().filter(|_| leads) {
                            due.extend(self.near(&path, href)?);
                        }
                    }
                }
            }
        }
        Ok(())
    }

    /// The file that is meant; `None` for one on a network.
    fn near(&self, from: &Path, href: &str) -> Result<Option<PathBuf>, StacError> {
        if href.contains("://") || href.to_ascii_lowercase().starts_with("/vsi") {
            return Ok(None);
        }
        let path = from.parent().unwrap_or_else(|| Path::new("")).join(href);
        let real = fs_err::canonicalize(&path).map_err(|error| unreadable(&path, &error))?;
        if real.starts_with(&self.home) {
            Ok(Some(plain(&path)))
        } else {
            Err(StacError::Outside {
                path: from.to_owned(),
                href: href.to_owned(),
            })
        }
    }

    fn item(&mut self, path: &Path, item: &Value) -> Result<(), StacError> {
        let properties = &item["properties"];
        let id = item["id"].as_str().unwrap_or_default().to_owned();
        let date = ["datetime", "start_datetime"]
            .iter()
            .find_map(|key| properties[*key].as_str()?.get(..10)?.parse().ok())
            .ok_or_else(|| unreadable(path, &format!("the item {id:?} has no day")))?;
        let numbers: Vec<f64> = item["bbox"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(Value::as_f64)
            .collect();
        let bounds = match numbers.as_slice() {
            [west, south, east, north] | [west, south, _, east, north, _] => {
                Some([*west, *south, *east, *north])
            }
            _ => None,
        };
        let mut assets = BTreeMap::new();
        for (name, asset) in item["assets"].as_object().into_iter().flatten() {
            let Some(href) = asset["href"].as_str() else {
                continue;
            };
            if let Some(file) = self.near(path, href)? {
                let band = &asset["raster:bands"][0];
                let stated = Stated {
                    scale: band["scale"].as_f64(),
                    offset: band["offset"].as_f64(),
                    nodata: band["nodata"].as_f64(),
                };
                assets.insert(name.clone(), (file, stated));
            }
        }
        if self.scenes.len() >= MAXIMUM_SCENES {
            return Err(StacError::Many {
                path: self.root.clone(),
            });
        }
        self.scenes.push(Scene {
            id,
            date,
            bounds,
            cloud: properties["eo:cloud_cover"]
                .as_f64()
                .map(|cent| cent / 100.0),
            assets,
        });
        Ok(())
    }
}

/// A path without `.` and without folders that are left again.
fn plain(path: &Path) -> PathBuf {
    use std::path::Component;
    let mut out = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if out.file_name().is_some() => {
                out.pop();
            }
            other => out.push(other),
        }
    }
    out
}

fn json(path: &Path) -> Result<Value, StacError> {
    let found = fs_err::metadata(path).map_err(|error| unreadable(path, &error))?;
    if !found.is_file() || found.len() > MAXIMUM_LENGTH {
        return Err(unreadable(path, &"it is no file of a catalogue"));
    }
    let bytes = fs_err::read(path).map_err(|error| unreadable(path, &error))?;
    serde_json::from_slice(&bytes).map_err(|error| unreadable(path, &error))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn item(id: &str, day: &str, href: &str) -> String {
        format!(
            r#"{{"type":"Feature","stac_version":"1.0.0","id":"{id}","bbox":[14.0,49.0,15.0,50.0],
            "properties":{{"datetime":"{day}T10:12:00Z","eo:cloud_cover":25}},
            "assets":{{"red":{{"href":"{href}","raster:bands":[{{"scale":0.0001,"offset":-0.1,"nodata":0}}]}},"far":{{"href":"https://host.invalid/a.tif"}}}}}}"#
        )
    }

    #[test]
    fn scenes_are_found_from_a_catalogue_down() {
        let scratch = tempfile::tempdir().unwrap();
        let at = |name: &str| scratch.path().join(name);
        fs_err::create_dir_all(at("scenes/a")).unwrap();
        fs_err::write(at("scenes/a/b4.tif"), "").unwrap();
        fs_err::write(at("catalog.json"), r#"{"type":"Catalog","links":[{"rel":"self","href":"catalog.json"},{"rel":"child","href":"./scenes/collection.json"}]}"#).unwrap();
        fs_err::write(at("scenes/collection.json"), r#"{"type":"Collection","links":[{"rel":"item","href":"a/a.json"},{"rel":"root","href":"../catalog.json"},{"rel":"child","href":"../catalog.json"}]}"#).unwrap();
        fs_err::write(at("scenes/a/a.json"), item("a", "2026-04-14", "./b4.tif")).unwrap();
        let scenes = read(&at("catalog.json")).unwrap();
        assert_eq!(scenes.len(), 1);
        let scene = &scenes[0];
        assert_eq!(
            (scene.date.to_string().as_str(), scene.cloud),
            ("2026-04-14", Some(0.25))
        );
        assert_eq!(scene.bounds, Some([14.0, 49.0, 15.0, 50.0]));
        let stated = Stated {
            scale: Some(0.0001),
            offset: Some(-0.1),
            nodata: Some(0.0),
        };
        assert_eq!(scene.assets["red"], (at("scenes/a/b4.tif"), stated));
        assert_eq!(scene.assets.len(), 1, "what lies on a network is left out");
    }

    #[test]
    fn nothing_leads_out_of_the_folder() {
        let scratch = tempfile::tempdir().unwrap();
        let home = scratch.path().join("home");
        fs_err::create_dir(&home).unwrap();
        fs_err::write(scratch.path().join("b4.tif"), "").unwrap();
        let path = home.join("item.json");
        fs_err::write(&path, item("a", "2026-04-14", "../b4.tif")).unwrap();
        assert!(matches!(read(&path), Err(StacError::Outside { .. })));
        fs_err::write(&path, item("a", "2026-04-14", "b5.tif")).unwrap();
        assert!(matches!(read(&path), Err(StacError::Read { .. })));
        fs_err::write(&path, item("a", "in April", "item.json")).unwrap();
        assert!(read(&path).is_err());
    }
}
