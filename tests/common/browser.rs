//! Debian's Chromium, driven by its own flags.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

/// The browser, ready to be asked.
pub struct Browser(PathBuf);

const PLACES: [&str; 2] = ["/usr/bin/chromium", "/usr/bin/chromium-browser"];

/// Finds the browser, installing it where that is possible; `None` only where `HALTMARK_NO_BROWSER` asks to leave it
/// out.
pub fn find() -> Option<Browser> {
    if std::env::var_os("HALTMARK_NO_BROWSER").is_some() {
        return None;
    }
    // Tests of one program run side by side: one of them installs, the others wait.
    static PLACE: OnceLock<Option<PathBuf>> = OnceLock::new();
    let there = || PLACES.iter().map(PathBuf::from).find(|p| p.exists());
    let place = PLACE.get_or_init(|| {
        there().or_else(|| {
            install();
            there()
        })
    });
    match place {
        Some(path) => Some(Browser(path.clone())),
        None => panic!(
            "Chromium is missing and could not be installed; set HALTMARK_NO_BROWSER=1 to leave browser tests out"
        ),
    }
}

/// Installs the browser, and says so before.
fn install() {
    // Not `eprintln`, which cargo keeps back until a test fails.
    let _ = writeln!(
        std::io::stderr(),
        "Chromium is missing: installing it now with `apt-get install chromium`, for the tests that open pages. \
         HALTMARK_NO_BROWSER=1 cargo test leaves them out."
    );
    for arguments in [
        &["update", "-qq"][..],
        &["install", "-y", "-qq", "chromium"][..],
    ] {
        let _ = Command::new("apt-get")
            .args(arguments)
            .env("DEBIAN_FRONTEND", "noninteractive")
            .stdout(Stdio::null())
            .status();
    }
}

impl Browser {
    /// Where the program is.
    pub fn path(&self) -> &Path {
        &self.0
    }

    fn run(&self, more: &[&str]) -> Vec<u8> {
        let profile = tempfile::tempdir().expect("a fresh folder");
        let output = Command::new(&self.0)
            .args([
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--no-first-run",
                "--disable-background-networking",
            ])
            .args([
                "--disable-component-update",
                "--disable-sync",
                "--virtual-time-budget=3000",
            ])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .args(more)
            .output()
            .expect("the browser can be started");
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        output.stdout
    }

    /// The document after its scripts have run.
    pub fn dump(&self, page: &Path) -> String {
        String::from_utf8_lossy(&self.run(&["--dump-dom", &format!("file://{}", page.display())]))
            .into_owned()
    }
}
