//! A made ground through the whole program, in memory: what it answers, and how far that is from the truth.

use std::error::Error;
use std::path::Path;

use geo::{LineString, MultiPolygon, Polygon};
use haulm::app::job::map_job;
use haulm::job::settings::Settings;
use haulm::pipeline::ground::{Ground as Prepared, GroundInputs, Layer, lay_out};
use haulm::pipeline::run::run;
use haulm::pipeline::scan::RowIndex;
use haulm::pipeline::survey::Sources;
use haulm::science::reference::Answer;
use haulm::space::crs::Crs;
use haulm::space::raster::{Affine, Lattice, RasterError, RasterReader, RasterSource, Window};

use super::{Ground, Plan};

/// South-west corner of the field's own frame in UTM zone 33 north. \[m\] Nothing of the kind lies there.
const CORNER: (f64, f64) = (500_000.0, 5_500_000.0);
/// The job's curve, growing days, nitrogen of the grain; and what the job does not know: the spread of curve and use efficiency.
const CURVE: (f64, f64) = (590.0, 258.2);
const DAYS: f64 = 95.0;
const GRAIN_NITROGEN: f64 = 0.0239;
const CURVE_SPREAD: f64 = 0.2;
const EFFICIENCY: (f64, f64) = (0.4, 0.6);

const JOB: &str = r#"
[field]
name = "Made"
boundary = "boundary.geojson"
[imagery]
path = "image.tif"
date = 2026-04-10
index = "NDVI"
[reference]
strips = "strips.geojson"
[season]
crop = "winter wheat"
planted = 2025-10-01
growing_days = 95
[response]
method = "yield response"
maximum_yield = "12 t/ha"
yield_curve = { a = "590 kg/ha", b = 258.2, index = "NDVI", source = "common practice" }
[rate]
maximum = "200 kg N/ha"
step = "5 kg N/ha"
[machine]
working_width = "24 m"
heading = "HEADING grid"
[uncertainty]
draws = 300
[application]
date = 2026-04-12
[output]
folder = "out"
"#;

/// What the program says of a ground, and what is true.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wording {
    pub(crate) true_ratio: f64,
    pub(crate) ratio: f64,
    /// The interval that is printed.
    pub(crate) interval: Option<(f64, f64)>,
    pub(crate) paired: Option<(f64, f64)>,
    /// Placebo places; 0 where there are too few.
    pub(crate) places: usize,
    pub(crate) answer: Option<Answer>,
    /// Nitrogen of the map, and what the crop can truly use. \[kg/ha\]
    pub(crate) rate: f64,
    pub(crate) true_rate: f64,
    /// 80 % range. \[kg/ha\]
    pub(crate) range: (f64, f64),
}

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
        Ok(Box::new(Window1(self)))
    }
}

struct Window1<'a>(&'a Picture);

impl RasterReader for Window1<'_> {
    fn read(&mut self, window: Window, bands: &mut [Vec<f64>]) -> Result<(), RasterError> {
        let cols = self.0.lattice.cols;
        bands[0].clear();
        for row in window.row..window.row + window.rows {
            let at = (row * cols + window.col) as usize;
            bands[0].extend_from_slice(&self.0.values[at..at + window.cols as usize]);
        }
        Ok(())
    }
}

/// The band is the index.
struct AsItIs;

impl RowIndex for AsItIs {
    fn evaluate(&self, bands: &[&[f64]], out: &mut [f64]) -> (u64, u64, u64) {
        out.copy_from_slice(bands[0]);
        (out.iter().filter(|v| v.is_nan()).count() as u64, 0, 0)
    }
}

/// The way between field and plane.
struct Way {
    sin: f64,
    cos: f64,
}

impl Way {
    fn to_plane(&self, along: f64, across: f64) -> (f64, f64) {
        (
            CORNER.0 + along * self.sin - across * self.cos,
            CORNER.1 + along * self.cos + across * self.sin,
        )
    }
    fn to_field(&self, x: f64, y: f64) -> (f64, f64) {
        let (x, y) = (x - CORNER.0, y - CORNER.1);
        (x * self.sin + y * self.cos, y * self.sin - x * self.cos)
    }
    fn rectangle(&self, [a0, a1, b0, b1]: [f64; 4]) -> MultiPolygon<f64> {
        let ring: Vec<(f64, f64)> = [(a0, b0), (a1, b0), (a1, b1), (a0, b1), (a0, b0)]
            .map(|(along, across)| self.to_plane(along, across))
            .to_vec();
        MultiPolygon::new(vec![Polygon::new(LineString::from(ring), Vec::new())])
    }
}

fn picture(ground: &mut Ground, way: &Way, crs: &Crs) -> Picture {
    let (length, width) = ground.plan.size;
    let p = ground.plan.pixel;
    let corners = [(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)]
        .map(|(along, across)| way.to_plane(along, across));
    let bound = |of: fn(&(f64, f64)) -> f64, pick: fn(f64, f64) -> f64| {
        corners.iter().map(of).reduce(pick).unwrap_or(0.0)
    };
    let (west, north) = (
        bound(|c| c.0, f64::min) - 1.3 * p,
        bound(|c| c.1, f64::max) + 1.7 * p,
    );
    let cols = ((bound(|c| c.0, f64::max) - west) / p) as i64 + 2;
    let rows = ((north - bound(|c| c.1, f64::min)) / p) as i64 + 2;
    // Places that a pixel is the mean of, along each side: about 2.5 m apart.
    let parts = libm::ceil(p / 2.5) as i64;
    let step = p / parts as f64;
    let mut values = Vec::with_capacity((rows * cols) as usize);
    for row in 0..rows {
        for col in 0..cols {
            let (x, y) = (west + col as f64 * p, north - row as f64 * p);
            let (along, across) = way.to_field(x + p / 2.0, y - p / 2.0);
            if along < -2.0 * p
                || across < -2.0 * p
                || along > length + 2.0 * p
                || across > width + 2.0 * p
            {
                values.push(f64::NAN);
                continue;
            }
            let mut sum = 0.0;
            for i in 0..parts {
                for j in 0..parts {
                    let (along, across) =
                        way.to_field(x + (i as f64 + 0.5) * step, y - (j as f64 + 0.5) * step);
                    sum += ground.shown(along, across);
                }
            }
            values.push(sum / (parts * parts) as f64 + ground.noise());
        }
    }
    let lattice = Lattice {
        cols,
        rows,
        affine: Affine([west, p, 0.0, north, 0.0, -p]),
        crs: crs.clone(),
        block: (cols, 64),
    };
    Picture { lattice, values }
}

/// Nitrogen that the crop can truly use on the mean of the field, by places 6 m apart. \[kg/ha\]
fn true_rate(ground: &mut Ground) -> f64 {
    let (even, normal) = ground.fate();
    let efficiency = EFFICIENCY.0 + even * (EFFICIENCY.1 - EFFICIENCY.0);
    let curve = (1.0 + CURVE_SPREAD * normal).max(0.05);
    let (length, width) = ground.plan.size;
    let (mut sum, mut count) = (0.0, 0.0);
    for a in 0..(length / 6.0) as usize {
        for b in 0..(width / 6.0) as usize {
            let (ample, is) = ground.truth(6.0 * a as f64 + 3.0, 6.0 * b as f64 + 3.0);
            let without = curve * CURVE.0 * libm::exp(CURVE.1 * is / DAYS);
            sum += without * (ample / is - 1.0) * GRAIN_NITROGEN / efficiency;
            count += 1.0;
        }
    }
    sum / count
}

/// A made ground, ready for the program.
pub(crate) struct Opened {
    pub(crate) settings: Settings,
    pub(crate) ground: Prepared,
    made: Ground,
    image: Picture,
}

impl Opened {
    /// What a run needs, for one thread.
    pub(crate) fn sources(&self) -> Sources<'_> {
        Sources {
            image: &self.image,
            points: None,
            index: &AsItIs,
            index_name: "NDVI",
            bare_below: Some(0.25),
            look_at_bands: false,
            threads: 1,
            memory: 1 << 28,
            progress: &|_, _| true,
        }
    }
}

/// Makes a ground.
pub(crate) fn open(plan: Plan, seed: u64) -> Result<Opened, Box<dyn Error>> {
    let mut made = Ground::new(plan, seed);
    let turn = made.heading.to_radians();
    let way = Way {
        sin: libm::sin(turn),
        cos: libm::cos(turn),
    };
    let job = JOB.replace("HEADING", &format!("{:.6}", made.heading));
    let settings = map_job(job.as_bytes(), Path::new("job.toml"))
        .map_err(|error| format!("{error:?}"))?
        .value;
    let crs = Crs::epsg(32633, "WGS 84 / UTM zone 33N");
    let image = picture(&mut made, &way, &crs);
    let layer = |shapes: Vec<MultiPolygon<f64>>| Layer {
        crs: crs.clone(),
        shapes,
        file: "made".to_owned(),
    };
    let (length, width) = plan.size;
    let strips = made.strips.iter().map(|s| way.rectangle(*s)).collect();
    let inputs = GroundInputs {
        boundary: layer(vec![way.rectangle([0.0, length, 0.0, width])]),
        exclusions: Vec::new(),
        set: Vec::new(),
        strips: Some(layer(strips)),
        reference_zones: None,
        edges: Vec::new(),
        guidance: None,
        areas: Vec::new(),
        plane: None,
    };
    let sections = (&settings.field, &settings.machine);
    let ground = lay_out(&inputs, sections, &image.lattice)?.value;
    Ok(Opened {
        settings,
        ground,
        made,
        image,
    })
}

/// Makes a ground and maps it.
pub(crate) fn wording(plan: Plan, seed: u64) -> Result<Wording, Box<dyn Error>> {
    let mut opened = open(plan, seed)?;
    let outcome = run(&opened.settings, &opened.ground, DAYS, &opened.sources())?.value;
    let reference = &outcome.reference;
    let hectares = opened.ground.area / 10_000.0;
    let uncertainty = outcome.uncertainty.as_ref().ok_or("no draws")?;
    Ok(Wording {
        true_ratio: opened.made.true_ratio(),
        ratio: reference.ratio.unwrap_or(f64::NAN),
        interval: reference.low.zip(reference.high),
        paired: reference.paired,
        places: reference.placebo.map_or(0, |placebo| placebo.places),
        answer: reference.answer,
        rate: outcome.totals.n_kg_exact / hectares,
        true_rate: true_rate(&mut opened.made),
        range: (
            uncertainty.field.low / hectares,
            uncertainty.field.high / hectares,
        ),
    })
}

/// How many of many grounds do something. \[%\]
pub(crate) fn percent(all: &[Wording], does: impl Fn(&Wording) -> bool) -> f64 {
    let count = all.iter().filter(|wording| does(wording)).count();
    100.0 * count as f64 / all.len().max(1) as f64
}
