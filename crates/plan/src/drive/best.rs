//! The drive that leaves the most margin.

use super::chain::Chain;
use super::probe::{Probe, ShoulderWindow};
use super::waveform::Waveform;
use crate::error::{PlanError, Result, finite, not_negative};
use slantpath_quantity::{from_db, to_db};

/// How a receiver hears the station: linear in the level at the amplifier's output.
#[derive(Debug, Clone, PartialEq)]
pub struct Reception {
    /// Whose receiver.
    pub receiver: String,
    /// Level at the amplifier's output to which the ratios belong, dBm.
    pub at_dbm: f64,
    /// Es/N0 against the satellite's own noise at that level, dB.
    pub satellite_db: f64,
    /// Es/N0 against the receiving station's noise, dB; infinite when only the satellite counts.
    pub station_db: f64,
    /// Ratio to the satellite's intermodulation in the symbol-rate bandwidth, dB; infinite when none is assumed.
    pub intermodulation_db: f64,
    /// MER of the transmitter's own output, dB; infinite when not known.
    pub source_mer_db: f64,
}

impl Reception {
    /// Es/N0 of noise alone at another output, dB: satellite and station together.
    pub fn noise_db(&self, out_dbm: f64) -> f64 {
        let up = out_dbm - self.at_dbm;
        -to_db(from_db(-self.satellite_db) + from_db(-self.station_db)) + up
    }
    /// Everything together at another output with the amplifier's MER: the sum of what disturbs, each as noise, dB.
    ///
    /// Distortion is taken as noise of the same power, which holds for the many symbols a code word spans; the
    /// satellite's intermodulation is taken at its ratio for the stated level, as other carriers make most of it.
    pub fn total_db(&self, out_dbm: f64, mer_db: Option<f64>) -> f64 {
        let up = out_dbm - self.at_dbm;
        -to_db(
            from_db(-self.noise_db(out_dbm))
                + from_db(-(self.intermodulation_db + up))
                + from_db(-self.source_mer_db)
                + mer_db.map_or(0.0, |m| from_db(-m)),
        )
    }
}

/// What is wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct Goal {
    /// Highest shoulder, dBc.
    pub shoulder_dbc: f64,
    /// Where it is read.
    pub window: ShoulderWindow,
    /// Es/N0 that the receiver needs, dB: the code's threshold and the implementation loss. `None`: the most of the
    /// total ratio, whatever the code.
    pub need_db: Option<f64>,
}

/// Something else that limits the output.
#[derive(Debug, Clone, PartialEq)]
pub struct Ceiling {
    /// What, in words that fit "limited by ...".
    pub what: String,
    /// Highest mean level out of the amplifier, dBm.
    pub out_dbm: f64,
}

/// What stops the drive from going higher.
#[derive(Debug, Clone, PartialEq)]
pub enum Bound {
    /// More drive costs more in distortion than it gains in level.
    Margin,
    /// The shoulders reach their limit.
    Shoulders,
    /// The transmitter gives no more.
    Transmitter,
    /// Another limit, in its words.
    Ceiling(String),
}

/// The advice.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// What comes out at the advised drive.
    pub probe: Probe,
    /// What stops it from going higher.
    pub bound: Bound,
    /// Total Es/N0 at each receiver, dB.
    pub total_db: Vec<f64>,
    /// Margin over what is needed at the worst-placed receiver, dB; `None` without a need or a receiver.
    pub margin_db: Option<f64>,
    /// Mean output at which the shoulders reach their limit, dBm; `None` when the transmitter cannot drive that far.
    pub shoulder_out_dbm: Option<f64>,
    /// Margin, shoulders and MER against drive, for a drawing: (drive dBm, output dBm, worst shoulder dBc, MER dB, total dB).
    pub curve: Vec<CurvePoint>,
}

/// One point of the advice's curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Mean drive, dBm.
    pub drive_dbm: f64,
    /// Mean output, dBm.
    pub out_dbm: f64,
    /// Worst shoulder, dBc.
    pub shoulder_dbc: f64,
    /// MER, dB, if there are symbols.
    pub mer_db: Option<f64>,
    /// Total Es/N0 at the worst-placed receiver, dB; the level without receivers.
    pub worth_db: f64,
}

/// The drive for a mean output, dBm; `None` when the chain cannot give it up to `max_drive_dbm`.
///
/// # Errors
/// Levels that are not finite.
pub fn drive_for_output(
    chain: &Chain,
    waveform: &Waveform,
    out_dbm: f64,
    max_drive_dbm: f64,
) -> Result<Option<f64>> {
    finite("the wanted output", out_dbm, "dBm")?;
    finite("the largest drive", max_drive_dbm, "dBm")?;
    let out = |d: f64| {
        slantpath_quantity::Power::w(super::waveform::mean_power(
            &chain.run(&waveform.samples, d),
        ))
        .as_dbm()
    };
    if out(max_drive_dbm) < out_dbm {
        return Ok(None);
    }
    // Compression only lowers the output: the straight chain's drive is the lower end.
    let (mut lo, mut hi) = (
        (out_dbm - chain.small_gain_db() - 1.0).min(max_drive_dbm - 1e-6),
        max_drive_dbm,
    );
    for _ in 0..40 {
        let mid = 0.5 * (lo + hi);
        if out(mid) >= out_dbm {
            hi = mid;
        } else {
            lo = mid;
        }
        if hi - lo < 1e-3 {
            break;
        }
    }
    Ok(Some(hi))
}

/// The highest mean drive whose worst shoulder stays at or under `shoulder_dbc`; `None` when even `max_drive_dbm` shows
/// less (the transmitter cannot drive that far) or when the waveform shows more however weak it is.
///
/// Shoulders of a compressing amplifier rise with drive; the search halves 40 dB below the largest drive.
///
/// # Errors
/// Figures that are not finite.
pub fn drive_for_shoulder(
    chain: &Chain,
    waveform: &Waveform,
    window: ShoulderWindow,
    shoulder_dbc: f64,
    max_drive_dbm: f64,
) -> Result<Option<f64>> {
    finite("the shoulder", shoulder_dbc, "dBc")?;
    finite("the largest drive", max_drive_dbm, "dBm")?;
    let at = |d: f64| Probe::at(chain, waveform, d, window).map(|p| p.shoulder.worst_dbc());
    let (mut lo, mut hi) = (max_drive_dbm - 40.0, max_drive_dbm);
    if at(hi)? < shoulder_dbc || at(lo)? > shoulder_dbc {
        return Ok(None);
    }
    while hi - lo > 0.01 {
        let mid = 0.5 * (lo + hi);
        if at(mid)? > shoulder_dbc {
            hi = mid;
        } else {
            lo = mid;
        }
    }
    Ok(Some(lo))
}

/// Looks for the drive with the largest total Es/N0 at the worst-placed receiver (without receivers: the largest
/// output) among those whose shoulders stay under the goal's limit and whose output stays under every ceiling.
/// `max_drive_dbm` is the transmitter's largest mean output.
///
/// # Errors
/// Figures that are not finite; limits that even 40 dB less than the largest drive do not keep.
pub fn best(
    chain: &Chain,
    waveform: &Waveform,
    goal: &Goal,
    receivers: &[Reception],
    ceilings: &[Ceiling],
    max_drive_dbm: f64,
) -> Result<Advice> {
    finite("the largest drive", max_drive_dbm, "dBm")?;
    finite("the shoulder limit", goal.shoulder_dbc, "dBc")?;
    not_negative("the shoulder window's width", goal.window.width, "")?;
    let probe = |d: f64| Probe::at(chain, waveform, d, goal.window);
    let worth = |p: &Probe| {
        receivers
            .iter()
            .map(|r| r.total_db(p.out_dbm, p.mer_db))
            .fold(f64::INFINITY, f64::min)
            .min(if receivers.is_empty() {
                p.out_dbm
            } else {
                f64::INFINITY
            })
    };
    let ceiling = ceilings
        .iter()
        .filter(|c| c.out_dbm.is_finite())
        .min_by(|a, b| a.out_dbm.total_cmp(&b.out_dbm));
    // From the largest drive down, a decibel a step: coarse curve for the search and for the drawing. The amplifier
    // may be reached far below the largest drive; a chain that is straight to saturation needs no finer look.
    let saturated_drive = chain.amplifier().curve.saturation_dbm() - chain.small_gain_db() + 6.0;
    let top = max_drive_dbm.min(saturated_drive);
    let mut coarse = Vec::with_capacity(41);
    for k in 0..=40 {
        coarse.push(probe(top - 40.0 + f64::from(k))?);
    }
    let curve = coarse
        .iter()
        .map(|p| CurvePoint {
            drive_dbm: p.drive_dbm,
            out_dbm: p.out_dbm,
            shoulder_dbc: p.shoulder.worst_dbc(),
            mer_db: p.mer_db,
            worth_db: worth(p),
        })
        .collect();
    // Highest drive that keeps a rule which is broken from some drive on: between the last step that keeps it
    // (counted from below) and the first that breaks it.
    let highest = |keeps: &dyn Fn(&Probe) -> bool| -> Result<Option<f64>> {
        let Some(first_bad) = coarse.iter().position(|p| !keeps(p)) else {
            return Ok(Some(top));
        };
        let Some(good) = first_bad.checked_sub(1).and_then(|k| coarse.get(k)) else {
            return Ok(None);
        };
        let (mut lo, mut hi) = (good.drive_dbm, good.drive_dbm + 1.0);
        while hi - lo > 0.005 {
            let mid = 0.5 * (lo + hi);
            if keeps(&probe(mid)?) {
                lo = mid;
            } else {
                hi = mid;
            }
        }
        Ok(Some(lo))
    };
    let nothing = |what: &str| PlanError::Nothing {
        why: format!(
            "even {:.1} dBm of drive does not keep {what}: put attenuation behind the transmitter, or look at the \
             amplifier's curve",
            top - 40.0
        ),
    };
    let by_shoulders = highest(&|p| p.shoulder.worst_dbc() <= goal.shoulder_dbc)?
        .ok_or_else(|| nothing("the shoulder limit"))?;
    let by_ceiling = match ceiling {
        Some(c) => highest(&|p| p.out_dbm <= c.out_dbm)?.ok_or_else(|| nothing(&c.what))?,
        None => top,
    };
    let cap = by_shoulders.min(by_ceiling);
    // The worth rises with level and falls with distortion: golden-section search around the best coarse step.
    let peak = coarse
        .iter()
        .filter(|p| p.drive_dbm <= cap)
        .max_by(|a, b| worth(a).total_cmp(&worth(b)))
        .map_or(cap, |p| p.drive_dbm);
    let (mut a, mut b) = (peak - 1.0, (peak + 1.0).min(cap));
    const G: f64 = 0.618_033_988_749_894_9;
    while b - a > 0.02 {
        let (c, d) = (b - G * (b - a), a + G * (b - a));
        if worth(&probe(c)?) >= worth(&probe(d)?) {
            b = d;
        } else {
            a = c;
        }
    }
    let at_cap = probe(cap)?;
    let inner = probe(0.5 * (a + b))?;
    let (found, bound) = if worth(&at_cap) >= worth(&inner) {
        let bound = if by_ceiling <= by_shoulders && by_ceiling < top {
            Bound::Ceiling(ceiling.map(|c| c.what.clone()).unwrap_or_default())
        } else if by_shoulders < top {
            Bound::Shoulders
        } else if max_drive_dbm <= saturated_drive {
            Bound::Transmitter
        } else {
            Bound::Margin
        };
        (at_cap, bound)
    } else {
        (inner, Bound::Margin)
    };
    let total_db: Vec<f64> = receivers
        .iter()
        .map(|r| r.total_db(found.out_dbm, found.mer_db))
        .collect();
    let worst = total_db.iter().copied().reduce(f64::min);
    Ok(Advice {
        margin_db: goal.need_db.zip(worst).map(|(need, have)| have - need),
        shoulder_out_dbm: if by_shoulders < top {
            Some(probe(by_shoulders)?.out_dbm)
        } else {
            None
        },
        probe: found,
        bound,
        total_db,
        curve,
    })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{chain_of, qpsk};
    use super::*;
    use slantpath_chain::amplifier::{Curve, Rapp};

    fn chain() -> Chain {
        chain_of(Curve::Rapp(Rapp::new(25.0, 50.0, 2.0).unwrap()))
    }

    fn goal(w: &Waveform, limit: f64) -> Goal {
        Goal {
            shoulder_dbc: limit,
            window: ShoulderWindow::beside(w.kind()),
            need_db: Some(5.0),
        }
    }

    fn heard(at_45_dbm: f64) -> Reception {
        Reception {
            receiver: "main".into(),
            at_dbm: 45.0,
            satellite_db: at_45_dbm,
            station_db: f64::INFINITY,
            intermodulation_db: f64::INFINITY,
            source_mer_db: f64::INFINITY,
        }
    }

    #[test]
    fn a_weak_link_is_driven_to_its_shoulders() {
        let w = qpsk(8192, 0.2);
        let a = best(&chain(), &w, &goal(&w, -30.0), &[heard(5.0)], &[], 40.0).unwrap();
        assert_eq!(a.bound, Bound::Shoulders);
        assert!((a.probe.shoulder.worst_dbc() + 30.0).abs() < 0.05);
        let more = Probe::at(&chain(), &w, a.probe.drive_dbm + 0.05, goal(&w, 0.0).window).unwrap();
        assert!(more.shoulder.worst_dbc() > -30.0);
        assert!((a.shoulder_out_dbm.unwrap() - a.probe.out_dbm).abs() < 1e-9);
        let m = a.margin_db.unwrap();
        assert!((m - (heard(5.0).total_db(a.probe.out_dbm, a.probe.mer_db) - 5.0)).abs() < 1e-12);
    }

    #[test]
    fn a_strong_link_is_not_driven_into_distortion() {
        // 35 dB at 45 dBm: the amplifier's own error decides, well below a loose shoulder limit.
        let w = qpsk(8192, 0.2);
        let a = best(&chain(), &w, &goal(&w, -10.0), &[heard(35.0)], &[], 40.0).unwrap();
        assert_eq!(a.bound, Bound::Margin);
        // No point of a fine grid is better: within what the golden section leaves.
        let r = heard(35.0);
        let grid = (0..80)
            .map(|k| 5.0 + 0.375 * f64::from(k))
            .map(|d| {
                let p = Probe::at(&chain(), &w, d, goal(&w, 0.0).window).unwrap();
                r.total_db(p.out_dbm, p.mer_db)
            })
            .fold(f64::NEG_INFINITY, f64::max);
        assert!(a.total_db[0] >= grid - 2e-3, "{} {grid}", a.total_db[0]);
    }

    #[test]
    fn what_else_forbids_is_named() {
        let w = qpsk(4096, 0.2);
        let c = [
            Ceiling {
                what: "the operating rule".into(),
                out_dbm: 40.0,
            },
            Ceiling {
                what: "heat".into(),
                out_dbm: 43.0,
            },
        ];
        let a = best(&chain(), &w, &goal(&w, -30.0), &[heard(5.0)], &c, 40.0).unwrap();
        assert_eq!(a.bound, Bound::Ceiling("the operating rule".into()));
        assert!((a.probe.out_dbm - 40.0).abs() < 0.01);
        // a transmitter that cannot reach any of it
        let a = best(&chain(), &w, &goal(&w, -30.0), &[heard(5.0)], &c, -20.0).unwrap();
        assert_eq!(a.bound, Bound::Transmitter);
        assert!(a.shoulder_out_dbm.is_none());
        assert!(best(&chain(), &w, &goal(&w, -400.0), &[], &[], 40.0).is_err());
    }

    #[test]
    fn the_drive_for_an_output_gives_it() {
        let w = qpsk(4096, 0.35);
        let d = drive_for_output(&chain(), &w, 46.0, 40.0).unwrap().unwrap();
        let p = Probe::at(&chain(), &w, d, ShoulderWindow::beside(w.kind())).unwrap();
        assert!((p.out_dbm - 46.0).abs() < 2e-3);
        assert!(
            drive_for_output(&chain(), &w, 51.0, 40.0)
                .unwrap()
                .is_none()
        );
    }

    #[test]
    fn a_shoulder_tells_its_drive() {
        let frame = slantpath_waveform::Frame {
            modcod: 4,
            fecframe: slantpath_waveform::FecFrame::Short,
            pilots: true,
        };
        let w = Waveform::dvb_s2(frame, 0.2, 1).unwrap();
        let window = ShoulderWindow::beside(w.kind());
        for want in [-30.0, -22.0] {
            let d = drive_for_shoulder(&chain(), &w, window, want, 40.0)
                .unwrap()
                .unwrap();
            let got = Probe::at(&chain(), &w, d, window)
                .unwrap()
                .shoulder
                .worst_dbc();
            assert!((got - want).abs() < 0.1, "{got} for {want}");
        }
        let never = drive_for_shoulder(&chain(), &w, window, -30.0, -40.0).unwrap();
        assert!(never.is_none());
    }

    #[test]
    fn shares_add_as_noise() {
        let r = Reception {
            station_db: 10.0,
            intermodulation_db: 10.0,
            source_mer_db: 10.0,
            ..heard(10.0)
        };
        // five equal disturbances: 7 dB below one
        assert!((r.total_db(45.0, Some(10.0)) - (10.0 - to_db(5.0))).abs() < 1e-12);
        // 3 dB more level: noise and satellite intermodulation move, what the signal carries along does not
        let want = -to_db(3.0 * from_db(-13.0) + 2.0 * from_db(-10.0));
        assert!((r.total_db(48.0, Some(10.0)) - want).abs() < 1e-12);
    }
}
