//! The page is well formed, reaches nothing outside itself, and keeps text in its place.

use super::html;
use crate::figure::{self, ChainSheet, IntervalRow, Stage, well_formed};
use crate::sheet::{Figure, Provenance, Section, Sheet};
use slantpath_quantity::{Answer, ContributorId, Estimate, Share, Unit, Validity};

fn share(id: &str, label: &str, u: f64) -> Share {
    Share {
        id: ContributorId::new(id),
        label: label.into(),
        u,
        effect: u,
        systematic: true,
    }
}

fn stage(name: &str, what: &str, p: &str, m: &str, d: &str) -> Stage {
    let some = |t: &str| (!t.is_empty()).then(|| t.to_string());
    Stage {
        name: name.into(),
        what: what.into(),
        predicted: some(p),
        measured: some(m),
        disagreement: some(d),
        place: None,
        measurand: None,
    }
}

/// Invented, of the size and kind of a real one.
fn example() -> String {
    let cn0 = Answer::known(
        "narrow.psk.cn0@main",
        "PSK beacon C/N0",
        Unit::DbHz,
        Estimate::normal(49.2345, 0.42),
    )
    .with_shares(
        [0.3, 0.2, 0.15, 0.1, 0.05, 0.02, 0.01]
            .iter()
            .zip([
                "satellite EIRP",
                "receive shadow of the feed",
                "LNB noise figure",
                "spillover",
                "pointing",
                "cable",
                "water vapour",
            ])
            .map(|(u, n)| share(n, n, *u))
            .collect(),
    )
    .because("the satellite's EIRP and the shadowed rays dominate")
    .next("a noise step with the feed covered");
    let rain = Answer::known(
        "rain",
        "rain attenuation exceeded 0.01 % of the year",
        Unit::Db,
        Estimate::normal(4.3, 1.1),
    )
    .with_validity(Validity::outside(
        "P.618-13 2.2.1.1: below 5 deg elevation the step method is outside its range",
    ));
    let step = Answer::unknown(
        "step",
        "noise step at the passband edge",
        Unit::Db,
        "no flat window outside the skirt",
        "record at 600 kS/s or more",
    );
    let n = 8192;
    let f: Vec<f64> = (0..n)
        .map(|i| 10_489.75e6 + (f64::from(i) / f64::from(n) - 0.5) * 600e3)
        .collect();
    let shape = |x: f64| -104.0 + 6.0 / (1.0 + (x.abs() / 250e3).powi(40));
    let fit: Vec<f64> = f.iter().map(|f| shape(f - 10_489.75e6)).collect();
    // A fixed ripple stands for noise; three lines stand for beacons.
    let psd: Vec<f64> = fit
        .iter()
        .enumerate()
        .map(|(i, p)| {
            let r = ((i * 7919) % 1009) as f64 / 1009.0 - 0.5;
            let line = if [850, 4096, 7330].contains(&i) {
                24.0
            } else {
                0.0
            };
            p + 1.2 * r + line
        })
        .collect();
    let figure = |key: &str, caption: &str, svg: String| Figure {
        key: key.into(),
        caption: caption.into(),
        svg,
    };
    let ledger: Vec<(String, f64, f64)> = [
        ("sky background", 3.0, 0.4),
        ("atmosphere", 7.4, 1.1),
        ("spillover to the ground", 21.0, 6.0),
        ("rays shadowed by the feed", 4.8, 3.0),
        ("feed loss", 6.0, 1.5),
        ("LNB", 52.0, 9.0),
        ("cable and splitter", 0.7, 0.1),
        ("receiver and quantisation", 0.3, 0.1),
    ]
    .map(|(n, k, u)| (n.to_string(), k, u))
    .to_vec();
    let trial: Vec<(f64, f64, bool)> = (0..16)
        .map(|i| {
            let b = i % 4 >= 2;
            let drift = 0.03 * f64::from(i);
            let r = f64::from((i * 37) % 11) / 11.0 - 0.5;
            (
                f64::from(i) * 0.3,
                49.4 - drift + 0.2 * r - if b { 0.7 } else { 0.0 },
                b,
            )
        })
        .collect();
    let row = |label: &str, unit: &str, p, m| IntervalRow {
        label: label.into(),
        unit: unit.into(),
        predicted: Some(p),
        measured: m,
        u_difference: None,
    };
    let predict = Sheet {
        verb: "predict".into(),
        title: "What the station should do".into(),
        sections: vec![
            Section::new(
                "narrow",
                "Narrowband segment, down",
                vec![cn0.clone(), rain, step],
            )
            .say("Branch main, vertical, clear sky, 2031-03-04 12:00 UTC."),
            Section::new(
                "exact",
                "Geometry",
                vec![Answer::known(
                    "d",
                    "range",
                    Unit::Km,
                    Estimate::exact(38_512.4),
                )],
            ),
        ],
        because: vec![
            "satellite EIRP (0.3 dB)".into(),
            "receive shadow of the feed (0.2 dB)".into(),
        ],
        next_measurement: Some("a noise step with 600 kS/s, three recordings of 60 s each".into()),
        cautions: vec!["The amplifier radiates: keep people out of the beam.".into()],
        figures: vec![figure(
            "ledger",
            "Noise ledger at the feed, main branch.",
            figure::ledger("Noise ledger", &ledger),
        )],
        refused: false,
    };
    let compare = Sheet {
        verb: "compare".into(),
        title: "The swap".into(),
        sections: vec![Section::new("cn0", "Difference", vec![cn0])],
        because: vec!["remounts scatter by 0.15 dB".into()],
        figures: vec![
            figure(
                "psd",
                "Recording a-01 with the passband fitted.",
                figure::spectrum(
                    "Spectrum",
                    &f,
                    &psd,
                    Some(&fit),
                    &[
                        (10_489.60e6, 10_489.90e6, "inside window".into()),
                        (10_489.455e6, 10_489.475e6, "outside window, low".into()),
                        (10_490.025e6, 10_490.045e6, "outside window, high".into()),
                    ],
                ),
            ),
            figure(
                "trial",
                "Values in time order and the difference.",
                figure::trial("Swap trial", &trial, -0.7, -0.86, -0.54, "dBHz"),
            ),
            figure(
                "agree",
                "Prediction against measurement.",
                figure::interval_table(
                    "Agreement",
                    &[
                        row("PSK beacon C/N0", "dBHz", (49.2, 0.42), Some((48.4, 0.1))),
                        row("noise step", "dB", (6.1, 0.5), Some((6.0, 0.08))),
                        row("LNB supply", "V", (13.4, 0.2), Some((13.1, 0.05))),
                        row("Sun, G/T", "dB/K", (14.0, 0.5), None),
                    ],
                ),
            ),
        ],
        refused: true,
        ..Sheet::default()
    };
    let chain = ChainSheet {
        receive: vec![
            stage("Petrel-1", "EIRP per beacon", "21.5 ± 0.5 dBW", "", ""),
            stage("path", "free space, gas", "205.3 ± 0.1 dB", "", ""),
            stage("dish", "0.9 m offset, gain", "39.1 ± 0.3 dBi", "", ""),
            stage(
                "feed",
                "noise from spillover",
                "21 ± 6 K",
                "26 ± 4 K",
                "+0.7 u",
            ),
            stage(
                "LNB",
                "noise figure, 9750 MHz",
                "0.7 ± 0.1 dB",
                "0.8 ± 0.2 dB",
                "+0.5 u",
            ),
            stage("cable", "12 m, loss at 740 MHz", "2.6 ± 0.3 dB", "", ""),
            stage(
                "receiver",
                "level at the ADC",
                "−31 ± 2 dBFS",
                "−34.2 ± 0.1 dBFS",
                "−1.6 u",
            ),
        ],
        transmit: vec![
            stage("exciter", "drive at 2400 MHz", "20 ± 0.5 dBm", "", ""),
            stage(
                "amplifier",
                "output",
                "37.4 ± 0.6 dBm",
                "37.1 ± 0.3 dBm",
                "−0.4 u",
            ),
            stage("feed, up", "loss and return loss", "0.3 ± 0.1 dB", "", ""),
            stage("dish", "EIRP", "32.0 ± 0.9 dBW", "", ""),
        ],
    };
    let provenance = Provenance {
        inputs: vec![
            (
                "station".into(),
                "station.toml".into(),
                "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08".into(),
            ),
            (
                "recording".into(),
                "a-01.sigmf-data".into(),
                "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752".into(),
            ),
        ],
        seed: 20_310_304,
        trials: 100_000,
        written_by: "slantpath 0.1.0".into(),
        command: "slantpath report station.toml a-01.sigmf-meta --seed 20310304".into(),
    };
    html(
        "QQ0AAA and Petrel-1: before and after the swap",
        &[predict, compare],
        Some(&chain),
        &provenance,
    )
}

#[test]
fn well_formed_and_alone() {
    let page = example();
    well_formed(&page).unwrap_or_else(|e| panic!("{e}"));
    for word in ["http", "src=", "<script", "url(", "@import", "<link", "NaN"] {
        assert!(!page.contains(word), "{word}");
    }
    assert!(!page.contains("left out"), "every drawing is taken");
    assert_eq!(page.matches("<svg").count(), 4);
    assert!(page.contains("lang=\"en\"") && page.contains("@media print"));
    assert!(page.contains("prefers-color-scheme: dark"));
}

#[test]
fn what_a_reader_needs_is_there() {
    let page = example();
    for text in [
        "49.2 ± 0.4\u{a0}dBHz",
        "48.4 to 50.1",
        "95 % interval",
        "and 2 smaller",
        "†1",
        "id=\"s1-1-n1\"",
        "undetermined",
        "No conclusion",
        "Next measurement",
        "Cautions",
        "9f86d081884c7d65",
        "20310304",
        "100000",
    ] {
        assert!(page.contains(text), "{text}");
    }
    assert_eq!(
        page.matches("water vapour").count(),
        0,
        "five contributors only"
    );
}

#[test]
fn every_inner_link_has_its_target_and_no_identifier_is_used_twice() {
    let page = example();
    for link in page.split("href=\"#").skip(1) {
        let id = link.split('"').next().unwrap_or_default();
        assert_eq!(page.matches(&format!(" id=\"{id}\"")).count(), 1, "{id}");
    }
}

#[test]
fn hostile_text_stays_text() {
    const H: &str = "</title></style></td><script>x()</script><img/onerror='x'>\"&\u{0}";
    let h = || H.to_string();
    let answer = |o: bool| {
        let a = if o {
            Answer::known(H, H, Unit::Db, Estimate::normal(f64::NAN, f64::INFINITY))
        } else {
            Answer::unknown(H, H, Unit::Db, H, H)
        };
        a.with_shares(vec![share(H, H, f64::NAN)])
            .with_validity(Validity::outside(H))
            .because(H)
            .next(H)
    };
    let sheet = Sheet {
        verb: h(),
        title: h(),
        sections: vec![Section::new(H, H, vec![answer(true), answer(false)]).say(H)],
        because: vec![h(), h()],
        next_measurement: Some(h()),
        cautions: vec![h()],
        figures: vec![
            Figure {
                key: h(),
                caption: h(),
                svg: h(),
            },
            Figure {
                key: h(),
                caption: h(),
                svg: figure::ledger(H, &[(h(), f64::NAN, 1.0)]),
            },
            Figure {
                key: h(),
                caption: h(),
                svg: "<svg><script>x()</script></svg>".into(),
            },
        ],
        refused: true,
    };
    let chain = ChainSheet {
        receive: vec![stage(H, H, H, H, H)],
        transmit: vec![stage(H, H, H, H, H)],
    };
    let provenance = Provenance {
        inputs: vec![(h(), h(), h())],
        written_by: h(),
        command: h(),
        ..Provenance::default()
    };
    let page = html(H, &[sheet], Some(&chain), &provenance);
    well_formed(&page).unwrap_or_else(|e| panic!("{e}"));
    for word in ["<script", "<img", "\u{0}", "onerror='"] {
        assert!(!page.contains(word), "{word}");
    }
    assert_eq!(page.matches("Drawing left out").count(), 2);
}

#[test]
fn nothing_at_all_is_still_a_page() {
    let page = html("", &[], None, &Provenance::default());
    well_formed(&page).unwrap_or_else(|e| panic!("{e}"));
}
