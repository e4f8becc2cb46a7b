//! The hashes by which voice models are told apart: in the name of the cache folder, in journals and
//! records, and beside an ear that was fitted to one of them.
//!
//! No state. `build.rs` includes this file as well, so that the program knows the hashes of what is
//! built into it without reading it.

/// The acoustic network of a model, in its folder.
pub const NETWORK: &str = "am/final.mdl";

/// What tells the models of one version of Sayback from those of another: BLAKE3 over names, lengths
/// and contents of these files, the first 16 hexadecimal digits. The order counts.
pub fn of_models<'a>(files: impl Iterator<Item = (&'a str, &'a [u8])>) -> String {
    let mut hasher = blake3::Hasher::new();
    for (name, bytes) in files {
        hasher.update(name.as_bytes());
        hasher.update(&(bytes.len() as u64).to_le_bytes());
        hasher.update(bytes);
    }
    hasher.finalize().to_hex()[..16].to_owned()
}

/// BLAKE3 (hex) over networks, one after the other: anybody can work it out from the files.
#[must_use]
pub fn of_networks<B: AsRef<[u8]>>(networks: &[B]) -> String {
    let mut hasher = blake3::Hasher::new();
    for network in networks {
        hasher.update(network.as_ref());
    }
    hasher.finalize().to_hex().to_string()
}
