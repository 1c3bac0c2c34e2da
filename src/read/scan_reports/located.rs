//! JSON with the line of every value, so that a bad code can be named by its place.
//!
//! The text was already found to be well-formed by `serde_json`; this walk only keeps where things
//! stand. Objects keep the order of their keys and both of two equal ones.

/// The deepest nesting that is followed; a scan report needs five.
const DEEPEST: usize = 64;

/// A JSON value.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Json {
    Null,
    Flag(bool),
    Number(f64),
    Text(String),
    List(Vec<Located>),
    Object(Vec<(String, Located)>),
}

/// A value and the line it begins on.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Located {
    pub(super) line: u64,
    pub(super) value: Json,
}

impl Located {
    /// What kind of value it is, for messages.
    pub(super) fn kind(&self) -> &'static str {
        match self.value {
            Json::Null => "null",
            Json::Flag(_) => "true or false",
            Json::Number(_) => "a number",
            Json::Text(_) => "a text",
            Json::List(_) => "a list",
            Json::Object(_) => "an object",
        }
    }
}

/// Walks well-formed JSON that begins on `line`.
pub(super) fn locate(text: &str, line: u64) -> Result<Located, String> {
    let mut walk = Walk { bytes: text.as_bytes(), at: 0, line };
    walk.value(0)
}

struct Walk<'t> {
    bytes: &'t [u8],
    at: usize,
    line: u64,
}

impl Walk<'_> {
    fn value(&mut self, depth: usize) -> Result<Located, String> {
        if depth > DEEPEST {
            return Err(format!("nested more than {DEEPEST} deep, a scan report needs five"));
        }
        self.blanks();
        let line = self.line;
        let value = match self.peek() {
            Some(b'{') => self.object(depth)?,
            Some(b'[') => self.list(depth)?,
            Some(b'"') => Json::Text(self.text()?),
            _ => self.word()?,
        };
        Ok(Located { line, value })
    }

    fn object(&mut self, depth: usize) -> Result<Json, String> {
        let mut members = Vec::new();
        self.at += 1;
        loop {
            self.blanks();
            match self.peek() {
                Some(b'"') => {
                    let key = self.text()?;
                    self.blanks();
                    self.at += 1; // the colon
                    members.push((key, self.value(depth + 1)?));
                }
                Some(b',') => self.at += 1,
                Some(b'}') => {
                    self.at += 1;
                    return Ok(Json::Object(members));
                }
                _ => return Err("object ends early".to_owned()),
            }
        }
    }

    fn list(&mut self, depth: usize) -> Result<Json, String> {
        let mut items = Vec::new();
        self.at += 1;
        loop {
            self.blanks();
            match self.peek() {
                Some(b',') => self.at += 1,
                Some(b']') => {
                    self.at += 1;
                    return Ok(Json::List(items));
                }
                Some(_) => items.push(self.value(depth + 1)?),
                None => return Err("list ends early".to_owned()),
            }
        }
    }

    fn text(&mut self) -> Result<String, String> {
        let start = self.at;
        self.at += 1;
        while let Some(byte) = self.peek() {
            self.at += 1;
            match byte {
                b'\\' => self.at += 1,
                b'"' => {
                    let slice = self.bytes.get(start..self.at).unwrap_or_default();
                    return serde_json::from_slice(slice).map_err(|e| format!("bad text: {e}"));
                }
                _ => {}
            }
        }
        Err("text ends early".to_owned())
    }

    fn word(&mut self) -> Result<Json, String> {
        let start = self.at;
        while self.peek().is_some_and(|b| !b.is_ascii_whitespace() && !b",]}[{\":".contains(&b)) {
            self.at += 1;
        }
        match std::str::from_utf8(&self.bytes[start..self.at]).unwrap_or("") {
            "null" => Ok(Json::Null),
            "true" => Ok(Json::Flag(true)),
            "false" => Ok(Json::Flag(false)),
            digits => digits
                .parse()
                .map(Json::Number)
                .map_err(|_| format!("`{digits}` is not a JSON value")),
        }
    }

    fn blanks(&mut self) {
        while let Some(byte) = self.peek().filter(u8::is_ascii_whitespace) {
            self.line += u64::from(byte == b'\n');
            self.at += 1;
        }
    }

    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }
}
