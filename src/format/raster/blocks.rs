//! Decoded blocks of images that many fields share: each is decoded once, by whoever needs it first, and kept within a bound.

use std::cell::RefCell;
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use gdal::Dataset;
use gdal::raster::{GdalDataType, GdalType, RasterBand};

use super::open::open;
use super::stored::Conversion;
use crate::format::complaints;

/// Datasets that a thread keeps open.
const OPENED: usize = 8;

/// Stored numbers of one band in one block.
#[derive(Debug)]
enum Pixels {
    Bytes(Vec<u8>),
    Words(Vec<u16>),
    Signed(Vec<i16>),
    Single(Vec<f32>),
    Double(Vec<f64>),
}

impl Pixels {
    fn read(
        band: &RasterBand<'_>,
        place: (isize, isize),
        size: (usize, usize),
    ) -> Result<Self, String> {
        fn of<T: Copy + Default + GdalType>(
            band: &RasterBand<'_>,
            place: (isize, isize),
            size: (usize, usize),
        ) -> Result<Vec<T>, String> {
            let mut room = vec![T::default(); size.0 * size.1];
            band.read_into_slice(place, size, size, &mut room, None)
                .map_err(|error| error.to_string())?;
            Ok(room)
        }
        Ok(match band.band_type() {
            GdalDataType::UInt8 => Self::Bytes(of(band, place, size)?),
            GdalDataType::UInt16 => Self::Words(of(band, place, size)?),
            GdalDataType::Int16 => Self::Signed(of(band, place, size)?),
            GdalDataType::Float32 => Self::Single(of(band, place, size)?),
            _ => Self::Double(of(band, place, size)?),
        })
    }

    fn bytes(&self) -> usize {
        match self {
            Self::Bytes(all) => all.len(),
            Self::Words(all) => 2 * all.len(),
            Self::Signed(all) => 2 * all.len(),
            Self::Single(all) => 4 * all.len(),
            Self::Double(all) => 8 * all.len(),
        }
    }

    /// Values of a run of pixels.
    fn values(&self, run: std::ops::Range<usize>, conversion: &Conversion, out: &mut [f64]) {
        match self {
            Self::Bytes(all) => conversion.apply(&all[run], out),
            Self::Words(all) => conversion.apply(&all[run], out),
            Self::Signed(all) => conversion.apply(&all[run], out),
            Self::Single(all) => conversion.apply(&all[run], out),
            Self::Double(all) => conversion.apply(&all[run], out),
        }
    }
}

/// One block with the bands that were asked for together.
#[derive(Debug)]
struct Block {
    cols: usize,
    bands: Vec<Pixels>,
}

/// Which block: file, bands from 1, column and row of the block.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Key {
    file: PathBuf,
    bands: Vec<usize>,
    place: (i64, i64),
}

/// A block that is decoded once, while others wait for it.
type Cell = Arc<OnceLock<Result<Block, String>>>;

#[derive(Debug, Default)]
struct State {
    cells: HashMap<Key, (Cell, u64)>,
    bytes: usize,
    clock: u64,
    seen: HashSet<Key>,
}

/// The number of a run: threads outlive it, and what they have open for one run is not what another finds at the same place.
#[derive(Debug)]
struct Run(u64);

impl Default for Run {
    fn default() -> Self {
        static NEXT: AtomicU64 = AtomicU64::new(0);
        Self(NEXT.fetch_add(1, Ordering::Relaxed))
    }
}

/// The blocks that are kept.
#[derive(Debug, Default)]
pub(super) struct Blocks {
    run: Run,
    room: usize,
    state: Mutex<State>,
    decoded: AtomicU64,
}

thread_local! {
    /// The datasets that this thread has open, by run and path. GDAL's handles serve one thread each.
    static HANDLES: RefCell<Vec<(u64, PathBuf, Rc<Dataset>)>> = const { RefCell::new(Vec::new()) };
}

/// A dataset of this thread.
fn opened(Run(run): &Run, path: &Path) -> Result<Rc<Dataset>, String> {
    let known = HANDLES.with_borrow(|all| {
        all.iter()
            .find(|(of, known, _)| of == run && known == path)
            .map(|(.., dataset)| Rc::clone(dataset))
    });
    if let Some(known) = known {
        return Ok(known);
    }
    let dataset = Rc::new(open(path).map_err(|error| error.to_string())?);
    HANDLES.with_borrow_mut(|all| {
        // What an earlier run had open would keep its copies of images on the disk.
        all.retain(|(of, ..)| of == run);
        if all.len() == OPENED {
            all.remove(0);
        }
        all.push((*run, path.to_owned(), Rc::clone(&dataset)));
    });
    Ok(dataset)
}

/// Lets go of this thread's datasets: a later run may find other files at the same places.
pub(super) fn close() {
    HANDLES.with_borrow_mut(Vec::clear);
}

/// What is wanted of one band of a window.
pub(super) struct Requirement<'a> {
    /// Place of the band among those that are read together.
    pub(super) at: usize,
    /// How stored numbers become values.
    pub(super) conversion: Conversion,
    /// The values, row by row.
    pub(super) out: &'a mut [f64],
}

impl Blocks {
    /// With room for so many bytes.
    pub(super) fn with_room(room: usize) -> Self {
        Self {
            room,
            ..Self::default()
        }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Blocks that were decoded, and how many different ones.
    pub(super) fn counts(&self) -> (u64, u64) {
        let distinct = self.state().seen.len() as u64;
        (self.decoded.load(Ordering::Relaxed), distinct)
    }

    /// Fills the values of a window out of blocks. `bands` are read together, and counted from 1; the window lies within the image.
    pub(super) fn read(
        &self,
        file: &Path,
        bands: &[usize],
        (place, size): ((i64, i64), (usize, usize)),
        requirement: &mut [Requirement<'_>],
    ) -> Result<(), String> {
        let dataset = opened(&self.run, file)?;
        let first = dataset
            .rasterband(bands.first().copied().unwrap_or(1))
            .map_err(|error| error.to_string())?;
        let block = first.block_size();
        let side = (block.0.max(1) as i64, block.1.max(1) as i64);
        let all = dataset.raster_size();
        let all = (all.0 as i64, all.1 as i64);
        let end = (place.0 + size.0 as i64, place.1 + size.1 as i64);
        for down in place.1.div_euclid(side.1)..=(end.1 - 1).div_euclid(side.1) {
            for across in place.0.div_euclid(side.0)..=(end.0 - 1).div_euclid(side.0) {
                let key = Key {
                    file: file.to_owned(),
                    bands: bands.to_vec(),
                    place: (across, down),
                };
                let cell = self.cell(&key);
                let corner = (across * side.0, down * side.1);
                let whole = (
                    side.0.min(all.0 - corner.0) as usize,
                    side.1.min(all.1 - corner.1) as usize,
                );
                let mut fresh = 0;
                let found = cell.get_or_init(|| {
                    self.decoded.fetch_add(1, Ordering::Relaxed);
                    let made = decoded(&dataset, bands, corner, whole);
                    fresh = made
                        .as_ref()
                        .map_or(0, |block| block.bands.iter().map(Pixels::bytes).sum());
                    made
                });
                if fresh > 0 {
                    self.made_room(fresh);
                }
                let found = found.as_ref().map_err(Clone::clone)?;
                let (left, right) = (place.0.max(corner.0), end.0.min(corner.0 + whole.0 as i64));
                let (top, bottom) = (place.1.max(corner.1), end.1.min(corner.1 + whole.1 as i64));
                let run = (right - left) as usize;
                for row in top..bottom {
                    let from = (row - corner.1) as usize * found.cols + (left - corner.0) as usize;
                    let to = (row - place.1) as usize * size.0 + (left - place.0) as usize;
                    for band in requirement.iter_mut() {
                        found.bands[band.at].values(
                            from..from + run,
                            &band.conversion,
                            &mut band.out[to..to + run],
                        );
                    }
                }
            }
        }
        Ok(())
    }

    /// The place of a block, used now.
    fn cell(&self, key: &Key) -> Cell {
        let mut state = self.state();
        state.clock += 1;
        let now = state.clock;
        state.seen.insert(key.clone());
        let (cell, used) = state.cells.entry(key.clone()).or_default();
        *used = now;
        Arc::clone(cell)
    }

    /// Counts new bytes, and forgets the blocks that were not used for longest where there are too many. Who reads one goes on with it.
    fn made_room(&self, fresh: usize) {
        let mut state = self.state();
        state.bytes += fresh;
        while state.bytes > self.room && state.cells.len() > 1 {
            let oldest = state
                .cells
                .iter()
                .filter_map(|(key, (cell, used))| {
                    let bytes = match cell.get()? {
                        Ok(block) => block.bands.iter().map(Pixels::bytes).sum(),
                        Err(_) => 0_usize,
                    };
                    Some((*used, key.clone(), bytes))
                })
                .min_by_key(|(used, _, _)| *used);
            let Some((_, key, bytes)) = oldest else {
                break;
            };
            state.cells.remove(&key);
            state.bytes -= bytes.min(state.bytes);
        }
    }
}

fn decoded(
    dataset: &Dataset,
    bands: &[usize],
    corner: (i64, i64),
    size: (usize, usize),
) -> Result<Block, String> {
    let place = (corner.0 as isize, corner.1 as isize);
    complaints::take();
    let bands = bands
        .iter()
        .map(|band| {
            let band = dataset
                .rasterband(*band)
                .map_err(|error| error.to_string())?;
            Pixels::read(&band, place, size)
        })
        .collect::<Result<_, String>>()?;
    // Decoders hand out what they have of a damaged tile, and complain: every field that needs it hears of it.
    if let Some(reason) = complaints::take().into_iter().next() {
        return Err(reason);
    }
    Ok(Block {
        cols: size.0,
        bands,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use gdal::DriverManager;
    use gdal::raster::{Buffer, RasterCreationOptions};

    /// An image of two bands in blocks of 16 whose pixels say where they lie.
    fn image(path: &Path, interleave: &str) {
        let options = RasterCreationOptions::from_iter(
            [
                "TILED=YES",
                "BLOCKXSIZE=16",
                "BLOCKYSIZE=16",
                "COMPRESS=DEFLATE",
                &format!("INTERLEAVE={interleave}"),
            ]
            .map(str::to_owned),
        );
        let dataset = DriverManager::get_driver_by_name("GTiff")
            .unwrap()
            .create_with_band_type_with_options::<u16, _>(path, 70, 50, 2, &options)
            .unwrap();
        for band in 1..=2 {
            let values = (0..70 * 50).map(|k| (band * 10_000 + k) as u16).collect();
            dataset
                .rasterband(band)
                .unwrap()
                .write((0, 0), (70, 50), &mut Buffer::new((70, 50), values))
                .unwrap();
        }
        dataset.close().unwrap();
    }

    fn plain() -> Conversion {
        Conversion {
            nodata: None,
            valid: None,
            scale: 1.0,
            offset: 0.0,
        }
    }

    #[test]
    fn windows_come_out_of_blocks_as_they_stand() {
        let folder = tempfile::tempdir().unwrap();
        for interleave in ["PIXEL", "BAND"] {
            let path = folder.path().join(format!("{interleave}.tif"));
            image(&path, interleave);
            let blocks = Blocks::with_room(1 << 20);
            for ((col, row), (cols, rows)) in [
                ((0, 0), (70, 50)),
                ((15, 15), (2, 2)),
                ((60, 40), (10, 10)),
                ((3, 20), (40, 1)),
            ] {
                let mut out = [vec![0.0; cols * rows], vec![0.0; cols * rows]];
                let [a, b] = &mut out;
                let mut requirement = [
                    Requirement {
                        at: 1,
                        conversion: plain(),
                        out: a,
                    },
                    Requirement {
                        at: 0,
                        conversion: plain(),
                        out: b,
                    },
                ];
                blocks
                    .read(&path, &[1, 2], ((col, row), (cols, rows)), &mut requirement)
                    .unwrap();
                for (k, value) in out[0].iter().enumerate() {
                    let (c, r) = (k % cols, k / cols);
                    let here = ((row as usize + r) * 70 + col as usize + c) as f64;
                    assert_eq!((*value, out[1][k]), (20_000.0 + here, 10_000.0 + here));
                }
            }
            assert_eq!(blocks.counts(), (20, 20), "5 by 4 blocks, each once");
        }
        close();
    }

    #[test]
    fn what_is_kept_stays_within_its_room() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.tif");
        image(&path, "PIXEL");
        // A block of two bands takes 1 024 bytes.
        let blocks = Blocks::with_room(3_000);
        let mut out = vec![0.0; 70 * 50];
        for _ in 0..2 {
            let mut requirement = [Requirement {
                at: 0,
                conversion: plain(),
                out: &mut out,
            }];
            blocks
                .read(&path, &[1, 2], ((0, 0), (70, 50)), &mut requirement)
                .unwrap();
            assert!(blocks.state().bytes <= 3_000);
        }
        assert_eq!(blocks.counts(), (40, 20));
        close();
    }
}
