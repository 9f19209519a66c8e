//! The appendix, where the job asks for it: lists that the five pages cut short.

use crate::report::document::{Block, Part};
use crate::report::paper::page_three::{MAXIMUM_ROWS, zone_table};
use crate::report::paper::page_two::PROFILES;
use crate::report::paper::{Paper, figures, walk};

/// The appendix; `None` when the five pages left nothing out.
pub(super) fn part(paper: &Paper<'_>) -> Option<Part> {
    let text = paper.text;
    let mut blocks = Vec::new();
    if paper.outcome.prescription.zones.len() > MAXIMUM_ROWS {
        blocks.push(Block::Heading(text.say("appendix-zones")));
        blocks.push(Block::Table(zone_table(paper)));
    }
    if !paper.stopped && paper.scouts.len() > MAXIMUM_ROWS {
        blocks.push(Block::Heading(text.say("appendix-walk")));
        blocks.push(Block::Table(walk::table(paper, MAXIMUM_ROWS, usize::MAX)));
    }
    let further: Vec<Block> = (1..)
        .zip(&paper.outcome.survey.strips)
        .skip(PROFILES)
        .filter_map(|(number, strip)| figures::profile(paper, number, strip).map(Block::Figure))
        .collect();
    if !further.is_empty() {
        blocks.push(Block::Heading(text.say("appendix-strips")));
    }
    for pair in further.chunks(2) {
        blocks.push(Block::Beside(
            vec![pair[0].clone()],
            pair.get(1).cloned().into_iter().collect(),
        ));
    }
    (!blocks.is_empty()).then(|| Part {
        id: "appendix",
        heading: text.say("appendix-heading"),
        blocks,
        one_page: false,
    })
}
