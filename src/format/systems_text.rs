//! Texts that name a reference system: a code, WKT, PROJJSON or a PROJ string. Never an address or a file, and none that makes PROJ read one.

use gdal::errors::GdalError;
use gdal::spatial_ref::SpatialRef;

use crate::format::library;

/// Authorities whose codes are looked up in PROJ's own database.
const AUTHORITIES: [&str; 5] = ["EPSG", "ESRI", "IGNF", "OGC", "IAU_2015"];

/// Names that everybody writes.
const NAMES: [&str; 6] = ["WGS84", "WGS72", "NAD83", "NAD27", "CRS84", "ETRS89"];

/// How the text of a system in WKT begins.
const WKT_WORDS: [&str; 18] = [
    "GEOGCS",
    "PROJCS",
    "COMPD_CS",
    "GEOCCS",
    "VERT_CS",
    "LOCAL_CS",
    "GEOGCRS",
    "GEODCRS",
    "PROJCRS",
    "COMPOUNDCRS",
    "BOUNDCRS",
    "GEOGRAPHICCRS",
    "GEODETICCRS",
    "PROJECTEDCRS",
    "ENGCRS",
    "ENGINEERINGCRS",
    "VERTCRS",
    "DERIVEDPROJCRS",
];

/// Beginnings of an address that is but a code: (beginning, what stands between authority and code).
const CODES_AS_ADDRESS: [&str; 8] = [
    "urn:ogc:def:crs:",
    "urn:x-ogc:def:crs:",
    "urn:opengis:crs:",
    "urn:opengis:def:crs:",
    "http://www.opengis.net/def/crs/",
    "https://www.opengis.net/def/crs/",
    "http://opengis.net/def/crs/",
    "https://opengis.net/def/crs/",
];

/// The older address of a code.
const OLD_ADDRESS: &str = "http://www.opengis.net/gml/srs/epsg.xml#";

/// Why no system comes of a text.
pub(super) const NO_TEXT: &str = "it is no code such as EPSG:32633, no WKT and no PROJJSON; addresses and files are not looked at";

/// Why a system that needs a file is refused.
pub(super) const NEEDS_FILE: &str = "it names a file of shifts, and files are not looked at";

fn begins(text: &str, beginning: &str) -> bool {
    text.get(..beginning.len())
        .is_some_and(|start| start.eq_ignore_ascii_case(beginning))
}

/// A code as `AUTHORITY:CODE`, if the text is one in any of its usual forms.
fn code(text: &str) -> Option<String> {
    let plain = |authority: &str, code: &str| {
        let authority = authority.trim().to_ascii_uppercase();
        let fits = AUTHORITIES.contains(&authority.as_str())
            && !code.is_empty()
            && code.len() <= 24
            && code
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '+');
        fits.then(|| format!("{authority}:{code}"))
    };
    if begins(text, OLD_ADDRESS) {
        return plain("EPSG", &text[OLD_ADDRESS.len()..]);
    }
    for beginning in CODES_AS_ADDRESS {
        if begins(text, beginning) {
            let rest = &text[beginning.len()..];
            let parts: Vec<&str> = rest.split([':', '/']).collect();
            // Authority, version (which may be empty or left out), code.
            return match parts.as_slice() {
                [authority, code] | [authority, _, code] => plain(authority, code),
                _ => None,
            };
        }
    }
    let (authority, number) = text.split_once(':')?;
    plain(authority, number.trim_start_matches(':'))
}

/// Whether a definition makes PROJ read a file: a grid of shifts, or a list of definitions.
pub(super) fn needs_file(text: &str) -> bool {
    let lower: String = text
        .to_ascii_lowercase()
        .chars()
        .filter(|c| !c.is_whitespace())
        .collect();
    let named = |key: &str| {
        lower.match_indices(key).any(|(at, _)| {
            let value = &lower[at + key.len()..];
            let end = value
                .find(|c: char| !(c.is_ascii_alphanumeric() || c == '@' || c == ',' || c == '_'))
                .unwrap_or(value.len());
            // The one shift that needs no file.
            !["@null", "null"].contains(&value[..end].trim_start_matches('='))
        })
    };
    named("nadgrids=")
        || [
            "geoidgrids",
            "+init",
            "proj4_grids",
            "parameterfile",
            "differencefile",
            "+file",
            "+catalog",
            "xy_grids",
            "z_grids",
            "+grids",
        ]
        .iter()
        .any(|key| lower.contains(key))
}

/// GDAL's system of a text.
pub(super) fn system(text: &str) -> Result<SpatialRef, String> {
    library::ready();
    let text = text.trim_start_matches('\u{feff}').trim();
    let wording = |error: GdalError| error.to_string();
    if needs_file(text) {
        return Err(NEEDS_FILE.to_owned());
    }
    if let Some(code) = code(text) {
        return SpatialRef::from_definition(&code).map_err(wording);
    }
    let name = text.to_ascii_uppercase();
    if NAMES.contains(&name.as_str()) {
        let of_name = match name.as_str() {
            "CRS84" => "OGC:CRS84",
            "ETRS89" => "EPSG:4258",
            other => other,
        };
        return SpatialRef::from_definition(of_name).map_err(wording);
    }
    let word: String = text
        .chars()
        .take_while(|c| c.is_ascii_alphabetic() || *c == '_')
        .collect();
    let opens = text[word.len()..].trim_start().starts_with(['[', '(']);
    if opens && WKT_WORDS.contains(&word.to_ascii_uppercase().as_str()) {
        return SpatialRef::from_wkt(text).map_err(wording);
    }
    if text.starts_with("+proj=") {
        return SpatialRef::from_proj4(text).map_err(wording);
    }
    if text.starts_with('{') && serde_json::from_str::<serde::de::IgnoredAny>(text).is_ok() {
        return SpatialRef::from_definition(text).map_err(wording);
    }
    Err(NO_TEXT.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_in_every_form() {
        for text in [
            "EPSG:32633",
            "epsg:32633",
            "EPSG::32633",
            "urn:ogc:def:crs:EPSG::32633",
            "urn:ogc:def:crs:EPSG:9.9:32633",
            "URN:OGC:DEF:CRS:EPSG::32633",
            "http://www.opengis.net/def/crs/EPSG/0/32633",
            "https://www.opengis.net/def/crs/EPSG/0/32633",
            "http://www.opengis.net/gml/srs/epsg.xml#32633",
        ] {
            assert_eq!(code(text).as_deref(), Some("EPSG:32633"), "{text}");
            assert_eq!(system(text).unwrap().auth_code().unwrap(), 32_633, "{text}");
        }
        assert!(
            system("urn:ogc:def:crs:OGC:1.3:CRS84")
                .unwrap()
                .is_geographic()
        );
        let known = SpatialRef::from_epsg(32_633).unwrap();
        for text in [
            known.to_wkt().unwrap(),
            known.to_projjson().unwrap(),
            known.to_proj4().unwrap(),
        ] {
            assert!(system(&text).unwrap().is_projected(), "{text}");
        }
    }

    #[test]
    fn no_address_no_file_no_driver() {
        for text in [
            "http://host.invalid/a.wkt",
            "https://host.invalid/EPSG:32633",
            "http://www.opengis.net.host.invalid/def/crs/EPSG/0/32633",
            "/vsicurl/http://host.invalid/a.wkt",
            "Cargo.toml",
            "ESRI::Cargo.toml",
            "EPSG:../Cargo.toml",
            "IGNF:a/b",
            "+init=epsg:32633",
            "+proj=utm +zone=33 +init=other:1",
            "+proj=utm +zone=33 +nadgrids=a.gsb",
            "+proj=utm +zone=33 +nadgrids=@null,a.gsb",
            "+proj=utm +zone=33 +nadgrids=http://host.invalid/a.gsb",
            "{\"type\":\"ProjectedCRS\"",
            "",
        ] {
            assert!(system(text).is_err(), "{text}");
        }
        assert!(system("+proj=merc +a=6378137 +b=6378137 +nadgrids=@null").is_ok());
    }
}
