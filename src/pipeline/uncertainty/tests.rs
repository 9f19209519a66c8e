//! The table of draws against every cell drawn by itself, and its sums.

use super::*;
use crate::science::methods::class_table::{Class, ClassTable};
use crate::science::methods::{Limits, Method, RateModel, ReadBy};
use crate::science::monte_carlo::Moved;
use crate::science::yield_response::{YieldCurve, YieldResponse};
use crate::units::Yield;
use proptest::prelude::*;

fn table(places: &Places, moved: &[Moved]) -> Array2<f64> {
    Array2::from_shape_fn((places.len(), moved.len()), |(place, draw)| {
        let (index, reference) = places.at(place);
        moved[draw].exact(index, reference).unwrap_or(0.0)
    })
}

fn model(maximum: f64) -> RateModel {
    let method = YieldResponse {
        curve: YieldCurve {
            a: Yield::kg_per_ha(590.0),
            b: 258.2,
        },
        growing_days: 94.0,
        maximum_yield: Yield::kg_per_ha(6_700.0),
        ratio_adjustment: None,
        dead_band: 0.0,
        grain_nitrogen: 0.0239,
        use_efficiency: 0.5,
    };
    RateModel {
        method: Method::new(method),
        limits: Limits {
            maximum_ratio: 2.0,
            limits_sufficiency: false,
            applied_since_sensing: NRate::ZERO,
            minimum: NRate::ZERO,
            maximum: NRate::kg_per_ha(maximum),
        },
        blend: None,
    }
}

const ALL: Spreads = Spreads {
    ratio: 0.04,
    limit: None,
    use_efficiency: 0.2,
    curve: 0.2,
    place: 0.05,
};

/// A table over more values than it has places, and each cell by itself.
type Bounds = Vec<(f64, f64)>;
fn table_and_cells(
    model: &RateModel,
    references: usize,
    draws: u64,
) -> (Vec<f64>, Vec<f64>, Bounds, Bounds) {
    let cells: Vec<(f64, f64)> = (0..4_000)
        .map(|k| {
            (
                0.30 + 0.5 * f64::from(k) / 4_000.0,
                0.70 + if references > 1 {
                    0.04 * f64::from(k % 97) / 97.0
                } else {
                    0.0
                },
            )
        })
        .collect();
    let places = Places::of(
        cells.iter().copied(),
        MAXIMUM_NUMBERS,
        model.method.has_steps(),
        false,
    );
    let spreads = ALL.of_model(model);
    let moved: Vec<_> = (0..draws)
        .map(|number| spreads.draw(5, number).moved(model))
        .collect();
    let table = table(&places, &moved);
    let mut sum = Sum::default();
    let gets: Vec<Gets> = cells
        .iter()
        .map(|(index, reference)| Gets::Own(*index, *reference))
        .collect();
    for gets in &gets {
        sum.add(&places, *gets, 0.05);
    }
    let by_table = sum.all(&table, &vec![0.0; moved.len()]);
    let by_cell = moved
        .iter()
        .map(|m| {
            cells
                .iter()
                .map(|(i, r)| 0.05 * m.exact(*i, *r).unwrap())
                .sum()
        })
        .collect();
    let bands = cell_bands(&places, &gets, &table, &vec![0.0; moved.len()])
        .into_iter()
        .map(Option::unwrap)
        .collect();
    let own_bands = cells
        .iter()
        .map(|(i, r)| {
            let band = band_of(
                &mut moved
                    .iter()
                    .map(|m| m.exact(*i, *r).unwrap())
                    .collect::<Vec<_>>(),
            )
            .unwrap();
            (band.low, band.high)
        })
        .collect();
    (by_table, by_cell, bands, own_bands)
}

#[test]
fn the_table_says_what_every_cell_by_itself_says() {
    for references in [1, 97] {
        let (by_table, by_cell, bands, own) = table_and_cells(&model(120.0), references, 60);
        for (table, cell) in by_table.iter().zip(&by_cell) {
            assert!(
                (table - cell).abs() < if references == 1 { 2e-3 } else { 1e-2 } * cell.max(1.0),
                "{references}: {table} by the table, {cell} by cells"
            );
        }
        let worst = bands
            .iter()
            .zip(&own)
            .map(|(a, b)| (a.0 - b.0).abs().max((a.1 - b.1).abs()))
            .fold(0.0, f64::max);
        assert!(
            worst < if references == 1 { 0.3 } else { 1.5 },
            "{references}: a cell is {worst} kg N/ha off"
        );
    }
}

#[test]
fn classes_are_not_blurred() {
    let kg = NRate::kg_per_ha;
    let classes = vec![
        Class {
            below: Some(0.7),
            rate: kg(90.0),
            back_off: false,
        },
        Class {
            below: Some(0.9),
            rate: kg(40.0),
            back_off: false,
        },
        Class {
            below: None,
            rate: kg(0.0),
            back_off: false,
        },
    ];
    let table = RateModel {
        method: Method::new(ClassTable {
            by: ReadBy::Index,
            classes,
        }),
        limits: model(120.0).limits,
        blend: None,
    };
    // Read by the index nothing moves it: every band is a class's own rate.
    let (_, _, bands, own) = table_and_cells(&table, 1, 40);
    assert!(
        bands
            .iter()
            .all(|(low, high)| [0.0, 40.0, 90.0].contains(low) && low <= high)
    );
    let other = bands.iter().zip(&own).filter(|(a, b)| a != b).count();
    assert!(other <= 40, "{other} of 4000 cells in another class");
}

#[test]
fn weights_add_up_and_few_values_are_exact() {
    let cells = [(0.4, 0.7), (0.5, 0.7), (0.6, 0.72)];
    let places = Places::of(cells.into_iter(), 100, false, false);
    for (index, reference) in cells {
        let around: Vec<(usize, f64)> = places.around(index, reference).collect();
        assert_eq!(around.len(), 1);
        assert_eq!(places.at(around[0].0), (index, reference));
    }
}

#[test]
fn the_widest_doubt_is_told_first() {
    let only_curve = Spreads {
        curve: 0.2,
        ..Spreads::default()
    };
    // Proportional to the curve: its SD is 20 % of the total, and its ends 80 and 120 %.
    let parts = parts_of(&only_curve, &|draw: &Draw| 300.0 * draw.curve);
    assert_eq!(parts.len(), 1);
    assert!((parts[0].sd_kg - 60.0).abs() < 1e-9 && parts[0].share == 1.0);
    assert!((parts[0].ends_kg.0 - 240.0).abs() < 1e-9 && (parts[0].ends_kg.1 - 360.0).abs() < 1e-9);
    let parts = parts_of(
        &Spreads {
            place: 0.28,
            curve: 0.2,
            ..Spreads::default()
        },
        &|draw: &Draw| 300.0 * draw.curve * draw.place,
    );
    assert_eq!(parts[0].cause, Cause::Shared(Factor::Place));
    // The farthest point would lie below 0 and is held to 0.05.
    assert!((parts[0].share - 0.28 * 0.28 / (0.28 * 0.28 + 0.04)).abs() < 1e-3);
}

proptest! {
    #[test]
    fn zones_add_up_to_the_field(
        cells in proptest::collection::vec((0.2_f64..0.9, 0.01_f64..0.06, 0_usize..4, 0_usize..4), 1..60), seed in any::<u64>(),
    ) {
        let model = model(150.0);
        let places = Places::of(cells.iter().map(|cell| (cell.0, 0.72)), PLACES, false, false);
        let moved: Vec<_> = (0..20).map(|number| ALL.draw(seed, number).moved(&model)).collect();
        let table = table(&places, &moved);
        let fields: Vec<f64> = (0..20).map(|k| 10.0 + 4.0 * f64::from(k)).collect();
        let (mut whole, mut zones) = (Sum::default(), [Sum::default(), Sum::default(), Sum::default(), Sum::default()]);
        for (index, area, zone, kind) in &cells {
            let gets = [Gets::Own(*index, 0.72), Gets::Held(*index, 0.72), Gets::Field, Gets::Stated(12.5)][*kind];
            whole.add(&places, gets, *area);
            zones[*zone].add(&places, gets, *area);
        }
        let total = whole.all(&table, &fields);
        for (k, kg) in total.iter().enumerate() {
            // Σ rate × area, cell by cell.
            let by_cells: f64 = cells.iter().map(|(index, area, _, kind)| {
                let own = moved[k].exact(*index, 0.72).unwrap();
                area * [own, own.min(fields[k]), fields[k], 12.5][*kind]
            }).sum();
            let by_zones: f64 = zones.iter().filter(|zone| zone.area > 0.0).map(|zone| zone.all(&table, &fields)[k] / zone.area * zone.area).sum();
            prop_assert!((kg - by_cells).abs() < 1e-9 * by_cells.max(1.0) && (kg - by_zones).abs() < 1e-9 * by_cells.max(1.0));
            let column = |place: usize| table[[place, k]];
            prop_assert!((kg - whole.kg(column, fields[k])).abs() < 1e-9 * by_cells.max(1.0));
        }
    }
}
