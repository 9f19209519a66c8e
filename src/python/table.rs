//! Tables of a map as Arrow, batch by batch, by the PyCapsule interface: any library of tables takes them, and none is needed here.
//!
//! # Source
//! Apache Arrow, C stream interface and its PyCapsule interface; GeoArrow, extension type `geoarrow.wkb` with its reference system as PROJJSON.

use std::collections::{HashMap, VecDeque};
use std::fmt;
use std::sync::Arc;

use arrow_array::builder::{
    ArrayBuilder, BinaryBuilder, Float64Builder, Int64Builder, StringBuilder,
};
use arrow_array::ffi_stream::FFI_ArrowArrayStream;
use arrow_array::{ArrayRef, RecordBatch, RecordBatchReader};
use arrow_schema::ffi::FFI_ArrowSchema;
use arrow_schema::{ArrowError, DataType, Field, Schema, SchemaRef};
use haulm::app::error::AppError;
use haulm::format::{systems, wkb};
use haulm::map::export::Records;
use haulm::map::prescription::Prescription;
use haulm::map::table;
use haulm::map::table::{Kind, Value};
use pyo3::prelude::*;
use pyo3::types::PyCapsule;

use crate::refused::or_raised;

/// The rows of one table of a map.
pub(crate) type Rows = for<'a> fn(&'a Prescription) -> Records<'a>;

/// Rows of a batch.
const BATCH: usize = 1 << 15;
/// Name of the column of shapes.
const SHAPES: &str = "geometry";

/// A table of the map: shapes with named columns, those of the layer of the same name in the GeoPackage.
///
/// It is handed over as Arrow: ``geopandas.GeoDataFrame.from_arrow(table)``, ``pyarrow.table(table)``, ``polars.DataFrame(table)``.
#[pyclass(frozen, module = "haulm")]
pub(crate) struct Table {
    decision: Arc<haulm::Decision>,
    rows: Rows,
}

impl fmt::Debug for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Table").finish_non_exhaustive()
    }
}

impl Table {
    pub(crate) fn new(decision: Arc<haulm::Decision>, rows: Rows) -> Self {
        Self { decision, rows }
    }

    fn records(&self) -> Records<'_> {
        (self.rows)(&self.decision.outcome().prescription)
    }

    fn schema(&self) -> Result<SchemaRef, AppError> {
        let map = &self.decision.outcome().prescription;
        let system = systems::projjson(&map.plane)
            .map_err(|error| AppError::refused("plane.transformation", error.to_string()))?;
        Ok(schema(&self.records().table, &system))
    }
}

#[pymethods]
impl Table {
    /// Name of the layer.
    #[getter]
    fn name(&self) -> &'static str {
        self.records().table.name
    }

    /// What it holds, in a sentence.
    #[getter]
    fn description(&self) -> &'static str {
        self.records().table.description
    }

    /// Columns: name, and what it holds with its unit.
    #[getter]
    fn columns(&self) -> Vec<(&'static str, &'static str)> {
        let columns = self.records().table.columns;
        columns
            .iter()
            .map(|(name, _, about)| (*name, *about))
            .collect()
    }

    /// The working plane of the shapes: ``"EPSG:32633"``, or WKT.
    #[getter]
    fn crs(&self) -> &str {
        self.decision.outcome().prescription.plane.definition()
    }

    fn __len__(&self) -> usize {
        self.records().count
    }

    /// The schema by Arrow's PyCapsule interface.
    fn __arrow_c_schema__<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyCapsule>> {
        let schema = or_raised(py, self.schema())?;
        let schema =
            FFI_ArrowSchema::try_from(schema.as_ref()).map_err(|error| fault(py, &error))?;
        PyCapsule::new_with_value(py, schema, c"arrow_schema")
    }

    /// The rows by Arrow's PyCapsule interface. A schema that is asked for is passed over, as the interface allows.
    #[pyo3(signature = (requested_schema=None))]
    fn __arrow_c_stream__<'py>(
        &self,
        py: Python<'py>,
        requested_schema: Option<Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyCapsule>> {
        drop(requested_schema);
        let stream = Stream {
            decision: Arc::clone(&self.decision),
            rows: self.rows,
            schema: or_raised(py, self.schema())?,
            next: 0,
            ahead: VecDeque::new(),
        };
        let stream = FFI_ArrowArrayStream::new(Box::new(stream));
        PyCapsule::new_with_value(py, stream, c"arrow_array_stream")
    }

    fn __repr__(&self) -> String {
        format!("Table({}, {} rows)", self.name(), self.__len__())
    }
}

fn fault(py: Python<'_>, error: &ArrowError) -> PyErr {
    crate::refused::raised(py, &AppError::fault("arrow", error.to_string()))
}

/// Columns as they are, and the shapes after them.
fn schema(table: &table::Table, system: &str) -> SchemaRef {
    let of = |kind: &Kind| match kind {
        Kind::Whole => DataType::Int64,
        Kind::Real => DataType::Float64,
        Kind::Text => DataType::Utf8,
    };
    let about = |text: &str| HashMap::from([("description".to_owned(), text.to_owned())]);
    let mut fields: Vec<Field> = table
        .columns
        .iter()
        .map(|(name, kind, text)| Field::new(*name, of(kind), true).with_metadata(about(text)))
        .collect();
    let shapes = Field::new(SHAPES, DataType::Binary, false).with_metadata(HashMap::from([
        ("ARROW:extension:name".to_owned(), "geoarrow.wkb".to_owned()),
        (
            "ARROW:extension:metadata".to_owned(),
            format!("{{\"crs\":{system},\"crs_type\":\"projjson\"}}"),
        ),
    ]));
    fields.push(shapes);
    let metadata = HashMap::from([
        ("name".to_owned(), table.name.to_owned()),
        ("description".to_owned(), table.description.to_owned()),
    ]);
    Arc::new(Schema::new(fields).with_metadata(metadata))
}

/// Batches on their way out; so many at once as there are cores, and no more are held.
struct Stream {
    decision: Arc<haulm::Decision>,
    rows: Rows,
    schema: SchemaRef,
    next: usize,
    ahead: VecDeque<Result<RecordBatch, ArrowError>>,
}

impl Iterator for Stream {
    type Item = Result<RecordBatch, ArrowError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.ahead.is_empty() {
            let map = &self.decision.outcome().prescription;
            let count = (self.rows)(map).count;
            let cores = std::thread::available_parallelism().map_or(1, usize::from);
            let firsts: Vec<usize> = (self.next..count).step_by(BATCH).take(cores).collect();
            let (rows, schema) = (self.rows, &self.schema);
            let made: Vec<_> = std::thread::scope(|scope| {
                let threads: Vec<_> = firsts
                    .iter()
                    .map(|&first| scope.spawn(move || batch(&rows(map), first, schema)))
                    .collect();
                let failed = || ArrowError::ComputeError("a batch could not be made".to_owned());
                threads
                    .into_iter()
                    .map(|thread| thread.join().unwrap_or_else(|_panic| Err(failed())))
                    .collect()
            });
            self.next += made.len() * BATCH;
            self.ahead.extend(made);
        }
        self.ahead.pop_front()
    }
}

impl RecordBatchReader for Stream {
    fn schema(&self) -> SchemaRef {
        Arc::clone(&self.schema)
    }
}

/// A column on its way.
enum Column {
    Whole(Int64Builder),
    Real(Float64Builder),
    Text(StringBuilder),
}

impl Column {
    fn new(kind: Kind, rows: usize) -> Self {
        match kind {
            Kind::Whole => Self::Whole(Int64Builder::with_capacity(rows)),
            Kind::Real => Self::Real(Float64Builder::with_capacity(rows)),
            Kind::Text => Self::Text(StringBuilder::with_capacity(rows, 8 * rows)),
        }
    }
    /// A value of another kind than the column's is null; tables of haulm have none.
    fn push(&mut self, value: &Value) {
        match (self, value) {
            (Self::Whole(column), Value::Whole(value)) => column.append_value(*value),
            (Self::Real(column), Value::Real(value)) => column.append_option(*value),
            (Self::Text(column), Value::Text(value)) => column.append_option(value.as_deref()),
            (Self::Whole(column), _) => column.append_null(),
            (Self::Real(column), _) => column.append_null(),
            (Self::Text(column), _) => column.append_null(),
        }
    }
    fn finish(self) -> ArrayRef {
        match self {
            Self::Whole(mut column) => ArrayBuilder::finish(&mut column),
            Self::Real(mut column) => ArrayBuilder::finish(&mut column),
            Self::Text(mut column) => ArrayBuilder::finish(&mut column),
        }
    }
}

fn batch(
    records: &Records<'_>,
    first: usize,
    schema: &SchemaRef,
) -> Result<RecordBatch, ArrowError> {
    let rows = BATCH.min(records.count.saturating_sub(first));
    let mut columns: Vec<Column> = records
        .table
        .columns
        .iter()
        .map(|(_, kind, _)| Column::new(*kind, rows))
        .collect();
    let mut shapes = BinaryBuilder::with_capacity(rows, 102 * rows);
    let mut shape = Vec::new();
    for row in records.rows_from(first).take(rows) {
        for (column, value) in columns.iter_mut().zip(&row.values) {
            column.push(value);
        }
        shape.clear();
        wkb::multipolygon(&row.outline, &mut shape);
        shapes.append_value(&shape);
    }
    let mut arrays: Vec<ArrayRef> = columns.into_iter().map(Column::finish).collect();
    arrays.push(Arc::new(shapes.finish()));
    RecordBatch::try_new(Arc::clone(schema), arrays)
}
