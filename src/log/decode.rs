//! Bytes to text: UTF-8, UTF-16 with its mark, and what older spreadsheets write.

use std::borrow::Cow;

use encoding_rs::{UTF_16BE, UTF_16LE, WINDOWS_1252};

use crate::fault::{Fault, Faults, Place};

/// How a workbook of the old kind begins.
const OLD_WORKBOOK: &[u8] = &[0xD0, 0xCF, 0x11, 0xE0];
/// Marks of UTF-16.
const UTF_16_LE: [u8; 2] = [0xFF, 0xFE];
const UTF_16_BE: [u8; 2] = [0xFE, 0xFF];

/// The text of a file.
///
/// Bytes that are not UTF-8 are taken for Windows-1252, with a warning to `faults`: that is what spreadsheets
/// on older computers write, and only labels and notes can differ by it.
///
/// # Errors
/// What is no text at all.
pub fn text<'b>(file: &str, bytes: &'b [u8], faults: &mut Faults) -> Result<Cow<'b, str>, Faults> {
    if bytes.starts_with(OLD_WORKBOOK) {
        return Err(Fault::error(
            file,
            "an .xls workbook of the old kind, or one with a password; save it as .xlsx, .ods or CSV",
        ).into());
    }
    for encoding in [UTF_16LE, UTF_16BE] {
        let mark = if encoding == UTF_16LE {
            UTF_16_LE
        } else {
            UTF_16_BE
        };
        if bytes.starts_with(&mark) {
            let (text, broken) = encoding.decode_with_bom_removal(bytes);
            if broken {
                return Err(Fault::error(
                    file,
                    "begins as UTF-16 text but is broken further on; save it as CSV in UTF-8",
                )
                .into());
            }
            refuse_binary(file, text.as_bytes())?;
            return Ok(text);
        }
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => {
            refuse_binary(file, bytes)?;
            Ok(Cow::Borrowed(text))
        }
        Err(error) => {
            let line = 1 + bytes[..error.valid_up_to()]
                .iter()
                .filter(|&&b| b == b'\n')
                .count();
            let (text, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
            refuse_binary(file, text.as_bytes())?;
            faults.push(
                Fault::warning(
                    file,
                    "a letter here is not UTF-8; the file is read as Windows-1252, so look at accents and umlauts \
                     in labels; saving it as CSV in UTF-8 settles it",
                )
                .at(Place::Line(line)),
            );
            Ok(text)
        }
    }
}

/// Text has no zero characters; pictures, programs and UTF-16 without its mark do.
///
/// # Errors
/// A zero character.
pub fn refuse_binary(file: &str, bytes: &[u8]) -> Result<(), Faults> {
    if memchr::memchr(0, bytes).is_some() {
        return Err(Fault::error(
            file,
            "not a text file; expected CSV in UTF-8, or a spreadsheet (.xlsx, .ods)",
        )
        .into());
    }
    Ok(())
}

/// Whether a file that begins so may be UTF-8 with line feeds, and so be read as it comes.
pub fn may_stream(first: &[u8]) -> bool {
    let marks: [&[u8]; 3] = [OLD_WORKBOOK, &UTF_16_LE, &UTF_16_BE];
    memchr::memchr(b'\n', first).is_some() && !marks.iter().any(|mark| first.starts_with(mark))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utf_16(text: &str, bytes_of: fn(u16) -> [u8; 2]) -> Vec<u8> {
        std::iter::once(0xFEFF)
            .chain(text.encode_utf16())
            .flat_map(bytes_of)
            .collect()
    }

    #[test]
    fn what_spreadsheets_write_is_read() {
        let mut faults = Faults::default();
        for bytes in [
            "Größe".as_bytes().to_vec(),
            utf_16("Größe", u16::to_le_bytes),
            utf_16("Größe", u16::to_be_bytes),
        ] {
            assert_eq!(text("t", &bytes, &mut faults).unwrap(), "Größe");
        }
        assert_eq!(faults.0, []);
        // 0xF6 and 0xDF are o-umlaut and sharp s in Windows-1252 (and in ISO 8859-1).
        let old = b"a\nGr\xF6\xDFe";
        assert_eq!(text("t", old, &mut faults).unwrap(), "a\nGröße");
        assert_eq!(faults.0[0].place, Place::Line(2));
        assert!(!faults.any_error());
    }

    #[test]
    fn what_is_no_text_is_refused() {
        let mut faults = Faults::default();
        for bytes in [
            &b"a\0b"[..],
            &[0xFF, 0xFE, 0x00, 0xD8],
            &[0xFF, 0xD8, 0xFF, 0xE0, 0x00, 0x10],
            &[0xD0, 0xCF, 0x11, 0xE0, 0xA1],
        ] {
            assert!(text("t", bytes, &mut faults).is_err(), "{bytes:?}");
        }
    }
}
