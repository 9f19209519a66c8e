//! What every writer takes: a map as tables of named columns, be it our own prescription or somebody's map in another format.
//!
//! Whatever a format writes it finds here, so that it works nothing out by itself; and what it writes of one map it writes of the other by the same code.

use std::borrow::Cow;

use geo::{Area, MultiPolygon};

use crate::map::excluded::excluded;
use crate::map::imported::{Quantity, RateLattice, StatedFallbacks};
use crate::map::machine::MachineRates;
use crate::map::palette::Legend;
use crate::map::prescription::Prescription;
use crate::map::rate_map::{Measure, RateMap};
use crate::map::table::{self, Row, Table};
use crate::map::{legend, us_columns};
use crate::space::crs::Crs;
use crate::units::{Product, half_up_to_hundredth};

/// Smaller parts of ground that gets nothing are left out of polygons for machines. \[m²\] Common practice, no source.
pub const SLIVER_M2: f64 = 1.0;
/// Least pixel of a raster. \[m\]
const MINIMUM_PIXEL_M: f64 = 1.0;

/// Why a prescription cannot be exported.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[non_exhaustive]
pub enum ExportError {
    /// Cells and their shapes do not match.
    #[error("{records} cell records for {shapes} cell shapes; this is a fault of the program")]
    CellCount {
        /// Records.
        records: usize,
        /// Shapes.
        shapes: usize,
    },
}

/// How a table is drawn.
#[derive(Clone, Debug)]
pub enum Drawn {
    /// By the rates in a column.
    Rates {
        /// Classes and colours.
        legend: Legend,
        /// The column.
        column: &'static str,
        /// Whether a column `state` tells of ground that is hatched.
        by_state: bool,
    },
    /// As outlines.
    Outline {
        /// What the outlines are.
        title: &'static str,
        /// Whether they are dashed.
        dashed: bool,
    },
}

/// Rows on their way into a file, one by one: there may be a hundred thousand.
pub type Rows<'a> = Box<dyn Iterator<Item = Row<'a>> + 'a>;

/// A table with its rows.
pub struct Records<'a> {
    /// Name and columns.
    pub table: Table,
    /// How many rows there are.
    pub count: usize,
    rows: Box<dyn Fn(usize) -> Rows<'a> + 'a>,
}

impl<'a> Records<'a> {
    fn new(table: Table, count: usize, rows: impl Fn(usize) -> Rows<'a> + 'a) -> Self {
        Self {
            table,
            count,
            rows: Box::new(rows),
        }
    }

    /// Rows from one on, counted from 0; none beyond the last.
    pub fn rows_from(&self, first: usize) -> Rows<'a> {
        (self.rows)(first.min(self.count))
    }

    fn drawn(self, drawn: Drawn) -> Layer<'a> {
        Layer {
            table: self.table,
            drawn,
            records: self,
        }
    }
}

/// Zones of our own map.
pub fn zones(map: &Prescription) -> Records<'_> {
    Records::new(
        us_columns::zones(map.unit.is_us()),
        map.zones.len(),
        move |first| {
            Box::new(map.zones[first..].iter().map(|zone| Row {
                outline: Cow::Borrowed(&zone.outline),
                values: table::zone(map, zone),
            }))
        },
    )
}

/// Cells of our own map.
pub fn cells(map: &Prescription) -> Records<'_> {
    Records::new(
        us_columns::cells(map.unit.is_us()),
        map.cells.len(),
        move |first| {
            let cells = (first..).zip(&map.cells[first..]);
            Box::new(cells.map(|(i, cell)| Row {
                outline: Cow::Owned(map.grid.outline(i)),
                values: table::cell(cell, map.grid.part_of(i), map.unit.is_us()),
            }))
        },
    )
}

/// Reference strips of our own map.
pub fn strips(map: &Prescription) -> Records<'_> {
    Records::new(table::STRIPS, map.strips.len(), move |first| {
        Box::new(map.strips[first..].iter().map(|strip| Row {
            outline: Cow::Borrowed(&strip.outline),
            values: table::strip(strip),
        }))
    })
}

/// The field of our own map.
pub fn field(map: &Prescription) -> Records<'_> {
    Records::new(us_columns::field(map.unit.is_us()), 1, move |first| {
        let row = Row {
            outline: Cow::Borrowed(&map.field),
            values: table::field(map),
        };
        Box::new(std::iter::once(row).skip(first))
    })
}

/// A table with its rows, and how it is drawn.
pub struct Layer<'a> {
    /// Name and columns.
    pub table: Table,
    /// How it is drawn.
    pub drawn: Drawn,
    records: Records<'a>,
}

impl<'a> Layer<'a> {
    /// All rows, from the first.
    pub fn rows(&self) -> Rows<'a> {
        self.records.rows_from(0)
    }
}

/// Ground as a machine gets it.
#[derive(Clone, Debug)]
pub struct MachineZone<'a> {
    /// Number.
    pub zone: u32,
    /// Rate in the map's measure, within the machine's limits; not rounded.
    pub rate: f64,
    /// The ground, in the map's system.
    pub outline: Cow<'a, MultiPolygon<f64>>,
    /// Its area. \[m²\]
    pub area_m2: f64,
    /// Whether it is ground that is kept clear, and no zone.
    pub is_kept_clear: bool,
}

/// Rates as a raster.
#[derive(Clone, Debug)]
pub struct Raster<'a> {
    /// What the numbers are: `Nitrogen`, a product.
    pub title: Cow<'a, str>,
    /// Their unit.
    pub unit: &'static str,
    /// Name of the band.
    pub band: &'static str,
    /// Rate of each zone, in the order of the zones.
    pub rates: Vec<f64>,
    /// The grid that the map came as: its cells and rates are kept.
    pub lattice: Option<&'a RateLattice>,
    /// Side of a pixel, if it is settled. \[m\]
    pub pixel_m: Option<f64>,
    /// Classes and colours.
    pub legend: Legend,
}

/// A map for writers.
pub struct ExportMap<'a> {
    /// Name of the field or map.
    pub name: &'a str,
    /// The map's id, when it is one of our own.
    pub map_id: Option<&'a str>,
    /// What else stands beside the records, where a format has room for it: name and text.
    pub members: Vec<(&'static str, &'a str)>,
    /// The grower, if anybody is named.
    pub client: Option<&'a str>,
    /// The farm, if one is named.
    pub farm: Option<&'a str>,
    /// Crop, if it is known.
    pub crop: Option<&'a str>,
    /// What rates mean.
    pub measure: Measure,
    /// Product, when its nitrogen is known.
    pub product: Option<&'a Product>,
    /// Product as it is called.
    pub product_name: &'a str,
    /// Reference system of all coordinates, x before y.
    pub system: &'a Crs,
    /// Zones with their rates as decided.
    pub zones: Layer<'a>,
    /// Further tables, for formats that hold several.
    pub more: Vec<Layer<'a>>,
    /// Zones as a machine gets them.
    pub machine: Vec<MachineZone<'a>>,
    /// Column of the machine's rates, named by their unit.
    pub machine_column: &'static str,
    /// Classes and colours of the machine's rates.
    pub machine_legend: Legend,
    /// The raster.
    pub raster: Raster<'a>,
    /// The field's boundary.
    pub boundary: Option<&'a MultiPolygon<f64>>,
    /// Rates that a terminal falls back to, in the map's measure.
    pub fallbacks: StatedFallbacks,
}

impl<'a> ExportMap<'a> {
    /// Our own map, with the rates that the machine gets.
    ///
    /// # Errors
    /// [`ExportError::CellCount`].
    pub fn of_prescription(
        map: &'a Prescription,
        rates: &MachineRates,
    ) -> Result<Self, ExportError> {
        let (records, shapes) = (map.cells.len(), map.grid.cells.len());
        if records != shapes {
            return Err(ExportError::CellCount { records, shapes });
        }
        let nitrogen = if map.unit.is_us() {
            "n_lb_ac"
        } else {
            "n_kg_ha"
        };
        let outline = |title, dashed| Drawn::Outline { title, dashed };
        let machine = machine_zones(map, rates);
        let frame = &map.grid.frame;
        Ok(Self {
            name: &map.field_name,
            map_id: Some(&map.map_id),
            members: vec![
                ("map_id", &map.map_id),
                (
                    "note",
                    "For the office. Not a file for the machine: those stand in the folder machine.",
                ),
            ],
            client: map.client.as_deref(),
            farm: map.farm.as_deref(),
            crop: Some(&map.crop),
            measure: Measure::of(map.product.is_none(), map.unit),
            product: map.product.as_ref(),
            product_name: map.product.as_ref().map_or("Nitrogen as N", Product::name),
            system: &map.plane,
            zones: zones(map).drawn(Drawn::Rates {
                legend: legend::zones(map),
                column: if map.product.is_some() {
                    "product_rate"
                } else {
                    nitrogen
                },
                by_state: true,
            }),
            more: vec![
                cells(map).drawn(Drawn::Rates {
                    legend: legend::cells(map),
                    column: nitrogen,
                    by_state: true,
                }),
                strips(map).drawn(outline("Reference strips", true)),
                field(map).drawn(outline("Field", false)),
            ],
            machine_column: map.rate_column(),
            machine_legend: legend::machine(map, machine.iter().map(|zone| zone.rate)),
            machine,
            raster: Raster {
                title: Cow::Borrowed("Nitrogen"),
                unit: "kg N/ha",
                band: "nitrogen",
                rates: map.zones.iter().map(|zone| zone.n.get()).collect(),
                lattice: None,
                // A quarter of the cell's shorter side.
                pixel_m: Some((frame.length.min(frame.width) / 4.0).max(MINIMUM_PIXEL_M)),
                legend: legend::nitrogen(map),
            },
            boundary: Some(&map.boundary),
            fallbacks: StatedFallbacks {
                on_start: Some(rates.on_start),
                position_lost: Some(rates.position_lost),
                outside: Some(rates.outside),
            },
        })
    }

    /// Somebody's map, already turned into the measure it is to be in.
    pub fn of_rate_map(map: &'a RateMap) -> Self {
        let zones = move |first: usize| -> Rows<'a> {
            Box::new(map.zones[first..].iter().map(|zone| Row {
                outline: Cow::Borrowed(&zone.outline),
                values: table::converted(map, zone),
            }))
        };
        let is_nitrogen = map.measure.quantity == Quantity::Nitrogen;
        let name = map.product_shown();
        let rates = || map.zones.iter().map(|zone| half_up_to_hundredth(zone.rate));
        let of_product = || Legend::new(format!("Rate of {name}"), map.measure.label(), rates());
        let nitrogen = map.zones.iter().filter_map(|zone| map.nitrogen(zone));
        let (legend, column) = if is_nitrogen {
            let rates = nitrogen.map(half_up_to_hundredth);
            (Legend::new("Nitrogen", "kg N/ha", rates), "n_kg_ha")
        } else {
            (of_product(), "product_rate")
        };
        let (title, band) = if is_nitrogen {
            ("Nitrogen", "nitrogen")
        } else {
            (name, "product rate")
        };
        Self {
            name: &map.name,
            map_id: None,
            members: map
                .product_name
                .iter()
                .map(|product| ("product", product.as_str()))
                .collect(),
            client: None,
            farm: None,
            crop: map.crop.as_deref(),
            measure: map.measure,
            product: map.product.as_ref(),
            product_name: name,
            system: &map.system,
            zones: Records::new(
                us_columns::converted(map.measure.unit.is_us()),
                map.zones.len(),
                zones,
            )
            .drawn(Drawn::Rates {
                legend,
                column,
                by_state: false,
            }),
            more: Vec::new(),
            machine: map
                .zones
                .iter()
                .map(|zone| MachineZone {
                    zone: zone.zone,
                    rate: zone.rate,
                    outline: Cow::Borrowed(&zone.outline),
                    area_m2: zone.area_m2,
                    is_kept_clear: false,
                })
                .collect(),
            machine_column: map.measure.column(),
            machine_legend: of_product(),
            raster: Raster {
                title: Cow::Borrowed(title),
                unit: map.measure.label(),
                band,
                rates: map.zones.iter().map(|zone| zone.rate).collect(),
                lattice: map.lattice.as_ref(),
                pixel_m: None,
                legend: Legend::new(title, map.measure.label(), rates()),
            },
            boundary: map.boundary.as_ref(),
            fallbacks: map.fallbacks,
        }
    }

    /// Zones as decided: number and ground.
    pub fn grounds(&self) -> impl Iterator<Item = (u32, Cow<'a, MultiPolygon<f64>>)> {
        (1..)
            .zip(self.zones.rows())
            .map(|(zone, row)| (zone, row.outline))
    }
}

/// Zones within the machine's limits, and after them, under the next number, ground that gets nothing.
fn machine_zones<'a>(map: &'a Prescription, rates: &MachineRates) -> Vec<MachineZone<'a>> {
    let zones = map
        .zones
        .iter()
        .zip(&rates.zones)
        .map(|(zone, rate)| MachineZone {
            zone: zone.zone,
            rate: rate.shown,
            outline: Cow::Borrowed(&zone.machine_outline),
            area_m2: zone.machine_outline.unsigned_area(),
            is_kept_clear: false,
        });
    let next = map.zones.len() as u32 + 1;
    let kept_clear = excluded(map).into_iter().map(|part| MachineZone {
        zone: next,
        rate: 0.0,
        area_m2: part.unsigned_area(),
        outline: Cow::Owned(MultiPolygon::new(vec![part])),
        is_kept_clear: true,
    });
    zones.chain(kept_clear).collect()
}
