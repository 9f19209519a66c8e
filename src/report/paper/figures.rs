//! The figures of the paper, each with words for those who cannot see it.

use std::collections::BTreeMap;

use crate::job::settings::{ImageSource, Imagery};
use crate::map::palette::{Colour, Legend};
use crate::pipeline::strips::Strip;
use crate::report::document::Figure;
use crate::report::draw::chart;
use crate::report::draw::drawing::Drawing;
use crate::report::draw::plan::{HALF_PAGE, LeftOut, Plan, Size, colour_of};
use crate::report::draw::raster::IndexOverview;
use crate::report::paper::Paper;
use crate::report::paper::shown::{Shown, percent, ratio};
use crate::units::Area;

/// Height of the index map: room is left on its page for profiles and charts.
const INDEX_HEIGHT: f64 = 330.0;
/// Shares of their height that maps are drawn at where their page has no room for more: Letter is shorter than A4, and a stop takes lines of its own.
const LOWER: [f64; 2] = [0.82, 0.66];

/// What a map is drawn of; `marks` are check points.
fn plan<'a>(
    paper: &'a Paper<'_>,
    exported: &'a [f64],
    left_out: &'a [LeftOut],
    overview: Option<&'a IndexOverview>,
    marks: &'a [(f64, f64)],
) -> Plan<'a> {
    Plan {
        prescription: &paper.outcome.prescription,
        convergence_deg: paper.ground.plane.convergence_deg,
        exported,
        text: paper.text,
        marks,
        overview,
        graticule: paper.graticule,
        left_out,
        set: &paper.ground.set,
        borders: paper.borders(),
    }
}

/// Ground that gets nothing, by the name that the job gives it.
fn left_out(paper: &Paper<'_>) -> Vec<LeftOut> {
    let prescription = &paper.outcome.prescription;
    let reasons: Vec<&String> = paper
        .settings
        .field
        .exclusions
        .iter()
        .filter_map(|exclusion| exclusion.reason.as_ref())
        .collect();
    // Buffers may have joined exclusions: which piece has which reason is known of one alone.
    let name = match reasons[..] {
        [reason] if paper.settings.field.exclusions.len() == 1 => reason.clone(),
        _ => paper.text.say("map-left-out"),
    };
    let each = |shape: &geo::MultiPolygon<f64>, name: &str| -> Vec<LeftOut> {
        shape
            .iter()
            .map(|piece| LeftOut {
                shape: geo::MultiPolygon::new(vec![piece.clone()]),
                name: name.to_owned(),
            })
            .collect()
    };
    let mut found = each(&prescription.exclusions, &name);
    found.extend(each(&paper.ground.holes, &paper.text.say("map-hole")));
    found
}

/// A map for pages that have less room than its height; on a screen every page has.
fn lower(paper: &Paper<'_>, height: f64, draw: impl Fn(Size) -> Drawing) -> Vec<Drawing> {
    if paper.settings.report.pdf {
        LOWER.map(|share| draw(Size::Page(share * height))).into()
    } else {
        Vec::new()
    }
}

/// The map of rates, as high as half a page.
pub(super) fn rates(paper: &Paper<'_>) -> Figure {
    let (text, prescription, shown) = (paper.text, &paper.outcome.prescription, paper.shown());
    let exported = paper.exported();
    let left_out = left_out(paper);
    let (minimum, _, maximum) = paper.rates.minimum_mean_maximum(prescription);
    let plan = plan(paper, &exported, &left_out, paper.overview, &[]);
    Figure {
        drawing: plan.rates(Size::Page(HALF_PAGE)),
        lower: lower(paper, HALF_PAGE, |size| plan.rates(size)),
        phone: Some(plan.rates(Size::Phone)),
        alt: text.with(
            "map-rates-alt",
            &[
                ("zones", &prescription.zones.len().to_string()),
                ("least", &Shown::screen_number(minimum)),
                ("greatest", &Shown::screen_number(maximum)),
                ("unit", shown.screen_unit()),
            ],
        ),
        caption: text.with(
            "map-caption",
            &[
                ("plane", &prescription.plane.to_string()),
                ("name", prescription.plane.name()),
                ("image", &taken_from(paper)),
                ("date", &prescription.image_date.to_string()),
            ],
        ),
        width: 1.0,
    }
}

/// The image's files, or the log of single readings.
fn taken_from(paper: &Paper<'_>) -> String {
    match &paper.settings.imagery {
        Some(Imagery {
            source: ImageSource::Points(rule),
            ..
        }) => rule
            .source
            .path
            .file_name()
            .map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
        _ => paper.image.files.join(", "),
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
    let text = paper.text;
    let exported = paper.exported();
    let left_out = left_out(paper);
    let plan = plan(paper, &exported, &left_out, overview, &[]);
    let name = &paper.image.index_name;
    let mean = ratio(paper.outcome.survey.field_mean);
    Figure {
        drawing: plan.index(name, Size::Page(INDEX_HEIGHT)),
        lower: lower(paper, INDEX_HEIGHT, |size| plan.index(name, size)),
        phone: Some(plan.index(name, Size::Phone)),
        alt: text.with("map-index-alt", &[("index", name), ("mean", &mean)]),
        caption: text.with(
            if overview.is_some() {
                "map-index-caption"
            } else {
                "map-index-caption-cells"
            },
            &[("index", name), ("mean", &mean)],
        ),
        width: 1.0,
    }
}

/// The small map of the card.
pub(super) fn thumbnail(paper: &Paper<'_>, marks: &[(f64, f64)]) -> Figure {
    let (text, prescription) = (paper.text, &paper.outcome.prescription);
    let exported = paper.exported();
    let left_out = left_out(paper);
    Figure {
        drawing: plan(paper, &exported, &left_out, None, marks).thumbnail(),
        lower: Vec::new(),
        phone: None,
        alt: text.say("card-map-alt"),
        caption: text.with("card-map-caption", &[("unit", prescription.rate_label())]),
        width: 1.0,
    }
}

/// Points of a strip's chart, in the unit of its axis.
fn profile_points(paper: &Paper<'_>, strip: &Strip) -> Vec<chart::ProfilePoint> {
    let shown = paper.shown();
    strip
        .profile
        .iter()
        .map(|segment| chart::ProfilePoint {
            along: shown.length_value(f64::midpoint(segment.from, segment.to)),
            strip: segment.strip,
            beside: segment.beside,
            strip_dropped: segment.strip_dropped,
            beside_dropped: segment.beside_dropped,
        })
        .collect()
}

/// The vertical axis that all strips share.
fn profile_range(paper: &Paper<'_>) -> (f64, f64) {
    let strips = &paper.outcome.survey.strips;
    let points: Vec<chart::ProfilePoint> = strips
        .iter()
        .flat_map(|strip| profile_points(paper, strip))
        .collect();
    let means = strips
        .iter()
        .filter_map(|strip| strip.found.as_ref().ok())
        .flat_map(|found| [Some(found.index()), found.beside()])
        .flatten();
    chart::profile_range(points.iter(), means)
}

/// The index along a strip; `None` when there are no segments to show.
pub(super) fn profile(paper: &Paper<'_>, number: usize, strip: &Strip) -> Option<Figure> {
    let (text, shown) = (paper.text, paper.shown());
    let found = strip.found.as_ref().ok()?;
    if strip.profile.iter().all(|segment| segment.strip.is_none()) {
        return None;
    }
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
        &profile_points(paper, strip),
        (found.index(), beside),
        length,
        profile_range(paper),
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
        lower: Vec::new(),
        phone: None,
        alt: caption.clone(),
        caption,
        width: 1.0,
    })
}

/// What placebo strips vary by, with the strips' own ratios; `None` where the field has no place for them.
pub(super) fn placebo(paper: &Paper<'_>) -> Option<Figure> {
    let text = paper.text;
    let reference = &paper.outcome.reference;
    let found = reference.placebo.as_ref()?;
    let measured = || {
        paper
            .outcome
            .survey
            .placebos
            .iter()
            .filter_map(|placebo| placebo.as_ref().ok())
            .map(|placebo| &placebo.measured)
    };
    let ratios: Vec<f64> = measured()
        .flat_map(|strip| strip.ratios.iter().copied())
        .collect();
    let own: Vec<(f64, String)> = (1..)
        .zip(&paper.outcome.survey.placebos)
        .filter_map(|(number, placebo): (u32, _)| {
            Some((number, placebo.as_ref().ok()?.measured.ratio))
        })
        .filter(|(_, ratio)| *ratio > 0.0)
        .map(|(number, ratio)| {
            (
                ratio,
                text.with("map-strip", &[("number", &number.to_string())]),
            )
        })
        .collect();
    let spread = percent(found.spread);
    let places = found.places.to_string();
    let values = [
        ("places", places.as_str()),
        ("spread", &spread),
        ("probability", &percent(found.answer.probability)),
    ];
    let alt = text.with("placebo-alt", &values);
    let drawing = chart::placebo(
        &ratios,
        &own,
        reference.low.zip(reference.high),
        (&text.say("placebo-ratio"), &text.say("placebo-places")),
        &alt,
    );
    Some(Figure {
        drawing,
        lower: Vec::new(),
        phone: None,
        alt,
        caption: text.with("placebo-caption", &values),
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
                    .filter(|(rate, _)| (class.minimum..=class.maximum).contains(rate))
                    .map(|(_, area)| area)
                    .sum();
                (
                    format!("{:.0}–{:.0}", class.minimum, class.maximum),
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
        lower: Vec::new(),
        phone: None,
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
        lower: Vec::new(),
        phone: None,
        alt,
        caption: text.say("response-caption"),
        width: 1.0,
    })
}
