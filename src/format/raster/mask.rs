//! Class and bit masks: which pixels the provider calls cloud, shadow, water.

use std::path::PathBuf;

use gdal::Dataset;

use super::blocks::Requirement;
use super::error::RasterFileError;
use super::open::{RasterFacts, open};
use super::shelf::Shelf;
use super::stored::Conversion;
use crate::space::crs::Projector;
use crate::space::raster::{Lattice, RasterError, Window};

/// Which mask values are usable.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MaskRule {
    /// Classes that are kept; all else is dropped.
    Keep(Vec<i64>),
    /// Bits of which none may be set.
    Bits(Vec<u8>),
}

impl MaskRule {
    fn usable(&self, value: f64) -> bool {
        // No class and no bits: a number between two whole ones, or none at all.
        if value != libm::trunc(value) || value.abs() > 9e15 {
            return false;
        }
        let value = value as i64;
        match self {
            Self::Keep(classes) => classes.contains(&value),
            Self::Bits(bits) => bits.iter().all(|bit| value & (1 << bit) == 0),
        }
    }
}

/// A mask file and how to read it.
#[derive(Clone, Debug)]
pub struct MaskSpec {
    /// The file.
    pub path: PathBuf,
    /// What it says of itself.
    pub facts: RasterFacts,
    /// The band that holds the mask, from 1.
    pub band: usize,
    /// Which values are usable.
    pub rule: MaskRule,
    /// How far unusable pixels are grown, between pixel centres. \[m\]
    pub grow: f64,
    /// Further masks: a pixel must be usable by each of them.
    pub and: Vec<MaskSpec>,
}

/// Where a mask's pixels come from.
enum Origin<'a> {
    /// Its file.
    File(Box<Dataset>),
    /// Blocks that are shared with other fields.
    Shelf(&'a Shelf),
}

impl Origin<'_> {
    /// Stored numbers of a rectangle of its pixels, row by row.
    fn read(
        &self,
        spec: &MaskSpec,
        from: (i64, i64),
        size: (usize, usize),
    ) -> Result<Vec<f64>, String> {
        match self {
            Self::File(dataset) => dataset
                .rasterband(spec.band)
                .and_then(|band| {
                    band.read_as::<f64>((from.0 as isize, from.1 as isize), size, size, None)
                })
                .map(|values| values.data().to_vec())
                .map_err(|error| error.to_string()),
            Self::Shelf(shelf) => {
                let mut values = vec![0.0; size.0 * size.1];
                let requirement = Requirement {
                    at: 0,
                    conversion: Conversion::AS_STORED,
                    out: &mut values,
                };
                shelf.read(&spec.path, &[spec.band], (from, size), &mut [requirement])?;
                Ok(values)
            }
        }
    }
}

/// One thread's reader of a mask.
pub(super) struct MaskReader<'a> {
    spec: &'a MaskSpec,
    origin: Origin<'a>,
    way: Projector,
    /// Offsets of mask pixels within `grow`.
    disc: Vec<(i64, i64)>,
    reach: i64,
    and: Vec<MaskReader<'a>>,
}

impl<'a> MaskReader<'a> {
    /// `shelf`: where its blocks are shared with other fields.
    pub(super) fn new(
        spec: &'a MaskSpec,
        image: &Lattice,
        shelf: Option<&'a Shelf>,
    ) -> Result<Self, RasterError> {
        let fail = |reason: String| RasterError::Open {
            file: spec.path.display().to_string(),
            reason,
        };
        let own = || open(&spec.path).map_err(|error: RasterFileError| fail(error.to_string()));
        let origin = match shelf {
            Some(shelf) => Origin::Shelf(shelf),
            None => Origin::File(Box::new(own()?)),
        };
        let way = Projector::new(&image.crs, &spec.facts.lattice.crs)
            .map_err(|error| fail(error.to_string()))?;
        let t = spec.facts.lattice.affine.0;
        // Degrees: a metre is about 1/111 320 of one; good enough for a safety distance.
        let unit = if spec.facts.lattice.crs.is_geographic() {
            111_320.0
        } else {
            1.0
        };
        let size = libm::hypot(t[1], t[4]).min(libm::hypot(t[2], t[5])) * unit;
        let reach = if spec.grow > 0.0 {
            libm::floor(spec.grow / size + 1e-9) as i64
        } else {
            0
        };
        let within = |c: i64, r: i64| {
            let (x, y) = (
                t[1] * c as f64 + t[2] * r as f64,
                t[4] * c as f64 + t[5] * r as f64,
            );
            libm::hypot(x, y) * unit <= spec.grow + 1e-9
        };
        let disc = (-reach..=reach)
            .flat_map(|r| (-reach..=reach).map(move |c| (c, r)))
            .filter(|&(c, r)| (c, r) == (0, 0) || within(c, r))
            .collect();
        let and = spec
            .and
            .iter()
            .map(|spec| Self::new(spec, image, shelf))
            .collect::<Result<_, _>>()?;
        Ok(Self {
            spec,
            origin,
            way,
            disc,
            reach,
            and,
        })
    }

    /// Answers, for each pixel of a window of the image, whether it may be used. Outside the mask file nothing may.
    pub(super) fn usable(&self, image: &Lattice, window: Window) -> Result<Vec<bool>, RasterError> {
        let mut usable = self.usable_by_own(image, window)?;
        for mask in &self.and {
            for (usable, other) in usable.iter_mut().zip(mask.usable(image, window)?) {
                *usable &= other;
            }
        }
        Ok(usable)
    }

    fn usable_by_own(&self, image: &Lattice, window: Window) -> Result<Vec<bool>, RasterError> {
        let lattice = &self.spec.facts.lattice;
        let fail = |reason: String| RasterError::Read {
            file: self.spec.path.display().to_string(),
            col: window.col,
            last_col: window.col + window.cols - 1,
            row: window.row,
            last_row: window.row + window.rows - 1,
            reason,
        };
        let mut places = Vec::with_capacity(window.len());
        let (mut low, mut high) = ((i64::MAX, i64::MAX), (i64::MIN, i64::MIN));
        for row in window.row..window.row + window.rows {
            for col in window.col..window.col + window.cols {
                let (x, y) = image.affine.to_ground(col as f64 + 0.5, row as f64 + 0.5);
                let (x, y) = self
                    .way
                    .point(x, y)
                    .map_err(|error| fail(error.to_string()))?;
                let (c, r) = lattice.affine.to_pixel(x, y);
                let place = (libm::floor(c) as i64, libm::floor(r) as i64);
                low = (low.0.min(place.0), low.1.min(place.1));
                high = (high.0.max(place.0), high.1.max(place.1));
                places.push(place);
            }
        }
        let from = ((low.0 - self.reach).max(0), (low.1 - self.reach).max(0));
        let to = (
            (high.0 + self.reach + 1).min(lattice.cols),
            (high.1 + self.reach + 1).min(lattice.rows),
        );
        if from.0 >= to.0 || from.1 >= to.1 {
            return Ok(vec![false; window.len()]);
        }
        let size = ((to.0 - from.0) as usize, (to.1 - from.1) as usize);
        let values = self.origin.read(self.spec, from, size).map_err(fail)?;
        // Classes that are kept are named one by one, so a file's nodata is kept only by name: usable-data masks declare 0, which means "nothing wrong".
        let nodata = match self.spec.rule {
            MaskRule::Keep(_) => None,
            MaskRule::Bits(_) => self
                .spec
                .facts
                .bands
                .get(self.spec.band - 1)
                .and_then(|band| band.nodata),
        };
        let bad = |c: i64, r: i64| {
            if c < from.0 || r < from.1 || c >= to.0 || r >= to.1 {
                return false;
            }
            let value = values[(r - from.1) as usize * size.0 + (c - from.0) as usize];
            Some(value) == nodata || !self.spec.rule.usable(value)
        };
        let inside = |c: i64, r: i64| c >= 0 && r >= 0 && c < lattice.cols && r < lattice.rows;
        Ok(places
            .iter()
            .map(|&(c, r)| inside(c, r) && !self.disc.iter().any(|&(dc, dr)| bad(c + dc, r + dr)))
            .collect())
    }
}
