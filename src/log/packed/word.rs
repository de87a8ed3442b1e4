//! Kind, status and load of a run in one byte.

use crate::log::run::{Kind, Load, Run, Status};

/// Bits: kind, status (two), load (two), and how the rest is coded.
const HAND_ROLL: u8 = 1;
/// The rest is coded as what it is past the target.
pub const FROM_TARGET: u8 = 1 << 5;

/// The byte of a run; `from_target` says how its rest is coded.
pub fn of(run: &Run, from_target: bool) -> u8 {
    let kind = u8::from(run.kind == Kind::HandRoll) * HAND_ROLL;
    let status = match run.status {
        Status::Ok => 0,
        Status::Recoil => 1,
        Status::Touched => 2,
        Status::Void => 3,
    };
    let load = match run.load {
        None => 0,
        Some(Load::Whole) => 1,
        Some(Load::Broken) => 2,
    };
    kind | (status << 1) | (load << 3) | (u8::from(from_target) * FROM_TARGET)
}

/// See [`Run::kind`].
pub fn kind(word: u8) -> Kind {
    if word & HAND_ROLL == 0 {
        Kind::Launch
    } else {
        Kind::HandRoll
    }
}

/// See [`Run::status`].
pub fn status(word: u8) -> Status {
    match (word >> 1) & 3 {
        0 => Status::Ok,
        1 => Status::Recoil,
        2 => Status::Touched,
        _ => Status::Void,
    }
}

/// See [`Run::load`].
pub fn load(word: u8) -> Option<Load> {
    match (word >> 3) & 3 {
        0 => None,
        1 => Some(Load::Whole),
        _ => Some(Load::Broken),
    }
}
