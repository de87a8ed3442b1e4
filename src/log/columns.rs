//! Header names to columns and units. The only list of the log's column names.

use std::sync::OnceLock;

use super::table::{Head, Origin, Row};
use crate::fault::{Fault, Faults, shown};
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

/// A column, its contract name, and the same without its unit where it is a length.
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

/// In the order of [`Column`], which indexes it.
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
    fn ways(self) -> String {
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

/// A name as it is compared: no case, no spaces, no underscores.
pub fn folded(name: &str) -> String {
    name.chars()
        .filter(|c| !c.is_whitespace() && *c != '_')
        .flat_map(char::to_lowercase)
        .collect()
}

/// The column and unit a header cell names; metres where it is no length.
fn named(header: &str) -> Option<(Column, LengthUnit)> {
    // A header is looked for in every cell of the first lines, whatever they are split by.
    static FOLDED: OnceLock<Vec<String>> = OnceLock::new();
    let all = FOLDED.get_or_init(|| {
        let told = |known: &Known| folded(known.length_stem.unwrap_or(known.name));
        KNOWN.iter().map(told).collect()
    });
    let name = folded(header);
    KNOWN.iter().zip(all).find_map(|(known, folded)| {
        let rest = name.strip_prefix(folded.as_str())?;
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

/// Which cell of a record holds which column, and in what unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Columns {
    found: [Option<(usize, LengthUnit)>; KNOWN.len()],
    unnamed: Vec<Unnamed>,
}

/// A column without a name in the header: nothing, while it is empty.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Unnamed {
    index: usize,
    /// Among the faults of the header, the one before which its own belongs.
    place: usize,
    filled: Option<Fault>,
}

impl Columns {
    /// Index of the column's cell in every record, if the log has it.
    pub fn index(&self, column: Column) -> Option<usize> {
        self.found[column as usize].map(|(index, _)| index)
    }

    /// The unit of its header, if the log has it and it is a length.
    pub fn unit(&self, column: Column) -> Option<LengthUnit> {
        column.length_stem()?;
        self.found[column as usize].map(|(_, unit)| unit)
    }

    /// Looks whether something stands in a column without a name.
    pub fn look_at_unnamed(&mut self, origin: &Origin, row: &Row) {
        for unnamed in self.unnamed.iter_mut().filter(|u| u.filled.is_none()) {
            let (index, cell) = (unnamed.index, row.cell(unnamed.index));
            if !cell.is_empty() {
                let why = format!(
                    "column {} has no name in the header, so it was not read",
                    index + 1
                );
                unnamed.filled = Some(origin.warning(row.line, Some(index), why).read(cell));
            }
        }
    }

    /// The same of rows further down that were looked at by a copy.
    pub fn add_unnamed(&mut self, below: Columns) {
        for (own, below) in self.unnamed.iter_mut().zip(below.unnamed) {
            own.filled = own.filled.take().or(below.filled);
        }
    }

    /// Puts the faults of columns without a name among those of the header.
    pub fn tell_unnamed(&mut self, faults: &mut Faults) {
        for unnamed in self.unnamed.drain(..).rev() {
            if let Some(fault) = unnamed.filled {
                faults.0.insert(unnamed.place, fault);
            }
        }
    }

    /// Whether the log has the column.
    pub fn has(&self, column: Column) -> bool {
        self.index(column).is_some()
    }
}

/// The columns of a table from its header.
///
/// Faults go to `faults`: a missing column and one given twice are errors, an unknown one is a warning with
/// the nearest known name.
pub fn columns(table: &Head, faults: &mut Faults) -> Columns {
    above_the_header(table, faults);
    let line = table.header.line;
    let mut found: [Option<(usize, LengthUnit)>; KNOWN.len()] = [None; KNOWN.len()];
    let mut unknown = Vec::new();
    let mut unnamed = Vec::new();
    for (index, header) in table.header.row().cells().enumerate() {
        if header.is_empty() {
            unnamed.push(Unnamed {
                index,
                place: faults.0.len(),
                filled: None,
            });
            continue;
        }
        let Some((column, unit)) = named(header) else {
            unknown.push(header);
            faults.push(unknown_column(table, index, header));
            continue;
        };
        match found[column as usize] {
            None => found[column as usize] = Some((index, unit)),
            Some((first, _)) => faults.push(
                table
                    .origin
                    .error(
                        line,
                        Some(index),
                        format!(
                            "the log has {} twice, here and as \"{}\"; expected it once",
                            column.name(),
                            table.header.row().cell(first)
                        ),
                    )
                    .read(header),
            ),
        }
    }
    let columns = Columns { found, unnamed };
    missing_columns(table, &columns, &unknown, faults);
    columns
}

/// A title stands alone in its row; what fills several cells may have been meant as runs.
fn above_the_header(table: &Head, faults: &mut Faults) {
    for record in &table.above {
        let mut filled = record.row().cells().filter(|cell| !cell.is_empty());
        if let (Some(first), Some(_)) = (filled.next(), filled.next()) {
            faults.push(
                table
                    .origin
                    .warning(
                        record.line,
                        None,
                        "stands above the header row, so it was not read",
                    )
                    .read(first),
            );
        }
    }
}

fn unknown_column(table: &Head, index: usize, header: &str) -> Fault {
    let name = folded(header);
    let without_unit = KNOWN
        .iter()
        .find(|known| known.length_stem.is_some_and(|stem| folded(stem) == name));
    let advice = if let Some(known) = without_unit {
        format!(
            "this column does not say its unit, so it was not read; expected {}",
            known.column.ways()
        )
    } else {
        let near = nearest(&name).map(|near| format!("; the nearest known name is {near}"));
        format!(
            "no such column, so it was not read{}",
            near.unwrap_or_default()
        )
    };
    table
        .origin
        .warning(table.header.line, Some(index), advice)
        .read(header)
}

/// The known header most like a folded name, in the contract's own unit or another.
fn nearest(name: &str) -> Option<String> {
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
    let near = keys::nearest(name, folded_ways)?;
    let (_, header) = ways.iter().find(|(folded, _)| folded == near)?;
    Some(header.clone())
}

fn missing_columns(table: &Head, columns: &Columns, unknown: &[&str], faults: &mut Faults) {
    let mut missing = |what: &str, ways: String| {
        // What stands in the header and resembles what is missing helps more than the whole header.
        let found = keys::nearest(&ways, unknown.iter().copied()).map_or_else(
            || table.header.row().cells().collect::<Vec<_>>().join(", "),
            str::to_string,
        );
        faults.push(table.origin.error(
            table.header.line,
            None,
            format!(
                "no column for {what}; expected {ways}; found {}",
                shown(&found)
            ),
        ));
    };
    if !columns.has(Column::Session) {
        missing("the session", Column::Session.ways());
    }
    if !columns.has(Column::Turns) {
        missing("the turns wound on", Column::Turns.ways());
    }
    if !columns.has(Column::Target) && !columns.has(Column::Kind) {
        missing("the distance to the target", Column::Target.ways());
    }
    if !columns.has(Column::Long) && !columns.has(Column::Rest) {
        missing(
            "where it came to rest along the line",
            "long_cm, long_m, long_in … or rest_m".to_string(),
        );
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
            assert_eq!(nearest(&folded(typed)).as_deref(), Some(meant));
        }
    }
}
