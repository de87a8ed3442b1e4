//! `correct`: the settings after today's runs, on invented seasons.

mod common;

use common::Folder;
use haltmark::simulate::{self, Truth};
use serde_json::Value;

fn number(v: &Value) -> f64 {
    v.as_f64()
        .unwrap_or_else(|| panic!("expected a number, got {v}"))
}

fn season(seed: u64) -> Folder {
    let mut truth = Truth::default();
    truth.season.sessions = 5;
    truth.season.runs_per_session = vec![8];
    let folder = Folder::new();
    folder.write("s.csv", simulate::season(&truth, seed).to_csv());
    folder.run("fit s.csv --out out").ended_with(0);
    folder
}

fn setting(folder: &Folder, command: &str) -> Value {
    folder
        .run(&format!("{command} --json"))
        .ended_with(0)
        .json()
}

/// A run at the printed setting for 8 m that came out `long` and `right` (cm), as rows of a log.
fn today(folder: &Folder, misses: &[(f64, f64)]) {
    let dial = setting(folder, "dial out/calibration.json --target 8");
    let s = &dial["settings"][0];
    let mut log = "session,target_m,turns,aim_right_cm,lead_turns,long_cm,right_cm\n".to_string();
    for (long, right) in misses {
        log += &format!(
            "today,8,{},{},{},{long},{right}\n",
            s["turns"],
            s["aim_right_cm"],
            s["lead_turns"]
                .as_f64()
                .map_or(String::new(), |l| l.to_string())
        );
    }
    folder.write("today.csv", log);
}

const CORRECT: &str = "correct out/calibration.json today.csv --target 8";

#[test]
fn a_share_of_the_miss_is_taken_out_against_it() {
    let folder = season(1);
    let before = setting(&folder, "dial out/calibration.json --target 8");
    today(&folder, &[(30.0, 15.0)]);
    let after = setting(&folder, CORRECT);
    let t = &after["today"];
    let (along, across) = (number(&t["share_along"]), number(&t["share_across"]));
    assert!(
        (0.0..1.0).contains(&along) && (0.0..1.0).contains(&across),
        "{t}"
    );
    assert!(number(&t["shift_long_cm"]) > 0.0 && number(&t["shift_right_cm_per_m"]) > 0.0);
    let (b, a) = (&before["settings"][0], &after["settings"][0]);
    assert!(
        number(&a["turns"]) < number(&b["turns"])
            && number(&a["aim_right_cm"]) < number(&b["aim_right_cm"])
    );
    // The whole miss would be 30 cm over C; what is taken out is the shift that is reported.
    let c = 8.0 * 100.0 / number(&b["turns"]);
    let moved = (number(&b["turns_exact"]["estimate"]) - number(&a["turns_exact"]["estimate"])) * c;
    assert!(
        moved < 30.0 && (moved - number(&t["shift_long_cm"])).abs() < 0.1 * moved + 0.5,
        "{moved} {t}"
    );
}

#[test]
fn more_runs_of_the_same_kind_raise_the_share() {
    let folder = season(2);
    let mut last = 0.0;
    for n in 1..=4 {
        today(&folder, &vec![(12.0, 6.0); n]);
        let share = number(&setting(&folder, CORRECT)["today"]["share_along"]);
        assert!(share > last, "{n} runs: {share} after {last}");
        last = share;
    }
}

#[test]
fn a_mirrored_day_moves_the_aim_the_other_way() {
    let folder = season(3);
    let dial = setting(&folder, "dial out/calibration.json --target 8");
    let exact = |v: &Value| number(&v["settings"][0]["aim_exact_right_cm"]["estimate"]);
    // Around the predicted centre, right and left are alike.
    let centre = number(&dial["settings"][0]["right_cm"]["estimate"]);
    today(&folder, &[(0.0, centre + 10.0)]);
    let right = exact(&setting(&folder, CORRECT));
    today(&folder, &[(0.0, centre - 10.0)]);
    let left = exact(&setting(&folder, CORRECT));
    let base = exact(&dial);
    assert!(right < base && left > base);
    assert!(
        ((right - base) + (left - base)).abs() < 0.05 * (left - base),
        "{right} {base} {left}"
    );
}

#[test]
fn no_usable_run_gives_the_answer_of_dial_and_says_so() {
    let folder = season(4);
    let dial = setting(&folder, "dial out/calibration.json --target 8");
    folder.write(
        "today.csv",
        "session,target_m,turns,aim_right_cm,long_cm,right_cm,status\ntoday,8,33,-20,,,void\n",
    );
    let ran = folder.run(&format!("{CORRECT} --json")).ended_with(0);
    let after = ran.json();
    assert!(after["today"].is_null() && after.get("today").is_some());
    assert_eq!(dial["settings"], after["settings"]);
    assert!(
        folder
            .run(CORRECT)
            .ended_with(0)
            .stdout
            .contains("no run of today")
    );
}

#[test]
fn two_sessions_are_not_one_day() {
    let folder = season(5);
    folder.write(
        "today.csv",
        "session,target_m,turns,long_cm,right_cm\na,8,33,1,1\nb,8,33,1,1\n",
    );
    let ran = folder.run(CORRECT).ended_with(2);
    assert!(ran.stderr.contains("2 sessions"), "{ran}");
}

#[test]
fn an_impossible_run_is_named() {
    let folder = season(6);
    today(&folder, &[(250.0, 0.0)]);
    let after = setting(&folder, CORRECT);
    let said = after["warnings"].to_string();
    assert!(said.contains("line 2") && said.contains("long"), "{said}");
    today(&folder, &[(5.0, 2.0)]);
    assert!(setting(&folder, CORRECT).get("warnings").is_none());
}

#[test]
fn unknown_trims_and_builds_say_what_cannot_be_corrected() {
    let folder = season(7);
    folder.write(
        "today.csv",
        "session,target_m,turns,aim_right_cm,long_cm,right_cm,trim\nt,8,33,-20,12,5,other\n",
    );
    let after = setting(&folder, CORRECT);
    assert!(
        after["warnings"]
            .to_string()
            .contains("no trim called other")
    );
    assert!(after["today"]["share_across"].is_null());
    assert!(number(&after["today"]["share_along"]) > 0.0);
    folder.write(
        "today.csv",
        "session,target_m,turns,aim_right_cm,long_cm,right_cm,build\nt,8,33,-20,12,5,other\n",
    );
    let after = setting(&folder, CORRECT);
    assert!(
        after["warnings"]
            .to_string()
            .contains("no build called other")
    );
}

#[test]
fn touched_and_void_runs_say_nothing_and_a_recoil_only_about_direction() {
    let folder = season(8);
    folder.write("today.csv", "session,target_m,turns,aim_right_cm,long_cm,right_cm,status\nt,8,33,-20,-200,50,touched\nt,8,33,-20,-12,5,recoil\n");
    let after = setting(&folder, CORRECT);
    assert_eq!(after["today"]["runs"], 1);
    assert_eq!(number(&after["today"]["share_along"]), 0.0);
    assert!(number(&after["today"]["share_across"]) > 0.0);
}

#[test]
fn a_run_not_measured_across_lies_where_the_heading_line_has_it() {
    let folder = season(9);
    let calibration = folder.text("out/calibration.json");
    let calibration: Value = serde_json::from_str(&calibration).unwrap();
    let heading = &calibration["rigs"][0]["heading"][0];
    let of = |key: &str| number(&heading[key]["estimate"]);
    // `src/contract.md`, section 5: a vehicle passes s metres at about s·(straight + curve·s) cm to the right of its aim.
    let line_cm = 8.0 * (-90.0 / 8.0 + of("straight_cm_per_m") + of("curve_cm_per_m2") * 8.0);
    let shift = |right: &str| {
        let rows =
            format!("session,target_m,turns,aim_right_cm,long_cm,right_cm\nt,8,33,-90,5,{right}\n");
        folder.write("today.csv", rows);
        number(&setting(&folder, CORRECT)["today"]["shift_long_cm"])
    };
    let empty = shift("");
    let on_the_heading_line = shift(&format!("{line_cm:.2}"));
    assert!(
        (empty - on_the_heading_line).abs() < 0.1,
        "{empty} {on_the_heading_line} {line_cm}"
    );
    assert!(
        (empty - shift("0")).abs() > 0.3,
        "the rule is seen at this aim"
    );
}

/// After a run of today the chance of beating a miss is the next run's: more than the first's, by less than all there is.
#[test]
fn a_run_of_today_raises_the_chance_of_beating_a_miss() {
    let folder = season(3);
    today(&folder, &[(6.0, 2.0)]);
    let chance = |command: &str| number(&setting(&folder, command)["settings"][0]["beat_chance"]);
    let first = chance("dial out/calibration.json --target 8 --beat 9");
    let second = chance(&format!("{CORRECT} --beat 9"));
    assert!(
        first > 0.05 && second > first && second < 1.0,
        "{first} {second}"
    );
}
