//! What a log still knows: runs that rolled back, spreads that grow, few runs, sessions left out. Every fact is one that a user
//! sees in `calibration.json`, on a page or on a sheet.

mod common;

use common::Folder;
use haltmark::simulate::{self, Truth};

/// Twelve launches at lead 1 of which every third rolled back, and one that rolled back at lead 2.
fn rolling_back() -> String {
    let mut log =
        "session,target_m,turns,rest_m,right_cm,aim_right_cm,lead_turns,status,recoil_cm\n"
            .to_string();
    for i in 0..12 {
        let (turns, day) = ([24, 30, 36][i % 3], i / 4);
        let rest = 0.3 + 0.235 * f64::from(turns) + 0.01 * (i % 5) as f64;
        let status = if i % 3 == 0 { "recoil,6" } else { "ok,0" };
        log += &format!(
            "{day},{},{turns},{rest:.3},2,0,1,{status}\n",
            f64::from(turns) / 4.0
        );
    }
    log + "2,9,36,7.9,2,0,2,recoil,30\n"
}

/// Runs that rolled back at the lead in use are fitted and said to be; one at more lead is not.
#[test]
fn runs_that_rolled_back_at_the_lead_in_use_count_where_they_rest() {
    let folder = Folder::new();
    folder.write("s.csv", rolling_back());
    let fit = folder
        .run("fit s.csv --out out --json")
        .ended_with(0)
        .json();
    let rig = &fit["rigs"][0];
    assert_eq!(
        (&rig["runs"], &rig["travel"]["rolled_back"]),
        (&12.into(), &4.into())
    );
    assert_eq!(rig["recoiled"], 5);
    let said = rig["warnings"].to_string();
    assert!(said.contains("4 of the 12 runs"), "{said}");
    assert!(
        folder
            .text("out/report.html")
            .contains("hold for runs as they come")
    );
    // With the lead in use rolling back in a third of its runs, every second run of the next session tries less.
    let sheet = folder
        .run("sheet out/calibration.json --out sheet.html --json")
        .ended_with(0)
        .json();
    let text = sheet.to_string();
    let leads = |lead: &str| text.matches(&format!("\"lead_turns\":{lead}")).count();
    assert_eq!((leads("1.0"), leads("0.5")), (4, 4), "{text}");
}

/// Ten turns misread are set aside in a run that rolled back too; forty centimetres less far count where it came to rest.
#[test]
fn a_run_that_rolled_back_is_set_aside_where_no_roll_back_explains_it() {
    let folder = Folder::new();
    for (less_m, aside) in [(0.4, 0), (2.35, 1)] {
        // The fourth run rolled back: 24 turns, at 0.3 m + 24 × 0.235 m + 3 cm.
        let rest = 0.3 + 0.235 * 24.0 + 0.03;
        let log = rolling_back().replacen(
            &format!("0,6,24,{rest:.3},2,0,1,recoil"),
            &format!("0,6,24,{:.3},2,0,1,recoil", rest - less_m),
            1,
        );
        assert!(log != rolling_back());
        folder.write("s.csv", log);
        let rig = &folder.run("fit s.csv --json").ended_with(0).json()["rigs"][0];
        let found = rig["set_aside"].as_array().expect("a list");
        assert_eq!(found.len(), aside, "{less_m}: {found:?}");
        assert!(found.iter().all(|run| run["line"] == 5));
    }
}

/// Who writes down by `status` alone that a run rolled back has watched the others too: one of ten is one of ten, in the answer
/// and in what `check` says of it. With one run noted to have stayed put, only what is noted counts.
#[test]
fn ok_runs_beside_runs_that_rolled_back_did_not() {
    let folder = Folder::new();
    let rows = |stayed: &str| {
        let mut log =
            "session,target_m,turns,long_cm,right_cm,lead_turns,status,recoil_cm\n".to_string();
        for i in 0..10 {
            let (turns, long) = ([24, 30, 36][i % 3], [4, -3, 6, -5][i % 4]);
            let status = if i == 4 { "recoil," } else { "ok," };
            let noted = if i == 7 { stayed } else { "" };
            let target_m = 0.3 + 0.235 * f64::from(turns);
            log += &format!(
                "{},{target_m:.3},{turns},{long},2,1,{status}{noted}\n",
                i / 4
            );
        }
        log
    };
    for (stayed, chances, said) in [("", 0.05..0.25, true), ("0", 0.3..0.95, false)] {
        folder.write("s.csv", rows(stayed));
        let checked = folder.run("check s.csv").ended_with(0).stdout;
        assert_eq!(
            checked.contains("all ok runs are taken to have"),
            said,
            "{checked}"
        );
        folder.run("fit s.csv --out out").ended_with(0);
        let dialled = folder
            .run("dial out --target 7 --json")
            .ended_with(0)
            .json();
        let chance = dialled["settings"][0]["recoil_chance"].as_f64();
        assert!(chance.is_some_and(|c| chances.contains(&c)), "{dialled}");
    }
}

/// A growth that the set-up fixes is the one that is reported, with nothing open about it.
#[test]
fn a_fixed_growth_is_reported_as_it_is() {
    let folder = Folder::new();
    folder.write("s.csv", simulate::season(&Truth::default(), 4).to_csv());
    folder.write(
        "g.toml",
        "[dial]\nticks_per_turn = 20\n[prior]\nspread_growth = 0.5\n",
    );
    let fit = folder
        .run("fit s.csv --setup g.toml --json --out out")
        .ended_with(0)
        .json();
    let growth = &fit["rigs"][0]["travel"]["spread_growth"];
    for end in ["estimate", "low", "high"] {
        assert_eq!(growth[end], 0.5, "{growth}");
    }
}

/// Over forty seasons the runs of sessions left out are inside as often as each level says, within what days that differ leave
/// to chance (six in a hundred); and the count at 95 % is that of `inside`.
#[test]
fn sessions_left_out_are_inside_as_often_as_is_said() {
    let mut counts = [[(0.0, 0.0); 3]; 3];
    for seed in 0..40 {
        let folder = Folder::new();
        folder.write(
            "s.csv",
            simulate::season(&Truth::default(), 100 + seed).to_csv(),
        );
        let fit = folder
            .run("fit s.csv --json --out out")
            .ended_with(0)
            .json();
        let left_out = &fit["rigs"][0]["left_out"];
        assert_eq!(left_out["at"][2]["long"]["inside"], left_out["inside"]);
        for (of_level, at) in counts
            .iter_mut()
            .zip(left_out["at"].as_array().expect("levels"))
        {
            for (sum, what) in of_level.iter_mut().zip(["long", "right", "miss"]) {
                let number = |key: &str| at[what][key].as_f64().expect("a count");
                *sum = (sum.0 + number("inside"), sum.1 + number("of"));
            }
        }
    }
    for (level, of_level) in [0.5, 0.8, 0.95].into_iter().zip(counts) {
        for (what, (inside, of)) in ["long", "right", "miss"].into_iter().zip(of_level) {
            // The miss of a new day is promised with some room: days known from five others make its middle too far out.
            let most = if what == "miss" { 0.12 } else { 0.06 };
            let more = inside / of - level;
            assert!(
                more > -0.06 && more < most,
                "{what} at {level}: {inside} of {of}"
            );
        }
    }
}

/// Three runs of one day are called what they are.
#[test]
fn three_runs_are_a_first_guess() {
    let folder = Folder::new();
    let log = "session,target_m,turns,rest_m,right_cm,aim_right_cm\na,6,24,5.9,1,0\na,7.4,30,7.4,3,0\na,8.8,36,8.7,0,0\n";
    folder.write("s.csv", log);
    folder.run("fit s.csv --out out").ended_with(0);
    let page = folder.text("out/report.html");
    assert!(page.contains("A first guess, from 3 runs of 1 day"));
    assert!(page.contains("on another day"));
    assert!(!page.contains("can be trusted"));
}

/// A fit into a folder that holds a calibration says what moved, and which sessions are new.
#[test]
fn a_second_fit_says_what_it_changed() {
    let folder = Folder::new();
    let season = simulate::season(&Truth::default(), 4).to_csv();
    let rows: Vec<&str> = season.lines().collect();
    folder.write("s.csv", rows[..rows.len() - 20].join("\n"));
    let first = folder.run("fit s.csv --out out").ended_with(0);
    assert!(!first.stdout.contains("changed"), "{first}");
    folder.write("s.csv", season.as_str());
    let second = folder.run("fit s.csv --out out").ended_with(0);
    assert!(second.stdout.contains("new since then"), "{second}");
    let again = folder.run("fit s.csv --out out").ended_with(0);
    assert!(again.stdout.contains("no session is new"), "{again}");
    assert_eq!(again.stdout.matches("the same turns").count(), 3, "{again}");
}
