//! The server of the bench page: any bytes as a connection. `TOKEN` stands for the token of the address. The clock is the
//! target's own, so that nothing waits.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reweigh::Wanted;
use reweigh::bench_page::guard::Door;
use reweigh::bench_page::notebooks::{Bench, FindTemplate};
use reweigh::bench_page::paper::NoPaper;
use reweigh::bench_page::server::converse;
use std::path::PathBuf;
use std::sync::{Arc, LazyLock};
use tokio::io::{AsyncReadExt, AsyncWriteExt};

const NOTEBOOK: &str = "```masses\ntrial: A B\ncup: 20.0000 21.0000\ncup + salt: – 22.5000\n```\n";

struct Place {
    bench: Arc<Bench>,
    path: PathBuf,
    runtime: tokio::runtime::Runtime,
}

static PLACE: LazyLock<Place> = LazyLock::new(|| {
    let path = tempfile::tempdir().expect("a folder").keep().join("n.md");
    std::fs::write(&path, NOTEBOOK).expect("the notebook is written");
    let find: FindTemplate = Arc::new(Wanted::default);
    let bench =
        Bench::start(std::slice::from_ref(&path), &find, &[], &|| Box::new(NoPaper)).expect("a bench");
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build();
    Place { bench: Arc::new(bench), path, runtime: runtime.expect("a runtime") }
});

fuzz_target!(|bytes: &[u8]| {
    let place = &*PLACE;
    let sent = replaced(bytes, b"TOKEN", b"7e57");
    let door = Door { address: ([127, 0, 0, 1], 80).into(), token: "7e57".into(), until: None };
    let answered = place.runtime.block_on(async {
        let (client, server) = tokio::io::duplex(1 << 20);
        let (_ending, ended) = tokio::sync::watch::channel(false);
        let talking = async {
            let (mut reading, mut writing) = tokio::io::split(client);
            let mut answer = Vec::new();
            drop(writing.write_all(&sent).await);
            drop(writing.shutdown().await);
            drop(reading.read_to_end(&mut answer).await);
            answer
        };
        tokio::join!(converse(server, place.bench.clone(), door.into(), ended), talking).1
    });
    assert!(answered.is_empty() || answered.starts_with(b"HTTP/1."), "no answer in HTTP");
    if std::fs::read(&place.path).ok().as_deref() != Some(NOTEBOOK.as_bytes()) {
        std::fs::write(&place.path, NOTEBOOK).expect("the notebook is written");
    }
});

fn replaced(bytes: &[u8], word: &[u8], with: &[u8]) -> Vec<u8> {
    let (mut result, mut rest) = (Vec::new(), bytes);
    while let Some(at) = rest.windows(word.len()).position(|window| window == word) {
        result.extend_from_slice(&rest[..at]);
        result.extend_from_slice(with);
        rest = &rest[at + word.len()..];
    }
    result.extend_from_slice(rest);
    result
}
