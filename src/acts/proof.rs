//! `key`, `sign`, `verify`: who stands for a run, and what was changed since.

use std::fs;
use std::path::Path;

use super::{DONE, Failure, NOT_DONE, record};
use crate::args::{KeyArgs, KeyFile, SignArgs, VerifyArgs};
use crate::edge::runs::{self, RunFolder};
use crate::edge::signing_key::{self, KeyError};
use crate::edge::{clock, tell};
use crate::journal;
use crate::proof::{self, Statement};
use crate::report::{SignatureLine, Sound};
use crate::storage::ReadOnlyFile;

fn open(run: &str, given: Option<&Path>) -> Result<RunFolder, Failure> {
    let runs = runs::runs_folder(given).map_err(Failure::wrong)?;
    RunFolder::open(&runs, run).map_err(Failure::wrong)
}

/// What is wrong with a journal and its clips, each in a sentence, and how many clips it names.
fn faults(folder: &RunFolder) -> Result<(Vec<String>, usize), Failure> {
    let file = ReadOnlyFile::open(&folder.journal()).map_err(Failure::wrong)?;
    let mut faults: Vec<String> = journal::verify(&file, None)
        .map_err(Failure::wrong)?
        .iter()
        .map(ToString::to_string)
        .collect();
    let read = record::read(folder)?;
    let mut clips = 0;
    for entry in &read.entries {
        let Some(clip) = entry.record.body.clip() else {
            continue;
        };
        clips += 1;
        match folder.sound(clip) {
            Sound::Whole(_) => {}
            Sound::Changed => faults.push(format!(
                "clip {} was changed: its hash is not the one in record {}",
                clip.file, entry.seq.0
            )),
            Sound::Missing(error) => faults.push(format!(
                "clip {} of record {} cannot be read: {error}. Put it back from a copy of the run",
                clip.file, entry.seq.0
            )),
        }
    }
    Ok((faults, clips))
}

/// Checks a journal, its clips, and what was signed.
///
/// # Errors
/// If there is no such run, or the list of signers cannot be read.
pub fn verify(args: &VerifyArgs) -> Result<u8, Failure> {
    let folder = open(&args.run, args.folder.runs.as_deref())?;
    let list = args
        .signers
        .as_deref()
        .map(|path| {
            fs::read_to_string(path).map_err(|error| {
                Failure::wrong(format!(
                    "cannot read the list of signers {}: {error}. Check the name",
                    path.display()
                ))
            })
        })
        .transpose()?;
    let (faults, clips) = faults(&folder)?;
    let mut whole = faults.is_empty();
    let mut text = if whole {
        let read = record::read(&folder)?;
        format!(
            "{} records and {clips} clips are as they were written. Hash of the last record: {}\nA hash shows changes; it is no signature.\n",
            read.entries.len(),
            read.chain_hash
        )
    } else {
        faults.join("\n") + "\n"
    };
    let signatures = folder.signatures().map_err(Failure::wrong)?;
    if signatures.is_empty() {
        text += "Nobody has signed it.\n";
    }
    for (statement, signature) in &signatures {
        let name = statement
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default();
        let (good, words) = signed(&folder, statement, signature, list.as_deref());
        whole &= good;
        text += &format!("Signature {name}: {words}\n");
    }
    super::print(&text)?;
    Ok(if whole { DONE } else { NOT_DONE })
}

/// The signatures beside a run, for its record. Without a list of signers: whose key one is, a page
/// that anybody can make again cannot say.
pub(super) fn signatures(folder: &RunFolder) -> Vec<SignatureLine> {
    // A folder that cannot be read is told by `verify`; a record does not fail for it.
    let found = folder.signatures().unwrap_or_default();
    found
        .iter()
        .map(|(statement, signature)| {
            let (good, words) = signed(folder, statement, signature, None);
            SignatureLine {
                file: statement
                    .file_name()
                    .map(|name| name.to_string_lossy().into_owned())
                    .unwrap_or_default(),
                good,
                words,
            }
        })
        .collect()
}

/// Whether a signature and what it is for are whole, and what it says, in words.
fn signed(
    folder: &RunFolder,
    statement: &Path,
    signature: &Path,
    list: Option<&str>,
) -> (bool, String) {
    let read = |path: &Path| {
        fs::read_to_string(path)
            .map_err(|error| format!("NOT GOOD: {} cannot be read: {error}", path.display()))
    };
    let (text, signature) = match (read(statement), read(signature)) {
        (Ok(text), Ok(signature)) => (text, signature),
        (Err(why), _) | (_, Err(why)) => return (false, why),
    };
    let key = match proof::signed_by(&text, &signature) {
        Ok(key) => key,
        Err(fault) => return (false, format!("NOT GOOD: {fault}")),
    };
    let told = match Statement::parse(&text) {
        Ok(told) => told,
        Err(fault) => return (false, format!("NOT GOOD: {fault}")),
    };
    let print = proof::fingerprint(&key);
    let who = match (list, list.and_then(|list| proof::name_on_list(list, &key))) {
        (_, Some(name)) => format!("the key of {name}, by your list of signers ({print})"),
        (Some(_), None) => format!(
            "a key that is NOT on your list of signers ({print}); it calls itself \u{201C}{}\u{201D}",
            told.by
        ),
        (None, None) => format!(
            "the key {print}, which calls itself \u{201C}{}\u{201D}. Whose key that is, the signature does not prove: compare with what they gave you, or name a list with --signers",
            told.by
        ),
    };
    let known = list.is_none()
        || list
            .and_then(|list| proof::name_on_list(list, &key))
            .is_some();
    let changes = proof::changes(&told, folder);
    let since = if changes.is_empty() {
        "Nothing was changed since.".to_owned()
    } else {
        format!("Changed since: {}.", changes.join("; "))
    };
    (
        changes.is_empty() && known,
        format!(
            "made with {who}. Signed at {} by the clock of that machine: {} {}, {}, {} records, {} files. {since}",
            told.at,
            told.tag,
            told.run,
            told.state,
            told.records,
            told.files.len()
        ),
    )
}

/// Makes a key.
///
/// # Errors
/// If there is one already, no passphrase can be had, or it cannot be written.
pub fn key(args: &KeyArgs) -> Result<u8, Failure> {
    let path = signing_key::path(args.file.key.as_deref()).map_err(Failure::wrong)?;
    let by = args.by.trim();
    if by.is_empty() || by.chars().any(|c| c.is_control() || c == '"') {
        return Err(Failure::wrong(
            "--by needs a name, on one line and without quotes: it stands in everything that the key signs",
        ));
    }
    let passphrase = match (&args.file.passphrase_file, args.no_passphrase) {
        (Some(file), _) => Some(signing_key::from_file(file).map_err(Failure::wrong)?),
        (None, true) => None,
        (None, false) => Some(signing_key::ask_twice().map_err(Failure::wrong)?),
    };
    let key = signing_key::make(&path, by, passphrase.as_deref()).map_err(of_key)?;
    let line = key
        .public_key()
        .to_openssh()
        .map_err(|error| Failure::not_saved(error.to_string()))?;
    // In a list of signers the name comes first, and the comment is left out.
    let line = line.split(' ').take(2).collect::<Vec<_>>().join(" ");
    super::print(&format!(
        "Private key: {} (yours alone; keep a copy in a safe place, it cannot be made again)\nPublic key: {}\nFingerprint: {}\nFor a list of signers: \"{by}\" {line}\n",
        path.display(),
        signing_key::public_path(&path).display(),
        proof::fingerprint(key.public_key()),
    ))?;
    Ok(DONE)
}

fn of_key(error: KeyError) -> Failure {
    match error {
        KeyError::Io { .. } | KeyError::NotMade(_) => Failure::not_saved(error),
        _ => Failure::wrong(error),
    }
}

fn read_key(file: &KeyFile) -> Result<ssh_key::PrivateKey, Failure> {
    let path = signing_key::path(file.key.as_deref()).map_err(Failure::wrong)?;
    signing_key::read(&path, || match &file.passphrase_file {
        Some(file) => signing_key::from_file(file),
        None => signing_key::ask(&format!("Passphrase of {}: ", path.display())),
    })
    .map_err(Failure::wrong)
}

/// Signs a run.
///
/// # Errors
/// If the run is damaged, the key cannot be used, or the signature cannot be written.
pub fn sign(args: &SignArgs) -> Result<u8, Failure> {
    let folder = open(&args.run, args.folder.runs.as_deref())?;
    let (faults, _) = faults(&folder)?;
    if !faults.is_empty() {
        return Err(Failure {
            code: NOT_DONE,
            text: format!(
                "not signed, because the run is not whole:\n{}",
                faults.join("\n")
            ),
        });
    }
    let key = read_key(&args.file)?;
    let report = record::build(&folder)?;
    let journal = fs::metadata(folder.journal()).map_err(|error| {
        Failure::wrong(format!(
            "cannot look at {}: {error}",
            folder.journal().display()
        ))
    })?;
    let statement = Statement {
        run: folder.name(),
        tag: report
            .head
            .tag
            .clone()
            .unwrap_or_else(|| "no tag".to_owned()),
        state: report.head.state.words().to_owned(),
        records: u64::try_from(report.head.records).unwrap_or(u64::MAX),
        journal_bytes: journal.len(),
        last_line: report.head.journal_hash.clone(),
        by: key.comment().to_owned(),
        at: crate::report::utc(clock::wall()),
        program: concat!("sayback ", env!("CARGO_PKG_VERSION")).to_owned(),
        files: proof::hashes(&folder),
    };
    let text = statement.text();
    let signature = proof::sign(&key, &text).map_err(|error| {
        Failure::wrong(format!(
            "this key cannot sign here: {error}. Use one made by `sayback key`"
        ))
    })?;
    // What cannot be read back as it was meant would prove nothing: better told now.
    let as_meant = Statement::parse(&text).is_ok_and(|read| read.files == statement.files);
    if !as_meant {
        return Err(Failure::not_saved(
            "not signed: a file in the folder of the run has a name that a statement cannot hold (letters, digits, dot, dash and underscore only). Take it out of the folder",
        ));
    }
    let path = folder
        .keep_signature(&text, &signature)
        .map_err(Failure::not_saved)?;
    super::print(&format!(
        "{} {}, {}: {} records and {} files signed by {} with the key {}\n{}\n",
        statement.tag,
        statement.run,
        statement.state,
        statement.records,
        statement.files.len(),
        statement.by,
        proof::fingerprint(key.public_key()),
        path.display()
    ))?;
    // The record names who signed; that it cannot be written takes nothing from the signature.
    if let Err(failure) = record::write_pages(&folder) {
        tell(&format!(
            "it is signed, and its record could not be made again: {}",
            failure.text
        ));
    }
    Ok(DONE)
}
