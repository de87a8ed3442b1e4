//! How the file looks: a key a line, and lists of numbers on one line, for they are thousands.

use serde::Serialize;
use serde_json::Value;
use serde_json::ser::{Formatter, Serializer};
use std::io::{self, Write};

/// JSON with objects indented and lists closed up.
pub fn text(file: &Value) -> String {
    let mut text = Vec::new();
    let mut serializer = Serializer::with_formatter(&mut text, Layout { depth: 0 });
    file.serialize(&mut serializer)
        .expect("a JSON value is written into memory");
    text.push(b'\n');
    String::from_utf8(text).expect("JSON is UTF-8")
}

struct Layout {
    depth: usize,
}

impl Layout {
    fn new_line<W: Write + ?Sized>(&self, out: &mut W) -> io::Result<()> {
        write!(out, "\n{:width$}", "", width = 2 * self.depth)
    }
}

impl Formatter for Layout {
    fn begin_object<W: Write + ?Sized>(&mut self, out: &mut W) -> io::Result<()> {
        self.depth += 1;
        out.write_all(b"{")
    }

    fn begin_object_key<W: Write + ?Sized>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        out.write_all(if first { b"" } else { b"," })?;
        self.new_line(out)
    }

    fn begin_object_value<W: Write + ?Sized>(&mut self, out: &mut W) -> io::Result<()> {
        out.write_all(b": ")
    }

    fn end_object<W: Write + ?Sized>(&mut self, out: &mut W) -> io::Result<()> {
        self.depth -= 1;
        self.new_line(out)?;
        out.write_all(b"}")
    }
}
