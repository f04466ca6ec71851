//! A machine that is a tree of files.

use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};

use tempfile::TempDir;

use super::*;

const NOBODY: Me = Me { uid: 4_294_967_000, groups: Vec::new() };

struct Machine(TempDir);

impl Machine {
    fn new() -> Machine {
        Machine(tempfile::tempdir().unwrap())
    }

    fn at(&self, path: &str) -> PathBuf {
        self.0.path().join(path)
    }

    fn file(&self, path: &str, text: &str) {
        fs::create_dir_all(self.at(path).parent().unwrap()).unwrap();
        fs::write(self.at(path), text).unwrap();
    }

    fn link(&self, path: &str, to: &str) {
        fs::create_dir_all(self.at(path).parent().unwrap()).unwrap();
        symlink(to, self.at(path)).unwrap();
    }

    /// An adapter as the kernel's `usb-serial` shows it.
    fn adapter(&self, n: u32, serial: Option<&str>) {
        let usb = format!("sys/devices/pci0/usb1/1-{n}");
        let tty = format!("ttyUSB{n}");
        let port = format!("{usb}/1-{n}:1.0/{tty}");
        self.file(&format!("{usb}/idVendor"), "0403\n");
        self.file(&format!("{usb}/idProduct"), "6001\n");
        self.file(&format!("{usb}/product"), "Bench adapter\n");
        self.file(&format!("{usb}/dev"), &format!("189:{n}\n"));
        if let Some(serial) = serial {
            self.file(&format!("{usb}/serial"), serial);
        }
        self.file(&format!("{port}/latency_timer"), "16\n");
        self.link(&format!("{port}/driver"), "../../../../../../bus/usb-serial/drivers/ftdi_sio");
        self.file(&format!("{port}/tty/{tty}/dev"), &format!("188:{n}\n"));
        self.link(&format!("{port}/tty/{tty}/device"), &format!("../../../{tty}"));
        self.link(
            &format!("sys/class/tty/{tty}"),
            &format!("../../devices/pci0/usb1/1-{n}/1-{n}:1.0/{tty}/tty/{tty}"),
        );
        self.file(&format!("dev/{tty}"), "");
    }

    fn process(&self, pid: u32, name: &str, command: &str, open: &[&str]) {
        self.file(&format!("proc/{pid}/comm"), &format!("{name}\n"));
        self.file(&format!("proc/{pid}/cmdline"), &command.replace(' ', "\0"));
        fs::create_dir_all(self.at(&format!("proc/{pid}/fd"))).unwrap();
        for (n, file) in open.iter().enumerate() {
            self.link(&format!("proc/{pid}/fd/{n}"), file);
        }
    }

    fn ports(&self, me: &Me) -> Vec<Port> {
        survey(self.0.path(), me).ports
    }
}

#[test]
fn an_adapter_is_described_as_the_kernel_says() {
    let machine = Machine::new();
    machine.adapter(0, Some("0417\n"));
    machine.link("dev/serial/by-id/usb-bench_0417-if00-port0", "../../ttyUSB0");
    machine.link("dev/serial/by-path/pci-0000-usb-0:1:1.0-port0", "../../ttyUSB0");
    let [port] = &machine.ports(&NOBODY)[..] else { panic!() };
    assert_eq!((port.kind, port.node.as_path()), (Kind::Serial, Path::new("/dev/ttyUSB0")));
    assert_eq!(port.stable(), Path::new("/dev/serial/by-id/usb-bench_0417-if00-port0"));
    assert_eq!(port.names.len(), 2);
    assert_eq!(port.driver.as_deref(), Some("ftdi_sio"));
    assert_eq!(port.latency_ms, Some(16));
    let usb = Usb {
        vendor: "0403".into(),
        product: "6001".into(),
        serial: Some("0417".into()),
        name: Some("Bench adapter".into()),
    };
    assert_eq!(port.usb.as_ref(), Some(&usb));
}

/// Two adapters without serial numbers share one name by id, and the last one has it.
#[test]
fn an_adapter_without_a_serial_number_is_named_by_its_socket() {
    let machine = Machine::new();
    machine.adapter(3, None);
    machine.link("dev/serial/by-id/usb-bench-if00-port0", "../../ttyUSB3");
    machine.link("dev/serial/by-path/pci-0000-usb-0:3:1.0-port0", "../../ttyUSB3");
    let [port] = &machine.ports(&NOBODY)[..] else { panic!() };
    assert_eq!(port.stable(), Path::new("/dev/serial/by-path/pci-0000-usb-0:3:1.0-port0"));
}

#[test]
fn consoles_and_uarts_that_are_not_there_are_left_out() {
    let machine = Machine::new();
    for (n, kind) in [(0, "0"), (1, "4")] {
        let port = format!("sys/devices/platform/serial8250/tty/ttyS{n}");
        machine.file(&format!("{port}/type"), kind);
        machine.link(&format!("{port}/device"), "../../../serial8250");
        machine.link(
            &format!("sys/class/tty/ttyS{n}"),
            &format!("../../devices/platform/serial8250/tty/ttyS{n}"),
        );
        machine.file(&format!("dev/ttyS{n}"), "");
    }
    machine
        .link("sys/devices/platform/serial8250/driver", "../../../bus/platform/drivers/serial8250");
    machine.file("sys/class/tty/tty1/dev", "4:1");
    let [port] = &machine.ports(&NOBODY)[..] else { panic!() };
    assert_eq!(port.node, Path::new("/dev/ttyS1"));
    assert_eq!(port.driver.as_deref(), Some("serial8250"));
    assert_eq!((port.stable(), &port.usb), (Path::new("/dev/ttyS1"), &None));
}

#[test]
fn whoever_has_a_port_is_named_by_its_open_file_or_by_its_lock() {
    let machine = Machine::new();
    machine.adapter(0, Some("1"));
    machine.adapter(1, Some("2"));
    machine.process(812, "minicom", "minicom -D /dev/ttyUSB0", &["/dev/null", "/dev/ttyUSB0"]);
    machine.process(900, "logger", "logger\u{1b}[2J --port 1", &[]);
    fs::remove_dir_all(machine.at("proc/900/fd")).unwrap();
    let node = fs::metadata(machine.at("dev/ttyUSB1")).unwrap();
    let (major, minor) = (rustix::fs::major(node.dev()), rustix::fs::minor(node.dev()));
    let row = |n: u32, arrow: &str, pid: u32| {
        format!(
            "{n}: {arrow}FLOCK  ADVISORY  WRITE {pid} {major:02x}:{minor:02x}:{} 0 EOF\n",
            node.ino()
        )
    };
    machine.file("proc/locks", &(row(1, "", 900) + &row(1, "-> ", 901)));
    let ports = machine.ports(&NOBODY);
    let held =
        |n: usize| ports[n].holders.iter().map(|h| (h.pid, h.command.as_str())).collect::<Vec<_>>();
    assert_eq!(held(0), [(812, "minicom -D /dev/ttyUSB0")]);
    assert_eq!(held(1), [(900, "logger?[2J --port 1")]);
    assert!(survey(machine.0.path(), &NOBODY).hidden, "900 can't be looked into");
}

#[test]
fn a_missing_group_is_named() {
    let machine = Machine::new();
    machine.adapter(0, Some("1"));
    let node = machine.at("dev/ttyUSB0");
    let gid = fs::metadata(&node).unwrap().gid();
    machine.file("etc/group", &format!("tty:x:77777:\ndialout:x:{gid}:\n"));
    let access = |mode: u32, me: &Me| {
        fs::set_permissions(&node, fs::Permissions::from_mode(mode)).unwrap();
        machine.ports(me)[0].access.clone()
    };
    let member = Me { groups: vec![gid], ..NOBODY };
    assert_eq!(access(0o660, &NOBODY), Access::Group("dialout".into()));
    assert_eq!(access(0o660, &member), Access::Fine);
    assert_eq!(access(0o666, &NOBODY), Access::Fine);
    assert_eq!(access(0o600, &member), Access::Root);
    assert_eq!(access(0o600, &Me { uid: 0, groups: vec![] }), Access::Fine);
    fs::remove_file(&node).unwrap();
    assert_eq!(machine.ports(&member)[0].access, Access::Absent);
}

#[test]
fn a_modem_prober_is_seen_and_whether_udev_keeps_it_away() {
    let machine = Machine::new();
    for n in 0..4 {
        machine.adapter(n, Some("1"));
    }
    machine.file("run/udev/data/c188:0", "I:1\nE:ID_MM_PORT_IGNORE=1\n");
    machine.file("run/udev/data/+usb:1-1:1.0", "E:ID_MM_DEVICE_IGNORE=1\n");
    machine.file("run/udev/data/c189:2", "E:ID_MM_DEVICE_IGNORE=1\n");
    machine.file("run/udev/data/c188:3", "E:ID_MM_DEVICE_IGNORE=0\nS:ID_MM_DEVICE_IGNORE=1\n");
    assert_eq!(survey(machine.0.path(), &NOBODY).prober, None);
    machine.process(501, "ModemManager", "/usr/sbin/ModemManager", &[]);
    let survey = survey(machine.0.path(), &NOBODY);
    let prober = Holder { pid: 501, command: "/usr/sbin/ModemManager".into() };
    assert_eq!(survey.prober, Some(prober));
    let kept: Vec<bool> = survey.ports.iter().map(|port| port.no_modem).collect();
    assert_eq!(kept, [true, true, true, false]);
}

#[test]
fn usb_instruments_and_keyboards_that_may_be_scanners_are_found() {
    let machine = Machine::new();
    machine.file("sys/class/usbmisc/usbtmc0/dev", "180:0");
    machine.file("sys/class/usbmisc/hiddev0/dev", "180:1");
    let keyboard = "1000000000007 ff9f207ac14057ff febeffdfffefffff fffffffffffffffe";
    let inputs = [
        ("0", "USB Barcode Scanner", "0003", keyboard),
        ("1", "Keyboard", "0003", keyboard),
        ("2", "AT keyboard", "0011", keyboard),
        ("3", "Power Button", "0019", "10000000000000 0"),
    ];
    for (n, name, bus, keys) in inputs {
        let input = format!("sys/class/input/event{n}/device");
        machine.file(&format!("{input}/name"), name);
        machine.file(&format!("{input}/id/bustype"), bus);
        machine.file(&format!("{input}/capabilities/key"), keys);
    }
    let ports = machine.ports(&NOBODY);
    let found: Vec<_> = ports.iter().map(|p| (p.kind, p.node.to_str().unwrap())).collect();
    let want = [
        (Kind::UsbTmc, "/dev/usbtmc0"),
        (Kind::Wedge { named: false }, "/dev/input/event1"),
        (Kind::Wedge { named: true }, "/dev/input/event0"),
    ];
    assert_eq!(found, want);
}

#[test]
fn a_link_is_found_by_any_name_of_its_port_and_what_is_away_is_told() {
    let machine = Machine::new();
    machine.adapter(0, Some("1"));
    machine.link("dev/serial/by-id/usb-0001-if00-port0", "../../ttyUSB0");
    let text = include_str!("../../contrib/example/tapline.toml");
    let config = crate::config::Config::read(text, &|_| crate::config::Choice::BuiltIn).unwrap();
    let node = Path::new("/dev/ttyUSB0");
    let found = wired(machine.0.path(), node, &config, None).unwrap();
    assert_eq!((found.link.as_str(), found.bench.as_str()), ("ohm", "b1"));
    assert_eq!((found.layout, found.asks, found.class), (Some("confirmed"), false, None));
    let away = away(machine.0.path(), &[node], &config, None);
    let places: Vec<&str> = away.iter().map(|(place, _)| place.as_str()).collect();
    assert_eq!(places[0], "192.0.2.7:5025");
    assert_eq!(places.len(), 3, "{places:?}");
    assert_eq!(wired(machine.0.path(), Path::new("/dev/ttyUSB9"), &config, None), None);
}

/// The machine that runs this test: whatever it has, looking opens nothing and panics at nothing.
#[test]
fn this_machine_can_be_looked_at() {
    let survey = survey(Path::new("/"), &Me::now());
    assert!(survey.ports.len() <= PORTS_MAX);
}
