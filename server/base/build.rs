//! A new migration must be built in, and the compiler does not look into the folder by itself.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=../../migrations");
}
