//! Distance between two places given in degrees, for choosing what lies nearest.

/// Mean radius of the earth. \[km\] Mean of the three semi-axes of the 1980 reference ellipsoid (Moritz 2000, Journal of Geodesy 74:128-133; from memory).
pub(crate) const EARTH_RADIUS_KM: f64 = 6_371.008_8;

/// Distance along the earth's surface, taken as a sphere; up to about half a per cent off the ellipsoid. \[km\]
///
/// `2 R asin √(sin²(Δφ/2) + cos φ₁ cos φ₂ sin²(Δλ/2))`: good for near places too.
///
/// # Units
/// - `from`, `to`: longitude, latitude. \[°\]
pub(crate) fn distance_km(from: (f64, f64), to: (f64, f64)) -> f64 {
    let radians = |degrees: f64| degrees * (std::f64::consts::PI / 180.0);
    let square = |value: f64| value * value;
    let (south, north) = (radians(from.1), radians(to.1));
    let across = square(libm::sin((north - south) / 2.0))
        + libm::cos(south) * libm::cos(north) * square(libm::sin(radians(to.0 - from.0) / 2.0));
    2.0 * EARTH_RADIUS_KM * libm::asin(libm::sqrt(across.clamp(0.0, 1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn arcs_of_the_sphere() {
        // One degree of a great circle: π/180 · R.
        let degree = std::f64::consts::PI / 180.0 * EARTH_RADIUS_KM;
        assert_abs_diff_eq!(
            distance_km((15.0, 50.0), (15.0, 51.0)),
            degree,
            epsilon = 1e-9
        );
        assert_abs_diff_eq!(
            distance_km((179.5, 0.0), (-179.5, 0.0)),
            degree,
            epsilon = 1e-9
        );
        assert_abs_diff_eq!(
            distance_km((0.0, 90.0), (77.0, -90.0)),
            180.0 * degree,
            epsilon = 1e-6
        );
        assert_eq!(distance_km((15.0, 50.0), (15.0, 50.0)), 0.0);
    }
}
