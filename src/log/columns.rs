//! Header names to columns and units. The only list of the log's column names.

use super::limits;
use crate::keys;
use crate::units::LengthUnit;

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

/// A column, its contract name, and the name without its unit where it is a length.
struct Known {
    column: Column,
    name: &'static str,
    length_stem: Option<&'static str>,
}

const fn other(column: Column, name: &'static str) -> Known {
    Known {
        column,
        name,
        length_stem: None,
    }
}

const fn length(column: Column, name: &'static str, stem: &'static str) -> Known {
    Known {
        column,
        name,
        length_stem: Some(stem),
    }
}

/// Every column, indexed by [`Column`].
const KNOWN: [Known; 24] = [
    other(Column::Session, "session"),
    length(Column::Target, "target_m", "target"),
    other(Column::Turns, "turns"),
    other(Column::Ticks, "ticks"),
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
    other(Column::LeadTurns, "lead_turns"),
    other(Column::Status, "status"),
    length(Column::Recoil, "recoil_cm", "recoil"),
    length(Column::Gap, "gap_cm", "gap"),
    other(Column::Load, "load"),
    other(Column::Time, "time_s"),
    other(Column::Kind, "kind"),
    other(Column::Note, "note"),
];

impl Column {
    /// Its name in the contract, with the contract's unit.
    pub fn name(self) -> &'static str {
        KNOWN[self as usize].name
    }

    /// Its name without the unit, for a length.
    fn length_stem(self) -> Option<&'static str> {
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

/// The column and unit a header cell names; metres where it is no length.
pub fn named(header: &str) -> Option<(Column, LengthUnit)> {
    // Cells of the first lines are looked at before their length is checked.
    if header.len() > limits::CELL_CHARACTERS {
        return None;
    }
    let name = folded(header);
    KNOWN.iter().find_map(|known| {
        let rest = name.strip_prefix(&folded(known.length_stem.unwrap_or(known.name)))?;
        let unit = match known.length_stem {
            None => rest.is_empty().then_some(LengthUnit::M),
            Some(_) => LengthUnit::from_suffix(rest),
        };
        Some((known.column, unit?))
    })
}

/// How many of these cells name a column of the contract.
pub fn known_names<'c>(cells: impl IntoIterator<Item = &'c str>) -> usize {
    let cells = cells.into_iter();
    cells.filter(|cell| named(cell).is_some()).count()
}

/// The column of a length whose name a header cell gives without a unit.
pub fn named_without_unit(header: &str) -> Option<Column> {
    let name = folded(header);
    let known = KNOWN
        .iter()
        .find(|known| known.length_stem.is_some_and(|stem| folded(stem) == name))?;
    Some(known.column)
}

/// The known header most like a name, in the contract's own unit or another.
pub fn nearest(name: &str) -> Option<String> {
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
    let near = keys::nearest(&folded(name), folded_ways)?;
    let (_, header) = ways.iter().find(|(folded, _)| folded == near)?;
    Some(header.clone())
}

/// Which cell of a record holds which column, and in what unit.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LogColumns {
    found: [Option<(usize, LengthUnit)>; KNOWN.len()],
}

impl LogColumns {
    /// Sets which cell holds a column, and its unit.
    pub fn put(&mut self, column: Column, index: usize, unit: LengthUnit) {
        self.found[column as usize] = Some((index, unit));
    }

    /// Index of the column's cell in every record, if the log has it.
    pub fn index(&self, column: Column) -> Option<usize> {
        self.found[column as usize].map(|(index, _)| index)
    }

    /// The unit of its header, if the log has it and it is a length.
    pub fn unit(&self, column: Column) -> Option<LengthUnit> {
        column.length_stem()?;
        self.found[column as usize].map(|(_, unit)| unit)
    }

    /// Whether the log has the column.
    pub fn has(&self, column: Column) -> bool {
        self.index(column).is_some()
    }
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
            ("notes", "note"),
        ] {
            assert_eq!(nearest(typed).as_deref(), Some(meant));
        }
    }
}
