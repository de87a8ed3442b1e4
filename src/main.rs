//! Arguments in, exit status out; everything else is in the library.

fn main() {}
