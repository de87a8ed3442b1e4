//! The log reader on spreadsheets: damaged packed files, and sound ones with any rows in them.

use super::{log, packed};

/// The first byte says what the rest is: a packed file from the third byte on, or the rows of one kind of sheet.
pub fn check(bytes: &[u8]) {
    let Some((kind, rest)) = bytes.split_first() else {
        return;
    };
    match kind % 4 {
        0 => {
            // With the mark that tells a packed file, or nothing of it would be looked at.
            let mut file = b"PK\x03\x04".to_vec();
            file.extend(rest);
            log::check(&file);
        }
        1 | 2 => log::check(&packed::xlsx(&String::from_utf8_lossy(rest))),
        _ => log::check(&packed::ods(&String::from_utf8_lossy(rest))),
    }
}
