//! What a power cut leaves: the steps of writing a report are replayed on a disk that forgets what it was not made to keep.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use super::disk::{self, Step};
use super::files::Output;
use crate::report::File;

const REPORT: [&str; 3] = ["report.html", "figures/a.svg", "calibration.json"];

type Names = BTreeMap<String, usize>;

/// What a place on the disk holds.
#[derive(Debug, Clone)]
enum Place {
    File {
        bytes: Vec<u8>,
        is_synced: bool,
    },
    /// Names as the program sees them, and as the disk keeps them.
    Folder {
        now: Names,
        synced: Names,
    },
}

/// A disk in memory. After a cut a file that was not synced is empty, and a folder has the names of its last sync or
/// those of the moment, each folder by itself: as little as POSIX promises.
#[derive(Debug, Clone)]
struct Disk {
    places: Vec<Place>,
    root: PathBuf,
}

impl Disk {
    /// The folder `root` as it is, all of it synced.
    fn of(root: &Path) -> Disk {
        let mut disk = Disk {
            places: vec![],
            root: root.to_path_buf(),
        };
        disk.copy(root);
        disk
    }

    fn copy(&mut self, path: &Path) -> usize {
        let place = if path.is_dir() {
            let entries = fs::read_dir(path).unwrap();
            let mut names = Names::new();
            self.places.push(Place::Folder {
                now: Names::new(),
                synced: Names::new(),
            });
            let here = self.places.len() - 1;
            for entry in entries {
                let entry = entry.unwrap();
                let name = entry.file_name().into_string().unwrap();
                names.insert(name, self.copy(&entry.path()));
            }
            self.places[here] = Place::Folder {
                synced: names.clone(),
                now: names,
            };
            return here;
        } else {
            Place::File {
                bytes: fs::read(path).unwrap(),
                is_synced: true,
            }
        };
        self.places.push(place);
        self.places.len() - 1
    }

    fn names(&mut self, at: usize) -> &mut Names {
        match &mut self.places[at] {
            Place::Folder { now, .. } => now,
            Place::File { .. } => panic!("a file where a folder should be"),
        }
    }

    fn at(&mut self, path: &Path) -> usize {
        let below = path.strip_prefix(&self.root).unwrap().to_path_buf();
        below
            .iter()
            .fold(0, |at, name| self.names(at)[name.to_str().unwrap()])
    }

    /// The names a path's own stands among.
    fn entry(&mut self, path: &Path) -> (&mut Names, String) {
        let at = self.at(path.parent().unwrap());
        let name = path.file_name().unwrap().to_str().unwrap().to_string();
        (self.names(at), name)
    }

    fn put(&mut self, path: &Path, place: usize) {
        let (names, name) = self.entry(path);
        names.insert(name, place);
    }

    fn take(&mut self, path: &Path) -> usize {
        let (names, name) = self.entry(path);
        names.remove(&name).unwrap()
    }

    fn add(&mut self, path: &Path, place: Place) {
        self.places.push(place);
        let new = self.places.len() - 1;
        self.put(path, new);
    }

    fn step(&mut self, step: &Step) {
        match step {
            Step::MakeFolder(path) => {
                let (now, synced) = (Names::new(), Names::new());
                self.add(path, Place::Folder { now, synced });
            }
            Step::Write(path, bytes) => {
                let bytes = bytes.clone();
                let is_synced = false;
                self.add(path, Place::File { bytes, is_synced });
            }
            Step::SyncFile(path) => {
                let at = self.at(path);
                if let Place::File { is_synced, .. } = &mut self.places[at] {
                    *is_synced = true;
                }
            }
            Step::SyncFolder(path) => {
                let at = self.at(path);
                if let Place::Folder { now, synced } = &mut self.places[at] {
                    synced.clone_from(now);
                }
            }
            Step::Rename(from, to) => {
                let moved = self.take(from);
                self.put(to, moved);
            }
            Step::Link(from, to) => {
                let linked = self.at(from);
                self.put(to, linked);
            }
            Step::Exchange(a, b) => {
                let (was_a, was_b) = (self.take(a), self.take(b));
                self.put(a, was_b);
                self.put(b, was_a);
            }
            Step::Remove(path) => {
                let gone = self.take(path);
                self.forget(gone);
            }
        }
    }

    /// Takes all names below a folder away, each by itself.
    fn forget(&mut self, at: usize) {
        if let Place::Folder { now, .. } = &mut self.places[at] {
            for inside in std::mem::take(now).into_values() {
                self.forget(inside);
            }
        }
    }

    /// What stands in the folder `out` after a cut, for every choice of folders that kept the names of the moment.
    fn left(&self, out: &str) -> Vec<BTreeMap<String, String>> {
        let is_torn =
            |place: &Place| matches!(place, Place::Folder { now, synced } if now != synced);
        let torn: Vec<usize> = (0..self.places.len())
            .filter(|&at| is_torn(&self.places[at]))
            .collect();
        let choices = (0..1u32 << torn.len()).map(|choice| {
            let kept = torn.iter().enumerate();
            let kept = kept.filter(|(bit, _)| choice >> bit & 1 == 1);
            let kept: BTreeSet<usize> = kept.map(|(_, &at)| at).collect();
            let mut found = BTreeMap::new();
            if let Some(&at) = self.after(0, &kept).and_then(|names| names.get(out)) {
                self.list(at, "", &kept, &mut found);
            }
            found
        });
        choices.collect()
    }

    fn after(&self, at: usize, kept: &BTreeSet<usize>) -> Option<&Names> {
        match &self.places[at] {
            Place::Folder { now, .. } if kept.contains(&at) => Some(now),
            Place::Folder { synced, .. } => Some(synced),
            Place::File { .. } => None,
        }
    }

    fn list(
        &self,
        at: usize,
        name: &str,
        kept: &BTreeSet<usize>,
        found: &mut BTreeMap<String, String>,
    ) {
        match &self.places[at] {
            Place::File { bytes, is_synced } => {
                let bytes = if *is_synced { bytes.as_slice() } else { b"" };
                let text = String::from_utf8(bytes.to_vec()).unwrap();
                found.insert(name.trim_start_matches('/').to_string(), text);
            }
            Place::Folder { .. } => {
                for (inside, &at) in self.after(at, kept).into_iter().flatten() {
                    if !inside.starts_with(".haltmark-") {
                        self.list(at, &format!("{name}/{inside}"), kept, found);
                    }
                }
            }
        }
    }
}

/// A report, with a file and, where asked, a folder of the user's in it, replaced by a new one.
struct Rewrite {
    before: Disk,
    steps: Vec<Step>,
}

impl Rewrite {
    fn new(is_there: bool, folder_inside: bool) -> Rewrite {
        let above = tempfile::tempdir().unwrap();
        let root = above.path().canonicalize().unwrap();
        let out = root.join("season");
        let write = |text: &str| {
            let files = REPORT.iter().map(|name| File::from_text(name, text));
            Output::folder(&out, files.collect()).write(&[]).unwrap();
        };
        if is_there {
            write("old");
            fs::write(out.join("notes.txt"), "mine").unwrap();
        }
        if folder_inside {
            fs::create_dir(out.join("logs")).unwrap();
        }
        let before = Disk::of(&root);
        disk::journal();
        write("new");
        Rewrite {
            before,
            steps: disk::journal(),
        }
    }

    /// Everything that may be left, cut after any of the steps that `kept` keeps.
    fn left(&self, kept: impl Fn(&Step) -> bool) -> BTreeSet<BTreeMap<String, String>> {
        let mut disk = self.before.clone();
        let mut left: BTreeSet<_> = disk.left("season").into_iter().collect();
        for step in self.steps.iter().filter(|step| kept(step)) {
            disk.step(step);
            left.extend(disk.left("season"));
        }
        left
    }

    /// What is there when all is done and the power is cut then.
    fn at_the_end(&self) -> BTreeSet<BTreeMap<String, String>> {
        let mut disk = self.before.clone();
        self.steps.iter().for_each(|step| disk.step(step));
        disk.left("season").into_iter().collect()
    }
}

fn all(text: &str) -> BTreeMap<String, String> {
    REPORT
        .map(|name| (name.to_string(), text.to_string()))
        .into()
}

fn with_notes(mut report: BTreeMap<String, String>) -> BTreeMap<String, String> {
    report.insert("notes.txt".into(), "mine".into());
    report
}

#[cfg(target_os = "linux")]
#[test]
fn a_power_cut_leaves_the_old_report_or_the_new_one() {
    let rewrite = Rewrite::new(true, false);
    let whole = BTreeSet::from([with_notes(all("old")), with_notes(all("new"))]);
    assert_eq!(rewrite.left(|_| true), whole);
    assert_eq!(rewrite.at_the_end(), [with_notes(all("new"))].into());
}

#[test]
fn a_power_cut_during_the_first_report_leaves_nothing_or_all() {
    let rewrite = Rewrite::new(false, false);
    let left = rewrite.left(|_| true);
    assert!(
        left.iter()
            .all(|left| left.is_empty() || *left == all("new")),
        "{left:?}"
    );
    assert_eq!(rewrite.at_the_end(), [all("new")].into());
}

#[test]
fn a_power_cut_among_single_renames_leaves_whole_files_and_the_calibration_last() {
    let rewrite = Rewrite::new(true, true);
    for left in rewrite.left(|_| true) {
        let is_whole = |text: &str| ["old", "new", "mine"].contains(&text);
        assert!(left.values().all(|text| is_whole(text)), "{left:?}");
        assert_eq!(left.len(), 4, "{left:?}");
        if left["calibration.json"] == "new" {
            assert_eq!(left, with_notes(all("new")));
        }
    }
    assert_eq!(rewrite.at_the_end(), [with_notes(all("new"))].into());
}

/// The replay notices when contents or names are not synced: each kind of step is needed.
#[cfg(target_os = "linux")]
#[test]
fn without_any_sync_a_power_cut_tears_the_report() {
    let whole = BTreeSet::from([with_notes(all("old")), with_notes(all("new"))]);
    let rewrite = Rewrite::new(true, false);
    let no_files = rewrite.left(|step| !matches!(step, Step::SyncFile(_)));
    let no_folders = rewrite.left(|step| !matches!(step, Step::SyncFolder(_)));
    assert!(!no_files.is_subset(&whole) && !no_folders.is_subset(&whole));
    let folders = rewrite.steps.iter();
    let folders = folders.filter(|step| matches!(step, Step::SyncFolder(_)));
    for left_out in 0..folders.count() {
        let count = std::cell::Cell::new(0);
        let torn = rewrite.left(|step| match step {
            Step::SyncFolder(_) => count.replace(count.get() + 1) != left_out,
            _ => true,
        });
        assert!(!torn.is_subset(&whole), "sync {left_out} is not needed");
    }
}
