//! The door that every request passes before its handler: is there such an operation, who asks, may they. It enforces
//! what the document says, so an operation cannot be open by oversight.

use std::rc::Rc;

use actix_web::body::{BoxBody, EitherBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::{Method, header};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{Error, HttpMessage, ResponseError};
use rimeyard_rules::Invalid;
use rimeyard_store::Role;

use crate::edge::RequestId;
use crate::operations::{Known, Lookup, Operations};
use crate::page;
use crate::problem::Problem;
use crate::signed::Admitted;
use crate::state::State;
use crate::token::Kind;

/// The middleware, outermost but for [`edge`](crate::edge).
pub async fn guard<B: MessageBody>(
    operations: Rc<Operations>,
    mut request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B, BoxBody>>, Error> {
    // RFC 9110 wants HEAD wherever there is GET; actix leaves out the body by itself.
    if request.method() == Method::HEAD {
        request.head_mut().method = Method::GET;
    }
    match admit(&operations, &request).await {
        Ok(admitted) => {
            if let Some(admitted) = admitted {
                request.extensions_mut().insert(admitted);
            }
            Ok(next.call(request).await?.map_into_left_body())
        }
        Err(problem) => {
            let page = request
                .match_pattern()
                .is_some_and(|pattern| operations.is_page(&pattern));
            let answer = if page {
                page::refused(&problem)
            } else {
                problem.error_response()
            };
            Ok(request.into_response(answer).map_into_right_body())
        }
    }
}

async fn admit(
    operations: &Operations,
    request: &ServiceRequest,
) -> Result<Option<Admitted>, Problem> {
    let Some(pattern) = request.match_pattern() else {
        return Ok(None);
    };
    let known = match operations.lookup(&pattern, request.method()) {
        Lookup::Undocumented => return Ok(None),
        Lookup::OtherMethods(allow) => return Err(Problem::method_not_allowed(allow)),
        Lookup::Found(known) => known,
    };
    let admitted = match &known.roles {
        None => None,
        Some(roles) => {
            let admitted = authenticate(known, request).await?;
            if !roles.contains(&admitted.tenant.role) {
                return Err(Problem::forbidden());
            }
            // A depot system's role says that such a thing can be written, its key whether this one may.
            let is_program = admitted.tenant.role == Role::DepotSystem;
            if is_program
                && known
                    .writes
                    .is_some_and(|one| !admitted.may_write.contains(&one))
            {
                return Err(Problem::not_named_with_key());
            }
            Some(admitted)
        }
    };
    refuse_unknown_parameters(known, request.query_string())?;
    Ok(admitted)
}

async fn authenticate(known: &Known, request: &ServiceRequest) -> Result<Admitted, Problem> {
    let state = request
        .app_data::<Data<State>>()
        .ok_or_else(|| Problem::internal("the app has no state"))?;
    let cookie = request.cookie(page::COOKIE).filter(|_| known.page);
    let mut admitted = match &cookie {
        Some(cookie) => state.authenticate(Kind::Page, cookie.value()).await?,
        None => state.authenticate(Kind::Access, bearer(request)?).await?,
    };
    admitted.tenant.request_id = request.extensions().get::<RequestId>().map(|id| id.0);
    Ok(admitted)
}

fn bearer(request: &ServiceRequest) -> Result<&str, Problem> {
    request
        .headers()
        .get(header::AUTHORIZATION)
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.split_once(' '))
        .filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"))
        .map(|(_, token)| token.trim())
        .ok_or_else(|| {
            Problem::unauthorized(
                "Sign in with POST /v1/sign-in and send the access_token as Authorization: Bearer.",
            )
        })
}

fn refuse_unknown_parameters(known: &Known, query: &str) -> Result<(), Problem> {
    let names = form_urlencoded::parse(query.as_bytes()).map(|(name, _)| name);
    let errors: Vec<Invalid> = names
        .filter(|name| !known.query.contains(name.as_ref()))
        .map(|name| {
            let all: Vec<&str> = known.query.iter().map(String::as_str).collect();
            let advice = match all.as_slice() {
                [] => "this address takes no parameters".to_owned(),
                names => format!("known are: {}", names.join(", ")),
            };
            Invalid::new(
                name.replace('\0', "\\0"),
                format!("is not known here; {advice}"),
            )
        })
        .collect();
    if errors.is_empty() {
        Ok(())
    } else {
        Err(Problem::malformed(errors))
    }
}
