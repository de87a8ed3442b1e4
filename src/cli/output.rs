//! The only file that prints or writes: results as text or JSON, faults, and files put in place by rename.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use serde::Serialize;

use crate::error::Error;
use crate::fault::{Faults, Severity};

/// What a command leaves when it is done.
#[derive(Debug, Default)]
pub struct Answer {
    /// For people, on standard output; lines without the last line end.
    pub text: String,
    /// For programs, from [`json`]; `None` for a command whose text is its only result.
    pub json: Option<String>,
    /// Files to write, all or none.
    pub files: Vec<NewFile>,
    /// Files that were written under temporary names as they were made, to be put in place; instead of `files`.
    pub staged: Option<Staged>,
    /// Files that were read, and must not be written over.
    pub inputs: Vec<PathBuf>,
    /// What the reader should look at; on standard error.
    pub warnings: Faults,
    /// Exit status: 0 unless the answer itself is that something is wrong.
    pub status: u8,
}

/// A file to write.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewFile {
    /// Where.
    pub path: PathBuf,
    /// All of it.
    pub bytes: Vec<u8>,
}

/// Files by their names below a folder.
pub fn below(folder: &Path, files: Vec<(String, Vec<u8>)>) -> Vec<NewFile> {
    files
        .into_iter()
        .map(|(name, bytes)| NewFile {
            path: folder.join(name),
            bytes,
        })
        .collect()
}

/// How results are wanted.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    /// JSON instead of text.
    pub json: bool,
    /// No warnings and remarks.
    pub quiet: bool,
}

/// A result as JSON in the order of its fields. A number that is not finite is written as `null`.
pub fn json(result: &impl Serialize) -> String {
    serde_json::to_string_pretty(result)
        .expect("the results are made of plain structs with text keys, which always serialise")
}

/// Writes files and prints; returns the exit status.
pub fn deliver(outcome: Result<Answer, Error>, wanted: Wanted) -> u8 {
    let mut out = io::stdout().lock();
    let mut err = io::stderr().lock();
    match outcome.and_then(|answer| put(answer, wanted, &mut out, &mut err)) {
        Ok(status) => status,
        Err(error) => {
            // Nobody is left to tell when standard error is closed too.
            let _ = complain(&error, wanted, &mut err);
            error.exit_status()
        }
    }
}

fn put(
    answer: Answer,
    wanted: Wanted,
    out: &mut impl Write,
    err: &mut impl Write,
) -> Result<u8, Error> {
    match answer.staged {
        Some(staged) => staged.place()?,
        None => write_files(&answer.files, &answer.inputs)?,
    }
    // Nobody is left to tell when standard error is closed.
    let _ = tell(&answer.warnings, wanted, err);
    let text = match answer.json {
        Some(json) if wanted.json => json,
        _ => answer.text,
    };
    if !text.is_empty() {
        let printed = out
            .write_all(text.as_bytes())
            .and_then(|()| out.write_all(b"\n"))
            .and_then(|()| out.flush());
        match printed {
            // The reader has seen enough (a pager closed, `head`): no fault of ours.
            Err(cause) if cause.kind() == io::ErrorKind::BrokenPipe => {}
            Err(cause) => {
                return Err(Error::Output {
                    doing: "writing to standard output".to_string(),
                    cause,
                });
            }
            Ok(()) => {}
        }
    }
    Ok(answer.status)
}

fn complain(error: &Error, wanted: Wanted, err: &mut impl Write) -> io::Result<()> {
    match error {
        Error::Input(faults) => tell(faults, wanted, err),
        other => writeln!(err, "{other}"),
    }
}

fn tell(faults: &Faults, wanted: Wanted, err: &mut impl Write) -> io::Result<()> {
    let shown = |severity| severity == Severity::Error || !wanted.quiet;
    for fault in faults.0.iter().filter(|f| shown(f.severity)) {
        writeln!(err, "{fault}")?;
    }
    Ok(())
}

/// Puts files in place, all or none as far as the system lets us: see [`Staged`].
///
/// # Errors
/// [`Error::Output`] naming the file or folder, with the system's reason.
pub fn write_files(files: &[NewFile], inputs: &[PathBuf]) -> Result<(), Error> {
    let staged = Staged::new(inputs);
    for file in files {
        staged.stage(file.path.clone(), &file.bytes)?;
    }
    staged.place()
}

/// Files of one command, put in place all or none as far as the system lets us: first every one under a temporary
/// name in its own folder, then one rename after another, which a full disk can no longer stop.
///
/// Missing folders are made, and taken away again if the files are never put in place; so are the temporary files.
/// Files may be staged from several threads, and need not all be in memory at once.
#[derive(Debug, Default)]
pub struct Staged {
    /// Files that must not be written over, as the system names them.
    inputs: Vec<PathBuf>,
    waiting: Mutex<Waiting>,
}

#[derive(Debug, Default)]
struct Waiting {
    // Dropped in this order: a folder can only go when its temporary files have gone.
    files: Vec<(tempfile::TempPath, PathBuf)>,
    made: MadeFolders,
}

impl Staged {
    /// Nothing yet; `inputs` are files that were read, and must not be written over.
    pub fn new(inputs: &[PathBuf]) -> Self {
        Staged {
            inputs: inputs
                .iter()
                .filter_map(|i| i.canonicalize().ok())
                .collect(),
            waiting: Mutex::default(),
        }
    }

    /// Writes a file under a temporary name in its own folder.
    ///
    /// # Errors
    /// [`Error::Output`] naming the file or folder, with the system's reason.
    pub fn stage(&self, path: PathBuf, bytes: &[u8]) -> Result<(), Error> {
        refuse_to_overwrite(&path, &self.inputs)?;
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        self.waiting().made.make(folder)?;
        let file = temporary(folder, bytes).map_err(|cause| Error::Output {
            doing: format!("writing {}", path.display()),
            cause,
        })?;
        self.waiting().files.push((file, path));
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
        // The order of staging may be that of threads.
        waiting.files.sort_by(|a, b| a.1.cmp(&b.1));
        for (temporary, path) in waiting.files.drain(..) {
            temporary.persist(&path).map_err(|error| Error::Output {
                doing: format!("writing {}", path.display()),
                cause: error.error,
            })?;
        }
        waiting.made.keep();
        Ok(())
    }

    /// A thread that ended in the middle of staging left the list as it was.
    fn waiting(&self) -> MutexGuard<'_, Waiting> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A finished file under a temporary name, readable by everybody as any other file (a temporary file is
/// private otherwise, and a report could not be shared).
///
/// Only the name is kept, not the open file: of those a system lets a program have no more than some hundreds.
fn temporary(folder: &Path, bytes: &[u8]) -> io::Result<tempfile::TempPath> {
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o644));
    }
    let mut file = builder.tempfile_in(folder).map_err(plain)?;
    file.write_all(bytes)?;
    file.flush()?;
    Ok(file.into_temp_path())
}

/// The system's reason without the temporary name around it, which means nothing to the reader.
fn plain(error: io::Error) -> io::Error {
    let inner = error.get_ref().and_then(|inner| inner.source());
    let inner = inner.and_then(|inner| inner.downcast_ref::<io::Error>());
    match inner.unwrap_or(&error).raw_os_error() {
        Some(code) => io::Error::from_raw_os_error(code),
        None => error.kind().into(),
    }
}

fn refuse_to_overwrite(path: &Path, inputs: &[PathBuf]) -> Result<(), Error> {
    let refused = |why: &str| {
        Err(Error::Output {
            doing: format!("writing {}", path.display()),
            cause: io::Error::other(why.to_string()),
        })
    };
    if path.is_dir() {
        return refused("a folder of that name is in the way");
    }
    if path.canonicalize().is_ok_and(|path| inputs.contains(&path)) {
        return refused("it is one of the files that were read; those are never written to");
    }
    Ok(())
}

/// Folders made for the files of one command, removed again unless kept.
#[derive(Debug, Default)]
struct MadeFolders(Vec<PathBuf>);

impl MadeFolders {
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
        if missing.is_empty() && !folder.is_dir() {
            return Err(failed(io::Error::other(
                "a file of that name is in the way",
            )));
        }
        for folder in missing {
            fs::create_dir(folder).map_err(failed)?;
            self.0.push(folder.to_path_buf());
        }
        Ok(())
    }

    fn keep(&mut self) {
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
        let error = write_files(
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

        write_files(&[file(at("old")), file(at("deep/er/new"))], &[]).unwrap();
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
        assert!(write_files(&[file(other_way)], std::slice::from_ref(&log)).is_err());
        assert_eq!(fs::read_to_string(&log).unwrap(), "old");
    }

    #[cfg(unix)]
    #[test]
    fn written_files_can_be_shared() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.html");
        write_files(&[file(path.clone())], &[]).unwrap();
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
            let error = write_files(&[file(path)], &[]).unwrap_err().to_string();
            assert!(error.contains("taken"), "{error}");
        }
    }

    /// A reader that has gone away, and a disk that is full.
    struct Refuses(io::ErrorKind);

    impl Write for Refuses {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(io::Error::from(self.0))
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_closed_pipe_is_no_fault_and_a_full_disk_is() {
        let wanted = Wanted {
            json: false,
            quiet: false,
        };
        let answer = || Answer {
            text: "x".into(),
            ..Answer::default()
        };
        let mut err = Vec::new();
        let closed = put(
            answer(),
            wanted,
            &mut Refuses(io::ErrorKind::BrokenPipe),
            &mut err,
        );
        assert!(matches!(closed, Ok(0)));
        let full = put(
            answer(),
            wanted,
            &mut Refuses(io::ErrorKind::StorageFull),
            &mut err,
        );
        assert_eq!(full.unwrap_err().exit_status(), 2);
    }

    #[test]
    fn a_number_that_is_not_finite_is_null() {
        assert_eq!(
            json(&[1.5, f64::INFINITY, f64::NAN]).replace([' ', '\n'], ""),
            "[1.5,null,null]"
        );
    }
}
