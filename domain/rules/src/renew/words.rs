//! Repair or renew in words: the verdict, what it takes to be so and from where, and what it lacks.

use std::fmt::{self, Display};

use serde::{Deserialize, Serialize};

use crate::because::{number, odds, sentence};
use crate::calculations::renew::{Expected, Input, Output, Verdict};

/// Something that was taken to be so.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RenewAssumption))]
pub struct Assumption {
    /// What.
    pub what: String,
    /// Its value.
    pub value: f64,
    /// In what it is counted.
    pub unit: String,
    /// Where it is from: given, or assumed and on what ground.
    pub from: String,
}

const ASK: &str = "assumed: give your agency's own";
/// A stand-in's hire for a day, as a share of the price of a new one (district default; no published figure).
pub(crate) const HIRE_OF_PRICE: f64 = 0.04;

/// All that the comparison takes to be so.
pub(crate) fn assumptions(input: &Input) -> Vec<Assumption> {
    let mut all = of_the_machine(input);
    all.extend(of_any_machine(input));
    all
}

/// Something given, or else assumed on some ground.
fn one(what: &str, value: f64, unit: String, given: bool, assumed: &str) -> Assumption {
    Assumption {
        what: what.to_owned(),
        value,
        unit,
        from: if given { "given" } else { assumed }.to_owned(),
    }
}

fn money_of(input: &Input) -> String {
    input.currency.clone().unwrap_or_else(|| "money".to_owned())
}

fn of_the_machine(input: &Input) -> Vec<Assumption> {
    let money = || money_of(input);
    let winters = || "winters".to_owned();
    let mut all = Vec::new();
    all.extend(
        input
            .price
            .map(|price| one("price of a new one", price, money(), true, "")),
    );
    all.extend(
        input
            .age
            .map(|age| one("winters it has been through", age, winters(), true, "")),
    );
    let by_age = "by the price, its age and the share of value kept each year";
    all.extend(input.resale_today().map(|resale| {
        let given = input.resale_now.is_some();
        one("resale value today", resale, money(), given, by_age)
    }));
    all.push(one(
        "repair that it waits for",
        input.repair_now,
        money(),
        input.repair_now > 0.0,
        "none is given",
    ));
    all.push(one(
        "winters of its own that its costs are taken from",
        input.winters.len() as f64,
        winters(),
        !input.winters.is_empty(),
        "none is given: it is expected to cost what others do",
    ));
    all.push(one(
        "winters of other machines of its model",
        input.fleet.iter().map(|of_age| of_age.count).sum(),
        winters(),
        !input.fleet.is_empty(),
        "none is given: what is expected before any is looked at stands",
    ));
    all
}

/// What is taken to be so whatever machine is asked about.
pub(crate) fn of_any_machine(input: &Input) -> Vec<Assumption> {
    let money = money_of(input);
    let a_year = || "a year".to_owned();
    let mut all = vec![
        one(
            "share of its value that a machine keeps each year",
            input.kept(),
            a_year(),
            input.resale_kept.is_some(),
            "assumed: declining balance, common practice; no published figure for these machines",
        ),
        one(
            "rate of discount, prices as they are today",
            input.rate(),
            a_year(),
            input.discount_rate.is_some(),
            ASK,
        ),
        one(
            "oldest that a machine is to grow",
            input.longest().into(),
            "years".to_owned(),
            input.years.is_some(),
            "assumed: common practice",
        ),
        one(
            "labour",
            input.labour(),
            format!("{money} an hour"),
            input.labour_per_hour.is_some(),
            ASK,
        ),
    ];
    all.push(match (input.without_per_hour, input.hire()) {
        (Some(cost), _) => one(
            "being without it in season",
            cost,
            format!("{money} an hour"),
            true,
            "",
        ),
        (None, Some(hire)) => one(
            "a stand-in's hire",
            hire,
            format!("{money} a day"),
            input.hire_per_day.is_some(),
            "assumed: 0.04 of the price of a new one",
        ),
        // No price makes a sum of it.
        (None, None) => one(
            "a stand-in's hire",
            HIRE_OF_PRICE,
            "of the price of a new one a day".to_owned(),
            false,
            ASK,
        ),
    });
    let Expected {
        first,
        rise,
        scatter,
    } = input.expected;
    let given = input.expected != Expected::default();
    for (what, share) in [
        ("cost of a first winter before any is looked at", first),
        (
            "rise from each winter to the next before any is looked at",
            rise,
        ),
        ("scatter of one winter before any is looked at", scatter),
    ] {
        let unit = "of the price of a new one".to_owned();
        let assumed = "assumed: district default; no published figure for these machines";
        all.push(one(what, share, unit, given, assumed));
    }
    all
}

/// What must be known first, and where it is entered.
pub(crate) fn lacking(input: &Input) -> Vec<String> {
    let mut lacking = Vec::new();
    if input.price.is_none() {
        lacking.push("the price of a new one".to_owned());
    }
    if input.age.is_none() {
        lacking.push("its age".to_owned());
    }
    let unknown = |winter| input.cost_of(winter).is_none();
    if input.winters.iter().any(unknown) {
        lacking.push("what a day without it costs".to_owned());
    }
    lacking
}

/// The verdict, in one sentence.
pub(crate) fn verdict(input: &Input, output: &Output) -> String {
    let (Some(verdict), Some(keep), Some(new)) = (output.verdict, output.keep, output.new) else {
        return sentence(format_args!(
            "Not to be said without {}",
            output.lacking.join(" and ")
        ));
    };
    let currency = fmt::from_fn(|text| match &input.currency {
        Some(currency) => write!(text, " {currency}"),
        None => Ok(()),
    });
    let verdict = fmt::from_fn(|text| match verdict {
        Verdict::Renew => text.write_str("renew"),
        Verdict::Repair => match output.turns_at_winter {
            Some(winter) => {
                let winter = nth(winter);
                write!(
                    text,
                    "repair; from about its {winter} on a new one is cheaper"
                )
            }
            None => {
                let age = input.age.map_or(0, |age| age as u32);
                let last = nth(age + input.years_left(age));
                write!(text, "repair; it stays cheaper up to its {last}")
            }
        },
    });
    let doubt = fmt::from_fn(|text| match output.chance_keeping_is_cheaper {
        Some(chance) if (0.2..=0.8).contains(&chance) => {
            write!(
                text,
                "; it is close: keeping is cheaper with odds of {}",
                odds(chance)
            )
        }
        _ => Ok(()),
    });
    sentence(format_args!(
        "Keeping it costs about {}{currency} a year, a new one {}: {verdict}{doubt}",
        money(keep.annual_cost),
        money(new.annual_cost),
    ))
}

fn nth(winter: u32) -> impl Display {
    let ending = match (winter % 10, winter % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    fmt::from_fn(move |text| write!(text, "{winter}{ending} winter"))
}

/// Money as it is said: from 1,000 on to tens, from 10 on whole.
pub(crate) fn money(amount: f64) -> String {
    if amount.abs() < 10.0 {
        return number(amount, 2);
    }
    let step = if amount.abs() < 1000.0 { 1.0 } else { 10.0 };
    let digits = format!("{:.0}", (amount / step).round().abs() * step);
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place) % 3 == 0 {
            text.push(',');
        }
        text.push(digit);
    }
    if amount < 0.0 {
        text.insert(0, '-');
    }
    text
}
