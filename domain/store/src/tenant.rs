//! Who asks, and for which organisation: the argument of everything that reads or writes.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What a person may do. Stored and shown as text with spaces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Role {
    /// Inspects and repairs.
    #[serde(rename = "technician")]
    Technician,
    /// Walks behind the machine: reports hours, starts and faults, usually from the depot's shared phone.
    #[serde(rename = "operator")]
    Operator,
    /// Answers for one or a few depots.
    #[serde(rename = "depot lead")]
    DepotLead,
    /// Answers for all of them.
    #[serde(rename = "district manager")]
    DistrictManager,
    /// A program at a depot that reads readiness.
    #[serde(rename = "depot system")]
    DepotSystem,
    /// Sets everything up.
    #[serde(rename = "administrator")]
    Administrator,
}

impl Role {
    /// Who works on machines with tools: the roles of whom a hold tag may name one who lifts it.
    pub const MECHANICS: [Role; 4] = [
        Role::Technician,
        Role::DepotLead,
        Role::DistrictManager,
        Role::Administrator,
    ];
    /// Every role.
    pub const ALL: [Role; 6] = [
        Role::Technician,
        Role::Operator,
        Role::DepotLead,
        Role::DistrictManager,
        Role::DepotSystem,
        Role::Administrator,
    ];

    /// The text that is stored and shown.
    pub fn as_str(self) -> &'static str {
        match self {
            Role::Technician => "technician",
            Role::Operator => "operator",
            Role::DepotLead => "depot lead",
            Role::DistrictManager => "district manager",
            Role::DepotSystem => "depot system",
            Role::Administrator => "administrator",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl FromStr for Role {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Role::ALL
            .into_iter()
            .find(|role| role.as_str() == text)
            .ok_or_else(|| {
                let names: Vec<_> = Role::ALL.iter().map(|role| role.as_str()).collect();
                format!("is not a role; the roles are: {}", names.join(", "))
            })
    }
}

/// The depots a person is granted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Depots {
    /// Every depot of the organisation, present and future.
    All,
    /// These and no others.
    Some(BTreeSet<Uuid>),
}

impl Depots {
    /// Whether the depot is granted.
    pub fn contains(&self, depot_id: Uuid) -> bool {
        match self {
            Depots::All => true,
            Depots::Some(granted) => granted.contains(&depot_id),
        }
    }

    /// For a query's `$1::uuid[] is null or depot_id = any($1)`: `None` grants all.
    pub fn as_filter(&self) -> Option<Vec<Uuid>> {
        match self {
            Depots::All => None,
            Depots::Some(granted) => Some(granted.iter().copied().collect()),
        }
    }
}

/// Who asks. Row-level security follows `org_id`; finders narrow by `depots`.
#[derive(Debug, Clone)]
pub struct Tenant {
    /// The organisation.
    pub org_id: Uuid,
    /// The person signed in; `None` for the worker and for setting up, which act for nobody.
    pub person_id: Option<Uuid>,
    /// What the person may do.
    pub role: Role,
    /// Where.
    pub depots: Depots,
    /// The request this is done for; it ends up in the audit.
    pub request_id: Option<Uuid>,
    /// The session through which it is asked, or the depot system's key; so does this.
    pub session: Option<Uuid>,
}

impl Tenant {
    /// The house itself, acting within one organisation: the worker's recomputations, the demo's loading.
    pub fn system(org_id: Uuid) -> Self {
        Tenant {
            org_id,
            person_id: None,
            role: Role::Administrator,
            depots: Depots::All,
            request_id: None,
            session: None,
        }
    }
}
