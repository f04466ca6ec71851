//! Whom to tell of sealed records.

use std::path::PathBuf;

use super::table::{Faults, Table};

/// Another system of the site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Webhook {
    /// Name or address of the machine.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// What is asked for there, with its `/`.
    pub path: String,
    /// File of the secret.
    pub secret: PathBuf,
}

/// Reads `[webhook]`; nobody is told where it is left out.
pub(super) fn read(root: &Table<'_>, faults: &mut Faults<'_>) -> Option<Webhook> {
    let table = root.table(faults, "webhook")?;
    table.only(faults, &["url", "secret_file"]);
    let text = table.need(faults, "url");
    let secret = PathBuf::from(table.need(faults, "secret_file"));
    let parts = parts(text);
    if parts.is_none() && table.has("url") {
        let say = "must be an address such as \"http://10.0.0.5:8080/tapline\"; what goes beyond \
                   the site's own net goes through a proxy with TLS";
        faults.note(table.place("url"), "webhook.url", say);
    }
    let (host, port, path) = parts?;
    Some(Webhook { host, port, path, secret })
}

fn parts(url: &str) -> Option<(String, u16, String)> {
    let rest = url.strip_prefix("http://")?;
    let (place, path) = rest.split_once('/').unwrap_or((rest, ""));
    let (host, port) = match place.strip_prefix('[') {
        Some(rest) => {
            let (host, port) = rest.split_once(']')?;
            (host, port.strip_prefix(':'))
        }
        None => match place.rsplit_once(':') {
            Some((host, port)) => (host, Some(port)),
            None => (place, None),
        },
    };
    let odd = |c: char| c.is_whitespace() || c.is_control() || matches!(c, '@' | '?' | '#');
    let port = port.map_or(Some(80), |port| port.parse().ok())?;
    let fits = !host.is_empty() && !host.contains(odd) && path.is_ascii() && !path.contains(' ');
    fits.then(|| (host.to_owned(), port, format!("/{path}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_has_machine_port_and_path() {
        let found = |url| parts(url).map(|(host, port, path)| format!("{host} {port} {path}"));
        assert_eq!(found("http://10.0.0.5:8080/a/b"), Some("10.0.0.5 8080 /a/b".into()));
        assert_eq!(found("http://[::1]:8080"), Some("::1 8080 /".into()));
        assert_eq!(found("http://integration.clinic"), Some("integration.clinic 80 /".into()));
        for bad in ["https://x/", "ftp://x", "http://", "http://a@b/", "http://x:99999/", "x"] {
            assert_eq!(found(bad), None, "{bad}");
        }
    }
}
