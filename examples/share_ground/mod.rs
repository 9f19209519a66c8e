//! Made fields whose nitrogen share is known: soil and lack of nitrogen as two random grounds, drilling rows, tracks and soil zones with sharp borders, mapped
//! by the whole program. Used by an example and by the tests; it shares no code with what it checks.

pub(crate) mod field;
pub(crate) mod picture;
pub(crate) mod random;
pub(crate) mod run;
