//! `[imagery]`: the canopy image.

use std::path::PathBuf;

use crate::key::{Any, Key, Kind, Requirement, key, keys};
use crate::science::crop::SENSORS;
use crate::units::Length;
use jiff::civil::Date;

/// Of the image or the readings.
pub(super) const DATE: Key = key(
    Kind::Date,
    "the sensing date",
    "2026-04-14",
    "Day on which the canopy was sensed; growing days and the image's age are counted from it.",
)
.required_for_a_map();

pub(super) const INDEX: Key = key(Kind::Text,
    "the canopy index",
    "\"NDVI\"",
    "Canopy index: a name of `haulm indices`, \"band 1\" for a ready index raster, or a formula of bands.",
)
.or("\"NDVI\"");

pub(super) const BARE_BELOW: Key = key(
    Kind::Number,
    "the limit of bare soil",
    "0.25",
    "Index below which a pixel or reading counts as bare soil.",
)
.within("-1", "100", "an index below which ground counts as bare")
.or_else("the index's own: 0.25 for NDVI, none for most others");

pub(super) const SENSOR: Key = key(
    Kind::Words(SENSORS),
    "the kind of sensor",
    "\"satellite\"",
    "Kind of sensor, compared with the one that the method's numbers were made with.",
);

keys! {
    IMAGERY: ImageryKeys = "imagery", "[imagery]", "The canopy image, its bands, and which of its pixels count. Single readings stand in [points] instead.",
    {
        path: Any = key(
            Kind::Or(&[Kind::Path, Kind::Free(&Kind::Path)]),
            "the image",
            "\"mosaic.tif\"",
            "Raster that GDAL reads, or one file a band: { red = \"B04.jp2\", nir = \"B08.jp2\" }.",
        )
        .required_for_a_map(),
        date: Date = DATE,
        index: String = INDEX,
        bands: Any = key(
            Kind::Free(&Kind::Whole),
            "the band numbers",
            "{ red = 3, nir = 5 }",
            "Number of each band, from 1, where the file does not name its bands.",
        )
        .within("1", "10000", "bands are counted from 1")
        .or_else("as the file names them"),
        scale: f64 = key(
            Kind::Number,
            "the scale",
            "0.0001",
            "Reflectance in one stored count; takes the place of the file's own.",
        )
        .within("-1000000", "1000000", "a scale this large is no reflectance")
        .above_zero()
        .or_else("the file's own"),
        offset: f64 = key(
            Kind::Number,
            "the offset",
            "-0.1",
            "Added after the scale; takes the place of the file's own.",
        )
        .within("-1000000", "1000000", "an offset this large is no reflectance")
        .or_else("the file's own"),
        nodata: f64 = key(
            Kind::Number,
            "the nodata value",
            "0",
            "Stored number that stands for no data.",
        )
        .or_else("the file's own"),
        bare_below: f64 = BARE_BELOW,
        pixel_inside: f64 = key(
            Kind::Share,
            "the share of a pixel",
            "0.9",
            "Share of a pixel that must lie in the field, or the pixel does not count.",
        )
        .within("0", "1", "a share of an area, 0 to 1")
        .or("0.9"),
        minimum_seen: f64 = key(
            Kind::Share,
            "the share of a cell",
            "0.3",
            "Share of a cell that the image must show, or the cell counts as without image.",
        )
        .within("0", "1", "a share of an area, 0 to 1")
        .or("0.3"),
        point_spread: Any = key(
            Kind::Or(&[Kind::Number, Kind::Text]),
            "the blur",
            "0.0",
            "Sensor's blur beyond the pixel, full width at half maximum in pixels; \"fit\", or a sensor's name.",
        )
        .within("0", "5", "full width at half maximum in pixels, beyond the pixel itself")
        .or("0.0").recorded("px"),
        mask: Any = key(
            Kind::Or(&[Kind::Table("imagery.mask"), Kind::Tables("imagery.mask")]),
            "the mask",
            "{ path = \"scl.tif\", keep = [4, 5], grow = \"20 m\" }",
            "Class or bit mask of usable pixels; in a list of masks each must be met.",
        ),
        sensor: String = SENSOR,
    }
}

keys! {
    MASK: MaskKeys = "imagery.mask", "mask = { … }", "A raster that says which pixels are usable.",
    {
        path: PathBuf = key(
            Kind::Path,
            "the mask file",
            "\"scl.tif\"",
            "Raster of classes or bits.",
        )
        .or_else("the first mask of the satellite product that the image is"),
        band: i64 = key(
            Kind::Whole,
            "the mask's band",
            "1",
            "Band that holds the mask.",
        )
        .within("1", "10000", "bands are counted from 1")
        .or("1"),
        keep: Any = key(
            Kind::List(&Kind::Whole),
            "the classes that are kept",
            "[4, 5]",
            "Classes that are usable; every other one is dropped.",
        )
        .within(
            "-2147483648",
            "4294967295",
            "classes of a raster are whole numbers",
        )
        .required_when("unless bits is given"),
        bits: Any = key(
            Kind::Or(&[Kind::Text, Kind::List(&Kind::Whole)]),
            "the bits",
            "\"3,4\"",
            "Bits, from 0, of which none may be set.",
        )
        .within("0", "31", "bits are counted from 0")
        .required_when("unless keep is given"),
        grow: Length = key(
            Kind::Amount(Requirement::Length),
            "the growth of the mask",
            "\"20 m\"",
            "Distance from an unusable pixel within which pixels are dropped too.",
        )
        .within("0 m", "10000 m", "wider than any cloud's edge")
        .or("\"0 m\""),
    }
}
