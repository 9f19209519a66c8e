//! Everything that can be wrong with a value of a job file, each with its code, its sentence and its way out.

use std::borrow::Cow;

use crate::key::Requirement;
use crate::units::{NRate, Product};

/// What is wrong.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Problem {
    /// Not TOML.
    #[error("this is not valid TOML: {reason}")]
    Syntax {
        /// What the parser said.
        reason: String,
    },
    /// Not UTF-8.
    #[error("byte {byte:#04x} is not UTF-8 text")]
    NotText {
        /// The byte.
        byte: u8,
    },
    /// A key that no section of this name has.
    #[error("unknown key \"{name}\"")]
    UnknownKey {
        /// The key.
        name: String,
        /// The nearest known key.
        near: Option<String>,
        /// Sections that do know it.
        elsewhere: Vec<&'static str>,
        /// Known keys of the section.
        known: Vec<&'static str>,
    },
    /// A value of another kind.
    #[error("this is {got}, but {requirement} is due")]
    WrongType {
        /// What stands there.
        got: &'static str,
        /// What is due.
        requirement: Cow<'static, str>,
    },
    /// A value that has no default.
    #[error("{what} is missing, and it has no default")]
    Missing {
        /// What it is.
        what: &'static str,
        /// A line that would do.
        example: String,
    },
    /// A value left to fill.
    #[error("this is still to be filled in")]
    Open,
    /// A list that is longer than any of its kind.
    #[error("this list has {count} tables, and at most {most} are read")]
    TooMany {
        /// Its tables.
        count: usize,
        /// The most that are read.
        most: usize,
    },
    /// Nothing between the quotes, or an empty list.
    #[error("this is empty")]
    Empty {
        /// A value that would do.
        example: &'static str,
    },
    /// Not one of the words that are known.
    #[error("\"{got}\" is not a known {what}")]
    Choice {
        /// What stands there.
        got: String,
        /// What it should name.
        what: &'static str,
        /// The nearest known word.
        near: Option<String>,
        /// All known words.
        known: Vec<String>,
    },
    /// Outside the range that makes sense.
    #[error("{got} lies outside {low} to {high}: {why}")]
    OutOfRange {
        /// What stands there.
        got: String,
        /// Least.
        low: String,
        /// Greatest.
        high: String,
        /// Why.
        why: &'static str,
    },
    /// A number without a unit.
    #[error("{number} of what? {} needs its unit", requirement.name())]
    BareNumber {
        /// The number.
        number: String,
        /// What is due.
        requirement: Requirement,
    },
    /// Mass per area where nitrogen is due.
    #[error(
        "{amount} can be read in two ways: \"{nitrogen} N/{area}\", or {amount} of {product} = {product_nitrogen}?"
    )]
    NitrogenOrProduct {
        /// As written.
        amount: String,
        /// Number and mass unit.
        nitrogen: String,
        /// Area unit.
        area: String,
        /// The product that it might be.
        product: String,
        /// The nitrogen that this much of it brings.
        product_nitrogen: String,
    },
    /// Nitrogen where product is due.
    #[error("{amount} is nitrogen, but product is due here{reading}")]
    ProductDue {
        /// As written.
        amount: String,
        /// The product rate that brings it, when a product is known.
        reading: String,
    },
    /// A product amount without a product.
    #[error("{amount} is an amount of product, but the job names no product")]
    NoProduct {
        /// As written.
        amount: String,
    },
    /// A volume of a product whose density is not known.
    #[error("{amount} is a volume, but no density is known of {product}")]
    NoDensity {
        /// As written.
        amount: String,
        /// The product.
        product: String,
    },
    /// A volume of a solid whose bulk density is not known.
    #[error("{amount} is a volume, but no bulk density is known of {product}")]
    NoBulkDensity {
        /// As written.
        amount: String,
        /// The product.
        product: String,
    },
    /// A working temperature of a liquid whose change with temperature is not known.
    #[error("how the density of {product} changes with temperature is not known")]
    NoDensityChange {
        /// The product.
        product: String,
    },
    /// A bare ton.
    #[error(
        "\"{text}\": a ton of which kind? {number} t (1000 kg), {number} short ton (907.18 kg, US) or {number} long ton (1016.05 kg)?"
    )]
    Ton {
        /// As written.
        text: String,
        /// The number.
        number: String,
    },
    /// An amount in bushels of a crop whose bushel is not known.
    #[error("no bushel mass is known of {crop}")]
    NoBushel {
        /// The crop.
        crop: String,
    },
    /// A unit that is not known.
    #[error("unknown unit \"{unit}\" for {}", requirement.name())]
    UnknownUnit {
        /// The unit.
        unit: String,
        /// The nearest known one.
        near: Option<String>,
        /// What is due.
        requirement: Requirement,
    },
    /// A unit of something else.
    #[error("{text} is {got}, but {} is due", requirement.name())]
    WrongQuantity {
        /// As written.
        text: String,
        /// What it measures.
        got: &'static str,
        /// What is due.
        requirement: Requirement,
    },
    /// A decimal comma.
    #[error(
        "\"{text}\" has a comma in its number; a point marks decimals here and nothing marks thousands"
    )]
    DecimalComma {
        /// As written.
        text: String,
        /// With a point.
        point: String,
    },
    /// Below zero.
    #[error("{text} is below zero")]
    Negative {
        /// As written.
        text: String,
    },
    /// Zero where something is due.
    #[error("{text} is nothing, but {what} must be above zero")]
    Zero {
        /// As written.
        text: String,
        /// What it is.
        what: &'static str,
    },
    /// NaN or infinity.
    #[error("{text} is not a finite number")]
    NotFinite {
        /// As written.
        text: String,
    },
    /// No number at the start of an amount.
    #[error("\"{text}\" does not begin with a number")]
    NotANumber {
        /// As written.
        text: String,
        /// What is due.
        requirement: Requirement,
    },
    /// Another currency than the job's.
    #[error("{text} is in {got}, but the job's currency is {requirement}")]
    Currency {
        /// As written.
        text: String,
        /// Its currency.
        got: String,
        /// The job's.
        requirement: String,
    },
    /// No currency in a price.
    #[error("{text} names no currency")]
    NoCurrency {
        /// As written.
        text: String,
        /// What is due.
        requirement: Requirement,
    },
    /// A date in no form that is read.
    #[error("this is no date of the calendar")]
    NotADate,
    /// Values that exclude one another.
    #[error("{} cannot stand together: they answer the same question", keys.join(" and "))]
    Together {
        /// Their keys.
        keys: Vec<String>,
    },
    /// None of several values of which one is needed.
    #[error("one of {} is needed", keys.join(", "))]
    NoneOf {
        /// Their keys.
        keys: Vec<String>,
        /// A line that would do.
        example: &'static str,
    },
    /// Two values in the wrong order.
    #[error("{low_key} ({low}) must not exceed {high_key} ({high})")]
    Order {
        /// Key of the value that should be lower.
        low_key: &'static str,
        /// It.
        low: String,
        /// Key of the value that should be higher.
        high_key: &'static str,
        /// It.
        high: String,
    },
    /// Two dates in the wrong order.
    #[error("{later_key} ({later}) must come after {earlier_key} ({earlier})")]
    DateOrder {
        /// Key of the date that should be earlier.
        earlier_key: &'static str,
        /// It.
        earlier: String,
        /// Key of the date that should be later.
        later_key: &'static str,
        /// It.
        later: String,
    },
    /// Two values that should agree.
    #[error("{one} and {other} disagree")]
    Disagree {
        /// Key and value.
        one: String,
        /// Key and value.
        other: String,
        /// What to do.
        way_out: &'static str,
    },
    /// No multiple of the step in the range.
    #[error("no multiple of the step {step} lets a rate vary between {minimum} and {maximum}")]
    Step {
        /// The step.
        step: String,
        /// Least rate.
        minimum: String,
        /// Greatest rate.
        maximum: String,
    },
    /// More growing days than days.
    #[error(
        "{growing_days} growing days, but only {days} days lie between planting ({planted}) and sensing ({sensed})"
    )]
    GrowingDays {
        /// As given.
        growing_days: f64,
        /// Days in between.
        days: i64,
        /// Planting date.
        planted: String,
        /// Sensing date.
        sensed: String,
    },
    /// An index formula that cannot be read.
    #[error("this index cannot be read: {reason}")]
    Index {
        /// Why.
        reason: String,
    },
    /// The curve was fitted with another index.
    #[error(
        "the yield curve was fitted with {curve}, but the image gives {image}: a curve holds for its own index only"
    )]
    CurveIndex {
        /// The curve's index.
        curve: String,
        /// The image's.
        image: String,
    },
    /// The curve belongs to another crop.
    #[error("the yield curve \"{curve}\" was fitted for {fitted}, but the crop is {crop}")]
    CurveCrop {
        /// The curve.
        curve: String,
        /// Its crop.
        fitted: String,
        /// The job's crop.
        crop: String,
    },
    /// A key of another method.
    #[error("this belongs to the method {}, but the method is {method}", of.join(" or "))]
    OtherMethod {
        /// The job's method.
        method: &'static str,
        /// Methods that know the key.
        of: Vec<&'static str>,
    },
    /// Published numbers of another crop.
    #[error(
        "the numbers of the method {method} were published for {made_for}, but the crop is {crop}"
    )]
    MethodCrop {
        /// The method.
        method: &'static str,
        /// Its crop.
        made_for: &'static str,
        /// The job's.
        crop: String,
    },
    /// Numbers that hold for another index.
    #[error(
        "the numbers of [response] hold for {made_for}, but the image gives {image}: thresholds of one index mean nothing for another"
    )]
    MethodIndex {
        /// The index of the numbers.
        made_for: String,
        /// The image's.
        image: String,
    },
    /// No ratio of near infrared to visible light.
    #[error("the visible line is read from near infrared over {light}, but the index is {index}")]
    VisibleIndex {
        /// The job's index.
        index: String,
        /// The light.
        light: String,
    },
    /// A table of crops that cannot be read.
    #[error("the table of crops {file} cannot be used: {reason}")]
    CropFile {
        /// As written.
        file: String,
        /// Why.
        reason: String,
    },
    /// Parameters that a method refuses.
    #[error("{reason}")]
    Method {
        /// Why.
        reason: String,
    },
    /// The season's limit leaves too little.
    #[error(
        "the season's limit of {limit} leaves {left} after {before} before and {since} since sensing: less than {minimum}"
    )]
    SeasonLimit {
        /// The limit.
        limit: String,
        /// What is left.
        left: String,
        /// Applied before sensing.
        before: String,
        /// Applied since.
        since: String,
        /// What would be needed.
        minimum: String,
    },
    /// A finding that cannot be accepted.
    #[error("\"{code}\" {why}, so there is nothing to accept")]
    Acceptance {
        /// As written.
        code: String,
        /// What it is.
        why: &'static str,
        /// The nearest code that can be accepted.
        near: Option<String>,
        /// Codes that can be accepted.
        known: Vec<&'static str>,
    },
    /// A value that stands twice.
    #[error("{what} stands twice")]
    Twice {
        /// What.
        what: String,
    },
    /// A product whose figures are not possible.
    #[error(
        "a product with a nitrogen share of {nitrogen} and a density of {density} is not possible"
    )]
    Product {
        /// Share.
        nitrogen: f64,
        /// Density, or `none`.
        density: String,
    },
}

impl Problem {
    /// Stable code for scripts.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Syntax { .. } => "job.syntax",
            Self::NotText { .. } => "job.not_text",
            Self::UnknownKey { .. } => "job.unknown_key",
            Self::WrongType { .. } => "job.wrong_type",
            Self::Missing { .. } => "job.missing",
            Self::Open => "job.open",
            Self::TooMany { .. } => "job.too_many",
            Self::Empty { .. } => "job.empty",
            Self::Choice { .. } => "job.unknown_name",
            Self::OutOfRange { .. } => "job.out_of_range",
            Self::BareNumber { .. } => "job.bare_number",
            Self::NitrogenOrProduct { .. } => "job.nitrogen_or_product",
            Self::ProductDue { .. } => "job.product_due",
            Self::NoProduct { .. } => "job.no_product",
            Self::NoDensity { .. } | Self::NoBulkDensity { .. } | Self::NoDensityChange { .. } => {
                "job.no_density"
            }
            Self::Ton { .. } => "job.bare_ton",
            Self::NoBushel { .. } => "job.no_bushel",
            Self::UnknownUnit { .. } => "job.unknown_unit",
            Self::WrongQuantity { .. } => "job.wrong_quantity",
            Self::DecimalComma { .. } => "job.decimal_comma",
            Self::Negative { .. } => "job.negative",
            Self::Zero { .. } => "job.zero",
            Self::NotFinite { .. } => "job.not_finite",
            Self::NotANumber { .. } => "job.not_a_number",
            Self::Currency { .. } => "job.currency",
            Self::NoCurrency { .. } => "job.no_currency",
            Self::NotADate => "job.not_a_date",
            Self::Together { .. } => "job.together",
            Self::NoneOf { .. } => "job.none_of",
            Self::Order { .. } => "job.order",
            Self::DateOrder { .. } => "job.date_order",
            Self::Disagree { .. } => "job.disagree",
            Self::Step { .. } => "job.step",
            Self::GrowingDays { .. } => "job.growing_days",
            Self::Index { .. } => "job.index",
            Self::CurveIndex { .. } => "job.curve_index",
            Self::CurveCrop { .. } => "job.curve_crop",
            Self::OtherMethod { .. } => "job.other_method",
            Self::MethodCrop { .. } => "job.method_crop",
            Self::MethodIndex { .. } => "job.method_index",
            Self::VisibleIndex { .. } => "job.visible_index",
            Self::CropFile { .. } => "job.crop_file",
            Self::Method { .. } => "job.method",
            Self::SeasonLimit { .. } => "job.season_limit",
            Self::Acceptance { .. } => "job.acceptance",
            Self::Twice { .. } => "job.twice",
            Self::Product { .. } => "job.product",
        }
    }

    /// The nearest known word, where a word was not known.
    pub fn suggestion(&self) -> Option<&str> {
        match self {
            Self::UnknownKey { near, .. }
            | Self::Choice { near, .. }
            | Self::Acceptance { near, .. }
            | Self::UnknownUnit { near, .. } => near.as_deref(),
            _ => None,
        }
    }

    /// What to do, for the value at `key`.
    pub fn hint(&self, key: &str) -> String {
        let leaf = key.rsplit('.').next().unwrap_or(key);
        match self {
            Self::Syntax { .. } => "a line reads key = \"text\", key = 1.5, key = 2026-04-14 or [section]; text stands in quotes".to_owned(),
            Self::NotText { .. } => "give a job file, text in UTF-8; `haulm new` writes a first one".to_owned(),
            Self::UnknownKey { near: Some(near), .. }
            | Self::Choice { near: Some(near), .. }
            | Self::Acceptance { near: Some(near), .. }
            | Self::UnknownUnit { near: Some(near), .. } => {
                format!("did you mean \"{near}\"?")
            }
            Self::UnknownKey { elsewhere, name, .. } if !elsewhere.is_empty() => format!("\"{name}\" belongs to [{}]", elsewhere.join("] or [")),
            Self::UnknownKey { known, .. } => format!("known here: {}", known.join(", ")),
            Self::WrongType { requirement, .. } => format!("write {requirement}"),
            Self::Missing { example, .. } => format!("add a line such as  {example}"),
            Self::Open => "replace TODO by your own value; the comment beside it says what and why".to_owned(),
            Self::TooMany { .. } => "put what belongs together into one file, and name that".to_owned(),
            Self::Empty { example } => format!("write for instance {example}, or take the line out"),
            Self::Choice { known, .. } => format!("known: {}", known.join(", ")),
            Self::Acceptance { known, .. } => format!("take it out; findings that stop a job: {}", known.join(", ")),
            Self::OutOfRange { low, high, .. } => format!("give a value from {low} to {high}"),
            Self::BareNumber { number, requirement } => format!("write {leaf} = {}", requirement.examples(number)),
            Self::NitrogenOrProduct { nitrogen, area, product_nitrogen, .. } => {
                format!(
                    "for nitrogen write \"{nitrogen} N/{area}\"; for product write the nitrogen in it: \"{product_nitrogen}\""
                )
            }
            Self::ProductDue { .. } => "write the product rate, for instance \"40 kg/ha\" or \"40 L/ha\"".to_owned(),
            Self::NoProduct { .. } => "add [product] with name = \"urea\", or write nitrogen: \"60 kg N/ha\"".to_owned(),
            Self::NoDensity { .. } => "add density = \"1.28 kg/L\" to [product], or write the amount by mass".to_owned(),
            Self::NoBulkDensity { .. } => "add bulk_density = \"750 kg/m3\" to [product], or write the load by mass".to_owned(),
            Self::NoDensityChange { .. } => "take temperature out and give the density that you measured at it: density = \"1.28 kg/L\"".to_owned(),
            Self::Ton { number, .. } => format!("write \"{number} t\", \"{number} short ton\" or \"{number} long ton\""),
            Self::NoBushel { .. } => "write the yield by mass, for instance \"6.7 t/ha\", or give bushel = \"60 lb\" in [crop]".to_owned(),
            Self::UnknownUnit { requirement, .. } => format!("known: {}", requirement.units().join(", ")),
            Self::WrongQuantity { requirement, .. } | Self::NotANumber { requirement, .. } => format!("write for instance {}", requirement.examples("10")),
            Self::DecimalComma { point, .. } => format!("write \"{point}\" if the comma marked decimals"),
            Self::Negative { .. } if key == "imagery.scale" => "give a value above zero".to_owned(),
            Self::Negative { .. } => "give zero or more".to_owned(),
            Self::Zero { .. } => "give a value above zero".to_owned(),
            Self::NotFinite { .. } => "give a plain number".to_owned(),
            Self::Currency { requirement, .. } => format!("write every price in {requirement}, or change prices.currency"),
            Self::NoCurrency { requirement, .. } => format!("write for instance {}", requirement.examples("6")),
            Self::NotADate => format!("write year, month, day: {leaf} = 2026-04-14"),
            Self::Together { .. } | Self::Twice { .. } => "keep one of them".to_owned(),
            Self::NoneOf { example, .. } => format!("add a line such as  {example}"),
            Self::Order { low_key, high_key, .. } => format!("raise {high_key} or lower {low_key}"),
            Self::DateOrder { .. } => "check both years".to_owned(),
            Self::Disagree { way_out, .. } => (*way_out).to_owned(),
            Self::Step { .. } => "choose a smaller step, or a wider range".to_owned(),
            Self::GrowingDays { .. } => "check season.growing_days and both dates; growing days are counted, not summed degrees".to_owned(),
            Self::Index { .. } => "write a name of `haulm indices`, \"band 1\", or a formula such as \"(nir - red) / (nir + red)\"".to_owned(),
            Self::CurveIndex { curve, .. } => format!("set imagery.index = \"{curve}\", or give a curve fitted with the image's index"),
            Self::CurveCrop { .. } => "choose a curve of the crop, or correct season.crop".to_owned(),
            Self::OtherMethod { of, .. } => format!("take it out, or set response.method = \"{}\"", of.first().unwrap_or(&"")),
            Self::MethodCrop { made_for, .. } => {
                format!("choose another method, give numbers of your own with their source, or correct season.crop if it is {made_for}")
            }
            Self::MethodIndex { made_for, .. } => format!("set imagery.index = \"{made_for}\", or give numbers that hold for the image's index"),
            Self::VisibleIndex { light, .. } => {
                if light == "red" {
                    "set imagery.index = \"SR\", near infrared over red: it rises with canopy as every index here must".to_owned()
                } else {
                    format!("set imagery.index = \"nir / {light}\": it rises with canopy as every index here must")
                }
            }
            Self::CropFile { .. } => "write [[crop]] and [[curve]] tables with the keys of the guide on crops, each with its source".to_owned(),
            Self::Method { .. } => "correct the number that the message names; `haulm methods` tells what each method needs".to_owned(),
            Self::SeasonLimit { .. } => "nothing more may go on this season within that limit; correct the amounts if they are wrong".to_owned(),
            Self::Product { .. } => "nitrogen is a share of mass above 0 and at most 1, density 0.3 to 3 kg/L".to_owned(),
        }
    }

    /// Mass or volume per area where nitrogen is due, with what it would be as `product`.
    pub(crate) fn nitrogen_or_product(
        number: &str,
        mass: &str,
        area: &str,
        nitrogen_kg_ha: f64,
        product: &Product,
        us: bool,
    ) -> Self {
        let in_product = nitrogen_kg_ha * product.nitrogen();
        let (value, unit) = if us {
            (NRate::kg_per_ha(in_product).as_lb_per_ac(), "lb N/ac")
        } else {
            (in_product, "kg N/ha")
        };
        Self::NitrogenOrProduct {
            amount: format!("{number} {mass}/{area}"),
            nitrogen: format!("{number} {mass}"),
            area: area.to_owned(),
            product: product.name().to_owned(),
            product_nitrogen: format!("{} {unit}", short(value)),
        }
    }
}

/// A rate of nitrogen as somebody would have typed it, in the units of whoever reads the job.
pub(crate) fn rate_told(rate: NRate, us: bool) -> String {
    if us {
        format!("{} lb N/ac", short(rate.as_lb_per_ac()))
    } else {
        format!("{} kg N/ha", short(rate.get()))
    }
}

/// A number for people: at most two decimals, no trailing zeros.
pub(crate) fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
