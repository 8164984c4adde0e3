//! Parts that are measured: how each of their measures moves towards its limit (section 4).

use std::array;

use super::dates::PATHS;
use super::{Advice, Lasts, LimitKind, MeasuredState, PartState, Quantiles, Running, ToCome};
use crate::because::{day_of, measured, odds, quantity, sentence, two_figures};
use crate::calculations;
use crate::facts::{FittedPartFacts, PathReading};
use crate::sheet::{CheckSpec, Measure};
use crate::special::FastNormal;
use crate::unit::model::PartModel;
use crate::unit::standing::{Factor, Figure};
use crate::wear::{WearPath, WearPrior, WearReading};

/// Where one measure of a part stands, by its readings.
pub(super) struct Stands<'r> {
    prior: WearPrior,
    path: WearPath,
    /// Its readings, hours counted from the path's beginning on.
    readings: Vec<WearReading>,
    /// Hours the path is old at the base.
    from: f64,
    /// Its newest reading.
    last: Option<&'r PathReading>,
    limit: f64,
    limit_is: LimitKind,
    /// Whether the newest reading is at or past a functional limit.
    past: bool,
    /// Whether nothing is known: fitting date unknown, never measured.
    pub(super) unknown: bool,
}

impl Stands<'_> {
    /// The chances that the limit is not reached in the `hours` to come and `more` hours on top of them.
    pub(super) fn lasts<const N: usize>(&self, more: f64, hours: &ToCome<N>) -> [f64; N] {
        // It was read to do its work no more: whatever the doubt of a reading, nobody plans on it.
        if self.past {
            return [0.0; N];
        }
        let normal = FastNormal::new();
        let from = self.from + more;
        let sure = |hours: f64| self.path.lasts_fast(normal, self.limit, from + hours) > 1.0 - 1e-7;
        // Between two points the chance is least at one of them: far from the limit nothing need be averaged.
        let now = sure(0.0);
        let sure = hours.most.map(|most| now && sure(most));
        if sure == [true; N] {
            return [1.0; N];
        }
        let lasts = self.path.lasts_over(self.limit, from, &hours.table);
        array::from_fn(|day| if sure[day] { 1.0 } else { lasts[day] })
    }
}

/// One measure of a part, worked out.
struct Worked<'s, 'r> {
    check: &'s CheckSpec,
    measure: &'s Measure,
    stands: Stands<'r>,
    lasts: Lasts,
    /// Whether its readings do not lie on a straight line.
    bends: bool,
}

impl Running<'_> {
    /// The worst of a part's measures, and its factor where a functional limit is known.
    pub(super) fn measured(
        &self,
        place: usize,
        part: &PartModel<'_>,
    ) -> Option<(PartState, Option<Factor>)> {
        let settings = &self.shared.facts.settings;
        let (take_ups, measures): (Vec<Worked<'_, '_>>, Vec<_>) = part
            .wear
            .iter()
            .map(|(check, measure, prior)| self.work_out(check, measure, prior, place))
            .partition(|one| one.measure.backed_by.is_some());
        let by = |chance: fn(&Lasts) -> f64| {
            move |one: &&Worked<'_, '_>, other: &&Worked<'_, '_>| {
                chance(&one.lasts).total_cmp(&chance(&other.lasts))
            }
        };
        let worst = measures.iter().min_by(by(|lasts| lasts.this_season))?;
        let lasts = measures.iter().map(|one| one.lasts).reduce(Lasts::least)?;
        let mut text = self.text(worst, &lasts, &part.spec.title);
        let functional = measures
            .iter()
            .filter(|one| one.stands.limit_is == LimitKind::FailsAt);
        let weakest = functional.min_by(by(|lasts| lasts.storm));
        let weakest = weakest.filter(|_| part.spec.effect.takes_out());
        let factor = weakest.map(|one| Factor {
            factor: part.spec.part.clone(),
            chance: one.lasts.storm,
            // Of a part with one measure the same is said.
            text: if measures.len() == 1 {
                text.clone()
            } else {
                self.text(one, &one.lasts, &part.spec.title)
            },
            figure: (!one.stands.past).then(|| Figure::WearSeason(self.figure(&one.stands))),
        });
        let mut advice = if worst.stands.unknown {
            Advice::Measure
        } else {
            Advice::of(&lasts, settings)
        };
        // A used-up take-up is no end of a belt: it says to renew before the next season.
        let chances = take_ups.iter().filter(|one| !one.stands.unknown);
        let take_up = chances.map(|one| one.lasts.next_season).reduce(f64::min);
        if let Some(chance) = take_up.filter(|chance| *chance < settings.season_under) {
            advice = advice.min(Advice::RenewAfterTheSeason);
            let odds = odds(chance);
            text.push_str(&format!("; {odds} that its take-up lasts next season"));
        }
        // From now, not from the storm on.
        let run_since = self.clock.hours_at(self.shared.as_of, self.shared) - self.base.hours;
        let now = worst.stands.from + run_since.max(0.0);
        let [p10, _, p50, _, p90] = PATHS;
        let hours = |z| {
            if worst.stands.past {
                return Some(0.0);
            }
            worst
                .stands
                .path
                .hours_until_score(worst.stands.limit, now, z)
                .map(coarse_hours)
        };
        let dates = match worst.stands.last.filter(|_| worst.stands.past) {
            Some(last) => {
                let day = Some(self.shared.facts.zone.to_datetime(last.at).date());
                Quantiles {
                    p10: day,
                    p50: day,
                    p90: day,
                }
            }
            None => self.reached_by(&worst.stands.path, worst.stands.limit, worst.stands.from),
        };
        let state = PartState {
            part: part.spec.part.clone(),
            title: part.spec.title.clone(),
            advice,
            lasts: lasts.rounded(),
            measured: Some(MeasuredState {
                check: worst.check.check.clone(),
                value: worst
                    .stands
                    .last
                    .map(|last| (last.value * 1e4).round() / 1e4),
                limit: worst.stands.limit,
                limit_is: worst.stands.limit_is,
                hours: Quantiles {
                    p10: hours(p10),
                    p50: hours(p50),
                    p90: hours(p90),
                },
                dates,
                bends: worst.bends,
            }),
            text,
        };
        Some((state, factor))
    }

    fn work_out<'s>(
        &self,
        check: &'s CheckSpec,
        measure: &'s Measure,
        prior: &WearPrior,
        place: usize,
    ) -> Worked<'s, '_> {
        let stands = self.stands(check, measure, prior, place);
        Worked {
            check,
            measure,
            lasts: Lasts::of(stands.lasts(self.storm_hours, &self.to_come)),
            bends: bends(&stands.readings, stands.prior.reading_sd),
            stands,
        }
    }

    /// Where a measure of the part at `place` stands.
    pub(super) fn stands(
        &self,
        check: &CheckSpec,
        measure: &Measure,
        such_parts: &WearPrior,
        place: usize,
    ) -> Stands<'_> {
        let side = measure.limits.high.as_ref().or(measure.limits.low.as_ref());
        let as_new = measure.limits.as_new.value;
        let fails_at = side
            .and_then(|side| side.fails_at.as_ref())
            .map(|figure| figure.value);
        let (limit, limit_is) = match fails_at {
            Some(fails_at) => (fails_at, LimitKind::FailsAt),
            None => (
                side.map_or(as_new, |side| side.unserviceable_at.value),
                LimitKind::Unserviceable,
            ),
        };
        let (paths, as_new_then) = self.clock.worn_along(place, measure.backed_by.is_some());
        let (mut readings, last) = self.collect(check, paths);
        let began = paths.first().filter(|_| as_new_then);
        let fitted = began.and_then(|path| self.clock.fitted_hours(path, self.shared));
        let prior = match fitted {
            Some(_) => *such_parts,
            // Unknown fitting date: it may be anything between new and worn out.
            None => WearPrior {
                as_new: (as_new + limit) / 2.0,
                as_new_sd: (as_new - limit).abs(),
                ..*such_parts
            },
        };
        let first = readings.iter().map(|reading| reading.hours);
        let origin = fitted.or(first.min_by(f64::total_cmp));
        let origin = origin.unwrap_or(self.base.hours);
        for reading in &mut readings {
            reading.hours = (reading.hours - origin).max(0.0);
        }
        let reached = |value: f64| {
            if prior.grows {
                value >= limit
            } else {
                value <= limit
            }
        };
        Stands {
            prior,
            path: WearPath::new(&prior, &readings),
            from: (self.base.hours - origin).max(0.0),
            last,
            limit,
            limit_is,
            past: fails_at.is_some() && last.is_some_and(|last| reached(last.value)),
            unknown: fitted.is_none() && readings.is_empty(),
            readings,
        }
    }

    /// These paths' readings of a check up to now, hours as on the meter, and the newest.
    fn collect<'r>(
        &self,
        check: &CheckSpec,
        paths: &[&'r FittedPartFacts],
    ) -> (Vec<WearReading>, Option<&'r PathReading>) {
        let count = paths.iter().map(|path| path.readings.len()).sum();
        let mut readings = Vec::with_capacity(count);
        let mut last: Option<&PathReading> = None;
        for reading in paths.iter().flat_map(|path| &path.readings) {
            if reading.check != check.check
                || reading.at > self.shared.as_of
                || !reading.value.is_finite()
            {
                continue;
            }
            let hours = self.clock.noted(reading.at, reading.hours, self.shared);
            // The mean of n readings has n times the weight of one.
            let repeated = (0..reading.repeats.clamp(1, 100)).map(|_| WearReading {
                hours,
                value: reading.value,
            });
            readings.extend(repeated);
            if last.is_none_or(|last| last.at <= reading.at) {
                last = Some(reading);
            }
        }
        (readings, last)
    }

    /// The `wear-season` calculation's input for a factor: from the storm's hours on, over the days of use before it.
    fn figure(&self, stands: &Stands<'_>) -> calculations::wear_season::Input {
        let WearPrior {
            as_new,
            as_new_sd,
            rate,
            rate_sd,
            reading_sd,
            grows,
        } = stands.prior;
        let input = |reading: &WearReading| calculations::wear::Reading {
            hours: reading.hours,
            value: reading.value,
        };
        let (usage, run_hours, snow_days) = self.usage.made_from();
        calculations::wear_season::Input {
            prior: calculations::wear::Prior {
                as_new,
                as_new_sd,
                rate,
                rate_sd,
                reading_sd,
            },
            readings: stands.readings.iter().map(input).collect(),
            limit: stands.limit,
            from_hours: stands.from + self.storm_hours,
            usage: calculations::wear_season::UsageInput {
                shape: usage.shape,
                prior_days: usage.prior_days,
                prior_hours_per_day: usage.prior_hours_per_day,
                run_hours,
                snow_days,
            },
            scenarios: self.before_storm.clone(),
            grows,
        }
    }

    fn text(&self, one: &Worked<'_, '_>, lasts: &Lasts, title: &str) -> String {
        let decimals = if one.measure.resolution.value >= 1.0 {
            0
        } else {
            2
        };
        let zone = &self.shared.facts.zone;
        let lasts = lasts.words();
        let bends = if one.bends {
            "; its readings do not lie on a line, so look at what changed"
        } else {
            ""
        };
        let Some(last) = one.stands.last else {
            let known = if one.stands.unknown {
                "nor its age known: measure it"
            } else {
                "so by what such parts usually lose"
            };
            return sentence(format_args!("{title}: not measured, {known}; {lasts}"));
        };
        let (value, on) = (
            measured(one.measure, last.value, decimals),
            day_of(last.at, zone),
        );
        if one.stands.past {
            return format!("{title}: {value} on {on}, past the point where it works");
        }
        let moving = if one.measure.limits.high.is_some() {
            "gaining"
        } else {
            "losing"
        };
        let rate = quantity(
            two_figures(one.stands.path.rate),
            one.measure.unit.symbol_of_a_difference(),
        );
        sentence(format_args!(
            "{title}: {value} on {on}, {moving} {rate} an hour; {lasts}{bends}"
        ))
    }
}

/// Whether a path bends: least squares with a term in h^2 give it one that is more than [`BEND_SIGMAS`] of its standard
/// error from none, by the known doubt of a reading. Readings at fewer than four ages tell nothing.
fn bends(readings: &[WearReading], reading_sd: f64) -> bool {
    let mut ages: Vec<f64> = readings.iter().map(|reading| reading.hours).collect();
    ages.sort_unstable_by(f64::total_cmp);
    ages.dedup();
    let span = ages
        .last()
        .zip(ages.first())
        .map_or(0.0, |(last, first)| last - first);
    if ages.len() < 4 || span <= 0.0 {
        return false;
    }
    let n = readings.len() as f64;
    let mean = |of: &dyn Fn(&WearReading) -> f64| readings.iter().map(of).sum::<f64>() / n;
    let middle = mean(&|reading| reading.hours);
    let x = |reading: &WearReading| (reading.hours - middle) / span;
    let (x2, x3) = (mean(&|one| x(one).powi(2)), mean(&|one| x(one).powi(3)));
    // What of h^2 is left once a constant and h are taken out.
    let left = |reading: &WearReading| x(reading).powi(2) - x2 - x3 / x2 * x(reading);
    let square: f64 = readings.iter().map(|one| left(one).powi(2)).sum();
    let bend: f64 = readings.iter().map(|one| left(one) * one.value).sum();
    square > 1e-9 && bend.abs() > BEND_SIGMAS * reading_sd * square.sqrt()
}

/// A straight path is flagged by chance once in a thousand times (standard normal, two-sided).
const BEND_SIGMAS: f64 = 3.29;

/// Hours as published: whole up to ten, then to five, so that they change when a plan would.
fn coarse_hours(hours: f64) -> f64 {
    if hours < 10.0 {
        hours.round()
    } else {
        (hours / 5.0).round() * 5.0
    }
}
