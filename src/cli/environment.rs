//! The environment that the engine runs in: what GDAL, PROJ, `SQLite` and their kin read from it would change results or reach for a network, and some of it is
//! read when they are loaded, before any switch of ours. So a command that opens files starts itself anew without it.

use std::ffi::{OsStr, OsString};
use std::path::PathBuf;

/// Commands that open no file of anybody.
const OPEN_NOTHING: [&str; 7] = [
    "indices",
    "methods",
    "crops",
    "products",
    "completions",
    "manual",
    "help",
];

/// Variables that stay: haulm's own, those of terminal and system, and those of everyday life that none of the libraries reads.
const KEPT: [&str; 44] = [
    "PATH",
    "HOME",
    "USER",
    "LOGNAME",
    "SHELL",
    "PWD",
    "OLDPWD",
    "SHLVL",
    "HOSTNAME",
    "HOSTTYPE",
    "MAIL",
    "TERM",
    "COLORTERM",
    "NO_COLOR",
    "CLICOLOR",
    "CLICOLOR_FORCE",
    "COLUMNS",
    "LINES",
    "LS_COLORS",
    "TERM_PROGRAM",
    "TERM_PROGRAM_VERSION",
    "TMPDIR",
    "TZ",
    "LANG",
    "LANGUAGE",
    "SOURCE_DATE_EPOCH",
    "EDITOR",
    "VISUAL",
    "PAGER",
    "LESS",
    "LESSOPEN",
    "LESSCLOSE",
    "MANPATH",
    "INFOPATH",
    "DISPLAY",
    "WAYLAND_DISPLAY",
    "WINDOWID",
    "VIRTUAL_ENV",
    "CI",
    "OSTYPE",
    "MACHTYPE",
    "_",
    "container",
    "HISTSIZE",
];

/// Beginnings of the names of variables that stay.
const KEPT_BEGINNINGS: [&str; 19] = [
    "LC_", "XDG_", "SSH_", "DBUS_", "LD_", "DYLD_", "RUST", "CARGO", "LLVM_", "GIT_", "GITHUB_",
    "npm_", "NVM_", "PYTHON", "CONDA_", "DEBIAN_", "SUDO_", "HAULM_", "FAKETIME",
];

/// Beginnings of names that `--network` needs: the way out, and who asks.
const NETWORK_BEGINNINGS: [&str; 13] = [
    "http_",
    "https_",
    "HTTPS_",
    "no_",
    "NO_",
    "all_",
    "ALL_",
    "CURL_CA",
    "SSL_CERT",
    "AWS_",
    "GS_",
    "AZURE_",
    "GDAL_HTTP_",
];

/// The switch of PROJ's network, and its word for off.
const NETWORK: (&str, &str) = ("PROJ_NETWORK", "OFF");

/// PROJ's file of settings below a folder of its data.
const SETTINGS: &str = "proj/proj.ini";

fn stays(name: &OsStr, value: &OsStr, network: bool) -> bool {
    let Some(text) = name.to_str() else {
        return false;
    };
    KEPT.contains(&text)
        || KEPT_BEGINNINGS.iter().any(|start| text.starts_with(start))
        || (text == NETWORK.0 && value == NETWORK.1)
        || (network
            && NETWORK_BEGINNINGS
                .iter()
                .any(|start| text.starts_with(start)))
}

/// Whether a file of PROJ's settings opens the network, which the variable closes.
fn settings_open_network() -> bool {
    let data = std::env::var_os("XDG_DATA_HOME").map(PathBuf::from);
    let home = std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".local/share"));
    let shared = ["/usr/share", "/usr/local/share"].map(PathBuf::from);
    data.into_iter().chain(home).chain(shared).any(|folder| {
        fs_err::read_to_string(folder.join(SETTINGS)).is_ok_and(|text| {
            text.lines().any(|line| {
                let plain: String = line.to_ascii_lowercase().split_whitespace().collect();
                plain.starts_with("network=") && plain != "network=off"
            })
        })
    })
}

/// Starts the command anew in an environment without what would change results. Comes back when there is nothing to take away, or no file to open.
///
/// # Errors
/// When the system does not start it; the names of the variables that would have been taken away.
#[cfg(unix)]
pub(super) fn clean(arguments: &[OsString]) -> Result<(), (std::io::Error, Vec<String>)> {
    use std::os::unix::process::CommandExt as _;

    let word = arguments.get(1..).unwrap_or_default();
    let opens_nothing = word.is_empty()
        || word.iter().any(|word| {
            word.to_str().is_some_and(|word| {
                OPEN_NOTHING.contains(&word) || ["--help", "-h", "--version", "-V"].contains(&word)
            })
        });
    if opens_nothing {
        return Ok(());
    }
    let network = word.iter().any(|word| word == "--network");
    let (kept, dropped): (Vec<_>, Vec<_>) =
        std::env::vars_os().partition(|(name, value)| stays(name, value, network));
    let closed = kept.iter().any(|(name, _)| name == NETWORK.0);
    if dropped.is_empty() && (closed || !settings_open_network()) {
        return Ok(());
    }
    let names = dropped
        .iter()
        .map(|(name, _)| name.to_string_lossy().into_owned())
        .collect();
    let program = match std::env::current_exe() {
        Ok(program) => program,
        Err(error) => return Err((error, names)),
    };
    let mut anew = std::process::Command::new(program);
    anew.args(word)
        .env_clear()
        .envs(kept)
        .env(NETWORK.0, NETWORK.1);
    if let Some(name) = arguments.first() {
        anew.arg0(name);
    }
    // Comes back only when it fails.
    Err((anew.exec(), names))
}

/// Elsewhere the options that haulm sets itself have to do.
#[cfg(not(unix))]
pub(super) fn clean(_: &[OsString]) -> Result<(), (std::io::Error, Vec<String>)> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_of_the_libraries_stays() {
        let stays = |name: &str, value: &str| stays(OsStr::new(name), OsStr::new(value), false);
        for name in [
            "GDAL_DATA",
            "GDAL_DRIVER_PATH",
            "GDAL_CONFIG_FILE",
            "GTIFF_IGNORE_READ_ERRORS",
            "OGR_SKIP",
            "CPL_DEBUG",
            "VSI_CACHE",
            "PROJ_LIB",
            "PROJ_DATA",
            "PROJ_NETWORK_ENDPOINT",
            "SQLITE_TMPDIR",
            "AWS_ACCESS_KEY_ID",
            "http_proxy",
            "HTTPS_PROXY",
            "CURL_CA_BUNDLE",
            "MITAB_SET_TOWGS84_ON_KNOWN_DATUM",
            "USE_RRD",
            "OMP_NUM_THREADS",
        ] {
            assert!(!stays(name, "1"), "{name}");
        }
        assert!(!stays("PROJ_NETWORK", "ON") && stays("PROJ_NETWORK", "OFF"));
        for name in [
            "PATH",
            "NO_COLOR",
            "TMPDIR",
            "SOURCE_DATE_EPOCH",
            "LC_ALL",
            "TERM",
        ] {
            assert!(stays(name, "1"), "{name}");
        }
    }
}
