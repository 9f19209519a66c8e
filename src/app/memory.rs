//! How much memory a run may use, and whether it will do.

use geo::{CoordsIter as _, MultiPolygon};

use crate::app::error::AppError;
use crate::app::open::{Canopy, Image};
use crate::app::requests::Common;

/// What a run takes whatever the field: the program, GDAL and its libraries, readers. Measured. \[MiB\]
const BASE_MIB: u64 = 64;
/// What a cell takes until the last file is written: its shape, its record, its row in the database of the office. Measured with a million cells. \[B\]
const CELL_BYTES: u64 = 1_150;
/// What a vertex of boundary or exclusions takes, and a ring besides: in every shape that is cut from it, and in the files. Measured with a million vertices and with a hundred
/// thousand holes. \[B\]
const VERTEX_BYTES: u64 = 920;
const RING_BYTES: u64 = 3_200;
const MIB: u64 = 1 << 20;

/// Size of GDAL's cache of blocks. \[MiB\]
pub(crate) fn cache_mib(memory_mib: u64) -> u64 {
    (memory_mib / 16).clamp(4, 64)
}

/// What one pass needs of GDAL's cache: each thread's blocks of the bands that are used. More would have GDAL keep the blocks of bands that nobody asks for, since a
/// tile with all bands is decoded as one; `None` where bands of several sizes or masks share the pass, which find their blocks in the cache again. \[B\]
pub(crate) fn cache_of_pass(image: &Image, threads: usize) -> Option<u64> {
    let (Canopy::Raster(stack), [file]) = (&image.stack, image.files.as_slice()) else {
        return None;
    };
    if !stack.coarser().is_empty()
        || stack.is_masked()
        || file.bands.iter().any(|band| band.masked || band.alpha)
    {
        return None;
    }
    let bytes = |kind: &str| match kind {
        "Byte" => 1,
        "UInt16" | "Int16" => 2,
        "UInt32" | "Int32" | "Float32" => 4,
        _ => 8,
    };
    let block = file.lattice.block.0.unsigned_abs() * file.lattice.block.1.unsigned_abs();
    let blocks: u64 = image
        .slots
        .iter()
        .filter_map(|slot| file.bands.get(slot.2.wrapping_sub(1)))
        .map(|band| block * bytes(&band.kind))
        .sum();
    Some((blocks * threads as u64).max(2 * MIB))
}

/// Refuses an image whose tiles or strips are so large that one a thread does not fit: a strip is decoded as a whole, whatever part of it shows the field.
///
/// # Errors
/// With the size that the file states and what is allowed.
pub(crate) fn blocks(image: &Image, threads: usize, common: &Common) -> Result<(), AppError> {
    for file in &image.files {
        let (cols, rows) = file.lattice.block;
        // Eight bytes a number, and a decoder's own copy.
        let bands = file.bands.len().max(1) as u64;
        let needed = cols
            .unsigned_abs()
            .saturating_mul(rows.unsigned_abs())
            .saturating_mul(8 * bands * threads as u64)
            .div_ceil(MIB);
        if needed > common.memory_mib {
            return Err(AppError::refused(
                "memory.blocks",
                format!("the image is stored in pieces of {cols} × {rows} pixels, which need about {needed} MiB of memory, and {} MiB are allowed", common.memory_mib),
            )
            .with_fact(file.path.display().to_string(), format!("{} × {} pixels, {bands} band(s)", file.lattice.cols, file.lattice.rows))
            .with_hint("store it in tiles of 512 × 512 pixels, or cut out the part that shows the field"));
        }
    }
    Ok(())
}

/// What decoded blocks may take that many fields share. \[B\]
pub(crate) const fn of_blocks(memory_mib: u64) -> usize {
    let mib = memory_mib / 8;
    let mib = if mib > 128 { 128 } else { mib };
    (mib * MIB) as usize
}

/// What windows and sums may use: all but the rest. \[B\]
pub(crate) const fn of_windows(memory_mib: u64) -> u64 {
    memory_mib * MIB
}

/// Refuses a field with more cells, or boundary or exclusions with more vertices, than the memory allowed can hold.
///
/// # Errors
/// With what is needed and what is allowed.
pub(crate) fn enough(
    cells: usize,
    (boundary, exclusions): (&MultiPolygon<f64>, &MultiPolygon<f64>),
    common: &Common,
) -> Result<(), AppError> {
    let always = BASE_MIB + cache_mib(common.memory_mib);
    let bytes = |shape: &MultiPolygon<f64>| {
        let rings: usize = shape.iter().map(|part| 1 + part.interiors().len()).sum();
        let vertices = shape.coords_count();
        let needed = vertices as u64 * VERTEX_BYTES + rings as u64 * RING_BYTES;
        (needed, vertices, rings)
    };
    // Holes of the boundary are exclusions too: what is larger counts for both.
    let (of_outlines, key, what, (vertices, rings)) = match (bytes(boundary), bytes(exclusions)) {
        ((of_boundary, ..), (more, vertices, rings)) if more > of_boundary => {
            (more, "field.exclude", "exclusions", (vertices, rings))
        }
        ((of_boundary, vertices, rings), _) => (
            of_boundary,
            "field.boundary",
            "a boundary",
            (vertices, rings),
        ),
    };
    let needed = always + of_outlines.div_ceil(MIB);
    if needed > common.memory_mib {
        return Err(AppError::refused(
            "memory.outlines",
            format!(
                "{what} of {vertices} vertices in {rings} rings: about {needed} MiB of memory are needed, and {} MiB are allowed",
                common.memory_mib
            ),
        )
        .with_fact(key, "more corners than a field has")
        .with_hint(format!(
            "simplify it to a decimetre, or allow more with --memory {}",
            needed.next_multiple_of(128)
        )));
    }
    let needed = always + (of_outlines + cells as u64 * CELL_BYTES).div_ceil(MIB);
    if needed <= common.memory_mib {
        return Ok(());
    }
    Err(AppError::refused(
        "memory.cells",
        format!(
            "{cells} cells need about {needed} MiB of memory, and {} MiB are allowed",
            common.memory_mib
        ),
    )
    .with_fact(
        "machine.working_width, machine.cell_length",
        "they size the cells",
    )
    .with_hint(format!(
        "make the cells larger, or allow more with --memory {}",
        needed.next_multiple_of(128)
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_many_cells_are_refused_with_what_they_need() {
        let common = |memory_mib: u64| Common {
            memory_mib,
            ..Common::default()
        };
        let square = geo::Rect::new((0.0, 0.0), (9.0, 9.0)).to_polygon();
        let field = MultiPolygon::new(vec![square.clone()]);
        let none = MultiPolygon::new(Vec::new());
        assert!(enough(6_000, (&field, &none), &common(128)).is_ok());
        assert!(enough(1_000_000, (&field, &none), &Common::default()).is_ok());
        let refusal = enough(1_000_000, (&field, &none), &common(512)).unwrap_err();
        assert!(
            refusal
                .to_string()
                .contains("1000000 cells need about 1193 MiB"),
            "{refusal}"
        );

        let holes = vec![square.exterior().clone(); 100_000];
        let pierced = MultiPolygon::new(vec![geo::Polygon::new(square.exterior().clone(), holes)]);
        assert!(enough(6_000, (&pierced, &none), &common(1_024)).is_ok());
        let refusal = enough(6_000, (&field, &pierced), &common(512)).unwrap_err();
        assert!(
            refusal
                .to_string()
                .contains("exclusions of 500005 vertices in 100001 rings: about 840 MiB"),
            "{refusal}"
        );
    }
}
