//! Labour of a depot: its technicians' weekly hours, and the minutes of travel that a visit costs. Its changes lock the
//! depot's scope, and the organisation's: a person's hours are spread over depots.

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Date as SqlDate, Integer, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::civil::Date;
use jiff_diesel::{NullableDate, ToDiesel};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::change::{change, difference};
use crate::feed::{Write, kind};
use crate::json::json;
use crate::schema::{depot as depots, technician_hours};
use crate::{Error, Result, Tx, depot, fields, prepared};

/// A week, in minutes.
const WEEK_MINUTES: i32 = 7 * 24 * 60;
/// The most entries of one depot.
const TECHNICIANS_MAX: usize = 200;

/// The labour of a depot as readers get it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Labour {
    /// The depot.
    pub depot_id: Uuid,
    /// What a visit costs before any work is done, minutes there and back.
    pub travel_minutes: i32,
    /// Whose hours it has.
    pub technicians: Vec<TechnicianHours>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// A technician's hours for a depot over some time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct TechnicianHours {
    /// The person, who is granted the depot.
    pub person_id: Uuid,
    /// The first day.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub from: Date,
    /// The first day on which it no longer holds; null until further notice.
    #[serde(default)]
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub until: Option<Date>,
    /// Minutes a week, 0 to 10,080; at all depots together no more than a week has.
    #[cfg_attr(feature = "schema", schema(minimum = 0, maximum = 10_080))]
    pub weekly_minutes: i32,
}

change! {
    /// What is to change of a depot's labour: what is absent stays.
    pub struct LabourChange of Labour {
        /// What a visit costs before any work is done, minutes there and back: 0 to 1,440.
        travel_minutes: i32,
        /// All its technicians' hours, in place of what was: at most 200 entries, a person's not overlapping.
        technicians: Vec<TechnicianHours>,
    }
}

/// The labour of a depot that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, depot_id: Uuid) -> Result<Labour> {
    depot::find(tx, depot_id).await?;
    let (travel_minutes, rev) = depots::table
        .find((tx.org_id(), depot_id))
        .select((depots::travel_minutes, depots::labour_rev))
        .first(&mut tx.connection())
        .await?;
    let rows: Vec<Row> = technician_hours::table
        .filter(technician_hours::org_id.eq(tx.org_id()))
        .filter(technician_hours::depot_id.eq(depot_id))
        .order((technician_hours::person_id, technician_hours::from_day))
        .select(Row::as_select())
        .load(&mut tx.connection())
        .await?;
    Ok(Labour {
        depot_id,
        travel_minutes,
        technicians: rows.into_iter().map(TechnicianHours::from).collect(),
        rev,
    })
}

/// Changes the labour of a depot that stands at `rev`. Lock the scopes of the depot and of the organisation.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Stale`], [`Error::Invalid`].
pub async fn update(
    tx: &mut Write<'_>,
    depot_id: Uuid,
    rev: i64,
    change: &LabourChange,
) -> Result<Labour> {
    let before = find(tx, depot_id).await?;
    if before.rev != rev {
        return Err(Error::Stale);
    }
    let mut labour = before.clone();
    change.apply(&mut labour);
    labour.rev += 1;
    labour
        .technicians
        .sort_by_key(|hours| (hours.person_id, hours.from));
    check(&labour, change)?;
    diesel::update(depots::table.find((tx.org_id(), depot_id)))
        .set((
            depots::travel_minutes.eq(labour.travel_minutes),
            depots::labour_rev.eq(labour.rev),
        ))
        .execute(&mut tx.connection())
        .await?;
    if let Some(technicians) = &change.technicians {
        are_there(tx, depot_id, technicians).await?;
        replace(tx, &labour).await?;
        within_a_week(tx, technicians).await?;
    }
    tx.publish(depot_id, kind::LABOUR, depot_id, labour.rev, &labour)?;
    tx.mark(depot_id);
    let what = difference(&json(&before)?, &json(&labour)?);
    tx.audit(depot_id, "update", kind::LABOUR, depot_id, what);
    Ok(labour)
}

/// What no labour may be, the fields as they were given.
fn check(labour: &Labour, change: &LabourChange) -> Result<()> {
    fields::number(
        "travel_minutes",
        labour.travel_minutes.into(),
        0.0..=1_440.0,
    )?;
    let given = change.technicians.as_deref().unwrap_or_default();
    fields::count("technicians", given, TECHNICIANS_MAX)?;
    for (index, hours) in given.iter().enumerate() {
        let field = |name: &str| format!("technicians[{index}].{name}");
        fields::number(
            &field("weekly_minutes"),
            hours.weekly_minutes.into(),
            0.0..=WEEK_MINUTES.into(),
        )?;
        if !(2000..2200).contains(&hours.from.year()) {
            return Err(Error::invalid(
                field("from"),
                "must be a day of the years 2000 to 2199",
            ));
        }
        if hours
            .until
            .is_some_and(|until| until <= hours.from || until.year() >= 2200)
        {
            return Err(Error::invalid(
                field("until"),
                "must be later than from and before the year 2200; it is the first day on which it no longer holds",
            ));
        }
        let meets = |other: &TechnicianHours| {
            other.person_id == hours.person_id
                && other.until.is_none_or(|until| until > hours.from)
                && hours.until.is_none_or(|until| until > other.from)
        };
        if given[..index].iter().any(meets) {
            return Err(Error::invalid(
                field("from"),
                "is in a time given before for the same person; give times that do not overlap",
            ));
        }
    }
    Ok(())
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Place {
    #[diesel(sql_type = BigInt)]
    place: i64,
}

/// That these are people who are granted the depot and work.
async fn are_there(tx: &Tx<'_>, depot_id: Uuid, technicians: &[TechnicianHours]) -> Result<()> {
    let missing: Option<Place> = prepared(
        diesel::sql_query(
            "select place from unnest($3::uuid[]) with ordinality as n (person_id, place)
             where not exists (
                 select from person p where p.org_id = $1 and p.id = n.person_id and p.active and p.role <> 'depot system'
                   and (p.all_depots or exists (
                       select from person_depot d where d.org_id = $1 and d.person_id = p.id and d.depot_id = $2)))
             order by place limit 1",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(depot_id)
        .bind::<Array<SqlUuid>, _>(technicians.iter().map(|hours| hours.person_id).collect::<Vec<_>>()),
    )
    .get_result(&mut tx.connection())
    .await
    .optional()?;
    match missing {
        None => Ok(()),
        Some(Place { place }) => Err(Error::invalid(
            format!("technicians[{}].person_id", place - 1),
            "names no person who is granted this depot",
        )),
    }
}

async fn replace(tx: &Tx<'_>, labour: &Labour) -> Result<()> {
    diesel::delete(technician_hours::table)
        .filter(technician_hours::org_id.eq(tx.org_id()))
        .filter(technician_hours::depot_id.eq(labour.depot_id))
        .execute(&mut tx.connection())
        .await?;
    let hours = || labour.technicians.iter();
    prepared(
        diesel::sql_query(
            "insert into technician_hours (org_id, depot_id, person_id, from_day, until_day, weekly_minutes)
             select $1, $2, * from unnest($3::uuid[], $4::date[], $5::date[], $6::integer[])",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(labour.depot_id)
        .bind::<Array<SqlUuid>, _>(hours().map(|hours| hours.person_id).collect::<Vec<_>>())
        .bind::<Array<SqlDate>, _>(hours().map(|hours| hours.from.to_diesel()).collect::<Vec<_>>())
        .bind::<Array<Nullable<SqlDate>>, _>(
            hours().map(|hours| hours.until.map(|day| day.to_diesel())).collect::<Vec<_>>(),
        )
        .bind::<Array<Integer>, _>(hours().map(|hours| hours.weekly_minutes).collect::<Vec<_>>()),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Over {
    #[diesel(sql_type = SqlUuid)]
    person_id: Uuid,
    #[diesel(sql_type = Text)]
    on_day: String,
    #[diesel(sql_type = BigInt)]
    minutes: i64,
}

/// That none of these has more minutes at all depots than a week has. They are most on a day on which some begin.
async fn within_a_week(tx: &Tx<'_>, technicians: &[TechnicianHours]) -> Result<()> {
    let over: Option<Over> = prepared(
        diesel::sql_query(
            "select d.person_id, d.from_day::text as on_day, sum(h.weekly_minutes)::bigint as minutes
             from (select distinct person_id, from_day from technician_hours where org_id = $1 and person_id = any($2)) d
             join technician_hours h on h.org_id = $1 and h.person_id = d.person_id and h.from_day <= d.from_day
               and (h.until_day is null or h.until_day > d.from_day)
             group by d.person_id, d.from_day having sum(h.weekly_minutes) > $3
             order by d.from_day limit 1",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(technicians.iter().map(|hours| hours.person_id).collect::<Vec<_>>())
        .bind::<BigInt, _>(i64::from(WEEK_MINUTES)),
    )
    .get_result(&mut tx.connection())
    .await
    .optional()?;
    let Some(over) = over else { return Ok(()) };
    let index = technicians
        .iter()
        .position(|hours| hours.person_id == over.person_id)
        .unwrap_or(0);
    Err(Error::invalid(
        format!("technicians[{index}].weekly_minutes"),
        format!(
            "makes {} minutes a week at all depots together from {} on; a week has {WEEK_MINUTES}",
            over.minutes, over.on_day
        ),
    ))
}

/// Hours as the table holds them.
#[derive(Queryable, Selectable)]
#[diesel(table_name = technician_hours, check_for_backend(Pg))]
struct Row {
    person_id: Uuid,
    #[diesel(deserialize_as = jiff_diesel::Date)]
    from_day: Date,
    #[diesel(deserialize_as = NullableDate)]
    until_day: Option<Date>,
    weekly_minutes: i32,
}

impl From<Row> for TechnicianHours {
    fn from(row: Row) -> Self {
        TechnicianHours {
            person_id: row.person_id,
            from: row.from_day,
            until: row.until_day,
            weekly_minutes: row.weekly_minutes,
        }
    }
}
