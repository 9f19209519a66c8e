//! Ratios of several strips against statsmodels 0.15.0 (numpy 2.4.6, scipy 1.17.1), in Python:
//! `r = statsmodels.stats.meta_analysis.combine_effects(np.array(y), np.array(v), method_re="dl", use_t=True)`, then `r.mean_effect_re`, `r.tau2`, `r.q`,
//! `scipy.stats.chi2.sf(r.q, len(y) - 1)` and `r.sd_eff_w_re_hksj`. That version does not hold τ² at 0: where it is negative, `r.mean_effect_fe`,
//! `sqrt(r.var_hksj_fe)` and `r.sd_eff_w_fe` are what a τ² of 0 gives.

use approx::assert_relative_eq;
use haulm::science::reference::random_effects;

struct Case {
    strips: &'static [(f64, f64)],
    mean: f64,
    between: f64,
    q: f64,
    probability: f64,
    standard_error: f64,
}

const CASES: [Case; 5] = [
    Case {
        strips: &[(1.0, 0.0004), (1.3, 0.0009)],
        mean: 1.149_166_666_666_666_7,
        between: 0.044_350_000_000_000_18,
        q: 69.230_769_230_769_51,
        probability: 8.759_083_709_262_027e-17,
        standard_error: 0.149_997_685_167_323_7,
    },
    Case {
        strips: &[(1.05, 0.0025), (1.31, 0.0016), (1.18, 0.0036)],
        mean: 1.182_006_887_125_945_6,
        between: 0.017_865_584_415_584_262,
        q: 16.665_778_251_599_022,
        probability: 0.000_240_476_274_070_246_2,
        standard_error: 0.075_968_344_853_773_59,
    },
    Case {
        strips: &[
            (0.97, 0.0009),
            (1.25, 0.0004),
            (1.08, 0.0025),
            (1.40, 0.0016),
            (1.15, 0.0036),
        ],
        mean: 1.170_493_176_180_383_6,
        between: 0.028_059_124_157_844_683,
        q: 95.556_529_112_494_9,
        probability: 8.677_401_511_644_253e-20,
        standard_error: 0.073_941_386_059_410_43,
    },
    Case {
        strips: &[(1.20, 0.0004), (1.22, 0.0009)],
        mean: 1.206_153_846_153_846_1,
        between: 0.0,
        q: 0.307_692_307_691_467_46,
        probability: 0.579_099_741_954_436_5,
        standard_error: 0.009_230_769_230_769_239,
    },
    Case {
        strips: &[
            (1.10, 0.0009),
            (1.12, 0.0016),
            (1.09, 0.0004),
            (1.11, 0.0025),
        ],
        mean: 1.098_166_566_806_471,
        between: 0.0,
        q: 0.524_415_817_854_788_7,
        probability: 0.913_495_537_239_537_5,
        standard_error: 0.006_140_452_074_010_331,
    },
];

/// 97.5 % quantiles of Student's t: `scipy.stats.t.ppf(0.975, df)` for 3 and 4.
const QUANTILES: [(f64, f64); 2] = [(3.0, 3.182_446_305_284_263), (4.0, 2.776_445_105_197_799)];

#[test]
fn strips_are_pooled_as_statsmodels_does() {
    for case in CASES {
        let ours = random_effects(case.strips).unwrap();
        // Differences of nearly equal numbers cost statsmodels some digits.
        assert_relative_eq!(ours.mean, case.mean, max_relative = 1e-10);
        assert_relative_eq!(
            ours.between,
            case.between,
            max_relative = 1e-9,
            epsilon = 1e-15
        );
        assert_relative_eq!(ours.q, case.q, max_relative = 1e-9);
        assert_relative_eq!(ours.probability, case.probability, max_relative = 1e-6);
        assert_relative_eq!(
            ours.standard_error,
            case.standard_error,
            max_relative = 1e-9
        );
        // The two departures: never below the weights' own error, at least 3 degrees of freedom.
        let weights: f64 = case
            .strips
            .iter()
            .map(|own| 1.0 / (own.1 + case.between))
            .sum();
        let error = case.standard_error.max(libm::sqrt(1.0 / weights));
        let freedom = f64::max(3.0, case.strips.len() as f64 - 1.0);
        let quantile = QUANTILES.iter().find(|row| row.0 == freedom).unwrap().1;
        assert_relative_eq!(ours.high, case.mean + quantile * error, max_relative = 1e-9);
        assert_relative_eq!(ours.low, case.mean - quantile * error, max_relative = 1e-9);
    }
}
