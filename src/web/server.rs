//! Listens, takes connections, and ends when asked to.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use axum::Router;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio_rustls::TlsAcceptor;

use crate::app::error::AppError;
use crate::app::page::{PageRequest, Started};
use crate::report::model::Report;
use crate::web::guard::{Place, Secrets};
use crate::web::lan::Certificate;
use crate::web::routes::router;
use crate::web::state::{Parts, Shared};
use crate::web::{folder, lan};

/// Connections that are held at once.
const MAXIMUM_CONNECTIONS: usize = 2_048;
/// How long the header of a request may take.
const HEADER_TIME: Duration = Duration::from_secs(30);
/// How often the end is looked for.
const LOOK: Duration = Duration::from_millis(100);

fn fault(what: &'static str, error: &dyn std::fmt::Display) -> AppError {
    AppError::fault("page.server", what).with_fact("system", error.to_string())
}

/// Serves a page until the run is asked to end.
///
/// # Errors
/// When there is nothing to open, the port is taken, or the address is none of this machine's.
pub fn serve(request: &PageRequest, say: &dyn Fn(&Started)) -> Result<Report, AppError> {
    let opened = folder::open(request.path.as_deref())?;
    let (root, own) = (opened.root.clone(), opened.own);
    let write = request.write || own && request.lan.is_none();
    let ip = request.lan.unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST));
    let certificate = request.lan.map(lan::certificate).transpose()?;
    let listener = std::net::TcpListener::bind(SocketAddr::new(ip, request.port))
        .and_then(|listener| listener.set_nonblocking(true).map(|()| listener))
        .map_err(|error| {
            AppError::refused("page.port", "the page cannot listen there")
                .with_fact(format!("{ip}:{}", request.port), error.to_string())
                .with_hint("leave out --port, or give an address of this machine with --lan")
        })?;
    let listens = listener
        .local_addr()
        .map_err(|error| fault("the server has no address", &error))?;
    let place = Place {
        listens,
        tls: certificate.is_some(),
    };
    let secrets = Secrets::new(certificate.is_some())?;
    // From here on the process takes connections and opens none; threads that are started later have no more rights than this one.
    folder::rights(&opened, write, &request.common).give_up_others(&request.common)?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| fault("the server cannot be started", &error))?;
    let listener = {
        let _inside = runtime.enter();
        TcpListener::from_std(listener)
            .map_err(|error| fault("the server cannot listen", &error))?
    };
    let (next_code, codes) = channel();
    let shared = Shared::new(Parts {
        place,
        secrets,
        root: root.clone(),
        folder: opened.folder,
        write,
        own: own && write,
        common: request.common.clone(),
        next_code: certificate.is_some().then_some(next_code),
    });
    for file in &opened.jobs {
        shared.add_job(file);
    }
    let started = |code: String| started(place, &root, write, certificate.as_ref(), code);
    say(&started(shared.secrets().entry()));
    let tls = certificate
        .as_ref()
        .map(Certificate::acceptor)
        .transpose()?;
    runtime.spawn(accept(listener, router(shared), tls));
    wait(request, &codes, |code| say(&started(code)));
    runtime.shutdown_timeout(Duration::from_millis(200));
    Ok(Report {
        title: "The page is closed".to_owned(),
        json: serde_json::json!({ "folder": root.display().to_string() }),
        ..Report::default()
    })
}

/// What is said when the page listens, and again with every new code.
fn started(
    place: Place,
    root: &std::path::Path,
    write: bool,
    certificate: Option<&Certificate>,
    code: String,
) -> Started {
    let address = format!("{}/#{code}", place.origin());
    Started {
        picture: certificate.and_then(|_| lan::picture(&address)),
        fingerprint: certificate.map(|certificate| certificate.fingerprint.clone()),
        code: certificate.map(|_| code),
        address,
        folder: root.to_owned(),
        write,
    }
}

fn wait(request: &PageRequest, codes: &Receiver<String>, say: impl Fn(String)) {
    while request.common.cancel.signal().is_none() {
        if let Ok(code) = codes.recv_timeout(LOOK) {
            say(code);
        } else {
            // Without other devices nobody sends codes, and the channel answers at once.
            std::thread::sleep(LOOK / 2);
        }
    }
}

async fn accept(listener: TcpListener, router: Router, tls: Option<TlsAcceptor>) {
    let room = Arc::new(Semaphore::new(MAXIMUM_CONNECTIONS));
    loop {
        let Ok(place) = room.clone().acquire_owned().await else {
            return;
        };
        let Ok((stream, _)) = listener.accept().await else {
            // Out of file handles, most likely: wait for some to be closed.
            tokio::time::sleep(LOOK).await;
            continue;
        };
        // Small answers go out at once; a connection that cannot do that still works.
        let _ = stream.set_nodelay(true);
        let (router, tls) = (router.clone(), tls.clone());
        tokio::spawn(async move {
            match tls {
                None => talk(stream, router).await,
                Some(tls) => {
                    if let Ok(Ok(stream)) =
                        tokio::time::timeout(HEADER_TIME, tls.accept(stream)).await
                    {
                        talk(stream, router).await;
                    }
                }
            }
            drop(place);
        });
    }
}

async fn talk(stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static, router: Router) {
    let service = TowerToHyperService::new(router);
    // A connection that breaks is the client's affair.
    let _ = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEADER_TIME)
        .max_headers(64)
        .serve_connection(TokioIo::new(stream), service)
        .await;
}
