//! A small client of the API: one server, one signed-in person, JSON in and out, what went wrong in words.

use serde_json::Value;
use uuid::Uuid;

/// The server.
#[derive(Debug, Clone)]
pub struct Server {
    address: String,
    http: reqwest::Client,
}

/// Someone who is signed in.
#[derive(Debug, Clone)]
pub struct Caller {
    server: Server,
    token: String,
}

impl Server {
    pub fn new(address: &str) -> Self {
        Self { address: address.trim_end_matches('/').to_owned(), http: reqwest::Client::new() }
    }

    /// Whether it answers that it can work.
    pub async fn is_ready(&self) -> bool {
        let request = self.http.get(format!("{}/readyz", self.address)).timeout(std::time::Duration::from_secs(2));
        request.send().await.is_ok_and(|answer| answer.status().is_success())
    }

    /// Takes up an invitation with a password, which signs in at once.
    pub async fn accept(&self, link: &str, password: &str) -> Result<Caller, String> {
        let token = link.rsplit('#').next().unwrap_or(link);
        let body = serde_json::json!({"token": token, "password": password});
        let request = self.http.post(format!("{}/v1/invitations/accept", self.address)).json(&body);
        let session = answer("POST /v1/invitations/accept", request).await?;
        Ok(Caller { server: self.clone(), token: text(&session, "access_token")?.to_owned() })
    }
}

impl Caller {
    pub async fn get(&self, path: &str) -> Result<Value, String> {
        let request = self.server.http.get(format!("{}{path}", self.server.address)).bearer_auth(&self.token);
        answer(&format!("GET {path}"), request).await
    }

    /// Every change carries a key, so that sending it twice would do it once.
    pub async fn post(&self, path: &str, body: &Value) -> Result<Value, String> {
        answer(&format!("POST {path}"), self.request(reqwest::Method::POST, path).json(body)).await
    }

    /// A change that says everything in its path.
    pub async fn act(&self, path: &str) -> Result<Value, String> {
        answer(&format!("POST {path}"), self.request(reqwest::Method::POST, path)).await
    }

    /// Replaces a thing as it was last read.
    pub async fn put(&self, path: &str, etag: &str, body: &Value) -> Result<Value, String> {
        let request = self.request(reqwest::Method::PUT, path).header("If-Match", etag).json(body);
        answer(&format!("PUT {path}"), request).await
    }

    /// Changes a thing as it was last read.
    pub async fn patch(&self, path: &str, etag: &str, body: &Value) -> Result<Value, String> {
        let request = self.request(reqwest::Method::PATCH, path).header("If-Match", etag).json(body);
        answer(&format!("PATCH {path}"), request).await
    }

    /// Does something that cannot be taken back, to a thing as it was last read.
    pub async fn act_on(&self, path: &str, etag: &str, body: &Value) -> Result<Value, String> {
        let request = self.request(reqwest::Method::POST, path).header("If-Match", etag).json(body);
        answer(&format!("POST {path}"), request).await
    }

    /// Sends a file as it is.
    pub async fn upload(&self, path: &str, media_type: &str, file: Vec<u8>) -> Result<Value, String> {
        let request = self.request(reqwest::Method::POST, path).header("Content-Type", media_type).body(file);
        answer(&format!("POST {path}"), request).await
    }

    /// Every item of a list, page by page.
    pub async fn all(&self, path: &str) -> Result<Vec<Value>, String> {
        let mut items = Vec::new();
        let mut cursor: Option<String> = None;
        loop {
            let joint = if path.contains('?') { '&' } else { '?' };
            let next = cursor.map(|c| format!("&cursor={c}")).unwrap_or_default();
            let mut page = self.get(&format!("{path}{joint}limit=200{next}")).await?;
            if let Some(found) = page.get_mut("items").and_then(Value::as_array_mut) {
                items.append(found);
            }
            cursor = page.get("next_cursor").and_then(Value::as_str).map(str::to_owned);
            if cursor.is_none() {
                return Ok(items);
            }
        }
    }

    fn request(&self, method: reqwest::Method, path: &str) -> reqwest::RequestBuilder {
        let address = format!("{}{path}", self.server.address);
        let key = Uuid::now_v7().to_string();
        self.server.http.request(method, address).bearer_auth(&self.token).header("Idempotency-Key", key)
    }
}

async fn answer(what: &str, request: reqwest::RequestBuilder) -> Result<Value, String> {
    let failed = |error: reqwest::Error| format!("{what}: {error}");
    let response = request.send().await.map_err(failed)?;
    let status = response.status();
    let body = response.text().await.map_err(failed)?;
    if !status.is_success() {
        return Err(format!("{what}: {status}: {body}"));
    }
    if body.is_empty() { Ok(Value::Null) } else { serde_json::from_str(&body).map_err(|e| format!("{what}: {e}")) }
}

/// A text in an answer, by name.
pub fn text<'a>(value: &'a Value, name: &str) -> Result<&'a str, String> {
    value.get(name).and_then(Value::as_str).ok_or_else(|| format!("no `{name}` in {value}"))
}
