//! `[doubt]`: how the band of field, zones and cells is drawn.

use crate::app::job::reader::Section;
use crate::pipeline::settings::DoubtSettings;
use crate::science::monte_carlo::USUAL_EFFICIENCY_SPREAD;

/// Draws where the job does not say.
const DRAWS: i64 = 1000;

/// `[doubt]`; every key has a default.
pub(crate) fn doubt(section: &mut Section<'_>) -> DoubtSettings {
    let draws = section
        .whole("draws", 0, 20_000, "1000 draws as a rule; 0 draws nothing")
        .unwrap_or(DRAWS);
    let seed = section
        .whole(
            "seed",
            0,
            i64::from(u32::MAX),
            "any seed does; the same one gives the same draws",
        )
        .unwrap_or(1);
    let use_efficiency_spread = section
        .number(
            "use_efficiency_spread",
            0.0,
            0.9,
            "a share of use_efficiency: 0.2 is 0.4 to 0.6 around 0.5",
        )
        .unwrap_or(USUAL_EFFICIENCY_SPREAD);
    let place_spread = section.number(
        "place_spread",
        0.0,
        0.5,
        "a share of the reference index, one standard deviation: 0.04 for one strip where no placebo strips show it",
    );
    DoubtSettings {
        draws: u32::try_from(draws).unwrap_or(0),
        seed: seed.unsigned_abs(),
        use_efficiency_spread,
        place_spread,
    }
}
