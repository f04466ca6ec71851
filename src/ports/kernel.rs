//! What `/sys` knows of a port: driver, USB descriptors, latency timer, udev's properties.

use std::fs;
use std::path::{Path, PathBuf};

use super::{Access, Kind, Port, Usb, base, below, entries, keys, outside, text};

/// Folders of names that stay.
const NAMES: [&str; 5] = [
    "dev/serial/by-id",
    "dev/serial/by-path",
    "dev/input/by-id",
    "dev/input/by-path",
    "dev/tapline",
];

/// Properties that keep a modem prober away (its documentation, "Common udev tags" and "Modem
/// filter"); the last is that of versions before 1.18.
const NO_MODEM: [&str; 3] = ["ID_MM_DEVICE_IGNORE", "ID_MM_PORT_IGNORE", "ID_MM_TTY_BLACKLIST"];

/// Serial ports, test-and-measurement interfaces and keyboards, without who holds them.
pub(super) fn ports(root: &Path) -> Vec<Port> {
    let names = names(root);
    let classes = [("tty", Class::Tty), ("usbmisc", Class::Misc), ("input", Class::Input)];
    let mut found = Vec::new();
    for (folder, class) in classes {
        for entry in entries(&root.join("sys/class").join(folder)) {
            let Some((kind, node)) = class.of(&entry) else { continue };
            let node = Path::new("/dev").join(node);
            found.push(port(root, &entry, kind, node, &names));
        }
    }
    found
}

#[derive(Clone, Copy)]
enum Class {
    Tty,
    Misc,
    Input,
}

impl Class {
    /// Kind of an entry and its node below `/dev`; `None` for what is no port.
    fn of(self, entry: &Path) -> Option<(Kind, String)> {
        let name = base(entry);
        match self {
            // Consoles and pseudo-terminals hang on nothing; a UART that is not there is of type 0.
            Class::Tty if !entry.join("device").exists() => None,
            Class::Tty if text(&entry.join("type")).is_some_and(|kind| kind == "0") => None,
            Class::Tty => Some((Kind::Serial, name)),
            Class::Misc => name.starts_with("usbtmc").then_some((Kind::UsbTmc, name)),
            Class::Input => {
                let event = name.strip_prefix("event").is_some_and(|n| n.parse::<u32>().is_ok());
                let kind = event.then(|| keys::wedge(&entry.join("device")))??;
                Some((kind, format!("input/{name}")))
            }
        }
    }
}

fn port(
    root: &Path,
    entry: &Path,
    kind: Kind,
    node: PathBuf,
    names: &[(PathBuf, PathBuf)],
) -> Port {
    let thing = fs::canonicalize(entry.join("device")).unwrap_or_else(|_| entry.join("device"));
    let usb =
        thing.ancestors().take_while(|at| *at != root).find(|at| at.join("idVendor").exists());
    let real = fs::canonicalize(below(root, &node)).ok();
    let mine = names.iter().filter(|(_, to)| Some(to) == real.as_ref());
    let drivers = thing.ancestors().take_while(|at| *at != root);
    let driver =
        drivers.filter_map(|at| fs::read_link(at.join("driver")).ok()).find(|to| named(to));
    Port {
        kind,
        names: mine.map(|(name, _)| outside(root, name)).collect(),
        driver: driver.map(|to| base(&to)),
        latency_ms: text(&thing.join("latency_timer")).and_then(|ms| ms.parse().ok()),
        no_modem: no_modem(root, entry, &thing, usb),
        usb: usb.map(descriptors),
        node,
        holders: Vec::new(),
        access: Access::Absent,
    }
}

/// Newer kernels put a bus of their own between a UART and its driver: `port` says nothing.
fn named(driver: &Path) -> bool {
    !driver.components().any(|part| part.as_os_str() == "serial-base")
}

fn descriptors(usb: &Path) -> Usb {
    let of = |name: &str| text(&usb.join(name));
    Usb {
        vendor: of("idVendor").unwrap_or_default(),
        product: of("idProduct").unwrap_or_default(),
        serial: of("serial"),
        name: of("product"),
    }
}

/// Names that stay, with what they lead to.
fn names(root: &Path) -> Vec<(PathBuf, PathBuf)> {
    let all = NAMES.iter().flat_map(|folder| entries(&root.join(folder)));
    all.filter_map(|name| fs::canonicalize(&name).ok().map(|to| (name, to))).collect()
}

/// udev's own database says what the rules said of the port, its interface and the whole thing.
fn no_modem(root: &Path, entry: &Path, thing: &Path, usb: Option<&Path>) -> bool {
    let numbered = |at: &Path| text(&at.join("dev")).map(|number| format!("c{number}"));
    let interface = usb.and_then(|usb| thing.ancestors().find(|at| at.parent() == Some(usb)));
    let files =
        [numbered(entry), interface.map(|at| format!("+usb:{}", base(at))), usb.and_then(numbered)];
    let data = root.join("run/udev/data");
    files.into_iter().flatten().filter_map(|file| text(&data.join(file))).any(|text| {
        let said = |line: &str| {
            let (name, value) = line.strip_prefix("E:")?.split_once('=')?;
            Some(NO_MODEM.contains(&name) && value == "1")
        };
        text.lines().any(|line| said(line).unwrap_or(false))
    })
}
