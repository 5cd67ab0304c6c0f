//! The bench page served by the real command, for one test.
#![allow(dead_code, reason = "each test uses some of it")]

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// A folder with notebooks, and the command that serves them; both end with the test.
pub struct Served {
    child: Child,
    /// The address that it printed, with a `/` at its end.
    pub address: String,
    /// All addresses that it printed.
    pub addresses: Vec<String>,
    folder: tempfile::TempDir,
}

impl Served {
    /// Serves these notebooks (name and text).
    pub fn start(notebooks: &[(&str, &str)]) -> Served {
        Served::with(notebooks, &[])
    }

    /// The same with further options of the command.
    pub fn with(notebooks: &[(&str, &str)], options: &[&str]) -> Served {
        let folder = tempfile::tempdir().expect("a folder");
        for (name, text) in notebooks {
            std::fs::write(folder.path().join(name), text).expect("the notebook is written");
        }
        let names: Vec<&str> = notebooks.iter().map(|(name, _)| *name).collect();
        Served::in_folder(folder, &names, options)
    }

    /// Serves notebooks of a folder that was made ready.
    pub fn in_folder(folder: tempfile::TempDir, names: &[&str], options: &[&str]) -> Served {
        let mut child = Command::new(env!("CARGO_BIN_EXE_reweigh"))
            .arg("bench")
            .args(names)
            .args(options)
            .current_dir(folder.path())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the command starts");
        let output = BufReader::new(child.stdout.take().expect("its output"));
        let mut addresses = Vec::new();
        let mut lines = output.lines();
        let wanted = 1 + usize::from(options.iter().any(|option| option.starts_with("--share")));
        while addresses.len() < wanted {
            let line = lines.next().and_then(Result::ok).expect("it says where it serves");
            addresses.extend(line.trim().starts_with("http://").then(|| line.trim().to_owned()));
        }
        Served { child, address: addresses[0].clone(), addresses, folder }
    }

    /// A file of the folder.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// The text of a file.
    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).expect("the file is there")
    }

    /// Saves a file, as an editor that writes into it does.
    pub fn save(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).expect("the file is written");
    }

    /// The process.
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// The host and port.
    pub fn host(&self) -> &str {
        let rest = self.address.strip_prefix("http://").unwrap_or("");
        rest.split('/').next().unwrap_or("")
    }

    /// The token of the address.
    pub fn token(&self) -> &str {
        self.address.trim_end_matches('/').rsplit('/').next().unwrap_or("")
    }

    /// Asks it to end as Ctrl-C does, and says with which status it did.
    pub fn interrupt(&mut self) -> Option<i32> {
        let sent = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        assert!(sent.is_ok_and(|status| status.success()), "the signal was sent");
        self.child.wait().expect("it ends").code()
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
