//! `[machine]`: how the field is driven.

use crate::job::settings::{StateRate, VectorSource};
use crate::key::words;
use crate::units::{Length, ProductRate, Seconds, Speed};
use crate::zones::flavour::GridRates;

pub use crate::units::Capacity;

/// `[machine]`.
#[derive(Clone, Debug)]
pub struct Machine {
    /// Working width.
    pub working_width: Length,
    /// Sections of equal width that take a rate of their own; a cell is as wide as one.
    pub sections: u32,
    /// The headland, when it has a rule of its own.
    pub headland: Option<Headland>,
    /// Driving direction.
    pub heading: Heading,
    /// Parts of the field that are driven their own way, in the job's order.
    pub areas: Vec<DriveArea>,
    /// By how much machine files look ahead, when they do.
    pub look_ahead: Option<LookAhead>,
    /// Cell length along the drive.
    pub cell_length: Length,
    /// Driving speed, when given.
    pub speed: Option<Speed>,
    /// Delay before the rate begins to change.
    pub delay: Option<Seconds>,
    /// Time that the change takes.
    pub transition: Option<Seconds>,
    /// How far rates are carried beyond the field in machine files.
    pub overrun: Length,
    /// Least product rate that the machine holds.
    pub minimum_rate: Option<ProductRate>,
    /// Greatest product rate.
    pub maximum_rate: Option<ProductRate>,
    /// What its tank or hopper holds, when given.
    pub capacity: Option<Capacity>,
    /// What cells of a task's grid hold.
    pub grid: GridRates,
    /// Rate on start.
    pub on_start: StateRate,
    /// Rate when position is lost; `Own` when the job does not say: the field rate, or 0 as soon as the field has an exclusion or a hole.
    pub position_lost: StateRate,
    /// Rate outside the field.
    pub outside: StateRate,
}

impl Machine {
    /// Width of a cell: of one section.
    pub fn cell_width(&self) -> Length {
        self.working_width * (1.0 / f64::from(self.sections))
    }
    /// How far the machine drives until a change of rate is done, where that is known.
    pub fn response(&self) -> Option<Length> {
        let (speed, delay, transition) = (self.speed?, self.delay?, self.transition?);
        Some(speed * delay + speed * transition)
    }
}

/// `machine.headland`: what lies within some passes of the boundary.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Headland {
    /// Passes around the field.
    pub passes: u32,
    /// What its canopy gets.
    pub rate: StateRate,
}

/// `[[machine.area]]`: ground that is driven its own way.
#[derive(Clone, Debug, PartialEq)]
pub struct DriveArea {
    /// The ground.
    pub source: VectorSource,
    /// Its driving direction.
    pub heading: Heading,
}

/// `machine.look_ahead`, with `machine.first_pass`: machine files are shifted against the direction of travel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LookAhead {
    /// By how much.
    pub distance: Length,
    /// The direction of the rightmost pass, as seen along the heading, and of those beside it.
    pub first_pass: FirstPass,
}

words! {
    /// `machine.first_pass`.
    pub enum FirstPass {
        /// Along the heading; the next against it, and so on.
        Along = "along",
        /// Against the heading; the next along it, and so on.
        Against = "against",
        /// Every pass along the heading.
        EveryAlong = "every along",
    }
}

/// `machine.heading`.
#[derive(Clone, Debug, PartialEq)]
pub enum Heading {
    /// Degrees clockwise from true north.
    True(f64),
    /// Degrees clockwise from the plane's north.
    Grid(f64),
    /// The boundary's axis.
    Auto,
    /// A guidance line; columns fall on its passes.
    Line(VectorSource),
}
