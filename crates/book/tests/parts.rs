//! Parts of a station and how two of them differ, on the demo's stations.

use slantpath_book::parts::{Fact, PartsList, What};
use slantpath_input::Source;
use slantpath_station::{StationFile, read_station};
use std::path::Path;
use std::sync::Arc;

fn demo(edit: impl Fn(String) -> String) -> StationFile {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
    let text = edit(std::fs::read_to_string(folder.join("qq0aaa.toml")).unwrap());
    let mut fetch = |name: &str| -> Result<Arc<Source>, String> {
        std::fs::read_to_string(folder.join(name))
            .map(|t| Source::new(name, t))
            .map_err(|e| e.to_string())
    };
    let (file, problems) = read_station(&Source::new("qq0aaa.toml", text), &mut fetch);
    file.unwrap_or_else(|| panic!("{problems:?}"))
}

#[test]
fn nothing_changed_is_nothing() {
    let f = demo(|t| t);
    let a = PartsList::of(&f.base);
    assert!(a.changes_to(&PartsList::of(&f.base)).is_empty());
    // Through its written form too.
    let back: PartsList = serde_json::from_str(&serde_json::to_string(&a).unwrap()).unwrap();
    assert!(back.changes_to(&a).is_empty());
    assert!(a.parts.iter().all(|p| !p.facts.is_empty()), "{a:?}");
}

#[test]
fn a_swapped_feed_is_the_only_change() {
    let f = demo(|t| t);
    let new = f
        .variants
        .iter()
        .find(|v| v.variant.as_deref() == Some("new-feed"))
        .unwrap();
    let changes = PartsList::of(&f.base).changes_to(&PartsList::of(new));
    assert_eq!(changes.len(), 1, "{changes:#?}");
    assert_eq!(
        (changes[0].key.as_str(), changes[0].what),
        ("feed", What::Changed)
    );
    let shadow = changes[0]
        .facts
        .iter()
        .find(|x| x.name == "receive.shadow")
        .unwrap();
    let value = |f: &Option<Fact>| match f {
        Some(Fact::Figure { value, .. }) => *value,
        _ => panic!(),
    };
    assert_eq!((value(&shadow.before), value(&shadow.after)), (1.7, 0.3));
    assert!(
        changes[0].sentence().contains("receive.shadow 1.7"),
        "{}",
        changes[0].sentence()
    );
}

#[test]
fn exact_facts_and_parts_count_too() {
    let a = PartsList::of(&demo(|t| t).base);
    let change = |from: &str, to: &str| {
        let b = demo(|t| {
            assert!(t.contains(from), "{from}");
            t.replacen(from, to, 1)
        });
        a.changes_to(&PartsList::of(&b.base))
    };
    let c = change("dc_ports = [1]", "dc_ports = [1, 2]");
    assert_eq!((c.len(), c[0].key.as_str()), (1, "rx.splitter"));
    assert_eq!(c[0].facts[0].name, "dc_ports");
    let c = change("lo = \"9.75 GHz\"", "lo = \"9.70 GHz\"");
    assert_eq!((c.len(), c[0].facts[0].name.as_str()), (1, "lo"));
    let c = change("length = \"22 m ± 0.5\"", "length = \"18 m ± 0.5\"");
    assert_eq!((c.len(), c[0].key.as_str()), (1, "rx.cable-down"));
    let c = change("from = \"splitter.2\"", "from = \"splitter.4\"");
    assert_eq!((c.len(), c[0].key.as_str()), (1, "rx.tv"), "{c:#?}");
    assert_eq!(c[0].facts[0].name, "fed_by");
}
