use super::*;
use crate::space::cells::CellFrame;
use crate::space::cut::cut;
use crate::space::polygon::rings_of;
use crate::space::raster::{Affine, Lattice, RasterReader, Window};
use approx::assert_relative_eq;
use geo::{Area, Centroid, LineString, Polygon};

struct Flat {
    lattice: Lattice,
    value: fn(i64, i64) -> f64,
}
struct FlatReader<'a>(&'a Flat);
impl RasterSource for Flat {
    fn lattice(&self) -> &Lattice {
        &self.lattice
    }
    fn slots(&self) -> usize {
        1
    }
    fn reader(&self) -> Result<Box<dyn RasterReader + '_>, RasterError> {
        Ok(Box::new(FlatReader(self)))
    }
}
impl RasterReader for FlatReader<'_> {
    fn read(&mut self, window: Window, bands: &mut [Vec<f64>]) -> Result<(), RasterError> {
        bands[0].clear();
        for row in window.row..window.row + window.rows {
            bands[0]
                .extend((window.col..window.col + window.cols).map(|col| (self.0.value)(col, row)));
        }
        Ok(())
    }
}
struct Same;
impl RowIndex for Same {
    fn evaluate(&self, bands: &[&[f64]], out: &mut [f64]) -> (u64, u64, u64) {
        out.copy_from_slice(bands[0]);
        (out.iter().filter(|v| v.is_nan()).count() as u64, 0, 0)
    }
}

fn run(block: (i64, i64), threads: usize) -> (CellGrid, Scanned) {
    let crs = Crs::utm(15.0, 48.0);
    let lattice = Lattice {
        cols: 200,
        rows: 180,
        affine: Affine([5e5, 1.0, 0.0, 5.4e6, 0.0, -1.0]),
        crs: crs.clone(),
        block,
    };
    let source = Flat {
        lattice,
        value: |col, row| {
            if (col, row) == (100, 90) {
                f64::NAN
            } else {
                0.5 + (col as f64 + row as f64) / 1000.0
            }
        },
    };
    let outer = vec![
        (5e5 + 10.0, 5.4e6 - 5.0),
        (5e5 + 190.0, 5.4e6 - 20.5),
        (5e5 + 150.3, 5.4e6 - 170.0),
        (5e5 + 15.0, 5.4e6 - 140.0),
    ];
    let hole = vec![
        (5e5 + 60.0, 5.4e6 - 60.0),
        (5e5 + 80.0, 5.4e6 - 60.0),
        (5e5 + 80.0, 5.4e6 - 80.0),
        (5e5 + 60.0, 5.4e6 - 80.0),
    ];
    let field = MultiPolygon::new(vec![Polygon::new(
        LineString::from(outer),
        vec![LineString::from(hole)],
    )]);
    let field = crate::space::polygon::oriented(&field);
    let mut frame = CellFrame::new(27.0, 24.0, 18.0);
    let uv: Vec<(f64, f64)> = rings_of(&field)
        .iter()
        .flatten()
        .map(|p| frame.to_uv(p[0], p[1]))
        .collect();
    frame.u0 = uv.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    frame.v0 = uv.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let grid = cut(&field, frame).unwrap();
    let probes = [Probe::Pixels {
        area: crate::space::polygon::grown(&field, -20.0),
    }];
    let scanned = scan(&Scan {
        source: &source,
        index: &Same,
        plane: &crs,
        field: &field,
        grid: &grid,
        probes: &probes,
        pixel_inside: 0.0,
        bare_below: None,
        look_at_bands: true,
        threads,
        window_pixels: window_pixels(1 << 20, threads, 1),
        progress: &|_, _| true,
    })
    .unwrap();
    (grid, scanned)
}

#[test]
fn shares_of_a_cell_add_up_to_its_area_and_means_are_plane_means() {
    let (grid, scanned) = run((64, 64), 1);
    let (mut seen, mut whole) = (0.0, 0);
    for (k, sums) in scanned.cells.iter().enumerate() {
        seen += sums.seen.get();
        if (sums.seen.get() - grid.cells[k].area).abs() < 1e-6 {
            whole += 1;
            let outline = grid.outline(k);
            let c = outline.centroid().unwrap();
            // The value is linear in place, so the mean is the value at the centroid (pixel centres stand for pixels: edge pixels add a little).
            let expected = 0.5 + ((c.x() - 5e5 - 0.5) + (5.4e6 - c.y() - 0.5)) / 1000.0;
            assert_relative_eq!(
                sums.weighted.get() / sums.canopy.get(),
                expected,
                epsilon = 2e-4
            );
        }
    }
    assert!(
        whole >= grid.cells.len() - 4,
        "{whole} of {}",
        grid.cells.len()
    );
    let area: f64 = grid.cells.iter().map(|cell| cell.area).sum();
    assert_relative_eq!(seen, area - 1.0, epsilon = 1e-6);
    assert!(area > 0.0 && grid.outline(0).unsigned_area() > 0.0);
}

#[test]
fn blocks_and_threads_change_no_bit() {
    let (_, first) = run((64, 64), 1);
    for (block, threads) in [((200, 1), 1), ((16, 16), 3), ((512, 512), 2), ((7, 13), 2)] {
        let (_, other) = run(block, threads);
        assert_eq!(first.cells, other.cells);
        assert_eq!(first.found, other.found);
        assert_eq!(first.counts, other.counts);
    }
}
