//! The jobs inside the program. Their files are in `jobs/`; they are read like
//! anybody's own.

use std::sync::LazyLock;

use super::Job;
use super::load;

/// A built-in job.
#[derive(Clone, Debug)]
pub struct BuiltIn {
    /// Its id.
    pub id: &'static str,
    /// Its title.
    pub title: String,
    /// Hash of its file.
    pub hash: String,
    /// Its file.
    pub text: &'static str,
}

const FILES: [(&str, &str); 3] = [
    (
        "centre-potentiometer",
        include_str!("../../jobs/centre-potentiometer.toml"),
    ),
    ("set-ends", include_str!("../../jobs/set-ends.toml")),
    ("meter-check", include_str!("../../jobs/meter-check.toml")),
];

static ALL: LazyLock<Vec<BuiltIn>> = LazyLock::new(|| {
    FILES
        .iter()
        .map(|(id, text)| {
            let Job { title, hash, .. } = load::parse(text, &format!("{id}.toml"))
                .expect("the built-in jobs are part of the program and are tested");
            BuiltIn {
                id,
                title,
                hash,
                text,
            }
        })
        .collect()
});

/// All built-in jobs.
#[must_use]
pub fn all() -> &'static [BuiltIn] {
    &ALL
}

/// The built-in job with this id.
#[must_use]
pub fn find(id: &str) -> Option<&'static BuiltIn> {
    all().iter().find(|job| job.id == id)
}

/// Text of a built-in job, without reading the others.
#[must_use]
pub fn text(id: &str) -> Option<&'static str> {
    FILES
        .iter()
        .find(|(name, _)| *name == id)
        .map(|(_, text)| *text)
}
