//! What comes back, counted against what was sent: an answer that comes twice or that nobody asked for is an
//! error, an answer that does not come is known by its order.

/// The answers to one job, put together from their parts.
#[derive(Debug)]
pub(crate) struct Counting {
    answers: Vec<Coming>,
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

    /// Takes one part of an answer, in order; gives the answer when it is whole.
    ///
    /// # Errors
    /// In words, when it belongs to no order, is not the next part, or comes again.
    pub(crate) fn add(
        &mut self,
        order: u64,
        (part, of): (u32, u32),
        bytes: &[u8],
    ) -> Result<Option<Vec<u8>>, String> {
        let sent = self.answers.len();
        let place = usize::try_from(order).unwrap_or(usize::MAX);
        let Some(coming) = self.answers.get_mut(place) else {
            return Err(format!("an answer to order {order} came, but only {sent} were sent"));
        };
        if coming.done {
            return Err(format!("the answer to order {order} of {sent} came twice"));
        }
        if part != coming.parts || part >= of {
            let next = coming.parts;
            return Err(format!("part {part} of {of} of an answer came where part {next} was due"));
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
        assert!(counting.add(0, (0, 1), b"a").expect_err("twice").contains("came twice"));
        assert!(counting.add(2, (0, 1), b"a").expect_err("unasked").contains("only 2 were sent"));
        assert!(
            counting.add(1, (1, 2), b"a").expect_err("no first part").contains("part 0 was due")
        );
        assert_eq!(counting.add(1, (0, 2), b"a"), Ok(None));
        assert!(
            counting.add(1, (0, 2), b"a").expect_err("a part twice").contains("part 1 was due")
        );
        assert_eq!(counting.missing(), [1]);
    }
}
