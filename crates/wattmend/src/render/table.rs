//! Tables of short cells, narrowed by leaving out the columns that matter least.

use super::wrap::{printable, width};

/// A column of a table.
pub(crate) struct Column {
    /// Its heading.
    pub(crate) title: &'static str,
    /// The columns with the lowest figure are left out first where the screen is too narrow; 0 is never left out.
    pub(crate) leave_out: u8,
}

/// A table whose rows are printed one by one, so that words can stand between them.
pub(crate) struct Table {
    columns: Vec<Column>,
    widths: Vec<usize>,
    shown: Vec<bool>,
}

/// Blanks between columns.
const GAP: &str = "  ";

impl Table {
    /// A table for these rows, as wide as they need and at most `screen` columns where columns can be left out.
    pub(crate) fn fit(columns: Vec<Column>, rows: &[Vec<String>], screen: usize) -> Table {
        let widest = |at: usize| {
            let cells = rows.iter().filter_map(|r| r.get(at)).map(|c| width(c));
            cells.max().unwrap_or(0).max(width(columns[at].title))
        };
        let filled = |at: usize| rows.iter().any(|r| r.get(at).is_some_and(|c| !c.is_empty() && c != "–"));
        let widths: Vec<usize> = (0..columns.len()).map(widest).collect();
        let shown: Vec<bool> =
            columns.iter().enumerate().map(|(at, c)| c.leave_out == 0 || filled(at)).collect();
        let mut table = Table { columns, widths, shown };
        while table.width() > screen {
            let least =
                (0..table.columns.len()).filter(|&at| table.shown[at] && table.columns[at].leave_out > 0);
            let Some(least) = least.min_by_key(|&at| table.columns[at].leave_out) else { break };
            table.shown[least] = false;
        }
        table
    }

    fn width(&self) -> usize {
        let shown = self.widths.iter().zip(&self.shown).filter(|(_, shown)| **shown);
        shown.map(|(w, _)| w + GAP.len()).sum::<usize>().saturating_sub(GAP.len())
    }

    /// The headings.
    pub(crate) fn head(&self) -> String {
        self.line(self.columns.iter().map(|c| c.title))
    }

    /// One row.
    pub(crate) fn row(&self, cells: &[String]) -> String {
        self.line(cells.iter().map(String::as_str))
    }

    fn line<'a>(&self, cells: impl Iterator<Item = &'a str>) -> String {
        let mut line = String::new();
        for ((cell, &wide), _) in cells.zip(&self.widths).zip(&self.shown).filter(|(_, shown)| **shown) {
            line.extend(cell.chars().map(printable));
            line.push_str(&" ".repeat(wide.saturating_sub(width(cell)) + GAP.len()));
        }
        format!("{}\n", line.trim_end())
    }
}

#[cfg(test)]
mod tests {
    use super::{Column, Table};

    #[test]
    fn the_least_important_column_goes_first() {
        let columns = vec![
            Column { title: "a", leave_out: 0 },
            Column { title: "b", leave_out: 1 },
            Column { title: "c", leave_out: 2 },
        ];
        let row = vec!["1".to_owned(), "22222".to_owned(), "3".to_owned()];
        let table = Table::fit(columns, std::slice::from_ref(&row), 6);
        assert_eq!(table.row(&row), "1  3\n");
    }
}
