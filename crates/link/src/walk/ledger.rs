//! The noise ledger's outputs.

use super::{At, BranchScene};
use crate::measurand::{Group, Sink};
use crate::receive::{antenna_parts, is_end};
use slantpath_chain::noise::Linear;
use slantpath_quantity::Unit;
use slantpath_quantity::constants::BOLTZMANN;

/// The noise ledger: kelvin at the feed's port, lines that sum to the system temperature, then the satellite's.
pub(super) fn ledger_lines(s: &BranchScene<'_>, linear: &[Linear], sink: &mut impl Sink) {
    let at = At {
        passband: &s.down.passband,
        branch: Some(&s.branch.branch),
    };
    let g = Group::Ledger;
    for (i, part) in antenna_parts() {
        let k = s.figures.antenna.noise_k.get(i).copied().unwrap_or(0.0);
        sink.put(
            &|| {
                at.line(
                    g,
                    &format!("ledger.antenna.{}", part.key()),
                    part.name(),
                    Unit::K,
                    "antenna",
                )
            },
            k,
        );
    }
    sink.put(
        &|| {
            at.line(
                g,
                "ledger.back",
                "noise sent back by the feed's mismatch",
                Unit::K,
                "chain",
            )
        },
        s.f.t_back_k,
    );
    for (i, share) in s.branch.stage_shares(linear) {
        let Some(stage) = s.branch.stages.get(i) else {
            continue;
        };
        sink.put(
            &|| {
                let label = if is_end(stage) {
                    format!("{} (its own noise)", stage.label)
                } else {
                    stage.label.clone()
                };
                at.line(g, &format!("ledger.{}", stage.id), &label, Unit::K, "chain")
            },
            share,
        );
    }
    sink.put(
        &|| at.line(g, "ledger.quantisation", "quantisation", Unit::K, "chain"),
        s.f.t_quantisation_k,
    );
    sink.put(
        &|| {
            at.line(
                g,
                "ledger.satellite",
                "noise from the satellite (apart)",
                Unit::K,
                "satellite file",
            )
        },
        s.figures.n0_satellite / BOLTZMANN,
    );
}
