//! The rights of the running command: given up before the first input is opened, so that whatever a file makes a library do, it reaches no network, no other
//! file and no other program.
//!
//! The walls stand twice. The process gives up all but the inputs that it was told of, the data of GDAL and PROJ, the places of the outputs and the temporary
//! folder (`give_up_others`). Within them each job is read on a thread of its own, which may read the files of that job and write nowhere but into the
//! temporary folder (`apart`): of several jobs in one process none reaches the files of another, and no input the place of the outputs.
//!
//! The job file is read before, by haulm's own reader. Those who use the library keep all rights; only the command asks for it.
//!
//! # Source
//! Linux kernel documentation, "Landlock: unprivileged access control" and "Seccomp BPF".

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, OnceLock, PoisonError};

use crate::app::error::AppError;
use crate::app::requests::Common;
use crate::finding::{Finding, codes};
use crate::format::raster::listed;
use crate::format::sidecars::Listings;
use crate::format::weather::stations;
use crate::job::settings::{GrowingDays, Season};

/// Folders of the system that the libraries read: their data, shared objects, tables of letters and time zones, and what the machine is.
const SYSTEM: [&str; 14] = [
    "/usr/share/gdal",
    "/usr/local/share/gdal",
    "/usr/lib",
    "/usr/lib64",
    "/usr/local/lib",
    "/lib",
    "/lib64",
    "/usr/share/zoneinfo",
    "/etc/localtime",
    "/etc/ld.so.cache",
    "/proc/self",
    "/proc/meminfo",
    "/proc/cpuinfo",
    "/sys/fs/cgroup",
];

/// PROJ's data, but for the settings in them.
const OF_PROJ: [&str; 2] = ["/usr/share/proj", "/usr/local/share/proj"];
/// The settings, which choose formulas and servers: not read.
const SETTINGS_OF_PROJ: &str = "proj.ini";

/// What the machine says of its cores, and sources of random numbers.
const DEVICES: [&str; 4] = [
    "/sys/devices/system/cpu",
    "/dev/urandom",
    "/dev/random",
    "/dev/null",
];

/// What `--network` needs besides: names of servers and certificates.
const OF_NETWORK: [&str; 4] = ["/etc", "/usr/share/ca-certificates", "/run", "/var/run"];

/// What could not be given up, once it is known.
static LEFT: Mutex<Option<String>> = Mutex::new(None);
/// What this process may still read, once it has given up the rest: files and folders as they were found then, with links resolved.
static KEPT: OnceLock<Vec<PathBuf>> = OnceLock::new();
/// Stack of a thread that reads: as large as the one that the system gives a process. (bytes)
const STACK: usize = 8 << 20;

/// Which files a command may use.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Rights {
    /// Files that may be read; folders with all that lies in them.
    reading: BTreeSet<PathBuf>,
    /// Folders that may be listed.
    listing: BTreeSet<PathBuf>,
    /// Folders in which files may be made, changed and removed.
    writing: BTreeSet<PathBuf>,
}

impl Rights {
    /// For inputs and outputs. `home`: below this folder lie the sources of a virtual raster.
    pub(crate) fn of(inputs: &[PathBuf], outputs: &[PathBuf], home: &Path) -> Self {
        let mut rights = Self::default();
        let mut listings = Listings::default();
        for input in inputs {
            rights.read(input, &mut listings);
            for source in listed(input, home) {
                rights.read(&source, &mut listings);
            }
        }
        for output in outputs {
            rights.write(output);
        }
        rights
    }

    /// Lets an output be made, replaced or removed.
    fn write(&mut self, output: &Path) {
        // Outputs are staged beside their place, and that may not be there yet; a disk of its own holds its stage itself.
        let place = std::path::absolute(output).unwrap_or_else(|_| output.to_owned());
        let made = place.ancestors().skip(1).find(|above| above.is_dir());
        if !is_own_disk(&place) {
            self.writing.extend(made.map(Path::to_owned));
        }
        // Of a folder that is there, its own files are replaced.
        self.writing
            .extend(Some(place.clone()).filter(|place| place.is_dir()));
    }

    /// Lets all that lies in a folder be read, and changed when `write` says so.
    pub(crate) fn with_folder(mut self, folder: &Path, write: bool) -> Self {
        self.reading.insert(folder.to_owned());
        if write {
            self.writing.insert(folder.to_owned());
        }
        self
    }

    /// Lets the outputs of an earlier run be read, and the folder above be listed, where an interrupted run left its stage.
    pub(crate) fn with_output(mut self, folder: &Path) -> Self {
        let place = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
        self.listing.extend(place.parent().map(Path::to_owned));
        self.with_folder(folder, false)
    }

    /// These and those.
    pub(crate) fn and(mut self, mut other: Self) -> Self {
        self.reading.append(&mut other.reading);
        self.listing.append(&mut other.listing);
        self.writing.append(&mut other.writing);
        self
    }

    /// The same without leave to write.
    pub(crate) fn reading(&self) -> Self {
        Self {
            writing: BTreeSet::new(),
            ..self.clone()
        }
    }

    /// Lets a file be read, and what belongs to it by its name: sidecars, parts of a shapefile, logs of a database.
    fn read(&mut self, input: &Path, listings: &mut Listings) {
        // A path into an archive is the archive.
        let text = input.to_string_lossy();
        let plain = if text.starts_with("/vsi") {
            PathBuf::from(format!(
                "/{}",
                text.trim_start_matches("/vsi")
                    .split_once('/')
                    .map_or("", |(_, rest)| rest.trim_start_matches('/'))
            ))
        } else {
            input.to_owned()
        };
        let Some(found) = plain.ancestors().find(|path| path.exists()) else {
            return;
        };
        // What is not there is refused later, by name; nothing above it is opened for it.
        if found.is_dir() && found != plain {
            self.listing.insert(found.to_owned());
            return;
        }
        self.reading.insert(found.to_owned());
        if found.is_dir() {
            return;
        }
        let folder = match found.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        self.listing.insert(folder.to_owned());
        self.reading.extend(listings.beside(found));
    }

    /// Gives up every other right of this process, for good. One that has done so before goes on with what it kept, which these must lie in.
    ///
    /// # Errors
    /// When a file lies outside of what was kept.
    pub(crate) fn give_up_others(&self, common: &Common) -> Result<(), AppError> {
        if common.confined.is_none() {
            return Ok(());
        }
        let mut is_first = false;
        let kept = KEPT.get_or_init(|| {
            is_first = true;
            self.places()
        });
        if !is_first {
            return self.within(kept);
        }
        let left = system::confine(self, common.network, true);
        *LEFT.lock().unwrap_or_else(PoisonError::into_inner) = left;
        Ok(())
    }

    /// All that may be read, with links resolved.
    fn places(&self) -> Vec<PathBuf> {
        let all = self.reading.iter().chain(&self.writing);
        all.filter_map(|path| fs_err::canonicalize(path).ok())
            .collect()
    }

    /// Refuses a file that lies in none of these places.
    fn within(&self, places: &[PathBuf]) -> Result<(), AppError> {
        let outside = self.reading.iter().find(|path| {
            fs_err::canonicalize(path)
                .is_ok_and(|path| !places.iter().any(|place| path.starts_with(place)))
        });
        outside.map_or(Ok(()), |path| {
            Err(AppError::refused(
                "rights.outside",
                "an input lies outside of what this haulm may read",
            )
            .with_fact(
                path.display().to_string(),
                "was not named by a job when haulm was started, and lies in no folder that it was given",
            )
            .with_hint("start the command again, which then knows of this file; or put the file into the job's folder"))
        })
    }

    /// Does a piece of work on a thread that has no other rights than these; the calling thread keeps its own. For work that opens what others have made.
    pub(crate) fn apart<T: Send>(&self, common: &Common, work: impl FnOnce() -> T + Send) -> T {
        if common.confined.is_none() {
            return work();
        }
        std::thread::scope(|scope| {
            // With a name: threads without one are taken for a driver's.
            let reader = std::thread::Builder::new()
                .name("reader".to_owned())
                .stack_size(STACK);
            let done = reader.spawn_scoped(scope, move || {
                // What this system cannot do was noted when the process gave up its rights.
                let _ = system::confine(self, common.network, false);
                work()
            });
            match done.map(std::thread::ScopedJoinHandle::join) {
                Ok(Ok(done)) => done,
                Ok(Err(panic)) => std::panic::resume_unwind(panic),
                Err(error) => std::panic::resume_unwind(Box::new(error)),
            }
        })
    }
}

/// Whether a folder is a disk of its own, as a stick is.
#[cfg(unix)]
fn is_own_disk(folder: &Path) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    let disk = |path: Option<&Path>| {
        path.and_then(|path| path.metadata().ok())
            .map(|it| it.dev())
    };
    folder.is_dir() && disk(Some(folder)) != disk(folder.parent())
}

/// Elsewhere both are open.
#[cfg(not(unix))]
fn is_own_disk(_: &Path) -> bool {
    false
}

/// The files of a season: records of weather, and the list that names them.
pub(crate) fn of_season(season: &Season) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = season.crops.iter().cloned().collect();
    match &season.growing_days {
        GrowingDays::Weather(path) => files.push(path.clone()),
        GrowingDays::Stations { list, .. } => {
            files.push(list.clone());
            // A list that cannot be read is refused when it is used.
            files.extend(
                stations::read(list)
                    .unwrap_or_default()
                    .into_iter()
                    .map(|station| station.record),
            );
        }
        GrowingDays::Given(_) | GrowingDays::NotStated => {}
    }
    files
}

/// What the system did not let this process give up, as a note; `None` where all of it is given up, or nothing was asked for.
pub(crate) fn note() -> Option<Finding> {
    let left = LEFT.lock().unwrap_or_else(PoisonError::into_inner).take()?;
    Some(Finding::note(
        codes::RIGHTS_KEPT,
        format!(
            "this system does not let haulm give up all rights ({left}): inputs are checked before they are opened, but not walled in besides; use files of people you trust"
        ),
    ))
}

#[cfg(target_os = "linux")]
mod system;

#[cfg(not(target_os = "linux"))]
mod system {
    use super::Rights;

    /// Other systems have no such walls that haulm knows of.
    pub(super) fn confine(_: &Rights, _: bool, _: bool) -> Option<String> {
        Some("files, network: only Linux has the means".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rights_are_those_of_the_files_that_are_named() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        for name in ["a.shp", "a.dbf", "other.shp", "secret"] {
            fs_err::write(at(name), "").unwrap();
        }
        fs_err::create_dir(at("product")).unwrap();
        let rights = Rights::of(
            &[
                at("a.shp"),
                at("product"),
                at("missing.tif"),
                at("no/such.tif"),
            ],
            &[at("out/deep")],
            folder.path(),
        );
        assert_eq!(
            rights.reading,
            BTreeSet::from([at("a.shp"), at("a.dbf"), at("product")])
        );
        assert_eq!(rights.writing, BTreeSet::from([folder.path().to_owned()]));
        // An archive is the file that holds what is read.
        fs_err::write(at("a.zip"), "").unwrap();
        let inside = PathBuf::from(format!("/vsizip/{}/b.tif", at("a.zip").display()));
        let rights = Rights::of(&[inside, at("a.zip/c.tif")], &[], folder.path());
        assert!(rights.reading.contains(&at("a.zip")) && !rights.reading.contains(&at("secret")));
    }

    #[test]
    fn what_was_not_named_at_the_start_is_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs_err::create_dir(at("fields")).unwrap();
        for name in ["fields/a.tif", "shared.geojson", "later.geojson"] {
            fs_err::write(at(name), "").unwrap();
        }
        let kept = Rights::of(&[at("shared.geojson")], &[], folder.path())
            .with_folder(&at("fields"), false)
            .places();
        let asked = |inputs: &[PathBuf]| Rights::of(inputs, &[], folder.path()).within(&kept);
        assert_eq!(asked(&[at("fields/a.tif"), at("shared.geojson")]), Ok(()));
        // What is not there is told by whoever opens it.
        assert_eq!(asked(&[at("none.tif")]), Ok(()));
        let error = asked(&[at("fields/a.tif"), at("later.geojson")]).unwrap_err();
        assert_eq!(error.code, "rights.outside");
        assert!(error.facts[0].place.ends_with("later.geojson"));
        // A link is where it leads to.
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(at("later.geojson"), at("fields/b.geojson")).unwrap();
            assert!(asked(&[at("fields/b.geojson")]).is_err());
        }
    }

    #[test]
    fn work_apart_gives_back_what_it_made_and_fails_as_it_would_here() {
        let confined = Common {
            confined: Some(Vec::new()),
            ..Common::default()
        };
        let folder = tempfile::tempdir().unwrap();
        let (inside, outside) = (folder.path().join("a"), Path::new("/etc/passwd"));
        fs_err::write(&inside, "text").unwrap();
        let rights = Rights::of(std::slice::from_ref(&inside), &[], folder.path());
        let read = rights.apart(&confined, || {
            (
                fs_err::read_to_string(&inside).ok(),
                fs_err::read(outside).is_ok(),
            )
        });
        assert_eq!(read.0.as_deref(), Some("text"));
        // This thread keeps its rights; the other had none over this file, where the system knows of such walls.
        assert!(fs_err::read(outside).is_ok());
        let tried = rights.clone();
        let has_walls = std::thread::spawn(move || system::confine(&tried, false, false).is_none());
        let has_walls = has_walls.join().unwrap();
        assert!(!read.1 || !has_walls);
        let failed = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            rights.apart(&confined, || panic!("of the work"))
        }));
        assert_eq!(
            failed.unwrap_err().downcast_ref::<&str>(),
            Some(&"of the work")
        );
    }
}
