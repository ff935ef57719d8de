//! Noise formulas against tables of closed-form examples (tests/data/noise_examples.csv, noise_published.csv;
//! relative tolerance 1e-6, printed digits for the latter).

use serde_json::Value;
use slantpath_chain::noise::{Linear, equivalent_te_k, planck_noise_temperature, through_loss_k};
use slantpath_chain::source_noise::{
    FluxTable, RadioSource, beam_correction_gauss_disk, beam_correction_series,
    g_over_t_from_source, source_temperature, y_of_source,
};
use slantpath_chain::y_factor::te_from_y;
use slantpath_quantity::constants::{BOLTZMANN, SFU};
use slantpath_quantity::{Angle, Frequency, Temperature, from_db, to_db};
use std::collections::BTreeMap;

fn table(name: &str) -> Vec<BTreeMap<String, String>> {
    let path = format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"));
    let mut r = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap();
    r.deserialize().map(|row| row.unwrap()).collect()
}

fn near(got: f64, row: &BTreeMap<String, String>, rel: f64) {
    let want: f64 = row["value"].parse().unwrap();
    assert!((got / want - 1.0).abs() < rel, "{got} against {row:?}");
}

#[test]
fn closed_form_examples() {
    let rows = table("noise_examples.csv");
    let mut done = 0;
    for row in &rows {
        let i: Value = serde_json::from_str(&row["inputs_json"]).unwrap();
        let n = |k: &str| i[k].as_f64().unwrap();
        let f = || Frequency::hz(n("f"));
        let k = Temperature::k;
        let stages = || -> Vec<Linear> {
            i["stages_NF_G"]
                .as_array()
                .unwrap()
                .iter()
                .map(|s| Linear::active(s[1].as_f64().unwrap(), s[0].as_f64().unwrap()))
                .collect()
        };
        let antenna_gain = || {
            let lambda = f().wavelength().as_m();
            n("eta") * (std::f64::consts::PI * n("D") / lambda).powi(2)
        };
        let beam = || {
            beam_correction_gauss_disk(Angle::deg(n("sun_diam_deg")), Angle::deg(n("hpbw_deg")))
                .unwrap()
        };
        let got = match (row["kind"].as_str(), row["quantity"].as_str()) {
            ("friis", "Te_K") => equivalent_te_k(&stages()),
            ("friis", "NF_dB") => k(equivalent_te_k(&stages())).as_noise_figure_db(),
            ("friis", "G_dB") => to_db(stages().iter().map(|s| s.gain).product()),
            ("yfactor", _) => {
                te_from_y(n("Y_dB"), k(n("Thot")), k(n("Tcold")))
                    .unwrap()
                    .te_k
            }
            ("yfactor_sens", _) => {
                te_from_y(n("Y_dB"), k(n("Thot")), k(n("Tcold")))
                    .unwrap()
                    .per_y_db
            }
            ("lossy_line", _) => through_loss_k(n("Tant"), n("L_dB"), n("Tphys")),
            ("sky_noise_P618", _) => through_loss_k(2.7, n("A_dB"), n("Tmr_K")),
            ("G_over_T", _) => to_db(antenna_gain() / n("Tsys")),
            ("sun", "T_sun_pointsource_K") => {
                let area = n("eta") * std::f64::consts::PI * n("D").powi(2) / 4.0;
                source_temperature(n("flux_sfu") * SFU, area).as_k()
            }
            ("sun", "beam_corr_gauss_disk") => beam(),
            ("sun", "beam_corr_1+0.38x2") => {
                beam_correction_series(Angle::deg(n("sun_diam_deg")), Angle::deg(n("hpbw_deg")))
                    .unwrap()
            }
            ("sun", "Y_dB (gauss_disk)") => {
                let gt = to_db(antenna_gain() / n("Tsys"));
                let y = y_of_source(gt, n("flux_sfu") * SFU, f(), beam()).unwrap();
                let back = g_over_t_from_source(y, n("flux_sfu") * SFU, f(), beam()).unwrap();
                assert!((back - gt).abs() < 1e-10);
                y
            }
            ("solar_flux_loglog", _) => {
                let t: Vec<(Frequency, f64)> = i["flux_MHz_sfu"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .map(|r| {
                        (
                            Frequency::mhz(r[0].as_f64().unwrap()),
                            r[1].as_f64().unwrap(),
                        )
                    })
                    .collect();
                let (s, v) = FluxTable::new(&t)
                    .unwrap()
                    .at(Frequency::mhz(n("f_MHz")))
                    .unwrap();
                assert!(v.is_inside());
                s
            }
            ("radio_source_Baars77", _) => {
                let source = match i["source"].as_str().unwrap() {
                    "CasA" => RadioSource::CassiopeiaA,
                    "CygA" => RadioSource::CygnusA,
                    "TauA" => RadioSource::TaurusA,
                    "VirA" => RadioSource::VirgoA,
                    other => panic!("{other}"),
                };
                let year = i["year"].as_f64().unwrap_or(1980.0);
                source.flux_jy(Frequency::ghz(n("f_GHz")), year).unwrap().0
            }
            other => panic!("no formula for {other:?}"),
        };
        near(got, row, 1e-6);
        done += 1;
    }
    assert_eq!(done, 63);
}

#[test]
fn published_examples() {
    let mut done = 0;
    for row in &table("noise_published.csv") {
        let i: Value = serde_json::from_str(&row["inputs_json"]).unwrap();
        let pozar = [
            Linear::active(10.0, 2.0),
            Linear::passive(1.0, 290.0),
            Linear::active(-3.0, 4.0),
        ];
        let te = equivalent_te_k(&pozar);
        let got = match (row["id"].as_str(), row["quantity"].as_str()) {
            ("const1", _) => to_db(BOLTZMANN),
            ("const2", _) => to_db(BOLTZMANN * i["T"].as_f64().unwrap()) + 30.0,
            ("cmb", _) => planck_noise_temperature(
                Temperature::k(i["T"].as_f64().unwrap()),
                Frequency::hz(i["f"].as_f64().unwrap()),
            )
            .as_k(),
            ("friis_pozar", "NF") => Temperature::k(te).as_noise_figure_db(),
            ("friis_pozar", "Te") => te,
            ("friis_pozar", "No") => {
                let g: f64 = pozar.iter().map(|s| s.gain).product();
                let (ta, b) = (i["TA"].as_f64().unwrap(), i["B"].as_f64().unwrap());
                to_db(BOLTZMANN * (ta + te) * g * b) + 30.0
            }
            ("yfac_pozar", _) => {
                let y = i["Nh"].as_f64().unwrap() - i["Nc"].as_f64().unwrap();
                assert!((from_db(y) - 1.86).abs() < 0.005);
                te_from_y(y, Temperature::k(290.0), Temperature::k(77.0))
                    .unwrap()
                    .te_k
            }
            other => panic!("no formula for {other:?}"),
        };
        near(got, row, 2e-8);
        done += 1;
    }
    assert_eq!(done, 9);
}
