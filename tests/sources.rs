//! What comments and pages point to exists: files, sections of the model and the contract, tests named as proof.
//!
//! Read are the comments of all sources and the text of all pages; code is not (a test may well write `season.csv`).

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Folders with sources, pages and data; what fuzzing keeps is neither.
const FOLDERS: [&str; 5] = ["src", "tests", "data", "reports", ".ci"];
const PASSED_OVER: [&str; 3] = [
    "tests/fuzz/corpus",
    "tests/fuzz/target",
    "tests/fuzz/artifacts",
];
/// Pages whose sections are cited by number.
const NUMBERED: [&str; 2] = ["src/model.md", "src/contract.md"];
/// A file with one of these endings is meant to be in the repository wherever it is named; a log or a page may be the user's.
const OURS: [&str; 5] = ["md", "rs", "js", "py", "dict"];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Names of all files below a folder, from the root, with `/`; and of the folders, ended by `/`.
fn walk(folder: &str, into: &mut BTreeSet<String>) {
    into.insert(format!("{folder}/"));
    let Ok(entries) = std::fs::read_dir(root().join(folder)) else {
        return;
    };
    for entry in entries {
        let entry = entry.expect("an entry of a folder");
        let name = format!("{folder}/{}", entry.file_name().to_string_lossy());
        if PASSED_OVER.contains(&name.as_str()) {
            into.insert(format!("{name}/"));
        } else if entry.path().is_dir() {
            walk(&name, into);
        } else {
            into.insert(name);
        }
    }
}

/// Everything in the repository, as far as it can be cited.
fn repository() -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    for folder in FOLDERS {
        walk(folder, &mut all);
    }
    for entry in std::fs::read_dir(root()).expect("the root") {
        let entry = entry.expect("an entry of a folder");
        if entry.path().is_file() {
            all.insert(entry.file_name().to_string_lossy().into_owned());
        }
    }
    all
}

fn read(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).unwrap_or_else(|cause| panic!("{name}: {cause}"))
}

/// Text that a reader reads, with the line it begins on; lines of one comment or paragraph are joined, since a citation may
/// go over the end of a line.
fn prose(name: &str, text: &str) -> Vec<(usize, String)> {
    let page = name.ends_with(".md");
    let (mut blocks, mut fenced, mut open) = (Vec::<(usize, String)>::new(), false, false);
    for (index, line) in text.lines().enumerate() {
        let fence = line.trim_start().starts_with("```");
        fenced ^= page && fence;
        let said = match page {
            true => (!fenced && !fence && !line.trim().is_empty()).then_some(line.trim()),
            false => comment(name, line),
        };
        match (said, open) {
            (Some(said), true) => {
                let block = blocks.last_mut().expect("an open block");
                block.1.push(' ');
                block.1.push_str(said);
            }
            (Some(said), false) => blocks.push((index + 1, said.to_string())),
            (None, _) => {}
        }
        open = said.is_some();
    }
    blocks
}

/// What a line of a source says to its reader.
fn comment<'l>(name: &str, line: &'l str) -> Option<&'l str> {
    let mark = if name.ends_with(".py") || name.ends_with(".toml") || name.ends_with(".sh") {
        "#"
    } else {
        "//"
    };
    let (_, said) = line.split_once(mark)?;
    Some(said.trim_start_matches(['/', '!', '#']).trim())
}

fn is_source(name: &str) -> bool {
    let ending = name.rsplit('.').next().unwrap_or_default();
    let known = ["rs", "md", "js", "py", "toml", "sh", "html"].contains(&ending);
    // Finished reports are made; the examples below are meant to be wrong.
    known && !name.starts_with("reports/") && name != "tests/sources.rs"
}

/// Words that may be paths, names of tests or the like.
fn words(said: &str) -> impl Iterator<Item = &str> {
    let inside = |c: char| c.is_ascii_alphanumeric() || "_-./:*".contains(c);
    said.split(move |c| !inside(c))
        .map(|word| {
            word.trim_matches([':', '.', '-', '*'])
                .trim_end_matches("/*")
        })
        .filter(|word| !word.is_empty())
}

/// Whether a path is in the repository, from the root or from some folder on.
fn exists(all: &BTreeSet<String>, path: &str) -> bool {
    let path = path.trim_start_matches("./").trim_end_matches('/');
    all.iter()
        .map(|name| name.trim_end_matches('/'))
        .any(|name| {
            let rest = name.strip_suffix(path);
            rest.is_some_and(|rest| rest.is_empty() || rest.ends_with('/'))
        })
}

fn is_path(word: &str) -> bool {
    if word.contains(':') || word.contains('*') || word.starts_with("//") {
        return false;
    }
    let below = ["src/", "tests/", "data/"].iter();
    let ending = word
        .rsplit_once('.')
        .map(|(stem, ending)| (!stem.is_empty(), ending));
    let ours = ending.is_some_and(|(named, ending)| named && OURS.contains(&ending));
    ours || below
        .clone()
        .any(|folder| word.len() > folder.len() && word.starts_with(folder))
}

/// Numbers of sections cited of a page: `model.md` §2; `model.md` §1, 2 and §6; `src/model.md`, section 2.
fn sections<'s>(said: &'s str, page: &str) -> Vec<&'s str> {
    let mut found = Vec::new();
    let mut rest = said;
    while let Some(at) = rest.find(page) {
        rest = &rest[at + page.len()..];
        found.extend(numbers(rest.trim_start_matches(['`', ',', ' '])));
    }
    found
}

/// The numbers after a sign of section, as long as they are joined by commas, "and" or further signs.
fn numbers(text: &str) -> Vec<&str> {
    let signs = ["§", "sections ", "section "];
    let after_sign = |text: &'_ str| {
        let sign = signs.iter().find(|sign| text.starts_with(**sign))?;
        Some(sign.len())
    };
    let mut found = Vec::new();
    let Some(sign) = after_sign(text) else {
        return found;
    };
    let mut rest = &text[sign..];
    loop {
        let digits = rest
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(rest.len());
        if digits == 0 {
            return found;
        }
        found.push(&rest[..digits]);
        rest = &rest[digits..];
        let joined = [", ", " and "].iter().find_map(|by| rest.strip_prefix(by));
        let Some(next) = joined else { return found };
        rest = &next[after_sign(next).unwrap_or(0)..];
    }
}

/// Sections that a page has: `## 2. Title`.
fn numbered(page: &str) -> BTreeSet<String> {
    let headings = page.lines().filter_map(|line| line.strip_prefix("## "));
    let number = |title: &str| Some(title.split_once(". ")?.0.to_string());
    headings.filter_map(number).collect()
}

/// Whether a source has a function of this name.
fn has_function(source: &str, name: &str) -> bool {
    let function = format!("fn {name}(");
    source.contains(&function)
}

/// Files that a module's name may stand for: `posterior` is `…/posterior.rs` or `…/posterior/mod.rs`.
fn files_of<'a>(all: &'a BTreeSet<String>, module: &str) -> Vec<&'a str> {
    let ends = [format!("/{module}.rs"), format!("/{module}/mod.rs")];
    let is = |name: &&String| ends.iter().any(|end| name.ends_with(end.as_str()));
    all.iter().filter(is).map(String::as_str).collect()
}

/// What a name like `a::b::c` fails to name, where it is a test's.
fn no_such_test(all: &BTreeSet<String>, file: &str, word: &str) -> bool {
    let parts: Vec<&str> = word.split("::").collect();
    let [.., module, name] = parts.as_slice() else {
        return false;
    };
    if name.is_empty() || !name.starts_with(|c: char| c.is_ascii_lowercase()) {
        return false;
    }
    let inside = |files: Vec<&str>| files.iter().any(|f| has_function(&read(f), name));
    if *module == "tests" {
        // `tests::name` is this file's, `posterior::tests::name` that module's.
        return match parts.len() {
            2 => !has_function(&read(file), name),
            _ => !inside(files_of(all, parts[parts.len() - 3])),
        };
    }
    let of_tests = format!("tests/{module}.rs");
    let in_folder = parts.len() == 3 && all.contains(&format!("tests/{}/main.rs", parts[0]));
    if in_folder {
        return !inside(
            vec![&format!("tests/{}/{module}.rs", parts[0])]
                .into_iter()
                .filter(|f| all.contains(*f))
                .map(String::as_str)
                .collect(),
        );
    }
    // In code a name like `report::page` may be a module's; on a page it is a test's.
    let only_a_test = !files_of(all, module).iter().any(|f| f.starts_with("src/"));
    let meant = parts.len() == 2 && all.contains(&of_tests);
    meant && (only_a_test || file.ends_with(".md")) && !inside(vec![&of_tests])
}

/// Everything that a text points to and that is not there.
fn missing(all: &BTreeSet<String>, file: &str, text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (line, said) in prose(file, text) {
        let mut miss = |what: String| found.push(format!("{file}, from line {line}: {what}"));
        for word in words(&said) {
            if is_path(word) && !exists(all, word) {
                miss(format!("there is no {word}"));
            }
            if word.contains("::") && no_such_test(all, file, word) {
                miss(format!("there is no test {word}"));
            }
        }
        for page in NUMBERED {
            let name = page.rsplit('/').next().unwrap_or(page);
            let known = numbered(&read(page));
            let mut cited = sections(&said, name);
            if file == page {
                // Of itself; "section 2.2" is another book's.
                let own = said.split("ection").skip(1).map(|rest| {
                    let rest = rest.trim_start_matches(['s', ' ']);
                    let digits = rest
                        .find(|c: char| !c.is_ascii_digit())
                        .unwrap_or(rest.len());
                    let deeper = rest[digits..]
                        .strip_prefix('.')
                        .is_some_and(|r| r.starts_with(|c: char| c.is_ascii_digit()));
                    if deeper { "" } else { &rest[..digits] }
                });
                cited.extend(own.filter(|number| !number.is_empty()));
            }
            for number in cited {
                if !known.contains(number) {
                    miss(format!("{name} has no section {number}"));
                }
            }
        }
    }
    found
}

#[test]
fn what_comments_and_pages_cite_is_there() {
    let all = repository();
    let sources: Vec<&String> = all.iter().filter(|name| is_source(name)).collect();
    assert!(sources.len() > 100, "{} sources", sources.len());
    let found: Vec<String> = sources
        .iter()
        .flat_map(|name| missing(&all, name, &read(name)))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn a_file_outside_the_repository_is_found() {
    let all = repository();
    let of = |text: &str| missing(&all, "src/geometry.rs", text);
    assert!(of("/// As `model.md` §2 says, and `src/model.md`, section 7.").is_empty());
    assert!(of("let log = \"interface.md\";").is_empty());
    for comment in [
        "/// The rules of `interface.md`.",
        "//! Checked in `tests/reference/no_such.rs`.",
        "let x = 1; // see data/nothing.csv",
        "# no comment\n// but this is: src/nowhere/",
    ] {
        assert_eq!(of(comment).len(), 1, "{comment}");
    }
}

#[test]
fn a_section_that_is_not_there_is_found() {
    let all = repository();
    let of = |text: &str| missing(&all, "src/geometry.rs", text);
    assert!(
        of("// `model.md` §1, 2, 5, 6; `model.md` §5 and §3 (Lead); `model.md` §2, Edges")
            .is_empty()
    );
    assert_eq!(of("// `model.md` §1, 2 and §77").len(), 1);
    assert_eq!(
        of("/// derived in `model.md`\n/// §99, at its end").len(),
        1
    );
    assert_eq!(of("// `src/contract.md`, section 55").len(), 1);
    let own = missing(
        &all,
        "src/model.md",
        "Cook & Weisberg, section 2.2; our own section 88.",
    );
    assert_eq!(own.len(), 1);
}

#[test]
fn a_test_that_is_not_there_is_found() {
    let all = repository();
    let of = |text: &str| missing(&all, "src/geometry.rs", text);
    assert!(
        of("// `tests::smooth_through_straight`, `reference::geometry::from_an_arc_to_its_end`")
            .is_empty()
    );
    assert!(
        of("// `geometry::tests::smooth_through_straight`, `report::page`, `std::f64::consts`")
            .is_empty()
    );
    for comment in [
        "// `tests::no_such`",
        "// `geometry::tests::no_such`",
        "// `reference::geometry::no_such`",
        "// `event_day::no_such`",
    ] {
        assert_eq!(of(comment).len(), 1, "{comment}");
    }
    assert_eq!(missing(&all, "DEVELOPERS.md", "`report::no_such`").len(), 1);
}

#[test]
fn both_pages_are_part_of_the_library() {
    let library = read("src/lib.rs");
    for page in NUMBERED {
        let name = Path::new(page)
            .file_name()
            .expect("a name")
            .to_string_lossy();
        assert!(
            library.contains(&format!("include_str!(\"{name}\")")),
            "{page}"
        );
        assert!(numbered(&read(page)).len() > 5, "{page}");
    }
}
