//! The application: routes, and around them the guard and the edge.

use std::rc::Rc;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceFactory, ServiceRequest, ServiceResponse};
use actix_web::middleware::{Compress, Next, from_fn};
use actix_web::web::Data;
use actix_web::{App, Error, HttpResponse, web};
use utoipa::openapi::OpenApi;
use utoipa_actix_web::AppExt;
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::document::{complete, preamble};
use crate::edge::edge;
use crate::guard::guard;
use crate::operations::Operations;
use crate::problem::Problem;
use crate::routes;
use crate::routes::document::Document;
use crate::state::State;

/// The application, for each of a server's threads.
pub fn app(
    state: Data<State>,
) -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = ServiceResponse<impl MessageBody>,
        Error = Error,
        InitError = (),
    >,
> {
    let (app, document) = routes::mount(App::new().into_utoipa_app().openapi(preamble()))
        // From the program itself: it needs no network.
        .openapi_service(|_| SwaggerUi::new("/docs/{_:.*}").config(Config::from("/openapi.json")))
        .default_service(web::to(async || {
            Err::<HttpResponse, Problem>(Problem::not_found())
        }))
        .split_for_parts();
    let document = complete(document);
    let operations = Rc::new(Operations::new(&document));
    app.app_data(state)
        .app_data(operations.clone())
        .app_data(Data::new(Document(text(&document))))
        .wrap(from_fn(move |request: ServiceRequest, next: Next<_>| {
            guard(operations.clone(), request, next)
        }))
        .wrap(Compress::default())
        .wrap(from_fn(edge))
}

/// The document of the application, complete.
pub fn document() -> OpenApi {
    let app = routes::mount(App::new().into_utoipa_app().openapi(preamble()));
    complete(app.split_for_parts().1)
}

/// The document as it is committed and served.
pub fn text(document: &OpenApi) -> String {
    let mut text = serde_json::to_string_pretty(document).expect("a document serialises");
    text.push('\n');
    text
}
