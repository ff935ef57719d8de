//! The schemas of all documents, from the types.

use super::{Document, ErrorJson, SheetJson};
use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::{Value, json};

/// Verbs that answer with a sheet: each has a schema `slantpath.<verb>`.
pub const VERBS: &[&str] = &[
    "new", "survey", "predict", "measure", "compare", "verdict", "report", "again", "demo",
    "sheet", "contact", "book", "drive", "design", "plan", "routes", "diagnose", "watch",
];

/// Version of every schema here.
pub const VERSION: u32 = 1;

fn schema<T: JsonSchema>(name: &str) -> Value {
    // As written: a field that may be null is there all the same.
    let mut v = SchemaSettings::draft2020_12()
        .for_serialize()
        .into_generator()
        .into_root_schema_for::<Document<T>>()
        .to_value();
    if let Some(o) = v.as_object_mut() {
        o.insert("title".into(), json!(format!("slantpath.{name}")));
        if let Some(p) = o.get_mut("properties").and_then(Value::as_object_mut) {
            let described = |p: &serde_json::Map<String, Value>, key: &str| {
                p.get(key).and_then(|x| x.get("description")).cloned()
            };
            let (name_text, version_text) = (described(p, "schema"), described(p, "version"));
            p.insert(
                "schema".into(),
                json!({"const": format!("slantpath.{name}"), "description": name_text}),
            );
            p.insert(
                "version".into(),
                json!({"const": VERSION, "description": version_text}),
            );
        }
    }
    v
}

/// Name and JSON Schema text of every document that the program writes, errors included.
///
/// # Errors
/// Never in practice; a schema that cannot be written.
pub fn schemas() -> Result<Vec<(String, String)>, serde_json::Error> {
    let text = |v: &Value| serde_json::to_string_pretty(v).map(|s| s + "\n");
    let mut out = vec![("error".to_string(), text(&schema::<ErrorJson>("error"))?)];
    for verb in VERBS {
        out.push(((*verb).to_string(), text(&schema::<SheetJson>(verb))?));
    }
    Ok(out)
}
