use super::*;
mod exhaustive;
mod lab;
