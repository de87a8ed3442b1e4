//! The columns of the run log: their names, units, and the headings that stand for them. The only list of those names.
//!
//! Knows nothing of logs and set-ups, which both speak of columns: a log in its header, a set-up under `[columns]`.

use std::collections::BTreeMap;

use crate::keys::nearest as nearest_of;
use crate::units::LengthUnit;

/// Bytes of the longest heading that is looked at; cells of the first lines come here before their length is checked.
const LONGEST_HEADING: usize = 5_000;

/// A column of the run log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)] // Each is the contract's column of that name.
pub enum Column {
    Session,
    Target,
    Turns,
    Ticks,
    Long,
    Rest,
    Right,
    Miss,
    AimRight,
    Run,
    Date,
    Vehicle,
    Wheels,
    Build,
    Trim,
    Floor,
    LeadTurns,
    Status,
    Recoil,
    Gap,
    Load,
    Time,
    Kind,
    Note,
}

/// How many columns a log may have by name.
pub const COLUMNS: usize = 24;

/// A column, its contract name, and the name without its unit where it is a length.
struct Known {
    column: Column,
    name: &'static str,
    length_stem: Option<&'static str>,
    /// Shorter names by which people call it.
    also: &'static [&'static str],
    /// What may stand in brackets behind the name; anything where the column has no unit.
    units: &'static [&'static str],
}

const fn other(column: Column, name: &'static str) -> Known {
    Known {
        column,
        name,
        length_stem: None,
        also: &[],
        units: &[],
    }
}

const fn turned(
    column: Column,
    name: &'static str,
    also: &'static [&'static str],
    units: &'static [&'static str],
) -> Known {
    Known {
        also,
        units,
        ..other(column, name)
    }
}

const fn length(column: Column, name: &'static str, stem: &'static str) -> Known {
    Known {
        column,
        name,
        length_stem: Some(stem),
        also: &[],
        units: &[],
    }
}

/// Every column, indexed by [`Column`].
const KNOWN: [Known; COLUMNS] = [
    other(Column::Session, "session"),
    length(Column::Target, "target_m", "target"),
    turned(Column::Turns, "turns", &[], &["turns", "turn"]),
    turned(Column::Ticks, "ticks", &[], &["ticks", "tick"]),
    length(Column::Long, "long_cm", "long"),
    length(Column::Rest, "rest_m", "rest"),
    length(Column::Right, "right_cm", "right"),
    length(Column::Miss, "miss_cm", "miss"),
    length(Column::AimRight, "aim_right_cm", "aim_right"),
    other(Column::Run, "run"),
    other(Column::Date, "date"),
    other(Column::Vehicle, "vehicle"),
    other(Column::Wheels, "wheels"),
    other(Column::Build, "build"),
    other(Column::Trim, "trim"),
    other(Column::Floor, "floor"),
    turned(
        Column::LeadTurns,
        "lead_turns",
        &["lead"],
        &["turns", "turn"],
    ),
    other(Column::Status, "status"),
    length(Column::Recoil, "recoil_cm", "recoil"),
    length(Column::Gap, "gap_cm", "gap"),
    other(Column::Load, "load"),
    turned(Column::Time, "time_s", &[], &["s", "sec", "seconds"]),
    other(Column::Kind, "kind"),
    turned(Column::Note, "note", &["notes"], &[]),
];

impl Column {
    /// Its name in the contract, with the contract's unit.
    pub fn name(self) -> &'static str {
        KNOWN[self as usize].name
    }

    /// Whether an empty cell of it repeats the row above: a label or the date.
    pub fn repeats_above(self) -> bool {
        matches!(
            self,
            Column::Session
                | Column::Date
                | Column::Vehicle
                | Column::Wheels
                | Column::Build
                | Column::Trim
                | Column::Floor
        )
    }

    /// Its name without the unit, for a length.
    pub fn length_stem(self) -> Option<&'static str> {
        KNOWN[self as usize].length_stem
    }

    /// The ways to write its header: `long_cm, long_m, long_mm, long_in or long_ft`.
    pub fn ways(self) -> String {
        match self.length_stem() {
            None => self.name().to_string(),
            Some(stem) => {
                let mut units: Vec<&str> = LengthUnit::ALL.iter().map(|u| u.suffix()).collect();
                // The contract's own unit first.
                units.sort_by_key(|unit| *unit != &self.name()[stem.len() + 1..]);
                let (last, rest) = units.split_last().expect("there are five units");
                let listed: Vec<String> = rest.iter().map(|u| format!("{stem}_{u}")).collect();
                format!("{} or {stem}_{last}", listed.join(", "))
            }
        }
    }
}

/// A name reduced to what is compared: lower case, without spaces and underscores.
pub fn folded(name: &str) -> String {
    name.chars()
        .filter(|c| !c.is_whitespace() && *c != '_')
        .flat_map(char::to_lowercase)
        .collect()
}

/// A heading without what stands in brackets at its end, and that.
fn bracket(heading: &str) -> (&str, Option<&str>) {
    let heading = heading.trim();
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some(inside) = heading.strip_suffix(close)
            && let Some(at) = inside.rfind(open)
        {
            return (inside[..at].trim_end(), Some(inside[at + 1..].trim()));
        }
    }
    (heading, None)
}

/// The unit that stands in brackets at the end of a heading, `cm` in `Long (cm)`.
fn unit_in_brackets(heading: &str) -> Option<LengthUnit> {
    LengthUnit::from_suffix(&folded(bracket(heading).1?))
}

/// The column and unit a heading names in the contract's own words; metres where it is no length.
fn named(heading: &str) -> Option<(Column, LengthUnit)> {
    if heading.len() > LONGEST_HEADING {
        return None;
    }
    let (name, inside) = bracket(heading);
    let (name, inside) = (folded(name), inside.map(folded));
    KNOWN
        .iter()
        .find_map(|known| Some((known.column, known.unit(&name, inside.as_deref())?)))
}

impl Known {
    /// The unit of a heading that names the column.
    ///
    /// * `name` — the heading without brackets, folded
    /// * `inside` — what stands in brackets, folded
    fn unit(&self, name: &str, inside: Option<&str>) -> Option<LengthUnit> {
        if let Some(stem) = self.length_stem {
            let suffix = name.strip_prefix(folded(stem).as_str())?;
            return match (suffix, inside) {
                ("", Some(inside)) => LengthUnit::from_suffix(inside),
                (suffix, Some(inside)) if suffix != inside => None,
                (suffix, _) => LengthUnit::from_suffix(suffix),
            };
        }
        let own = folded(self.name);
        let is_own = name == own || self.also.contains(&name);
        let is_meant = match inside {
            None => is_own,
            // `Time (s)` is time_s.
            Some(inside) if format!("{name}{inside}") == own => true,
            Some(inside) => is_own && (self.units.is_empty() || self.units.contains(&inside)),
        };
        is_meant.then_some(LengthUnit::M)
    }
}

/// The column of a length whose name a heading gives without a unit.
pub fn named_without_unit(heading: &str) -> Option<Column> {
    if heading.len() > LONGEST_HEADING {
        return None;
    }
    let (name, inside) = bracket(heading);
    let name = folded(name);
    let known = KNOWN
        .iter()
        .find(|known| known.length_stem.is_some_and(|stem| folded(stem) == name))?;
    let has_unit = inside.is_some_and(|inside| LengthUnit::from_suffix(&folded(inside)).is_some());
    (!has_unit).then_some(known.column)
}

/// The known header most like a name, in the contract's own unit or another.
pub fn nearest(name: &str) -> Option<String> {
    if name.len() > LONGEST_HEADING {
        return None;
    }
    let mut ways: Vec<(String, String)> = Vec::new();
    for known in &KNOWN {
        // The contract's unit first: it wins a tie.
        ways.push((folded(known.name), known.name.to_string()));
        for unit in LengthUnit::ALL {
            if let Some(stem) = known.length_stem {
                let header = format!("{stem}_{}", unit.suffix());
                ways.push((folded(&header), header));
            }
        }
    }
    let folded_ways = ways.iter().map(|(folded, _)| folded.as_str());
    let near = nearest_of(&folded(bracket(name).0), folded_ways)?;
    let (_, header) = ways.iter().find(|(folded, _)| folded == near)?;
    Some(header.clone())
}

/// The headings that a log may have: the contract's names, and those that a set-up gives under `[columns]`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Headings {
    mapped: Vec<Mapped>,
}

/// A heading in words of the user's own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mapped {
    /// The column it stands for.
    pub column: Column,
    /// The unit of its numbers; metres where the column is no length.
    pub unit: LengthUnit,
    /// The heading as the set-up has it.
    pub heading: String,
    folded: String,
}

impl Headings {
    /// The headings of a set-up.
    ///
    /// * `columns` — the contract's name of each column, with what stands in the log instead; what [`mapping_faults`]
    ///   finds fault with is left out
    pub fn from_columns(columns: &BTreeMap<String, String>) -> Self {
        let mapped = columns.iter().filter_map(|(name, heading)| {
            let (column, unit) = mapping(name, heading).ok()?;
            Some(Mapped {
                column,
                unit,
                heading: heading.clone(),
                folded: folded(heading),
            })
        });
        Headings {
            mapped: mapped.collect(),
        }
    }

    /// The column and unit that a heading of a log names; metres where it is no length.
    pub fn named(&self, heading: &str) -> Option<(Column, LengthUnit)> {
        if !self.mapped.is_empty() && heading.len() <= LONGEST_HEADING {
            let name = folded(heading);
            if let Some(mapped) = self.mapped.iter().find(|mapped| mapped.folded == name) {
                return Some((mapped.column, mapped.unit));
            }
        }
        named(heading)
    }

    /// How many of these cells name a column.
    pub fn known_names<'c>(&self, cells: impl IntoIterator<Item = &'c str>) -> usize {
        let cells = cells.into_iter();
        cells.filter(|cell| self.named(cell).is_some()).count()
    }

    /// The headings in words of the user's own.
    pub fn mapped(&self) -> &[Mapped] {
        &self.mapped
    }
}

/// The column and unit that a line under `[columns]` gives a heading.
///
/// # Errors
/// What was expected instead.
fn mapping(name: &str, heading: &str) -> Result<(Column, LengthUnit), String> {
    let inside = unit_in_brackets(heading);
    if let Some((column, unit)) = named(name) {
        return match (column.length_stem(), inside) {
            (Some(stem), Some(inside)) if inside != unit => Err(format!(
                "the name says {}, the heading {inside}; expected {stem}_{inside} for this heading",
                unit.suffix(),
                inside = inside.suffix(),
            )),
            _ => Ok((column, unit)),
        };
    }
    match (named_without_unit(name), inside) {
        (Some(column), Some(unit)) => Ok((column, unit)),
        (Some(column), None) => Err(format!(
            "a length needs its unit; expected {}",
            column.ways()
        )),
        (None, _) => {
            let near = nearest(name).map(|near| format!("; nearest is {near}"));
            let all = || format!("; known are {}", KNOWN.map(|known| known.name).join(", "));
            Err(format!(
                "the log has no column of that name{}",
                near.unwrap_or_else(all)
            ))
        }
    }
}

/// What is wrong with the lines under `[columns]`: of each its name there, and what was expected.
pub fn mapping_faults(columns: &BTreeMap<String, String>) -> Vec<(String, String)> {
    let mut faults = Vec::new();
    let mut seen: Vec<(Column, &str, String)> = Vec::new();
    for (name, heading) in columns {
        let folded = folded(heading);
        let mut fault = |why: String| faults.push((name.clone(), why));
        match mapping(name, heading) {
            Err(why) => fault(why),
            Ok(_) if folded.is_empty() => {
                fault("expected the heading that stands in the log".to_string());
            }
            Ok((column, _)) => {
                for (other_column, other, other_heading) in &seen {
                    if *other_column == column {
                        fault(format!(
                            "{other} above is the same column; expected one of them"
                        ));
                    } else if *other_heading == folded {
                        fault(format!(
                            "{other} above has the same heading; expected one of them"
                        ));
                    }
                }
                seen.push((column, name, folded));
            }
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_in_the_order_of_the_columns() {
        for (i, known) in KNOWN.iter().enumerate() {
            assert_eq!(known.column as usize, i);
            if let Some(stem) = known.length_stem {
                assert!(known.name.starts_with(stem));
            }
        }
    }

    #[test]
    fn names_are_matched_without_case_spaces_and_underscores() {
        for name in [
            "aim_right_in",
            "Aim Right In",
            "AIMRIGHTIN",
            " aim_RIGHT in",
        ] {
            assert_eq!(named(name), Some((Column::AimRight, LengthUnit::In)));
        }
        assert_eq!(
            named("Lead Turns"),
            Some((Column::LeadTurns, LengthUnit::M))
        );
        assert_eq!(named("target"), None);
        assert_eq!(named("longkm"), None);
    }

    #[test]
    fn a_unit_may_stand_in_brackets() {
        for (heading, column, unit) in [
            ("Long (cm)", Column::Long, LengthUnit::Cm),
            ("Target [m]", Column::Target, LengthUnit::M),
            ("Aim right (in)", Column::AimRight, LengthUnit::In),
            ("long_mm (mm)", Column::Long, LengthUnit::Mm),
            ("Time (s)", Column::Time, LengthUnit::M),
            ("Lead (turns)", Column::LeadTurns, LengthUnit::M),
            ("Lead", Column::LeadTurns, LengthUnit::M),
            ("Notes", Column::Note, LengthUnit::M),
            ("Session (which day)", Column::Session, LengthUnit::M),
        ] {
            assert_eq!(named(heading), Some((column, unit)), "{heading}");
        }
        // A unit that the column does not have would be read as another.
        for heading in [
            "Long (km)",
            "long_cm (mm)",
            "Time (min)",
            "Lead (cm)",
            "(cm)",
            "()",
        ] {
            assert_eq!(named(heading), None, "{heading}");
        }
        assert_eq!(named_without_unit("Long (+ past)"), Some(Column::Long));
        assert_eq!(named_without_unit("Long (cm)"), None);
    }

    #[test]
    fn a_heading_of_ones_own_takes_the_unit_of_its_name_or_its_bracket() {
        let columns = |pairs: &[(&str, &str)]| -> BTreeMap<String, String> {
            let pair = |(name, heading): &(&str, &str)| (name.to_string(), heading.to_string());
            pairs.iter().map(pair).collect()
        };
        let both = columns(&[("long_mm", "Abweichung längs"), ("right", "Seite (in)")]);
        assert_eq!(mapping_faults(&both), []);
        let headings = Headings::from_columns(&both);
        assert_eq!(
            headings.named("abweichung LÄNGS"),
            Some((Column::Long, LengthUnit::Mm))
        );
        assert_eq!(
            headings.named("Seite (in)"),
            Some((Column::Right, LengthUnit::In))
        );
        for (pairs, says) in [
            (columns(&[("lon_cm", "Längs")]), "nearest is long_cm"),
            (columns(&[("right", "Seite")]), "expected right_cm, right_m"),
            (columns(&[("long_cm", "Längs (mm)")]), "expected long_mm"),
            (columns(&[("long_cm", "")]), "expected the heading"),
            (
                columns(&[("long_cm", "a"), ("long_mm", "b")]),
                "the same column",
            ),
            (
                columns(&[("long_cm", "a"), ("rest_m", "A")]),
                "the same heading",
            ),
        ] {
            let faults = mapping_faults(&pairs);
            assert!(
                faults.len() == 1 && faults[0].1.contains(says),
                "{faults:?}"
            );
        }
    }

    #[test]
    fn every_length_takes_every_unit() {
        for known in KNOWN.iter() {
            for unit in LengthUnit::ALL {
                if let Some(stem) = known.length_stem {
                    let header = format!("{stem}_{}", unit.suffix());
                    assert_eq!(named(&header), Some((known.column, unit)));
                }
            }
        }
    }

    #[test]
    fn the_nearest_name_is_the_one_a_person_meant() {
        for (typed, meant) in [
            ("lon_cm", "long_cm"),
            ("sesion", "session"),
            ("target_mtr", "target_m"),
            ("vehikel", "vehicle"),
            ("aim_rigth_cm", "aim_right_cm"),
            ("nots", "note"),
        ] {
            assert_eq!(nearest(typed).as_deref(), Some(meant));
        }
    }
}
