//! A folder of files replaced in one step: a report is the old one or the new one, never a part of each.
//!
//! The new files are written into a folder beside the old one; then the two change places in one call of the system
//! (Linux `renameat2`, macOS `renameatx_np`), which nothing can interrupt, and the old one is removed. What else stood
//! in the folder is linked into the new one before.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use super::files::{UNFINISHED, clear_unfinished, hold, plain};
use crate::error::Error;

/// A folder with more than this in it that is not ours is no report: its files are left where they are.
const MOST_OTHER_FILES: usize = 1_000;

/// Where the new files of a folder wait. It is removed, with what is in it, when it is dropped.
#[derive(Debug)]
pub struct Beside {
    /// The folder as its files are named.
    folder: PathBuf,
    /// The same as the system names it.
    old: PathBuf,
    new: tempfile::TempDir,
    /// Whether the two stand in one folder.
    may_change_places: bool,
    /// Kept open: whose it is must be seen (`files::hold`).
    _held: Option<File>,
}

impl Beside {
    /// Makes the waiting folder for a folder that is there: beside it, or in it where that is not allowed, where it is
    /// another disk, or where somebody works in it (this program was started there, and would be left behind).
    ///
    /// # Errors
    /// [`Error::Output`] naming the folder.
    pub fn of(folder: &Path) -> Result<Self, Error> {
        let failed = |cause| Error::Output {
            doing: format!("writing to the folder {}", folder.display()),
            cause: plain(cause),
        };
        let old = folder.canonicalize().map_err(failed)?;
        let works_here = std::env::current_dir().is_ok_and(|here| here.starts_with(&old));
        clear_unfinished(&old);
        let beside = old
            .parent()
            .filter(|above| !works_here && same_disk(above, &old))
            .and_then(|above| {
                clear_unfinished(above);
                unfinished(above, &old).ok()
            });
        let may_change_places = beside.is_some();
        let new = match beside {
            Some(new) => new,
            None => unfinished(&old, &old).map_err(failed)?,
        };
        let held = File::open(new.path()).ok();
        held.iter().for_each(hold);
        Ok(Beside {
            folder: folder.to_path_buf(),
            old,
            new,
            may_change_places,
            _held: held,
        })
    }

    /// Where a file of the folder waits; `None` for one that is not in it.
    pub fn place_of(&self, path: &Path) -> Option<PathBuf> {
        let name = path.strip_prefix(&self.folder).ok()?;
        Some(self.new.path().join(name))
    }

    /// Lets the new folder, with these files in it, and the old one change places; `false`, and nothing changed, for a
    /// folder with other folders or links in it, and where the system does not offer it.
    pub fn change_places<'p>(&self, paths: impl Iterator<Item = &'p Path>) -> bool {
        let names: Option<BTreeSet<&Path>> = paths
            .map(|path| path.strip_prefix(&self.folder).ok())
            .collect();
        let others = names
            .filter(|_| self.may_change_places)
            .and_then(|names| self.others(&names));
        let Some(others) = others else {
            return false;
        };
        let new = self.new.path();
        let linked = others
            .iter()
            .try_for_each(|name| fs::hard_link(self.old.join(name), new.join(name)));
        if linked.is_err() {
            return false;
        }
        // The old folder comes to stand under the temporary name, from where nobody else shall take it away.
        let held = File::open(&self.old).ok();
        held.iter().for_each(hold);
        if !changed_places(new, &self.old) {
            return false;
        }
        self.bring_over_the_latest();
        true
    }

    /// Files of the old folder that the new ones do not replace; `None` where it is not a folder of files alone.
    fn others(&self, new: &BTreeSet<&Path>) -> Option<Vec<PathBuf>> {
        let folders: BTreeSet<&Path> = new
            .iter()
            .flat_map(|name| name.ancestors().skip(1))
            .collect();
        let mut others = Vec::new();
        let mut open = vec![PathBuf::new()];
        while let Some(name) = open.pop() {
            for entry in fs::read_dir(self.old.join(&name)).ok()? {
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

    /// What somebody put into the old folder in the last moment, before it is removed.
    fn bring_over_the_latest(&self) {
        let mut open = vec![PathBuf::new()];
        while let Some(name) = open.pop() {
            let entries = fs::read_dir(self.new.path().join(&name));
            for entry in entries.into_iter().flatten().flatten() {
                let name = name.join(entry.file_name());
                let here = self.old.join(&name);
                if here.is_dir() {
                    open.push(name);
                } else if !here.exists() {
                    let _ = fs::rename(entry.path(), here);
                }
            }
        }
    }
}

/// An empty folder under a temporary name, open to the same people as the old one.
fn unfinished(at: &Path, old: &Path) -> io::Result<tempfile::TempDir> {
    let new = tempfile::Builder::new().prefix(UNFINISHED).tempdir_in(at)?;
    fs::set_permissions(new.path(), fs::metadata(old)?.permissions())?;
    Ok(new)
}

#[cfg(unix)]
fn same_disk(a: &Path, b: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let disk = |path: &Path| fs::metadata(path).map(|m| m.dev()).ok();
    disk(a).is_some() && disk(a) == disk(b)
}

#[cfg(not(unix))]
fn same_disk(_: &Path, _: &Path) -> bool {
    false
}

#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
fn changed_places(a: &Path, b: &Path) -> bool {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE).is_ok()
}

#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
fn changed_places(_: &Path, _: &Path) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::super::NewFile;
    use super::super::files::{parent, write};
    use super::*;

    fn report(folder: &Path, text: &str) -> Vec<NewFile> {
        ["report.html", "figures/a.svg", "calibration.json"]
            .map(|name| NewFile {
                path: folder.join(name),
                bytes: text.into(),
            })
            .to_vec()
    }

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        let mut names: Vec<String> = entries
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_folder_is_replaced_and_keeps_what_else_is_in_it() {
        let above = tempfile::tempdir().unwrap();
        for (name, folder_inside) in [("a/season", None), ("b/season", Some("logs"))] {
            let folder = above.path().join(name);
            let text = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
            write(&report(&folder, "old"), &[]).unwrap();
            fs::write(folder.join("notes.txt"), "mine").unwrap();
            fs::write(folder.join("figures/b.svg"), "of another fit").unwrap();
            if let Some(inside) = folder_inside {
                fs::create_dir(folder.join(inside)).unwrap();
            }
            write(&report(&folder, "new"), &[]).unwrap();
            for file in report(&folder, "") {
                assert_eq!(
                    fs::read_to_string(&file.path).unwrap(),
                    "new",
                    "{}",
                    file.path.display()
                );
            }
            assert_eq!(
                (text("notes.txt"), text("figures/b.svg")),
                ("mine".into(), "of another fit".into())
            );
            assert_eq!(names(&folder).len(), 4 + folder_inside.iter().len());
            assert_eq!(
                names(parent(&folder)),
                ["season"],
                "something was left beside it"
            );
        }
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_folder_of_files_changes_places_and_one_of_folders_does_not() {
        let above = tempfile::tempdir().unwrap();
        let changes = |name: &str| {
            let folder = above.path().join(name);
            let beside = Beside::of(&folder).unwrap();
            let path = folder.join("report.html");
            fs::write(beside.place_of(&path).unwrap(), "new").unwrap();
            beside.change_places([path.as_path()].into_iter())
        };
        for folder in ["report", "everything/logs"] {
            fs::create_dir_all(above.path().join(folder)).unwrap();
        }
        fs::write(above.path().join("report/report.html"), "old").unwrap();
        assert!(changes("report") && !changes("everything"));
        assert_eq!(names(&above.path().join("everything")), ["logs"]);
        assert_eq!(names(above.path()), ["everything", "report"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_report_can_be_shared_and_a_private_one_stays_private() {
        use std::os::unix::fs::PermissionsExt;
        let above = tempfile::tempdir().unwrap();
        let folder = above.path().join("season");
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        write(&report(&folder, "old"), &[]).unwrap();
        fs::create_dir(above.path().join("plain")).unwrap();
        assert_eq!(mode(&folder), mode(&above.path().join("plain")));
        fs::set_permissions(&folder, fs::Permissions::from_mode(0o700)).unwrap();
        write(&report(&folder, "new"), &[]).unwrap();
        assert_eq!(mode(&folder), 0o700);
    }
}
