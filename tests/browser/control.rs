//! A headless browser, spoken to by its own debugging protocol over two pipes: no driver, no socket.
//!
//! Messages are JSON texts that end with a zero byte. The browser reads them from file descriptor 3 and
//! writes them to 4; a shell moves its input and output there.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;

/// The longest wait for one answer: a page of a megabyte printed on a slow machine.
const PATIENCE: Duration = Duration::from_secs(90);

/// A running browser with one open page. Ends when dropped.
pub(crate) struct Browser {
    child: Child,
    to: ChildStdin,
    messages: Receiver<Value>,
    next: u64,
    session: Option<String>,
    /// What the page's browser told since it was last asked: console, requests, violations.
    pub(crate) events: Vec<Value>,
    _profile: TempDir,
}

impl Browser {
    /// Starts the browser and opens an empty page.
    pub(crate) fn start(program: &Path) -> Browser {
        let profile = tempfile::tempdir().expect("a folder for the browser's profile");
        let mut child = Command::new("sh")
            .args(["-c", "exec \"$0\" \"$@\" 3<&0 4>&1 0</dev/null 1>/dev/null 2>/dev/null"])
            .arg(program)
            .args([
                "--headless",
                "--remote-debugging-pipe",
                "--no-sandbox",
                "--disable-gpu",
                "--disable-quic",
                "--disable-dev-shm-usage",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--disable-extensions",
                "--hide-scrollbars",
            ])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("about:blank")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("a shell to start the browser with");
        let to = child.stdin.take().expect("a pipe to the browser");
        let from = child.stdout.take().expect("a pipe from the browser");
        let (give, messages) = channel();
        std::thread::spawn(move || {
            for message in BufReader::new(from).split(0).map_while(Result::ok) {
                if let Ok(value) = serde_json::from_slice(&message)
                    && give.send(value).is_err()
                {
                    break;
                }
            }
        });
        let mut browser = Browser {
            child,
            to,
            messages,
            next: 0,
            session: None,
            events: Vec::new(),
            _profile: profile,
        };
        let target = browser.call("Target.createTarget", json!({"url": "about:blank"}));
        let attach = json!({"targetId": target["targetId"], "flatten": true});
        let session = browser.call("Target.attachToTarget", attach);
        browser.session = session["sessionId"].as_str().map(str::to_owned);
        assert!(browser.session.is_some(), "no session with the page: {session}");
        for domain in ["Page", "Runtime", "Log", "Network"] {
            browser.call(&format!("{domain}.enable"), json!({}));
        }
        browser
    }

    /// Calls a method that must succeed, and waits for its result.
    pub(crate) fn call(&mut self, method: &str, parameters: Value) -> Value {
        let answer = self.send(method, &parameters);
        assert!(answer["error"].is_null(), "{method}: {}", answer["error"]);
        answer["result"].clone()
    }

    /// Calls a method and waits for the answer; events that come meanwhile are kept.
    fn send(&mut self, method: &str, parameters: &Value) -> Value {
        self.next += 1;
        let id = self.next;
        let mut message = json!({"id": id, "method": method, "params": parameters});
        if let Some(session) = &self.session {
            message["sessionId"] = json!(session);
        }
        let mut bytes = message.to_string().into_bytes();
        bytes.push(0);
        self.to.write_all(&bytes).and_then(|()| self.to.flush()).unwrap_or_else(|e| {
            panic!("the browser does not listen ({method}): {e}; does it start by hand?")
        });
        let until = Instant::now() + PATIENCE;
        loop {
            let answer = self.receive(until, method);
            if answer["id"] == json!(id) {
                return answer;
            }
            self.events.push(answer);
        }
    }

    /// Waits until the page is there and whole; while one goes and the next comes nothing can be asked.
    fn wait_for(&mut self, address: &str) {
        let until = Instant::now() + PATIENCE;
        let asked = "document.readyState === 'complete' ? location.href : ''";
        loop {
            let answer = self.send("Runtime.evaluate", &json!({"expression": asked}));
            if answer["result"]["result"]["value"] == address {
                return;
            }
            assert!(Instant::now() < until, "{address} is not loaded: {answer}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    fn receive(&mut self, until: Instant, what: &str) -> Value {
        let left = until.saturating_duration_since(Instant::now());
        self.messages
            .recv_timeout(left)
            .unwrap_or_else(|e| panic!("the browser says nothing about {what}: {e}"))
    }

    /// Opens a file and waits until it is loaded; events before that are forgotten.
    pub(crate) fn open(&mut self, file: &Path) {
        self.call("Page.navigate", json!({"url": "about:blank"}));
        self.wait_for("about:blank");
        self.events.clear();
        let address = address(file);
        self.call("Page.navigate", json!({"url": address}));
        self.wait_for(&address);
    }

    /// The value of an expression in the page; a promise is waited for.
    pub(crate) fn ask(&mut self, expression: &str) -> Value {
        let question =
            json!({"expression": expression, "returnByValue": true, "awaitPromise": true});
        let answer = self.call("Runtime.evaluate", question);
        assert!(answer["exceptionDetails"].is_null(), "{}", answer["exceptionDetails"]);
        answer["result"]["value"].clone()
    }

    /// The size of the view, CSS pixels.
    pub(crate) fn resize(&mut self, width: u32, height: u32) {
        let size =
            json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false});
        self.call("Emulation.setDeviceMetricsOverride", size);
    }

    /// `screen` or `print`, and `light` or `dark`.
    pub(crate) fn show_as(&mut self, media: &str, scheme: &str) {
        let features = json!([{"name": "prefers-color-scheme", "value": scheme}]);
        self.call("Emulation.setEmulatedMedia", json!({"media": media, "features": features}));
    }

    /// Presses and releases a key.
    pub(crate) fn press(&mut self, key: &str) {
        let (code, text) = match key {
            "Enter" => (13, "\r"),
            "Tab" => (9, ""),
            _ => panic!("no code for the key {key}"),
        };
        for kind in ["keyDown", "keyUp"] {
            let mut event = json!({
                "type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code,
            });
            if kind == "keyDown" && !text.is_empty() {
                event["text"] = json!(text);
            }
            self.call("Input.dispatchKeyEvent", event);
        }
    }

    /// The page as PDF on paper of this size, inches.
    pub(crate) fn print(&mut self, width: f64, height: f64) -> Vec<u8> {
        use base64::Engine;
        self.show_as("print", "light");
        let paper = json!({
            "paperWidth": width, "paperHeight": height, "preferCSSPageSize": false,
            "marginTop": 0.6, "marginBottom": 0.6, "marginLeft": 0.55, "marginRight": 0.55,
        });
        let answer = self.call("Page.printToPDF", paper);
        self.show_as("screen", "light");
        let data = answer["data"].as_str().expect("a PDF in base64");
        base64::engine::general_purpose::STANDARD.decode(data).expect("base64")
    }

    /// The view as PNG.
    pub(crate) fn picture(&mut self) -> Vec<u8> {
        use base64::Engine;
        let answer = self.call(
            "Page.captureScreenshot",
            json!({"captureBeyondViewport": true, "format": "png"}),
        );
        let data = answer["data"].as_str().expect("a picture in base64");
        base64::engine::general_purpose::STANDARD.decode(data).expect("base64")
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // It may be gone already; then there is nothing to end.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A file's address; every byte that has a meaning in addresses is escaped.
fn address(file: &Path) -> String {
    let path = std::path::absolute(file).expect("an absolute path");
    let mut address = "file://".to_owned();
    for byte in path.to_string_lossy().bytes() {
        match byte {
            b'/' | b'.' | b'-' | b'_' => address.push(char::from(byte)),
            byte if byte.is_ascii_alphanumeric() => address.push(char::from(byte)),
            byte => address.push_str(&format!("%{byte:02X}")),
        }
    }
    address
}
