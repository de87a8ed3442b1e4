//! Bytes to small set-ups and logs: most near to what people write, some at the ends of what the readers take.

use haltmark::setup::Setup;

use super::setup;

/// Sessions of a season.
pub const SESSIONS: [&str; 7] = ["A", "B", "C", "D", "E", "F", "G"];

/// Targets to dial: one where penalties make each a search.
pub fn targets_m(setup: &Setup) -> &'static [f64] {
    match setup.score.is_plain() {
        true => &[6.0, 8.35],
        false => &[8.35],
    }
}

/// Takes penalties and the price on time away.
pub fn without_prices(setup: &mut Setup) {
    let score = &mut setup.score;
    (score.per_s, score.long_penalty, score.touch_penalty) = (0.0, 0.0, 0.0);
}

/// Bytes to choices; zeros when they are used up.
pub struct Bytes<'b>(pub &'b [u8]);

impl Bytes<'_> {
    /// The next byte.
    pub fn next(&mut self) -> u8 {
        match self.0.split_first() {
            Some((first, rest)) => {
                self.0 = rest;
                *first
            }
            None => 0,
        }
    }

    /// One of a list.
    pub fn of<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.next() as usize % list.len()]
    }

    /// About once in `of` times.
    pub fn rarely(&mut self, of: u8) -> bool {
        self.next() % of == of - 1
    }

    /// A number of so many steps.
    pub fn number(&mut self, from: f64, step: f64) -> f64 {
        let steps = f64::from(u16::from_le_bytes([self.next(), self.next()]) % 512);
        from + step * steps
    }
}

/// The defaults, or a set-up with a table or two in it; ends of what is allowed among them.
pub fn any_setup(bytes: &mut Bytes) -> Setup {
    let mut text = String::new();
    let what = bytes.next();
    if what & 1 != 0 {
        text += &format!(
            "[obstacle]\nat = {}\nright_cm = {}\ndiameter_cm = {}\npass = \"{}\"\n",
            bytes.of(&[0.45, 0.01, 0.99]),
            bytes.of(&[28.0, -20.0, 0.0, 400.0, -90000.0]),
            bytes.of(&[24.0, 0.01, 900.0]),
            bytes.of(&["left", "right"]),
        );
    }
    if what & 2 != 0 {
        text += &format!(
            "[lane]\nhalf_width_m = {}\n",
            bytes.of(&[2.0, 0.01, 1000.0])
        );
    }
    if what & 4 != 0 {
        text += &format!(
            "[score]\nmeasure = \"{}\"\nper_cm = {}\nper_s = {}\nlong_limit_cm = {}\nlong_penalty = {}\ntouch_penalty = {}\n",
            bytes.of(&["point", "line"]),
            bytes.of(&[1.0, 1e-6, 1e6]),
            bytes.of(&[0.0, 5.0, 1e6]),
            bytes.of(&[50.0, 0.0]),
            bytes.of(&[0.0, 40.0, 1e6]),
            bytes.of(&[0.0, 40.0, 1e6]),
        );
    }
    if what & 8 != 0 {
        text += &format!(
            "[vehicle]\nwidth_cm = {}\nwheel_diameter_cm = {}\n",
            bytes.of(&[18.0, 0.1, 90000.0]),
            bytes.of(&[7.4, 0.5, 200.0]),
        );
    }
    if what & 16 != 0 {
        text += &format!(
            "[prior]\nbetween_sessions_cm = {}\nbetween_sessions_cm_per_m = {}\ncurve_cm_per_m2 = {}\n",
            bytes.of(&[10.0, 0.01, 90000.0]),
            bytes.of(&[0.6, 0.001, 100.0]),
            bytes.of(&[1.5, 0.001, 100.0]),
        );
    }
    if what & 32 != 0 {
        text += &format!(
            "[event]\nshortest_m = {}\nlongest_m = {}\nstep_m = 0.5\nruns = {}\ncounts = \"{}\"\n",
            bytes.of(&[5.5, 0.1, 11.0]),
            bytes.of(&[9.5, 12.0]),
            bytes.of(&[2, 1, 20]),
            bytes.of(&["best", "sum", "last"]),
        );
    }
    if what & 64 != 0 {
        text += &format!("[brake]\nrecoil_accept = {}\n", bytes.of(&[0.1, 0.0, 1.0]));
    }
    if what & 128 != 0 {
        text += &format!(
            "[dial]\nticks_per_turn = {}\n[aim]\nstep_cm = {}\n",
            bytes.of(&[20, 1, 1000]),
            bytes.of(&[0.5, 0.01, 1000.0]),
        );
    }
    setup::read(&text).unwrap_or_default()
}

/// What the logs of one rig have in common: their columns beyond the first four, and distance per turn, m.
#[derive(Clone, Copy)]
pub struct LogKept {
    columns: u16,
    slope: f64,
}

impl LogKept {
    /// Any.
    pub fn any(bytes: &mut Bytes) -> Self {
        LogKept {
            columns: u16::from_le_bytes([bytes.next(), bytes.next()]),
            slope: bytes.of(&[0.22, 0.25, 0.01, 5.0]),
        }
    }
}

/// Fewer than 16 rows most times, up to 47 once in eight: nothing that was found needed many, and a fit takes as long as
/// its log.
fn few_rows(byte: u8) -> u8 {
    match byte {
        0..224 => byte % 16,
        _ => byte - 208,
    }
}

/// A log of fewer than `most` rows: most near to a line, some anywhere within what the reader takes.
pub fn any_log(bytes: &mut Bytes, kept: LogKept, most: u8, sessions: &[&str]) -> String {
    let LogKept { columns, slope } = kept;
    let has = |bit: u32| columns & (1 << bit) != 0;
    // A hand roll has no target to be long of, so the rest is written from the start mark.
    let mut text = "session,target_m,turns,rest_m".to_string();
    for (bit, name) in [
        (0, "right_cm"),
        (1, "aim_right_cm"),
        (2, "vehicle"),
        (3, "wheels"),
        (4, "build"),
        (5, "trim"),
        (6, "floor"),
        (7, "lead_turns"),
        (8, "status"),
        (9, "recoil_cm"),
        (10, "gap_cm"),
        (11, "load"),
        (12, "time_s"),
        (13, "kind"),
        (14, "date"),
    ] {
        if has(bit) {
            text += ",";
            text += name;
        }
    }
    text += "\n";
    let rows = few_rows(bytes.next()).min(most - 1);
    for _ in 0..rows {
        let shape = bytes.next();
        let target: f64 = match shape & 3 {
            3 => bytes.of(&[0.1, 0.5, 30.0, 60.0]),
            _ => 6.0 + 0.5 * f64::from(bytes.next() % 9),
        };
        let turns: f64 = if shape & 12 == 12 {
            bytes.number(0.0, 0.5)
        } else {
            ((target - 0.3) / slope * 20.0).round() / 20.0
        };
        let off = match (shape >> 4) & 7 {
            7 => bytes.number(-200.0, 2.0),
            6 => 0.0,
            _ => f64::from(bytes.next() as i8) / 8.0,
        };
        text += &format!(
            "{},{target},{turns},{}",
            bytes.of(sessions),
            (target + off / 100.0).max(-999.0)
        );
        let mut cell = |bit: u32, cell: String| {
            if has(bit) {
                text += ",";
                text += &cell;
            }
        };
        let small = f64::from(bytes.next() as i8) / 4.0;
        let wild = if bytes.rarely(16) { 400.0 } else { 1.0 };
        cell(
            0,
            if bytes.rarely(16) {
                String::new()
            } else {
                format!("{}", small * wild)
            },
        );
        cell(
            1,
            format!("{}", bytes.of(&[-20.0, 0.0, -24.0, 15.0, 300.0])),
        );
        cell(
            2,
            bytes
                .of(&["Thistle", "Thistle", "Thistle", "Heron"])
                .to_string(),
        );
        cell(3, bytes.of(&["foam", "foam", "foam", "wide"]).to_string());
        cell(
            4,
            bytes.of(&["one", "one", "one", "two", "three"]).to_string(),
        );
        cell(
            5,
            bytes.of(&["first", "first", "first", "second"]).to_string(),
        );
        cell(6, bytes.of(&["gym", "gym", "hall"]).to_string());
        cell(7, bytes.of(&["1", "1.5", "2", "", "0", "40"]).to_string());
        cell(
            8,
            bytes
                .of(&["", "ok", "ok", "ok", "recoil", "touched", "void"])
                .to_string(),
        );
        cell(9, bytes.of(&["", "0", "0.5", "3", "80"]).to_string());
        cell(10, bytes.of(&["", "10", "2", "0", "-1"]).to_string());
        cell(11, bytes.of(&["", "whole", "broken"]).to_string());
        cell(
            12,
            bytes
                .of(&["", "3.1", "4.2", "5", "0.01", "3600"])
                .to_string(),
        );
        cell(
            13,
            bytes
                .of(&["", "launch", "launch", "launch", "hand_roll"])
                .to_string(),
        );
        cell(
            14,
            bytes
                .of(&["2026-03-14", "2026-03-15", "2026-04-01", "", "1999-12-31"])
                .to_string(),
        );
        text += "\n";
    }
    text
}
