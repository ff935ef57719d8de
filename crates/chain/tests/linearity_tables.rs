//! Linearity against closed-form tables: tests/data/two_tone_cubic.csv (1e-3 dB) and linearity_constants.csv
//! (the digits of its column `computed`).

use slantpath_chain::adc::clip_probability;
use slantpath_chain::amplifier::{Cubic, Curve, iip3_minus_ip1db_db, oip3_minus_op1db_db};
use slantpath_quantity::to_db;
use std::collections::BTreeMap;

fn table(name: &str) -> Vec<BTreeMap<String, String>> {
    let path = format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"));
    let mut r = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap();
    r.deserialize().map(|row| row.unwrap()).collect()
}

#[test]
fn two_tones_through_the_cubic() {
    let rows = table("two_tone_cubic.csv");
    assert_eq!(rows.len(), 3);
    for row in &rows {
        let n = |k: &str| row[k].parse::<f64>().unwrap();
        let c = Curve::Cubic(Cubic::new(n("gain_dB"), n("OIP3_dBm")).unwrap());
        // nominal output per tone; two tones are 3 dB more
        let t = c
            .two_tone(n("p_nominal_dBm") - n("gain_dB") + to_db(2.0))
            .unwrap();
        assert!(t.validity.is_inside(), "{:?}", t.validity);
        assert!((t.imd3_dbc - n("imd_dBc_exact")).abs() < 1e-3);
        assert!((t.tone_dbm - n("tone_out_dBm_exact")).abs() < 1e-3);
        assert!((t.imd3_dbm - n("imd_dBm_exact")).abs() < 1e-3);
        assert!((c.p1db_out_dbm().unwrap() - n("OP1dB_dBm")).abs() < 1e-3);
    }
}

#[test]
fn constants() {
    let mut done = 0;
    for row in &table("linearity_constants.csv") {
        let Ok(want) = row["computed"].trim().parse::<f64>() else {
            continue;
        };
        let name = row["relation"].as_str();
        let got = if name.starts_with("IIP3-P1dB") {
            iip3_minus_ip1db_db()
        } else if name.starts_with("OIP3-OP1dB") {
            oip3_minus_op1db_db()
        } else if name == "two-tone PEP/mean" || name.starts_with("sine crest") {
            to_db(2.0)
        } else if name == "two-tone PEP/each tone" {
            to_db(4.0)
        } else if name.starts_with("real Gaussian") {
            // full scale this far above the rms of one rail clips one sample in 10^4
            let (mut lo, mut hi) = (5.0, 20.0);
            for _ in 0..60 {
                let m = 0.5 * (lo + hi);
                if clip_probability(-m + to_db(2.0), &[]).unwrap() > 1e-4 {
                    lo = m;
                } else {
                    hi = m;
                }
            }
            lo
        } else if name.starts_with("complex Gaussian") {
            to_db(-(1e-4f64.ln()))
        } else {
            panic!("no formula for {name}");
        };
        assert!((got - want).abs() < 1e-4, "{name}: {got} {want}");
        done += 1;
    }
    assert_eq!(done, 7);
}
