//! The kinds of work, what a machine is rigged with for each, and what makes its rate.

use serde::{Deserialize, Serialize};

use super::faults::Faults;
use super::{Figure, Sheet};

/// The kind of work a machine is rigged for; attachments change it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Work {
    /// Throwing or ploughing snow off ground.
    Clear,
    /// Spreading salt, sand or brine.
    Spread,
    /// Blowing or sweeping light snow.
    Blow,
}

impl Work {
    /// Whether a check, part or task that is only for some kind of work, or for any, concerns a unit rigged for this one.
    pub fn concerned(self, only_for: Option<Work>) -> bool {
        only_for.is_none_or(|only| only == self)
    }

    /// What its rates are counted in.
    pub fn rate_unit(self) -> RateUnit {
        match self {
            Work::Clear | Work::Blow => RateUnit::Ground,
            Work::Spread => RateUnit::Material,
        }
    }

    /// The work as people say it.
    pub fn doing(self) -> &'static str {
        match self {
            Work::Clear => "clearing",
            Work::Spread => "spreading",
            Work::Blow => "blowing",
        }
    }
}

/// What a rate of work is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum RateUnit {
    /// Ground an hour, m2/h.
    #[default]
    #[serde(rename = "m2/h")]
    Ground,
    /// Material an hour, kg/h.
    #[serde(rename = "kg/h")]
    Material,
}

impl RateUnit {
    /// As written after a number.
    pub fn symbol(self) -> &'static str {
        match self {
            RateUnit::Ground => "m2/h",
            RateUnit::Material => "kg/h",
        }
    }

    /// Machines' rates are whole multiples of this: a hundredth or so of what one machine brings, and a number whose sums
    /// are exact in binary.
    pub fn quantum(self) -> f64 {
        match self {
            RateUnit::Ground => 10.0,
            RateUnit::Material => 0.25,
        }
    }

    /// Decimals of a rate as published and said.
    pub fn decimals(self) -> usize {
        match self {
            RateUnit::Ground => 0,
            RateUnit::Material => 1,
        }
    }

    /// A rate as published.
    pub fn rounded(self, rate: f64) -> f64 {
        match self {
            RateUnit::Ground => rate.round(),
            RateUnit::Material => (rate * 10.0).round() / 10.0,
        }
    }
}

/// What makes a unit's rate in one kind of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct RateFigures {
    /// Clearing, blowing or spreading width, mm.
    pub width_mm: Figure,
    /// Share of the width that overlaps the pass before, 0 to under 1.
    pub overlap: Figure,
    /// Working speed, metres an hour.
    pub speed_m_per_h: Figure,
    /// Share of the time spent at work (turning, moving, refuelling and refilling are the rest), over 0 to 1.
    pub efficiency: Figure,
    /// Snow the machine can throw, or material it can put down, kg an hour.
    pub rating_kg_per_h: Figure,
    /// The most material it puts down in one pass at that speed, g/m2: for spreading, and only there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dose_g_m2: Option<Figure>,
    /// Factor on the rate per open `degrade` finding, over 0 to 1; a check may name its own.
    pub degrade_factor: Figure,
}

/// What a model is rigged with for a kind of work, where it has a rate of its own there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Attachment {
    /// The kind of work it is for.
    pub work: Work,
    /// What a technician calls it: "broom".
    pub title: String,
    /// The rate with it.
    pub rate: RateFigures,
}

impl Sheet {
    /// What makes the rate of a unit rigged for `work`: its attachment's figures, else the model's.
    pub fn rate_for(&self, work: Work) -> &RateFigures {
        self.attachments
            .iter()
            .find(|attachment| attachment.work == work)
            .map_or(&self.rate, |attachment| &attachment.rate)
    }

    /// Whether the check of that code concerns a unit rigged for `work`: neither it nor its part is only for another. A
    /// check that the sheet does not have (any more) does.
    pub fn check_concerns(&self, code: &str, work: Work) -> bool {
        if self.works.len() < 2 {
            return true;
        }
        let Some(check) = self.check_spec(code) else {
            return true;
        };
        let part = check.part.as_deref().and_then(|part| self.part(part));
        work.concerned(check.only_for) && work.concerned(part.and_then(|part| part.only_for))
    }
}

/// Every fault of a sheet's rates and attachments.
pub(super) fn faults(sheet: &Sheet, faults: &mut Faults) {
    let first = sheet.works.first().copied();
    for (index, work) in sheet.works.iter().enumerate() {
        if sheet.works[..index].contains(work) {
            faults.say(format!("works[{index}]"), "is there twice");
        }
    }
    rate_faults("rate", &sheet.rate, first, faults);
    for (index, attachment) in sheet.attachments.iter().enumerate() {
        let field = format!("attachments[{index}]");
        faults.text(&format!("{field}.title"), &attachment.title);
        if !sheet.works.contains(&attachment.work) {
            faults.say(
                format!("{field}.work"),
                "is not among the sheet's `works`: add it there, or leave the attachment out",
            );
        }
        let same = |other: &Attachment| other.work == attachment.work;
        if sheet.attachments[..index].iter().any(same) {
            faults.say(
                format!("{field}.work"),
                "has an attachment already: one for each kind of work",
            );
        }
        rate_faults(
            &format!("{field}.rate"),
            &attachment.rate,
            Some(attachment.work),
            faults,
        );
    }
    let spreads = sheet
        .works
        .iter()
        .skip(1)
        .find(|work| **work == Work::Spread && sheet.rate_for(**work).dose_g_m2.is_none());
    if spreads.is_some() {
        faults.say(
            "attachments",
            "have none for `spread`, whose rate needs a `dose_g_m2`: add one",
        );
    }
    for (list, only_for) in [
        (
            "parts",
            sheet
                .parts
                .iter()
                .map(|part| part.only_for)
                .collect::<Vec<_>>(),
        ),
        (
            "checks",
            sheet.checks.iter().map(|check| check.only_for).collect(),
        ),
        (
            "tasks",
            sheet.tasks.iter().map(|task| task.only_for).collect(),
        ),
    ] {
        for (index, only_for) in only_for.into_iter().enumerate() {
            if only_for.is_some_and(|work| !sheet.works.contains(&work)) {
                faults.say(
                    format!("{list}[{index}].only_for"),
                    "is not among the sheet's `works`: then it would concern no machine",
                );
            }
        }
    }
}

fn rate_faults(at: &str, rate: &RateFigures, work: Option<Work>, faults: &mut Faults) {
    let field = |name: &str| format!("{at}.{name}");
    faults.figure(&field("width_mm"), &rate.width_mm, 50.0..=20_000.0);
    faults.figure(&field("overlap"), &rate.overlap, 0.0..=0.9);
    faults.figure(
        &field("speed_m_per_h"),
        &rate.speed_m_per_h,
        1.0..=100_000.0,
    );
    faults.figure(&field("efficiency"), &rate.efficiency, 0.01..=1.0);
    faults.figure(&field("rating_kg_per_h"), &rate.rating_kg_per_h, 1.0..=1e8);
    faults.figure(&field("degrade_factor"), &rate.degrade_factor, 0.01..=1.0);
    match (&rate.dose_g_m2, work) {
        (Some(dose), Some(Work::Spread)) => {
            faults.figure(&field("dose_g_m2"), dose, 0.1..=10_000.0);
        }
        (Some(_), _) => faults.say(
            field("dose_g_m2"),
            "belongs to spreading: leave it out of other work",
        ),
        (None, Some(Work::Spread)) => faults.say(
            field("dose_g_m2"),
            "is missing: how much a spreader puts down in one pass, g/m2",
        ),
        (None, _) => {}
    }
}
