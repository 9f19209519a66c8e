//! How task data of ISO 11783-10 may hold a map.

/// Version of the task file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TaskVersion {
    /// 3.3: what controllers of the first position-based class publish.
    #[default]
    V3,
    /// 4.3: the second edition's.
    V4,
}

impl TaskVersion {
    /// As people write it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::V3 => "3.3",
            Self::V4 => "4.3",
        }
    }
}

/// How the rates stand in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TaskKind {
    /// Grid type 2: a rate a cell.
    #[default]
    Grid,
    /// Grid type 1: a zone code a cell.
    Zones,
    /// Treatment zones with polygons, which a controller need not take.
    Polygons,
}

impl TaskKind {
    /// The word of it in job files and on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Grid => "grid",
            Self::Zones => "zones",
            Self::Polygons => "polygons",
        }
    }
}

/// What a cell of a task's grid holds where it lies across zones.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum GridRates {
    /// The rate of one zone, of which it holds most: the screen shows no other rates than the card.
    #[default]
    Zone,
    /// The area mean of the zones' rates.
    Mean,
}

impl GridRates {
    /// The word of it in job files and records.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Zone => "zone",
            Self::Mean => "mean",
        }
    }
}

/// Version and kind together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TaskOptions {
    /// Version of the task file.
    pub version: TaskVersion,
    /// How the rates stand in it.
    pub kind: TaskKind,
}
