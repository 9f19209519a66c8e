//! `[field]`: the ground to be mapped.

use crate::job::fault::Wanted;
use crate::job::keys::row::{Key, Kind, Table, key};

/// File of a vector layer.
pub(super) const PATH: Key = key(
    "path",
    Kind::Path,
    "the file",
    "\"farm.gpkg\"",
    "Vector file that GDAL reads, relative to the job file.",
)
.required();

/// Layer of the file.
pub(super) const LAYER: Key = key(
    "layer",
    Kind::Text,
    "the layer",
    "\"fields\"",
    "Layer of the file.",
)
.or_else("the only layer of the file");

/// Filter of the layer.
pub(super) const WHERE: Key = key(
    "where",
    Kind::Text,
    "the filter",
    "\"FIELD_ID = '12'\"",
    "Attribute filter (SQL WHERE): only features that meet it are read.",
)
.or_else("every feature");

/// A path, layer and filter, and nothing else.
pub(super) const LAYER_KEYS: &[Key] = &[PATH, LAYER, WHERE];

pub(super) const FIELD: Table = Table {
    name: "field",
    heading: "[field]",
    about: "The field: its boundary, what is left out of it, and its hard edges.",
    keys: &[
        key(
            "name",
            Kind::Text,
            "the field's name",
            "\"Long Ley\"",
            "Name of the field on screen, card and report; also names the machine files.",
        )
        .or_else("the name of the boundary file"),
        key(
            "region",
            Kind::Text,
            "the region",
            "\"dry plains\"",
            "Region of the field, compared with the region that the yield curve was fitted in.",
        ),
        key(
            "boundary",
            Kind::Layer("field.boundary"),
            "the field's boundary",
            "\"boundary.geojson\"",
            "Polygon of the field; holes in it get nothing.",
        )
        .required_for_a_map(),
        key(
            "merge",
            Kind::YesNo,
            "the merging of features",
            "true",
            "Whether several boundary features are joined into one field.",
        )
        .or("false"),
        key(
            "crs",
            Kind::Text,
            "the working plane",
            "\"EPSG:32633\"",
            "Working plane: a projected reference system in metres with a scale of 0.998 to 1.002.",
        )
        .or_else("the image's own if it serves, else the UTM zone of the field"),
        key(
            "strips",
            Kind::Words(&["map", "leave"]),
            "the way with strips",
            "\"map\"",
            "Whether the reference strips get a rate like the rest, or none.",
        )
        .or("\"map\""),
        key(
            "exclude",
            Kind::Tables("field.exclude"),
            "the ground left out",
            "[{ path = \"wet_corner.geojson\", buffer = \"10 m\", reason = \"open water\" }]",
            "Ground that must get nothing; as many tables as needed.",
        ),
        key(
            "edge",
            Kind::Tables("field.edge"),
            "the hard edges",
            "[{ path = \"ditch.geojson\" }]",
            "Hard edges such as ditches and hedges, at which rates beyond the boundary (machine.overrun) stop.",
        ),
    ],
};

pub(super) const BOUNDARY: Table = Table {
    name: "field.boundary",
    heading: "boundary = { … }",
    about: "The boundary as a layer of a file.",
    keys: &[
        PATH,
        LAYER,
        WHERE,
        key(
            "merge",
            Kind::YesNo,
            "the merging of features",
            "true",
            "Whether several features are joined into one field.",
        )
        .or("false"),
    ],
};

pub(super) const EXCLUDE: Table = Table {
    name: "field.exclude",
    heading: "[[field.exclude]]",
    about: "Ground that must get nothing.",
    keys: &[
        PATH,
        LAYER,
        WHERE,
        key(
            "buffer",
            Kind::Amount(Wanted::Length),
            "the buffer",
            "\"10 m\"",
            "Distance around the ground that gets nothing either: look up what law and label ask.",
        )
        .within("0 m", "2000 m", "wider than any buffer strip")
        .or("\"0 m\""),
        key(
            "reason",
            Kind::Text,
            "the reason",
            "\"open water\"",
            "Why it is left out; stands on card and report.",
        ),
    ],
};

pub(super) const EDGE: Table = Table {
    name: "field.edge",
    heading: "[[field.edge]]",
    about: "Lines at which rates beyond the boundary stop.",
    keys: LAYER_KEYS,
};
