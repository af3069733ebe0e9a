//! The server as a browser and as an attacker see it, over real sockets.
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use overwinter_documents::Diagnostic;
use overwinter_server::{Documents, Publication, SaveFault, ServeError, bind, is_built};
use overwinter_workbench::demo::FILES;

#[derive(Clone, Default)]
struct Memory(Arc<Mutex<BTreeMap<String, String>>>);

impl Documents for Memory {
    fn read(&self) -> Result<Vec<(String, String)>, String> {
        Ok(self.0.lock().unwrap().iter().map(|(path, text)| (path.clone(), text.clone())).collect())
    }

    fn save(&self, path: &str, was: Option<&str>, text: &str) -> Result<(), SaveFault> {
        let mut files = self.0.lock().unwrap();
        if files.get(path).map(String::as_str) != was {
            return Err(SaveFault::Changed {
                path: path.to_owned(),
                now: files.get(path).cloned(),
            });
        }
        files.insert(path.to_owned(), text.to_owned());
        Ok(())
    }

    fn beside(&self, path: &str) -> Result<String, Box<Diagnostic>> {
        match path {
            "weather/hut.csv" => Ok(year()),
            _ => Err(Box::new(Diagnostic::error("cannot-read", format!("{path} is not there")))),
        }
    }
}

/// A year of hours: 12 hours of light a day, stronger in summer, 8 °C.
fn year() -> String {
    let mut text = "time,ghi,temp\n".to_owned();
    let lengths = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    for (month, days) in (1..).zip(lengths) {
        for (day, hour) in (1..=days).flat_map(|day| (0..24).map(move |hour| (day, hour))) {
            let light = if (6..18).contains(&hour) { 60 * (7 - i32::abs(month - 6)) } else { 0 };
            let _ = writeln!(text, "2023-{month:02}-{day:02} {hour:02}:00,{light},8.0");
        }
    }
    text
}

const CELL: &str =
    "[cell]\nname = \"a pouch\"\nchemistry = \"lithium-ion\"\ncapacity = \"1000 mAh\"\n";

struct Run {
    port: u16,
    token: String,
    memory: Memory,
}

/// Starts a server; `None` where this build carries no front end, which is then what it must say.
fn start() -> Option<Run> {
    start_with([("cells/a-pouch.toml".to_owned(), CELL.to_owned())])
}

/// The same with the demo's documents, whose gorge names an hourly file.
fn start_demo(file: &str) -> Option<Run> {
    let hourly = format!(
        "hourly = \"{file}\"\nhourly_layout = {{ clock = \"UTC\", stamp = \"start\" }}\nground_reflection"
    );
    let documents = FILES.iter().filter(|(path, _)| path.contains('/'));
    start_with(documents.map(|(path, text)| match *path {
        "sites/gorge.toml" => (path.to_string(), text.replace("ground_reflection", &hourly)),
        _ => (path.to_string(), text.to_string()),
    }))
}

fn start_with(files: impl IntoIterator<Item = (String, String)>) -> Option<Run> {
    let memory = Memory::default();
    memory.0.lock().unwrap().extend(files);
    let publication = Publication {
        title: "a drawer </script>".into(),
        licence: "none".into(),
        date: "2026-07-01".into(),
        version: "0".into(),
    };
    let serving = match bind(Box::new(memory.clone()), &publication, 0) {
        Ok(serving) => serving,
        Err(ServeError::NotBuilt(error)) => {
            assert!(!is_built());
            // `cargo xtask test` builds the page first, so there nothing is passed over.
            let page = concat!(env!("CARGO_MANIFEST_DIR"), "/../../app/dist/template.html");
            assert!(!std::path::Path::new(page).exists(), "{page} is there and was not taken in");
            assert!(error.to_string().contains("cargo xtask app"));
            return None;
        }
        Err(error) => panic!("{error}"),
    };
    let address = serving.address();
    let port = address.trim_end_matches('/').rsplit(':').next().unwrap().parse().unwrap();
    std::thread::spawn(move || serving.run());
    let page = talk(port, "GET", "/", &[], "").1;
    let token = page.split_once(r#""token":""#).unwrap().1.split('"').next().unwrap().to_owned();
    Some(Run { port, token, memory })
}

/// One request with an honest `Host` unless `headers` give another; status, body with headers.
fn talk(
    port: u16,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: &str,
) -> (u16, String) {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(Duration::from_mins(1))).unwrap();
    let mut head = format!(
        "{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n",
        body.len()
    );
    if !headers.iter().any(|(name, _)| *name == "Host") {
        let _ = write!(head, "Host: 127.0.0.1:{port}\r\n");
    }
    for (name, value) in headers {
        let _ = write!(head, "{name}: {value}\r\n");
    }
    stream.write_all(format!("{head}\r\n").as_bytes()).unwrap();
    // A refused body may be cut off while it is still being sent.
    let _ = stream.write_all(body.as_bytes());
    let mut reply = Vec::new();
    let _ = stream.read_to_end(&mut reply);
    let reply = String::from_utf8_lossy(&reply).into_owned();
    let status = reply.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
    (status, reply)
}

#[test]
fn the_page_is_closed_off_and_its_title_inert() {
    let Some(run) = start() else { return };
    let (status, page) = talk(run.port, "GET", "/", &[], "");
    assert_eq!(status, 200);
    let policy = page.lines().find(|line| line.starts_with("content-security-policy:")).unwrap();
    assert!(
        policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"),
        "{policy}"
    );
    assert!(page.contains("x-content-type-options: nosniff"));
    assert!(!page.contains("a drawer </script>"));
    assert!(run.token.len() >= 32);
}

#[test]
fn foreign_names_and_origins_are_refused() {
    let Some(run) = start() else { return };
    assert_eq!(talk(run.port, "GET", "/api/bench", &[("Host", "evil.example")], "").0, 421);
    assert_eq!(
        talk(run.port, "GET", "/api/bench", &[("Origin", "https://evil.example")], "").0,
        403
    );
    assert_eq!(talk(run.port, "GET", "/api/bench", &[("Origin", "null")], "").0, 403);
    assert_eq!(talk(run.port, "GET", "/api/bench", &[], "").0, 200);
}

#[test]
fn questions_need_the_token_and_are_answered() {
    let Some(run) = start() else { return };
    let question = r#""names""#;
    assert_eq!(talk(run.port, "POST", "/api/ask", &[], question).0, 403);
    assert_eq!(
        talk(run.port, "POST", "/api/ask", &[("X-Overwinter-Token", "guess")], question).0,
        403
    );
    let token = [("X-Overwinter-Token", run.token.as_str())];
    let (status, reply) = talk(run.port, "POST", "/api/ask", &token, question);
    assert_eq!(status, 200);
    assert!(reply.contains(r#""cells":["#) && reply.contains("a pouch"), "{reply}");
    assert_eq!(talk(run.port, "POST", "/api/ask", &token, r#"{"tabel":{}}"#).0, 400);
    let (status, reply) =
        talk(run.port, "POST", "/api/ask", &token, r#"{"board":{"board":"nothing"}}"#);
    assert_eq!(status, 200);
    assert!(reply.contains(r#""error""#) && reply.contains("there is no board"), "{reply}");
    assert_eq!(talk(run.port, "POST", "/api/ask", &token, &"x".repeat(300_000)).0, 413);
}

#[test]
fn questions_that_nobody_waits_for_any_more_are_given_up() {
    let Some(run) = start_demo("weather/hut.csv") else { return };
    // A site without its hourly file, so that the years are as many as asked: minutes of work for each of the two seats.
    let site = FILES.iter().find(|(path, _)| *path == "sites/gorge.toml").unwrap().1;
    let long = serde_json::json!({ "sun": { "project": "weather mast", "site": site, "years": 20_000, "seed": 1 } });
    let draws =
        serde_json::json!({ "choose": { "project": "footbridges", "draws": 1 << 20, "seed": 1 } });
    for question in [long.to_string(), draws.to_string()] {
        let mut stream = TcpStream::connect(("127.0.0.1", run.port)).unwrap();
        let head = format!(
            "POST /api/ask HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nX-Overwinter-Token: {}\r\nContent-Length: {}\r\n\r\n",
            run.port,
            run.token,
            question.len()
        );
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(question.as_bytes()).unwrap();
        // Long enough to have taken its seat; then the browser goes.
        std::thread::sleep(Duration::from_millis(500));
    }
    let token = [("X-Overwinter-Token", run.token.as_str())];
    // Both seats were taken by work of many minutes: an answer within the minute of `talk` means that it was given up.
    assert_eq!(talk(run.port, "POST", "/api/ask", &token, r#""names""#).0, 200);
}

#[test]
fn the_hourly_file_of_the_site_is_used_or_its_absence_told() {
    let sun = r#"{"sun":{"project":"weather mast","boards":["SLIPKNOT"],"years":3,"seed":1}}"#;
    let Some(run) = start_demo("weather/hut.csv") else { return };
    let token = [("X-Overwinter-Token", run.token.as_str())];
    let (status, reply) = talk(run.port, "POST", "/api/ask", &token, sun);
    assert_eq!(status, 200);
    assert!(reply.contains("weather/hut.csv from 2023-01-01 to 2023-12-31"), "{reply}");
    assert!(reply.contains(r#""years":1,"#), "{reply}");
    let run = start_demo("weather/gone.csv").unwrap();
    let token = [("X-Overwinter-Token", run.token.as_str())];
    let (status, reply) = talk(run.port, "POST", "/api/ask", &token, sun);
    assert_eq!(status, 200);
    assert!(
        reply.contains(r#""error""#) && reply.contains("weather/gone.csv is not there"),
        "{reply}"
    );
}

fn save(run: &Run, path: &str, was: Option<&str>, text: &str) -> (u16, String) {
    let body = serde_json::json!({ "path": path, "was": was, "text": text }).to_string();
    talk(run.port, "POST", "/api/save", &[("X-Overwinter-Token", &run.token)], &body)
}

#[test]
fn writes_are_checked_and_never_overwrite_what_changed_meanwhile() {
    let Some(run) = start() else { return };
    let new = CELL.replace("1000", "1200");
    assert_eq!(talk(run.port, "POST", "/api/save", &[], "{}").0, 403);
    for path in ["../a.toml", "cells/../../a.toml", "/etc/a.toml", "cells/a.sh", "secrets/a.toml"] {
        assert_eq!(save(&run, path, None, CELL).0, 400, "{path}");
    }
    let (status, reply) = save(&run, "cells/a-pouch.toml", Some(CELL), "[cell]\nname = 3\n");
    assert_eq!(status, 422);
    assert!(reply.contains(r#""line":2"#), "{reply}");
    let (status, reply) = save(&run, "cells/a-pouch.toml", Some("something else"), &new);
    assert_eq!(status, 409);
    assert!(reply.contains("1000 mAh"), "{reply}");
    assert_eq!(run.memory.0.lock().unwrap()["cells/a-pouch.toml"], CELL);
    assert_eq!(save(&run, "cells/a-pouch.toml", Some(CELL), &new).0, 200);
    assert_eq!(run.memory.0.lock().unwrap()["cells/a-pouch.toml"], new);
}

#[test]
fn a_file_changed_on_disk_is_read_again_and_told() {
    let Some(run) = start() else { return };
    let token = [("X-Overwinter-Token", run.token.as_str())];
    let sum = |reply: &str| {
        reply.lines().find(|l| l.starts_with("x-overwinter-checksum")).unwrap().to_owned()
    };
    let before = sum(&talk(run.port, "POST", "/api/ask", &token, r#""names""#).1);
    run.memory.0.lock().unwrap().insert("cells/b.toml".into(), CELL.replace("a pouch", "b pouch"));
    let (_, reply) = talk(run.port, "POST", "/api/ask", &token, r#""names""#);
    assert!(reply.contains("b pouch"), "{reply}");
    assert_ne!(sum(&reply), before);
}

#[test]
fn nothing_else_is_there() {
    let Some(run) = start() else { return };
    for path in ["/etc/passwd", "/../Cargo.toml", "/api", "/api/bench/../../x", "/%2e%2e/x"] {
        assert_eq!(talk(run.port, "GET", path, &[], "").0, 404, "{path}");
    }
    assert_eq!(talk(run.port, "POST", "/", &[], "").0, 405);
}

#[test]
fn traces_are_asked_for_with_the_token_and_answered_by_the_folder() {
    let Some(run) = start() else { return };
    let ask =
        |headers: &[(&str, &str)], body: &str| talk(run.port, "POST", "/api/trace", headers, body);
    let list = r#"{"recordings":{}}"#;
    assert_eq!(ask(&[], list).0, 403, "no token");
    let token = ("X-Overwinter-Token", run.token.as_str());
    assert_eq!(ask(&[token, ("Origin", "http://example.org")], list).0, 403, "a foreign page");
    assert_eq!(ask(&[token, ("Host", "bench.example")], list).0, 421, "a foreign name");
    assert_eq!(ask(&[token], r#"{"recordings":{"path":"/etc"}}"#).0, 400, "an unknown key");
    assert_eq!(talk(run.port, "GET", "/api/trace", &[token], "").0, 405);
    // The folder of this test is in memory and has no traces, which it says.
    let (status, reply) = ask(&[token], list);
    assert_eq!(status, 200);
    assert!(reply.contains("no-traces"), "{reply}");
}

#[test]
fn a_form_keeps_comments_and_is_told_what_stands_on_disk() {
    let Some(run) = start() else { return };
    let was = "# mine\n[cell]\nname = 'a pouch' # as labelled\nchemistry = \"lithium-ion\"\ncapacity = \"1000 mAh\"\n";
    run.memory.0.lock().unwrap().insert("cells/a-pouch.toml".into(), was.into());
    let form = "[cell]\ncapacity = \"1100 mAh\"\nchemistry = \"lithium-ion\"\nname = \"a pouch\"\n";
    let merge = |was: &str| {
        let body = serde_json::json!({ "path": "cells/a-pouch.toml", "was": was, "text": form, "merge": true });
        let token = [("X-Overwinter-Token", run.token.as_str())];
        talk(run.port, "POST", "/api/save", &token, &body.to_string())
    };
    assert_eq!(merge(was).0, 200);
    let now = run.memory.0.lock().unwrap()["cells/a-pouch.toml"].clone();
    assert_eq!(now, was.replace("1000", "1100"));
    let (status, reply) = merge(was);
    assert_eq!(status, 409);
    assert!(reply.contains("1100 mAh") && reply.contains("# as labelled"), "{reply}");
    assert_eq!(run.memory.0.lock().unwrap()["cells/a-pouch.toml"], now);
}

#[test]
fn an_error_that_the_folder_would_get_is_refused_one_that_it_has_is_not() {
    let Some(run) = start() else { return };
    let new = CELL.replace("lithium-ion", "lithium-iom");
    let (status, reply) = save(&run, "cells/b.toml", None, &new.replace("a pouch", "b pouch"));
    assert_eq!(status, 422, "{reply}");
    assert!(reply.contains("lithium-iom"), "{reply}");
    // Somebody wrote it in an editor: other documents can be saved all the same.
    run.memory.0.lock().unwrap().insert("cells/b.toml".into(), new.replace("a pouch", "b pouch"));
    assert_eq!(save(&run, "cells/c.toml", None, &CELL.replace("a pouch", "c pouch")).0, 200);
}

#[test]
fn the_state_tells_that_the_folder_is_another_one() {
    let Some(run) = start() else { return };
    let state =
        || talk(run.port, "GET", "/api/state", &[], "").1.rsplit("\r\n").next().unwrap().to_owned();
    let before = state();
    assert!(before.contains("sha256:"), "{before}");
    assert_eq!(state(), before);
    run.memory.0.lock().unwrap().insert("cells/b.toml".into(), CELL.replace("a pouch", "b pouch"));
    assert_ne!(state(), before);
    assert_eq!(talk(run.port, "GET", "/api/state", &[("Host", "evil.example")], "").0, 421);
}
