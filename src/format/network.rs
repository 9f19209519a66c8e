//! Files that lie on a network: which paths do, and what their server says of the state that it gives.

use std::path::Path;
use std::time::Duration;

use ureq::tls::{RootCerts, TlsConfig};
use ureq::{Agent, http};

/// A server that says nothing for so long is not waited for.
const LONGEST: Duration = Duration::from_secs(30);

/// What a server says of a file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Stated {
    /// Its size. \[B\]
    pub(crate) bytes: Option<u64>,
    /// The server's own mark of this state of it (RFC 9110, 8.8.3).
    pub(crate) etag: Option<String>,
    /// When it last changed, in the server's words.
    pub(crate) modified: Option<String>,
}

impl Stated {
    /// Whether another state would be told from this one.
    pub(crate) const fn tells(&self) -> bool {
        self.etag.is_some() || self.modified.is_some()
    }
    /// The state in a line.
    pub(crate) fn line(&self) -> String {
        let bytes = self.bytes.map(|bytes| format!("{bytes} bytes"));
        let etag = self.etag.as_ref().map(|etag| format!("ETag {etag}"));
        let modified = self.modified.as_ref().map(|day| format!("of {day}"));
        let known: Vec<String> = [bytes, etag, modified].into_iter().flatten().collect();
        known.join(", ")
    }
}

/// Whether a path is an address, or one of GDAL's virtual paths that leads off this machine.
///
/// Virtual paths can be put into each other, and new ones come with GDAL's versions: those that stay on this machine are named.
pub(crate) fn lies_there(path: &Path) -> bool {
    const NEAR: [&str; 5] = ["zip", "tar", "gzip", "7z", "rar"];
    let lower = path.to_string_lossy().to_lowercase();
    let mut rest = lower.as_str();
    while let Some(way) = rest.trim_start_matches(['/', '{']).strip_prefix("vsi") {
        // A folder of that name is none of them, unless it stands where GDAL looks for one.
        if rest.len() == lower.len() && !rest.starts_with("/vsi") {
            break;
        }
        let Some(inner) = NEAR
            .iter()
            .find_map(|near| way.strip_prefix(near)?.strip_prefix('/'))
        else {
            return true;
        };
        rest = inner;
    }
    lower.contains("://")
}

/// Variables by which GDAL takes another server for objects than the one that is asked here.
const OTHER_SERVERS: [&str; 3] = ["AWS_S3_ENDPOINT", "AWS_HTTPS", "AWS_VIRTUAL_HOSTING"];

/// The address that a virtual path of GDAL stands for, where it is one that anybody can ask.
///
/// # Errors
/// In words, when it is none, or when GDAL asks elsewhere.
fn address(path: &Path, is_set: impl Fn(&str) -> bool) -> Result<String, String> {
    let text = path.to_str().unwrap_or_default();
    if let Some(rest) = ["/vsicurl/", "/vsicurl_streaming/"]
        .iter()
        .find_map(|way| text.strip_prefix(way))
        && rest.contains("://")
    {
        return Ok(rest.to_owned());
    }
    let (bucket, key) = text
        .strip_prefix("/vsis3/")
        .and_then(|object| object.split_once('/'))
        .ok_or("only /vsicurl/ and /vsis3/ can be asked")?;
    if let Some(other) = OTHER_SERVERS.iter().find(|name| is_set(name)) {
        return Err(format!("{other} names a server that is not asked"));
    }
    let key: String = key.bytes().map(escaped).collect();
    Ok(if bucket.contains('.') {
        format!("https://s3.amazonaws.com/{bucket}/{key}")
    } else {
        format!("https://{bucket}.s3.amazonaws.com/{key}")
    })
}

/// A byte of a path as an address has it (RFC 3986, 2).
fn escaped(byte: u8) -> String {
    if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
        char::from(byte).to_string()
    } else {
        format!("%{byte:02X}")
    }
}

/// Asks the server of a file what state it is in, by the proxy that the environment names, without keys; once more when there is no answer.
///
/// # Errors
/// In words, when the path has no address that can be asked, or no answer says anything.
pub(crate) fn stated(path: &Path) -> Result<Stated, String> {
    let address = address(path, |name| std::env::var_os(name).is_some())?;
    asked(&address).or_else(|_| asked(&address))
}

fn asked(address: &str) -> Result<Stated, String> {
    let tls = TlsConfig::builder().root_certs(RootCerts::PlatformVerifier);
    let agent: Agent = Agent::config_builder()
        .timeout_global(Some(LONGEST))
        .http_status_as_error(false)
        .tls_config(tls.build())
        .build()
        .into();
    let whole = agent
        .head(address)
        .call()
        .map_err(|error| error.to_string())?;
    if whole.status().is_success() {
        return Ok(of(whole.headers(), "content-length"));
    }
    // Servers that sign addresses for reading alone answer nothing else.
    let first = agent.get(address).header("range", "bytes=0-0").call();
    let first = first.map_err(|error| error.to_string())?;
    if first.status() == http::StatusCode::PARTIAL_CONTENT {
        return Ok(of(first.headers(), "content-range"));
    }
    Err(format!("the server answers {}", first.status()))
}

/// `size` is the header that holds the whole size, in `content-range` behind a stroke.
fn of(headers: &http::HeaderMap, size: &str) -> Stated {
    let text =
        |name: &str| -> Option<String> { Some(headers.get(name)?.to_str().ok()?.to_owned()) };
    Stated {
        bytes: text(size).and_then(|text| text.rsplit('/').next()?.trim().parse().ok()),
        etag: text("etag"),
        modified: text("last-modified"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_that_lead_off_the_machine_are_known() {
        for there in [
            "/vsicurl/http://host.invalid/a.tif",
            "/VSICURL/http://host.invalid/a.tif",
            "/vsis3/bucket/a.tif",
            "/vsizip//vsicurl/http://host.invalid/a.zip/a.tif",
            "/vsizip/vsis3/bucket/a.zip/a.tif",
            "/vsizip/{/vsis3/bucket/a.zip}/a.tif",
            "/vsitar//vsigzip//vsigs/bucket/a",
            "https://host.invalid/a.tif",
        ] {
            assert!(lies_there(Path::new(there)), "{there}");
        }
        for here in [
            "a.tif",
            "/vsizip/a.zip/a.tif",
            "/maps/a.tif",
            "vsi/a.tif",
            "/maps/vsi-2026/a.tif",
        ] {
            assert!(!lies_there(Path::new(here)), "{here}");
        }
    }

    #[test]
    fn addresses_are_those_that_gdal_reads() {
        let of = |path: &str| address(Path::new(path), |_| false);
        assert_eq!(
            of("/vsicurl/http://host.invalid/a.tif").unwrap(),
            "http://host.invalid/a.tif"
        );
        assert_eq!(
            of("/vsis3/tiles/2026/a b.tif").unwrap(),
            "https://tiles.s3.amazonaws.com/2026/a%20b.tif"
        );
        assert_eq!(
            of("/vsis3/tiles.invalid/a.tif").unwrap(),
            "https://s3.amazonaws.com/tiles.invalid/a.tif"
        );
        assert!(of("/vsigs/tiles/a.tif").is_err());
        assert!(of("/vsizip//vsicurl/http://host.invalid/a.zip/a.tif").is_err());
        // GDAL asks another server then: this one might have an object of that name.
        let set = |name: &str| name == "AWS_S3_ENDPOINT";
        assert!(address(Path::new("/vsis3/tiles/a.tif"), set).is_err());
    }
}
