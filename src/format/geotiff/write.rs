//! Writes nitrogen as a cloud-optimised `GeoTIFF` through GDAL, in memory.
//!
//! # Source
//! OGC 21-026 (cloud-optimised `GeoTIFF`: tiles throughout, overviews until one tile remains), kept by GDAL's COG driver; band description, unit and
//! statistics stand in GDAL's own metadata tag (42112), nodata in 42113.

use std::collections::BTreeMap;

use super::fill::{Filler, PixelGrid};
use crate::format::payload::Payload;
use crate::format::scratch::Scratch;
use crate::format::style::qml_raster;
use crate::format::{WriteError, WriteOptions, Written};
use crate::map::export::ExportMap;
use crate::map::imported::RateLattice;
use crate::space::crs::{Crs, Projector};
use gdal::cpl::CslStringList;
use gdal::errors::GdalError;
use gdal::raster::Buffer;
use gdal::{Dataset, DriverManager};
use geo::{BoundingRect, MultiPolygon, Rect};
use quick_xml::escape::escape;

/// Value of pixels outside the field.
const OUTSIDE: f32 = -9_999.0;
/// Tile side, also the rows that are held at once.
const TILE: usize = 256;
/// Pixels of a raster that is held uncompressed on its way: 4 MB.
const MAXIMUM_PLAIN: usize = 1 << 20;
/// Pixels a side at most.
const MAXIMUM_PIXELS: f64 = 200_000.0;
/// Pixels on the longer side that are plenty to draw zones of a machine's width. Our own choice.
const PLENTY: f64 = 4_000.0;

/// `NAME.tif` and `NAME.qml`: rates as 32-bit numbers, cloud-optimised, one band with unit and statistics.
///
/// A map that came as a grid keeps its cells and their rates. Any other is filled into square pixels, on whole multiples of their size, on its own plane, or on the
/// UTM zone of its middle if it is in degrees: a pixel has the rate of the zone in which its centre lies, −9999 outside. Its size is that of the options, else the
/// map's own, else 1 m or more so that the longer side has 4000 pixels at most. Overviews take the nearest pixel, so that they show only rates that the map has. Only
/// a band of rows is held as plain numbers.
///
/// # Errors
/// [`WriteError`] when there is no zone, a rate is not finite, the raster would be too large, or GDAL refuses.
pub(super) fn write(
    map: &ExportMap<'_>,
    options: &WriteOptions<'_>,
) -> Result<Written, WriteError> {
    let raster = &map.raster;
    if let Some((row, &value)) = (1..).zip(&raster.rates).find(|(_, rate)| !rate.is_finite()) {
        return Err(WriteError::NotFinite {
            table: map.zones.table.name,
            row,
            column: raster.band,
            value,
        });
    }
    let of = map.map_id.map_or_else(
        || map.name.to_owned(),
        |id| format!("{} (map {id})", map.name),
    );
    let text = format!(
        "{}, {}, of {of}. For the office, not for the machine",
        raster.title, raster.unit
    );
    let about = |system, transform, size| About {
        system,
        transform,
        size,
        text: &text,
        band: raster.band,
        unit: raster.unit,
    };
    let plain = Scratch::new("tif");
    let mut pixel_m = None;
    let bytes = if let Some(own) = raster.lattice {
        let counts = fill_lattice(own, &plain).map_err(WriteError::gdal("filling pixels"))?;
        let north = own.south + own.rows as f64 * own.cell_y;
        let transform = [own.west, own.cell_x, 0.0, north, 0.0, -own.cell_y];
        let about = about(map.system, transform, (own.cols, own.rows));
        finished(&about, &plain, &counts)?
    } else {
        let (system, outlines, grid) = filled_grid(map, options.cell_m)?;
        let rates = raster.rates.iter().map(|rate| *rate as f32);
        let counts = fill(grid, outlines.iter().zip(rates), &plain)
            .map_err(WriteError::gdal("filling pixels"))?;
        pixel_m = Some(grid.pixel);
        let about = about(&system, grid.transform(), grid.size());
        finished(&about, &plain, &counts)?
    };
    let name = options.name;
    Ok(Written {
        files: vec![
            Payload::new(format!("{name}.tif"), bytes),
            Payload::new(format!("{name}.qml"), qml_raster(&raster.legend)?),
        ],
        pixel_m,
        ..Written::default()
    })
}

/// Plane, outlines and pixels of a map that is no grid.
fn filled_grid(
    map: &ExportMap<'_>,
    cell_m: Option<f64>,
) -> Result<(Crs, Vec<MultiPolygon<f64>>, PixelGrid), WriteError> {
    let (system, outlines) = on_a_plane(map)?;
    let bounds = bounds(&outlines).ok_or(WriteError::NoZones)?;
    let longest = bounds.width().max(bounds.height());
    let pixel = cell_m.or(map.raster.pixel_m);
    let pixel = pixel.unwrap_or_else(|| libm::ceil(longest / PLENTY).max(1.0));
    let grid = PixelGrid::around(bounds, pixel);
    // A comparison that a NaN fails, too.
    if grid.columns <= MAXIMUM_PIXELS && grid.rows <= MAXIMUM_PIXELS {
        Ok((system, outlines, grid))
    } else {
        Err(WriteError::TooLarge {
            columns: grid.columns,
            rows: grid.rows,
            pixel: grid.pixel,
        })
    }
}

/// Rates as pixels in memory.
#[derive(Clone, Debug, PartialEq)]
pub struct Pixels {
    /// Rates row by row from the north, in the unit of the map's raster; NaN outside the field.
    pub values: Vec<f32>,
    /// Columns.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
    /// West edge, step east, 0, north edge, 0, step south: `GDAL`'s six numbers. \[m\]
    pub transform: [f64; 6],
    /// The plane that they lie on.
    pub system: Crs,
}

/// The pixels of `NAME.tif`, all of them at once: for programs that want numbers and no file.
///
/// # Errors
/// [`WriteError`] when there is no zone, or the raster would be too large.
pub fn pixels(map: &ExportMap<'_>) -> Result<Pixels, WriteError> {
    let (system, outlines, grid) = filled_grid(map, None)?;
    let rates = map.raster.rates.iter().map(|rate| *rate as f32);
    let (columns, rows) = grid.size();
    let mut values = vec![0.0; columns * rows];
    let mut filler = Filler::new(grid, outlines.iter().zip(rates));
    for row in values.chunks_exact_mut(columns) {
        filler.next_row(row, f32::NAN);
    }
    Ok(Pixels {
        values,
        columns,
        rows,
        transform: grid.transform(),
        system,
    })
}

/// Outlines of the zones on a plane of metres: the map's own, or UTM.
fn on_a_plane(map: &ExportMap<'_>) -> Result<(Crs, Vec<MultiPolygon<f64>>), WriteError> {
    let outlines: Vec<_> = map
        .grounds()
        .map(|(_, ground)| ground.into_owned())
        .collect();
    if !map.system.is_geographic() {
        return Ok((map.system.clone(), outlines));
    }
    let middle = bounds(&outlines).ok_or(WriteError::NoZones)?.center();
    let system = Crs::utm(middle.x, middle.y);
    let failed = |source| WriteError::Plane { source };
    let way = Projector::new(map.system, &system).map_err(failed)?;
    let projected = outlines
        .iter()
        .map(|outline| way.geometry(outline))
        .collect::<Result<_, _>>()
        .map_err(failed)?;
    Ok((system, projected))
}

fn bounds(outlines: &[MultiPolygon<f64>]) -> Option<Rect<f64>> {
    let boxes = outlines.iter().filter_map(BoundingRect::bounding_rect);
    boxes.reduce(|a, b| {
        Rect::new(
            (a.min().x.min(b.min().x), a.min().y.min(b.min().y)),
            (a.max().x.max(b.max().x), a.max().y.max(b.max().y)),
        )
    })
}

/// The cloud-optimised file of a plain one.
fn finished(
    about: &About<'_>,
    plain: &Scratch,
    counts: &BTreeMap<u32, u64>,
) -> Result<Vec<u8>, WriteError> {
    let described = Dataset::open(described(about, plain, counts))
        .map_err(WriteError::gdal("describing the raster"))?;
    let file = Scratch::new("tif");
    optimised(&described, &file).map_err(WriteError::gdal("writing the raster"))?;
    file.into_bytes()
        .map_err(WriteError::gdal("taking the file from memory"))
}

/// Fills a plain tiled raster and counts the pixels of each rate (by its bits; rates are not negative, so bits sort like numbers; −9999 is left out).
fn fill<'a>(
    grid: PixelGrid,
    shapes: impl Iterator<Item = (&'a MultiPolygon<f64>, f32)>,
    plain: &Scratch,
) -> Result<BTreeMap<u32, u64>, GdalError> {
    let mut filler = Filler::new(grid, shapes);
    fill_rows(grid.size(), plain, |row| filler.next_row(row, OUTSIDE))
}

/// As [`fill`], cell by cell of a grid.
fn fill_lattice(own: &RateLattice, plain: &Scratch) -> Result<BTreeMap<u32, u64>, GdalError> {
    let mut left = own.rows;
    fill_rows((own.cols, own.rows), plain, |row| {
        left -= 1;
        for (col, pixel) in row.iter_mut().enumerate() {
            *pixel = own.rate(col, left).map_or(OUTSIDE, |rate| rate as f32);
        }
    })
}

/// As [`fill`], row by row from the north.
fn fill_rows(
    (columns, rows): (usize, usize),
    plain: &Scratch,
    mut next_row: impl FnMut(&mut [f32]),
) -> Result<BTreeMap<u32, u64>, GdalError> {
    let mut options = CslStringList::new();
    // It lives in memory until it is carried over: compressed where it is large.
    let compress = if columns * rows > MAXIMUM_PLAIN {
        "DEFLATE"
    } else {
        "NONE"
    };
    for (key, value) in [
        ("TILED", "YES"),
        ("BLOCKXSIZE", "256"),
        ("BLOCKYSIZE", "256"),
        ("COMPRESS", compress),
        ("ZLEVEL", "1"),
        ("BIGTIFF", "IF_SAFER"),
    ] {
        options.set_name_value(key, value)?;
    }
    let driver = DriverManager::get_driver_by_name("GTiff")?;
    let mut dataset = driver.create_with_band_type_with_options::<f32, _>(
        plain.path(),
        columns,
        rows,
        1,
        &options,
    )?;
    let mut counts = BTreeMap::new();
    for top in (0..rows).step_by(TILE) {
        let height = TILE.min(rows - top);
        let mut buffer = Buffer::new((columns, height), vec![OUTSIDE; columns * height]);
        for row in buffer.data_mut().chunks_exact_mut(columns) {
            next_row(row);
            for run in row.chunk_by(|a, b| a == b).filter(|run| run[0] >= 0.0) {
                *counts.entry(run[0].to_bits()).or_insert(0) += run.len() as u64;
            }
        }
        dataset
            .rasterband(1)?
            .write((0, isize::try_from(top)?), (columns, height), &mut buffer)?;
    }
    // Made here, where the pixels are at hand: the COG driver would write a file of its own for them.
    let coarser: Vec<i32> = (1..16)
        .map(|power| 1 << power)
        .take_while(|factor| columns.max(rows) > TILE * *factor as usize / 2)
        .collect();
    if !coarser.is_empty() {
        dataset.build_overviews("NEAREST", &coarser, &[])?;
    }
    dataset.close()?;
    Ok(counts)
}

/// What a raster says of itself.
struct About<'a> {
    system: &'a Crs,
    /// GDAL's six numbers: west, step east, 0, north, 0, step south.
    transform: [f64; 6],
    size: (usize, usize),
    /// A sentence.
    text: &'a str,
    /// Name of the band.
    band: &'a str,
    /// Unit of its numbers.
    unit: &'a str,
}

/// The plain raster with everything that a reader wants to know of it, as GDAL's virtual format: the way to a unit without touching GDAL's C interface.
fn described(about: &About<'_>, plain: &Scratch, counts: &BTreeMap<u32, u64>) -> String {
    let (columns, rows) = about.size;
    let srs = escape(about.system.definition());
    let transform = about.transform.map(|number| number.to_string()).join(", ");
    let (text, band, unit) = (escape(about.text), escape(about.band), escape(about.unit));
    let statistics = statistics(counts, columns as f64 * rows as f64);
    format!(
        "<VRTDataset rasterXSize=\"{columns}\" rasterYSize=\"{rows}\"><SRS>{srs}</SRS><GeoTransform>{transform}</GeoTransform>\
         <Metadata><MDI key=\"AREA_OR_POINT\">Area</MDI><MDI key=\"TIFFTAG_IMAGEDESCRIPTION\">{text}</MDI></Metadata>\
         <VRTRasterBand dataType=\"Float32\" band=\"1\"><Description>{band}</Description><UnitType>{unit}</UnitType><NoDataValue>{OUTSIDE}</NoDataValue>\
         <ColorInterp>Gray</ColorInterp><Metadata>{statistics}</Metadata><SimpleSource><SourceFilename relativeToVRT=\"0\">{path}</SourceFilename>\
         <SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>",
        path = plain.path(),
    )
}

/// Least, greatest, mean and standard deviation of the pixels in the field, under GDAL's names; nothing when there is none.
fn statistics(counts: &BTreeMap<u32, u64>, pixels: f64) -> String {
    let values = || {
        counts
            .iter()
            .map(|(bits, count)| (f64::from(f32::from_bits(*bits)), *count as f64))
    };
    let valid: f64 = values().map(|(_, count)| count).sum();
    if valid == 0.0 {
        return String::new();
    }
    let mean = values().map(|(value, count)| value * count).sum::<f64>() / valid;
    let variance = values()
        .map(|(value, count)| (value - mean) * (value - mean) * count)
        .sum::<f64>()
        / valid;
    let minimum = values()
        .map(|(value, _)| value)
        .fold(f64::INFINITY, f64::min);
    let maximum = values()
        .map(|(value, _)| value)
        .fold(f64::NEG_INFINITY, f64::max);
    let share = 100.0 * valid / pixels;
    [
        ("MINIMUM", minimum.to_string()),
        ("MAXIMUM", maximum.to_string()),
        ("MEAN", mean.to_string()),
        ("STDDEV", libm::sqrt(variance).to_string()),
        ("VALID_PERCENT", format!("{share:.4}")),
    ]
    .map(|(key, value)| format!("<MDI key=\"STATISTICS_{key}\">{value}</MDI>"))
    .concat()
}

fn optimised(described: &Dataset, file: &Scratch) -> Result<(), GdalError> {
    let mut options = CslStringList::new();
    for (key, value) in [
        ("BLOCKSIZE", "256"),
        ("COMPRESS", "DEFLATE"),
        ("LEVEL", "2"),
        ("PREDICTOR", "FLOATING_POINT"),
        ("OVERVIEW_RESAMPLING", "NEAREST"),
        ("NUM_THREADS", "1"),
    ] {
        options.set_name_value(key, value)?;
    }
    described
        .create_copy(
            &DriverManager::get_driver_by_name("COG")?,
            file.path(),
            &options,
        )?
        .close()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format::Format;
    use crate::format::tests::files;
    use crate::map::fixture;
    use crate::map::prescription::Prescription;
    use crate::space::cells::CellFrame;
    use crate::units::NRate;
    use gdal::Metadata;
    use gdal::vsi::create_mem_file;

    fn reopened(p: &Prescription) -> (Scratch, Dataset) {
        let payloads = files(Format::GeoTiff, p).unwrap();
        assert_eq!(payloads.len(), 2);
        assert_eq!(payloads[1].path, "office/nitrogen.qml");
        assert_eq!(payloads[0].path, "office/nitrogen.tif");
        let file = Scratch::new("tif");
        create_mem_file(file.path(), payloads[0].bytes.clone()).unwrap();
        let dataset = Dataset::open(file.path()).unwrap();
        (file, dataset)
    }

    fn at(dataset: &Dataset, along: f64, left: f64) -> f32 {
        let (x, y) = fixture::point(along, left);
        let t = dataset.geo_transform().unwrap();
        let (column, row) = (
            libm::floor((x - t[0]) / t[1]) as isize,
            libm::floor((y - t[3]) / t[5]) as isize,
        );
        dataset
            .rasterband(1)
            .unwrap()
            .read_as::<f32>((column, row), (1, 1), (1, 1), None)
            .unwrap()
            .data()[0]
    }

    /// The same field with cells of 4 m: pixels of 1 m, more than one tile, overviews.
    fn fine() -> Prescription {
        let mut p = fixture::prescription();
        p.grid.frame = CellFrame::new(30.0, 4.0, 5.0);
        p
    }

    #[test]
    fn rates_stand_where_they_belong() {
        for (p, pixel) in [(fixture::prescription(), 6.0), (fine(), 1.0)] {
            let (_file, dataset) = reopened(&p);
            let t = dataset.geo_transform().unwrap();
            assert_eq!((t[1], t[5], t[2], t[4]), (pixel, -pixel, 0.0, 0.0));
            assert_eq!((t[0] % pixel, t[3] % pixel), (0.0, 0.0));
            for (along, left, expected) in [
                (10.0, 10.0, 60.0),
                (72.0, 84.0, 0.0),
                (290.0, 190.0, 90.0),
                (210.0, 90.0, -9999.0),
                (-9.0, 100.0, -9999.0),
            ] {
                assert_eq!(
                    at(&dataset, along, left),
                    expected,
                    "{along} {left} at {pixel} m"
                );
            }
        }
    }

    #[test]
    fn the_total_agrees_with_the_zones() {
        let p = fine();
        let (_file, dataset) = reopened(&p);
        let (columns, rows) = dataset.raster_size();
        let data = dataset
            .rasterband(1)
            .unwrap()
            .read_as::<f32>((0, 0), (columns, rows), (columns, rows), None)
            .unwrap();
        let kg: f64 = data
            .data()
            .iter()
            .filter(|value| **value >= 0.0)
            .map(|value| f64::from(*value) / 10_000.0)
            .sum();
        // Only pixels on borders can differ: a border of 2 km by 1 m by half a pixel on average, both ways.
        assert!(
            (kg / p.total_n_kg - 1.0).abs() < 0.002,
            "{kg} {}",
            p.total_n_kg
        );
    }

    #[test]
    fn a_reader_learns_what_it_is() {
        let (_file, dataset) = reopened(&fine());
        let band = dataset.rasterband(1).unwrap();
        assert_eq!(band.description().unwrap(), "nitrogen");
        assert_eq!(band.unit(), "kg N/ha");
        assert_eq!(band.no_data_value(), Some(-9999.0));
        assert_eq!(
            (band.scale().unwrap_or(1.0), band.offset().unwrap_or(0.0)),
            (1.0, 0.0)
        );
        assert_eq!(band.block_size(), (256, 256));
        assert_eq!(dataset.spatial_ref().unwrap().auth_code().unwrap(), 32_633);
        assert_eq!(
            dataset
                .metadata_item("LAYOUT", "IMAGE_STRUCTURE")
                .as_deref(),
            Some("COG")
        );
        assert!(
            dataset
                .metadata_item("TIFFTAG_IMAGEDESCRIPTION", "")
                .unwrap()
                .contains("map 0a1b2c")
        );
        assert!(band.overview_count().unwrap() >= 1);
        let statistic = |key: &str| band.metadata_item(key, "").unwrap().parse::<f64>().unwrap();
        assert_eq!(
            (
                statistic("STATISTICS_MINIMUM"),
                statistic("STATISTICS_MAXIMUM")
            ),
            (0.0, 90.0)
        );
        // By area: (60 · 25344 + 0 · 3456 + 90 · 30800) / 59600.
        assert!((statistic("STATISTICS_MEAN") - 72.0242).abs() < 0.1);
        let overview = band.overview(0).unwrap();
        let (columns, rows) = overview.size();
        let data = overview
            .read_as::<f32>((0, 0), (columns, rows), (columns, rows), None)
            .unwrap();
        assert!(
            data.data()
                .iter()
                .all(|value| [0.0, 60.0, 90.0, -9999.0].contains(value))
        );
    }

    #[test]
    fn same_bytes_twice_and_refusals() {
        let mut p = fine();
        assert_eq!(
            files(Format::GeoTiff, &p).unwrap(),
            files(Format::GeoTiff, &p).unwrap()
        );
        p.zones[1].n = NRate::kg_per_ha(f64::NAN);
        assert!(matches!(
            files(Format::GeoTiff, &p),
            Err(WriteError::NotFinite { row: 2, .. })
        ));
        p.zones.clear();
        assert!(matches!(
            files(Format::GeoTiff, &p),
            Err(WriteError::NoZones)
        ));
    }
}
