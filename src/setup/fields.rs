//! Every key of the set-up file: its table, its name, what it may be, and where it is kept. The only list.

use super::{Counts, Measure, Obstacle, ObstacleAt, Setup, Side};
use crate::units::LengthUnit::{Cm, M};

/// A value as the file writes it, in the file's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value {
    /// A number, whole where the key asks for one.
    Number(f64),
    /// One of the key's words.
    Word(&'static str),
}

/// What a key may be.
pub enum Check {
    /// A number from the first to the second; the text words the expectation.
    Number(f64, f64, &'static str),
    /// The same for a whole number.
    Whole(i64, i64, &'static str),
    /// One of these words.
    Word(&'static [&'static str]),
}

/// One key.
pub struct Field {
    /// Name of its table.
    pub table: &'static str,
    /// Its name.
    pub key: &'static str,
    /// What it may be.
    pub check: Check,
    /// Its value in a set-up; `None` where it has none or its table is left out.
    pub get: fn(&Setup) -> Option<Value>,
    /// Puts a value that passed the check into a set-up.
    pub set: fn(&mut Setup, Value),
}

/// Longest length that a set-up may hold, m and cm: a kilometre, as in the log.
const KM_IN_M: f64 = 1_000.0;
const KM_IN_CM: f64 = 100_000.0;
/// The smallest length above 0 that anybody sets, cm.
const TENTH_MM_IN_CM: f64 = 0.01;
/// Weights of the score.
const LARGEST_WEIGHT: f64 = 1e6;

fn number(value: Value) -> f64 {
    match value {
        Value::Number(number) => number,
        Value::Word(_) => unreachable!("the check of a number lets no word through"),
    }
}

fn word(value: Value) -> &'static str {
    match value {
        Value::Word(word) => word,
        Value::Number(_) => unreachable!("the check of a word lets no number through"),
    }
}

/// The obstacle under construction: the reader sees to it that all its keys are given.
fn obstacle(setup: &mut Setup) -> &mut Obstacle {
    setup.obstacle.get_or_insert(Obstacle {
        at: ObstacleAt::Fraction(0.5),
        right_m: 0.0,
        diameter_m: 0.0,
        pass: Side::Left,
        touch_accept: super::TOUCH_ACCEPT,
    })
}

/// The number a decimal was meant to be, after it went through metres and back: 7.1 and not 7.1000000000000005.
///
/// 14 digits: fewer than a double holds, more than anybody measures.
fn tidy(x: f64) -> f64 {
    format!("{x:.13e}").parse().unwrap_or(x)
}

fn some(x: f64) -> Option<Value> {
    Some(Value::Number(tidy(x)))
}

fn cm(length_m: f64) -> Option<Value> {
    some(Cm.from_m(length_m))
}

fn m(length_m: f64) -> Option<Value> {
    some(M.from_m(length_m))
}

/// All keys but those of `[wheels.NAME]`, whose tables bear the user's own names. Keys of one table stand
/// together, in the order of the contract.
pub static FIELDS: &[Field] = &[
    Field {
        table: "dial",
        key: "ticks_per_turn",
        check: Check::Whole(1, 1000, "a whole number of dial divisions, 1 to 1000"),
        get: |s| some(f64::from(s.dial.ticks_per_turn)),
        set: |s, v| {
            s.dial.ticks_per_turn = number(v) as u32;
            s.dial.given = true;
        },
    },
    Field {
        table: "vehicle",
        key: "width_cm",
        check: Check::Number(0.1, KM_IN_CM, "the vehicle's width in cm, above 0"),
        get: |s| s.vehicle.width_m.and_then(cm),
        set: |s, v| s.vehicle.width_m = Some(Cm.to_m(number(v))),
    },
    Field {
        table: "vehicle",
        key: "wheel_diameter_cm",
        check: WHEEL_DIAMETER_CM,
        get: |s| s.vehicle.wheel_diameter_m.and_then(cm),
        set: |s, v| s.vehicle.wheel_diameter_m = Some(Cm.to_m(number(v))),
    },
    Field {
        table: "brake",
        key: "recoil_from_cm",
        check: Check::Number(
            TENTH_MM_IN_CM,
            KM_IN_CM,
            "a length in cm above 0: how far it must roll back to count",
        ),
        get: |s| cm(s.brake.recoil_from_m),
        set: |s, v| s.brake.recoil_from_m = Cm.to_m(number(v)),
    },
    Field {
        table: "brake",
        key: "recoil_accept",
        check: Check::Number(0.0, 1.0, "a chance from 0 to 1"),
        get: |s| some(s.brake.recoil_accept),
        set: |s, v| s.brake.recoil_accept = number(v),
    },
    Field {
        table: "aim",
        key: "step_cm",
        check: Check::Number(TENTH_MM_IN_CM, 1000.0, "a length in cm, 0.01 to 1000"),
        get: |s| cm(s.aim.step_m),
        set: |s, v| s.aim.step_m = Cm.to_m(number(v)),
    },
    Field {
        table: "event",
        key: "shortest_m",
        check: TARGET_M,
        get: |s| s.event.shortest_m.and_then(m),
        set: |s, v| s.event.shortest_m = Some(number(v)),
    },
    Field {
        table: "event",
        key: "longest_m",
        check: TARGET_M,
        get: |s| s.event.longest_m.and_then(m),
        set: |s, v| s.event.longest_m = Some(number(v)),
    },
    Field {
        table: "event",
        key: "step_m",
        check: Check::Number(0.001, KM_IN_M, "a step in m, at least 0.001"),
        get: |s| m(s.event.step_m),
        set: |s, v| s.event.step_m = number(v),
    },
    Field {
        table: "event",
        key: "runs",
        check: Check::Whole(1, 20, "a whole number of runs, 1 to 20"),
        get: |s| some(f64::from(s.event.runs)),
        set: |s, v| s.event.runs = number(v) as u32,
    },
    Field {
        table: "event",
        key: "counts",
        check: Check::Word(&["best", "sum", "last"]),
        get: |s| {
            Some(Value::Word(match s.event.counts {
                Counts::Best => "best",
                Counts::Sum => "sum",
                Counts::Last => "last",
            }))
        },
        set: |s, v| {
            s.event.counts = match word(v) {
                "best" => Counts::Best,
                "sum" => Counts::Sum,
                _ => Counts::Last,
            }
        },
    },
    Field {
        table: "obstacle",
        key: "at",
        check: Check::Number(
            0.01,
            0.99,
            "a fraction of the target's distance, 0.01 to 0.99; or at_m, in m",
        ),
        get: |s| match s.obstacle.as_ref()?.at {
            ObstacleAt::Fraction(fraction) => some(fraction),
            ObstacleAt::Distance(_) => None,
        },
        set: |s, v| obstacle(s).at = ObstacleAt::Fraction(number(v)),
    },
    Field {
        table: "obstacle",
        key: "at_m",
        check: Check::Number(
            0.01,
            KM_IN_M,
            "a distance from the start mark in m, above 0",
        ),
        get: |s| match s.obstacle.as_ref()?.at {
            ObstacleAt::Fraction(_) => None,
            ObstacleAt::Distance(at_m) => m(at_m),
        },
        set: |s, v| obstacle(s).at = ObstacleAt::Distance(number(v)),
    },
    Field {
        table: "obstacle",
        key: "right_cm",
        check: Check::Number(
            -KM_IN_CM,
            KM_IN_CM,
            "a length in cm: + right of the line, - left of it",
        ),
        get: |s| cm(s.obstacle.as_ref()?.right_m),
        set: |s, v| obstacle(s).right_m = Cm.to_m(number(v)),
    },
    Field {
        table: "obstacle",
        key: "diameter_cm",
        check: Check::Number(TENTH_MM_IN_CM, KM_IN_CM, "a diameter in cm, above 0"),
        get: |s| cm(s.obstacle.as_ref()?.diameter_m),
        set: |s, v| obstacle(s).diameter_m = Cm.to_m(number(v)),
    },
    Field {
        table: "obstacle",
        key: "pass",
        check: Check::Word(&["left", "right"]),
        get: |s| {
            Some(Value::Word(match s.obstacle.as_ref()?.pass {
                Side::Left => "left",
                Side::Right => "right",
            }))
        },
        set: |s, v| {
            obstacle(s).pass = match word(v) {
                "left" => Side::Left,
                _ => Side::Right,
            }
        },
    },
    Field {
        table: "obstacle",
        key: "touch_accept",
        check: Check::Number(0.0, 1.0, "a chance from 0 to 1"),
        get: |s| some(s.obstacle.as_ref()?.touch_accept),
        set: |s, v| obstacle(s).touch_accept = number(v),
    },
    Field {
        table: "lane",
        key: "half_width_m",
        check: Check::Number(0.01, KM_IN_M, "a width in m, above 0"),
        get: |s| m(s.lane.as_ref()?.half_width_m),
        set: |s, v| {
            s.lane = Some(super::Lane {
                half_width_m: number(v),
            })
        },
    },
    Field {
        table: "score",
        key: "measure",
        check: Check::Word(&["point", "line"]),
        get: |s| {
            Some(Value::Word(match s.score.measure {
                Measure::Point => "point",
                Measure::Line => "line",
            }))
        },
        set: |s, v| {
            s.score.measure = match word(v) {
                "point" => Measure::Point,
                _ => Measure::Line,
            }
        },
    },
    Field {
        table: "score",
        key: "per_cm",
        // Without a price of the miss every setting would be as good as any other.
        check: Check::Number(1e-6, LARGEST_WEIGHT, "a number above 0"),
        get: |s| some(s.score.per_cm),
        set: |s, v| s.score.per_cm = number(v),
    },
    Field {
        table: "score",
        key: "per_s",
        check: WEIGHT,
        get: |s| some(s.score.per_s),
        set: |s, v| s.score.per_s = number(v),
    },
    Field {
        table: "score",
        key: "long_limit_cm",
        check: Check::Number(0.0, KM_IN_CM, "a length in cm, 0 or more"),
        get: |s| cm(s.score.long_limit_m),
        set: |s, v| s.score.long_limit_m = Cm.to_m(number(v)),
    },
    Field {
        table: "score",
        key: "long_penalty",
        check: WEIGHT,
        get: |s| some(s.score.long_penalty),
        set: |s, v| s.score.long_penalty = number(v),
    },
    Field {
        table: "score",
        key: "touch_penalty",
        check: WEIGHT,
        get: |s| some(s.score.touch_penalty),
        set: |s, v| s.score.touch_penalty = number(v),
    },
    Field {
        table: "prior",
        key: "between_sessions_cm",
        check: Check::Number(TENTH_MM_IN_CM, KM_IN_CM, "a length in cm, above 0"),
        get: |s| cm(s.prior.between_sessions_m),
        set: |s, v| s.prior.between_sessions_m = Cm.to_m(number(v)),
    },
    Field {
        table: "prior",
        key: "between_sessions_cm_per_m",
        check: Check::Number(
            0.001,
            100.0,
            "cm to the side for each m ahead, 0.001 to 100",
        ),
        // 1 cm per m is 0.01 rad by the contract's own rule: radians, never tangents.
        get: |s| some(s.prior.between_sessions_rad * 100.0),
        set: |s, v| s.prior.between_sessions_rad = number(v) / 100.0,
    },
    Field {
        table: "prior",
        key: "curve_cm_per_m2",
        check: Check::Number(0.001, 100.0, "cm per m², 0.001 to 100"),
        // 100·κ/2: a path of curvature κ is κs²/2 to the side after s.
        get: |s| some(s.prior.curvature_per_m * 50.0),
        set: |s, v| s.prior.curvature_per_m = number(v) / 50.0,
    },
];

/// Of `vehicle.wheel_diameter_cm` and of `diameter_cm` in each `[wheels.NAME]`.
pub const WHEEL_DIAMETER_CM: Check =
    Check::Number(0.5, 200.0, "a wheel's diameter in cm, 0.5 to 200");

const TARGET_M: Check = Check::Number(0.1, KM_IN_M, "a target's distance in m, at least 0.1");

const WEIGHT: Check = Check::Number(0.0, LARGEST_WEIGHT, "a number, 0 or more");

/// Diameter of one wheel set as the file writes it.
pub fn wheels_diameter_cm(diameter_m: f64) -> f64 {
    tidy(Cm.from_m(diameter_m))
}
