//! `[field]`: the ground to be mapped.

use std::path::PathBuf;

use crate::job::settings::VectorSource;
use crate::key::{Any, Key, Kind, Requirement, Word, key, keys, words};
use crate::units::Length;

/// File of a vector layer.
pub(super) const PATH: Key = key(
    Kind::Path,
    "the file",
    "\"farm.gpkg\"",
    "Vector file that GDAL reads, relative to the job file.",
)
.required();

/// Layer of the file.
pub(super) const LAYER: Key = key(Kind::Text, "the layer", "\"fields\"", "Layer of the file.")
    .or_else("the only layer of the file");

/// Filter of the layer.
pub(super) const WHERE: Key = key(
    Kind::Text,
    "the filter",
    "\"FIELD_ID = '12'\"",
    "Attribute filter (SQL WHERE): only features that meet it are read.",
)
.or_else("every feature");

words! {
    /// `field.strips`.
    pub(crate) enum StripsMapped {
        /// Strips get a rate like the rest.
        Map = "map",
        /// They get none.
        Leave = "leave",
    }
}

keys! {
    FIELD: FieldKeys = "field", "[field]", "The field: its boundary, what is left out of it, and its hard edges.",
    {
        name: String = key(
            Kind::Text,
            "the field's name",
            "\"Long Ley\"",
            "Name of the field on screen, card and report; also names the machine files.",
        )
        .or_else("the name of the boundary file"),
        region: String = key(
            Kind::Text,
            "the region",
            "\"dry plains\"",
            "Region of the field, compared with the region that the yield curve was fitted in.",
        ),
        boundary: VectorSource = key(
            Kind::Layer("field.boundary"),
            "the field's boundary",
            "\"boundary.geojson\"",
            "Polygon of the field; holes in it get nothing.",
        )
        .required_for_a_map(),
        merge: bool = key(
            Kind::YesNo,
            "the merging of features",
            "true",
            "Whether several boundary features are joined into one field.",
        )
        .or("false"),
        crs: String = key(
            Kind::Text,
            "the working plane",
            "\"EPSG:32633\"",
            "Working plane: a projected reference system in metres with a scale of 0.998 to 1.002.",
        )
        .or_else("the image's own if it serves, else the UTM zone of the field"),
        strips: StripsMapped = key(
            Kind::Words(StripsMapped::WORDS),
            "the way with strips",
            "\"map\"",
            "Whether the reference strips get a rate like the rest, or none.",
        )
        .or("\"map\""),
        exclude: Any = key(
            Kind::Tables("field.exclude"),
            "the ground left out",
            "[{ path = \"wet_corner.geojson\", buffer = \"10 m\", reason = \"open water\" }]",
            "Ground that must get nothing; as many tables as needed.",
        ),
        edge: Any = key(
            Kind::Tables("field.edge"),
            "the hard edges",
            "[{ path = \"ditch.geojson\" }]",
            "Hard edges such as ditches and hedges, at which rates beyond the boundary (machine.overrun) stop.",
        ),
    }
}

keys! {
    BOUNDARY: BoundaryKeys = "field.boundary", "boundary = { … }", "The boundary as a layer of a file.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
        merge: bool = key(
            Kind::YesNo,
            "the merging of features",
            "true",
            "Whether several features are joined into one field.",
        )
        .or("false"),
    }
}

keys! {
    EXCLUDE: ExcludeKeys = "field.exclude", "[[field.exclude]]", "Ground that must get nothing.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
        buffer: Length = key(
            Kind::Amount(Requirement::Length),
            "the buffer",
            "\"10 m\"",
            "Distance around the ground that gets nothing either: look up what law and label ask.",
        )
        .within("0 m", "2000 m", "wider than any buffer strip")
        .or("\"0 m\""),
        reason: String = key(
            Kind::Text,
            "the reason",
            "\"open water\"",
            "Why it is left out; stands on card and report.",
        ),
    }
}

keys! {
    EDGE: EdgeKeys = "field.edge", "[[field.edge]]", "Lines at which rates beyond the boundary stop.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
    }
}
