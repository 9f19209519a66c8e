//! Natural breaks against the library `mapclassify` 2.10.0 of `PySAL` (`PyPI`).
//!
//! The values are its example data `calemp`: employees per square kilometre in the 58 counties of California, in the file's order. Copyright 2018
//! `PySAL`-mapclassify Developers, BSD 3-Clause licence (redistribution and use permitted with this notice; provided as is, without warranty). Bounds and
//! counts are what its `FisherJenks(values, k=5)` prints; sums of squares and the small example were worked out apart from it.

use approx::assert_relative_eq;
use haulm::zones::classify::Classes;

#[rustfmt::skip]
const CALEMP: [f64; 58] = [
    329.92, 0.42, 5.90, 14.03, 2.78, 1.34, 181.27, 1.65, 10.03, 16.70,
    1.32, 3.99, 3.16, 0.22, 8.70, 6.56, 3.27, 0.33, 370.50, 4.51,
    75.29, 0.99, 2.74, 8.68, 0.14, 0.92, 12.63, 28.70, 12.02, 722.85,
    36.68, 0.74, 29.82, 192.05, 3.38, 11.15, 110.74, 4_111.45, 49.47, 10.33,
    317.11, 20.47, 264.93, 66.26, 5.39, 0.13, 0.61, 50.65, 40.48, 36.67,
    13.09, 1.81, 0.20, 7.60, 2.51, 57.26, 24.32, 6.97,
];

#[test]
fn calemp_in_five_classes() {
    let classes = Classes::natural(&CALEMP, 5).expect("58 values, 5 classes");
    assert_eq!(
        classes.upper_bounds(),
        [75.29, 192.05, 370.5, 722.85, 4_111.45]
    );
    assert_eq!(classes.counts(&CALEMP), [49, 3, 4, 1, 1]);
    assert_relative_eq!(
        classes.squares_within(&CALEMP),
        26_654.783_967,
        max_relative = 1e-9
    );
    assert_relative_eq!(
        classes.goodness(&CALEMP).expect("values differ"),
        0.998_435_091,
        max_relative = 1e-8
    );
}

#[test]
fn fifteen_values() {
    let values = [
        0.31, 0.33, 0.35, 0.36, 0.50, 0.52, 0.53, 0.55, 0.56, 0.70, 0.71, 0.73, 0.75, 0.76, 0.78,
    ];
    for (k, bounds, goodness) in [
        (2, vec![0.56, 0.78], 0.769_367),
        (3, vec![0.36, 0.56, 0.78], 0.978_962),
        (4, vec![0.36, 0.56, 0.73, 0.78], 0.988_311),
    ] {
        let classes = Classes::natural(&values, k).expect("15 values");
        assert_eq!(classes.upper_bounds(), bounds);
        assert_relative_eq!(
            classes.goodness(&values).expect("values differ"),
            goodness,
            max_relative = 1e-6
        );
    }
    let three = Classes::natural(&values, 3).expect("15 values");
    assert_relative_eq!(
        three.squares_within(&values),
        0.008_438_33,
        max_relative = 1e-6
    );
}
