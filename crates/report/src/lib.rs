//! Charts, self-contained HTML reports, tables for the terminal.
