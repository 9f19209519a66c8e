//! A document as rows that are never broken; pages are filled with them.

use super::fonts::Fonts;
use super::setting::{Line, Look, Run, lines, natural_and_minimum};
use super::tree::{Kind, NodeId, Tree};
use crate::finding::Severity;
use crate::map::palette::{Colour, INK};
use crate::report::document::{Block, Check, Fact, Figure, Noticed, Table};
use crate::report::draw::drawing::{Drawing, Item};

/// Small print, notes: at least 4.5:1 on white.
pub(super) const SOFT: Colour = Colour::new(0x44, 0x44, 0x44);
/// Lines: at least 3:1 on white.
pub(super) const RULE: Colour = Colour::new(0x76, 0x76, 0x76);
/// What stops.
pub(super) const STOP: Colour = Colour::new(0x8f, 0x14, 0x14);
const CAUTION: Colour = Colour::new(0x6b, 0x44, 0x00);
const NOTE: Colour = Colour::new(0x1d, 0x4f, 0x73);

/// Size of plain text. \[pt\]
pub(super) const TEXT: f64 = 8.4;
const SMALL: f64 = 7.2;
const GAP: f64 = 4.0;
/// Letters of drawings are shrunk no further. \[pt\]
const MINIMUM_LETTERS: f64 = 7.0;
/// Rows of a table that stay together at its beginning and at its end.
const TOGETHER: usize = 3;

/// Size of the smallest letters of a drawing.
fn minimum_letters(drawing: &Drawing) -> f64 {
    drawing
        .items
        .iter()
        .filter_map(|item| match item {
            Item::Text { style, .. } => Some(style.size),
            _ => None,
        })
        .fold(MINIMUM_LETTERS * 4.0, f64::min)
}

/// Keeps the first and the last rows of a table together, so that no page begins or ends with one or two of them. `head` rows above them are kept by themselves.
fn keep_ends(rows: &mut [Row], head: usize) {
    let count = rows.len() - head;
    for k in 0..count.saturating_sub(1) {
        // Row k is kept with the next one.
        let near_begin = k + 1 < TOGETHER;
        let near_end = k + TOGETHER >= count;
        rows[head + k].keep |= near_begin || near_end;
    }
}

/// What is painted, at a place below its row's upper left corner. \[pt\]
#[derive(Clone, Debug)]
pub(super) enum Mark {
    /// Text on its base line.
    Text {
        x: f64,
        y: f64,
        text: String,
        look: Look,
    },
    /// A straight line.
    Rule {
        from: (f64, f64),
        to: (f64, f64),
        width: f64,
        colour: Colour,
    },
    /// A drawing, scaled.
    Drawing {
        at: (f64, f64),
        scale: f64,
        drawing: Box<Drawing>,
    },
}

/// A mark and the branch that it belongs to; `None` is decoration.
pub(super) type Owned = (Mark, Option<NodeId>);

/// Marks that stay together.
#[derive(Clone, Debug, Default)]
pub(super) struct Row {
    /// Height. \[pt\]
    pub(super) height: f64,
    /// What is painted.
    pub(super) marks: Vec<Owned>,
    /// Whether the next row must stand on the same page.
    pub(super) keep: bool,
    /// The part that begins with this row.
    pub(super) begins: Option<usize>,
    /// Painted again, as decoration, where this row opens a page: the headings of its table.
    pub(super) again: Option<Box<Row>>,
}

impl Row {
    fn space(height: f64) -> Self {
        Self {
            height,
            ..Self::default()
        }
    }
    /// Moved to the right and down.
    fn moved(mut self, dx: f64, dy: f64) -> Self {
        for (mark, _) in &mut self.marks {
            match mark {
                Mark::Text { x, y, .. } => (*x, *y) = (*x + dx, *y + dy),
                Mark::Rule { from, to, .. } => {
                    (*from, *to) = ((from.0 + dx, from.1 + dy), (to.0 + dx, to.1 + dy));
                }
                Mark::Drawing { at, .. } => *at = (at.0 + dx, at.1 + dy),
            }
        }
        self
    }
}

/// Turns blocks into rows.
pub(super) struct Maker<'a> {
    pub(super) fonts: &'a Fonts,
    pub(super) tree: Tree,
    /// Height of an empty page. \[pt\]
    pub(super) page: f64,
    /// Share of their size that figures, and lines to write on, are drawn at.
    pub(super) shrink: f64,
    /// Which of the less high drawings of a figure is taken; 0 is none of them.
    pub(super) lower: usize,
}

const fn look(size: f64) -> Look {
    Look {
        size,
        bold: false,
        colour: INK,
    }
}

const fn bold(size: f64) -> Look {
    Look {
        size,
        bold: true,
        colour: INK,
    }
}

const fn soft(size: f64) -> Look {
    Look {
        size,
        bold: false,
        colour: SOFT,
    }
}

fn run(text: &str, look: Look) -> Run {
    Run {
        text: text.to_owned(),
        look,
    }
}

impl Maker<'_> {
    /// The rows of a block in a column of this width.
    pub(super) fn block(&mut self, block: &Block, parent: NodeId, width: f64) -> Vec<Row> {
        match block {
            Block::Heading(text) => self.heading(text, 3, 9.6, parent, width),
            Block::Lead(text) => {
                self.paragraph(&[run(text, bold(10.4))], parent, width, Kind::Paragraph)
            }
            Block::Text(text) => {
                self.paragraph(&[run(text, look(TEXT))], parent, width, Kind::Paragraph)
            }
            Block::Small(text) => {
                self.paragraph(&[run(text, soft(SMALL))], parent, width, Kind::Paragraph)
            }
            Block::Code(text) => {
                self.paragraph(&[run(text, bold(TEXT))], parent, width, Kind::Code)
            }
            Block::Facts(facts) => self.facts(facts, parent, width),
            Block::Big(facts) => self.big(facts, parent, width),
            Block::Table(table) => self.table(table, parent, width),
            Block::Figure(figure) => self.figure(figure, parent, width),
            Block::List(items) => {
                let items: Vec<Vec<Run>> = items
                    .iter()
                    .map(|item| vec![run(item, look(TEXT))])
                    .collect();
                self.list(&items, parent, width)
            }
            Block::Findings(list) => {
                let items: Vec<Vec<Run>> = list.iter().map(finding).collect();
                self.list(&items, parent, width)
            }
            Block::Checks(checks) => self.checks(checks, parent, width),
            Block::Blanks(items) => self.blanks(items, parent, width),
            Block::Signatures(items) => self.signatures(items, parent, width),
            Block::Beside(left, right) => self.beside(left, right, parent, width),
        }
    }

    /// A heading; stays with what follows.
    pub(super) fn heading(
        &mut self,
        text: &str,
        level: u16,
        size: f64,
        parent: NodeId,
        width: f64,
    ) -> Vec<Row> {
        let node = self
            .tree
            .grow(Some(parent), Kind::Heading(level, text.to_owned()));
        let mut row = self.text_row(&[run(text, bold(size))], width, node, 0.0);
        row.keep = true;
        let mut space = Row::space(size * 0.45);
        space.keep = true;
        vec![space, row]
    }

    /// Lines of text as one row.
    pub(super) fn text_row(&self, runs: &[Run], width: f64, node: NodeId, left: f64) -> Row {
        let mut row = Row::default();
        for line in lines(self.fonts, runs, width - left) {
            put_line(&mut row, &line, left, Some(node));
        }
        row
    }

    fn paragraph(&mut self, runs: &[Run], parent: NodeId, width: f64, kind: Kind) -> Vec<Row> {
        let node = self.tree.grow(Some(parent), kind);
        let mut row = self.text_row(runs, width, node, 0.0);
        row.height += GAP;
        vec![row]
    }

    fn list(&mut self, items: &[Vec<Run>], parent: NodeId, width: f64) -> Vec<Row> {
        let list = self.tree.grow(Some(parent), Kind::List);
        let mut rows = Vec::new();
        for item in items {
            let node = self.tree.grow(Some(list), Kind::Item);
            let body = self.tree.grow(Some(node), Kind::ItemBody);
            let mut row = self.text_row(item, width, body, 9.0);
            row.marks.push((
                Mark::Text {
                    x: 1.0,
                    y: TEXT,
                    text: "•".to_owned(),
                    look: look(TEXT),
                },
                None,
            ));
            row.height += 1.6;
            rows.push(row);
        }
        rows.push(Row::space(2.0));
        rows
    }

    fn facts(&mut self, facts: &[Fact], parent: NodeId, width: f64) -> Vec<Row> {
        let table = self.tree.grow(Some(parent), Kind::Table);
        let body = self.tree.grow(Some(table), Kind::Body);
        let left = width * 0.46;
        let mut rows = Vec::new();
        for fact in facts {
            let row_node = self.tree.grow(Some(body), Kind::Row);
            let label = self
                .tree
                .grow(Some(row_node), Kind::HeadCell { column: false });
            let value = self.tree.grow(Some(row_node), Kind::Cell);
            let mut row = self.text_row(&[run(&fact.label, soft(TEXT))], left - 4.0, label, 0.0);
            let mut runs = vec![run(&fact.value, bold(TEXT))];
            if !fact.note.is_empty() {
                runs.push(run(&format!("  {}", fact.note), soft(SMALL)));
            }
            let second = self.text_row(&runs, width - left, value, 0.0);
            row.height = row.height.max(second.height) + 1.2;
            row.marks.extend(second.moved(left, 0.0).marks);
            let under = row.height - 0.6;
            row.marks.push((
                Mark::Rule {
                    from: (0.0, under),
                    to: (width, under),
                    width: 0.35,
                    colour: RULE,
                },
                None,
            ));
            rows.push(row);
        }
        keep_ends(&mut rows, 0);
        rows.push(Row::space(2.0));
        rows
    }

    /// Large figures side by side: what it is above, what more is known below.
    fn big(&mut self, facts: &[Fact], parent: NodeId, width: f64) -> Vec<Row> {
        let list = self.tree.grow(Some(parent), Kind::List);
        let each = width / facts.len().max(1) as f64;
        let mut whole = Row::space(0.0);
        for (k, fact) in facts.iter().enumerate() {
            let node = self.tree.grow(Some(list), Kind::Item);
            let body = self.tree.grow(Some(node), Kind::ItemBody);
            let left = k as f64 * each;
            let room = each - 16.0;
            let mut column = self.text_row(&[run(&fact.label, soft(TEXT))], room, body, 0.0);
            for (text, look) in [(&fact.value, bold(17.0)), (&fact.note, soft(SMALL))] {
                let row = self.text_row(&[run(text, look)], room, body, 0.0);
                let below = column.height;
                column.height += row.height;
                column.marks.extend(row.moved(0.0, below).marks);
            }
            whole.height = whole.height.max(column.height + 2.0);
            whole.marks.extend(column.moved(left + 8.0, 2.0).marks);
        }
        for k in 0..facts.len() {
            let left = k as f64 * each;
            whole.marks.push((
                Mark::Rule {
                    from: (left + 1.5, 3.0),
                    to: (left + 1.5, whole.height),
                    width: 2.4,
                    colour: NOTE,
                },
                None,
            ));
        }
        whole.height += GAP + 2.0;
        vec![whole]
    }

    fn figure(&mut self, figure: &Figure, parent: NodeId, width: f64) -> Vec<Row> {
        let node = self
            .tree
            .grow(Some(parent), Kind::Figure(figure.alt.clone()));
        let full = width * figure.width;
        let drawing = figure
            .lower
            .iter()
            .take(self.lower)
            .next_back()
            .unwrap_or(&figure.drawing);
        let fit = (full / drawing.width).min(0.7 * self.page / drawing.height);
        // However little room there is, letters below this size nobody reads.
        let scale = (self.shrink * fit).max(fit.min(MINIMUM_LETTERS / minimum_letters(drawing)));
        let mut row = Row {
            height: drawing.height * scale,
            ..Row::default()
        };
        // In the middle of its column, should it be drawn smaller.
        let left = (full - drawing.width * scale) / 2.0;
        row.marks.push((
            Mark::Drawing {
                at: (left.max(0.0), 0.0),
                scale,
                drawing: Box::new(drawing.clone()),
            },
            Some(node),
        ));
        if !figure.caption.is_empty() {
            let caption = self.tree.grow(Some(parent), Kind::Paragraph);
            let words = self.text_row(&[run(&figure.caption, soft(SMALL))], width, caption, 0.0);
            let below = row.height + 1.0;
            row.height = below + words.height;
            row.marks.extend(words.moved(0.0, below).marks);
        }
        row.height += GAP;
        vec![row]
    }

    fn checks(&mut self, checks: &[Check], parent: NodeId, width: f64) -> Vec<Row> {
        let list = self.tree.grow(Some(parent), Kind::List);
        let mut rows = Vec::new();
        for check in checks {
            let node = self.tree.grow(Some(list), Kind::Item);
            let body = self.tree.grow(Some(node), Kind::ItemBody);
            let mut runs = vec![run(&check.label, bold(TEXT))];
            runs.extend(
                check
                    .value
                    .as_ref()
                    .map(|value| run(&format!("  {value}"), look(TEXT))),
            );
            let mut row = self.text_row(&runs, width, body, 14.0);
            row.height += 2.6 * self.shrink;
            let (a, b) = (1.0, 8.0);
            for (from, to) in [
                ((a, a), (b, a)),
                ((b, a), (b, b)),
                ((b, b), (a, b)),
                ((a, b), (a, a)),
            ] {
                row.marks.push((
                    Mark::Rule {
                        from,
                        to,
                        width: 0.7,
                        colour: INK,
                    },
                    None,
                ));
            }
            if check.value.is_some() {
                for (from, to) in [((2.4, 4.6), (4.0, 6.6)), ((4.0, 6.6), (7.0, 2.4))] {
                    row.marks.push((
                        Mark::Rule {
                            from,
                            to,
                            width: 1.1,
                            colour: INK,
                        },
                        None,
                    ));
                }
            } else {
                let from = 14.0
                    + self
                        .fonts
                        .of(true)
                        .width(&self.fonts.shown(&check.label), TEXT)
                    + 6.0;
                if from < width - 40.0 {
                    row.marks.push((
                        Mark::Rule {
                            from: (from, TEXT + 1.0),
                            to: (width, TEXT + 1.0),
                            width: 0.5,
                            colour: INK,
                        },
                        None,
                    ));
                } else {
                    row.height += 10.0;
                    let under = row.height - 2.0;
                    row.marks.push((
                        Mark::Rule {
                            from: (14.0, under),
                            to: (width, under),
                            width: 0.5,
                            colour: INK,
                        },
                        None,
                    ));
                }
            }
            rows.push(row);
        }
        rows.push(Row::space(2.0));
        rows
    }

    fn blanks(&mut self, items: &[String], parent: NodeId, width: f64) -> Vec<Row> {
        let list = self.tree.grow(Some(parent), Kind::List);
        let mut rows = Vec::new();
        for item in items {
            let node = self.tree.grow(Some(list), Kind::Item);
            let body = self.tree.grow(Some(node), Kind::ItemBody);
            let mut row = self
                .text_row(&[run(item, soft(SMALL))], width, body, 0.0)
                .moved(0.0, 9.0 * self.shrink);
            row.height += 9.0 * self.shrink + 2.0;
            let under = row.height - 1.0;
            row.marks.push((
                Mark::Rule {
                    from: (0.0, under),
                    to: (width, under),
                    width: 0.5,
                    colour: INK,
                },
                None,
            ));
            rows.push(row);
        }
        rows.push(Row::space(GAP));
        rows
    }

    fn signatures(&mut self, items: &[String], parent: NodeId, width: f64) -> Vec<Row> {
        let list = self.tree.grow(Some(parent), Kind::List);
        let each = width / items.len().max(1) as f64;
        let mut row = Row::space(0.0);
        for (k, item) in items.iter().enumerate() {
            let node = self.tree.grow(Some(list), Kind::Item);
            let body = self.tree.grow(Some(node), Kind::ItemBody);
            let left = k as f64 * each;
            let words = self.text_row(&[run(item, soft(SMALL))], each - 14.0, body, 0.0);
            row.height = row.height.max(words.height + 27.0);
            row.marks.extend(words.moved(left, 26.0).marks);
            row.marks.push((
                Mark::Rule {
                    from: (left, 25.0),
                    to: (left + each - 14.0, 25.0),
                    width: 0.6,
                    colour: INK,
                },
                None,
            ));
        }
        vec![row]
    }

    /// Two columns side by side where they fit on a page, else one after the other.
    fn beside(&mut self, left: &[Block], right: &[Block], parent: NodeId, width: f64) -> Vec<Row> {
        let gutter = 14.0;
        let each = (width - gutter) / 2.0;
        let column = |maker: &mut Self, blocks: &[Block]| -> Vec<Row> {
            blocks
                .iter()
                .flat_map(|block| maker.block(block, parent, each))
                .collect()
        };
        let (a, b) = (column(self, left), column(self, right));
        let height = |rows: &[Row]| rows.iter().map(|row| row.height).sum::<f64>();
        let most = height(&a).max(height(&b));
        if most > self.page {
            return a.into_iter().chain(b).collect();
        }
        let mut whole = Row::space(most);
        for (rows, dx) in [(a, 0.0), (b, each + gutter)] {
            let mut y = 0.0;
            for row in rows {
                let height = row.height;
                whole.marks.extend(row.moved(dx, y).marks);
                y += height;
            }
        }
        vec![whole]
    }

    fn table(&mut self, table: &Table, parent: NodeId, width: f64) -> Vec<Row> {
        let pad = 4.0;
        let widths = self.column_widths(table, width, pad);
        let mut rows = Vec::new();
        let node = self.tree.grow(Some(parent), Kind::Table);
        if !table.caption.is_empty() {
            let caption = self.tree.grow(Some(node), Kind::Caption);
            let mut row = self.text_row(&[run(&table.caption, bold(TEXT))], width, caption, 0.0);
            row.height += 1.5;
            row.keep = true;
            rows.push(row);
        }
        let head = self.tree.grow(Some(node), Kind::Head);
        let head_row = self.tree.grow(Some(head), Kind::Row);
        let headings: Vec<&str> = table
            .columns
            .iter()
            .map(|column| column.0.as_str())
            .collect();
        let mut header = self.cells(&headings, table, &widths, pad, bold(SMALL), head_row, true);
        let under = header.height - 0.4;
        header.marks.push((
            Mark::Rule {
                from: (0.0, under),
                to: (width, under),
                width: 0.9,
                colour: INK,
            },
            None,
        ));
        header.keep = true;
        let again = Box::new(header.clone());
        rows.push(header);
        let body = self.tree.grow(Some(node), Kind::Body);
        let head_rows = rows.len();
        for (k, cells) in table.rows.iter().enumerate() {
            let last = k + 1 == table.rows.len();
            let row_node = self.tree.grow(Some(body), Kind::Row);
            let texts: Vec<&str> = cells.iter().map(String::as_str).collect();
            let sum = table.summed && last;
            let mut row = self.cells(
                &texts,
                table,
                &widths,
                pad,
                if sum { bold(SMALL) } else { look(SMALL) },
                row_node,
                false,
            );
            let under = row.height - 0.3;
            row.marks.push((
                Mark::Rule {
                    from: (0.0, under),
                    to: (width, under),
                    width: 0.3,
                    colour: RULE,
                },
                None,
            ));
            if sum {
                row.marks.push((
                    Mark::Rule {
                        from: (0.0, 0.0),
                        to: (width, 0.0),
                        width: 0.9,
                        colour: INK,
                    },
                    None,
                ));
            }
            row.again = Some(again.clone());
            rows.push(row);
        }
        keep_ends(&mut rows, head_rows);
        rows.push(Row::space(GAP));
        rows
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "a row of a table is just that: cells, columns, look, place in the tree"
    )]
    fn cells(
        &mut self,
        cells: &[&str],
        table: &Table,
        widths: &[f64],
        pad: f64,
        look: Look,
        parent: NodeId,
        heads: bool,
    ) -> Row {
        let mut row = Row::default();
        let mut x = 0.0;
        for (k, ((text, width), (_, number))) in
            cells.iter().zip(widths).zip(&table.columns).enumerate()
        {
            let kind = if heads {
                Kind::HeadCell { column: true }
            } else if k == 0 {
                Kind::HeadCell { column: false }
            } else {
                Kind::Cell
            };
            let node = self.tree.grow(Some(parent), kind);
            let room = width - 2.0 * pad;
            let mut cell = Row::default();
            for line in lines(self.fonts, &[run(text, look)], room) {
                let left = if *number { room - line.width } else { 0.0 };
                put_line(&mut cell, &line, left, Some(node));
            }
            row.height = row.height.max(cell.height + 2.2);
            row.marks.extend(cell.moved(x + pad, 0.6).marks);
            x += width;
        }
        row
    }

    /// Every column as wide as its widest word at least and its widest cell at most; what is left over is shared out. A column without a word is there to be
    /// written in and gets a fair share.
    fn column_widths(&self, table: &Table, width: f64, pad: f64) -> Vec<f64> {
        let heading = |text: &str| natural_and_minimum(self.fonts, text, bold(SMALL));
        let mut sizes: Vec<(f64, f64)> = table
            .columns
            .iter()
            .map(|column| heading(&column.0))
            .map(|(natural, minimum)| (natural.min(0.12 * width).max(minimum), minimum))
            .collect();
        for (k, row) in table.rows.iter().enumerate() {
            let style = if table.summed && k + 1 == table.rows.len() {
                bold(SMALL)
            } else {
                look(SMALL)
            };
            for (size, cell) in sizes.iter_mut().zip(row) {
                let (natural, minimum) = natural_and_minimum(self.fonts, cell, style);
                // A hash or a path may be broken; it must not push all else aside.
                *size = (size.0.max(natural), size.1.max(minimum.min(0.28 * width)));
            }
        }
        for (k, size) in sizes.iter_mut().enumerate() {
            if !table.rows.is_empty()
                && table
                    .rows
                    .iter()
                    .all(|row| row.get(k).is_none_or(String::is_empty))
            {
                *size = (size.0.max(0.25 * width), size.1.max(0.2 * width));
            }
        }
        let sizes: Vec<(f64, f64)> = sizes
            .into_iter()
            .map(|(natural, minimum)| (natural.max(minimum) + 2.0 * pad, minimum + 2.0 * pad))
            .collect();
        let (natural, minimum) = sizes
            .iter()
            .fold((0.0, 0.0), |sum, size| (sum.0 + size.0, sum.1 + size.1));
        if natural <= width {
            let spare = (width - natural) / sizes.len().max(1) as f64;
            return sizes.iter().map(|size| size.0 + spare).collect();
        }
        if minimum >= width {
            return sizes.iter().map(|size| size.1 * width / minimum).collect();
        }
        let share = (width - minimum) / (natural - minimum);
        sizes
            .iter()
            .map(|size| size.1 + (size.0 - size.1) * share)
            .collect()
    }
}

fn put_line(row: &mut Row, line: &Line, left: f64, node: Option<NodeId>) {
    let base = row.height + line.size * 1.02;
    for span in &line.spans {
        row.marks.push((
            Mark::Text {
                x: left + span.x,
                y: base,
                text: span.text.clone(),
                look: span.look,
            },
            node,
        ));
    }
    row.height += line.height();
}

fn finding(one: &Noticed) -> Vec<Run> {
    let colour = match one.severity {
        Severity::Stop => STOP,
        Severity::Caution => CAUTION,
        Severity::Note => NOTE,
    };
    let mut runs = vec![
        run(
            &one.word,
            Look {
                size: TEXT,
                bold: true,
                colour,
            },
        ),
        run(&format!(" {}", one.message), look(TEXT)),
    ];
    if !one.code.is_empty() {
        runs.push(run(&format!(" {}", one.code), soft(SMALL)));
    }
    runs
}
