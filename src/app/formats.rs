//! The files of a map, format by format: one that cannot be written does not take the others along, except that the machine gets all of its files or none.

use crate::app::error::AppError;
use crate::finding::{Finding, codes};
use crate::format::iso11783::RateGrid;
use crate::format::payload::Payload;
use crate::format::{Archive, Format, WriteOptions};
use crate::job::settings::Output;
use crate::map::export::ExportMap;
use crate::map::machine::MachineRates;
use crate::map::prescription::Prescription;
use jiff::Timestamp;

/// Letters of a finding.
const LONGEST: usize = 300;

/// A format that cannot be written, and why.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Failed {
    pub(crate) format: Format,
    /// Why not.
    pub(crate) reason: String,
}

impl Failed {
    /// From what a writer complains of.
    pub(crate) fn new(format: Format, error: &dyn std::error::Error) -> Self {
        Self::of(format, &refused_format(error))
    }
    fn of(format: Format, error: &AppError) -> Self {
        let notice: Vec<&str> = std::iter::once(error.headline.as_str())
            .chain(error.causes.iter().map(String::as_str))
            .collect();
        Self {
            format,
            reason: notice.join(": "),
        }
    }
    /// Whether the machine reads it.
    pub(crate) fn is_for_the_machine(&self) -> bool {
        self.format.is_for_the_machine()
    }
    /// What the user is told.
    pub(crate) fn finding(&self) -> Finding {
        let word = self.format.word();
        if self.is_for_the_machine() {
            let begin = format!("{word} cannot be written, so the machine gets no file at all: ");
            let end =
                format!("; leave {word:?} out of output.formats if the machine can do without");
            Finding::stop(codes::OUTPUT_MACHINE, self.text(&begin, &end)).with_figure(word)
        } else {
            let begin = format!("{word} is not written, the other files are: ");
            Finding::caution(codes::OUTPUT_FORMAT, self.text(&begin, ""))
        }
    }
    /// The reason between two texts, as much of it as there is room for.
    fn text(&self, begin: &str, end: &str) -> String {
        let room = LONGEST - begin.chars().count() - end.chars().count();
        let mut reason: String = self.reason.chars().take(room).collect();
        if reason.len() < self.reason.len() {
            reason.pop();
            reason.push('…');
        }
        format!("{begin}{reason}{end}")
    }
}

/// A refusal of what a writer complains of.
pub(crate) fn refused_format(error: &dyn std::error::Error) -> AppError {
    AppError::refused("output.format", error.to_string())
        .with_causes(error)
        .with_hint("leave the format out in output.formats, or repair what it complains of")
}

/// Where task data lie as one file for sending.
const TASK_ARCHIVE: &str = "office/TASKDATA.zip";

/// What the writers need.
pub(crate) struct Source<'a> {
    /// `[output]`.
    pub(crate) output: &'a Output,
    /// The map.
    pub(crate) prescription: &'a Prescription,
    /// Rates that the machine gets.
    pub(crate) rates: &'a MachineRates,
    /// The task's grid, made before.
    pub(crate) grid: Option<&'a RateGrid>,
    /// The instant of files that demand one.
    pub(crate) instant: Timestamp,
}

/// Files of all formats but those that failed before; what fails now is added to them, and no file for the machine is left when one of them is for it.
///
/// # Errors
/// When the map does not hold together: a fault of haulm.
pub(crate) fn files_of(
    source: &Source<'_>,
    failed: &mut Vec<Failed>,
) -> Result<Vec<Payload>, AppError> {
    let prescription = source.prescription;
    let map = ExportMap::of_prescription(prescription, source.rates)
        .map_err(|error| refused_format(&error))?;
    let write = |format: Format| {
        let rules = format.rules();
        let name = rules.place(&prescription.field_name, &prescription.map_id);
        let options = WriteOptions {
            name: &name,
            instant: source.instant,
            cell_m: None,
            task: source.output.task_data,
            grid: source.grid,
            archive: Some(Archive {
                path: TASK_ARCHIVE,
                beside_files: true,
            }),
        };
        // What a converted map needs to be told of, a job's own findings tell.
        let written = rules.write(&map, &options);
        Ok(written.map_err(|error| refused_format(&error))?.value.files)
    };
    Ok(gathered(&source.output.formats, failed, write))
}

fn gathered(
    formats: &[Format],
    failed: &mut Vec<Failed>,
    mut write: impl FnMut(Format) -> Result<Vec<Payload>, AppError>,
) -> Vec<Payload> {
    let mut files: Vec<Payload> = Vec::new();
    for &format in formats {
        if failed.iter().any(|failed| failed.format == format) {
            continue;
        }
        match write(format) {
            Ok(made) => {
                // Formats that lie under one name share one style.
                for file in made {
                    if files.iter().all(|there| there.path != file.path) {
                        files.push(file);
                    }
                }
            }
            Err(error) => failed.push(Failed::of(format, &error)),
        }
    }
    if failed.iter().any(Failed::is_for_the_machine) {
        files.retain(|file| !is_for_the_machine(&file.path));
    }
    files
}

fn is_for_the_machine(path: &str) -> bool {
    path.starts_with("machine/") || path.starts_with("office/TASKDATA")
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Format; 4] = [
        Format::GeoPackage,
        Format::GeoJson,
        Format::Shapefile,
        Format::Iso11783,
    ];

    /// Files of all four when some fail.
    fn with(failing: &[Format]) -> (Vec<String>, Vec<Failed>) {
        let mut failed = Vec::new();
        let files = gathered(&ALL, &mut failed, |format| {
            if failing.contains(&format) {
                return Err(AppError::refused("output.format", "x".repeat(400)));
            }
            let paths: &[&str] = match format {
                Format::GeoPackage => &["office/p.gpkg"],
                Format::GeoJson => &["office/p.geojson", "office/p.qml"],
                Format::Shapefile => &["machine/p.shp"],
                _ => &["machine/TASKDATA/TASKDATA.XML", "office/TASKDATA.zip"],
            };
            Ok(paths
                .iter()
                .map(|path| Payload::new(*path, Vec::new()))
                .collect())
        });
        (files.into_iter().map(|file| file.path).collect(), failed)
    }

    #[test]
    fn a_format_of_the_office_fails_alone() {
        let (files, failed) = with(&[Format::GeoJson]);
        let expected = [
            "office/p.gpkg",
            "machine/p.shp",
            "machine/TASKDATA/TASKDATA.XML",
            "office/TASKDATA.zip",
        ];
        assert_eq!(files, expected);
        let finding = failed[0].finding();
        assert!(!finding.stops() && finding.message.chars().count() <= 300);
    }

    #[test]
    fn one_file_of_the_machine_takes_the_others_along() {
        for format in [Format::Shapefile, Format::Iso11783] {
            let (files, failed) = with(&[format]);
            assert_eq!(files, ["office/p.gpkg", "office/p.geojson", "office/p.qml"]);
            let finding = failed[0].finding();
            assert!(finding.stops() && finding.message.chars().count() <= 300);
        }
        assert_eq!(with(&[Format::Shapefile, Format::Iso11783]).1.len(), 2);
    }
}
