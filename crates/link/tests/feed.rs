//! Feeds described by their dimensions or by a person's own measurement.

mod common;

use common::{CAMP, station};
use slantpath_input::{Source, Style, render_all};
use slantpath_link::{Air, Conditions, Memory, Model};
use slantpath_quantity::{Contributor, Frequency};
use slantpath_station::{Station, read_station};

const SATELLITE: &str = include_str!("../../../demo/petrel-1.toml");
/// 20 dB of return loss dry, 10 dB wet, over the uplink.
const DRY: &str = "# MHz S MA R 50\n2390 0.1 10\n2430 0.1 -10\n";
const WET: &str = "# MHz S DB R 50\n2390 -10 10\n2430 -10 -10\n";

/// The camp's station with exact dimensions, which are solved once and not up and down.
fn exact() -> String {
    [
        ("3 ± 0.05", "3"),
        ("40 mm ± 0.5", "40 mm"),
        ("28 mm ± 1", "28 mm"),
        ("5 mm ± 0.5", "5 mm"),
        ("0 mm ± 1", "0 mm"),
    ]
    .iter()
    .fold(CAMP.to_string(), |t, (a, b)| {
        t.replace(&format!("\"{a}\""), &format!("\"{b}\""))
    })
}

/// The same with pieces of its file replaced, and files beside it.
fn with(changes: &[(&str, &str)], files: &[(&str, &str)]) -> Result<Station, String> {
    let mut text = exact();
    for (old, new) in changes {
        assert!(text.contains(old), "{old}");
        text = text.replace(old, new);
    }
    let (file, problems) = read_station(&Source::new("station.toml", text), &mut |p| {
        if p == "petrel-1.toml" {
            return Ok(Source::new(p, SATELLITE));
        }
        files
            .iter()
            .find(|f| f.0 == p)
            .map(|f| Source::new(p, f.1))
            .ok_or_else(|| "there is no such file".to_string())
    });
    file.map(|f| f.base)
        .ok_or_else(|| render_all(&problems, Style::PLAIN))
}

fn input<'a>(m: &'a Model, id: &str) -> Option<&'a Contributor> {
    m.inputs()
        .contributors()
        .iter()
        .find(|c| c.id.as_str() == id)
}

const TAPER: &str = "edge_taper = \"11 dB ± 1.5\"\nedge_angle = \"40 deg\"\n";
const MATCH: &str = "return_loss = \"14 dB ± 2\"\n";

#[test]
fn the_receive_pattern_follows_from_the_horn() {
    let written = station(&exact()).base;
    let computed = with(&[(TAPER, "")], &[]).unwrap();
    let c = Conditions::default();
    let (a, b) = (
        Model::new(&written, &c).unwrap(),
        Model::new(&computed, &c).unwrap(),
    );
    let spill = |m: &Model| {
        let losses = m.receive_losses("narrow").unwrap();
        losses.iter().find(|l| l.0 == "spillover").unwrap().1
    };
    // an open waveguide of 0.35 wavelengths is far wider than 11 dB at 40 deg
    assert!(spill(&b) > spill(&a) + 0.5, "{} {}", spill(&b), spill(&a));
    let error = input(&b, "feed.coil.receive.pattern_error").unwrap();
    assert_eq!(error.distribution.u(), 0.5);
    assert!(input(&a, "feed.coil.receive.pattern_error").is_none());
    // in focus but for its focus error, wherever the aperture stands before the disc
    let losses = b.receive_losses("narrow").unwrap();
    assert!(
        losses.iter().all(|l| l.0 != "focus, axial" || l.1 < 0.05),
        "{losses:?}"
    );
}

#[test]
fn a_horn_alone_is_a_receive_feed_and_a_measured_one_needs_its_pattern() {
    let text = exact();
    let from = text.find("[feed.coil.coil]").unwrap();
    let to = text.find("[feed.coil.horn]").unwrap();
    let coil = &text[from..to];
    let bare = with(
        &[
            (coil, ""),
            (TAPER, ""),
            (
                "sense_after_dish = \"LHCP\"\n",
                "sense_after_dish = \"LHCP\"\nexponent = 3\n",
            ),
        ],
        &[],
    )
    .unwrap();
    assert!(bare.feed.radiator.is_none() && bare.feed.horn.is_some());
    Model::new(&bare, &Conditions::default()).unwrap();
    let kind = ("kind = \"te11\"", "kind = \"measured\"");
    let e = with(&[kind], &[]).unwrap_err();
    assert!(e.contains("without a measured pattern"), "{e}");
    let table = "pattern = [[\"0 deg\", \"0 dB\", \"0 deg\"], [\"20 deg\", \"-1.9 dB\", \"3 deg\"], [\"40 deg\", \"-8 dB\", \"12 deg\"], \
                 [\"60 deg\", \"-16 dB\", \"25 deg\"], [\"90 deg\", \"-26 dB\", \"40 deg\"], [\"180 deg\", \"-35 dB\", \"90 deg\"]]\n";
    let measured = with(
        &[
            kind,
            (TAPER, table),
            ("radius = \"10 mm\"", "radius = \"16 mm\""),
        ],
        &[],
    );
    let m = Model::new(&measured.unwrap(), &Conditions::default()).unwrap();
    let losses = m.receive_losses("narrow").unwrap();
    let shadow = losses.iter().find(|l| l.0.starts_with("shadow"));
    assert!(
        shadow.is_none_or(|s| (0.0..2.5).contains(&s.1)),
        "{losses:?}"
    );
}

#[test]
fn the_match_is_measured_else_written_else_computed() {
    const ID: &str = "feed.coil.transmit.return_loss";
    let c = Conditions::default();
    let of = |s: &Station, c: &Conditions, id: &str| {
        let m = Model::new(s, c).unwrap();
        input(&m, id).map(|k| (k.distribution, k.source.clone()))
    };
    let (written, _) = of(&station(&exact()).base, &c, ID).unwrap();
    assert!((written.mean() - 14.0).abs() < 1e-9);
    let bare = with(&[(&format!("LHCP\"\n{MATCH}"), "LHCP\"\n")], &[]).unwrap();
    let (d, source) = of(&bare, &c, ID).unwrap();
    // 130 to 140 ohm on 50 ohm
    assert!((4.0..10.0).contains(&d.mean()) && d.u() > 0.3, "{d:?}");
    assert!(source.contains("without a matching strip"), "{source}");
    let s11 = "LHCP\"\ns11 = \"dry.s1p\"\ns11_wet = \"wet.s1p\"\n";
    let files = [("dry.s1p", DRY), ("wet.s1p", WET)];
    let own = with(&[(&format!("LHCP\"\n{MATCH}"), s11)], &files).unwrap();
    let (d, source) = of(&own, &c, ID).unwrap();
    assert!(
        (d.mean() - 20.0).abs() < 0.2 && source.contains("dry.s1p"),
        "{d:?}"
    );
    let weather = Conditions {
        air: Air::Exceeded { percent: 1.0 },
        ..Conditions::default()
    };
    let (d, source) = of(&own, &weather, &format!("{ID}.wet")).unwrap();
    assert!(
        (d.mean() - 10.0).abs() < 0.2 && source.contains("wet.s1p"),
        "{d:?}"
    );
    assert!(of(&own, &weather, ID).is_none());
}

#[test]
fn another_reference_impedance_is_converted() {
    // matched to 75 ohm: on a line of 50 a fifth comes back, 13.98 dB
    let s11 = "LHCP\"\ns11 = \"tv.s1p\"\n";
    let file = "# MHz S RI R 75\n2390 0 0\n2430 0 0\n";
    let own = with(&[(&format!("LHCP\"\n{MATCH}"), s11)], &[("tv.s1p", file)]).unwrap();
    let m = Model::new(&own, &Conditions::default()).unwrap();
    let d = input(&m, "feed.coil.transmit.return_loss")
        .unwrap()
        .distribution;
    assert!((d.mean() - 13.979).abs() < 1e-3, "{d:?}");
}

#[test]
fn gaps_in_a_measurement_are_named() {
    let s11 = "LHCP\"\ns11 = \"dry.s1p\"\n";
    let tried =
        |text: &str| with(&[(&format!("LHCP\"\n{MATCH}"), s11)], &[("dry.s1p", text)]).unwrap_err();
    let e = tried("# MHz S RI R 50\n2200 0 0\n2300 0 0\n");
    assert!(
        e.contains("no value at 2412") && e.contains("line 3 (2300.0 MHz)"),
        "{e}"
    );
    let e = tried("# MHz S RI R 50\n2300 0 0\n2500 0 0\n");
    assert!(
        e.contains("between line 2") && e.contains("101 points"),
        "{e}"
    );
    let e = tried("# MHz S RI R 50\n2400 0 0\n2420 1.1 0\n");
    assert!(e.contains("dry.s1p:3") && e.contains("passive"), "{e}");
}

#[test]
fn a_remembered_dish_is_that_of_its_satellite() {
    let first = station(&exact()).base;
    let mut second = first.clone();
    // another satellite whose first downlink has the focus elsewhere; the second uplink stays
    let band = &mut second.satellite.passbands[0].downlink;
    let up = Frequency::mhz(900.0);
    (band.lo, band.hi) = (
        Frequency::hz(band.lo.as_hz() + up.as_hz()),
        Frequency::hz(band.hi.as_hz() + up.as_hz()),
    );
    second.receive = first.receive.clone();
    let c = Conditions::default();
    let mut memory = Memory::default();
    let gain = |m: &Model, f: &str| m.transmit_losses(f).unwrap().unwrap();
    let name = first.satellite.passbands[1].name.clone();
    let a = Model::with_memory(&first, &c, &mut memory).unwrap();
    let fresh = Model::new(&second, &c).unwrap();
    let kept = Model::with_memory(&second, &c, &mut memory).unwrap();
    assert_eq!(gain(&kept, &name), gain(&fresh, &name));
    assert_ne!(
        gain(&a, &name),
        gain(&fresh, &name),
        "the focus hangs on the satellite"
    );
}
