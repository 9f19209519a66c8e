//! `[response]` of the yield-response method: its curve, its maximum yield and the greatest response index that counts.

use crate::job::keys::response::Seen;
use crate::job::keys::{CROP, RESPONSE, SEASON};
use crate::job::problem::Problem;
use crate::job::reader::{Entry, Item, Section};
use crate::job::sections::crop::unknown_name;
use crate::job::sections::ground;
use crate::job::settings::Crop;
use crate::job::tables::NamedCurve;
use crate::job::{amount, tables};
use crate::key::{Key, Record};
use crate::science::crop::CropTables;
use crate::science::methods::yield_response::{KEYS as METHOD, RATIO_ADJUSTMENT, YIELD_CURVE};
use crate::units::Yield;

/// `[response]` of the yield-response method.
#[derive(Clone, Debug)]
pub struct YieldSettings {
    /// What the site can never exceed.
    pub maximum_yield: Yield,
    /// Yield curve.
    pub curve: YieldCurve,
    /// Linear adjustment of the response index: slope, intercept.
    pub ratio_adjustment: Option<(f64, f64)>,
    /// Response indices up to 1 + this count as 1.
    pub dead_band: f64,
    /// Grain nitrogen, share of grain mass.
    pub grain_nitrogen: f64,
    /// Share of applied nitrogen that reaches the grain.
    pub use_efficiency: f64,
}

/// `YP0 = a · exp(b · I / D)`.
#[derive(Clone, Debug, PartialEq)]
pub struct YieldCurve {
    /// Yield at index 0.
    pub a: Yield,
    /// Exponent. \[d\]
    pub b: f64,
    /// Index it was fitted with.
    pub index: String,
    /// Region it was fitted in, when it says so.
    pub region: Option<String>,
    /// Sensor kind, when it says so.
    pub sensor: Option<String>,
    /// Source and certainty.
    pub source: String,
}

/// `response.maximum_ratio`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MaximumRatio {
    /// Not stated: 2, or less where the strip's answer is doubtful or none.
    ByAnswer,
    /// A number above 1.
    Value(f64),
    /// The most that the strip itself showed.
    Seen,
}

/// A yield curve and, for a shipped one, its name and crop.
pub(crate) enum Curve {
    /// From the shipped table.
    Named(NamedCurve),
    /// The job's own.
    Own(YieldCurve),
}

/// Name and bushel of the job's crop, where both can be read; whatever is wrong with them is told where the crop itself is read.
pub(crate) fn bushel_of(
    season: &Section<'_>,
    own: &Section<'_>,
    personal: &CropTables,
) -> Option<(String, f64)> {
    let text = |section: &Section<'_>, key: &Key| match section.peek(key) {
        Some(Item::Text(text)) => Some(text.clone()),
        _ => None,
    };
    if own.is_present() {
        let lb = amount::bushel(&text(own, &CROP.bushel)?).ok()?;
        return Some((
            text(own, &CROP.name).or_else(|| text(season, &SEASON.crop))?,
            lb,
        ));
    }
    let crop = tables::find_crop(&text(season, &SEASON.crop)?, personal).ok()?;
    Some((crop.name, crop.lb_per_bu?))
}

/// `response.yield_curve`: a shipped curve's name or the job's own table. `bushel` is that of the job's crop.
pub(crate) fn curve(
    section: &mut Section<'_>,
    personal: &CropTables,
    bushel: Option<(String, f64)>,
) -> Option<Curve> {
    let entry = section.take(&METHOD.yield_curve);
    let known = tables::curve_names();
    let first = known.first().map_or(
        "{ a = \"590 kg/ha\", b = 258.2, index = \"NDVI\", source = \"common practice\" }"
            .to_owned(),
        |name| format!("\"{name}\""),
    );
    section.require_like(&METHOD.yield_curve, METHOD.yield_curve.noun, &first);
    let entry = entry?;
    if let Item::Table(_) = &entry.item {
        return own_curve(section, &entry, bushel).map(Curve::Own);
    }
    let name = section.text_of(&entry, &METHOD.yield_curve)?;
    let refuse = |unknown| {
        section.at(
            &entry,
            &METHOD.yield_curve,
            unknown_name(unknown, "yield curve", tables::curve_names()),
        );
    };
    tables::find_curve(&name, personal)
        .map(Curve::Named)
        .map_err(refuse)
        .ok()
}

fn own_curve(
    section: &Section<'_>,
    entry: &Entry,
    bushel: Option<(String, f64)>,
) -> Option<YieldCurve> {
    let mut table = section.sub(entry, &METHOD.yield_curve)?;
    let (crop, lb) = bushel.map_or(("this crop".to_owned(), None), |(crop, lb)| {
        (crop, Some(lb))
    });
    let a = table.amount_within(&YIELD_CURVE.a, |text| amount::grain_yield(text, &crop, lb));
    let b = table.find(&YIELD_CURVE.b);
    let index = table.find(&YIELD_CURVE.index);
    let region = table.find(&YIELD_CURVE.region);
    let sensor = table.find(&YIELD_CURVE.sensor);
    let source = table.find(&YIELD_CURVE.source);
    table.finish();
    Some(YieldCurve {
        a: a?,
        b: b?,
        index: tables::index_name(&index?),
        region,
        sensor,
        source: source?,
    })
}

/// `[response]` of the yield-response method, its curve read before.
pub(crate) fn response(
    section: &mut Section<'_>,
    crop: Option<&Crop>,
    curve: Option<Curve>,
) -> Option<YieldSettings> {
    let (name, lb) = crop.map_or(("this crop", None), |crop| {
        (crop.name.as_str(), crop.lb_per_bu)
    });
    let maximum_yield = section.amount(&METHOD.maximum_yield, |text| {
        match amount::grain_yield(text, name, lb) {
            // Bushels of a crop that could not be read are no second fault.
            Err(Problem::NoBushel { .. }) if crop.is_none() => Ok(None),
            Err(problem) => Err(problem),
            Ok(value) => Ok(Some(value)),
        }
    });
    let maximum_yield = maximum_yield.flatten();
    section.hold(&METHOD.maximum_yield, maximum_yield.as_ref(), |text| {
        amount::grain_yield(text, name, lb)
    });
    let ratio_adjustment = section
        .sub_at(&METHOD.ratio_adjustment)
        .and_then(|mut table| {
            let slope = table.find(&RATIO_ADJUSTMENT.slope);
            let intercept = table.find(&RATIO_ADJUSTMENT.intercept);
            table.finish();
            slope.zip(intercept)
        });
    // No change is no adjustment, so that the record says "raw" then.
    let ratio_adjustment = ratio_adjustment.filter(|pair| *pair != (1.0, 0.0));
    let dead_band = section.get(&METHOD.dead_band);
    let grain_nitrogen = section.find(&METHOD.grain_nitrogen);
    // Where the table confirms no figure and the job gives none, none is made up.
    if crop.is_some_and(|crop| crop.grain_nitrogen.is_none()) {
        section.require_as(
            &METHOD.grain_nitrogen,
            "the grain's nitrogen as a share of its mass, of which no figure is confirmed for this crop,",
        );
    }
    let use_efficiency = section.get(&METHOD.use_efficiency);
    let curve = match curve? {
        Curve::Own(curve) => curve,
        Curve::Named(named) => {
            if let Some(crop) = crop.filter(|crop| !crop.name.eq_ignore_ascii_case(&named.crop)) {
                section.refuse(
                    &METHOD.yield_curve,
                    Problem::CurveCrop {
                        curve: named.name,
                        fitted: named.crop,
                        crop: crop.name.clone(),
                    },
                );
            }
            named.curve
        }
    };
    Some(YieldSettings {
        maximum_yield: maximum_yield?,
        curve,
        ratio_adjustment,
        dead_band,
        grain_nitrogen: grain_nitrogen.or_else(|| crop.and_then(|crop| crop.grain_nitrogen))?,
        use_efficiency,
    })
}

/// `response.maximum_ratio`: the greatest response index that counts; what the strip's answer allows when it is not stated.
pub(crate) fn maximum_ratio(section: &mut Section<'_>) -> MaximumRatio {
    let default = MaximumRatio::ByAnswer;
    let key = &RESPONSE.maximum_ratio;
    let Some(entry) = section.take(key) else {
        return default;
    };
    if let Item::Text(_) = entry.item {
        return section
            .word_of::<Seen>(&entry, key)
            .map_or(default, |_| MaximumRatio::Seen);
    }
    let Some(number) = section.number_of(&entry, key) else {
        return default;
    };
    let read = |text: &str| text.parse().map_err(|_| Problem::Open);
    let bounds = section.row(key).and_then(|row| row.bounds);
    // 1 itself is no bound that is allowed.
    if let Some(bounds) = bounds
        && (number <= 1.0 || !section.is_within(key, &number, read))
    {
        let problem = ground::range(&number, "just above 1", bounds.high, bounds.why);
        section.at(&entry, key, problem);
    }
    MaximumRatio::Value(number)
}

/// As the record has it.
pub(crate) fn yields_record(value: Record, yields: &YieldSettings) -> Record {
    let curve = &yields.curve;
    let fitted = Record::new()
        .put(&YIELD_CURVE.a, curve.a.get())
        .put(&YIELD_CURVE.b, curve.b)
        .put(&YIELD_CURVE.index, curve.index.clone())
        .put(&YIELD_CURVE.region, curve.region.clone())
        .put(&YIELD_CURVE.sensor, curve.sensor.clone())
        .put(&YIELD_CURVE.source, curve.source.clone());
    let adjusted = yields.ratio_adjustment.map(|(slope, intercept)| {
        Record::new()
            .put(&RATIO_ADJUSTMENT.slope, slope)
            .put(&RATIO_ADJUSTMENT.intercept, intercept)
            .value()
    });
    value
        .put(&METHOD.maximum_yield, yields.maximum_yield.get())
        .table(&METHOD.yield_curve, fitted)
        .put(&METHOD.ratio_adjustment, adjusted)
        .put(&METHOD.dead_band, yields.dead_band)
        .put(&METHOD.grain_nitrogen, yields.grain_nitrogen)
        .put(&METHOD.use_efficiency, yields.use_efficiency)
}
