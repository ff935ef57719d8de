//! ADI files against the rules of the ADIF specification 3.1.4, section titles beside each check.

use proptest::prelude::*;
use slantpath_book::adif::{Adi, Field, KnownMode, Record, band_of, known_mode, read, write};
use slantpath_book::contact::{Heard, Key, way};
use slantpath_input::{Problems, Severity, Source};

fn reading(text: &str) -> (Adi, Problems) {
    read(&Source::new("log.adi", text))
}

fn titles(p: &Problems, severity: Severity) -> Vec<String> {
    p.iter()
        .filter(|x| x.severity == severity)
        .map(|x| x.title.clone())
        .collect()
}

const GOOD: &str = "A log\n<ADIF_VER:5>3.1.4 <PROGRAMID:4>test\n\
    <USERDEF1:3:N>EPC <USERDEF2:19:E>SweaterSize,{S,M,L} <USERDEF3:15:N>ShoeSize,{5:20}\n<EOH>\n\
    <call:6>QQ0BBB<qso_date:8>20260503 free text <TIME_ON:6>142001<BAND:4>13cm<FREQ:11>2412.500000\
    <BAND_RX:3>3cm<FREQ_RX:12>10472.350000<MODE:3>SSB<SUBMODE:3>USB<PROP_MODE:3>SAT<SAT_NAME:8>Petrel-1\
    <SAT_MODE:3>S/X<GRIDSQUARE:6>IO77ex<SweaterSize:1>M<ShoeSize:2>11\
    <APP_OTHER_THING:3:N>1.5<NEVER_HEARD_OF:5>x<y>z<eor>\n\
    <CALL:6>QQ0CCC<QSO_DATE:8>20260503<TIME_ON:4>1430<BAND:4>13cm<MODE:2>CW<EOR>";

#[test]
fn a_good_file_is_read_without_a_word() {
    // The lengths of USERDEF1 in GOOD are deliberately checked: `EPC` is 3 bytes.
    let (adi, problems) = reading(GOOD);
    assert!(problems.is_empty(), "{problems:?}");
    assert_eq!(adi.comment, "A log\n");
    assert_eq!(adi.records.len(), 2);
    assert_eq!(adi.user_defined.len(), 3);
    let r = &adi.records[0];
    // "Data-Specifiers": names without regard to case, data may hold `<` and `>`, the type indicator is kept.
    assert_eq!(r.get("CALL"), Some("QQ0BBB"));
    assert_eq!(r.get("never_heard_of"), Some("x<y>z"));
    assert_eq!(r.fields[0].name, "call");
    let app = r
        .fields
        .iter()
        .find(|f| f.name == "APP_OTHER_THING")
        .unwrap();
    assert_eq!(
        (app.kind.as_deref(), app.value.as_str()),
        (Some("N"), "1.5")
    );
    let key = Key::of(r);
    assert_eq!(
        (key.call.as_str(), key.band.as_str(), key.mode.as_str()),
        ("QQ0BBB", "13cm", "SSB")
    );
    let at: jiff::Timestamp = "2026-05-03T14:20:01Z".parse().unwrap();
    assert_eq!(key.at_ms, Some(at.as_millisecond()));
}

#[test]
fn nothing_is_lost_out_and_in_again() {
    let (first, _) = reading(GOOD);
    let out = write(&first.records, "SLANTPATH", "1", "20260503 150000");
    let (again, problems) = reading(&out);
    assert!(problems.is_empty(), "{problems:?}");
    assert_eq!(again.records, first.records);
    // Definitions that no record uses are not needed; those in use are there.
    assert_eq!(again.user_defined.len(), 2);
    assert!(out.contains("<ADIF_VER:5>3.1.4") && out.contains("<EOH>"));
}

/// Mistakes, each with words that the message must hold.
#[test]
fn mistakes_name_the_record_the_field_and_what_was_expected() {
    let with = |from: &str, to: &str| {
        let base =
            "<EOH><CALL:6>QQ0BBB<QSO_DATE:8>20260503<TIME_ON:4>1420<BAND:4>13cm<MODE:2>CW<EOR>";
        assert!(base.contains(from), "{from}");
        format!(" {}", base.replace(from, to))
    };
    for (text, title, expected) in [
        (
            with("20260503", "20260230"),
            "record 1: QSO_DATE is `20260230`",
            "YYYYMMDD",
        ),
        (
            with("20260503", "19291231"),
            "record 1: QSO_DATE is `19291231`",
            "1930",
        ),
        (with("1420", "2460"), "record 1: TIME_ON is `2460`", "HHMM"),
        (with("13cm", "14cm"), "record 1: BAND is `14cm`", "Band"),
        (
            with("<CALL:6>QQ0BBB", ""),
            "record 1: CALL is missing",
            "CALL",
        ),
        (
            with("<BAND:4>13cm", ""),
            "record 1: neither BAND nor FREQ",
            "FREQ",
        ),
        (
            with("<MODE:2>CW", "<MODE:2>CW<MODE:2>CW"),
            "record 1: MODE is given twice",
            "once",
        ),
        (
            with("<MODE:2>CW", "<MODE:2>CW<GRIDSQUARE:6>IO77zz"),
            "record 1: GRIDSQUARE is `IO77zz`",
            "locator",
        ),
        (
            with("<MODE:2>CW", "<MODE:2>CW<FREQ:7>2.412e3"),
            "record 1: FREQ is `2.412e3`",
            "number",
        ),
        (
            with("<MODE:2>CW", "<MODE:2>CW<ANT_EL:2>95"),
            "record 1: ANT_EL is `95`",
            "-90 to 90",
        ),
        (
            with("<MODE:2>CW", "<MODE:2>CW<PROP_MODE:3>SKY"),
            "record 1: PROP_MODE is `SKY`",
            "SAT",
        ),
        (
            with("<MODE:2>CW", "<MODE:2>CW<LAT:11>N057 61.000"),
            "record 1: LAT is `N057 61.000`",
            "XDDD",
        ),
        (
            with("<MODE:2>CW", "<MODE:2>CW<SWL:5>maybe"),
            "record 1: SWL is `maybe`",
            "Y or N",
        ),
        (
            with("<MODE:2>CW", "<MODE:2>CW<NAME:3:Q>Abe"),
            "record 1: NAME has the data type `Q`",
            "Data Types",
        ),
        (
            with("<MODE:2>CW", "<MODE:2>CW<APP_X:1>1"),
            "record 1: APP_X is not",
            "APP_PROGRAM_FIELD",
        ),
        (
            with("<MODE:2>", "<MODE:two>"),
            "`<MODE:two>` is not a field",
            "LENGTH",
        ),
        (with("<EOR>", ""), "record 1 is not ended", "<EOR>"),
        (
            "no header end <CALL:6>QQ0BBB<EOR>".into(),
            "the header is not ended",
            "<EOH>",
        ),
        (
            "only words <CALL:6>QQ0BBB".into(),
            "the file has no end of header",
            "<EOH>",
        ),
        (
            with("<EOR>", "<NAME:99>x"),
            "NAME: 99 bytes of data announced",
            "length",
        ),
    ] {
        let (adi, problems) = reading(&text);
        let hit = problems
            .iter()
            .find(|p| p.severity == Severity::Error && p.title.contains(title));
        let hit = hit.unwrap_or_else(|| panic!("{text}: {problems:?}"));
        assert!(hit.place.is_some(), "{title}");
        assert!(
            hit.expected
                .as_deref()
                .unwrap_or_default()
                .contains(expected),
            "{title}: {:?}",
            hit.expected
        );
        // Kept all the same, and named as faulty.
        assert_eq!(
            adi.records.len().min(1),
            usize::from(!text.starts_with("only")),
            "{text}"
        );
    }
}

#[test]
fn a_problem_points_into_its_record() {
    let text = "<EOH>\n<CALL:6>QQ0BBB<QSO_DATE:8>20260503<TIME_ON:4>1420<BAND:4>13cm<MODE:2>CW<EOR>\n\
        <CALL:6>QQ0CCC<QSO_DATE:8>20260503<TIME_ON:4>9920<BAND:4>13cm<MODE:2>CW<EOR>\n";
    let (adi, problems) = reading(&format!("x{text}"));
    assert_eq!(adi.faulty, [1]);
    let p = problems.iter().next().unwrap();
    let place = p.place.as_ref().unwrap();
    assert_eq!((place.text(), place.line_column().0), ("9920", 3));
}

#[test]
fn what_is_odd_but_legible_is_a_warning() {
    let with = |extra: &str, mode: &str| {
        format!(
            "x<EOH><CALL:6>QQ0BBB<QSO_DATE:8>20260503<TIME_ON:4>1420<BAND:4>13cm<MODE:{}>{mode}{extra}<EOR>",
            mode.len()
        )
    };
    for (text, said) in [
        (with("", "USB"), "USB is a submode"),
        (with("", "CWW"), "mode `CWW` is not known here"),
        (
            with("<FREQ:5>145.2", "CW"),
            "145.2 MHz is not in the 13cm band",
        ),
        (with("<PROP_MODE:3>SAT", "CW"), "SAT_NAME is missing"),
        (
            with("<SAT_NAME:8>Petrel-1", "CW"),
            "SAT_NAME without PROP_MODE",
        ),
        (with("<NAME:2>Ø", "CW"), "holds the character"),
        (with("<NAME:1>Ø", "CW"), "inside a character"),
        (with("<NAME_INTL:2>Ø", "CW"), "no place in an ADI file"),
    ] {
        let (adi, problems) = reading(&text);
        assert!(
            titles(&problems, Severity::Error).is_empty(),
            "{text}: {problems:?}"
        );
        assert!(
            titles(&problems, Severity::Warning)
                .iter()
                .any(|t| t.contains(said)),
            "{text}: {problems:?}"
        );
        assert!(adi.faulty.is_empty());
    }
}

#[test]
fn user_defined_fields_keep_to_their_definition() {
    let head = "x<USERDEF1:19:E>SweaterSize,{S,M,L}<USERDEF2:15:N>ShoeSize,{5:20}<EOH>";
    let record = |extra: &str| {
        format!(
            "{head}<CALL:6>QQ0BBB<QSO_DATE:8>20260503<TIME_ON:4>1420<BAND:4>13cm<MODE:2>CW{extra}<EOR>"
        )
    };
    let (_, p) = reading(&record("<SweaterSize:2>XL"));
    assert!(titles(&p, Severity::Error)[0].contains("SweaterSize is `XL`"));
    let (_, p) = reading(&record("<ShoeSize:2>21"));
    assert!(
        p.iter()
            .next()
            .unwrap()
            .expected
            .as_ref()
            .unwrap()
            .contains("5 to 20")
    );
}

#[test]
fn bands_hold_their_edges_and_no_two_overlap() {
    // "Band" enumeration: lower and upper frequency in MHz.
    for (mhz, name) in [
        (2300.0, Some("13cm")),
        (2450.0, Some("13cm")),
        (10_489.55, Some("3cm")),
        (2400.05, Some("13cm")),
        (144.0, Some("2m")),
        (2500.0, None),
    ] {
        assert_eq!(band_of(mhz).map(|b| b.name), name, "{mhz}");
    }
    let all = slantpath_book::adif::BANDS;
    for w in all.windows(2) {
        assert!(w[0].hi_mhz < w[1].lo_mhz, "{} {}", w[0].name, w[1].name);
    }
    assert_eq!(known_mode("usb"), KnownMode::SubmodeOf("SSB"));
    assert_eq!(known_mode("ssb"), KnownMode::Mode);
}

#[test]
fn what_a_person_enters_becomes_a_whole_record() {
    let heard = Heard {
        call: "qq0bbb".into(),
        at: "2026-05-03T14:20:01Z".parse().unwrap(),
        mode: "usb".into(),
        up_mhz: Some(2412.5),
        down_mhz: Some(10_472.35),
        locator: Some("JO22".into()),
        own_locator: Some("IO77".into()),
        own_call: Some("QQ0AAA".into()),
        satellite: Some("Petrel-1".into()),
        sent: Some("59".into()),
        power_w: Some(5.0),
        state: vec![("CN0_DBHZ".into(), 52.3)],
        ..Heard::default()
    };
    let r = heard.record();
    for (name, value) in [
        ("CALL", "QQ0BBB"),
        ("QSO_DATE", "20260503"),
        ("TIME_ON", "142001"),
        ("MODE", "SSB"),
        ("SUBMODE", "USB"),
        ("BAND", "13cm"),
        ("BAND_RX", "3cm"),
        ("PROP_MODE", "SAT"),
        ("SAT_NAME", "Petrel-1"),
        ("SAT_MODE", "S/X"),
        ("APP_SLANTPATH_CN0_DBHZ", "52.3"),
    ] {
        assert_eq!(r.get(name), Some(value), "{name}");
    }
    let (back, problems) = reading(&write(
        std::slice::from_ref(&r),
        "SLANTPATH",
        "1",
        "20260503 150000",
    ));
    assert!(problems.is_empty(), "{problems:?}");
    assert_eq!(back.records, [r]);
}

#[test]
fn the_way_between_locators() {
    // Along the equator one degree of longitude is a * pi/180 = 111.3195 km on WGS-84 (NGA.STND.0036, a = 6378137 m):
    // JJ00 and JJ10 lie 2 degrees apart, on the same latitude of half a degree.
    let w = way("JJ00", "JJ10").unwrap();
    let expected = 2.0 * 111.3195 * 0.5f64.to_radians().cos();
    assert!(
        (w.distance.as_km() - expected).abs() < 0.05,
        "{}",
        w.distance.as_km()
    );
    assert!((w.bearing.as_deg() - 90.0).abs() < 0.02);
    // Half the diagonal of a square of 2 by 1 degree is about 124 km; two of them.
    assert!(
        (w.within.as_km() - 248.0).abs() < 4.0,
        "{}",
        w.within.as_km()
    );
    assert!(
        way("JJ00", "nonsense")
            .unwrap_err()
            .to_string()
            .contains("locator")
    );
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(300) })]

    #[test]
    fn any_text_is_read_without_a_panic(text in "[<>:a-zA-Z0-9_ \\nØ\u{1F4E1},{}]{0,200}") {
        let _ = reading(&text);
        let _ = reading(&format!("<EOH>{text}<EOR>"));
    }

    #[test]
    fn any_fields_come_back_as_they_went(
        values in proptest::collection::vec(("[A-Z][A-Z0-9_]{0,12}", "[ -~\\r\\nØ€]{0,40}"), 1..12)
    ) {
        let fields = values
            .into_iter()
            .filter(|(n, _)| n != "EOR" && n != "EOH")
            .map(|(name, value)| Field { name, kind: None, value })
            .collect();
        let r = Record { fields, user_defined: vec![] };
        let (adi, _) = reading(&write(std::slice::from_ref(&r), "P", "1", "20260503 150000"));
        prop_assert_eq!(&adi.records[0].fields, &r.fields);
    }
}
