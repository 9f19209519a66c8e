//! A plain map as a raster of rates with its style.

use super::error::GeoTiffError;
use super::fill::PixelGrid;
use super::write::{About, MOST_PIXELS, OUTSIDE, fill, fill_rows, finished, gdal};
use crate::format::payload::Payload;
use crate::format::scratch::Scratch;
use crate::format::style::qml_raster;
use crate::map::imported::Quantity;
use crate::map::palette::Legend;
use crate::map::plain::PlainMap;
use crate::space::crs::{Crs, Projector};
use crate::units::half_up_to_hundredth;
use geo::{BoundingRect, MultiPolygon, Rect};

/// Pixels on the longer side that are plenty to draw zones of a machine's width. Our own choice.
const PLENTY: f64 = 4_000.0;

/// `NAME.tif` and `NAME.qml`: rates in the map's measure as 32-bit numbers, cloud-optimised; also the pixel size in metres, `None` when the map's own grid was kept.
///
/// A map that came as a grid keeps its cells and their rates. Any other is filled into square pixels of `pixel` metres (1 m or more, growing so that the longer side
/// has 4000 at most, when not given) on its own plane, or on the UTM zone of its middle if it is in degrees: a pixel has the rate of the zone in which its
/// centre lies, −9999 outside.
///
/// # Errors
/// [`GeoTiffError`].
pub fn write(
    map: &PlainMap,
    name: &str,
    pixel: Option<f64>,
) -> Result<(Vec<Payload>, Option<f64>), GeoTiffError> {
    let plain = Scratch::new("tif");
    let (band, what) = match map.measure.quantity {
        Quantity::Nitrogen => ("nitrogen", "Nitrogen"),
        _ => ("product rate", map.product_shown()),
    };
    let text = format!(
        "{what}, {}, of {}. For the office, not for the machine",
        map.measure.label(),
        map.name
    );
    let about = |system, transform, size| About {
        system,
        transform,
        size,
        text: &text,
        band,
        unit: map.measure.label(),
    };
    let (bytes, used) = if let Some(own) = &map.lattice {
        let size = (own.cols, own.rows);
        let mut left = own.rows;
        let counts = fill_rows(size, &plain, |row| {
            left -= 1;
            for (col, pixel) in row.iter_mut().enumerate() {
                *pixel = own.rate(col, left).map_or(OUTSIDE, |rate| rate as f32);
            }
        });
        let transform = [
            own.west,
            own.cell_x,
            0.0,
            own.south + own.rows as f64 * own.cell_y,
            0.0,
            -own.cell_y,
        ];
        (
            finished(
                &about(&map.system, transform, size),
                &plain,
                &counts.map_err(gdal("filling pixels"))?,
            )?,
            None,
        )
    } else {
        let (system, outlines) = on_a_plane(map)?;
        let bounds = bounds(outlines.iter()).ok_or(GeoTiffError::NoZones)?;
        let longest = bounds.width().max(bounds.height());
        let pixel = pixel.unwrap_or_else(|| libm::ceil(longest / PLENTY).max(1.0));
        let grid = PixelGrid::around(bounds, pixel);
        if !(grid.columns <= MOST_PIXELS && grid.rows <= MOST_PIXELS) {
            return Err(GeoTiffError::TooLarge {
                columns: grid.columns,
                rows: grid.rows,
                pixel: grid.pixel,
            });
        }
        let shapes = map
            .zones
            .iter()
            .zip(&outlines)
            .map(|(zone, outline)| (outline, zone.rate as f32));
        let counts = fill(grid, shapes, &plain).map_err(gdal("filling pixels"))?;
        (
            finished(
                &about(&system, grid.transform(), grid.size()),
                &plain,
                &counts,
            )?,
            Some(pixel),
        )
    };
    let rates = map.zones.iter().map(|zone| half_up_to_hundredth(zone.rate));
    let legend = Legend::new(what, map.measure.label(), rates);
    let style = qml_raster(&legend).map_err(|source| GeoTiffError::Style { source })?;
    Ok((
        vec![
            Payload::new(format!("{name}.tif"), bytes),
            Payload::new(format!("{name}.qml"), style),
        ],
        used,
    ))
}

/// Outlines on a plane of metres: the map's own, or UTM.
fn on_a_plane(map: &PlainMap) -> Result<(Crs, Vec<MultiPolygon<f64>>), GeoTiffError> {
    let outlines = map.zones.iter().map(|zone| &zone.outline);
    if !map.system.is_geographic() {
        return Ok((map.system.clone(), outlines.cloned().collect()));
    }
    let middle = bounds(outlines.clone())
        .ok_or(GeoTiffError::NoZones)?
        .center();
    let system = Crs::utm(middle.x, middle.y);
    let carry = |source| GeoTiffError::Carry { source };
    let way = Projector::new(&map.system, &system).map_err(carry)?;
    let carried = outlines
        .map(|outline| way.geometry(outline))
        .collect::<Result<_, _>>()
        .map_err(carry)?;
    Ok((system, carried))
}

fn bounds<'a>(outlines: impl Iterator<Item = &'a MultiPolygon<f64>>) -> Option<Rect<f64>> {
    let boxes = outlines.filter_map(BoundingRect::bounding_rect);
    boxes.reduce(|a, b| {
        Rect::new(
            (a.min().x.min(b.min().x), a.min().y.min(b.min().y)),
            (a.max().x.max(b.max().x), a.max().y.max(b.max().y)),
        )
    })
}
