//! What comes back, counted against what was sent: an answer is taken once, one that comes again or that nobody
//! asked for is an error, one that does not come is known by its order.

/// The answers to one job, put together from their parts.
#[derive(Debug)]
pub(crate) struct Counting {
    answers: Vec<Coming>,
}

/// What is wrong with a part that came.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Wrong {
    /// It came again, or out of its order: an executor that counted as lost has gone on.
    Again(String),
    /// Nobody asked for it.
    Unasked(String),
}

#[derive(Debug, Clone, Default)]
struct Coming {
    bytes: Vec<u8>,
    parts: u32,
    done: bool,
}

impl Counting {
    /// For so many orders.
    pub(crate) fn new(orders: usize) -> Counting {
        Counting { answers: vec![Coming::default(); orders] }
    }

    /// Takes one part of an answer, in order; gives the answer when it is whole. A first part begins an
    /// unfinished answer anew.
    ///
    /// # Errors
    /// When it belongs to no order, is not the next part, or comes again.
    pub(crate) fn add(
        &mut self,
        order: u64,
        (part, of): (u32, u32),
        bytes: &[u8],
    ) -> Result<Option<Vec<u8>>, Wrong> {
        let sent = self.answers.len();
        let place = usize::try_from(order).unwrap_or(usize::MAX);
        let Some(coming) = self.answers.get_mut(place) else {
            let why = format!("an answer to order {order} came, but only {sent} were sent");
            return Err(Wrong::Unasked(why));
        };
        if coming.done {
            return Err(Wrong::Again(format!("the answer to order {order} of {sent} came twice")));
        }
        if part == 0 {
            *coming = Coming::default();
        }
        if part != coming.parts || part >= of {
            let next = coming.parts;
            let why = format!("part {part} of {of} of an answer came where part {next} was due");
            return Err(Wrong::Again(why));
        }
        coming.bytes.extend(bytes);
        coming.parts += 1;
        coming.done = coming.parts == of;
        Ok(coming.done.then(|| std::mem::take(&mut coming.bytes)))
    }

    /// The orders whose answers did not come whole.
    pub(crate) fn missing(&self) -> Vec<usize> {
        let open = self.answers.iter().enumerate().filter(|(_, coming)| !coming.done);
        open.map(|(order, _)| order).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_answer_once_and_whole() {
        let mut counting = Counting::new(3);
        assert_eq!(counting.add(1, (0, 2), b"ab"), Ok(None));
        assert_eq!(counting.add(0, (0, 1), b""), Ok(Some(Vec::new())));
        assert_eq!(counting.add(1, (1, 2), b"c"), Ok(Some(b"abc".to_vec())));
        assert_eq!(counting.missing(), [2]);
    }

    #[test]
    fn what_comes_twice_or_unasked_is_an_error() {
        let mut counting = Counting::new(2);
        assert_eq!(counting.add(0, (0, 1), b"a"), Ok(Some(b"a".to_vec())));
        let again = |wrong: Result<Option<Vec<u8>>, Wrong>, text: &str| matches!(wrong, Err(Wrong::Again(why)) if why.contains(text));
        assert!(again(counting.add(0, (0, 1), b"b"), "came twice"));
        let unasked = counting.add(2, (0, 1), b"a");
        assert!(matches!(unasked, Err(Wrong::Unasked(why)) if why.contains("only 2 were sent")));
        assert!(again(counting.add(1, (1, 2), b"a"), "part 0 was due"));
        assert_eq!(counting.add(1, (0, 3), b"a"), Ok(None));
        assert!(again(counting.add(1, (2, 3), b"a"), "part 1 was due"));
        assert_eq!(counting.missing(), [1]);
    }

    #[test]
    fn an_answer_that_broke_off_begins_anew() {
        let mut counting = Counting::new(1);
        assert_eq!(counting.add(0, (0, 2), b"ab"), Ok(None));
        assert_eq!(counting.add(0, (0, 2), b"ab"), Ok(None));
        assert_eq!(counting.add(0, (1, 2), b"c"), Ok(Some(b"abc".to_vec())));
    }
}
