//! Tells another system of each sealed record, in order, until it has said that it has it.
//!
//! What was told is kept in `webhook.json` of the data folder, so that a restart tells neither
//! twice nor too little; a receiver that was told twice all the same knows the id. Nothing waits
//! for it, and where there is nothing to tell nothing runs.

use std::collections::VecDeque;
use std::net::{IpAddr, SocketAddr};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use http_body_util::Full;
use hyper::Request;
use hyper::body::Bytes;
use hyper::client::conn::http1;
use hyper_util::rt::TokioIo;
use serde::{Deserialize, Serialize};
use tapline_protocols::Fact;
use tokio::net::{TcpStream, lookup_host};
use tokio::time::{sleep, timeout};

use super::feed::Part;
use super::shared::Shared;
use crate::books::disk::Mode;
use crate::books::place::sealed_path;
use crate::books::{Disk, Folder, Shelf};
use crate::clock;
use crate::config::{Config, Webhook};
use crate::exchange::webhook::{Secret, body};
use crate::report::{House, wanted};
use crate::station::event::BookId;

/// Longest wait for one attempt.
const ATTEMPT: Duration = Duration::from_secs(10);
/// Pause after a failure: doubled each time, up to the longest.
const PAUSE: Duration = Duration::from_secs(1);
const PAUSE_MAX: Duration = Duration::from_secs(600);
/// File that says what was told.
const TOLD: &str = "webhook.json";

#[derive(Debug, Default, Serialize, Deserialize)]
struct Told {
    /// Number of the newest line of the station book that was told.
    seq: u64,
}

/// Runs as long as the station does.
pub(super) async fn tell(config: Arc<Config>, shared: Arc<Shared>) {
    let Some(hook) = config.webhook.clone() else { return };
    let secret = match std::fs::read_to_string(&hook.secret).map(|text| Secret::read(&text)) {
        Ok(Some(secret)) => secret,
        Ok(None) => {
            return tracing::error!("The webhook's secret is none: 24 to 64 bytes in base64.");
        }
        Err(error) => return tracing::error!(%error, "The webhook's secret can't be read."),
    };
    let folder = config.store.folder.clone();
    let mut place = shared.feed.read(Some(0));
    let Some(mut seen) = told(&folder) else { return };
    let mut waiting = VecDeque::new();
    loop {
        match sealed_after(&folder, seen).await {
            Ok(new) => {
                seen = new.last().map_or(seen, |(seq, _)| *seq);
                waiting.extend(new);
            }
            Err(why) => tracing::warn!(why, "What was sealed can't be told yet."),
        }
        while let Some((seq, id)) = waiting.front().cloned() {
            until_taken(&config, &hook, &secret, &id).await;
            keep(&folder, seq);
            waiting.pop_front();
        }
        // The next sealed record, or a place that was lost: then the books are looked at again.
        loop {
            match place.next().await {
                None => return,
                Some(Part::Lost { .. }) => break,
                Some(Part::Lines(lines)) if lines.iter().any(|line| line.kind == "sealed") => break,
                Some(Part::Lines(_)) => {}
            }
        }
    }
}

/// What was told; where nothing was ever told, what was sealed before is of the past.
fn told(folder: &Path) -> Option<u64> {
    match std::fs::read(folder.join(TOLD)) {
        Ok(bytes) => match serde_json::from_slice::<Told>(&bytes) {
            Ok(told) => Some(told.seq),
            Err(error) => {
                tracing::error!(%error, "`webhook.json` can't be read: nothing is told.");
                None
            }
        },
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            let newest = newest(folder);
            keep(folder, newest);
            Some(newest)
        }
        Err(error) => {
            tracing::error!(%error, "`webhook.json` can't be read: nothing is told.");
            None
        }
    }
}

fn newest(folder: &Path) -> u64 {
    let Ok(disk) = Folder::open(folder) else { return 0 };
    let Ok(lines) = Shelf::new(Arc::new(disk)).lines(&BookId::Station) else { return 0 };
    lines.filter_map(Result::ok).map(|line| line.seq).last().unwrap_or(0)
}

/// A file is whole before it has its name.
fn keep(folder: &Path, seq: u64) {
    let bytes = serde_json::to_vec(&Told { seq }).expect("a number is plain JSON");
    let new = format!("{TOLD}.new");
    let kept = Folder::existing(folder).and_then(|disk| {
        disk.write(&new, &bytes, Mode::Shared)?;
        disk.rename(&new, TOLD)?;
        disk.sync_dir("")
    });
    if let Err(error) = kept {
        tracing::warn!(%error, "It can't be kept what the webhook told: it may be told again.");
    }
}

/// Records that the station books say were sealed after a line.
async fn sealed_after(folder: &Path, after: u64) -> Result<Vec<(u64, String)>, String> {
    let folder = folder.to_owned();
    let read = move || {
        let disk = Folder::open(&folder).map_err(|error| error.to_string())?;
        let lines = Shelf::new(Arc::new(disk)).lines(&BookId::Station);
        let mut sealed = Vec::new();
        for line in lines.map_err(|halted| halted.to_string())? {
            let line = line.map_err(|halted| halted.to_string())?;
            match line.fact {
                Fact::Sealed(fact) if line.seq > after => sealed.push((line.seq, fact.id)),
                _ => {}
            }
        }
        Ok(sealed)
    };
    tokio::task::spawn_blocking(read).await.map_err(|panic| panic.to_string())?
}

async fn until_taken(config: &Config, hook: &Webhook, secret: &Secret, id: &str) {
    let Some(text) = summary(config, id) else { return };
    let mut pause = PAUSE;
    loop {
        let at = clock::now().wall_us / 1_000_000;
        let signature = secret.signature(id, at, &text);
        match timeout(ATTEMPT, send(hook, (id, at, &signature), &text)).await {
            Ok(Ok(())) => return,
            Ok(Err(why)) => tracing::warn!(id, why, "The webhook was not taken."),
            Err(_) => tracing::warn!(id, "The webhook was not answered."),
        }
        sleep(pause).await;
        pause = (pause * 2).min(PAUSE_MAX);
    }
}

/// `None`: nothing can be told of it; `verify` says why.
fn summary(config: &Config, id: &str) -> Option<String> {
    let file = config.store.folder.join(sealed_path(id)?);
    match wanted(&file, &House::of(Some(config)), |_, _| true) {
        Ok(report) => report.as_ref().map(body),
        Err(why) => {
            tracing::warn!(id, why, "A record can't be read: the webhook leaves it out.");
            None
        }
    }
}

/// One request; what leads elsewhere is no yes.
async fn send(
    hook: &Webhook,
    (id, at, signature): (&str, i64, &str),
    text: &str,
) -> Result<(), String> {
    let address = address(hook).await?;
    let stream = TcpStream::connect(address).await.map_err(|error| error.to_string())?;
    let (mut sender, connection) =
        http1::handshake(TokioIo::new(stream)).await.map_err(|error| error.to_string())?;
    let driven = tokio::spawn(connection);
    let request = Request::post(&hook.path)
        .header("host", format!("{}:{}", hook.host, hook.port))
        .header("content-type", "application/json")
        .header("webhook-id", id)
        .header("webhook-timestamp", at.to_string())
        .header("webhook-signature", signature)
        .body(Full::new(Bytes::copy_from_slice(text.as_bytes())))
        .map_err(|error| error.to_string())?;
    let answer = sender.send_request(request).await.map_err(|error| error.to_string());
    driven.abort();
    let status = answer?.status();
    if status.is_success() { Ok(()) } else { Err(status.to_string()) }
}

/// Where the name leads; never to addresses that machines give out to themselves.
async fn address(hook: &Webhook) -> Result<SocketAddr, String> {
    let found = lookup_host((hook.host.as_str(), hook.port)).await;
    let mut found = found.map_err(|error| error.to_string())?;
    let none = || "its name leads to no address that may be asked".to_owned();
    found.find(|address| may_be_asked(address.ip())).ok_or_else(none)
}

fn may_be_asked(ip: IpAddr) -> bool {
    match ip {
        IpAddr::V4(ip) => !(ip.is_link_local() || ip.is_multicast() || ip.is_unspecified()),
        IpAddr::V6(ip) => {
            let v4 = ip.to_ipv4_mapped().map(IpAddr::V4);
            v4.is_none_or(may_be_asked)
                && !(ip.is_unicast_link_local() || ip.is_multicast() || ip.is_unspecified())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_that_machines_give_themselves_are_not_asked() {
        let asked = |text: &str| may_be_asked(text.parse().unwrap());
        let never = ["169.254.169.254", "fe80::1", "::ffff:169.254.1.1", "0.0.0.0", "ff02::1"];
        for address in never {
            assert!(!asked(address), "{address}");
        }
        for address in ["127.0.0.1", "10.0.0.5", "::1", "fd00::5"] {
            assert!(asked(address), "{address}");
        }
    }
}
