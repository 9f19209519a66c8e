//! Placebo strips: the reference strip laid over the rest of the canopy and measured there as if it were one.
//!
//! Places are the strip's own, moved by whole quarters of its length along its axis and whole halves of its width across. Fine images: sums over rectangles a
//! quarter of the strip wide, gathered in the pass over the pixels and cut so that strip and swaths are whole rectangles at every place. Coarse images: the
//! field's pixels are kept once, and the mixture is solved at each place.

mod coarse;
mod squares;

use geo::{BooleanOps, MultiPolygon};

use self::coarse::PixelPlaces;
use self::squares::SquarePlaces;
use crate::job::settings::{Machine, ReferenceSettings};
use crate::pipeline::ground::Ground;
use crate::pipeline::overrun::filled;
use crate::pipeline::scan::{Found, PixelMap, Probe};
use crate::pipeline::strips::{How, Strip, StripPlan};
use crate::science::reference::PlaceboStrip;
use crate::space::crs::{CrsError, Projector};
use crate::space::polygon::{Rectangle, grown, joined, less, oriented, rings_of};
use crate::space::raster::Lattice;

/// Share of strip and of swaths that must be seen canopy of ground that is kept clear of everything else.
const COVERED: f64 = 0.95;
/// Share thresholds are met at threshold − this.
const TIE_TOLERANCE: f64 = 1e-6;
/// Pixels of a field that are kept for strips too narrow for pure pixels: 8 B each.
const MAXIMUM_PIXELS: f64 = 4.0e6;

/// Pixels along a strip that a piece needs to be solved as a mixture.
pub(crate) const PIECE: f64 = 3.0;

/// How many whole pieces a length has; a hair less than one more counts as that.
pub(crate) fn whole_pieces(length: f64, piece: f64) -> usize {
    libm::floor(length / piece + 1e-9) as usize
}

/// A place of the strip: moved by `along` quarters of its length and `across` halves of its width.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// Quarters of the strip's length along its axis.
    pub along: i64,
    /// Halves of its width to the left of it.
    pub across: i64,
}

impl Place {
    /// Where the strip itself lies.
    pub const STRIP: Self = Self {
        along: 0,
        across: 0,
    };
}

/// Why a strip has no placebo places.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NoPlacebo {
    /// Readings at single places.
    #[error("single readings are too far apart to lay placebo strips over them")]
    Readings,
    /// The strip itself cannot be estimated.
    #[error("the strip itself cannot be estimated")]
    NoStrip,
    /// A field that reaches many lengths of the strip away from it.
    #[error(
        "the field reaches too far from the strip to lay placebo strips all over it: {squares} pieces of ground, {maximum} are held"
    )]
    ManySquares {
        /// Pieces of ground, of the strip's length and half its width.
        squares: usize,
        /// How many are held.
        maximum: usize,
    },
    /// A narrow strip in a fine image.
    #[error(
        "the strip is too narrow for pure pixels, and the field's {pixels:.0} pixels are too many to solve mixtures all over it (at most {maximum:.0})"
    )]
    ManyPixels {
        /// Pixels of the field, about.
        pixels: f64,
        /// Most that are kept.
        maximum: f64,
    },
}

/// Which pixels the placebo places of one strip need.
#[derive(Clone, Debug)]
pub struct PlaceboPlan {
    /// Position of its probe among the placebo probes.
    probe: usize,
    how: PlanHow,
}

#[derive(Clone, Debug)]
enum PlanHow {
    Squares(Box<squares::Layout>),
    Pixels(Box<coarse::Layout>),
}

/// The placebo places of one strip, and what was measured there.
#[derive(Clone, Debug)]
pub struct StripPlacebo {
    /// Ratios at [`places`](Self::places), levels at [`strip_places`](Self::strip_places), in their order; the strip's own ratio and area.
    pub measured: PlaceboStrip,
    /// Where strip and swaths (coarse: surroundings) lie in canopy.
    pub places: Vec<Place>,
    /// Where the strip alone does.
    pub strip_places: Vec<Place>,
    /// Length of the strip as it is measured: shrunk for pure pixels, whole for mixtures. \[m\]
    pub length: f64,
    ground: PlaceGround,
}

#[derive(Clone, Debug)]
enum PlaceGround {
    Squares(Box<SquarePlaces>),
    Pixels(Box<PixelPlaces>),
}

impl StripPlacebo {
    /// Means over `pieces` equal pieces of the strip's [`length`](Self::length), first piece first, with the strip at `place`; [`Place::STRIP`] is the strip itself.
    ///
    /// Pure pixels: mean index of the shrunk strip's pixels in the piece, `None` where fewer than half of them are seen canopy; rectangles across a piece's end
    /// count for both pieces by their share, and nothing is dropped. Mixtures: `I_ref` of the piece, solved from the pixels beside it alone; `None` where they are
    /// too few to be solved.
    ///
    /// Variances of pieces are compared like with like: take strip and places both from here, with one number of pieces.
    /// For every place at which the strip alone lies in canopy: `placebo.strip_places.iter().map(|place| placebo.pieces(*place, n))`.
    pub fn pieces(&self, place: Place, pieces: usize) -> Vec<Option<f64>> {
        match &self.ground {
            PlaceGround::Squares(squares) => squares.pieces(place, pieces),
            PlaceGround::Pixels(pixels) => pixels.pieces(place, pieces),
        }
    }
    /// Whether pieces are solved as mixtures: they should then be three pixels long at least.
    pub const fn is_mixture(&self) -> bool {
        matches!(self.ground, PlaceGround::Pixels(_))
    }
}

/// The ground that strips may be laid over: the field outside every strip grown by its gap, less the headland.
fn free_ground(
    ground: &Ground,
    reference: &ReferenceSettings,
    machine: &Machine,
) -> MultiPolygon<f64> {
    let gap = reference.gap.get();
    let free = ground
        .strips
        .iter()
        .fold(ground.field.clone(), |rest, strip| {
            less(&rest, &grown(strip, gap))
        });
    match machine.headland {
        Some(headland) => {
            let depth = machine.working_width.get() * f64::from(headland.passes);
            free.intersection(&grown(&filled(&ground.boundary), -depth))
        }
        None => free,
    }
}

/// Says which pixels the placebo places of each strip need.
///
/// # Errors
/// [`CrsError`] when a strip cannot be carried into the image.
#[expect(
    clippy::type_complexity,
    reason = "one list by strip, one of what is asked for"
)]
pub fn plan(
    ground: &Ground,
    reference: &ReferenceSettings,
    machine: &Machine,
    lattice: &Lattice,
    strips: &[StripPlan],
) -> Result<(Vec<Result<PlaceboPlan, NoPlacebo>>, Vec<Probe>), CrsError> {
    let (mut plans, mut probes) = (Vec::new(), Vec::new());
    if strips.is_empty() {
        return Ok((plans, probes));
    }
    let free = free_ground(ground, reference, machine);
    let map = PixelMap::new(&ground.plane.crs, lattice)?;
    let back = Projector::new(&lattice.crs, &ground.plane.crs)?;
    for (strip, plan) in ground.strips.iter().zip(strips) {
        let own = strip.intersection(&ground.field);
        let area = oriented(&joined(&[free.clone(), own]));
        let pixels = ground.area / (plan.pixel * plan.pixel);
        if matches!(plan.how, How::Coarse { .. }) && pixels > MAXIMUM_PIXELS {
            plans.push(Err(NoPlacebo::ManyPixels {
                pixels,
                maximum: MAXIMUM_PIXELS,
            }));
            continue;
        }
        let frame = match &plan.how {
            How::Fine { core, .. } => core,
            How::Coarse { .. } => &plan.outer,
        };
        let to_uv = to_uv(frame, &map, &back, lattice)?;
        let how = match &plan.how {
            How::Fine { core, .. } => {
                let layout = squares::Layout::new(to_uv, strip, core, plan, &area, reference);
                let layout = match layout {
                    Ok(layout) => layout,
                    Err(reason) => {
                        plans.push(Err(reason));
                        continue;
                    }
                };
                probes.push(Probe::Squares {
                    area,
                    grid: layout.grid().clone(),
                });
                PlanHow::Squares(Box::new(layout))
            }
            How::Coarse { .. } => {
                let layout = coarse::Layout::new(to_uv, strip, plan, &area);
                probes.push(Probe::Pixels { area });
                PlanHow::Pixels(Box::new(layout))
            }
        };
        plans.push(Ok(PlaceboPlan {
            probe: probes.len() - 1,
            how,
        }));
    }
    Ok((plans, probes))
}

/// The way from pixels to u and v of a rectangle: exact for an image in the working plane's own system, else that at the rectangle's middle, which over a field
/// strays by centimetres.
fn to_uv(
    frame: &Rectangle,
    map: &PixelMap,
    back: &Projector,
    lattice: &Lattice,
) -> Result<[f64; 6], CrsError> {
    let place = |col: f64, row: f64| -> Result<(f64, f64), CrsError> {
        let (x, y) = lattice.affine.to_ground(col, row);
        let (x, y) = back.point(x, y)?;
        Ok(frame.along_across(x, y))
    };
    // Pixels around the middle that the slope is taken over.
    let reach = 128.0;
    let middle = frame.point(frame.length / 2.0, frame.width / 2.0);
    let (col, row) = map.pixel(middle.x, middle.y)?;
    let (u, v) = place(col, row)?;
    let (right, left) = (place(col + reach, row)?, place(col - reach, row)?);
    let (below, above) = (place(col, row + reach)?, place(col, row - reach)?);
    let slope = |a: f64, b: f64| (a - b) / (2.0 * reach);
    let by_col = (slope(right.0, left.0), slope(right.1, left.1));
    let by_row = (slope(below.0, above.0), slope(below.1, above.1));
    Ok([
        u - by_col.0 * col - by_row.0 * row,
        by_col.0,
        by_row.0,
        v - by_col.1 * col - by_row.1 * row,
        by_col.1,
        by_row.1,
    ])
}

/// Rings of a shape in u and v of a rectangle.
fn rings_along(shape: &MultiPolygon<f64>, frame: &Rectangle) -> Vec<Vec<[f64; 2]>> {
    let place = |point: &[f64; 2]| {
        let (u, v) = frame.along_across(point[0], point[1]);
        [u, v]
    };
    rings_of(shape)
        .iter()
        .map(|ring| ring.iter().map(place).collect())
        .collect()
}

/// Least and greatest u and v of rings.
fn bounds(rings: &[Vec<[f64; 2]>]) -> ((f64, f64), (f64, f64)) {
    let none = (f64::INFINITY, f64::NEG_INFINITY);
    rings.iter().flatten().fold((none, none), |(u, v), point| {
        (
            (u.0.min(point[0]), u.1.max(point[0])),
            (v.0.min(point[1]), v.1.max(point[1])),
        )
    })
}

/// Measures every place of every strip. `found` is what the placebo probes found, `blur` the width that coarse strips were solved with. \[pixels\]
pub fn measure(
    plans: Vec<Result<PlaceboPlan, NoPlacebo>>,
    strips: &[Strip],
    found: &[Found],
    blur: f64,
) -> Vec<Result<StripPlacebo, NoPlacebo>> {
    let one = |(plan, strip): (Result<PlaceboPlan, NoPlacebo>, &Strip)| {
        let plan = plan?;
        let Ok(estimate) = &strip.found else {
            return Err(NoPlacebo::NoStrip);
        };
        let (ground, places, length) = match (plan.how, found.get(plan.probe)) {
            (PlanHow::Squares(layout), Some(Found::Squares(sums))) => {
                let length = layout.length();
                let squares = SquarePlaces::new(*layout, sums.clone());
                let places = squares.places();
                (PlaceGround::Squares(Box::new(squares)), places, length)
            }
            (PlanHow::Pixels(layout), Some(Found::Pixels(kept))) => {
                let length = layout.length();
                let mut pixels = PixelPlaces::new(*layout, kept, blur);
                let places = pixels.places();
                (PlaceGround::Pixels(Box::new(pixels)), places, length)
            }
            _ => return Err(NoPlacebo::NoStrip),
        };
        let mut placebo = StripPlacebo {
            measured: PlaceboStrip {
                ratio: estimate
                    .beside()
                    .map_or(f64::NAN, |beside| estimate.index() / beside),
                area_m2: strip.plan.area,
                ..PlaceboStrip::default()
            },
            places: Vec::new(),
            strip_places: Vec::new(),
            length,
            ground,
        };
        for (place, level, ratio) in places {
            placebo.strip_places.push(place);
            placebo.measured.levels.push(level);
            if let Some(ratio) = ratio {
                placebo.places.push(place);
                placebo.measured.ratios.push(ratio);
            }
        }
        Ok(placebo)
    };
    plans.into_iter().zip(strips).map(one).collect()
}

/// The shape that a strip is measured by, as `strips::plan` shrinks it.
fn shrunk(
    strip: &MultiPolygon<f64>,
    settings: &ReferenceSettings,
    pixel: f64,
) -> MultiPolygon<f64> {
    grown(strip, -settings.inset.get().max(0.75 * pixel))
}
