//! Zones of made fields as well-known text, for programs that judge shapes: `cargo run --example zone_shapes > zones.json`.
//!
//! Each field has a crooked edge and a pond, is cut into cells along a heading of its own, and its zones are drawn by several rules. The output is one JSON document: a list of fields, each with its
//! outline, its cell size, and for each rule the zones' outlines. Nothing is read, and the same bytes come out at every run.

use std::error::Error;
use std::fmt::Write as _;
use std::io::Write as _;

use geo::{LineString, MultiPolygon, Polygon};
use haulm::space::cells::CellFrame;
use haulm::space::cut::{borders, cut};
use haulm::space::polygon::{oriented, rings_of};
use haulm::zones::build::{GroupBy, Kind, Rate, ZoneCell, ZoneRule, build};
use haulm::zones::outline::outlines;
use haulm::zones::shape::{ShapeRule, shape};
use serde_json::json;

/// Simplification \[m\], rounding \[m\], bound of area changes.
const RULES: [(f64, f64, f64); 5] = [
    (0.0, 0.0, 0.05),
    (9.0, 0.0, 0.05),
    (0.0, 6.0, 0.05),
    (12.0, 9.0, 0.05),
    (40.0, 40.0, 1.0),
];
/// Heading \[°\], cell length and width \[m\], reach of the field \[m\], noise \[kg N/ha\], least zone in cells.
const FIELDS: [(f64, f64, f64, f64, f64, f64); 4] = [
    (63.0, 12.0, 12.0, 170.0, 25.0, 4.0),
    (0.0, 10.0, 24.0, 210.0, 12.0, 2.0),
    (117.5, 6.0, 9.0, 130.0, 60.0, 0.0),
    (333.0, 24.0, 3.0, 190.0, 30.0, 8.0),
];

/// A number in 0..1 that looks like chance (finaliser of the `SplitMix64` generator, from memory).
fn chance(seed: u64) -> f64 {
    let mut z = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / 9_007_199_254_740_992.0
}

fn ring(centre: (f64, f64), reach: f64, points: u64, seed: u64) -> LineString<f64> {
    let at = |k: u64| {
        let angle = std::f64::consts::TAU * k as f64 / points as f64;
        let away = reach * (0.8 + 0.2 * chance(seed + k));
        (
            centre.0 + away * libm::cos(angle),
            centre.1 + away * libm::sin(angle),
        )
    };
    (0..points).map(at).collect()
}

fn wkt(shape: &MultiPolygon<f64>) -> Result<String, std::fmt::Error> {
    let mut text = String::from("MULTIPOLYGON (");
    for (i, part) in shape.iter().enumerate() {
        text.push_str(if i > 0 { ", (" } else { "(" });
        for (j, ring) in std::iter::once(part.exterior())
            .chain(part.interiors())
            .enumerate()
        {
            text.push_str(if j > 0 { ", (" } else { "(" });
            for (k, point) in ring.coords().enumerate() {
                write!(
                    text,
                    "{}{} {}",
                    if k > 0 { ", " } else { "" },
                    point.x,
                    point.y
                )?;
            }
            text.push(')');
        }
        text.push(')');
    }
    text.push(')');
    Ok(text)
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut fields = Vec::new();
    for (seed, (heading, length, width, reach, noise, minimum)) in (0_u64..).zip(FIELDS) {
        let centre = (560_000.0, 5_560_000.0);
        let pond = ring(
            (centre.0 + 0.3 * reach, centre.1),
            0.12 * reach,
            17,
            5_000 + 100 * seed,
        );
        let field = oriented(&MultiPolygon::new(vec![Polygon::new(
            ring(centre, reach, 61, 1_000 * seed),
            vec![pond],
        )]));
        let mut frame = CellFrame::new(heading, length, width);
        let uv: Vec<(f64, f64)> = rings_of(&field)
            .iter()
            .flatten()
            .map(|p| frame.to_uv(p[0], p[1]))
            .collect();
        (frame.u0, frame.v0) = uv.iter().fold((f64::INFINITY, f64::INFINITY), |(u, v), p| {
            (u.min(p.0), v.min(p.1))
        });
        let grid = cut(&field, frame)?;
        let rule = ZoneRule {
            step: 15.0,
            minimum_q: 0,
            maximum_q: 8,
            minimum_area: minimum * length * width,
            keep_total: true,
            tolerance: 0.0,
        };
        let cell = |(k, cell): (usize, &haulm::space::cells::Cell)| {
            let (u, v) = (f64::from(cell.row) * length, f64::from(cell.col) * width);
            let wave = 60.0 + 35.0 * libm::sin(u / 45.0) + 25.0 * libm::sin(v / 30.0 + u / 90.0);
            let n_exact =
                (wave + noise * (chance(seed * 100_000 + k as u64) - 0.5)).clamp(0.0, 120.0);
            ZoneCell {
                area: cell.area,
                kind: Kind::Canopy,
                n_exact,
                rate: Rate::Steps(rule.steps_of(n_exact)),
                index: None,
                class: None,
                follows: None,
            }
        };
        let cells: Vec<ZoneCell> = grid.cells.iter().enumerate().map(cell).collect();
        let zoning = build(&cells, &borders(&grid), GroupBy::Rate, &rule)?;
        let traced = outlines(&grid, &zoning.zone_of, zoning.zones.len() as u32);
        let mut drawn = Vec::new();
        for (simplify, round, area_within) in RULES {
            let done = shape(
                traced.clone(),
                &ShapeRule {
                    simplify,
                    round,
                    area_within,
                },
            );
            let zones: Vec<String> = done.outlines.iter().map(wkt).collect::<Result<_, _>>()?;
            drawn.push(json!({ "simplify": simplify, "round": round, "area_within": area_within, "beyond": done.beyond, "held": done.held, "zones": zones }));
        }
        let areas: Vec<f64> = zoning.zones.iter().map(|zone| zone.area).collect();
        let rates: Vec<f64> = zoning.zones.iter().map(|zone| zone.n).collect();
        fields.push(json!({ "field": wkt(&field)?, "length": length, "width": width, "areas": areas, "rates": rates, "drawn": drawn }));
    }
    writeln!(
        std::io::stdout().lock(),
        "{}",
        serde_json::Value::Array(fields)
    )?;
    Ok(())
}
