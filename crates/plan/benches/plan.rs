//! How long planning takes.

fn main() {
    divan::main();
}
