//! The ways that a field is driven: the machine's grid by heading or guidance line, and parts of the field with a heading of their own.

use geo::Area as _;
use geo::BooleanOps;
use geo::Distance as _;
use geo::Euclidean;
use geo::Line;
use geo::LineString;
use geo::MultiPolygon;
use geo::Point;

use crate::finding::Finding;
use crate::pipeline::ground::GroundError;
use crate::pipeline::settings::Heading;
use crate::pipeline::settings::Machine;
use crate::space::cells::Border;
use crate::space::cells::CellFrame;
use crate::space::cells::CellGrid;
use crate::space::lay::lay;
use crate::space::plane::Plane;
use crate::space::polygon::least_rectangle;
use crate::space::polygon::oriented;
use crate::space::regions::split;

/// Ground that is driven one way.
#[derive(Clone, Debug)]
pub struct Driven {
    /// What it is called in messages: `area 1 (slope.geojson)`, `the rest of the field`.
    pub name: String,
    /// The mapped ground.
    pub region: MultiPolygon<f64>,
    /// Its area. \[m²\]
    pub area: f64,
    /// Heading as grid azimuth. \[°\]
    pub azimuth_deg: f64,
    /// Where the rightmost pass begins, across the drive in its frame. \[m\]
    pub first_pass_v: f64,
}

/// Says where columns cannot follow what the guidance file shows: a line that bends, or more than one.
pub(super) fn guidance_doubts(lines: &[LineString<f64>], file: &str, working_width: f64, findings: &mut Vec<Finding>) {
    let Some(((first, last), line)) = lines.first().and_then(|line| Some((line.0.first().zip(line.0.last())?, line))) else { return };
    let chord = Line::new(*first, *last);
    let bend = line.0.iter().map(|&place| Euclidean.distance(&Point::from(place), &chord)).fold(0.0, f64::max);
    if bend > working_width / 2.0 {
        findings.push(Finding::caution(
            "machine.line_bent",
            format!("{file}: the guidance line bends by up to {bend:.1} m from the straight between its ends, more than half a working width; cells follow the straight: passes will cross columns where it bends"),
        ));
    }
    if lines.len() > 1 {
        findings.push(Finding::caution("machine.lines", format!("{file}: {} guidance lines; cells follow the first", lines.len())));
    }
}

/// An area as it was read, on the plane.
pub(super) struct AreaShape {
    pub(super) shape: MultiPolygon<f64>,
    pub(super) file: String,
    pub(super) guidance: Option<Guidance>,
}

/// Lines, and the file that they come from.
pub(super) type Guidance = (Vec<LineString<f64>>, String);

/// What areas are laid over.
pub(super) struct Bounds<'a> {
    pub(super) plane: &'a Plane,
    pub(super) boundary: &'a MultiPolygon<f64>,
    pub(super) mapped: &'a MultiPolygon<f64>,
}

/// The last part of a path.
fn file_name(file: &str) -> String {
    std::path::Path::new(file).file_name().map_or_else(|| file.to_owned(), |name| name.to_string_lossy().into_owned())
}

/// Overlap of areas that is told. \[m²\]
const OVERLAP: f64 = 1.0;

/// The grid of a field that is driven in several ways.
pub(super) fn in_areas(
    machine: &Machine,
    bounds: &Bounds<'_>,
    whole: (CellFrame, f64),
    areas: &[AreaShape],
    findings: &mut Vec<Finding>,
) -> Result<(CellGrid, Vec<Border>, Vec<Driven>), GroundError> {
    for (k, area) in areas.iter().enumerate() {
        for (earlier, before) in areas.iter().enumerate().take(k) {
            let overlap = area.shape.intersection(&before.shape).intersection(bounds.mapped).unsigned_area();
            if overlap > OVERLAP {
                findings.push(Finding::caution(
                    "machine.areas_overlap",
                    format!(
                        "areas {} and {} of [[machine.area]] overlap by {overlap:.0} m² of the field, which is driven as area {}: draw it once",
                        earlier + 1,
                        k + 1,
                        earlier + 1
                    ),
                ));
            }
        }
    }
    let shapes: Vec<MultiPolygon<f64>> = areas.iter().map(|area| area.shape.clone()).collect();
    let regions = split(bounds.mapped, &shapes)?;
    let mut frames = vec![whole];
    for (k, (area, setting)) in areas.iter().zip(&machine.areas).enumerate() {
        if regions[k + 1].0.is_empty() {
            return Err(GroundError::AreaOutside { area: k + 1, file: area.file.clone() });
        }
        // As for the whole field, exclusions do not move the grid.
        let own = oriented(&area.shape.intersection(bounds.boundary));
        frames.push(frame_of(machine, &setting.heading, bounds.plane, &own, area.guidance.as_ref())?);
    }
    let (grid, borders) = lay(&regions, &frames.iter().map(|frame| frame.0).collect::<Vec<_>>())?;
    let name = |k: usize| if k == 0 { "the rest of the field".to_owned() } else { format!("area {k} ({})", file_name(&areas[k - 1].file)) };
    let driven: Vec<Driven> = regions
        .into_iter()
        .zip(frames)
        .enumerate()
        .map(|(k, (region, frame))| Driven { name: name(k), area: region.unsigned_area(), region, azimuth_deg: frame.0.azimuth_deg(), first_pass_v: frame.1 })
        .collect();
    let told: Vec<String> = driven
        .iter()
        .map(|driven| format!("{}, {:.2} ha, along {:.2}° true", driven.name, driven.area / 10_000.0, bounds.plane.true_azimuth(driven.azimuth_deg)))
        .collect();
    findings.push(Finding::note("machine.areas", format!("the field is driven in {} ways: {}", driven.len(), told.join("; "))));
    Ok((grid, borders, driven))
}

/// The machine's grid over a shape: direction, size of cells, and where it starts; and where the rightmost pass begins across the drive.
pub(super) fn frame_of(
    machine: &Machine,
    heading: &Heading,
    plane: &Plane,
    shape: &MultiPolygon<f64>,
    guidance: Option<&Guidance>,
) -> Result<(CellFrame, f64), GroundError> {
    let mut line = None;
    let azimuth = match (heading, guidance) {
        (Heading::True(degrees), _) => plane.grid_azimuth(*degrees),
        (Heading::Grid(degrees), _) => *degrees,
        (Heading::Line(_), Some((lines, file))) => {
            let ends = lines.first().and_then(|l| l.0.first().zip(l.0.last()));
            let (a, b) = ends.filter(|(a, b)| libm::hypot(b.x - a.x, b.y - a.y) > 0.01).ok_or_else(|| GroundError::Guidance { file: file.clone() })?;
            line = Some((a.x, a.y));
            libm::atan2(b.x - a.x, b.y - a.y).to_degrees().rem_euclid(360.0)
        }
        (Heading::Auto | Heading::Line(_), _) => least_rectangle(shape).map_or(0.0, |rectangle| rectangle.azimuth_deg()),
    };
    let mut frame = CellFrame::new(azimuth, machine.cell_length.get(), machine.cell_width().get());
    let (mut u0, mut v0) = (f64::INFINITY, f64::INFINITY);
    for point in crate::space::polygon::rings_of(shape).iter().flatten() {
        let (u, v) = frame.to_uv(point[0], point[1]);
        (u0, v0) = (u0.min(u), v0.min(v));
    }
    let mut first_pass = v0;
    if let Some((x, y)) = line {
        // Passes run along the line: a pass's middle falls on it, and with sections a column begins at a pass's edge.
        let width = machine.working_width.get();
        let edge = frame.to_uv(x, y).1 - width / 2.0;
        first_pass = edge + libm::floor((v0 - edge) / width) * width;
        v0 = edge + libm::floor((v0 - edge) / frame.width) * frame.width;
    }
    (frame.u0, frame.v0) = (u0, v0);
    Ok((frame, first_pass))
}
