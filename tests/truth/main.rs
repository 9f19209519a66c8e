//! Checks against numbers that were not made by this crate. Each file names its source.

#[cfg(test)]
mod areas;
#[cfg(test)]
mod coverage;
#[cfg(test)]
mod growing_days;
#[cfg(test)]
#[path = "../support/held.rs"]
mod held;
#[cfg(test)]
mod indices;
#[cfg(test)]
mod jenks;
#[cfg(test)]
mod methods;
#[cfg(test)]
mod pixel_shares;
#[cfg(test)]
mod points;
#[cfg(test)]
mod products;
#[cfg(test)]
mod reference;
#[cfg(test)]
mod response_curves;
#[cfg(test)]
mod satellite;
#[cfg(test)]
mod strips_pooled;
#[cfg(test)]
mod topology;
#[cfg(test)]
mod trade;
#[cfg(test)]
mod uncertainty;
#[cfg(test)]
mod zones;
