//! How a machine's parts wore, as evidence of how such parts wear (section 4).

use crate::unit::Shared;
use crate::unit::clock::UnitClock;
use crate::wear::fit::MeanReading;
use crate::wear::learned::PartPath;

/// Every stretch along which the part at `place` has worn, by a check that measures it, as far as it was read. Hours count
/// from its fitting, or from its first reading where nobody knows that.
pub(super) fn worn(
    clock: &UnitClock<'_>,
    place: usize,
    take_up: bool,
    check: &str,
    shared: &Shared<'_>,
) -> Vec<PartPath> {
    let stretches = clock.wear_paths(place, take_up);
    let worn = stretches.filter_map(|(paths, as_new)| {
        let began = paths.first().filter(|_| as_new);
        let fitted = began.and_then(|path| clock.fitted_hours(path, shared));
        let readings = paths.iter().flat_map(|path| &path.readings);
        let readings = readings.filter(|reading| {
            reading.check == check && reading.at <= shared.as_of && reading.value.is_finite()
        });
        let mut readings: Vec<MeanReading> = readings
            .map(|reading| MeanReading {
                hours: clock.noted(reading.at, reading.hours, shared),
                value: reading.value,
                repeats: reading.repeats,
            })
            .collect();
        let first = readings.iter().map(|reading| reading.hours);
        let origin = fitted.or(first.min_by(f64::total_cmp))?;
        for reading in &mut readings {
            reading.hours = (reading.hours - origin).max(0.0);
        }
        (!readings.is_empty()).then_some(PartPath {
            fitting_known: fitted.is_some(),
            readings,
        })
    });
    worn.collect()
}
