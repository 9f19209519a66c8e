//! What placebo strips are worth: made grounds of known truth through the whole program. Prints the table of `docs/concepts/placebo-strips.md`.
//!
//!     cargo run --release --example placebo_study [GROUNDS A LINE] [FIRST LINE] [LAST LINE]

#![expect(clippy::print_stdout, reason = "an example that prints a table")]

mod ground;

use ground::Plan;
use ground::run::{Wording, percent, wording};
use haulm::science::reference::Answer;

/// Grounds that a line rests on.
const GROUNDS: u64 = 200;
/// Nitrogen below this counts as none. \[kg/ha\]
const NOTHING: f64 = 0.5;

/// Lines of the table: correlation length, stretch along the drilling direction, deficit, pixel, strips, and the field's size.
fn lines() -> Vec<Plan> {
    // 60 ha and 9 ha. Strips of one pass of 24 m; at 10 m pixels 36 m wide.
    let plan = |correlation: f64,
                stretch: f64,
                deficit: (f64, f64),
                pixel: f64,
                strips: usize,
                large: bool| Plan {
        size: if large {
            (800.0, 750.0)
        } else {
            (300.0, 300.0)
        },
        pixel,
        strips: (
            strips,
            if large { 300.0 } else { 200.0 },
            if pixel > 7.0 { 36.0 } else { 24.0 },
        ),
        correlation,
        stretch,
        soil: 0.04,
        deficit,
    };
    let (twelve, uneven, three, none) = ((0.12, 0.0), (0.12, 0.06), (0.03, 0.0), (0.0, 0.0));
    let mut lines = Vec::new();
    for deficit in [twelve, uneven, three, none] {
        lines.push(plan(10.0, 1.0, deficit, 5.0, 1, true));
        lines.push(plan(35.0, 1.0, deficit, 5.0, 1, true));
        lines.push(plan(70.0, 3.0, deficit, 5.0, 1, true));
        lines.push(plan(140.0, 1.0, deficit, 10.0, 1, true));
        lines.push(plan(35.0, 3.0, deficit, 10.0, 2, true));
        lines.push(plan(70.0, 1.0, deficit, 5.0, 2, true));
        lines.push(plan(35.0, 1.0, deficit, 1.0, 1, false));
        lines.push(plan(70.0, 3.0, deficit, 1.0, 2, false));
    }
    lines
}

fn line(plan: &Plan, all: &[Wording]) -> String {
    let within = |(low, high): (f64, f64), value: f64| low <= value && value <= high;
    let holds = |of: fn(&Wording) -> Option<(f64, f64)>| {
        percent(all, |s| of(s).is_some_and(|i| within(i, s.true_ratio)))
    };
    let answers = |answer: Answer| percent(all, |s| s.answer == Some(answer));
    let mean = |of: fn(&Wording) -> f64| all.iter().map(of).sum::<f64>() / all.len().max(1) as f64;
    format!(
        "| {:.0} | {} | {:.0} ± {:.0} | {:.0} | {} | {:.0} | {:.0} | {:.3} | {:.0} | {:.0} | {:.0} | {:.0} | {:.0} | {:.1} | {:.1} | {:.0} | {:.0} |",
        plan.correlation,
        if plan.stretch > 1.0 {
            format!("{:.0}", plan.correlation * plan.stretch)
        } else {
            "–".to_owned()
        },
        100.0 * plan.deficit.0,
        100.0 * plan.deficit.1,
        plan.pixel,
        plan.strips.0,
        plan.size.0 * plan.size.1 / 10_000.0,
        percent(all, |s| s.places > 0),
        libm::sqrt(
            all.iter()
                .map(|s| (s.ratio / s.true_ratio - 1.0) * (s.ratio / s.true_ratio - 1.0))
                .sum::<f64>()
                / all.len().max(1) as f64
        ),
        holds(|s| s.interval),
        holds(|s| s.paired),
        answers(Answer::Responds),
        answers(Answer::Doubtful),
        answers(Answer::None),
        mean(|s| s.rate),
        mean(|s| s.true_rate),
        percent(all, |s| within(s.range, s.true_rate)),
        percent(all, |s| s.range.0 < NOTHING),
    )
}

fn main() {
    let asked: Vec<u64> = std::env::args()
        .skip(1)
        .filter_map(|word| word.parse().ok())
        .collect();
    let grounds = asked.first().copied().unwrap_or(GROUNDS);
    let lines = lines();
    let first = asked.get(1).map_or(0, |line| *line as usize);
    let last = asked.get(2).map_or(lines.len(), |line| *line as usize + 1);
    println!(
        "| length, m | along, m | deficit, % | pixel, m | strips | ha | has placebo, % | error of ratio | interval holds, % | paired holds, % | responds, % | doubtful, % | none, % | map, kg N/ha | true, kg N/ha | 80 % range holds, % | P10 below {NOTHING}, % |"
    );
    println!("{}|", "| --- ".repeat(17));
    for (k, plan) in lines.iter().enumerate().take(last).skip(first) {
        let mut all = Vec::new();
        for seed in 0..grounds {
            match wording(*plan, 1_000_003 * (k as u64 + 1) + seed) {
                Ok(wording) => all.push(wording),
                Err(error) => println!("ground {seed}: {error}"),
            }
        }
        println!("{}", line(plan, &all));
    }
}
