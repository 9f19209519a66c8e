//! Rates that change gently along the drive: no more than a largest step from one cell to the next.
//!
//! Of all profiles that keep the step there is a lowest one that lies nowhere below the rates, and a highest one that lies nowhere above them. Their mean keeps the step as well, stays within
//! the rates' own range, and gives and takes about alike: a jump of 60 with steps of 20 becomes a ramp whose middle is where the jump was.

/// Holds each run of rates, in driving order, to at most `largest` between neighbours; `None` ends a run and stays. \[kg N/ha\]
pub(crate) fn hold_steps(rates: &mut [Option<f64>], largest: f64) {
    for run in rates.split_mut(Option::is_none) {
        let asked: Vec<f64> = run.iter().flatten().copied().collect();
        let (mut above, mut below) = (asked.clone(), asked);
        for i in 1..above.len() {
            above[i] = above[i].max(above[i - 1] - largest);
            below[i] = below[i].min(below[i - 1] + largest);
        }
        for i in (1..above.len()).rev() {
            above[i - 1] = above[i - 1].max(above[i] - largest);
            below[i - 1] = below[i - 1].min(below[i] + largest);
        }
        for (rate, (above, below)) in run.iter_mut().zip(above.into_iter().zip(below)) {
            *rate = Some(f64::midpoint(above, below));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn held(rates: &[f64], largest: f64) -> Vec<f64> {
        let mut rates: Vec<Option<f64>> = rates.iter().copied().map(Some).collect();
        hold_steps(&mut rates, largest);
        rates.into_iter().flatten().collect()
    }

    #[test]
    fn a_jump_becomes_a_ramp_about_its_middle() {
        assert_eq!(
            held(&[0.0, 0.0, 0.0, 60.0, 60.0, 60.0], 20.0),
            [0.0, 10.0, 20.0, 40.0, 50.0, 60.0]
        );
    }

    #[test]
    fn what_keeps_the_step_stays() {
        assert_eq!(
            held(&[10.0, 30.0, 20.0, 40.0], 20.0),
            [10.0, 30.0, 20.0, 40.0]
        );
        assert!(held(&[], 20.0).is_empty());
    }

    #[test]
    fn runs_do_not_touch() {
        let mut rates = [Some(0.0), None, Some(90.0)];
        hold_steps(&mut rates, 20.0);
        assert_eq!(rates, [Some(0.0), None, Some(90.0)]);
    }

    proptest! {
        #[test]
        fn steps_and_range_hold(rates in proptest::collection::vec(0.0_f64..200.0, 1..80), largest in 1.0_f64..60.0) {
            let after = held(&rates, largest);
            prop_assert!(after.windows(2).all(|pair| (pair[0] - pair[1]).abs() <= largest + 1e-9));
            let (low, high) = (rates.iter().copied().fold(f64::INFINITY, f64::min), rates.iter().copied().fold(0.0, f64::max));
            prop_assert!(after.iter().all(|rate| (low - 1e-9..=high + 1e-9).contains(rate)));
            // Once held, nothing is left to do.
            prop_assert!(held(&after, largest).iter().zip(&after).all(|(a, b)| (a - b).abs() < 1e-9));
        }
    }
}
