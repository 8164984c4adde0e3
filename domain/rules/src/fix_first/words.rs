//! Why a job stands where it stands, in a sentence for whoever does it.

use super::job::{Job, JobKind, MinutesFrom};
use super::lines::{NOTHING, Raise};
use super::parts::Fitted;
use super::shown::{PartAt, PartToFit, WorkToFix};
use super::{DepotWork, Supply, UnitWork};
use crate::because::{day, number, odds};
use crate::stock::quantity_of;

/// Reasons of a job that are said.
const WHY_MAX: usize = 2;

/// A chance that rises by less is as good as the same to whoever reads it.
const TOLD: f64 = 1e-4;

/// What is told of.
pub(super) struct Told<'a> {
    pub(super) depot: &'a DepotWork,
    pub(super) unit: &'a UnitWork,
    /// The job, by its place in the machine's.
    pub(super) place: usize,
    pub(super) fitted: &'a Fitted,
    pub(super) supply: &'a Supply,
}

/// Of a job of the order.
pub(super) fn first(told: &Told<'_>, raise: &Raise) -> String {
    let name = &told.depot.name;
    told.with(vec![
        machine(told.unit, told.place),
        if raise.is_some() {
            let chances = instead(raise.before, raise.after);
            format!("{name} then keeps up with {} {chances}", raise.work.doing())
        } else {
            format!("by itself that does not help {name} yet; with the jobs after it, it does")
        },
    ])
}

/// Of a job that the order leaves out.
pub(super) fn behind(told: &Told<'_>, raise: Option<&Raise>) -> String {
    let (name, unit) = (&told.depot.name, told.unit);
    let job = &unit.jobs[told.place];
    let changes = job.after > job.now;
    let mut said = vec![match (&unit.remains, raise) {
        (Some(remains), _) if job.draft.touches => {
            format!("the machine does not count at {name} all the same: {remains}")
        }
        _ if !changes => "owed, but it changes no chance for this storm".to_owned(),
        _ if !told.fitted.in_time => {
            format!("its parts come too late for {}", day(told.depot.until))
        }
        (_, None) => format!("{name} has no ground for this machine to clear"),
        (_, Some(raise)) if raise.after - raise.before >= TOLD => {
            "worth doing, but not in the time there is: what stands first brings more an hour"
                .to_owned()
        }
        (_, Some(raise)) if raise.before > NOTHING => {
            format!("{name} keeps up as well without it")
        }
        (_, Some(_)) => format!("{name} does not keep up by it alone"),
    }];
    if changes && unit.remains.is_none() {
        said.push(machine(unit, told.place));
    }
    told.with(said)
}

impl Told<'_> {
    /// The job, what asks for it, this, and its parts.
    fn with(&self, said: Vec<String>) -> String {
        let job = &self.unit.jobs[self.place];
        let mut all = vec![head(self.unit, job, self.fitted)];
        all.extend(asked_for(job));
        all.extend(said);
        all.extend(parts(self.fitted, self.supply));
        all.join("; ")
    }
}

/// Of a depot.
pub(super) fn depot(
    depot: &DepotWork,
    works: &[WorkToFix],
    open_minutes: f64,
    left_minutes: Option<f64>,
) -> String {
    let until = day(depot.until);
    let mut said: Vec<String> = (works.iter())
        .map(|work| {
            let doing = work.work.doing();
            if work.chance_after - work.chance_now > NOTHING {
                let chances = instead(work.chance_now, work.chance_after);
                format!("with what stands first it keeps up with {doing} {chances}")
            } else {
                format!("keeping up with {doing}: {}", odds(work.chance_now))
            }
        })
        .collect();
    if works.is_empty() {
        said.push("it has no ground to clear, so no job makes its chance better".to_owned());
    }
    let open = hours(open_minutes);
    said.push(match left_minutes {
        Some(left) if left < open_minutes => format!(
            "{open} of work are open and its technicians have {} until {until}: not enough",
            hours(left)
        ),
        Some(left) => format!(
            "{open} of work are open, its technicians have {} until {until}",
            hours(left)
        ),
        None => format!(
            "{open} of work are open; no technicians' hours are entered, so nobody knows by when"
        ),
    });
    format!("{}: {}", depot.name, said.join("; "))
}

/// "T-0810: Renew the friction ring, 75 min".
fn head(unit: &UnitWork, job: &Job, fitted: &Fitted) -> String {
    let minutes = number((job.minutes + fitted.fetch_minutes).ceil(), 0);
    let about = match job.draft.minutes_from {
        MinutesFrom::Assumed => "about ",
        MinutesFrom::Order | MinutesFrom::Sheet => "",
    };
    format!("{}: {}, {about}{minutes} min", unit.tag, job.draft.title)
}

/// What asks for it.
fn asked_for(job: &Job) -> Option<String> {
    let why = &job.draft.why;
    let (said, more) = why.split_at(why.len().min(WHY_MAX));
    let more = match more.len() {
        0 => String::new(),
        count => format!("; and {count} more"),
    };
    let order = match job.draft.orders.len() {
        0 => "",
        _ => "; on an open order",
    };
    (!why.is_empty()).then(|| format!("{}{more}{order}", said.join("; ")))
}

/// What it does for the machine, all its other jobs done.
fn machine(unit: &UnitWork, place: usize) -> String {
    let job = &unit.jobs[place];
    let with = unit.chance(|_| true);
    let without = unit.chance(|one| one != place);
    let supposed = match job.draft.kind {
        JobKind::Inspection => ", if nothing is found",
        JobKind::Start => ", if it starts",
        _ => "",
    };
    let rest = if unit.jobs.iter().filter(|job| job.after > job.now).count() > 1 {
        " once its other jobs are done"
    } else {
        ""
    };
    if without <= 0.0 {
        format!(
            "without it the machine does not count, with it it gets through the storm {}{rest}{supposed}",
            odds(with)
        )
    } else {
        let chances = instead(without, with);
        format!("the machine gets through the storm {chances}{rest}{supposed}")
    }
}

/// "9 in 10 instead of 6 in 10"; in per cent where these would be the same.
fn instead(before: f64, after: f64) -> String {
    let (one, other) = (odds(before).to_string(), odds(after).to_string());
    if one != other {
        return format!("{other} instead of {one}");
    }
    let per_cent = |chance: f64| number(100.0 * chance, 2).to_string();
    let (one, other) = (per_cent(before), per_cent(after));
    if one != other {
        return format!("{other} instead of {one} in 100");
    }
    "hardly likelier than before".to_owned()
}

/// Where its parts are.
fn parts(fitted: &Fitted, supply: &Supply) -> Option<String> {
    let said: Vec<String> = fitted.parts.iter().map(|one| part(one, supply)).collect();
    (!said.is_empty()).then(|| said.join(", "))
}

fn part(part: &PartToFit, supply: &Supply) -> String {
    let listed = part.part_id.and_then(|id| supply.catalogue.parts.get(&id));
    let unit = listed.map_or("each", |listed| listed.unit.as_str());
    let name = match part.quantity {
        1 if unit.eq_ignore_ascii_case("each") => part.name.clone(),
        quantity => format!("{} {}", quantity_of(unit, quantity), part.name),
    };
    match part.at {
        PartAt::WithTheOrder => format!("{name}: with the order"),
        PartAt::Here => format!("{name}: here"),
        PartAt::AnotherDepot => {
            let names = part.from_depot_ids.iter();
            let names = names.filter_map(|id| Some(supply.places.get(id)?.name.as_str()));
            format!("{name}: at {}", names.collect::<Vec<_>>().join(" and "))
        }
        PartAt::Supplier => match part.there_on {
            Some(on) => format!(
                "{name}: none on a shelf, ordered today it is there on {}",
                day(on)
            ),
            None => format!("{name}: none on a shelf"),
        },
        PartAt::Unknown => format!("{name}: no listed part: go and see"),
    }
}

/// "7.5 h".
fn hours(minutes: f64) -> String {
    format!("{} h", number(minutes / 60.0, 1))
}
