//! A change of rates by hand, as numbers.

/// What is done to a rate by hand: something added, then a limit below and above. \[kg N/ha\]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Added to it.
    pub add: f64,
    /// It becomes this at least.
    pub minimum: f64,
    /// And this at most.
    pub most: f64,
}

impl Change {
    /// The rate that it makes of another. \[kg N/ha\]
    pub fn of(&self, rate: f64) -> f64 {
        (rate + self.add).max(self.minimum).min(self.most)
    }
}
