//! The card that travels with the machine files: what to load, what to choose, what the screen must show, what the file does not do.
//!
//! Printable ASCII, at most 72 columns, lines ended by CR LF: any terminal and any printer shows it.

use crate::finding::{Code, Finding, Severity, codes};
use crate::job::keys::table;
use crate::map::ascii::ascii;
use crate::map::check_points::CheckPoint;
use crate::map::file_totals::{FileNames, FileTotal, MachineFile};
use crate::map::machine::MachineRates;
use crate::map::prescription::Prescription;
use crate::units::Area;

/// Columns of the card.
const WIDTH: usize = 72;
/// Code of the finding that names ground to be walked first.
const BESIDE: Code = codes::RATE_BESIDE_EXCLUSION;
/// Where values begin.
const VALUES_AT: usize = 18;

/// What a card is made of.
pub(crate) struct CardFacts<'a> {
    /// The map.
    pub prescription: &'a Prescription,
    /// Rates as the machine gets them.
    pub rates: &'a MachineRates,
    /// Places to compare.
    pub points: &'a [CheckPoint],
    /// What each file puts on the field.
    pub files: &'a [FileTotal],
    /// What the files are called.
    pub names: &'a FileNames,
    /// What was noticed.
    pub findings: &'a [Finding],
    /// Cautions of the table of products for this product; empty for a product of the user's own.
    pub product_cautions: &'a [String],
}

/// The text of `machine/CARD.txt`: stops that an adviser accepted come first, then what to load.
///
/// Of the findings it prints those stops, ground to be walked first, and cautions about the machine, all without keys of the job and without codes.
pub(crate) fn card(facts: &CardFacts<'_>) -> String {
    let mut card = Card::default();
    let prescription = facts.prescription;
    let (label, rates) = (prescription.rate_label(), facts.rates);
    let rate = |value: f64| format!("{value:.2} {label}");

    card.title("RATE MAP CARD");
    card.pair("Field", &prescription.field_name);
    for (name, value) in [
        ("Grower", &prescription.client),
        ("Farm", &prescription.farm),
    ] {
        if let Some(value) = value {
            card.pair(name, value);
        }
    }
    card.pair("Map id", &prescription.map_id);
    card.pair(
        "Crop",
        &format!(
            "{}, image of {}",
            prescription.crop, prescription.image_date
        ),
    );
    card.pair("Product", &product(prescription));

    let accepted: Vec<&Finding> = facts
        .findings
        .iter()
        .filter(|finding| finding.accepted.is_some())
        .collect();
    if !accepted.is_empty() {
        card.title("STOPS THAT WERE ACCEPTED");
        for finding in accepted {
            if let Some(by) = &finding.accepted {
                card.text(
                    "* ",
                    &format!(
                        "Accepted by {} ({}): {}",
                        by.by,
                        by.reason,
                        for_the_driver(finding)
                    ),
                );
            }
        }
    }

    files(&mut card, facts);

    card.title("RATES AND TOTAL");
    let (minimum, mean, maximum) = rates.minimum_mean_maximum(prescription);
    card.pair("Minimum", &rate(minimum));
    card.pair("Mean", &rate(mean));
    card.pair("Maximum", &rate(maximum));
    card.pair("Area", &area(prescription, rates.area));
    card.pair("Total", &total(prescription, rates, mean));
    card.pair("On start", &rate(rates.on_start));
    card.pair("Position lost", &rate(rates.position_lost));
    card.pair("Outside field", &rate(rates.outside));
    if prescription.headings.len() > 1 {
        card.title("DRIVING DIRECTION");
        for (ground, degrees) in &prescription.headings {
            card.text(
                "",
                &format!("{degrees:.1} degrees from true north: {ground}"),
            );
        }
    }

    let walk: Vec<&Finding> = facts
        .findings
        .iter()
        .filter(|finding| finding.code == BESIDE)
        .collect();
    if !walk.is_empty() {
        card.title("WALK FIRST");
        for finding in walk {
            card.text("* ", &sentence(&for_the_driver(finding)));
        }
    }

    card.title("CHECK BEFORE THE FIRST PASS");
    if facts.points.is_empty() {
        card.text("", "No zone is wide enough for a check point. Compare the map on the screen with the report before you start.");
    } else {
        card.text("", "Load the map, look at these points, compare. A screen may round. If one differs, do not apply: wrong map, column, product or unit.");
        card.line(&format!(
            "  {:>12} {:>12}   must show",
            "latitude", "longitude"
        ));
        for (number, point) in (1..).zip(facts.points) {
            card.line(&format!(
                "{number} {:>12.6} {:>12.6}   {}",
                point.latitude,
                point.longitude,
                rate(point.rate)
            ));
        }
        card.text("", "(degrees, WGS 84)");
    }

    card.title("PRECAUTIONS");
    for finding in facts
        .findings
        .iter()
        .filter(|finding| is_of_the_machine(finding))
    {
        card.text("* ", &sentence(&for_the_driver(finding)));
    }
    for caution in product_cautions(prescription, facts.product_cautions) {
        card.text("* ", &caution);
    }
    for caution in standing_cautions(prescription) {
        card.text("* ", &caution);
    }
    card.text
}

/// A caution about the machine, which whoever drives must know.
pub(super) fn is_of_the_machine(finding: &Finding) -> bool {
    finding.severity == Severity::Caution && finding.code.group() == "machine"
}

/// The files, each with its name, its choices on the terminal, and the product that it applies.
fn files(card: &mut Card, facts: &CardFacts<'_>) {
    let prescription = facts.prescription;
    card.title("LOAD ONE OF THESE, NEVER BOTH");
    for total in facts.files {
        if total.file == MachineFile::Shapefile {
            let name = facts.names.shapefile.as_deref().unwrap_or("-");
            card.pair("Shapefile", name);
            card.pair(
                "  column, unit",
                &format!(
                    "{}, {}",
                    prescription.rate_column(),
                    prescription.rate_label()
                ),
            );
        } else {
            let name = facts.names.task.as_deref().unwrap_or("-");
            card.pair("TASKDATA, task", name);
        }
        card.pair("  product", &by_file(prescription, total));
    }
    if facts.files.is_empty() {
        card.text("", "No file for a terminal was written.");
    }
}

/// A finding in words for the driver: what speaks of keys of the job is left out, for it is the office's business.
pub(super) fn for_the_driver(finding: &Finding) -> String {
    let mut out = String::new();
    let kept = finding.message.split_inclusive(['.', ';', ':']).fold(
        Vec::<String>::new(),
        |mut parts, part| {
            // A dot inside a number or a key ends nothing.
            match parts.last_mut() {
                Some(last) if !part.starts_with(' ') => last.push_str(part),
                _ => parts.push(part.to_owned()),
            }
            parts
        },
    );
    for part in kept.iter().filter(|part| !speaks_of_keys(part)) {
        out.push_str(part);
    }
    let out = out.trim().trim_end_matches([';', ':', ',']).to_owned();
    if out.is_empty() {
        finding.code.sentence().to_owned()
    } else {
        out
    }
}

/// Whether a text names a key or a section of the job, or how one is written.
fn speaks_of_keys(text: &str) -> bool {
    if text.contains(" = ") || text.contains("[[") || text.contains('`') {
        return true;
    }
    let names = |word: &str| {
        let word = word.trim_matches(|c: char| !c.is_ascii_alphanumeric() && c != '[' && c != ']');
        if let Some(section) = word
            .strip_prefix('[')
            .and_then(|word| word.strip_suffix(']'))
        {
            return table(section).is_some();
        }
        word.split_once('.').is_some_and(|(section, key)| {
            !section.is_empty()
                && table(section).is_some()
                && key
                    .bytes()
                    .all(|b| b.is_ascii_lowercase() || b == b'_' || b == b'.')
        })
    };
    text.split_whitespace().any(names)
}

/// What to mind with the product, always: what the table of products says, or for a liquid of the user's own that it may burn leaves.
pub(super) fn product_cautions(prescription: &Prescription, table: &[String]) -> Vec<String> {
    let mut list: Vec<String> = table.iter().map(|caution| sentence(caution)).collect();
    let leaves = list
        .iter()
        .any(|caution| caution.to_lowercase().contains("leaves"));
    let liquid = prescription
        .product
        .as_ref()
        .is_some_and(crate::units::Product::is_liquid);
    if liquid && !leaves && !list.iter().any(|caution| caution.contains("pressure")) {
        list.insert(
            0,
            "Liquid nitrogen may burn leaves: not on hot, wet or frosted crop.".to_owned(),
        );
    }
    list
}

/// With a capital and a full stop.
pub(super) fn sentence(message: &str) -> String {
    let mut chars = message.chars();
    let mut out: String = chars
        .next()
        .map(|first| first.to_uppercase().chain(chars).collect())
        .unwrap_or_default();
    if !out.ends_with(['.', '!', '?', ':']) {
        out.push('.');
    }
    out
}

/// What holds for every map.
fn standing_cautions(prescription: &Prescription) -> [String; 5] {
    let overrun = prescription.machine.overrun.get();
    let reach = if prescription.unit.is_us() {
        format!("{:.0} ft", overrun / crate::units::M_PER_FT)
    } else {
        format!("{overrun:.1} m")
    };
    [
        "The product's label and local law come first, whatever this map says.".to_owned(),
        "A licensed adviser decides. This map is a help, not a recommendation.".to_owned(),
        "Wells and surface water: keep the distance that law and label ask. Only ground that was left out of the map, and holes of its boundary, get 0; the map knows of no other.".to_owned(),
        match prescription.look_ahead {
            None => "The map does not look ahead and does not shut off. Set the look-ahead of machine and product on the terminal; leave shut-off to boundary and sections."
                .to_owned(),
            Some(ahead) => format!(
                "THE MAP LOOKS AHEAD by {}: set the terminal's own look-ahead to 0. Most terminals look ahead themselves; both together shift twice. The map does not shut off: leave that to boundary and sections.",
                if prescription.unit.is_us() { format!("{:.0} ft", ahead.get() / crate::units::M_PER_FT) } else { format!("{ahead:.1}") }
            ),
        },
        match (overrun > 0.0, prescription.zones.iter().any(|zone| zone.machine_outline != zone.outline)) {
            (false, _) => "Rates end at the field's edge. Calibrate the machine first.".to_owned(),
            (true, true) => {
                format!("Rates run on {reach} beyond the field's edge, so that passes end at full rate; the total counts the field alone. Calibrate the machine first.")
            }
            (true, false) => format!(
                "The task data's rates run on {reach} beyond the field's edge, so that passes end at full rate; the shapefile's end at the edge. The total counts the field alone. Calibrate the machine first."
            ),
        },
    ]
}

/// Density with the digits that the table of products has, up to four decimals: `1.2785 kg/L`, `0.617 kg/L`; in US units `10.67 lb/gal`.
pub(super) fn density(kg_per_l: f64, us: bool) -> String {
    if us {
        return format!(
            "{:.2} lb/gal",
            kg_per_l * crate::units::L_PER_GAL / crate::units::KG_PER_LB
        );
    }
    let text = format!("{kg_per_l:.4}");
    format!("{} kg/L", text.trim_end_matches('0').trim_end_matches('.'))
}

fn product(prescription: &Prescription) -> String {
    let Some(product) = &prescription.product else {
        return "NONE GIVEN - the numbers are nitrogen (N), not a product".to_owned();
    };
    let nitrogen = format!(
        "{}, {:.1} % N by mass",
        product.name(),
        product.nitrogen() * 100.0
    );
    match product.kg_per_l() {
        Some(kg_per_l) => format!(
            "{nitrogen}, {}",
            density(kg_per_l, prescription.unit.is_us())
        ),
        None => nitrogen,
    }
}

fn area(prescription: &Prescription, area: Area) -> String {
    if prescription.unit.is_us() {
        format!("{:.2} ac ({:.2} ha)", area.as_ac(), area.as_ha())
    } else {
        format!("{:.2} ha", area.as_ha())
    }
}

/// What a file applies: in the field, and with the ground beyond the edge that it holds.
pub(super) fn by_file(prescription: &Prescription, total: &FileTotal) -> String {
    let unit = prescription.total_label();
    let shape = match total.file {
        MachineFile::TaskGrid => "grid",
        MachineFile::TaskPolygons | MachineFile::Shapefile => "polygons",
    };
    if (total.with_run_out - total.in_field).abs() < 0.05 {
        return format!("{:.1} {unit} ({shape}, no run-out)", total.in_field);
    }
    format!(
        "{:.1} {unit} in the field, {:.1} {unit} with run-out ({shape})",
        total.in_field, total.with_run_out
    )
}

fn total(prescription: &Prescription, rates: &MachineRates, mean: f64) -> String {
    let nitrogen = prescription.nitrogen_of(mean) * rates.area;
    let nitrogen = if prescription.unit.is_us() {
        format!("{:.1} lb N", nitrogen.as_lb())
    } else {
        format!("{:.1} kg N", nitrogen.get())
    };
    if prescription.product.is_some() {
        format!(
            "{:.1} {} of product ({nitrogen})",
            rates.total,
            prescription.unit.total_label()
        )
    } else {
        nitrogen
    }
}

/// The words of a line; a unit stays with its number.
fn words(line: &str) -> Vec<&str> {
    let mut words = Vec::new();
    let mut from = 0;
    for (at, _) in line
        .match_indices(' ')
        .filter(|(at, _)| !is_unit_after_number(&line[..*at], &line[at + 1..]))
    {
        words.push(&line[from..at]);
        from = at + 1;
    }
    words.push(&line[from..]);
    words
}

/// Whether a space parts a number from its unit, or a unit from the N behind it.
pub(super) fn is_unit_after_number(before: &str, after: &str) -> bool {
    /// Units of report and card.
    const UNITS: [&str; 20] = [
        "%", "kg", "L", "lb", "gal", "ha", "ac", "m", "ft", "t", "bu", "km", "N", "kg/ha", "L/ha",
        "lb/ac", "gal/ac", "N/ha", "N/ac", "t/ha",
    ];
    let unit: String = after
        .chars()
        .take_while(|c| c.is_alphanumeric() || matches!(c, '/' | '%' | '°'))
        .collect();
    let last = before.rsplit(' ').next().unwrap_or_default();
    let number =
        last.ends_with(|c: char| c.is_ascii_digit()) && last.contains(|c: char| c.is_ascii_digit());
    match unit.as_str() {
        "N" | "N/ha" | "N/ac" => matches!(last, "kg" | "lb" | "%"),
        "bu/ac" | "kg/L" | "lb/gal" | "°C" | "°F" => number,
        unit => number && UNITS.contains(&unit),
    }
}

#[derive(Default)]
struct Card {
    text: String,
}

impl Card {
    fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push_str("\r\n");
    }

    fn title(&mut self, title: &str) {
        if !self.text.is_empty() {
            self.line("");
        }
        self.line(title);
        self.line(&"-".repeat(title.len()));
    }

    fn pair(&mut self, name: &str, value: &str) {
        self.text(&format!("{name:<VALUES_AT$}"), value);
    }

    /// A paragraph after a lead; its further lines stand below its first.
    fn text(&mut self, lead: &str, paragraph: &str) {
        let mut line = lead.to_owned();
        let mut is_bare = true;
        for word in words(&ascii(paragraph)) {
            let mut word = word;
            let room = WIDTH - lead.len();
            if !is_bare && line.len() + 1 + word.len() > WIDTH {
                self.line(&line);
                line = " ".repeat(lead.len());
                is_bare = true;
            }
            // A word longer than a line is cut: nothing may run off the card.
            while word.len() > room {
                let (head, tail) = word.split_at(room);
                self.line(&format!("{line}{head}"));
                line = " ".repeat(lead.len());
                word = tail;
            }
            if !is_bare {
                line.push(' ');
            }
            line.push_str(word);
            is_bare = false;
        }
        self.line(&line);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::Acceptance;
    use crate::map::check_points::check_points;
    use crate::map::file_totals::of_polygons;
    use crate::map::fixture;
    use crate::map::machine::machine_rates;
    use crate::units::RateUnit;

    fn text(prescription: &Prescription, findings: &[Finding]) -> String {
        let checked = machine_rates(prescription).unwrap();
        let points = check_points(prescription, &checked.value, 3, &|_, _, _| true).unwrap();
        let all: Vec<Finding> = checked.findings.iter().chain(findings).cloned().collect();
        let files = [of_polygons(
            MachineFile::Shapefile,
            prescription,
            &checked.value,
        )];
        let names = FileNames {
            shapefile: Some("LONG_LEY".to_owned()),
            task: None,
        };
        card(&CardFacts {
            prescription,
            rates: &checked.value,
            points: &points,
            files: &files,
            names: &names,
            findings: &all,
            product_cautions: &["burns leaves: no broadcast on hot or wet leaves".to_owned()],
        })
    }

    fn is_plain(text: &str) -> bool {
        text.split_inclusive("\r\n").all(|line| {
            line.ends_with("\r\n")
                && line.len() <= WIDTH + 2
                && line[..line.len() - 2]
                    .bytes()
                    .all(|b| (32..127).contains(&b))
        })
    }

    #[test]
    fn a_metric_card() {
        let text = text(&fixture::prescription(), &[]);
        assert!(is_plain(&text), "{text}");
        // 2.5344 ha × 60 and 3.08 ha × 90 kg N/ha over 5.96 ha, as a 28 % solution of 1.28 kg/L (arithmetic).
        for line in [
            "Field             Long Ley",
            "Map id            0a1b2c",
            "Product           UAN 28, 28.0 % N by mass, 1.28 kg/L",
            "Shapefile         LONG_LEY",
            "  column, unit    L_HA, L/ha",
            "Minimum           0.00 L/ha",
            "Mean              200.96 L/ha",
            "Maximum           251.12 L/ha",
            "Area              5.96 ha",
            "Total             1197.7 L of product (429.3 kg N)",
            "  product         1197.7 L in the field, 1462.1 L with run-out",
            "On start          209.26 L/ha",
            "Position lost     0.00 L/ha",
            "Outside field     0.00 L/ha",
        ] {
            assert!(text.lines().any(|shown| shown == line), "{line}\n{text}");
        }
        let points: Vec<&str> = text
            .lines()
            .filter(|line| line.starts_with(['1', '2', '3']))
            .collect();
        assert_eq!(points.len(), 3);
        assert!(
            points[0].ends_with("   251.12 L/ha")
                && points[1].ends_with("   167.41 L/ha")
                && points[2].ends_with("   0.00 L/ha"),
            "{points:?}"
        );
        for must in [
            "label and local law come first",
            "licensed adviser decides",
            "Wells and surface water",
            "does not look ahead and does not shut off",
        ] {
            assert!(text.contains(must), "{must}\n{text}");
        }
    }

    #[test]
    fn a_us_card() {
        let mut field = fixture::prescription();
        field.unit = RateUnit::GalPerAc;
        let text = text(&field, &[]);
        assert!(is_plain(&text));
        // 1197.7 L in US gallons, 429.3 kg in pounds, 5.96 ha in acres, 12 m in feet (NIST SP 811 factors).
        for part in [
            "GAL_AC, gal/ac",
            "14.73 ac (5.96 ha)",
            "316.4 gal of product (946.4 lb N)",
            "run on 39 ft beyond",
            "10.68 lb/gal",
            "gal/ac\r\n",
        ] {
            assert!(text.contains(part), "{part}\n{text}");
        }
    }

    #[test]
    fn cautions_and_accepted_stops_are_told() {
        let mut stop = Finding::stop(codes::IMAGE_AGE, "the image is 20 days old");
        stop.accepted = Some(Acceptance {
            figure: None,
            reason: "cold spell – no growth".to_owned(),
            by: "A. Adviser".to_owned(),
        });
        let mut field = fixture::prescription();
        field.product = None;
        field.unit = RateUnit::KgPerHa;
        let text = text(
            &field,
            &[stop, Finding::caution(codes::REFERENCE_PLACE, "elsewhere")],
        );
        assert!(is_plain(&text), "{text}");
        assert!(
            text.contains("Product           NONE GIVEN") && text.contains("* No product is given"),
            "{text}"
        );
        assert!(
            text.contains(
                "* Accepted by A. Adviser (cold spell - no growth): the image is 20 days\r\n  old"
            ),
            "{text}"
        );
        assert!(!text.contains("elsewhere"));
        // Stops come before anything is loaded.
        let at = |what: &str| text.find(what).unwrap();
        assert!(at("Accepted by") < at("LOAD ONE"), "{text}");
        assert!(
            text.contains("KG_N_HA, kg N/ha") && text.contains("Total             429.3 kg N\r\n")
        );
    }

    #[test]
    fn overrun_is_claimed_only_of_files_that_have_it() {
        let mut field = fixture::prescription();
        assert!(text(&field, &[]).contains("* Rates run on 12.0 m beyond the field's edge"));
        for zone in &mut field.zones {
            zone.machine_outline = zone.outline.clone();
        }
        let notice = text(&field, &[]).replace("\r\n  ", " ");
        assert!(
            notice.contains("* The task data's rates run on 12.0 m beyond")
                && notice.contains("the shapefile's end at the edge"),
            "{notice}"
        );
    }

    #[test]
    fn a_number_and_its_per_cent_sign_stay_together() {
        for width in 40..72 {
            let text = text(
                &fixture::prescription(),
                &[Finding::caution(
                    codes::MACHINE_OUTSIDE,
                    format!("{} (-0.70 %): less", "x".repeat(width)),
                )],
            );
            assert!(text.contains("(-0.70 %):"), "{text}");
        }
    }

    #[test]
    fn the_driver_reads_no_keys() {
        let wording = |message: &str| {
            for_the_driver(&Finding::caution(codes::MACHINE_POSITION_LOST, message))
        };
        assert_eq!(
            wording(
                "with position lost the machine runs on at 30.00 L/ha: it cannot keep off them; leave machine.position_lost out to get 0"
            ),
            "with position lost the machine runs on at 30.00 L/ha: it cannot keep off them"
        );
        assert_eq!(
            wording(
                "controllers need not take polygons: try them on yours before the day; kind = \"grid\" in output.task_data is what each must take"
            ),
            "controllers need not take polygons: try them on yours before the day"
        );
        assert_eq!(
            wording("no product is given; give [product] before spreading"),
            "no product is given"
        );
        // Nothing is left of a message that speaks of keys alone: the code's own sentence stands in.
        assert_eq!(
            wording("machine.cell_length is 6 m"),
            codes::MACHINE_POSITION_LOST.sentence()
        );
    }

    #[test]
    fn density_has_the_digits_of_the_table() {
        // 1.2785, 1.303 and 0.617 kg/L: the table of products.
        let shown = [1.2785, 1.303, 0.617, 1.28].map(|value| density(value, false));
        assert_eq!(
            shown,
            ["1.2785 kg/L", "1.303 kg/L", "0.617 kg/L", "1.28 kg/L"]
        );
        assert_eq!(density(1.2785, true), "10.67 lb/gal");
    }

    #[test]
    fn points_name_latitude_first() {
        let text = text(&fixture::prescription(), &[]);
        assert!(text.find("latitude").unwrap() < text.find("longitude").unwrap());
        let first = text.lines().find(|line| line.starts_with("1 ")).unwrap();
        let numbers: Vec<f64> = first
            .split_whitespace()
            .skip(1)
            .take(2)
            .map(|n| n.parse().unwrap())
            .collect();
        // The fixture lies in UTM zone 33 north: longitude 12 to 18 degrees.
        assert!((12.0..18.0).contains(&numbers[1]), "{first}");
    }

    #[test]
    fn client_farm_and_leaf_burn_stand_on_the_card() {
        let mut field = fixture::prescription();
        field.client = Some("A. Grower".to_owned());
        field.farm = Some("Home farm".to_owned());
        let text = text(&field, &[]);
        for line in [
            "Grower            A. Grower",
            "Farm              Home farm",
            "* Burns leaves: no broadcast on hot or wet leaves.",
        ] {
            assert!(text.lines().any(|shown| shown == line), "{line}\n{text}");
        }
        // A liquid that no table knows.
        assert_eq!(product_cautions(&field, &[]).len(), 1);
    }

    #[test]
    fn long_and_hostile_names_stay_on_the_card() {
        let mut field = fixture::prescription();
        field.field_name = format!("\u{1b}[31mÄcker{}", "x".repeat(200));
        let text = text(&field, &[]);
        assert!(is_plain(&text), "{text}");
    }
}
