//! Work orders opened by hand.

use uuid::Uuid;

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::sql_types::{Array, Bool, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::civil::Date;
use rimeyard_rules::order::State;

use super::lines::{self, Known};
use super::{LINES_MAX, NewOrderLine, NewWorkOrder, WorkOrder, parts, store};
use crate::feed::Write;
use crate::finding::{self, Finding};
use crate::json::{json, of_word};
use crate::machine::{self, machines, named};
use crate::{Error, Result, Role, Tx, clock, fields, prepared, sheet};

/// The largest order by hand, in bytes as readers get it: what is found later has room on it still.
const ORDER_BYTES_MAX: usize = 48 * 1024;

/// The scopes that opening this order writes to: that of the unit's depot.
///
/// # Errors
/// [`Error::Invalid`] for a unit that does not exist for the tenant.
pub async fn scopes_of_new(tx: &Tx<'_>, new: &NewWorkOrder) -> Result<Vec<Uuid>> {
    machine::scopes_of(tx, &[new.unit_id], |_| "unit_id".to_owned()).await
}

/// Opens an order, in state `found`. Lock the [`scopes_of_new`]; the tenant must be a person.
///
/// # Errors
/// [`Error::Forbidden`] for an operator who says more than what was noticed, [`Error::Invalid`], [`Error::Conflict`]
/// for an id that is taken and a finding that is on an order already.
pub async fn create(tx: &mut Write<'_>, new: &NewWorkOrder) -> Result<WorkOrder> {
    if tx.tenant().role == Role::Operator && says_more(new) {
        return Err(Error::Forbidden);
    }
    let id = fields::id(new.id)?;
    fields::count("lines", &new.lines, LINES_MAX)?;
    if let Some(symptom) = &new.symptom {
        fields::line("symptom", symptom, 1..=200)?;
    }
    let machines = machines(tx, &[new.unit_id]).await?;
    let machine = named(tx, &machines, new.unit_id, "unit_id")?;
    if let Some(retired_at) = machine.retired_at {
        return Err(Error::invalid(
            "unit_id",
            format!("was retired at {retired_at}; nothing is to be done to it"),
        ));
    }
    let context = Context::of(tx, new.unit_id, machine.model_id).await?;
    let mut made = Vec::with_capacity(new.lines.len());
    for (index, line) in new.lines.iter().enumerate() {
        let again = new.lines[..index]
            .iter()
            .any(|before| line.finding_id.is_some() && before.finding_id == line.finding_id);
        if again {
            return Err(Error::invalid(
                format!("lines[{index}].finding_id"),
                "is named twice; give each finding one line",
            ));
        }
        made.push(lines::line(
            &context.known(),
            &format!("lines[{index}]"),
            line,
        )?);
    }
    if made.is_empty() {
        let Some(symptom) = &new.symptom else {
            return Err(Error::invalid(
                "lines",
                "is empty; say what is to be done, or the symptom that was noticed",
            ));
        };
        let line = NewOrderLine {
            title: Some(symptom.clone()),
            ..NewOrderLine::default()
        };
        made.push(lines::line(&context.known(), "lines[0]", &line)?);
    }
    let needs = match &new.needs {
        Some(needs) => needs.clone(),
        None => {
            let mut needs = Vec::new();
            parts::add(&mut needs, &made, &parts::of_lines(tx, &made).await?);
            needs
        }
    };
    let title = new.title.as_ref().or(new.symptom.as_ref());
    let now = clock::now();
    let noticed_at = new
        .noticed_at
        .map(|at| fields::instant("noticed_at", at))
        .transpose()?;
    if new.noticed_at.is_some() && new.symptom.is_none() {
        return Err(Error::invalid(
            "noticed_at",
            "says when the symptom was noticed; give the symptom, or leave it out",
        ));
    }
    let order = WorkOrder {
        id,
        unit_id: new.unit_id,
        depot_id: machine.depot_id,
        state: State::Found,
        title: title.unwrap_or(&made[0].title).clone(),
        symptom: new.symptom.clone(),
        noticed_at: new.symptom.as_ref().map(|_| noticed_at.unwrap_or(now)),
        planned_for: new.planned_for,
        assigned_to: new.assigned_to,
        waits_for: None,
        lines: made,
        needs,
        used: Vec::new(),
        downtime: Vec::new(),
        note: new.note.clone(),
        drop_reason: None,
        proved_by: None,
        opened_at: now,
        opened_by: tx.person_id()?,
        ended_at: None,
        ended_by: None,
        rev: 1,
    };
    check(&order)?;
    parts::check(tx, &order.needs).await?;
    may_work(tx, &order).await?;
    store::insert(tx, std::slice::from_ref(&order)).await?;
    Ok(order)
}

/// Whether more is said than what an operator may.
fn says_more(new: &NewWorkOrder) -> bool {
    new.symptom.is_none()
        || new.title.is_some()
        || new.planned_for.is_some()
        || new.assigned_to.is_some()
        || !new.lines.is_empty()
        || new.needs.is_some()
}

/// What new lines of a unit's order are made out against.
pub(super) struct Context {
    sheet: rimeyard_rules::sheet::Sheet,
    findings: Vec<Finding>,
    taken: Vec<(Uuid, Uuid)>,
}

impl Context {
    pub(super) async fn of(tx: &Tx<'_>, unit_id: Uuid, model_id: Uuid) -> Result<Self> {
        let (models, units) = ([model_id], [unit_id]);
        let (mut sheets, mut findings) = futures::try_join!(
            sheet::present(tx, &models),
            finding::concerned(tx, &units, &[])
        )?;
        findings.retain(|finding| finding.closed_at.is_none());
        let ids: Vec<Uuid> = findings.iter().map(|finding| finding.id).collect();
        let taken = on_orders(tx, &ids).await?;
        Ok(Context {
            sheet: sheets
                .remove(&model_id)
                .ok_or_else(|| Error::internal(format!("model {model_id} has no sheet")))?,
            findings,
            taken: taken
                .into_iter()
                .filter(|on| !on.state.is_final())
                .map(|on| (on.finding_id, on.order_id))
                .collect(),
        })
    }

    pub(super) fn known(&self) -> Known<'_> {
        Known {
            sheet: &self.sheet,
            findings: &self.findings,
            taken: &self.taken,
        }
    }
}

/// A line of an order for a finding.
pub(super) struct OnOrder {
    pub(super) finding_id: Uuid,
    pub(super) order_id: Uuid,
    pub(super) state: State,
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct OnOrderRow {
    #[diesel(sql_type = SqlUuid)]
    finding_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    order_id: Uuid,
    #[diesel(sql_type = Text)]
    state: String,
}

/// Which of these findings are on orders, whatever became of those.
pub(super) async fn on_orders(tx: &Tx<'_>, finding_ids: &[Uuid]) -> Result<Vec<OnOrder>> {
    if finding_ids.is_empty() {
        return Ok(Vec::new());
    }
    let rows: Vec<OnOrderRow> = prepared(
        diesel::sql_query(
            "select l.finding_id, o.id as order_id, o.state from work_order_line l
             join work_order o on o.org_id = l.org_id and o.id = l.work_order_id
             where l.org_id = $1 and l.finding_id = any($2)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(finding_ids),
    )
    .load(&mut tx.connection())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(OnOrder {
                finding_id: row.finding_id,
                order_id: row.order_id,
                state: of_word(row.state)?,
            })
        })
        .collect()
}

/// What no order may be. Who it is assigned to and what it needs is looked at where it is said: people are granted
/// other depots, machines move and parts become kits, and the order stays as it was.
pub(super) fn check(order: &WorkOrder) -> Result<()> {
    fields::line("title", &order.title, 1..=200)?;
    if let Some(note) = &order.note {
        fields::lines("note", note, 0..=2_000)?;
    }
    if order.planned_for.is_some_and(|day| !plausible(day)) {
        return Err(Error::invalid(
            "planned_for",
            "must be a day of the years 2000 to 2199",
        ));
    }
    let bytes = json(order)?.to_string().len();
    if bytes > ORDER_BYTES_MAX {
        return Err(Error::invalid(
            "",
            format!(
                "makes an order of {bytes} bytes; at most {ORDER_BYTES_MAX} are kept, so open another one for the rest"
            ),
        ));
    }
    Ok(())
}

fn plausible(day: Date) -> bool {
    (2000..2200).contains(&day.year())
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct May {
    #[diesel(sql_type = Bool)]
    may: bool,
}

/// That whoever it is assigned to is there and granted the depot.
pub(super) async fn may_work(tx: &Tx<'_>, order: &WorkOrder) -> Result<()> {
    let Some(person) = order.assigned_to else {
        return Ok(());
    };
    let found: May = prepared(
        diesel::sql_query(
            "select exists (
                 select from person p where p.org_id = $1 and p.id = $2 and p.active and p.role <> 'depot system'
                   and (p.all_depots or exists (
                       select from person_depot d where d.org_id = $1 and d.person_id = p.id and d.depot_id = $3))
             ) as may",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(person)
        .bind::<SqlUuid, _>(order.depot_id),
    )
    .get_result(&mut tx.connection())
    .await?;
    if found.may {
        return Ok(());
    }
    Err(Error::invalid(
        "assigned_to",
        "names no person who is granted this depot",
    ))
}
