//! How a grid differs from the one that it should be: turned, cut, or other numbers.

use std::fmt;

use crate::format::task_set::tasks::GridFacts;
use ndarray::{ArrayView3, Axis};

/// How a grid differs from what it should be.
#[derive(Clone, Debug, PartialEq)]
pub enum GridFault {
    /// It is cut, or longer.
    Length {
        /// Length due. (bytes)
        due: usize,
        /// Length found. (bytes)
        found: usize,
    },
    /// East and west are exchanged.
    EastWest,
    /// North and south are exchanged.
    NorthSouth,
    /// Both are: it is turned by half a turn.
    HalfTurn,
    /// Rows and columns are exchanged.
    Transposed,
    /// The bytes of each number stand the other way round.
    ByteOrder,
    /// Other numbers.
    Cells {
        /// How many cells differ.
        count: usize,
        /// Of how many.
        of: usize,
        /// The first of them: row from the south, column from the west, from 1.
        first: (usize, usize),
        /// What is due there and what is found, as the screen shows it.
        values: (f64, f64),
        /// The unit of both.
        unit: String,
    },
}

impl fmt::Display for GridFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length { due, found } if found < due => write!(
                f,
                "the grid is cut: {found} of {due} bytes, {} bytes are missing",
                due - found
            ),
            Self::Length { due, found } => {
                write!(f, "the grid is too long: {found} bytes, {due} are due")
            }
            Self::EastWest => f.write_str("the grid is mirrored: east and west are exchanged"),
            Self::NorthSouth => f.write_str("the grid is mirrored: north and south are exchanged"),
            Self::HalfTurn => f.write_str("the grid is turned by half a turn"),
            Self::Transposed => {
                f.write_str("the grid is transposed: rows and columns are exchanged")
            }
            Self::ByteOrder => {
                f.write_str("the bytes of the grid's numbers stand the other way round")
            }
            Self::Cells {
                count,
                of,
                first: (row, column),
                values: (due, found),
                unit,
            } => {
                let unit = if unit.is_empty() {
                    String::new()
                } else {
                    format!(" {unit}")
                };
                // Two digits as on screens; more where two would show the same twice.
                let digits = if (found - due).abs() < 0.01 { 6 } else { 2 };
                write!(
                    f,
                    "{count} of {of} cells differ, the first in row {row} from the south, column {column} from the west: {found:.digits$}{unit}, {due:.digits$}{unit} is due"
                )
            }
        }
    }
}

/// Compares a grid's bytes with those that it should have, cell by cell; `None` when they are the same.
///
/// `due` has the length that `grid` says.
pub fn compare(grid: &GridFacts, due: &[u8], found: &[u8]) -> Option<GridFault> {
    if found == due {
        return None;
    }
    if found.len() != due.len() || due.len() != grid.bytes() {
        return Some(GridFault::Length {
            due: due.len(),
            found: found.len(),
        });
    }
    let size = grid.bytes_a_cell.max(1);
    let (rows, cols) = (grid.rows, grid.cols);
    let shaped = |shape, bytes| ArrayView3::from_shape(shape, bytes).ok();
    // Rows, columns, bytes of a cell.
    if let (Some(due), Some(as_due), Some(transposed)) = (
        shaped((rows, cols, size), due),
        shaped((rows, cols, size), found),
        // Its file holds as many rows as the due one has columns.
        shaped((cols, rows, size), found),
    ) {
        let (rows, cols) = (Axis(0), Axis(1));
        let turned = |axes: &[Axis]| {
            let mut due = due;
            for axis in axes {
                due.invert_axis(*axis);
            }
            due == as_due
        };
        let turned = [
            (GridFault::EastWest, turned(&[cols])),
            (GridFault::NorthSouth, turned(&[rows])),
            (GridFault::HalfTurn, turned(&[rows, cols])),
            (
                GridFault::Transposed,
                due.permuted_axes([1, 0, 2]) == transposed,
            ),
        ];
        if let Some((fault, _)) = turned.into_iter().find(|(_, fits)| *fits) {
            return Some(fault);
        }
    }
    if size.is_multiple_of(4)
        && due
            .chunks_exact(4)
            .zip(found.chunks_exact(4))
            .all(|(due, found)| due.iter().eq(found.iter().rev()))
    {
        return Some(GridFault::ByteOrder);
    }
    let differing = || {
        due.chunks_exact(size)
            .zip(found.chunks_exact(size))
            .enumerate()
            .filter(|(_, (due, found))| due != found)
    };
    let (at, (first_due, first_found)) = differing().next()?;
    Some(GridFault::Cells {
        count: differing().count(),
        of: rows * cols,
        first: (at / cols + 1, at % cols + 1),
        values: (shown(grid, first_due), shown(grid, first_found)),
        unit: if size == 1 {
            "(zone code)".to_owned()
        } else {
            grid.unit.clone()
        },
    })
}

/// The first number of a cell as the screen shows it.
fn shown(grid: &GridFacts, cell: &[u8]) -> f64 {
    match <[u8; 4]>::try_from(cell.get(..4).unwrap_or_default()) {
        Ok(bytes) => f64::from(i32::from_le_bytes(bytes)) * grid.scale,
        Err(_) => f64::from(cell.first().copied().unwrap_or_default()),
    }
}
