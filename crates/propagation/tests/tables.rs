//! The models against tables computed by an independent implementation (PyPI itur 0.4.0, which reproduces
//! the ITU-R Study Group 3 rows; sources in each file's head), each at the tolerance it was issued with.

mod common;
use common::{Table, Worst};
use slantpath_propagation::p618::{RainPath, Scintillation, total};
use slantpath_propagation::p676::zenith::{Zenith, water_from_content_db};
use slantpath_propagation::p676::{LayeredPath, gamma_oxygen_db_km, gamma_water_db_km};
use slantpath_propagation::{p676, p834, p835, p838, p839, p840};

#[test]
fn p838_k_and_alpha() {
    let (mut k_worst, mut a_worst, mut g_worst) = (
        Worst::of("P.838-3 k"),
        Worst::of("P.838-3 alpha"),
        Worst::of("P.838-3 gamma_R"),
    );
    for r in Table::own("p838_k_alpha.csv").rows() {
        let (f, el, tau) = (r.get("f_GHz"), r.get("el_deg"), r.get("tau_deg"));
        let (k, alpha) = p838::k_alpha(f, el, tau);
        let place = || format!("{f} GHz el {el} tau {tau}");
        k_worst.relative(k, r.get("k"), place);
        a_worst.relative(alpha, r.get("alpha"), place);
        let gamma = p838::specific_attenuation_db_km(f, el, tau, r.get("R_mmh"));
        g_worst.relative(gamma, r.get("gammaR_dB_per_km"), place);
    }
    k_worst.within(1e-5);
    a_worst.within(1e-5);
    g_worst.within(1e-5);
}

/// P.838-3 Table 5 as printed: four significant digits, so half a unit of the fourth and a little.
#[test]
fn p838_printed_table() {
    let mut worst = Worst::of("P.838-3 Table 5");
    for r in Table::own("p838_table5_printed.csv").rows() {
        let c = p838::linear_coefficients(r.get("f_GHz"));
        for (got, column) in [
            (c.k_h, "kH"),
            (c.alpha_h, "alphaH"),
            (c.k_v, "kV"),
            (c.alpha_v, "alphaV"),
        ] {
            worst.relative(got, r.get(column), || {
                format!("{column} {}", r.get("f_GHz"))
            });
        }
    }
    worst.within(7e-4); // half of 1e-3 relative at worst (a leading digit 1), and the prints' own rounding
}

#[test]
fn p676_line_by_line() {
    let (mut o, mut w) = (Worst::of("P.676-12 gamma_o"), Worst::of("P.676-12 gamma_w"));
    for r in Table::own("p676_specific.csv").rows() {
        let (f, p, t, rho) = (
            r.get("f_GHz"),
            r.get("P_hPa"),
            r.get("T_K"),
            r.get("rho_gm3"),
        );
        let place = || format!("{f} GHz {p} hPa {t} K {rho} g/m3");
        o.relative(
            gamma_oxygen_db_km(f, p, t, rho),
            r.get("gamma0_dBkm"),
            place,
        );
        w.relative(gamma_water_db_km(f, p, t, rho), r.get("gammaw_dBkm"), place);
    }
    o.within(1e-3);
    w.within(1e-3);
}

#[test]
fn p676_slant_by_equivalent_heights() {
    let (mut plain, mut content) = (
        Worst::of("P.676-12 Annex 2 (rho)"),
        Worst::of("P.676-12 Annex 2 (V)"),
    );
    for r in Table::own("p676_gas_slant.csv").rows() {
        let (f, el) = (r.get("f_GHz"), r.get("el_deg"));
        let zenith = |v| {
            Zenith::new(
                f,
                r.get("P_hPa"),
                r.get("T_K"),
                r.get("rho_gm3"),
                r.get("h_km"),
                v,
            )
        };
        let place = || format!("{} {f} GHz", r.text("site"));
        plain.relative(zenith(None).slant_db(el), r.get("A_approx_dB"), place);
        let with_v = zenith(Some(r.get("V_kgm2"))).slant_db(el);
        content.relative(with_v, r.get("A_approx_V_dB"), place);
    }
    plain.within(1e-2);
    content.within(1e-2);
}

/// An independent ray trace through P.835-6 (see the file's head). Below 1 deg it is informative only:
/// the index inside a layer is taken at its middle here and at its bottom there.
#[test]
fn p676_layered_reference_atmosphere() {
    let (mut high, mut low, mut grazing) = (
        Worst::of("P.676-12 layered, el >= 5 deg"),
        Worst::of("P.676-12 layered, 1..5 deg"),
        Worst::of("P.676-12 layered, el < 1 deg (informative)"),
    );
    for r in Table::own("p676_layered_standard_atmosphere.csv").rows() {
        let (f, h, el) = (r.get("f_GHz"), r.get("h_km"), r.get("el_deg"));
        let path = LayeredPath::new(f, &p835::Atmosphere::reference(h));
        let got = path.trace(el).expect("clear of the ground").total_db();
        let worst = if el >= 5.0 {
            &mut high
        } else if el >= 1.0 {
            &mut low
        } else {
            &mut grazing
        };
        worst.relative(got, r.get("A_gas_dB"), || format!("{f} GHz h {h} el {el}"));
    }
    high.within(0.02);
    low.within(0.05);
    grazing.within(0.10);
}

/// The fit as an independent script computed it (printed to 1e-5 deg), for geometric elevation; and the
/// ERFA refraction model (radio, humidity 0.6) as a second opinion: it parts by up to 0.05 deg below 4 deg.
#[test]
fn p834_bending() {
    let (mut fit, mut erfa) = (
        Worst::of("P.834 fit, deg"),
        Worst::of("P.834 fit against ERFA, deg"),
    );
    for r in Table::own("p834_refraction.csv").rows() {
        let (h, el) = (r.get("h_m") / 1000.0, r.get("el_deg"));
        let a = p834::apparent_elevation(h, el).expect("a place");
        assert_eq!(a.method, p834::Method::Fit);
        let place = || format!("{} el {el}", r.text("site"));
        fit.see(a.bending_deg - r.get("refr_itu_P834_deg"), place);
        if !r.text("refr_erfa_deg").is_empty() {
            erfa.see(a.bending_deg - r.get("refr_erfa_deg"), place);
        }
    }
    fit.within(1.1e-5);
    erfa.within(0.05);
}

#[test]
fn p840_given_liquid_water() {
    let mut worst = Worst::of("P.840-7 cloud");
    for r in Table::own("p840_cloud.csv").rows() {
        let (f, el) = (r.get("f_GHz"), r.get("el_deg"));
        let got = p840::slant_attenuation_db(f, el, r.get("Lred_kgm2"));
        worst.relative(got, r.get("A_cloud_dB"), || {
            format!("{} {f} GHz", r.text("site"))
        });
    }
    worst.within(1e-3);
}

#[test]
fn p618_rain_given_rate_and_height() {
    let mut worst = Worst::of("P.618-13 rain");
    for r in Table::own("p618_rain_attenuation.csv").rows() {
        let path = RainPath::new(
            r.get("f_GHz"),
            r.get("el_deg"),
            r.get("tau_deg"),
            r.get("lat"),
            r.get("hs_km"),
            r.get("hR_km"),
            r.get("R001_mmh"),
        );
        let p = r.get("p_pct");
        let place = || format!("{} {} GHz p {p}", r.text("site"), r.get("f_GHz"));
        worst.relative(path.attenuation_db(p), r.get("A_rain_dB"), place);
    }
    worst.within(1e-3);
}

#[test]
fn p618_scintillation_given_refractivity() {
    let mut worst = Worst::of("P.618-13 scintillation");
    for r in Table::own("p618_scintillation.csv").rows() {
        let (f, el, p) = (r.get("f_GHz"), r.get("el_deg"), r.get("p_pct"));
        let s = Scintillation::new(f, el, r.get("D_m"), r.get("eta"), r.get("Nwet"));
        worst.relative(s.fade_db(p), r.get("A_scint_dB"), || {
            format!("{} {f} GHz p {p}", r.text("site"))
        });
    }
    worst.within(1e-3);
}

#[test]
fn p618_combination_of_the_listed_parts() {
    let mut worst = Worst::of("P.618-13 combination, dB");
    for r in Table::own("p618_total.csv").rows() {
        let got = total::combine_db(
            r.get("A_gas_dB"),
            r.get("A_cloud_dB"),
            r.get("A_rain_dB"),
            r.get("A_scint_dB"),
        );
        worst.see(got - r.get("A_total_dB"), || r.text("site").to_string());
    }
    worst.within(1e-5);
}

/// The shells of [`LayeredPath`] against the Recommendation's own 922 (equations 13 to 19), written here
/// plainly: angles from the cosine rule, refraction from Snell at each boundary.
#[test]
fn layers_against_the_recommendations_own_cut() {
    let atmosphere = p835::Atmosphere::reference(0.0);
    let mut worst = Worst::of("own shells against 922 layers");
    for f in [2.4, 10.475, 24.0] {
        let path = LayeredPath::new(f, &atmosphere);
        for el in [1.0f64, 3.0, 10.0, 45.0, 90.0] {
            let mut beta = (90.0 - el).to_radians();
            let (mut a_gas, mut h) = (0.0, 0.0);
            let layers: Vec<(f64, f64)> = (0..922)
                .map(|i| {
                    let d = 0.0001 * (f64::from(i) / 100.0).exp();
                    let bottom = h;
                    h += d;
                    (bottom, d)
                })
                .collect();
            for (i, &(bottom, d)) in layers.iter().enumerate() {
                let air = atmosphere.at(bottom + 0.5 * d);
                let r = 6371.0 + bottom;
                let c = r * beta.cos();
                let a = -c + (c * c + 2.0 * r * d + d * d).sqrt(); // (17)
                let alpha = (r * beta.sin() / (r + d)).clamp(-1.0, 1.0).asin(); // sine rule for (18a)
                a_gas += a
                    * (gamma_oxygen_db_km(f, air.p_dry_hpa, air.t_k, air.rho_gm3)
                        + gamma_water_db_km(f, air.p_dry_hpa, air.t_k, air.rho_gm3)); // (13)
                if let Some(&(next, dn)) = layers.get(i + 1) {
                    let n = |z: f64| 1.0 + 1e-6 * atmosphere.at(z).refractivity();
                    let ratio = n(bottom + 0.5 * d) / n(next + 0.5 * dn);
                    beta = (alpha.sin() * ratio).clamp(-1.0, 1.0).asin(); // (19a)
                }
            }
            let got = path.trace(el).expect("clear").total_db();
            worst.relative(got, a_gas, || format!("{f} GHz el {el}"));
        }
    }
    worst.within(2e-3);
}

/// Water vapour scaled from 20.6 GHz: at that frequency it is 0.0176 V by construction (equation 39), but
/// for the height term above 20 GHz, which vanishes at sea level.
#[test]
fn water_content_at_its_own_reference() {
    let a = water_from_content_db(20.6, 20.0, 0.0);
    assert!((a / (0.0176 * 20.0) - 1.0).abs() < 1e-12);
    assert_eq!(water_from_content_db(10.5, 0.0, 0.0), 0.0);
    assert!(p676::zenith::validity(10.5, 3.0).reasons()[0].contains("elevation"));
    assert!((p839::rain_height_km(3.0) - 3.36).abs() < 1e-12);
}
