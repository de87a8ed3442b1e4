//! Every message with the log that provokes it, to be read once more whenever one changes.
//!
//! `tests/messages/cases.txt` has the logs and command lines; the snapshot has each with the words that came out. A message in
//! the sources that no case provokes is an error, unless it stands in `NOT_PROVOKED` with the reason.

mod common;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use common::{Folder, Ran};

const CASES: &str = include_str!("messages/cases.txt");
/// Lines of a file that the list shows.
const SHOWN_LINES: usize = 12;

/// Where the messages stand that a log, a set-up or a command line can provoke; a folder is meant with all below it.
const SOURCES: [&str; 17] = [
    "src/log",
    "src/fault.rs",
    "src/error.rs",
    "src/keys.rs",
    "src/keys",
    "src/setup",
    "src/calibration",
    "src/decide",
    "src/cli",
    "src/units.rs",
    "src/report/head.rs",
    "src/report/next.rs",
    "src/report/priors.rs",
    "src/report/event_words.rs",
    "src/report/plan_words.rs",
    "src/report/review_words.rs",
    "src/report/compare_words.rs",
];

/// Beginnings of messages that no case provokes, and why.
const NOT_PROVOKED: &[(&str, &str)] = &[
    (
        "there are no runs to fit",
        "the command line refuses a log without runs before",
    ),
    // A log too large for a list to be read; `tests/archives.rs`, `tests/reading_logs.rs`.
    ("too large: a log may have", LARGE),
    ("for one rig; expected one label for each", LARGE),
    ("MB of them; what follows was not read", LARGE),
    ("errors; what follows was not read", LARGE),
    ("too many rows; a log may have", LARGE),
    ("columns; a log may have", LARGE),
    (": the cell has more than", LARGE),
    ("too large: a spreadsheet may hold", LARGE),
    ("more warnings are not listed", LARGE),
    ("has more than", LARGE),
    ("could not be read: it is too large for", LARGE),
    // A spreadsheet that is damaged in a way of its own; `tests/spreadsheets.rs`, `tests/fuzz/`.
    ("nothing on this sheet;", BOOK),
    ("could not be read as a spreadsheet", BOOK),
    ("there is no sheet of cells in it", BOOK),
    ("a packed file but no .xlsx or .ods", BOOK),
    // Trouble of the system or the program.
    ("could not be read:", SYSTEM),
    ("writing to", SYSTEM),
    ("could not be opened (", SYSTEM),
    ("making the", SYSTEM),
    ("please look for rows with mistyped turns", SYSTEM),
    ("; this is a fault of the program", SYSTEM),
    ("a calculation did not come to an end", SYSTEM),
    (": the travel fit could not be made", SYSTEM),
    ("a folder of that name is in the way", SYSTEM),
    // What tests of the writing of files stand on.
    ("only tests read the journal", NO_MESSAGE),
    ("a file where a folder should be", NO_MESSAGE),
    ("is not needed", NO_MESSAGE),
    // A calibration changed by hand keeps no check sum that a list of cases could write; `tests/fuzz/`.
    ("not as haltmark fit wrote it (", FORGED),
    ("its rigs do not fit together", FORGED),
    ("it was changed since haltmark fit wrote it", FORGED),
    // Stand in for what a log that was read cannot lack, or that no log was found for.
    ("write down launches with turns and where", NONE_KNOWN),
    ("neither log nor set-up says which targets", NONE_KNOWN),
    ("The bend of the path ran into its bound", NONE_KNOWN),
    ("the path bends so strongly", NONE_KNOWN),
    ("look for right and left swapped in the log", NONE_KNOWN),
    (": no path of this vehicle ends where", NONE_KNOWN),
    ("expected turns of 0 or more", NONE_KNOWN),
    (", fewer than promised: correct after", NONE_KNOWN),
    ("more sessions would not quite get", NONE_KNOWN),
    ("it holds as well", NONE_KNOWN),
    // `tests/planning.rs`.
    ("; each day after that gains less than", NONE_KNOWN),
    ("they are still too few", NONE_KNOWN),
    // No messages: the words by which `check` picks the lines of a set-up.
    ("is left out: there is none", NO_MESSAGE),
    ("# the default", NO_MESSAGE),
];

const LARGE: &str = "larger than a list can show";
const BOOK: &str = "a spreadsheet damaged in a way of its own";
const SYSTEM: &str = "trouble of the system or of the program";
const FORGED: &str = "a calibration changed by hand";
const NONE_KNOWN: &str = "no small log is known that provokes it";
const NO_MESSAGE: &str = "not a message";

/// One line of the cases that does something.
enum Step<'c> {
    File(&'c str, &'c str, String),
    Copy(&'c str),
    Silent(&'c str),
    Listed(&'c str),
    Errors(&'c str),
    Checked(&'c str),
}

struct Case<'c> {
    name: &'c str,
    steps: Vec<Step<'c>>,
}

fn cases() -> Vec<Case<'static>> {
    let mut cases: Vec<Case> = Vec::new();
    for line in CASES.lines() {
        if let Some(name) = line.strip_prefix("== ") {
            cases.push(Case {
                name,
                steps: Vec::new(),
            });
            continue;
        }
        let Some(case) = cases.last_mut() else {
            continue;
        };
        let step = match line.split_at_checked(3) {
            Some(("-- ", file)) => {
                let (name, how) = file.split_once(' ').unwrap_or((file, ""));
                Step::File(name, how, String::new())
            }
            Some(("++ ", name)) => Step::Copy(name),
            _ if line.starts_with("~ ") => Step::Silent(&line[2..]),
            _ if line.starts_with("$ ") => Step::Listed(&line[2..]),
            _ if line.starts_with("! ") => Step::Errors(&line[2..]),
            _ if line.starts_with("* ") => Step::Checked(&line[2..]),
            _ => {
                if let Some(Step::File(.., text)) = case.steps.last_mut() {
                    *text += &format!("{line}\n");
                }
                continue;
            }
        };
        case.steps.push(step);
    }
    cases
}

/// What the cases have brought to light.
#[derive(Default)]
struct Found {
    /// The list to be read.
    list: String,
    /// Every word that came out, also into files.
    words: String,
    /// Checks and lines of answers that are in the list already.
    told: BTreeSet<String>,
}

impl Found {
    fn case(&mut self, case: &Case) {
        let folder = Folder::new();
        self.list += &format!("== {}\n", case.name);
        for step in &case.steps {
            match step {
                Step::File(name, how, text) => self.file(&folder, name, how, text),
                Step::Copy(name) => {
                    let from = Path::new(env!("CARGO_MANIFEST_DIR"))
                        .join("data")
                        .join(name);
                    folder.write(name, std::fs::read(from).expect("a file of data/"));
                    self.list += &format!("-- data/{name}\n");
                }
                Step::Silent(arguments) => {
                    let ran = run(&folder, arguments).ended_with(0);
                    self.hear(&ran);
                    self.list += &format!("$ haltmark {arguments}\n");
                }
                Step::Listed(arguments) | Step::Errors(arguments) => {
                    let ran = run(&folder, arguments);
                    self.hear(&ran);
                    let status = ran.status.expect("an exit status");
                    self.list += &format!("$ haltmark {arguments}\n   exit status {status}\n");
                    self.list += &indented("   ! ", &ran.stderr);
                    if let Step::Listed(_) = step {
                        self.answer(&ran.stdout);
                    }
                }
                Step::Checked(arguments) => self.checks(&folder, arguments),
            }
        }
        self.list.push('\n');
        for name in folder.names() {
            if [".html", ".toml", ".csv"]
                .iter()
                .any(|end| name.ends_with(end))
            {
                self.words += &format!(
                    "{}\n",
                    String::from_utf8_lossy(
                        &std::fs::read(folder.path().join(&name)).expect("a file")
                    )
                );
            }
        }
    }

    /// Lists the lines of an answer; those that are in the list already are left out.
    fn answer(&mut self, text: &str) {
        let mut left_out = false;
        for line in text.lines().filter(|line| !line.is_empty()) {
            if self.told.insert(line.to_string()) {
                self.list += &format!("   | {line}\n");
                left_out = false;
            } else if !left_out {
                self.list += "   | …\n";
                left_out = true;
            }
        }
    }

    fn file(&mut self, folder: &Folder, name: &str, how: &str, text: &str) {
        match how {
            "hex" => {
                let digit = |at: usize| u8::from_str_radix(&text[at..at + 2], 16);
                let bytes = (0..text.trim().len() / 2).map(|i| digit(2 * i).expect("hex digits"));
                folder.write(name, bytes.collect::<Vec<u8>>());
            }
            "simulated" => {
                folder.write("truth.toml", text);
                run(folder, &format!("simulate --truth truth.toml --out {name}")).ended_with(0);
            }
            _ => {
                folder.write(name, text);
            }
        }
        let shown: Vec<&str> = text.lines().take(SHOWN_LINES).collect();
        let more = text.lines().count() - shown.len();
        self.list += format!("-- {name} {how}").trim_end();
        self.list.push('\n');
        self.list += &indented("   ", &shown.join("\n"));
        if more > 0 {
            self.list += &format!("   … {more} lines more\n");
        }
    }

    /// Lists the checks of a fit that no case before has shown.
    fn checks(&mut self, folder: &Folder, arguments: &str) {
        let ran = run(folder, &format!("{arguments} --json")).ended_with(0);
        self.hear(&ran);
        self.list += &format!("$ haltmark {arguments}\n");
        self.list += &indented("   ! ", &ran.stderr);
        for rig in ran.json()["rigs"].as_array().expect("rigs") {
            for check in rig["checks"].as_array().expect("checks") {
                let mark = match check["ok"].as_bool() {
                    Some(true) => "fine",
                    _ => "look",
                };
                let said = format!("{mark}: {}: {}", check["name"], check["means"]);
                if self.told.insert(said.clone()) {
                    self.list += &format!("   | {said}\n");
                }
            }
            for warning in rig["warnings"].as_array().expect("warnings") {
                self.list += &format!("   | note: {warning}\n");
            }
        }
    }

    fn hear(&mut self, ran: &Ran) {
        self.words += &format!("{}\n{}\n", ran.stdout.replace("\\\"", "\""), ran.stderr);
    }
}

/// Runs the program; quotation marks hold one argument together.
fn run(folder: &Folder, arguments: &str) -> Ran {
    let parts = arguments.split('"').enumerate();
    let words = parts.flat_map(|(i, part)| match i % 2 {
        0 => part.split_whitespace().collect::<Vec<_>>(),
        _ => vec![part],
    });
    folder.run_with(&words.collect::<Vec<_>>())
}

fn indented(mark: &str, text: &str) -> String {
    text.lines()
        .map(|line| format!("{}\n", format!("{mark}{line}").trim_end()))
        .collect()
}

/// The texts of a source outside its tests, comments and help: each with its line.
fn texts(source: &str) -> Vec<(usize, String)> {
    let source = source
        .split("#[cfg(test)]\nmod tests")
        .next()
        .unwrap_or_default();
    let bytes = source.as_bytes();
    let (mut found, mut i) = (Vec::new(), 0);
    while i < bytes.len() {
        if source[i..].starts_with("//") {
            i += source[i..].find('\n').unwrap_or(source.len() - i);
        } else if bytes[i] == b'\'' && (bytes[i + 1] == b'\\' || bytes.get(i + 2) == Some(&b'\'')) {
            i += source[i + 2..].find('\'').map_or(1, |end| end + 3);
        } else if bytes[i] == b'"' {
            let (text, end) = text_from(source, i + 1);
            let before = source[..i].trim_end();
            let is_help = ["says(", "expect(", "help =", "help_heading ="]
                .iter()
                .any(|b| before.ends_with(b));
            if !is_help {
                found.push((source[..i].matches('\n').count() + 1, text));
            }
            i = end;
        } else {
            i += source[i..].chars().next().map_or(1, char::len_utf8);
        }
    }
    found
}

/// A text from behind its opening quotation mark on, and where the source goes on behind it.
fn text_from(source: &str, start: usize) -> (String, usize) {
    let (mut text, mut chars) = (String::new(), source[start..].char_indices().peekable());
    while let Some((at, c)) = chars.next() {
        match c {
            '"' => return (text, start + at + 1),
            '\\' => match chars.next() {
                Some((_, '\n')) => while chars.next_if(|(_, c)| c.is_whitespace()).is_some() {},
                Some((_, 'n' | 't' | 'r')) => text.push(' '),
                Some((_, c)) => text.push(c),
                None => {}
            },
            c => text.push(c),
        }
    }
    (text, source.len())
}

/// The longest part of a message between the values that are put into it; `None` of a text too short to be one.
fn fixed_part(text: &str) -> Option<String> {
    const FEWEST_SPACES: usize = 3;
    const FEWEST_LETTERS: usize = 12;
    if text.matches(' ').count() < FEWEST_SPACES {
        return None;
    }
    let parts = text.split('{').map(|part| match part.split_once('}') {
        Some((_, behind)) => behind,
        None => part,
    });
    let longest = parts.max_by_key(|part| part.len())?;
    let longest = words(longest);
    (longest.len() >= FEWEST_LETTERS).then_some(longest)
}

/// A text with single spaces between its words, as HTML would show it.
fn words(text: &str) -> String {
    let plain = text
        .replace("&#x27;", "'")
        .replace("&quot;", "\"")
        .replace("&lt;", "<")
        .replace("&amp;", "&");
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn sources() -> Vec<PathBuf> {
    let mut files = Vec::new();
    let mut folders: Vec<PathBuf> = SOURCES
        .iter()
        .map(|name| Path::new(env!("CARGO_MANIFEST_DIR")).join(name))
        .collect();
    while let Some(path) = folders.pop() {
        if path.is_dir() {
            let entries = std::fs::read_dir(&path).expect("a folder of sources");
            folders.extend(entries.map(|entry| entry.expect("an entry").path()));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            files.push(path);
        }
    }
    files.sort();
    files
}

#[test]
fn every_message_has_a_log_that_provokes_it() {
    let mut found = Found::default();
    for case in cases() {
        found.case(&case);
    }
    let heard = words(&found.words);
    let mut unheard = String::new();
    let mut excused = BTreeSet::new();
    for path in sources() {
        let source = std::fs::read_to_string(&path).expect("a source");
        for (line, text) in texts(&source) {
            let Some(part) = fixed_part(&text).filter(|part| !heard.contains(part.as_str())) else {
                continue;
            };
            match NOT_PROVOKED
                .iter()
                .find(|(begins, _)| part.starts_with(begins))
            {
                Some((begins, _)) => drop(excused.insert(*begins)),
                None => unheard += &format!("{}:{line}: {part}\n", path.display()),
            }
        }
    }
    let idle: Vec<&str> = NOT_PROVOKED
        .iter()
        .map(|(b, _)| *b)
        .filter(|b| !excused.contains(b))
        .collect();
    insta::assert_snapshot!("messages", found.list);
    assert!(unheard.is_empty(), "no case provokes:\n{unheard}");
    assert!(idle.is_empty(), "provoked or gone: {idle:?}");
}
