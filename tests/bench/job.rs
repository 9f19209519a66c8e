//! How long a whole job takes, from files to the bytes of every format: `cargo bench --bench job [JOB.toml]`, the demo job unless another is named.
//!
//! Nothing is written. What `inspect` does is timed by itself: the rest is rates, zones and formats.

#![expect(clippy::print_stdout, reason = "a bench prints its numbers")]

#[path = "../support/clock.rs"]
mod clock;
#[path = "../support/say.rs"]
mod say;

use std::path::{Path, PathBuf};

use haulm::app::api;
use haulm::app::api::Common;
use haulm::app::progress::Silent;

use crate::clock::timed;
use crate::say::{caveats, short};

const REPEATS: usize = 5;

fn main() {
    println!("{}", caveats());
    let named = std::env::args()
        .skip(1)
        .find(|argument| !argument.starts_with("--"))
        .map(PathBuf::from);
    let job = named.unwrap_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/job.toml"));
    let all = std::thread::available_parallelism().map_or(1, usize::from);
    let common = |threads: usize| Common {
        threads: Some(threads),
        ..Common::default()
    };
    let (looking, _) = timed(REPEATS, || {
        api::inspect(&job, &common(1), &Silent).expect("a job that can be read")
    });
    let (one, report) = timed(REPEATS, || {
        api::check(&job, &common(1), &Silent).expect("a job that makes a map")
    });
    let (many, _) = timed(REPEATS, || {
        api::check(&job, &common(all), &Silent).expect("a job that makes a map")
    });
    println!("{}", report.title);
    let number = |pointer: &str| {
        report
            .json
            .pointer(pointer)
            .and_then(serde_json::Value::as_f64)
            .unwrap_or(f64::NAN)
    };
    let (pixels, zones) = (number("/image/pixels_in_field"), number("/totals/zones"));
    let missing = 100.0 * number("/image/pixels_missing") / pixels;
    println!(
        "field of {}pixels, {missing:.2} % without a value; {zones} zones",
        short(pixels)
    );
    for (what, times) in [
        ("inspect, 1 thread", looking),
        ("check, 1 thread", one),
        ("check, all threads", many),
    ] {
        let ms = |time: std::time::Duration| 1e3 * time.as_secs_f64();
        println!(
            "  {what:<20} {:8.1} ms ({:.1})  {:>9}pixels/s",
            ms(times.middle),
            ms(times.best),
            short(times.per_second(pixels))
        );
    }
    println!(
        "  ratios: 1 thread / {all} threads {:.2}; check / inspect {:.2}",
        one.ratio(many),
        one.ratio(looking)
    );
}
