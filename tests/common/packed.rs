//! Packed files part by part: spreadsheets that no program would write.

use std::io::{Cursor, Write};

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// A packed file of these parts.
pub fn packed(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in parts {
        let options = SimpleFileOptions::default().compression_level(Some(1));
        writer
            .start_file(*name, options)
            .expect("a part can be begun");
        writer.write_all(content).expect("a part can be written");
    }
    writer
        .finish()
        .expect("the file can be closed")
        .into_inner()
}

/// An OpenDocument spreadsheet whose sheet "Runs" has these rows, as its XML.
pub fn ods(rows: &str) -> Vec<u8> {
    let content = format!(
        "<office:document-content><office:body><office:spreadsheet><table:table table:name=\"Runs\">{rows}\
         </table:table></office:spreadsheet></office:body></office:document-content>"
    );
    packed(&[
        (
            "mimetype",
            b"application/vnd.oasis.opendocument.spreadsheet",
        ),
        (
            "META-INF/manifest.xml",
            b"<manifest:manifest></manifest:manifest>",
        ),
        ("content.xml", content.as_bytes()),
    ])
}

/// An Office Open XML spreadsheet whose sheet "Runs" has these rows, as its XML.
pub fn xlsx(rows: &str) -> Vec<u8> {
    let sheet = format!("<worksheet><sheetData>{rows}</sheetData></worksheet>");
    packed(&[
        (
            "[Content_Types].xml",
            br#"<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>"#,
        ),
        (
            "_rels/.rels",
            br#"<Relationships><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#,
        ),
        (
            "xl/workbook.xml",
            br#"<workbook xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="Runs" sheetId="1" r:id="rId1"/></sheets></workbook>"#,
        ),
        (
            "xl/_rels/workbook.xml.rels",
            br#"<Relationships><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#,
        ),
        ("xl/worksheets/sheet1.xml", sheet.as_bytes()),
    ])
}
