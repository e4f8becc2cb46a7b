//! The JSON Schema of the record as data, made from the types that are written.

use schemars::generate::SchemaSettings;

use super::json::FORMAT_ADDRESS;
use super::types::Report;

/// JSON Schema (draft 2020-12) of what [`super::json`] writes, indented, with a line end.
#[must_use]
pub fn schema() -> String {
    let mut schema = SchemaSettings::draft2020_12()
        .for_serialize()
        .into_generator()
        .into_root_schema_for::<Report>();
    schema.insert("$id".to_owned(), FORMAT_ADDRESS.into());
    schema.insert("title".to_owned(), "Sayback job record".into());
    format!("{:#}\n", schema.as_value())
}
