//! Aperture integration against closed forms, physical optics and conservation of energy.

use slantpath_antenna::AntennaError;
use slantpath_antenna::aperture::Taper;
use slantpath_antenna::budget::{
    Aim, BandFeed, Blockage, Nodes, Part, Placement, beam, beam_polarisation, budget, compromise,
    cut, optics,
};
use slantpath_antenna::degradation::{
    Strut, axial_defocus_loss, blockage_loss, lateral_squint, pointing_loss,
};
use slantpath_antenna::illumination::{best_half_angle, cos_n, cos_n_closed};
use slantpath_antenna::pattern::{Beyond, Field, GridPattern, Pattern, TablePoint};
use slantpath_antenna::polarisation::{Polarisation, Sense};
use slantpath_antenna::quadrature::integrate;
use slantpath_antenna::reflector::Reflector;
use slantpath_quantity::{Angle, Decibel, Frequency, Length};
use std::f64::consts::PI;

const F: Frequency = Frequency::ghz(10.4725);

fn feed(n: f64) -> Pattern {
    Pattern::cos_n(n, Polarisation::VERTICAL).unwrap()
}
fn prime(d: f64, half_angle_deg: f64) -> Reflector {
    let f = 0.25 * d / (0.5 * half_angle_deg.to_radians()).tan();
    Reflector::prime_focus(Length::m(d), Length::m(f)).unwrap()
}
fn offset(d: f64, fd: f64) -> Reflector {
    Reflector::offset(Length::m(d), Length::m(fd * d), Length::m(0.02 * d)).unwrap()
}
fn ideal() -> (Placement, Blockage, Length) {
    (Placement::default(), Blockage::default(), Length::m(0.0))
}

/// Silver's closed forms to 1e-5, the parts against theirs; every polarisation alike.
#[test]
fn prime_focus_is_the_closed_form() {
    let (p, b, s) = ideal();
    for n in [2u8, 4, 6, 8] {
        for deg in [38.0, 53.0, 66.0, 80.0] {
            for pol in [
                Polarisation::VERTICAL,
                Polarisation::LEFT_CIRCULAR,
                Polarisation::linear(Angle::deg(31.0)),
            ] {
                let r = prime(1.2, deg);
                let got =
                    budget(&r, &Pattern::cos_n(n.into(), pol).unwrap(), &p, &b, s, F).unwrap();
                let want = cos_n_closed(n, Angle::deg(deg)).unwrap();
                assert!(
                    (got.efficiency - want).abs() < 1e-5,
                    "n={n} {deg}: {} {want}",
                    got.efficiency
                );
                let parts = cos_n(n.into(), Angle::deg(deg)).unwrap();
                assert!((got.factor(Part::Spill) - parts.spill).abs() < 1e-5);
                assert!((got.factor(Part::Taper) - parts.taper).abs() < 1e-5);
                assert!((got.factor(Part::CrossPolar) - 1.0).abs() < 1e-9);
                assert!(
                    (got.edge[0].0 - parts.edge.0).abs() < 0.05
                        && (got.edge[1].0 - parts.edge.0).abs() < 0.05
                );
                assert!(got.best_axial.as_mm().abs() < 0.05, "{}", got.best_axial);
            }
        }
    }
}

/// The factors are the efficiency, also with every error of the mount at once.
#[test]
fn parts_multiply_to_the_whole() {
    let r = offset(0.9, 0.6);
    let placement = Placement {
        aim: Aim::Centre,
        axial: Length::mm(6.0),
        lateral: [Length::mm(4.0), Length::mm(-7.0)],
        tilt: [Angle::deg(3.0), Angle::deg(-2.0)],
    };
    let got = budget(
        &r,
        &feed(7.3),
        &placement,
        &Blockage::default(),
        Length::mm(0.8),
        F,
    )
    .unwrap();
    let product: f64 = got.factors.iter().product();
    assert!((product / got.efficiency - 1.0).abs() < 1e-12);
    for part in [Part::Axial, Part::Lateral, Part::Surface, Part::CrossPolar] {
        assert!(
            got.factor(part) < 1.0,
            "{}: {}",
            part.name(),
            got.factor(part)
        );
    }
    assert!(best_half_angle(8.0).unwrap().as_deg() > 40.0);
}

/// The offset's own integral is below the half-angle shortcut: .7837 against .8135 for cos^8, 0.16 dB (own numerical study,
/// whose clearance is not stated: the one that gives its shortcut figure is looked for).
#[test]
fn offset_is_not_its_half_angle() {
    let (p, b, s) = ideal();
    let mut found = None;
    for mm in 0..60 {
        let r =
            Reflector::offset(Length::m(0.9), Length::m(0.54), Length::mm(f64::from(mm))).unwrap();
        let shortcut = cos_n(8.0, r.half_angle()).unwrap().aperture;
        let own = budget(&r, &feed(8.0), &p, &b, s, F).unwrap().efficiency;
        if (shortcut - 0.8135).abs() < 5e-5 {
            found = Some((mm, shortcut, own));
        }
    }
    let (mm, shortcut, own) = found.unwrap();
    println!("clearance {mm} mm: {own:.5} against {shortcut:.5}");
    assert!((own - 0.7837).abs() < 3e-4, "{own}");
}

/// Physical optics against aperture integration: boresight within 0.001 dB, 8 mm off focus and tilted within 0.03; main lobe over cuts.
#[test]
fn physical_optics_agrees() {
    let (_, b, s) = ideal();
    for (r, n) in [(offset(0.9, 0.6), 8.0), (prime(0.9, 62.0), 4.0)] {
        let pattern = feed(n);
        let nodes = Nodes::for_cut(&r, 12.0);
        let z = Angle::deg(0.0);
        let p = Placement::default();
        let ai = budget(&r, &pattern, &p, &b, s, F).unwrap().gain.0;
        let po = optics::gain(&nodes, &pattern, &p, F, z, z).0;
        // PO gives both polarisations together; the offset's cross-polar is zero on boresight by symmetry.
        assert!((ai - po).abs() < 1e-3, "{ai} {po}");
        let moved = Placement {
            axial: Length::mm(8.0),
            tilt: [Angle::deg(2.0), Angle::deg(1.0)],
            ..p
        };
        let ai = budget(&r, &pattern, &moved, &b, s, F).unwrap();
        let [u, v] = ai.squint.map(|a| a.as_rad().sin());
        let po = optics::gain(
            &nodes,
            &pattern,
            &moved,
            F,
            Angle::rad(u.hypot(v).asin()),
            Angle::rad(v.atan2(u)),
        )
        .0;
        // Off focus the reflected rays are no longer parallel; aperture integration ignores their slant.
        assert!((ai.gain.0 - po).abs() < 0.03, "{} {po}", ai.gain);
        let line = cut(&r, &pattern, &p, F, Angle::deg(90.0), Angle::deg(2.0), 41).unwrap();
        let top = line[20].co.0;
        for c in line.iter().filter(|c| c.co.0 > top - 6.0) {
            let phi = if c.angle.as_rad() < 0.0 { -90.0 } else { 90.0 };
            let po = optics::gain(
                &nodes,
                &pattern,
                &p,
                F,
                Angle::rad(c.angle.as_rad().abs()),
                Angle::deg(phi),
            )
            .0;
            let both = slantpath_quantity::to_db(c.co.ratio() + c.cross.ratio());
            assert!(
                (both - po).abs() < 0.08,
                "{}: {both} {po}",
                c.angle.as_deg()
            );
        }
    }
}

/// Nodes: 6 x 16 suffice on boresight (own numerical study) and the standard nodes are converged.
#[test]
fn converged() {
    use slantpath_antenna::budget::budget_on;
    let (p, b, s) = ideal();
    let r = offset(1.2, 0.6);
    let fine = budget_on(&Nodes::new(&r, 40, 96), &feed(8.0), &p, &b, s, F)
        .unwrap()
        .efficiency;
    let coarse = budget_on(&Nodes::new(&r, 6, 16), &feed(8.0), &p, &b, s, F)
        .unwrap()
        .efficiency;
    let standard = budget(&r, &feed(8.0), &p, &b, s, F).unwrap().efficiency;
    assert!(
        (coarse - fine).abs() < 1e-5 && (standard - fine).abs() < 1e-8,
        "{coarse} {standard} {fine}"
    );
}

/// Everything radiated is accounted for: the beam's own far field carries the captured power (Parseval), within 0.2 %
/// plus what leaves the visible cap integrated.
#[test]
fn far_field_carries_the_captured_power() {
    let r = prime(0.9, 60.0);
    // -20 dB edge, so that the sidelobes beyond the cap hold next to nothing
    let n = 10.0;
    let (p, b, s) = ideal();
    let got = budget(&r, &feed(n), &p, &b, s, F).unwrap();
    let reach = Angle::deg(25.0);
    let line = cut(&r, &feed(n), &p, F, Angle::deg(0.0), reach, 4001).unwrap();
    // Rotational: int G/(4 pi) 2 pi sin t dt over one half of the cut, without the obliquity factor
    let dt = 2.0 * reach.as_rad() / 4000.0;
    let power: f64 = line[2000..]
        .iter()
        .map(|c| {
            let t = c.angle.as_rad();
            c.co.ratio() / (0.25 * (1.0 + t.cos()).powi(2)) * 0.5 * t.sin() * dt / t.cos().max(0.1)
        })
        .sum();
    println!(
        "captured {:.5} in the far field {power:.5}",
        got.factor(Part::Spill)
    );
    assert!(
        (power / got.factor(Part::Spill) - 1.0).abs() < 0.002,
        "{power}"
    );
}

#[test]
fn beam_of_a_pedestal_like_illumination() {
    // A feed made to light the dish with the parabola on a -10 dB pedestal: 65.17 deg lambda/D, -22.28 dB, taper .9174.
    let r = prime(1.2, 35.0);
    let p = Placement::default();
    let lambda_d = F.wavelength() / r.diameter();
    let t0 = 35f64.to_radians();
    let c = slantpath_quantity::amplitude_from_db(-10.0);
    let rows: Vec<_> = (0..=70)
        .map(|i| {
            let t = t0 * f64::from(i) / 70.0;
            let rho = (0.5 * t).tan() / (0.5 * t0).tan();
            let e = (c + (1.0 - c) * (1.0 - rho * rho)) / (0.5 * t).cos().powi(2);
            TablePoint::level(
                Angle::rad(t),
                Decibel(slantpath_quantity::amplitude_to_db(e)),
            )
        })
        .collect();
    let made = Pattern::rotational(&rows, Beyond::Nothing, Polarisation::VERTICAL).unwrap();
    let b = beam(&r, &made, &p, F).unwrap();
    for w in b.half_power_beamwidth {
        assert!(
            (w.as_deg() / lambda_d - 65.17).abs() < 0.03,
            "{}",
            w.as_deg() / lambda_d
        );
    }
    for s in b.first_sidelobe {
        assert!((s.unwrap().0 + 22.28).abs() < 0.02, "{s:?}");
    }
    let got = budget(&r, &made, &p, &Blockage::default(), Length::m(0.0), F).unwrap();
    assert!(
        (got.factor(Part::Taper) - 0.917_46).abs() < 3e-5,
        "{}",
        got.factor(Part::Taper)
    );
    assert!((got.factor(Part::Spill) - 1.0).abs() < 1e-4 && !got.validity.is_inside());
    assert!(b.squint[0].as_deg().abs() < 1e-6 && b.squint[1].as_deg().abs() < 1e-6);
    // nearly flat: cos^0-like feed on a long dish is uniform
    let flat = prime(1.2, 8.0);
    let b = beam(&flat, &feed(0.0), &p, F).unwrap();
    assert!((b.half_power_beamwidth[0].as_deg() / lambda_d - 58.96).abs() < 0.05);
    assert!(
        (b.first_sidelobe[1].unwrap().0 + 17.57).abs() < 0.05,
        "{:?}",
        b.first_sidelobe
    );
    // and its loss off the peak is that of the uniform aperture, and near the Gaussian rule
    let line = cut(
        &flat,
        &feed(0.0),
        &p,
        F,
        Angle::deg(0.0),
        Angle::deg(0.5),
        11,
    )
    .unwrap();
    let down = line[5].co.0 - line[10].co.0;
    let exact = Taper::UNIFORM
        .pointing_loss(Angle::deg(0.5), r.diameter(), F)
        .unwrap()
        .0;
    assert!((down - exact).abs() < 0.01, "{down} {exact}");
    assert!(
        (down
            - pointing_loss(Angle::deg(0.5), b.mean_beamwidth())
                .unwrap()
                .0)
            .abs()
            < 0.15
    );
}

/// Defocus: closed form for a flat illumination; the study's exact uniform figure at 62 deg, 20 mm is 2.02 dB.
#[test]
fn focus_errors() {
    let (p, b, s) = ideal();
    let f = Frequency::ghz(10.45);
    let r = prime(1.2, 40.0);
    // Mean of both directions: moving towards the dish also catches more of the feed's power.
    let loss = |mm: f64| {
        let one = |mm: f64| {
            let moved = Placement {
                axial: Length::mm(mm),
                ..p
            };
            budget(&r, &feed(0.0), &moved, &b, s, f)
                .unwrap()
                .loss(Part::Axial)
                .0
        };
        0.5 * (one(mm) + one(-mm))
    };
    for (mm, closed) in [(10.0, 0.10), (20.0, 0.38)] {
        assert!((loss(mm) - closed).abs() < 0.03, "{mm}: {}", loss(mm));
        assert!(
            (loss(mm)
                - axial_defocus_loss(Length::mm(mm), Angle::deg(40.0), f)
                    .unwrap()
                    .0)
                .abs()
                < 0.03
        );
    }
    assert!(loss(20.0) > 3.0 * loss(10.0));
    // lateral: squint by the beam deviation factor, opposite to the feed
    let r = prime(1.2, 50.0);
    let moved = Placement {
        lateral: [Length::mm(10.0), Length::mm(0.0)],
        ..p
    };
    let got = budget(&r, &feed(5.0), &moved, &b, s, f).unwrap();
    let rule = lateral_squint(Length::mm(10.0), r.focal_length(), r.f_over_d())
        .unwrap()
        .as_deg();
    assert!(
        (got.squint[0].as_deg() + rule).abs() < 0.05 * rule,
        "{} {rule}",
        got.squint[0].as_deg()
    );
    assert!(got.loss(Part::Lateral).0 > 0.0 && got.loss(Part::Lateral).0 < 0.2);
}

#[test]
fn blockage_against_the_closed_form() {
    let r = prime(0.9, 35.0);
    let t0 = 35f64.to_radians();
    let n = (-10.0 - 40.0 * (0.5 * t0).cos().log10()) / (10.0 * t0.cos().log10());
    let strut = Strut {
        width: Length::mm(15.0),
        length: Length::m(0.4),
    };
    let taper = Taper::pedestal(Decibel(-10.0), 1).unwrap();
    // The cos^n profile against the parabola: mean over the area, by quadrature.
    let profile = |rho: f64| {
        let t = 2.0 * (rho * (0.5 * t0).tan()).atan();
        t.cos().powf(0.5 * n) * (0.5 * t).cos().powi(2)
    };
    let mean = integrate(24, 0.0, 1.0, |rho| 2.0 * rho * profile(rho));
    let along = integrate(24, 1.0 / 9.0, 1.0, profile) / (8.0 / 9.0);
    for struts in [0usize, 3] {
        let block = Blockage {
            feed: Length::m(0.1),
            struts: (0..struts)
                .map(|i| (strut, Angle::deg(120.0 * i as f64 + 30.0)))
                .collect(),
        };
        let got = budget(
            &r,
            &feed(n),
            &Placement::default(),
            &block,
            Length::m(0.0),
            F,
        )
        .unwrap();
        let area = PI * 0.45f64.powi(2);
        let field = (1.0 / 81.0 + struts as f64 * 0.015 * 0.4 / area * along) / mean;
        let want = -20.0 * (1.0 - field).log10();
        let got = got.loss(Part::Blockage).0;
        assert!((got - want).abs() < 0.01 * want, "{struts}: {got} {want}");
        // the parabola's closed form is near
        let rule = blockage_loss(r.diameter(), Length::m(0.1), &vec![strut; struts], taper)
            .unwrap()
            .0;
        assert!((got - rule).abs() < 0.15 * rule, "{struts}: {got} {rule}");
    }
    // an offset dish's feed stands outside its aperture
    let block = Blockage {
        feed: Length::m(0.02),
        struts: vec![],
    };
    let off = Reflector::offset(Length::m(0.9), Length::m(0.54), Length::mm(25.0)).unwrap();
    let got = budget(
        &off,
        &feed(8.0),
        &Placement::default(),
        &block,
        Length::m(0.0),
        F,
    )
    .unwrap();
    assert_eq!(got.factor(Part::Blockage), 1.0);
}

/// Circular beam squint of an offset dish: opposite for the two senses, none for linear
/// (T.-S. Chu & R. Turrin 1973; size by Adatia & Rudge 1975, `sin squint = lambda sin(aim) / (4 pi f)`: from memory).
#[test]
fn circular_squint_of_an_offset_dish() {
    let (p, b, s) = ideal();
    let r = offset(1.2, 0.6);
    let at = |pol| {
        budget(&r, &Pattern::cos_n(8.0, pol).unwrap(), &p, &b, s, F)
            .unwrap()
            .squint[0]
            .as_rad()
    };
    let (rh, lh, lin) = (
        at(Polarisation::RIGHT_CIRCULAR),
        at(Polarisation::LEFT_CIRCULAR),
        at(Polarisation::VERTICAL),
    );
    assert!((rh + lh).abs() < 1e-9 && lin.abs() < 1e-9);
    let rule = F.wavelength().as_m() * r.bisector_angle().as_rad().sin()
        / (4.0 * PI * r.focal_length().as_m());
    assert!((rh.abs() / rule - 1.0).abs() < 0.15, "{} {rule}", rh.abs());
}

#[test]
fn the_reflector_reverses_the_sense() {
    let feed = Pattern::cos_n(6.0, Polarisation::RIGHT_CIRCULAR).unwrap();
    assert_eq!(beam_polarisation(&feed).unwrap().sense(), Some(Sense::Left));
}

#[test]
fn two_bands_on_one_mount() {
    let r = prime(1.2, 62.0);
    let (up, down) = (feed(3.0), feed(4.0));
    let bands = |w: f64| {
        [
            BandFeed {
                pattern: &up,
                frequency: Frequency::ghz(2.4),
                on_mount: Length::mm(12.0),
                weight: 1.0,
            },
            BandFeed {
                pattern: &down,
                frequency: F,
                on_mount: Length::mm(-8.0),
                weight: w,
            },
        ]
    };
    let c = compromise(&r, Aim::Bisector, &bands(1.0)).unwrap();
    assert!(
        (c.alone[0].as_mm() + 12.0).abs() < 0.5 && (c.alone[1].as_mm() - 8.0).abs() < 0.2,
        "{:?}",
        c.alone
    );
    // the short wave decides: near its own best, with little lost on the long one
    assert!(
        (c.best.position.as_mm() - 8.0).abs() < 2.5,
        "{}",
        c.best.position
    );
    assert!(c.best.losses.iter().all(|l| l.0 < 0.2));
    let flat = compromise(&r, Aim::Bisector, &bands(0.0)).unwrap();
    assert!((flat.best.position - flat.alone[0]).as_mm().abs() < 0.5);
    assert!(compromise(&r, Aim::Bisector, &[]).is_err());
}

#[test]
fn a_feed_that_looks_past_the_dish_is_refused() {
    let r = offset(0.9, 0.6);
    let (_, b, s) = ideal();
    let p = Placement {
        aim: Aim::FromAxis(Angle::deg(95.0)),
        ..Placement::default()
    };
    let e = budget(&r, &feed(8.0), &p, &b, s, F).unwrap_err();
    assert!(matches!(e, AntennaError::FeedOutsideCone(_)) && e.to_string().contains("aim it at"));
    let p = Placement {
        axial: Length::m(1.0),
        ..Placement::default()
    };
    assert!(budget(&r, &feed(8.0), &p, &b, s, F).is_err());
    let p = Placement {
        tilt: [Angle::rad(f64::NAN), Angle::default()],
        ..Placement::default()
    };
    assert!(budget(&r, &feed(8.0), &p, &b, s, F).is_err());
}

#[test]
fn no_beam_is_said_and_far_phase_centres_are_flagged() {
    let r = prime(1.2, 62.0);
    let far = Placement {
        axial: Length::mm(180.0),
        ..Placement::default()
    };
    let said = beam(&r, &feed(4.0), &far, F);
    assert!(said.is_err() || said.is_ok_and(|b| b.half_power_beamwidth[0].as_deg() > 3.0));
    let k = 2.0 * PI / F.wavelength().as_m();
    let base = feed(4.0);
    let moved = |z: f64| {
        let g = GridPattern::sample(361, 12, |t, p| {
            let (e, s) = (
                base.field(t, p),
                num_complex::Complex64::from_polar(1.0, k * z * t.cos()),
            );
            Field {
                theta: e.theta * s,
                phi: e.phi * s,
            }
        });
        Pattern::grid(g.unwrap(), Polarisation::VERTICAL)
    };
    let (p, b, s) = ideal();
    assert!(
        budget(&r, &moved(0.06), &p, &b, s, F)
            .unwrap()
            .validity
            .is_inside()
    );
    assert!(
        !budget(&r, &moved(0.2), &p, &b, s, F)
            .unwrap()
            .validity
            .is_inside()
    );
}
