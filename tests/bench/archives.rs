//! A league's archive of a million runs, a few times: `cargo bench --bench archives` (plain `cargo bench` leaves it out).

#[path = "made.rs"]
#[allow(dead_code, reason = "each bench uses its part of it")]
mod made;

use divan::Bencher;
use made::{Made, Size};

fn main() {
    divan::main();
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn csv_alone(bencher: Bencher) {
    let made = Made::new(Size::League);
    bencher.bench_local(|| made.csv_alone());
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn reading(bencher: Bencher) {
    let made = Made::new(Size::League);
    bencher.bench_local(|| made.read().runs.len());
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn statistics(bencher: Bencher) {
    let made = Made::new(Size::League);
    let season = made.read();
    bencher.bench_local(|| made.fit(&season).rigs.len());
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn fit(bencher: Bencher) {
    let made = Made::new(Size::League);
    bencher.bench_local(|| made.everything());
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn floor(bencher: Bencher) {
    let made = Made::new(Size::League);
    bencher.bench_local(|| made.floor());
}
