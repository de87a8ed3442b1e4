//! The runs to make at the next practices: at which targets, and at which leads where recoil is the open question. One design,
//! which `plan` advises and `sheet` prints.

use super::situation::Situation;

/// Whether a lead rolls back seldom enough is open while the upper end of its chance is this many times what is accepted:
/// with none seen at the usual tenth, until 17 runs were watched (Clopper & Pearson 1934).
const OPEN_FROM: f64 = 2.0;
/// A lead that was used already is taken for the other one when it lies this near, turns: its runs count with the new ones.
const NEAR_TURNS: f64 = 1.0;
/// Else the other lead is this far away, turns: what a hand can set and an eye can see (common practice, no source).
const STEP_TURNS: f64 = 0.5;
/// A lead that rolls back too often is lessened by this in practice, turns (common practice, no source).
const LESS_TURNS: f64 = 1.0;
/// No lead is lessened below this part of it: without a soft stop the load breaks.
const LEAST_PART: f64 = 0.5;

/// Why practice runs are made at two leads. Chances are of a recoil at the lead in use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LeadQuestion {
    /// It rolls back more often than is accepted: does less lead cure that?
    TooOften {
        /// Estimate.
        chance: f64,
    },
    /// Nobody has written down whether it rolls back.
    NeverWatched,
    /// Some runs rolled back, and how often it does is open: would less lead be safer?
    SomeSeen {
        /// Upper end.
        at_most: f64,
    },
    /// None of too few runs rolled back. More lead never rolls back less often, so a run at more that does not roll back
    /// speaks for the lead in use as well, and one that does shows where it begins.
    NoneSeen {
        /// Upper end.
        at_most: f64,
    },
}

/// A second lead for practice. Never one for the event: what it does is not known yet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OtherLead {
    /// The lead in use, turns.
    pub in_use_turns: f64,
    /// The other one, turns.
    pub other_turns: f64,
    /// What it is to answer.
    pub question: LeadQuestion,
}

impl OtherLead {
    /// How many runs of a session are made at it: every second one where the lead in use is to be left; fewer than half
    /// elsewhere, so that the median lead of the session, which settings are made for (`model.md` §3), stays the one in use.
    pub fn runs(&self, of: usize) -> usize {
        match self.question {
            LeadQuestion::TooOften { .. } => of / 2,
            _ => of.saturating_sub(1) / 2,
        }
    }
}

/// The second lead to make practice runs at; `None` where no lead was written down, or the lead in use is known to roll back
/// seldom enough, or there is no lead to take away.
pub fn other_lead(situation: &Situation) -> Option<OtherLead> {
    let in_use_turns = situation.lead_turns?;
    let recoil = &situation.build().recoil;
    let accept = situation.setup.brake.recoil_accept;
    let too_often = recoil.chance(in_use_turns).filter(|&c| c > accept);
    let question = match too_often {
        Some(chance) => LeadQuestion::TooOften { chance },
        None if recoil.watched == 0 => LeadQuestion::NeverWatched,
        None => {
            let mut used = recoil.by_lead.iter();
            let at_most = used.find(|l| l.lead_turns == in_use_turns)?.chance.high;
            match (at_most > OPEN_FROM * accept, recoil.seen) {
                (false, _) => return None,
                (true, 0) => LeadQuestion::NoneSeen { at_most },
                (true, _) => LeadQuestion::SomeSeen { at_most },
            }
        }
    };
    let used = recoil.by_lead.iter().map(|l| l.lead_turns);
    let less = |by: f64| (in_use_turns - by).max(LEAST_PART * in_use_turns);
    let other_turns = match question {
        LeadQuestion::TooOften { .. } => less(LESS_TURNS),
        LeadQuestion::NoneSeen { .. } => used
            .filter(|&l| l > in_use_turns && l <= in_use_turns + NEAR_TURNS)
            .min_by(f64::total_cmp)
            .unwrap_or(in_use_turns + STEP_TURNS),
        LeadQuestion::NeverWatched | LeadQuestion::SomeSeen { .. } => used
            .filter(|&l| l < in_use_turns && l >= less(NEAR_TURNS))
            .max_by(f64::total_cmp)
            .unwrap_or(less(STEP_TURNS)),
    };
    (other_turns != in_use_turns).then_some(OtherLead {
        in_use_turns,
        other_turns,
        question,
    })
}

/// A run to make at practice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PracticeRun {
    /// Target, m.
    pub target_m: f64,
    /// Brake lead, turns; `None` where none was ever written down.
    pub lead_turns: Option<f64>,
}

/// Runs to make at the next practices.
#[derive(Debug, Clone, PartialEq)]
pub struct Practice {
    /// A list for each session, shortest target first.
    pub sessions: Vec<Vec<PracticeRun>>,
    /// The second lead that some are made at.
    pub other_lead: Option<OtherLead>,
}

impl Practice {
    /// Sessions with these targets each. Runs at the other lead are spread over the targets, so that what the lead does is not
    /// taken for what the distance does; in every second session from the other end.
    ///
    /// * `targets_m` — of the runs of one session, shortest first
    pub fn new(situation: &Situation, sessions: u32, targets_m: &[f64]) -> Self {
        let of = targets_m.len();
        let other_lead = other_lead(situation).filter(|lead| lead.runs(of) > 0);
        let at_other: Vec<usize> = other_lead.map_or_else(Vec::new, |lead| {
            let runs = lead.runs(of);
            (0..runs).map(|k| (2 * k + 1) * of / (2 * runs)).collect()
        });
        let lead_turns = |session: u32, run: usize| {
            let place = match session % 2 {
                0 => run,
                _ => of - 1 - run,
            };
            let other = other_lead.filter(|_| at_other.contains(&place));
            other.map(|lead| lead.other_turns).or(situation.lead_turns)
        };
        let session = |session: u32| {
            let runs = targets_m.iter().enumerate();
            runs.map(|(run, &target_m)| PracticeRun {
                target_m,
                lead_turns: lead_turns(session, run),
            })
            .collect()
        };
        Practice {
            sessions: (0..sessions).map(session).collect(),
            other_lead,
        }
    }
}
