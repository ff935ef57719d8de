//! Narrowband recordings made on the fly, each with its truth and with what a measurement is to do with it.

#![allow(dead_code)] // each test file uses a part

use slantpath_capture::source::synthetic::{
    Agc, Fade, Filter, Kind, Passband, SatelliteNoise, Scene, Spur, Transmit,
};

/// What a measurement is to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Expect {
    /// Beacon C/N0 (of those that are there) and, with a passband, the noise step agree with the truth.
    Measured,
    /// Beacons agree with the truth, but there is no flat window outside the passband: no noise step.
    NoStep,
    /// Levels are refused with evidence: gain changes.
    RefusedGain,
    /// Levels are refused or flagged with evidence: the converter clips.
    Clipped,
    /// Flagged with evidence: the noise is below the converter's step.
    TooFewBits,
    /// Flagged with evidence: the own transmitter was on.
    Transmitting,
    /// There is nothing to find: it says so, and where to tune.
    NoBeacon,
    /// Flagged, and the beacon under the spur is not trusted; the other one agrees with the truth.
    SpurOnBeacon,
}

/// A recording to be made.
pub struct Case {
    /// The scene; its name is the case's.
    pub scene: Scene,
    /// What a measurement is to do with it.
    pub expect: Expect,
    /// Local oscillator that the stated centre has been lowered by, in Hz.
    pub oscillator_hz: f64,
}

fn passband(scene: &mut Scene, change: impl Fn(&mut Passband)) {
    if let SatelliteNoise::Passband(p) = &mut scene.satellite_noise {
        change(p);
    }
}

/// All cases, in a fixed order; seeds are theirs.
pub fn cases() -> Vec<Case> {
    use Expect::*;
    let mut list: Vec<Case> = Vec::new();
    let mut add = |name: &str, expect: Expect, make: &dyn Fn(&mut Scene)| {
        let mut scene = Scene::narrow_passband(name, 1.0, 9000 + list.len() as u64);
        scene.oscillator.offset_hz = 400.0;
        make(&mut scene);
        list.push(Case {
            scene,
            expect,
            oscillator_hz: 0.0,
        });
    };

    add("plain", Measured, &|_| {});
    // Oscillator errors: as far as the band follows, the rate is wide enough.
    for (name, hz, fs) in [
        ("oscillator-up-12k", 12e3, 640e3),
        ("oscillator-down-31k", -31e3, 640e3),
        ("oscillator-up-75k", 75e3, 800e3),
        ("oscillator-down-110k", -110e3, 960e3),
        ("oscillator-up-150k", 150e3, 1040e3),
        ("oscillator-down-150k", -150e3, 1040e3),
    ] {
        add(name, Measured, &|s| {
            s.oscillator.offset_hz = hz;
            s.samples = Some((fs * 0.8) as u64);
            s.sample_rate_hz = fs;
        });
    }
    add("drift-fast", Measured, &|s| {
        s.oscillator.drift_hz_per_s = 25.0
    });
    add("drift-down", Measured, &|s| {
        s.oscillator.drift_hz_per_s = -8.0
    });
    add("oscillator-quiet", Measured, &|s| {
        s.oscillator.phase_noise_100hz_dbc = None
    });
    add("oscillator-noisy", Measured, &|s| {
        s.oscillator.phase_noise_100hz_dbc = Some(-55.0)
    });

    add("only-bpsk", Measured, &|s| s.signals.truncate(1));
    add("only-keyed", Measured, &|s| drop(s.signals.remove(0)));
    add("no-beacon", NoBeacon, &|s| s.signals.clear());

    // Converter.
    add("clipping-hard", Clipped, &|s| s.noise_dbfs = -3.0);
    add("clipping-peaks", Clipped, &|s| s.noise_dbfs = -9.0);
    add("bits-8", Measured, &|s| {
        s.format = "cu8".parse().unwrap();
        s.noise_dbfs = -20.0;
    });
    add("bits-8-signed", Measured, &|s| {
        s.format = "ci8".parse().unwrap();
        s.noise_dbfs = -22.0;
    });
    add("bits-quiet", TooFewBits, &|s| {
        s.format = "cu8".parse().unwrap();
        s.noise_dbfs = -52.0;
    });
    add("float", Measured, &|s| {
        s.format = "cf32_le".parse().unwrap()
    });
    add("float-big-endian", Measured, &|s| {
        s.format = "cf32_be".parse().unwrap()
    });
    add("double", Measured, &|s| {
        s.format = "cf64_le".parse().unwrap()
    });
    add("big-endian", Measured, &|s| {
        s.format = "ci16_be".parse().unwrap()
    });
    add("bits-24", Measured, &|s| {
        s.format = "ci24_le".parse().unwrap()
    });
    add("bits-32", Measured, &|s| {
        s.format = "ci32_le".parse().unwrap()
    });

    // Imperfect receivers.
    add("dc", Measured, &|s| s.dc = (0.03, -0.02));
    add("imbalance", Measured, &|s| s.imbalance = (0.6, 3.0));
    add("slope-steep", Measured, &|s| {
        s.filter = Some(Filter {
            slope_db: -2.0,
            edge: 0.47,
        })
    });
    add("edge-early", NoStep, &|s| {
        s.filter = Some(Filter {
            slope_db: 0.3,
            edge: 0.33,
        })
    });
    add("inverted", Measured, &|s| s.inverted = true);
    add("inverted-off", Measured, &|s| {
        s.inverted = true;
        s.oscillator.offset_hz = -21e3;
    });
    add("spur-in-window", Measured, &|s| {
        s.spurs.push(Spur {
            offset_hz: 251e3,
            cn0_dbhz: 52.0,
        })
    });
    add("spurs-many", Measured, &|s| {
        s.spurs.extend((0..9).map(|k| Spur {
            offset_hz: -200e3 + 47e3 * f64::from(k),
            cn0_dbhz: 47.0,
        }));
    });
    add("spur-on-bpsk", SpurOnBeacon, &|s| {
        s.spurs.push(Spur {
            offset_hz: -174.3e3,
            cn0_dbhz: 50.0,
        })
    });
    add("spur-on-keyed", SpurOnBeacon, &|s| {
        s.spurs.push(Spur {
            offset_hz: 175.42e3,
            cn0_dbhz: 51.0,
        })
    });
    add("agc", RefusedGain, &|s| {
        s.agc = Some(Agc {
            tau_s: 0.03,
            strength: 0.8,
        });
        s.signals.push(voice("loud", 60e3, 62.0));
    });
    add("agc-slow", RefusedGain, &|s| {
        s.agc = Some(Agc {
            tau_s: 0.08,
            strength: 0.6,
        });
        s.signals.push(voice("loud", 55e3, 64.0));
    });
    add("transmitting", Transmitting, &|s| {
        s.transmit = Some(Transmit {
            period_s: 0.4,
            on_s: 0.17,
            noise_db: 3.0,
            desense_db: 0.6,
        });
    });
    add("transmitting-long", Transmitting, &|s| {
        s.transmit = Some(Transmit {
            period_s: 3.0,
            on_s: 0.5,
            noise_db: 1.5,
            desense_db: 0.3,
        });
    });

    // What else is on the air.
    add("carriers-many", Measured, &|s| {
        for k in 0..14 {
            let f = -150e3 + 21e3 * f64::from(k);
            s.signals.push(if k % 3 == 0 {
                voice("voice", f, 44.0 + f64::from(k % 5))
            } else {
                keyed("key", f, 40.0 + f64::from(k % 7))
            });
        }
    });
    add("voice-beside-bpsk", Measured, &|s| {
        s.signals.push(voice("near", -171.5e3, 48.0))
    });
    add("keyed-beside-keyed", Measured, &|s| {
        s.signals.push(keyed("near", 173.8e3, 42.0))
    });
    add("step-low", Measured, &|s| {
        passband(s, |p| p.level_db = -6.0)
    });
    add("step-high", Measured, &|s| {
        passband(s, |p| p.level_db = 9.0)
    });
    add("plateau-uneven", Measured, &|s| {
        passband(s, |p| (p.tilt_db, p.ripple_db) = (1.2, -0.4))
    });
    add("sides-soft", Measured, &|s| passband(s, |p| p.order = 40));
    add("beacons-weak", Measured, &|s| {
        s.signals.iter_mut().for_each(|b| b.cn0_dbhz = 41.0)
    });
    add("beacons-strong", Measured, &|s| {
        s.signals.iter_mut().for_each(|b| b.cn0_dbhz = 57.0)
    });
    add("manchester", Measured, &|s| {
        if let Some(b) = s.signals.first_mut() {
            b.kind = Kind::Bpsk {
                baud: 400.0,
                rolloff: 0.5,
                manchester: true,
            };
        }
    });
    add("path-loss", Measured, &|s| {
        (s.received_db, s.receiver_noise) = (-1.1, 1.45)
    });
    add("band-narrow", NoStep, &|s| {
        s.samples = Some(440_000);
        s.sample_rate_hz = 440e3;
    });
    add("intermediate", Measured, &|s| {
        s.oscillator.offset_hz = 37.2e3
    });
    if let Some(c) = list.last_mut() {
        c.oscillator_hz = 9750e6;
        c.scene.center_hz = c.scene.center_hz.map(|hz| hz - 9750e6);
    }

    for (k, name) in [
        "beacon-16k",
        "beacon-16k-fade",
        "beacon-16k-8bit",
        "beacon-16k-off",
    ]
    .iter()
    .enumerate()
    {
        let mut scene = Scene::beacon_alone(*name, 6.0, 9500 + k as u64);
        scene.oscillator.offset_hz = [300.0, -450.0, 120.0, 3100.0][k];
        match k {
            1 => {
                scene.fade = Some(Fade {
                    amplitude_db: 0.4,
                    period_s: 40.0,
                    phase_rad: 0.5,
                    moves_noise: false,
                });
            }
            2 => {
                scene.format = "cu8".parse().unwrap();
                scene.noise_dbfs = -24.0;
            }
            _ => {}
        }
        list.push(Case {
            scene,
            expect: Expect::NoStep,
            oscillator_hz: 0.0,
        });
    }
    list
}

fn voice(
    name: &str,
    offset_hz: f64,
    cn0_dbhz: f64,
) -> slantpath_capture::source::synthetic::Signal {
    let kind = Kind::Voice { lower: false };
    slantpath_capture::source::synthetic::Signal {
        name: name.into(),
        offset_hz,
        cn0_dbhz,
        kind,
    }
}

fn keyed(
    name: &str,
    offset_hz: f64,
    cn0_dbhz: f64,
) -> slantpath_capture::source::synthetic::Signal {
    let kind = Kind::Keyed {
        text: "CQ DE QQ0AAG".into(),
        words_per_minute: 22.0,
        dash_s: 0.0,
        phase_s: offset_hz * 1e-5,
    };
    slantpath_capture::source::synthetic::Signal {
        name: name.into(),
        offset_hz,
        cn0_dbhz,
        kind,
    }
}

/// One recording of a swap trial.
pub struct Mounting {
    /// The recording.
    pub scene: Scene,
    /// Side B.
    pub is_b: bool,
    /// When it was made, in seconds from the first.
    pub at_s: f64,
    /// What this mounting happened to gain.
    pub remount_db: f64,
}

/// A swap trial `ABBA...` of 16 kS/s recordings: side B is `change_db` better in C/N0 by a lower receiver noise,
/// each mounting gains or loses a little (`scatter_db` rms), a slow fade lies over it.
pub fn trial(
    seed: u64,
    pairs: usize,
    change_db: f64,
    scatter_db: f64,
    fade_db: f64,
    every_s: f64,
) -> Vec<Mounting> {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    // Twelve uniform numbers less six: normal enough for a scatter, and the same everywhere.
    let mut normal = || -> f64 {
        (0..12)
            .map(|_| {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                (state >> 11) as f64 / (1u64 << 53) as f64
            })
            .sum::<f64>()
            - 6.0
    };
    (0..2 * pairs)
        .map(|k| {
            let is_b = matches!(k % 4, 1 | 2);
            let at_s = every_s * k as f64;
            let remount_db = scatter_db * normal();
            let mut scene = Scene::beacon_alone(format!("trial-{k:02}"), 6.0, seed + 1 + k as u64);
            scene.satellite_noise = SatelliteNoise::None;
            scene.receiver_noise = if is_b {
                slantpath_quantity::from_db(-change_db)
            } else {
                1.0
            };
            scene.received_db = remount_db;
            scene.format = "cu8".parse().unwrap();
            scene.noise_dbfs = -22.0;
            scene.oscillator.offset_hz = -300.0 + 0.05 * at_s;
            scene.fade = Some(Fade {
                amplitude_db: fade_db,
                period_s: every_s * 9.0,
                phase_rad: 0.9 + std::f64::consts::TAU * k as f64 / 9.0,
                moves_noise: false,
            });
            scene.mount.side = Some(if is_b { "B" } else { "A" }.into());
            scene.mount.remount = Some(k as u64 + 1);
            let start: jiff::Timestamp = "2031-04-02T09:00:00Z".parse().unwrap();
            scene.start = start
                .checked_add(jiff::SignedDuration::from_secs_f64(at_s))
                .ok();
            Mounting {
                scene,
                is_b,
                at_s,
                remount_db,
            }
        })
        .collect()
}
