//! One image in every layout and type that people have: the sums of the cells must be the same to the last bit.
//!
//! | layout | how it differs |
//! | --- | --- |
//! | striped, tiled, one block | the order of reading |
//! | band- and pixel-interleaved | one or all bands in a block |
//! | uint8, uint16, int16, float32, float64 | the type of the stored numbers, which are the same |
//! | none, LZW, DEFLATE with and without predictor, ZSTD | compression |
//! | classic, BigTIFF, cloud-optimised | the file's own addresses and order |
//! | VRT, JPEG 2000 without loss, one file a band, one of them of coarser pixels | other drivers |
//! | in a zip | GDAL's virtual paths |
//! | with overviews of wrong numbers | they must never be read |

use std::io::Write as _;
use std::path::{Path, PathBuf};

use gdal::cpl::CslStringList;
use gdal::raster::{Buffer, GdalType, RasterCreationOptions, ResampleAlg};
use gdal::spatial_ref::SpatialRef;
use gdal::{Dataset, DatasetOptions, DriverManager, GdalOpenFlags, Metadata as _};
use geo::{LineString, MultiPolygon, Polygon};
use haulm::format::raster::product::into_archive;
use haulm::format::raster::{RasterStack, Slot, facts};
use haulm::pipeline::scan::{RowIndex, Scan, Scanned, scan};
use haulm::science::index::{Index, Scratch};
use haulm::space::cells::CellFrame;
use haulm::space::cut::cut;
use haulm::space::polygon::{oriented, rings_of};
use haulm::space::raster::RasterSource as _;

/// Columns and rows: even, so that a coarser band nests.
const SIZE: (usize, usize) = (90, 70);
/// What stands for no data.
const NODATA: f64 = 0.0;
const CORNER: (f64, f64) = (560_000.0, 5_560_000.0);

/// Stored numbers of a band: whole, below 256, with a hole. Two by two pixels are alike, so that a band of twice the pixel size says the same.
fn stored(band: usize) -> Vec<f64> {
    let value = |col: usize, row: usize| {
        let (c, r) = (col / 2, row / 2);
        if (20..24).contains(&c) && (10..13).contains(&r) {
            return NODATA;
        }
        let red = 20 + (c * 7 + r * 13) % 40;
        if band == 1 {
            red as f64
        } else {
            (red + 60 + (c * 11 + r * 3) % 100) as f64
        }
    };
    (0..SIZE.1)
        .flat_map(|row| (0..SIZE.0).map(move |col| (col, row)))
        .map(|(col, row)| value(col, row))
        .collect()
}

/// Numbers as a type holds them.
trait Stored: GdalType + Copy {
    fn of(value: f64) -> Self;
}
macro_rules! stored {
    ($($kind:ty),*) => { $(impl Stored for $kind { fn of(value: f64) -> Self { value as $kind } })* };
}
stored!(u8, u16, i16, f32, f64);

fn place(dataset: &mut Dataset, pixel: f64) {
    dataset
        .set_spatial_ref(&SpatialRef::from_epsg(32_633).unwrap())
        .unwrap();
    dataset
        .set_geo_transform(&[CORNER.0, pixel, 0.0, CORNER.1, 0.0, -pixel])
        .unwrap();
}

/// Writes the two bands as `GeoTIFF`.
fn write<T: Stored>(path: &Path, options: &[&str]) {
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    let options: RasterCreationOptions = options.iter().copied().collect();
    let mut dataset = driver
        .create_with_band_type_with_options::<T, _>(path, SIZE.0, SIZE.1, 2, &options)
        .unwrap();
    place(&mut dataset, 2.0);
    for band in 1..=2 {
        let mut target = dataset.rasterband(band).unwrap();
        target.set_no_data_value(Some(NODATA)).unwrap();
        target
            .write(
                (0, 0),
                SIZE,
                &mut Buffer::new(SIZE, stored(band).into_iter().map(T::of).collect()),
            )
            .unwrap();
    }
    dataset.close().unwrap();
}

struct Ndvi(Index);
impl RowIndex for Ndvi {
    fn evaluate(&self, bands: &[&[f64]], out: &mut [f64]) -> (u64, u64, u64) {
        let counts = self.0.evaluate_row(bands, &mut Scratch::default(), out);
        (counts.missing, counts.undefined, counts.out_of_range)
    }
}

/// Slots of red and near infrared, as files and band numbers.
fn sums(red: (&Path, usize), nir: (&Path, usize)) -> Scanned {
    let index = Index::parse("NDVI").unwrap();
    let slot = |(path, band): (&Path, usize)| Slot {
        facts: facts(path, Path::new("/")).unwrap(),
        band,
        scale: 1.0,
        offset: 0.0,
    };
    let slots = index
        .bands()
        .iter()
        .map(|name| slot(if name == "red" { red } else { nir }))
        .collect();
    let stack = RasterStack::new(slots, None).unwrap();
    let ring = [(9.3, -7.1), (171.0, -15.5), (150.4, -131.0), (15.0, -120.2)]
        .map(|(x, y)| (CORNER.0 + x, CORNER.1 + y));
    let field = oriented(&MultiPolygon::new(vec![Polygon::new(
        LineString::from(ring.to_vec()),
        Vec::new(),
    )]));
    let mut frame = CellFrame::new(17.0, 12.0, 12.0);
    let uv: Vec<(f64, f64)> = rings_of(&field)
        .iter()
        .flatten()
        .map(|p| frame.to_uv(p[0], p[1]))
        .collect();
    frame.u0 = uv.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    frame.v0 = uv.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let grid = cut(&field, frame).unwrap();
    let plane = stack.lattice().crs.clone();
    scan(&Scan {
        source: &stack,
        index: &Ndvi(index),
        plane: &plane,
        field: &field,
        grid: &grid,
        probes: &[],
        pixel_inside: 0.9,
        bare_below: Some(0.25),
        look_at_bands: true,
        threads: 2,
        window_pixels: 1 << 20,
        progress: &|_, _| true,
    })
    .unwrap()
}

struct Files(tempfile::TempDir);

impl Files {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    /// The sums that every layout must give: of one plain file.
    fn plain(&self) -> Scanned {
        let path = self.path("plain.tif");
        write::<f64>(&path, &[]);
        let plain = sums((&path, 1), (&path, 2));
        let seen = plain
            .cells
            .iter()
            .filter(|cell| !cell.canopy.is_zero())
            .count();
        assert!(
            seen > 80 && plain.counts.missing > 40,
            "the scene has cells and a hole: {seen}, {:?}",
            plain.counts
        );
        plain
    }
}

fn same(what: &str, plain: &Scanned, other: &Scanned) {
    assert!(plain.cells == other.cells, "{what}: other sums");
    assert_eq!(
        (plain.counts, &plain.bands),
        (other.counts, &other.bands),
        "{what}"
    );
}

#[test]
fn layouts_types_and_compressions() {
    let files = Files::new();
    let plain = files.plain();
    let zstd = DriverManager::get_driver_by_name("GTiff")
        .unwrap()
        .metadata_item("DMD_CREATIONOPTIONLIST", "")
        .is_some_and(|list| list.contains("ZSTD"));
    let layouts: [&[&str]; 12] = [
        &["BLOCKYSIZE=1"],
        &["BLOCKYSIZE=70"],
        &["TILED=YES", "BLOCKXSIZE=16", "BLOCKYSIZE=32"],
        &[
            "TILED=YES",
            "BLOCKXSIZE=256",
            "BLOCKYSIZE=256",
            "INTERLEAVE=BAND",
        ],
        &["INTERLEAVE=BAND", "BLOCKYSIZE=7"],
        &[
            "TILED=YES",
            "BLOCKXSIZE=32",
            "BLOCKYSIZE=16",
            "INTERLEAVE=PIXEL",
            "COMPRESS=LZW",
        ],
        &["COMPRESS=LZW", "PREDICTOR=2"],
        &[
            "COMPRESS=DEFLATE",
            "TILED=YES",
            "BLOCKXSIZE=64",
            "BLOCKYSIZE=64",
        ],
        &["COMPRESS=DEFLATE", "PREDICTOR=2", "INTERLEAVE=BAND"],
        &["BIGTIFF=YES", "COMPRESS=DEFLATE"],
        &[
            "BIGTIFF=YES",
            "COMPRESS=LZW",
            "PREDICTOR=2",
            "INTERLEAVE=BAND",
        ],
        &[
            "COMPRESS=ZSTD",
            "TILED=YES",
            "BLOCKXSIZE=16",
            "BLOCKYSIZE=16",
        ],
    ];
    for (k, layout) in layouts.iter().enumerate() {
        if layout[0] == "COMPRESS=ZSTD" && !zstd {
            eprintln!("skipped: this GDAL writes no ZSTD");
            continue;
        }
        let read = |kind: &str, write: &dyn Fn(&Path)| {
            let path = files.path(&format!("{k}{kind}.tif"));
            write(&path);
            same(
                &format!("{kind} {layout:?}"),
                &plain,
                &sums((&path, 1), (&path, 2)),
            );
        };
        read("uint8", &|path| write::<u8>(path, layout));
        read("uint16", &|path| write::<u16>(path, layout));
        read("int16", &|path| write::<i16>(path, layout));
        // Predictor 2 is for whole numbers, 3 for floating ones.
        let float: Vec<&str> = layout
            .iter()
            .map(|option| {
                if *option == "PREDICTOR=2" {
                    "PREDICTOR=3"
                } else {
                    option
                }
            })
            .collect();
        read("float32", &|path| write::<f32>(path, &float));
        read("float64", &|path| write::<f64>(path, &float));
    }
    let magic = |name: &str| fs_err::read(files.path(name)).unwrap()[2];
    assert_eq!(
        (magic("9uint16.tif"), magic("8uint16.tif")),
        (43, 42),
        "BigTIFF was written"
    );
}

/// Copies a file into the format of a driver.
fn copied(from: &Path, to: &Path, driver: &str, options: &[&str]) {
    let mut list = CslStringList::new();
    for option in options {
        list.add_string(option).unwrap();
    }
    let driver = DriverManager::get_driver_by_name(driver).unwrap();
    Dataset::open(from)
        .unwrap()
        .create_copy(&driver, to, &list)
        .unwrap()
        .close()
        .unwrap();
}

#[test]
fn other_drivers_and_archives() {
    let files = Files::new();
    let plain = files.plain();
    let whole = files.path("whole.tif");
    write::<u16>(&whole, &["TILED=YES", "BLOCKXSIZE=32", "BLOCKYSIZE=32"]);
    for (name, driver, options) in [
        (
            "cloud.tif",
            "COG",
            &["COMPRESS=DEFLATE", "BLOCKSIZE=128"][..],
        ),
        ("virtual.vrt", "VRT", &[]),
        (
            "wavelets.jp2",
            "JP2OpenJPEG",
            &[
                "QUALITY=100",
                "REVERSIBLE=YES",
                "BLOCKXSIZE=64",
                "BLOCKYSIZE=64",
            ],
        ),
        ("plain.img", "HFA", &[]),
    ] {
        let path = files.path(name);
        copied(&whole, &path, driver, options);
        same(name, &plain, &sums((&path, 1), (&path, 2)));
    }
    let zipped = fs_err::File::create(files.path("flight.zip")).unwrap();
    let mut archive = zip::ZipWriter::new(zipped);
    archive
        .start_file("north/whole.tif", zip::write::SimpleFileOptions::default())
        .unwrap();
    archive.write_all(&fs_err::read(&whole).unwrap()).unwrap();
    archive.finish().unwrap();
    let inner = into_archive(&files.path("flight.zip/north/whole.tif"));
    assert!(inner.starts_with("/vsizip"), "{}", inner.display());
    same("zip", &plain, &sums((&inner, 1), (&inner, 2)));
}

#[test]
fn one_file_a_band_and_one_of_them_coarser() {
    let files = Files::new();
    let plain = files.plain();
    let driver = DriverManager::get_driver_by_name("GTiff").unwrap();
    let single = |name: &str, band: usize, step: usize| {
        let path = files.path(name);
        let size = (SIZE.0 / step, SIZE.1 / step);
        let mut dataset = driver
            .create_with_band_type::<u16, _>(&path, size.0, size.1, 1)
            .unwrap();
        place(&mut dataset, 2.0 * step as f64);
        let all = stored(band);
        let values = (0..size.1)
            .flat_map(|row| (0..size.0).map(move |col| (row * step, col * step)))
            .map(|(row, col)| all[row * SIZE.0 + col] as u16);
        let mut target = dataset.rasterband(1).unwrap();
        target.set_no_data_value(Some(NODATA)).unwrap();
        target
            .write((0, 0), size, &mut Buffer::new(size, values.collect()))
            .unwrap();
        dataset.close().unwrap();
        path
    };
    let (red, nir, coarse) = (
        single("red.tif", 1, 1),
        single("nir.tif", 2, 1),
        single("nir_4m.tif", 2, 2),
    );
    same("one file a band", &plain, &sums((&red, 1), (&nir, 1)));
    same("a coarser band", &plain, &sums((&red, 1), (&coarse, 1)));
}

#[test]
fn overviews_are_never_read() {
    let files = Files::new();
    let plain = files.plain();
    for (name, inside) in [("inside.tif", true), ("beside.tif", false)] {
        let path = files.path(name);
        write::<u8>(&path, &["TILED=YES", "BLOCKXSIZE=16", "BLOCKYSIZE=16"]);
        // A file opened for reading gets its overviews in a file beside it.
        let open_flags = if inside {
            GdalOpenFlags::GDAL_OF_UPDATE
        } else {
            GdalOpenFlags::GDAL_OF_READONLY
        };
        let mut dataset = Dataset::open_ex(
            &path,
            DatasetOptions {
                open_flags,
                ..DatasetOptions::default()
            },
        )
        .unwrap();
        dataset.build_overviews("NEAREST", &[2, 4], &[]).unwrap();
        dataset.close().unwrap();
        let at = if inside {
            path.clone()
        } else {
            files.path("beside.tif.ovr")
        };
        let spoilt = Dataset::open_ex(
            &at,
            DatasetOptions {
                open_flags: GdalOpenFlags::GDAL_OF_UPDATE,
                ..DatasetOptions::default()
            },
        )
        .unwrap();
        for band in 1..=2 {
            let target = spoilt.rasterband(band).unwrap();
            // The file beside is itself the first overview.
            let mut first = if inside {
                target.overview(0).unwrap()
            } else {
                target
            };
            let size = first.size();
            first
                .write(
                    (0, 0),
                    size,
                    &mut Buffer::new(size, vec![251_u8; size.0 * size.1]),
                )
                .unwrap();
        }
        spoilt.close().unwrap();
        let check = Dataset::open(&path).unwrap();
        let band = check.rasterband(1).unwrap();
        let half = band
            .read_as::<u8>(
                (0, 0),
                SIZE,
                (SIZE.0 / 2, SIZE.1 / 2),
                Some(ResampleAlg::NearestNeighbour),
            )
            .unwrap();
        assert!(
            half.data().iter().all(|value| *value == 251),
            "a reader of half the size gets the wrong numbers"
        );
        drop(check);
        if inside {
            // A cloud-optimised file takes them over as they are.
            let cloud = files.path("cloud.tif");
            copied(
                &path,
                &cloud,
                "COG",
                &[
                    "OVERVIEWS=FORCE_USE_EXISTING",
                    "COMPRESS=DEFLATE",
                    "BLOCKSIZE=128",
                ],
            );
            let check = Dataset::open(&cloud).unwrap();
            let wrong = check
                .rasterband(1)
                .unwrap()
                .overview(0)
                .unwrap()
                .read_as::<u8>((0, 0), (4, 4), (4, 4), None)
                .unwrap();
            assert!(wrong.data().iter().all(|value| *value == 251));
            drop(check);
            same("cloud-optimised", &plain, &sums((&cloud, 1), (&cloud, 2)));
        }
        same(name, &plain, &sums((&path, 1), (&path, 2)));
    }
}
