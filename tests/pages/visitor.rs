//! A browser without a script: it opens pages, fills in what stands in their forms, and sends them.

use harness::{client, world::Company};
use serde_json::{Value, json};

use super::{cookie, get};

/// Somebody at a browser.
pub struct Visitor<'a> {
    pub company: &'a Company,
    pub cookie: String,
}

/// What the browser shows.
#[derive(Debug)]
pub struct Page {
    pub status: u16,
    /// Where it was sent on to.
    pub to: Option<String>,
    /// The cookie that it was told to keep.
    pub cookie: Option<String>,
    pub html: String,
}

impl<'a> Visitor<'a> {
    pub async fn named(company: &'a Company, name: &str) -> Self {
        Self { company, cookie: cookie(company, name).await }
    }

    /// A technician's phone, which has a cookie too.
    pub async fn technician(company: &'a Company) -> Self {
        let code = format!("/api/v1/people/{}/enrolment-codes", company.phone.id.as_deref().unwrap());
        let code = company.office.post(&code, &json!({})).await.expect(201).body["code"].clone();
        let enrol = json!({ "code": code, "name": "Phone", "in_browser": true });
        let enrolled = company.app.nobody().post("/api/v1/devices", &enrol).await.expect(201);
        let cookie = enrolled.header("set-cookie").unwrap().split(';').next().unwrap().to_owned();
        Self { company, cookie }
    }

    pub async fn open(&self, path: &str) -> Page {
        let reply = get(self.company, path, Some(&self.cookie)).await;
        let status = reply.status().as_u16();
        Page { status, to: None, cookie: None, html: reply.text().await.unwrap() }
    }

    /// Fills in the last form of a page and sends it. A name given several times is ticked several times.
    pub async fn send(&self, page: &Page, changes: &[(&str, &str)]) -> Page {
        let mut fields = page.fields();
        fields.retain(|(name, _)| !changes.iter().any(|(changed, _)| changed == name));
        fields.extend(changes.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())));
        self.post(&page.action(), &fields, &[("sec-fetch-site", "same-origin")]).await
    }

    /// Fills in the last form of a page and sends it with a file, as RFC 7578 says; without one, as a browser does when none
    /// was chosen.
    pub async fn send_file(&self, page: &Page, changes: &[(&str, &str)], file: (&str, &[u8])) -> Page {
        const BOUNDARY: &str = "----a-boundary-that-stands-in-no-file";
        let mut fields = page.fields();
        fields.retain(|(name, _)| name != "file" && !changes.iter().any(|(changed, _)| changed == name));
        fields.extend(changes.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())));
        let mut body = Vec::new();
        for (name, text) in &fields {
            let head = format!("--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n");
            body.extend(head.as_bytes());
        }
        let head = format!(
            "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{}\"\r\nContent-Type: application/octet-stream\r\n\r\n",
            file.0
        );
        body.extend(head.as_bytes());
        body.extend(file.1);
        body.extend(format!("\r\n--{BOUNDARY}--\r\n").as_bytes());
        assert!(page.form().contains("enctype=\"multipart/form-data\""), "{}", page.html);
        let request = client()
            .post(self.company.app.url(&page.action()))
            .header("cookie", &self.cookie)
            .header("sec-fetch-site", "same-origin")
            .header("content-type", format!("multipart/form-data; boundary={BOUNDARY}"))
            .body(body);
        Self::shown(request).await
    }

    async fn shown(request: reqwest::RequestBuilder) -> Page {
        let reply = request.send().await.unwrap();
        let header = |name: &str| reply.headers().get(name).map(|value| value.to_str().unwrap().to_owned());
        let (to, cookie) = (header("location"), header("set-cookie"));
        let status = reply.status().as_u16();
        Page { status, to, cookie, html: reply.text().await.unwrap() }
    }

    pub async fn post(&self, path: &str, fields: &[(String, String)], headers: &[(&str, &str)]) -> Page {
        let body: Vec<String> =
            fields.iter().map(|(name, text)| format!("{}={}", encoded(name), encoded(text))).collect();
        let mut request = client()
            .post(self.company.app.url(path))
            .header("cookie", &self.cookie)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(body.join("&"));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        Self::shown(request).await
    }
}

pub fn encoded(text: &str) -> String {
    let byte = |byte: u8| match byte {
        b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' => char::from(byte).to_string(),
        other => format!("%{other:02X}"),
    };
    text.bytes().map(byte).collect()
}

fn plain(text: &str) -> String {
    text.replace("&#60;", "<").replace("&#62;", ">").replace("&#34;", "\"").replace("&#39;", "'").replace("&#38;", "&")
}

/// The value of an attribute in a tag.
fn attribute(tag: &str, name: &str) -> Option<String> {
    let (_, rest) = tag.split_once(&format!(" {name}=\""))?;
    rest.split_once('"').map(|(value, _)| plain(value))
}

impl Page {
    fn form(&self) -> &str {
        let (_, form) =
            self.html.rsplit_once("<form class=\"entry\"").unwrap_or_else(|| panic!("no form: {}", self.html));
        form.split_once("</form>").unwrap().0
    }

    pub fn action(&self) -> String {
        attribute(self.form(), "action").unwrap()
    }

    /// What a browser would send of the form as it stands.
    pub fn fields(&self) -> Vec<(String, String)> {
        let mut fields = Vec::new();
        for part in self.form().split('<').skip(1) {
            let (tag, text) = part.split_once('>').unwrap();
            let Some(name) = attribute(tag, "name") else {
                if tag.starts_with("option") && tag.ends_with(" selected") {
                    let value = attribute(tag, "value").unwrap();
                    let last: &mut (String, String) = fields.last_mut().unwrap();
                    last.1 = value;
                }
                continue;
            };
            let box_of = tag.contains("type=\"checkbox\"");
            if tag.contains("type=\"file\"") {
                continue;
            }
            if tag.starts_with("input") && (!box_of || tag.ends_with(" checked") || tag.contains(" checked ")) {
                fields.push((name, attribute(tag, "value").unwrap()));
            } else if tag.starts_with("textarea") {
                fields.push((name, plain(text)));
            } else if tag.starts_with("select") {
                fields.push((name, String::new()));
            }
        }
        fields
    }

    pub fn value(&self, name: &str) -> String {
        self.fields().into_iter().find(|(known, _)| known == name).map(|(_, text)| text).unwrap_or_default()
    }

    /// What stands beside a field: its `fault`, or the `other` version.
    pub fn beside(&self, name: &str, what: &str) -> String {
        let id = format!("id=\"f{}-{what}\">", name.replace(['/', ' '], "-"));
        let found = self.html.split_once(&id).and_then(|(_, rest)| rest.split_once('<'));
        found.map(|(text, _)| plain(text)).unwrap_or_default()
    }
}

/// How many things were written. What a change does to a limit is told beside the change, and is no thing of its own.
pub async fn written(company: &Company) -> usize {
    let mut count = 0;
    let mut path = "/api/v1/journal?limit=200".to_owned();
    loop {
        let page = company.owner.get(&path).await.expect(200).body;
        count += page["items"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|entry| !["doubt.noted", "limit.moved"].contains(&entry["act"].as_str().unwrap()))
            .count();
        let Value::String(cursor) = &page["next_cursor"] else { return count };
        path = format!("/api/v1/journal?limit=200&cursor={cursor}");
    }
}

type Fields<'f> = &'f [(&'f str, &'f str)];

/// Tries a form that makes something: with faults, which stand all beside their fields with what was typed; mended; twice;
/// and as somebody who may not. Answers where the browser was sent.
pub async fn made(visitor: &Visitor<'_>, path: &str, wrong: Fields<'_>, faults: &[&str], good: Fields<'_>) -> String {
    let before = written(visitor.company).await;
    let form = visitor.open(path).await;
    assert_eq!(form.status, 200, "{}", form.html);
    let refused = visitor.send(&form, wrong).await;
    assert_eq!(refused.status, 422, "{}", refused.html);
    for name in faults {
        assert!(refused.beside(name, "fault").starts_with('■'), "{path}: no fault beside {name}: {}", refused.html);
    }
    let typed: Vec<(String, String)> = wrong
        .iter()
        .map(|(name, text)| ((*name).to_owned(), (*text).to_owned()))
        .filter(|(_, text)| !text.is_empty())
        .collect();
    for pair in &typed {
        assert!(refused.fields().contains(pair), "{path}: {pair:?} was not kept: {:?}", refused.fields());
    }
    assert_eq!(written(visitor.company).await, before, "{path}: a wrong form wrote something");
    let done = visitor.send(&refused, good).await;
    assert_eq!(done.status, 303, "{path}: {}", done.html);
    let after = written(visitor.company).await;
    assert_eq!(after, before + 1, "{path}");
    let twice = visitor.send(&refused, good).await;
    assert_eq!((twice.status, &twice.to), (303, &done.to), "{path}: {}", twice.html);
    assert_eq!(written(visitor.company).await, after, "{path}: sent twice, it was entered twice");
    refused_to_others(visitor, path, &form).await;
    done.to.unwrap()
}

/// Tries a form that changes something, opened by two people: the second is told kindly, and may store on top.
pub async fn changed(visitor: &Visitor<'_>, path: &str, name: &str, theirs: &str, mine: &str) {
    let (first, second) = (visitor.open(path).await, visitor.open(path).await);
    let done = visitor.send(&first, &[(name, theirs)]).await;
    assert_eq!(done.status, 303, "{path}: {}", done.html);
    let after = written(visitor.company).await;
    let twice = visitor.send(&first, &[(name, theirs)]).await;
    assert_eq!((twice.status, written(visitor.company).await), (303, after), "{path}: {}", twice.html);
    let told = visitor.send(&second, &[(name, mine)]).await;
    assert_eq!(told.status, 412, "{path}: {}", told.html);
    assert!(told.html.contains("Somebody changed this"), "{}", told.html);
    assert_eq!(told.value(name), mine, "what was typed stays");
    assert!(told.beside(name, "other").contains("Saved now: "), "{path}: {}", told.html);
    assert_eq!(written(visitor.company).await, after, "nothing is overwritten unseen");
    let done = visitor.send(&told, &[]).await;
    assert_eq!(done.status, 303, "{path}: {}", done.html);
    assert_eq!(visitor.open(path).await.value(name), mine);
    refused_to_others(visitor, path, &second).await;
}

/// A technician, nobody, and another site's page.
async fn refused_to_others(visitor: &Visitor<'_>, path: &str, form: &Page) {
    let before = written(visitor.company).await;
    let technician = Visitor::technician(visitor.company).await;
    let enrolled = written(visitor.company).await - before;
    assert_eq!(technician.open(path).await.status, 403, "{path}");
    assert_eq!(technician.send(form, &[]).await.status, 403, "{path}");
    let elsewhere = visitor.post(&form.action(), &form.fields(), &[("sec-fetch-site", "cross-site")]).await;
    assert_eq!(elsewhere.status, 403, "{path}");
    let nobody = Visitor { company: visitor.company, cookie: String::new() };
    let away = nobody.send(form, &[]).await;
    assert_eq!(away.status, 303, "{path}");
    assert!(away.to.unwrap().starts_with("/sign-in?to="), "{path}");
    assert_eq!(written(visitor.company).await, before + enrolled, "{path}");
}
