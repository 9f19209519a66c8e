//! `[uncertainty]`: how the band of field, zones and cells is drawn.

use crate::job::reader::Section;
use crate::job::settings::UncertaintySettings;

/// `[uncertainty]`; every key has a default.
pub(crate) fn uncertainty(section: &mut Section<'_>) -> UncertaintySettings {
    let draws = section.whole_or("draws");
    let seed = section.whole_or("seed");
    let use_efficiency_spread = section.number_or("use_efficiency_spread");
    let place_spread = section.number("place_spread");
    UncertaintySettings {
        draws: u32::try_from(draws).unwrap_or(0),
        seed: seed.unsigned_abs(),
        use_efficiency_spread,
        place_spread,
    }
}
