//! The OpenAPI document: what `utoipa` collects from the routes, and what holds for all of them alike (who may call,
//! which problems can come back), added here so that no route can forget it.

use utoipa::openapi::path::{Operation, Parameter, ParameterBuilder, ParameterIn, PathItem};
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::security::{
    ApiKey, ApiKeyValue, HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme,
};
use utoipa::openapi::{
    ContentBuilder, Header, HeaderBuilder, InfoBuilder, LicenseBuilder, OpenApi, OpenApiBuilder,
    Ref, RefOr, Required, ResponseBuilder,
};
use utoipa::{PartialSchema, ToSchema};

use crate::csv::TEXT_CSV;
use crate::page;
use crate::problem::{PROBLEM_JSON, ProblemDetails};

/// The extension in which an operation names the roles that may call it.
pub const X_ROLES: &str = "x-roles";

const DESCRIPTION: &str = "\
Keeps walk-behind snow throwers and other small winter equipment ready, and says how ready a depot is for a storm.

Quantities are SI with the unit last in the name (`depth_mm`, `interval_days`); instants are RFC 3339 in UTC; ids are \
UUIDs of version 7 and a client may make its own. Lists come in pages. A change names the version it is meant for \
(`If-Match`), and any write may be repeated safely under the same `Idempotency-Key`. Problems are RFC 9457. What you \
may not see answers exactly like what does not exist.

Sentences (`text`, `because`, `summary`) are in SI too, or in inches, psi, degF, ft2/h and lb/h for whoever sends \
`Accept-Language` with a measurement system (`en-u-ms-ussystem`, Unicode Technical Standard 35) or a region that uses \
them (`en-US`). Only POST /v1/sync/pull never rewrites: a phone does so itself, as every figure with a unit is a number, a \
narrow no-break space (U+202F) and the unit.";

/// What stands in the document before any route is added.
pub fn preamble() -> OpenApi {
    OpenApiBuilder::new()
        .info(
            InfoBuilder::new()
                .title("Rimeyard")
                .version("1")
                .description(Some(DESCRIPTION))
                .license(Some(
                    LicenseBuilder::new()
                        .name("Apache-2.0")
                        .identifier(Some("Apache-2.0"))
                        .build(),
                ))
                .build(),
        )
        .build()
}

/// The problems that the document explains once, each under `#/components/responses/` and its status in words.
const PROBLEMS: [(&str, &str, &str); 11] = [
    (
        "400",
        "BadRequest",
        "The request cannot be read: no JSON, or a query parameter that is wrong or not known.",
    ),
    ("401", "Unauthorized", "Not signed in, or no longer."),
    ("403", "Forbidden", "The role may not do this."),
    (
        "404",
        "NotFound",
        "There is no such thing, or none that you may see.",
    ),
    (
        "408",
        "RequestTimeout",
        "The body took longer than half a minute to arrive.",
    ),
    ("409", "Conflict", "It contradicts what is stored."),
    (
        "412",
        "PreconditionFailed",
        "It was changed since the version that If-Match names.",
    ),
    ("413", "PayloadTooLarge", "The body has more than 1 MiB."),
    (
        "415",
        "UnsupportedMediaType",
        "The body is not application/json, or is compressed.",
    ),
    (
        "422",
        "UnprocessableContent",
        "A value is wrong; `errors` names each field. Nothing was stored.",
    ),
    ("428", "PreconditionRequired", "If-Match is missing."),
];

/// Adds what holds for all operations: security and the problems each can answer, told from what it takes.
///
/// # Panics
/// Where an operation says neither who may call it (`x-roles`) nor that anyone may (`security(())`).
pub fn complete(mut document: OpenApi) -> OpenApi {
    let mut schemas = vec![(
        ProblemDetails::name().into_owned(),
        ProblemDetails::schema(),
    )];
    ProblemDetails::schemas(&mut schemas);
    let components = document.components.get_or_insert_default();
    components.schemas.extend(schemas);
    for (_, name, description) in PROBLEMS {
        let content = ContentBuilder::new()
            .schema(Some(RefOr::Ref(Ref::from_schema_name(
                ProblemDetails::name(),
            ))))
            .build();
        let response = ResponseBuilder::new()
            .description(description)
            .content(PROBLEM_JSON, content);
        components
            .responses
            .insert(name.to_owned(), response.build().into());
    }
    components.add_security_scheme(
        "bearer",
        SecurityScheme::Http(
            HttpBuilder::new()
                .scheme(HttpAuthScheme::Bearer)
                .bearer_format("JWT")
                .description(Some(
                    "The access_token of POST /v1/sign-in; of a depot system, its key (POST /v1/keys).",
                ))
                .build(),
        ),
    );
    components.add_security_scheme(
        "cookie",
        SecurityScheme::ApiKey(ApiKey::Cookie(ApiKeyValue::with_description(
            page::COOKIE,
            "Set by POST /sign-in; opens the pages and nothing else.",
        ))),
    );
    for (path, item) in &mut document.paths.paths {
        for (method, operation) in operations_mut(item) {
            complete_operation(path, method, operation);
        }
    }
    document
}

fn complete_operation(path: &str, method: &str, operation: &mut Operation) {
    let signed = operation
        .extensions
        .as_ref()
        .is_some_and(|extensions| extensions.contains_key(X_ROLES));
    assert!(
        signed || operation.security.is_some(),
        "{method} {path} must say who may call it: extensions((\"x-roles\" = json!(..))), or security(()) for anyone"
    );
    let tag = operation
        .tags
        .as_ref()
        .and_then(|tags| tags.first())
        .cloned()
        .unwrap_or_default();
    operation.operation_id = operation
        .operation_id
        .take()
        .map(|verb| format!("{tag}_{verb}").replace([' ', '-'], "_"));

    let body = operation.request_body.is_some();
    // What is only asked, though by POST because the question is long, is not kept.
    let writes = signed
        && method != "GET"
        && !matches!(
            tag.as_str(),
            "calculations" | "what-if" | "sync" | page::TAG
        );
    let mut can = vec!["400"];
    if signed {
        let scheme = if tag == page::TAG { "cookie" } else { "bearer" };
        operation.security = Some(vec![SecurityRequirement::new(scheme, [""; 0])]);
        can.extend(["401", "403"]);
    }
    if path.contains('{') {
        can.push("404");
    }
    if body {
        can.extend(["408", "413", "415", "422"]);
    }
    if writes {
        can.push("409");
        operation
            .parameters
            .get_or_insert_default()
            .push(idempotency_key().into());
    }
    if method == "PATCH" {
        can.extend(["412", "428"]);
        operation
            .parameters
            .get_or_insert_default()
            .push(if_match().into());
    }
    // A table is of its moment and has no version.
    let is_table = |status: &str| {
        let answer = operation.responses.responses.get(status);
        answer.is_some_and(
            |answer| matches!(answer, RefOr::T(answer) if answer.content.contains_key(TEXT_CSV)),
        )
    };
    let versioned = !is_table("200");
    if signed && method == "GET" && versioned {
        let not_modified =
            ResponseBuilder::new().description("It is still what If-None-Match names.");
        operation
            .responses
            .responses
            .insert("304".to_owned(), not_modified.build().into());
    }
    if signed && (method == "GET" && versioned || writes) {
        for status in ["200", "201"] {
            if let Some(RefOr::T(answer)) = operation.responses.responses.get_mut(status) {
                answer.headers.insert("ETag".to_owned(), etag().into());
            }
        }
    }
    for (status, name, _) in PROBLEMS {
        if can.contains(&status) {
            let reference = Ref::new(format!("#/components/responses/{name}"));
            operation
                .responses
                .responses
                .entry(status.to_owned())
                .or_insert(reference.into());
        }
    }
}

fn etag() -> Header {
    HeaderBuilder::new()
        .description(Some(
            "The version of what is shown: for If-None-Match, and of one object for If-Match.",
        ))
        .build()
}

fn if_match() -> Parameter {
    header(
        "If-Match",
        Required::True,
        "The ETag of the version that is to be changed.",
    )
}

fn idempotency_key() -> Parameter {
    header(
        "Idempotency-Key",
        Required::False,
        "1 to 200 characters, new for each new request. A request repeated under the same key within 30 days is \
         answered as the first time and does nothing.",
    )
}

fn header(name: &str, required: Required, description: &str) -> Parameter {
    ParameterBuilder::new()
        .name(name)
        .parameter_in(ParameterIn::Header)
        .required(required)
        .description(Some(description))
        .schema(Some(ObjectBuilder::new().schema_type(Type::String)))
        .build()
}

/// Every operation of a path with its method.
pub fn operations(item: &PathItem) -> impl Iterator<Item = (&'static str, &Operation)> {
    [
        ("GET", &item.get),
        ("POST", &item.post),
        ("PUT", &item.put),
        ("PATCH", &item.patch),
        ("DELETE", &item.delete),
    ]
    .into_iter()
    .filter_map(|(method, operation)| Some((method, operation.as_ref()?)))
}

fn operations_mut(item: &mut PathItem) -> impl Iterator<Item = (&'static str, &mut Operation)> {
    [
        ("GET", &mut item.get),
        ("POST", &mut item.post),
        ("PUT", &mut item.put),
        ("PATCH", &mut item.patch),
        ("DELETE", &mut item.delete),
    ]
    .into_iter()
    .filter_map(|(method, operation)| Some((method, operation.as_mut()?)))
}
