//! A real browser for tests: Chromium without a window, driven over the WebDriver protocol (W3C) by its own driver.
//!
//! ```ignore
//! use crate::common::browser;
//!
//! let browser = browser::Browser::start(1400, 900);
//! browser.go(&address);
//! browser.wait_for("document.querySelector('h1').textContent === 'Ready'");
//! browser.find("#reason").write("misread");
//! browser.press(browser::key::ENTER);
//! browser.screenshot(path);
//! ```
//!
//! Whatever fails ends the test with a sentence that says what was asked for. Nothing but `127.0.0.1` is spoken to.
#![allow(dead_code, reason = "each test uses some of it")]

use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Most seconds that anything on a page may take to come about.
const PATIENCE: Duration = Duration::from_secs(20);
/// The name under which the protocol hands out elements.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// Keys that are no characters, by their code points of the protocol.
pub mod key {
    pub const TAB: &str = "\u{e004}";
    pub const ENTER: &str = "\u{e007}";
    pub const SHIFT: &str = "\u{e008}";
    pub const CONTROL: &str = "\u{e009}";
    pub const ESCAPE: &str = "\u{e00c}";
    pub const SPACE: &str = " ";
    pub const END: &str = "\u{e010}";
    pub const HOME: &str = "\u{e011}";
    pub const LEFT: &str = "\u{e012}";
    pub const UP: &str = "\u{e013}";
    pub const RIGHT: &str = "\u{e014}";
    pub const DOWN: &str = "\u{e015}";
    pub const BACKSPACE: &str = "\u{e003}";
}

/// A browser with one page; it ends with the test.
pub struct Browser {
    driver: Child,
    session: String,
    _profile: tempfile::TempDir,
}

/// Something on the page.
pub struct Element<'b> {
    browser: &'b Browser,
    id: String,
}

impl Browser {
    /// Starts a browser with a page of this size in CSS pixels.
    pub fn start(width: u32, height: u32) -> Browser {
        let mut driver = Command::new("chromedriver")
            .args(["--port=0", "--log-level=SEVERE"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver (the Debian package chromium-driver) can be started");
        let address = address(&mut driver);
        let profile = tempfile::tempdir().expect("a folder for the profile");
        let mut browser = Browser { driver, session: String::new(), _profile: profile };
        let asked = json!({ "capabilities": { "alwaysMatch": {
            "browserName": "chrome",
            "goog:loggingPrefs": { "browser": "ALL" },
            "goog:chromeOptions": { "args": arguments(browser._profile.path()) },
        } } });
        let answer = send(minreq::post(format!("{address}/session")), Some(&asked))
            .unwrap_or_else(|problem| panic!("no browser was started: {problem}"));
        let id = answer["sessionId"].as_str().expect("the driver names the session");
        browser.session = format!("{address}/session/{id}");
        browser.size(width, height);
        browser
    }

    /// Gives the page another size, as that of a telephone or of a wide screen.
    pub fn size(&self, width: u32, height: u32) {
        let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.devtools("Emulation.setDeviceMetricsOverride", metrics);
    }

    /// Sends a command of the browser's own protocol.
    pub fn devtools(&self, command: &str, parameters: Value) -> Value {
        self.post("goog/cdp/execute", json!({ "cmd": command, "params": parameters }))
    }

    /// Opens an address and waits until it is loaded.
    pub fn go(&self, address: &str) {
        self.post("url", json!({ "url": address }));
    }

    /// The address that is open.
    pub fn address(&self) -> String {
        self.get("url").as_str().unwrap_or_default().to_owned()
    }

    /// The title of the page.
    pub fn title(&self) -> String {
        self.get("title").as_str().unwrap_or_default().to_owned()
    }

    /// Runs the body of a function on the page; it may `return` a value.
    pub fn script(&self, body: &str) -> Value {
        self.post("execute/sync", json!({ "script": body, "args": [] }))
    }

    /// Runs the body of a function that hands its value to `done(value)` when it has it.
    pub fn script_later(&self, body: &str) -> Value {
        let body = format!("const done = arguments[arguments.length - 1];\n{body}");
        self.post("execute/async", json!({ "script": body, "args": [] }))
    }

    /// Waits until an expression on the page is true.
    pub fn wait_for(&self, expression: &str) {
        let begun = Instant::now();
        while self.script(&format!("return Boolean({expression})")) != json!(true) {
            assert!(
                begun.elapsed() < PATIENCE,
                "it did not come to this on the page: {expression}\nconsole: {:?}\n{}",
                self.console(),
                self.script("return document.body.innerText.slice(0, 3000)").as_str().unwrap_or_default()
            );
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits until the text of the page (or of a part of it) holds a text.
    pub fn wait_for_text(&self, selector: &str, text: &str) {
        let (selector, text) = (json!(selector), json!(text));
        self.wait_for(&format!(
            "[...document.querySelectorAll({selector})].some(part => part.innerText.includes({text}))"
        ));
    }

    /// The first element of a CSS selector, once there is one.
    pub fn find(&self, selector: &str) -> Element<'_> {
        let begun = Instant::now();
        loop {
            if let Some(element) = self.all(selector).into_iter().next() {
                return element;
            }
            assert!(begun.elapsed() < PATIENCE, "nothing on the page is `{selector}`");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// All elements of a CSS selector that are there now.
    pub fn all(&self, selector: &str) -> Vec<Element<'_>> {
        let found = self.post("elements", json!({ "using": "css selector", "value": selector }));
        let ids = found.as_array().into_iter().flatten();
        ids.filter_map(|found| self.element(found)).collect()
    }

    /// The element that has the keyboard.
    pub fn focused(&self) -> Element<'_> {
        self.element(&self.get("element/active")).expect("some element has the keyboard")
    }

    fn element(&self, found: &Value) -> Option<Element<'_>> {
        Some(Element { browser: self, id: found[ELEMENT].as_str()?.to_owned() })
    }

    /// Presses and releases keys one after the other, wherever the keyboard is.
    pub fn press(&self, keys: &str) {
        self.held("", keys);
    }

    /// Presses keys while others (such as [`key::SHIFT`]) are held down.
    pub fn held(&self, held: &str, keys: &str) {
        let step = |kind: &str, key: char| json!({ "type": kind, "value": key.to_string() });
        let down = held.chars().map(|key| step("keyDown", key));
        let typed = keys.chars().flat_map(|key| [step("keyDown", key), step("keyUp", key)]);
        let up = held.chars().rev().map(|key| step("keyUp", key));
        let steps: Vec<Value> = down.chain(typed).chain(up).collect();
        self.post("actions", json!({ "actions": [{ "type": "key", "id": "keyboard", "actions": steps }] }));
    }

    /// A picture of what is seen, as PNG.
    pub fn picture(&self) -> Vec<u8> {
        let data = self.get("screenshot");
        from_base64(data.as_str().unwrap_or_default())
    }

    /// Writes a picture of what is seen.
    pub fn screenshot(&self, path: &Path) {
        std::fs::write(path, self.picture()).expect("the picture is written");
    }

    /// What the page has said on its console since it was asked last: errors of scripts, blocked files.
    pub fn console(&self) -> Vec<String> {
        let entries = self.post("se/log", json!({ "type": "browser" }));
        let entries = entries.as_array().into_iter().flatten();
        entries.filter_map(|entry| entry["message"].as_str().map(str::to_owned)).collect()
    }

    /// By how many CSS pixels the page is wider than its window: a page that has to be pushed sideways.
    pub fn overflow(&self) -> i64 {
        let wider = "return document.documentElement.scrollWidth - document.documentElement.clientWidth";
        self.script(wider).as_i64().unwrap_or_default()
    }

    fn get(&self, path: &str) -> Value {
        let request = minreq::get(format!("{}/{path}", self.session));
        send(request, None).unwrap_or_else(|problem| panic!("{path}: {problem}"))
    }

    fn post(&self, path: &str, body: Value) -> Value {
        let request = minreq::post(format!("{}/{path}", self.session));
        send(request, Some(&body)).unwrap_or_else(|problem| panic!("{path} {body}: {problem}"))
    }
}

impl Element<'_> {
    /// Clicks in its middle.
    pub fn click(&self) {
        self.browser.post(&format!("element/{}/click", self.id), json!({}));
    }

    /// Types into it.
    pub fn write(&self, text: &str) {
        self.browser.post(&format!("element/{}/value", self.id), json!({ "text": text }));
    }

    /// Empties a field.
    pub fn clear(&self) {
        self.browser.post(&format!("element/{}/clear", self.id), json!({}));
    }

    /// Its text as it is seen.
    pub fn text(&self) -> String {
        self.ask("text")
    }

    /// What a screen reader calls it (its accessible name).
    pub fn name(&self) -> String {
        self.ask("computedlabel")
    }

    /// What a screen reader takes it for (`button`, `textbox`, …).
    pub fn role(&self) -> String {
        self.ask("computedrole")
    }

    /// An attribute, empty where it has none.
    pub fn attribute(&self, name: &str) -> String {
        self.ask(&format!("attribute/{name}"))
    }

    /// A property of its object on the page, as text.
    pub fn property(&self, name: &str) -> String {
        self.ask(&format!("property/{name}"))
    }

    fn ask(&self, what: &str) -> String {
        match self.browser.get(&format!("element/{}/{what}", self.id)) {
            Value::String(text) => text,
            Value::Null => String::new(),
            other => other.to_string(),
        }
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            drop(send(minreq::delete(&self.session), None));
        }
        drop(self.driver.kill());
        drop(self.driver.wait());
    }
}

/// How Chromium is started: without a window, and without anything that asks the network by itself.
fn arguments(profile: &Path) -> Vec<String> {
    let fixed = [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--disable-dev-shm-usage",
        "--hide-scrollbars",
        "--lang=en-GB",
    ];
    let profile = format!("--user-data-dir={}", profile.display());
    fixed.into_iter().map(str::to_owned).chain([profile]).collect()
}

/// The address that the driver says it listens at.
fn address(driver: &mut Child) -> String {
    let output = driver.stdout.take().expect("the driver's output");
    let mut lines = BufReader::new(output).lines();
    loop {
        let line = lines.next().and_then(Result::ok).expect("the driver says its port");
        let port = line.split("started successfully on port ").nth(1);
        if let Some(port) = port.and_then(|rest| rest.trim_end_matches('.').trim().parse::<u16>().ok()) {
            // Read on, so that the driver never waits for somebody to read.
            std::thread::spawn(move || lines.for_each(drop));
            return format!("http://127.0.0.1:{port}");
        }
    }
}

/// The `value` of an answer.
fn send(request: minreq::Request, body: Option<&Value>) -> Result<Value, String> {
    let request = request.with_timeout(120);
    let request = match body {
        Some(body) => request.with_json(body).map_err(|error| error.to_string())?,
        None => request,
    };
    let answer = request.send().map_err(|error| error.to_string())?;
    let said: Value = answer.json().map_err(|error| error.to_string())?;
    let value = said["value"].clone();
    if answer.status_code == 200 { Ok(value) } else { Err(value["message"].to_string()) }
}

/// Base64 (RFC 4648, 4) as the protocol sends pictures.
fn from_base64(text: &str) -> Vec<u8> {
    const DIGITS: &str = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let (mut bytes, mut bits, mut count) = (Vec::new(), 0u32, 0);
    for value in text.chars().filter_map(|digit| DIGITS.find(digit)) {
        bits = (bits << 6) | value as u32;
        count += 6;
        if count >= 8 {
            count -= 8;
            bytes.push((bits >> count) as u8);
            bits &= (1 << count) - 1;
        }
    }
    bytes
}
