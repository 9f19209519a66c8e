//! Wall time of repeated work, and what is printed of it. Nothing is ever asserted on time.

use std::time::{Duration, Instant};

/// Best and middle of some repeats.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Times {
    pub(crate) best: Duration,
    pub(crate) middle: Duration,
}

/// Repeats `work` and answers its times and what the last repeat made. The first, which warms caches, is not counted.
pub(crate) fn timed<T>(repeats: usize, mut work: impl FnMut() -> T) -> (Times, T) {
    let mut made = work();
    let mut times = Vec::new();
    for _ in 0..repeats.max(1) {
        let start = Instant::now();
        made = work();
        times.push(start.elapsed());
    }
    times.sort_unstable();
    (
        Times {
            best: times[0],
            middle: times[times.len() / 2],
        },
        made,
    )
}

impl Times {
    /// So many things a second, in the middle repeat.
    pub(crate) fn per_second(self, count: f64) -> f64 {
        count / self.middle.as_secs_f64()
    }
    /// How many times as long as another.
    pub(crate) fn ratio(self, other: Self) -> f64 {
        self.middle.as_secs_f64() / other.middle.as_secs_f64()
    }
}
