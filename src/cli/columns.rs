//! Tables of text: a label column, then values aligned on the decimal point.

/// A table of text.
#[derive(Default)]
pub(super) struct Table {
    head: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table with these column heads (the first stands over the labels).
    pub(super) fn new(head: impl IntoIterator<Item = String>) -> Self {
        Table { head: head.into_iter().collect(), rows: Vec::new() }
    }

    /// Adds a row: a label and its values.
    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(cells.into_iter().collect());
    }

    /// The table as lines, each ended by a newline.
    pub(super) fn text(&self) -> String {
        let count = self.rows.iter().map(Vec::len).chain([self.head.len()]).max().unwrap_or(0);
        let columns: Vec<Vec<String>> = (0..count).map(|index| self.column(index)).collect();
        let lines = (0..=self.rows.len()).map(|line| {
            let cells: Vec<&str> = columns.iter().map(|column| column[line].as_str()).collect();
            format!("  {}\n", cells.join("  ").trim_end())
        });
        let skip = usize::from(self.head.iter().all(String::is_empty));
        lines.skip(skip).collect()
    }

    /// A column, head first, padded to one width.
    fn column(&self, index: usize) -> Vec<String> {
        let cell = |row: &Vec<String>| row.get(index).cloned().unwrap_or_default();
        let mut cells: Vec<String> = self.rows.iter().map(cell).collect();
        if index > 0 {
            align(&mut cells);
        }
        cells.insert(0, cell(&self.head));
        let width = cells.iter().map(|cell| cell.chars().count()).max().unwrap_or(0);
        // By hand: the width that a format takes has a limit, and names have none.
        let pad = |cell: String| {
            let blank = " ".repeat(width.saturating_sub(cell.chars().count()));
            if index == 0 { cell + &blank } else { blank + &cell }
        };
        cells.into_iter().map(pad).collect()
    }
}

/// Pads cells after their decimal point, so that the points stand under each other.
fn align(cells: &mut [String]) {
    let after = |cell: &String| cell.find(['.', ',']).map_or(0, |at| cell[at..].chars().count());
    let most = cells.iter().map(after).max().unwrap_or(0);
    let is_word = |cell: &String| cell.starts_with(char::is_alphabetic);
    for cell in cells.iter_mut().filter(|cell| !is_word(cell)) {
        let missing = most - after(cell);
        cell.push_str(&" ".repeat(missing));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_stand_under_each_other() {
        let mut table = Table::new(["".into(), "A".into()]);
        table.row(["x".into(), "18.27".into()]);
        table.row(["long".into(), "1.2345".into()]);
        table.row(["none".into(), "–".into()]);
        assert_eq!(
            table.text(),
            "              A\n  x     18.27  \n".replace("  \n", "\n") + "  long   1.2345\n  none   –\n"
        );
    }
}
