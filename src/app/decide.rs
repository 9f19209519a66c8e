//! A decision: rates, zones, totals, money and findings of a prepared job by some settings. Values only: no file, no clock.

use crate::app::accepted::accept;
use crate::app::below::without_folder;
use crate::app::change::Change;
use crate::app::error::AppError;
use crate::app::formats::{Failed, refused_format};
use crate::app::job::JobText;
use crate::app::prepare::{Prepared, check_curve};
use crate::app::reread::keys_to_reread;
use crate::finding::{Checked, Finding, by_weight, codes};
use crate::format::iso11783;
use crate::format::iso11783::{Iso11783Error, RateGrid};
use crate::job::settings::{Format, Output, Settings};
use crate::map::check_points::{CheckPoint, check_points};
use crate::map::file_totals::{FileTotal, MachineFile, of_polygons};
use crate::map::machine::{MachineRates, machine_rates};
use crate::map::prescription::Prescription;
use crate::map::task_options::TaskKind;
use crate::pipeline::money::money_findings;
use crate::pipeline::product::product_findings;
use crate::pipeline::run::{CellRates, Outcome, cell_rates, mapped, with_draws};

/// Check points on a map.
const CHECK_POINTS: usize = 3;

/// What some settings make of a prepared job.
#[derive(Clone, Debug)]
pub struct Decision {
    pub(crate) prepared: Prepared,
    pub(crate) settings: Settings,
    pub(crate) outcome: Outcome,
    pub(crate) machine: ForMachine,
    /// What the steps noticed.
    of_steps: Vec<Finding>,
    /// What was noticed in the job's text, when it is not the text that was read.
    of_job: Option<Vec<Finding>>,
    /// What does not stand in the job file.
    pub(crate) changes: Vec<Change>,
    /// Whether gain and uncertainty are drawn.
    drawn: bool,
    /// What the draws noticed.
    of_draws: Vec<Finding>,
    /// All findings, by weight, those of one weight in the order of the walk; stops that the job accepts are marked.
    findings: Vec<Finding>,
}

/// What the machine gets, less the files.
#[derive(Clone, Debug)]
pub(crate) struct ForMachine {
    /// Rates as it gets them.
    pub(crate) rates: MachineRates,
    /// The task's grid, when task data are asked for.
    pub(crate) grid: Option<RateGrid>,
    /// Formats that cannot be written, known by now.
    pub(crate) failed: Vec<Failed>,
    /// What each file puts on the field.
    pub(crate) file_totals: Vec<FileTotal>,
    /// Where driver and terminal can compare.
    pub(crate) points: Vec<CheckPoint>,
    findings: Vec<Finding>,
}

/// The first half of a decision: what each cell and zone gets. Borders, sums, money and the machine's shapes take several times as long and follow.
#[derive(Clone, Debug)]
pub struct Rates {
    prepared: Prepared,
    settings: Settings,
    cells: CellRates,
    /// What the steps noticed so far.
    of_steps: Vec<Finding>,
    of_job: Option<Vec<Finding>>,
    changes: Vec<Change>,
}

impl Rates {
    /// The settings that they follow.
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }
    /// Cells and zones with their rates.
    pub const fn cells(&self) -> &CellRates {
        &self.cells
    }

    /// The decision that they belong to, without draws.
    ///
    /// # Errors
    /// When a map for a machine that looks ahead cannot be laid, or what it gets cannot be said in a format.
    ///
    /// # Examples
    /// ```
    /// use haulm::{Common, Silent, prepare};
    ///
    /// let prepared = prepare("demo/job.toml".as_ref(), &Common::default(), &Silent)?;
    /// let rates = prepared.rates(prepared.settings())?;
    /// let first = rates.cells().rated.cells[0].n;
    /// let decision = rates.decision()?;
    /// assert_eq!(decision.outcome().prescription.cells[0].n, first);
    /// # Ok::<(), haulm::AppError>(())
    /// ```
    pub fn decision(self) -> Result<Decision, AppError> {
        let Self {
            prepared,
            settings,
            cells,
            mut of_steps,
            of_job,
            changes,
        } = self;
        let inner = prepared.inner();
        let outcome = mapped(&settings, &inner.basis(), cells)
            .map_err(|error| inner.refused(&settings, error))?
            .into_log(&mut of_steps);
        let decision = Decision {
            machine: for_machine(&settings.output, &outcome.prescription)?,
            prepared,
            settings,
            outcome,
            of_job,
            changes,
            drawn: false,
            of_steps,
            of_draws: Vec::new(),
            findings: Vec::new(),
        };
        Ok(decision.with_findings())
    }
}

impl Prepared {
    /// Decides by some settings: the reference judged, rates, zones, totals, money, what the machine gets, findings; with the job's draws of uncertainty.
    ///
    /// # Errors
    /// `decide.prepare` when the settings differ in a key that needs [`prepare`](crate::prepare) again (see [`keys_to_reread`]); else when there is no reference,
    /// no canopy, or no rate within the limits.
    ///
    /// # Examples
    /// A lower limit spends no more nitrogen:
    /// ```
    /// use haulm::units::NRate;
    /// use haulm::{Common, Silent, prepare};
    ///
    /// let prepared = prepare("demo/job.toml".as_ref(), &Common::default(), &Silent)?;
    /// let mut settings = prepared.settings().clone();
    /// let as_written = prepared.decide(&settings)?;
    /// settings.rate.maximum = NRate::kg_per_ha(40.0);
    /// let held = prepared.decide(&settings)?;
    /// assert!(held.outcome().totals.n_kg < as_written.outcome().totals.n_kg);
    /// # Ok::<(), haulm::AppError>(())
    /// ```
    pub fn decide(&self, settings: &Settings) -> Result<Decision, AppError> {
        Ok(self.decide_without_draws(settings)?.with_uncertainty())
    }

    /// The same without draws, for an answer at once; [`Decision::with_uncertainty`] adds them.
    ///
    /// Until then neither the range of rates nor the gain that may be expected over flat rates is known, and nothing is said of them.
    ///
    /// # Errors
    /// As [`Prepared::decide`].
    pub fn decide_without_draws(&self, settings: &Settings) -> Result<Decision, AppError> {
        self.rates(settings)?.decision()
    }

    /// The rates of cells and zones alone, for a map at once; [`Rates::decision`] goes on from there.
    ///
    /// # Errors
    /// As [`Prepared::decide`].
    pub fn rates(&self, settings: &Settings) -> Result<Rates, AppError> {
        self.rated(settings, None, &[])
    }

    /// The same by a job in memory, whose own findings take the place of those of the text that was read; what does not stand in the job's file is told.
    ///
    /// # Errors
    /// As [`Prepared::decide`], and when the job's reader refuses its text.
    pub fn decide_job_without_draws(&self, job: &JobText) -> Result<Decision, AppError> {
        let Checked { value, findings } = job.settings()?;
        self.rated(&value, Some(findings), job.changes())?
            .decision()
    }

    fn rated(
        &self,
        settings: &Settings,
        of_job: Option<Vec<Finding>>,
        changes: &[Change],
    ) -> Result<Rates, AppError> {
        let inner = self.inner();
        let ready_band = inner.image.index.ready_band().is_some();
        let changed = keys_to_reread(&inner.settings, settings, ready_band);
        if !changed.is_empty() {
            return Err(AppError::refused(
                "decide.prepare",
                format!(
                    "what was read does not serve these settings: {} changed",
                    changed.join(", ")
                ),
            )
            .with_hint("prepare the job again"));
        }
        check_curve(&settings.response, &inner.image.index)?;
        let Checked { value, findings } =
            cell_rates(settings, &inner.basis()).map_err(|error| inner.refused(settings, error))?;
        Ok(Rates {
            prepared: self.clone(),
            settings: settings.clone(),
            cells: value,
            of_steps: findings,
            of_job,
            changes: changes.to_vec(),
        })
    }
}

impl Decision {
    /// The settings that it was made by.
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }
    /// What was found and decided.
    pub const fn outcome(&self) -> &Outcome {
        &self.outcome
    }
    /// What was noticed, in the order of the walk.
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }
    /// Rates as the machine gets them.
    pub const fn machine_rates(&self) -> &MachineRates {
        &self.machine.rates
    }
    /// Where driver and terminal can compare.
    pub fn check_points(&self) -> &[CheckPoint] {
        &self.machine.points
    }
    /// What each file for machines puts on the field.
    pub fn file_totals(&self) -> &[FileTotal] {
        &self.machine.file_totals
    }
    /// Whether a finding keeps the machine's files from being written.
    pub fn stopped(&self) -> bool {
        self.findings.iter().any(Finding::stops)
    }

    /// The same with its draws: the gain that may be expected over flat rates, and the uncertainty as far as the settings ask for it.
    ///
    /// # Examples
    /// ```
    /// use haulm::{Common, Silent, prepare};
    ///
    /// let prepared = prepare("demo/job.toml".as_ref(), &Common::default(), &Silent)?;
    /// let at_once = prepared.decide_without_draws(prepared.settings())?;
    /// assert!(at_once.outcome().uncertainty.is_none());
    /// let drawn = at_once.with_uncertainty();
    /// assert!(drawn.outcome().uncertainty.is_some());
    /// # Ok::<(), haulm::AppError>(())
    /// ```
    #[must_use]
    pub fn with_uncertainty(self) -> Self {
        if self.drawn {
            return self;
        }
        let Checked { value, findings } =
            with_draws(&self.settings, &self.prepared.inner().basis(), self.outcome);
        Self {
            outcome: value,
            drawn: true,
            of_draws: findings,
            ..self
        }
        .with_findings()
    }

    /// The same with other formats asked for.
    pub(crate) fn with_formats(mut self, formats: &[Format]) -> Result<Self, AppError> {
        if self.settings.output.formats == formats {
            return Ok(self);
        }
        self.settings.output.formats = formats.to_vec();
        self.machine = for_machine(&self.settings.output, &self.outcome.prescription)?;
        Ok(self.with_findings())
    }

    /// Joins the findings of reading, steps, draws and machine in the order of the walk.
    fn with_findings(mut self) -> Self {
        let inner = self.prepared.inner();
        let settings = &self.settings;
        let (of_job, of_reading) = inner.findings.split_at(inner.of_job);
        let mut all = self.of_job.clone().unwrap_or_else(|| of_job.to_vec());
        all.extend(changed(&self.changes));
        all.extend_from_slice(of_reading);
        all.extend_from_slice(&self.of_steps);
        all.extend_from_slice(&self.of_draws);
        if let Some(product) = &settings.product {
            all.extend(product_findings(product, &settings.product_facts));
        }
        if let (Some(prices), Some(money)) = (&settings.prices, &self.outcome.money) {
            all.extend(money_findings(prices.nitrogen, &settings.output, money));
        }
        all.extend_from_slice(&inner.of_bands);
        all.extend_from_slice(&self.machine.findings);
        let mut all = accept(&settings.accept, all);
        for finding in &mut all {
            finding.message = without_folder(&finding.message, &inner.folder);
        }
        by_weight(&mut all);
        self.findings = all;
        self
    }
}

/// What no job file says, so that nobody looks for it there.
fn changed(changes: &[Change]) -> Option<Finding> {
    let each: Vec<String> = changes
        .iter()
        .map(|change| {
            let value = change.value.as_deref().unwrap_or("taken out");
            format!("{} = {value}", change.key())
        })
        .collect();
    (!each.is_empty()).then(|| {
        Finding::note(
            codes::SETTINGS_CHANGED,
            format!(
                "settings that do not stand in the job file: {}; write them into it to make this map again from the file",
                each.join(", ")
            ),
        )
    })
}

/// What the machine gets of a map.
fn for_machine(output: &Output, prescription: &Prescription) -> Result<ForMachine, AppError> {
    let mut findings = Vec::new();
    let rates = machine_rates(prescription)
        .map_err(|error| refused_format(&error))?
        .into_log(&mut findings);
    let mut failed = Vec::new();
    // Findings of the machine's grid are part of the record, so the grid is made before the record's hash; the map id does not enter it.
    let grid = match grid_of(output, prescription, &rates) {
        Ok(grid) => grid.into_log(&mut findings),
        Err(error) => {
            failed.push(Failed::new(Format::Iso11783, &error));
            None
        }
    };
    let even = |longitude: f64, latitude: f64, rate: f64| {
        grid.as_ref()
            .is_none_or(|grid| grid.is_even(longitude, latitude, rate))
    };
    let points = check_points(prescription, &rates, CHECK_POINTS, &even)
        .map_err(|error| refused_format(&error))?;
    Ok(ForMachine {
        file_totals: totals_by_file(output, prescription, &rates, grid.as_ref()),
        rates,
        grid,
        failed,
        points,
        findings,
    })
}

/// The task's grid, unless the job wants no task data or polygons in them.
fn grid_of(
    output: &Output,
    prescription: &Prescription,
    rates: &MachineRates,
) -> Result<Checked<Option<RateGrid>>, Iso11783Error> {
    if !output.formats.contains(&Format::Iso11783) {
        return Ok(Checked::clean(None));
    }
    let kind = output.task_data.kind;
    if kind == TaskKind::Polygons {
        let finding = Finding::caution(
            codes::MACHINE_TASK_POLYGONS,
            "the task data hold polygons, which controllers need not take: try them on yours before the day; kind = \"grid\" in output.task_data is what each must take",
        );
        return Ok(Checked::new(None, vec![finding]));
    }
    let Checked { value, findings } = iso11783::rate_grid(prescription, rates, kind)?;
    Ok(Checked::new(Some(value), findings))
}

/// What each file for machines puts on the field.
fn totals_by_file(
    output: &Output,
    prescription: &Prescription,
    rates: &MachineRates,
    grid: Option<&RateGrid>,
) -> Vec<FileTotal> {
    let polygons = output.task_data.kind == TaskKind::Polygons;
    let of = |format: &Format| match (format, grid) {
        (Format::Iso11783, Some(grid)) => Some(FileTotal {
            file: MachineFile::TaskGrid,
            in_field: grid.total,
            with_run_out: grid.total_with_run_out,
        }),
        (Format::Iso11783, None) if polygons => {
            Some(of_polygons(MachineFile::TaskPolygons, prescription, rates))
        }
        (Format::Shapefile, _) => Some(of_polygons(MachineFile::Shapefile, prescription, rates)),
        _ => None,
    };
    output.formats.iter().filter_map(of).collect()
}
