//! Rows into CSV, and the guard against spreadsheets that take a cell for a formula.
//!
//! A text cell that begins with `=`, `+`, `-`, `@`, a tab or a carriage return is written with an apostrophe before it,
//! unless it is a number; so is one that begins with an apostrophe before one of these or before another. Reading takes
//! that apostrophe away again, so every text comes back as it was. (OWASP, CSV Injection.)

use super::{Conventions, cell};

fn is_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r'])
}

fn is_guarded(text: &str) -> bool {
    text.strip_prefix('\'')
        .is_some_and(|rest| is_formula(rest) || rest.starts_with('\''))
}

/// The text as a cell that no spreadsheet takes for a formula.
pub fn guard(text: &str) -> String {
    let is_number = || cell::number(text, Conventions::default()).is_ok();
    if is_guarded(text) || (is_formula(text) && !is_number()) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// The text that was guarded.
pub fn unguard(cell: &str) -> &str {
    if is_guarded(cell) { &cell[1..] } else { cell }
}

/// Appends a row as RFC 4180 has it: cells in quotes where they must be, the line ended by CRLF. The cells are guarded
/// already where they are text.
pub fn write_row<'a>(out: &mut String, cells: impl IntoIterator<Item = &'a str>) {
    for (place, cell) in cells.into_iter().enumerate() {
        if place > 0 {
            out.push(',');
        }
        let blank_edge = cell.starts_with(' ') || cell.ends_with(' ');
        if blank_edge || cell.contains([',', '"', '\r', '\n', ';', '\t']) {
            out.push('"');
            out.push_str(&cell.replace('"', "\"\""));
            out.push('"');
        } else {
            out.push_str(cell);
        }
    }
    out.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::Invalid;
    use crate::table::reader::Reader;

    #[test]
    fn what_could_be_a_formula_is_guarded_and_comes_back() {
        for (text, cell) in [
            ("=1+1", "'=1+1"),
            ("@x", "'@x"),
            ("-5", "-5"),
            ("+5 turns", "'+5 turns"),
            ("- loose", "'- loose"),
            ("'=x", "''=x"),
            ("''", "'''"),
            ("'tis worn", "'tis worn"),
            ("\tx", "'\tx"),
        ] {
            assert_eq!(guard(text), cell);
            assert_eq!(unguard(cell), text);
        }
    }

    proptest! {
        #[test]
        fn every_text_comes_back(texts in proptest::collection::vec("[=+@'\t\r\n \",;a-]{0,6}|\\PC{0,8}", 1..5)) {
            let mut out = String::new();
            let head: Vec<String> = texts.iter().map(|_| "h".to_owned()).collect();
            write_row(&mut out, head.iter().map(String::as_str));
            let guarded: Vec<String> = texts.iter().map(|text| guard(text)).collect();
            write_row(&mut out, guarded.iter().map(String::as_str));
            let mut rows = Vec::new();
            let mut reader = Reader::default();
            let mut take = |row: crate::table::reader::Row| { rows.push(row.cells); Ok::<_, Invalid>(()) };
            reader.push(out.as_bytes(), &mut take).unwrap();
            reader.finish(&mut take).unwrap();
            if texts.iter().any(|text| !text.trim().is_empty()) {
                let back: Vec<&str> = rows[1].iter().map(|cell| unguard(cell)).collect();
                prop_assert_eq!(back, texts.iter().map(String::as_str).collect::<Vec<_>>());
            }
        }
    }
}
