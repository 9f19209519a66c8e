//! Every section of the job file and the keys that it knows: what unknown keys are compared with.

/// Sections and sub-tables with their keys, in the order of the file.
pub(crate) const KEYS: &[(&str, &[&str])] = &[
    (
        "",
        &[
            "field",
            "imagery",
            "points",
            "reference",
            "season",
            "crop",
            "response",
            "rate",
            "product",
            "machine",
            "zones",
            "prices",
            "application",
            "accept",
            "output",
        ],
    ),
    ("field", &["name", "boundary", "merge", "crs", "strips", "exclude", "edge"]),
    ("field.boundary", &["path", "layer", "where", "merge"]),
    ("field.exclude", &["path", "layer", "where", "buffer", "reason"]),
    ("field.edge", &["path", "layer", "where"]),
    ("imagery", &["path", "date", "index", "bands", "scale", "offset", "bare_below", "pixel_inside", "min_seen", "point_spread", "mask"]),
    ("imagery.mask", &["path", "keep", "bits", "grow"]),
    (
        "points",
        &[
            "path",
            "layer",
            "where",
            "date",
            "index",
            "column",
            "x",
            "y",
            "crs",
            "time",
            "pass",
            "speed",
            "speed_unit",
            "least_speed",
            "greatest_speed",
            "scale",
            "offset",
            "bare_below",
            "outliers",
            "join",
            "estimate",
            "least_readings",
            "variogram",
            "neighbours",
            "reach",
        ],
    ),
    ("reference", &["strips", "inset", "gap", "segments", "drop", "strips_use", "readings", "percentile"]),
    ("reference.strips", &["path", "layer", "where"]),
    ("reference.readings", &["strip", "beside"]),
    ("season", &["crop", "planted", "sensed", "growing_days", "weather", "count_sensing_day"]),
    ("crop", &["name", "base_temperature", "grain_nitrogen", "bushel", "window", "stand_cv", "source"]),
    (
        "response",
        &[
            "method",
            "maximum_yield",
            "yield_curve",
            "compare",
            "largest_ratio",
            "ratio_adjustment",
            "dead_band",
            "grain_nitrogen",
            "use_efficiency",
            "applied_since_sensing",
        ],
    ),
    ("response.yield_curve", &["a", "b", "index", "region", "sensor", "source"]),
    ("response.ratio_adjustment", &["slope", "intercept"]),
    ("rate", &["minimum", "maximum", "step", "usual", "thin", "unseen", "bare"]),
    ("product", &["name", "nitrogen", "density"]),
    (
        "machine",
        &[
            "working_width",
            "heading",
            "line",
            "cell_length",
            "speed",
            "delay",
            "transition",
            "overrun",
            "least_rate",
            "greatest_rate",
            "on_start",
            "position_lost",
            "outside",
        ],
    ),
    ("machine.heading", &["line", "layer", "where"]),
    ("zones", &["by", "classes", "breaks", "min_area", "simplify", "total"]),
    ("prices", &["currency", "grain", "nitrogen", "product", "application"]),
    ("application", &["date", "max_image_age"]),
    ("accept", &["code", "reason", "by"]),
    ("output", &["folder", "unit", "formats"]),
];

/// The keys of a section; empty for one whose keys are the user's own (`imagery.bands`).
pub(crate) fn known_in(section: &str) -> &'static [&'static str] {
    KEYS.iter().find(|(name, _)| *name == section).map_or(&[], |(_, keys)| keys)
}

/// Top sections that know a key.
pub(crate) fn sections_with(key: &str) -> Vec<&'static str> {
    KEYS.iter().filter(|(name, keys)| !name.is_empty() && !name.contains('.') && keys.contains(&key)).map(|(name, _)| *name).collect()
}
