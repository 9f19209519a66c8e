//! The table of a shapefile.
//!
//! # Source
//! dBase III header and field descriptors, from memory: records in bytes 4 to 7, header length 8 to 9, record length 10 to 11, 32 bytes a field.

use crate::map::imported::Attribute;

/// A column as the header describes it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Field {
    pub(super) name: String,
    pub(super) kind: char,
    length: usize,
}

/// Columns and rows.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct DbfTable {
    pub(super) fields: Vec<Field>,
    pub(super) rows: Vec<Vec<Attribute>>,
    /// Rows that the header promises and the file does not hold.
    pub(super) lost: usize,
    /// Rows that the file has room for beyond those that its header promises.
    pub(super) beyond: usize,
}

fn u16_at(bytes: &[u8], at: usize) -> Option<usize> {
    Some(usize::from(u16::from_le_bytes(
        bytes.get(at..at + 2)?.try_into().ok()?,
    )))
}

/// Text in UTF-8, else in Latin-1, of which every byte is a letter.
fn text(bytes: &[u8]) -> String {
    std::str::from_utf8(bytes).map_or_else(
        |_| bytes.iter().map(|&byte| char::from(byte)).collect(),
        str::to_owned,
    )
}

/// Reads a table; `None` when the header makes no sense.
pub(super) fn read(bytes: &[u8]) -> Option<DbfTable> {
    let promised = u32::from_le_bytes(bytes.get(4..8)?.try_into().ok()?) as usize;
    let (header, length) = (u16_at(bytes, 8)?, u16_at(bytes, 10)?);
    let mut table = DbfTable::default();
    let mut at = 32;
    while at + 32 <= header.min(bytes.len()) && bytes.get(at) != Some(&0x0d) {
        let field = bytes.get(at..at + 32)?;
        let name: Vec<u8> = field[..11]
            .iter()
            .copied()
            .take_while(|&byte| byte != 0)
            .collect();
        table.fields.push(Field {
            name: text(&name).trim().to_owned(),
            kind: char::from(field[11]),
            length: usize::from(field[16]),
        });
        at += 32;
    }
    let wide: usize = 1 + table.fields.iter().map(|field| field.length).sum::<usize>();
    if length < wide || table.fields.is_empty() {
        return None;
    }
    let body = bytes.get(header..)?;
    for row in body.chunks_exact(length).take(promised) {
        let mut at = 1;
        let mut values = Vec::with_capacity(table.fields.len());
        for field in &table.fields {
            values.push(value(field, row.get(at..at + field.length)?));
            at += field.length;
        }
        table.rows.push(values);
    }
    table.lost = promised.saturating_sub(table.rows.len());
    table.beyond = (body.len() / length).saturating_sub(promised);
    Some(table)
}

fn value(field: &Field, raw: &[u8]) -> Attribute {
    let written = text(raw);
    let trimmed = written.trim_matches(|c: char| c == ' ' || c == '\0');
    if trimmed.is_empty() {
        return Attribute::Null;
    }
    match field.kind {
        'N' | 'F' => {
            if let Ok(whole) = trimmed.parse::<i64>() {
                Attribute::Whole(whole)
            } else if let Ok(real) = trimmed.parse::<f64>() {
                Attribute::Real(real)
            } else if trimmed.chars().all(|c| c == '*') {
                // Stars fill a number that did not fit: nothing to be read.
                Attribute::Text(trimmed.to_owned())
            } else {
                Attribute::Text(trimmed.to_owned())
            }
        }
        _ => Attribute::Text(trimmed.to_owned()),
    }
}
