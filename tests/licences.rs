//! What the program is made of: every package comes from the public registry, under a licence that lets the program be passed on
//! under its own, and the program's own code holds nothing that the compiler cannot check.
//!
//! The list of known weaknesses of packages is not looked at: it is not part of the registry.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

/// Licences that ask for no more than their text and a name (SPDX identifiers). Of a package with a choice of several, one has to
/// be here.
const ALLOWED: [&str; 13] = [
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unicode-DFS-2016",
    "Unlicense",
    "Zlib",
];

fn metadata() -> serde_json::Value {
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--locked",
            "--offline",
            "--filter-platform",
            "x86_64-unknown-linux-gnu",
        ])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("metadata")
}

#[test]
fn every_package_may_be_passed_on_with_the_program() {
    let metadata = metadata();
    let packages = metadata["packages"].as_array().expect("packages");
    let (mut wrong, mut seen) = (Vec::new(), BTreeSet::new());
    for package in packages.iter().filter(|package| package["name"] != "reweigh") {
        let name = format!("{} {}", package["name"], package["version"]);
        let Some(licence) = package["license"].as_str() else {
            wrong.push(format!("{name} states no licence"));
            continue;
        };
        let read = spdx::Expression::parse_mode(licence, spdx::ParseMode::LAX);
        let allowed = |requirement: &spdx::LicenseReq| {
            requirement.license.id().is_some_and(|id| ALLOWED.contains(&id.name))
        };
        match read {
            Ok(read) if read.evaluate(allowed) => drop(seen.insert(licence.to_owned())),
            Ok(_) => wrong.push(format!("{name}: {licence}")),
            Err(error) => wrong.push(format!("{name}: {licence} cannot be read: {error}")),
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(packages.len() > 100 && seen.len() > 5, "{} packages, {seen:?}", packages.len());
}

/// The check itself sees what it is for.
#[test]
fn a_licence_that_asks_for_more_is_not_allowed() {
    for (licence, good) in [
        ("GPL-3.0-only", false),
        ("MIT AND GPL-3.0-only", false),
        ("MIT OR GPL-3.0-only", true),
        ("(MIT OR Apache-2.0) AND Unicode-3.0", true),
        ("Apache-2.0 WITH LLVM-exception", true),
    ] {
        let read = spdx::Expression::parse(licence).expect("an expression");
        let allowed = read
            .evaluate(|requirement| requirement.license.id().is_some_and(|id| ALLOWED.contains(&id.name)));
        assert_eq!(allowed, good, "{licence}");
    }
}

#[test]
fn every_package_comes_from_the_registry_with_its_checksum() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for lock in ["Cargo.lock", "fuzz/Cargo.lock", "benches/Cargo.lock"] {
        let Ok(text) = std::fs::read_to_string(root.join(lock)) else {
            assert_ne!(lock, "Cargo.lock", "there is a list of packages");
            continue;
        };
        let mut packages = 0;
        for package in text.split("[[package]]").skip(1) {
            let of = |key: &str| package.lines().find_map(|line| line.strip_prefix(&format!("{key} = ")));
            let name = of("name").expect("a name").trim_matches('"');
            packages += 1;
            if name == "reweigh" || name.starts_with("reweigh-") {
                assert_eq!(of("source"), None, "{lock}: {name}");
                continue;
            }
            let source = of("source").unwrap_or("nowhere").trim_matches('"');
            assert_eq!(source, "registry+https://github.com/rust-lang/crates.io-index", "{lock}: {name}");
            assert_eq!(of("checksum").map(str::len), Some(66), "{lock}: {name} has no checksum");
        }
        assert!(packages > 50, "{lock}: {packages}");
    }
}

/// `unsafe` is forbidden in the crate, and nothing in it breaks off where a value is not what was hoped for.
#[test]
fn the_program_s_own_code_is_checked() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join("Cargo.toml")).expect("the manifest");
    assert!(text.contains("unsafe_code = \"forbid\""));
    for file in ["src/lib.rs", "src/main.rs"] {
        let text = std::fs::read_to_string(root.join(file)).expect(file);
        for lint in ["unwrap_used", "expect_used", "panic", "unreachable", "todo", "unimplemented"] {
            assert!(text.contains(&format!("clippy::{lint}")), "{file} does not forbid {lint}");
        }
    }
}
