//! The measurement as answers.

use super::{BeaconMeasured, Flag, Tune};
use crate::locate::{Location, NotFound};
use crate::measure::beacons::Presence;
use crate::measure::found::BeaconFound;
use crate::measure::health::Consequence;
use crate::noise::{NoStep, NoiseStep};
use crate::plan::{BeaconKind, SearchPlan};
use crate::source::About;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, ContributorId, Estimate, Share, Unit, to_db};
use slantpath_signal::Spectrum;

pub(super) struct Context<'a> {
    pub plan: &'a SearchPlan,
    pub location: &'a Result<Location, NotFound>,
    pub centre_hz: f64,
    pub centre_known: bool,
    pub about: &'a About,
    pub fs: f64,
    pub duration_s: f64,
    pub flags: &'a [Flag],
    pub s: &'a Spectrum,
}

impl Context<'_> {
    fn share(&self, what: &str, label: &str, u: f64, systematic: bool) -> Share {
        Share {
            id: ContributorId::new(format!("recording.{}.{what}", self.about.name)),
            label: label.into(),
            u,
            effect: u,
            systematic,
        }
    }
    fn refusal(&self, c: Consequence) -> Option<&Flag> {
        self.flags.iter().find(|f| f.refuses.contains(&c))
    }
    /// Standard uncertainty, dB, that health flags add to a kind of answer.
    fn added(&self, c: Consequence) -> f64 {
        self.flags
            .iter()
            .filter(|f| f.affects.contains(&c))
            .map(|f| f.added_u_db * f.added_u_db)
            .sum::<f64>()
            .sqrt()
    }
}

pub(super) fn all(
    c: &Context<'_>,
    beacons: &[BeaconMeasured],
    steps: &[(String, Result<NoiseStep, NoStep>)],
    tune: Option<&Tune>,
) -> Vec<Answer> {
    let mut out = Vec::new();
    for b in beacons {
        beacon(c, b, tune, &mut out);
    }
    oscillator(c, beacons, &mut out);
    for (name, step) in steps {
        noise(c, name, step, &mut out);
    }
    out
}

fn kind_words(k: BeaconKind) -> &'static str {
    match k {
        BeaconKind::Carrier => "C/N0 of the carrier",
        BeaconKind::KeyedCarrier => "C/N0 of the keyed carrier, key down",
        BeaconKind::Bpsk { .. } => "C/N0 of the BPSK beacon, mean power",
        BeaconKind::Modulated { .. } => "C/N0 of the modulated beacon, mean power",
    }
}

fn beacon(c: &Context<'_>, b: &BeaconMeasured, tune: Option<&Tune>, out: &mut Vec<Answer>) {
    let base = format!("{}.{}", b.plan.passband, b.plan.name);
    let label = format!(
        "{} {}: {}",
        b.plan.passband,
        b.plan.name,
        kind_words(b.plan.kind)
    );
    let id = format!("{base}.cn0");
    let Some(found) = &b.found else {
        let (why, what) = absent(c, b, tune);
        for (quantity, unit, label) in [
            ("cn0", Unit::DbHz, label.clone()),
            (
                "frequency",
                Unit::Hz,
                format!("{base}: frequency as recorded"),
            ),
        ] {
            out.push(Answer::unknown(
                format!("{base}.{quantity}"),
                label,
                unit,
                why.clone(),
                what.clone(),
            ));
        }
        return;
    };
    if let Some(f) = c.refusal(Consequence::CarrierToNoise) {
        out.push(Answer::unknown(
            id,
            label,
            Unit::DbHz,
            format!(
                "{} ({}); the beacon itself stands {:.1} dBHz above the noise averaged over the same time, a figure \
                 that may be off by as much as the gain moved",
                f.title,
                f.evidence,
                to_db(found.c_n0)
            ),
            f.remedy.clone(),
        ));
    } else if let Some(company) = found.company.as_ref().filter(|x| !x.trusted) {
        out.push(Answer::unknown(
            id,
            label,
            Unit::DbHz,
            format!("something else stands on the beacon: {}", company.evidence),
            "look for a spur of the receiver with the LNB unpowered, or shift the intermediate frequency a little",
        ));
    } else {
        out.push(carrier_to_noise(c, b, found, id, label));
    }
    if let Some(f) = c.refusal(Consequence::Level) {
        for q in ["level", "n0"] {
            out.push(Answer::unknown(
                format!("{base}.{q}"),
                format!("{base}: {q}"),
                if q == "level" {
                    Unit::Dbfs
                } else {
                    Unit::DbfsPerHz
                },
                format!("{} ({})", f.title, f.evidence),
                f.remedy.clone(),
            ));
        }
    } else {
        let u = db_of_relative_u((found.u_carrier.powi(2) + found.u_noise.powi(2) * 0.0).sqrt());
        out.push(Answer::known(
            format!("{base}.level"),
            format!("{base}: power as recorded"),
            Unit::Dbfs,
            Estimate::normal(to_db(found.c), u),
        ));
        let share = 1.0 + found.n0 * b.blocks.first().map_or(0.0, |x| x.1.noise_band_hz) / found.c;
        out.push(Answer::known(
            format!("{base}.n0"),
            format!("{base}: noise density at its frequency"),
            Unit::DbfsPerHz,
            Estimate::normal(to_db(found.n0), db_of_relative_u(found.u_noise / share)),
        ));
    }
    let drift_share = c.share(
        &format!("{base}.phase"),
        "phase noise and receiver noise on the phase",
        found.u_f_hz,
        false,
    );
    out.push(
        Answer::known(
            format!("{base}.frequency"),
            format!("{base}: frequency as recorded, middle of the recording"),
            Unit::Hz,
            Estimate::normal(c.centre_hz + found.f_hz, found.u_f_hz),
        )
        .with_shares(vec![drift_share])
        .because(format!(
            "it stands {:+.1} Hz from the recording's centre, {:+.1} Hz from its nominal place",
            found.f_hz,
            found.f_hz - b.nominal_hz
        )),
    );
    out.push(Answer::known(
        format!("{base}.offset"),
        format!("{base}: distance from the recording's centre"),
        Unit::Hz,
        Estimate::normal(found.f_hz, found.u_f_hz),
    ));
    out.push(Answer::known(
        format!("{base}.drift"),
        format!("{base}: drift"),
        Unit::HzPerS,
        Estimate::normal(found.drift, found.u_drift),
    ));
}

fn carrier_to_noise(
    c: &Context<'_>,
    b: &BeaconMeasured,
    f: &BeaconFound,
    id: String,
    label: String,
) -> Answer {
    let (u_c, u_n) = (db_of_relative_u(f.u_carrier), db_of_relative_u(f.u_noise));
    let added = c.added(Consequence::CarrierToNoise);
    let u_company = db_of_relative_u(f.u_company);
    let u = u_c.hypot(u_n).hypot(added).hypot(u_company);
    let mut shares = vec![
        c.share(
            &format!("{id}.carrier"),
            "noise on the carrier's power",
            u_c,
            false,
        ),
        c.share(
            &format!("{id}.noise"),
            "averaging of the noise beside it",
            u_n,
            false,
        ),
    ];
    if added > 0.0 {
        shares.push(c.share("health", "what the health flags say", added, true));
    }
    if u_company > 0.0 {
        shares.push(c.share(
            &format!("{id}.company"),
            "what else stands on the beacon, or the passband's falling side under it",
            u_company,
            true,
        ));
    }
    let what = match b.plan.kind {
        BeaconKind::KeyedCarrier => format!("{:.1} s of key-down carrier", f.down_s),
        _ => format!("{:.1} s of signal", f.down_s),
    };
    let mut a = Answer::known(id, label, Unit::DbHz, Estimate::normal(to_db(f.c_n0), u))
        .with_shares(shares)
        .because(format!(
            "{what} against {:.1} kHz of quiet noise beside it",
            f.n0_band_hz * 1e-3
        ));
    let slower = if u_n > u_c {
        "averaging of the noise"
    } else {
        "noise on the carrier"
    };
    a = a.because(format!(
        "the larger part of the uncertainty is the {slower}"
    ));
    if let Some(company) = &f.company {
        a = a.because(format!("{}; it was taken off", company.evidence));
    }
    if f.fading_db > 0.1 {
        a = a.because(format!(
            "its power moved by {:.2} dB (one standard deviation) meanwhile",
            f.fading_db
        ));
    }
    a.next(if c.duration_s < 20.0 {
        "record 20 to 60 s at the same settings".to_string()
    } else {
        "averaging is no longer what limits; repeat the recording another time".to_string()
    })
}

fn absent(c: &Context<'_>, b: &BeaconMeasured, tune: Option<&Tune>) -> (String, String) {
    let retune = tune.map_or_else(
        || "tune to the beacons and widen the sample rate".to_string(),
        |t| {
            format!(
                "tune to {:.4} MHz with at least {:.0} kS/s",
                t.centre_hz * 1e-6,
                (t.sample_rate_hz * 1e-3).ceil()
            )
        },
    );
    match (b.presence, c.location) {
        (Presence::NotLocated, Err(NotFound::OutOfBand)) => (
            format!(
                "with the centre at {:.4} MHz and {:.0} kS/s neither a beacon nor a passband can lie in the recording",
                c.centre_hz * 1e-6,
                c.fs * 1e-3
            ),
            retune,
        ),
        (Presence::NotLocated, _) => (
            format!(
                "no place within {:.0} kHz of the nominal one shows the beacons or the passband",
                c.plan.lo_tolerance_hz * 1e-3
            ),
            "check the stated centre and oscillator, that the LNB is powered on the right polarisation, and that the \
             dish points at the satellite"
                .into(),
        ),
        (Presence::OutOfBand, _) => (
            format!("it stands {:+.1} kHz from the centre, outside the recorded band", b.nominal_hz * 1e-3),
            retune,
        ),
        (Presence::Shown, _) => {
            // What would have been seen: six standard deviations of energy in its band.
            let half = b.plan.kind.half_width_hz();
            let limit = b.blocks.first().map(|(_, x)| {
                let n = (2.0 * half / c.duration_s.max(1e-9)).sqrt();
                to_db(6.0 * n.max(6.0 / c.duration_s.max(1e-9))) + 0.0 * x.n0
            });
            (
                format!(
                    "nothing stands at its place{}",
                    limit.map_or(String::new(), |l| format!("; a beacon above about {l:.0} dBHz would have been seen"))
                ),
                "check that the beacon is on the air, or record for longer".into(),
            )
        }
    }
}

/// Error of the common oscillator from every beacon found.
fn oscillator(c: &Context<'_>, beacons: &[BeaconMeasured], out: &mut Vec<Answer>) {
    let label = "oscillator: shift of everything received against its nominal frequency";
    let Ok(l) = c.location else {
        out.push(Answer::unknown(
            "lo.error",
            label,
            Unit::Hz,
            "the satellite was not found in the recording",
            "see the beacons",
        ));
        return;
    };
    if !c.centre_known {
        out.push(Answer::unknown(
            "lo.error",
            label,
            Unit::Hz,
            "the recording does not say its centre frequency: it was taken to be a planned one",
            "state the centre",
        ));
        return;
    }
    let sign = if l.meaning.is_inverted() { -1.0 } else { 1.0 };
    let used: Vec<(&BeaconMeasured, &BeaconFound)> = beacons
        .iter()
        .filter(|b| !matches!(b.plan.kind, BeaconKind::Modulated { .. }))
        .filter_map(|b| Some((b, b.found.as_ref()?)))
        .collect();
    let used = if used.is_empty() {
        beacons
            .iter()
            .filter_map(|b| Some((b, b.found.as_ref()?)))
            .collect()
    } else {
        used
    };
    if used.is_empty() {
        out.push(
            Answer::known(
                "lo.error",
                label,
                Unit::Hz,
                Estimate::normal(sign * l.shift_hz, l.u_shift_hz),
            )
            .because("no beacon was measured: the figure comes from the edges of the passband")
            .because(l.meaning.describe()),
        );
        return;
    }
    let mean = |value: &dyn Fn(&BeaconMeasured, &BeaconFound) -> (f64, f64)| -> (f64, f64) {
        let (mut w, mut s) = (0.0, 0.0);
        for (b, f) in &used {
            let (x, u) = value(b, f);
            let k = u.max(1e-4).powi(-2);
            w += k;
            s += k * x;
        }
        let m = s / w;
        let mut chi2 = 0.0;
        for (b, f) in &used {
            let (x, u) = value(b, f);
            chi2 += ((x - m) / u.max(1e-4)).powi(2);
        }
        // Beacons that disagree more than they should widen the result (Birge ratio).
        let ratio = (chi2 / (used.len() as f64 - 1.0).max(1.0)).sqrt().max(1.0);
        (m, w.powf(-0.5) * ratio)
    };
    let (shift, u) = mean(&|b, f| (f.f_hz - b.nominal_hz, f.u_f_hz));
    let (drift, u_drift) = mean(&|_, f| (f.drift, f.u_drift));
    let spread = used
        .iter()
        .map(|(b, f)| (f.f_hz - b.nominal_hz - shift).abs())
        .fold(0.0, f64::max);
    out.push(
        Answer::known(
            "lo.error",
            label,
            Unit::Hz,
            Estimate::normal(sign * shift, u),
        )
        .with_shares(vec![c.share(
            "lo.phase",
            "phase noise and receiver noise on the beacons' phase",
            u,
            false,
        )])
        .because(l.meaning.describe())
        .because(if used.len() > 1 {
            format!("{} beacons agree on it within {spread:.2} Hz", used.len())
        } else {
            "one beacon tells it".to_string()
        })
        .because(
            "the satellite's own translation error and Doppler (tens of hertz) are part of it",
        ),
    );
    out.push(
        Answer::known(
            "lo.drift",
            "oscillator: drift",
            Unit::HzPerS,
            Estimate::normal(sign * drift, u_drift),
        )
        .because("slope of the beacons' phase over the recording"),
    );
}

fn noise(c: &Context<'_>, name: &str, step: &Result<NoiseStep, NoStep>, out: &mut Vec<Answer>) {
    let id = format!("{name}.noise_step");
    let label = format!("{name}: noise step at the passband's edge");
    let s = match step {
        Ok(s) => s,
        Err(why) => {
            let (reason, remedy) = match why {
                NoStep::CentreCut {
                    shown,
                    middle_hz,
                    sample_rate_hz,
                } => (
                    format!(
                        "{:.0} % of the central part of the passband lies in the recording, and all of it is needed",
                        100.0 * shown
                    ),
                    format!(
                        "tune to {:.4} MHz and record at {:.0} kS/s or more",
                        (c.centre_hz + middle_hz) * 1e-6,
                        (sample_rate_hz * 1e-4).ceil() * 10.0
                    ),
                ),
                NoStep::NoOutside { sample_rate_hz } => (
                    "the recording has no flat window beyond the passband's skirt".to_string(),
                    format!(
                        "record at {:.0} kS/s or more with this centre",
                        (sample_rate_hz * 1e-4).ceil() * 10.0
                    ),
                ),
                NoStep::NoQuiet => (
                    "signals leave no quiet bins to measure the noise in".to_string(),
                    "record when the passband is less busy".to_string(),
                ),
            };
            out.push(Answer::unknown(id, label, Unit::Db, reason, remedy));
            return;
        }
    };
    if let Some(f) = c.refusal(Consequence::NoiseStep) {
        out.push(Answer::unknown(
            id,
            label,
            Unit::Db,
            format!("{} ({})", f.title, f.evidence),
            f.remedy.clone(),
        ));
    } else {
        let (r, k) = (db_of_relative_u(s.u_random), db_of_relative_u(s.u_slope));
        let added = c.added(Consequence::NoiseStep);
        let mut shares = vec![c.share(
            &format!("{id}.average"),
            "averaging of the noise inside and outside",
            r,
            false,
        )];
        if k > 1e-6 {
            shares.push(c.share(
                &format!("{id}.slope"),
                "receiver's slope, seen on one side alone",
                k,
                true,
            ));
        }
        if added > 0.0 {
            shares.push(c.share("health", "what the health flags say", added, true));
        }
        let ripple = db_of_relative_u(s.u_ripple);
        if ripple > 0.0 {
            shares.push(c.share(
                &format!("{id}.ripple"),
                "receiver's ripple, as the noise outside shows it",
                ripple,
                true,
            ));
        }
        out.push(
            Answer::known(
                id,
                label,
                Unit::Db,
                Estimate::normal(to_db(s.ratio), r.hypot(k).hypot(added).hypot(ripple)),
            )
                .with_shares(shares)
                .because(format!(
                    "{:.0} kHz of quiet noise inside against {:.0} kHz outside, for {:.1} s",
                    s.quiet_hz.0 * 1e-3,
                    s.quiet_hz.1 * 1e-3,
                    c.s.duration_s()
                ))
                .because(if k > r {
                    "the larger part of the uncertainty is the receiver's slope: noise shows on one side of the \
                     passband alone"
                } else {
                    "the larger part of the uncertainty is averaging"
                })
                .next(if k > r {
                    "tune to the middle of the passband, so that noise shows on both sides"
                } else {
                    "record 20 to 60 s at the same settings"
                }),
        );
    }
    for (q, words, value, u) in [
        (
            "noise_inside",
            "mean noise density over the central 60 %",
            s.inside,
            s.u_inside,
        ),
        (
            "noise_outside",
            "receiver noise density, at the recording's centre",
            s.outside,
            s.u_outside,
        ),
    ] {
        let (id, label) = (format!("{name}.{q}"), format!("{name}: {words}"));
        out.push(match c.refusal(Consequence::Level) {
            Some(f) => Answer::unknown(
                id,
                label,
                Unit::DbfsPerHz,
                format!("{} ({})", f.title, f.evidence),
                f.remedy.clone(),
            ),
            None => Answer::known(
                id,
                label,
                Unit::DbfsPerHz,
                Estimate::normal(to_db(value), db_of_relative_u(u)),
            ),
        });
    }
}
