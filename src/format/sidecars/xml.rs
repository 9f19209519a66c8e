//! Sidecars in XML: each kind has a list of its elements, attributes and domains of metadata.

use roxmltree::{Document, Node, ParsingOptions};

use crate::format::bounds;
use crate::format::systems_text::system;

/// No honest file of the kind has more nodes: 5000 sources in three bands, of 20 elements each.
const MAXIMUM_NODES: u32 = 1_000_000;

/// What may stand in a kind of file, in small letters.
pub(super) struct List {
    root: &'static str,
    elements: &'static [&'static [&'static str]],
    attributes: &'static [&'static str],
}

/// Facts of a raster and of its bands, wherever they stand.
const FACTS: &[&str] = &[
    "srs",
    "geotransform",
    "metadata",
    "mdi",
    "gcplist",
    "gcp",
    "description",
    "nodatavalue",
    "unittype",
    "offset",
    "scale",
    "colorinterp",
    "categorynames",
    "category",
    "colortable",
    "entry",
    "histograms",
    "histitem",
    "histmin",
    "histmax",
    "bucketcount",
    "includeoutofrange",
    "approximate",
    "histcounts",
    "minmax",
    "minimum",
    "maximum",
    "gdalrasterattributetable",
    "fielddefn",
    "name",
    "type",
    "usage",
    "row",
    "f",
];

/// Bands of virtual rasters, and where their pixels come from.
const SOURCES: &[&str] = &[
    "vrtdataset",
    "vrtrasterband",
    "blockxsize",
    "blockysize",
    "hidenodatavalue",
    "maskband",
    "overviewlist",
    "simplesource",
    "complexsource",
    "averagedsource",
    "kernelfilteredsource",
    "kernel",
    "size",
    "coefs",
    "sourcefilename",
    "sourceband",
    "sourceproperties",
    "srcrect",
    "dstrect",
    "nodata",
    "usemaskband",
    "scaleratio",
    "scaleoffset",
    "lut",
    "colortablecomponent",
    "exponent",
    "srcmin",
    "srcmax",
    "dstmin",
    "dstmax",
    "clamp",
    "imageoffset",
    "pixeloffset",
    "lineoffset",
    "byteorder",
    "pixelfunctiontype",
    "sourcetransfertype",
    "skipnoncontributingsources",
];

/// Warps and sharpened images.
const WARPS: &[&str] = &[
    "gdalwarpoptions",
    "warpmemorylimit",
    "resamplealg",
    "workingdatatype",
    "option",
    "sourcedataset",
    "transformer",
    "approxtransformer",
    "maxerror",
    "basetransformer",
    "genimgprojtransformer",
    "srcgeotransform",
    "srcinvgeotransform",
    "dstgeotransform",
    "dstinvgeotransform",
    "reprojecttransformer",
    "reprojectiontransformer",
    "sourcesrs",
    "targetsrs",
    "options",
    "bandlist",
    "bandmapping",
    "srcnodatareal",
    "srcnodataimag",
    "dstnodatareal",
    "dstnodataimag",
    "srcalphaband",
    "dstalphaband",
    "cutline",
    "cutlineblenddist",
    "pansharpeningoptions",
    "algorithm",
    "algorithmoptions",
    "weights",
    "resampling",
    "numthreads",
    "bitdepth",
    "spatialextentadjustment",
    "panchroband",
    "spectralband",
];

/// Georeferences that some programs keep in auxiliary files: numbers and a text of a system.
const TIES: &[&str] = &[
    "pamdataset",
    "pamrasterband",
    "geodataxform",
    "spatialreference",
    "wkt",
    "wkid",
    "latestwkid",
    "xorigin",
    "yorigin",
    "xyscale",
    "zorigin",
    "zscale",
    "morigin",
    "mscale",
    "xytolerance",
    "ztolerance",
    "mtolerance",
    "highprecision",
    "leftlongitude",
    "polynomialorder",
    "sourcegcps",
    "targetgcps",
    "double",
    "coeffx",
    "coeffy",
];

/// Virtual rasters.
pub(super) const VIRTUAL: List = List {
    root: "vrtdataset",
    elements: &[FACTS, SOURCES, WARPS],
    attributes: &[
        "rasterxsize",
        "rasterysize",
        "subclass",
        "dataaxistosrsaxismapping",
        "coordinateepoch",
        "domain",
        "format",
        "key",
        "name",
        "projection",
        "id",
        "info",
        "pixel",
        "line",
        "x",
        "y",
        "z",
        "datatype",
        "band",
        "blockxsize",
        "blockysize",
        "c1",
        "c2",
        "c3",
        "c4",
        "resampling",
        "relativetovrt",
        "shared",
        "xoff",
        "yoff",
        "xsize",
        "ysize",
        "normalized",
        "src",
        "dst",
        "dstband",
        "row0min",
        "binsize",
        "tabletype",
        "index",
        "lastmodified",
    ],
};

/// Auxiliary files of a raster.
pub(super) const AUXILIARY: List = List {
    root: "pamdataset",
    elements: &[FACTS, TIES],
    attributes: &[
        "dataaxistosrsaxismapping",
        "coordinateepoch",
        "domain",
        "format",
        "key",
        "projection",
        "id",
        "info",
        "pixel",
        "line",
        "x",
        "y",
        "z",
        "band",
        "c1",
        "c2",
        "c3",
        "c4",
        "row0min",
        "binsize",
        "tabletype",
        "index",
        "type",
        "schemalocation",
    ],
};

/// Classes of a layer in markup.
pub(super) const CLASSES: List = List {
    root: "gmlfeatureclasslist",
    elements: &[&[
        "gmlfeatureclasslist",
        "gmlfeatureclass",
        "sequentiallayers",
        "name",
        "elementpath",
        "geometryname",
        "geometryelementpath",
        "geometrytype",
        "geompropertydefn",
        "type",
        "subtype",
        "nullable",
        "srsname",
        "datasetspecificinfo",
        "featurecount",
        "extentxmin",
        "extentxmax",
        "extentymin",
        "extentymax",
        "propertydefn",
        "width",
        "precision",
        "condition",
        "version",
        "unique",
    ]],
    attributes: &[],
};

/// Kinds of virtual rasters and of their bands.
const KINDS: [&str; 8] = [
    "vrtwarpeddataset",
    "vrtpansharpeneddataset",
    "vrtrasterband",
    "vrtsourcedrasterband",
    "vrtrawrasterband",
    "vrtwarpedrasterband",
    "vrtderivedrasterband",
    "vrtpansharpenedrasterband",
];

/// Domains of metadata that no driver takes a file's name from.
const DOMAINS: [&str; 11] = [
    "",
    "image_structure",
    "imagery",
    "rpc",
    "esri",
    "xml:esri",
    "exif",
    "color_profile",
    "statistics",
    "envi",
    "ers",
];

/// Domains that hold a document of another kind, which GDAL keeps as one text: whatever stands in it, nothing is opened by it.
const TEXTS: [&str; 2] = ["xml:gml.root-instance", "xml:xmp"];

/// Options of a warp that name no file.
const WARP_OPTIONS: [&str; 36] = [
    "init_dest",
    "unified_src_nodata",
    "num_threads",
    "sample_grid",
    "sample_steps",
    "skip_nosource",
    "optimize_size",
    "source_extra",
    "cutline_all_touched",
    "write_flush",
    "uniform_nodata",
    "method",
    "src_srs",
    "dst_srs",
    "src_method",
    "dst_method",
    "apply_vertical_shift",
    "insert_center_long",
    "error_out_if_empty_source_window",
    "streamable_output",
    "src_coord_precision",
    "xscale",
    "yscale",
    "src_alpha_max",
    "dst_alpha_max",
    "mult_factor_vertical_shift",
    "mode_ties",
    "excluded_values",
    "excluded_values_pct_threshold",
    "nodata_values_pct_threshold",
    "use_opencl",
    "center_long",
    "area_of_interest",
    "desired_accuracy",
    "allow_ballpark",
    "only_best",
];

/// A file of a kind, parsed within bounds.
fn parsed(text: &str) -> Result<Document<'_>, String> {
    bounds::markup(text)?;
    // Document types, and with them entities of their own, are refused by the parser.
    let options = ParsingOptions {
        nodes_limit: MAXIMUM_NODES,
        ..ParsingOptions::default()
    };
    let text = text.trim_start_matches('\u{feff}');
    Document::parse_with_options(text, options).map_err(|error| error.to_string())
}

/// Refuses what is not on the list of a kind.
pub(super) fn check(text: &str, list: &List) -> Result<(), String> {
    // What is blank is no file of the kind, and no reader takes anything from it.
    if text.trim().is_empty() {
        return Ok(());
    }
    let document = parsed(text)?;
    let root = document.root_element();
    if !root.tag_name().name().eq_ignore_ascii_case(list.root) {
        return Err(format!("it begins with {:?}", root.tag_name().name()));
    }
    document
        .descendants()
        .filter(|node| node.is_element() && !node.ancestors().skip(1).any(|above| is_text(&above)))
        .try_for_each(|node| element(&node, list))
}

/// Whether an element holds a document that is kept as a text.
fn is_text(node: &Node<'_, '_>) -> bool {
    let is = |name: &str, known: &[&str]| {
        node.attribute(name)
            .is_some_and(|value| known.contains(&value.to_ascii_lowercase().as_str()))
    };
    node.tag_name().name().eq_ignore_ascii_case("metadata")
        && is("format", &["xml"])
        && is("domain", &TEXTS)
}

fn element(node: &Node<'_, '_>, list: &List) -> Result<(), String> {
    let name = node.tag_name().name();
    let lower = name.to_ascii_lowercase();
    if !list
        .elements
        .iter()
        .any(|part| part.contains(&lower.as_str()))
    {
        return Err(format!("the element {name:?} is not read"));
    }
    for one in node.attributes() {
        let key = one.name().to_ascii_lowercase();
        if !list.attributes.contains(&key.as_str()) {
            return Err(format!(
                "the attribute {:?} of {name:?} is not read",
                one.name()
            ));
        }
        let value = one.value().trim().to_ascii_lowercase();
        let known = match key.as_str() {
            "subclass" => KINDS.contains(&value.as_str()),
            "domain" => DOMAINS.contains(&value.as_str()) || is_text(node),
            "name" | "key" if lower == "option" => WARP_OPTIONS.contains(&value.as_str()),
            _ => true,
        };
        if !known {
            return Err(format!(
                "{}={:?} of {name:?} is not read",
                one.name(),
                one.value()
            ));
        }
    }
    // A text of a reference system; those of virtual rasters are judged with their sources.
    let inner = node.text().unwrap_or_default().trim();
    if ["srs", "wkt", "srsname", "sourcesrs", "targetsrs"].contains(&lower.as_str())
        && !inner.is_empty()
        && let Err(reason) = system(inner)
    {
        return Err(format!("its reference system {inner:?}: {reason}"));
    }
    Ok(())
}

/// Refuses a schema that includes others from files elsewhere.
pub(super) fn schema(text: &str) -> Result<(), String> {
    let document = parsed(text)?;
    for node in document.descendants().filter(Node::is_element) {
        for one in node.attributes() {
            let place = one.value().trim().to_ascii_lowercase();
            let is_address = place.starts_with("http://") || place.starts_with("https://");
            if one.name().eq_ignore_ascii_case("schemaLocation")
                && !is_address
                && place.contains(['/', '\\', ':'])
            {
                return Err(format!("its schema {:?} is not read", one.value()));
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: &str = "<VRTDataset rasterXSize=\"2\" rasterYSize=\"2\"><SRS dataAxisToSRSAxisMapping=\"1,2\">EPSG:32633</SRS><GeoTransform>5,1,0,5,0,-1</GeoTransform><VRTRasterBand dataType=\"Byte\" band=\"1\"><SimpleSource><SourceFilename relativeToVRT=\"1\" shared=\"0\">a.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>";

    #[test]
    fn a_plain_virtual_raster_and_one_by_other_letters() {
        assert_eq!(check(PLAIN, &VIRTUAL), Ok(()));
        let capitals = PLAIN.replace("SourceBand", "SOURCEBAND");
        assert_eq!(check(&capitals, &VIRTUAL), Ok(()));
    }

    #[test]
    fn a_document_kept_as_text_is_no_list_of_files() {
        let kept = |head: &str| {
            format!(
                "<PAMDataset><Metadata {head}><g:File xmlns:g=\"u\"><g:fileName>/etc/passwd</g:fileName></g:File></Metadata></PAMDataset>"
            )
        };
        let plain = "domain=\"xml:gml.root-instance\" format=\"xml\"";
        assert_eq!(check(&kept(plain), &AUXILIARY), Ok(()));
        for other in [
            "domain=\"xml:gml.root-instance\"",
            "domain=\"xml:VRT\" format=\"xml\"",
            "format=\"xml\"",
        ] {
            assert!(check(&kept(other), &AUXILIARY).is_err(), "{other}");
        }
        // What stands beside it is judged as ever.
        let beside = kept(plain).replace("</PAMDataset>", "<DEMPath>a</DEMPath></PAMDataset>");
        assert!(check(&beside, &AUXILIARY).unwrap_err().contains("DEMPath"));
    }

    #[test]
    fn whatever_else_is_refused_by_name() {
        let source = "<SourceBand>1</SourceBand>";
        for (what, word) in [
            (
                "<OpenOptions><OOI key=\"OVERVIEW_LEVEL\">0</OOI></OpenOptions>",
                "OpenOptions",
            ),
            ("<DEMPath>/etc/passwd</DEMPath>", "DEMPath"),
            ("<dempath>a</dempath>", "dempath"),
            (
                "<PixelFunctionCode>x</PixelFunctionCode>",
                "PixelFunctionCode",
            ),
            ("<Overview/>", "Overview"),
            ("<Metadata domain=\"GEOLOCATION\"/>", "GEOLOCATION"),
            ("<Metadata Domain=\"overviews\"/>", "overviews"),
            ("<Option name=\"DEM\">a</Option>", "DEM"),
            ("<SourceBand url=\"a\"/>", "url"),
            ("<SRS>/etc/passwd</SRS>", "/etc/passwd"),
            ("<SRS>http://host.invalid/a</SRS>", "host.invalid"),
            ("<Array/>", "Array"),
        ] {
            let wording = check(&PLAIN.replace(source, what), &VIRTUAL).unwrap_err();
            assert!(wording.contains(word), "{what}: {wording}");
        }
        assert!(check("<!DOCTYPE a [<!ENTITY b \"c\">]><VRTDataset/>", &VIRTUAL).is_err());
        assert!(check("<GDAL_WMS/>", &AUXILIARY).is_err());
        assert_eq!(check(" \n", &AUXILIARY), Ok(()));
    }
}
