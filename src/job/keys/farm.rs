//! The farm file: many fields, their images, what they share, and what is otherwise in some.

use std::path::PathBuf;

use super::field::{LAYER, PATH, WHERE};
use crate::key::{Any, Kind, key, keys};

keys! {
    /// The farm file itself.
    FARM: FarmKeys = "farm", "a farm file", "One TOML file: many fields, one season. Every key of a job can stand in [common], in a column of the fields, or in an [[exception]].",
    {
        name: String = key(
            Kind::Text,
            "the farm's name",
            "\"Home farm\"",
            "Name of the farm on the index page.",
        )
        .or_else("the name of the farm file"),
        output: String = key(
            Kind::Path,
            "the output folder",
            "\"season\"",
            "Folder for everything: one folder a field in it, the farm's tables, its index page.",
        )
        .or("\"season\""),
        minimum_cover: f64 = key(
            Kind::Share,
            "the share of a field",
            "0.9",
            "Share of a field's pixels that an image must show, free of cloud, or the next older image is taken.",
        )
        .within("0", "1", "a share of an area, 0 to 1")
        .or("0.9"),
        fields: Any = key(Kind::Table("farm.fields"), "the fields", "{ path = \"fields.gpkg\" }", "The layer of fields.").required(),
        strips: Any = key(Kind::Table("farm.strips"), "the strips", "{ path = \"strips.gpkg\" }", "Reference strips of all fields in one layer."),
        images: Any = key(
            Kind::Tables("imagery"),
            "the images",
            "[{ path = \"tile.tif\", date = 2026-04-14 }]",
            "Images, each with keys of [imagery]; each field takes the newest that shows it.",
        ),
        catalogue: Any = key(Kind::Table("farm.catalogue"), "the catalogue", "{ path = \"catalog.json\", bands = { red = \"B04\", nir = \"B08\" } }", "A static catalogue of scenes on disk, besides or instead of images."),
        common: Any = key(Kind::Table(""), "the common keys", "{ rate = { maximum = \"150 kg N/ha\" } }", "Sections of a job that hold for every field."),
        exception: Any = key(Kind::Tables("farm.exception"), "the exceptions", "[{ field = \"Long Ley\", reason = \"late sown\" }]", "What is otherwise in some fields."),
    }
}

keys! {
    FARM_FIELDS: FarmFieldsKeys = "farm.fields", "[fields]", "The layer of fields: one feature a field.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
        name: String = key(
            Kind::Text,
            "the column of names",
            "\"name\"",
            "Column that names the fields; each name once.",
        )
        .or_else("the first column that tells all fields apart"),
        columns: Any = key(
            Kind::Free(&Kind::Or(&[Kind::Text, Kind::Table("farm.fields.columns")])),
            "the columns",
            "{ season.planted = \"sown\", response.maximum_yield = { column = \"yield\", unit = \"t/ha\" } }",
            "Keys of the job whose values stand in columns of the layer; where a field has none, [common] counts.",
        ),
    }
}

keys! {
    FARM_COLUMN: FarmColumnKeys = "farm.fields.columns", "season.planted = { … }", "A column whose numbers need a unit.",
    {
        column: String = key(Kind::Text, "the column", "\"yield\"", "Column of the layer of fields.").required(),
        unit: String = key(Kind::Text, "the unit", "\"t/ha\"", "Unit of the column's numbers.").or_else("as the column's text has it"),
    }
}

keys! {
    FARM_STRIPS: FarmStripsKeys = "farm.strips", "[strips]", "Reference strips of all fields in one layer.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
        column: String = key(
            Kind::Text,
            "the column of field names",
            "\"field\"",
            "Column that holds the name of each strip's field.",
        )
        .or_else("by location: a strip belongs to each field that holds 5 % of it or more"),
    }
}

keys! {
    FARM_CATALOGUE: FarmCatalogueKeys = "farm.catalogue", "[catalogue]", "A static STAC catalogue on disk: an item a scene, its bands as assets. Each field takes the newest scene that shows it.",
    {
        path: PathBuf = key(Kind::Path, "the catalogue", "\"catalog.json\"", "Its catalogue, collection, or collection of items; scenes lie in its folder.").required(),
        bands: Any = key(
            Kind::Free(&Kind::Text),
            "the assets of bands",
            "{ red = \"B04\", nir = \"B08\" }",
            "Asset that holds each band.",
        )
        .required(),
        mask: String = key(
            Kind::Text,
            "the asset of the mask",
            "\"scl\"",
            "Asset that holds the mask; [common.imagery] says what counts: mask = { keep = [4, 5] }.",
        ),
        maximum_cloud: f64 = key(
            Kind::Share,
            "the cloud of a scene",
            "0.6",
            "Share of a scene under cloud, by its own account, above which it is not looked at.",
        )
        .within("0", "1", "a share of an area, 0 to 1")
        .or("1"),
    }
}

keys! {
    FARM_EXCEPTION: FarmExceptionKeys = "farm.exception", "[[exception]]", "What is otherwise in one field; a list of tables, such as field.exclude, is added to the common one.",
    {
        field: String = key(Kind::Text, "the field's name", "\"Long Ley\"", "Name of the field.").required(),
        reason: String = key(Kind::Text, "the reason", "\"late sown\"", "Why it is otherwise; stands in the table of fields.").required(),
        job: Any = key(Kind::Table(""), "the keys", "{ rate = { maximum = \"80 kg N/ha\" } }", "Sections of a job, with the keys that are otherwise.").required(),
    }
}
