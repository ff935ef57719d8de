//! Crest factors of shaped carriers against an independent simulation.

use slantpath_plan::drive::Waveform;
use slantpath_waveform::{FecFrame, Frame, modcod};

/// Table psk_rrc_crest: 1e6 random symbols, 8 samples a symbol, seeded; 0.15 dB at 1e-2 to 1e-3, 0.25 dB at 1e-4 (65 536
/// samples hold six beyond it), the peak depends on the record's length.
#[test]
fn peak_to_mean_is_that_of_the_table() {
    let text = include_str!("data/psk_rrc_crest.csv");
    let mut rows = 0;
    for line in text.lines().filter(|l| !l.starts_with('#')).skip(1) {
        let c: Vec<&str> = line.split(',').collect();
        let x = |i: usize| c[i].parse::<f64>().unwrap();
        let name = match c[0] {
            "QPSK" => "QPSK 1/2",
            "8PSK" => "8PSK 3/5",
            "16APSK_2/3" => "16APSK 2/3",
            "32APSK_3/4" => "32APSK 3/4",
            other => panic!("{other}"),
        };
        let frame = Frame {
            modcod: modcod(name).unwrap().number,
            fecframe: FecFrame::Normal,
            pilots: false,
        };
        let w = Waveform::dvb_s2(frame, x(1), 7).unwrap();
        for (p, column, tolerance) in [(1e-2, 2, 0.15), (1e-3, 3, 0.15), (1e-4, 4, 0.25)] {
            let got = w.crest_db(p).unwrap();
            assert!((got - x(column)).abs() < tolerance, "{line}: {got} at {p}");
        }
        rows += 1;
    }
    assert_eq!(rows, 12);
}
