//! The formats of maps as people name them: a row each. What reads and writes them stands in `format`, a folder each.

/// A format of maps as people name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FormatRow {
    /// The word of it in job files and on the command line, which is also its folder's.
    pub word: &'static str,
    /// What people type for it, in small letters.
    pub short_names: &'static [&'static str],
    /// Endings of its files, without the dot; the first is the one written.
    pub endings: &'static [&'static str],
    /// For what it is, in a sentence.
    pub about: &'static str,
    /// Whether it is for the machine, not for the office.
    pub for_the_machine: bool,
    /// What a map keeps and loses in it.
    pub keeps: Keeps,
}

/// What a map keeps in a format.
#[expect(
    clippy::struct_excessive_bools,
    reason = "each says whether a format keeps one thing of a map; none excludes another"
)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Keeps {
    /// Columns besides zone and rate, and nitrogen beside the product.
    pub columns: bool,
    /// The map's own reference system; else WGS 84.
    pub system: bool,
    /// Coordinates to full precision; else 7 decimals of a degree.
    pub coordinates: bool,
    /// How rates are rounded.
    pub rates: Rounding,
    /// A grid as a grid.
    pub grid: bool,
    /// Boundary, and rates that a terminal falls back to.
    pub fallbacks: bool,
}

/// How a format rounds rates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rounding {
    /// To 0.01.
    Hundredths,
    /// To 32-bit numbers.
    Float32,
    /// To the whole numbers of a data dictionary.
    Dictionary,
}

macro_rules! formats {
    ($($(#[$about:meta])* $name:ident: $row:expr,)+) => {
        /// A format of maps.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Format {
            $($(#[$about])* $name),+
        }

        impl Format {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];
            /// Their words, in the same order.
            pub const WORDS: &'static [&'static str] = &[$(Self::$name.row().word),+];

            /// What is known of it.
            pub const fn row(self) -> &'static FormatRow {
                match self {
                    $(Self::$name => { const ROW: FormatRow = $row; &ROW }),+
                }
            }
        }
    };
}

formats! {
    /// `GeoPackage`.
    GeoPackage: FormatRow {
        word: "geopackage",
        short_names: &["gpkg"],
        endings: &["gpkg"],
        about: "In the map's own reference system",
        for_the_machine: false,
        keeps: Keeps {
            columns: true,
            system: true,
            coordinates: true,
            rates: Rounding::Hundredths,
            grid: false,
            fallbacks: false,
        },
    },
    /// `GeoJSON` in WGS 84.
    GeoJson: FormatRow {
        word: "geojson",
        short_names: &["json"],
        endings: &["geojson", "json"],
        about: "Longitude and latitude",
        for_the_machine: false,
        keeps: Keeps {
            columns: true,
            system: false,
            coordinates: false,
            rates: Rounding::Hundredths,
            grid: false,
            fallbacks: false,
        },
    },
    /// A set of shapefiles.
    Shapefile: FormatRow {
        word: "shapefile",
        short_names: &["shp", "esri shapefile"],
        endings: &["shp"],
        about: "For controllers",
        for_the_machine: true,
        keeps: Keeps {
            columns: false,
            system: false,
            coordinates: true,
            rates: Rounding::Hundredths,
            grid: false,
            fallbacks: false,
        },
    },
    /// Cloud-optimised `GeoTIFF`; other rasters of rates to read.
    GeoTiff: FormatRow {
        word: "geotiff",
        short_names: &["tif", "tiff", "cog"],
        endings: &["tif", "tiff", "asc"],
        about: "Raster of rates",
        for_the_machine: false,
        keeps: Keeps {
            columns: false,
            system: true,
            coordinates: true,
            rates: Rounding::Float32,
            grid: true,
            fallbacks: false,
        },
    },
    /// Task data of ISO 11783-10.
    Iso11783: FormatRow {
        word: "iso11783",
        short_names: &["iso", "isoxml", "isobus", "taskdata", "iso 11783-10", "iso11783-10"],
        endings: &["zip", "xml"],
        about: "Task data of ISO 11783-10",
        for_the_machine: true,
        keeps: Keeps {
            columns: false,
            system: false,
            coordinates: true,
            rates: Rounding::Dictionary,
            grid: true,
            fallbacks: true,
        },
    },
    /// KML, and KMZ to read.
    Kml: FormatRow {
        word: "kml",
        short_names: &["kmz"],
        endings: &["kml", "kmz"],
        about: "For looking",
        for_the_machine: false,
        keeps: Keeps {
            columns: true,
            system: false,
            coordinates: false,
            rates: Rounding::Hundredths,
            grid: false,
            fallbacks: false,
        },
    },
    /// `FlatGeobuf`.
    FlatGeobuf: FormatRow {
        word: "flatgeobuf",
        short_names: &["fgb"],
        endings: &["fgb"],
        about: "In the map's own reference system",
        for_the_machine: false,
        keeps: Keeps {
            columns: true,
            system: true,
            coordinates: true,
            rates: Rounding::Hundredths,
            grid: false,
            fallbacks: false,
        },
    },
}

impl Format {
    /// The word of it in job files and on the command line.
    pub fn word(self) -> &'static str {
        self.row().word
    }

    /// The ending of its files.
    pub fn ending(self) -> &'static str {
        self.row().endings[0]
    }

    /// The format of this word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .copied()
            .find(|format| format.word() == word)
    }

    /// The format that reads files of this ending, in small letters.
    pub fn of_ending(ending: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .copied()
            .find(|format| format.row().endings.contains(&ending))
    }

    /// The format that people mean by a short name.
    pub fn meant_by(text: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|format| {
            let mut names = format.row().short_names.iter();
            names.any(|name| text.trim().eq_ignore_ascii_case(name))
        })
    }

    /// Whether it is for the machine, not for the office.
    pub fn is_for_the_machine(self) -> bool {
        self.row().for_the_machine
    }
}
