//! A document as a tagged PDF (PDF/UA-1): fonts embedded, figures as vectors, the same bytes for the same document.

pub(crate) mod fonts;
mod paint;
mod rows;
mod setting;
mod tree;

use jiff::Timestamp;
use jiff::tz::Offset;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::Point;
use krilla::metadata::{DateTime, Metadata};
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::{Document as Pdf, SerializeSettings};

use crate::report::document::{Block, Document};
use fonts::Fonts;
use rows::{Maker, Mark, Row};
use tree::{Kind, NodeId, Tree};

/// Sides of A4 and of Letter. \[pt\]
const PAPERS: [(f64, f64); 2] = [(595.28, 841.89), (612.0, 792.0)];
/// 14 mm on every side. \[pt\]
const MARGIN: f64 = 39.7;
/// 9 mm above and below on Letter, which is shorter. \[pt\]
const LETTER_MARGIN: f64 = 25.5;
/// Kept for the foot. \[pt\]
const FOOT: f64 = 16.0;

/// Why there is no PDF.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum PdfError {
    /// The fonts in the program cannot be read.
    #[error("the fonts of the report cannot be read")]
    Fonts,
    /// The writer refused the document.
    #[error("the report cannot be written as an accessible PDF: {reason}")]
    Refused {
        /// What it said.
        reason: String,
    },
}

/// One page, filled.
#[derive(Clone, Default)]
struct Page {
    /// Rows and how far below the page's top margin each begins. \[pt\]
    rows: Vec<(f64, Row)>,
}

impl Page {
    /// How far down it is filled. \[pt\]
    fn height(&self) -> f64 {
        self.rows.last().map_or(0.0, |(y, row)| y + row.height)
    }
}

/// Fills pages with rows.
struct Filler {
    pages: Vec<Page>,
    y: f64,
    /// Height that a page is filled to. \[pt\]
    limit: f64,
}

impl Filler {
    fn new(limit: f64) -> Self {
        Self {
            pages: vec![Page::default()],
            y: 0.0,
            limit,
        }
    }
    fn put(&mut self, row: Row) {
        let height = row.height;
        if let Some(page) = self.pages.last_mut() {
            page.rows.push((self.y, row));
        }
        self.y += height;
    }
    fn fill(&mut self, rows: Vec<Row>) {
        let mut rest = rows.into_iter();
        while let Some(row) = rest.next() {
            // Rows that must stay together are taken as one.
            let mut group = vec![row];
            while group.last().is_some_and(|row| row.keep) {
                match rest.next() {
                    Some(next) => group.push(next),
                    None => break,
                }
            }
            let height: f64 = group.iter().map(|row| row.height).sum();
            if self.y > 0.0 && self.y + height > self.limit + 0.01 {
                self.pages.push(Page::default());
                self.y = 0.0;
                if let Some(again) = group[0].again.take() {
                    let mut header = *again;
                    header.marks.iter_mut().for_each(|mark| mark.1 = None);
                    self.put(header);
                }
            }
            for row in group {
                self.put(row);
            }
        }
    }
}

/// Pages of rows that belong together: as few as hold them, each filled about as much as the others.
fn pages_of(rows: &[Row], room: f64) -> Vec<Page> {
    let filled = |limit: f64| {
        let mut filler = Filler::new(limit);
        filler.fill(rows.to_vec());
        filler.pages
    };
    let whole = filled(room);
    let count = whole.len();
    if count == 1 {
        return whole;
    }
    let total: f64 = rows.iter().map(|row| row.height).sum();
    let from = total / count as f64;
    // Rows are high: the first limit by which they need no more pages.
    (0..32)
        .map(|k| from + (room - from) * f64::from(k) / 32.0)
        .map(filled)
        .find(|pages| pages.len() == count)
        .unwrap_or(whole)
}

/// All pages, in order. A part begins on a page of its own, unless the page before it would stay less than half full.
fn laid_out(parts: Vec<Vec<Row>>, room: f64) -> Vec<Page> {
    let mut runs: Vec<Vec<Row>> = Vec::new();
    let mut open = false;
    for rows in parts {
        match runs.last_mut().filter(|_| open) {
            Some(last) => last.extend(rows),
            None => runs.push(rows),
        }
        open = runs
            .last()
            .is_some_and(|last| is_poor(&pages_of(last, room), room));
    }
    if open && runs.len() > 1 {
        let last = runs.pop().unwrap_or_default();
        if let Some(before) = runs.last_mut() {
            before.extend(last);
        }
    }
    runs.iter().flat_map(|rows| pages_of(rows, room)).collect()
}

/// Whether a page of them is less than half full.
fn is_poor(pages: &[Page], room: f64) -> bool {
    pages.iter().any(|page| page.height() < room / 2.0)
}

/// A document on its pages.
struct Layout {
    pages: Vec<Page>,
    tree: Tree,
    paper: (f64, f64),
    /// Margin above and below.
    top: f64,
    width: f64,
}

impl Layout {
    fn of(document: &Document, fonts: &Fonts) -> Self {
        let paper = PAPERS[usize::from(document.letter)];
        // As wide as on A4: on the wider Letter, which is shorter too, figures would grow beyond its pages.
        let width = PAPERS
            .map(|paper| paper.0)
            .into_iter()
            .fold(paper.0, f64::min)
            - 2.0 * MARGIN;
        let top = if document.letter {
            LETTER_MARGIN
        } else {
            MARGIN
        };
        let room = paper.1 - 2.0 * top - FOOT;
        let mut maker = Maker {
            fonts,
            tree: Tree::default(),
            page: room,
            shrink: 1.0,
            lower: 0,
        };
        let mut parts = Vec::new();
        for number in 0..document.parts.len() {
            (maker.lower, maker.shrink) = fitted(document, number, fonts, width, room);
            parts.push(part_rows(&mut maker, document, number, width));
        }
        Self {
            pages: laid_out(parts, room),
            tree: maker.tree,
            paper,
            top,
            width,
        }
    }
}

/// The file.
///
/// # Errors
/// [`PdfError`] when the writer refuses the document.
pub(crate) fn pdf(document: &Document, instant: Timestamp, id: &str) -> Result<Vec<u8>, PdfError> {
    let fonts = Fonts::load().ok_or(PdfError::Fonts)?;
    let Layout {
        pages,
        mut tree,
        paper,
        top,
        width,
        ..
    } = Layout::of(document, &fonts);
    let left = (paper.0 - width) / 2.0;
    let settings = SerializeSettings {
        configuration: ConfigurationBuilder::new()
            .with_accessibility_validator(Accessibility::UA1)
            .finish()
            .map_err(|error| PdfError::Refused {
                reason: format!("{error:?}"),
            })?,
        ..SerializeSettings::default()
    };
    let mut file = Pdf::new_with(settings);
    let count = pages.len();
    for (number, page) in pages.iter().enumerate() {
        let size = PageSettings::from_wh(paper.0 as f32, paper.1 as f32).ok_or(PdfError::Fonts)?;
        let mut sheet = file.start_page_with(size);
        let mut surface = sheet.surface();
        for (y, row) in &page.rows {
            paint::row(&mut surface, &fonts, row, (left, top + y), &mut tree);
        }
        let foot = format!("{}    {} / {count}", document.foot, number + 1);
        paint::foot(&mut surface, &fonts, &foot, (left, paper.1 - top), width);
        surface.finish();
        sheet.finish();
    }
    let mut outline = Outline::new();
    for (page, (y, row)) in pages
        .iter()
        .enumerate()
        .flat_map(|(number, page)| page.rows.iter().map(move |row| (number, row)))
    {
        if let Some(part) = row.begins {
            let at = Point::from_xy(left as f32, (top + y) as f32);
            outline.push_child(OutlineNode::new(
                document.parts[part].heading.clone(),
                XyzDestination::new(page, at),
            ));
        }
    }
    file.set_outline(outline);
    file.set_metadata(metadata(document, instant, id));
    file.set_tag_tree(tree.finish(document.language));
    file.finish().map_err(|error| PdfError::Refused {
        reason: format!("{error:?}"),
    })
}

/// All rows of a part, title and warning above them.
fn part_rows(maker: &mut Maker<'_>, document: &Document, number: usize, width: f64) -> Vec<Row> {
    let part = &document.parts[number];
    let section = maker.tree.grow(None, Kind::Section);
    let mut rows = if number == 0 {
        head(maker, document, section, width)
    } else {
        Vec::new()
    };
    if let (Some(warning), true) = (&document.warning, number > 0) {
        rows.push(banner(maker, warning, None, width));
    }
    rows.extend(maker.heading(&part.heading, 2, 12.4, section, width));
    for block in &part.blocks {
        rows.extend(maker.block(block, section, width));
    }
    if let Some(first) = rows.first_mut() {
        first.begins = Some(number);
    }
    rows
}

/// By which of their lower drawings, and how much smaller, the figures of a part are drawn so that a part meant for one page stays on it; as they are where it fits,
/// or where even the lowest at seven tenths would not do: smaller letters nobody reads.
fn fitted(
    document: &Document,
    number: usize,
    fonts: &Fonts,
    width: f64,
    room: f64,
) -> (usize, f64) {
    const WHOLE: (usize, f64) = (0, 1.0);
    let part = &document.parts[number];
    if !part.one_page {
        return WHOLE;
    }
    let height = |(lower, shrink): (usize, f64)| {
        let mut trial = Maker {
            fonts,
            tree: Tree::default(),
            page: room,
            shrink,
            lower,
        };
        part_rows(&mut trial, document, number, width)
            .iter()
            .map(|row| row.height)
            .sum::<f64>()
    };
    let lowest = part.blocks.iter().map(lower_drawings).max().unwrap_or(0);
    (0..=lowest)
        .flat_map(|lower| (0..=6).map(move |k| (lower, 1.0 - 0.05 * f64::from(k))))
        .find(|way| height(*way) <= room)
        .unwrap_or(WHOLE)
}

/// How many lower drawings the figures of a block have.
fn lower_drawings(block: &Block) -> usize {
    match block {
        Block::Figure(figure) => figure.lower.len(),
        Block::Beside(left, right) => left
            .iter()
            .chain(right)
            .map(lower_drawings)
            .max()
            .unwrap_or(0),
        _ => 0,
    }
}

/// Title and subject above all.
fn head(maker: &mut Maker<'_>, document: &Document, section: NodeId, width: f64) -> Vec<Row> {
    let mut rows = maker.heading(&document.title, 1, 16.0, section, width);
    rows.extend(maker.block(&Block::Small(document.subject.clone()), section, width));
    if let Some(warning) = &document.warning {
        let node = maker.tree.grow(Some(section), Kind::Paragraph);
        rows.push(banner(maker, warning, Some(node), width));
    }
    rows
}

/// What must not be overlooked, in a frame.
fn banner(maker: &Maker<'_>, warning: &str, node: Option<NodeId>, width: f64) -> Row {
    let look = setting::Look {
        size: 11.0,
        bold: true,
        colour: rows::STOP,
    };
    let mut row = Row::default();
    for line in setting::lines(
        maker.fonts,
        &[setting::Run {
            text: warning.to_owned(),
            look,
        }],
        width - 16.0,
    ) {
        for span in &line.spans {
            row.marks.push((
                Mark::Text {
                    x: 8.0 + span.x,
                    y: row.height + 15.0,
                    text: span.text.clone(),
                    look,
                },
                node,
            ));
        }
        row.height += line.height();
    }
    row.height += 14.0;
    let (right, under) = (width, row.height - 4.0);
    for (from, to) in [
        ((0.0, 1.0), (right, 1.0)),
        ((right, 1.0), (right, under)),
        ((right, under), (0.0, under)),
        ((0.0, under), (0.0, 1.0)),
    ] {
        row.marks.push((
            Mark::Rule {
                from,
                to,
                width: 1.8,
                colour: rows::STOP,
            },
            None,
        ));
    }
    row
}

fn metadata(document: &Document, instant: Timestamp, id: &str) -> Metadata {
    let when = Offset::UTC.to_datetime(instant);
    let part = |value: i8| u8::try_from(value).unwrap_or(0);
    let date = DateTime::new(u16::try_from(when.year()).unwrap_or(0))
        .month(part(when.month()))
        .day(part(when.day()))
        .hour(part(when.hour()))
        .minute(part(when.minute()))
        .second(part(when.second()))
        .utc_offset_hour(0)
        .utc_offset_minute(0);
    Metadata::new()
        .title(document.title.clone())
        .description(document.subject.clone())
        .language(document.language.to_owned())
        .creator(concat!("haulm ", env!("CARGO_PKG_VERSION")).to_owned())
        .document_id(id.to_owned())
        .creation_date(date)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::document::{Block, Part, Table};

    fn table(rows: usize) -> Block {
        Block::Table(Table {
            caption: "Zones".to_owned(),
            columns: vec![("Zone".to_owned(), true), ("Rate".to_owned(), true)],
            rows: (1..=rows)
                .map(|k| vec![k.to_string(), format!("{k}.0")])
                .collect(),
            summed: false,
        })
    }

    fn document(tables: &[&[usize]]) -> Document {
        Document {
            title: "Test".to_owned(),
            language: "en",
            parts: tables
                .iter()
                .map(|rows| Part {
                    id: "part",
                    heading: "Part".to_owned(),
                    blocks: rows.iter().map(|rows| table(*rows)).collect(),
                    one_page: false,
                })
                .collect(),
            ..Document::default()
        }
    }

    /// Rows of tables on each page, table by table: cells in the second column tell the row.
    fn pieces(layout: &Layout) -> Vec<Vec<usize>> {
        let texts = |row: &Row| -> Vec<String> {
            row.marks
                .iter()
                .filter_map(|(mark, node)| match mark {
                    Mark::Text { text, .. } if node.is_some() => Some(text.clone()),
                    _ => None,
                })
                .collect()
        };
        layout
            .pages
            .iter()
            .map(|page| {
                let mut pieces = Vec::new();
                let mut count = 0;
                for (_, row) in &page.rows {
                    let cells = texts(row);
                    if cells.len() == 2 && cells[1].ends_with(".0") {
                        if cells[1] == "1.0" && count > 0 {
                            pieces.push(count);
                            count = 0;
                        }
                        count += 1;
                    }
                }
                pieces.push(count);
                pieces
            })
            .collect()
    }

    /// Of each page the share of its height that is filled.
    fn fill_of(document: &Document) -> Vec<f64> {
        let layout = Layout::of(document, &Fonts::load().unwrap());
        let room = layout.paper.1 - 2.0 * layout.top - FOOT;
        layout
            .pages
            .iter()
            .map(|page| page.height() / room)
            .collect()
    }

    #[test]
    fn no_table_leaves_fewer_than_three_rows_on_a_page() {
        let fonts = Fonts::load().unwrap();
        for first in 40..75 {
            for second in [2, 4, 7, 30] {
                let layout = Layout::of(&document(&[&[first, second]]), &fonts);
                for (page, pieces) in pieces(&layout).iter().enumerate() {
                    for piece in pieces {
                        assert!(
                            *piece >= 3 || *piece == second,
                            "{first} and {second} rows: page {page} has a piece of {piece}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn no_page_is_less_than_half_full() {
        for tables in [
            &[&[70_usize][..], &[5]][..],
            &[&[5], &[5], &[70]],
            &[&[5], &[40], &[3], &[90], &[2]],
            &[&[60, 3]],
        ] {
            let fill = fill_of(&document(tables));
            assert!(
                fill.iter().all(|share| (0.5..=1.0).contains(share)),
                "{tables:?}: {fill:?}"
            );
        }
    }

    #[test]
    fn parts_that_fill_half_a_page_begin_on_their_own() {
        assert_eq!(fill_of(&document(&[&[40], &[40], &[40]])).len(), 3);
    }
}
