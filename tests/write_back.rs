//! Readings written into a notebook: the cell changes, and no other byte.
//!
//! The expected text is put together here from the pieces the notebook was made of, without the program's own reading of
//! it.

use proptest::prelude::*;
use reweigh::bench_page::write_back::{At, Entry, Refusal, Why, enter};
use reweigh::files::Memory;
use reweigh::notebook::read;

fn entered(text: &str, entry: &Entry) -> Result<String, Refusal> {
    let notebook = read("n.md", text.as_bytes(), &Memory::default());
    enter(text.as_bytes(), &notebook, entry).map(|bytes| String::from_utf8(bytes).unwrap())
}

/// A cell of a block whose trials are A, B, ….
fn at(label: &str, column: usize, was: &str) -> At {
    let trial = ["A", "B", "C"].get(column).copied().unwrap_or("?").to_owned();
    At { label: label.into(), nth: 0, column, trial, was: was.into() }
}

fn load(behind: At, label: &str, reading: &str) -> Entry {
    Entry::Load { behind, label: label.into(), reading: reading.into() }
}

fn trial(label: &str, name: &str) -> Entry {
    Entry::Trial { label: label.into(), nth: 0, name: name.into() }
}

fn reading(at: At, reading: &str) -> Entry {
    Entry::Reading { at, reading: reading.into(), why: None }
}

fn corrected(at: At, reading: &str, reason: &str, time: &str) -> Entry {
    let why = Some(Why { reason: reason.into(), time: time.into() });
    Entry::Reading { at, reading: reading.into(), why }
}

fn further(label: &str, column: usize, treatment: &str, reading: &str) -> Entry {
    Entry::Further { at: at(label, column, ""), treatment: treatment.into(), reading: reading.into() }
}

const NOTEBOOK: &str = "\
# Salt

Weighed {m(sample)} of it.

```masses
unit:     g
balance:  B-04
trial:                            A                  B
crucible, heating 1:              18.2749            17.9034
crucible, heating 2:              18.2746 [lid on]   –
crucible + sample:                –                  18.9466  @ B-07
crucible + residue, heating 1:    ~~18.95~~ –
```

After.
";

/// The notebook with one piece of it replaced.
fn with(old: &str, new: &str) -> String {
    assert_eq!(NOTEBOOK.matches(old).count(), 1, "{old}");
    NOTEBOOK.replace(old, new)
}

#[test]
fn a_dash_gives_way_to_the_reading() {
    let entry = reading(at("crucible + sample", 0, "–"), "19.3127");
    assert_eq!(
        entered(NOTEBOOK, &entry).unwrap(),
        with("–                  18.9466", "19.3127                  18.9466")
    );
    let entry = reading(at("crucible + residue, heating 1", 0, "~~18.95~~ –"), " 18.9412 ");
    assert_eq!(entered(NOTEBOOK, &entry).unwrap(), with("~~18.95~~ –", "~~18.95~~ 18.9412"));
}

#[test]
fn a_column_that_is_not_reached_is_filled_under_its_name() {
    let entry = reading(at("crucible + residue, heating 1", 1, ""), "18.5736");
    let written = with("~~18.95~~ –\n", "~~18.95~~ –        18.5736\n");
    assert_eq!(entered(NOTEBOOK, &entry).unwrap(), written);
}

#[test]
fn a_reading_is_struck_with_its_reason_and_never_replaced() {
    let bare = reading(at("crucible, heating 1", 0, "18.2749"), "18.2479");
    let Err(Refusal::Unfit(why)) = entered(NOTEBOOK, &bare) else { panic!("it was replaced") };
    assert!(why.contains("say why"), "{why}");
    let blank = corrected(at("crucible, heating 1", 0, "18.2749"), "18.2479", "  ", "14:32");
    assert!(matches!(entered(NOTEBOOK, &blank), Err(Refusal::Unfit(_))));
    let entry = corrected(at("crucible, heating 1", 0, "18.2749"), "18.2479", "digits  swapped", "14:32");
    let written = with("18.2749  ", "~~18.2749~~ 18.2479 [digits swapped; 14:32]  ");
    assert_eq!(entered(NOTEBOOK, &entry).unwrap(), written);
    let entry = corrected(at("crucible, heating 2", 0, "18.2746 [lid on]"), "18.2744", "misread", "");
    let written = with("18.2746 [lid on]", "~~18.2746~~ 18.2744 [lid on] [misread]");
    assert_eq!(entered(NOTEBOOK, &entry).unwrap(), written);
    let same = corrected(at("crucible, heating 1", 0, "18.2749"), "18.2749", "misread", "");
    assert!(matches!(entered(NOTEBOOK, &same), Err(Refusal::Unfit(_))));
}

#[test]
fn a_cell_that_changed_meanwhile_is_a_conflict() {
    let entry = reading(at("crucible + sample", 0, "19.3"), "19.3127");
    assert_eq!(entered(NOTEBOOK, &entry), Err(Refusal::Conflict { now: Some("–".into()) }));
    let entry = reading(at("crucible, heating 1", 0, "–"), "18.2750");
    assert_eq!(entered(NOTEBOOK, &entry), Err(Refusal::Conflict { now: Some("18.2749".into()) }));
    for gone in [at("crucible + spoon", 0, "–"), at("crucible + sample", 7, "")] {
        assert_eq!(entered(NOTEBOOK, &reading(gone, "19.3")), Err(Refusal::Conflict { now: None }));
    }
}

#[test]
fn another_heating_is_a_line_of_its_own_behind_the_last() {
    let entry = further("crucible, heating 2", 1, "", "17.9031");
    let line = "crucible, heating 3:              –                  17.9031\n";
    assert_eq!(
        entered(NOTEBOOK, &entry).unwrap(),
        with("crucible + sample:", &format!("{line}crucible + sample:"))
    );
    let entry = further("crucible, heating 2", 0, "strong heating", "18.2744");
    let line = "crucible, strong heating 3:       18.2744\n";
    assert_eq!(
        entered(NOTEBOOK, &entry).unwrap(),
        with("crucible + sample:", &format!("{line}crucible + sample:"))
    );
    let entry = further("crucible + sample", 0, "", "19.3126");
    let line = "crucible + sample:                19.3126\n";
    let place = "crucible + residue";
    assert_eq!(entered(NOTEBOOK, &entry).unwrap(), with(place, &format!("{line}{place}")));
    let early = further("crucible, heating 1", 0, "", "18.2744");
    assert_eq!(entered(NOTEBOOK, &early), Err(Refusal::Conflict { now: None }));
}

#[test]
fn another_heating_at_the_end_of_a_file_without_a_line_end() {
    for ending in ["\n", "\r\n", "\r"] {
        let text =
            format!("```masses{ending}trial: A{ending}cup, heating 1: 1.0000{ending}cup, heating 2: 1.0000");
        let entry = further("cup, heating 2", 0, "", "0.9999");
        assert_eq!(entered(&text, &entry).unwrap(), format!("{text}{ending}cup, heating 3:  0.9999"));
    }
}

#[test]
fn another_trial_is_a_name_and_a_dash_in_every_full_line() {
    let entry = trial("crucible + sample", "C");
    let expected = NOTEBOOK
        .replace("A                  B\n", "A                  B                  C\n")
        .replace("17.9034\n", "17.9034            –\n")
        .replace("[lid on]   –\n", "[lid on]   –                  –\n")
        .replace("18.9466  @ B-07", "18.9466            –  @ B-07");
    assert_eq!(entered(NOTEBOOK, &entry).unwrap(), expected);
    for name in ["A", "b", "", "two words", "x]", "a,b"] {
        let entry = trial("crucible + sample", name);
        assert!(matches!(entered(NOTEBOOK, &entry), Err(Refusal::Unfit(_))), "{name}");
    }
}

#[test]
fn another_load_is_a_line_with_a_cell_for_every_trial() {
    // Behind the last weighing of the load it is put behind, whichever of them was named.
    let entry = load(at("crucible, heating 1", 1, ""), "crucible  + flux", "18.4421");
    let line = "crucible + flux:                  –                  18.4421\n";
    let place = "crucible + sample:";
    assert_eq!(entered(NOTEBOOK, &entry).unwrap(), with(place, &format!("{line}{place}")));
    let entry = load(at("crucible + residue, heating 1", 0, ""), "crucible + ash, ignition 1", "18.3301");
    let line = "crucible + ash, ignition 1:       18.3301            –\n";
    assert_eq!(entered(NOTEBOOK, &entry).unwrap(), with("~~18.95~~ –\n", &format!("~~18.95~~ –\n{line}")));
}

#[test]
fn a_load_that_is_there_or_is_none_is_refused() {
    for label in [
        "sample + Crucible",
        "crucible, ignition 1",
        "",
        "crucible +",
        "a: b",
        "unit",
        "Event, heating 2",
        "set aside",
        "x [y]",
        "~~x~~",
    ] {
        let entry = load(at("crucible + sample", 0, ""), label, "18.4421");
        assert!(matches!(entered(NOTEBOOK, &entry), Err(Refusal::Unfit(_))), "{label}");
    }
    let gone = load(at("crucible + spoon", 0, ""), "crucible + flux", "18.4421");
    assert_eq!(entered(NOTEBOOK, &gone), Err(Refusal::Conflict { now: None }));
    // A load whose line was struck as a whole may be weighed after all.
    let text = "```masses\ntrial: A\ncup: 1.0\n~~cup + salt: 2.0~~ [wrong cup]\n```\n";
    let entry = load(at("cup", 0, ""), "cup + salt", "2.1");
    let expected = text.replace("cup: 1.0\n", "cup: 1.0\ncup + salt:  2.1\n");
    assert_eq!(entered(text, &entry).unwrap(), expected);
}

#[test]
fn the_first_line_of_a_block_stands_behind_its_head() {
    let empty = |nth: usize| At { label: String::new(), nth, ..at("", 1, "") };
    for (before, line, behind) in [
        ("```masses\nunit: g\ntrial: A   B\n\n```\n", "cup:   –   1.0002\n", "B\n"),
        ("> ```masses\n> trial: A  B\n> ```\n", "> cup:   –  1.0002\n", "B\n"),
    ] {
        let written = entered(before, &load(empty(0), "cup", "1.0002")).unwrap();
        assert_eq!(written, before.replace(behind, &format!("{behind}{line}")));
    }
    // A block that has a line by now, or is not there, is not the one that was meant.
    for nth in [0, 1] {
        let entry = load(empty(nth), "cup + salt", "1.0");
        let text = "```masses\ntrial: A  B\ncup: 1.0  1.1\n```\n";
        assert_eq!(entered(text, &entry), Err(Refusal::Conflict { now: None }));
    }
    let bare = At { trial: "1".into(), column: 0, ..empty(0) };
    let written = entered("```masses\n```\n", &load(bare, "cup", "1.0")).unwrap();
    assert_eq!(written, "```masses\ncup:  1.0\n```\n");
}

#[test]
fn a_trial_that_became_another_one_is_a_conflict() {
    // An editor has put a trial before the one that was meant: its cell is empty too.
    let text = "```masses\ntrial: A  Z  B\ncup: 1.0  –  –\n```\n";
    let meant = at("cup", 1, "–");
    assert_eq!(entered(text, &reading(meant.clone(), "1.1")), Err(Refusal::Conflict { now: None }));
    for entry in [load(meant.clone(), "cup + salt", "1.1"), further("cup", 1, "", "1.1")] {
        assert_eq!(entered(text, &entry), Err(Refusal::Conflict { now: None }));
    }
}

#[test]
fn a_struck_weighing_does_not_end_its_series() {
    let text = "```masses\ntrial: A\ncup, heating 1: 1.0000\n~~cup, heating 2: 1.5000~~ [wrong cup]\nlid: 2.0\n```\n";
    let line = "cup, heating 2:  0.9998\n";
    let expected = text.replace("lid:", &format!("{line}lid:"));
    assert_eq!(entered(text, &further("cup, heating 1", 0, "", "0.9998")).unwrap(), expected);
}

#[test]
fn a_further_trial_takes_a_cell_wherever_columns_are_shared() {
    // Only the second block names the trials; `measured` and the first block have them by position.
    let text = "```masses\ncup: 1.0  1.1\nlid, heating 1: 2.0\n```\n\n```masses\ntrial: A  B\ncup + salt: 3.0  3.1\n```\n\n\
        ```measured\nV: 50.0 mL  49.0 mL\nt: 20 °C\n```\n\n```claimed\ntrial: A B\nm(salt): 2.0 g 2.0 g\n```\n";
    let expected = text
        .replace("cup: 1.0  1.1\n", "cup: 1.0  1.1  –\n")
        .replace("trial: A  B\n", "trial: A  B  C\n")
        .replace("salt: 3.0  3.1\n", "salt: 3.0  3.1  –\n")
        .replace("49.0 mL\n", "49.0 mL  –\n");
    assert_eq!(entered(text, &trial("cup + salt", "C")).unwrap(), expected);
    assert!(
        matches!(entered(text, &trial("cup", "C")), Err(Refusal::Unfit(_))),
        "the other block names them"
    );
    // One `±` behind several values is one effect in all of them, and stays so.
    let shared = text.replace("49.0 mL\n", "49.0 mL ± 0.1 mL\n");
    let written = entered(&shared, &trial("cup + salt", "C"));
    assert!(matches!(&written, Err(Refusal::Unfit(_))), "{written:?}");
}

#[test]
fn numbered_columns_grow_by_one() {
    let text = "```masses\ncup: 1.0    1.1\nlid, heating 1: 2.0\n```\n";
    let expected = text.replace("1.1\n", "1.1    –\n");
    for name in ["", "3"] {
        assert_eq!(entered(text, &trial("cup", name)).unwrap(), expected);
    }
    for name in ["C", "2"] {
        assert!(matches!(entered(text, &trial("cup", name)), Err(Refusal::Unfit(_))), "{name}");
    }
    let balances = "```masses\nbalance: B-1 B-2\ntrial: A B\ncup: 1.0 1.1\n```\n";
    let Err(Refusal::Unfit(why)) = entered(balances, &trial("cup", "C")) else {
        panic!("no balance is named for it")
    };
    assert!(why.contains("a balance for each trial"), "{why}");
}

#[test]
fn what_is_no_reading_is_refused_and_says_what_is_expected() {
    let refused = |typed: &str| match entered(NOTEBOOK, &reading(at("crucible + sample", 0, "–"), typed)) {
        Err(Refusal::Unfit(why)) => why,
        other => panic!("{typed}: {other:?}"),
    };
    assert!(refused("19,3127").contains("decimals with `.`"));
    for typed in [
        "",
        " ",
        "l9.3127",
        "19.3127 g",
        "19.3.1",
        "19.3\n20.1",
        "~~1~~",
        "19.3 [x]",
        "1e5",
        "= B",
        "@ B-07",
        "–",
    ] {
        assert!(refused(typed).contains("number"), "{typed}");
    }
}

#[test]
fn a_decimal_comma_is_asked_for_where_the_notebook_writes_one() {
    let text = "```experiment\ndecimal = \"comma\"\n```\n\n```masses\ntrial: A B\ncup: –  1,0001\n```\n";
    assert_eq!(entered(text, &reading(at("cup", 0, "–"), "1,0003")).unwrap(), text.replace("–", "1,0003"));
    assert!(matches!(entered(text, &reading(at("cup", 0, "–"), "1.0003")), Err(Refusal::Unfit(_))));
}

#[test]
fn a_reason_cannot_break_out_of_its_bracket() {
    for reason in ["a]b", "[", "x\u{7}y", "~~", "a`b"] {
        let entry = corrected(at("crucible, heating 1", 0, "18.2749"), "18.2479", reason, "");
        assert!(matches!(entered(NOTEBOOK, &entry), Err(Refusal::Unfit(_))), "{reason}");
    }
    let long = corrected(at("crucible, heating 1", 0, "18.2749"), "18.2479", &"x".repeat(201), "");
    assert!(matches!(entered(NOTEBOOK, &long), Err(Refusal::Unfit(_))));
}

#[test]
fn shared_struck_and_unread_cells_are_left_to_the_editor() {
    let text = "```masses\ntrial: A B\nbottle: 20.0  = A\ncup: 1o.0  2.0\n~~lid: 1.0 2.0~~\n```\n";
    for (label, column, was) in [("bottle", 1, "= A"), ("cup", 0, "1o.0"), ("lid", 0, "1.0")] {
        let entry = corrected(at(label, column, was), "3.0", "misread", "");
        assert!(matches!(entered(text, &entry), Err(Refusal::Unfit(_))), "{label}");
    }
}

#[test]
fn bytes_that_are_no_text_are_refused_and_a_mark_at_the_start_is_kept() {
    let text = "\u{feff}```masses\ntrial: A\ncup: –\n```\n";
    let notebook = read("n.md", text.as_bytes(), &Memory::default());
    let entry = reading(at("cup", 0, "–"), "1.0");
    assert_eq!(enter(text.as_bytes(), &notebook, &entry).unwrap(), text.replace("–", "1.0").as_bytes());
    let bytes = [text.as_bytes(), b"\xff"].concat();
    let notebook = read("n.md", &bytes, &Memory::default());
    assert!(matches!(enter(&bytes, &notebook, &entry), Err(Refusal::Unfit(_))));
}

#[test]
fn readings_of_a_file_beside_the_notebook_are_not_written_here() {
    let files = Memory([("w.csv".to_owned(), b"load,trial,reading\ncup,A,1.0\n".to_vec())].into());
    let text = "```masses\nfrom: w.csv\n```\n";
    let notebook = read("n.md", text.as_bytes(), &files);
    let entry = corrected(at("cup", 0, "1.0"), "1.1", "misread", "");
    assert_eq!(enter(text.as_bytes(), &notebook, &entry), Err(Refusal::Conflict { now: None }));
}

/// A cell as it is written, and what it becomes with another reading and the reason `misread`.
fn cell() -> impl Strategy<Value = (String, String)> {
    let number = (0u32..99_999, 1usize..5).prop_map(|(n, places)| format!("{}.{:0places$}", n / 7, n % 10));
    let new = "NEW";
    (number, 0usize..7).prop_map(move |(n, kind)| match kind {
        0 => ("–".to_owned(), new.to_owned()),
        1 => ("-".to_owned(), new.to_owned()),
        2 => (n.clone(), format!("~~{n}~~ {new} [misread]")),
        3 => (format!("{n} [lid: on]"), format!("~~{n}~~ {new} [lid: on] [misread]")),
        4 => (format!("~~1.5~~ {n} [x; 1:2]"), format!("~~1.5~~ ~~{n}~~ {new} [x; 1:2] [misread]")),
        5 => ("~~1.5~~ –".to_owned(), format!("~~1.5~~ {new}")),
        _ => (format!("{n} mg"), format!("~~{n}~~ {new} mg [misread]")),
    })
}

/// A notebook in pieces: every other one is a cell.
#[derive(Debug, Clone)]
struct Pieces {
    between: Vec<String>,
    cells: Vec<(String, String)>,
    columns: usize,
    labels: Vec<String>,
}

impl Pieces {
    fn text(&self, changed: Option<usize>) -> String {
        let mut text = String::new();
        for (index, between) in self.between.iter().enumerate() {
            text.push_str(between);
            if let Some((old, new)) = self.cells.get(index) {
                text.push_str(if changed == Some(index) { new } else { old });
            }
        }
        text
    }
}

fn pieces() -> impl Strategy<Value = Pieces> {
    let blanks = prop_oneof![Just("  "), Just(" "), Just("\t"), Just("     "), Just("\u{a0} ")];
    let shape = (1usize..5, 1usize..6);
    shape.prop_flat_map(move |(columns, rows)| {
        let count = columns * rows;
        (
            prop::collection::vec(cell(), count),
            prop::collection::vec(blanks.clone(), count),
            prop_oneof![Just("\n"), Just("\r\n")],
            prop_oneof![Just(""), Just("\u{feff}")],
            prop_oneof![Just("# ü\n\ntext – {x}\n\n"), Just(""), Just("> quoted\n\n")],
            prop_oneof![Just("```\n\nend – ~~x~~"), Just("```"), Just("")],
        )
            .prop_map(move |(cells, blanks, ending, mark, head, tail)| {
                let mut between = Vec::new();
                let mut labels = Vec::new();
                let names: Vec<String> = (0..columns).map(|n| format!("T{n}")).collect();
                let mut piece = format!("{mark}{head}```masses\ntrial: {}\n", names.join("   "));
                for row in 0..rows {
                    labels.push(if row == 0 { "cup".to_owned() } else { format!("cup, heating {row}") });
                    piece.push_str(&format!("{}:", labels[row]));
                    for column in 0..columns {
                        piece.push_str(blanks[row * columns + column]);
                        between.push(std::mem::take(&mut piece));
                    }
                    piece.push('\n');
                }
                piece.push_str(tail);
                between.push(piece);
                let between = between.iter().map(|piece| piece.replace('\n', ending)).collect();
                Pieces { between, cells, columns, labels }
            })
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Whatever a notebook looks like, one entry changes its own cell and nothing else.
    #[test]
    fn no_other_byte_changes(pieces in pieces(), pick in any::<prop::sample::Index>(), digits in 0u32..99_999) {
        let index = pick.index(pieces.cells.len());
        let new = format!("{}.{:04}", 100 + digits % 50, digits % 10_000);
        let text = pieces.text(None);
        let at = At {
            label: pieces.labels[index / pieces.columns].clone(),
            nth: 0,
            column: index % pieces.columns,
            trial: format!("T{}", index % pieces.columns),
            was: pieces.cells[index].0.clone(),
        };
        let notebook = read("n.md", text.as_bytes(), &Memory::default());
        let entry = Entry::Reading { at, reading: new.clone(), why: Some(Why { reason: "misread".into(), time: String::new() }) };
        let written = enter(text.as_bytes(), &notebook, &entry).map(|bytes| String::from_utf8(bytes).unwrap());
        prop_assert_eq!(written.unwrap(), pieces.text(Some(index)).replace("NEW", &new));
    }

    /// A further weighing puts in one line and changes none.
    #[test]
    fn a_further_weighing_changes_no_line(pieces in pieces(), column in any::<prop::sample::Index>()) {
        let text = pieces.text(None);
        let column = column.index(pieces.columns);
        let rows = pieces.labels.len();
        let trial = format!("T{column}");
        let at = At { label: pieces.labels[rows - 1].clone(), nth: 0, column, trial, was: String::new() };
        let notebook = read("n.md", text.as_bytes(), &Memory::default());
        let entry = Entry::Further { at, treatment: "heating".into(), reading: "100.00015".into() };
        let written = String::from_utf8(enter(text.as_bytes(), &notebook, &entry).unwrap()).unwrap();
        let (old, new): (Vec<&str>, Vec<&str>) = (text.split('\n').collect(), written.split('\n').collect());
        let added: Vec<&&str> = new.iter().filter(|line| line.contains("100.00015")).collect();
        prop_assert_eq!(added.len(), 1);
        let begins = format!("cup, heating {}:", if rows == 1 { 2 } else { rows });
        prop_assert!(added[0].starts_with(&begins), "{}", added[0]);
        let rest: Vec<&str> = new.iter().filter(|line| !line.contains("100.00015")).copied().collect();
        // At the end of a file without a line end the last line gets one.
        let ended = |lines: &[&str]| lines.iter().map(|line| line.trim_end_matches('\r').to_owned()).collect::<Vec<_>>();
        prop_assert_eq!(ended(&old), ended(&rest));
    }

    /// A load more puts in one line and changes none; a trial more only adds to lines.
    #[test]
    fn a_load_or_a_trial_more_takes_nothing_away(pieces in pieces(), pick in any::<prop::sample::Index>()) {
        let text = pieces.text(None);
        let (column, row) = (pick.index(pieces.columns), pick.index(pieces.labels.len()));
        let behind = At { label: pieces.labels[row].clone(), nth: 0, column, trial: format!("T{column}"), was: String::new() };
        let notebook = read("n.md", text.as_bytes(), &Memory::default());
        let entry = load(behind, "cup + salt", "100.00015");
        let written = String::from_utf8(enter(text.as_bytes(), &notebook, &entry).unwrap()).unwrap();
        let rest: Vec<&str> = written.split('\n').filter(|line| !line.contains("cup + salt:")).collect();
        let ended = |lines: &[&str]| lines.iter().map(|line| line.trim_end_matches('\r').to_owned()).collect::<Vec<_>>();
        prop_assert_eq!(ended(&text.split('\n').collect::<Vec<_>>()), ended(&rest));
        prop_assert_eq!(written.matches('–').count(), text.matches('–').count() + pieces.columns - 1);
        let entry = trial(&pieces.labels[row], "New");
        let written = String::from_utf8(enter(text.as_bytes(), &notebook, &entry).unwrap()).unwrap();
        let (old, new): (Vec<&str>, Vec<&str>) = (text.split('\n').collect(), written.split('\n').collect());
        prop_assert_eq!(old.len(), new.len());
        for (old, new) in old.iter().zip(&new) {
            let kept = new.trim_end_matches('\r').trim_end_matches('–').trim_end_matches("New").trim_end_matches(' ');
            prop_assert!(kept.starts_with(old.trim_end_matches(['\r', ' ', '–'])), "{old} / {new}");
        }
    }

    /// Whatever is sent, nothing panics, and what is written reads as before but for the entry.
    #[test]
    fn anything_may_be_sent(text in "[ -~\n]{0,80}", label in "\\PC{0,12}", reading in "\\PC{0,12}", reason in "\\PC{0,12}", column in 0usize..60) {
        let text = format!("```masses\ntrial: A B\ncup: 1.0 –\n{text}\n```\n");
        for label in [label.as_str(), "cup"] {
            let name = if column == 0 { "A" } else { "B" }.to_owned();
            let at = At { label: label.into(), nth: 0, column, trial: name, was: "1.0".into() };
            let why = Some(Why { reason: reason.clone(), time: reason.clone() });
            drop(entered(&text, &Entry::Reading { at: at.clone(), reading: reading.clone(), why }));
            drop(entered(&text, &load(at.clone(), &reason, &reading)));
            drop(entered(&text, &Entry::Further { at, treatment: reason.clone(), reading: reading.clone() }));
            drop(entered(&text, &trial(label, &reason)));
        }
    }
}
