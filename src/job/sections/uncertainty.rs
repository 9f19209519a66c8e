//! `[uncertainty]`: how the band of field, zones and cells is drawn.

use crate::job::keys::UNCERTAINTY;
use crate::job::reader::Section;
use crate::key::Record;

/// `[uncertainty]`: how the band of field, zones and cells is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UncertaintySettings {
    /// Draws; 0 for none.
    pub draws: u32,
    /// What they begin with.
    pub seed: u64,
    /// Half of the range of use efficiency over its middle.
    pub use_efficiency_spread: f64,
    /// Standard deviation of the reference index by the strip's place, as a share; as placebo strips show it when not given.
    pub place_spread: Option<f64>,
}

/// `[uncertainty]`; every key has a default.
pub(crate) fn uncertainty(section: &mut Section<'_>) -> UncertaintySettings {
    let draws = section.get(&UNCERTAINTY.draws);
    let seed = section.get(&UNCERTAINTY.seed);
    let use_efficiency_spread = section.get(&UNCERTAINTY.use_efficiency_spread);
    let place_spread = section.find(&UNCERTAINTY.place_spread);
    UncertaintySettings {
        draws: u32::try_from(draws).unwrap_or(0),
        seed: seed.unsigned_abs(),
        use_efficiency_spread,
        place_spread,
    }
}

/// As the record has it.
pub(crate) fn uncertainty_record(settings: &UncertaintySettings) -> Record {
    Record::new()
        .put(&UNCERTAINTY.draws, settings.draws)
        .put(&UNCERTAINTY.seed, settings.seed)
        .put(
            &UNCERTAINTY.use_efficiency_spread,
            settings.use_efficiency_spread,
        )
        .put(&UNCERTAINTY.place_spread, settings.place_spread)
}
