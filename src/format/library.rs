//! The one set-up of GDAL: which drivers there are, and every option that could change a number or reach for a network.
//!
//! Options are set by ourselves, so that neither the environment nor a configuration file of GDAL decides them.

use std::sync::Once;

use gdal::DriverManager;
use gdal::config::{clear_config_option, set_config_option};
use gdal::spatial_ref::SpatialRef;

use crate::format::complaints;

/// Drivers that may open a raster; none of them reaches for a network.
pub(crate) const RASTER_DRIVERS: [&str; 10] = [
    "GTiff",
    "COG",
    "VRT",
    "JP2OpenJPEG",
    "HFA",
    "ENVI",
    "AAIGrid",
    "GPKG",
    "PNG",
    "ERS",
];

/// What else may be: drivers that read vectors, and those that write. All others go at the start, since a virtual raster opens its sources by any driver that is
/// there, those of web services among them.
const OTHER_DRIVERS: [&str; 11] = [
    "MEM",
    "Memory",
    "GeoJSON",
    "GeoJSONSeq",
    "ESRI Shapefile",
    "FlatGeobuf",
    "LIBKML",
    "KML",
    "GML",
    "MapInfo File",
    "JPEG",
];

/// Whether a driver may stay.
fn is_known(driver: &str) -> bool {
    RASTER_DRIVERS.contains(&driver) || OTHER_DRIVERS.contains(&driver)
}

/// Options of GDAL that hold for every run: (name, value).
const OPTIONS: [(&str, &str); 13] = [
    // A ring whose ends lie apart is a complaint, not a ring: where it was meant to close nobody can tell.
    ("OGR_GEOMETRY_ACCEPT_UNCLOSED_RING", "NO"),
    // A block that cannot be read is missing, not 0.
    ("GTIFF_IGNORE_READ_ERRORS", "NO"),
    // Pixels that are points are half a pixel away from pixels that are areas.
    ("GTIFF_POINT_GEO_IGNORE", "NO"),
    ("GTIFF_HONOUR_NEGATIVE_SCALEY", "NO"),
    ("GDAL_VRT_ENABLE_PYTHON", "NO"),
    ("GML_DOWNLOAD_SCHEMA", "NO"),
    ("GML_SKIP_RESOLVE_ELEMS", "ALL"),
    ("SHAPE_RESTORE_SHX", "NO"),
    ("OGR_ENABLE_PARTIAL_REPROJECTION", "NO"),
    ("OGR_GML_NULL_SRS", "NO"),
    ("GDAL_DISABLE_READDIR_ON_OPEN", "NO"),
    ("GDAL_PAM_ENABLED", "YES"),
    ("CPL_DEBUG", "OFF"),
];

/// The one name that network file systems may have when they may have none: no file is called so.
const NOWHERE: &str = "/vsicurl/none";

/// Systems on the two ensembles of datums that EPSG has: WGS 84 and ETRS89.
const ON_ENSEMBLES: [u32; 2] = [4326, 4258];

thread_local! {
    /// PROJ (9.1) keeps what it made for each thread, and takes an ensemble for a single datum in all that follows once a file has named the datum alone. Asked for
    /// first, they are ensembles whatever the thread reads later.
    static ENSEMBLES: () = for code in ON_ENSEMBLES {
        // Without PROJ's database nothing else will be found either, and the reader says so.
        let _ = SpatialRef::from_epsg(code);
    };
}

/// Sets GDAL up, once: drivers, options, and who hears its complaints; and what each thread needs. Every reader calls it before it opens anything.
pub(crate) fn ready() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        complaints::listen();
        // From the end on: taking one out moves those behind it.
        for at in (0..DriverManager::count()).rev() {
            if let Ok(driver) = DriverManager::get_driver(at)
                && !is_known(&driver.short_name())
            {
                DriverManager::deregister_driver(&driver);
            }
        }
        for (name, value) in OPTIONS {
            // Fails only for a text with a zero byte.
            let _ = set_config_option(name, value);
        }
        network(false);
    });
    ENSEMBLES.with(|()| ());
}

/// Opens or closes GDAL's network file systems.
pub(crate) fn network(open: bool) {
    for name in [
        "CPL_VSIL_CURL_ALLOWED_FILENAME",
        "CPL_VSIL_CURL_ALLOWED_EXTENSIONS",
    ] {
        let _ = if open {
            clear_config_option(name)
        } else {
            set_config_option(name, NOWHERE)
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drivers_that_are_not_on_the_list_are_gone() {
        ready();
        let left: Vec<String> = DriverManager::all()
            .map(|driver| driver.short_name())
            .collect();
        assert!(left.iter().any(|name| name == "GTiff") && left.iter().any(|name| name == "GPKG"));
        for name in &left {
            assert!(is_known(name), "{name}");
        }
        // What reaches for a network is not among them.
        for name in [
            "WMS", "WCS", "WFS", "HTTP", "OAPIF", "OGR_VRT", "STACTA", "PLMosaic",
        ] {
            assert!(!left.iter().any(|other| other == name), "{name}");
        }
    }
}
