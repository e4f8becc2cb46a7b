//! Links `libvosk` from `VOSK_LIB_DIR`, or from `./libvosk`, and lists the built-in models with their
//! hashes, when the ear is built in.
use std::path::{Path, PathBuf};
use std::{env, fs, io};

#[path = "src/edge/ear/model_hash.rs"]
mod model_hash;

/// The folder with the models that are built in.
const MODELS: &str = "model/english";

fn main() {
    println!("cargo::rerun-if-env-changed=VOSK_LIB_DIR");
    println!("cargo::rerun-if-changed=build.rs");
    if env::var_os("CARGO_FEATURE_VOICE").is_none() {
        return;
    }
    let manifest = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    if let Err(fault) = list_models(&manifest.join(MODELS)) {
        println!("cargo::error={MODELS}: {fault}. Check the folder out again.");
        return;
    }
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

/// Writes the list of the files of the built-in models, and their hashes, where `model.rs` includes
/// it. Hashed here so that the running program need not read what is built into it.
fn list_models(models: &Path) -> io::Result<()> {
    println!("cargo::rerun-if-changed={}", models.display());
    println!("cargo::rerun-if-changed=src/edge/ear/model_hash.rs");
    let mut names = Vec::new();
    files_below(models, "", &mut names)?;
    names.sort();
    let contents = names
        .iter()
        .map(|name| fs::read(models.join(name)))
        .collect::<io::Result<Vec<_>>>()?;
    let named = names
        .iter()
        .map(String::as_str)
        .zip(contents.iter().map(Vec::as_slice));
    let networks: Vec<&[u8]> = named
        .clone()
        .filter(|(name, _)| name.ends_with(model_hash::NETWORK))
        .map(|(_, bytes)| bytes)
        .collect();
    let mut list = format!(
        "const BUILT_IN_HASH: &str = {:?};\nconst BUILT_IN_WEIGHTS: &str = {:?};\nconst BUILT_IN: &[(&str, &[u8])] = &[\n",
        model_hash::of_models(named),
        model_hash::of_networks(&networks),
    );
    for name in &names {
        list += &format!(
            "    ({name:?}, include_bytes!({:?})),\n",
            models.join(name).to_string_lossy()
        );
    }
    list += "];\n";
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default());
    fs::write(out.join("built_in_models.rs"), list)
}

fn files_below(folder: &Path, prefix: &str, names: &mut Vec<String>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = format!("{prefix}{}", entry.file_name().to_string_lossy());
        if entry.file_type()?.is_dir() {
            files_below(&entry.path(), &format!("{name}/"), names)?;
        } else {
            names.push(name);
        }
    }
    Ok(())
}
