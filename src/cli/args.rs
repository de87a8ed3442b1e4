//! Every command, every flag and its help. Raw values only: what they mean is the commands' business.

use std::path::PathBuf;

use clap::builder::{PathBufValueParser, TypedValueParser};
use clap::{Args, Parser, Subcommand, ValueEnum};
use jiff::civil::Date;

use crate::log;
use crate::stats::interval::Level;

/// From a season's run log of a small stopping vehicle to settings that can be trusted.
///
/// Write every run down, let `check` find the slips, let `fit` make the report and the event-day card, and ask
/// `dial` for the settings of an announced target.
#[derive(Debug, Parser)]
#[command(
    name = "haltmark",
    version,
    arg_required_else_help = true,
    after_help = "Example:\n  haltmark start season\n\nExit status: 0 done; 1 the data cannot answer the question; 2 something given is wrong."
)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// Flags of every command.
    #[command(flatten)]
    pub common: Common,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Begin a season: write an empty log to fill in, and a set-up file with every setting explained
    #[command(after_help = "Example:\n  haltmark start season")]
    Start(StartArgs),
    /// Read logs, report every fault, print what was understood
    #[command(after_help = "Example:\n  haltmark check season.xlsx --setup season-setup.toml")]
    Check(CheckArgs),
    /// Fit a season and write its report, figures, settings, calibration and event-day card
    #[command(after_help = "Example:\n  haltmark fit season.xlsx --setup season-setup.toml --open")]
    Fit(FitArgs),
    /// The settings for announced targets
    #[command(after_help = "Example:\n  haltmark dial reports/season --target 8.35")]
    Dial(DialArgs),
    /// The settings after today's runs
    #[command(after_help = "Example:\n  haltmark correct reports/season today.csv --target 8.35")]
    Correct(CorrectArgs),
    /// How many more runs and sessions would be enough, and where to make them
    #[command(after_help = "Example:\n  haltmark plan reports/season --within 15")]
    Plan(PlanArgs),
    /// Which of two is better, by how much, how sure: wheels, vehicles, builds, trims, floors
    #[command(
        after_help = "Example:\n  haltmark compare season.xlsx --by wheels --a foam --b rubber"
    )]
    Compare(CompareArgs),
    /// After the event: did the runs land where the calibration said, does it still hold
    #[command(after_help = "Example:\n  haltmark review reports/season event.csv -o review")]
    Review(ReviewArgs),
    /// Write an invented log from a known truth, or print a truth file to edit
    #[command(
        after_help = "Example:\n  haltmark simulate > truth.toml\n  haltmark simulate --truth truth.toml -o practice.csv"
    )]
    Simulate(SimulateArgs),
    /// Write a log sheet to print; with a calibration, filled in for the next sessions
    #[command(
        after_help = "Example:\n  haltmark sheet reports/season --sessions 2 --runs 10 -o sheet.html"
    )]
    Sheet(SheetArgs),
    /// Print the completions of a shell
    #[command(
        after_help = "Example:\n  haltmark completions bash > ~/.local/share/bash-completion/completions/haltmark"
    )]
    Completions(CompletionsArgs),
    /// Print the man page, of the program or of one command
    #[command(after_help = "Example:\n  haltmark man fit > haltmark-fit.1")]
    Man(ManArgs),
}

/// Flags that every command takes.
#[derive(Debug, Args)]
#[command(next_help_heading = "Flags of every command")]
pub struct Common {
    /// Set-up file: dial, wheels, brake, event, obstacle, score
    #[arg(long, global = true, value_name = "FILE")]
    pub setup: Option<PathBuf>,
    /// Results as JSON on standard output, and nothing else there
    #[arg(long, global = true)]
    pub json: bool,
    /// No progress, warnings or remarks: only the answer, and errors
    #[arg(long, short, global = true)]
    pub quiet: bool,
    /// Share of cases that every printed range is to hold
    #[arg(long, global = true, value_name = "SHARE", default_value = "0.95", value_parser = level, allow_negative_numbers = true)]
    pub level: Level,
    /// Start of everything left to chance: the same number gives the same bytes [default: 1, or the truth file's]
    // An option, so that simulate can tell a seed that was asked for from none.
    #[arg(long, global = true, value_name = "N")]
    pub seed: Option<u64>,
}

/// Logs to read, and how.
#[derive(Debug, Args)]
pub struct LogsArgs {
    /// Run logs (.csv, .xlsx, .ods), or - for CSV from standard input; several are one season
    #[arg(required = true, value_name = "LOG")]
    pub logs: Vec<PathBuf>,
    /// Sheet of a spreadsheet; without it the first one
    #[arg(long, value_name = "NAME")]
    pub sheet: Option<String>,
}

/// Which rig, build and trim.
#[derive(Debug, Args)]
pub struct RigArgs {
    /// The rig, where the calibration holds several: any part of its name that no other has
    #[arg(long, value_name = "VEHICLE/WHEELS")]
    pub rig: Option<String>,
    /// The build; without it the newest in the log
    #[arg(long, value_name = "NAME")]
    pub build: Option<String>,
    /// The trim; without it the newest in the log
    #[arg(long, value_name = "NAME")]
    pub trim: Option<String>,
}

/// `haltmark start`
#[derive(Debug, Args)]
pub struct StartArgs {
    /// What the log is called: NAME.xlsx and NAME-setup.toml are written, and nothing is written over
    pub name: PathBuf,
    /// Write the log as text, NAME.csv, and not as a workbook
    #[arg(long)]
    pub csv: bool,
}

/// `haltmark check`
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// What to read.
    #[command(flatten)]
    pub logs: LogsArgs,
}

/// `haltmark fit`
#[derive(Debug, Args)]
pub struct FitArgs {
    /// What to read.
    #[command(flatten)]
    pub logs: LogsArgs,
    /// Folder for the report, figures, calibration, settings and card [default: reports/ and the first log's name]
    #[arg(long, short = 'o', value_name = "DIR", value_parser = not_dash("a folder has a name; expected one, such as out"))]
    pub out: Option<PathBuf>,
    /// Fit every run, also those that would be set aside as blunders
    #[arg(long)]
    pub keep_all: bool,
    /// Leave out runs made before this day (year first: 2026-03-14)
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub since: Option<Date>,
    /// Open the report when it is written
    #[arg(long)]
    pub open: bool,
}

/// `haltmark dial`
#[derive(Debug, Args)]
pub struct DialArgs {
    /// A calibration.json that `fit` wrote, or its folder
    pub calibration: PathBuf,
    /// Distance to the target in m; several with commas between
    #[arg(long, required = true, value_name = "M", value_parser = targets_m, allow_negative_numbers = true)]
    pub target: Targets,
    /// Brake lead in turns, instead of the recommended one
    #[arg(long, value_name = "TURNS", value_parser = lead_turns, allow_negative_numbers = true)]
    pub lead: Option<f64>,
    /// A miss to beat, in cm: how likely the next run stops nearer
    #[arg(long, value_name = "CM", value_parser = above_zero, allow_negative_numbers = true)]
    pub beat: Option<f64>,
    /// Which rig, build and trim.
    #[command(flatten)]
    pub rig: RigArgs,
}

/// `haltmark correct`
#[derive(Debug, Args)]
pub struct CorrectArgs {
    /// A calibration.json that `fit` wrote, or its folder
    pub calibration: PathBuf,
    /// A log of today's runs, one session; - for CSV from standard input
    pub today: PathBuf,
    /// Distance to the next target in m; several with commas between
    #[arg(long, required = true, value_name = "M", value_parser = targets_m, allow_negative_numbers = true)]
    pub target: Targets,
    /// Brake lead in turns, instead of the recommended one
    #[arg(long, value_name = "TURNS", value_parser = lead_turns, allow_negative_numbers = true)]
    pub lead: Option<f64>,
    /// A miss to beat, in cm: how likely the next run stops nearer
    #[arg(long, value_name = "CM", value_parser = above_zero, allow_negative_numbers = true)]
    pub beat: Option<f64>,
    /// Use also runs that the calibration holds for almost impossible: they were read right
    #[arg(long)]
    pub believe: bool,
    /// Sheet of a spreadsheet; without it the first one
    #[arg(long, value_name = "NAME")]
    pub sheet: Option<String>,
    /// Which rig, build and trim.
    #[command(flatten)]
    pub rig: RigArgs,
}

/// `haltmark plan`
#[derive(Debug, Args)]
pub struct PlanArgs {
    /// A calibration.json that `fit` wrote, or its folder
    pub calibration: PathBuf,
    /// The miss at the event that is to be kept, in cm
    #[arg(long, value_name = "CM", value_parser = above_zero, allow_negative_numbers = true)]
    pub within: f64,
    /// How often it is to be kept: 0.9 is nine times in ten
    #[arg(long, value_name = "SHARE", default_value = "0.9", value_parser = level, allow_negative_numbers = true)]
    pub chance: Level,
    /// What this many more sessions would bring
    #[arg(long, value_name = "N", requires = "runs", value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub sessions: Option<u32>,
    /// Runs in each of them
    #[arg(long, value_name = "N", requires = "sessions", value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub runs: Option<u32>,
    /// Folder for a page of the plan, with its figures
    #[arg(long, short = 'o', value_name = "DIR", value_parser = not_dash("a folder has a name; expected one, such as out"))]
    pub out: Option<PathBuf>,
    /// Which rig, build and trim.
    #[command(flatten)]
    pub rig: RigArgs,
}

/// What two things differ in, for `haltmark compare`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
#[allow(missing_docs)] // The contract's columns of those names.
pub enum ByColumn {
    Wheels,
    Vehicle,
    Build,
    Trim,
    Floor,
}

/// `haltmark compare`
#[derive(Debug, Args)]
pub struct CompareArgs {
    /// What to read.
    #[command(flatten)]
    pub logs: LogsArgs,
    /// What the two differ in
    #[arg(long, value_name = "COLUMN")]
    pub by: ByColumn,
    /// Label of the one; of vehicles and wheels also a whole rig, VEHICLE/WHEELS
    #[arg(long, value_name = "NAME")]
    pub a: String,
    /// Label of the other, or a whole rig
    #[arg(long, value_name = "NAME")]
    pub b: String,
    /// What is held fixed: the vehicle (or the wheels) whose runs are compared, or a part of its name
    #[arg(long, value_name = "NAME")]
    pub rig: Option<String>,
    /// Folder for a page of the comparison, with its figures
    #[arg(long, short = 'o', value_name = "DIR", value_parser = not_dash("a folder has a name; expected one, such as out"))]
    pub out: Option<PathBuf>,
}

/// `haltmark review`
#[derive(Debug, Args)]
pub struct ReviewArgs {
    /// A calibration.json that `fit` wrote, or its folder
    pub calibration: PathBuf,
    /// What to read.
    #[command(flatten)]
    pub logs: LogsArgs,
    /// Folder for a page of the review, with its figures
    #[arg(long, short = 'o', value_name = "DIR", value_parser = not_dash("a folder has a name; expected one, such as out"))]
    pub out: Option<PathBuf>,
    /// Which rig, build and trim.
    #[command(flatten)]
    pub rig: RigArgs,
}

/// `haltmark simulate`
#[derive(Debug, Args)]
pub struct SimulateArgs {
    /// A truth file; without it one is printed, to edit
    #[arg(long, value_name = "FILE")]
    pub truth: Option<PathBuf>,
    /// Where to write the log; without it to standard output
    #[arg(long, short = 'o', value_name = "LOG", requires = "truth", value_parser = not_dash("without --out the log is printed: leave it out, or name a file"))]
    pub out: Option<PathBuf>,
}

/// `haltmark sheet`
#[derive(Debug, Args)]
pub struct SheetArgs {
    /// A calibration.json that `fit` wrote, or its folder, to fill in the next sessions' targets and settings
    pub calibration: Option<PathBuf>,
    /// The page to write; in a folder it is called sheet.html
    #[arg(long, short = 'o', value_name = "FILE.html", value_parser = not_dash("a page is not printed here; name a file, such as sheet.html"))]
    pub out: PathBuf,
    /// How many sessions to make a page for
    #[arg(long, value_name = "N", default_value = "1", value_parser = clap::value_parser!(u32).range(1..=20))]
    pub sessions: u32,
    /// Runs in each of them; a sheet of paper holds 12
    #[arg(long, value_name = "N", default_value = "8", value_parser = clap::value_parser!(u32).range(1..=100))]
    pub runs: u32,
    /// The miss, in cm, that the gain of these sessions is told for; without it the one that is kept nine times in ten now
    #[arg(long, value_name = "CM", value_parser = above_zero, allow_negative_numbers = true, requires = "calibration")]
    pub within: Option<f64>,
    /// Which rig, build and trim.
    #[command(flatten)]
    pub rig: RigArgs,
}

/// `haltmark completions`
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// Which shell
    pub shell: clap_complete::Shell,
}

/// `haltmark man`
#[derive(Debug, Args)]
pub struct ManArgs {
    /// Whose page; without it the program's
    pub command: Option<String>,
}

/// A place to write to, but for `-`, which elsewhere stands for standard output and would be a file of that name.
///
/// * `instead` — what to do
fn not_dash(instead: &'static str) -> impl TypedValueParser<Value = PathBuf> {
    PathBufValueParser::new().try_map(move |path| match path.as_os_str() == "-" {
        true => Err(instead),
        false => Ok(path),
    })
}

fn level(text: &str) -> Result<Level, String> {
    let share: Option<f64> = text.trim().parse().ok();
    share
        .and_then(Level::new)
        .ok_or_else(|| "expected a share between 0 and 1, such as 0.95".to_string())
}

fn date(text: &str) -> Result<Date, String> {
    log::date(text.trim())
}

fn finite(text: &str) -> Option<f64> {
    text.trim().parse().ok().filter(|x: &f64| x.is_finite())
}

/// Targets in m, one or more.
#[derive(Debug, Clone, PartialEq)]
pub struct Targets(pub Vec<f64>);

/// Targets with commas between. Two whole numbers with a comma between them may be one number written with a decimal
/// comma, and are not guessed at.
fn targets_m(text: &str) -> Result<Targets, String> {
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    let is_whole = |part: &&str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    if let [first, second] = parts.as_slice()
        && is_whole(first)
        && is_whole(second)
    {
        return Err(format!(
            "this may be one target of {first}.{second} m or two of {first} m and {second} m; write {first}.{second} for \
             the one, {first}.0,{second}.0 for the two"
        ));
    }
    let targets: Result<Vec<f64>, String> = parts.into_iter().map(target_m).collect();
    targets.map(Targets)
}

fn target_m(text: &str) -> Result<f64, String> {
    finite(text)
        .filter(|m| (log::SHORTEST_TARGET_M..=log::LONGEST_M).contains(m))
        .ok_or_else(|| {
            "expected a distance in m, such as 8.35 (with a point; a comma starts another target)"
                .to_string()
        })
}

fn lead_turns(text: &str) -> Result<f64, String> {
    finite(text)
        .filter(|turns| (0.0..=log::MOST_TURNS).contains(turns))
        .ok_or_else(|| "expected a number of turns, 0 or more".to_string())
}

fn above_zero(text: &str) -> Result<f64, String> {
    finite(text)
        .filter(|x| *x > 0.0 && *x <= 100.0 * log::LONGEST_M)
        .ok_or_else(|| "expected a number above 0".to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_arguments_hold_together() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn numbers_on_the_command_line_must_make_sense() {
        assert!(level("0.95").is_ok());
        for bad in ["0", "1", "95", "nan", "-0.5", ""] {
            assert!(level(bad).is_err(), "{bad}");
        }
        for bad in ["-8", "0", "inf", "1e9", "x", "", "7.5,", "7.5,x", "7,8,"] {
            assert!(targets_m(bad).is_err(), "{bad}");
        }
        assert_eq!(lead_turns("0"), Ok(0.0));
        assert!(lead_turns("-1").is_err());
        assert!(above_zero("0").is_err());
    }

    #[test]
    fn a_comma_between_two_whole_numbers_is_asked_about() {
        for (text, both) in [
            ("7,55", ["7.55 m", "7 m and 55 m"]),
            ("7,8", ["7.8 m", "7 m and 8 m"]),
            ("7, 8", ["7.8 m", "7.0,8.0"]),
        ] {
            let why = targets_m(text).unwrap_err();
            assert!(both.iter().all(|reading| why.contains(reading)), "{why}");
        }
        for (text, targets) in [
            ("8.35", vec![8.35]),
            ("7", vec![7.0]),
            ("7.0,8.0", vec![7.0, 8.0]),
            ("7.5,8", vec![7.5, 8.0]),
            ("7,8,9", vec![7.0, 8.0, 9.0]),
        ] {
            assert_eq!(targets_m(text), Ok(Targets(targets)), "{text}");
        }
    }
}
