//! What a reader owes besides its records: what it refused, and what it let pass.

use std::collections::BTreeMap;

use crate::read::Tally;
use crate::vocabulary::{Place, Reject};

/// The rejects and leniencies of one input.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Account {
    /// Refused lines, records and values, in the order in which they stand.
    pub rejects: Vec<Reject>,
    /// Leniencies used, with how often.
    pub leniencies: BTreeMap<String, u64>,
}

impl Account {
    /// Counts one refused record.
    pub fn reject(&mut self, place: Place, reason: impl Into<String>) {
        self.rejects.push(Reject::one(place, reason));
    }

    /// Counts one leniency.
    pub fn lenient(&mut self, what: &str) {
        self.lenient_times(what, 1);
    }

    /// Counts a leniency used `times` times.
    pub fn lenient_times(&mut self, what: &str, times: u64) {
        if times == 0 {
            return;
        }
        match self.leniencies.get_mut(what) {
            Some(count) => *count += times,
            None => {
                self.leniencies.insert(what.to_owned(), times);
            }
        }
    }

    /// Takes over everything from another account.
    pub fn join(&mut self, other: Account) {
        self.rejects.extend(other.rejects);
        for (what, times) in other.leniencies {
            self.lenient_times(&what, times);
        }
    }

    /// Adds this account to the tally of the run, keeping the tally's leniencies sorted by name.
    pub fn pour_into(self, tally: &mut Tally) {
        tally.rejects.extend(self.rejects);
        for (what, times) in self.leniencies {
            match tally.leniencies.binary_search_by(|(known, _)| known.as_str().cmp(&what)) {
                Ok(at) => tally.leniencies[at].1 += times,
                Err(at) => tally.leniencies.insert(at, (what, times)),
            }
        }
    }
}

/// What reading one input gives: its records and its account.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading<T> {
    /// What was accepted.
    pub records: T,
    /// What was refused or let pass.
    pub account: Account,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leniencies_add_up_in_the_tally_in_name_order() {
        let mut tally = Tally::default();
        for _ in 0..2 {
            let mut account = Account::default();
            account.lenient("b");
            account.lenient_times("a", 2);
            account.lenient_times("never", 0);
            account.reject(Place::line(&"f".into(), 3), "why");
            account.pour_into(&mut tally);
        }
        assert_eq!(tally.leniencies, [("a".to_owned(), 4), ("b".to_owned(), 2)]);
        assert_eq!(tally.rejected(), 2);
    }
}
