//! The card that travels with the machine files: what to load, what to choose, what the screen must show, what the file does not do.
//!
//! Printable ASCII, at most 72 columns, lines ended by CR LF: any terminal and any printer shows it.

use crate::finding::{Code, Finding, Severity, codes};
use crate::map::ascii::ascii;
use crate::map::check_points::CheckPoint;
use crate::map::file_totals::FileTotal;
use crate::map::machine::MachineRates;
use crate::map::prescription::Prescription;
use crate::units::Area;

/// Columns of the card.
const WIDTH: usize = 72;
/// Code of the finding that names ground to be walked first.
const BESIDE: Code = codes::RATE_BESIDE_EXCLUSION;
/// Where values begin.
const VALUES_AT: usize = 18;

/// The text of `machine/CARD.txt`.
///
/// `files` says what each file puts on the field. Of `findings` it prints ground to be walked first, the cautions about the machine and every stop that an adviser accepted.
pub fn card(
    prescription: &Prescription,
    rates: &MachineRates,
    points: &[CheckPoint],
    files: &[FileTotal],
    findings: &[Finding],
) -> String {
    let mut card = Card::default();
    let label = prescription.rate_label();
    let rate = |value: f64| format!("{value:.2} {label}");

    card.title("RATE MAP CARD");
    card.pair("Field", &prescription.field_name);
    card.pair(
        "Map id",
        &format!("{} - the task's name ends in it", prescription.map_id),
    );
    card.pair("What to load", "TASKDATA folder or shapefile, never both");
    card.pair(
        "Crop",
        &format!(
            "{}, image of {}",
            prescription.crop, prescription.image_date
        ),
    );
    card.pair("Product", &product(prescription));
    card.pair(
        "Column to choose",
        &format!("{} (shapefile)", prescription.rate_column()),
    );
    card.pair("Unit to choose", label);

    card.title("RATES AND TOTAL");
    let (least, mean, greatest) = rates.least_mean_greatest(prescription);
    card.pair("Least", &rate(least));
    card.pair("Mean", &rate(mean));
    card.pair("Greatest", &rate(greatest));
    card.pair("Area", &area(prescription, rates.area));
    card.pair("Total", &total(prescription, rates, mean));
    for file in files {
        card.pair(
            &format!("By {}", file.file.short()),
            &by_file(prescription, file),
        );
    }
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

    let walk: Vec<&Finding> = findings
        .iter()
        .filter(|finding| finding.code == BESIDE)
        .collect();
    if !walk.is_empty() {
        card.title("WALK FIRST");
        for finding in walk {
            card.text("* ", &finding.message);
        }
    }

    card.title("CHECK BEFORE THE FIRST PASS");
    if points.is_empty() {
        card.text("", "No zone is wide enough for a check point. Compare the map on the screen with the report before you start.");
    } else {
        card.text("", "Load the map, look at these points, compare. A screen may round. If one differs, do not spread: wrong map, column, product or unit.");
        card.line(&format!(
            "  {:>12} {:>12}   must show",
            "longitude", "latitude"
        ));
        for (number, point) in (1..).zip(points) {
            card.line(&format!(
                "{number} {:>12.6} {:>12.6}   {}",
                point.longitude,
                point.latitude,
                rate(point.rate)
            ));
        }
        card.text("", "(degrees, WGS 84)");
    }

    card.title("CAUTIONS");
    for finding in findings.iter().filter(|finding| {
        finding.severity == Severity::Caution && finding.code.group() == "machine"
    }) {
        card.text("* ", &finding.message);
    }
    for finding in findings {
        if let Some(accepted) = &finding.accepted {
            card.text(
                "* ",
                &format!(
                    "Accepted by {} ({}): {}",
                    accepted.by, accepted.reason, finding.message
                ),
            );
        }
    }
    for caution in standing_cautions(prescription) {
        card.text("* ", &caution);
    }
    card.text
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
        "Wells and surface water: keep the distance that law and label ask. Only ground that the job excludes, and holes of its boundary, get 0; the map knows of no other.".to_owned(),
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
        Some(density) if prescription.unit.is_us() => format!(
            "{nitrogen}, {:.2} lb/gal",
            density * crate::units::L_PER_GAL / crate::units::KG_PER_LB
        ),
        Some(density) => format!("{nitrogen}, {density:.3} kg/L"),
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

/// What a file puts on the field, and what it holds with the ground beyond the edge.
fn by_file(prescription: &Prescription, total: &FileTotal) -> String {
    let unit = prescription.total_label();
    format!(
        "{:.1} {unit} in the field, {:.1} {unit} with run-out",
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

/// The words of a line; a per cent sign stays with its number.
fn words(line: &str) -> Vec<&str> {
    let mut words = Vec::new();
    let mut from = 0;
    for (at, _) in line
        .match_indices(' ')
        .filter(|(at, _)| !line[at + 1..].starts_with('%'))
    {
        words.push(&line[from..at]);
        from = at + 1;
    }
    words.push(&line[from..]);
    words
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
    use crate::map::file_totals::{MachineFile, of_polygons};
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
        card(prescription, &checked.value, &points, &files, &all)
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
            "Map id            0a1b2c - the task's name ends in it",
            "Product           UAN 28, 28.0 % N by mass, 1.280 kg/L",
            "What to load      TASKDATA folder or shapefile, never both",
            "Column to choose  L_HA (shapefile)",
            "Unit to choose    L/ha",
            "Least             0.00 L/ha",
            "Mean              200.96 L/ha",
            "Greatest          251.12 L/ha",
            "Area              5.96 ha",
            "Total             1197.7 L of product (429.3 kg N)",
            "By shapefile      1197.7 L in the field, 1462.1 L with run-out",
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
            "GAL_AC (shapefile)",
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
            text.contains("Product           NONE GIVEN") && text.contains("* no product is given"),
            "{text}"
        );
        assert!(
            text.contains(
                "* Accepted by A. Adviser (cold spell - no growth): the image is 20 days\r\n  old"
            ),
            "{text}"
        );
        assert!(!text.contains("elsewhere"));
        assert!(
            text.contains("KG_N_HA (shapefile)")
                && text.contains("Total             429.3 kg N\r\n")
        );
    }

    #[test]
    fn overrun_is_claimed_only_of_files_that_have_it() {
        let mut field = fixture::prescription();
        assert!(text(&field, &[]).contains("* Rates run on 12.0 m beyond the field's edge"));
        for zone in &mut field.zones {
            zone.machine_outline = zone.outline.clone();
        }
        let told = text(&field, &[]).replace("\r\n  ", " ");
        assert!(
            told.contains("* The task data's rates run on 12.0 m beyond")
                && told.contains("the shapefile's end at the edge"),
            "{told}"
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
    fn long_and_hostile_names_stay_on_the_card() {
        let mut field = fixture::prescription();
        field.field_name = format!("\u{1b}[31mÄcker{}", "x".repeat(200));
        let text = text(&field, &[]);
        assert!(is_plain(&text), "{text}");
    }
}
