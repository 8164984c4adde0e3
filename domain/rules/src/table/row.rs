//! A row by the names of its columns, its faults gathered.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::de::DeserializeOwned;

use super::cell::{number, shown, yes_no};
use super::header::Column;
use super::units::Declared;
use super::when::{day, instant};
use super::writer::unguard;
use super::{Conventions, What};
use crate::Invalid;

/// Where each column of a table stands, and what it is in.
#[derive(Debug, Clone)]
pub struct Layout {
    places: Vec<(&'static str, usize, Option<Declared>)>,
    width: usize,
    conventions: Conventions,
}

impl Layout {
    /// Of a table with these columns.
    pub fn new(what: What, columns: &[Column], conventions: Conventions) -> Self {
        let place = |name: &str| {
            columns
                .iter()
                .position(|column| column.column.as_deref() == Some(name))
        };
        let places = what.columns().iter().filter_map(|spec| {
            let place = place(spec.name)?;
            let unit = columns[place].unit.as_deref().and_then(Declared::parse);
            Some((spec.name, place, unit))
        });
        Self {
            places: places.collect(),
            width: columns.len(),
            conventions,
        }
    }
}

/// A row's cells by name. What cannot be read is noted and answered as `None`.
#[derive(Debug)]
pub struct Cells<'a> {
    layout: &'a Layout,
    cells: &'a [String],
    faults: Vec<Invalid>,
}

impl<'a> Cells<'a> {
    /// Of this row.
    pub fn new(layout: &'a Layout, cells: &'a [String]) -> Self {
        let mut row = Self {
            layout,
            cells,
            faults: Vec::new(),
        };
        if let Some(place) =
            (layout.width..cells.len()).find(|place| !cells[*place].trim().is_empty())
        {
            let problem = format!(
                "stands under no header; the table has {} columns. A cell with a separator in it must be in quotes",
                layout.width
            );
            row.fault(&format!("cell {}", place + 1), problem);
        }
        row
    }

    /// Notes a fault of a column.
    pub fn fault(&mut self, name: &str, problem: impl Into<String>) {
        self.faults.push(Invalid::new(name, problem));
    }

    /// The faults noted.
    pub fn into_faults(self) -> Vec<Invalid> {
        self.faults
    }

    /// Whether nothing is wrong yet.
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty()
    }

    /// A cell's text; `None` where it is blank or has no column.
    pub fn text(&self, name: &str) -> Option<&'a str> {
        let (_, place, _) = self.layout.places.iter().find(|(it, ..)| *it == name)?;
        let cell = self.cells.get(*place)?;
        let text = unguard(cell.trim_matches([' ', '\u{a0}']));
        (!text.trim().is_empty()).then_some(text)
    }

    /// A cell's text with the spaces at its edges.
    pub fn verbatim(&self, name: &str) -> Option<&'a str> {
        let (_, place, _) = self.layout.places.iter().find(|(it, ..)| *it == name)?;
        let cell = unguard(self.cells.get(*place)?);
        (!cell.is_empty()).then_some(cell)
    }

    /// A cell that must not be blank.
    pub fn required(&mut self, name: &str) -> Option<&'a str> {
        let text = self.text(name);
        if text.is_none() {
            self.fault(name, "is blank; give it");
        }
        text
    }

    /// A number, in the unit it was declared in.
    pub fn number(&mut self, name: &str) -> Option<f64> {
        let text = self.text(name)?;
        let value = number(text, self.layout.conventions);
        self.noted(name, value)
    }

    /// A whole number from `least` to `most`.
    pub fn whole(&mut self, name: &str, least: i64, most: i64) -> Option<i64> {
        let value = self.number(name)?;
        if value.fract() == 0.0 && (least as f64..=most as f64).contains(&value) {
            return Some(value as i64);
        }
        self.fault(
            name,
            format!("must be a whole number from {least} to {most}"),
        );
        None
    }

    /// The unit that the header declares of a column.
    pub fn unit(&self, name: &str) -> Option<Declared> {
        let place = self.layout.places.iter().find(|(it, ..)| *it == name)?;
        place.2
    }

    /// Yes or no.
    pub fn yes_no(&mut self, name: &str) -> Option<bool> {
        let text = self.text(name)?;
        self.noted(name, yes_no(text))
    }

    /// A day.
    pub fn day(&mut self, name: &str) -> Option<Date> {
        let text = self.text(name)?;
        let day = day(text, self.layout.conventions);
        self.noted(name, day)
    }

    /// An instant, of a depot in this zone.
    pub fn instant(&mut self, name: &str, zone: &TimeZone) -> Option<Timestamp> {
        let text = self.text(name)?;
        let at = instant(text, self.layout.conventions, zone);
        self.noted(name, at)
    }

    /// One of the words of an enumeration of the rules, in any case, spaces, underscores and hyphens alike.
    pub fn word<T: DeserializeOwned>(&mut self, name: &str, words: &[&str]) -> Option<T> {
        let text = self.text(name)?;
        let plain = |text: &str| text.trim().to_lowercase().replace([' ', '-'], "_");
        let word = words.iter().find(|word| plain(word) == plain(text));
        let value =
            word.and_then(|word| serde_json::from_value(serde_json::Value::from(*word)).ok());
        if value.is_none() {
            self.fault(
                name,
                format!("is {}; it may be {}", shown(text), words.join(", ")),
            );
        }
        value
    }

    fn noted<T>(&mut self, name: &str, value: Result<T, String>) -> Option<T> {
        match value {
            Ok(value) => Some(value),
            Err(problem) => {
                self.fault(name, problem);
                None
            }
        }
    }
}
