//! `reweigh bench`: the page beside the balance, served until Ctrl-C.

use super::findings::Voice;
use super::{Ending, complain, input, print};
use crate::Wanted;
use crate::bench_page::notebooks::{Bench, FindTemplate};
use crate::bench_page::paper::Paper;
use crate::bench_page::server::{Doors, Places, serve};
use std::net::{IpAddr, UdpSocket};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

/// Options of `bench`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The notebooks, Markdown files.
    #[arg(required = true)]
    notebooks: Vec<PathBuf>,
    /// The port on this machine [default: a free one].
    #[arg(long, default_value_t = 0, hide_default_value = true)]
    port: u16,
    /// Open the page in the browser.
    #[arg(long)]
    open: bool,
    /// Serve the page to the network too, for a tablet beside the balance: everyone who has the address can read the
    /// notebooks and write readings into them, and the connection is not encrypted. An address of this machine may be
    /// given.
    #[arg(long, num_args = 0..=1, require_equals = true, default_missing_value = "", value_name = "ADDRESS")]
    share: Option<String>,
    /// For how many hours the shared address is answered.
    #[arg(long, default_value_t = 8, value_parser = clap::value_parser!(u64).range(1..=24))]
    share_hours: u64,
    /// The template to apply instead of the one a notebook names: a folder, or a shipped one by its name.
    #[arg(long)]
    template: Option<String>,
    /// Most seconds that a layout of a template's own may take.
    #[arg(long, default_value_t = 20)]
    layout_seconds: u64,
}

pub(super) fn run(options: &Options, _: &Voice) -> Ending {
    match bench(options) {
        Ok(()) => Ending::Clean,
        Err(message) => complain(&message),
    }
}

fn bench(options: &Options) -> Result<(), String> {
    let share = options.share.as_deref().map(address).transpose()?;
    let share = share.map(|ip| (ip, Duration::from_secs(options.share_hours * 3600)));
    let find_template = find_template(options)?;
    let seconds = options.layout_seconds.max(1);
    let also = template_folder(options);
    let bench = Arc::new(Bench::start(&options.notebooks, &find_template, &also, &|| paper(seconds))?);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| format!("the server could not be started: {error}"))?;
    let places = Places { port: options.port, share };
    let ready = |doors: &Doors| {
        drop(print(&words(doors, options)));
        if options.open && !open(&doors.own.page()) {
            complain("no browser could be opened; open the address yourself");
        }
    };
    let served = runtime.block_on(async { serve(bench, &places, ready, interrupted()).await });
    // What a client still asks for is not waited for.
    runtime.shutdown_timeout(Duration::from_millis(200));
    served
}

/// What is said once the page is served.
fn words(doors: &Doors, options: &Options) -> String {
    let mut said = format!(
        "The bench page is at\n  {}\nIt answers on this machine alone. Ctrl-C ends it.\n",
        doors.own.page()
    );
    if let Some(shared) = &doors.shared {
        let hours = options.share_hours;
        let time = if hours == 1 { "one hour".to_owned() } else { format!("{hours} hours") };
        said.push_str(&format!(
            "For {time} it is shared in the network, at\n  {}\nEveryone who has this address can read the \
             notebooks and write readings into them, and what goes over\nthe network can be read by others on it. \
             Use it only in a network you trust.\n",
            shared.page()
        ));
    }
    said
}

/// How the template is found, for every version anew; one that is not there at the start is an error at once.
fn find_template(options: &Options) -> Result<FindTemplate, String> {
    let Some(name) = options.template.clone() else { return Ok(Arc::new(Wanted::default)) };
    let first = input::template(&name)?;
    Ok(Arc::new(move || {
        let template = input::template(&name).unwrap_or_else(|_| first.clone());
        Wanted { template: Some(template), ..Wanted::default() }
    }))
}

/// The folder of a template that is given by its path, and a file in it: both are watched.
fn template_folder(options: &Options) -> Vec<PathBuf> {
    let folder = options.template.as_ref().and_then(|name| PathBuf::from(name).canonicalize().ok());
    folder.map_or(Vec::new(), |folder| vec![folder.join("template.toml"), folder])
}

#[cfg(feature = "pdf")]
fn paper(seconds: u64) -> Box<dyn Paper> {
    Box::new(crate::bench_page::typeset::Typeset::new(super::confined_layout::ConfinedPages::new(seconds)))
}

#[cfg(not(feature = "pdf"))]
fn paper(_: u64) -> Box<dyn Paper> {
    Box::new(crate::bench_page::paper::NoPaper)
}

/// The address to share at: the one given, else that by which this machine reaches others. Nothing is sent for it.
fn address(given: &str) -> Result<IpAddr, String> {
    if !given.is_empty() {
        let ip = given.parse().map_err(|_| format!("`{given}` is no address such as 192.168.1.20"))?;
        return Ok(ip);
    }
    // An address that is reserved for documentation (RFC 5737).
    let found = UdpSocket::bind("0.0.0.0:0")
        .and_then(|socket| socket.connect("192.0.2.1:9").and_then(|()| socket.local_addr()));
    match found {
        Ok(address) if !address.ip().is_unspecified() => Ok(address.ip()),
        _ => Err("this machine is in no network; give the address to share at: --share=ADDRESS".to_owned()),
    }
}

/// Listens from here on for Ctrl-C, or for being asked to end, and waits for it. Whoever has read the address may send
/// it, so this begins before the address is said.
#[cfg(unix)]
fn interrupted() -> impl Future<Output = ()> {
    use tokio::signal::unix::{SignalKind, signal};
    let heard = (signal(SignalKind::interrupt()), signal(SignalKind::terminate()));
    async move {
        if let (Ok(mut interrupted), Ok(mut asked)) = heard {
            tokio::select! {
                _ = interrupted.recv() => {}
                _ = asked.recv() => {}
            }
        } else {
            drop(tokio::signal::ctrl_c().await);
        }
    }
}

/// Waits for Ctrl-C.
#[cfg(not(unix))]
async fn interrupted() {
    drop(tokio::signal::ctrl_c().await);
}

/// Opens an address in the usual browser.
fn open(address: &str) -> bool {
    let (program, first): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(windows) {
        ("cmd", &["/c", "start", ""])
    } else {
        ("xdg-open", &[])
    };
    let quiet = std::process::Stdio::null;
    let command = std::process::Command::new(program)
        .args(first)
        .arg(address)
        .stdin(quiet())
        .stdout(quiet())
        .stderr(quiet())
        .spawn();
    command.is_ok()
}
