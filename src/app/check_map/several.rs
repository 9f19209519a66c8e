//! A check of task data with several tasks: each by itself, all of them told as one.

use serde_json::{Value, json};

use crate::app::check_map::report::{
    REPORTED, about, area, counts, faults_json, findings, kinds, shown,
};
use crate::app::check_map::{CheckMapRequest, ask, exclusions, repair};
use crate::app::commit::STICK_RECORD;
use crate::app::error::AppError;
use crate::app::rights::Rights;
use crate::format::maps::MapSet;
use crate::map::faults::fault::Fault;
use crate::map::faults::{Verdict, check as check_one};
use crate::map::imported::ImportedMap;
use crate::report::counted::counted;
use crate::report::model::{Block, Brief, Column, Report, Row, Table};
use crate::units::RateUnit;

/// Tasks that the short answer names one by one, those that stop first.
const NAMED: usize = 6;

/// A task and what was found of it.
struct Task {
    map: ImportedMap,
    verdict: Verdict,
    /// Stops, cautions, notes.
    counts: [usize; 3],
}

impl Task {
    /// Id and name.
    fn name(&self) -> String {
        match &self.map.part {
            Some(id) if *id != self.map.name => format!("{id} {}", self.map.name),
            _ => self.map.name.clone(),
        }
    }
    /// Least and greatest rate with their unit.
    fn rates(&self) -> String {
        self.verdict.sums.range.map_or_else(
            || "none".to_owned(),
            |(low, high)| {
                format!(
                    "{} to {} {}",
                    shown(low),
                    shown(high),
                    self.map.meaning.label()
                )
            },
        )
    }
    fn total(&self) -> String {
        let unit = self.map.meaning.unit.map_or("", RateUnit::total_label);
        format!("{} {unit}", shown(self.verdict.sums.total))
    }
    /// Result in words.
    fn result(&self) -> String {
        let [stops, cautions, notes] = self.counts;
        if stops > 0 {
            format!(
                "{}, {}: not fit for a machine",
                counted(stops, "stop"),
                counted(cautions, "caution")
            )
        } else {
            format!(
                "{}, {}",
                counted(cautions, "caution"),
                counted(notes, "note")
            )
        }
    }
}

/// Checks each task by itself.
pub(super) fn check(
    request: &CheckMapRequest,
    set: MapSet,
    reading: &Rights,
) -> Result<Report, AppError> {
    let for_one = [
        ("--boundary", request.boundary.is_some()),
        ("--repair", request.repair.is_some()),
    ];
    if let Some((option, _)) = for_one.iter().find(|(_, given)| *given) {
        let names: Vec<String> = set.maps.iter().filter_map(|map| map.part.clone()).collect();
        let refused = AppError::misuse(
            "check.tasks",
            format!(
                "{option} is for one map, and this file holds {}",
                names.len()
            ),
        );
        return Err(refused
            .with_fact(request.map.display().to_string(), names.join(", "))
            .with_hint("name the task too: --layer TSK1"));
    }
    let excluded = reading.apart(&request.common, || exclusions(request))?;
    let mut tasks = Vec::new();
    for map in set.maps {
        let against = ask::against(request, &map, map.boundary.clone(), excluded.clone())?;
        let mut verdict = check_one(&map, &against);
        let name = map.part.clone().unwrap_or_else(|| map.name.clone());
        for fault in &mut verdict.faults {
            fault.message = format!("{name}: {}", fault.message);
        }
        let counts = counts(&verdict.faults);
        tasks.push(Task {
            map,
            verdict,
            counts,
        });
    }
    let all: Vec<Fault> = set
        .oddities
        .iter()
        .chain(tasks.iter().flat_map(|task| &task.verdict.faults))
        .cloned()
        .collect();
    let files = match (&request.faults, tasks.first()) {
        (Some(path), Some(first)) => {
            repair::write_faults(path, &first.map.system, &all, request.overwrite)?
        }
        _ => Vec::new(),
    };
    Ok(report(request, &set.oddities, &tasks, &all, files))
}

fn report(
    request: &CheckMapRequest,
    of_file: &[Fault],
    tasks: &[Task],
    all: &[Fault],
    files: Vec<(String, u64)>,
) -> Report {
    let [stops, cautions, notes] = counts(all);
    let result = format!(
        "{}, {}, {}{}",
        counted(stops, "stop"),
        counted(cautions, "caution"),
        counted(notes, "note"),
        if stops > 0 {
            ": not fit for a machine"
        } else {
            ""
        }
    );
    let mut by_weight: Vec<&Task> = tasks.iter().collect();
    by_weight.sort_by_key(|task| std::cmp::Reverse(task.counts));
    let mut rows = vec![
        Row::new("format", "ISO 11783-10 task data"),
        Row::new("tasks", format!("{} with a map", tasks.len())),
    ];
    for task in by_weight.iter().take(NAMED) {
        let text = format!("{}, {}; {}", task.rates(), task.total(), task.result());
        rows.push(Row::new(task.name(), text));
    }
    if tasks.len() > NAMED {
        let rest = tasks.len() - NAMED;
        rows.push(Row::new("…", format!("and {rest} more: --details")));
    }
    rows.push(Row::new("result", result));
    let mut next = vec!["One task alone: --layer and its id.".to_owned()];
    if request.map.join(STICK_RECORD).is_file() {
        next.push(format!(
            "Prove it against the office: haulm check {} --against OFFICE",
            request.map.display()
        ));
    }
    let mut blocks = vec![Block::table("Tasks", table(tasks))];
    let kinds = kinds(all);
    if !kinds.rows.is_empty() {
        blocks.push(Block::table("By kind", kinds));
    }
    let of_task = |task: &Task| {
        json!({
            "map": about(request, &task.map, &task.verdict), "errors": task.counts[0], "cautions": task.counts[1], "notes": task.counts[2],
            "faults": faults_json(&task.map, &task.verdict.faults),
        })
    };
    let every: Vec<Value> = tasks
        .first()
        .map(|first| faults_json(&first.map, of_file))
        .into_iter()
        .chain(
            tasks
                .iter()
                .map(|task| faults_json(&task.map, &task.verdict.faults)),
        )
        .flatten()
        .collect();
    Report {
        title: format!("Check of {}", request.map.display()),
        brief: Some(Brief {
            rows,
            next,
            findings: Some(findings(all, usize::MAX)),
            ..Brief::default()
        }),
        blocks,
        json: json!({
            "tasks": tasks.iter().map(of_task).collect::<Vec<_>>(), "errors": stops, "cautions": cautions, "notes": notes, "faults": every,
        }),
        findings: findings(all, REPORTED),
        files,
        stopped: stops > 0,
    }
}

/// A row a task, in file order.
fn table(tasks: &[Task]) -> Table {
    let row = |task: &Task| {
        vec![
            task.rates(),
            task.total(),
            area(&task.map, task.verdict.sums.area_m2),
            task.counts[0].to_string(),
            task.counts[1].to_string(),
            task.name(),
        ]
    };
    Table {
        columns: vec![
            Column::right("rates"),
            Column::right("total"),
            Column::right("ground"),
            Column::right("stops"),
            Column::right("cautions"),
            Column::left("task"),
        ],
        rows: tasks.iter().map(row).collect(),
    }
}
