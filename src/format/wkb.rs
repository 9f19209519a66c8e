//! Well-known binary: how databases and tables in memory hold a shape.
//!
//! # Source
//! OGC 06-103 (simple feature access, part 1), 8.2: little-endian, two coordinates a point.

use geo::MultiPolygon;

/// Little-endian.
const ORDER: u8 = 1;
const POLYGON: u32 = 3;
const MULTI_POLYGON: u32 = 6;

/// Adds a multipolygon to `out`, ring by ring, exteriors before their holes.
pub fn multipolygon(outline: &MultiPolygon<f64>, out: &mut Vec<u8>) {
    let whole = |out: &mut Vec<u8>, number: u32| out.extend(number.to_le_bytes());
    let count = |out: &mut Vec<u8>, number: usize| {
        whole(out, u32::try_from(number).unwrap_or(u32::MAX));
    };
    out.push(ORDER);
    whole(out, MULTI_POLYGON);
    count(out, outline.0.len());
    for polygon in outline {
        out.push(ORDER);
        whole(out, POLYGON);
        count(out, 1 + polygon.interiors().len());
        for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
            count(out, ring.0.len());
            for point in &ring.0 {
                out.extend(point.x.to_le_bytes());
                out.extend(point.y.to_le_bytes());
            }
        }
    }
}
