//! The files behind a raster: sources of a virtual one, which must lie below the job's folder, and files beside it that change what is read.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::error::RasterFileError;
use super::open::open;
use crate::format::bounds;
use crate::format::sidecars::{Listings, is_virtual};
use crate::format::systems_text::system;

/// Virtual rasters in virtual rasters are followed this deep; honest ones have one or two levels.
const DEEPEST: usize = 16;
/// A virtual raster with more sources than this is something else, and GDAL lists a folder anew for every file that it opens there.
const MAXIMUM_FILES: usize = 5_000;
/// So often may one band come to rasters through all virtual ones between; an honest mosaic names each file once. Fifteen short files that name each other four
/// times come to one a thousand million times.
const MAXIMUM_WAYS: u64 = 20_000;
/// Ends that GDAL puts behind a raster's whole name: statistics with nodata, scale and reference system; a mask.
const BEHIND_NAME: [&str; 4] = [".aux.xml", ".msk", ".msk.aux.xml", ".hdr"];
/// Ends in place of a raster's own: reference by other programs, headers of raw files, spilled pixels, and metadata with the day of taking.
const IN_PLACE: [&str; 10] = [
    "wld", "tab", "prj", "hdr", "aux", "ige", "imd", "rpb", "xml", "dat",
];

/// What to do with the children of an element that names a file.
enum Named<'a> {
    /// A raster file, as written.
    Raster(&'a str),
    /// Bytes without a format of their own.
    Raw(&'a str),
}

/// What lies behind a raster.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Behind {
    /// Files on disk, besides itself.
    pub(super) files: Vec<PathBuf>,
    /// Whether a virtual raster, at any depth, warps its sources or gives them another pixel size.
    pub(super) resampled: bool,
    /// Sources that are rasters, deepest first: the virtual raster, the name as written there, the file.
    sources: Vec<(PathBuf, String, PathBuf)>,
    /// Whether only the names of files are looked for, and nothing is judged: no library is asked of a text.
    only_names: bool,
    /// The folders that were looked into.
    listings: Listings,
}

/// Every file on disk that a raster is read from besides itself: sidecars, and for a virtual raster its sources with theirs. A raster in an archive has
/// none: the archive is the file.
///
/// # Errors
/// [`RasterFileError`]: a virtual raster in an archive, or whose sources, at any depth, lie outside `jail` or cannot be read.
pub(super) fn files_behind(path: &Path, jail: &Path) -> Result<Behind, RasterFileError> {
    if in_archive(path) {
        let named_so = path
            .extension()
            .is_some_and(|end| end.eq_ignore_ascii_case("vrt"));
        return if named_so {
            Err(RasterFileError::VirtualInArchive {
                path: path.to_owned(),
            })
        } else {
            Ok(Behind::default())
        };
    }
    let mut behind = Behind::default();
    list(path, jail, &mut behind)?;
    // Opened by the few drivers that images may have, deepest first: GDAL itself would open a source by any of them.
    for (above, text, source) in &behind.sources {
        open(source).map_err(|error| unreadable(above, &format!("its source {text}: {error}")))?;
    }
    Ok(behind)
}

/// The files that a raster is read from besides itself, found without GDAL and PROJ; of a raster that is refused later those that were found before its fault.
pub fn listed(path: &Path, jail: &Path) -> Vec<PathBuf> {
    let mut behind = Behind {
        only_names: true,
        ..Behind::default()
    };
    if !in_archive(path) && path.is_file() {
        let _ = list(path, jail, &mut behind);
    }
    behind.files
}

fn list(path: &Path, jail: &Path, behind: &mut Behind) -> Result<(), RasterFileError> {
    sidecars(path, behind);
    if is_virtual(path) {
        let home = if jail.as_os_str().is_empty() {
            Path::new(".")
        } else {
            jail
        };
        let home = fs_err::canonicalize(home).map_err(|error| unreadable(path, &error))?;
        let own = fs_err::canonicalize(path).map_err(|error| unreadable(path, &error))?;
        let mut known = BTreeMap::from([(own, 1)]);
        follow(path, &home, 0, &mut known, behind)?;
    }
    if behind.only_names {
        return Ok(());
    }
    behind
        .listings
        .check(path)
        .map_err(|reason| unreadable(path, &reason))
}

/// Whether a path is one of GDAL's own.
pub(super) fn in_archive(path: &Path) -> bool {
    path.to_string_lossy().starts_with("/vsi")
}

fn unreadable(path: &Path, reason: &dyn std::fmt::Display) -> RasterFileError {
    RasterFileError::Unreadable {
        path: path.to_owned(),
        reason: reason.to_string(),
    }
}

/// Adds the sources of a virtual raster, and theirs; `known` holds the ways to rasters that each file stands for. Gives the most that one of its bands has.
fn follow(
    path: &Path,
    home: &Path,
    depth: usize,
    known: &mut BTreeMap<PathBuf, u64>,
    behind: &mut Behind,
) -> Result<u64, RasterFileError> {
    if depth >= DEEPEST {
        return Err(unreadable(
            path,
            &format!("virtual rasters lie more than {DEEPEST} deep in each other"),
        ));
    }
    let text = fs_err::read_to_string(path).map_err(|error| unreadable(path, &error))?;
    bounds::markup(&text).map_err(|error| unreadable(path, &error))?;
    // An XML reader that resolves what is written in entities: what GDAL will open is what is looked at.
    let document = roxmltree::Document::parse(&text).map_err(|error| unreadable(path, &error))?;
    let mut of_bands: BTreeMap<Option<usize>, u64> = BTreeMap::new();
    for node in document.descendants().filter(roxmltree::Node::is_element) {
        behind.resampled |= resamples(&node);
        let inner: String = node
            .children()
            .filter(roxmltree::Node::is_text)
            .filter_map(|text| text.text())
            .collect();
        by_attribute(path, &node)?;
        if !behind.only_names {
            stated_systems(path, &node, inner.trim())?;
        }
        let Some(named) = named(&node, inner.trim()) else {
            continue;
        };
        // GDAL would take but a part of a name in pieces, and an element for an attribute.
        if node.children().any(|child| !child.is_text()) {
            return Err(unreadable(
                path,
                &format!("the name of its source {} stands in pieces", inner.trim()),
            ));
        }
        let (text, raw) = match named {
            Named::Raster(text) => (text, false),
            Named::Raw(text) => (text, true),
        };
        let relative = attribute(&node, "relativetovrt").is_some_and(|value| value.trim() == "1");
        let source = source_at(path, text, relative, home)?;
        if raw {
            raw_is_whole(path, &node, &source.written)?;
        }
        let band = band_of(&node).map(|band| band.range().start);
        let mut through = |ways: u64| {
            let all = of_bands.entry(band).or_default();
            *all = all.saturating_add(ways);
            if *all > MAXIMUM_WAYS {
                return Err(unreadable(
                    path,
                    &format!(
                        "a band of it comes to rasters by more than {MAXIMUM_WAYS} ways through virtual ones"
                    ),
                ));
            }
            Ok(())
        };
        if let Some(ways) = known.get(&source.canonical) {
            through(*ways)?;
            continue;
        }
        known.insert(source.canonical.clone(), 1);
        if known.len() > MAXIMUM_FILES {
            return Err(unreadable(
                path,
                &format!("it has more than {MAXIMUM_FILES} sources"),
            ));
        }
        behind.files.push(source.written.clone());
        sidecars(&source.written, behind);
        if raw {
            through(1)?;
            continue;
        }
        // Before it is opened: opening a virtual raster may open what is behind it.
        let ways = if is_virtual(&source.written) {
            follow(&source.written, home, depth + 1, known, behind)?
        } else {
            1
        };
        known.insert(source.canonical, ways);
        through(ways)?;
        if !behind.only_names {
            behind
                .listings
                .check(&source.written)
                .map_err(|reason| unreadable(path, &format!("its source {text}: {reason}")))?;
        }
        behind
            .sources
            .push((path.to_owned(), text.to_owned(), source.written));
    }
    Ok(of_bands.into_values().max().unwrap_or(1))
}

/// The band that an element belongs to.
fn band_of<'a, 'text>(node: &roxmltree::Node<'a, 'text>) -> Option<roxmltree::Node<'a, 'text>> {
    node.ancestors().find(|above| {
        above
            .tag_name()
            .name()
            .eq_ignore_ascii_case("VRTRasterBand")
    })
}

/// An attribute by its name in small letters: GDAL does not tell letters apart.
fn attribute<'a>(node: &roxmltree::Node<'a, '_>, name: &str) -> Option<&'a str> {
    let mut all = node.attributes();
    all.find(|one| one.name().eq_ignore_ascii_case(name))
        .map(|one| one.value())
}

/// Whether a name of an element or attribute is that of something that names a file.
fn names_a_file(name: &str) -> bool {
    let name = name.to_ascii_lowercase();
    ["filename", "sourcedataset", "dempath", "dsname"]
        .iter()
        .any(|part| name.contains(part))
}

/// Refuses a source that is named by an attribute: GDAL takes it for an element, and no program writes it so.
fn by_attribute(path: &Path, node: &roxmltree::Node<'_, '_>) -> Result<(), RasterFileError> {
    let mut all = node.attributes();
    all.find(|one| names_a_file(one.name()))
        .map_or(Ok(()), |one| {
            Err(RasterFileError::Outside {
                path: path.to_owned(),
                source_file: format!("{}, named by an attribute", one.value()),
            })
        })
}

/// Refuses a reference system that is an address or a file.
fn stated_systems(
    path: &Path,
    node: &roxmltree::Node<'_, '_>,
    inner: &str,
) -> Result<(), RasterFileError> {
    let own = node.tag_name().name().to_ascii_lowercase();
    let by_element = (own.ends_with("srs") && !inner.is_empty()).then_some(inner);
    let by_attribute = attribute(node, "projection").filter(|text| !text.trim().is_empty());
    let of_option = attribute(node, "name")
        .or_else(|| attribute(node, "key"))
        .is_some_and(|key| key.to_ascii_lowercase().ends_with("srs"))
        .then_some(inner);
    for text in [by_element, by_attribute, of_option].into_iter().flatten() {
        if let Err(reason) = system(text) {
            return Err(unreadable(
                path,
                &format!("its reference system {text:?}: {reason}"),
            ));
        }
    }
    Ok(())
}

/// Refuses raw numbers that end before the last pixel: what is not there would be read as 0.
fn raw_is_whole(
    path: &Path,
    node: &roxmltree::Node<'_, '_>,
    file: &Path,
) -> Result<(), RasterFileError> {
    let band = band_of(node);
    let whole = node
        .ancestors()
        .find(|above| above.tag_name().name().eq_ignore_ascii_case("VRTDataset"));
    let (Some(band), Some(whole)) = (band, whole) else {
        return Ok(());
    };
    let kind = attribute(&band, "datatype").unwrap_or("Byte");
    let bytes = match kind.to_ascii_lowercase().as_str() {
        "byte" | "int8" => 1,
        "int16" | "uint16" => 2,
        "float64" | "int64" | "uint64" | "cfloat32" | "cint32" => 8,
        "cfloat64" => 16,
        _ => 4,
    };
    let number = |name: &str| {
        let child = band
            .children()
            .find(|child| child.tag_name().name().eq_ignore_ascii_case(name));
        child
            .and_then(|child| child.text())
            .or_else(|| attribute(&band, name))
            .and_then(|text| text.trim().parse::<i128>().ok())
    };
    let side = |name: &str| {
        attribute(&whole, name)
            .and_then(|text| text.trim().parse::<i128>().ok())
            .unwrap_or(0)
    };
    let (cols, rows) = (side("rasterxsize"), side("rasterysize"));
    let pixel = number("PixelOffset").unwrap_or(bytes);
    let line = number("LineOffset").unwrap_or(pixel * cols);
    let first = number("ImageOffset").unwrap_or(0);
    let ends = [
        0,
        line * (rows - 1),
        pixel * (cols - 1),
        line * (rows - 1) + pixel * (cols - 1),
    ];
    let due = first + ends.into_iter().max().unwrap_or(0) + bytes;
    let length = fs_err::metadata(file).map_or(0, |found| i128::from(found.len()));
    if length < due {
        return Err(unreadable(
            path,
            &format!(
                "its source {} has {length} bytes, and {due} are due: it is cut off",
                file.display()
            ),
        ));
    }
    Ok(())
}

/// Whether an element makes other pixels: a warp, or a rectangle of the source put into one of another size.
fn resamples(node: &roxmltree::Node<'_, '_>) -> bool {
    let size = |name: &str| {
        let rectangle = node
            .children()
            .find(|child| child.tag_name().name().eq_ignore_ascii_case(name))?;
        let side = |key: &str| attribute(&rectangle, key)?.trim().parse::<f64>().ok();
        Some((side("xSize")?, side("ySize")?))
    };
    let other = |(from, to): ((f64, f64), (f64, f64))| {
        (from.0 - to.0).abs() > 1e-6 || (from.1 - to.1).abs() > 1e-6
    };
    let name = node.tag_name().name();
    name.eq_ignore_ascii_case("GDALWarpOptions")
        || name.eq_ignore_ascii_case("PansharpeningOptions")
        || size("SrcRect").zip(size("DstRect")).is_some_and(other)
}

/// The file that an element names, if it is one that names a file.
fn named<'a>(node: &roxmltree::Node<'_, '_>, text: &'a str) -> Option<Named<'a>> {
    let in_raw = || {
        node.ancestors().any(|above| {
            attribute(&above, "subclass")
                .is_some_and(|kind| kind.eq_ignore_ascii_case("VRTRawRasterBand"))
        })
    };
    let name = node.tag_name().name().to_ascii_lowercase();
    match name.as_str() {
        "sourcefilename" if in_raw() => Some(Named::Raw(text)),
        // Heights and geolocation of warped rasters.
        "option" | "argument" | "mdi" => {
            let key = attribute(node, "name")
                .or_else(|| attribute(node, "key"))?
                .to_ascii_lowercase();
            (["dem", "rpc_dem", "x_dataset", "y_dataset"].contains(&key.as_str())
                || key.contains("filename"))
            .then_some(Named::Raster(text))
        }
        other => names_a_file(other).then_some(Named::Raster(text)),
    }
}

/// A source on disk.
struct Source {
    /// As GDAL opens it.
    written: PathBuf,
    /// Where it really lies, links followed.
    canonical: PathBuf,
}

fn source_at(
    path: &Path,
    text: &str,
    relative: bool,
    home: &Path,
) -> Result<Source, RasterFileError> {
    let outside = || RasterFileError::Outside {
        path: path.to_owned(),
        source_file: text.to_owned(),
    };
    // Virtual paths, addresses, names of drivers before a colon, a raster written out in place of a name: none of them is a file of the folder.
    let special = text.to_ascii_lowercase().starts_with("/vsi")
        || text.contains("://")
        || text.starts_with('<');
    let written = if relative {
        path.parent().unwrap_or_else(|| Path::new("")).join(text)
    } else {
        PathBuf::from(text)
    };
    match fs_err::canonicalize(&written) {
        Ok(canonical) if !special && canonical.is_file() => {
            if canonical.starts_with(home) {
                Ok(Source { written, canonical })
            } else {
                Err(outside())
            }
        }
        Ok(_) => Err(outside()),
        Err(_) if special || text.contains(':') => Err(outside()),
        Err(_) => Err(RasterFileError::NoSource {
            path: path.to_owned(),
            source_file: text.to_owned(),
        }),
    }
}

/// Adds the files beside a raster that GDAL reads with it. Reduced copies (`.ovr`) are not among them: no number comes from them.
fn sidecars(path: &Path, behind: &mut Behind) {
    let (Some(name), Some(stem)) = (
        path.file_name().and_then(|name| name.to_str()),
        path.file_stem().and_then(|stem| stem.to_str()),
    ) else {
        return;
    };
    let (name, stem) = (name.to_lowercase(), stem.to_lowercase());
    let own_end = name
        .strip_prefix(&stem)
        .and_then(|end| end.strip_prefix('.'))
        .unwrap_or_default()
        .to_owned();
    // `tif` makes `tfw` and `tifw`.
    let short: String = own_end
        .chars()
        .take(1)
        .chain(own_end.chars().last())
        .chain(['w'])
        .collect();
    let belongs = |other: &str| {
        if BEHIND_NAME
            .iter()
            .any(|end| other.strip_prefix(name.as_str()) == Some(end))
        {
            return true;
        }
        if other == name {
            return false;
        }
        // A raw file's header is given, and its numbers lie beside it without an end.
        if own_end == "ers" && other == stem {
            return true;
        }
        let Some(rest) = other.strip_prefix(stem.as_str()) else {
            return false;
        };
        rest == "_metadata.xml"
            || rest.strip_prefix('.').is_some_and(|end| {
                IN_PLACE.contains(&end) || end == short || end == format!("{own_end}w")
            })
    };
    let mut beside: Vec<PathBuf> = behind
        .listings
        .beginning(path, &stem)
        .iter()
        .filter(|(other, _)| belongs(other))
        .map(|(_, other)| path.with_file_name(other))
        .filter(|path| path.is_file())
        .collect();
    beside.sort();
    behind.files.extend(beside);
}

#[cfg(test)]
mod tests {
    use super::super::facts;
    use super::*;
    use gdal::DriverManager;
    use gdal::raster::Buffer;
    use gdal::spatial_ref::SpatialRef;

    fn image(path: &Path) {
        fs_err::create_dir_all(path.parent().unwrap()).unwrap();
        let mut dataset = DriverManager::get_driver_by_name("GTiff")
            .unwrap()
            .create_with_band_type::<u8, _>(path, 2, 2, 1)
            .unwrap();
        dataset
            .set_spatial_ref(&SpatialRef::from_epsg(32_633).unwrap())
            .unwrap();
        dataset
            .set_geo_transform(&[500_000.0, 1.0, 0.0, 5_400_000.0, 0.0, -1.0])
            .unwrap();
        dataset
            .rasterband(1)
            .unwrap()
            .write(
                (0, 0),
                (2, 2),
                &mut Buffer::new((2, 2), vec![1_u8, 2, 3, 4]),
            )
            .unwrap();
        dataset.close().unwrap();
    }

    /// A virtual raster of one band out of `source`, an element as a whole.
    fn virtual_raster(path: &Path, source: &str) {
        let text = format!(
            "<VRTDataset rasterXSize=\"2\" rasterYSize=\"2\"><SRS>EPSG:32633</SRS><GeoTransform>500000,1,0,5400000,0,-1</GeoTransform><VRTRasterBand dataType=\"Byte\" band=\"1\"><SimpleSource>{source}<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
        );
        fs_err::create_dir_all(path.parent().unwrap()).unwrap();
        fs_err::write(path, text).unwrap();
    }

    fn named(source: &str) -> String {
        format!("<SourceFilename relativeToVRT=\"1\">{source}</SourceFilename>")
    }

    struct Place(tempfile::TempDir);

    impl Place {
        /// `home` is the job's folder; `away.tif` lies outside it.
        fn new() -> Self {
            let place = Self(tempfile::tempdir().unwrap());
            image(&place.at("home/tiles/a.tif"));
            image(&place.at("away.tif"));
            place
        }
        fn at(&self, name: &str) -> PathBuf {
            self.0.path().join(name)
        }
        fn facts(&self, name: &str) -> Result<super::super::RasterFacts, RasterFileError> {
            facts(&self.at(name), &self.at("home"))
        }
        /// What comes of a virtual raster with this source.
        fn of(&self, source: &str) -> Result<super::super::RasterFacts, RasterFileError> {
            virtual_raster(&self.at("home/a.vrt"), source);
            self.facts("home/a.vrt")
        }
        fn names(&self, name: &str) -> Vec<String> {
            let root = fs_err::canonicalize(self.0.path()).unwrap();
            let below = |path: &PathBuf| {
                fs_err::canonicalize(path)
                    .unwrap()
                    .strip_prefix(&root)
                    .unwrap()
                    .to_string_lossy()
                    .into_owned()
            };
            self.facts(name).unwrap().beside.iter().map(below).collect()
        }
    }

    #[test]
    fn every_source_is_listed_at_any_depth_and_once() {
        let place = Place::new();
        virtual_raster(&place.at("home/deep/inner.vrt"), &named("../tiles/a.tif"));
        virtual_raster(
            &place.at("home/outer.vrt"),
            &(named("deep/inner.vrt") + &named("tiles/../tiles/a.tif")),
        );
        fs_err::write(place.at("home/tiles/a.tif.aux.xml"), "<PAMDataset/>").unwrap();
        assert_eq!(
            place.names("home/outer.vrt"),
            [
                "home/deep/inner.vrt",
                "home/tiles/a.tif",
                "home/tiles/a.tif.aux.xml"
            ]
        );
        // One that names itself ends as well, and is no raster that could be read for ever.
        virtual_raster(&place.at("home/round.vrt"), &named("round.vrt"));
        let _ = place.facts("home/round.vrt");
        // A virtual raster by another name is one all the same.
        fs_err::rename(place.at("home/outer.vrt"), place.at("home/outer.tif")).unwrap();
        assert_eq!(place.names("home/outer.tif").len(), 3);
    }

    #[test]
    fn ways_that_multiply_from_file_to_file_are_refused_at_once() {
        let place = Place::new();
        let four = |inner: &str| {
            format!("{}</SimpleSource><SimpleSource>", named(inner)).repeat(3) + &named(inner)
        };
        virtual_raster(&place.at("home/0.vrt"), &four("tiles/a.tif"));
        for k in 1..8 {
            virtual_raster(
                &place.at(&format!("home/{k}.vrt")),
                &four(&format!("{}.vrt", k - 1)),
            );
        }
        // 4 to the power of 7 ways are 16 384, and of 8 are 65 536.
        assert!(place.facts("home/6.vrt").is_ok());
        let refused = place.facts("home/7.vrt").unwrap_err().to_string();
        assert!(refused.contains("more than 20000 ways"), "{refused}");
    }

    #[test]
    fn no_way_leads_out_of_the_folder() {
        let place = Place::new();
        let away = place.at("away.tif").display().to_string();
        let inside = place.at("home/tiles/a.tif").display().to_string();
        let absolute =
            |path: &str| format!("<SourceFilename relativeToVRT=\"0\">{path}</SourceFilename>");
        assert!(
            place.of(&absolute(&inside)).is_ok(),
            "an absolute path into the folder"
        );
        let entity = away.replacen('/', "&#47;", 1);
        let cdata = format!("<![CDATA[{away}]]>");
        let band = "<VRTDataset rasterXSize=\"2\"/>".replace('<', "&lt;");
        for source in [
            absolute(&away),
            absolute(&entity),
            absolute(&cdata),
            format!("<SourceFilename>{away}</SourceFilename>"),
            named("../away.tif"),
            named("tiles/../../away.tif"),
            named("/vsicurl/http://host.invalid/a.tif"),
            absolute("/vsicurl/http://host.invalid/a.tif"),
            absolute("/VSICURL/http://host.invalid/a.tif"),
            absolute("/vsi&#99;url/http://host.invalid/a.tif"),
            absolute(&format!("/vsizip/{away}.zip/a.tif")),
            absolute("https://host.invalid/a.tif"),
            absolute(&format!("GTIFF_DIR:1:{away}")),
            absolute(&format!("vrt://{away}")),
            absolute(&band),
        ] {
            let found = place.of(&source);
            assert!(
                matches!(found, Err(RasterFileError::Outside { .. })),
                "{source}: {found:?}"
            );
        }
        // Behind another virtual raster too.
        virtual_raster(&place.at("home/inner.vrt"), &absolute(&away));
        assert!(
            matches!(place.of(&named("inner.vrt")), Err(RasterFileError::Outside { path, .. }) if path.ends_with("inner.vrt"))
        );
        // And in the elements of warped ones.
        let warped = format!(
            "<VRTDataset subClass=\"VRTWarpedDataset\"><GDALWarpOptions><SourceDataset relativeToVRT=\"0\">{away}</SourceDataset></GDALWarpOptions></VRTDataset>"
        );
        fs_err::write(place.at("home/warped.vrt"), warped).unwrap();
        assert!(matches!(
            place.facts("home/warped.vrt"),
            Err(RasterFileError::Outside { .. })
        ));
    }

    #[cfg(unix)]
    #[test]
    fn links_are_followed_before_they_are_believed() {
        let place = Place::new();
        std::os::unix::fs::symlink(place.at("away.tif"), place.at("home/link.tif")).unwrap();
        assert!(matches!(
            place.of(&named("link.tif")),
            Err(RasterFileError::Outside { .. })
        ));
    }

    #[test]
    fn sources_that_are_none_are_told() {
        let place = Place::new();
        assert!(
            matches!(place.of(&named("tiles/b.tif")), Err(RasterFileError::NoSource { source_file, .. }) if source_file == "tiles/b.tif")
        );
        assert!(
            matches!(
                place.of(&named("tiles")),
                Err(RasterFileError::Outside { .. })
            ),
            "a folder is no file"
        );
        // A description of a map service is no image, though GDAL has a driver for it.
        fs_err::write(place.at("home/service.xml"), "<GDAL_WMS><Service name=\"TMS\"><ServerUrl>http://host.invalid</ServerUrl></Service></GDAL_WMS>").unwrap();
        assert!(matches!(
            place.of(&named("service.xml")),
            Err(RasterFileError::Unreadable { .. })
        ));
        fs_err::write(place.at("home/a.vrt"), "<VRTDataset><SourceFilename>").unwrap();
        assert!(matches!(
            place.facts("home/a.vrt"),
            Err(RasterFileError::Unreadable { .. })
        ));
    }

    #[test]
    fn files_beside_that_change_what_is_read() {
        let place = Place::new();
        let resampled = |rectangles: &str| {
            place
                .of(&(named("tiles/a.tif") + rectangles))
                .unwrap()
                .resampled
        };
        assert!(!resampled(""));
        let of = |to: u8| {
            format!(
                "<SrcRect xOff=\"0\" yOff=\"0\" xSize=\"2\" ySize=\"2\"/><DstRect xOff=\"0\" yOff=\"0\" xSize=\"{to}\" ySize=\"{to}\"/>"
            )
        };
        assert!(
            !resampled(&of(2)) && resampled(&of(1)),
            "the same pixels, and others"
        );
        let names = [
            "a.tif.aux.xml",
            "a.tif.msk",
            "a.TFW",
            "a.tifw",
            "a.wld",
            "a.tab",
            "a.IMD",
            "a_metadata.xml",
        ];
        for name in names {
            fs_err::write(place.at("home/tiles").join(name), "").unwrap();
        }
        // Reduced copies and other images are no part of it.
        for other in ["a.tif.ovr", "b.tif", "b.tfw", "a2.wld", "a.txt", "a.jpw"] {
            fs_err::write(place.at("home/tiles").join(other), "").unwrap();
        }
        let mut behind = Behind::default();
        sidecars(&place.at("home/tiles/a.tif"), &mut behind);
        let mut expected: Vec<PathBuf> = names
            .iter()
            .map(|name| place.at("home/tiles").join(name))
            .collect();
        expected.sort();
        assert_eq!(behind.files, expected);
        let mut behind = Behind::default();
        for name in ["raw", "raw.ers", "raw.hdr"] {
            fs_err::write(place.at(name), "").unwrap();
        }
        sidecars(&place.at("raw.ers"), &mut behind);
        assert_eq!(behind.files, [place.at("raw"), place.at("raw.hdr")]);
    }
}
