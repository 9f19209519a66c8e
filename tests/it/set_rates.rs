//! Rates set by hand: what they move and what they never move.

use std::fmt::Write as _;

use geo::{Area as _, BooleanOps as _};
use haulm::job::settings::SetTo;
use haulm::map::prescription::CellState;
use haulm::units::NRate;
use haulm::{Common, Decision, Prepared, Silent, prepare};

use crate::field::{BARE, CLOUD, EXTENT, Field, THIN, mapped, message, rectangle, refused};

/// A field with rates that differ from zone to zone.
fn field() -> Field {
    let field = Field::new();
    field.job(
        "[product]",
        "minimum = \"10 kg N/ha\"\nbare = \"0 kg N/ha\"\n\n[product]",
    );
    field
}

/// Adds a table of `rate.set` over a rectangle.
fn set(field: &Field, name: &str, ground: [f64; 4], what: &str) {
    field.polygons(&format!("{name}.geojson"), &[rectangle(ground)]);
    field.job(
        "[product]",
        &format!(
            "[[rate.set]]\npath = \"{name}.geojson\"\n{what}\nreason = \"because of {name}\"\n\n[product]"
        ),
    );
}

fn prepared(field: &Field) -> Prepared {
    prepare(&field.path("job.toml"), &Common::default(), &Silent).unwrap()
}

fn decided(field: &Field) -> Decision {
    let prepared = prepared(field);
    prepared.decide(prepared.settings()).unwrap()
}

/// What a cell gets by its zone, its own rate, its index and its state, bit for bit.
fn cells(decision: &Decision) -> Vec<(u64, u64, Option<u64>, CellState)> {
    let prescription = &decision.outcome().prescription;
    let each = prescription.cells.iter().map(|cell| {
        let zone = &prescription.zones[cell.zone as usize - 1];
        let index = cell.index.map(f64::to_bits);
        (
            zone.n.get().to_bits(),
            cell.n.get().to_bits(),
            index,
            cell.state,
        )
    });
    each.collect()
}

fn rate_of(cell: &(u64, u64, Option<u64>, CellState)) -> f64 {
    f64::from_bits(cell.0)
}

/// Whether the centre of a cell of 24 m lies in a rectangle; rectangles of these tests never halve a cell.
fn lies_in(decision: &Decision, k: usize, [west, south, east, north]: [f64; 4]) -> bool {
    let cell = &decision.outcome().prescription.cells[k];
    // Columns count to the left of the heading, which is grid north: from the east.
    let outline = decision.outcome().prescription.grid.outline(k);
    let centre = geo::Centroid::centroid(&outline).unwrap();
    let (x, y) = (
        centre.x() - crate::field::CORNER.0,
        centre.y() - crate::field::CORNER.1,
    );
    assert!(cell.area.get() > 0.0);
    x > west && x < east && y > south && y < north
}

#[test]
fn nothing_outside_the_ground_moves_and_no_rate_leaves_its_limits() {
    // A generator of its own, seeded: xorshift of 64 bits.
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut next = |below: u64| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state % below
    };
    let ways = [
        "",
        "\n[zones]\nminimum_area = \"4000 m2\"\ntotal = \"kept\"\n",
        "\n[zones]\nby = \"classes\"\nclasses = 3\n",
        "\n[zones]\ntolerance = \"5 kg N/ha\"\n",
    ];
    for round in 0..16 {
        let field = field();
        field.job("[output]", &format!("{}[output]", ways[round % ways.len()]));
        if round % 3 == 0 {
            field.job("[product]", "maximum_step = \"15 kg N/ha\"\n[product]");
        }
        let before = decided(&field);
        let (west, south) = (next(8) as f64 * 24.0, next(10) as f64 * 24.0);
        let ground = [
            west,
            south,
            (west + 24.0 + next(5) as f64 * 24.0).min(EXTENT.0),
            (south + 24.0 + next(6) as f64 * 24.0).min(EXTENT.1),
        ];
        let what = match round % 4 {
            0 => format!("rate = \"{} kg N/ha\"", 10 + next(140)),
            1 => format!("add = \"{} kg N/ha\"", 1 + next(200)),
            2 => format!("add = \"-{} kg N/ha\"", 1 + next(200)),
            _ => format!("at_most = \"{} kg N/ha\"", 10 + next(100)),
        };
        set(&field, "ground", ground, &what);
        let after = decided(&field);
        let (was, is) = (cells(&before), cells(&after));
        assert_eq!(was.len(), is.len());
        let mut inside = 0;
        for k in 0..was.len() {
            let notice = format!("round {round}, {what}, {ground:?}, cell {k}");
            assert_eq!((was[k].2, was[k].3), (is[k].2, is[k].3), "{notice}");
            let (old, new) = (rate_of(&was[k]), rate_of(&is[k]));
            if !lies_in(&after, k, ground) {
                assert_eq!(was[k], is[k], "{notice}");
                continue;
            }
            inside += 1;
            assert!(new <= 150.0, "{notice}: {new}");
            if was[k].3 == CellState::Canopy {
                assert!((10.0..=150.0).contains(&new), "{notice}: {new}");
                let (number, _) = what.split_once('"').unwrap().1.split_once(' ').unwrap();
                let number: f64 = number.parse().unwrap();
                let step = 5.0;
                match round % 4 {
                    0 => assert!((new - number).abs() <= step / 2.0 + 1e-9, "{notice}: {new}"),
                    1 | 2 => {
                        let requirement = (old + number).clamp(10.0, 150.0);
                        assert!(
                            (new - requirement).abs() <= step / 2.0 + 1e-9,
                            "{notice}: {new}"
                        );
                    }
                    _ => {
                        assert!(new <= number + 1e-9, "{notice}: {new}");
                        assert!(old > number || (new - old).abs() < 1e-9, "{notice}: {new}");
                    }
                }
            } else {
                assert!(new <= old, "{notice}: {old} became {new}");
            }
        }
        let found = &after.outcome().set[0];
        assert_eq!(found.cells, inside, "round {round}");
        // What is told is what is on the map.
        let sum = |cells: &[(u64, u64, Option<u64>, CellState)], of: &Decision| -> f64 {
            let areas = of.outcome().prescription.cells.iter().map(|cell| cell.area);
            cells
                .iter()
                .zip(areas)
                .map(|(cell, area)| rate_of(cell) * area.as_ha())
                .sum()
        };
        let notice = found.after.get() - found.before.get();
        let really = sum(&is, &after) - sum(&was, &before);
        assert!((notice - really).abs() < 1e-6, "{notice} against {really}");
        assert!((after.outcome().totals.n_kg - sum(&is, &after)).abs() < 1e-6);
    }
}

#[test]
fn ground_without_a_full_stand_is_lowered_only_and_stays_what_it_is() {
    let field = field();
    let before = decided(&field);
    for (name, ground) in [("cloud", CLOUD), ("bare", BARE), ("thin", THIN)] {
        set(&field, name, ground, "rate = \"140 kg N/ha\"");
    }
    let raised = decided(&field);
    assert_eq!(cells(&before), cells(&raised));
    assert!(
        raised
            .outcome()
            .set
            .iter()
            .all(|set| set.kept == 4 && set.cells == 4)
    );
    let text = raised
        .findings()
        .iter()
        .find(|finding| finding.code == "rate.by_hand")
        .unwrap();
    assert!(
        text.message
            .contains("4 cells without a full stand keep theirs"),
        "{}",
        text.message
    );
    // Lowered it is: ground without image has the field rate.
    let field = self::field();
    set(&field, "cloud", CLOUD, "rate = \"10 kg N/ha\"");
    let lowered = decided(&field);
    for (k, (was, is)) in cells(&before).iter().zip(cells(&lowered)).enumerate() {
        if lies_in(&lowered, k, CLOUD) {
            assert_eq!((is.2, is.3), (None, CellState::Unseen));
            assert!((rate_of(&is) - 10.0).abs() < 1e-9 && rate_of(was) > 10.0);
        }
    }
}

#[test]
fn the_seasons_limit_holds() {
    let field = field();
    field.job(
        "[product]",
        "season_limit = \"90 kg N/ha\"\napplied_before = \"30 kg N/ha\"\n[product]",
    );
    set(
        &field,
        "all",
        [0.0, 0.0, EXTENT.0, EXTENT.1],
        "add = \"500 kg N/ha\"",
    );
    let decision = decided(&field);
    assert!(
        decision
            .outcome()
            .prescription
            .zones
            .iter()
            .all(|zone| zone.n.get() <= 60.0)
    );
    assert!(decision.outcome().set[0].limited > 0);
    field.job("add = \"500 kg N/ha\"", "rate = \"70 kg N/ha\"");
    refused(
        &field,
        &["rate.set[1].rate", "more than the season's limit leaves"],
    );
}

#[test]
fn the_later_of_two_counts_where_they_overlap() {
    let field = field();
    set(
        &field,
        "second",
        [0.0, 0.0, 120.0, 96.0],
        "rate = \"20 kg N/ha\"",
    );
    // Each is put before what was there, so that this one is the first of the job.
    set(
        &field,
        "first",
        [0.0, 48.0, 120.0, 144.0],
        "rate = \"90 kg N/ha\"",
    );
    let text = fs_err::read_to_string(field.path("job.toml")).unwrap();
    let last = text.rfind("[[rate.set]]").unwrap();
    assert!(text[last..].contains("first.geojson"), "{text}");
    let decision = decided(&field);
    for (k, cell) in cells(&decision).iter().enumerate() {
        if lies_in(&decision, k, [0.0, 48.0, 120.0, 96.0]) && cell.3 == CellState::Canopy {
            assert!((rate_of(cell) - 90.0).abs() < 1e-9);
        }
    }
    assert!(
        decision
            .findings()
            .iter()
            .any(|finding| finding.code == "rate.by_hand_overlap"
                && finding.message.starts_with("10 cells"))
    );
}

#[test]
fn exclusions_get_nothing_whatever_is_set() {
    let field = field();
    field.polygons("pond.geojson", &[rectangle([60.0, 130.0, 110.0, 190.0])]);
    field.job(
        "[imagery]",
        "[[field.exclude]]\npath = \"pond.geojson\"\nbuffer = \"6 m\"\n\n[imagery]",
    );
    set(
        &field,
        "all",
        [0.0, 0.0, EXTENT.0, EXTENT.1],
        "rate = \"140 kg N/ha\"",
    );
    let decision = decided(&field);
    let prescription = &decision.outcome().prescription;
    for zone in &prescription.zones {
        for shape in [&zone.outline, &zone.machine_outline] {
            let inside = shape.intersection(&prescription.exclusions).unsigned_area();
            assert!(inside < 1e-6, "zone {}: {inside} m²", zone.zone);
        }
    }
}

#[test]
fn a_changed_rate_or_reason_is_decided_at_once_and_a_changed_shape_is_read() {
    let field = field();
    set(
        &field,
        "hollow",
        [24.0, 24.0, 120.0, 120.0],
        "rate = \"40 kg N/ha\"",
    );
    let first = prepared(&field);
    let at_first = first.decide(first.settings()).unwrap();
    let mut asked = first.settings().clone();
    asked.rate.set[0].to = SetTo::AtMost(NRate::kg_per_ha(20.0));
    "another reason".clone_into(&mut asked.rate.set[0].reason);
    assert!(first.serves(&asked));
    let again = first.decide(&asked).unwrap();
    let map_id = |decision: &Decision| {
        let files = decision
            .clone()
            .files(&[], decision.image_instant())
            .unwrap();
        files.map_id
    };
    assert_ne!(map_id(&at_first), map_id(&again));
    field.job("rate = \"40 kg N/ha\"", "at_most = \"20 kg N/ha\"");
    field.job("because of hollow", "another reason");
    let anew = decided(&field);
    assert_eq!(cells(&again), cells(&anew));
    assert_eq!(
        format!("{:?}", again.findings()),
        format!("{:?}", anew.findings())
    );
    let source = asked.rate.set[0].source.clone();
    asked.rate.set.push(asked.rate.set[0].clone());
    assert!(!first.serves(&asked));
    asked.rate.set.truncate(1);
    asked.rate.set[0].source.path = source.path.with_file_name("other.geojson");
    assert!(!first.serves(&asked));
    let refusal = first.decide(&asked).unwrap_err();
    assert!(refusal.headline.contains("rate.set changed"), "{refusal}");
}

#[test]
fn what_was_set_is_known_for_certain_and_a_limit_cuts_the_range() {
    let field = field();
    let all = [0.0, 0.0, EXTENT.0, EXTENT.1];
    let before = decided(&field);
    set(&field, "all", all, "rate = \"60 kg N/ha\"");
    let decision = decided(&field);
    let band = decision.outcome().uncertainty.as_ref().unwrap();
    for (cell, range) in decision
        .outcome()
        .prescription
        .cells
        .iter()
        .zip(&band.cells)
    {
        if cell.state == CellState::Canopy {
            assert_eq!(*range, None, "a rate that was set has no range");
        }
    }
    field.job("rate = \"60 kg N/ha\"", "at_most = \"40 kg N/ha\"");
    let decision = decided(&field);
    let of_before = before.outcome().uncertainty.as_ref().unwrap();
    let band = decision.outcome().uncertainty.as_ref().unwrap();
    assert!(band.field.high <= of_before.field.high);
    let mut cut = 0;
    for (own, limited) in of_before.cells.iter().zip(&band.cells) {
        if let (Some((low, high)), Some((cut_low, cut_high))) = (own, limited) {
            assert!((cut_high - high.min(40.0)).abs() < 1e-6, "{cut_high}");
            assert!((cut_low - low.min(40.0)).abs() < 1e-6, "{cut_low}");
            cut += usize::from(*high > 40.0);
        }
    }
    assert!(cut > 20, "{cut}");
}

#[test]
fn page_one_of_the_report_and_the_record_say_what_was_set_and_why() {
    let field = Field::mapped();
    let without = field.record()["map_id"].clone();
    set(
        &field,
        "hollow",
        [24.0, 24.0, 120.0, 120.0],
        "at_most = \"20 kg N/ha\"",
    );
    mapped(&field);
    let record = field.record();
    assert_ne!(record["map_id"], without);
    let notice = &record["set_by_hand"][0];
    assert_eq!(notice["reason"], "because of hollow");
    assert_eq!(notice["cells"], 16);
    assert_eq!(
        record["settings"]["rate"]["set"][0]["at_most_kg_n_ha"],
        20.0
    );
    assert!(notice["n_kg"].as_f64() < notice["n_kg_before"].as_f64());
    let text = message(&field, "rate.by_hand").unwrap();
    assert!(
        text.starts_with("by hand limited to 20.0 kg N/ha: 16 cells, 0.92 ha"),
        "{text}"
    );
    let report = fs_err::read_to_string(field.path("out/office/report.html")).unwrap();
    // Spaces between number and unit do not break.
    let report = report.replace('\u{a0}', " ");
    let one = report.find("id=\"decision\"").unwrap();
    let two = report[one..]
        .find("<section")
        .map_or(report.len(), |at| one + at);
    assert!(
        report[one..two].contains("By hand limited to 20.0 kg N/ha on 0.92 ha"),
        "page one does not say it: {}",
        &report[one..one + 1500]
    );
    assert!(report[one..two].contains("because of hollow"));
    assert!(report[one..two].contains("rate set by hand"), "no legend");
}

#[test]
fn ground_in_which_no_cell_lies_is_told() {
    let field = field();
    set(
        &field,
        "elsewhere",
        [-400.0, 0.0, -300.0, 50.0],
        "rate = \"40 kg N/ha\"",
    );
    mapped(&field);
    let text = message(&field, "rate.by_hand_apart").unwrap();
    assert!(text.contains("elsewhere.geojson: no cell"), "{text}");
}

#[test]
fn what_cannot_be_meant_is_refused() {
    for (what, parts) in [
        (
            "rate = \"40 kg N/ha\"\nadd = \"5 kg N/ha\"",
            &["rate.set[1].add", "cannot stand together"][..],
        ),
        ("", &["rate.set[1].rate", "is missing"]),
        (
            "rate = \"160 kg N/ha\"",
            &["rate.set[1].rate", "more than rate.maximum"],
        ),
        (
            "rate = \"5 kg N/ha\"",
            &["rate.set[1].rate", "field.exclude"],
        ),
        (
            "at_most = \"8 kg N/ha\"",
            &["rate.set[1].at_most", "field.exclude"],
        ),
        (
            "add = \"0 kg N/ha\"",
            &["rate.set[1].add", "must be above zero"],
        ),
        ("add = -10", &["rate.set[1].add", "-10 of what?"]),
        (
            "rate = \"-10 kg N/ha\"",
            &["rate.set[1].rate", "below zero"],
        ),
        (
            "add = \"2000 kg N/ha\"",
            &["rate.set[1].add", "more than any crop gets"],
        ),
    ] {
        let field = field();
        set(&field, "ground", [0.0, 0.0, 48.0, 48.0], what);
        refused(&field, parts);
    }
    let field = field();
    set(
        &field,
        "ground",
        [0.0, 0.0, 48.0, 48.0],
        "rate = \"40 kg N/ha\"",
    );
    field.job("reason = \"because of ground\"\n", "");
    refused(&field, &["rate.set[1].reason", "is missing"]);
}

#[test]
fn product_and_us_amounts_are_read() {
    let field = field();
    set(
        &field,
        "ground",
        [0.0, 0.0, 48.0, 48.0],
        "add = \"-40 L/ha\"",
    );
    let prepared = prepared(&field);
    let SetTo::Add(change) = prepared.settings().rate.set[0].to else {
        panic!("{:?}", prepared.settings().rate.set);
    };
    // UAN 28: 0.28 of 1.28 kg/L, handbook figures.
    let mut notice = String::new();
    write!(notice, "{:.2}", change.get()).unwrap();
    assert!((change.get() + 40.0 * 1.28 * 0.28).abs() < 0.2, "{notice}");
    assert!(
        prepared
            .findings()
            .iter()
            .any(|finding| finding.code == "rate.product_amount")
    );
}
