//! What an exporter returns: named bytes. `app` alone writes them.

/// One file of a run, ready to be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Payload {
    /// Path below the output folder, with forward slashes: `office/prescription.geojson`.
    pub path: String,
    /// Its content.
    pub bytes: Vec<u8>,
}

impl Payload {
    /// A file of these bytes.
    pub fn new(path: impl Into<String>, bytes: Vec<u8>) -> Self {
        Self {
            path: path.into(),
            bytes,
        }
    }
}
