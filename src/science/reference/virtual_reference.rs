//! A reference without a strip: a high percentile of the field's own canopy. Only when asked for.

use super::ReferenceError;

/// Least number of canopy cells.
const MINIMUM_CELLS: usize = 200;
/// Least canopy area. \[m²\]
const MINIMUM_AREA_M2: f64 = 30_000.0;

/// A percentile of the field's canopy cells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VirtualReference {
    /// `I_ref`.
    pub index: f64,
    /// Percentile asked for.
    pub percent: f64,
    /// Canopy cells.
    pub cells: usize,
    /// Their area. \[m²\]
    pub area_m2: f64,
}

/// Area percentile of canopy cells `(area m², mean index)`: the least index at or below which `percent` % of the canopy's area lies.
///
/// It shows a deficit in every field by construction, one with ample nitrogen too. Never of pixels: their spread is noise and soil as well, and
/// gives far higher rates.
///
/// # Errors
/// Fewer than 200 cells or 3 ha, a percentile outside 0 … 100, an index that is not above 0.
///
/// # Source
/// Virtual reference by percentile: Holland and Schepers 2013, Precision Agriculture 14:71-85 (from memory).
pub fn area_percentile(
    cells: &[(f64, f64)],
    percent: f64,
) -> Result<VirtualReference, ReferenceError> {
    if !(percent > 0.0 && percent < 100.0) {
        return Err(ReferenceError::Percentile { percent });
    }
    let area_m2: f64 = cells.iter().map(|cell| cell.0).sum();
    if cells.len() < MINIMUM_CELLS || area_m2 < MINIMUM_AREA_M2 {
        return Err(ReferenceError::TooLittleCanopy {
            cells: cells.len(),
            cells_needed: MINIMUM_CELLS,
            area_m2,
            area_needed_m2: MINIMUM_AREA_M2,
        });
    }
    let mut sorted = cells.to_vec();
    sorted.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.total_cmp(&b.0)));
    // A hair less than the share, so that a tie of areas does not hang on the last bit of a sum.
    let needed = area_m2 * (percent / 100.0) - 1e-9 * area_m2;
    let mut below = 0.0;
    let reached = sorted.iter().find(|(area, _)| {
        below += area;
        below >= needed
    });
    let index = reached.or(sorted.last()).map_or(f64::NAN, |cell| cell.1);
    if index.is_nan() || index <= 0.0 {
        return Err(ReferenceError::NotPositive { index });
    }
    Ok(VirtualReference {
        index,
        percent,
        cells: cells.len(),
        area_m2,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percentile_by_area() {
        // 200 cells of 200 m², index 0.001 … 0.200: 95 % of the area lies at or below the 190th.
        let cells: Vec<(f64, f64)> = (1..=200).map(|i| (200.0, f64::from(i) / 1000.0)).collect();
        assert_eq!(area_percentile(&cells, 95.0).unwrap().index, 0.190);
        // One large cell holds the lower half: the median is its own index.
        let mut uneven = cells.clone();
        uneven[0].0 = 60_000.0;
        assert_eq!(area_percentile(&uneven, 50.0).unwrap().index, 0.001);
    }

    #[test]
    fn little_canopy_is_refused() {
        let cells = vec![(200.0, 0.7); 199];
        assert!(matches!(
            area_percentile(&cells, 95.0),
            Err(ReferenceError::TooLittleCanopy { cells: 199, .. })
        ));
        let small = vec![(100.0, 0.7); 200];
        let error = area_percentile(&small, 95.0).unwrap_err();
        assert_eq!(
            error.to_string(),
            "a percentile of canopy cells needs 200 cells and 3.0 ha of canopy, but there are 200 cells and 2.00 ha: put out a reference strip"
        );
        assert_eq!(
            area_percentile(&cells, 100.0),
            Err(ReferenceError::Percentile { percent: 100.0 })
        );
    }
}
