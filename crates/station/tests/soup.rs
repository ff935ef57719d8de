//! Whatever bytes come in, the answer is a station or problems, never a panic; what is written is what is read.

use proptest::prelude::*;
use slantpath_input::{Problems, Source, Style, render};
use slantpath_quantity::{Dimension, Distribution, Unit, read_written};
use slantpath_station::checked::PartKind;
use slantpath_station::{read_log, read_readings, read_satellite, read_station, template};

fn drawn(problems: &Problems) {
    for p in problems {
        assert!(render(p, Style::ASCII).is_ascii());
        assert!(!p.title.is_empty());
    }
}

fn swallow(bytes: &[u8]) {
    let Ok(source) = Source::from_bytes("soup", bytes) else {
        return;
    };
    let (satellite, p) = read_satellite(&source);
    assert_eq!(satellite.is_none(), p.has_errors());
    drawn(&p);
    let (station, p) = read_station(&source, &mut |_| {
        Ok(Source::new("s", template::satellite()))
    });
    assert_eq!(station.is_none(), p.has_errors());
    drawn(&p);
    let (station, p) = read_station(&Source::new("t", template::station()), &mut |_| {
        Ok(source.clone())
    });
    assert_eq!(station.is_none(), p.has_errors());
    drawn(&p);
    drawn(&read_readings(&source).1);
    drawn(&read_log(&source).1);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        swallow(&bytes);
    }

    /// A sound file, damaged: bytes replaced, cut out and doubled.
    #[test]
    fn damaged_files(
        which in 0..2u8,
        damage in proptest::collection::vec((any::<u32>(), any::<u8>(), 0..3u8, 0..40usize), 1..12),
    ) {
        let mut bytes = if which == 0 { template::station() } else { template::satellite() }.as_bytes().to_vec();
        for (at, byte, how, n) in damage {
            let i = at as usize % bytes.len();
            let end = (i + n).min(bytes.len());
            match how {
                0 => bytes[i] = if byte < 128 { byte } else { b' ' },
                1 => { bytes.drain(i..end); }
                _ => {
                    let piece = bytes[i..end].to_vec();
                    bytes.splice(i..i, piece);
                }
            }
            if bytes.is_empty() {
                break;
            }
        }
        swallow(&bytes);
    }

    /// Lines of a sound file in another order, some left out: headings and keys land anywhere.
    #[test]
    fn shuffled_files(order in Just((0..60usize).collect::<Vec<_>>()).prop_shuffle(), keep in 1..60usize) {
        let lines: Vec<&str> = template::station().lines().filter(|l| !l.starts_with('#') && !l.is_empty()).collect();
        let text: String = order.iter().take(keep).filter_map(|i| lines.get(*i)).map(|l| format!("{l}\n")).collect();
        swallow(text.as_bytes());
    }

    #[test]
    fn any_value_in_any_place(value in "[-+±.0-9a-zA-Z%°/ ]{0,14}", key in 0..30usize) {
        let lines: Vec<&str> = template::station().lines().collect();
        let with_value: Vec<usize> = (0..lines.len()).filter(|i| lines[*i].contains(" = \"") && !lines[*i].starts_with('#')).collect();
        let at = with_value[key % with_value.len()];
        let text: String = lines.iter().enumerate().map(|(i, l)| {
            if i == at {
                format!("{} = \"{value}\"\n", l.split(" = ").next().unwrap())
            } else {
                format!("{l}\n")
            }
        }).collect();
        swallow(text.as_bytes());
    }

    #[test]
    fn written_values_are_read_back(mean in -1e4..1e4f64, u in 1e-4..10.0f64, unit in 0..Unit::ALL.len(), way in 0..3u8) {
        let unit = Unit::ALL[unit];
        let text = match way {
            0 => format!("{mean} {}", unit.symbol()),
            1 => format!("{mean} {} ± {u}", unit.symbol()),
            _ => format!("{mean}..{} {}", mean + u, unit.symbol()),
        };
        let w = read_written(&text, unit.dimension()).unwrap();
        prop_assert_eq!(w.unit, unit);
        let expected = match way {
            0 => Distribution::Exact(mean),
            1 => Distribution::Normal { mean, u },
            _ => Distribution::Rectangular { lo: mean, hi: mean + u },
        };
        prop_assert_eq!(w.distribution, expected);
    }

    #[test]
    fn cable_loss_keeps_its_relative_uncertainty(loss in 0.01..2.0f64, relative in 0.01..0.3f64, length in 0.1..100.0f64) {
        let text = template::station().replace(
            "type = \"75-ohm-foam-7mm\"",
            &format!("loss = \"{loss} dB/m ± {}\"\nloss_at = \"740 MHz\"", loss * relative),
        ).replace("length = \"20 m\"", &format!("length = \"{length} m\""));
        let (file, problems) = read_station(&Source::new("t", text), &mut |p| Ok(Source::new(p, template::satellite())));
        prop_assert!(problems.iter().all(|p| p.title.contains("LNB") || p.title.contains("lnb") || p.title.contains("polarisation")));
        let Some(file) = file else { return Ok(()) };
        let PartKind::Cable(c) = &file.base.receive.nodes[1].part.kind else { panic!() };
        prop_assert_eq!(c.loss[0].db_per_m, loss);
        prop_assert!((c.loss_factor.distribution.u() - relative).abs() < 1e-9);
        prop_assert!((c.loss_factor.distribution.mean() - 1.0).abs() < 1e-12);
        prop_assert_eq!(c.length.distribution.mean(), length);
    }
}

#[test]
fn ten_megabytes_are_refused_and_four_are_read_in_time() {
    assert!(Source::from_bytes("s", &vec![b'a'; 10 << 20]).is_err());
    let started = std::time::Instant::now();
    let many: String = (0..20_000)
        .map(|i| format!("[part.p{i}]\nkind = \"connector\"\n"))
        .collect();
    swallow(many.as_bytes());
    let wide: String = (0..30_000).map(|i| format!("k{i} = {i}\n")).collect();
    swallow(wide.as_bytes());
    assert!(started.elapsed().as_secs() < 30, "{:?}", started.elapsed());
    assert_eq!(Unit::read("dB").unwrap().dimension(), Dimension::Ratio);
}
