//! The page: a server on this machine, and the files of the page that it sends. `main` hands [`serve`] to the command line; the two do not know each other.
//!
//! A request never names a file: jobs and outputs have numbers, and what is read or written goes through one folder that is opened at the start.

mod answers;
mod assets;
mod changes;
mod edit;
mod files;
mod folder;
mod guard;
mod job;
mod lan;
mod refusal;
mod routes;
mod server;
mod state;
mod view;

pub mod testing;

pub use assets::SENT_BYTES;
pub use routes::openapi;
pub use server::serve;
