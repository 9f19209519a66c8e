//! What is what on a page, for those who cannot see it: the tags of the PDF.

use std::num::NonZeroU16;

use krilla::tagging::{Identifier, ListNumbering, Node, TableHeaderScope, Tag, TagGroup, TagTree};

/// What a part of the document is.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Kind {
    /// A part with a heading.
    Section,
    /// A heading: level and text.
    Heading(u16, String),
    /// A paragraph.
    Paragraph,
    /// A list.
    List,
    /// An item of it.
    Item,
    /// What an item says.
    ItemBody,
    /// A table.
    Table,
    /// Its headings.
    Head,
    /// Its rows.
    Body,
    /// A row.
    Row,
    /// A heading of a column or of a row.
    HeadCell {
        /// Whether it heads a column.
        column: bool,
    },
    /// A cell.
    Cell,
    /// A drawing, in words.
    Figure(String),
    /// Words below a drawing or above a table.
    Caption,
    /// Text to be copied.
    Code,
}

/// A place in the tree.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct NodeId(usize);

struct Branch {
    kind: Kind,
    parent: Option<NodeId>,
    children: Vec<NodeId>,
    content: Vec<Identifier>,
}

/// The tree while it grows.
#[derive(Default)]
pub(super) struct Tree {
    branches: Vec<Branch>,
}

impl Tree {
    /// A new branch, last below its parent.
    pub(super) fn grow(&mut self, parent: Option<NodeId>, kind: Kind) -> NodeId {
        let id = NodeId(self.branches.len());
        self.branches.push(Branch {
            kind,
            parent,
            children: Vec::new(),
            content: Vec::new(),
        });
        if let Some(NodeId(parent)) = parent {
            self.branches[parent].children.push(id);
        }
        id
    }
    /// Content that was painted for a branch.
    pub(super) fn painted(&mut self, NodeId(id): NodeId, content: Identifier) {
        self.branches[id].content.push(content);
    }
    /// The tree as the PDF holds it.
    pub(super) fn finish(&self, language: &str) -> TagTree {
        let mut tree = TagTree::new().with_lang(Some(language.to_owned()));
        for (k, branch) in self.branches.iter().enumerate() {
            if branch.parent.is_none() {
                tree.push(self.group(NodeId(k)));
            }
        }
        tree
    }

    fn group(&self, NodeId(id): NodeId) -> TagGroup {
        let branch = &self.branches[id];
        let mut children: Vec<Node> = branch
            .content
            .iter()
            .map(|content| Node::Leaf(*content))
            .collect();
        children.extend(
            branch
                .children
                .iter()
                .map(|child| Node::Group(self.group(*child))),
        );
        match &branch.kind {
            Kind::Section => TagGroup::with_children(Tag::Section, children),
            Kind::Heading(level, title) => TagGroup::with_children(
                Tag::Hn(
                    NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN),
                    Some(title.clone()),
                ),
                children,
            ),
            Kind::Paragraph => TagGroup::with_children(Tag::P, children),
            Kind::List => TagGroup::with_children(Tag::L(ListNumbering::None), children),
            Kind::Item => TagGroup::with_children(Tag::LI, children),
            Kind::ItemBody => TagGroup::with_children(Tag::LBody, children),
            Kind::Table => TagGroup::with_children(Tag::Table, children),
            Kind::Head => TagGroup::with_children(Tag::THead, children),
            Kind::Body => TagGroup::with_children(Tag::TBody, children),
            Kind::Row => TagGroup::with_children(Tag::TR, children),
            Kind::HeadCell { column } => TagGroup::with_children(
                Tag::TH(if *column {
                    TableHeaderScope::Column
                } else {
                    TableHeaderScope::Row
                }),
                children,
            ),
            Kind::Cell => TagGroup::with_children(Tag::TD, children),
            Kind::Figure(alt) => TagGroup::with_children(Tag::Figure(Some(alt.clone())), children),
            Kind::Caption => TagGroup::with_children(Tag::Caption, children),
            Kind::Code => TagGroup::with_children(Tag::Code, children),
        }
    }
}
