//! Files put in place, all or none: whenever the program is stopped, a reader finds the old ones or the new ones, whole.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use super::NewFile;
use super::swap::Beside;
use crate::error::Error;

/// What every file and folder begins with that is not finished yet.
pub const UNFINISHED: &str = ".haltmark-";
/// What the other commands read: where files can only be put in place one after another, it comes last, so that the
/// old one holds until all are there.
const LAST: &str = "calibration.json";

/// Writes files, all or none as far as the system lets us: see [`Staged`].
///
/// # Errors
/// [`Error::Output`] naming the file or folder, with the system's reason.
pub fn write(files: &[NewFile], inputs: &[PathBuf]) -> Result<(), Error> {
    let staged = match one_folder(files) {
        Some(folder) => Staged::of_folder(folder, inputs)?,
        None => Staged::new(inputs),
    };
    for file in files {
        staged.stage(file.path.clone(), &file.bytes)?;
    }
    staged.place()
}

/// The folder that all of several files stand in or below.
fn one_folder(files: &[NewFile]) -> Option<&Path> {
    let nearest = files
        .iter()
        .filter_map(|file| file.path.parent())
        .min_by_key(|folder| folder.components().count())?;
    let all_below = files.iter().all(|file| file.path.starts_with(nearest));
    (files.len() > 1 && all_below && !nearest.as_os_str().is_empty()).then_some(nearest)
}

/// Files of one command, put in place all or none as far as the system lets us.
///
/// Those of one folder are written into another one beside it, and the two change places in one step (`swap.rs`). Where
/// that cannot be done, and for single files, one rename follows another once all are written, which a full disk can no
/// longer stop; a program killed among these renames leaves whole files, some old and some new.
///
/// Missing folders are made, and taken away again if the files are never put in place; so is what was written. What an
/// earlier run that was killed has left unfinished is taken away. Files may be staged from several threads, and need not
/// all be in memory at once.
#[derive(Debug)]
pub struct Staged {
    /// Files that must not be written over, as the system names them.
    inputs: Vec<PathBuf>,
    // Dropped in this order: a folder can only go when what stands in it has gone.
    waiting: Mutex<Vec<(Waiting, PathBuf)>>,
    beside: Option<Beside>,
    made: Mutex<MadeFolders>,
}

/// A finished file that is not in its place yet; it is removed when it is dropped.
#[derive(Debug)]
enum Waiting {
    /// In its own folder, held open so that nobody takes it for left behind.
    Alone(tempfile::NamedTempFile),
    /// In the folder of all. Only its name is kept: a system lets a program have no more than some hundreds open.
    Beside(tempfile::TempPath),
}

impl Staged {
    /// Single files; `inputs` are files that were read, and must not be written over.
    pub fn new(inputs: &[PathBuf]) -> Self {
        let inputs = inputs.iter().filter_map(|i| i.canonicalize().ok());
        Staged {
            inputs: inputs.collect(),
            waiting: Mutex::default(),
            beside: None,
            made: Mutex::default(),
        }
    }

    /// The files of a folder, which is made if it is missing.
    ///
    /// # Errors
    /// [`Error::Output`] naming the folder, with the system's reason.
    pub fn of_folder(folder: &Path, inputs: &[PathBuf]) -> Result<Self, Error> {
        let mut staged = Staged::new(inputs);
        locked(&staged.made).make(folder)?;
        staged.beside = Some(Beside::of(folder)?);
        Ok(staged)
    }

    /// Writes a file under a temporary name.
    ///
    /// # Errors
    /// [`Error::Output`] naming the file or folder, with the system's reason.
    pub fn stage(&self, path: PathBuf, bytes: &[u8]) -> Result<(), Error> {
        self.refuse_to_overwrite(&path)?;
        let written = match self
            .beside
            .as_ref()
            .and_then(|beside| beside.place_of(&path))
        {
            Some(place) => write_below(&place, bytes)
                .and_then(|()| tempfile::TempPath::try_from_path(place))
                .map(Waiting::Beside),
            None => {
                let folder = parent(&path);
                locked(&self.made).make(folder)?;
                clear_unfinished(folder);
                alone(folder, bytes).map(Waiting::Alone)
            }
        };
        let waiting = written.map_err(|cause| failed(&path, cause))?;
        locked(&self.waiting).push((waiting, path));
        Ok(())
    }

    /// Puts every file in place.
    ///
    /// # Errors
    /// As [`Staged::stage`].
    pub fn place(self) -> Result<(), Error> {
        let mut waiting = self
            .waiting
            .into_inner()
            .unwrap_or_else(PoisonError::into_inner);
        let mut made = self
            .made
            .into_inner()
            .unwrap_or_else(PoisonError::into_inner);
        // The order of staging may be that of threads.
        waiting.sort_by(|a, b| {
            let order = |path: &Path| (path.ends_with(LAST), path.to_path_buf());
            order(&a.1).cmp(&order(&b.1))
        });
        let all_beside = waiting.iter().all(|(w, _)| matches!(w, Waiting::Beside(_)));
        let paths = waiting.iter().map(|(_, path)| path.as_path());
        let changed_places = match &self.beside {
            Some(beside) => all_beside && beside.change_places(paths),
            None => false,
        };
        if !changed_places {
            for (file, path) in waiting.drain(..) {
                made.make(parent(&path))?;
                let placed = match file {
                    Waiting::Alone(file) => file.persist(&path).map(drop).map_err(|e| e.error),
                    Waiting::Beside(file) => file.persist(&path).map_err(|e| e.error),
                };
                placed.map_err(|cause| failed(&path, cause))?;
            }
        }
        made.keep();
        Ok(())
    }

    fn refuse_to_overwrite(&self, path: &Path) -> Result<(), Error> {
        let refused = |why: &str| Err(failed(path, io::Error::other(why.to_string())));
        match fs::metadata(path) {
            // Nothing is in the way.
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => return Ok(()),
            Ok(there) if there.is_dir() => return refused("a folder of that name is in the way"),
            _ => {}
        }
        if path
            .canonicalize()
            .is_ok_and(|path| self.inputs.contains(&path))
        {
            return refused("it is one of the files that were read; those are never written to");
        }
        Ok(())
    }
}

/// A thread that ended in the middle left the list as it was.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The fault of a file that could not be written.
fn failed(path: &Path, cause: io::Error) -> Error {
    Error::Output {
        doing: format!("writing {}", path.display()),
        cause,
    }
}

/// The folder that a path stands in.
pub fn parent(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

fn write_below(path: &Path, bytes: &[u8]) -> io::Result<()> {
    match fs::write(path, bytes) {
        Err(cause) if cause.kind() == io::ErrorKind::NotFound => {
            fs::create_dir_all(parent(path))?;
            fs::write(path, bytes)
        }
        written => written,
    }
}

/// A finished file under a temporary name, readable by everybody as any other file (a temporary file is
/// private otherwise, and a log could not be shared).
fn alone(folder: &Path, bytes: &[u8]) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(UNFINISHED);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o644));
    }
    let mut file = builder.tempfile_in(folder).map_err(plain)?;
    hold(file.as_file());
    // Through the file itself: the temporary name means nothing to the reader.
    file.as_file_mut().write_all(bytes)?;
    Ok(file)
}

/// The reason without the temporary name around it.
pub fn plain(error: io::Error) -> io::Error {
    match error.raw_os_error() {
        Some(_) => error,
        None => error.kind().into(),
    }
}

/// Marks a file or folder as somebody's who is alive: the system lets go of it when the program ends, however it
/// does.
pub fn hold(file: &File) {
    // A system without such marks: then nothing unfinished is ever taken for left behind either.
    let _ = file.try_lock();
}

/// Takes away what a killed run has left in a folder.
pub fn clear_unfinished(folder: &Path) {
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

/// Folders made for the files of one command, removed again unless kept.
#[derive(Debug, Default)]
struct MadeFolders(Vec<PathBuf>);

impl MadeFolders {
    /// Makes a folder and those above it where they are missing.
    ///
    /// # Errors
    /// [`Error::Output`] naming it.
    fn make(&mut self, folder: &Path) -> Result<(), Error> {
        let mut missing: Vec<&Path> = folder
            .ancestors()
            .take_while(|f| !f.as_os_str().is_empty() && !f.exists())
            .collect();
        missing.reverse();
        let failed = |cause| Error::Output {
            doing: format!("making the folder {}", folder.display()),
            cause,
        };
        let there = folder.ancestors().nth(missing.len());
        let is_folder = |there: &Path| there.as_os_str().is_empty() || there.is_dir();
        if let Some(taken) = there.filter(|there| !is_folder(there)) {
            return Err(Error::Output {
                doing: format!("making the folder {}", taken.display()),
                cause: io::Error::other("a file of that name is in the way"),
            });
        }
        for folder in missing {
            fs::create_dir(folder).map_err(failed)?;
            self.0.push(folder.to_path_buf());
        }
        Ok(())
    }

    /// Lets them stay.
    fn keep(mut self) {
        self.0.clear();
    }
}

impl Drop for MadeFolders {
    fn drop(&mut self) {
        for folder in self.0.iter().rev() {
            // Only if empty; what somebody else put there meanwhile stays.
            let _ = fs::remove_dir(folder);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(path: PathBuf) -> NewFile {
        NewFile {
            path,
            bytes: b"new".to_vec(),
        }
    }

    #[test]
    fn all_files_are_written_or_none() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::write(at("old"), "old").unwrap();
        fs::create_dir(at("a_folder")).unwrap();
        let error = write(
            &[
                file(at("old")),
                file(at("deep/er/new")),
                file(at("a_folder")),
            ],
            &[],
        )
        .unwrap_err();
        assert!(error.to_string().contains("a_folder"), "{error}");
        assert_eq!(fs::read_to_string(at("old")).unwrap(), "old");
        assert!(!at("deep").exists());

        write(&[file(at("old")), file(at("deep/er/new"))], &[]).unwrap();
        assert_eq!(fs::read_to_string(at("old")).unwrap(), "new");
        assert_eq!(fs::read_to_string(at("deep/er/new")).unwrap(), "new");
        let names: Vec<_> = fs::read_dir(folder.path()).unwrap().collect();
        assert_eq!(names.len(), 3, "a temporary file was left: {names:?}");
    }

    #[test]
    fn what_was_read_is_never_written_to() {
        let folder = tempfile::tempdir().unwrap();
        let log = folder.path().join("log.csv");
        fs::write(&log, "old").unwrap();
        let other_way = folder.path().join(".").join("log.csv");
        assert!(write(&[file(other_way)], std::slice::from_ref(&log)).is_err());
        assert_eq!(fs::read_to_string(&log).unwrap(), "old");
    }

    #[cfg(unix)]
    #[test]
    fn written_files_can_be_shared() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.html");
        write(&[file(path.clone())], &[]).unwrap();
        // The process may run under a stricter mask; what it lets through must be there.
        let mode = fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode & 0o600, 0o600);
        assert_eq!(mode & 0o111, 0);
    }

    #[test]
    fn a_file_where_the_folder_should_be_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let taken = folder.path().join("taken");
        fs::write(&taken, "").unwrap();
        for path in [taken.join("x"), taken.join("y/x")] {
            let error = write(&[file(path)], &[]).unwrap_err().to_string();
            assert!(error.contains("taken"), "{error}");
        }
    }

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
        write(&[file(at("new"))], &[]).unwrap();
        let left = |name: &str| at(name).exists();
        assert!(!left(".haltmark-dead") && !left(".haltmark-gone"));
        assert!(left(".haltmark-busy") && left(".other") && left("new"));
    }

    #[test]
    fn several_files_of_one_folder_belong_together() {
        let of = |paths: &[&str]| {
            let files: Vec<NewFile> = paths.iter().map(|p| file(PathBuf::from(p))).collect();
            one_folder(&files).map(Path::to_path_buf)
        };
        assert_eq!(of(&["out/figures/a", "out/b"]), Some("out".into()));
        assert_eq!(of(&["out/b"]), None);
        assert_eq!(of(&["out/a", "other/b"]), None);
        assert_eq!(of(&["a", "b"]), None);
    }
}
