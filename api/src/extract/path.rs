//! Parameters in the path.

use std::future::{Ready, ready};
use std::ops::Deref;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use serde::de::DeserializeOwned;

use crate::problem::Problem;

/// The parameters in the path, read as `T`: `Path<Uuid>`, or a tuple where there are several. What cannot be read is
/// the same 404 as what does not exist.
#[derive(Debug)]
pub struct Path<T>(pub T);

impl<T> Deref for Path<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: DeserializeOwned> FromRequest for Path<T> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        // A NUL in it would reach the database as text, where it is an error.
        let has_nul = request
            .match_info()
            .iter()
            .any(|(_, value)| value.contains('\0'));
        let read = request.match_info().load().ok().filter(|_| !has_nul);
        ready(read.map(Self).ok_or_else(Problem::not_found))
    }
}
