//! The pages in a real browser: Chromium, driven through chromedriver by the WebDriver protocol (W3C). With
//! RIMEYARD_SCREENSHOTS set to a folder, each page is kept there as a picture.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use reqwest::Client;
use serde_json::{Value, json};

use crate::local::{Folder, Local};

struct Browser {
    driver: Child,
    client: Client,
    session: String,
}

impl Browser {
    async fn start() -> Self {
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .spawn()
            .expect("chromedriver is installed");
        let lines = BufReader::new(driver.stdout.take().expect("its output")).lines();
        let port: String = lines
            .map_while(Result::ok)
            .find_map(|line| {
                line.split("successfully on port ")
                    .nth(1)
                    .map(|port| port.trim_end_matches('.').to_owned())
            })
            .expect("chromedriver names its port");
        let client = rimeyard_harness::client();
        let options = json!({"args": [
            "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--window-size=1280,1600",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            "--accept-lang=en-US"
        ]});
        let answer = client
            .post(format!("http://127.0.0.1:{port}/session"))
            .json(&json!({"capabilities": {"alwaysMatch": {"goog:chromeOptions": options}}}))
            .send()
            .await
            .expect("chromedriver answers");
        let answer: Value = answer.json().await.expect("JSON");
        let id = answer["value"]["sessionId"]
            .as_str()
            .unwrap_or_else(|| panic!("no session: {answer}"))
            .to_owned();
        let session = format!("http://127.0.0.1:{port}/session/{id}");
        Browser {
            driver,
            client,
            session,
        }
    }

    async fn tell(&self, path: &str, body: Value) -> Value {
        let answer = self
            .client
            .post(format!("{}/{path}", self.session))
            .json(&body)
            .send()
            .await
            .expect("an answer");
        let status = answer.status();
        let answer: Value = answer.json().await.expect("JSON");
        assert!(status.is_success(), "{path}: {answer}");
        answer["value"].clone()
    }

    async fn ask(&self, path: &str) -> Value {
        let answer = self
            .client
            .get(format!("{}/{path}", self.session))
            .send()
            .await
            .expect("an answer");
        let answer: Value = answer.json().await.expect("JSON");
        answer["value"].clone()
    }

    async fn element(&self, selector: &str) -> String {
        let found = self
            .tell(
                "element",
                json!({"using": "css selector", "value": selector}),
            )
            .await;
        let id = found
            .as_object()
            .and_then(|element| element.values().next())
            .and_then(Value::as_str);
        id.unwrap_or_else(|| panic!("no {selector}: {found}"))
            .to_owned()
    }

    async fn type_in(&self, selector: &str, text: &str) {
        let element = self.element(selector).await;
        self.tell(&format!("element/{element}/value"), json!({"text": text}))
            .await;
    }

    async fn click(&self, selector: &str) {
        let element = self.element(selector).await;
        self.tell(&format!("element/{element}/click"), json!({}))
            .await;
    }

    /// The element's text; none while a page gives way to the next.
    async fn text(&self, selector: &str) -> Option<String> {
        let found = self
            .client
            .post(format!("{}/element", self.session))
            .json(&json!({"using": "css selector", "value": selector}))
            .send()
            .await
            .expect("an answer");
        let found: Value = found.json().await.expect("JSON");
        let element = found["value"]["element-6066-11e4-a52e-4f735466cecf"].as_str()?;
        let text = self.ask(&format!("element/{element}/text")).await;
        text.as_str().map(str::to_owned)
    }

    /// Waits until the element's text is as it should be.
    async fn shows(&self, selector: &str, right: impl Fn(&str) -> bool) {
        let deadline = Instant::now() + Duration::from_secs(20);
        loop {
            let text = self.text(selector).await;
            if text.as_deref().is_some_and(&right) {
                return;
            }
            assert!(Instant::now() < deadline, "{selector} shows {text:?}");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    async fn keep(&self, name: &str) {
        if let Ok(folder) = std::env::var("RIMEYARD_SCREENSHOTS") {
            let picture = self.ask("screenshot").await;
            use base64::Engine;
            let bytes = base64::prelude::BASE64_STANDARD
                .decode(picture.as_str().expect("a picture"))
                .expect("base64");
            std::fs::write(format!("{folder}/{name}.png"), bytes)
                .expect("the folder can be written");
        }
    }
}

impl Browser {
    /// Closes the browser, which would outlive its driver.
    async fn quit(self) {
        let closing = self.client.delete(&self.session).send().await;
        assert!(closing.expect("an answer").status().is_success());
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

#[tokio::test]
async fn a_manager_signs_in_and_walks_from_the_district_to_a_machine_and_out() {
    let folder = Folder::new();
    let local = Local::start(&folder, &[]);
    let accounts = folder.accounts();
    let manager = accounts
        .iter()
        .find(|account| account["role"] == "district manager")
        .expect("the manager");
    let browser = Browser::start().await;
    browser.tell("url", json!({"url": local.base})).await;
    browser.shows("h1", |text| text == "Sign in").await;
    browser.keep("1-sign-in").await;

    browser
        .type_in(
            "input[name=email]",
            manager["email"].as_str().expect("an address"),
        )
        .await;
    browser
        .type_in("input[name=password]", "not the password")
        .await;
    browser.click("form.sign-in button").await;
    browser
        .shows("[role=alert]", |text| text.contains("wrong"))
        .await;

    browser
        .type_in(
            "input[name=email]",
            manager["email"].as_str().expect("an address"),
        )
        .await;
    browser
        .type_in(
            "input[name=password]",
            manager["password"].as_str().expect("a password"),
        )
        .await;
    browser.click("form.sign-in button").await;
    browser
        .shows("h1", |text| text == "Depots for the coming storm")
        .await;
    let rows = browser
        .tell(
            "elements",
            json!({"using": "css selector", "value": "tbody tr"}),
        )
        .await;
    assert_eq!(
        rows.as_array().map(Vec::len),
        Some(12),
        "every depot of the demo"
    );
    browser.keep("2-district").await;

    browser.click("tbody th a").await;
    browser
        .shows("main", |text| text.contains("Its work"))
        .await;
    browser.keep("3-depot").await;
    browser.click("table:last-of-type tbody th a").await;
    browser
        .shows("main", |text| {
            // In the units of the browser's language.
            text.contains("Parts") && text.contains("Proof") && text.contains("in an hour")
        })
        .await;
    browser.keep("4-machine").await;
    browser.click("form[action='/units'] button").await;
    browser
        .shows("main", |text| {
            text.contains("mm an hour") && !text.contains("in an hour")
        })
        .await;
    browser.keep("5-machine-in-millimetres").await;

    browser.click("form[action='/sign-out'] button").await;
    browser.shows("h1", |text| text == "Sign in").await;
    browser.tell("url", json!({"url": local.base})).await;
    browser.shows("h1", |text| text == "Sign in").await;
    browser.quit().await;
    assert!(local.interrupt());
}
