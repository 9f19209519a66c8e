//! `[imagery]`: the canopy image, or readings in its place.

use std::path::PathBuf;

use crate::job::settings::points::Points;
use crate::science::reference::SpreadFit;
use crate::units::Length;
use jiff::civil::Date;

/// `[imagery]`.
#[derive(Clone, Debug)]
pub struct Imagery {
    /// One file, or one a band.
    pub source: ImageSource,
    /// Sensing date.
    pub date: Date,
    /// Catalogue name, `band N`, or formula, as written.
    pub index: String,
    /// Band numbers (from 1) by band name; only for one file.
    pub bands: Vec<(String, usize)>,
    /// Overrides the file's own scale.
    pub scale: Option<f64>,
    /// Overrides the file's own offset.
    pub offset: Option<f64>,
    /// The stored number that stands for no data; overrides the file's own.
    pub nodata: Option<f64>,
    /// Index below which ground counts as bare; `None` is off, and absent means the catalogue's own.
    pub bare_below: BareBelow,
    /// Share of a pixel that must lie in the field.
    pub pixel_inside: f64,
    /// Share of a cell that must be seen.
    pub minimum_seen: f64,
    /// The sensor's blur beyond the pixel itself.
    pub point_spread: PointSpread,
    /// Class or bit mask.
    pub mask: Option<Mask>,
    /// Kind of sensor, in the words of `haulm crops`; compared with that of the method's numbers.
    pub sensor: Option<String>,
}

/// `imagery.point_spread`: full width at half maximum of the sensor's blur beyond the pixel. \[pixels\]
#[derive(Clone, Debug, PartialEq)]
pub enum PointSpread {
    /// As stated.
    Given(f64),
    /// The published figure of a sensor: its name, the width.
    Sensor(String, f64),
    /// Fitted from the pixels of coarse strips.
    Fit,
}

impl PointSpread {
    /// Whether any blur is reckoned with.
    pub fn is_any(&self) -> bool {
        *self != Self::Given(0.0)
    }
    /// The width that coarse strips are solved with: as given, or as fitted (none where it could not be). \[pixels\]
    pub fn width(&self, fitted: Option<&SpreadFit>) -> f64 {
        match self {
            Self::Given(width) | Self::Sensor(_, width) => *width,
            Self::Fit => fitted.map_or(0.0, |fit| fit.full_width),
        }
    }
}

/// `imagery.path`.
#[derive(Clone, Debug, PartialEq)]
pub enum ImageSource {
    /// One raster with all bands.
    One(PathBuf),
    /// One raster a band, by band name.
    PerBand(Vec<(String, PathBuf)>),
    /// Single readings: `[points]` instead of an image.
    Points(Box<Points>),
}

/// `imagery.bare_below`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BareBelow {
    /// The catalogue's default for the index (NDVI 0.25; others off).
    OfIndex,
    /// As given.
    Value(f64),
}

/// `imagery.mask`.
#[derive(Clone, Debug)]
pub struct Mask {
    /// The class raster; absent means the first mask of the satellite product that the image is.
    pub path: Option<PathBuf>,
    /// The band that holds it, from 1.
    pub band: usize,
    /// What makes a pixel usable.
    pub rule: MaskRule,
    /// How far unusable classes are grown, between pixel centres.
    pub grow: Length,
    /// Further masks: a pixel must be usable by each of them.
    pub and: Vec<Mask>,
}

/// Which mask values are usable.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MaskRule {
    /// Classes that are kept; all else is dropped.
    Keep(Vec<i64>),
    /// Bits of which none may be set.
    Bits(Vec<u8>),
}
