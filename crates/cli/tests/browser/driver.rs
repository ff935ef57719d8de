//! A browser driven over the WebDriver protocol (W3C Recommendation, 2018): JSON over plain HTTP on loopback, as much of it
//! as these tests need. A client crate would bring an HTTP stack of some hundred packages for a dozen calls.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Name of an element's reference in answers (W3C WebDriver, section 12.2).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";
const PATIENCE: Duration = Duration::from_secs(90);

pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    _profile: tempfile::TempDir,
}

pub struct Element<'a>(&'a Browser, String);

/// A browser of this size, or `None` where there is none and nobody insists. On a continuous integration machine (`CI` in
/// the environment) its absence is a failure.
pub fn browser(width: u32, height: u32) -> Option<Browser> {
    let driver = Command::new("chromedriver")
        .arg("--port=0")
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn();
    let mut driver = match driver {
        Ok(d) => d,
        Err(e) => {
            assert!(std::env::var_os("CI").is_none(), "no chromedriver: {e}");
            println!("skipped: no chromium");
            return None;
        }
    };
    let out = driver.stdout.take().expect("its output");
    let mut lines = BufReader::new(out).lines();
    let port = lines
        .by_ref()
        .map_while(Result::ok)
        .find_map(|l| {
            let (_, rest) = l.split_once("successfully on port ")?;
            rest.trim_end_matches('.').parse().ok()
        })
        .expect("chromedriver says its port");
    // Its output goes on being read, so that it never waits.
    std::thread::spawn(move || lines.for_each(drop));
    let profile = tempfile::tempdir().expect("a folder");
    let args = [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--disable-dev-shm-usage",
    ];
    let mut args: Vec<String> = args.iter().map(ToString::to_string).collect();
    args.push(format!("--user-data-dir={}", profile.path().display()));
    args.push(format!("--window-size={width},{height}"));
    let mut b = Browser {
        driver,
        port,
        session: String::new(),
        _profile: profile,
    };
    let asked = json!({ "capabilities": { "alwaysMatch": {
        "acceptInsecureCerts": true,
        "goog:loggingPrefs": { "browser": "ALL" },
        "goog:chromeOptions": {
            "args": args,
            "mobileEmulation": (width < 600).then(|| json!({
                "deviceMetrics": { "width": width, "height": height, "pixelRatio": 1.0, "touch": true }
            })).unwrap_or(json!({ "deviceMetrics": { "width": width, "height": height, "pixelRatio": 1.0, "touch": false, "mobile": false } })),
        },
    } } });
    let made = b.call("POST", "/session", &asked);
    b.session = made["sessionId"].as_str().expect("a session").to_string();
    Some(b)
}

impl Browser {
    fn call(&self, method: &str, path: &str, body: &Value) -> Value {
        self.try_call(method, path, body)
            .unwrap_or_else(|e| panic!("{method} {path}: {e}"))
    }

    fn try_call(&self, method: &str, path: &str, body: &Value) -> Result<Value, String> {
        let body = if method == "POST" {
            body.to_string()
        } else {
            String::new()
        };
        let mut s = TcpStream::connect(("127.0.0.1", self.port)).map_err(|e| e.to_string())?;
        s.set_read_timeout(Some(PATIENCE))
            .map_err(|e| e.to_string())?;
        write!(
            s,
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\
             Connection: close\r\n\r\n{body}",
            self.port,
            body.len()
        )
        .map_err(|e| e.to_string())?;
        // The driver keeps the connection open whatever it is asked: the length says where the answer ends.
        let mut answer = BufReader::new(s);
        let mut head = String::new();
        while !head.ends_with("\r\n\r\n") {
            if answer.read_line(&mut head).map_err(|e| e.to_string())? == 0 {
                return Err("no answer".into());
            }
        }
        let length = head
            .lines()
            .filter_map(|l| l.split_once(':'))
            .find(|(k, _)| k.eq_ignore_ascii_case("content-length"))
            .and_then(|(_, v)| v.trim().parse().ok())
            .ok_or("an answer without a length")?;
        let mut body = vec![0; length];
        answer.read_exact(&mut body).map_err(|e| e.to_string())?;
        let body = String::from_utf8_lossy(&body);
        let body = body.as_ref();
        let v: Value = serde_json::from_str(body).map_err(|e| format!("{e}: {body}"))?;
        if head.starts_with("HTTP/1.1 200") {
            Ok(v["value"].clone())
        } else {
            Err(v["value"]["message"].as_str().unwrap_or(body).to_string())
        }
    }

    fn at(&self, path: &str) -> String {
        format!("/session/{}{path}", self.session)
    }

    pub fn open(&self, url: &str) {
        self.call("POST", &self.at("/url"), &json!({ "url": url }));
    }

    /// Runs a script's body in the page.
    pub fn run(&self, script: &str) -> Value {
        let body = json!({ "script": script, "args": [] });
        self.call("POST", &self.at("/execute/sync"), &body)
    }

    /// The element, as soon as there is one.
    pub fn find(&self, css: &str) -> Element<'_> {
        let body = json!({ "using": "css selector", "value": css });
        let begin = Instant::now();
        loop {
            match self.try_call("POST", &self.at("/element"), &body) {
                Ok(v) => {
                    return Element(self, v[ELEMENT].as_str().expect("an element").to_string());
                }
                Err(e) => assert!(begin.elapsed() < PATIENCE, "{css}: {e}"),
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Waits until a script's body returns true.
    pub fn until(&self, what: &str, script: &str) {
        let begin = Instant::now();
        loop {
            let body = json!({ "script": script, "args": [] });
            // A page that is just being exchanged answers with an error.
            if self.try_call("POST", &self.at("/execute/sync"), &body) == Ok(Value::Bool(true)) {
                return;
            }
            if begin.elapsed() > PATIENCE {
                let shown = self.run("return document.body.innerText");
                panic!("{what}: not within {PATIENCE:?}; the page says: {shown}");
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Presses keys one after another, wherever the focus is.
    pub fn press(&self, keys: &str) {
        let acts: Vec<Value> = keys
            .chars()
            .flat_map(|c| {
                ["keyDown", "keyUp"].map(|t| json!({ "type": t, "value": c.to_string() }))
            })
            .collect();
        self.act(&acts);
    }

    /// Presses a key while another is held.
    pub fn press_with(&self, held: char, key: char) {
        let (h, k) = (held.to_string(), key.to_string());
        self.act(&[
            json!({ "type": "keyDown", "value": h }),
            json!({ "type": "keyDown", "value": k }),
            json!({ "type": "keyUp", "value": k }),
            json!({ "type": "keyUp", "value": h }),
        ]);
    }

    fn act(&self, acts: &[Value]) {
        let body = json!({ "actions": [{ "type": "key", "id": "keys", "actions": acts }] });
        self.call("POST", &self.at("/actions"), &body);
    }

    /// The whole page as a picture (PNG), also what lies below the window's edge.
    pub fn picture(&self) -> Vec<u8> {
        let body = json!({
            "cmd": "Page.captureScreenshot", "params": { "captureBeyondViewport": true },
        });
        let answer = self.call("POST", &self.at("/goog/cdp/execute"), &body);
        decoded(answer["data"].as_str().unwrap_or_default())
    }

    /// What the page's console calls an error: broken scripts, things that the page's own policy forbids.
    pub fn errors(&self) -> Vec<String> {
        let log = self.call("POST", &self.at("/se/log"), &json!({ "type": "browser" }));
        log.as_array()
            .into_iter()
            .flatten()
            .filter(|l| l["level"] == "SEVERE")
            .map(|l| l["message"].as_str().unwrap_or_default().to_string())
            .collect()
    }
}

/// Base64 of RFC 4648, section 4.
fn decoded(text: &str) -> Vec<u8> {
    let value = |c: u8| match c {
        b'A'..=b'Z' => Some(c - b'A'),
        b'a'..=b'z' => Some(c - b'a' + 26),
        b'0'..=b'9' => Some(c - b'0' + 52),
        b'+' => Some(62),
        b'/' => Some(63),
        _ => None,
    };
    let (mut out, mut bits, mut held) = (Vec::new(), 0u32, 0);
    for v in text.bytes().filter_map(value) {
        bits = bits << 6 | u32::from(v);
        held += 6;
        if held >= 8 {
            held -= 8;
            out.push((bits >> held) as u8);
        }
    }
    out
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            let _ = self.try_call("DELETE", &self.at(""), &Value::Null);
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

impl Element<'_> {
    fn at(&self, path: &str) -> String {
        self.0.at(&format!("/element/{}{path}", self.1))
    }
    pub fn click(&self) {
        self.0.call("POST", &self.at("/click"), &json!({}));
    }
    /// Replaces what a field holds.
    pub fn fill(&self, text: &str) {
        self.0.call("POST", &self.at("/clear"), &json!({}));
        self.0
            .call("POST", &self.at("/value"), &json!({ "text": text }));
    }
}
