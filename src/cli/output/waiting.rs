//! Where files are written before they are put in place: a folder under a temporary name. A run that is killed leaves
//! it, and the next one takes it away.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

/// What every folder begins with that is not finished yet.
const UNFINISHED: &str = ".haltmark-";

/// An empty folder for new files of another folder. It is removed, with what is in it, when it is dropped.
#[derive(Debug)]
pub struct Waiting {
    folder: tempfile::TempDir,
    /// The folder its files are for, as the system names it.
    pub old: PathBuf,
    /// Whether it stands beside that folder, open to the same people.
    pub is_beside: bool,
    /// Kept open: that somebody is alive whose it is must be seen ([`hold`]).
    _held: Option<File>,
}

impl Waiting {
    /// In the folder that the files are for.
    ///
    /// # Errors
    /// The system's reason.
    pub fn inside(folder: &Path) -> io::Result<Self> {
        let old = folder.canonicalize()?;
        clear_unfinished(&old);
        let folder = unfinished(&old)?;
        Ok(Self::held(folder, old, false))
    }

    /// Beside the folder that the files are for; in it where that is not allowed, where beside it is another disk, or
    /// where somebody works in it (this program was started there, and would be left behind).
    ///
    /// # Errors
    /// The system's reason.
    pub fn beside(folder: &Path) -> io::Result<Self> {
        let old = folder.canonicalize()?;
        let works_here = std::env::current_dir().is_ok_and(|here| here.starts_with(&old));
        let above = old
            .parent()
            .filter(|above| !works_here && same_disk(above, &old));
        let beside = above.and_then(|above| {
            clear_unfinished(above);
            let new = unfinished(above).ok()?;
            let permissions = fs::metadata(&old).ok()?.permissions();
            fs::set_permissions(new.path(), permissions).ok()?;
            Some(new)
        });
        let Some(new) = beside else {
            return Self::inside(folder);
        };
        clear_unfinished(&old);
        Ok(Self::held(new, old, true))
    }

    fn held(folder: tempfile::TempDir, old: PathBuf, is_beside: bool) -> Self {
        let held = File::open(folder.path()).ok();
        held.iter().for_each(hold);
        Waiting {
            folder,
            old,
            is_beside,
            _held: held,
        }
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }
}

fn unfinished(at: &Path) -> io::Result<tempfile::TempDir> {
    let made = tempfile::Builder::new().prefix(UNFINISHED).tempdir_in(at);
    // The reason without the temporary name around it.
    made.map_err(|error| match error.raw_os_error() {
        Some(_) => error,
        None => error.kind().into(),
    })
}

/// Marks a file or folder as somebody's who is alive: the system lets go of it when the program ends, however it
/// does.
pub fn hold(file: &File) {
    // A system without such marks: then nothing unfinished is ever taken for left behind either.
    let _ = file.try_lock();
}

/// Takes away what a killed run has left in a folder.
fn clear_unfinished(folder: &Path) {
    let is_unfinished = |name: &OsStr| name.to_string_lossy().starts_with(UNFINISHED);
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten().filter(|e| is_unfinished(&e.file_name())) {
        let path = entry.path();
        let Ok(file) = File::open(&path) else {
            continue;
        };
        if file.try_lock().is_err() {
            continue;
        }
        // What cannot be taken away does no harm where it is.
        let _ = match entry.file_type() {
            Ok(kind) if kind.is_dir() => fs::remove_dir_all(path),
            _ => fs::remove_file(path),
        };
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_killed_run_left_is_taken_away_and_what_another_writes_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at(".haltmark-dead")).unwrap();
        fs::write(at(".haltmark-dead/report.html"), "half").unwrap();
        fs::write(at(".haltmark-gone"), "half").unwrap();
        fs::write(at(".haltmark-busy"), "being written").unwrap();
        fs::write(at(".other"), "mine").unwrap();
        let busy = File::open(at(".haltmark-busy")).unwrap();
        hold(&busy);
        drop(Waiting::inside(folder.path()).unwrap());
        let left = |name: &str| at(name).exists();
        assert!(!left(".haltmark-dead") && !left(".haltmark-gone"));
        assert!(left(".haltmark-busy") && left(".other"));
    }
}
