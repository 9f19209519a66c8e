//! What of files that all fields share is one field's own: its polygon, its strips, the stations that may speak for it. A change of the rest is no reason to make it again.

use std::path::PathBuf;

use crate::app::batch::farm::Farm;
use crate::app::commit::sha256_hex;
use crate::app::held::stations_of;
use crate::app::season::may_speak_for;
use crate::format::vector::VectorLayer;
use crate::format::wkb;
use crate::job::settings::{GrowingDays, Season, VectorSource};
use crate::space::crs::{Crs, Projector};
use crate::space::great_circle::distance_km;
use geo::{BoundingRect as _, MultiPolygon};
use serde_json::json;

/// A part of a file that one field alone reads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Part {
    /// The file.
    pub(super) file: PathBuf,
    /// What of it.
    pub(super) what: &'static str,
    /// SHA-256 of it.
    pub(super) sha256: String,
}

impl Farm {
    /// The stations that may speak for a field, and their records; `None` where the whole list counts.
    pub(super) fn stations(
        &self,
        season: &Season,
        ground: &VectorLayer<MultiPolygon<f64>>,
    ) -> Option<(Part, Vec<PathBuf>)> {
        let GrowingDays::Stations { list, station } = &season.growing_days else {
            return None;
        };
        let all = stations_of(list, Some(&self.held)).ok()?;
        let bounds = ground.shapes.first()?.geometry.bounding_rect()?;
        let way = Projector::new(&ground.crs, &Crs::wgs84()).ok()?;
        let at = |x: f64, y: f64| way.point(x, y).ok();
        let (low, high) = (bounds.min(), bounds.max());
        let middle = at(bounds.center().x, bounds.center().y)?;
        // The place that the job ranks stations from lies within the bounds.
        let mut within = 0.0_f64;
        for (x, y) in [
            (low.x, low.y),
            (low.x, high.y),
            (high.x, low.y),
            (high.x, high.y),
        ] {
            within = within.max(distance_km(middle, at(x, y)?));
        }
        let chosen = may_speak_for(season, station.as_deref(), &all, (middle, within))?;
        let known: Vec<_> = chosen
            .iter()
            .map(|station| {
                json!([
                    station.name,
                    station.longitude,
                    station.latitude,
                    station.record
                ])
            })
            .collect();
        let part = Part {
            file: list.clone(),
            what: "its stations",
            sha256: sha256_hex(json!(known).to_string().as_bytes()),
        };
        let records = chosen.into_iter().map(|station| station.record.clone());
        Some((part, records.collect()))
    }
}

/// Polygons with their names and their system.
pub(super) fn polygons(
    source: &VectorSource,
    what: &'static str,
    layer: &VectorLayer<MultiPolygon<f64>>,
) -> Part {
    let mut bytes = Vec::new();
    for shape in &layer.shapes {
        wkb::multipolygon(&shape.geometry, &mut bytes);
        bytes.extend(json!([shape.name, shape.number]).to_string().into_bytes());
    }
    bytes.extend(layer.crs.definition().as_bytes());
    Part {
        file: source.path.clone(),
        what,
        sha256: sha256_hex(&bytes),
    }
}
