//! What the frames of a carrier told, as answers; or why they told nothing.

use super::super::{Carrier, Lock, NoLock, SignalToNoise};
use super::Context;
use crate::measure::Consequence;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, Estimate, Unit, Validity, to_db};

pub(super) fn locked(
    c: &Context<'_>,
    k: &Carrier,
    l: &Lock,
    name: &str,
    base: &str,
    out: &mut Vec<Answer>,
) {
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
            Some(true) if l.kinds.len() > 1 => format!(
                "PLFRAMEs of changing kind (VCM or ACM): {}; each header announces where the next one stands",
                kinds(l)
            ),
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
    if l.kinds.len() > 1 {
        for (i, (f, n)) in l.kinds.iter().enumerate() {
            out.push(Answer::known(
                id(&format!("kind.{}", i + 1)),
                format!("{name}: PLFRAMEs of {}", f.name()),
                Unit::One,
                Estimate::exact(*n as f64),
            ));
        }
    }
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
    let sn = |q: &str, label: &str, v: &SignalToNoise| {
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
            let why = format!(
                "{}: the figure is that of the recording, not of the carrier",
                f.title
            );
            a = a
                .because(why.clone())
                .with_validity(Validity::outside(why))
                .next(f.remedy.clone());
        } else if v.u_db() > 0.15 {
            a = a.next(
                "record for longer: the uncertainty falls with the root of the number of frames",
            );
        }
        a
    };
    let mut es_n0 = sn("es_n0", "Es/N0", &l.es_n0);
    for words in beside_noise(k, l) {
        es_n0 = es_n0.because(words);
    }
    out.push(es_n0);
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

/// Kinds of PLFRAMEs and how often each was seen.
fn kinds(l: &Lock) -> String {
    let all: Vec<String> = l
        .kinds
        .iter()
        .map(|(f, n)| format!("{n} of {}", f.name()))
        .collect();
    all.join("; ")
}

/// What besides noise is part of Es/N0.
fn beside_noise(k: &Carrier, l: &Lock) -> Vec<String> {
    let mut out = Vec::new();
    if let Some((from, to)) = l.on_air {
        out.push(format!(
            "measured while it was on the air: PLFRAMEs stand from {from:.2} to {to:.2} s of the recording; {:.2} s were \
             demodulated",
            k.seconds
        ));
    }
    if k.images > 0.02 / l.es_n0.ratio {
        out.push(format!(
            "images by the receiver's imbalance stand {:.0} dB below it in its own band and are part of this figure",
            -to_db(k.images)
        ));
    }
    if let (Some((r, u)), None) = (k.c_n(), k.step) {
        let gap = to_db(r) - l.es_n0.db();
        if gap > 0.3 + 3.0 * db_of_relative_u(u).hypot(l.es_n0.u_db()) {
            out.push(format!(
                "the spectrum beside it would allow {gap:.1} dB more: a pedestal of noise under it, an echo, distortion, \
                 or the receiver's images"
            ));
        }
    }
    out
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
    // Of several kinds the most demanding one decides.
    let hardest = l
        .kinds
        .iter()
        .filter_map(|(f, _)| Some((*f, f.threshold_es_n0_db()?)))
        .max_by(|a, b| a.1.0.total_cmp(&b.1.0));
    let Some((frame, (threshold, exact))) = hardest else {
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
            frame.modcod().map_or(String::new(), |m| m.name())
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
        frame.name()
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

pub(super) fn unlocked(k: &Carrier, why: NoLock, name: &str, base: &str, out: &mut Vec<Answer>) {
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
