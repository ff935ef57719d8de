//! The measurement as answers.

mod beside;
mod frames;

use super::{Carrier, Unexplained, WidebandPlan};
use crate::measure::{Consequence, Flag};
use crate::source::About;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, ContributorId, Estimate, Share, Unit, to_db};

pub(super) struct Context<'a> {
    pub plan: &'a WidebandPlan,
    pub about: &'a About,
    pub centre_hz: Option<f64>,
    pub fs: f64,
    pub duration_s: f64,
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
            if let Some(of) = u.mirrors_hz {
                format!(
                    "what stands at {} is the mirror image of the carrier at {} by the receiver's imbalance, not a \
                     carrier",
                    c.place(0.5 * (u.lo_hz + u.hi_hz)),
                    c.place(of)
                )
            } else if u.cut {
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
            "the line of the symbol clock stands {:.0} dB above the noise beside it, over {:.2} of {:.2} s from {:.2} s on ({} \
             symbols)",
            to_db(k.clock.significance),
            k.seconds,
            c.duration_s,
            k.start_s,
            k.symbols
        )),
    );
    clock_error(&name, k, &id("clock_error"), out);
    out.push(rolloff(&name, k, id("rolloff")));
    levels(c, k, &name, &base, out);
    match &k.lock {
        Ok(l) => frames::locked(c, k, l, &name, &base, out),
        Err(why) => frames::unlocked(k, *why, &name, &base, out),
    }
    for (s, (side, word)) in k
        .shoulders
        .iter()
        .zip([("low", "below"), ("high", "above")])
    {
        out.push(beside::shoulder(
            c,
            k,
            s,
            &name,
            &format!("{base}.shoulder_{side}"),
            word,
        ));
    }
    if c.plan.shoulders.width > 0.0 {
        beside::overlap(c, k, &name, &base, out);
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
    if repeats(k) {
        return Answer::unknown(
            id,
            label,
            Unit::One,
            REPEATS,
            "record while the carrier carries data",
        );
    }
    if pedestal(k) && !k.shape.rolloff_by_excess {
        return Answer::unknown(
            id,
            label,
            Unit::One,
            PEDESTAL,
            "record it alone, from an attenuated coupler at the amplifier",
        );
    }
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
        "the class that fits {} best, with a probability of {:.0} % among 0.35, 0.25, 0.20, 0.15, 0.10 and 0.05",
        if k.shape.rolloff_by_excess {
            "what both edges have in common, which is free of noise and neighbours,"
        } else {
            "the edges"
        },
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
    } else if let Some(words) = unsteady(k) {
        out.push(Answer::unknown(
            level_id,
            label,
            Unit::Dbfs,
            words,
            "record while the carrier and the gain stand still",
        ));
    } else if k.shape_fitted {
        let a = Answer::known(
            level_id,
            label,
            Unit::Dbfs,
            Estimate::normal(
                to_db(k.shape.power()),
                db_of_relative_u(k.shape.u_density).hypot(0.02),
            ),
        );
        out.push(match k.there {
            Some((from, to)) => a.because(format!(
                "while it was on the air: between {from:.2} and {to:.2} s, as fine as carriers are looked for"
            )),
            None => a,
        });
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
    let unfit = if repeats(k) {
        Some(REPEATS.to_string())
    } else if pedestal(k) {
        Some(PEDESTAL.to_string())
    } else {
        unsteady(k).filter(|_| k.step.is_some_and(|s| !s.gain))
    };
    out.push(match (k.c_n(), unfit) {
        (Some(_), Some(words)) => Answer::unknown(
            id,
            label,
            Unit::Db,
            words,
            "see Es/N0, which rests on its frames alone; or record while the carrier stands still",
        ),
        (Some((r, u)), None) => Answer::known(
            id,
            label,
            Unit::Db,
            Estimate::normal(to_db(r), db_of_relative_u(u).hypot(0.05)),
        )
        .because("the height of its flat middle over the noise on both sides")
        .because(
            "a hump in the noise that ends beside the carrier would show here and not in Es/N0",
        ),
        (None, _) => Answer::unknown(
            id,
            label,
            Unit::Db,
            "no free noise shows beside it: a neighbour or the end of the band stands there",
            "see Es/N0, which does not need it; or record with more room beside the carrier",
        ),
    });
}

/// Why the spectrum of a carrier of dummy PLFRAMEs tells little.
const REPEATS: &str = "most of its PLFRAMEs are dummies, all alike: its spectrum is a comb of lines, not a smooth shape";

fn repeats(k: &Carrier) -> bool {
    k.lock.as_ref().is_ok_and(super::Lock::repeats)
}

/// Why the spectrum tells little over a pedestal.
const PEDESTAL: &str = "a pedestal of noise under the carrier ends beside it, so that its edges and the free noise are not its own";

/// Whether the noise under it goes on beside it for a short way only.
fn pedestal(k: &Carrier) -> bool {
    k.shoulders
        .iter()
        .any(|s| matches!(s, Err(super::NoShoulder::Pedestal)))
}

/// Smallest change of level that makes the average say little, dB.
const STEADY_DB: f64 = 0.3;

/// When and how its level changed, in words.
fn unsteady(k: &Carrier) -> Option<String> {
    let s = k.step.filter(|s| s.db.abs() > STEADY_DB)?;
    Some(format!(
        "its level changes by {:+.1} dB at {:.2} s, {}: the average over the recording is neither",
        s.db,
        s.at_s,
        if s.gain {
            "and the noise beside the carriers with it: the receiver's gain was changed"
        } else if s.db > 0.0 {
            "the noise does not: the carrier came on or was raised"
        } else {
            "the noise does not: the carrier went off or was lowered"
        }
    ))
}
