//! The arguments: one definition for parsing, help, completions and manual pages.

use std::net::IpAddr;
use std::num::{NonZeroU16, NonZeroU64};
use std::path::PathBuf;

use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Args, CommandFactory, Parser, Subcommand, ValueEnum, ValueHint};
use jiff::civil::Date;

use crate::app::api::{DEFAULT_MEMORY_MIB, DEFAULT_WIDTH, MAXIMUM_WIDTH, Subject};
use crate::cli::batch::BatchArgs;
use crate::cli::explain::CodeParser;
use crate::cli::known::KnownParser;
use crate::cli::stick::StickArgs;
use crate::format::Format;

/// Columns that help is wrapped to, on however wide a terminal.
pub const HELP_WIDTH: usize = 80;

/// Works out in season how much nitrogen each part of a field still needs.
///
/// Canopy image, N-rich reference strip and field boundary in; prescription map
/// for spreader or sprayer out.
#[derive(Debug, Parser)]
#[command(name = "haulm", version, max_term_width = HELP_WIDTH, subcommand_required = true, arg_required_else_help = true)]
#[command(
    after_help = "Example:\n  haulm new boundary.geojson mosaic.tif --strips strips.geojson\n  haulm map job.toml"
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// Options of every command.
    #[command(flatten)]
    pub global: Global,
}

/// Options of every command.
#[derive(Args, Debug)]
pub struct Global {
    /// Print one JSON document for scripts instead of text [default: text]
    #[arg(long, global = true)]
    pub json: bool,
    /// Show neither progress nor messages, errors excepted [default: show]
    #[arg(short, long, global = true)]
    pub quiet: bool,
    /// Log what haulm does, for its makers; twice or thrice for more [default: no log]
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    pub verbose: u8,
    /// When to use colours; auto: on a terminal, unless `NO_COLOR` is set
    #[arg(
        long,
        global = true,
        value_name = "WHEN",
        default_value = "auto",
        hide_possible_values = false
    )]
    pub color: ColourWhen,
    /// Threads to compute with [default: one a core]; the result is the same
    #[arg(long, global = true, value_name = "COUNT")]
    pub threads: Option<NonZeroU16>,
    /// Memory to stay within: image windows are cut to it, too many cells are refused
    #[arg(long, global = true, value_name = "MiB", default_value_t = DEFAULT_MEMORY)]
    pub memory: NonZeroU64,
    /// Let inputs be read over the network [default: local files only]
    #[arg(long, global = true)]
    pub network: bool,
    /// Units that people read first [default: those of the job: us if any key is in US units]
    #[arg(
        long,
        global = true,
        value_name = "SYSTEM",
        hide_possible_values = false
    )]
    pub units: Option<UnitSystem>,
}

/// Systems of units.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum UnitSystem {
    /// kg/ha, L/ha, ha, m
    Metric,
    /// lb/ac, gal/ac, ac, ft
    Us,
}

const DEFAULT_MEMORY: NonZeroU64 =
    NonZeroU64::new(DEFAULT_MEMORY_MIB).expect("a constant above zero");

/// When to use colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ColourWhen {
    /// On a terminal that shows them
    Auto,
    /// Also into a pipe
    Always,
    /// Not at all
    Never,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a commented first job file from a boundary and an image
    #[command(
        after_help = "Example:\n  haulm new boundary.geojson mosaic.tif --strips strips.geojson"
    )]
    New(Box<NewArgs>),
    /// Show what a job's inputs hold, before any rate
    #[command(after_help = "Example:\n  haulm inspect long-ley.toml")]
    Inspect(JobArgs),
    /// Make the prescription map of a job, or of several, for machine and office
    #[command(
        after_help = "Example:\n  haulm map long-ley.toml --output long-ley-map\n  haulm map jobs"
    )]
    Map(MapArgs),
    /// Make the maps of many fields in one run, from one farm file
    #[command(after_help = "Example:\n  haulm batch farm.toml --stick /media/stick")]
    Batch(BatchArgs),
    /// Work out one flat rate from hand readings, without an image
    #[command(
        after_help = "Example:\n  haulm rate --strip 0.66 --beside 0.50 --growing-days 94 \\\n    --crop \"winter wheat\" --curve-a \"590 kg/ha\" --curve-b 258.2 \\\n    --max-yield \"100 bu/ac\" --maximum \"120 lb N/ac\""
    )]
    Rate(Box<RateArgs>),
    /// Check a job without writing, or anybody's prescription map against the field
    #[command(
        after_help = "Example:\n  haulm check zones.shp --boundary boundary.geojson --machine-width \"24 m\""
    )]
    Check(Box<CheckArgs>),
    /// Put any number of finished maps on one stick for the terminal
    #[command(
        after_help = "Example:\n  haulm stick long-ley.toml mill-piece.toml --to /media/stick"
    )]
    Stick(StickArgs),
    /// Turn any prescription map into another format, product or unit
    #[command(after_help = "Example:\n  haulm convert zones.shp --to iso11783 --output stick")]
    Convert(Box<ConvertArgs>),
    /// Draw one figure of a job's report as SVG or PNG
    #[command(
        after_help = "Example:\n  haulm picture long-ley.toml --what rates --output rates.png"
    )]
    Picture(PictureArgs),
    /// Open a field, or a folder of fields, in the browser: look, change, write the map
    #[command(after_help = "Example:\n  haulm page long-ley.toml --write")]
    Page(PageArgs),
    /// List the canopy indices that haulm knows
    #[command(after_help = "Example:\n  haulm indices")]
    Indices,
    /// List the methods that set rates, or compare those that fit a crop
    #[command(after_help = "Example:\n  haulm methods --crop corn")]
    Methods(MethodsArgs),
    /// List the crops with their constants, and the yield curves
    #[command(after_help = "Example:\n  haulm crops")]
    Crops,
    /// List the fertiliser products with their nitrogen and density
    #[command(after_help = "Example:\n  haulm products")]
    Products,
    /// Say what a finding means, why it matters and what to do; without a code, list all
    #[command(after_help = "Example:\n  haulm explain image.age")]
    Explain(ExplainArgs),
    /// List the keys of the job file, or print their JSON Schema for editors
    #[command(after_help = "Example:\n  haulm keys rate.maximum")]
    Keys(KeysArgs),
    /// Print the completions of a shell
    #[command(
        after_help = "Example:\n  haulm completions bash > ~/.local/share/bash-completion/completions/haulm"
    )]
    Completions(CompletionsArgs),
    /// Options of every command
    #[command(hide = true, override_usage = "haulm COMMAND [OPTIONS]")]
    #[command(after_help = "Example:\n  haulm map long-ley.toml --json --quiet")]
    Options,
    /// Write the manual pages, one a command
    #[command(after_help = "Example:\n  haulm manual ~/.local/share/man/man1")]
    Manual(ManualArgs),
}

impl Command {
    /// Its name, as typed.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::New(_) => "new",
            Self::Inspect(_) => "inspect",
            Self::Map(_) => "map",
            Self::Batch(_) => "batch",
            Self::Rate(_) => "rate",
            Self::Check(_) => "check",
            Self::Stick(_) => "stick",
            Self::Convert(_) => "convert",
            Self::Picture(_) => "picture",
            Self::Page(_) => "page",
            Self::Indices => "indices",
            Self::Methods(_) => "methods",
            Self::Crops => "crops",
            Self::Products => "products",
            Self::Explain(_) => "explain",
            Self::Keys(_) => "keys",
            Self::Completions(_) => "completions",
            Self::Options => "options",
            Self::Manual(_) => "manual",
        }
    }

    /// Whether it may take long enough for somebody to end it.
    pub const fn is_long(&self) -> bool {
        matches!(
            self,
            Self::New(_)
                | Self::Inspect(_)
                | Self::Map(_)
                | Self::Batch(_)
                | Self::Rate(_)
                | Self::Check(_)
                | Self::Stick(_)
                | Self::Convert(_)
                | Self::Picture(_)
                | Self::Page(_)
        )
    }
}

/// How much is printed.
#[derive(Args, Debug)]
pub struct Details {
    /// Print everything: figures, notes, tables, files [default: the short answer]
    #[arg(long)]
    pub details: bool,
}

/// A job file.
#[derive(Args, Debug)]
pub struct JobArgs {
    /// Job file (TOML): one field, one decision
    #[arg(value_name = "JOB", value_hint = ValueHint::FilePath)]
    pub job: PathBuf,
    /// How much is printed.
    #[command(flatten)]
    pub details: Details,
}

/// Arguments of `check`: a job file, or a map and what it is held against.
#[derive(Args, Debug)]
pub struct CheckArgs {
    /// Job file (TOML): everything that `map` does but write. Or a prescription map: .shp, .geojson, .gpkg, .fgb, .kml, .kmz, .tif, task data as folder, .xml or .zip
    #[arg(value_name = "JOB|MAP", value_hint = ValueHint::AnyPath)]
    pub file: PathBuf,
    /// Prove that the stick given for MAP holds these maps of the office, cell by cell: job files or output folders [default: check one map]
    #[arg(long, value_name = "PATH", num_args = 1.., value_hint = ValueHint::AnyPath)]
    pub against: Vec<PathBuf>,
    /// What a map is held against.
    #[command(flatten)]
    pub map: CheckMapArgs,
    /// How much is printed.
    #[command(flatten)]
    pub details: Details,
}

/// Options of `check` for maps.
#[derive(Args, Debug)]
#[command(next_help_heading = "Options for maps")]
pub struct CheckMapArgs {
    /// Field boundary [default: the map's own, if it holds one]
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub boundary: Option<PathBuf>,
    /// Ground that must get nothing; may be given again [default: none]
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub exclude: Vec<PathBuf>,
    /// Grow that ground, as "10 m" [default: "0 m"]
    #[arg(long, value_name = "m|ft")]
    pub exclude_buffer: Option<String>,
    /// Working width, as "24 m" [default: not looked at]
    #[arg(long, value_name = "m|ft")]
    pub machine_width: Option<String>,
    /// Least rate that the machine holds [default: not looked at]
    #[arg(long, value_name = "kg/ha|L/ha|lb/ac|gal/ac")]
    pub minimum: Option<String>,
    /// Greatest rate that the machine holds [default: not looked at]
    #[arg(long, value_name = "kg/ha|L/ha|lb/ac|gal/ac")]
    pub maximum: Option<String>,
    /// Most nitrogen that may be spread [default: not looked at]
    #[arg(long, value_name = "kg N/ha|lb N/ac")]
    pub nitrogen_limit: Option<String>,
    /// Product of `haulm products` that the rates are of [default: not known]
    #[arg(long, value_name = "PRODUCT", value_parser = KnownParser::PRODUCTS, hide_possible_values = true)]
    pub product: Option<String>,
    /// What the rates are, as "kg N/ha" or "L/ha" [default: what the map says]
    #[arg(long, value_name = "UNIT")]
    pub unit: Option<String>,
    /// Column that holds the rates [default: told by the names]
    #[arg(long, value_name = "NAME")]
    pub rate_column: Option<String>,
    /// Layer to check; of task data the task, by its id [default: "zones", or the only one; every task with a map]
    #[arg(long, value_name = "NAME")]
    pub layer: Option<String>,
    /// Write the faults as a layer to look at: .gpkg [default: not written]
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub faults: Option<PathBuf>,
    /// Write a copy with what is safe to repair repaired: .gpkg, .geojson or .shp; of task data, a folder or .zip [default: not written]
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub repair: Option<PathBuf>,
    /// In that copy, give gaps narrower than this to the neighbour with the longest border [default: gaps stay]
    #[arg(long, value_name = "m|ft", requires = "repair")]
    pub close_gaps: Option<String>,
    /// In that copy, take overlaps from one of the two zones [default: overlaps stay]
    #[arg(
        long,
        value_name = "RULE",
        requires = "repair",
        hide_possible_values = false
    )]
    pub cut_overlaps: Option<OverlapRule>,
    /// In that copy, make each loop of a polygon that crosses itself a polygon of its own [default: it stays]
    #[arg(long, requires = "repair")]
    pub split_bowties: bool,
    /// Replace files of --faults and --repair that are there [default: refuse]
    #[arg(long)]
    pub overwrite: bool,
}

/// Which zone keeps the ground of an overlap.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum OverlapRule {
    /// The zone with the lower rate
    Lower,
    /// The zone with the higher rate
    Higher,
    /// The zone that stands first in the file
    First,
}

impl CheckMapArgs {
    /// Whether any was given.
    pub fn any(&self) -> bool {
        let texts = [
            &self.exclude_buffer,
            &self.machine_width,
            &self.minimum,
            &self.maximum,
            &self.nitrogen_limit,
            &self.product,
            &self.unit,
            &self.rate_column,
            &self.layer,
        ];
        let paths = [&self.boundary, &self.faults, &self.repair];
        self.overwrite
            || !self.exclude.is_empty()
            || texts.iter().any(|text| text.is_some())
            || paths.iter().any(|path| path.is_some())
    }
}

/// Arguments of `map`.
#[derive(Args, Debug)]
pub struct MapArgs {
    /// Job files (TOML), each one field and one decision, or folders of them
    #[arg(value_name = "JOB|FOLDER", required = true, value_hint = ValueHint::AnyPath)]
    pub jobs: Vec<PathBuf>,
    /// Folder to write to, of one job [default: folder of the job's `[output]`]
    #[arg(short, long, value_name = "FOLDER", value_hint = ValueHint::DirPath)]
    pub output: Option<PathBuf>,
    /// Write into a folder that haulm did not make, or replace outputs that were changed since [default: refuse]
    #[arg(long)]
    pub overwrite: bool,
    /// Compute everything, list the files and their sizes, write nothing [default: write]
    #[arg(long)]
    pub dry_run: bool,
    /// How much is printed.
    #[command(flatten)]
    pub details: Details,
}

/// Arguments of `page`.
#[derive(Args, Debug)]
pub struct PageArgs {
    /// Job file, or folder of jobs; a name that is not there yet becomes a folder of the page's own [default: such a folder, haulm-page]
    #[arg(value_name = "JOB|FOLDER", value_hint = ValueHint::AnyPath)]
    pub path: Option<PathBuf>,
    /// Let the page change jobs and write maps [default: look only; a folder of the page's own is written to]
    #[arg(long)]
    pub write: bool,
    /// Port to listen on [default: a free one]
    #[arg(
        long,
        value_name = "PORT",
        default_value_t = 0,
        hide_default_value = true
    )]
    pub port: u16,
    /// Let other devices on the network in, by this address of this machine [default: this machine alone]
    #[arg(long, value_name = "ADDRESS")]
    pub lan: Option<IpAddr>,
}

/// Arguments of `picture`.
#[derive(Args, Debug)]
pub struct PictureArgs {
    /// Job file (TOML): one field, one decision
    #[arg(value_name = "JOB", value_hint = ValueHint::FilePath)]
    pub job: PathBuf,
    /// What it shows
    #[arg(long, value_name = "WHAT", default_value = "rates")]
    pub what: PictureOf,
    /// Number of the strip, for a profile
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub strip: u32,
    /// File to write; its ending, .svg or .png, says which kind
    #[arg(short, long, value_name = "FILE", default_value = "picture.svg", value_hint = ValueHint::FilePath)]
    pub output: PathBuf,
    /// Pixels across a PNG
    #[arg(long, value_name = "PIXELS", default_value_t = DEFAULT_WIDTH, value_parser = clap::value_parser!(u32).range(64..=i64::from(MAXIMUM_WIDTH)))]
    pub width: u32,
    /// Replace the file if it is there [default: refuse]
    #[arg(long)]
    pub overwrite: bool,
}

/// What a picture shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum PictureOf {
    /// Map of rates by zone
    Rates,
    /// Map of the index as it was taken
    Index,
    /// Map of the index by cell
    Cells,
    /// Index along a reference strip and beside it
    Profile,
    /// Area by rate
    Histogram,
    /// What flat rates would bring
    Response,
    /// Placebo strips, with the strips beside them
    Placebo,
}

impl PictureOf {
    /// As the report knows it.
    pub const fn subject(self, strip: u32) -> Subject {
        match self {
            Self::Rates => Subject::Rates,
            Self::Index => Subject::Index,
            Self::Cells => Subject::Cells,
            Self::Profile => Subject::Profile(strip),
            Self::Histogram => Subject::Histogram,
            Self::Response => Subject::Response,
            Self::Placebo => Subject::Placebo,
        }
    }
}

/// Arguments of `new`.
#[derive(Args, Debug)]
pub struct NewArgs {
    /// Field boundary, in any vector format that GDAL reads
    #[arg(value_name = "BOUNDARY", value_hint = ValueHint::FilePath)]
    pub boundary: PathBuf,
    /// Canopy image, in any raster format that GDAL reads
    #[arg(value_name = "RASTER", value_hint = ValueHint::FilePath)]
    pub raster: PathBuf,
    /// Reference strips, in any vector format that GDAL reads; of several fields each takes its own [default: left to fill in]
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub strips: Option<PathBuf>,
    /// Job file to write, with --all the folder of them [default: job.toml; jobs]
    #[arg(short, long, value_name = "PATH", value_hint = ValueHint::AnyPath)]
    pub output: Option<PathBuf>,
    /// Name of the field [default: that of the boundary's file]
    #[arg(long, value_name = "NAME")]
    pub name: Option<String>,
    /// Day the image was taken [default: the image's own, else left to fill in]
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub date: Option<Date>,
    /// Canopy index of `haulm indices`, or "band 1" of a ready one [default: NDVI]
    #[arg(long, value_name = "INDEX", value_parser = KnownParser::INDICES, hide_possible_values = true)]
    pub index: Option<String>,
    /// Crop of `haulm crops` [default: left to fill in]
    #[arg(long, value_name = "CROP", value_parser = KnownParser::CROPS, hide_possible_values = true)]
    pub crop: Option<String>,
    /// Day of planting [default: left to fill in]
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub planted: Option<Date>,
    /// Daily weather record with date, tmin and tmax [default: left to fill in]
    #[arg(long, value_name = "CSV", value_hint = ValueHint::FilePath)]
    pub weather: Option<PathBuf>,
    /// Growing days from planting to the image, instead of a weather record [default: left to fill in]
    #[arg(long, value_name = "DAYS", value_parser = finite, conflicts_with = "weather")]
    pub growing_days: Option<f64>,
    /// What the site can never exceed, as "9.5 t/ha" [default: left to fill in]
    #[arg(long, value_name = "t/ha|bu/ac")]
    pub max_yield: Option<String>,
    /// Yield curve of `haulm crops` [default: left to fill in]
    #[arg(long, value_name = "CURVE", value_parser = KnownParser::CURVES, hide_possible_values = true)]
    pub curve: Option<String>,
    /// Greatest rate, as "150 kg N/ha" [default: left to fill in, or a low one marked ASSUMED]
    #[arg(long, value_name = "kg N/ha|lb N/ac")]
    pub maximum: Option<String>,
    /// Working width of the spreader, as "24 m" [default: left to fill in, or one marked ASSUMED]
    #[arg(long, alias = "working-width", value_name = "m|ft")]
    pub width: Option<String>,
    /// Method of `haulm methods` [default: yield response]
    #[arg(long, value_name = "METHOD", value_parser = KnownParser::METHODS, hide_possible_values = true)]
    pub method: Option<String>,
    /// Width of strips that are drawn as lines, as "24 m": polygons are written beside the job [default: strips are polygons]
    #[arg(long, value_name = "m|ft", requires = "strips")]
    pub strip_width: Option<String>,
    /// Filter that picks one field of several, as "NAME = 'Long Ley'" [default: all features are one field]
    #[arg(long = "where", value_name = "FILTER", conflicts_with = "all")]
    pub filter: Option<String>,
    /// One job for each field of the boundary, into one folder [default: one job]
    #[arg(long, conflicts_with = "name")]
    pub all: bool,
    /// Column that names the fields [default: the first that tells them apart]
    #[arg(long, value_name = "NAME")]
    pub name_column: Option<String>,
    /// Product of `haulm products` [default: none, the map is in nitrogen]
    #[arg(long, value_name = "PRODUCT", value_parser = KnownParser::PRODUCTS, hide_possible_values = true)]
    pub product: Option<String>,
    /// Replace the job file if it is there [default: refuse]
    #[arg(long)]
    pub overwrite: bool,
}

/// Arguments of `methods`.
#[derive(Args, Debug)]
pub struct MethodsArgs {
    /// Compare the methods for this crop in one table, with what each needs [default: list all]
    #[arg(long, value_name = "CROP", value_parser = KnownParser::CROPS, hide_possible_values = true)]
    pub crop: Option<String>,
}

/// Arguments of `rate`: a job file, or readings and what goes with them.
#[derive(Args, Debug)]
pub struct RateArgs {
    /// Job file with `[reference]` readings and no image, instead of options
    #[arg(value_name = "JOB", value_hint = ValueHint::FilePath, conflicts_with = "flags")]
    pub job: Option<PathBuf>,
    /// The readings and what goes with them.
    #[command(flatten)]
    pub flags: RateFlags,
    /// How much is printed.
    #[command(flatten)]
    pub details: Details,
}

/// Options of `rate`.
#[derive(Args, Debug)]
#[group(id = "flags", multiple = true)]
pub struct RateFlags {
    /// Mean reading in the reference strip; required without JOB, has no default. Once a pair, in the order of --beside
    #[arg(long, value_name = "INDEX", value_parser = finite, allow_negative_numbers = true, required_unless_present = "job")]
    pub strip: Vec<f64>,
    /// Mean reading beside it, on the grower's practice; required without JOB, has no default
    #[arg(long, value_name = "INDEX", value_parser = finite, allow_negative_numbers = true, required_unless_present = "job")]
    pub beside: Vec<f64>,
    /// Canopy index that was read [default: NDVI]
    #[arg(long, value_name = "INDEX", value_parser = KnownParser::INDICES, hide_possible_values = true)]
    pub index: Option<String>,
    /// Crop of `haulm crops`; required without JOB, has no default
    #[arg(long, value_name = "CROP", value_parser = KnownParser::CROPS, hide_possible_values = true, required_unless_present = "job")]
    pub crop: Option<String>,
    /// Growing days from planting to sensing [default: counted from --weather]
    #[arg(long, value_name = "DAYS", value_parser = finite, conflicts_with_all = ["weather", "count_sensing_day"])]
    pub growing_days: Option<f64>,
    /// Day of planting [default: none; --weather needs it]
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub planted: Option<Date>,
    /// Day of the readings [default: none; --weather needs it]
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub sensed: Option<Date>,
    /// Daily weather record with date, tmin and tmax [default: none]
    #[arg(long, value_name = "CSV", value_hint = ValueHint::FilePath, requires_all = ["planted", "sensed"])]
    pub weather: Option<PathBuf>,
    /// Count the day of the readings too [default: not counted]
    #[arg(long)]
    pub count_sensing_day: bool,
    /// What the site can never exceed, as "100 bu/ac" or "6.7 t/ha"; required without JOB, has no default
    #[arg(long, value_name = "t/ha|bu/ac", required_unless_present = "job")]
    pub max_yield: Option<String>,
    /// Yield curve of `haulm crops` [default: none; this, or --curve-a and --curve-b]
    #[arg(long, value_name = "CURVE", value_parser = KnownParser::CURVES, hide_possible_values = true, conflicts_with_all = ["curve_a", "curve_b"])]
    pub curve: Option<String>,
    /// Yield of the curve at index 0, as "590 kg/ha" [default: none]
    #[arg(long, value_name = "kg/ha|bu/ac", requires = "curve_b")]
    pub curve_a: Option<String>,
    /// Exponent of the curve, in days [default: none]
    #[arg(long, value_name = "DAYS", value_parser = finite, requires = "curve_a")]
    pub curve_b: Option<f64>,
    /// Nitrogen in the grain, share of its mass [default: the crop's own]
    #[arg(long, value_name = "SHARE", value_parser = finite)]
    pub grain_nitrogen: Option<f64>,
    /// Share of applied nitrogen that reaches the grain [default: 0.5]
    #[arg(long, value_name = "SHARE", value_parser = finite)]
    pub use_efficiency: Option<f64>,
    /// Maximum response index to count on, up to 3 [default: 2.0]
    #[arg(long, value_name = "RATIO", value_parser = finite)]
    pub maximum_ratio: Option<f64>,
    /// Nitrogen that went on after the readings [default: "0 kg N/ha"]
    #[arg(long, value_name = "kg N/ha|lb N/ac")]
    pub applied_since_sensing: Option<String>,
    /// Least rate [default: "0 kg N/ha"]
    #[arg(long, value_name = "kg N/ha|lb N/ac")]
    pub minimum: Option<String>,
    /// Greatest rate, as "150 kg N/ha"; required without JOB, has no default
    #[arg(long, value_name = "kg N/ha|lb N/ac", required_unless_present = "job")]
    pub maximum: Option<String>,
    /// Step that the rate is rounded to [default: "5 kg N/ha"]
    #[arg(long, value_name = "kg N/ha|lb N/ac")]
    pub step: Option<String>,
    /// The grower's flat rate, for comparison [default: none]
    #[arg(long, value_name = "kg N/ha|lb N/ac")]
    pub usual: Option<String>,
    /// Product of `haulm products` [default: none, the rate is in nitrogen]
    #[arg(long, value_name = "PRODUCT", value_parser = KnownParser::PRODUCTS, hide_possible_values = true)]
    pub product: Option<String>,
    /// Price of grain, as "6 USD/bu" [default: none, no gain is shown]
    #[arg(long, value_name = "PRICE/bu|PRICE/t")]
    pub grain_price: Option<String>,
    /// Price of nitrogen, as "0.60 USD/lb N" [default: none]
    #[arg(long, value_name = "PRICE/lb N|PRICE/kg N")]
    pub nitrogen_price: Option<String>,
    /// Price of the product instead, as "450 USD/t" [default: none]
    #[arg(
        long,
        value_name = "PRICE/t|PRICE/ton",
        conflicts_with = "nitrogen_price"
    )]
    pub product_price: Option<String>,
    /// Price of one pass, as "7 USD/ac" [default: none]
    #[arg(long, value_name = "PRICE/ha|PRICE/ac")]
    pub application_price: Option<String>,
}

/// Arguments of `convert`.
#[derive(Args, Debug)]
pub struct ConvertArgs {
    /// Prescription map: vector file, KML, raster of rates, or task data (folder or zip)
    #[arg(value_name = "MAP", value_hint = ValueHint::AnyPath)]
    pub map: PathBuf,
    /// Format to write; required, has no default
    #[arg(long, value_name = "FORMAT", hide_possible_values = false)]
    pub to: Format,
    /// File to write; for task data a folder or .zip [default: named after MAP, here]
    #[arg(short, long, value_name = "PATH", value_hint = ValueHint::AnyPath)]
    pub output: Option<PathBuf>,
    /// Layer of a file with several; of task data the task, by its id [default: the only one; the first task with a map]
    #[arg(long, value_name = "NAME")]
    pub layer: Option<String>,
    /// Column that holds the rates [default: the one whose name says so]
    #[arg(long, value_name = "NAME")]
    pub rate_column: Option<String>,
    /// What the map's rates are, as "kg/ha" or "kg N/ha" [default: what it says]
    #[arg(long, value_name = "UNIT")]
    pub unit: Option<String>,
    /// Product that the map holds, of `haulm products` or "NAME: 28 % N, 1.28 kg/L" [default: what it says]
    #[arg(long, value_name = "PRODUCT", value_parser = KnownParser::PRODUCTS, hide_possible_values = true)]
    pub product: Option<String>,
    /// Unit to write: kg/ha, L/ha, lb/ac, gal/ac, "kg N/ha" or "lb N/ac" [default: as it is]
    #[arg(long, value_name = "UNIT")]
    pub to_unit: Option<String>,
    /// Product to write, named or described likewise [default: as it is]
    #[arg(long, value_name = "PRODUCT", value_parser = KnownParser::PRODUCTS, hide_possible_values = true)]
    pub to_product: Option<String>,
    /// Field boundary to write into task data [default: the map's own, if it holds one]
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub boundary: Option<PathBuf>,
    /// Rate before the machine knows where it is, as "100 L/ha" [default: the map's own]
    #[arg(long, value_name = "RATE")]
    pub on_start: Option<String>,
    /// Rate when it has lost its position [default: the map's own]
    #[arg(long, value_name = "RATE")]
    pub position_lost: Option<String>,
    /// Rate outside the field [default: the map's own]
    #[arg(long, value_name = "RATE")]
    pub outside: Option<String>,
    /// Version of task data
    #[arg(
        long,
        value_name = "VERSION",
        default_value = "3.3",
        hide_possible_values = false
    )]
    pub task_version: TaskIssue,
    /// How task data hold the map
    #[arg(
        long,
        value_name = "KIND",
        default_value = "grid",
        hide_possible_values = false
    )]
    pub task_kind: TaskForm,
    /// Side of a new grid's cell, as "10 m" [default: 10 m in task data, 1 m in rasters]
    #[arg(long, value_name = "m|ft")]
    pub cell: Option<String>,
    /// Replace files that are there [default: refuse]
    #[arg(long)]
    pub overwrite: bool,
}

/// Versions of task data.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum TaskIssue {
    /// What most terminals take
    #[value(name = "3.3")]
    V3,
    /// Second edition
    #[value(name = "4.3")]
    V4,
}

/// How task data hold a map.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum TaskForm {
    /// A rate a cell (grid type 2)
    Grid,
    /// A zone a cell (grid type 1)
    Zones,
    /// Polygons, which a controller need not take
    Polygons,
}

/// Arguments of `completions`.
#[derive(Args, Debug)]
pub struct CompletionsArgs {
    /// Shell to print them for
    #[arg(value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

/// Arguments of `explain`.
#[derive(Args, Debug)]
pub struct ExplainArgs {
    /// Code of a finding, such as image.age, or a group, such as image [default: list all]
    #[arg(value_name = "CODE", value_parser = CodeParser, hide_possible_values = true)]
    pub code: Option<String>,
    /// Print the reference page of all findings in Markdown [default: text]
    #[arg(long, conflicts_with_all = ["code", "json"])]
    pub markdown: bool,
}

/// Arguments of `manual`.
#[derive(Args, Debug)]
pub struct ManualArgs {
    /// Folder to write them to; pages of haulm that are there are replaced
    #[arg(value_name = "FOLDER", value_hint = ValueHint::DirPath)]
    pub folder: PathBuf,
}

/// Where the options of every command are told.
pub const OPTIONS_HINT: &str = "Options of every command: haulm help options";

/// The definition, with help coloured as told. Options of every command stand in `haulm help options` alone, not 32 lines each time.
pub fn command(colour: clap::ColorChoice) -> clap::Command {
    let whole = whole_command().color(colour);
    let shared: Vec<clap::Arg> = whole
        .get_arguments()
        .filter(|argument| argument.is_global_set())
        .cloned()
        .collect();
    let hidden = whole.mut_args(|argument| {
        let hide = argument.is_global_set();
        argument.hide(hide)
    });
    let names: Vec<String> = hidden
        .get_subcommands()
        .map(|command| command.get_name().to_owned())
        .collect();
    names.iter().fold(with_hint(hidden), |whole, name| {
        whole.mut_subcommand(name, |command| {
            if name == "options" {
                // Its own, so that they are shown there.
                command.args(
                    shared
                        .iter()
                        .cloned()
                        .map(|argument| argument.global(false)),
                )
            } else {
                with_hint(command)
            }
        })
    })
}

/// The definition with nothing hidden: for completions and manual pages.
pub fn whole_command() -> clap::Command {
    Cli::command()
}

fn with_hint(command: clap::Command) -> clap::Command {
    let example = command
        .get_after_help()
        .map_or_else(String::new, ToString::to_string);
    command.after_help(format!("{example}\n\n{OPTIONS_HINT}"))
}

/// Says which command was meant where one is near: clap's own measure knows no swapped letters (`mpa`).
pub(crate) fn with_suggestion(mut error: clap::Error) -> clap::Error {
    let meant = match (error.kind(), error.get(ContextKind::InvalidSubcommand)) {
        (ErrorKind::InvalidSubcommand, Some(ContextValue::String(typed))) => nearest(typed),
        _ => None,
    };
    if let Some(meant) = meant {
        error.insert(
            ContextKind::SuggestedSubcommand,
            ContextValue::Strings(vec![meant]),
        );
    }
    error
}

/// The command nearest to what was typed, if it is near.
fn nearest(typed: &str) -> Option<String> {
    let limit = if typed.chars().count() > 4 { 2 } else { 1 };
    let command = Cli::command();
    let measured = command.get_subcommands().map(|command| {
        (
            strsim::damerau_levenshtein(command.get_name(), typed),
            command.get_name(),
        )
    });
    measured
        .filter(|(distance, _)| *distance <= limit)
        .min()
        .map(|(_, name)| name.to_owned())
}

/// A number that is one.
fn finite(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(number),
        _ => Err(
            "not a number; write it without a unit and with a decimal point, as 0.66".to_owned(),
        ),
    }
}

/// What `haulm keys` shows.
#[derive(Debug, Args)]
pub struct KeysArgs {
    /// A section or a key: machine, rate.maximum, maximum
    #[arg(value_name = "SECTION|KEY")]
    pub name: Option<String>,
    /// Print the JSON Schema of the job file, for editors [default: the keys]

    #[arg(long, conflicts_with = "name")]
    pub schema: bool,
    /// Print the reference page of the job file [default: the keys]
    #[arg(long, conflicts_with_all = ["name", "schema"])]
    pub markdown: bool,
}
