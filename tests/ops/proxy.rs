//! Behind a real nginx that speaks TLS: whose address counts, cookies for TLS alone, links that stay where they are,
//! compression once. Feature `proxy`: needs nginx, openssl and curl.

use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use rimeyard_harness::{PASSWORD, email, eventually, fresh_database};
use rimeyard_store::Role;
use serde_json::{Value, json};

use super::{Serve, terminate};

/// nginx in front of a server. Ended with it.
struct Proxy {
    nginx: Child,
    folder: PathBuf,
    port: u16,
}

impl Proxy {
    async fn start(before: SocketAddr) -> Self {
        let folder = std::env::temp_dir().join(format!("rimeyard-proxy-{}", uuid::Uuid::now_v7()));
        std::fs::create_dir(&folder).expect("a folder");
        well(
            Command::new("openssl")
                .args([
                    "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2",
                ])
                .args([
                    "-subj",
                    "/CN=localhost",
                    "-addext",
                    "subjectAltName=DNS:localhost",
                ])
                .args(["-keyout", "key.pem", "-out", "certificate.pem"])
                .current_dir(&folder),
        );
        let free = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = free.local_addr().expect("an address").port();
        drop(free);
        let paths = ["client_body", "proxy", "fastcgi", "uwsgi", "scgi"];
        let paths = paths.map(|name| format!("{name}_temp_path {}/{name};", folder.display()));
        // It compresses all that it is given, to show that nothing is compressed twice.
        let settings = format!(
            "pid {folder}/pid; error_log {folder}/error.log;
             events {{}}
             http {{
                 access_log off; {paths}
                 gzip on; gzip_proxied any; gzip_min_length 1; gzip_types *;
                 server {{
                     listen 0.0.0.0:{port} ssl;
                     ssl_certificate {folder}/certificate.pem; ssl_certificate_key {folder}/key.pem;
                     location / {{
                         proxy_pass http://{before};
                         proxy_set_header Host $http_host;
                         proxy_set_header X-Forwarded-For $proxy_add_x_forwarded_for;
                         proxy_set_header X-Forwarded-Proto $scheme;
                     }}
                 }}
             }}",
            folder = folder.display(),
            paths = paths.join(" "),
        );
        std::fs::write(folder.join("settings"), settings).expect("written");
        let nginx = Command::new("nginx")
            .arg("-e")
            .arg(folder.join("error.log"))
            .arg("-c")
            .arg(folder.join("settings"))
            .args(["-g", "daemon off;"])
            .stdin(Stdio::null())
            .spawn()
            .expect("nginx starts");
        eventually(20.0, "nginx listens", async || {
            tokio::net::TcpStream::connect(("127.0.0.1", port))
                .await
                .is_ok()
        })
        .await;
        Proxy {
            nginx,
            folder,
            port,
        }
    }

    /// curl from one of this machine's own addresses; the answer with its head.
    fn ask(&self, from: &str, path: &str, more: &[&str]) -> String {
        let url = format!("https://localhost:{}{path}", self.port);
        curl(&self.folder, from, &url, more)
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        terminate(&self.nginx);
        let _ = self.nginx.wait();
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

fn well(command: &mut Command) -> String {
    let output = command
        .output()
        .unwrap_or_else(|error| panic!("{command:?}: {error}"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {said}");
    String::from_utf8(output.stdout).expect("UTF-8")
}

fn curl(folder: &Path, from: &str, url: &str, more: &[&str]) -> String {
    well(
        Command::new("curl")
            .args([
                "--silent",
                "--show-error",
                "--include",
                "--ipv4",
                "--noproxy",
                "*",
            ])
            .args([
                "--http1.1",
                "--cacert",
                "certificate.pem",
                "--interface",
                from,
                url,
            ])
            .args(more)
            .current_dir(folder),
    )
}

fn status(answer: &str) -> u16 {
    let code = answer.split(' ').nth(1).expect("a status");
    code.parse().expect("a number")
}

/// All values of a header.
fn header<'a>(answer: &'a str, name: &str) -> Vec<&'a str> {
    let head = answer.split("\r\n\r\n").next().expect("a head");
    head.lines()
        .filter_map(|line| line.split_once(": "))
        .filter(|(it, _)| it.eq_ignore_ascii_case(name))
        .map(|(_, value)| value)
        .collect()
}

fn body(answer: &str) -> &str {
    answer.split_once("\r\n\r\n").expect("a body").1
}

#[tokio::test]
async fn behind_a_proxy_nothing_is_believed_but_the_proxy() {
    let own = fresh_database().await;
    let limit = ("RIMEYARD_SIGN_INS_PER_ADDRESS", "3");
    let serve = Serve::start(&own.login_url, &[("RIMEYARD_BEHIND_PROXY", "true"), limit]);
    let proxy = Proxy::start(serve.address).await;

    // Who invents addresses is counted by the one that the proxy sees, and nobody else is.
    let wrong = json!({"email": "nobody@rimeyard.example", "password": "wrong"}).to_string();
    let sign_in = |from: &str, number: usize| {
        let forged = format!("X-Forwarded-For: 198.51.100.{number}");
        let json = ["--json", &*wrong, "--header", &*forged];
        status(&proxy.ask(from, "/v1/sign-in", &json))
    };
    let tried: Vec<u16> = (0..4).map(|number| sign_in("127.0.0.2", number)).collect();
    assert_eq!(tried, [401, 401, 401, 429]);
    assert_eq!(sign_in("127.0.0.3", 0), 401);

    // The page's cookie is for TLS alone, and the way on is a path.
    let who = email("ours", Role::Administrator);
    let (name, word) = (format!("email={who}"), format!("password={PASSWORD}"));
    let form = ["--data-urlencode", &*name, "--data-urlencode", &*word];
    let answer = proxy.ask("127.0.0.4", "/sign-in", &form);
    assert_eq!(
        (status(&answer), header(&answer, "location")),
        (303, vec!["/"])
    );
    let cookie = header(&answer, "set-cookie");
    assert!(
        cookie.len() == 1 && cookie[0].contains("; Secure"),
        "{cookie:?}"
    );
    let plain = curl(&proxy.folder, "127.0.0.5", &serve.at("/sign-in"), &form);
    assert!(
        !header(&plain, "set-cookie")[0].contains("Secure"),
        "not over plain HTTP"
    );
    let cookie = format!("Cookie: {}", cookie[0].split(';').next().expect("a cookie"));
    let page = proxy.ask("127.0.0.4", "/", &["--header", &cookie]);
    assert_eq!(status(&page), 200);
    assert!(body(&page).contains("href=\"/"), "there are links");
    for scheme in ["http://", "https://", "href=\"//"] {
        assert!(
            !body(&page).contains(scheme),
            "a link to elsewhere: {}",
            body(&page)
        );
    }

    // What is made is named by its path.
    let right = json!({"email": who, "password": PASSWORD}).to_string();
    let tokens = proxy.ask("127.0.0.6", "/v1/sign-in", &["--json", &right]);
    let tokens: Value = serde_json::from_str(body(&tokens)).expect("JSON");
    let bearer = format!(
        "Authorization: Bearer {}",
        tokens["access_token"].as_str().expect("one")
    );
    let checklist = json!({"name": "By way of the proxy", "kind": "two-stage thrower"}).to_string();
    let made = ["--json", &*checklist, "--header", &*bearer];
    let made = proxy.ask("127.0.0.6", "/v1/checklists", &made);
    assert_eq!(status(&made), 201);
    let location = header(&made, "location");
    assert!(
        location.len() == 1 && location[0].starts_with("/v1/checklists/"),
        "{location:?}"
    );

    // Compressed once, by the server, with the ETag of what is sent.
    let path = format!("/v1/depots/{}", own.world.ours.home.id);
    let plain = proxy.ask(
        "127.0.0.6",
        &path,
        &["--header", &bearer, "--header", "Accept-Encoding: identity"],
    );
    let coded = proxy.ask("127.0.0.6", &path, &["--header", &bearer, "--compressed"]);
    let coding = header(&coded, "content-encoding");
    assert!(coding.len() == 1 && !coding[0].contains(','), "{coding:?}");
    assert_eq!(
        body(&coded),
        body(&plain),
        "decoded once, it is what it was"
    );
    let known = header(&coded, "etag")[0];
    assert!(known.ends_with(&format!("-{}\"", coding[0])), "{known}");
    let known = format!("If-None-Match: {known}");
    let again = proxy.ask(
        "127.0.0.6",
        &path,
        &["--header", &bearer, "--compressed", "--header", &known],
    );
    assert_eq!(status(&again), 304);

    // Without a proxy, nobody is believed.
    let alone = Serve::start(&own.login_url, &[limit]);
    let tried: Vec<u16> = (0..4)
        .map(|number| {
            let forged = format!("X-Forwarded-For: 198.51.100.{number}");
            let json = ["--json", &*wrong, "--header", &*forged];
            status(&curl(
                &proxy.folder,
                "127.0.0.2",
                &alone.at("/v1/sign-in"),
                &json,
            ))
        })
        .collect();
    assert_eq!(tried, [401, 401, 401, 429]);
}
