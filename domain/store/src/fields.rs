//! Checks of single fields, in the same words everywhere. Each returns [`Error::Invalid`] with the field's path.

use std::ops::RangeInclusive;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use uuid::Uuid;

use crate::{Error, Result, clock};

/// What an hour meter can show.
pub const RUN_HOURS: RangeInclusive<f64> = 0.0..=100_000.0;

/// A line of text of so many characters, not blank and without control characters.
///
/// # Errors
/// [`Error::Invalid`].
pub fn line(field: &str, text: &str, characters: RangeInclusive<usize>) -> Result<()> {
    if text.chars().any(char::is_control) {
        return Err(Error::invalid(
            field,
            "has a line break or another control character; remove it",
        ));
    }
    within(field, text, characters)
}

/// Text of several lines, of so many characters and not blank.
///
/// # Errors
/// [`Error::Invalid`].
pub fn lines(field: &str, text: &str, characters: RangeInclusive<usize>) -> Result<()> {
    if text
        .chars()
        .any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t'))
    {
        return Err(Error::invalid(field, "has a control character; remove it"));
    }
    within(field, text, characters)
}

fn within(field: &str, text: &str, characters: RangeInclusive<usize>) -> Result<()> {
    let count = text.chars().count();
    if !characters.contains(&count) || (text.trim().is_empty() && *characters.start() > 0) {
        let (least, most) = characters.into_inner();
        return Err(Error::invalid(
            field,
            format!("must have {least} to {most} characters and not be blank; it has {count}"),
        ));
    }
    Ok(())
}

/// A finite number within limits, in the unit that the field's name says.
///
/// # Errors
/// [`Error::Invalid`].
pub fn number(field: &str, value: f64, range: RangeInclusive<f64>) -> Result<()> {
    if range.contains(&value) {
        return Ok(());
    }
    let (least, most) = range.into_inner();
    Err(Error::invalid(
        field,
        format!("must be from {least} to {most}; it is {value}"),
    ))
}

/// A number that may be absent.
///
/// # Errors
/// [`Error::Invalid`].
pub fn optional_number(field: &str, value: Option<f64>, range: RangeInclusive<f64>) -> Result<()> {
    value.map_or(Ok(()), |value| number(field, value, range))
}

/// An instant of the years 1900 to 2199, as exact as it is kept: to the microsecond.
///
/// # Errors
/// [`Error::Invalid`].
pub fn instant(field: &str, at: Timestamp) -> Result<Timestamp> {
    let year = TimeZone::UTC.to_datetime(at).year();
    if !(1900..2200).contains(&year) {
        return Err(Error::invalid(
            field,
            format!("must be in the years 1900 to 2199; it is in {year}"),
        ));
    }
    Ok(clock::kept(at))
}

/// At most so many items.
///
/// # Errors
/// [`Error::Invalid`].
pub fn count<T>(field: &str, items: &[T], most: usize) -> Result<()> {
    if items.len() > most {
        return Err(Error::invalid(
            field,
            format!("must have at most {most} items; it has {}", items.len()),
        ));
    }
    Ok(())
}

/// The id a client made for a new object, or one made here.
///
/// # Errors
/// [`Error::Invalid`] unless it is a UUID of version 7.
pub fn id(given: Option<Uuid>) -> Result<Uuid> {
    match given {
        None => Ok(Uuid::now_v7()),
        Some(id) if id.get_version_num() == 7 => Ok(id),
        Some(_) => Err(Error::invalid(
            "id",
            "must be a UUID of version 7 (RFC 9562); leave it out to have one made",
        )),
    }
}
