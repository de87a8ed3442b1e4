//! The set-up file: what it says and means, what is wrong with it, and what of it is in force.

use haltmark::setup::{
    Counts, Dial, Event, Measure, ObstacleAt, PassSide, Setup, TicksSource, from_toml, in_force,
};

/// The example of the contract, word for word in its keys and numbers.
const EXAMPLE: &str = r#"
[dial]
ticks_per_turn = 20
[vehicle]
width_cm = 18.0
wheel_diameter_cm = 7.4
[wheels.foam]
diameter_cm = 7.1
[brake]
recoil_from_cm = 1.0
recoil_accept = 0.10
[aim]
step_cm = 0.5
[event]
shortest_m = 5.5
longest_m = 9.5
step_m = 0.05
runs = 2
counts = "best"
[obstacle]
at = 0.45
right_cm = 28.0
diameter_cm = 24.0
pass = "left"
touch_accept = 0.02
[lane]
half_width_m = 2.0
[score]
measure = "point"
per_cm = 1.0
per_s = 0.0
long_limit_cm = 50.0
long_penalty = 0.0
touch_penalty = 0.0
[prior]
between_sessions_cm = 10.0
between_sessions_cm_per_m = 0.6
curve_cm_per_m2 = 1.5
"#;

fn faults(text: &str) -> Vec<String> {
    let faults = from_toml("s.toml", text).expect_err(text);
    faults.0.iter().map(ToString::to_string).collect()
}

#[test]
fn the_example_of_the_contract_is_read_in_metres() {
    let setup = from_toml("s.toml", EXAMPLE).unwrap();
    assert!(setup.dial.is_told());
    assert_eq!(setup.vehicle.width_m, Some(0.18));
    assert_eq!(setup.wheels_diameter_m["foam"], 0.071);
    assert_eq!(setup.event.step_m, 0.05);
    let obstacle = setup.obstacle.clone().unwrap();
    assert_eq!(obstacle.at, ObstacleAt::Fraction(0.45));
    assert_eq!((obstacle.right_m, obstacle.pass), (0.28, PassSide::Left));
    // κ such that 100·κ/2 is 1.5 cm per m².
    assert_eq!(setup.prior.curvature_per_m, 0.03);
}

#[test]
fn the_defaults_are_those_of_the_contract() {
    let example = from_toml("s.toml", EXAMPLE).unwrap();
    let expected = Setup {
        dial: Dial {
            source: TicksSource::Unknown,
            ..example.dial
        },
        vehicle: Default::default(),
        wheels_diameter_m: Default::default(),
        event: Event {
            shortest_m: None,
            longest_m: None,
            step_m: 0.10,
            runs: None,
            counts: None,
        },
        obstacle: None,
        lane: None,
        ..example
    };
    assert_eq!(from_toml("s.toml", "").unwrap(), expected);
}

#[test]
fn what_is_written_reads_back_as_the_same() {
    let other = EXAMPLE
        .replace("at = 0.45", "at_m = 3.1")
        .replace("\"best\"", "\"last\"")
        .replace("\"left\"", "\"right\"")
        .replace("\"point\"", "\"line\"")
        .replace("7.4", "7.123456789");
    for text in [EXAMPLE, &other] {
        let setup = from_toml("s.toml", text).unwrap();
        let json = serde_json::to_string(&setup).unwrap();
        assert_eq!(
            serde_json::from_str::<Setup>(&json).unwrap(),
            setup,
            "{json}"
        );
        let printed = in_force(&setup).join("\n");
        assert_eq!(from_toml("s.toml", &printed).unwrap(), setup, "{printed}");
    }
    let setup = from_toml("s.toml", &other).unwrap();
    assert_eq!(
        (setup.event.counts, setup.score.measure),
        (Some(Counts::Last), Measure::Line)
    );
}

/// Whether the event's rule was told is kept with the calibration: a default is no rule of anybody's.
#[test]
fn a_rule_that_was_not_told_is_assumed_for_good() {
    for (text, runs, counts, assumed) in [
        ("", 2, Counts::Best, true),
        ("[event]\nshortest_m = 6", 2, Counts::Best, true),
        ("[event]\nruns = 2", 2, Counts::Best, false),
        ("[event]\ncounts = \"sum\"", 2, Counts::Sum, false),
        (
            "[event]\nruns = 3\ncounts = \"last\"",
            3,
            Counts::Last,
            false,
        ),
    ] {
        let setup = from_toml("s.toml", text).unwrap();
        let json = serde_json::to_string(&setup).unwrap();
        let kept: Setup = serde_json::from_str(&json).unwrap();
        for setup in [setup, kept] {
            let rule = setup.event.rule();
            assert_eq!(
                (rule.runs, rule.counts, rule.assumed),
                (runs, counts, assumed),
                "{text}"
            );
        }
    }
    let printed = in_force(&Setup::default()).join("\n");
    assert!(printed.contains("# runs: 2, assumed"), "{printed}");
}

#[test]
fn every_length_in_hundredths_survives_metres_and_back() {
    for hundredths in 50..20_000 {
        let text = format!(
            "[vehicle]\nwheel_diameter_cm = {}.{:02}",
            hundredths / 100,
            hundredths % 100
        );
        let Ok(setup) = from_toml("s.toml", &text) else {
            panic!("{text}");
        };
        let json = serde_json::to_string(&setup).unwrap();
        assert_eq!(
            serde_json::from_str::<Setup>(&json).unwrap().vehicle,
            setup.vehicle
        );
    }
}

#[test]
fn an_unknown_key_names_the_nearest_and_its_place() {
    let told = faults("[dial]\nticks_per_turn = 20\n\n  tick_per_turn = 3\n[obstacl]\nat = 1\n");
    assert_eq!(told.len(), 2, "{told:?}");
    assert!(
        told[0].starts_with("s.toml, line 4, character 3, key dial.tick_per_turn: "),
        "{}",
        told[0]
    );
    assert!(told[0].contains("dial.ticks_per_turn"));
    assert!(told[1].contains("obstacle"), "{}", told[1]);
}

#[test]
fn values_out_of_range_are_told_all_at_once_with_the_reason() {
    let told = faults(
        "[dial]\nticks_per_turn = 0\n[brake]\nrecoil_accept = 10\n[event]\nshortest_m = 9\nlongest_m = 5\n\
         [score]\nper_cm = 0\nmeasure = \"area\"\n[wheels.foam]\nwidth = 3\n[prior]\ncurve_cm_per_m2 = nan\n",
    );
    for part in [
        "1 to 1000",
        "from 0 to 1",
        "not below shortest_m",
        "above 0",
        "point, line",
        "diameter_cm",
        "cm per m²",
    ] {
        assert!(told.iter().any(|t| t.contains(part)), "{part}: {told:#?}");
    }
}

#[test]
fn an_obstacle_needs_its_place_its_size_and_its_side() {
    let told = faults("[obstacle]\nat = 0.4\nat_m = 3\n");
    assert_eq!(told.len(), 4, "{told:#?}");
    assert!(
        faults("[obstacle]\nright_cm = 1\ndiameter_cm = 3\npass = \"left\"\n")[0].contains("at_m")
    );
    assert!(faults("[lane]\n")[0].contains("half_width_m"));
    let beyond = "[event]\nshortest_m = 3\n[obstacle]\nat_m = 3\nright_cm = 1\ndiameter_cm = 3\npass = \"left\"\n";
    assert!(faults(beyond)[0].contains("before the shortest"));
}

#[test]
fn lengths_may_be_in_any_unit_of_length() {
    let obstacle = "right_mm = 20\ndiameter_in = 10\npass = \"left\"\n";
    let text = format!("[vehicle]\nwidth_in = 7\n[obstacle]\nat_ft = 10\n{obstacle}");
    let setup = from_toml("s.toml", &text).unwrap();
    assert_eq!(setup.vehicle.width_m, Some(0.1778));
    let obstacle = setup.obstacle.unwrap();
    assert_eq!(obstacle.at, ObstacleAt::Distance(3.048));
    assert_eq!((obstacle.right_m, obstacle.diameter_m), (0.02, 0.254));
}

#[test]
fn a_setup_in_json_is_checked_like_the_file() {
    let error = serde_json::from_str::<Setup>(r#"{"dial": {"ticks_per_turn": 0}}"#).unwrap_err();
    assert!(error.to_string().contains("ticks_per_turn"), "{error}");
    assert!(serde_json::from_str::<Setup>("[]").is_err());
    assert!(serde_json::from_str::<Setup>(r#"{"dial": null}"#).is_err());
}
