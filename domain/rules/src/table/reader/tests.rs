use proptest::prelude::*;

use super::*;

fn read_in_pieces(bytes: &[u8], piece: usize) -> Result<Vec<Row>, Invalid> {
    let mut rows = Vec::new();
    let mut reader = Reader::default();
    for piece in bytes.chunks(piece.max(1)) {
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

fn read(text: &str) -> Vec<Vec<String>> {
    let rows = read_in_pieces(text.as_bytes(), 7).expect("read");
    rows.into_iter().map(|row| row.cells).collect()
}

/// RFC 4180, section 2: its rules 1 to 7, each with its own example.
#[test]
fn the_examples_of_rfc_4180_are_read() {
    let both = [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]];
    for text in [
        "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n",
        "aaa,bbb,ccc\r\nzzz,yyy,xxx",
        "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx",
    ] {
        assert_eq!(read(text), both);
    }
    assert_eq!(
        read("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx"),
        [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]
    );
    assert_eq!(
        read("\"aaa\",\"b\"\"bb\",\"ccc\""),
        [["aaa", "b\"bb", "ccc"]]
    );
}

/// Found by a fuzzer.
#[test]
fn a_mark_that_is_not_at_the_beginning_is_text_however_it_is_cut() {
    let table = "\n\u{feff}a,b\n1,2\n".as_bytes();
    let whole = read_in_pieces(table, table.len()).expect("read");
    assert_eq!(whole[0].cells, ["\u{feff}a", "b"]);
    for piece in 1..table.len() {
        assert_eq!(read_in_pieces(table, piece).expect("read"), whole);
    }
}

#[test]
fn separators_line_ends_and_a_mark_make_no_difference() {
    for text in [
        "a;b\n1;2\n",
        "a\tb\r1\t2\r",
        "\u{feff}a,b\r\n1,2",
        "a,b\n\n\n1,2\n\n",
        "a,b\n,\n1,2",
    ] {
        assert_eq!(read(text), [["a", "b"], ["1", "2"]], "{text:?}");
    }
    let numbered = |text: &str| {
        let rows = read_in_pieces(text.as_bytes(), 1).expect("read");
        rows.iter().map(|row| row.number).collect::<Vec<_>>()
    };
    assert_eq!(numbered("a,b\r\n1,2\r\n\r\n,\r\n3,4\r\n"), [1, 2, 5]);
    assert_eq!(numbered("a,b\n\"1\n1\",2\n\n3,4"), [1, 2, 4]);
    assert_eq!(numbered("\n\na\nb"), [3, 4]);
}

#[test]
fn what_no_table_may_be_is_named_by_its_row() {
    let fault = |bytes: &[u8]| read_in_pieces(bytes, 3).expect_err("a fault").field;
    assert_eq!(fault(b"a,b\n1,\"2\n3,4\n"), "row 2");
    assert_eq!(fault(b"a,b\n1,\xff\n"), "row 2");
    assert_eq!(fault(b"a,b\n1,2\n\0,4\n"), "row 3");
    assert_eq!(fault(b"\xff\xfea\0"), "row 1");
    assert_eq!(
        fault(format!("a\n{}\n", "x".repeat(CELL_CHARS_MAX + 1)).as_bytes()),
        "row 2"
    );
    assert_eq!(
        fault(format!("a\n{}\n", ",".repeat(COLUMNS_MAX)).as_bytes()),
        "row 2"
    );
    assert_eq!(
        fault(format!("a\n\"{}", "x".repeat(ROW_BYTES_MAX + 1)).as_bytes()),
        "row 2"
    );
    assert_eq!(fault("x".repeat(HEADER_BYTES_MAX + 10).as_bytes()), "row 1");
    let full = format!(
        "a\n{}\n",
        vec!["x".repeat(CELL_CHARS_MAX); COLUMNS_MAX].join(",")
    );
    assert_eq!(
        read_in_pieces(full.as_bytes(), 1000).expect("read").len(),
        2
    );
}

proptest! {
    /// Whatever comes, in whatever pieces, is read or refused, and the same way.
    #[test]
    fn arbitrary_bytes_are_read_or_refused(bytes in proptest::collection::vec(prop_oneof![any::<u8>(), Just(b','), Just(b'"'), Just(b'\n'), Just(b'\r')], 0..400), piece in 1_usize..50) {
        let whole = read_in_pieces(&bytes, usize::MAX);
        prop_assert_eq!(&read_in_pieces(&bytes, piece), &whole);
        if let Ok(rows) = whole {
            prop_assert!(rows.windows(2).all(|two| two[0].number < two[1].number));
        }
    }
}
