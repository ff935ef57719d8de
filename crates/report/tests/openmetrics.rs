//! The metrics text read by an independent parser.

use openmetrics_parser::openmetrics::parse_openmetrics;
use slantpath_report::openmetrics::{Gauge, Sample, text};

fn sample(gauge: Gauge, measurand: &str, value: f64) -> Sample {
    Sample {
        gauge,
        measurand: measurand.into(),
        branch: "sdr \"one\"\\\n".into(),
        unit: "dBHz".into(),
        value,
        u: 0.125,
        at_s: 1_777_000_000.5,
    }
}

#[test]
fn an_independent_parser_reads_what_was_meant() {
    let t = text(&[
        sample(Gauge::Measured, "narrow.psk.cn0", 52.25),
        sample(Gauge::Measured, "narrow.noise_step", -1.5e-7),
        sample(Gauge::Predicted, "narrow.psk.cn0", 51.0),
    ]);
    let e = parse_openmetrics(&t).unwrap_or_else(|e| panic!("{e}\n{t}"));
    for (name, samples) in [
        ("slantpath_measured", 2),
        ("slantpath_measured_standard_uncertainty", 2),
        ("slantpath_measured_time_seconds", 2),
        ("slantpath_predicted", 1),
        ("slantpath_predicted_time_seconds", 1),
    ] {
        let family = e
            .families
            .get(name)
            .unwrap_or_else(|| panic!("{name}\n{t}"));
        assert_eq!(family.iter_samples().count(), samples, "{name}");
    }
    let family = &e.families["slantpath_measured"];
    let first = family.iter_samples().next().unwrap();
    let labels = first.get_labelset().unwrap();
    assert_eq!(labels.get_label_value("measurand"), Some("narrow.psk.cn0"));
    assert_eq!(labels.get_label_value("unit"), Some("dBHz"));
    let value = format!("{:?}", first.value);
    assert!(value.contains("52.25"), "{value}");
}

#[test]
fn an_empty_book_and_double_samples_are_sound_too() {
    assert_eq!(text(&[]), "# EOF\n");
    let twice = [
        sample(Gauge::Measured, "a", 1.0),
        sample(Gauge::Measured, "a", 2.0),
    ];
    let t = text(&twice);
    parse_openmetrics(&t).unwrap();
    assert_eq!(t.matches("slantpath_measured{").count(), 1);
}
