//! A finished file, from where it is made to where it is put in place.

use std::path::PathBuf;

/// A file in memory.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct File {
    /// Its name below the folder it belongs to.
    pub name: PathBuf,
    /// All of it.
    pub bytes: Vec<u8>,
}

impl File {
    /// A file of text.
    pub fn from_text(name: impl Into<PathBuf>, text: impl Into<String>) -> Self {
        File {
            name: name.into(),
            bytes: text.into().into_bytes(),
        }
    }
}
