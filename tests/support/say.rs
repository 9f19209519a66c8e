//! How a bench says its numbers.

/// A number with a prefix: 1.23 M.
pub(crate) fn short(number: f64) -> String {
    match number {
        n if n >= 1e9 => format!("{:.2} G", n / 1e9),
        n if n >= 1e6 => format!("{:.2} M", n / 1e6),
        n if n >= 1e3 => format!("{:.1} k", n / 1e3),
        n => format!("{n:.1} "),
    }
}

/// Caveats come first: numbers of another build or of a busy machine say little.
pub(crate) fn caveats() -> String {
    let build = if cfg!(debug_assertions) {
        "DEBUG build: far from what users get"
    } else {
        "release build"
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    format!(
        "{build}; {threads} threads; wall time, middle (best) of repeats after one unmeasured; compare ratios, not machines"
    )
}
