//! Pictures of every page for people to look at: `cargo xtask screenshots`.

use crate::driver::browser;
use crate::{Server, station};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::time::{Duration, Instant};

const PAGES: &[(&str, &str)] = &[
    ("chain", "/"),
    (
        "part",
        "/?part=part.lnb&part.lnb.noise_figure=0.3%20dB%20%C2%B1%200.1",
    ),
    ("figures", "/figures"),
    ("dish-and-feed", "/drawings/dish"),
    (
        "dish-changed",
        "/drawings/dish?reflector.depth=118%20mm%20%C2%B1%202",
    ),
    ("noise", "/drawings/noise?part.lnb.noise_figure=0.3%20dB"),
    ("budget", "/drawings/budget?part.lnb.noise_figure=0.3%20dB"),
    ("spectrum", "/drawings/spectrum"),
    ("trial", "/drawings/trial"),
    ("drive", "/drawings/drive"),
    ("sky", "/sky"),
    ("recordings", "/recordings"),
    ("book", "/book"),
    ("write", "/book/write"),
    ("contact", "/book/contact"),
    ("series", "/book/series?of=narrow.beacon-psk.cn0%40sdr"),
    ("echo", "/book/echo?processing=120&u=10"),
    ("sheet", "/sheet"),
    ("phone", "/phone"),
    ("live", "/live"),
    ("at-the-dish", "/dish"),
];

fn ask(port: &str, method: &str, path: &str, form: &str) -> String {
    let mut s = TcpStream::connect(format!("127.0.0.1:{port}")).expect("connected");
    write!(
        s,
        "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nConnection: close\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{form}",
        form.len()
    )
    .expect("asked");
    let mut out = Vec::new();
    s.read_to_end(&mut out).expect("answered");
    String::from_utf8_lossy(&out).into_owned()
}

/// Measures what the demo brings, keeps it, and writes in the book.
fn fill(port: &str) {
    for name in [
        "day-old",
        "wide-old",
        "camp-overdriven",
        "trial-01A",
        "trial-02B",
        "trial-03B",
        "trial-04A",
    ] {
        let form = format!("path=recordings%2F{name}.sigmf-meta");
        ask(port, "POST", "/recordings/measure", &form);
        let begin = Instant::now();
        while ask(port, "GET", "/recordings/job", "").contains("\"running\"") {
            assert!(begin.elapsed() < Duration::from_secs(120), "{name}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }
    ask(port, "POST", "/recordings/keep", "");
    for form in [
        "kind=note&text=Gutter+cleaned",
        "kind=weather&temperature=7+%C2%B0C&rain=2+mm%2Fh&wind=11+m%2Fs&text=squalls",
        "kind=fault&text=Water+in+the+feed+box&part=feed",
    ] {
        ask(port, "POST", "/book/write", form);
    }
    let contact = "call=qq1bbb&mode=USB&down=10472.350&sent=59&received=57&locator=IO77&comment=";
    ask(port, "POST", "/book/contact", contact);
}

#[test]
#[ignore = "pictures for people: cargo xtask screenshots"]
fn pictures_of_every_page() {
    let into = std::env::var_os("SLANTPATH_PICTURES").map_or_else(
        || PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("pictures"),
        PathBuf::from,
    );
    std::fs::create_dir_all(&into).expect("a folder");
    let (folder, path) = station();
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/recordings");
    let to = folder.path().join("recordings");
    std::fs::create_dir_all(&to).expect("a folder");
    for e in std::fs::read_dir(demo)
        .expect("the demo's recordings")
        .flatten()
    {
        std::fs::copy(e.path(), to.join(e.file_name())).expect("copied");
    }
    let s = Server::start(&path, &["--port", "0", "--live", "simulated"]);
    fill(&s.port());
    for (width, height) in [(1280, 800), (390, 844)] {
        let Some(b) = browser(width, height) else {
            return;
        };
        for light in ["light", "dark"] {
            for (name, page) in PAGES {
                b.open(&s.at(page));
                b.until("whole", "return document.readyState === 'complete' && !document.querySelector('[data-solving]')");
                match *name {
                    "live" => b.until("a spectrum", "return !!document.querySelector('#spectrum svg') && document.querySelectorAll('#free tbody tr').length > 0 && document.querySelectorAll('#beacons tbody tr').length > 0"),
                    "at-the-dish" => {
                        b.until("a level", "return document.getElementById('level').textContent !== '–'");
                        b.run("const b = document.querySelector('#supply:not([hidden]) button'); if (b) b.click()");
                        b.until("a turn", "return ['turn', 'finished'].includes(document.getElementById('dish').dataset.doing)");
                    }
                    _ => {}
                }
                // Light is as the page stands without a choice; dark is chosen.
                let class = if light == "dark" { "dark" } else { "" };
                b.run(&format!("document.documentElement.className = '{class}'"));
                let at = into.join(format!("{width}-{light}-{name}.png"));
                std::fs::write(&at, b.picture()).expect("written");
            }
        }
    }
    println!("wrote {}", into.display());
}
