//! `renew`: repair or renew. What a machine costs a year if it is kept, against a new one; takes what a unit's shows under
//! `inputs`.
//!
//! Money is in any one unit. A machine's age is counted in winters: its first winter is 1.

use serde::{Deserialize, Deserializer, Serialize};

use super::{between, not_negative, positive, whole};
use crate::Invalid;
use crate::renew::Assumption;
use crate::renew::annual::{annual_costs, best, capital_recovery, marginal_cost, present_worth};
use crate::renew::trend::{Stated, Trend, Winters};
use crate::renew::words;

/// Winters at most: of a machine, of a fleet by age.
const WINTERS_MAX: u32 = 100;
/// Years that a machine may be kept at most.
const YEARS_MAX: u32 = 50;
/// How much machines of one model differ in what their winters cost, as a share of what is stated (district default).
const BETWEEN_MACHINES: f64 = 0.5;
/// Machines' winters of one age at most.
const COUNT_MAX: u32 = 1_000_000;

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewInput))]
pub struct Input {
    /// The price of a new one, over 0; null, which is to be written, where it is not known.
    #[serde(deserialize_with = "stated")]
    #[cfg_attr(feature = "schema", schema(required = true))]
    pub price: Option<f64>,
    /// What the money is called in the sentence: 1 to 12 characters.
    #[serde(default)]
    pub currency: Option<String>,
    /// How many winters the machine has been through, whole, 0 to 100; null where that is not known.
    #[serde(default)]
    pub age: Option<f64>,
    /// What it would fetch today (salvage value); by the price, its age and `resale_kept` if absent.
    #[serde(default)]
    pub resale_now: Option<f64>,
    /// The share of its value that a machine keeps each year, 0 to 1; 0.8 if absent.
    #[serde(default)]
    pub resale_kept: Option<f64>,
    /// Rate of discount a year, prices as they are today, 0 to 1; 0.04 if absent.
    #[serde(default)]
    pub discount_rate: Option<f64>,
    /// The oldest that a machine is to grow, in years: whole, 1 to 50; 15 if absent. One that is as old is looked at for one
    /// more year.
    #[serde(default)]
    pub years: Option<f64>,
    /// What the repair that it waits for costs, beside its winters' usual costs.
    #[serde(default)]
    pub repair_now: f64,
    /// What an hour of labour costs; 60 if absent.
    #[serde(default)]
    pub labour_per_hour: Option<f64>,
    /// What a stand-in's hire costs for a day; 0.04 of the price if absent.
    #[serde(default)]
    pub hire_per_day: Option<f64>,
    /// What an hour in season without the machine costs, in place of a stand-in's hire.
    #[serde(default)]
    pub without_per_hour: Option<f64>,
    /// What is expected of such machines before any winter is looked at.
    #[serde(default)]
    pub expected: Expected,
    /// The machine's winters that are over and on record: 100 at most, each once, in any order.
    #[serde(default)]
    pub winters: Vec<WinterCosts>,
    /// What winters of other machines of its model cost, by their age: each age once, in any order.
    #[serde(default)]
    pub fleet: Vec<FleetWinters>,
}

/// Null must be written: an absent price is a mistake, not an unknown one.
fn stated<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
    Option::deserialize(deserializer)
}

/// What a machine's winters cost before any is looked at, as shares of the price of a new one. Each figure's standard
/// deviation is as large as itself, and between machines of one model half as large; the scatter counts for 4 winters.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewExpected))]
pub struct Expected {
    /// Repairs and being without it in its first winter: over 0, at most 10.
    pub first: f64,
    /// How much more each next winter: over 0, at most 10.
    pub rise: f64,
    /// Standard deviation of one winter about that line: over 0, at most 10.
    pub scatter: f64,
}

impl Default for Expected {
    /// District default; no published figure for small winter machines.
    fn default() -> Self {
        Expected {
            first: 0.03,
            rise: 0.015,
            scatter: 0.1,
        }
    }
}

/// One winter of a machine.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewWinter))]
pub struct WinterCosts {
    /// The machine's so-manieth winter: whole, 1 to 100.
    pub winter: f64,
    /// Parts at cost.
    #[serde(default)]
    pub parts: f64,
    /// Labour.
    #[serde(default)]
    pub labour_minutes: f64,
    /// Days in season on which it could not be had: counted with `hire_per_day`.
    #[serde(default)]
    pub out_days: f64,
    /// Hours in season: counted with `without_per_hour` where that is given.
    #[serde(default)]
    pub out_hours: f64,
    /// Hours that it ran; null where they are not known.
    #[serde(default)]
    pub run_hours: Option<f64>,
}

/// Winters of other machines in the same winter of their lives.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewFleetWinters))]
pub struct FleetWinters {
    /// Their so-manieth winter: whole, 1 to 100.
    pub winter: f64,
    /// How many of them: whole, 1 to 1,000,000.
    pub count: f64,
    /// What they cost in the mean, repairs and being without the machine.
    pub mean: f64,
    /// Their standard deviation, by their count; 0 of one.
    #[serde(default)]
    pub sd: f64,
}

/// What to do with a machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewVerdict))]
pub enum Verdict {
    /// Keeping it is no dearer than a new one.
    Repair,
    /// A new one is cheaper.
    Renew,
}

/// What is answered. Figures that hang on what is lacking are null.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewOutput))]
pub struct Output {
    /// What costs less.
    pub verdict: Option<Verdict>,
    /// Said for people.
    pub text: String,
    /// The machine, kept for the years in which it is cheapest.
    pub keep: Option<AnnualCost>,
    /// A new one, kept for its economic life.
    pub new: Option<AnnualCost>,
    /// What renewing saves a year; under 0 what it costs more.
    pub renewing_saves: Option<f64>,
    /// The chance that keeping it costs no more than a new one, by the doubt about what its own winters cost.
    pub chance_keeping_is_cheaper: Option<f64>,
    /// The first of its winters that by itself will cost more than a new one does a year; null if that is past, or not
    /// before it is as old as `years`.
    pub turns_at_winter: Option<u32>,
    /// Repairs and being without it, per hour run, over the winters whose hours are known.
    pub cost_per_running_hour: Option<f64>,
    /// What its winters cost by its age, as its own and other machines' taught.
    pub winter_cost: Option<WinterCost>,
    /// What those of a new one are expected to cost, as other machines' taught.
    pub winter_cost_new: Option<WinterCost>,
    /// Both costs by the years of keeping, 1 to `years`; the machine's until it is as old.
    pub by_years: Vec<ByYears>,
    /// All that was taken to be so, and where it is from.
    pub assumptions: Vec<Assumption>,
    /// What must be known first.
    pub lacking: Vec<String>,
}

/// Equivalent annual cost of keeping a machine for so many years.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewAnnualCost))]
pub struct AnnualCost {
    /// A year.
    pub annual_cost: f64,
    /// For so many years.
    pub years: u32,
}

/// What a machine's winters cost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewWinterCost))]
pub struct WinterCost {
    /// The first one, by the line.
    pub first: f64,
    /// How much more each next one.
    pub rise: f64,
    /// Standard deviation of that rise.
    pub rise_sd: f64,
    /// The next one.
    pub next: f64,
    /// Standard deviation of what the next one is expected to cost.
    pub next_sd: f64,
    /// Standard deviation of one winter about the line.
    pub scatter: f64,
    /// From so many winters on record.
    pub winters: f64,
}

/// Equivalent annual costs of so many years.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewByYears))]
pub struct ByYears {
    /// Kept for so many years.
    pub years: u32,
    /// The machine.
    pub keep: Option<f64>,
    /// A new one.
    pub new: f64,
}

impl Input {
    pub(crate) fn rate(&self) -> f64 {
        self.discount_rate.unwrap_or(0.04)
    }

    pub(crate) fn kept(&self) -> f64 {
        self.resale_kept.unwrap_or(0.8)
    }

    pub(crate) fn longest(&self) -> u32 {
        // A whole number by `check`.
        self.years.unwrap_or(15.0) as u32
    }

    /// Years until a machine of that age is as old as one is to grow.
    pub(crate) fn years_left(&self, age: u32) -> u32 {
        self.longest().saturating_sub(age).max(1)
    }

    pub(crate) fn labour(&self) -> f64 {
        self.labour_per_hour.unwrap_or(60.0)
    }

    /// A stand-in's hire for a day, where it is given or follows from the price.
    pub(crate) fn hire(&self) -> Option<f64> {
        self.hire_per_day
            .or_else(|| Some(words::HIRE_OF_PRICE * self.price?))
    }

    /// What a machine fetches after so many winters.
    fn resale(&self, price: f64, winters: u32) -> f64 {
        price * self.kept().powf(f64::from(winters))
    }

    pub(crate) fn resale_today(&self) -> Option<f64> {
        let by_age = || Some(self.resale(self.price?, self.age? as u32));
        self.resale_now.or_else(by_age)
    }

    /// What a winter cost; `None` where nobody knows what a day without the machine costs.
    pub(crate) fn cost_of(&self, winter: &WinterCosts) -> Option<f64> {
        let without = match self.without_per_hour {
            Some(cost) => winter.out_hours * cost,
            None if winter.out_days == 0.0 => 0.0,
            None => winter.out_days * self.hire()?,
        };
        Some(winter.parts + winter.labour_minutes / 60.0 * self.labour() + without)
    }

    /// What is stated of its winters; `doubt`: each figure's standard deviation as a share of it.
    fn stated(&self, price: f64, doubt: f64) -> Stated {
        let Expected {
            first,
            rise,
            scatter,
        } = self.expected;
        Stated {
            first: (first * price, first * price * doubt),
            rise: (rise * price, rise * price * doubt),
            scatter: scatter * price,
        }
    }
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    check(input)?;
    let mut output = Output {
        verdict: None,
        text: String::new(),
        keep: None,
        new: None,
        renewing_saves: None,
        chance_keeping_is_cheaper: None,
        turns_at_winter: None,
        cost_per_running_hour: per_running_hour(input),
        winter_cost: None,
        winter_cost_new: None,
        by_years: Vec::new(),
        assumptions: words::assumptions(input),
        lacking: words::lacking(input),
    };
    if let Some(price) = input.price {
        compare(input, price, &mut output);
    }
    output.text = words::verdict(input, &output);
    Ok(output)
}

/// What winters cost by age, and where that is known what keeping and renewing cost.
fn compare(input: &Input, price: f64, output: &mut Output) {
    let (rate, longest) = (input.rate(), input.longest());
    let fleet = input.fleet.iter().map(|of_age| Winters {
        winter: of_age.winter,
        count: of_age.count,
        mean: of_age.mean,
        squares: of_age.count * of_age.sd * of_age.sd,
    });
    let others = Trend::stated(input.stated(price, 1.0)).after(fleet);
    let own = input.winters.iter().filter_map(|winter| {
        let cost = input.cost_of(winter)?;
        Some(Winters::one(winter.winter, cost))
    });
    let own = others
        .of_one(input.stated(price, BETWEEN_MACHINES))
        .after(own);
    let seen: f64 = input.fleet.iter().map(|of_age| of_age.count).sum();
    output.winter_cost_new = Some(told(&others, 1, seen));

    let costs: Vec<f64> = (1..=longest)
        .map(|winter| others.cost_of(winter.into()))
        .collect();
    let new = annual_costs(price, &costs, |years| input.resale(price, years), rate);
    output.new = best(&new).map(|(years, annual_cost)| AnnualCost { annual_cost, years });
    output.by_years = (1..)
        .zip(new)
        .map(|(years, new)| ByYears {
            years,
            keep: None,
            new,
        })
        .collect();

    let Some((age, resale)) = input.age.zip(input.resale_today()) else {
        return;
    };
    let age = age as u32;
    output.winter_cost = Some(told(&own, age + 1, input.winters.len() as f64));
    let left = input.years_left(age);
    let costs: Vec<f64> = (1..=left)
        .map(|year| own.cost_of((age + year).into()))
        .collect();
    let got_back = |years: u32| resale * input.kept().powf(years.into());
    let keep = annual_costs(resale + input.repair_now, &costs, got_back, rate);
    for (years, keep) in output.by_years.iter_mut().zip(&keep) {
        years.keep = Some(*keep);
    }
    let Some(((years, annual_cost), new)) = best(&keep).zip(output.new) else {
        return;
    };
    let room = new.annual_cost - annual_cost;
    output.keep = Some(AnnualCost { annual_cost, years });
    output.renewing_saves = Some(-room);
    // The annual cost is a weighted sum of the line's two figures.
    let weights = (1..=years).map(|year| {
        let weight = present_worth(rate, year) * capital_recovery(rate, years);
        [weight, weight * f64::from(age + year - 1)]
    });
    let weights = weights.fold([0.0; 2], |sum, weight| {
        [sum[0] + weight[0], sum[1] + weight[1]]
    });
    output.chance_keeping_is_cheaper = Some(own.chance_under(weights, room));
    if room < 0.0 {
        output.verdict = Some(Verdict::Renew);
        return;
    }
    output.verdict = Some(Verdict::Repair);
    let dearer = |year: &u32| {
        let cost = costs[*year as usize - 1];
        marginal_cost(got_back(year - 1), got_back(*year), cost, rate) > new.annual_cost
    };
    // Up to the years in which it is cheapest it is kept in any case.
    output.turns_at_winter = (years + 1..=left).find(dearer).map(|year| age + year);
}

fn told(trend: &Trend, next: u32, winters: f64) -> WinterCost {
    WinterCost {
        first: trend.first(),
        rise: trend.rise(),
        rise_sd: trend.rise_sd(),
        next: trend.cost_of(next.into()),
        next_sd: trend.cost_sd(next.into()),
        scatter: trend.scatter(),
        winters,
    }
}

fn per_running_hour(input: &Input) -> Option<f64> {
    let known = input.winters.iter();
    let known = known.filter_map(|winter| Some((input.cost_of(winter)?, winter.run_hours?)));
    let (cost, hours) = known.fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
    (hours > 0.0).then(|| cost / hours)
}

fn check(input: &Input) -> Result<(), Invalid> {
    let given =
        |field: &str, value: Option<f64>| value.map_or(Ok(()), |it| not_negative(field, it));
    input
        .price
        .map_or(Ok(()), |price| positive("price", price))?;
    if let Some(currency) = &input.currency {
        let fits = (1..=12).contains(&currency.chars().count());
        if !fits || currency.chars().any(char::is_control) {
            let problem = "will not do; give 1 to 12 characters, like USD, or leave it out";
            return Err(Invalid::new("currency", problem));
        }
    }
    if let Some(age) = input.age {
        whole("age", age, WINTERS_MAX)?;
    }
    given("resale_now", input.resale_now)?;
    between("resale_kept", input.kept(), 0.0, 1.0)?;
    between("discount_rate", input.rate(), 0.0, 1.0)?;
    if let Some(years) = input.years {
        at_least_one("years", years, YEARS_MAX)?;
    }
    not_negative("repair_now", input.repair_now)?;
    given("labour_per_hour", input.labour_per_hour)?;
    given("hire_per_day", input.hire_per_day)?;
    given("without_per_hour", input.without_per_hour)?;
    if input.hire_per_day.is_some() && input.without_per_hour.is_some() {
        let problem =
            "is given beside hire_per_day; give one of them, or being without is counted twice";
        return Err(Invalid::new("without_per_hour", problem));
    }
    let Expected {
        first,
        rise,
        scatter,
    } = input.expected;
    for (field, share) in [("first", first), ("rise", rise), ("scatter", scatter)] {
        between(format_args!("expected.{field}"), share, 1e-6, 10.0)?;
    }
    few("winters", input.winters.len())?;
    few("fleet", input.fleet.len())?;
    let mut seen = [false; WINTERS_MAX as usize + 1];
    for (index, winter) in input.winters.iter().enumerate() {
        let within = |fault: Invalid| fault.within(&format!("winters[{index}]"));
        let number = at_least_one("winter", winter.winter, WINTERS_MAX).map_err(within)?;
        once(&mut seen, number).map_err(within)?;
        if input.age.is_some_and(|age| winter.winter > age) {
            let problem = format!(
                "{number} is more than the machine has been through; give winters that are over, or its right age"
            );
            return Err(within(Invalid::new("winter", problem)));
        }
        let amounts = [
            ("parts", winter.parts),
            ("labour_minutes", winter.labour_minutes),
            ("out_days", winter.out_days),
            ("out_hours", winter.out_hours),
            ("run_hours", winter.run_hours.unwrap_or(0.0)),
        ];
        for (field, amount) in amounts {
            not_negative(field, amount).map_err(within)?;
        }
    }
    let mut seen = [false; WINTERS_MAX as usize + 1];
    for (index, of_age) in input.fleet.iter().enumerate() {
        let within = |fault: Invalid| fault.within(&format!("fleet[{index}]"));
        let number = at_least_one("winter", of_age.winter, WINTERS_MAX).map_err(within)?;
        once(&mut seen, number).map_err(within)?;
        at_least_one("count", of_age.count, COUNT_MAX).map_err(within)?;
        not_negative("mean", of_age.mean).map_err(within)?;
        not_negative("sd", of_age.sd).map_err(within)?;
    }
    Ok(())
}

fn at_least_one(field: &str, value: f64, most: u32) -> Result<usize, Invalid> {
    match whole(field, value, most)? {
        0 => Err(Invalid::new(
            field,
            format!("is 0; give a whole number from 1 to {most}"),
        )),
        number => Ok(number as usize),
    }
}

fn once(seen: &mut [bool], number: usize) -> Result<(), Invalid> {
    if std::mem::replace(&mut seen[number], true) {
        let problem = format!("{number} is there twice; give each winter once");
        return Err(Invalid::new("winter", problem));
    }
    Ok(())
}

fn few(field: &str, entries: usize) -> Result<(), Invalid> {
    if entries <= WINTERS_MAX as usize {
        return Ok(());
    }
    let problem = format!("has {entries} entries; give at most {WINTERS_MAX}");
    Err(Invalid::new(field, problem))
}
