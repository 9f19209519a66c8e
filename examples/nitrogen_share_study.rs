//! Placeholder of the study's table.
#![expect(clippy::print_stdout, reason = "an example that prints a table")]

mod share_ground;

use haulm::pipeline::settings::ReferenceLevel;
use share_ground::field::Plan;
use share_ground::run::found;

fn main() {
    for seed in 0..3 {
        let start = std::time::Instant::now();
        println!(
            "{:?} {:?}",
            found(Plan::PLAIN, seed, ReferenceLevel::Strip),
            start.elapsed()
        );
    }
}
