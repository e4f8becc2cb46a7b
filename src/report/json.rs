//! The record as JSON: the shape of [`Report`], in the order of its fields.
//!
//! Numbers that were said, typed or calculated are strings; counts and
//! sequence numbers are numbers. `format` is the version of the shape.

use serde_json::Value;

use super::plain::plain;
use super::types::Report;

/// Name of the shape; no address that could be fetched.
pub(super) const FORMAT_ADDRESS: &str = "urn:sayback:record:1";

/// The record as indented JSON that ends with a line end.
///
/// # Panics
/// Never: plain data with text keys can always be written.
#[must_use]
pub fn json(report: &Report) -> String {
    let value = serde_json::to_value(report)
        .expect("plain data with text keys can always be written as JSON");
    format!("{:#}\n", made_plain(value))
}

fn made_plain(value: Value) -> Value {
    match value {
        Value::String(text) => Value::String(plain(&text)),
        Value::Array(items) => Value::Array(items.into_iter().map(made_plain).collect()),
        Value::Object(fields) => Value::Object(
            fields
                .into_iter()
                .map(|(name, value)| (name, made_plain(value)))
                .collect(),
        ),
        other => other,
    }
}
