//! What the csv crate alone takes to stream a log into the sums of each session, in one thread: the floor that reading
//! and fitting an archive are measured against. `cargo run --release --example csv_alone -- LOG`.

mod session_sums;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("expected a log")?;
    let sums = session_sums::stream(std::path::Path::new(&path))?;
    let runs: f64 = sums.values().map(|sums| sums.runs).sum();
    println!("{runs} runs in {} sessions", sums.len());
    Ok(())
}
