//! The keys of the set-up file: name, unit, range and what is expected of each, in the order of the contract.

use super::{
    Aim, Brake, Counts, Dial, Event, Lane, Measure, Obstacle, ObstacleAt, Prior, Score, Setup, Side, Vehicle,
};
use crate::keys::{KeySpec, Keyed, Keys, Word};
use crate::units::LengthUnit::{Cm, M};
use crate::units::Unit::{Curve, Hundredths, Length, Plain};

/// Longest length that a set-up may hold, in m and in cm: a kilometre, as in the log.
const KM_IN_M: f64 = 1_000.0;
const KM_IN_CM: f64 = 100_000.0;
/// The smallest length above 0 that anybody sets, cm.
const TENTH_MM_IN_CM: f64 = 0.01;
/// Weights of the score.
const LARGEST_WEIGHT: f64 = 1e6;

const CHANCE: KeySpec = KeySpec::number(Plain, 0.0, 1.0).expected("a chance from 0 to 1");
const WHEEL: KeySpec = KeySpec::number(Length(Cm), 0.5, 200.0)
    .expected("a wheel's diameter in cm, 0.5 to 200")
    .without("not given");
const TARGET: KeySpec = KeySpec::number(Length(M), 0.1, KM_IN_M)
    .expected("a target's distance in m, at least 0.1");
const WEIGHT: KeySpec =
    KeySpec::number(Plain, 0.0, LARGEST_WEIGHT).expected("a number, 0 or more");

const fn cm(least: f64, most: f64, expected: &'static str) -> KeySpec {
    KeySpec::number(Length(Cm), least, most).expected(expected)
}

const fn m(least: f64, most: f64, expected: &'static str) -> KeySpec {
    KeySpec::number(Length(M), least, most).expected(expected)
}

const fn plain(least: f64, most: f64, expected: &'static str) -> KeySpec {
    KeySpec::number(Plain, least, most).expected(expected)
}

impl Keyed for Setup {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.table("dial", &mut self.dial, "");
        keys.table("vehicle", &mut self.vehicle, "");
        keys.map("wheels", &mut self.wheels_diameter_m, |keys, label, diameter_m| {
            keys.table(label, &mut WheelSet { diameter_m }, "");
        });
        keys.table("brake", &mut self.brake, "");
        keys.table("aim", &mut self.aim, "");
        keys.table("event", &mut self.event, "");
        let obstacle = Obstacle {
            at: ObstacleAt::Fraction(0.5),
            right_m: 0.0,
            diameter_m: 0.0,
            pass: Side::Left,
            touch_accept: super::TOUCH_ACCEPT,
        };
        keys.optional_table("obstacle", &mut self.obstacle, obstacle, "");
        keys.optional_table("lane", &mut self.lane, Lane { half_width_m: 0.0 }, "");
        keys.table("score", &mut self.score, "");
        keys.table("prior", &mut self.prior, "");
        keys.check(|| match (self.obstacle.as_ref().map(|o| o.at), self.event.shortest_m) {
            (Some(ObstacleAt::Distance(at_m)), Some(shortest_m)) if at_m >= shortest_m => {
                let expected = "expected the obstacle before the shortest target";
                vec![("obstacle.at_m", expected.to_string())]
            }
            _ => Vec::new(),
        });
    }
}

impl Keyed for Dial {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("ticks_per_turn", &mut self.ticks_per_turn, plain(1.0, 1000.0, "a whole number of dial divisions, 1 to 1000"));
        self.given |= keys.is_given("ticks_per_turn");
    }
}

impl Keyed for Vehicle {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("width_cm", &mut self.width_m, cm(0.1, KM_IN_CM, "the vehicle's width in cm, above 0").without("not given"));
        keys.key("wheel_diameter_cm", &mut self.wheel_diameter_m, WHEEL);
    }
}

/// `[wheels.NAME]`
struct WheelSet<'a> {
    diameter_m: &'a mut f64,
}

impl Keyed for WheelSet<'_> {
    fn keys(&mut self, keys: &mut impl Keys) {
        let spec = WHEEL.needed("expected diameter_cm in this table");
        keys.key("diameter_cm", self.diameter_m, spec);
    }
}

impl Keyed for Brake {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("recoil_from_cm", &mut self.recoil_from_m, cm(TENTH_MM_IN_CM, KM_IN_CM, "a length in cm above 0: how far it must roll back to count"));
        keys.key("recoil_accept", &mut self.recoil_accept, CHANCE);
    }
}

impl Keyed for Aim {
    fn keys(&mut self, keys: &mut impl Keys) {
        let spec = cm(TENTH_MM_IN_CM, 1000.0, "a length in cm, 0.01 to 1000");
        keys.key("step_cm", &mut self.step_m, spec);
    }
}

impl Keyed for Event {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("shortest_m", &mut self.shortest_m, TARGET.without("the shortest target in the log"));
        keys.key("longest_m", &mut self.longest_m, TARGET.without("the longest target in the log"));
        keys.key("step_m", &mut self.step_m, m(0.001, KM_IN_M, "a step in m, at least 0.001"));
        keys.key("runs", &mut self.runs, plain(1.0, 20.0, "a whole number of runs, 1 to 20"));
        keys.key("counts", &mut self.counts, KeySpec::words(&["best", "sum", "last"]));
        keys.check(|| match (self.shortest_m, self.longest_m) {
            (Some(shortest_m), Some(longest_m)) if shortest_m > longest_m => {
                vec![("longest_m", "expected no less than shortest_m".to_string())]
            }
            _ => Vec::new(),
        });
    }
}

impl Keyed for Obstacle {
    fn keys(&mut self, keys: &mut impl Keys) {
        let (mut at, mut at_m) = match self.at {
            ObstacleAt::Fraction(fraction) => (Some(fraction), None),
            ObstacleAt::Distance(at_m) => (None, Some(at_m)),
        };
        keys.key("at", &mut at, plain(0.01, 0.99, "a fraction of the target's distance, 0.01 to 0.99; or at_m, in m"));
        keys.key("at_m", &mut at_m, m(0.01, KM_IN_M, "a distance from the start mark in m, above 0"));
        let given = (keys.is_given("at"), keys.is_given("at_m"));
        keys.check(|| match given {
            (true, true) => vec![("at_m", "expected at or at_m, not both".to_string())],
            (false, false) => vec![("at", "expected where along the line it stands: at, a fraction of the target, or at_m".to_string())],
            _ => Vec::new(),
        });
        self.at = match (at, at_m) {
            (_, Some(at_m)) => ObstacleAt::Distance(at_m),
            (Some(fraction), None) => ObstacleAt::Fraction(fraction),
            (None, None) => self.at,
        };
        keys.key("right_cm", &mut self.right_m, cm(-KM_IN_CM, KM_IN_CM, "a length in cm: + right of the line, - left of it")
            .needed("expected right_cm: where across the line it stands"));
        keys.key("diameter_cm", &mut self.diameter_m, cm(TENTH_MM_IN_CM, KM_IN_CM, "a diameter in cm, above 0")
            .needed("expected diameter_cm"));
        keys.key("pass", &mut self.pass, KeySpec::words(&["left", "right"])
            .needed("expected pass: the side of it that the vehicle must go by, left or right"));
        keys.key("touch_accept", &mut self.touch_accept, CHANCE);
    }
}

impl Keyed for Lane {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("half_width_m", &mut self.half_width_m, m(0.01, KM_IN_M, "a width in m, above 0")
            .needed("expected half_width_m: the free width on either side of the line"));
    }
}

impl Keyed for Score {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("measure", &mut self.measure, KeySpec::words(&["point", "line"]));
        // Without a price of the miss every setting would be as good as any other.
        keys.key("per_cm", &mut self.per_cm, plain(1e-6, LARGEST_WEIGHT, "a number above 0"));
        keys.key("per_s", &mut self.per_s, WEIGHT);
        keys.key("long_limit_cm", &mut self.long_limit_m, cm(0.0, KM_IN_CM, "a length in cm, 0 or more"));
        keys.key("long_penalty", &mut self.long_penalty, WEIGHT);
        keys.key("touch_penalty", &mut self.touch_penalty, WEIGHT);
    }
}

impl Keyed for Prior {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("between_sessions_cm", &mut self.between_sessions_m, cm(TENTH_MM_IN_CM, KM_IN_CM, "a length in cm, above 0"));
        keys.key("between_sessions_cm_per_m", &mut self.between_sessions_rad, KeySpec::number(Hundredths, 0.001, 100.0)
            .expected("cm to the side for each m ahead, 0.001 to 100"));
        keys.key("curve_cm_per_m2", &mut self.curvature_per_m, KeySpec::number(Curve, 0.001, 100.0)
            .expected("cm per m², 0.001 to 100"));
    }
}

impl Word for Counts {
    const ALL: &'static [Counts] = &[Counts::Best, Counts::Sum, Counts::Last];
}

impl Word for Side {
    const ALL: &'static [Side] = &[Side::Left, Side::Right];
}

impl Word for Measure {
    const ALL: &'static [Measure] = &[Measure::Point, Measure::Line];
}
