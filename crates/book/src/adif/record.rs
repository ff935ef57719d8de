//! One record: fields in the order in which they came.

use serde::{Deserialize, Serialize};

/// One field.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Field {
    /// Name as written; names are compared without regard to case.
    pub name: String,
    /// Data type indicator, if written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// Data.
    pub value: String,
}

/// Definition of a user's own field (`USERDEFn` of the header).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct UserDefined {
    /// Name of the field.
    pub name: String,
    /// Data type indicator.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// `{A,B,C}` or `{low:high}` as written, if written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub domain: Option<String>,
}

/// A contact as interchanged.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Record {
    /// Fields in order.
    pub fields: Vec<Field>,
    /// Definitions of the user's own fields among them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub user_defined: Vec<UserDefined>,
}

impl Record {
    /// Value of a field, without surrounding blanks; `None` when absent or empty.
    pub fn get(&self, name: &str) -> Option<&str> {
        self.fields
            .iter()
            .find(|f| f.name.eq_ignore_ascii_case(name))
            .map(|f| f.value.trim())
            .filter(|v| !v.is_empty())
    }
    /// Sets a field: replaces its value, or adds it at the end. An empty value is left out.
    pub fn set(&mut self, name: &str, value: impl Into<String>) {
        let value = value.into();
        match self
            .fields
            .iter_mut()
            .find(|f| f.name.eq_ignore_ascii_case(name))
        {
            Some(f) => f.value = value,
            None if value.is_empty() => {}
            None => self.fields.push(Field {
                name: name.to_string(),
                kind: None,
                value,
            }),
        }
    }
    /// As [`Record::set`] with a data type indicator, which every field of an application's own must carry
    /// ("Application-defined Fields").
    pub fn set_typed(&mut self, name: &str, kind: char, value: impl Into<String>) {
        self.set(name, value);
        if let Some(f) = self
            .fields
            .iter_mut()
            .find(|f| f.name.eq_ignore_ascii_case(name))
        {
            f.kind = Some(kind.to_string());
        }
    }
}
