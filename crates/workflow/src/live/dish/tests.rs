use super::*;
use crate::live::tests::demo_station;

#[test]
fn turns_are_said_in_eighths() {
    for (turns, text) in [
        (0.125, "1/8 turn"),
        (0.5, "1/2 turn"),
        (1.0, "1 turn"),
        (1.375, "1 3/8 turns"),
        (2.0, "2 turns"),
    ] {
        assert_eq!(amount(turns), text);
    }
    assert_eq!(
        sentence(Axis::Azimuth, -0.25),
        "Azimuth bolt: dish left, 1/4 turn"
    );
}

fn reading(level: f64, own: bool) -> Reading {
    Reading {
        at: 0,
        lost: 0,
        lost_here: 0,
        power_dbfs: -30.0,
        clipped: 0.0,
        located: true,
        beacons: vec![BeaconNow {
            passband: "narrow".into(),
            name: "beacon-psk".into(),
            rf_hz: 10_472.175e6,
            level_dbfs: (-50.0, 0.1),
            cn0_dbhz: (level - 2.0, 0.1),
            over_receiver_dbhz: Some((level, 0.1, 0.2)),
            steady: true,
            seen: true,
        }],
        own: own.then_some(slantpath_capture::live::OwnCarrier {
            rf_hz: 10_472.4e6,
            above_floor_db: 8.0,
        }),
        picture: None,
    }
}

fn session() -> Session {
    let (_folder, loaded, p) = demo_station();
    let station = loaded.station(None).expect("the base");
    Session::new(station, &p, Some("sdr"))
}

fn latest(r: &Reading) -> Latest {
    Latest {
        seq: 1,
        made: Some(Instant::now()),
        reading: Some(std::sync::Arc::new(r.clone())),
        picture: None,
        location: None,
        source: "receiving".into(),
        rate_hz: 640e3,
    }
}

/// The sentences alone lead a dish to its peak: bolts of unknown pitch, noise on every reading.
#[test]
fn following_the_sentences_ends_at_the_peak() {
    let mut s = session();
    let beam = s.beam_deg;
    let mut now = Instant::now();
    let (mut az, mut el) = (0.7 * beam, -0.5 * beam);
    let mut noise = 1u64;
    let peak = s.before.peak_db.0 - 0.4;
    s.disconnected = true;
    let mut steps = 0;
    loop {
        // A minute at most; a hold is complete after three seconds.
        let mut told = None;
        for _ in 0..60 {
            noise = noise
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let e = ((noise >> 33) as f64 / f64::from(1u32 << 31) - 0.5) * 0.35;
            let r = reading(peak - 12.0 * (az * az + el * el) / (beam * beam) + e, false);
            now += Duration::from_millis(100);
            s.take(&r, now);
            let t = s.told(&latest(&r), now);
            if matches!(t.said.doing, Doing::Turn | Doing::Finished) {
                told = Some(t);
                break;
            }
        }
        let told = told.expect("a hold ends");
        if told.said.doing == Doing::Finished {
            break;
        }
        steps += 1;
        assert!(steps < 20, "{:?} az {az} el {el}", told.said);
        let step = told.said.step.expect("a turn");
        match step.axis {
            Axis::Azimuth => az += 0.43 * step.turns,
            Axis::Elevation => el += 0.31 * step.turns,
        }
        s.turned(step.axis, step.turns, now);
    }
    let loss = 12.0 * (az * az + el * el) / (beam * beam);
    assert!(loss < 0.25, "{loss} dB left after {steps} turns");
}

#[test]
fn a_peak_is_not_raised_by_noise_alone() {
    let mut s = session();
    let now = Instant::now();
    let mut highest = f64::NEG_INFINITY;
    for k in 0..600u32 {
        let e = f64::from(k.wrapping_mul(2_654_435_761) >> 8) / f64::from(1u32 << 24) - 0.5;
        highest = highest.max(50.0 + 0.6 * e);
        s.take(&reading(50.0 + 0.6 * e, false), now);
    }
    let told = s.told(&latest(&reading(50.0, false)), now);
    let peak = told.peak.expect("a peak");
    assert!(
        peak < highest - 0.1 && (peak - 50.0).abs() < 0.2,
        "{peak} {highest}"
    );
    assert_eq!(told.history.len(), 60);
}

#[test]
fn stop_comes_before_everything_and_stays_for_two_seconds() {
    let mut s = session();
    let now = Instant::now();
    let said = |s: &mut Session, r: &Reading| s.told(&latest(r), now).said.doing;
    s.take(&reading(50.0, false), now);
    assert_eq!(said(&mut s, &reading(50.0, false)), Doing::Disconnect);
    s.take(&reading(50.0, true), now);
    assert_eq!(said(&mut s, &reading(50.0, true)), Doing::Stop);
    for _ in 0..19 {
        s.take(&reading(50.0, false), now);
    }
    assert_eq!(said(&mut s, &reading(50.0, false)), Doing::Stop);
    s.take(&reading(50.0, false), now);
    assert_eq!(said(&mut s, &reading(50.0, false)), Doing::Disconnect);
}
