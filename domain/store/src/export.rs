//! The same tables that imports take, on the way out: machine by machine in the order of their tags, so that any number
//! of facts goes out in the memory of a few machines'.

mod facts;
mod readings;
mod shelves;

use diesel::QueryableByName;
use diesel::sql_types::{BigInt, Date as SqlDate, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::civil::Date;
use rimeyard_rules::measure::{Quantity, Unit};
use rimeyard_rules::table::What;
use rimeyard_rules::table::writer::guard;
use uuid::Uuid;

use crate::{Result, Tx, depot, prepared};

/// Machines or depots that go out at a time.
const BATCH: i64 = 50;

/// Some rows, and where the next ones begin.
#[derive(Debug)]
pub struct Batch {
    /// The rows, their cells ready to be written.
    pub rows: Vec<Vec<String>>,
    /// The tag or name after which the next batch begins; `None` at the end.
    pub next: Option<String>,
}

/// The header of such a table, with the units that its figures are in.
pub fn header(what: What) -> Vec<String> {
    let head = what.columns().iter().map(|column| {
        let unit = match column.quantity {
            Some(Quantity::RunningTime) => Unit::Hour,
            Some(Quantity::Length) => Unit::Millimetre,
            Some(Quantity::CalendarTime) => Unit::Day,
            Some(Quantity::Temperature) => Unit::Celsius,
            _ => return column.name.to_owned(),
        };
        format!("{} ({})", column.name, unit.symbol())
    });
    head.collect()
}

/// The rows of the next machines (of snowfall, depots) after `after` that the tenant may see; at one depot, if it is named.
/// Machines out of use and facts that were corrected are left out: no table says them.
///
/// # Errors
/// [`crate::Error::NotFound`] for a depot that is not granted.
pub async fn batch(
    tx: &Tx<'_>,
    what: What,
    depot_id: Option<Uuid>,
    after: Option<&str>,
) -> Result<Batch> {
    if let Some(depot_id) = depot_id {
        depot::find(tx, depot_id).await?;
    }
    match what {
        What::Snowfall => return facts::snowfall(tx, depot_id, after).await,
        What::Parts => return shelves::parts(tx, after).await,
        What::Stock => return shelves::stock(tx, depot_id, after).await,
        What::Units | What::Inspections | What::MeterReadings => {}
    }
    let units = units(tx, depot_id, after).await?;
    let next = units.last().map(|unit| unit.tag.clone());
    let ids: Vec<Uuid> = units.iter().map(|unit| unit.id).collect();
    let rows = match what {
        What::Units => units.into_iter().map(UnitRow::cells).collect(),
        What::MeterReadings => facts::meter_readings(tx, &ids).await?,
        What::Inspections => readings::inspections(tx, &ids).await?,
        What::Snowfall | What::Parts | What::Stock => Vec::new(),
    };
    Ok(Batch { rows, next })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct UnitRow {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    tag: String,
    #[diesel(sql_type = Text)]
    depot: String,
    #[diesel(sql_type = Text)]
    model: String,
    #[diesel(sql_type = Text)]
    rigging: String,
    #[diesel(sql_type = Nullable<Text>)]
    away: Option<String>,
    #[diesel(sql_type = Nullable<SqlDate>, deserialize_as = jiff_diesel::NullableDate)]
    acquired_on: Option<Date>,
    #[diesel(sql_type = diesel::sql_types::Bool)]
    came_new: bool,
}

async fn units(tx: &Tx<'_>, depot_id: Option<Uuid>, after: Option<&str>) -> Result<Vec<UnitRow>> {
    Ok(prepared(
        diesel::sql_query(
            "select u.id, u.tag, d.name as depot, m.name as model, u.rigging, u.away, u.acquired_on,
                    exists (select from fitted_part f where f.org_id = u.org_id and f.unit_id = u.id
                            and f.how = 'as delivered' and f.fitted_at is not null) as came_new
             from unit u
             join depot d on d.org_id = u.org_id and d.id = u.depot_id
             join model m on m.org_id = u.org_id and m.id = u.model_id
             where u.org_id = $1 and u.retired_at is null and ($2::uuid is null or u.depot_id = $2)
               and ($3::uuid[] is null or u.depot_id = any($3)) and ($4::text is null or u.tag > $4)
             order by u.tag limit $5",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<SqlUuid>, _>(depot_id)
        .bind::<Nullable<diesel::sql_types::Array<SqlUuid>>, _>(tx.tenant().depots.as_filter())
        .bind::<Nullable<Text>, _>(after)
        .bind::<BigInt, _>(BATCH),
    )
    .load(&mut tx.connection())
    .await?)
}

impl UnitRow {
    fn cells(self) -> Vec<String> {
        vec![
            guard(&self.tag),
            guard(&self.depot),
            guard(&self.model),
            self.rigging,
            text(self.away),
            shown(self.acquired_on),
            yes_or_blank(self.came_new),
        ]
    }
}

/// A text, guarded; blank where there is none.
fn text(text: Option<String>) -> String {
    text.map_or_else(String::new, |text| guard(&text))
}

/// A number or a day; blank where there is none.
fn shown(value: Option<impl ToString>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

fn yes_or_blank(yes: bool) -> String {
    if yes { "yes".to_owned() } else { String::new() }
}

fn yes_no(yes: Option<bool>) -> String {
    yes.map_or("", |yes| if yes { "yes" } else { "no" })
        .to_owned()
}
