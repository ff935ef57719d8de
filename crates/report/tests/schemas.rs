//! The schemas in `docs/schema` are those of the types. `cargo xtask schemas` writes them anew.

use slantpath_report::json::schemas;
use std::path::Path;

#[test]
fn written_schemas_are_those_of_the_types() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/schema");
    let write = std::env::var_os("SLANTPATH_WRITE_SCHEMAS").is_some();
    let mut names = Vec::new();
    for (name, text) in schemas().unwrap() {
        let path = folder.join(format!("{name}.json"));
        if write {
            std::fs::create_dir_all(&folder).unwrap();
            std::fs::write(&path, &text).unwrap();
        }
        let there = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(
            there == text,
            "docs/schema/{name}.json is not what the types say: run `cargo xtask schemas`"
        );
        names.push(format!("{name}.json"));
    }
    for entry in std::fs::read_dir(&folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(
            names.contains(&name),
            "docs/schema/{name} belongs to no verb"
        );
    }
}
