//! Walking a TOML file table by table, so that each value is checked where its place is known.

use std::collections::BTreeSet;
use std::str::FromStr;

use quantity::{Given, Kind};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::error::{PlanError, Spot};

/// A file being read.
pub(crate) struct Source<'a> {
    pub(crate) file: &'a str,
    pub(crate) text: &'a str,
}

impl Source<'_> {
    pub(crate) fn error(
        &self,
        span: Option<std::ops::Range<usize>>,
        path: &str,
        message: impl Into<String>,
    ) -> PlanError {
        PlanError {
            file: self.file.to_owned(),
            at: span.map(|span| Spot::find(self.text, span)),
            path: path.to_owned(),
            message: message.into(),
        }
    }
}

/// One table of the file. Every key that is asked for is ticked off; [`Section::finish`] names
/// those that nobody asked for.
pub(crate) struct Section<'a> {
    source: &'a Source<'a>,
    path: String,
    table: &'a DeTable<'a>,
    span: std::ops::Range<usize>,
    asked: BTreeSet<&'static str>,
}

type Result<T> = std::result::Result<T, PlanError>;

impl<'a> Section<'a> {
    pub(crate) fn root(source: &'a Source<'a>, document: &'a Spanned<DeTable<'a>>) -> Self {
        Section {
            source,
            path: String::new(),
            table: document.get_ref(),
            span: document.span(),
            asked: BTreeSet::new(),
        }
    }

    pub(crate) fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    fn entry(&mut self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.asked.insert(key);
        self.table.get(key)
    }

    pub(crate) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    pub(crate) fn is_table(&self, key: &str) -> bool {
        self.table.get(key).is_some_and(|value| value.get_ref().is_table())
    }

    pub(crate) fn is_list(&self, key: &str) -> bool {
        matches!(self.table.get(key).map(Spanned::get_ref), Some(DeValue::Array(_)))
    }

    /// An error at the value of `key`, or at the table where the key is missing.
    pub(crate) fn error(&self, key: &str, message: impl Into<String>) -> PlanError {
        match self.table.get(key) {
            Some(value) => self.source.error(Some(value.span()), &self.path_of(key), message),
            None => self.source.error(self.heading(), &self.path, message),
        }
    }

    /// An error at the table itself.
    pub(crate) fn error_here(&self, message: impl Into<String>) -> PlanError {
        self.source.error(self.heading(), &self.path, message)
    }

    fn heading(&self) -> Option<std::ops::Range<usize>> {
        (!self.path.is_empty()).then(|| self.span.clone())
    }

    /// A value that may be left out, as the text a person wrote; numbers are taken as written.
    pub(crate) fn maybe_text(&mut self, key: &'static str) -> Result<Option<String>> {
        let Some(value) = self.entry(key) else { return Ok(None) };
        match value.get_ref() {
            DeValue::String(text) => Ok(Some(text.to_string())),
            DeValue::Integer(number) => Ok(Some(number.to_string())),
            DeValue::Float(number) => Ok(Some(number.to_string())),
            DeValue::Datetime(date) => Ok(Some(date.to_string())),
            other => {
                Err(self
                    .error(key, format!("here is {}; a text in quotes is wanted", article(other))))
            }
        }
    }

    pub(crate) fn text(&mut self, key: &'static str, example: &str) -> Result<String> {
        self.maybe_text(key)?.ok_or_else(|| self.missing(key, example))
    }

    pub(crate) fn missing(&self, key: &str, example: &str) -> PlanError {
        self.error_here(format!("`{key}` is missing here; write it such as {key} = {example}"))
    }

    /// A value and its stated uncertainty.
    pub(crate) fn maybe_given(&mut self, key: &'static str, kind: Kind) -> Result<Option<Given>> {
        let Some(text) = self.maybe_text(key)? else { return Ok(None) };
        kind.read_given(&text).map(Some).map_err(|error| self.error(key, error.to_string()))
    }

    pub(crate) fn given(&mut self, key: &'static str, kind: Kind) -> Result<Given> {
        self.maybe_given(key, kind)?.ok_or_else(|| self.missing(key, kind.examples()))
    }

    /// A value without uncertainty.
    pub(crate) fn maybe(&mut self, key: &'static str, kind: Kind) -> Result<Option<f64>> {
        let Some(text) = self.maybe_text(key)? else { return Ok(None) };
        kind.read(&text).map(Some).map_err(|error| self.error(key, error.to_string()))
    }

    pub(crate) fn value(&mut self, key: &'static str, kind: Kind) -> Result<f64> {
        self.maybe(key, kind)?.ok_or_else(|| self.missing(key, kind.examples()))
    }

    /// A value whose type reads itself, with errors that say what would be right.
    pub(crate) fn maybe_parsed<T>(&mut self, key: &'static str) -> Result<Option<T>>
    where
        T: FromStr,
        T::Err: std::fmt::Display,
    {
        let Some(text) = self.maybe_text(key)? else { return Ok(None) };
        text.parse().map(Some).map_err(|error: T::Err| self.error(key, error.to_string()))
    }

    /// A whole number.
    pub(crate) fn maybe_count(
        &mut self,
        key: &'static str,
        range: std::ops::RangeInclusive<i64>,
    ) -> Result<Option<i64>> {
        let Some(text) = self.maybe_text(key)? else { return Ok(None) };
        match text.trim().parse::<i64>() {
            Ok(count) if range.contains(&count) => Ok(Some(count)),
            _ => Err(self.error(
                key,
                format!("{text:?} is no whole number from {} to {}", range.start(), range.end()),
            )),
        }
    }

    /// A number without a unit.
    pub(crate) fn maybe_number(
        &mut self,
        key: &'static str,
        range: std::ops::RangeInclusive<f64>,
    ) -> Result<Option<f64>> {
        let Some(text) = self.maybe_text(key)? else { return Ok(None) };
        match text.trim().parse::<f64>() {
            Ok(value) if range.contains(&value) => Ok(Some(value)),
            _ => Err(self.error(
                key,
                format!("{text:?} is no number from {} to {}", range.start(), range.end()),
            )),
        }
    }

    pub(crate) fn maybe_bool(&mut self, key: &'static str) -> Result<Option<bool>> {
        let Some(value) = self.entry(key) else { return Ok(None) };
        match value.get_ref() {
            DeValue::Boolean(flag) => Ok(Some(*flag)),
            DeValue::String(text) if text == "yes" => Ok(Some(true)),
            DeValue::String(text) if text == "no" => Ok(Some(false)),
            other => {
                Err(self.error(key, format!("here is {}; write true or false", article(other))))
            }
        }
    }

    /// Texts: one, or a list of them.
    pub(crate) fn maybe_texts(&mut self, key: &'static str) -> Result<Vec<String>> {
        let Some(value) = self.entry(key) else { return Ok(Vec::new()) };
        let wanted = "a text in quotes, or a list of them, is wanted here";
        match value.get_ref() {
            DeValue::String(text) => Ok(vec![text.to_string()]),
            DeValue::Array(texts) => texts
                .iter()
                .map(|text| match text.get_ref() {
                    DeValue::String(text) => Ok(text.to_string()),
                    _ => Err(self.source.error(Some(text.span()), &self.path_of(key), wanted)),
                })
                .collect(),
            _ => Err(self.error(key, wanted)),
        }
    }

    /// A table below this one.
    pub(crate) fn maybe_section(&mut self, key: &'static str) -> Result<Option<Section<'a>>> {
        let Some(value) = self.entry(key) else { return Ok(None) };
        self.below(key, value).map(Some)
    }

    pub(crate) fn section(&mut self, key: &'static str) -> Result<Section<'a>> {
        match self.maybe_section(key)? {
            Some(section) => Ok(section),
            None => Err(self.source.error(
                self.heading(),
                &self.path,
                format!("the table [{}] is missing", self.path_of(key)),
            )),
        }
    }

    /// A list of tables that may be left out: `aims = [{ … }, { … }]`.
    pub(crate) fn maybe_sections(&mut self, key: &'static str) -> Result<Option<Vec<Section<'a>>>> {
        let Some(value) = self.entry(key) else { return Ok(None) };
        let DeValue::Array(entries) = value.get_ref() else {
            let found = article(value.get_ref());
            return Err(self.error(key, format!("here is {found}; a list of tables is wanted")));
        };
        entries.iter().map(|entry| self.below(key, entry)).collect::<Result<_>>().map(Some)
    }

    /// The named tables below a table that may be left out: `[rig.devices.mount]`, in the order written.
    pub(crate) fn named_sections(
        &mut self,
        key: &'static str,
    ) -> Result<Vec<(String, Section<'a>)>> {
        let Some(group) = self.maybe_section(key)? else { return Ok(Vec::new()) };
        group
            .table
            .iter()
            .map(|(name, value)| {
                Ok((name.get_ref().to_string(), group.below(name.get_ref(), value)?))
            })
            .collect()
    }

    fn below(&self, key: &str, value: &'a Spanned<DeValue<'a>>) -> Result<Section<'a>> {
        let path = self.path_of(key);
        match value.get_ref() {
            DeValue::Table(table) => Ok(Section {
                source: self.source,
                path,
                table,
                span: value.span(),
                asked: BTreeSet::new(),
            }),
            other => Err(self.source.error(
                Some(value.span()),
                &path,
                format!("here is {}; a table [{path}] is wanted", article(other)),
            )),
        }
    }

    /// Rows of numbers: `[[0, 10.6], [0.5, 13.1]]`, each `width` long.
    pub(crate) fn maybe_rows<const WIDTH: usize>(
        &mut self,
        key: &'static str,
    ) -> Result<Option<Vec<[f64; WIDTH]>>> {
        let Some(value) = self.entry(key) else { return Ok(None) };
        let wanted =
            format!("a list of rows of {WIDTH} numbers is wanted, such as [[0, 10.6], [1, 13.6]]");
        let DeValue::Array(rows) = value.get_ref() else { return Err(self.error(key, wanted)) };
        let mut out = Vec::with_capacity(rows.len());
        for row in rows.iter() {
            let wrong = || self.source.error(Some(row.span()), &self.path_of(key), wanted.clone());
            let cells =
                row.get_ref().as_array().filter(|cells| cells.len() == WIDTH).ok_or_else(wrong)?;
            let mut numbers = [0.0; WIDTH];
            for (number, cell) in numbers.iter_mut().zip(cells.iter()) {
                *number = number_of(cell.get_ref()).ok_or_else(wrong)?;
            }
            out.push(numbers);
        }
        Ok(Some(out))
    }

    /// Names the first key that no one asked for, with the nearest one that would be right.
    pub(crate) fn finish(&self) -> Result<()> {
        let unknown = self.table.keys().find(|key| !self.asked.contains(key.get_ref().as_ref()));
        let Some(key) = unknown else { return Ok(()) };
        let name: &str = key.get_ref();
        let near = self
            .asked
            .iter()
            .map(|asked| (distance(name, asked), *asked))
            .filter(|(far, asked)| *far <= 1 + asked.len() / 4)
            .min();
        let known: Vec<&str> = self.asked.iter().copied().collect();
        let help = match near {
            Some((_, asked)) => format!("did you mean `{asked}`?"),
            None => format!("known here: {}", known.join(", ")),
        };
        Err(self.source.error(
            Some(key.span()),
            &self.path_of(name),
            format!("`{name}` is not known here; {help}"),
        ))
    }
}

fn number_of(value: &DeValue<'_>) -> Option<f64> {
    let number: f64 = match value {
        DeValue::Integer(number) => number.as_str().parse().ok()?,
        DeValue::Float(number) => number.as_str().replace('_', "").parse().ok()?,
        _ => return None,
    };
    number.is_finite().then_some(number)
}

fn article(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "a true/false value",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// Levenshtein's distance between two short words.
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let substitute = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = substitute.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}
