//! Loads everything that depots' recomputation needs: the store's half of `rimeyard_rules::facts`, whose documentation
//! says what is left out and how far back history reaches.
//!
//! Two round trips however many depots are asked for: first the depots with their units and sheets, then, at once,
//! one query for each kind of fact about all those units. Every list comes in a fixed order, so that the same facts
//! give the same figures to the last bit.

use std::collections::BTreeMap;

use jiff::{Timestamp, tz::TimeZone};
use rimeyard_rules::facts::{DepotFacts, UnitFacts};
use rimeyard_rules::season::Winter;
use uuid::Uuid;

use crate::{Error, Result, Tx, alert};

mod depots;
mod history;
mod open;
mod tasks;
mod wear;
mod work;

/// The facts of these depots as they are needed to say what holds at `as_of`, ordered by depot. Depots that do not
/// exist in the organisation, or are not granted, are missing from the answer.
///
/// Errors: [`Error::Internal`] where what is stored cannot be read; it names the depot or unit. Load depots one by one
/// to learn which of them can.
pub async fn load(tx: &Tx<'_>, depot_ids: &[Uuid], as_of: Timestamp) -> Result<Vec<DepotFacts>> {
    let (depots, _) = of_units(tx, depot_ids, false, as_of).await?;
    Ok(depots)
}

/// The same with the retired units among the others, and when each of those was retired: what they have shown stays shown.
///
/// # Errors
/// As [`load`].
pub async fn load_to_learn(
    tx: &Tx<'_>,
    depot_ids: &[Uuid],
    as_of: Timestamp,
) -> Result<(Vec<DepotFacts>, BTreeMap<Uuid, Timestamp>)> {
    of_units(tx, depot_ids, true, as_of).await
}

/// With the units in use, or with all. Answers also when units of these were retired.
async fn of_units(
    tx: &Tx<'_>,
    depot_ids: &[Uuid],
    all: bool,
    as_of: Timestamp,
) -> Result<(Vec<DepotFacts>, BTreeMap<Uuid, Timestamp>)> {
    let granted: Vec<Uuid> = depot_ids
        .iter()
        .copied()
        .filter(|id| tx.tenant().depots.contains(*id))
        .collect();
    let (mut depots, units, sheets) = futures::try_join!(
        depots::depots(tx, &granted),
        depots::units(tx, &granted, all),
        depots::sheets(tx, &granted, all),
    )?;
    let asked = Asked::new(&depots, &units, &sheets, as_of)?;
    let (
        mut storms,
        mut holds,
        mut findings,
        mut limited_uses,
        mut inspections,
        mut starts,
        mut start_checks,
        mut meter,
        mut parts,
        mut latest,
        mut tasks_done,
        mut deferrals,
        mut alerts,
        mut orders,
        mut wanted,
    ) = futures::try_join!(
        open::storms(tx, &granted, asked.storms_since),
        open::holds(tx, &asked),
        open::findings(tx, &asked),
        open::limited_uses(tx, &asked),
        history::inspections(tx, &asked),
        history::starts(tx, &asked),
        history::start_checks(tx, &asked),
        history::meter(tx, &asked),
        wear::parts(tx, &asked),
        wear::latest(tx, &asked),
        tasks::done(tx, &asked),
        tasks::deferrals(tx, &asked),
        alert::open(tx, &granted),
        work::orders(tx, &granted, &asked),
        work::wanted(tx, &granted),
    )?;
    let retired = units.iter();
    let retired = retired.filter_map(|unit| Some((unit.id, unit.retired_at?)));
    let retired = retired.collect();
    for unit in units {
        let Some(depot) = depots.get_mut(&unit.depot_id) else {
            continue;
        };
        let id = unit.id;
        depot.units.push(UnitFacts {
            holds: take(&mut holds, id),
            findings: take(&mut findings, id),
            limited_uses: take(&mut limited_uses, id),
            inspections: take(&mut inspections, id),
            starts: take(&mut starts, id),
            start_checks: take(&mut start_checks, id),
            meter: take(&mut meter, id),
            parts: take(&mut parts, id),
            latest: take(&mut latest, id),
            tasks_done: take(&mut tasks_done, id),
            deferrals: take(&mut deferrals, id),
            ..unit.facts()?
        });
    }
    for depot in depots.values_mut() {
        depot.storms = take(&mut storms, depot.id);
        depot.alerts = alerts.remove(&depot.id).unwrap_or_default();
        depot.orders = take(&mut orders, depot.id);
        depot.wanted = take(&mut wanted, depot.id);
        for model in depot.units.iter().map(|unit| unit.model) {
            let Some((sheet, learned)) = sheets.get(&model) else {
                continue;
            };
            if depot.sheets.contains_key(&model) {
                continue;
            }
            depot.sheets.insert(model, sheet.clone());
            depot
                .learned
                .extend(learned.clone().map(|learned| (model, learned)));
        }
    }
    Ok((depots.into_values().collect(), retired))
}

/// The facts of one depot, as [`load`] has them.
///
/// # Errors
/// [`Error::NotFound`] where it does not exist or is not granted.
pub async fn of_depot(tx: &Tx<'_>, depot_id: Uuid, as_of: Timestamp) -> Result<DepotFacts> {
    let found = load(tx, &[depot_id], as_of).await?.pop();
    found.ok_or(Error::NotFound { what: "depot" })
}

/// What the second round of queries asks for: parallel arrays, one element a unit.
struct Asked {
    unit_ids: Vec<Uuid>,
    /// 1 July of last winter, in the unit's depot's zone.
    since: Vec<jiff_diesel::Timestamp>,
    /// The check whose `works` is an attempt to start, by the unit's sheet.
    start_checks: Vec<String>,
    /// The checks that make such a unit go dead sooner, and those that keep them, joined by blanks.
    going_dead_checks: Vec<String>,
    as_of: Timestamp,
    /// Two years before `as_of`: as far back as hours are of use.
    hours_since: Timestamp,
    /// 1 July of last winter, in UTC: as far back as storms bring tasks due.
    storms_since: Timestamp,
}

impl Asked {
    fn new(
        depots: &BTreeMap<Uuid, DepotFacts>,
        units: &[depots::UnitRow],
        sheets: &depots::Sheets,
        as_of: Timestamp,
    ) -> Result<Self> {
        let last_winter = |zone: &TimeZone| {
            let winter = Winter::of(as_of.to_zoned(zone.clone()).date()).before();
            let first_day = winter.starts().to_zoned(zone.clone());
            first_day.map(|day| jiff_diesel::Timestamp::from(day.timestamp()))
        };
        let storms_since = last_winter(&TimeZone::UTC).map_err(Error::internal)?;
        let mut asked = Asked {
            unit_ids: Vec::with_capacity(units.len()),
            since: Vec::with_capacity(units.len()),
            start_checks: Vec::with_capacity(units.len()),
            going_dead_checks: Vec::with_capacity(units.len()),
            as_of,
            storms_since: storms_since.to_jiff(),
            hours_since: as_of - jiff::SignedDuration::from_hours(2 * 366 * 24),
        };
        for unit in units {
            let Some(depot) = depots.get(&unit.depot_id) else {
                continue;
            };
            let Some((sheet, _)) = sheets.get(&unit.model_id) else {
                return Err(Error::internal(format!(
                    "unit {} is of model {}, which has no sheet",
                    unit.id, unit.model_id
                )));
            };
            asked.unit_ids.push(unit.id);
            asked
                .since
                .push(last_winter(&depot.zone).map_err(Error::internal)?);
            asked.start_checks.push(sheet.start.check.clone());
            let factors = sheet.start.factors.iter();
            let checks = factors.flat_map(|factor| {
                let kept = factor.kept_by.iter().map(|kept| kept.check.as_str());
                kept.chain([factor.check.as_str()])
            });
            let checks: std::collections::BTreeSet<&str> = checks.collect();
            let checks: Vec<&str> = checks.into_iter().collect();
            asked.going_dead_checks.push(checks.join(" "));
        }
        Ok(asked)
    }

    /// When a fact takes effect: by `as_of` at the latest, since it is here, though the clock that noted its receipt
    /// may be a little ahead of Postgres' own.
    fn effective(&self, at: Timestamp) -> Timestamp {
        at.min(self.as_of)
    }
}

/// Facts by the object they are about.
type By<T> = BTreeMap<Uuid, Vec<T>>;

fn take<T>(facts: &mut By<T>, id: Uuid) -> Vec<T> {
    facts.remove(&id).unwrap_or_default()
}

/// Groups rows by what they are about, in their order.
fn by<Row, T>(rows: Vec<Row>, fact: impl Fn(Row) -> Result<(Uuid, T)>) -> Result<By<T>> {
    let mut facts = By::new();
    for row in rows {
        let (id, fact) = fact(row)?;
        facts.entry(id).or_default().push(fact);
    }
    Ok(facts)
}
