//! `design` through the binary: the curve, its page and drawings, and what cannot be.

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_slantpath"))
        .args(args)
        // what an earlier run solved is the same: only faster
        .env("SLANTPATH_CACHE", env!("CARGO_TARGET_TMPDIR"))
        .output()
        .unwrap()
}

fn camp() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../demo/qq7bbb.toml")
        .display()
        .to_string()
}

/// Two dimensions of a short coil, few designs.
const FEW: [&str; 14] = [
    "--diameter",
    "36..46",
    "--wire",
    "1..2",
    "--pitch",
    "28",
    "--turns",
    "2",
    "--stub",
    "5",
    "--front",
    "0",
    "--tries",
    "10",
];

#[test]
fn a_curve_with_page_and_drawings_and_the_same_again() {
    let dir = tempfile::tempdir().unwrap();
    let (page, svg) = (dir.path().join("d.html"), dir.path().join("svg"));
    let (page, svg) = (page.display().to_string(), svg.display().to_string());
    let camp = camp();
    let mut args = vec!["--json", "design", &camp];
    args.extend(FEW);
    args.extend([
        "--rows",
        "3",
        "--axial-ratio",
        "6",
        "--map",
        "--map-size",
        "3",
        "2",
    ]);
    let again = run(&args);
    args.extend(["--out", &page, "--drawings", &svg]);
    let o = run(&args);
    assert!(o.status.success(), "{}", String::from_utf8_lossy(&o.stderr));
    assert_eq!(o.stdout, again.stdout, "the same seed, the same answer");
    let v: Value = serde_json::from_slice(&o.stdout).unwrap();
    assert_eq!(v["schema"], "slantpath.design");
    let section = |key: &str| {
        v["sections"]
            .as_array()
            .unwrap()
            .iter()
            .find(|s| s["key"] == key)
            .unwrap_or_else(|| panic!("{key}"))
            .clone()
    };
    let rows = section("front")["tables"][0]["rows"]
        .as_array()
        .unwrap()
        .clone();
    assert!((1..=3).contains(&rows.len()));
    let of = |r: &Value, k: &str| r[k]["value"].as_f64().unwrap();
    for w in rows.windows(2) {
        assert!(
            of(&w[0], "gain") > of(&w[1], "gain") && of(&w[0], "g_over_t") < of(&w[1], "g_over_t")
        );
    }
    assert!(
        rows.iter()
            .all(|r| of(r, "axial_ratio") <= 6.5 && r["gain"]["u"].as_f64().unwrap() > 0.0)
    );
    let block: Vec<String> = section("station_file")["block"]
        .as_array()
        .unwrap()
        .iter()
        .map(|l| l.as_str().unwrap().to_string())
        .collect();
    let text = block.join("\n");
    // the camp sends LHCP, so that the coil is right-handed
    assert!(
        text.contains("like a common screw") && text.contains("reverses"),
        "{text}"
    );
    assert!(
        text.contains("[feed.coil.coil]") && text.contains("pitch = \"28 mm"),
        "{text}"
    );
    assert_eq!(
        section("errors")["tables"][0]["rows"]
            .as_array()
            .unwrap()
            .len(),
        7
    );
    assert_eq!(
        section("map")["tables"][0]["rows"]
            .as_array()
            .unwrap()
            .len(),
        2
    );
    let html = std::fs::read_to_string(&page).unwrap();
    assert!(html.contains("<pre>") && html.contains("[feed.coil.horn]"));
    for key in [
        "front",
        "wider",
        "shadow_map",
        "feed_section",
        "dish_section",
    ] {
        let f = std::fs::read_to_string(Path::new(&svg).join(format!("{key}.svg"))).unwrap();
        assert!(f.starts_with("<svg"), "{key}");
    }
    // what is there already stays
    assert_eq!(run(&args).status.code(), Some(2));
}

#[test]
fn what_was_pasted_is_read() {
    let camp = camp();
    let mut args = vec!["--json", "design", &camp];
    args.extend(FEW);
    args.extend(["--axial-ratio", "6"]);
    let o = run(&args);
    let v: Value = serde_json::from_slice(&o.stdout).unwrap();
    let sections = v["sections"].as_array().unwrap();
    let block = &sections
        .iter()
        .find(|s| s["key"] == "station_file")
        .unwrap()["block"];
    let lines: Vec<&str> = block
        .as_array()
        .unwrap()
        .iter()
        .map(|l| l.as_str().unwrap())
        .collect();
    let file = std::fs::read_to_string(&camp).unwrap();
    let (head, rest) = file.split_once("[feed.coil.coil]").unwrap();
    let tail = &rest[rest.find("[feed.coil.receive]").unwrap()..];
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().join("station.toml");
    std::fs::write(&at, format!("{head}{}\n\n{tail}", lines.join("\n"))).unwrap();
    let sat = Path::new(&camp).with_file_name("petrel-1.toml");
    std::fs::copy(sat, dir.path().join("petrel-1.toml")).unwrap();
    let p = run(&["survey", &at.display().to_string()]);
    assert!(p.status.success(), "{}", String::from_utf8_lossy(&p.stderr));
}

#[test]
fn what_cannot_be_is_told() {
    let camp = camp();
    let club = camp.replace("qq7bbb", "qq0aaa");
    for (args, code, words) in [
        (vec!["design", &camp, "--diameter", "46..36"], 2, "no range"),
        (vec!["design", &camp, "--wire", "thick"], 2, "no range"),
        (
            vec!["design", &camp, "--map", "diameter,horn"],
            2,
            "two dimensions",
        ),
        (
            vec!["design", &camp, "--map-size", "1", "4"],
            2,
            "size of a map",
        ),
        (vec!["design", &camp, "--axial-ratio", "0"], 2, "no limit"),
        (vec!["design", &club], 2, "receive feed"),
        (
            vec!["design", &camp, "--passband", "none"],
            2,
            "no passband",
        ),
        (
            vec![
                "design",
                &camp,
                "--diameter",
                "12..18",
                "--front",
                "9",
                "--tries",
                "8",
            ],
            3,
            "can be built",
        ),
        (
            vec![
                "design",
                &camp,
                "--diameter",
                "40",
                "--wire",
                "2",
                "--pitch",
                "28",
                "--turns",
                "3",
                "--stub",
                "5",
                "--front",
                "0",
            ],
            3,
            "nothing to search",
        ),
    ] {
        let o = run(&args);
        let text =
            String::from_utf8_lossy(&o.stderr).into_owned() + &String::from_utf8_lossy(&o.stdout);
        assert_eq!(o.status.code(), Some(code), "{args:?}: {text}");
        assert!(text.contains(words), "{args:?}: {text}");
    }
}

#[test]
fn a_patch_ring_from_its_dimensions() {
    let club = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../demo/qq0aaa.toml")
        .display()
        .to_string();
    let patch = |size: [&str; 3], rest: &[&str]| {
        let mut args = vec!["design", &club, "--json", "--patch"];
        args.extend(size);
        args.extend(rest);
        run(&args)
    };
    let o = patch(["72", "22", "5"], &["--joined", "--disc", "130"]);
    assert_eq!(
        o.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&o.stderr)
    );
    let doc: Value = serde_json::from_slice(&o.stdout).unwrap();
    let value = |id: &str| {
        doc["sections"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|s| s["answers"].as_array())
            .flatten()
            .find(|a| a["measurand"] == id)
            .and_then(|a| a["value"].as_f64())
            .unwrap()
    };
    assert!((value("patch.resonance") - 2400.0).abs() < 80.0);
    assert!((value("patch.gain") - 10.2).abs() < 0.6);
    // Four posts in quadrature: round on the axis, less so towards the rim.
    assert!(value("patch.axial_ratio") < 0.05 && value("patch.beam_axial_ratio") > 0.5);
    let text = String::from_utf8_lossy(&o.stdout).to_string();
    assert!(text.contains("[feed.old.transmit]") && text.contains("counter-clockwise"));
    assert!(text.contains("[feed.old.patch]") && text.contains("joined = true"));
    // A hole wider than the patch cannot be built.
    let o = patch(["20", "22", "5"], &[]);
    assert_eq!(o.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&o.stdout).contains("inner diameter"));
}

#[cfg(target_os = "linux")]
#[test]
fn an_interrupt_ends_the_search_in_order() {
    use std::process::Stdio;
    use std::time::{Duration, Instant};
    let dir = tempfile::tempdir().unwrap();
    let page = dir.path().join("d.html");
    // All dimensions free and more designs than anyone waits for.
    let mut child = Command::new(env!("CARGO_BIN_EXE_slantpath"))
        .args(["design", &camp(), "--tries", "100000", "--out"])
        .arg(&page)
        .env("SLANTPATH_CACHE", env!("CARGO_TARGET_TMPDIR"))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let pid = child.id().to_string();
    // Bit 1 of the caught signals: SIGINT has its handler.
    let handles = || {
        let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
        let caught = status
            .lines()
            .find_map(|l| l.strip_prefix("SigCgt:"))
            .unwrap();
        u64::from_str_radix(caught.trim(), 16).unwrap() & 2 != 0
    };
    let limit = Instant::now() + Duration::from_secs(60);
    while !handles() {
        assert!(Instant::now() < limit, "the search never began");
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(
        Command::new("kill")
            .args(["-INT", &pid])
            .status()
            .unwrap()
            .success()
    );
    while child.try_wait().unwrap().is_none() {
        if Instant::now() > limit {
            child.kill().unwrap();
            panic!("it did not stop");
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let out = child.wait_with_output().unwrap();
    assert_eq!(out.status.code(), Some(3));
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(said.contains("stopped on request"), "{said}");
    assert!(!page.exists());
}
