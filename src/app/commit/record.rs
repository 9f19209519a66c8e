//! How a folder says that haulm made it: two keys of the run's record.

use std::path::Path;

use serde_json::{Value, json};

use crate::app::commit::hash::sha256_hex;
use crate::app::error::AppError;
use crate::format::payload::Payload;

/// Where the record stands below the output folder.
pub const RECORD_PATH: &str = "office/record.json";
/// Where the record of a stick stands: another place, so that no run takes a stick for its own output folder, nor the other way round.
pub const STICK_RECORD: &str = "haulm.json";

/// Key of the record that names the program: a text that begins with `haulm `.
pub const MADE_BY: &str = "made_by";
/// Key of the record that lists the run's files, without the record itself.
pub const OUTPUTS: &str = "outputs";

/// An output as the record lists it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Listed {
    /// Below the output folder.
    pub(crate) path: String,
    /// Its SHA-256.
    pub(crate) sha256: String,
}

/// The value of the record's `made_by`.
pub fn made_by() -> Value {
    json!(concat!("haulm ", env!("CARGO_PKG_VERSION")))
}

/// The value of the record's `outputs` for these files (all but the record itself), in their order.
pub fn outputs(files: &[Payload]) -> Value {
    let listed = files.iter().filter(|file| !is_record(&file.path));
    Value::Array(listed.map(|file| json!({ "path": file.path, "bytes": file.bytes.len(), "sha256": sha256_hex(&file.bytes) })).collect())
}

/// What a record lists; `None` when it is not a record of haulm, or a list that haulm would not have written.
pub(crate) fn listed(record: &[u8]) -> Option<Vec<Listed>> {
    let record: Value = serde_json::from_slice(record).ok()?;
    if !record.get(MADE_BY)?.as_str()?.starts_with("haulm ") {
        return None;
    }
    let list = record.get(OUTPUTS)?.as_array()?;
    list.iter()
        .map(|item| {
            let path = item.get("path")?.as_str()?.to_owned();
            let sha256 = item.get("sha256")?.as_str()?.to_owned();
            is_plain(&path).then_some(Listed { path, sha256 })
        })
        .collect()
}

/// Reads the record of a folder at the place where its kind has it, if there is one of haulm.
pub(crate) fn of_folder(folder: &Path, record: &str) -> Option<Vec<Listed>> {
    listed(&fs_err::read(folder.join(record)).ok()?)
}

/// Whether a path is that of a record, of a run or of a stick.
pub(crate) fn is_record(path: &str) -> bool {
    path == RECORD_PATH || path == STICK_RECORD
}

/// Refuses a folder that holds the outputs of another job: of a field of another name, or of a job file of another name.
///
/// # Errors
/// When the folder holds such.
pub fn of_another_job(folder: &Path, job: &Path, field: &str) -> Result<(), AppError> {
    let Some(record) = fs_err::read(folder.join(RECORD_PATH))
        .ok()
        .filter(|bytes| listed(bytes).is_some())
        .and_then(|bytes| serde_json::from_slice::<Value>(&bytes).ok())
    else {
        return Ok(());
    };
    let name = |path: &Path| {
        path.file_name()
            .map(|name| name.to_string_lossy().into_owned())
    };
    let own_job = record["inputs"][0]["path"]
        .as_str()
        .and_then(|path| name(Path::new(path)));
    let own_field = record["field"]["name"].as_str();
    let same_field = own_field.is_none_or(|own| own == field);
    let same_job = own_job.is_none() || own_job == name(job);
    if same_field && same_job {
        return Ok(());
    }
    let map_id = record["map_id"].as_str().unwrap_or("unknown");
    Err(AppError::refused(
        "output.other_job",
        "the output folder holds the map of another job",
    )
    .with_fact(
        folder.display().to_string(),
        format!(
            "map {map_id} of {:?}, by {}",
            own_field.unwrap_or("unknown"),
            own_job.as_deref().unwrap_or("an unknown job")
        ),
    )
    .with_fact("this job", format!("{field:?}, {}", job.display()))
    .with_hint("give another folder with --output or output.folder; --overwrite replaces that map"))
}

/// Whether a path stays below the folder and is spelt in one way only.
pub(crate) fn is_plain(path: &str) -> bool {
    !path.is_empty()
        && !path.contains(['\\', '\0'])
        && path.split('/').all(|part| {
            !part.is_empty() && part != "." && part != ".." && !part.starts_with(".haulm")
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_our_own_record_counts() {
        let files = [Payload::new("machine/CARD.txt", b"card".to_vec())];
        let record = json!({ "made_by": made_by(), "outputs": outputs(&files) });
        let read = listed(record.to_string().as_bytes()).unwrap();
        assert_eq!(
            read,
            [Listed {
                path: "machine/CARD.txt".to_owned(),
                sha256: sha256_hex(b"card")
            }]
        );
        for other in [
            json!({ "outputs": [] }),
            json!({ "made_by": "something else", "outputs": [] }),
            json!({ "made_by": "haulm 1", "outputs": [{ "path": "../../home", "sha256": "" }] }),
            json!({ "made_by": "haulm 1", "outputs": [{ "path": "/etc/passwd", "sha256": "" }] }),
        ] {
            assert_eq!(listed(other.to_string().as_bytes()), None, "{other}");
        }
    }
}
