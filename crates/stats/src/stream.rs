//! Seeded random streams by identity.
//!
//! A contributor's standard draws depend on three things only: the seed, the contributor's identity and the number
//! of the block of trials. So they are the same at any number of threads, and the same whichever other contributors
//! take part: two variants or two days that share an identity share its draws (common random numbers).
//!
//! The stream is ChaCha8 (the cipher's output is specified, so a seed means the same on every machine). Its 256-bit
//! key is `seed (8 bytes, little endian) | FNV-1a-128(identity) (16 bytes, little endian) | "slpdraw1"`, and its
//! 64-bit stream number is the block.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use slantpath_quantity::{ContributorId, Distribution};

/// Number of trials in one block.
pub const BLOCK: usize = 1024;

/// FNV-1a hash, 128 bit (offset basis and prime of RFC 9923; from memory, checked by its test vectors).
pub fn fnv1a_128(bytes: &[u8]) -> u128 {
    const OFFSET: u128 = 0x6c62_272e_07bb_0142_62b8_2175_6295_c58d;
    const PRIME: u128 = 0x0000_0000_0100_0000_0000_0000_0000_013b;
    bytes
        .iter()
        .fold(OFFSET, |h, &b| (h ^ u128::from(b)).wrapping_mul(PRIME))
}

/// The random stream of `id` in block `block` under `seed`.
pub fn stream(seed: u64, id: &ContributorId, block: u64) -> ChaCha8Rng {
    named_stream(seed, id.as_str(), block)
}

/// As [`stream`], for a random sequence that is no contributor (simulated noise in a test, a bootstrap).
pub fn named_stream(seed: u64, name: &str, block: u64) -> ChaCha8Rng {
    let mut key = [0u8; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    key[8..24].copy_from_slice(&fnv1a_128(name.as_bytes()).to_le_bytes());
    key[24..].copy_from_slice(b"slpdraw1");
    let mut rng = ChaCha8Rng::from_seed(key);
    rng.set_stream(block);
    rng
}

/// Next uniform deviate strictly inside (0, 1): `(k + 1/2) 2^-52`.
pub fn uniform(rng: &mut ChaCha8Rng) -> f64 {
    ((rng.next_u64() >> 12) as f64 + 0.5) * (1.0 / (1u64 << 52) as f64)
}

/// Next standard normal deviate, by inversion: exactly one uniform deviate is used up.
pub fn normal(rng: &mut ChaCha8Rng) -> f64 {
    crate::intervals::normal_quantile(uniform(rng))
}

/// The value of `distribution` at cumulative probability `p` in (0, 1).
///
/// Draws are made by inversion, so that a contributor which is normal in one variant and rectangular in another
/// still rises and falls together in both.
pub fn quantile(distribution: &Distribution, p: f64) -> f64 {
    match *distribution {
        Distribution::Exact(v) => v,
        Distribution::Normal { mean, u } => mean + u * crate::intervals::normal_quantile(p),
        Distribution::Rectangular { lo, hi } => lo + (hi - lo) * p,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fnv1a_128_known_vectors() {
        // RFC 9923 (FNV), test vectors for FNV-1a with 128 bit; from memory.
        assert_eq!(fnv1a_128(b""), 0x6c62272e07bb014262b821756295c58d);
        assert_eq!(fnv1a_128(b"a"), 0xd228cb696f1a8caf78912b704e4a8964);
        assert_eq!(fnv1a_128(b"foobar"), 0x343e1662793c64bf6f0d3597ba446f18);
    }

    #[test]
    fn identity_and_block_alone_make_the_stream() {
        let id = ContributorId::new("rx.main.cable.loss");
        let first = |seed, id: &ContributorId, block| stream(seed, id, block).next_u64();
        assert_eq!(first(1, &id, 3), first(1, &id.clone(), 3));
        let others = [
            first(2, &id, 3),
            first(1, &id, 4),
            first(1, &ContributorId::new("rx.main.cable.los"), 3),
        ];
        assert!(others.iter().all(|&x| x != first(1, &id, 3)));
    }

    #[test]
    fn uniform_has_the_moments_of_a_uniform() {
        let mut rng = named_stream(5, "moments", 0);
        let n = 200_000;
        let (mut s1, mut s2) = (0.0, 0.0);
        for _ in 0..n {
            let x = uniform(&mut rng);
            assert!(x > 0.0 && x < 1.0);
            s1 += x;
            s2 += x * x;
        }
        let (m1, m2) = (s1 / f64::from(n), s2 / f64::from(n));
        // Four standard errors: sqrt(1/12/n), sqrt(4/45/n).
        assert!((m1 - 0.5).abs() < 4.0 * (1.0 / 12.0 / f64::from(n)).sqrt());
        assert!((m2 - 1.0 / 3.0).abs() < 4.0 * (4.0 / 45.0 / f64::from(n)).sqrt());
    }
}
