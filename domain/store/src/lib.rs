//! How it is kept: the Postgres schema, one file of queries per noun, the feed (the ONE way to write), and the
//! private Postgres that `local` and the tests run.
//!
//! Every finder takes a [`Tx`], and a `Tx` exists only for a [`Tenant`]: there is no query without an organisation.
//! Facts, the feed's entries, marks and audit rows are written through [`feed::write`] and nowhere else.

pub mod access_key;
pub mod alert;
pub mod audit;
pub mod backup;
pub mod boot;
mod change;
pub mod checklist;
mod clock;
mod correction;
mod database;
pub mod deferral;
pub mod depot;
pub mod device;
pub mod door;
pub mod doubt;
pub mod due;
mod error;
pub mod export;
pub mod facts;
pub mod feed;
pub mod fields;
pub mod finding;
pub mod fitted_part;
pub mod fix_first;
mod granted;
pub mod hold;
pub mod idempotency;
pub mod import;
pub mod inspection;
mod json;
pub mod labour;
pub mod learned;
mod letters;
pub mod limited_use;
mod machine;
pub mod mark;
pub mod meter_reading;
pub mod migrate;
pub mod model;
pub mod organisation;
pub mod part;
pub mod password;
pub mod person;
mod prepared;
pub mod private;
pub mod renew;
pub mod schema;
pub mod sheet;
pub mod snowfall;
pub mod spares;
pub mod state;
pub mod stock;
pub mod storm;
pub mod sweep;
pub mod task_done;
mod tenant;
pub mod unit;
pub mod work_order;

pub use database::{Database, PoolUse, Sizes, Tx};
pub use error::{Error, Result};
pub use idempotency::{Kept, Once};
pub use prepared::{Prepared, prepared};
pub use tenant::{Depots, Role, Tenant};
