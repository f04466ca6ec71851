//! Talks to the station over its unix socket.

use std::path::{Path, PathBuf};
use std::time::Duration;

use http_body_util::{BodyExt, Full};
use hyper::body::{Bytes, Incoming};
use hyper::client::conn::http1;
use hyper::{Method, Request, Response};
use hyper_util::rt::TokioIo;
use serde_json::Value;
use tokio::net::UnixStream;
use tokio::runtime::{Builder, Runtime};

use super::Trouble;
use super::offline::escaped;
use crate::serve::socket_path;
use crate::station::event::Problem;

/// Largest answer that is taken in, bytes.
const ANSWER_MAX: usize = 64 << 20;

/// How often a station that starts is asked, with a pause between.
const PATIENCE: u32 = 40;
const PAUSE: Duration = Duration::from_millis(250);

/// A station, by its socket.
#[derive(Debug, Clone)]
pub struct Client {
    socket: PathBuf,
}

impl Client {
    /// The station at `socket`; otherwise where `serve` puts it.
    #[must_use]
    pub fn new(socket: Option<&Path>) -> Client {
        Client { socket: socket.map_or_else(socket_path, Path::to_owned) }
    }

    /// Asks for a resource.
    ///
    /// # Errors
    /// No station, a refusal, or an answer that is no JSON.
    pub fn get(&self, path: &str) -> Result<Value, Trouble> {
        runtime()?.block_on(self.patient(Method::GET, path, None))
    }

    /// Reads a list page by page, to its end.
    ///
    /// # Errors
    /// As [`Client::get`], or what `each` has to say of a page.
    pub fn pages(
        &self,
        path: &str,
        mut each: impl FnMut(&Value) -> Result<(), Trouble>,
    ) -> Result<(), Trouble> {
        let join = if path.contains('?') { '&' } else { '?' };
        let mut page = self.get(path)?;
        loop {
            each(&page)?;
            let after = match &page["next"] {
                Value::String(id) => escaped(id),
                Value::Number(seq) => seq.to_string(),
                _ => return Ok(()),
            };
            page = self.get(&format!("{path}{join}after={after}"))?;
        }
    }

    /// Sends a request with a JSON body.
    ///
    /// # Errors
    /// No station, a refusal, or an answer that is no JSON.
    pub fn post(&self, path: &str, body: &Value) -> Result<Value, Trouble> {
        runtime()?.block_on(self.patient(Method::POST, path, Some(body)))
    }

    /// Asks again while the station is only starting, at most [`PATIENCE`] times: then nothing
    /// of what was asked has been done.
    async fn patient(
        &self,
        method: Method,
        path: &str,
        body: Option<&Value>,
    ) -> Result<Value, Trouble> {
        let mut asked = 0;
        loop {
            asked += 1;
            match self.ask(method.clone(), path, body).await {
                Err(Trouble::Refused(problem))
                    if problem.code == "starting" && asked < PATIENCE =>
                {
                    tokio::time::sleep(PAUSE).await;
                }
                other => return other,
            }
        }
    }

    /// Sends a request and takes in the whole answer.
    ///
    /// # Errors
    /// No station, a refusal, or an answer that is no JSON.
    pub async fn ask(
        &self,
        method: Method,
        path: &str,
        body: Option<&Value>,
    ) -> Result<Value, Trouble> {
        let response = self.send(method, path, body).await?;
        let status = response.status();
        let body = http_body_util::Limited::new(response.into_body(), ANSWER_MAX);
        let bytes = body.collect().await.map_err(|error| broken(&error))?.to_bytes();
        if status.is_success() { json(&bytes) } else { Err(refusal(&bytes, status.as_u16())) }
    }

    /// Opens a connection and sends one request; the answer's body may be read as it comes.
    ///
    /// # Errors
    /// No station, or a connection that broke.
    pub async fn send(
        &self,
        method: Method,
        path: &str,
        body: Option<&Value>,
    ) -> Result<Response<Incoming>, Trouble> {
        let stream =
            UnixStream::connect(&self.socket).await.map_err(|error| self.nobody(&error))?;
        let (mut sender, connection) =
            http1::handshake(TokioIo::new(stream)).await.map_err(|error| broken(&error))?;
        tokio::spawn(connection);
        let bytes = body.map_or_else(Bytes::new, |body| Bytes::from(body.to_string()));
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header("host", "tapline")
            .header("content-type", "application/json")
            .body(Full::new(bytes))
            .map_err(|error| broken(&error))?;
        sender.send_request(request).await.map_err(|error| broken(&error))
    }

    fn nobody(&self, error: &std::io::Error) -> Trouble {
        let socket = self.socket.display();
        let next = match error.kind() {
            std::io::ErrorKind::PermissionDenied => "you may not open it: join its group",
            _ => "start it with `tapline serve`, or name its socket with --socket",
        };
        Trouble::Said(format!("no station answers at {socket} ({error})\n  next: {next}"))
    }
}

/// A runtime for one command.
///
/// # Errors
/// When the system gives none.
pub fn runtime() -> Result<Runtime, Trouble> {
    let runtime = Builder::new_current_thread().enable_all().build();
    runtime.map_err(|error| Trouble::Said(format!("the system gave no event loop: {error}")))
}

/// A connection that broke in the middle.
pub(super) fn broken(error: &dyn std::fmt::Display) -> Trouble {
    Trouble::Said(format!("the station went away while it answered ({error})\n  next: try again"))
}

fn json(bytes: &Bytes) -> Result<Value, Trouble> {
    if bytes.is_empty() {
        return Ok(Value::Null);
    }
    serde_json::from_slice(bytes)
        .map_err(|error| Trouble::Said(format!("the station's answer is no JSON: {error}")))
}

fn refusal(bytes: &Bytes, status: u16) -> Trouble {
    match serde_json::from_slice::<Problem>(bytes) {
        Ok(problem) => Trouble::Refused(problem),
        Err(_) => Trouble::Said(format!("the station refused with status {status}")),
    }
}
