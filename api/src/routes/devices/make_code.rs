//! POST /v1/device-codes

use std::cell::RefCell;

use actix_web::{HttpRequest, post};
use qrcode::QrCode;
use qrcode::render::svg;
use rimeyard_store::device::code::{self, DeviceCode, NewDeviceCode};
use serde::Serialize;
use utoipa::ToSchema;

use crate::answer::Answer;
use crate::called::{Called, PublicAddress};
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// A code as it is made.
#[derive(Serialize, ToSchema)]
pub struct MadeCode {
    /// To be typed on the phone. It is told this once; a request repeated under its Idempotency-Key is answered without:
    /// then make another.
    #[schema(example = "7K2M-9QXD")]
    code: Option<String>,
    /// What the picture says: this server, and behind the # the code.
    link: Option<String>,
    /// The same to be read by the phone's camera: a QR code (ISO/IEC 18004) as SVG.
    qr_svg: Option<String>,
    #[serde(flatten)]
    kept: DeviceCode,
}

/// Make a code to enrol a phone with: of a person, or one that the operators of a depot share.
///
/// It lives ten minutes and is good once. You make it for yourself and for whom you answer for: an administrator for
/// everyone; a district manager and a depot lead for those below them who work at no depot that you are not granted.
#[utoipa::path(
    tag = "devices",
    responses((status = 201, description = "The code.", body = MadeCode)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/device-codes")]
pub async fn make_code(
    who: Signed,
    request: HttpRequest,
    body: Json<NewDeviceCode>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    let here = Called::by(&request).address()?;
    let made = |letters: Option<&str>, kept: DeviceCode| -> Result<Answer, Problem> {
        let link = letters.map(|letters| link(&here, letters));
        let made = MadeCode {
            code: letters.map(str::to_owned),
            qr_svg: link.as_deref().map(picture).transpose()?,
            link,
            kept,
        };
        Ok(Answer::value(&made).made().secret())
    };
    // What is kept with an Idempotency-Key must not hold the letters: they are put in after the write.
    let told = RefCell::new(None);
    let answer = who
        .write(once, &[who.org_id], async |tx| {
            let (kept, letters) = code::create(tx, &new).await?;
            told.replace(Some((kept.clone(), letters)));
            made(None, kept).map_err(|_| rimeyard_store::Error::internal("no picture"))
        })
        .await?;
    match told.into_inner() {
        Some((kept, letters)) => made(Some(letters.as_str()), kept),
        None => Ok(answer),
    }
}

/// The part behind the # stays on the phone: it stands in no server's log.
fn link(here: &PublicAddress, letters: &str) -> String {
    format!("{here}/#enrol={letters}")
}

fn picture(link: &str) -> Result<String, Problem> {
    let code = QrCode::new(link).map_err(|error| Problem::internal(error.to_string()))?;
    Ok(code
        .render::<svg::Color<'_>>()
        .min_dimensions(240, 240)
        .build())
}
