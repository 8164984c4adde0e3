//! Each group of readings brought down to its own line, once: after that a likelihood costs the same however often a
//! part was read.

use super::{MeanReading, Unfit};

/// Values that scatter by less than this share of the largest lie on lines exactly, but for the last digits of a double.
const EXACT: f64 = 1e-10;

/// Hours that differ by less than this share of themselves are all one: nobody can tell from them what was at none.
const HOURS_ALIKE: f64 = 1e-4;

/// A straight line through a group's readings: what it is at their mean hours, and its gain an hour.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Line {
    pub level: f64,
    pub gain: f64,
}

/// One group, in the units of [`Sums`].
#[derive(Debug, Clone, Copy)]
pub(super) struct Group {
    /// Weight of its readings: their number, where each was read once.
    pub weight: f64,
    /// Their mean hours.
    pub at: f64,
    /// Weighted square of hours about that mean; 0 where they were all read at once.
    pub spread: f64,
    /// Least-squares line of the values, less the fleet's own; gains 0 where `spread` is.
    pub value: Line,
    /// The same of the square of hours, less the part of it that is a line for the whole fleet.
    pub square: Line,
}

/// What all groups leave beside their lines: weighted sums of products of what the lines do not account for.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Rest {
    pub value: f64,
    pub value_square: f64,
    pub square: f64,
}

/// The readings of a fleet, in units in which hours and what a common line leaves of the values are 1 in the mean square.
#[derive(Debug)]
pub(super) struct Sums {
    pub groups: Vec<Group>,
    pub readings: usize,
    pub rest: Rest,
    /// Readings beyond those that the groups' lines take up.
    pub spare: usize,
    /// Sum of the logarithms of the weights of readings.
    pub ln_weights: f64,
    /// Hours of one unit.
    pub hours_unit: f64,
    /// Value of one unit.
    pub value_unit: f64,
    /// The common line that was taken out: value as new, and loss an hour.
    pub as_new: f64,
    pub rate: f64,
}

/// A reading on its way into the sums: hours in their unit, a value, and a weight.
struct Row {
    weight: f64,
    hours: f64,
    value: f64,
    square: f64,
}

impl Sums {
    /// The sums of groups with readings, values mirrored by `sign`.
    pub fn new<G: AsRef<[MeanReading]>>(groups: &[G], sign: f64) -> Result<Sums, Unfit> {
        let read = || {
            groups
                .iter()
                .map(AsRef::as_ref)
                .filter(|group| !group.is_empty())
        };
        if read().count() < 2 {
            return Err(Unfit::TooFewGroups);
        }
        let all = || read().flatten();
        let total: f64 = all().map(MeanReading::weight).sum();
        let square: f64 = all().map(|one| one.weight() * one.hours * one.hours).sum();
        let largest = all().map(|one| one.value.abs()).fold(0.0, f64::max);
        // Not a number is not the largest of anything.
        let known = all().all(|one| one.value.is_finite());
        if !(known && square.is_finite() && (largest * largest * total).is_finite()) {
            return Err(Unfit::NotFinite);
        }
        let hours_unit = (square / total).sqrt();
        if hours_unit <= 0.0 {
            return Err(Unfit::HoursAlike);
        }
        let mut rows: Vec<Vec<Row>> = read()
            .map(|group| group.iter().map(|one| row(one, hours_unit, sign)).collect())
            .collect();
        // The fleet's lines are taken out first: what is left is small, and keeps its digits.
        let whole = || rows.iter().flatten();
        let (at, spread) = centre(whole());
        if spread <= HOURS_ALIKE * HOURS_ALIKE * total {
            return Err(Unfit::HoursAlike);
        }
        let value = line(whole(), at, spread, |row| row.value);
        let curve = line(whole(), at, spread, |row| row.square);
        for row in rows.iter_mut().flatten() {
            let off = row.hours - at;
            row.value -= value.level + value.gain * off;
            row.square -= curve.level + curve.gain * off;
        }
        let left: f64 = rows
            .iter()
            .flatten()
            .map(|row| row.weight * row.value * row.value)
            .sum();
        let value_unit = (left / total).sqrt();
        if value_unit <= EXACT * largest {
            return Err(Unfit::NoScatter);
        }
        for row in rows.iter_mut().flatten() {
            row.value /= value_unit;
        }
        let mut sums = Sums {
            groups: Vec::with_capacity(rows.len()),
            readings: rows.iter().map(Vec::len).sum(),
            rest: Rest::default(),
            spare: 0,
            ln_weights: all().map(|one| one.weight().ln()).sum(),
            hours_unit,
            value_unit,
            as_new: value.level - value.gain * at,
            rate: -value.gain / hours_unit,
        };
        for group in &rows {
            sums.take(group);
        }
        let exact = EXACT * largest / value_unit;
        if sums.spare > 0 && sums.rest.value <= sums.spare as f64 * exact * exact {
            return Err(Unfit::NoScatter);
        }
        Ok(sums)
    }

    fn take(&mut self, rows: &[Row]) {
        let (at, mut spread) = centre(rows.iter());
        let weight: f64 = rows.iter().map(|row| row.weight).sum();
        // Of hours that differ by their last digits no line can be drawn.
        if spread <= 1e-16 * weight * at * at {
            spread = 0.0;
        }
        let value = line(rows.iter(), at, spread, |row| row.value);
        let square = line(rows.iter(), at, spread, |row| row.square);
        for row in rows {
            let off = row.hours - at;
            let of_value = row.value - value.level - value.gain * off;
            let of_square = row.square - square.level - square.gain * off;
            self.rest.value += row.weight * of_value * of_value;
            self.rest.value_square += row.weight * of_value * of_square;
            self.rest.square += row.weight * of_square * of_square;
        }
        self.spare += rows.len() - if spread > 0.0 { 2 } else { 1 };
        self.groups.push(Group {
            weight,
            at,
            spread,
            value,
            square,
        });
    }
}

fn row(reading: &MeanReading, hours_unit: f64, sign: f64) -> Row {
    let hours = reading.hours / hours_unit;
    Row {
        weight: reading.weight(),
        hours,
        value: sign * reading.value,
        square: hours * hours,
    }
}

/// The mean of the rows' hours, and their weighted square about it.
fn centre<'r>(rows: impl Iterator<Item = &'r Row> + Clone) -> (f64, f64) {
    let weight: f64 = rows.clone().map(|row| row.weight).sum();
    let at = rows.clone().map(|row| row.weight * row.hours).sum::<f64>() / weight;
    let spread = rows.map(|row| row.weight * (row.hours - at).powi(2)).sum();
    (at, spread)
}

/// The least-squares line of a column about `at`; level only where there is no `spread`.
fn line<'r>(
    rows: impl Iterator<Item = &'r Row> + Clone,
    at: f64,
    spread: f64,
    column: impl Fn(&Row) -> f64,
) -> Line {
    let weight: f64 = rows.clone().map(|row| row.weight).sum();
    let level = rows
        .clone()
        .map(|row| row.weight * column(row))
        .sum::<f64>()
        / weight;
    if spread <= 0.0 {
        return Line { level, gain: 0.0 };
    }
    let product: f64 = rows
        .map(|row| row.weight * (row.hours - at) * (column(row) - level))
        .sum();
    Line {
        level,
        gain: product / spread,
    }
}
