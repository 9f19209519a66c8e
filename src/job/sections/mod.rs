//! One file a group of sections: from tables to the typed settings.

pub(crate) mod crop;
pub(crate) mod economic;
pub(crate) mod ground;
pub(crate) mod image;
pub(crate) mod machine;
pub(crate) mod method;
pub(crate) mod money;
pub(crate) mod output;
pub mod points;
pub(crate) mod rate;
pub(crate) mod rate_set;
#[cfg(test)]
mod rows;
pub(crate) mod share;
pub(crate) mod uncertainty;
pub(crate) mod yields;
pub(crate) mod zones;
