//! Will it last till dawn? The command line.
fn main() {}
