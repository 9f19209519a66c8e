//! What front ends agree on about the page: how it is asked for and what is said when it listens. The server itself is `web`.

use std::net::IpAddr;
use std::path::PathBuf;

use crate::app::api::Common;
use crate::app::error::AppError;
use crate::report::model::Report;

/// How to open a page.
#[derive(Clone, Debug, Default)]
pub struct PageRequest {
    /// A job file, or a folder; `None` is a new folder of the page's own in the working folder.
    pub path: Option<PathBuf>,
    /// Whether the page may change jobs and write maps. A folder that the page makes itself may be written to in any case.
    pub write: bool,
    /// The address of this machine on which other devices are let in; `None` listens on this machine alone.
    pub lan: Option<IpAddr>,
    /// Port; 0 lets the system choose.
    pub port: u16,
    /// What every command may be told.
    pub common: Common,
}

/// What is said once the page listens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Started {
    /// Where to open it. Whoever has this address is let in.
    pub address: String,
    /// The folder whose jobs it shows.
    pub folder: PathBuf,
    /// Whether jobs can be changed.
    pub write: bool,
    /// On a network: the code that lets one device in, as it is typed.
    pub code: Option<String>,
    /// On a network: the same as a picture of blocks.
    pub picture: Option<String>,
    /// On a network: the fingerprint of the certificate, SHA-256.
    pub fingerprint: Option<String>,
}

/// Serves a page until the run is asked to end. `main` hands it to the command line, which does not know the server.
pub type PageServer = fn(&PageRequest, &dyn Fn(&Started)) -> Result<Report, AppError>;

/// The server of a haulm that was built without one.
///
/// # Errors
/// Always.
pub fn no_page(_request: &PageRequest, _say: &dyn Fn(&Started)) -> Result<Report, AppError> {
    Err(
        AppError::refused("page.missing", "this haulm was built without the page").with_hint(
            "build it with the feature \"web\", which is on unless --no-default-features is given",
        ),
    )
}
