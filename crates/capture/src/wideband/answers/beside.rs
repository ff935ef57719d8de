//! What stands beside a carrier, as answers: shoulders and neighbours.

use super::super::{Carrier, NoShoulder, Shoulder};
use super::Context;
use crate::measure::Consequence;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, Estimate, Unit, to_db};

pub(super) fn shoulder(
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
                NoShoulder::Comb => {
                    "most of its PLFRAMEs are dummies, all alike: its spectrum is a comb of lines without a flat middle"
                }
                NoShoulder::Pedestal => {
                    "the noise under the carrier itself is as high as what stands beside it: a pedestal that ends near \
                     by cannot be told from a shoulder"
                }
                NoShoulder::Narrow => {
                    "what stands beside it falls off outwards, and the recording ends before the noise under it shows"
                }
                NoShoulder::PhaseNoise => {
                    "what stands beside it is no more than the phase noise of the oscillators spreads there"
                }
                NoShoulder::NoNoise => {
                    "no free noise shows beyond the window, so that it cannot be taken off"
                }
            };
            // Third-order regrowth reaches three times the occupied band; nine tenths of a recording are flat.
            let wide = 3.0 * (1.0 + k.shape.rolloff) * k.clock.rate / 0.88;
            return Answer::unknown(
                id,
                label,
                Unit::Db,
                reason,
                format!(
                    "record the amplifier's output from an attenuated coupler, alone and in the middle of {:.0} kS/s or \
                     more",
                    wide * 1e-3
                ),
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
pub(super) fn overlap(c: &Context<'_>, k: &Carrier, name: &str, base: &str, out: &mut Vec<Answer>) {
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
