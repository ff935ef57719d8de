//! Whether stated intervals hold and are no wider than they must be: a smaller run of what `benches/honesty.rs` runs in
//! full (2000 trials of each design).
//!
//! The number of 95 % intervals that hold the truth is binomial. The acceptance is exact: a count is refused that an
//! honest instrument shows with a probability below one in five thousand on either side. Trials are seeded: the
//! outcome is the same every run.

mod honest;

use honest::{Design, Tally, run};

/// `P(X <= k)` of `n` trials at probability `p`.
fn binomial_cdf(k: usize, n: usize, p: f64) -> f64 {
    let mut term = (1.0 - p).powi(n as i32);
    let mut sum = term;
    for i in 1..=k {
        term *= p / (1.0 - p) * (n - i + 1) as f64 / i as f64;
        sum += term;
    }
    sum
}

const TAIL: f64 = 2e-4;

/// Refuses what an honest instrument would not show.
fn judge(name: &str, t: &Tally, widest: f64) {
    println!("{}", t.line(name));
    let (n, k) = (t.figures.len(), t.inside());
    assert!(
        n > 0 && t.missing * 30 <= n,
        "{name}: {} refused",
        t.missing
    );
    let low = binomial_cdf(k, n, 0.95);
    assert!(
        low > TAIL,
        "{name}: {k} of {n} inside, probability {low:.1e}"
    );
    let high = 1.0 - binomial_cdf(k.saturating_sub(1), n, 0.95);
    assert!(k == 0 || high > TAIL, "{name}: {k} of {n} inside, too wide");
    if let Some(w) = t.width() {
        assert!(w <= widest, "{name}: {w:.2} times the bound");
    }
}

#[test]
fn the_acceptance_is_exact() {
    // 1 - 0.95^20, and the median of a fair coin thrown an odd number of times.
    assert!((1.0 - binomial_cdf(19, 20, 0.95) - 0.95f64.powi(20)).abs() < 1e-12);
    assert!((binomial_cdf(3, 7, 0.5) - 0.5).abs() < 1e-12);
}

#[test]
fn beacons_alone() {
    for design in [Design::Carrier, Design::Keyed, Design::Psk] {
        for (name, t) in run(design, 30) {
            // The median of some twenty widths scatters.
            judge(name, &t, 1.6);
        }
    }
}

#[test]
fn whole_passbands() {
    for (name, t) in run(Design::Whole, 12) {
        judge(name, &t, 1.5);
    }
}

#[test]
fn two_loads() {
    for (name, t) in run(Design::Loads, 16) {
        judge(name, &t, 1.5);
    }
}

/// Scenes in which signals leave one long gap in the passband: a curve free to bend says anything there (33 dB were once
/// said, with an uncertainty of 2.7 dB).
#[test]
fn a_gap_in_the_quiet_noise_does_not_set_the_floor_free() {
    use rand::SeedableRng;
    for k in [191u64, 45, 1055, 356] {
        let mut r = rand_chacha::ChaCha12Rng::seed_from_u64(
            70_000 * (1 + honest::Design::Whole as u64) + k,
        );
        let (scene, _) = honest::whole_scene(&mut r, k);
        let (m, t) = honest::measured(&scene);
        let e = m
            .answer("narrow.noise_step")
            .and_then(|a| a.estimate())
            .expect("a noise step");
        let off = e.value - t.noise_step_with_steps_db.expect("a passband");
        assert!(e.u < 0.3 && off.abs() < 3.3 * e.u, "{k}: {off} u {}", e.u);
    }
}
