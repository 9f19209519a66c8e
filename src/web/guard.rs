//! Who is let in: the right host, the right origin, the right token. Everything else is refused before a handler sees it.

use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, PoisonError};

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, COOKIE, HOST, HeaderValue, ORIGIN,
    REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

use crate::app::error::AppError;
use crate::web::refusal::Refusal;
use crate::web::state::Shared;

/// The header in which the page proves that it could read an answer of this server, which no page of another origin can.
pub(crate) const TOKEN_HEADER: &str = "x-haulm-token";

/// What a page may load and do: its own files and nothing else.
const POLICY: &str = "default-src 'self'; img-src 'self' blob: data:; style-src 'self'; script-src 'self'; connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Wrong codes that are borne before nobody is let in any more; only where other devices can try.
const MAXIMUM_WRONG_CODES: u32 = 10;

/// Secrets of one run. None of them is logged, recorded, or given to another program.
#[derive(Debug)]
pub(crate) struct Secrets {
    entry: Mutex<Entry>,
    cookie: String,
    page: String,
}

#[derive(Debug)]
struct Entry {
    code: String,
    once: bool,
    wrong: u32,
}

/// Bytes in hexadecimal digits.
pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    bytes
        .iter()
        .flat_map(|byte| [byte >> 4, byte & 15])
        .map(|digit| char::from(DIGITS[usize::from(digit)]))
        .collect()
}

/// As many bytes from the system, in hexadecimal digits.
fn random(bytes: usize) -> Result<String, AppError> {
    let mut buffer = vec![0u8; bytes];
    let mut filled = 0;
    while filled < bytes {
        let got =
            rustix::rand::getrandom(&mut buffer[filled..], rustix::rand::GetRandomFlags::empty())
                .map_err(|error| {
                AppError::fault("page.random", "the system gives no random numbers")
                    .with_fact("getrandom", error.to_string())
            })?;
        filled += got;
    }
    Ok(hexadecimal(&buffer))
}

/// Letters and digits that are not taken for one another.
const ALPHABET: &[u8] = b"23456789abcdefghjkmnpqrstuvwxyz";

/// A code that people can type: twelve signs, 59 bits.
fn typed() -> Result<String, AppError> {
    let digits = random(24)?;
    let mut code = String::new();
    for pair in digits.as_bytes().chunks(4).take(12) {
        let text = std::str::from_utf8(pair).unwrap_or_default();
        let value = usize::from_str_radix(text, 16).unwrap_or_default();
        code.push(char::from(ALPHABET[value % ALPHABET.len()]));
    }
    Ok(code)
}

impl Secrets {
    /// New ones. `once`: the entry is a short code that lets one device in.
    pub(crate) fn new(once: bool) -> Result<Self, AppError> {
        Ok(Self {
            entry: Mutex::new(Entry {
                code: if once { typed()? } else { random(32)? },
                once,
                wrong: 0,
            }),
            cookie: random(32)?,
            page: random(32)?,
        })
    }
    /// The token of the start address.
    pub(crate) fn entry(&self) -> String {
        self.lock().code.clone()
    }
    /// The token that the page sends with every change.
    pub(crate) fn page(&self) -> &str {
        &self.page
    }
    /// The cookie, if the token is the right one; with it, where a code serves once, the next code.
    pub(crate) fn enter(&self, token: &str) -> Option<(&str, Option<String>)> {
        let mut entry = self.lock();
        if entry.once && entry.wrong >= MAXIMUM_WRONG_CODES {
            return None;
        }
        if !same(&entry.code, token) {
            entry.wrong += 1;
            return None;
        }
        let next = if entry.once { typed().ok() } else { None };
        if let Some(next) = &next {
            entry.code.clone_from(next);
        }
        Some((&self.cookie, next))
    }
    fn lock(&self) -> std::sync::MutexGuard<'_, Entry> {
        self.entry.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Compares in a time that does not tell how much of it is right.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len()
        && a.bytes()
            .zip(b.bytes())
            .fold(0, |odd, (a, b)| odd | (a ^ b))
            == 0
}

/// Where the server listens, as a request must name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Place {
    /// Address and port.
    pub(crate) listens: SocketAddr,
    /// Whether connections are encrypted.
    pub(crate) tls: bool,
}

impl Place {
    fn scheme(self) -> &'static str {
        if self.tls { "https" } else { "http" }
    }
    /// The origin that people open.
    pub(crate) fn origin(self) -> String {
        format!("{}://{}", self.scheme(), self.listens)
    }
    /// Whether a Host header names this server. Only the plain forms are taken: nothing is resolved.
    pub(crate) fn is_host(self, host: &str) -> bool {
        let lower = host.to_ascii_lowercase();
        let Some((name, port)) = lower.rsplit_once(':') else {
            return false;
        };
        if port != self.listens.port().to_string() {
            return false;
        }
        let name = name.strip_suffix('.').unwrap_or(name);
        match self.listens.ip() {
            ip if ip.is_loopback() => matches!(name, "localhost" | "127.0.0.1" | "[::1]"),
            IpAddr::V4(ip) => name == ip.to_string(),
            IpAddr::V6(ip) => name == format!("[{ip}]"),
        }
    }
    /// Whether an Origin header is a page of this server.
    fn is_origin(self, origin: &str) -> bool {
        origin
            .strip_prefix(self.scheme())
            .and_then(|rest| rest.strip_prefix("://"))
            .is_some_and(|host| self.is_host(host))
    }
    /// The name of the cookie; with the port, so that two pages on one machine do not overwrite each other's.
    pub(crate) fn cookie_name(self) -> String {
        format!("haulm-{}", self.listens.port())
    }
}

/// The one value of a header; `Err` when it stands more than once or is no text.
fn single(
    headers: &HeaderMap,
    name: impl axum::http::header::AsHeaderName,
) -> Result<Option<&str>, ()> {
    let mut values = headers.get_all(name).iter();
    let Some(first) = values.next() else {
        return Ok(None);
    };
    if values.next().is_some() {
        return Err(());
    }
    first.to_str().map(Some).map_err(|_error| ())
}

/// Why a request is not let in, if it is not.
fn refused(shared: &Shared, request: &Request<Body>) -> Option<Refusal> {
    let (headers, uri) = (request.headers(), request.uri());
    let place = shared.place();
    let host = single(headers, HOST);
    // A target with a scheme or an authority of its own could say another host than the header does.
    let plain = uri.scheme().is_none() && uri.authority().is_none();
    if !plain || !matches!(host, Ok(Some(host)) if place.is_host(host)) {
        return Some(Refusal::new(
            StatusCode::FORBIDDEN,
            "page.host",
            "this page is open under its own address only: take the one in the terminal",
        ));
    }
    let cross = |refusal: &str| Some(Refusal::new(StatusCode::FORBIDDEN, "page.origin", refusal));
    match single(headers, ORIGIN) {
        Ok(None) => {}
        Ok(Some(origin)) if place.is_origin(origin) => {}
        _ => return cross("a page of another origin must not use this one"),
    }
    let path = uri.path();
    let is_api = path.starts_with("/api/");
    let site = single(headers, "sec-fetch-site");
    if is_api && !matches!(site, Ok(None | Some("same-origin" | "none"))) {
        return cross("a page of another site must not use this one");
    }
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    if !reads {
        let kind = single(headers, CONTENT_TYPE);
        let requirement = if path == "/api/v1/files" {
            "application/octet-stream"
        } else {
            "application/json"
        };
        if !matches!(kind, Ok(Some(kind)) if kind.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case(requirement)))
        {
            return Some(Refusal::new(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "page.kind",
                format!("this address takes {requirement}"),
            ));
        }
    }
    if !is_api || path == "/api/v1/enter" {
        return None;
    }
    let name = place.cookie_name();
    let known = headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .any(|(key, value)| key == name && same(value, &shared.secrets().cookie));
    if !known {
        return Some(Refusal::new(
            StatusCode::UNAUTHORIZED,
            "page.token",
            "open the page by the address in the terminal",
        ));
    }
    let token = single(headers, TOKEN_HEADER);
    if !reads && !matches!(token, Ok(Some(token)) if same(token, &shared.secrets().page)) {
        return Some(Refusal::new(
            StatusCode::FORBIDDEN,
            "page.token",
            "changes are taken from the page itself alone: load it again",
        ));
    }
    None
}

/// Checks every request and puts the same headers on every answer.
pub(crate) async fn guard(State(shared): State<Shared>, request: Request, next: Next) -> Response {
    let mut answer = match refused(&shared, &request) {
        Some(refusal) => refusal.into_response(),
        None => next.run(request).await,
    };
    let headers = answer.headers_mut();
    headers.insert(CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    for (name, value) in [
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
        ("x-frame-options", "DENY"),
    ] {
        headers.insert(
            HeaderName::from_static(name),
            HeaderValue::from_static(value),
        );
    }
    headers
        .entry(CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hosts_are_taken_in_their_plain_forms_alone() {
        let place = Place {
            listens: "127.0.0.1:4321".parse().unwrap(),
            tls: false,
        };
        for good in [
            "localhost:4321",
            "127.0.0.1:4321",
            "[::1]:4321",
            "LocalHost:4321",
            "localhost.:4321",
        ] {
            assert!(place.is_host(good), "{good}");
        }
        for bad in [
            "localhost",
            "127.0.0.1",
            "localhost:4322",
            "127.0.0.1:80",
            "example.org:4321",
            "127.0.0.1.evil.example:4321",
            "user@127.0.0.1:4321",
            "2130706433:4321",
            "0x7f000001:4321",
            "0177.0.0.1:4321",
            "127.1:4321",
            "127.0.0.2:4321",
            "0.0.0.0:4321",
            "[::]:4321",
            "[::ffff:127.0.0.1]:4321",
            "::1:4321",
            "localhost:4321:4321",
            "localhost:04321",
            "localhost:+4321",
            " localhost:4321",
            "localhost :4321",
            "localhost..:4321",
            "",
            ":4321",
            "http://localhost:4321",
            "localhost:4321/",
            "localhost#:4321",
        ] {
            assert!(!place.is_host(bad), "{bad}");
        }
    }

    #[test]
    fn a_code_for_one_device_serves_once_and_wrong_ones_close_the_door() {
        let secrets = Secrets::new(true).unwrap();
        let first = secrets.entry();
        assert_eq!(first.len(), 12);
        assert!(secrets.enter(&first).is_some());
        assert!(secrets.enter(&first).is_none());
        for _ in 0..MAXIMUM_WRONG_CODES {
            assert!(secrets.enter("222222222222").is_none());
        }
        assert!(secrets.enter(&secrets.entry()).is_none());
        let token = Secrets::new(false).unwrap();
        assert_eq!(token.entry().len(), 64);
        assert!(token.enter(&token.entry()).is_some() && token.enter(&token.entry()).is_some());
    }
}
