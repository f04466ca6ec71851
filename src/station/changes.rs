//! What a file would change in the register.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use tapline_protocols::Fact;

/// What a file changes in the register, or would.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Changes {
    /// Entries that the register does not know.
    pub new: Vec<String>,
    /// Entries of which it says something else.
    pub changed: Vec<Changed>,
    /// Entries of which it says the same.
    pub unchanged: u64,
    /// Rows of a list of values that have none.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub left_out: u64,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands a reference")]
fn is_zero(count: &u64) -> bool {
    *count == 0
}

/// An entry of which the register says something else.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Changed {
    /// Its label or number.
    pub id: String,
    /// What differs.
    pub fields: Vec<Difference>,
}

/// A field before and after.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Difference {
    /// Which.
    pub field: String,
    /// What the register says; `null` for nothing.
    pub before: Value,
    /// What the file says; `null` for nothing.
    pub after: Value,
}

impl Changes {
    /// Counts an entry; says whether it makes a line.
    pub(super) fn take(&mut self, fact: &Fact, known: Option<Fact>) -> bool {
        if known.as_ref() == Some(fact) {
            self.unchanged += 1;
            return false;
        }
        let after = object(fact);
        let id = after.get("id").and_then(Value::as_str).unwrap_or_default().to_owned();
        match known {
            None => self.new.push(id),
            Some(known) => {
                let fields = differences(&object(&known), &after);
                self.changed.push(Changed { id, fields });
            }
        }
        true
    }
}

fn differences(before: &Map<String, Value>, after: &Map<String, Value>) -> Vec<Difference> {
    let of = |map: &Map<String, Value>, key: &str| map.get(key).cloned().unwrap_or_default();
    let gone = before.keys().filter(|key| !after.contains_key(*key));
    let keys = after.keys().chain(gone);
    let differs = keys.filter(|key| before.get(*key) != after.get(*key));
    let one = |key: &String| Difference {
        field: key.clone(),
        before: of(before, key),
        after: of(after, key),
    };
    differs.map(one).collect()
}

fn object(fact: &Fact) -> Map<String, Value> {
    match serde_json::to_value(fact) {
        Ok(Value::Object(object)) => object,
        _ => Map::new(),
    }
}
