//! From a map as its file has it to a map of rates; and what was left behind on the way.

use crate::finding::{Checked, Finding, Severity, codes};
use crate::map::imported::{
    Attribute, ImportedMap, MapKind, Patch, Place, Quantity, Rate, RateLattice, StatedFallbacks,
    System,
};
#[cfg(test)]
use crate::map::prescription::Prescription;
use crate::map::rate_map::{
    Measure, MeasureError, RateMap, RateZone, area_on_ellipsoid, zones_of_grid,
};
use crate::space::crs::{Crs, CrsError, Projector};
use crate::space::valid::{is_valid, why_not};
use crate::units::{Product, RateUnit};
use geo::{Area, Contains, MultiPolygon};

/// What a user says of a map that is to be turned into another.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Requirements {
    /// What its rates mean, over what the file says.
    pub stated: Option<Measure>,
    /// The measure to turn them into.
    pub measure: Option<Measure>,
    /// The product that it holds, over what the file says.
    pub holds: Option<Product>,
    /// The product to turn it into.
    pub gets: Option<Product>,
}

/// Why a map cannot be turned into another.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RateMapError {
    /// Nobody says where it lies.
    #[error("the map does not say where it lies: {why}")]
    System {
        /// Why not.
        why: String,
    },
    /// Nobody says what its rates mean.
    #[error("the map does not say what its rates mean: quantity {quantity}, unit {unit}")]
    Meaning {
        /// What is known of the quantity.
        quantity: &'static str,
        /// What is known of the unit.
        unit: &'static str,
    },
    /// Rates cannot be turned.
    #[error(transparent)]
    Measure(#[from] MeasureError),
    /// A fault that no other format would repair.
    #[error("{place}: {message}")]
    Fault {
        /// Where.
        place: Place,
        /// What.
        message: String,
    },
    /// Rates that are missing, no numbers, or negative.
    #[error(
        "{count} of {all} records have no rate that can be converted; the first is {place}: {what}"
    )]
    Rates {
        /// How many.
        count: usize,
        /// Of how many.
        all: usize,
        /// The first.
        place: Place,
        /// What stands there.
        what: String,
    },
    /// An outline that cannot be repaired without changing its area.
    #[error("{place}: {reason}")]
    Outline {
        /// Where.
        place: Place,
        /// What is wrong.
        reason: String,
    },
    /// There is no ground with a rate.
    #[error("the map holds no ground with a rate")]
    Empty,
    /// A point cannot be transformed.
    #[error("the map cannot be transformed to longitude and latitude")]
    Crs {
        /// What PROJ said.
        #[from]
        source: CrsError,
    },
}

/// A map of rates and how it was reached.
#[derive(Clone, Debug, PartialEq)]
pub struct Converted {
    /// The map.
    pub map: RateMap,
    /// What the rates meant in the file.
    pub source: Measure,
    /// What they were multiplied by.
    pub factor: f64,
}

/// Makes a map of rates of anybody's.
///
/// # Findings
/// What is left behind or taken over the file's word, as notes and cautions whose codes begin with `convert.`.
///
/// # Errors
/// [`RateMapError`].
pub fn of_imported(
    imported: &ImportedMap,
    requirements: &Requirements,
) -> Result<Checked<Converted>, RateMapError> {
    let mut findings = Vec::new();
    if let Some(fault) = imported
        .oddities
        .iter()
        .find(|fault| fault.severity == Severity::Stop)
    {
        return Err(RateMapError::Fault {
            place: fault.place.clone(),
            message: fault.message.clone(),
        });
    }
    let system = match &imported.system {
        System::Known(crs) => crs.clone(),
        System::Missing(why) => {
            return Err(RateMapError::System { why: why.clone() });
        }
    };
    let source = source_measure(imported, requirements, &mut findings)?;
    let holds = requirements
        .holds
        .clone()
        .or_else(|| imported.product.product.clone());
    let gets = requirements.gets.clone().or_else(|| holds.clone());
    let measure = requirements
        .measure
        .unwrap_or_else(|| default_measure(source, requirements.gets.as_ref()));
    let factor = source.factor(measure, holds.as_ref(), gets.as_ref())?;

    let on_grid = imported.lattice.as_ref().filter(|_| {
        imported.patches.is_empty()
            || matches!(imported.kind, MapKind::TaskData(_) | MapKind::Raster)
    });
    let lattice = on_grid.map(|lattice| scaled(lattice, factor)).transpose()?;
    let outlines: Vec<Ground> = match &lattice {
        Some(lattice) => zones_of_grid(lattice, kept_cells(imported, lattice, &mut findings))
            .into_iter()
            .map(|(rate, outline)| (rate, outline, None))
            .collect(),
        None => of_patches(imported, &mut findings)?
            .into_iter()
            .map(|(rate, outline, n)| (rate * factor, outline, n))
            .collect(),
    };
    if outlines.is_empty() {
        return Err(RateMapError::Empty);
    }
    say_what_is_left(imported, lattice.is_some(), &mut findings);
    let scale = |rate: Option<f64>| rate.map(|rate| rate * factor);
    let name_kept = requirements
        .gets
        .is_none()
        .then(|| imported.product.name.clone())
        .flatten();
    let map = RateMap {
        name: imported.name.clone(),
        measure,
        product_name: gets
            .as_ref()
            .filter(|_| measure.quantity != Quantity::Nitrogen)
            .map(|product| product.name().to_owned())
            .or(name_kept),
        product: gets.filter(|_| measure.quantity != Quantity::Nitrogen),
        crop: None,
        zones: numbered(outlines, &system)?,
        system,
        lattice,
        boundary: imported.boundary.clone(),
        fallbacks: StatedFallbacks {
            on_start: scale(imported.fallbacks.on_start),
            position_lost: scale(imported.fallbacks.position_lost),
            outside: scale(imported.fallbacks.outside),
        },
    };
    Ok(Checked::new(
        Converted {
            map,
            source,
            factor,
        },
        findings,
    ))
}

fn source_measure(
    imported: &ImportedMap,
    requirements: &Requirements,
    findings: &mut Vec<Finding>,
) -> Result<Measure, RateMapError> {
    let meaning = &imported.meaning;
    let wording = match (meaning.quantity, meaning.unit) {
        (Quantity::Unknown, _) | (_, None) => None,
        (quantity, Some(unit)) => Some(Measure::of(quantity == Quantity::Nitrogen, unit)),
    };
    match (requirements.stated, wording) {
        (Some(notice), Some(wording)) if notice != wording => {
            let message = format!(
                "the file says that its rates are {} ({}), you say {}: your word is taken",
                wording.label(),
                meaning.wording_by,
                notice.label()
            );
            findings.push(Finding::caution(codes::CONVERT_MEANING, message));
            Ok(notice)
        }
        (Some(notice), _) => Ok(notice),
        (None, Some(wording)) => Ok(wording),
        (None, None) => Err(RateMapError::Meaning {
            quantity: meaning.quantity.name(),
            unit: meaning.unit.map_or("not stated", RateUnit::label),
        }),
    }
}

/// The measure of a product asked for without a unit: by volume if it is a liquid, else by mass, in the area measure of the source.
fn default_measure(source: Measure, gets: Option<&Product>) -> Measure {
    let Some(product) = gets else { return source };
    if source.quantity != Quantity::Nitrogen && source.unit.is_volume() == product.is_liquid() {
        return source;
    }
    let unit = match (product.is_liquid(), source.unit.is_us()) {
        (false, false) => RateUnit::KgPerHa,
        (false, true) => RateUnit::LbPerAc,
        (true, false) => RateUnit::LPerHa,
        (true, true) => RateUnit::GalPerAc,
    };
    Measure::of(false, unit)
}

/// The grid with its rates multiplied.
fn scaled(lattice: &RateLattice, factor: f64) -> Result<RateLattice, RateMapError> {
    let bad = |rate: &Option<f64>| rate.is_some_and(|rate| !(rate.is_finite() && rate >= 0.0));
    let mut wrong = lattice
        .rates
        .iter()
        .enumerate()
        .filter(|(_, rate)| bad(rate));
    if let Some((place, rate)) = wrong.next() {
        let (row, col) = (place / lattice.cols + 1, place % lattice.cols + 1);
        return Err(RateMapError::Rates {
            count: 1 + wrong.count(),
            all: lattice.rates.len(),
            place: Place::at("cell", place as u64 + 1).with_name(format!(
                "row {row} from the south, column {col} from the west"
            )),
            what: rate.map_or_else(String::new, |rate| rate.to_string()),
        });
    }
    Ok(RateLattice {
        rates: lattice
            .rates
            .iter()
            .map(|rate| rate.map(|rate| rate * factor))
            .collect(),
        ..lattice.clone()
    })
}

/// Which cells become zones. Task data have no "no data": there, a 0 outside the boundary is ground that nobody meant.
fn kept_cells<'a>(
    imported: &'a ImportedMap,
    lattice: &'a RateLattice,
    findings: &mut Vec<Finding>,
) -> impl Fn(usize, usize) -> bool + use<'a> {
    let boundary = imported
        .boundary
        .as_ref()
        .filter(|_| matches!(imported.kind, MapKind::TaskData(_)));
    let keep = move |col: usize, row: usize| {
        lattice.rate(col, row) != Some(0.0)
            || boundary.is_none_or(|boundary| {
                boundary.contains(&geo::Point::from(lattice.centre(col, row)))
            })
    };
    let dropped = (0..lattice.rows)
        .flat_map(|row| (0..lattice.cols).map(move |col| (col, row)))
        .filter(|(col, row)| !keep(*col, *row))
        .count();
    if dropped > 0 {
        let message = format!(
            "{dropped} of {} cells hold 0 and have their centre outside the boundary: they become no zone",
            lattice.rates.len()
        );
        findings.push(Finding::note(codes::CONVERT_OUTSIDE, message));
    }
    keep
}

/// A rate, where it holds, and the nitrogen that is stated beside it. \[kg N/ha\]
type Ground = (f64, MultiPolygon<f64>, Option<f64>);

/// Column that our own tables state nitrogen in. \[kg N/ha\]
const NITROGEN_COLUMN: &str = "n_kg_ha";

/// The nitrogen stated beside a rate.
fn stated_nitrogen(patch: &Patch) -> Option<f64> {
    let value = patch
        .attributes
        .iter()
        .find(|(name, _)| name.eq_ignore_ascii_case(NITROGEN_COLUMN))
        .map(|(_, value)| value);
    match value {
        Some(Attribute::Real(n)) if n.is_finite() && *n >= 0.0 => Some(*n),
        Some(Attribute::Whole(n)) if *n >= 0 => Some(*n as f64),
        _ => None,
    }
}

/// Outlines and rates of records, as the file has them.
fn of_patches(
    imported: &ImportedMap,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Ground>, RateMapError> {
    let shaped = || {
        imported
            .patches
            .iter()
            .filter(|patch| !patch.outline().0.is_empty())
    };
    let carries = |rate: &Rate| {
        rate.number()
            .is_some_and(|number| number.is_finite() && number >= 0.0)
    };
    let mut wrong = shaped().filter(|patch| !carries(&patch.rate));
    if let Some(first) = wrong.next() {
        let what = match &first.rate {
            Rate::Missing => "nothing stands there".to_owned(),
            Rate::Unreadable(text) => format!("{text:?}"),
            Rate::Number(number) | Rate::Text { number, .. } => number.to_string(),
        };
        return Err(RateMapError::Rates {
            count: 1 + wrong.count(),
            all: imported.patches.len(),
            place: first.place.clone(),
            what,
        });
    }
    let shapeless = imported.patches.len() - shaped().count();
    if shapeless > 0 {
        findings.push(Finding::caution(codes::CONVERT_SHAPELESS, format!("{shapeless} records without a shape are left out: they say nothing about any ground")));
    }
    let texts = shaped()
        .filter(|patch| matches!(patch.rate, Rate::Text { .. }))
        .count();
    if texts > 0 {
        findings.push(Finding::note(
            codes::CONVERT_TEXT,
            format!("{texts} rates stood as text and are numbers now"),
        ));
    }
    let mut out = Vec::new();
    let mut repaired = 0;
    for patch in shaped() {
        let outline = patch.outline();
        let good = valid(&outline, &mut repaired).map_err(|reason| RateMapError::Outline {
            place: patch.place.clone(),
            reason,
        })?;
        out.push((
            patch.rate.number().unwrap_or(f64::NAN),
            good,
            stated_nitrogen(patch),
        ));
    }
    if repaired > 0 {
        findings.push(Finding::note(
            codes::CONVERT_REPAIRED,
            format!(
                "{repaired} outlines were not valid and were repaired; their areas stayed as they were"
            ),
        ));
    }
    Ok(out)
}

/// The outline, repaired by a union with itself if it is not valid and that keeps its area.
fn valid(outline: &MultiPolygon<f64>, repaired: &mut usize) -> Result<MultiPolygon<f64>, String> {
    if is_valid(outline) {
        return Ok(outline.clone());
    }
    let union = geo::unary_union(outline);
    let before: f64 = outline.iter().map(Area::unsigned_area).sum();
    if !is_valid(&union) || (union.unsigned_area() - before).abs() > 1e-6 * before {
        return Err(why_not(outline));
    }
    *repaired += 1;
    Ok(union)
}

fn say_what_is_left(imported: &ImportedMap, on_grid: bool, findings: &mut Vec<Finding>) {
    if imported
        .exclusions
        .as_ref()
        .is_some_and(|exclusions| !exclusions.0.is_empty())
    {
        findings.push(Finding::caution(
            codes::CONVERT_EXCLUSIONS,
            "exclusions are not converted; ground that has no zone stays without one",
        ));
    }
    if on_grid && !imported.patches.is_empty() {
        findings.push(Finding::note(
            codes::CONVERT_PATCHES,
            format!(
                "the file holds a grid and {} outlines with rates; the grid is taken",
                imported.patches.len()
            ),
        ));
    }
    for fault in &imported.oddities {
        let message = format!("{}: {}", fault.place, fault.message);
        findings.push(Finding {
            code: fault.code,
            severity: fault.severity.min(Severity::Caution),
            message,
            figure: None,
            accepted: None,
        });
    }
}

/// Zones by number with their areas on the ellipsoid.
fn numbered(outlines: Vec<Ground>, system: &Crs) -> Result<Vec<RateZone>, CrsError> {
    let way = Projector::new(system, &Crs::wgs84())?;
    let zone = |(zone, (rate, outline, stated_n)): (u32, Ground)| {
        let area_m2 = area_on_ellipsoid(&way.geometry(&outline)?);
        Ok(RateZone {
            zone,
            rate,
            outline,
            area_m2,
            stated_n,
        })
    };
    (1..).zip(outlines).map(zone).collect()
}

/// Our own map as one that came from elsewhere, for tests: rates as decided, in the job's unit.
///
/// # Errors
/// [`CrsError`] when the working plane has no way to WGS 84.
#[cfg(test)]
pub(crate) fn of_prescription(prescription: &Prescription) -> Result<RateMap, CrsError> {
    let outlines = prescription
        .zones
        .iter()
        .map(|zone| {
            (
                prescription.shown(zone.n),
                zone.outline.clone(),
                Some(zone.n.get()),
            )
        })
        .collect();
    let shown = |n| Some(prescription.shown(n));
    Ok(RateMap {
        name: prescription.field_name.clone(),
        system: prescription.plane.clone(),
        measure: Measure::of(prescription.product.is_none(), prescription.unit),
        product: prescription.product.clone(),
        product_name: prescription
            .product
            .as_ref()
            .map(|product| product.name().to_owned()),
        crop: Some(prescription.crop.clone()),
        zones: numbered(outlines, &prescription.plane)?,
        lattice: None,
        boundary: Some(prescription.boundary.clone()),
        fallbacks: StatedFallbacks {
            on_start: shown(prescription.fallbacks.on_start),
            position_lost: shown(prescription.fallbacks.position_lost),
            outside: shown(prescription.fallbacks.outside),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::imported::{Meaning, Part, Ring, RingRole, System};
    use approx::assert_relative_eq;

    fn patch(number: u64, west: f64, rate: Rate) -> Patch {
        let corners = [
            (0.0, 0.0),
            (100.0, 0.0),
            (100.0, 100.0),
            (0.0, 100.0),
            (0.0, 0.0),
        ];
        let points = corners
            .iter()
            .map(|(x, y)| geo::coord! { x: 430_000.0 + west + x, y: 5_500_000.0 + y })
            .collect();
        let part = Part {
            rings: vec![Ring {
                role: RingRole::Outer,
                points,
            }],
        };
        Patch {
            place: Place::at("record", number),
            parts: vec![part],
            rate,
            attributes: Vec::new(),
        }
    }

    fn map(rates: &[Rate]) -> ImportedMap {
        let mut map = ImportedMap::empty("Ley", MapKind::GeoPackage);
        map.system = System::Known(Crs::epsg(32_633, "WGS 84 / UTM zone 33N"));
        map.meaning = Meaning {
            quantity: Quantity::Nitrogen,
            unit: Some(RateUnit::KgPerHa),
            wording_by: "column n_kg_ha".to_owned(),
        };
        map.patches = rates
            .iter()
            .enumerate()
            .map(|(i, rate)| patch(i as u64 + 1, i as f64 * 100.0, rate.clone()))
            .collect();
        map
    }

    fn made(map: &ImportedMap, requirements: &Requirements) -> Converted {
        of_imported(map, requirements).unwrap().value
    }

    #[test]
    fn rates_are_turned_and_totals_follow() {
        let map = map(&[
            Rate::Number(60.0),
            Rate::Text {
                written: "90,0".to_owned(),
                number: 90.0,
            },
        ]);
        let solution = Product::new("solution", 0.28, Some(1.28));
        let got = made(
            &map,
            &Requirements {
                gets: solution.clone(),
                ..Requirements::default()
            },
        );
        assert_eq!(
            (got.map.measure.label(), got.source.label()),
            ("L/ha", "kg N/ha")
        );
        assert_relative_eq!(
            got.map.zones[1].rate,
            90.0 / 0.28 / 1.28,
            max_relative = 1e-12
        );
        // UTM at 14° E, 1° off its meridian: areas shown 0.07 % too small on the plane, so 1 ha is a little more on the ellipsoid.
        let tally = got.map.tally();
        assert!(
            (1.000_5..1.001).contains(&(tally.area_m2 / 20_000.0)),
            "{}",
            tally.area_m2
        );
        assert_relative_eq!(
            tally.total,
            tally.area_m2 / 10_000.0 * 75.0 / 0.28 / 1.28,
            max_relative = 1e-5
        );
        assert_eq!(
            (
                tally.zones,
                got.map.product_rate(&got.map.zones[0]),
                got.map.nitrogen(&got.map.zones[0]).map(f64::round)
            ),
            (2, Some(167.41), Some(60.0))
        );
        let again = made(
            &map,
            &Requirements {
                gets: solution,
                measure: Measure::named("kg/ha"),
                ..Requirements::default()
            },
        );
        assert_relative_eq!(again.map.zones[0].rate, 60.0 / 0.28, max_relative = 1e-12);
    }

    #[test]
    fn what_is_missing_or_not_said_is_refused() {
        let wording = |map: &ImportedMap, requirements: &Requirements| {
            of_imported(map, requirements).unwrap_err().to_string()
        };
        let none = Requirements::default();
        assert_eq!(
            wording(
                &map(&[
                    Rate::Number(1.0),
                    Rate::Missing,
                    Rate::Unreadable("NaN".to_owned())
                ]),
                &none
            ),
            "2 of 3 records have no rate that can be converted; the first is record 2: nothing stands there"
        );
        assert!(wording(&map(&[Rate::Number(-1.0)]), &none).ends_with("record 1: -1"));
        assert_eq!(
            wording(&map(&[]), &none),
            "the map holds no ground with a rate"
        );
        let mut silent = map(&[Rate::Number(1.0)]);
        silent.meaning = Meaning::unknown();
        assert_eq!(
            wording(&silent, &none),
            "the map does not say what its rates mean: quantity not stated, unit not stated"
        );
        assert_eq!(
            made(
                &silent,
                &Requirements {
                    stated: Measure::named("lb N/ac"),
                    ..none.clone()
                }
            )
            .map
            .measure
            .label(),
            "lb N/ac"
        );
        silent.system = System::Missing("no .prj".to_owned());
        assert!(wording(&silent, &none).contains("no .prj"));
        let mut crossed = map(&[Rate::Number(1.0)]);
        crossed.patches[0].parts[0].rings[0].points.swap(1, 2);
        assert!(wording(&crossed, &none).starts_with("record 1: "));
    }

    #[test]
    fn what_the_user_says_over_the_file_is_told() {
        let requirements = Requirements {
            stated: Measure::named("kg/ha"),
            ..Requirements::default()
        };
        let findings = of_imported(&map(&[Rate::Number(1.0)]), &requirements)
            .unwrap()
            .findings;
        assert!(
            findings
                .iter()
                .any(|finding| finding.code == "convert.meaning"
                    && finding.message.contains("kg N/ha")),
            "{findings:?}"
        );
    }

    #[test]
    fn zeros_outside_the_boundary_are_no_ground_in_task_data() {
        let mut task = map(&[]);
        task.kind = MapKind::TaskData(crate::map::imported::TaskForm::GridOfRates);
        task.lattice = Some(RateLattice {
            west: 430_000.0,
            south: 5_500_000.0,
            cell_x: 10.0,
            cell_y: 10.0,
            cols: 3,
            rows: 1,
            rates: vec![Some(0.0), Some(0.0), Some(5.0)],
            codes: None,
            north_first_in_file: false,
        });
        assert_eq!(made(&task, &Requirements::default()).map.zones.len(), 2);
        task.boundary = Some(
            geo::Rect::new((430_010.0, 5_500_000.0), (430_030.0, 5_500_010.0))
                .to_polygon()
                .into(),
        );
        let got = made(&task, &Requirements::default()).map;
        assert_eq!(
            got.zones.iter().map(|zone| zone.rate).collect::<Vec<_>>(),
            [0.0, 5.0]
        );
        assert_relative_eq!(
            got.zones[0].outline.unsigned_area(),
            100.0,
            max_relative = 1e-9
        );
    }

    #[test]
    fn our_own_map_is_plain_already() {
        let p = crate::map::fixture::prescription();
        let plain = of_prescription(&p).unwrap();
        assert_eq!(
            (
                plain.measure.label(),
                plain.zones.len(),
                plain.product_shown()
            ),
            ("L/ha", 3, "UAN 28")
        );
        assert_relative_eq!(
            plain.zones[2].rate,
            90.0 / 0.28 / 1.28,
            max_relative = 1e-12
        );
    }
}
