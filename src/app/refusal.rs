//! Turns the errors of reading and computing into refusals: a code, what and where with numbers, and what to do.

use crate::app::error::AppError;
use crate::format::raster::RasterFileError;
use crate::format::vector::VectorError;
use crate::format::weather::error::WeatherError;
use crate::pipeline::error::StepError;
use crate::pipeline::ground_error::GroundError;
use crate::pipeline::points::error::PointsError;
use crate::pipeline::rate_error::RateError;
use crate::pipeline::scan::ScanError;
use crate::space::lay::LayError;
use crate::space::plane::PlaneError;

/// What to do about an index outside its range.
const RANGE: &str =
    "check imagery.scale and offset: an index raster stored as 0 to 10 000 needs scale = 0.0001";

/// What to do about a file that may not be read.
const DENIED: &str = "have the permission to read it, or copy it to a place of your own";

/// Whether the system refused to open a file: GDAL passes on the system's words.
fn denied(reason: &str) -> bool {
    reason.contains("Permission denied")
}

impl From<VectorError> for AppError {
    fn from(error: VectorError) -> Self {
        let (code, hint) = match &error {
            VectorError::Missing { .. } => (
                "file.missing",
                "check the name; paths are relative to the job file",
            ),
            VectorError::Unreadable { reason, .. } if denied(reason) => {
                ("vector.unreadable", DENIED)
            }
            VectorError::Unreadable { .. } => (
                "vector.unreadable",
                "give a GeoJSON, GeoPackage, shapefile or KML file",
            ),
            VectorError::Layer { .. } => (
                "vector.layer",
                "choose one: { path = \"...\", layer = \"...\" }",
            ),
            VectorError::Filter { .. } => (
                "vector.filter",
                "write it as SQL on a column, such as where = \"FIELD_ID = '12'\"",
            ),
            VectorError::Column { .. } => (
                "vector.column",
                "name one of its columns that holds numbers, or write the numbers into one",
            ),
            VectorError::NoSystem { .. } => (
                "vector.no_system",
                "add the .prj file, or export again with a reference system",
            ),
            VectorError::SystemUnknown { .. } | VectorError::SystemDoubtful { .. } => (
                "vector.system",
                "export it again with the right reference system",
            ),
            VectorError::Empty { .. } => (
                "vector.empty",
                "check layer and filter, and that the file holds the right shapes",
            ),
            VectorError::NoGeometry { .. } => (
                "vector.no_geometry",
                "close its ring or delete it in a GIS, or leave it out with where = \"...\"",
            ),
            VectorError::Kind { .. } => ("vector.kind", "draw it as the kind that is asked for"),
            VectorError::NotFinite { .. } => ("vector.number", "correct the feature in a GIS"),
            VectorError::Place { .. } => (
                "vector.place",
                "move or delete that vertex in a GIS, or state the system that the coordinates are in",
            ),
            VectorError::Unclosed { .. } => (
                "vector.unclosed",
                "end the ring with the point that it begins with, or export the file again",
            ),
            VectorError::Damaged { .. } => (
                "vector.damaged",
                "the file is cut off or damaged: copy it again with all its parts, or export it again",
            ),
        };
        Self::refused(code, error.to_string()).with_hint(hint)
    }
}

impl From<RasterFileError> for AppError {
    fn from(error: RasterFileError) -> Self {
        let (code, hint) = match &error {
            RasterFileError::Missing { .. } => (
                "file.missing",
                "check the name; paths are relative to the job file",
            ),
            RasterFileError::Unreadable { reason, .. } if denied(reason) => {
                ("image.unreadable", DENIED)
            }
            RasterFileError::Unreadable { .. } => (
                "image.unreadable",
                "give a GeoTIFF or another raster; if it is one, copy it again: it may be cut off",
            ),
            RasterFileError::NoGeoreference { .. } => (
                "image.no_georeference",
                "export it with its georeference (GeoTIFF, or a world file and a reference system)",
            ),
            RasterFileError::NoSystem { .. } => {
                ("image.no_system", "export it with its reference system")
            }
            RasterFileError::NoBand { .. } => {
                ("imagery.band", "count bands from 1 in imagery.bands")
            }
            RasterFileError::NoNesting { .. } => (
                "image.nesting",
                "resample the coarser band onto the finer grid by nearest neighbour, or use bands of one pixel size",
            ),
            RasterFileError::Outside { .. } => (
                "image.outside",
                "put the sources below the job's folder, and name them as files",
            ),
            RasterFileError::NoSource { .. } => (
                "image.source",
                "put the source where the virtual raster names it; without relativeToVRT=\"1\" a name counts from where haulm is called",
            ),
            RasterFileError::VirtualInArchive { .. } => {
                ("image.outside", "unpack the archive below the job's folder")
            }
        };
        Self::refused(code, error.to_string()).with_hint(hint)
    }
}

impl From<WeatherError> for AppError {
    fn from(error: WeatherError) -> Self {
        let hint = match &error {
            WeatherError::Read { source, .. }
                if source.kind() == std::io::ErrorKind::PermissionDenied =>
            {
                DENIED
            }
            WeatherError::Read { .. } => "check the name; paths are relative to the job file",
            _ => "one row a day: date, tmin_c, tmax_c (or tmin_f, tmax_f)",
        };
        Self::refused("weather.refused", error.to_string())
            .with_hint(hint)
            .with_causes(&error)
    }
}

/// What to do about a transformation that fails: other programs set variables that hide the database of reference systems.
fn systems_hint() -> String {
    let misled = ["PROJ_DATA", "PROJ_LIB"].into_iter().find_map(|name| {
        let folders = std::env::var_os(name)?;
        let found = std::env::split_paths(&folders).any(|folder| folder.join("proj.db").exists());
        (!found).then(|| {
            format!(
                "{name} is set to {}, where no proj.db is: unset it",
                folders.to_string_lossy()
            )
        })
    });
    misled.unwrap_or_else(|| "check the reference systems of boundary, strips and image".to_owned())
}

impl From<GroundError> for AppError {
    fn from(error: GroundError) -> Self {
        let refusal = |code, hint: &str| Self::refused(code, error.to_string()).with_hint(hint);
        match &error {
            GroundError::Several { .. } => refusal(
                "boundary.several",
                "choose one with where = \"...\", or join them with merge = true",
            ),
            GroundError::Apart {
                file,
                boundary,
                image,
                swapped_meets,
                ..
            } => {
                let place = |p: (f64, f64)| {
                    format!("centre at longitude {:.5}°, latitude {:.5}°", p.0, p.1)
                };
                let hint = if *swapped_meets {
                    "longitude and latitude seem to be swapped in the boundary: swapped, it would lie in the image"
                } else {
                    "check that both files show the same field and state the right reference system"
                };
                refusal("boundary.apart", hint)
                    .with_fact(file.clone(), place(*boundary))
                    .with_fact("image", place(*image))
            }
            GroundError::Nothing { .. } => refusal(
                "field.nothing",
                "check the boundary's outline and system, the exclusions and their buffers",
            ),
            GroundError::StripOutside { file, .. } => refusal(
                "reference.outside",
                "check that strip and boundary show the same field",
            )
            .with_fact(file.clone(), "reference strips"),
            GroundError::ManyStrips { .. } => refusal(
                "reference.many",
                "check that this is the layer of strips, or let a filter (where) name those of the field",
            ),
            GroundError::StripsOverlap { .. } => {
                refusal("reference.overlap", "draw each strip once")
            }
            GroundError::Guidance { .. } => {
                refusal("machine.guidance", "draw the line along a pass")
            }
            GroundError::AreaOutside { .. } => refusal(
                "machine.area",
                "check that areas and boundary show the same field, and that no area lies within an earlier one",
            ),
            GroundError::LineTurns { .. } | GroundError::LineTight { .. } => refusal(
                "machine.guidance",
                "draw the line so that its bends lie outside the field or are wider, or split the field with [[machine.area]] and give each part a heading",
            ),
            GroundError::Seam(_) | GroundError::Lay(LayError::Seam(_)) => refusal(
                "machine.area",
                "draw the areas anew so that their edges do not all but touch there, or leave a [[machine.area]] out",
            ),
            GroundError::Plane(PlaneError::Unfit { .. }) => refusal(
                "plane.unfit",
                "write the field's UTM zone in field.crs, or leave it out",
            ),
            GroundError::Plane(_) | GroundError::Crs(_) => {
                refusal("plane.transformation", systems_hint().as_str())
            }
            GroundError::Cut(_) | GroundError::Lay(_) => refusal(
                "machine.cells",
                "check the boundary, which may hold more than one field, and the units of working width and cell length",
            ),
        }
    }
}

impl From<StepError> for AppError {
    fn from(error: StepError) -> Self {
        let refusal = |code, hint: &str| Self::refused(code, error.to_string()).with_hint(hint);
        match &error {
            StepError::Scan(ScanError::Raster(_)) => refusal(
                "image.unreadable",
                "the file is cut off or damaged: copy it again",
            ),
            StepError::Points(PointsError::None { .. }) => refusal(
                "points.none",
                "check that readings and boundary show the same field, and the limits of speed",
            ),
            StepError::Points(_) => refusal(
                "points.variogram",
                "use estimate = \"mean\", or a log with more readings",
            ),
            StepError::Scan(_) | StepError::Crs(_) => refusal(
                "plane.transformation",
                "check the reference systems of boundary, strips and image",
            ),
            StepError::Reference(_) => refusal(
                "reference.none",
                "check that strips, image and field show the same ground; a narrower inset or a finer image may help",
            ),
            StepError::Rate(RateError::NoCanopy { .. }) => refusal(
                "field.no_canopy",
                "check index, bare_below and the image's date",
            ),
            StepError::Rate(RateError::NoStep { .. }) => refusal(
                "rate.empty",
                "choose rate.step, rate.minimum and rate.maximum so that a multiple of the step lies between them",
            ),
            StepError::Rate(_) => refusal(
                "rate.inputs",
                "see [season], [response] and [rate] of the job; no growing days at all: look at the weather file's unit and dates",
            ),
            StepError::Lay(LayError::Seam(_)) => refusal(
                "machine.area",
                "draw the areas of [[machine.area]] anew so that their edges do not all but touch there",
            ),
            StepError::Lay(_) => refusal(
                "machine.cells",
                "check the units of machine.overrun, working width and cell length",
            ),
            StepError::Classes(_) | StepError::Zones(_) => {
                refusal("zones.refused", "see [zones] of the job")
            }
            StepError::NothingSeen {
                missing,
                undefined,
                out_of_range,
                ..
            } if *out_of_range > missing + undefined => refusal("image.range", RANGE),
            StepError::NothingSeen { .. } => refusal(
                "image.nothing_seen",
                "check nodata, mask and band scale, and that the image shows the field",
            ),
            StepError::NoPixel { .. } => refusal(
                "image.no_pixel",
                "use an image of smaller pixels; imagery.pixel_inside lowers the share, but such pixels mix crop and edge",
            ),
            StepError::OutOfRange { .. } => refusal("image.range", RANGE),
        }
    }
}
