//! Every figure, asked for by itself: one file a calculation, its input and output as they are written in JSON.
//!
//! All in SI units. `calculate` refuses what cannot be with the field's path and what to do; whatever is real is answered,
//! however odd: readings in any order, hours before the last reading, negative values, run hours on no days, empty
//! lists of readings or histories. Numbers are at most 1e12 either way, lists at most 10,000 long.

use std::fmt::Display;

use crate::Invalid;

pub mod battery;
pub mod breaks;
pub mod depot;
pub mod due;
pub mod life;
pub mod life_fit;
pub mod needed_rate;
pub mod plan;
pub mod renew;
pub mod running_hours;
pub mod season;
pub mod spares;
pub mod start_fit;
pub mod starts;
pub mod unit;
pub mod verdict;
pub mod wear;
pub mod wear_fit;
pub mod wear_season;
pub mod wind_chill;

/// Entries of a list at most.
pub const LIST_MAX: usize = 10_000;

/// Size of a number at most; what must be over 0 is at least one over it.
const NUMBER_MAX: f64 = 1e12;

/// Powers at most (Weibull shape, power of days stood): 1e12 to that power can still be held.
const SHAPE_MAX: f64 = 20.0;

/// Days of use, and shape of the hours of one day of use, at most.
const DAYS_MAX: f64 = 10_000.0;
const USE_SHAPE_MAX: f64 = 100.0;

/// A number at all: finite, at most 1e12 either way.
fn number(field: impl Display, value: f64) -> Result<(), Invalid> {
    between(field, value, -NUMBER_MAX, NUMBER_MAX)
}

/// A number from `least` to `most`.
fn between(field: impl Display, value: f64, least: f64, most: f64) -> Result<(), Invalid> {
    if (least..=most).contains(&value) {
        return Ok(());
    }
    let problem = if value.is_finite() {
        format!("{value} is out of range; give a number from {least} to {most}")
    } else {
        format!("is not a finite number; give a number from {least} to {most}")
    };
    Err(Invalid::new(field.to_string(), problem))
}

/// A number of at least 0.
fn not_negative(field: impl Display, value: f64) -> Result<(), Invalid> {
    if value < 0.0 {
        let problem = format!("{value} is negative; give 0 or more");
        return Err(Invalid::new(field.to_string(), problem));
    }
    number(field, value)
}

/// A number over 0.
fn positive(field: impl Display, value: f64) -> Result<(), Invalid> {
    if value <= 0.0 {
        let problem = format!("{value} is not over 0; give a positive number");
        return Err(Invalid::new(field.to_string(), problem));
    }
    between(field, value, 1.0 / NUMBER_MAX, NUMBER_MAX)
}

/// A power: over 0, at most 20.
fn shape(field: impl Display, value: f64) -> Result<(), Invalid> {
    positive(&field, value)?;
    between(field, value, 1.0 / NUMBER_MAX, SHAPE_MAX)
}

/// A chance.
fn chance(field: impl Display, value: f64) -> Result<(), Invalid> {
    if (0.0..=1.0).contains(&value) {
        return Ok(());
    }
    let problem = format!("{value} is not a chance; give a number from 0 to 1");
    Err(Invalid::new(field.to_string(), problem))
}

/// A whole number from 0 to `most`; 3.0 is whole.
fn whole(field: impl Display, value: f64, most: u32) -> Result<u32, Invalid> {
    not_negative(&field, value)?;
    if value.fract() != 0.0 || value > f64::from(most) {
        let problem = format!("{value} will not do; give a whole number from 0 to {most}");
        return Err(Invalid::new(field.to_string(), problem));
    }
    Ok(value as u32)
}

/// A list that is not too long.
fn list<T>(field: impl Display, entries: &[T]) -> Result<(), Invalid> {
    if entries.len() <= LIST_MAX {
        return Ok(());
    }
    let problem = format!("has {} entries; give at most {LIST_MAX}", entries.len());
    Err(Invalid::new(field.to_string(), problem))
}

/// The default of factors and shapes that may be left out.
fn one() -> f64 {
    1.0
}

#[cfg(test)]
mod tests;
