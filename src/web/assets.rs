//! The page itself: made of src/web/page by its own build, packed, and kept in the program.

use std::io::Read as _;

use axum::extract::Request;
use axum::http::header::{
    ACCEPT_ENCODING, CACHE_CONTROL, CONTENT_ENCODING, CONTENT_TYPE, ETAG, IF_NONE_MATCH, VARY,
};
use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse as _, Response};
use flate2::read::GzDecoder;

use crate::web::guard::hexadecimal;

const PAGE: &[u8] = include_bytes!("page/dist/index.html.gz");
const SCRIPT: &[u8] = include_bytes!("page/dist/page.js.gz");
const STYLE: &[u8] = include_bytes!("page/dist/page.css.gz");
const ICON: &[u8] = include_bytes!("page/dist/icon.svg.gz");

/// Size of all files of the page as they are sent. \[bytes\]
pub const SENT_BYTES: usize = PAGE.len() + SCRIPT.len() + STYLE.len() + ICON.len();

fn sent(request: &Request, bytes: &'static [u8], kind: &'static str) -> Response {
    // The last eight bytes of a gzip hold check sum and length of what is packed.
    let end = &bytes[bytes.len().saturating_sub(8)..];
    let tag = format!("\"{}\"", hexadecimal(end));
    let headers = [
        (CONTENT_TYPE, HeaderValue::from_static(kind)),
        (CACHE_CONTROL, HeaderValue::from_static("no-cache")),
        (VARY, HeaderValue::from_static("accept-encoding")),
        (
            ETAG,
            HeaderValue::from_str(&tag).unwrap_or(HeaderValue::from_static("\"\"")),
        ),
    ];
    if request
        .headers()
        .get(IF_NONE_MATCH)
        .is_some_and(|known| known.as_bytes() == tag.as_bytes())
    {
        return (StatusCode::NOT_MODIFIED, headers).into_response();
    }
    let packed = request
        .headers()
        .get(ACCEPT_ENCODING)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|value| {
            value.split(',').any(|way| {
                way.split(';')
                    .next()
                    .is_some_and(|way| way.trim() == "gzip")
            })
        });
    if packed {
        return (
            headers,
            [(CONTENT_ENCODING, HeaderValue::from_static("gzip"))],
            bytes,
        )
            .into_response();
    }
    let mut plain = Vec::new();
    match GzDecoder::new(bytes).read_to_end(&mut plain) {
        Ok(_) => (headers, plain).into_response(),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

pub(crate) async fn page(request: Request) -> Response {
    sent(&request, PAGE, "text/html; charset=utf-8")
}
pub(crate) async fn script(request: Request) -> Response {
    sent(&request, SCRIPT, "text/javascript; charset=utf-8")
}
pub(crate) async fn style(request: Request) -> Response {
    sent(&request, STYLE, "text/css; charset=utf-8")
}
pub(crate) async fn icon(request: Request) -> Response {
    sent(&request, ICON, "image/svg+xml")
}
