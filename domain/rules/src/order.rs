//! Work orders: which state may follow which, and what still bars one from closing.

use serde::{Deserialize, Serialize};

use crate::Invalid;

/// Where a work order stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WorkOrderState))]
pub enum State {
    /// Something was found; nobody has planned anything yet.
    #[serde(rename = "found")]
    Found,
    /// It is known what to do, when or by whom.
    #[serde(rename = "planned")]
    Planned,
    /// It cannot go on before parts come.
    #[serde(rename = "waits for parts")]
    WaitsForParts,
    /// The machine is being worked on.
    #[serde(rename = "on the bench")]
    OnTheBench,
    /// The work is done; an inspection has still to show that it is good.
    #[serde(rename = "to be proved")]
    ToBeProved,
    /// All of it is done and proved. Final.
    #[serde(rename = "closed")]
    Closed,
    /// It will not be done, and it is said why. Final.
    #[serde(rename = "dropped")]
    Dropped,
}

impl State {
    /// Every state.
    pub const ALL: [State; 7] = [
        State::Found,
        State::Planned,
        State::WaitsForParts,
        State::OnTheBench,
        State::ToBeProved,
        State::Closed,
        State::Dropped,
    ];

    /// The states that may follow: THE table of allowed moves. What is closed was on the bench before; what is closed
    /// or dropped stays so.
    pub fn next(self) -> &'static [State] {
        match self {
            State::Found => &[
                State::Planned,
                State::WaitsForParts,
                State::OnTheBench,
                State::Dropped,
            ],
            State::Planned => &[State::WaitsForParts, State::OnTheBench, State::Dropped],
            State::WaitsForParts => &[State::Planned, State::OnTheBench, State::Dropped],
            State::OnTheBench => &[
                State::Planned,
                State::WaitsForParts,
                State::ToBeProved,
                State::Closed,
                State::Dropped,
            ],
            State::ToBeProved => &[State::OnTheBench, State::Closed, State::Dropped],
            State::Closed | State::Dropped => &[],
        }
    }

    /// Whether nothing may follow.
    pub fn is_final(self) -> bool {
        self.next().is_empty()
    }

    /// The word that is stored and shown.
    pub fn as_str(self) -> &'static str {
        match self {
            State::Found => "found",
            State::Planned => "planned",
            State::WaitsForParts => "waits for parts",
            State::OnTheBench => "on the bench",
            State::ToBeProved => "to be proved",
            State::Closed => "closed",
            State::Dropped => "dropped",
        }
    }

    /// Whether `to` may follow.
    ///
    /// # Errors
    /// What may follow, in words.
    pub fn may_become(self, to: State) -> Result<(), String> {
        if self.next().contains(&to) {
            return Ok(());
        }
        let next: Vec<&str> = self.next().iter().map(|state| state.as_str()).collect();
        Err(format!(
            "is {} and cannot become {}; it can become: {}",
            self.as_str(),
            to.as_str(),
            next.join(", ")
        ))
    }
}

/// A line of an order, as far as closing the order asks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line<'a> {
    /// What is to be done.
    pub title: &'a str,
    /// Whether it was done.
    pub done: bool,
    /// Whether it was taken off, with words.
    pub taken_off: bool,
    /// Of a line that puts a finding right: the check that failed, and what its proof lacks.
    pub proof: Option<Proof<'a>>,
}

/// How a check that failed stands to the inspection that is to prove the repair.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proof<'a> {
    /// The check.
    pub check: &'a str,
    /// Why it is not proved; `None` where it is.
    pub lacks: Option<String>,
}

/// What bars an order with these lines from closing: each fault names its line, or each check still to be proved.
pub fn bars_closing(lines: &[Line<'_>]) -> Vec<Invalid> {
    let mut faults = Vec::new();
    if lines.iter().all(|line| line.taken_off) {
        faults.push(Invalid::new(
            "state",
            "cannot be closed: no line of the order is left to be done; drop it and say why, or add a line",
        ));
    }
    for (index, line) in lines.iter().enumerate() {
        if !line.done && !line.taken_off {
            faults.push(Invalid::new(
                format!("lines[{index}].done"),
                format!(
                    "is still to be done: {}; say that it is done, or take it off with words",
                    line.title
                ),
            ));
        }
    }
    let to_prove = lines
        .iter()
        .filter(|line| !line.taken_off)
        .filter_map(|line| line.proof.as_ref());
    for proof in to_prove {
        if let Some(lacks) = &proof.lacks {
            faults.push(Invalid::new(
                "proved_by",
                format!("{} is still to be proved: {lacks}", proof.check),
            ));
        }
    }
    faults
}

#[cfg(test)]
mod tests;
