//! What is plugged in, and why it can't be used.

use std::path::{Path, PathBuf};

use axum::response::Json;
use rustix::fs::{Access, access};
use serde::Serialize;
use serde_json::{Value, json};

use super::problem::Refused;
use crate::link::holder;

/// A port of this machine.
#[derive(Debug, Serialize)]
struct Port {
    /// Path.
    port: String,
    /// Names that stay the same.
    names: Vec<String>,
    /// What the adapter says of itself.
    what: Option<String>,
    /// Who has it open.
    holder: Option<String>,
    /// The station may open it.
    allowed: bool,
}

/// `GET /v1/ports`.
pub(super) async fn ports() -> Result<Json<Value>, Refused> {
    let list = tokio::task::spawn_blocking(all).await;
    let list = list.map_err(|_| Refused::new("busy", "the ports could not be listed"))?;
    Ok(Json(json!({ "items": list })))
}

fn all() -> Vec<Port> {
    let found = serialport::available_ports().unwrap_or_default();
    let mut ports: Vec<Port> = found.into_iter().map(port).collect();
    ports.sort_by(|a, b| a.port.cmp(&b.port));
    ports
}

fn port(found: serialport::SerialPortInfo) -> Port {
    let path = PathBuf::from(&found.port_name);
    let what = match found.port_type {
        serialport::SerialPortType::UsbPort(usb) => {
            let text = [usb.manufacturer, usb.product, usb.serial_number];
            Some(text.into_iter().flatten().collect::<Vec<_>>().join(", "))
        }
        _ => None,
    };
    Port {
        names: names(&path),
        what,
        holder: holder(&path).map(|holder| format!("process {} ({})", holder.pid, holder.name)),
        allowed: access(&path, Access::READ_OK | Access::WRITE_OK).is_ok(),
        port: found.port_name,
    }
}

/// Links that point to the port and stay the same when it is plugged in again.
fn names(port: &Path) -> Vec<String> {
    let Ok(port) = port.canonicalize() else { return Vec::new() };
    let mut names = Vec::new();
    for folder in ["/dev/serial/by-id", "/dev/serial/by-path"] {
        let Ok(links) = std::fs::read_dir(folder) else { continue };
        let same = |link: &PathBuf| link.canonicalize().is_ok_and(|target| target == port);
        let links = links.filter_map(|link| Some(link.ok()?.path())).filter(same);
        names.extend(links.map(|link| link.display().to_string()));
    }
    names.sort();
    names
}
