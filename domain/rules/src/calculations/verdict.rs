//! `verdict`: a reading against its check; the input is what a stored reading shows under `inputs`.

pub use crate::verdict::{Judged as Output, VerdictInput as Input, calculate};
