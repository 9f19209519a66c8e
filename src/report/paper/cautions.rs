//! Precautions, chosen by product and by what the run found: a few sentences that apply, not a wall of text.

use crate::report::paper::Paper;
use crate::units::Length;

/// The cautions that apply, the law first.
pub(super) fn chosen(paper: &Paper<'_>) -> Vec<String> {
    let text = paper.text;
    let mut list = vec![text.say("mind-law"), water(paper)];
    let product = paper.outcome.prescription.product.as_ref();
    let name = product
        .map(|product| product.name().to_lowercase())
        .unwrap_or_default();
    let says = |word: &str| {
        name.contains(word)
            || paper
                .product_cautions
                .iter()
                .any(|caution| caution.to_lowercase().contains(word))
    };
    if name.contains("ammonia") {
        list.push(text.say("mind-ammonia"));
    } else {
        list.push(text.say("mind-gear"));
    }
    let liquid = product.is_some_and(crate::units::Product::is_liquid);
    if says("leaves") || name.contains("uan") || (liquid && !name.contains("ammonia")) {
        list.push(text.say("mind-leaf-burn"));
    }
    if liquid && !name.contains("ammonia") {
        list.push(text.say("mind-drift"));
    }
    if name.contains("urea") || name.contains("uan") {
        list.push(text.say("mind-loss"));
    }
    list.push(text.say("mind-ground"));
    list
}

/// Distances as entered; never as law.
pub(super) fn water(paper: &Paper<'_>) -> String {
    let (text, entered) = (paper.text, entered(paper));
    if entered.is_empty() {
        text.say("mind-water-none")
    } else {
        text.with("mind-water", &[("entered", &entered.join("; "))])
    }
}

/// The same for a line of a sheet.
pub(super) fn water_short(paper: &Paper<'_>) -> String {
    let (text, entered) = (paper.text, entered(paper));
    if entered.is_empty() {
        text.say("mind-water-none-short")
    } else {
        text.with("mind-water-short", &[("entered", &entered.join("; "))])
    }
}

/// What the map keeps clear, with the distance that the job asks for.
fn entered(paper: &Paper<'_>) -> Vec<String> {
    let (text, shown) = (paper.text, paper.shown());
    paper
        .settings
        .field
        .exclusions
        .iter()
        .map(|exclusion| {
            let what = exclusion
                .reason
                .clone()
                .unwrap_or_else(|| text.say("mind-unnamed"));
            if exclusion.buffer > Length::ZERO {
                format!("{what}: {}", shown.length(exclusion.buffer))
            } else {
                what
            }
        })
        .chain((!paper.ground.holes.0.is_empty()).then(|| text.say("mind-holes")))
        .collect()
}
