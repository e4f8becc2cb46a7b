//! What a technician signs, and what became of it: a statement about one run,
//! and the comparison of that statement with the run as it is now.
//!
//! Pure: no file, no clock. The statement is a text that other tools read too:
//! its lines are those of `sha256sum --check`, and the signature over it is one
//! of SSH (OpenSSH `PROTOCOL.sshsig`), so `ssh-keygen -Y verify` checks it
//! without Sayback. A hash or a check sum is no signature and is not called one.

mod statement;

pub use self::statement::{Statement, StatementFault};

use std::collections::BTreeMap;
use std::fmt::Write;

use ssh_key::{Fingerprint, HashAlg, PrivateKey, PublicKey, SshSig};

/// What the signature is for (`namespace` in `PROTOCOL.sshsig`), so that one made for something
/// else is not taken for it.
pub const NAMESPACE: &str = "sayback-run";

/// Name of the journal's file in the folder of a run.
pub const JOURNAL: &str = "journal.txt";

/// SHA-256 of some bytes, in hex.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    HashAlg::Sha256
        .digest(bytes)
        .iter()
        .fold(String::new(), |mut hex, byte| {
            // Writing to a text cannot fail.
            let _ = write!(hex, "{byte:02x}");
            hex
        })
}

/// Signs a text, as a file that `ssh-keygen -Y verify` reads.
///
/// # Errors
/// If the key is locked with a passphrase, or is of a kind that cannot sign here.
pub fn sign(key: &PrivateKey, text: &str) -> Result<String, ssh_key::Error> {
    let signature = key.sign(NAMESPACE, HashAlg::Sha512, text.as_bytes())?;
    signature.to_pem(ssh_key::LineEnding::LF)
}

/// Why a signature proves nothing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SignatureFault {
    /// It is no signature of SSH.
    #[error("the signature cannot be read ({0}); get the file again from the one who signed")]
    NotOne(String),
    /// It is one for something else.
    #[error("the signature was made for \u{201C}{0}\u{201D}, not for a run of Sayback")]
    OtherPurpose(String),
    /// The text is not the one that was signed, or the signature was changed.
    #[error(
        "the signature does not fit the statement: the statement or the signature was changed after it was made"
    )]
    DoesNotFit,
}

/// The key that signed this text.
///
/// # Errors
/// If the signature proves nothing about this text.
pub fn signed_by(text: &str, signature: &str) -> Result<PublicKey, SignatureFault> {
    let signature =
        SshSig::from_pem(signature).map_err(|error| SignatureFault::NotOne(error.to_string()))?;
    if signature.namespace() != NAMESPACE {
        return Err(SignatureFault::OtherPurpose(
            signature.namespace().to_owned(),
        ));
    }
    let key = PublicKey::from(signature.public_key().clone());
    key.verify(NAMESPACE, text.as_bytes(), &signature)
        .map_err(|_| SignatureFault::DoesNotFit)?;
    Ok(key)
}

/// A key in the short form that people compare.
#[must_use]
pub fn fingerprint(key: &PublicKey) -> Fingerprint {
    key.fingerprint(HashAlg::Sha256)
}

/// The name under which a list of signers (the `allowed_signers` of ssh-keygen(1)) has this key.
#[must_use]
pub fn name_on_list(list: &str, key: &PublicKey) -> Option<String> {
    list.lines().find_map(|line| {
        let line = line.trim();
        let (name, rest) = match line.strip_prefix('"') {
            Some(quoted) => quoted.split_once('"')?,
            None => line.split_once(char::is_whitespace)?,
        };
        let entry: ssh_key::authorized_keys::Entry = rest.trim().parse().ok()?;
        (entry.public_key().key_data() == key.key_data()).then(|| name.to_owned())
    })
}

/// A run as it is now.
pub trait Found {
    /// The bytes of a file of the run; none if it is not there or cannot be read.
    fn bytes(&self, file: &str) -> Option<Vec<u8>>;

    /// Files of the run that a statement names: the journal, the job file, and every clip in its folder.
    fn files(&self) -> Vec<String>;
}

/// What was changed since a statement was made, each in a sentence; nothing if nothing was.
#[must_use]
pub fn changes(statement: &Statement, now: &impl Found) -> Vec<String> {
    let mut changes: Vec<String> = statement
        .files
        .iter()
        .filter_map(|(file, hash)| match now.bytes(file) {
            None => Some(format!(
                "{file} was signed and is not there now; put it back from a copy of the run"
            )),
            Some(bytes) if sha256(&bytes) == *hash => None,
            Some(bytes) if file == JOURNAL => Some(of_the_journal(statement, &bytes, hash)),
            Some(_) => Some(format!("{file} was changed after it was signed")),
        })
        .collect();
    changes.extend(
        now.files()
            .into_iter()
            .filter(|file| !statement.files.contains_key(file))
            .map(|file| format!("{file} was added after it was signed; nobody has signed it")),
    );
    changes
}

fn of_the_journal(statement: &Statement, now: &[u8], hash: &str) -> String {
    let signed = usize::try_from(statement.journal_bytes).unwrap_or(usize::MAX);
    if let Some(first) = now.get(..signed)
        && sha256(first) == hash
    {
        let more = now[signed..]
            .split(|byte| *byte == b'\n')
            .filter(|line| !line.is_empty())
            .count();
        return format!(
            "{JOURNAL}: {more} records were added after the {} that were signed; those are as they were",
            statement.records
        );
    }
    format!("{JOURNAL} is not the one that was signed: records were changed or removed")
}

/// Every file with its SHA-256, for a new statement.
#[must_use]
pub fn hashes(now: &impl Found) -> BTreeMap<String, String> {
    now.files()
        .into_iter()
        .filter_map(|file| Some((file.clone(), sha256(&now.bytes(&file)?))))
        .collect()
}
