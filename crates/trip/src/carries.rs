//! Which nights each draw carries, so that two plans can be compared draw by draw.

use quantity::uncertainty::Pairs;

/// One bit a night, in the order of the draws.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Carries(Vec<u64>);

/// The bits hold the longest trip that a plan may have.
const _: () = assert!(plan::MOST_NIGHTS <= u64::BITS as i64);

impl Carries {
    /// The next draw, night by night.
    pub(crate) fn push(&mut self, carried: impl Iterator<Item = bool>) {
        let bits = carried.enumerate().fold(0, |bits, (night, is)| bits | u64::from(is) << night);
        self.0.push(bits);
    }

    /// What became of one night here and of one there, in the draws that both were made for.
    pub(crate) fn pairs(&self, night: usize, there: &Carries, night_there: usize) -> Pairs {
        let mut pairs = Pairs::default();
        for (here, there) in self.0.iter().zip(&there.0) {
            let count = match (here >> night & 1 == 1, there >> night_there & 1 == 1) {
                (true, true) => &mut pairs.both,
                (true, false) => &mut pairs.only_first,
                (false, true) => &mut pairs.only_second,
                (false, false) => &mut pairs.neither,
            };
            *count += 1;
        }
        pairs
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_are_compared_one_by_one() {
        let of = |draws: &[[bool; 2]]| {
            let mut carries = Carries::default();
            draws.iter().for_each(|draw| carries.push(draw.iter().copied()));
            carries
        };
        let here = of(&[[true, true], [true, false], [true, false], [false, true]]);
        let there = of(&[[true, true], [false, true], [true, true], [false, false]]);
        let pairs = here.pairs(0, &there, 0);
        assert_eq!(pairs, Pairs { both: 2, only_first: 1, only_second: 0, neither: 1 });
        let pairs = here.pairs(1, &there, 0);
        assert_eq!(pairs, Pairs { both: 1, only_first: 1, only_second: 1, neither: 1 });
    }
}
