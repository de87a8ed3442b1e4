//! Writes the logs that are measured: `cargo run --release --example archive -- FOLDER [season] [club] [league]`.

mod logs;

use std::path::Path;

fn main() -> std::io::Result<()> {
    let mut words = std::env::args().skip(1);
    let Some(folder) = words.next() else {
        eprintln!(
            "expected a folder, and which of season, club and league (all where none is named)"
        );
        std::process::exit(2);
    };
    let wanted: Vec<String> = words.collect();
    for size in logs::Size::ALL {
        if wanted.is_empty() || wanted.iter().any(|word| word == size.name()) {
            logs::write(
                size,
                &Path::new(&folder).join(format!("{}.csv", size.name())),
            )?;
        }
    }
    Ok(())
}
