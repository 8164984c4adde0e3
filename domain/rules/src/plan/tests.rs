use super::*;
mod exhaustive;
