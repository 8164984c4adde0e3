//! POST /v1/imports

use actix_web::post;
use rimeyard_rules::Invalid;
use rimeyard_rules::table::header::understand;
use rimeyard_rules::table::reader::{Reader, Row};
use rimeyard_rules::table::{Conventions, Dates, Decimal, What};
use rimeyard_store::feed;
use rimeyard_store::import::receive::{self, NewImport};
use rimeyard_store::import::{Import, ROWS_MAX};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::body::Table;
use crate::answer::Answer;
use crate::extract::Query;
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Rows that are kept at a time.
const BATCH_ROWS: usize = 1_000;
/// Bytes of rows that are kept at a time.
const BATCH_BYTES: usize = 1024 * 1024;

/// What the table is, and how it is written.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct How {
    /// What its rows are.
    #[param(inline)]
    what: What,
    /// Whether to check it only: then it waits until it is applied. Otherwise it is applied at once if nothing is wrong.
    #[serde(default = "yes")]
    #[param(default = true)]
    dry_run: bool,
    /// Which comes first in dates with slashes; without it a date that can be two days is refused.
    #[param(inline)]
    dates: Option<Dates>,
    /// What parts the whole from the fraction of a number.
    #[serde(default)]
    #[param(inline)]
    decimal: Decimal,
    /// Whether to leave out columns whose header is not known; otherwise they are refused.
    #[serde(default)]
    ignore_unknown: bool,
}

fn yes() -> bool {
    true
}

/// Bring a table: machines, inspections with their readings, meter readings, or snowfall.
///
/// CSV (RFC 4180) in UTF-8, at most 64 MiB, 1,000,000 rows, 100 columns, 10,000 characters a cell. The first line names
/// the columns, in any order and case; separators are commas, semicolons or tabs. A column that measures something
/// declares its unit, like `snowfall (in)`. Machines are named by tag, depots by name or id, models by name, checks by
/// code or title. Times without an offset are the depot's own. A cell that begins with an apostrophe before one of
/// `= + - @`, a tab, a carriage return or another apostrophe is read without it, as exports write it.
///
/// All of it is checked before anything is applied, and one fault anywhere means that nothing is. Ask
/// GET /v1/imports/{import_id} how far it has come.
#[utoipa::path(
    tag = "imports",
    params(How),
    request_body(content = String, content_type = "text/csv", description = "The table."),
    responses((status = 202, description = "The import: its table has arrived and is being checked.", body = Import)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/imports")]
pub async fn create(who: Signed, how: Query<How>, mut table: Table) -> Result<Answer, Problem> {
    let mut arrival = Arrival {
        who: &who,
        how: how.0,
        id: Uuid::now_v7(),
        begun: false,
        batch: Vec::new(),
        bytes: 0,
    };
    let id = arrival.id;
    let arrived = arrival.take(&mut table).await;
    let begun = arrival.begun;
    let answer = match arrived {
        Ok(()) => {
            who.write(table.once(), &[], async |tx| {
                let import = receive::end(tx, id).await?;
                Ok(Answer::accepted(format!("/v1/imports/{id}"), &import))
            })
            .await
        }
        Err(problem) => {
            table.pass_by().await;
            Err(problem)
        }
    };
    if begun {
        // Of one that has ended well there is nothing to give up; of a repeat or a refusal there is.
        feed::write(&who.state.database, &who, &[], async |tx| {
            receive::abandon(tx, id).await
        })
        .await?;
    }
    answer
}

/// A table on its way in.
struct Arrival<'a> {
    who: &'a Signed,
    how: How,
    id: Uuid,
    begun: bool,
    batch: Vec<Row>,
    bytes: usize,
}

impl Arrival<'_> {
    async fn take(&mut self, table: &mut Table) -> Result<(), Problem> {
        let mut reader = Reader::default();
        let mut rows = Vec::new();
        while let Some(piece) = table.next().await? {
            reader.push(&piece, |row| keep(&mut rows, row))?;
            for row in rows.drain(..) {
                self.row(row).await?;
            }
        }
        reader.finish(|row| keep(&mut rows, row))?;
        for row in rows.drain(..) {
            self.row(row).await?;
        }
        if !self.begun {
            return Err(Invalid::new(
                "row 1",
                "is missing: a table begins with a line that names its columns",
            )
            .into());
        }
        self.store().await
    }

    async fn row(&mut self, row: Row) -> Result<(), Problem> {
        if !self.begun {
            return self.begin(&row.cells).await;
        }
        if row.number > ROWS_MAX + 1 {
            let problem = format!(
                "is one more than the {ROWS_MAX} rows that a table may have; send it in parts"
            );
            return Err(Invalid::new(format!("row {}", row.number), problem).into());
        }
        self.bytes += row.cells.iter().map(String::len).sum::<usize>();
        self.batch.push(row);
        if self.batch.len() >= BATCH_ROWS || self.bytes >= BATCH_BYTES {
            self.store().await?;
        }
        Ok(())
    }

    async fn begin(&mut self, header: &[String]) -> Result<(), Problem> {
        let columns =
            understand(self.how.what, header, self.how.ignore_unknown).map_err(Problem::invalid)?;
        let new = NewImport {
            id: self.id,
            what: self.how.what,
            dry_run: self.how.dry_run,
            conventions: Conventions {
                dates: self.how.dates,
                decimal: self.how.decimal,
            },
            columns,
        };
        feed::write(&self.who.state.database, self.who, &[], async |tx| {
            receive::begin(tx, &new).await
        })
        .await?;
        self.begun = true;
        Ok(())
    }

    async fn store(&mut self) -> Result<(), Problem> {
        let (id, batch) = (self.id, &self.batch);
        if !batch.is_empty() {
            feed::write(&self.who.state.database, self.who, &[], async |tx| {
                receive::add(tx, id, batch).await
            })
            .await?;
        }
        self.batch.clear();
        self.bytes = 0;
        Ok(())
    }
}

fn keep(rows: &mut Vec<Row>, row: Row) -> Result<(), Problem> {
    rows.push(row);
    Ok(())
}
