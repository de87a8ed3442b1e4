//! Files put in place, all or none: whenever the program is stopped, each file is the old one or the new one, whole.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, BufRead};
use std::path::{Path, PathBuf};

use super::disk;
use super::swap::change_places;
use super::waiting::Waiting;
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::report::File;

/// The file that other commands read. Where files can only be put in place one after another it comes last, so that the
/// old one stays until all new files are there.
const LAST: &str = "calibration.json";

/// Files to write into one folder, which is made if it is missing.
#[derive(Debug)]
pub struct Output {
    folder: PathBuf,
    files: Vec<File>,
    /// Whether the files make up the whole folder: then the old folder and the new one change places.
    together: bool,
    /// Whether none of the files may be there already.
    are_new: bool,
}

impl Output {
    /// A folder of files that belong together.
    pub fn folder(folder: &Path, files: Vec<File>) -> Self {
        Output {
            folder: folder.to_path_buf(),
            files,
            together: true,
            are_new: false,
        }
    }

    /// A single file.
    pub fn file(path: &Path, text: String) -> Self {
        Output {
            folder: parent(path).to_path_buf(),
            files: vec![File::from_text(path.file_name().unwrap_or_default(), text)],
            together: false,
            are_new: false,
        }
    }

    /// Files that must not be there already, below a folder (blank: the one worked in).
    pub fn new_files(folder: &Path, files: Vec<File>) -> Self {
        let folder = match folder.as_os_str().is_empty() {
            true => Path::new("."),
            false => folder,
        };
        Output {
            folder: folder.to_path_buf(),
            files,
            together: false,
            are_new: true,
        }
    }

    /// Writes all files or none, as far as the system lets us.
    ///
    /// The files are written into a waiting folder first, which a full disk can stop, and are on the disk before anything
    /// old goes. A folder of files then changes places with the old one in one step (`swap.rs`). Where that cannot be done,
    /// one rename follows another; a program killed, or a power cut, among these leaves whole files, some old and some new,
    /// `calibration.json` new only when all are. Missing folders are made, and taken away
    /// again if the files are never put in place; what an earlier run that was killed has left is taken away.
    ///
    /// * `inputs` — files that were read, and must not be written over
    ///
    /// # Errors
    /// [`Error::Input`] naming a file that must not be written over, that is there already and should not be, or what is in the way; [`Error::Output`] naming
    /// the file or folder, with the system's reason.
    pub fn write(&self, inputs: &[PathBuf]) -> Result<(), Error> {
        for file in &self.files {
            let path = self.path_of(file);
            refuse_to_overwrite(&path, inputs)?;
            if !self.together && !self.are_new {
                refuse_another_kind(&path, &file.bytes)?;
            }
        }
        if self.are_new {
            self.refuse_what_is_there()?;
        }
        let mut made = MadeFolders::default();
        made.make(&self.folder)?;
        let waiting = if self.together {
            Waiting::beside(&self.folder)
        } else {
            Waiting::inside(&self.folder)
        };
        let waiting = waiting.map_err(|cause| Error::Output {
            doing: format!("writing to the folder {}", self.folder.display()),
            cause,
        })?;
        for file in &self.files {
            disk::write(&waiting.path().join(&file.name), &file.bytes)
                .map_err(|cause| failed(&self.path_of(file), cause))?;
        }
        let names: BTreeSet<&Path> = self.files.iter().map(|file| file.name.as_path()).collect();
        if !change_places(&waiting, &names) {
            self.rename_each(&waiting, &mut made)?;
        }
        made.keep()
    }

    /// Refuses to go on where any of the files is there already, naming each.
    fn refuse_what_is_there(&self) -> Result<(), Error> {
        let mut faults = Faults::default();
        for path in self.files.iter().map(|file| self.path_of(file)) {
            // Also a link that leads nowhere is there.
            if path.symlink_metadata().is_ok() {
                let why = "it is there already, and nothing is written over; give another name";
                faults.push(Fault::error(path.display().to_string(), why));
            }
        }
        match faults.any_error() {
            true => Err(faults.into()),
            false => Ok(()),
        }
    }

    fn rename_each(&self, waiting: &Waiting, made: &mut MadeFolders) -> Result<(), Error> {
        let (last, others): (Vec<&File>, Vec<&File>) = self
            .files
            .iter()
            .partition(|file| file.name.ends_with(LAST));
        for files in [others, last] {
            let mut changed = BTreeSet::new();
            for file in files {
                let place = self.path_of(file);
                made.make(parent(&place))?;
                disk::rename(&waiting.path().join(&file.name), &place)
                    .map_err(|cause| failed(&place, cause))?;
                changed.insert(parent(&place).to_path_buf());
            }
            // The names are on the disk before the last file follows.
            for folder in &changed {
                disk::sync_folder(folder).map_err(|cause| failed(folder, cause))?;
            }
        }
        Ok(())
    }

    /// The path a file goes to, as it was asked for.
    fn path_of(&self, file: &File) -> PathBuf {
        if self.folder == Path::new(".") {
            file.name.clone()
        } else {
            self.folder.join(&file.name)
        }
    }
}

fn refuse_to_overwrite(path: &Path, inputs: &[PathBuf]) -> Result<(), Error> {
    let there = path.canonicalize().ok();
    if there.as_ref().is_some_and(|there| there.is_dir()) {
        return Err(refused(
            path,
            "a folder of that name is in the way of the file; give another name after --out",
        ));
    }
    let mut inputs = inputs.iter().filter_map(|input| input.canonicalize().ok());
    if there.is_some_and(|there| inputs.any(|input| input == there)) {
        return Err(refused(
            path,
            "it is one of the files that were read; those are never written to",
        ));
    }
    Ok(())
}

/// Refuses to put a file in place of one that is not of its kind: a log of the user's, say. Files of a kind have one first
/// line.
fn refuse_another_kind(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    let wanted = bytes.split_inclusive(|&b| b == b'\n').next();
    let mut there = Vec::new();
    let opened = fs::File::open(path).map(io::BufReader::new);
    let is_read = opened.and_then(|mut file| file.read_until(b'\n', &mut there));
    match is_read {
        Ok(_) if !there.is_empty() && Some(there.as_slice()) != wanted => Err(refused(
            path,
            "another kind of file is there, and nothing is written over it; give another name",
        )),
        _ => Ok(()),
    }
}

/// The fault of a path that must not be written to.
fn refused(path: &Path, why: &str) -> Error {
    Faults::from(Fault::error(path.display().to_string(), why)).into()
}

/// The fault of a file that could not be written.
fn failed(path: &Path, cause: io::Error) -> Error {
    Error::Output {
        doing: format!("writing {}", path.display()),
        cause,
    }
}

/// The folder that a path stands in.
fn parent(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Folders made for the files of one command, removed again unless kept.
#[derive(Debug, Default)]
struct MadeFolders(Vec<PathBuf>);

impl MadeFolders {
    /// Makes a folder and those above it where they are missing.
    ///
    /// # Errors
    /// [`Error::Output`] naming it; [`Error::Input`] naming a file that is in the way.
    fn make(&mut self, folder: &Path) -> Result<(), Error> {
        let mut missing: Vec<&Path> = folder
            .ancestors()
            .take_while(|f| !f.as_os_str().is_empty() && !f.exists())
            .collect();
        missing.reverse();
        let there = folder.ancestors().nth(missing.len());
        let is_folder = |there: &Path| there.as_os_str().is_empty() || there.is_dir();
        if let Some(taken) = there.filter(|there| !is_folder(there)) {
            return Err(refused(
                taken,
                "a file of that name is in the way of the folder; give another name after --out",
            ));
        }
        for missing in missing {
            disk::make_folder(missing).map_err(|cause| Error::Output {
                doing: format!("making the folder {}", folder.display()),
                cause,
            })?;
            self.0.push(missing.to_path_buf());
        }
        Ok(())
    }

    /// Keeps the folders, and waits until their names are on the disk.
    ///
    /// # Errors
    /// [`Error::Output`] naming the one.
    fn keep(mut self) -> Result<(), Error> {
        for folder in std::mem::take(&mut self.0) {
            disk::sync_folder(parent(&folder)).map_err(|cause| failed(&folder, cause))?;
        }
        Ok(())
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

    fn write(folder: &Path, names: &[&str], text: &str) -> Result<(), Error> {
        let files = names.iter().map(|name| File::from_text(name, text));
        Output::folder(folder, files.collect()).write(&[])
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
    fn all_files_are_written_or_none() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::write(at("old"), "old").unwrap();
        fs::create_dir(at("a_folder")).unwrap();
        let error = write(folder.path(), &["old", "deep/er/new", "a_folder"], "new").unwrap_err();
        assert!(error.to_string().contains("a_folder"), "{error}");
        assert_eq!(fs::read_to_string(at("old")).unwrap(), "old");
        assert!(!at("deep").exists());

        write(folder.path(), &["old", "deep/er/new"], "new").unwrap();
        assert_eq!(fs::read_to_string(at("old")).unwrap(), "new");
        assert_eq!(fs::read_to_string(at("deep/er/new")).unwrap(), "new");
        assert_eq!(names(folder.path()), ["a_folder", "deep", "old"]);
    }

    #[test]
    fn what_was_read_is_never_written_to() {
        let folder = tempfile::tempdir().unwrap();
        let log = folder.path().join("log.csv");
        fs::write(&log, "old").unwrap();
        let other_way = folder.path().join(".").join("log.csv");
        let output = Output::file(&other_way, "new".to_string());
        assert!(output.write(std::slice::from_ref(&log)).is_err());
        assert_eq!(fs::read_to_string(&log).unwrap(), "old");
    }

    #[cfg(unix)]
    #[test]
    fn written_files_can_be_shared() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.html");
        Output::file(&path, "new".to_string()).write(&[]).unwrap();
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
            let output = Output::file(&path, "new".to_string());
            let error = output.write(&[]).unwrap_err().to_string();
            assert!(error.contains("taken"), "{error}");
        }
    }

    const REPORT: [&str; 3] = ["report.html", "figures/a.svg", "calibration.json"];

    #[test]
    fn a_folder_is_replaced_and_keeps_what_else_is_in_it() {
        let above = tempfile::tempdir().unwrap();
        for (name, folder_inside) in [("a/season", None), ("b/season", Some("logs"))] {
            let folder = above.path().join(name);
            let text = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
            write(&folder, &REPORT, "old").unwrap();
            fs::write(folder.join("notes.txt"), "mine").unwrap();
            fs::write(folder.join("figures/b.svg"), "of another fit").unwrap();
            if let Some(inside) = folder_inside {
                fs::create_dir(folder.join(inside)).unwrap();
            }
            write(&folder, &REPORT, "new").unwrap();
            for name in REPORT {
                assert_eq!(text(name), "new", "{name}");
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

    #[cfg(unix)]
    #[test]
    fn a_report_can_be_shared_and_a_private_one_stays_private() {
        use std::os::unix::fs::PermissionsExt;
        let above = tempfile::tempdir().unwrap();
        let folder = above.path().join("season");
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        write(&folder, &REPORT, "old").unwrap();
        fs::create_dir(above.path().join("plain")).unwrap();
        assert_eq!(mode(&folder), mode(&above.path().join("plain")));
        fs::set_permissions(&folder, fs::Permissions::from_mode(0o700)).unwrap();
        write(&folder, &REPORT, "new").unwrap();
        assert_eq!(mode(&folder), 0o700);
    }
}
