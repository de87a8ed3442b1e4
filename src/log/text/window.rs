//! The part of a text that is being looked at, filled up from a file: UTF-8 from end to end.

use std::io::{self, Empty, Read};

use crate::fault::{Fault, Faults};
use crate::log::decode;
use crate::log::limits;
use crate::log::table::Stop;

/// Bytes that are read at a time: few enough to stay near the processor.
const BLOCK: usize = 128 << 10;

/// A window that moves over a text.
pub struct Window<R> {
    file: String,
    source: R,
    text: String,
    /// The beginning of a character whose rest was not read yet.
    broken: Vec<u8>,
    taken: u64,
    ended: bool,
}

impl Window<Empty> {
    /// Over all of a text that was looked at already.
    pub fn of(text: String) -> Self {
        Window {
            file: String::new(),
            source: io::empty(),
            taken: text.len() as u64,
            text,
            broken: Vec::new(),
            ended: true,
        }
    }
}

impl<R: Read> Window<R> {
    /// * `first` — what was read already
    ///
    /// # Errors
    /// As [`Window::more`].
    pub fn new(source: R, first: Vec<u8>, file: &str) -> Result<Self, Stop> {
        let mut window = Window {
            file: file.to_string(),
            source,
            text: String::new(),
            broken: Vec::new(),
            taken: first.len() as u64,
            ended: false,
        };
        window.put(first, 0)?;
        Ok(window)
    }

    /// What is in it.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The same in bytes.
    pub fn bytes(&self) -> &[u8] {
        self.text.as_bytes()
    }

    /// Lets go of what is before `at`, which becomes 0, and reads more; false where there is no more.
    ///
    /// # Errors
    /// What the system says; more than a log may have; [`Stop::NotUtf8`].
    pub fn more(&mut self, at: &mut usize) -> Result<bool, Stop> {
        if self.ended {
            return Ok(false);
        }
        let mut bytes = std::mem::take(&mut self.text).into_bytes();
        bytes.drain(..std::mem::take(at));
        let seen = bytes.len();
        bytes.append(&mut self.broken);
        let before = bytes.len();
        // A record that does not end is looked at again each time: by doubling, twice in all.
        let wanted = BLOCK.max(seen) as u64;
        self.source
            .by_ref()
            .take(wanted)
            .read_to_end(&mut bytes)
            .map_err(|cause| self.refused(format!("could not be read: {cause}")))?;
        let read = bytes.len() - before;
        self.taken += read as u64;
        self.ended = read == 0;
        if self.taken > limits::STREAM_BYTES {
            let most = limits::STREAM_BYTES >> 20;
            return Err(self.refused(format!("too large: a log may have {most} MB")));
        }
        self.put(bytes, seen)?;
        if self.ended && !self.broken.is_empty() {
            return Err(Stop::NotUtf8);
        }
        Ok(!self.ended)
    }

    /// Bytes as text, but for a character at the end whose rest is missing; the first `seen` were looked at before.
    fn put(&mut self, bytes: Vec<u8>, seen: usize) -> Result<(), Stop> {
        self.text = match String::from_utf8(bytes) {
            Ok(text) => text,
            Err(error) => {
                if error.utf8_error().error_len().is_some() {
                    return Err(Stop::NotUtf8);
                }
                let end = error.utf8_error().valid_up_to();
                let mut bytes = error.into_bytes();
                self.broken = bytes.split_off(end);
                String::from_utf8(bytes).map_err(|_| Stop::NotUtf8)?
            }
        };
        decode::refuse_binary(
            &self.file,
            &self.text.as_bytes()[seen.min(self.text.len())..],
        )?;
        Ok(())
    }

    fn refused(&self, why: String) -> Stop {
        Faults::from(Fault::error(&self.file, why)).into()
    }
}
