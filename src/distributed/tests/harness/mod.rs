//! A cluster of real processes on this machine, a pipeline to run on it, and what it leaves behind.

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU16, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// No wait in a test is longer. So long it only is where many others use the machine.
const LONGEST: Duration = Duration::from_secs(600);

/// The program under test.
fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_buswitness-cluster"));
    command.env("NO_COLOR", "1").env("COLUMNS", "80").stdin(Stdio::null());
    command
}

/// A process that ends with the test; what it says on standard error is kept.
pub(crate) struct Running {
    child: Child,
    said: Arc<Mutex<String>>,
}

impl Running {
    fn start(mut command: Command) -> Running {
        let mut child = command
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let said = Arc::new(Mutex::new(String::new()));
        let (stderr, to) = (child.stderr.take().expect("standard error"), Arc::clone(&said));
        std::thread::spawn(move || {
            for line in BufReader::new(stderr).lines().map_while(Result::ok) {
                let mut text = to.lock().expect("text");
                text.push_str(&line);
                text.push('\n');
            }
        });
        Running { child, said }
    }

    /// All that it has said.
    pub(crate) fn said(&self) -> String {
        self.said.lock().expect("text").clone()
    }

    /// How many logs it has read.
    pub(crate) fn logs_read(&self) -> usize {
        self.said().lines().filter(|line| line.contains(": read ")).count()
    }

    /// Of how many logs it has counted the facts.
    pub(crate) fn logs_counted(&self) -> usize {
        let said = self.said();
        let many = said.lines().filter_map(|line| {
            let (_, many) = line.split_once(": counted the facts of ")?;
            many.strip_suffix(" logs")?.parse::<usize>().ok()
        });
        many.sum()
    }

    /// How many vehicles it has weighed.
    pub(crate) fn vehicles_weighed(&self) -> usize {
        let said = self.said();
        let many = said.lines().filter_map(|line| {
            let (_, many) = line.split_once(": weighed ")?;
            many.strip_suffix(" vehicles")?.parse::<usize>().ok()
        });
        many.sum()
    }

    /// The most memory it has had so far, in kB; 0 when it has ended.
    pub(crate) fn peak_memory(&self) -> u64 {
        let path = format!("/proc/{}/status", self.child.id());
        let text = fs::read_to_string(path).unwrap_or_default();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        line.and_then(|line| line.split_whitespace().next()?.parse().ok()).unwrap_or(0)
    }

    /// Seconds of processor time it has had so far; 0 when it has ended.
    pub(crate) fn processor_time(&self) -> f64 {
        processor_time(&self.child.id().to_string(), 14)
    }

    /// Whether it has ended.
    pub(crate) fn has_ended(&mut self) -> bool {
        self.child.try_wait().expect("a status").is_some()
    }

    /// `kill -9`.
    pub(crate) fn kill(&mut self) {
        self.child.kill().expect("it can be killed");
        self.child.wait().expect("it ends");
    }

    /// Sends a signal: `STOP`, `CONT`.
    pub(crate) fn signal(&self, name: &str) {
        let id = self.child.id().to_string();
        let done = Command::new("kill").args(["-s", name, &id]).status().expect("kill");
        assert!(done.success(), "kill -s {name} {id}");
    }

    /// Waits for its end; whether it ended well.
    pub(crate) fn ended_well(&mut self) -> bool {
        let mut status = None;
        until("the run to end", || {
            status = self.child.try_wait().expect("a status");
            status.is_some()
        });
        status.expect("a status").success()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Seconds of processor time of all processes that were started here and have ended.
pub(crate) fn processor_time_of_ended() -> f64 {
    processor_time("self", 16)
}

/// Two neighbouring fields of `/proc/…/stat`, in ticks of 10 ms.
fn processor_time(process: &str, field: usize) -> f64 {
    let text = fs::read_to_string(format!("/proc/{process}/stat")).unwrap_or_default();
    // The name in brackets may hold spaces; what follows it begins with field 3.
    let after = text.rsplit_once(')').map_or("", |(_, after)| after);
    let ticks = after.split_whitespace().skip(field - 3).take(2);
    ticks.filter_map(|ticks| ticks.parse::<f64>().ok()).sum::<f64>() / 100.0
}

/// Waits until something is so.
pub(crate) fn until(what: &str, mut is_so: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is_so() {
        assert!(begun.elapsed() < LONGEST, "waited {LONGEST:?} for {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Does something while processes stand still so many milliseconds after each 30 in which they work; afterwards
/// they stand still.
pub(crate) fn slowly<T>(which: &[&Running], still: u64, what: impl FnOnce() -> T) -> T {
    /// Ends the slowness, also when the test fails.
    struct End<'a>(&'a AtomicBool);
    impl Drop for End<'_> {
        fn drop(&mut self) {
            self.0.store(true, Ordering::SeqCst);
        }
    }
    let signal = |name: &str| which.iter().for_each(|one| one.signal(name));
    let ended = AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            loop {
                signal("STOP");
                std::thread::sleep(Duration::from_millis(still));
                if ended.load(Ordering::SeqCst) {
                    break;
                }
                signal("CONT");
                std::thread::sleep(Duration::from_millis(30));
            }
        });
        let _end = End(&ended);
        what()
    })
}

/// A port that nobody has, and nobody gets from here again: below those that the system gives to whoever asks
/// for any, so that no connection takes it before it is used.
pub(crate) fn free_port() -> u16 {
    static NEXT: AtomicU16 = AtomicU16::new(0);
    let id = std::process::id();
    loop {
        let step = u32::from(NEXT.fetch_add(1, Ordering::SeqCst));
        let port = u16::try_from(20_000 + (id * 100 + step) % 10_000).expect("a port");
        if TcpListener::bind(("127.0.0.1", port)).is_ok() {
            return port;
        }
    }
}

/// A scheduler and the folder in which a pipeline and its executors' folders lie.
pub(crate) struct Cluster {
    pub(crate) folder: TempDir,
    pub(crate) port: u16,
    pub(crate) scheduler: Running,
    /// Of each run on the cluster.
    pub(crate) client_environment: Vec<(String, String)>,
}

impl Cluster {
    /// With so much patience, in seconds, for executors that give no word.
    pub(crate) fn new(patience: u32) -> Cluster {
        let folder = tempfile::tempdir().expect("a folder");
        let port = free_port();
        let scheduler = scheduler(port, patience);
        Cluster { folder, port, scheduler, client_environment: Vec::new() }
    }

    /// A path in the cluster's folder.
    pub(crate) fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// An executor that reads all of the cluster's folder.
    pub(crate) fn executor(&self, cores: u32) -> Running {
        self.executor_in(self.folder.path(), self.folder.path(), cores)
    }

    /// An executor that reads below `logs` and runs in `home`.
    pub(crate) fn executor_in(&self, logs: &Path, home: &Path, cores: u32) -> Running {
        let mut command = self.executor_command(cores);
        command.current_dir(home).arg("--logs").arg(logs);
        Running::start(command)
    }

    /// An executor of one core with these arguments and this environment, in the cluster's folder.
    pub(crate) fn executor_with(&self, more: &[&str], environment: &[(String, String)]) -> Running {
        let mut command = self.executor_command(1);
        command.current_dir(self.folder.path()).args(more).envs(environment.iter().cloned());
        Running::start(command)
    }

    fn executor_command(&self, cores: u32) -> Command {
        let mut command = program();
        command
            .args(["executor", "--cores", &cores.to_string(), "--port", &free_port().to_string()])
            .args(["--patience", "6", "--on", &self.address(), "--work"])
            .arg(self.at("work"));
        command
    }

    pub(crate) fn address(&self) -> String {
        format!("df://127.0.0.1:{}", self.port)
    }

    /// Starts a run on the cluster.
    pub(crate) fn begin(&self, more: &[&str]) -> Running {
        let mut command = program();
        command.current_dir(self.folder.path()).args(["run", "pipeline.toml"]);
        command.args(["--on", &self.address()]).args(more);
        command.envs(self.client_environment.iter().cloned());
        Running::start(command)
    }

    /// Runs on the cluster to the end.
    pub(crate) fn run(&self, more: &[&str]) -> Running {
        let mut run = self.begin(more);
        let well = run.ended_well();
        assert!(well, "the run failed: {}\nscheduler: {}", run.said(), self.scheduler.said());
        run
    }

    /// Runs on this machine alone.
    pub(crate) fn run_here(&self) -> Output {
        let mut command = program();
        let output = command
            .current_dir(self.folder.path())
            .args(["run", "pipeline.toml"])
            .output()
            .expect("the program runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        output
    }

    /// What a run here leaves; the output folder is gone afterwards.
    pub(crate) fn expected(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        self.run_here();
        let left = self.left();
        self.forget();
        left
    }

    /// Every file of the output folder, facts among them.
    pub(crate) fn left(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let files = files_below(&self.at("out"));
        assert!(!files.is_empty(), "nothing was written");
        files
    }

    /// Bytes of all files below a folder of the cluster's.
    pub(crate) fn bytes_below(&self, folder: &str) -> u64 {
        let files = files_below(&self.at(folder));
        files.values().map(|bytes| bytes.len() as u64).sum()
    }

    /// The output folder as if there had been no run.
    pub(crate) fn forget(&self) {
        fs::remove_dir_all(self.at("out")).expect("removed");
    }

    /// Insists that the last run left what it should.
    pub(crate) fn same_as(&self, expected: &BTreeMap<PathBuf, Vec<u8>>) {
        // Whether a file is so young that it must be opened again depends on the clock.
        let clock = |name: &&PathBuf| !name.ends_with("known-files.txt");
        let left = self.left();
        let names = |files: &BTreeMap<PathBuf, Vec<u8>>| -> Vec<PathBuf> {
            files.keys().filter(clock).cloned().collect()
        };
        assert_eq!(names(&left), names(expected), "other files");
        for (name, bytes) in expected.iter().filter(|(name, _)| clock(name)) {
            assert!(&left[name] == bytes, "{} has other bytes", name.display());
        }
    }
}

/// Starts the program in a folder.
pub(crate) fn started(words: &[&str], home: &Path) -> Running {
    let mut command = program();
    command.current_dir(home).args(words);
    Running::start(command)
}

/// Starts a scheduler.
pub(crate) fn scheduler(port: u16, patience: u32) -> Running {
    let (bind, patience) = (format!("127.0.0.1:{port}"), patience.to_string());
    let running = started(&["scheduler", "--bind", &bind, "--patience", &patience], Path::new("."));
    until("the scheduler to listen", || std::net::TcpStream::connect(("127.0.0.1", port)).is_ok());
    running
}

/// All files below a folder, by their names in it.
pub(crate) fn files_below(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    collect(folder, Path::new(""), &mut files);
    files
}

fn collect(folder: &Path, below: &Path, files: &mut BTreeMap<PathBuf, Vec<u8>>) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let (path, name) = (entry.path(), below.join(entry.file_name()));
        if path.is_dir() {
            collect(&path, &name, files);
        } else {
            files.insert(name, fs::read(path).expect("a file"));
        }
    }
}

/// The sample pipeline of a fleet, with the logs of its first vehicles (it has 24), in the cluster's folder; how
/// many logs that are.
pub(crate) fn sample_fleet(cluster: &Cluster, vehicles: usize) -> usize {
    let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let text = fs::read_to_string(project.join("pipelines/weekly.toml")).expect("the pipeline");
    let text = text.replace("../sample-logs/", "sample-logs/").replace("../reports/weekly", "out");
    fs::write(cluster.at("pipeline.toml"), text).expect("written");
    let mut files = files_below(&project.join("sample-logs"));
    let left_out: Vec<String> = (vehicles + 1..=24).map(|n| format!("bus/LH-{n:02}")).collect();
    files.retain(|name, _| !left_out.iter().any(|folder| name.starts_with(folder)));
    for (name, bytes) in &files {
        let path = cluster.at("sample-logs").join(name);
        fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        fs::write(path, bytes).expect("written");
    }
    files.keys().filter(|name| name.starts_with("bus")).count()
}

/// A pipeline over `logs` vehicles with a log of `frames` frames each, one bad line in the first.
pub(crate) fn large_logs(cluster: &Cluster, logs: usize, frames: u64) {
    let load = cluster.at("load.log");
    let mut command = program();
    command.args(["rehearse", "--load", &frames.to_string(), "--seed", "7", "--out"]).arg(&load);
    assert!(command.output().expect("the program runs").status.success());
    for number in 0..logs {
        let folder = cluster.at(&format!("logs/V{number:02}"));
        fs::create_dir_all(&folder).expect("a folder");
        // One file with many names: many logs to read, one to store.
        fs::hard_link(&load, folder.join("a.log")).expect("a link");
    }
    let bad = cluster.at("logs/V00/a.log");
    fs::remove_file(&bad).expect("removed");
    let mut text = fs::read(&load).expect("a log");
    text.extend(b"this is no frame\n");
    fs::write(bad, text).expect("written");
    let pipeline = "title = \"load\"\nview = \"fleet\"\n[inputs]\nbus_logs = [\"logs/{vehicle}/*.log\"]\n\
                    [output]\nfolder = \"out\"\nformats = [\"json\", \"csv\", \"parquet\"]\n";
    fs::write(cluster.at("pipeline.toml"), pipeline).expect("written");
}
