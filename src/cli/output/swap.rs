//! A folder of files replaced in one step: a report is the old one or the new one, never a part of each.
//!
//! The new files stand in a folder beside the old one; what else stood in the old one is linked into the new one. The two
//! change places in one call of the system, and the old one is removed when that is on the disk.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use super::disk;
use super::waiting::{Waiting, hold};

/// A folder with more other files than this is no report: it is not exchanged.
const MOST_OTHER_FILES: usize = 1_000;

/// Lets the new folder and the old one change places; `false`, and nothing changed, for a folder with other folders or
/// links in it, and where the system does not offer it.
///
/// * `names` — the new files, below the folder
pub fn change_places(waiting: &Waiting, names: &BTreeSet<&Path>) -> bool {
    let (new, old) = (waiting.path(), waiting.old.as_path());
    if !waiting.is_beside {
        return false;
    }
    let Some(others) = others(old, names) else {
        return false;
    };
    let linked = others
        .iter()
        .try_for_each(|name| disk::link(&old.join(name), &new.join(name)));
    // What cannot be made sure of is put in place file by file, where a fault is said.
    if linked.is_err() || sync_folders(new, names).is_err() {
        return false;
    }
    // After the exchange the old folder has the temporary name; the lock keeps another run from removing it.
    let held = File::open(old).ok();
    held.iter().for_each(hold);
    if disk::exchange(new, old).is_err() {
        return false;
    }
    // The old report is kept until the new one has its name for good.
    let above = old.parent().unwrap_or(old);
    if disk::sync_folder(above).is_err() {
        return disk::exchange(new, old).is_err();
    }
    bring_over_the_latest(new, old);
    true
}

/// The folder of the new files and those in it.
fn sync_folders(new: &Path, names: &BTreeSet<&Path>) -> io::Result<()> {
    let folders: BTreeSet<&Path> = names
        .iter()
        .flat_map(|name| name.ancestors().skip(1))
        .collect();
    folders
        .iter()
        .try_for_each(|folder| disk::sync_folder(&new.join(folder)))
}

/// Files of the old folder that the new ones do not replace; `None` where it is not a folder of files alone.
fn others(old: &Path, new: &BTreeSet<&Path>) -> Option<Vec<PathBuf>> {
    let folders: BTreeSet<&Path> = new
        .iter()
        .flat_map(|name| name.ancestors().skip(1))
        .collect();
    let mut others = Vec::new();
    let mut open = vec![PathBuf::new()];
    while let Some(name) = open.pop() {
        for entry in fs::read_dir(old.join(&name)).ok()? {
            let entry = entry.ok()?;
            let name = name.join(entry.file_name());
            let kind = entry.file_type().ok()?;
            if kind.is_dir() && folders.contains(name.as_path()) {
                open.push(name);
            } else if !kind.is_file() {
                return None;
            } else if !new.contains(name.as_path()) {
                others.push(name);
            }
        }
        if others.len() > MOST_OTHER_FILES {
            return None;
        }
    }
    Some(others)
}

/// Moves files that somebody added to the folder `from` during the exchange, before it is removed.
fn bring_over_the_latest(from: &Path, to: &Path) {
    let mut open = vec![PathBuf::new()];
    while let Some(name) = open.pop() {
        let entries = fs::read_dir(from.join(&name));
        for entry in entries.into_iter().flatten().flatten() {
            let name = name.join(entry.file_name());
            let here = to.join(&name);
            if here.is_dir() {
                open.push(name);
            } else if !here.exists() {
                let _ = disk::rename(&entry.path(), &here);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        let mut names: Vec<String> = entries
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_folder_of_files_changes_places_and_one_of_folders_does_not() {
        let above = tempfile::tempdir().unwrap();
        let changes = |name: &str| {
            let waiting = Waiting::beside(&above.path().join(name)).unwrap();
            fs::write(waiting.path().join("report.html"), "new").unwrap();
            change_places(&waiting, &BTreeSet::from([Path::new("report.html")]))
        };
        for folder in ["report", "everything/logs"] {
            fs::create_dir_all(above.path().join(folder)).unwrap();
        }
        fs::write(above.path().join("report/report.html"), "old").unwrap();
        assert!(changes("report") && !changes("everything"));
        assert_eq!(names(&above.path().join("everything")), ["logs"]);
        assert_eq!(names(above.path()), ["everything", "report"]);
    }
}
