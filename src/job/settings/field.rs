//! `[field]`: the ground.

use std::path::PathBuf;

use crate::units::Length;

/// A vector file, a layer of it and an attribute filter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VectorSource {
    /// The file.
    pub path: PathBuf,
    /// The layer; the only one, or the first, when not given.
    pub layer: Option<String>,
    /// Attribute filter in the driver's SQL dialect.
    pub filter: Option<String>,
    /// Whether several features are joined into one.
    pub merge: bool,
}

/// `[field]`.
#[derive(Clone, Debug)]
pub struct FieldSettings {
    /// Name on paper, task and terminal.
    pub name: String,
    /// Region, in the user's words; compared with that of the method's numbers.
    pub region: Option<String>,
    /// Where the boundary stands.
    pub boundary: VectorSource,
    /// Working plane asked for, as the user wrote it.
    pub crs: Option<String>,
    /// Whether strips are mapped like the rest (`true`) or get no rate.
    pub map_strips: bool,
    /// Ground that gets nothing.
    pub exclusions: Vec<Exclusion>,
    /// Hard edges: overrun stops there.
    pub edges: Vec<VectorSource>,
}

/// `[[field.exclude]]`.
#[derive(Clone, Debug)]
pub struct Exclusion {
    /// Where the polygons stand.
    pub source: VectorSource,
    /// How far they are grown.
    pub buffer: Length,
    /// Why, in the user's words.
    pub reason: Option<String>,
}
