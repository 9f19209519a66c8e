//! `[uncertainty]`: how the band of field, zones and cells is drawn.

use crate::job::keys::UNCERTAINTY;
use crate::job::reader::Section;
use crate::job::settings::UncertaintySettings;

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
