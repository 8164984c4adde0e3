//! A table: its first byte says how it is taken, the rest is the table.

use jiff::tz::TimeZone;
use rimeyard_rules::Invalid;
use rimeyard_rules::table::header::understand;
use rimeyard_rules::table::reader::{Reader, Row};
use rimeyard_rules::table::row::{Cells, Layout};
use rimeyard_rules::table::writer::{guard, unguard, write_row};
use rimeyard_rules::table::{Conventions, Dates, Decimal, What};

/// However it is cut into pieces, the same rows or the same fault come out; every cell can be asked for anything; and
/// written again as an export writes, each cell reads back as it was.
pub fn target(bytes: &[u8]) {
    let Some((&how, table)) = bytes.split_first() else {
        return;
    };
    let whole = read(table, table.len());
    let pieces = read(table, 1 + usize::from(how % 13));
    assert_eq!(whole.as_ref().ok(), pieces.as_ref().ok());
    assert_eq!(whole.is_err(), pieces.is_err());
    let Ok(rows) = whole else { return };
    written_again(&rows);
    let Some((header, rows)) = rows.split_first() else {
        return;
    };
    let what = What::ALL[usize::from(how) % What::ALL.len()];
    let conventions = Conventions {
        dates: [None, Some(Dates::MonthFirst), Some(Dates::DayFirst)][usize::from(how / 6 % 3)],
        decimal: [Decimal::Point, Decimal::Comma][usize::from(how / 18 % 2)],
    };
    let Ok(columns) = understand(what, &header.cells, how / 36 % 2 == 0) else {
        return;
    };
    let layout = Layout::new(what, &columns, conventions);
    for row in rows {
        ask_everything(what, &layout, &row.cells);
    }
}

fn read(table: &[u8], piece: usize) -> Result<Vec<Row>, Invalid> {
    let mut rows = Vec::new();
    let mut reader = Reader::default();
    for piece in table.chunks(piece.max(1)) {
        reader.push(piece, |row| {
            rows.push(row);
            Ok::<_, Invalid>(())
        })?;
    }
    reader.finish(|row| {
        rows.push(row);
        Ok::<_, Invalid>(())
    })?;
    Ok(rows)
}

fn ask_everything(what: What, layout: &Layout, cells: &[String]) {
    let mut row = Cells::new(layout, cells);
    for name in what.columns().iter().map(|column| column.name) {
        let _ = (row.text(name), row.verbatim(name), row.required(name));
        if let Some(number) = row.number(name) {
            assert!(number.is_finite());
            if let Some(unit) = row.unit(name) {
                let _ = unit.to_si(number);
            }
        }
        if let Some(number) = row.whole(name, -5, 1_000_000) {
            assert!((-5..=1_000_000).contains(&number));
        }
        let _ = (row.yes_no(name), row.day(name));
        let _ = row.instant(name, &TimeZone::UTC);
        let _: Option<What> = row.word(name, &["units", "snowfall", "meter-readings"]);
    }
    for fault in row.into_faults() {
        assert!(!fault.problem.is_empty());
    }
}

/// Only the cells: where a header has other separators in it, another one may be taken for the table's.
fn written_again(rows: &[Row]) {
    let header = (0..100).map(|number| format!("h{number}"));
    let header: Vec<String> = header.collect();
    let mut out = String::new();
    write_row(&mut out, header.iter().map(String::as_str));
    let mut written = Vec::new();
    for row in rows {
        let cells: Vec<String> = row.cells.iter().map(|cell| guard(cell)).collect();
        write_row(&mut out, cells.iter().map(String::as_str));
        written.push(row);
    }
    // The guard lengthens a cell that may be as long as one may be already.
    let Ok(again) = read(out.as_bytes(), 4096) else {
        assert!(
            rows.iter()
                .flat_map(|row| &row.cells)
                .any(|cell| cell.chars().count() >= 10_000)
        );
        return;
    };
    let again: Vec<Vec<&str>> = again[1..]
        .iter()
        .map(|row| row.cells.iter().map(|cell| unguard(cell)).collect())
        .collect();
    let rows: Vec<Vec<&str>> = written
        .iter()
        .map(|row| row.cells.iter().map(String::as_str).collect())
        .collect();
    assert_eq!(again, rows);
}
