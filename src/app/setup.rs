//! What a command sets up before it reads: the reading libraries, and how many threads work.

use crate::app::memory;
use crate::app::requests::Common;

/// Tells GDAL how to behave: quiet, on this machine unless told otherwise, with a cache of blocks that does not grow with the image.
pub(crate) fn set_up(common: &Common) {
    crate::format::library::ready();
    crate::format::library::network(common.network);
    let cache = memory::cache_mib(common.memory_mib);
    let _ = gdal::config::set_config_option("GDAL_CACHEMAX", &cache.to_string());
}

/// Threads to compute with.
pub(crate) fn threads(common: &Common) -> usize {
    common
        .threads
        .unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from))
        .max(1)
}
