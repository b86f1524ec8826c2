//! The sections and keys that there are, as reading an empty file asks for them; and what is made from that: the default
//! file and the schema. `traylight.toml` and `traylight.schema.json` beside the sources are these two, for people and for editors.

use crate::key::Key;
use crate::values::integer;
use std::collections::BTreeSet;
use std::ops::RangeInclusive;
use toml::de::DeValue;

/// The default file but for its keys. Those of a section go below its header.
const PROSE: &str = include_str!("prose.toml");

/// What is in a section.
#[derive(Default)]
pub(crate) struct Outline {
    pub(crate) entries: Vec<OutlineEntry>,
    /// The keys that must be there.
    pub(crate) required: Vec<&'static str>,
    /// What the schema says of several keys, each a JSON object.
    rules: Vec<String>,
}

/// A key, or a section in a section.
pub(crate) struct OutlineEntry {
    name: &'static str,
    about: String,
    comment: &'static [&'static str],
    /// As the file writes it; empty where there is none.
    default: String,
    is_public: bool,
    content: Content,
}

/// What an entry is.
pub(crate) enum Content {
    /// A value with these rules of the schema.
    Value(String),
    /// A section.
    Section(Outline),
    /// So many sections.
    Sections(RangeInclusive<usize>, Outline),
}

impl OutlineEntry {
    pub(crate) fn of<T>(key: &Key<T>, default: &'static str, rules: String) -> Self {
        let about = if key.about.is_empty() { key.comment.concat() } else { key.about.to_owned() };
        let about = about.trim().to_owned();
        // `stringify!` breaks a long list.
        let default = default.replace('\n', " ");
        OutlineEntry {
            name: key.name,
            about,
            comment: key.comment,
            default,
            is_public: key.is_public,
            content: Content::Value(rules),
        }
    }

    pub(crate) fn of_list<T>(key: &Key<T>, default: &'static str, count: &RangeInclusive<usize>) -> Self {
        let (array, rules) = (array(count), &key.kind.rules);
        OutlineEntry::of(key, default, format!(r#"{array}, "uniqueItems": true, "items": {{ {rules} }}"#))
    }

    pub(crate) fn section(name: &'static str, about: &'static str, content: Content) -> Self {
        OutlineEntry {
            name,
            about: about.trim().to_owned(),
            comment: &[],
            default: String::new(),
            is_public: false,
            content,
        }
    }

    fn schema(&self, indent: &str) -> String {
        let rules = match &self.content {
            Content::Value(rules) => rules.clone(),
            Content::Section(outline) => outline.schema(indent),
            Content::Sections(count, outline) => {
                format!(r#"{}, "items": {{ {} }}"#, array(count), outline.schema(indent))
            }
        };
        let default = if self.default.is_empty() { String::new() } else { format!(r#", "default": {}"#, self.json()) };
        format!(r#"{indent}"{}": {{ "description": {:?}, {rules}{default} }}"#, self.name, self.about)
    }

    /// The default in JSON. Only whole numbers have forms in TOML that JSON has not.
    fn json(&self) -> String {
        let whole = DeValue::parse(&self.default).ok().and_then(|value| integer(value.get_ref()));
        whole.map_or_else(|| self.default.clone(), |whole| whole.to_string())
    }
}

fn array(count: &RangeInclusive<usize>) -> String {
    let least = if *count.start() == 0 { String::new() } else { format!(r#""minItems": {}, "#, count.start()) };
    format!(r#""type": "array", {least}"maxItems": {}"#, count.end())
}

impl Outline {
    /// The keys and sections by name.
    pub(crate) fn names(&self) -> impl Iterator<Item = &'static str> {
        self.entries.iter().map(|entry| entry.name)
    }

    /// The keys below a section that reports may show.
    pub(crate) fn public(&self, path: &str) -> BTreeSet<&'static str> {
        fn collect(outline: &Outline, found: &mut BTreeSet<&'static str>) {
            for entry in &outline.entries {
                match &entry.content {
                    Content::Section(inner) | Content::Sections(_, inner) => collect(inner, found),
                    Content::Value(_) => found.extend(entry.is_public.then_some(entry.name)),
                }
            }
        }
        let mut found = BTreeSet::new();
        self.section(path).into_iter().for_each(|section| collect(section, &mut found));
        found
    }

    pub(crate) fn rule(&mut self, rule: String) {
        self.rules.push(rule);
    }

    /// That two things are written both or neither, each with one of its keys.
    pub(crate) fn rule_of_both(&mut self, keys: [&[&str]; 2]) {
        let [one, other] = keys.map(|keys| {
            let any = keys.iter().map(|key| format!(r#"{{ "required": ["{key}"] }}"#));
            format!(r#"{{ "anyOf": [{}] }}"#, any.collect::<Vec<_>>().join(", "))
        });
        self.rule(format!(r#"{{ "if": {one}, "then": {other}, "else": {{ "not": {other} }} }}"#));
    }

    /// The members of the JSON object that describes a section.
    fn schema(&self, indent: &str) -> String {
        let inside = format!("{indent}  ");
        let properties: Vec<String> = self.entries.iter().map(|entry| entry.schema(&inside)).collect();
        let required = match self.required.as_slice() {
            [] => String::new(),
            keys => format!(r#", "required": {keys:?}"#),
        };
        let rules: String = match self.rules.as_slice() {
            [] => String::new(),
            rules => format!(",\n{inside}\"allOf\": [\n{inside}  {}\n{inside}]", rules.join(&format!(",\n{inside}  "))),
        };
        let properties = properties.join(",\n");
        format!(
            r#""type": "object", "additionalProperties": false{required}{rules}, "properties": {{
{properties}
{indent}}}"#
        )
    }

    fn section(&self, path: &str) -> Option<&Outline> {
        path.split('.').try_fold(self, |outline, name| {
            outline.entries.iter().find(|entry| entry.name == name).and_then(|entry| match &entry.content {
                Content::Section(outline) => Some(outline),
                Content::Value(_) | Content::Sections(..) => None,
            })
        })
    }

    /// The lines of the default file below the header of a section.
    fn lines(&self) -> String {
        let mut lines = String::new();
        for (nth, entry) in self.entries.iter().filter(|entry| !entry.default.is_empty()).enumerate() {
            if nth == 0 || !entry.comment.is_empty() {
                lines.push('\n');
            }
            for line in entry.comment {
                lines += &format!("#{line}\n");
            }
            lines += &format!("# {} = {}\n", entry.name, entry.default);
        }
        lines
    }

    /// The fully commented file that shows every default. It settles to `Settings::default()`.
    pub(crate) fn default_file(&self) -> String {
        let mut file = String::new();
        for line in PROSE.lines() {
            file += &format!("{line}\n");
            let path = line.strip_prefix('[').and_then(|line| line.strip_suffix(']'));
            file += &path.and_then(|path| self.section(path)).map(Outline::lines).unwrap_or_default();
        }
        file
    }

    /// The JSON Schema (draft 2020-12) of the file.
    pub(crate) fn json_schema(&self) -> String {
        let rules = self.schema("  ");
        format!(
            r#"{{
  "$schema": "https://json-schema.org/draft/2020-12/schema",
  "title": "traylight configuration",
  "description": "Every key may be absent and then has its default.",
  "$defs": {{
    "time": {{
      "description": "A length of time with its unit, such as \"90 s\", \"5 min\" or \"1 h 30 min\": 1 ms to 168 h.",
      "type": "string",
      "pattern": "^\\+?[0-9]"
    }}
  }},
  {rules}
}}
"#
        )
    }
}
