//! The migrations are embedded; a new one rebuilds the crate.

fn main() {
    println!("cargo:rerun-if-changed=../../migrations");
}
