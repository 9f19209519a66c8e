//! The shape of a key of the job file: a row says once what it is called, what may stand there, and what holds of it.
//!
//! `keys!` turns the rows of a section into a value with one typed field a key: `MACHINE.working_width` is the row, and says that a length is read by
//! it. Sections of the job stand in `job::keys`, parameters of a method beside its formula.

mod record;
mod requirement;
mod row;
mod typed;
mod words;

pub use record::Record;
pub use requirement::Requirement;
pub use row::{Bounds, Key, Kind, Need, Standard, Table};
pub(crate) use row::{key, nitrogen};
pub(crate) use typed::keys;
pub use typed::{Any, Typed};
pub use words::Word;
pub(crate) use words::words;
