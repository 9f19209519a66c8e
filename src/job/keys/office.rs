//! `[prices]`, `[uncertainty]`, `[application]`, `[[accept]]`, `[record]`, `[report]` and `[output]`.

use crate::job::settings::Format;
use crate::key::{Any, Kind, Requirement, Word, key, keys, words};
use crate::map::task_options::{TaskKind, TaskVersion};
use crate::units::RateUnit;
use jiff::civil::Date;

words!(for RateUnit by label { KgPerHa, LPerHa, LbPerAc, GalPerAc, });
words!(for TaskVersion by word { V3, V4, });
words!(for TaskKind by word { Grid, Zones, Polygons, });

keys! {
    PRICES: PricesKeys = "prices", "[prices]", "Prices, in one currency, for what the map earns; they move a rate only with response.economic.",
    {
        currency: String = key(
            Kind::Text,
            "the currency",
            "\"USD\"",
            "Currency of every price, in your own word.",
        )
        .or_else("that of the first price"),
        grain: Any = key(
            Kind::Amount(Requirement::GrainPrice),
            "the price of grain",
            "\"6 USD/bu\"",
            "Price of grain.",
        )
        .required().option("--grain-price"),
        nitrogen: Any = key(
            Kind::Amount(Requirement::NitrogenPrice),
            "the price of nitrogen (or of the product)",
            "\"0.60 USD/lb N\"",
            "Price of nitrogen.",
        )
        .required_when("unless product is given").option("--nitrogen-price"),
        product: Any = key(
            Kind::Amount(Requirement::ProductPrice),
            "the price of the product",
            "\"450 USD/t\"",
            "Price of the product, instead of nitrogen.",
        ).option("--product-price"),
        application: Any = key(
            Kind::Amount(Requirement::AreaPrice),
            "the price of the pass",
            "\"7 USD/ac\"",
            "Price of the pass per area.",
        )
        .or_else("0").option("--application-price"),
        mapping: Any = key(
            Kind::Amount(Requirement::AreaPrice),
            "the price of the map",
            "\"3 USD/ac\"",
            "Price of image and map per area.",
        )
        .or_else("0"),
    }
}

keys! {
    UNCERTAINTY: UncertaintyKeys = "uncertainty", "[uncertainty]", "The 80 % range (P10 to P90) of the nitrogen of field, zones and cells, by Monte Carlo.",
    {
        draws: i64 = key(
            Kind::Whole,
            "the draws",
            "1000",
            "Monte Carlo draws; 0 draws nothing.",
        )
        .within("0", "20000", "1000 draws as a rule; 0 draws nothing")
        .or("1000"),
        seed: i64 = key(
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
        use_efficiency_spread: f64 = key(
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
        .or("0.2").recorded(""),
        place_spread: f64 = key(
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
        .or_else("what placebo strips show; without enough of them, by the number of strips").recorded(""),
    }
}

keys! {
    APPLICATION: ApplicationKeys = "application", "[application]", "When the nitrogen is to be applied.",
    {
        date: Date = key(
            Kind::Date,
            "the date of application",
            "2026-04-18",
            "Planned date of application.",
        ),
        maximum_image_age: i64 = key(
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
        .or("14").recorded("d"),
    }
}

keys! {
    ACCEPT: AcceptKeys = "accept", "[[accept]]", "A finding that would stop the run, and who lets it go on.",
    {
        code: String = key(
            Kind::Text,
            "the code of the finding",
            "\"image.age\"",
            "Code of the finding.",
        )
        .required(),
        figure: String = key(
            Kind::Text,
            "the accepted figure",
            "\"19 d\"",
            "The finding's figure, as it prints it; more than 10 % off, or missing, and the finding stops again.",
        ),
        reason: String = key(
            Kind::Text,
            "why it is accepted",
            "\"cold spell, no growth\"",
            "Why it is accepted; stands in the record.",
        )
        .required(),
        by: String = key(
            Kind::Text,
            "who accepts it",
            "\"A. Adviser\"",
            "Who accepts it.",
        )
        .required(),
    }
}

keys! {
    RECORD: RecordKeys = "record", "[record]", "Under which names field and task are filed.",
    {
        client: String = key(
            Kind::Text,
            "the client",
            "\"A. Grower\"",
            "Client (customer, grower) that task data, card and report name.",
        ),
        farm: String = key(
            Kind::Text,
            "the farm",
            "\"Home farm\"",
            "Farm that task data, card and report name.",
        ),
    }
}

keys! {
    REPORT: ReportKeys = "report", "[report]", "What the report holds besides its five pages.",
    {
        appendix: bool = key(
            Kind::YesNo,
            "the appendix",
            "true",
            "An appendix with every zone and every place of the walk beyond 20, and further strips.",
        )
        .or("false"),
        pdf: bool = key(
            Kind::YesNo,
            "the report as PDF",
            "false",
            "Whether the report is written as PDF too; as a page it is written in any case.",
        )
        .or("true"),
    }
}

keys! {
    OUTPUT: OutputKeys = "output", "[output]", "Where and in which formats the prescription is written.",
    {
        folder: String = key(
            Kind::Path,
            "the output folder",
            "\"out\"",
            "Folder for everything that a run leaves.",
        )
        .or("\"out\""),
        unit: RateUnit = key(
            Kind::Words(RateUnit::WORDS),
            "unit of a product rate",
            "\"L/ha\"",
            "Unit of the rate column in machine files.",
        )
        .or_else("metric or US as the job's own amounts, by mass or volume as the product"),
        formats: Any = key(
            Kind::List(&Kind::Words(Format::WORDS)),
            "format",
            "[\"geopackage\", \"iso11783\"]",
            "Formats that are written.",
        )
        .or("[\"geopackage\", \"geojson\", \"shapefile\", \"geotiff\", \"iso11783\"]"),
        task_data: Any = key(
            Kind::Table("output.task_data"),
            "the task data",
            "{ version = \"3.3\", kind = \"grid\" }",
            "How ISO 11783 task data hold the map.",
        ),
    }
}

keys! {
    TASK_DATA: TaskDataKeys = "output.task_data", "task_data = { … }", "How ISO 11783 task data hold the map.",
    {
        version: TaskVersion = key(
            Kind::Words(TaskVersion::WORDS),
            "version of task data",
            "\"3.3\"",
            "Version of ISO 11783-10 task data.",
        )
        .or("\"3.3\""),
        kind: TaskKind = key(
            Kind::Words(TaskKind::WORDS),
            "kind of task data",
            "\"grid\"",
            "Grid of rates, grid of treatment zones, or polygons.",
        )
        .or("\"grid\""),
    }
}
