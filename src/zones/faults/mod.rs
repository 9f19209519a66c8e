//! What is wrong with a zone map, ours or anybody's: pure checks on [`crate::zones::carried::CarriedMap`].

pub mod fault;
