//! How well the nitrogen share and the expected gain hold on made fields whose truth is known: prints the tables of `docs/concepts/nitrogen-share.md`, that of the
//! balanced level, and draws the picture.
//!
//!     cargo run --example nitrogen_share_study
//!     cargo run --example nitrogen_share_study -- 300 docs/nitrogen_share.svg     # grounds a line, where the picture goes
//!     cargo run --example nitrogen_share_study -- 100 - "10 m pixels"             # only lines whose name holds this

#![expect(clippy::print_stdout, reason = "an example that prints tables")]

mod share_ground;

use std::error::Error;

use haulm::job::settings::ReferenceLevel;
use share_ground::field::{Lies, Plan};
use share_ground::picture::picture;
use share_ground::run::{Asked, Found, found};

/// Grounds of a line, unless told otherwise.
const GROUNDS: usize = 100;
/// Seeds begin here; each line has its own.
const SEED: u64 = 771_000;

/// Ground of which this share is nitrogen, by soil and deficit that together vary by about 7 %.
const SHARES: [(&str, f64, f64); 5] = [
    ("all of it nitrogen", 0.006, 0.062),
    ("two thirds", 0.036, 0.045),
    ("half", 0.050, 0.044),
    ("a quarter", 0.060, 0.0305),
    ("none, deficit even", 0.065, 0.0),
];

fn lines() -> Vec<(String, Plan)> {
    let plain = Plan::PLAIN;
    let mut lines: Vec<(String, Plan)> = SHARES
        .iter()
        .map(|(name, soil, sd)| {
            let plan = Plan {
                soil: *soil,
                deficit: (0.12, *sd),
                ..plain
            };
            ((*name).to_owned(), plan)
        })
        .collect();
    let more = [
        (
            "half, two strips",
            Plan {
                strips: (2, 200.0),
                ..plain
            },
        ),
        (
            "half, four strips",
            Plan {
                strips: (4, 200.0),
                ..plain
            },
        ),
        (
            "half, strip of 120 m",
            Plan {
                strips: (1, 120.0),
                ..plain
            },
        ),
        (
            "half, strip of 400 m",
            Plan {
                strips: (1, 400.0),
                ..plain
            },
        ),
        (
            "half, 0.5 m pixels, 8 ha",
            Plan {
                size: (360.0, 216.0),
                pixel: 0.5,
                ..plain
            },
        ),
        (
            "half, 10 m pixels, 36 ha, strip of 300 m",
            Plan {
                size: (696.0, 528.0),
                pixel: 10.0,
                strips: (1, 300.0),
                ..plain
            },
        ),
        (
            "half, soil zones with sharp borders",
            Plan {
                sharp: 1.0,
                ..plain
            },
        ),
        (
            "half, three times as long along the rows",
            Plan {
                stretch: 3.0,
                ..plain
            },
        ),
        (
            "half, patches of 12 m",
            Plan {
                range: 12.0,
                ..plain
            },
        ),
        (
            "half, patches of 80 m",
            Plan {
                range: 80.0,
                ..plain
            },
        ),
        (
            "poor ground short of nitrogen",
            Plan {
                lies: Lies::WithSoil,
                soil: 0.04,
                ..plain
            },
        ),
        (
            "rich ground short of nitrogen",
            Plan {
                lies: Lies::AgainstSoil,
                soil: 0.04,
                ..plain
            },
        ),
        (
            "gradient that no strip crosses",
            Plan {
                lies: Lies::Gradient,
                soil: 0.02,
                deficit: (0.15, 0.08),
                ..plain
            },
        ),
        (
            "nitrogen ample",
            Plan {
                deficit: (0.0, 0.0),
                ..plain
            },
        ),
        (
            "nitrogen ample, one half dry",
            Plan {
                lies: Lies::DryHalf,
                soil: 0.09,
                deficit: (0.0, 0.0),
                ..plain
            },
        ),
    ];
    lines.extend(more.map(|(name, plan)| (name.to_owned(), plan)));
    // Where pieces of the strip are solved as mixtures.
    let satellite = [("all of it", 0), ("none", 4)].map(|(name, k)| {
        let (_, soil, sd) = SHARES[k];
        let plan = Plan {
            size: (696.0, 528.0),
            pixel: 10.0,
            strips: (1, 300.0),
            soil,
            deficit: (0.12, sd),
            ..plain
        };
        (format!("{name}, 10 m pixels, 36 ha, strip of 300 m"), plan)
    });
    lines.extend(satellite);
    lines
}

/// All grounds of a line, in the order of their seeds.
fn grounds(
    plan: Plan,
    line: usize,
    count: usize,
    level: ReferenceLevel,
) -> Result<Vec<Found>, Box<dyn Error>> {
    (0..count)
        .map(|k| {
            let asked = Asked {
                level,
                ..Asked::default()
            };
            found(plan, SEED + 10_000 * line as u64 + k as u64, asked)
        })
        .collect()
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    sum / count
}

fn sd(values: &[f64]) -> f64 {
    let middle = mean(values.iter().copied());
    libm::sqrt(mean(values.iter().map(|v| (v - middle) * (v - middle))))
}

fn percent(count: usize, of: usize) -> String {
    if of == 0 {
        "–".to_owned()
    } else {
        format!("{:.0} %", 100.0 * count as f64 / of as f64)
    }
}

/// Within 5 EUR/ha or half of the truth.
fn near(expected: f64, truth: f64) -> bool {
    (expected - truth).abs() <= (0.5 * truth.abs()).max(5.0)
}

/// One line of the table of shares and gains.
fn print_line(name: &str, all: &[Found]) {
    debug_assert!(
        all.iter().all(|one| one.used_share >= 1.0),
        "the map as decided compares each cell with the strip"
    );
    let shares: Vec<(f64, f64, f64, f64)> = all
        .iter()
        .filter_map(|one| {
            one.share
                .map(|(share, low, high)| (one.true_share, share, low, high))
        })
        .collect();
    let held = shares
        .iter()
        .filter(|(truth, _, low, high)| low <= truth && truth <= high)
        .count();
    let gains: Vec<([f64; 3], [f64; 3])> = all
        .iter()
        .filter_map(|one| one.expected.zip(one.truth))
        .collect();
    let of = |way: usize| {
        let ok = gains
            .iter()
            .filter(|(expected, truth)| near(expected[way], truth[way]))
            .count();
        format!(
            "{:.1} / {:.1} / {}",
            mean(gains.iter().map(|gain| gain.0[way])),
            mean(gains.iter().map(|gain| gain.1[way])),
            percent(ok, gains.len())
        )
    };
    let decided: Vec<(f64, f64, f64)> = all
        .iter()
        .filter_map(|one| one.decided.1.map(|own| (one.decided.0, own, one.decided.2)))
        .collect();
    println!(
        "| {name} | {:.2} | {:.2} ± {:.2} | {} | {} | {} | {} | {:.1} / {:.1} / {:.1} | {} | {} |",
        mean(shares.iter().map(|one| one.0)),
        mean(shares.iter().map(|one| one.1)),
        sd(&shares.iter().map(|one| one.1).collect::<Vec<_>>()),
        percent(held, shares.len()),
        of(0),
        of(1),
        of(2),
        mean(decided.iter().map(|one| one.0)),
        mean(decided.iter().map(|one| one.1)),
        mean(decided.iter().map(|one| one.2)),
        percent(all.iter().filter(|one| one.flat_better).count(), all.len()),
        percent(all.iter().filter(|one| one.uncrossed).count(), all.len()),
    );
}

/// One line of the table of gains over the flat rate that is truly best, which nobody knows beforehand.
fn print_over_best(name: &str, all: &[Found]) {
    let of = |way: usize| mean(all.iter().map(|one| one.over_best[way]));
    println!("| {name} | {:.1} | {:.1} | {:.1} |", of(0), of(1), of(2));
}

/// One line of the table of levels.
fn print_level(name: &str, plan: Plan, line: usize, count: usize) -> Result<(), Box<dyn Error>> {
    let totals = |level| -> Result<Vec<f64>, Box<dyn Error>> {
        let all = grounds(plan, line, count, level)?;
        Ok(all.iter().map(|one| one.total).collect())
    };
    let (strip, balanced) = (
        totals(ReferenceLevel::Strip)?,
        totals(ReferenceLevel::Balanced)?,
    );
    println!(
        "| {name} | {:.2} | {:.0} % | {:.2} | {:.0} % |",
        mean(strip.iter().copied()),
        100.0 * sd(&strip),
        mean(balanced.iter().copied()),
        100.0 * sd(&balanced)
    );
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let count = arguments
        .next()
        .and_then(|text| text.parse().ok())
        .unwrap_or(GROUNDS);
    let svg = arguments.next().filter(|path| path != "-");
    let only = arguments.next();
    println!("{count} grounds a line. Gains in EUR/ha.\n");
    println!(
        "| ground | true share | measured | 80 % range holds it | each cell: expected / true / near | whole field | measured share | map as decided: plain / expected / true | flat better | uncrossed |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    let mut all = Vec::new();
    for (line, (name, plan)) in lines().into_iter().enumerate() {
        if only.as_ref().is_some_and(|only| !name.contains(only)) {
            continue;
        }
        let found = grounds(plan, line, count, ReferenceLevel::Strip)?;
        print_line(&name, &found);
        all.push((name, found));
    }
    println!("\n| ground | each cell | whole field | measured share |");
    println!("| --- | --- | --- | --- |");
    for (name, found) in &all {
        print_over_best(name, found);
    }
    if only.is_some() {
        return Ok(());
    }
    println!(
        "\n| ground | level of the strip: mean | SD | balanced: mean | SD |\n| --- | --- | --- | --- | --- |"
    );
    for (k, (name, strips)) in [("one strip", 1), ("two strips", 2), ("four strips", 4)]
        .into_iter()
        .enumerate()
    {
        let plan = Plan {
            strips: (strips, 200.0),
            range: 60.0,
            ..Plan::PLAIN
        };
        print_level(name, plan, 40 + k, count)?;
    }
    if let Some(path) = svg {
        let points: Vec<(f64, [f64; 3])> = all
            .iter()
            .take(SHARES.len())
            .map(|(_, found)| {
                let of = |way: usize| mean(found.iter().map(|one| one.over_best[way]));
                (
                    mean(found.iter().map(|one| one.true_share)),
                    [of(0), of(1), of(2)],
                )
            })
            .collect();
        fs_err::write(path, picture(&points))?;
    }
    Ok(())
}
