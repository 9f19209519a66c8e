//! A refusal as the page gets it: the same shape as in the terminal's `--json`.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde_json::json;

use crate::app::error::{AppError, Kind};

/// Status, and what is said.
#[derive(Clone, Debug)]
pub(crate) struct Refusal {
    pub(crate) status: StatusCode,
    pub(crate) error: Box<AppError>,
}

impl Refusal {
    pub(crate) fn new(status: StatusCode, code: &'static str, headline: impl Into<String>) -> Self {
        Self {
            status,
            error: Box::new(AppError::refused(code, headline)),
        }
    }
    /// Nothing of that name.
    pub(crate) fn missing(what: &str) -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            "page.missing",
            format!("there is no such {what}"),
        )
    }
    /// A page that must not write.
    pub(crate) fn read_only() -> Self {
        Self {
            status: StatusCode::FORBIDDEN,
            error: Box::new(
                AppError::refused(
                    "page.read_only",
                    "this page was opened for looking: nothing is written",
                )
                .with_hint("start it again with --write"),
            ),
        }
    }
    /// More work than this machine takes at once.
    pub(crate) fn busy() -> Self {
        Self::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "page.busy",
            "too much is asked for at once: try again in a second",
        )
    }
}

impl From<AppError> for Refusal {
    fn from(error: AppError) -> Self {
        let status = match error.kind {
            Kind::Refused | Kind::Busy => StatusCode::UNPROCESSABLE_ENTITY,
            Kind::Cancelled(_) => StatusCode::CONFLICT,
            Kind::Misuse => StatusCode::BAD_REQUEST,
            Kind::Fault => StatusCode::INTERNAL_SERVER_ERROR,
        };
        Self {
            status,
            error: Box::new(error),
        }
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let mut answer =
            (self.status, Json(json!({ "error": self.error.to_json() }))).into_response();
        if self.status == StatusCode::SERVICE_UNAVAILABLE {
            answer.headers_mut().insert(
                axum::http::header::RETRY_AFTER,
                axum::http::HeaderValue::from_static("1"),
            );
        }
        answer
    }
}
