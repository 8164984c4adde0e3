//! Winters: dated snow days, which all machines of a depot share.

use jiff::ToSpan;
use jiff::civil::Date;

use super::chance::Chance;

/// Days since 1 July 2000.
pub type Day = i32;

/// The winter that is under way, by the year it began in.
pub const THIS_WINTER: i32 = 2025;

/// Winters to come that are drawn: this one and so many after it.
const TO_COME: i32 = 11;

/// 1 July of a year from 2000 to 2099.
pub fn july(year: i32) -> Day {
    365 * (year - 2000) + (year - 2000) / 4
}

/// The civil date of a day.
pub fn date(day: Day) -> Date {
    Date::constant(2000, 7, 1) + day.days()
}

/// The day of a civil date.
pub fn day(date: Date) -> Day {
    Date::constant(2000, 7, 1)
        .until(date)
        .map_or(0, |span| span.get_days())
}

/// The chance of snow on a day in the middle of a usual winter, and the first and last days it may snow on, from 1 July.
const PEAK: f64 = 0.32;
const FIRST: i32 = 130;
const LAST: i32 = 292;

/// How winters differ.
#[derive(Debug, Clone, Copy)]
pub struct Climate {
    /// A winter's severity multiplies the chance of snow on each of its days; it is Gamma with mean 1 and this shape: with
    /// 9 the number of a winter's snow days varies by a third.
    pub severity_shape: f64,
}

impl Climate {
    /// How severe a winter is.
    fn severity(self, chance: &mut Chance) -> f64 {
        chance.gamma(self.severity_shape, self.severity_shape)
    }
}

/// The chance of snow on a day of the winter, counted from 1 July.
fn snows(severity: f64, day: i32) -> f64 {
    if !(FIRST..=LAST).contains(&day) {
        return 0.0;
    }
    let through = f64::from(day - FIRST) / f64::from(LAST - FIRST);
    let season = (std::f64::consts::PI * through).sin().powi(2);
    (severity * PEAK * season).min(0.9)
}

/// The snow days of a winter from a day of it on, counted from 1 July.
fn winter(chance: &mut Chance, severity: f64, from: i32) -> Vec<i32> {
    (from.max(FIRST)..=LAST)
        .filter(|day| chance.happens(snows(severity, *day)))
        .collect()
}

/// ln P(these snow days and no others up to `today` | severity).
fn ln_seen(severity: f64, snow: &[i32], today: i32) -> f64 {
    (FIRST..=LAST.min(today))
        .map(|day| {
            let chance = snows(severity, day);
            if snow.contains(&day) {
                chance.ln()
            } else {
                (-chance).ln_1p()
            }
        })
        .filter(|ln| ln.is_finite())
        .sum()
}

/// Which winters come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coming {
    /// One of those on record again, and after it the one that followed it: what the forecasts take for true.
    OnRecord,
    /// New ones of the same climate, the rest of this one as severe as it began.
    New,
}

/// A depot's snow, past and to come.
#[derive(Debug, Clone)]
pub struct Sky {
    /// Snow days of the winters on record, the oldest first, the newest the last before this one.
    pub record: Vec<Vec<i32>>,
    /// Snow days of this winter up to `today`.
    pub so_far: Vec<i32>,
    pub today: Day,
    /// Snow days after `today`, ascending.
    pub to_come: Vec<Day>,
    pub coming: Coming,
    climate: Climate,
    /// Whether it snows, by day from the first on record on, up to `today`.
    past: Vec<bool>,
}

impl Sky {
    /// So many winters on record, and what follows. `today` is the first dry day from a day of this winter on.
    pub fn draw(
        chance: &mut Chance,
        climate: Climate,
        winters: usize,
        from: i32,
        coming: Coming,
    ) -> Self {
        let record: Vec<Vec<i32>> = (0..winters)
            .map(|_| {
                let severity = climate.severity(chance);
                winter(chance, severity, 0)
            })
            .collect();
        let severity = climate.severity(chance);
        let this = winter(chance, severity, 0);
        let mut today = from;
        while this.contains(&today) {
            today += 1;
        }
        let so_far: Vec<i32> = this.iter().copied().filter(|day| *day < today).collect();
        let mut sky = Sky {
            past: Vec::new(),
            today: july(THIS_WINTER) + today,
            to_come: Vec::new(),
            record,
            so_far,
            coming,
            climate,
        };
        sky.to_come = match coming {
            Coming::OnRecord => {
                let which = chance.place(winters);
                sky.scenario(which)
            }
            Coming::New => sky.new_days(chance, severity),
        };
        sky.past = vec![false; (sky.today - sky.first() + 1) as usize];
        let winters = sky.record.iter().chain([&sky.so_far]);
        let years = THIS_WINTER - winters.clone().count() as i32 + 1..;
        let days: Vec<Day> = winters
            .zip(years)
            .flat_map(|(snow, year)| snow.iter().map(move |day| july(year) + day))
            .collect();
        for day in days {
            let place = (day - sky.first()) as usize;
            sky.past[place] = true;
        }
        sky
    }

    /// The first day on record.
    pub fn first(&self) -> Day {
        july(THIS_WINTER - self.record.len() as i32)
    }

    /// Whether it snowed on a day on record.
    pub fn snowed(&self, day: Day) -> bool {
        self.past[(day - self.first()) as usize]
    }

    /// Snow days from a day to another, both counted, up to today.
    pub fn snow_days(&self, from: Day, to: Day) -> usize {
        (from.max(self.first())..=to.min(self.today))
            .filter(|day| self.snowed(*day))
            .count()
    }

    /// The days to come if the winter on record at that place comes again.
    pub fn scenario(&self, which: usize) -> Vec<Day> {
        let winters = (0..TO_COME).flat_map(|ahead| {
            let again = &self.record[(which + ahead as usize) % self.record.len()];
            again.iter().map(move |day| july(THIS_WINTER + ahead) + day)
        });
        winters.filter(|day| *day > self.today).collect()
    }

    /// Days to come of new winters, this one's severity known.
    fn new_days(&self, chance: &mut Chance, this: f64) -> Vec<Day> {
        let today = self.today - july(THIS_WINTER);
        let mut days = Vec::new();
        for ahead in 0..TO_COME {
            let (severity, from) = match ahead {
                0 => (this, today + 1),
                _ => (self.climate.severity(chance), 0),
            };
            let snow = winter(chance, severity, from);
            days.extend(snow.iter().map(|day| july(THIS_WINTER + ahead) + day));
        }
        days
    }

    /// Days to come as somebody expects them who knows the climate: one draw.
    pub fn expected(&self, chance: &mut Chance) -> Vec<Day> {
        match self.coming {
            Coming::OnRecord => {
                let which = chance.place(self.record.len());
                self.scenario(which)
            }
            Coming::New => {
                // Of some severities one, by how well it goes with the winter so far.
                let today = self.today - july(THIS_WINTER);
                let drawn: Vec<f64> = (0..30).map(|_| self.climate.severity(chance)).collect();
                let weights: Vec<f64> = drawn
                    .iter()
                    .map(|severity| ln_seen(*severity, &self.so_far, today).exp())
                    .collect();
                let mut left = chance.share() * weights.iter().sum::<f64>();
                let chosen = weights.iter().position(|weight| {
                    left -= weight;
                    left <= 0.0
                });
                self.new_days(chance, drawn[chosen.unwrap_or(0)])
            }
        }
    }
}
