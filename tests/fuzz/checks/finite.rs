//! Results hold finite numbers only, and ranges that contain their estimate.

use serde_json::Value;

/// A JSON text as it leaves the program: every range of it holds its estimate. (A number that is not finite cannot be
/// written in JSON; `null` stands where the contract allows it.)
pub fn json(text: &str) -> Value {
    let value: Value = serde_json::from_str(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    ranges("the file", &value);
    value
}

fn ranges(at: &str, value: &Value) {
    match value {
        Value::Array(list) => list.iter().for_each(|v| ranges(at, v)),
        Value::Object(map) => {
            if let (Some(low), Some(high)) = (map.get("low"), map.get("high")) {
                let end = |v: &Value, missing: f64| v.as_f64().unwrap_or(missing);
                let (low, high) = (end(low, f64::NEG_INFINITY), end(high, f64::INFINITY));
                assert!(low <= high, "{at}: {value}");
                match map.get("estimate") {
                    // Nothing is known, such as where a path that bends so strongly would pass.
                    None | Some(Value::Null) => {}
                    Some(estimate) => {
                        let estimate = estimate.as_f64().unwrap_or_else(|| panic!("{at}: {value}"));
                        assert!(low <= estimate && estimate <= high, "{at}: {value}");
                    }
                }
            }
            map.iter().for_each(|(key, v)| ranges(key, v));
        }
        _ => {}
    }
}

/// A page, figure or table whose labels hold no such words: no number that is not finite was written anywhere.
pub fn text(name: &str, text: &str) {
    let words = text.split(|c: char| !c.is_alphanumeric());
    for word in words {
        let word = word.to_ascii_lowercase();
        // Words of people (`infinite`) are no numbers.
        assert!(
            !matches!(word.as_str(), "nan" | "inf" | "infinity"),
            "{word} in {name}"
        );
    }
}
