//! Where text for people is shown, and whether in colour: on a terminal only, and never where `NO_COLOR` asks for none.

use std::io::{self, IsTerminal, StderrLock, StdoutLock, Write};

use anstream::{AutoStream, ColorChoice};
use anstyle::{AnsiColor, Style};

/// A stream, and whether what it shows may be coloured.
pub struct Screen<W> {
    /// The stream.
    pub to: W,
    /// Whether errors are red, warnings yellow and headings bold.
    pub is_coloured: bool,
}

impl Screen<AutoStream<StdoutLock<'static>>> {
    /// Standard output.
    pub fn stdout() -> Self {
        let stream = io::stdout();
        let choice = AutoStream::choice(&stream);
        Self::with(stream.is_terminal(), choice, stream.lock())
    }
}

impl Screen<AutoStream<StderrLock<'static>>> {
    /// Standard error.
    pub fn stderr() -> Self {
        let stream = io::stderr();
        let choice = AutoStream::choice(&stream);
        Self::with(stream.is_terminal(), choice, stream.lock())
    }
}

impl<L: anstream::stream::RawStream> Screen<AutoStream<L>> {
    fn with(is_terminal: bool, choice: ColorChoice, lock: L) -> Self {
        Screen {
            // Passes on what it is given; on an old Windows console, as calls of its own.
            to: AutoStream::always(lock),
            // Also where a variable asks for colour in a pipe: nobody would see it there.
            is_coloured: is_terminal && choice != ColorChoice::Never,
        }
    }
}

impl<W: Write> Screen<W> {
    /// A line that says what stopped the command.
    pub fn error(&mut self, line: &str) -> io::Result<()> {
        self.line(line, AnsiColor::Red.on_default())
    }

    /// A line to look at.
    pub fn warning(&mut self, line: &str) -> io::Result<()> {
        self.line(line, AnsiColor::Yellow.on_default())
    }

    fn line(&mut self, line: &str, style: Style) -> io::Result<()> {
        match self.is_coloured {
            true => writeln!(self.to, "{style}{line}{style:#}"),
            false => writeln!(self.to, "{line}"),
        }
    }

    /// An answer with its headings in bold: lines that have indented ones below them.
    pub fn with_headings(&self, text: String) -> String {
        if !self.is_coloured {
            return text;
        }
        let lines: Vec<&str> = text.split('\n').collect();
        let is_indented = |line: Option<&&str>| line.is_some_and(|line| line.starts_with("  "));
        let shown: Vec<String> = (0..lines.len())
            .map(|i| match lines[i] {
                line if !line.is_empty()
                    && !line.starts_with(' ')
                    && is_indented(lines.get(i + 1)) =>
                {
                    let bold = Style::new().bold();
                    format!("{bold}{line}{bold:#}")
                }
                line => line.to_string(),
            })
            .collect();
        shown.join("\n")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn screen(is_coloured: bool) -> Screen<Vec<u8>> {
        Screen {
            to: Vec::new(),
            is_coloured,
        }
    }

    #[test]
    fn errors_are_red_warnings_yellow_and_headings_bold_and_nothing_more() {
        let mut colour = screen(true);
        colour.error("x").unwrap();
        colour.warning("y").unwrap();
        assert_eq!(colour.to, b"\x1b[31mx\x1b[0m\n\x1b[33my\x1b[0m\n");
        let text = "Thistle/foam\n  8 launches\n\nReport: x";
        assert_eq!(
            colour.with_headings(text.to_string()),
            "\x1b[1mThistle/foam\x1b[0m\n  8 launches\n\nReport: x"
        );
        let mut plain = screen(false);
        plain.error("x").unwrap();
        assert_eq!(plain.to, b"x\n");
        assert_eq!(plain.with_headings(text.to_string()), text);
    }
}
