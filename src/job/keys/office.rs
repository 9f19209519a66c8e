//! `[prices]`, `[uncertainty]`, `[application]`, `[[accept]]` and `[output]`.

use crate::job::fault::Wanted;
use crate::job::keys::row::{Kind, Table, key};

pub(super) const PRICES: Table = Table {
    name: "prices",
    heading: "[prices]",
    about: "Prices, in one currency, for what the map earns; they move a rate only with response.economic.",
    keys: &[
        key(
            "currency",
            Kind::Text,
            "the currency",
            "\"USD\"",
            "Currency of every price, in your own word.",
        )
        .or_else("that of the first price"),
        key(
            "grain",
            Kind::Amount(Wanted::GrainPrice),
            "the price of grain",
            "\"6 USD/bu\"",
            "Price of grain.",
        )
        .required(),
        key(
            "nitrogen",
            Kind::Amount(Wanted::NitrogenPrice),
            "the price of nitrogen (or of the product)",
            "\"0.60 USD/lb N\"",
            "Price of nitrogen.",
        )
        .required_when("unless product is given"),
        key(
            "product",
            Kind::Amount(Wanted::ProductPrice),
            "the price of the product",
            "\"450 USD/t\"",
            "Price of the product, instead of nitrogen.",
        ),
        key(
            "application",
            Kind::Amount(Wanted::AreaPrice),
            "the price of the pass",
            "\"7 USD/ac\"",
            "Price of the pass per area.",
        )
        .or_else("0"),
        key(
            "mapping",
            Kind::Amount(Wanted::AreaPrice),
            "the price of the map",
            "\"3 USD/ac\"",
            "Price of image and map per area.",
        )
        .or_else("0"),
    ],
};

pub(super) const UNCERTAINTY: Table = Table {
    name: "uncertainty",
    heading: "[uncertainty]",
    about: "The 80 % range (P10 to P90) of the nitrogen of field, zones and cells, by Monte Carlo.",
    keys: &[
        key(
            "draws",
            Kind::Whole,
            "the draws",
            "1000",
            "Monte Carlo draws; 0 draws nothing.",
        )
        .within("0", "20000", "1000 draws as a rule; 0 draws nothing")
        .or("1000"),
        key(
            "seed",
            Kind::Whole,
            "the seed",
            "1",
            "Seed of the draws; the same one gives the same draws.",
        )
        .within(
            "0",
            "4294967295",
            "any seed does; the same one gives the same draws",
        )
        .or("1"),
        key(
            "use_efficiency_spread",
            Kind::Share,
            "the uncertainty of use efficiency",
            "0.2",
            "Half of the range of use efficiency over its middle: 0.2 is 0.4 to 0.6 around 0.5.",
        )
        .within(
            "0",
            "0.9",
            "a share of use_efficiency: 0.2 is 0.4 to 0.6 around 0.5",
        )
        .or("0.2"),
        key(
            "place_spread",
            Kind::Share,
            "the uncertainty of the strip's place",
            "0.04",
            "Standard deviation of the reference index for where the strip lies, as a share of it.",
        )
        .within(
            "0",
            "0.5",
            "a share of the reference index, one standard deviation: 0.04 for one strip where no placebo strips show it",
        )
        .or_else("what placebo strips show; without enough of them, by the number of strips"),
    ],
};

pub(super) const APPLICATION: Table = Table {
    name: "application",
    heading: "[application]",
    about: "When the nitrogen is to be applied.",
    keys: &[
        key(
            "date",
            Kind::Date,
            "the date of application",
            "2026-04-18",
            "Planned date of application.",
        ),
        key(
            "maximum_image_age",
            Kind::Whole,
            "the age of the image",
            "14",
            "Days after which the image no longer shows the crop that is fertilised.",
        )
        .within(
            "0",
            "365",
            "days after which an image no longer shows the crop",
        )
        .or("14"),
    ],
};

pub(super) const ACCEPT: Table = Table {
    name: "accept",
    heading: "[[accept]]",
    about: "A finding that would stop the run, and who lets it go on.",
    keys: &[
        key(
            "code",
            Kind::Text,
            "the code of the finding",
            "\"image.age\"",
            "Code of the finding.",
        )
        .required(),
        key(
            "figure",
            Kind::Text,
            "the accepted figure",
            "\"19 d\"",
            "The finding's figure, as it prints it; more than 10 % off, or missing, and the finding stops again.",
        ),
        key(
            "reason",
            Kind::Text,
            "why it is accepted",
            "\"cold spell, no growth\"",
            "Why it is accepted; stands in the record.",
        )
        .required(),
        key(
            "by",
            Kind::Text,
            "who accepts it",
            "\"A. Adviser\"",
            "Who accepts it.",
        )
        .required(),
    ],
};

pub(super) const OUTPUT: Table = Table {
    name: "output",
    heading: "[output]",
    about: "Where and in which formats the prescription is written.",
    keys: &[
        key(
            "folder",
            Kind::Path,
            "the output folder",
            "\"out\"",
            "Folder for everything that a run leaves.",
        )
        .or("\"out\""),
        key(
            "unit",
            Kind::Words(&["kg/ha", "L/ha", "lb/ac", "gal/ac"]),
            "unit of a product rate",
            "\"L/ha\"",
            "Unit of the rate column in machine files.",
        )
        .or_else("metric or US as the job's own amounts, by mass or volume as the product"),
        key(
            "formats",
            Kind::List(&Kind::Words(&[
                "geopackage",
                "geojson",
                "shapefile",
                "geotiff",
                "iso11783",
                "kml",
                "flatgeobuf",
            ])),
            "format",
            "[\"geopackage\", \"iso11783\"]",
            "Formats that are written.",
        )
        .or("[\"geopackage\", \"geojson\", \"shapefile\", \"geotiff\", \"iso11783\"]"),
        key(
            "task_data",
            Kind::Table("output.task_data"),
            "the task data",
            "{ version = \"3.3\", kind = \"grid\" }",
            "How ISO 11783 task data hold the map.",
        ),
    ],
};

pub(super) const TASK_DATA: Table = Table {
    name: "output.task_data",
    heading: "task_data = { … }",
    about: "How ISO 11783 task data hold the map.",
    keys: &[
        key(
            "version",
            Kind::Words(&["3.3", "4.3"]),
            "version of task data",
            "\"3.3\"",
            "Version of ISO 11783-10 task data.",
        )
        .or("\"3.3\""),
        key(
            "kind",
            Kind::Words(&["grid", "zones", "polygons"]),
            "kind of task data",
            "\"grid\"",
            "Grid of rates, grid of treatment zones, or polygons.",
        )
        .or("\"grid\""),
    ],
};
