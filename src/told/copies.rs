//! Copies of what is sealed, where they were not made for too long.

use serde_json::Value;

use crate::words::english;

/// What was not archived or tried for too long; nothing where it was.
pub(crate) fn late_copies(copies: &Value) -> Vec<String> {
    let late = |what: &&str| copies[*what]["late"] == true;
    let said = |what: &str| {
        let days = copies[what]["days"].to_string();
        let code = if copies[what]["last"].is_null() { "never" } else { "late" };
        english().tell("copies", &format!("{what}_{code}"), &[("days", &days)])
    };
    ["archive", "drill"].into_iter().filter(late).map(said).collect()
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn only_what_is_late_is_said() {
        let one = |last: Value, late: bool| json!({ "last": last, "days": 40, "late": late });
        let copies = json!({ "archive": one("x".into(), true), "drill": one(Value::Null, true) });
        let said = late_copies(&copies);
        assert!(said[0].starts_with("No archive was made for 40 days"), "{said:?}");
        assert!(said[1].starts_with("No archive was ever tried"), "{said:?}");
        let well = json!({ "archive": one("x".into(), false), "drill": one(Value::Null, false) });
        assert!(late_copies(&well).is_empty() && late_copies(&Value::Null).is_empty());
    }
}
