//! The walk: a list of calls, from pixels to the map. Nothing is worked out here.

use std::sync::Arc;

use crate::finding::{Checked, Finding};
use crate::job::settings::Settings;
use crate::map::prescription::Prescription;
use crate::pipeline::cell_facts::CellFacts;
use crate::pipeline::error::StepError;
use crate::pipeline::gain::{Gain, GainRules, gain_of};
use crate::pipeline::ground::Ground;
use crate::pipeline::judge::Judged;
use crate::pipeline::look::{LookRules, look};
use crate::pipeline::money::{Money, money_of, prices_of};
use crate::pipeline::prescription::{Title, prescription};
use crate::pipeline::rates::{Rated, model, rates, seen};
use crate::pipeline::reference::Reference;
use crate::pipeline::set_rates::{SetFound, SetRates, set_rates};
use crate::pipeline::share::Measured;
use crate::pipeline::survey::{Sources, Survey};
use crate::pipeline::totals::{Spread, Totals, totals_of};
use crate::pipeline::uncertainty::{Uncertainty, bounds_of, uncertainty_of};
use crate::pipeline::{
    beside, drive, judge, judge_share, judge_strips, reference, uncertainty, uncrossed, zone,
};
use crate::units::{NMass, NRate};
use crate::zones::build::Zoning;
use jiff::civil::Date;

/// What a decision stands on: everything that is known before any rate.
#[derive(Clone, Copy, Debug)]
pub struct Basis<'a> {
    /// Field and cells.
    pub ground: &'a Ground,
    /// What is known of the cells whatever the rates.
    pub facts: &'a CellFacts,
    /// Pixels and strips.
    pub survey: &'a Arc<Survey>,
    /// Days with GDD > 0 since planting.
    pub growing_days: f64,
    /// Index below which ground counts as bare, when it does.
    pub bare_below: Option<f64>,
}

/// Everything that was found and decided.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Pixels and strips.
    pub survey: Arc<Survey>,
    /// The reference.
    pub reference: Reference,
    /// The nitrogen share as it was measured, or why it is not known.
    pub share: Measured,
    /// What was set by hand, in the order of the job.
    pub set: Vec<SetFound>,
    /// Cells and their rates.
    pub rated: Rated,
    /// Totals.
    pub totals: Totals,
    /// The band of field, zones and cells, once it is drawn.
    pub uncertainty: Option<Uncertainty>,
    /// Money, if prices were given.
    pub money: Option<Money>,
    /// What exporters write.
    pub prescription: Prescription,
}

impl Outcome {
    /// The same with the gain that may be expected of the map.
    #[must_use]
    fn with_gain(mut self, gain: Option<Gain>) -> Self {
        if let Some(money) = &mut self.money {
            money.expected = gain;
        }
        self
    }
    /// The same with the band of field, zones and cells.
    #[must_use]
    fn with_band(mut self, band: Uncertainty) -> Self {
        for (zone, band) in self.prescription.zones.iter_mut().zip(&band.zones) {
            (zone.n_low, zone.n_high) = band.as_ref().map(bounds_of).unzip();
        }
        let both = self
            .rated
            .cells
            .iter_mut()
            .zip(&mut self.prescription.cells);
        for ((cell, shown), band) in both.zip(&band.cells) {
            (cell.n_low, cell.n_high) = band
                .map(|(low, high)| (NRate::kg_per_ha(low), NRate::kg_per_ha(high)))
                .unzip();
            (shown.n_low, shown.n_high) = (cell.n_low, cell.n_high);
        }
        self.uncertainty = Some(band);
        self
    }
}

/// Passes over the pixels and measures cells, strips and placebo strips.
///
/// # Errors
/// [`StepError`]: unreadable pixels, nothing seen, an index out of its range.
pub fn survey(
    settings: &Settings,
    ground: &Ground,
    sources: &Sources<'_>,
) -> Result<Checked<Survey>, StepError> {
    let rules = LookRules {
        imagery: settings.imagery.as_ref(),
        reference: &settings.reference,
        machine: &settings.machine,
        map_strips: settings.field.map_strips,
        stand_cv: settings.season.crop.stand_cv,
    };
    look(&rules, ground, sources)
}

/// What cells and zones get, before a border is drawn or a sum made.
#[derive(Clone, Debug)]
pub struct CellRates {
    /// The reference.
    pub reference: Reference,
    /// Cells and their rates, each with its zone.
    pub rated: Rated,
    /// Zones and their rates.
    pub zoning: Zoning,
    /// What was set by hand, in the order of the job.
    pub set: Vec<SetFound>,
}

/// From what is known before any rate to the rates of cells and zones: the first half of a decision.
///
/// # Errors
/// [`StepError`]: no reference, no canopy, an empty range of rates, zones that cannot be built.
pub fn cell_rates(settings: &Settings, basis: &Basis<'_>) -> Result<Checked<CellRates>, StepError> {
    let (ground, facts, survey) = (basis.ground, basis.facts, basis.survey);
    let (response, rule, output) = (&settings.response, &settings.rate, &settings.output);
    let mut log = Vec::new();
    let minimum_seen = settings
        .imagery
        .as_ref()
        .map_or(0.3, |image| image.minimum_seen);
    let cells = seen(&survey.scanned, minimum_seen);
    let canopy: Vec<(f64, f64)> = cells
        .iter()
        .zip(&ground.grid.cells)
        .filter_map(|(seen, cell)| seen.index.map(|index| (cell.area, index)))
        .collect();
    let reference =
        reference::judge(&settings.reference, survey, ground.area, &canopy)?.into_log(&mut log);
    let model = model(response, rule, &reference, &facts.share, basis.growing_days)?;
    let rated = rates(
        (ground, facts),
        (response, rule, &settings.reference.strips_use),
        &cells,
        &reference,
        model,
        basis.bare_below,
    )?
    .into_log(&mut log);
    let machine = &settings.machine;
    let rated = drive::headland(machine, (rule, output), (ground, facts), rated).into_log(&mut log);
    let rated = drive::maximum_step((rule, output), ground, rated).into_log(&mut log);
    let zoning = zone::zoning(&settings.zones, (rule, output), ground, &rated)?.into_log(&mut log);
    let SetRates {
        rated,
        zoning,
        found: set,
    } = set_rates((rule, output), (ground, facts), rated, zoning).into_log(&mut log);
    log.extend(drive::steps_left((rule, output), ground, &zoning));
    let rated = rated.in_zones(&zoning.zone_of);
    let found = CellRates {
        reference,
        rated,
        zoning,
        set,
    };
    Ok(Checked::new(found, log))
}

/// From the rates of cells and zones to the map: values only, no file, no clock. Nothing is drawn by chance yet: [`with_draws`] does.
///
/// # Errors
/// [`StepError::Lay`] when a shifted map cannot be laid.
pub fn mapped(
    settings: &Settings,
    basis: &Basis<'_>,
    rates: CellRates,
) -> Result<Checked<Outcome>, StepError> {
    let (ground, facts, survey) = (basis.ground, basis.facts, basis.survey);
    let (response, rule, output) = (&settings.response, &settings.rate, &settings.output);
    let machine = &settings.machine;
    let CellRates {
        reference,
        rated,
        zoning,
        set,
    } = rates;
    let mut log = Vec::new();
    let outlines = zone::drawn(&settings.zones, &ground.grid, &zoning).into_log(&mut log);
    let shapes =
        zone::machine_shapes(machine, (ground, facts), &zoning, &outlines)?.into_log(&mut log);
    let product = settings.product.as_ref();
    let zones = zone::records(product, &rated, &zoning, outlines, shapes);
    let spread = Spread {
        product,
        facts: &settings.product_facts,
        capacity: machine.capacity,
        unit: output.unit,
    };
    let (totals, money) = rayon::join(
        || {
            totals_of(
                &spread,
                response.maximum_ratio,
                (ground, survey),
                (&reference, &facts.share),
                &rated,
                &zones,
            )
        },
        || {
            let prices = settings.prices.as_ref()?;
            money_of(prices, (response, rule), &rated, &zones)
        },
    );
    let title = Title {
        filed: &settings.filed,
        field_name: &settings.field.name,
        crop: &settings.season.crop.name,
        image_date: settings
            .imagery
            .as_ref()
            .map_or_else(Date::default, |image| image.date),
        product,
        unit: output.unit,
    };
    let prescription = prescription(
        &title,
        machine,
        (ground, survey),
        (&rated, rule.step),
        (zones, NMass::kg(totals.n_kg)),
    );
    let outcome = Outcome {
        survey: Arc::clone(survey),
        reference,
        share: facts.share.clone(),
        set,
        rated,
        totals,
        uncertainty: None,
        money,
        prescription,
    };
    log.extend(wording_of(settings, basis, &outcome));
    Ok(Checked::new(outcome, log))
}

/// What the user must know of a map before trusting it.
fn wording_of(settings: &Settings, basis: &Basis<'_>, outcome: &Outcome) -> Vec<Finding> {
    let (ground, facts, survey) = (basis.ground, basis.facts, basis.survey);
    let (response, rule, output) = (&settings.response, &settings.rate, &settings.output);
    let (image, machine) = (settings.imagery.as_ref(), &settings.machine);
    let (reference, rated, totals) = (&outcome.reference, &outcome.rated, &outcome.totals);
    let prices = settings.prices.as_ref();
    let mut log = Vec::new();
    log.extend(prices.and_then(|_| judge::no_money(response)));
    log.extend(judge::season(
        response,
        &settings.season.crop,
        basis.growing_days,
        totals,
    ));
    log.extend(judge::below_one(reference));
    log.extend(judge_strips::answer(
        response.maximum_ratio,
        output,
        reference,
        &rated.limit,
        totals,
    ));
    let width = machine.working_width;
    log.extend(judge_strips::stands(width, output, &survey.strips));
    log.extend(judge_strips::disagree(output, reference, totals));
    log.extend(judge_strips::beyond(output, &rated.limit, totals));
    log.extend(judge::uncertainties(
        output,
        &survey.strips,
        reference,
        totals,
    ));
    log.extend(image.and_then(|image| judge::dates(image.date, &settings.application)));
    log.extend(judge::unseen(totals));
    log.extend(judge::usual(rule, output, totals));
    log.extend(judge::yields(
        response,
        &settings.season.crop,
        output,
        totals,
    ));
    log.extend(judge::direction(response, output, rated, totals));
    log.extend(judge::method(response));
    let asked = Judged {
        region: settings.field.region.as_deref(),
        sensor: image.and_then(|image| image.sensor.as_deref()),
        index: image.map(|image| image.index.as_str()),
    };
    log.extend(judge::made_for(response, &asked));
    log.extend(judge::season_limit(rule, output, totals));
    log.extend(judge::thin(rated, totals));
    if image.is_some_and(|image| image.point_spread.is_any()) {
        log.push(judge::point_spread());
    }
    log.extend(beside::finding_of(
        width,
        output.us_units,
        (ground, facts),
        rated,
    ));
    log.extend(uncrossed::finding_of(
        output.us_units,
        (ground, facts),
        survey,
        rated,
    ));
    log
}

/// Draws what is known by chance alone: the gain that may be expected over flat rates, and the uncertainty, when the job wants draws of it.
pub fn with_draws(settings: &Settings, basis: &Basis<'_>, outcome: Outcome) -> Checked<Outcome> {
    let share = &basis.facts.share;
    let prices = settings.prices.as_ref();
    let gain = prices
        .filter(|_| outcome.money.is_some())
        .and_then(|prices| {
            let rules = GainRules {
                prices: prices_of(prices),
                response: &settings.response,
                rule: &settings.rate,
                seed: settings.uncertainty.seed,
            };
            gain_of(
                &rules,
                (&outcome.reference, share),
                &outcome.rated,
                &outcome.prescription.zones,
            )
        });
    let outcome = outcome.with_gain(gain);
    let mut log = Vec::new();
    log.extend(judge_share::finding_of(
        (&settings.response, &settings.reference.source),
        (&settings.output, prices.map(|prices| prices.nitrogen)),
        share,
        &outcome.totals.n_kg_by_share,
        outcome.money.as_ref(),
    ));
    let kriging = basis
        .survey
        .points
        .as_ref()
        .and_then(|wording| wording.kriging);
    let band = uncertainty_of(
        &settings.uncertainty,
        (settings.response.curve_spread, &settings.rate),
        basis.ground,
        &outcome.reference,
        &outcome.rated,
        &outcome.prescription.zones,
        kriging.and_then(|kriging| kriging.alike),
    );
    let Some(band) = band else {
        return Checked::new(outcome, log);
    };
    log.extend(uncertainty::findings_of(
        &settings.response,
        &settings.output,
        &outcome.reference,
        &band,
    ));
    Checked::new(outcome.with_band(band), log)
}

/// The whole walk at once: pixels, decision, uncertainty.
///
/// # Errors
/// As [`survey`], [`cell_rates`] and [`mapped`]; [`StepError::Lay`] when headland or margin cannot be cut into cells.
pub fn run(
    settings: &Settings,
    ground: &Ground,
    growing_days: f64,
    sources: &Sources<'_>,
) -> Result<Checked<Outcome>, StepError> {
    let mut log = Vec::new();
    let survey = Arc::new(survey(settings, ground, sources)?.into_log(&mut log));
    let facts = CellFacts::of(ground, &survey, &settings.machine)?;
    let basis = Basis {
        ground,
        facts: &facts,
        survey: &survey,
        growing_days,
        bare_below: sources.bare_below,
    };
    let rates = cell_rates(settings, &basis)?.into_log(&mut log);
    let outcome = mapped(settings, &basis, rates)?.into_log(&mut log);
    let outcome = with_draws(settings, &basis, outcome).into_log(&mut log);
    Ok(Checked::new(outcome, log))
}
