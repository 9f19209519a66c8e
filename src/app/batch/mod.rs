//! Many fields in one run: a farm file names a layer of fields, images, common settings and exceptions, and each field becomes a job of its own.
//!
//! [`Farm::read`] reads what all fields share, [`Farm::run_field`] makes the map of one and leaves its row, [`Farm::collect`] puts the rows together. Nothing is kept
//! but what is stored in the output folder, so that a run that was killed goes on where it was, and any number of processes may share the work.
//!
//! A field's job is text as a job file beside the farm file would hold it ([`Farm::job`]): the same reader, the same walk, the same bytes.

mod collect;
mod command;
mod farm;
mod fill;
mod images;
mod key;
mod own;
mod row;
mod run;
mod tables;

pub use collect::Collected;
pub use command::{Batch, BatchRequest, batch};
pub use farm::{Farm, FarmField, Making};
pub use key::Standing;
pub use row::{FieldRow, FieldState, RowFinding, RowZone, UsedImage};
pub use run::{BatchOptions, Ran};
