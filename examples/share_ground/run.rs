//! A made field through the whole program, in memory, and the truth of what it says, by arithmetic of its own.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;

use geo::{LineString, MultiPolygon, Polygon};
use haulm::app::job::map_job;
use haulm::finding::Finding;
use haulm::job::settings::{NitrogenShare, ReferenceLevel, Settings};
use haulm::map::prescription::CellState;
use haulm::pipeline::gain::rates_by;
use haulm::pipeline::ground::{Ground, GroundInputs, Layer, lay_out};
use haulm::pipeline::money::money_findings;
use haulm::pipeline::run::{Outcome, run};
use haulm::pipeline::scan::RowIndex;
use haulm::pipeline::survey::Sources;
use haulm::science::blend::Blend;
use haulm::space::crs::Crs;
use haulm::space::raster::{Affine, Lattice, RasterError, RasterReader, RasterSource, Window};
use haulm::units::NRate;

use super::field::{Made, Plan};

/// South-west corner of the field's own frame in UTM zone 33 north. \[m\] Nothing of the kind lies there.
const CORNER: (f64, f64) = (560_000.0, 5_560_000.0);
/// Growing days, curve, what grain and nitrogen are worth: those of the job below.
const DAYS: f64 = 95.0;
const CURVE: (f64, f64) = (590.0, 258.2);
const MAXIMUM_YIELD: f64 = 9_000.0;
const KG_GRAIN_PER_KG_N: f64 = 0.5 / 0.0239;
const GRAIN: f64 = 0.20;
const NITROGEN: f64 = 1.20;
const PASS: f64 = 8.0;

const JOB: &str = r#"[field]
name = "Made"
boundary = "boundary.geojson"
[imagery]
path = "image.tif"
date = 2026-04-14
index = "NDVI"
[reference]
strips = "strips.geojson"
[season]
crop = "winter wheat"
planted = 2025-10-06
growing_days = 95
[response]
method = "yield response"
maximum_yield = "9 t/ha"
yield_curve = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "common practice" }
[rate]
maximum = "120 kg N/ha"
step = "5 kg N/ha"
[machine]
working_width = "24 m"
sections = 2
cell_length = "12 m"
heading = "HEADING grid"
[prices]
currency = "EUR"
grain = "200 EUR/t"
nitrogen = "1.20 EUR/kg N"
application = "8 EUR/ha"
[application]
date = 2026-04-16
[uncertainty]
draws = 0
[output]
folder = "out"
"#;

/// The image: one band of ready values.
struct Picture {
    lattice: Lattice,
    values: Vec<f64>,
}

impl RasterSource for Picture {
    fn lattice(&self) -> &Lattice {
        &self.lattice
    }
    fn slots(&self) -> usize {
        1
    }
    fn reader(&self) -> Result<Box<dyn RasterReader + '_>, RasterError> {
        Ok(Box::new(Reader(self)))
    }
}

struct Reader<'a>(&'a Picture);

impl RasterReader for Reader<'_> {
    fn read(&mut self, window: Window, bands: &mut [Vec<f64>]) -> Result<(), RasterError> {
        for band in bands {
            band.clear();
            for row in window.row..window.row + window.rows {
                let start = (row * self.0.lattice.cols + window.col) as usize;
                band.extend_from_slice(&self.0.values[start..start + window.cols as usize]);
            }
        }
        Ok(())
    }
}

/// The band is the index.
struct Ready;

impl RowIndex for Ready {
    fn evaluate(&self, bands: &[&[f64]], out: &mut [f64]) -> (u64, u64, u64) {
        out.copy_from_slice(&bands[0][..out.len()]);
        (
            out.iter().filter(|value| value.is_nan()).count() as u64,
            0,
            0,
        )
    }
}

/// A number by each way: each cell with the strip, the whole field's response index, the share as measured.
pub(crate) type Ways = [f64; 3];

/// What the program said of a field, and the truth. Money in EUR/ha.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Found {
    /// The share that the ground has: 1 less the relative variance of cells with nitrogen over that of cells as they are.
    pub(crate) true_share: f64,
    /// As measured, with its 80 % interval; `None` where it is not known.
    pub(crate) share: Option<(f64, f64, f64)>,
    /// As the map's rates used it.
    pub(crate) used_share: f64,
    /// Expected gain over the flat rate that was named best.
    pub(crate) expected: Option<Ways>,
    /// True gain over the same.
    pub(crate) truth: Option<Ways>,
    /// True gain over the flat rate that is truly best.
    pub(crate) over_best: Ways,
    /// The map as decided over a flat rate at its mean: plain difference, expected, true.
    pub(crate) decided: (f64, Option<f64>, f64),
    /// Whether the ground was said to hold a difference that no strip crosses.
    pub(crate) uncrossed: bool,
    /// Whether a flat rate was said to be better.
    pub(crate) flat_better: bool,
    /// Nitrogen of the map over what cells can truly use.
    pub(crate) total: f64,
}

fn layer(rings: Vec<Vec<(f64, f64)>>, crs: &Crs, file: &str) -> Layer<MultiPolygon<f64>> {
    let shapes = rings
        .into_iter()
        .map(|ring| MultiPolygon::new(vec![Polygon::new(LineString::from(ring), vec![])]))
        .collect();
    Layer {
        crs: crs.clone(),
        shapes,
        file: file.to_owned(),
    }
}

/// What a job asks for besides.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Asked {
    /// Level of the reference.
    pub(crate) level: ReferenceLevel,
    /// Nitrogen share of the rates.
    pub(crate) share: NitrogenShare,
}

impl Default for Asked {
    fn default() -> Self {
        Self {
            level: ReferenceLevel::Strip,
            share: NitrogenShare::Stated(1.0),
        }
    }
}

/// Makes a field and maps it.
pub(crate) fn found(plan: Plan, seed: u64, asked: Asked) -> Result<Found, Box<dyn Error>> {
    let mut made = Made::new(plan, seed);
    let job = JOB.replace("HEADING", &format!("{:.4}", made.heading));
    let mut settings = map_job(job.as_bytes(), Path::new("job.toml"))
        .map_err(|error| format!("{error:?}"))?
        .value;
    settings.reference.level = asked.level;
    settings.response.nitrogen_share = asked.share;
    let turn = made.heading.to_radians();
    let (sin, cos) = (libm::sin(turn), libm::cos(turn));
    let to_plane = |(along, across): (f64, f64)| {
        (
            CORNER.0 + along * sin - across * cos,
            CORNER.1 + along * cos + across * sin,
        )
    };
    let to_field = |x: f64, y: f64| {
        let (x, y) = (x - CORNER.0, y - CORNER.1);
        (x * sin + y * cos, y * sin - x * cos)
    };
    let crs = Crs::epsg(32633, "WGS 84 / UTM zone 33N");
    let (length, width) = plan.size;
    let rectangle = |[a, b, c, d]: [f64; 4]| -> Vec<(f64, f64)> {
        [(a, c), (b, c), (b, d), (a, d), (a, c)]
            .map(to_plane)
            .to_vec()
    };
    let boundary = rectangle([0.0, length, 0.0, width]);
    let picture = picture(&mut made, &boundary, &crs, &to_field);
    let inputs = GroundInputs {
        boundary: layer(vec![boundary], &crs, "boundary"),
        exclusions: Vec::new(),
        set: Vec::new(),
        strips: Some(layer(
            made.strips.iter().map(|strip| rectangle(*strip)).collect(),
            &crs,
            "strips",
        )),
        reference_zones: None,
        edges: Vec::new(),
        guidance: None,
        areas: Vec::new(),
        plane: None,
    };
    let mut findings: Vec<Finding> = Vec::new();
    let sections = (&settings.field, &settings.machine);
    let ground = lay_out(&inputs, sections, &picture.lattice)?.into_log(&mut findings);
    let sources = Sources {
        image: &picture,
        points: None,
        index: &Ready,
        index_name: "NDVI",
        bare_below: Some(0.25),
        look_at_bands: false,
        threads: 1,
        memory: 1 << 28,
        progress: &|_, _| true,
    };
    let outcome = run(&settings, &ground, DAYS, &sources)?.into_log(&mut findings);
    if let (Some(prices), Some(money)) = (&settings.prices, &outcome.money) {
        findings.extend(money_findings(prices.nitrogen, &settings.output, money));
    }
    Ok(judged(
        &settings, &made, &ground, &outcome, &findings, &to_field,
    ))
}

/// What the camera takes of the field and a little around it.
fn picture(
    made: &mut Made,
    boundary: &[(f64, f64)],
    crs: &Crs,
    to_field: &dyn Fn(f64, f64) -> (f64, f64),
) -> Picture {
    let pixel = made.plan.pixel;
    let fold = |pick: fn(&(f64, f64)) -> f64, from: f64, by: fn(f64, f64) -> f64| {
        boundary.iter().map(pick).fold(from, by)
    };
    let west = fold(|p| p.0, f64::INFINITY, f64::min) - pixel * 1.37;
    let north = fold(|p| p.1, f64::NEG_INFINITY, f64::max) + pixel * 1.61;
    let cols = ((fold(|p| p.0, f64::NEG_INFINITY, f64::max) - west) / pixel) as i64 + 2;
    let rows = ((north - fold(|p| p.1, f64::INFINITY, f64::min)) / pixel) as i64 + 2;
    let (length, width) = made.plan.size;
    let mut values = Vec::with_capacity((cols * rows) as usize);
    for row in 0..rows {
        for col in 0..cols {
            let (x, y) = (west + col as f64 * pixel, north - row as f64 * pixel);
            let (along, across) = to_field(x + pixel / 2.0, y - pixel / 2.0);
            let margin = 2.0 * pixel;
            let near = along > -margin
                && along < length + margin
                && across > -margin
                && across < width + margin;
            values.push(if near {
                made.pixel(x, y, to_field)
            } else {
                f64::NAN
            });
        }
    }
    Picture {
        lattice: Lattice {
            cols,
            rows,
            affine: Affine([west, pixel, 0.0, north, 0.0, -pixel]),
            crs: crs.clone(),
            block: (cols, 64),
        },
        values,
    }
}

/// A cell that counts: its place among all, area \[ha\], nitrogen that it can truly use \[kg/ha\].
type Cell = (usize, f64, f64);

/// True canopy of each cell, with nitrogen and as it is: the mean of places 3 m apart.
fn true_cells(
    made: &Made,
    ground: &Ground,
    to_field: &dyn Fn(f64, f64) -> (f64, f64),
) -> Vec<Option<(f64, f64)>> {
    let frame = &ground.grid.frame;
    let by_place: BTreeMap<(i32, i32), usize> = ground
        .grid
        .cells
        .iter()
        .enumerate()
        .map(|(k, cell)| ((cell.row, cell.col), k))
        .collect();
    let mut sums = vec![(0.0, 0.0, 0.0); ground.grid.cells.len()];
    let (length, width) = made.plan.size;
    for a in 0..(length / 3.0) as usize {
        for b in 0..(width / 3.0) as usize {
            let (along, across) = (3.0 * a as f64 + 1.5, 3.0 * b as f64 + 1.5);
            let turn = made.heading.to_radians();
            let (x, y) = (
                CORNER.0 + along * libm::sin(turn) - across * libm::cos(turn),
                CORNER.1 + along * libm::cos(turn) + across * libm::sin(turn),
            );
            debug_assert!((to_field(x, y).0 - along).abs() < 1e-6);
            let (u, v) = frame.to_uv(x, y);
            let row = libm::floor((u - frame.u0) / frame.length) as i32;
            let col = libm::floor((v - frame.v0) / frame.width) as i32;
            if let Some(k) = by_place.get(&(row, col)) {
                let (with, is) = made.truth(along, across);
                sums[*k].0 += with;
                sums[*k].1 += is;
                sums[*k].2 += 1.0;
            }
        }
    }
    sums.into_iter()
        .map(|(with, is, count)| (count > 0.0).then(|| (with / count, is / count)))
        .collect()
}

/// What rates truly earn above grain without nitrogen. \[EUR/ha\]
fn earns(cells: &[Cell], rates: impl Iterator<Item = f64>) -> f64 {
    let (mut money, mut area, mut any) = (0.0, 0.0, false);
    for ((_, hectares, usable), rate) in cells.iter().zip(rates) {
        money += hectares * (rate.min(*usable) * KG_GRAIN_PER_KG_N * GRAIN - rate * NITROGEN);
        area += hectares;
        any |= rate > 0.0;
    }
    money / area - if any { PASS } else { 0.0 }
}

fn judged(
    settings: &Settings,
    made: &Made,
    ground: &Ground,
    outcome: &Outcome,
    findings: &[Finding],
    to_field: &dyn Fn(f64, f64) -> (f64, f64),
) -> Found {
    let truth = true_cells(made, ground, to_field);
    let rated = &outcome.rated;
    let mut cells: Vec<Cell> = Vec::new();
    let (mut with_sums, mut is_sums) = ([0.0; 3], [0.0; 3]);
    for (k, cell) in rated.cells.iter().enumerate() {
        let Some((with, is)) = truth[k].filter(|_| {
            cell.index.is_some() && (cell.state != CellState::Canopy || rated.outside_strips[k])
        }) else {
            continue;
        };
        let without = (CURVE.0 * libm::exp(CURVE.1 * is / DAYS)).min(MAXIMUM_YIELD);
        let reach = (without * (with / is).max(1.0)).min(MAXIMUM_YIELD);
        cells.push((k, cell.area.as_ha(), (reach - without) / KG_GRAIN_PER_KG_N));
        for (sums, value) in [(&mut with_sums, with), (&mut is_sums, is)] {
            sums[0] += 1.0;
            sums[1] += value;
            sums[2] += value * value;
        }
    }
    let relative = |[n, sum, squares]: [f64; 3]| squares / n / (sum / n * sum / n) - 1.0;
    let true_share = (1.0 - relative(with_sums) / relative(is_sums)).clamp(0.0, 1.0);
    let share = outcome.share.as_ref().ok();
    let ratio = outcome.reference.ratio.unwrap_or(1.0);
    let by = |share: f64| -> Vec<f64> {
        let blend = (share < 1.0).then_some(Blend {
            share,
            field_ratio: ratio,
        });
        rates_by(
            &settings.rate,
            rated,
            blend,
            cells.iter().map(|cell| cell.0),
        )
        .into_iter()
        .map(NRate::get)
        .collect()
    };
    let earned: Ways = [1.0, 0.0, share.map_or(1.0, |found| found.share)]
        .map(|share| earns(&cells, by(share).into_iter()));
    let flat = |rate: f64| earns(&cells, cells.iter().map(|_| rate));
    let best = (0..=24)
        .map(|k| flat(5.0 * f64::from(k)))
        .fold(f64::NEG_INFINITY, f64::max);
    let hectares: f64 = cells.iter().map(|cell| cell.1).sum();
    let zone_rate = |k: usize| {
        outcome.prescription.zones[rated.cells[k].zone as usize - 1]
            .n
            .get()
    };
    let total: f64 = cells.iter().map(|(k, area, _)| zone_rate(*k) * area).sum();
    let usable: f64 = cells.iter().map(|(_, area, usable)| usable * area).sum();
    let decided = earns(&cells, cells.iter().map(|cell| zone_rate(cell.0)));
    let money = outcome.money.as_ref();
    let expected = money.and_then(|money| money.expected.as_ref());
    Found {
        true_share,
        share: share.map(|found| (found.share, found.low, found.high)),
        used_share: rated.model.blend.map_or(1.0, |blend| blend.share),
        expected: expected.map(|gain| {
            let ways = &gain.by_share;
            [Some(ways.each_cell), ways.whole_field, ways.measured]
                .map(|money| money.unwrap_or(f64::NAN) / gain.area.as_ha())
        }),
        truth: expected.map(|gain| {
            let flat = flat(gain.best_flat.0.get());
            earned.map(|way| way - flat)
        }),
        over_best: earned.map(|way| way - best),
        decided: (
            money.map_or(f64::NAN, |money| {
                money.against_flat.gain / money.field.area.as_ha()
            }),
            expected.map(|gain| gain.over_per_ha(&gain.mean_flat.1)),
            decided - flat(total / hectares),
        ),
        uncrossed: findings
            .iter()
            .any(|finding| finding.code == "reference.uncrossed"),
        flat_better: findings
            .iter()
            .any(|finding| finding.code == "rate.flat_better"),
        total: total / usable,
    }
}
