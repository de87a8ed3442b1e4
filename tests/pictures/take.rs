//! The pictures of the README, made again from the example: `cargo run --example pictures`, after the README's first command.

#[path = "../common/browser.rs"]
#[allow(dead_code, reason = "the tests use the rest of it")]
mod browser;
#[path = "../common/devtools.rs"]
#[allow(dead_code, reason = "the tests use the rest of it")]
mod devtools;

use std::path::Path;

use serde_json::json;

/// A picture that is looked at, not read, is small: more bytes than this are a mistake.
const BYTES_MAX: usize = 150_000;

fn main() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut page = devtools::Page::start().expect("the pictures are Chromium's");

    page.call("Emulation.setScrollbarsHidden", json!({"hidden": true}));
    window(&mut page, (960, 720), false);
    page.open(&here.join("reports/bramble/report.html"));
    keep(&mut page, &here.join("reports/pictures/report.png"));

    window(&mut page, (390, 800), true);
    page.open(&here.join("reports/bramble/card.html"));
    page.value("document.querySelector('#choices').open = false");
    page.type_into("document.querySelector('[name=target_m]')", "7.55");
    page.tap("document.querySelector('[data-add-run]')");
    let run = |name: &str| format!("document.querySelector('[data-run] [name={name}]')");
    page.type_into(&run("long_cm"), "14");
    page.type_into(&run("right_cm"), "6");
    page.value("scrollTo(0, 0)");
    keep(&mut page, &here.join("reports/pictures/card.png"));
}

fn window(page: &mut devtools::Page, (width, height): (u32, u32), mobile: bool) {
    let metrics =
        json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": mobile});
    page.call("Emulation.setDeviceMetricsOverride", metrics);
}

fn keep(page: &mut devtools::Page, path: &Path) {
    let picture = page.bytes("Page.captureScreenshot", json!({"format": "png"}));
    let bytes = picture.len();
    assert!(bytes <= BYTES_MAX, "{} has {bytes} bytes", path.display());
    std::fs::create_dir_all(path.parent().expect("a folder")).expect("it can be made");
    std::fs::write(path, picture).expect("it can be written");
    println!("{} {bytes} bytes", path.display());
}
