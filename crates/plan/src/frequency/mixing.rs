//! Mixing products: every whole-number combination of the sources, up to an order, against what is received.
//!
//! A nonlinear part that sees frequencies `f_1 ... f_n` also produces `|c_1 f_1 + ... + c_n f_n|` for whole `c`; the order
//! is the sum of the `|c|`. What a product is worth in decibels depends on parts that nobody describes, so the search
//! says where, not how strong; low orders are the strong ones.

use crate::error::{PlanError, Result, positive};

/// Something that oscillates: a band when it may stand anywhere in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// What a person calls it.
    pub name: String,
    /// Lower end, Hz.
    pub lo_hz: f64,
    /// Upper end, Hz.
    pub hi_hz: f64,
}

/// Where a product would hurt.
#[derive(Debug, Clone, PartialEq)]
pub struct Target {
    /// What a person calls it.
    pub name: String,
    /// Lower end, Hz.
    pub lo_hz: f64,
    /// Upper end, Hz.
    pub hi_hz: f64,
}

/// A product that falls on a target.
#[derive(Debug, Clone, PartialEq)]
pub struct Product {
    /// Factor of each source, in their order; the first that is not zero is positive.
    pub factors: Vec<i32>,
    /// Sum of the factors' sizes.
    pub order: u32,
    /// Lower end of the product, Hz.
    pub lo_hz: f64,
    /// Upper end, Hz.
    pub hi_hz: f64,
    /// Index of the target.
    pub target: usize,
}

impl Product {
    /// Written out, for example `3 x transmitter - LNB oscillator`.
    pub fn formula(&self, sources: &[Source]) -> String {
        let mut text = String::new();
        for (c, s) in self.factors.iter().zip(sources).filter(|(c, _)| **c != 0) {
            text.push_str(match (text.is_empty(), *c < 0) {
                (true, true) => "-",
                (true, false) => "",
                (false, true) => " - ",
                (false, false) => " + ",
            });
            if c.abs() != 1 {
                text.push_str(&format!("{} x ", c.abs()));
            }
            text.push_str(&s.name);
        }
        text
    }
}

/// Most combinations looked at.
pub const MOST: u64 = 2_000_000;

/// Number of combinations of `n` sources whose factors' sizes sum to at most `order`, both signs counted:
/// `sum_k 2^k C(n, k) C(order, k)`.
pub fn combinations(n: u32, order: u32) -> u64 {
    let choose = |n: u32, k: u32| -> u64 {
        (0..u64::from(k)).fold(1u64, |c, i| {
            c.saturating_mul(u64::from(n).saturating_sub(i)) / (i + 1)
        })
    };
    (0..=n.min(order))
        .map(|k| {
            1u64.checked_shl(k)
                .unwrap_or(u64::MAX)
                .saturating_mul(choose(n, k))
                .saturating_mul(choose(order, k))
        })
        .fold(0, u64::saturating_add)
}

/// Every product up to `order` that touches a target, lowest order first. Harmonics are products of one source; a source
/// itself counts as order 1.
///
/// # Errors
/// A band that is none; an order of 0; more than [`MOST`] combinations.
pub fn products(sources: &[Source], order: u32, targets: &[Target]) -> Result<Vec<Product>> {
    positive("order", f64::from(order), "")?;
    let bands = sources
        .iter()
        .map(|s| (s.lo_hz, s.hi_hz))
        .chain(targets.iter().map(|t| (t.lo_hz, t.hi_hz)));
    for (lo, hi) in bands {
        positive("lower end of a band", lo, "Hz")?;
        positive("upper end of a band", hi, "Hz")?;
        positive("width of a band and 1 Hz", hi - lo + 1.0, "Hz")?;
    }
    let n = u32::try_from(sources.len()).unwrap_or(u32::MAX);
    let all = combinations(n, order);
    if all > MOST {
        return Err(PlanError::Nothing {
            why: format!(
                "{n} sources to order {order} are {all} combinations, more than {MOST}: ask for a lower order or name fewer sources"
            ),
        });
    }
    let mut out = Vec::new();
    let mut factors = vec![0i32; sources.len()];
    walk(sources, targets, 0, order, &mut factors, &mut out);
    out.sort_by(|a: &Product, b| {
        (a.order, a.target)
            .cmp(&(b.order, b.target))
            .then_with(|| a.factors.cmp(&b.factors))
    });
    Ok(out)
}

fn walk(
    sources: &[Source],
    targets: &[Target],
    at: usize,
    left: u32,
    factors: &mut Vec<i32>,
    out: &mut Vec<Product>,
) {
    if at == sources.len() {
        take(sources, targets, factors, out);
        return;
    }
    let most = i32::try_from(left).unwrap_or(i32::MAX);
    // A combination and its negative are one product.
    let least = if factors.iter().take(at).all(|c| *c == 0) {
        0
    } else {
        -most
    };
    for c in least..=most {
        if let Some(f) = factors.get_mut(at) {
            *f = c;
        }
        walk(
            sources,
            targets,
            at + 1,
            left - c.unsigned_abs(),
            factors,
            out,
        );
    }
    if let Some(f) = factors.get_mut(at) {
        *f = 0;
    }
}

fn take(sources: &[Source], targets: &[Target], factors: &[i32], out: &mut Vec<Product>) {
    let order: u32 = factors.iter().map(|c| c.unsigned_abs()).sum();
    if order == 0 {
        return;
    }
    let (mut a, mut b) = (0.0, 0.0);
    for (c, s) in factors.iter().zip(sources) {
        let c = f64::from(*c);
        a += c * if c > 0.0 { s.lo_hz } else { s.hi_hz };
        b += c * if c > 0.0 { s.hi_hz } else { s.lo_hz };
    }
    // A negative frequency is the positive one turned round; a band across zero reaches from zero.
    let (lo, hi) = if a > 0.0 {
        (a, b)
    } else if b < 0.0 {
        (-b, -a)
    } else {
        (0.0, b.max(-a))
    };
    for (k, t) in targets.iter().enumerate() {
        if lo <= t.hi_hz && hi >= t.lo_hz {
            out.push(Product {
                factors: factors.to_vec(),
                order,
                lo_hz: lo,
                hi_hz: hi,
                target: k,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(name: &str, lo_mhz: f64, hi_mhz: f64) -> Source {
        Source {
            name: name.into(),
            lo_hz: lo_mhz * 1e6,
            hi_hz: hi_mhz * 1e6,
        }
    }
    fn target(lo_mhz: f64, hi_mhz: f64) -> Target {
        Target {
            name: "wanted".into(),
            lo_hz: lo_mhz * 1e6,
            hi_hz: hi_mhz * 1e6,
        }
    }

    #[test]
    fn the_fourth_harmonic_lands_below_the_intermediate_band() {
        // By hand: 4 2412.5 = 9650 MHz; 9750 - 9650 = 100 MHz: order 5, and nothing of a lower order below 200 MHz.
        let s = [
            source("oscillator", 9750.0, 9750.0),
            source("transmitter", 2412.5, 2412.5),
        ];
        let p = products(&s, 5, &[target(90.0, 110.0)]).unwrap();
        assert_eq!(p.len(), 1, "{p:?}");
        assert_eq!((p[0].factors.as_slice(), p[0].order), (&[1, -4][..], 5));
        assert!((p[0].lo_hz - 100e6).abs() < 1.0);
        assert_eq!(p[0].formula(&s), "oscillator - 4 x transmitter");
        assert!(products(&s, 4, &[target(90.0, 110.0)]).unwrap().is_empty());
    }

    #[test]
    fn a_band_widens_by_its_factor() {
        // By hand: 3 (2412.3..2412.7) = 7236.9..7238.1; 9750 less that: 2511.9..2513.1 MHz.
        let s = [
            source("oscillator", 9750.0, 9750.0),
            source("transmitter", 2412.3, 2412.7),
        ];
        let p = products(&s, 4, &[target(2500.0, 2520.0)]).unwrap();
        assert_eq!(p.len(), 1);
        assert!((p[0].lo_hz - 2511.9e6).abs() < 1.0 && (p[0].hi_hz - 2513.1e6).abs() < 1.0);
    }

    #[test]
    fn a_clocks_harmonic_on_the_beacon() {
        // By hand: 18 40.1 = 721.8 MHz, 19 40.1 = 761.9 MHz.
        let s = [source("clock", 40.1, 40.1)];
        let p = products(&s, 20, &[target(721.5, 722.5)]).unwrap();
        assert_eq!(p.iter().map(|p| p.factors[0]).collect::<Vec<_>>(), [18]);
    }

    #[test]
    fn third_order_of_two_carriers() {
        // 2 723 - 722 = 724, 2 722 - 723 = 721 MHz: the usual pair, and each once.
        let s = [source("a", 722.0, 722.0), source("b", 723.0, 723.0)];
        let p = products(&s, 3, &[target(720.9, 721.1), target(723.9, 724.1)]).unwrap();
        let found: Vec<_> = p.iter().map(|p| (p.target, p.factors.clone())).collect();
        assert_eq!(found, [(0, vec![2, -1]), (1, vec![1, -2])]);
    }

    #[test]
    fn a_band_across_zero_and_the_count() {
        let s = [source("a", 99.0, 101.0), source("b", 100.0, 100.0)];
        let p = products(&s, 2, &[target(0.5, 0.6)]).unwrap();
        assert_eq!(p[0].factors, [1, -1]);
        assert_eq!((p[0].lo_hz, p[0].hi_hz), (0.0, 1e6));
        // By hand: two sources to order 2: 1 + 2 2 2 + 4 1 1 = 13 points with |i| + |j| <= 2.
        assert_eq!(combinations(2, 2), 13);
        let many: Vec<Source> = (0..12)
            .map(|k| source("x", 1.0 + f64::from(k), 20.0))
            .collect();
        assert!(matches!(
            products(&many, 15, &[]),
            Err(PlanError::Nothing { .. })
        ));
        assert!(products(&[source("x", 5.0, 4.0e-3)], 3, &[]).is_err());
    }
}
