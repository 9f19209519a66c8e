//! Checks against numbers that were not made by this crate. Each file names its source.

#[cfg(test)]
mod coverage;
#[cfg(test)]
mod growing_days;
#[cfg(test)]
mod indices;
#[cfg(test)]
mod products;
#[cfg(test)]
mod reference;
#[cfg(test)]
mod trade;
