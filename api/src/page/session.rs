//! Signing in and out of the pages.

use actix_web::cookie::{Cookie, SameSite, time::Duration};
use actix_web::http::header;
use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse, post};
use maud::{Markup, html};
use rimeyard_store::door;
use utoipa::ToSchema;

use super::html::{Refused, sign_in_again};
use crate::extract::read;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::routes::session::begin;
use crate::signed::Signed;
use crate::state::State;
use crate::token::{Kind, Subject};

/// The cookie that carries a page token. Out of reach of scripts, sent only from our own pages.
pub const COOKIE: &str = "rimeyard_page";

/// What the form sends.
#[derive(Default, ToSchema)]
#[schema(as = PageCredentials)]
pub struct Credentials {
    /// The address.
    email: String,
    /// The password.
    password: String,
}

/// What a form of the two may have at most.
const FORM_BYTES_MAX: usize = 16 * 1024;

impl Credentials {
    /// What is absent is empty, and so is nobody's.
    fn read(form: &[u8]) -> Self {
        let mut read = Credentials::default();
        for (name, value) in form_urlencoded::parse(form) {
            match name.as_ref() {
                "email" => read.email = value.into_owned(),
                "password" => read.password = value.into_owned(),
                _ => {}
            }
        }
        read
    }
}

/// Sign in to the pages.
#[utoipa::path(
    tag = "page",
    request_body(content = Credentials, content_type = "application/x-www-form-urlencoded"),
    responses(
        (status = 303, description = "Signed in: to the depots."),
        (status = 401, description = "Wrong address or password: the form again.", content_type = "text/html"),
        (status = 403, description = "The form was sent from another site.", content_type = "text/html"),
        (status = 429, description = "Too many attempts.", content_type = "text/html")
    ),
    security(())
)]
#[post("/sign-in")]
pub async fn sign_in(state: Data<State>, request: HttpRequest, body: Payload) -> HttpResponse {
    match signed_in(&state, &request, body).await {
        Ok(cookie) => HttpResponse::SeeOther()
            .insert_header((header::LOCATION, "/"))
            .cookie(cookie)
            .finish(),
        Err(problem) => sign_in_again(&problem),
    }
}

async fn signed_in(
    state: &State,
    request: &HttpRequest,
    body: Payload,
) -> Result<Cookie<'static>, Problem> {
    // Browsers say where a form comes from: nobody is to be signed in as somebody else by another site.
    let site = request.headers().get("sec-fetch-site");
    if site.is_some_and(|site| site != "same-origin" && site != "none") {
        return Err(Problem::forbidden());
    }
    let form = read(body.into_inner(), FORM_BYTES_MAX).await?;
    let Credentials { email, password } = Credentials::read(&form);
    let session = begin(state, request, &email, &password).await?;
    let subject = Subject {
        org_id: session.known.org_id,
        person_id: session.known.person_id,
        session: session.id,
    };
    let token =
        state
            .keys()
            .await?
            .sign(Kind::Page, subject, jiff::Timestamp::now().as_second())?;
    Ok(cookie(request, token, Kind::Page.life_s()))
}

fn cookie(request: &HttpRequest, value: String, life_s: i64) -> Cookie<'static> {
    Cookie::build(COOKIE, value)
        .path("/")
        .http_only(true)
        .same_site(SameSite::Strict)
        .secure(request.connection_info().scheme() == "https")
        .max_age(Duration::seconds(life_s))
        .finish()
}

/// Sign out of the pages.
#[utoipa::path(
    tag = "page",
    responses((status = 303, description = "Signed out: to the form.")),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[post("/sign-out")]
pub async fn sign_out(who: Signed, request: HttpRequest) -> Result<HttpResponse, Refused> {
    door::end_session(&who.state.database, who.org_id, who.session).await?;
    who.state.people.forget_all();
    Ok(HttpResponse::SeeOther()
        .insert_header((header::LOCATION, "/"))
        .cookie(cookie(&request, String::new(), 0))
        .finish())
}

/// The form, with what went wrong the last time.
pub fn form(wrong: Option<&str>) -> Markup {
    html! {
        h1 { "Sign in" }
        p { "How ready each depot's machines are for the coming storm, and why." }
        @if let Some(wrong) = wrong { p.wrong role="alert" { (wrong) } }
        form.sign-in method="post" action="/sign-in" {
            label { "Email" input type="email" name="email" required autocomplete="username"; }
            label { "Password" input type="password" name="password" required autocomplete="current-password"; }
            button { "Sign in" }
        }
    }
}
