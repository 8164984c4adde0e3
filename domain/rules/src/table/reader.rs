//! Bytes into rows, as they come and without keeping more than one row: RFC 4180 in UTF-8, with a byte order mark or
//! without, lines ended by CRLF, LF or CR, cells parted by comma, semicolon or tab.

use csv_core::{ReadRecordResult, ReaderBuilder};

use super::header::{COLUMNS_MAX, separator};
use crate::Invalid;

/// The most characters of a cell.
pub const CELL_CHARS_MAX: usize = 10_000;
/// The most bytes of a row.
const ROW_BYTES_MAX: usize = 1024 * 1024;
/// The most bytes of the first line.
const HEADER_BYTES_MAX: usize = 64 * 1024;

/// A row of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Its number as spreadsheets count: the header is 1 unless blank lines stand before it.
    pub number: u32,
    /// Its cells.
    pub cells: Vec<String>,
}

/// Takes bytes in pieces of any size and hands out rows, the header first. Rows without any text are counted and not
/// handed out.
pub struct Reader {
    /// `None` until the first line has come.
    core: Option<csv_core::Reader>,
    head: Vec<u8>,
    output: Vec<u8>,
    ends: Vec<usize>,
    /// Where the output and the ends of the row under way stop.
    filled: (usize, usize),
    /// Whether bytes of a row are under way.
    within: bool,
    last: u8,
    number: u32,
}

impl Default for Reader {
    fn default() -> Self {
        Self {
            core: None,
            head: Vec::new(),
            output: vec![0; 16 * 1024],
            ends: vec![0; COLUMNS_MAX + 1],
            filled: (0, 0),
            within: false,
            last: 0,
            number: 1,
        }
    }
}

impl Reader {
    /// Reads a piece; `take` is given each row that ends in it.
    ///
    /// # Errors
    /// What no row may be, named by its number, and whatever `take` refuses: then the reader is done.
    pub fn push<E: From<Invalid>>(
        &mut self,
        bytes: &[u8],
        mut take: impl FnMut(Row) -> Result<(), E>,
    ) -> Result<(), E> {
        if self.core.is_some() {
            return self.feed(bytes, &mut take);
        }
        self.head.extend_from_slice(bytes);
        if first_line(&self.head).is_some() {
            return self.begin(&mut take);
        }
        if self.head.len() > HEADER_BYTES_MAX {
            return Err(at(1, format!("has no end within {HEADER_BYTES_MAX} bytes; a table begins with a line that names its columns")).into());
        }
        Ok(())
    }

    /// Reads what is left at the end.
    ///
    /// # Errors
    /// As [`Reader::push`], and a quote that was opened and never closed.
    pub fn finish<E: From<Invalid>>(
        mut self,
        mut take: impl FnMut(Row) -> Result<(), E>,
    ) -> Result<(), E> {
        if self.core.is_none() {
            self.begin(&mut take)?;
        }
        if self.within {
            // Outside quotes this ends the row.
            self.feed(b"\n", &mut take)?;
        }
        if self.within {
            return Err(at(self.number, "opens a quote that is never closed; close it, or write a quote within a cell twice").into());
        }
        Ok(())
    }

    fn begin<E: From<Invalid>>(
        &mut self,
        take: &mut impl FnMut(Row) -> Result<(), E>,
    ) -> Result<(), E> {
        let head = std::mem::take(&mut self.head);
        if head.starts_with(&[0xff, 0xfe]) || head.starts_with(&[0xfe, 0xff]) {
            return Err(at(1, "is in UTF-16; save the table as CSV in UTF-8").into());
        }
        let text = head.strip_prefix("\u{feff}".as_bytes()).unwrap_or(&head);
        let line = first_line(text).unwrap_or(text);
        let mut core = ReaderBuilder::new().delimiter(separator(line)).build();
        // csv-core takes a byte order mark away by itself, if its first piece begins with a whole one. A blank line is
        // that piece: what comes out must not depend on how a table is cut.
        core.read_record(b"\n", &mut self.output, &mut self.ends);
        self.core = Some(core);
        self.feed(text, take)
    }

    fn feed<E: From<Invalid>>(
        &mut self,
        mut bytes: &[u8],
        take: &mut impl FnMut(Row) -> Result<(), E>,
    ) -> Result<(), E> {
        while !bytes.is_empty() {
            if !self.within {
                // csv-core passes over blank lines; a spreadsheet counts them.
                let byte = bytes[0];
                if matches!(byte, b'\r' | b'\n') {
                    if !(byte == b'\n' && self.last == b'\r') {
                        self.number += 1;
                    }
                    self.last = byte;
                    bytes = &bytes[1..];
                    continue;
                }
                self.within = true;
            }
            bytes = self.step(bytes, take)?;
        }
        Ok(())
    }

    fn step<'a, E: From<Invalid>>(
        &mut self,
        bytes: &'a [u8],
        take: &mut impl FnMut(Row) -> Result<(), E>,
    ) -> Result<&'a [u8], E> {
        let (output, ends) = self.filled;
        let core = self.core.as_mut().expect("begun before it is fed");
        let (result, read, written, ended) =
            core.read_record(bytes, &mut self.output[output..], &mut self.ends[ends..]);
        self.filled = (output + written, ends + ended);
        if read > 0 {
            self.last = bytes[read - 1];
        }
        match result {
            ReadRecordResult::OutputFull if self.output.len() >= ROW_BYTES_MAX => {
                return Err(at(
                    self.number,
                    format!("has more than {ROW_BYTES_MAX} bytes; perhaps a quote is not closed"),
                )
                .into());
            }
            ReadRecordResult::OutputFull => self.output.resize(self.output.len() * 2, 0),
            ReadRecordResult::OutputEndsFull => {
                return Err(at(self.number, format!("has more than {COLUMNS_MAX} cells")).into());
            }
            ReadRecordResult::Record => {
                let cells = self.cells()?;
                let number = self.number;
                self.number += 1;
                self.filled = (0, 0);
                self.within = false;
                if cells.iter().any(|cell| !cell.trim().is_empty()) {
                    take(Row { number, cells })?;
                }
            }
            ReadRecordResult::InputEmpty | ReadRecordResult::End => {}
        }
        Ok(&bytes[read..])
    }

    fn cells(&self) -> Result<Vec<String>, Invalid> {
        let mut from = 0;
        let mut cells = Vec::with_capacity(self.filled.1);
        if self.filled.1 > COLUMNS_MAX {
            return Err(at(
                self.number,
                format!("has more than {COLUMNS_MAX} cells"),
            ));
        }
        for (place, end) in self.ends[..self.filled.1].iter().enumerate() {
            let fault =
                |problem: String| at(self.number, format!("{problem} in its cell {}", place + 1));
            let text = std::str::from_utf8(&self.output[from..*end]).map_err(|_| {
                fault("is not UTF-8: save the table as CSV in UTF-8; the fault is".to_owned())
            })?;
            if text.len() > CELL_CHARS_MAX && text.chars().count() > CELL_CHARS_MAX {
                return Err(fault(format!("has more than {CELL_CHARS_MAX} characters")));
            }
            if text.contains('\0') {
                return Err(fault("has a NUL character".to_owned()));
            }
            cells.push(text.to_owned());
            from = *end;
        }
        Ok(cells)
    }
}

fn at(row: u32, problem: impl Into<String>) -> Invalid {
    Invalid::new(format!("row {row}"), problem)
}

/// The first line, once it has ended outside quotes.
fn first_line(bytes: &[u8]) -> Option<&[u8]> {
    let mut quoted = false;
    let end = bytes.iter().position(|byte| {
        if *byte == b'"' {
            quoted = !quoted;
        }
        !quoted && matches!(byte, b'\r' | b'\n')
    });
    end.map(|end| &bytes[..end])
}

#[cfg(test)]
mod tests;
