//! Debian's Chromium, driven by its own flags.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The browser, ready to be asked.
pub struct Browser(PathBuf);

const PLACES: [&str; 2] = ["/usr/bin/chromium", "/usr/bin/chromium-browser"];

/// Finds the browser, installing it where that is possible; `None` only where `HALTMARK_NO_BROWSER` asks to leave it
/// out.
pub fn find() -> Option<Browser> {
    if std::env::var_os("HALTMARK_NO_BROWSER").is_some() {
        return None;
    }
    let there = || PLACES.iter().map(PathBuf::from).find(|p| p.exists());
    if there().is_none() {
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
    match there() {
        Some(path) => Some(Browser(path)),
        None => panic!(
            "Chromium is missing and could not be installed; set HALTMARK_NO_BROWSER=1 to leave browser tests out"
        ),
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
