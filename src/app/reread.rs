//! Which keys of a job need [`prepare`](crate::prepare) again when they change: all others are decided anew from what was read.

use crate::job::settings::{ImageSource, Imagery, Settings, StripsUse, VectorSource};

/// Whether two settings are alike in a key.
type Alike = fn(&Settings, &Settings) -> bool;

/// Layer of the reference's zones.
const fn zone_layer(settings: &Settings) -> Option<&VectorSource> {
    match &settings.reference.strips_use {
        StripsUse::Zones { source, .. } => Some(source),
        StripsUse::Pooled | StripsUse::Nearest | StripsUse::InverseDistance => None,
    }
}

/// Whether something of the image is alike.
fn of_image<T: PartialEq>(a: &Settings, b: &Settings, pick: impl Fn(&Imagery) -> T) -> bool {
    a.imagery.as_ref().map(&pick) == b.imagery.as_ref().map(&pick)
}

/// Keys, as a job has them, that decide what is read; a table's name stands for all of it.
const KEYS: &[(&str, Alike)] = &[
    ("field.boundary", |a, b| {
        a.field.boundary == b.field.boundary
    }),
    ("field.crs", |a, b| a.field.crs == b.field.crs),
    ("field.strips", |a, b| {
        a.field.map_strips == b.field.map_strips
    }),
    ("field.exclude", |a, b| {
        a.field.exclusions == b.field.exclusions
    }),
    ("field.edge", |a, b| a.field.edges == b.field.edges),
    ("points", |a, b| {
        let points = |imagery: &Imagery| match &imagery.source {
            ImageSource::Points(points) => Some(points.clone()),
            ImageSource::One(_) | ImageSource::PerBand(_) => None,
        };
        of_image(a, b, points)
    }),
    ("imagery.path", |a, b| {
        let files = |imagery: &Imagery| match &imagery.source {
            ImageSource::Points(_) => None,
            files => Some(files.clone()),
        };
        of_image(a, b, files)
    }),
    ("imagery.date", |a, b| of_image(a, b, |image| image.date)),
    ("imagery.index", |a, b| {
        of_image(a, b, |image| image.index.clone())
    }),
    ("imagery.bands", |a, b| {
        of_image(a, b, |image| image.bands.clone())
    }),
    ("imagery.scale", |a, b| of_image(a, b, |image| image.scale)),
    ("imagery.offset", |a, b| {
        of_image(a, b, |image| image.offset)
    }),
    ("imagery.nodata", |a, b| {
        of_image(a, b, |image| image.nodata)
    }),
    ("imagery.bare_below", |a, b| {
        of_image(a, b, |image| image.bare_below)
    }),
    ("imagery.pixel_inside", |a, b| {
        of_image(a, b, |image| image.pixel_inside)
    }),
    ("imagery.point_spread", |a, b| {
        of_image(a, b, |image| image.point_spread.clone())
    }),
    ("imagery.mask", |a, b| {
        of_image(a, b, |image| image.mask.clone())
    }),
    ("reference", |a, b| a.reference.source == b.reference.source),
    ("reference.inset", |a, b| {
        a.reference.inset == b.reference.inset
    }),
    ("reference.gap", |a, b| a.reference.gap == b.reference.gap),
    ("reference.segments", |a, b| {
        a.reference.segments == b.reference.segments
    }),
    ("reference.drop", |a, b| {
        same(a.reference.drop, b.reference.drop)
    }),
    ("reference.zones", |a, b| {
        zone_layer(b).is_none() || zone_layer(a) == zone_layer(b)
    }),
    ("rate.set", |a, b| {
        let shapes = |settings: &Settings| {
            let each = settings.rate.set.iter().map(|set| set.source.clone());
            each.collect::<Vec<_>>()
        };
        shapes(a) == shapes(b)
    }),
    ("season", |a, b| a.season == b.season),
    ("machine.working_width", |a, b| {
        a.machine.working_width == b.machine.working_width
    }),
    ("machine.sections", |a, b| {
        a.machine.sections == b.machine.sections
    }),
    ("machine.cell_length", |a, b| {
        a.machine.cell_length == b.machine.cell_length
    }),
    ("machine.heading", |a, b| {
        a.machine.heading == b.machine.heading
    }),
    ("machine.area", |a, b| a.machine.areas == b.machine.areas),
    ("machine.headland", |a, b| {
        let passes = |settings: &Settings| settings.machine.headland.map(|rule| rule.passes);
        passes(a) == passes(b)
    }),
    ("machine.overrun", |a, b| {
        a.machine.overrun == b.machine.overrun
    }),
];

/// The index that a ready band is held to the range of.
const FITTED_WITH: &str = "response.yield_curve";

fn same(a: f64, b: f64) -> bool {
    a.total_cmp(&b).is_eq()
}

/// Every key that can need [`prepare`](crate::prepare) again, as a job has it.
pub fn keys_of_prepare() -> impl Iterator<Item = &'static str> {
    KEYS.iter().map(|(key, _)| *key).chain([FITTED_WITH])
}

/// The keys in which `asked` differs from what was `read`, and that need [`prepare`](crate::prepare) again; none when a decision can be made at once.
///
/// `ready_band`: whether the image holds the index itself. Its pixels were held to the range of the index that the yield curve was fitted with.
///
/// # Examples
/// ```
/// use haulm::app::reread::keys_to_reread;
/// use haulm::units::Length;
/// use haulm::{Common, Silent, prepare};
///
/// let prepared = prepare("demo/job.toml".as_ref(), &Common::default(), &Silent)?;
/// let mut asked = prepared.settings().clone();
/// asked.machine.cell_length = Length::m(12.0);
/// assert_eq!(keys_to_reread(prepared.settings(), &asked, false), ["machine.cell_length"]);
/// # Ok::<(), haulm::AppError>(())
/// ```
pub fn keys_to_reread(read: &Settings, asked: &Settings, ready_band: bool) -> Vec<&'static str> {
    let fitted_with =
        (ready_band && read.response.index() != asked.response.index()).then_some(FITTED_WITH);
    KEYS.iter()
        .filter(|(_, alike)| !alike(read, asked))
        .map(|(key, _)| *key)
        .chain(fitted_with)
        .collect()
}
