//! The pages in a real browser, served by the real binary.

mod audit;
mod driver;
mod keys;
mod pictures;

use driver::{Browser, browser};
use slantpath_capture::source::synthetic::{Scene, SyntheticSource};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The demo's station in a folder of its own.
fn station() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    slantpath_workflow::demo::write_files(folder.path()).expect("the demo");
    let path = folder.path().join("qq0aaa.toml");
    (folder, path)
}

struct Server {
    child: Child,
    url: String,
    said: Vec<String>,
}

impl Server {
    fn start(station: &Path, args: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_slantpath"))
            .arg("serve")
            .arg(station)
            .args(args)
            .stdout(Stdio::piped())
            .stdin(Stdio::null())
            .spawn()
            .expect("the program starts");
        let out = child.stdout.take().expect("its output");
        let (tell, told) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                if tell.send(line).is_err() {
                    return;
                }
            }
        });
        let mut said = Vec::new();
        let begin = Instant::now();
        let mut url = None;
        // Everything that it says at the start comes at once.
        while begin.elapsed() < Duration::from_secs(60) {
            match told.recv_timeout(Duration::from_millis(400)) {
                Ok(line) => {
                    if let Some((_, u)) = line.split_once("chain sheet is at ") {
                        url = Some(u.trim().trim_end_matches('/').to_string());
                    }
                    said.push(line);
                }
                Err(_) if url.is_some() => break,
                Err(_) => assert!(
                    child.try_wait().expect("a state").is_none(),
                    "it ended: {said:?}"
                ),
            }
        }
        Self {
            child,
            url: url.expect("an address"),
            said,
        }
    }
    fn at(&self, path: &str) -> String {
        format!("{}{path}", self.url)
    }
    fn port(&self) -> String {
        self.url.rsplit(':').next().unwrap_or_default().to_string()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn desk() -> Option<Browser> {
    browser(1280, 800)
}

#[test]
fn a_part_is_changed_and_kept_as_a_variant() {
    let Some(b) = desk() else { return };
    let (_folder, path) = station();
    let before = std::fs::read_to_string(&path).expect("the file");
    let s = Server::start(&path, &["--port", "0"]);
    b.open(&s.at("/"));
    b.until(
        "the chain",
        "return document.querySelectorAll('ol.chain li.part').length > 8",
    );
    b.find("a[href*='part=part.lnb']").click();
    b.find("input[name='part.lnb.noise_figure']")
        .fill("0.3 dB ± 0.1");
    b.until(
        "the change",
        "return document.body.innerText.includes('Changed here, not in the file')",
    );
    b.until(
        "figures with the change",
        "return [...document.querySelectorAll('.chain dt')].some(e => e.textContent === 'change')",
    );
    // The state stands in the address.
    b.until(
        "the address",
        "return location.search.includes('part.lnb.noise_figure=')",
    );
    assert_eq!(std::fs::read_to_string(&path).expect("the file"), before);
    b.find("form[action='/variant'] input[name='name']")
        .fill("better-lnb");
    b.find("form[action='/variant'] button").click();
    b.until(
        "the variant",
        "return location.search.includes('variant=better-lnb')",
    );
    let after = std::fs::read_to_string(&path).expect("the file");
    assert!(after.starts_with(&before) && after.contains("[variant.better-lnb"));
    assert_eq!(b.errors(), Vec::<String>::new());
}

#[test]
fn a_recording_is_measured_with_progress_and_joins_the_sheet() {
    let Some(b) = desk() else { return };
    let (folder, path) = station();
    let scene = Scene::narrow_passband("made", 4.0, 5);
    let mut bytes = Vec::new();
    SyntheticSource::new(&scene)
        .expect("a scene")
        .write_to(&mut bytes)
        .expect("bytes");
    std::fs::write(folder.path().join("today.ci16"), bytes).expect("written");
    let s = Server::start(&path, &["--port", "0"]);
    b.open(&s.at("/recordings"));
    let form = "form[action='/recordings/measure']";
    for (name, value) in [
        ("rate", "640000"),
        ("center", "10472.35"),
        ("format", "ci16"),
    ] {
        b.find(&format!("{form} input[name='{name}']")).fill(value);
    }
    b.run("document.querySelector(\"form[action='/recordings/measure'] select[name='branch']\").value = 'sdr'");
    b.run("document.querySelector(\"form[action='/recordings/measure'] select[name='path']\").value = 'today.ci16'");
    b.find(&format!("{form} button")).click();
    b.until(
        "the measurement",
        "return !!document.querySelector('[data-state=done]')",
    );
    b.open(&s.at("/?branch=sdr"));
    b.until("it on the sheet", "return [...document.querySelectorAll('.chain dt')].some(e => e.textContent === 'disagreement')");
    b.open(&s.at("/recordings"));
    b.find("form[action='/recordings/keep'] button").click();
    b.until(
        "the book",
        "return location.pathname === '/book' && document.body.innerText.includes('today.ci16')",
    );
    assert_eq!(b.errors(), Vec::<String>::new());
}

#[test]
fn the_live_page_is_fresh_then_stale_then_fresh_again() {
    let Some(b) = desk() else { return };
    let (_folder, path) = station();
    let s = Server::start(&path, &["--port", "0", "--live", "simulated"]);
    let port = s.port();
    b.open(&s.at("/live"));
    b.until(
        "readings",
        "return document.getElementById('state').textContent.startsWith('receiving')",
    );
    b.until("the beacon", "return [...document.querySelectorAll('#beacons td')].some(e => e.textContent === 'narrow.beacon-psk')");
    b.until(
        "the spectrum",
        "return !!document.querySelector('#spectrum path.trace')",
    );
    b.until(
        "a free stretch",
        "return document.querySelectorAll('#free tbody tr').length > 0",
    );
    let errors = b.errors();
    assert_eq!(errors, Vec::<String>::new());
    drop(s);
    b.until("stale", "return document.body.classList.contains('stale') && document.getElementById('state').textContent.startsWith('stale')");
    let s = Server::start(&path, &["--port", &port, "--live", "simulated"]);
    b.until("fresh again", "return !document.body.classList.contains('stale') && document.getElementById('state').textContent.startsWith('receiving')");
    drop(s);
}

#[test]
fn on_a_phone_everything_fits_and_the_dish_page_leads() {
    let Some(b) = browser(390, 844) else { return };
    let (_folder, path) = station();
    let s = Server::start(&path, &["--port", "0", "--live", "simulated"]);
    for at in [
        "/",
        "/?part=part.lnb",
        "/figures",
        "/drawings/dish",
        "/drawings/noise",
        "/drawings/budget",
        "/drawings/drive",
        "/drawings/trial",
        "/sheet",
        "/book/echo",
        "/phone",
        "/sky",
        "/recordings",
        "/book",
        "/book/write",
        "/book/contact",
        "/live",
        "/dish",
    ] {
        b.open(&s.at(at));
        let wide = b.run("return document.documentElement.scrollWidth - window.innerWidth");
        assert!(
            wide.as_i64().is_some_and(|w| w <= 0),
            "{at} is {wide} px too wide"
        );
    }
    b.until(
        "the supply",
        "return document.getElementById('dish').dataset.doing === 'disconnect'",
    );
    // Fingers in gloves: every button that is shown is at least 44 px high (WCAG 2.5.5).
    let small = b.run("return [...document.querySelectorAll('button')].filter(e => e.offsetParent && e.offsetHeight < 44).length");
    assert_eq!(small, 0);
    b.find("#supply button").click();
    b.until(
        "a turn",
        "return document.getElementById('dish').dataset.doing === 'turn'",
    );
    let said = b.run("return document.getElementById('say').textContent");
    assert!(
        said.as_str().is_some_and(|t| t.contains("bolt: dish")),
        "{said}"
    );
    b.find("#asked button").click();
    b.until(
        "the next hold",
        "return ['hold', 'turn'].includes(document.getElementById('dish').dataset.doing)",
    );
    assert_eq!(b.errors(), Vec::<String>::new());
}

#[test]
fn the_network_door_asks_for_its_key() {
    let Some(b) = browser(390, 844) else { return };
    let (_folder, path) = station();
    // A machine without any network has no such door.
    let alone = std::net::UdpSocket::bind("0.0.0.0:0")
        .and_then(|s| s.connect("192.0.2.1:9").and_then(|()| s.local_addr()))
        .is_err();
    if alone {
        println!("skipped: no network");
        return;
    }
    let s = Server::start(&path, &["--port", "0", "--lan", "--lan-port", "0"]);
    let address = s
        .said
        .iter()
        .find(|l| l.starts_with("https://"))
        .expect("an address for the phone")
        .clone();
    let bare = address.split("?key=").next().unwrap_or_default();
    b.open(bare);
    let text = "return document.body.innerText";
    assert!(
        b.run(text)
            .as_str()
            .is_some_and(|t| t.contains("A key is needed"))
    );
    b.open(&address);
    b.until("the chain", "return document.querySelectorAll('ol.chain li.part').length > 8 && !location.search.includes('key')");
    b.open(&format!("{bare}book"));
    b.until(
        "another page",
        "return document.body.innerText.includes('Station book')",
    );
    // A form of the page itself is let in by its origin.
    b.open(&format!("{bare}book/write"));
    b.run("document.querySelector('textarea[name=text]').value = 'from the roof'; document.querySelector('form.entry').submit()");
    b.until("the entry", "return document.body.innerText.includes('from the roof') && location.pathname === '/book/entry'");
}
