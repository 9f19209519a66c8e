//! The walls as Linux has them: Landlock for files, seccomp for calls.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use crate::app::rights::{DEVICES, OF_NETWORK, OF_PROJ, Rights, SETTINGS_OF_PROJ, SYSTEM};
use landlock::{
    ABI, Access as _, AccessFs, AccessNet, BitFlags, CompatLevel, Compatible as _, Ruleset,
    RulesetAttr as _, RulesetCreatedAttr as _, RulesetError, RulesetStatus, path_beneath_rules,
};
use seccompiler::{BpfProgram, SeccompAction, SeccompFilter, TargetArch};

/// Rights over files without which nothing is walled in: version 1 forbids renaming between folders altogether.
const NEEDED: ABI = ABI::V2;
/// Rights over files that are given up where the kernel knows them: cutting files short.
const FILES: ABI = ABI::V3;
/// What no output needs: to be started, and to be anything else than a file or folder.
const NEVER: [AccessFs; 6] = [
    AccessFs::Execute,
    AccessFs::MakeSym,
    AccessFs::MakeFifo,
    AccessFs::MakeSock,
    AccessFs::MakeChar,
    AccessFs::MakeBlock,
];
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

/// Gives up all rights over files but these, on this thread and those that it starts; with `calls`, connections of the whole process. Returns what stayed.
pub(super) fn confine(rights: &Rights, network: bool, calls: bool) -> Option<String> {
    let files = match files(rights, network) {
        Ok(RulesetStatus::FullyEnforced | RulesetStatus::PartiallyEnforced) => None,
        Ok(RulesetStatus::NotEnforced) => Some("files: Landlock is switched off".to_owned()),
        Err(error) => Some(format!("files: {error}")),
    };
    let calls = if network || !calls {
        None
    } else {
        close_calls().err()
    };
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
    let of_libraries = OF_LIBRARIES.get_or_init(of_libraries);
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
            all & !NEVER.into_iter().collect::<BitFlags<AccessFs>>(),
        ))?
        .restrict_self()?;
    Ok(done.ruleset)
}

fn close_calls() -> Result<(), String> {
    let notice = |error: &dyn std::fmt::Display| format!("network: {error}");
    let architecture =
        TargetArch::try_from(std::env::consts::ARCH).map_err(|error| notice(&error))?;
    let refused = REFUSED_CALLS.map(|call| (call, Vec::new()));
    let filter = SeccompFilter::new(
        BTreeMap::from(refused),
        SeccompAction::Allow,
        SeccompAction::Errno(libc::EACCES as u32),
        architecture,
    )
    .map_err(|error| notice(&error))?;
    let program = BpfProgram::try_from(filter).map_err(|error| notice(&error))?;
    seccompiler::apply_filter_all_threads(&program).map_err(|error| notice(&error))
}

/// What GDAL and PROJ read of their own, wherever they are installed.
static OF_LIBRARIES: OnceLock<Vec<PathBuf>> = OnceLock::new();

/// Folders of the data of GDAL, and PROJ's files one by one: its settings lie among them.
fn of_libraries() -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = Vec::new();
    let mut of_proj: Vec<PathBuf> = OF_PROJ.iter().map(PathBuf::from).collect();
    for library in libraries() {
        let share = library.parent().map(|above| above.join("share"));
        if let Some(share) = share {
            found.push(share.join("gdal"));
            of_proj.push(share.join("proj"));
        }
        found.push(library);
    }
    for folder in of_proj {
        let files = fs_err::read_dir(&folder).into_iter().flatten().flatten();
        found.extend(
            files
                .map(|entry| entry.path())
                .filter(|path| path.file_name().is_none_or(|name| name != SETTINGS_OF_PROJ)),
        );
    }
    found.sort();
    found.dedup();
    found
}

/// Folders of the libraries that are loaded.
fn libraries() -> Vec<PathBuf> {
    let Ok(maps) = fs_err::read_to_string("/proc/self/maps") else {
        return Vec::new();
    };
    maps.lines()
        .filter_map(|line| line.find('/').map(|at| Path::new(&line[at..])))
        .filter(|path| {
            path.file_name()
                .and_then(|name| name.to_str())
                .is_some_and(|name| name.starts_with("libgdal") || name.starts_with("libproj"))
        })
        .filter_map(|path| path.parent().map(Path::to_owned))
        .collect()
}
