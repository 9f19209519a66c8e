//! The files of a map, format by format: one that cannot be written does not take the others along, except that the machine gets all of its files or none.

use crate::app::error::AppError;
use crate::finding::{Finding, codes};
use crate::format::iso11783::RateGrid;
use crate::format::payload::Payload;
use crate::format::{carried_out, geojson, geopackage, geotiff, iso11783, shapefile, style};
use crate::job::settings::{Format, Output};
use crate::map::machine::MachineRates;
use crate::map::plain::of_prescription;
use crate::map::prescription::{Prescription, ZoneRecord};
use jiff::Timestamp;

/// Letters of a finding.
const LONGEST: usize = 300;

/// A format that cannot be written, and why.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Failed {
    /// The format.
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
        let told: Vec<&str> = std::iter::once(error.headline.as_str())
            .chain(error.causes.iter().map(String::as_str))
            .collect();
        Self {
            format,
            reason: told.join(": "),
        }
    }
    /// Whether the machine reads it.
    pub(crate) const fn is_for_the_machine(&self) -> bool {
        matches!(self.format, Format::Shapefile | Format::Iso11783)
    }
    /// What the user is told.
    pub(crate) fn finding(&self) -> Finding {
        let word = self.format.word();
        if self.is_for_the_machine() {
            let begin = format!("{word} cannot be written, so the machine gets no file at all: ");
            let end =
                format!("; leave {word:?} out of output.formats if the machine can do without");
            Finding::stop(codes::OUTPUT_MACHINE, self.told(&begin, &end)).with_figure(word)
        } else {
            let begin = format!("{word} is not written, the other files are: ");
            Finding::caution(codes::OUTPUT_FORMAT, self.told(&begin, ""))
        }
    }
    /// The reason between two texts, as much of it as there is room for.
    fn told(&self, begin: &str, end: &str) -> String {
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
        .with_hint("leave the format out in output.formats, or mend what it complains of")
}

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
pub(crate) fn files_of(source: &Source<'_>, failed: &mut Vec<Failed>) -> Vec<Payload> {
    gathered(&source.output.formats, failed, |format| {
        written(source, format)
    })
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
                // The style beside longitude and latitude lies there once; that of the GeoJSON goes before others.
                if format == Format::GeoJson {
                    files.retain(|file| made.iter().all(|new| new.path != file.path));
                }
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

fn written(source: &Source<'_>, format: Format) -> Result<Vec<Payload>, AppError> {
    let (prescription, rates, instant) = (source.prescription, source.rates, source.instant);
    let mut files = Vec::new();
    match format {
        Format::GeoPackage => {
            files.extend(
                geopackage::write(prescription, instant).map_err(|error| refused_format(&error))?,
            );
        }
        Format::GeoJson => {
            files.extend(geojson::write(prescription).map_err(|error| refused_format(&error))?);
            files
                .push(style::beside_geojson(prescription).map_err(|error| refused_format(&error))?);
        }
        Format::Shapefile => {
            let shown = |zone: &ZoneRecord| {
                rates
                    .zones
                    .get(zone.zone as usize - 1)
                    .map_or(f64::NAN, |rate| rate.shown)
            };
            files.extend(
                shapefile::write(prescription, instant, shown)
                    .map_err(|error| refused_format(&error))?,
            );
            let shown = rates.zones.iter().map(|rate| rate.shown);
            files.push(
                style::beside_shapefile(prescription, shown)
                    .map_err(|error| refused_format(&error))?,
            );
        }
        Format::GeoTiff => {
            files.extend(geotiff::write(prescription).map_err(|error| refused_format(&error))?);
            files
                .push(style::beside_geotiff(prescription).map_err(|error| refused_format(&error))?);
        }
        Format::Kml | Format::FlatGeobuf => {
            let plain = of_prescription(prescription).map_err(|error| refused_format(&error))?;
            let write = if format == Format::Kml {
                carried_out::write_kml
            } else {
                carried_out::write_flatgeobuf
            };
            files.extend(
                write(&plain, "office/prescription").map_err(|error| refused_format(&error))?,
            );
        }
        Format::Iso11783 => files.extend(
            iso11783::write_made(
                prescription,
                source.output.task_data,
                rates,
                source.grid.cloned(),
                instant,
            )
            .map_err(|error| refused_format(&error))?,
        ),
    }
    Ok(files)
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
