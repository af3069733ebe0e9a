//! JSON Schemas of the documents, generated from the types.

use crate::document::DocumentKind;

/// The line on top of a file that names its schema, for a file one folder below the root of a bench folder.
pub fn schema_line(kind: DocumentKind) -> String {
    format!("#:schema ../schemas/{}.schema.json", kind.table())
}

/// Every schema: file name and text, ending with a line feed.
pub fn schemas() -> Vec<(String, String)> {
    let text = |kind: DocumentKind| {
        let mut schema = kind.schema();
        schema.insert("title".to_owned(), format!("overwinter {}", kind.table()).into());
        let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
        text.push('\n');
        text
    };
    DocumentKind::ALL
        .iter()
        .map(|&kind| (format!("{}.schema.json", kind.table()), text(kind)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_schema_a_kind_and_strict() {
        let schemas = schemas();
        assert_eq!(schemas.len(), DocumentKind::ALL.len());
        for (name, text) in schemas {
            let schema: serde_json::Value = serde_json::from_str(&text).unwrap();
            assert_eq!(schema["additionalProperties"], false, "{name}: unknown keys are refused");
            let table = name.strip_suffix(".schema.json").unwrap();
            assert_eq!(schema["required"][0], table, "{name}");
            assert!(schema["$defs"].is_object(), "{name}");
        }
    }
}
