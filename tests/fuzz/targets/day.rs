#![no_main]

use haltmark_fuzz::Thorough::Seldom;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    haltmark_fuzz::day::is_answered(bytes, Seldom);
});
