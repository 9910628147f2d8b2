//! Tables: one value, shown in a terminal or on a page.

use comfy_table::{
    Cell, CellAlignment, ContentArrangement, ContentLineStyle, LineStyle, TableStyle,
};
use maud::{Markup, html};

/// Width of the terminal that tables are made for.
const TERMINAL_COLUMNS: u16 = 80;

/// A table of so many rows is kept on one page of paper.
const MOST_WHOLE_ROWS: usize = 20;

/// Keeps a number and its unit on one line.
pub(crate) const NO_BREAK: char = '\u{a0}';

/// Rows under headings.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What it lists.
    pub caption: String,
    /// From left to right.
    pub columns: Vec<Column>,
    /// Cells as text, as many a row as there are columns.
    pub rows: Vec<Vec<String>>,
    /// Said below it.
    pub notes: Vec<String>,
}

/// A heading and how the cells below it are set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// What the cells say.
    pub heading: String,
    /// Of the numbers below.
    pub unit: String,
    /// Numbers are set to the right, so that their places line up.
    pub is_number: bool,
}

impl Table {
    /// A table without columns or rows.
    #[must_use]
    pub fn new(caption: impl Into<String>) -> Self {
        Table { caption: caption.into(), columns: Vec::new(), rows: Vec::new(), notes: Vec::new() }
    }

    /// A list of names and values, without headings.
    #[must_use]
    pub fn facts(caption: impl Into<String>) -> Self {
        Table::new(caption).text("").text("")
    }

    /// With a further column of words.
    #[must_use]
    pub fn text(mut self, heading: impl Into<String>) -> Self {
        let (unit, is_number) = (String::new(), false);
        self.columns.push(Column { heading: heading.into(), unit, is_number });
        self
    }

    /// With a further column of numbers; the unit stands in the heading.
    #[must_use]
    pub fn number(mut self, heading: impl Into<String>, unit: impl Into<String>) -> Self {
        let (heading, unit) = (heading.into(), unit.into());
        self.columns.push(Column { heading, unit, is_number: true });
        self
    }

    /// Adds a row.
    pub fn row<Cell: Into<String>>(&mut self, cells: impl IntoIterator<Item = Cell>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// Adds a sentence below the table.
    pub fn note(&mut self, text: impl Into<String>) {
        self.notes.push(text.into());
    }

    /// A table that fits on a page is not cut by its end.
    fn whole_on_paper(&self) -> &'static str {
        if self.rows.len() <= MOST_WHOLE_ROWS { " whole" } else { "" }
    }

    fn has_headings(&self) -> bool {
        self.columns.iter().any(|column| !column.heading.is_empty())
    }

    /// For a terminal of 80 columns, each line ended.
    #[must_use]
    pub fn terminal(&self) -> String {
        let mut table = comfy_table::Table::new();
        table
            .load_style(plain())
            .set_width(TERMINAL_COLUMNS)
            .set_content_arrangement(ContentArrangement::Dynamic);
        if self.has_headings() {
            table.set_header(self.columns.iter().map(|column| {
                let text = match column.unit.as_str() {
                    "" => column.heading.clone(),
                    unit => format!("{}\n{unit}", column.heading),
                };
                aligned(&text, column)
            }));
        }
        for row in &self.rows {
            table
                .add_row(row.iter().zip(&self.columns).map(|(text, column)| aligned(text, column)));
        }
        // two spaces between the columns, none before the first
        for column in table.column_iter_mut() {
            column.set_padding((0, 1));
        }
        let mut text = String::new();
        if !self.caption.is_empty() {
            text.push_str(&harmless(&self.caption));
            text.push_str("\n\n");
        }
        for line in table.lines() {
            text.push_str(plain_spaces(&line).trim_end());
            text.push('\n');
        }
        for note in &self.notes {
            text.push('\n');
            text.push_str(&paragraph(note));
        }
        text
    }

    /// For a page.
    #[must_use]
    pub fn markup(&self) -> Markup {
        html! {
            @if !self.caption.is_empty() { p class="caption" { (self.caption) } }
            div class={ "table" (self.whole_on_paper()) } tabindex="0" role="region" aria-label=(self.caption) {
                table aria-label=(self.caption) {
                    @if self.has_headings() {
                        thead { tr { @for column in &self.columns {
                            th scope="col" class=[column.is_number.then_some("number")] {
                                (column.heading)
                                @if !column.unit.is_empty() { " " span class="unit" { (column.unit) } }
                            }
                        } } }
                    }
                    tbody { @for row in &self.rows { tr {
                        @for (at, (text, column)) in row.iter().zip(&self.columns).enumerate() {
                            @if at == 0 { th scope="row" class=[is_short(text).then_some("short")] { (text) } }
                            @else { td class=[cell_class(text, column)] { (text) } }
                        }
                    } } }
                }
            }
            @for note in &self.notes { p class="note" { (note) } }
        }
    }
}

fn cell_class(text: &str, column: &Column) -> Option<&'static str> {
    if column.is_number { Some("number") } else { is_short(text).then_some("short") }
}

/// Whether a cell is kept on one line.
fn is_short(text: &str) -> bool {
    text.chars().count() <= 20
}

/// No borders; one rule below the headings, open between the columns.
fn plain() -> TableStyle {
    TableStyle::new()
        .header_lines(ContentLineStyle::none().junction(' '))
        .header_separator(LineStyle::none().fill('─').junction(' '))
        .content_lines(ContentLineStyle::none().junction(' '))
}

fn aligned(text: &str, column: &Column) -> Cell {
    let text = harmless(text);
    let side = if column.is_number { CellAlignment::Right } else { CellAlignment::Left };
    Cell::new(text).set_alignment(side)
}

/// Running text for a terminal of 80 columns, each line ended.
#[must_use]
pub fn paragraph(text: &str) -> String {
    indented(text, "", "")
}

/// As [`paragraph`], with marks before the first line and the following ones.
#[must_use]
pub fn indented(text: &str, first: &str, following: &str) -> String {
    let most = usize::from(TERMINAL_COLUMNS);
    let mut lines = String::new();
    let mut line = first.to_owned();
    let mut is_empty = true;
    for word in text.split([' ', '\n']).filter(|word| !word.is_empty()) {
        if !is_empty && line.chars().count() + 1 + word.chars().count() > most {
            lines.push_str(&line);
            lines.push('\n');
            following.clone_into(&mut line);
            is_empty = true;
        }
        if !is_empty {
            line.push(' ');
        }
        line.push_str(word);
        is_empty = false;
    }
    lines.push_str(&line);
    lines.push('\n');
    plain_spaces(&harmless(&lines))
}

/// Names come from files: what would move the cursor or colour the screen is shown as a space.
fn harmless(text: &str) -> String {
    text.replace(|letter: char| letter.is_control() && letter != '\n', " ")
}

/// A no-break space has done its work once lines are broken; people search for the plain one.
fn plain_spaces(text: &str) -> String {
    text.replace(NO_BREAK, " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn nights() -> Table {
        let mut table = Table::new("Nights")
            .text("Evening")
            .number("Used", "Wh")
            .number("Least voltage", "V")
            .text("What happens");
        table.row(["Fri 14 Aug", "231", "12.84", "carried"]);
        table.row([
            "Sat 15 Aug",
            "1234",
            "9.9",
            "camera <stops> at 03:10 & the mount soon after it",
        ]);
        table.note("The typical case of 1000 draws.");
        table
    }

    #[test]
    fn a_terminal_table_lines_numbers_up_and_fits() {
        insta::assert_snapshot!(nights().terminal());
    }

    #[test]
    fn no_line_is_wider_than_the_terminal() {
        let mut table = Table::new("Wide");
        for at in 0..9 {
            table = table.number(format!("Some heading {at}"), "Wh");
        }
        table.row((0..9).map(|at| format!("{at} and a long cell that has to be broken")));
        table.note("word ".repeat(60));
        for line in table.terminal().lines() {
            assert!(line.chars().count() <= 80, "{} columns: {line}", line.chars().count());
        }
    }

    #[test]
    fn a_page_table_escapes_and_marks_its_headings() {
        let page = nights().markup().into_string();
        assert!(page.contains("camera &lt;stops&gt; at 03:10 &amp; the mount"));
        assert!(
            page.contains("<th scope=\"col\" class=\"number\">Used <span class=\"unit\">Wh</span>")
        );
        assert_eq!(page.matches("<th scope=\"row\"").count(), 2);
    }

    #[test]
    fn names_from_files_cannot_drive_the_terminal() {
        let mut table = Table::new("a \u{1b}[31mred\r caption").text("heading\t\u{7}");
        table.row(["cell \u{1b}]0;title\u{7}"]);
        table.note("note \u{9b}2J");
        let text = table.terminal();
        assert!(!text.contains(|letter: char| letter.is_control() && letter != '\n'), "{text:?}");
    }

    #[test]
    fn facts_have_no_heading() {
        let mut facts = Table::facts("");
        facts.row(["Delivered", "38.5 Ah"]);
        assert_eq!(facts.terminal(), "Delivered  38.5 Ah\n");
        assert!(!facts.markup().into_string().contains("thead"));
    }

    #[test]
    fn paragraphs_break_between_words() {
        let text = indented(&"twelve letters ".repeat(12), "  ! ", "    ");
        assert!(text.lines().all(|line| line.chars().count() <= 80));
        assert!(text.starts_with("  ! twelve"));
        assert_eq!(text.split_whitespace().count(), 25);
    }
}
