//! Bytes to text: UTF-8, UTF-16 with its mark, and what older spreadsheets write.

use std::string::FromUtf8Error;

use encoding_rs::{Encoding, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::limits;
use crate::fault::{Fault, FaultPlace, Faults};

/// The first bytes of a workbook in the old binary format.
const OLD_WORKBOOK: &[u8] = &[0xD0, 0xCF, 0x11, 0xE0];

/// The text of a file, its lines ended by line feeds.
///
/// Bytes that are not UTF-8 are taken for Windows-1252, with a warning to `faults`: that is what spreadsheets
/// on older computers write, and only labels and notes can differ by it.
///
/// # Errors
/// What is no text at all; what is too long to be rewritten.
pub fn text(file: &str, bytes: Vec<u8>, faults: &mut Faults) -> Result<String, Faults> {
    if bytes.starts_with(OLD_WORKBOOK) {
        return Err(Fault::error(
            file,
            "an .xls workbook of the old kind, or one with a password; save it as .xlsx, .ods or CSV",
        )
        .into());
    }
    let is_short = bytes.len() as u64 <= limits::FILE_BYTES;
    let too_large = || Faults::from(too_large(file, limits::FILE_BYTES));
    for (encoding, mark) in [(UTF_16LE, [0xFF, 0xFE]), (UTF_16BE, [0xFE, 0xFF])] {
        if bytes.starts_with(&mark) {
            return if is_short {
                Ok(with_line_feeds(utf_16(file, encoding, &bytes)?))
            } else {
                Err(too_large())
            };
        }
    }
    refuse_binary(file, &bytes)?;
    let text = match String::from_utf8(bytes) {
        Ok(text) => text,
        Err(_) if !is_short => return Err(too_large()),
        Err(error) => windows_1252(file, error, faults),
    };
    if !is_short && !text.contains('\n') {
        return Err(too_large());
    }
    Ok(with_line_feeds(text))
}

/// The fault of a file beyond a limit.
pub fn too_large(file: &str, most_bytes: u64) -> Fault {
    let most = most_bytes >> 20;
    Fault::error(file, format!("too large: a log may have {most} MB"))
}

fn utf_16(file: &str, encoding: &'static Encoding, bytes: &[u8]) -> Result<String, Faults> {
    let (text, is_broken) = encoding.decode_with_bom_removal(bytes);
    if is_broken {
        return Err(Fault::error(
            file,
            "begins as UTF-16 text but is broken further on; save it as CSV in UTF-8",
        )
        .into());
    }
    refuse_binary(file, text.as_bytes())?;
    Ok(text.into_owned())
}

fn windows_1252(file: &str, error: FromUtf8Error, faults: &mut Faults) -> String {
    let valid = error.utf8_error().valid_up_to();
    let bytes = error.into_bytes();
    let line = 1 + bytes[..valid].iter().filter(|&&b| b == b'\n').count();
    faults.push(
        Fault::warning(
            file,
            "a letter here is not UTF-8; the file is read as Windows-1252, so look at accents and umlauts \
             in labels; saving it as CSV in UTF-8 settles it",
        )
        .at(FaultPlace::Line(line)),
    );
    let (text, _) = WINDOWS_1252.decode_without_bom_handling(&bytes);
    text.into_owned()
}

/// Refuses bytes with zero characters: text has none, but pictures, programs and UTF-16 without its mark do.
///
/// # Errors
/// A zero character.
fn refuse_binary(file: &str, bytes: &[u8]) -> Result<(), Faults> {
    if bytes.contains(&0) {
        return Err(Fault::error(
            file,
            "not a text file; expected CSV in UTF-8, or a spreadsheet (.xlsx, .ods)",
        )
        .into());
    }
    Ok(())
}

/// The text with line feeds where its lines end in a lone CR, as old files do: only a line feed ends a comment.
fn with_line_feeds(text: String) -> String {
    if text.contains('\n') {
        text
    } else {
        text.replace('\r', "\n")
    }
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
            assert_eq!(text("t", bytes, &mut faults).unwrap(), "Größe");
        }
        assert_eq!(faults.0, []);
        // 0xF6 and 0xDF are o-umlaut and sharp s in Windows-1252 (and in ISO 8859-1).
        let old = b"a\nGr\xF6\xDFe";
        assert_eq!(text("t", old.to_vec(), &mut faults).unwrap(), "a\nGröße");
        assert_eq!(faults.0[0].place, FaultPlace::Line(2));
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
            assert!(text("t", bytes.to_vec(), &mut faults).is_err(), "{bytes:?}");
        }
    }
}
