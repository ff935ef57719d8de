//! Stored bytes to samples: one plain loop per component, which the compiler vectorises.

use num_complex::Complex;

use super::about::{Component, SampleFormat};

/// Converts whole samples; `bytes` holds at least `out.len()` of them. Returns how many components were not
/// finite: they become zero, because one of them would poison every average.
pub(crate) fn convert(format: SampleFormat, bytes: &[u8], out: &mut [Complex<f32>]) -> u64 {
    let be = format.big_endian;
    match format.component {
        Component::U8 => each::<1>(bytes, out, |[x]| (f32::from(x) - 127.5) * (1.0 / 127.5)),
        Component::I8 => each::<1>(bytes, out, |x| {
            f32::from(i8::from_le_bytes(x)) * (1.0 / 127.0)
        }),
        Component::U16 if be => each(bytes, out, |x| from_u16(u16::from_be_bytes(x))),
        Component::U16 => each(bytes, out, |x| from_u16(u16::from_le_bytes(x))),
        Component::I16 if be => each(bytes, out, |x| from_i16(i16::from_be_bytes(x))),
        Component::I16 => each(bytes, out, |x| from_i16(i16::from_le_bytes(x))),
        Component::I24 if be => each(bytes, out, |[a, b, c]| from_i24([c, b, a])),
        Component::I24 => each(bytes, out, from_i24),
        Component::U32 if be => each(bytes, out, |x| from_u32(u32::from_be_bytes(x))),
        Component::U32 => each(bytes, out, |x| from_u32(u32::from_le_bytes(x))),
        Component::I32 if be => each(bytes, out, |x| from_i32(i32::from_be_bytes(x))),
        Component::I32 => each(bytes, out, |x| from_i32(i32::from_le_bytes(x))),
        Component::F32 => {
            if be {
                each(bytes, out, f32::from_be_bytes);
            } else {
                each(bytes, out, f32::from_le_bytes);
            }
            return drop_non_finite(out);
        }
        Component::F64 => {
            if be {
                each(bytes, out, |x| f64::from_be_bytes(x) as f32);
            } else {
                each(bytes, out, |x| f64::from_le_bytes(x) as f32);
            }
            return drop_non_finite(out);
        }
    }
    0
}

fn each<const N: usize>(bytes: &[u8], out: &mut [Complex<f32>], value: impl Fn([u8; N]) -> f32) {
    let (components, _) = bytes.as_chunks::<N>();
    let (pairs, _) = components.as_chunks::<2>();
    for (sample, [i, q]) in out.iter_mut().zip(pairs) {
        *sample = Complex::new(value(*i), value(*q));
    }
}

fn from_u16(x: u16) -> f32 {
    (f32::from(x) - 32767.5) * (1.0 / 32767.5)
}

fn from_i16(x: i16) -> f32 {
    f32::from(x) * (1.0 / 32767.0)
}

fn from_i24([a, b, c]: [u8; 3]) -> f32 {
    // The sign is carried down from the top byte; 24 bits are exact in single precision.
    let x = i32::from_le_bytes([0, a, b, c]) >> 8;
    x as f32 * (1.0 / 8_388_607.0)
}

fn from_u32(x: u32) -> f32 {
    ((f64::from(x) - 2_147_483_647.5) * (1.0 / 2_147_483_647.5)) as f32
}

fn from_i32(x: i32) -> f32 {
    (f64::from(x) * (1.0 / 2_147_483_647.0)) as f32
}

fn drop_non_finite(out: &mut [Complex<f32>]) -> u64 {
    // Exponents of all ones are infinities and what is no number; the loop has no branches, and is quick.
    let odd = |x: f32| u32::from(x.to_bits() & 0x7fff_ffff >= 0x7f80_0000);
    if out.iter().fold(0, |any, z| any | odd(z.re) | odd(z.im)) == 0 {
        return 0;
    }
    let mut dropped = 0;
    for z in out {
        for x in [&mut z.re, &mut z.im] {
            if !x.is_finite() {
                *x = 0.0;
                dropped += 1;
            }
        }
    }
    dropped
}

/// Stores samples in `format`: rounded to the nearest code, held at the rails. Returns how many components lay
/// beyond a rail. The inverse of [`convert`] within half a step.
pub(crate) fn store(format: SampleFormat, samples: &[Complex<f64>], bytes: &mut Vec<u8>) -> u64 {
    let mut clipped = 0;
    for z in samples {
        for v in [z.re, z.im] {
            clipped += u64::from(v.abs() > 1.0 && !format.is_float());
            store_one(format, v, bytes);
        }
    }
    clipped
}

fn store_one(format: SampleFormat, v: f64, bytes: &mut Vec<u8>) {
    // Casts of floats to integers saturate, which is the rail.
    let (le, width): ([u8; 8], usize) = match format.component {
        Component::U8 => (
            u64::from((127.5 + 127.5 * v).round() as u8).to_le_bytes(),
            1,
        ),
        Component::I8 => (i64::from((127.0 * v).round() as i8).to_le_bytes(), 1),
        Component::U16 => (
            u64::from((32767.5 + 32767.5 * v).round() as u16).to_le_bytes(),
            2,
        ),
        Component::I16 => (i64::from((32767.0 * v).round() as i16).to_le_bytes(), 2),
        Component::I24 => {
            let x = ((8_388_607.0 * v).round() as i64).clamp(-8_388_608, 8_388_607);
            (x.to_le_bytes(), 3)
        }
        Component::U32 => {
            let x = (2_147_483_647.5 + 2_147_483_647.5 * v).round() as u32;
            (u64::from(x).to_le_bytes(), 4)
        }
        Component::I32 => (
            i64::from((2_147_483_647.0 * v).round() as i32).to_le_bytes(),
            4,
        ),
        Component::F32 => (u64::from((v as f32).to_bits()).to_le_bytes(), 4),
        Component::F64 => (v.to_bits().to_le_bytes(), 8),
    };
    let (used, _) = le.split_at(width);
    if format.big_endian {
        bytes.extend(used.iter().rev());
    } else {
        bytes.extend(used);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(format: &str, bytes: &[u8]) -> Complex<f32> {
        let mut out = [Complex::new(9.0, 9.0)];
        convert(format.parse().unwrap(), bytes, &mut out);
        out[0]
    }

    #[test]
    fn rails_and_zero_of_every_type() {
        assert_eq!(one("cu8", &[0, 255]), Complex::new(-1.0, 1.0));
        assert!((one("cu8", &[127, 128]).re + 0.5 / 127.5).abs() < 1e-7);
        assert_eq!(one("ci8", &[0x81, 0x7f]), Complex::new(-1.0, 1.0));
        assert_eq!(one("cu16_le", &[0, 0, 255, 255]), Complex::new(-1.0, 1.0));
        assert_eq!(one("cu16_be", &[0, 0, 0, 255]).re, -1.0);
        assert_eq!(
            one("ci16_le", &[0xff, 0x7f, 1, 0]),
            Complex::new(1.0, 1.0 / 32767.0)
        );
        assert_eq!(
            one("ci16_be", &[0x7f, 0xff, 0, 1]),
            Complex::new(1.0, 1.0 / 32767.0)
        );
        assert_eq!(
            one("ci24_le", &[0xff, 0xff, 0x7f, 0xff, 0xff, 0xff]).re,
            1.0
        );
        assert_eq!(
            one("ci24_le", &[0, 0, 0, 0xff, 0xff, 0xff]).im,
            -1.0 / 8_388_607.0
        );
        assert_eq!(
            one("ci24_be", &[0x7f, 0xff, 0xff, 0, 0, 0]),
            Complex::new(1.0, 0.0)
        );
        assert_eq!(
            one("cu32_le", &[0, 0, 0, 0, 255, 255, 255, 255]),
            Complex::new(-1.0, 1.0)
        );
        assert_eq!(
            one("ci32_be", &[0x7f, 255, 255, 255, 0, 0, 0, 0]),
            Complex::new(1.0, 0.0)
        );
        let f: Vec<u8> = [0.25f32, -3.5]
            .iter()
            .flat_map(|x| x.to_be_bytes())
            .collect();
        assert_eq!(one("cf32_be", &f), Complex::new(0.25, -3.5));
        let f: Vec<u8> = [0.25f64, -3.5]
            .iter()
            .flat_map(|x| x.to_le_bytes())
            .collect();
        assert_eq!(one("cf64_le", &f), Complex::new(0.25, -3.5));
    }

    #[test]
    fn what_is_not_finite_becomes_zero_and_is_counted() {
        let bytes: Vec<u8> = [1.0f32, f32::NAN, f32::INFINITY, 2.0]
            .iter()
            .flat_map(|x| x.to_le_bytes())
            .collect();
        let mut out = [Complex::new(0.0, 0.0); 2];
        let dropped = convert("cf32".parse().unwrap(), &bytes, &mut out);
        assert_eq!(dropped, 2);
        assert_eq!(out, [Complex::new(1.0, 0.0), Complex::new(0.0, 2.0)]);
    }

    #[test]
    fn storing_and_converting_agree_within_half_a_step() {
        for name in [
            "cu8", "ci8", "cu16_le", "cu16_be", "ci16_le", "ci16_be", "ci24_le", "ci24_be",
            "cu32_le", "cu32_be", "ci32_le", "ci32_be", "cf32_le", "cf32_be", "cf64_le", "cf64_be",
        ] {
            let format: SampleFormat = name.parse().unwrap();
            assert_eq!(format.to_string(), name);
            let half = format.lsb().unwrap_or(0.0) / 2.0 + 1e-7;
            for k in -40..=40 {
                let v = Complex::new(f64::from(k) / 40.0, -f64::from(k) / 41.0);
                let mut bytes = Vec::new();
                assert_eq!(store(format, &[v], &mut bytes), 0, "{name}");
                assert_eq!(bytes.len(), format.bytes_per_sample());
                let w = one(name, &bytes);
                assert!((f64::from(w.re) - v.re).abs() <= half, "{name} {v} {w}");
                assert!((f64::from(w.im) - v.im).abs() <= half, "{name} {v} {w}");
            }
        }
    }
}
