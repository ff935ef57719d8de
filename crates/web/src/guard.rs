//! Who may come in: host, origin, key, and what every answer carries.

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use std::collections::HashSet;
use std::net::IpAddr;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use subtle::ConstantTimeEq;

/// Wrong keys allowed from everybody together within [`WINDOW`].
const MOST_WRONG: usize = 10;
/// Time over which wrong keys are counted.
const WINDOW: Duration = Duration::from_secs(60);
/// Name of the cookie that a key is exchanged for.
const COOKIE: &str = "slantpath_visit";

/// A secret of 128 bits from the system, written in hex.
#[derive(Clone)]
pub struct Key(String);

impl Key {
    /// A fresh one.
    ///
    /// # Errors
    /// The system has no randomness to give.
    pub fn fresh() -> std::io::Result<Self> {
        let mut bytes = [0u8; 16];
        getrandom::fill(&mut bytes).map_err(|e| std::io::Error::other(e.to_string()))?;
        Ok(Self(bytes.iter().map(|b| format!("{b:02x}")).collect()))
    }
    /// As written in an address.
    pub fn text(&self) -> &str {
        &self.0
    }
    /// Compared through digests, in a time that does not depend on where they differ.
    fn is(&self, other: &str) -> bool {
        let (a, b) = (Sha256::digest(&self.0), Sha256::digest(other));
        a.as_slice().ct_eq(b.as_slice()).into()
    }
}

/// One way in, with what it asks for.
pub struct Door {
    /// Host headers that name this server: address and port as a browser writes them.
    hosts: HashSet<String>,
    /// `http` or `https`.
    scheme: &'static str,
    /// `None`: loopback, no key.
    lock: Option<Lock>,
}

struct Lock {
    /// Good for one visitor; gone once used.
    once: Mutex<Option<Key>>,
    /// What visitors hold.
    visits: Mutex<Vec<Key>>,
    wrong: Mutex<Vec<Instant>>,
}

impl Door {
    /// The loopback door.
    pub fn loopback(port: u16) -> Self {
        let hosts = ["127.0.0.1", "localhost", "[::1]"]
            .iter()
            .flat_map(|h| named(h, port, 80))
            .collect();
        Self {
            hosts,
            scheme: "http",
            lock: None,
        }
    }

    /// The door to the local network: TLS, and a key that lets one visitor in.
    pub fn network(addresses: &[IpAddr], port: u16, key: Key) -> Self {
        let hosts = addresses
            .iter()
            .flat_map(|a| {
                let name = match a {
                    IpAddr::V4(a) => a.to_string(),
                    IpAddr::V6(a) => format!("[{a}]"),
                };
                named(&name, port, 443)
            })
            .collect();
        Self {
            hosts,
            scheme: "https",
            lock: Some(Lock {
                once: Mutex::new(Some(key)),
                visits: Mutex::new(Vec::new()),
                wrong: Mutex::new(Vec::new()),
            }),
        }
    }

    /// Whether it lets in who sits at this computer, without a key.
    pub(crate) fn is_loopback(&self) -> bool {
        self.lock.is_none()
    }

    /// Puts a fresh key beside the visits there are.
    pub fn invite(&self, key: Key) {
        if let Some(lock) = &self.lock
            && let Ok(mut once) = lock.once.lock()
        {
            *once = Some(key);
        }
    }
}

fn named(host: &str, port: u16, usual: u16) -> Vec<String> {
    let mut out = vec![format!("{host}:{port}")];
    if port == usual {
        out.push(host.to_string());
    }
    out
}

/// Lets a request through, or says why not.
pub(crate) async fn guard(State(door): State<Arc<Door>>, request: Request, next: Next) -> Response {
    let answer = match check(&door, &request) {
        Ok(Pass::In) => next.run(request).await,
        Ok(Pass::Welcome(visit)) => welcome(&request, &visit, door.scheme),
        Err((status, text)) => (status, text).into_response(),
    };
    dress(answer)
}

enum Pass {
    In,
    Welcome(Key),
}

fn check(door: &Door, request: &Request) -> Result<Pass, (StatusCode, &'static str)> {
    let headers = request.headers();
    // HTTP/2 has no Host header: the name stands in the request's own authority (RFC 9113, 8.3.1).
    let host = headers
        .get(header::HOST)
        .map_or_else(
            || request.uri().authority().map(|a| a.as_str()),
            |h| h.to_str().ok(),
        )
        .map(str::to_ascii_lowercase);
    // A page elsewhere that has its own name point here (DNS rebinding) stops at this line.
    if !host.is_some_and(|h| door.hosts.contains(&h)) {
        return Err((
            StatusCode::MISDIRECTED_REQUEST,
            "This server does not go by that name. Use the address that it printed.\n",
        ));
    }
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    if !reads && !same_origin(door, headers) {
        return Err((
            StatusCode::FORBIDDEN,
            "Only this server's own pages may change anything.\n",
        ));
    }
    let Some(lock) = &door.lock else {
        return Ok(Pass::In);
    };
    let held = cookie(headers);
    let visits = lock.visits.lock().map_err(|_| broken())?;
    if let Some(held) = held
        && visits.iter().any(|v| v.is(held))
    {
        return Ok(Pass::In);
    }
    drop(visits);
    let Some(given) = request
        .uri()
        .query()
        .and_then(|q| q.split('&').find_map(|p| p.strip_prefix("key=")))
    else {
        return Err((
            StatusCode::UNAUTHORIZED,
            "A key is needed: scan the code that the station computer shows.\n",
        ));
    };
    let mut wrong = lock.wrong.lock().map_err(|_| broken())?;
    wrong.retain(|t| t.elapsed() < WINDOW);
    if wrong.len() >= MOST_WRONG {
        return Err((
            StatusCode::TOO_MANY_REQUESTS,
            "Too many wrong keys. Wait a minute.\n",
        ));
    }
    let mut once = lock.once.lock().map_err(|_| broken())?;
    if reads && once.as_ref().is_some_and(|k| k.is(given)) {
        let visit = Key::fresh().map_err(|_| broken())?;
        *once = None;
        lock.visits
            .lock()
            .map_err(|_| broken())?
            .push(visit.clone());
        return Ok(Pass::Welcome(visit));
    }
    wrong.push(Instant::now());
    Err((
        StatusCode::UNAUTHORIZED,
        "That key is wrong or was used already. Ask the station computer for a fresh one.\n",
    ))
}

fn broken() -> (StatusCode, &'static str) {
    (
        StatusCode::INTERNAL_SERVER_ERROR,
        "The server has failed; start it again.\n",
    )
}

/// The origin that a browser sends with what changes something must be this door's own.
fn same_origin(door: &Door, headers: &HeaderMap) -> bool {
    let Some(origin) = headers.get(header::ORIGIN).and_then(|o| o.to_str().ok()) else {
        return false;
    };
    origin
        .to_ascii_lowercase()
        .strip_prefix(door.scheme)
        .and_then(|o| o.strip_prefix("://").map(|h| door.hosts.contains(h)))
        .unwrap_or(false)
}

fn cookie(headers: &HeaderMap) -> Option<&str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|c| c.to_str().ok())
        .flat_map(|c| c.split(';'))
        .find_map(|c| c.trim().strip_prefix(COOKIE)?.strip_prefix('='))
}

/// The key leaves the address at once, so that it stays in no history and on no screen.
fn welcome(request: &Request, visit: &Key, scheme: &str) -> Response {
    let secure = if scheme == "https" { "; Secure" } else { "" };
    let to = request.uri().path();
    // A path that starts with two slashes would lead to another host.
    let to = format!("/{}", to.trim_start_matches(['/', '\\']));
    let cookie = format!(
        "{COOKIE}={}; Path=/; HttpOnly; SameSite=Strict{secure}",
        visit.text()
    );
    let mut answer = StatusCode::SEE_OTHER.into_response();
    if let (Ok(to), Ok(cookie)) = (HeaderValue::from_str(&to), HeaderValue::from_str(&cookie)) {
        answer.headers_mut().insert(header::LOCATION, to);
        answer.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    answer
}

/// Headers that every answer carries: nothing from elsewhere, no inline script, no frame, no cache.
fn dress(mut answer: Response) -> Response {
    let h = answer.headers_mut();
    for (name, value) in [
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
             form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
        ),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // With "no-referrer" browsers send `Origin: null` along with their own pages' forms (Fetch, "append a request
        // `Origin` header"), which no check could tell from a foreign one.
        (header::REFERRER_POLICY, "same-origin"),
        (header::X_FRAME_OPTIONS, "DENY"),
    ] {
        h.insert(name, HeaderValue::from_static(value));
    }
    h.entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    for (name, value) in [
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
    ] {
        h.insert(name, HeaderValue::from_static(value));
    }
    answer
}
