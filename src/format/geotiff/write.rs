//! Writes nitrogen as a cloud-optimised `GeoTIFF` through GDAL, in memory.
//!
//! # Source
//! OGC 21-026 (cloud-optimised `GeoTIFF`: tiles throughout, overviews until one tile remains), kept by GDAL's COG driver; band description, unit and
//! statistics stand in GDAL's own metadata tag (42112), nodata in 42113.

use std::collections::BTreeMap;

use super::error::GeoTiffError;
use super::fill::{Filler, PixelGrid};
use crate::format::payload::Payload;
use crate::format::scratch::Scratch;
use crate::map::prescription::Prescription;
use crate::space::crs::Crs;
use gdal::cpl::CslStringList;
use gdal::errors::GdalError;
use gdal::raster::Buffer;
use gdal::{Dataset, DriverManager};
use geo::{BoundingRect, MultiPolygon, Rect};
use quick_xml::escape::escape;

/// Where the file goes.
const PATH: &str = "office/nitrogen.tif";
/// Value of pixels outside the field. \[kg N/ha\]
pub(super) const OUTSIDE: f32 = -9_999.0;
/// Tile side, also the rows that are held at once.
const TILE: usize = 256;
/// Pixels of a raster that is held uncompressed on its way: 4 MB.
const MOST_PLAIN: usize = 1 << 20;
/// Pixels a side at most.
pub(super) const MOST_PIXELS: f64 = 200_000.0;
/// Least pixel. \[m\]
const LEAST_PIXEL: f64 = 1.0;

/// Writes `office/nitrogen.tif`: kg N/ha as 32-bit numbers in the working plane, cloud-optimised, one band `nitrogen` with unit and statistics.
///
/// The pixel is a quarter of the cell's shorter side, at least 1 m, on whole multiples of itself. A pixel holds the rate of the zone in which its centre lies,
/// −9999 outside the field. Overviews take the nearest pixel, so that they show only rates that the map has. Only a band of rows is held as plain numbers.
///
/// # Errors
/// [`GeoTiffError`] when there is no zone, a rate is not finite, the raster would be too large, or GDAL refuses.
pub fn write(prescription: &Prescription) -> Result<Vec<Payload>, GeoTiffError> {
    let frame = &prescription.grid.frame;
    let grid = PixelGrid::around(
        bounds(prescription)?,
        (frame.length.min(frame.width) / 4.0).max(LEAST_PIXEL),
    );
    // A comparison that a NaN fails, too.
    if !(grid.columns <= MOST_PIXELS && grid.rows <= MOST_PIXELS) {
        return Err(GeoTiffError::TooLarge {
            columns: grid.columns,
            rows: grid.rows,
            pixel: grid.pixel,
        });
    }
    let plain = Scratch::new("tif");
    let shapes = prescription
        .zones
        .iter()
        .map(|zone| (&zone.outline, zone.n.get() as f32));
    let counts = fill(grid, shapes, &plain).map_err(gdal("filling pixels"))?;
    let text = format!(
        "Nitrogen, kg N/ha, of {} (map {}). For the office, not for the machine",
        prescription.field_name, prescription.map_id
    );
    let about = About {
        system: &prescription.plane,
        transform: grid.transform(),
        size: grid.size(),
        text: &text,
        band: "nitrogen",
        unit: "kg N/ha",
    };
    Ok(vec![Payload::new(PATH, finished(&about, &plain, &counts)?)])
}

/// The cloud-optimised file of a plain one.
pub(super) fn finished(
    about: &About<'_>,
    plain: &Scratch,
    counts: &BTreeMap<u32, u64>,
) -> Result<Vec<u8>, GeoTiffError> {
    let described =
        Dataset::open(described(about, plain, counts)).map_err(gdal("describing the raster"))?;
    let file = Scratch::new("tif");
    optimised(&described, &file).map_err(gdal("writing the raster"))?;
    file.into_bytes()
        .map_err(gdal("taking the file from memory"))
}

pub(super) fn gdal(doing: &'static str) -> impl Fn(GdalError) -> GeoTiffError {
    move |source| GeoTiffError::Gdal { doing, source }
}

fn bounds(prescription: &Prescription) -> Result<Rect<f64>, GeoTiffError> {
    if let Some(zone) = prescription.zones.iter().find(|zone| !zone.n.is_finite()) {
        return Err(GeoTiffError::NotFinite {
            zone: zone.zone,
            n_kg_ha: zone.n.get(),
        });
    }
    let boxes = prescription
        .zones
        .iter()
        .filter_map(|zone| zone.outline.bounding_rect());
    boxes
        .reduce(|a, b| {
            Rect::new(
                (a.min().x.min(b.min().x), a.min().y.min(b.min().y)),
                (a.max().x.max(b.max().x), a.max().y.max(b.max().y)),
            )
        })
        .ok_or(GeoTiffError::NoZones)
}

/// Fills a plain tiled raster and counts the pixels of each rate (by its bits; rates are not negative, so bits sort like numbers; −9999 is left out).
pub(super) fn fill<'a>(
    grid: PixelGrid,
    shapes: impl Iterator<Item = (&'a MultiPolygon<f64>, f32)>,
    plain: &Scratch,
) -> Result<BTreeMap<u32, u64>, GdalError> {
    let mut filler = Filler::new(grid, shapes);
    fill_rows(grid.size(), plain, |row| filler.next_row(row, OUTSIDE))
}

/// As [`fill`], row by row from the north.
pub(super) fn fill_rows(
    (columns, rows): (usize, usize),
    plain: &Scratch,
    mut next_row: impl FnMut(&mut [f32]),
) -> Result<BTreeMap<u32, u64>, GdalError> {
    let mut options = CslStringList::new();
    // It lives in memory until it is carried over: compressed where it is large.
    let compress = if columns * rows > MOST_PLAIN {
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
pub(super) struct About<'a> {
    pub(super) system: &'a Crs,
    /// GDAL's six numbers: west, step east, 0, north, 0, step south.
    pub(super) transform: [f64; 6],
    pub(super) size: (usize, usize),
    /// A sentence.
    pub(super) text: &'a str,
    /// Name of the band.
    pub(super) band: &'a str,
    /// Unit of its numbers.
    pub(super) unit: &'a str,
}

/// The plain raster with everything that a reader wants to know of it, as GDAL's virtual format: the way to a unit without touching GDAL's C interface.
pub(super) fn described(about: &About<'_>, plain: &Scratch, counts: &BTreeMap<u32, u64>) -> String {
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
    let least = values()
        .map(|(value, _)| value)
        .fold(f64::INFINITY, f64::min);
    let greatest = values()
        .map(|(value, _)| value)
        .fold(f64::NEG_INFINITY, f64::max);
    let share = 100.0 * valid / pixels;
    [
        ("MINIMUM", least.to_string()),
        ("MAXIMUM", greatest.to_string()),
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
    use crate::map::fixture;
    use crate::space::cells::CellFrame;
    use crate::units::NRate;
    use gdal::Metadata;
    use gdal::vsi::create_mem_file;

    fn reopened(p: &Prescription) -> (Scratch, Dataset) {
        let payloads = write(p).unwrap();
        assert_eq!(payloads.len(), 1);
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
        assert_eq!(write(&p).unwrap(), write(&p).unwrap());
        p.zones[1].n = NRate::kg_per_ha(f64::NAN);
        assert!(matches!(
            write(&p),
            Err(GeoTiffError::NotFinite { zone: 2, .. })
        ));
        p.zones.clear();
        assert!(matches!(write(&p), Err(GeoTiffError::NoZones)));
    }
}
