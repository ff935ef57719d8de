//! Properties of the draws: identity, threads, stop.

use proptest::prelude::*;
use slantpath_quantity::{Contributor, ContributorId, Distribution};
use slantpath_stats::{Progress, Settings, StatsError, Stop, monte_carlo};

fn normal(id: &str, u: f64) -> Contributor {
    Contributor {
        id: ContributorId::new(id),
        label: id.to_string(),
        distribution: Distribution::Normal { mean: 1.0, u },
        unit: "dB",
        source: "test".to_string(),
    }
}

#[test]
fn same_bits_at_any_number_of_threads() {
    let c: Vec<_> = (0..7).map(|i| normal(&format!("part.{i}"), 0.3)).collect();
    let run = |threads: usize| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap()
            .install(|| {
                let s = Settings::new(42, 30_001);
                monte_carlo(&c, 2, &s, |x, y| {
                    y[0] = x.iter().sum();
                    y[1] = x.iter().product();
                })
                .unwrap()
            })
    };
    let (one, five) = (run(1), run(5));
    for k in 0..2 {
        assert_eq!(one.values(k), five.values(k));
        assert_eq!(
            one.mean(k).map(f64::to_bits),
            five.mean(k).map(f64::to_bits)
        );
        assert_eq!(one.sd(k).map(f64::to_bits), five.sd(k).map(f64::to_bits));
        assert_eq!(one.correlation(3, k), five.correlation(3, k));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// Two variants, run apart, in another order and with other company: what they share cancels in the difference.
    #[test]
    fn a_shared_contributor_leaves_no_scatter_in_a_difference(seed in any::<u64>(), u in 0.01f64..2.0) {
        let old = [normal("shared", u), normal("feed.old", 0.1)];
        let new = [normal("cable", 0.2), normal("feed.new", 0.1), normal("shared", u)];
        let s = Settings::new(seed, 3000);
        let a = monte_carlo(&old, 1, &s, |x, y| y[0] = x[0]).unwrap().values(0);
        let b = monte_carlo(&new, 1, &s, |x, y| y[0] = x[2] + 0.7).unwrap().values(0);
        for (a, b) in a.iter().zip(&b) {
            prop_assert!((b - a - 0.7).abs() < 1e-12);
        }
    }
}

/// Inputs of a linear model: correlation with the output is `c_i u_i / u`.
#[test]
fn correlation_is_the_share_of_a_linear_model() {
    let c = [normal("big", 0.4), normal("small", 0.3)];
    let d = monte_carlo(&c, 1, &Settings::new(3, 100_000), |x, y| y[0] = x[0] - x[1]).unwrap();
    assert!((d.correlation(0, 0).unwrap() - 0.8).abs() < 0.01);
    assert!((d.correlation(1, 0).unwrap() + 0.6).abs() < 0.01);
    assert_eq!(d.correlation(2, 0), None);
    let i = d.estimate(0, 0.95).unwrap().interval;
    // Half width 1.96 x 0.5; four standard errors of a 2.5 % point at 1e5 trials are 0.017.
    assert!((i.half_width() - 0.98).abs() < 0.017);
}

#[test]
fn refusals_say_why() {
    let s = Settings::new(1, 2000);
    let e = monte_carlo(&[normal("x", -1.0)], 1, &s, |x, y| y[0] = x[0]).unwrap_err();
    assert!(matches!(e, StatsError::BadDistribution { .. }));
    let e = monte_carlo(&[normal("x", 1.0), normal("x", 2.0)], 1, &s, |x, y| {
        y[0] = x[0]
    })
    .unwrap_err();
    assert_eq!(e, StatsError::Contradiction { id: "x".into() });
    let e = monte_carlo(&[normal("x", 1.0)], 1, &s, |x, y| y[0] = (x[0] - 3.0).ln()).unwrap_err();
    assert!(matches!(e, StatsError::NotFinite { output: 0, .. }));
    let stop = Stop::new();
    stop.request();
    let stopped = Settings {
        stop,
        progress: Progress::silent(),
        ..s
    };
    let e = monte_carlo(&[normal("x", 1.0)], 1, &stopped, |x, y| y[0] = x[0]).unwrap_err();
    assert_eq!(e, StatsError::Stopped);
}
