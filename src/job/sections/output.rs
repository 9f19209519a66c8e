//! `[application]`, `[[accept]]`, `[record]`, `[report]` and `[output]`.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::finding::{Acceptance, Code, Severity, codes};
use crate::job::keys::office::{ACCEPT, RECORD, REPORT, TASK_DATA};
use crate::job::keys::{APPLICATION, OUTPUT, ROOT};
use crate::job::problem::Problem;
use crate::job::reader::{Item, Section};
use crate::job::sections::crop::day;
use crate::job::suggest::nearest;
use crate::job::unit;
use crate::job::unit::Measure;
use crate::key::{Key, Record, Word};
pub use crate::map::formats::Format;
use crate::map::task_options::TaskOptions;
use crate::units::{KG_PER_LB, M2_PER_AC, M2_PER_HA, NRate, Product, RateUnit};
use jiff::civil::Date;
use serde_json::Value;

/// `[application]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Application {
    /// Planned date.
    pub date: Option<Date>,
    /// Days after which an image no longer shows the crop.
    pub maximum_image_age: i32,
}

/// `[record]`: under which names field and task are filed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filed {
    /// Client, also called customer or grower.
    pub client: Option<String>,
    /// Farm.
    pub farm: Option<String>,
}

/// `[report]`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ReportSettings {
    /// Whether lists that the five pages cut short stand in an appendix.
    pub appendix: bool,
    /// Whether the report is written as PDF too.
    pub pdf: bool,
}

/// `[output]`.
#[derive(Clone, Debug)]
pub struct Output {
    /// Folder of the two folders.
    pub folder: PathBuf,
    /// Unit of the product column (with no product: of nitrogen, kg/ha or lb/ac).
    pub unit: RateUnit,
    /// Whether people's numbers are in US units.
    pub us_units: bool,
    /// What is written.
    pub formats: Vec<Format>,
    /// How task data hold the map.
    pub task_data: TaskOptions,
}

impl Output {
    /// A mass of nitrogen as people read it, in the job's own unit: `505 kg N` or `1113 lb N`.
    pub fn nitrogen(&self, kg: f64) -> String {
        if self.us_units {
            format!("{:.0} lb N", kg / KG_PER_LB)
        } else {
            format!("{kg:.0} kg N")
        }
    }
    /// A change of a mass of nitrogen, with its sign: `+3.2 kg N`.
    pub fn nitrogen_moved(&self, kg: f64) -> String {
        if self.us_units {
            format!("{:+.1} lb N", kg / KG_PER_LB)
        } else {
            format!("{kg:+.1} kg N")
        }
    }
    /// Money by area: `4.2 EUR/ha` or `1.7 USD/ac`.
    pub fn money_per_area(&self, per_ha: f64, currency: &str) -> String {
        if self.us_units {
            format!("{:.1} {currency}/ac", per_ha * M2_PER_AC / M2_PER_HA)
        } else {
            format!("{per_ha:.1} {currency}/ha")
        }
    }
    /// A nitrogen rate: `23.3 kg N/ha`.
    pub fn nitrogen_rate(&self, kg_ha: f64) -> String {
        if self.us_units {
            format!("{:.1} lb N/ac", NRate::kg_per_ha(kg_ha).as_lb_per_ac())
        } else {
            format!("{kg_ha:.1} kg N/ha")
        }
    }
}

impl Word for Format {
    const ALL: &'static [Self] = Self::ALL;
    const WORDS: &'static [&'static str] = Self::WORDS;
}

/// `[application]`.
pub(crate) fn application(section: &mut Section<'_>, sensed: Option<Date>) -> Application {
    let date = section.find(&APPLICATION.date);
    let maximum_image_age = section.get(&APPLICATION.maximum_image_age) as i32;
    if let (Some(date), Some(sensed)) = (date, sensed)
        && date < sensed
    {
        let problem = Problem::DateOrder {
            earlier_key: "sensing",
            earlier: sensed.to_string(),
            later_key: "application.date",
            later: date.to_string(),
        };
        section.refuse(&APPLICATION.date, problem);
    }
    Application {
        date,
        maximum_image_age,
    }
}

/// `[[accept]]`.
pub(crate) fn accept(root: &mut Section<'_>) -> Vec<(String, Acceptance)> {
    let mut all: Vec<(String, Acceptance)> = Vec::new();
    let mut known = BTreeSet::new();
    for mut table in root.tables(&ROOT.accept) {
        let code = table.find(&ACCEPT.code);
        if let Some(problem) = code.as_deref().and_then(not_acceptable) {
            table.refuse(&ACCEPT.code, problem);
        }
        let figure = table.find(&ACCEPT.figure);
        let reason = table.find(&ACCEPT.reason);
        let by = table.find(&ACCEPT.by);
        if let Some(code) = code.as_ref().filter(|code| !known.insert((*code).clone())) {
            table.refuse(
                &ACCEPT.code,
                Problem::Twice {
                    what: format!("the acceptance of {code}"),
                },
            );
        }
        table.finish();
        if let (Some(code), Some(reason), Some(by)) = (code, reason, by) {
            all.push((code, Acceptance { figure, reason, by }));
        }
    }
    all
}

/// Why a code cannot be accepted: no finding has it, or none of its findings ever stops a run on a job.
fn not_acceptable(code: &str) -> Option<Problem> {
    let acceptable = || {
        codes::all()
            .filter(|code| code.can_be_accepted())
            .map(Code::word)
    };
    let known = codes::find(code);
    if known.is_some_and(Code::can_be_accepted) {
        return None;
    }
    Some(Problem::Acceptance {
        code: code.to_owned(),
        why: match known {
            None => "is not the code of a finding",
            Some(code) if code.may_stop() => "is found by the check of a map, not by a job",
            Some(code) if code.weights().contains(&Severity::Caution) => {
                "is a caution and never stops"
            }
            Some(_) => "is a note and never stops",
        },
        // Another stop is no likely meaning of a code that exists.
        near: nearest(code, acceptable())
            .filter(|_| known.is_none())
            .map(str::to_owned),
        known: acceptable().collect(),
    })
}

/// Unit of the product column and whether people's numbers are in US units.
pub(crate) fn rate_unit(
    section: &mut Section<'_>,
    product: Option<&Product>,
    us: bool,
) -> (RateUnit, bool) {
    let liquid = product.is_some_and(Product::is_liquid);
    let default = match (us, liquid) {
        (false, false) => RateUnit::KgPerHa,
        (false, true) => RateUnit::LPerHa,
        (true, false) => RateUnit::LbPerAc,
        (true, true) => RateUnit::GalPerAc,
    };
    let Some(unit) = section.take(&OUTPUT.unit).and_then(|entry| {
        // Any spelling that an amount may have.
        let spelt = if let Item::Text(text) = &entry.item { unit::read(text).ok() } else { None };
        // Nitrogen and product differ by a factor of 2 to 4: who asks for the one must not get the other.
        if let (Some(spelt), Some(product)) = (spelt.filter(|unit| unit.measure == Measure::NitrogenRate), product) {
            let problem = Problem::Disagree {
                one: format!("output.unit (\"{}\", nitrogen)", format_args!("{} N/{}", spelt.above, spelt.below)),
                other: format!("product.name (\"{}\")", product.name()),
                way_out: "machine files carry the product: write its unit, such as \"kg/ha\", or take [product] out for a map in nitrogen",
            };
            section.at(&entry, &OUTPUT.unit, problem);
            return None;
        }
        let label = spelt.map(|unit| format!("{}/{}", unit.above, unit.below));
        let known = label.as_deref().and_then(RateUnit::of_word);
        known.or_else(|| section.word_of(&entry, &OUTPUT.unit))
    }) else {
        return (default, us);
    };
    if unit.is_volume() && !liquid {
        let amount = unit.label().to_owned();
        let problem = match product {
            Some(product) => Problem::NoDensity {
                amount,
                product: product.name().to_owned(),
            },
            None => Problem::NoProduct { amount },
        };
        section.refuse(&OUTPUT.unit, problem);
    }
    (unit, unit.is_us())
}

/// `[record]`.
pub(crate) fn filed(section: &mut Section<'_>) -> Filed {
    Filed {
        client: section.find(&RECORD.client),
        farm: section.find(&RECORD.farm),
    }
}

/// `[report]`.
pub(crate) fn report(section: &mut Section<'_>) -> ReportSettings {
    ReportSettings {
        appendix: section.get(&REPORT.appendix),
        pdf: section.get(&REPORT.pdf),
    }
}

/// `[output]`.
pub(crate) fn output(
    section: &mut Section<'_>,
    product: Option<&Product>,
    us: bool,
    folder: &Path,
) -> Output {
    let target = section.get(&OUTPUT.folder);
    let (unit, us_units) = rate_unit(section, product, us);
    Output {
        folder: folder.join(target),
        unit,
        us_units,
        formats: formats(section),
        task_data: task_data(section),
    }
}

/// `task_data = { version = "3.3", kind = "grid" }`.
fn task_data(section: &mut Section<'_>) -> TaskOptions {
    let mut flavour = TaskOptions::default();
    let Some(entry) = section.take(&OUTPUT.task_data) else {
        return flavour;
    };
    let Some(mut table) = section.sub(&entry, &OUTPUT.task_data) else {
        return flavour;
    };
    flavour.version = table.get(&TASK_DATA.version);
    flavour.kind = table.get(&TASK_DATA.kind);
    table.finish();
    flavour
}

fn formats(section: &mut Section<'_>) -> Vec<Format> {
    // Written when the job names no formats.
    let usual = section
        .row(&OUTPUT.formats)
        .and_then(Key::default_value)
        .unwrap_or_default();
    let is_usual = |word: &str| usual.contains(&format!("\"{word}\""));
    let all: Vec<Format> = Format::ALL
        .iter()
        .copied()
        .filter(|format| is_usual(format.word()))
        .collect();
    let Some(list) = section.list(&OUTPUT.formats) else {
        return all;
    };
    if list.is_empty() {
        section.refuse(
            &OUTPUT.formats,
            Problem::Empty {
                example: "[\"geopackage\", \"iso11783\"]",
            },
        );
        return all;
    }
    let mut formats = Vec::new();
    for entry in &list {
        if let Item::Text(text) = &entry.item
            && let Some(meant) = Format::meant_by(text)
        {
            let known = Format::WORDS
                .iter()
                .map(|name| (*name).to_owned())
                .collect();
            section.at(
                entry,
                &OUTPUT.formats,
                Problem::Choice {
                    got: text.clone(),
                    what: "format",
                    near: Some(meant.word().to_owned()),
                    known,
                },
            );
            continue;
        }
        let format = section.word_in_list(entry, &OUTPUT.formats);
        formats.extend(format.filter(|format| !formats.contains(format)));
    }
    formats
}

/// As the record has it.
pub(crate) fn application_record(application: &Application) -> Record {
    Record::new()
        .put(&APPLICATION.date, day(application.date))
        .put(
            &APPLICATION.maximum_image_age,
            application.maximum_image_age,
        )
}

/// As the record has it.
pub(crate) fn filed_record(filed: &Filed) -> Record {
    Record::new()
        .put(&RECORD.client, filed.client.clone())
        .put(&RECORD.farm, filed.farm.clone())
}

/// As the record has it.
pub(crate) fn report_record(report: ReportSettings) -> Record {
    let record = Record::new().put(&REPORT.appendix, report.appendix);
    // Said where it is otherwise: records of most maps, and their ids with them, stay as they were.
    if report.pdf {
        record
    } else {
        record.put(&REPORT.pdf, false)
    }
}

/// As the record has it.
pub(crate) fn accepted_record(accept: &[(String, Acceptance)]) -> Vec<Value> {
    let one = |(code, acceptance): &(String, Acceptance)| {
        Record::new()
            .put(&ACCEPT.code, code.clone())
            .put(&ACCEPT.figure, acceptance.figure.clone())
            .put(&ACCEPT.reason, acceptance.reason.clone())
            .put(&ACCEPT.by, acceptance.by.clone())
            .value()
    };
    accept.iter().map(one).collect()
}
