//! The ground of a run: boundary, exclusions, strips and lines on one working plane, and the machine's grid over it.

use geo::{
    Area as _, BooleanOps, BoundingRect, Centroid, Coord, Distance as _, Euclidean,
    Intersects as _, LineString, MapCoords as _, MultiPolygon,
};

use crate::finding::{Checked, Finding, codes};
use crate::job::settings::{Exclusion, FieldSettings, Machine};
use crate::pipeline::driven::{AreaShape, Bounds, Driven, in_areas, lines_uncertainty, way_of};
use crate::pipeline::exclusions::{excluded, read_widely, surrounded, surroundings};
use crate::pipeline::ground_error::GroundError;
use crate::space::cells::{Border, CellGrid, Way};
use crate::space::crs::{Crs, CrsError, Operation, Projector};
use crate::space::cut::{borders, cut};
use crate::space::holes::{holes, united};
use crate::space::plane::{Plane, choose};
use crate::space::polygon::{carried, grown, joined, less, oriented};
use crate::space::raster::Lattice;
use crate::space::repair::{Repaired, repaired};
use crate::space::slivers::{MINIMUM_AREA, MINIMUM_WIDTH, without_slivers};
use crate::units::{Area, Length};

/// Shapes as they were read.
#[derive(Clone, Debug)]
pub struct Layer<G> {
    /// Their system.
    pub crs: Crs,
    /// The shapes, in file order.
    pub shapes: Vec<G>,
    /// Where they come from, for messages.
    pub file: String,
}

/// Everything that was read before the image.
#[derive(Clone, Debug)]
pub struct GroundInputs {
    /// Boundary features.
    pub boundary: Layer<MultiPolygon<f64>>,
    /// Exclusions, in the order of the settings.
    pub exclusions: Vec<Layer<MultiPolygon<f64>>>,
    /// Ground whose rate is set by hand, in the order of the settings.
    pub set: Vec<Layer<MultiPolygon<f64>>>,
    /// Strips, if the reference comes from strips.
    pub strips: Option<Layer<MultiPolygon<f64>>>,
    /// Zones of the reference, if it goes by zone.
    pub reference_zones: Option<Layer<MultiPolygon<f64>>>,
    /// Hard edges.
    pub edges: Vec<Layer<Vec<LineString<f64>>>>,
    /// Guidance line.
    pub guidance: Option<Layer<Vec<LineString<f64>>>>,
    /// Ground that is driven its own way, in the order of the settings, each with its guidance line.
    pub areas: Vec<AreaInput>,
    /// Working plane that the job asks for.
    pub plane: Option<Crs>,
}

/// Ground that is driven its own way, as it was read.
#[derive(Clone, Debug)]
pub struct AreaInput {
    /// The ground.
    pub shapes: Layer<MultiPolygon<f64>>,
    /// Its guidance line, if its heading comes from one.
    pub guidance: Option<Layer<Vec<LineString<f64>>>>,
}

/// The ground on the working plane.
#[derive(Clone, Debug)]
pub struct Ground {
    /// The plane.
    pub plane: Plane,
    /// The boundary.
    pub boundary: MultiPolygon<f64>,
    /// Exclusions grown by their buffers, by 1 mm at least, joined; cut off far beyond the field.
    pub exclusions: MultiPolygon<f64>,
    /// Exclusions as they were read, each by itself and without its buffer, in the order of the settings.
    pub excluded: Vec<MultiPolygon<f64>>,
    /// Holes of the boundary: exclusions without buffer.
    pub holes: MultiPolygon<f64>,
    /// All ground inside the boundary's outline, or across it, that gets nothing: exclusions with their buffers, and holes.
    pub kept_clear: MultiPolygon<f64>,
    /// Boundary less exclusions, without slivers.
    pub field: MultiPolygon<f64>,
    /// Its area. \[m²\]
    pub area: f64,
    /// What the map covers: the field, less the strips when they are to get no rate.
    pub mapped: MultiPolygon<f64>,
    /// Ground whose rate is set by hand, in the order of the settings.
    pub set: Vec<MultiPolygon<f64>>,
    /// Strips in file order.
    pub strips: Vec<MultiPolygon<f64>>,
    /// Zones of the reference, one a feature, in file order.
    pub reference_zones: Vec<MultiPolygon<f64>>,
    /// Hard edges.
    pub hard_edges: Vec<LineString<f64>>,
    /// The guidance line that the field's heading comes from.
    pub guidance: Vec<LineString<f64>>,
    /// Pixel size at the field's centroid: root of a pixel's area on the plane. \[m\]
    pub pixel: f64,
    /// Cells.
    pub grid: CellGrid,
    /// Which cells are neighbours.
    pub borders: Vec<Border>,
    /// The ways that the field is driven, as the grid's parts: first the one of `machine.heading`, then the areas. Always one at least.
    pub driven: Vec<Driven>,
    /// Area of pieces of the field that are too small or too narrow to be anybody's. \[m²\]
    pub slivers: f64,
    /// Transformations used.
    pub operations: Vec<Operation>,
}

impl Ground {
    /// Each way that the field is driven.
    pub fn ways(&self) -> Vec<Way> {
        (0..self.grid.ways())
            .map(|part| self.grid.way(part))
            .collect()
    }
    /// What the areas take of ground outside the field within `reach` \[m\], besides their own: for splitting margins as the field is split.
    pub fn areas_reaching(&self, reach: f64) -> Vec<MultiPolygon<f64>> {
        let outside = |region: &MultiPolygon<f64>| less(&grown(region, reach), &self.mapped);
        self.driven
            .iter()
            .skip(1)
            .map(|driven| joined(&[driven.region.clone(), outside(&driven.region)]))
            .collect()
    }
    /// Heading of the ground that no area covers, from true north. \[°\]
    pub fn heading_true_deg(&self) -> f64 {
        self.plane.true_azimuth(self.heading_grid_deg())
    }
    /// Heading of the ground that no area covers, on the plane. \[°\]
    pub fn heading_grid_deg(&self) -> f64 {
        self.grid.drive(0).azimuth_deg()
    }
}

/// Carries shapes onto the plane and remembers how.
struct Carrier<'a> {
    plane: &'a Crs,
    operations: Vec<Operation>,
}

impl Carrier<'_> {
    fn way(&mut self, from: &Crs, sample: Option<(f64, f64)>) -> Result<Projector, CrsError> {
        let way = Projector::new(from, self.plane)?;
        if let Some((x, y)) = sample {
            way.point(x, y)?;
        }
        if let Some(operation) = way.describe()
            && !self.operations.contains(&operation)
        {
            self.operations.push(operation);
        }
        Ok(way)
    }
    fn polygons(
        &mut self,
        layer: &Layer<MultiPolygon<f64>>,
    ) -> Result<Vec<MultiPolygon<f64>>, CrsError> {
        let sample = layer
            .shapes
            .first()
            .and_then(BoundingRect::bounding_rect)
            .map(|r| (r.center().x, r.center().y));
        let way = self.way(&layer.crs, sample)?;
        layer
            .shapes
            .iter()
            .map(|shape| carried(shape, &way))
            .collect()
    }
    fn lines(
        &mut self,
        layer: &Layer<Vec<LineString<f64>>>,
    ) -> Result<Vec<LineString<f64>>, CrsError> {
        let sample = layer
            .shapes
            .first()
            .and_then(|lines| lines.first())
            .and_then(|line| line.0.first())
            .map(|c| (c.x, c.y));
        let way = self.way(&layer.crs, sample)?;
        layer
            .shapes
            .iter()
            .flatten()
            .map(|line| way.geometry(line))
            .collect()
    }
}

/// Root of a pixel's area on the plane, at a place of the plane. \[m\]
///
/// # Errors
/// [`CrsError`] when the place cannot be carried into the image.
pub fn pixel_size(plane: &Crs, lattice: &Lattice, x: f64, y: f64) -> Result<f64, CrsError> {
    let there = Projector::new(plane, &lattice.crs)?;
    if there.is_identity() {
        return Ok(libm::sqrt(lattice.affine.determinant().abs()));
    }
    let back = Projector::new(&lattice.crs, plane)?;
    let (gx, gy) = there.point(x, y)?;
    let (col, row) = lattice.affine.to_pixel(gx, gy);
    let corner = |dc: f64, dr: f64| {
        let (gx, gy) = lattice.affine.to_ground(col + dc, row + dr);
        back.point(gx, gy)
    };
    let (o, e, s) = (corner(0.0, 0.0)?, corner(1.0, 0.0)?, corner(0.0, 1.0)?);
    Ok(libm::sqrt(
        ((e.0 - o.0) * (s.1 - o.1) - (e.1 - o.1) * (s.0 - o.0)).abs(),
    ))
}

/// Puts everything onto the working plane and cuts the cells.
///
/// # Errors
/// [`GroundError`]: several boundaries, an image elsewhere, nothing left, strips outside or overlapping, an unfit plane.
pub fn lay_out(
    inputs: &GroundInputs,
    (field_rule, machine): (&FieldSettings, &Machine),
    lattice: &Lattice,
) -> Result<Checked<Ground>, GroundError> {
    let mut log = Vec::new();
    let findings = &mut log;
    let layer = &inputs.boundary;
    if layer.shapes.len() > 1 && !field_rule.boundary.merge {
        return Err(GroundError::Several {
            file: layer.file.clone(),
            count: layer.shapes.len(),
        });
    }
    let degrees = Projector::new(&layer.crs, &Crs::wgs84())?;
    let place = layer
        .shapes
        .iter()
        .find_map(Centroid::centroid)
        .map_or((0.0, 0.0), |c| (c.x(), c.y()));
    let (longitude, latitude) = degrees.point(place.0, place.1)?;
    check_together(layer, lattice, (longitude, latitude))?;
    let plane = choose(
        inputs.plane.as_ref(),
        &lattice.crs,
        longitude,
        latitude,
        findings,
    )?;
    let mut carrier = Carrier {
        plane: &plane.crs,
        operations: Vec::new(),
    };

    let parts: Vec<MultiPolygon<f64>> = carrier
        .polygons(layer)?
        .iter()
        .map(|part| repaired_ground(part, "boundary", &layer.file, findings))
        .collect();
    let boundary = oriented(&joined(&parts));
    overlapping(&parts, &boundary, &layer.file, findings);
    let around = surroundings(&boundary, machine.overrun).ok_or_else(no_ground)?;
    let (exclusions, excluded) = exclusions_of(
        inputs,
        (&field_rule.exclusions, machine.overrun),
        &mut carrier,
        &boundary,
        findings,
    )?;
    let holes = holes(&boundary);
    let kept_clear = united(&exclusions, &holes);
    let kept = without_slivers(oriented(&less(&boundary, &exclusions)));
    let (field, slivers) = (kept.ground, kept.area);
    let mut left = (kept.pieces, kept.area);
    let area = field.unsigned_area();
    if area <= 0.0 {
        let ha = |p: &MultiPolygon<f64>| p.unsigned_area() / 10_000.0;
        return Err(GroundError::Nothing {
            boundary_ha: ha(&boundary),
            exclusions_ha: ha(&exclusions),
        });
    }
    let strips = match &inputs.strips {
        Some(layer) => strips_of(&mut carrier, layer, &field, findings)?,
        None => Vec::new(),
    };
    let mut reference_zones = Vec::new();
    if let Some(layer) = &inputs.reference_zones {
        for shape in carrier.polygons(layer)? {
            reference_zones.push(notice(
                surrounded(&shape, &around),
                "zone of the reference",
                &layer.file,
                findings,
            ));
        }
    }
    let mut set = Vec::new();
    for layer in &inputs.set {
        let parts: Vec<MultiPolygon<f64>> = carrier
            .polygons(layer)?
            .iter()
            .map(|part| {
                let read = surrounded(part, &around);
                notice(read, "ground set by hand", &layer.file, findings)
            })
            .collect();
        set.push(oriented(&joined(&parts)));
    }
    let mut hard_edges = Vec::new();
    for layer in &inputs.edges {
        hard_edges.extend(carrier.lines(layer)?);
    }
    let guidance = match &inputs.guidance {
        Some(layer) => Some((carrier.lines(layer)?, layer.file.clone())),
        None => None,
    };
    if let Some((lines, file)) = &guidance {
        lines_uncertainty(lines, file, findings);
    }
    let mut areas = Vec::new();
    for AreaInput { shapes, guidance } in &inputs.areas {
        let parts: Vec<MultiPolygon<f64>> = carrier
            .polygons(shapes)?
            .iter()
            .map(|part| notice(surrounded(part, &around), "area", &shapes.file, findings))
            .collect();
        let guidance = match guidance {
            Some(layer) => Some((carrier.lines(layer)?, layer.file.clone())),
            None => None,
        };
        if let Some((lines, file)) = &guidance {
            lines_uncertainty(lines, file, findings);
        }
        areas.push(AreaShape {
            shape: oriented(&joined(&parts)),
            file: shapes.file.clone(),
            guidance,
        });
    }
    let centre = field.centroid().map_or((0.0, 0.0), |c| (c.x(), c.y()));
    let pixel = pixel_size(&plane.crs, lattice, centre.0, centre.1)?;
    carrier.way(
        &lattice.crs,
        Some(
            lattice
                .affine
                .to_ground(lattice.cols as f64 / 2.0, lattice.rows as f64 / 2.0),
        ),
    )?;
    let operations = carrier.operations;
    for operation in &operations {
        let accuracy = operation.accuracy_m.map_or_else(
            || "no accuracy stated".to_owned(),
            |a| format!("stated accuracy {a} m"),
        );
        findings.push(Finding::note(
            codes::PLANE_TRANSFORMED,
            format!(
                "{} → {}: {} ({accuracy})",
                operation.from, operation.to, operation.name
            ),
        ));
    }
    let mapped = if field_rule.map_strips {
        field.clone()
    } else {
        let kept = without_slivers(oriented(&less(&field, &joined(&strips))));
        left = (left.0 + kept.pieces, left.1 + kept.area);
        kept.ground
    };
    findings.extend(slivers_reported(left));
    let whole = way_of(
        machine,
        &machine.heading,
        &plane,
        &boundary,
        guidance.as_ref(),
        findings,
    )?;
    let (grid, borders, driven) =
        if let (true, Way::Straight(frame)) = (machine.areas.is_empty(), &whole.0) {
            let grid = cut(&mapped, *frame)?;
            let borders = borders(&grid);
            let driven = Driven {
                name: "the field".to_owned(),
                area: mapped.unsigned_area(),
                region: mapped.clone(),
                azimuth_deg: frame.azimuth_deg(),
                first_pass_v: whole.1,
            };
            (grid, borders, vec![driven])
        } else {
            let bounds = Bounds {
                plane: &plane,
                boundary: &boundary,
                mapped: &mapped,
            };
            in_areas(machine, &bounds, whole, &areas, findings)?
        };
    let ground = Ground {
        plane,
        boundary,
        exclusions,
        excluded,
        holes,
        kept_clear,
        field,
        area,
        mapped,
        set,
        strips,
        reference_zones,
        hard_edges,
        guidance: guidance.map_or_else(Vec::new, |(lines, _)| lines),
        pixel,
        grid,
        borders,
        driven,
        slivers,
        operations,
    };
    Ok(Checked::new(ground, log))
}

/// Every exclusion of the job on the plane, grown and joined, and each as it was read.
fn exclusions_of(
    inputs: &GroundInputs,
    (exclusions, overrun): (&[Exclusion], Length),
    carrier: &mut Carrier<'_>,
    boundary: &MultiPolygon<f64>,
    findings: &mut Vec<Finding>,
) -> Result<(MultiPolygon<f64>, Vec<MultiPolygon<f64>>), GroundError> {
    let (mut grown_parts, mut as_read) = (Vec::new(), Vec::new());
    for (exclusion, layer) in exclusions.iter().zip(&inputs.exclusions) {
        let first = grown_parts.len();
        let shapes = carrier.polygons(layer)?;
        let reach = overrun + exclusion.buffer;
        let around = surroundings(boundary, reach).ok_or_else(no_ground)?;
        for shape in &shapes {
            let read = excluded(shape, exclusion.buffer, &around);
            findings.extend(read_widely(&layer.file, &read));
            grown_parts.push(read.polygon);
        }
        findings.extend(exclusion_apart(
            layer,
            (&shapes, exclusion.buffer.get()),
            &grown_parts[first..],
            boundary,
            carrier.plane,
        ));
        as_read.push(shapes.into_iter().flatten().collect());
    }
    Ok((oriented(&joined(&grown_parts)), as_read))
}

/// A boundary without ground.
const fn no_ground() -> GroundError {
    GroundError::Nothing {
        boundary_ha: 0.0,
        exclusions_ha: 0.0,
    }
}

/// Says how much ground belongs to nobody, being too small or too narrow.
fn slivers_reported((pieces, area): (usize, f64)) -> Option<Finding> {
    (pieces > 0).then(|| {
        Finding::note(
            codes::FIELD_SLIVERS,
            format!(
                "{pieces} pieces of the field, {area:.3} m² in all, are below {MINIMUM_AREA} m² or nowhere {:.0} cm wide and belong to no cell: lines that were meant to be one lie slightly apart there",
                100.0 * MINIMUM_WIDTH
            ),
        )
    })
}

fn repaired_ground(
    shape: &MultiPolygon<f64>,
    what: &str,
    file: &str,
    findings: &mut Vec<Finding>,
) -> MultiPolygon<f64> {
    notice(repaired(shape), what, file, findings)
}

/// Says that a shape had to be mended.
fn notice(
    repaired_ground: Repaired,
    what: &str,
    file: &str,
    findings: &mut Vec<Finding>,
) -> MultiPolygon<f64> {
    if let Some(change) = repaired_ground.area_change {
        findings.push(Finding::caution(
            codes::BOUNDARY_REPAIRED,
            format!(
                "{file}: the {what} crosses or overlaps itself; parts are joined, ground enclosed twice and parts inside parts are left out, which changes its area by {change:+.1} m² to {:.1} m²: look at it on the map",
                repaired_ground.polygon.unsigned_area()
            ),
        ));
    }
    repaired_ground.polygon
}

/// A word where exclusions take nothing away: what must get nothing then gets its rate. A stop where longitude and latitude are swapped.
fn exclusion_apart(
    layer: &Layer<MultiPolygon<f64>>,
    (shapes, buffer): (&[MultiPolygon<f64>], f64),
    grown: &[MultiPolygon<f64>],
    boundary: &MultiPolygon<f64>,
    plane: &Crs,
) -> Option<Finding> {
    if grown.iter().any(|shape| shape.intersects(boundary)) {
        return None;
    }
    let file = &layer.file;
    let swapped = |shape: &MultiPolygon<f64>| {
        let turned = shape.map_coords(|place| Coord {
            x: place.y,
            y: place.x,
        });
        Projector::new(&layer.crs, plane)
            .and_then(|way| carried(&turned, &way))
            .is_ok_and(|shape| shape.intersects(boundary))
    };
    if layer.crs.is_geographic() && layer.shapes.iter().any(swapped) {
        let text = format!(
            "{file}: this exclusion lies outside the field, but with longitude and latitude swapped it would lie in it: correct the file, or the ground gets its rate"
        );
        return Some(Finding::stop(codes::FIELD_EXCLUDE_APART, text).with_figure("swapped"));
    }
    let far = shapes
        .iter()
        .map(|shape| (Euclidean.distance(shape, boundary) - buffer).max(0.0))
        .fold(f64::INFINITY, f64::min);
    let text = format!(
        "{file}: this exclusion lies wholly outside the field, {far:.0} m from it at least, and takes nothing away: look whether it is the right file and system"
    );
    Some(Finding::caution(codes::FIELD_EXCLUDE_APART, text))
}

/// Says that joined features of a boundary overlap: a hole that was drawn as a feature of its own is none any more.
fn overlapping(
    parts: &[MultiPolygon<f64>],
    boundary: &MultiPolygon<f64>,
    file: &str,
    findings: &mut Vec<Finding>,
) {
    let each: f64 = parts.iter().map(geo::Area::unsigned_area).sum();
    let overlap = each - boundary.unsigned_area();
    if overlap > 1e-4 * each {
        findings.push(Finding::caution(
            codes::BOUNDARY_OVERLAP,
            format!(
                "{file}: the {} features that were joined overlap by {}; if one of them is a hole in another, it is part of the field now: give it as field.exclude",
                parts.len(),
                Area::m2(overlap).both()
            ),
        ));
    }
}

/// Refuses an image that does not show the boundary.
fn check_together(
    layer: &Layer<MultiPolygon<f64>>,
    lattice: &Lattice,
    centre: (f64, f64),
) -> Result<(), GroundError> {
    let (cols, rows) = (lattice.cols as f64, lattice.rows as f64);
    let reach = |longitude: f64, latitude: f64| -> Option<(f64, f64)> {
        let (x, y) = Projector::new(&Crs::wgs84(), &lattice.crs)
            .ok()?
            .point(longitude, latitude)
            .ok()?;
        Some(lattice.affine.to_pixel(x, y))
    };
    let way = Projector::new(&layer.crs, &lattice.crs)?;
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for shape in &layer.shapes {
        for corner in shape.bounding_rect().iter().flat_map(|r| {
            [
                (r.min().x, r.min().y),
                (r.max().x, r.min().y),
                (r.max().x, r.max().y),
                (r.min().x, r.max().y),
            ]
        }) {
            let Ok((x, y)) = way.point(corner.0, corner.1) else {
                continue;
            };
            let (col, row) = lattice.affine.to_pixel(x, y);
            low = [low[0].min(col), low[1].min(row)];
            high = [high[0].max(col), high[1].max(row)];
        }
    }
    if low[0] < cols && high[0] > 0.0 && low[1] < rows && high[1] > 0.0 {
        return Ok(());
    }
    let middle = lattice.affine.to_ground(cols / 2.0, rows / 2.0);
    let image = Projector::new(&lattice.crs, &Crs::wgs84())?.point(middle.0, middle.1)?;
    let distance_km = {
        // Great circle on a sphere of 6371 km: only a message.
        let (a, b) = (
            (centre.0.to_radians(), centre.1.to_radians()),
            (image.0.to_radians(), image.1.to_radians()),
        );
        let h = |d: f64| libm::sin(d / 2.0) * libm::sin(d / 2.0);
        2.0 * 6371.0
            * libm::asin(libm::sqrt(
                (h(b.1 - a.1) + libm::cos(a.1) * libm::cos(b.1) * h(b.0 - a.0)).min(1.0),
            ))
    };
    let swapped = reach(centre.1, centre.0)
        .is_some_and(|(col, row)| col > 0.0 && col < cols && row > 0.0 && row < rows);
    Err(GroundError::Apart {
        file: layer.file.clone(),
        boundary: centre,
        image,
        distance_km,
        swapped_meets: swapped,
    })
}

/// Strips of a field; nobody lays a tenth of it. Each is compared with each.
const MAXIMUM_STRIPS: usize = 500;

/// Each polygon part of each feature is one strip.
fn strips_of(
    carrier: &mut Carrier<'_>,
    layer: &Layer<MultiPolygon<f64>>,
    field: &MultiPolygon<f64>,
    findings: &mut Vec<Finding>,
) -> Result<Vec<MultiPolygon<f64>>, GroundError> {
    let mut strips = Vec::new();
    let shapes = carrier.polygons(layer)?;
    let count = shapes.iter().map(|shape| shape.0.len()).sum();
    if count > MAXIMUM_STRIPS {
        return Err(GroundError::ManyStrips {
            file: layer.file.clone(),
            count,
            most: MAXIMUM_STRIPS,
        });
    }
    for shape in shapes {
        for part in repaired_ground(&shape, "reference strip", &layer.file, findings) {
            strips.push(MultiPolygon::new(vec![part]));
        }
    }
    for (k, strip) in strips.iter().enumerate() {
        let share = strip.intersection(field).unsigned_area() / strip.unsigned_area();
        if share < 0.5 - 1e-6 {
            return Err(GroundError::StripOutside {
                strip: k + 1,
                share,
                file: layer.file.clone(),
            });
        }
        for (other, before) in strips.iter().enumerate().take(k) {
            let area = strip.intersection(before).unsigned_area();
            if area > 1e-3 {
                return Err(GroundError::StripsOverlap {
                    first: other + 1,
                    second: k + 1,
                    area,
                });
            }
        }
    }
    Ok(strips)
}
