//! Addresses of the page and what each answers.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::sync::Arc;

use axum::extract::rejection::{JsonRejection, QueryRejection};
use axum::extract::{DefaultBodyLimit, FromRequest, Path, Query, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE, SET_COOKIE};
use axum::http::{HeaderValue, StatusCode};
use axum::middleware::from_fn_with_state;
use axum::response::sse::{KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::BroadcastStream;
use utoipa::{OpenApi, ToSchema};

use crate::app::decide::Decision;
use crate::app::error::AppError;
use crate::app::photo::{index_tile, photo_tile};
use crate::app::requests::Common;
use crate::web::answers::{Answer, QUESTIONS};
use crate::web::edit::Change;
use crate::web::guard::guard;
use crate::web::job::{Job, Shown};
use crate::web::refusal::Refusal;
use crate::web::state::{Event, Shared};
use crate::web::view::{FaultView, FindingView, View, cell, colours, columns, curve, ground, view};
use crate::web::{assets, changes, files, folder};

/// Longest body of a request that is no file. \[bytes\]
const MAXIMUM_BODY: usize = 2 << 20;

/// The API in the words of `OpenAPI`.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "The page of haulm",
        description = "What the page asks of its own server, on this machine. All but `enter` need the cookie that `enter` gives; what changes something also needs the header x-haulm-token with the token of `session`, and JSON."
    ),
    paths(
        enter,
        session,
        keys,
        events,
        jobs,
        job,
        change,
        undo,
        redo,
        reload,
        cancel,
        accept,
        remove,
        entry,
        shapes,
        map,
        ground_of,
        index_of,
        cells,
        early_cells,
        one_cell,
        curve_of,
        photo_of,
        tile_of,
        written,
        upload,
        start
    ),
    components(schemas(
        View,
        FindingView,
        FaultView,
        Answer,
        Event,
        Change,
        Changes,
        Enter,
        changes::Accept,
        changes::Remove,
        changes::Entry,
        changes::EntryValue,
        changes::Drawn,
        folder::Start,
        Session,
        Error
    ))
)]
struct Api;

/// How a refusal looks.
#[derive(Serialize, ToSchema)]
struct Error {
    /// `code`, `headline`, `facts`, `hint` and `causes`, as in the terminal's `--json`.
    #[schema(value_type = Object)]
    error: Value,
}

/// The `OpenAPI` description as JSON.
pub fn openapi() -> Value {
    serde_json::to_value(Api::openapi()).unwrap_or_default()
}

/// A JSON body, refused in the shape of every refusal.
pub(crate) struct Body<T>(pub(crate) T);

impl<S: Send + Sync, T> FromRequest<S> for Body<T>
where
    Json<T>: FromRequest<S, Rejection = JsonRejection>,
{
    type Rejection = Refusal;
    async fn from_request(request: axum::extract::Request, state: &S) -> Result<Self, Refusal> {
        let read = Json::<T>::from_request(request, state);
        let Ok(read) = tokio::time::timeout(BODY_TIME, read).await else {
            return Err(Refusal::new(
                StatusCode::REQUEST_TIMEOUT,
                "page.slow",
                "the body of the request did not come within 30 s",
            ));
        };
        match read {
            Ok(Json(value)) => Ok(Self(value)),
            Err(error) if error.status() == StatusCode::PAYLOAD_TOO_LARGE => Err(Refusal::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                "page.size",
                format!("a request holds at most {} MiB", MAXIMUM_BODY >> 20),
            )),
            Err(error) => Err(Refusal {
                status: error.status(),
                error: Box::new(
                    AppError::refused("page.request", "the request is not what this address takes")
                        .with_fact("body", error.body_text()),
                ),
            }),
        }
    }
}

/// How long a body may take.
const BODY_TIME: std::time::Duration = std::time::Duration::from_secs(30);

/// All routes of the page.
pub(crate) fn router(shared: Shared) -> Router {
    let api = Router::new()
        .route("/enter", post(enter))
        .route("/session", get(session))
        .route("/keys", get(keys))
        .route("/openapi.json", get(async || Json(openapi())))
        .route("/events", get(events))
        .route("/files", post(upload).layer(DefaultBodyLimit::disable()))
        .route("/start", post(start))
        .route("/jobs", get(jobs))
        .route("/jobs/{id}", get(job))
        .route("/jobs/{id}/change", post(change))
        .route("/jobs/{id}/undo", post(undo))
        .route("/jobs/{id}/redo", post(redo))
        .route("/jobs/{id}/reload", post(reload))
        .route("/jobs/{id}/cancel", post(cancel))
        .route("/jobs/{id}/accept", post(accept))
        .route("/jobs/{id}/remove", post(remove))
        .route("/jobs/{id}/entry", post(entry))
        .route("/jobs/{id}/shapes", post(shapes))
        .route("/jobs/{id}/map", post(map))
        .route("/jobs/{id}/ground", get(ground_of))
        .route("/jobs/{id}/index", get(index_of))
        .route("/jobs/{id}/cells", get(cells))
        .route("/jobs/{id}/early", get(early_cells))
        .route("/jobs/{id}/cells/{cell}", get(one_cell))
        .route("/jobs/{id}/curve", get(curve_of))
        .route("/jobs/{id}/photo", get(photo_of))
        .route("/jobs/{id}/tiles/{layer}/{z}/{x}/{y}", get(tile_of))
        .route("/jobs/{id}/written/{file}", get(written));
    Router::new()
        .route("/", get(assets::page))
        .route("/page.js", get(assets::script))
        .route("/page.css", get(assets::style))
        .route("/icon.svg", get(assets::icon))
        .nest("/api/v1", api)
        .fallback(async || Refusal::missing("address"))
        .method_not_allowed_fallback(async || {
            Refusal::new(
                StatusCode::METHOD_NOT_ALLOWED,
                "page.method",
                "this address is asked in another way",
            )
        })
        .layer(DefaultBodyLimit::max(MAXIMUM_BODY))
        .layer(from_fn_with_state(shared.clone(), guard))
        .with_state(shared)
}

/// A number of an address; anything else is no address.
pub(crate) fn id_of(text: &str) -> Result<usize, Refusal> {
    if text.is_empty() || text.len() > 9 || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(Refusal::missing("number"));
    }
    text.parse().map_err(|_error| Refusal::missing("number"))
}

/// Does work for a job off the threads that answer requests; it ends when whoever asked goes away.
pub(crate) async fn off<T: Send + 'static>(
    shared: &Shared,
    job: &Arc<Job>,
    work: impl FnOnce(&Shared, &Job, &Common) -> Result<T, AppError> + Send + 'static,
) -> Result<T, Refusal> {
    let _turn = shared.turn().await?;
    let (common, _ends) = job.begin(shared.common());
    let (shared, job) = (shared.clone(), job.clone());
    tokio::task::spawn_blocking(move || work(&shared, &job, &common))
        .await
        .map_err(|error| {
            Refusal::from(
                AppError::fault(
                    "internal",
                    "haulm met a fault of its own; the job is as it was",
                )
                .with_fact("fault", error.to_string())
                .with_hint("please report it with the job file and this message"),
            )
        })?
        .map_err(Refusal::from)
}

/// How long draws wait for the answer to be shown, and for the next value of one that is dragged: at 100 000 cells they take as long as ten answers.
const BEFORE_DRAWS: std::time::Duration = std::time::Duration::from_millis(250);

/// The view of what is shown; draws that are still to come are begun, unless something newer is shown by then.
pub(crate) fn answer(shared: &Shared, job: &Arc<Job>, shown: &Shown) -> Json<View> {
    if shown.drawing {
        let (shared, job, revision) = (shared.clone(), job.clone(), shown.revision);
        tokio::spawn(async move {
            tokio::time::sleep(BEFORE_DRAWS).await;
            if job.now().is_some_and(|now| now.revision == revision) {
                tokio::task::spawn_blocking(move || job.draw(&shared));
            }
        });
    }
    Json(view(shared, job, shown))
}

/// What lets a browser in.
#[derive(Deserialize, ToSchema)]
struct Enter {
    /// The token of the start address.
    token: String,
}

#[utoipa::path(post, path = "/api/v1/enter", request_body = Enter, responses((status = 204, description = "The cookie is set."), (status = 401, body = Error)))]
async fn enter(
    State(shared): State<Shared>,
    Body(asked): Body<Enter>,
) -> Result<Response, Refusal> {
    let Some((cookie, next)) = shared.secrets().enter(&asked.token) else {
        return Err(Refusal::new(
            StatusCode::UNAUTHORIZED,
            "page.token",
            "this is not the page's token: open the page by the address in the terminal",
        ));
    };
    let place = shared.place();
    let secure = if place.tls { "; Secure" } else { "" };
    let line = format!(
        "{}={cookie}; HttpOnly; SameSite=Strict; Path=/{secure}",
        place.cookie_name()
    );
    let value = HeaderValue::from_str(&line)
        .map_err(|error| AppError::fault("page.cookie", error.to_string()))?;
    if let Some(next) = next {
        shared.announce(next);
    }
    Ok((StatusCode::NO_CONTENT, [(SET_COOKIE, value)]).into_response())
}

/// What a page needs to begin.
#[derive(Serialize, ToSchema)]
struct Session {
    /// Sent with every change, in the header x-haulm-token.
    token: String,
    version: &'static str,
    write: bool,
    takes_files: bool,
    folder: String,
    jobs: usize,
    colours: Vec<String>,
    questions: [&'static str; 5],
}

#[utoipa::path(get, path = "/api/v1/session", responses((status = 200, body = Session), (status = 401, body = Error)))]
async fn session(State(shared): State<Shared>) -> Json<Session> {
    Json(Session {
        token: shared.secrets().page().to_owned(),
        version: env!("CARGO_PKG_VERSION"),
        write: shared.may_write(),
        takes_files: shared.takes_files(),
        folder: shared
            .root()
            .file_name()
            .map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
        jobs: shared.jobs().len(),
        colours: colours(),
        questions: QUESTIONS,
    })
}

#[utoipa::path(get, path = "/api/v1/keys", responses((status = 200, description = "The keys of the job file, as `haulm keys --json` lists them, each with its question, and the lists of names.", body = Object)))]
async fn keys() -> Result<Json<Value>, Refusal> {
    Ok(Json(changes::keys()?))
}

#[utoipa::path(get, path = "/api/v1/events", responses((status = 200, description = "Server-sent events: stages of work, and that there is something new to show.", content_type = "text/event-stream")))]
async fn events(State(shared): State<Shared>) -> impl IntoResponse {
    let stream = BroadcastStream::new(shared.listen()).filter_map(|event| {
        // Whoever was too slow to hear all asks for what is shown now.
        let event = event.unwrap_or_else(|_lagged| Event::revision(usize::MAX, 0));
        axum::response::sse::Event::default()
            .json_data(event)
            .ok()
            .map(Ok::<_, Infallible>)
    });
    Sse::new(stream).keep_alive(KeepAlive::default())
}

#[utoipa::path(get, path = "/api/v1/jobs", responses((status = 200, description = "The jobs of the folder.", body = Vec<Object>)))]
async fn jobs(State(shared): State<Shared>) -> Result<Json<Vec<Value>>, Refusal> {
    let listed = tokio::task::spawn_blocking(move || folder::listed(&shared));
    listed
        .await
        .map(Json)
        .map_err(|error| AppError::fault("internal", error.to_string()).into())
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, body = View), (status = 404, body = Error)))]
async fn job(State(shared): State<Shared>, Path(id): Path<String>) -> Result<Json<View>, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    let shown = match job.now() {
        Some(shown) => shown,
        None => {
            off(&shared, &job, |shared, job, common| {
                job.open(shared, common, false)
            })
            .await?
        }
    };
    Ok(answer(&shared, &job, &shown))
}

/// Changes that are made together.
#[derive(Deserialize, ToSchema)]
struct Changes {
    changes: Vec<Change>,
    /// Whether they go on with the change before, as when a value is dragged: one step back undoes all of it.
    #[serde(default)]
    joined: bool,
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/change", params(("id" = String, Path, description = "Number of the job")), request_body = Changes, responses((status = 200, body = View), (status = 422, description = "The change is refused, and nothing is changed.", body = Error)))]
async fn change(
    State(shared): State<Shared>,
    Path(id): Path<String>,
    Body(asked): Body<Changes>,
) -> Result<Json<View>, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    for change in &asked.changes {
        changes::allowed(&shared, &job, change)?;
    }
    let shown = off(&shared, &job, move |shared, job, common| {
        job.change(shared, common, asked.joined, |document, _shapes| {
            asked
                .changes
                .iter()
                .try_for_each(|change| crate::web::edit::apply(document, change))
        })
    })
    .await?;
    Ok(answer(&shared, &job, &shown))
}

async fn moved(shared: Shared, id: String, forward: bool) -> Result<Json<View>, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    let shown = off(&shared, &job, move |shared, job, common| {
        job.step_back(shared, common, forward)
    })
    .await?;
    Ok(answer(&shared, &job, &shown))
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/undo", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, body = View)))]
async fn undo(State(shared): State<Shared>, Path(id): Path<String>) -> Result<Json<View>, Refusal> {
    moved(shared, id, false).await
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/redo", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, body = View)))]
async fn redo(State(shared): State<Shared>, Path(id): Path<String>) -> Result<Json<View>, Refusal> {
    moved(shared, id, true).await
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/reload", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, body = View)))]
async fn reload(
    State(shared): State<Shared>,
    Path(id): Path<String>,
) -> Result<Json<View>, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    let shown = off(&shared, &job, |shared, job, common| {
        job.open(shared, common, true)
    })
    .await?;
    Ok(answer(&shared, &job, &shown))
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/cancel", params(("id" = String, Path, description = "Number of the job")), responses((status = 204, description = "What was running ends.")))]
async fn cancel(
    State(shared): State<Shared>,
    Path(id): Path<String>,
) -> Result<StatusCode, Refusal> {
    shared.job(id_of(&id)?)?.cancel();
    Ok(StatusCode::NO_CONTENT)
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/accept", params(("id" = String, Path, description = "Number of the job")), request_body = changes::Accept, responses((status = 200, body = View), (status = 422, body = Error)))]
async fn accept(
    State(shared): State<Shared>,
    Path(id): Path<String>,
    Body(asked): Body<changes::Accept>,
) -> Result<Json<View>, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    let shown = off(&shared, &job, move |shared, job, common| {
        job.change(shared, common, false, |document, _shapes| {
            changes::accept(document, &asked)
        })
    })
    .await?;
    Ok(answer(&shared, &job, &shown))
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/remove", params(("id" = String, Path, description = "Number of the job")), request_body = changes::Remove, responses((status = 200, body = View), (status = 422, body = Error)))]
async fn remove(
    State(shared): State<Shared>,
    Path(id): Path<String>,
    Body(asked): Body<changes::Remove>,
) -> Result<Json<View>, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    let shown = off(&shared, &job, move |shared, job, common| {
        job.change(shared, common, false, |document, _shapes| {
            changes::remove(document, &asked)
        })
    })
    .await?;
    Ok(answer(&shared, &job, &shown))
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/entry", params(("id" = String, Path, description = "Number of the job")), request_body = changes::Entry, responses((status = 200, body = View), (status = 422, body = Error)))]
async fn entry(
    State(shared): State<Shared>,
    Path(id): Path<String>,
    Body(asked): Body<changes::Entry>,
) -> Result<Json<View>, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    for change in &changes::changes_of(&asked) {
        changes::allowed(&shared, &job, change)?;
    }
    let shown = off(&shared, &job, move |shared, job, common| {
        job.change(shared, common, false, |document, _shapes| {
            changes::entry(document, &asked)
        })
    })
    .await?;
    Ok(answer(&shared, &job, &shown))
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/shapes", params(("id" = String, Path, description = "Number of the job")), request_body = changes::Drawn, responses((status = 200, body = View), (status = 422, body = Error)))]
async fn shapes(
    State(shared): State<Shared>,
    Path(id): Path<String>,
    Body(drawn): Body<changes::Drawn>,
) -> Result<Json<View>, Refusal> {
    if !shared.may_write() {
        return Err(Refusal::read_only());
    }
    let job = shared.job(id_of(&id)?)?;
    let shown = off(&shared, &job, move |shared, job, common| {
        let shown = job.open(shared, common, false)?;
        let text = changes::geojson(&shown, &drawn)?;
        job.change(
            shared,
            common,
            false,
            |document, shapes: &mut BTreeMap<String, String>| {
                changes::draw(document, shapes, (&job.file, shared.folder()), &drawn, text)
            },
        )
    })
    .await?;
    Ok(answer(&shared, &job, &shown))
}

#[utoipa::path(post, path = "/api/v1/jobs/{id}/map", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, description = "What was written, as `haulm map --json` says it.", body = Object), (status = 403, body = Error)))]
async fn map(State(shared): State<Shared>, Path(id): Path<String>) -> Result<Json<Value>, Refusal> {
    if !shared.may_write() {
        return Err(Refusal::read_only());
    }
    let job = shared.job(id_of(&id)?)?;
    off(&shared, &job, files::make).await.map(Json)
}

/// What is shown of a job that was opened.
fn shown_of(shared: &Shared, id: &str) -> Result<(Arc<Job>, Arc<Shown>), Refusal> {
    let job = shared.job(id_of(id)?)?;
    let shown = job.now().ok_or_else(|| Refusal::missing("map yet"))?;
    Ok((job, shown))
}

fn decision_of(shared: &Shared, id: &str) -> Result<Arc<Decision>, Refusal> {
    let (_, shown) = shown_of(shared, id)?;
    shown
        .decision
        .clone()
        .ok_or_else(|| Refusal::missing("map yet"))
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}/ground", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, description = "Outlines and grid on the working plane.", body = Object)))]
async fn ground_of(
    State(shared): State<Shared>,
    Path(id): Path<String>,
) -> Result<Json<Value>, Refusal> {
    let (_, shown) = shown_of(&shared, &id)?;
    Ok(Json(ground(&shared, &shown)?))
}

/// Numbers as they stand in memory.
fn binary(bytes: Vec<u8>) -> Response {
    ([(CONTENT_TYPE, "application/octet-stream")], bytes).into_response()
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}/index", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, description = "The index as it was taken, row by row from the north, four bytes a sample.", content_type = "application/octet-stream")))]
async fn index_of(
    State(shared): State<Shared>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let (_, shown) = shown_of(&shared, &id)?;
    let prepared = shown
        .prepared
        .as_ref()
        .ok_or_else(|| Refusal::missing("image yet"))?;
    // Beyond the boundary lies nobody's decision: the page shows the field alone.
    let values = prepared.inner().overview.iter().flat_map(|overview| {
        overview
            .values
            .iter()
            .zip(&overview.inside)
            .map(|(value, inside)| if *inside { *value as f32 } else { f32::NAN })
    });
    Ok(binary(values.flat_map(f32::to_le_bytes).collect()))
}

#[derive(Deserialize)]
struct Columns {
    columns: String,
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}/cells", params(("id" = String, Path, description = "Number of the job"), ("columns" = String, Query, description = "row, col, area, index, ratio, n, n_exact, spread, zone, state")), responses((status = 200, description = "Columns of cells, four bytes a value.", content_type = "application/octet-stream")))]
async fn cells(
    State(shared): State<Shared>,
    Path(id): Path<String>,
    query: Result<Query<Columns>, QueryRejection>,
) -> Result<Response, Refusal> {
    let decision = decision_of(&shared, &id)?;
    let Ok(Query(asked)) = query else {
        return Err(Refusal::missing("column"));
    };
    if asked.columns.len() > 200 {
        return Err(Refusal::missing("column"));
    }
    columns(&decision, &asked.columns)
        .map(binary)
        .map_err(|_error| Refusal::missing("column"))
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}/early", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, description = "While a decision on very many cells is made: the rate of each cell, then that of each cell's zone, four bytes a value; what the colours mean stands as JSON in the header x-legend.", content_type = "application/octet-stream"), (status = 404, body = Error)))]
async fn early_cells(
    State(shared): State<Shared>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    let early = job.early().ok_or_else(|| Refusal::missing("early rates"))?;
    let headers = [
        ("content-type", "application/octet-stream"),
        ("x-legend", early.legend.as_str()),
    ];
    Ok((headers, early.bytes.clone()).into_response())
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}/cells/{cell}", params(("id" = String, Path, description = "Number of the job"), ("cell" = String, Path, description = "Position of the cell")), responses((status = 200, description = "Everything that is known of one cell.", body = Object)))]
async fn one_cell(
    State(shared): State<Shared>,
    Path((id, at)): Path<(String, String)>,
) -> Result<Json<Value>, Refusal> {
    let decision = decision_of(&shared, &id)?;
    cell(&decision, id_of(&at)?)
        .map(Json)
        .ok_or_else(|| Refusal::missing("cell"))
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}/curve", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, description = "Flat rates in kg N/ha and the mean yield that each would bring, in kg/ha.", body = Vec<Object>)))]
async fn curve_of(
    State(shared): State<Shared>,
    Path(id): Path<String>,
) -> Result<Json<Value>, Refusal> {
    let decision = decision_of(&shared, &id)?;
    let curve = tokio::task::spawn_blocking(move || curve(&decision));
    curve
        .await
        .map(Json)
        .map_err(|error| AppError::fault("internal", error.to_string()).into())
}

/// A picture with its place on the plane in its headers: upper left corner, side of a sample \[m\], samples across.
fn placed(
    kind: &'static str,
    (corner, step, cols): ((f64, f64), f64, usize),
    bytes: Vec<u8>,
) -> Response {
    let headers = [
        ("content-type", kind.to_owned()),
        ("x-corner-x", corner.0.to_string()),
        ("x-corner-y", corner.1.to_string()),
        ("x-step", step.to_string()),
        ("x-cols", cols.to_string()),
    ];
    (headers, bytes).into_response()
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}/photo", params(("id" = String, Path, description = "Number of the job")), responses((status = 200, description = "The image in true colour, upright on the working plane; where it lies stands in the headers x-corner-x, x-corner-y and x-step.", content_type = "image/png"), (status = 404, body = Error)))]
async fn photo_of(
    State(shared): State<Shared>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    let made = off(&shared, &job, |shared, job, _common| {
        let photo = job.photo(shared.common())?;
        photo
            .map(|photo| files::png(&photo).map(|bytes| (photo, bytes)))
            .transpose()
    })
    .await?;
    let Some((photo, bytes)) = made else {
        return Err(Refusal::missing(
            "photo: the image has no red, green and blue",
        ));
    };
    Ok(placed(
        "image/png",
        (photo.corner, photo.step, photo.cols),
        bytes,
    ))
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}/tiles/{layer}/{z}/{x}/{y}", params(("id" = String, Path, description = "Number of the job"), ("layer" = String, Path, description = "photo or index"), ("z" = String, Path, description = "Level: the square of `ground` is cut into 2^z parts each way"), ("x" = String, Path, description = "From the west, from 0"), ("y" = String, Path, description = "From the north, from 0")), responses((status = 200, description = "A part of the image upright on the working plane: a picture of the photo, or the index as four bytes a sample; where it lies stands in the headers x-corner-x, x-corner-y, x-step and x-cols.", content((Vec<u8> = "image/png"), (Vec<u8> = "application/octet-stream"))), (status = 404, body = Error)))]
async fn tile_of(
    State(shared): State<Shared>,
    Path((id, layer, z, x, y)): Path<(String, String, String, String, String)>,
) -> Result<Response, Refusal> {
    let (job, shown) = shown_of(&shared, &id)?;
    let tile = (id_of(&z)?, id_of(&x)?, id_of(&y)?);
    let of_photo = match layer.as_str() {
        "photo" => true,
        "index" => false,
        _ => return Err(Refusal::missing("layer")),
    };
    let prepared = shown
        .prepared
        .clone()
        .ok_or_else(|| Refusal::missing("image yet"))?;
    // A tile is no work of the job that could be stopped: it only waits for its turn.
    let _turn = shared.turn().await?;
    let shared = shared.clone();
    let made = tokio::task::spawn_blocking(move || -> Result<Option<Response>, AppError> {
        let common = shared.common();
        if of_photo {
            let Some(whole) = job.photo(common)? else {
                return Ok(None);
            };
            let found = photo_tile(&prepared, common, tile, whole.stretch)?;
            let made = found.map(|found| {
                let bytes = files::png(&found)?;
                Ok(placed(
                    "image/png",
                    (found.corner, found.step, found.cols),
                    bytes,
                ))
            });
            return made.transpose();
        }
        let found = index_tile(&prepared, common, tile)?;
        Ok(found.map(|found| {
            let values = found.values.iter().map(|value| *value as f32);
            let bytes = values.flat_map(f32::to_le_bytes).collect();
            placed(
                "application/octet-stream",
                (found.corner, found.step, found.cols),
                bytes,
            )
        }))
    });
    made.await
        .map_err(|error| AppError::fault("internal", error.to_string()))??
        .ok_or_else(|| Refusal::missing("tile"))
}

#[utoipa::path(get, path = "/api/v1/jobs/{id}/written/{file}", params(("id" = String, Path, description = "Number of the job"), ("file" = String, Path, description = "Number of the file in the list that `map` gave, or `all.zip`")), responses((status = 200, description = "The file, for saving.", content_type = "application/octet-stream"), (status = 404, body = Error)))]
async fn written(
    State(shared): State<Shared>,
    Path((id, file)): Path<(String, String)>,
) -> Result<Response, Refusal> {
    let job = shared.job(id_of(&id)?)?;
    let number = if file == "all.zip" {
        None
    } else {
        Some(id_of(&file)?)
    };
    let (name, bytes) = off(&shared, &job, move |_shared, job, _common| {
        files::written(job, number)
    })
    .await?
    .ok_or_else(|| Refusal::missing("file"))?;
    let disposition = HeaderValue::from_str(&format!("attachment; filename=\"{name}\""))
        .map_err(|_error| Refusal::missing("file"))?;
    Ok((
        [
            (
                CONTENT_TYPE,
                HeaderValue::from_static("application/octet-stream"),
            ),
            (CONTENT_DISPOSITION, disposition),
        ],
        bytes,
    )
        .into_response())
}

#[utoipa::path(post, path = "/api/v1/files", params(("kind" = String, Query, description = "image, boundary, strips or weather"), ("set" = String, Query, description = "Number that files which belong together share"), ("name" = String, Query, description = "Name of the file; only its ending counts")), request_body(content_type = "application/octet-stream"), responses((status = 200, description = "The name that it got in the page's folder.", body = Object), (status = 413, body = Error)))]
async fn upload(
    State(shared): State<Shared>,
    query: Result<Query<files::Upload>, QueryRejection>,
    request: axum::extract::Request,
) -> Result<Json<Value>, Refusal> {
    if !shared.takes_files() {
        return Err(Refusal::read_only());
    }
    let Ok(Query(asked)) = query else {
        return Err(Refusal::missing("kind of file"));
    };
    let name = files::take(&shared, &asked, request.into_body()).await?;
    Ok(Json(json!({ "file": name })))
}

#[utoipa::path(post, path = "/api/v1/start", request_body = folder::Start, responses((status = 200, body = View), (status = 422, body = Error)))]
async fn start(
    State(shared): State<Shared>,
    Body(asked): Body<folder::Start>,
) -> Result<Json<View>, Refusal> {
    if !shared.takes_files() {
        return Err(Refusal::read_only());
    }
    let turn = shared.turn().await?;
    let begun = {
        let shared = shared.clone();
        tokio::task::spawn_blocking(move || folder::start(&shared, &asked))
            .await
            .map_err(|error| AppError::fault("internal", error.to_string()))?
    };
    let job = begun?;
    drop(turn);
    let shown = off(&shared, &job, |shared, job, common| {
        job.open(shared, common, false)
    })
    .await?;
    Ok(answer(&shared, &job, &shown))
}
