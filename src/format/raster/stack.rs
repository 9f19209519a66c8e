//! The bands that an index needs, from one file or several, as one image.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use gdal::Dataset;

use super::blocks::Requirement;
use super::error::RasterFileError;
use super::mask::{MaskReader, MaskSpec};
use super::open::{RasterFacts, open};
use super::shelf::Shelf;
use super::stored::{Conversion, Stored};
use crate::format::complaints;
use crate::space::raster::{Lattice, RasterError, RasterReader, RasterSource, Window};

/// One band of one file, and how its stored numbers become values.
#[derive(Clone, Debug)]
pub struct Slot {
    /// The file's facts.
    pub facts: RasterFacts,
    /// Band number, from 1.
    pub band: usize,
    /// Value = stored × scale + offset.
    pub scale: f64,
    /// Value = stored × scale + offset.
    pub offset: f64,
}

/// Where a slot's pixels lie in the finest lattice: `fine = (own + origin) · factor`.
#[derive(Clone, Copy, Debug)]
struct Nesting {
    factor: i64,
    /// Fine column and row of the slot's own corner.
    origin: (i64, i64),
}

/// Bands as one image on the finest lattice.
#[derive(Clone, Debug)]
pub struct RasterStack {
    lattice: Lattice,
    slots: Vec<Slot>,
    nesting: Vec<Nesting>,
    mask: Option<MaskSpec>,
    /// Where decoded blocks are shared with other fields.
    shelf: Option<Arc<Shelf>>,
}

impl RasterStack {
    /// Stacks bands; a coarser band whose grid nests is read at each fine pixel's parent.
    ///
    /// # Errors
    /// [`RasterFileError::NoBand`], [`RasterFileError::NoNesting`].
    pub fn new(slots: Vec<Slot>, mask: Option<MaskSpec>) -> Result<Self, RasterFileError> {
        for slot in &slots {
            if slot.band == 0 || slot.band > slot.facts.bands.len() {
                return Err(RasterFileError::NoBand {
                    path: slot.facts.path.clone(),
                    band: slot.band,
                    bands: slot.facts.bands.len(),
                });
            }
        }
        let pixel = |slot: &Slot| slot.facts.lattice.affine.determinant().abs();
        let Some(finest) = slots.iter().min_by(|a, b| pixel(a).total_cmp(&pixel(b))) else {
            return Err(RasterFileError::NoBand {
                path: PathBuf::new(),
                band: 1,
                bands: 0,
            });
        };
        let lattice = finest.facts.lattice.clone();
        let finest_path = finest.facts.path.clone();
        let mut nesting = Vec::new();
        for slot in &slots {
            let refuse = |reason: String| RasterFileError::NoNesting {
                path: slot.facts.path.clone(),
                finest: finest_path.clone(),
                reason,
            };
            let own = &slot.facts.lattice;
            if own.crs.definition() != lattice.crs.definition() {
                return Err(refuse(format!("{} against {}", own.crs, lattice.crs)));
            }
            let (t, f) = (own.affine.0, lattice.affine.0);
            let ratio =
                libm::sqrt(own.affine.determinant().abs() / lattice.affine.determinant().abs());
            let factor = libm::round(ratio);
            let near = |a: f64, b: f64| (a - b).abs() <= 1e-6 * (f[1].abs() + f[2].abs());
            let parallel = [1, 2, 4, 5].iter().all(|&k| near(t[k], f[k] * factor));
            let (col, row) = lattice.affine.to_pixel(t[0], t[3]);
            let on_grid =
                (col - libm::round(col)).abs() < 1e-4 && (row - libm::round(row)).abs() < 1e-4;
            if !parallel || !on_grid {
                return Err(refuse(format!(
                    "pixel size ratio {ratio:.4}, origin at its column {col:.3}, row {row:.3}"
                )));
            }
            nesting.push(Nesting {
                factor: factor as i64,
                origin: (libm::round(col) as i64, libm::round(row) as i64),
            });
        }
        Ok(Self {
            lattice,
            slots,
            nesting,
            mask,
            shelf: None,
        })
    }

    /// The same with blocks that are shared with other fields.
    #[must_use]
    pub fn on_shelf(self, shelf: Option<Arc<Shelf>>) -> Self {
        Self { shelf, ..self }
    }

    /// Every slot with its factor and the fine column and row of its corner.
    pub(super) fn slots_and_nesting(&self) -> impl Iterator<Item = (&Slot, (i64, (i64, i64)))> {
        self.slots.iter().zip(
            self.nesting
                .iter()
                .map(|nesting| (nesting.factor, nesting.origin)),
        )
    }

    /// The masks that hide pixels.
    pub fn masks(&self) -> impl Iterator<Item = &MaskSpec> {
        self.mask
            .iter()
            .flat_map(|mask| std::iter::once(mask).chain(&mask.and))
    }

    /// Whether a mask file hides pixels.
    pub const fn is_masked(&self) -> bool {
        self.mask.is_some()
    }

    /// Whether a slot's blocks come from the shelf: those with a mask or alpha band inside are read by themselves.
    fn is_shared(&self, slot: &Slot) -> bool {
        self.shelf.is_some()
            && slot.facts.alphas().next().is_none()
            && !slot.facts.bands[slot.band - 1].masked
    }

    /// Values of a rectangle of a slot's own pixels out of shared blocks; `None` where the slot is not shared.
    pub(super) fn shared(
        &self,
        slot: &Slot,
        from: (i64, i64),
        size: (usize, usize),
        conversion: &Conversion,
    ) -> Option<Result<Vec<f64>, String>> {
        let shelf = self.shelf.as_ref().filter(|_| self.is_shared(slot))?;
        let mut values = vec![f64::NAN; size.0 * size.1];
        let together = self.together(&slot.facts.path);
        let requirement = Requirement {
            at: together
                .iter()
                .position(|band| *band == slot.band)
                .unwrap_or(0),
            conversion: *conversion,
            out: &mut values,
        };
        let read = shelf.read(
            &slot.facts.path,
            &together,
            (from, size),
            &mut [requirement],
        );
        Some(read.map(|()| values))
    }

    /// The bands of a file that are read together, so that a tile with all bands is decoded once.
    fn together(&self, path: &Path) -> Vec<usize> {
        let mut bands: Vec<usize> = self
            .slots
            .iter()
            .filter(|slot| slot.facts.path == *path && self.is_shared(slot))
            .map(|slot| slot.band)
            .collect();
        bands.sort_unstable();
        bands.dedup();
        bands
    }

    /// Whether a band is coarser than the finest, with its factor.
    pub fn coarser(&self) -> Vec<(PathBuf, usize, i64)> {
        self.slots
            .iter()
            .zip(&self.nesting)
            .filter(|(_, n)| n.factor > 1)
            .map(|(slot, n)| (slot.facts.path.clone(), slot.band, n.factor))
            .collect()
    }
}

/// Stands for a file that the shelf opens.
const NO_HANDLE: usize = usize::MAX;

impl RasterSource for RasterStack {
    fn lattice(&self) -> &Lattice {
        &self.lattice
    }
    fn slots(&self) -> usize {
        self.slots.len()
    }
    fn reader(&self) -> Result<Box<dyn RasterReader + '_>, RasterError> {
        // Slots of one file share one handle, so that a tile with all bands is decoded once.
        let mut files: Vec<(PathBuf, Dataset)> = Vec::new();
        let mut handle = Vec::new();
        for slot in &self.slots {
            let path = &slot.facts.path;
            let known = files.iter().position(|(open_path, _)| open_path == path);
            handle.push(if let Some(k) = known {
                k
            } else if self.is_shared(slot) {
                // Opened by the shelf, when a block is due.
                NO_HANDLE
            } else {
                let fail = |error: RasterFileError| RasterError::Open {
                    file: path.display().to_string(),
                    reason: error.to_string(),
                };
                files.push((path.clone(), open(path).map_err(fail)?));
                files.len() - 1
            });
        }
        let mask = self
            .mask
            .as_ref()
            .map(|spec| MaskReader::new(spec, &self.lattice, self.shelf.as_deref()))
            .transpose()?;
        Ok(Box::new(StackReader {
            stack: self,
            files,
            handle,
            mask,
            stored: Stored::default(),
            coarse: Vec::new(),
            hidden: Vec::new(),
            alpha: Vec::new(),
        }))
    }
}

struct StackReader<'a> {
    stack: &'a RasterStack,
    files: Vec<(PathBuf, Dataset)>,
    handle: Vec<usize>,
    mask: Option<MaskReader<'a>>,
    stored: Stored,
    coarse: Vec<f64>,
    hidden: Vec<u8>,
    alpha: Vec<f32>,
}

impl RasterReader for StackReader<'_> {
    fn read(&mut self, window: Window, bands: &mut [Vec<f64>]) -> Result<(), RasterError> {
        complaints::take();
        for (k, out) in bands.iter_mut().enumerate() {
            out.resize(window.len(), f64::NAN);
            self.read_slot(k, window, out)?;
        }
        if let Some(mask) = &self.mask {
            let usable = mask.usable(&self.stack.lattice, window)?;
            for out in bands.iter_mut() {
                for (value, _) in out.iter_mut().zip(&usable).filter(|(_, usable)| !**usable) {
                    *value = f64::NAN;
                }
            }
        }
        // Decoders hand out what they have of a damaged tile, and complain.
        match complaints::take().into_iter().next() {
            None => Ok(()),
            Some(reason) => Err(RasterError::Read {
                file: self.names(),
                col: window.col,
                last_col: window.col + window.cols - 1,
                row: window.row,
                last_row: window.row + window.rows - 1,
                reason,
            }),
        }
    }
}

impl StackReader<'_> {
    /// The files that are read, each once.
    fn names(&self) -> String {
        let masks = self.stack.masks().map(|mask| &mask.path);
        let slots = self.stack.slots.iter().map(|slot| &slot.facts.path);
        let mut all: Vec<String> = Vec::new();
        for path in slots.chain(masks) {
            let path = path.display().to_string();
            if !all.contains(&path) {
                all.push(path);
            }
        }
        all.join(", ")
    }

    fn read_slot(&mut self, k: usize, window: Window, out: &mut [f64]) -> Result<(), RasterError> {
        let (slot, nesting) = (&self.stack.slots[k], self.stack.nesting[k]);
        let own = &slot.facts.lattice;
        let fail = |reason: String| RasterError::Read {
            file: slot.facts.path.display().to_string(),
            col: window.col,
            last_col: window.col + window.cols - 1,
            row: window.row,
            last_row: window.row + window.rows - 1,
            reason,
        };
        let fact = &slot.facts.bands[slot.band - 1];
        let f = nesting.factor;
        let (c0, r0) = (
            (window.col - nesting.origin.0).div_euclid(f),
            (window.row - nesting.origin.1).div_euclid(f),
        );
        let c1 = (window.col + window.cols - 1 - nesting.origin.0).div_euclid(f) + 1;
        let r1 = (window.row + window.rows - 1 - nesting.origin.1).div_euclid(f) + 1;
        let (from, to) = ((c0.max(0), r0.max(0)), (c1.min(own.cols), r1.min(own.rows)));
        if from.0 >= to.0 || from.1 >= to.1 {
            out.fill(f64::NAN);
            return Ok(());
        }
        let size = ((to.0 - from.0) as usize, (to.1 - from.1) as usize);
        let place = (from.0 as isize, from.1 as isize);
        let direct = f == 1 && from == (c0, r0) && to == (c1, r1);
        let target: &mut [f64] = if direct {
            out
        } else {
            self.coarse.resize(size.0 * size.1, 0.0);
            &mut self.coarse
        };
        let conversion = Conversion {
            nodata: fact.nodata,
            valid: fact.valid,
            scale: slot.scale,
            offset: slot.offset,
        };
        let shelf = self.stack.shelf.as_ref();
        if let Some(shelf) = shelf.filter(|_| self.stack.is_shared(slot)) {
            let together = self.stack.together(&slot.facts.path);
            let requirement = Requirement {
                at: together
                    .iter()
                    .position(|band| *band == slot.band)
                    .unwrap_or(0),
                conversion,
                out: target,
            };
            shelf
                .read(
                    &slot.facts.path,
                    &together,
                    (from, size),
                    &mut [requirement],
                )
                .map_err(fail)?;
            if !direct {
                self.spread(k, window, (from, to), out);
            }
            return Ok(());
        }
        let band = self.files[self.handle[k]]
            .1
            .rasterband(slot.band)
            .map_err(|error| fail(error.to_string()))?;
        self.stored
            .read(&band, place, size, &conversion, target)
            .map_err(|error| fail(error.to_string()))?;
        if fact.masked {
            self.hidden.resize(size.0 * size.1, 0);
            let hide = band
                .open_mask_band()
                .map_err(|error| fail(error.to_string()))?;
            hide.read_into_slice(place, size, size, &mut self.hidden, None)
                .map_err(|error| fail(error.to_string()))?;
            for (value, _) in target
                .iter_mut()
                .zip(&self.hidden)
                .filter(|(_, seen)| **seen == 0)
            {
                *value = f64::NAN;
            }
        }
        for alpha in slot.facts.alphas() {
            // Of any type: 0 is seen through.
            self.alpha.resize(size.0 * size.1, 0.0);
            let band = self.files[self.handle[k]]
                .1
                .rasterband(alpha)
                .map_err(|error| fail(error.to_string()))?;
            band.read_into_slice(place, size, size, &mut self.alpha, None)
                .map_err(|error| fail(error.to_string()))?;
            for (value, _) in target
                .iter_mut()
                .zip(&self.alpha)
                .filter(|(_, alpha)| **alpha == 0.0)
            {
                *value = f64::NAN;
            }
        }
        if !direct {
            self.spread(k, window, (from, to), out);
        }
        Ok(())
    }

    /// Puts a coarser band's pixels, those of its own columns and rows `from` to `to`, at the fine ones that they hold.
    fn spread(
        &self,
        k: usize,
        window: Window,
        (from, to): ((i64, i64), (i64, i64)),
        out: &mut [f64],
    ) {
        let nesting = self.stack.nesting[k];
        let (f, cols) = (nesting.factor, (to.0 - from.0) as usize);
        out.fill(f64::NAN);
        for row in 0..window.rows {
            let r = (window.row + row - nesting.origin.1).div_euclid(f);
            for col in 0..window.cols {
                let c = (window.col + col - nesting.origin.0).div_euclid(f);
                if c >= from.0 && c < to.0 && r >= from.1 && r < to.1 {
                    out[(row * window.cols + col) as usize] =
                        self.coarse[(r - from.1) as usize * cols + (c - from.0) as usize];
                }
            }
        }
    }
}
