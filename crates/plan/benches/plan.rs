//! How long planning takes. Limits: a drive optimisation under 3 s, a fit of 1e5 log rows under 1 s, on two cores.

use slantpath_chain::amplifier::{Curve, Rapp};
use slantpath_chain::level::TransmitStage;
use slantpath_plan::Known;
use slantpath_plan::drive::{Chain, Goal, Reception, ShoulderWindow, Waveform, best};
use slantpath_plan::heat::{Cooling, LoggedRow, heat, learn};
use slantpath_quantity::ContributorId;
use slantpath_waveform::{FecFrame, Frame, modcod};

fn main() {
    divan::main();
}

fn cooling() -> Cooling {
    Cooling {
        sink: Known::new(0.25, 0.03),
        sink_time: Known::new(480.0, 60.0),
        cabinet: Some((Known::new(0.08, 0.02), Known::new(1800.0, 300.0))),
        device: Known::new(0.25, 0.05),
        limit_c: Known::new(80.0, 2.0),
        air_c: Known::new(12.0, 5.0),
    }
}

/// Waveform and search together: 16APSK through a driver and an amplifier.
#[divan::bench(sample_count = 5)]
fn drive_optimisation() -> f64 {
    let stage = |label: &str, gain, saturation| TransmitStage {
        id: ContributorId::new(label),
        label: label.into(),
        curve: Curve::Rapp(Rapp::new(gain, saturation, 2.0).unwrap()),
        max_input_dbm: None,
        max_reflected_dbm: None,
    };
    let chain = Chain::new(vec![
        stage("driver", 33.0, 33.0),
        stage("amplifier", 25.0, 51.8),
    ])
    .unwrap();
    let frame = Frame {
        modcod: modcod("16APSK 2/3").unwrap().number,
        fecframe: FecFrame::Normal,
        pilots: true,
    };
    let waveform = Waveform::dvb_s2(frame, 0.2, 1).unwrap();
    let goal = Goal {
        shoulder_dbc: -30.0,
        window: ShoulderWindow::beside(waveform.kind()),
        need_db: Some(9.7),
    };
    let heard = Reception {
        receiver: "own".into(),
        at_dbm: 46.0,
        satellite_db: 14.0,
        station_db: 20.0,
        intermodulation_db: 30.0,
        source_mer_db: 35.0,
    };
    best(&chain, &waveform, &goal, &[heard], &[], 0.0)
        .unwrap()
        .probe
        .out_dbm
}

/// A day and a bit at one row a second: sink and cabinet, one start from cold.
#[divan::bench(sample_count = 5)]
fn thermal_fit_of_1e5_rows(bencher: divan::Bencher<'_, '_>) {
    let (mut sink, mut cabinet) = (12.0, 12.0);
    let rows: Vec<LoggedRow> = (0..100_000)
        .map(|k| {
            let power = if k % 20_000 < 12_000 { 150.0 } else { 0.0 };
            let row = LoggedRow {
                t_s: f64::from(k),
                sink_c: sink + 0.05 * f64::from(k * 7919 % 13 - 6),
                air_c: Some(12.0),
                heat_w: Some(power),
                out_w: None,
                drive_db: None,
            };
            let flow = (sink - cabinet) / 0.25;
            sink += (power - flow) / 1920.0;
            cabinet += (flow - (cabinet - 12.0) / 0.08) / 22_500.0;
            row
        })
        .collect();
    bencher.bench_local(|| {
        let l = learn(&rows, &cooling(), &|_| None, 0.2, 1.0).unwrap();
        l.fit.unwrap().r_total
    });
}

/// Steady temperature, and the time to the limit over 400 draws, twice.
#[divan::bench(sample_count = 5)]
fn heat_plan() -> f64 {
    heat(&cooling(), Known::new(200.0, 15.0), 0.0, 0.4, 600.0, 1)
        .unwrap()
        .hottest_c
}
