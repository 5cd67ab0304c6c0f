//! Messy notebooks of our own (`notebooks/field`), each against expected values that were worked before the
//! program existed.

mod common;

#[test]
fn field_notebooks_come_out_as_worked_by_hand() {
    common::check_folder("notebooks/field", 14, |_| Vec::new());
}
