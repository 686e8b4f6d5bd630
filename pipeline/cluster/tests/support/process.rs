//! Processes of the binary that are stopped when they go out of scope, and what they say.

use std::io::{BufRead, BufReader, Read};
use std::net::TcpListener;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Condvar, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Longest that anything is waited for.
const PATIENCE: Duration = Duration::from_secs(120);

type Lines = Arc<(Mutex<Vec<String>>, Condvar)>;

/// A running process, with every line that it said on either stream.
pub struct Process {
    child: Child,
    lines: Lines,
    readers: Vec<JoinHandle<()>>,
}

impl Process {
    /// Starts `evenstand-cluster` with these arguments.
    pub fn start(arguments: &[&str]) -> Self {
        Self::start_with(arguments, &[])
    }

    /// Starts it with variables of the environment.
    pub fn start_with(arguments: &[&str], environment: &[(&str, &str)]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_evenstand-cluster"))
            .args(arguments)
            .envs(environment.iter().copied())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let lines = Lines::default();
        let readers = vec![
            reader(child.stdout.take().unwrap(), lines.clone()),
            reader(child.stderr.take().unwrap(), lines.clone()),
        ];
        Self { child, lines, readers }
    }

    /// Waits until what was said so far fulfils a condition.
    pub fn wait_until<T>(&self, what: &str, fulfilled: impl Fn(&[String]) -> Option<T>) -> T {
        let end = Instant::now() + PATIENCE;
        let mut lines = self.lines.0.lock().unwrap();
        loop {
            if let Some(found) = fulfilled(&lines) {
                return found;
            }
            let left = end.saturating_duration_since(Instant::now());
            assert!(!left.is_zero(), "waited in vain until {what}; it said:\n{}", lines.join("\n"));
            lines = self.lines.1.wait_timeout(lines, left).unwrap().0;
        }
    }

    /// Kills it as a power cut would, and gives all that it had said.
    pub fn kill(mut self) -> Vec<String> {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        self.all_said()
    }

    /// Waits for its end: whether it went well, and all that it said.
    pub fn finish(mut self) -> (bool, Vec<String>) {
        let end = Instant::now() + PATIENCE;
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return (status.success(), self.all_said());
            }
            assert!(Instant::now() < end, "it does not end; it said:\n{}", self.lines.0.lock().unwrap().join("\n"));
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Whether it is still at work.
    pub fn runs(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    /// What it said so far.
    pub fn said(&self) -> Vec<String> {
        self.lines.0.lock().unwrap().clone()
    }

    fn all_said(&mut self) -> Vec<String> {
        self.readers.drain(..).for_each(|reader| reader.join().unwrap());
        self.said()
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn reader(stream: impl Read + Send + 'static, lines: Lines) -> JoinHandle<()> {
    std::thread::spawn(move || {
        for line in BufReader::new(stream).lines().map_while(Result::ok) {
            lines.0.lock().unwrap().push(line);
            lines.1.notify_all();
        }
    })
}

/// A scheduler on a free port, and its address.
pub fn scheduler(timeout_s: u64, environment: &[(&str, &str)]) -> (Process, String) {
    let timeout_s = timeout_s.to_string();
    let arguments = ["scheduler", "--bind", "127.0.0.1:0", "--executor-timeout", &timeout_s];
    let process = Process::start_with(&arguments, environment);
    let url = process.wait_until("the scheduler listens", |lines| {
        lines.iter().find_map(|line| line.strip_prefix("scheduler at ").map(str::to_owned))
    });
    (process, url)
}

/// An executor of one core that has joined a scheduler.
pub fn executor(scheduler: &str, work_dir: &Path, slow_reads_ms: u64, environment: &[(&str, &str)]) -> Process {
    let [port, order_port] = free_ports().map(|port| port.to_string());
    let slow_reads_ms = slow_reads_ms.to_string();
    let arguments = [
        "--log",
        "executor",
        "--scheduler",
        scheduler,
        "--port",
        &port,
        "--order-port",
        &order_port,
        "--cores",
        "1",
        "--memory",
        "256",
        "--heartbeat",
        "1",
        "--slow-reads",
        &slow_reads_ms,
        "--work-dir",
        work_dir.to_str().unwrap(),
    ];
    let process = Process::start_with(&arguments, environment);
    process.wait_until("the executor has joined", |lines| {
        lines.iter().any(|line| line.contains("Executor registration succeed")).then_some(())
    });
    process
}

/// Two ports that were free a moment ago.
fn free_ports() -> [u16; 2] {
    let listeners = [0, 1].map(|_| TcpListener::bind("127.0.0.1:0").unwrap());
    listeners.map(|listener| listener.local_addr().unwrap().port())
}

/// Tasks that an executor began, and those that it finished, by what it said.
pub fn tasks(lines: &[String]) -> (usize, usize) {
    let of = |word: &str| lines.iter().filter(|line| line.contains(word)).count();
    (of("Execute task "), of("Finished task "))
}
