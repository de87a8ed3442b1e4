//! Labels and dates that contradict each other: nothing here looks at how far a run went.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use jiff::civil::Date;

use super::slip::Slip;
use crate::columns::Column;
use crate::log::run::{Label, Run, Season};
use crate::log::{cell, limits};

/// Every slip in labels and dates of a season.
pub fn slips(season: &Season) -> Vec<Slip> {
    let mut slips = like_another(season);
    slips.extend(two_dates(season));
    slips.extend(labelled_another_year(season));
    slips.extend(dates_that_go_back(season));
    slips
}

/// Most labels that are compared letter by letter: more than this are numbered by a program.
const MOST_COMPARED: usize = 500;
/// Letters of the shortest word that is compared: shorter ones may differ in one letter on purpose, `A` and `B`, `Mon`
/// and `Sun`.
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
        // The first run with each, and its day.
        let mut first: Vec<Option<(usize, Option<Date>)>> = vec![None; labels.len()];
        for (i, run) in season.runs.iter().enumerate() {
            first[label_of(run) as usize].get_or_insert((i, run.date));
        }
        let are_compared = labels.len() <= MOST_COMPARED;
        let words: Vec<Words> = labels
            .iter()
            .filter(|_| are_compared)
            .map(|label| words(label))
            .collect();
        let mut earlier: HashMap<String, usize> = HashMap::new();
        for (i, label) in labels.iter().enumerate() {
            let Some((run, day)) = first[i] else { continue };
            let bare = letters_and_digits(label);
            let same = earlier.get(&bare).copied();
            let near = || {
                let own = words.get(i)?;
                (0..i).find(|&j| {
                    one_letter_apart(own, &words[j])
                        && !(column == Column::Session
                            && first[j].is_some_and(|(_, other)| other_day(day, other)))
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
            earlier.entry(bare).or_insert(i);
        }
    }
    slips
}

fn other_day(a: Option<Date>, b: Option<Date>) -> bool {
    a.zip(b).is_some_and(|(a, b)| a != b)
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

/// The words of a label, in lower case.
type Words = Vec<Vec<char>>;

fn words(label: &str) -> Words {
    let parts = label.split(|c: char| !c.is_alphanumeric());
    parts
        .filter(|word| !word.is_empty())
        .map(|word| word.to_lowercase().chars().collect())
        .collect()
}

/// Whether one word of two labels differs, and that by one letter left out, put in, swapped with its neighbour or
/// taken for another. Not the last letter taken for another, which counts on (`gym a`, `laneb`), nor a digit.
fn one_letter_apart(a: &Words, b: &Words) -> bool {
    if a.len() != b.len() {
        return false;
    }
    let mut differing = a.iter().zip(b).filter(|(a, b)| a != b);
    let (Some((a, b)), None) = (differing.next(), differing.next()) else {
        return false;
    };
    let in_letters = |word: &[char]| word.iter().all(|c| c.is_alphabetic());
    let long_enough = a.len().min(b.len()) >= SHORTEST_WORD && a.len().abs_diff(b.len()) <= 1;
    let only_last_differs = a.len() == b.len() && a[..a.len() - 1] == b[..b.len() - 1];
    long_enough
        && in_letters(a)
        && in_letters(b)
        && !only_last_differs
        && strsim::generic_damerau_levenshtein(a, b) == 1
}

/// Sessions with two dates: a session is made on one day.
fn two_dates(season: &Season) -> Vec<Slip> {
    let mut first: HashMap<Label, Date> = HashMap::new();
    let mut told: BTreeSet<(Label, Date)> = BTreeSet::new();
    let mut slips = Vec::new();
    for (i, run) in season.runs.iter().enumerate() {
        // Enough to show the mistake; a warning for each of a million sessions would fill the memory.
        if slips.len() == limits::FAULTS {
            break;
        }
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

/// Sessions whose label is a date, and that of their first run the same day of another year: a spreadsheet adds the
/// year in which a day without one is typed.
fn labelled_another_year(season: &Season) -> Vec<Slip> {
    let mut seen: HashSet<Label> = HashSet::new();
    let mut slips = Vec::new();
    for (i, run) in season.runs.iter().enumerate() {
        let Some(date) = run.date.filter(|_| seen.insert(run.session)) else {
            continue;
        };
        let label = &season.sessions[run.session as usize];
        let Ok(labelled) = cell::date(label) else {
            continue;
        };
        let day = |date: Date| (date.month(), date.day());
        if day(labelled) == day(date) && labelled != date && slips.len() < limits::FAULTS {
            slips.push(Slip {
                run: i,
                column: Column::Session,
                why: format!(
                    "the session is called \"{label}\" and its date is {date}: which of the two years is right?"
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
    let mut lists: BTreeMap<(u32, Label, Label), Vec<(usize, Date)>> = BTreeMap::new();
    for (i, run) in season.runs.iter().enumerate() {
        let list = lists
            .entry((run.file, run.vehicle, run.wheels))
            .or_default();
        if let Some(date) = run.date
            && list.last().is_none_or(|last| last.1 != date)
        {
            list.push((i, date));
        }
    }
    let mut slips = Vec::new();
    for list in lists.values() {
        let goes_back = |pair: &&[(usize, Date)]| pair[1].1 < pair[0].1;
        let back = list.windows(2).filter(goes_back).count();
        let all = list.len().saturating_sub(1);
        let newest_on_top = back == all && all >= 2;
        if newest_on_top || (back > 3 && back * SORTED_OTHERWISE > all) {
            continue;
        }
        let room = limits::FAULTS - slips.len();
        for pair in list.windows(2).filter(goes_back).take(room) {
            let [(_, above_day), (run, day)] = [pair[0], pair[1]];
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

#[cfg(test)]
mod tests {
    use super::{letters_and_digits, one_letter_apart, words};

    #[test]
    fn one_letter_in_a_word_is_a_slip_and_a_count_is_not() {
        for (a, b) in [
            ("Saturday 1", "Saturdy 1"),
            ("Saturday 1", "satrday 1"),
            ("March 7", "Mrach 7"),
            ("canteen", "cantean"),
        ] {
            assert!(one_letter_apart(&words(a), &words(b)), "{a} {b}");
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
            assert!(!one_letter_apart(&words(a), &words(b)), "{a} {b}");
        }
    }

    #[test]
    fn case_spaces_and_marks_make_no_label() {
        assert_eq!(letters_and_digits("9. Nov"), letters_and_digits("9 nov"));
        assert_ne!(letters_and_digits("+"), letters_and_digits("-"));
    }
}
