//! The figures of the paper, each with words for those who cannot see it.

use std::collections::BTreeMap;

use crate::map::palette::{Colour, Legend};
use crate::pipeline::strips::Strip;
use crate::report::document::Figure;
use crate::report::draw::chart;
use crate::report::draw::plan::{Plan, colour_of};
use crate::report::draw::raster::IndexOverview;
use crate::report::paper::Paper;
use crate::report::paper::shown::{Shown, ratio};
use crate::units::Area;

/// The map of rates.
pub(super) fn rates(paper: &Paper<'_>) -> Figure {
    let (text, prescription, shown) = (paper.text, &paper.outcome.prescription, paper.shown());
    let exported = paper.exported();
    let (least, _, greatest) = paper.rates.least_mean_greatest(prescription);
    let marks: Vec<(f64, f64)> = Vec::new();
    let plan = Plan {
        prescription,
        convergence_deg: paper.ground.plane.convergence_deg,
        exported: &exported,
        text,
        marks: &marks,
    };
    Figure {
        drawing: plan.rates(),
        alt: text.with(
            "map-rates-alt",
            &[
                ("zones", &prescription.zones.len().to_string()),
                ("least", &Shown::screen_number(least)),
                ("greatest", &Shown::screen_number(greatest)),
                ("unit", shown.screen_unit()),
            ],
        ),
        caption: text.with(
            "map-caption",
            &[
                ("plane", &prescription.plane.to_string()),
                ("name", prescription.plane.name()),
                ("image", &paper.image.files.join(", ")),
                ("date", &prescription.image_date.to_string()),
            ],
        ),
        width: 1.0,
    }
}

/// The map of the index, as it was taken where that is known.
pub(super) fn index(paper: &Paper<'_>) -> Figure {
    index_of(paper, paper.overview)
}

/// The map of the index by cell.
pub(super) fn cells(paper: &Paper<'_>) -> Figure {
    index_of(paper, None)
}

fn index_of(paper: &Paper<'_>, overview: Option<&IndexOverview>) -> Figure {
    let (text, prescription) = (paper.text, &paper.outcome.prescription);
    let exported = paper.exported();
    let plan = Plan {
        prescription,
        convergence_deg: paper.ground.plane.convergence_deg,
        exported: &exported,
        text,
        marks: &[],
    };
    let mean = ratio(paper.outcome.looked.field_mean);
    Figure {
        drawing: plan.index(&paper.image.index_name, overview),
        alt: text.with(
            "map-index-alt",
            &[("index", &paper.image.index_name), ("mean", &mean)],
        ),
        caption: text.with(
            if overview.is_some() {
                "map-index-caption"
            } else {
                "map-index-caption-cells"
            },
            &[("index", &paper.image.index_name), ("mean", &mean)],
        ),
        width: 1.0,
    }
}

/// The small map of the card.
pub(super) fn thumbnail(paper: &Paper<'_>, marks: &[(f64, f64)]) -> Figure {
    let (text, prescription) = (paper.text, &paper.outcome.prescription);
    let exported = paper.exported();
    let plan = Plan {
        prescription,
        convergence_deg: paper.ground.plane.convergence_deg,
        exported: &exported,
        text,
        marks,
    };
    Figure {
        drawing: plan.thumbnail(),
        alt: text.say("card-map-alt"),
        caption: text.with("card-map-caption", &[("unit", prescription.rate_label())]),
        width: 1.0,
    }
}

/// The index along a strip; `None` when there are no segments to show.
pub(super) fn profile(
    paper: &Paper<'_>,
    number: usize,
    strip: &Strip,
    wide: bool,
) -> Option<Figure> {
    let (text, shown) = (paper.text, paper.shown());
    let found = strip.found.as_ref().ok()?;
    if strip.profile.iter().all(|segment| segment.strip.is_none()) {
        return None;
    }
    let points: Vec<chart::ProfilePoint> = strip
        .profile
        .iter()
        .map(|segment| chart::ProfilePoint {
            along: shown.length_value(f64::midpoint(segment.from, segment.to)),
            strip: segment.strip,
            beside: segment.beside,
            strip_dropped: segment.strip_dropped,
            beside_dropped: segment.beside_dropped,
        })
        .collect();
    let length = shown.length_value(strip.profile.last().map_or(1.0, |segment| segment.to));
    let number = number.to_string();
    let title = text.with(
        "profile-title",
        &[("number", &number), ("index", &paper.image.index_name)],
    );
    let words = chart::ProfileWords {
        title: &title,
        along: &text.with("profile-along", &[("unit", shown.length_unit())]),
        index: &paper.image.index_name,
        strip: &text.say("profile-strip"),
        beside: &text.say("profile-beside"),
        dropped: &text.say("profile-dropped"),
    };
    let beside = found.beside();
    let drawing = chart::profile(
        &points,
        (found.index(), beside),
        length,
        if wide { 720.0 } else { 352.0 },
        &words,
    );
    let mut caption = match beside {
        Some(beside) => text.with(
            "profile-caption",
            &[
                ("number", &number),
                ("strip", &ratio(found.index())),
                ("beside", &ratio(beside)),
                ("ratio", &ratio(found.index() / beside)),
            ],
        ),
        None => text.with(
            "profile-caption-alone",
            &[("number", &number), ("strip", &ratio(found.index()))],
        ),
    };
    if let Some((low, high)) = found.interval() {
        caption.push(' ');
        caption.push_str(&text.with(
            "profile-interval",
            &[("low", &ratio(low)), ("high", &ratio(high))],
        ));
    }
    Some(Figure {
        drawing,
        alt: caption.clone(),
        caption,
        width: 1.0,
    })
}

/// Area by rate.
pub(super) fn histogram(paper: &Paper<'_>) -> Figure {
    let (text, shown, prescription) = (paper.text, paper.shown(), &paper.outcome.prescription);
    let exported = paper.exported();
    let scale = Legend::new("", prescription.rate_label(), exported.iter().copied());
    let mut areas: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
    for (zone, rate) in prescription.zones.iter().zip(&exported) {
        let entry = areas
            .entry(libm::round(rate * 100.0) as i64)
            .or_insert((*rate, 0.0));
        entry.1 += zone.area.get();
    }
    let mut bars: Vec<(String, f64, Colour)> = areas
        .values()
        .map(|(rate, area)| {
            (
                format!("{rate:.0}"),
                shown.area_value(Area::m2(*area)),
                colour_of(&scale, *rate),
            )
        })
        .collect();
    // Hundreds of rates, as after an adviser's edit, are told by classes.
    if bars.len() > 24 {
        bars = scale
            .classes
            .iter()
            .map(|class| {
                let area: f64 = areas
                    .values()
                    .filter(|(rate, _)| (class.least..=class.greatest).contains(rate))
                    .map(|(_, area)| area)
                    .sum();
                (
                    format!("{:.0}–{:.0}", class.least, class.greatest),
                    shown.area_value(Area::m2(area)),
                    class.colour,
                )
            })
            .collect();
    }
    let most = areas
        .values()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map_or((0.0, 0.0), |most| *most);
    let alt = text.with(
        "histogram-alt",
        &[
            ("count", &areas.len().to_string()),
            ("rate", &shown.screen(most.0)),
            ("area", &shown.area(Area::m2(most.1))),
        ],
    );
    let drawing = chart::histogram(
        &bars,
        &text.with("histogram-rate", &[("unit", shown.screen_unit())]),
        &text.with("histogram-area", &[("unit", shown.area_unit())]),
        &alt,
    );
    Figure {
        drawing,
        alt,
        caption: text.say("histogram-caption"),
        width: 1.0,
    }
}

/// What flat rates would bring, with the field's place on the curve.
pub(super) fn response(paper: &Paper<'_>) -> Option<Figure> {
    let (text, shown, outcome) = (paper.text, paper.shown(), paper.outcome);
    if paper.response.len() < 2 {
        return None;
    }
    let points: Vec<(f64, f64)> = paper
        .response
        .iter()
        .map(|(n, grain)| (shown.rate_value(*n), shown.yield_value(*grain)))
        .collect();
    let at = |rate: f64| {
        let next = points
            .iter()
            .position(|point| point.0 >= rate)
            .unwrap_or(points.len() - 1)
            .max(1);
        let (a, b) = (points[next - 1], points[next]);
        a.1 + (b.1 - a.1) * ((rate - a.0) / (b.0 - a.0)).clamp(0.0, 1.0)
    };
    let mean = shown.rate_value(outcome.totals.mean_rate);
    let mut labels = vec![(
        mean,
        text.with(
            "response-flat",
            &[("rate", &shown.rate(outcome.totals.mean_rate))],
        ),
    )];
    if let Some(usual) = paper.settings.rate.usual {
        labels.push((
            shown.rate_value(usual),
            text.with("response-usual", &[("rate", &shown.rate(usual))]),
        ));
    }
    let places: Vec<chart::Place<'_>> = labels
        .iter()
        .map(|(rate, label)| chart::Place {
            x: *rate,
            y: at(*rate),
            label,
        })
        .collect();
    let (first, last) = (paper.response.first()?, paper.response.last()?);
    let alt = text.with(
        "response-alt",
        &[
            ("without", &shown.grain(first.1)),
            ("with", &shown.grain(last.1)),
            ("rate", &shown.rate(last.0)),
        ],
    );
    let drawing = chart::curve(
        &points,
        &places,
        &text.with("response-rate", &[("unit", shown.rate_unit())]),
        &text.with("response-yield", &[("unit", shown.yield_unit())]),
        &alt,
    );
    Some(Figure {
        drawing,
        alt,
        caption: text.say("response-caption"),
        width: 1.0,
    })
}
