//! `picture`: one figure of the paper alone, as SVG or PNG.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use crate::app::error::AppError;
use crate::app::map::drawn;
use crate::app::progress::Progress;
use crate::app::requests::Common;
use crate::report::draw::drawing::Drawing;
use crate::report::draw::png::picture as png_of;
use crate::report::draw::svg::svg;
use crate::report::model::{Block, Report, Row};
pub use crate::report::paper::Subject;

/// Pixels across a picture unless told otherwise.
pub const DEFAULT_WIDTH: u32 = 1440;
/// Most pixels across: what a wall would take, and no more memory than a map.
pub const MAXIMUM_WIDTH: u32 = 10_000;

/// Which picture, and where to.
#[derive(Clone, Debug)]
pub struct PictureRequest {
    /// The job file.
    pub job: PathBuf,
    /// What it shows.
    pub subject: Subject,
    /// The file; its ending says which kind.
    pub output: PathBuf,
    /// Pixels across, for a PNG.
    pub width: u32,
    /// Whether a file that is there may be replaced.
    pub overwrite: bool,
    /// What every command may be told.
    pub common: Common,
}

/// Draws one figure of a job's paper.
///
/// # Errors
/// When the job is refused, there is nothing to draw, or the file cannot be written.
pub fn picture(request: &PictureRequest, progress: &dyn Progress) -> Result<Report, AppError> {
    let end = request
        .output
        .extension()
        .map(|end| end.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    if !matches!(end.as_str(), "svg" | "png") {
        return Err(
            AppError::refused("picture.kind", "a picture is an SVG or a PNG")
                .with_fact("--output", request.output.display().to_string())
                .with_hint("end the file's name in .svg or .png"),
        );
    }
    if request.output.exists() && !request.overwrite {
        return Err(
            AppError::refused("picture.exists", "a file of that name is there already")
                .with_fact("--output", request.output.display().to_string())
                .with_hint("give another name with --output, or replace it with --overwrite"),
        );
    }
    let (drawing, map_id, findings, stopped) =
        drawn(&request.job, request.subject, &request.common, progress)?;
    let Some(drawing) = drawing else {
        return Err(AppError::refused(
            "picture.nothing",
            format!(
                "this job has nothing to draw for {:?}",
                request.subject.word()
            ),
        )
        .with_hint(
            "a strip's profile needs a strip on fine pixels; a response needs a method with yields",
        ));
    };
    let bytes = bytes(&drawing, &end, request.width)?;
    write(&request.output, &bytes, request.overwrite)?;
    let size = bytes.len() as u64;
    let json = serde_json::json!({ "map_id": map_id, "what": request.subject.word(), "file": request.output.display().to_string(), "bytes": size });
    Ok(Report {
        title: drawing.title.clone(),
        brief: None,
        blocks: vec![Block::rows(
            "",
            vec![Row::new(
                request.output.display().to_string(),
                format!("{size} bytes"),
            )],
        )],
        json,
        findings,
        files: Vec::new(),
        stopped,
    })
}

fn bytes(drawing: &Drawing, end: &str, width: u32) -> Result<Vec<u8>, AppError> {
    if end == "svg" {
        return Ok(format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}",
            svg(drawing)
        )
        .into_bytes());
    }
    png_of(drawing, width.clamp(64, MAXIMUM_WIDTH))
        .ok_or_else(|| AppError::fault("picture.png", "the picture could not be painted"))
}

/// Writes beside the place and renames, so that a picture is whole or not there.
fn write(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), AppError> {
    let unwritable = |error: &std::io::Error| {
        AppError::refused("picture.write", "the picture cannot be written")
            .with_fact(path.display().to_string(), error.to_string())
            .with_hint("choose a folder that you may write to")
    };
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or_else(|| Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".haulm-picture-");
    // As any file of the user, not closed to everybody else as temporary files are; the process's mask still holds.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder
        .tempfile_in(folder)
        .map_err(|error| unwritable(&error))?;
    file.write_all(bytes)
        .and_then(|()| file.as_file().sync_all())
        .map_err(|error| unwritable(&error))?;
    let done = if overwrite {
        file.persist(path)
    } else {
        file.persist_noclobber(path)
    };
    done.map(|_| ()).map_err(|error| unwritable(&error.error))
}
