//! Labels, dates and rows that contradict each other: nothing here looks at how far a run went.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::civil::Date;

use super::Slip;
use crate::log::columns::Column;
use crate::log::row::Reading;
use crate::log::run::{Label, Run, Season};

/// Every slip of this kind.
pub fn slips(reading: &Reading) -> Vec<Slip> {
    let mut slips = like_another(&reading.season);
    slips.extend(two_dates(&reading.season));
    slips.extend(dates_that_go_back(&reading.season));
    slips.extend(typed_twice(reading));
    slips
}

/// More labels than this are not compared letter by letter: so many are numbered by a program.
const MOST_COMPARED: usize = 500;
/// A shorter word may well differ from another in one letter and mean it: `A` and `B`, `Mon` and `Sun`.
const SHORTEST_WORD: usize = 4;

/// Labels that differ from an earlier one only in case, spaces and marks, or in one letter of a word.
fn like_another(season: &Season) -> Vec<Slip> {
    type LabelOf = fn(&Run) -> Label;
    let lists: [(Column, &Vec<String>, LabelOf); 6] = [
        (Column::Session, &season.sessions, |run| run.session),
        (Column::Vehicle, &season.vehicles, |run| run.vehicle),
        (Column::Wheels, &season.wheels, |run| run.wheels),
        (Column::Build, &season.builds, |run| run.build),
        (Column::Trim, &season.trims, |run| run.trim),
        (Column::Floor, &season.floors, |run| run.floor),
    ];
    let mut slips = Vec::new();
    for (column, labels, label_of) in lists {
        let mut first_run: Vec<Option<usize>> = vec![None; labels.len()];
        for (i, run) in season.runs.iter().enumerate() {
            first_run[label_of(run) as usize].get_or_insert(i);
        }
        let mut earlier: HashMap<String, usize> = HashMap::new();
        for (i, label) in labels.iter().enumerate() {
            let Some(run) = first_run[i] else { continue };
            let same = earlier.get(&letters_and_digits(label)).copied();
            let near = || {
                if labels.len() > MOST_COMPARED {
                    return None;
                }
                (0..i).find(|&j| {
                    let other_day = column == Column::Session
                        && first_run[j]
                            .is_some_and(|j| other_day(&season.runs[run], &season.runs[j]));
                    !other_day && one_letter_apart(label, &labels[j])
                })
            };
            let (twin, differs) = match same {
                Some(twin) => (Some(twin), "capital letters, spaces or marks"),
                None => (near(), "one letter"),
            };
            if let Some(twin) = twin {
                slips.push(Slip {
                    run,
                    column,
                    why: format!(
                        "\"{label}\" differs from \"{}\" only in {differs}, so they count as two; if they are one, write \
                         both the same",
                        labels[twin]
                    ),
                });
            }
            earlier.entry(letters_and_digits(label)).or_insert(i);
        }
    }
    slips
}

fn other_day(a: &Run, b: &Run) -> bool {
    a.date.zip(b.date).is_some_and(|(a, b)| a != b)
}

fn letters_and_digits(label: &str) -> String {
    let kept = label.chars().filter(|c| c.is_alphanumeric());
    let kept: String = kept.flat_map(char::to_lowercase).collect();
    // A label of nothing but marks is like no other.
    if kept.is_empty() {
        label.to_string()
    } else {
        kept
    }
}

/// Whether one word of two labels differs, and that by one letter left out, put in, swapped with its neighbour or
/// taken for another. Not the last letter taken for another, which counts on (`gym a`, `laneb`), nor a digit.
fn one_letter_apart(a: &str, b: &str) -> bool {
    let words = |label: &str| -> Vec<String> {
        let parts = label.split(|c: char| !c.is_alphanumeric());
        parts
            .filter(|w| !w.is_empty())
            .map(str::to_lowercase)
            .collect()
    };
    let (a, b) = (words(a), words(b));
    if a.len() != b.len() {
        return false;
    }
    let mut differing = a.iter().zip(&b).filter(|(a, b)| a != b);
    let (Some((a, b)), None) = (differing.next(), differing.next()) else {
        return false;
    };
    let [a, b]: [Vec<char>; 2] = [a.chars().collect(), b.chars().collect()];
    let in_letters = |word: &[char]| word.iter().all(|c| c.is_alphabetic());
    let long_enough = a.len().min(b.len()) >= SHORTEST_WORD && a.len().abs_diff(b.len()) <= 1;
    let only_last_differs = a.len() == b.len() && a[..a.len() - 1] == b[..b.len() - 1];
    long_enough
        && in_letters(&a)
        && in_letters(&b)
        && !only_last_differs
        && strsim::generic_damerau_levenshtein(&a, &b) == 1
}

/// A session is made on one day.
fn two_dates(season: &Season) -> Vec<Slip> {
    let mut first: HashMap<Label, Date> = HashMap::new();
    let mut told: BTreeSet<(Label, Date)> = BTreeSet::new();
    let mut slips = Vec::new();
    for (i, run) in season.runs.iter().enumerate() {
        let Some(date) = run.date else { continue };
        let own = *first.entry(run.session).or_insert(date);
        if date != own && told.insert((run.session, date)) {
            slips.push(Slip {
                run: i,
                column: Column::Date,
                why: format!(
                    "{date}, but session \"{}\" began on {own}; a session is made on one day: is the date right, or is \
                     it another session?",
                    season.sessions[run.session as usize]
                ),
            });
        }
    }
    slips
}

/// A list in which more than three steps from session to session go back, and more than one in this many, is kept in
/// some other order than by date.
const SORTED_OTHERWISE: usize = 4;

/// A session dated before the one above it, in a list that else goes forward. Each rig of each file is a list of its
/// own: people write one vehicle below the other. A list that goes back as a rule (the newest on top) is no slip.
fn dates_that_go_back(season: &Season) -> Vec<Slip> {
    let mut lists: BTreeMap<(u32, Label, Label), Vec<usize>> = BTreeMap::new();
    for (i, run) in season.runs.iter().enumerate() {
        let list = lists
            .entry((run.file, run.vehicle, run.wheels))
            .or_default();
        let same_day = list
            .last()
            .is_some_and(|&last| season.runs[last].date == run.date);
        if run.date.is_some() && !same_day {
            list.push(i);
        }
    }
    let mut slips = Vec::new();
    for list in lists.values() {
        let steps = || list.windows(2).map(|pair| (pair[0], pair[1]));
        let goes_back =
            |&(above, run): &(usize, usize)| season.runs[run].date < season.runs[above].date;
        let back = steps().filter(goes_back).count();
        let all = list.len().saturating_sub(1);
        let newest_on_top = back == all && all >= 2;
        if newest_on_top || (back > 3 && back * SORTED_OTHERWISE > all) {
            continue;
        }
        for (above, run) in steps().filter(goes_back) {
            let [above_day, day] = [above, run].map(|i| season.runs[i].date.unwrap_or_default());
            slips.push(Slip {
                run,
                column: Column::Date,
                why: format!(
                    "{day} comes after {above_day} further up; dates decide what is newest and whether the vehicle drifts: \
                     is one of the two wrong?"
                ),
            });
        }
    }
    slips
}

/// Measured values that two rows must share, without a number for the run, before they are one row typed twice:
/// two runs of the same settings agree in long and right to the half centimetre about once in 2,500.
const MEASURED_ALIKE: usize = 3;
/// With two measured values, consecutive rows must else have other settings in all but one of so many.
const SETTINGS_REPEAT: usize = 10;
/// So many rows in the order of earlier ones are those rows again, whatever was measured.
const BLOCK: usize = 3;

/// Rows that stand in their session twice, and numbers of runs that do.
fn typed_twice(reading: &Reading) -> Vec<Slip> {
    let season = &reading.season;
    let mut slips = Vec::new();
    let mut numbered: HashMap<(Label, Label, Label, u8, u64), usize> = HashMap::new();
    let mut same: HashMap<u64, usize> = HashMap::new();
    // For each row, the last row before it that says the same.
    let mut twin: Vec<Option<usize>> = vec![None; season.runs.len()];
    for (i, run) in season.runs.iter().enumerate() {
        let told = values(run);
        let last = same.insert(hash(&told), i);
        twin[i] = last.filter(|&j| run.rest_m.is_some() && values(&season.runs[j]) == told);
        if reading.has(run, Column::Run) {
            let key = (
                run.session,
                run.vehicle,
                run.wheels,
                run.kind as u8,
                run.order.to_bits(),
            );
            if let Some(first) = numbered.insert(key, i) {
                let what = if values(&season.runs[first]) == told {
                    "the row is the same as"
                } else {
                    "this number stands in the same session at"
                };
                slips.push(Slip {
                    run: i,
                    column: Column::Run,
                    why: format!("{what} {}; was it typed twice?", place(reading, first)),
                });
                twin[i] = None;
            }
        }
    }
    let rare_settings = settings_are_rarely_repeated(season);
    let mut in_block = 0;
    for i in 0..twin.len() {
        let Some(first) = twin[i] else {
            in_block = 0;
            continue;
        };
        if in_block > 0 {
            in_block -= 1;
            continue;
        }
        let block = (0..)
            .take_while(|k| twin.get(i + k).copied().flatten() == Some(first + k) && first + k < i);
        let block = block.count();
        let run = &season.runs[i];
        let measured = [run.rest_m, run.right_m, run.time_s, run.gap_m, run.miss_m];
        let measured = measured.into_iter().flatten().count();
        let next_to_it = first + 1 == i;
        let numbered = reading.has(run, Column::Run);
        let enough = measured >= MEASURED_ALIKE || (measured == 2 && rare_settings && !numbered);
        if block >= BLOCK {
            in_block = block - 1;
            slips.push(Slip {
                run: i,
                column: Column::Session,
                why: format!(
                    "{block} rows from here on are the same as those from {} on; were they typed or copied twice?",
                    place(reading, first)
                ),
            });
        } else if next_to_it && enough {
            slips.push(Slip {
                run: i,
                column: Column::Session,
                why: "the row is the same as the one above it; was it typed twice?".to_string(),
            });
        }
    }
    slips
}

/// Everything a row says but its number.
fn values(run: &Run) -> (Vec<Label>, Vec<Option<u64>>, [u8; 3]) {
    let numbers = [
        run.target_m,
        run.turns,
        run.rest_m,
        run.right_m,
        run.aim_right_m,
        run.miss_m,
        run.lead_turns,
        run.recoil_m,
        run.gap_m,
        run.time_s,
    ];
    (
        vec![
            run.session,
            run.vehicle,
            run.wheels,
            run.build,
            run.trim,
            run.floor,
        ],
        numbers.map(|number| number.map(f64::to_bits)).to_vec(),
        [
            run.kind as u8,
            run.status as u8,
            run.load.map_or(0, |load| 1 + load as u8),
        ],
    )
}

fn hash(values: &impl std::hash::Hash) -> u64 {
    use std::hash::{DefaultHasher, Hasher};
    let mut hasher = DefaultHasher::new();
    values.hash(&mut hasher);
    hasher.finish()
}

fn settings_are_rarely_repeated(season: &Season) -> bool {
    let settings = |run: &Run| (run.target_m, run.turns, run.aim_right_m, run.lead_turns);
    let repeated = season
        .runs
        .windows(2)
        .filter(|pair| settings(&pair[0]) == settings(&pair[1]));
    repeated.count() * SETTINGS_REPEAT < season.runs.len()
}

/// `line 7`, `row 7` or `line 7 of other.csv`.
fn place(reading: &Reading, run: usize) -> String {
    let run = &reading.season.runs[run];
    let origin = &reading.sources[run.file as usize].origin;
    let row = origin.row_word();
    if reading.sources.len() == 1 {
        format!("{row} {}", run.line)
    } else {
        format!("{row} {} of {}", run.line, origin.file)
    }
}

#[cfg(test)]
mod tests {
    use super::{letters_and_digits, one_letter_apart};

    #[test]
    fn one_letter_in_a_word_is_a_slip_and_a_count_is_not() {
        for (a, b) in [
            ("Saturday 1", "Saturdy 1"),
            ("Saturday 1", "satrday 1"),
            ("March 7", "Mrach 7"),
            ("canteen", "cantean"),
        ] {
            assert!(one_letter_apart(a, b), "{a} {b}");
        }
        for (a, b) in [
            ("A", "B"),
            ("9 Nov", "8 Nov"),
            ("Saturday 1", "Saturday 2"),
            ("gym a", "gym b"),
            ("lanea", "laneb"),
            ("Monday", "Sunday"),
            ("June", "July"),
            ("run12", "run13"),
            ("first trim", "first"),
            ("soft foam", "hard foam"),
        ] {
            assert!(!one_letter_apart(a, b), "{a} {b}");
        }
    }

    #[test]
    fn case_spaces_and_marks_make_no_label() {
        assert_eq!(letters_and_digits("9. Nov"), letters_and_digits("9 nov"));
        assert_ne!(letters_and_digits("+"), letters_and_digits("-"));
    }
}
