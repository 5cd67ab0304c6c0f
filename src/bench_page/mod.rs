//! The page beside the balance: readings go in, and the report is seen while it is written.
//!
//! `write_back` puts a reading into the text of a notebook without disturbing another byte of it (`additions` are its lines
//! and columns that were not there, `unchanged` compares), `checking` says beforehand what is to be said of it, `form`
//! lists the fields, `asked` what the template still asks for, and `derivation` how values come about: these are pure
//! functions of a notebook and its results. With the feature `bench` they are served: `notebooks` watches
//! the files and works them out again, `guard` decides who is answered, `server` keeps to its limits and `routes`
//! has the answers. What the page does in the browser is in `page/`.
//!
//! `offline` writes the bench sheet: one file with fields and checks that needs no program and no network.
//!
//! The page rewrites nothing by itself, corrects no reading, and shows a conflict instead of overwriting.

pub mod additions;
pub mod asked;
pub mod checking;
pub mod derivation;
mod edit;
pub mod figures;
pub mod form;
#[cfg(feature = "bench")]
pub mod guard;
#[cfg(feature = "bench")]
pub mod notebooks;
mod numbers;
pub mod offline;
#[cfg(feature = "bench")]
pub mod paper;
#[cfg(feature = "bench")]
mod routes;
#[cfg(feature = "bench")]
pub mod server;
#[cfg(feature = "bench")]
pub mod sheet;
#[cfg(all(feature = "bench", feature = "pdf"))]
pub mod typeset;
mod unchanged;
#[cfg(feature = "bench")]
pub mod watch;
pub mod write_back;
