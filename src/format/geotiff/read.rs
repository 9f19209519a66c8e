//! Rasters of rates, through GDAL.

use std::path::Path;

use gdal::{Dataset, DatasetOptions, GdalOpenFlags, Metadata};

use crate::finding::codes;
use crate::format::maps::table::meaning_of;
use crate::format::maps::{MapError, ReadOptions, stem};
use crate::format::systems::system_of;
use crate::format::{complaints, library};
use crate::map::faults::fault::Fault;
use crate::map::imported::{ImportedMap, MapKind, Place, RateLattice, System};

/// Drivers that may open the file; none of them reaches for another file.
const DRIVERS: [&str; 2] = ["GTiff", "AAIGrid"];
/// More pixels than this are no prescription map but an image.
const PIXELS: usize = 64_000_000;
/// More bands than this are no map of rates.
const BANDS: usize = 64;

pub(super) fn read(path: &Path, options: &ReadOptions) -> Result<ImportedMap, MapError> {
    let refused = |reason: String| MapError::Unreadable {
        path: path.to_owned(),
        reason,
    };
    let unreadable = |error: gdal::errors::GdalError| refused(error.to_string());
    let open = DatasetOptions {
        open_flags: GdalOpenFlags::GDAL_OF_READONLY
            | GdalOpenFlags::GDAL_OF_RASTER
            | GdalOpenFlags::GDAL_OF_VERBOSE_ERROR,
        allowed_drivers: Some(&DRIVERS),
        ..DatasetOptions::default()
    };
    library::ready();
    complaints::take();
    let dataset = Dataset::open_ex(path, open).map_err(unreadable)?;
    let (cols, rows) = dataset.raster_size();
    if cols.saturating_mul(rows) > PIXELS || cols == 0 || rows == 0 {
        return Err(refused(format!(
            "{cols} × {rows} pixels; a map of rates has 1 to {PIXELS}"
        )));
    }
    let mut map = ImportedMap::empty(stem(path), MapKind::Raster);
    map.system = match dataset.spatial_ref().ok() {
        None => System::Missing("the raster states none".to_owned()),
        Some(stated) => system_of(&stated).map_or_else(
            || System::Missing("the raster states one that lies nowhere on Earth".to_owned()),
            System::Known,
        ),
    };
    let band = dataset.rasterband(1).map_err(unreadable)?;
    // A tile is held in memory with all its bands, whatever the file's length.
    let (bands, (tile_cols, tile_rows)) = (dataset.raster_count(), band.block_size());
    if bands > BANDS || tile_cols.saturating_mul(tile_rows).saturating_mul(bands) > PIXELS {
        return Err(refused(format!(
            "{bands} bands in tiles of {tile_cols} × {tile_rows} pixels; a map of rates has up to {BANDS} bands and far smaller tiles"
        )));
    }
    if dataset.raster_count() > 1 {
        let message = format!(
            "the raster has {} bands; the first is taken for the rate",
            dataset.raster_count()
        );
        map.oddities.push(Fault::caution(
            codes::RASTER_BANDS,
            Place::named("bands"),
            message,
        ));
    }
    let (description, unit) = (band.description().unwrap_or_default(), band.unit());
    let wording = [unit.as_str(), description.as_str()]
        .map(meaning_of)
        .into_iter()
        .find(|meaning| meaning.unit.is_some());
    map.meaning = options.meaning.clone().or(wording).unwrap_or(map.meaning);
    map.rate_column = (!description.is_empty()).then_some(description);
    if map.meaning.unit.is_none() {
        map.oddities.push(Fault::caution(
            codes::UNIT_UNKNOWN,
            Place::named("band 1"),
            "nothing says what the numbers of the raster are; state it with --unit, such as \"kg/ha\" or \"kg N/ha\"",
        ));
    }
    let Ok([x0, width, turn_x, y0, turn_y, height]) = dataset.geo_transform() else {
        map.oddities.push(Fault::stop(
            codes::RASTER_NO_PLACE,
            Place::whole(),
            "the raster does not say where it lies; export it with its georeference",
        ));
        return Ok(map);
    };
    if turn_x != 0.0
        || turn_y != 0.0
        || width <= 0.0
        || height == 0.0
        || ![x0, y0, width, height].iter().all(|v| v.is_finite())
    {
        map.oddities.push(Fault::stop(
            codes::RASTER_TURNED,
            Place::whole(),
            "the raster's rows do not run from west to east; export it north-up",
        ));
        return Ok(map);
    }
    let nodata = band.no_data_value();
    let buffer = band
        .read_as::<f64>((0, 0), (cols, rows), (cols, rows), None)
        .map_err(unreadable)?;
    if let Some(reason) = complaints::take().into_iter().next() {
        return Err(refused(format!("not all of it can be read: {reason}")));
    }
    let data = buffer.data();
    let north_first = height < 0.0;
    let mut rates = Vec::with_capacity(cols * rows);
    for row in 0..rows {
        let stored = if north_first { rows - 1 - row } else { row };
        let line = data
            .get(stored * cols..(stored + 1) * cols)
            .unwrap_or_default();
        rates.extend(
            line.iter()
                .map(|&value| (value.is_finite() && Some(value) != nodata).then_some(value)),
        );
    }
    if nodata == Some(0.0) {
        map.oddities.push(Fault::caution(
            codes::RASTER_NODATA_ZERO,
            Place::named("band 1"),
            "0 is \"no data\" in this raster, so ground without nitrogen cannot be told from ground without a rate",
        ));
    }
    let south = if north_first {
        y0 + height * rows as f64
    } else {
        y0
    };
    map.lattice = Some(RateLattice {
        west: x0,
        south,
        cell_x: width,
        cell_y: height.abs(),
        cols,
        rows,
        rates,
        codes: None,
        north_first_in_file: north_first,
    });
    Ok(map)
}
