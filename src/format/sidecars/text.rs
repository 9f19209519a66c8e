//! Sidecars of plain lines: world files, tables of `.tab`, headers of `.ers`, and the head of a layer in markup.

/// Words that the lines of a plain table begin with; others lead to further tables, views or servers.
const TABLE_WORDS: [&str; 22] = [
    "!table",
    "!version",
    "!charset",
    "definition",
    "type",
    "fields",
    "file",
    "description",
    "coordsys",
    "units",
    "readonly",
    "begin_metadata",
    "end_metadata",
    "rasterstyle",
    "bounds",
    "label",
    "image",
    "max",
    "min",
    "index",
    "createdate",
    "versiondate",
];

/// Words of a raw file's header, before `=` or as the name of a block.
const HEADER_WORDS: [&str; 52] = [
    "datasetheader",
    "version",
    "name",
    "description",
    "sourcedataset",
    "lastupdated",
    "sensorname",
    "sensorsubtype",
    "sensedate",
    "datafile",
    "datasettype",
    "datatype",
    "byteorder",
    "headeroffset",
    "comments",
    "coordinatespace",
    "datum",
    "projection",
    "coordinatetype",
    "units",
    "rotation",
    "rasterinfo",
    "celltype",
    "nullcellvalue",
    "cellinfo",
    "xdimension",
    "ydimension",
    "xrotation",
    "yrotation",
    "nroflines",
    "nrofcellsperline",
    "registrationcoord",
    "registrationcellx",
    "registrationcelly",
    "eastings",
    "northings",
    "latitude",
    "longitude",
    "metersx",
    "metersy",
    "rawx",
    "rawy",
    "nrofbands",
    "bandid",
    "value",
    "width",
    "minimumvalue",
    "maximumvalue",
    "subregion",
    "ignorevalue",
    "regioninfo",
    "regionname",
];

fn is_bare(name: &str) -> bool {
    !name.is_empty() && !name.contains(['/', '\\', ':', '<', '?', '*']) && !name.starts_with("..")
}

fn shortened(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(40).collect()
}

/// Refuses a world file that does not hold six numbers and nothing else; an empty one is none.
pub(super) fn world(text: &str) -> Result<(), String> {
    let numbers = text
        .split_whitespace()
        .map(|word| {
            word.replacen(',', ".", 1)
                .parse::<f64>()
                .ok()
                .filter(|number| number.is_finite())
                .ok_or_else(|| format!("{:?} is no number", shortened(word)))
        })
        .collect::<Result<Vec<f64>, String>>()?;
    match numbers.len() {
        0 | 6 => Ok(()),
        other => Err(format!(
            "a world file holds 6 numbers, this one {other} numbers"
        )),
    }
}

/// Refuses a table that leads to others.
pub(super) fn table(text: &str) -> Result<(), String> {
    let (mut in_remarks, mut in_fields) = (false, 0_u32);
    for line in text.lines() {
        let line = line.trim();
        let lower = line.to_ascii_lowercase();
        let mut words = lower.split_whitespace();
        let first = words.next().unwrap_or_default();
        let refused = || Err(format!("{:?} is not read in a table", shortened(&lower)));
        if in_remarks {
            // A table in pieces names the others in its own remarks.
            if lower.contains("seamless") && lower.contains("true") {
                return refused();
            }
            in_remarks = first != "end_metadata";
            continue;
        }
        if in_fields > 0 && line.ends_with(';') {
            in_fields -= 1;
            continue;
        }
        match first {
            "" => {}
            "begin_metadata" => in_remarks = true,
            "fields" => in_fields = words.next().and_then(|n| n.parse().ok()).unwrap_or(0),
            "file" => {
                let name = line[4..].trim().trim_matches('"');
                if !is_bare(name) {
                    return refused();
                }
            }
            "type" => {
                let kind = words.next().unwrap_or_default().trim_matches('"');
                if !["native", "raster", "dbf", "shapefile"].contains(&kind) {
                    return refused();
                }
            }
            // Points that tie a picture to the ground.
            _ if first.starts_with('(') => {}
            _ if TABLE_WORDS.contains(&first) => {}
            _ => return refused(),
        }
    }
    Ok(())
}

/// Refuses a header of raw numbers that leads to another file than the one beside it.
pub(super) fn header(text: &str) -> Result<(), String> {
    for line in text.lines() {
        let line = line.trim();
        let (key, value) = match line.split_once('=') {
            Some((key, value)) => (key.trim(), value.trim().trim_matches('"')),
            None => (line.split_whitespace().next().unwrap_or_default(), ""),
        };
        let lower = key.to_ascii_lowercase();
        let refused = || Err(format!("{:?} is not read in a header", shortened(line)));
        match lower.as_str() {
            "" => {}
            // Numbers of a list.
            _ if lower.starts_with(|c: char| c.is_ascii_digit() || "-{}\"".contains(c)) => {}
            "datafile" if !is_bare(value) => return refused(),
            // Any other kind names a raster that any driver may open.
            "datasettype" if !value.eq_ignore_ascii_case("ERStorage") => return refused(),
            known if HEADER_WORDS.contains(&known) => {}
            _ => return refused(),
        }
    }
    Ok(())
}

/// Datums of headers: name, code of longitude and latitude, beginnings of the zones' projections with the code that the zone's number is added to, and the zones.
type Datum = (
    &'static str,
    u32,
    &'static [(&'static str, u32)],
    std::ops::RangeInclusive<u32>,
);
const DATUMS: [Datum; 5] = [
    ("WGS84", 4326, &[("NUTM", 32600), ("SUTM", 32700)], 1..=60),
    (
        "WGS72DOD",
        4322,
        &[("NUTM", 32200), ("SUTM", 32300)],
        1..=60,
    ),
    ("NAD83", 4269, &[("NUTM", 26900)], 1..=23),
    ("NAD27", 4267, &[("NUTM", 26700)], 1..=22),
    ("GDA94", 4283, &[("MGA", 28300)], 48..=58),
];

/// EPSG code of the system that a header names by words. GDAL writes them, but not every build of it has the table to read them by.
pub(super) fn system_of_header(text: &str) -> Option<u32> {
    let value = |wanted: &str| {
        text.lines().find_map(|line| {
            let (key, value) = line.split_once('=')?;
            key.trim()
                .eq_ignore_ascii_case(wanted)
                .then(|| value.trim().trim_matches('"').to_ascii_uppercase())
        })
    };
    let (datum, projection) = (value("datum")?, value("projection")?);
    let (_, degrees, beginnings, zones) = DATUMS.into_iter().find(|known| known.0 == datum)?;
    if projection == "GEODETIC" {
        return Some(degrees);
    }
    beginnings.iter().find_map(|(beginning, base)| {
        let zone: u32 = projection.strip_prefix(beginning)?.parse().ok()?;
        zones.contains(&zone).then_some(base + zone)
    })
}

/// Refuses a layer in markup whose schema lies in a file elsewhere: an address is not followed, a bare name lies beside it.
pub(super) fn layer_of_markup(head: &str) -> Result<(), String> {
    let lower = head.to_ascii_lowercase();
    for (at, word) in lower.match_indices("schemalocation") {
        let rest = lower[at + word.len()..].trim_start();
        let Some(rest) = rest.strip_prefix('=').map(str::trim_start) else {
            continue;
        };
        let Some(quote) = rest.chars().next().filter(|c| "\"'".contains(*c)) else {
            continue;
        };
        let value = rest[1..].split(quote).next().unwrap_or_default();
        for place in value.split_whitespace() {
            let is_address = ["http://", "https://", "urn:"]
                .iter()
                .any(|start| place.starts_with(start));
            // An entity may stand for any letter.
            if !is_address && !is_bare(place) || place.contains('&') {
                return Err(format!("its schema {:?} is not read", shortened(place)));
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_that_lead_elsewhere() {
        let native = "!table\n!version 300\n!charset WindowsLatin1\n\nDefinition Table\n  Type NATIVE Charset \"WindowsLatin1\"\n  Fields 2\n    id Integer ;\n    open Char (20) ;\n";
        assert_eq!(table(native), Ok(()));
        let picture = "!table\n!version 300\nDefinition Table\n  File \"a.tif\"\n  Type \"RASTER\"\n  (500000,5400000) (0,0) Label \"Pt 1\",\n  CoordSys Earth Projection 8, 104, \"m\", 15, 0, 0.9996, 500000, 0\n  Units \"m\"\n";
        assert_eq!(table(picture), Ok(()));
        for bad in [
            native.replace("NATIVE", "LINKED"),
            native.replace(
                "Definition Table",
                "Open Table \"x\" Hide\nCreate View v As",
            ),
            picture.replace("a.tif", "../a.tif"),
            picture.replace("a.tif", "http://host.invalid/a"),
            native.to_owned() + "begin_metadata\n\"\\IsSeamless\" = \"TRUE\"\nend_metadata\n",
        ] {
            assert!(table(&bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn headers_that_lead_elsewhere() {
        let plain = "DatasetHeader Begin\n\tVersion = \"6.0\"\n\tDataSetType = ERStorage\n\tDataType = Raster\n\tByteOrder = LSBFirst\n\tCoordinateSpace Begin\n\t\tDatum = \"WGS84\"\n\tCoordinateSpace End\n\tRasterInfo Begin\n\t\tCellType = IEEE4ByteReal\n\tRasterInfo End\nDatasetHeader End\n";
        assert_eq!(header(plain), Ok(()));
        for bad in [
            plain.replace("ERStorage", "Translated"),
            plain.replace("\tByteOrder", "\tDataFile = \"/etc/passwd\"\n\tByteOrder"),
            plain.replace("\tByteOrder", "\tRPC_FILE = \"a\"\n\tByteOrder"),
        ] {
            assert!(header(&bad).is_err(), "{bad}");
        }
    }

    /// Codes by `gdal_translate` 3.6.2, which was given them by `-a_srs EPSG:n` and wrote these words.
    #[test]
    fn systems_by_the_words_of_a_header() {
        let of = |datum: &str, projection: &str| {
            system_of_header(&format!(
                "DatasetHeader Begin\n\tCoordinateSpace Begin\n\t\tDatum\t= \"{datum}\"\n\t\tProjection\t= \"{projection}\"\n\tCoordinateSpace End\nDatasetHeader End\n"
            ))
        };
        for (datum, projection, code) in [
            ("WGS84", "NUTM33", 32633),
            ("WGS84", "SUTM33", 32733),
            ("WGS72DOD", "NUTM14", 32214),
            ("NAD83", "NUTM14", 26914),
            ("NAD27", "NUTM14", 26714),
            ("GDA94", "MGA55", 28355),
            ("WGS84", "GEODETIC", 4326),
            ("NAD83", "GEODETIC", 4269),
            ("NAD27", "GEODETIC", 4267),
            ("GDA94", "GEODETIC", 4283),
        ] {
            assert_eq!(of(datum, projection), Some(code), "{datum} {projection}");
        }
        for (datum, projection) in [
            ("WGS84", "NUTM61"),
            ("WGS84", "NUTM"),
            ("WGS84", "MGA55"),
            ("NAD83", "SUTM14"),
            ("GDA94", "MGA14"),
            ("RAW", "RAW"),
            ("EPSG:25832", "EPSG:25832"),
        ] {
            assert_eq!(of(datum, projection), None, "{datum} {projection}");
        }
        assert_eq!(system_of_header("DatasetHeader Begin\n"), None);
    }

    #[test]
    fn schemas_of_a_layer_elsewhere() {
        let of = |place: &str| {
            layer_of_markup(&format!(
                "<a xsi:schemaLocation='http://host.invalid/x {place}'>"
            ))
        };
        for good in ["a.xsd", "http://host.invalid/a.xsd"] {
            assert_eq!(of(good), Ok(()), "{good}");
        }
        for bad in [
            "/etc/a.xsd",
            "../a.xsd",
            "file:///etc/a.xsd",
            "&#47;etc/a.xsd",
            "/vsicurl/http://host.invalid/a",
        ] {
            assert!(of(bad).is_err(), "{bad}");
        }
    }
}
