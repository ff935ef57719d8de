//! The measurement as answers.

use super::{Carrier, Lock, NoLock, NoShoulder, Shoulder, Unexplained, WidebandPlan};
use crate::measure::{Consequence, Flag};
use crate::source::About;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, ContributorId, Estimate, Share, Unit, Validity, to_db};

pub(super) struct Context<'a> {
    pub plan: &'a WidebandPlan,
    pub about: &'a About,
    pub centre_hz: Option<f64>,
    pub fs: f64,
    pub carriers: &'a [Carrier],
    pub unexplained: &'a [Unexplained],
    pub flags: &'a [Flag],
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
    /// Where a carrier stands, in words.
    fn place(&self, offset_hz: f64) -> String {
        match self.centre_hz {
            Some(c) => format!("{:.4} MHz", (c + offset_hz) * 1e-6),
            None => format!("{:+.1} kHz from the centre", offset_hz * 1e-3),
        }
    }
}

pub(super) fn all(c: &Context<'_>) -> Vec<Answer> {
    let mut out = vec![count(c)];
    for k in c.carriers {
        carrier(c, k, &mut out);
    }
    out
}

fn rate_words(rate: f64) -> String {
    if rate >= 1e6 {
        format!("{:.4} MBd", rate * 1e-6)
    } else {
        format!("{:.3} kBd", rate * 1e-3)
    }
}

/// How many carriers, and what stands there without being one.
fn count(c: &Context<'_>) -> Answer {
    let n = c.carriers.len();
    let label = "carriers with a symbol clock in the recording";
    let others: Vec<String> = c
        .unexplained
        .iter()
        .map(|u| {
            let height = to_db(u.ratio);
            if u.cut {
                format!(
                    "power {height:.1} dB above its surroundings reaches beyond the recorded band from {} on: a \
                     carrier wider than the recording cannot be measured",
                    c.place(if u.lo_hz > -0.5 * c.fs { u.lo_hz } else { u.hi_hz })
                )
            } else {
                format!(
                    "power {height:.1} dB above its surroundings stands between {} and {} without a symbol clock: \
                     noise, another kind of signal, or carriers on top of each other",
                    c.place(u.lo_hz),
                    c.place(u.hi_hz)
                )
            }
        })
        .collect();
    let mut a = Answer::known(
        "wideband.carriers",
        label,
        Unit::One,
        Estimate::exact(n as f64),
    )
    .because(if n == 0 {
        "no pair of edges in the spectrum shows a symbol clock between 18 kBd and 4.5 MBd"
            .to_string()
    } else {
        format!("each of the {n} shows a line at its symbol rate; noise has none")
    });
    for o in others.iter().take(8) {
        a = a.because(o.clone());
    }
    if c.unexplained.iter().any(|u| u.cut) {
        a = a.next(format!(
            "record at more than {:.0} kS/s, or tune so that the whole of it is in the band",
            c.fs * 1.5e-3
        ));
    } else if n == 0 {
        a = a.next(
            "check the centre frequency and that the carrier is on the air, or record for longer",
        );
    }
    a
}

fn carrier(c: &Context<'_>, k: &Carrier, out: &mut Vec<Answer>) {
    let base = format!("carrier.{}", k.number);
    let (offset, u_offset) = k.offset_hz();
    let name = format!("carrier {} at {}", k.number, c.place(offset));
    let id = |q: &str| format!("{base}.{q}");
    let from = if k.lock.is_ok() {
        "from its headers and the phase between them"
    } else {
        "from its shape in the spectrum"
    };
    if let Some(centre) = c.centre_hz {
        out.push(
            Answer::known(
                id("frequency"),
                format!("{name}: frequency as recorded, middle of the stretch used"),
                Unit::Hz,
                Estimate::normal(centre + offset, u_offset),
            )
            .because(from),
        );
    }
    out.push(
        Answer::known(
            id("offset"),
            format!("{name}: distance from the recording's centre"),
            Unit::Hz,
            Estimate::normal(offset, u_offset),
        )
        .because(from),
    );
    out.push(
        Answer::known(
            id("symbol_rate"),
            format!("{name}: symbol rate by the recorder's clock"),
            Unit::Bd,
            Estimate::normal(k.clock.rate, k.clock.u_rate),
        )
        .with_shares(vec![c.share(
            &id("clock"),
            "noise on the line of the symbol clock",
            k.clock.u_rate,
            false,
        )])
        .because(format!(
            "the line of the symbol clock stands {:.0} dB above the noise beside it, over {:.2} s ({} symbols)",
            to_db(k.clock.significance),
            k.seconds,
            k.symbols
        )),
    );
    clock_error(&name, k, &id("clock_error"), out);
    out.push(rolloff(&name, k, id("rolloff")));
    levels(c, k, &name, &base, out);
    match &k.lock {
        Ok(l) => locked(c, k, l, &name, &base, out),
        Err(why) => unlocked(k, *why, &name, &base, out),
    }
    for (s, (side, word)) in k
        .shoulders
        .iter()
        .zip([("low", "below"), ("high", "above")])
    {
        out.push(shoulder(
            c,
            k,
            s,
            &name,
            &format!("{base}.shoulder_{side}"),
            word,
        ));
    }
    if c.plan.shoulders.width > 0.0 {
        overlap(c, k, &name, &base, out);
    }
}

/// Against the nearest whole rate that a transmitter is likely to be set to: whole kilobaud.
fn clock_error(name: &str, k: &Carrier, id: &str, out: &mut Vec<Answer>) {
    let nominal = (k.clock.rate * 1e-3).round() * 1e3;
    let ppm = (k.clock.rate / nominal - 1.0) * 1e6;
    let u = k.clock.u_rate / nominal * 1e6;
    let label = format!("{name}: symbol clock against {}", rate_words(nominal));
    if nominal > 0.0 && ppm.abs() < 150.0 && u < 30.0 {
        out.push(
            Answer::known(id, label, Unit::Ppm, Estimate::normal(ppm, u)).because(
                "the nearest whole kilobaud is taken to be what the transmitter is set to; the error is the \
                 transmitter's and the recorder's clocks together",
            ),
        );
    } else {
        out.push(Answer::unknown(
            id,
            label,
            Unit::Ppm,
            "the rate is not close enough to a whole kilobaud, or not known well enough, to tell what it was set to",
            "compare the symbol rate with the one the transmitter is set to",
        ));
    }
}

fn rolloff(name: &str, k: &Carrier, id: String) -> Answer {
    let label = format!("{name}: roll-off");
    if !k.shape_fitted || k.shape.rolloff_confidence < 0.5 {
        return Answer::unknown(
            id,
            label,
            Unit::One,
            "the edges in the spectrum do not tell one class of roll-off from the next",
            "record for longer, or with less beside the carrier",
        );
    }
    Answer::known(
        id,
        label,
        Unit::One,
        Estimate::exact(k.shape.rolloff),
    )
    .because(format!(
        "the class that fits the edges best, with a probability of {:.0} % among 0.35, 0.25, 0.20, 0.15, 0.10 and 0.05",
        100.0 * (k.shape.rolloff_confidence.min(0.999))
    ))
}

fn levels(c: &Context<'_>, k: &Carrier, name: &str, base: &str, out: &mut Vec<Answer>) {
    let level_id = format!("{base}.level");
    let label = format!("{name}: power as recorded");
    if let Some(f) = c.refusal(Consequence::Level) {
        out.push(Answer::unknown(
            level_id,
            label,
            Unit::Dbfs,
            format!("{} ({})", f.title, f.evidence),
            f.remedy.clone(),
        ));
    } else if k.shape_fitted {
        out.push(Answer::known(
            level_id,
            label,
            Unit::Dbfs,
            Estimate::normal(
                to_db(k.shape.power()),
                db_of_relative_u(k.shape.u_density).hypot(0.02),
            ),
        ));
    } else {
        out.push(Answer::unknown(
            level_id,
            label,
            Unit::Dbfs,
            "its shape in the spectrum could not be fitted",
            "record for longer",
        ));
    }
    let id = format!("{base}.c_n");
    let label = format!("{name}: C/N in the symbol-rate bandwidth, from the spectrum alone");
    out.push(match k.c_n() {
        Some((r, u)) => Answer::known(
            id,
            label,
            Unit::Db,
            Estimate::normal(to_db(r), db_of_relative_u(u).hypot(0.05)),
        )
        .because("the height of its flat middle over the noise on both sides")
        .because(
            "a hump in the noise that ends beside the carrier would show here and not in Es/N0",
        ),
        None => Answer::unknown(
            id,
            label,
            Unit::Db,
            "no free noise shows beside it: a neighbour or the end of the band stands there",
            "see Es/N0, which does not need it; or record with more room beside the carrier",
        ),
    });
}

fn locked(c: &Context<'_>, k: &Carrier, l: &Lock, name: &str, base: &str, out: &mut Vec<Answer>) {
    let id = |q: &str| format!("{base}.{q}");
    let certain = format!(
        "{} headers agree on it with a probability of {}",
        l.headers,
        percent(l.confidence)
    );
    out.push(
        Answer::known(
            id("modcod"),
            format!("{name}: MODCOD number ({})", l.frame.name()),
            Unit::One,
            Estimate::exact(f64::from(l.frame.modcod)),
        )
        .because(certain)
        .because(match l.length_agrees {
            Some(true) => format!(
                "headers stand {} symbols apart, which is the length of such a PLFRAME",
                l.frame.symbols()
            ),
            _ => "a single header was seen: its distance to the next confirms nothing".to_string(),
        })
        .because(if l.inverted {
            "the spectrum runs backwards: the oscillator stands above the downlink"
        } else {
            "the spectrum runs forwards"
        }),
    );
    let added = c
        .flags
        .iter()
        .filter(|f| f.affects.contains(&Consequence::CarrierToNoise))
        .map(|f| f.added_u_db)
        .fold(0.0, f64::hypot);
    let clipped = c.refusal(Consequence::CarrierToNoise);
    let basis = format!(
        "{:.0} known symbols of header{}{}",
        l.known.symbols,
        if l.frame.pilot_blocks() > 0 {
            " and pilots"
        } else {
            ""
        },
        l.payload.map_or(String::new(), |p| format!(
            ", and the magnitudes of {:.0} payload symbols, which need no decisions",
            p.symbols
        ))
    );
    let sn = |q: &str, label: &str, v: &super::SignalToNoise| {
        let u = v.u_db().hypot(added);
        let mut a = Answer::known(
            id(q),
            format!("{name}: {label}"),
            Unit::Db,
            Estimate::normal(v.db(), u),
        )
        .with_shares(vec![
            c.share(
                &id(&format!("{q}.noise")),
                "noise on the symbols used",
                v.u_db(),
                false,
            ),
            c.share("health", "what the health flags say", added, true),
        ])
        .because(basis.clone());
        if let Some(f) = clipped {
            a = a
                .because(format!(
                    "{}: the figure is that of the recording, not of the carrier",
                    f.title
                ))
                .next(f.remedy.clone());
        } else if v.u_db() > 0.15 {
            a = a.next(
                "record for longer: the uncertainty falls with the root of the number of frames",
            );
        }
        a
    };
    out.push(sn("es_n0", "Es/N0", &l.es_n0));
    out.push(sn("mer", "MER, phase followed closely", &l.mer));
    out.push(sn(
        "es_n0_known",
        "Es/N0 from header and pilots alone",
        &l.known,
    ));
    margin(c, l, name, base, added, out);
    phase_noise(l, name, base, out);
    out.push(match l.drift {
        Some((d, u)) => Answer::known(
            id("drift"),
            format!("{name}: drift of the carrier"),
            Unit::HzPerS,
            Estimate::normal(d, u),
        )
        .because(format!("bend of the phase over {:.2} s", k.seconds)),
        None => Answer::unknown(
            id("drift"),
            format!("{name}: drift of the carrier"),
            Unit::HzPerS,
            "the phase could not be followed from header to header at this Es/N0 without pilots",
            "use pilots, or measure at a higher Es/N0",
        ),
    });
}

fn percent(p: f64) -> String {
    if p > 0.9999 {
        "more than 99.99 %".into()
    } else {
        format!("{:.2} %", 100.0 * p)
    }
}

/// Es/N0 above what the MODCOD needs.
fn margin(c: &Context<'_>, l: &Lock, name: &str, base: &str, added: f64, out: &mut Vec<Answer>) {
    let id = format!("{base}.margin");
    let Some((threshold, exact)) = l.frame.threshold_es_n0_db() else {
        out.push(Answer::unknown(
            id,
            format!("{name}: margin"),
            Unit::Db,
            "a dummy PLFRAME carries nothing",
            "record while the carrier carries data",
        ));
        return;
    };
    let loss = c.plan.implementation_loss_db;
    let u_loss = c.plan.u_implementation_loss_db;
    let u_short = if exact { 0.0 } else { 0.05 };
    let u = l.mer.u_db().hypot(u_loss).hypot(u_short).hypot(added);
    let mut a = Answer::known(
        id,
        format!(
            "{name}: margin above the threshold of {}",
            l.frame.modcod().map_or(String::new(), |m| m.name())
        ),
        Unit::Db,
        Estimate::normal(l.mer.db() - threshold - loss, u),
    )
    .with_shares(vec![
        c.share(
            "receiver.loss",
            "implementation loss of the receiver",
            u_loss,
            true,
        ),
        c.share(
            &format!("{base}.mer.noise"),
            "MER",
            l.mer.u_db().hypot(added),
            false,
        ),
    ])
    .because(format!(
        "{} needs {threshold:.2} dB (EN 302 307-1, table 13), a receiver {loss:.1} dB more",
        l.frame.name()
    ));
    if !exact {
        a = a.with_validity(Validity::outside(
            "table 13 holds for normal FECFRAMEs; short ones need 0.2 to 0.3 dB more, 0.25 dB is allowed for",
        ));
    }
    if l.mer.db() < threshold + loss {
        a = a.because(
            "below the threshold: the picture will not decode, the figures above hold nevertheless",
        );
    }
    out.push(a);
}

fn phase_noise(l: &Lock, name: &str, base: &str, out: &mut Vec<Answer>) {
    let label =
        |b: f64| format!("{name}: phase left when it is followed with {b:.0} Hz, root mean square");
    if l.residues.is_empty() {
        out.push(Answer::unknown(
            format!("{base}.phase_noise"),
            format!("{name}: phase noise"),
            Unit::Deg,
            if l.slips > 0 {
                format!("the phase was lost {} times between headers", l.slips)
            } else {
                "telling it from additive noise needs payload decisions, which are wrong too often at this Es/N0".into()
            },
            "measure the oscillator on a stronger carrier",
        ));
        return;
    }
    for (i, r) in l.residues.iter().enumerate() {
        let square = r.rms_rad * r.rms_rad;
        let value = r.rms_rad.to_degrees();
        let u = (0.5 * r.u_square / r.rms_rad.max(r.u_square.sqrt())).to_degrees();
        let seen = square > 2.0 * r.u_square;
        let mut a = Answer::known(
            format!("{base}.phase_noise.{}", i + 1),
            label(r.bandwidth_hz),
            Unit::Deg,
            Estimate::normal(value, u),
        )
        .because("scatter across the symbols beyond that along them, which phase does not touch");
        a = a.because(if seen {
            format!("MER with such tracking: {:.1} dB", to_db(r.mer))
        } else {
            "it does not stand out from the additive noise".to_string()
        });
        out.push(a);
    }
}

fn unlocked(k: &Carrier, why: NoLock, name: &str, base: &str, out: &mut Vec<Answer>) {
    let (reason, remedy) = match why {
        NoLock::TooShort { symbols } => (
            format!(
                "the recording holds {symbols} symbols of it and no header: fewer than the shortest PLFRAME (3330) or \
                 none that begins in it"
            ),
            format!(
                "record for at least {:.1} s: two of the longest PLFRAMEs at this symbol rate",
                2.0 * 33_282.0 / k.clock.rate * 1.05
            ),
        ),
        NoLock::NoHeaders { symbols } => {
            let need = 2.0 * 33_282.0;
            if (symbols as f64) < need {
                (
                    format!(
                        "framing unknown: no DVB-S2 header was found in {symbols} symbols, but a long PLFRAME has \
                         33 282"
                    ),
                    format!("record for at least {:.1} s", need / k.clock.rate * 1.05),
                )
            } else {
                (
                    format!(
                        "framing unknown: no DVB-S2 header repeats in {symbols} symbols; it is another system, or its \
                         Es/N0 is below about -6 dB"
                    ),
                    "the blind figures hold for any constant-rate carrier; for another system ask its own receiver"
                        .to_string(),
                )
            }
        }
        NoLock::Unclear {
            symbols,
            confidence,
        } => (
            format!(
                "something repeats like DVB-S2 headers in {symbols} symbols, but what it says (probability {}) \
                 contradicts its own distance: PLFRAMEs of changing kind, or too weak",
                percent(confidence)
            ),
            "record for longer, or while the carrier keeps one MODCOD".to_string(),
        ),
    };
    for (q, unit, label) in [
        ("modcod", Unit::One, "MODCOD number"),
        ("es_n0", Unit::Db, "Es/N0"),
        ("mer", Unit::Db, "MER"),
        ("margin", Unit::Db, "margin"),
    ] {
        out.push(Answer::unknown(
            format!("{base}.{q}"),
            format!("{name}: {label}"),
            unit,
            reason.clone(),
            remedy.clone(),
        ));
    }
}

fn shoulder(
    c: &Context<'_>,
    k: &Carrier,
    s: &Result<Shoulder, NoShoulder>,
    name: &str,
    id: &str,
    word: &str,
) -> Answer {
    let label = format!("{name}: shoulder {word} it, noise taken off");
    let s = match s {
        Ok(s) => s,
        Err(why) => {
            let reason = match why {
                NoShoulder::Outside => {
                    "the window beside the carrier lies outside the recorded band"
                }
                NoShoulder::Neighbour => "another carrier stands in the window beside it",
                NoShoulder::NoNoise => {
                    "no free noise shows beyond the window, so that it cannot be taken off"
                }
            };
            return Answer::unknown(
                id,
                label,
                Unit::Db,
                reason,
                "record the amplifier's output from an attenuated coupler, alone and with room on both sides",
            );
        }
    };
    let lowest = to_db(s.lowest.max(1e-30));
    let window = format!(
        "in {:.1} kHz around {:+.1} kHz from its centre, against the density of its flat middle",
        s.width_hz * 1e-3,
        s.offset_hz * 1e-3
    );
    let prove = "through a satellite a shoulder below about -25 dBc rarely shows; to prove less, record from an \
                 attenuated coupler at the amplifier";
    if let Some(f) = c.refusal(Consequence::Level) {
        return Answer::unknown(
            id,
            label,
            Unit::Db,
            format!(
                "{}: what stands beside the carrier may be the converter's own",
                f.title
            ),
            f.remedy.clone(),
        );
    }
    if s.seen() {
        let u = db_of_relative_u(s.u / s.ratio);
        Answer::known(id, label, Unit::Db, Estimate::normal(to_db(s.ratio), u))
            .because(format!("dBc {window}"))
            .because(format!(
                "the lowest that this recording could have shown is {lowest:.1} dBc"
            ))
            .next(if k.neighbours.is_empty() {
                prove
            } else {
                "repeat it while the neighbours are off the air"
            })
    } else {
        Answer::unknown(
            id,
            label,
            Unit::Db,
            format!(
                "none shows {window}; one above {lowest:.1} dBc would have been seen in 19 of 20 such recordings"
            ),
            prove,
        )
    }
}

/// Shared band and the neighbours' share of the noise.
fn overlap(c: &Context<'_>, k: &Carrier, name: &str, base: &str, out: &mut Vec<Answer>) {
    for n in &k.neighbours {
        let Some(o) = c.carriers.get(n.carrier) else {
            continue;
        };
        let what = if n.overlap_hz > 0.0 {
            format!("their bands overlap by {:.1} kHz", n.overlap_hz * 1e-3)
        } else {
            format!("{:.1} kHz lie between their bands", -n.overlap_hz * 1e-3)
        };
        let mut a = Answer::known(
            format!("{base}.overlap.{}", o.number),
            format!(
                "{name}: band shared with carrier {} (negative: gap)",
                o.number
            ),
            Unit::KHz,
            Estimate::normal(
                n.overlap_hz * 1e-3,
                k.shape.u_centre_hz.hypot(o.shape.u_centre_hz).max(1.0) * 1e-3,
            ),
        )
        .because(what);
        if n.interference > 1e-6 {
            a = a.because(format!(
                "behind this carrier's own filter the neighbour stands {:.1} dB below it, which is part of its Es/N0",
                -to_db(n.interference)
            ));
        }
        if n.overlap_hz > 0.1 * k.clock.rate {
            a = a.next("record each carrier while the other is off the air");
        }
        out.push(a);
    }
}
