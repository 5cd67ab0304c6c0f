//! The server: HTTP/1.1 on one thread, with a limit on everything a client can ask for or leave undone.
//!
//! | limit | |
//! | --- | --- |
//! | connections at once | [`MOST_CONNECTIONS`] |
//! | head of a request | [`MOST_HEAD`] bytes within [`HEAD_TIME`] |
//! | body of a request | [`MOST_BODY`] bytes within [`BODY_TIME`] |
//! | a connection, however it is used | [`CONNECTION_TIME`], then it is closed when it is idle, or after [`PARTING_TIME`] |

use super::guard::Door;
use super::notebooks::Bench;
use super::routes::{self, Answer};
use http_body_util::{BodyExt, Full, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::header::{self, HeaderName, HeaderValue};
use hyper::service::service_fn;
use hyper::{Method, Request, Response, StatusCode};
use hyper_util::rt::{TokioIo, TokioTimer};
use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, watch};

/// Most connections at once.
pub const MOST_CONNECTIONS: usize = 64;
/// Most bytes of the head of a request.
pub const MOST_HEAD: usize = 16 << 10;
/// Most time for it.
pub const HEAD_TIME: Duration = Duration::from_secs(5);
/// Most bytes of the body of a request.
pub const MOST_BODY: usize = 64 << 10;
/// Most time for it.
pub const BODY_TIME: Duration = Duration::from_secs(5);
/// Most time that a connection is used.
pub const CONNECTION_TIME: Duration = Duration::from_secs(120);
/// Most time for what is still under way then.
pub const PARTING_TIME: Duration = Duration::from_secs(30);

/// Where the page is served.
#[derive(Clone, Debug)]
pub struct Places {
    /// The port on this machine; 0 for a free one.
    pub port: u16,
    /// An address of this machine in the network at which it is served too, and for how long.
    pub share: Option<(std::net::IpAddr, Duration)>,
}

/// The doors of a server that listens.
#[derive(Clone, Debug)]
pub struct Doors {
    /// On this machine.
    pub own: Door,
    /// In the network, where that was asked for.
    pub shared: Option<Door>,
}

/// Serves until it is told to end. `ready` is told where, once the doors are open.
///
/// # Errors
///
/// A sentence: a port cannot be opened.
pub async fn serve(
    bench: Arc<Bench>,
    places: &Places,
    ready: impl FnOnce(&Doors),
    end: impl Future<Output = ()>,
) -> Result<(), String> {
    let (own, listener) = open(SocketAddr::from(([127, 0, 0, 1], places.port)), None).await?;
    let mut listeners = vec![(own.clone(), listener)];
    let mut doors = Doors { own, shared: None };
    if let Some((ip, time)) = places.share {
        let until = Instant::now().checked_add(time);
        let (door, listener) = open(SocketAddr::new(ip, 0), until).await?;
        doors.shared = Some(door.clone());
        listeners.push((door, listener));
    }
    ready(&doors);
    let (ending, ended) = watch::channel(false);
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let accepting: Vec<_> = listeners
        .into_iter()
        .map(|(door, listener)| {
            let client = Client { bench: bench.clone(), door: Arc::new(door), ended: ended.clone() };
            tokio::spawn(accept(listener, client, room.clone()))
        })
        .collect();
    end.await;
    ending.send_replace(true);
    accepting.iter().for_each(tokio::task::JoinHandle::abort);
    // What is being written is written to its end.
    let all = u32::try_from(MOST_CONNECTIONS).unwrap_or(u32::MAX);
    drop(tokio::time::timeout(Duration::from_secs(2), room.acquire_many(all)).await);
    Ok(())
}

async fn open(address: SocketAddr, until: Option<Instant>) -> Result<(Door, TcpListener), String> {
    let cannot = |error: std::io::Error| format!("cannot listen at {address}: {error}");
    let listener = TcpListener::bind(address).await.map_err(cannot)?;
    let door = Door::new(listener.local_addr().map_err(cannot)?, until)?;
    Ok((door, listener))
}

/// What a connection is answered with.
#[derive(Clone)]
struct Client {
    bench: Arc<Bench>,
    door: Arc<Door>,
    ended: watch::Receiver<bool>,
}

async fn accept(listener: TcpListener, client: Client, room: Arc<Semaphore>) {
    loop {
        let Ok(place) = room.clone().acquire_owned().await else { return };
        match listener.accept().await {
            Ok((stream, _)) => {
                let client = client.clone();
                tokio::spawn(async move {
                    drop(stream.set_nodelay(true));
                    connection(stream, client).await;
                    drop(place);
                });
            }
            // Too many open files, or a connection that broke at once: wait for better times.
            Err(_) => tokio::time::sleep(Duration::from_millis(50)).await,
        }
    }
}

/// Answers one connection to its end, whatever it runs over. `ended` turns true when the server ends.
pub async fn converse(
    stream: impl AsyncRead + AsyncWrite + Unpin,
    bench: Arc<Bench>,
    door: Arc<Door>,
    ended: watch::Receiver<bool>,
) {
    connection(stream, Client { bench, door, ended }).await;
}

async fn connection(stream: impl AsyncRead + AsyncWrite + Unpin, client: Client) {
    let ended = client.ended.clone();
    let service = service_fn(move |request| {
        let client = client.clone();
        async move { Ok::<_, Infallible>(answer(request, client).await) }
    });
    let mut http = hyper::server::conn::http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEAD_TIME).max_buf_size(MOST_HEAD).half_close(false);
    let connection = http.serve_connection(TokioIo::new(stream), service);
    tokio::pin!(connection);
    tokio::select! {
        _ = connection.as_mut() => return,
        () = tokio::time::sleep(CONNECTION_TIME) => {}
        () = over(ended) => {}
    }
    connection.as_mut().graceful_shutdown();
    drop(tokio::time::timeout(PARTING_TIME, connection).await);
}

/// Waits for the end of the server.
async fn over(mut ended: watch::Receiver<bool>) {
    drop(ended.wait_for(|ended| *ended).await);
}

async fn answer(request: Request<Incoming>, client: Client) -> Response<Full<Bytes>> {
    let (head, body) = request.into_parts();
    let rest = match client.door.admit(&head.method, head.uri.path(), &head.headers) {
        Ok(rest) => rest.to_owned(),
        Err(refused) => return response(Answer::text(refused.status, refused.why)),
    };
    let query = head.uri.query().unwrap_or("").to_owned();
    if head.method == Method::GET {
        return response(routes::get(&client.bench, &rest, &query, over(client.ended)).await);
    }
    let body = tokio::time::timeout(BODY_TIME, Limited::new(body, MOST_BODY).collect()).await;
    let answer = match body {
        Err(_) => Answer::text(StatusCode::REQUEST_TIMEOUT, "The request took too long."),
        Ok(Err(_)) => Answer::text(StatusCode::PAYLOAD_TOO_LARGE, "The request is too large or broke off."),
        Ok(Ok(body)) => routes::post(&client.bench, &rest, body.to_bytes()).await,
    };
    response(answer)
}

/// What every answer says besides its body: nothing from elsewhere is loaded, nothing is kept, nobody frames it.
static HEADERS: [(HeaderName, &str); 7] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; \
         connect-src 'self'; \
         base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("permissions-policy"), "camera=(), microphone=(), geolocation=()"),
];

fn response(answer: Answer) -> Response<Full<Bytes>> {
    let mut response = Response::new(Full::new(answer.body));
    *response.status_mut() = answer.status;
    let headers = response.headers_mut();
    for (name, value) in &HEADERS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(answer.kind));
    let cache = if answer.lasting { "private, max-age=3600, immutable" } else { "no-store" };
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(cache));
    response
}
