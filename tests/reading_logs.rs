//! What people write down is read as they meant it, and what cannot be meant is named with its place.

mod common;

use common::{errors, read, read_err, warnings};
use haltmark::log::run::{Kind, Load, Status};

#[test]
fn a_plain_log_is_read_in_metres_and_turns() {
    let (season, faults) = read(
        "session,run,date,target_m,turns,ticks,long_cm,right_cm,aim_right_cm,lead_turns,load,time_s,kind,note\n\
         A,1,2026-03-14,8.35,36,12,-14,6,-23.5,1.5,whole,4.2,launch,\"first, of the day\"\n\
         B,1,2026-03-21,5.5,24,0,3.5,-2,-10,,,,,\n",
    );
    assert_eq!(
        warnings(&faults).len(),
        1,
        "ticks without a set-up: {faults}"
    );
    let run = &season.runs[0];
    assert_eq!(season.sessions, ["A", "B"]);
    assert_eq!(run.turns, Some(36.6));
    assert_eq!(run.target_m, Some(8.35));
    assert!((run.rest_m.unwrap() - 8.21).abs() < 1e-12);
    assert_eq!(run.right_m, Some(0.06));
    assert_eq!(run.aim_right_m, Some(-0.235));
    assert_eq!(run.lead_turns, Some(1.5));
    assert_eq!(run.load, Some(Load::Whole));
    assert_eq!(run.time_s, Some(4.2));
    assert_eq!(run.date, Some(jiff::civil::date(2026, 3, 14)));
    assert_eq!((run.line, season.runs[1].line), (2, 3));
}

#[test]
fn every_length_may_be_in_any_unit() {
    let (in_cm, _) = read("session,target_m,turns,long_cm,right_cm\nA,7.62,30,25.4,-5.08\n");
    let (in_inches, _) = read("session,target_ft,turns,long_in,right_in\nA,25,30,10,-2\n");
    let (in_mm, _) = read("session,target_mm,turns,rest_mm,right_mm\nA,7620,30,7874,-50.8\n");
    for other in [in_inches, in_mm] {
        let (a, b) = (&in_cm.runs[0], &other.runs[0]);
        assert!((a.target_m.unwrap() - b.target_m.unwrap()).abs() < 1e-12);
        assert!((a.rest_m.unwrap() - b.rest_m.unwrap()).abs() < 1e-12);
        assert!((a.right_m.unwrap() - b.right_m.unwrap()).abs() < 1e-12);
    }
}

#[test]
fn a_log_without_an_aim_column_was_aimed_at_the_target_itself() {
    let (season, _) = read("session,target_m,turns,long_cm\nA,8,36,1\n");
    assert_eq!(season.runs[0].aim_right_m, Some(0.0));
    let (season, _) = read("session,target_m,turns,long_cm,aim_right_cm\nA,8,36,1,\n");
    assert_eq!(season.runs[0].aim_right_m, None);
}

#[test]
fn empty_labels_repeat_the_row_above_and_are_counted() {
    let (season, _) = read(
        "session,date,vehicle,target_m,turns,long_cm\n\
         A,2026-03-14,Thistle,8,36,1\n\
         ,,,8,36,2\n\
         B,,,8,36,3\n",
    );
    assert_eq!(season.repeated_labels, 5);
    assert_eq!(season.runs[1].session, season.runs[0].session);
    assert_eq!(season.runs[2].vehicle, season.runs[0].vehicle);
    assert_eq!(season.runs[2].date, season.runs[0].date);
    let faults = read_err("session,target_m,turns,long_cm\n,8,36,1\n,8,36,1\n");
    assert_eq!(errors(&faults).len(), 1, "{faults}");
}

#[test]
fn roll_back_and_gap_decide_what_became_of_an_ok_run() {
    let (season, faults) = read(
        "session,target_m,turns,long_cm,status,recoil_cm,gap_cm\n\
         A,8,36,1,,0.9,5\n\
         A,8,36,2,ok,1,5\n\
         A,8,36,3,,,0\n\
         A,8,36,4,,2,-1\n\
         A,8,36,5,recoil,,5\n\
         A,8,36,6,Touched,,\n\
         A,,,,void,,\n",
    );
    assert_eq!(faults.0, []);
    let statuses: Vec<Status> = season.runs.iter().map(|r| r.status).collect();
    assert_eq!(
        statuses,
        [
            Status::Ok,
            Status::Recoil,
            Status::Touched,
            Status::Touched,
            Status::Recoil,
            Status::Touched,
            Status::Void
        ]
    );
    assert!(season.runs[0].recoil_was_watched());
    assert!(!season.runs[2].recoil_was_watched());
    assert!(season.runs[4].recoil_was_watched());
}

#[test]
fn a_hand_roll_needs_turns_and_rest_but_no_target() {
    let (season, _) =
        read("session,target_m,turns,rest_m,kind\nA,,20,4.7,hand_roll\nA,,20,4.7,Hand Roll\n");
    assert!(season.runs.iter().all(|run| run.kind == Kind::HandRoll));
    let faults = read_err("session,target_m,turns,rest_m,kind\nA,,20,4.7,launch\n");
    assert_eq!(faults.0[0].column.as_deref(), Some("target_m"));
    let faults = read_err("session,target_m,turns,rest_m,kind\nA,,0,4.7,hand_roll\n");
    assert_eq!(faults.0[0].column.as_deref(), Some("turns"));
}

#[test]
fn every_fault_is_told_in_one_pass_with_its_place() {
    let faults = read_err(
        "# a comment\n\
         \n\
         session,target_m,turns,ticks,long_cm,rest_m,date,status,load\n\
         A,8,\"36,5\",,1,,2026-03-14,,\n\
         A,8,36.5,3,1,,14.3.2026,,\n\
         A,8,36,,,,,fine,\n\
         A,8,inf,,1,,,,half\n\
         A,-8,36,,14 left,,,,\n\
         A,8,36,,1,8.03,,,\n\
         A,8,36,,1\n\
         A,8,,,1,,,,\n",
    );
    let told: Vec<String> = faults
        .0
        .iter()
        .filter(|f| !f.expected.contains("no set-up"))
        .map(|f| format!("{:?} {}", f.place, f.column.as_deref().unwrap_or("-")))
        .collect();
    assert_eq!(
        told,
        [
            "Line(4) turns",
            "Line(5) date",
            "Line(5) turns",
            "Line(6) status",
            "Line(6) long_cm",
            "Line(7) load",
            "Line(7) turns",
            "Line(8) long_cm",
            "Line(8) target_m",
            "Line(9) rest_m",
            "Line(10) -",
            "Line(11) turns",
        ]
    );
}
