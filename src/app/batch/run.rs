//! One field after another: its job in memory, prepared, decided, written; and all of them on all cores.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::SystemTime;

use crate::app::batch::farm::{Farm, FarmField, Making};
use crate::app::batch::images::FarmImage;
use crate::app::batch::key::{Standing, Work};
use crate::app::batch::row::{FieldRow, FieldState, RowFinding, RowZone, UsedImage};
use crate::app::below::below;
use crate::app::commit;
use crate::app::commit::{CommitOptions, OutputFolder, RECORD_PATH, sha256_hex};
use crate::app::decide::Decision;
use crate::app::error::AppError;
use crate::app::files::MapFiles;
use crate::app::held::Reading;
use crate::app::job::map_job_in;
use crate::app::open::named as named_files;
use crate::app::prepare::{Prepared, Purpose, prepare_held};
use crate::app::progress::{Progress, Silent};
use crate::app::requests::Common;
use crate::app::setup::threads;
use crate::app::write::made_at;
use crate::finding::{Checked, Finding, by_weight, codes};
use crate::format::lonlat::rounded_zones;
use crate::format::payload::Payload;
use crate::job::settings::Settings;
use crate::map::export::ExportMap;
use crate::pipeline::scan::PixelMap;
use crate::space::crs::{Crs, Projector};
use crate::space::raster::Lattice;
use crate::units::Length;
use geo::{
    Area as _, BooleanOps as _, BoundingRect as _, Contains as _, Coord, MapCoords as _,
    MultiPolygon, Rect,
};

/// Stack of a thread that makes fields: as large as the one that the system gives a process. (bytes)
const STACK: usize = 8 << 20;

/// How a farm is run.
#[derive(Clone, Debug, Default)]
pub struct BatchOptions {
    /// Whether work that is done is done again.
    pub redo: bool,
    /// Which part of the fields this process takes: number from 1, and how many parts.
    pub shard: Option<(usize, usize)>,
}

/// What a run over a farm did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ran {
    /// Fields by what became of them, those that were done before among them.
    pub states: BTreeMap<&'static str, usize>,
    /// Fields whose work was done before.
    pub skipped: usize,
    /// Fields made in this run.
    pub made: usize,
    /// Blocks of images that were decoded, and how many different ones.
    pub blocks: (u64, u64),
}

impl Farm {
    /// Makes the map of one field and stores its row. Whatever happens to it is in the row: a refusal, a stop, even a fault of haulm.
    ///
    /// `progress` hears of the field's own stages. Nothing is looked up first: [`Farm::standing`] says whether the work is due.
    pub fn run_field(&self, field: usize, progress: &dyn Progress) -> FieldRow {
        match self.field(field) {
            Ok(found) => self.run_work(found, self.work(found), progress),
            Err(_) => FieldRow::new("", "", FieldState::Refused),
        }
    }

    fn run_work(
        &self,
        field: &FarmField,
        work: Result<Work, AppError>,
        progress: &dyn Progress,
    ) -> FieldRow {
        let bare = FieldRow {
            exceptions: self
                .settings
                .reasons(&field.name)
                .map(str::to_owned)
                .collect(),
            ..FieldRow::new(&field.name, &field.folder, FieldState::Crashed)
        };
        let work = match work {
            Ok(work) => work,
            Err(error) => return self.kept(bare.refused(&error)),
        };
        let row = FieldRow {
            made: work.made.clone(),
            ..bare
        };
        let made = catch_unwind(AssertUnwindSafe(|| {
            self.made(field, &work, row.clone(), progress)
        }));
        self.kept(match made {
            Ok(Ok(row)) => row,
            Ok(Err(error)) => row.refused(&error),
            Err(fault) => row.refused(&internal(fault.as_ref())),
        })
    }

    /// Stores a row that is to be stored; what cannot be stored is refused.
    fn kept(&self, row: FieldRow) -> FieldRow {
        if !row.state.is_kept() {
            return row;
        }
        let output = self.output();
        match row.store(&output) {
            Ok(()) => row,
            Err(error) => {
                let path = FieldRow::path(&output, &row.folder);
                let refusal =
                    AppError::refused("output.row", "the row of the field cannot be stored")
                        .with_fact(path.display().to_string(), error.to_string())
                        .with_hint("see to the cause and run the command again");
                row.refused(&refusal)
            }
        }
    }

    /// Stores a row that says that a field could not be made at all: its process died again and again.
    pub fn mark_crashed(&self, field: usize, reason: &str) -> FieldRow {
        let Ok(found) = self.field(field) else {
            return FieldRow::new("", "", FieldState::Refused);
        };
        let made = self.work(found).map(|work| work.made);
        let refusal = AppError::fault("internal", reason)
            .with_hint("please report it with the field's job file");
        let row = FieldRow {
            made: made.unwrap_or_default(),
            ..FieldRow::new(&found.name, &found.folder, FieldState::Crashed)
        };
        self.kept(row.refused(&refusal))
    }

    fn made(
        &self,
        field: &FarmField,
        work: &Work,
        row: FieldRow,
        progress: &dyn Progress,
    ) -> Result<FieldRow, AppError> {
        let common = Common {
            threads: Some(1),
            ..self.common.clone()
        };
        if let Some(signal) = common.cancel.signal() {
            return Err(AppError::cancelled(signal));
        }
        let job = self.folder.join(format!("{}.toml", field.folder));
        if self.making == Making::Tables {
            let (prepared, image, passed_over) =
                self.chosen(field, work, &job, &common, progress)?;
            let decision = prepared.decide(prepared.settings())?;
            return Ok(FieldRow {
                image: Some(image),
                passed_over,
                ..filled(row, &decision, decision.findings())
            });
        }
        let folder = self.output_of(field);
        // Its folder is known to be this field's before anything is computed.
        commit::of_another_job(&folder, &job, &field.name)?;
        let options = CommitOptions {
            overwrite: false,
            cancel: common.cancel.clone(),
        };
        let mut before = Vec::new();
        let claimed = OutputFolder::claim(&folder, options)?.into_log(&mut before);
        let (prepared, image, passed_over) = self.chosen(field, work, &job, &common, progress)?;
        let decision = prepared.decide(prepared.settings())?;
        let mut made = decision.files_as_asked()?;
        let record = made.record(made_at(SystemTime::now()).as_deref());
        let mut files = std::mem::take(&mut made.payloads);
        files.push(record);
        let done = claimed
            .commit(&files)
            .map_err(|error| AppError::of_commit(error, &common.cancel))?;
        let mut row = with_files(filled(row, made.decision(), &made.findings), &made, &files);
        (row.image, row.passed_over) = (Some(image), passed_over);
        // That an earlier run was interrupted says nothing of this map: the farm's tables are the same however often the work was begun.
        let of_this_run = |finding: &&Finding| finding.code != codes::OUTPUT_INTERRUPTED;
        let noticed = before.iter().chain(&done.findings).filter(of_this_run);
        row.findings.extend(noticed.map(RowFinding::of));
        Ok(row)
    }

    /// The newest image that shows enough of the field, and what was wrong with newer ones.
    fn chosen(
        &self,
        field: &FarmField,
        work: &Work,
        job: &Path,
        common: &Common,
        progress: &dyn Progress,
    ) -> Result<(Prepared, UsedImage, Vec<UsedImage>), AppError> {
        let mut passed_over = Vec::new();
        let mut first: Option<AppError> = None;
        let mut best: Option<(f64, Prepared, UsedImage)> = None;
        for candidate in &work.candidates {
            let mut image = candidate.image.clone();
            let mut pass = |image: &mut UsedImage, why: String| {
                image.passed_over = Some(why);
                passed_over.push(image.clone());
            };
            let Ok(settings) = &candidate.settings else {
                // Read again for an error of its own: it is told, and cannot be copied.
                let again = map_job_in(candidate.text.as_bytes(), job, common.us_units);
                let error = AppError::from(again.err().ok_or_else(|| {
                    AppError::fault("internal", "a job was refused and then was not")
                })?);
                pass(&mut image, error.headline.clone());
                first.get_or_insert(error);
                continue;
            };
            let reading = Reading {
                text: &candidate.text,
                held: &self.held,
            };
            let prepared = match self.making {
                Making::Maps => {
                    prepare_held(Purpose::Map, job, settings, reading, common, progress)
                }
                Making::Tables => {
                    let settings = for_no_machine(settings.clone());
                    prepare_held(Purpose::Rates, job, &settings, reading, common, progress)
                }
            };
            match prepared {
                Ok(prepared) => {
                    let seen = seen_share(&prepared);
                    if seen >= self.settings.minimum_cover || work.candidates.len() == 1 {
                        return Ok((prepared, image, passed_over));
                    }
                    let why = format!("shows {:.0} % of the field", 100.0 * seen);
                    if best.as_ref().is_none_or(|(most, _, _)| seen > *most) {
                        best = Some((seen, prepared, image.clone()));
                    }
                    pass(&mut image, why);
                }
                Err(error)
                    if ["cancelled", "file.changed", "file.unreachable"].contains(&error.code) =>
                {
                    return Err(error);
                }
                Err(error) => {
                    pass(&mut image, error.headline.clone());
                    first.get_or_insert(error);
                }
            }
        }
        let refusal = first.unwrap_or_else(|| {
            let notice = match &best {
                Some((seen, _, image)) => AppError::refused(
                    "image.cover",
                    format!("no image shows enough of the field: the best, {}, shows {:.0} %, and minimum_cover asks for {:.0} %", image.path, 100.0 * seen, 100.0 * self.settings.minimum_cover),
                ),
                None => AppError::refused("image.apart", "no image shows the field"),
            };
            notice.with_hint("add an image that shows it, or lower minimum_cover")
        });
        if work.candidates.iter().all(|one| one.settings.is_err()) {
            // The job itself is at fault, whatever the image.
            return Err(self.without_strips(field, refusal));
        }
        Err(passed_over.iter().fold(refusal, |notice, image| {
            notice.with_fact(
                format!("{} of {}", image.path, image.date),
                image.passed_over.clone().unwrap_or_default(),
            )
        }))
    }

    /// A refusal with what the layer of strips has to do with it.
    fn without_strips(&self, field: &FarmField, refusal: AppError) -> AppError {
        match &self.settings.strips {
            Some(strips) if field.strips.is_none() => refusal.with_fact(
                strips.path.clone(),
                match &strips.column {
                    Some(column) => format!("no strip has {:?} in the column {column}", field.name),
                    None => "no strip lies in the field".to_owned(),
                },
            ),
            _ => refusal,
        }
    }

    /// An image as the row names it.
    pub(super) fn used(&self, image: Option<&FarmImage>, settings: Option<&Settings>) -> UsedImage {
        if let Some(image) = image {
            return UsedImage {
                path: image.name.clone(),
                date: image.date.clone(),
                passed_over: None,
            };
        }
        let Some(imagery) = settings.and_then(|settings| settings.imagery.as_ref()) else {
            return UsedImage::default();
        };
        let first = named_files(imagery).into_iter().next();
        UsedImage {
            path: first.map_or_else(String::new, |path| below(&path, &self.folder)),
            date: imagery.date.to_string(),
            passed_over: None,
        }
    }

    /// Whether an image lies elsewhere: told by its bounds, without passing over it.
    pub(super) fn misses(&self, image: &FarmImage, field: &FarmField) -> bool {
        let place = || -> Option<bool> {
            let middle = field.middle?;
            if let Some([west, south, east, north]) = image.bounds {
                let way = Projector::new(&self.crs, &Crs::wgs84()).ok()?;
                let (x, y) = way.point(middle.0, middle.1).ok()?;
                return Some(x < west || x > east || y < south || y > north);
            }
            let path = image.file.as_ref().filter(|path| path.is_file())?;
            let (col, row, lattice) = self.pixel_of(path, middle)?;
            Some(col < 0.0 || row < 0.0 || col >= lattice.cols as f64 || row >= lattice.rows as f64)
        };
        place().unwrap_or(false)
    }

    /// Column and row of a place of the layer of fields in an image, and the image's lattice.
    fn pixel_of(&self, image: &Path, place: (f64, f64)) -> Option<(f64, f64, Lattice)> {
        let facts = self.held.shelf.facts(image, &self.folder).ok()?;
        let way = Projector::new(&self.crs, &facts.lattice.crs).ok()?;
        let (x, y) = way.point(place.0, place.1).ok()?;
        let (col, row) = facts.lattice.affine.to_pixel(x, y);
        Some((col, row, facts.lattice))
    }

    /// Fields of a part of the work, in an order in which neighbours in an image follow each other.
    pub fn order(&self, shard: Option<(usize, usize)>) -> Vec<usize> {
        let mut order: Vec<(i64, i64, usize)> = (0..self.fields.len())
            .map(|at| {
                let (row, col) = self.block_of(at).unwrap_or((i64::MAX, 0));
                (row, col, at)
            })
            .collect();
        order.sort_unstable();
        let all: Vec<usize> = order.into_iter().map(|(_, _, at)| at).collect();
        let Some((part, parts)) = shard else {
            return all;
        };
        // Whole runs of neighbours, so that no two parts decode the same blocks.
        let parts = parts.max(1);
        let (from, to) = (
            all.len() * (part.max(1) - 1) / parts,
            all.len() * part.max(1) / parts,
        );
        all.get(from..to.min(all.len()))
            .unwrap_or_default()
            .to_vec()
    }

    /// Row and column of the block in which a field's middle lies, in the newest image that shows it; of scenes and products by degrees.
    fn block_of(&self, field: usize) -> Option<(i64, i64)> {
        let field = self.fields.get(field)?;
        let middle = field.middle?;
        let newest = self.images.iter().find(|image| !self.misses(image, field));
        let path = match newest {
            Some(image) => image.file.clone(),
            None => self
                .settings
                .common_image()
                .map(|path| self.folder.join(path)),
        };
        let Some((col, row, lattice)) = path
            .filter(|path| path.is_file())
            .and_then(|path| self.pixel_of(&path, middle))
        else {
            // A hundredth of a degree is about a block of a satellite's tile.
            let way = Projector::new(&self.crs, &Crs::wgs84()).ok()?;
            let (x, y) = way.point(middle.0, middle.1).ok()?;
            return Some((-libm::floor(20.0 * y) as i64, libm::floor(20.0 * x) as i64));
        };
        let down = (row as i64).div_euclid(lattice.block.1.max(1));
        let across = (col as i64).div_euclid(lattice.block.0.max(1));
        Some((down, across))
    }

    /// Makes every field that is due, on all cores; `each` hears of each field as it is finished, with why it was made, or `None` where its work was done before.
    ///
    /// # Errors
    /// When the run was asked to end. What was finished stays, and the same call goes on.
    pub fn run(
        &self,
        options: &BatchOptions,
        progress: &dyn Progress,
        each: &(dyn Fn(&FieldRow, Option<&str>) + Sync),
    ) -> Result<Ran, AppError> {
        let order = self.order(options.shard);
        progress.start("making the fields", order.len() as u64);
        let (next, ran) = (AtomicUsize::new(0), Mutex::new(Ran::default()));
        let work = || {
            while self.common.cancel.signal().is_none() {
                let Some(field) = order.get(next.fetch_add(1, Ordering::Relaxed)) else {
                    break;
                };
                let Ok(found) = self.field(*field) else {
                    continue;
                };
                let work = self.work(found);
                let standing = match &work {
                    _ if options.redo => Standing::Due("asked for".to_owned()),
                    Ok(work) => self.standing_of(found, work),
                    Err(error) => Standing::Due(error.headline.clone()),
                };
                let (row, why) = match standing {
                    Standing::Done(row) => (*row, None),
                    Standing::Due(why) => (self.run_work(found, work, &Silent), Some(why)),
                };
                if row.state == FieldState::Cancelled {
                    break;
                }
                let mut ran = ran.lock().unwrap_or_else(PoisonError::into_inner);
                *ran.states.entry(row.state.word()).or_default() += 1;
                if why.is_some() {
                    ran.made += 1;
                } else {
                    ran.skipped += 1;
                }
                each(&row, why.as_deref());
                drop(ran);
                progress.advance(1);
            }
            self.held.shelf.close();
        };
        // A pool of its own: what a field shares out among threads stays on the thread that makes it, where handing it over would cost more than the work itself.
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads(&self.common).max(1))
            // With a name: what GDAL says on a thread without one is taken for anybody's.
            .thread_name(|_| "field".to_owned())
            .stack_size(STACK)
            .build();
        match pool {
            Ok(pool) => {
                pool.broadcast(|_| work());
            }
            Err(_) => work(),
        }
        if let Some(signal) = self.common.cancel.signal() {
            return Err(AppError::cancelled(signal));
        }
        let mut ran = ran.into_inner().unwrap_or_else(PoisonError::into_inner);
        ran.blocks = self.held.shelf.decoded();
        Ok(ran)
    }
}

/// Settings of which nothing is made for a machine: no format, and no rate carried over the field's edge, which no total counts.
fn for_no_machine(mut settings: Checked<Settings>) -> Checked<Settings> {
    settings.value.output.formats.clear();
    settings.value.machine.overrun = Length::m(0.0);
    settings
}

/// Share of the field that an image shows: of its ground what lies within the image, of its pixels there what has an index.
fn seen_share(prepared: &Prepared) -> f64 {
    let counts = prepared.survey().scanned.counts;
    let unseen = counts.missing + counts.undefined + counts.out_of_range;
    if counts.in_field == 0 {
        // Readings have no pixels.
        return 1.0;
    }
    within_image(prepared).unwrap_or(1.0) * (1.0 - unseen as f64 / counts.in_field as f64)
}

/// Share of the field's ground that lies within the image's edges.
fn within_image(prepared: &Prepared) -> Option<f64> {
    let lattice = &prepared.inner().image.files.first()?.lattice;
    let ground = prepared.ground();
    let pixels = PixelMap::new(&ground.plane.crs, lattice).ok()?;
    let carried = ground
        .field
        .try_map_coords(|c| pixels.pixel(c.x, c.y).map(|(x, y)| Coord { x, y }))
        .ok()?;
    let whole = Rect::new((0.0, 0.0), (lattice.cols as f64, lattice.rows as f64));
    let bounds = carried.bounding_rect()?;
    if whole.contains(&bounds) {
        return Some(1.0);
    }
    let inside = carried.intersection(&MultiPolygon::new(vec![whole.to_polygon()]));
    Some(inside.unsigned_area() / carried.unsigned_area())
}

fn internal(fault: &(dyn std::any::Any + Send)) -> AppError {
    let text = fault
        .downcast_ref::<&str>()
        .map(|text| (*text).to_owned())
        .or_else(|| fault.downcast_ref::<String>().cloned())
        .unwrap_or_else(|| "an unknown fault".to_owned());
    AppError::fault(
        "internal",
        "haulm met a fault of its own; nothing of this field is written",
    )
    .with_fact("fault", text)
    .with_hint("please report it with the field's job file")
}

/// The row with the files of a field.
fn with_files(row: FieldRow, made: &MapFiles, files: &[Payload]) -> FieldRow {
    let record = files
        .iter()
        .find(|file| file.path == RECORD_PATH)
        .map(|file| sha256_hex(&file.bytes));
    FieldRow {
        map_id: Some(made.map_id.clone()),
        record,
        files: files
            .iter()
            .map(|file| (file.path.clone(), file.bytes.len() as u64))
            .collect(),
        ..row
    }
}

/// The row of a field that is decided.
fn filled(row: FieldRow, decision: &Decision, findings: &[Finding]) -> FieldRow {
    let (outcome, settings) = (decision.outcome(), decision.settings());
    let totals = &outcome.totals;
    let mut findings = findings.to_vec();
    by_weight(&mut findings);
    let stopped = findings.iter().any(Finding::stops);
    let drawn = outcome.uncertainty.as_ref().map(|drawn| &drawn.field);
    FieldRow {
        state: if stopped {
            FieldState::Stopped
        } else {
            FieldState::Done
        },
        crop: Some(settings.season.crop.name.clone()),
        area_ha: Some(decision.prepared.ground().area / 10_000.0),
        n_kg: Some(totals.n_kg),
        mean_n_kg_ha: Some(totals.mean_rate.get()),
        n_kg_p10: drawn.map(|field| field.low),
        n_kg_p90: drawn.map(|field| field.high),
        product: totals.product,
        product_unit: settings
            .product
            .as_ref()
            .map(|_| settings.output.unit.total_label().to_owned()),
        ratio: outcome.reference.ratio,
        ratio_low: outcome.reference.low,
        ratio_high: outcome.reference.high,
        zone_count: Some(outcome.prescription.zones.len() as u64),
        us_units: settings.output.us_units,
        findings: findings.iter().map(RowFinding::of).collect(),
        zones: if stopped {
            Vec::new()
        } else {
            zones(decision, settings)
        },
        ..row
    }
}

/// Zones in degrees; none where they cannot be brought there, which the formats that need it have told.
fn zones(decision: &Decision, settings: &Settings) -> Vec<RowZone> {
    let prescription = &decision.outcome().prescription;
    let Some(outlines) = ExportMap::of_prescription(prescription, decision.machine_rates())
        .ok()
        .and_then(|map| rounded_zones(&map).ok())
    else {
        return Vec::new();
    };
    let pairs = |ring: &geo::LineString<f64>| ring.0.iter().map(|c| [c.x, c.y]).collect();
    prescription
        .zones
        .iter()
        .zip(outlines)
        .map(|(zone, outline)| RowZone {
            zone: zone.zone,
            n_kg_ha: zone.n.get(),
            product_rate: settings
                .product
                .as_ref()
                .map(|_| prescription.shown(zone.n)),
            product_unit: settings
                .product
                .as_ref()
                .map(|_| prescription.unit.label().to_owned()),
            area_m2: zone.area.get(),
            state: zone.state.word().to_owned(),
            n_p10_kg_ha: zone.n_low.map(crate::units::NRate::get),
            n_p90_kg_ha: zone.n_high.map(crate::units::NRate::get),
            outline: outline
                .0
                .iter()
                .map(|polygon| {
                    std::iter::once(polygon.exterior())
                        .chain(polygon.interiors())
                        .map(pairs)
                        .collect()
                })
                .collect(),
        })
        .collect()
}
