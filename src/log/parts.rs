//! Rows that a thread of its own splits ahead, a block at a time, while those before are made into runs.

use std::io::Read;
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread::Scope;

use super::table::{Origin, Row, Rows, Stop};
use super::text::Text;
use crate::fault::Fault;

/// Rows of a block, and bytes from which on it takes no further row.
const ROWS: usize = 512;
const BYTES: usize = 64 << 10;
/// Blocks that may wait to be made into runs.
const WAITING: usize = 4;

/// The rows of a text, in its order.
pub struct Ahead {
    origin: Origin,
    decimal_comma: bool,
    nothing: Fault,
    blocks: Receiver<Result<Block, Stop>>,
    block: Block,
    /// The next row in it.
    next: usize,
}

/// Some rows, to keep.
#[derive(Default)]
struct Block {
    text: String,
    cells: Vec<(u32, u32)>,
    /// The line of each row, and where its cells end.
    rows: Vec<(usize, usize)>,
}

impl Block {
    fn push(&mut self, row: &Row) {
        let from = row.cells.first().map_or(0, |cell| cell.0);
        let to = row.cells.last().map_or(from, |cell| cell.1);
        let at = self.text.len() as u32;
        self.text.push_str(&row.text[from as usize..to as usize]);
        let moved = row.cells.iter();
        self.cells
            .extend(moved.map(|cell| (cell.0 - from + at, cell.1 - from + at)));
        self.rows.push((row.line, self.cells.len()));
    }

    fn is_full(&self) -> bool {
        self.rows.len() >= ROWS || self.text.len() >= BYTES
    }

    fn row(&self, i: usize) -> Option<Row<'_>> {
        let &(line, end) = self.rows.get(i)?;
        let start = i.checked_sub(1).map_or(0, |above| self.rows[above].1);
        Some(Row {
            line,
            text: &self.text,
            cells: &self.cells[start..end],
        })
    }
}

impl Ahead {
    /// Begins to read; ends where this is let go of.
    pub fn new<'scope, R: Read + Send + 'scope>(
        scope: &'scope Scope<'scope, '_>,
        mut text: Text<R>,
    ) -> Self {
        let (sender, blocks) = sync_channel(WAITING);
        let ahead = Ahead {
            origin: text.origin().clone(),
            decimal_comma: text.decimal_comma(),
            nothing: text.nothing(),
            blocks,
            block: Block::default(),
            next: 0,
        };
        scope.spawn(move || {
            loop {
                let mut block = Block::default();
                let stop = fill(&mut block, &mut text).err();
                // Nobody waits any more: what was read before is no log.
                if block.rows.is_empty() || sender.send(Ok(block)).is_err() || stop.is_some() {
                    let _ = stop.map(|stop| sender.send(Err(stop)));
                    return;
                }
            }
        });
        ahead
    }
}

/// Puts rows into a block until it is full or none is left.
fn fill<R: Read>(block: &mut Block, text: &mut Text<R>) -> Result<(), Stop> {
    while !block.is_full()
        && let Some(row) = text.next()?
    {
        block.push(&row);
    }
    Ok(())
}

impl Rows for Ahead {
    fn origin(&self) -> &Origin {
        &self.origin
    }

    fn decimal_comma(&self) -> bool {
        self.decimal_comma
    }

    fn nothing(&self) -> Fault {
        self.nothing.clone()
    }

    fn next(&mut self) -> Result<Option<Row<'_>>, Stop> {
        if self.next == self.block.rows.len() {
            let Ok(block) = self.blocks.recv() else {
                return Ok(None);
            };
            self.block = block?;
            self.next = 0;
        }
        self.next += 1;
        Ok(self.block.row(self.next - 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io;
    use std::thread;

    /// Every row with its line; whether it ended in [`Stop`].
    fn all(mut rows: impl Rows) -> (Vec<(usize, Vec<String>)>, bool) {
        let mut read = Vec::new();
        loop {
            match rows.next() {
                Ok(Some(row)) => read.push((row.line, row.cells().map(String::from).collect())),
                Ok(None) => return (read, false),
                Err(_) => return (read, true),
            }
        }
    }

    #[test]
    fn rows_read_ahead_are_those_read_as_they_come() {
        let mut text = "session,turns,note\n".to_string();
        for i in 0..3000 {
            let note = ["", " plain ", "\"in, two\nlines\"", "größer"][i % 4];
            text += &format!("{},{i}.5,{note}\n", if i % 5 == 0 { "A" } else { "" });
        }
        text += &format!("A,1,{}\n", "long ".repeat(900)).repeat(40);
        for bad in ["", "A,\"never closed\nA,1,\n", "A,1,\n\u{0}\n"] {
            let bytes = [text.as_bytes(), bad.as_bytes()].concat();
            let (first, rest) = bytes.split_at(1000);
            let read = || Text::new("t.csv", io::Cursor::new(rest.to_vec()), first.to_vec());
            let as_they_come = all(read().unwrap());
            let ahead = thread::scope(|scope| all(Ahead::new(scope, read().unwrap())));
            assert!(as_they_come.0.len() > 3000 || !bad.is_empty());
            assert_eq!(ahead, as_they_come, "{bad:?}");
        }
    }

    #[test]
    fn letting_go_ends_the_reading() {
        let text = "session,turns\n".to_string() + &"A,1\n".repeat(100_000);
        thread::scope(|scope| {
            let text = Text::new("t.csv", io::Cursor::new(text), Vec::new()).unwrap();
            let mut rows = Ahead::new(scope, text);
            assert!(rows.next().unwrap().is_some());
        });
    }
}
