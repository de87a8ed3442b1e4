//! A simulated season as the text of a run log.

use super::play::SimulatedSeason;
use crate::log::run::{Kind, Load, Run, Status};
use crate::units::at_most_decimals;

/// The word of a status in the log.
fn status_word(status: Status) -> &'static str {
    match status {
        Status::Ok => "ok",
        Status::Recoil => "recoil",
        Status::Touched => "touched",
        Status::Void => "void",
    }
}

impl SimulatedSeason {
    /// The log: comment lines, header row, a row a run; comma, point and `\n`.
    ///
    /// Empty columns are left out, but for those that every log needs.
    pub fn to_csv(&self) -> String {
        let columns = self.columns();
        let mut writer = csv::WriterBuilder::new()
            .comment(Some(b'#'))
            .from_writer(Vec::new());
        let mut record = |cells: Vec<&str>| {
            writer
                .write_record(cells)
                .expect("rows of one length are written to memory");
        };
        record(columns.iter().map(|column| column.name).collect());
        for row in 0..self.season.runs.len() {
            record(columns.iter().map(|column| &*column.cells[row]).collect());
        }
        let rows = writer.into_inner().expect("memory takes every row");
        let mut text = String::new();
        for comment in self.comments.iter().flat_map(|comment| comment.lines()) {
            text.push_str(format!("# {comment}").trim_end());
            text.push('\n');
        }
        text.push_str(&String::from_utf8(rows).expect("texts in, text out"));
        text
    }

    /// The columns in the order they are written.
    fn columns(&self) -> Vec<WrittenColumn> {
        let season = &self.season;
        let ticks_per_turn = f64::from(self.ticks_per_turn);
        let label =
            |list: &[String], label: u32| list.get(label as usize).cloned().unwrap_or_default();
        let launch = |run: &Run| run.kind == Kind::Launch;
        let mut columns = Vec::new();
        let mut add = |name: &'static str, needed: bool, cell: &dyn Fn(&Run) -> String| {
            let cells: Vec<String> = season.runs.iter().map(&cell).collect();
            if needed || cells.iter().any(|cell| !cell.is_empty()) {
                columns.push(WrittenColumn { name, cells });
            }
        };
        add("session", true, &|run| label(&season.sessions, run.session));
        add("run", true, &|run| at_most_decimals(run.order, 0));
        add("date", false, &|run| {
            run.date.map_or(String::new(), |date| date.to_string())
        });
        add("floor", false, &|run| label(&season.floors, run.floor));
        add("vehicle", false, &|run| {
            label(&season.vehicles, run.vehicle)
        });
        add("wheels", false, &|run| label(&season.wheels, run.wheels));
        add("build", false, &|run| label(&season.builds, run.build));
        add("trim", false, &|run| label(&season.trims, run.trim));
        if season.runs.iter().any(|run| !launch(run)) {
            add("kind", true, &|run| {
                (if launch(run) { "launch" } else { "hand_roll" }).to_string()
            });
        }
        add("target_m", true, &|run| number(run.target_m, 4));
        add("turns", true, &|run| match run.turns {
            Some(turns) => number(Some(dial(turns, ticks_per_turn).0), 4),
            None => String::new(),
        });
        add("ticks", true, &|run| match run.turns {
            Some(turns) => number(Some(dial(turns, ticks_per_turn).1), 4),
            None => String::new(),
        });
        add("aim_right_cm", true, &|run| number(cm(run.aim_right_m), 4));
        add("lead_turns", false, &|run| number(run.lead_turns, 4));
        add("rest_m", false, &|run| {
            number(run.rest_m.filter(|_| !launch(run)), 6)
        });
        add("long_cm", true, &|run| {
            number(cm(run.long_m().filter(|_| launch(run))), 4)
        });
        add("right_cm", true, &|run| number(cm(run.right_m), 4));
        add("miss_cm", false, &|run| number(cm(run.miss_m), 4));
        add("status", true, &|run| status_word(run.status).to_string());
        add("recoil_cm", false, &|run| number(cm(run.recoil_m), 4));
        add("gap_cm", false, &|run| number(cm(run.gap_m), 4));
        add("load", false, &|run| {
            match run.load {
                Some(Load::Whole) => "whole",
                Some(Load::Broken) => "broken",
                None => "",
            }
            .to_string()
        });
        add("time_s", false, &|run| number(run.time_s, 4));
        if self.notes.iter().any(|note| !note.is_empty()) {
            columns.push(WrittenColumn {
                name: "note",
                cells: self.notes.clone(),
            });
        }
        columns
    }
}

/// A column of the log, with a cell for each run.
struct WrittenColumn {
    name: &'static str,
    cells: Vec<String>,
}

/// Whole turns and ticks on the dial; turns that are no whole ticks stand as they are, with no ticks beside them.
fn dial(turns: f64, ticks_per_turn: f64) -> (f64, f64) {
    let ticks = (turns * ticks_per_turn).round();
    if turns < 0.0 || (ticks - turns * ticks_per_turn).abs() > 1e-6 {
        return (turns, 0.0);
    }
    let whole = (ticks / ticks_per_turn).floor();
    (whole, ticks - whole * ticks_per_turn)
}

fn cm(length_m: Option<f64>) -> Option<f64> {
    length_m.map(|length_m| length_m * 100.0)
}

fn number(value: Option<f64>, decimals: usize) -> String {
    value.map_or(String::new(), |value| at_most_decimals(value, decimals))
}
