//! A farm file with its fields, read and matched.

use std::path::{Path, PathBuf};

use crate::app::batch::fill;
use crate::app::batch::images::{FarmImage, files, images};
use crate::app::batch::row::ROWS;
use crate::app::below::below;
use crate::app::error::AppError;
use crate::app::held::Held;
use crate::app::job::text_bytes;
use crate::app::memory;
use crate::app::new_fields::{NamedField, named_fields, slugs};
use crate::app::open::refuse_network;
use crate::app::requests::Common;
use crate::app::rights::Rights;
use crate::app::setup::set_up;
use crate::format::vector::{Columns, Features, VectorError, VectorLayer, read_each};
use crate::format::weather::stations;
use crate::job::farm::{FarmLayer, FarmSettings, FieldFacts, farm};
use crate::job::settings::VectorSource;

/// More than this is no farm file. (bytes)
const MAXIMUM: u64 = 16 << 20;

/// What a run over a farm makes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Making {
    /// The map of each field in a folder of its own, and the farm's tables.
    #[default]
    Maps,
    /// The farm's tables alone, in a folder of their own: which fields need nitrogen, and how much, long before a map is made.
    Tables,
}

/// One field of a farm.
#[derive(Debug)]
pub struct FarmField {
    /// Its name.
    pub name: String,
    /// Its folder below the output folder, and its name in files.
    pub folder: String,
    /// The filter that picks it alone.
    pub(super) filter: String,
    /// The filter that picks its strips, if it has any in the farm's layer.
    pub(super) strips: Option<String>,
    /// Values of the columns that fill keys.
    pub(super) values: Vec<Option<String>>,
    /// Middle of its bounds, in the system of the layer; `None` where its shape is not sound.
    pub(super) middle: Option<(f64, f64)>,
}

/// A farm file with its fields. Shared by all threads of a run.
#[derive(Debug)]
pub struct Farm {
    pub(super) path: PathBuf,
    pub(super) folder: PathBuf,
    pub(super) settings: FarmSettings,
    /// The newest first.
    pub(super) images: Vec<FarmImage>,
    pub(super) fields: Vec<FarmField>,
    pub(super) crs: crate::space::crs::Crs,
    pub(super) held: Held,
    pub(super) common: Common,
    pub(super) making: Making,
}

impl Farm {
    /// Reads a farm file and its layers of fields and strips. The rights of the process are given up before the first input is opened, when
    /// [`Common::confined`] asks for it; nothing of an image is read yet.
    ///
    /// # Errors
    /// What is wrong with the farm file itself, and a layer that cannot be read as a whole. What is wrong with one field is its row's.
    pub fn read(path: &Path, making: Making, common: &Common) -> Result<Self, AppError> {
        let bytes = bytes_of(path)?;
        let settings = farm(&bytes, path)?.value;
        let folder = path.parent().unwrap_or_else(|| Path::new("")).to_owned();
        let images = images(&folder, &settings, common)?;
        confine(path, &folder, (&settings, &images), common)?;
        set_up(common);
        let held = Held::new(
            memory::of_blocks(common.memory_mib),
            output(&folder, &settings, making).join(COPIES),
        );
        let at = |layer: &FarmLayer| folder.join(&layer.path);
        let features = each(&settings.fields, &at(&settings.fields), common)?;
        let named = named(&features, &settings.fields, &at(&settings.fields))?;
        let mut fields = fields_of(&features, &named, &settings, &at(&settings.fields))?;
        keep(
            &held,
            &settings.fields,
            &at(&settings.fields),
            &features,
            &fields,
        );
        if let Some(strips) = &settings.strips {
            let path = at(strips);
            let each = each(strips, &path, common)?;
            let found = fill::strips(strips, (&path, &each), &features, &named)?;
            for (field, numbers) in fields.iter_mut().zip(&found) {
                field.strips = fill::filter_of(strips, &each, numbers);
                if let Some(filter) = &field.strips {
                    fill::keep_strips(&held, (strips, &path, filter), &each, numbers);
                }
            }
        }
        known_exceptions(path, &settings, &fields)?;
        let read = Self {
            path: path.to_owned(),
            folder,
            settings,
            images,
            fields,
            crs: features.crs,
            held,
            common: Common {
                confined: None,
                ..common.clone()
            },
            making,
        };
        read.first_job_is_whole()?;
        Ok(read)
    }

    /// Its fields, in the order of the layer.
    pub fn fields(&self) -> &[FarmField] {
        &self.fields
    }
    /// The farm file.
    pub fn path(&self) -> &Path {
        &self.path
    }
    /// Its name: as the file says, else the file's own.
    pub fn name(&self) -> String {
        self.settings.name.clone().unwrap_or_else(|| {
            let stem = self.path.file_stem().unwrap_or_default();
            stem.to_string_lossy().into_owned()
        })
    }
    /// The output folder of all that this run makes: the farm's own, or that of its tables within it, so that no table without maps ever stands beside maps of
    /// other settings.
    pub fn output(&self) -> PathBuf {
        output(&self.folder, &self.settings, self.making)
    }
    /// Where copies of images lie that are slow to decode: of maps and of tables apart, since whichever ends first takes them away.
    pub(super) fn copies(&self) -> PathBuf {
        self.output().join(COPIES)
    }
    /// The output folder of one field.
    pub(super) fn output_of(&self, field: &FarmField) -> PathBuf {
        self.output().join(&field.folder)
    }

    /// The text of a field's job by an image of the farm; by the common one where the farm lists none.
    pub(super) fn job_by(&self, field: &FarmField, image: Option<&FarmImage>) -> String {
        let output = Path::new(&self.settings.output).join(&field.folder);
        self.settings.job(&FieldFacts {
            name: &field.name,
            filter: &field.filter,
            strips: field.strips.as_deref(),
            output: &output.to_string_lossy(),
            image: image.map(|image| &image.keys),
            values: &field.values,
        })
    }

    /// The job of a field by its newest image, as text: written as [`Farm::job_path`], `haulm map` makes the same map of it.
    pub fn job(&self, field: usize) -> String {
        self.fields
            .get(field)
            .map_or_else(String::new, |field| self.job_by(field, self.newest(field)))
    }

    /// The newest image that may show a field, else the newest of all.
    fn newest(&self, field: &FarmField) -> Option<&FarmImage> {
        let all = || self.images.iter();
        all()
            .find(|image| !self.misses(image, field))
            .or_else(|| all().next())
    }

    /// Where the job file of a field would stand.
    pub fn job_path(&self, field: usize) -> PathBuf {
        let name = self
            .fields
            .get(field)
            .map_or("field", |field| &field.folder);
        self.folder.join(format!("{name}.toml"))
    }

    /// Refuses a farm whose common part is at fault in every field's job: told once, before anything is run.
    fn first_job_is_whole(&self) -> Result<(), AppError> {
        use crate::app::job::map_job_in;
        use crate::job::fault::JobError;
        let mut refusal = None;
        for field in &self.fields {
            let text = self.job_by(field, self.newest(field));
            let path = self.folder.join(format!("{}.toml", field.folder));
            match map_job_in(text.as_bytes(), &path, self.common.us_units) {
                Ok(_) => return Ok(()),
                Err(error @ JobError::Refused { .. }) => {
                    refusal.get_or_insert((field.name.clone(), error));
                }
                Err(error) => return Err(error.into()),
            }
        }
        let Some((name, error)) = refusal else {
            return Ok(());
        };
        Err(AppError::from(error)
            .with_fact(
                below(&self.path, &self.folder),
                format!("no field has a whole job; these are the faults of {name:?}"),
            )
            .with_hint("give what is missing in [common], or name its column in [fields.columns]"))
    }
}

fn bytes_of(path: &Path) -> Result<Vec<u8>, AppError> {
    text_bytes(path, MAXIMUM).map_err(|error| {
        AppError::refused("farm.unreadable", "the farm file cannot be read")
            .with_fact(path.display().to_string(), error.to_string())
            .with_hint("check the path; docs/guide/many-fields.md shows a farm file")
    })
}

/// Every file that the farm's jobs may read.
fn confine(
    path: &Path,
    folder: &Path,
    (settings, images): (&FarmSettings, &[FarmImage]),
    common: &Common,
) -> Result<(), AppError> {
    let layers = std::iter::once(&settings.fields).chain(&settings.strips);
    let mut read = vec![path.to_owned()];
    read.extend(layers.map(|layer| folder.join(&layer.path)));
    read.extend(settings.files().iter().map(|file| folder.join(file)));
    read.extend(files(folder, images));
    for file in &read {
        refuse_network(file, common.network)?;
    }
    // A list of stations names the records of weather.
    let records: Vec<PathBuf> = settings
        .station_lists()
        .into_iter()
        .filter_map(|list| stations::read(&folder.join(list)).ok())
        .flatten()
        .map(|station| station.record)
        .collect();
    read.extend(records);
    let mut shapes = Vec::new();
    for file in &read {
        if file
            .extension()
            .is_some_and(|end| end.eq_ignore_ascii_case("shp"))
        {
            shapes.extend(["shx", "dbf", "prj", "cpg"].map(|end| file.with_extension(end)));
        }
    }
    read.extend(shapes);
    let output = folder.join(&settings.output);
    if common.confined.is_some() {
        // What stands below it is made field by field, when nothing above it may be made any more.
        fs_err::create_dir_all(&output).map_err(|error| {
            AppError::refused("output.unwritable", "the output folder cannot be made")
                .with_fact(output.display().to_string(), error.to_string())
        })?;
    }
    let mut written = vec![output];
    written.extend(common.confined.iter().flatten().cloned());
    Rights::of(&read, &written, folder).give_up_others(common)
}

fn each(layer: &FarmLayer, path: &Path, common: &Common) -> Result<Features, AppError> {
    refuse_network(path, common.network)?;
    let found = read_each(path, layer.layer.as_deref(), layer.filter.as_deref())?;
    if found.rows.is_empty() {
        return Err(VectorError::Empty {
            path: path.to_owned(),
            layer: layer.layer.clone().unwrap_or_default(),
            filter: layer.filter.clone(),
            requirement: "polygon",
        }
        .into());
    }
    Ok(found)
}

fn named(features: &Features, layer: &FarmLayer, path: &Path) -> Result<Vec<NamedField>, AppError> {
    let table = Columns {
        columns: features.columns.clone(),
        rows: features
            .rows
            .iter()
            .map(|row| (row.number, row.values.clone()))
            .collect(),
    };
    let mut named = named_fields(
        &table,
        path,
        layer.column.as_deref(),
        features.number_column,
    )?;
    if let Some(filter) = &layer.filter {
        for field in &mut named {
            field.filter = format!("({filter}) AND {}", field.filter);
        }
    }
    Ok(named)
}

fn fields_of(
    features: &Features,
    named: &[NamedField],
    settings: &FarmSettings,
    path: &Path,
) -> Result<Vec<FarmField>, AppError> {
    use geo::BoundingRect as _;
    let mut places = Vec::new();
    for filled in settings.filled() {
        places.push(fill::column(
            features,
            filled.column,
            path,
            &filled.key.full(),
        )?);
    }
    let folders = slugs(named);
    let field =
        |((row, named), folder): ((&crate::format::vector::EachFeature, &NamedField), String)| {
            let bounds = row
                .shape
                .as_ref()
                .and_then(|shape| shape.geometry.bounding_rect());
            FarmField {
                name: named.name.clone(),
                folder: if RESERVED.contains(&folder.as_str()) {
                    format!("{folder}-field")
                } else {
                    folder
                },
                filter: named.filter.clone(),
                strips: None,
                values: places
                    .iter()
                    .map(|at| row.values.get(*at).cloned().flatten())
                    .collect(),
                middle: bounds.map(|bounds| (bounds.center().x, bounds.center().y)),
            }
        };
    Ok(features
        .rows
        .iter()
        .zip(named)
        .zip(folders)
        .map(field)
        .collect())
}

/// Names that the farm's own folders have in the output folder.
pub(super) const RESERVED: [&str; 3] = [ROWS, COPIES, TABLES];
/// Tables without maps.
pub(super) const TABLES: &str = "tables";
/// Copies of images that are slow to decode, for the time of a run.
const COPIES: &str = "staged";

fn output(folder: &Path, settings: &FarmSettings, making: Making) -> PathBuf {
    let output = folder.join(&settings.output);
    match making {
        Making::Maps => output,
        Making::Tables => output.join(TABLES),
    }
}

/// Keeps each field's polygon under the filter that its job has.
fn keep(held: &Held, layer: &FarmLayer, path: &Path, features: &Features, fields: &[FarmField]) {
    for (row, field) in features.rows.iter().zip(fields) {
        let Some(shape) = &row.shape else { continue };
        let source = VectorSource {
            path: path.to_owned(),
            layer: layer.layer.clone(),
            filter: Some(field.filter.clone()),
            merge: false,
        };
        let kept = VectorLayer {
            crs: features.crs.clone(),
            shapes: vec![shape.clone()],
        };
        held.keep_layer(&source, kept);
    }
}

/// Refuses an exception of a field that is not there: a slip of a name would leave the field as all others.
fn known_exceptions(
    path: &Path,
    settings: &FarmSettings,
    fields: &[FarmField],
) -> Result<(), AppError> {
    let unknown = settings
        .exceptions
        .iter()
        .find(|exception| !fields.iter().any(|field| field.name == exception.field));
    let Some(exception) = unknown else {
        return Ok(());
    };
    let names = fields.iter().map(|field| field.name.as_str());
    let notice = AppError::refused(
        "farm.exception",
        format!("there is no field {:?} for an exception", exception.field),
    )
    .with_fact(
        path.display().to_string(),
        format!("{} fields", fields.len()),
    );
    Err(
        match crate::job::suggest::nearest(&exception.field, names) {
            Some(near) => notice.with_hint(format!("did you mean {near:?}?")),
            None => notice.with_hint("write the name as it stands in the layer of fields"),
        },
    )
}
