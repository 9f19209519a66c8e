//! Hatching of ground that is not plain crop, so that a grey print tells it apart.

use crate::map::palette::{Ground, INK, PAPER};
use crate::map::prescription::CellState;
use crate::report::draw::drawing::{Item, Stroke, Style};

/// Side of a tile. \[drawing units\]
pub(crate) const TILE: f64 = 8.0;

/// Ground that is drawn over the rates. The signs of unseen, bare and left out are the palette's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Hatch {
    /// Mostly bare ground: dots.
    Bare,
    /// Not seen: crossed lines.
    Unseen,
    /// Thin crop: upright lines.
    Thin,
    /// Left out with its buffer: lines that rise.
    LeftOut,
}

impl Hatch {
    /// All of them, in the order of the legend.
    pub const ALL: [Self; 4] = [Self::Thin, Self::Bare, Self::Unseen, Self::LeftOut];

    /// The hatch of a cell's state, if it has one.
    pub const fn of(state: CellState) -> Option<Self> {
        match state {
            CellState::Bare => Some(Self::Bare),
            CellState::Unseen => Some(Self::Unseen),
            CellState::Thin => Some(Self::Thin),
            CellState::Canopy | CellState::Sliver => None,
        }
    }
    /// Its name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Bare => "bare",
            Self::Unseen => "unseen",
            Self::Thin => "thin",
            Self::LeftOut => "left-out",
        }
    }
}

/// A tile of the hatch, [`TILE`] a side: ink on a white casing, so that it shows on pale and on dark ground.
pub(crate) fn tile(hatch: Hatch) -> Vec<Item> {
    let lines = |rings: Vec<Vec<(f64, f64)>>| {
        [Stroke::new(PAPER, 2.4), Stroke::new(INK, 1.0)]
            .map(|stroke| Item::Path {
                rings: rings.clone(),
                closed: false,
                style: Style::line(stroke),
            })
            .to_vec()
    };
    let rising = || {
        vec![
            vec![(-1.0, 9.0), (9.0, -1.0)],
            vec![(-1.0, 1.0), (1.0, -1.0)],
            vec![(7.0, 9.0), (9.0, 7.0)],
        ]
    };
    let falling = || {
        vec![
            vec![(-1.0, -1.0), (9.0, 9.0)],
            vec![(-1.0, 7.0), (1.0, 9.0)],
            vec![(7.0, -1.0), (9.0, 1.0)],
        ]
    };
    match hatch {
        Hatch::Bare => [(2.0, 2.0), (6.0, 6.0)]
            .into_iter()
            .flat_map(|at| {
                [(1.8, PAPER), (1.1, INK)].map(|(radius, colour)| Item::Circle {
                    at,
                    radius,
                    style: Style::filled(colour),
                })
            })
            .collect(),
        Hatch::Unseen => lines(rising().into_iter().chain(falling()).collect()),
        Hatch::Thin => lines(vec![vec![(4.0, 0.0), (4.0, 8.0)]]),
        Hatch::LeftOut => {
            let ground = vec![vec![(0.0, 0.0), (TILE, 0.0), (TILE, TILE), (0.0, TILE)]];
            vec![
                Item::Path {
                    rings: ground,
                    closed: true,
                    style: Style::filled(Ground::LeftOut.colour()),
                },
                Item::Path {
                    rings: rising(),
                    closed: false,
                    style: Style::line(Stroke::new(INK, 0.8)),
                },
            ]
        }
    }
}
