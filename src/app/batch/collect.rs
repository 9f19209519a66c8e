//! All rows together: the farm's map of zones, its table of fields, its index page, and a stick.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::app::batch::farm::{Farm, FarmField, Making};
use crate::app::batch::row::{FieldRow, FieldState};
use crate::app::batch::tables;
use crate::app::commit;
use crate::app::error::AppError;
use crate::app::stick::{StickRequest, stick};
use crate::finding::Severity;
use crate::format::csv_table::csv;
use crate::format::geopackage::{FileLayer, write_file};
use crate::job::settings::VectorSource;
use crate::map::table::Row;
use crate::report::farm::{FarmPage, FieldLine, Noticed, Place, index};
use crate::report::model::Report;
use crate::space::crs::{Crs, Projector};
use geo::MultiPolygon;
use jiff::Timestamp;

/// The map of all zones and the table of fields.
const GEOPACKAGE: &str = "farm.gpkg";
/// The table of fields for spreadsheets.
const TABLE: &str = "fields.csv";
/// The page.
const INDEX: &str = "index.html";

/// What was put together.
#[derive(Clone, Debug)]
pub struct Collected {
    /// Rows of all fields in the order of the layer, without their zones; a field without a stored row is [`FieldState::Cancelled`].
    pub rows: Vec<FieldRow>,
    /// Files written.
    pub files: Vec<PathBuf>,
    /// The index page.
    pub index: PathBuf,
    /// What became of the stick, if one was asked for.
    pub stick: Option<Box<Report>>,
}

impl Collected {
    /// How many fields are in this state.
    pub fn count(&self, state: FieldState) -> usize {
        self.rows.iter().filter(|row| row.state == state).count()
    }
}

impl Farm {
    /// The stored row of a field; `None` while there is none.
    pub fn stored(&self, field: usize) -> Option<FieldRow> {
        self.fields
            .get(field)
            .and_then(|field| FieldRow::stored(&self.output(), &field.folder))
    }

    /// Reads the stored rows and writes the farm's files from them: the same rows give the same bytes, whoever made them.
    ///
    /// # Errors
    /// When another run puts them together, when they cannot be written, or the stick is refused.
    pub fn collect(&self, to_stick: Option<&Path>) -> Result<Collected, AppError> {
        let output = self.output();
        let unwritable = |error: std::io::Error| unwritable(&output, &error);
        fs_err::create_dir_all(&output).map_err(unwritable)?;
        let _alone = commit::alone(&output, &self.common.cancel)?;
        let mut rows = Vec::new();
        // Each different rate once, for the legend.
        let mut rates = BTreeSet::new();
        for field in &self.fields {
            let mut row = FieldRow::stored(&output, &field.folder).unwrap_or_else(|| {
                FieldRow::new(&field.name, &field.folder, FieldState::Cancelled)
            });
            if row.state == FieldState::Done {
                rates.extend(row.zones.iter().map(|zone| zone.n_kg_ha.to_bits()));
            }
            // Of many fields the zones alone would fill the memory.
            row.zones = Vec::new();
            row.made.jobs = Vec::new();
            row.made.inputs.clear();
            rows.push(row);
        }
        let newest = rows
            .iter()
            .filter_map(|row| row.image.as_ref()?.date.parse::<jiff::civil::Date>().ok())
            .max();
        let instant = newest
            .and_then(|day| jiff::tz::Offset::UTC.to_timestamp(day.at(0, 0, 0, 0)).ok())
            .unwrap_or(Timestamp::UNIX_EPOCH);
        let grounds = self.grounds();
        let geopackage = output.join(GEOPACKAGE);
        let staged = staged_beside(&geopackage);
        let _ = fs_err::remove_file(&staged);
        write_file(
            &staged,
            &Crs::wgs84(),
            vec![
                FileLayer {
                    table: tables::ZONES,
                    drawn: tables::zones_drawn(rates.into_iter().map(f64::from_bits)),
                    rows: Box::new(self.zone_rows()),
                },
                FileLayer {
                    table: tables::FIELDS,
                    drawn: tables::fields_drawn(),
                    rows: Box::new(
                        rows.iter()
                            .zip(&grounds)
                            .map(|(row, ground)| tables::field_row(row, ground.clone())),
                    ),
                },
            ],
            instant,
        )
        .map_err(|error| {
            let _ = fs_err::remove_file(&staged);
            AppError::refused("farm.write", "the map of all zones cannot be written")
                .with_fact(geopackage.display().to_string(), error.to_string())
                .with_causes(&error)
        })?;
        fs_err::rename(&staged, &geopackage).map_err(unwritable)?;
        let plain = rows
            .iter()
            .map(|row| tables::field_row(row, MultiPolygon::new(Vec::new())));
        let table = csv(&tables::FIELDS, plain);
        replace(&output.join(TABLE), &table).map_err(unwritable)?;
        let page = index(&self.page(&rows, &grounds));
        replace(&output.join(INDEX), &page).map_err(unwritable)?;
        if rows.iter().all(|row| row.state.is_kept()) {
            // Nobody needs copies of images any more.
            let _ = fs_err::remove_dir_all(self.copies());
        }
        let stick = match to_stick {
            None => None,
            Some(place) => Some(Box::new(self.onto_stick(&rows, place)?)),
        };
        Ok(Collected {
            rows,
            files: [GEOPACKAGE, TABLE, INDEX]
                .map(|name| output.join(name))
                .to_vec(),
            index: output.join(INDEX),
            stick,
        })
    }

    /// Zones of all fields, read row by row.
    fn zone_rows(&self) -> impl Iterator<Item = Row<'static>> + '_ {
        let output = self.output();
        self.fields.iter().flat_map(move |field| {
            let row = FieldRow::stored(&output, &field.folder)
                .filter(|row| row.state == FieldState::Done);
            let zones = |row: FieldRow| -> Vec<Row<'static>> {
                row.zones
                    .iter()
                    .map(|zone| tables::zone_row(&row, zone))
                    .collect()
            };
            row.map(zones).unwrap_or_default()
        })
    }

    /// Boundaries in longitude and latitude; nothing where a boundary is not sound.
    fn grounds(&self) -> Vec<MultiPolygon<f64>> {
        let way = Projector::new(&self.crs, &Crs::wgs84()).ok();
        let ground = |field: &FarmField| {
            let source = VectorSource {
                path: self.folder.join(&self.settings.fields.path),
                layer: self.settings.fields.layer.clone(),
                filter: Some(field.filter.clone()),
                merge: false,
            };
            let layer = self.held.layer(&source)?;
            way.as_ref()?.geometry(&layer.shapes.first()?.geometry).ok()
        };
        self.fields
            .iter()
            .map(|field| ground(field).unwrap_or_else(|| MultiPolygon::new(Vec::new())))
            .collect()
    }

    fn page(&self, rows: &[FieldRow], grounds: &[MultiPolygon<f64>]) -> FarmPage {
        let line = |(row, ground): (&FieldRow, &MultiPolygon<f64>)| FieldLine {
            field: row.field.clone(),
            folder: row.folder.clone(),
            state: tables::state(row),
            reason: row.reason.clone(),
            code: row.code.clone(),
            facts: row.facts.clone(),
            hint: row.hint.clone(),
            map_id: row.map_id.clone(),
            crop: row.crop.clone(),
            image: row
                .image
                .as_ref()
                .map(|image| (image.path.clone(), image.date.clone())),
            passed_over: row
                .passed_over
                .iter()
                .map(|image| {
                    let why = image.passed_over.clone().unwrap_or_default();
                    (format!("{} of {}", image.path, image.date), why)
                })
                .collect(),
            area_ha: row.area_ha,
            n_kg: row.n_kg,
            mean_n_kg_ha: row.mean_n_kg_ha,
            range_n_kg: row.n_kg_p10.zip(row.n_kg_p90),
            product: row.product.zip(row.product_unit.clone()),
            ratio: row.ratio,
            interval: row.ratio_low.zip(row.ratio_high),
            zones: row.zone_count,
            exceptions: row.exceptions.clone(),
            noticed: row
                .findings
                .iter()
                .filter(|finding| finding.severity != Severity::Note.word() && !finding.accepted)
                .map(|finding| Noticed {
                    severity: finding.severity.clone(),
                    code: finding.code.clone(),
                    message: finding.message.clone(),
                })
                .collect(),
            files: row.files.keys().cloned().collect(),
            place: Place::of(ground),
        };
        FarmPage {
            farm: self.name(),
            with_maps: self.making == Making::Maps,
            us_units: rows.iter().any(|row| row.us_units),
            fields: rows.iter().zip(grounds).map(line).collect(),
        }
    }

    fn onto_stick(&self, rows: &[FieldRow], place: &Path) -> Result<Report, AppError> {
        let output = self.output();
        let maps: Vec<PathBuf> = rows
            .iter()
            .filter(|row| row.state == FieldState::Done)
            .map(|row| output.join(&row.folder))
            .collect();
        if maps.is_empty() {
            return Err(
                AppError::refused("stick.maps", "no field has a map for the stick")
                    .with_hint("see the reasons in the table of fields"),
            );
        }
        stick(&StickRequest {
            maps,
            stick: place.to_owned(),
            bring_back: None,
            dry_run: false,
            common: self.common.clone(),
        })
    }
}

fn unwritable(folder: &Path, error: &std::io::Error) -> AppError {
    AppError::refused("farm.write", "the farm's files cannot be written")
        .with_fact(folder.display().to_string(), error.to_string())
        .with_hint("see to the cause and run the command again: the fields are done")
}

/// A hidden neighbour of a file, of this process and thread alone.
fn staged_beside(path: &Path) -> PathBuf {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!(".{name}.haulm-{}", std::process::id()))
}

/// Writes a file whole, or leaves the one that is there.
pub(super) fn replace(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    if let Some(folder) = path.parent() {
        fs_err::create_dir_all(folder)?;
    }
    let staged = staged_beside(path);
    fs_err::write(&staged, bytes)
        .and_then(|()| fs_err::rename(&staged, path))
        .inspect_err(|_| {
            let _ = fs_err::remove_file(&staged);
        })
}
