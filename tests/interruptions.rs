//! Ctrl-C in every command that runs for a while or writes: what was there stays or is replaced by something whole, nothing
//! half written is left, and the status says what happened.

use crate::common::place::{NOTEBOOK, OLD, Place, can_trace, said, spread};
use std::os::unix::process::ExitStatusExt;
use std::process::Output;

/// So many calls of each command are interrupted; `REWEIGH_EVERY_CALL=1` tries all of them.
const MOST: usize = 6;

/// Each with what it puts into the folder.
const COMMANDS: [&str; 11] = [
    "compute n.md --format json",
    "review c.md --format html",
    "review c.md --remarks remarks",
    "section hand-ins --format csv --output rows.csv",
    "section hand-ins --format html --output n.html",
    "start hydrate new.md",
    "start hydrate --roster roster.csv notebooks",
    "start hydrate --sheet sheet.html",
    "report --as html n.md c.md --output reports",
    "report --as markdown n.md --output report.md",
    "template check hydrate",
];

fn place() -> Place {
    let place = Place::new();
    let claims = format!("{NOTEBOOK}\n```claimed\ntrial: A B\nm(salt): 1.0000 1.6000\n```\n");
    std::fs::create_dir(place.path("hand-ins")).expect("a folder");
    for name in ["c.md", "hand-ins/a.md", "hand-ins/b.md"] {
        std::fs::write(place.path(name), &claims).expect("written");
    }
    std::fs::write(place.path("report.md"), OLD).expect("an old report");
    std::fs::write(place.path("roster.csv"), "name\nBench 1\nBench 2\nBench 3\n").expect("written");
    place
}

/// What a command leaves behind without trouble.
fn usual(command: &[&str]) -> (Output, std::collections::BTreeMap<String, Vec<u8>>) {
    let place = place();
    let output = place.run(command);
    assert!(matches!(output.status.code(), Some(0 | 1)), "{command:?}: {}", said(&output));
    (output, place.files())
}

/// Every file is as it was before the command or as it is after it.
fn whole(place: &Place, after: &std::collections::BTreeMap<String, Vec<u8>>, when: &str) {
    let before = crate::interruptions::place().files();
    for (name, bytes) in place.files() {
        let known = [before.get(&name), after.get(&name)];
        let (is_there, length) = (known.iter().any(Option::is_some), bytes.len());
        assert!(is_there, "{when}: {name} ({length} bytes) is left behind");
        assert!(known.contains(&Some(&bytes)), "{when}: {name} is neither the old one nor the new one");
    }
    assert!(before.keys().all(|name| place.path(name).is_file()), "{when}: a file is gone");
}

#[test]
fn ctrl_c_in_any_command_leaves_nothing_half_written() {
    if !can_trace("Ctrl-C in every command") {
        return;
    }
    let (mut interrupted, mut ended) = (0, 0);
    for words in COMMANDS {
        let command: Vec<&str> = words.split(' ').collect();
        let (output, after) = usual(&command);
        for (call, nth, _) in spread(&place().calls(&command), MOST) {
            let place = place();
            let stopped = place.injected(&call, "signal=INT", nth, &command);
            let when = format!("`{words}` interrupted at {call} {nth}");
            whole(&place, &after, &when);
            assert!(output.stdout.starts_with(&stopped.stdout), "{when}: other words than usual");
            // Ended by the signal as a shell knows it, or it was done already.
            if stopped.status.signal() == Some(2) || stopped.status.code() == Some(130) {
                interrupted += 1;
            } else {
                assert_eq!(stopped.status.code(), output.status.code(), "{when}: {}", said(&stopped));
                ended += 1;
            }
        }
    }
    assert!(interrupted > 20, "{interrupted} were interrupted, {ended} were done before");
}

/// Told to end at moments that are spread over its whole run, whichever thread is at work: a section works on all cores.
#[test]
fn ctrl_c_at_any_moment_of_a_section_leaves_the_old_rows_or_the_new_ones() {
    let command = ["section", "hand-ins", "--format", "json", "--output", "n.html"];
    let fill = |place: &Place| {
        for n in 0..40 {
            std::fs::copy(place.path("c.md"), place.path(&format!("hand-ins/{n}.md"))).expect("a hand-in");
        }
    };
    let usual = place();
    fill(&usual);
    let output = usual.run(&command);
    let new = std::fs::read(usual.path("n.html")).expect("rows");
    let place = place();
    fill(&place);
    let names = place.names();
    for milliseconds in ["0.01", "0.03", "0.06", "0.1", "0.15", "0.2", "0.3", "0.5"] {
        let stopped = place.under(&["timeout", "-s", "INT", milliseconds], &command);
        place.whole(&new, &format!("after {milliseconds} s"));
        assert_eq!(place.names(), names, "after {milliseconds} s");
        // `timeout` says 124 where it sent the signal.
        assert!([Some(124), output.status.code()].contains(&stopped.status.code()), "{:?}", stopped.status);
        std::fs::write(place.path("n.html"), OLD).expect("written");
    }
}
