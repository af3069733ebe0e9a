//! The built front end and the marks in it.

/// The front end with its marks; empty where it was not built.
const TEMPLATE: &str = include_str!(concat!(env!("OUT_DIR"), "/template.html"));
/// The engine: WebAssembly, packed, base64; empty where it was not built.
pub(crate) const ENGINE: &str = include_str!(concat!(env!("OUT_DIR"), "/engine.b64"));

/// The front end was not there when the tool was built.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "this tool was built without the page: run `cargo xtask app` in the repository (needs Node 20 and the \
     WebAssembly target), then build the tool again"
)]
pub struct NotBuilt;

/// Whether this library carries the front end.
pub fn is_built() -> bool {
    !TEMPLATE.is_empty() && !ENGINE.is_empty()
}

/// What goes where the marks stand.
pub(crate) struct Filling<'a> {
    pub(crate) policy: &'a str,
    pub(crate) title: &'a str,
    pub(crate) summary: &'a str,
    pub(crate) facts: &'a serde_json::Value,
    pub(crate) bench: &'a str,
    pub(crate) engine: &'a str,
}

/// Fills the template. Title, facts and policy are escaped here; the summary is HTML already.
pub(crate) fn fill(filling: &Filling<'_>) -> Result<String, NotBuilt> {
    if !is_built() {
        return Err(NotBuilt);
    }
    let policy = format!(
        r#"<meta http-equiv="Content-Security-Policy" content="{}">"#,
        escape(filling.policy)
    );
    let title = escape(filling.title);
    let facts = script_json(filling.facts);
    let marks = [
        ("<!--policy-->", policy.as_str()),
        ("<!--title-->", title.as_str()),
        ("<!--summary-->", filling.summary),
        ("/*facts*/", facts.as_str()),
        ("/*bench*/", filling.bench),
        ("/*engine*/", filling.engine),
    ];
    let mut page =
        String::with_capacity(TEMPLATE.len() + filling.bench.len() + filling.engine.len() + 4096);
    let mut rest = TEMPLATE;
    // The marks stand in this order; what was filled in is never searched again, so it cannot smuggle a mark in.
    for (mark, text) in marks {
        let (before, after) = rest.split_once(mark).ok_or(NotBuilt)?;
        page.push_str(before);
        page.push_str(text);
        rest = after;
    }
    page.push_str(rest);
    Ok(page)
}

/// Text for HTML, in and out of attributes.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // A text cannot turn the direction of what follows it.
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {}
            c => out.push(c),
        }
    }
    out
}

/// JSON for a script element: no `<`, so no end tag and no comment can begin in it.
pub(crate) fn script_json(value: &serde_json::Value) -> String {
    value.to_string().replace('<', "\\u003c")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_text_is_inert() {
        let nasty = "</script><script>alert(1)</script>\u{202e}\"'&";
        assert_eq!(
            escape(nasty),
            "&lt;/script&gt;&lt;script&gt;alert(1)&lt;/script&gt;&quot;&#39;&amp;"
        );
        let json = script_json(&serde_json::json!({ "title": nasty }));
        assert!(!json.contains('<'));
        let back: serde_json::Value = serde_json::from_str(&json).unwrap();
        assert_eq!(back["title"], nasty);
    }
}
