//! What a phone proves its key with (RFC 9449): for this request, at this server, now, and by a key that is public alone.

use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use jsonwebtoken::{Algorithm, EncodingKey, Header, encode};
use reqwest::Method;
use rimeyard_harness::{Actor, Answer, TestServer, eventually};
use serde_json::{Value, json};
use uuid::Uuid;

use super::phone::{Phone, Told, code};

/// Comes with a code and this proof, and calls the server so, if by another name.
async fn enrol(anyone: &Actor, letters: &str, proof: &str, host: Option<&str>) -> Answer {
    let body = json!({"code": letters, "name": "Yellow phone"});
    let mut request = anyone.request(Method::POST, "/v1/devices").json(&body);
    if let Some(host) = host {
        request = request.header("Host", host);
    }
    Answer::of(request.header("DPoP", proof)).await
}

/// RFC 9449, section 4.3: what a server checks of a proof. And that its key is public, and its header nothing more.
#[tokio::test]
async fn a_proof_is_for_this_request_and_now() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    let home = json!({"depot_id": server.world.ours.home.id});
    let letters = code(&server.depot_lead().await, home).await;
    let phone = Phone::new();
    let good = Phone::told(&anyone, "/v1/devices");
    let body = json!({"code": letters, "name": "Yellow phone"});
    let send = async |proofs: &[String]| {
        let mut request = anyone.request(Method::POST, "/v1/devices").json(&body);
        for proof in proofs {
            request = request.header("DPoP", proof);
        }
        Answer::of(request).await
    };
    let now = good.made_at_s;
    let told = |change: fn(&mut Told)| {
        let mut told = good.clone();
        change(&mut told);
        phone.proof(&told)
    };
    let good_proof = phone.proof(&good);
    let (head, signature) = good_proof.rsplit_once('.').expect("a JWT");
    let key = EncodingKey::from_secret(b"secret");
    let jwk = json!({"kty": "oct", "k": "c2VjcmV0"});
    let symmetric = Header {
        typ: Some("dpop+jwt".to_owned()),
        jwk: serde_json::from_value(jwk).ok(),
        ..Header::new(Algorithm::HS256)
    };
    let claims = json!({"jti": "1", "htm": "POST", "htu": good.address, "iat": now});
    let symmetric = encode(&symmetric, &claims, &key).expect("signed");
    let wrong = [
        ("none", vec![]),
        ("two", vec![good_proof.clone(), good_proof.clone()]),
        ("type", vec![told(|told| told.typ = "JWT")]),
        ("method", vec![told(|told| told.method = "GET".to_owned())]),
        (
            "path",
            vec![told(|told| {
                told.address = told.address.replace("devices", "depots")
            })],
        ),
        (
            "host",
            vec![told(|told| {
                told.address = "https://elsewhere.example/v1/devices".to_owned()
            })],
        ),
        (
            "no address",
            vec![told(|told| told.address = "/v1/devices".to_owned())],
        ),
        ("old", vec![told(|told| told.made_at_s -= 301)]),
        ("early", vec![told(|told| told.made_at_s += 310)]),
        ("no jti", vec![told(|told| told.jti.clear())]),
        ("long jti", vec![told(|told| told.jti = "x".repeat(201))]),
        ("no signature", vec![format!("{head}.")]),
        (
            "another's signature",
            vec![format!(
                "{head}.{}",
                signature.chars().rev().collect::<String>()
            )],
        ),
        ("a shared secret", vec![symmetric]),
        ("no JWT", vec!["x".to_owned()]),
        ("long", vec!["x".repeat(5_000)]),
    ];
    for (what, proofs) in wrong {
        let answer = send(&proofs).await;
        assert_eq!(answer.status, 401, "{what}: {}", answer.body);
        assert!(
            answer.header("www-authenticate").starts_with("DPoP"),
            "{what}"
        );
        assert!(
            !answer.header("date").is_empty(),
            "the phone sets its clock by it"
        );
    }
    send(&[good_proof]).await.expect(201);
}

/// RFC 9449, section 4.2: a proof may be signed with any asymmetric algorithm that the server takes. Phones' secure parts
/// have P-256 (common practice).
#[tokio::test]
async fn a_key_of_either_curve_is_taken_under_its_own_algorithm_alone() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    // The key of RFC 7515, A.3.1 (from memory; that x and y are of d, the test shows).
    let d = BASE64_URL_SAFE_NO_PAD.decode("jpsQnnGQmL-YBIffH1136cspYG6-0iY7X1fCE9-E9LI");
    let d = d.expect("base64url").try_into().expect("32 bytes");
    let phone = Phone::of_p256(&d);
    assert_eq!(
        phone.jwk(),
        json!({
            "kty": "EC", "crv": "P-256", "x": "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU",
            "y": "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0",
        })
    );
    let home = json!({"depot_id": server.world.ours.home.id});
    let letters = code(&lead, home).await;
    let told = Phone::told(&anyone, "/v1/devices");
    for (phone, other) in [(&phone, "EdDSA"), (&Phone::new(), "ES256")] {
        for algorithm in [other, "none", "HS256", "RS256", "ES384"] {
            let header = json!({"typ": "dpop+jwt", "alg": algorithm, "jwk": phone.jwk()});
            let proof = phone.proof_under(&header, &told);
            let answer = enrol(&anyone, &letters, &proof, None).await;
            assert_eq!(answer.status, 401, "{algorithm}: {}", answer.body);
        }
    }
    let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
    assert_eq!(enrolled["device"]["thumbprint"], phone.thumbprint());
    let next = phone.refresh(&anyone, &enrolled["tokens"], None).await;
    next.expect(200);
}

/// RFC 9449, section 4.3, check 7, for the private key; RFC 7515, sections 4.1.2, 4.1.5, 4.1.6 and 4.1.11, for what would
/// have a reader fetch a key or know more than it does.
#[tokio::test]
async fn a_proofs_header_is_a_public_key_and_nothing_more() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    let home = json!({"depot_id": server.world.ours.home.id});
    let letters = code(&server.depot_lead().await, home).await;
    let phone = Phone::new();
    let told = Phone::told(&anyone, "/v1/devices");
    let good = json!({"typ": "dpop+jwt", "alg": "EdDSA", "jwk": phone.jwk()});
    let but = |change: fn(&mut Value)| {
        let mut header = good.clone();
        change(&mut header);
        header
    };
    let wrong = [
        (
            "a private key",
            but(|it| it["jwk"]["d"] = json!("nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A")),
        ),
        (
            "a private key of nothing",
            but(|it| it["jwk"]["d"] = json!("")),
        ),
        ("crit", but(|it| it["crit"] = json!(["exp"]))),
        (
            "crit of what is there",
            but(|it| {
                it["crit"] = json!(["b64"]);
                it["b64"] = json!(true);
            }),
        ),
        ("jku", but(|it| it["jku"] = json!("https://keys.example/"))),
        ("x5u", but(|it| it["x5u"] = json!("https://keys.example/"))),
        ("x5c", but(|it| it["x5c"] = json!(["MIIB"]))),
        ("zip", but(|it| it["zip"] = json!("DEF"))),
        ("null for a key", but(|it| it["jwk"] = Value::Null)),
        (
            "no key",
            but(|it| drop(it.as_object_mut().map(|it| it.remove("jwk")))),
        ),
        (
            "another's key",
            but(|it| it["jwk"]["x"] = json!("11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo")),
        ),
        ("a key too short", but(|it| it["jwk"]["x"] = json!("AAAA"))),
        ("a key of no bytes", but(|it| it["jwk"]["x"] = json!(""))),
        (
            "a key too long",
            but(|it| {
                // All of the good key and a byte more.
                let long = it["jwk"]["x"]
                    .as_str()
                    .map(|x| BASE64_URL_SAFE_NO_PAD.decode(x));
                let mut long = long.expect("text").expect("base64url");
                long.push(0);
                it["jwk"]["x"] = json!(BASE64_URL_SAFE_NO_PAD.encode(long));
            }),
        ),
        ("another curve", but(|it| it["jwk"]["crv"] = json!("Ed448"))),
        ("no type", but(|it| it["typ"] = json!("jwt"))),
    ];
    for (what, header) in wrong {
        let proof = phone.proof_under(&header, &told);
        let answer = enrol(&anyone, &letters, &proof, None).await;
        assert_eq!(answer.status, 401, "{what}: {}", answer.body);
    }
    let proof = phone.proof_under(&good, &told);
    enrol(&anyone, &letters, &proof, None).await.expect(201);
}

#[tokio::test]
async fn a_proof_is_for_the_public_address_whatever_the_request_calls_the_server() {
    let public = "https://rimeyard.example";
    let server = TestServer::start_with(|settings| {
        settings.public_address = Some(public.parse().expect("an address"));
        settings.behind_proxy = true;
    })
    .await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let phone = Phone::new();
    let home = json!({"depot_id": server.world.ours.home.id});
    let request = lead.request(Method::POST, "/v1/device-codes").json(&home);
    let request = request.header("Host", "elsewhere.example");
    let request = request.header("X-Forwarded-Host", "elsewhere.example");
    let made = Answer::of(request).await.expect(201).json();
    let letters = made["code"].as_str().expect("letters");
    assert_eq!(made["link"], format!("{public}/#enrol={letters}"));

    let own = Phone::told(&anyone, "/v1/devices");
    let at = |origin: &str| {
        phone.proof(&Told {
            address: format!("{origin}/v1/devices"),
            ..own.clone()
        })
    };
    // Whoever had a phone make a proof for a server of theirs comes with it, and calls this server so.
    for origin in [
        "https://elsewhere.example",
        "http://rimeyard.example",
        "https://rimeyard.example:8443",
        "https://rimeyard.example@elsewhere.example",
    ] {
        let host = origin.rsplit(['/', '@']).next();
        let refused = enrol(&anyone, letters, &at(origin), host).await;
        refused.problem(401);
        assert!(refused.body.contains(&format!("{public}/v1/devices")));
    }
    let proof = phone.proof(&own);
    enrol(&anyone, letters, &proof, None).await.problem(401);
    // And what it is called inside does not matter.
    let proof = at("https://RIMEYARD.example:443");
    let enrolled = enrol(&anyone, letters, &proof, Some("inside:8080")).await;
    enrolled.expect(201);
}

#[tokio::test]
async fn without_one_the_request_says_it_and_must_say_a_name() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let home = json!({"depot_id": server.world.ours.home.id});
    let make = async |host: &str| {
        let request = lead.request(Method::POST, "/v1/device-codes").json(&home);
        Answer::of(request.header("Host", host)).await
    };
    for host in [
        "a/b",
        "me@here",
        "a b",
        &"x".repeat(4_000),
        &"x.".repeat(130),
    ] {
        let answer = make(host).await;
        assert_eq!(answer.problem(400), ["Host"], "{host}");
    }
    let made = make("Rimeyard.example:8443").await.expect(201).json();
    let letters = made["code"].as_str().expect("letters");
    let link = format!("http://rimeyard.example:8443/#enrol={letters}");
    assert_eq!(made["link"], link);
    let proof = Phone::new().proof(&Told {
        address: "https://rimeyard.example:8443/v1/devices".to_owned(),
        ..Phone::told(&anyone, "/v1/devices")
    });
    let host = Some("rimeyard.example:8443");
    enrol(&anyone, letters, &proof, None).await.problem(401);
    enrol(&anyone, letters, &proof, host).await.expect(201);
}

/// What DEVELOPERS.md says of a proof whose jti is not remembered: whoever has seen all of a request goes on with it for as
/// long as its proof is young, and the phone that comes with what it was told ends the session for both.
#[tokio::test]
async fn whoever_sends_a_phones_refresh_again_is_found_out_by_the_phone() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let home = json!({"depot_id": server.world.ours.home.id});
    let phone = Phone::new();
    let enrolled = phone.enrol(&anyone, &code(&lead, home).await).await;
    let tokens = enrolled.expect(201).json()["tokens"].clone();
    let path = "/v1/sign-in/refresh";
    let seen = phone.proof(&Phone::told(&anyone, path));
    let again = async |tokens: &Value| {
        let body = json!({"refresh_token": tokens["refresh_token"]});
        let request = anyone.request(Method::POST, path).header("DPoP", &seen);
        Answer::of(request.json(&body)).await
    };
    let told = again(&tokens).await.expect(200).json();
    let theirs = again(&tokens).await.expect(200).json();
    let theirs = again(&theirs).await.expect(200).json();
    phone.refresh(&anyone, &told, None).await.problem(401);
    again(&theirs).await.problem(401);
    let acting = anyone.with_token(theirs["access_token"].as_str().expect("a token"));
    eventually(5.0, "what they hold opens nothing", async || {
        acting.get("/v1/me").await.status == 401
    })
    .await;
}

/// What is unsent is kept by its ids: sent again it changes nothing, and by nobody without the phone's key.
#[tokio::test]
async fn a_proof_opens_its_own_request_alone() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let home = json!({"depot_id": server.world.ours.home.id});
    let phone = Phone::new();
    let letters = code(&lead, home).await;
    let seen = phone.proof(&Phone::told(&anyone, "/v1/devices"));
    let enrolled = enrol(&anyone, &letters, &seen, None).await.expect(201);
    // The code's answer may be lost, so it comes again: to the one who has the key and the code.
    let again = enrol(&anyone, &letters, &seen, None).await.expect(201);
    assert_eq!(again.json()["device"], enrolled.json()["device"]);
    enrol(&anyone, "0000-0000", &seen, None).await.problem(401);
    for path in ["/v1/sign-in/refresh", "/v1/devices/unsent"] {
        let body = match path {
            "/v1/devices/unsent" => {
                json!({"entries": [{"id": Uuid::now_v7(), "what": "x", "body": {}}]})
            }
            _ => json!({"refresh_token": enrolled.json()["tokens"]["refresh_token"]}),
        };
        let request = anyone.request(Method::POST, path).header("DPoP", &seen);
        Answer::of(request.json(&body)).await.problem(401);
    }
    phone
        .refresh(&anyone, &enrolled.json()["tokens"], None)
        .await
        .expect(200);
}
