//! Results hold finite numbers only, and ranges that contain their estimate.

use haltmark::decide::Setting;
use haltmark::report::File;
use haltmark::stats::interval::Interval;
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

/// What a number that is not finite is written as, if a text has it; words of people (`infinite`) are no numbers.
pub fn not_finite(text: &str) -> Option<&str> {
    let mut words = text.split(|c: char| !c.is_alphanumeric());
    words.find(|word| ["nan", "inf", "infinity"].contains(&word.to_ascii_lowercase().as_str()))
}

/// A page, figure or table whose labels hold no such words: no number that is not finite was written anywhere.
pub fn text(name: &str, text: &str) {
    assert_eq!(not_finite(text), None, "in {name}");
}

/// Every file that a command writes is text without such words.
pub fn files(files: Vec<File>) {
    for file in files {
        let name = file.name.display().to_string();
        let content = String::from_utf8(file.bytes).expect("every file is text");
        // The card's script has such words of its own.
        if name != "card.html" {
            text(&name, &content);
        }
    }
}

/// A range with finite ends that holds its estimate.
pub fn interval(i: Interval, of: &impl std::fmt::Debug) {
    let finite = i.estimate.is_finite() && i.low.is_finite() && i.high.is_finite();
    assert!(
        finite && i.low <= i.estimate && i.estimate <= i.high,
        "{i:?} of {of:?}"
    );
}

/// A chance.
pub fn chance(p: f64, of: &impl std::fmt::Debug) {
    assert!((0.0..=1.0).contains(&p), "{p} of {of:?}");
}

/// A setting that a person can make, with what is promised of it.
pub fn setting(setting: &Setting) {
    interval(setting.long_m, setting);
    for known in [setting.right_m, setting.miss_m, setting.gap_m]
        .into_iter()
        .flatten()
    {
        interval(known, setting);
    }
    for known in [
        setting.recoil_chance,
        setting.touch_chance,
        setting.leave_chance,
    ]
    .into_iter()
    .flatten()
    {
        chance(known, setting);
    }
    let turns = setting.dial.turns();
    assert!(turns.is_finite() && turns >= 0.0, "{setting:?}");
    assert!(
        setting.aim_right_m.is_none_or(f64::is_finite),
        "{setting:?}"
    );
    assert!(setting.time_s.is_none_or(f64::is_finite), "{setting:?}");
}
