//! `--on`: where logs are read elsewhere. The program itself can only say how to get the part that does it.

use std::fmt;
use std::str::FromStr;
use std::time::Duration;

use super::flags;
use crate::pipeline::Engine;

/// The address of a scheduler.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    /// A host name, an IPv4 address, or an IPv6 address in brackets.
    pub host: String,
    /// A port, never 0.
    pub port: u16,
}

/// On what terms logs are sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Terms {
    /// How long a job of logs may take before it is cancelled.
    pub deadline: Duration,
    /// How often it is sent before the run gives up.
    pub attempts: u32,
    /// How many jobs are under way at once.
    pub jobs: u32,
}

/// Makes engines.
pub trait Connect {
    /// An engine behind an address.
    ///
    /// # Errors
    /// In words, when there is none.
    fn connect(&self, address: &Address, terms: Terms) -> Result<Box<dyn Engine>, String>;
}

impl FromStr for Address {
    type Err = String;

    fn from_str(text: &str) -> Result<Address, String> {
        let wrong = |what: &str| format!("{what}; expected df://HOST:PORT");
        let rest =
            text.strip_prefix("df://").ok_or_else(|| wrong("it does not begin with df://"))?;
        let (host, port) = rest.rsplit_once(':').ok_or_else(|| wrong("it has no port"))?;
        let port: u16 = port.parse().map_err(|_| wrong("the port is not a number up to 65535"))?;
        if port == 0 {
            return Err(wrong("port 0 is no port"));
        }
        Address::new(host, port).ok_or_else(|| wrong("the host is no name and no address"))
    }
}

impl Address {
    /// An address with a host that is a host and nothing else.
    #[must_use]
    pub fn new(host: &str, port: u16) -> Option<Address> {
        let six = host.strip_prefix('[').and_then(|h| h.strip_suffix(']'));
        let sound = match six {
            Some(six) => six.parse::<std::net::Ipv6Addr>().is_ok(),
            None => is_host_name(host),
        };
        sound.then(|| Address { host: host.to_owned(), port })
    }
}

/// Labels of letters, digits and hyphens (RFC 1123, section 2.1); IPv4 addresses are of that form too.
fn is_host_name(host: &str) -> bool {
    let label = |label: &str| {
        (1..=63).contains(&label.len())
            && label.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-')
            && !label.starts_with('-')
            && !label.ends_with('-')
    };
    host.len() <= 253 && host.split('.').all(label)
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "df://{}:{}", self.host, self.port)
    }
}

/// The engine that was asked for, when one was.
pub(super) fn engine(
    asked: &flags::Run,
    engines: Option<&dyn Connect>,
) -> Result<Option<Box<dyn Engine>>, String> {
    let Some(address) = &asked.on else { return Ok(None) };
    let engines = engines.ok_or_else(|| {
        "this program reads logs on this machine only; for --on build the distributed part:\n  \
         cargo build --release --locked --manifest-path src/distributed/Cargo.toml\n\
         and run `buswitness-cluster` with the same words"
            .to_owned()
    })?;
    let deadline = Duration::from_secs(asked.deadline);
    let terms = Terms { deadline, attempts: asked.attempts, jobs: asked.jobs };
    engines.connect(address, terms).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_addresses_are_addresses() {
        for good in ["df://127.0.0.1:50050", "df://scheduler-1.depot.example:1", "df://[::1]:65535"]
        {
            let address: Address = good.parse().expect(good);
            assert_eq!(address.to_string(), good);
        }
        for (bad, why) in [
            ("http://a:1", "begin with df://"),
            ("df://a", "no port"),
            ("df://a:0", "port 0"),
            ("df://a:65536", "not a number"),
            ("df://:1", "no name"),
            ("df://a b:1", "no name"),
            ("df://user@a:1", "no name"),
            ("df://a/b:1", "no name"),
            ("df://-a:1", "no name"),
            ("df://[::g]:1", "no name"),
        ] {
            let error = bad.parse::<Address>().expect_err(bad);
            assert!(error.contains(why), "{bad}: {error}");
        }
    }
}
