//! The reference: which pixels are asked for, and what they say of the strips.

use geo::{Area as _, BooleanOps, Centroid, MultiPolygon};

use crate::finding::{Finding, codes};
use crate::job::settings::{PointSpread, ReferenceSettings};
use crate::pipeline::blur::{StripPixels, fit_spread, widest};
use crate::pipeline::ground::{Ground, pixel_size};
use crate::pipeline::scan::{Found, KeptPixel, PixelMap, Probe, Tally};
use crate::science::reference::{
    CoarseEstimate, FineEstimate, ReferenceError, SENSORS, SegmentSums, SpreadFit, StripSums,
    Uneven, coarse, fine,
};
use crate::space::crs::CrsError;
use crate::space::polygon::{Rectangle, grown, less, minimum_rectangle};
use crate::space::raster::Lattice;

/// Equal blocks that a strip's length is cut into for its interval, at the most.
const BLOCKS: usize = 10;
/// Pixels that a coarse strip's surroundings reach; the second and third show how much that matters.
pub(super) const REACHES: [f64; 3] = [3.0, 2.0, 4.0];
/// A usual blur beyond the pixel: published figures of three sensors are 0.83 to 1.02 (`science::reference::SENSORS`). \[pixels\]
const USUAL_BLUR: f64 = 1.0;
/// A reference index that moves by more than this is worth a caution.
const MOVES: f64 = 0.01;
/// A shrunk strip narrower than this many pixels is a mixture.
const FINE_PIXELS: f64 = 4.0;

/// How one strip is measured.
#[derive(Clone, Debug)]
pub struct StripPlan {
    /// Area of strip ∩ field. \[m²\]
    pub area: f64,
    /// Pixel size there. \[m\]
    pub pixel: f64,
    /// Rectangle of the strip as it was drawn.
    pub outer: Rectangle,
    /// By which estimator.
    pub how: How,
    /// Positions of its probes.
    probes: std::ops::Range<usize>,
}

/// The estimator of a strip.
#[derive(Clone, Debug)]
pub enum How {
    /// Pure pixels; rectangle of the shrunk strip, segments, blocks.
    Fine {
        /// Rectangle of the shrunk strip.
        core: Rectangle,
        /// Segments.
        segments: usize,
        /// Blocks.
        blocks: usize,
    },
    /// Solved mixture; blocks.
    Coarse {
        /// Blocks.
        blocks: usize,
    },
}

/// What a strip says.
#[derive(Clone, Debug)]
pub enum StripFound {
    /// By pure pixels.
    Fine(FineEstimate),
    /// By the mixture.
    Coarse(CoarseEstimate),
}

impl StripFound {
    /// `I_ref`.
    pub const fn index(&self) -> f64 {
        match self {
            Self::Fine(estimate) => estimate.index,
            Self::Coarse(estimate) => estimate.index,
        }
    }
    /// `I_beside`.
    pub fn beside(&self) -> Option<f64> {
        match self {
            Self::Fine(estimate) => estimate.beside(),
            Self::Coarse(estimate) => (estimate.beside > 0.0).then_some(estimate.beside),
        }
    }
    /// Pixels used.
    pub const fn pixels(&self) -> u64 {
        match self {
            Self::Fine(estimate) => estimate.pixels,
            Self::Coarse(estimate) => estimate.pixels as u64,
        }
    }
    /// 95 % interval of `I_ref / I_beside`.
    pub fn interval(&self) -> Option<(f64, f64)> {
        let interval = match self {
            Self::Fine(estimate) => estimate.interval.as_ref().ok(),
            Self::Coarse(estimate) => estimate.interval.as_ref().ok(),
        };
        interval.map(|interval| (interval.low, interval.high))
    }
    /// The least and the most that the strip itself showed: 5th and 95th percentile of its paired segments; by the mixture, which has none, the 95 % limits
    /// of its ratio.
    pub fn seen_ratios(&self) -> Option<(f64, f64)> {
        match self {
            Self::Fine(estimate) => estimate.swath.as_ref().map(|swath| swath.seen_ratios),
            Self::Coarse(_) => self.interval(),
        }
    }
    /// Whether it is not one stand.
    pub const fn uneven(&self) -> Option<&Uneven> {
        match self {
            Self::Fine(estimate) => estimate.uneven.as_ref(),
            Self::Coarse(estimate) => estimate.uneven.as_ref(),
        }
    }
    /// Word of the estimator in files.
    pub const fn estimator(&self) -> &'static str {
        match self {
            Self::Fine(_) => "fine",
            Self::Coarse(_) => "coarse",
        }
    }
    /// Segments dropped.
    pub fn dropped(&self) -> usize {
        match self {
            Self::Fine(estimate) => estimate.dropped.len(),
            Self::Coarse(_) => 0,
        }
    }
}

/// One strip measured.
#[derive(Clone, Debug)]
pub struct Strip {
    /// How it was measured.
    pub plan: StripPlan,
    /// What it says, or why it says nothing.
    pub found: Result<StripFound, ReferenceError>,
    /// `I_ref` with less and with more inset (fine), or reach (coarse).
    pub variants: [Option<f64>; 2],
    /// `I_ref` at the bounds of a fitted blur (coarse).
    pub by_spread: Option<[Option<f64>; 2]>,
    /// A coarse strip that was read without a blur, read with a usual one; why it could not be, else.
    pub with_usual_blur: Option<Result<CoarseEstimate, ReferenceError>>,
    /// Segments of strip and swaths, for showing; none for coarse pixels.
    pub profile: Vec<ProfileSegment>,
}

/// One segment of a strip and of the ground beside it, as drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProfileSegment {
    /// Where it begins along the shrunk strip. \[m\]
    pub from: f64,
    /// Where it ends. \[m\]
    pub to: f64,
    /// Mean index in the strip.
    pub strip: Option<f64>,
    /// Mean index in the swaths.
    pub beside: Option<f64>,
    /// Whether the strip's part was dropped.
    pub strip_dropped: bool,
    /// Whether the swaths' part was dropped.
    pub beside_dropped: bool,
}

fn profile(
    own: &StripSums,
    beside: &StripSums,
    length: f64,
    found: &Result<StripFound, ReferenceError>,
) -> Vec<ProfileSegment> {
    let (strip, swath) = (own.by_segment(), beside.by_segment());
    let count = strip.len().max(1) as f64;
    let dropped = |k: usize| match found {
        Ok(StripFound::Fine(fine)) => (
            fine.dropped.contains(&k),
            fine.swath
                .as_ref()
                .is_some_and(|swath| swath.dropped.contains(&k)),
        ),
        _ => (false, false),
    };
    let segment = |(k, (a, b)): (usize, (&SegmentSums, &SegmentSums))| {
        let (strip_dropped, beside_dropped) = dropped(k);
        let place = |k: usize| length * k as f64 / count;
        ProfileSegment {
            from: place(k),
            to: place(k + 1),
            strip: a.mean(),
            beside: b.mean(),
            strip_dropped,
            beside_dropped,
        }
    };
    strip.iter().zip(&swath).enumerate().map(segment).collect()
}

/// Number of pieces of at least two pixels, at the most `most`.
fn pieces(length: f64, pixel: f64, most: usize) -> usize {
    (libm::floor(length / (2.0 * pixel) + 1e-9) as usize).clamp(1, most.max(1))
}

/// Says which pixels each strip needs.
///
/// # Errors
/// [`CrsError`] when a strip cannot be carried into the image.
pub fn plan(
    ground: &Ground,
    settings: &ReferenceSettings,
    lattice: &Lattice,
) -> Result<(Vec<StripPlan>, Vec<Probe>), CrsError> {
    let (mut plans, mut probes) = (Vec::new(), Vec::new());
    let kept_clear: Vec<MultiPolygon<f64>> = ground
        .strips
        .iter()
        .map(|strip| grown(strip, settings.gap.get()))
        .collect();
    for (k, strip) in ground.strips.iter().enumerate() {
        let (Some(centre), Some(outer)) = (strip.centroid(), minimum_rectangle(strip)) else {
            continue;
        };
        let pixel = pixel_size(&ground.plane.crs, lattice, centre.x(), centre.y())?;
        let inset = settings.inset.get();
        let shrunk = |inset: f64| {
            let core = grown(strip, -inset.max(0.75 * pixel));
            minimum_rectangle(&core).map(|rectangle| (core, rectangle))
        };
        let start = probes.len();
        let how = if let Some((core, along)) =
            shrunk(inset).filter(|(_, rectangle)| rectangle.width >= FINE_PIXELS * pixel)
        {
            let (segments, blocks) = (
                pieces(along.length, pixel, settings.segments),
                pieces(along.length, pixel, BLOCKS),
            );
            probes.push(Probe::Segments {
                area: core,
                along,
                segments,
                blocks,
            });
            probes.push(Probe::Segments {
                area: swaths(ground, strip, &along, settings.gap.get(), &kept_clear),
                along,
                segments,
                blocks,
            });
            for factor in [0.5, 1.5] {
                // Without a second shape there is nothing to compare with: an empty area finds nothing.
                let (area, own) = shrunk(inset * factor)
                    .unwrap_or_else(|| (MultiPolygon::new(Vec::new()), along));
                probes.push(Probe::Segments {
                    area,
                    along: own,
                    segments,
                    blocks: 1,
                });
            }
            How::Fine {
                core: along,
                segments,
                blocks,
            }
        } else {
            let others = MultiPolygon::new(
                ground
                    .strips
                    .iter()
                    .enumerate()
                    .filter(|(other, _)| *other != k)
                    .flat_map(|(_, s)| s.0.clone())
                    .collect(),
            );
            for reach in REACHES {
                probes.push(Probe::Pixels {
                    area: less(
                        &grown(strip, reach * pixel).intersection(&ground.field),
                        &others,
                    ),
                });
            }
            How::Coarse {
                blocks: pieces(outer.length, pixel, BLOCKS),
            }
        };
        let area = strip.intersection(&ground.field).unsigned_area();
        plans.push(StripPlan {
            area,
            pixel,
            outer,
            how,
            probes: start..probes.len(),
        });
    }
    Ok((plans, probes))
}

/// Says which readings each strip needs, when the canopy is known at single places: a reading is never a mixture, so only the inset shrinks a strip.
///
/// `spacing` \[m\] is the distance of readings along a track; a segment or block is at least two of it long.
pub fn plan_points(
    ground: &Ground,
    settings: &ReferenceSettings,
    spacing: f64,
) -> (Vec<StripPlan>, Vec<Probe>) {
    let (mut plans, mut probes) = (Vec::new(), Vec::new());
    let kept_clear: Vec<MultiPolygon<f64>> = ground
        .strips
        .iter()
        .map(|strip| grown(strip, settings.gap.get()))
        .collect();
    let step = spacing.max(0.05);
    for strip in &ground.strips {
        let Some(outer) = minimum_rectangle(strip) else {
            continue;
        };
        let inset = settings.inset.get();
        let nothing = || MultiPolygon::new(Vec::new());
        let shrunk = |inset: f64| {
            let core = grown(strip, -inset);
            minimum_rectangle(&core).map(|rectangle| (core, rectangle))
        };
        let start = probes.len();
        let (core, along) = shrunk(inset).unwrap_or_else(|| (nothing(), outer));
        let (segments, blocks) = (
            pieces(along.length, step, settings.segments),
            pieces(along.length, step, BLOCKS),
        );
        probes.push(Probe::Segments {
            area: core,
            along,
            segments,
            blocks,
        });
        probes.push(Probe::Segments {
            area: swaths(ground, strip, &along, settings.gap.get(), &kept_clear),
            along,
            segments,
            blocks,
        });
        for factor in [0.5, 1.5] {
            let (area, own) = shrunk(inset * factor).unwrap_or_else(|| (nothing(), along));
            probes.push(Probe::Segments {
                area,
                along: own,
                segments,
                blocks: 1,
            });
        }
        let area = strip.intersection(&ground.field).unsigned_area();
        plans.push(StripPlan {
            area,
            pixel: spacing,
            outer,
            how: How::Fine {
                core: along,
                segments,
                blocks,
            },
            probes: start..probes.len(),
        });
    }
    (plans, probes)
}

/// Turns what was found at single places into estimates.
pub fn estimate_points(
    settings: &ReferenceSettings,
    plans: Vec<StripPlan>,
    found: &[Found],
) -> Vec<Strip> {
    let one = |plan: StripPlan| {
        let found = &found[plan.probes.clone()];
        let (segments, blocks) = match plan.how {
            How::Fine {
                segments, blocks, ..
            } => (segments, blocks),
            How::Coarse { blocks } => (blocks, blocks),
        };
        fine_strip(plan, found, segments, blocks, settings.drop)
    };
    plans.into_iter().map(one).collect()
}

fn fine_strip(
    plan: StripPlan,
    found: &[Found],
    segments: usize,
    blocks: usize,
    drop: f64,
) -> Strip {
    let sums = |k: usize, blocks: usize| match &found[k] {
        Found::Segments(tallies) => sums_of(tallies, segments, blocks),
        Found::Pixels(_) | Found::Squares(_) => StripSums::new(segments, blocks),
    };
    let (own, beside) = (sums(0, blocks), sums(1, blocks));
    let estimate = fine(&own, Some(&beside), drop).map(StripFound::Fine);
    let variant = |k: usize| {
        fine(&sums(k, 1), None, drop)
            .ok()
            .map(|estimate| estimate.index)
    };
    let length = match &plan.how {
        How::Fine { core, .. } => core.length,
        How::Coarse { .. } => plan.outer.length,
    };
    let profile = profile(&own, &beside, length, &estimate);
    Strip {
        found: estimate,
        variants: [variant(2), variant(3)],
        by_spread: None,
        with_usual_blur: None,
        profile,
        plan,
    }
}

/// The comparison swaths of a strip: beside its long sides, as wide as it is, over the shrunk strip's length.
fn swaths(
    ground: &Ground,
    strip: &MultiPolygon<f64>,
    along: &Rectangle,
    gap: f64,
    kept_clear: &[MultiPolygon<f64>],
) -> MultiPolygon<f64> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for point in crate::space::polygon::rings_of(strip).iter().flatten() {
        let across = along.along_across(point[0], point[1]).1;
        (low, high) = (low.min(across), high.max(across));
    }
    let width = high - low;
    let sides = MultiPolygon::new(vec![
        along.part((0.0, along.length), (high + gap, high + gap + width)),
        along.part((0.0, along.length), (low - gap - width, low - gap)),
    ]);
    kept_clear
        .iter()
        .fold(sides.intersection(&ground.field), |rest, strip| {
            less(&rest, strip)
        })
}

/// Turns what was found into estimates; answers the blur that coarse strips were solved with, when it was fitted.
///
/// # Errors
/// [`CrsError`] when a strip cannot be carried into the image.
pub fn estimate(
    ground: &Ground,
    settings: &ReferenceSettings,
    point_spread: &PointSpread,
    lattice: &Lattice,
    plans: Vec<StripPlan>,
    found: &[Found],
) -> Result<(Vec<Strip>, Option<SpreadFit>), CrsError> {
    let map = PixelMap::new(&ground.plane.crs, lattice)?;
    let back = crate::space::crs::Projector::new(&lattice.crs, &ground.plane.crs)?;
    let mut pixels: Vec<Vec<StripPixels>> = Vec::with_capacity(plans.len());
    for (k, plan) in plans.iter().enumerate() {
        pixels.push(match plan.how {
            How::Fine { .. } => Vec::new(),
            How::Coarse { blocks } => coarse_pixels(
                plan,
                blocks,
                &map.rings(&ground.strips[k])?,
                lattice,
                &back,
                &found[plan.probes.clone()],
            )?,
        });
    }
    let (width, fitted) = match point_spread {
        PointSpread::Fit => {
            // The first reach is the estimate's own.
            let own: Vec<StripPixels> = pixels
                .iter()
                .filter_map(|reaches| reaches.first().cloned())
                .collect();
            let fitted = fit_spread(&own);
            (fitted.map_or(0.0, |fit| fit.full_width), fitted)
        }
        PointSpread::Given(width) | PointSpread::Sensor(_, width) => (*width, None),
    };
    let mut strips = Vec::new();
    for (plan, reaches) in plans.into_iter().zip(&pixels) {
        let found = &found[plan.probes.clone()];
        let strip = match &plan.how {
            How::Fine {
                segments, blocks, ..
            } => {
                let (segments, blocks) = (*segments, *blocks);
                fine_strip(plan, found, segments, blocks, settings.drop)
            }
            How::Coarse { blocks } => {
                let solved = |width: f64, reach: &StripPixels| coarse(&reach.mixed(width), *blocks);
                let variant = |k: usize| {
                    reaches
                        .get(k)
                        .and_then(|reach| solved(width, reach).ok())
                        .map(|estimate| estimate.index)
                };
                let variants = [variant(1), variant(2)];
                let estimate = reaches
                    .first()
                    .map_or(Err(ReferenceError::NoPixels), |reach| solved(width, reach))
                    .map(StripFound::Coarse);
                let at_bound = |width: f64| {
                    reaches
                        .first()
                        .and_then(|reach| solved(width, reach).ok())
                        .map(|estimate| estimate.index)
                };
                let by_spread = fitted.map(|fit| [at_bound(fit.low), at_bound(fit.high)]);
                let unblurred = *point_spread == PointSpread::Given(0.0);
                let with_usual_blur = reaches
                    .first()
                    .filter(|_| unblurred)
                    .map(|reach| solved(USUAL_BLUR, reach));
                Strip {
                    found: estimate,
                    variants,
                    by_spread,
                    with_usual_blur,
                    profile: Vec::new(),
                    plan,
                }
            }
        };
        strips.push(strip);
    }
    Ok((strips, fitted))
}

/// The pixels of a coarse strip at each reach, with their blocks.
fn coarse_pixels(
    plan: &StripPlan,
    blocks: usize,
    rings: &[Vec<[f64; 2]>],
    lattice: &Lattice,
    back: &crate::space::crs::Projector,
    found: &[Found],
) -> Result<Vec<StripPixels>, CrsError> {
    let mut reaches = Vec::new();
    for one in found {
        let Found::Pixels(kept) = one else { continue };
        let mut pixels = Vec::with_capacity(kept.len());
        for KeptPixel { row, col, index } in kept {
            let (x, y) = lattice
                .affine
                .to_ground(*col as f64 + 0.5, *row as f64 + 0.5);
            let (x, y) = back.point(x, y)?;
            let t = plan.outer.along_across(x, y).0 / plan.outer.length;
            let block = (libm::floor(t * blocks as f64).max(0.0) as usize).min(blocks - 1);
            pixels.push((*row, *col, *index, block));
        }
        reaches.push(StripPixels {
            rings: rings.to_vec(),
            pixels,
        });
    }
    Ok(reaches)
}

/// Says what a fitted blur is worth.
pub fn say_spread(strips: &[Strip], fitted: Option<&SpreadFit>) -> Vec<Finding> {
    let mut findings = Vec::new();
    if !strips
        .iter()
        .any(|strip| matches!(strip.plan.how, How::Coarse { .. }))
    {
        findings.push(Finding::note(codes::REFERENCE_POINT_SPREAD_UNUSED, "imagery.point_spread = \"fit\" is not used: every strip is wide enough for pure pixels"));
        return findings;
    }
    let Some(fit) = fitted else {
        findings.push(Finding::caution(
            codes::REFERENCE_POINT_SPREAD_FIT,
            "the sensor's blur cannot be fitted, since no strip's mixture can be solved; the strips are read as if there were none",
        ));
        return findings;
    };
    let moved: Vec<String> = strips
        .iter()
        .enumerate()
        .filter_map(|(k, strip)| match strip.by_spread {
            Some([Some(low), Some(high)]) => {
                Some(format!("{low:.4} to {high:.4} for strip {}", k + 1))
            }
            _ => None,
        })
        .collect();
    let notice = format!(
        "the sensor's blur beyond its pixel is fitted as {:.2} pixels (95 %: {:.2} to {:.2}, from {} pixels on and beside the strips); over that interval the reference index goes {}",
        fit.full_width,
        fit.low,
        fit.high,
        fit.pixels,
        if moved.is_empty() {
            "nowhere that can be solved".to_owned()
        } else {
            moved.join(", ")
        }
    );
    if fit.high >= widest() || fit.high - fit.low > 1.5 {
        findings.push(Finding::caution(
            codes::REFERENCE_POINT_SPREAD_FIT,
            format!(
                "{notice}; the strips hardly tell it: a published figure of the sensor is better"
            ),
        ));
    } else {
        findings.push(Finding::note(codes::REFERENCE_POINT_SPREAD_FIT, notice));
    }
    findings
}

fn sums_of(tallies: &[Tally], segments: usize, blocks: usize) -> StripSums {
    let mut sums = StripSums::new(segments, blocks);
    for (k, tally) in tallies.iter().enumerate() {
        if let Some(cell) = sums.cell_mut(k / blocks, k % blocks) {
            *cell = SegmentSums {
                weight: tally.weight.get(),
                weighted: tally.weighted.get(),
                squares: tally.squares.get(),
                pixels: tally.pixels,
            };
        }
    }
    sums
}

/// What a usual blur would do to a strip that is read without any.
fn usual_blur(number: usize, strip: &Strip, found: &StripFound) -> Option<Finding> {
    let width = strip.plan.outer.width / strip.plan.pixel;
    let start = format!(
        "reference strip {number}, {width:.1} pixels wide, is read as if the sensor had no blur beyond its pixel (imagery.point_spread is 0); published figures are 0.8 to 1.0 pixels, and with {USUAL_BLUR:.1}"
    );
    let names: Vec<String> = SENSORS
        .iter()
        .map(|sensor| format!("{:?}", sensor.name))
        .collect();
    let end = format!(
        "give the sensor ({}), a width in pixels, or \"fit\" in imagery.point_spread",
        names.join(", ")
    );
    Some(match strip.with_usual_blur.as_ref()? {
        Ok(blurred) => {
            let ratios =
                found
                    .beside()
                    .zip(blurred.ratio())
                    .map_or_else(String::new, |(beside, ratio)| {
                        format!(
                            ", the response index of the strip {ratio:.3} instead of {:.3}",
                            found.index() / beside
                        )
                    });
            let notice = format!(
                "{start} its index would be {:.4} instead of {:.4}{ratios}: {end}",
                blurred.index,
                found.index()
            );
            let finding = if (blurred.index - found.index()).abs() > MOVES {
                Finding::caution
            } else {
                Finding::note
            };
            finding(codes::REFERENCE_BLUR, notice)
        }
        Err(reason) => Finding::caution(
            codes::REFERENCE_BLUR,
            format!("{start} it could not be estimated ({reason}): {end}"),
        ),
    })
}

/// Findings on single strips; the reference as a whole is judged elsewhere.
pub fn findings_of(strips: &[Strip], index_name: &str, stand_cv: f64) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (k, strip) in strips.iter().enumerate() {
        let number = k + 1;
        let found = match &strip.found {
            Ok(found) => found,
            Err(error) => {
                findings.push(Finding::caution(
                    codes::REFERENCE_LEFT_OUT,
                    format!("reference strip {number} is left out: {error}"),
                ));
                continue;
            }
        };
        if found.pixels() < 30 {
            findings.push(Finding::caution(
                codes::REFERENCE_PIXELS,
                format!(
                    "reference strip {number} rests on {} pixels; below 30 it is a weak estimate",
                    found.pixels()
                ),
            ));
        }
        if index_name.eq_ignore_ascii_case("NDVI") && found.index() > 0.85 {
            findings.push(Finding::caution(
                codes::REFERENCE_SATURATED,
                format!("NDVI of reference strip {number} is {:.3}: above 0.85 it hardly rises with more nitrogen, so differences are understated; use a red-edge index if the image has the band", found.index()),
            ));
        }
        for (variant, what) in strip.variants.iter().zip(["less", "more"]) {
            let Some(value) = variant.filter(|value| (value - found.index()).abs() > 0.01) else {
                continue;
            };
            let kind = if found.estimator() == "fine" {
                "inset"
            } else {
                "reach"
            };
            findings.push(Finding::caution(
                codes::REFERENCE_INSET,
                format!(
                    "reference strip {number} gives {value:.4} instead of {:.4} with {what} {kind}: look whether its drawn edges fit what was spread",
                    found.index()
                ),
            ));
        }
        findings.extend(usual_blur(number, strip, found));
        let StripFound::Fine(estimate) = found else {
            continue;
        };
        if !estimate.dropped.is_empty() {
            findings.push(Finding::note(
                codes::REFERENCE_DROPPED,
                format!(
                    "{} of {} segments of reference strip {number} were left out as unlike the rest; with all of them its index is {:.4} instead of {:.4}",
                    estimate.dropped.len(),
                    estimate.segments_with_data,
                    estimate.index_without_dropping,
                    estimate.index
                ),
            ));
        }
        if let Some(many) = estimate
            .too_many_to_drop
            .filter(|_| estimate.uneven.is_none())
        {
            findings.push(Finding::caution(
                codes::REFERENCE_UNEVEN,
                format!("{many} segments of reference strip {number} are unlike the rest, more than a quarter: none was left out; look at the strip"),
            ));
        }
        match &estimate.swath {
            Some(swath) if swath.coefficient_of_variation > stand_cv => findings.push(Finding::caution(
                codes::REFERENCE_STAND,
                format!(
                    "the index beside reference strip {number} varies by {:.0} % (limit {:.0} %): a stand so uneven need not answer to nitrogen",
                    100.0 * swath.coefficient_of_variation,
                    100.0 * stand_cv
                ),
            )),
            Some(_) => {}
            None => findings.push(Finding::caution(
                codes::REFERENCE_BESIDE,
                format!("too little ground beside reference strip {number} to compare with: no response index from it"),
            )),
        }
    }
    findings
}
