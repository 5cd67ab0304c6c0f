//! The templates built into the program, so that an installed one needs no other file.

macro_rules! template {
    ($id:literal) => {
        template!($id: "template.toml", "method.md", "notebook.md", "marking/marks.toml", "marking/remarks.md", "marking/sample.md")
    };
    ($id:literal: $($file:literal),* $(,)?) => {
        ($id, &[$(($file, include_str!(concat!("../../report-templates/", $id, "/", $file)))),*])
    };
}

/// A template's name and its files: path and text.
type Shipped = (&'static str, &'static [(&'static str, &'static str)]);

/// Every shipped template.
const ALL: &[Shipped] = &[
    template!("hydrate"),
    template!("loss-on-ignition"),
    template!("mixture"),
    template!("oxide"),
    template!("precipitation"),
    template!("solids"),
];

/// The names of the shipped templates.
pub fn names() -> impl Iterator<Item = &'static str> {
    ALL.iter().map(|(name, _)| *name)
}

/// The files of a shipped template.
pub(super) fn files(name: &str) -> Option<crate::files::Memory> {
    let (_, files) = ALL.iter().find(|(known, _)| *known == name)?;
    let file = |(path, text): &(&str, &str)| ((*path).to_owned(), text.as_bytes().to_vec());
    Some(crate::files::Memory(files.iter().map(file).collect()))
}
