//! Who may ask: only this machine's browser on this run's own page.

use axum::http::{HeaderMap, StatusCode, header};
use overwinter_documents::DocumentKind;

/// A refusal with its status and a sentence.
pub(crate) type Refusal = (StatusCode, String);

/// Names under which this server may be addressed: a foreign name that resolves to loopback is refused (DNS rebinding).
pub(crate) fn hosts(port: u16) -> [String; 3] {
    [format!("127.0.0.1:{port}"), format!("localhost:{port}"), format!("[::1]:{port}")]
}

/// Checks `Host` and, where a browser sends one, `Origin`.
pub(crate) fn addressed(headers: &HeaderMap, port: u16) -> Result<(), Refusal> {
    let hosts = hosts(port);
    let text =
        |name| headers.get(name).map(|v: &axum::http::HeaderValue| v.to_str().unwrap_or("?"));
    if !text(header::HOST).is_some_and(|host| hosts.iter().any(|h| h == host)) {
        return Err((
            StatusCode::MISDIRECTED_REQUEST,
            "this server answers on 127.0.0.1 only".into(),
        ));
    }
    let foreign = text(header::ORIGIN)
        .is_some_and(|origin| !hosts.iter().any(|h| origin.strip_prefix("http://") == Some(h)));
    if foreign {
        return Err((StatusCode::FORBIDDEN, "another page's script may not ask here".into()));
    }
    Ok(())
}

/// The name of the header with the token.
pub(crate) const TOKEN: &str = "x-overwinter-token";

/// Checks this run's token; compared without stopping at the first difference.
pub(crate) fn entitled(headers: &HeaderMap, token: &str) -> Result<(), Refusal> {
    let given = headers.get(TOKEN).map_or(&b""[..], |v| v.as_bytes());
    let differs = given
        .iter()
        .zip(token.as_bytes())
        .fold(given.len() ^ token.len(), |all, (a, b)| all | usize::from(a ^ b));
    if differs == 0 {
        return Ok(());
    }
    Err((
        StatusCode::FORBIDDEN,
        "this page belongs to an earlier run of the tool: reload it".into(),
    ))
}

/// Longest name of a document's file.
const LONGEST_PATH: usize = 200;

/// Checks that a path names a document: a known folder, one file in it, nothing that leads elsewhere.
pub(crate) fn document_path(path: &str) -> Result<(), Refusal> {
    let refuse =
        |why: &str| Err((StatusCode::BAD_REQUEST, format!("no document can lie there: {why}")));
    let Some((folder, file)) = path.split_once('/') else {
        return refuse("a document lies in a folder of its kind");
    };
    if DocumentKind::of_folder(folder).is_none() {
        return refuse("the folder is none of the kinds of document");
    }
    let Some(stem) = file.strip_suffix(".toml") else {
        return refuse("a document's file ends in .toml");
    };
    let plain = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | ' ' | '+');
    if path.len() > LONGEST_PATH
        || stem.is_empty()
        || stem.starts_with('.')
        || !stem.chars().all(plain)
    {
        return refuse("use letters, digits, spaces, - and _");
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        pairs.iter().map(|(k, v)| (k.parse().unwrap(), v.parse().unwrap())).collect()
    }

    #[test]
    fn only_loopback_names_and_own_origin() {
        let status = |pairs: &[(&'static str, &str)]| {
            addressed(&headers(pairs), 7000).map_err(|(status, _)| status.as_u16())
        };
        assert_eq!(status(&[("host", "127.0.0.1:7000")]), Ok(()));
        assert_eq!(
            status(&[("host", "localhost:7000"), ("origin", "http://localhost:7000")]),
            Ok(())
        );
        assert_eq!(status(&[("host", "bench.example:7000")]), Err(421));
        assert_eq!(status(&[("host", "127.0.0.1:7001")]), Err(421));
        assert_eq!(status(&[]), Err(421));
        for origin in [
            "null",
            "https://127.0.0.1:7000",
            "http://example.org",
            "http://127.0.0.1:7000.example.org",
        ] {
            assert_eq!(
                status(&[("host", "127.0.0.1:7000"), ("origin", origin)]),
                Err(403),
                "{origin}"
            );
        }
    }

    #[test]
    fn the_token_must_be_whole() {
        let status = |given: &str| {
            entitled(&headers(&[(TOKEN, given)]), "secret").map_err(|(s, _)| s.as_u16())
        };
        assert_eq!(status("secret"), Ok(()));
        for wrong in ["", "secre", "secrets", "Secret"] {
            assert_eq!(status(wrong), Err(403), "{wrong}");
        }
        assert!(entitled(&HeaderMap::new(), "secret").is_err());
    }

    #[test]
    fn no_path_leads_out() {
        assert_eq!(document_path("projects/my node 2.toml"), Ok(()));
        for wrong in [
            "projects/../boards/a.toml",
            "../projects/a.toml",
            "/projects/a.toml",
            "projects//a.toml",
            "projects/.toml",
            "projects/..toml",
            "projects/.hidden.toml",
            "projects\\a.toml",
            "projects/a\\b.toml",
            "projects/a.txt",
            "projects/a.toml/b.toml",
            "secrets/a.toml",
            "a.toml",
            "projects/a\0.toml",
            "projects/C:a.toml",
            "",
        ] {
            assert!(document_path(wrong).is_err(), "{wrong:?}");
        }
        assert!(document_path(&format!("projects/{}.toml", "a".repeat(300))).is_err());
    }
}
