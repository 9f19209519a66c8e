//! Paths as the record shows them: below the job's folder relative to it, however the job's own path was spelled.

use std::path::{Path, PathBuf};

/// A folder, where there is none the working one.
fn folder_of(folder: &Path) -> &Path {
    if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    }
}

/// Where a file really lies, links to its folder followed; a link that is the file itself is the file that the job names.
fn really(path: &Path) -> Option<PathBuf> {
    let folder = fs_err::canonicalize(folder_of(path.parent()?)).ok()?;
    Some(folder.join(path.file_name()?))
}

/// A path below the job's folder relative to it, another as it is written; parts are parted by `/`.
pub(crate) fn below(path: &Path, folder: &Path) -> String {
    let inside = fs_err::canonicalize(folder_of(folder))
        .ok()
        .zip(really(path))
        .and_then(|(home, file)| file.strip_prefix(home).map(Path::to_owned).ok());
    let shown = inside.unwrap_or_else(|| path.strip_prefix(folder).unwrap_or(path).to_owned());
    if shown.has_root() {
        return shown.to_string_lossy().into_owned();
    }
    let parts: Vec<String> = shown
        .iter()
        .map(|part| part.to_string_lossy().into_owned())
        .collect();
    parts.join("/")
}

/// A message without the job's folder before the files that it names.
pub(crate) fn without_folder(message: &str, folder: &Path) -> String {
    let mut spelled = vec![folder.display().to_string()];
    spelled.extend(
        fs_err::canonicalize(folder_of(folder))
            .ok()
            .map(|home| home.display().to_string()),
    );
    spelled
        .into_iter()
        .filter(|folder| !folder.is_empty())
        .map(|folder| {
            if folder.ends_with('/') {
                folder
            } else {
                folder + "/"
            }
        })
        .fold(message.to_owned(), |text, folder| removed(&text, &folder))
}

/// A text without a beginning of paths; within another word it stays.
fn removed(text: &str, beginning: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(beginning) {
        let (before, found) = rest.split_at(at);
        out.push_str(before);
        let within = out
            .chars()
            .last()
            .is_some_and(|c| !c.is_whitespace() && !"\"'(:,;=".contains(c));
        let (own, after) = found.split_at(beginning.len());
        if within {
            out.push_str(own);
        }
        rest = after;
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_name_files_from_the_job_on() {
        let folder = Path::new("x/../y");
        assert_eq!(
            without_folder("x/../y/a.tif and (x/../y/b.tif): not ax/../y/c.tif", folder),
            "a.tif and (b.tif): not ax/../y/c.tif"
        );
        assert_eq!(
            without_folder("./a.tif, ../b.tif", Path::new(".")),
            "a.tif, ../b.tif"
        );
        assert_eq!(without_folder("a.tif", Path::new("")), "a.tif");
    }

    #[cfg(unix)]
    #[test]
    fn one_file_has_one_name() {
        let scratch = tempfile::tempdir().unwrap();
        let home = scratch.path().join("home");
        fs_err::create_dir_all(home.join("data")).unwrap();
        fs_err::create_dir(scratch.path().join("away")).unwrap();
        std::os::unix::fs::symlink(&home, scratch.path().join("link")).unwrap();
        std::os::unix::fs::symlink("../away/b", home.join("b")).unwrap();
        for (path, folder) in [
            (home.join("data/a"), home.clone()),
            (home.join("data/../data/a"), home.join("data/..")),
            (
                scratch.path().join("link/data/a"),
                scratch.path().join("link"),
            ),
            (home.join("data/a"), scratch.path().join("link")),
        ] {
            assert_eq!(below(&path, &folder), "data/a");
        }
        assert_eq!(below(&home.join("b"), &home), "b");
        assert_eq!(below(&home.join("../away/b"), &home), "../away/b");
        assert_eq!(below(Path::new("nowhere/a"), Path::new("")), "nowhere/a");
    }
}
