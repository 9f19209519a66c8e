//! Job files that are large where a reader would take long: refused with the number, in short.

use std::fmt::Write as _;

use haulm::app::error::AppError;

use crate::field::Field;
use crate::job_file::FULL;
use crate::job_refusals::faults;

#[test]
fn of_a_file_of_faults_the_first_are_told() {
    let mut text = FULL.to_owned();
    for k in 0..5_000 {
        let _ = write!(text, "\n[section_{k}]\nkey_{k} = {k}");
    }
    let found = faults(&text);
    assert_eq!(found.len(), 200);
    let error = AppError::from(haulm::job::fault::JobError::Refused {
        path: "job.toml".into(),
        faults: found,
    });
    assert_eq!(error.headline, "the first 200 faults in the job file");
}

#[test]
fn a_list_of_more_tables_than_any_is_refused_as_one() {
    let one = "\n[[accept]]\ncode = \"image.age\"\nfigure = \"19 d\"\nby = \"a\"\nreason = \"b\"\n";
    let found = faults(&(FULL.to_owned() + &one.repeat(5_000)));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].code(), "job.too_many");
    assert!(found[0].to_string().contains("5001 tables"), "{}", found[0]);
    // A code is accepted once: more of them are told, not kept.
    let found = faults(&(FULL.to_owned() + &one.repeat(900)));
    assert!(!found.is_empty() && found.iter().all(|fault| fault.code() == "job.twice"));
}

#[test]
fn no_likely_meaning_is_looked_for_of_what_nobody_types() {
    let text = FULL.replacen(
        "[rate]",
        &format!("[rate]\n{} = 3", "maximum_".repeat(400_000)),
        1,
    );
    let found = faults(&text);
    assert_eq!(found.len(), 1);
    assert!(found[0].hint().len() < 2_000);
}

#[test]
fn a_job_file_beyond_its_size_is_refused_with_both_numbers() {
    let field = Field::new();
    let long =
        fs_err::read_to_string(field.path("job.toml")).unwrap() + &"# nothing\n".repeat(430_000);
    field.write("job.toml", long);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1));
    // 430 000 lines of 10 bytes.
    for part in ["it has 4.1 MiB", "at most 4 MiB"] {
        assert!(wording.err.contains(part), "{}", wording.err);
    }
}
