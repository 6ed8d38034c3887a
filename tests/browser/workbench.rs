//! The workbench: what a slider does is what the command line says of the same node, to the last byte; faults stand at their fields.

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};

use libtest_mimic::Failed;
use millpond::generated;
use millpond::node::{Node, NodeFile};
use millpond::progress::Unseen;
use millpond::thresholds::Thresholds;
use millpond_tests::command::{workbench, write_page};
use millpond_tests::measured;
use serde_json::{Value, json};

use crate::{Browser, none};

/// What the library may take in the page, not compressed (bytes): the goal.
const MOST_WASM_BYTES: u64 = 1_600_000;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn example(node: &str) -> PathBuf {
    root().join(format!("templates/nodes/{node}.toml"))
}

pub(crate) fn from_file(browser: &Browser, node: &str) -> Result<(), Failed> {
    let folder = tempfile::tempdir()?;
    let page = folder.path().join("workbench.html");
    write_page(&example(node), &page)?;
    check(browser, &format!("file://{}", page.display()), node)
}

/// Served: the same page, for this machine alone.
pub(crate) fn served(browser: &Browser, node: &str) -> Result<(), Failed> {
    let mut child = Server(workbench()?.arg(example(node)).stderr(Stdio::piped()).spawn()?);
    let stderr = child.0.stderr.take().ok_or("no stderr")?;
    let mut said = String::new();
    BufReader::new(stderr).read_line(&mut said)?;
    let address = said
        .split("http://")
        .nth(1)
        .and_then(|rest| rest.split('/').next())
        .ok_or_else(|| format!("no address: {said}"))?
        .to_owned();
    for (request, status) in [
        (
            "GET / HTTP/1.1\r\nHost: example.org\r\nConnection: close\r\n\r\n".to_owned(),
            "403",
        ),
        (
            format!("GET /etc/passwd HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n"),
            "404",
        ),
        (
            format!("POST / HTTP/1.1\r\nHost: {address}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"),
            "405",
        ),
    ] {
        let mut stream = TcpStream::connect(&address)?;
        stream.write_all(request.as_bytes())?;
        let mut text = String::new();
        stream.read_to_string(&mut text)?;
        if text.split(' ').nth(1) != Some(status) {
            return Err(format!("want {status} for {request:?}, got {text:?}").into());
        }
    }
    check(browser, &format!("http://{address}/"), node)
}

/// A process that does not outlive its test.
struct Server(Child);

impl Drop for Server {
    fn drop(&mut self) {
        // It may be gone already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn check(browser: &Browser, page: &str, node: &str) -> Result<(), Failed> {
    let folder = tempfile::tempdir()?;
    let measured_node = folder.path().join("measured.toml");
    let profile = folder.path().join(measured::PATH);
    let bench = profile.parent().ok_or("the profile stands in a folder")?;
    fs::create_dir(bench)?;
    fs::write(
        &measured_node,
        measured::measured(&fs::read_to_string(example(node))?)?,
    )?;
    fs::write(&profile, measured::PROFILE)?;
    let measured_page = folder.path().join("measured.html");
    write_page(&measured_node, &measured_page)?;
    let answer = browser.look(json!({
        "look": "workbench", "page": page, "other": example("display-case"), "measured": [measured_node, profile],
        "measured_page": measured_page,
    }))?;
    for list in ["messages", "requests", "faults", "overflows"] {
        none(&answer, list)?;
    }
    let wasm_bytes = answer["wasm_bytes"].as_u64().unwrap_or(u64::MAX);
    if wasm_bytes > MOST_WASM_BYTES {
        return Err(format!("the library takes {wasm_bytes} bytes").into());
    }
    let start = fs::read_to_string(example(node))?;
    let text = |state: &str| answer[state]["text"].as_str().unwrap_or_default().to_owned();
    same("the text at the start", &text("start"), &start)?;
    let pulled = text("pulled");
    if pulled == start {
        return Err("the slider changed nothing".into());
    }
    for state in ["start", "pulled", "redone", "mended", "linked", "opened"] {
        stands(&answer[state]).map_err(|wrong| format!("{state}: {wrong}"))?;
    }
    let file = NodeFile::parse("node.toml", &pulled, "")?;
    let constants = generated::from_file(&file, &Unseen)?;
    let saved = |what: &str| answer[what]["text"].as_str().unwrap_or_default().to_owned();
    same("the header", &saved("header"), &constants.c_header())?;
    same("the module", &saved("module"), &constants.rust_module())?;
    same("the node file", &saved("node"), &pulled)?;
    same("after undo", &text("undone"), &start)?;
    same("after redo", &text("redone"), &pulled)?;
    same("behind the link", &text("linked"), &text("mended"))?;
    same(
        "opened",
        &text("opened"),
        &fs::read_to_string(example("display-case"))?,
    )?;
    let file = NodeFile::load(&measured_node)?;
    let constants = generated::from_file(&file, &Unseen)?;
    same(
        "the header of a measured profile",
        &saved("measured_header"),
        &constants.c_header(),
    )?;
    for state in ["measured", "embedded"] {
        let got = &answer[state];
        if got["ladder"] != json!(ladder(&file.node)) || got["invalid"] != json!(0) {
            return Err(format!("{state}, with its profile: {got}").into());
        }
    }
    let alone = answer["alone"].as_str().unwrap_or_default();
    if !alone.contains("open it together with the node file") {
        return Err(format!("without its profile: {alone:?}").into());
    }
    let refused = &answer["refused"];
    let fault = answer["fault"].as_str().unwrap_or_default();
    if refused["invalid"] != json!(1) || refused["stale"] != json!(true) || !fault.contains("a resistance") {
        return Err(format!("a bad input: {fault:?} {refused}").into());
    }
    if answer["cancelled"] != json!("cancelled") {
        return Err(format!("after cancel: {}", answer["cancelled"]).into());
    }
    Ok(())
}

/// The ladder of a state is that of its text on the command line, and nothing is refused.
fn stands(state: &Value) -> Result<(), String> {
    let text = state["text"].as_str().unwrap_or_default();
    let node = NodeFile::parse("node.toml", text, "")
        .map_err(|problems| problems.to_string())?
        .node;
    let ladder = ladder(&node);
    if state["ladder"] != json!(ladder) || state["invalid"] != json!(0) || state["stale"] != json!(false) {
        return Err(format!("want {ladder:?}, got {state}"));
    }
    Ok(())
}

/// What the ladder says of each action.
fn ladder(node: &Node) -> Vec<String> {
    Thresholds::of(node)
        .actions()
        .iter()
        .map(|(action, threshold)| format!("{action} {} mV", threshold.decide_mv))
        .collect()
}

fn same(what: &str, got: &str, want: &str) -> Result<(), Failed> {
    if got == want {
        return Ok(());
    }
    let line = got.lines().zip(want.lines()).find(|(got, want)| got != want);
    Err(format!("{what} differs: {line:?}").into())
}
