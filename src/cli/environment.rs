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

/// Where PROJ looks for settings and grids of one user, and a place in which nothing can be: no folder lies in a device.
const OF_USER: (&str, &str) = ("XDG_DATA_HOME", "/dev/null");

/// Where GDAL looks for settings in place of a user's and the system's files, and an empty one.
const SETTINGS_OF_GDAL: (&str, &str) = ("GDAL_CONFIG_FILE", "/dev/null");

/// PROJ's settings for all users; they come with it.
const SETTINGS_OF_PROJ: [&str; 2] = ["/usr/share/proj/proj.ini", "/usr/local/share/proj/proj.ini"];

/// GDAL's settings for all users.
const SHARED_SETTINGS_OF_GDAL: [&str; 2] = ["/etc/gdal/gdalrc", "/usr/local/etc/gdal/gdalrc"];

fn stays(name: &OsStr, value: &OsStr, network: bool) -> bool {
    let Some(text) = name.to_str() else {
        return false;
    };
    if text == OF_USER.0 {
        return value == OF_USER.1;
    }
    KEPT.contains(&text)
        || KEPT_BEGINNINGS.iter().any(|start| text.starts_with(start))
        || [NETWORK, SETTINGS_OF_GDAL]
            .iter()
            .any(|(name, own)| text == *name && value == *own)
        || (network
            && NETWORK_BEGINNINGS
                .iter()
                .any(|start| text.starts_with(start)))
}

/// Whether there are settings or data that the libraries would look at of themselves: of this user, or of all.
fn settings_are_there() -> bool {
    let home = std::env::var_os("HOME").map(PathBuf::from);
    let data = std::env::var_os(OF_USER.0)
        .map(PathBuf::from)
        .or_else(|| home.as_ref().map(|home| home.join(".local/share")));
    let of_user = data
        .map(|data| data.join("proj"))
        .into_iter()
        .chain(home.map(|home| home.join(".gdal/gdalrc")));
    let of_all = SHARED_SETTINGS_OF_GDAL.iter().map(PathBuf::from);
    of_user.chain(of_all).any(|path| path.exists())
        || SETTINGS_OF_PROJ
            .iter()
            .any(|path| fs_err::read_to_string(path).is_ok_and(|text| opens_network(&text)))
}

/// Whether PROJ's settings open the network, which the variable closes.
fn opens_network(settings: &str) -> bool {
    settings.lines().any(|line| {
        let plain: String = line.to_ascii_lowercase().split_whitespace().collect();
        plain.starts_with("network=") && plain != "network=off"
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
    let own = [NETWORK, OF_USER, SETTINGS_OF_GDAL];
    let closed = own
        .iter()
        .all(|(name, _)| kept.iter().any(|(other, _)| other == name));
    if dropped.is_empty() && (closed || !settings_are_there()) {
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
    anew.args(word).env_clear().envs(kept).envs(own);
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
        assert!(!stays("XDG_DATA_HOME", "/srv/a") && stays("XDG_DATA_HOME", "/dev/null"));
        assert!(!stays("GDAL_CONFIG_FILE", "a") && stays("GDAL_CONFIG_FILE", "/dev/null"));
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
