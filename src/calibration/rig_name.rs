//! Which rig a person means who types its name, or a part of it.

use crate::keys::nearest;

/// What a name or a part of one fits, as indices of the names it was looked for in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NameMeant {
    /// One alone.
    One(usize),
    /// Several, of which none fits better.
    Several(Vec<usize>),
    /// None.
    None,
}

/// The name that is meant by `asked`: the name itself; else one that differs in case only; else one with a part (between
/// slashes) of that name; else one that has it anywhere. Case never counts but for the first.
pub fn meant<'n>(names: impl IntoIterator<Item = &'n str>, asked: &str) -> NameMeant {
    let names: Vec<&str> = names.into_iter().collect();
    if let Some(exact) = names.iter().position(|name| *name == asked) {
        return NameMeant::One(exact);
    }
    let asked = asked.trim().to_lowercase();
    if asked.is_empty() {
        return NameMeant::None;
    }
    let lower: Vec<String> = names.iter().map(|name| name.to_lowercase()).collect();
    let fits: [&dyn Fn(&str) -> bool; 3] = [
        &|name| name == asked,
        &|name| name.split('/').any(|part| part == asked),
        &|name| name.contains(&asked),
    ];
    for fits in fits {
        let found: Vec<usize> = (0..lower.len()).filter(|&i| fits(&lower[i])).collect();
        match found.as_slice() {
            [] => {}
            [only] => return NameMeant::One(*only),
            _ => return NameMeant::Several(found),
        }
    }
    NameMeant::None
}

/// The end of a message about a name that none has: the nearest, or a part of one; blank where none is near.
pub fn did_you_mean<'n>(asked: &str, names: impl IntoIterator<Item = &'n str>) -> String {
    let names: Vec<&str> = names.into_iter().collect();
    let parts = names.iter().flat_map(|name| name.split('/'));
    let known = parts
        .chain(names.iter().copied())
        .filter(|name| !name.is_empty());
    let near = nearest(asked.trim(), known);
    near.map_or_else(String::new, |near| format!("; did you mean {near}?"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_that_fits_one_name_alone_will_do() {
        let names = ["Thistle/foam", "Thistle/foam wide", "Heron/rubber"];
        for (asked, is) in [
            ("Thistle/foam", NameMeant::One(0)),
            ("thistle/FOAM", NameMeant::One(0)),
            ("foam", NameMeant::One(0)),
            ("wide", NameMeant::One(1)),
            ("heron", NameMeant::One(2)),
            ("RUB", NameMeant::One(2)),
            ("thistle", NameMeant::Several(vec![0, 1])),
            ("oa", NameMeant::Several(vec![0, 1])),
            ("sparrow", NameMeant::None),
            ("", NameMeant::None),
        ] {
            assert_eq!(meant(names, asked), is, "{asked}");
        }
    }
}
