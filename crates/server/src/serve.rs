//! The loopback server: the page, the documents, questions, and writes with this run's token.

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use axum::body::Bytes;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Router, middleware};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use overwinter_documents::{Diagnostic, parse_document};
use overwinter_store::rewrite_text;
use overwinter_workbench::ask::{Reply, Request as Question, ask_while};
use overwinter_workbench::trace_report::TraceRequest;
use serde::Deserialize;
use serde_json::json;
use tokio::sync::Semaphore;

use crate::bench::{Documents, SaveFault, Shelf};
use crate::consequences::Consequences;
use crate::guard::{Refusal, addressed, document_path, entitled};
use crate::publish::{DRAWS, Publication};
use crate::template::{Filling, NotBuilt, fill};

/// Largest request: a document of a person's own is a few kilobytes.
const LARGEST_BODY: usize = 256 * 1024;
/// Questions computed at the same time; more wait.
const AT_ONCE: usize = 2;

/// What the served page may do: its own script, and talk to this server. The engine is not in it.
const POLICY: &str = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; \
     connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'";
/// The same for the element in the page; `frame-ancestors` only holds in the header.
const META_POLICY: &str = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; \
     connect-src 'self'; form-action 'none'; base-uri 'none'";

/// Why the server did not start.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// No front end inside this tool.
    #[error(transparent)]
    NotBuilt(#[from] NotBuilt),
    /// The port cannot be had.
    #[error("cannot listen on 127.0.0.1:{port}: {source}")]
    Listen {
        /// The port.
        port: u16,
        /// Why.
        source: std::io::Error,
    },
    /// No randomness for the token.
    #[error("the system gives no random numbers: {0}")]
    Random(getrandom::Error),
    /// The server stopped.
    #[error("the server stopped: {0}")]
    Run(std::io::Error),
}

struct App {
    shelf: Shelf,
    token: String,
    page: String,
    port: u16,
    seats: Arc<Semaphore>,
}

/// A server that listens and waits to be run.
pub struct Serving {
    listener: std::net::TcpListener,
    app: Arc<App>,
}

/// Listens on 127.0.0.1; port 0 takes any free one.
///
/// # Errors
/// [`ServeError`]: no front end, no port, no randomness.
pub fn bind(
    documents: Box<dyn Documents>,
    publication: &Publication,
    port: u16,
) -> Result<Serving, ServeError> {
    let mut bytes = [0_u8; 24];
    getrandom::fill(&mut bytes).map_err(ServeError::Random)?;
    let token = URL_SAFE_NO_PAD.encode(bytes);
    let Publication { title, licence, date, version } = publication;
    let facts = json!({
        "home": "bench", "title": title, "version": version, "date": date, "licence": licence, "checksum": "",
        "draws": DRAWS, "token": token,
    });
    let page = fill(&Filling {
        policy: META_POLICY,
        title,
        summary: "",
        facts: &facts,
        bench: "",
        engine: "",
    })?;
    let listen = |source| ServeError::Listen { port, source };
    let listener = std::net::TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(listen)?;
    listener.set_nonblocking(true).map_err(listen)?;
    let port = listener.local_addr().map_err(listen)?.port();
    let app = App {
        shelf: Shelf::new(documents),
        token,
        page,
        port,
        seats: Arc::new(Semaphore::new(AT_ONCE)),
    };
    Ok(Serving { listener, app: Arc::new(app) })
}

impl Serving {
    /// Where the page is.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/", self.app.port)
    }

    /// Serves until the process ends.
    ///
    /// # Errors
    /// [`ServeError::Run`].
    pub fn run(self) -> Result<(), ServeError> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_io()
            .build()
            .map_err(ServeError::Run)?;
        runtime.block_on(async {
            let listener =
                tokio::net::TcpListener::from_std(self.listener).map_err(ServeError::Run)?;
            let routes = Router::new()
                .route("/", get(page))
                .route("/api/state", get(state))
                .route("/api/bench", get(bench))
                .route("/api/ask", post(answer))
                .route("/api/save", post(save))
                .route("/api/trace", post(trace))
                .fallback(nothing)
                .layer(DefaultBodyLimit::max(LARGEST_BODY))
                .layer(middleware::from_fn_with_state(Arc::clone(&self.app), gate))
                .with_state(self.app);
            let service = routes.into_make_service_with_connect_info::<SocketAddr>();
            axum::serve(listener, service).await.map_err(ServeError::Run)
        })
    }
}

/// Every request passes here: name and origin checked before, headers that close the page off after.
async fn gate(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let mut response = match addressed(request.headers(), app.port) {
        Ok(()) => next.run(request).await,
        Err(refusal) => refusal.into_response(),
    };
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (header::HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (header::HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

async fn nothing() -> Refusal {
    (StatusCode::NOT_FOUND, "there is nothing here; the page is at /".into())
}

async fn page(State(app): State<Arc<App>>) -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], app.page.clone())
}

fn unreadable(why: impl std::fmt::Display) -> Refusal {
    (StatusCode::INTERNAL_SERVER_ERROR, format!("the bench folder cannot be read: {why}"))
}

fn json_response(status: StatusCode, value: &impl serde::Serialize) -> Response {
    match serde_json::to_vec(value) {
        Ok(bytes) => (status, [(header::CONTENT_TYPE, "application/json")], bytes).into_response(),
        Err(error) => (StatusCode::INTERNAL_SERVER_ERROR, error.to_string()).into_response(),
    }
}

async fn bench(State(app): State<Arc<App>>) -> Result<Response, Refusal> {
    let read = app.shelf.now().map_err(unreadable)?;
    let content = json!({ "files": read.files, "prepared": [], "checksum": read.checksum });
    Ok(json_response(StatusCode::OK, &content))
}

/// The checksum of the documents as they are now: a page asks whether it is still up to date.
async fn state(State(app): State<Arc<App>>) -> Result<Response, Refusal> {
    let read = app.shelf.now().map_err(unreadable)?;
    Ok(json_response(StatusCode::OK, &json!({ "checksum": read.checksum })))
}

/// Says that nobody waits any more: the browser closed the connection, so the request was given up and this with it.
struct Left(Arc<AtomicBool>);

impl Drop for Left {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

async fn answer(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Refusal> {
    entitled(&headers, &app.token)?;
    let question: Question = serde_json::from_slice(&body)
        .map_err(|error| (StatusCode::BAD_REQUEST, error.to_string()))?;
    let seat = Arc::clone(&app.seats)
        .acquire_owned()
        .await
        .map_err(|error| (StatusCode::SERVICE_UNAVAILABLE, error.to_string()))?;
    let own = Arc::clone(&app);
    let left = Arc::new(AtomicBool::new(false));
    let _here = Left(Arc::clone(&left));
    // Sampling takes the processor for a while: it must not hold up the other requests.
    let work = tokio::task::spawn_blocking(move || {
        // Kept until the work itself has ended, also where nobody waits for it any more.
        let _seat = seat;
        let read = own.shelf.now()?;
        let mut question = question;
        let reply = match own.shelf.complete(&read.bench, &mut question) {
            Ok(()) => ask_while(&read.bench, question, &|| !left.load(Ordering::Relaxed)),
            Err(fault) => Some(Reply::Error(vec![*fault])),
        };
        Ok::<_, String>((reply, read.checksum.clone()))
    });
    let (reply, checksum) = work
        .await
        .map_err(|_join| {
            (StatusCode::INTERNAL_SERVER_ERROR, "the question could not be answered".to_owned())
        })?
        .map_err(unreadable)?;
    let gone = || (StatusCode::SERVICE_UNAVAILABLE, "nobody waited for the answer".to_owned());
    let mut response = json_response(StatusCode::OK, &reply.ok_or_else(gone)?);
    if let Ok(value) = HeaderValue::from_str(&checksum) {
        response.headers_mut().insert("x-overwinter-checksum", value);
    }
    Ok(response)
}

async fn trace(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Refusal> {
    entitled(&headers, &app.token)?;
    let question: TraceRequest = serde_json::from_slice(&body)
        .map_err(|error| (StatusCode::BAD_REQUEST, error.to_string()))?;
    let own = Arc::clone(&app);
    let left = Arc::new(AtomicBool::new(false));
    let _here = Left(Arc::clone(&left));
    // A first look at a long recording is one pass over it; a zoom after that takes milliseconds and waits for nobody's sampling.
    let work = tokio::task::spawn_blocking(move || {
        let read = own.shelf.now()?;
        Ok::<_, String>(own.shelf.trace(&read.bench, &question, &|| !left.load(Ordering::Relaxed)))
    });
    let reply = work
        .await
        .map_err(|_join| {
            (StatusCode::INTERNAL_SERVER_ERROR, "the question could not be answered".to_owned())
        })?
        .map_err(unreadable)?;
    Ok(json_response(StatusCode::OK, &reply))
}

/// A document to write.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Save {
    path: String,
    text: String,
    /// What the file said when the page read it; `null` for a new file.
    was: Option<String>,
    /// The text comes from a form: its values are written into what the file says, comments and order are kept.
    #[serde(default)]
    merge: bool,
}

async fn save(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Refusal> {
    entitled(&headers, &app.token)?;
    let save: Save = serde_json::from_slice(&body)
        .map_err(|error| (StatusCode::BAD_REQUEST, error.to_string()))?;
    document_path(&save.path)?;
    let refused = |errors: Vec<Diagnostic>| {
        Ok(json_response(StatusCode::UNPROCESSABLE_ENTITY, &json!({ "error": errors })))
    };
    let text = match save.was.as_deref().filter(|_| save.merge) {
        None => save.text,
        Some(was) => match rewrite_text(&save.path, was, &save.text) {
            Ok(text) => text,
            Err(error) => return refused(vec![error.diagnostic()]),
        },
    };
    // What the command line would refuse is not written.
    if let Err(errors) = parse_document(&save.path, &text) {
        return refused(errors);
    }
    let read = app.shelf.now().map_err(unreadable)?;
    let new = Consequences::of(&read.files, &save.path, &text);
    if !new.refused.is_empty() {
        return refused(new.refused);
    }
    match app.shelf.save(&save.path, save.was.as_deref(), &text) {
        Ok(()) => {
            let read = app.shelf.now().map_err(unreadable)?;
            let saved = json!({ "checksum": read.checksum, "text": text, "notes": new.notes });
            Ok(json_response(StatusCode::OK, &saved))
        }
        Err(SaveFault::Changed { path, now }) => Ok(json_response(
            StatusCode::CONFLICT,
            &json!({ "changed": { "path": path, "now": now, "yours": text } }),
        )),
        Err(fault @ SaveFault::Failed(_)) => {
            Err((StatusCode::INTERNAL_SERVER_ERROR, fault.to_string()))
        }
    }
}
