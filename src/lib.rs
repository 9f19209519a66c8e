//! In-season nitrogen for every patch of a field.
//!
//! A canopy index is compared cell by cell with an N-rich reference strip; out of the comparison come rates, zones and a prescription map in open formats, with report
//! and card. Rates are aid for a decision, not the decision: labels, local codes and licensed advisers come first.
//!
//! # Three stages
//!
//! 1. [`prepare`] reads a job and all that it names, passes over the pixels once, and closes every file. What it hands back, [`Prepared`], holds nothing that a changed rate
//!    depends on; it is cheap to copy and goes to any thread.
//! 2. [`Prepared::decide`] makes a [`Decision`] by some settings: the reference judged, rates, zones, totals, money, findings. Values only, no file, no clock, so the same
//!    settings give the same bits. [`Prepared::decide_without_draws`] leaves the draws of uncertainty for [`Decision::with_uncertainty`]. [`Prepared::rates`] stops at the
//!    rates of cells and zones, for a map at once, and [`Rates::decision`] goes on.
//! 3. [`Decision::files`] makes the files as named bytes: [`MapFiles`] with the map id, the prescription in each format, card, report and record. Nothing is written until
//!    [`app::commit`] is asked to.
//!
//! Settings that differ in what was read (field, imagery, strips, heading, cell size, …) are refused by [`Prepared::decide`] with the names of their keys;
//! [`app::reread::keys_to_reread`] tells them beforehand.
//!
//! # The demo field
//!
//! ```
//! use haulm::job::settings::Format;
//! use haulm::units::NRate;
//! use haulm::{Common, Silent, prepare};
//!
//! // Everything is read here, once.
//! let prepared = prepare("demo/job.toml".as_ref(), &Common::default(), &Silent)?;
//! println!("{} cells", prepared.ground().grid.cells.len());
//!
//! // What if no more than 50 kg N/ha went anywhere?
//! let mut settings = prepared.settings().clone();
//! settings.rate.maximum = NRate::kg_per_ha(50.0);
//! let decision = prepared.decide(&settings)?;
//! let outcome = decision.outcome();
//! println!("response index {:?}", outcome.reference.ratio);
//! println!("{:.0} kg N in {} zones", outcome.totals.n_kg, outcome.prescription.zones.len());
//! for finding in decision.findings() {
//!     println!("{} [{}] {}", finding.severity, finding.code, finding.message);
//! }
//! assert!(outcome.rated.cells.iter().all(|cell| cell.n <= settings.rate.maximum));
//!
//! // The map as bytes, in one format; nothing is written.
//! let instant = decision.image_instant();
//! let files = decision.files(&[Format::GeoJson], instant)?;
//! println!("map {}", files.map_id);
//! for file in files.with_record(None) {
//!     println!("{}: {} bytes", file.path, file.bytes.len());
//! }
//! # Ok::<(), haulm::AppError>(())
//! ```
//!
//! # The walk
//!
//! Read → index → reference → rate → zones → export, report. Each step is a function of values, with a file of its own:
//!
//! | step | what |
//! | --- | --- |
//! | [`pipeline::ground`] | field, strips and the machine's cells on one working plane |
//! | [`pipeline::scan`], [`science::index`] | one pass over the pixels, the index evaluated as they go by |
//! | [`pipeline::look`] | cells, strips and placebo strips measured in that pass |
//! | [`pipeline::cell_facts`] | what is known of cells whatever their rates |
//! | [`pipeline::reference`] | the reference judged: index, response index, interval |
//! | [`pipeline::rates`], [`science::methods`] | a rate for each cell, within limits |
//! | [`pipeline::drive`] | headland, and the largest step along the drive |
//! | [`pipeline::zone`], [`zones`] | cells into zones, borders, what the machine gets |
//! | [`pipeline::totals`], [`pipeline::money`] | totals and how they move; gains and costs |
//! | [`pipeline::uncertainty`] | the 80 % range of field, zones and cells, by Monte Carlo draws |
//! | [`pipeline::judge`] | findings: what to know of the map before trusting it |
//! | [`pipeline::prescription`] | the map that exporters write |
//! | [`mod@format`], [`report`] | files of every format; card and report |
//!
//! [`pipeline::run`] calls them in order. Programs that bring their own pixels start there ([`space::raster::RasterSource`]); one flat rate from hand readings is
//! [`app::rate`].
//!
//! # Without GDAL
//!
//! What touches files, GDAL, PROJ and `SQLite` is behind the feature `system`, which is on by default: [`app`], [`cli`], [`mod@format`], [`report`], the page, and all ways from one
//! reference system to another ([`space::crs::Projector`]). Without default features the rest is left: settings, formulas, cells, zones and the walk.

#![forbid(unsafe_code)]
#![cfg_attr(
    not(feature = "system"),
    allow(
        dead_code,
        unused_imports,
        reason = "what only files, command and page call is not taken out of the core one by one"
    )
)]

#[cfg(feature = "system")]
pub mod app;
#[cfg(feature = "system")]
pub mod cli;
pub mod finding;
#[cfg(feature = "system")]
pub mod format;
pub mod job;
pub mod key;
pub mod map;
pub mod pipeline;
#[cfg(feature = "system")]
pub mod report;
pub mod science;
pub mod space;
pub mod units;
#[cfg(feature = "web")]
pub mod web;
pub mod zones;

#[cfg(feature = "system")]
pub use app::decide::{Decision, Rates};
#[cfg(feature = "system")]
pub use app::error::AppError;
#[cfg(feature = "system")]
pub use app::files::MapFiles;
#[cfg(feature = "system")]
pub use app::prepare::{Prepared, prepare};
#[cfg(feature = "system")]
pub use app::progress::Silent;
#[cfg(feature = "system")]
pub use app::requests::Common;
