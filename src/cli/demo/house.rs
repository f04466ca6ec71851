//! The folder and the processes of a demonstration.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use hyper::Method;
use serde_json::{Value, json};
use tapline_demo::clinic;
use tapline_demo::scene::Scene;
use tokio::process::{Child, Command};

use super::hands::Hands;
use crate::cli::args::{Common, Tail};
use crate::cli::client::Client;
use crate::cli::{Trouble, output, tail};

/// How often something that must come is looked for.
const LOOK: Duration = Duration::from_millis(50);
/// How many looks until it is given up: a minute.
const LOOKS_MAX: u32 = 1200;

/// A demonstration that is set up.
pub(super) struct House {
    folder: PathBuf,
    pub(super) client: Client,
    pub(super) hands: Hands,
    scene: Scene,
    /// Killed when dropped.
    bench: Child,
    station: Child,
}

impl House {
    /// Starts the bench of a scene, and a station on it; shows the live log from then on.
    pub(super) async fn open(folder: &Path, scene: &Scene, page: bool) -> Result<House, Trouble> {
        let refused = |error: std::io::Error| {
            Trouble::Said(format!("can't use {}: {error}", folder.display()))
        };
        fs::create_dir_all(folder.join("bench")).map_err(refused)?;
        let first = folder.join("first-scene.toml");
        let text = clinic::scene(&scene.id).unwrap_or(clinic::SCENES[0].1);
        fs::write(&first, text).map_err(refused)?;
        let mut bench = program("demo-bench")?;
        bench.arg("--with-parent").arg("--folder").arg(folder.join("bench"));
        let bench = start(bench.arg("--scene").arg(&first))?;
        let ports = ports(&folder.join("bench")).await?;
        let data = folder.join("data").display().to_string();
        let page = if page { "127.0.0.1:0" } else { "off" };
        let config = clinic::config(&ports, &data, page, scene);
        fs::create_dir_all(folder.join("data/plans")).map_err(refused)?;
        fs::write(folder.join("data/plans/clinic-whole.toml"), clinic::PLAN).map_err(refused)?;
        let file = folder.join("tapline.toml");
        fs::write(&file, config).map_err(refused)?;
        let socket = folder.join("tapline.sock");
        let mut station = program("serve")?;
        if std::env::var_os("RUST_LOG").is_none() {
            // The live log is on the same screen and tells the same.
            station.env("RUST_LOG", "error");
        }
        let station = start(station.arg("--config").arg(&file).env("TAPLINE_SOCKET", &socket))?;
        let client = Client::new(Some(&socket));
        wait_for(&client).await?;
        show_the_log(socket.clone());
        let hands = Hands::reach(&folder.join("bench/control")).await?;
        let folder = folder.to_owned();
        Ok(House { folder, client, hands, scene: scene.clone(), bench, station })
    }

    /// Fills the registers, and confirms the rows from memory against the clinic's own copy of
    /// the standard, for all to see.
    pub(super) async fn stock(&mut self) -> Result<(), Trouble> {
        for (what, text) in [
            ("operators", clinic::OPERATORS),
            ("instruments", clinic::INSTRUMENTS),
            ("fixtures", clinic::FIXTURES),
            ("assets", clinic::ASSETS),
        ] {
            self.post(&format!("/v1/{what}"), json!({ "text": text })).await?;
        }
        let limits = self.get("/v1/limits").await?;
        let items = limits["items"].as_array().cloned().unwrap_or_default();
        let unread = items.iter().filter(|row| row["confidence"] == "memory");
        let rows: Vec<&Value> = unread.map(|row| &row["id"]).collect();
        let body = json!({
            "rows": rows, "document": clinic::DOCUMENT, "clause": "Tables 2 and 3",
            "by": clinic::CONFIRMED_BY,
        });
        self.post("/v1/limits", body).await.map(drop)
    }

    /// A scene on another kind of box, or with other instruments and fixtures, needs another
    /// station: the configuration says what there is.
    pub(super) fn fits(&self, scene: &Scene) -> bool {
        let stands = |one: &Scene| (one.witnessed, one.tester, one.fixtures.clone());
        stands(&self.scene) == stands(scene)
    }

    pub(super) async fn get(&self, path: &str) -> Result<Value, Trouble> {
        self.client.ask(Method::GET, path, None).await
    }

    pub(super) async fn post(&self, path: &str, body: Value) -> Result<Value, Trouble> {
        self.client.ask(Method::POST, path, Some(&body)).await
    }

    /// Where the station keeps its records.
    pub(super) fn data(&self) -> PathBuf {
        self.folder.join("data")
    }

    pub(super) fn socket(&self) -> PathBuf {
        self.folder.join("tapline.sock")
    }

    /// Where the page is.
    pub(super) async fn page(&self) -> Result<String, Trouble> {
        let answer = self.get("/v1/page").await?;
        Ok(answer["address"].as_str().unwrap_or_default().to_owned())
    }

    /// Lets the live log come to its end.
    pub(super) async fn quiet(&self) {
        tokio::time::sleep(LOOK * 10).await;
    }

    /// Stays up until the person has seen enough.
    pub(super) async fn stay(&mut self) {
        // Waiting for a child closes its standard input, and the bench ends with that.
        let _held = (self.station.stdin.take(), self.bench.stdin.take());
        tokio::select! {
            _ = tokio::signal::ctrl_c() => {}
            _ = self.station.wait() => output::talk("the station ended"),
            _ = self.bench.wait() => output::talk("the simulated bench ended"),
        }
    }
}

/// This program again, as another process.
fn program(word: &str) -> Result<Command, Trouble> {
    let program = std::env::current_exe();
    let program = program.map_err(|error| Trouble::Said(format!("where am I? {error}")))?;
    let mut command = Command::new(program);
    command.arg(word).stdin(Stdio::piped()).stdout(Stdio::null()).kill_on_drop(true);
    Ok(command)
}

fn start(command: &mut Command) -> Result<Child, Trouble> {
    command.spawn().map_err(|error| Trouble::Said(format!("can't start a process: {error}")))
}

/// The ports of the bench, once all of them are there.
async fn ports(folder: &Path) -> Result<BTreeMap<String, String>, Trouble> {
    for _ in 0..LOOKS_MAX {
        if let Ok(text) = fs::read_to_string(folder.join("ports.json")) {
            return serde_json::from_str(&text)
                .map_err(|error| Trouble::Said(format!("the bench's ports: {error}")));
        }
        tokio::time::sleep(LOOK).await;
    }
    Err(Trouble::Said("the simulated bench did not start".into()))
}

async fn wait_for(client: &Client) -> Result<(), Trouble> {
    let mut last = None;
    for _ in 0..LOOKS_MAX {
        match client.ask(Method::GET, "/v1/status", None).await {
            Ok(status) if status["halted"].is_null() => return Ok(()),
            Ok(status) => last = status["halted"].as_str().map(|why| Trouble::Said(why.into())),
            Err(trouble) => last = Some(trouble),
        }
        tokio::time::sleep(LOOK).await;
    }
    Err(last.unwrap_or(Trouble::Quiet))
}

/// Follows the live log in a task of its own, from the first line.
fn show_the_log(socket: PathBuf) {
    let tail = Tail { inspection: None, after: Some(0), readings: false };
    let common = Common { json: false, socket: None, bench: None, by: None };
    let client = Client::new(Some(&socket));
    tokio::spawn(async move { tail::watch(&client, &tail, &common).await });
}
