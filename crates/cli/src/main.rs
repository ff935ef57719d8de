//! Door: the command line, one file per verb.
fn main() {}
