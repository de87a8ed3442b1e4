#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| haltmark_fuzz::season::check(bytes));
