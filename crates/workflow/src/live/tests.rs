use super::*;
use slantpath_capture::source::synthetic::{Scene, SyntheticSource};
use std::io::Write;
use std::net::TcpListener;

/// The demo club station with a quick prediction; the folder holds its files.
pub(super) fn demo_station() -> (tempfile::TempDir, crate::files::Loaded, Predicted) {
    let folder = tempfile::tempdir().expect("a folder");
    crate::demo::write_files(folder.path()).expect("the demo");
    let loaded = crate::files::load_station(&folder.path().join("qq0aaa.toml")).expect("read");
    let p = crate::predict::predicted(
        loaded.station(None).expect("the base"),
        &slantpath_link::Conditions::default(),
        slantpath_link::Drawing {
            seed: 1,
            trials: 200,
        },
        &slantpath_stats::Progress::silent(),
    )
    .expect("predicted");
    (folder, loaded, p)
}

fn started(input: LiveInput, options: impl FnOnce(&mut LiveOptions)) -> (tempfile::TempDir, Live) {
    let (folder, loaded, p) = demo_station();
    let station = loaded.station(None).expect("the base");
    let mut o = LiveOptions {
        input,
        format: None,
        rate_hz: None,
        center_hz: None,
        branch: None,
        lo_tolerance_hz: None,
    };
    options(&mut o);
    let live = Live::start(station, &p, &o).expect("started");
    (folder, live)
}

fn until(what: &str, mut done: impl FnMut() -> bool) {
    let begin = Instant::now();
    while !done() {
        assert!(
            begin.elapsed() < Duration::from_secs(60),
            "no {what} within a minute"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn sources_are_read_as_written() {
    assert_eq!(LiveInput::read("-").expect("stdin"), LiveInput::Stdin);
    assert_eq!(
        LiveInput::read("tcp:[::1]:1234").expect("tcp"),
        LiveInput::Tcp("[::1]:1234".into())
    );
    assert_eq!(
        LiveInput::read("file:a:b.cu8").expect("file"),
        LiveInput::File("a:b.cu8".into())
    );
    for bad in ["", "tcp:", "tcp:host", "tcp:host:x", "file:", "http://x"] {
        assert!(LiveInput::read(bad).is_err(), "{bad}");
    }
}

#[test]
fn the_simulated_station_is_found_and_its_dish_turns() {
    let (_folder, live) = started(LiveInput::Simulated, |_| {});
    until("satellite", || {
        live.latest().is_some_and(|l| l.location.is_some())
    });
    let level = || {
        let l = live.latest()?;
        let r = l.reading?;
        let b = r.beacons.iter().find(|b| b.name == "beacon-psk")?;
        b.seen.then_some(b.over_receiver_dbhz?.0)
    };
    until("beacon", || level().is_some());
    let (az, _, loss) = live.simulated_error().expect("simulated");
    assert!(az > 0.0 && loss > 3.0);
    let before = level().expect("a level");
    // Left, towards the satellite.
    live.turned(Axis::Azimuth, -1.0).expect("a turn");
    let seq = live.latest().map_or(0, |l| l.seq);
    until("fresh readings", || {
        live.latest().is_some_and(|l| l.seq > seq + 6)
    });
    assert!(level().expect("a level") > before + 1.0);
    assert!(live.turned(Axis::Elevation, f64::NAN).is_err());
}

#[test]
fn a_tcp_stream_of_raw_samples_is_measured_and_taken_up_again() {
    let server = TcpListener::bind("127.0.0.1:0").expect("a port");
    let at = server.local_addr().expect("an address").to_string();
    std::thread::spawn(move || {
        let scene = Scene::narrow_passband("sent", 1.5, 4);
        let mut bytes = Vec::new();
        SyntheticSource::new(&scene)
            .expect("made")
            .write_to(&mut bytes)
            .expect("written");
        // Two visits, each cut off in the middle of a sample.
        for _ in 0..2 {
            let Ok((mut s, _)) = server.accept() else {
                return;
            };
            for part in bytes[..bytes.len() - 3].chunks(51_203) {
                if s.write_all(part).is_err() {
                    return;
                }
                std::thread::sleep(Duration::from_millis(20));
            }
        }
    });
    let (_folder, live) = started(LiveInput::Tcp(at), |o| {
        o.format = "ci16".parse().ok();
        o.rate_hz = Some(640e3);
        o.center_hz = Some(10_472.35e6);
    });
    until("readings", || live.latest().is_some_and(|l| l.seq >= 5));
    // The pause between the visits is announced as samples lost.
    until("a gap", || {
        live.latest()
            .and_then(|l| l.reading)
            .is_some_and(|r| r.lost > 0)
    });
}

#[test]
fn a_growing_file_is_followed() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("grows.cf32");
    let mut file = std::fs::File::create(&path).expect("a file");
    let (_demo, live) = started(LiveInput::File(path), |o| {
        o.format = "cf32".parse().ok();
        o.rate_hz = Some(64e3);
        o.center_hz = Some(10_472.175e6);
    });
    let bytes = vec![0u8; 8 * 6400];
    for k in 1..=4u64 {
        file.write_all(&bytes).expect("written");
        file.flush().expect("flushed");
        until("a reading", || live.latest().is_some_and(|l| l.seq >= k));
    }
}
