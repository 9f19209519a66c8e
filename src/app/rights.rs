//! The rights of the running command: given up before the first input is opened, so that whatever a file makes a library do, it reaches no network, no other
//! file and no other program.
//!
//! The job file is read before, by haulm's own reader. What stays is reading of the inputs that it names, of their sidecars and of the data of GDAL and PROJ,
//! and writing where the outputs go and into the temporary folder. Those who use the library keep all rights; only the command asks for it.
//!
//! # Source
//! Linux kernel documentation, "Landlock: unprivileged access control" and "Seccomp BPF".

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use crate::app::requests::Common;
use crate::finding::{Finding, codes};
use crate::format::raster::listed;
use crate::format::sidecars::beside;
use crate::format::weather::stations;
use crate::job::settings::{GrowingDays, Season};

/// Folders of the system that the libraries read: their data, shared objects, tables of letters and time zones, and what the machine is.
const SYSTEM: [&str; 16] = [
    "/usr/share/gdal",
    "/usr/share/proj",
    "/usr/local/share/gdal",
    "/usr/local/share/proj",
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
        for input in inputs {
            rights.read(input);
            for source in listed(input, home) {
                rights.read(&source);
            }
        }
        for output in outputs {
            // Outputs are staged beside their place, and that may not be there yet.
            let place = std::path::absolute(output).unwrap_or_else(|_| output.clone());
            let made = place.ancestors().skip(1).find(|above| above.is_dir());
            rights.writing.extend(made.map(Path::to_owned));
            // Of a folder that is there, its own files are replaced.
            rights
                .writing
                .extend(Some(place.clone()).filter(|place| place.is_dir()));
        }
        rights
    }

    /// Lets a file be read, and what belongs to it by its name: sidecars, parts of a shapefile, logs of a database.
    fn read(&mut self, input: &Path) {
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
        self.reading.extend(beside(found));
    }

    /// Gives up every other right of this process, for good.
    pub(crate) fn give_up_others(&self, common: &Common) {
        if common.confined.is_none() {
            return;
        }
        let left = system::confine(self, common.network);
        let mut said = LEFT.lock().unwrap_or_else(PoisonError::into_inner);
        if said.is_none() {
            *said = left;
        }
    }
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
pub fn note() -> Option<Finding> {
    let left = LEFT.lock().unwrap_or_else(PoisonError::into_inner).take()?;
    Some(Finding::note(
        codes::RIGHTS_KEPT,
        format!(
            "this system does not let haulm give up all rights ({left}): inputs are checked before they are opened, but not walled in besides; use files of people you trust"
        ),
    ))
}

#[cfg(target_os = "linux")]
mod system {
    use std::collections::BTreeMap;
    use std::path::{Path, PathBuf};

    use super::{DEVICES, OF_NETWORK, Rights, SYSTEM};
    use landlock::{
        ABI, Access as _, AccessFs, AccessNet, BitFlags, CompatLevel, Compatible as _, Ruleset,
        RulesetAttr as _, RulesetCreatedAttr as _, RulesetError, RulesetStatus, path_beneath_rules,
    };
    use seccompiler::{BpfProgram, SeccompAction, SeccompFilter, TargetArch};

    /// Rights over files without which nothing is walled in: version 1 forbids renaming between folders altogether.
    const NEEDED: ABI = ABI::V2;
    /// Rights over files that are given up where the kernel knows them: cutting files short.
    const FILES: ABI = ABI::V3;
    /// From this version on, rights over connections, which are closed by their calls in any case.
    const CONNECTIONS: ABI = ABI::V4;

    /// Calls that open a way out of this machine, or into another process.
    const REFUSED_CALLS: [libc::c_long; 8] = [
        libc::SYS_socket,
        libc::SYS_connect,
        libc::SYS_bind,
        libc::SYS_listen,
        libc::SYS_io_uring_setup,
        libc::SYS_ptrace,
        libc::SYS_process_vm_readv,
        libc::SYS_process_vm_writev,
    ];

    /// Gives up all rights but these; returns what stayed.
    pub(super) fn confine(rights: &Rights, network: bool) -> Option<String> {
        let files = match files(rights, network) {
            Ok(RulesetStatus::FullyEnforced | RulesetStatus::PartiallyEnforced) => None,
            Ok(RulesetStatus::NotEnforced) => Some("files: Landlock is switched off".to_owned()),
            Err(error) => Some(format!("files: {error}")),
        };
        let calls = if network { None } else { calls().err() };
        match (files, calls) {
            (None, None) => None,
            (left, None) | (None, left) => left,
            (Some(files), Some(calls)) => Some(format!("{files}; {calls}")),
        }
    }

    fn files(rights: &Rights, network: bool) -> Result<RulesetStatus, RulesetError> {
        let read: BitFlags<AccessFs> = AccessFs::ReadFile | AccessFs::ReadDir;
        let all = AccessFs::from_all(FILES);
        let temporary = std::env::temp_dir();
        let of_libraries = beside_libraries();
        let mut readable: Vec<&Path> = SYSTEM.iter().chain(&DEVICES).map(Path::new).collect();
        readable.extend(of_libraries.iter().map(PathBuf::as_path));
        if network {
            readable.extend(OF_NETWORK.iter().map(Path::new));
        }
        readable.extend(rights.reading.iter().map(PathBuf::as_path));
        let writable = rights.writing.iter().chain([&temporary]);
        let mut rules = Ruleset::default()
            .set_compatibility(CompatLevel::HardRequirement)
            .handle_access(AccessFs::from_all(NEEDED))?
            .set_compatibility(CompatLevel::BestEffort)
            .handle_access(all)?;
        if !network {
            rules = rules.handle_access(AccessNet::from_all(CONNECTIONS))?;
        }
        let done = rules
            .create()?
            .add_rules(path_beneath_rules(readable, read))?
            .add_rules(path_beneath_rules(&rights.listing, AccessFs::ReadDir))?
            .add_rules(path_beneath_rules(
                writable,
                all & !BitFlags::from(AccessFs::Execute),
            ))?
            .restrict_self()?;
        Ok(done.ruleset)
    }

    fn calls() -> Result<(), String> {
        let told = |error: &dyn std::fmt::Display| format!("network: {error}");
        let architecture =
            TargetArch::try_from(std::env::consts::ARCH).map_err(|error| told(&error))?;
        let refused = REFUSED_CALLS.map(|call| (call, Vec::new()));
        let filter = SeccompFilter::new(
            BTreeMap::from(refused),
            SeccompAction::Allow,
            SeccompAction::Errno(libc::EACCES as u32),
            architecture,
        )
        .map_err(|error| told(&error))?;
        let program = BpfProgram::try_from(filter).map_err(|error| told(&error))?;
        seccompiler::apply_filter_all_threads(&program).map_err(|error| told(&error))
    }

    /// Folders of the data of GDAL and PROJ beside the libraries that are loaded, wherever they are installed.
    fn beside_libraries() -> Vec<PathBuf> {
        let Ok(maps) = fs_err::read_to_string("/proc/self/maps") else {
            return Vec::new();
        };
        let mut found: Vec<PathBuf> = maps
            .lines()
            .filter_map(|line| line.find('/').map(|at| Path::new(&line[at..])))
            .filter(|path| {
                path.file_name()
                    .and_then(|name| name.to_str())
                    .is_some_and(|name| name.starts_with("libgdal") || name.starts_with("libproj"))
            })
            .flat_map(|path| {
                let folder = path.parent().map(Path::to_owned);
                let share = folder
                    .as_deref()
                    .and_then(Path::parent)
                    .map(|above| above.join("share"));
                let data = share
                    .into_iter()
                    .flat_map(|share| [share.join("gdal"), share.join("proj")]);
                folder.into_iter().chain(data).collect::<Vec<_>>()
            })
            .collect();
        found.sort();
        found.dedup();
        found
    }
}

#[cfg(not(target_os = "linux"))]
mod system {
    use super::Rights;

    /// Other systems have no such walls that haulm knows of.
    pub(super) fn confine(_: &Rights, _: bool) -> Option<String> {
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
}
