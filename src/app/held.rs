//! What a run over many fields reads once: layers, what images say of themselves, hashes of files. Nothing here changes what a field's job comes to.

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::app::commit::sha256_of_file;
use crate::app::error::AppError;
use crate::finding::Checked;
use crate::format::network::{Stated, stated};
use crate::format::raster::{Shelf, listed};
use crate::format::stamp::Stamp;
use crate::format::vector::VectorLayer;
use crate::format::weather;
use crate::format::weather::stations::{Station, StationsError};
use crate::format::weather::{WeatherError, WeatherTable, stations};
use crate::job::settings::VectorSource;
use geo::MultiPolygon;

/// A file as it was when it was hashed.
#[derive(Clone, Debug)]
pub(crate) struct Hashed {
    stamp: Option<Stamp>,
    /// Its size.
    pub(crate) bytes: u64,
    /// Its SHA-256.
    pub(crate) sha256: String,
}

/// Path, layer and filter of polygons.
type LayerKey = (PathBuf, Option<String>, Option<String>);

/// What was read, shared by all threads of a run.
#[derive(Debug, Default)]
pub(crate) struct Held {
    /// Images.
    pub(crate) shelf: Arc<Shelf>,
    layers: Mutex<HashMap<LayerKey, Arc<VectorLayer<MultiPolygon<f64>>>>>,
    files: Mutex<BTreeMap<PathBuf, Hashed>>,
    behind: Mutex<BTreeMap<PathBuf, Vec<PathBuf>>>,
    weather: Mutex<BTreeMap<PathBuf, Checked<WeatherTable>>>,
    stations: Mutex<BTreeMap<PathBuf, Vec<Station>>>,
    stated: Mutex<BTreeMap<PathBuf, Stated>>,
}

/// A record of weather, read once where many fields share it.
///
/// # Errors
/// As [`weather::read`].
pub(crate) fn weather_of(
    path: &Path,
    held: Option<&Held>,
) -> Result<Checked<WeatherTable>, WeatherError> {
    let Some(held) = held else {
        return weather::read(path);
    };
    if let Some(known) = lock(&held.weather).get(path) {
        return Ok(known.clone());
    }
    let found = weather::read(path)?;
    lock(&held.weather).insert(path.to_owned(), found.clone());
    Ok(found)
}

/// A list of stations, read once where many fields share it.
///
/// # Errors
/// As [`stations::read`].
pub(crate) fn stations_of(path: &Path, held: Option<&Held>) -> Result<Vec<Station>, StationsError> {
    let Some(held) = held else {
        return stations::read(path);
    };
    if let Some(known) = lock(&held.stations).get(path) {
        return Ok(known.clone());
    }
    let found = stations::read(path)?;
    lock(&held.stations).insert(path.to_owned(), found.clone());
    Ok(found)
}

/// A job out of memory, and what its run has read already.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reading<'a> {
    /// The text of the job.
    pub(crate) text: &'a str,
    /// What was read.
    pub(crate) held: &'a Held,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

fn key_of(source: &VectorSource) -> LayerKey {
    (
        source.path.clone(),
        source.layer.clone(),
        source.filter.clone(),
    )
}

impl Held {
    /// With room for decoded pixels \[B\], and a folder for copies of images that are slow to decode.
    pub(crate) fn new(room: usize, copies: PathBuf) -> Self {
        Self {
            shelf: Arc::new(Shelf::new(room, Some(copies))),
            ..Self::default()
        }
    }

    /// Keeps polygons that a filter would give.
    pub(crate) fn keep_layer(&self, source: &VectorSource, layer: VectorLayer<MultiPolygon<f64>>) {
        lock(&self.layers).insert(key_of(source), Arc::new(layer));
    }

    /// Polygons that are held.
    pub(crate) fn layer(
        &self,
        source: &VectorSource,
    ) -> Option<Arc<VectorLayer<MultiPolygon<f64>>>> {
        lock(&self.layers).get(&key_of(source)).cloned()
    }

    /// What the server of a file on a network says of it, asked until it answers once.
    pub(crate) fn stated(&self, path: &Path) -> Result<Stated, String> {
        if let Some(known) = lock(&self.stated).get(path) {
            return Ok(known.clone());
        }
        let said = stated(path)?;
        lock(&self.stated).insert(path.to_owned(), said.clone());
        Ok(said)
    }

    /// Files that an image is read from besides itself, and of a folder all that lies in it, looked up once.
    pub(crate) fn behind(&self, image: &Path, home: &Path) -> Vec<PathBuf> {
        if let Some(known) = lock(&self.behind).get(image) {
            return known.clone();
        }
        let found = if image.is_dir() {
            let mut all = Vec::new();
            below(image, &mut all);
            all.sort();
            all
        } else {
            listed(image, home)
        };
        lock(&self.behind).insert(image.to_owned(), found.clone());
        found
    }

    /// Size and hash of a file, read once.
    ///
    /// # Errors
    /// When it cannot be read, or is no longer what it was when it was hashed.
    pub(crate) fn hashed(&self, path: &Path) -> Result<Hashed, AppError> {
        let known = lock(&self.files).get(path).cloned();
        let stamp = Stamp::of(path);
        if let Some(known) = known {
            return if known.stamp == stamp {
                Ok(known)
            } else {
                Err(changed(path))
            };
        }
        let unreadable = |error: &std::io::Error| {
            AppError::refused("file.unreadable", "an input cannot be read")
                .with_fact(path.display().to_string(), error.to_string())
        };
        let bytes = fs_err::metadata(path)
            .map_err(|error| unreadable(&error))?
            .len();
        let sha256 = sha256_of_file(path).map_err(|error| unreadable(&error))?;
        if Stamp::of(path) != stamp {
            return Err(changed(path));
        }
        let hashed = Hashed {
            stamp,
            bytes,
            sha256,
        };
        self.shelf.name(path, &hashed.sha256);
        lock(&self.files).insert(path.to_owned(), hashed.clone());
        Ok(hashed)
    }

    /// Refuses the first of these files that is no longer what it was when it was hashed.
    ///
    /// # Errors
    /// Size, time or number of a file have changed.
    pub(crate) fn still(&self, paths: &[PathBuf]) -> Result<(), AppError> {
        let files = lock(&self.files);
        let gone = paths.iter().find(|path| {
            files
                .get(*path)
                .is_some_and(|known| Stamp::of(path) != known.stamp)
        });
        gone.map_or(Ok(()), |path| Err(changed(path)))
    }
}

/// Every file below a folder.
fn below(folder: &Path, found: &mut Vec<PathBuf>) {
    let entries = fs_err::read_dir(folder).into_iter().flatten();
    for entry in entries.filter_map(Result::ok) {
        let path = entry.path();
        if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
            below(&path, found);
        } else {
            found.push(path);
        }
    }
}

fn changed(path: &Path) -> AppError {
    AppError::refused("file.changed", "an input changed while it was read")
        .with_fact(
            path.display().to_string(),
            "is not what it was at the start",
        )
        .with_hint("let the program that writes it finish, and run again")
}
