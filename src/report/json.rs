//! The report as JSON: the machine-readable format, version 1 (`docs/report.schema.json`).

use super::Renderer;
use super::escape::is_unsafe;
use super::model::Report;
use serde::Serialize;
use serde_json::ser::{CompactFormatter, Formatter, Serializer};
use std::io::{self, BufWriter, Write};

/// Writes the model as it is, indented by two spaces, with a line end at the end.
#[derive(Debug, Clone, Copy, Default)]
pub struct Json;

impl Renderer for Json {
    fn render(&self, report: &Report, out: &mut dyn Write) -> io::Result<()> {
        write(report, out)
    }
}

/// Writes any value as JSON in the same way.
///
/// # Errors
/// When the output refuses it.
pub fn write(value: &impl Serialize, out: &mut dyn Write) -> io::Result<()> {
    // JSON is written in pieces of a few bytes: they are put together before they reach an output of unknown kind.
    let mut out = BufWriter::with_capacity(PIECES, out);
    let mut serializer = Serializer::with_formatter(&mut out, Harmless(Indented::default()));
    value.serialize(&mut serializer)?;
    writeln!(out)?;
    out.flush()
}

/// Bytes that are put together before they are handed on.
const PIECES: usize = 32 << 10;

/// Writes the model in one line: one document a line for many recordings.
#[derive(Debug, Clone, Copy, Default)]
pub struct JsonLine;

impl Renderer for JsonLine {
    fn render(&self, report: &Report, out: &mut dyn Write) -> io::Result<()> {
        let mut serializer = Serializer::with_formatter(&mut *out, Harmless(CompactFormatter));
        report.serialize(&mut serializer)?;
        writeln!(out)
    }
}

impl JsonLine {
    /// The document of a recording that could not be read: its path and why.
    ///
    /// # Errors
    /// When the output refuses it.
    pub fn unread(path: &str, why: &str, out: &mut dyn Write) -> io::Result<()> {
        let document =
            serde_json::json!({ "format": "leadsman-unread", "version": 1, "path": path, "error": why });
        let mut serializer = Serializer::with_formatter(&mut *out, Harmless(CompactFormatter));
        document.serialize(&mut serializer)?;
        writeln!(out)
    }
}

/// JSON whose strings are harmless on a terminal too: RFC 8259 section 7 obliges to escape only the first 32
/// control characters, and allows it for all others.
struct Harmless<F>(F);

impl<F: Formatter> Formatter for Harmless<F> {
    fn write_string_fragment<W: ?Sized + Write>(&mut self, writer: &mut W, fragment: &str) -> io::Result<()> {
        if fragment.bytes().all(|byte| matches!(byte, b' '..=b'~')) {
            return writer.write_all(fragment.as_bytes());
        }
        let mut units = [0; 2];
        let mut rest = fragment;
        while let Some((at, c)) = rest.char_indices().find(|(_, c)| is_unsafe(*c)) {
            let (before, after) = rest.split_at(at);
            writer.write_all(before.as_bytes())?;
            for unit in c.encode_utf16(&mut units) {
                write!(writer, "\\u{unit:04x}")?;
            }
            rest = after.get(c.len_utf8()..).unwrap_or_default();
        }
        writer.write_all(rest.as_bytes())
    }

    fn begin_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_array(writer)
    }

    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_array(writer)
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_array_value(writer, first)
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_array_value(writer)
    }

    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_object(writer)
    }

    fn end_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_object(writer)
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_object_key(writer, first)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_object_value(writer)
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_object_value(writer)
    }
}

/// JSON indented by two spaces, as serde_json's `PrettyFormatter` writes it; a line's end and its indentation are written
/// at once.
#[derive(Default)]
struct Indented {
    depth: usize,
    /// Whether the innermost list or object has something in it.
    filled: bool,
}

impl Indented {
    fn line<W: ?Sized + Write>(&self, writer: &mut W, first: bool) -> io::Result<()> {
        const LINE: &[u8] = b",\n                                ";
        let from = usize::from(first);
        match LINE.get(from..2 + 2 * self.depth) {
            Some(line) => writer.write_all(line),
            None => {
                writer.write_all(LINE.get(from..2).unwrap_or_default())?;
                (0..self.depth).try_for_each(|_| writer.write_all(b"  "))
            }
        }
    }

    fn open<W: ?Sized + Write>(&mut self, writer: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.depth += 1;
        self.filled = false;
        writer.write_all(bracket)
    }

    fn close<W: ?Sized + Write>(&mut self, writer: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.depth = self.depth.saturating_sub(1);
        if self.filled {
            self.line(writer, true)?;
        }
        writer.write_all(bracket)
    }
}

impl Formatter for Indented {
    fn begin_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.open(writer, b"[")
    }

    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.close(writer, b"]")
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        self.line(writer, first)
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.filled = true;
        Ok(())
    }

    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.open(writer, b"{")
    }

    fn end_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.close(writer, b"}")
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        self.line(writer, first)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        writer.write_all(b": ")
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.filled = true;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;
    use crate::report::model::Number;
    use serde_json::{Value, json};

    const SCHEMA: &str = include_str!("../../docs/report.schema.json");

    fn written(report: &Report) -> String {
        let mut out = Vec::new();
        Json.render(report, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn indentation_is_that_of_serde_json() {
        let deep = (0..40).fold(json!(1), |inner, n| {
            if n % 2 == 0 { json!([inner, []]) } else { json!({ "a": inner, "b": {} }) }
        });
        for value in [deep, json!({}), json!([[], {}, [1, "x", null, {"k": [true]}]])] {
            let mut out = Vec::new();
            write(&value, &mut out).unwrap();
            assert_eq!(String::from_utf8(out).unwrap(), serde_json::to_string_pretty(&value).unwrap() + "\n");
        }
    }

    fn schema() -> Value {
        serde_json::from_str(SCHEMA).unwrap()
    }

    /// The schema that stands behind a `$ref` into `$defs`.
    fn resolve<'a>(root: &'a Value, node: &'a Value) -> &'a Value {
        match node["$ref"].as_str() {
            Some(reference) => root.pointer(reference.trim_start_matches('#')).unwrap(),
            None => node,
        }
    }

    /// Collects `path` for every field that the value has and the schema does not name.
    fn unnamed(root: &Value, node: &Value, value: &Value, path: &str, out: &mut Vec<String>) {
        let node = resolve(root, node);
        match value {
            Value::Object(fields)
                if node["additionalProperties"].is_null() && !node["properties"].is_null() =>
            {
                for (key, inner) in fields {
                    match node["properties"].get(key) {
                        Some(known) => unnamed(root, known, inner, &format!("{path}.{key}"), out),
                        None => out.push(format!("{path}.{key}")),
                    }
                }
            }
            Value::Array(items) => {
                items.iter().for_each(|item| unnamed(root, &node["items"], item, path, out));
            }
            _ => {}
        }
    }

    /// Every field of every object of the schema, as `definition.field`.
    fn named(schema: &Value) -> Vec<String> {
        let defs = schema["$defs"].as_object().unwrap();
        defs.iter()
            .filter_map(|(name, def)| Some((name, def["properties"].as_object()?)))
            .flat_map(|(_, fields)| fields.keys().cloned())
            .collect()
    }

    fn keys(value: &Value, out: &mut std::collections::BTreeSet<String>) {
        match value {
            Value::Object(fields) => fields.iter().for_each(|(key, inner)| {
                out.insert(key.clone());
                keys(inner, out);
            }),
            Value::Array(items) => items.iter().for_each(|item| keys(item, out)),
            _ => {}
        }
    }

    #[test]
    fn keeps_to_its_schema() {
        let schema = schema();
        jsonschema::meta::validate(&schema).unwrap();
        let validator = jsonschema::draft202012::new(&schema).unwrap();
        for report in [fixture::troubled(), fixture::healthy(), fixture::hostile(), fixture::empty()] {
            let value: Value = serde_json::from_str(&written(&report)).unwrap();
            let errors: Vec<String> =
                validator.iter_errors(&value).map(|e| format!("{}: {e}", e.instance_path())).collect();
            assert!(errors.is_empty(), "{errors:#?}");
        }
    }

    #[test]
    fn the_schema_refuses_what_is_wrong() {
        let validator = jsonschema::draft202012::new(&schema()).unwrap();
        let good: Value = serde_json::from_str(&written(&fixture::troubled())).unwrap();
        let wrong = [
            ("/version", json!(2)),
            ("/findings/0/severity", json!("grave")),
            ("/wires/0/kind", json!("wifi")),
            ("/devices/0/name", json!("C0328")),
            ("/recordings/0/first", json!("yesterday")),
            ("/sources/0/count", json!(-1)),
            ("/complaints/0/complaint", json!("no-coffee")),
        ];
        for (pointer, value) in wrong {
            let mut bad = good.clone();
            *bad.pointer_mut(pointer).unwrap() = value;
            assert!(!validator.is_valid(&bad), "{pointer}");
        }
    }

    #[test]
    fn the_schema_names_every_field_and_no_other() {
        let schema = schema();
        let value: Value = serde_json::from_str(&written(&fixture::troubled())).unwrap();
        let mut missing = Vec::new();
        unnamed(&schema, &schema, &value, "report", &mut missing);
        assert!(missing.is_empty(), "the schema lacks {missing:?}");

        let mut written = std::collections::BTreeSet::new();
        keys(&value, &mut written);
        for field in named(&schema) {
            assert!(written.contains(&field), "the schema names {field}, which nothing writes");
        }
    }

    #[test]
    fn what_is_no_number_is_left_out() {
        let mut report = fixture::troubled();
        report.findings[0].numbers.insert("median_difference_deg", Number::Real(f64::NAN));
        report.sources[0].dropout_s = f64::INFINITY;
        let value: Value = serde_json::from_str(&written(&report)).unwrap();
        assert!(value["findings"][0]["numbers"].get("median_difference_deg").is_none());
        assert_eq!(value["sources"][0]["dropout_s"], Value::Null);
        assert!(jsonschema::draft202012::new(&schema()).unwrap().is_valid(&value));
    }

    #[test]
    fn strings_are_harmless_and_survive() {
        let report = fixture::hostile();
        let text = written(&report);
        assert!(!text.chars().any(|c| c != '\n' && is_unsafe(c)));
        let value: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(value["devices"][0]["label"], json!(report.devices[0].label));
    }

    #[test]
    fn a_troubled_boat() {
        insta::assert_snapshot!(written(&fixture::troubled()));
    }
}
