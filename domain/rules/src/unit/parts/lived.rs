//! Parts that have a life: those that are not measured, and how measured ones break all of a sudden (section 5).

use std::fmt::{self, Display};

use jiff::{Timestamp, tz::TimeZone};

use super::{Advice, Lasts, PartState, Running};
use crate::because::{day_of, odds, sentence};
use crate::calculations;
use crate::hours::Node;
use crate::season::day_number;
use crate::sheet::Clock;
use crate::unit::clock::Moment;
use crate::unit::model::PartModel;
use crate::unit::standing::{Factor, Figure};

impl Running<'_> {
    /// The part's state and its factor; `sudden` where its wear is measured and this is how it breaks.
    pub(super) fn lived(
        &self,
        place: usize,
        part: &PartModel<'_>,
        sudden: bool,
    ) -> Option<(PartState, Option<Factor>)> {
        let (spec, life) = part.life.as_ref()?;
        let (facts, days, storm) = (
            self.shared.facts,
            &self.shared.snow_days,
            &self.shared.storm,
        );
        let (age, whence) = self.age_at(place, part, self.storm)?;
        let whence = whence.words(&facts.zone);
        let (next, this_season, next_season) = match spec.clock {
            Clock::Hours => {
                let at_base = (age - (self.storm.hours - self.base.hours)).max(0.0);
                let lasts = life.lasts_from(at_base);
                let (mut sound, mut this_season, mut next_season) = (0.0, 0.0, 0.0);
                for Node { hours, weights } in &self.to_come.nodes {
                    let [before_storm, this, next] = *weights;
                    if before_storm > 0.0 {
                        sound += before_storm * lasts(*hours);
                    }
                    if this + next > 0.0 {
                        let lasts = lasts(hours + self.storm_hours);
                        this_season += this * lasts;
                        next_season += next * lasts;
                    }
                }
                // It is sound when the storm starts, as above: what it has run since the last meter reading is behind it.
                let sound = sound.max(f64::MIN_POSITIVE);
                (self.storm_hours, this_season / sound, next_season / sound)
            }
            Clock::Days => {
                let next = storm.hours / 24.0;
                let until = |end| f64::from((day_number(end) - storm.first_day).max(0)).max(next);
                (
                    next,
                    life.lasts(age, until(days.this_season.ends)),
                    life.lasts(age, until(days.next_season.ends)),
                )
            }
        };
        let storm = life.lasts(age, next);
        let this_season = this_season.min(storm);
        let lasts = Lasts {
            storm,
            this_season,
            next_season: next_season.min(this_season),
        };
        let title = &part.spec.title;
        let text = if sudden {
            sentence(format_args!(
                "{title}, {whence}: {} that it does not {} all of a sudden in this storm",
                odds(storm),
                spec.failure
            ))
        } else {
            sentence(format_args!("{title}, {whence}: {}", lasts.words()))
        };
        let factor = part.spec.effect.takes_out().then(|| Factor {
            factor: if sudden {
                format!("{} {}", part.spec.part, spec.failure)
            } else {
                part.spec.part.clone()
            },
            chance: storm,
            text: text.clone(),
            figure: Some(Figure::Life(calculations::life::Input {
                shape: life.shape,
                prior_scale: (life.beta / life.alpha).powf(1.0 / life.shape),
                prior_weight: life.alpha,
                histories: Vec::new(),
                age,
                next,
            })),
        });
        let state = PartState {
            part: part.spec.part.clone(),
            title: title.clone(),
            advice: Advice::of(&lasts, &facts.settings),
            lasts: lasts.rounded(),
            measured: None,
            text,
        };
        Some((state, factor))
    }

    /// A part's age at `moment`, by its clock, and where that comes from: its own, else the machine's, else half its usual
    /// life.
    pub(super) fn age_at(
        &self,
        place: usize,
        part: &PartModel<'_>,
        moment: Moment,
    ) -> Option<(f64, Whence)> {
        let (spec, _) = part.life.as_ref()?;
        let began = self.clock.life_began(place);
        if let Some(age) = began.and_then(|path| self.clock.age(spec, path, moment, self.shared)) {
            let fitted_at = began.and_then(|path| path.fitted_at);
            return Some((age, fitted_at.map_or(Whence::Meter, Whence::Fitted)));
        }
        let machines_own = match spec.clock {
            // Hours that nobody ever read are not known to have begun at none.
            Clock::Hours => self.clock.meter_hours().map(|_| moment.hours),
            Clock::Days => self
                .unit
                .acquired_on
                .map(|day| f64::from((moment.day - day_number(day)).max(0))),
        };
        Some(match machines_own {
            Some(age) => (age, Whence::Machine),
            None => (spec.prior_scale.value / 2.0, Whence::UsualLife),
        })
    }
}

/// Where a part's age comes from.
#[derive(Debug, Clone, Copy)]
pub(super) enum Whence {
    /// It was fitted then.
    Fitted(Timestamp),
    /// The hours at which it was fitted were noted, but not when.
    Meter,
    /// Unknown: the machine's own.
    Machine,
    /// Unknown, as the machine's is: half its usual life.
    UsualLife,
}

impl Whence {
    /// As people say it.
    fn words(self, zone: &TimeZone) -> impl Display {
        fmt::from_fn(move |text| match self {
            Whence::Fitted(at) => write!(text, "fitted {}", day_of(at, zone)),
            Whence::Meter => text.write_str("age by the meter"),
            Whence::Machine => text.write_str("age unknown, taken as the machine's"),
            Whence::UsualLife => text.write_str("age unknown, taken as half its usual life"),
        })
    }
}
