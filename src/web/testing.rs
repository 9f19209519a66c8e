//! The page without a socket, for tests from outside.

use std::path::Path;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, Response};
use tower::ServiceExt as _;

use crate::app::error::AppError;
use crate::app::requests::Common;
use crate::web::folder;
use crate::web::guard::{Place, Secrets};
use crate::web::routes::router;
use crate::web::state::{Parts, Shared};

/// A page that answers requests handed to it.
#[derive(Debug)]
pub struct Page {
    router: Router,
    token: String,
    runtime: tokio::runtime::Runtime,
}

/// The host that requests name.
pub const HOST: &str = "127.0.0.1:4321";

impl Page {
    /// Opens a job or a folder as `haulm page` would.
    ///
    /// # Errors
    /// As the page itself.
    pub fn open(path: &Path, write: bool) -> Result<Self, AppError> {
        let opened = folder::open(Some(path))?;
        let fault = |error: &dyn std::fmt::Display| AppError::fault("page.test", error.to_string());
        let secrets = Secrets::new(false)?;
        let token = secrets.entry();
        let shared = Shared::new(Parts {
            place: Place {
                listens: HOST.parse().map_err(|error| fault(&error))?,
                tls: false,
            },
            secrets,
            root: opened.root,
            folder: opened.folder,
            write: write || opened.own,
            own: opened.own,
            common: Common::default(),
            next_code: None,
        });
        for file in &opened.jobs {
            shared.add_job(file);
        }
        Ok(Self {
            router: router(shared),
            token,
            runtime: tokio::runtime::Builder::new_multi_thread()
                .worker_threads(2)
                .enable_all()
                .build()
                .map_err(|error| fault(&error))?,
        })
    }
    /// The token of the start address.
    pub fn token(&self) -> &str {
        &self.token
    }
    /// Answers one request: status and headers, and the body.
    pub fn ask(&self, request: Request<Body>) -> (Response<()>, Vec<u8>) {
        self.runtime.block_on(async {
            let answer = match self.router.clone().oneshot(request).await {
                Ok(answer) => answer,
                Err(never) => match never {},
            };
            let (head, body) = answer.into_parts();
            let body = axum::body::to_bytes(body, usize::MAX)
                .await
                .unwrap_or_default();
            (Response::from_parts(head, ()), body.to_vec())
        })
    }
    /// Answers many requests at once.
    pub fn ask_all(&self, requests: Vec<Request<Body>>) -> Vec<u16> {
        self.runtime.block_on(async {
            let asked: Vec<_> = requests
                .into_iter()
                .map(|request| tokio::spawn(self.router.clone().oneshot(request)))
                .collect();
            let mut statuses = Vec::new();
            for answer in asked {
                statuses.push(match answer.await {
                    Ok(Ok(answer)) => answer.status().as_u16(),
                    _ => 0,
                });
            }
            statuses
        })
    }
    /// Asks, and goes away before the answer is there.
    pub fn ask_and_leave(&self, request: Request<Body>, after: std::time::Duration) {
        self.runtime.block_on(async {
            let _ = tokio::time::timeout(after, self.router.clone().oneshot(request)).await;
        });
    }
}
