//! The haulm command.

fn main() {}
