//! Which keys of a job need [`prepare`](crate::prepare) again when they change: all others are decided anew from what was read.

use crate::job::keys::{FIELD, IMAGERY, MACHINE, RATE, REFERENCE, ROOT};
use crate::job::settings::{ImageSource, Imagery, Settings, StripsUse, VectorSource};
use crate::key::Key;
use crate::science::methods::yield_response;

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

/// Keys that decide what is read, by their rows; a table's row stands for all of it.
const KEYS: &[(Key, Alike)] = &[
    (FIELD.boundary.row, |a, b| {
        a.field.boundary == b.field.boundary
    }),
    (FIELD.crs.row, |a, b| a.field.crs == b.field.crs),
    (FIELD.strips.row, |a, b| {
        a.field.map_strips == b.field.map_strips
    }),
    (FIELD.exclude.row, |a, b| {
        a.field.exclusions == b.field.exclusions
    }),
    (FIELD.edge.row, |a, b| a.field.edges == b.field.edges),
    (ROOT.points.row, |a, b| {
        let points = |imagery: &Imagery| match &imagery.source {
            ImageSource::Points(points) => Some(points.clone()),
            ImageSource::One(_) | ImageSource::PerBand(_) => None,
        };
        of_image(a, b, points)
    }),
    (IMAGERY.path.row, |a, b| {
        let files = |imagery: &Imagery| match &imagery.source {
            ImageSource::Points(_) => None,
            files => Some(files.clone()),
        };
        of_image(a, b, files)
    }),
    (IMAGERY.date.row, |a, b| of_image(a, b, |image| image.date)),
    (IMAGERY.index.row, |a, b| {
        of_image(a, b, |image| image.index.clone())
    }),
    (IMAGERY.bands.row, |a, b| {
        of_image(a, b, |image| image.bands.clone())
    }),
    (IMAGERY.scale.row, |a, b| {
        of_image(a, b, |image| image.scale)
    }),
    (IMAGERY.offset.row, |a, b| {
        of_image(a, b, |image| image.offset)
    }),
    (IMAGERY.nodata.row, |a, b| {
        of_image(a, b, |image| image.nodata)
    }),
    (IMAGERY.bare_below.row, |a, b| {
        of_image(a, b, |image| image.bare_below)
    }),
    (IMAGERY.pixel_inside.row, |a, b| {
        of_image(a, b, |image| image.pixel_inside)
    }),
    (IMAGERY.point_spread.row, |a, b| {
        of_image(a, b, |image| image.point_spread.clone())
    }),
    (IMAGERY.mask.row, |a, b| {
        of_image(a, b, |image| image.mask.clone())
    }),
    (ROOT.reference.row, |a, b| {
        a.reference.source == b.reference.source
    }),
    (REFERENCE.inset.row, |a, b| {
        a.reference.inset == b.reference.inset
    }),
    (REFERENCE.gap.row, |a, b| a.reference.gap == b.reference.gap),
    (REFERENCE.segments.row, |a, b| {
        a.reference.segments == b.reference.segments
    }),
    (REFERENCE.drop.row, |a, b| {
        same(a.reference.drop, b.reference.drop)
    }),
    (REFERENCE.zones.row, |a, b| {
        zone_layer(b).is_none() || zone_layer(a) == zone_layer(b)
    }),
    (RATE.set.row, |a, b| {
        let shapes = |settings: &Settings| {
            let each = settings.rate.set.iter().map(|set| set.source.clone());
            each.collect::<Vec<_>>()
        };
        shapes(a) == shapes(b)
    }),
    (ROOT.season.row, |a, b| a.season == b.season),
    (MACHINE.working_width.row, |a, b| {
        a.machine.working_width == b.machine.working_width
    }),
    (MACHINE.sections.row, |a, b| {
        a.machine.sections == b.machine.sections
    }),
    (MACHINE.cell_length.row, |a, b| {
        a.machine.cell_length == b.machine.cell_length
    }),
    (MACHINE.heading.row, |a, b| {
        a.machine.heading == b.machine.heading
    }),
    (MACHINE.area.row, |a, b| a.machine.areas == b.machine.areas),
    (MACHINE.headland.row, |a, b| {
        let passes = |settings: &Settings| settings.machine.headland.map(|rule| rule.passes);
        passes(a) == passes(b)
    }),
    (MACHINE.overrun.row, |a, b| {
        a.machine.overrun == b.machine.overrun
    }),
];

fn same(a: f64, b: f64) -> bool {
    a.total_cmp(&b).is_eq()
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
pub fn keys_to_reread(read: &Settings, asked: &Settings, ready_band: bool) -> Vec<String> {
    let refitted = ready_band && read.response.index() != asked.response.index();
    let fitted_with = refitted.then(|| yield_response::KEYS.yield_curve.full());
    KEYS.iter()
        .filter(|(_, alike)| !alike(read, asked))
        .map(|(key, _)| key.full())
        .chain(fitted_with)
        .collect()
}
