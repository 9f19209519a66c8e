//! A small XML writer: elements with attributes, text, everything escaped.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// A document in the making.
pub(crate) struct Xml {
    inner: Writer<Vec<u8>>,
}

impl Xml {
    /// An empty document; with its declaration if told.
    pub(crate) fn new(declared: bool) -> std::io::Result<Self> {
        let mut inner = Writer::new_with_indent(Vec::new(), b' ', 1);
        if declared {
            inner.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        }
        Ok(Self { inner })
    }
    /// The document type of an XML file that names no file.
    pub(crate) fn doctype(&mut self, text: &str) -> std::io::Result<()> {
        self.inner
            .write_event(Event::DocType(BytesText::from_escaped(text)))
    }
    /// Opens an element.
    pub(crate) fn open(&mut self, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
        self.inner.write_event(Event::Start(
            BytesStart::new(name).with_attributes(attributes.iter().copied()),
        ))
    }
    /// An element without content.
    pub(crate) fn leaf(&mut self, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
        self.inner.write_event(Event::Empty(
            BytesStart::new(name).with_attributes(attributes.iter().copied()),
        ))
    }
    /// An element that holds text alone.
    pub(crate) fn text(
        &mut self,
        name: &str,
        attributes: &[(&str, &str)],
        text: &str,
    ) -> std::io::Result<()> {
        self.inner.write_event(Event::Start(
            BytesStart::new(name).with_attributes(attributes.iter().copied()),
        ))?;
        self.inner
            .write_event(Event::Text(BytesText::new(&plain(text))))?;
        self.inner.write_event(Event::End(BytesEnd::new(name)))
    }
    /// Closes an element.
    pub(crate) fn close(&mut self, name: &str) -> std::io::Result<()> {
        self.inner.write_event(Event::End(BytesEnd::new(name)))
    }
    /// The document.
    pub(crate) fn finish(self) -> Vec<u8> {
        let mut bytes = self.inner.into_inner();
        bytes.push(b'\n');
        bytes
    }
}

/// Without the control characters that XML cannot hold.
pub(crate) fn plain(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_control() || matches!(c, '\n' | '\t'))
        .collect()
}
