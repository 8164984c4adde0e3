//! The frame that every page stands in.

use actix_web::body::BoxBody;
use actix_web::http::{StatusCode, header};
use actix_web::{HttpRequest, HttpResponse, Responder, ResponseError};
use maud::{DOCTYPE, Markup, html};

use super::units;
use crate::problem::Problem;

/// Quiet on purpose: one column, the system's own letters and colours, wide tables scroll by themselves, print works.
const STYLE: &str = "
:root { color-scheme: light dark; --line: color-mix(in srgb, CanvasText 22%, Canvas); }
* { box-sizing: border-box; }
body { font: 1.0625rem/1.5 system-ui, sans-serif; margin: 0 auto; max-width: 76rem; padding: 0 1rem 3rem; }
header, footer { display: flex; flex-wrap: wrap; gap: .5rem 1.5rem; align-items: baseline; padding: .75rem 0; }
header { border-bottom: 1px solid var(--line); justify-content: space-between; }
header .name { font-weight: 600; }
header .ways { display: flex; flex-wrap: wrap; gap: .5rem 1.5rem; align-items: baseline; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 1.5rem 0 .25rem; }
h2 { font-size: 1.2rem; margin: 2rem 0 .5rem; }
p { max-width: 46rem; margin: .5rem 0; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; }
caption { text-align: left; padding: .25rem 0; }
th, td { text-align: left; vertical-align: top; padding: .5rem .75rem .5rem 0; border-bottom: 1px solid var(--line); }
th { font-weight: 600; }
td.figure, th.figure { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
td.figure.score { font-size: 1.35rem; line-height: 1.2; font-weight: 600; }
td ul { margin: 0; padding-left: 1.1rem; }
a { color: LinkText; }
tbody th a, header a, button { display: inline-block; min-height: 1.5rem; white-space: nowrap; }
a:focus-visible, button:focus-visible, input:focus-visible, .scroll:focus-visible { outline: 3px solid currentColor; outline-offset: 2px; }
form.sign-in { display: grid; gap: .75rem; max-width: 24rem; margin-top: 1rem; }
label { display: grid; gap: .25rem; font-weight: 600; }
input, button { font: inherit; padding: .6rem .75rem; min-height: 2.75rem; }
header form { margin: 0; }
header button { padding: .25rem .75rem; min-height: 2rem; }
.skip { position: absolute; left: -999rem; }
.skip:focus { left: 1rem; top: .5rem; background: Canvas; padding: .5rem; }
.faint { color: color-mix(in srgb, CanvasText 75%, Canvas); font-weight: normal; }
.wrong { border-left: .3rem solid currentColor; padding-left: .75rem; }
@media print { header form, .skip { display: none; } body { max-width: none; font-size: 10pt; } tr { break-inside: avoid; } }
";

/// A page of someone who is signed in.
pub struct Page {
    title: String,
    /// One step up: an address and its words.
    back: Option<(String, String)>,
    content: Markup,
}

impl Page {
    /// Such a page. `back` leads one step up: an address and its words.
    pub fn signed(title: &str, back: Option<(&str, &str)>, content: Markup) -> Self {
        Page {
            title: title.to_owned(),
            back: back.map(|(address, words)| (address.to_owned(), words.to_owned())),
            content,
        }
    }
}

impl Responder for Page {
    type Body = BoxBody;

    fn respond_to(self, request: &HttpRequest) -> HttpResponse {
        let units = units::chosen(request);
        let top = html! {
            @if let Some((address, words)) = &self.back { a href=(address) { "\u{2190} " (words) } }
            (units::switch(units, request.path()))
            form method="post" action="/sign-out" { button { "Sign out" } }
        };
        let text = frame(&self.title, top, self.content);
        answer(StatusCode::OK, units.say(&text).into_owned())
    }
}

fn answer(status: StatusCode, text: String) -> HttpResponse {
    HttpResponse::build(status)
        .content_type("text/html; charset=utf-8")
        // A signed-in page must not come back from a browser's memory after signing out.
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .body(text)
}

fn frame(title: &str, top: Markup, content: Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " \u{2013} Rimeyard" }
                link rel="icon" href="data:,";
                style { (maud::PreEscaped(STYLE)) }
            }
            body {
                a.skip href="#content" { "To the content" }
                header { span.name { "Rimeyard" } div.ways { (top) } }
                main id="content" { (content) }
                footer.faint {
                    p {
                        "Figures inform; they do not decide. Follow the maker's manual, your agency's lockout procedure and \
                         local rules; licensed work stays with licensed people. Engine off and plug lead off before hands go \
                         near an auger or chute, and never clear one by hand."
                    }
                }
            }
        }
    }
    .into_string()
}

/// A problem as a page: the sign-in form where nobody is signed in, else what is wrong and a way on.
pub fn refused(problem: &Problem) -> HttpResponse {
    let status = problem.status_code();
    let text = if status == StatusCode::UNAUTHORIZED {
        frame("Sign in", html! {}, super::session::form(None))
    } else {
        let content = html! {
            h1 { (status.canonical_reason().unwrap_or("Problem")) }
            p { (problem.detail()) }
            @if !problem.errors().is_empty() {
                ul { @for error in problem.errors() { li { (error.field) " " (error.problem) } } }
            }
            p { a href="/" { "To the depots" } }
        };
        frame("Problem", html! {}, content)
    };
    let mut answer = answer(status, text);
    // What the same problem says in its headers, such as Allow or Retry-After, holds for a page too.
    for (name, value) in problem.error_response().headers() {
        if name != header::CONTENT_TYPE && name != header::WWW_AUTHENTICATE {
            answer.headers_mut().insert(name.clone(), value.clone());
        }
    }
    answer
}

/// The sign-in form with what went wrong.
pub fn sign_in_again(problem: &Problem) -> HttpResponse {
    let content = super::session::form(Some(problem.detail()));
    answer(problem.status_code(), frame("Sign in", html! {}, content))
}

/// A handler's problem, answered as a page.
#[derive(Debug)]
pub struct Refused(pub Problem);

impl<E: Into<Problem>> From<E> for Refused {
    fn from(error: E) -> Self {
        Refused(error.into())
    }
}

impl std::fmt::Display for Refused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

impl ResponseError for Refused {
    fn status_code(&self) -> StatusCode {
        self.0.status_code()
    }

    fn error_response(&self) -> HttpResponse {
        refused(&self.0)
    }
}
