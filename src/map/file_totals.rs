//! What each file for machines puts on the field, as its own reader would sum it.

use geo::Area as _;

use crate::map::machine::MachineRates;
use crate::map::prescription::Prescription;
use crate::units::Area;

/// A file for machines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MachineFile {
    /// The grid of the task data.
    TaskGrid,
    /// The polygons of the task data.
    TaskPolygons,
    /// The shapefile.
    Shapefile,
}

impl MachineFile {
    /// As records have it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::TaskGrid => "task data, grid",
            Self::TaskPolygons => "task data, polygons",
            Self::Shapefile => "shapefile",
        }
    }
    /// As the card has it, beside what to load.
    pub const fn short(self) -> &'static str {
        match self {
            Self::TaskGrid | Self::TaskPolygons => "TASKDATA",
            Self::Shapefile => "shapefile",
        }
    }
}

/// What the files for machines are called.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FileNames {
    /// Base name of the shapefile; `None` when none is written.
    pub shapefile: Option<String>,
    /// Name of the task; `None` when no task data are written.
    pub task: Option<String>,
}

/// What one file comes to, in the unit of the machine's totals (kg, L, lb, gal; of nitrogen without a product). Areas are those of the working plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FileTotal {
    /// The file.
    pub file: MachineFile,
    /// On the field: of a grid each cell by its part in the field, of polygons by theirs.
    pub in_field: f64,
    /// On all ground of the file: what runs out over the field's edge too.
    pub with_run_out: f64,
}

/// What a file of polygons comes to: rates as exported, ground as drawn.
pub fn of_polygons(
    file: MachineFile,
    prescription: &Prescription,
    rates: &MachineRates,
) -> FileTotal {
    let mut total = FileTotal {
        file,
        in_field: 0.0,
        with_run_out: 0.0,
    };
    for (zone, rate) in prescription.zones.iter().zip(&rates.zones) {
        let amount = |m2: f64| rate.exported() * prescription.unit.area_of(Area::m2(m2));
        let inside = zone.machine_inside.as_ref().unwrap_or(&zone.outline);
        total.in_field += amount(inside.unsigned_area());
        total.with_run_out += amount(zone.machine_outline.unsigned_area());
    }
    total
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::fixture;
    use crate::map::machine::machine_rates;

    #[test]
    fn polygons_with_and_without_run_out() {
        let field = fixture::prescription();
        let rates = machine_rates(&field).unwrap().value;
        let total = of_polygons(MachineFile::Shapefile, &field, &rates);
        // 60 and 90 kg N/ha as exported: 167.41 and 251.12 L/ha of UAN 28 at 1.28 kg/L. On the field 2.5344 and 3.08 ha; with 12 m around it
        // 156 × 224 m less the bare 3456 m², and 168 × 224 m less the exclusion's 400 m².
        assert!((total.in_field - (2.534_4 * 167.41 + 3.08 * 251.12)).abs() < 1e-6);
        assert!((total.with_run_out - (3.148_8 * 167.41 + 3.723_2 * 251.12)).abs() < 1e-6);
    }
}
