use super::*;

fn demo() -> (tempfile::TempDir, StationText) {
    let folder = tempfile::tempdir().expect("a folder");
    crate::demo::write_files(folder.path()).expect("written");
    let text = StationText::read(&folder.path().join("qq0aaa.toml")).expect("read");
    (folder, text)
}
fn edit(place: &str, text: &str) -> Edit {
    Edit {
        place: place.into(),
        text: text.into(),
    }
}

#[test]
fn a_change_is_read_as_the_file_would_read_it_and_leaves_the_file_alone() {
    let (_folder, s) = demo();
    let loaded = s
        .load_with(
            Some("new-feed"),
            &[edit("part.lnb.noise_figure", "0.3 dB ± 0.1")],
        )
        .expect("taken");
    assert!(loaded.station(Some(UNSAVED)).is_ok());
    assert_eq!(StationText::read(&s.path).expect("read").text, s.text);
}

#[test]
fn what_both_sides_share_drops_out_of_a_change() {
    let share = |id: &str, effect: f64| slantpath_quantity::Share {
        id: ContributorId::new(id),
        label: id.into(),
        u: effect.abs(),
        effect,
        systematic: true,
    };
    let answer = |value: f64, shares: Vec<slantpath_quantity::Share>| {
        let u = shares.iter().map(|s| s.u * s.u).sum::<f64>().sqrt();
        Answer::known(
            "x",
            "x",
            slantpath_quantity::Unit::Db,
            Estimate::normal(value, u),
        )
        .with_shares(shares)
    };
    let a = answer(
        1.0,
        vec![share("sat.eirp", 1.0), share("rx.lnb.noise_figure", 0.3)],
    );
    let b = answer(
        1.5,
        vec![share("sat.eirp", 1.0), share("rx.lnb.noise_figure@v", 0.4)],
    );
    let d = change(&a, &b).expect("both are known");
    assert!((d.value - 0.5).abs() < 1e-12);
    assert!(
        (d.u - 0.5).abs() < 1e-12,
        "hypot(0.3, 0.4), not the satellite's 1.0"
    );
    assert!(belongs(
        &ContributorId::new("rx.lnb.noise_figure@v"),
        "part.lnb"
    ));
    assert!(!belongs(
        &ContributorId::new("rx.lnb2.noise_figure"),
        "part.lnb"
    ));
    assert!(belongs(&ContributorId::new("reflector.width"), "reflector"));
}

#[test]
fn a_neighbour_answers_before_the_fields_are_solved() {
    let (_folder, s) = demo();
    let base = s.load().expect("read");
    let base = base.station(None).expect("the base");
    let here = Conditions::default();
    let drawing = Drawing {
        seed: 1,
        trials: 200,
    };
    let mut memory = Memory::default();
    let solve = |station: &Station, memory: &mut Memory| {
        crate::predict::predicted_with(station, &here, drawing, &Progress::silent(), memory)
            .expect("predicted")
    };
    let before = solve(base, &mut memory);
    assert!(memory.holds(base, &here));
    let width = s
        .written(None, "reflector.width")
        .or_else(|| s.written(None, "reflector.diameter"))
        .expect("the dish's size");
    let place = match s.written(None, "reflector.width") {
        Some(_) => "reflector.width",
        None => "reflector.diameter",
    };
    let metres: f64 = width
        .split_whitespace()
        .next()
        .and_then(|n| n.parse().ok())
        .expect("a number");
    let text = width.replacen(&metres.to_string(), &format!("{:.4}", metres * 1.02), 1);
    let edits = [
        edit(place, &text),
        edit("part.lnb.noise_figure", "0.3 dB ± 0.1"),
    ];
    let loaded = s.load_with(None, &edits).expect("taken");
    let wanted = loaded.station(Some(UNSAVED)).expect("there");
    assert!(!memory.holds(wanted, &here));
    let (near, followed) = nearby(base, wanted, &here, drawing, &mut memory).expect("answered");
    assert_eq!(followed.len(), 1, "{followed:?}");
    let after = solve(wanted, &mut memory);
    assert!(memory.holds(wanted, &here) && memory.holds(base, &here));
    let mut seen = 0;
    for (m, solved) in after
        .prediction
        .group(slantpath_link::Group::Measurand)
        .filter(|(m, _)| m.id.contains(".g_over_t@"))
    {
        let of = |p: &Predicted| {
            p.prediction
                .answer(&m.id)
                .and_then(|a| Some(a.estimate()?.value))
        };
        let (b, n) = (of(&before).expect("known"), of(&near).expect("known"));
        let v = solved.estimate().expect("known").value;
        assert!((n - v).abs() < 0.03, "{}: {n} nearby, {v} solved", m.id);
        assert!((v - b).abs() > 0.2, "{}: {b} to {v}", m.id);
        seen += 1;
    }
    assert!(seen > 0);
    // A copy that went to work elsewhere brings home what it learned.
    let mut other = Memory::default();
    other.absorb(memory);
    assert!(other.holds(wanted, &here));
}

#[test]
fn what_the_file_would_refuse_is_refused_with_its_words() {
    let (_folder, s) = demo();
    let e = s
        .load_with(None, &[edit("part.lnb.noise_figure", "0.3 K/W")])
        .expect_err("wrong unit");
    assert_eq!(e.exit_code(), 2);
    for place in ["", "part..x", "part.lnb.noise figure", "a.b.c.d.e.f.g"] {
        assert!(
            s.load_with(None, &[edit(place, "1 dB")]).is_err(),
            "{place}"
        );
    }
    assert!(s.load_with(None, &[edit("satellite.name", "x")]).is_err());
}

#[test]
fn a_saved_variant_is_appended_and_nothing_else_changes() {
    let (_folder, s) = demo();
    let edits = [
        edit("part.lnb.noise_figure", "0.3 dB ± 0.1"),
        edit("reflector.pointing_error", "0.05 deg ± 0.05"),
    ];
    let after = s
        .save_variant(Some("new-feed"), "better-lnb", &edits)
        .expect("saved");
    assert!(after.text.starts_with(&s.text));
    let names = after.load().expect("read").file.variant_names().len();
    assert_eq!(
        names,
        s.load().expect("read").file.variant_names().len() + 1
    );
    // What the variant started from is kept in it.
    assert_eq!(
        after.written(Some("better-lnb"), "use_feed").as_deref(),
        Some("new")
    );
    assert_eq!(
        after
            .written(Some("better-lnb"), "part.lnb.noise_figure")
            .as_deref(),
        Some("0.3 dB ± 0.1")
    );
    // Taken names, changed files and odd names are refused, and nothing is written.
    assert!(after.save_variant(None, "better-lnb", &edits).is_err());
    assert!(
        s.save_variant(None, "other", &edits).is_err(),
        "the file has changed"
    );
    assert!(after.save_variant(None, "../x", &edits).is_err());
    assert_eq!(StationText::read(&s.path).expect("read").text, after.text);
}

/// A patch ring by its dimensions: its solved neighbour follows its diameter at once, the solved figure after.
#[test]
fn a_patch_follows_its_dimensions_before_it_is_solved() {
    let (folder, _) = demo();
    let path = folder.path().join("patch.toml");
    let camp = std::fs::read_to_string(folder.path().join("qq7bbb.toml")).expect("read");
    let from = camp.find("[feed.coil.coil]").expect("a coil");
    let to = camp.find("[feed.coil.receive]").expect("a feed");
    let patch = "[feed.coil.patch]\nouter = \"72 mm ± 0.5\"\nhole = \"22 mm\"\nheight = \"5 mm\"\nposts = 4\npost = \"2 \
                 mm\"\npost_radius = \"20 mm\"\ndisc = \"110 mm\"\n\n";
    std::fs::write(&path, format!("{}{patch}{}", &camp[..from], &camp[to..])).expect("written");
    let s = StationText::read(&path).expect("read");
    let base = s.load().expect("taken");
    let base = base.station(None).expect("the base");
    let here = Conditions::default();
    let drawing = Drawing {
        seed: 1,
        trials: 200,
    };
    let mut memory = Memory::default();
    let solve = |station: &Station, memory: &mut Memory| {
        crate::predict::predicted_with(station, &here, drawing, &Progress::silent(), memory)
            .expect("predicted")
    };
    let before = solve(base, &mut memory);
    let edits = [edit("feed.coil.patch.outer", "71 mm ± 0.5")];
    let loaded = s.load_with(None, &edits).expect("taken");
    let wanted = loaded.station(Some(UNSAVED)).expect("there");
    assert!(!memory.holds(wanted, &here));
    let (near, followed) = nearby(base, wanted, &here, drawing, &mut memory).expect("answered");
    assert!(
        followed.iter().any(|f| f.contains("patch: outer")),
        "{followed:?}"
    );
    let after = solve(wanted, &mut memory);
    let id = "narrow.up.gain";
    let value = |p: &Predicted| {
        let x = p.model.inputs().best();
        let mut y = vec![0.0; p.model.outputs().len()];
        p.model.evaluate(&x, &mut y);
        let i = p.model.outputs().iter().position(|o| o.id == id);
        let losses = p
            .model
            .transmit_losses("narrow")
            .expect("known")
            .expect("sends");
        let mismatch = losses
            .iter()
            .find(|l| l.0 == "mismatch")
            .map_or(0.0, |l| l.1);
        // the match is followed by its own uncertainty only
        y[i.expect("an uplink")] + mismatch
    };
    let (b, n, v) = (value(&before), value(&near), value(&after));
    println!("{b} before, {n} nearby, {v} solved");
    assert!(
        (n - v).abs() < 0.02 && (v - b).abs() > (n - v).abs(),
        "{b} {n} {v}"
    );
}
