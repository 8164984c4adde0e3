//! Facts that contradict others. Clocks lie and facts arrive in any order, so they are kept and flagged, never refused;
//! only what is impossible in itself is ([`crate::fields`]).

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::sql_types::{Array, Bool, Double, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::{SignedDuration, Timestamp};
use jiff_diesel::ToDiesel;
use rimeyard_rules::timeline::agree;
use uuid::Uuid;

use crate::machine::Machine;
use crate::{Result, Tx, prepared};

/// The flag of whatever contradicts other facts; beside it stands why.
pub const SUSPECT: &str = "suspect";
/// Said to have happened later than it was received.
pub const FUTURE: &str = "in the future";
/// Fewer running hours than before, or more than after.
pub const HOURS_BACKWARDS: &str = "hours run backwards";
/// More running hours since the reading before than any machine can have run.
pub const HOURS_AHEAD: &str = "more hours than have passed";
/// Before the agency had the machine.
pub const BEFORE_ACQUIRED: &str = "before the machine was acquired";
/// After the machine was retired.
pub const AFTER_RETIRED: &str = "after the machine was retired";

/// The flags that leave a time to be believed, though not the hours.
pub(crate) const OF_HOURS: [&str; 3] = [SUSPECT, HOURS_BACKWARDS, HOURS_AHEAD];

/// How far a clock may be ahead of ours before it is noticed.
const AHEAD: SignedDuration = SignedDuration::from_mins(5);

/// What somebody says of a machine.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Said<'a> {
    pub(crate) machine: &'a Machine,
    pub(crate) at: Timestamp,
    pub(crate) run_hours: Option<f64>,
    pub(crate) estimated: bool,
    /// Whether these are the hours that a new meter began with.
    pub(crate) meter_replaced: bool,
}

/// The flags of each, in order. `replaced` are the inspections and meter readings that these correct: what they said
/// of hours no longer counts.
pub(crate) async fn flags(
    tx: &Tx<'_>,
    said: &[Said<'_>],
    received_at: Timestamp,
    replaced: &[Uuid],
) -> Result<Vec<Vec<String>>> {
    let mut flags = said
        .iter()
        .map(|said| flags_of_time(*said, received_at))
        .collect::<Result<Vec<_>>>()?;
    let noted: Vec<(usize, Hours)> = said
        .iter()
        .enumerate()
        .filter(|(index, _)| flags[*index].is_empty())
        .filter_map(|(index, said)| {
            let hours = Hours {
                unit_id: said.machine.unit_id,
                at: said.at,
                hours: said.run_hours?,
                estimated: said.estimated,
                meter_replaced: said.meter_replaced,
                doubted: false,
            };
            Some((index, hours))
        })
        .collect();
    if noted.is_empty() {
        return Ok(flags);
    }
    let known = neighbours(tx, &noted, replaced).await?;
    for (index, flag) in contradictions(known, noted) {
        flags[index] = vec![SUSPECT.to_owned(), flag.to_owned()];
    }
    Ok(flags)
}

fn flags_of_time(said: Said<'_>, received_at: Timestamp) -> Result<Vec<String>> {
    let reasons = [
        (FUTURE, said.at > received_at + AHEAD),
        (
            BEFORE_ACQUIRED,
            said.machine
                .acquired_at()?
                .is_some_and(|acquired| said.at < acquired),
        ),
        (
            AFTER_RETIRED,
            said.machine
                .retired_at
                .is_some_and(|retired| said.at > retired),
        ),
    ];
    let reasons: Vec<&str> = reasons
        .into_iter()
        .filter_map(|(flag, is)| is.then_some(flag))
        .collect();
    let suspect = (!reasons.is_empty()).then_some(SUSPECT);
    Ok(suspect
        .into_iter()
        .chain(reasons)
        .map(str::to_owned)
        .collect())
}

/// Running hours of a unit at an instant.
#[derive(Debug, Clone, Copy, PartialEq, QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Hours {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Double)]
    hours: f64,
    #[diesel(sql_type = Bool)]
    estimated: bool,
    #[diesel(sql_type = Bool)]
    meter_replaced: bool,
    /// Whether these hours were doubted already.
    #[diesel(sql_type = Bool)]
    doubted: bool,
}

impl Hours {
    /// What is wrong with one of them where the other, a later one, is right.
    fn contradiction(&self, later: &Hours) -> Option<&'static str> {
        let hours = |one: &Hours| (one.at, one.hours);
        if agree(hours(self), hours(later)) {
            None
        } else if later.hours < self.hours {
            Some(HOURS_BACKWARDS)
        } else {
            Some(HOURS_AHEAD)
        }
    }
}

/// The hours already kept that stand nearest before and after each of these; of those before the last two, and the last
/// that was doubted.
async fn neighbours(
    tx: &Tx<'_>,
    noted: &[(usize, Hours)],
    replaced: &[Uuid],
) -> Result<Vec<Hours>> {
    let noted = || noted.iter().map(|(_, hours)| hours);
    Ok(prepared(
        diesel::sql_query(
            // Each list is cut before the two are put together: only then does an index bring it in order.
            "select distinct n.unit_id, near.*
             from unnest($2::uuid[], $3::timestamptz[], $4::boolean[]) as n (unit_id, at, estimated)
             cross join lateral (
                 (select * from (
                     (select took_effect_at as at, run_hours as hours, estimated, meter_replaced,
                             flags <> '{}' as doubted
                      from meter_reading m
                      where org_id = $1 and unit_id = n.unit_id and run_hours is not null and id <> all($5)
                        and flags = '{}' and took_effect_at <= n.at and (n.estimated or not estimated)
                        and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id)
                      order by took_effect_at desc limit 2)
                     union all
                     (select took_effect_at, run_hours, false, false, flags <> '{}'
                      from inspection i
                      where org_id = $1 and unit_id = n.unit_id and run_hours is not null and id <> all($5)
                        and flags = '{}' and took_effect_at <= n.at
                        and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                      order by took_effect_at desc limit 2)
                 ) k order by at desc limit 2)
                 union all
                 (select * from (
                     (select took_effect_at as at, run_hours as hours, estimated, meter_replaced,
                             flags <> '{}' as doubted
                      from meter_reading m
                      where org_id = $1 and unit_id = n.unit_id and run_hours is not null and id <> all($5)
                        and took_effect_at <= n.at and not estimated
                        -- Few are: these have an index of their own.
                        and flags <> '{}' and flags <@ $6
                        and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id)
                      order by took_effect_at desc limit 1)
                     union all
                     (select took_effect_at, run_hours, false, false, flags <> '{}'
                      from inspection i
                      where org_id = $1 and unit_id = n.unit_id and run_hours is not null and id <> all($5)
                        and took_effect_at <= n.at and flags <> '{}' and flags <@ $6
                        and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                      order by took_effect_at desc limit 1)
                 ) k order by at desc limit 1)
                 union all
                 (select * from (
                     (select took_effect_at as at, run_hours as hours, estimated, meter_replaced,
                             flags <> '{}' as doubted
                      from meter_reading m
                      where org_id = $1 and unit_id = n.unit_id and run_hours is not null and id <> all($5)
                        and flags = '{}' and took_effect_at > n.at and (n.estimated or not estimated)
                        and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id)
                      order by took_effect_at limit 1)
                     union all
                     (select took_effect_at, run_hours, false, false, flags <> '{}'
                      from inspection i
                      where org_id = $1 and unit_id = n.unit_id and run_hours is not null and id <> all($5)
                        and flags = '{}' and took_effect_at > n.at
                        and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                      order by took_effect_at limit 1)
                 ) k order by at limit 1)
             ) near",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(noted().map(|hours| hours.unit_id).collect::<Vec<_>>())
        .bind::<Array<Timestamptz>, _>(noted().map(|hours| hours.at.to_diesel()).collect::<Vec<_>>())
        .bind::<Array<Bool>, _>(noted().map(|hours| hours.estimated).collect::<Vec<_>>())
        .bind::<Array<SqlUuid>, _>(replaced)
        .bind::<Array<Text>, _>(OF_HOURS.as_slice()),
    )
    .load(&mut tx.connection())
    .await?)
}

/// Which of `noted` contradict what is known, or an earlier one of themselves that does not, and how. An estimate proves
/// nothing against a reading of the meter, nor a meter against the one that took its place. Where a reading agrees with
/// one that was doubted, and both contradict only the one before them, that one was the slip, as the rules' timeline
/// has it.
fn contradictions(known: Vec<Hours>, mut noted: Vec<(usize, Hours)>) -> Vec<(usize, &'static str)> {
    let mut lines: BTreeMap<Uuid, Vec<Hours>> = BTreeMap::new();
    for hours in known {
        lines.entry(hours.unit_id).or_default().push(hours);
    }
    noted.sort_by_key(|(index, hours)| (hours.at, *index));
    let mut contradictions = Vec::new();
    for (index, new) in noted {
        let line = lines.entry(new.unit_id).or_default();
        // Stable: of what was noted at one time the later entry is the later reading.
        line.sort_by_key(|known| known.at);
        let counts = |known: &&Hours| !known.doubted && (new.estimated || !known.estimated);
        let mut earlier = line
            .iter()
            .filter(counts)
            .filter(|known| known.at <= new.at);
        let (before, second) = (earlier.next_back(), earlier.next_back());
        let after = line.iter().filter(counts).find(|known| known.at > new.at);
        let slip = |before: &&Hours| {
            let mut doubted = line.iter().filter(|known| known.doubted);
            !new.estimated
                && !before.meter_replaced
                && doubted.any(|doubted| {
                    before.at <= doubted.at
                        && doubted.at <= new.at
                        && doubted.contradiction(&new).is_none()
                        && second.is_none_or(|second| second.contradiction(doubted).is_none())
                })
        };
        let before = before.filter(|before| !new.meter_replaced && !slip(before));
        let after = after.filter(|after| !after.meter_replaced);
        let contradiction = before
            .and_then(|before| before.contradiction(&new))
            // Too soon before a higher one, either may be the slip, and it is not for the later to say.
            .or_else(|| {
                let contradiction = after.and_then(|after| new.contradiction(after));
                contradiction.filter(|flag| *flag == HOURS_BACKWARDS)
            });
        contradictions.extend(contradiction.map(|flag| (index, flag)));
        let doubted = contradiction.is_some();
        if !(doubted && new.estimated) {
            line.push(Hours { doubted, ..new });
        }
    }
    contradictions
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(day: i64, hours: f64, estimated: bool) -> Hours {
        Hours {
            unit_id: Uuid::nil(),
            at: Timestamp::from_second(day * 86_400).unwrap(),
            hours,
            estimated,
            meter_replaced: false,
            doubted: false,
        }
    }

    fn backwards(known: Vec<Hours>, noted: Vec<(usize, Hours)>) -> Vec<usize> {
        let found = contradictions(known, noted).into_iter();
        found
            .inspect(|(_, flag)| assert_eq!(*flag, HOURS_BACKWARDS))
            .map(|(index, _)| index)
            .collect()
    }

    #[test]
    fn hours_only_grow() {
        let known = vec![at(10, 100.0, false), at(30, 120.0, false)];
        let noted = vec![
            (0, at(20, 110.0, false)),
            (1, at(21, 109.0, false)),
            (2, at(22, 121.0, false)),
            (3, at(40, 119.0, false)),
            (4, at(40, 120.0, false)),
            (5, at(5, 100.5, false)),
            (6, at(6, 99.0, false)),
        ];
        assert_eq!(backwards(known, noted), [5, 1, 2, 3]);
    }

    #[test]
    fn an_estimate_proves_nothing_against_the_meter_and_the_meter_does_against_an_estimate() {
        let noted = vec![
            (0, at(20, 150.0, true)),
            (1, at(30, 120.0, false)),
            (2, at(40, 119.0, true)),
        ];
        assert_eq!(backwards(vec![at(10, 100.0, false)], noted), [2]);
    }

    /// On days 30, 31 and so on.
    fn noted(hours: &[f64]) -> Vec<(usize, Hours)> {
        let readings = (30..).zip(hours).enumerate();
        readings
            .map(|(index, (day, hours))| (index, at(day, *hours, false)))
            .collect()
    }

    /// From day 20 to day 30 are 240 hours, and a day beside.
    #[test]
    fn hours_do_not_grow_faster_than_time_passes() {
        let known = || vec![at(20, 100.0, false)];
        assert!(contradictions(known(), noted(&[364.0])).is_empty());
        let ahead = [(0, HOURS_AHEAD)];
        // As a second reading shows by agreeing with the one before; or by agreeing with the doubted one.
        assert_eq!(
            contradictions(known(), noted(&[364.1, 110.0, 112.0])),
            ahead
        );
        assert_eq!(
            contradictions(known(), noted(&[9999.0, 9999.5, 10_000.0])),
            ahead
        );
        // What comes late and is true is not blamed for a first reading that was none: the next ones say which it was.
        let first = || vec![at(30, 9999.0, false)];
        let late = [
            at(20, 100.0, false),
            at(31, 101.0, false),
            at(32, 102.0, false),
        ];
        let late = late.into_iter().enumerate().collect();
        assert_eq!(contradictions(first(), late), [(1, HOURS_BACKWARDS)]);
    }

    #[test]
    fn two_that_agree_outweigh_the_slip_before_them() {
        let known = || vec![at(10, 100.0, false), at(20, 300.0, false)];
        assert_eq!(backwards(known(), noted(&[120.0, 121.0, 130.0])), [0]);
        let doubted = Hours {
            doubted: true,
            ..at(25, 120.0, false)
        };
        let with_doubted = || [known(), vec![doubted]].concat();
        assert!(backwards(with_doubted(), noted(&[121.0])).is_empty());
        assert_eq!(backwards(with_doubted(), noted(&[119.0])), [0]);
        // Under what stood before the slip as well: a meter changed without a word.
        assert_eq!(backwards(known(), noted(&[3.0, 4.0])), [0, 1]);
    }

    #[test]
    fn a_new_meter_begins_where_it_likes() {
        let new = Hours {
            meter_replaced: true,
            ..at(20, 2.0, false)
        };
        let noted = vec![
            (0, at(10, 400.0, false)),
            (1, new),
            (2, at(30, 20.0, false)),
            (3, at(15, 401.0, false)),
            (4, at(40, 19.0, false)),
        ];
        assert_eq!(backwards(Vec::new(), noted), [4]);
    }
}
