//! Sums by which a calibration knows its own file and the runs it was made from.

use crate::log::run::{Run, Status};

/// FNV-1a (Fowler, Noll, Vo; 64 bits) over some bytes.
pub fn fnv1a(bytes: impl IntoIterator<Item = u8>) -> u64 {
    let offset_basis = 0xcbf2_9ce4_8422_2325_u64;
    (bytes.into_iter()).fold(offset_basis, |sum, byte| {
        (sum ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

/// A launch by what was set and where it came to rest, to the millimetre and the thousandth of a turn, as 16 hexadecimal
/// digits. Labels of sessions, lines and notes may change when a log is copied; these do not.
///
/// An aim mark that was not noted counts as the target itself, which is what a season's log without the column means.
pub fn launch(rig: &str, run: &Run) -> String {
    let thousandths =
        |x: Option<f64>| x.map_or("-".to_string(), |x| format!("{}", (1e3 * x).round() as i64));
    let status = match run.status {
        Status::Ok => "ok",
        Status::Recoil => "recoil",
        Status::Touched => "touched",
        Status::Void => "void",
    };
    let parts = [
        rig.to_string(),
        thousandths(run.target_m),
        thousandths(run.turns),
        thousandths(run.aim_right_m.or(Some(0.0))),
        thousandths(run.rest_m),
        thousandths(run.right_m),
        status.to_string(),
    ];
    // Split by a byte that nobody types into a label.
    format!("{:016x}", fnv1a(parts.join("\u{1f}").into_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published test vectors of FNV-1a with 64 bits (draft-eastlake-fnv, appendix).
    #[test]
    fn sums_are_those_published() {
        assert_eq!(fnv1a([]), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(*b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv1a(*b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn a_launch_is_told_by_each_of_its_numbers_and_by_nothing_else() {
        let run = Run {
            target_m: Some(8.0),
            turns: Some(33.15),
            aim_right_m: Some(-0.4),
            rest_m: Some(8.125),
            right_m: Some(0.0),
            ..Run::default()
        };
        let own = launch("Thistle/foam", &run);
        let moved = |change: fn(&mut Run)| {
            let mut other = run.clone();
            change(&mut other);
            launch("Thistle/foam", &other)
        };
        let others = [
            moved(|r| r.target_m = Some(8.001)),
            moved(|r| r.turns = Some(33.2)),
            moved(|r| r.aim_right_m = Some(0.4)),
            moved(|r| r.rest_m = Some(8.12)),
            moved(|r| r.right_m = None),
            moved(|r| r.status = Status::Recoil),
            launch("Thistle/rubber", &run),
        ];
        assert!(!others.contains(&own), "{others:?}");
        // Rounding of a unit's conversion, the sign of nothing, and where it stands in a log.
        let same = [
            moved(|r| r.turns = Some(33.0 + 3.0 / 20.0)),
            moved(|r| r.right_m = Some(-0.0)),
            moved(|r| (r.line, r.session) = (9, 4)),
        ];
        assert!(same.iter().all(|s| *s == own), "{own} {same:?}");
    }
}
