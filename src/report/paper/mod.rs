//! The paper: what was measured, what was computed, what to put on, what it brings, how sure that is, and what to watch out for.
//!
//! Everything comes from the run's outcome and from the record; nothing is worked out here that another output could say differently.

mod appendix;
mod card;
mod cautions;
mod figures;
mod page_five;
mod page_four;
mod page_one;
mod page_three;
mod page_two;
mod shown;
mod walk;

pub(crate) use card::card_document;
pub(crate) use walk::{scout_name, scout_words};

use std::cell::OnceCell;

use serde_json::{Map, Value};

use crate::finding::Finding;
use crate::job::settings::Settings;
use crate::map::check_points::CheckPoint;
use crate::map::file_totals::{FileNames, FileTotal};
use crate::map::machine::MachineRates;
use crate::map::scouting::ScoutPoint;
use crate::pipeline::ground::Ground;
use crate::pipeline::run::Outcome;
use crate::pipeline::season::GrowingSeason;
use crate::report::document::{Document, Part};
use crate::report::draw::borders::Borders;
use crate::report::draw::drawing::Drawing;
use crate::report::draw::frame::Graticule;
use crate::report::draw::raster::IndexOverview;
use crate::report::paper::shown::Shown;
use crate::report::text::Text;
use crate::units::{NRate, Yield};

/// What is known of the image.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct ImageFacts {
    /// The index's name.
    pub index_name: String,
    /// Its formula.
    pub formula: String,
    /// Where it was published; empty when the user wrote it.
    pub index_source: String,
    /// Its files, as the record names them.
    pub files: Vec<String>,
}

/// One month of the weather record, of the days between planting and sensing.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct WeatherMonth {
    /// Year and month.
    pub month: String,
    /// Days counted.
    pub days: u32,
    /// Mean of least temperatures, in the record's unit.
    pub tmin: f64,
    /// Mean of greatest temperatures, in the record's unit.
    pub tmax: f64,
    /// Growing days.
    pub growing_days: u32,
}

/// The weather record by month.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct WeatherMonths {
    /// Unit of temperatures.
    pub unit: &'static str,
    /// Months, first to last.
    pub months: Vec<WeatherMonth>,
}

/// A figure that can be drawn alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// Map of rates by zone.
    Rates,
    /// Map of the index as it was taken.
    Index,
    /// Map of the index by cell.
    Cells,
    /// Index along a strip, by number.
    Profile(u32),
    /// Area by rate.
    Histogram,
    /// What flat rates would bring.
    Response,
    /// What placebo strips vary by, and the strips beside them.
    Placebo,
}

impl Subject {
    /// The word of it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Rates => "rates",
            Self::Index => "index",
            Self::Cells => "cells",
            Self::Profile(_) => "profile",
            Self::Histogram => "histogram",
            Self::Response => "response",
            Self::Placebo => "placebo",
        }
    }
}

/// Everything that the paper is made of.
pub(crate) struct Paper<'a> {
    /// The settings.
    pub settings: &'a Settings,
    /// The ground.
    pub ground: &'a Ground,
    /// What was found.
    pub outcome: &'a Outcome,
    /// What was noticed.
    pub findings: &'a [Finding],
    /// The record, without outputs and time.
    pub core: &'a Map<String, Value>,
    /// Rates as the machine gets them.
    pub rates: &'a MachineRates,
    /// Check points.
    pub points: &'a [CheckPoint],
    /// What each file for machines puts on the field.
    pub file_totals: &'a [FileTotal],
    /// What these files are called.
    pub file_names: &'a FileNames,
    /// Places to walk to.
    pub scouts: &'a [ScoutPoint],
    /// The index as it was taken.
    pub overview: Option<&'a IndexOverview>,
    /// Lines of latitude and longitude over all that maps show.
    pub graticule: &'a Graticule,
    /// The image.
    pub image: &'a ImageFacts,
    /// Growing days, and how they were counted.
    pub season: &'a GrowingSeason,
    /// The weather record by month, when growing days come from one.
    pub weather: Option<&'a WeatherMonths>,
    /// Mean yield of the canopy at flat rates.
    pub response: &'a [(NRate, Yield)],
    /// Precautions for the product, from the table of products.
    pub product_cautions: &'a [String],
    /// Those of them that the card repeats: what harms people, leaves and machine.
    pub card_cautions: &'a [String],
    /// Command that repeats the run.
    pub command: &'a str,
    /// Whether nothing was written for the machine.
    pub stopped: bool,
    /// Words.
    pub text: &'a Text,
    /// Borders of the zones, which several maps draw.
    pub borders: OnceCell<Borders>,
}

impl<'a> Paper<'a> {
    fn borders(&self) -> &Borders {
        let zones = &self.outcome.prescription.zones;
        self.borders.get_or_init(|| Borders::of(zones))
    }

    fn shown(&self) -> Shown<'a> {
        Shown::new(self.settings, &self.outcome.prescription)
    }

    /// A value of the record by its path.
    fn record(&self, path: &[&str]) -> Option<&'a Value> {
        let mut value = self.core.get(*path.first()?)?;
        for key in &path[1..] {
            value = value.get(key)?;
        }
        Some(value).filter(|value| !value.is_null())
    }

    /// Rates of zones as exported, in the order of zones.
    fn exported(&self) -> Vec<f64> {
        self.rates
            .zones
            .iter()
            .map(crate::map::machine::ZoneRate::exported)
            .collect()
    }

    /// One figure alone; `None` when the run has nothing to draw for it.
    pub(crate) fn picture(&self, subject: Subject) -> Option<Drawing> {
        match subject {
            Subject::Rates => Some(figures::rates(self)),
            Subject::Index => Some(figures::index(self)),
            Subject::Cells => Some(figures::cells(self)),
            Subject::Profile(number) => {
                let strip = self
                    .outcome
                    .survey
                    .strips
                    .get((number as usize).checked_sub(1)?)?;
                figures::profile(self, number as usize, strip)
            }
            Subject::Histogram => Some(figures::histogram(self)),
            Subject::Response => figures::response(self),
            Subject::Placebo => figures::placebo(self),
        }
        .map(|figure| figure.drawing)
    }

    /// Growing days as text; a dash where the method needs none and the job states none.
    fn days(&self) -> String {
        let days = self.season.growing_days;
        if days.is_finite() {
            format!("{days:.0}")
        } else {
            self.text.say("table-none")
        }
    }

    /// One line below the title: crop, image, map, and under which names they are filed.
    fn subject(&self) -> String {
        let (text, prescription) = (self.text, &self.outcome.prescription);
        let mut subject = text.with(
            "page-subject",
            &[
                ("crop", &prescription.crop),
                ("image", &prescription.image_date.to_string()),
                ("map", &prescription.map_id),
            ],
        );
        for (key, name) in [
            ("page-client", &prescription.client),
            ("page-farm", &prescription.farm),
        ] {
            if let Some(name) = name {
                subject.push_str(&text.with(key, &[("name", name)]));
            }
        }
        subject
    }

    /// The frame that all documents of a run share.
    fn document(&self, title: String, parts: Vec<Part>) -> Document {
        let (text, prescription) = (self.text, &self.outcome.prescription);
        let foot = text.with(
            "page-foot",
            &[
                ("field", &prescription.field_name),
                ("map", &prescription.map_id),
                ("version", env!("CARGO_PKG_VERSION")),
            ],
        );
        Document {
            title,
            language: Text::LANGUAGE,
            subject: self.subject(),
            foot,
            warning: self.stopped.then(|| text.say("page-not-for-use")),
            letter: self.settings.output.us_units,
            parts,
        }
    }

    /// The report: five pages, and the appendix where the job asks for it.
    pub(crate) fn report(&self) -> Document {
        let prescription = &self.outcome.prescription;
        let mut parts = vec![
            page_one::part(self),
            page_two::part(self),
            page_three::part(self),
        ];
        // Of a stopped run nothing may be applied, so there is nothing to walk, plan or sign for.
        if !self.stopped {
            parts.push(page_four::part(self));
        }
        parts.push(page_five::part(self));
        if self.settings.report.appendix {
            parts.extend(appendix::part(self));
        }
        self.document(
            self.text
                .with("page-title", &[("field", &prescription.field_name)]),
            parts,
        )
    }
}
