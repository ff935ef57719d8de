use super::*;
use crate::plan::{BeaconKind, BeaconPlan, CentreMeaning, PassbandPlan};
use crate::source::Source;
use crate::source::synthetic::{Aimed, Kind, Scene, SyntheticSource};

fn plan(scene: &Scene) -> LivePlan {
    let narrow = |name: &str, rf_hz: f64, kind: BeaconKind| BeaconPlan {
        name: name.into(),
        passband: "narrow".into(),
        rf_hz,
        kind,
    };
    let psk = BeaconKind::Bpsk {
        symbol_rate: 1200.0,
        rolloff: 0.5,
        manchester: false,
    };
    let mut search = SearchPlan::new(
        vec![CentreMeaning::TrueRf],
        vec![PassbandPlan {
            name: "narrow".into(),
            lo_hz: 10_472.15e6,
            hi_hz: 10_472.55e6,
        }],
        vec![
            narrow("psk", 10_472.175e6, psk),
            narrow("keyed", 10_472.525e6, BeaconKind::KeyedCarrier),
        ],
    );
    search.lo_tolerance_hz = 20e3;
    search.own_transmit_hz = Some(10_472.4e6);
    LivePlan {
        search,
        sample_rate_hz: scene.sample_rate_hz,
        centre_hz: 10_472.35e6,
        rules: vec![Rule {
            passband: "narrow".into(),
            limit: Some(("psk".into(), 0.0)),
            symbol_rates: vec![20e3, 66e3, 1e6],
        }],
        own_half_hz: 3e3,
    }
}

fn run(source: &mut dyn Source, meter: &mut LiveMeter, samples: usize) -> Vec<Reading> {
    let mut x = vec![C32::default(); samples];
    let n = source.read(&mut x).expect("samples");
    let mut out = Vec::new();
    meter.push(&x[..n], |r| out.push(r));
    out
}

fn mean(r: &[Reading], of: impl Fn(&BeaconNow) -> f64) -> f64 {
    let v: Vec<f64> = r
        .iter()
        .filter_map(|r| r.beacons.first().map(&of))
        .collect();
    v.iter().sum::<f64>() / v.len() as f64
}

/// The scene says what the beacon's C/N0 is; a reading of a tenth of a second must show it within its uncertainty.
#[test]
fn a_beacon_reads_what_was_sent_and_its_uncertainty_is_what_readings_scatter() {
    let mut scene = Scene::narrow_passband("live", 4.0, 7);
    scene.oscillator.offset_hz = 3.4e3;
    let mut source = SyntheticSource::new(&scene).expect("made");
    let mut meter = LiveMeter::new(plan(&scene)).expect("a meter");
    let first = run(&mut source, &mut meter, 1_280_000);
    assert_eq!(first.len(), 20);
    assert!(first.iter().all(|r| !r.located && r.beacons.is_empty()));
    let found = meter.survey().expect("enough").run().expect("found");
    assert!((found.shift_hz - 3.4e3).abs() < 200.0, "{found:?}");
    meter.place(Some(found));
    let r = run(&mut source, &mut meter, 1_280_000);
    let psk = |f: fn(&BeaconNow) -> f64| mean(&r, f);
    // 49 dBHz over all the noise; the satellite's stands 4 dB above the receiver's, less half of its tilt.
    let over = psk(|b| b.over_receiver_dbhz.expect("noise beside the passband").0);
    let truth = 49.0 + to_db(1.0 + slantpath_quantity::from_db(4.1));
    assert!((over - truth).abs() < 0.4, "{over} {truth}");
    let cn0 = psk(|b| b.cn0_dbhz.0);
    assert!((cn0 - 49.0).abs() < 0.3, "{cn0}");
    let u = psk(|b| b.level_dbfs.1);
    let level = psk(|b| b.level_dbfs.0);
    let scatter = (r
        .iter()
        .map(|r| (r.beacons[0].level_dbfs.0 - level).powi(2))
        .sum::<f64>()
        / 19.0)
        .sqrt();
    assert!(scatter < 2.0 * u && u < 6.0 * scatter, "{scatter} {u}");
    let picture = r.iter().find_map(|r| r.picture.as_ref()).expect("drawn");
    assert!(picture.downlink && picture.spectrum.len() <= DRAWN);
    let slots = picture.slots.first().expect("the narrow passband");
    let beacons = slots.taken.iter().filter(|s| s.beacon.is_some()).count();
    assert!(beacons >= 1, "{slots:?}");
    assert!(
        slots
            .free
            .iter()
            .any(|g| g.fits.iter().any(|f| f.symbol_rate == 66e3))
    );
    assert!(
        slots
            .free
            .iter()
            .all(|g| g.fits.iter().all(|f| f.symbol_rate < 1e6))
    );
}

#[test]
fn the_level_follows_the_aim_of_a_simulated_dish() {
    let scene = Scene::narrow_passband("aim", 1.0, 3);
    let (mut source, aim) = Aimed::new(&scene).expect("made");
    let mut meter = LiveMeter::new(plan(&scene)).expect("a meter");
    run(&mut source, &mut meter, 1_280_000);
    meter.place(meter.survey().expect("enough").run().ok());
    let at_peak = mean(&run(&mut source, &mut meter, 640_000), |b| {
        b.over_receiver_dbhz.expect("noise").0
    });
    aim.set_db(-3.0);
    run(&mut source, &mut meter, 64_000);
    let off = mean(&run(&mut source, &mut meter, 640_000), |b| {
        b.over_receiver_dbhz.expect("noise").0
    });
    assert!((at_peak - off - 3.0).abs() < 0.25, "{at_peak} {off}");
}

#[test]
fn the_own_carrier_is_seen_where_it_is_and_nothing_else_is_taken_for_it() {
    let quiet = Scene::narrow_passband("quiet", 4.0, 11);
    let loud = quiet.clone().with("own", 51.2e3, 45.0, Kind::Carrier);
    for (scene, sent) in [(quiet, false), (loud, true)] {
        let mut source = SyntheticSource::new(&scene).expect("made");
        let mut meter = LiveMeter::new(plan(&scene)).expect("a meter");
        run(&mut source, &mut meter, 1_280_000);
        meter.place(meter.survey().expect("enough").run().ok());
        let r = run(&mut source, &mut meter, 1_280_000);
        let seen = r.iter().filter(|r| r.own.is_some()).count();
        assert_eq!(seen > 0, sent, "{seen}");
        if sent {
            assert!(seen >= 19, "{seen} of {}", r.len());
            let at = r[10].own.expect("seen").rf_hz;
            assert!((at - 10_472_401_200.0).abs() < 700.0, "{at}");
        }
    }
}

#[test]
fn no_reading_spans_a_gap() {
    let scene = Scene::narrow_passband("gap", 1.0, 5);
    let mut source = SyntheticSource::new(&scene).expect("made");
    let mut meter = LiveMeter::new(plan(&scene)).expect("a meter");
    assert!(run(&mut source, &mut meter, 40_000).is_empty());
    meter.gap(1000);
    assert!(run(&mut source, &mut meter, 40_000).is_empty());
    let r = run(&mut source, &mut meter, 40_000);
    assert_eq!(r.len(), 1);
    assert_eq!((r[0].lost, r[0].lost_here, r[0].at), (1000, 1000, 105_000));
}

#[test]
fn gaps_take_what_fits_with_its_roll_off_and_guard() {
    let rates = [20e3, 66e3, 125e3];
    let g = slots::gap(0.0, 100e3, &rates, 1e3).expect("a gap");
    let list: Vec<(f64, f64)> = g.fits.iter().map(|f| (f.symbol_rate, f.rolloff)).collect();
    // 66 kBd at 0.25 needs 66 x (1.25 + 0.2) = 95.7 kHz, at 0.35 102.3 kHz.
    assert_eq!(list, vec![(66e3, 0.25), (20e3, 0.35)]);
    assert!(slots::gap(0.0, 500.0, &rates, 1e3).is_none());
}
