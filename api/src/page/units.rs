//! The units of the pages: those of the browser's language, until somebody chooses.

use actix_web::cookie::{Cookie, SameSite, time::Duration};
use actix_web::http::header;
use actix_web::web::Payload;
use actix_web::{HttpRequest, HttpResponse, post};
use maud::{Markup, html};
use rimeyard_rules::Invalid;
use utoipa::ToSchema;

use super::html::Refused;
use crate::extract::read;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;
use crate::units::Units;

/// The cookie with the choice: it belongs to the browser, and outlasts who is signed in.
const COOKIE: &str = "rimeyard_units";

/// Days that a choice is remembered: browsers keep no cookie for more than 400 (RFC 6265bis).
const REMEMBERED_DAYS: i64 = 400;

/// What the form has at most: a word, and the longest address there is.
const FORM_BYTES_MAX: usize = 16 * 1024;

/// As the cookie and the form have it.
fn word(units: Units) -> &'static str {
    match units {
        Units::Si => "si",
        Units::Customary => "us-customary",
    }
}

fn read_word(text: &str) -> Option<Units> {
    [Units::Si, Units::Customary]
        .into_iter()
        .find(|units| word(*units) == text)
}

/// What the browser's user chose, or else what its language says.
pub fn chosen(request: &HttpRequest) -> Units {
    let cookie = request.cookie(COOKIE);
    cookie
        .and_then(|cookie| read_word(cookie.value()))
        .unwrap_or_else(|| Units::asked(request))
}

/// The button for the other units, which leads back to the page at `path`.
pub fn switch(units: Units, path: &str) -> Markup {
    let (other, words) = match units {
        Units::Si => (Units::Customary, "Show inches"),
        Units::Customary => (Units::Si, "Show millimetres"),
    };
    html! {
        form method="post" action="/units" {
            input type="hidden" name="units" value=(word(other));
            input type="hidden" name="back" value=(path);
            button { (words) }
        }
    }
}

/// What the form sends.
#[derive(Default, ToSchema)]
#[schema(as = PageUnits)]
pub struct Choice {
    /// `si` or `us-customary`.
    units: String,
    /// The page to go back to.
    back: String,
}

impl Choice {
    /// What is absent is empty.
    fn read(form: &[u8]) -> Self {
        let mut read = Choice::default();
        for (name, value) in form_urlencoded::parse(form) {
            match name.as_ref() {
                "units" => read.units = value.into_owned(),
                "back" => read.back = value.into_owned(),
                _ => {}
            }
        }
        read
    }

    /// A page of ours: nobody is sent elsewhere.
    fn back(&self) -> &str {
        let elsewhere = !self.back.starts_with('/')
            || self.back.starts_with("//")
            || self
                .back
                .contains(|it: char| it == '\\' || !it.is_ascii_graphic());
        if elsewhere { "/" } else { &self.back }
    }
}

/// Choose the units of the pages, in this browser.
#[utoipa::path(
    tag = "page",
    request_body(content = Choice, content_type = "application/x-www-form-urlencoded"),
    responses((status = 303, description = "Chosen: back to the page.")),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[post("/units")]
pub async fn set_units(
    _: Signed,
    request: HttpRequest,
    body: Payload,
) -> Result<HttpResponse, Refused> {
    let choice = Choice::read(&read(body.into_inner(), FORM_BYTES_MAX).await?);
    let wrong = || Problem::invalid(vec![Invalid::new("units", "must be si or us-customary")]);
    let units = read_word(&choice.units).ok_or_else(wrong)?;
    let cookie = Cookie::build(COOKIE, word(units))
        .path("/")
        .http_only(true)
        .same_site(SameSite::Strict)
        .secure(request.connection_info().scheme() == "https")
        .max_age(Duration::days(REMEMBERED_DAYS))
        .finish();
    Ok(HttpResponse::SeeOther()
        .insert_header((header::LOCATION, choice.back()))
        .cookie(cookie)
        .finish())
}
