//! How long a decision takes after one key has changed, without draws (uncertainty, expected gain): `cargo bench --bench decide [CELLS]`.
//!
//! About 6 000 and about 100 000 cells of one made field, or as many as are named. Each key of response, rate, product, machine limits, zones and prices is changed by
//! itself; the middle of five is printed in milliseconds and as a ratio to the decision by the job's own settings. Aims: 50 ms and 300 ms.

#![expect(clippy::print_stdout, reason = "a bench prints its numbers")]

#[path = "../support/clock.rs"]
mod clock;
#[path = "../support/made.rs"]
mod made;
#[path = "../support/say.rs"]
mod say;

use haulm::job::settings::{
    ClassBreaks, MaximumRatio, MethodSettings, NitrogenShare, Settings, StateRate, ZonesBy,
};
use haulm::units::{Area, Length, NRate, ProductRate, Yield};
use haulm::{Common, Silent, prepare};

use crate::clock::timed;
use crate::made::{GROUND, TILE, image, job, vectors};
use crate::say::{caveats, short};

const REPEATS: usize = 5;
/// Pixels of the image. \[m\]
const PIXEL: f64 = 0.8;
/// Cells that are aimed at, and the time aimed at. \[ms\]
const SIZES: [(f64, f64); 2] = [(6_000.0, 50.0), (100_000.0, 300.0)];
/// What the job has besides that of the other benches.
const MORE: &str = "[product]\nname = \"UAN 28\"\n[prices]\ncurrency = \"EUR\"\ngrain = \"210 EUR/t\"\nnitrogen = \"1.15 EUR/kg N\"\napplication = \"8 EUR/ha\"\n";

/// A key as a job has it, and a change of it.
type Change = (&'static str, fn(&mut Settings));

const CHANGES: &[Change] = &[
    ("response.maximum_yield", |s| {
        if let MethodSettings::YieldResponse(yields) = &mut s.response.method {
            yields.maximum_yield = Yield::kg_per_ha(7_000.0);
        }
    }),
    ("response.use_efficiency", |s| {
        if let MethodSettings::YieldResponse(yields) = &mut s.response.method {
            yields.use_efficiency = 0.6;
        }
    }),
    ("response.dead_band", |s| {
        if let MethodSettings::YieldResponse(yields) = &mut s.response.method {
            yields.dead_band = 0.05;
        }
    }),
    ("response.nitrogen_share", |s| {
        s.response.nitrogen_share = NitrogenShare::Stated(0.6);
    }),
    ("response.maximum_ratio", |s| {
        s.response.maximum_ratio = MaximumRatio::Value(1.3);
    }),
    ("rate.minimum", |s| s.rate.minimum = NRate::kg_per_ha(20.0)),
    ("rate.maximum", |s| s.rate.maximum = NRate::kg_per_ha(90.0)),
    ("rate.step", |s| s.rate.step = NRate::kg_per_ha(10.0)),
    ("rate.maximum_step", |s| {
        s.rate.maximum_step = Some(NRate::kg_per_ha(30.0));
    }),
    ("rate.usual", |s| {
        s.rate.usual = Some(NRate::kg_per_ha(60.0));
    }),
    ("rate.thin", |s| s.rate.thin = StateRate::Own),
    ("product", |s| s.product = None),
    ("machine.minimum_rate", |s| {
        s.machine.minimum_rate = Some(ProductRate::kg_per_ha(40.0));
    }),
    ("machine.maximum_rate", |s| {
        s.machine.maximum_rate = Some(ProductRate::kg_per_ha(300.0));
    }),
    ("machine.on_start", |s| {
        s.machine.on_start = StateRate::FieldRate;
    }),
    ("zones.by", |s| {
        s.zones.by = ZonesBy::Classes(ClassBreaks::Natural(5));
    }),
    ("zones.minimum_area", |s| {
        s.zones.minimum_area = Area::ha(0.2);
    }),
    ("zones.simplify", |s| s.zones.simplify = Length::m(2.0)),
    ("zones.round_corners", |s| {
        s.zones.round_corners = Length::m(2.0);
    }),
    ("zones.tolerance", |s| {
        s.zones.tolerance = NRate::kg_per_ha(5.0);
    }),
    ("zones.total", |s| s.zones.keep_total = !s.zones.keep_total),
    ("prices.grain", |s| {
        if let Some(prices) = &mut s.prices {
            prices.grain *= 1.1;
        }
    }),
    ("prices.nitrogen", |s| {
        if let Some(prices) = &mut s.prices {
            prices.nitrogen *= 1.1;
        }
    }),
];

fn main() {
    println!("{}", caveats());
    println!(
        "caveat: made ground with a smooth canopy and few zones; no draws of uncertainty, no file"
    );
    let named = std::env::args()
        .skip(1)
        .find_map(|argument| argument.parse::<f64>().ok());
    let sizes = named.map_or_else(|| SIZES.to_vec(), |cells| vec![(cells, f64::NAN)]);
    let folder = tempfile::tempdir().expect("a folder");
    let vectors = vectors(folder.path());
    let image = image(folder.path(), PIXEL);
    println!(
        "{}pixels in tiles of {TILE}",
        short((GROUND / PIXEL) * (GROUND / PIXEL))
    );
    for (cells, aim) in sizes {
        let side = (GROUND - 20.0) / libm::sqrt(cells);
        let job = job(folder.path(), &image, &vectors, side, MORE);
        let (reading, prepared) = timed(1, || {
            prepare(&job, &Common::default(), &Silent).expect("a job that can be read")
        });
        let own = prepared.settings().clone();
        let decide = |settings: &Settings| {
            timed(REPEATS, || {
                prepared.decide_without_draws(settings).expect("a decision")
            })
        };
        let (plain, decision) = decide(&own);
        let ms = |time: std::time::Duration| 1e3 * time.as_secs_f64();
        println!(
            "\n{} cells of {side:.2} m, {} zones; aim {aim} ms; prepare {:.0} ms",
            prepared.ground().grid.cells.len(),
            decision.outcome().prescription.zones.len(),
            ms(reading.middle)
        );
        println!(
            "  {:<26} {:8.1} ms ({:.1})  {}cells/s",
            "as the job has it",
            ms(plain.middle),
            ms(plain.best),
            short(plain.per_second(prepared.ground().grid.cells.len() as f64))
        );
        let (rates, _) = timed(REPEATS, || prepared.rates(&own).expect("rates"));
        println!(
            "  {:<26} {:8.1} ms ({:.1})  ratio {:.2}",
            "rates of cells alone",
            ms(rates.middle),
            ms(rates.best),
            rates.middle.as_secs_f64() / plain.middle.as_secs_f64()
        );
        for (key, change) in CHANGES {
            let mut settings = own.clone();
            change(&mut settings);
            let (times, decision) = decide(&settings);
            println!(
                "  {key:<26} {:8.1} ms ({:.1})  ratio {:.2}  {} zones{}",
                ms(times.middle),
                ms(times.best),
                times.ratio(plain),
                decision.outcome().prescription.zones.len(),
                if ms(times.middle) > aim {
                    "  MISSED"
                } else {
                    ""
                }
            );
        }
    }
}
