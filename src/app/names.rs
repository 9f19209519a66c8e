//! Names that haulm knows, for completions.

use crate::science::index::catalogue;
use crate::science::methods::METHODS;
use crate::science::{crop, product};

/// Products of the shipped table.
pub fn products() -> Vec<String> {
    product::products()
        .iter()
        .map(|row| row.name.clone())
        .collect()
}

/// Crops of the shipped table.
pub fn crops() -> Vec<String> {
    crop::crops().iter().map(|row| row.name.clone()).collect()
}

/// Yield curves of the shipped table.
pub fn curves() -> Vec<String> {
    crop::curves().iter().map(|row| row.name.clone()).collect()
}

/// Canopy indices of the catalogue.
pub fn indices() -> Vec<String> {
    catalogue().iter().map(|row| row.name.clone()).collect()
}

/// Methods that set rates.
pub fn methods() -> Vec<String> {
    METHODS.iter().map(|row| row.name.to_owned()).collect()
}
