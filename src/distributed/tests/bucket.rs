//! A bucket on loopback with what of the S3 protocol a listing and ranged gets need: signed requests, pages of a
//! list, entity tags and their precondition. It notes who asked for what.

use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex, MutexGuard};

/// Names in a page of a list: so few that every test turns pages.
const PAGE: usize = 3;

/// What becomes of an object behind the back of whoever has listed it.
#[derive(Debug, Clone)]
pub(crate) enum Then {
    Gone,
    Changed(Vec<u8>),
}

#[derive(Debug, Default)]
struct Inside {
    objects: BTreeMap<String, Vec<u8>>,
    /// What becomes of an object when it was asked for once.
    then: BTreeMap<String, Then>,
    /// Who has asked for what, without the bucket: `KEY list` or `KEY get NAME`.
    asked: Vec<String>,
}

/// The bucket `logs`, open to two keys.
pub(crate) struct Bucket {
    port: u16,
    inside: Arc<Mutex<Inside>>,
}

impl Bucket {
    pub(crate) fn new() -> Bucket {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let inside = Arc::new(Mutex::new(Inside::default()));
        let shared = Arc::clone(&inside);
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let shared = Arc::clone(&shared);
                std::thread::spawn(move || serve(&stream, &shared));
            }
        });
        Bucket { port, inside }
    }

    fn inside(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().expect("a bucket")
    }

    pub(crate) fn put(&self, name: &str, bytes: Vec<u8>) {
        self.inside().objects.insert(name.to_owned(), bytes);
    }

    pub(crate) fn get(&self, name: &str) -> Vec<u8> {
        self.inside().objects[name].clone()
    }

    pub(crate) fn after_the_first_look(&self, name: &str, then: Then) {
        self.inside().then.insert(name.to_owned(), then);
    }

    /// What was asked for since it was last asked here.
    pub(crate) fn asked(&self) -> Vec<String> {
        std::mem::take(&mut self.inside().asked)
    }

    /// The environment of a process that has this key; `client` and `executor` are let in.
    pub(crate) fn environment(&self, key: &str) -> Vec<(String, String)> {
        let endpoint = format!("http://127.0.0.1:{}", self.port);
        let all = [
            ("AWS_ENDPOINT", endpoint.as_str()),
            ("AWS_ALLOW_HTTP", "true"),
            ("AWS_REGION", "here"),
            ("AWS_ACCESS_KEY_ID", key),
            ("AWS_SECRET_ACCESS_KEY", "secret"),
        ];
        all.map(|(name, value)| (name.to_owned(), value.to_owned())).to_vec()
    }
}

/// Answers the requests of one connection.
fn serve(stream: &TcpStream, inside: &Mutex<Inside>) {
    let mut lines = BufReader::new(stream).lines().map_while(Result::ok);
    while let Some(request) = lines.next() {
        let headers: BTreeMap<String, String> = lines
            .by_ref()
            .take_while(|line| !line.is_empty())
            .filter_map(|line| {
                let (name, value) = line.split_once(':')?;
                Some((name.to_lowercase(), value.trim().to_owned()))
            })
            .collect();
        let (status, more, body) =
            answer(&request, &headers, &mut inside.lock().expect("a bucket"));
        let length = body.len();
        let head = format!("HTTP/1.1 {status}\r\nContent-Length: {length}\r\n{more}\r\n");
        let mut to = stream;
        if to.write_all(&[head.as_bytes(), &body].concat()).is_err() {
            return;
        }
    }
}

type Answer = (&'static str, String, Vec<u8>);

fn answer(request: &str, headers: &BTreeMap<String, String>, inside: &mut Inside) -> Answer {
    let empty = |status| (status, String::new(), Vec::new());
    let target = request.strip_prefix("GET /logs").and_then(|rest| rest.split_once(' '));
    let Some((target, _)) = target else { return empty("400 Bad Request") };
    let signed = headers.get("authorization").map(String::as_str).unwrap_or_default();
    let key = signed.strip_prefix("AWS4-HMAC-SHA256 Credential=").and_then(|s| s.split('/').next());
    let Some(key @ ("client" | "executor")) = key else { return empty("403 Forbidden") };
    let (path, query) = target.split_once('?').unwrap_or((target, ""));
    let name = plain(path.trim_start_matches('/'));
    if name.is_empty() {
        inside.asked.push(format!("{key} list"));
        return list(query, inside);
    }
    inside.asked.push(format!("{key} get {name}"));
    let Some(bytes) = inside.objects.get(&name).cloned() else { return empty("404 Not Found") };
    match inside.then.remove(&name) {
        Some(Then::Gone) => drop(inside.objects.remove(&name)),
        Some(Then::Changed(bytes)) => drop(inside.objects.insert(name, bytes)),
        None => {}
    }
    let tag = tag(&bytes);
    if headers.get("if-match").is_some_and(|wanted| *wanted != tag) {
        return empty("412 Precondition Failed");
    }
    let range = headers.get("range").and_then(|range| {
        let (from, to) = range.strip_prefix("bytes=")?.split_once('-')?;
        let to = to.parse::<usize>().ok()?.min(bytes.len() - 1);
        Some(from.parse::<usize>().ok()?..to + 1)
    });
    let Some(range) = range else { return empty("400 Bad Request") };
    let about = format!(
        "ETag: {tag}\r\nLast-Modified: Mon, 05 Jan 2026 06:00:00 GMT\r\n\
         Content-Range: bytes {}-{}/{}\r\n",
        range.start,
        range.end - 1,
        bytes.len()
    );
    ("206 Partial Content", about, bytes[range].to_vec())
}

/// A page of the names that begin as asked.
fn list(query: &str, inside: &Inside) -> Answer {
    let of = |wanted: &str| {
        let mut pairs = query.split('&').filter_map(|pair| pair.split_once('='));
        pairs.find(|(name, _)| *name == wanted).map(|(_, value)| plain(value))
    };
    let (prefix, after) = (of("prefix").unwrap_or_default(), of("continuation-token"));
    let rest = |name: &str| name.starts_with(&prefix) && after.as_deref().is_none_or(|a| name > a);
    let mut names = inside.objects.iter().filter(|(name, _)| rest(name)).peekable();
    let (mut body, mut last) = (String::new(), String::new());
    for (name, bytes) in names.by_ref().take(PAGE) {
        body += &format!(
            "<Contents><Key>{name}</Key><LastModified>2026-01-05T06:00:00.000Z</LastModified>\
             <ETag>{}</ETag><Size>{}</Size></Contents>",
            tag(bytes).replace('"', "&quot;"),
            bytes.len()
        );
        last.clone_from(name);
    }
    if names.peek().is_some() {
        body += &format!("<NextContinuationToken>{last}</NextContinuationToken>");
    }
    let body = format!("<?xml version=\"1.0\"?><ListBucketResult>{body}</ListBucketResult>");
    ("200 OK", "Content-Type: application/xml\r\n".to_owned(), body.into_bytes())
}

fn tag(bytes: &[u8]) -> String {
    let mut hasher = DefaultHasher::new();
    bytes.hash(&mut hasher);
    format!("\"{:016x}\"", hasher.finish())
}

/// A text without its `%XX`.
fn plain(text: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = text.bytes();
    while let Some(byte) = rest.next() {
        let code: Vec<u8> = if byte == b'%' { rest.by_ref().take(2).collect() } else { Vec::new() };
        let code = String::from_utf8(code).expect("two digits");
        bytes.push(u8::from_str_radix(&code, 16).unwrap_or(byte));
    }
    String::from_utf8(bytes).expect("UTF-8")
}
