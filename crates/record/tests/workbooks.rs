//! Workbooks: the sheet with the log is found, dates and spans are read as such.

#![allow(clippy::unwrap_used)]

use std::io::{Cursor, Write};

use record::{ErrorKind, ReadOptions, Record, RecordError};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

fn zip(files: &[(&str, String)]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, text) in files {
        writer.start_file(*name, stored).unwrap();
        writer.write_all(text.as_bytes()).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn ods(tables: &str) -> Vec<u8> {
    let kind = "application/vnd.oasis.opendocument.spreadsheet";
    zip(&[
        ("mimetype", kind.to_owned()),
        (
            "META-INF/manifest.xml",
            r#"<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>"#.to_owned(),
        ),
        (
            "content.xml",
            format!(
                r#"<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"#
            ),
        ),
    ])
}

fn table(name: &str, rows: &[Vec<String>]) -> String {
    let rows: String = rows
        .iter()
        .map(|cells| format!("<table:table-row>{}</table:table-row>", cells.concat()))
        .collect();
    format!(r#"<table:table table:name="{name}">{rows}</table:table>"#)
}

fn text(value: &str) -> String {
    format!(
        r#"<table:table-cell office:value-type="string"><text:p>{value}</text:p></table:table-cell>"#
    )
}

fn number(value: f64) -> String {
    format!(
        r#"<table:table-cell office:value-type="float" office:value="{value}"><text:p>{value}</text:p></table:table-cell>"#
    )
}

fn date(value: &str) -> String {
    format!(
        r#"<table:table-cell office:value-type="date" office:date-value="{value}"><text:p>x</text:p></table:table-cell>"#
    )
}

fn span(value: &str) -> String {
    format!(
        r#"<table:table-cell office:value-type="time" office:time-value="{value}"><text:p>x</text:p></table:table-cell>"#
    )
}

fn read(bytes: &[u8], sheet: Option<&str>) -> Result<Record, RecordError> {
    let options = ReadOptions { sheet: sheet.map(str::to_owned), ..ReadOptions::default() };
    record::read_bytes("book", bytes, &options)
}

fn log(time: impl Fn(usize) -> String) -> Vec<Vec<String>> {
    let heading = vec![text("When"), text("U [V]"), text("I [A]")];
    let rows = (0..3).map(|row| vec![time(row), number(13.2 - 0.1 * row as f64), number(4.5)]);
    std::iter::once(heading).chain(rows).collect()
}

#[test]
fn open_document() {
    let notes = table("notes", &[vec![text("bench test of a pack")], vec![text("nothing here")]]);
    let dated = table("dated", &log(|row| date(&format!("2026-05-02T23:59:{:02}", 30 + 15 * row))));
    let spans = table("spans", &log(|row| span(&format!("PT00H{row:02}M00S"))));
    // the last second of a minute has no 60
    let dated = dated.replace("23:59:60", "23:59:59");
    let book = ods(&format!("{notes}{dated}{spans}"));
    let record = read(&book, None).unwrap();
    assert_eq!(record.samples.elapsed_s, [0.0, 15.0, 29.0]);
    assert_eq!(record.local_start.unwrap().to_string(), "2026-05-02T23:59:30");
    assert_eq!(record.samples.current_a, [4.5; 3]);
    let record = read(&book, Some("spans")).unwrap();
    assert_eq!(record.samples.elapsed_s, [0.0, 60.0, 120.0]);
    assert_eq!(read(&book, Some("notes")).unwrap_err().kind, ErrorKind::NoHeading);
    let error = read(&book, Some("absent")).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Column);
    assert!(error.help.contains("dated"));
}

#[test]
fn harmed_workbooks() {
    let whole = ods(&table("log", &log(|row| number(row as f64))));
    for cut in [5, 40, whole.len() / 2, whole.len() - 3] {
        assert!(read(&whole[..cut], None).is_err());
    }
    let empty = ods("");
    assert!(read(&empty, None).is_err());
}

/// A cell at the far corner of a sheet must not cost the whole sheet's memory.
#[test]
fn far_corner() {
    let mut files: Vec<(&str, String)> = vec![
        ("[Content_Types].xml", "<Types/>".to_owned()),
        (
            "_rels/.rels",
            r#"<Relationships><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#.to_owned(),
        ),
        (
            "xl/workbook.xml",
            r#"<workbook xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="log" sheetId="1" r:id="rId1"/></sheets></workbook>"#.to_owned(),
        ),
        (
            "xl/_rels/workbook.xml.rels",
            r#"<Relationships><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#.to_owned(),
        ),
    ];
    let cell = |place: &str, value: &str| format!(r#"<c r="{place}"><v>{value}</v></c>"#);
    let word = |place: &str, value: &str| {
        format!(r#"<c r="{place}" t="inlineStr"><is><t>{value}</t></is></c>"#)
    };
    let mut rows =
        format!("<row r=\"1\">{}{}{}</row>", word("A1", "s"), word("B1", "V"), word("C1", "A"));
    for row in 2..6 {
        rows += &format!(
            "<row r=\"{row}\">{}{}{}</row>",
            cell(&format!("A{row}"), &row.to_string()),
            cell(&format!("B{row}"), &format!("13.{}", 9 - row)),
            cell(&format!("C{row}"), "4.25")
        );
    }
    rows += &format!("<row r=\"1048576\">{}</row>", cell("XFD1048576", "1"));
    files.push((
        "xl/worksheets/sheet1.xml",
        format!("<worksheet><sheetData>{rows}</sheetData></worksheet>"),
    ));
    let record = read(&zip(&files), None).unwrap();
    assert_eq!(record.rows.used, 4);
    assert_eq!(record.rows.read, 5);
}
