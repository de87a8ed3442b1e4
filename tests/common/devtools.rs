//! One page in Debian's Chromium, driven over the DevTools protocol through a pipe: real keys, a phone's window.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use serde_json::{Value, json};

/// Papers to print on: name, and width and height in inches.
pub const PAPERS: [(&str, (f64, f64)); 2] = [("A4", (8.27, 11.69)), ("Letter", (8.5, 11.0))];

/// A running browser with one page.
pub struct Page {
    browser: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    session: String,
    last_id: u64,
    /// What the page said on its console, and errors nobody caught.
    pub said: Vec<String>,
    _profile: tempfile::TempDir,
}

impl Page {
    /// Starts the browser at the size of a phone. The pipe is file descriptors 3 and 4; a message ends with a 0 byte.
    pub fn start() -> Option<Page> {
        let program = super::browser::find()?.path().to_path_buf();
        let profile = tempfile::tempdir().expect("a fresh folder");
        let mut browser = Command::new("sh")
            .arg("-c")
            .arg("exec \"$0\" \"$@\" 3<&0 4>&1 </dev/null >/dev/null 2>/dev/null")
            .arg(program)
            .args([
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--remote-debugging-pipe",
            ])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the browser can be started");
        let mut page = Page {
            to: browser.stdin.take().expect("a pipe"),
            from: BufReader::new(browser.stdout.take().expect("a pipe")),
            browser,
            session: String::new(),
            last_id: 0,
            said: Vec::new(),
            _profile: profile,
        };
        page.another();
        Some(page)
    }

    /// Opens one more page in the same browser and turns to it; gives the name of the one before, for [`Page::turn_to`].
    pub fn another(&mut self) -> String {
        let before = std::mem::take(&mut self.session);
        let target = self.call("Target.createTarget", json!({"url": "about:blank"}));
        let attached = self.call(
            "Target.attachToTarget",
            json!({"targetId": target["targetId"], "flatten": true}),
        );
        let session = attached["sessionId"].as_str().expect("a session");
        self.session = session.to_string();
        self.call(
            "Emulation.setFocusEmulationEnabled",
            json!({"enabled": true}),
        );
        for domain in ["Page", "Runtime", "Log"] {
            self.call(&format!("{domain}.enable"), json!({}));
        }
        self.call(
            "Emulation.setDeviceMetricsOverride",
            json!({"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": true}),
        );
        before
    }

    /// Turns to another page of the browser; gives the name of the one before.
    pub fn turn_to(&mut self, page: String) -> String {
        std::mem::replace(&mut self.session, page)
    }

    /// Runs a script in every page that is opened from now on, before the page's own.
    pub fn before_each_page(&mut self, script: &str) {
        self.call(
            "Page.addScriptToEvaluateOnNewDocument",
            json!({"source": script}),
        );
    }

    fn send(&mut self, method: &str, params: Value) -> u64 {
        self.last_id += 1;
        let mut message = json!({"id": self.last_id, "method": method, "params": params});
        if !self.session.is_empty() {
            message["sessionId"] = self.session.clone().into();
        }
        let mut bytes = message.to_string().into_bytes();
        bytes.push(0);
        self.to.write_all(&bytes).expect("the browser listens");
        self.last_id
    }

    fn receive(&mut self) -> Value {
        let mut bytes = Vec::new();
        self.from
            .read_until(0, &mut bytes)
            .expect("the browser answers");
        assert!(bytes.pop() == Some(0), "the browser ended");
        let message: Value = serde_json::from_slice(&bytes).expect("messages are JSON");
        if let Some("Runtime.consoleAPICalled" | "Runtime.exceptionThrown" | "Log.entryAdded") =
            message["method"].as_str()
        {
            self.said.push(message["params"].to_string());
        }
        message
    }

    /// Calls a method and waits for its result.
    pub fn call(&mut self, method: &str, params: Value) -> Value {
        let id = self.send(method, params);
        self.wait(id)
    }

    fn wait(&mut self, id: u64) -> Value {
        loop {
            let message = self.receive();
            if message["id"] == id {
                assert!(message["error"].is_null(), "{}", message["error"]);
                return message["result"].clone();
            }
        }
    }

    /// Opens a file and waits until it has loaded.
    pub fn open(&mut self, path: &Path) {
        self.load(
            "Page.navigate",
            json!({"url": format!("file://{}", path.display())}),
        );
    }

    /// Loads the page again, as a phone does that had put it away.
    pub fn reload(&mut self) {
        self.load("Page.reload", json!({}));
    }

    fn load(&mut self, method: &str, params: Value) {
        self.send(method, params);
        while self.receive()["method"] != "Page.loadEventFired" {}
    }

    /// Value of an expression in the page.
    pub fn value(&mut self, expression: &str) -> Value {
        let result = self.call(
            "Runtime.evaluate",
            json!({"expression": expression, "returnByValue": true, "awaitPromise": true}),
        );
        assert!(
            result["exceptionDetails"].is_null(),
            "{expression}: {}",
            result["exceptionDetails"]
        );
        result["result"]["value"].clone()
    }

    /// Types a text into a box, key by key, in place of what it holds.
    pub fn type_into(&mut self, element: &str, text: &str) {
        self.value(&format!("(() => {{ const box = {element}; box.focus(); box.select(); box.scrollIntoView({{block: 'nearest'}}); }})()"));
        if text.is_empty() {
            self.key("Backspace", None);
        }
        for c in text.chars() {
            self.key(&c.to_string(), Some(c));
        }
        let name = self.value(&format!("({element}).value"));
        assert_eq!(name, text, "typed into {element}");
    }

    fn key(&mut self, key: &str, c: Option<char>) {
        let mut down = json!({"type": "keyDown", "key": key});
        match c {
            Some(c) => down["text"] = c.to_string().into(),
            None => {
                down["windowsVirtualKeyCode"] = 8.into();
                down["code"] = key.into();
            }
        }
        // Answered when the page has dealt with it.
        self.call("Input.dispatchKeyEvent", down);
        self.call(
            "Input.dispatchKeyEvent",
            json!({"type": "keyUp", "key": key}),
        );
    }

    /// Touches the middle of an element.
    pub fn tap(&mut self, element: &str) {
        let at = self.value(&format!(
            "(() => {{ const e = {element}; e.scrollIntoView({{block: 'center'}}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; }})()"
        ));
        for kind in ["mousePressed", "mouseReleased"] {
            self.call(
                "Input.dispatchMouseEvent",
                json!({"type": kind, "x": at[0], "y": at[1], "button": "left", "clickCount": 1}),
            );
        }
    }

    /// Sheets of the page as a computer on a desk prints it, on a paper of this width and height, in; and whether the first lies
    /// on its long edge. A phone's window, where one was set, lays some lines out shorter on paper too.
    pub fn printed(&mut self, (width_in, height_in): (f64, f64)) -> (usize, bool) {
        let paper = json!({"paperWidth": width_in, "paperHeight": height_in});
        self.call("Emulation.clearDeviceMetricsOverride", json!({}));
        let pdf = self.bytes("Page.printToPDF", paper);
        let text = String::from_utf8_lossy(&pdf);
        let size = text.split("/MediaBox [").nth(1).expect("a sheet's size");
        let corners: Vec<f64> = size
            .split(']')
            .next()
            .expect("its end")
            .split_whitespace()
            .map(|n| n.parse().expect("a number"))
            .collect();
        let sheets = text.matches("/Type /Page\n").count();
        (sheets, corners[2] > corners[3])
    }

    /// Bytes of a picture of the window or of a printed page.
    pub fn bytes(&mut self, method: &str, params: Value) -> Vec<u8> {
        use base64::Engine;
        let result = self.call(method, params);
        let data = result["data"].as_str().expect("data");
        base64::engine::general_purpose::STANDARD
            .decode(data)
            .expect("base64")
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        self.session.clear();
        self.last_id += 1;
        let close = json!({"id": self.last_id, "method": "Browser.close"});
        let _ = self.to.write_all(format!("{close}\0").as_bytes());
        for _ in 0..100 {
            if let Ok(Some(_)) = self.browser.try_wait() {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(30));
        }
        let _ = self.browser.kill();
        let _ = self.browser.wait();
    }
}
