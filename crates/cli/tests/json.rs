//! Every verb's JSON is one document that follows its schema in `docs/schema`, also when it fails.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn demo(name: &str) -> String {
    root().join("demo").join(name).display().to_string()
}

fn schema(name: &str) -> Value {
    let path = root().join(format!("docs/schema/{name}.json"));
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

/// What of JSON Schema (draft 2020-12) the written schemas use, and nothing else: an unknown keyword fails.
fn check(schema: &Value, v: &Value, whole: &Value, at: &str, faults: &mut Vec<String>) {
    let Some(rules) = schema.as_object() else {
        return; // `true`: anything.
    };
    let mut fault = |text: String| faults.push(format!("{at}: {text}"));
    for (key, rule) in rules {
        match key.as_str() {
            "$schema" | "$defs" | "title" | "description" | "format" | "default" => {}
            "const" if rule != v => fault(format!("is {v}, not {rule}")),
            "type" => {
                let names: Vec<&str> = match rule {
                    Value::Array(a) => a.iter().filter_map(Value::as_str).collect(),
                    r => r.as_str().into_iter().collect(),
                };
                let fits = names.iter().any(|n| match *n {
                    "null" => v.is_null(),
                    "boolean" => v.is_boolean(),
                    "number" => v.is_number(),
                    "integer" => v.is_u64() || v.is_i64(),
                    "string" => v.is_string(),
                    "array" => v.is_array(),
                    "object" => v.is_object(),
                    other => panic!("type {other}"),
                });
                if !fits {
                    fault(format!("is {v}, not of type {rule}"));
                }
            }
            "required" => {
                for k in rule.as_array().unwrap() {
                    if v.is_object() && v.get(k.as_str().unwrap()).is_none() {
                        fault(format!("has no {k}"));
                    }
                }
            }
            "minItems"
                if v.as_array()
                    .is_some_and(|a| a.len() < rule.as_u64().unwrap() as usize) =>
            {
                fault("too few items".into());
            }
            "maxItems"
                if v.as_array()
                    .is_some_and(|a| a.len() > rule.as_u64().unwrap() as usize) =>
            {
                fault("too many items".into());
            }
            "minimum" if v.as_f64().is_some_and(|x| x < rule.as_f64().unwrap()) => {
                fault("too small".into());
            }
            "maximum" if v.as_f64().is_some_and(|x| x > rule.as_f64().unwrap()) => {
                fault("too large".into());
            }
            "const" | "minItems" | "maxItems" | "minimum" | "maximum" => {}
            "properties" | "items" | "additionalProperties" | "anyOf" | "$ref" => {}
            other => panic!("the schema uses `{other}`, which this test does not know"),
        }
    }
    if let Some(r) = rules.get("$ref") {
        let name = r.as_str().unwrap().strip_prefix("#/$defs/");
        let part = match name {
            Some(n) => &whole["$defs"][n],
            None => whole, // "#"
        };
        check(part, v, whole, at, faults);
    }
    if let Some(Value::Array(choices)) = rules.get("anyOf") {
        let fits = choices.iter().any(|c| {
            let mut inner = Vec::new();
            check(c, v, whole, at, &mut inner);
            inner.is_empty()
        });
        if !fits {
            faults.push(format!("{at}: {v} fits none of the choices"));
        }
    }
    if let (Some(items), Some(list)) = (rules.get("items"), v.as_array()) {
        for (i, x) in list.iter().enumerate() {
            check(items, x, whole, &format!("{at}[{i}]"), faults);
        }
    }
    if let Some(o) = v.as_object() {
        let known = rules.get("properties").and_then(Value::as_object);
        for (k, x) in o {
            match known
                .and_then(|p| p.get(k))
                .or(rules.get("additionalProperties"))
            {
                Some(s) => check(s, x, whole, &format!("{at}.{k}"), faults),
                None if known.is_some() => faults.push(format!("{at}: {k} is not in the schema")),
                None => {}
            }
        }
    }
}

/// Beyond the schema: what is null says why, keys are snake_case.
fn manners(v: &Value, at: &str, faults: &mut Vec<String>) {
    match v {
        Value::Object(o) => {
            let snake = |k: &str| {
                k.chars()
                    .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
            };
            for (k, x) in o {
                if !snake(k) {
                    faults.push(format!("{at}: key {k}"));
                }
                manners(x, &format!("{at}.{k}"), faults);
            }
            let valued = o.contains_key("value") && o.contains_key("unit");
            let reason = o
                .get("reason")
                .and_then(serde_json::Value::as_str)
                .unwrap_or_default();
            if valued && o["value"].is_null() && reason.is_empty() {
                faults.push(format!("{at}: null without a reason"));
            }
        }
        Value::Array(a) => {
            for (i, x) in a.iter().enumerate() {
                manners(x, &format!("{at}[{i}]"), faults);
            }
        }
        _ => {}
    }
}

/// Runs a verb with `--json`; its exit code and document, held against the schema of that name.
fn document(code: i32, name: &str, args: &[&str]) -> Value {
    let o = Command::new(env!("CARGO_BIN_EXE_slantpath"))
        .arg("--json")
        .args(args)
        .output()
        .unwrap();
    let text = String::from_utf8(o.stdout).unwrap();
    assert_eq!(o.status.code(), Some(code), "{args:?}: {text}");
    let doc: Value =
        serde_json::from_str(&text).unwrap_or_else(|e| panic!("{args:?}: {e}: {text}"));
    let schema = schema(name);
    let mut faults = Vec::new();
    check(&schema, &doc, &schema, name, &mut faults);
    manners(&doc, name, &mut faults);
    assert!(faults.is_empty(), "{args:?}: {faults:#?}");
    doc
}

#[test]
fn every_verb_writes_what_its_schema_says() {
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str| dir.path().join(name).display().to_string();
    let (station, wide) = (demo("qq0aaa.toml"), demo("recordings/wide-old.sigmf-meta"));
    document(0, "new", &["new", &path("s.toml")]);
    document(
        0,
        "survey",
        &["survey", &station, "--at", "2026-03-01T12:00:00Z"],
    );
    let both = document(
        0,
        "predict",
        &["predict", &station, "--all-variants", "--draws", "2000"],
    );
    assert_eq!(both["sections"][0]["key"], "side_by_side");
    assert_eq!(both["further"].as_array().unwrap().len(), 1);
    document(0, "measure", &["measure", &station, &wide]);
    document(
        0,
        "compare",
        &[
            "compare",
            &station,
            "--a",
            &demo("recordings/day-old.sigmf-meta"),
            "--b",
            &demo("recordings/day-new.sigmf-meta"),
        ],
    );
    document(
        0,
        "verdict",
        &["verdict", &station, &wide, "--draws", "2000"],
    );
    document(
        0,
        "report",
        &[
            "report",
            &station,
            &wide,
            "--draws",
            "2000",
            "--out",
            &path("r.html"),
        ],
    );
    let (camp, log) = (demo("qq7bbb.toml"), demo("logs/qq7bbb-afternoon.csv"));
    document(
        0,
        "drive",
        &["drive", &camp, "--draws", "2000", "--log", &log],
    );
    for what in ["frequencies", "trial"] {
        document(0, "plan", &["plan", what, &station]);
    }
    document(0, "routes", &["routes", &station, &wide]);
    document(
        0,
        "diagnose",
        &["diagnose", &station, "--seen", "wet=3+-0.2"],
    );
    document(0, "demo", &["demo", "--into", &path("demo")]);
}

#[test]
fn errors_are_documents_too() {
    let station = demo("qq0aaa.toml");
    for args in [
        &["nonsense"][..],
        &["predict"],
        &["predict", "no-such.toml"],
        &["predict", &station, "--variant", "no-such"],
        &["measure", &station, "no-such.sigmf-meta"],
    ] {
        let doc = document(2, "error", args);
        assert_eq!(doc["exit_code"], 2, "{args:?}");
    }
}
