//! A station in a folder of its own: the real program, its socket, its books.

use std::fs::{self, File};
use std::os::unix::fs::chown;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;
use tempfile::TempDir;

use super::port::Port;
use super::{http, wait};

/// The program under test.
pub(crate) const TAPLINE: &str = env!("CARGO_BIN_EXE_tapline");

/// The registers of these tests, in the order in which they are imported.
const REGISTERS: [(&str, &str); 4] = [
    ("operator", "operators.toml"),
    ("instrument", "instruments.toml"),
    ("fixture", "fixtures.toml"),
    ("asset", "assets.csv"),
];

/// Calls that `strace` writes down.
const CALLS: &str = "trace=read,write,writev,pwrite64,fdatasync,fsync,sendto,sendmsg";

/// Calls that tell a serial port something.
const PORTS: &str =
    "trace=open,openat,read,write,writev,pwrite64,pwritev,sendto,sendmsg,sendfile,splice,ioctl";

/// Calls that change a disk or tell somebody something; the kernel stops the station at no others.
const RECORDED: &str = concat!(
    "trace=open,openat,creat,write,writev,pwrite64,pwritev,pwritev2,fdatasync,fsync,",
    "sync_file_range,rename,renameat,renameat2,link,linkat,symlink,symlinkat,unlink,unlinkat,",
    "mkdir,mkdirat,rmdir,truncate,ftruncate,fallocate,copy_file_range,sendfile,splice,mmap,",
    "io_uring_enter,sendto,sendmsg",
);

/// What a command wrote, and how it ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Output {
    /// Data.
    pub(crate) stdout: String,
    /// Talk.
    pub(crate) stderr: String,
    /// Exit code.
    pub(crate) code: i32,
}

impl Output {
    /// Runs a command to its end.
    pub(crate) fn of(command: &mut Command) -> Output {
        let done = command.stdin(Stdio::null()).output().unwrap();
        Output {
            stdout: String::from_utf8(done.stdout).unwrap(),
            stderr: String::from_utf8(done.stderr).unwrap(),
            code: done.status.code().unwrap_or(-1),
        }
    }
}

/// A station that is being wired.
#[derive(Debug)]
pub(crate) struct Builder {
    folder: TempDir,
    links: String,
    calls: Option<&'static str>,
    env: Vec<(String, String)>,
    user: Option<u32>,
    stdin: Option<PathBuf>,
    page: bool,
}

impl Builder {
    /// An empty folder, a bench without links.
    pub(crate) fn new() -> Builder {
        let folder = tempfile::Builder::new().prefix("tapline-").tempdir().unwrap();
        let (links, calls, env, user, stdin) = (String::new(), None, Vec::new(), None, None);
        Builder { folder, links, calls, env, user, stdin, page: false }
    }

    /// The folder; everything of the test may lie there.
    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Plugs a link into a pty of the name `tty<id>`.
    pub(crate) fn pty(&mut self, id: &str, driver: &str, instrument: Option<&str>) -> Port {
        let path = self.folder().join(format!("tty{id}"));
        self.serial(id, &path, driver, instrument);
        Port::plug(&path)
    }

    /// A link to a serial port that somebody else plugs in.
    pub(crate) fn serial(&mut self, id: &str, path: &Path, driver: &str, meter: Option<&str>) {
        let line = "line = { baud = 9600, bits = \"8N1\", dtr = true, rts = false }";
        let place = format!("serial = \"{}\"\n{line}", path.display());
        self.link(id, &place, driver, meter);
    }

    /// A link to a TCP address.
    pub(crate) fn tcp(&mut self, id: &str, address: &str, driver: &str, meter: Option<&str>) {
        self.link(id, &format!("tcp = \"{address}\""), driver, meter);
    }

    /// A link to standard input; what is written comes from there.
    pub(crate) fn stdin(&mut self, id: &str, driver: &str, meter: Option<&str>) -> File {
        let path = self.folder().join("stdin");
        let made = Command::new("mkfifo").arg(&path).status().unwrap();
        assert!(made.success(), "mkfifo of coreutils");
        self.link(id, "stdin = true", driver, meter);
        let writer = File::options().read(true).write(true).open(&path).unwrap();
        self.stdin = Some(path);
        writer
    }

    fn link(&mut self, id: &str, place: &str, driver: &str, meter: Option<&str>) {
        let meter = meter.map_or_else(String::new, |m| format!("instrument = \"{m}\"\n"));
        self.links += &format!(
            "[[link]]\nid = \"{id}\"\nbench = \"b1\"\n{place}\ndriver = \"{driver}\"\n{meter}"
        );
    }

    /// Puts an instrument without a line at the bench.
    pub(crate) fn typed(mut self, label: &str) -> Builder {
        self.links = format!("typed = [\"{label}\"]\n{}", self.links);
        self
    }

    /// Sets a variable of the station's environment.
    pub(crate) fn env(&mut self, name: &str, value: &str) {
        self.env.push((name.to_owned(), value.to_owned()));
    }

    /// Opens the page, at any port.
    pub(crate) fn page(mut self) -> Builder {
        self.page = true;
        self
    }

    /// A line of its policy, such as `review = "all"`.
    pub(crate) fn policy(mut self, line: &str) -> Builder {
        self.links += &format!("[policy]\n{line}\n");
        self
    }

    /// Runs the station under `strace`; [`Station::trace`] has what it wrote down.
    pub(crate) fn traced(self) -> Builder {
        self.under(CALLS)
    }

    /// The same, for everything that a serial port could notice.
    pub(crate) fn listened(self) -> Builder {
        self.under(PORTS)
    }

    /// The same, for everything that changes a disk, with all its bytes.
    pub(crate) fn recorded(self) -> Builder {
        self.under(RECORDED)
    }

    fn under(mut self, calls: &'static str) -> Builder {
        let strace = Command::new("strace").arg("-V").stdout(Stdio::null()).status();
        assert!(
            strace.is_ok_and(|status| status.success()),
            "this test needs strace: apt-get install strace"
        );
        self.calls = Some(calls);
        self
    }

    /// Runs the station as another user, who owns the folder; as root alone.
    pub(crate) fn user(mut self, user: u32) -> Builder {
        let folder = self.folder();
        // The program may lie where only root can read.
        fs::copy(TAPLINE, folder.join("tapline")).unwrap();
        fs::create_dir(folder.join("data")).unwrap();
        for path in [folder.to_owned(), folder.join("tapline"), folder.join("data")] {
            chown(path, Some(user), Some(user)).unwrap();
        }
        self.user = Some(user);
        self
    }

    /// Starts it, imports the registers, logs the operator in.
    pub(crate) fn start(self) -> Station {
        let folder = self.folder.path();
        let config = format!(
            "format = \"tapline-config-1\"\n\
             [station]\nid = \"T1\"\nname = \"Test\"\nzone = \"Etc/UTC\"\n\
             [store]\nfolder = \"{}\"\nreserve_mb = 1\n\
             [page]\nlisten = \"off\"\n\
             [[bench]]\nid = \"b1\"\nname = \"Bench 1\"\nfixtures = [\"SB-1\", \"NW-1\", \"FO-1\"]\n\
             {}",
            folder.join("data").display(),
            self.links
        );
        fs::write(folder.join("tapline.toml"), config).unwrap();
        let Builder { folder, calls, env, user, stdin, page, .. } = self;
        let (child, under_strace) = (None, false);
        let mut station = Station { child, folder, calls, under_strace, env, user, stdin, page };
        station.restart();
        let register = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/support/register");
        for (what, file) in REGISTERS {
            let file = register.join(file);
            station.done(&[what, "import", file.to_str().unwrap()]);
        }
        station.done(&["operator", "login", "OP-0007"]);
        station
    }
}

/// A station; dropping it ends it and takes its folder away.
#[derive(Debug)]
pub(crate) struct Station {
    child: Option<Child>,
    folder: TempDir,
    calls: Option<&'static str>,
    /// What runs now is a child of `strace` or `unshare`.
    under_strace: bool,
    env: Vec<(String, String)>,
    user: Option<u32>,
    stdin: Option<PathBuf>,
    page: bool,
}

impl Station {
    /// Its folder.
    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Its data folder.
    pub(crate) fn data(&self) -> PathBuf {
        self.folder().join("data")
    }

    /// Its configuration.
    pub(crate) fn config(&self) -> PathBuf {
        self.folder().join("tapline.toml")
    }

    /// Its socket.
    pub(crate) fn socket(&self) -> PathBuf {
        self.folder().join("tapline.sock")
    }

    /// What `strace` wrote down so far.
    pub(crate) fn trace(&self) -> String {
        String::from_utf8_lossy(&fs::read(self.folder().join("trace")).unwrap()).into_owned()
    }

    /// Starts the program and waits until it answers.
    pub(crate) fn restart(&mut self) {
        let mut command = match (self.calls, self.user) {
            (Some(calls), _) => {
                let mut command = Command::new("strace");
                command.args(["-f", "--seccomp-bpf", "-y", "-s", "2000000", "-e", calls, "-o"]);
                command.arg(self.folder().join("trace")).arg(TAPLINE);
                command
            }
            (None, None) => Command::new(TAPLINE),
            (None, Some(user)) => {
                // `setpriv` of util-linux becomes the program: same process.
                let mut command = Command::new("setpriv");
                command.args([format!("--reuid={user}"), format!("--regid={user}")]);
                command.arg("--clear-groups").arg(self.folder().join("tapline"));
                command
            }
        };
        self.launch(&mut command, self.calls.is_some());
        assert!(self.comes_up(), "the station ended\n{}", self.log());
    }

    /// Starts it so that it is killed when one of its threads begins the n-th of these calls.
    /// True: it answers; false: it did not come so far.
    pub(crate) fn restart_mortal(&mut self, calls: &str, n: u32) -> bool {
        let mut command = Command::new("strace");
        let inject = format!("inject={calls}:signal=KILL:when={n}");
        command.args(["-f", "-o", "/dev/null", "-e", &format!("trace={calls}"), "-e", &inject]);
        self.launch(command.arg(TAPLINE), true);
        self.comes_up()
    }

    /// Starts it where the boot-time clock is so many seconds ahead, under the same boot: a time
    /// namespace (time_namespaces(7)) by `unshare` of util-linux; as root alone.
    pub(crate) fn restart_ahead(&mut self, seconds: u64) {
        let mut command = Command::new("unshare");
        command.args(["--time", "--boottime", &seconds.to_string(), "--fork", "--kill-child"]);
        self.launch(command.arg(TAPLINE), true);
        assert!(self.comes_up(), "the station ended\n{}", self.log());
    }

    fn launch(&mut self, command: &mut Command, stopped: bool) {
        assert!(self.child.is_none(), "it runs already");
        let talk = File::options().create(true).append(true).open(self.folder().join("log"));
        let talk = talk.unwrap();
        command.args(["serve", "--config"]).arg(self.config());
        command.args(self.page.then_some("--page"));
        command.env("TAPLINE_SOCKET", self.socket()).env("RUST_LOG", "info");
        command.envs(self.env.iter().map(|(name, value)| (name, value)));
        let pipe = self.stdin.as_ref().map(|path| Stdio::from(File::open(path).unwrap()));
        command
            .stdin(pipe.unwrap_or_else(Stdio::null))
            .stdout(talk.try_clone().unwrap())
            .stderr(talk);
        self.child = Some(command.spawn().unwrap());
        self.under_strace = stopped;
    }

    /// Waits until it answers, or ends.
    fn comes_up(&mut self) -> bool {
        wait::until("the station answers", || {
            if self.has_ended() {
                return Some(false);
            }
            let (_, text) = http::ask(&self.socket(), "GET", "/v1/status", "").ok()?;
            let status: Value = serde_json::from_str(&text).ok()?;
            let up = status["halted"].is_null() && status["seq"].as_u64() > Some(0);
            up.then_some(true)
        })
    }

    /// It is gone.
    pub(crate) fn has_ended(&mut self) -> bool {
        let ended = self.child.as_mut().is_none_or(|child| child.try_wait().unwrap().is_some());
        if ended {
            self.child = None;
        }
        ended
    }

    /// What it said of itself, for a person who looks for a fault.
    pub(crate) fn log(&self) -> String {
        fs::read_to_string(self.folder().join("log")).unwrap_or_default()
    }

    /// The process of the program itself, also under `strace` or `unshare`.
    pub(crate) fn pid(&self) -> Pid {
        let child = self.child.as_ref().expect("it runs").id();
        let own = match self.under_strace {
            true => {
                let path = format!("/proc/{child}/task/{child}/children");
                let list = fs::read_to_string(path).unwrap();
                list.split_whitespace().next().and_then(|pid| pid.parse().ok()).unwrap()
            }
            false => i32::try_from(child).unwrap(),
        };
        Pid::from_raw(own).unwrap()
    }

    /// Ends it without warning.
    pub(crate) fn kill9(&mut self) {
        kill_process(self.pid(), Signal::KILL).unwrap();
        self.child.take().expect("it runs").wait().unwrap();
    }

    /// Ends it in order.
    pub(crate) fn stop(&mut self) {
        kill_process(self.pid(), Signal::TERM).unwrap();
        let ended = self.child.take().expect("it runs").wait().unwrap();
        assert!(ended.success(), "{ended}\n{}", self.log());
    }

    /// Runs a command of the program against this station.
    pub(crate) fn run(&self, args: &[&str]) -> Output {
        Output::of(Command::new(TAPLINE).args(args).env("TAPLINE_SOCKET", self.socket()))
    }

    /// Runs a command that must succeed; its data.
    #[track_caller]
    pub(crate) fn done(&self, args: &[&str]) -> String {
        let output = self.run(args);
        assert_eq!(output.code, 0, "{args:?}: {output:?}");
        output.stdout
    }

    /// A resource of its interface.
    #[track_caller]
    pub(crate) fn get(&self, path: &str) -> Value {
        let (status, text) = http::ask(&self.socket(), "GET", path, "").unwrap();
        assert_eq!(status, 200, "{path}: {text}");
        serde_json::from_str(&text).unwrap()
    }

    /// The only bench.
    pub(crate) fn bench(&self) -> Value {
        self.get("/v1/status")["benches"][0].take()
    }

    /// What the operator should do now; `null` where nothing is open.
    pub(crate) fn prompt(&self) -> Value {
        self.bench()["inspection"]["prompt"].take()
    }

    /// A link of the bench.
    pub(crate) fn link(&self, id: &str) -> Value {
        let mut bench = self.bench();
        let links = bench["links"].as_array_mut().unwrap();
        links.iter_mut().find(|link| link["id"] == id).map(Value::take).unwrap()
    }
}

impl Drop for Station {
    #[allow(clippy::print_stderr, reason = "a failing test shows what the station said")]
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("--- the station's own log\n{}---", self.log());
        }
        if self.child.is_some() {
            self.kill9();
        }
    }
}
