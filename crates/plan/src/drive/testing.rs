//! Chains and waveforms for tests.

use super::{Chain, Waveform};
use num_complex::Complex64;
use slantpath_chain::amplifier::Curve;
use slantpath_chain::level::TransmitStage;
use slantpath_quantity::ContributorId;
use slantpath_stats::stream::{named_stream, uniform};

pub fn chain_of(curve: Curve) -> Chain {
    Chain::new(vec![TransmitStage {
        id: ContributorId::new("tx.pa"),
        label: "amplifier".into(),
        curve,
        max_input_dbm: None,
        max_reflected_dbm: None,
    }])
    .unwrap()
}

pub fn straight(gain_db: f64) -> Chain {
    chain_of(Curve::Linear(gain_db))
}

pub fn psk(order: u32, n: usize, rolloff: f64) -> Waveform {
    let mut rng = named_stream(7, "test symbols", 0);
    let s: Vec<Complex64> = (0..n)
        .map(|_| {
            let k = (uniform(&mut rng) * f64::from(order)).floor();
            Complex64::cis(std::f64::consts::TAU * (k + 0.5) / f64::from(order))
        })
        .collect();
    Waveform::of_symbols(&s, rolloff).unwrap()
}

pub fn qpsk(n: usize, rolloff: f64) -> Waveform {
    psk(4, n, rolloff)
}
