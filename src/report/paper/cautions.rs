//! What to mind, chosen by product and by what the run found: a few sentences that apply, not a wall of text.

use crate::report::paper::Paper;
use crate::units::Length;

/// The cautions that apply, the law first.
pub(super) fn chosen(paper: &Paper<'_>) -> Vec<String> {
    let text = paper.text;
    let mut list = vec![text.say("mind-law"), text.say("mind-adviser"), water(paper)];
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
    if says("leaves") || name.contains("uan") {
        list.push(text.say("mind-leaf-burn"));
    }
    if product.is_some_and(crate::units::Product::is_liquid) && !name.contains("ammonia") {
        list.push(text.say("mind-drift"));
    }
    if name.contains("urea") || name.contains("uan") {
        list.push(text.say("mind-loss"));
    }
    list.push(text.say("mind-ground"));
    list
}

/// Distances as entered; never as law.
fn water(paper: &Paper<'_>) -> String {
    let (text, shown) = (paper.text, paper.shown());
    let entered: Vec<String> = paper
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
        .collect();
    if entered.is_empty() {
        text.say("mind-water-none")
    } else {
        text.with("mind-water", &[("entered", &entered.join("; "))])
    }
}
