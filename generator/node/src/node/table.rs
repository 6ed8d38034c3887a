//! A reader for one table of the node file: asks for keys by name and type, and notes everything that is wrong.
//!
//! A key that fails is noted and reading goes on, so that one run shows all faults. When all keys have been
//! asked for, [`Table::finish`] reports those that nobody asked for. Those that are missing are reported when the
//! reader is dropped, so that nothing is lost where reading ends early.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::missing;
use super::nearest_key::{listed, nearest};
use super::value::{Fault, Read, kind};
use crate::problem::{InputText, Problem, quoted};

/// Faults beyond this are dropped: a file of garbage within the size limit could have a hundred thousand.
pub(super) const MOST_NOTED: usize = 1000;

/// What reading has brought to light so far, shared by the readers of all tables.
#[derive(Default)]
pub(super) struct Log {
    /// Faults in the order in which they were found.
    pub(super) problems: RefCell<Vec<Problem>>,
    /// Every key that was asked for, with its path, whether it stands in the file or not.
    #[cfg(test)]
    pub(super) known: RefCell<std::collections::BTreeSet<String>>,
    /// The files read: the node file first.
    pub(super) files: RefCell<Vec<InputText>>,
    /// Keys may have been lost to a syntax error, so missing ones are not reported.
    pub(super) damaged: bool,
}

impl Log {
    /// Notes a fault.
    pub(super) fn note(&self, problem: Problem) {
        let mut problems = self.problems.borrow_mut();
        if problems.len() < MOST_NOTED {
            problems.push(problem);
        }
    }
}

/// A value and where it stands.
#[derive(Clone, Debug)]
pub(super) struct Given<T> {
    pub(super) value: T,
    pub(super) span: Range<usize>,
}

/// Reader for one table.
pub(super) struct Table<'a> {
    entries: &'a DeTable<'a>,
    /// Dotted path from the top of the file; empty for the file itself.
    path: String,
    /// Where the table is opened.
    pub(super) span: Range<usize>,
    log: &'a Log,
    asked: Vec<String>,
    missing: Vec<(String, String)>,
}

impl<'a> Table<'a> {
    /// Reader for the whole file.
    pub(super) fn root(entries: &'a DeTable<'a>, end: usize, log: &'a Log) -> Self {
        Table {
            entries,
            path: String::new(),
            span: end..end,
            log,
            asked: Vec::new(),
            missing: Vec::new(),
        }
    }

    /// Reader for one row of a list that has no tables of its own.
    pub(super) fn row(entries: &'a DeTable<'a>, span: Range<usize>, log: &'a Log) -> Self {
        let mut table = Table::root(entries, 0, log);
        table.path = "row".to_owned();
        table.span = span;
        table
    }

    /// The log that this reader writes to.
    pub(super) fn log(&self) -> &'a Log {
        self.log
    }

    /// Notes a fault at a place.
    pub(super) fn note(
        &self,
        span: &Range<usize>,
        title: impl Into<String>,
        expected: impl Into<String>,
        cure: impl Into<String>,
    ) {
        self.log.note(Problem::new(span.clone(), title, expected, cure));
    }

    /// A key that must stand in the table.
    pub(super) fn required<T: Read>(
        &mut self,
        key: &str,
        example: &str,
        limit: T::Limit,
    ) -> Option<Given<T>> {
        if !self.has(key) {
            self.lack(key, &format!("{key} = {}", T::written(example)));
        }
        self.optional(key, example, limit)
    }

    /// A key that may be left out; nothing also when it is there and wrong, which is then noted.
    pub(super) fn optional<T: Read>(
        &mut self,
        key: &str,
        example: &str,
        limit: T::Limit,
    ) -> Option<Given<T>> {
        let value = self.ask(key)?;
        match T::read(key, value.get_ref(), &limit, example) {
            Ok(read) => Some(Given {
                value: read,
                span: value.span(),
            }),
            Err(fault) => {
                self.fault(value.span(), fault);
                None
            }
        }
    }

    /// A key with a default for when it is left out; nothing when it is there and wrong.
    pub(super) fn or<T: Read>(&mut self, key: &str, example: &str, limit: T::Limit, default: T) -> Option<T> {
        if self.has(key) {
            self.optional(key, example, limit).map(|given| given.value)
        } else {
            self.learn(key);
            Some(default)
        }
    }

    /// A key that takes one of a few words; must stand in the table unless there is a default.
    pub(super) fn choice<T: Copy>(
        &mut self,
        key: &str,
        choices: &[(&str, T)],
        default: Option<T>,
    ) -> Option<Given<T>> {
        let words: Vec<_> = choices.iter().map(|(word, _)| format!("\"{word}\"")).collect();
        let expected = listed(&words, "or");
        if !self.has(key) {
            self.learn(key);
            if default.is_none() {
                self.lack(
                    key,
                    &format!("{key} = {}", words.first().map_or("", String::as_str)),
                );
            }
            return default.map(|value| Given {
                value,
                span: self.span.clone(),
            });
        }
        let value = self.ask(key)?;
        let span = value.span();
        let Some(text) = value.get_ref().as_str() else {
            let title = format!("`{key}` is {}", kind(value.get_ref()));
            self.note(&span, title, expected, "write one of these words, in quotes");
            return None;
        };
        if let Some((_, choice)) = choices.iter().find(|(word, _)| *word == text) {
            return Some(Given { value: *choice, span });
        }
        let known = choices.iter().map(|(word, _)| *word);
        let cure = match nearest(text, known) {
            Some(word) => format!("did you mean \"{word}\"?"),
            None => format!("write {key} = {}", listed(&words, "or")),
        };
        self.note(
            &span,
            format!("`{key}` cannot be \"{}\"", quoted(text)),
            expected,
            cure,
        );
        None
    }

    /// A table inside this one that must be there.
    pub(super) fn table(&mut self, key: &str) -> Option<Table<'a>> {
        if !self.has(key) {
            let header = format!("[{}]", self.joined(key));
            self.lack(key, &header);
        }
        self.optional_table(key)
    }

    /// A table inside this one that may be left out.
    pub(super) fn optional_table(&mut self, key: &str) -> Option<Table<'a>> {
        let value = self.ask(key)?;
        let inside = self.inside(key, value);
        if inside.is_none() {
            let header = format!("[{}]", self.joined(key));
            let title = format!("`{key}` is {}", kind(value.get_ref()));
            self.note(
                &value.span(),
                title,
                "a table of keys",
                format!("write {header} on a line of its own"),
            );
        }
        inside
    }

    /// A list of tables that must be there and hold at least one.
    pub(super) fn tables(&mut self, key: &str, example: &str) -> Vec<Table<'a>> {
        if !self.has(key) {
            self.lack(key, example);
        }
        let Some(value) = self.ask(key) else {
            return Vec::new();
        };
        let expected = "a list of tables, at least one";
        let Some(items) = value.get_ref().as_array() else {
            let title = format!("`{key}` is {}", kind(value.get_ref()));
            self.note(&value.span(), title, expected, format!("write {example}"));
            return Vec::new();
        };
        if items.is_empty() {
            self.note(
                &value.span(),
                format!("`{key}` is empty"),
                expected,
                format!("write {example}"),
            );
        }
        let mut tables = Vec::new();
        for item in items.iter() {
            match self.inside(key, item) {
                Some(table) => tables.push(table),
                None => {
                    let title = format!("an entry of `{key}` is {}", kind(item.get_ref()));
                    self.note(&item.span(), title, "a table of keys", format!("write {example}"));
                }
            }
        }
        tables
    }

    /// The value of a key as it stands in the file, if it does, without asking for the key.
    pub(super) fn peek(&self, key: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.entries.get(key)
    }

    /// The raw value of a key, for keys that take more than one sort of value.
    pub(super) fn raw(&mut self, key: &str, example: Option<&str>) -> Option<&'a Spanned<DeValue<'a>>> {
        if let (Some(example), false) = (example, self.has(key)) {
            self.lack(key, &format!("{key} = {example}"));
        }
        self.ask(key)
    }

    /// Counts a key as known without looking at its value.
    pub(super) fn know(&mut self, key: &str) {
        self.learn(key);
    }

    /// Notes why a value at a place does not suit.
    pub(super) fn fault(&self, span: Range<usize>, fault: Fault) {
        self.note(&span, fault.title, fault.expected, fault.cure);
    }

    /// Whether the key stands in the table.
    pub(super) fn has(&self, key: &str) -> bool {
        self.peek(key).is_some()
    }

    /// Refuses keys that belong to another kind of this table, with the reason.
    pub(super) fn foreign(&mut self, keys: &[&str], reason: &str) {
        for key in keys {
            let place = self.entries.get_key_value(*key);
            if let Some(span) = place.map(|(name, _)| name.span()) {
                self.asked.push((*key).to_string());
                self.note(
                    &span,
                    format!("`{key}` has no meaning here"),
                    reason,
                    format!("remove `{key}`"),
                );
            }
        }
    }

    /// Reports the keys that nobody asked for, then what is missing.
    pub(super) fn finish(mut self) {
        let absent: Vec<&String> = self.asked.iter().filter(|asked| !self.has(asked)).collect();
        let unknown = self.entries.iter().map(|(name, _)| name);
        let unknown = unknown.filter(|name| !self.asked.iter().any(|asked| asked == name.get_ref()));
        // More would not be noted.
        for name in unknown.take(MOST_NOTED) {
            let key = name.get_ref();
            let absent = absent.iter().map(|asked| asked.as_str());
            let place = if self.path.is_empty() {
                "here".to_string()
            } else {
                format!("in `{}`", self.path)
            };
            let section = missing::inner_section(&self.path, key);
            let cure = match section.ok_or_else(|| nearest(key, absent)) {
                Ok(header) if self.path.is_empty() => format!("did you mean {header}?"),
                Ok(header) => format!("it belongs below {header}"),
                Err(Some(meant)) => {
                    let cure = format!("did you mean `{meant}`?");
                    // One slip, one message: the key that was meant does not count as missing.
                    self.missing.retain(|(name, _)| name != meant);
                    cure
                }
                Err(None) if self.asked.is_empty() => "remove it".to_string(),
                Err(None) => format!("known {place}: {}", self.asked.join(", ")),
            };
            let title = format!("unknown key `{}`", quoted(key));
            self.note(&name.span(), title, format!("no such key {place}"), cure);
        }
    }

    fn report_missing(&self) {
        if self.missing.is_empty() || self.log.damaged {
            return;
        }
        self.log
            .note(missing::problem(&self.path, &self.span, &self.missing));
    }

    fn joined(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_string()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    fn learn(&mut self, key: &str) {
        if !self.asked.iter().any(|asked| asked == key) {
            self.asked.push(key.to_string());
            #[cfg(test)]
            self.log.known.borrow_mut().insert(self.joined(key));
        }
    }

    fn lack(&mut self, key: &str, example: &str) {
        self.learn(key);
        self.missing.push((key.to_string(), example.to_string()));
    }

    fn ask(&mut self, key: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.learn(key);
        self.peek(key)
    }

    fn inside(&self, key: &str, value: &'a Spanned<DeValue<'a>>) -> Option<Table<'a>> {
        Some(Table {
            entries: value.get_ref().as_table()?,
            path: self.joined(key),
            span: value.span(),
            log: self.log,
            asked: Vec::new(),
            missing: Vec::new(),
        })
    }
}

/// No key that was found to be missing goes unsaid, however the reader ends.
impl Drop for Table<'_> {
    fn drop(&mut self) {
        self.report_missing();
    }
}
