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
    let lower = path.to_string_lossy().to_lowercase();
    let near = |rest: &str| {
        ["zip/", "tar/", "gzip/", "7z/", "rar/"]
            .iter()
            .any(|way| rest.starts_with(way))
    };
    lower.contains("://") || lower.split("/vsi").skip(1).any(|rest| !near(rest))
}

/// The address that a virtual path of GDAL stands for, where it is one that anybody can ask.
fn address(path: &Path) -> Option<String> {
    let text = path.to_str()?;
    if let Some(rest) = ["/vsicurl/", "/vsicurl_streaming/"]
        .iter()
        .find_map(|way| text.strip_prefix(way))
    {
        return rest.contains("://").then(|| rest.to_owned());
    }
    let (bucket, key) = text.strip_prefix("/vsis3/")?.split_once('/')?;
    Some(format!("https://{bucket}.s3.amazonaws.com/{key}"))
}

/// Asks the server of a file what state it is in, by the proxies that the environment names, as GDAL reads; without keys.
///
/// # Errors
/// In words, when the path has no address that can be asked, or no answer says anything.
pub(crate) fn stated(path: &Path) -> Result<Stated, String> {
    let address = address(path).ok_or("only /vsicurl/ and /vsis3/ can be asked")?;
    let tls = TlsConfig::builder().root_certs(RootCerts::PlatformVerifier);
    let agent: Agent = Agent::config_builder()
        .timeout_global(Some(LONGEST))
        .http_status_as_error(false)
        .tls_config(tls.build())
        .build()
        .into();
    let whole = agent
        .head(&address)
        .call()
        .map_err(|error| error.to_string())?;
    if whole.status().is_success() {
        return Ok(of(whole.headers(), "content-length"));
    }
    // Servers that sign addresses for reading alone answer nothing else.
    let first = agent.get(&address).header("range", "bytes=0-0").call();
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
            "https://host.invalid/a.tif",
        ] {
            assert!(lies_there(Path::new(there)), "{there}");
        }
        for here in ["a.tif", "/vsizip/a.zip/a.tif", "/maps/a.tif", "vsi/a.tif"] {
            assert!(!lies_there(Path::new(here)), "{here}");
        }
    }

    #[test]
    fn addresses_are_those_that_gdal_reads() {
        let of = |path: &str| address(Path::new(path));
        assert_eq!(
            of("/vsicurl/http://host.invalid/a.tif").unwrap(),
            "http://host.invalid/a.tif"
        );
        assert_eq!(
            of("/vsis3/tiles/2026/a.tif").unwrap(),
            "https://tiles.s3.amazonaws.com/2026/a.tif"
        );
        assert_eq!(of("/vsigs/tiles/a.tif"), None);
        assert_eq!(of("/vsizip//vsicurl/http://host.invalid/a.zip/a.tif"), None);
    }
}
