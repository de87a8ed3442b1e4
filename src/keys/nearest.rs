//! The nearest known name, for a message about an unknown one.

/// The known name most like `name`, when it is near enough to have been meant: a Jaro–Winkler similarity of at least
/// 0.7 (0 nothing in common, 1 equal), which a slip of the pen reaches and a different word does not. In words too short for
/// that, such as `fti`, one letter wrong, missing, added or swapped.
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    /// Fewest letters of a word in which one of them says little.
    const FEWEST: usize = 3;
    let name = name.to_lowercase();
    let known: Vec<&str> = known.into_iter().collect();
    let mut best: Option<(f64, &str)> = None;
    for &candidate in &known {
        let likeness = strsim::jaro_winkler(&name, &candidate.to_lowercase());
        if likeness >= 0.7 && best.is_none_or(|(so_far, _)| likeness > so_far) {
            best = Some((likeness, candidate));
        }
    }
    let one_letter = |candidate: &&str| {
        candidate.chars().count() >= FEWEST
            && strsim::osa_distance(&name, &candidate.to_lowercase()) == 1
    };
    best.map(|(_, candidate)| candidate)
        .or_else(|| known.into_iter().find(one_letter))
}

/// The known word that a misspelt one was meant for: the nearest, where it is but a slip of the pen away.
pub fn misspelt<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    nearest(word, known).filter(|near| is_a_slip(&word.to_lowercase(), near))
}

/// Whether a word is another but for a slip of the pen: at most two letters wrong, missing, added or swapped.
///
/// Stricter than [`nearest`]: for where a word of its own would be refused.
pub fn is_a_slip(word: &str, known: &str) -> bool {
    const LETTERS: usize = 2;
    strsim::osa_distance(word, known) <= LETTERS
}
