//! The server of the bench page: whom it answers, what it refuses, and that slow, broken and greedy clients do no harm.
//! Everything goes to 127.0.0.1.

use crate::common::bench::Served;
use serde_json::{Value, json};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;
use std::time::{Duration, Instant};

const NOTEBOOK: &str =
    "# Salt\n\n```masses\nunit: g\ntrial: A  B\ncup: –  30.0000\ncup + sample: 21.0000  32.0000\n```\n";

/// Sends bytes as they are and reads the answer to its end; status and the whole text. The status is 0 where nobody
/// answers.
fn raw(served: &Served, request: &str) -> (u16, String) {
    let Ok(mut stream) = TcpStream::connect(served.host()) else { return (0, String::new()) };
    stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    // A server that refuses early may close before everything is sent.
    drop(stream.write_all(request.as_bytes()));
    answer(&mut stream)
}

fn answer(stream: &mut TcpStream) -> (u16, String) {
    let mut bytes = Vec::new();
    drop(stream.read_to_end(&mut bytes));
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let status = text.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
    (status, text)
}

fn get(served: &Served, path: &str, headers: &[(&str, &str)]) -> (u16, String) {
    let host = format!("Host: {}\r\n", served.host());
    let host = if headers.iter().any(|(name, _)| *name == "Host") { String::new() } else { host };
    let headers: String = headers.iter().map(|(name, value)| format!("{name}: {value}\r\n")).collect();
    raw(served, &format!("GET {path} HTTP/1.1\r\n{host}{headers}Connection: close\r\n\r\n"))
}

fn own(served: &Served, path: &str) -> String {
    format!("/{}/{path}", served.token())
}

fn post(served: &Served, path: &str, headers: &[(&str, &str)], body: &str) -> (u16, String) {
    let headers: String = headers.iter().map(|(name, value)| format!("{name}: {value}\r\n")).collect();
    let request = format!(
        "POST {} HTTP/1.1\r\nHost: {}\r\n{headers}Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
        own(served, path),
        served.host(),
        body.len()
    );
    raw(served, &request)
}

/// An entry sent as the page sends it: status and what was said.
fn enter(served: &Served, task: &str, entry: &Value) -> (u16, Value) {
    let origin = format!("http://{}", served.host());
    let headers = [("Origin", origin.as_str()), ("Content-Type", "application/json")];
    let (status, text) = post(served, &format!("n/0/{task}"), &headers, &entry.to_string());
    let body = text.split("\r\n\r\n").nth(1).unwrap_or("");
    (status, serde_json::from_str(body).unwrap_or(Value::Null))
}

fn state(served: &Served, since: u64) -> Value {
    let answer = minreq::get(format!("{}n/0/state?since={since}", served.address)).with_timeout(20).send();
    answer.expect("an answer").json().expect("a state")
}

fn reading() -> Value {
    json!({ "kind": "reading", "label": "cup", "nth": 0, "column": 0, "trial": "A", "was": "–", "reading": "20.0000" })
}

#[test]
fn the_page_is_answered_and_everything_else_is_not() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let (status, text) = get(&served, &own(&served, ""), &[]);
    assert_eq!(status, 200);
    for header in [
        "content-security-policy: default-src 'none'",
        "nosniff",
        "no-referrer",
        "frame-ancestors 'none'",
        "no-store",
    ] {
        assert!(text.contains(header), "{header} is not said:\n{text}");
    }
    for path in [
        "/",
        "/n/0/state",
        "//",
        "/page.js",
        &format!("/{}", served.token()),
        &format!("/x{}/", served.token()),
    ] {
        assert_eq!(get(&served, path, &[]).0, 404, "{path}");
    }
    let wrong = format!("/{}/", "0".repeat(served.token().len()));
    assert_eq!(get(&served, &wrong, &[]).0, 404);
    assert!(served.token().len() >= 32);
    for path in ["n/1/state", "n/x/state", "n/0/other", "n/0/page/../../n.md", "n.md", "n/0/page/0.svg"] {
        assert_eq!(get(&served, &own(&served, path), &[]).0, 404, "{path}");
    }
}

#[test]
fn another_name_or_another_page_is_refused() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let port = served.host().rsplit(':').next().unwrap().to_owned();
    let page = own(&served, "");
    for host in ["evil.example", "127.0.0.1", "127.0.0.1:1", &format!("evil.example:{port}"), ""] {
        assert_eq!(get(&served, &page, &[("Host", host)]).0, 421, "{host}");
    }
    assert_eq!(get(&served, &page, &[("Host", &format!("localhost:{port}"))]).0, 200);
    assert_eq!(get(&served, &page, &[("Origin", "http://evil.example")]).0, 403);
    assert_eq!(get(&served, &page, &[("Sec-Fetch-Site", "cross-site")]).0, 403);
    assert_eq!(get(&served, &page, &[("Sec-Fetch-Site", "none")]).0, 200);
    let two =
        format!("GET {page} HTTP/1.1\r\nHost: {0}\r\nHost: {0}\r\nConnection: close\r\n\r\n", served.host());
    assert!(matches!(raw(&served, &two).0, 400 | 421));
}

#[test]
fn nothing_is_written_for_another_page() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let (own, json, body) = (format!("http://{}", served.host()), "application/json", reading().to_string());
    let refused = [
        (403, vec![("Content-Type", json)]),
        (403, vec![("Origin", "http://evil.example"), ("Content-Type", json)]),
        (403, vec![("Origin", "null"), ("Content-Type", json)]),
        (403, vec![("Origin", &own), ("Sec-Fetch-Site", "cross-site"), ("Content-Type", json)]),
        (403, vec![("Origin", &own), ("Sec-Fetch-Site", "same-site"), ("Content-Type", json)]),
        (415, vec![("Origin", &own), ("Content-Type", "text/plain")]),
        (415, vec![("Origin", &own)]),
    ];
    for (status, headers) in refused {
        assert_eq!(post(&served, "n/0/write", &headers, &body).0, status, "{headers:?}");
    }
    assert_eq!(served.read("n.md"), NOTEBOOK);
    assert_eq!(enter(&served, "write", &reading()).0, 200);
    assert_eq!(served.read("n.md"), NOTEBOOK.replace("–", "20.0000"));
}

#[test]
fn what_is_no_entry_is_said_and_writes_nothing() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    for body in [json!({}), json!([]), json!({ "kind": "reading" }), json!({ "kind": "other" }), json!("x")] {
        assert_eq!(enter(&served, "write", &body).0, 400, "{body}");
    }
    let mut more = reading();
    more["path"] = json!("/etc/passwd");
    assert_eq!(enter(&served, "write", &more).0, 400);
    let mut unfit = reading();
    unfit["reading"] = json!("20,0");
    let (status, said) = enter(&served, "write", &unfit);
    assert_eq!((status, said["conflict"].as_bool()), (422, Some(false)));
    assert!(said["message"].as_str().unwrap().contains("decimals with `.`"));
    let mut conflict = reading();
    conflict["was"] = json!("19.9");
    let (status, said) = enter(&served, "write", &conflict);
    assert_eq!((status, said["conflict"].as_bool()), (409, Some(true)));
    assert!(said["message"].as_str().unwrap().contains("`–` stands there now"));
    assert_eq!(served.read("n.md"), NOTEBOOK);
}

#[test]
fn an_edit_elsewhere_is_kept_and_one_of_the_same_cell_is_a_conflict() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let edited = NOTEBOOK.replace("# Salt", "# Sea salt").replace("32.0000", "32.0001");
    served.save("n.md", &edited);
    assert_eq!(enter(&served, "write", &reading()).0, 200);
    assert_eq!(served.read("n.md"), edited.replace("–", "20.0000"));
    let again = enter(&served, "write", &reading());
    assert_eq!(again.0, 409);
    assert_eq!(served.read("n.md"), edited.replace("–", "20.0000"));
}

#[test]
fn a_link_is_followed_and_permissions_stay() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("real")).unwrap();
    let real = folder.path().join("real/n.md");
    std::fs::write(&real, NOTEBOOK).unwrap();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        std::os::unix::fs::symlink(&real, folder.path().join("n.md")).unwrap();
        std::fs::set_permissions(&real, std::fs::Permissions::from_mode(0o640)).unwrap();
        let served = Served::in_folder(folder, &["n.md"], &[]);
        assert_eq!(enter(&served, "write", &reading()).0, 200);
        let facts = std::fs::symlink_metadata(served.path("n.md")).unwrap();
        assert!(facts.file_type().is_symlink());
        assert_eq!(std::fs::metadata(served.path("n.md")).unwrap().permissions().mode() & 0o777, 0o640);
        assert_eq!(served.read("real/n.md"), NOTEBOOK.replace("–", "20.0000"));
        let left = std::fs::read_dir(served.path("real")).unwrap().count();
        assert_eq!(left, 1, "nothing is left beside the notebook");
    }
}

#[test]
fn requests_that_are_too_large_are_refused() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let origin = format!("http://{}", served.host());
    let headers = [("Origin", origin.as_str()), ("Content-Type", "application/json")];
    assert_eq!(post(&served, "n/0/write", &headers, &"x".repeat(70_000)).0, 413);
    let long = own(&served, &format!("n/0/value?key={}", "x".repeat(20_000)));
    assert!(matches!(get(&served, &long, &[]).0, 414 | 431 | 400));
    assert!(matches!(get(&served, &own(&served, ""), &[("X-Long", &"x".repeat(20_000))]).0, 431 | 400));
    for method in ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"] {
        let request = format!(
            "{method} {} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n",
            own(&served, ""),
            served.host()
        );
        assert_eq!(raw(&served, &request).0, 405, "{method}");
    }
    assert_eq!(get(&served, &own(&served, ""), &[]).0, 200);
}

#[test]
fn broken_clients_do_no_harm() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    for junk in [
        "",
        "\r\n\r\n",
        "GET\r\n",
        "\u{0}\u{1}\u{2}",
        "GET / HTTP/9\r\n\r\n",
        "POST / HTTP/1.1\r\nContent-Length: x\r\n\r\n",
    ] {
        for _ in 0..20 {
            let mut stream = TcpStream::connect(served.host()).unwrap();
            drop(stream.write_all(junk.as_bytes()));
        }
    }
    let request = format!(
        "POST {} HTTP/1.1\r\nHost: {1}\r\nOrigin: http://{1}\r\nContent-Type: application/json\r\nContent-Length: 500\r\n\r\n{{",
        own(&served, "n/0/write"),
        served.host()
    );
    for _ in 0..20 {
        let mut stream = TcpStream::connect(served.host()).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
    }
    assert_eq!(get(&served, &own(&served, ""), &[]).0, 200);
    assert_eq!(served.read("n.md"), NOTEBOOK);
}

#[test]
fn clients_that_say_nothing_are_let_go_and_others_are_served() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let begun = Instant::now();
    let idle: Vec<TcpStream> = (0..100).map(|_| TcpStream::connect(served.host()).unwrap()).collect();
    let mut slow = TcpStream::connect(served.host()).unwrap();
    drop(slow.write_all(b"GET / HTT"));
    assert_eq!(get(&served, &own(&served, ""), &[]).0, 200);
    assert!(begun.elapsed() < Duration::from_secs(60));
    drop(idle);
}

#[test]
fn a_body_that_does_not_come_is_not_waited_for() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let request = format!(
        "POST {} HTTP/1.1\r\nHost: {1}\r\nOrigin: http://{1}\r\nContent-Type: application/json\r\nContent-Length: 500\r\nConnection: close\r\n\r\n{{",
        own(&served, "n/0/write"),
        served.host()
    );
    assert_eq!(raw(&served, &request).0, 408);
}

#[test]
fn a_client_that_does_not_read_holds_nobody_up() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let request = format!("GET {} HTTP/1.1\r\nHost: {}\r\n\r\n", own(&served, "page.js"), served.host());
    let mut deaf: Vec<TcpStream> = (0..30).map(|_| TcpStream::connect(served.host()).unwrap()).collect();
    for stream in &mut deaf {
        for _ in 0..200 {
            if stream.set_write_timeout(Some(Duration::from_millis(20))).is_err()
                || stream.write_all(request.as_bytes()).is_err()
            {
                break;
            }
        }
    }
    let begun = Instant::now();
    assert_eq!(get(&served, &own(&served, ""), &[]).0, 200);
    assert!(begun.elapsed() < Duration::from_secs(10));
}

#[test]
fn the_next_version_is_told_as_soon_as_it_is_there() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let first = state(&served, 0);
    assert_eq!(first["version"], 1);
    assert_eq!(first["form"]["blocks"][0]["lines"][0]["label"], "cup");
    served.save("n.md", &NOTEBOOK.replace("21.0000", "2l.0000"));
    let second = state(&served, 1);
    assert_eq!(second["findings"][0]["line"], 7);
    assert_eq!(second["findings"][0]["excerpt"][0], "cup + sample: 2l.0000  32.0000");
    // An editor that writes beside the file and changes the names.
    let beside = served.path("n.md.tmp");
    std::fs::write(&beside, NOTEBOOK.replace("# Salt", "# Rock salt")).unwrap();
    std::fs::rename(&beside, served.path("n.md")).unwrap();
    let mut version = second["version"].as_u64().unwrap();
    loop {
        let next = state(&served, version);
        version = next["version"].as_u64().unwrap();
        if next["findings"].as_array().unwrap().iter().all(|finding| finding["severity"] != "error") {
            break;
        }
    }
}

#[test]
fn a_notebook_that_goes_away_leaves_its_last_version() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    std::fs::remove_file(served.path("n.md")).unwrap();
    let gone = state(&served, 1);
    assert!(gone["notice"].as_str().unwrap().contains("there is no such file"), "{gone}");
    assert_eq!(gone["form"]["blocks"][0]["lines"][0]["label"], "cup");
    served.save("n.md", NOTEBOOK);
    let mut version = gone["version"].as_u64().unwrap();
    loop {
        let next = state(&served, version);
        version = next["version"].as_u64().unwrap();
        if next["notice"] == "" {
            break;
        }
    }
}

#[test]
fn a_file_beside_the_notebook_counts_even_before_it_is_there() {
    let text = "# Salt\n\n```masses\nfrom: weighings.csv\n```\n";
    let served = Served::start(&[("n.md", text)]);
    assert_ne!(state(&served, 0)["findings"], json!([]));
    served.save("weighings.csv", "load,trial,reading\ncup,A,20.0000\ncup,B,20.0001\n");
    let mut version = 1;
    while state(&served, version)["findings"]
        .as_array()
        .unwrap()
        .iter()
        .any(|finding| finding["severity"] == "error")
    {
        version += 1;
    }
}

#[test]
fn several_notebooks_have_a_page_together() {
    let served =
        Served::start(&[("a.md", NOTEBOOK), ("b.md", "# Other\n\n```masses\ntrial: A\npan: 1.0000\n```\n")]);
    let list: Value = minreq::get(format!("{}list", served.address)).send().unwrap().json().unwrap();
    assert_eq!(list, json!(["a.md", "b.md"]));
    let other: Value =
        minreq::get(format!("{}n/1/state?since=0", served.address)).send().unwrap().json().unwrap();
    assert_eq!(other["form"]["blocks"][0]["lines"][0]["label"], "pan");
}

#[test]
fn an_entry_is_checked_before_it_is_written() {
    let served = Served::start(&[("n.md", NOTEBOOK)]);
    let (status, said) = enter(&served, "check", &reading());
    assert_eq!(status, 200);
    assert_eq!(said["net_masses"][0], json!(["m(sample)", "1.0000 g"]));
    assert_eq!(served.read("n.md"), NOTEBOOK);
}

#[test]
fn a_shared_page_has_an_address_of_its_own_and_says_so() {
    let served = Served::with(&[("n.md", NOTEBOOK)], &["--share=127.0.0.1"]);
    let shared = &served.addresses[1];
    assert_eq!(minreq::get(shared).send().unwrap().status_code, 200);
    let token = |address: &str| address.trim_end_matches('/').rsplit('/').next().unwrap().to_owned();
    assert_ne!(token(shared), served.token());
    // The token of one door does not open the other.
    let mixed = shared.replace(&token(shared), served.token());
    assert_eq!(minreq::get(mixed).send().unwrap().status_code, 404);
}

#[test]
fn it_ends_by_an_interrupt_while_a_page_is_waiting() {
    let mut served = Served::start(&[("n.md", NOTEBOOK)]);
    let mut waiting = TcpStream::connect(served.host()).unwrap();
    let path = own(&served, "n/0/state?since=1");
    waiting.write_all(format!("GET {path} HTTP/1.1\r\nHost: {}\r\n\r\n", served.host()).as_bytes()).unwrap();
    std::thread::sleep(Duration::from_millis(100));
    let begun = Instant::now();
    assert_eq!(served.interrupt(), Some(0));
    assert!(begun.elapsed() < Duration::from_secs(10));
}

/// Ctrl-C while a reading is put in: the notebook has it or has it not, and nothing else is left in its folder.
#[test]
fn an_interrupt_while_a_reading_is_written_leaves_a_whole_notebook() {
    let new = NOTEBOOK.replace("cup: –", "cup: 20.0000");
    for milliseconds in [0, 2, 5, 10, 30] {
        let mut served = Served::start(&[("n.md", NOTEBOOK)]);
        std::thread::scope(|scope| {
            let writing = scope.spawn(|| enter(&served, "write", &reading()).0);
            std::thread::sleep(Duration::from_millis(milliseconds));
            drop(Command::new("kill").args(["-INT", &served.process().to_string()]).status());
            let answered = writing.join().expect("an answer or none");
            assert!([0, 200].contains(&answered), "{answered}");
        });
        assert_eq!(served.interrupt(), Some(0), "after {milliseconds} ms");
        let text = served.read("n.md");
        assert!(text == NOTEBOOK || text == new, "after {milliseconds} ms: {text}");
        let names = std::fs::read_dir(served.folder()).unwrap().count();
        assert_eq!(names, 1, "after {milliseconds} ms");
    }
}

#[test]
fn what_cannot_be_served_is_said() {
    let run = |arguments: &[&str]| {
        let output =
            Command::new(env!("CARGO_BIN_EXE_reweigh")).arg("bench").args(arguments).output().unwrap();
        (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    let (code, said) = run(&["nowhere.md"]);
    assert_eq!(code, Some(2));
    assert!(said.contains("cannot read nowhere.md"), "{said}");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("n.md");
    std::fs::write(&path, NOTEBOOK).unwrap();
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let (code, said) = run(&[path.to_str().unwrap(), "--port", &port]);
    assert_eq!(code, Some(2));
    assert!(said.contains("cannot listen at 127.0.0.1"), "{said}");
    let (code, said) = run(&[path.to_str().unwrap(), "--share=nonsense"]);
    assert_eq!((code, said.contains("is no address")), (Some(2), true));
}

#[test]
fn a_template_and_a_picture_beside_the_notebook_are_watched() {
    let folder = tempfile::tempdir().unwrap();
    let text = "# Salt\n\n```experiment\ntemplate = \"quiet\"\n```\n\n![a crucible](crucible.svg)\n";
    std::fs::create_dir(folder.path().join("quiet")).unwrap();
    let template = |id: &str| format!("id = \"{id}\"\nversion = \"1\"\ntitle = \"Quiet\"\n");
    for (path, text) in [
        ("n.md", text),
        ("quiet/template.toml", &template("quiet")),
        ("quiet/method.md", ""),
        ("quiet/notebook.md", ""),
        ("crucible.svg", "<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'/>"),
    ] {
        std::fs::write(folder.path().join(path), text).unwrap();
    }
    let served = Served::in_folder(folder, &["n.md"], &[]);
    assert_eq!(state(&served, 0)["version"], 1);
    served.save("crucible.svg", "<svg xmlns='http://www.w3.org/2000/svg' width='8' height='9'/>");
    let version = state(&served, 1)["version"].as_u64().unwrap();
    assert!(version > 1);
    // Only a change makes a version: what else lies there is nobody's business.
    served.save("other.txt", "x");
    let working = "```working\nm(x) = m(nothing)\n```\n";
    served.save("quiet/method.md", working);
    let mut next = state(&served, version);
    while !next["findings"].to_string().contains("m(nothing)") {
        next = state(&served, next["version"].as_u64().unwrap());
    }
}

#[test]
fn a_template_given_by_its_folder_is_watched_too() {
    let elsewhere = tempfile::tempdir().unwrap();
    let write = |path: &str, text: &str| std::fs::write(elsewhere.path().join(path), text).unwrap();
    write("template.toml", "id = \"quiet\"\nversion = \"1\"\ntitle = \"Quiet\"\n");
    write("method.md", "");
    write("notebook.md", "");
    let folder = elsewhere.path().to_str().unwrap();
    let served = Served::with(&[("n.md", NOTEBOOK)], &["--template", folder]);
    let mut next = state(&served, 0);
    write("method.md", "```working\nm(x) = m(nothing)\n```\n");
    while !next["findings"].to_string().contains("m(nothing)") {
        next = state(&served, next["version"].as_u64().unwrap());
    }
}

#[test]
fn folders_below_that_of_a_template_are_watched() {
    let elsewhere = tempfile::tempdir().unwrap();
    let write = |path: &str, text: &str| std::fs::write(elsewhere.path().join(path), text).unwrap();
    write("template.toml", "id = \"quiet\"\nversion = \"1\"\ntitle = \"Quiet\"\n");
    write("method.md", "");
    write("notebook.md", "");
    std::fs::create_dir_all(elsewhere.path().join("pictures/small")).unwrap();
    let served = Served::with(&[("n.md", NOTEBOOK)], &["--template", elsewhere.path().to_str().unwrap()]);
    let first = state(&served, 0)["version"].as_u64().unwrap();
    write("pictures/small/plan.txt", "a plan");
    let second = state(&served, first)["version"].as_u64().unwrap();
    assert!(second > first);
    // One that is made later is watched from then on: the version after the next knows of it.
    std::fs::create_dir(elsewhere.path().join("later")).unwrap();
    let third = state(&served, second)["version"].as_u64().unwrap();
    let fourth = state(&served, third)["version"].as_u64().unwrap();
    write("later/plan.txt", "a plan");
    assert!(state(&served, fourth)["version"].as_u64().unwrap() > fourth);
}

/// A layout that is not shipped is set in a process with limits; while it cannot be set, the last good pages stay.
#[test]
#[cfg(feature = "pdf")]
fn the_last_good_pages_stay_while_a_layout_is_mended() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("own")).unwrap();
    let layout = |body: &str| format!("#import \"parts.typ\": *\n#let report(data, body) = {{\n{body}\n}}\n");
    for (path, text) in [
        ("n.md", "# Salt\n\n```experiment\ntemplate = \"own\"\n```\n\nIt was weighed.\n"),
        ("own/template.toml", "id = \"own\"\nversion = \"1\"\ntitle = \"Own\"\n"),
        ("own/method.md", ""),
        ("own/notebook.md", ""),
        ("own/report.typ", &layout("body")),
    ] {
        std::fs::write(folder.path().join(path), text).unwrap();
    }
    let served = Served::in_folder(folder, &["n.md"], &["--layout-seconds", "20"]);
    let first = state(&served, 0);
    assert_eq!(first["notice"], "", "{first}");
    assert_eq!(first["pages"].as_array().map(Vec::len), Some(1), "{first}");
    let until = |mut version: u64, whole: bool| loop {
        let next = state(&served, version);
        version = next["version"].as_u64().unwrap();
        if (next["notice"] == "") == whole {
            return next;
        }
    };
    served.save("own/report.typ", &layout("nobody"));
    let broken = until(1, false);
    assert_eq!(broken["pages"], first["pages"]);
    assert!(broken["findings"].to_string().contains("own/report.typ:3"), "{broken}");
    served.save("own/report.typ", &layout("body\n[Set again.]"));
    let mended = until(broken["version"].as_u64().unwrap(), true);
    assert_ne!(mended["pages"], first["pages"]);
}
