//! The working plane: metres that are metres, where areas and rates are reckoned.

use crate::finding::{Finding, codes};
use crate::space::crs::{Crs, CrsError, Projector};

/// Principal scale factors that a plane may have at the field.
pub const SCALE_RANGE: (f64, f64) = (0.998, 1.002);

/// Semi-major axis of WGS 84. \[m\] Defined.
const WGS84_A: f64 = 6_378_137.0;
/// Squared eccentricity of WGS 84, from the defined flattening 1/298.257223563.
const WGS84_E2: f64 = 0.006_694_379_990_141_316;

/// How a plane sits on the ground at one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane {
    /// Its reference system.
    pub crs: Crs,
    /// Longitude of the place. \[°\]
    pub longitude: f64,
    /// Latitude of the place. \[°\]
    pub latitude: f64,
    /// Least principal scale factor.
    pub scale_low: f64,
    /// Greatest principal scale factor.
    pub scale_high: f64,
    /// Areal scale factor.
    pub areal_scale: f64,
    /// Grid azimuth = true azimuth − convergence. \[°\]
    pub convergence_deg: f64,
}

impl Plane {
    /// Whether areas may be reckoned on it.
    pub fn is_fit(&self) -> bool {
        self.scale_low >= SCALE_RANGE.0 && self.scale_high <= SCALE_RANGE.1
    }
    /// Grid azimuth of a true azimuth. \[°\] In [0, 360).
    pub fn grid_azimuth(&self, true_azimuth_deg: f64) -> f64 {
        (true_azimuth_deg - self.convergence_deg).rem_euclid(360.0)
    }
    /// True azimuth of a grid azimuth. \[°\] In [0, 360).
    pub fn true_azimuth(&self, grid_azimuth_deg: f64) -> f64 {
        (grid_azimuth_deg + self.convergence_deg).rem_euclid(360.0)
    }
}

/// What can be wrong with a plane.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PlaneError {
    /// The job asks for a plane on which a metre is no metre.
    #[error(
        "{crs} cannot be the working plane: at the field ({longitude:.4}°, {latitude:.4}°) one metre on the ground is {low:.4} to {high:.4} of its units, allowed are 0.998 to 1.002"
    )]
    Unfit {
        /// The plane asked for.
        crs: String,
        /// Longitude of the field.
        longitude: f64,
        /// Latitude of the field.
        latitude: f64,
        /// Least scale factor.
        low: f64,
        /// Greatest scale factor.
        high: f64,
    },
    /// A transformation failed.
    #[error(transparent)]
    Crs(#[from] CrsError),
}

/// How a system sits on the ground at a longitude and latitude: the Jacobian of metres east and north to its own units, by central differences.
///
/// # Errors
/// [`CrsError`] when there is no way from WGS 84 to it, or the place lies outside it.
pub fn examine(crs: &Crs, longitude: f64, latitude: f64) -> Result<Plane, CrsError> {
    let way = Projector::new(&Crs::wgs84(), crs)?;
    let (sin, cos) = (
        libm::sin(latitude.to_radians()),
        libm::cos(latitude.to_radians()),
    );
    let w2 = 1.0 - WGS84_E2 * sin * sin;
    let across = WGS84_A / libm::sqrt(w2);
    let along = WGS84_A * (1.0 - WGS84_E2) / (w2 * libm::sqrt(w2));
    // 50 m either way: large beside rounding (1e-9 m), small beside the change of scale.
    let reach = 50.0;
    let (d_lon, d_lat) = (
        (reach / (across * cos)).to_degrees(),
        (reach / along).to_degrees(),
    );
    let east = (
        way.point(longitude + d_lon, latitude)?,
        way.point(longitude - d_lon, latitude)?,
    );
    let north = (
        way.point(longitude, latitude + d_lat)?,
        way.point(longitude, latitude - d_lat)?,
    );
    let slope = |p: ((f64, f64), (f64, f64))| {
        [
            (p.0.0 - p.1.0) / (2.0 * reach),
            (p.0.1 - p.1.1) / (2.0 * reach),
        ]
    };
    let (e, n) = (slope(east), slope(north));
    let determinant = e[0] * n[1] - e[1] * n[0];
    let squares = e[0] * e[0] + e[1] * e[1] + n[0] * n[0] + n[1] * n[1];
    let root = libm::sqrt((squares * squares - 4.0 * determinant * determinant).max(0.0));
    let (high, low) = (
        libm::sqrt(f64::midpoint(squares, root)),
        libm::sqrt(((squares - root) / 2.0).max(0.0)),
    );
    let convergence_deg = -libm::atan2(n[0], n[1]).to_degrees();
    Ok(Plane {
        crs: crs.clone(),
        longitude,
        latitude,
        scale_low: low,
        scale_high: high,
        areal_scale: determinant.abs(),
        convergence_deg,
    })
}

/// The working plane: the one asked for if it is fit, else the raster's own if it is fit, else the UTM zone of the place.
///
/// # Errors
/// [`PlaneError::Unfit`] when the job asks for an unfit plane.
pub fn choose(
    asked: Option<&Crs>,
    raster: &Crs,
    longitude: f64,
    latitude: f64,
    findings: &mut Vec<Finding>,
) -> Result<Plane, PlaneError> {
    if let Some(crs) = asked {
        let plane = examine(crs, longitude, latitude)?;
        return if plane.is_fit() {
            Ok(plane)
        } else {
            Err(PlaneError::Unfit {
                crs: crs.to_string(),
                longitude,
                latitude,
                low: plane.scale_low,
                high: plane.scale_high,
            })
        };
    }
    let own = examine(raster, longitude, latitude)?;
    if own.is_fit() {
        return Ok(own);
    }
    let utm = Crs::utm(longitude, latitude);
    findings.push(Finding::note(
        codes::PLANE_UTM,
        format!(
            "areas are reckoned in {} ({utm}), since the image's own system {raster} is no plane of metres at the field: one metre on the ground is {:.6} to {:.6} of its units (allowed 0.998 to 1.002)",
            utm.name(),
            own.scale_low,
            own.scale_high
        ),
    ));
    Ok(examine(&utm, longitude, latitude)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scale_of_utm_and_of_web_mercator() {
        // UTM: 0.9996 on the central meridian (definition). Web Mercator: about 1/cos(latitude) at 45°.
        let utm = examine(&Crs::utm(15.0, 48.0), 15.0, 48.0).unwrap();
        assert!(
            (utm.scale_low - 0.9996).abs() < 1e-6
                && (utm.scale_high - 0.9996).abs() < 1e-6
                && utm.is_fit()
        );
        let web = examine(&Crs::epsg(3857, "Web Mercator"), 10.0, 45.0).unwrap();
        assert!((1.41..1.42).contains(&web.scale_high) && !web.is_fit());
        let degrees = examine(&Crs::wgs84(), 10.0, 45.0).unwrap();
        assert!(!degrees.is_fit());
    }

    #[test]
    fn convergence_of_utm() {
        // Convergence of a transverse Mercator ≈ Δlongitude · sin(latitude), positive east of the central meridian in the north.
        let plane = examine(&Crs::utm(17.5, 50.0), 17.5, 50.0).unwrap();
        assert!(
            (plane.convergence_deg - 2.5 * libm::sin(50.0_f64.to_radians())).abs() < 0.005,
            "{}",
            plane.convergence_deg
        );
        assert!((plane.grid_azimuth(90.0) + plane.convergence_deg - 90.0).abs() < 1e-12);
    }

    #[test]
    fn an_unfit_plane_is_refused_and_an_unfit_raster_replaced() {
        let mut findings = Vec::new();
        let web = Crs::epsg(3857, "WGS 84 / Pseudo-Mercator");
        assert!(matches!(
            choose(Some(&web), &web, 10.0, 45.0, &mut findings),
            Err(PlaneError::Unfit { .. })
        ));
        let plane = choose(None, &web, 10.0, 45.0, &mut findings).unwrap();
        assert_eq!(plane.crs.code(), Some(32_632));
        assert_eq!(findings[0].code, "plane.utm");
    }
}
