//! What is done to the disk, one step a function, in an order that a power cut cannot tear: contents before names, names
//! before what they replace is taken away.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Writes a new file and waits until its contents are on the disk; makes the folders above it where they are missing.
///
/// # Errors
/// The system's reason.
pub fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = match File::create(path) {
        Err(cause) if cause.kind() == io::ErrorKind::NotFound => {
            let above = path.parent().unwrap_or(Path::new("."));
            let missing: Vec<&Path> = above.ancestors().take_while(|f| !f.exists()).collect();
            missing.iter().rev().try_for_each(|f| make_folder(f))?;
            File::create(path)?
        }
        created => created?,
    };
    file.write_all(bytes)?;
    note(|| Step::Write(path.into(), bytes.into()));
    file.sync_all()?;
    note(|| Step::SyncFile(path.into()));
    Ok(())
}

/// Makes one folder.
///
/// # Errors
/// The system's reason.
pub fn make_folder(path: &Path) -> io::Result<()> {
    fs::create_dir(path)?;
    note(|| Step::MakeFolder(path.into()));
    Ok(())
}

/// Waits until the names in a folder are on the disk. Not every system and disk can be asked for that; those that cannot
/// are left to do it in their own time.
///
/// # Errors
/// The system's reason, where it tried.
pub fn sync_folder(path: &Path) -> io::Result<()> {
    use io::ErrorKind::{InvalidInput, PermissionDenied, Unsupported};
    note(|| Step::SyncFolder(path.into()));
    match File::open(path).and_then(|folder| folder.sync_all()) {
        Err(cause) if !matches!(cause.kind(), InvalidInput | PermissionDenied | Unsupported) => {
            Err(cause)
        }
        _ => Ok(()),
    }
}

/// Gives a file another name, in place of what has it now.
///
/// # Errors
/// The system's reason.
pub fn rename(from: &Path, to: &Path) -> io::Result<()> {
    fs::rename(from, to)?;
    note(|| Step::Rename(from.into(), to.into()));
    Ok(())
}

/// Gives a file one more name.
///
/// # Errors
/// The system's reason.
pub fn link(from: &Path, to: &Path) -> io::Result<()> {
    fs::hard_link(from, to)?;
    note(|| Step::Link(from.into(), to.into()));
    Ok(())
}

/// Lets two folders change names in one step (Linux `renameat2`, macOS `renameatx_np`), which nothing can interrupt.
///
/// # Errors
/// The system's reason; [`io::ErrorKind::Unsupported`] where it offers no such step.
pub fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    system_exchange(a, b)?;
    note(|| Step::Exchange(a.into(), b.into()));
    Ok(())
}

#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
fn system_exchange(a: &Path, b: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE)?)
}

#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
fn system_exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Takes a file or a folder away, with all that is in it.
///
/// # Errors
/// The system's reason.
pub fn remove(path: &Path) -> io::Result<()> {
    note(|| Step::Remove(path.into()));
    match path.symlink_metadata()?.is_dir() {
        true => fs::remove_dir_all(path),
        false => fs::remove_file(path),
    }
}

/// One step, as the tests of a power cut replay it.
#[derive(Debug, Clone)]
#[cfg_attr(not(test), expect(dead_code, reason = "only tests read the journal"))]
pub enum Step {
    MakeFolder(PathBuf),
    Write(PathBuf, Vec<u8>),
    SyncFile(PathBuf),
    SyncFolder(PathBuf),
    Rename(PathBuf, PathBuf),
    Link(PathBuf, PathBuf),
    Exchange(PathBuf, PathBuf),
    Remove(PathBuf),
}

#[cfg(not(test))]
fn note(_: impl FnOnce() -> Step) {}

#[cfg(test)]
fn note(step: impl FnOnce() -> Step) {
    JOURNAL.with_borrow_mut(|journal| journal.push(step()));
}

#[cfg(test)]
thread_local! {
    static JOURNAL: std::cell::RefCell<Vec<Step>> = const { std::cell::RefCell::new(Vec::new()) };
}

/// The steps of this thread since it was last asked.
#[cfg(test)]
pub fn journal() -> Vec<Step> {
    JOURNAL.take()
}
