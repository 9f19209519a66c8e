//! From a grid of rates to zones: neighbours of one rate join, borders are shared vertex by vertex.

use crate::map::imported::RateLattice;
use crate::space::cells::{Cell, CellFrame, CellGrid, CellShape};
use crate::zones::outline::outlines;
use geo::MultiPolygon;

/// Zones of a grid: cells that have a rate, that `keep` (column, row) takes, and that lie side by side with one rate, joined. In the order of their first cell.
pub fn zones_of_grid(
    lattice: &RateLattice,
    keep: impl Fn(usize, usize) -> bool,
) -> Vec<(f64, MultiPolygon<f64>)> {
    let (cols, rows) = (lattice.cols, lattice.rows);
    let rate = |place: usize| {
        let (col, row) = (place % cols, place / cols);
        lattice.rate(col, row).filter(|_| keep(col, row))
    };
    let mut labels = vec![0_u32; cols * rows];
    let mut rates = Vec::new();
    let mut waiting = Vec::new();
    for first in 0..labels.len() {
        let Some(own) = rate(first).filter(|_| labels[first] == 0) else {
            continue;
        };
        rates.push(own);
        let label = rates.len() as u32;
        labels[first] = label;
        waiting.push(first);
        while let Some(place) = waiting.pop() {
            let (col, row) = (place % cols, place / cols);
            let sides = [
                (col > 0).then(|| place - 1),
                (col + 1 < cols).then_some(place + 1),
                (row > 0).then(|| place.wrapping_sub(cols)),
                (row + 1 < rows).then_some(place + cols),
            ];
            for side in sides
                .into_iter()
                .flatten()
                .filter(|side| labels[*side] == 0)
                .collect::<Vec<_>>()
            {
                if rate(side) == Some(own) {
                    labels[side] = label;
                    waiting.push(side);
                }
            }
        }
    }
    // A frame that looks north: rows as they are, columns counted from the east, so that x = −v and y = u without any rounding by an angle.
    let mut frame = CellFrame::new(0.0, lattice.cell_y, lattice.cell_x);
    frame.u0 = lattice.south;
    frame.v0 = -(lattice.west + cols as f64 * lattice.cell_x);
    let places = (0..rows).flat_map(|row| (0..cols).rev().map(move |col| (row, col)));
    let (mut cells, mut label_of) = (Vec::new(), Vec::new());
    for (row, col) in places.filter(|(row, col)| labels[row * cols + col] > 0) {
        cells.push(Cell {
            row: row as i32,
            col: (cols - 1 - col) as i32,
            area: lattice.cell_x * lattice.cell_y,
            shape: CellShape::Whole,
        });
        label_of.push(labels[row * cols + col]);
    }
    let found = outlines(&CellGrid::new(frame, cells), &label_of, rates.len() as u32);
    rates.into_iter().zip(found).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Area, Contains};

    #[test]
    fn equal_neighbours_join_and_nothing_else() {
        // From the south: 1 1 2 / 1 – 2 / 3 3 1, as the eye would see it upside down.
        let rates = [
            Some(1.0),
            Some(1.0),
            Some(2.0),
            Some(1.0),
            None,
            Some(2.0),
            Some(3.0),
            Some(3.0),
            Some(1.0),
        ];
        let lattice = RateLattice {
            west: 10.0,
            south: 50.0,
            cell_x: 2.0,
            cell_y: 1.0,
            cols: 3,
            rows: 3,
            rates: rates.to_vec(),
            codes: None,
            north_first_in_file: false,
        };
        let zones = zones_of_grid(&lattice, |_, _| true);
        assert_eq!(
            zones
                .iter()
                .map(|(rate, outline)| (*rate, outline.signed_area()))
                .collect::<Vec<_>>(),
            [(1.0, 6.0), (2.0, 4.0), (3.0, 4.0), (1.0, 2.0)]
        );
        let hits: Vec<_> = zones
            .iter()
            .filter(|(_, outline)| outline.contains(&geo::Point::new(15.0, 52.5)))
            .map(|(rate, _)| *rate)
            .collect();
        assert_eq!(hits, [1.0], "the north-east cell");
        assert!(
            zones
                .iter()
                .all(|(_, outline)| !outline.contains(&geo::Point::new(13.0, 51.5))),
            "no rate, no zone"
        );
        assert_eq!(zones_of_grid(&lattice, |col, _| col == 2).len(), 2);
    }
}
