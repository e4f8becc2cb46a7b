//! Links `libvosk` from `VOSK_LIB_DIR`, or from `./libvosk`, when the ear is built in.
use std::{env, path::PathBuf};

fn main() {
    println!("cargo::rerun-if-env-changed=VOSK_LIB_DIR");
    println!("cargo::rerun-if-changed=build.rs");
    if env::var_os("CARGO_FEATURE_VOICE").is_none() {
        return;
    }
    let manifest = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let folder =
        env::var_os("VOSK_LIB_DIR").map_or_else(|| manifest.join("libvosk"), PathBuf::from);
    let library = folder.join("libvosk.so");
    println!("cargo::rerun-if-changed={}", library.display());
    if !library.exists() {
        println!(
            "cargo::error=libvosk.so not found in {}. Run ./setup (it fetches it), or set VOSK_LIB_DIR, or build the keypad-only program with --no-default-features",
            folder.display()
        );
        return;
    }
    println!("cargo::rustc-link-search=native={}", folder.display());
    // Beside the program or in ../lib when it is installed; where it was linked
    // from when it is run from the build folder.
    println!(
        "cargo::rustc-link-arg=-Wl,-rpath,$ORIGIN:$ORIGIN/../lib:{}",
        folder.display()
    );
}
