//! Anybody's prescription map as a file carried it: what it says, without loss and without trust.
//!
//! Readers fill it, [`crate::map::faults`] judges it, writers turn it into another format. Nothing here is repaired: rings stand as they were written, a rate
//! that is missing or no number stays so, and what a reader stumbled over is kept as a fault.

use geo::{Coord, LineString, MultiPolygon, Polygon};

use crate::map::faults::fault::Fault;
use crate::space::crs::Crs;
use crate::units::{Product, RateUnit};

/// What kind of file a map came from. Rules differ: ring direction, names of columns, what an old terminal takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum MapKind {
    /// Shapefile set.
    Shapefile,
    /// `GeoJSON`.
    GeoJson,
    /// `GeoPackage`.
    GeoPackage,
    /// KML, or KMZ.
    Kml,
    /// `FlatGeobuf`.
    FlatGeobuf,
    /// A raster of rates.
    Raster,
    /// Task data by ISO 11783-10.
    TaskData(TaskForm),
}

impl MapKind {
    /// As people call it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shapefile => "shapefile",
            Self::GeoJson => "GeoJSON",
            Self::GeoPackage => "GeoPackage",
            Self::Kml => "KML",
            Self::FlatGeobuf => "FlatGeobuf",
            Self::Raster => "rate raster",
            Self::TaskData(TaskForm::GridOfZones) => "ISO 11783-10 task data, grid type 1",
            Self::TaskData(TaskForm::GridOfRates) => "ISO 11783-10 task data, grid type 2",
            Self::TaskData(TaskForm::Polygons) => "ISO 11783-10 task data, polygons",
            Self::TaskData(TaskForm::Flat) => "ISO 11783-10 task data, one rate",
        }
    }
}

/// How task data hold their rates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TaskForm {
    /// Grid type 1: a zone code a cell.
    GridOfZones,
    /// Grid type 2: a rate a cell.
    GridOfRates,
    /// Treatment zones with polygons.
    Polygons,
    /// No map: the default zone alone.
    Flat,
}

/// Where the coordinates lie.
#[derive(Clone, Debug, PartialEq)]
pub enum System {
    /// Stated by the file, or by its format.
    Known(Crs),
    /// Not stated, or not to be understood; why.
    Missing(String),
}

impl System {
    /// The system, when it is known.
    pub const fn known(&self) -> Option<&Crs> {
        match self {
            Self::Known(crs) => Some(crs),
            Self::Missing(_) => None,
        }
    }
}

/// What is metered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Nitrogen as the element.
    Nitrogen,
    /// Product by mass.
    ProductMass,
    /// Product by volume.
    ProductVolume,
    /// Nobody says.
    Unknown,
}

impl Quantity {
    /// As people call it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Nitrogen => "nitrogen",
            Self::ProductMass => "product by mass",
            Self::ProductVolume => "product by volume",
            Self::Unknown => "not stated",
        }
    }
}

/// What rates mean: quantity and unit, and who says so.
#[derive(Clone, Debug, PartialEq)]
pub struct Meaning {
    /// What is metered.
    pub quantity: Quantity,
    /// Unit of the numbers, for nitrogen too (kg/ha or lb/ac); `None` when nobody says.
    pub unit: Option<RateUnit>,
    /// The words that say so, for people: `column L_HA`, `data dictionary entry 0006`. Empty when nothing says so.
    pub wording_by: String,
}

impl Meaning {
    /// Nobody says anything.
    pub const fn unknown() -> Self {
        Self {
            quantity: Quantity::Unknown,
            unit: None,
            wording_by: String::new(),
        }
    }

    /// Unit as people write it, with its substance: `kg N/ha`, `L/ha`; `(unit not stated)`.
    pub const fn label(&self) -> &'static str {
        match (self.quantity, self.unit) {
            (Quantity::Nitrogen, Some(RateUnit::KgPerHa)) => "kg N/ha",
            (Quantity::Nitrogen, Some(RateUnit::LbPerAc)) => "lb N/ac",
            (_, Some(unit)) => unit.label(),
            (_, None) => "(unit not stated)",
        }
    }
}

/// A rate as a file states it.
#[derive(Clone, Debug, PartialEq)]
pub enum Rate {
    /// A finite number, negative ones too, in the unit of the map's [`Meaning`].
    Number(f64),
    /// Nothing stands there.
    Missing,
    /// Something stands there that is no finite number: `NaN`, `inf`, a date.
    Unreadable(String),
    /// A number written as text: `"120"` or `"120,5"`.
    Text {
        /// As written.
        written: String,
        /// What it most likely means.
        number: f64,
    },
}

impl Rate {
    /// The number, when there is one, be it written as text.
    pub const fn number(&self) -> Option<f64> {
        match self {
            Self::Number(number) | Self::Text { number, .. } => Some(*number),
            Self::Missing | Self::Unreadable(_) => None,
        }
    }
}

/// Where something stands in its file.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// What counts it: `record`, `feature`, `polygon`, `row`; empty for the file as a whole.
    pub what: &'static str,
    /// Its number, from 1; 0 for the file as a whole.
    pub number: u64,
    /// What the file calls it, if anything: a feature id, a zone code, the element of an XML file.
    pub name: Option<String>,
}

impl Place {
    /// The file as a whole.
    pub const fn whole() -> Self {
        Self {
            what: "",
            number: 0,
            name: None,
        }
    }
    /// One of many, counted from 1.
    pub const fn at(what: &'static str, number: u64) -> Self {
        Self {
            what,
            number,
            name: None,
        }
    }
    /// A named element.
    pub fn named(name: impl Into<String>) -> Self {
        Self {
            what: "",
            number: 0,
            name: Some(name.into()),
        }
    }
    /// With what the file calls it.
    #[must_use]
    pub fn with_name(self, name: impl Into<String>) -> Self {
        Self {
            name: Some(name.into()),
            ..self
        }
    }
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match (self.number, &self.name) {
            (0, None) => f.write_str("the file"),
            (0, Some(name)) => f.write_str(name),
            (number, None) => write!(f, "{} {number}", self.what),
            (number, Some(name)) => write!(f, "{} {number} ({name})", self.what),
        }
    }
}

/// Which side of its ring a file says a ring encloses.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RingRole {
    /// Exterior.
    Outer,
    /// Hole.
    Inner,
}

/// A ring as written: not closed for it, not turned, nothing dropped.
#[derive(Clone, Debug, PartialEq)]
pub struct Ring {
    /// Exterior or hole, by the file's own word or, in shapefiles, by direction.
    pub role: RingRole,
    /// Points in file order; the first is repeated at the end only if the file does so. Finite numbers only: a reader that meets others says so and drops them.
    pub points: Vec<Coord<f64>>,
}

impl Ring {
    /// Twice the signed area: above 0 when counter-clockwise. Relative to the first point, so that large coordinates cost no digits.
    pub fn doubled_area(&self) -> f64 {
        let Some(first) = self.points.first() else {
            return 0.0;
        };
        let at = |c: &Coord<f64>| (c.x - first.x, c.y - first.y);
        self.points
            .windows(2)
            .map(|pair| (at(&pair[0]), at(&pair[1])))
            .map(|(a, b)| a.0 * b.1 - b.0 * a.1)
            .sum()
    }
    /// Whether its last point repeats the first.
    pub fn is_closed(&self) -> bool {
        self.points.len() > 1 && self.points.first() == self.points.last()
    }
    /// The ring as a closed line.
    pub fn closed(&self) -> LineString<f64> {
        let mut line = LineString::new(self.points.clone());
        line.close();
        line
    }
}

/// One part of a patch: the rings of one polygon, the exterior first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Part {
    /// Rings as written.
    pub rings: Vec<Ring>,
}

impl Part {
    /// The part as a polygon: rings closed, neither turned nor repaired. `None` without a ring of three points.
    pub fn polygon(&self) -> Option<Polygon<f64>> {
        let mut rings = self.rings.iter().filter(|ring| ring.points.len() >= 3);
        let exterior = rings.next()?;
        Some(Polygon::new(
            exterior.closed(),
            rings.map(Ring::closed).collect(),
        ))
    }
}

/// A value beside a shape.
#[derive(Clone, Debug, PartialEq)]
pub enum Attribute {
    /// Nothing.
    Null,
    /// A whole number.
    Whole(i64),
    /// A number; may be not finite.
    Real(f64),
    /// Words.
    Text(String),
}

impl std::fmt::Display for Attribute {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Null => f.write_str("null"),
            Self::Whole(value) => write!(f, "{value}"),
            Self::Real(value) => write!(f, "{value}"),
            Self::Text(value) => f.write_str(value),
        }
    }
}

/// One record of a map: ground and the rate that it gets.
#[derive(Clone, Debug, PartialEq)]
pub struct Patch {
    /// Where it stands in the file.
    pub place: Place,
    /// Its polygons as written; empty for a null shape.
    pub parts: Vec<Part>,
    /// What it gets.
    pub rate: Rate,
    /// All columns of the record in file order, the rate's too.
    pub attributes: Vec<(String, Attribute)>,
}

impl Patch {
    /// All parts as polygons: rings closed, neither turned nor repaired.
    pub fn outline(&self) -> MultiPolygon<f64> {
        MultiPolygon::new(self.parts.iter().filter_map(Part::polygon).collect())
    }
}

/// Rates on a grid with sides along x and y.
#[derive(Clone, Debug, PartialEq)]
pub struct RateLattice {
    /// West edge of the west column, in the map's system. \[° or m\]
    pub west: f64,
    /// South edge of the south row. \[° or m\]
    pub south: f64,
    /// Width of a cell. \[° or m\] Above 0.
    pub cell_x: f64,
    /// Height of a cell. \[° or m\] Above 0.
    pub cell_y: f64,
    /// Cells from west to east.
    pub cols: usize,
    /// Cells from south to north.
    pub rows: usize,
    /// Rates row by row, **the south row first**, each from west to east; `None` where the file holds "no data" (task data cannot: there 0 means nothing).
    pub rates: Vec<Option<f64>>,
    /// Zone codes in the same order, for grid type 1.
    pub codes: Option<Vec<u8>>,
    /// Whether the file itself holds the north row first (rasters do, task data do not).
    pub north_first_in_file: bool,
}

impl RateLattice {
    /// The rate of a cell: column from the west, row from the south.
    pub fn rate(&self, col: usize, row: usize) -> Option<f64> {
        if col >= self.cols {
            None
        } else {
            self.rates
                .get(row.checked_mul(self.cols)?.checked_add(col)?)
                .copied()
                .flatten()
        }
    }
    /// South-west and north-east corner of a cell.
    pub fn cell(&self, col: usize, row: usize) -> (Coord<f64>, Coord<f64>) {
        let x = |k: usize| self.west + k as f64 * self.cell_x;
        let y = |k: usize| self.south + k as f64 * self.cell_y;
        (
            Coord {
                x: x(col),
                y: y(row),
            },
            Coord {
                x: x(col + 1),
                y: y(row + 1),
            },
        )
    }
    /// Centre of a cell.
    pub fn centre(&self, col: usize, row: usize) -> Coord<f64> {
        Coord {
            x: self.west + (col as f64 + 0.5) * self.cell_x,
            y: self.south + (row as f64 + 0.5) * self.cell_y,
        }
    }
    /// The cell's rectangle, counter-clockwise.
    pub fn cell_polygon(&self, col: usize, row: usize) -> Polygon<f64> {
        let (low, high) = self.cell(col, row);
        geo::Rect::new(low, high).to_polygon()
    }
}

/// What a terminal applies where the map does not say, in the unit of the map's [`Meaning`]; `None` when the file names none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StatedFallbacks {
    /// On start, and where no zone lies (default zone).
    pub on_start: Option<f64>,
    /// When position is lost.
    pub position_lost: Option<f64>,
    /// Outside the field.
    pub outside: Option<f64>,
}

/// The product as the file, or its user, states it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StatedProduct {
    /// Its name.
    pub name: Option<String>,
    /// Its nitrogen and density, when they are known.
    pub product: Option<Product>,
}

/// Anybody's prescription map. Either `patches` or `lattice` holds the rates (task data with a grid may hold both when the file does).
#[derive(Clone, Debug, PartialEq)]
pub struct ImportedMap {
    /// Name of the field, task or layer; else of the file.
    pub name: String,
    /// What its file calls it where that may hold several maps: the id of a task.
    pub part: Option<String>,
    /// What it came from.
    pub kind: MapKind,
    /// Where its coordinates lie. Everything below is in this system, x before y (longitude before latitude).
    pub system: System,
    /// What its rates mean.
    pub meaning: Meaning,
    /// Product, as far as stated.
    pub product: StatedProduct,
    /// Column that holds the rates, for tables.
    pub rate_column: Option<String>,
    /// Names of all columns, for tables.
    pub columns: Vec<String>,
    /// Records with shapes, in file order.
    pub patches: Vec<Patch>,
    /// Rates on a grid.
    pub lattice: Option<RateLattice>,
    /// The field's boundary, if the file holds one.
    pub boundary: Option<MultiPolygon<f64>>,
    /// Ground to leave out, if the file holds any.
    pub exclusions: Option<MultiPolygon<f64>>,
    /// What the terminal falls back to.
    pub fallbacks: StatedFallbacks,
    /// What else the file says, label and value, for people and for the statement of what another format loses.
    pub stated: Vec<(String, String)>,
    /// What the reader stumbled over.
    pub oddities: Vec<Fault>,
}

impl ImportedMap {
    /// A map of which nothing is known but name and kind.
    pub fn empty(name: impl Into<String>, kind: MapKind) -> Self {
        Self {
            name: name.into(),
            part: None,
            kind,
            system: System::Missing("none is stated".to_owned()),
            meaning: Meaning::unknown(),
            product: StatedProduct::default(),
            rate_column: None,
            columns: Vec::new(),
            patches: Vec::new(),
            lattice: None,
            boundary: None,
            exclusions: None,
            fallbacks: StatedFallbacks::default(),
            stated: Vec::new(),
            oddities: Vec::new(),
        }
    }

    /// Least and greatest corner of all points of patches and lattice; `None` when there is none.
    pub fn bounds(&self) -> Option<(Coord<f64>, Coord<f64>)> {
        let lattice = self
            .lattice
            .iter()
            .filter(|l| l.cols > 0 && l.rows > 0)
            .flat_map(|l| [l.cell(0, 0).0, l.cell(l.cols - 1, l.rows - 1).1]);
        let points = self
            .patches
            .iter()
            .flat_map(|patch| &patch.parts)
            .flat_map(|part| &part.rings)
            .flat_map(|ring| ring.points.iter().copied());
        points.chain(lattice).fold(None, |bounds, c| {
            let (low, high) = bounds.unwrap_or((c, c));
            Some((
                Coord {
                    x: low.x.min(c.x),
                    y: low.y.min(c.y),
                },
                Coord {
                    x: high.x.max(c.x),
                    y: high.y.max(c.y),
                },
            ))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lattice_counts_from_the_south_west() {
        let lattice = RateLattice {
            west: 10.0,
            south: 50.0,
            cell_x: 2.0,
            cell_y: 3.0,
            cols: 2,
            rows: 2,
            rates: vec![Some(1.0), Some(2.0), Some(3.0), None],
            codes: None,
            north_first_in_file: false,
        };
        assert_eq!(
            (
                lattice.rate(1, 0),
                lattice.rate(0, 1),
                lattice.rate(1, 1),
                lattice.rate(2, 0)
            ),
            (Some(2.0), Some(3.0), None, None)
        );
        assert_eq!(
            lattice.cell(1, 1),
            (Coord { x: 12.0, y: 53.0 }, Coord { x: 14.0, y: 56.0 })
        );
        let mut map = ImportedMap::empty("x", MapKind::Raster);
        assert_eq!(map.bounds(), None);
        map.lattice = Some(lattice);
        assert_eq!(
            map.bounds(),
            Some((Coord { x: 10.0, y: 50.0 }, Coord { x: 14.0, y: 56.0 }))
        );
    }

    #[test]
    fn rings_stand_as_written() {
        let square = [(0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0)].map(|(x, y)| Coord { x, y });
        let open = Ring {
            role: RingRole::Outer,
            points: square.to_vec(),
        };
        assert!(!open.is_closed() && open.closed().0.len() == 5);
        let closed = Ring {
            role: RingRole::Outer,
            points: open.closed().0,
        };
        assert!(
            closed.is_closed() && closed.doubled_area() == -2.0,
            "clockwise"
        );
        assert_eq!(
            Part { rings: vec![open] }
                .polygon()
                .unwrap()
                .exterior()
                .0
                .len(),
            5
        );
        assert_eq!(Part::default().polygon(), None);
    }

    #[test]
    fn places_read_well() {
        assert_eq!(Place::whole().to_string(), "the file");
        assert_eq!(Place::at("record", 3).to_string(), "record 3");
        assert_eq!(
            Place::at("feature", 3).with_name("North").to_string(),
            "feature 3 (North)"
        );
        assert_eq!(Place::named("TSK1").to_string(), "TSK1");
    }
}
