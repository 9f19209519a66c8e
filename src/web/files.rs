//! Files that come to the page and go from it.

use std::io::{Read as _, Write as _};
use std::path::{Component, Path};

use axum::body::Body;
use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::{Value, json};
use tokio_stream::StreamExt as _;

use crate::app::error::AppError;
use crate::app::job::read_map_job;
use crate::app::map::map;
use crate::app::photo::Photo;
use crate::app::progress::Silent;
use crate::app::requests::{Common, MapOptions};
use crate::web::job::Job;
use crate::web::refusal::Refusal;
use crate::web::state::Shared;

/// Largest file that is taken. \[bytes\]
const MAXIMUM_FILE: u64 = 2_000_000_000;

/// Endings that are kept; a file of any other is not taken.
const ENDINGS: &[&str] = &[
    "tif", "tiff", "jp2", "img", "vrt", "png", "wld", "tfw", "aux", "xml", "ovr", "geojson",
    "json", "gpkg", "shp", "shx", "dbf", "prj", "cpg", "kml", "kmz", "fgb", "csv", "zip", "txt",
];

/// What a file is.
#[derive(Clone, Debug, Deserialize)]
pub(crate) struct Upload {
    kind: String,
    set: String,
    name: String,
}

/// Takes a file into the page's folder, under a name of our own, piece by piece.
pub(crate) async fn take(shared: &Shared, asked: &Upload, body: Body) -> Result<String, Refusal> {
    let kind = ["image", "boundary", "strips", "weather"]
        .into_iter()
        .find(|kind| *kind == asked.kind)
        .ok_or_else(|| Refusal::missing("kind of file"))?;
    let set = crate::web::routes::id_of(&asked.set)?;
    let ending = asked
        .name
        .rsplit('.')
        .next()
        .unwrap_or_default()
        .to_ascii_lowercase();
    if !asked.name.contains('.') || !ENDINGS.contains(&ending.as_str()) {
        return Err(AppError::refused("page.ending", "files of this kind are not taken")
            .with_fact("name", asked.name.clone())
            .with_hint("give an image (.tif), a boundary (.geojson, .gpkg, .shp with .shx, .dbf and .prj, .kml) or weather (.csv)")
            .into());
    }
    let under = format!("inputs/{set}");
    let file = format!("{under}/{kind}.{ending}");
    let (sender, mut receiver) = tokio::sync::mpsc::channel::<axum::body::Bytes>(8);
    let writer = {
        let (shared, file) = (shared.clone(), file.clone());
        tokio::task::spawn_blocking(move || -> std::io::Result<bool> {
            let folder = shared.folder();
            folder.create_dir_all(&under)?;
            let staged = format!("{file}.part");
            let mut out = folder.create(&staged)?;
            let mut whole = false;
            while let Some(piece) = receiver.blocking_recv() {
                // An empty piece says that all of it came.
                if piece.is_empty() {
                    whole = true;
                    break;
                }
                out.write_all(&piece)?;
            }
            if !whole {
                folder.remove_file(&staged)?;
                return Ok(false);
            }
            out.sync_all()?;
            folder.rename(&staged, folder, &file)?;
            Ok(true)
        })
    };
    let mut bytes = 0u64;
    let mut pieces = body.into_data_stream();
    let mut failed = None;
    while let Some(piece) = pieces.next().await {
        let Ok(piece) = piece else {
            failed = Some(Refusal::new(
                StatusCode::BAD_REQUEST,
                "page.cut",
                "the file broke off on the way",
            ));
            break;
        };
        bytes += piece.len() as u64;
        if bytes > MAXIMUM_FILE {
            failed = Some(Refusal::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                "page.size",
                format!(
                    "a file holds at most {} GB; name a larger one in the job file",
                    MAXIMUM_FILE / 1_000_000_000
                ),
            ));
            break;
        }
        if !piece.is_empty() && sender.send(piece).await.is_err() {
            break;
        }
    }
    if failed.is_none() {
        let _ = sender.send(axum::body::Bytes::new()).await;
    }
    drop(sender);
    let stored = writer
        .await
        .map_err(|error| AppError::fault("internal", error.to_string()))?;
    if let Some(failed) = failed {
        return Err(failed);
    }
    match stored {
        Ok(true) => Ok(file),
        Ok(false) => Err(Refusal::new(
            StatusCode::BAD_REQUEST,
            "page.cut",
            "the file broke off on the way",
        )),
        Err(error) => Err(AppError::refused("page.write", "the file cannot be stored")
            .with_fact(file, error.to_string())
            .into()),
    }
}

pub(crate) fn png(photo: &Photo) -> Result<Vec<u8>, AppError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, photo.cols as u32, photo.rows as u32);
    encoder.set_color(png::ColorType::Rgba);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    encoder
        .write_header()
        .and_then(|mut writer| writer.write_image_data(&photo.rgba))
        .map_err(|error| AppError::fault("page.png", error.to_string()))?;
    Ok(bytes)
}

/// Makes the map of the saved job: the same call as `haulm map`, so the same bytes.
pub(crate) fn make(shared: &Shared, job: &Job, common: &Common) -> Result<Value, AppError> {
    let shown = job.open(shared, common, false)?;
    if !shown.saved {
        return Err(AppError::refused(
            "page.unsaved",
            "the job is not saved, so no map is made of it",
        ));
    }
    let options = MapOptions {
        common: common.clone(),
        ..MapOptions::default()
    };
    let report = map(job.path(), &options, &Silent)?;
    let files: Vec<Value> = report
        .files
        .iter()
        .map(|(path, bytes)| json!({ "path": path, "bytes": bytes }))
        .collect();
    Ok(json!({
        "map_id": report.json["map_id"], "title": report.title, "stopped": report.stopped, "files": files,
        "totals": report.json["totals"],
    }))
}

/// Files of the job's output folder, as the record lists them, and the record itself.
fn listed(job: &Job) -> Option<(std::path::PathBuf, Vec<String>)> {
    let folder = read_map_job(job.path()).ok()?.value.output.folder;
    let record = fs_err::read(folder.join("office/record.json")).ok()?;
    let record: Value = serde_json::from_slice(&record).ok()?;
    let mut names: Vec<String> = record["outputs"]
        .as_array()?
        .iter()
        .filter_map(|output| output["path"].as_str().map(str::to_owned))
        .chain(["office/record.json".to_owned()])
        .collect();
    names.sort();
    // The record is a file like any other: what it names must still lie below its folder.
    let plain = |name: &String| {
        Path::new(name)
            .components()
            .all(|part| matches!(part, Component::Normal(_)))
    };
    names.retain(plain);
    Some((folder, names))
}

/// A file that `haulm map` wrote for the job, by its place in the sorted list, or all of them as one.
pub(crate) fn written(
    job: &Job,
    number: Option<usize>,
) -> Result<Option<(String, Vec<u8>)>, AppError> {
    let Some((folder, names)) = listed(job) else {
        return Ok(None);
    };
    let unread = |error: &std::io::Error| {
        AppError::refused("page.read", "a file of the map cannot be read")
            .with_fact("file", error.to_string())
    };
    let dir = cap_std::fs::Dir::open_ambient_dir(&folder, cap_std::ambient_authority())
        .map_err(|error| unread(&error))?;
    let read = |name: &str| -> Result<Vec<u8>, AppError> {
        let mut bytes = Vec::new();
        dir.open(name)
            .and_then(|file| file.take(MAXIMUM_FILE).read_to_end(&mut bytes))
            .map_err(|error| unread(&error))?;
        Ok(bytes)
    };
    let Some(number) = number else {
        let mut packed = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        let fault = |error: &dyn std::fmt::Display| AppError::fault("page.zip", error.to_string());
        for name in &names {
            packed
                .start_file(name.as_str(), zip::write::SimpleFileOptions::default())
                .map_err(|error| fault(&error))?;
            packed
                .write_all(&read(name)?)
                .map_err(|error| fault(&error))?;
        }
        let bytes = packed.finish().map_err(|error| fault(&error))?.into_inner();
        return Ok(Some(("map.zip".to_owned(), bytes)));
    };
    let Some(name) = names.get(number) else {
        return Ok(None);
    };
    let short: String = name
        .rsplit('/')
        .next()
        .unwrap_or_default()
        .chars()
        .filter(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-'))
        .collect();
    Ok(Some((short, read(name)?)))
}
