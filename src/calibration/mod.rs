//! Runs in, what is known of each rig out.
//!
//! Two regressions through one engine (`stats::mixed`): arc on turns ([`travel`]) and heading excess on arc
//! ([`heading`]); recoil on lead ([`recoil`]); run time on arc; and the checks that say whether to believe them.
//! Nothing here decides a setting or words a page. `model.md` §1, 2, 5, 6.

pub mod blunders;
pub mod checks;
pub mod chronicle;
pub mod file;
pub mod fingerprint;
pub mod fit;
pub mod heading;
pub mod known;
pub mod left_out;
pub mod range;
pub mod recoil;
pub mod rig_name;
pub mod rows;
mod since;
pub mod spread_prior;
pub mod story;
mod summary;
pub mod time;
pub mod travel;

pub use chronicle::Chronicle;
pub use known::{
    Build, Calibration, Check, HandRolls, Heading, InsideCount, LateralBias, LeadTerm, LeftOut,
    LeftOutAt, LeftOutRun, Rig, SetAside, Travel, Trim, TurnPrior, TurnPriorSource,
};
pub use range::EventRange;
pub use rows::RunCounts;
pub use story::{Drift, Story, StoryRun, StorySession};
