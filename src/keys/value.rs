//! What a key may hold: numbers, whole numbers, words, texts, days, and lists of them.

use jiff::civil::Date;
use toml::de::DeValue;

use super::spec::KeySpec;
use crate::units::at_most_decimals;

/// A type that a key may hold.
pub trait Value: Sized {
    /// Whether a list with one value is written without brackets.
    const ALONE: bool = false;

    /// The value inside the library for what stands in the file; `None` where that is not what `spec` asks for.
    fn from_toml(value: &DeValue, spec: &KeySpec) -> Option<Self>;

    /// The value as it stands in a file; `None` where the key is left out.
    fn to_toml(&self, spec: &KeySpec) -> Option<String>;

    /// What a fault says was expected, where `spec` has no words of its own.
    fn expected(spec: &KeySpec) -> String;
}

/// A value out of a few, each with a word in the file.
pub trait Word: Copy + PartialEq + 'static {
    /// All values, in the order of [`KeySpec::words`].
    const ALL: &'static [Self];
}

impl Word for bool {
    const ALL: &'static [bool] = &[true, false];
}

/// A text in quotes, as TOML has it.
pub fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

fn whole(value: &DeValue) -> Option<i64> {
    let integer = value.as_integer()?;
    i64::from_str_radix(integer.as_str(), integer.radix()).ok()
}

fn within(number: f64, spec: &KeySpec) -> bool {
    number >= spec.range.0 && number <= spec.range.1
}

fn range(spec: &KeySpec) -> String {
    let bound = |bound| at_most_decimals(bound, 4);
    match spec.range {
        (least, f64::INFINITY) => format!(", {} or above", bound(least)),
        (least, most) => format!(" from {} to {}", bound(least), bound(most)),
    }
}

/// A finite number, written with or without a point.
impl Value for f64 {
    fn from_toml(value: &DeValue, spec: &KeySpec) -> Option<Self> {
        let number: f64 = match value {
            DeValue::Float(float) => float.as_str().parse().ok()?,
            _ => whole(value)? as f64,
        };
        (number.is_finite() && within(number, spec)).then(|| spec.unit.inward(number))
    }

    fn to_toml(&self, spec: &KeySpec) -> Option<String> {
        Some(spec.unit.outward(*self).to_string())
    }

    fn expected(spec: &KeySpec) -> String {
        format!("a number{}", range(spec))
    }
}

macro_rules! whole_number {
    ($($type:ty)*) => {$(
        impl Value for $type {
            const ALONE: bool = true;

            fn from_toml(value: &DeValue, spec: &KeySpec) -> Option<Self> {
                let whole = whole(value).filter(|&whole| within(whole as f64, spec))?;
                whole.try_into().ok()
            }

            fn to_toml(&self, _: &KeySpec) -> Option<String> {
                Some(self.to_string())
            }

            fn expected(spec: &KeySpec) -> String {
                format!("a whole number{}", range(spec))
            }
        }
    )*};
}
whole_number!(i64 u32 u64 usize);

impl<W: Word> Value for W {
    fn from_toml(value: &DeValue, spec: &KeySpec) -> Option<Self> {
        let word = value.as_str()?.trim();
        let at = spec.words.iter().position(|known| *known == word)?;
        W::ALL.get(at).copied()
    }

    fn to_toml(&self, spec: &KeySpec) -> Option<String> {
        let at = W::ALL.iter().position(|known| known == self)?;
        spec.words.get(at).map(|word| quoted(word))
    }

    fn expected(spec: &KeySpec) -> String {
        format!("one of {}", spec.words.join(", "))
    }
}

/// A text without the spaces round it.
impl Value for String {
    fn from_toml(value: &DeValue, _: &KeySpec) -> Option<Self> {
        Some(value.as_str()?.trim().to_string())
    }

    fn to_toml(&self, _: &KeySpec) -> Option<String> {
        Some(quoted(self))
    }

    fn expected(_: &KeySpec) -> String {
        "a text in quotes".to_string()
    }
}

/// A day, in quotes or not.
impl Value for Date {
    fn from_toml(value: &DeValue, _: &KeySpec) -> Option<Self> {
        match value {
            DeValue::Datetime(datetime) => datetime.to_string().parse().ok(),
            _ => value.as_str()?.trim().parse().ok(),
        }
    }

    fn to_toml(&self, _: &KeySpec) -> Option<String> {
        Some(self.to_string())
    }

    fn expected(_: &KeySpec) -> String {
        "a date like 2031-10-04".to_string()
    }
}

impl<V: Value> Value for Option<V> {
    fn from_toml(value: &DeValue, spec: &KeySpec) -> Option<Self> {
        V::from_toml(value, spec).map(Some)
    }

    fn to_toml(&self, spec: &KeySpec) -> Option<String> {
        self.as_ref()?.to_toml(spec)
    }

    fn expected(spec: &KeySpec) -> String {
        V::expected(spec)
    }
}

/// A list; a single value may stand without brackets.
impl<V: Value> Value for Vec<V> {
    fn from_toml(value: &DeValue, spec: &KeySpec) -> Option<Self> {
        match value.as_array() {
            Some(array) => array
                .iter()
                .map(|item| V::from_toml(item.get_ref(), spec))
                .collect(),
            None => V::from_toml(value, spec).map(|only| vec![only]),
        }
    }

    fn to_toml(&self, spec: &KeySpec) -> Option<String> {
        let items: Vec<String> = self.iter().filter_map(|item| item.to_toml(spec)).collect();
        Some(match items.as_slice() {
            [only] if V::ALONE => only.clone(),
            // Texts may be long: each on a line of its own.
            [first, _, ..] if first.starts_with(['"', '\'']) => {
                let lines: String = items.iter().map(|item| format!("  {item},\n")).collect();
                format!("[\n{lines}]")
            }
            _ => format!("[{}]", items.join(", ")),
        })
    }

    fn expected(spec: &KeySpec) -> String {
        format!("{}, or a list of them", V::expected(spec))
    }
}
