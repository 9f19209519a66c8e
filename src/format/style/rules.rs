//! What a style says, before anybody decides in which format.

use crate::map::palette::{Colour, Ground, Hatch, INK, Legend};
use crate::map::prescription::CellState;

/// Which features a rule takes.
#[derive(Clone, Debug, PartialEq)]
pub enum Which {
    /// All.
    All,
    /// Those whose value is at least `from` and below `to`, or equal to it if `closed`.
    Between {
        /// Lower break.
        from: f64,
        /// Upper break.
        to: f64,
        /// Whether the upper break belongs to it.
        closed: bool,
    },
    /// Those whose state is this word.
    State(&'static str),
}

/// How they are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Filled, with a thin border.
    Fill(Colour),
    /// Hatched over what lies below.
    Hatch(Hatch),
    /// An outline; dashed if told.
    Outline {
        /// Whether it is dashed.
        dashed: bool,
    },
}

/// One line of a legend.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// What the legend says.
    pub label: String,
    /// Which features.
    pub which: Which,
    /// How they are drawn.
    pub mark: Mark,
}

/// A style of polygons.
#[derive(Clone, Debug, PartialEq)]
pub struct Style {
    /// Heading of the legend, with the unit.
    pub title: String,
    /// Column of the values; empty when no rule asks for values.
    pub column: &'static str,
    /// Column of the states; empty when no rule asks for states.
    pub state_column: &'static str,
    /// Rules, drawn in this order.
    pub rules: Vec<Rule>,
}

/// Borders and hatches.
pub(super) const LINE: Colour = INK;

impl Style {
    /// Rates by the classes of a legend; with a column of states, unseen and bare ground is hatched over its rate.
    pub fn rates(
        legend: &Legend,
        column: &'static str,
        state_column: Option<&'static str>,
    ) -> Self {
        let last = legend.classes.len().saturating_sub(1);
        let classes = legend.classes.iter().enumerate().map(|(i, class)| Rule {
            label: class.label.clone(),
            which: Which::Between {
                from: class.from,
                to: class.to,
                closed: i == last,
            },
            mark: Mark::Fill(class.colour),
        });
        let states = [
            (CellState::Unseen, Ground::Unseen),
            (CellState::Bare, Ground::Bare),
        ]
        .map(|(state, ground)| Rule {
            label: ground.label().to_owned(),
            which: Which::State(state.word()),
            mark: Mark::Hatch(ground.hatch()),
        });
        let rules = classes
            .chain(states.into_iter().filter(|_| state_column.is_some()))
            .collect();
        Self {
            title: format!("{}, {}", legend.title, legend.unit),
            column,
            state_column: state_column.unwrap_or(""),
            rules,
        }
    }

    /// An outline alone.
    pub fn outline(title: &str, dashed: bool) -> Self {
        let rule = Rule {
            label: title.to_owned(),
            which: Which::All,
            mark: Mark::Outline { dashed },
        };
        Self {
            title: title.to_owned(),
            column: "",
            state_column: "",
            rules: vec![rule],
        }
    }
}
