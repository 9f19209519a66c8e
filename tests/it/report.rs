//! Report, card and walk from outside: the numbers of the record, the fields that are odd, the words that must not become code.

use serde_json::Value;

use crate::field::{CORNER, Field, Image, carry, rectangle, way};

const PRICES: &str = "[prices]\ncurrency = \"EUR\"\ngrain = \"210 EUR/t\"\nnitrogen = \"1.15 EUR/kg N\"\napplication = \"8 EUR/ha\"\n\n[output]";

fn text(field: &Field, name: &str) -> String {
    fs_err::read_to_string(field.path("out").join(name)).unwrap()
}

/// What stands between tags, one space between words.
fn words(html: &str) -> String {
    let body = html.split_once("<body>").unwrap().1;
    let mut out = String::new();
    let mut inside = false;
    for c in body.chars() {
        match c {
            '<' => inside = true,
            '>' => {
                inside = false;
                out.push(' ');
            }
            c if !inside => out.push(c),
            _ => {}
        }
    }
    let out = out
        .replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&amp;", "&");
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn number(record: &Value, path: &str) -> f64 {
    path.split('.')
        .fold(record, |value, key| &value[key])
        .as_f64()
        .unwrap_or_else(|| panic!("{path} is no number"))
}

fn priced() -> Field {
    let field = Field::new();
    field.polygons("pond.geojson", &[rectangle([150.0, 100.0, 170.0, 130.0])]);
    field.job("[imagery]", "[[field.exclude]]\npath = \"pond.geojson\"\nbuffer = \"5 m\"\nreason = \"pond\"\n\n[imagery]");
    field.job("[output]", PRICES);
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    field
}

#[test]
fn the_reports_numbers_are_the_records() {
    let field = priced();
    let record = field.record();
    let report = words(&text(&field, "office/report.html"));
    let mut due = vec![
        record["map_id"].as_str().unwrap().to_owned(),
        format!("{:.3}", number(&record, "reference.ratio")),
        format!(
            "95 % limits {:.3} to {:.3}",
            number(&record, "reference.ratio_low"),
            number(&record, "reference.ratio_high")
        ),
        format!("{:.1} kg N", number(&record, "totals.n_kg")),
        format!("{:.1} L", number(&record, "totals.product")),
        format!("{:.1} kg N/ha", number(&record, "totals.mean_n_kg_ha")),
        format!("{:.2} ha", number(&record, "field.area_m2") / 10_000.0),
        format!(
            "no image {:.1} %",
            100.0 * number(&record, "totals.unseen_share")
        ),
        format!(
            "bare soil {:.1} %",
            100.0 * number(&record, "totals.bare_share")
        ),
        format!(
            "poor stand {:.1} %",
            100.0 * number(&record, "totals.thin_share")
        ),
        format!("{:+.0} EUR", number(&record, "money.gain_over_none")),
        format!("{:+.0} EUR", number(&record, "money.gain_over_flat")),
        format!("{:.0} EUR", number(&record, "money.map.cost")),
        format!(
            "{:.3} of the field's mean index {:.3}",
            number(&record, "reference.place"),
            number(&record, "image.mean_index")
        ),
    ];
    let drawn = |key: &str| number(&record, &format!("uncertainty.drawn.{key}"));
    due.push(format!(
        "{:.1} – {:.1} kg N",
        drawn("n_kg_p10"),
        drawn("n_kg_p90")
    ));
    due.push(format!("median {:.1} kg N", drawn("n_kg_p50")));
    let bounds = &record["uncertainty"]["n_kg_by_ratio_bounds"];
    due.push(format!(
        "{:.1} – {:.1} kg N",
        bounds[0].as_f64().unwrap(),
        bounds[1].as_f64().unwrap()
    ));
    for input in record["inputs"].as_array().unwrap() {
        due.push(input["sha256"].as_str().unwrap().to_owned());
        due.push(input["path"].as_str().unwrap().to_owned());
    }
    for strip in record["reference"]["strips"].as_array().unwrap() {
        due.push(format!(
            "{:.4} {:.4}",
            strip["index"].as_f64().unwrap(),
            strip["beside"].as_f64().unwrap()
        ));
    }
    for finding in record["findings"].as_array().unwrap() {
        due.push(finding["code"].as_str().unwrap().to_owned());
        let message = finding["message"].as_str().unwrap();
        let rest: String = message.chars().skip(1).collect();
        due.push(rest.split_whitespace().collect::<Vec<_>>().join(" "));
    }
    for what in due {
        assert!(
            report.contains(&what),
            "{what:?} does not stand in the report:\n{report}"
        );
    }
    assert!(
        !report.to_lowercase().contains("compliant"),
        "no promise that a rule is met"
    );
}

#[test]
fn every_zone_of_the_record_stands_in_the_report() {
    let field = priced();
    field.job("[output]", "[report]\nappendix = true\n\n[output]");
    assert_eq!(field.run(&["map"]).status, Some(0));
    let zones: Value = serde_json::from_str(&text(&field, "office/prescription.geojson")).unwrap();
    let report = words(&text(&field, "office/report.html"));
    let zones = zones["features"].as_array().unwrap();
    assert!(zones.len() > 2);
    for zone in zones {
        let p = &zone["properties"];
        let (number, area) = (
            p["zone"].as_u64().unwrap(),
            p["area_m2"].as_f64().unwrap() / 10_000.0,
        );
        assert!(
            report.contains(&format!("{number} {area:.2} ")),
            "zone {number}, {area:.2} ha:\n{report}"
        );
    }
}

#[test]
fn the_pdf_is_tagged_and_has_a_date_of_the_image() {
    let field = priced();
    let bytes = fs_err::read(field.path("out/office/report.pdf")).unwrap();
    let holds = |what: &str| {
        bytes
            .windows(what.len())
            .any(|window| window == what.as_bytes())
    };
    assert!(
        bytes.starts_with(b"%PDF-1.") && bytes.len() < 2_000_000,
        "{} bytes",
        bytes.len()
    );
    for what in [
        "/StructTreeRoot",
        "/MarkInfo",
        "pdfuaid:part",
        "/Lang",
        "/Outlines",
        "FontFile",
        "2026-04-14T00:00:00",
    ] {
        assert!(holds(what), "{what} does not stand in the PDF");
    }
}

#[test]
fn nothing_comes_from_elsewhere() {
    let field = priced();
    for name in ["office/report.html", "machine/CARD.html"] {
        let html = text(&field, name);
        for word in [
            "http://",
            "https://",
            "//cdn",
            "@import",
            "<script",
            "<link",
            "<iframe",
            "javascript:",
        ] {
            // The names of the SVG vocabulary are names, not places to fetch from.
            let rest = html
                .replace("http://www.w3.org/2000/svg", "")
                .replace("http://www.w3.org/1999/xlink", "");
            assert!(!rest.contains(word), "{name} holds {word}");
        }
        assert!(
            html.contains("default-src 'none'"),
            "{name} lets nothing be fetched"
        );
    }
}

#[test]
fn names_never_become_code() {
    let hostile = [
        "<script>alert(1)</script>",
        "\\\"><img src=x onerror=alert(1)>",
        "</title></svg><script>alert(1)</script>",
        "'; alert(1); //",
        "{{ 7 * 7 }} ${7*7} #{7*7}",
        "javascript:alert(1)",
        "a\\u202Eb\\u2066c",
        "=1+1 @SUM(A1) -2 +3",
        "&lt;b&gt; &amp;amp; ]]>",
        "田\\u0001\\u001B[31m",
    ];
    for name in hostile {
        let field = Field::new();
        field.job("name = \"Middle Piece\"", &format!("name = \"{name}\""));
        let wording = field.run(&["map"]);
        if wording.status != Some(0) {
            // A name may be refused; then nothing is written.
            assert_eq!(wording.status, Some(1), "{name}: {}", wording.err);
            continue;
        }
        let outputs = field.outputs();
        for file in [
            "office/report.html",
            "machine/CARD.html",
            "office/scouting.gpx",
        ] {
            let bytes = String::from_utf8(outputs[file].clone()).unwrap();
            for code in [
                "<script",
                "<img",
                "onerror=alert(1)>",
                "\u{202e}",
                "\u{2066}",
                "\u{1b}",
                "\u{1}",
                "</svg><script",
            ] {
                assert!(!bytes.contains(code), "{file} of {name:?} holds {code:?}");
            }
        }
        assert!(outputs["office/report.pdf"].starts_with(b"%PDF-"), "{name}");
    }
}

#[test]
fn a_stopped_map_has_a_report_alone() {
    let field = Field::new();
    field.image(&Image {
        strip: 0.54,
        ..Image::default()
    });
    assert_eq!(field.run(&["map"]).status, Some(1));
    let outputs: Vec<String> = field.outputs().into_keys().collect();
    assert_eq!(
        outputs,
        [
            "office/record.json",
            "office/report.html",
            "office/report.pdf"
        ]
    );
    let report = words(&text(&field, "office/report.html"));
    assert!(
        report.contains("NOT FOR USE")
            && report.contains("Do not apply by this map")
            && report.contains("wholly below 1"),
        "{report}"
    );
    assert!(
        !report.contains("Planned total") && !report.contains("Apply 0"),
        "{report}"
    );
}

#[test]
fn an_accepted_stop_stands_on_page_one() {
    let field = Field::new();
    field.image(&Image {
        strip: 0.54,
        ..Image::default()
    });
    field.job("[output]", "[[accept]]\ncode = \"reference.below\"\nfigure = \"0.86\"\nreason = \"strip was grazed by geese\"\nby = \"A. Adviser\"\n\n[output]");
    assert_eq!(field.run(&["map"]).status, Some(0));
    for name in ["machine/CARD.html", "machine/CARD.txt"] {
        let card = text(&field, name);
        let body = card.split("<body>").last().unwrap();
        assert!(
            !body.contains("reference.below"),
            "{name} shows a code: {card}"
        );
        // Accepted stops come before what is loaded.
        let (stop, load) = (
            body.find("ccepted").unwrap(),
            body.find("LONG_LEY")
                .or_else(|| body.find("MIDDLE"))
                .unwrap(),
        );
        assert!(stop < load, "{name}: {card}");
    }
    for name in ["office/report.html", "machine/CARD.html"] {
        let html = text(&field, name);
        let first = words(html.split("<section id=\"evidence\"").next().unwrap());
        assert!(
            first.contains("Stop, accepted:")
                && first.contains("Accepted by A. Adviser: strip was grazed by geese."),
            "{name}: {first}"
        );
    }
}

#[test]
fn odd_fields_have_sensible_reports() {
    let made = |change: &dyn Fn(&Field)| {
        let field = Field::new();
        change(&field);
        let wording = field.run(&["map"]);
        assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
        assert!(
            fs_err::metadata(field.path("out/office/report.pdf"))
                .unwrap()
                .len()
                < 2_000_000
        );
        let zones = field.record()["totals"]["zones"].as_u64().unwrap();
        (words(&text(&field, "office/report.html")), zones)
    };
    // One zone: every rate the same.
    let (report, zones) = made(&|field| {
        field.job(
            "maximum = \"150 kg N/ha\"",
            "minimum = \"40 kg N/ha\"\nmaximum = \"40 kg N/ha\"\nthin = \"40 kg N/ha\"\nbare = \"40 kg N/ha\"\nunseen = \"40 kg N/ha\"",
        );
        field.job("[output]", "[zones]\nminimum_area = \"10 ha\"\n\n[output]");
    });
    assert!(
        zones <= 2 && report.contains("everywhere on 6.91 ha"),
        "{zones} zones: {report}"
    );
    // Hundreds of zones: the page shows rates, the appendix every zone where the job asks for it.
    let (report, zones) = made(&|field| {
        field.job("working_width = \"24 m\"", "working_width = \"6 m\"");
        field.job("step = \"5 kg N/ha\"", "step = \"1 kg N/ha\"");
        field.job(
            "[output]",
            "[zones]\nminimum_area = \"0 m2\"\n\n[report]\nappendix = true\n\n[output]",
        );
    });
    assert!(
        zones >= 200
            && report.contains(&format!(
                "{zones} zones, by rate. The appendix lists each one."
            ))
            && report.contains("All zones"),
        "{zones} zones"
    );
    // No response.
    let (report, _) = made(&|field| {
        field.image(&Image {
            strip: 0.6263,
            ..Image::default()
        });
    });
    assert!(report.contains("response.none"), "{report}");
    // No strip on the image: hand readings.
    let (report, _) = made(&|field| {
        field.job(
            "strips = \"strips.geojson\"",
            "readings = [{ strip = 0.74, beside = 0.62 }]",
        );
    });
    assert!(
        report.contains("The reference comes from readings, not from strips on the image."),
        "{report}"
    );
}

#[test]
fn the_walk_stays_in_the_field() {
    let field = priced();
    let gpx = text(&field, "office/scouting.gpx");
    let back = way("EPSG:4326", "EPSG:32633");
    let attribute = |line: &str, name: &str| {
        line.split(&format!("{name}=\""))
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap()
            .parse::<f64>()
            .unwrap()
    };
    let points: Vec<(f64, f64)> = gpx
        .lines()
        .filter(|line| line.contains("<wpt "))
        .map(|line| carry(&back, attribute(line, "lon"), attribute(line, "lat")))
        .collect();
    assert!(points.len() >= 8, "{gpx}");
    for (x, y) in points {
        assert!(
            (0.0..=240.0).contains(&(x - CORNER.0)) && (0.0..=288.0).contains(&(y - CORNER.1)),
            "{x} {y}"
        );
    }
    for what in [
        "Strip 1 end 1",
        "Strip 1 end 2",
        "Palest",
        "Poor stand",
        "No image",
        "Bare soil",
        "Left out 1 corner 4",
    ] {
        assert!(gpx.contains(what), "{what}: {gpx}");
    }
}

#[test]
fn us_units_all_through() {
    let field = Field::new();
    field.job(
        "maximum_yield = \"7 t/ha\"",
        "maximum_yield = \"104 bu/ac\"",
    );
    field.job(
        "maximum = \"150 kg N/ha\"\nstep = \"5 kg N/ha\"",
        "maximum = \"130 lb N/ac\"\nstep = \"5 lb N/ac\"",
    );
    field.job("[output]\n", "[output]\nunit = \"gal/ac\"\n");
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let html = text(&field, "office/report.html");
    // Formulas on page five have their own units.
    let first = words(html.split("<section id=\"made\"").next().unwrap());
    for what in ["gal/ac", "lb N/ac", " ac", "bu/ac", " ft"] {
        assert!(first.contains(what), "{what}");
    }
    assert!(html.contains("size: letter"), "Letter paper");
    for finding in field.record()["findings"].as_array().unwrap() {
        let message = finding["message"].as_str().unwrap();
        assert!(
            !message.contains(" kg N") || message.contains("lb N"),
            "{message}"
        );
    }
}

#[test]
fn card_and_task_data_name_client_farm_and_files() {
    let field = Field::new();
    field.job(
        "[output]",
        "[record]\nclient = \"Ä. Grower\"\nfarm = \"Home farm\"\n\n[output]",
    );
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let record = field.record();
    let map = record["map_id"].as_str().unwrap();
    assert_eq!(record["settings"]["record"]["farm"], "Home farm");
    let task = text(&field, "machine/TASKDATA/TASKDATA.XML");
    for part in [
        "<CTR A=\"CTR1\" B=\"Ae. Grower\"/>".to_owned(),
        "<FRM A=\"FRM1\" B=\"Home farm\" I=\"CTR1\"/>".to_owned(),
        format!("B=\"Middle Piece {map}\" C=\"CTR1\" D=\"FRM1\""),
    ] {
        assert!(task.contains(&part), "{part}: {task}");
    }
    let shapefile = field
        .outputs()
        .into_keys()
        .find_map(|path| {
            Some(
                path.strip_prefix("machine/")?
                    .strip_suffix(".shp")?
                    .to_owned(),
            )
        })
        .unwrap();
    let card = text(&field, "machine/CARD.txt");
    let html = words(&text(&field, "machine/CARD.html"));
    for part in [
        shapefile,
        format!("Middle Piece {map}"),
        "Home farm".to_owned(),
        "with run-out".to_owned(),
        "urns leaves".to_owned(),
    ] {
        assert!(card.contains(&part), "{part}: {card}");
        assert!(html.contains(&part), "{part}: {html}");
    }
    assert!(card.contains("Grower            Ae. Grower") && html.contains("Grower Ä. Grower"));
    let report = words(&text(&field, "office/report.html"));
    assert!(
        report.contains("grower Ä. Grower, farm Home farm"),
        "{report}"
    );
}

/// Keys of the job and codes of findings are the office's business: the driver reads neither.
#[test]
fn cards_hold_no_keys_and_no_codes() {
    let made = |change: &dyn Fn(&Field)| {
        let field = Field::new();
        change(&field);
        assert_eq!(field.run(&["map"]).status, Some(0));
        let codes: Vec<String> = field.record()["findings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|finding| finding["code"].as_str().unwrap().to_owned())
            .collect();
        for name in ["machine/CARD.txt", "machine/CARD.html"] {
            let card = text(&field, name);
            let card = if name.ends_with("html") {
                words(&card)
            } else {
                card
            };
            for table in haulm::job::keys::TABLES
                .iter()
                .filter(|table| !table.name.is_empty())
            {
                for key in table.keys {
                    let full = format!("{}.{}", table.name, key.name);
                    assert!(!card.contains(&full), "{name} names {full}: {card}");
                }
            }
            for code in &codes {
                assert!(!card.contains(code.as_str()), "{name} shows {code}: {card}");
            }
        }
        codes
    };
    let codes = made(&|field| {
        field.job("[output]", "[output]\ntask_data = { kind = \"polygons\" }");
    });
    assert!(
        codes.iter().any(|code| code.starts_with("machine.")),
        "{codes:?}"
    );
}

#[test]
fn a_large_image_shows_surroundings_by_its_reduced_copies() {
    let field = Field::new();
    let pixel = 0.15;
    let (cols, rows) = (1920, 2240);
    field.image(&Image {
        size: (cols, rows),
        transform: Some([CORNER.0 - 24.0, pixel, 0.0, CORNER.1 + 312.0, 0.0, -pixel]),
        ..Image::default()
    });
    let around = |field: &Field| {
        assert_eq!(field.run(&["map"]).status, Some(0));
        words(&text(field, "office/report.html")).contains("surroundings, image")
    };
    assert!(!around(&field), "4.3 million pixels would be decoded again");
    let done = std::process::Command::new("gdaladdo")
        .args(["-q", "-r", "nearest"])
        .arg(field.path("image.tif"))
        .args(["2", "4"])
        .status()
        .unwrap();
    assert!(done.success());
    assert!(around(&field));
}
