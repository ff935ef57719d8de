//! Readings from tables and from the station file.

use slantpath_input::{Source, Style, render, render_all};
use slantpath_quantity::Distribution;
use slantpath_station::checked::ReadingQuantity;
use slantpath_station::{read_readings, read_station, template};

#[test]
fn a_table() {
    let text = "\
# typed at the receiver
quantity,value,u,time,branch,instrument,ceiling,passband,set,mounting
mer,6.2 dB,0.2 dB,2026-05-03T14:20:00Z,tv,\"screen, upper line\",20 dB,wide,A,m1
mer,20 dB,,2026-05-03T14:25:00+02:00,tv,screen,20 dB,wide,B,m2

lnb_volts,17.6 V ± 0.1,,,sdr,,,,,
forward_power,50 W ± 5,,,,,,,,
forward_power,17 dBW,0.2 dB,,,,,,,
sink_temperature,55 °C,2 °C,,,,,,,
";
    let (r, p) = read_readings(&Source::new("r.csv", text));
    assert!(p.is_empty(), "{}", render_all(&p, Style::ASCII));
    assert_eq!(r.len(), 6);
    assert_eq!(r[0].quantity, ReadingQuantity::Mer);
    assert_eq!(
        r[0].value.distribution,
        Distribution::Normal { mean: 6.2, u: 0.2 }
    );
    assert_eq!(r[0].instrument.as_deref(), Some("screen, upper line"));
    assert!(!r[0].at_ceiling && r[1].at_ceiling);
    assert_eq!(r[1].mounting.as_deref(), Some("m2"));
    assert_eq!(r[2].value.unit, "V");
    // 50 W +- 5 W is 16.99 dBW with 10/ln(10) x 0.1 = 0.434 dB (first order, GUM 5.1.2).
    let d = r[3].value.distribution;
    assert!(
        (d.mean() - 16.9897).abs() < 1e-4 && (d.u() - 1.0 / std::f64::consts::LN_10).abs() < 1e-12
    );
    assert_eq!(
        r[4].value.distribution,
        Distribution::Normal { mean: 17.0, u: 0.2 }
    );
    assert!((r[5].value.distribution.mean() - 328.15).abs() < 1e-9);
    assert!((r[5].value.distribution.u() - 2.0).abs() < 1e-12);
    assert!(
        r[0].value.source.contains("line 3"),
        "{}",
        r[0].value.source
    );
}

#[test]
fn semicolons_and_windows_lines() {
    let (r, p) = read_readings(&Source::new("r", "quantity;value\r\ncn0;54.4 dBHz\r\n"));
    assert!(p.is_empty() && r.len() == 1, "{p:?}");
}

#[test]
fn mistakes_are_located_and_the_rest_is_kept() {
    let text = "\
quantity,valeu,value,u
mer,,6 dB,
mre,,6 dB,
cn0,,54 dB,
mer,,,
mer,,6 dB,0.2 V
mer,,6 dB,0.2 dB,extra
y_factor,,8.7 dB,0.1 dB
";
    let (r, p) = read_readings(&Source::new("r.csv", text));
    assert_eq!(r.len(), 2);
    let seen: Vec<(usize, String)> = p
        .iter()
        .map(|x| {
            (
                x.place.as_ref().unwrap().line_column().0,
                x.place.as_ref().unwrap().text().to_string(),
            )
        })
        .collect();
    assert_eq!(
        seen,
        [
            (1, "valeu".to_string()),
            (3, "mre".into()),
            (4, "54 dB".into()),
            (5, "mer".into()),
            (6, "0.2 V".into()),
            (7, "extra".into()),
        ]
    );
    assert!(render(p.iter().next().unwrap(), Style::ASCII).contains("did you mean `value`?"));
    assert!(read_readings(&Source::new("r", "")).1.has_errors());
    assert!(
        read_readings(&Source::new("r", "value\n1 dB\n"))
            .1
            .has_errors()
    );
}

#[test]
fn in_the_station_file() {
    let text = format!(
        "{}\n[[reading]]\nquantity = \"mer\"\nvalue = \"6.2 dB\"\nu = \"0.3 dB\"\ntime = 2026-05-03T14:20:00Z\nbranch = \"tv\"\npassband = \"wide\"\nceiling = \"20 dB\"\n",
        template::station()
    );
    let (file, p) = read_station(&Source::new("t", text), &mut |x| {
        Ok(Source::new(x, template::satellite()))
    });
    assert!(p.is_empty(), "{}", render_all(&p, Style::ASCII));
    let r = &file.unwrap().base.readings[0];
    assert_eq!(
        r.value.distribution,
        Distribution::Normal { mean: 6.2, u: 0.3 }
    );
    assert_eq!(r.time.as_deref(), Some("2026-05-03T14:20:00Z"));
}
