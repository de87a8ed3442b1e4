//! Where files are written before they are put in place: a folder under a temporary name. A run that is killed leaves
//! its folder behind, and the next run removes it.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use super::disk;

/// How the name of every unfinished folder begins.
const UNFINISHED: &str = ".haltmark-";

/// An empty folder for new files of another folder. It is removed, with what is in it, when it is dropped.
#[derive(Debug)]
pub struct Waiting {
    folder: PathBuf,
    /// The folder its files are for, as the system names it.
    pub old: PathBuf,
    /// Whether it stands beside that folder, with the same permissions.
    pub is_beside: bool,
    /// The folder kept open and locked ([`hold`]), so that other runs see that its owner is alive.
    _held: Option<File>,
}

impl Waiting {
    /// A waiting folder inside the folder that the files are for.
    ///
    /// # Errors
    /// The system's reason.
    pub fn inside(folder: &Path) -> io::Result<Self> {
        let old = folder.canonicalize()?;
        clear_unfinished(&old);
        let folder = unfinished(&old)?;
        Ok(Self::held(folder, old, false))
    }

    /// A waiting folder beside the folder that the files are for; inside it where writing beside it is not allowed,
    /// where that is another disk, or where the folder is the working directory, which an exchange would leave behind.
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
            fs::set_permissions(&new, permissions).ok()?;
            Some(new)
        });
        let Some(new) = beside else {
            return Self::inside(folder);
        };
        clear_unfinished(&old);
        Ok(Self::held(new, old, true))
    }

    fn held(folder: PathBuf, old: PathBuf, is_beside: bool) -> Self {
        let held = File::open(&folder).ok();
        held.iter().for_each(hold);
        Waiting {
            folder,
            old,
            is_beside,
            _held: held,
        }
    }

    /// Path of the waiting folder.
    pub fn path(&self) -> &Path {
        &self.folder
    }
}

impl Drop for Waiting {
    fn drop(&mut self) {
        // What is left of it the next run takes away.
        let _ = disk::remove(self.path());
    }
}

/// A new folder under a temporary name that no other has.
fn unfinished(at: &Path) -> io::Result<PathBuf> {
    let made = tempfile::Builder::new()
        .prefix(UNFINISHED)
        .make_in(at, disk::make_folder);
    // The reason without the temporary name around it.
    let made = made.map_err(|error| match error.raw_os_error() {
        Some(_) => error,
        None => error.kind().into(),
    })?;
    Ok(made.into_temp_path().keep()?)
}

/// Locks a file or folder to show that its owner is alive; the system releases the lock however the program ends.
pub fn hold(file: &File) {
    // On a system without locks `clear_unfinished` cannot lock either, and removes nothing.
    let _ = file.try_lock();
}

/// Removes what killed runs have left in a folder.
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
        let _ = disk::remove(&path);
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
