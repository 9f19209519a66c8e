//! A job is read once and decided often: what a decision from it says is what a run of its own would say.

use haulm::app::reread::keys_to_reread;
use haulm::units::{Length, NRate};
use haulm::{Common, Decision, Prepared, Silent, prepare};

use crate::field::Field;

fn prepared(field: &Field) -> Prepared {
    prepare(&field.path("job.toml"), &Common::default(), &Silent).unwrap()
}

/// Everything that a decision says, bit for bit.
fn whole(decision: &Decision) -> String {
    format!(
        "{:?}\n{:?}\n{:?}\n{:?}\n{:?}",
        decision.outcome(),
        decision.findings(),
        decision.machine_rates(),
        decision.check_points(),
        decision.file_totals()
    )
}

/// A text of the job, and what takes its place: one change of each section that needs no reading.
const CHANGES: &[(&str, &str)] = &[
    ("maximum_yield = \"7 t/ha\"", "maximum_yield = \"6 t/ha\""),
    (
        "source = \"common practice\" }",
        "source = \"common practice\" }\nuse_efficiency = 0.6",
    ),
    (
        "source = \"common practice\" }",
        "source = \"common practice\" }\nnitrogen_share = 0.4",
    ),
    ("maximum = \"150 kg N/ha\"", "maximum = \"60 kg N/ha\""),
    (
        "step = \"5 kg N/ha\"",
        "step = \"10 kg N/ha\"\nmaximum_step = \"20 kg N/ha\"",
    ),
    (
        "step = \"5 kg N/ha\"",
        "step = \"5 kg N/ha\"\nthin = \"10 kg N/ha\"\nunseen = \"0 kg N/ha\"",
    ),
    ("name = \"UAN 28\"", "name = \"urea\""),
    (
        "heading = \"0 grid\"",
        "heading = \"0 grid\"\nminimum_rate = \"60 L/ha\"\non_start = \"0 kg N/ha\"",
    ),
    (
        "[output]",
        "[zones]\nminimum_area = \"4000 m2\"\ntotal = \"kept\"\n[output]",
    ),
    (
        "[output]",
        "[zones]\nby = \"classes\"\nclasses = 3\nsimplify = \"3 m\"\n[output]",
    ),
    (
        "[output]",
        "[prices]\ncurrency = \"EUR\"\ngrain = \"210 EUR/t\"\nnitrogen = \"1.15 EUR/kg N\"\napplication = \"8 EUR/ha\"\n[output]",
    ),
    (
        "name = \"Middle Piece\"",
        "name = \"Middle Piece\"\nregion = \"hills\"",
    ),
    (
        "strips = \"strips.geojson\"",
        "strips = \"strips.geojson\"\nlevel = \"balanced\"",
    ),
    ("[output]", "[uncertainty]\ndraws = 50\nseed = 4\n[output]"),
    ("[output]", "[application]\ndate = 2026-04-16\n[output]"),
];

#[test]
fn a_changed_setting_is_decided_as_if_the_job_had_been_read_anew() {
    let field = Field::new();
    let first = prepared(&field);
    let as_written = whole(&first.decide(first.settings()).unwrap());
    let job = fs_err::read_to_string(field.path("job.toml")).unwrap();
    for (old, new) in CHANGES {
        field.job(old, new);
        let anew = prepared(&field);
        assert!(
            keys_to_reread(first.settings(), anew.settings(), false).is_empty(),
            "{new}"
        );
        let wording = whole(&first.decide(anew.settings()).unwrap());
        assert_eq!(
            wording,
            whole(&anew.decide(anew.settings()).unwrap()),
            "{new}"
        );
        assert_ne!(wording, as_written, "{new} changes nothing");
        field.write("job.toml", &job);
    }
    // Nothing of all that was kept.
    assert_eq!(whole(&first.decide(first.settings()).unwrap()), as_written);
}

#[test]
fn rates_are_known_before_the_rest_and_are_those_of_the_decision() {
    let field = Field::new();
    let prepared = prepared(&field);
    let mut settings = prepared.settings().clone();
    settings.rate.maximum = NRate::kg_per_ha(60.0);
    settings.rate.maximum_step = Some(NRate::kg_per_ha(20.0));
    let rates = prepared.rates(&settings).unwrap();
    let cells = rates.cells();
    let own: Vec<NRate> = cells.rated.cells.iter().map(|cell| cell.n).collect();
    let of_zones: Vec<f64> = cells.zoning.zones.iter().map(|zone| zone.n).collect();
    let decision = rates.decision().unwrap();
    assert_eq!(
        whole(&decision),
        whole(&prepared.decide_without_draws(&settings).unwrap())
    );
    let map = &decision.outcome().prescription;
    assert!(map.cells.iter().map(|cell| cell.n).eq(own));
    assert!(map.zones.iter().map(|zone| zone.n.get()).eq(of_zones));
}

#[test]
fn draws_may_follow() {
    let field = Field::new();
    let prepared = prepared(&field);
    let at_once = prepared.decide(prepared.settings()).unwrap();
    let first = prepared.decide_without_draws(prepared.settings()).unwrap();
    assert!(first.outcome().uncertainty.is_none());
    assert!(
        !first
            .findings()
            .iter()
            .any(|f| f.code == "uncertainty.field")
    );
    assert_eq!(whole(&first.with_uncertainty()), whole(&at_once));
}

#[test]
fn files_are_those_of_the_command_and_no_input_is_needed_any_more() {
    let field = Field::mapped();
    let mut outputs = field.outputs();
    let prepared = prepared(&field);
    for input in [
        "job.toml",
        "image.tif",
        "boundary.geojson",
        "strips.geojson",
    ] {
        fs_err::remove_file(field.path(input)).unwrap();
    }
    let decision = prepared.decide(prepared.settings()).unwrap();
    let (formats, instant) = (
        decision.settings().output.formats.clone(),
        decision.image_instant(),
    );
    let files = decision.files(&formats, instant).unwrap();
    assert!(!files.stopped, "{:?}", files.findings);
    let (map_id, payloads) = (files.map_id.clone(), files.with_record(None));
    for payload in &payloads {
        let written = outputs
            .remove(&payload.path)
            .unwrap_or_else(|| panic!("{} was not written", payload.path));
        if payload.path == "office/record.json" {
            let text = String::from_utf8(payload.bytes.clone()).unwrap();
            assert!(text.contains(&map_id), "{text}");
        } else {
            assert!(payload.bytes == written, "{} differs", payload.path);
        }
    }
    assert!(outputs.is_empty(), "{:?}", outputs.keys());
}

#[test]
fn settings_that_need_reading_are_refused_with_their_keys() {
    let field = Field::new();
    let prepared = prepared(&field);
    let mut asked = prepared.settings().clone();
    asked.machine.working_width = Length::m(12.0);
    asked.reference.gap = Length::m(9.0);
    asked.rate.maximum = NRate::kg_per_ha(70.0);
    let refusal = prepared.decide(&asked).unwrap_err();
    assert_eq!(refusal.code, "decide.prepare");
    assert!(
        refusal
            .headline
            .contains("reference.gap, machine.working_width changed"),
        "{refusal}"
    );
    assert_eq!(refusal.hint.as_deref(), Some("prepare the job again"));
}

#[test]
fn what_was_prepared_goes_to_any_thread() {
    const fn everywhere<T: Send + Sync>() {}
    everywhere::<Prepared>();
    everywhere::<Decision>();
    let field = Field::new();
    let prepared = prepared(&field);
    let here = whole(&prepared.decide(prepared.settings()).unwrap());
    std::thread::scope(|scope| {
        for _ in 0..2 {
            let there = scope.spawn(|| whole(&prepared.decide(prepared.settings()).unwrap()));
            assert_eq!(there.join().unwrap(), here);
        }
    });
}
