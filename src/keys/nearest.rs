//! The nearest known name, for a message about an unknown one.

/// The known name most like `name`, when it is near enough to have been meant: a Jaro–Winkler similarity of at least
/// 0.7 (0 nothing in common, 1 equal), which a slip of the pen reaches and a different word does not.
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let name = name.to_lowercase();
    let mut best: Option<(f64, &str)> = None;
    for candidate in known {
        let likeness = strsim::jaro_winkler(&name, &candidate.to_lowercase());
        if likeness >= 0.7 && best.is_none_or(|(so_far, _)| likeness > so_far) {
            best = Some((likeness, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}
