//! The ways that a field is driven: the machine's grid by heading or guidance line, and parts of the field with a heading of their own.

use geo::{Area as _, BooleanOps, Distance as _, Euclidean, Line, LineString, MultiPolygon, Point};

use crate::finding::{Finding, codes};
use crate::job::settings::{Heading, Machine};
use crate::pipeline::ground_error::GroundError;
use crate::space::cells::{Border, CellFrame, CellGrid, Way};
use crate::space::crs::{Crs, Projector};
use crate::space::curve::{CurveFault, CurveFrame, CurveRule, thinned};
use crate::space::lay::lay;
use crate::space::plane::Plane;
use crate::space::polygon::{minimum_rectangle, oriented};
use crate::space::regions::split;
use crate::units::Area;

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

/// Says that only the first of several lines is followed.
pub(super) fn lines_uncertainty(
    lines: &[LineString<f64>],
    file: &str,
    findings: &mut Vec<Finding>,
) {
    if lines.len() > 1 {
        findings.push(Finding::caution(
            codes::MACHINE_LINES,
            format!(
                "{file}: {} guidance lines; cells follow the first",
                lines.len()
            ),
        ));
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
    std::path::Path::new(file).file_name().map_or_else(
        || file.to_owned(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// Overlap of areas that is told. \[m²\]
const OVERLAP: f64 = 1.0;

/// The grid of a field that is driven in several ways.
pub(super) fn in_areas(
    machine: &Machine,
    bounds: &Bounds<'_>,
    whole: (Way, f64),
    areas: &[AreaShape],
    findings: &mut Vec<Finding>,
) -> Result<(CellGrid, Vec<Border>, Vec<Driven>), GroundError> {
    for (k, area) in areas.iter().enumerate() {
        for (earlier, before) in areas.iter().enumerate().take(k) {
            let overlap = area
                .shape
                .intersection(&before.shape)
                .intersection(bounds.mapped)
                .unsigned_area();
            if overlap > OVERLAP {
                findings.push(Finding::caution(
                    codes::MACHINE_AREAS_OVERLAP,
                    format!(
                        "areas {} and {} of [[machine.area]] overlap by {} of the field, which is driven as area {}: draw it once",
                        earlier + 1,
                        k + 1,
                        Area::m2(overlap).both(),
                        earlier + 1
                    ),
                ));
            }
        }
    }
    let shapes: Vec<MultiPolygon<f64>> = areas.iter().map(|area| area.shape.clone()).collect();
    let regions = split(bounds.mapped, &shapes)?;
    let mut ways = vec![whole];
    for (k, (area, setting)) in areas.iter().zip(&machine.areas).enumerate() {
        if regions[k + 1].0.is_empty() {
            return Err(GroundError::AreaOutside {
                area: k + 1,
                file: area.file.clone(),
            });
        }
        // As for the whole field, exclusions do not move the grid.
        let own = oriented(&area.shape.intersection(bounds.boundary));
        ways.push(way_of(
            machine,
            &setting.heading,
            bounds.plane,
            &own,
            area.guidance.as_ref(),
            findings,
        )?);
    }
    let (grid, borders) = lay(
        &regions,
        &ways.iter().map(|way| way.0.clone()).collect::<Vec<_>>(),
    )?;
    let name = |k: usize| match k {
        0 if areas.is_empty() => "the field".to_owned(),
        0 => "the rest of the field".to_owned(),
        _ => format!("area {k} ({})", file_name(&areas[k - 1].file)),
    };
    let driven: Vec<Driven> = regions
        .into_iter()
        .zip(ways)
        .enumerate()
        .map(|(k, (region, way))| Driven {
            name: name(k),
            area: region.unsigned_area(),
            region,
            azimuth_deg: way.0.frame().azimuth_deg(),
            first_pass_v: way.1,
        })
        .collect();
    let notice: Vec<String> = driven
        .iter()
        .map(|driven| {
            format!(
                "{}, {}, along {:.2}° true",
                driven.name,
                Area::m2(driven.area).both(),
                bounds.plane.true_azimuth(driven.azimuth_deg)
            )
        })
        .collect();
    if areas.is_empty() {
        return Ok((grid, borders, driven));
    }
    findings.push(Finding::note(
        codes::MACHINE_AREAS,
        format!(
            "the field is driven in {} ways: {}",
            driven.len(),
            notice.join("; ")
        ),
    ));
    Ok((grid, borders, driven))
}

/// How a shape is driven: direction, size of cells, and where they start; and where the rightmost pass begins across the drive.
pub(super) fn way_of(
    machine: &Machine,
    heading: &Heading,
    plane: &Plane,
    shape: &MultiPolygon<f64>,
    guidance: Option<&Guidance>,
    findings: &mut Vec<Finding>,
) -> Result<(Way, f64), GroundError> {
    let mut line = None;
    let azimuth = match (heading, guidance) {
        (Heading::True(degrees), _) => plane.grid_azimuth(*degrees),
        (Heading::Grid(degrees), _) => *degrees,
        (Heading::Line(_), Some((lines, file))) => {
            let first = lines.first();
            if let Some(first) =
                first.filter(|first| bend_of(first) > machine.working_width.get() / 2.0)
            {
                return along_line(machine, plane, shape, first, file, findings);
            }
            let ends = first.and_then(|l| l.0.first().zip(l.0.last()));
            let (a, b) = ends
                .filter(|(a, b)| libm::hypot(b.x - a.x, b.y - a.y) > 0.01)
                .ok_or_else(|| GroundError::Guidance { file: file.clone() })?;
            line = Some((a.x, a.y));
            libm::atan2(b.x - a.x, b.y - a.y)
                .to_degrees()
                .rem_euclid(360.0)
        }
        (Heading::Auto | Heading::Line(_), _) => {
            minimum_rectangle(shape).map_or(0.0, |rectangle| rectangle.azimuth_deg())
        }
    };
    let mut frame = CellFrame::new(
        azimuth,
        machine.cell_length.get(),
        machine.cell_width().get(),
    );
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
    Ok((Way::Straight(frame), first_pass))
}

/// How far a line bends from the straight between its ends. \[m\]
fn bend_of(line: &LineString<f64>) -> f64 {
    let Some((first, last)) = line.0.first().zip(line.0.last()) else {
        return 0.0;
    };
    let chord = Line::new(*first, *last);
    line.0
        .iter()
        .map(|&place| Euclidean.distance(&Point::from(place), &chord))
        .fold(0.0, f64::max)
}

/// Passes side by side along a bent line.
fn along_line(
    machine: &Machine,
    plane: &Plane,
    shape: &MultiPolygon<f64>,
    line: &LineString<f64>,
    file: &str,
    findings: &mut Vec<Finding>,
) -> Result<(Way, f64), GroundError> {
    let pass = machine.working_width.get();
    let within = (pass / 40.0).clamp(0.1, 0.6);
    let look_ahead = machine
        .look_ahead
        .map_or(0.0, |look_ahead| look_ahead.distance.get());
    // Machine files reach over the field's edge.
    let room = machine.overrun.get() + look_ahead + pass;
    let rule = CurveRule {
        length: machine.cell_length.get(),
        width: machine.cell_width().get(),
        pass,
        room,
    };
    let curve = match CurveFrame::new(&thinned(line, within), shape, &rule) {
        Ok(curve) => curve,
        Err(CurveFault::NoLength) => {
            return Err(GroundError::Guidance {
                file: file.to_owned(),
            });
        }
        Err(CurveFault::Turns { degrees }) => {
            return Err(GroundError::LineTurns {
                file: file.to_owned(),
                degrees,
            });
        }
        Err(CurveFault::Tight {
            place,
            radius,
            reach,
        }) => {
            let (longitude, latitude) =
                Projector::new(&plane.crs, &Crs::wgs84())?.point(place[0], place[1])?;
            return Err(GroundError::LineTight {
                file: file.to_owned(),
                radius,
                reach,
                longitude,
                latitude,
            });
        }
    };
    let (from, to) = curve.headings();
    findings.push(Finding::note(
        codes::MACHINE_LINE_BENT,
        format!(
            "{file}: cells follow the bent guidance line, in {} straight pieces that lie within {within:.1} m of it, from {:.1}° to {:.1}° true{}",
            curve.pieces(),
            plane.true_azimuth(from),
            plane.true_azimuth(to),
            curve.minimum_radius().map_or_else(String::new, |radius| format!(", with a radius of {radius:.0} m at the tightest"))
        ),
    ));
    let first_pass = curve.first_pass;
    Ok((Way::Curve(Box::new(curve)), first_pass))
}
