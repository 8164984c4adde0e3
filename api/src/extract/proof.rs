//! A phone's proof of its key (RFC 9449, section 4): a JWT in the header `DPoP`, signed with the key that it carries, for
//! this request.

use actix_web::HttpRequest;
use actix_web::http::Uri;
use actix_web::web::Data;
use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use jsonwebtoken::jwk::{AlgorithmParameters, EllipticCurve, Jwk, ThumbprintHash};
use jsonwebtoken::{Algorithm, DecodingKey, Validation, decode};
use serde::Deserialize;
use serde_json::Value;

use crate::problem::Problem;
use crate::state::State;

/// The header's name.
pub const HEADER: &str = "DPoP";
/// What it is, for the document.
pub const ABOUT: &str = "The proof of the phone's key (RFC 9449, section 4): a JWT of type dpop+jwt signed with ES256 or \
                         EdDSA by the key in its header, with jti, htm, htu and iat.";
/// Bytes of a proof: some 500 are usual.
const BYTES_MAX: usize = 4_096;
/// How far the phone's clock may be off. What an answer says in `Date` sets it right.
const CLOCK_OFF_S: i64 = 300;

/// The key that signed this request's proof.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proof {
    /// Its thumbprint (RFC 7638, SHA-256).
    pub thumbprint: String,
}

#[derive(Deserialize)]
struct Claims {
    jti: String,
    htm: String,
    htu: String,
    iat: i64,
}

impl Proof {
    /// The proof that a request must carry. It is asked for once the body is read: what is malformed is told first.
    ///
    /// # Errors
    /// 401, as [`of`](Self::of), and for a request without one.
    pub fn required(request: &HttpRequest) -> Result<Self, Problem> {
        Self::of(request)?.ok_or_else(|| refused("is missing: sign one with the phone's key"))
    }

    /// The proof that a request carries, if it carries one.
    ///
    /// # Errors
    /// 401 for one that proves nothing; the detail says why.
    pub fn of(request: &HttpRequest) -> Result<Option<Self>, Problem> {
        let mut headers = request.headers().get_all(HEADER);
        let Some(header) = headers.next() else {
            return Ok(None);
        };
        if headers.next().is_some() {
            return Err(refused("must be there once"));
        }
        let proof = header.to_str().ok().filter(|text| text.len() <= BYTES_MAX);
        let proof = proof.ok_or_else(|| refused("is no JWT"))?;
        let (algorithm, key) = key_of(proof)?;
        let mut validation = Validation::new(algorithm);
        validation.required_spec_claims.clear();
        validation.validate_exp = false;
        validation.validate_aud = false;
        let decoding = DecodingKey::from_jwk(&key).map_err(|_| refused("has no key of use"))?;
        let claims = decode::<Claims>(proof, &decoding, &validation)
            .map_err(|_| refused("is not signed by its key, or lacks jti, htm, htu or iat"))?
            .claims;
        check(&claims, request)?;
        let thumbprint = key
            .thumbprint(ThumbprintHash::SHA256)
            .map_err(|_| refused("has no key of use"))?;
        Ok(Some(Proof { thumbprint }))
    }
}

/// The key in a proof's header, and the algorithm that it is for: the public key only, and nothing that the signature
/// would not cover or that would have to be fetched.
fn key_of(proof: &str) -> Result<(Algorithm, Jwk), Problem> {
    let header = proof.split('.').next().unwrap_or_default();
    let header = BASE64_URL_SAFE_NO_PAD.decode(header).ok();
    let header: Option<Value> = header.and_then(|header| serde_json::from_slice(&header).ok());
    let header = header.ok_or_else(|| refused("is no JWT"))?;
    if header["typ"] != "dpop+jwt" {
        return Err(refused("must be of type dpop+jwt"));
    }
    if ["crit", "jku", "x5u", "x5c", "zip", "enc"]
        .iter()
        .any(|name| header.get(name).is_some())
        || header["jwk"].get("d").is_some()
    {
        return Err(refused(
            "has a header that is not for a proof, or a private key in it: throw that key away",
        ));
    }
    let key: Jwk = Jwk::deserialize(&header["jwk"]).map_err(|_| refused("has no public key"))?;
    let algorithm = match &key.algorithm {
        AlgorithmParameters::EllipticCurve(key) if key.curve == EllipticCurve::P256 => {
            Algorithm::ES256
        }
        AlgorithmParameters::OctetKeyPair(key) if key.curve == EllipticCurve::Ed25519 => {
            Algorithm::EdDSA
        }
        _ => {
            return Err(refused(
                "must have a key of P-256 (ES256) or Ed25519 (EdDSA)",
            ));
        }
    };
    Ok((algorithm, key))
}

fn check(claims: &Claims, request: &HttpRequest) -> Result<(), Problem> {
    if claims.jti.is_empty() || claims.jti.len() > 200 {
        return Err(refused("must have a jti of 1 to 200 characters"));
    }
    let off_s = jiff::Timestamp::now()
        .as_second()
        .saturating_sub(claims.iat);
    if off_s.saturating_abs() > CLOCK_OFF_S {
        return Err(refused(&format!(
            "was made at another time: iat is {off_s} s before this answer's Date, and may be {CLOCK_OFF_S} s off"
        )));
    }
    // What is asked, without query and fragment. The scheme is the proxy's matter: not every one tells it.
    let meant: Option<Uri> = claims.htu.parse().ok();
    let is_meant = meant.is_some_and(|uri| {
        uri.path() == request.path()
            && uri.authority().is_some_and(|authority| {
                hosts(request).any(|host| host.eq_ignore_ascii_case(authority.as_str()))
            })
    });
    if claims.htm != request.method().as_str() || !is_meant {
        return Err(refused(
            "is for another request: htm is its method, htu its address",
        ));
    }
    Ok(())
}

/// What the client may have called this server: behind a proxy, what that says it was called.
fn hosts(request: &HttpRequest) -> impl Iterator<Item = String> {
    let behind_proxy = request
        .app_data::<Data<State>>()
        .is_some_and(|state| state.behind_proxy);
    let called = request.headers().get("host");
    let called = called
        .and_then(|host| host.to_str().ok())
        .map(str::to_owned);
    let told = behind_proxy.then(|| request.connection_info().host().to_owned());
    // HTTP/2 has it in the address.
    let named = request.uri().authority().map(ToString::to_string);
    [called, told, named].into_iter().flatten()
}

fn refused(why: &str) -> Problem {
    Problem::no_proof(format!("The proof in the header {HEADER} {why}."))
}
